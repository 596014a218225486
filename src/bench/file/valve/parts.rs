//! Part by part: the keys of `[device.valve]` in people's units become the set-up of a valve in SI [PL-40].

use super::super::shape::valve::{
    FailTable, LinkageTable, PartTurnTable, SensorTable, StageTable, SupplyTable, ValveTable,
};
use super::{CONDUCTANCE, Fault, at, given, put, refuse, words};
use crate::plant::actuator::{Action, ChamberSize, Pushes, Spring};
use crate::plant::air::Restriction;
use crate::plant::air_path::TankConfig;
use crate::plant::fail::{LockUpConfig, StoredAirConfig, TripConfig};
use crate::plant::linkage::{Law, LinkageConfig, Sense};
use crate::plant::stage::StageKind;
use crate::plant::transmission::Transmission;
use crate::plant::valve::ValveConfig;
use core::f64::consts::PI;
use toml::Spanned;

/// A conductance in the unit of ISO 6358, dm3/(s bar), is so much of one in m3/(s Pa).
const PER_SI: f64 = 1e8;
/// Difference of the switches of lock-up valves and tanks, Pa (own choice).
const DIFFERENCE_PA: f64 = 0.2e5;
/// Length of a line whose bore alone is given, m.
const LINE_M: f64 = 5.0;
/// Break-away force beside friction while moving, where none is given: that of the reference actuator [PL-31].
const STATIC_RATIO: f64 = 168.0 / 140.0;
/// Length of a tube whose bore alone is given, m.
const TUBE_M: f64 = 0.5;

fn dm3(per_s_bar: f64) -> Restriction {
    Restriction::usual(per_s_bar / PER_SI)
}

/// Puts in what a table gives; tells whether it gives anything of the computed valve.
pub(super) fn parts(t: &ValveTable, c: &mut ValveConfig) -> Result<bool, Fault> {
    put(&mut c.moving.stroke_m, &t.stroke_mm, "stroke_mm", "mm", 1.0..=1000.0, 1e3)?;
    actuator(t, c)?;
    tube(t, c)?;
    moving(t, c)?;
    let turn_rad = match &t.part_turn {
        Some(table) => Some(part_turn(table.get_ref(), c)?),
        None => None,
    };
    if let Some(s) = &t.supply {
        supply(s.get_ref(), c)?;
    }
    if let Some(s) = &t.stage {
        stage(s.get_ref(), c)?;
    }
    linkage(t.linkage.as_ref().map(Spanned::get_ref), turn_rad, c)?;
    if let Some(s) = &t.sensor {
        sensor(s.get_ref(), c)?;
    }
    if let Some(f) = &t.fail {
        fail(f.get_ref(), c)?;
    }
    Ok(t.says_something())
}

