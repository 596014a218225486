//! `travel`: what is refused before anything moves, because it would do nothing, could not be kept, or is no test of what it says.

use super::travel::{BENCH, bench, travel};
use crate::process::run;
use std::fs;

const PLAIN: &str = "\"travel/start\" = \"yes\"\n";

/// [TV-102]: an option that has no effect is told, and nothing runs; each beside what it goes with is taken.
#[test]
fn options_without_effect() {
    let dir = bench("travel-no-effect", "", PLAIN);
    let ended = travel(&dir, &["--cycles", "0", "--strokes", "1", "--record", "r.json"]);
    assert!(dir.join("r.json").exists(), "{}", ended.err);
    for (given, names) in [
        (&["--device-check", "--cycles", "2"][..], "--cycles"),
        (&["--device-check", "--limits", "l.toml"], "--limits"),
        (&["--device-check", "--external"], "--external"),
        (&["--device-check", "--beside", "r.json"], "--beside"),
        (&["--device-check", "--fails-to", "closed"], "--fails-to"),
        (&["--check", "--creep-move", "1"], "--creep-move"),
        (&["--check", "--watch", "10"], "--watch"),
        (&["--cycles", "1", "--creep-move", "1"], "--creep"),
        (&["--cycles", "1", "--watch", "10"], "--watch"),
        (&["--cycles", "0", "--strokes", "1", "--points", "11"], "--points"),
        (&["--cycles", "0", "--strokes", "1", "--control-system"], "--control-system"),
        (&["--cycles", "0", "--steps", "--external"], "--external"),
        // [TV-114]
        (&["--by", "device", "--loss", "air,trip"], "--by person"),
    ] {
        travel(&dir, &[given, &["--record", "no.json"]].concat()).refused(&[names]);
        assert!(!dir.join("no.json").exists(), "{given:?}");
    }
    for given in [
        &["--creep"][..],
        &["--cycles", "1"],
        &["--points", "11"],
        &["--rest-most", "60"],
        &["--by", "bench"],
        &["--travel", "3:sv"],
        &["--external"],
        &["--control-system"],
        &["--answers", "answers.toml"],
        &["--move"],
        &["--as-left"],
        &["--who", "R. Ames"],
        &["--site", "x"],
        &["--valve", "x"],
        &["--rated-travel", "20mm"],
        &["--fails-to", "open"],
        &["--instrument", "gauge"],
        &["--supply-kpa", "140"],
        &["--ambient-c", "20"],
        &["--log", "l.log"],
        &["--loss", "air"],
        &["--retries", "5"],
        &["--master", "primary"],
    ] {
        run(&dir, &[&["travel", "--from", "r.json"], given].concat()).refused(&["--from", given[0]]);
    }
    let whole =
        ["travel", "--from", "r.json", "--html", "r.html", "--sign", "s.html", "--json", "j.json", "--force"];
    assert!(!run(&dir, &whole).err.contains("cannot be used"));
}

/// [TV-102]: what cannot be written is known before the valve moves: a full device, a directory, a place that is not there.
#[test]
fn outputs_that_cannot_be_written() {
    let dir = bench("travel-unwritable", "", PLAIN);
    fs::create_dir(dir.join("here")).unwrap();
    for output in ["--record", "--html", "--json", "--sign"] {
        for (path, wrong) in [
            ("/dev/full", "writing /dev/full"),
            ("here", "here"),
            ("nowhere/r", "there is no directory nowhere"),
        ] {
            let ended = travel(&dir, &["--cycles", "1", output, path, "--force", "--log", "moved.log"]);
            ended.refused(&[wrong]);
            assert!(!dir.join("moved.log").exists(), "{output} {path}: nothing was opened");
            travel(&dir, &["--device-check", output, path, "--force"]).refused(&[wrong]);
        }
    }
    // What is tried leaves nothing behind.
    let left: Vec<_> = fs::read_dir(&dir).unwrap().filter_map(|f| f.ok()).map(|f| f.file_name()).collect();
    assert!(left.iter().all(|n| !n.to_string_lossy().contains(".new")), "{left:?}");
}

