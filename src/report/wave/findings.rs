//! What a recorded waveform says to fault finding: the report's own lines and limits, as symptoms [TG-12].

use super::lines::{JITTER, Line, NOISE, ONES, Scale, TWO_TALKERS, Verdict, ZEROS, lines};
use super::signal::{TalkerKind, TalkerSignal};
use crate::commission::triage::{Finding, Origin};

/// What follows from a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    /// Symptoms with their values.
    pub findings: Vec<Finding>,
    /// What cannot be said, and why, sentences.
    pub remarks: Vec<String>,
}

const NO_VOLTS: &str =
    "The level of the signal cannot be told from the waveform: no volts are known, give --full-scale";

const CUT_OFF: &str = "The level of the signal cannot be told from the waveform: the recorder was driven beyond its full scale. Turn its input down";

/// The symptoms of a recording's talkers. Without volts, and where the recorder was driven too far, no level is told.
pub fn findings(talkers: &[TalkerSignal], scale: Scale) -> Told {
    let mut out = Told::default();
    let mut add = |symptom: &str, value: &str, words: String| {
        let (symptom, value) = (symptom.to_owned(), value.to_owned());
        out.findings.push(Finding { symptom, value, from: Origin::Bus, words });
    };
    if talkers.is_empty() {
        if scale.volts {
            add("signal_level", "none", "in the waveform there is no transmission".to_owned());
            out.remarks.push(
                "In the waveform there is no transmission: was the device asked while it was recorded?"
                    .to_owned(),
            );
        } else {
            out.remarks.push(format!("In the waveform there is no transmission. {NO_VOLTS}."));
        }
        return out;
    }
    // Somebody of whom no frame is whole may be noise.
    let known: Vec<&TalkerSignal> = talkers.iter().filter(|t| t.kind != TalkerKind::Unknown).collect();
    let judged = if known.is_empty() { talkers.iter().collect() } else { known.clone() };
    let all: Vec<(&str, Line)> =
        judged.iter().flat_map(|t| lines(t, scale).into_iter().map(|l| (t.name.as_str(), l))).collect();
    // Least and most, mV peak to peak.
    let levels = || {
        let of = all.iter().filter(|(_, l)| [ONES, ZEROS].contains(&l.quantity));
        of.filter_map(|(name, l)| Some((*name, l, l.numbers[1]?, l.numbers[2]?)))
    };
    let least = levels().min_by(|a, b| a.2.total_cmp(&b.2));
    let most = levels().max_by(|a, b| a.3.total_cmp(&b.3));
    match (scale, least.zip(most)) {
        (Scale { volts: false, .. }, _) => out.remarks.push(format!("{NO_VOLTS}.")),
        (Scale { cut_off: true, .. }, _) => out.remarks.push(format!("{CUT_OFF}.")),
        (_, Some(((name, line, least, _), (loud, line_of_most, _, most)))) => {
            let is_beyond = |l: &Line| l.verdict == Verdict::Bad;
            let (low, high) = (line.limits[0].unwrap_or_default(), line.limits[1].unwrap_or_default());
            if is_beyond(line) && least < low {
                let words = format!(
                    "{name} has {least:.0} mV peak to peak in the waveform, {low:.0} mV are the least"
                );
                add("signal_level", "low", words);
            } else if is_beyond(line_of_most) {
                let words = format!(
                    "{loud} has {most:.0} mV peak to peak in the waveform, {high:.0} mV are the most"
                );
                add("signal_level", "high", words);
            } else {
                let words = format!("in the waveform {name} is the weakest, with {least:.0} mV peak to peak");
                add("signal_level", "enough", words);
            }
        }
        (_, None) => {}
    }
    let of = |quantities: &[&str]| -> Vec<&(&str, Line)> {
        all.iter().filter(|(_, l)| quantities.contains(&l.quantity) && l.verdict != Verdict::None).collect()
    };
    let bad = |of: &[&(&str, Line)]| {
        of.iter()
            .find(|(_, l)| l.verdict == Verdict::Bad)
            .map(|(t, l)| format!("{t}: {} {}", l.quantity, l.value))
    };
    let noise = of(&[NOISE, JITTER]);
    match bad(&noise) {
        Some(what) => add("signal_noise", "noisy", format!("in the waveform, {what}")),
        None if !noise.is_empty() => {
            add(
                "signal_noise",
                "quiet",
                "in the waveform noise and jitter are within their limits".to_owned(),
            );
        }
        None => {}
    }
    // A second talker is one whoever it is.
    let collided = talkers
        .iter()
        .flat_map(|t| lines(t, scale))
        .find(|l| l.quantity == TWO_TALKERS && l.verdict == Verdict::Bad);
    match collided {
        Some(l) => add(
            "two_at_once",
            "present",
            format!("in the waveform two talk at the same time, in {}", l.value),
        ),
        None => add("two_at_once", "none", "in the waveform nobody talks while another does".to_owned()),
    }
    let is_there = |kind| talkers.iter().any(|t| t.kind == kind);
    match (is_there(TalkerKind::Master), is_there(TalkerKind::Device), is_there(TalkerKind::Unknown)) {
        (true, true, _) => add("wave_talk", "both", "in the waveform are requests and answers".to_owned()),
        (true, false, false) => {
            add("wave_talk", "no_answer", "in the waveform are requests, and no answer".to_owned());
        }
        _ => {}
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wave::Burst;

    const VOLTS: Scale = Scale { volts: true, cut_off: false };

    fn talker(kind: TalkerKind, mark: f64, space: f64, eb_n0_db: f64, collided: bool) -> TalkerSignal {
        let mut t =
            TalkerSignal::new(if kind == TalkerKind::Master { "primary master" } else { "device 0" }, kind);
        let jitter_bits = 0.02;
        t.add(&Burst {
            characters: 20,
            mark,
            space,
            eb_n0_db: Some(eb_n0_db),
            collided,
            jitter_bits,
            ..Burst::default()
        });
        t
    }

    fn value(told: &Told, symptom: &str) -> String {
        told.findings.iter().find(|f| f.symptom == symptom).map_or("-", |f| f.value.as_str()).to_owned()
    }

    /// Amplitudes of 0.2 V are 400 mV peak to peak; 0.058 are 116, more than the 2 % of measuring below 120 [TIER4] (117.6); 0.77 are 1.54 V, so much above
    /// 1.5 [ELC] (1.53).
    #[test]
    fn the_weakest_and_the_loudest_count() {
        let of = |device: f64, volts| {
            let scale = Scale { volts, cut_off: false };
            let all = [
                talker(TalkerKind::Master, 0.2, 0.2, 30.0, false),
                talker(TalkerKind::Device, 0.2, device, 30.0, false),
            ];
            findings(&all, scale)
        };
        let level = |device, volts| value(&of(device, volts), "signal_level");
        assert_eq!([level(0.2, true), level(0.058, true), level(0.77, true)], ["enough", "low", "high"]);
        assert!(of(0.058, true).findings[0].words.contains("device 0 has 116 mV"), "{:?}", of(0.058, true));
        // Without volts it is said that it cannot be told.
        let unknown = of(0.058, false);
        assert_eq!(value(&unknown, "signal_level"), "-");
        assert!(unknown.remarks[0].contains("cannot be told") && unknown.remarks[0].contains("--full-scale"));
        // Nor where the recorder has cut the peaks off.
        let cut = findings(
            &[talker(TalkerKind::Device, 0.77, 0.77, 30.0, false)],
            Scale { volts: true, cut_off: true },
        );
        assert_eq!(value(&cut, "signal_level"), "-");
        assert!(cut.remarks[0].contains("driven beyond its full scale"), "{cut:?}");
        // Whoever is known goes before noise that was taken for talk.
        let noise =
            TalkerSignal { kind: TalkerKind::Unknown, ..talker(TalkerKind::Device, 0.02, 0.02, 30.0, false) };
        assert_eq!(
            value(
                &findings(&[talker(TalkerKind::Master, 0.2, 0.2, 30.0, false), noise], VOLTS),
                "signal_level"
            ),
            "enough"
        );
    }

    #[test]
    fn nothing_heard() {
        assert_eq!(value(&findings(&[], VOLTS), "signal_level"), "none");
        let unknown = findings(&[], Scale::default());
        assert!(unknown.findings.is_empty() && unknown.remarks[0].contains("no transmission"), "{unknown:?}");
    }

    /// 1 in 100 messages of 25 characters is damaged at 13.2 dB [BER].
    #[test]
    fn noise_talkers_and_answers() {
        let (master, device) = (
            talker(TalkerKind::Master, 0.2, 0.2, 30.0, false),
            talker(TalkerKind::Device, 0.2, 0.2, 30.0, false),
        );
        let quiet = findings(&[master.clone(), device], VOLTS);
        for (symptom, right) in [("signal_noise", "quiet"), ("two_at_once", "none"), ("wave_talk", "both")] {
            assert_eq!(value(&quiet, symptom), right);
        }
        let noisy = findings(&[master.clone(), talker(TalkerKind::Device, 0.2, 0.2, 9.0, true)], VOLTS);
        assert_eq!(
            (value(&noisy, "signal_noise"), value(&noisy, "two_at_once")),
            ("noisy".into(), "present".into())
        );
        assert_eq!(value(&findings(core::slice::from_ref(&master), VOLTS), "wave_talk"), "no_answer");
        // Whoever else talks may be the device.
        let unknown = TalkerSignal { kind: TalkerKind::Unknown, ..master.clone() };
        assert_eq!(value(&findings(&[master, unknown], VOLTS), "wave_talk"), "-");
    }
}