fn actuator(t: &ValveTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let actings =
        [("air_opens", Action::AirOpens), ("air_closes", Action::AirCloses), ("double", Action::Double)];
    let action = match &t.acting {
        Some(word) => words::one_of(word, "acting", &actings)?,
        None => Action::AirOpens,
    };
    let is_double = action == Action::Double;
    if !is_double {
        let wrong = "a single-acting actuator has air on one side";
        refuse(at(&t.closing_area_cm2), wrong, "leave closing_area_cm2 out, or give acting = \"double\"")?;
        let wrong = "a single-acting actuator has its spring against the air";
        refuse(at(&t.spring), wrong, "leave spring out, or give acting = \"double\"")?;
    }
    let area_m2 = |n, key| given(n, key, "cm2", 1.0..=20_000.0).map(|x| x.map(|x| x / 1e4));
    let first = area_m2(&t.area_cm2, "area_cm2")?.unwrap_or(c.actuator.chambers[0].area_m2);
    let second = area_m2(&t.closing_area_cm2, "closing_area_cm2")?.unwrap_or(first);
    // The fitting's volume is counted apart.
    let dead_l = given(&t.dead_volume_l, "dead_volume_l", "l", 0.001..=1000.0)?;
    let dead_m3 = dead_l.map(|l| (l / 1e3 - c.tubing.volume_m3).max(1e-6));
    put(&mut c.exponent, &t.polytropic_exponent, "polytropic_exponent", "", 1.0..=1.4, 1.0)?;
    let pushes = match (action, &t.spring) {
        (Action::AirOpens, _) => Some(Pushes::Closed),
        (Action::AirCloses, _) => Some(Pushes::Open),
        (Action::Double, None) => None,
        (Action::Double, Some(word)) => {
            let springs = [("none", None), ("closes", Some(Pushes::Closed)), ("opens", Some(Pushes::Open))];
            words::one_of(word, "spring", &springs)?
        }
    };
    c.actuator.action = action;
    for (chamber, area_m2) in c.actuator.chambers.iter_mut().zip([first, second]) {
        *chamber = ChamberSize { area_m2, dead_volume_m3: dead_m3.unwrap_or(chamber.dead_volume_m3) };
    }
    c.actuator.spring = match pushes {
        Some(pushes) => {
            let against = if is_double && pushes == Pushes::Open { second } else { first };
            Some(spring(t, pushes, against, c.moving.stroke_m)?)
        }
        None => {
            let right = "leave it out, or give spring = \"closes\" or \"opens\"";
            for key in [&t.spring_from_bar, &t.spring_to_bar, &t.spring_preload_n, &t.spring_rate_n_per_mm] {
                refuse(at(key), "this double-acting actuator has no spring", right)?;
            }
            None
        }
    };
    Ok(())
}

/// The spring against which air acts on `area_m2`.
fn spring(t: &ValveTable, pushes: Pushes, area_m2: f64, stroke_m: f64) -> Result<Spring, Fault> {
    let preload = given(&t.spring_preload_n, "spring_preload_n", "N", 0.0..=1e6)?;
    let rate = given(&t.spring_rate_n_per_mm, "spring_rate_n_per_mm", "N/mm", 0.0..=1e5)?;
    let forces = at(&t.spring_preload_n).or(at(&t.spring_rate_n_per_mm));
    if forces.is_some() {
        let wrong = "the spring is given by its pressures and by its forces";
        let right = "give spring_from_bar and spring_to_bar, or spring_preload_n and spring_rate_n_per_mm";
        refuse(at(&t.spring_from_bar).or(at(&t.spring_to_bar)), wrong, right)?;
    }
    match (preload, rate) {
        (Some(preload_n), Some(rate)) => return Ok(Spring { pushes, preload_n, rate_n_per_m: rate * 1e3 }),
        (None, None) => {}
        _ => {
            let wrong = "of a spring's force one has to know where it begins and how it rises";
            refuse(forces, wrong, "give both spring_preload_n and spring_rate_n_per_mm")?;
        }
    }
    let from = given(&t.spring_from_bar, "spring_from_bar", "bar", 0.0..=20.0)?.unwrap_or(0.2);
    let to = given(&t.spring_to_bar, "spring_to_bar", "bar", 0.0..=20.0)?.unwrap_or(1.0);
    if to < from {
        let key = at(&t.spring_to_bar).or(at(&t.spring_from_bar));
        let wrong = format!("the spring's range would end at {to} bar, below its begin of {from} bar");
        refuse(key, &wrong, "give a spring_to_bar not below spring_from_bar (1.0 and 0.2 bar unless given)")?;
    }
    // 1 bar on 1 m2 are 1e5 N; the last bits are the units' and no force.
    let n = |bar: f64| (bar * 1e5 * area_m2 * 1e6).round() / 1e6;
    Ok(Spring { pushes, preload_n: n(from), rate_n_per_m: n(to - from) / stroke_m })
}

