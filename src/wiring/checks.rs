//! What is compared with a limit, and where the limit is from.

use super::ac::{Station, Transmission};
use super::circuit::{Circuit, PartKind, Source, Transmits};
use super::noise::{MESSAGE_CHARACTERS, Reception};
use super::remedy::Remedy;
use super::{Analysis, DcRow, dc};
use core::f64::consts::TAU;

/// The least level that a receiver must understand, V peak to peak [WI-06].
pub const LEAST_LEVEL_V: f64 = 0.120;
/// The most that one has to bear, V peak to peak [WI-06].
const MOST_LEVEL_V: f64 = 1.5;
/// The impedance that a transmitter should work into, ohm [WI-06].
const LOAD_OHM: (f64, f64) = (230.0, 600.0);
/// Which share of messages may be damaged: our choice [WI-13].
const DAMAGED: f64 = 0.01;
/// Resistance times capacitance, s [WI-07].
pub const RC_S: f64 = 65e-6;
/// By how much the two tones may differ in level, dB: our choice [WI-08].
const TWIST_DB: f64 = 3.0;
/// By how much they may differ in delay, s: our choice, 12 % of a bit of 1/1200 s [WI-08].
const DELAY_S: f64 = 100e-6;
/// By how much leaks may make a current wrong, A: our choice, 0.1 % of 16 mA [WI-02].
const LEAK_A: f64 = 16e-6;
/// From this on a resistor counts as one for the signal, ohm: our choice [WI-09].
const SECOND_OHM: f64 = 150.0;
/// The signal's own range, A, and what is beyond it [WI-01].
const SIGNAL_A: (f64, f64) = (0.0038, 0.0205);

const OUR_CHOICE: &str = "our choice";

/// What a check is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Wires the wrong way round.
    Polarity,
    /// Volts within the signal's range.
    Volts,
    /// Volts at the currents that report a failure.
    VoltsBeyond,
    /// Current within the signal's range for a device that does not make it itself.
    LeastCurrent,
    /// A source that shorts the tones.
    SourceShort,
    /// Level at a receiver.
    Level,
    /// Messages that noise damages.
    Noise,
    /// Resistance times capacitance.
    Rc,
    /// A level that is too high.
    LevelHigh,
    /// Impedance that a transmitter works into, too low.
    LoadLow,
    /// Or too high.
    LoadHigh,
    /// Difference of the tones in level.
    Twist,
    /// Difference of the tones in delay.
    Delay,
    /// A second resistor.
    SecondResistor,
    /// Current that leaks away.
    Leak,
}

impl Kind {
    /// A name for programs.
    pub fn slug(self) -> &'static str {
        match self {
            Kind::Polarity => "polarity",
            Kind::Volts => "volts",
            Kind::VoltsBeyond => "volts-beyond",
            Kind::LeastCurrent => "least-current",
            Kind::SourceShort => "source-short",
            Kind::Level => "level",
            Kind::Noise => "noise",
            Kind::Rc => "rc",
            Kind::LevelHigh => "level-high",
            Kind::LoadLow => "load-low",
            Kind::LoadHigh => "load-high",
            Kind::Twist => "tone-level-difference",
            Kind::Delay => "tone-delay-difference",
            Kind::SecondResistor => "second-resistor",
            Kind::Leak => "leak",
        }
    }

    /// What it is, for people.
    pub fn title(self) -> &'static str {
        match self {
            Kind::Polarity => "wires the right way round",
            Kind::Volts => "volts, 3.8 to 20.5 mA",
            Kind::VoltsBeyond => "volts, failure currents",
            Kind::LeastCurrent => "current that the device needs",
            Kind::SourceShort => "source lets the signal live",
            Kind::Level => "signal at the receiver",
            Kind::Noise => "messages that noise damages",
            Kind::Rc => "resistance x capacitance",
            Kind::LevelHigh => "signal not too strong",
            Kind::LoadLow => "load of the transmitter, least",
            Kind::LoadHigh => "load of the transmitter, most",
            Kind::Twist => "1200 and 2200 Hz alike: level",
            Kind::Delay => "1200 and 2200 Hz alike: delay",
            Kind::SecondResistor => "one resistor only",
            Kind::Leak => "current that leaks away",
        }
    }

    /// The same in a word or two, for the middle of a sentence.
    pub fn short(self) -> &'static str {
        match self {
            Kind::Polarity => "plus and minus",
            Kind::Volts => "volts",
            Kind::VoltsBeyond => "volts at failure currents",
            Kind::LeastCurrent => "the least current",
            Kind::SourceShort => "the source",
            Kind::Level => "the signal",
            Kind::Noise => "noise",
            Kind::Rc => "resistance x capacitance",
            _ => self.title(),
        }
    }

    /// Whether the loop fails with it; else it is advice.
    pub fn must_hold(self) -> bool {
        matches!(
            self,
            Kind::Polarity
                | Kind::Volts
                | Kind::VoltsBeyond
                | Kind::LeastCurrent
                | Kind::SourceShort
                | Kind::Level
                | Kind::Noise
                | Kind::Rc
        )
    }
}

