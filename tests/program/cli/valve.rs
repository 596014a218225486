//! `valve`: a computed valve by itself. Numbers are those of [PL-31], which another program computed, or arithmetic.

use super::{WIDTH, csv, table, too_long};
use crate::process::{Ended, run, scratch};
use serde_json::Value as Json;
use std::fs;
use std::path::{Path, PathBuf};

pub(super) fn bench(name: &str) -> String {
    format!("{}/fixtures/benches/{name}", env!("CARGO_MANIFEST_DIR"))
}

/// A directory with a bench of the reference actuator, whose regulator is set to `supply_bar`; `more` stands below it.
pub(super) fn reference(name: &str, supply_bar: f64, more: &str) -> PathBuf {
    let dir = scratch(&format!("valve-{name}"));
    let text = format!(
        "[[device]]\ntag = \"FV-3104\"\n[device.air]\nsupply_pressure_bar = {supply_bar}\n{more}\n[[line]]\nat = \"pty:\"\n"
    );
    fs::write(dir.join("b.toml"), text).unwrap();
    dir
}

/// `valve b.toml` and more arguments.
pub(super) fn valve(dir: &Path, more: &[&str]) -> Ended {
    run(dir, &[&["valve", "b.toml"], more].concat())
}

/// The same as JSON: what stands above, and one object for each way.
pub(super) fn found(dir: &Path, more: &[&str]) -> (i32, Vec<Json>) {
    let told = run(dir, &[&["--format", "json", "valve", "b.toml"], more].concat());
    assert_eq!(told.err, "");
    (told.code, told.json())
}

#[track_caller]
pub(super) fn near(value: &Json, expected: f64, share: f64) {
    let value = value.as_f64().unwrap_or_else(|| panic!("no number: {value}"));
    assert!((value - expected).abs() <= share * expected.abs(), "{value} is not {expected} within {share}");
}

/// [PL-31]: times of the reference actuator, within 1 %; first motion within a step of 1 ms besides.
#[test]
fn strokes_of_the_reference_actuator() {
    for (supply, opening, closing) in [
        (1.4, [0.1068, 0.1649, 1.8890, 2.0453], Some([0.5096, 0.6301, 3.0533, 3.2238])),
        (2.5, [0.0712, 0.1106, 1.0936, 1.1675], None),
    ] {
        let dir = reference("strokes", supply, "");
        let (code, all) = found(&dir, &["stroke", "--open-loop"]);
        assert_eq!((code, all.len()), (0, 3));
        assert_eq!(all[0]["valve"], "FV-3104");
        assert_eq!((&all[0]["computed"], &all[0]["described"]), (&Json::Bool(true), &Json::Bool(false)));
        for (motion, expected) in [(&all[1], Some(opening)), (&all[2], closing)] {
            let Some(expected) = expected else { continue };
            for (key, expected) in ["first_motion_s", "t5_s", "t95_s", "end_stop_s"].iter().zip(expected) {
                near(&motion[*key], expected, 0.01 + 1e-3 / expected);
            }
        }
        near(&all[1]["chamber_1_gauge_bar"], supply, 1e-3);
        assert!(all[2]["chamber_1_gauge_bar"].as_f64().unwrap() < 0.01);
        // Air to fill 0.5 l + 0.7 l to the supply: V (p - p0) / RT of reference air at the same temperature, plus the stage's bleed.
        let fill_l = 1.2 * (supply + 1.01325) - 0.5 * 1.01325;
        let used = all[1]["air_used_l_anr"].as_f64().unwrap();
        assert!((0.99 * fill_l..1.15 * fill_l).contains(&used), "{used} of {fill_l}");
    }
}

