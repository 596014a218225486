//! `triage` on a bench of this process and without a line: what is read and stroked, what is asked, the outcome, its replay, and what is refused.

use super::travel::{MOCK, bench, record};
use crate::process::{Ended, run, scratch};
use looprig::commission::triage::{Knowledge, Seen};
use std::fs;
use std::path::Path;

/// An answer to every question that a person can be asked: what is given, else "?".
fn answers(given: &[(&str, &str)]) -> String {
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    let of = known.symptoms.iter().filter(|s| s.seen == Seen::Person);
    let answer = |name: &str| given.iter().find(|(n, _)| *n == name).map_or("?", |(_, a)| *a);
    of.map(|s| format!("\"triage/{}\" = \"{}\"\n", s.name, answer(&s.name))).collect()
}

fn triage(dir: &Path, more: &[&str]) -> Ended {
    let of = ["triage", MOCK, "--description", "positioner.toml", "--supply-kpa", "140"];
    run(dir, &[&of[..], more].concat())
}

fn fault(name: &str, severity: f64) -> String {
    format!("[[event]]\nat_s = 1\nfault = \"{name}\"\nseverity = {severity}\ndevice = \"FV-3104\"\n")
}

/// A healthy valve and a person who knows nothing. Without --move nothing moves, and no cause is
/// called likely; with it nothing is found, and the set point is left as before.
#[test]
fn a_healthy_valve() {
    let dir = bench("triage-healthy", "", &answers(&[]));
    let still = triage(&dir, &["--answers", "answers.toml"]);
    // Whether so little is enough to say that nothing is wrong is for the knowledge to say.
    assert_eq!(still.code, i32::from(!still.out.contains("Nothing found")), "{}{}", still.err, still.out);
    assert!(!still.out.contains("Likely") && !still.err.contains("%: travel"), "{}{}", still.err, still.out);
    let ended =
        triage(&dir, &["--answers", "answers.toml", "--move", "--collected", "c.json", "--html", "h.html"]);
    // Nobody has looked at the valve: that is no clean bill [TG-29].
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("checks at the valve were not done") && words.contains("Not looked at ("),
        "{words}"
    );
    let left = "The loop current of the bench is 12.00 mA again, as before the test.";
    assert!(ended.err.contains("100 %: travel") && ended.err.contains(left), "{}", ended.err);
    assert!(ended.out.contains("12.00 mA again") && !ended.out.contains("NOT WHOLE"), "{}", ended.out);
    assert_eq!(record(&dir, "c.json")["strokes"].as_array().map(Vec::len), Some(7));
    assert!(fs::read_to_string(dir.join("h.html")).expect("a page").contains("were not done"));
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    let usual: Vec<(&str, &str)> =
        known.symptoms.iter().map(|s| (s.name.as_str(), s.values[0].name.as_str())).collect();
    fs::write(dir.join("looked.toml"), answers(&usual) + "\"triage/move\" = \"yes\"\n").expect("written");
    let ended = triage(&dir, &["--answers", "looked.toml", "--move"]);
    assert_eq!(ended.code, 0, "{}{}", ended.err, ended.out);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.starts_with("Nothing found") && words.contains("a spring that has lost force"), "{words}");
}

/// Another master in our role: nothing is asked, the next step is to take it away, and no octets of its message are told [TG-28].
#[test]
fn another_master_in_our_role() {
    // It is on the wires, and no device's.
    let event = fault("second_master", 1.0).replace("device = \"FV-3104\"\n", "");
    let dir = bench("triage-second-master", &event, &answers(&[]));
    let ended = triage(&dir, &["--answers", "answers.toml", "--record", "r.json"]);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("Next check (5 min): Disconnect the other master"), "{words}");
    assert!(
        words.contains("another master in our own role is at work") && !words.contains("82 3D"),
        "{words}"
    );
    assert_eq!(record(&dir, "r.json")["asked"].as_array().map(Vec::len), Some(0));
    let again = run(&dir, &["triage", "--answers", "r.json"]);
    assert_eq!((again.code, again.out), (ended.code, ended.out));
}

