//! Writing settings back: order, reading back, what is refused, what is left out.

use crate::reading::{full, mock, text};
use crate::script::Script;
use looprig::app::command::{Effect, Revision, Value, spec};
use looprig::commission::settings::{
    Allowed, Change, Origin, Outcome, ReadError, Restored, Settings, compare, plan, read, restore,
};

const ALL: Allowed = Allowed { moves: true, polling_address: true };
const NO_MOVE: Allowed = Allowed { moves: false, polling_address: false };

fn run(
    device: &mut Script,
    wanted: &Settings,
    allowed: Allowed,
    stop: bool,
) -> (Vec<Restored>, Result<(), ReadError>) {
    let mut now = device.read();
    device.heard.clear();
    let (mut results, d) = (Vec::new(), device.device);
    let ended = restore(device, &d, wanted, &mut now, allowed, stop, &mut |_| {}, &mut results);
    (results, ended)
}

fn outcomes(results: &[Restored]) -> Vec<(u8, Outcome)> {
    results.iter().map(|r| (r.change.write.command, r.outcome.clone())).collect()
}

/// All that can be set, set otherwise.
fn upset(device: &mut Script) {
    device.put("tag", None, "tag", Value::Text("X".into()));
    device.put("message", None, "message", Value::Text("X".into()));
    device.number("assignment", None, "pv_code", 1);
    device.number("device_variable", Some(2), "unit", 49);
    device.float("device_variable", Some(2), "damping", 9.0);
    device.number("pv", None, "pv_unit", 49);
    device.number("output", None, "transfer_function", 1);
    device.number("output", None, "range_unit", 49);
    device.float("output", None, "upper_range_value", 40.0);
    device.float("output", None, "damping", 9.0);
    device.float("analog_channel", Some(1), "damping", 9.0);
    device.number("preambles", None, "preambles_reply", 7);
    device.number("burst_message", Some(1), "slot3_code", 2);
    device.number("burst_message", Some(1), "burst_command", 9);
    device.put(
        "burst_message",
        Some(1),
        "update_period",
        Value::Time(looprig::app::types::TimeOfDay(32_000)),
    );
    device.float("burst_message", Some(1), "trigger_level", 3.0);
    device.number("burst_message", Some(1), "burst_control", 1);
    device.number("loop", None, "polling_address", 9);
    device.number("loop", None, "loop_current_mode", 0);
}

/// What something is before what it is worth: assignment, units, range, damping; burst mode behind what it
/// sends; the loop current mode last.
#[test]
fn everything_comes_back_in_a_safe_order() {
    let mut device = full();
    let wanted = device.read();
    upset(&mut device);
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert!(results.iter().all(|r| r.outcome == Outcome::Arrived && r.said == "ok"), "{results:?}");
    let order = [18, 17, 51, 53, 55, 44, 47, 35, 34, 64, 59, 107, 108, 103, 104, 109, 6];
    assert_eq!(device.written(), order);
    assert!(compare(&wanted, &device.read()).differences.is_empty());
    // And nothing is written twice.
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert!(results.is_empty() && device.written().is_empty());
}

/// Each write is followed by the command that reads it, before anything else is written.
#[test]
fn each_value_is_read_back() {
    let mut device = full();
    let wanted = device.read();
    device.put("message", None, "message", Value::Text("X".into()));
    device.number("loop", None, "loop_current_mode", 0);
    run(&mut device, &wanted, ALL, false).1.unwrap();
    let heard: Vec<u8> = device.heard.iter().map(|(c, _)| *c).collect();
    assert_eq!(heard[..4], [17, 12, 6, 7]);
}

/// [HO-05]: what may move the valve is left out, whatever the file and the device say.
#[test]
fn what_may_move_the_valve_is_left_out() {
    let mut device = full();
    let wanted = device.read();
    upset(&mut device);
    let planned = plan(&wanted, &device.read(), NO_MOVE);
    assert!(planned.changes.iter().all(|c| !c.moves()));
    let why = |name: &str| {
        let left = planned.left_out.iter().find(|l| l.value.name == name).unwrap_or_else(|| panic!("{name}"));
        (left.why.clone(), left.expected)
    };
    for name in
        ["upper_range_value", "range_unit", "damping", "transfer_function", "pv_code", "loop_current_mode"]
    {
        let (why, expected) = why(name);
        assert!(why.contains("--move") && !expected, "{name}: {why}");
    }
    let (said, expected) = why("polling_address");
    assert!(said.contains("--polling-address") && expected, "{said}");
    run(&mut device, &wanted, NO_MOVE, false).1.unwrap();
    let written = device.written();
    assert!(written.iter().all(|c| spec((*c).into()).unwrap().effect == Effect::Writes), "{written:?}");
    assert_eq!(written, [18, 17, 53, 44, 59, 107, 108, 103, 104, 109]);
}

