//! `settings`: what a device is set to, saved, compared, restored, as people meet it.

use super::{table, too_long};
use crate::process::{Process, run, scratch};
use serde_json::{Value as Json, json};
use std::fs;
use std::path::Path;

const BENCH: &str = r#"
pace = 20
[[device]]
tag = "FV-3104"
message = "BRACKENMOOR"
[[line]]
at = "pty:loop"
"#;

/// A line on a bench of this process: it begins new each time.
const MOCK: &str = "mock:bench.toml";
/// The same bench on a port.
const PORT: &str = "serial:loop?pace=20";

/// The bench file.
pub fn bench_file() -> String {
    BENCH.to_owned()
}

fn bench(name: &str) -> std::path::PathBuf {
    let dir = scratch(name);
    fs::write(dir.join("bench.toml"), BENCH).unwrap();
    dir
}

/// Changes a line of a file.
fn edit(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).unwrap();
    assert!(text.contains(from), "{text}");
    fs::write(path, text.replace(from, to)).unwrap();
}

#[test]
fn a_file_is_saved_once_and_compared() {
    let dir = bench("settings-save");
    let saved = run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    assert_eq!((saved.code, saved.err.as_str()), (0, ""));
    assert!(saved.out.contains("settings and") && saved.out.contains("FV.toml"), "{}", saved.out);
    assert_eq!(too_long(&saved.out), [""; 0]);
    let text = fs::read_to_string(dir.join("FV.toml")).unwrap();
    for line in [
        "looprig_settings = 1",
        &format!("looprig = \"{}\"", env!("CARGO_PKG_VERSION")),
        "line = \"mock:bench.toml, virtual time\"",
        "tag = \"FV-3104\"",
        "upper_range_value = 100.0 # %",
        "# read message (command 12), written by 17",
    ] {
        assert!(text.lines().any(|l| l == line), "{line} is missing in {text}");
    }
    // What is there is kept unless told.
    fs::write(dir.join("kept.toml"), "mine").unwrap();
    run(&dir, &["settings", "save", MOCK, "kept.toml"]).refused(&["the file exists", "--force"]);
    assert_eq!(fs::read(dir.join("kept.toml")).unwrap(), b"mine");
    assert_eq!(run(&dir, &["settings", "save", MOCK, "0", "kept.toml", "--force", "-q"]).out, "");
    assert!(!dir.join("kept.toml.new").exists());
    // Exit 0: nothing differs, between files and with the device.
    for left in [&["kept.toml"][..], &[MOCK], &[MOCK, "tag:FV-3104"]] {
        let ended = run(&dir, &[&["settings", "compare", "FV.toml"], left].concat());
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{}", ended.out);
        assert!(ended.out.starts_with("0 differences, "), "{}", ended.out);
    }
    edit(&dir.join("FV.toml"), "message = \"BRACKENMOOR\"", "message = \"AS FOUND\"");
    let ended = run(&dir, &["settings", "compare", "FV.toml", MOCK, "--format", "json"]);
    assert_eq!(ended.code, 1);
    let lines = ended.json();
    let row = json!({"section": "message", "value": "message", "kind": "setting",
        "as_found": "AS FOUND", "as_left": "BRACKENMOOR"});
    assert_eq!(lines[0], row);
    assert_eq!((&lines[1]["differences"], lines[1]["equal"].as_u64() > Some(20)), (&Json::from(1), true));
    let ended = run(&dir, &["settings", "compare", "FV.toml", "kept.toml", "--format", "csv"]);
    assert_eq!((ended.code, table(&ended.out).len()), (1, 1));
}

/// The help of what writes says what can go wrong, and fits the screen.
#[test]
fn help_with_cautions() {
    let dir = scratch("settings-help");
    for command in ["save", "compare", "restore"] {
        let ended = run(&dir, &["settings", command, "--help"]);
        assert_eq!((ended.code, ended.err.as_str(), too_long(&ended.out)), (0, "", vec![]), "{command}");
        let help = format!("`looprig settings {command} --help`");
        run(&dir, &["settings", command]).refused(&["required", &help]);
        run(&dir, &["settings", command, "--nosuch"]).refused(&["--nosuch"]);
    }
    let help = run(&dir, &["settings", "restore", "--help"]).out;
    let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in
        ["Loop in manual, process and people clear", "need --move besides --write", "loses sight of it"]
    {
        assert!(help.contains(words), "{words} is missing in {help}");
    }
    // Nothing about what to do: the help, and no success.
    let bare = run(&dir, &["settings"]);
    assert!(bare.code == 2 && bare.err.contains("Usage: looprig settings"), "{}", bare.err);
}