/// A value beside its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What it is about.
    pub kind: Kind,
    /// Of which device, from whom to whom, at which current.
    pub subject: String,
    /// What was computed.
    pub value: f64,
    /// What it is to be.
    pub limit: f64,
    /// Whether the limit is the least; else it is the most.
    pub is_least: bool,
    /// Unit of value and limit: V, ohm, s, dB, A, share (0 to 1), or nothing for a count.
    pub unit: &'static str,
    /// Where the limit is from.
    pub source: &'static str,
    /// What a failure means, in a sentence without a full stop.
    pub meaning: String,
    /// What would help, least change first; empty where it holds.
    pub remedies: Vec<Remedy>,
}

impl Check {
    /// What is left to the limit; negative where it is missed.
    pub fn margin(&self) -> f64 {
        if self.is_least { self.value - self.limit } else { self.limit - self.value }
    }

    /// Whether it holds.
    pub fn holds(&self) -> bool {
        self.margin() >= 0.0
    }

    /// Whether the loop fails with it.
    pub fn is_bad(&self) -> bool {
        self.kind.must_hold() && !self.holds()
    }
}

struct Checks<'a> {
    circuit: &'a Circuit,
    analysis: &'a Analysis,
    /// Whether anybody reads subjects and meanings; samples by the thousand do not.
    has_words: bool,
    out: Vec<Check>,
}

/// Every check of a loop.
pub(super) fn checks(circuit: &Circuit, analysis: &Analysis) -> Vec<Check> {
    all(circuit, analysis, true)
}

/// The same without words: values and limits only.
pub(super) fn values(circuit: &Circuit, analysis: &Analysis) -> Vec<Check> {
    all(circuit, analysis, false)
}

fn all(circuit: &Circuit, analysis: &Analysis, has_words: bool) -> Vec<Check> {
    let mut c = Checks { circuit, analysis, has_words, out: Vec::new() };
    c.polarity();
    c.volts();
    c.least_current();
    c.source_short();
    c.levels();
    c.noise();
    c.rc();
    c.loads();
    c.tones();
    c.second_resistor();
    c.leak();
    c.out
}

impl<'a> Checks<'a> {
    fn add(
        &mut self,
        kind: Kind,
        subject: String,
        (value, limit, is_least): (f64, f64, bool),
        unit: &'static str,
        source: &'static str,
        meaning: &str,
    ) {
        let remedies = Vec::new();
        let meaning = if self.has_words { meaning.to_owned() } else { String::new() };
        self.out.push(Check { kind, subject, value, limit, is_least, unit, source, meaning, remedies });
    }

    fn polarity(&mut self) {
        for device in &self.circuit.devices {
            if device.takes_either_polarity {
                continue;
            }
            let turned = f64::from(u8::from(self.circuit.is_reversed(device)));
            self.add(
                Kind::Polarity,
                device.tag.clone(),
                (turned, 0.0, false),
                "",
                "common practice, no source",
                "plus and minus change places on the way: no current flows; the numbers below are for wires put right",
            );
        }
    }

    fn volts(&mut self) {
        let within = |r: &&DcRow| r.current_a >= SIGNAL_A.0 - 1e-9 && r.current_a <= SIGNAL_A.1 + 1e-9;
        let held = !self.circuit.follows();
        let rows = &self.analysis.dc;
        let (range, beyond): (Vec<&DcRow>, Vec<&DcRow>) = rows.iter().partition(|r| held || within(r));
        for (kind, rows) in [(Kind::Volts, range), (Kind::VoltsBeyond, beyond)] {
            let worst =
                rows.into_iter().min_by(|a, b| a.margin_after_peak_v.total_cmp(&b.margin_after_peak_v));
            let Some(row) = worst else { continue };
            let ma = row.current_a * 1e3;
            if row.card_needs_v.is_some() {
                let value = self.circuit.source_v();
                self.add(
                    kind,
                    format!("card at {} mA", trim(ma)),
                    (value, value - row.margin_after_peak_v, true),
                    "V",
                    "the card's compliance against what the loop takes [WI-02]",
                    "the card cannot drive this current: the valve stops short",
                );
                continue;
            }
            let least = |a: &&(usize, &super::DcDevice), b: &&(usize, &super::DcDevice)| {
                a.1.margin_v().total_cmp(&b.1.margin_v())
            };
            let devices: Vec<_> = row.devices.iter().enumerate().collect();
            let Some(&(n, device)) = devices.iter().min_by(least) else { continue };
            let tag = &self.circuit.devices[n].tag;
            let at = if held { "all devices on".to_owned() } else { format!("at {} mA", trim(ma)) };
            self.add(
                kind,
                format!("{tag} {at}"),
                (device.volts_v - device.peak_v, device.needs_v, true),
                "V",
                "the device's own least voltage [WI-02]",
                "too few volts are left at the device: it restarts, or cannot hold its current",
            );
        }
    }

