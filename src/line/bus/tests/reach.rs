//! Who hears whom [LI-25].

use super::*;
use proptest::prelude::*;

const NONE: Reach = Reach::NONE;

fn errors(bit_error_rate: f64) -> Reach {
    Reach { bit_error_rate, ..Reach::CLEAR }
}

fn values(of: &Speaker) -> Vec<u8> {
    of.heard.iter().map(|o| o.value).collect()
}

fn at_port(out: &[Delivery], port: usize) -> Vec<(u64, u8)> {
    out.iter().filter(|d| d.port == port).map(|d| (d.octet.at.as_nanos() / C, d.octet.value)).collect()
}

/// Who is not heard is not there: no octet and no carrier; for all others everything is as ever.
#[test]
fn one_hears_and_another_does_not() {
    let mut bus = Bus::new(Pace::Wire);
    let (near, far_off) = (bus.add_port(), bus.add_port());
    for script in [&[(0, &[1u8, 2, 3][..])][..], &[], &[]] {
        bus.add_station(speaker(script));
    }
    for listener in [Source::Station(1), Source::Port(far_off)] {
        bus.set_reach(Source::Station(0), listener, NONE);
    }
    assert_eq!(bus.reach(Source::Station(0), Source::Station(1)), NONE);
    assert_eq!(bus.reach(Source::Station(0), Source::Station(2)), Reach::CLEAR);
    assert_eq!(bus.reach(Source::Station(1), Source::Station(0)), Reach::CLEAR);
    let out = bus.poll(far());
    assert_eq!((at_port(&out, near), at_port(&out, far_off)), (vec![(1, 1), (2, 2), (3, 3)], vec![]));
    let stations: Vec<_> = bus.stations().collect();
    assert_eq!((values(stations[1]), values(stations[2])), (vec![], vec![1, 2, 3]));
    assert_eq!(stations[1].carrier, []);
    assert_eq!(stations[2].carrier, [(3_333_333, true), (3 * C + 2_500_000, false)]);
    // They are the wires that this account is of.
    let t = bus.traffic();
    assert_eq!((t.sent, t.heard), (3, 3));
}

/// An access point talks and listens by the same rule: one that is not heard gets no answer.
#[test]
fn access_points_are_talkers_too() {
    let mut bus = Bus::new(Pace::Wire);
    let (a, b) = (bus.add_port(), bus.add_port());
    bus.add_station(toy(0, &[0xAA]));
    bus.set_reach(Source::Port(a), Source::Station(0), NONE);
    bus.transmit(at(0), a, &[1, 2, 3]);
    assert_eq!(ends(&bus.poll(at(10 * C))), [(b, C, 1), (b, 2 * C, 2), (b, 3 * C, 3)]);
    bus.transmit(at(10 * C), b, &[4, 5, 6]);
    let out = bus.poll(far());
    assert_eq!(at_port(&out, b), [(14, 0xAA)]);
    assert_eq!(at_port(&out, a), [(11, 4), (12, 5), (13, 6), (14, 0xAA)]);
}

/// [LI-20] is true of those whom a listener hears: here two send at once, from 0 to 4 C and from 2.5 C to 6.5 C. Who hears
/// one of them hears it whole, who hears both hears a collision.
#[test]
fn what_is_not_heard_collides_with_nothing() {
    let mut bus = Bus::new(Pace::Wire);
    bus.add_station(speaker(&[(0, &[1, 2, 3, 4])]));
    bus.add_station(speaker(&[(5 * C / 2, &[5, 6, 7, 8])]));
    for _ in 0..3 {
        bus.add_station(speaker(&[]));
    }
    bus.set_reach(Source::Station(1), Source::Station(2), NONE);
    bus.set_reach(Source::Station(0), Source::Station(3), NONE);
    // Hears both, if with errors.
    bus.set_reach(Source::Station(0), Source::Station(4), errors(1e-9));
    bus.poll(far());
    let stations: Vec<_> = bus.stations().collect();
    assert_eq!((values(stations[2]), values(stations[3])), (vec![1, 2, 3, 4], vec![5, 6, 7, 8]));
    let both: Vec<_> = stations[4].heard.iter().map(|o| o.at.as_nanos() * 2 / C).collect();
    // 3 and 4 spoilt, 5 and 6 covered, as in `two_that_send_at_once_collide`.
    assert_eq!(both, [2, 4, 6, 8, 11, 13]);
    let marked = stations[4].heard[2..4].iter().filter(|o| !o.marks.is_empty() || ![3, 4].contains(&o.value));
    assert!(marked.count() > 0);
    // Each carrier has its own time, and that of both together lasts from the first to the second.
    let (on, lag) = (3_333_333, 2_500_000);
    assert_eq!(stations[2].carrier, [(on, true), (4 * C + lag, false)]);
    assert_eq!(stations[3].carrier, [(5 * C / 2 + on, true), (5 * C / 2 + 4 * C + lag, false)]);
    assert_eq!(stations[4].carrier, [(on, true), (5 * C / 2 + 4 * C + lag, false)]);
}

