//! The signal report: what the wave of each talker is like, beside what it should be, and what to do.

mod eye;
mod findings;
mod spectrum;

pub use eye::Eye;
pub use findings::{Told, findings};
pub use spectrum::Spectrum;

use super::table::Table;
use super::{Format, Options};
use crate::wave::{Burst, Noticed, Remark};
use crate::wiring::noise::{MESSAGE_CHARACTERS, bit_error_rate, damaged_share};
use core::fmt::Write;
use serde_json::json;

/// Mean, least and most of something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    sum: f64,
    count: f64,
    /// The least.
    pub least: f64,
    /// The most.
    pub most: f64,
}

impl Default for Range {
    fn default() -> Self {
        Range { sum: 0.0, count: 0.0, least: f64::INFINITY, most: f64::NEG_INFINITY }
    }
}

impl Range {
    fn add(&mut self, value: Option<f64>, weight: f64) {
        if let Some(v) = value.filter(|v| v.is_finite()) {
            self.sum += v * weight;
            self.count += weight;
            self.least = self.least.min(v);
            self.most = self.most.max(v);
        }
    }

    /// The mean; `None` where there was nothing.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0.0).then(|| self.sum / self.count)
    }
}

/// What a talker is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Who {
    /// A master.
    Master,
    /// A device.
    Device,
    /// No whole frame says it.
    #[default]
    Unknown,
}

/// The least level that is received for sure, V peak to peak [WV-03].
pub const LEAST_LEVEL_V: f64 = 0.120;
/// The highest level that is right, V peak to peak [WV-03].
pub const MOST_LEVEL_V: f64 = 1.5;

/// Everything that was measured of one talker.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TalkerSignal {
    /// Who it is, for people.
    pub name: String,
    /// What it is.
    pub who: Who,
    bursts: u32,
    characters: u64,
    parity_errors: u64,
    framing_errors: u64,
    collisions: u32,
    gaps: u64,
    mark: Range,
    space: Range,
    mark_hz: Range,
    space_hz: Range,
    bit_rate: Range,
    twist_db: Range,
    eb_n0_db: Range,
    jitter: Range,
    lead: Range,
    tail: Range,
    longest_gap: Range,
}

impl TalkerSignal {
    /// Nothing yet of a talker.
    pub fn new(name: impl Into<String>) -> TalkerSignal {
        TalkerSignal { name: name.into(), ..TalkerSignal::default() }
    }

    /// Nothing yet of a talker of which it is known what it is.
    pub fn of(who: Who, name: impl Into<String>) -> TalkerSignal {
        TalkerSignal { who, ..TalkerSignal::new(name) }
    }

    /// Least and most level of ones and zeros, peak to peak, in the amplitude's unit; `None` before anything was heard.
    pub fn level_pp(&self) -> Option<(f64, f64)> {
        let heard = [&self.mark, &self.space].into_iter().filter(|r| r.mean().is_some());
        heard.map(|r| (2.0 * r.least, 2.0 * r.most)).reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
    }

    /// Adds a transmission.
    pub fn add(&mut self, b: &Burst) {
        let n = f64::from(b.characters);
        self.bursts += 1;
        self.characters += u64::from(b.characters);
        self.parity_errors += u64::from(b.parity_errors);
        self.framing_errors += u64::from(b.framing_errors);
        self.collisions += u32::from(b.collided);
        self.gaps += u64::from(b.gaps);
        self.mark.add(Some(b.mark), n);
        self.space.add(Some(b.space).filter(|s| *s > 0.0), n);
        self.mark_hz.add(b.mark_hz, n);
        self.space_hz.add(b.space_hz, n);
        self.bit_rate.add(b.bit_rate, n);
        self.twist_db.add(b.twist_db(), n);
        self.eb_n0_db.add(b.eb_n0_db, n);
        self.jitter.add(Some(b.jitter_bits), n);
        self.lead.add(b.lead_s().map(|s| s * 1200.0), 1.0);
        self.tail.add(b.tail_s().map(|s| s * 1200.0), 1.0);
        self.longest_gap.add(Some(b.longest_gap_bits), 1.0);
    }

    /// Characters read.
    pub fn characters(&self) -> u64 {
        self.characters
    }
}

/// How a quantity stands to its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limit.
    Good,
    /// Beyond it.
    Bad,
    /// Beyond what one source alone says, against another: advice, no fault.
    Advice,
    /// There is no limit, or nothing to judge.
    None,
}

impl Verdict {
    fn word(self) -> &'static str {
        match self {
            Verdict::Good => "ok",
            Verdict::Bad => "LOOK",
            Verdict::Advice => "advice",
            Verdict::None => "-",
        }
    }
}

