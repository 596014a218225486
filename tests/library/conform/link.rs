//! Cases of the data link fail on devices that are bad in one thing.

use super::rig::*;
use looprig::app::command::Revision;
use std::time::Duration;

const R7: Revision = Revision::R7;

#[test]
fn late_answers() {
    // 28 characters are 256.667 ms [LL-02].
    let said =
        fails("link/timing/answers-within-limit", Bent::new(config(R7)).late(Duration::from_millis(257)));
    assert!(said.contains("256.7 ms"), "{said}");
}

#[test]
fn wrong_delimiter() {
    let bent = Bent::new(config(R7)).saying(framed(|frame| {
        // One expansion octet is announced, and comes.
        if frame[0] == 0x86 {
            frame[0] = 0xA6;
            frame.insert(6, 0x00);
        }
    }));
    fails("link/framing/delimiter-of-a-long-answer", bent);
}

#[test]
fn answers_to_other_addresses() {
    // It is deaf for the last octet of the address: hears its own there.
    let mut at = 0;
    let bent = Bent::new(config(R7)).hearing(move |mut o| {
        at = if o.value == 0xFF { 0 } else { at + 1 };
        // 04 is the last octet of the mock's address 3D71003104; the check byte is wrong then, so it is mended as well.
        if at == 6 && o.value == 0x05 {
            o.value = 0x04;
        } else if at == 9 && o.value != 0 {
            o.value ^= 0x01;
        }
        Some(o)
    });
    fails("link/addressing/other-unique-address", bent);
}
