//! The same cases with writing, moving, burst, lock, status and delayed responses on the line of this process, on a
//! pseudo-terminal and over TCP: one device, one suite, three lines.

use crate::process::{Process, run, scratch};
use std::fs;
use std::path::Path;

const BENCH: &str = "[[device]]\ntag = \"FV-3104\"\n[[device.slow]]\ncommand = 22\ntakes_s = 1.5\n\
                     [[line]]\nat = \"pty:port\"\n[[line]]\nat = \"tcp-listen:127.0.0.1:0\"\n";

/// Cases that every line can judge.
const ANYWHERE: [&str; 15] = [
    "link/addressing/other-device-id",
    "link/check/wrong-check-byte",
    "link/masters/both-are-answered",
    "universal/label-writes/message-is-kept",
    "universal/label-writes/tag-answers-to-its-new-name",
    "status/changed/told-to-the-writer",
    "status/changed/stays-for-the-other",
    "boundaries/damping/kept",
    "boundaries/labels/highest-polling-address",
    "common/trim/point-beyond-its-limits",
    "lock/temporary/is-told",
    "lock/temporary/owner-may-write",
    "delayed/response/running-is-told",
    "delayed/response/result-has-its-data",
    "burst/frames/burst-bit",
];
/// Cases about times, pauses and parity: only the simulated bus tells and sends them [LI-04] [LI-24].
const TIMED: [&str; 5] = [
    "link/timing/answers-within-limit",
    "link/timing/refusals-within-limit",
    "link/framing/no-pause-inside-answers",
    "link/check/wrong-parity",
    "link/requests/pause-inside",
];

/// Judges all of them and gives id and verdict.
fn judge(dir: &Path, line: &str) -> Vec<(String, String)> {
    let only: Vec<&str> = ANYWHERE.iter().chain(&TIMED).flat_map(|&id| ["--only", id]).collect();
    let all = [&["conform", line, "--write", "--move", "--format", "json"], &only[..]].concat();
    let ended = run(dir, &all);
    assert_eq!(ended.code, 0, "{line}: {} {}", ended.err, ended.out);
    let lines = ended.json();
    let text = |v: &serde_json::Value| v.as_str().unwrap_or_default().to_owned();
    lines.iter().filter(|l| l["case"].is_string()).map(|l| (text(&l["case"]), text(&l["verdict"]))).collect()
}

#[test]
fn one_body_on_three_lines() {
    let dir = scratch("conform-three-lines");
    fs::write(dir.join("b.toml"), format!("pace = \"wire\"\n{BENCH}")).unwrap();
    let simulated = judge(&dir, "mock:b.toml");
    assert!(simulated.iter().all(|(_, verdict)| verdict == "pass"), "{simulated:#?}");
    assert_eq!(simulated.len(), ANYWHERE.len() + TIMED.len());

    // Two mocks, so that the lines are judged beside each other.
    let by = |which: usize| {
        let dir = scratch(&format!("conform-three-lines-{which}"));
        fs::write(dir.join("b.toml"), BENCH).unwrap();
        let mut mock = Process::start(&dir, &["mock", "b.toml", "--pace", "fast", "--format", "json"]);
        let ready: serde_json::Value = serde_json::from_str(&mock.line()).unwrap();
        let line = match which {
            0 => "serial:port?pace=fast".to_owned(),
            _ => ready["lines"][1]["open"].as_str().expect("where it is reached").to_owned(),
        };
        let verdicts = judge(&dir, &line);
        mock.signal(libc::SIGINT);
        assert_eq!(mock.end().code, 0);
        (line, verdicts)
    };
    let both = std::thread::scope(|scope| {
        let threads = [0, 1].map(|which| scope.spawn(move || by(which)));
        threads.map(|t| t.join().expect("it ends"))
    });
    for (line, verdicts) in both {
        println!("{line}");
        assert_eq!(verdicts.len(), simulated.len());
        for (id, verdict) in &verdicts {
            let wanted = if TIMED.contains(&id.as_str()) { "inconclusive" } else { "pass" };
            assert_eq!(verdict, wanted, "{line}: {id}");
        }
    }
}
