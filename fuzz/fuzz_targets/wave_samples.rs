//! Any samples, no number and infinity among them, at any rate: the demodulator goes on, its times never go back, and where the stream is
//! cut changes nothing [WV-02]. The first bytes are rate, cut and form of the samples.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::time::Instant;
use looprig::wave::{Demodulator, DemodulatorConfig, Heard};

fn hear(rate: f64, samples: &[f32], part: usize) -> Vec<Heard> {
    let Ok(mut d) = Demodulator::new(DemodulatorConfig::full_scale(rate)) else { return Vec::new() };
    let (mut out, mut some) = (Vec::new(), [Heard::default(); 3]);
    for mut rest in samples.chunks(part) {
        while !rest.is_empty() {
            let p = d.run(rest, &mut some);
            rest = &rest[p.consumed..];
            out.extend_from_slice(&some[..p.produced]);
        }
    }
    loop {
        let n = d.finish(&mut some);
        if n == 0 {
            return out;
        }
        out.extend_from_slice(&some[..n]);
    }
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&[rate, cut, form], rest)) = bytes.split_first_chunk::<3>() else { return };
    let rate = 8000.0 + f64::from(rate) * 200.0;
    // As floats, any at all; or as small numbers, each for several samples, which the fuzzer finds more in.
    let samples: Vec<f32> = if form % 2 == 0 {
        rest.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect()
    } else {
        let times = usize::from(form / 2 % 8) + 1;
        rest.iter().flat_map(|b| core::iter::repeat_n(f32::from(*b as i8) / 128.0, times)).collect()
    };
    let whole = hear(rate, &samples, samples.len().max(1));
    // Not compared as numbers: what is measured of samples without end may be none.
    let cut = hear(rate, &samples, usize::from(cut) + 1);
    assert_eq!(format!("{whole:?}"), format!("{cut:?}"));
    let mut last = Instant::ZERO;
    for h in whole {
        if let Heard::Character(c) = h {
            assert!(c.begin < c.octet.at && c.octet.at >= last);
            last = c.octet.at;
        }
    }
});
