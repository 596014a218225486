//! Whatever comes, the check does not panic, and keeps its account.

use super::rig::{EXACT, judge};
use looprig::conform::host_check::{Judged, LineFacts, Verdict};
use looprig::frame::{Address, Capabilities, Frame, Marks, Master, Octet, Target, UniqueAddress};
use looprig::time::{Instant, Pace};
use proptest::prelude::*;
use std::time::Duration;

/// Frames between masters and two devices, and rubbish among them.
fn piece() -> impl Strategy<Value = Vec<u8>> {
    let frame = (
        any::<bool>(),
        any::<bool>(),
        0..2u8,
        any::<u8>(),
        any::<[u8; 2]>(),
        prop::collection::vec(any::<u8>(), 0..30),
    )
        .prop_map(|(primary, reply, device, command, status, data)| {
            let master = if primary { Master::Primary } else { Master::Secondary };
            let target = Target::Unique(UniqueAddress::new([0xF9, 0xFD], [0, 0, device]));
            let address = Address::new(master, target);
            // Few commands, so that some are asked again.
            let command = [0, 3, 38, 48, 79, 108, command][usize::from(command) % 7];
            let frame = match reply {
                true => Frame::reply(false, address, command, status, data),
                false => Frame::request(address, command, data),
            };
            frame.map_or(vec![], |f| f.encode_after(5).to_vec())
        });
    prop_oneof![4 => frame, 1 => prop::collection::vec(any::<u8>(), 0..20)]
}

proptest! {
    #[test]
    fn any_octets(
        pieces in prop::collection::vec((piece(), 0..800_000u64, 0..40u8), 0..40),
        pace in prop_oneof![Just(Pace::Wire), Just(Pace::Fast), Just(Pace::Scaled(8.0))],
        timed: bool,
        error_ms in 0..40u64,
        alone: bool,
    ) {
        let (mut at, mut heard) = (Instant::ZERO, Vec::new());
        for (values, pause_us, marks) in pieces {
            at += Duration::from_micros(pause_us);
            for (i, value) in values.into_iter().enumerate() {
                at += pace.character();
                // One octet in a piece may be marked.
                let marks = if i == 9 { Marks(marks & 31) } else { Marks::NONE };
                heard.push(Octet { at, value, marks });
            }
        }
        let line = Capabilities { stamp_error: Duration::from_millis(error_ms), ..EXACT };
        let facts = if timed { LineFacts::of_line("serial:x", pace, line) } else { LineFacts::OCTETS_ALONE };
        let report = judge(&heard, facts, Judged { master: None, alone });
        let requests: u64 = report.sent.iter().map(|s| s.requests).sum();
        prop_assert_eq!(report.verdict() == Verdict::NothingJudged, requests == 0 && report.findings.is_empty());
        for f in &report.findings {
            prop_assert!(f.times > 0 && f.of.is_none_or(|of| f.times <= of), "{:?}", f);
            prop_assert!(f.evidence.len() <= 3 && !f.evidence.is_empty(), "{:?}", f);
        }
    }
}
