//! `[device.valve]` as a valve that can be computed [PL-40].

mod parts;

use super::shape::Number;
use super::shape::valve::{ValveFaultTable, ValveTable};
use super::{Fault, number, words};
use crate::bench::plan::{ValveFaultPlan, ValvePlan};
use crate::plant::ConfigError;
use crate::plant::fault::FaultName;
use crate::plant::follower::Follower;
use crate::plant::linkage::Law;
use crate::plant::transmission::Transmission;
use crate::plant::valve::{ValveConfig, possible};
use crate::time::Instant;
use core::ops::{Range, RangeInclusive};
use core::time::Duration;
use toml::Spanned;

/// Conductance of what is narrow enough to be set, dm3/(s bar).
const CONDUCTANCE: RangeInclusive<f64> = 0.001..=100.0;
/// When a fault may come and go, s of a recorded run.
const RUN_S: RangeInclusive<f64> = 0.0..=3600.0;

/// The header's pressure unless it is given, bar gauge, and how much more than the regulator's it is at least.
const HEADER_BAR: (f64, f64) = (6.0, 1.0);

/// A number of a table, if it is given.
fn given(
    n: &Option<Spanned<Number>>,
    key: &str,
    unit: &str,
    range: RangeInclusive<f64>,
) -> Result<Option<f64>, Fault> {
    n.as_ref().map(|n| number(n, key, unit, range)).transpose()
}

/// The same, put where it belongs, divided by `per`.
fn put(
    to: &mut f64,
    n: &Option<Spanned<Number>>,
    key: &str,
    unit: &str,
    range: RangeInclusive<f64>,
    per: f64,
) -> Result<(), Fault> {
    if let Some(x) = given(n, key, unit, range)? {
        *to = x / per;
    }
    Ok(())
}

fn at<T>(key: &Option<Spanned<T>>) -> Option<Range<usize>> {
    key.as_ref().map(Spanned::span)
}

/// Refuses a key that means nothing here.
fn refuse(key: Option<Range<usize>>, wrong: &str, right: &str) -> Result<(), Fault> {
    key.map_or(Ok(()), |at| Err(Fault::new(&at, wrong, right)))
}

/// The valve of a positioner whose regulator is set to `supply_bar`, bar gauge.
pub(super) fn valve(table: Option<&Spanned<ValveTable>>, supply_bar: f64) -> Result<ValvePlan, Fault> {
    let mut config = ValveConfig::reference();
    config.supply.header_gauge_pa = HEADER_BAR.0.max(supply_bar + HEADER_BAR.1).min(20.0) * 1e5;
    if let Some(regulator) = &mut config.supply.regulator {
        regulator.set_gauge_pa = supply_bar * 1e5;
    }
    let mut plan = ValvePlan {
        config,
        follower: Follower::default(),
        faults: Vec::new(),
        is_described: false,
        is_calibrated: false,
    };
    let Some(table) = table else { return Ok(plan) };
    let t = table.get_ref();
    plan.is_described = parts::parts(t, &mut plan.config)?;
    if plan.is_described {
        let of_the_lag =
            [&t.time_constant_s, &t.travel_percent, &t.lever_angle_closed_deg, &t.lever_angle_open_deg];
        let wrong = "this is of a valve whose travel lags, and this one is computed";
        let right = "leave it out: how the valve moves follows from the other keys of [device.valve]";
        refuse(of_the_lag.into_iter().find_map(at), wrong, right)?;
    }
    if let Some(f) = t.follower.as_ref().map(Spanned::get_ref) {
        let follower = &mut plan.follower;
        let (gain, band) = (&f.gain_percent_per_percent, &f.dead_band_percent);
        put(&mut follower.gain_per_percent, gain, "gain_percent_per_percent", "%", 0.1..=1000.0, 100.0)?;
        put(&mut follower.dead_band_percent, band, "dead_band_percent", "%", 0.0..=50.0, 1.0)?;
    }
    plan.config.check().map_err(|e| blamed(table, &plan.config, &e))?;
    plan.faults = t.fault.iter().map(|table| fault(table, &plan.config)).collect::<Result<_, _>>()?;
    Ok(plan)
}