/// [PL-31]: 0.9 bar g stalls at (0.9 - 0.2 - 0.04)/0.8 = 82.5 %, and that is told by the exit code.
#[test]
fn too_little_air_stalls() {
    let dir = reference("stalls", 0.9, "");
    let (code, all) = found(&dir, &["stroke"]);
    assert_eq!(code, 1);
    near(&all[1]["travel_percent"], 82.5, 0.01);
    assert_eq!(all[1]["end_stop_s"], Json::Null);
    assert!(all[1]["remarks"][0].as_str().unwrap().contains("does not reach its open stop"));
    let (code, all) = found(&dir, &["step", "--from", "50", "--to", "100"]);
    assert_eq!(code, 1);
    assert!(all[1]["remarks"].to_string().contains("too far closed"), "{}", all[1]);
}

/// Every kind of actuator finds its place and both its stops, whichever way air works.
#[test]
fn every_kind_arrives() {
    let closes = "[device.valve]\nacting = \"air_closes\"\n";
    let double =
        "[device.valve]\nacting = \"double\"\narea_cm2 = 120\nspring = \"opens\"\nspring_to_bar = 2\n";
    let falling = "[device.valve.linkage]\nfalling = true\nlaw = \"sine\"\n";
    let yoke =
        "[device.valve]\nstroke_mm = 60\narea_cm2 = 200\n[device.valve.part_turn]\ntransmission = \"yoke\"\n";
    for (name, keys) in [("closes", closes), ("double", double), ("falling", falling), ("yoke", yoke)] {
        let dir = reference(&format!("kind-{name}"), 4.0, keys);
        for to in ["70", "30"] {
            let (code, all) = found(&dir, &["step", "--from", "50", "--to", to]);
            assert_eq!(code, 0, "{name}: {all:?}");
            near(&all[1]["travel_percent"], to.parse().unwrap(), 0.02);
        }
        let (code, all) = found(&dir, &["stroke"]);
        assert_eq!(code, 0, "{name}: {all:?}");
        near(&all[1]["travel_percent"], 100.0, 1e-6);
        assert_eq!(all[2]["travel_percent"].as_f64().map(|t| t.abs() < 1e-6), Some(true));
    }
}

/// What does not move is told so, without times.
#[test]
fn a_valve_that_does_not_move() {
    let dir = reference("still", 1.4, "");
    let (code, all) = found(&dir, &["stroke", "--fault", "diaphragm_leak=1"]);
    assert_eq!(code, 1);
    assert!(all[1]["remarks"].to_string().contains("does not move towards its open stop"), "{}", all[1]);
    for way in &all[1..] {
        assert!(["first_motion_s", "t5_s", "end_stop_s"].iter().all(|key| way[*key].is_null()), "{way}");
    }
    let (code, all) = found(&dir, &["step", "--fault", "diaphragm_leak=1"]);
    assert_eq!((code, &all[1]["settled_s"], &all[1]["t63_s"]), (1, &Json::Null, &Json::Null));
}

/// Slowly there and back the pressures differ by 2 x 140 N / 350 cm2 = 0.08 bar [PL-31]; five times the friction, five times that.
/// Without more friction at rest than while moving, or it would jump. At 0.5 %/s speed adds 2 x 2000 N s/m x 0.1 mm/s / 350 cm2 = 0.0001 bar.
#[test]
fn friction_is_seen_in_the_pressures() {
    for (keys, band_bar) in [
        ("[device.valve]\nstatic_friction_ratio = 1", 0.08),
        ("[device.valve]\nfriction_percent = 25\nstatic_friction_ratio = 1", 0.4),
    ] {
        let dir = reference("friction", 1.8, &format!("{keys}\n"));
        let (code, all) = found(&dir, &["ramp", "--from", "40", "--to", "60", "--rate", "0.5"]);
        assert_eq!(code, 0, "{all:?}");
        near(&all[1]["friction_band_bar"], band_bar, 0.1);
    }
}

