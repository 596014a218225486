//! `travel` on devices that say something of themselves: broken, started anew, busy.

use super::travel::{bench, record, travel};
use std::fs;
use std::path::PathBuf;

const ANSWERS: &str = "\"travel/start\" = \"yes\"\n";

fn with_event(name: &str, event: &str) -> PathBuf {
    bench(&format!("travel-status-{name}"), event, ANSWERS)
}

/// [TV-110]: a device that says that it is broken is not in order, whatever it reads; in a test, in a loop check, in a device check, and shown again.
#[test]
fn a_device_that_says_that_it_is_broken() {
    let dir = with_event("broken", "[[event]]\nat_s = 0.1\nmalfunction = true\n");
    for test in [&["--check"][..], &["--cycles", "1"]] {
        let page = ["--answers", "answers.toml", "--record", "r.json", "--html", "r.html", "--force"];
        let ended = travel(&dir, &[test, &page].concat());
        assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
        assert!(ended.out.contains("device malfunction") && !ended.out.contains("WITHIN"), "{}", ended.out);
        assert!(fs::read_to_string(dir.join("r.html")).expect("a page").contains("device malfunction"));
        // 80: device malfunction [ST-02].
        let told = record(&dir, "r.json")["status"].clone();
        assert!(told.as_array().expect("bits").iter().any(|b| b["mask"] == 0x80), "{told}");
    }
    let answers = "\"device_check/sensor\" = \"no\"\n\"device_check/at_rest\" = \"blocked\"\n\"device_check/acting\" = \"single\"\n\
                   \"device_check/jog/first\" = [\"rises\", \"falls\", \"falls\", \"rises\"]\n\"device_check/blows\" = \"no\"\n";
    fs::write(dir.join("answers.toml"), answers).unwrap();
    let ended = travel(&dir, &["--device-check", "--answers", "answers.toml"]);
    assert!(ended.code == 1 && ended.out.contains("device malfunction"), "{}{}", ended.err, ended.out);
}

/// [TV-110]: a restart in mid-test counts; a healthy device has nothing to tell.
#[test]
fn a_device_that_restarts() {
    let dir = with_event("restart", "[[event]]\nat_s = 20\npower_cycle = true\n");
    let test = ["--cycles", "1", "--record", "r.json", "--force"];
    let ended = travel(&dir, &test);
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("The device restarted during the test, "), "{words}");
    // Restarted by the loss of its current, as was asked for: no fault.
    let dir = with_event("healthy", "");
    let ended = travel(&dir, &[&test[..], &["--loss", "current", "--fails-to", "closed"]].concat());
    assert_eq!(ended.code, 0, "{}{}", ended.err, ended.out);
    assert!(!ended.out.contains("restarted") && !ended.out.contains("malfunction"), "{}", ended.out);
}

/// [TV-115]: a device that is busy for 8 s is asked again; one that stays busy ends the test with that reason, and no other source is looked for.
#[test]
fn a_device_that_is_busy() {
    let busy = "[[event]]\nat_s = 20\nbusy = true\n";
    let test = ["--cycles", "1", "--record", "r.json", "--force"];
    let dir = with_event("busy", &format!("{busy}[[event]]\nat_s = 28\nbusy = false\n"));
    let ended = travel(&dir, &test);
    assert_eq!(ended.code, 0, "{}{}", ended.err, ended.out);
    let dir = with_event("busy-for-ever", busy);
    let ended = travel(&dir, &test);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_ne!(ended.code, 0, "{words}");
    assert!(words.contains("says that it is busy") && !words.contains("name another source"), "{words}");
}
