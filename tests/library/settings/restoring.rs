//! Writing settings back: order, reading back, what is refused, what is left out.

use super::reading::{full, mock, text};
use super::script::Script;
use looprig::app::command::{Effect, Revision, Value, spec};
use looprig::commission::settings::{
    Allowed, Content, Entry, News, Origin, Outcome, ReadError, Restored, Restoring, Settings, Turn, compare,
    plan, read,
};
use looprig::host::{Ask, Device};

pub const ALL: Allowed = Allowed { moves: true, polling_address: true };
const NO_MOVE: Allowed = Allowed { moves: false, polling_address: false };

fn run(
    device: &mut Script,
    wanted: &Settings,
    allowed: Allowed,
    stop: bool,
) -> (Vec<Restored>, Result<(), ReadError>) {
    let now = device.read();
    device.heard.clear();
    let d = device.device;
    let (results, _, ended) = run_from(device, &d, wanted, now, allowed, stop, &mut |_| {});
    (results, ended)
}

/// A restoring from what was read before; what became of it, and what is there in the end.
pub fn run_from(
    ask: &mut dyn Ask,
    device: &Device,
    wanted: &Settings,
    now: Settings,
    allowed: Allowed,
    stop: bool,
    news: &mut dyn FnMut(News<'_>),
) -> (Vec<Restored>, Settings, Result<(), ReadError>) {
    let mut restoring =
        Restoring { ask, device: *device, wanted, now, allowed, stop, news, results: Vec::new() };
    let ended = restoring.run();
    (restoring.results, restoring.now, ended)
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

/// What something is before what it is worth: assignment, units, range, damping; what quietens the device
/// first, what acts on the valve last [HO-06].
#[test]
fn everything_comes_back_in_a_safe_order() {
    let mut device = full();
    let wanted = device.read();
    upset(&mut device);
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert!(results.iter().all(|r| r.outcome == Outcome::Arrived && r.said == "ok"), "{results:?}");
    // Message 1 was not sent when it was saved, and is now: that ends first. The loop current mode comes on
    // last.
    let order = [109, 18, 17, 51, 53, 55, 44, 47, 35, 34, 64, 59, 107, 108, 103, 104, 6];
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
    assert_eq!(heard[..2], [17, 12]);
    let at = heard.iter().position(|c| *c == 6).unwrap();
    assert_eq!(heard[at + 1], 7);
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
    assert_eq!(written, [109, 18, 17, 53, 44, 59, 107, 108, 103, 104]);
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
    let (now, mut told) = (device.read(), Vec::new());
    device.heard.clear();
    let mut news = |news: News<'_>| {
        if let News::Again(changes) = news {
            told.extend(changes.iter().map(|c| c.write.command));
        }
    };
    let (results, _, ended) = run_from(&mut device, &d, &wanted, now, ALL, false, &mut news);
    ended.unwrap();
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
    assert_eq!(outcomes(&results), [(34, Outcome::Undone), (64, Outcome::Arrived)]);
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
    device.number("burst_message", Some(1), "burst_control", 1);
    let wanted = device.read();
    upset(&mut device);
    device.number("burst_message", Some(1), "burst_control", 0);
    let now = device.read();
    device.deaf_to = vec![17, 12];
    let d = device.device;
    let (results, _, ended) = run_from(&mut device, &d, &wanted, now, NO_MOVE, false, &mut |_| {});
    assert!(matches!(ended, Err(ReadError::Silent { command: 12 })), "{ended:?}");
    let got = outcomes(&results);
    assert_eq!(got[..2], [(18, Outcome::Arrived), (17, Outcome::Unanswered)]);
    assert!(got[2..].iter().all(|(_, o)| *o == Outcome::NotTried) && got.len() > 2, "{got:?}");
    // What was there before is not what was read back.
    assert_eq!(results[1].read_back, ["not read"]);
    // What comes last of all is named too.
    assert!(got.iter().any(|(c, _)| *c == 109), "{got:?}");
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
        let now = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        assert!(compare(&wanted, &now).differences.len() >= number, "{revision}");
        let (results, _, ended) = run_from(&mut host, &device, &wanted, now, ALL, false, &mut |_| {});
        ended.unwrap();
        assert_eq!(results.len(), number);
        assert!(results.iter().all(|r| r.outcome == Outcome::Arrived), "{revision}: {results:?}");
        let left = read(&mut host, &device, Origin::default(), &mut |_| {}).unwrap();
        assert_eq!(compare(&wanted, &left).differences, []);
    }
}

/// The values of a section, to be changed as in a file.
fn entries<'a>(settings: &'a mut Settings, heading: &str) -> &'a mut Vec<Entry> {
    let section = settings.sections.iter_mut().find(|s| s.part.heading == heading).expect("it is there");
    let Content::Values(entries) = &mut section.content else { panic!("{heading} is whole") };
    entries
}