#[test]
fn a_step_in_every_format() {
    let dir = scratch("valve-step");
    let of = |more: &[&str]| {
        run(
            &dir,
            &[&["valve", &bench("valve-fv-3104.toml"), "step", "--from", "20", "--to", "80"], more].concat(),
        )
    };
    let told = of(&[]);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    for words in [
        "FV-3104: step of the set point from 20 to 80 %",
        "Computed valve: air opens, spring closes, 20 mm, 350 cm\u{b2}, spring 0.2 to 1 bar g",
        "no positioner",
        "no real valve was moved",
        "people clear of it",
    ] {
        assert!(told.out.contains(words), "{words:?} is missing in\n{}", told.out);
    }
    assert_eq!(too_long(&told.out), Vec::<&str>::new(), "wider than {WIDTH}");
    let quiet = of(&["-q"]);
    assert!(quiet.out.starts_with("step\n") && !quiet.out.contains('!'), "{}", quiet.out);
    let json = of(&["--format", "json"]).json();
    let step = &json[1];
    near(&step["start_percent"], 20.0, 0.02);
    near(&step["travel_percent"], 80.0, 0.005);
    let at = |key: &str| step[key].as_f64().unwrap_or_else(|| panic!("{key} in {step}"));
    assert!(0.0 < at("dead_time_s") && at("dead_time_s") < at("t63_s") && at("t63_s") < at("t86_s"));
    // The follower drives fully until it is within 10 % of 80: 50 of 60 % at about 0.9/1.724 s of the filling stroke.
    assert!((0.5..1.0).contains(&at("t63_s")), "{step}");
    // [PL-44]: L + tau is the time of 63 %.
    assert!((at("lag_s") + at("lag_dead_time_s") - at("t63_s")).abs() < 2e-3 && at("lag_s") > 0.0, "{step}");
    let rows = table(&of(&["--format", "csv"]).out);
    let value = |key: &str| rows.iter().find(|r| r[1] == key).unwrap()[2].parse::<f64>().unwrap();
    assert_eq!((rows[0][0].as_str(), value("t63_s")), ("step", at("t63_s")));
}

/// Every row of the table holds what belongs together: lever and stem by the tangent law, force and pressure, spring and stem.
#[test]
fn the_table_agrees_with_itself() {
    let dir = reference("table", 1.4, "");
    assert_eq!(valve(&dir, &["step", "--csv", "run.csv", "--for", "6"]).code, 0);
    let text = fs::read_to_string(dir.join("run.csv")).unwrap();
    let head = &csv(&text)[0];
    assert_eq!(
        head.join(","),
        "time_s,set_point_percent,travel_percent,sensed_travel_percent,supply_gauge_bar,chamber_1_gauge_bar,\
         drive_percent,pilot_percent,regulator_gauge_bar,lever_deg,sensed_deg,stem_mm,velocity_mm_per_s,actuator_n,\
         spring_n,process_n,friction_n,supply_flow_l_anr_per_min"
    );
    let rows = table(&text);
    // 6 s, a row every 10 ms, both ends.
    assert_eq!(rows.len(), 601);
    let column = |name: &str| {
        let i = head.iter().position(|h| h == name).unwrap();
        rows.iter().map(|r| r[i].parse::<f64>().unwrap()).collect::<Vec<_>>()
    };
    let (time, stem, travel) = (column("time_s"), column("stem_mm"), column("travel_percent"));
    assert!(time.iter().enumerate().all(|(n, t)| (t - n as f64 * 0.01).abs() < 1e-6));
    let set_point = column("set_point_percent");
    assert_eq!((set_point[99], set_point[101], set_point[600]), (20.0, 80.0, 80.0));
    let (lever, spring) = (column("lever_deg"), column("spring_n"));
    let (force, bar) = (column("actuator_n"), column("chamber_1_gauge_bar"));
    for n in 0..rows.len() {
        assert!((travel[n] - stem[n] / 20.0 * 100.0).abs() < 1e-3);
        // d = 10 mm / tan 30 degrees.
        assert!((lever[n] - ((stem[n] - 10.0) / 17.320_508).atan().to_degrees()).abs() < 1e-3);
        // The forces are those at the begin of the step: within 1 ms the stem moves by less than 0.02 mm, 3 N.
        assert!((spring[n] + 700.0 + 140.0 * stem[n]).abs() < 3.0, "{} N at {} mm", spring[n], stem[n]);
        assert!((force[n] - bar[n] * 1e5 * 0.035).abs() < 10.0, "{} N at {} bar", force[n], bar[n]);
    }
    // On standard output it is the same, and nothing else.
    let told = valve(&dir, &["step", "--csv", "-", "--for", "6"]);
    assert!(told.out == text, "another table");
    let seldom = valve(&dir, &["step", "--csv", "-", "--for", "6", "--every-ms", "500"]);
    assert_eq!(table(&seldom.out).len(), 13);
    // The sensor's noise is that of a seed.
    let other = valve(&dir, &["step", "--csv", "-", "--for", "6", "--seed", "7"]);
    assert!(
        other.out != text && valve(&dir, &["step", "--csv", "-", "--for", "6", "--seed", "0"]).out == text
    );
}

