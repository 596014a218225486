//! `looprig conform`: a device judged, and what the program says about it.

use super::{table, too_long};
use crate::process::{Process, run, scratch};
use std::fs;

/// The same mock as the line of this process and, behind a port, as another program's.
fn bench(dir: &std::path::Path, device: &str, lines: &str) {
    fs::write(dir.join("b.toml"), format!("pace = \"wire\"\n[[device]]\ntag = \"FV-3104\"\n{device}{lines}"))
        .unwrap();
}

const PTY: &str = "[[line]]\nat = \"pty:\"\n";
const MOCK: &str = "mock:b.toml";

#[test]
fn a_healthy_mock_passes_in_every_format() {
    let dir = scratch("conform");
    bench(&dir, "", PTY);
    let text = run(&dir, &["conform", MOCK, "--only", "link"]);
    assert_eq!((text.code, text.err.as_str()), (0, ""), "{}", text.out);
    assert!(text.out.starts_with("Device FV-3104, 3D71003104, revision 7 on mock:b.toml"), "{}", text.out);
    assert!(text.out.contains(", 0 failed") && too_long(&text.out).is_empty(), "{}", text.out);
    let json = run(&dir, &["conform", MOCK, "--only", "link", "--format", "json"]);
    let lines = json.json();
    let (end, cases) = lines.split_last().expect("an end");
    assert!(cases.iter().all(|c| c["verdict"] == "pass"), "{}", json.out);
    assert_eq!((&end["ended"], &end["device"]), (&"complete".into(), &"3D71003104".into()));
    assert_eq!(end["passed"].as_u64(), Some(cases.len() as u64));
    let csv = run(&dir, &["conform", MOCK, "--only", "link", "--format", "csv"]);
    assert_eq!(table(&csv.out).len(), cases.len());
}

/// What is asked for with --list is what --only would run.
#[test]
fn the_list_names_every_case() {
    let dir = scratch("conform-list");
    let list = run(&dir, &["conform", "--list", "--only", "link/timing", "--format", "csv"]);
    let rows = table(&list.out);
    assert!(rows.len() > 5 && rows.iter().all(|r| r[0].starts_with("link/timing/")), "{}", list.out);
    let text = run(&dir, &["conform", "--list"]);
    assert!(rows.iter().all(|r| text.out.contains(&r[0])) && too_long(&text.out).is_empty(), "{}", text.out);
}

#[test]
fn what_cannot_be_run_is_told() {
    let dir = scratch("conform-refused");
    bench(&dir, "", PTY);
    fs::write(dir.join("known.toml"), "[[known]]\ncase = \"link/timing/answer-within-limit\"\n").unwrap();
    for (arguments, words) in [
        (&["conform", MOCK, "--only", "lnk"][..], &["lnk", "--list"][..]),
        (&["conform", MOCK, "5"], &["polling address 5", "silence", "looprig scan"]),
        (&["conform", MOCK, "64"], &["64", "polling address"]),
        (&["conform", MOCK, "--known", "none.toml"], &["none.toml", "no such file"]),
        (&["conform", MOCK, "--known", "known.toml"], &["known.toml:2:8", "answers-within-limit"]),
    ] {
        println!("{arguments:?}");
        run(&dir, arguments).refused(words);
    }
}

/// A device that does not tell of damaged requests deviates from an advice; a list of known deviations takes it, and
/// one that names a case that passes fails.
#[test]
fn known_deviations_and_strictness() {
    let dir = scratch("conform-known");
    bench(&dir, "answers_damaged = false\n", PTY);
    let judge = |more: &[&str]| run(&dir, &[&["conform", MOCK, "--only", "link/check"], more].concat());
    let plain = judge(&[]);
    assert_eq!(plain.code, 0, "{}", plain.out);
    assert!(plain.out.contains("advice link/check/damage-is-told [LL-08]"), "{}", plain.out);
    let strict = judge(&["--strict"]);
    assert_eq!(strict.code, 1, "{}", strict.out);
    assert!(strict.out.contains("FAIL link/check/damage-is-told [LL-08]"), "{}", strict.out);
    let known = |id: &str| {
        fs::write(dir.join("k.toml"), format!("[[known]]\ncase = \"{id}\"\nreason = \"by switch\"\n"))
    };
    known("link/check/damage-is-told").unwrap();
    let taken = judge(&["--strict", "--known", "k.toml"]);
    assert_eq!(taken.code, 0, "{}", taken.out);
    assert!(taken.out.contains("known") && taken.out.contains("by switch"), "{}", taken.out);
    known("link/check/of-answers").unwrap();
    let stale = judge(&["--known", "k.toml"]);
    assert_eq!(stale.code, 1, "{}", stale.out);
    assert!(stale.out.contains("take it out of the list"), "{}", stale.out);
}