/// The commands that are planned, with their turns.
fn turns(wanted: &Settings, now: &Settings) -> Vec<(u8, Turn)> {
    plan(wanted, now, ALL).changes.iter().map(|c| (c.write.command, c.turn)).collect()
}

/// [HO-06]: off before everything else, on after everything else, also after what is written once more.
#[test]
fn switches_go_off_first_and_on_last() {
    let mut device = full();
    device.number("loop", None, "loop_current_mode", 0);
    for n in [0, 1] {
        device.number("burst_message", Some(n), "burst_control", 1);
    }
    let on = device.read();
    device.number("loop", None, "loop_current_mode", 1);
    for n in [0, 1] {
        device.number("burst_message", Some(n), "burst_control", 0);
    }
    let off = device.read();
    // From `off` to `on`: the mode is disabled first, both messages are sent last. And the other way round.
    let with_message = |settings: &Settings| {
        let mut settings = settings.clone();
        entries(&mut settings, "message")[0].value = Value::Text("NEW".into());
        settings
    };
    let (wanted, back) = (with_message(&on), with_message(&off));
    use Turn::{First, Last, Middle};
    assert_eq!(turns(&wanted, &off), [(6, First), (17, Middle), (109, Last), (109, Last)]);
    assert_eq!(turns(&back, &on), [(109, First), (109, First), (17, Middle), (6, Last)]);
    // The message 17 spoils the preambles: these are put right before anything is switched on.
    device.aside = |memory, command| {
        if command == 17 {
            memory.get_mut(&("preambles", None)).unwrap().insert("preambles_reply".into(), Value::Number(9));
        }
    };
    run(&mut device, &wanted, ALL, false).1.unwrap();
    assert_eq!(device.written(), [6, 17, 59, 109, 109]);
}

/// A line that was taken out of a group: nothing stale is sent in its place, the group stays as it is.
#[test]
fn a_group_with_a_line_taken_out_is_left_out() {
    let mut device = full();
    let mut wanted = device.read();
    entries(&mut wanted, "output").retain(|e| e.name != "lower_range_value");
    device.float("output", None, "upper_range_value", 40.0);
    device.float("output", None, "damping", 9.0);
    let planned = plan(&wanted, &device.read(), ALL);
    assert_eq!(planned.left_out.len(), 1, "{planned:?}");
    let left = &planned.left_out[0];
    assert_eq!((left.value.name.as_str(), left.expected), ("upper_range_value", false));
    for words in
        ["command 35 writes range_unit, upper_range_value, lower_range_value", "no lower_range_value"]
    {
        assert!(left.why.contains(words), "{}", left.why);
    }
    run(&mut device, &wanted, ALL, false).1.unwrap();
    assert_eq!(device.written(), [34]);
}

/// A unit that converts the range: what was equal when it was planned goes out as the file has it. And what
/// the file does not decide goes back as it is now, not as it was when this was planned.
#[test]
fn nothing_stale_goes_out() {
    let mut device = full();
    device.number("loop", None, "loop_current_mode", 0);
    let wanted = device.read();
    device.number("loop", None, "loop_current_mode", 1);
    device.number("pv", None, "pv_unit", 49);
    device.float("output", None, "upper_range_value", 40.0);
    device.aside = |memory, command| {
        if command == 44 {
            let output = memory.get_mut(&("output", None)).unwrap();
            output.insert("lower_range_value".into(), Value::float(-7.0));
        }
    };
    let now = device.read();
    device.heard.clear();
    // Somebody else gives it another address meanwhile.
    device.number("loop", None, "polling_address", 11);
    let d = device.device;
    let allowed = Allowed { moves: true, polling_address: false };
    let (_, _, ended) = run_from(&mut device, &d, &wanted, now, allowed, false, &mut |_| {});
    ended.unwrap();
    // [CM-006]: the address that it has now, and the mode; read before, read back.
    let heard: Vec<u8> = device.heard.iter().map(|(c, _)| *c).collect();
    assert_eq!((&heard[..3], &device.heard[1].1), (&[7, 6, 7][..], &vec![11, 0]));
    // [CM-035]: unit 57, 100 = 42C80000, 0.
    let range = device.heard.iter().find(|(c, _)| *c == 35).unwrap();
    assert_eq!(range.1, [57, 0x42, 0xC8, 0, 0, 0, 0, 0, 0]);
}

