//! Serial ports on a port played from a script, on virtual time [LI-06] [LI-07] [LI-08]: every call
//! is recorded with its time.

use looprig::frame::{Marks, Octet};
use looprig::line::{EchoUse, Hardware, PortLogic, PortOutput, RtsUse, SerialOptions, Unsent};
use looprig::time::{Instant, Pace};
use proptest::prelude::*;
use std::collections::VecDeque;
use std::time::Duration;

/// One character of eleven bits at 1200 bit/s, ns: 11 / 1200 s.
const C: u64 = 9_166_666;
const MS: u64 = 1_000_000;

/// Command 0 to polling address 0 behind five preambles; check byte 02^80.
const REQUEST: [u8; 10] = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];

#[derive(Clone, Debug, PartialEq, Eq)]
enum Call {
    Configure,
    KeepLines,
    Rts(bool),
    Dtr(bool),
    LowLatency,
    Write(Vec<u8>),
}

/// A port whose transmitter takes one character after the other, and whose receiver and carrier
/// detect follow a script.
struct Scripted {
    now: u64,
    calls: Vec<(u64, Call)>,
    lines: bool,
    parity: bool,
    low_latency: bool,
    /// Whether the driver can be asked about its shift register, and about its buffer.
    tells_shift_register: bool,
    /// Extra time before the first bit leaves, as an adapter needs.
    delay: u64,
    /// When the shift register is empty.
    empty_at: u64,
    /// Most octets that one write takes.
    room: usize,
    rts: bool,
    /// Whether the modem gives back what is sent.
    echoes: bool,
    arrivals: VecDeque<(u64, u8, Marks)>,
    /// Times at which carrier detect changes; it is off at first. `None`: no such line.
    carrier: Option<Vec<u64>>,
    /// The port is gone from then on.
    lost_at: Option<u64>,
}

impl Scripted {
    fn new() -> Scripted {
        Scripted {
            now: 0,
            calls: Vec::new(),
            lines: true,
            parity: true,
            low_latency: true,
            tells_shift_register: true,
            delay: 0,
            empty_at: 0,
            room: 4096,
            // As the system leaves it when it opens a port.
            rts: true,
            echoes: false,
            arrivals: VecDeque::new(),
            carrier: Some(Vec::new()),
            lost_at: None,
        }
    }

    fn record(&mut self, call: Call) {
        self.calls.push((self.now, call));
    }

    /// What is received from `from` on, one character after the other.
    fn receives(&mut self, from: u64, values: &[u8]) {
        self.arrivals
            .extend(values.iter().enumerate().map(|(i, &v)| (from + (i as u64 + 1) * C, v, Marks::NONE)));
    }

    fn rts_calls(&self) -> Vec<(u64, bool)> {
        let rts = self.calls.iter().filter_map(|(t, c)| match c {
            Call::Rts(on) => Some((*t, *on)),
            _ => None,
        });
        rts.collect()
    }
}

impl Hardware for Scripted {
    fn configure(&mut self) -> Result<bool, String> {
        self.record(Call::Configure);
        Ok(self.parity)
    }

    fn keep_lines_on_close(&mut self) -> Result<(), String> {
        self.record(Call::KeepLines);
        Ok(())
    }

    fn set_rts(&mut self, on: bool) -> Result<bool, String> {
        self.record(Call::Rts(on));
        assert!(on || self.empty_at <= self.now, "request-to-send goes while the last octets leave");
        self.rts = on;
        Ok(self.lines)
    }

    fn set_dtr(&mut self, on: bool) -> Result<bool, String> {
        self.record(Call::Dtr(on));
        Ok(self.lines)
    }

    fn ask_low_latency(&mut self) -> bool {
        self.record(Call::LowLatency);
        self.low_latency
    }

    fn write(&mut self, octets: &[u8]) -> Result<usize, String> {
        let n = octets.len().min(self.room);
        if n > 0 {
            self.record(Call::Write(octets[..n].to_vec()));
            let from = self.empty_at.max(self.now + self.delay);
            if self.echoes {
                self.receives(from, &octets[..n]);
                self.arrivals.make_contiguous().sort_by_key(|a| a.0);
            }
            self.empty_at = from + n as u64 * C;
        }
        Ok(n)
    }

