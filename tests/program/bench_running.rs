//! The bench on the wall clock, in a thread of this process: notices, lines that come and go, the end.

use looprig::bench::{self, Bench, Change, Error, Notice, PortPlace};
use looprig::frame::PollingAddress;
use looprig::host::Host;
use looprig::line::io::{InterruptHandle, PortLine, Ports};
use looprig::link::MasterConfig;
use looprig::sim::{Dark, Power};
use looprig::time::{Instant, Pace};
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// Far more than anything here takes; a test that gets there has failed.
const LONG: Duration = Duration::from_secs(20);

struct Running {
    notices: Receiver<Notice>,
    handle: InterruptHandle,
    thread: JoinHandle<Result<(), Error>>,
    ports: Vec<PortPlace>,
}

impl Running {
    fn start(lines: &str) -> Running {
        let text = format!("pace = \"fast\"\n[[device]]\ntag = \"FV-3104\"\n{lines}");
        let plan = bench::check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
        let mut bench = Bench::open(plan).unwrap();
        let handle = bench.interrupt_handle();
        let (tell, notices) = channel();
        let thread = std::thread::spawn(move || bench.run(&mut |n| drop(tell.send(n))));
        let Ok(Notice::Ready { ports }) = notices.recv_timeout(LONG) else { panic!("ready comes first") };
        Running { notices, handle, thread, ports }
    }

    fn notice(&self, wanted: impl Fn(&Notice) -> bool) -> Notice {
        loop {
            let notice = self.notices.recv_timeout(LONG).expect("a notice");
            if wanted(&notice) {
                return notice;
            }
        }
    }

    fn answers(&self, line: usize) {
        let path = self.ports[line].path.to_str().unwrap();
        let mut host = Host::new(PortLine::open_serial(path, Pace::Fast).unwrap(), MasterConfig::default());
        let (_, device) = host.poll(PollingAddress::default(), None).unwrap();
        assert!(device.is_some(), "nobody answers on line {line}");
    }

    fn end(self) -> Result<(), Error> {
        self.handle.interrupt();
        self.thread.join().unwrap()
    }
}

#[test]
fn programs_come_and_go_and_events_happen() {
    let bench = Running::start(
        "[[line]]\nat = \"pty:\"\n[[line]]\nat = \"pty:\"\n\
         [[event]]\nat_s = 0.05\nloop_current_ma = 20\n[[event]]\nat_s = 0\nsupply_pressure_bar = 3\n",
    );
    assert!(bench.ports.iter().all(|p| p.is_pty && p.path.is_absolute() && p.at == "pty:"));
    assert_ne!(bench.ports[0].path, bench.ports[1].path);
    let event = |n: &Notice| matches!(n, Notice::EventDone { .. });
    let Notice::EventDone { event: 0, change, .. } = bench.notice(event) else { panic!("the first event") };
    assert_eq!(change, Change::SupplyPressureBar(3.0));
    let Notice::EventDone { event: 1, at, change, device: None } = bench.notice(event) else {
        panic!("the second event")
    };
    assert_eq!((at.as_nanos(), change), (50_000_000, Change::LoopCurrentMa(20.0)));
    bench.answers(1);
    bench.notice(|n| *n == Notice::PeerCame { line: 1 });
    bench.notice(|n| matches!(n, Notice::PeerGone { line: 1, .. }));
    assert_eq!(bench.end(), Ok(()));
}

