//! What a computed valve is asked to do, and what is found out by that [PL-42].

use super::lost::fail;
use super::rig::{Demand, Rest, Rig, Sample, Trouble};
use crate::cli::valve_args::Motion;
use crate::commission::response::{Response, first_crossing, first_departure};
use crate::plant::actuator::Action;
use crate::plant::fail::Hold;
use crate::plant::motion::Stop;
use crate::report::trace::Findings;
use core::time::Duration;

/// Shown before anything happens.
const LEAD: Duration = Duration::from_secs(1);
/// A stop that is further from its rated end than that has been moved, % of the stroke (own choice).
const STOP_PERCENT: f64 = 0.5;
/// Motion the wrong way that is more than play, % of the stroke (own choice).
const WRONG_WAY_PERCENT: f64 = 1.0;
/// A valve that does not rest by then is told so.
const MOST: Duration = Duration::from_secs(120);
/// Least motion that counts as one, % of the stroke [PL-44].
pub(super) const SEEN_PERCENT: f64 = 0.1;
/// Of a stroke, whose first motion is looked for with force: the very first that there is.
const FIRST_PERCENT: f64 = 0.01;
/// As near to its final place as that counts as settled, % of the stroke.
const SETTLED_PERCENT: f64 = 0.5;
/// Further from its set point than that it did not get there, % of the stroke (own choice).
const ARRIVED_PERCENT: f64 = 2.0;
/// Litres of reference air in a kilogram [PL-01].
const ANR_L_PER_KG: f64 = 1000.0 / 1.185;

/// What came of a motion.
pub struct Run {
    /// Which, a few words.
    pub title: String,
    /// What was found, a part for each way.
    pub findings: Vec<Findings>,
    /// Whether the valve got where it was to go.
    pub arrived: bool,
}

/// Performs a motion; with `seconds` the record has that length, whatever the valve does.
pub fn run(rig: &mut Rig, motion: &Motion, seconds: Option<f64>) -> Result<Run, Trouble> {
    let how_long = seconds.map(Duration::from_secs_f64);
    if let Motion::Step { from, to } | Motion::Ramp { from, to, .. } = *motion
        && from == to
    {
        return Err((format!("from {from} to {to} % there is no way"), "give --from and --to two places"));
    }
    rig.unless_too_long(how_long.unwrap_or_else(|| at_least(rig, motion)).as_secs_f64())?;
    let mut run = match *motion {
        Motion::Step { from, to } => step(rig, from, to, how_long),
        Motion::Ramp { from, to, rate } => ramp(rig, from, to, rate, how_long),
        Motion::Stroke => stroke(rig, how_long),
        Motion::Fail { what, from } => fail(rig, what, from, how_long),
    }?;
    if let Some(last) = run.findings.last_mut() {
        last.remarks.extend(rig.said_of_faults());
        last.remarks.extend(holds(rig).filter(|_| !matches!(motion, Motion::Fail { .. })));
        last.remarks.extend(too_much_air(rig));
    }
    Ok(run)
}

/// How long a run without a given length takes at least.
fn at_least(rig: &Rig, motion: &Motion) -> Duration {
    let moves = match *motion {
        Motion::Ramp { from, to, rate } => {
            LEAD + Duration::from_secs_f64(2.0 * (to - from).abs() / rate) + REST_AT_TURN
        }
        _ => LEAD,
    };
    moves.max(rig.last_fault())
}

/// Who has the actuator at the end, if it is not the output stage.
fn holds(rig: &Rig) -> Option<String> {
    let r = rig.readings();
    let supply = r.supply_gauge_pa / 1e5;
    match r.hold {
        Hold::Stage => None,
        Hold::Tripped => Some("The trip valve has the actuator.".to_owned()),
        Hold::Stored => {
            Some(format!("At {supply:.2} bar g of supply the tank has the actuator, not the stage."))
        }
        Hold::Locked => Some(format!(
            "At {supply:.2} bar g of supply the lock-up valve holds the actuator, not the stage."
        )),
    }
}

/// A supply of more than so many times what opens the valve against its spring makes it slow to leave that end.
const MUCH: f64 = 2.0;

