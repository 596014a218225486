//! `--description`: commands of a device type in every command that shows or asks them.

use super::{table, too_long};
use crate::process::{Process, run, scratch};
use std::fs;
use std::path::{Path, PathBuf};

const VALVE: &str = "valve.toml";
const POSITIONER: &str = "positioner.toml";
/// The port that the mock opens, at its pace.
const PORT: &str = "serial:fv?pace=20";
const MOCK: &str = "mock:bench.toml";

/// A directory with the described device of `fixtures/described` and the description of the positioner.
fn bench(name: &str) -> PathBuf {
    let dir = scratch(name);
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let copy = |from: &str, to: &str| {
        let text = fs::read_to_string(top.join(from)).unwrap();
        fs::write(
            dir.join(to),
            text.replace("flushing-valve.toml", VALVE)
                .replace("\"pty:\"", "\"pty:fv\"")
                .replace("\"wire\"", "20"),
        )
        .unwrap();
    };
    copy("fixtures/described/flushing-valve.toml", VALVE);
    copy("fixtures/described/bench.toml", "bench.toml");
    copy("protocol-notes/positioner.toml", POSITIONER);
    dir
}

/// What a bench describes needs no flag on its own line; names, units, words of codes, codes of its own.
#[test]
fn ask_on_a_described_bench() {
    let dir = bench("described-ask");
    let ended = run(&dir, &["ask", MOCK, "128"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    for words in ["read flushing: ok", "by interval", "360 min", "4.5 bar", "2026-03-01"] {
        assert!(ended.out.contains(words), "{words} is missing in {}", ended.out);
    }
    let words = ["mode=in steps", "interval=90", "duration=20", "pressure_unit=psi", "pressure=62.5"];
    let ended = run(&dir, &[&["ask", MOCK, "129", "--format", "json"], &words[..]].concat());
    assert_eq!(ended.code, 0, "{}", ended.err);
    let reply = &ended.json()[0]["reply"];
    assert_eq!((&reply["values"]["mode"], &reply["texts"]["pressure"]), (&7.into(), &"62.5 psi".into()));
    let ended = run(&dir, &["ask", MOCK, "140"]);
    assert!(ended.code == 1 && ended.out.contains("refused 9: the filter is still clogged"), "{}", ended.out);
    // A wrong name and a wrong word, with what there is.
    run(&dir, &["ask", MOCK, "129", "mood=off"]).refused(&[
        "mood",
        "mode, interval",
        "explain 129 --description",
    ]);
    run(&dir, &["ask", MOCK, "129", "mode=rinse"]).refused(&["rinse", "by hand, by interval"]);
    // The same description by hand is no clash; another one of the type is.
    assert_eq!(run(&dir, &["ask", MOCK, "128", "--description", VALVE]).code, 0);
    let text = fs::read_to_string(dir.join(VALVE)).unwrap();
    fs::write(dir.join("other.toml"), text.replace("flushing valve", "rinsing valve")).unwrap();
    run(&dir, &["ask", MOCK, "128", "--description", "other.toml"]).refused(&[
        "other.toml",
        "both describe",
        "3D B1",
    ]);
}

/// A unit that no value beside it has is a value of its own; a refusal is one line.
#[test]
fn ask_shows_units_and_refusals() {
    let dir = bench("described-ask-units");
    let ended = run(&dir, &["ask", MOCK, "44", "pv_unit=%"]);
    assert!(ended.out.lines().any(|l| l.contains("unit") && l.contains('%')), "{}", ended.out);
    // The unit of the pressure stands behind it, and nowhere else.
    let ended = run(&dir, &["ask", MOCK, "128"]);
    assert!(ended.out.contains("4.5 bar") && ended.out.matches("bar").count() == 1, "{}", ended.out);
    let ended = run(&dir, &["ask", MOCK, "140"]);
    assert!(ended.out.contains("refused 9") && !ended.out.contains("reading"), "{}", ended.out);
}

/// A log shows hex without a description, and with one of another type; names with its own.
#[test]
fn decode_listen_scan() {
    let dir = bench("described-decode");
    assert_eq!(run(&dir, &["ask", MOCK, "133", "--log", "ask.log"]).code, 0);
    let decode = |more: &[&str]| run(&dir, &[&["decode", "ask.log"], more].concat()).out;
    for bare in [decode(&[]), decode(&["--description", POSITIONER])] {
        assert!(
            bare.contains("command without a row") && bare.contains("15 octets without known meaning"),
            "{bare}"
        );
    }
    let named = decode(&["--description", POSITIONER, "--description", VALVE]);
    assert!(named.contains("read last flushes") && named.contains("blocked, filter clogged"), "{named}");
    let csv = decode(&["--description", VALVE, "--format", "csv"]);
    // 70000 in the second slot: by hand in fixtures/described/exchanges.toml.
    assert!(table(&csv).iter().any(|row| row[7..10] == ["1", "volume", "70000"]), "{csv}");

    // The bench's own master asks it; who listens reads it by the bench's description.
    let master =
        "[[master]]\nrole = \"primary\"\n[[master.asks]]\ndevice = 0\ncommand = 131\ndata = \"01\"\n";
    let text = fs::read_to_string(dir.join("bench.toml")).unwrap();
    fs::write(dir.join("bench.toml"), format!("{text}{master}")).unwrap();
    let heard = run(&dir, &["listen", "mock:bench.toml?seed=1&for=3"]);
    assert!(heard.out.contains("read a step") && heard.out.contains("opening 100 %"), "{}", heard.out);

    let rows = table(&run(&dir, &["scan", MOCK, "--range", "0-1", "--retries", "0", "--format", "csv"]).out);
    assert_eq!(rows.iter().map(|r| r[8].as_str()).collect::<Vec<_>>(), ["flushing valve", ""]);
}

#[test]
fn explain_by_description() {
    let dir = bench("described-explain");
    let explain = |words: &[&str]| {
        let ended = run(&dir, &[&["explain"], words].concat());
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{words:?}");
        let wide = ["--all", "--format", "--schema"].iter().any(|w| words.contains(w));
        assert!(wide || too_long(&ended.out).is_empty(), "{}", ended.out);
        ended.out
    };
    let text = explain(&["128", "--description", VALVE]);
    for words in
        ["read flushing (reads only)", "[valve.toml]", "pressure_unit", "revisions 5 to 6", "by interval"]
    {
        assert!(text.contains(words), "{words} is missing in {text}");
    }
    assert!(explain(&["128"]).contains("--description FILE names one"));
    assert!(explain(&["200", "--description", VALVE]).contains("not described"));
    assert!(explain(&["code", "140", "9", "--description", VALVE]).contains("still clogged"));
    assert!(explain(&["code", "140", "7", "--description", VALVE]).contains("write protect"));
    // Both where two types have the number.
    let both = explain(&["128", "--description", VALVE, "--description", POSITIONER]);
    assert!(both.contains("read flushing") && both.contains("read set point source"), "{both}");
    // The request of command 130 with 8 s; 82 3D B1 00 31 10 82 01 08, check byte by exclusive-or:
    // 82^3D = BF, ^B1 = 0E, ^00, ^31 = 3F, ^10 = 2F, ^82 = AD, ^01 = AC, ^08 = A4.
    let frame = "82 3D B1 00 31 10 82 01 08 A4";
    assert!(explain(&[frame, "--description", VALVE]).contains("8 s"));
    assert!(explain(&[frame]).contains("without known meaning"));
    assert!(explain(&["--all", "--description", VALVE]).contains("\n## 134 read name plate\n"));
    for format in ["json", "csv"] {
        assert!(explain(&["128", "--description", VALVE, "--format", format]).contains("pressure_unit"));
    }
    let schema: serde_json::Value = serde_json::from_str(&explain(&["--schema"])).unwrap();
    assert_eq!(schema["title"], "looprig description");
}

/// The page of our own positioner is what `explain` makes of its description.
#[test]
fn the_page_of_the_positioner_is_up_to_date() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let made = run(top, &["explain", "--all", "--description", "protocol-notes/positioner.toml"]).out;
    let there = fs::read_to_string(top.join("protocol-notes/positioner.md")).unwrap();
    let first = there.lines().zip(made.lines()).find(|(a, b)| a != b);
    assert!(
        there == made,
        "protocol-notes/positioner.md differs, first in {first:?}: look at the difference, then make it again with \
         `looprig explain --all --description protocol-notes/positioner.toml > protocol-notes/positioner.md`"
    );
}

/// [HO-05] [CM-DESCRIBED]: what is described as reading needs no leave, writing --write, moving --move; without a
/// description, or for a device of another type, everything needs --move.
#[test]
fn leave_as_described() {
    let dir = bench("described-guards");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let line = PORT;
    let with = ["--description", VALVE];
    let ask = |words: &[&str]| run(&dir, &[&["ask", line], words].concat());
    let read = ask(&[&["128"], &with[..]].concat());
    assert!(read.code == 0 && read.out.contains("by interval"), "{} {}", read.out, read.err);
    ask(&["128"]).refused(&["not known here", "--description", "--move"]);
    let write = [&["132", "step=0", "opening=50", "hold=1"], &with[..]].concat();
    ask(&write).refused(&["write a step", "--write"]);
    let ended = ask(&[&write[..], &["--write"]].concat());
    assert!(ended.code == 0 && ended.err.contains("opening=50"), "{} {}", ended.out, ended.err);
    let moves = [&["130", "duration=8"], &with[..]].concat();
    ask(&moves).refused(&["flush now", "--move"]);
    ask(&[&moves[..], &["--write"]].concat()).refused(&["--move"]);
    assert_eq!(ask(&[&moves[..], &["--move"]].concat()).code, 0);
    // 129 writes in one description and moves in the other: whose it is the device says, and that lifts nothing.
    let both = [&["129", "data=00"], &with[..], &["--description", POSITIONER, "--write"]].concat();
    ask(&both).refused(&["write set point source", "--move"]);
    // 128 reads in the positioner's description, but who is there is no such positioner: it is not sent.
    let other = ask(&["128", "--description", POSITIONER, "--log", "other.log"]);
    other.refused(&["another type (expanded device type FDB1", "it was not asked", "--move"]);
    let sent = run(&dir, &["decode", "other.log", "--format", "json"]).json();
    assert!(!sent.is_empty() && sent.iter().all(|e| e["command"] != 128), "{sent:?}");
    let anyway = ask(&["128", "--description", POSITIONER, "--move"]);
    assert!(
        anyway.code == 0 && anyway.out.contains("without known meaning"),
        "{} {}",
        anyway.out,
        anyway.err
    );
    mock.signal(libc::SIGTERM);
    mock.end();
}

/// [HO-05] [DV-98]: nobody needs leave to stop something; what follows is said. A second start says what is busy, and what to do.
#[test]
fn a_stop_needs_no_leave() {
    let dir = bench("described-stop");
    let device = "[[device]]\ntag = \"FV-3104\"\n";
    let air = "[device.air]\nsupply_pressure_bar = 1.4\n[device.valve]\nstroke_mm = 20\n";
    let text = format!("pace = 20\n[loop]\ncurrent_ma = 12\n{device}{air}[[line]]\nat = \"pty:fv\"\n");
    fs::write(dir.join("bench.toml"), text).unwrap();
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let ask = |words: &[&str]| run(&dir, &[&["ask", PORT], words, &["--description", POSITIONER]].concat());
    ask(&["131", "calibration=1"]).refused(&["start calibration", "--move"]);
    let ended = ask(&["133"]);
    assert!(
        ended.code == 1 && ended.out.contains("no calibration is running"),
        "{} {}",
        ended.out,
        ended.err
    );
    assert!(ended.err.contains("caution") && ended.err.contains("may move"), "{}", ended.err);
    // Without its description it may be anything; and where another description says that it writes, that counts.
    run(&dir, &["ask", PORT, "133"]).refused(&["not known here", "--move"]);
    let valve = fs::read_to_string(dir.join(VALVE)).unwrap();
    let reads = "name = \"read last flushes\"";
    let at = valve.find(reads).expect("its 133 reads");
    let writes =
        format!("{}{}", &valve[..at], valve[at..].replacen("effect = \"reads\"", "effect = \"writes\"", 1));
    fs::write(dir.join("writes.toml"), writes).unwrap();
    ask(&["133", "--description", "writes.toml"]).refused(&["--write"]);
    // And back to the loop without a set point.
    let ended = ask(&["129", "source=loop current", "--move"]);
    assert!(ended.code == 0 && ended.out.contains("loop current"), "{} {}", ended.out, ended.err);
    mock.signal(libc::SIGTERM);
    mock.end();

    let busy = format!("{}busy = true\n{air}[[line]]\nat = \"pty:\"\n", device);
    fs::write(dir.join("busy.toml"), busy).unwrap();
    let ended = run(&dir, &["ask", "mock:busy.toml", "131", "calibration=3", "--description", POSITIONER]);
    let flat = ended.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(ended.code == 1 && flat.contains("132 tells how far") && flat.contains("133 ends it"), "{flat}");
    assert!(!flat.contains("106"), "{flat}");
}

/// A device whose revision does not have the command, as it is described, may do anything with it.
#[test]
fn leave_in_another_revision() {
    let dir = bench("described-revision");
    let text = "pace = 20\n[[device]]\nrevision = 5\ndevice_type = 0x5B\n[[line]]\nat = \"pty:fv\"\n";
    fs::write(dir.join("bench.toml"), text).unwrap();
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    // 140 is from revision 6 on, 130 in all of them.
    let ask = |words: &[&str]| run(&dir, &[&["ask", PORT], words, &["--description", VALVE]].concat());
    ask(&["140", "--write"]).refused(&["revision 5", "not known", "--move"]);
    let ended = ask(&["140", "--move"]);
    assert!(ended.out.contains("refused 64"), "{} {}", ended.out, ended.err);
    mock.signal(libc::SIGTERM);
    mock.end();
}

/// A file that is wrong is told with place, line and what would be right, also when a bench names it.
#[test]
fn files_that_are_wrong() {
    let dir = bench("described-wrong");
    let good = fs::read_to_string(dir.join(VALVE)).unwrap();
    run(&dir, &["explain", "128", "--description", "none.toml"]).refused(&[
        "description none.toml",
        "no such file",
        "--schema",
    ]);
    run(&dir, &["explain", "128", "--description", "."]).refused(&["directory"]);
    fs::write(dir.join(VALVE), good.replacen("\"reads\"", "\"read\"", 1)).unwrap();
    let line = good.lines().position(|l| l == "effect = \"reads\"").unwrap() + 1;
    let place = format!("valve.toml:{line}:10");
    let told = [
        place.as_str(),
        "effect cannot be \"read\"",
        "effect = \"read\"",
        "         ^",
        "did you mean \"reads\"?",
    ];
    run(&dir, &["decode", "bench.toml", "--description", VALVE]).refused(&told);
    run(&dir, &["ask", MOCK, "128"]).refused(&told);
    run(&dir, &["mock", "bench.toml"]).refused(&told);
    fs::remove_file(dir.join(VALVE)).unwrap();
    run(&dir, &["ask", MOCK, "128"]).refused(&[
        "bench file bench.toml:",
        "valve.toml: there is no such file",
        "^",
    ]);
}

/// Described settings are saved, compared and restored as others are: where they differ, with leave, read back.
#[test]
fn settings_of_a_described_device() {
    let dir = bench("described-settings");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let line = PORT;
    let with = ["--description", VALVE];
    let settings =
        |words: &[&str]| run(&dir, &[&["settings"], words, &with[..], &["--retries", "10"]].concat());
    let saved = settings(&["save", line, "FV.toml"]);
    assert_eq!(saved.code, 0, "{} {}", saved.out, saved.err);
    let text = fs::read_to_string(dir.join("FV.toml")).unwrap();
    // By the bench file: mode 2, 360 min, 4.5 bar; steps 0 and 1 are there, 2 and 3 are not.
    let flushing = "[described_flushing]\n# read flushing (command 128), written by 129\nmode = \"by interval\"\n\
        interval = 360\nduration = 45\npressure_unit = \"bar\"\npressure = 4.5 # bar\n";
    assert!(text.contains(flushing), "{text}");
    assert!(
        text.contains("[described_step.0]\n") && text.contains("opening = 25.0 # %\nhold = 30\n"),
        "{text}"
    );
    assert!(text.contains("[described_step.1]\n") && !text.contains("[described_step.2]"), "{text}");
    // What the device is stands in the file, so that its description is found.
    assert!(text.contains("expanded_device_type = 0xFDB1"), "{text}");
    let equal = || {
        let ended = settings(&["compare", "FV.toml", line]);
        assert_eq!(ended.code, 0, "{} {}", ended.out, ended.err);
    };
    equal();

    let ask = |words: &[&str]| {
        let ended = run(&dir, &[&["ask", line], words, &with[..], &["--write"]].concat());
        assert_eq!(ended.code, 0, "{} {}", ended.out, ended.err);
    };
    ask(&["129", "mode=off", "interval=360", "duration=45", "pressure_unit=bar", "pressure=4.75"]);
    ask(&["132", "step=1", "opening=50", "hold=0"]);
    let differs = settings(&["compare", "FV.toml", line, "--format", "csv"]);
    let rows = table(&differs.out);
    let told = |r: &Vec<String>| [r[0].as_str(), &r[1], &r[3], &r[4]].join(" ");
    let rows: Vec<String> = rows.iter().map(told).collect();
    let changed = [
        "described_flushing mode by interval off",
        "described_flushing pressure 4.5 bar 4.75 bar",
        "described_step 1 opening 100 % 50 %",
    ];
    assert_eq!(rows, changed);
    run(&dir, &["settings", "restore", line, "FV.toml", "--description", VALVE]).refused(&["--write"]);
    let restored = settings(&["restore", line, "FV.toml", "--write"]);
    assert_eq!(restored.code, 0, "{} {}", restored.out, restored.err);
    assert!(restored.err.contains("described_flushing mode: off -> by interval"), "{}", restored.err);
    assert!(!restored.err.contains("caution"), "these do not move the valve: {}", restored.err);
    equal();
    mock.signal(libc::SIGTERM);
    mock.end();

    // Without the description, or with another one, the file's sections belong to nobody known.
    for more in [&[][..], &["--description", POSITIONER]] {
        run(&dir, &[&["settings", "compare", "FV.toml", "FV.toml"], more].concat()).refused(&[
            "FV.toml:",
            "described_flushing",
            "belong to a device type",
            "--description",
        ]);
    }
    assert_eq!(settings(&["compare", "FV.toml", "FV.toml"]).code, 0);
    // A bench of this process describes its devices itself, and begins new: nothing differs.
    let ended = run(&dir, &["settings", "compare", "FV.toml", MOCK]);
    assert_eq!(ended.code, 0, "{} {}", ended.out, ended.err);
    let spoilt = text.replace("mode = \"by interval\"", "mode = \"by and by\"");
    fs::write(dir.join("bad.toml"), spoilt).unwrap();
    run(&dir, &["settings", "restore", MOCK, "bad.toml"]).refused(&["bad.toml:", "by and by", "by hand"]);
}

/// A described write that may move the valve needs --move, and is else left out and told.
#[test]
fn settings_that_move() {
    let dir = bench("described-moves");
    let commands = "answer = \"stored\"\n[[device.command]]\n";
    let text = format!(
        "pace = 20\n[[device]]\ndescription = \"{POSITIONER}\"\n[[device.command]]\nnumber = 141\n{commands}number = 142\n\
         answer = \"stored\"\n[[device.stored]]\nupper_travel_limit = 100\n[[line]]\nat = \"pty:fv\"\n"
    );
    fs::write(dir.join("bench.toml"), text).unwrap();
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    let settings =
        |words: &[&str]| run(&dir, &[&["settings"], words, &["--description", POSITIONER]].concat());
    assert_eq!(settings(&["save", PORT, "FV.toml"]).code, 0);
    let text = fs::read_to_string(dir.join("FV.toml")).unwrap();
    // The other commands of the positioner are not answered here: 64.
    assert!(text.contains("[described_end_stops]\n") && text.contains("refused = 64"), "{text}");
    let limits = "upper_travel_limit = 100.0";
    assert!(text.contains(limits), "{text}");
    fs::write(dir.join("FV.toml"), text.replace(limits, "upper_travel_limit = 80.0")).unwrap();
    let ended = settings(&["restore", PORT, "FV.toml", "--write"]);
    assert_eq!(ended.code, 1, "{} {}", ended.out, ended.err);
    assert!(ended.err.contains("command 142 may move the valve: --move allows it"), "{}", ended.err);
    let ended = settings(&["restore", PORT, "FV.toml", "--move"]);
    assert_eq!(ended.code, 0, "{} {}", ended.out, ended.err);
    assert!(ended.err.contains("caution") && ended.err.contains("100 % -> 80 %"), "{}", ended.err);
    mock.signal(libc::SIGTERM);
    mock.end();
}
