//! The sequence of a loop check and of a travel test [TV-21].

mod ahead;
mod asking;
mod creeps;
mod driving;
mod lagless;
mod leaving;
mod losses;
mod motions;
mod points;
mod who;

use asking::DIVISION;
pub use asking::Gauge;
pub(in crate::commission) use asking::ask;
pub(in crate::commission) use leaving::{leave, not_left};
pub(super) use losses::WAITS;
use losses::{SUPPLY_BEFORE, SUPPLY_DURING};
pub(in crate::commission) use who::identify;

use super::readings::{LINEAR, Readings, characteristic};
use super::record::{Identity, Record, Variables};
use super::sensing::{Halt, Sensing, Until};
use crate::commission::person::{Person, capital};
use crate::host::{Ask, Device, Stimulus};

/// What a test needs.
pub struct Setup<'a> {
    /// The host: the same line for readings and for a stimulus that is a command.
    pub ask: &'a mut dyn Ask,
    /// The device on that line.
    pub device: Device,
    /// Who moves the set point.
    pub stimulus: &'a mut dyn Stimulus,
    /// Who is asked, and told what moves next.
    pub person: &'a mut dyn Person,
    /// Which of its variables are what; [`Readings::usual`] where nobody says.
    pub readings: Readings,
    /// The measurement at stem or shaft that the person reads at every resting place; `None`: nobody reads one.
    pub gauge: Option<Gauge>,
    /// Whether the person types what the control system shows at every resting place of the cycles.
    pub control_system: bool,
    /// Handed the record whenever a part of it is whole, so that it can be kept in case nothing else is.
    pub keep: &'a mut dyn FnMut(&Record),
}

/// What people are to take care of before a valve moves; common practice, no source.
pub const CAUTIONS: [&str; 3] = [
    "Flow changes and parts move that pinch: process in manual or on bypass, hands off stem, yoke and lever.",
    "The permit and the rules of the site go first; only those who may do this do it.",
    "Ctrl-C or stop ends it at once, and the set point is then left as at the end of the test.",
];

/// Runs a test. `record` holds what is known before: which test, plan, occasion, line, who, valve, instruments and measures; what
/// is seen goes into it, and so do variables, stimulus, link quality, how it ended and where the set point was left. The
/// identity is read where none is given. Whatever happens, a record comes back.
///
/// Questions have these ids [TV-30], N counting from 1: `travel/start` (yes or no; names what moves and for how long at most),
/// `travel/division` (a number, once, where the measurement's resolution is not known), `travel/external/N` and `travel/control_system/N` (numbers), where a person moves the set point
/// `travel/stroke/N` (s, by a stop watch), `travel/loss/current`, `travel/loss/air` and `travel/loss/trip` (yes or no), and behind each of these
/// `.../seen` (one of `closed`, `open`, `stays`) and, unless it stayed, `.../time` (s); where a person shuts the air and the device tells no pressure
/// `travel/loss/air/supply_before` and `travel/loss/air/supply_during` (kPa). Whoever moves the set point may ask more.
pub fn run(setup: Setup<'_>, record: Record) -> Record {
    let Setup { ask, device, stimulus, person, readings, gauge, control_system, keep } = setup;
    let sensing = Sensing::new(ask, device, readings);
    let mut run = Run {
        sensing,
        stimulus,
        person,
        gauge,
        control_system,
        keep,
        record,
        during: String::new(),
        tried: false,
        input: None,
        travel: None,
        followed: None,
        start: None,
        moved: false,
        astray: 0,
        restless: false,
        lagless: lagless::Lagless::default(),
        asked_external: 0,
        asked_control_system: 0,
    };
    let done = run.whole();
    run.end(done)
}

/// Questions that may stay without an answer where a file of answers has none: what nobody knows is told so [TV-88] [TV-118].
pub const MAY_STAY_OPEN: [&str; 3] = [DIVISION, SUPPLY_BEFORE, SUPPLY_DURING];

