//! `mock:BENCH.toml`: a bench of this process, on virtual time, as a line.

use super::lines::quoted;
use super::mock::{choose_seed, name};
use super::mock_loop::{dark_at_first, remarks};
use super::mock_power::{PowerTold, power_line};
use super::output::{Failure, say, tell};
use super::protocol_faults;
use crate::app::command::Catalogue;
use crate::bench::{BenchPlan, Waiting, in_process};
use crate::frame::RawFrame;
use crate::line::{Error, Event, InProcess, Line, SendsFaults};
use crate::sim::Participant;
use crate::time::Instant;
use core::time::Duration;
use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// How long a listener hears it unless told, seconds of its own clock.
const LISTENING_S: f64 = 60.0;

/// How long it lasts unless told, by its own clock: nobody who asks gets that far, and nobody who waits
/// for what never comes waits for ever.
const LASTS: Duration = Duration::from_secs(86_400);

/// How often it looks whether it is to end, by its own clock.
const LOOK: Duration = Duration::from_secs(1);

/// What stands behind `mock:`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MockSpec {
    bench: PathBuf,
    seed: Option<u64>,
    lasts: Option<Duration>,
    faults: Vec<String>,
}

impl MockSpec {
    /// Reads the file's name and the options behind it.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse(bench: &str, options: &str) -> Result<MockSpec, String> {
        if bench.is_empty() {
            return Err("mock: needs a bench file, such as mock:fixtures/benches/brackenmoor.toml".into());
        }
        let mut spec = MockSpec { bench: bench.into(), seed: None, lasts: None, faults: Vec::new() };
        for option in options.split('&').filter(|o| !o.is_empty()) {
            match option.split_once('=') {
                Some(("seed", n)) => spec.seed = Some(super::args::seed(n)?),
                Some(("for", s)) => {
                    let s = super::args::seconds(s)?;
                    spec.lasts = Some(Duration::from_secs_f64(s));
                }
                Some(("fault", name)) => spec.faults.push(name.to_owned()),
                Some(("pace", _)) => {
                    return Err(format!(
                        "\"{option}\" cannot stand here: the pace of a mock line is its bench file's, because \
                         both its ends are in this process; write pace = 20 at the top of {bench}"
                    ));
                }
                _ => {
                    return Err(format!(
                        "\"{option}\" is no option of a mock line: there are seed=N, for=SECONDS and fault=NAME"
                    ));
                }
            }
        }
        Ok(spec)
    }

    /// The bench, with the faults that were named put in.
    pub fn plan(&self) -> Result<BenchPlan, Failure> {
        protocol_faults::read(&self.bench, &self.faults)
    }

    /// How long to listen to it if so much is wanted, seconds.
    pub fn listening_s(&self, wanted: Option<f64>) -> f64 {
        let lasts = self.lasts.map(|d| d.as_secs_f64());
        [wanted, lasts].into_iter().flatten().min_by(f64::total_cmp).unwrap_or(LISTENING_S)
    }
}

/// The bench as a line. Its clock is a number that jumps, so it never sleeps.
pub struct MockLine {
    line: InProcess<Participant>,
    plan: Arc<BenchPlan>,
    waiting: Waiting,
    end: Instant,
    told: bool,
    asked: Arc<AtomicBool>,
    /// What it is called in messages.
    bench: PathBuf,
    power: PowerTold,
    /// When events of the bench are due that have not been reckoned with yet.
    events: VecDeque<Instant>,
}

impl MockLine {
    /// Reads the bench file and puts everybody on the wires; tells the seed first, if it matters.
    ///
    /// # Errors
    /// The file cannot be read or makes no sense.
    pub fn open(spec: &MockSpec) -> Result<MockLine, Failure> {
        let mut plan = spec.plan()?;
        let seed = choose_seed(&mut plan, spec.seed);
        if let Some(fleet) = plan.fleet {
            plan = plan.loop_plan(0);
            say(&format!(
                "mock:{}: of the fleet of {} this is loop {} alone",
                spec.bench.display(),
                fleet.count,
                fleet.first
            ));
        }
        if let Some(seed) = seed {
            let line = quoted(&format!("mock:{}?seed={seed}", spec.bench.display()));
            say(&format!("seed {seed} (repeat this run: {line})"));
        }
        if plan.devices.iter().any(|d| d.memory.is_some()) {
            say(&format!(
                "mock:{}: in this process devices begin new and forget; their memory files are left alone",
                spec.bench.display()
            ));
        }
        for told in protocol_faults::told(&plan) {
            say(&format!("mock:{}: {told}", spec.bench.display()));
        }
        let end = Instant::ZERO + spec.lasts.unwrap_or(LASTS);
        let line = in_process(&plan);
        let stations = || line.bus().stations().filter_map(Participant::device);
        for told in remarks(&plan, stations()).into_iter().chain(dark_at_first(stations())) {
            say(&format!("mock:{}: {told}", spec.bench.display()));
        }
        let power = PowerTold::new(plan.devices.len());
        let events = plan.events.iter().map(|e| e.at).collect();
        Ok(MockLine {
            line,
            plan: Arc::new(plan),
            waiting: Waiting::default(),
            end,
            told: false,
            asked: Arc::default(),
            bench: spec.bench.clone(),
            power,
            events,
        })
    }

