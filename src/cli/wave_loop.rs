//! The loop of a wiring sheet as a channel for a wave [WV-13].

use super::output::Failure;
use super::wave_said::Who;
use super::wiring::misread;
use crate::bench;
use crate::wave::Fir;
use crate::wiring::{Analysis, Circuit, Complex, Noise, Reception, Station, analyse, tone};
use core::f64::consts::TAU;
use core::time::Duration;
use std::path::Path as FilePath;

/// Length of the loop's response that is reckoned with, in parts of a second; its steps of frequency are 100 Hz, so both tones are among them.
const PARTS: f64 = 100.0;
/// Of it, so much lies before the pulse: what a sum of finitely many tones has there.
const BEFORE: f64 = 0.25;

/// From a talker to a listener on a loop.
pub struct Path {
    circuit: Circuit,
    analysis: Analysis,
    device: Station,
    at: Station,
}

impl Path {
    /// The loop of a sheet with the device that talks, the first if not told, and the place that is listened at, `master` or a tag.
    ///
    /// # Errors
    /// The sheet cannot be read, or has no such station.
    pub fn read(sheet: &FilePath, device: Option<&str>, at: &str) -> Result<Path, Failure> {
        let sheet = bench::read_sheet(sheet).map_err(|e| misread(&e))?;
        Path::of(sheet.circuit, device, at)
    }

    /// The same of a loop that is known.
    ///
    /// # Errors
    /// It has no such station.
    pub fn of(circuit: Circuit, device: Option<&str>, at: &str) -> Result<Path, Failure> {
        let tags: Vec<&str> = circuit.devices.iter().map(|d| d.tag.as_str()).collect();
        let find = |tag: &str| {
            tags.iter().position(|t| *t == tag).map(Station::Device).ok_or_else(|| {
                let wrong = format!("the sheet has no device \"{tag}\"");
                Failure::new("reading the stations", wrong, format!("it has {}", tags.join(", ")))
            })
        };
        let device = match device {
            Some(tag) => find(tag)?,
            None => Station::Device(0),
        };
        let at = match at {
            "master" if circuit.master.is_some() => Station::Master,
            "master" => Station::SourceEnd,
            tag => find(tag)?,
        };
        let analysis = analyse(&circuit);
        Ok(Path { circuit, analysis, device, at })
    }

    fn by(&self, who: Who) -> Station {
        match who {
            Who::Master => Station::Master,
            Who::Device => self.device,
        }
    }

    /// What arrives of a talker's nominal signal, by the sheet; nothing where he has none.
    pub fn reception(&self, who: Who) -> Reception {
        let none = Reception { levels_v: [0.0; 2], noise: self.noise() };
        self.analysis.reception(&self.circuit, self.by(who), self.at).unwrap_or(none)
    }

    /// The sheet's noise where it is heard.
    pub fn noise(&self) -> Option<Noise> {
        self.circuit.noise_at(self.at)
    }

    /// How much later the filter gives what goes in.
    pub fn delay(rate_hz: f64) -> Duration {
        Duration::from_secs_f64((taps(rate_hz) as f64 * BEFORE).floor() / rate_hz)
    }

    /// A filter that makes of a wave of amplitude 1 what arrives of the talker's nominal signal, in volts.
    pub fn filter(&self, who: Who, rate_hz: f64) -> Fir {
        let n = taps(rate_hz);
        let by = self.by(who);
        // Half of peak to peak is an amplitude.
        let half = |hz: f64| {
            let tone = tone(&self.circuit, hz);
            let arrives =
                tone.transmissions.iter().find(|t| t.by == by).map(|t| t.at(&self.circuit, self.at));
            arrives.unwrap_or(Complex::ZERO)
        };
        let step = rate_hz / n as f64;
        // Nothing of the constant: what the loop does with it is not the signal's.
        let response: Vec<Complex> = (1..=n / 2).map(|k| half(k as f64 * step)).collect();
        let shift = (n as f64 * BEFORE).floor();
        let taps: Vec<f64> = (0..n)
            .map(|i| {
                let sum: f64 = response
                    .iter()
                    .enumerate()
                    .map(|(k, h)| {
                        let turn = TAU * (k + 1) as f64 * (i as f64 - shift) / n as f64;
                        let twice = if 2 * (k + 1) == n { 0.5 } else { 1.0 };
                        twice * (h.re * turn.cos() - h.im * turn.sin())
                    })
                    .sum();
                // Twice the real part for the half of the circle left out, half for the amplitude.
                sum / n as f64
            })
            .collect();
        Fir::new(&taps)
    }
}

fn taps(rate_hz: f64) -> usize {
    (rate_hz / PARTS).round() as usize
}
