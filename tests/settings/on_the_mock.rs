//! Every command that the mock has and that a settings file can need: saved, changed in the file, restored,
//! saved again, and back.

use crate::reading::mock;
use crate::restoring::{ALL, run_from};
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
            // Revision 5 has no long tag, and tells neither loop nor preambles.
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
        let less: &[u8] = if revision >= Revision::R6 { &[] } else { &[6, 22, 59] };
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
