//! Any octets through the whole chain: what is written is JSON, and the frames in it, made again
//! from their named values, have the octets that passed.

#![no_main]

mod common;

use common::Input;
use libfuzzer_sys::fuzz_target;
use looprig::app::command::Revision;
use looprig::exchange::json::{frame_from_json, write_damaged, write_exchange, write_noise};
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{Frame, Receiver, ReceiverConfig};
use looprig::time::Pace;
use looprig::transaction::{Pairer, PairerConfig, Passed};
use serde_json::Value as Json;
use std::time::Duration;

fn parse(text: &str) -> Json {
    serde_json::from_str(text).unwrap_or_else(|e| panic!("{e} in {text}"))
}

fn assert_same_frame(exchange: &Exchange, side: &Json, frame: Option<&Frame>) {
    let Some(frame) = frame else {
        assert!(side.is_null(), "a frame from nowhere: {side}");
        return;
    };
    let revision = exchange.revision.or(Revision::new(7)).expect("revision 7 exists");
    let again = frame_from_json(side, revision).unwrap_or_else(|e| panic!("{e} in {side}"));
    assert_eq!(again.encode(), frame.encode(), "{side}");
}

fuzz_target!(|bytes: &[u8]| {
    let Input { chunk, octets } = Input::of(bytes);
    let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
    let mut pairer = Pairer::new(PairerConfig::for_line(Pace::Wire, Duration::ZERO));
    for part in octets.chunks(chunk) {
        receiver.push(part);
    }
    receiver.finish();
    while let Some(r) = receiver.next() {
        pairer.handle_timeout(r.first_at());
        pairer.push(r);
    }
    pairer.finish();
    let mut interpreter = Interpreter::new(None);
    let mut out = String::new();
    while let Some(passed) = pairer.next() {
        out.clear();
        match passed {
            Passed::Transaction(t) => {
                let exchange = interpreter.read(*t);
                write_exchange(&exchange, &mut out);
                let json = parse(&out);
                assert_same_frame(&exchange, &json["request"], exchange.transaction.request());
                assert_same_frame(&exchange, &json["reply"], exchange.transaction.reply_frame());
            }
            Passed::Damaged(d) => {
                write_damaged(&d, &mut out);
                assert_eq!(parse(&out)["kind"], "damaged");
            }
            Passed::Noise(n) => {
                write_noise(&n, &mut out);
                assert_eq!(parse(&out)["kind"], "noise");
            }
        }
    }
});