/// One line of a report.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What was measured, for people.
    pub quantity: &'static str,
    /// The value with its unit; with least and most where they differ.
    pub value: String,
    /// How it stands to its limit.
    pub verdict: Verdict,
    /// The limit and whose it is.
    pub limit: String,
    /// What to do where it is beyond.
    pub remedy: &'static str,
}

const MORE_SIGNAL: &str = "a larger resistor or source impedance (230 ohm at least), a shorter cable or one with less capacitance, \
    and no barrier or filter in between: `looprig wiring SHEET` computes what each of them brings";
const ITS_CLOCK: &str =
    "this is the talker's own clock: its modem is faulty or far from its temperature range";

const NOISE: &str = "signal to noise, Eb/N0";
const JITTER: &str = "jitter of edges, rms";
const TWO_TALKERS: &str = "second talker at the same time";
const BEFORE: &str = "carrier before the first character";
const AFTER: &str = "carrier after the last";
/// Their limits come from one source, and another speaks against it [WV-09].
const ADVICE: [&str; 2] = [BEFORE, AFTER];
const ONE_SOURCE: &str = "5 bits at most by [1794B] alone, and three quarters for measuring (own)";

/// All lines of a talker. Amplitudes are volts where `volts` says so; else shares of full scale.
pub fn lines(t: &TalkerSignal, volts: bool) -> Vec<Line> {
    let mut out = Vec::new();
    let mut add = |quantity, value: Option<String>, bad: Option<bool>, limit: &str, remedy| {
        let verdict = match (value.is_some(), bad) {
            (true, Some(true)) if ADVICE.contains(&quantity) => Verdict::Advice,
            (true, Some(true)) => Verdict::Bad,
            (true, Some(false)) => Verdict::Good,
            _ => Verdict::None,
        };
        let value = value.unwrap_or_else(|| "-".into());
        let remedy = if matches!(verdict, Verdict::Bad | Verdict::Advice) { remedy } else { "" };
        out.push(Line { quantity, value, verdict, limit: limit.into(), remedy });
    };
    for (name, range) in [("level of ones", &t.mark), ("level of zeros", &t.space)] {
        let value = range.mean().map(|_| level(range, volts));
        if volts {
            let pp = (range.least * 2.0, range.most * 2.0);
            let bad = pp.0 < LEAST_LEVEL_V || pp.1 > MOST_LEVEL_V;
            let remedy = if pp.0 < LEAST_LEVEL_V {
                MORE_SIGNAL
            } else {
                "look for what transmits so loudly: a modem with a wrong output, or a source of too high an impedance"
            };
            add(name, value, Some(bad), "120 mV to 1.5 V peak to peak [TIER4] [ELC]", remedy);
        } else {
            add(name, value, None, "no volts known: give --full-scale", "");
        }
    }
    add(
        "twist, ones over zeros",
        with(&t.twist_db, 1, " dB"),
        t.twist_db.mean().map(|_| t.twist_db.least < -6.0 || t.twist_db.most > 6.0),
        "6 dB either way (own)",
        "capacitance takes the higher tone away: a shorter cable, fewer devices, resistance times capacitance below 65 us [MST]",
    );
    let off = |r: &Range, nominal: f64| {
        r.mean().map(|_| (r.least / nominal - 1.0).abs().max((r.most / nominal - 1.0).abs()))
    };
    for (name, range, nominal) in [
        ("tone of ones", &t.mark_hz, 1200.0),
        ("tone of zeros", &t.space_hz, 2200.0),
        ("bit rate", &t.bit_rate, 1200.0),
    ] {
        let unit = if name == "bit rate" { " bit/s" } else { " Hz" };
        add(
            name,
            with(range, 0, unit),
            off(range, nominal).map(|o| o > 0.015),
            "1 % of a chip's clock [A5191], and half of that for measuring (own)",
            ITS_CLOCK,
        );
    }
    let damaged = t
        .eb_n0_db
        .mean()
        .map(|_| damaged_share(bit_error_rate(10f64.powf(t.eb_n0_db.least / 10.0)), MESSAGE_CHARACTERS));
    let noise_value = t.eb_n0_db.mean().map(|mean| {
        if mean >= 20.0 { "above 20 dB".to_string() } else { with(&t.eb_n0_db, 1, " dB").unwrap_or_default() }
    });
    add(
        NOISE,
        noise_value,
        damaged.map(|d| d > 0.01),
        "1 in 100 messages of 25 characters damaged [BER], 13.2 dB",
        "less noise: screens earthed at one end, away from drives and their cables, loose terminals tightened; or more signal",
    );
    add(
        JITTER,
        t.jitter.mean().map(|m| format!("{:.1} % of a bit", m * 100.0)),
        t.jitter.mean().map(|m| m > 0.12),
        "12 %: four times that is half a bit (own)",
        "noise, hum or a second talker: see signal to noise, and the eye",
    );
    add(
        BEFORE,
        with(&t.lead, 1, " bits"),
        t.lead.mean().map(|_| t.lead.most > 5.75),
        ONE_SOURCE,
        "the modem may be keyed too early: request-to-send, or the program that works it; no matter where masters and devices understand each other",
    );
    add(
        AFTER,
        with(&t.tail, 1, " bits"),
        t.tail.mean().map(|_| t.tail.most > 5.75 || t.tail.least < -0.75),
        ONE_SOURCE,
        "the modem may be keyed off too late, which can hide the answer, or too early, which can cost the last character",
    );
    add(
        "longest pause between characters",
        with(&t.longest_gap, 1, " bits"),
        t.longest_gap.mean().map(|_| t.longest_gap.most >= 11.0),
        "less than a character, 11 bits [R2169] [F40648]",
        "the talker's program or adapter does not send without pauses: another adapter, or a faster computer",
    );
    for (name, count) in [("wrong parity", t.parity_errors), ("missing stop bits", t.framing_errors)] {
        add(
            name,
            Some(format!("{count} of {} characters", t.characters)),
            Some(count > 0),
            "none (own)",
            "look at signal to noise and at collisions first",
        );
    }
    add(
        TWO_TALKERS,
        Some(format!("{} of {} transmissions", t.collisions, t.bursts)),
        Some(t.collisions > 0),
        "none (own)",
        "two masters that are both primary, or a device in burst mode that a master does not expect",
    );
    out
}