    fn unsent(&mut self) -> Unsent {
        let left = self.empty_at.saturating_sub(self.now);
        // The character in the shift register is no longer in the buffer.
        let queued = usize::try_from(left.div_ceil(C)).unwrap().saturating_sub(1);
        Unsent { queued: Some(queued), shift_register_empty: self.tells_shift_register.then_some(left == 0) }
    }

    fn read(&mut self, octets: &mut Vec<(u8, Marks)>) -> Result<(), String> {
        while self.arrivals.front().is_some_and(|a| a.0 <= self.now) {
            octets.extend(self.arrivals.pop_front().map(|(_, v, m)| (v, m)));
        }
        match self.lost_at {
            Some(t) if t <= self.now => Err("unplugged".into()),
            _ => Ok(()),
        }
    }

    fn carrier(&mut self) -> Option<bool> {
        let changes = self.carrier.as_ref()?;
        Some(changes.iter().filter(|&&t| t <= self.now).count() % 2 == 1)
    }
}

struct Rig {
    port: Scripted,
    logic: PortLogic,
    heard: Vec<Octet>,
    sent: Vec<u64>,
}

impl Rig {
    fn open(mut port: Scripted, options: SerialOptions) -> Rig {
        let logic = PortLogic::open(options, Pace::Wire, Instant::ZERO, &mut port).unwrap();
        Rig { port, logic, heard: Vec::new(), sent: Vec::new() }
    }

    /// Lets time run to `end`: the logic is called when it wants to, or when something arrives.
    fn run(&mut self, end: u64) {
        let mut rounds = 0;
        loop {
            let now = Instant::from_nanos(self.port.now);
            self.logic.handle(now, &mut self.port).unwrap();
            while let Some(output) = self.logic.poll_output() {
                match output {
                    PortOutput::Octets(octets) => self.heard.extend(octets),
                    PortOutput::Sent { at } => self.sent.push(at.as_nanos()),
                }
            }
            let wake = self.logic.wake_at().map(Instant::as_nanos);
            let arrival = self.port.arrivals.front().map(|a| a.0);
            // A port that was full has room again a little later.
            let room = self.logic.wants_room().then_some(self.port.now + C);
            let next = [wake, arrival, room].into_iter().flatten().min().unwrap_or(end);
            if next >= end {
                self.port.now = end;
                return;
            }
            // A wish for now that nothing comes of would be a busy loop.
            rounds = if next <= self.port.now { rounds + 1 } else { 0 };
            assert!(rounds < 5, "it does not let time pass at {now}");
            self.port.now = next.max(self.port.now);
        }
    }

    fn values(&self) -> Vec<u8> {
        self.heard.iter().map(|o| o.value).collect()
    }
}

fn default() -> Rig {
    Rig::open(Scripted::new(), SerialOptions::default())
}

#[test]
fn opening_switches_request_to_send_off_before_anything_else() {
    let rig = default();
    let calls: Vec<Call> = rig.port.calls.iter().map(|(_, c)| c.clone()).collect();
    assert_eq!(
        calls,
        [
            Call::Rts(false),
            Call::Configure,
            Call::KeepLines,
            Call::Rts(false),
            Call::Dtr(true),
            Call::LowLatency
        ]
    );
}

#[test]
fn lines_are_as_the_options_say() {
    let options = SerialOptions { rts: RtsUse::On, dtr: false, echo: EchoUse::Auto };
    let mut rig = Rig::open(Scripted::new(), options);
    assert_eq!(rig.port.rts_calls(), [(0, false), (0, true)]);
    assert!(rig.port.calls.contains(&(0, Call::Dtr(false))));
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(30 * C);
    rig.logic.close(&mut rig.port);
    // Nothing else ever touches it.
    assert_eq!(rig.port.rts_calls().len(), 2);

    let options = SerialOptions { rts: RtsUse::Off, ..SerialOptions::default() };
    let mut rig = Rig::open(Scripted::new(), options);
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(30 * C);
    rig.logic.close(&mut rig.port);
    assert_eq!(rig.port.rts_calls(), [(0, false), (0, false)]);
    assert_eq!(rig.sent, [10 * C]);
}