#[test]
fn what_cannot_be_compared_or_restored() {
    let dir = bench("settings-refused");
    run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    run(&dir, &["settings", "compare", "none", MOCK]).refused(&["none", "name a file"]);
    run(&dir, &["settings", "compare", "FV.toml", "none"]).refused(&["none", "there is no file none"]);
    run(&dir, &["settings", "compare", "FV.toml", MOCK, "64"]).refused(&["64 is no polling address"]);
    run(&dir, &["settings", "compare", "bench.toml", MOCK]).refused(&["bench.toml:1:1", "no settings file"]);
    run(&dir, &["settings", "compare", ".", MOCK]).refused(&["directory"]);
    run(&dir, &["settings", "save", MOCK, "none/FV.toml"]).refused(&["none/FV.toml"]);
    run(&dir, &["settings", "save", MOCK, "rubbish", "x.toml"]).refused(&["rubbish", "tag:"]);
    // Nobody there: 1 where something was to be done, 2 where nothing was compared.
    let silent = run(&dir, &["settings", "save", MOCK, "5", "x.toml"]);
    assert!(silent.code == 1 && silent.err.contains("nobody answered"), "{}", silent.err);
    assert_eq!(run(&dir, &["settings", "compare", "FV.toml", MOCK, "5"]).code, 2);
    assert!(!dir.join("x.toml").exists());
    edit(&dir.join("FV.toml"), "damping = 0.0", "damping = \"a lot\"");
    run(&dir, &["settings", "restore", MOCK, "FV.toml"]).refused(&["FV.toml:", "\"a lot\"", "a number", "^"]);
}

/// As found, changed by somebody, as left: over a port, where leave is needed.
#[test]
fn a_device_gets_its_settings_back() {
    let dir = bench("settings-restore");
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    mock.line();
    assert_eq!(run(&dir, &["settings", "save", PORT, "FV.toml"]).code, 0);
    let ask = |words: &[&str]| {
        let ended = run(&dir, &[&["ask", PORT, "0", "--move"], words].concat());
        assert!(ended.out.contains(": ok"), "{} {}", ended.out, ended.err);
    };
    ask(&["17", "message=SOMEBODY ELSE"]);
    ask(&["6", "polling_address=0", "loop_current_mode=0"]);
    // Told before the port is opened.
    let restore = ["settings", "restore", PORT, "FV.toml"];
    run(&dir, &restore).refused(&["changes what the device stores", "--write"]);

    // The mode may move the valve: left out, told, and so not everything has arrived.
    let ended = run(&dir, &[&restore[..], &["--write", "--log", "restore.log"]].concat());
    assert_eq!(ended.code, 1, "{}", ended.err);
    let before = &ended.err;
    assert!(before.contains("  message message: SOMEBODY ELSE -> BRACKENMOOR\n"), "{before}");
    assert!(
        before.contains("left out: loop loop_current_mode: disabled -> enabled; command 6 may move"),
        "{before}"
    );
    assert!(!before.contains("caution"), "{before}");
    assert!(ended.out.contains("1 of 1 value arrived, 1 left out"), "{}", ended.out);
    let heard = commands(&dir);
    assert!(heard.contains(&17) && !heard.contains(&6), "{heard:?}");

    let ended = run(&dir, &[&restore[..], &["--move", "--format", "json"]].concat());
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.err.contains("caution: the valve may move: loop in manual"), "{}", ended.err);
    let row = json!({"section": "loop", "value": "loop_current_mode", "as_found": "disabled",
        "wanted": "enabled", "as_left": "enabled", "outcome": "arrived"});
    assert_eq!(ended.json(), [row]);
    let ended = run(&dir, &["settings", "compare", "FV.toml", PORT]);
    assert_eq!(ended.code, 0, "{}", ended.out);
    // Nothing to do is no failure.
    let ended = run(&dir, &[&restore[..], &["--write"]].concat());
    assert!(ended.code == 0 && ended.err.contains("nothing is to be written"), "{}", ended.err);
    mock.signal(libc::SIGTERM);
    mock.end();
}

/// The commands that a host sent, from its log.
fn commands(dir: &Path) -> Vec<u64> {
    let sent = run(dir, &["decode", "restore.log", "--format", "json"]).json();
    sent.iter().filter_map(|e| e["command"].as_u64().or_else(|| e["command"]["number"].as_u64())).collect()
}