fn with(r: &Range, digits: usize, unit: &str) -> Option<String> {
    let mean = r.mean()?;
    let (mean, least, most) = (rounded(mean, digits), rounded(r.least, digits), rounded(r.most, digits));
    Some(if least == most { format!("{mean}{unit}") } else { format!("{mean}{unit} ({least} to {most})") })
}

/// A number with so many digits behind the point, and no minus before zero.
fn rounded(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| matches!(c, '0' | '.')) => zero.to_owned(),
        _ => text,
    }
}

fn level(r: &Range, volts: bool) -> String {
    let mean = r.mean().unwrap_or(0.0);
    if volts {
        let mv = |a: f64| a * 2e3;
        format!("{:.0} mV pp ({:.0} to {:.0})", mv(mean), mv(r.least), mv(r.most))
    } else {
        let db = |a: f64| 20.0 * a.max(1e-9).log10();
        format!("{:.1} dB of full scale ({:.1} to {:.1})", db(mean), db(r.least), db(r.most))
    }
}

/// Whether something in it wants to be looked at; advice does not count.
pub fn is_bad(talkers: &[TalkerSignal], volts: bool) -> bool {
    talkers.iter().flat_map(|t| lines(t, volts)).any(|l| l.verdict == Verdict::Bad)
}

/// Writes a remark on a transmission; a table of frames has no place for it.
pub fn write_remark(remark: &Remark, options: Options, out: &mut String) {
    match options.format {
        Format::Text => super::text::write_event(remark.at, &remark.to_string(), options, out),
        Format::Csv => {}
        Format::Json => {
            let (t, u) = (remark.at.as_nanos(), remark.until.as_nanos());
            let object = match remark.what {
                Noticed::TwoTalkers => {
                    json!({"kind": "signal", "t_ns": t, "what": "two talkers", "until_ns": u})
                }
                Noticed::Weak { peak_to_peak_v } => {
                    json!({"kind": "signal", "t_ns": t, "until_ns": u, "what": "weak", "peak_to_peak_v": peak_to_peak_v})
                }
            };
            let _ = writeln!(out, "{object}");
        }
    }
}