fn tube(t: &ValveTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let bore = given(&t.tube_bore_mm, "tube_bore_mm", "mm", 0.5..=50.0)?;
    let length = given(&t.tube_length_m, "tube_length_m", "m", 0.01..=100.0)?;
    let Some(bore_m) = bore.map(|mm| mm / 1e3) else {
        return refuse(at(&t.tube_length_m), "this tube has no bore", "give tube_bore_mm too");
    };
    let length_m = length.unwrap_or(TUBE_M);
    c.tubing.restriction = Restriction::line(bore_m, length_m);
    c.tubing.volume_m3 = (PI / 4.0 * bore_m * bore_m * length_m).max(1e-6);
    Ok(())
}

fn moving(t: &ValveTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let spring = c.actuator.spring;
    let m = &mut c.moving;
    put(&mut m.mass_kg, &t.mass_kg, "mass_kg", "kg", 0.01..=10_000.0, 1.0)?;
    let friction = &mut m.friction;
    put(&mut friction.coulomb_n, &t.friction_n, "friction_n", "N", 0.0..=1e6, 1.0)?;
    if let Some(percent) = given(&t.friction_percent, "friction_percent", "%", 0.0..=100.0)? {
        let (wrong, right) = ("friction is given twice", "give friction_n or friction_percent");
        refuse(at(&t.friction_n).and(at(&t.friction_percent)), wrong, right)?;
        let range_n = spring.map_or(0.0, |s| s.rate_n_per_m * m.stroke_m);
        if range_n <= 0.0 {
            let wrong = "friction_percent is a share of the spring's range, and this valve has none";
            refuse(at(&t.friction_percent), wrong, "give friction_n")?;
        }
        friction.coulomb_n = range_n * percent / 100.0;
    }
    let ratio = given(&t.static_friction_ratio, "static_friction_ratio", "", 1.0..=10.0)?;
    friction.static_n = friction.coulomb_n * ratio.unwrap_or(STATIC_RATIO);
    put(
        &mut friction.stribeck_m_per_s,
        &t.stribeck_mm_per_s,
        "stribeck_mm_per_s",
        "mm/s",
        0.001..=100.0,
        1e3,
    )?;
    put(
        &mut friction.viscous_n_s_per_m,
        &t.drag_n_s_per_mm,
        "drag_n_s_per_mm",
        "N s/mm",
        0.0..=10_000.0,
        1e-3,
    )?;
    put(&mut m.seat.grip_n, &t.seat_grip_n, "seat_grip_n", "N", 0.0..=1e6, 1.0)?;
    let (shut, open) = (&t.process_force_shut_n, &t.process_force_open_n);
    put(&mut c.process.shut_n, shut, "process_force_shut_n", "N", -1e6..=1e6, 1.0)?;
    put(&mut c.process.open_n, open, "process_force_open_n", "N", -1e6..=1e6, 1.0)
}

/// Gives the piston a shaft; returns how far that turns, rad.
fn part_turn(t: &PartTurnTable, c: &mut ValveConfig) -> Result<f64, Fault> {
    let turn_rad = given(&t.turn_deg, "turn_deg", "degrees", 10.0..=120.0)?.unwrap_or(90.0).to_radians();
    let is_yoke = match &t.transmission {
        Some(word) => words::one_of(word, "transmission", &[("rack", false), ("yoke", true)])?,
        None => false,
    };
    let m = &mut c.moving;
    m.transmission = match is_yoke {
        false => Transmission::Rack { radius_m: m.stroke_m / turn_rad },
        true => Transmission::Yoke { distance_m: m.stroke_m / 2.0 / (turn_rad / 2.0).tan() },
    };
    let shaft = &mut m.shaft;
    put(&mut shaft.running_nm, &t.running_torque_nm, "running_torque_nm", "N m", 0.0..=1e5, 1.0)?;
    shaft.break_nm = shaft.running_nm;
    put(&mut shaft.break_nm, &t.break_torque_nm, "break_torque_nm", "N m", 0.0..=1e5, 1.0)?;
    let over = given(&t.break_over_deg, "break_over_deg", "degrees", 0.0..=90.0)?;
    shaft.fade_rad = over.unwrap_or(5.0).to_radians();
    put(&mut shaft.inertia_kg_m2, &t.inertia_kg_m2, "inertia_kg_m2", "kg m2", 0.0..=1e4, 1.0)?;
    Ok(turn_rad)
}

