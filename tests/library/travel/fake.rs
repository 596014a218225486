//! A line with one device, a stimulus and a person, all in this process and on a clock that only they move.

use looprig::app::command::Revision;
use looprig::app::command::described::DeviceType;
use looprig::commission::person::{Answer, Kind, Person, Question};
use looprig::commission::travel::record::{Plan, Record, Test};
use looprig::commission::travel::{Gauge, Reading, Readings, Setup, Source, run};
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{Address, Frame, Good, Master, Octet, Target, UniqueAddress};
use looprig::host::stimulus::{Act, Capabilities, Given, LeftAt, SetPoint, Stimulus, StimulusError};
use looprig::host::{Ask, Device, HostError};
use looprig::time::Instant;
use looprig::transaction::{Kind as Began, Oddities, Outcome, Transaction};
use oorandom::Rand64;
use std::cell::RefCell;
use std::collections::VecDeque;
use std::rc::Rc;
use std::time::Duration;

/// A request and its answer: 150 ms, 30 ms between, 220 ms.
const REQUEST: Duration = Duration::from_millis(150);
const BETWEEN: Duration = Duration::from_millis(30);
const ANSWER: Duration = Duration::from_millis(220);

/// A valve that follows its input after a dead time, at a rate, with play, as far as its stops.
pub struct Valve {
    pub now: Instant,
    pub play_percent: f64,
    pub rate_percent_per_s: f64,
    pub stuck: bool,
    /// It goes no further.
    pub most_percent: f64,
    /// Added to what the device reads of the loop current, mA.
    pub current_error_ma: f64,
    /// Where the valve goes when something is taken away: closed.
    pub lost: Option<Act>,
    pub input: f64,
    pub travel: f64,
    /// Where a hand moves it to, at 8 %/s; the air is off.
    pub hand: Option<f64>,
    /// What the sensor tells of a travel.
    pub sensor: fn(f64) -> f64,
    /// The valve goes against its set point.
    pub backwards: bool,
    /// What moves the valve follows the input after this time, s ...
    pub dead_time_s: f64,
    /// ... and with this time constant, s; 0: at once.
    pub lag_s: f64,
    /// Inputs that are still under way, and when they arrive.
    pub under_way: VecDeque<(Instant, f64)>,
    /// Where what moves the valve is, percent.
    pub driven: f64,
    pub arrived: f64,
    /// What lever and clamp add at most, percent: 0 at both ends and half way.
    pub lever_percent: f64,
    /// Standard deviation of the sensor's readings, percent, and the least that they differ by.
    pub noise_percent: f64,
    pub resolution_percent: f64,
    /// The least that the gauge shows, mm; 0: all.
    pub gauge_step_mm: f64,
    pub dice: Rand64,
    /// It sticks until it is driven so far away, percent.
    pub stick_percent: f64,
    /// It slips just now.
    pub slips: bool,
    /// True travel, s and percent, every 5 ms since each move of the set point; where it is wanted.
    pub trace: Option<Vec<Vec<(f64, f64)>>>,
}

impl Valve {
    pub fn new() -> Valve {
        Valve {
            now: Instant::ZERO,
            play_percent: 0.0,
            rate_percent_per_s: 20.0,
            stuck: false,
            most_percent: 100.0,
            current_error_ma: 0.0,
            lost: None,
            input: 0.0,
            travel: 0.0,
            hand: None,
            sensor: |travel| travel,
            backwards: false,
            dead_time_s: 0.0,
            lag_s: 0.0,
            under_way: VecDeque::new(),
            driven: 0.0,
            arrived: 0.0,
            lever_percent: 0.0,
            noise_percent: 0.0,
            resolution_percent: 0.0,
            gauge_step_mm: 0.0,
            dice: Rand64::new(1),
            stick_percent: 0.0,
            slips: false,
            trace: None,
        }
    }

    /// What the sensor sees of a travel, percent: that of a lever that is not square.
    pub fn seen(&self, travel: f64) -> f64 {
        (self.sensor)(travel) + self.lever_percent * (core::f64::consts::TAU * travel / 100.0).sin()
    }

    /// A reading: with noise (twelve dice make a normal one), in steps.
    fn read(&mut self) -> f64 {
        let dice: f64 = (0..12).map(|_| self.dice.rand_float()).sum();
        let p = self.seen(self.travel) + self.noise_percent * (dice - 6.0);
        let step = self.resolution_percent;
        if step > 0.0 { (p / step).round() * step } else { p }
    }

    fn gauge_mm(&self) -> f64 {
        let mm = self.travel * 0.4;
        let step = self.gauge_step_mm;
        if step > 0.0 { (mm / step).round() * step } else { mm }
    }

