//! How long the whole suite takes on the simulated bus, with everything allowed, on one positioner of revision 7; beside the least that
//! it can take: the same device on the same wires is sent the same octets at the same times, and nobody judges anything.
//!
//! Run with `cargo bench --bench conform`; `-- --quick` does it once. The aim is under 5 s.

use looprig::bench::{BenchPlan, check, in_process};
use looprig::conform::{Results, Suite};
use looprig::frame::{Capabilities, RawFrame};
use looprig::host::To;
use looprig::line::{Error, Event, Line, SendsFaults};
use looprig::time::{Instant, Pace};
use std::hint::black_box;

/// Seconds that the suite may take.
const AIM_S: f64 = 5.0;
const POSITIONER: &str = "seed = 3104\npace = \"wire\"\n[loop]\ncurrent_ma = 12.0\n[[device]]\ntag = \"FV-3104\"\n\
                          [[line]]\nat = \"pty:\"\n";

/// A line that keeps what was sent and when.
struct Kept<'l> {
    line: &'l mut dyn Line,
    sent: Vec<(Instant, RawFrame)>,
}

impl Line for Kept<'_> {
    fn describe(&self) -> String {
        self.line.describe()
    }
    fn capabilities(&self) -> Capabilities {
        self.line.capabilities()
    }
    fn pace(&self) -> Pace {
        self.line.pace()
    }
    fn now(&mut self) -> Instant {
        self.line.now()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        let frame = RawFrame { octets: octets.iter().map(|&o| o.into()).collect() };
        self.sent.push((self.line.now(), frame));
        self.line.send(octets)
    }
    fn sends_faults(&self) -> SendsFaults {
        self.line.sends_faults()
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.sent.push((self.line.now(), frame.clone()));
        self.line.send_raw(frame)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        self.line.wait(until)
    }
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn now() -> std::time::Instant {
    std::time::Instant::now()
}

fn judge(line: &mut dyn Line) -> Results {
    let to = To::parse("0").expect("a polling address");
    Suite::new().writing(true).moving(true).run(line, &to).expect("the mock answers")
}

/// Seconds for the suite.
fn suite(plan: &BenchPlan) -> f64 {
    let mut line = in_process(plan);
    let begun = now();
    black_box(judge(&mut line));
    begun.elapsed().as_secs_f64()
}

/// Seconds for the same octets at the same times.
fn bare(plan: &BenchPlan, sent: &[(Instant, RawFrame)], until: Instant) -> f64 {
    let mut line = in_process(plan);
    let begun = now();
    let pass = |line: &mut dyn Line, at: Instant| {
        while line.now() < at {
            black_box(line.wait(Some(at)).expect("the mock stays"));
        }
    };
    for (at, frame) in sent {
        pass(&mut line, *at);
        line.send_raw(frame).expect("the mock stays");
    }
    pass(&mut line, until);
    begun.elapsed().as_secs_f64()
}

fn main() {
    let rounds = if std::env::args().any(|a| a == "--quick") { 1 } else { 5 };
    let plan = check(POSITIONER, "positioner.toml".as_ref()).expect("a bench");
    let mut line = in_process(&plan);
    let mut kept = Kept { line: &mut line, sent: Vec::new() };
    let results = judge(&mut kept);
    assert!(results.passed(), "{results}");
    let (sent, until) = (kept.sent, line.now());
    let least = |measure: &dyn Fn() -> f64| (0..rounds).map(|_| measure()).fold(f64::INFINITY, f64::min);
    let took = least(&|| suite(&plan));
    let floor = least(&|| bare(&plan, &sent, until));
    println!("the whole suite on a positioner of revision 7, on the simulated bus");
    println!(
        "  {took:.2} s (aim: under {AIM_S:.0} s) for {} cases and {} requests in {:.0} simulated seconds",
        results.cases.len(),
        results.requests,
        results.lasted.as_secs_f64()
    );
    println!(
        "  {:.1} times what the device and its wires alone take for the same octets, {floor:.2} s",
        took / floor
    );
}
