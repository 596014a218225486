//! What `valve` says of a run: causes that are true, rest that is rest, places that are no places [PL-42].

use super::table;
use super::valve::{bench, found, near, reference, valve};
use crate::process::{Ended, run, scratch};
use std::fs;

/// A motion of the valve FV-3104.
fn fv_3104(name: &str, more: &[&str]) -> Ended {
    let dir = scratch(&format!("valve-found-{name}"));
    run(&dir, &[&["--format", "json", "valve", &bench("valve-fv-3104.toml")], more].concat())
}

/// Whatever a loss is said to have done is what the pressures and the forces say, and a valve that does not reach the stop to
/// which its spring pushes is told by the exit code.
#[test]
fn causes_are_read_from_the_forces() {
    for (more, code, words, not) in [
        (&["current"][..], 0, &["closed stop", "chamber is empty", "spring holds it there"][..], "friction"),
        (
            &["current", "--fault", "0.5:stage_stuck=1"],
            1,
            &["stays where it was", "air is still in the actuator"],
            "spring",
        ),
        (
            &["current", "--fault", "0.5:stem_seized=1"],
            1,
            &["chamber is empty and it does not move: friction"],
            "spring",
        ),
        (
            &["trip", "--fault", "0.5:stem_seized=1"],
            1,
            &["trip valve", "chamber is empty and it does not move"],
            "spring",
        ),
        (
            &["current", "--fault", "0.5:spring_broken=1"],
            1,
            &["nothing but friction holds it", "process may move it"],
            "spring",
        ),
        (
            &["current", "--fault", "0.5:outputs_swapped=1"],
            1,
            &["goes to its open stop", "the air holds it there, the wrong way"],
            "spring",
        ),
        (
            &["current", "--fault", "0.5:handwheel_engaged=0.6"],
            1,
            &["closed stop stands at 36 %"],
            "friction",
        ),
        (
            &["air", "--fault", "0.5:stage_stuck=0.3"],
            0,
            &["closed stop", "spring holds it there"],
            "friction",
        ),
    ] {
        let told = fv_3104("causes", &[&["fail"], more].concat());
        let remarks = told.json()[1]["remarks"].to_string();
        assert_eq!(told.code, code, "{more:?}: {remarks}");
        for words in words {
            assert!(remarks.contains(words), "{more:?}: {words:?} is not in {remarks}");
        }
        assert!(!remarks.contains(not), "{more:?}: {not:?} is in {remarks}");
    }
    // A lock-up valve keeps no air in a chamber that leaks.
    let locked = reference("torn", 1.4, "[device.valve.fail]\nlock_up_below_bar = 1.0\n");
    let (_, all) = found(&locked, &["fail", "air", "--from", "60", "--fault", "1:diaphragm_leak=1"]);
    let remarks = all[1]["remarks"].to_string();
    assert!(remarks.contains("spring holds it there") && !remarks.contains("keeps the air in"), "{remarks}");
    // Both chambers vent and nothing else pushes.
    let double = reference("no-air", 5.0, "[device.valve]\nacting = \"double\"\narea_cm2 = 120\n");
    let (code, all) = found(&double, &["fail", "air"]);
    let remarks = all[1]["remarks"].to_string();
    assert_eq!(code, 0);
    assert!(remarks.contains("both chambers are empty; nothing but friction holds it"), "{remarks}");
    assert!(all[1]["end_stop_s"].is_null() && remarks.contains("no spring"), "{remarks}");
}

