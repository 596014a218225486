//! The spectrum of a recording: mean power of overlapping pieces, at tones 25 Hz apart.

use super::super::plot::{Axis, plain};
use core::f64::consts::{PI, TAU};
use core::fmt::Write;

/// Steps between tones, Hz.
const STEP_HZ: f64 = 25.0;
/// The highest tone.
const MOST_HZ: f64 = 5_000.0;
/// Pieces at most; of a longer recording only every so many is taken, and the distance doubles.
const PIECES: u32 = 256;

/// Collects the power of tones.
#[derive(Clone, Debug)]
pub struct Spectrum {
    rate_hz: f64,
    step_hz: f64,
    piece: Vec<f32>,
    length: usize,
    /// Cosine and sine steps of each tone.
    turns: Vec<(f64, f64)>,
    power: Vec<f64>,
    count: u32,
    /// One of so many pieces is taken.
    every: u32,
    seen: u32,
    /// The same in finer steps where hum is; of the same samples, in longer pieces.
    low: Option<Box<Spectrum>>,
}

/// Finer steps, in which hum of 50 and of 60 Hz are apart, and up to where.
const LOW_STEP_HZ: f64 = 10.0;
const LOW_MOST_HZ: f64 = 400.0;
/// What stands out of both sides by so much is named, dB.
const STANDS_OUT_DB: f64 = 10.0;
/// Weaker than that below the strongest tone is no matter, dB.
const NO_MATTER_DB: f64 = 60.0;

impl Spectrum {
    /// Of samples at this rate.
    pub fn new(rate_hz: f64) -> Spectrum {
        let low = Spectrum::in_steps(rate_hz, LOW_STEP_HZ, LOW_MOST_HZ);
        Spectrum { low: Some(Box::new(low)), ..Spectrum::in_steps(rate_hz, STEP_HZ, MOST_HZ) }
    }

    fn in_steps(rate_hz: f64, step_hz: f64, most_hz: f64) -> Spectrum {
        let tones = ((most_hz.min(rate_hz / 2.0)) / step_hz) as usize + 1;
        let turns =
            (0..tones).map(|k| (TAU * k as f64 * step_hz / rate_hz).sin_cos()).map(|(s, c)| (c, s)).collect();
        Spectrum {
            step_hz,
            low: None,
            rate_hz,
            piece: Vec::new(),
            // Hann's window of twice the step's time tells tones two steps apart.
            length: (rate_hz / step_hz * 2.0).round() as usize,
            turns,
            power: vec![0.0; tones],
            count: 0,
            every: 1,
            seen: 0,
        }
    }

    /// Adds samples.
    pub fn add(&mut self, samples: &[f32]) {
        if let Some(low) = &mut self.low {
            low.add(samples);
        }
        let mut rest = samples;
        while !rest.is_empty() {
            let n = (self.length - self.piece.len()).min(rest.len());
            self.piece.extend_from_slice(&rest[..n]);
            rest = &rest[n..];
            if self.piece.len() == self.length {
                if self.seen.is_multiple_of(self.every) {
                    self.work();
                }
                self.seen = self.seen.wrapping_add(1);
                if self.count >= PIECES {
                    // From now on half as many, each counting twice.
                    self.every = self.every.saturating_mul(2);
                    self.count /= 2;
                    self.power.iter_mut().for_each(|p| *p /= 2.0);
                }
                self.piece.clear();
            }
        }
    }

    fn work(&mut self) {
        let n = self.length as f64;
        let mean = self.piece.iter().filter(|s| s.is_finite()).map(|s| f64::from(*s)).sum::<f64>() / n;
        let windowed: Vec<f64> = self
            .piece
            .iter()
            .enumerate()
            .map(|(k, s)| {
                let s = if s.is_finite() { f64::from(*s) - mean } else { 0.0 };
                s * (PI * (k as f64 + 0.5) / n).sin().powi(2)
            })
            .collect();
        for ((c, _), power) in self.turns.iter().zip(&mut self.power) {
            // Goertzel's recursion.
            let (mut a, mut b) = (0.0, 0.0);
            for x in &windowed {
                (a, b) = (x + 2.0 * c * a - b, a);
            }
            *power += (a * a + b * b - 2.0 * c * a * b).max(0.0);
        }
        self.count += 1;
    }