    /// Where it can fail: on a card, whose current a leak shares, and where a sheet asks for more than is usual.
    fn least_current(&mut self) {
        let within = |r: &&DcRow| r.current_a >= SIGNAL_A.0 - 1e-9 && r.current_a <= SIGNAL_A.1 + 1e-9;
        for (n, device) in self.circuit.followers() {
            if !self.circuit.source.is_card() && device.least_a <= dc::LEAST_A {
                continue;
            }
            let rows = self.analysis.dc.iter().filter(within);
            let worst = rows.min_by(|a, b| a.devices[n].current_a.total_cmp(&b.devices[n].current_a));
            let Some(row) = worst else { continue };
            self.add(
                Kind::LeastCurrent,
                format!("{} at {} mA", device.tag, trim(row.current_a * 1e3)),
                (row.devices[n].current_a, device.least_a, true),
                "A",
                "the device's own least current, 3.6 mA where the sheet says nothing [WI-01]",
                "less current passes the device than its electronics need: it is without power at this end of the signal",
            );
        }
    }

    fn source_short(&mut self) {
        let least = self.analysis.tones.iter().map(|t| t.source_ohm.abs()).fold(f64::INFINITY, f64::min);
        let meaning = match self.circuit.source {
            Source::Supply { resistor_ohm: 0.0, .. } => {
                "the supply without a resistor is a short for the signal: nothing can be read from it"
            }
            Source::Supply { .. } => "the resistor is so small that the source nearly shorts the signal",
            Source::Card { .. } => {
                "the card's output shorts the signal: it has a low impedance at 1200 and 2200 Hz and no filter"
            }
        };
        let subject = if self.circuit.source.is_card() { "card" } else { "supply and resistor" };
        let source = "least loop resistance 230 ohm: [VIS], others 250 [WI-06]";
        self.add(Kind::SourceShort, subject.into(), (least, LOAD_OHM.0, true), "ohm", source, meaning);
    }