/// A leak of 1e-4 dm3/(s bar) empties 1.2 l in V/(R T rho C) = 1203 s and more: after 2 s nothing is seen of it, and it is told.
/// Air that fills 200 l through a narrow stage, and a pilot on its way through a wide dead band, are waited for.
#[test]
fn what_is_under_way_does_not_rest() {
    let keys = "[device.valve.fail]\nlock_up_below_bar = 1.0\nlock_up_leak_dm3_per_s_bar = 0.0001\n";
    let (_, all) = found(&reference("creeps", 1.4, keys), &["fail", "air", "--from", "60"]);
    assert!(all[1]["remarks"].to_string().contains("creeps, by a leak; --for shows it"), "{}", all[1]);
    let tight = "[device.valve.fail]\nlock_up_below_bar = 1.0\n";
    let (_, all) = found(&reference("tight", 1.4, tight), &["fail", "air", "--from", "60"]);
    assert!(!all[1]["remarks"].to_string().contains("creeps"), "{}", all[1]);
    let keys = "[device.valve]\narea_cm2 = 2000\ndead_volume_l = 200\n\
                [device.valve.stage]\nfill_dm3_per_s_bar = 0.01\nexhaust_dm3_per_s_bar = 0.01\n";
    let (_, all) = found(&reference("large", 1.4, keys), &["stroke"]);
    // 0.248 bar in 200 l by 0.01 dm3/s a bar from 2.4 bar absolute: 200 x 0.248/0.024 s, over half an hour.
    assert!(all[1]["remarks"].to_string().contains("does not come to rest within 120 s"), "{}", all[1]);
    // First order, 10 s: from -1 to 1 the pilot passes 0.9 after 10 ln 20 = 30 s.
    let keys = "[device.valve.stage]\ndead_band_percent = 90\nlag_ms = 10000\n";
    let (code, all) = found(&reference("slow-pilot", 1.4, keys), &["stroke"]);
    assert_eq!(code, 0, "{all:?}");
    near(&all[1]["travel_percent"], 100.0, 1e-6);
    assert!(all[1]["first_motion_s"].as_f64().unwrap() > 29.0, "{}", all[1]);
}

/// With air on both sides friction is in the difference of the forces: twice 250 N.
#[test]
fn friction_of_a_double_acting_valve() {
    let keys = "[device.valve]\nacting = \"double\"\narea_cm2 = 120\nclosing_area_cm2 = 100\nfriction_n = 250\n\
                static_friction_ratio = 1\n";
    let dir = reference("double-friction", 5.0, keys);
    let (code, all) = found(&dir, &["ramp", "--from", "40", "--to", "60", "--rate", "0.5"]);
    assert_eq!(code, 0, "{all:?}");
    near(&all[1]["friction_band_n"], 500.0, 0.1);
    near(&all[1]["friction_band_bar"], 500.0 / 0.012 / 1e5, 0.1);
}

/// A drive's percent are no travel: nothing is said of how far the one is behind the other.
#[test]
fn a_ramp_of_the_drive() {
    let dir = reference("ramp-open", 1.4, "");
    let (_, all) = found(&dir, &["ramp", "--open-loop", "--from", "-20", "--to", "20", "--rate", "5"]);
    assert!(
        all[1].get("lag_there_percent").is_none() && all[1].get("friction_band_n").is_some(),
        "{}",
        all[1]
    );
    // --for ends a ramp.
    let told = valve(&dir, &["ramp", "--rate", "1", "--for", "6", "--csv", "-"]);
    assert_eq!(table(&told.out).last().unwrap()[0], "6.0000");
}

/// Above 0 opens, whichever way the air works [PL-42].
#[test]
fn the_drive_has_one_sign() {
    for acting in ["air_opens", "air_closes"] {
        let dir =
            reference(&format!("sign-{acting}"), 1.4, &format!("[device.valve]\nacting = \"{acting}\"\n"));
        let rows = table(&valve(&dir, &["stroke", "--csv", "-"]).out);
        let at = |time: &str| rows.iter().find(|r| r[0] == time).unwrap();
        // No set point in a stroke: drive and pilot are columns 6 and 7.
        assert_eq!((at("0.5000")[6].as_str(), at("0.5000")[7].as_str()), ("-100", "-100"), "{acting}");
        assert_eq!((at("1.5000")[6].as_str(), at("1.5000")[7].as_str()), ("100", "100"), "{acting}");
    }
}

/// The same fault twice: the worse one is in, whichever comes or goes first.
#[test]
fn the_same_fault_twice() {
    let fault = |severity: f64, times: &str| {
        format!("[[device.valve.fault]]\nname = \"packing_tight\"\nseverity = {severity}\n{times}\n")
    };
    let csv = |name: &str, keys: &str| {
        valve(&reference(name, 1.4, keys), &["stroke", "--csv", "-", "--for", "6"]).out
    };
    let worse = csv("worse", &fault(0.6, ""));
    assert!(csv("twice", &(fault(0.6, "") + &fault(0.2, "from_s = 2\nuntil_s = 3"))) == worse);
    assert!(csv("twice", &(fault(0.2, "from_s = 2\nuntil_s = 3") + &fault(0.6, ""))) == worse);
}