    pub fn set(&mut self, percent: f64) {
        self.input = percent;
        self.under_way.push_back((self.now + Duration::from_secs_f64(self.dead_time_s), percent));
        if let Some(trace) = &mut self.trace {
            trace.push(Vec::new());
        }
    }

    fn pass(&mut self, time: Duration) {
        let mut left = time;
        while !left.is_zero() {
            let step = left.min(Duration::from_millis(5));
            left -= step;
            self.now += step;
            let (now_s, travel) = (self.now.as_secs_f64(), self.travel);
            if let Some(trace) = self.trace.as_mut().and_then(|t| t.last_mut()) {
                trace.push((now_s, travel));
            }
            if let Some(to) = self.hand {
                let far = 8.0 * step.as_secs_f64();
                self.travel += (to - self.travel).clamp(-far, far);
                continue;
            }
            if self.stuck {
                continue;
            }
            while self.under_way.front().is_some_and(|w| w.0 <= self.now) {
                let (_, arrived) = self.under_way.pop_front().expect("there is one");
                self.arrived = arrived;
            }
            let demand = if self.lost.is_some() { -5.0 } else { self.arrived };
            let demand = if self.backwards { 100.0 - demand } else { demand };
            // The lag and the largest rate are those of what drives the valve; the play lies behind it.
            let dt = step.as_secs_f64();
            let share = if self.lag_s > 0.0 { 1.0 - (-dt / self.lag_s).exp() } else { 1.0 };
            let far = self.rate_percent_per_s * dt;
            self.driven += ((demand - self.driven) * share).clamp(-far, far);
            let half = self.play_percent / 2.0;
            let goal = self.travel.clamp(self.driven - half, self.driven + half);
            let goal = goal.clamp(0.0, self.most_percent);
            if (goal - self.travel).abs() >= self.stick_percent || self.slips {
                self.slips = (goal - self.travel).abs() > 1e-3;
                self.travel = goal;
            }
        }
    }
}

/// What happens when.
#[derive(Clone, Copy, Default)]
pub struct Script {
    /// From this request on (counted from 0) the device is silent.
    pub silent_from: Option<usize>,
    /// ... up to this one.
    pub silent_until: Option<usize>,
    /// This call of the line is interrupted, once.
    pub interrupted_at: Option<usize>,
    /// This question is answered by that the person stops; all later ones as well.
    pub stops_at: Option<usize>,
    /// This question is answered by what does not fit.
    pub nonsense_at: Option<usize>,
    /// Whoever moves the set point says so this often and does nothing.
    pub idle_sets: usize,
    /// This move of the set point fails.
    pub fails_at: Option<usize>,
    /// Leaving the set point fails.
    pub leaving_fails: bool,
    /// The device says nothing without current.
    pub dead_without_current: bool,
    /// What the device tells as its travel is its set point.
    pub tells_set_point: bool,
    /// ... and what it tells as its set point is its travel.
    pub swapped: bool,
    /// Whoever looks at the valve in a loss says that it stays.
    pub sees_it_stay: bool,
    /// Leave is not given to take anything away.
    pub refuses_losses: bool,
    /// Whoever takes something away says so and does nothing.
    pub idle_acts: bool,
    /// Command 3 tells the air supply, bar.
    pub tells_supply: bool,
    /// There is a gauge of the air supply.
    pub has_gauge: bool,
    /// Both gauges do the same.
    pub gauges_together: bool,
    /// All numbers are none.
    pub numberless: bool,
}

pub struct World {
    pub valve: Valve,
    pub script: Script,
    pub requests: usize,
    pub calls: usize,
    pub sets: Vec<SetPoint>,
    pub acts: Vec<Act>,
    pub left: usize,
    pub questions: Vec<Question>,
    pub told: Vec<String>,
}

pub type Shared = Rc<RefCell<World>>;

pub fn world(valve: Valve, script: Script) -> Shared {
    Rc::new(RefCell::new(World {
        valve,
        script,
        requests: 0,
        calls: 0,
        sets: Vec::new(),
        acts: Vec::new(),
        left: 0,
        questions: Vec::new(),
        told: Vec::new(),
    }))
}

pub struct Line(pub Shared, Interpreter);

impl Line {
    pub fn new(world: &Shared) -> Line {
        Line(world.clone(), Interpreter::new(Some(Revision::R7)))
    }
}

pub fn device() -> Device {
    Device {
        unique: UniqueAddress::from_octets([0x3D, 0x71, 0, 0x31, 4]),
        revision: Revision::R7,
        preambles: 5,
        device_type: DeviceType::Expanded(0xFD71),
    }
}

fn called(world: &mut World) -> Result<(), HostError> {
    let n = world.calls;
    world.calls += 1;
    if world.script.interrupted_at == Some(n) { Err(HostError::Interrupted) } else { Ok(()) }
}