/// A line that ends in the middle: a report of what was judged, and exit code 2.
#[test]
fn a_line_that_ends_is_told_with_what_was_judged() {
    let dir = scratch("conform-lost");
    bench(&dir, "", PTY);
    let ended = run(&dir, &["conform", "mock:b.toml?for=20", "--only", "link"]);
    assert_eq!(ended.code, 2, "{}", ended.out);
    assert!(ended.out.contains("The line was lost") && ended.out.contains("not run"), "{}", ended.out);
    assert!(!ended.out.contains("\n0 passed"), "{}", ended.out);
}

/// The log holds what was sent and received, at the times that the report names.
#[test]
fn the_log_is_that_of_the_report() {
    let dir = scratch("conform-log");
    bench(&dir, "answers_damaged = false\n", PTY);
    let only = [
        "conform",
        MOCK,
        "--only",
        "link/check/damage-is-told",
        "--strict",
        "--format",
        "json",
        "--log",
        "run.log",
    ];
    let lines = run(&dir, &only).json();
    let (from, to) = (lines[0]["from_ns"].as_u64().unwrap(), lines[0]["to_ns"].as_u64().unwrap());
    let log = run(&dir, &["decode", "run.log", "--format", "json"]);
    assert_eq!(log.code, 0, "{}", log.err);
    // The request with the wrong check byte, between those times, and the same time in the evidence.
    let damaged: Vec<u64> =
        log.json().iter().filter(|l| l["kind"] == "damaged").filter_map(|l| l["t_ns"].as_u64()).collect();
    // Three times, since silence may be the wires' doing [CO-08]; what is shown is the last time.
    assert_eq!(damaged.len(), 3, "{}", log.out);
    assert!((from..=to).contains(&damaged[2]) && damaged[1] < from, "{damaged:?} {from} {to}");
    assert_eq!(lines[0]["traffic"][0]["t_ns"].as_u64(), Some(damaged[2]));
    assert_eq!(lines[0]["runs"]["failed"], 3);
}

/// Behind a port of this machine and over TCP the same device fails nothing; what such lines cannot tell or send is
/// inconclusive [LI-02] [LI-12] [LI-24]. Nothing is written there without leave.
#[test]
fn real_lines_leave_open_what_they_cannot_judge() {
    let dir = scratch("conform-lines");
    bench(&dir, "", "[[line]]\nat = \"pty:port\"\n[[line]]\nat = \"tcp-listen:127.0.0.1:0\"\n");
    let mut mock = Process::start(&dir, &["mock", "b.toml", "--pace", "8", "--format", "json"]);
    let ready: serde_json::Value = serde_json::from_str(&mock.line()).unwrap();
    let tcp = ready["lines"][1]["open"].as_str().expect("where it is reached").to_owned();
    for line in ["serial:port?pace=8".to_owned(), tcp] {
        let only =
            ["link/framing", "link/check/*parity*", "link/check/of-answers", "link/timing/silent-unasked"]
                .map(|s| ["--only", s])
                .concat();
        let ended = run(&dir, &[&["conform", &line, "--format", "json"], &only[..]].concat());
        assert_eq!(ended.code, 0, "{line}: {} {}", ended.err, ended.out);
        let lines = ended.json();
        let verdict =
            |id: &str| lines.iter().find(|l| l["case"] == id).map(|l| l["verdict"].clone()).unwrap();
        for id in [
            "link/check/wrong-parity",
            "link/framing/no-pause-inside-answers",
            "link/framing/parity-of-answers-is-odd",
        ] {
            assert_eq!(verdict(id), "inconclusive", "{line}: {id}");
        }
        for id in
            ["link/check/of-answers", "link/framing/byte-count-of-answers", "link/timing/silent-unasked"]
        {
            assert_eq!(verdict(id), "pass", "{line}: {id}");
        }
        assert!(lines.iter().all(|l| l["verdict"] != "fail"), "{line}: {}", ended.out);
    }
    mock.signal(libc::SIGINT);
    assert_eq!(mock.end().code, 0);
}