    /// What has become of the power of devices since the last call, a line each.
    fn power_lines(&mut self) -> Vec<String> {
        let mut news = Vec::new();
        for i in 0..self.line.bus().stations().count() {
            let station = self.line.bus_mut().station_mut(i).and_then(Participant::device_mut);
            let Some(station) = station else { continue };
            let name = name(station.device());
            news.extend(station.take_power_news().into_iter().map(|n| (i, n, name.clone())));
        }
        // Of one time in the order of the plan.
        news.sort_by_key(|(_, n, _)| n.at);
        let mut lines = Vec::new();
        for (device, news, name) in news {
            while self.events.front().is_some_and(|&at| at <= news.at) {
                self.events.pop_front();
                self.power.event();
            }
            lines.extend(power_line(&news, self.power.of(device, &news), &name));
        }
        lines
    }

    fn tell_power(&mut self) {
        for line in self.power_lines() {
            say(&format!("mock:{}: {line}", self.bench.display()));
        }
    }

    /// The commands of the device types that its bench describes.
    pub fn catalogue(&self) -> &Catalogue {
        &self.plan.catalogue
    }

    /// What the bench was made of, and what orders changes of it; they happen at the next send or wait.
    pub fn handle(&self) -> (Arc<BenchPlan>, Waiting) {
        (Arc::clone(&self.plan), self.waiting.clone())
    }

    fn make_changes(&mut self) {
        let now = self.line.now();
        self.waiting.make(&self.plan, self.line.bus_mut(), now);
    }

    /// What makes its wait end when it is set.
    pub fn interrupt_flag(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.asked)
    }
}

impl Line for MockLine {
    crate::line::says_as_line!(line);
    fn sends_faults(&self) -> SendsFaults {
        self.line.sends_faults()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.make_changes();
        self.line.send(octets)
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.make_changes();
        self.line.send_raw(frame)
    }

    /// [`Event::Closed`] once its time is over.
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        self.make_changes();
        loop {
            if self.asked.swap(false, Ordering::SeqCst) {
                return Ok(Event::Interrupted);
            }
            let now = self.line.now();
            if now >= self.end && until.is_none_or(|u| u > self.end) {
                if !self.told {
                    self.told = true;
                    let s = self.end.since(Instant::ZERO).as_secs_f64();
                    tell(&format!(
                        "{}: its {s} s are over; ?for=SECONDS says how many it has",
                        self.describe()
                    ));
                }
                return Ok(Event::Closed);
            }
            let look = (now + LOOK).min(self.end);
            let event = self.line.wait(Some(until.map_or(look, |u| u.min(look))))?;
            self.tell_power();
            match event {
                Event::TimeOut if until.is_none_or(|u| self.line.now() < u) => {}
                event => return Ok(event),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(name: &str, end_s: u64) -> MockLine {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/benches").join(name);
        let spec = MockSpec {
            bench: path,
            seed: Some(1),
            lasts: Some(Duration::from_secs(end_s)),
            faults: Vec::new(),
        };
        MockLine::open(&spec).unwrap_or_else(|e| panic!("{e}"))
    }

    #[test]
    fn options() {
        let spec = MockSpec::parse("b.toml", "seed=7&for=2.5").expect("a spec");
        assert_eq!((spec.seed, spec.lasts), (Some(7), Some(Duration::from_millis(2500))));
        assert_eq!((spec.listening_s(None), spec.listening_s(Some(1.0))), (2.5, 1.0));
        let spec = MockSpec::parse("b.toml", "").expect("a spec");
        assert_eq!((spec.listening_s(None), spec.listening_s(Some(600.0))), (60.0, 600.0));
        for bad in ["seed=-1", "seed=x", "for=-1", "for=soon", "pace=4", "rts=on", "seed"] {
            assert!(MockSpec::parse("b.toml", bad).is_err(), "{bad}");
        }
    }

    /// A bench on which nobody speaks, a wait without a deadline: its own end is one.
    #[test]
    fn it_ends() {
        let mut line = line("brackenmoor.toml", 5);
        let at = |s| Instant::ZERO + Duration::from_secs(s);
        assert_eq!(line.wait(Some(at(2))), Ok(Event::TimeOut));
        assert_eq!(line.now(), at(2));
        assert_eq!(line.wait(Some(at(5))), Ok(Event::TimeOut));
        assert_eq!(line.wait(Some(at(6))), Ok(Event::Closed));
        assert_eq!(line.wait(None), Ok(Event::Closed));
        assert_eq!(line.now(), at(5));
    }

    /// Power that goes and comes back is told as it does, each with its time; nothing of it twice.
    #[test]
    fn power_is_told_as_it_goes_and_comes() {
        let mut line = line("corroding-terminal.toml", 100);
        let mut told = |s| {
            let until = Instant::ZERO + Duration::from_secs(s);
            while line.line.now() < until {
                line.line.wait(Some(until)).expect("a line of this process works");
            }
            line.power_lines()
        };
        assert_eq!(told(29), [""; 0]);
        let dark = told(35);
        // 8.5 V over 5079 ohm are 1.67 mA; the whole is told in the bench's own test.
        assert!(
            dark.len() == 1
                && dark[0]
                    .starts_with("at 30 s: FV-3104 is without power: 1.67 mA, it needs 3.6 mA; the card's "),
            "{dark:?}"
        );
        assert_eq!(told(45), [""; 0]);
        let back = told(70);
        assert!(
            back.len() == 1
                && back[0].starts_with("at 60 s: FV-3104 has power again: ")
                && back[0].ends_with("; it starts and works from 64 s on"),
            "{back:?}"
        );
    }

    #[test]
    fn an_interrupt_ends_its_wait_once() {
        let mut line = line("two-masters-noise.toml", 5);
        line.interrupt_flag().store(true, Ordering::SeqCst);
        assert_eq!(line.wait(None), Ok(Event::Interrupted));
        assert!(matches!(line.wait(None), Ok(Event::Octets(_))));
    }
}
