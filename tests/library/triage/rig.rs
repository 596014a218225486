//! A bench in this process whose loop current somebody sets and on which faults are put in while a host asks.

use looprig::app::command::{Catalogue, Described};
use looprig::bench::{self, BenchPlan, Waiting, read_description};
use looprig::commission::person::{Answer, Kind, Person, Question};
use looprig::frame::RawFrame;
use looprig::host::stimulus::{Act, Capabilities, Given, LeftAt, SetPoint, StimulusError, Why};
use looprig::host::{Ask, Host, Stimulus};
use looprig::line::{Error, Event, InProcess, Line, SendsFaults};
use looprig::link::MasterConfig;
use looprig::plant::fault::FaultName;
use looprig::sim::{Change, Participant, SiteFault};
use looprig::time::Instant;
use std::path::Path;
use std::sync::OnceLock;
use std::time::Duration;

/// What feeds the loop: a supply of 24 V behind 250 ohm, or a card of 20 V [DV-111].
pub const SUPPLY: &str = "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n";
const CARD: &str = "[loop.card]\ncompliance_v = 20\nimpedance_ohm = 5000\n";

/// A bench with what feeds its loop and what its regulator is set to.
pub fn text(feeds: &str, supply_bar: f64) -> String {
    format!(
        "[loop]\ncurrent_ma = 12\n{feeds}[loop.master]\nimpedance_ohm = 5000\n[[loop.device]]\ntag = \"FV-3104\"\n\
         min_voltage_v = 9\nmin_current_ma = 3.6\ncapacitance_nf = 0\ntransmit_ma_pp = 1\n[[device]]\ntag = \"FV-3104\"\n\
         [device.air]\nsupply_pressure_bar = {supply_bar:.4}\n[device.valve]\nstroke_mm = 20\n[device.valve.fail]\n\
         trip_dm3_per_s_bar = 2\n[device.positioner]\nmounting = \"opening_raises\"\ncalibrated = true\n[[line]]\nat = \"pty:\"\n"
    )
}

/// A bench whose changes are made between two waits.
#[derive(Clone)]
pub struct Bench {
    line: InProcess<Participant>,
    plan: std::rc::Rc<BenchPlan>,
    waiting: Waiting,
    waits: usize,
    /// At which wait somebody presses Ctrl-C.
    pub interrupted_at: Option<usize>,
}

impl Line for Bench {
    looprig::says_as_line!(line);
    fn sends_faults(&self) -> SendsFaults {
        self.line.sends_faults()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.make();
        self.line.send(octets)
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.make();
        self.line.send_raw(frame)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        self.make();
        self.waits += 1;
        if self.interrupted_at.is_some_and(|n| n == self.waits) {
            return Ok(Event::Interrupted);
        }
        self.line.wait(until)
    }
}

impl Bench {
    pub fn new(text: &str) -> Bench {
        let plan = bench::check(text, Path::new("triage.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"));
        Bench::of(plan)
    }

    /// The calibrated bench of a generated valve [DV-94]: on a card or a supply behind a resistor.
    pub fn generated(seed: u64) -> Bench {
        let valve = looprig::plant::generated::valve(seed).valve;
        let feeds = if seed.is_multiple_of(2) { CARD } else { SUPPLY };
        let supply_bar = valve.supply.at_rest_gauge_pa() / 1e5;
        let mut plan = bench::check(&text(feeds, supply_bar), Path::new("triage.toml"))
            .unwrap_or_else(|e| panic!("{e}"));
        plan.seed = Some(seed);
        bench::fit_valve(&mut plan, 0, valve);
        Bench::of(plan)
    }

    /// What the regulator is set to, kPa.
    pub fn plate_kpa(&self) -> f64 {
        let valve = self.plan.devices[0].valve.as_ref().expect("a computed valve");
        valve.config.supply.at_rest_gauge_pa() / 1e3
    }

