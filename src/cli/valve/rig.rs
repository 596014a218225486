//! A computed valve on its rig: who drives it, what is recorded of it, when a fault comes.

use crate::bench::{ValveFaultPlan, ValvePlan};
use crate::plant::actuator::Action;
use crate::plant::follower::Follower;
use crate::plant::motion::Stop;
use crate::plant::valve::{Readings, Valve, ValveConfig};
use crate::report::trace::Mark;
use crate::time::Instant;
use core::time::Duration;

/// What could not be done, and what to do instead.
pub type Trouble = (String, &'static str);

/// The most rows of a table: an hour at the usual distance, about 150 MB of readings.
const MOST_ROWS: usize = 400_000;
/// The most samples. Where there would be more, every second one is left out, and so is every second one to come.
const MOST_SAMPLES: usize = 600_000;
/// A valve rests when for so long neither travel nor pressures have changed by more than these [PL-42].
const REST: Duration = Duration::from_secs(2);
const REST_PERCENT: f64 = 0.02;
const REST_PA: f64 = 200.0;

/// A row of the record.
#[derive(Clone, Debug)]
pub struct Row {
    /// Since the record began, s.
    pub time_s: f64,
    /// What was asked for, %; `None` where the stage is driven directly.
    pub set_point_percent: Option<f64>,
    /// All of the valve.
    pub readings: Readings,
}

/// One moment, of each step.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    /// Since the record began, s.
    pub time_s: f64,
    /// True travel, %.
    pub travel_percent: f64,
    /// Gauge pressures of the inlet and of both chambers, Pa.
    pub supply_pa: f64,
    pub chamber_pa: [f64; 2],
    /// Air from the header since the beginning, kg.
    pub air_used_kg: f64,
    /// The stop at which it stands.
    pub stop: Option<Stop>,
}

/// Who has the output stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Demand {
    /// The follower, towards a set point, %.
    SetPoint(f64),
    /// Nobody: so far it is driven, -1 to 1, above 0 to open.
    Drive(f64),
}

/// The valve and its record.
pub struct Rig {
    pub config: ValveConfig,
    valve: Valve,
    follower: Follower,
    demand: Demand,
    now: Instant,
    step: Duration,
    /// When the record began.
    started: Option<Instant>,
    every: Duration,
    next_row: Instant,
    faults: Vec<(ValveFaultPlan, bool)>,
    /// Rows at the wished distance.
    pub rows: Vec<Row>,
    /// Every step; of long runs every second or fourth.
    pub samples: Vec<Sample>,
    /// One sample in so many steps, and steps since the last one.
    sampled: (u32, u32),
    /// What happened.
    pub marks: Vec<Mark>,
    /// Without the follower.
    pub open_loop: bool,
    rest: (Instant, f64, [f64; 3]),
}

impl Rig {
    /// The valve as it stands without current, its faults from the start put in.
    pub fn new(plan: &ValvePlan, open_loop: bool, seed: u64, every: Duration) -> Result<Rig, Trouble> {
        let config = plan.config;
        let valve = Valve::new(config, seed)
            .map_err(|e| (format!("it cannot be: {e}"), "change that in the bench file"))?;
        let mut rig = Rig {
            config,
            valve,
            follower: plan.follower,
            demand: Demand::Drive(-1.0),
            now: Instant::ZERO,
            step: Duration::from_secs_f64(config.step_s),
            started: None,
            every,
            next_row: Instant::ZERO,
            faults: plan.faults.iter().map(|f| (*f, false)).collect(),
            rows: Vec::new(),
            samples: Vec::new(),
            sampled: (1, 0),
            marks: Vec::new(),
            open_loop,
            rest: (Instant::ZERO, f64::NAN, [f64::NAN; 3]),
        };
        rig.see_to_faults()?;
        Ok(rig)
    }

    /// The valve, for what is done to it besides driving it.
    pub fn valve(&mut self) -> &mut Valve {
        &mut self.valve
    }

    /// What it reads now.
    pub fn readings(&self) -> Readings {
        self.valve.readings()
    }

    /// From now on this is asked of it.
    pub fn ask(&mut self, demand: Demand) {
        self.demand = demand;
        self.rest.0 = self.now;
    }

    /// Begins the record: now is 0 s.
    pub fn record(&mut self) {
        self.started = Some(self.now);
        self.next_row = self.now;
        self.keep();
    }

    /// Since the record began, s; before it 0.
    pub fn time_s(&self) -> f64 {
        self.started.map_or(0.0, |s| (self.now - s).as_secs_f64())
    }

    /// Marks what happens now.
    pub fn mark(&mut self, text: impl Into<String>) {
        let at_s = self.time_s();
        self.marks.push(Mark { at_s, text: text.into() });
    }

