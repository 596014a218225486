//! What was measured beside what it should be [WV-14].

use super::signal::{MAY_BE_DAMAGED, Measured, Range, TalkerKind, TalkerSignal};
use crate::report::summary::SEVERAL_TALK;
use crate::wave::{LEVEL_ERROR, MOST_ON_A_LOOP_V};
use crate::wiring::bring_noise_down;

/// How a quantity stands to its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limit.
    Good,
    /// Beyond it.
    Bad,
    /// Beyond what one source alone says, against another: advice, no fault.
    Advice,
    /// Noise or a second talker may be the cause: that is to be looked at first.
    NoiseFirst,
    /// There is no limit, or nothing to judge.
    None,
}

impl Verdict {
    pub(super) fn word(self) -> &'static str {
        match self {
            Verdict::Good => "ok",
            Verdict::Bad => "LOOK",
            Verdict::Advice => "advice",
            Verdict::NoiseFirst => "noise first",
            Verdict::None => "not judged",
        }
    }
}

/// What is known of the scale of a recording.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Scale {
    /// Amplitudes are volts; else shares of full scale.
    pub volts: bool,
    /// The recorder was driven beyond its full scale, so that no level is known.
    pub cut_off: bool,
}

/// One line of a report.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// What was measured, for people.
    pub quantity: &'static str,
    /// Mean, least and most of it in `unit`; of a count the number alone.
    pub numbers: [Option<f64>; 3],
    /// Unit of the numbers and of the limits.
    pub unit: &'static str,
    /// The value with its unit, for people.
    pub value: String,
    /// How it stands to its limit.
    pub verdict: Verdict,
    /// From where to where it is right, in `unit`; measuring errors are allowed for beyond that.
    pub limits: [Option<f64>; 2],
    /// The same for people.
    pub limit: String,
    /// Whose limit it is: tokens of documents, or (own).
    pub source: &'static str,
    /// What to do where it is beyond.
    pub remedy: String,
}

/// The same of twist, dB.
const TWIST_ERROR_DB: f64 = 0.3;
/// The same of tones and bit rate, share.
const CLOCK_ERROR: f64 = 0.005;
/// Eb/N0 at which one message of 25 characters in a hundred is damaged, dB [WI-13].
const LEAST_EB_N0_DB: f64 = 13.2;
/// From here on it is the receiver's own filters that are seen, dB.
const ABOVE_DB: f64 = 20.0;

/// What all limits allow for measuring, for people.
pub(super) const ERRORS: &str = "Tones, bit rate, jitter, carrier and pauses are judged by the transmissions that have five characters or more, little noise and no second talker. Verdicts allow for measuring: 2 % of a level, 0.3 dB of twist, 0.5 % of tones and bit rate, 0.75 bits of carrier.";

const MORE_SIGNAL: &str = "a larger resistor or source impedance (230 ohm at least), a shorter cable or one with less capacitance, \
    and no barrier or filter in between: `looprig wiring SHEET` computes what each of them brings";
const LESS_SIGNAL: &str =
    "look for what transmits so loudly: a modem with a wrong output, or a source of too high an impedance";
const SCALE: &str = "no loop carries a signal of 30 V peak to peak: the scale is wrong. --full-scale is the volts that the highest sample of the file stands for \
    (0.5 where the recorder takes 500 mV), of a table without volts those of one unit (0.001 for mV)";
const LESS_CAPACITANCE: &str = "capacitance takes the higher tone away: a shorter cable, fewer devices, resistance times capacitance below 65 us [MST]";
const ITS_CLOCK: &str =
    "this is the talker's own clock: its modem is faulty or far from its temperature range";
const LOST: &str = "whole characters are missing between others: find out what destroys them (another talker, a crash of noise), for a talker does not pause by whole characters";

/// What makes messages break off.
pub(super) const LOOSE_WHAT: &str =
    "a loose terminal, clip or plug (the recorder's too), a broken wire or a bad contact in the cable";
