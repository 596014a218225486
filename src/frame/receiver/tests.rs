//! What the receiver makes of good, damaged and hostile octets.

use super::*;
use crate::frame::check_byte;
use crate::time::BitTimes;
use proptest::prelude::*;

/// A published reply to command 0 [1770], see `fixtures/frames/`.
const REPLY_0: [u8; 19] = [
    0x06, 0x80, 0x00, 0x0E, 0x00, 0x00, 0xFE, 0x26, 0x0D, 0x06, 0x05, 0x02, 0x01, 0x50, 0x00, 0x00, 0x15,
    0x11, 0x09,
];

fn stamped(values: &[u8]) -> Vec<Octet> {
    let step = BitTimes::characters(1).duration();
    let mut at = Instant::ZERO;
    values
        .iter()
        .map(|&v| {
            at += step;
            Octet::clean(at, v)
        })
        .collect()
}

fn wire() -> ReceiverConfig {
    ReceiverConfig::for_line(Pace::Wire, Duration::ZERO)
}

fn receive(octets: &[Octet], chunk: usize) -> Vec<Reception> {
    let mut r = Receiver::new(wire());
    for part in octets.chunks(chunk.max(1)) {
        r.push(part);
    }
    r.finish();
    std::iter::from_fn(|| r.next()).collect()
}

fn kinds(receptions: &[Reception]) -> String {
    receptions
        .iter()
        .map(|r| match r {
            Reception::Good(_) => 'G',
            Reception::Damaged(_) => 'D',
            Reception::Noise(_) => 'n',
        })
        .collect()
}

/// Frames that nobody keeps take each other's place; those that are kept take more, in steps that grow to their limit.
#[test]
fn memory_grows_only_with_frames_that_are_kept() {
    let octets = stamped(&with_preambles(5, &REPLY_0));
    for (keeps, step) in [(false, 2 * FIRST_STEP), (true, ARENA_STEP)] {
        let (mut r, mut kept) = (Receiver::new(ReceiverConfig::UNTIMED), Vec::new());
        for _ in 0..1000 {
            r.push(&octets);
            kept.extend(r.next().into_iter().filter(|_| keeps));
        }
        // What the next step would be: without keeping there was one.
        assert_eq!((kept.len(), r.room.0), (if keeps { 1000 } else { 0 }, step));
        assert!(kept.iter().all(|k| kinds(std::slice::from_ref(k)) == "G"));
    }
}

fn damage(r: &Reception) -> Damage {
    match r {
        Reception::Damaged(d) => d.damage,
        other => panic!("{other:?} is not damaged"),
    }
}

fn with_preambles(n: usize, frame: &[u8]) -> Vec<u8> {
    [vec![0xFF; n], frame.to_vec()].concat()
}

#[test]
fn two_preambles_are_enough_and_one_is_not() {
    for chunk in [1, 3, 100] {
        assert_eq!(kinds(&receive(&stamped(&with_preambles(2, &REPLY_0)), chunk)), "G");
        assert_eq!(kinds(&receive(&stamped(&with_preambles(1, &REPLY_0)), chunk)), "n");
    }
}

#[test]
fn frames_back_to_back() {
    let twice = [with_preambles(5, &REPLY_0), with_preambles(5, &REPLY_0)].concat();
    assert_eq!(kinds(&receive(&stamped(&twice), 1)), "GG");
}

#[test]
fn a_flipped_check_byte_is_damage() {
    let mut values = with_preambles(5, &REPLY_0);
    values[5 + 18] ^= 1;
    let got = receive(&stamped(&values), 7);
    assert_eq!(damage(&got[0]), Damage::Check { computed: 0x09, received: 0x08 });
}

#[test]
fn a_byte_count_that_lies_hides_no_frame() {
    for lie in [0x0D, 0x10, 0x20, 0xFF] {
        let mut first = with_preambles(5, &REPLY_0);
        first[5 + 3] = lie;
        let both = [first, with_preambles(5, &REPLY_0)].concat();
        let got = receive(&stamped(&both), 1);
        let good = got.iter().filter(|r| matches!(r, Reception::Good(_))).count();
        assert_eq!(good, 1, "byte count {lie:02X}: {}", kinds(&got));
    }
}

#[test]
fn a_truncated_frame_and_the_next_one() {
    let both = [with_preambles(5, &REPLY_0[..9]), with_preambles(5, &REPLY_0)].concat();
    let got = receive(&stamped(&both), 1);
    assert_eq!(kinds(&got), "DG");
    assert!(matches!(damage(&got[0]), Damage::Truncated { .. }));
    let got = receive(&stamped(&both[..10]), 1);
    assert_eq!(damage(&got[0]), Damage::Truncated { missing: 14 });
}

#[test]
fn a_false_delimiter_in_noise() {
    // FF FF 82 begins a frame by chance and swallows the real one's preamble.
    let values = [vec![0x12, 0xFF, 0xFF, 0x82, 0x33], with_preambles(3, &REPLY_0)].concat();
    assert_eq!(kinds(&receive(&stamped(&values), 1)), "nDG");
}

