//! Air, current or trip input are lost: where the valve goes, and what takes it there, read from its forces [PL-42].

use super::motions::{Run, SEEN_PERCENT, air, begin, demand, finish, part, places, stop_is_right, travel};
use super::rig::{Rig, Trouble};
use crate::cli::valve_args::Lost;
use crate::commission::response::first_departure;
use crate::plant::actuator::{Action, Pushes};
use crate::plant::fail::Hold;
use crate::plant::motion::Stop;
use crate::plant::valve::Readings;
use crate::report::trace::Findings;
use core::time::Duration;

/// A chamber with less is empty, Pa gauge (own choice).
const EMPTY_PA: f64 = 2e3;
/// A smaller force is none, N (own choice).
const FORCE_N: f64 = 1.0;
/// A way that is less than that is none, % of the stroke (own choice).
const STAYS_PERCENT: f64 = 1.0;

/// Loses something at a place and looks where the valve goes.
pub(super) fn fail(rig: &mut Rig, what: Lost, from: f64, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let lost = match what {
        Lost::Air => "the air supply",
        Lost::Current => "the loop current",
        Lost::Trip => "the trip input",
    };
    if what == Lost::Trip && rig.config.fail.trip.is_none() {
        let wrong = "the valve has no trip valve that could be de-energised".to_owned();
        return Err((wrong, "give its [device.valve.fail] a trip_dm3_per_s_bar"));
    }
    let title = format!("loss of {lost} at {from} %");
    let mut found = Findings::new(format!("loss of {lost}"));
    let before = demand(rig, from);
    begin(rig, before, how_long, &mut found)?;
    let begun_s = rig.time_s();
    rig.mark(format!("{lost} is lost"));
    match what {
        Lost::Air => {
            let refused =
                |e| (format!("the header cannot be emptied: {e}"), "this is a fault of looprig: report it");
            rig.valve().set_header_gauge_pa(0.0).map_err(refused)?;
        }
        Lost::Current => rig.valve().set_powered(false),
        Lost::Trip => rig.valve().set_trip_energised(false),
    }
    finish(rig, how_long, &mut found)?;
    let way = part(rig, begun_s, f64::INFINITY);
    let all = travel(way);
    let r = rig.readings();
    let since = |t: Option<f64>| t.map(|t| t - begun_s);
    let start = all.first().map_or(0.0, |s| s.1);
    found.add("start_percent", "true travel before", start, "%", 2);
    let moves_s = first_departure(&all, start, SEEN_PERCENT);
    found.add("first_motion_s", "first motion after", since(moves_s), "s", 3);
    // It may have stood there all the time.
    let arrives = |s: &f64| moves_s.is_some_and(|moves| *s >= moves);
    let at_stop =
        r.stop.and_then(|stop| way.iter().filter(|s| s.stop == Some(stop)).map(|s| s.time_s).find(arrives));
    found.add("end_stop_s", "end stop after", since(at_stop), "s", 3);
    places(rig, &mut found);
    air(rig, begun_s, &mut found);
    let wanted = fail_stop(rig, what, r.hold);
    found.remarks.push(where_it_went(rig, &r, start, wanted));
    let mut arrived = stop_is_right(rig, &mut found);
    if let Some(wanted) = wanted.filter(|wanted| r.stop != Some(*wanted)) {
        found
            .remarks
            .push(format!("It does not reach its {} stop, to which this loss is to take it.", word(wanted)));
        arrived = false;
    }
    Ok(Run { title, findings: vec![found], arrived })
}

fn word(stop: Stop) -> &'static str {
    if stop == Stop::Open { "open" } else { "closed" }
}