/// A device that says it is something else gets nothing: it is read, and that is all.
#[test]
fn another_type_is_refused_whatever_may_be_written() {
    let dir = bench("settings-type");
    run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    edit(&dir.join("FV.toml"), "message = \"BRACKENMOOR\"", "message = \"NEW\"");
    let other = |line: &str| BENCH.replace("[[line]]", &format!("{line}\n[[line]]"));
    for (line, told) in [
        ("revision = 6", "universal_revision 7 in the file, 6 here"),
        ("device_type = 0x1234", "expanded_device_type 0xFD71 in the file, 0x1234 here"),
        ("device_revision = 2", "device_revision 1 in the file, 2 here"),
    ] {
        fs::write(dir.join("other.toml"), other(line)).unwrap();
        let restore = ["settings", "restore", "mock:other.toml", "FV.toml", "--write", "--move", "--log"];
        let log = dir.join("restore.log");
        let _ = fs::remove_file(&log);
        run(&dir, &[&restore[..], &["restore.log"]].concat()).refused(&[told, "--other-type"]);
        let heard = commands(&dir);
        assert!(heard.contains(&12) && !heard.contains(&17), "{heard:?}");
        let told_so = run(&dir, &[&restore[..], &["restore.log", "--other-type"]].concat());
        assert!(told_so.err.contains(told) && told_so.out.contains("NEW"), "{}", told_so.err);
    }
}

/// Another device of the same type may be the new one in the old one's place, or the wrong valve [HO-08].
#[test]
fn another_device_is_refused_unless_it_takes_the_place() {
    let dir = bench("settings-device");
    run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    let new = BENCH.replace("[[line]]", "device_id = 7\n[[line]]").replace("FV-3104", "FV-3105");
    fs::write(dir.join("new.toml"), &new).unwrap();
    let told = [
        "the file is of another device: device_id 0x003104 in the file, 0x000007 here",
        "tag FV-3104 in the file, FV-3105 here",
    ];
    let restore = ["settings", "restore", "mock:new.toml", "FV.toml", "--write", "--log", "restore.log"];
    run(&dir, &restore).refused(&[&told[..], &["check which device this is; --other-device"]].concat());
    let heard = commands(&dir);
    assert!(heard.contains(&12) && !heard.contains(&18), "{heard:?}");
    fs::remove_file(dir.join("restore.log")).unwrap();
    let ended = run(&dir, &[&restore[..], &["--other-device"]].concat());
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(told.iter().all(|t| ended.err.contains(t)), "{}", ended.err);
    assert!(commands(&dir).contains(&18));
    // Of another type and another one: both are told at once, and each has to be allowed.
    fs::write(dir.join("new.toml"), new.replace("[[line]]", "device_revision = 2\n[[line]]")).unwrap();
    run(&dir, &restore).refused(&[
        "device_revision 1 in the file",
        told[0],
        "--other-type",
        "--other-device",
    ]);
    run(&dir, &[&restore[..], &["--other-type"]].concat()).refused(&[told[0], "--other-device"]);
    run(&dir, &[&restore[..], &["--other-device"]].concat()).refused(&["--other-type"]);
    let ended = run(&dir, &[&restore[..], &["--other-type", "--other-device"]].concat());
    assert_eq!(ended.code, 0, "{}", ended.err);
    // A file that does not say whose it is vouches for nothing.
    edit(&dir.join("FV.toml"), "device_id = 0x003104\n", "");
    run(&dir, &["settings", "restore", MOCK, "FV.toml"]).refused(&["device_id - in the file"]);
}

/// The bench with a control room on it that asks a command once.
fn with_another_master(dir: &Path, file: &str, device: &str, ask: &str) {
    let master = format!(
        "{device}\n[[master]]\nrole = \"primary\"\n\
         asks = [{{ device = \"FV-3104\", every_s = 100000, {ask} }}]\n[[line]]"
    );
    // At the pace of the wire: when a master asks is told in its own seconds.
    let text = BENCH.replace("[[line]]", &master).replace("pace = 20\n", "");
    fs::write(dir.join(file), text).unwrap();
}

/// Something that was right when it was planned, is not any more, and may not be put right.
#[test]
fn what_changed_meanwhile_is_told() {
    let dir = bench("settings-meanwhile");
    run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    edit(&dir.join("FV.toml"), "message = \"BRACKENMOOR\"", "message = \"NEW\"");
    // Reading takes some 9 s of the wire, then comes the write, then everything is read again: in the middle
    // of that the control room gives the device address 9 [CM-006].
    with_another_master(&dir, "meanwhile.toml", "", "command = 6, data = \"09 01\", from_s = 14");
    let line = "mock:meanwhile.toml?seed=1";
    let ended = run(&dir, &["settings", "restore", line, "FV.toml", "--format", "json"]);
    assert_eq!(ended.code, 1, "{}", ended.err);
    let told = "this changed while the rest was written, and was not put right: \
        loop polling_address: 9, wanted 0; with it the device would answer elsewhere";
    assert!(ended.err.contains(told), "{}", ended.err);
    let rows = ended.json();
    let row = |name: &str| rows.iter().find(|r| r["value"] == name).unwrap_or_else(|| panic!("{rows:?}"));
    assert_eq!(row("message")["outcome"], "arrived");
    assert!(row("polling_address")["outcome"].as_str().unwrap().starts_with("left out: "), "{rows:?}");
}