fn supply(t: &SupplyTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let s = &mut c.supply;
    put(&mut s.header_gauge_pa, &t.header_bar, "header_bar", "bar", 0.0..=20.0, 1e-5)?;
    if let Some(regulator) = &mut s.regulator {
        put(&mut regulator.band_pa, &t.droop_bar, "droop_bar", "bar", 0.001..=10.0, 1e-5)?;
        let (n, key) = (&t.regulator_dm3_per_s_bar, "regulator_dm3_per_s_bar");
        put(&mut regulator.restriction.conductance_m3_per_s_pa, n, key, "dm3/(s bar)", CONDUCTANCE, PER_SI)?;
    }
    let (n, key) = (&t.filter_dm3_per_s_bar, "filter_dm3_per_s_bar");
    put(&mut s.filter.conductance_m3_per_s_pa, n, key, "dm3/(s bar)", CONDUCTANCE, PER_SI)?;
    let bore = given(&t.line_bore_mm, "line_bore_mm", "mm", 0.5..=50.0)?;
    let length = given(&t.line_length_m, "line_length_m", "m", 0.01..=500.0)?;
    let Some(bore_m) = bore.map(|mm| mm / 1e3) else {
        return refuse(at(&t.line_length_m), "this line has no bore", "give line_bore_mm too");
    };
    let length_m = length.unwrap_or(LINE_M);
    s.line = Restriction::line(bore_m, length_m);
    // Half of the line's own volume stands at each of its ends.
    let half_m3 = PI / 8.0 * bore_m * bore_m * length_m;
    s.inlet_volume_m3 = (s.inlet_volume_m3 + half_m3).min(1.0);
    s.regulated_volume_m3 = (s.regulated_volume_m3 + half_m3).min(1.0);
    Ok(())
}

fn stage(t: &StageTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let s = &mut c.stage;
    let is_blocked = match &t.at_rest {
        Some(word) => words::one_of(word, "at_rest", &[("blocked", true), ("pressurised", false)])?,
        None => true,
    };
    let band = given(&t.dead_band_percent, "dead_band_percent", "%", 0.0..=90.0)?;
    let opening = given(&t.rest_opening_percent, "rest_opening_percent", "%", 0.1..=50.0)?;
    if is_blocked {
        let wrong = "a stage that is blocked at rest has nothing open then";
        refuse(at(&t.rest_opening_percent), wrong, "leave it out, or give at_rest = \"pressurised\"")?;
        s.kind = StageKind::BlockedAtRest { dead_band: band.unwrap_or(2.0) / 100.0 };
    } else {
        let wrong = "a stage that is pressurised at rest has no dead band";
        refuse(at(&t.dead_band_percent), wrong, "leave it out, or give at_rest = \"blocked\"")?;
        s.kind = StageKind::PressurisedAtRest { rest_opening: opening.unwrap_or(5.0) / 100.0 };
    }
    put(&mut s.lag_s, &t.lag_ms, "lag_ms", "ms", 0.0..=10_000.0, 1e3)?;
    for (to, n, key, range) in [
        (&mut s.fill, &t.fill_dm3_per_s_bar, "fill_dm3_per_s_bar", CONDUCTANCE),
        (&mut s.exhaust, &t.exhaust_dm3_per_s_bar, "exhaust_dm3_per_s_bar", CONDUCTANCE),
        (&mut s.bleed, &t.bleed_dm3_per_s_bar, "bleed_dm3_per_s_bar", 0.0..=1.0),
    ] {
        put(&mut to.conductance_m3_per_s_pa, n, key, "dm3/(s bar)", range, PER_SI)?;
    }
    Ok(())
}