/// A combination that no single key is to blame for, told at the key that is the likeliest, in its words.
fn blamed(table: &Spanned<ValveTable>, config: &ValveConfig, e: &ConfigError) -> Fault {
    if let Some(fault) = blamed_length(table, config, e) {
        return fault;
    }
    let t = table.get_ref();
    let linkage = t.linkage.as_ref().map(Spanned::get_ref);
    let sensor = t.sensor.as_ref().map(Spanned::get_ref);
    let turn = t.part_turn.as_ref().map(Spanned::get_ref);
    let lever = || {
        let l = linkage?;
        at(&l.lever_mm).or(at(&l.lever_turn_deg)).or(at(&l.square_at_percent)).or(at(&t.linkage))
    };
    let (key, right) = match e.field {
        "sensor" => (
            sensor.and_then(|s| at(&s.to_deg).or(at(&s.from_deg))).or_else(lever),
            "give a lever that turns less, or a sensor with more range",
        ),
        "min_rad" | "max_rad" => {
            (sensor.and_then(|s| at(&s.to_deg).or(at(&s.from_deg))), "give a from_deg below the to_deg")
        }
        "resolution_rad" => (
            sensor.and_then(|s| at(&s.resolution_deg)),
            "give a resolution_deg of at most an eighth of the sensor's range",
        ),
        "break_nm" => (
            turn.and_then(|p| at(&p.break_torque_nm).or(at(&p.running_torque_nm))),
            "give a break_torque_nm not below running_torque_nm",
        ),
        "linkage" => {
            (linkage.and_then(|l| at(&l.law)), "give law = \"coupling\" to a part-turn valve and no other")
        }
        "dead_volume_m3" => (at(&t.dead_volume_l), "give a larger dead_volume_l"),
        "rate_n_per_m" | "preload_n" => (
            at(&t.spring_to_bar).or(at(&t.spring_from_bar)).or(at(&t.stroke_mm)),
            "give a longer stroke_mm, a smaller area_cm2, or spring_from_bar and spring_to_bar closer together",
        ),
        "volume_m3" | "tubing_volume_m3" => {
            (at(&t.tube_length_m).or(at(&t.tube_bore_mm)), "give a shorter or a narrower tube")
        }
        _ => (lever().or_else(|| at(&t.stroke_mm)), "change that key"),
    };
    let (shaft, own) = (&config.moving.shaft, &config.sensor);
    let deg = |rad: f64| (rad.to_degrees() * 1e3).round() / 1e3;
    let wrong = match e.field {
        "break_nm" => format!(
            "the torque to break it away is {} N m, below the {} N m that it takes while it turns",
            shaft.break_nm, shaft.running_nm
        ),
        "min_rad" | "max_rad" => {
            format!("the sensor's range would go from {} to {} degrees", deg(own.min_rad), deg(own.max_rad))
        }
        "resolution_rad" => format!(
            "steps of {} degrees are too coarse for a range of {} degrees",
            deg(own.resolution_rad),
            deg(own.max_rad - own.min_rad)
        ),
        "rate_n_per_m" | "preload_n" => {
            let (preload_n, rate_n_per_m) =
                config.actuator.spring.map_or((0.0, 0.0), |s| (s.preload_n, s.rate_n_per_m));
            format!(
                "with this area and stroke the spring would push with {preload_n:.0} N and {:.0} N more for each mm: \
                 at most 10000000 N and 1000000 N/mm can be",
                rate_n_per_m / 1e3
            )
        }
        _ => format!("this valve cannot be: {e}"),
    };
    Fault::new(&key.unwrap_or_else(|| table.span()), wrong, right)
}

/// Lengths, mm, that follow from a stroke and a turn.
const LENGTH_MM: RangeInclusive<f64> = 1.0..=1000.0;

