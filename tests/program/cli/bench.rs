//! Mock, host and listener as programs of their own on one loop: pseudo-terminals, twenty times the
//! wire's pace.

use super::{table, too_long};
use crate::process::{Ended, Process, run, scratch};
use serde_json::Value as Json;
use std::fs;
use std::path::{Path, PathBuf};

const BENCH: &str = r#"
[loop]
current_ma = 12
[[device]]
tag = "FV-3104"
long_tag = "Brackenmoor filter 4"
[[line]]
at = "pty:"
[[line]]
at = "pty:"
"#;

const PACE: &str = "20";

/// The tables of [DV-110] and [PL-33] in their order, row by row.
#[test]
fn all_faults_are_listed() {
    let dir = scratch("mock-faults");
    let told = run(&dir, &["mock", "--faults"]);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    assert_eq!(too_long(&told.out), Vec::<&str>::new());
    let words = |page: &str, id: &str| -> Vec<String> {
        let notes = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(page)).unwrap();
        let part =
            notes.split(&format!("## [{id}]")).nth(1).unwrap().split("\n## ").next().unwrap().to_owned();
        let rows = part.lines().filter_map(|l| l.strip_prefix("| `"));
        rows.map(|l| l.split('`').next().unwrap().to_owned()).collect()
    };
    let site = words("protocol-notes/site-faults.md", "DV-110");
    let valve = words("protocol-notes/plant.md", "PL-33");
    assert_eq!((site.len(), valve.len()), (11, 20));
    let rows = table(&run(&dir, &["--format", "csv", "mock", "--faults"]).out);
    let listed: Vec<String> = rows.iter().map(|row| row[1].clone()).collect();
    assert_eq!(listed, [site, valve].concat());
}

/// A mock that runs, and where its loop can be opened.
struct Bench {
    dir: PathBuf,
    mock: Process,
    ready: Json,
}

impl Bench {
    fn start(name: &str) -> Bench {
        let dir = scratch(name);
        fs::write(dir.join("bench.toml"), BENCH).unwrap();
        let mut mock = Process::start(&dir, &["mock", "bench.toml", "--pace", PACE, "--format", "json"]);
        let ready: Json = serde_json::from_str(&mock.line()).unwrap();
        assert_eq!((&ready["ready"], &ready["pace"]), (&Json::from(true), &Json::from(PACE)));
        Bench { dir, mock, ready }
    }

    /// A line as it is given to `looprig`.
    fn line(&self, n: usize) -> String {
        let open = self.ready["lines"][n]["open"].as_str().unwrap();
        assert!(open.starts_with("serial:") && open.ends_with(&format!("?pace={PACE}")), "{open}");
        open.to_owned()
    }

    fn unique(&self) -> &str {
        self.ready["devices"][0]["unique_address"].as_str().unwrap()
    }

    fn ask(&self, words: &[&str]) -> Ended {
        run(&self.dir, &[&["ask", &self.line(0)], words].concat())
    }

    /// A listener on the second clip, which has begun to listen.
    fn listen(&self, options: &[&str]) -> Process {
        let mut listener = Process::start(&self.dir, &[&["listen", &self.line(1)], options].concat());
        let message = listener.message();
        assert!(message.starts_with("Listening on serial:") && message.contains("Ctrl-C"), "{message}");
        listener
    }

    fn end(self) {
        self.mock.signal(libc::SIGTERM);
        let ended = self.mock.end();
        assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    }
}

/// The exchanges of a log.
fn logged(dir: &Path, log: &str) -> Vec<Json> {
    let ended = run(dir, &["decode", "--format", "json", log]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    ended.json()
}

fn has_command(exchanges: &[Json], command: u8) -> bool {
    exchanges.iter().any(|e| e["command"] == command)
}

fn has_answer(exchanges: &[Json], command: u8) -> bool {
    exchanges.iter().any(|e| e["command"] == command && e["outcome"] == "answered")
}

/// Every signal that ends a listener ends it well: the log is whole, the summary is there.
#[test]
fn a_listener_keeps_what_it_heard() {
    let bench = Bench::start("listen");
    for (signal, name) in [(libc::SIGINT, "int.log"), (libc::SIGTERM, "term.log")] {
        let mut listener = bench.listen(&["--log", name]);
        let asked = bench.ask(&["20"]);
        assert_eq!(asked.code, 0, "{}", asked.err);
        // The answer has been shown, so it has been heard.
        while !listener.line().contains("Brackenmoor filter 4") {}
        listener.signal(signal);
        let ended = listener.end();
        assert_eq!((ended.code, too_long(&ended.err)), (0, vec![]));
        // The one message at the end counts the answers of the device.
        assert!(ended.err.starts_with("Statistics after "), "{}", ended.err);
        let words = ended.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(&format!("; device {}: ", bench.unique())), "{words}");
        assert!(ended.out.contains("\nSummary: ") && ended.out.contains(bench.unique()), "{}", ended.out);
        assert!(ended.out.contains(&format!("The log is in {name}")), "{}", ended.out);
        assert_eq!(too_long(&ended.out), [""; 0]);
        let text = fs::read_to_string(bench.dir.join(name)).unwrap();
        assert!(text.ends_with("}\n") && text.lines().count() >= 5, "{text}");
        let exchanges = logged(&bench.dir, name);
        // On a machine that stalls, the host may have asked the first once more into its answer.
        assert!(has_command(&exchanges, 0) && has_answer(&exchanges, 20), "{exchanges:?}");
    }
    // Its own time ends it as well; what it heard before is continued, nothing is lost.
    let before = fs::read_to_string(bench.dir.join("int.log")).unwrap();
    let ended = bench.listen(&["--log", "int.log", "--for", "0"]).end();
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.err.starts_with("Statistics after ") && ended.err.lines().count() == 1, "{}", ended.err);
    let after = fs::read_to_string(bench.dir.join("int.log")).unwrap();
    assert!(after.starts_with(&before) && after[before.len()..].starts_with("{\"looprig_log\""));
    bench.end();
}