const LOOSE_NEXT: &str = "tighten and move each while somebody watches the wave. If it is always at the same octet, the talker itself stops there";
const DAMAGED: &str = "there is little noise: a crash of noise too short to be measured, or the talker sends them so; `looprig decode` says what is wrong with each";

/// Quantities that are asked for elsewhere, too.
pub(super) const ONES: &str = "level of ones";
pub(super) const ZEROS: &str = "level of zeros";
pub(super) const NOISE: &str = "signal to noise, Eb/N0";
pub(super) const JITTER: &str = "jitter of edges, rms";
pub(super) const BREAK_OFF: &str = "messages that break off";
pub(super) const TWO_TALKERS: &str = "second talker at the same time";

/// Collects lines.
struct Lines {
    out: Vec<Line>,
}

/// What is known of one line before it is judged.
struct Asked<'a> {
    quantity: &'static str,
    range: &'a Range,
    unit: &'static str,
    digits: usize,
    limits: [Option<f64>; 2],
    source: &'static str,
}

impl Lines {
    fn add(&mut self, a: Asked<'_>, verdict: Verdict, remedy: impl Into<String>) -> &mut Line {
        let there = a.range.mean().is_some();
        let verdict = if there { verdict } else { Verdict::None };
        let wanted = matches!(verdict, Verdict::Bad | Verdict::Advice);
        self.out.push(Line {
            quantity: a.quantity,
            numbers: [a.range.mean(), there.then_some(a.range.least), there.then_some(a.range.most)],
            unit: a.unit,
            value: with(a.range, a.digits, a.unit),
            verdict,
            limits: a.limits,
            limit: limit(a.limits, a.digits, a.unit),
            source: a.source,
            remedy: if wanted { remedy.into() } else { String::new() },
        });
        let last = self.out.len() - 1;
        &mut self.out[last]
    }

    /// What is measured where no second talker is; not judged where most transmissions have one [WV-19] [WV-25].
    fn alone(
        &mut self,
        t: &TalkerSignal,
        a: Asked<'_>,
        verdict: Verdict,
        remedy: impl Into<String>,
    ) -> &mut Line {
        let alone = t.alone() > 0;
        let line = self.add(a, if alone { verdict } else { Verdict::None }, remedy);
        if !alone {
            line.value = "a second talker".into();
            line.numbers = [None; 3];
        }
        line
    }

    fn count(&mut self, quantity: &'static str, n: u64, of: String, verdict: Verdict, remedy: &str) {
        let wanted = matches!(verdict, Verdict::Bad | Verdict::Advice);
        self.out.push(Line {
            quantity,
            numbers: [Some(n as f64), None, None],
            unit: "",
            value: format!("{n} of {of}"),
            verdict,
            limits: [None, Some(0.0)],
            limit: "none".into(),
            source: "(own)",
            remedy: if wanted { remedy.into() } else { String::new() },
        });
    }
}

fn judged(bad: bool) -> Verdict {
    if bad { Verdict::Bad } else { Verdict::Good }
}

fn advised(off: bool) -> Verdict {
    if off { Verdict::Advice } else { Verdict::Good }
}

/// All lines of a talker.
pub fn lines(t: &TalkerSignal, scale: Scale) -> Vec<Line> {
    let mut out = Lines { out: Vec::new() };
    levels(t, scale, &mut out);
    noise(t, &mut out);
    // Where nothing was without noise, what was measured is shown and not judged.
    let m = if t.clear.bursts > 0 { &t.clear } else { &t.all };
    let first = |v: Verdict| match v {
        Verdict::Good => v,
        _ if t.clear.bursts > 0 && t.alone() > 0 => v,
        _ if t.noisy > 0 || t.collisions > 0 => Verdict::NoiseFirst,
        _ => Verdict::None,
    };
    clock(m, &mut out, &first);
    carrier(t.kind, m, &mut out, &first);
    counts(t, &mut out);
    out.out
}