/// The stop to which a loss is to take the valve [PL-32]; `None`: it has to stay, or nothing decides.
fn fail_stop(rig: &Rig, what: Lost, hold: Hold) -> Option<Stop> {
    let (fail, actuator) = (&rig.config.fail, &rig.config.actuator);
    let end = |opens: bool| if opens { Stop::Open } else { Stop::Closed };
    let spring = actuator.spring.map(|s| end(s.pushes == Pushes::Open));
    match hold {
        Hold::Locked => None,
        _ if actuator.action != Action::Double => spring,
        Hold::Stored => fail.stored_air.map(|s| end(s.opens)),
        Hold::Tripped if what == Lost::Trip => fail.trip.map(|t| end(t.opens)),
        // Output 1 vents and output 2 fills.
        Hold::Stage if what == Lost::Current => Some(Stop::Closed),
        Hold::Stage | Hold::Tripped => spring,
    }
}

/// Where it stands, and by what, from its readings alone.
fn where_it_went(rig: &Rig, r: &Readings, start: f64, wanted: Option<Stop>) -> String {
    let moved = (r.travel_percent - start).abs() >= STAYS_PERCENT;
    let place = match r.stop {
        Some(stop) if moved => format!("It goes to its {} stop", word(stop)),
        Some(stop) => format!("It stays at its {} stop", word(stop)),
        None if !moved => "It stays where it was".to_owned(),
        None => format!("It stands at {:.1} %", r.travel_percent),
    };
    let who = match r.hold {
        Hold::Stage => "",
        Hold::Tripped => " The trip valve has the actuator.",
        Hold::Stored => " The tank has the actuator.",
        Hold::Locked if !is_empty(rig, r) => {
            return format!("{place}: the lock-up valve keeps the air in; what leaks decides for how long.");
        }
        Hold::Locked => " The lock-up valve is closed, but its air is gone.",
    };
    format!("{place}: {}.{who}", by(rig, r, wanted))
}

/// The chambers that get air, Pa gauge.
fn chambers<'a>(rig: &Rig, r: &'a Readings) -> &'a [f64] {
    let fed = if rig.config.actuator.action == Action::Double { 2 } else { 1 };
    &r.chamber_gauge_pa[..fed]
}

fn is_empty(rig: &Rig, r: &Readings) -> bool {
    chambers(rig, r).iter().all(|pa| pa.abs() < EMPTY_PA)
}

/// What holds it there: of the forces the one that does.
fn by(rig: &Rig, r: &Readings, wanted: Option<Stop>) -> String {
    let double = rig.config.actuator.action == Action::Double;
    let (chambers, empty) = (chambers(rig, r), is_empty(rig, r));
    let sum_n = r.actuator_n + r.spring_n + r.process_n;
    let no_spring = if double && r.spring_n == 0.0 { "; there is no spring" } else { "" };
    let air = match (empty, double) {
        (true, false) => "the chamber is empty".to_owned(),
        (true, true) => "both chambers are empty".to_owned(),
        (false, false) => format!("air is still in the actuator ({:.2} bar g)", chambers[0] / 1e5),
        (false, true) => {
            format!("air is in the chambers ({:.2} and {:.2} bar g)", chambers[0] / 1e5, chambers[1] / 1e5)
        }
    };
    if let Some(stop) = r.stop {
        let way = if stop == Stop::Open { 1.0 } else { -1.0 };
        let forces = [(r.spring_n, "the spring"), (r.actuator_n, "the air"), (r.process_n, "the process")];
        let strongest = forces.into_iter().max_by(|a, b| (a.0 * way).total_cmp(&(b.0 * way)));
        let pushes = strongest.filter(|(n, _)| n * way > FORCE_N && sum_n * way > 0.0);
        return match pushes {
            Some((_, what)) => {
                let against =
                    if wanted.is_some_and(|wanted| wanted != stop) { ", the wrong way" } else { "" };
                format!("{air}, and {what} holds it there{against}{no_spring}")
            }
            None => {
                format!("{air}; nothing but friction holds it there, the process may move it{no_spring}")
            }
        };
    }
    if r.velocity_m_per_s != 0.0 && !r.stuck {
        return format!("{air}, and it is still under way{no_spring}");
    }
    if !empty {
        return format!("{air}{no_spring}");
    }
    if sum_n.abs() < FORCE_N {
        return format!("{air}; nothing but friction holds it, the process may move it{no_spring}");
    }
    format!("{air} and it does not move: friction holds it against {:.0} N", sum_n.abs())
}