#[test]
fn a_plot_of_its_own() {
    let dir = reference("plot", 1.4, "");
    let told = valve(
        &dir,
        &["step", "--svg", "run.svg", "--fault", "2:filter_blocked=0.6", "--fault", "sensor_worn=0.1"],
    );
    assert_eq!((told.code, told.err.as_str()), (0, ""), "{}", told.out);
    assert!(told.out.contains("Written: run.svg"));
    let svg = fs::read_to_string(dir.join("run.svg")).unwrap();
    assert!(svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\"") && svg.ends_with("</svg>\n"));
    assert_eq!(svg.matches("http").count(), 1, "nothing from elsewhere");
    assert!(!svg.contains("NaN"));
    for tag in ["svg", "g", "text", "title"] {
        let opened = svg.matches(&format!("<{tag}>")).count() + svg.matches(&format!("<{tag} ")).count();
        assert_eq!(opened, svg.matches(&format!("</{tag}>")).count(), "{tag}");
    }
    for words in [
        "set_point_percent\"",
        "\"travel_percent\"",
        "\"sensed_travel_percent\"",
        "\"supply_gauge_bar\"",
        "\"chamber_1_gauge_bar\"",
        ">Travel, %<",
        ">Pressure, bar g<",
        ">time, s<",
        ">true travel<",
        ">the sensor says<",
        ">set point 80 %<",
        ">fault: filter blocked (0.6)<",
        ">fault: sensor worn (0.1)<",
        "Computed valve",
    ] {
        assert!(svg.contains(words), "{words} is missing");
    }
    assert_eq!(svg.matches("class=\"mark\"").count(), 3);
}

/// Where a valve goes: spring, trip valve, lock-up, stored air [PL-32].
#[test]
fn what_is_lost_and_where_it_goes() {
    let closes = "[device.valve]\nacting = \"air_closes\"\n";
    let trip = "[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n";
    let lock_up = "[device.valve.fail]\nlock_up_below_bar = 1.0\n";
    let double = "[device.valve]\nacting = \"double\"\narea_cm2 = 120\n[device.valve.fail]\ntank_l = 10\ntank_opens = true\n";
    for (keys, supply, what, from, expected, words) in [
        ("", 1.4, "current", "50", 0.0, "closed stop"),
        ("", 1.4, "air", "50", 0.0, "spring"),
        (closes, 1.4, "current", "50", 100.0, "open stop"),
        (trip, 1.4, "trip", "80", 0.0, "trip valve"),
        (lock_up, 1.4, "air", "60", 60.0, "lock-up valve"),
        (double, 5.0, "air", "30", 100.0, "tank"),
        (double, 5.0, "current", "30", 0.0, "no spring"),
    ] {
        let dir = reference("fails", supply, keys);
        let (code, all) = found(&dir, &["fail", what, "--from", from]);
        assert_eq!(code, 0, "{all:?}");
        let at = all[1]["travel_percent"].as_f64().unwrap();
        assert!((at - expected).abs() < 2.0, "{keys}{what}: {at} is not {expected}");
        assert!(all[1]["remarks"].to_string().contains(words), "{words}: {}", all[1]["remarks"]);
        let moves = expected == 0.0 || expected == 100.0;
        assert_eq!(all[1]["end_stop_s"].is_number(), moves, "{}", all[1]);
    }
}

