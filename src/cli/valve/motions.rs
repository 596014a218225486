//! What a computed valve is asked to do, and what is found out by that [PL-42].

use super::rig::{Demand, Rig, Sample, Trouble};
use crate::cli::valve_args::{Lost, Motion};
use crate::commission::response::{Response, first_crossing, first_departure};
use crate::plant::actuator::Action;
use crate::plant::fail::Hold;
use crate::plant::motion::Stop;
use crate::report::trace::Findings;
use core::time::Duration;

/// Shown before anything happens.
const LEAD: Duration = Duration::from_secs(1);
/// A valve that does not rest by then is told so.
const MOST: Duration = Duration::from_secs(120);
/// Least motion that counts as one, % of the stroke [PL-44].
const SEEN_PERCENT: f64 = 0.1;
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
    match *motion {
        Motion::Step { from, to } => step(rig, from, to, how_long),
        Motion::Ramp { from, to, rate } => ramp(rig, from, to, rate, how_long),
        Motion::Stroke => stroke(rig, how_long),
        Motion::Fail { what, from } => fail(rig, what, from, how_long),
    }
}

/// What is asked for by a number of percent.
fn demand(rig: &Rig, percent: f64) -> Demand {
    if rig.open_loop { Demand::Drive(percent / 100.0) } else { Demand::SetPoint(percent) }
}

fn asked(rig: &Rig) -> &'static str {
    if rig.open_loop { "drive" } else { "set point" }
}

/// Brings the valve to its first place, unrecorded; then the record begins, with a second before anything happens.
fn begin(rig: &mut Rig, demand: Demand, found: &mut Findings) -> Result<(), Trouble> {
    rig.ask(demand);
    if !rig.run_until_rest(MOST)? {
        found.remarks.push(format!("Before: it does not come to rest within {} s.", MOST.as_secs()));
    }
    rig.record();
    rig.run_for(LEAD)
}

/// Runs on to the end of the record.
fn finish(rig: &mut Rig, how_long: Option<Duration>, found: &mut Findings) -> Result<(), Trouble> {
    match how_long {
        Some(whole) => {
            rig.run_for(whole.saturating_sub(Duration::from_secs_f64(rig.time_s())))?;
            found.remarks.extend(rig.faults_to_come());
            Ok(())
        }
        None => {
            rig.run_for(rig.last_fault().saturating_sub(Duration::from_secs_f64(rig.time_s())))?;
            if !rig.run_until_rest(MOST)? {
                found.remarks.push(format!("It does not come to rest within {} s.", MOST.as_secs()));
            }
            Ok(())
        }
    }
}

