//! `triage --wave`: what a recording of the signal tells at levels that are known, with a line and without, kept and replayed, and what is refused.

use super::travel::{MOCK, bench, record};
use crate::process::{Ended, run};
use serde_json::Value as Json;
use std::fs;
use std::path::Path;

/// A published request and its reply [1770], preambles in front.
const TALK: &str = "FF FF FF FF FF 02 80 00 00 82
FF FF FF FF FF 06 80 00 0E 00 00 FE 26 0D 06 05 02 01 50 00 00 15 11 09
";

/// A recording of this level, V peak to peak, full scale 1 V.
fn wave(dir: &Path, talk: &str, level: &str, more: &[&str]) {
    fs::write(dir.join("talk.txt"), talk).unwrap();
    let make = ["wave", "make", "talk.txt", "--out", "talk.wav", "--force", "--level", level];
    let made = run(dir, &[&make[..], more].concat());
    assert_eq!(made.code, 0, "{}", made.err);
}

/// Nobody knows anything but that the display is lit.
fn alone(dir: &Path, more: &[&str]) -> Ended {
    let of =
        ["triage", "--answers", "lit.toml", "--force", "--record", "r.json", "--write-answers", "a.toml"];
    run(dir, &[&of[..], more].concat())
}

fn value<'a>(record: &'a Json, symptom: &str) -> Option<&'a str> {
    let findings = record["findings"].as_array().expect("findings");
    findings.iter().find(|f| f["symptom"] == symptom).and_then(|f| f["value"].as_str())
}

/// [WV-03]: 120 mV must be understood. 500 mV are enough, 60 are low, and 4 are none, for looprig hears from 10 mV on.
#[test]
fn levels_that_are_known() {
    let dir = bench("triage-wave", "", "");
    fs::write(dir.join("lit.toml"), "\"triage/display\" = \"lit\"\n").unwrap();
    for (level, right) in [("0.5", "enough"), ("0.06", "low"), ("0.004", "none")] {
        wave(&dir, TALK, level, &[]);
        let ended = alone(&dir, &["--wave", "talk.wav", "--full-scale", "1"]);
        let first = record(&dir, "r.json");
        assert_eq!(value(&first, "signal_level"), Some(right), "{}{}", ended.err, ended.out);
        let findings = first["findings"].as_array().expect("findings");
        let found = findings.iter().find(|f| f["symptom"] == "signal_level").expect("it is there");
        assert_eq!(found["from"], "recording");
        let words = found["words"].as_str().expect("words");
        // What is told is what was made, within 5 %.
        let told_mv: Option<f64> = words
            .split_whitespace()
            .zip(words.split_whitespace().skip(1))
            .find_map(|(n, unit)| n.parse().ok().filter(|_| unit == "mV"));
        let made_mv = 1e3 * level.parse::<f64>().unwrap();
        match told_mv {
            Some(mv) => assert!((mv / made_mv - 1.0).abs() < 0.05, "{words}"),
            None => assert!(right == "none" && words.contains("no transmission"), "{words}"),
        }
        assert_eq!(value(&first, "wave_talk"), Some("both").filter(|_| right != "none"));
        // The same again from what was written, without the recording.
        fs::remove_file(dir.join("talk.wav")).unwrap();
        run(&dir, &["triage", "--answers", "a.toml", "--force", "--record", "again.json"]);
        assert_eq!(value(&record(&dir, "again.json"), "signal_level"), Some(right));
    }
    // Samples without a scale have no level, and that is said; who talks is told all the same.
    wave(&dir, TALK, "0.06", &[]);
    let unknown = alone(&dir, &["--wave", "talk.wav"]);
    let of = record(&dir, "r.json");
    assert_eq!((value(&of, "signal_level"), value(&of, "wave_talk")), (None, Some("both")));
    assert!(
        unknown.err.contains("cannot be told") && unknown.err.contains("--full-scale"),
        "{}",
        unknown.err
    );
    assert!(of["in_the_waveform"].to_string().contains("cannot be told"), "{of}");
    // A request that nobody answers, in noise of 0.12 V: 20 dB less 20 log (120/49.7) are 12.3 dB [WI-13], below the 13.2 of the limit, and few frames are lost: noisy, and no answer.
    let request = TALK.lines().next().unwrap().to_owned() + "\n";
    wave(&dir, &request.repeat(4), "0.5", &["--noise", "0.12", "--seed", "2"]);
    alone(&dir, &["--wave", "talk.wav", "--full-scale", "1"]);
    let of = record(&dir, "r.json");
    assert_eq!(
        (value(&of, "signal_noise"), value(&of, "wave_talk")),
        (Some("noisy"), Some("no_answer")),
        "{of}"
    );
}

/// [WV-20] [WV-21]: beside a device that answers, a recording of requests alone contradicts it; so does an empty one, and one without any sample that
/// differs says nothing at all, with a line or without.
#[test]
fn a_recording_that_cannot_be_of_this_device() {
    let dir = bench("triage-wave-other", "", "\"triage/display\" = \"lit\"\n");
    fs::copy(dir.join("answers.toml"), dir.join("lit.toml")).unwrap();
    let request = TALK.lines().next().unwrap().to_owned() + "\n";
    wave(&dir, &request.repeat(4), "0.5", &[]);
    let more = ["--description", "positioner.toml", "--wave", "talk.wav", "--full-scale", "1"];
    let triage =
        [&["triage", MOCK, "--answers", "lit.toml", "--force", "--record", "r.json"][..], &more].concat();
    let ended = run(&dir, &triage);
    let of = record(&dir, "r.json");
    let waved = ["signal_level", "signal_noise", "two_at_once", "wave_talk"];
    assert_eq!(value(&of, "answers"), Some("yes"));
    for symptom in waved.iter().filter(|s| **s != "two_at_once") {
        assert_eq!(value(&of, symptom), None, "{}", ended.err);
    }
    assert!(ended.err.contains("contradict each other"), "{}", ended.err);
    // A recorder that is not connected.
    let still = fs::read(dir.join("talk.wav")).unwrap();
    let still: Vec<u8> = still.iter().enumerate().map(|(n, b)| if n < 44 { *b } else { 0 }).collect();
    fs::write(dir.join("still.wav"), still).unwrap();
    let ended = alone(&dir, &["--wave", "still.wav"]);
    assert!(ended.err.contains("heard nothing") && ended.err.contains("clip"), "{}", ended.err);
    assert_eq!(value(&record(&dir, "r.json"), "signal_level"), None);
}