/// A length that follows from other keys and cannot be, told in mm.
fn blamed_length(table: &Spanned<ValveTable>, config: &ValveConfig, e: &ConfigError) -> Option<Fault> {
    let t = table.get_ref();
    if !matches!(e.field, "radius_m" | "distance_m") {
        return None;
    }
    let stroke_mm = config.moving.stroke_m * 1e3;
    let by_turn = match config.moving.transmission {
        Transmission::Rack { radius_m } => Some((radius_m, "the pinion's radius")),
        Transmission::Yoke { distance_m } => Some((distance_m, "the yoke's distance")),
        Transmission::Stem => None,
    };
    let (length_m, what, key, right) = match (by_turn, config.linkage.law) {
        (Some((length_m, what)), _) => {
            let turn = t.part_turn.as_ref().and_then(|p| at(&p.get_ref().turn_deg));
            (length_m, what, turn, "give another stroke_mm or turn_deg")
        }
        (None, Law::Tangent { distance_m: length_m, .. } | Law::Sine { radius_m: length_m, .. }) => {
            let linkage = t.linkage.as_ref().map(Spanned::get_ref);
            let key = linkage.and_then(|l| at(&l.lever_mm).or(at(&l.lever_turn_deg)));
            (length_m, "the lever", key, "give a lever_mm, or another lever_turn_deg")
        }
        (None, Law::PartTurn { .. }) => return None,
    };
    let length_mm = length_m * 1e3;
    let wrong = if LENGTH_MM.contains(&length_mm) {
        let (square_m, far) = match config.linkage.law {
            Law::Tangent { square_at_m, .. } => (square_at_m, 80f64.to_radians().tan()),
            Law::Sine { square_at_m, .. } => (square_at_m, 80f64.to_radians().sin()),
            Law::PartTurn { .. } => return None,
        };
        let way_m = square_m.abs().max((config.moving.stroke_m - square_m).abs());
        format!(
            "{what} of {length_mm:.2} mm is too short: {:.2} mm of the stem's way to one side of square take {:.2} mm at least, \
             for it turns 80 degrees at most",
            way_m * 1e3,
            way_m / far * 1e3
        )
    } else {
        format!(
            "with a stroke of {stroke_mm} mm {what} is {length_mm:.2} mm, outside {} to {} mm",
            LENGTH_MM.start(),
            LENGTH_MM.end()
        )
    };
    let key = key.or(at(&t.stroke_mm)).unwrap_or_else(|| table.span());
    Some(Fault::new(&key, wrong, right))
}

/// Something that is wrong with it for a time.
fn fault(table: &Spanned<ValveFaultTable>, config: &ValveConfig) -> Result<ValveFaultPlan, Fault> {
    let t = table.get_ref();
    let (Some(word), Some(severity)) = (&t.name, &t.severity) else {
        let missing = if t.name.is_none() { "name" } else { "severity" };
        let right = "give both, such as name = \"filter_blocked\" and severity = 0.6; \
                     looprig valve --faults lists them";
        return Err(Fault::new(&table.span(), format!("this fault has no {missing}"), right));
    };
    let name = words::one_of(word, "name", &FaultName::ALL.map(|name| (name.word(), name)))?;
    possible(config, name).map_err(|e| {
        Fault::new(&word.span(), format!("this valve cannot have it: {}", e.why), "leave this fault out")
    })?;
    let how_bad = number(severity, "severity", "", 0.0..=1.0)?;
    if how_bad == 0.0 {
        let right = "give a severity above 0, or leave the fault out";
        return Err(Fault::new(&severity.span(), "a severity of 0 is no fault", right));
    }
    let time = |n: &Option<Spanned<Number>>, key: &str| {
        let s = given(n, key, "s", RUN_S)?;
        Ok(s.map(|s| Instant::ZERO + Duration::from_secs_f64(s)))
    };
    let (from, until) = (time(&t.from_s, "from_s")?, time(&t.until_s, "until_s")?);
    if let (Some(until), Some(key)) = (until, &t.until_s)
        && until <= from.unwrap_or(Instant::ZERO)
    {
        let wrong = "this fault ends before it begins";
        return Err(Fault::new(&key.span(), wrong, "give until_s a later time than from_s"));
    }
    Ok(ValveFaultPlan { name, severity: how_bad, from, until })
}
