//! The wave made and read again, under all that it has to bear.

use super::*;
use crate::frame::{Marks, RawFrame, RawOctet};
use crate::time::Instant;
use core::time::Duration;

/// Dice for noise: two uniform numbers make two normal ones.
struct Dice(oorandom::Rand64);

impl Dice {
    fn normal(&mut self) -> f64 {
        let (u, v) = (self.0.rand_float().max(1e-300), self.0.rand_float());
        (-2.0 * u.ln()).sqrt() * (2.0 * core::f64::consts::PI * v).cos()
    }
}

/// A published reply to command 0 [1770], after five preambles.
fn reply() -> RawFrame {
    let mut octets = vec![0xFF; 5];
    octets.extend([
        0x06, 0x80, 0x00, 0x0E, 0x00, 0x00, 0xFE, 0x26, 0x0D, 0x06, 0x05, 0x02, 0x01, 0x50, 0x00, 0x00, 0x15,
        0x11, 0x09,
    ]);
    RawFrame { octets: octets.into_iter().map(RawOctet::from).collect() }
}

fn make(rate: f64, said: &[Transmission], seconds: f64) -> Vec<f32> {
    let mut m = Modulator::new(rate).unwrap();
    let mut out = vec![0f32; (rate * seconds) as usize];
    let mut done = 0;
    for part in out.chunks_mut(777) {
        done += m.run(&said[done..], part).consumed;
    }
    assert_eq!(done, said.len());
    out
}

fn hear(config: DemodulatorConfig, samples: &[f32], part: usize) -> Vec<Heard> {
    let mut d = Demodulator::new(config).unwrap();
    let (mut out, mut some) = (Vec::new(), [Heard::default(); 7]);
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

fn octets(heard: &[Heard]) -> Vec<(u8, Marks)> {
    let one = |h: &Heard| match h {
        Heard::Character(c) => Some((c.octet.value, c.octet.marks)),
        _ => None,
    };
    heard.iter().filter_map(one).collect()
}

fn at(ms: u64) -> Instant {
    Instant::from_nanos(ms * 1_000_000)
}

#[test]
fn what_is_made_is_read_at_every_rate() {
    let said = [Transmission::starting(at(20), reply(), Talker::of(0.5))];
    let want: Vec<(u8, Marks)> = reply().values().into_iter().map(|v| (v, Marks::NONE)).collect();
    for rate in [8000.0, 9600.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        let heard = hear(DemodulatorConfig::full_scale(rate), &make(rate, &said, 0.3), 4800);
        assert_eq!(octets(&heard), want, "{rate}");
    }
}
