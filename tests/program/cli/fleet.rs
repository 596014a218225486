//! Fleets [IP-17] as users meet them: listed, run in both forms, asked loop by loop, and refused with what to do.

use crate::process::{Ended, Process, run, scratch};
use serde_json::Value as Json;
use std::fs;
use std::net::TcpListener;
use std::path::Path;
use std::process::{Command, Stdio};

/// 40 loops, each with a port that the system chooses.
const APART: &str = "pace = \"fast\"\n[fleet]\ncount = 40\nfirst = 90\n[[device]]\ntag = \"FV-####\"\n\
    long_tag = \"filter ####\"\ndevice_id = 0\n[[line]]\nat = \"hart-ip::0\"\n";

/// [IP-17]: a fleet is listed whole, and as a line it is its first loop.
#[test]
fn a_fleet_is_listed() {
    let dir = scratch("fleet-list");
    let bench = "[fleet]\ncount = 500\n[gateway]\n[[device]]\ntag = \"FV-####\"\ndevice_id = 0x320000\n[[line]]\nat = \"hart-ip:\"\n";
    fs::write(dir.join("b.toml"), bench).unwrap();
    let ended = run(&dir, &["mock", "b.toml", "--list", "--format", "csv"]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let rows = super::table(&ended.out);
    assert_eq!(rows.len(), 500);
    // Loop 500 is channel 499 = 7 * 64 + 51; 500 is 01F4.
    let last = ["500", "hart-ip:127.0.0.1:5094", "7", "51", "0", "positioner", "FV-0500", "3D713201F4", ""];
    assert_eq!(rows[499], last);
    let ended = run(&dir, &["ask", "mock:b.toml", "13"]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.out.contains("FV-0001"), "{}", ended.out);
    assert!(ended.err.contains("of the fleet of 500 this is loop 1 alone"), "{}", ended.err);
    run(&dir, &["mock", "b.toml", "--api=127.0.0.1:0"]).refused(&["not driven over HTTP", "--api"]);
    run(&dir, &["mock", "b.toml", "--host-check"]).refused(&["many", "--host-check"]);
    run(&dir, &["mock", "--list"]).refused(&["BENCH.toml"]);
}

/// The program in a shell that first sets how many files may be open.
fn with_files(limit: &str, dir: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new("sh");
    let set = format!("ulimit {limit} && exec \"$0\" \"$@\"");
    command.current_dir(dir).args(["-c", &set, env!("CARGO_BIN_EXE_looprig")]).args(arguments);
    command.stdin(Stdio::null());
    command
}

fn ready(mock: &mut Process) -> Json {
    let ready: Json = serde_json::from_str(&mock.line()).unwrap();
    assert_eq!(ready["ready"], true);
    assert_eq!(ready["loops"].as_array().map(Vec::len), Some(40));
    ready
}

fn ends(mock: Process) {
    mock.signal(libc::SIGTERM);
    let ended = mock.end();
    assert_eq!(ended.code, 0, "{}", ended.err);
}

fn is_answered(ended: &Ended, words: &str) {
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert!(ended.out.contains(words), "{words:?} is missing in: {}", ended.out);
}

/// One server in front of 40 loops: the first, the middle and the last are reached by their tags, and a scan finds all.
#[test]
fn loops_behind_a_gateway_are_asked() {
    let dir = scratch("fleet-behind");
    fs::write(dir.join("b.toml"), format!("{APART}[gateway]\ntag = \"GW-1\"\n")).unwrap();
    let mut mock = Process::start(&dir, &["mock", "b.toml", "--format", "json"]);
    let line = ready(&mut mock)["lines"][0]["open"].as_str().unwrap().to_owned();
    for number in [90, 109, 129] {
        let asked = run(&dir, &["ask", &line, &format!("tag:FV-{number:04}"), "20"]);
        is_answered(&asked, &format!("filter {number:04}"));
    }
    let nobody = run(&dir, &["ask", &line, "tag:FV-0130", "20"]);
    assert_eq!(nobody.code, 1, "{}", nobody.err);
    let found = run(&dir, &["scan", &line, "--format", "csv"]);
    assert_eq!(found.code, 0, "{}", found.err);
    // The gateway and its 40.
    assert_eq!(super::table(&found.out).len(), 41);
    for number in 90..130 {
        assert!(found.out.contains(&format!("FV-{number:04}")), "{}", found.out);
    }
    ends(mock);
}

/// 40 servers, though the shell gave this process fewer open files than they take: it may have more, and takes them.
#[test]
fn loops_with_ports_of_their_own_are_asked() {
    let dir = scratch("fleet-apart");
    fs::write(dir.join("b.toml"), APART).unwrap();
    let mut mock = Process::run(with_files("-Sn 100", &dir, &["mock", "b.toml", "--format", "json"]));
    let ready = ready(&mut mock);
    for index in [0, 19, 39] {
        let own = &ready["loops"][index];
        let number = 90 + index;
        assert_eq!(own["loop"], number);
        let line = own["lines"][0]["open"].as_str().unwrap();
        is_answered(&run(&dir, &["ask", line, "20"]), &format!("filter {number:04}"));
        is_answered(&run(&dir, &["ask", line, &format!("tag:FV-{number:04}"), "0"]), "");
        // The one beside it is not there.
        assert_eq!(run(&dir, &["ask", line, &format!("tag:FV-{:04}", number + 1), "0"]).code, 1);
    }
    ends(mock);
}

/// What this machine cannot give is told with what to do: open files, and a port that somebody has.
#[test]
fn what_a_machine_has_not_is_told() {
    let dir = scratch("fleet-refused");
    fs::write(dir.join("b.toml"), APART).unwrap();
    let few = Process::run(with_files("-n 100", &dir, &["mock", "b.toml"])).end();
    few.refused(&["b.toml", "allows 100", "ulimit -n 1024", "[gateway]", "machines"]);
    // So it is with memory files, behind a gateway too: each is held as long as the mock runs.
    let kept = APART.replace("device_id", "memory = \"m-####\"\ndevice_id").replace("40", "100");
    fs::write(dir.join("kept.toml"), format!("{kept}[gateway]\n")).unwrap();
    Process::run(with_files("-n 100", &dir, &["mock", "kept.toml"])).end().refused(&["allows 100"]);
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port();
    // The number of loops first: a port may have a 40 in it.
    let one = APART.replace("40", "1").replace("::0", &format!("::{port}"));
    fs::write(dir.join("taken.toml"), one).unwrap();
    let place = format!("127.0.0.1:{port}");
    let ended = run(&dir, &["mock", "taken.toml"]);
    assert_eq!((ended.code, ended.out.as_str()), (2, ""), "{}", ended.err);
    for words in ["loop 90 (FV-0090)", &place, "somebody listens there already", "next: "] {
        assert!(ended.err.contains(words), "{words:?} is missing in: {}", ended.err);
    }
}