/// The same fault from the bench file and from the command line gives the same run.
#[test]
fn faults_of_the_file_and_of_the_command_line() {
    let keys = "[[device.valve.fault]]\nname = \"packing_tight\"\nseverity = 0.5\nfrom_s = 2.0\n";
    let (with, without) = (reference("fault-file", 1.4, keys), reference("fault-line", 1.4, ""));
    let motion = ["step", "--csv", "-", "--for", "8"];
    let of_file = valve(&with, &motion);
    let of_line = valve(&without, &[&motion[..], &["--fault", "2:packing_tight=0.5"]].concat());
    let healthy = valve(&without, &motion);
    assert!(of_file.out == of_line.out);
    let until = |rows: &str, n: usize| rows.lines().take(n).collect::<Vec<_>>().join("\n");
    // Until 2 s nothing differs: the header and 200 rows.
    assert_eq!(until(&of_file.out, 201), until(&healthy.out, 201));
    assert!(of_file.out != healthy.out);
    // A repair is in time too, and a fault that would come too late is told.
    let text =
        fs::read_to_string(with.join("b.toml")).unwrap().replace("from_s = 2.0", "from_s = 2.0\nuntil_s = 3");
    fs::write(with.join("b.toml"), text).unwrap();
    let told = valve(&with, &["step", "--svg", "r.svg"]);
    assert!(told.out.contains("fault: packing over-tight, severity 0.5 from 2 to 3 s"), "{}", told.out);
    assert!(fs::read_to_string(with.join("r.svg")).unwrap().contains("repaired: packing over-tight"));
    // While it moves 140 N become 140 x (1 + 5 x 0.5) = 490 N [PL-33], and 140 N again; speed adds some 20 N.
    let text = fs::read_to_string(with.join("b.toml"))
        .unwrap()
        .replace("from_s = 2.0\nuntil_s = 3", "from_s = 1.2\nuntil_s = 1.5");
    fs::write(with.join("b.toml"), text).unwrap();
    let rows = table(&valve(&with, &motion).out);
    let friction = |time: &str| {
        rows.iter()
            .find(|r| r[0] == time)
            .map(|r| r[16].parse::<f64>().unwrap())
            .unwrap_or_else(|| panic!("no {time}"))
    };
    for (time, newtons) in [("1.1500", 140.0), ("1.4500", 490.0), ("1.7000", 140.0)] {
        let found = friction(time);
        assert!((newtons..newtons + 60.0).contains(&found), "{found} N at {time} s");
    }
    let late = valve(&without, &["step", "--for", "3", "--fault", "9:packing_tight=1"]);
    assert!(late.out.contains("was to come at 9 s, when the run had ended"), "{}", late.out);
}

#[test]
fn the_faults_are_listed() {
    let dir = scratch("valve-faults");
    let told = run(&dir, &["valve", "--faults"]);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    assert_eq!(too_long(&told.out), Vec::<&str>::new());
    let rows = table(&run(&dir, &["--format", "csv", "valve", "--faults"]).out);
    // The table of [PL-33] has as many rows.
    let notes =
        fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("protocol-notes/plant.md")).unwrap();
    let notes = notes.split("## [PL-33]").nth(1).unwrap().split("\n## ").next().unwrap();
    assert_eq!(rows.len(), notes.lines().filter(|l| l.starts_with("| `")).count());
    for row in rows {
        assert!(notes.contains(&format!("`{}`", row[0])), "{row:?}");
    }
}