fn too_much_air(rig: &Rig) -> Option<String> {
    let (c, a) = (&rig.config, &rig.config.actuator);
    let spring = a.spring.filter(|_| a.action != Action::Double)?;
    let needs_n = spring.preload_n + spring.rate_n_per_m * c.moving.stroke_m + c.moving.friction.static_n;
    let (needs, supply) = (needs_n / a.chambers[0].area_m2 / 1e5, c.supply.at_rest_gauge_pa() / 1e5);
    (supply > MUCH * needs).then(|| {
        format!(
            "The supply of {supply:.2} bar g is far above the {needs:.2} bar g that moves the whole spring: what is too \
             much has to vent first. [device.air] supply_pressure_bar sets it."
        )
    })
}

/// What is asked for by a number of percent.
pub(super) fn demand(rig: &Rig, percent: f64) -> Demand {
    if rig.open_loop { Demand::Drive(percent / 100.0) } else { Demand::SetPoint(percent) }
}

fn asked(rig: &Rig) -> &'static str {
    if rig.open_loop { "drive" } else { "set point" }
}

/// Brings the valve to its first place, unrecorded; then the record begins, of at most `how_long`, with a second before
/// anything happens.
pub(super) fn begin(
    rig: &mut Rig,
    demand: Demand,
    how_long: Option<Duration>,
    found: &mut Findings,
) -> Result<(), Trouble> {
    rig.ask(demand);
    match rig.run_until_rest(MOST)? {
        Rest::UnderWay => {
            found.remarks.push(format!("Before: it does not come to rest within {} s.", MOST.as_secs()));
        }
        Rest::Creeps => found.remarks.push("Before: it creeps, by a leak.".to_owned()),
        Rest::Rests => {}
    }
    if let Demand::SetPoint(percent) = demand {
        let (wanted, stood) = (percent.clamp(0.0, 100.0), rig.readings().travel_percent);
        if (wanted - stood).abs() > ARRIVED_PERCENT {
            found.remarks.push(format!("Before: it stood at {stood:.1} %, not at {wanted} %."));
        }
    }
    rig.record(how_long);
    rig.run_for(LEAD)
}

/// Runs on to the end of the record.
pub(super) fn finish(rig: &mut Rig, how_long: Option<Duration>, found: &mut Findings) -> Result<(), Trouble> {
    match how_long {
        Some(whole) => rig.run_for(whole.saturating_sub(Duration::from_secs_f64(rig.time_s()))),
        None => {
            rig.run_for(rig.last_fault().saturating_sub(Duration::from_secs_f64(rig.time_s())))?;
            comes_to_rest(rig, found)
        }
    }
}

/// Runs until the valve rests, and says so where it does not.
fn comes_to_rest(rig: &mut Rig, found: &mut Findings) -> Result<(), Trouble> {
    match rig.run_until_rest(MOST)? {
        Rest::UnderWay => {
            let most = MOST.as_secs();
            found.remarks.push(format!("It does not come to rest within {most} s; --for shows more."));
        }
        Rest::Creeps => found.remarks.push("It creeps, by a leak; --for shows it.".to_owned()),
        Rest::Rests => {}
    }
    Ok(())
}

/// Whether the stop at which it stands, if any, is where it should be.
pub(super) fn stop_is_right(rig: &Rig, found: &mut Findings) -> bool {
    let r = rig.readings();
    let (rated, word) = match r.stop {
        Some(Stop::Open) => (100.0, "open"),
        Some(Stop::Closed) => (0.0, "closed"),
        None => return true,
    };
    if (r.travel_percent - rated).abs() <= STOP_PERCENT {
        return true;
    }
    found.remarks.push(format!("Its {word} stop stands at {:.0} %.", r.travel_percent));
    false
}

/// Whether it is where it was to be: a set point beyond the stops wants the stop.
fn arrived(rig: &Rig, found: &mut Findings) -> bool {
    let Demand::SetPoint(percent) = rig.demand() else { return true };
    let off = percent.clamp(0.0, 100.0) - rig.readings().travel_percent;
    if off.abs() <= ARRIVED_PERCENT {
        return true;
    }
    found.remarks.push(format!("It did not get there: it stands {:.1} % {}.", off.abs(), side(off)));
    false
}

