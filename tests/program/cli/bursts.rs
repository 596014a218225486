//! Devices in burst mode as people meet them: listening, scanning, asking, settings, and the pattern of a captured device.

use super::{table, too_long};
use crate::process::{Process, run, scratch};
use crate::support::fixtures;
use serde_json::Value as Json;
use std::fs;

fn fixture(name: &str) -> String {
    format!("mock:{}/fixtures/benches/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// [ICS]: a device sends command 9 with three variables every 250 ms and names the masters in turn, the secondary first. Its
/// own clock, in the last four octets of data and 1/32 ms, has 8006 to 8008 of them from one burst to the next, that is 250.2 ms; where frames are
/// missing in the fixtures, three times as many. Each frame has 40 octets: 1 + 5 + 1 + 1 + 31 + 1. A bench does the same at pace `fast`: on wires of
/// 1200 bit/s such a burst takes 45 characters, 412.5 ms.
#[test]
fn the_pattern_of_a_captured_device() {
    let captured: Vec<Vec<u8>> =
        fixtures().into_iter().filter(|f| f.name.starts_with("ics-cmd9-burst-")).map(|f| f.octets).collect();
    assert_eq!(captured.len(), 14);
    let time = |o: &[u8]| u32::from_be_bytes(o[o.len() - 5..o.len() - 1].try_into().unwrap());
    let ended = run(
        &scratch("burst-pattern"),
        &["listen", &fixture("bursting.toml"), "--for", "8", "--format", "json", "-v"],
    );
    assert_eq!(ended.code, 0, "{}", ended.err);
    let heard: Vec<Json> = ended.json().into_iter().filter(|e| e["kind"] == "burst").collect();
    // 8 s less 28 characters at the start, 257 ms: 31 bursts.
    assert_eq!(heard.len(), 31);
    let ours: Vec<Vec<u8>> = heard
        .iter()
        .map(|e| {
            let hex = e["reply"]["octets"].as_str().unwrap();
            let all: Vec<u8> =
                (0..hex.len() / 2).map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).unwrap()).collect();
            all[5..].to_vec()
        })
        .collect();
    // Where the captured device goes on 3 periods later, so do we.
    let mut at = 0;
    for (i, theirs) in captured.iter().enumerate() {
        if i > 0 {
            let periods = f64::from(time(theirs) - time(&captured[i - 1])) / 8007.0;
            assert!((periods - periods.round()).abs() < 0.001, "{periods}");
            at += periods.round() as usize;
        }
        let frame = &ours[at];
        // Delimiter, master and burst bit, command, byte count, slot codes 8 octets apart; the captured address lacks its six lower bits.
        assert_eq!(
            (frame.len(), frame[0], frame[1] & 0xC0),
            (theirs.len(), theirs[0], theirs[1] & 0xC0),
            "{i}"
        );
        assert_eq!(frame[6..8], theirs[6..8]);
        for slot in 0..3 {
            assert_eq!(frame[11 + 8 * slot], theirs[11 + 8 * slot], "slot {slot} of {i}");
        }
    }
    for pair in heard.windows(2) {
        let [a, b] = [&pair[0], &pair[1]].map(|e| e["t_ns"].as_u64().unwrap());
        assert_eq!(b - a, 250_000_000);
        assert_ne!(pair[0]["reply"]["master"], pair[1]["reply"]["master"]);
    }
    for pair in ours.windows(2) {
        assert_eq!(time(&pair[1]) - time(&pair[0]), 8000);
    }
}

/// Bursts are decoded like answers, and told with their period, by `listen` and from its log; each master's requests are answered
/// meanwhile.
#[test]
fn listening_tells_how_often() {
    let dir = scratch("burst-listen");
    let line = fixture("two-masters-bursts.toml");
    let ended = run(&dir, &["listen", &line, "--for", "60", "--log", "b.log"]);
    assert_eq!((ended.code, too_long(&ended.out)), (0, vec![]), "{}", ended.err);
    assert!(ended.out.contains("3D71003107 > anyone       1 burst, ok"), "{}", ended.out);
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat(&ended.err).contains("bursts of command 1 every 1."), "{}", ended.err);
    // With -v whose turn a burst leaves [LL-10].
    let more = run(&dir, &["decode", "b.log", "-v"]);
    for master in ["primary", "secondary"] {
        assert!(more.out.contains(&format!("burst, {master} may speak next, ok")), "{}", more.out);
    }
    assert_eq!(too_long(&more.out), [""; 0]);
    let decoded = run(&dir, &["decode", "b.log"]);
    let said = flat(&decoded.out);
    assert!(
        said.contains("in burst mode: ") && said.contains("bursts of command 9 every 1."),
        "{}",
        decoded.out
    );
    assert_eq!(too_long(&decoded.out), [""; 0]);
    let csv = run(&dir, &["decode", "b.log", "--summary", "--format", "csv"]);
    let rows = table(&csv.out);
    let row = rows.iter().find(|r| r[0] == "burst_period_s" && r[1] == "3D71003107 command 1").unwrap();
    // 1 s, and later where the wires were taken.
    let period_s: f64 = row[2].parse().unwrap();
    assert!((1.0..2.0).contains(&period_s), "{row:?}");
    let ended = run(&dir, &["listen", &line, "--for", "60", "--format", "json"]);
    let json = ended.json();
    let last = json.iter().find(|e| e["kind"] == "statistics").unwrap();
    let devices = last["devices"].as_array().unwrap();
    let told = &devices.iter().find(|d| d["device"] == "3D71003107").unwrap()["burst_commands"][0];
    assert_eq!(told["command"], 1);
    assert!((told["period_s"].as_f64().unwrap() - period_s).abs() < 1e-6, "{told}");
    let requests: Vec<&Json> =
        json.iter().filter(|e| e["kind"] != "burst" && e["request"].is_object()).collect();
    let answered = requests.iter().filter(|e| e["outcome"] == "answered").count();
    // One collision of two that begin at once on idle wires, and what the end cuts off.
    assert!(requests.len() > 50 && answered + 2 >= requests.len(), "{answered} of {}", requests.len());
}

