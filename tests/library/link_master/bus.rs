//! The master on a simulated bus with stations that misbehave, and with another master.

use super::rig::*;
use looprig::frame::{Frame, Master as Role, Octet};
use looprig::line::{Bus, Event, InProcess, Line, Station};
use looprig::link::{Master, MasterConfig, Output};
use looprig::time::{Instant, Pace};
use looprig::transaction::{Outcome, Transaction};
use std::collections::VecDeque;
use std::time::Duration;

/// Hears everything; meets each request of ten octets by the next reaction of its script.
struct Scripted {
    script: VecDeque<Option<Reaction>>,
    heard: Vec<Octet>,
    due: Option<(Instant, Vec<u8>)>,
}

impl Scripted {
    fn new(script: impl IntoIterator<Item = Option<Reaction>>) -> Scripted {
        Scripted { script: script.into_iter().collect(), heard: Vec::new(), due: None }
    }
}

impl Station for Scripted {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.heard.extend_from_slice(octets);
        let values: Vec<u8> = self.heard.iter().map(|o| o.value).collect();
        if values.ends_with(&ASK)
            && let Some(Some((after, values))) = self.script.pop_front()
        {
            self.due = Some((now + after, values));
        }
    }
    fn sent(&mut self, _: Instant) {}
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        self.due.take_if(|(t, _)| *t <= now).map(|(_, values)| values)
    }
    fn wake_at(&self) -> Option<Instant> {
        self.due.as_ref().map(|d| d.0)
    }
}

fn line(pace: Pace, station: Scripted) -> InProcess<Scripted> {
    let mut bus = Bus::new(pace);
    bus.add_station(station);
    InProcess::new(bus, "mock:test")
}

/// Asks once and drives the line until it is over.
fn transact<S: Station>(line: &mut InProcess<S>, master: &mut Master, frame: Frame) -> Transaction {
    master.ask(frame, None).unwrap();
    for _ in 0..10_000 {
        let now = line.now();
        master.handle_timeout(now);
        while let Some(output) = master.poll_output() {
            match output {
                Output::Transmit(octets) => line.send(&octets).unwrap(),
                Output::Done(t) => return *t,
                Output::Overheard(_) => {}
                other => panic!("{other:?}"),
            }
        }
        match line.wait(master.wake_at()).unwrap() {
            Event::Octets(octets) => {
                let now = line.now();
                master.handle(now, &octets);
            }
            Event::Sent { at } => master.sent(at),
            Event::TimeOut => {}
            other => panic!("{other:?}"),
        }
    }
    panic!("it does not end")
}

fn master(line: &mut InProcess<Scripted>, retries: u8) -> Master {
    let now = line.now();
    Master::new(MasterConfig { retries, ..MasterConfig::default() }, line.pace(), line.capabilities(), now)
}

/// The transmissions as they stand on the wire: all octets that the station heard, cut by tens.
fn on_the_wire(line: &InProcess<Scripted>) -> Vec<Vec<u8>> {
    let heard = &line.bus().stations().next().unwrap().heard;
    heard.chunks(ASK.len()).map(|c| c.iter().map(|o| o.value).collect()).collect()
}

/// [HO-04] counted on the wire, at the wire's pace and at others.
#[test]
fn repeats_on_the_wire() {
    for pace in [Pace::Wire, Pace::Scaled(8.0), Pace::Fast] {
        for retries in [0u8, 3, 10] {
            let mut line = line(pace, Scripted::new([]));
            let mut master = master(&mut line, retries);
            let t = transact(&mut line, &mut master, poll_0(Role::Secondary));
            assert_eq!((t.outcome, t.retries()), (Outcome::Silent, usize::from(retries)));
            assert_eq!(on_the_wire(&line), vec![ASK.to_vec(); usize::from(retries) + 1], "{pace}");
        }
    }
}

/// Damaged, late, then good, over the bus.
#[test]
fn a_device_that_gets_it_right_in_the_end() {
    let mut line = line(
        Pace::Wire,
        Scripted::new([Some((characters(2), spoilt(answer()))), None, Some((characters(20), answer()))]),
    );
    let mut master = master(&mut line, 3);
    let t = transact(&mut line, &mut master, poll_0(Role::Secondary));
    assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Answered, 2, 1));
    assert_eq!(t.response_time, Some(characters(20)));
    // Next time it is silent: nothing of before is left over.
    let t = transact(&mut line, &mut master, poll_0(Role::Secondary));
    assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Silent, 3, 0));
}

enum Seat {
    /// Answers command 0 at polling address 0, whoever asks, two characters later.
    Device(Vec<u8>, Option<(Instant, Vec<u8>)>),
    /// A primary master that asks the same again as soon as it may, and what became of its requests.
    Master(Box<Master>, Frame, VecDeque<Vec<u8>>, Vec<Transaction>),
}

impl Seat {
    /// One that asks this without end.
    fn primary(frame: Frame) -> Seat {
        let config = MasterConfig { role: Role::Primary, ..MasterConfig::default() };
        let mut master = Master::new(config, Pace::Wire, LINE, Instant::ZERO);
        master.ask(frame.clone(), None).unwrap();
        Seat::Master(Box::new(master), frame, VecDeque::new(), Vec::new())
    }