fn levels(t: &TalkerSignal, scale: Scale, out: &mut Lines) {
    for (quantity, range) in [(ONES, &t.mark), (ZEROS, &t.space)] {
        if scale.volts {
            let pp = range.map(|amplitude| amplitude * 2e3);
            let (weak, loud) =
                (pp.least < 120.0 * (1.0 - LEVEL_ERROR), pp.most > 1500.0 * (1.0 + LEVEL_ERROR));
            let limits = [Some(120.0), Some(1500.0)];
            let edges = [(pp.least, 120.0 * (1.0 - LEVEL_ERROR)), (pp.most, 1500.0 * (1.0 + LEVEL_ERROR))];
            let digits = edges.map(|(value, edge)| digits_beside(value, edge)).into_iter().max().unwrap_or(0);
            let asked =
                Asked { quantity, range: &pp, unit: "mV pp", digits, limits, source: "[TIER4] [ELC]" };
            let verdict = if scale.cut_off { Verdict::None } else { judged(weak || loud) };
            let impossible = pp.most > MOST_ON_A_LOOP_V * 1e3;
            let remedy = match (weak, impossible) {
                (true, _) => MORE_SIGNAL,
                (false, true) => SCALE,
                (false, false) => LESS_SIGNAL,
            };
            out.alone(t, asked, verdict, remedy);
        } else {
            let db = range.map(|amplitude| 20.0 * amplitude.max(1e-9).log10());
            let asked = Asked {
                quantity,
                range: &db,
                unit: "dB of full scale",
                digits: 1,
                limits: [None; 2],
                source: "",
            };
            let line = out.alone(t, asked, Verdict::None, "");
            line.limit = "volts: --full-scale".into();
            // No range: nothing is judged, and the table is to stay narrow.
            if let Some(mean) = db.mean().filter(|_| t.alone() > 0) {
                line.value = format!("{} dB of full scale", rounded(mean, 1));
            }
        }
    }
    let bad = t.twist_db.least < -6.0 - TWIST_ERROR_DB || t.twist_db.most > 6.0 + TWIST_ERROR_DB;
    let asked = Asked {
        quantity: "twist, ones over zeros",
        range: &t.twist_db,
        unit: "dB",
        digits: 1,
        limits: [Some(-6.0), Some(6.0)],
        source: "(own)",
    };
    out.alone(t, asked, if scale.cut_off { Verdict::None } else { judged(bad) }, LESS_CAPACITANCE);
}

fn noise(t: &TalkerSignal, out: &mut Lines) {
    let asked = Asked {
        quantity: NOISE,
        range: &t.eb_n0_db,
        unit: "dB",
        digits: 1,
        limits: [Some(LEAST_EB_N0_DB), None],
        source: "[BER]",
    };
    // Noise goes with the root of its power: so many times less of it.
    let worst = t.eb_n0_db.least;
    let share = (100.0 * 10f64.powf((worst - LEAST_EB_N0_DB) / 20.0)).floor().clamp(1.0, 99.0);
    let remedy =
        if t.noisy > 0 { bring_noise_down(&format!("{share} % of what it is")) } else { String::new() };
    let line = out.alone(t, asked, judged(t.noisy > 0), remedy);
    // What is judged is the worst transmission.
    if t.eb_n0_db.mean().is_some() && t.alone() > 0 {
        line.value = match worst {
            w if w >= ABOVE_DB => "above 20 dB".into(),
            w if t.noisy > 0 => format!("worst {w:.1} dB; {} of {} below", t.noisy, t.alone()),
            w => format!("worst {w:.1} dB"),
        };
    }
}

