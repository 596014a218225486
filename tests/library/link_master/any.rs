//! Whatever happens: no panic, the clock goes on, and every request ends once.

use super::rig::*;
use looprig::frame::{Capabilities, Marks, Master as Role, Octet};
use looprig::link::{Master, MasterConfig, Output};
use looprig::time::{Instant, Pace};
use proptest::prelude::*;
use std::time::Duration;

#[derive(Clone, Debug)]
enum Thing {
    Octets(Vec<u8>, u8),
    Sent,
    Ask(u8),
    Abandon,
    Carrier(bool),
    Wait(u64),
}

fn thing() -> impl Strategy<Value = Thing> {
    let frames = prop::sample::select(vec![
        answer(),
        answer_to_primary(),
        burst(true),
        burst(false),
        ASK_PRIMARY.to_vec(),
        spoilt(answer()),
        answer()[..8].to_vec(),
        framed(&[0x06, 0x05, 0x00, 0x02, 0x00, 0x00]),
        framed(&[0x82, 0x3D, 0x71, 0, 0x31, 0x04, 1, 0]),
    ]);
    prop_oneof![
        3 => (frames, Just(0)).prop_map(|(f, m)| Thing::Octets(f, m)),
        2 => (prop::collection::vec(any::<u8>(), 1..20), 0u8..32).prop_map(|(f, m)| Thing::Octets(f, m)),
        2 => Just(Thing::Sent),
        3 => (0u8..12).prop_map(Thing::Ask),
        1 => Just(Thing::Abandon),
        1 => any::<bool>().prop_map(Thing::Carrier),
        4 => prop_oneof![0u64..10, 0u64..500, 0u64..5_000].prop_map(Thing::Wait),
    ]
}

/// What has come out.
#[derive(Default)]
struct Seen {
    transmitted: usize,
    told: usize,
    done: usize,
    no_turn: usize,
    stopped: usize,
    after_stop: usize,
}

impl Seen {
    fn take(&mut self, master: &mut Master) {
        while let Some(output) = master.poll_output() {
            match output {
                Output::Transmit(_) => {
                    self.transmitted += 1;
                    self.after_stop += self.stopped;
                }
                Output::Done(t) => {
                    self.done += 1;
                    assert!(!t.tries.is_empty() && t.tries.len() <= 11);
                }
                Output::NoTurn(_) => self.no_turn += 1,
                Output::Stopped(v) => {
                    assert_eq!(v.requirement, "HO-03");
                    self.stopped += 1;
                }
                Output::Overheard(_) | Output::Again(_) => {}
            }
        }
    }

    fn ended(&self) -> usize {
        self.done + self.no_turn
    }
}

/// Goes from wake to wake; each has to be later than the one before.
fn let_time_pass(master: &mut Master, now: &mut Instant, until: Instant, seen: &mut Seen) {
    loop {
        master.handle_timeout(*now);
        seen.take(master);
        let wake = master.wake_at();
        assert!(wake.is_none_or(|w| w > *now), "wakes at {wake:?}, it is {now}");
        match wake.filter(|&w| w <= until) {
            Some(w) => *now = w,
            None => break,
        }
    }
    *now = (*now).max(until);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_request_ends_once(
        things in prop::collection::vec(thing(), 1..40),
        primary in any::<bool>(),
        echo in any::<bool>(),
        fast in any::<bool>(),
        in_steps in any::<bool>(),
    ) {
        let role = if primary { Role::Primary } else { Role::Secondary };
        let pace = if fast { Pace::Fast } else { Pace::Wire };
        let config = MasterConfig { role, ..MasterConfig::default() };
        let mut master = Master::new(config, pace, Capabilities { echo, ..LINE }, Instant::ZERO);
        let (mut now, mut seen) = (Instant::ZERO, Seen::default());
        let (mut asked, mut abandoned, mut under_way) = (0, 0, false);
        for thing in things {
            match thing {
                Thing::Octets(values, marks) => {
                    let mut octets = Vec::new();
                    for value in values {
                        if !fast {
                            now += passing(1);
                        }
                        octets.push(Octet { at: now, value, marks: Marks(marks) });
                        if in_steps {
                            master.handle(now, &core::mem::take(&mut octets));
                        }
                    }
                    if !octets.is_empty() {
                        master.handle(now, &octets);
                    }
                }
                Thing::Sent => {
                    // Also one too many: a port's word is not trusted.
                    master.sent(now);
                    seen.told = seen.transmitted.min(seen.told + 1);
                }
                Thing::Ask(retries) => {
                    let frame = if retries % 2 == 0 { poll_0(role) } else { to_device(role, 1) };
                    if master.ask_with(frame, None, retries).is_ok() {
                        prop_assert!(!under_way);
                        asked += 1;
                    }
                }
                Thing::Abandon => {
                    master.abandon();
                    seen.take(&mut master);
                    abandoned = asked - seen.ended() - (asked - abandoned - seen.ended()).min(seen.stopped);
                }
                Thing::Carrier(on) => master.carrier(now, on),
                Thing::Wait(ms) => {
                    let until = now + Duration::from_millis(ms);
                    let_time_pass(&mut master, &mut now, until, &mut seen);
                }
            }
            seen.take(&mut master);
            let open = asked - abandoned - seen.ended();
            under_way = open > 0 && seen.stopped == 0;
            prop_assert!(open <= 1, "{open} requests at once");
        }
        // From now on nobody says anything but the port, at once; a carrier may stay for ever. Then the turn of one try
        // is waited for 1000 characters, 9.2 s [LL-16]. 11 tries of 41 and 10 characters, the last with 30:
        // below 600 characters, 5.5 s.
        let end = now + Duration::from_secs(20);
        loop {
            while seen.told < seen.transmitted {
                master.sent(now);
                seen.told += 1;
            }
            match master.wake_at() {
                Some(w) if w <= end => now = now.max(w),
                _ => break,
            }
            let so_far = now;
            let_time_pass(&mut master, &mut now, so_far, &mut seen);
        }
        seen.take(&mut master);
        prop_assert!(seen.stopped <= 1);
        prop_assert_eq!(seen.after_stop, 0);
        let open = asked - abandoned - seen.ended();
        prop_assert_eq!(open, open.min(seen.stopped), "requests without an end");
        if open == 0 && seen.stopped == 0 {
            prop_assert_eq!(master.wake_at(), None);
            prop_assert!(master.ask(poll_0(role), None).is_ok());
        }
    }
}