#[test]
fn request_to_send_frames_the_transmission() {
    let mut rig = default();
    rig.port.now = 100 * MS;
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(2_000 * MS);
    let calls: Vec<(u64, Call)> = rig.port.calls.split_off(6);
    let end = 100 * MS + 10 * C;
    let expected =
        [(100 * MS, Call::Rts(true)), (100 * MS, Call::Write(REQUEST.to_vec())), (end, Call::Rts(false))];
    assert_eq!(calls, expected);
    assert_eq!(rig.sent, [end]);
}

/// An adapter that begins late: the computed end is not the end, and the shift register says so.
#[test]
fn request_to_send_waits_for_the_shift_register() {
    let mut port = Scripted::new();
    port.delay = 30 * MS;
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(2_000 * MS);
    let end = 30 * MS + 10 * C;
    let (off_at, on) = rig.port.rts_calls()[3];
    // It is looked every millisecond.
    assert!(!on && (end..=end + MS).contains(&off_at), "{off_at}, last bit at {end}");
    assert!(rig.sent[0] >= end);
}

/// Nobody tells about the shift register: the last character may have begun when the buffer ran empty.
#[test]
fn without_a_shift_register_to_ask_the_last_character_is_waited_for() {
    for delay in [0, 1, 2, 5, 9, 20, 40] {
        let mut port = Scripted::new();
        port.tells_shift_register = false;
        // With a buffer that is told, a delay below a character cannot be seen but by the margin of 3
        // bits, 2.5 ms.
        port.delay = if delay > 2 { (delay + 10) * MS } else { delay * MS };
        let mut rig = Rig::open(port, SerialOptions::default());
        rig.logic.send(REQUEST.to_vec(), true);
        // `set_rts` of the script judges.
        rig.run(2_000 * MS);
        assert_eq!(rig.port.rts_calls().len(), 4);
        let (off_at, _) = rig.port.rts_calls()[3];
        // 5 bit times are 4.17 ms; a character more where the end was seen late.
        assert!(off_at <= rig.port.empty_at + 14 * MS + MS, "carrier for too long after {delay} ms");
    }
}

#[test]
fn a_port_that_takes_a_few_octets_at_a_time() {
    let mut port = Scripted::new();
    port.room = 3;
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(2_000 * MS);
    let mut written: Vec<u8> = Vec::new();
    for (_, call) in &rig.port.calls {
        if let Call::Write(octets) = call {
            written.extend(octets);
        }
    }
    assert_eq!(written, REQUEST);
    assert_eq!(rig.port.rts_calls().len(), 4);
    assert_eq!(rig.logic.take_written(), 10);
}

/// A bench hands its octets on one by one: one carrier for all of them.
#[test]
fn pieces_of_one_transmission_share_a_carrier() {
    let mut rig = default();
    for (i, &octet) in REQUEST.iter().enumerate() {
        rig.logic.send(vec![octet], false);
        // Half a character of jitter.
        rig.run((i as u64 + 1) * C + (i as u64 % 2) * C / 2);
    }
    rig.run(2_000 * MS);
    let rts = rig.port.rts_calls();
    assert_eq!(rts.len(), 4, "{rts:?}");
    assert!(rig.sent.is_empty(), "nobody asked for it");
    // Two characters after the last octet.
    let empty_at = rig.port.empty_at;
    assert!((empty_at..=empty_at + 3 * C).contains(&rts[3].0));
}

#[test]
fn a_carrier_of_another_is_waited_for() {
    let mut port = Scripted::new();
    // On from 10 ms to 300 ms; an idle line is looked at every 100 ms.
    port.carrier = Some(vec![10 * MS, 300 * MS]);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(150 * MS);
    assert_eq!(rig.logic.status().carrier, Some(true));
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(2_000 * MS);
    let (on_at, on) = rig.port.rts_calls()[2];
    assert!(on && (300 * MS..=301 * MS).contains(&on_at), "{on_at}");
    let status = rig.logic.status();
    assert_eq!((status.carrier_rises, status.carrier_falls, status.carrier_stuck), (1, 1, false));
    assert!(rig.logic.carrier_seen());
}

