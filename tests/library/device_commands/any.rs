//! Whatever comes from the wire.

use super::rig::{BOTH, REVISIONS, Rig};
use looprig::app::command::Revision;
use looprig::app::status;
use looprig::device::{DeviceConfig, KindName, Slow, decode_image, why_not_slow};
use proptest::prelude::*;
use std::time::Duration;

fn revision() -> impl Strategy<Value = Revision> {
    prop::sample::select(REVISIONS.to_vec())
}

fn kind() -> impl Strategy<Value = KindName> {
    prop::sample::select(KindName::ALL.to_vec())
}

/// Commands that the mock has as often as any other number.
fn command() -> impl Strategy<Value = u8> {
    prop_oneof![any::<u8>(), 0u8..=22, 33u8..=95, 103u8..=110, Just(6), Just(9), Just(38), Just(48), Just(78)]
}

/// Requests some of which last, so few that the same ones come again.
fn slow_request() -> impl Strategy<Value = (u8, Vec<u8>)> {
    let tag = |letter| (22, vec![letter; 32]);
    prop::sample::select(vec![
        tag(b'A'),
        tag(b'B'),
        (41, vec![]),
        (42, vec![]),
        (71, vec![0]),
        (71, vec![1]),
        (78, vec![1, 0, 106, 0]),
        (78, vec![2, 0, 41, 0, 0, 106, 0]),
        (78, vec![2, 0, 71, 1, 0, 0, 0, 0]),
        (106, vec![]),
        (109, vec![1, 0]),
    ])
}

/// The codes of [DV-28].
fn without_list(command: u8) -> &'static [u8] {
    match command {
        61 | 73 | 90 | 110 => &[0, 6, 16, 32],
        33 | 60 | 62 | 70 | 72 | 80 | 81 | 89 | 105 => &[0, 2, 5, 6, 16, 32],
        49 => &[0, 5, 6, 7, 16, 32],
        83 => &[0, 2, 5, 6, 7, 16, 32],
        _ => &[],
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Each request at the device's address is answered or, with a description, met by silence; what is refused has no
    /// data and changes nothing [ST-03]; what is stored can always be read again [DV-03].
    #[test]
    fn any_request(
        kind in kind(),
        revision in revision(),
        requests in prop::collection::vec((any::<bool>(), command(), prop::collection::vec(any::<u8>(), 0..60)), 1..8),
        ma in 0.0f64..25.0,
    ) {
        let mut rig = Rig::with(DeviceConfig::of_kind(kind, revision), None);
        rig.device.set_loop_current_ma(rig.now, ma);
        rig.device.set_process_temperature_degc(rig.now, ma * 50.0 - 250.0);
        for (secondary, command, data) in requests {
            if matches!(command, 11 | 21 | 73) {
                continue;
            }
            let before = rig.device.stored().clone();
            let reply = rig.ask(BOTH[usize::from(secondary)], command, &data);
            // Codes are those of the command's list in this revision, or "not implemented" [ST-04].
            let code = reply.status[0];
            let listed = match status::list(command.into()) {
                Some(list) => list.of(revision).any(|c| c.code == code),
                None => without_list(command).contains(&code),
            };
            prop_assert!(code == 64 || listed, "command {}: {}", command, code);
            // Warnings are 8, 14 and 30.
            if !matches!(reply.status[0], 0 | 8 | 14 | 30) {
                prop_assert!(reply.data.is_empty());
                prop_assert_eq!(rig.device.stored(), &before);
            }
            if let Some(image) = rig.device.take_image() {
                prop_assert_eq!(&decode_image(&image).unwrap(), rig.device.stored());
            } else {
                prop_assert_eq!(rig.device.stored(), &before);
            }
        }
    }

    /// A device whose answers come late and whose work lasts, so that it is done between requests, in them, and while answers
    /// wait [DV-40]: each request is answered, 32 to 36 without data, and what is stored can be read again.
    #[test]
    fn any_request_of_a_slow_device(
        revision in revision(),
        requests in prop::collection::vec((any::<bool>(), slow_request(), 0u64..3000), 1..30),
    ) {
        let mut config = DeviceConfig::new(revision);
        config.response_delay = Duration::from_millis(200);
        let slow = [(22, 500), (41, 1500), (71, 2000), (78, 700)];
        let slow = slow.map(|(command, ms)| Slow { command, takes: Duration::from_millis(ms) });
        config.slow = slow.into_iter().filter(|s| why_not_slow(s.command, revision).is_none()).collect();
        let mut rig = Rig::with(config, None);
        for (secondary, (command, data), wait_ms) in requests {
            let reply = rig.ask(BOTH[usize::from(secondary)], command, &data);
            prop_assert!(!matches!(reply.status[0], 32..=36) || reply.data.is_empty());
            rig.wait(Duration::from_millis(wait_ms));
            if let Some(image) = rig.device.take_image() {
                prop_assert_eq!(&decode_image(&image).unwrap(), rig.device.stored());
            }
        }
    }

    /// Rubbish on the line: no panic, and a request after it is heard.
    #[test]
    fn any_octets(kind in kind(), revision in revision(), octets in prop::collection::vec(any::<u8>(), 0..200)) {
        let mut rig = Rig::with(DeviceConfig::of_kind(kind, revision), None);
        rig.send(&octets, None);
        rig.ask(BOTH[0], 0, &[]);
    }
}