/// The linkage of a stem, or of a shaft that turns by `turn_rad`.
fn linkage(t: Option<&LinkageTable>, turn_rad: Option<f64>, c: &mut ValveConfig) -> Result<(), Fault> {
    let stroke_m = c.moving.stroke_m;
    let Some(t) = t else {
        c.linkage = LinkageConfig::new(match turn_rad {
            Some(turn_rad) => Law::part_turn_for(turn_rad),
            None => Law::tangent_for(stroke_m, 30f64.to_radians()),
        });
        return Ok(());
    };
    let laws = [("tangent", "tangent"), ("sine", "sine"), ("coupling", "coupling")];
    let law = match &t.law {
        Some(word) => words::one_of(word, "law", &laws)?,
        None if turn_rad.is_some() => "coupling",
        None => "tangent",
    };
    if let Some(word) = &t.law
        && (law == "coupling") != turn_rad.is_some()
    {
        let (wrong, right) = match turn_rad {
            Some(_) => {
                ("a part-turn valve has a coupling and no lever", "give law = \"coupling\", or leave it out")
            }
            None => {
                ("a coupling needs a shaft that turns", "give a [device.valve.part_turn], or another law")
            }
        };
        return Err(Fault::new(&word.span(), wrong, right));
    }
    let square =
        given(&t.square_at_percent, "square_at_percent", "%", -100.0..=200.0)?.unwrap_or(50.0) / 100.0;
    let lever = given(&t.lever_mm, "lever_mm", "mm", 1.0..=1000.0)?.map(|mm| mm / 1e3);
    let turns = given(&t.lever_turn_deg, "lever_turn_deg", "degrees", 5.0..=150.0)?;
    let misaligned = given(&t.misaligned_deg, "misaligned_deg", "degrees", 0.0..=30.0)?;
    let play = given(&t.play_mm, "play_mm", "mm", 0.0..=50.0)?;
    let play_deg = given(&t.play_deg, "play_deg", "degrees", 0.0..=2.8)?;
    if law == "coupling" {
        for key in [&t.lever_mm, &t.lever_turn_deg, &t.play_mm] {
            refuse(
                at(key),
                "a coupling has no lever",
                "leave it out; a coupling has misaligned_deg and play_deg",
            )?;
        }
    } else {
        for key in [&t.misaligned_deg, &t.play_deg] {
            refuse(at(key), "this belongs to a coupling", "leave it out; a lever has play_mm")?;
        }
        if lever.is_some() {
            let (wrong, right) = ("the lever is given twice", "give lever_mm or lever_turn_deg");
            refuse(at(&t.lever_turn_deg), wrong, right)?;
        }
    }
    let half_rad = turns.unwrap_or(60.0).to_radians() / 2.0;
    let square_at_m = square * stroke_m;
    let law = match law {
        "tangent" => {
            let distance_m = lever.unwrap_or(stroke_m / 2.0 / half_rad.tan());
            Law::Tangent { distance_m, square_at_m }
        }
        "sine" => Law::Sine { radius_m: lever.unwrap_or(stroke_m / 2.0 / half_rad.sin()), square_at_m },
        _ => Law::PartTurn {
            square_at_rad: square * turn_rad.unwrap_or(0.0),
            misaligned_rad: misaligned.unwrap_or(0.0).to_radians(),
        },
    };
    c.linkage = LinkageConfig::new(law);
    c.linkage.play_m_or_rad = play.map_or(0.0, |mm| mm / 1e3) + play_deg.map_or(0.0, f64::to_radians);
    if t.falling.as_ref().is_some_and(|f| *f.get_ref()) {
        c.linkage.sense = Sense::Falling;
    }
    Ok(())
}

