//! What is truly so on a bench, each 50 ms: what a person could see, measure or feel there.

use crate::bench::{BenchPlan, Waiting};
use crate::frame::RawFrame;
use crate::host::stimulus::{Act, Capabilities as Can, Given, LeftAt, SetPoint, StimulusError};
use crate::host::{Ask, Stimulus};
use crate::line::{Error, Event, InProcess, Line, SendsFaults, Source};
use crate::plant::air::Restriction;
use crate::plant::fault::Faults;
use crate::plant::friction::FrictionConfig;
use crate::sim::{Change, Dark, DeviceStation, Loop, Participant, Power, SiteFault, SiteFaults};
use crate::time::Instant;
use core::time::Duration;
use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;

/// How often is looked.
pub const LOOK: Duration = Duration::from_millis(50);
/// No current: below what a meter of some 10 megohm takes at 24 V, A.
const NO_CURRENT_A: f64 = 2e-6;
/// The most that is kept: an hour.
const MOST: usize = 72_000;

/// How it is at one moment. Pressures in Pa gauge, travel in percent, currents in mA.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// When, on the line's clock.
    pub at: Instant,
    /// True travel.
    pub travel: f64,
    /// Travel as the device makes it of its lever's angle, beyond 0 to 100 too; `None` without power.
    pub told: Option<f64>,
    /// The travel that the device wants; `None` without power, or where it wants none.
    pub wanted: Option<f64>,
    /// The loop current as the device measures it; `None` without power.
    pub measured_ma: Option<f64>,
    /// The current through the device, which an ammeter at its terminals shows but for water behind them.
    pub current_ma: f64,
    /// What the card drives; `None` on a supply.
    pub card_ma: Option<f64>,
    /// Volts between its terminals; of a device that they do not suffice those that it would have to work with, and none where nobody
    /// makes a current [TG-53].
    pub volts_v: f64,
    /// Whether it works.
    pub is_on: bool,
    /// At the positioner's inlet.
    pub supply_pa: f64,
    /// At the regulator's own gauge.
    pub regulator_pa: f64,
    /// At both outputs.
    pub outputs_pa: [f64; 2],
    /// In both chambers.
    pub chambers_pa: [f64; 2],
    /// Force of the spring, N.
    pub spring_n: f64,
    /// Way of the stem, m.
    pub stem_m: f64,
    /// Leaks, kg/s: at the casing, at the tube.
    pub leaks_kg_per_s: [f64; 2],
    /// Where the output stage's pilot stands.
    pub pilot: f64,
    /// Whether the device tells that its supply is low, that its lever is outside.
    pub alarms: [bool; 2],
}

/// The state of the parts at the end, as somebody finds it who looks at them.
#[derive(Clone, Debug, PartialEq)]
pub struct Parts {
    /// Of the valve.
    pub valve: Faults,
    /// Of the device and its settings.
    pub site: SiteFaults,
    /// Of the loop.
    pub of_loop: SiteFaults,
    /// How much a second master asks, 0 to 1.
    pub second_master: f64,
    /// Volts of the supply, or the most that the card can give: as rated, and as they are.
    pub source_v: [f64; 2],
    /// Friction of the stem.
    pub friction: FrictionConfig,
    /// What leaks from one chamber of a piston to the other.
    pub seal: Restriction,
    /// Whether requests reach the device and its answers come back, by the levels alone.
    pub is_heard: bool,
    /// Whether it bursts.
    pub bursts: bool,
    /// Whether its set point is given by hand.
    pub by_hand: bool,
    /// Its polling address.
    pub polling_address: u8,
    /// Whether its last calibration is done.
    pub is_calibrated: bool,
}

/// What was seen.
#[derive(Clone, Debug, Default)]
pub struct Record {
    /// Each 50 ms and at each event, in order of time.
    pub samples: Vec<Sample>,
    /// When the set point was moved, and to what, percent.
    pub moves: Vec<(Instant, f64)>,
}

