//! One body for every kind of line: pseudo-terminal, TCP both ways round, and in-process. What a
//! single kind has besides is in `line_kinds/tcp.rs` and in `line_pty.rs`.

mod tcp;

use looprig::bench::{self, Bench};
use looprig::frame::{Octet, PollingAddress};
use looprig::host::Host;
use looprig::line::io::{InterruptHandle, PeerNews, PortLine};
use looprig::line::{Bus, Endpoint, Event, Fault, InProcess, Line, Station};
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use looprig::time::{Instant, Pace};
use std::path::Path;
use std::thread::JoinHandle;
use std::time::Duration;

/// Far more than anything here takes; a test that gets there has failed.
pub const LONG: Duration = Duration::from_secs(20);

/// A free port of this machine.
pub fn any_port() -> Endpoint {
    Endpoint::parse_listen("0").unwrap()
}

/// Where a listening line is reached.
pub fn reached(line: &PortLine) -> Endpoint {
    let at = line.path().to_str().unwrap().strip_prefix("tcp:").expect("a LINE of TCP");
    Endpoint::parse_connect(at).unwrap()
}

/// A kind of line under test.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    /// The end that programs open; the far end is `pty:`.
    Pty,
    /// We connect.
    Tcp,
    /// The far end connects.
    TcpListen,
    InProcess,
}

const KINDS: [Kind; 4] = [Kind::Pty, Kind::Tcp, Kind::TcpListen, Kind::InProcess];

/// What drives the far end, in a thread of its own or on the simulated bus.
struct Far {
    handle: InterruptHandle,
    thread: JoinHandle<()>,
}

impl Far {
    fn end(self) {
        self.handle.interrupt();
        self.thread.join().unwrap();
    }
}

/// A line with somebody behind it.
struct Rig {
    line: Box<dyn Line>,
    interrupt: Option<InterruptHandle>,
    far: Option<Far>,
}

impl Rig {
    fn over(line: PortLine, far: Far) -> Rig {
        Rig { interrupt: Some(line.interrupt_handle()), line: Box::new(line), far: Some(far) }
    }

    fn end(self) {
        if let Some(far) = self.far {
            far.end();
        }
    }
}

/// Answers every octet with its complement: what is altered either way shows, also where the two
/// alterations would cancel each other in a plain echo.
struct Complement(Vec<u8>);

impl Station for Complement {
    fn handle(&mut self, _: Instant, octets: &[Octet]) {
        self.0.extend(octets.iter().map(|o| !o.value));
    }
    fn sent(&mut self, _: Instant) {}
    fn poll_transmit(&mut self, _: Instant) -> Option<Vec<u8>> {
        (!self.0.is_empty()).then(|| std::mem::take(&mut self.0))
    }
    fn wake_at(&self) -> Option<Instant> {
        None
    }
}

/// The same in a thread on a real line, until it is interrupted or the line ends.
fn complement(mut line: PortLine) -> Far {
    let handle = line.interrupt_handle();
    let thread = std::thread::spawn(move || {
        while let Ok(event) = line.wait(None) {
            match event {
                Event::Octets(octets) => {
                    let answer: Vec<u8> = octets.iter().map(|o| !o.value).collect();
                    if line.send(&answer).is_err() {
                        return;
                    }
                }
                Event::Interrupted | Event::Closed => return,
                Event::Sent { .. } | Event::NoAnswer { .. } | Event::TimeOut => {}
            }
        }
    });
    Far { handle, thread }
}

fn with_complement(kind: Kind) -> Rig {
    let pace = Pace::Fast;
    match kind {
        Kind::Pty => {
            let far = PortLine::open_pty(None, pace).unwrap();
            let near = PortLine::open_serial(far.path().to_str().unwrap(), pace).unwrap();
            let mut rig = Rig::over(near, complement(far));
            // It drops octets until it has seen us come: the first that it says was written after.
            rig.line.send(&[0]).unwrap();
            assert_eq!(receive(&mut *rig.line, 1), [0xFF]);
            rig
        }
        Kind::Tcp => {
            let far = PortLine::open_tcp_listen(&any_port(), pace).unwrap();
            let near = PortLine::open_tcp(&reached(&far), pace).unwrap();
            Rig::over(near, complement(far))
        }
        Kind::TcpListen => {
            let mut near = PortLine::open_tcp_listen(&any_port(), pace).unwrap();
            let mut far = PortLine::open_tcp(&reached(&near), pace).unwrap();
            // What is sent before the other one is there goes nowhere, as on a wire.
            far.send(&[0]).unwrap();
            assert_eq!(receive(&mut near, 1), [0]);
            Rig::over(near, complement(far))
        }
        Kind::InProcess => {
            let mut bus: Bus<Complement> = Bus::new(pace);
            bus.add_station(Complement(Vec::new()));
            Rig { line: Box::new(InProcess::new(bus, "mock:test")), interrupt: None, far: None }
        }
    }
}