/// Stopped at the first question, without a line: the same again, with the next check and the remarks of the recording [TG-20]. What a recording
/// told is told as such.
#[test]
fn a_recording_is_the_same_again() {
    let dir = bench("triage-wave-again", "", "");
    for (level, next) in [("0.09", Some("answers")), ("0.004", None)] {
        wave(&dir, TALK, level, &[]);
        let files = ["--record", "r.json", "--write-answers", "a.toml", "--force"];
        let of = ["triage", "--wave", "talk.wav", "--full-scale", "1"];
        let mut process = crate::process::Process::fed(&dir, &[&of[..], &files].concat());
        process.feed(b"stop\n");
        let first = process.end();
        let kept = record(&dir, "r.json");
        if let Some(next) = next {
            assert_eq!(kept["next"]["symptom"], next);
            assert!(
                first.out.contains("(in the waveform; ") && !first.out.contains("over the bus"),
                "{}",
                first.out
            );
        } else {
            assert!(first.out.replace('\n', " ").contains("was the device asked while"), "{}", first.out);
        }
        for from in ["a.toml", "r.json"] {
            let again = run(&dir, &["triage", "--answers", from, "--record", "again.json", "--force"]);
            assert_eq!((again.code, &again.out), (first.code, &first.out), "{level} {from}");
            assert_eq!(record(&dir, "again.json"), kept, "{level} {from}");
        }
    }
}

/// Beside a line: a device that answers, and a recording that says that it does so weakly.
#[test]
fn beside_a_line() {
    let dir = bench("triage-wave-line", "", "\"triage/display\" = \"lit\"\n");
    wave(&dir, TALK, "0.09", &[]);
    let more = [
        "--description",
        "positioner.toml",
        "--answers",
        "answers.toml",
        "--record",
        "r.json",
        "--wave",
        "talk.wav",
        "--full-scale",
        "1",
    ];
    let ended = run(&dir, &[&["triage", MOCK][..], &more].concat());
    let of = record(&dir, "r.json");
    assert_eq!(
        (value(&of, "answers"), value(&of, "signal_level")),
        (Some("yes"), Some("low")),
        "{}",
        ended.err
    );
    // What is not as on a healthy valve is never "nothing found".
    assert!(ended.code == 1 && !ended.out.contains("Nothing found"), "{}", ended.out);
}

/// A recording in which all are at 2 V peak to peak: a cause, what is done about it, and no "nothing explains it"; the cause can be explained [TG-33].
/// The same with a scale that makes it 31 V at its peaks is refused before anything is asked, one of 29 V is not [TG-34].
#[test]
fn too_much_signal_and_a_scale_that_cannot_be() {
    let dir = bench("triage-wave-loud", "", "");
    fs::write(dir.join("lit.toml"), "\"triage/display\" = \"lit\"\n\"triage/loop_ohms\" = \"high\"\n")
        .unwrap();
    wave(&dir, TALK, "2", &["--full-scale", "2"]);
    let ended = alone(&dir, &["--wave", "talk.wav", "--full-scale", "2"]);
    let of = record(&dir, "r.json");
    assert_eq!((value(&of, "signal_level"), value(&of, "loud_talker")), (Some("high"), Some("both")));
    assert_eq!(of["causes"][0]["cause"], "loop_ohms_high", "{}", ended.out);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("The resistor of the drawing put back"), "{words}");
    assert!(!words.contains("no cause explains it"), "{words}");
    for cause in ["loop_ohms_high", "modem_too_loud"] {
        let ended = run(&dir, &["triage", "--explain", cause]);
        assert!(
            ended.code == 0 && ended.out.contains("1.5 V") && ended.out.contains("To do: "),
            "{}",
            ended.out
        );
    }
    // 2 V peak to peak at a full scale of 2: as many volts peak to peak as full scale has [WV-27].
    for (full_scale, is_refused) in [("31", true), ("29", false)] {
        let ended = alone(&dir, &["--wave", "talk.wav", "--full-scale", full_scale]);
        let says = ["its signal has 31 V peak to peak", "no loop carries more than 30", "--full-scale"];
        match is_refused {
            true => ended.refused(&says),
            false => {
                assert_eq!(value(&record(&dir, "r.json"), "signal_level"), Some("high"), "{}", ended.err)
            }
        }
    }
}

#[test]
fn what_cannot_be_read() {
    let dir = bench("triage-wave-refused", "", "");
    run(&dir, &["triage", "--full-scale", "1"]).refused(&["--wave"]);
    run(&dir, &["triage", "--wave", "none.wav"]).refused(&["none.wav", "check the name"]);
    fs::write(dir.join("no.wav"), "no sound, no table").unwrap();
    run(&dir, &["triage", "--wave", "no.wav"]).refused(&["no.wav"]);
    wave(&dir, TALK, "0.5", &[]);
    run(&dir, &["triage", "--wave", "talk.wav", "--record", "talk.wav", "--force"]).refused(&["talk.wav"]);
}
