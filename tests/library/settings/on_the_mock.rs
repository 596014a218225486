//! Every command that the mock has and that a settings file can need: saved, changed in the file, restored,
//! saved again, and back.

use super::reading::{mock, mock_with};
use super::restoring::{ALL, run_from};
use looprig::app::command::Revision;
use looprig::commission::settings::{
    Difference, Origin, Outcome, Settings, compare, from_text, read, to_text,
};
use looprig::host::{Ask, Device};
use std::collections::BTreeSet;

/// What is written, and the lines of the file that are changed: heading, name, value.
type Row = (&'static [u8], &'static [(&'static str, &'static str, &'static str)]);

/// Values within [DV-18], [DV-19] and [DV-21].
const ROWS: &[Row] = &[
    (&[18], &[("tag", "descriptor", "\"OUTLET\""), ("tag", "date", "\"2026-12-01\"")]),
    (&[17], &[("message", "message", "\"AS LEFT\"")]),
    (&[22], &[("long_tag", "long_tag", "\"Brackenmoor outlet\"")]),
    (&[19], &[("final_assembly", "final_assembly_number", "7")]),
    (&[51], &[("assignment", "sv_code", "2"), ("assignment", "qv_code", "1")]),
    (&[53], &[("device_variable.2", "unit", "\"radian\""), ("device_variable.3", "unit", "\"psi\"")]),
    // The mock keeps one damping under both names: [DV-18].
    (&[34, 55], &[("device_variable.0", "damping", "2.5"), ("output", "damping", "2.5")]),
    (&[35], &[("output", "upper_range_value", "80.0"), ("output", "lower_range_value", "20.0")]),
    (&[59], &[("preambles", "preambles_reply", "8")]),
    (&[6], &[("loop", "loop_current_mode", "\"disabled\"")]),
    (&[6], &[("loop", "polling_address", "9"), ("loop", "loop_current_mode", "\"disabled\"")]),
    // Burst messages [DV-30].
    (&[107], &[("burst_message.1", "slot0_code", "3"), ("burst_message.1", "slot4_code", "244")]),
    (&[108], &[("burst_message.2", "burst_command", "33")]),
    (
        &[103],
        &[
            ("burst_message.0", "update_period", "500.0"),
            ("burst_message.0", "maximum_update_period", "8000.0"),
        ],
    ),
    (&[104], RISING),
    (&[109], &[("burst_message.0", "burst_control", "1")]),
    (&[103, 104, 107, 108, 109], EVERYTHING_OF_A_BURST),
];

/// Rising above 50 %, for command 1.
const RISING: &[(&str, &str, &str)] = &[
    ("burst_message.0", "trigger_mode", "\"rising\""),
    ("burst_message.0", "trigger_unit", "\"%\""),
    ("burst_message.0", "trigger_level", "50.0"),
];

/// Command 9 of the pressure, below 2.5 bar, and on: the device bursts between what is restored.
const EVERYTHING_OF_A_BURST: &[(&str, &str, &str)] = &[
    ("burst_message.1", "slot0_code", "3"),
    ("burst_message.1", "burst_command", "9"),
    ("burst_message.1", "update_period", "250.0"),
    ("burst_message.1", "trigger_mode", "\"falling\""),
    ("burst_message.1", "trigger_class", "\"pressure\""),
    ("burst_message.1", "trigger_unit", "\"bar\""),
    ("burst_message.1", "trigger_level", "2.5"),
    ("burst_message.1", "burst_control", "1"),
    ("burst_message.2", "burst_control", "1"),
    ("burst_message.2", "update_period", "250.0"),
];

fn save(ask: &mut dyn Ask, device: &Device) -> Settings {
    read(ask, device, Origin::default(), &mut |_| {}).unwrap()
}

/// Changes a line below a heading, as with an editor; `None` where there is none.
fn edit(text: &str, heading: &str, name: &str, value: &str) -> Option<String> {
    let from = text.find(&format!("[{heading}]\n"))?;
    let at = from + text[from..].find(&format!("\n{name} = "))? + 1;
    let end = at + text[at..].find('\n')?;
    let next = text[from + 1..].find("\n[").map_or(text.len(), |n| from + 1 + n);
    (at < next).then(|| format!("{}{name} = {value}{}", &text[..at], &text[end..]))
}

fn settings_that_differ(a: &Settings, b: &Settings) -> Vec<Difference> {
    compare(a, b).differences.into_iter().filter(|d| d.setting).collect()
}

/// Restores `wanted`; the commands that were written.
fn restore(ask: &mut dyn Ask, device: &Device, wanted: &Settings) -> BTreeSet<u8> {
    let now = save(ask, device);
    let (results, _, ended) = run_from(ask, device, wanted, now, ALL, false, &mut |_| {});
    ended.unwrap();
    assert!(results.iter().all(|r| r.outcome == Outcome::Arrived), "{results:?}");
    results.iter().map(|r| r.change.write.command).collect()
}

#[test]
fn each_command_there_and_back() {
    for revision in Revision::NEWEST_FIRST {
        let mut done = BTreeSet::new();
        for (commands, edits) in ROWS {
            let (mut host, device) = mock(revision);
            let found = save(&mut host, &device);
            let text = to_text(&found);
            let edited = edits.iter().try_fold(text, |t, (h, n, v)| edit(&t, h, n, v));
            // Revision 5 has no long tag, and tells neither loop nor preambles; before 7 none tells burst messages.
            let Some(edited) = edited else { continue };
            let wanted = from_text(&edited).unwrap_or_else(|e| panic!("{e}\n{edited}"));
            let differ = settings_that_differ(&wanted, &found).len();
            assert_eq!(differ, edits.len(), "{revision} {commands:?}");
            let commands: BTreeSet<u8> = commands.iter().copied().collect();
            assert_eq!(restore(&mut host, &device, &wanted), commands, "{revision}");
            let left = save(&mut host, &device);
            assert_eq!(settings_that_differ(&wanted, &left), [], "{revision} {commands:?}");
            // And back: facts too, such as the limits that are told in a variable's unit.
            assert_eq!(restore(&mut host, &device, &found), commands, "{revision}");
            let back = save(&mut host, &device);
            assert_eq!(compare(&found, &back).differences, [], "{revision} {commands:?}");
            done.extend(commands);
        }
        let all: BTreeSet<u8> = ROWS.iter().flat_map(|(c, _)| *c).copied().collect();
        let less: &[u8] = match revision {
            Revision::R7 => &[],
            // 105 tells burst messages from revision 7 on alone.
            Revision::R6 => &[103, 104, 107, 108, 109],
            Revision::R5 => &[6, 22, 59, 103, 104, 107, 108, 109],
        };
        assert_eq!(&all - &done, less.iter().copied().collect(), "{revision}");
    }
}

/// [DV-19]: the mock's PV is in percent for good, so command 44 is refused (2), told, and the rest arrives.
#[test]
fn what_the_mock_refuses_does_not_hinder_the_rest() {
    let (mut host, device) = mock(Revision::R7);
    let found = save(&mut host, &device);
    let text = edit(&to_text(&found), "pv", "pv_unit", "\"degree\"").unwrap();
    let text = edit(&text, "output", "upper_range_value", "80.0").unwrap();
    let wanted = from_text(&text).unwrap();
    let (results, now, ended) = run_from(&mut host, &device, &wanted, found, ALL, false, &mut |_| {});
    ended.unwrap();
    let got: Vec<_> = results.iter().map(|r| (r.change.write.command, r.outcome.clone())).collect();
    let [(44, Outcome::Refused(said)), (35, Outcome::Arrived)] = &got[..] else { panic!("{got:?}") };
    assert!(said.starts_with("refused 2"), "{said}");
    let left = settings_that_differ(&wanted, &now);
    assert_eq!(left.iter().map(|d| &*d.name).collect::<Vec<_>>(), ["pv_unit"]);
}

/// [DV-61]: range and unit of PV, damping and SV of a temperature transmitter, there and back. 44 converts the range, which
/// comes behind it [HO-06]; −10 and 140 °C are 14 and 284 °F.
#[test]
fn a_temperature_transmitter_there_and_back() {
    for revision in Revision::NEWEST_FIRST {
        let (mut host, device) = mock_with(revision, "kind = \"temperature\"");
        let found = save(&mut host, &device);
        let text = to_text(&found);
        let edits = [
            ("pv", "pv_unit", "\"degF\""),
            ("device_variable.0", "unit", "\"degF\""),
            ("output", "range_unit", "\"degF\""),
            ("output", "upper_range_value", "284.0"),
            ("output", "lower_range_value", "14.0"),
            ("output", "damping", "2.5"),
            ("device_variable.0", "damping", "2.5"),
            ("assignment", "sv_code", "0"),
        ];
        let edited = edits
            .iter()
            .try_fold(text.clone(), |t, (h, n, v)| edit(&t, h, n, v))
            .unwrap_or_else(|| panic!("a line is missing:\n{text}"));
        let wanted = from_text(&edited).unwrap_or_else(|e| panic!("{e}\n{edited}"));
        restore(&mut host, &device, &wanted);
        let left = save(&mut host, &device);
        assert_eq!(settings_that_differ(&wanted, &left), [], "{revision}");
        assert_eq!(
            host.ask(&device, 15, &[]).unwrap().value("upper_range_value").unwrap().text(),
            "284 degF"
        );
        restore(&mut host, &device, &found);
        assert_eq!(compare(&found, &save(&mut host, &device)).differences, [], "{revision}");
    }
}