/// Who stops to send while somebody goes on notices that at once, if he hears him at all.
#[test]
fn who_stops_notices_only_whom_he_hears() {
    for (reach, told) in [(Reach::CLEAR, vec![(2 * C, true), (5 * C + 2_500_000, false)]), (NONE, vec![])] {
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(speaker(&[(0, &[1, 2])]));
        bus.add_station(speaker(&[(C, &[3, 4, 5, 6])]));
        bus.add_station(speaker(&[]));
        // An ear in any case.
        bus.set_reach(Source::Station(2), Source::Station(0), NONE);
        bus.set_reach(Source::Station(1), Source::Station(0), reach);
        bus.poll(far());
        assert_eq!(bus.stations().next().unwrap().carrier, told, "{reach:?}");
    }
}

/// In the middle of a transmission: octets that end later are heard or not, and the detector takes its time.
#[test]
fn it_may_change_at_any_time() {
    let mut bus = Bus::new(Pace::Wire);
    bus.add_station(speaker(&[(0, &[1, 2, 3, 4, 5, 6])]));
    bus.add_station(speaker(&[]));
    let (talker, listener) = (Source::Station(0), Source::Station(1));
    bus.poll(at(2 * C));
    bus.set_reach(talker, listener, NONE);
    bus.poll(at(4 * C));
    bus.set_reach(talker, listener, Reach::CLEAR);
    bus.poll(far());
    let stations: Vec<_> = bus.stations().collect();
    assert_eq!(values(stations[1]), [1, 2, 5, 6]);
    let (on, off) = (3_333_333, 2_500_000);
    assert_eq!(
        stations[1].carrier,
        [(on, true), (2 * C + off, false), (4 * C + on, true), (6 * C + off, false)]
    );
}

/// A change that is over before a detector could follow is not noticed, and one before the detector turned on leaves it off.
#[test]
fn changes_are_detected_late_too() {
    let run = |changes: &[(u64, Reach)]| {
        let mut bus = Bus::new(Pace::Wire);
        bus.add_station(speaker(&[(0, &[1, 2, 3, 4])]));
        bus.add_station(speaker(&[]));
        for (t, reach) in changes {
            bus.poll(at(*t));
            bus.set_reach(Source::Station(0), Source::Station(1), *reach);
        }
        bus.poll(far());
        bus.stations().nth(1).unwrap().carrier.clone()
    };
    let (on, end) = (3_333_333, 4 * C + 2_500_000);
    assert_eq!(run(&[(2 * C, NONE), (2 * C + 1_000_000, Reach::CLEAR)]), [(on, true), (end, false)]);
    assert_eq!(run(&[(1_000_000, NONE)]), []);
    assert_eq!(run(&[(1_000_000, NONE), (5_000_000, Reach::CLEAR)]), [(5_000_000 + on, true), (end, false)]);
    // After the end nothing is left to change.
    assert_eq!(run(&[(6 * C, NONE), (7 * C, Reach::CLEAR)]), [(on, true), (end, false)]);
}

/// The numbers of `bits_are_wrong_at_the_rate`, for each of two listeners by itself: of 200 000 octets 197 811 are as sent,
/// deviation 47. Both spoil the same octet with 0.01095^2: 24 times, deviation 5.
#[test]
fn each_listener_makes_its_own_errors() {
    let mut bus = Bus::with_seed(Pace::Wire, 11);
    let ports: Vec<_> = (0..3).map(|_| bus.add_port()).collect();
    let hundred = [0x00; 100];
    let script: Vec<(u64, &[u8])> = (0..2_000).map(|i| (i * 100 * 2 * C, &hundred[..])).collect();
    bus.add_station(speaker(&script));
    for port in &ports[..2] {
        bus.set_reach(Source::Station(0), Source::Port(*port), errors(0.001));
    }
    let out = bus.poll(at(u64::MAX / 2));
    let is_good = |d: &&Delivery| d.octet.value == 0 && d.octet.marks.is_empty();
    let good = |port| -> std::collections::BTreeSet<Instant> {
        out.iter().filter(|d| d.port == port).filter(is_good).map(|d| d.octet.at).collect()
    };
    let [a, b, clear] = [0, 1, 2].map(|n| good(ports[n]));
    for list in [&a, &b] {
        assert!((197_811 - 233..=197_811 + 233).contains(&list.len()), "{}", list.len());
    }
    assert_eq!(clear.len(), 200_000);
    let in_both = clear.iter().filter(|t| !a.contains(t) && !b.contains(t)).count();
    assert!(in_both < 50, "{in_both}");
    // A wrong start bit loses the octet: 200 of them, deviation 14.
    let lost = 200_000 - out.iter().filter(|d| d.port == ports[0]).count();
    assert!((130..=270).contains(&lost), "{lost}");
    // The wires themselves are as good as ever.
    assert_eq!((bus.traffic().heard, bus.traffic().spoilt), (200_000, 0));
}