fn side(off: f64) -> &'static str {
    if off > 0.0 { "too far closed" } else { "too far open" }
}

/// The samples from a time to another, s.
pub(super) fn part(rig: &Rig, from_s: f64, to_s: f64) -> &[Sample] {
    let first = rig.samples.partition_point(|s| s.time_s < from_s);
    let end = rig.samples.partition_point(|s| s.time_s <= to_s);
    rig.samples.get(first..end).unwrap_or_default()
}

/// Pressures now, the least supply since `from_s`, and the air since then.
pub(super) fn air(rig: &Rig, from_s: f64, found: &mut Findings) {
    let r = rig.readings();
    found.add("chamber_1_gauge_bar", "chamber 1 at the end", r.chamber_gauge_pa[0] / 1e5, "bar g", 3);
    if rig.config.actuator.action == Action::Double {
        found.add("chamber_2_gauge_bar", "chamber 2 at the end", r.chamber_gauge_pa[1] / 1e5, "bar g", 3);
    }
    found.add("supply_gauge_bar", "supply at the end", r.supply_gauge_pa / 1e5, "bar g", 3);
    let part = part(rig, from_s, f64::INFINITY);
    let least = part.iter().map(|s| s.supply_pa).reduce(f64::min);
    if let Some(tank_pa) = r.tank_gauge_pa {
        found.add("tank_gauge_bar", "tank at the end", tank_pa / 1e5, "bar g", 3);
    }
    found.add("least_supply_gauge_bar", "least supply meanwhile", least.map(|pa| pa / 1e5), "bar g", 3);
    // What flows back into an emptied header is not used.
    let used = part
        .first()
        .filter(|_| r.header_gauge_pa > 0.0)
        .map(|s| (r.air_used_kg - s.air_used_kg) * ANR_L_PER_KG);
    found.add("air_used_l_anr", "air used (reference air, ANR)", used, "l", 2);
}

/// Where it stands now, truly and to the sensor.
pub(super) fn places(rig: &Rig, found: &mut Findings) {
    let r = rig.readings();
    found.add("travel_percent", "true travel at the end", r.travel_percent, "%", 2);
    found.add("sensed_travel_percent", "the sensor says", r.sensed_travel_percent, "%", 2);
    if !r.sensor_in_range {
        found.remarks.push("The lever is beyond the sensor's range.".to_owned());
    }
}

pub(super) fn travel(samples: &[Sample]) -> Vec<(f64, f64)> {
    samples.iter().map(|s| (s.time_s, s.travel_percent)).collect()
}

fn step(rig: &mut Rig, from: f64, to: f64, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let title = format!("step of the {} from {from} to {to} %", asked(rig));
    let mut found = Findings::new("step");
    let before = demand(rig, from);
    begin(rig, before, how_long, &mut found)?;
    let at_s = rig.time_s();
    rig.mark(format!("{} {to} %", asked(rig)));
    let after = demand(rig, to);
    rig.ask(after);
    finish(rig, how_long, &mut found)?;
    if let Some(r) = Response::of(&travel(&rig.samples), at_s, SEEN_PERCENT, SETTLED_PERCENT) {
        found.add("dead_time_s", "dead time (until 0.1 % is moved)", r.dead_time_s, "s", 3);
        found.add("t63_s", "63 % of the way after", r.t63_s, "s", 3);
        found.add("t86_s", "86 % of the way after", r.t86_s, "s", 3);
        found.add("lag_s", "as a lag with dead time: time constant", r.as_lag().map(|l| l.0), "s", 3);
        found.add(
            "lag_dead_time_s",
            "its dead time (by 28 and 63 % of the way)",
            r.as_lag().map(|l| l.1),
            "s",
            3,
        );
        found.add("overshoot_percent", "overshoot, of the way", r.overshoot_percent, "%", 2);
        found.add("settled_s", "within 0.5 % of its end after", r.settled_s, "s", 3);
        found.add("start_percent", "true travel before", r.from, "%", 2);
    }
    places(rig, &mut found);
    if !rig.open_loop {
        let left = to - rig.readings().travel_percent;
        found.add("error_percent", "set point less true travel", left, "%", 2);
    }
    air(rig, at_s, &mut found);
    let arrived = arrived(rig, &mut found);
    Ok(Run { title, findings: vec![found], arrived })
}

