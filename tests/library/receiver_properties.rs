//! Properties of the whole chain from octets to JSON, for octets that nobody chose.
//!
//! That frames in noise made to look like frames are found, and that cutting the stream changes nothing, is
//! tested beside the receiver itself.

use crate::support::{after_preambles, hex, receive, stamped};
use looprig::app::command::{self, Revision};
use looprig::exchange::json::{frame_from_json, write_damaged, write_exchange, write_noise};
use looprig::exchange::{Exchange, Interpreter};
use looprig::frame::{
    Address, Expansion, Frame, Good, Marks, Master, Octet, PollingAddress, Receiver, ReceiverConfig,
    Reception, Target, UniqueAddress,
};
use looprig::time::{BitTimes, Instant, Pace};
use looprig::transaction::{Pairer, PairerConfig, Passed};
use proptest::prelude::*;
use serde_json::Value as Json;
use std::time::Duration;

/// Every kind of legal frame: three types, both addresses, expansion octets, physical layer bits, any data.
fn legal_frame() -> impl Strategy<Value = Frame> {
    let target = prop_oneof![
        (0..=63u8).prop_map(|n| Target::Polling(PollingAddress::new(n).expect("at most 63"))),
        any::<[u8; 5]>().prop_map(|o| Target::Unique(UniqueAddress::from_octets(o))),
    ];
    let address = (any::<bool>(), any::<bool>(), target).prop_map(|(primary, burst, target)| Address {
        master: if primary { Master::Primary } else { Master::Secondary },
        burst,
        target,
    });
    // Often short, sometimes as long as the byte count allows [FR-08].
    let data = prop_oneof![
        3 => prop::collection::vec(any::<u8>(), 0..40),
        1 => prop::collection::vec(any::<u8>(), 250..=255),
    ];
    let expansion = prop::collection::vec(any::<u8>(), 0..=3);
    (0..3u8, address, any::<u8>(), any::<[u8; 2]>(), data, expansion, 0..=3u8).prop_map(
        |(kind, address, command, status, mut data, expansion, physical)| {
            let frame = if kind == 0 {
                Frame::request(address, command, data)
            } else {
                data.truncate(253);
                Frame::reply(kind == 1, address, command, status, data)
            };
            let expansion = Expansion::new(&expansion).expect("at most three");
            frame.expect("fits").with_expansion(expansion).with_physical(physical)
        },
    )
}

/// Runs octets through the whole chain and reads each line of JSON back; hands out how many were good
/// frames. Every good frame must come back from its JSON octet for octet.
fn chain(octets: &[Octet], chunk: usize, pace: Pace, given: Option<Revision>) -> usize {
    let mut receiver = Receiver::new(ReceiverConfig::for_line(pace, Duration::ZERO));
    let mut pairer = Pairer::new(PairerConfig::for_line(pace, Duration::ZERO));
    let mut interpreter = Interpreter::new(given);
    let (mut text, mut good) = (String::new(), 0);
    let parts: Vec<&[Octet]> = octets.chunks(chunk).collect();
    for n in 0..=parts.len() {
        match parts.get(n) {
            Some(part) => {
                if let Some(first) = part.first() {
                    receiver.handle_timeout(first.at);
                    pairer.handle_timeout(first.at);
                }
                receiver.push(part);
            }
            None => receiver.finish(),
        }
        while let Some(reception) = receiver.next() {
            pairer.push(reception);
        }
        if n == parts.len() {
            pairer.finish();
        }
        while let Some(passed) = pairer.next() {
            text.clear();
            let mut exchange: Option<Exchange> = None;
            match passed {
                Passed::Transaction(t) => write_exchange(exchange.insert(interpreter.read(*t)), &mut text),
                Passed::Damaged(d) => write_damaged(&d, &mut text),
                Passed::Noise(n) => write_noise(&n, &mut text),
            }
            let json: Json = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e} in {text}"));
            if let Some(e) = &exchange {
                good += e.transaction.tries.len() + usize::from(e.transaction.reply.is_some());
                assert_comes_back(&json, "request", e.transaction.tries.last(), given);
                assert_comes_back(&json, "reply", e.transaction.reply.as_ref(), given);
            }
        }
    }
    good
}

