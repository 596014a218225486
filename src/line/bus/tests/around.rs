//! What goes on around the stations, and a station that breaks off.

use super::*;

/// Cuts station 0 at its times, before anything else of that instant; counts who has joined.
#[derive(Clone)]
struct Cutter {
    at: Vec<Instant>,
    joined: std::sync::Arc<std::sync::atomic::AtomicUsize>,
}

impl Around<Speaker> for Cutter {
    fn wake_at(&self) -> Option<Instant> {
        self.at.first().copied()
    }
    fn come_to(&mut self, now: Instant, bus: &mut Bus<Speaker>) {
        while self.at.first().is_some_and(|&t| t <= now) {
            self.at.remove(0);
            bus.cut(0);
        }
    }
    fn joined(&mut self, _: &mut Bus<Speaker>) {
        self.joined.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
    }
}

/// Station 0 speaks, 1 and 2 listen, 2 with an ear of its own; cut at these times.
fn run(cuts: &[u64], scripts: [&[(u64, &[u8])]; 3], polls: &[u64]) -> (Vec<(u64, u8)>, Bus<Speaker>) {
    let mut bus = Bus::new(Pace::Wire);
    for script in scripts {
        bus.add_station(speaker(script));
    }
    // An ear that hears everybody after all.
    bus.set_reach(Source::Station(1), Source::Station(2), Reach::NONE);
    bus.set_reach(Source::Station(1), Source::Station(2), Reach::CLEAR);
    let joined = std::sync::Arc::default();
    let cutter = Cutter { at: cuts.iter().map(|&t| at(t)).collect(), joined: std::sync::Arc::clone(&joined) };
    bus.set_around(Box::new(cutter), Instant::ZERO);
    let port = bus.add_port();
    assert_eq!((joined.load(std::sync::atomic::Ordering::SeqCst), bus.port_count()), (1, 1));
    let mut out = Vec::new();
    for &t in polls {
        bus.poll_into(at(t), &mut out);
    }
    bus.poll_into(far(), &mut out);
    (out.iter().filter(|d| d.port == port).map(|d| (d.octet.at.as_nanos(), d.octet.value)).collect(), bus)
}

const FOUR: &[(u64, &[u8])] = &[(0, &[1, 2, 3, 4])];

/// The third octet is under way: it is not heard, nor is the fourth, and carriers go 2.5 ms later [LI-21]. The station is not
/// told that it has sent. However often the bus is polled it is the same.
#[test]
fn a_station_that_breaks_off() {
    let cut = 2 * C + 4_000_000;
    for polls in [&[][..], &[C, cut - 1, cut, cut + 1]] {
        let (heard, bus) = run(&[cut], [FOUR, &[], &[]], polls);
        assert_eq!(heard, [(C, 1), (2 * C, 2)]);
        let stations: Vec<_> = bus.stations().collect();
        assert!(stations[0].sent.is_empty());
        for listener in &stations[1..] {
            assert_eq!(listener.carrier, [(3_333_333, true), (cut + 2_500_000, false)]);
        }
        assert_eq!((bus.traffic().sent, bus.traffic().heard), (2, 2));
    }
}

/// What ends in the same instant is not heard any more; what begins later is, and so are others who speak meanwhile.
#[test]
fn others_go_on() {
    let later: &[(u64, &[u8])] = &[(0, &[1, 2]), (20 * C, &[5])];
    let other: &[(u64, &[u8])] = &[(10 * C, &[9])];
    let (heard, bus) = run(&[2 * C], [later, other, &[]], &[]);
    assert_eq!(heard, [(C, 1), (11 * C, 9), (21 * C, 5)]);
    assert_eq!(bus.stations().next().unwrap().sent, [21 * C]);
    // One who breaks off in a collision leaves the carrier to the other.
    let second: &[(u64, &[u8])] = &[(C, &[7, 7, 7, 7])];
    let (_, bus) = run(&[3 * C], [FOUR, second, &[]], &[]);
    assert_eq!(bus.stations().nth(2).unwrap().carrier, [(3_333_333, true), (5 * C + 2_500_000, false)]);
}

/// To cut one who says nothing, or nobody, does nothing.
#[test]
fn silence_cannot_be_cut() {
    let (heard, _) = run(&[6 * C], [FOUR, &[], &[]], &[]);
    assert_eq!(heard.len(), 4);
    let mut bus: Bus<Speaker> = Bus::new(Pace::Wire);
    bus.cut(0);
    assert_eq!((bus.port_count(), bus.shown(3, at(5))), (0, at(5)));
}