#[test]
fn a_gap_of_a_character_breaks_the_frame() {
    let step = BitTimes::characters(1).duration();
    for (pause, want) in [(step * 9 / 10, "G"), (step * 11 / 10, "Dn")] {
        let mut octets = stamped(&with_preambles(5, &REPLY_0));
        for o in &mut octets[15..] {
            o.at += pause;
        }
        let got = receive(&octets, 1);
        assert_eq!(kinds(&got), want);
        if want == "Dn" {
            assert_eq!(damage(&got[0]), Damage::Gap { at: 15, marks: Marks::GAP });
        }
    }
}

#[test]
fn marks_spoil_header_and_data_differently() {
    for (at, want) in [
        (6, Damage::Header { at: 6, marks: Marks::PARITY }),
        (15, Damage::Character { at: 15, marks: Marks::PARITY }),
    ] {
        let mut octets = stamped(&with_preambles(5, &REPLY_0));
        octets[at].marks = Marks::PARITY;
        assert_eq!(damage(&receive(&octets, 1)[0]), want);
    }
}

#[test]
fn silence_gives_up_what_began() {
    let mut r = Receiver::new(wire());
    let octets = stamped(&with_preambles(5, &REPLY_0[..6]));
    r.push(&octets);
    assert_eq!(r.next(), None);
    let deadline = r.deadline().expect("something is pending");
    r.handle_timeout(deadline.before(Duration::from_nanos(1)));
    assert_eq!(r.next(), None);
    r.handle_timeout(deadline);
    assert!(matches!(r.next(), Some(Reception::Damaged(_))));
    assert_eq!(r.deadline(), None);
}

#[test]
fn a_device_frame_without_status_is_damaged() {
    let mut frame = vec![0x06, 0x80, 0x00, 0x01, 0x00];
    frame.push(check_byte(&frame));
    assert_eq!(damage(&receive(&stamped(&with_preambles(5, &frame)), 1)[0]), Damage::NoStatus);
}

fn any_frame() -> impl Strategy<Value = Vec<u8>> {
    (any::<[u8; 5]>(), any::<u8>(), prop::collection::vec(any::<u8>(), 0..40), 0..3u8).prop_map(
        |(address, command, data, kind)| {
            let mut f = vec![[0x82, 0x86, 0x81][usize::from(kind)]];
            f.extend(address);
            f.push(command);
            let status = if kind == 0 { 0 } else { 2 };
            f.push(data.len() as u8 + status);
            f.extend(vec![0; usize::from(status)]);
            f.extend(data);
            f.push(check_byte(&f));
            f
        },
    )
}

/// Noise with many octets that look like the start of a frame.
fn noise() -> impl Strategy<Value = Vec<u8>> {
    prop::collection::vec(
        prop_oneof![3 => any::<u8>(), 2 => Just(0xFF), 1 => prop::sample::select(vec![0x02, 0x82, 0x86])],
        0..30,
    )
}

proptest! {
    /// Frames in noise, each after two clean preambles, are received, and no octet is lost. A
    /// frame can only be missed where noise by chance is itself a good frame that covers it.
    #[test]
    fn frames_in_noise_are_found(
        parts in prop::collection::vec((noise(), any_frame()), 1..6),
        tail in noise(),
        marks in prop::collection::vec(0..200usize, 0..3),
        chunk in 1..50usize,
    ) {
        let mut values = Vec::new();
        let mut planted = Vec::new();
        for (noise, frame) in &parts {
            values.extend(noise);
            values.extend([0xFF, 0xFF]);
            planted.push((values.len(), frame.len()));
            values.extend(frame);
        }
        values.extend(&tail);
        let mut octets = stamped(&values);
        for at in marks {
            if let Some(o) = octets.get_mut(at)
                && !planted.iter().any(|&(from, len)| (from - 2..from + len).contains(&at))
            {
                o.marks = Marks::PARITY;
            }
        }
        let got = receive(&octets, chunk);
        let account: Vec<Octet> = got.iter().flat_map(|r| r.octets().to_vec()).collect();
        prop_assert_eq!(&account, &octets);
        let mut at = 0;
        let mut good = Vec::new();
        for r in &got {
            if let Reception::Good(g) = r {
                good.push((at + g.preambles, g.octets.len() - g.preambles));
            }
            at += r.octets().len();
        }
        for p in planted {
            let covered = good.iter().any(|&(from, len)| from < p.0 && p.0 - 2 < from + len);
            prop_assert!(good.contains(&p) || covered, "frame at {} of {:?}: {}", p.0, values, kinds(&got));
        }
    }

    #[test]
    fn cutting_the_stream_changes_nothing(
        octets in prop::collection::vec((any::<u8>(), 0..30u8, prop::bool::weighted(0.3)), 0..300),
        chunk in 1..40usize,
    ) {
        let mut at = Instant::ZERO;
        let octets: Vec<Octet> = octets
            .into_iter()
            .map(|(v, m, ff)| {
                at += BitTimes::characters(1).duration();
                Octet { at, value: if ff { 0xFF } else { v }, marks: if m < 5 { Marks(m) } else { Marks::NONE } }
            })
            .collect();
        let whole = receive(&octets, octets.len());
        let account: Vec<Octet> = whole.iter().flat_map(|r| r.octets().to_vec()).collect();
        prop_assert_eq!(account, octets.clone());
        prop_assert_eq!(receive(&octets, chunk), whole);
    }
}