fn ramp(rig: &mut Rig, from: f64, to: f64, rate: f64, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let title = format!("ramp of the {} from {from} to {to} % and back at {rate} %/s", asked(rig));
    let mut found = Findings::new("ramp");
    let before = demand(rig, from);
    begin(rig, before, how_long, &mut found)?;
    let begun_s = rig.time_s();
    let there = way(rig, from, to, rate)?;
    rig.run_for(REST_AT_TURN)?;
    let back = way(rig, to, from, rate)?;
    finish(rig, how_long, &mut found)?;
    if !rig.open_loop {
        found.add("lag_there_percent", "behind on the way there, mean", there.lag(rig), "%", 2);
        found.add("lag_back_percent", "behind on the way back, mean", back.lag(rig), "%", 2);
    }
    let turn = back.still(rig).map(|s| s * rate);
    found.add("turn_percent", "after the turn it stands still for", turn, "% of the ramp", 2);
    // Of a drive it is not known at which travel its middle is.
    let middle = if rig.open_loop { 50.0 } else { (from + to) / 2.0 };
    let (up, down) = (there.on_passing(rig, middle), back.on_passing(rig, middle));
    let (place_up, place_back) = match rig.open_loop {
        false => ("chamber 1 on passing the middle there", "chamber 1 on passing the middle back"),
        true => ("chamber 1 on passing 50 % there", "chamber 1 on passing 50 % back"),
    };
    let bar = |s: Option<Sample>| s.map(|s| s.chamber_pa[0] / 1e5);
    found.add("passing_there_gauge_bar", place_up, bar(up), "bar g", 3);
    found.add("passing_back_gauge_bar", place_back, bar(down), "bar g", 3);
    // Both chambers push: their pressures alone say nothing of friction.
    let band_n = up.zip(down).map(|(up, down)| (up.actuator_n - down.actuator_n).abs());
    found.add("friction_band_n", "difference of the air's force: friction", band_n, "N", 0);
    let area_m2 = rig.config.actuator.chambers[0].area_m2;
    found.add(
        "friction_band_bar",
        "the same over the area of chamber 1",
        band_n.map(|n| n / area_m2 / 1e5),
        "bar",
        3,
    );
    places(rig, &mut found);
    air(rig, begun_s, &mut found);
    let arrived = arrived(rig, &mut found);
    Ok(Run { title, findings: vec![found], arrived })
}

/// How long a ramp stands at its turn.
const REST_AT_TURN: Duration = Duration::from_secs(2);

/// One way of a ramp: its samples, and what was asked for.
struct Way {
    begun_s: f64,
    ended_s: f64,
    from: f64,
    to: f64,
}

fn way(rig: &mut Rig, from: f64, to: f64, rate: f64) -> Result<Way, Trouble> {
    let begun_s = rig.time_s();
    let needs_s = (to - from).abs() / rate;
    rig.mark(format!("{} to {to} %", asked(rig)));
    while rig.time_s() - begun_s < needs_s && !rig.is_over() {
        let share = ((rig.time_s() - begun_s) / needs_s).min(1.0);
        let now = demand(rig, from + share * (to - from));
        rig.ask(now);
        rig.tick()?;
    }
    if !rig.is_over() {
        let end = demand(rig, to);
        rig.ask(end);
    }
    Ok(Way { begun_s, ended_s: rig.time_s(), from, to })
}