    fn of(plan: BenchPlan) -> Bench {
        Bench {
            line: bench::in_process(&plan),
            plan: std::rc::Rc::new(plan),
            waiting: Waiting::default(),
            waits: 0,
            interrupted_at: None,
        }
    }

    fn make(&mut self) {
        let now = self.line.now();
        self.waiting.make(&self.plan, self.line.bus_mut(), now);
    }

    /// How often was waited so far.
    pub fn waits(&self) -> usize {
        self.waits
    }

    /// Puts a fault in, and lets time pass; whether this bench can have it.
    pub fn fault(&mut self, name: &str, severity: f64, then: Duration) -> bool {
        let change = match (FaultName::from_word(name), SiteFault::from_word(name)) {
            (Some(name), _) => Change::ValveFault { name, severity },
            (_, Some(name)) => Change::SiteFault { name, severity },
            _ => panic!("no fault is called {name}"),
        };
        let device = match SiteFault::from_word(name) {
            Some(site) if site.is_of_the_loop() || site == SiteFault::SecondMaster => None,
            _ => Some(0),
        };
        let ordered = self.waiting.order(&self.plan, device, change).is_ok();
        self.pass(then);
        ordered
    }

    pub fn pass(&mut self, time: Duration) {
        let until = self.now() + time;
        while self.now() < until {
            self.wait(Some(until)).expect("a line of this process works");
        }
    }

    pub fn host(self) -> Host<Bench> {
        Host::new(self, MasterConfig::default()).with_catalogue(catalogue())
    }

    pub fn source(&self) -> Source {
        Source { plan: self.plan.clone(), waiting: self.waiting.clone(), sets: Vec::new(), left: 0 }
    }
}

/// The commands of looprig's positioner.
pub fn catalogue() -> Catalogue {
    static DESCRIBED: OnceLock<&'static Described> = OnceLock::new();
    let described = DESCRIBED.get_or_init(|| {
        let description = read_description(Path::new("protocol-notes/positioner.toml")).expect("described");
        Described::load(description, "positioner.toml")
    });
    let mut catalogue = Catalogue::default();
    catalogue.add(described).expect("one description");
    catalogue
}

/// Whoever sets the current of a bench.
pub struct Source {
    plan: std::rc::Rc<BenchPlan>,
    waiting: Waiting,
    pub sets: Vec<f64>,
    pub left: usize,
}

impl Stimulus for Source {
    fn describe(&self) -> String {
        "the bench".to_owned()
    }
    fn capabilities(&self) -> Capabilities {
        Capabilities { sets_current: true, ..Capabilities::default() }
    }
    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        self.sets.push(to.current_ma());
        self.waiting.order(&self.plan, None, Change::LoopCurrentMa(to.current_ma())).expect("it can be");
        Ok(Given { at: ask.now(), uncertain: Duration::ZERO })
    }
    fn act(&mut self, _: &mut dyn Ask, _: Act) -> Result<Given, StimulusError> {
        Err(StimulusError::Cannot { what: "do that".into() })
    }
    fn leave(&mut self, _: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        self.left += 1;
        self.waiting.order(&self.plan, None, Change::LoopCurrentMa(12.0)).expect("it can be");
        Ok(LeftAt { percent: Some(50.0), words: "The loop current is 12.00 mA again.".to_owned() })
    }
}

/// Somebody who gives leave to move, or does not.
#[derive(Default)]
pub struct Anybody {
    pub refuses: bool,
    pub stops: bool,
    pub questions: Vec<Question>,
    pub told: Vec<String>,
}

impl Person for Anybody {
    fn ask(&mut self, question: &Question) -> Answer {
        self.questions.push(question.clone());
        match (&question.kind, self.refuses, self.stops) {
            (_, _, true) => Answer::Stop(Why::Said),
            (Kind::YesNo, false, _) => Answer::Yes,
            (Kind::YesNo, true, _) => Answer::No,
            _ => Answer::DontKnow,
        }
    }

    fn tell(&mut self, words: &str) {
        self.told.push(words.to_owned());
    }
}