#[test]
fn the_matrix_names_what_fails_on_a_fault() {
    let dir = scratch("conform-matrix");
    let part = [
        "conform",
        "--matrix",
        "--only",
        "link/check",
        "--fault",
        "check_byte_wrong",
        "--fault",
        "unit_not_kept",
    ];
    let csv = run(&dir, &[&part[..], &["--format", "csv"]].concat());
    assert_eq!(csv.code, 0, "{}{}", csv.out, csv.err);
    let of_answers = |l: &&str| l.starts_with("check_byte_wrong,FR-09,link/check/of-answers,FR-09,FV-3107 ");
    assert_eq!(csv.out.lines().filter(of_answers).count(), 1, "{}", csv.out);
    assert!(csv.out.lines().any(|l| l.starts_with("unit_not_kept,") && l.ends_with(",,,,")), "{}", csv.out);
    let json = run(&dir, &[&part[..], &["--format", "json"]].concat()).json();
    assert_eq!(json[0]["unfound"][0]["fault"], "unit_not_kept");
    assert!(json[0].get("unproven").is_none(), "two faults say nothing of what all cases find");
    run(&dir, &["conform", "--matrix", "--fault", "no_such"]).refused(&["no_such", "--protocol-faults"]);
    run(&dir, &["conform", "--matrix", "pty:"]).refused(&["mocks", "mock:"]);
}

/// The page and the JUnit file hold what was found, and what is there already is not overwritten, nor is the device asked.
#[test]
fn files_besides_are_written_once() {
    let dir = scratch("conform-files");
    bench(&dir, "answers_damaged = false\n", PTY);
    let base = ["conform", MOCK, "--only", "link/check", "--strict", "--html", "r.html", "--junit", "r.xml"];
    let judge = |more: &[&str]| run(&dir, &[&base, more].concat());
    let first = judge(&["--log", "run.log"]);
    assert_eq!(first.code, 1, "{}", first.out);
    assert!(first.out.contains("r.html") && first.out.contains("r.xml"), "{}", first.out);
    let read = |name: &str| fs::read_to_string(dir.join(name)).unwrap();
    let (page, xml) = (read("r.html"), read("r.xml"));
    assert!(
        page.contains("FAIL: 1 of ") && page.contains("link/check/damage-is-told [LL-08] advice"),
        "{page}"
    );
    assert!(
        page.contains("run.log") && page.contains("3D71003104") && page.contains("mock:b.toml"),
        "{page}"
    );
    assert!(xml.contains("failures=\"1\"") && xml.contains("classname=\"link.check.LL-08\""), "{xml}");
    judge(&[]).refused(&["r.html", "exists", "--force"]);
    fs::remove_file(dir.join("r.html")).unwrap();
    judge(&[]).refused(&["r.xml", "exists", "--force"]);
    assert!(!dir.join("r.html").exists() && read("r.xml") == xml);
    assert_eq!(judge(&["--force", "--quiet", "--format", "json"]).json().last().unwrap()["exit_code"], 1);
    assert!(read("r.html").contains("none was kept"));
    // Where one cannot be written, what was found out is told all the same, and written to the other.
    let last =
        run(&dir, &["conform", MOCK, "--only", "link/check", "--html", "no/r.html", "--junit", "s.xml"]);
    assert!(last.code == 2 && last.err.contains("writing no/r.html: "), "{}", last.err);
    assert!(
        last.out.contains("1 advised")
            && last.out.contains("s.xml")
            && read("s.xml").contains("</testsuites>")
    );
}
