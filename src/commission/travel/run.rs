//! The sequence of a loop check and of a travel test [TV-21].

mod ahead;
mod creeps;
mod lagless;
mod losses;
mod motions;
mod points;

pub(super) use losses::WAITS;

use super::readings::{LINEAR, Readings, characteristic};
use super::record::{
    Drive, Elsewhere, Ended, External, Identity, Left, Record, Sample, Stood, Tail, Test, Variables,
};
use super::sensing::{Halt, Rested, Sensing, Until};
use crate::commission::person::{Answer, Kind, Person, Question, capital};
use crate::host::stimulus::{Given, SetPoint, Why};
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

/// A measurement beside the device's own, as a person reads it.
#[derive(Clone, Debug, PartialEq)]
pub struct Gauge {
    /// What it is, for the question: "stem scale", "dial gauge".
    pub name: String,
    /// Its unit as people write it: `mm`, `deg`, `%`.
    pub unit: String,
    /// What it shows with the valve closed, in the unit.
    pub closed: f64,
    /// What it shows with the valve at its rated travel, in the unit; not the same.
    pub open: f64,
}

impl Gauge {
    /// A value in percent of the rated travel.
    pub fn percent(&self, value: f64) -> f64 {
        (value - self.closed) / (self.open - self.closed) * 100.0
    }

    /// Least and most that makes sense to type: half of the travel beyond either end.
    fn range(&self) -> (f64, f64) {
        let half = (self.open - self.closed) / 2.0;
        let (a, b) = (self.closed - half, self.open + half);
        (a.min(b), a.max(b))
    }
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
/// `.../seen` (one of `closed`, `open`, `stays`) and, unless it stayed, `.../time` (s). Whoever moves the set point may ask more.
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

/// Input over which a valve that was never seen to move counts as one that does not, percent [TV-21].
const STUCK_PERCENT: f64 = 10.0;
/// The same of one that has moved before: its travel may be limited short of its ends, percent [TV-21].
const STOPPED_PERCENT: f64 = 30.0;
/// Travel that stays within this does not move, percent, or within its noise [TV-21].
const STILL_PERCENT: f64 = 0.2;
/// So often in a row the set point may be elsewhere while the valve stands, before the test is given up [TV-83].
const ASTRAY: u32 = 2;
/// How often a person is asked again to set what the device does not read [TV-22].
const SET_AGAIN: u32 = 2;
/// How often the device is read before that, a second apart [TV-22].
const LOOKS: u32 = 3;
/// A measurement that is further away from the device's travel is asked for once more, percent [TV-75].
const SLIP_PERCENT: f64 = 20.0;
/// The question for the smallest division of a scale or gauge, which may stay without an answer [TV-88].
pub const DIVISION: &str = "travel/division";
/// An input that moves less may stay within the dead band: nobody waits for travel to follow, percent (own choice).
const MUST_FOLLOW_PERCENT: f64 = 1.0;

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

    fn leave_to_move(&mut self) -> Result<(), Halt> {
        self.during = "asking for leave to move the valve".to_owned();
        let plan = &self.record.plan;
        let mut parts: Vec<&str> = Vec::new();
        if plan.cycles > 0 {
            parts.push(match self.record.test {
                Test::LoopCheck => "0 to 100 % and back in steps",
                Test::Travel => "cycles over its travel",
            });
        }
        for (has, words) in [
            (!plan.creep_places_percent.is_empty(), "creeping by small moves"),
            (!plan.steps_percent.is_empty(), "steps"),
            (plan.strokes > 0, "strokes from stop to stop, as fast as it goes"),
            (!plan.losses.is_empty(), "loss of what drives it, asked for again"),
        ] {
            if has {
                parts.push(words);
            }
        }
        let words = format!(
            "{} moves: {}.\nFor {}, questions aside. {} moves the set point. May it move now?",
            self.valve(),
            parts.join("; "),
            lasting(plan.usual_s(), plan.most_s()),
            capital(&self.record.stimulus),
        );
        let mut question = Question::new("travel/start", words, Kind::YesNo);
        question.cautions.extend(CAUTIONS.map(str::to_owned));
        question.cautions.push(self.stimulus.will_leave());
        match self.ask(&question)? {
            Answer::Yes => Ok(()),
            _ => Err(Halt::Stopped(Why::Said)),
        }
    }

    /// The valve, for people.
    fn valve(&self) -> String {
        let names = [&self.record.valve.tag, &self.record.device.tag, &self.record.device.long_tag];
        match names.into_iter().find(|n| !n.is_empty()) {
            Some(name) => format!("The valve {name}"),
            None => "The valve".to_owned(),
        }
    }