/// 320 characters are 2.93 s; the second transmission does not wait again.
#[test]
fn a_carrier_that_never_goes_holds_up_one_transmission_only() {
    let mut port = Scripted::new();
    port.carrier = Some(vec![0]);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(5_000 * MS);
    let longest = 320 * C;
    let on_at = rig.port.rts_calls()[2].0;
    assert!((longest..=longest + 2 * MS).contains(&on_at), "{on_at}");
    assert!(rig.logic.status().carrier_stuck);
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(6_000 * MS);
    assert_eq!(rig.port.rts_calls()[4], (5_000 * MS, true));
}

/// A frame without its last two octets, and those.
const ANSWER: [u8; 11] = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x06, 0x80, 0x00, 0x02, 0x00, 0x00];

#[test]
fn octets_that_are_pending_when_the_carrier_falls_are_accepted() {
    let mut port = Scripted::new();
    // The last two octets come when the carrier has gone, as an adapter hands them over late; the check
    // byte is 06^80^00^02^00^00 = 84.
    let frame: Vec<u8> = ANSWER.iter().chain(&[0x84]).copied().collect();
    port.receives(10 * MS, &frame);
    // The next message comes while the first octet of it is the next octet after the fall.
    port.receives(500 * MS, &frame);
    let (first, second) = (10 * MS + 12 * C, 500 * MS + 12 * C);
    port.carrier = Some(vec![10 * MS, first - C - C / 2, 500 * MS, second - C - C / 2]);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(2_000 * MS);
    assert_eq!(rig.values(), [frame.clone(), frame].concat());
    assert!(rig.heard.iter().all(|o| o.marks.is_empty()), "{:?}", rig.heard);
    assert_eq!(rig.logic.status().carrier_falls, 2);
}

#[test]
fn a_fall_within_a_frame_marks_the_next_octet_and_no_other() {
    let mut port = Scripted::new();
    port.receives(10 * MS, &ANSWER);
    let fell = 10 * MS + 11 * C + C / 2;
    // Comes back 60 ms later, past what can be pending, and the rest of the frame follows.
    let back = fell + 60 * MS;
    port.receives(back, &[0x84, 0x00]);
    port.carrier = Some(vec![10 * MS, fell, back]);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(2_000 * MS);
    let marked: Vec<(usize, Marks)> = rig
        .heard
        .iter()
        .enumerate()
        .filter(|(_, o)| !o.marks.is_empty())
        .map(|(i, o)| (i, o.marks))
        .collect();
    assert_eq!(marked, [(11, Marks::CARRIER_LOST)]);
}

#[test]
fn a_port_without_carrier_detect_marks_nothing() {
    let mut port = Scripted::new();
    port.carrier = None;
    port.receives(0, &ANSWER);
    port.receives(200 * MS, &[0x84]);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(2_000 * MS);
    assert!(rig.heard.iter().all(|o| o.marks.is_empty()));
    assert!(!rig.logic.carrier_seen());
    assert_eq!(rig.logic.status().carrier, None);
}

#[test]
fn errors_of_octets_are_passed_on() {
    let mut port = Scripted::new();
    port.receives(0, &ANSWER);
    port.arrivals[7].2 = Marks::PARITY;
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(2_000 * MS);
    assert_eq!(rig.heard[7].marks, Marks::PARITY);
    assert_eq!(rig.heard.iter().filter(|o| !o.marks.is_empty()).count(), 1);
    assert!(rig.logic.status().parity_kept);
}

#[test]
fn an_echo_is_told_from_the_answer_behind_it() {
    for (echo, heard_of_ours) in [(EchoUse::Auto, 0), (EchoUse::On, 10), (EchoUse::Off, 10)] {
        let mut port = Scripted::new();
        port.echoes = true;
        port.receives(300 * MS, &ANSWER);
        let mut rig = Rig::open(port, SerialOptions { echo, ..SerialOptions::default() });
        rig.logic.send(REQUEST.to_vec(), true);
        rig.run(2_000 * MS);
        let expected = [&REQUEST[..heard_of_ours], &ANSWER[..]].concat();
        assert_eq!(rig.values(), expected, "{echo:?}");
        assert_eq!(rig.logic.status().echoes, 1);
    }
}