    /// Tones and their levels, dB over the square of 1 in amplitude: a tone of amplitude 1 shows 0.
    pub fn levels_db(&self) -> Vec<(f64, f64)> {
        let n = self.length as f64;
        let scale = f64::from(self.count.max(1)) * (n / 4.0).powi(2);
        let level = |p: f64| 10.0 * (p / scale).max(1e-16).log10();
        self.power.iter().enumerate().map(|(k, p)| (k as f64 * self.step_hz, level(*p))).collect()
    }

    /// Harmonics of a mains of 50 or 60 Hz that stand out of what lies beside them, with their levels.
    pub fn hum(&self) -> Vec<(f64, f64)> {
        let Some(low) = self.low.as_ref().filter(|low| low.count > 0) else { return Vec::new() };
        let levels = low.levels_db();
        let most = self.levels_db().iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
        let at = |hz: f64| levels.get((hz / LOW_STEP_HZ).round() as usize).map_or(f64::MAX, |l| l.1);
        let mains = |hz: &f64| hz % 50.0 == 0.0 || hz % 60.0 == 0.0;
        (5..39)
            .map(|k| f64::from(k) * LOW_STEP_HZ)
            .filter(mains)
            .map(|hz| (hz, at(hz)))
            .filter(|&(hz, db)| {
                let beside = at(hz - 2.0 * LOW_STEP_HZ).max(at(hz + 2.0 * LOW_STEP_HZ));
                db > beside + STANDS_OUT_DB && db > most - NO_MATTER_DB
            })
            .collect()
    }