/// [DV-51]: what the wall clock tells is what virtual time does: power lost, back, and the device works again.
#[test]
fn power_goes_and_comes_back() {
    let bench = Running::start(
        "startup_s = 0.1\n[loop]\ncurrent_ma = 12\n[loop.card]\ncompliance_v = 24\nimpedance_ohm = 1000\n\
         [[loop.device]]\nmin_voltage_v = 9\n[[line]]\nat = \"pty:\"\n\
         [[event]]\nat_s = 0\nloop_current_ma = 20\n\
         [[event]]\nat_s = 0.05\nloop_open = true\n[[event]]\nat_s = 0.1\nloop_open = false\n",
    );
    let told =
        |n: &Notice| matches!(n, Notice::EventDone { .. } | Notice::Supplied { .. } | Notice::Power { .. });
    let event = |number: usize| {
        let told = bench.notice(told);
        assert!(matches!(told, Notice::EventDone { event, .. } if event == number), "{told:?}");
    };
    let power = |s: f64, wanted: fn(Power) -> bool| {
        let Notice::Power { device: 0, news } = bench.notice(told) else { panic!("no power") };
        assert!((news.at.as_secs_f64() - s).abs() < 1e-9 && wanted(news.supplied.power), "{news:?}");
    };
    event(0);
    let Notice::Supplied { at, device: 0, supplied, reach } = bench.notice(told) else {
        panic!("what it has")
    };
    assert!((supplied.current_a - 0.02).abs() < 1e-9 && supplied.power == Power::On, "{supplied:?}");
    assert!(at == Instant::ZERO && reach.0.heard && reach.1.heard, "{at:?} {reach:?}");
    event(1);
    power(0.05, |p| p == Power::Off(Dark::Open));
    event(2);
    power(0.1, |p| matches!(p, Power::Starting { until } if until.as_nanos() == 200_000_000));
    power(0.2, |p| p == Power::On);
    bench.answers(0);
    assert_eq!(bench.end(), Ok(()));
}

/// After each event of the loop every device is told, a dark one too, with its reason of then and who hears whom: 20 V leave
/// 20 - 0.02 x 250 = 15 V, with a short of 0.1 ohm across the wires nobody hears anybody.
#[test]
fn the_dark_are_told_after_events() {
    let bench = Running::start(
        "[loop]\ncurrent_ma = 20\n[loop.supply]\nvoltage_v = 12\nresistor_ohm = 250\n[loop.master]\n\
         [[loop.device]]\nmin_voltage_v = 16\n[[line]]\nat = \"pty:\"\n\
         [[event]]\nat_s = 0.05\nloop_supply_v = 20\n[[event]]\nat_s = 0.1\nloop_leak_ohm = 0.1\n",
    );
    let given = |n: &Notice| matches!(n, Notice::Supplied { .. });
    let Notice::Supplied { supplied, reach, .. } = bench.notice(given) else { panic!("what it has") };
    let Power::Off(why) = supplied.power else { panic!("{supplied:?}") };
    assert!(why.to_string().starts_with("15 V at 20 mA, it needs 16 V"), "{why}");
    assert!(reach.0.heard && reach.1.heard, "{reach:?}");
    let Notice::Supplied { at, reach, .. } = bench.notice(given) else { panic!("what it has") };
    assert_eq!(at.as_nanos(), 100_000_000);
    assert!(!reach.0.heard && !reach.1.heard, "{reach:?}");
    assert_eq!(bench.end(), Ok(()));
}

#[test]
fn a_lost_port_ends_only_itself_and_the_last_one_the_bench() {
    // A pseudo-terminal of ours stands in for a modem's port that can be unplugged.
    let mut ours = Ports::new();
    ours.open_pty(None, Pace::Fast).unwrap();
    let options = "?rts=off&dtr=off&echo=on";
    let serial = format!("[[line]]\nat = \"serial:{}{options}\"\n", ours.path(0).display());
    let bench = Running::start(&format!("{serial}[[line]]\nat = \"pty:\"\n"));
    assert!(!bench.ports[0].is_pty);
    drop(ours);
    bench.notice(|n| matches!(n, Notice::PortLost { line: 0, .. }));
    bench.answers(1);
    assert_eq!(bench.end(), Ok(()));

    let mut ours = Ports::new();
    ours.open_pty(None, Pace::Fast).unwrap();
    let serial = format!("[[line]]\nat = \"serial:{}\"\n", ours.path(0).display());
    let bench = Running::start(&serial);
    drop(ours);
    bench.notice(|n| matches!(n, Notice::PortLost { line: 0, .. }));
    assert!(matches!(bench.thread.join().unwrap(), Err(Error::NoPortLeft(_))));
}

#[test]
fn what_cannot_be_opened_is_told_before_anything_runs() {
    let text = "[[device]]\n[[line]]\nat = \"pty:\"\n[[line]]\nat = \"serial:/dev/none\"\n";
    let plan = bench::check(text, Path::new("b.toml")).unwrap();
    let Err(Error::Port(e)) = Bench::open(plan) else { panic!("opened") };
    assert!(e.to_string().contains("serial:/dev/none"), "{e}");
}