impl Ask for Line {
    fn ask_octets(&mut self, d: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError> {
        let mut world = self.0.borrow_mut();
        let world = &mut *world;
        called(world)?;
        let n = world.requests;
        world.requests += 1;
        let address = Address::new(Master::Secondary, Target::Unique(d.unique));
        let good = |frame, at| Good { octets: vec![Octet::clean(at, 0xFF)], preambles: 5, frame };
        world.valve.pass(REQUEST);
        let request =
            good(Frame::request(address, command, data.clone()).expect("short data"), world.valve.now);
        world.valve.pass(BETWEEN / 2);
        let travel = world.valve.read();
        world.valve.pass(BETWEEN - BETWEEN / 2);
        let s = world.script;
        let silent = s.silent_from.is_some_and(|from| n >= from)
            && s.silent_until.is_none_or(|until| n < until)
            || s.dead_without_current && world.valve.lost == Some(Act::LoseCurrent);
        let ma = match world.valve.lost {
            Some(Act::LoseCurrent) => 0.0,
            _ => (4.0 + 0.16 * world.valve.input + world.valve.current_error_ma) as f32,
        };
        let supply_bar: f32 = if world.valve.lost == Some(Act::LoseAir) { 0.0 } else { 1.4 };
        let travel = if s.tells_set_point || s.swapped { world.valve.input } else { travel };
        let told = if s.numberless { f32::NAN } else { travel as f32 };
        let set_point = if s.swapped { world.valve.travel } else { world.valve.input };
        let input = (set_point as f32).to_be_bytes();
        let (status, reply) = match command {
            2 => (0, [ma.to_be_bytes(), told.to_be_bytes()].concat()),
            // Primary variable in percent (unit 57), secondary in bar (unit 7).
            3 if s.tells_supply => (
                0,
                [&ma.to_be_bytes()[..], &[57], &told.to_be_bytes(), &[7], &supply_bar.to_be_bytes()].concat(),
            ),
            // Variable 2 is the set point, in percent (unit 57), classification 0, quality good.
            9 => (0, [&[0, data[0], 0, 57][..], &input, &[0xC0, 0, 0, 0, 0]].concat()),
            _ => (64, Vec::new()),
        };
        let reply = Frame::reply(false, address, command, [status, 0], reply).expect("short data");
        let reply = (!silent).then(|| good(reply, world.valve.now));
        world.valve.pass(ANSWER);
        Ok(self.1.read(Transaction {
            kind: Began::Asked,
            outcome: if silent { Outcome::Silent } else { Outcome::Answered },
            tries: vec![request],
            interludes: Vec::new(),
            reply,
            response_time: None,
            oddities: Oddities::NONE,
        }))
    }

    fn rest(&mut self, time: Duration) -> Result<(), HostError> {
        let mut world = self.0.borrow_mut();
        called(&mut world)?;
        world.valve.pass(time);
        Ok(())
    }

    fn now(&mut self) -> Instant {
        self.0.borrow().valve.now
    }
}

pub struct Mover(pub Shared, pub Capabilities);

pub const ALL: Capabilities =
    Capabilities { sets_current: true, current: true, air: true, trip: true, is_person: false };

impl Stimulus for Mover {
    fn describe(&self) -> String {
        "the calibrator of the test".to_owned()
    }

    fn capabilities(&self) -> Capabilities {
        self.1
    }

    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        let at = ask.now();
        let mut world = self.0.borrow_mut();
        let n = world.sets.len();
        world.sets.push(to);
        if world.script.fails_at == Some(n) {
            return Err(StimulusError::Failed { what: "it is broken".into(), next: "take another".into() });
        }
        if n >= world.script.idle_sets {
            world.valve.set(to.percent());
        }
        Ok(Given { at, uncertain: Duration::from_millis(5) })
    }

    fn act(&mut self, ask: &mut dyn Ask, act: Act) -> Result<Given, StimulusError> {
        if self.1.is_person {
            // The question is read, something is done, the key is pressed: nothing is read meanwhile.
            self.0.borrow_mut().valve.pass(Duration::from_secs(20));
        }
        let at = ask.now();
        let mut world = self.0.borrow_mut();
        world.acts.push(act);
        world.valve.lost = match act {
            _ if world.script.idle_acts => None,
            Act::LoseCurrent | Act::LoseAir | Act::Trip => Some(act),
            _ => None,
        };
        Ok(Given { at, uncertain: Duration::ZERO })
    }

    fn leave(&mut self, _: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        let mut world = self.0.borrow_mut();
        world.left += 1;
        if world.script.leaving_fails {
            return Err(StimulusError::Cannot { what: "leave".into() });
        }
        world.valve.lost = None;
        world.valve.set(0.0);
        Ok(LeftAt { percent: Some(0.0), words: "The set point is left at 4 mA.".into() })
    }
}

