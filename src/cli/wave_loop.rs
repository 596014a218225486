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

#[cfg(test)]
mod tests {
    use super::*;

    /// The positioner of `fv-3104.toml` as ngspice computes it, from a netlist by hand: 600 mV behind 400 ohm and 5 nF, 1 km of a lossy line of 27.05318 ohm,
    /// 120 nF and 0.65 mH a km, 2 ohm, then 20 kohm twice and 5 nF. Volts peak to peak and phase in radians over those 600 mV.
    const NGSPICE: [(f64, f64, f64); 2] = [(1200.0, 0.538_075, -0.372_820), (2200.0, 0.472_995, -0.625_883)];

    #[test]
    fn the_filter_has_level_and_phase_of_the_loop_and_the_delay_it_says() {
        let sheet = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/sheets/fv-3104.toml");
        let path = Path::read(FilePath::new(sheet), None, "master").unwrap();
        for rate in [8_000.0, 44_100.0, 48_000.0] {
            for (hz, volts, phase) in NGSPICE {
                let mut samples: Vec<f32> =
                    (0..rate as usize / 10).map(|n| (TAU * hz * n as f64 / rate).sin() as f32).collect();
                path.filter(Who::Device, rate).run(&mut samples);
                // The last 50 ms, whole periods of both tones, against cosine and sine of what went in, by the delay earlier.
                let late = Path::delay(rate).as_secs_f64();
                let n = samples.len();
                let from = n - (rate / 20.0) as usize;
                let (mut a, mut b) = (0.0, 0.0);
                for (k, s) in samples.iter().enumerate().skip(from) {
                    let (sin, cos) = (TAU * hz * (k as f64 / rate - late)).sin_cos();
                    a += f64::from(*s) * sin;
                    b += f64::from(*s) * cos;
                }
                let half = (n - from) as f64 / 2.0;
                let (level, turned) = ((a.hypot(b)) / half * 2.0, b.atan2(a));
                assert!((level / volts - 1.0).abs() < 0.002, "{rate} {hz}: {level}");
                assert!((turned - phase).abs() < 0.005, "{rate} {hz}: {turned}");
            }
        }
    }
}