impl Way {
    fn samples<'a>(&self, rig: &'a Rig) -> &'a [Sample] {
        part(rig, self.begun_s, self.ended_s)
    }

    /// How far the true travel stays behind on the second half of the way, where it has long begun, %.
    fn lag(&self, rig: &Rig) -> Option<f64> {
        let all = self.samples(rig);
        let (begin, end) = (all.first()?.time_s, all.last()?.time_s);
        let behind = |s: &Sample| {
            let share = (s.time_s - begin) / (end - begin);
            (share > 0.5).then(|| {
                let asked = self.from + share * (self.to - self.from);
                (asked - s.travel_percent) * (self.to - self.from).signum()
            })
        };
        let list: Vec<f64> = all.iter().filter_map(behind).collect();
        (!list.is_empty()).then(|| list.iter().sum::<f64>() / list.len() as f64)
    }

    /// How long it stands still before it follows, s.
    fn still(&self, rig: &Rig) -> Option<f64> {
        let all = travel(self.samples(rig));
        let (begin, from) = *all.first()?;
        first_departure(&all, from, SEEN_PERCENT).map(|t| t - begin)
    }

    /// What was when the true travel passed a place.
    fn on_passing(&self, rig: &Rig, percent: f64) -> Option<Sample> {
        let all = self.samples(rig);
        let at_s = first_crossing(&travel(all), percent)?;
        all.iter().find(|s| s.time_s >= at_s).copied()
    }
}

fn stroke(rig: &mut Rig, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let title = "full stroke, with full drive".to_owned();
    let mut opening = Findings::new("opening");
    let mut closing = Findings::new("closing");
    begin(rig, Demand::Drive(-1.0), how_long, &mut opening)?;
    let each = how_long.map(|whole| whole.saturating_sub(LEAD) / 2);
    let mut arrived = true;
    for (stop, drive, found) in [(Stop::Open, 1.0, &mut opening), (Stop::Closed, -1.0, &mut closing)] {
        let begun_s = rig.time_s();
        rig.mark(format!("{}: full drive", found.title));
        rig.ask(Demand::Drive(drive));
        match each {
            Some(time) => rig.run_for(time)?,
            // A fault may come on either way.
            None if stop == Stop::Open => comes_to_rest(rig, found)?,
            // Beyond the stop the chamber goes on filling or venting: a stroke ends when all of it rests.
            None => finish(rig, None, found)?,
        }
        let way = part(rig, begun_s, f64::INFINITY);
        let since = |t: Option<f64>| t.map(|t| t - begun_s);
        let all = travel(way);
        let start = all.first().map_or(0.0, |s| s.1);
        let places = if stop == Stop::Open { [5.0, 95.0] } else { [95.0, 5.0] };
        let ahead = (rig.readings().travel_percent - start) * drive;
        let wrong_way = ahead < -WRONG_WAY_PERCENT;
        let moves_s = first_departure(&all, start, FIRST_PERCENT).filter(|_| !wrong_way);
        // Of what does not move this way there are no times.
        let [first_five, last_five] = places
            .map(|percent| since(first_crossing(&all, percent).filter(|t| moves_s.is_some_and(|m| *t >= m))));
        // It may have stood there all the time.
        let arrives = |s: &&Sample| s.stop == Some(stop) && moves_s.is_some_and(|moves| s.time_s >= moves);
        let at_stop = since(way.iter().find(arrives).map(|s| s.time_s));
        found.add("first_motion_s", "first motion after", since(moves_s), "s", 4);
        found.add("t5_s", "5 % of the stroke after", first_five, "s", 4);
        found.add("t95_s", "95 % after", last_five, "s", 4);
        let between = first_five.zip(last_five).map(|(a, b)| b - a);
        found.add("t5_to_t95_s", "from 5 to 95 %", between, "s", 4);
        found.add("end_stop_s", "end stop after", at_stop, "s", 4);
        self::places(rig, found);
        air(rig, begun_s, found);
        if at_stop.is_none() {
            let side = if stop == Stop::Open { "open" } else { "closed" };
            found.remarks.push(match (wrong_way, moves_s) {
                (true, _) => format!("It goes the other way, from {start:.1} %: are the outputs swapped?"),
                (false, Some(_)) => format!("It does not reach its {side} stop."),
                (false, None) => format!("It does not move towards its {side} stop."),
            });
            arrived = false;
        } else if !stop_is_right(rig, found) {
            arrived = false;
        }
    }
    Ok(Run { title, findings: vec![opening, closing], arrived })
}