/// Without an echo an answer is not held up for longer than an echo could take: two characters and
/// twice the stamp error after our end.
#[test]
fn an_answer_without_echo_keeps_its_stamps() {
    let mut port = Scripted::new();
    port.receives(12 * C, &ANSWER);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(10 * C + 2 * C + 10 * MS + 2 * MS);
    assert_eq!(rig.values(), ANSWER[..rig.heard.len()]);
    assert!(!rig.heard.is_empty(), "still held");
    rig.run(2_000 * MS);
    assert_eq!(rig.values(), ANSWER);
    assert_eq!(rig.heard[0].at.as_nanos(), 13 * C);
}

#[test]
fn stamps_are_as_good_as_the_adapter() {
    let mut port = Scripted::new();
    port.low_latency = false;
    let rig = Rig::open(port, SerialOptions::default());
    assert_eq!(rig.logic.status().stamp_error, Duration::from_millis(20));
    assert_eq!(default().logic.status().stamp_error, Duration::from_millis(5));
}

#[test]
fn a_port_without_lines_sends_all_the_same() {
    let mut port = Scripted::new();
    (port.lines, port.parity, port.carrier) = (false, false, None);
    let mut rig = Rig::open(port, SerialOptions::default());
    let before = rig.port.rts_calls().len();
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(2_000 * MS);
    assert_eq!(rig.sent, [10 * C]);
    assert_eq!(rig.port.rts_calls().len(), before, "there is nothing to switch");
    assert!(!rig.logic.status().parity_kept);
}

#[test]
fn closing_in_the_middle_takes_the_carrier_away() {
    let mut rig = default();
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(3 * C);
    assert!(rig.port.rts);
    rig.port.empty_at = 0; // what is left is thrown away with the port
    rig.logic.close(&mut rig.port);
    assert!(!rig.port.rts);
}

#[test]
fn what_came_before_the_port_was_lost_is_there() {
    let mut port = Scripted::new();
    port.receives(0, &ANSWER);
    port.lost_at = Some(5 * C);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.run(4 * C + 1);
    rig.port.now = 5 * C;
    let lost = rig.logic.handle(Instant::from_nanos(5 * C), &mut rig.port);
    assert_eq!(lost, Err(("reading from", "unplugged".to_owned())));
    assert_eq!(rig.values(), ANSWER[..4]);
}

proptest! {
    /// Whatever is sent, heard, echoed and delayed: the carrier is there around every written octet and
    /// gone in the end, what others sent comes out in order, every end is reported once.
    #[test]
    fn any_traffic(
        jobs in prop::collection::vec((prop::collection::vec(any::<u8>(), 1..30), any::<bool>(), 0u64..400), 1..6),
        arrivals in prop::collection::vec((0u64..3_000, any::<u8>()), 0..40),
        delay in 0u64..2, echoes in any::<bool>(), room in 1usize..40,
        carrier in prop::option::of(prop::collection::vec(0u64..3_000, 0..6)),
    ) {
        let mut port = Scripted::new();
        port.delay = delay * 15 * MS;
        port.room = room;
        port.echoes = echoes;
        let mut arrivals: Vec<_> = arrivals.iter().map(|&(t, v)| (t * MS, v, Marks::NONE)).collect();
        arrivals.sort_by_key(|a| a.0);
        let sent_by_others: Vec<u8> = arrivals.iter().map(|a| a.1).collect();
        port.arrivals = arrivals.into();
        port.carrier = carrier.map(|mut c| {
            c.sort_unstable();
            c.iter().map(|t| t * MS).collect()
        });
        let mut rig = Rig::open(port, SerialOptions { echo: EchoUse::Auto, ..SerialOptions::default() });
        let reports = jobs.iter().filter(|j| j.1).count();
        for (octets, report, pause) in jobs {
            let now = rig.port.now;
            rig.logic.send(octets, report);
            rig.run(now + pause * MS);
        }
        rig.run(60_000 * MS);
        prop_assert_eq!(rig.sent.len(), reports);
        prop_assert!(!rig.port.rts);
        let mut rts = false;
        for (_, call) in rig.port.calls.iter().skip(4) {
            match call {
                Call::Rts(on) => {
                    prop_assert_ne!(*on, rts, "switched to what it was");
                    rts = *on;
                }
                Call::Write(_) => prop_assert!(rts),
                _ => {}
            }
        }
        if !echoes && rig.logic.status().echoes == 0 {
            prop_assert_eq!(rig.values(), sent_by_others);
        }
        prop_assert!(rig.heard.is_sorted_by_key(|o| o.at));
    }
}
