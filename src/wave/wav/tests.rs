//! Headers that are right, that lie, and that are none.

use super::*;
use proptest::prelude::*;

fn read(bytes: &[u8], channel: u16, part: usize) -> Result<(Vec<f32>, Option<WavNote>), WavError> {
    let mut r = WavReader::new(channel);
    let mut out = Vec::new();
    for p in bytes.chunks(part) {
        r.run(p, &mut out)?;
    }
    let note = r.finish()?;
    Ok((out, note))
}

const MONO: WavSpec = WavSpec { rate_hz: 48_000, channels: 1, format: SampleFormat::I16 };

/// Bytes written by hand: 1 channel, 8000 samples a second, 16 bits, three samples.
#[test]
fn a_file_by_hand() {
    let mut f = b"RIFF".to_vec();
    f.extend([42, 0, 0, 0]);
    f.extend(b"WAVEfmt ");
    f.extend([16, 0, 0, 0, 1, 0, 1, 0, 0x40, 0x1F, 0, 0, 0x80, 0x3E, 0, 0, 2, 0, 16, 0]);
    f.extend(b"data");
    f.extend([6, 0, 0, 0, 0x00, 0x40, 0x00, 0x80, 0xFF, 0x7F]);
    for part in [1, 2, 7, 100] {
        let mut r = WavReader::new(0);
        let mut out = Vec::new();
        f.chunks(part).for_each(|p| r.run(p, &mut out).unwrap());
        assert_eq!(r.spec(), Some(WavSpec { rate_hz: 8000, channels: 1, format: SampleFormat::I16 }));
        assert_eq!(out, [0.5, -1.0, 32_767.0 / 32_768.0]);
        assert_eq!(r.finish(), Ok(None));
    }
    let header = WavSpec { rate_hz: 8000, channels: 1, format: SampleFormat::I16 }.header(Some(3));
    assert_eq!(header, f[..44]);
}

#[test]
fn formats_and_channels() {
    let samples = [0.0f32, 0.25, -0.5, 0.75, -1.0];
    for format in [
        SampleFormat::U8,
        SampleFormat::I16,
        SampleFormat::I24,
        SampleFormat::I32,
        SampleFormat::F32,
        SampleFormat::F64,
    ] {
        for channels in [1u16, 2, 5] {
            let spec = WavSpec { rate_hz: 44_100, channels, format };
            let mut bytes = spec.header(Some(5)).to_vec();
            for s in samples {
                for c in 0..channels {
                    spec.write(&[if c + 1 == channels { s } else { 0.125 }], &mut bytes);
                }
            }
            assert_eq!(
                read(&bytes, channels - 1, 3).unwrap(),
                (samples.to_vec(), None),
                "{format:?} {channels}"
            );
            assert!(read(&bytes, channels, 3).unwrap_err().what.contains("is wanted"));
        }
    }
}

/// What sox calls the extended part of the format chunk, and the chunk `fact`, by the bytes: format 3, 18 bytes of it, one channel of 8000 floats a second.
#[test]
fn a_floating_header_is_complete() {
    let spec = WavSpec { rate_hz: 8000, channels: 1, format: SampleFormat::F32 };
    let mut bytes =
        b"RIFF\x3E\0\0\0WAVEfmt \x12\0\0\0\x03\0\x01\0\x40\x1F\0\0\0\x7D\0\0\x04\0\x20\0\0\0".to_vec();
    bytes.extend(b"fact\x04\0\0\0\x03\0\0\0data\x0C\0\0\0");
    assert_eq!(spec.header(Some(3)), bytes);
}

#[test]
fn lengths_that_lie() {
    let with_length = |n: u32, samples: usize, tail: &[u8]| {
        let mut bytes = MONO.header(Some(1)).to_vec();
        bytes[40..44].copy_from_slice(&n.to_le_bytes());
        MONO.write(&vec![0.5; samples], &mut bytes);
        bytes.extend_from_slice(tail);
        bytes
    };
    for part in [1, 5, 1000] {
        let (got, note) = read(&with_length(0, 9, b""), 0, part).unwrap();
        assert_eq!((got.len(), note), (9, None));
        assert_eq!(read(&with_length(u32::MAX, 9, b""), 0, part).unwrap().0.len(), 9);
        let (got, note) = read(&with_length(40, 9, b""), 0, part).unwrap();
        assert_eq!((got.len(), note), (9, Some(WavNote::Short { promised: 20, there: 9 })));
        let (got, note) = read(&with_length(8, 9, b""), 0, part).unwrap();
        assert_eq!((got.len(), note), (9, Some(WavNote::Longer { promised: 4 })));
        // A chunk that is known is no sound.
        let (got, note) = read(&with_length(18, 9, b"LIST\x04\0\0\0abcd"), 0, part).unwrap();
        assert_eq!((got.len(), note), (9, None), "{part}");
    }
}

#[test]
fn what_is_no_sound_file() {
    for (bytes, word) in [
        (b"RIFX0000WAVEfmt ".to_vec(), "begin"),
        (b"hello, this is text".to_vec(), "begin"),
        (MONO.header(Some(1))[..40].to_vec(), "no samples"),
        (MONO.header(Some(1))[..20].to_vec(), "header"),
    ] {
        assert!(read(&bytes, 0, 4).unwrap_err().what.contains(word), "{word}");
    }
    let change = |at: usize, v: u8| {
        let mut h = MONO.header(Some(1)).to_vec();
        h[at] = v;
        read(&h, 0, 9).unwrap_err().what
    };
    assert!(change(20, 6).contains("compressed"));
    assert!(change(34, 12).contains("12 bits"));
    assert!(change(22, 2).contains("contradicts"));
    assert!(change(22, 0).contains("0 channels"));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes(head in prop::bool::ANY, bytes in prop::collection::vec(any::<u8>(), 0..200), part in 1usize..50) {
        let mut all = if head { MONO.header(Some(3)).to_vec() } else { Vec::new() };
        all.extend(&bytes);
        let whole = read(&all, 0, all.len().max(1));
        prop_assert_eq!(format!("{whole:?}"), format!("{:?}", read(&all, 0, part)));
    }
}