/// Whether it is where it was to be: a set point beyond the stops wants the stop.
fn arrived(rig: &Rig, percent: f64, found: &mut Findings) -> bool {
    if rig.open_loop {
        return true;
    }
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
fn part(rig: &Rig, from_s: f64, to_s: f64) -> &[Sample] {
    let first = rig.samples.partition_point(|s| s.time_s < from_s);
    let end = rig.samples.partition_point(|s| s.time_s <= to_s);
    rig.samples.get(first..end).unwrap_or_default()
}

/// Pressures now, the least supply since `from_s`, and the air since then.
fn air(rig: &Rig, from_s: f64, found: &mut Findings) {
    let r = rig.readings();
    found.add("chamber_1_gauge_bar", "chamber 1 at the end", r.chamber_gauge_pa[0] / 1e5, "bar g", 3);
    if rig.config.actuator.action == Action::Double {
        found.add("chamber_2_gauge_bar", "chamber 2 at the end", r.chamber_gauge_pa[1] / 1e5, "bar g", 3);
    }
    found.add("supply_gauge_bar", "supply at the end", r.supply_gauge_pa / 1e5, "bar g", 3);
    let part = part(rig, from_s, f64::INFINITY);
    let least = part.iter().map(|s| s.supply_pa).reduce(f64::min);
    found.add("least_supply_gauge_bar", "least supply meanwhile", least.map(|pa| pa / 1e5), "bar g", 3);
    // What flows back into an emptied header is not used.
    let used = part
        .first()
        .filter(|_| r.header_gauge_pa > 0.0)
        .map(|s| (r.air_used_kg - s.air_used_kg) * ANR_L_PER_KG);
    found.add("air_used_l_anr", "air used (reference air, ANR)", used, "l", 2);
}

/// Where it stands now, truly and to the sensor.
fn places(rig: &Rig, found: &mut Findings) {
    let r = rig.readings();
    found.add("travel_percent", "true travel at the end", r.travel_percent, "%", 2);
    found.add("sensed_travel_percent", "the sensor says", r.sensed_travel_percent, "%", 2);
    if !r.sensor_in_range {
        found.remarks.push("The lever is beyond the sensor's range.".to_owned());
    }
}

fn travel(samples: &[Sample]) -> Vec<(f64, f64)> {
    samples.iter().map(|s| (s.time_s, s.travel_percent)).collect()
}

fn step(rig: &mut Rig, from: f64, to: f64, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let title = format!("step of the {} from {from} to {to} %", asked(rig));
    let mut found = Findings::new("step");
    let before = demand(rig, from);
    begin(rig, before, &mut found)?;
    let at_s = rig.time_s();
    rig.mark(format!("{} {to} %", asked(rig)));
    let after = demand(rig, to);
    rig.ask(after);
    finish(rig, how_long, &mut found)?;
    if let Some(r) = Response::of(&travel(&rig.samples), at_s, SEEN_PERCENT, SETTLED_PERCENT) {
        found.add("dead_time_s", "dead time (until 0.1 % is moved)", r.dead_time_s, "s", 3);
        found.add("t63_s", "63 % of the way after", r.t63_s, "s", 3);
        found.add("t86_s", "86 % of the way after", r.t86_s, "s", 3);
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
    let arrived = arrived(rig, to, &mut found);
    Ok(Run { title, findings: vec![found], arrived })
}

fn ramp(rig: &mut Rig, from: f64, to: f64, rate: f64, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let title = format!("ramp of the {} from {from} to {to} % and back at {rate} %/s", asked(rig));
    let mut found = Findings::new("ramp");
    let before = demand(rig, from);
    begin(rig, before, &mut found)?;
    let begun_s = rig.time_s();
    let there = way(rig, from, to, rate)?;
    rig.run_for(REST_AT_TURN)?;
    let back = way(rig, to, from, rate)?;
    finish(rig, how_long, &mut found)?;
    let middle = (from + to) / 2.0;
    for (name, words, way) in [
        ("lag_there_percent", "behind on the way there, mean", &there),
        ("lag_back_percent", "behind on the way back, mean", &back),
    ] {
        found.add(name, words, (!rig.open_loop).then(|| way.lag(rig)).flatten(), "%", 2);
    }
    let turn = back.still(rig).map(|s| s * rate);
    found.add("turn_percent", "after the turn it stands still for", turn, "% of the ramp", 2);
    let bar = |way: &Way| way.pressure_on_passing(rig, middle).map(|pa| pa / 1e5);
    let (up, down) = (bar(&there), bar(&back));
    found.add("passing_there_gauge_bar", "chamber 1 on passing the middle there", up, "bar g", 3);
    found.add("passing_back_gauge_bar", "chamber 1 on passing the middle back", down, "bar g", 3);
    let band = up.zip(down).map(|(up, down)| (up - down).abs());
    found.add("friction_band_bar", "difference of the two: friction", band, "bar", 3);
    places(rig, &mut found);
    air(rig, begun_s, &mut found);
    let arrived = arrived(rig, from, &mut found);
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
    while rig.time_s() - begun_s < needs_s {
        let share = ((rig.time_s() - begun_s) / needs_s).min(1.0);
        let now = demand(rig, from + share * (to - from));
        rig.ask(now);
        rig.tick()?;
    }
    let end = demand(rig, to);
    rig.ask(end);
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

    /// Pressure in chamber 1 when the true travel passes a place, Pa gauge.
    fn pressure_on_passing(&self, rig: &Rig, percent: f64) -> Option<f64> {
        let all = self.samples(rig);
        let at_s = first_crossing(&travel(all), percent)?;
        all.iter().find(|s| s.time_s >= at_s).map(|s| s.chamber_pa[0])
    }
}

fn stroke(rig: &mut Rig, how_long: Option<Duration>) -> Result<Run, Trouble> {
    let title = "full stroke, with full drive".to_owned();
    let mut opening = Findings::new("opening");
    let mut closing = Findings::new("closing");
    begin(rig, Demand::Drive(-1.0), &mut opening)?;
    let each = how_long.map(|whole| whole.saturating_sub(LEAD) / 2);
    let mut arrived = true;
    for (stop, drive, found) in [(Stop::Open, 1.0, &mut opening), (Stop::Closed, -1.0, &mut closing)] {
        let begun_s = rig.time_s();
        rig.mark(format!("{}: full drive", found.title));
        rig.ask(Demand::Drive(drive));
        match each {
            Some(time) => {
                rig.run_for(time)?;
                found.remarks.extend(rig.faults_to_come().filter(|_| stop == Stop::Closed));
            }
            // A fault may come on either way.
            None if stop == Stop::Open => {
                if !rig.run_until_rest(MOST)? {
                    found.remarks.push(format!("It does not come to rest within {} s.", MOST.as_secs()));
                }
            }
            // Beyond the stop the chamber goes on filling or venting: a stroke ends when all of it rests.
            None => finish(rig, None, found)?,
        }
        let way = part(rig, begun_s, f64::INFINITY);
        let since = |t: Option<f64>| t.map(|t| t - begun_s);
        let all = travel(way);
        let start = all.first().map_or(0.0, |s| s.1);
        let places = if stop == Stop::Open { [5.0, 95.0] } else { [95.0, 5.0] };
        let [first_five, last_five] = places.map(|percent| since(first_crossing(&all, percent)));
        let moves_s = first_departure(&all, start, FIRST_PERCENT);
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
            let does = if moves_s.is_some() { "does not reach" } else { "does not move towards" };
            found.remarks.push(format!("It {does} its {side} stop."));
            arrived = false;
        }
    }
    Ok(Run { title, findings: vec![opening, closing], arrived })
}

fn fail(rig: &mut Rig, what: Lost, from: f64, how_long: Option<Duration>) -> Result<Run, Trouble> {
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
    begin(rig, before, &mut found)?;
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
    found.add(
        "first_motion_s",
        "first motion after",
        since(first_departure(&all, start, SEEN_PERCENT)),
        "s",
        3,
    );
    let at_stop = r.stop.and_then(|stop| way.iter().find(|s| s.stop == Some(stop)));
    found.add("end_stop_s", "end stop after", since(at_stop.map(|s| s.time_s)), "s", 3);
    places(rig, &mut found);
    air(rig, begun_s, &mut found);
    found.remarks.push(where_it_went(rig, start));
    Ok(Run { title, findings: vec![found], arrived: true })
}

fn where_it_went(rig: &Rig, start: f64) -> String {
    let r = rig.readings();
    let place = match r.stop {
        Some(Stop::Closed) => "It goes to its closed stop".to_owned(),
        Some(Stop::Open) => "It goes to its open stop".to_owned(),
        None if (r.travel_percent - start).abs() < 1.0 => "It stays where it was".to_owned(),
        None => format!("It stands at {:.1} %", r.travel_percent),
    };
    let by = match r.hold {
        Hold::Stage if rig.config.actuator.spring.is_some() => {
            "the output stage vents, and the spring moves it"
        }
        Hold::Stage => "the output stage alone decides: there is no spring",
        Hold::Tripped => "the trip valve has the actuator",
        Hold::Stored => "the tank's air moves it",
        Hold::Locked => "the lock-up valve keeps the air in; what leaks decides for how long",
    };
    format!("{place}: {by}.")
}