#[test]
fn which_device() {
    let dir = scratch("valve-devices");
    let of =
        |name: &str, device: &str| run(&dir, &["valve", &bench(name), "--device", device, "stroke", "-q"]);
    assert_eq!(of("valve-part-turn.toml", "FV-3120").code, 0);
    assert_eq!(of("valve-part-turn.toml", "0").code, 0);
    of("valve-part-turn.toml", "FV-3121").refused(&["no device", "FV-3121", "FV-3120"]);
    of("two-kinds.toml", "TT-3105").refused(&["TT-3105 is a temperature transmitter", "positioner"]);
}

#[test]
fn what_is_refused() {
    let dir = reference("refused", 1.4, "[device.valve]\nstroke_m = 20\n");
    valve(&dir, &["stroke"]).refused(&["b.toml:6:1", "no key `stroke_m`", "`stroke_mm`"]);
    let dir = reference("refused", 1.4, "[device.valve]\narea_cm2 = 0\n");
    valve(&dir, &["stroke"]).refused(&["b.toml:6:12", "0 cm2", "1 to 20000"]);
    let dir = reference("refused", 1.4, "");
    run(&dir, &["valve", "none.toml", "stroke"]).refused(&["no such file"]);
    for missing in [&["valve"][..], &["valve", "stroke"]] {
        run(&dir, missing).refused(&["BENCH.toml", " --help"]);
    }
    valve(&dir, &[]).refused(&["nothing is asked", "step, ramp, stroke or fail"]);
    for (more, words) in [
        (&["stroke", "--fault", "filter_block=1"][..], &["filter_block", "did you mean filter_blocked?"][..]),
        (&["stroke", "--fault", "filter_blocked"], &["has no =", "filter_blocked=0.6"]),
        (&["stroke", "--fault", "filter_blocked=0"], &["severity above 0"]),
        (&["stroke", "--fault", "x:filter_blocked=1"], &["no time"]),
        (&["fail", "trip"], &["no trip valve", "trip_dm3_per_s_bar"]),
        (&["fail", "water"], &["water", "air"]),
        (&["step", "--from", "200"], &["200", "-100 to 125"]),
        (&["ramp", "--rate", "0"], &["no rate", "0.01 to 1000"]),
        (&["step", "--for", "1e9"], &["2 to 3600"]),
        (&["step", "--for", "1.9"], &["2 to 3600"]),
        (&["stroke", "--fault", "1e6:filter_blocked=1"], &["no time in seconds, 0 to 3600"]),
        // Two ways of 60 % at 0.01 %/s, 2 s at the turn and 1 s before: 12003 s, 31 ms a row make 387,194.
        (&["ramp", "--rate", "0.01"], &["record of 12003 s", "--every-ms 31 is enough"]),
        (&["ramp", "--from", "50", "--to", "50"], &["no way", "two places"]),
        (&["step", "--svg", "-"], &["standard output", "valve.svg"]),
        (&["step", "--svg", "x", "--csv", "x"], &["both go to x", "two files"]),
        (&["step", "--svg", "none/r.svg"], &["writing none/r.svg"]),
    ] {
        valve(&dir, more).refused(words);
    }
    let spring = reference("refused-spring", 5.0, "[device.valve]\nacting = \"double\"\n");
    valve(&spring, &["stroke", "--fault", "spring_broken=1"])
        .refused(&["spring broken", "leave this fault out"]);
    // A device is written to and stays one: --force does not put a file in its place.
    for force in [&["step", "--csv", "/dev/null"][..], &["step", "--csv", "/dev/null", "--force"]] {
        assert_eq!(valve(&dir, force).code, 0);
        assert!(!fs::metadata("/dev/null").unwrap().is_file());
    }
    // What is there already may be wanted.
    fs::write(dir.join("r.csv"), "mine").unwrap();
    valve(&dir, &["step", "--csv", "r.csv"]).refused(&["r.csv", "exists", "--force"]);
    assert_eq!(fs::read_to_string(dir.join("r.csv")).unwrap(), "mine");
    assert_eq!(valve(&dir, &["step", "--csv", "r.csv", "--force"]).code, 0);
    assert!(fs::read_to_string(dir.join("r.csv")).unwrap().starts_with("time_s,"));
}