#[derive(Default)]
struct Shared {
    record: Record,
    waiting: Waiting,
}

/// A bench's line under eyes. It makes the changes that its [`Drive`] orders.
pub struct Watched {
    line: InProcess<Participant>,
    plan: Arc<BenchPlan>,
    shared: Rc<RefCell<Shared>>,
}

impl Watched {
    /// A line that is looked at from now on, behind what was seen before.
    pub fn new(line: InProcess<Participant>, plan: Arc<BenchPlan>, before: Record) -> Watched {
        let shared = Shared { record: before, waiting: Waiting::default() };
        Watched { line, plan, shared: Rc::new(RefCell::new(shared)) }
    }

    /// Who moves the set point of this bench.
    pub fn drive(&self) -> Drive {
        Drive { plan: Arc::clone(&self.plan), shared: Rc::clone(&self.shared), last: 50.0 }
    }

    /// Looks at what was seen so far.
    pub fn with_record<T>(&self, look: impl FnOnce(&Record) -> T) -> T {
        look(&self.shared.borrow().record)
    }

    /// What was seen so far.
    pub fn record(&self) -> Record {
        self.shared.borrow().record.clone()
    }

    /// The line alone.
    pub fn into_line(self) -> InProcess<Participant> {
        self.line
    }

    /// The parts as they are now.
    pub fn parts(&mut self) -> Option<Parts> {
        let now = self.line.now();
        let bus = self.line.bus();
        let of_loop = bus.around::<Loop>().map(|l| *l.faults()).unwrap_or_default();
        let source_v = bus.around::<Loop>().map_or([0.0; 2], |l| [l.supply_v(), l.supply_left_v()]);
        let second_master = bus.stations().find_map(|s| s.second_master()).map_or(0.0, |m| m.severity());
        let (port, device) = (Source::Port(0), Source::Station(0));
        let is_heard = bus.reach(port, device).heard && bus.reach(device, port).heard;
        let shown = bus.shown(0, now);
        let station = self.line.bus_mut().station_mut(0).and_then(Participant::device_mut)?;
        station.come_to(shown);
        let (device, valve) = (station.device(), station.valve()?);
        Some(Parts {
            valve: *valve.faults(),
            site: *station.faults(),
            of_loop,
            second_master,
            source_v,
            friction: *valve.valve().friction_in_force(),
            seal: valve.valve().seal_leak_in_force(),
            is_heard,
            bursts: device.bursts(),
            by_hand: device.by_hand_percent().is_some(),
            polling_address: device.polling_address(),
            is_calibrated: device.electronics().is_some_and(|e| e.calibrated().is_some()),
        })
    }

    fn make(&mut self) {
        let now = self.line.now();
        let waiting = self.shared.borrow().waiting.clone();
        waiting.make(&self.plan, self.line.bus_mut(), now);
    }

    fn look(&mut self) {
        let now = self.line.now();
        let is_full = {
            let record = &self.shared.borrow().record;
            record.samples.len() >= MOST || record.samples.last().is_some_and(|s| now.since(s.at) < LOOK)
        };
        if is_full {
            return;
        }
        let card_ma = self.line.bus().around::<Loop>().and_then(Loop::carried_ma);
        let shown = self.line.bus().shown(0, now);
        let station = self.line.bus_mut().station_mut(0).and_then(Participant::device_mut);
        let Some(station) = station else { return };
        station.come_to(shown);
        let sample = sample(station, now, card_ma);
        self.shared.borrow_mut().record.samples.extend(sample);
    }
}