/// Answers yes, done, closed, and what a gauge of 0 to 40 mm and a control system without error show.
pub struct Technician(pub Shared);

impl Person for Technician {
    fn ask(&mut self, q: &Question) -> Answer {
        let mut world = self.0.borrow_mut();
        let n = world.questions.len();
        world.questions.push(q.clone());
        if world.script.stops_at.is_some_and(|at| n >= at) {
            return Answer::Stop(looprig::host::stimulus::Why::Said);
        }
        if world.script.nonsense_at == Some(n) {
            return Answer::Number(1e9);
        }
        match q.id.as_str() {
            "device_check/closed" | "device_check/closing" | "device_check/back" => {
                world.valve.hand = Some(0.0);
                // A hand takes its time before the key is pressed.
                if q.id != "device_check/closing" {
                    world.valve.pass(Duration::from_secs(15));
                }
            }
            "device_check/opening" => world.valve.hand = Some(100.0),
            "device_check/air_on" => world.valve.hand = None,
            // Of a scale of 0 to 40 mm: 0.1 mm are 0.25 %.
            "travel/division" => return Answer::Number(0.1),
            // The gauge of the supply, kPa.
            "travel/loss/air/supply_before" | "travel/loss/air/supply_during" if world.script.has_gauge => {
                let is_shut = world.valve.lost == Some(Act::LoseAir);
                return Answer::Number(if is_shut { 0.0 } else { 140.0 });
            }
            "device_check/at_rest" => return Answer::Choice("bleeding".into()),
            _ => {}
        }
        if q.id.starts_with("device_check/jog/") {
            let rises = match world.sets[..] {
                [.., before, now] => now.percent() > before.percent(),
                _ => false,
            };
            let rises = rises != (q.id.ends_with("second") && !world.script.gauges_together);
            return Answer::Choice(if rises { "rises" } else { "falls" }.into());
        }
        match &q.kind {
            Kind::Enter => Answer::Done,
            Kind::YesNo if world.script.refuses_losses && q.id.starts_with("travel/loss/") => Answer::No,
            Kind::YesNo => Answer::Yes,
            Kind::Number { unit, .. } if unit == "mm" => Answer::Number(world.valve.gauge_mm()),
            Kind::Number { unit, .. } if unit == "%" => Answer::Number(world.valve.input),
            Kind::Number { .. } => Answer::DontKnow,
            Kind::Choice(_) if world.script.sees_it_stay => Answer::Choice("stays".into()),
            Kind::Choice(list) => Answer::Choice(list[0].name.clone()),
            Kind::Text => Answer::Text(String::new()),
        }
    }

    fn tell(&mut self, words: &str) {
        self.0.borrow_mut().told.push(words.to_owned());
    }
}

pub fn readings() -> Readings {
    Readings {
        travel: Reading::plain(Source::value(2, "percent_of_range")),
        set_point: Some(Reading::plain(Source::Variable(2))),
        current: Some(Reading::plain(Source::value(2, "loop_current"))),
        angle: None,
        remark: String::new(),
        assumed: false,
    }
}

/// Runs a test; the record, and what happened.
pub fn tested(world: &Shared, capabilities: Capabilities, test: Test, plan: Plan) -> Record {
    tested_from(world, capabilities, Record { external: Some(Default::default()), ..Record::new(test, plan) })
}

/// The same from a record with what is known before.
pub fn tested_from(world: &Shared, capabilities: Capabilities, record: Record) -> Record {
    let mut kept = 0;
    let record = tested_by(world, capabilities, record, &mut |_| kept += 1);
    assert!(kept > 0, "a record is kept at the end at least");
    record
}

/// A test of this plan, with all that is kept on the way.
pub fn kept_of(world: &Shared, plan: Plan, keep: &mut dyn FnMut(&Record)) -> Record {
    let record = Record { external: Some(Default::default()), ..Record::new(Test::Travel, plan) };
    tested_by(world, ALL, record, keep)
}

fn tested_by(
    world: &Shared,
    capabilities: Capabilities,
    record: Record,
    keep: &mut dyn FnMut(&Record),
) -> Record {
    let gauge = Gauge { name: "stem scale".into(), unit: "mm".into(), closed: 0.0, open: 40.0 };
    let (mut line, mut mover, mut person) =
        (Line::new(world), Mover(world.clone(), capabilities), Technician(world.clone()));
    run(
        Setup {
            ask: &mut line,
            device: device(),
            stimulus: &mut mover,
            person: &mut person,
            readings: readings(),
            gauge: Some(gauge),
            control_system: true,
            keep,
        },
        record,
    )
}
