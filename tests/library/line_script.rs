//! Serial ports on a port played from a script, on virtual time [LI-06] [LI-07] [LI-08]: every call
//! is recorded with its time.

mod errors;
mod port;

use looprig::frame::Marks;
use looprig::line::{EchoUse, Fault, RtsUse, SerialOptions};
use looprig::time::Instant;
use port::{C, Call, MS, REQUEST, Rig, Scripted, default};
use proptest::prelude::*;
use std::time::Duration;

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
            Call::LowLatency,
            Call::Left(true)
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
    let calls: Vec<(u64, Call)> = rig.port.calls.split_off(7);
    let end = 100 * MS + 10 * C;
    let expected = [
        (100 * MS, Call::Rts(true)),
        (100 * MS, Call::Write(REQUEST.to_vec())),
        (end, Call::Left(true)),
        (end, Call::Rts(false)),
    ];
    assert_eq!(calls, expected);
    assert_eq!(rig.sent, [end]);
    assert!(rig.logic.status().end_told);
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
    let last: Vec<&Call> = rig.port.calls.iter().rev().take(3).map(|c| &c.1).collect();
    assert_eq!(last, [&Call::Rts(false), &Call::Left(true), &Call::Left(false)]);
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
        assert!(!rig.logic.status().end_told);
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

/// The same where the modem echoes, at once or as late as an adapter may be: nothing of it is heard,
/// whoever switches the carrier. The answer behind it is.
#[test]
fn pieces_that_come_back_are_one_echo() {
    for rts in [RtsUse::Transmit, RtsUse::On, RtsUse::Off] {
        for echo_delay in [0, 2 * MS, 8 * MS, 16 * MS] {
            let mut port = Scripted::new();
            (port.echoes, port.echo_delay) = (true, echo_delay);
            let mut rig = Rig::open(port, SerialOptions { rts, ..SerialOptions::default() });
            for (i, &octet) in REQUEST.iter().enumerate() {
                rig.logic.send(vec![octet], false);
                rig.run((i as u64 + 1) * C + (i as u64 % 2) * C / 2);
            }
            rig.port.receives(300 * MS, &ANSWER);
            rig.run(2_000 * MS);
            assert_eq!(rig.values(), ANSWER, "{rts:?}, {} ms", echo_delay / MS);
            assert!(rig.logic.status().echoes > 0);
        }
    }
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
    // A port without modem lines may be an adapter that collects octets all the same.
    let mut port = Scripted::new();
    (port.low_latency, port.lines, port.carrier) = (false, false, None);
    let rig = Rig::open(port, SerialOptions::default());
    assert_eq!(rig.logic.status().stamp_error, Duration::from_millis(20));
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
    rig.logic.close(&mut rig.port);
    // What would leave without a carrier is thrown away: the port would be kept open for it.
    let last: Vec<&Call> = rig.port.calls.iter().rev().take(2).map(|c| &c.1).collect();
    assert_eq!(last, [&Call::Rts(false), &Call::Discard]);
}

/// Without a carrier of ours nothing is thrown away: the last words of a program are heard.
#[test]
fn closing_without_a_carrier_of_ours_throws_nothing_away() {
    let options = SerialOptions { rts: RtsUse::Off, ..SerialOptions::default() };
    let mut rig = Rig::open(Scripted::new(), options);
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(3 * C);
    rig.logic.close(&mut rig.port);
    assert!(rig.port.calls.iter().all(|c| c.1 != Call::Discard));
}

/// Another program that opens the port raises request-to-send, and a carrier with it: it is put back at
/// the next look, every 100 ms, and nothing else is touched.
#[test]
fn lines_that_another_program_moves_are_put_back() {
    let mut port = Scripted::new();
    port.meddled_at = Some(250 * MS);
    let options = SerialOptions { dtr: false, ..SerialOptions::default() };
    let mut rig = Rig::open(port, options);
    let before = rig.port.calls.len();
    rig.run(2_000 * MS);
    assert_eq!(rig.port.calls[before..], [(300 * MS, Call::Rts(false)), (300 * MS, Call::Dtr(false))]);
    assert_eq!(rig.logic.status().lines_moved, 2);
}

/// A port that never says truly how the line is is not argued with.
#[test]
fn a_line_that_reads_wrong_is_left_alone() {
    let mut port = Scripted::new();
    port.rts_reads_on = true;
    let mut rig = Rig::open(port, SerialOptions::default());
    let before = rig.port.calls.len();
    rig.run(2_000 * MS);
    assert_eq!(rig.port.calls.len(), before);
    // One that begins to is tried once.
    let mut rig = default();
    rig.port.rts_reads_on = true;
    rig.run(2_000 * MS);
    assert_eq!(rig.port.rts_calls()[2..], [(0, false)]);
    assert_eq!(rig.logic.status().lines_moved, 1);
}

/// The carrier does not stay on for a port that takes no octets for 2 s.
#[test]
fn a_port_that_jams_ends_with_the_carrier_off() {
    let mut port = Scripted::new();
    port.jammed_at = Some(0);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(1_999 * MS);
    assert!(rig.port.rts && rig.logic.wants_room());
    let wake = rig.logic.wake_at();
    assert!(wake.is_some_and(|w| w <= Instant::from_nanos(2_000 * MS)), "{wake:?}");
    rig.port.now = 2_000 * MS;
    let stuck = rig.logic.handle(Instant::from_nanos(rig.port.now), &mut rig.port).unwrap_err();
    assert_eq!((stuck.doing, stuck.fault), ("writing to", Fault::Stuck));
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
    rig.lost(5 * C);
    // The fifth came in the same moment.
    assert_eq!(rig.values(), ANSWER[..5]);
}

/// What was kept back as a possible echo is heard when the port goes.
#[test]
fn half_an_echo_is_handed_on_when_the_port_is_lost() {
    let mut port = Scripted::new();
    port.echoes = true;
    port.lost_at = Some(7 * C + 1);
    let mut rig = Rig::open(port, SerialOptions::default());
    rig.logic.send(REQUEST.to_vec(), true);
    rig.run(7 * C);
    assert!(rig.values().is_empty(), "{:?}", rig.heard);
    rig.lost(7 * C + 1);
    assert_eq!(rig.values(), REQUEST[..7]);
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