fn sample(station: &DeviceStation, at: Instant, card_ma: Option<f64>) -> Option<Sample> {
    use crate::device::positioner::{Alarm, Wanted};
    let r = station.valve()?.readings();
    let supplied = station.supplied()?;
    let device = station.device();
    let electronics = device.electronics()?;
    let is_on = station.is_on();
    let wanted = electronics.wanted().map(|w| match w {
        Wanted::Travel(percent) => percent,
        Wanted::Shut => 0.0,
        Wanted::WideOpen => 100.0,
    });
    Some(Sample {
        at,
        travel: r.travel_percent,
        told: electronics.travel_percent().filter(|_| is_on),
        wanted: wanted.filter(|_| is_on),
        measured_ma: is_on.then(|| device.loop_current_ma()),
        current_ma: supplied.current_a * 1e3,
        card_ma,
        volts_v: match supplied.power {
            // It has gone dark at these, and then draws nothing.
            Power::Off(Dark::Volts { volts_v, .. }) => volts_v.min(supplied.volts_v),
            // Nobody makes a current: nothing falls across anything, and the meter shows nothing [TG-53].
            Power::Off(Dark::Current { wanted_a, .. }) if wanted_a <= NO_CURRENT_A => 0.0,
            _ => supplied.volts_v,
        },
        is_on,
        supply_pa: r.supply_gauge_pa,
        regulator_pa: r.regulator_gauge_pa,
        outputs_pa: r.output_gauge_pa,
        chambers_pa: r.chamber_gauge_pa,
        spring_n: r.spring_n,
        stem_m: r.stem_m,
        leaks_kg_per_s: [r.casing_leak_kg_per_s, r.tube_leak_kg_per_s],
        pilot: r.pilot,
        alarms: [Alarm::SupplyLow, Alarm::LeverOutside].map(|a| is_on && device.alarms().has(a)),
    })
}

impl Line for Watched {
    crate::line::says_as_line!(line);
    fn sends_faults(&self) -> SendsFaults {
        self.line.sends_faults()
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.make();
        self.line.send_raw(frame)
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.make();
        self.line.send(octets)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        loop {
            self.make();
            let part = self.line.now() + LOOK;
            let to = until.map_or(part, |u| u.min(part));
            let event = self.line.wait(Some(to))?;
            self.look();
            if event != Event::TimeOut || until.is_some_and(|u| u <= to) {
                return Ok(event);
            }
        }
    }
}

/// Moves the set point of a bench under eyes.
pub struct Drive {
    plan: Arc<BenchPlan>,
    shared: Rc<RefCell<Shared>>,
    last: f64,
}

impl Drive {
    /// Moves it now.
    pub fn to(&mut self, now: Instant, percent: f64) -> Result<(), (String, String)> {
        let mut shared = self.shared.borrow_mut();
        let ma = SetPoint::Percent(percent).current_ma();
        shared.waiting.order(&self.plan, None, Change::LoopCurrentMa(ma))?;
        shared.record.moves.push((now, percent));
        self.last = percent;
        Ok(())
    }
}

impl Stimulus for Drive {
    fn describe(&self) -> String {
        "the bench".to_owned()
    }

    fn capabilities(&self) -> Can {
        Can { sets_current: true, ..Can::default() }
    }

    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        let at = ask.now();
        self.to(at, to.percent()).map_err(|(what, next)| StimulusError::Failed { what, next })?;
        Ok(Given { at, uncertain: Duration::ZERO })
    }

    fn act(&mut self, _: &mut dyn Ask, _: Act) -> Result<Given, StimulusError> {
        Err(StimulusError::Cannot { what: "take anything away".to_owned() })
    }

    fn leave(&mut self, ask: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        self.set(ask, SetPoint::Percent(50.0))?;
        Ok(LeftAt { percent: Some(50.0), words: "The loop current of the bench is 12 mA again.".to_owned() })
    }
}

impl Parts {
    /// How bad a fault of the device, its settings or the loop is.
    pub fn site_severity(&self, name: SiteFault) -> f64 {
        match name {
            SiteFault::SecondMaster => self.second_master,
            name if name.is_of_the_loop() => self.of_loop.severity(name),
            name => self.site.severity(name),
        }
    }
}
