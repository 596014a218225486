//! Any bytes as a memory image [DV-03] [DV-04]: none panics, what is accepted comes back the same, and
//! an image whose first 16 bytes or payload the fuzzer has built itself only passes with its own
//! check sum.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::app::command::Revision;
use looprig::device::{Device, DeviceConfig, KindName, Restored, decode_image, encode_image};
use looprig::time::{Instant, Pace};
use std::time::Duration;

fn power_up(image: &[u8]) {
    for (revision, kind) in Revision::NEWEST_FIRST.into_iter().flat_map(|r| KindName::ALL.map(|k| (r, k))) {
        let config = DeviceConfig::of_kind(kind, revision);
        let (device, restored) = Device::new(config, Some(image), Pace::Wire, Duration::ZERO, Instant::ZERO);
        // Whatever the image held, what the device goes on with is in range.
        assert!(device.polling_address() <= device.config().identity.highest_polling());
        assert!(!matches!(restored, Restored::Fresh), "an image was given");
    }
}

fuzz_target!(|bytes: &[u8]| {
    if let Ok(stored) = decode_image(bytes) {
        let again = encode_image(&stored);
        assert_eq!(decode_image(&again).as_ref(), Ok(&stored));
    }
    power_up(bytes);
    // A check sum stops almost every guess, so the payload is also tried with a right one.
    if let Some(image) = with_right_check(bytes) {
        power_up(&image);
    }
});

/// The image whose payload is `payload`, with the frame of a real one around it.
fn with_right_check(payload: &[u8]) -> Option<Vec<u8>> {
    let config = DeviceConfig::new(Revision::R7);
    let real = encode_image(&config.factory);
    // Everything in front of the payload but its length, then length, payload, check sum.
    let json = real.windows(1).position(|w| w == b"{")?;
    let mut image = real[..json - 4].to_vec();
    image.extend(u32::try_from(payload.len()).ok()?.to_be_bytes());
    image.extend(payload);
    let crc = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&image);
    image.extend(crc.to_be_bytes());
    Some(image)
}