/// A test that runs.
struct Run<'a> {
    sensing: Sensing<'a>,
    stimulus: &'a mut dyn Stimulus,
    person: &'a mut dyn Person,
    gauge: Option<Gauge>,
    control_system: bool,
    keep: &'a mut dyn FnMut(&Record),
    record: Record,
    /// What is being done, for people.
    during: String,
    /// Whether whoever moves the set point was ever told to.
    tried: bool,
    /// Where the set point is, percent.
    input: Option<f64>,
    /// Where the valve rested last, percent.
    travel: Option<f64>,
    /// Input and travel when travel was last seen to be elsewhere than before.
    followed: Option<(f64, f64)>,
    /// Where the valve was at the start, percent.
    start: Option<f64>,
    /// Whether the sensor ever saw it elsewhere.
    moved: bool,
    /// How often in a row the set point was elsewhere while the valve stood.
    astray: u32,
    /// Whether the valve was still on its way when it was last waited for.
    restless: bool,
    /// Moves that travel made in no time.
    lagless: lagless::Lagless,
    asked_external: u32,
    asked_control_system: u32,
}

impl Run<'_> {
    fn whole(&mut self) -> Result<(), Halt> {
        self.during = "looking at the plan".to_owned();
        self.record.plan.check().map_err(Halt::Failed)?;
        self.record.stimulus = self.stimulus.describe();
        self.record.plan.control_system = self.control_system;
        let readings = &self.sensing.readings;
        let words = |r: Option<&super::Reading>| r.map(|r| r.source.to_string()).unwrap_or_default();
        self.record.variables = Variables {
            set_point: words(readings.set_point.as_ref()),
            travel: words(Some(&readings.travel)),
            current: words(readings.current.as_ref()),
            angle: words(readings.angle.as_ref()),
            travel_assumed: readings.assumed,
        };
        let remark = readings.remark.clone();
        self.remark(remark);
        self.during = "reading who the device is".to_owned();
        if self.record.device.unique_address.is_empty() {
            let who = identify(&mut self.sensing)?;
            // What was known before stays.
            let more = core::mem::take(&mut self.record.device.more);
            self.record.device = Identity { more, ..who };
        }
        self.characteristic()?;
        self.during = "reading where the valve is".to_owned();
        self.sensing.try_source()?;
        let now_s = self.sensing.now_s();
        let rest = self.record.plan.rest;
        let until = Until { most_s: 4.0 * rest.for_s, ..Until::default() };
        self.travel = self.sensing.settle(now_s, &rest, until)?.travel();
        self.start = self.travel;
        // A valve that is stuck is known by the first move that it does not follow.
        self.followed = self.set_point_now()?.zip(self.start);
        self.leave_to_move()?;
        self.cycles()?;
        self.creeps()?;
        self.steps()?;
        self.strokes()?;
        self.losses()
    }

    /// Travel is wanted where the set point is; a device that makes something else of it is said to.
    fn characteristic(&mut self) -> Result<(), Halt> {
        let Some(source) = characteristic(self.sensing.ask, &self.sensing.device) else { return Ok(()) };
        let read = self.sensing.read(source.command(&self.sensing.device), &source.data())?;
        let told = source.found(&read.exchange).map(|f| f.cell());
        if let Some(told) = told.filter(|t| t != LINEAR) {
            self.remark(format!(
                "The device's characteristic is {told}, so travel is not where the set point is: what is said of accuracy and non-linearity is \
                 about both together."
            ));
        }
        Ok(())
    }

    fn remark(&mut self, words: String) {
        if !words.is_empty() && !self.record.remarks.contains(&words) {
            self.record.remarks.push(words);
        }
    }

    fn keep(&mut self) {
        self.record.link = self.sensing.ask.quality().into();
        self.record.status.clone_from(&self.sensing.status);
        (self.keep)(&self.record);
    }
}

/// "1 cycle", "3 cycles".
fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// To two digits behind the point, and never minus nought.
pub(in crate::commission) fn plain(percent: f64) -> f64 {
    (percent * 100.0).round() / 100.0 + 0.0
}

/// A number that came, for people.
pub(in crate::commission) fn told(travel: Option<f64>) -> String {
    travel.map_or_else(|| "travel not told".to_owned(), |t| format!("travel {:.2} %", plain(t)))
}