/// Also where octets take no time, though nothing else can go wrong there.
#[test]
fn errors_and_silence_need_no_time() {
    let mut bus: Bus<Toy> = Bus::new(Pace::Fast);
    let (a, b, c) = (bus.add_port(), bus.add_port(), bus.add_port());
    bus.set_reach(Source::Port(a), Source::Port(b), NONE);
    bus.set_reach(Source::Port(a), Source::Port(c), errors(1.0));
    bus.transmit(at(0), a, &[1, 2]);
    // Every bit is wrong, the start bits too.
    assert_eq!(bus.poll(at(0)), []);
    bus.set_reach(Source::Port(a), Source::Port(b), Reach::CLEAR);
    bus.transmit(at(1), a, &[1, 2]);
    assert_eq!(ends(&bus.poll(at(1))), [(b, 1, 1), (b, 1, 2)]);
}

/// Nobody is nobody, a rate that is no number is none, and nobody is deaf to himself.
#[test]
fn what_makes_no_sense_does_nothing() {
    let mut bus = Bus::new(Pace::Wire);
    let ear = bus.add_port();
    bus.add_station(speaker(&[(0, &[1]), (10 * C, &[2])]));
    let talker = Source::Station(0);
    for (from, to) in [
        (talker, Source::Station(9)),
        (talker, Source::Port(9)),
        (talker, Source::Noise),
        (Source::Port(9), Source::Port(ear)),
        (talker, talker),
    ] {
        bus.set_reach(from, to, NONE);
        assert_eq!(bus.reach(from, to), Reach::CLEAR, "{from:?} {to:?}");
    }
    bus.set_reach(talker, Source::Port(ear), errors(f64::NAN));
    assert_eq!(bus.poll(at(5 * C)).len(), 1);
    bus.set_reach(talker, Source::Port(ear), errors(-1.0));
    assert_eq!(bus.poll(far()).len(), 1);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// A listener who does not hear somebody who never speaks hears all others as if nothing had been said of anybody, whatever
    /// they do: the same octets at the same times, the same carriers. Only what a collision looks like is its own.
    #[test]
    fn who_hears_all_that_speak_is_like_all_others(
        scripts in proptest::collection::vec(
            proptest::collection::vec((0u64..60, 1usize..9), 0..5), 1..4),
        piece in proptest::collection::vec((0u64..400, 1usize..4), 0..4),
        seed in 0u64..1000,
    ) {
        let run = |with_ears: bool| {
            let mut bus = Bus::with_seed(Pace::Wire, seed);
            let (port, silent) = (bus.add_port(), bus.add_port());
            for script in &scripts {
                let mut sorted = script.clone();
                sorted.sort_unstable();
                let said: Vec<(u64, Vec<u8>)> =
                    sorted.iter().map(|(t, n)| (t * C / 3, vec![0x31; *n])).collect();
                let said: Vec<(u64, &[u8])> = said.iter().map(|(t, v)| (*t, &v[..])).collect();
                bus.add_station(speaker(&said));
            }
            if with_ears {
                for n in 0..scripts.len() {
                    bus.set_reach(Source::Port(silent), Source::Station(n), NONE);
                }
                bus.set_reach(Source::Port(silent), Source::Port(port), NONE);
            }
            let mut out = Vec::new();
            let mut pieces = piece.clone();
            pieces.sort_unstable();
            for (t, n) in pieces {
                bus.poll_into(at(t * C / 10), &mut out);
                bus.arrive(at(t * C / 10), port, &vec![0x32; n], &[]);
            }
            bus.poll_into(far(), &mut out);
            let times: Vec<_> = out.iter().filter(|d| d.port == port).map(|d| d.octet.at).collect();
            let stations: Vec<_> = bus
                .stations()
                .map(|s| (s.heard.iter().map(|o| o.at).collect::<Vec<_>>(), s.carrier.clone(), s.sent.clone()))
                .collect();
            (times, stations, bus.traffic())
        };
        prop_assert_eq!(run(false), run(true));
    }
}