const BENCH: &str = "pace = \"fast\"\n[[device]]\ntag = \"FV-3104\"\ndescriptor = \"INLET VALVE\"\n";

/// The line to a bench with one device.
fn with_mock(kind: Kind) -> Rig {
    // For a bench that connects to us we have to be there first.
    let listening =
        (kind == Kind::TcpListen).then(|| PortLine::open_tcp_listen(&any_port(), Pace::Fast).unwrap());
    let at = match &listening {
        Some(near) => near.path().to_str().unwrap().to_owned(),
        None if kind == Kind::Tcp => "tcp-listen:127.0.0.1:0".to_owned(),
        None => "pty:".to_owned(),
    };
    let text = format!("{BENCH}[[line]]\nat = \"{at}\"\n");
    let plan = bench::check(&text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    if kind == Kind::InProcess {
        let line: InProcess<Participant> = bench::in_process(&plan);
        return Rig { line: Box::new(line), interrupt: None, far: None };
    }
    let mut bench = Bench::open(plan).unwrap();
    let open = bench.places()[0].open.clone();
    let handle = bench.interrupt_handle();
    let thread = std::thread::spawn(move || {
        let _ = bench.run(&mut drop);
    });
    let near = match (kind, open) {
        (Kind::Tcp, Some(open)) => {
            let at = open.strip_prefix("tcp:").unwrap();
            assert!(!at.ends_with(":0"), "{open} is not where it really is");
            PortLine::open_tcp(&Endpoint::parse_connect(at).unwrap(), Pace::Fast).unwrap()
        }
        (Kind::Pty, Some(open)) => {
            PortLine::open_serial(open.strip_prefix("serial:").unwrap(), Pace::Fast).unwrap()
        }
        (_, open) => {
            assert_eq!(open, None, "nobody can reach a bench through its own connection to us");
            let mut near = listening.unwrap();
            // It has connected; what is sent before we have let it in goes nowhere.
            let (tell, came) = std::sync::mpsc::channel();
            near.on_peer_news(move |_, news| drop(tell.send(news.clone())));
            let deadline = near.now() + LONG;
            while came.try_recv() != Ok(PeerNews::Came) {
                let soon = near.now() + Duration::from_millis(5);
                assert_eq!(near.wait(Some(soon)).unwrap(), Event::TimeOut);
                assert!(soon < deadline, "the bench never connected");
            }
            near
        }
    };
    Rig::over(near, Far { handle, thread })
}

/// Reads until `count` octets are there; checks that their stamps are in order and not in the future.
pub fn receive(line: &mut dyn Line, count: usize) -> Vec<u8> {
    let deadline = line.now() + LONG;
    let mut got: Vec<Octet> = Vec::new();
    while got.len() < count {
        match line.wait(Some(deadline)).unwrap() {
            Event::Octets(octets) => {
                assert!(!octets.is_empty());
                got.extend(octets);
            }
            Event::Sent { .. } => {}
            other => panic!("{other:?} after {} octets of {count}", got.len()),
        }
    }
    let now = line.now();
    assert!(got.is_sorted_by_key(|o| o.at) && got.last().is_none_or(|o| o.at <= now));
    got.iter().map(|o| o.value).collect()
}

/// Every value passes both ways, in order; nothing is swallowed, doubled or altered.
fn octets_pass(kind: Kind) {
    let mut rig = with_complement(kind);
    let awkward = [0xFF, 0x00, 0x03, 0x04, 0x0D, 0x0A, 0x11, 0x13, 0xFF, 0xFF, 0xF0, 0x7F];
    for octets in [(0..=255).collect::<Vec<u8>>(), (0..=255).rev().collect(), awkward.to_vec()] {
        rig.line.send(&octets).unwrap();
        let answer: Vec<u8> = octets.iter().map(|v| !v).collect();
        assert_eq!(receive(&mut *rig.line, octets.len()), answer, "{kind:?}");
    }
    let c = rig.line.capabilities();
    assert!(!c.echo);
    for seen in [c.parity_seen, c.carrier_seen] {
        assert_eq!(seen, kind == Kind::InProcess, "{kind:?}");
    }
    rig.end();
}

/// As many ends are reported as transmissions were begun, in order, each once and none too early.
fn ends_are_reported(kind: Kind) {
    let mut rig = with_complement(kind);
    let begun = rig.line.now();
    for octets in [&[1u8, 2, 3][..], &[], &[4]] {
        rig.line.send(octets).unwrap();
    }
    let (mut ends, mut heard) = (Vec::new(), Vec::new());
    while ends.len() < 3 || heard.len() < 4 {
        match rig.line.wait(Some(begun + LONG)).unwrap() {
            Event::Sent { at } => ends.push(at),
            Event::Octets(o) => heard.extend(o.iter().map(|o| o.value)),
            other => panic!("{kind:?}: {other:?}, {} ends, {heard:?}", ends.len()),
        }
    }
    assert!(ends.is_sorted() && ends[0] >= begun && ends[2] <= rig.line.now(), "{kind:?}: {ends:?}");
    assert_eq!(heard, [!1, !2, !3, !4], "{kind:?}");
    let now = rig.line.now();
    assert_eq!(rig.line.wait(Some(now)).unwrap(), Event::TimeOut, "{kind:?}: an end too many");
    rig.end();
}

/// A host finds the mock by command 0 and reads back tag and descriptor by command 13 [CM-013].
fn a_host_asks(kind: Kind) {
    let rig = with_mock(kind);
    let mut host = Host::new(rig.line, MasterConfig::default());
    let (_, device) = host.poll(PollingAddress::default(), None).unwrap();
    let device = device.unwrap_or_else(|| panic!("{kind:?}: nobody answers"));
    let exchange = host.ask(&device, 13, &[]).unwrap();
    let text = |name: &str| exchange.value(name).expect(name).text().trim_matches('"').trim_end().to_owned();
    assert_eq!((text("tag"), text("descriptor")), ("FV-3104".into(), "INLET VALVE".into()), "{kind:?}");
    drop(host);
    if let Some(far) = rig.far {
        far.end();
    }
}

/// An interrupt ends a wait without a deadline, once. An in-process line has no clock of its own that
/// could let anybody wait, so it has none.
fn an_interrupt_ends_a_wait(kind: Kind) {
    let mut rig = with_complement(kind);
    match rig.interrupt.take() {
        None => assert_eq!(kind, Kind::InProcess),
        Some(handle) => {
            let helper = std::thread::spawn(move || handle.interrupt());
            assert_eq!(rig.line.wait(None).unwrap(), Event::Interrupted, "{kind:?}");
            helper.join().unwrap();
            let now = rig.line.now();
            assert_eq!(rig.line.wait(Some(now)).unwrap(), Event::TimeOut, "{kind:?}");
        }
    }
    rig.end();
}

/// The other end goes: octets that it sent before are heard, then the loss is an error once at most,
/// and closed for ever. A listening end goes on: others may come.
fn the_other_end_goes(kind: Kind) {
    let mut rig = with_complement(kind);
    rig.line.send(&[0x5A]).unwrap();
    assert_eq!(receive(&mut *rig.line, 1), [!0x5A], "{kind:?}");
    if let Some(far) = rig.far.take() {
        far.end();
    }
    let soon = rig.line.now() + Duration::from_millis(100);
    if kind == Kind::TcpListen {
        while rig.line.wait(Some(soon)).unwrap() != Event::TimeOut {}
        rig.line.send(&[1]).unwrap();
        return;
    }
    let mut errors = 0;
    loop {
        match rig.line.wait(None) {
            Ok(Event::Closed) => break,
            Ok(Event::Sent { .. }) => {}
            Ok(other) => panic!("{kind:?}: {other:?}"),
            Err(e) => {
                errors += 1;
                let fault = if kind == Kind::Tcp { Fault::PeerGone } else { Fault::Lost };
                assert_eq!(e.fault, fault, "{e}");
                assert!(e.to_string().contains("next: "), "{e}");
            }
        }
    }
    assert_eq!(errors, if kind == Kind::InProcess { 0 } else { 1 }, "{kind:?}");
    assert_eq!(rig.line.wait(None), Ok(Event::Closed), "{kind:?}");
    if kind != Kind::InProcess {
        assert!(rig.line.send(&[1]).is_err(), "{kind:?} takes octets for nobody");
    }
}

/// Every check with every kind of line.
macro_rules! body {
    ($($check:ident),+ $(,)?) => {
        mod every_kind {
            $(#[test]
            fn $check() {
                for kind in super::KINDS {
                    super::$check(kind);
                }
            })+
        }
    };
}

body!(octets_pass, ends_are_reported, a_host_asks, an_interrupt_ends_a_wait, the_other_end_goes);