    /// Says which part begins, for how long it moves as a rule and at most.
    fn announce(&mut self, part: &str, usual_s: f64, most_s: f64) {
        let words = format!("{} moves: {part}, for {}.", self.valve(), lasting(usual_s, most_s));
        self.person.tell(&words);
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

    /// Asks the person; what does not fit the question is as good as nonsense.
    fn ask(&mut self, question: &Question) -> Result<Answer, Halt> {
        ask(self.person, question)
    }

    /// Asks for a number; `None`: it is not known.
    fn ask_number(
        &mut self,
        id: String,
        words: String,
        unit: &str,
        range: (f64, f64),
    ) -> Result<Option<f64>, Halt> {
        let kind = Kind::Number { unit: unit.to_owned(), least: range.0, most: range.1 };
        Ok(match self.ask(&Question::new(id, words, kind))? {
            Answer::Number(x) => Some(x),
            _ => None,
        })
    }

    /// Asks for the measurement beside the device's, if there is one.
    fn external(&mut self, place: &str) -> Result<Option<External>, Halt> {
        let Some(gauge) = self.gauge.clone() else { return Ok(None) };
        self.division(&gauge)?;
        self.asked_external += 1;
        let words = format!("{place}: what does the {} show, in {}?", gauge.name, gauge.unit);
        let id = format!("travel/external/{}", self.asked_external);
        let mut value = self.ask_number(id.clone(), words, &gauge.unit, gauge.range())?;
        if let (Some(typed), Some(travel)) = (value, self.travel)
            && (gauge.percent(typed) - travel).abs() > SLIP_PERCENT
        {
            let words = format!(
                "{typed} {} are {:.1} % of travel, and the device tells {travel:.1} %: is that right? Type it once more, or the right number.",
                gauge.unit,
                gauge.percent(typed)
            );
            value = self.ask_number(id, words, &gauge.unit, gauge.range())?;
        }
        Ok(value.map(|value| External { value, unit: gauge.unit.clone(), percent: gauge.percent(value) }))
    }

    /// Asks once how fine the measurement reads, before it is read first, where nobody has said it [TV-88].
    fn division(&mut self, gauge: &Gauge) -> Result<(), Halt> {
        let is_known = |m: &super::record::Measure| m.resolution_percent.is_some();
        if self.asked_external > 0 || self.record.external.as_ref().is_none_or(is_known) {
            return Ok(());
        }
        let words = format!(
            "What is the smallest division of the {}, in {}? ? if it is not known: then the last digit that is typed counts",
            gauge.name, gauge.unit
        );
        let span = (gauge.open - gauge.closed).abs();
        let told = self.ask_number(DIVISION.to_owned(), words, &gauge.unit, (span * 1e-6, span))?;
        if let (Some(told), Some(measure)) = (told, &mut self.record.external) {
            measure.resolution_percent = Some(told / span * 100.0);
        }
        Ok(())
    }

    /// Moves the set point; gives the moment, s, and by how much it may be wrong, s.
    fn set(&mut self, percent: f64) -> Result<(f64, f64), Halt> {
        let to = match self.stimulus.capabilities().sets_current {
            true => SetPoint::CurrentMa(SetPoint::Percent(percent).current_ma()),
            false => SetPoint::Percent(percent),
        };
        self.ahead(to)?;
        self.tried = true;
        // Where it is while this has not come back is not known.
        self.input = None;
        let mut given = self.stimulus.set(self.sensing.ask, to)?;
        self.input = Some(percent);
        if self.stimulus.capabilities().is_person {
            for _ in 0..SET_AGAIN {
                let Some(wrong) = self.elsewhere_at_once(percent)? else { break };
                let again = format!("{}: set {:.2} mA again.", capital(&wrong), to.current_ma());
                self.person.tell(&again);
                self.input = None;
                given = self.stimulus.set(self.sensing.ask, to)?;
                self.input = Some(percent);
            }
        }
        Ok(self.moment(given))
    }

    /// What the device reads of a set point now.
    fn drive(&mut self, asked_percent: f64) -> Result<Drive, Halt> {
        let sets_current = self.stimulus.capabilities().sets_current;
        let readings = self.sensing.readings.clone();
        Ok(Drive {
            asked_percent,
            asked_ma: sets_current.then(|| SetPoint::Percent(asked_percent).current_ma()),
            read_ma: self.sensing.number(readings.current.as_ref())?,
            set_point_percent: self.sensing.number(readings.set_point.as_ref())?,
        })
    }

    /// Looks whether the set point is where it was asked for, and keeps it where it is not [TV-22] [TV-65].
    fn driven(&mut self, asked_at_s: f64, percent: f64) -> Result<bool, Halt> {
        let drive = self.drive(percent)?;
        let Some(wrong) = drive.wrong() else { return Ok(true) };
        self.record.elsewhere.push(Elsewhere { asked_at_s, drive });
        self.person.tell(&format!("Not judged: {wrong}. Look at the source, the wiring and the selector."));
        Ok(false)
    }

    /// What the device reads elsewhere right after a person has set it; a little time is given to filters [TV-22].
    fn elsewhere_at_once(&mut self, percent: f64) -> Result<Option<String>, Halt> {
        let mut wrong = None;
        for _ in 0..LOOKS {
            self.sensing.travel(false)?;
            wrong = self.drive(percent)?.wrong();
            if wrong.is_none() {
                break;
            }
            self.sensing.ask.rest(core::time::Duration::from_secs(1))?;
        }
        Ok(wrong)
    }

    fn moment(&self, given: Given) -> (f64, f64) {
        (self.sensing.seconds(given.at), given.uncertain.as_secs_f64())
    }

    /// Moves the set point, waits until the valve rests, and looks whether it follows; gives when it was asked, and what was read.
    fn go(&mut self, percent: f64) -> Result<(f64, Rested), Halt> {
        let (asked_at_s, rested) = self.reach(percent)?;
        self.came(&rested)?;
        Ok((asked_at_s, rested))
    }

    /// Moves the set point and waits until the valve rests, or should have.
    fn reach(&mut self, percent: f64) -> Result<(f64, Rested), Halt> {
        let far = self.input.map(|before| (percent - before).abs());
        let (asked_at_s, _) = self.set(percent)?;
        let must = far.is_none_or(|far| far >= MUST_FOLLOW_PERCENT);
        let rest = self.record.plan.rest;
        let until = Until {
            left: self.travel.filter(|_| must),
            near: Some(percent.clamp(0.0, 100.0)),
            least_s: if self.restless { rest.most_s } else { 0.0 },
            most_s: rest.most_s,
            silence: false,
        };
        let rested = self.sensing.settle(asked_at_s, &rest, until)?;
        self.look_for_lag(far, percent, &rested);
        self.restless = !rested.settled;
        self.record.tails.push(Tail::of(&rested.samples, asked_at_s, self.travel, &rest));
        Ok((asked_at_s, rested))
    }

    /// The set point that the device follows, percent, as it tells it, or as its current does; `None`: it tells neither.
    fn set_point_now(&mut self) -> Result<Option<f64>, Halt> {
        let drive = self.drive(0.0)?;
        let of_current = || drive.asked_ma.and(drive.read_ma).map(|ma| (ma - 4.0) / 0.16);
        Ok(drive.set_point_percent.or_else(of_current).map(|p| p.clamp(0.0, 100.0)))
    }

    /// Looks whether travel follows the input at all [TV-83].
    fn came(&mut self, rested: &Rested) -> Result<(), Halt> {
        let Some(travel) = rested.travel() else { return Ok(()) };
        self.travel = Some(travel);
        let sigma = self.sensing.sigma();
        let (far, start) = (STILL_PERCENT.max(5.0 * sigma), self.start);
        let elsewhere = |s: &Sample| s.percent.zip(start).is_some_and(|(p, from)| (p - from).abs() > far);
        self.moved |= rested.samples.iter().any(elsewhere);
        let Some(input) = self.input else { return Ok(()) };
        let asked = input.clamp(0.0, 100.0);
        match self.followed {
            Some((before, at)) if (travel - at).abs() <= STILL_PERCENT.max(3.0 * sigma) => {
                let most = if self.moved { STOPPED_PERCENT } else { STUCK_PERCENT };
                if (asked - before).abs() < most {
                    return Ok(());
                }
                if let Some(wrong) = self.drive(input)?.wrong() {
                    self.astray += 1;
                    return if self.astray < ASTRAY { Ok(()) } else { Err(Halt::NotDriven(wrong)) };
                }
                let stood = Stood { at_percent: travel, from_percent: before, to_percent: asked };
                Err(if self.moved { Halt::Stands(stood) } else { Halt::NoMovement(stood) })
            }
            before => {
                self.moved |= before.is_some();
                self.followed = Some((asked, travel));
                self.astray = 0;
                Ok(())
            }
        }
    }

    /// Ends a test, however it went: the set point is left where it belongs if it was ever moved.
    fn end(mut self, done: Result<(), Halt>) -> Record {
        let last_heard_s = self.sensing.last_heard_s();
        let during = core::mem::take(&mut self.during);
        self.may_be_the_set_point();
        self.record.ended = match done {
            Ok(()) => Ended::Whole,
            Err(halt) => halt.ended(during, last_heard_s),
        };
        if self.tried {
            let left = leave(self.stimulus, self.sensing.ask);
            if let (Err(what), Ended::Whole) = (&left, &self.record.ended) {
                let during = "leaving the set point where it belongs".to_owned();
                self.record.ended = Ended::Failed { during, what: what.clone() };
            }
            // Whoever moves the set point gives back what was taken, and then leaves.
            if left.is_ok() {
                let taken = self.stimulus.still_taken();
                let back = |f: &&mut super::record::Fail| !taken.contains(&f.loss.acts().0);
                self.record.fails.iter_mut().filter(back).for_each(|f| f.restored = true);
            }
            let left = left.unwrap_or_else(|what| not_left(self.stimulus, &what));
            self.record.left = Some(ahead::as_read(left, &self.record));
        }
        if let Some(left) = &self.record.left {
            self.person.tell(&left.words);
        }
        self.keep();
        self.record
    }
}

/// Leaves the set point; why it could not be, if it could not.
pub(in crate::commission) fn leave(stimulus: &mut dyn Stimulus, ask: &mut dyn Ask) -> Result<Left, String> {
    match stimulus.leave(ask) {
        Ok(at) => Ok(Left { percent: at.percent, words: at.words }),
        Err(e) => Err(format!("It could not be left as it should: {e}")),
    }
}

/// Where a set point is that could not be left, as far as is known [TV-76].
pub(in crate::commission) fn not_left(stimulus: &dyn Stimulus, what: &str) -> Left {
    match stimulus.stays() {
        Some(at) => Left { percent: at.percent, words: format!("{} {what}", at.words) },
        None => {
            let words = format!("Where the set point was left is not known. {what}");
            Left { percent: None, words }
        }
    }
}

/// Asks a person; what does not fit the question is as good as nonsense.
pub(in crate::commission) fn ask(person: &mut dyn Person, question: &Question) -> Result<Answer, Halt> {
    match person.ask(question) {
        Answer::Stop(why) => Err(Halt::Stopped(why)),
        answer if question.takes(&answer) => Ok(answer),
        _ => Err(Halt::Stopped(Why::Nonsense)),
    }
}

/// Reads who a device is: what it says of itself, tag and long tag. What it does not have stays empty.
pub(in crate::commission) fn identify(sensing: &mut Sensing<'_>) -> Result<Identity, Halt> {
    let device = sensing.device;
    let octets = device.unique.octets();
    let mut out = Identity {
        unique_address: octets.iter().map(|o| format!("{o:02X}")).collect(),
        revision: Some(device.revision.number()),
        ..Identity::default()
    };
    let zero = sensing.read(0, &[])?.exchange;
    let cell =
        |e: &crate::exchange::Exchange, name: &str| e.value(name).map(|f| f.cell()).unwrap_or_default();
    out.manufacturer = [cell(&zero, "manufacturer"), cell(&zero, "manufacturer_id")]
        .into_iter()
        .find(|t| !t.is_empty())
        .unwrap_or_default();
    out.device_type = [cell(&zero, "device_type"), cell(&zero, "expanded_device_type")]
        .into_iter()
        .find(|t| !t.is_empty())
        .unwrap_or_default();
    // A code alone says nothing to people; a description has the name.
    if let Some(described) = sensing.ask.described(&device).map(|d| d.description()) {
        out.device_type = match out.device_type.contains(&described.name) {
            true => out.device_type,
            false => format!("{} ({})", described.name, out.device_type),
        };
    }
    out.serial = cell(&zero, "device_id");
    out.tag = cell(&sensing.read(13, &[])?.exchange, "tag");
    if device.revision >= crate::app::command::Revision::R6 {
        out.long_tag = cell(&sensing.read(20, &[])?.exchange, "long_tag");
    }
    Ok(out)
}

/// A time as it usually is and as it is at most, as people say it [TV-77].
fn lasting(usual_s: f64, most_s: f64) -> String {
    let usual_s = usual_s.min(most_s);
    // Where next to nothing follows, creeping takes hours: nobody plans by them.
    match most_s > FAR * usual_s {
        true => format!("about {}, longer if it sticks", time(usual_s)),
        false => format!("about {} ({} at most)", time(usual_s), time(most_s)),
    }
}

fn time(seconds: f64) -> String {
    match seconds {
        s if s < 90.0 => format!("{s:.0} s"),
        s if s <= 5400.0 => format!("{:.0} min", (s / 60.0).ceil()),
        s => format!("{:.0} h", (s / 3600.0).ceil()),
    }
}

/// So many times as long as usual a time says nothing to anybody (own choice).
const FAR: f64 = 10.0;

/// "1 cycle", "3 cycles".
fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// A number that came, for people.
pub(in crate::commission) fn told(travel: Option<f64>) -> String {
    travel.map_or_else(|| "travel not told".to_owned(), |t| format!("travel {t:.2} %"))
}