    fn outputs(
        master: &mut Master,
        frame: &Frame,
        to_send: &mut VecDeque<Vec<u8>>,
        ended: &mut Vec<Transaction>,
    ) {
        while let Some(output) = master.poll_output() {
            match output {
                Output::Transmit(octets) => to_send.push_back(octets.to_vec()),
                Output::Done(t) => {
                    ended.push(*t);
                    master.ask(frame.clone(), None).unwrap();
                }
                Output::Overheard(_) => {}
                other => panic!("{other:?}"),
            }
        }
    }
}

impl Station for Seat {
    fn handle(&mut self, now: Instant, octets: &[Octet]) {
        match self {
            Seat::Device(heard, due) => {
                heard.extend(octets.iter().map(|o| o.value));
                for (ask, reply) in [(ASK, answer()), (ASK_PRIMARY, answer_to_primary())] {
                    if heard.ends_with(&ask) {
                        *due = Some((now + characters(2), reply));
                    }
                }
            }
            Seat::Master(m, ..) => m.handle(now, octets),
        }
    }
    fn sent(&mut self, now: Instant) {
        if let Seat::Master(m, ..) = self {
            m.sent(now);
        }
    }
    fn poll_transmit(&mut self, now: Instant) -> Option<Vec<u8>> {
        match self {
            Seat::Device(_, due) => due.take_if(|(t, _)| *t <= now).map(|(_, values)| values),
            Seat::Master(m, frame, to_send, ended) => {
                m.handle_timeout(now);
                Seat::outputs(m, frame, to_send, ended);
                m.handle_timeout(now);
                Seat::outputs(m, frame, to_send, ended);
                to_send.pop_front()
            }
        }
    }
    fn wake_at(&self) -> Option<Instant> {
        match self {
            Seat::Device(_, due) => due.as_ref().map(|d| d.0),
            Seat::Master(m, ..) => m.wake_at(),
        }
    }
}

/// [LL-09]: two masters that both have something to ask all the time take turns without a collision.
#[test]
fn two_masters_share_the_wires() {
    let mut bus = Bus::new(Pace::Wire);
    bus.add_station(Seat::Device(Vec::new(), None));
    bus.add_station(Seat::primary(poll_0(Role::Primary)));
    let mut line = InProcess::new(bus, "mock:test");
    let mut master = Master::new(MasterConfig::default(), Pace::Wire, line.capabilities(), Instant::ZERO);
    for i in 0..20 {
        let t = transact(&mut line, &mut master, poll_0(Role::Secondary));
        assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Answered, 0, 0), "request {i}");
    }
    // A turn of both: twice a request of 10, 2 of pause, an answer of 12 and HOLD of 2: 52 characters.
    let ms = 20.0 * 52.0 * 11.0 / 1.2;
    assert!(line.now().as_secs_f64() * 1e3 < ms + 376.0, "{}", line.now());
    let Some(Seat::Master(.., ended)) = line.bus().stations().nth(1) else { panic!("the primary master") };
    assert!((19..=21).contains(&ended.len()), "{}", ended.len());
    for t in ended {
        assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Answered, 0, 0));
    }
}

/// [LL-14]: a primary master that asks a device without end that is not there leaves the secondary a turn after each
/// request, although its RT1 is the shorter one.
#[test]
fn a_dead_device_does_not_starve_the_other_master() {
    let mut bus = Bus::new(Pace::Wire);
    bus.add_station(Seat::Device(Vec::new(), None));
    bus.add_station(Seat::primary(to_device(Role::Primary, 1)));
    let mut line = InProcess::new(bus, "mock:test");
    let mut master = Master::new(MasterConfig::default(), Pace::Wire, line.capabilities(), Instant::ZERO);
    let n = 6;
    for i in 0..n {
        let t = transact(&mut line, &mut master, poll_0(Role::Secondary));
        assert_eq!((t.outcome, t.retries(), t.interludes.len()), (Outcome::Answered, 0, 0), "request {i}");
    }
    let Some(Seat::Master(.., ended)) = line.bus().stations().nth(1) else { panic!("the primary master") };
    assert!((n - 1..=n + 1).contains(&ended.len()), "{}", ended.len());
    assert!(ended.iter().all(|t| (t.outcome, t.retries()) == (Outcome::Silent, 3)));
}

/// A port that is asked for time at once, with the line already in talk: no spin, and the turn comes.
#[test]
fn time_goes_on_while_somebody_talks() {
    let mut line = line(Pace::Wire, Scripted::new([Some((Duration::ZERO, answer()))]));
    // The station begins before the listening is over and ends after it.
    line.bus_mut().station_mut(0).unwrap().due = Some((at(characters(35)), burst(false)));
    let mut master = master(&mut line, 0);
    let t = transact(&mut line, &mut master, poll_0(Role::Secondary));
    assert_eq!(t.outcome, Outcome::Answered);
}