/// [LG-02]: a torn log is continued behind its torn line, and loses nothing.
#[test]
fn a_torn_log_is_continued() {
    let bench = Bench::start("continue");
    let log = bench.dir.join("x.log");
    assert_eq!(bench.ask(&["13", "--log", "x.log"]).code, 0);
    let whole = fs::read_to_string(&log).unwrap();
    let torn = &whole[..whole.len() - 20];
    fs::write(&log, torn).unwrap();
    assert_eq!(bench.ask(&["20", "--log", "x.log"]).code, 0);
    let after = fs::read_to_string(&log).unwrap();
    assert!(after.starts_with(&format!("{torn}\n{{\"looprig_log\"")), "{after}");
    let ended = run(&bench.dir, &["decode", "--format", "json", "x.log"]);
    assert_eq!(ended.code, 0);
    assert_eq!(ended.err.matches("was skipped").count(), 1, "{}", ended.err);
    assert!(has_answer(&ended.json(), 0) && has_answer(&ended.json(), 20), "{}", ended.out);
    // Both directions are in it.
    assert!(after.contains("\"d\":\"tx\"") && after.contains("\"d\":\"rx\""), "{after}");
    bench.end();
}

#[test]
fn scan_finds_the_device_and_nobody_else() {
    let bench = Bench::start("scan");
    let scan = |options: &[&str]| run(&bench.dir, &[&["scan", &bench.line(0)], options].concat());
    let ended = scan(&["--range", "0-3"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    for part in ["FV-3104", "Brackenmoor filter 4", bench.unique(), "1 device at polling addresses 0 to 3;"] {
        assert!(ended.out.contains(part), "{part:?} is missing in {}", ended.out);
    }
    assert_eq!(too_long(&ended.out), [""; 0]);
    let rows = scan(&["--range", "0", "--format", "json", "--log", "scan.log"]).json();
    assert_eq!(rows.len(), 1);
    assert_eq!((&rows[0]["tag"], &rows[0]["revision"]), (&Json::from("FV-3104"), &Json::from("7")));
    assert!(has_answer(&logged(&bench.dir, "scan.log"), 13));
    let rows = table(&scan(&["--range", "0-1", "--format", "csv"]).out);
    assert_eq!((rows.len(), rows[0][2].as_str()), (1, "FV-3104"));
    // Nobody there: exit code 1, and where else to look.
    let ended = scan(&["--range", "5-6", "--retries", "0"]);
    assert_eq!((ended.code, ended.out.as_str()), (1, ""));
    for part in ["polling addresses 5 to 6", "nobody answered", "\n  next: ", "--range 0-63"] {
        assert!(ended.err.contains(part), "{part:?} is missing in {}", ended.err);
    }
    bench.end();
}

#[test]
fn ask_in_every_format_and_by_every_name() {
    let bench = Bench::start("ask");
    let ended = bench.ask(&["20"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    assert!(
        ended.out.contains("read long tag: ok") && ended.out.contains("Brackenmoor filter 4"),
        "{}",
        ended.out
    );
    let json = bench.ask(&["20", "--format", "json"]).json();
    assert_eq!(json.len(), 1);
    assert_eq!(json[0]["reply"]["values"]["long_tag"], "Brackenmoor filter 4");
    let rows = table(&bench.ask(&["20", "--format", "csv"]).out);
    assert!(rows.iter().any(|r| r[8] == "long_tag" && r[9] == "Brackenmoor filter 4"), "{rows:?}");
    assert!(bench.ask(&["20", "-v"]).out.contains("status 00"));
    let unique = bench.unique().to_owned();
    for to in
        ["0", "tag:FV-3104", "tag:fv-3104", "longtag:Brackenmoor filter 4", &unique, &unique.to_lowercase()]
    {
        let ended = bench.ask(&[to, "13", "--format", "json"]);
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{to}");
        assert_eq!(ended.json()[0]["reply"]["values"]["tag"], "FV-3104", "{to}");
    }
    bench.end();
}

/// Exit code 1 and advice where nobody answers; 1 where the device refuses.
#[test]
fn silence_and_refusals() {
    let bench = Bench::start("silent");
    for (to, advice) in [
        ("5", "looprig scan"),
        ("tag:FV-9999", "last character"),
        ("longtag:Nobody", "last character"),
        ("260D001511", "unique addresses"),
    ] {
        let ended = bench.ask(&[to, "3", "--retries", "0"]);
        assert_eq!((ended.code, ended.out.as_str()), (1, ""), "{}", ended.err);
        for part in ["looprig: asking command 3 of ", "nobody answered", "\n  next: ", advice, "loop power"] {
            assert!(ended.err.contains(part), "{part:?} is missing in {}", ended.err);
        }
    }
    // [CM-006]: there is no polling address 200. Code 64 for a command that is not there [ST-03].
    let ended = bench.ask(&["6", "polling_address=200", "loop_current_mode=1", "--move"]);
    assert_eq!(ended.code, 1);
    assert!(ended.out.contains("refused 2: invalid polling address"), "{}", ended.out);
    assert!(ended.err.contains("caution") && ended.err.contains("polling_address=200"), "{}", ended.err);
    let ended = bench.ask(&["200", "--move"]);
    assert_eq!(ended.code, 1);
    assert!(ended.out.contains("refused 64"), "{}", ended.out);
    bench.end();
}

/// [HO-05]: without leave nothing is sent; with leave it is told beforehand and done.
#[test]
fn writing_needs_leave() {
    let bench = Bench::start("leave");
    let mut listener = bench.listen(&["--log", "x.log", "--format", "json"]);
    bench.ask(&["22", "long_tag=changed"]).refused(&["write long tag", "--write"]);
    bench.ask(&["6", "polling_address=1", "loop_current_mode=1", "--write"]).refused(&["--move"]);
    bench.ask(&["200", "--write"]).refused(&["command 200", "--move"]);
    // Values that make no data: the message has the names, and the command is not sent.
    bench.ask(&["18", "tagg=A", "--write"]).refused(&["\"tagg\"", "tag, descriptor, date"]);
    bench.ask(&["18", "tag=A", "--write"]).refused(&["descriptor", "not given", "tag, descriptor, date"]);
    bench.ask(&["18", "tag=A", "descriptor=B", "date=soon", "--write"]).refused(&[
        "date",
        "\"soon\"",
        "explain 18",
    ]);
    bench.ask(&["17", "message=small", "--write"]).refused(&[
        "message",
        "small",
        "capital",
        "only value is message",
    ]);
    bench.ask(&["200", "data=0G", "--move"]).refused(&["data", "0G", "hex"]);
    let ended = bench.ask(&["22", "long_tag=Filter 5", "--write"]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(
        ended.err.contains("command 22, write long tag, goes to polling address 0, with long_tag=Filter 5")
    );
    assert!(bench.ask(&["20"]).out.contains("Filter 5"));
    while !listener.line().contains("\"command\":20,") {}
    listener.signal(libc::SIGINT);
    assert_eq!(listener.end().code, 0);
    let exchanges = logged(&bench.dir, "x.log");
    for command in [6, 17, 18, 200] {
        assert!(!has_command(&exchanges, command), "command {command} was sent");
    }
    assert_eq!(exchanges.iter().filter(|e| e["command"] == 22).count(), 1);
    bench.end();
}

/// A listener whose reader goes away ends well, and its log stays.
#[test]
fn a_listener_without_a_reader() {
    let bench = Bench::start("unread");
    let (reader, writer) = std::io::pipe().unwrap();
    let line = bench.line(1);
    let mut command = crate::process::looprig(&bench.dir, &["listen", &line, "-q", "--log", "x.log"]);
    let mut listener = command.stdout(writer).spawn().unwrap();
    drop(command);
    drop(reader);
    // Asked until the listener is gone: it may not have been there for the first of them.
    let mut rounds = 0..100;
    let ended = rounds.find_map(|_| {
        assert_eq!(bench.ask(&["20"]).code, 0);
        listener.try_wait().unwrap()
    });
    if ended.is_none() {
        listener.kill().unwrap();
    }
    assert_eq!(ended.expect("it goes on without a reader").code(), Some(0));
    assert!(has_command(&logged(&bench.dir, "x.log"), 0));
    bench.end();
}