/// Writes the report of all talkers.
pub fn write(talkers: &[TalkerSignal], volts: bool, format: Format, out: &mut String) {
    let tables: Vec<Table> = talkers
        .iter()
        .map(|t| {
            let count = |n, of| super::text::plural(n as usize, of);
            let title = format!(
                "{}: {}, {}",
                t.name,
                count(u64::from(t.bursts), "transmission"),
                count(t.characters, "character")
            );
            let mut table = Table::new(title, &["quantity", "value", "verdict", "limit"]);
            if format != Format::Text {
                table.columns.push("remedy");
            }
            for l in lines(t, volts) {
                table.row([l.quantity, &l.value, l.verdict.word(), &l.limit, l.remedy].map(String::from));
            }
            for row in &mut table.rows {
                row.truncate(table.columns.len());
            }
            table
        })
        .collect();
    Table::write_all(&tables, format, out);
    if format == Format::Text {
        for t in talkers {
            for l in lines(t, volts).iter().filter(|l| !l.remedy.is_empty()) {
                out.push('\n');
                super::text::write_wrapped(&format!("{}, {}: {}.", t.name, l.quantity, l.remedy), 2, out);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Instant;

    fn burst() -> Burst {
        let ms = |n: u64| Instant::from_nanos(n * 1_000_000);
        Burst {
            on: ms(100),
            first_start: Some(ms(104)),
            last_end: Some(ms(204)),
            off: ms(206),
            characters: 11,
            mark: 0.100,
            space: 0.080,
            mark_hz: Some(1201.0),
            space_hz: Some(2199.0),
            bit_rate: Some(1200.0),
            jitter_bits: 0.05,
            eb_n0_db: Some(18.0),
            ..Burst::default()
        }
    }

    fn verdicts(b: Burst, volts: bool) -> Vec<(&'static str, Verdict)> {
        let mut t = TalkerSignal::new("device");
        t.add(&b);
        lines(&t, volts).into_iter().map(|l| (l.quantity, l.verdict)).collect()
    }

    fn bad(b: Burst, volts: bool) -> Vec<&'static str> {
        verdicts(b, volts).into_iter().filter(|v| v.1 == Verdict::Bad).map(|v| v.0).collect()
    }

    #[test]
    fn every_limit_bites() {
        assert_eq!(bad(burst(), true), Vec::<&str>::new());
        // 59 mV is 118 mV peak to peak: below 120 [TIER4]; 0.76 V are 1.52 V: above 1.5 [ELC].
        assert_eq!(bad(Burst { space: 0.059, mark: 0.07, ..burst() }, true), ["level of zeros"]);
        assert_eq!(bad(Burst { mark: 0.76, space: 0.7, ..burst() }, true), ["level of ones"]);
        // 20 log(0.1/0.045) = 6.9 dB.
        assert_eq!(bad(Burst { mark: 0.3, space: 0.135, ..burst() }, true), ["twist, ones over zeros"]);
        assert_eq!(bad(Burst { mark_hz: Some(1219.0), ..burst() }, true), ["tone of ones"]);
        assert_eq!(bad(Burst { bit_rate: Some(1181.0), ..burst() }, true), ["bit rate"]);
        // [WI-13]: 1 in 100 at 3.65e-5, which lies between 13 dB (5.6e-5) and 14 dB (6.2e-6).
        assert_eq!(bad(Burst { eb_n0_db: Some(13.0), ..burst() }, true), ["signal to noise, Eb/N0"]);
        assert!(bad(Burst { eb_n0_db: Some(14.0), ..burst() }, true).is_empty());
        assert_eq!(bad(Burst { jitter_bits: 0.13, ..burst() }, true), ["jitter of edges, rms"]);
        // 5 bits are 4.17 ms; one source alone says so, which is advice and no fault.
        for (b, name) in [
            (Burst { on: Instant::from_nanos(98_000_000), ..burst() }, "carrier before the first character"),
            (Burst { off: Instant::from_nanos(210_000_000), ..burst() }, "carrier after the last"),
        ] {
            assert!(bad(b, true).is_empty());
            let advice: Vec<_> = verdicts(b, true).into_iter().filter(|v| v.1 == Verdict::Advice).collect();
            assert_eq!(advice, [(name, Verdict::Advice)]);
            let mut t = TalkerSignal::new("device");
            t.add(&b);
            let mut out = String::new();
            write(core::slice::from_ref(&t), true, Format::Text, &mut out);
            assert!(!is_bad(&[t], true) && out.contains("advice") && out.contains("keyed"), "{out}");
        }
        assert_eq!(
            bad(Burst { longest_gap_bits: 11.5, ..burst() }, true),
            ["longest pause between characters"]
        );
        assert_eq!(bad(Burst { parity_errors: 1, ..burst() }, true), ["wrong parity"]);
        assert_eq!(bad(Burst { framing_errors: 1, ..burst() }, true), ["missing stop bits"]);
        assert_eq!(bad(Burst { collided: true, ..burst() }, true), ["second talker at the same time"]);
        // Without volts a level has no limit.
        assert!(
            verdicts(Burst { mark: 0.001, ..burst() }, false).contains(&("level of ones", Verdict::None))
        );
    }

    #[test]
    fn in_every_format() {
        let mut t = TalkerSignal::new("FV-3104");
        t.add(&Burst { parity_errors: 2, ..burst() });
        for (format, part) in [
            (Format::Text, "LOOK"),
            (Format::Json, "\"verdict\":\"LOOK\""),
            (Format::Csv, "wrong parity,2 of 11 characters,LOOK"),
        ] {
            let mut out = String::new();
            write(std::slice::from_ref(&t), true, format, &mut out);
            assert!(out.contains(part), "{out}");
            assert!(out.contains("200 mV pp"), "{out}");
        }
    }
}