/// [TV-100]: a date is a day of the calendar; one in the future is told before, in the report, and its age stands there.
#[test]
fn dates_of_calibration() {
    let dir = bench("travel-dates", "", PLAIN);
    for wrong in ["soon", "2026-13-45", "02.05.2026", "2026-05-02 due soon"] {
        let instrument = format!("caliper,17,{wrong},0.02 mm");
        travel(&dir, &["--cycles", "1", "--instrument", &instrument])
            .refused(&["no date of calibration", "2026-05-02"]);
    }
    let instruments = [
        "--instrument",
        "gauge,1,2099-01-01,",
        "--instrument",
        "caliper,2,1999-01-01,",
        "--instrument",
        "loop meter,3,2020-05-02 due 2021-05-02,",
    ];
    let test = ["--cycles", "0", "--strokes", "1", "--html", "r.html"];
    let ended = travel(&dir, &[&test[..], &instruments].concat());
    for told in [
        "gauge 1: its date of calibration lies in the future",
        "caliper 2: it was calibrated",
        "loop meter 3: its calibration was due on 2021-05-02",
    ] {
        assert!(ended.err.contains(told), "{told}: {}", ended.err);
        let words: String = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains(told), "{told}: {words}");
    }
    let page = fs::read_to_string(dir.join("r.html")).unwrap();
    assert!(page.contains("1999-01-01 (2") && page.contains("years before the test)"), "{page}");
}

/// [TV-103]: a command of the device leaves the loop alone, so that is no loop check.
#[test]
fn a_loop_check_by_a_command() {
    let dir = bench("travel-check-device", "", PLAIN);
    let ended = travel(&dir, &["--check", "--by", "device", "--record", "r.json"]);
    ended.refused(&["leaves the loop alone", "--cycles 1 --by device"]);
    assert!(!dir.join("r.json").exists());
}

/// [TV-102]: a value that is not told is refused with those that are, before anything is asked; and a bench that cannot be calibrated at its air says that.
#[test]
fn values_that_are_not_told() {
    let dir = bench("travel-no-value", "", "a = 1");
    let ended = travel(&dir, &["--cycles", "1", "--travel", "3:zz", "--record", "r.json"]);
    ended.refused(&["--travel 3:zz", "tells no such value", "sv"]);
    travel(&dir, &["--cycles", "1", "--set-point", "3:zz"]).refused(&["--set-point 3:zz"]);
    assert!(!dir.join("r.json").exists());
    let poor = BENCH
        .replace("supply_pressure_bar = 1.4", "supply_pressure_bar = 0.2")
        .replace("header_bar = 6", "header_bar = 0.2");
    fs::write(dir.join("bench.toml"), poor).unwrap();
    let ended = travel(&dir, &["--cycles", "1"]);
    ended.refused(&["says calibrated = true", "with this air", "supply_pressure_bar"]);
}

/// [TV-101]: records of two valves in one report are a fault that names both, and the title is of one of them alone.
#[test]
fn two_valves_in_one_report() {
    let dir = bench("travel-two-valves", "", PLAIN);
    let test = ["--cycles", "0", "--strokes", "1"];
    travel(&dir, &[&test[..], &["--record", "one.json"]].concat());
    let other = BENCH.replace(
        "FV-3104\"\nlong_tag = \"Brackenmoor inlet valve\"",
        "FV-3120\"\ndevice_id = 0x3120\nlong_tag = \"Brackenmoor drain\"",
    );
    fs::write(dir.join("bench.toml"), other).unwrap();
    travel(&dir, &[&test[..], &["--record", "two.json"]].concat());
    let ended = run(&dir, &["travel", "--from", "one.json", "--from", "two.json"]);
    assert_eq!(ended.code, 1, "{}", ended.out);
    let words = ended.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("!! This report is of two valves: FV-3104 (unique address")
            && words.contains("and FV-3120"),
        "{words}"
    );
    let title = ended.out.lines().next().unwrap_or_default();
    assert!(title == "FV-3120, Brackenmoor drain" || title == "FV-3104, Brackenmoor inlet valve", "{title}");
    // The same valve beside itself is no finding.
    let one = fs::read_to_string(dir.join("one.json")).unwrap();
    let by_another = one.replacen("\"who\": \"\"", "\"who\": \"R. Ames\"", 1);
    assert_ne!(one, by_another);
    fs::write(dir.join("again.json"), by_another).unwrap();
    let ended = run(&dir, &["travel", "--from", "one.json", "--from", "again.json"]);
    assert!(!ended.out.contains("two valves") && ended.out.contains("FV-3104"), "{}", ended.out);
    // [TV-157]: the same record twice would count twice, under another name, too.
    fs::write(dir.join("copy.json"), one).unwrap();
    for twice in ["one.json", "copy.json"] {
        run(&dir, &["travel", "--from", "one.json", "--from", twice])
            .refused(&["the same record as one.json", twice]);
    }
}