/// [HO-07] [DV-17]: before revision 7 who is locked out hears that the device is busy; the exit code tells.
#[test]
fn a_device_that_stays_busy() {
    let dir = bench("settings-busy");
    with_another_master(&dir, "free.toml", "revision = 6", "command = 3");
    run(&dir, &["settings", "save", "mock:free.toml?seed=1", "FV.toml"]);
    edit(&dir.join("FV.toml"), "message = \"BRACKENMOOR\"", "message = \"NEW\"");
    with_another_master(&dir, "busy.toml", "revision = 6", "command = 71, data = \"01\"");
    let ended =
        run(&dir, &["settings", "restore", "mock:busy.toml?seed=1", "FV.toml", "--log", "restore.log"]);
    assert_eq!(ended.code, 1, "{}", ended.err);
    assert!(ended.out.contains("left out, refused 32: busy"), "{}", ended.out);
    assert!(ended.err.contains("wait until it is done, then restore once more"), "{}", ended.err);
    assert_eq!(commands(&dir).iter().filter(|c| **c == 17).count(), 10);
}

/// A file that says what was not read: that is no setting of nothing.
#[test]
fn what_was_not_read_is_not_restored_in_silence() {
    let dir = bench("settings-unread");
    run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    // [ST-03]: 32 is busy.
    edit(&dir.join("FV.toml"), "message = \"BRACKENMOOR\"", "unread = 32");
    let ended = run(&dir, &["settings", "compare", "FV.toml", MOCK]);
    assert_eq!(ended.code, 1, "{}", ended.out);
    for words in ["not read, busy (32)", "so not compared whole: message"] {
        assert!(ended.out.contains(words), "{}", ended.out);
    }
    let ended = run(&dir, &["settings", "restore", MOCK, "FV.toml"]);
    assert_eq!(ended.code, 1, "{}", ended.err);
    let told = "left out: message (all): the device was busy (32) when the file was saved: \
        save it again, or take [message] out of the file";
    assert!(
        ended.err.contains(told) && ended.out.contains("Nothing was written, 1 left out"),
        "{}",
        ended.err
    );
}

/// A value that the device keeps under two names, changed under one: it is told why it does not stay.
#[test]
fn a_value_under_two_names() {
    let dir = bench("settings-two-names");
    run(&dir, &["settings", "save", MOCK, "FV.toml"]);
    let text = fs::read_to_string(dir.join("FV.toml")).unwrap();
    let (before, output) = text.split_once("[output]").unwrap();
    let text = format!("{before}[output]{}", output.replacen("damping = 0.0", "damping = 2.0", 1));
    fs::write(dir.join("FV.toml"), text).unwrap();
    let ended = run(&dir, &["settings", "restore", MOCK, "FV.toml"]);
    assert_eq!(ended.code, 1, "{}", ended.err);
    assert!(ended.out.contains("arrived, then changed by another write"), "{}", ended.out);
    assert!(ended.err.contains("give both the same value in the file"), "{}", ended.err);
}

/// A disk that takes no more, a name beside the file that is somebody's: what is there stays.
#[test]
#[cfg(unix)]
fn a_save_that_fails_spoils_nothing() {
    let dir = bench("settings-full");
    fs::write(dir.join("FV.toml"), "mine").unwrap();
    fs::write(dir.join("FV.toml.new"), "mine too").unwrap();
    // No file may become longer than 512 or 1024 octets: as on a full disk, the beginning is taken.
    let save = format!(
        "trap '' XFSZ; ulimit -f 1; exec '{}' settings save {MOCK} FV.toml --force",
        env!("CARGO_BIN_EXE_looprig")
    );
    let ended = std::process::Command::new("sh").args(["-c", &save]).current_dir(&dir).output().unwrap();
    let said = String::from_utf8_lossy(&ended.stderr);
    assert!(ended.status.code() == Some(2) && said.contains("saving settings to FV.toml"), "{said}");
    assert_eq!(fs::read(dir.join("FV.toml")).unwrap(), b"mine");
    // Where nothing was before, no half of a file is left.
    let other = save.replace("FV.toml --force", "other.toml");
    let ended = std::process::Command::new("sh").args(["-c", &other]).current_dir(&dir).output().unwrap();
    assert_eq!(ended.status.code(), Some(2));
    assert_eq!(run(&dir, &["settings", "save", MOCK, "FV.toml", "--force"]).code, 0);
    assert!(fs::read_to_string(dir.join("FV.toml")).unwrap().contains("looprig_settings"));
    assert_eq!(fs::read(dir.join("FV.toml.new")).unwrap(), b"mine too");
    let mut names: Vec<_> = fs::read_dir(&dir).unwrap().map(|e| e.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["FV.toml", "FV.toml.new", "bench.toml"]);
}