fn assert_comes_back(json: &Json, member: &str, good: Option<&Good>, given: Option<Revision>) {
    let Some(good) = good else { return };
    let told = json.get("revision").and_then(Json::as_u64).and_then(|n| Revision::new(n as u8));
    let revision = told.or(given).unwrap_or(Revision::R7);
    let mut object = json[member].clone();
    for explains in ["octets", "texts", "response", "device_status_bits"] {
        object.as_object_mut().expect("an object").remove(explains);
    }
    let frame = frame_from_json(&object, revision).unwrap_or_else(|e| panic!("{e} in {json}"));
    assert_eq!(hex(&frame.encode()), hex(&good.frame.encode()), "{member} of {json}");
}

/// Octets of all sorts with pauses and marks: noise, preambles, frames whole and bent.
fn stream() -> impl Strategy<Value = Vec<Octet>> {
    let mark = prop_oneof![30 => Just(0u8), 1 => any::<u8>()];
    let step = prop_oneof![30 => Just(1u64), 1 => 0..3u64, 1 => 30..100u64];
    let noise = prop_oneof![
        prop::collection::vec(any::<u8>(), 0..60),
        prop::collection::vec(prop::sample::select(vec![0xFF, 0xFF, 0x02, 0x82, 0x86, 0x81, 0x00]), 0..30),
    ];
    let bent =
        (legal_frame(), 2..8usize, any::<prop::sample::Index>(), prop_oneof![3 => Just(0), 1 => any::<u8>()]);
    let frame = bent.prop_map(|(frame, preambles, at, flip)| {
        let mut values = frame.encode_after(preambles).to_vec();
        *at.get_mut(&mut values) ^= flip;
        values
    });
    let part = prop_oneof![noise, frame];
    prop::collection::vec(part, 0..6).prop_flat_map(move |parts| {
        let values = parts.concat();
        let n = values.len();
        (Just(values), prop::collection::vec((mark.clone(), step.clone()), n)).prop_map(|(values, how)| {
            let mut at = Instant::ZERO;
            let one = |(value, (marks, step)): (u8, (u8, u64))| {
                at += BitTimes::characters(step).duration();
                Octet { at, value, marks: Marks(marks) }
            };
            values.into_iter().zip(how).map(one).collect()
        })
    })
}