fn clock(m: &Measured, out: &mut Lines, first: &dyn Fn(Verdict) -> Verdict) {
    for (quantity, range, nominal, unit) in [
        ("tone of ones", &m.mark_hz, 1200.0, "Hz"),
        ("tone of zeros", &m.space_hz, 2200.0, "Hz"),
        ("bit rate", &m.bit_rate, 1200.0, "bit/s"),
    ] {
        let off = (range.least / nominal - 1.0).abs().max((range.most / nominal - 1.0).abs());
        let limits = [Some(nominal * 0.99), Some(nominal * 1.01)];
        let asked = Asked { quantity, range, unit, digits: 0, limits, source: "[A5191]" };
        out.add(asked, first(judged(off > 0.01 + CLOCK_ERROR)), ITS_CLOCK);
    }
    let percent = m.jitter.map(|bits| bits * 100.0);
    let asked = Asked {
        quantity: JITTER,
        range: &percent,
        unit: "% of a bit",
        digits: 1,
        limits: [None, Some(12.0)],
        source: "(own)",
    };
    let bad = m.jitter.mean().is_some_and(|j| j > 0.12);
    let line =
        out.add(asked, first(judged(bad)), "noise, hum or a second talker: see signal to noise, and the eye");
    // The mean is what is judged.
    if let Some(mean) = percent.mean() {
        line.value = format!("{mean:.1} % of a bit");
    }
    line.limit = "12 % at most".into();
}

fn carrier(kind: TalkerKind, m: &Measured, out: &mut Lines, first: &dyn Fn(Verdict) -> Verdict) {
    let master = kind == TalkerKind::Master;
    let asked = Asked {
        quantity: "carrier before the first character",
        range: &m.lead,
        unit: "bits",
        digits: 1,
        limits: [Some(4.0), Some(5.0)],
        source: "[A5191] [1794B]",
    };
    let (late, early) = (m.is_habit(m.late), m.is_habit(m.early));
    let habit = |line: &mut Line, off: u32| {
        if off > 0 && line.verdict == Verdict::Good {
            line.value = format!("{}; {off} of {} off", line.value, m.bursts);
        }
    };
    let no_matter = "no matter where masters and devices understand each other";
    let remedy = match (late, kind) {
        (true, TalkerKind::Device) => format!(
            "the device may key its modem too late: the first character is lost in {} of {} transmissions that are judged, for a modem needs four bits of carrier to notice it; {no_matter}, else compare it with another device",
            m.late, m.bursts
        ),
        (true, _) => format!(
            "the modem may be keyed too late: the first character is lost in {} of {} transmissions that are judged, for a modem needs four bits of carrier to notice it. A longer delay between request-to-send and the first character; {no_matter}",
            m.late, m.bursts
        ),
        (false, TalkerKind::Device) => {
            format!(
                "the device may key its modem too early; {no_matter}, else compare it with another device"
            )
        }
        (false, _) => format!(
            "the modem may be keyed too early: request-to-send, or the program that works it; {no_matter}"
        ),
    };
    habit(out.add(asked, first(advised(late || early)), remedy), m.late + m.early);
    let asked = Asked {
        quantity: "carrier after the last",
        range: &m.tail,
        unit: "bits",
        digits: 1,
        limits: [Some(0.0), Some(5.0)],
        source: "[1794B]",
    };
    let who =
        if kind == TalkerKind::Device { "the device may key its modem" } else { "the modem may be keyed" };
    let (long, short) = (m.is_habit(m.long), m.is_habit(m.short));
    let remedy = if long {
        format!("{who} off too late, which can hide the answer")
    } else {
        format!("{who} off too early, which can cost the last character")
    };
    habit(out.add(asked, first(advised(long || short)), remedy), m.long + m.short);
    let asked = Asked {
        quantity: "longest pause between characters",
        range: &m.longest_gap,
        unit: "bits",
        digits: 1,
        limits: [None, Some(11.0)],
        source: "[R2169] [F40648]",
    };
    let remedy = match (m.missing > 0, kind) {
        (true, _) => LOST,
        (false, TalkerKind::Device) => {
            "the device does not send without pauses: compare it with another device, and look whether its supply breaks in"
        }
        _ if master => {
            "the master's program or adapter does not send without pauses: another adapter, or a faster computer"
        }
        _ => "the talker does not send without pauses: find out who it is first",
    };
    let bad = m.longest_gap.most >= 11.0 || m.missing > 0;
    out.add(asked, first(judged(bad)), remedy);
}