/// [TV-154]: settings, a wiring sheet and a loop that are not those of the valve are no quiet part of a report.
#[test]
fn papers_of_another_valve() {
    let dir = bench("travel-papers", "", PLAIN);
    fs::write(dir.join("l.toml"), "whose = \"works\"\n[limits]\nstroke_time_opening_s = 8\n").unwrap();
    travel(&dir, &["--cycles", "0", "--strokes", "1", "--record", "one.json"]);
    let beside = |option: &str, path: &str| {
        let ended = run(&dir, &["travel", "--from", "one.json", "--limits", "l.toml", option, path]);
        (ended.code, ended.out.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    let sheet = |name: &str| format!("{}/fixtures/sheets/{name}", env!("CARGO_MANIFEST_DIR"));
    let (code, told) = beside("--wiring", &sheet("fv-3104.toml"));
    assert!(code == 0 && told.contains("WITHIN LIMITS"), "{told}");
    let (code, told) = beside("--wiring", &sheet("lt-3110-transmitter.toml"));
    let other = "!! A wiring sheet of another loop: the devices in lt-3110-transmitter.toml are LT-3110";
    assert!(code == 1 && told.contains("NOT IN ORDER: 1 fault") && told.contains(other), "{told}");
    let (code, told) = beside("--wiring", &sheet("no-resistor.toml"));
    assert!(
        code == 1 && told.contains("NOT IN ORDER: 2 faults") && told.contains("is NOT GOOD: 3 of"),
        "{told}"
    );
    let saved = run(&dir, &["settings", "save", "mock:bench.toml", "set.toml"]);
    assert_eq!(saved.code, 0, "{}", saved.err);
    let (code, told) = beside("--settings", "set.toml");
    assert!(code == 0 && told.contains("WITHIN LIMITS"), "{told}");
    fs::write(dir.join("bench.toml"), BENCH.replace("FV-3104\"\n", "FV-9999\"\ndevice_id = 0xAAAA\n"))
        .unwrap();
    let saved = run(&dir, &["settings", "save", "mock:bench.toml", "other.toml"]);
    assert_eq!(saved.code, 0, "{}", saved.err);
    let (code, told) = beside("--settings", "other.toml");
    assert!(
        code == 1 && told.contains("!! Settings of another device: the settings in other.toml"),
        "{told}"
    );
}

/// [TV-158] [TV-159]: a supply in bar is asked back, and a test that its limits say nothing of moves nothing; the same limits take a test of strokes.
#[test]
fn what_could_not_be_judged_or_meant() {
    let dir = bench("travel-unjudged", "", PLAIN);
    let supply = ["--cycles", "1", "--record", "no.json", "--supply-kpa"];
    travel(&dir, &[&supply[..], &["1.4"]].concat()).refused(&["1.4", "140 kPa", "--supply-kpa"]);
    travel(&dir, &[&supply[..], &["99999"]].concat()).refused(&["99999", "20 to 2000"]);
    run(&dir, &["triage", "mock:bench.toml", "--supply-kpa", "1.4"]).refused(&["140 kPa"]);
    fs::write(dir.join("l.toml"), "whose = \"works\"\n[limits]\nstroke_time_opening_s = 8\n").unwrap();
    travel(&dir, &["--cycles", "1", "--limits", "l.toml", "--record", "no.json"]).refused(&[
        "l.toml",
        "stroke_time_opening_s",
        "nothing could be judged",
    ]);
    assert!(!dir.join("no.json").exists());
    let ended =
        travel(&dir, &["--cycles", "0", "--strokes", "1", "--limits", "l.toml", "--answers", "answers.toml"]);
    assert!(ended.out.contains("WITHIN LIMITS"), "{}{}", ended.err, ended.out);
    let ended = travel(&dir, &["--cycles", "0", "--strokes", "1", "--record", "r.json"]);
    assert!(ended.err.contains("so it ends without a verdict"), "{}", ended.err);
}