/// A stop that was moved: found, kept, and found again from the file of answers, with the same shares; in the report of fault finding is what was seen.
#[test]
fn a_fault_is_found_and_replayed() {
    let given =
        [("stem_ends", "short_open"), ("travel_stop", "moved"), ("stem_scale", "agrees"), ("stem", "moves")];
    let dir = bench("triage-stop", &fault("stop_moved", 0.6), &answers(&given));
    let more = ["--answers", "answers.toml", "--move", "--record", "r.json", "--write-answers", "a.toml"];
    let ended = triage(&dir, &more);
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    assert!(ended.out.contains("Likely: the travel stop was moved"), "{}", ended.out);
    let first = record(&dir, "r.json");
    assert_eq!(first["causes"][0]["cause"], "stop_moved");
    assert_eq!(first["device"]["tag"], "FV-3104");
    let opens = first["findings"].as_array().expect("findings").iter().find(|f| f["symptom"] == "opens");
    // 64 % of the stroke is left [PL-33]; the angle of a tangent is straight to within some percent of it.
    let words = opens.expect("it opens short")["words"].as_str().expect("words");
    assert!(words.contains("stands at 6"), "{words}");
    let again = run(&dir, &["triage", "--answers", "a.toml", "--record", "again.json"]);
    assert_eq!(again.code, 1, "{}{}", again.err, again.out);
    let second = record(&dir, "again.json");
    assert_eq!(second["verdict"], first["verdict"]);
    for (a, b) in
        first["causes"].as_array().expect("causes").iter().zip(second["causes"].as_array().expect("causes"))
    {
        assert_eq!(a["cause"], b["cause"]);
        let (a, b) = (a["share"].as_f64().expect("a share"), b["share"].as_f64().expect("a share"));
        assert!((a - b).abs() < 1e-9, "{a} {b}");
    }
    assert_eq!(first["asked"].as_array().map(Vec::len), second["asked"].as_array().map(Vec::len));
    // It stands in the report of a valve, by itself too.
    let report = run(&dir, &["travel", "--from", "r.json", "--html", "report.html"]);
    assert!(
        report.code == 1 && report.out.starts_with("Likely: the travel stop was moved"),
        "{}",
        report.out
    );
    let page = fs::read_to_string(dir.join("report.html")).expect("a page");
    assert!(
        page.contains("Fault finding: <span class=\"bad\">NOT IN ORDER</span>") && page.contains("to do: "),
        "{page}"
    );
    // What a file of answers does not have is not known, and does not end it.
    fs::write(dir.join("few.toml"), "\"triage/move\" = \"yes\"\n\"triage/travel_stop\" = \"moved\"\n")
        .expect("written");
    let few = triage(&dir, &["--answers", "few.toml", "--move"]);
    assert!(
        few.out.contains("Likely: the travel stop was moved") && !few.out.contains("NOT WHOLE"),
        "{}",
        few.out
    );
    // A place that is not there is seen before anything is asked or moved.
    let nowhere = triage(&dir, &["--answers", "answers.toml", "--move", "--html", "none/x.html"]);
    nowhere.refused(&["there is no directory none", "make it first"]);
    // Both exist now.
    triage(&dir, &more).refused(&["r.json", "exists", "--force"]);
}

/// Nobody answers: it is looked for at every address, and the person is asked for the rest.
#[test]
fn nobody_answers() {
    let given = [("display", "dark"), ("terminal_volts", "reversed"), ("loop_current", "none")];
    let dir = bench("triage-silent", "", &answers(&given));
    let text = fs::read_to_string(dir.join("bench.toml")).unwrap();
    let reversed = "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[[loop.device]]\ntag = \"FV-3104\"\nmin_voltage_v = 9\n[[device]]";
    let text = text.replacen("[[device]]", reversed, 1) + &fault("wires_reversed", 1.0);
    fs::write(dir.join("bench.toml"), text).unwrap();
    let ended = triage(&dir, &["--answers", "answers.toml", "--move", "--record", "r.json"]);
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    let r = record(&dir, "r.json");
    assert_eq!(
        (&r["findings"][0]["symptom"], &r["findings"][0]["value"]),
        (&"answers".into(), &"silent".into())
    );
    assert_eq!(r["causes"][0]["cause"], "wires_reversed", "{}", ended.out);
}

/// Without a line: questions alone, from a file or from nobody.
#[test]
fn without_a_line() {
    let dir = scratch("triage-alone");
    // Nobody is there: nothing was seen, so nothing can be said.
    let nobody = run(&dir, &["triage"]);
    assert_eq!(nobody.code, 2, "{}{}", nobody.err, nobody.out);
    fs::write(dir.join("w.toml"), "\"triage/opens\" = \"half\"\n").unwrap();
    run(&dir, &["triage", "--answers", "w.toml"]).refused(&["w.toml:1:", "\"half\"", "short"]);
    fs::write(dir.join("n.toml"), "\"triage/answers\" = \"yes\"\n\"triage/opens\" = \"full\"\n").unwrap();
    let told = run(&dir, &["triage", "--answers", "n.toml", "--format", "json"]);
    assert!(told.out.contains("\"value\":\"full\""), "{}", told.out);
}