/// A known command asked and answered, or answered in burst, with data that mostly do not fit it.
fn talk() -> impl Strategy<Value = Vec<u8>> {
    let numbers: Vec<u8> = command::all().iter().filter_map(|row| u8::try_from(row.number).ok()).collect();
    let data = || {
        prop_oneof![
            2 => Just(Vec::new()),
            3 => prop::collection::vec(any::<u8>(), 0..75),
            1 => prop::collection::vec(prop::sample::select(vec![0xFE, 0x05, 0x06, 0x07, 0x00, 0xFF]), 10..25),
        ]
    };
    let status = prop_oneof![3 => Just(0u8), 1 => any::<u8>()];
    (prop::sample::select(numbers), any::<[u8; 5]>(), data(), data(), status, any::<bool>()).prop_map(
        |(number, address, asked, told, status, burst)| {
            let target = Target::Unique(UniqueAddress::from_octets(address));
            let address = Address::new(Master::Secondary, target);
            let request = Frame::request(address, number, asked).expect("fits").encode();
            let reply = Frame::reply(burst, address, number, [status, 0x40], told).expect("fits").encode();
            [after_preambles(&request), after_preambles(&reply)].concat()
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    /// [FR-01]: order of the fields, [FR-03] delimiter, [FR-04] expansion octets, [FR-05] and [FR-06] addresses.
    #[test]
    fn decoding_undoes_encoding(frame in legal_frame()) {
        let octets = frame.encode();
        prop_assert_eq!(octets.len(), frame.len());
        prop_assert_eq!(Frame::parse(&octets), Ok(frame.clone()));
        let got = receive(&stamped(&after_preambles(&octets), Instant::ZERO));
        match &got[..] {
            [Reception::Good(good)] => prop_assert_eq!(&good.frame, &frame),
            other => prop_assert!(false, "{:?}", other),
        }
    }

    #[test]
    fn no_octets_panic_and_all_json_can_be_read(
        octets in stream(),
        chunk in 1..80usize,
        paced in any::<bool>(),
        revision in prop::option::of(prop::sample::select(Revision::NEWEST_FIRST.to_vec())),
    ) {
        chain(&octets, chunk, if paced { Pace::Wire } else { Pace::Fast }, revision);
    }

    /// Also of a request that the device refuses without data: values and the one revision named are enough.
    #[test]
    fn known_commands_come_back_from_their_json(
        talks in prop::collection::vec(talk(), 1..4),
        revision in prop::option::of(prop::sample::select(Revision::NEWEST_FIRST.to_vec())),
    ) {
        let octets = stamped(&talks.concat(), Instant::ZERO);
        prop_assert_eq!(chain(&octets, 64, Pace::Wire, revision), 2 * talks.len());
    }
}

/// A device refuses command 38 with response code 9 and no data. Without data revisions 5 and 6 would explain
/// the reply, but only revision 7 has the counter of the request [CM-038].
#[test]
fn a_refused_request_is_read_by_its_own_revision() {
    let target = Target::Unique(UniqueAddress::from_octets([0x26, 0x0D, 0x00, 0x15, 0x11]));
    let address = Address::new(Master::Primary, target);
    let request = Frame::request(address, 38, vec![0x00, 0x07]).expect("fits").encode();
    let reply = Frame::reply(false, address, 38, [9, 0], vec![]).expect("fits").encode();
    let talk = [after_preambles(&request), after_preambles(&reply)].concat();
    assert_eq!(chain(&stamped(&talk, Instant::ZERO), 64, Pace::Wire, None), 2);
}

/// SplitMix64: the same noise in every run, so that chance frames in it cannot come and go.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ z >> 31
    }

    fn octets(&mut self, n: usize) -> Vec<u8> {
        (0..n).map(|_| self.next() as u8).collect()
    }
}

/// [FR-10] [FR-11]: every frame after two clean preambles is received, and nothing else is. Noise holds FF FF
/// and a delimiter (96 of 256 octets) about once in 65536 * 256 / 96 = 175 000 octets.
#[test]
fn frames_in_uniform_noise_are_found_exactly() {
    let mut noise = Noise(1);
    let (mut planted, mut found, mut false_starts) = (Vec::new(), Vec::new(), 0);
    for _ in 0..60 {
        let mut values = Vec::new();
        for _ in 0..8 {
            let n = (noise.next() % 5000) as usize;
            values.extend(noise.octets(n));
            let five: [u8; 5] = noise.octets(5).try_into().expect("five octets");
            let address = Address::new(Master::Primary, Target::Unique(UniqueAddress::from_octets(five)));
            let n = (noise.next() % 60) as usize;
            let data = noise.octets(n);
            let frame = Frame::reply(false, address, noise.next() as u8, [0, 0], data).expect("fits");
            values.extend(frame.encode_after(2));
            planted.push(frame);
        }
        values.extend(noise.octets(300));
        for reception in receive(&stamped(&values, Instant::ZERO)) {
            match reception {
                Reception::Good(good) => found.push(good.frame),
                Reception::Damaged(_) => false_starts += 1,
                Reception::Noise(_) => {}
            }
        }
    }
    assert_eq!(planted.len(), 480);
    assert!(found == planted, "{} of {} frames, {false_starts} false starts", found.len(), planted.len());
    // 1.2 million octets: about seven false starts are due; without any the noise would prove little.
    assert!((2..=20).contains(&false_starts), "{false_starts} false starts");
}