fn sensor(t: &SensorTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let s = &mut c.sensor;
    let rad_per_deg = PI / 180.0;
    let deg = "degrees";
    put(&mut s.min_rad, &t.from_deg, "from_deg", deg, -180.0..=180.0, 1.0 / rad_per_deg)?;
    put(&mut s.max_rad, &t.to_deg, "to_deg", deg, -180.0..=180.0, 1.0 / rad_per_deg)?;
    s.resolution_rad = (s.max_rad - s.min_rad).max(0.0) / 16_384.0;
    put(&mut s.resolution_rad, &t.resolution_deg, "resolution_deg", deg, 0.0..=5.0, 1.0 / rad_per_deg)?;
    put(&mut s.noise_rms_rad, &t.noise_deg, "noise_deg", deg, 0.0..=5.0, 1.0 / rad_per_deg)?;
    put(&mut s.interval_s, &t.interval_ms, "interval_ms", "ms", 0.0..=1000.0, 1e3)
}

fn fail(t: &FailTable, c: &mut ValveConfig) -> Result<(), Fault> {
    let is_double = c.actuator.action == Action::Double;
    let opens = |flag: &Option<Spanned<bool>>| flag.as_ref().is_some_and(|f| *f.get_ref());
    let passes = "dm3/(s bar)";
    match given(&t.trip_dm3_per_s_bar, "trip_dm3_per_s_bar", passes, CONDUCTANCE)? {
        Some(x) => c.fail.trip = Some(TripConfig { vent: dm3(x), feed: dm3(x), opens: opens(&t.trip_opens) }),
        None => refuse(at(&t.trip_opens), "this valve has no trip valve", "give trip_dm3_per_s_bar too")?,
    }
    if !is_double {
        let wrong = "where a single-acting valve goes, its spring decides";
        refuse(at(&t.trip_opens), wrong, "leave trip_opens out, or give acting = \"double\"")?;
        let wrong = "a tank is for a double-acting actuator: a single-acting one has a spring";
        refuse(at(&t.tank_l), wrong, "leave tank_l out, or give acting = \"double\"")?;
    }
    let leak = given(&t.lock_up_leak_dm3_per_s_bar, "lock_up_leak_dm3_per_s_bar", passes, 0.0..=1.0)?;
    match given(&t.lock_up_below_bar, "lock_up_below_bar", "bar", 0.01..=10.0)? {
        Some(bar) => {
            c.fail.lock_up = Some(LockUpConfig {
                closes_below_gauge_pa: bar * 1e5,
                difference_pa: DIFFERENCE_PA,
                leak: dm3(leak.unwrap_or(0.0)),
            });
        }
        None => refuse(
            at(&t.lock_up_leak_dm3_per_s_bar),
            "this valve has no lock-up valve",
            "give lock_up_below_bar too",
        )?,
    }
    let tank_passes = given(&t.tank_dm3_per_s_bar, "tank_dm3_per_s_bar", passes, CONDUCTANCE)?.unwrap_or(1.0);
    let below = given(&t.tank_below_bar, "tank_below_bar", "bar", 0.01..=10.0)?.unwrap_or(2.0);
    match given(&t.tank_l, "tank_l", "l", 0.1..=10_000.0)? {
        Some(l) => {
            let way = dm3(tank_passes);
            c.fail.stored_air = Some(StoredAirConfig {
                tank: TankConfig { volume_m3: l / 1e3, check_valve: way },
                feed: way,
                vent: way,
                switches_below_gauge_pa: below * 1e5,
                difference_pa: DIFFERENCE_PA,
                opens: opens(&t.tank_opens),
            });
            Ok(())
        }
        None => {
            let key = at(&t.tank_opens).or(at(&t.tank_below_bar)).or(at(&t.tank_dm3_per_s_bar));
            refuse(key, "this valve has no tank", "give tank_l too")
        }
    }
}