    /// Transmitter, receiver, level at both tones.
    fn paths(&self) -> Vec<(Station, Station, [&'a Transmission; 2])> {
        let (circuit, analysis) = (self.circuit, self.analysis);
        let [low, high] = analysis.tones.as_slice() else { return Vec::new() };
        let both = low.transmissions.iter().zip(&high.transmissions);
        both.flat_map(|(l, h)| circuit.receivers(l.by).into_iter().map(move |to| (l.by, to, [l, h])))
            .collect()
    }

    fn levels(&mut self) {
        for (by, to, tones) in self.paths() {
            let level = tones.map(|t| t.at(self.circuit, to).abs());
            let worst = level[0].min(level[1]);
            let subject = self.path_name(by, to);
            let source = "receivers must understand 120 mV peak to peak: [TIER4] [ELC] [WI-06]";
            let meaning = "the signal is weaker than a receiver must understand";
            self.add(Kind::Level, subject.clone(), (worst, LEAST_LEVEL_V, true), "V", source, meaning);
            let most = level[0].max(level[1]);
            let source = "a multiplexer's range ends at 1.5 V peak to peak: [ELC] [WI-06]";
            let meaning = "the signal may overdrive receivers";
            self.add(Kind::LevelHigh, subject, (most, MOST_LEVEL_V, false), "V", source, meaning);
        }
    }

    fn noise(&mut self) {
        for (by, to, tones) in self.paths() {
            let Some(noise) = self.circuit.noise_at(to) else { continue };
            let levels_v = tones.map(|t| t.at(self.circuit, to).abs());
            let reception = Reception { levels_v, noise: Some(noise) };
            let damaged = reception.damaged_share(MESSAGE_CHARACTERS);
            let source = "1 message of 25 characters in 100: our choice [WI-13]";
            let meaning = "noise makes bits wrong: answers fail now and then, or all the time";
            self.add(
                Kind::Noise,
                self.path_name(by, to),
                (damaged, DAMAGED, false),
                "share",
                source,
                meaning,
            );
        }
    }

    fn path_name(&self, by: Station, to: Station) -> String {
        if !self.has_words {
            return String::new();
        }
        format!("{} to {}", self.circuit.station_name(by), self.circuit.station_name(to))
    }

    fn rc(&mut self) {
        self.add(
            Kind::Rc,
            "whole loop".into(),
            (self.analysis.rc.seconds(), RC_S, false),
            "s",
            "rule of 65 us: [MST] [CLS] [LC5] [WI-07]",
            "too much capacitance for this resistance: the tones are rounded off",
        );
    }

    fn loads(&mut self) {
        let currents: Vec<(String, f64, f64)> = self
            .paths()
            .iter()
            .filter(|(by, ..)| self.transmits_current(*by))
            .map(|(by, _, tones)| {
                let ohm = tones.map(|t| t.load_ohm.abs());
                let name = if self.has_words { self.circuit.station_name(*by) } else { String::new() };
                (name, ohm[0].min(ohm[1]), ohm[0].max(ohm[1]))
            })
            .collect();
        for (name, least, most) in currents {
            let source = "least loop resistance 230 ohm: [VIS], others 250 [WI-06]";
            let meaning = "little to work into: the signal is weaker than usual";
            self.add(Kind::LoadLow, name.clone(), (least, LOAD_OHM.0, true), "ohm", source, meaning);
            let source = "230 to 600 ohm: [AD57] [NIV]; others allow 1000 [WI-06]";
            let meaning = "much to work into: some devices clip their signal";
            self.add(Kind::LoadHigh, name, (most, LOAD_OHM.1, false), "ohm", source, meaning);
        }
    }

    fn transmits_current(&self, by: Station) -> bool {
        let how = match by {
            Station::Device(n) => self.circuit.devices.get(n).map(|d| d.transmits),
            _ => self.circuit.master.as_ref().map(|m| m.transmits),
        };
        matches!(how, Some(Transmits::Current(_)))
    }

    fn tones(&mut self) {
        let omega: Vec<f64> = self.analysis.tones.iter().map(|t| TAU * t.hz).collect();
        for (by, to, tones) in self.paths() {
            let v = tones.map(|t| t.at(self.circuit, to));
            // Where nothing arrives there is nothing to compare, and the level is told as too low.
            if !v.iter().all(|v| v.abs() > 0.0 && v.abs().is_finite()) {
                continue;
            }
            let db = (20.0 * (v[1].abs() / v[0].abs()).log10()).abs();
            let delay = [0, 1].map(|n| -v[n].arg() / omega[n]);
            let subject = self.path_name(by, to);
            let meaning = "one tone is much weaker than the other, which receivers bear badly";
            self.add(Kind::Twist, subject.clone(), (db, TWIST_DB, false), "dB", OUR_CHOICE, meaning);
            let meaning = "one tone comes later than the other, which shifts the edges of bits";
            let us = (delay[1] - delay[0]).abs();
            self.add(Kind::Delay, subject, (us, DELAY_S, false), "s", OUR_CHOICE, meaning);
        }
    }

    fn second_resistor(&mut self) {
        let mut names = Vec::new();
        if matches!(self.circuit.source, Source::Supply { resistor_ohm, .. } if resistor_ohm >= SECOND_OHM) {
            names.push("the supply's".to_owned());
        }
        let parts = self.circuit.parts.iter().filter(|p| match &p.kind {
            PartKind::Series(s) => s.what == "resistor" && s.tones_ohm >= SECOND_OHM,
            PartKind::Cable(_) => false,
        });
        names.extend(parts.map(|p| p.name.clone()));
        names.extend(self.circuit.shunts.iter().filter(|s| s.is_resistor).map(|s| s.name.clone()));
        if names.len() < 2 {
            return;
        }
        self.add(
            Kind::SecondResistor,
            names.join(" and "),
            (names.len() as f64, 1.0, false),
            "",
            "common practice, no source [WI-09]",
            "more than one resistor: each takes volts, and one across the wires takes signal",
        );
    }

    fn leak(&mut self) {
        let worst = self.analysis.dc.iter().map(|row| {
            let devices: f64 = row.devices.iter().map(|d| d.current_a).sum();
            (row.source_current_a - devices).abs()
        });
        let worst = worst.fold(0.0, f64::max);
        // Below this it is what computing leaves.
        if worst < 1e-7 {
            return;
        }
        let meaning =
            "part of the current leaks past the device: it and the control system see different currents";
        self.add(Kind::Leak, "whole loop".into(), (worst, LEAK_A, false), "A", OUR_CHOICE, meaning);
    }
}

/// A number with three decimals at most.
pub(super) fn trim(x: f64) -> String {
    digits(x, 3)
}

/// A number with so many decimals at most, without needless noughts and without the sign of a nought.
pub fn digits(x: f64, decimals: usize) -> String {
    let text = format!("{x:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
