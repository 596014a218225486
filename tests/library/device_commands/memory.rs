//! Power cycles: what comes back, and what a bad image does.

use super::rig::{PRIMARY, REVISIONS, Rig, SECONDARY};
use looprig::app::command::Revision;
use looprig::device::{DeviceConfig, ImageError, Restored, Stored, encode_image};

const R7: Revision = Revision::R7;

#[test]
fn what_was_written_outlives_a_power_cycle() {
    for revision in REVISIONS {
        let mut rig = Rig::new(revision);
        assert_eq!(rig.restored, Restored::Fresh);
        assert_eq!(rig.device.take_image(), None, "nothing was written");
        assert_eq!(rig.ask(PRIMARY, 19, &[0x12, 0x34, 0x56]).status[0], 0);
        let counter: &[u8] = if revision == R7 { &[0, 1] } else { &[] };
        rig.ask(SECONDARY, 38, counter);
        let image = rig.device.take_image().expect("an image");
        assert_eq!(rig.device.take_image(), None, "taken");
        let mut again = Rig::with(DeviceConfig::new(revision), Some(&image));
        assert_eq!(again.restored, Restored::Kept);
        // Cold start again, and configuration changed where it was.
        assert_eq!(again.ask(PRIMARY, 0, &[]).status, [0, 0x60]);
        assert_eq!(again.ask(SECONDARY, 0, &[]).status, [0, 0x20]);
        assert_eq!(again.ask(PRIMARY, 16, &[]).data, [0x12, 0x34, 0x56]);
        assert_eq!(again.device.stored().configuration_change_counter, 1);
    }
}

/// [DV-08]: 65535 is followed by 0, and stays so over a power cycle; octets 14 and 15 of command 0 show it.
#[test]
fn the_counter_wraps() {
    let stored = Stored { configuration_change_counter: 65535, ..Stored::default() };
    let mut rig = Rig::with(DeviceConfig::new(R7), Some(&encode_image(&stored)));
    assert_eq!(rig.ask(PRIMARY, 0, &[]).data[14..16], [0xFF, 0xFF]);
    rig.ask(PRIMARY, 19, &[0, 0, 1]);
    assert_eq!(rig.ask(PRIMARY, 0, &[]).data[14..16], [0x00, 0x00]);
    let image = rig.device.take_image().expect("an image");
    let mut again = Rig::with(DeviceConfig::new(R7), Some(&image));
    assert_eq!(again.ask(PRIMARY, 0, &[]).data[14..16], [0x00, 0x00]);
}

/// [DV-04]: malfunction (80), cold start (20), more status available (10); non-volatile memory defect (02) in standardized
/// status 0, octet 8 of command 48; defaults. Failure (08) in the extended status is our choice.
#[test]
fn a_corrupt_image() {
    for revision in REVISIONS {
        let mut config = DeviceConfig::new(revision);
        config.factory.tag = "FV-3104".into();
        let stored = Stored { tag: "FV-9999".into(), ..Stored::default() };
        let mut bad = encode_image(&stored);
        bad[20] ^= 0x04;
        let mut rig = Rig::with(config.clone(), Some(&bad));
        assert!(matches!(rig.restored, Restored::Corrupt(ImageError::Check { .. })));
        assert_eq!(rig.device.tag(), "FV-3104");
        assert_eq!(rig.device.take_image(), None, "the bad image is not overwritten by itself");
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status, [0, 0xB0]);
        let status = rig.ask(PRIMARY, 48, &[]).data;
        if revision == Revision::R5 {
            assert_eq!(status, [0x02, 0, 0, 0x08, 0, 0]);
        } else {
            let mut expected = [0; 14];
            (expected[6], expected[8]) = (0x08, 0x02);
            assert_eq!(status, expected);
        }
        if revision == R7 {
            assert_eq!(rig.ask(PRIMARY, 48, &status).status, [0, 0x80], "seen, but still there");
        }
        // A write does not heal the running device, but the next power-up.
        rig.ask(PRIMARY, 19, &[0, 0, 1]);
        assert_eq!(rig.ask(PRIMARY, 0, &[]).status[1] & 0x80, 0x80);
        let image = rig.device.take_image().expect("an image");
        let mut again = Rig::with(config, Some(&image));
        assert_eq!(again.restored, Restored::Kept);
        // Cold start and configuration changed.
        assert_eq!(again.ask(PRIMARY, 0, &[]).status, [0, 0x60]);
        assert_eq!(again.device.tag(), "FV-3104");
    }
}

/// A polling address of a newer revision is none for a device of revision 5 [FR-05].
#[test]
fn an_image_that_does_not_fit_the_revision() {
    let image = encode_image(&Stored { polling_address: 16, ..Stored::default() });
    assert_eq!(Rig::with(DeviceConfig::new(R7), Some(&image)).restored, Restored::Kept);
    let old = Rig::with(DeviceConfig::new(Revision::R5), Some(&image));
    assert!(matches!(old.restored, Restored::Corrupt(ImageError::Range { field: "polling_address", .. })));
    assert_eq!(old.device.polling_address(), 0);
}

/// [DV-03]: an image of version 1, as a mock wrote it before it knew the commands of common practice (octet 5 is the version).
/// What it lacks is as the bench has it, 80 % = 42 A0 00 00; the next write makes it version 3.
#[test]
fn an_image_of_the_format_before() {
    let image = include_bytes!("../../../fuzz/seeds/memory_image/image");
    assert_eq!(image[..6], *b"LRDM\x00\x01");
    for revision in REVISIONS {
        let mut config = DeviceConfig::new(revision);
        config.factory.upper_range_value = 80.0;
        config.factory.tag = "OTHER".into();
        let mut rig = Rig::with(config.clone(), Some(image));
        assert_eq!((rig.restored.clone(), rig.device.tag()), (Restored::Kept, "FV-3104"));
        assert_eq!(rig.ask(PRIMARY, 15, &[]).data[3..7], [0x42, 0xA0, 0, 0]);
        assert_eq!(rig.device.take_image(), None, "reading it changes nothing");
        rig.ask(PRIMARY, 34, &[0x3F, 0x80, 0, 0]);
        let image = rig.device.take_image().expect("an image");
        assert_eq!(image[..6], *b"LRDM\x00\x04");
        config.factory.upper_range_value = 90.0;
        let mut again = Rig::with(config, Some(&image));
        assert_eq!((again.restored.clone(), again.device.tag()), (Restored::Kept, "FV-3104"));
        assert_eq!(again.ask(PRIMARY, 15, &[]).data[3..7], [0x42, 0xA0, 0, 0]);
        assert_eq!(again.ask(PRIMARY, 15, &[]).data[11..15], [0x3F, 0x80, 0, 0]);
    }
}