/// The mode is restored and the address stays, in the one command that writes both.
#[test]
fn the_polling_address_stays_unless_told() {
    let mut device = full();
    let wanted = device.read();
    device.number("loop", None, "polling_address", 9);
    device.number("loop", None, "loop_current_mode", 0);
    run(&mut device, &wanted, Allowed { moves: true, polling_address: false }, false).1.unwrap();
    let writes: Vec<_> = device.heard.iter().filter(|(c, _)| *c == 6).collect();
    // [CM-006]: the address, then the mode.
    assert_eq!(writes, [&(6, vec![9, 1])]);
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert_eq!(outcomes(&results), [(6, Outcome::Arrived)]);
    assert_eq!(text(&device.read(), "loop", "polling_address").as_deref(), Some("4"));
}

/// A device that takes its damping for something else once the unit of PV is another one.
#[test]
fn what_a_write_changed_by_the_way_is_written_again() {
    let mut device = full();
    let wanted = device.read();
    device.number("pv", None, "pv_unit", 49);
    device.aside = |memory, command| {
        if command == 44 {
            let output = memory.get_mut(&("output", None)).unwrap();
            output.insert("damping".into(), Value::float(7.0));
        }
    };
    let d = device.device;
    let (mut now, mut results, mut told) = (device.read(), Vec::new(), Vec::new());
    device.heard.clear();
    let mut again = |changes: &[Change]| told.extend(changes.iter().map(|c| c.write.command));
    restore(&mut device, &d, &wanted, &mut now, ALL, false, &mut again, &mut results).unwrap();
    // Said before it is written [HO-05].
    assert_eq!(told, [34]);
    assert_eq!(outcomes(&results), [(44, Outcome::Arrived), (34, Outcome::Arrived)]);
    assert_eq!(device.written(), [44, 34]);
    assert!(compare(&wanted, &device.read()).differences.is_empty());
}

/// Two settings of which each spoils the other: two passes, then it is told.
#[test]
fn settings_that_never_agree_end() {
    let mut device = full();
    let wanted = device.read();
    device.float("output", None, "damping", 9.0);
    device.aside = |memory, command| {
        let (heading, number) = match command {
            34 => ("analog_channel", Some(1)),
            64 => ("output", None),
            _ => return,
        };
        memory.get_mut(&(heading, number)).unwrap().insert("damping".into(), Value::float(5.0));
    };
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    // 34 upsets the channel, in the second pass 64 the output.
    assert_eq!(outcomes(&results), [(34, Outcome::Differs), (64, Outcome::Arrived)]);
    assert_eq!(results[0].read_back, ["5 s"]);
    assert_eq!(device.written(), [34, 64]);
}

/// What was right before and no longer is counts, although it was not to be written.
#[test]
fn what_the_last_write_spoils_is_told() {
    let mut device = full();
    let wanted = device.read();
    device.float("output", None, "damping", 9.0);
    device.aside = |memory, command| {
        let (heading, number, name) = match command {
            34 => ("analog_channel", Some(1), "damping"),
            64 => ("preambles", None, "preambles_reply"),
            _ => return,
        };
        let value = if number.is_some() { Value::float(5.0) } else { Value::Number(9) };
        memory.get_mut(&(heading, number)).unwrap().insert(name.into(), value);
    };
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    let want = [(34, Outcome::Arrived), (64, Outcome::Arrived), (59, Outcome::Differs)];
    assert_eq!(outcomes(&results), want);
    assert_eq!(results[2].read_back, ["9"]);
}

#[test]
fn a_refused_write_is_told_and_the_rest_goes_on() {
    let mut device = full();
    let wanted = device.read();
    device.put("message", None, "message", Value::Text("X".into()));
    device.put("tag", None, "tag", Value::Text("X".into()));
    // [ST-03]: 7 is write protected.
    device.refuses.insert(18, 7);
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    let Outcome::Refused(said) = &results[0].outcome else { panic!("{results:?}") };
    assert!(said.contains("7") && said.contains("write protect"), "{said}");
    assert_eq!(results[1].outcome, Outcome::Arrived);
    // It is tried once.
    assert_eq!(device.written(), [18, 17]);

    device.put("message", None, "message", Value::Text("X".into()));
    let (results, ended) = run(&mut device, &wanted, ALL, true);
    ended.unwrap();
    assert_eq!(results[1].outcome, Outcome::NotTried);
    assert_eq!(device.written(), [18]);
}