#[test]
fn what_is_known_is_printed() {
    let dir = scratch("triage-known");
    let list = run(&dir, &["triage", "--list"]);
    assert!(
        list.code == 0 && list.out.contains("supply_low") && list.out.contains("own judgement"),
        "{}",
        list.out
    );
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    for cause in known.causes.iter().step_by(7) {
        let one = run(&dir, &["triage", "--explain", &cause.name]);
        assert!(one.code == 0 && one.out.contains("To do: "), "{}: {}", cause.name, one.out);
    }
    run(&dir, &["triage", "--explain", "supply"]).refused(&["no cause is called \"supply\"", "supply_low"]);
    let schema = run(&dir, &["triage", "--schema"]);
    assert!(serde_json::from_str::<serde_json::Value>(&schema.out).is_ok(), "{}", schema.out);
    assert_eq!(run(&dir, &["triage", "--write-knowledge", "k.toml"]).code, 0);
    assert_eq!(run(&dir, &["triage", "--knowledge", "k.toml", "--list"]).out, list.out);
    let text =
        fs::read_to_string(dir.join("k.toml")).unwrap().replace("[belief]\n", "[belief]\nsurely = 9\n");
    fs::write(dir.join("bad.toml"), text).unwrap();
    run(&dir, &["triage", "--knowledge", "bad.toml", "--list"]).refused(&["bad.toml:", "surely"]);
}

#[test]
fn what_cannot_be() {
    let dir = bench("triage-refused", "", "");
    run(&dir, &["triage", "--move"]).refused(&["without a line"]);
    run(&dir, &["triage", MOCK, "--by", "bench"]).refused(&["--move"]);
    run(&dir, &["triage", MOCK, "--supply-kpa", "0"]).refused(&["supply-kpa"]);
    run(&dir, &["triage", MOCK, "--record", "a.json", "--html", "a.json"])
        .refused(&["the same file is named twice"]);
    run(&dir, &["triage", "mock:nowhere.toml"]).refused(&["nowhere.toml"]);
}

/// Found at another polling address: which valve it is is asked before anything moves. Not known, nothing does, and that is the next check; said, it is
/// stroked; another, what was read of it counts for nothing [TG-31]. Each is the same again.
#[test]
fn which_valve_answers() {
    let dir = bench("triage-which", &fault("polling_address_changed", 1.0), "");
    for said in ["?", "this", "another"] {
        let file =
            answers(&[]) + &format!("\"triage/which_valve\" = \"{said}\"\n\"triage/move\" = \"yes\"\n");
        fs::write(dir.join("answers.toml"), file).expect("written");
        let of = ["--answers", "answers.toml", "--move", "--force", "--collected", "c.json"];
        let kept = ["--record", "r.json", "--write-answers", "a.toml"];
        let ended = triage(&dir, &[&of[..], &kept].concat());
        let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
        let asked = "FV-3104 at polling address 63 answers. Is that the valve that is looked for?";
        assert!(ended.err.contains(asked) && ended.err.contains("would move another valve"), "{}", ended.err);
        let strokes = record(&dir, "c.json")["strokes"].as_array().map(Vec::len);
        assert_eq!(strokes, Some(if said == "this" { 7 } else { 0 }), "{said}: {}", ended.err);
        let next = record(&dir, "r.json")["next"]["symptom"].clone();
        assert_eq!(next == "which_valve", said == "?", "{said}: {next}");
        assert_eq!(words.contains("it is not sure which valve answers"), said == "?", "{words}");
        let first = record(&dir, "r.json")["causes"][0]["cause"].clone();
        assert_eq!(first == "polling_address_changed", said != "another", "{said}: {first}");
        assert_eq!(record(&dir, "r.json")["device"].is_null(), said == "another");
        for from in ["a.toml", "r.json"] {
            let again = run(&dir, &["triage", "--answers", from]);
            assert_eq!((again.code, &again.out), (ended.code, &ended.out), "{said} {from}");
        }
    }
    // What was said of this device is no answer to who another one is.
    let file = fs::read_to_string(dir.join("a.toml")).expect("kept").replace("\"another\"", "\"this\"");
    let kept = file + "\"triage/session/device/unique_address\" = \"0000000001\"\n";
    fs::write(dir.join("other.toml"), kept).expect("written");
    let ended = triage(&dir, &["--answers", "other.toml", "--move", "--record", "o.json"]);
    assert_eq!(record(&dir, "o.json")["next"]["symptom"], "which_valve", "{}", ended.err);
    fs::write(dir.join("bad.toml"), "\"triage/which_valve\" = \"mine\"\n").expect("written");
    triage(&dir, &["--answers", "bad.toml"]).refused(&["bad.toml:1", "mine", "another"]);
}