    /// The picture, with both tones and what hums marked; amplitudes are volts where `volts` says so.
    pub fn svg(&self, title: &str, volts: bool) -> String {
        let (unit, zero) = if volts {
            ("dB of 1 V", "0 dB: a tone of 2 V peak to peak.")
        } else {
            ("dB of full scale", "0 dB: a tone that reaches full scale.")
        };
        let levels: Vec<(f64, f64)> = self.levels_db().into_iter().skip(1).collect();
        let most = levels.iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
        let least = levels.iter().map(|l| l.1).fold(f64::INFINITY, f64::min).max(most - 100.0);
        let (width, height, left, right, top, bottom) = (720.0, 424.0, 58.0, 704.0, 50.0, 326.0);
        let axis = Axis::around(least, most, 20.0, 8.0);
        let end = levels.last().map_or(MOST_HZ, |l| l.0);
        let x = |hz: f64| left + hz / end * (right - left);
        let y = |db: f64| bottom - (db.max(axis.from) - axis.from) / (axis.to - axis.from) * (bottom - top);
        let mut out = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" font-family=\"sans-serif\" font-size=\"12\" \
             role=\"img\" aria-label=\"spectrum\">\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
             <text x=\"16\" y=\"20\" font-size=\"15\">Spectrum: {}</text>\n\
             <text x=\"16\" y=\"40\">{unit}</text>\n",
            plain(title)
        );
        for v in axis.marks() {
            let _ = writeln!(
                out,
                "<line x1=\"{left}\" y1=\"{0:.1}\" x2=\"{right}\" y2=\"{0:.1}\" stroke=\"#ccc\"/>\
                 <text x=\"{1}\" y=\"{2:.1}\" text-anchor=\"end\">{3}</text>",
                y(v),
                left - 6.0,
                y(v) + 4.0,
                axis.word(v)
            );
        }
        for k in 0..=(end / 500.0) as u32 {
            let hz = f64::from(k) * 500.0;
            let _ = writeln!(
                out,
                "<line x1=\"{0:.1}\" y1=\"{top}\" x2=\"{0:.1}\" y2=\"{bottom}\" stroke=\"#ccc\"/>\
                 <text x=\"{0:.1}\" y=\"{1}\" text-anchor=\"middle\">{hz}</text>",
                x(hz),
                bottom + 16.0
            );
        }
        for hz in [1200.0, 2200.0] {
            let _ = writeln!(
                out,
                "<line x1=\"{0:.1}\" y1=\"{top}\" x2=\"{0:.1}\" y2=\"{bottom}\" stroke=\"#b30\" stroke-dasharray=\"5 4\"/>",
                x(hz)
            );
        }
        for (n, (hz, db)) in self.hum().into_iter().enumerate() {
            let _ = writeln!(
                out,
                "<circle cx=\"{0:.1}\" cy=\"{1:.1}\" r=\"3\" fill=\"#b30\"/><text x=\"{2:.1}\" y=\"{3:.1}\" fill=\"#b30\">{hz} Hz</text>",
                x(hz),
                y(db),
                x(hz) + 6.0,
                // Names of neighbours do not lie over one another.
                y(db) - 2.0 - 12.0 * f64::from(n as u32 % 2)
            );
        }
        let line: Vec<String> = levels.iter().map(|l| format!("{:.1},{:.1}", x(l.0), y(l.1))).collect();
        let _ = writeln!(
            out,
            "<polyline fill=\"none\" stroke=\"#124\" stroke-width=\"1.5\" points=\"{}\"/>\n\
             <text x=\"{}\" y=\"{}\" text-anchor=\"middle\">Hz; dashed: the tones of a 1 (1200 Hz) and of a 0 (2200 Hz)</text>\n\
             <text x=\"16\" y=\"{}\">{zero} A red point is hum of the mains. Keyed tones spread: two hills with their tops within about</text>\n\
             <text x=\"16\" y=\"{}\">100 Hz of the dashed lines are right; whether a tone is off, the report says.</text>\n</svg>",
            line.join(" "),
            (left + right) / 2.0,
            bottom + 34.0,
            bottom + 60.0,
            bottom + 77.0
        );
        out
    }

    /// Samples a second.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_shows_its_level_at_its_place() {
        for rate in [8000.0, 44_100.0, 48_000.0] {
            let mut s = Spectrum::new(rate);
            let x: Vec<f32> =
                (0..rate as usize).map(|k| (0.5 * (TAU * 1200.0 * k as f64 / rate).sin()) as f32).collect();
            x.chunks(999).for_each(|p| s.add(p));
            let levels = s.levels_db();
            let (hz, db) = levels.iter().copied().fold((0.0, f64::MIN), |a, b| if b.1 > a.1 { b } else { a });
            // 20 log(0.5) = -6.02 dB.
            assert!((hz - 1200.0).abs() < 1.0 && (db + 6.02).abs() < 0.1, "{rate}: {hz} {db}");
            assert!(levels.iter().filter(|l| (l.0 - 1200.0).abs() > 60.0).all(|l| l.1 < -60.0), "{rate}");
            assert!(s.svg("x", false).trim_end().ends_with("</svg>"));
            assert_eq!(s.hum(), []);
        }
    }

    /// Hum of 60 Hz and its third harmonic beside a tone, or of 50 and 150 Hz: each is named, with its level, and its neighbours of the other mains are not.
    #[test]
    fn hum_is_named() {
        for (rate, mains) in [(8000.0, 60.0), (44_100.0, 50.0)] {
            let mut s = Spectrum::new(rate);
            let x: Vec<f32> = (0..rate as usize * 2)
                .map(|k| {
                    let at = |hz: f64, a: f64| a * (TAU * hz * k as f64 / rate).sin();
                    (at(mains, 0.1) + at(3.0 * mains, 0.01) + at(1200.0, 0.3)) as f32
                })
                .collect();
            s.add(&x);
            // 20 log(0.1) = -20 dB, 20 log(0.01) = -40 dB.
            let hum: Vec<(f64, f64)> = s.hum().into_iter().map(|(hz, db)| (hz, db.round())).collect();
            assert_eq!(hum, [(mains, -20.0), (3.0 * mains, -40.0)]);
            let svg = s.svg("x", true);
            assert!(svg.contains(&format!("{mains} Hz</text>")) && svg.contains("dB of 1 V"));
        }
    }
}