/// A host that knows of nothing: scan, ask, save, compare, restore.
#[test]
fn a_host_that_does_not_expect_bursts() {
    let dir = scratch("burst-host");
    let bench = |bursts: &str| {
        format!(
            "[[device]]\ntag = \"FV-3107\"\n{bursts}\n[[device]]\npolling_address = 5\ndevice_id = 5\n[[line]]\nat = \"pty:\"\n"
        )
    };
    let often = "[[device.burst]]\ncommand = 3\nupdate_period_s = 0.25\n";
    fs::write(dir.join("b.toml"), bench(&often.repeat(3))).unwrap();
    fs::write(dir.join("plain.toml"), bench("")).unwrap();
    let ended = run(&dir, &["scan", "mock:b.toml", "--range", "0-7", "--format", "csv"]);
    assert_eq!(ended.code, 0, "{}", ended.err);
    assert_eq!(table(&ended.out).iter().map(|r| r[0].clone()).collect::<Vec<_>>(), ["0", "5"]);
    for role in [&[][..], &["--master", "primary"]] {
        for to in ["0", "5", "tag:FV-3107"] {
            let ended = run(&dir, &[&["ask", "mock:b.toml", to, "3", "--format", "json"], role].concat());
            assert_eq!(ended.code, 0, "{to}: {}", ended.err);
            let asked: Vec<Json> = ended.json().into_iter().filter(|e| e["request"].is_object()).collect();
            assert!(asked.iter().all(|e| e["outcome"] == "answered"), "{asked:?}");
        }
    }
    assert_eq!(run(&dir, &["ask", "mock:b.toml", "3", "0"]).code, 1);
    // What is in bursts is saved, and told as a difference from a device without.
    for (bench, file) in [("mock:b.toml", "b.settings"), ("mock:plain.toml", "plain.settings")] {
        let saved = run(&dir, &["settings", "save", bench, "0", file]);
        assert_eq!(saved.code, 0, "{}", saved.err);
    }
    assert_eq!(run(&dir, &["settings", "compare", "b.settings", "mock:b.toml"]).code, 0);
    let compared = run(&dir, &["settings", "compare", "b.settings", "plain.settings", "--format", "csv"]);
    let differing: Vec<String> = table(&compared.out).iter().map(|r| r[..2].join(" ")).collect();
    for name in ["burst_control", "burst_command", "update_period"] {
        let n = differing.iter().filter(|d| d.ends_with(name)).count();
        assert!(n >= 3, "{name}: {differing:?}");
    }
}

/// The same on a port, on the clock of this machine, five times the wire's pace: the mock says that the device bursts, and
/// whoever does not expect it asks it and its neighbour, and turns it off and on.
#[test]
fn on_a_port() {
    let dir = scratch("burst-port");
    fs::write(
        dir.join("bench.toml"),
        "pace = 5\n[[device]]\ntag = \"FV-3107\"\n[[device.burst]]\ncommand = 9\nvariables = [1, 3]\nupdate_period_s = 0.25\n\
         [[device]]\nrevision = 5\npolling_address = 5\n[[device.burst]]\n[[line]]\nat = \"pty:loop\"\n",
    )
    .unwrap();
    let mut mock = Process::start(&dir, &["mock", "bench.toml", "--format", "json"]);
    let ready: Json = serde_json::from_str(&mock.line()).unwrap();
    assert_eq!(ready["devices"][0]["bursts"], serde_json::json!(["command 9 of 1, 3 every 0.25 s"]));
    assert_eq!(ready["devices"][1]["bursts"], serde_json::json!(["command 1 as often as the wires allow"]));
    const PORT: &str = "serial:loop?pace=5";
    // A machine that other tests keep busy may be late for a turn, and speak into a burst.
    let scan = || {
        let scanned = run(&dir, &["scan", PORT, "--range", "0-5", "--format", "csv"]);
        table(&scanned.out).iter().map(|r| r[0].clone()).collect::<Vec<_>>()
    };
    assert!((0..4).any(|_| scan() == ["0", "5"]), "four scans, and none found both");
    for (to, off, on) in [
        (
            "0",
            ["burst_control=0", "burst_message=0"].as_slice(),
            ["burst_control=1", "burst_message=0"].as_slice(),
        ),
        ("5", ["burst_control=0"].as_slice(), ["burst_control=1"].as_slice()),
    ] {
        for words in [off, on] {
            let refused = run(&dir, &[&["ask", PORT, to, "109"], words].concat());
            refused.refused(&["--write"]);
            let ended = run(&dir, &[&["ask", PORT, to, "109"], words, &["--write"]].concat());
            assert_eq!(ended.code, 0, "{}", ended.err);
        }
        assert_eq!(run(&dir, &["ask", PORT, to, "3"]).code, 0);
    }
    mock.signal(libc::SIGTERM);
    assert_eq!(mock.end().code, 0);
}