#[test]
fn stops_that_stand_elsewhere() {
    for (fault, words) in [
        ("stop_moved=0.6", "open stop stands at 64 %"),
        ("handwheel_engaged=0.6", "closed stop stands at 36 %"),
    ] {
        let told = fv_3104("stops", &["stroke", "--fault", fault]);
        let remarks: String = told.json()[1..].iter().map(|way| way["remarks"].to_string()).collect();
        assert!(told.code == 1 && remarks.contains(words), "{fault}: {remarks}");
    }
}

#[test]
fn what_goes_the_other_way_has_no_times() {
    let told = fv_3104("swapped", &["stroke", "--fault", "outputs_swapped=1"]);
    assert_eq!(told.code, 1);
    for way in &told.json()[1..] {
        assert!(way["remarks"].to_string().contains("goes the other way"), "{way}");
        assert!(
            ["first_motion_s", "t5_s", "t95_s", "end_stop_s"].iter().all(|key| way[*key].is_null()),
            "{way}"
        );
    }
    // Nothing opens it: it never stood at 50 %.
    let told = fv_3104("not-there", &["fail", "current", "--fault", "diaphragm_leak=1"]);
    let json = told.json();
    assert!(json[1]["remarks"].to_string().contains("stood at 0.0 %, not at 50 %"), "{}", json[1]);
    assert!(json[1]["end_stop_s"].is_null() && json[1]["first_motion_s"].is_null(), "{}", json[1]);
}

/// What switches over is marked and named, and the tank's pressure found.
#[test]
fn who_has_the_actuator() {
    let keys = "[device.valve]\nacting = \"double\"\narea_cm2 = 120\n[device.valve.fail]\ntank_l = 10\n";
    let dir = reference("tank", 5.0, keys);
    let (code, all) = found(&dir, &["fail", "air", "--svg", "r.svg"]);
    assert_eq!(code, 0, "{all:?}");
    assert!(all[1]["tank_gauge_bar"].as_f64().unwrap() > 4.0, "{}", all[1]);
    assert!(fs::read_to_string(dir.join("r.svg")).unwrap().contains(">the tank takes over<"));
    // 5 x (1 - 0.6) = 2 bar is below the 3 bar at which the tank takes over: [PL-40].
    let (code, all) = found(&dir, &["step", "--fault", "2:supply_low=1"]);
    assert_eq!(code, 1);
    assert!(all[1]["remarks"].to_string().contains("the tank has the actuator"), "{}", all[1]);
}

/// What changes nothing is said to, and what is far too much air, too.
#[test]
fn remarks_on_what_was_given() {
    let keys = "[device.valve.supply]\nline_bore_mm = 1.5\n";
    let dir = reference("narrow", 1.4, keys);
    let (_, all) = found(&dir, &["step", "--fault", "supply_line_undersized=0.3"]);
    assert!(all[1]["remarks"].to_string().contains("the line is narrower already"), "{}", all[1]);
    let (_, all) = found(&dir, &["step", "--fault", "supply_line_undersized=1"]);
    assert!(!all[1]["remarks"].to_string().contains("changes nothing"), "{}", all[1]);
    let (_, all) = found(&reference("much", 4.0, ""), &["step"]);
    assert!(all[1]["remarks"].to_string().contains("far above the 1.05 bar g"), "{}", all[1]);
}

/// A table has no room for sentences: they go to standard error; and a plot says who held the set point.
#[test]
fn sentences_are_not_lost() {
    let dir = reference("sentences", 4.0, "");
    for more in
        [&["--format", "csv", "valve", "b.toml", "step"][..], &["valve", "b.toml", "step", "--csv", "-"]]
    {
        let told = run(&dir, more);
        assert!(told.err.contains("step: The supply of 4.00 bar g is far above"), "{}", told.err);
    }
    valve(&dir, &["step", "--svg", "r.svg"]);
    let svg = fs::read_to_string(dir.join("r.svg")).unwrap();
    assert!(svg.contains("a plain follower with a dead band holds the set point: no positioner"));
}