    /// One step of the valve.
    pub fn tick(&mut self) -> Result<(), Trouble> {
        self.see_to_faults()?;
        let drive = match self.demand {
            Demand::Drive(drive) => drive,
            Demand::SetPoint(percent) => {
                self.follower.drive(percent, self.valve.readings().sensed_travel_percent)
            }
        };
        // The stage fills output 1 for a drive above 0, which closes a valve whose air closes.
        let sign = if self.config.actuator.action == Action::AirCloses { -1.0 } else { 1.0 };
        self.valve.set_drive(sign * drive);
        self.now += self.step;
        self.valve.advance(self.now);
        self.watch();
        self.keep();
        if self.rows.len() > MOST_ROWS {
            let wrong = format!("the record would have more than {MOST_ROWS} rows");
            return Err((wrong, "give a larger --every-ms, or a shorter --for"));
        }
        Ok(())
    }

    /// Runs for so long.
    pub fn run_for(&mut self, how_long: Duration) -> Result<(), Trouble> {
        let until = self.now + how_long;
        while self.now < until {
            self.tick()?;
        }
        Ok(())
    }

    /// Runs until the valve rests, at most so long; tells whether it does.
    pub fn run_until_rest(&mut self, most: Duration) -> Result<bool, Trouble> {
        let until = self.now + most;
        self.rest.0 = self.now;
        while self.now < until && !self.rests() {
            self.tick()?;
        }
        Ok(self.rests())
    }

    fn rests(&self) -> bool {
        self.now - self.rest.0 >= REST
    }

    fn watch(&mut self) {
        let r = self.valve.readings();
        let pressures = [r.supply_gauge_pa, r.chamber_gauge_pa[0], r.chamber_gauge_pa[1]];
        let (_, travel, before) = self.rest;
        let moved = (r.travel_percent - travel).abs() > REST_PERCENT
            || pressures.iter().zip(&before).any(|(a, b)| (a - b).abs() > REST_PA)
            || travel.is_nan();
        if moved {
            self.rest = (self.now, r.travel_percent, pressures);
        }
    }

    fn keep(&mut self) {
        if self.started.is_none() {
            return;
        }
        let (readings, time_s) = (self.valve.readings(), self.time_s());
        self.sampled.1 += 1;
        if self.sampled.1 >= self.sampled.0 {
            self.sampled.1 = 0;
            self.samples.push(Sample {
                time_s,
                travel_percent: readings.travel_percent,
                supply_pa: readings.supply_gauge_pa,
                chamber_pa: readings.chamber_gauge_pa,
                air_used_kg: readings.air_used_kg,
                stop: readings.stop,
            });
        }
        if self.samples.len() > MOST_SAMPLES {
            let mut n = 0;
            self.samples.retain(|_| {
                n += 1;
                n % 2 == 1
            });
            self.sampled.0 *= 2;
        }
        if self.now >= self.next_row {
            self.next_row += self.every;
            let set_point_percent = match self.demand {
                Demand::SetPoint(percent) => Some(percent),
                Demand::Drive(_) => None,
            };
            self.rows.push(Row { time_s, set_point_percent, readings });
        }
    }

    /// When the last fault comes or goes, since the record began.
    pub fn last_fault(&self) -> Duration {
        let times = self.faults.iter().flat_map(|(f, _)| [f.from, f.until]).flatten();
        times.max().map_or(Duration::ZERO, |at| at - Instant::ZERO)
    }

    /// A sentence for each fault that has not come yet.
    pub fn faults_to_come(&self) -> impl Iterator<Item = String> + '_ {
        let end_s = self.time_s();
        self.faults.iter().filter_map(move |(f, _)| {
            let from_s = f.from?.as_secs_f64();
            (from_s > end_s).then(|| {
                format!("The fault \"{}\" was to come at {from_s} s, when the run had ended.", f.name.words())
            })
        })
    }

    /// Puts in what is due, and takes out what is over.
    fn see_to_faults(&mut self) -> Result<(), Trouble> {
        let run = self.started.map(|s| Instant::ZERO + (self.now - s));
        for i in 0..self.faults.len() {
            let (fault, is_in) = self.faults[i];
            let since = |at: Option<Instant>| at.is_some_and(|at| run.is_some_and(|run| run >= at));
            let over = since(fault.until);
            let due = !over && (fault.from.is_none() || since(fault.from));
            if due == is_in {
                continue;
            }
            self.faults[i].1 = due;
            if due {
                let refused = |e| (format!("{}: {e}", fault.name.words()), "leave this fault out");
                self.valve.inject(fault.name, fault.severity).map_err(refused)?;
                self.mark(format!("fault: {} ({})", fault.name.words(), fault.severity));
            } else {
                let refused = |e| (format!("{}: {e}", fault.name.words()), "leave this fault out");
                self.valve.clear(fault.name).map_err(refused)?;
                self.mark(format!("repaired: {}", fault.name.words()));
            }
        }
        Ok(())
    }
}