/// What cannot be read back is not told as if it had been.
#[test]
fn a_failed_reading_back_is_told() {
    let mut device = full();
    let wanted = device.read();
    device.put("message", None, "message", Value::Text("X".into()));
    device.float("output", None, "damping", 9.0);
    let now = device.read();
    device.heard.clear();
    // [ST-03]: 32 is busy. It takes the message and will not tell it again.
    device.busy.insert(12, (1000, 32));
    // Two of three values of the answer come: [CM-015] has the damping in octets 11 to 14.
    device.cuts.insert(15, 11);
    let d = device.device;
    let (results, _, ended) = run_from(&mut device, &d, &wanted, now, ALL, false, &mut |_| {});
    ended.unwrap();
    let got: Vec<_> = results.iter().map(|r| (r.change.write.command, r.read_back.clone())).collect();
    assert_eq!(got, [(17, vec!["not read".to_owned()]), (34, vec!["not read".to_owned()])]);
    let why = |i: usize| match &results[i].outcome {
        Outcome::NotReadBack(why) => why.clone(),
        other => panic!("{other:?}"),
    };
    assert!(why(0).contains("busy (32)") && why(1).contains("cut short"), "{results:?}");
}

/// What is read at the end of all decides: a value that is not told any more is not known, one that was not
/// told at first and is now has arrived.
#[test]
fn the_last_reading_decides() {
    let mut device = full();
    let wanted = device.read();
    device.put("message", None, "message", Value::Text("X".into()));
    device.float("output", None, "damping", 9.0);
    let upset = device.memory.clone();
    device.aside = |memory, command| {
        if command == 34 {
            memory.remove(&("message", None));
        }
    };
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    let [Outcome::NotReadBack(why), Outcome::Arrived] =
        &results.iter().map(|r| r.outcome.clone()).collect::<Vec<_>>()[..]
    else {
        panic!("{results:?}")
    };
    assert!(why.contains("code 64") && results[0].read_back == ["not read"], "{results:?}");

    device.memory = upset;
    device.aside = |_, _| {};
    let now = device.read();
    // As long as it is asked behind the write.
    device.busy.insert(12, (10, 32));
    let d = device.device;
    let (results, _, ended) = run_from(&mut device, &d, &wanted, now, ALL, false, &mut |_| {});
    ended.unwrap();
    assert_eq!(outcomes(&results), [(17, Outcome::Arrived), (34, Outcome::Arrived)]);
    assert_eq!(results[0].read_back, ["AS FOUND"]);
}

/// [HO-07]: busy is waited for, and when it stays so the rest goes on.
#[test]
fn a_busy_device_is_waited_for() {
    let mut device = full();
    let wanted = device.read();
    device.put("message", None, "message", Value::Text("X".into()));
    device.put("tag", None, "tag", Value::Text("X".into()));
    device.float("output", None, "damping", 9.0);
    // Nine times busy, the tenth time done; the others stay busy.
    device.busy.insert(18, (9, 32));
    device.busy.insert(17, (1000, 32));
    device.busy.insert(34, (1000, 32));
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    let [(18, Outcome::Arrived), (17, Outcome::Busy(said)), (34, Outcome::Busy(_))] = &outcomes(&results)[..]
    else {
        panic!("{results:?}")
    };
    assert!(said.contains("32") && said.contains("busy"), "{said}");
    assert_eq!(results[1].read_back, ["X"]);
    // Who stayed busy once is not waited for as long again.
    assert_eq!(device.written(), [&[18; 10][..], &[17; 10], &[34; 2]].concat());
    // Between them, a second each.
    assert_eq!(device.rested.as_secs(), 9 + 9 + 1);
}

/// A delayed response: the same is asked until it is done; what is done in the end has arrived, whatever was
/// said to the last of the requests [ST-03].
#[test]
fn a_delayed_write_arrives() {
    let mut device = full();
    let wanted = device.read();
    // 33 begun, 34 running, 35 lost, 36 another one runs.
    for code in 33..=36 {
        device.put("message", None, "message", Value::Text("X".into()));
        device.busy.insert(17, (3, code));
        let (results, ended) = run(&mut device, &wanted, ALL, false);
        ended.unwrap();
        assert_eq!(outcomes(&results), [(17, Outcome::Arrived)], "{code}");
        let asked: Vec<_> = device.heard.iter().filter(|(c, _)| *c == 17).collect();
        assert!(asked.len() == 4 && asked.iter().all(|a| *a == asked[0]), "{asked:?}");
    }
    // It says to the last that it runs, and has done it all the same.
    device.put("message", None, "message", Value::Text("X".into()));
    device.warns.insert(17, 34);
    let (results, ended) = run(&mut device, &wanted, ALL, false);
    ended.unwrap();
    assert_eq!(outcomes(&results), [(17, Outcome::Arrived)]);
    assert!(results[0].said.contains("34"), "{}", results[0].said);
}
