//! Any octets, marked and paused in any way: each ends in exactly one reception, in order; where the
//! stream is cut makes no difference; a good frame is the octets that it was read from.
//!
//! With `LOOPRIG_PLANTED_FAULT` in the environment the receiver has a fault, which is to be found.

#![no_main]

mod common;

use common::Input;
use libfuzzer_sys::fuzz_target;
use looprig::frame::{Octet, PLANTED_FAULT, Receiver, ReceiverConfig, Reception};
use looprig::time::Pace;
use std::sync::atomic::Ordering;
use std::time::Duration;

fn receive(config: ReceiverConfig, octets: &[Octet], chunk: usize) -> Vec<Reception> {
    let mut receiver = Receiver::new(config);
    let mut out = Vec::new();
    for part in octets.chunks(chunk) {
        receiver.push(part);
        out.extend(std::iter::from_fn(|| receiver.next()));
    }
    receiver.finish();
    out.extend(std::iter::from_fn(|| receiver.next()));
    assert_eq!(receiver.deadline(), None, "something is still pending at the end");
    out
}

fuzz_target!(
    init: PLANTED_FAULT.store(std::env::var_os("LOOPRIG_PLANTED_FAULT").is_some(), Ordering::Relaxed),
    |bytes: &[u8]| {
        let Input { chunk, octets } = Input::of(bytes);
        for config in [ReceiverConfig::for_line(Pace::Wire, Duration::ZERO), ReceiverConfig::UNTIMED] {
            let receptions = receive(config, &octets, chunk);
            let mut account = octets.iter();
            for r in &receptions {
                assert!(!r.octets().is_empty(), "a reception of nothing");
                for o in r.octets() {
                    assert_eq!(Some(o), account.next(), "the account does not close");
                }
                if let Reception::Good(g) = r {
                    assert_eq!(g.frame.encode_after(g.preambles), r.values(), "a good frame is not its octets");
                }
            }
            assert_eq!(account.next(), None, "octets are missing at the end of the account");
            assert_eq!(receptions, receive(config, &octets, octets.len().max(1)), "cutting made a difference");
        }
    }
);