fn counts(t: &TalkerSignal, out: &mut Lines) {
    let (all, clear) = (&t.all, &t.clear);
    for (quantity, in_all, in_clear) in [
        ("wrong parity", all.parity_errors, clear.parity_errors),
        ("missing stop bits", all.framing_errors, clear.framing_errors),
    ] {
        let verdict = match (in_all, in_clear) {
            (0, _) => Verdict::Good,
            // In noise, or where two talk, errors are no fault of this talker's.
            (_, 0) => Verdict::NoiseFirst,
            _ if t.alone() == 0 => Verdict::NoiseFirst,
            _ => Verdict::Bad,
        };
        let of = format!("{} characters", all.characters);
        out.count(quantity, in_all, of, verdict, "there is little noise, so the talker sends them so: its settings (8 data bits, odd parity, 1 stop bit), or a crash of noise too short to be measured");
    }
    messages(t, out);
    let of = format!("{} transmissions", all.bursts);
    let n = u64::from(t.collisions);
    out.count(TWO_TALKERS, n, of, judged(n > 0), SEVERAL_TALK);
}

/// How messages arrived [WV-24].
fn messages(t: &TalkerSignal, out: &mut Lines) {
    let (all, clear) = (t.all.messages, t.clear.messages);
    let of = || super::super::text::plural(all.all as usize, "message");
    let verdict = match (all.broken_off, clear.broken_off) {
        (0, _) => Verdict::Good,
        // The second talker may have taken the line from this one.
        _ if t.collisions > 0 => Verdict::NoiseFirst,
        (_, 0) => Verdict::NoiseFirst,
        _ => Verdict::Bad,
    };
    let loose = format!("the carrier goes before the message is over: {LOOSE_WHAT}; {LOOSE_NEXT}");
    out.count(BREAK_OFF, all.broken_off.into(), of(), verdict, &loose);
    let verdict = match all.damaged {
        0 => Verdict::Good,
        _ if t.alone() == 0 || clear.damaged == 0 => Verdict::NoiseFirst,
        _ => judged(f64::from(clear.damaged) > MAY_BE_DAMAGED * f64::from(clear.all)),
    };
    out.count("damaged messages", all.damaged.into(), of(), verdict, DAMAGED);
    if let Some(line) = out.out.last_mut() {
        line.limits = [None, Some((MAY_BE_DAMAGED * f64::from(all.all)).floor())];
        line.limit = "1 in 100 at most".into();
    }
}

fn limit([least, most]: [Option<f64>; 2], digits: usize, unit: &str) -> String {
    // Limits in whole numbers are so written.
    let word = |x: f64| {
        if x.fract() == 0.0 {
            format!("{x:.0}")
        } else {
            format!("{x:.0$}", digits.max(usize::from(x < 100.0)))
        }
    };
    match (least.map(word), most.map(word)) {
        (Some(a), Some(b)) => format!("{a} to {b} {unit}"),
        (Some(a), None) => format!("{a} {unit} or more"),
        (None, Some(b)) => format!("{b} {unit} at most"),
        (None, None) => String::new(),
    }
}

fn with(r: &Range, digits: usize, unit: &str) -> String {
    let Some(mean) = r.mean() else { return "-".into() };
    let (mean, least, most) = (rounded(mean, digits), rounded(r.least, digits), rounded(r.most, digits));
    if least == most { format!("{mean} {unit}") } else { format!("{mean} {unit} ({least} to {most})") }
}

/// Digits behind the point that show on which side of an edge a value is: more only where rounding would hide it, 2 at most.
fn digits_beside(value: f64, edge: f64) -> usize {
    let side = |digits: usize| {
        let ten = 10f64.powi(digits as i32);
        ((value * ten).round() / ten < edge) == (value < edge)
    };
    (0..2).find(|digits| side(*digits)).unwrap_or(2)
}

/// A number with so many digits behind the point, and no minus before zero.
fn rounded(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        Some(zero) if zero.chars().all(|c| matches!(c, '0' | '.')) => zero.to_owned(),
        _ => text,
    }
}