/// "Set to nearest possible value": what counts is what is read back.
#[test]
fn a_value_that_the_device_changes_has_not_arrived() {
    let mut device = full();
    let wanted = device.read();
    device.float("output", None, "damping", 9.0);
    // [CM-034]: 8 is a warning.
    device.warns.insert(34, 8);
    device.aside = |memory, _| {
        memory.get_mut(&("output", None)).unwrap().insert("damping".into(), Value::float(1.5));
    };
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert_eq!(outcomes(&results), [(34, Outcome::Differs)]);
    assert_eq!(results[0].read_back, ["1.5 s"]);
    assert!(results[0].said.starts_with("warning 8"), "{}", results[0].said);
    // It was tried once; and where the first that does not arrive ends it, nothing was tried behind it.
    assert_eq!(device.written(), [34]);
    device.number("preambles", None, "preambles_reply", 9);
    let (results, ended) = run(&mut device, &wanted, ALL, true);
    ended.unwrap();
    assert_eq!(outcomes(&results), [(34, Outcome::Differs), (59, Outcome::NotTried)]);
    assert_eq!(device.written(), [34]);
}

/// A device that falls silent: what was done is known, what was not tried too.
#[test]
fn silence_ends_it() {
    let mut device = full();
    let wanted = device.read();
    upset(&mut device);
    let mut now = device.read();
    device.deaf_to = vec![17, 12];
    let (mut results, d) = (Vec::new(), device.device);
    let ended = restore(&mut device, &d, &wanted, &mut now, NO_MOVE, false, &mut |_| {}, &mut results);
    assert!(matches!(ended, Err(ReadError::Silent { command: 12 })), "{ended:?}");
    let got = outcomes(&results);
    assert_eq!(got[..2], [(18, Outcome::Arrived), (17, Outcome::Unanswered)]);
    assert!(got[2..].iter().all(|(_, o)| *o == Outcome::NotTried) && got.len() > 2, "{got:?}");
}

/// An answer that is lost says nothing about the write: what is read back does.
#[test]
fn a_write_without_an_answer_may_have_arrived() {
    let mut device = full();
    let wanted = device.read();
    device.put("message", None, "message", Value::Text("X".into()));
    device.deaf_to = vec![17];
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert_eq!(outcomes(&results), [(17, Outcome::Arrived)]);
    assert_eq!(results[0].said, "no answer");
    // One that did not.
    device.put("tag", None, "tag", Value::Text("X".into()));
    device.deaf_to = vec![18];
    device.refuses.insert(18, 7);
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert_eq!(outcomes(&results), [(18, Outcome::Unanswered)]);
}

/// What the other device has not is told, the rest is restored.
#[test]
fn another_revision() {
    let wanted = full().read();
    let mut device = Script::new(Revision::R5);
    device.put("message", None, "message", Value::Text("X".into()));
    let planned = plan(&wanted, &device.read(), ALL);
    let commands: Vec<u8> = planned.changes.iter().map(|c| c.write.command).collect();
    assert_eq!(commands, [17]);
    let address = planned.left_out.iter().find(|l| l.value.name == "polling_address").unwrap();
    assert_eq!((address.why.as_str(), address.expected), ("the device does not have it", false));
}

/// The mock of every revision, upset by the commands themselves.
#[test]
fn the_mock_gets_its_settings_back() {
    for revision in Revision::NEWEST_FIRST {
        let (mut host, device) = mock(revision);
        let wanted = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        let mut commands = vec![(17, vec![("message", "X")]), (19, vec![("final_assembly_number", "1")])];
        if revision >= Revision::R6 {
            commands.push((22, vec![("long_tag", "X")]));
            commands.push((6, vec![("polling_address", "9"), ("loop_current_mode", "0")]));
        }
        let number = commands.len();
        for (command, values) in commands {
            let values: Vec<_> = values.into_iter().map(|(n, v)| (n.to_owned(), v.to_owned())).collect();
            host.ask(&device, command, &values).unwrap();
        }
        let mut now = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        assert!(compare(&wanted, &now).differences.len() >= number, "{revision}");
        let mut results = Vec::new();
        restore(&mut host, &device, &wanted, &mut now, ALL, false, &mut |_| {}, &mut results).unwrap();
        assert_eq!(results.len(), number);
        assert!(results.iter().all(|r| r.outcome == Outcome::Arrived), "{revision}: {results:?}");
        let left = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        assert_eq!(compare(&wanted, &left).differences, []);
    }
}
