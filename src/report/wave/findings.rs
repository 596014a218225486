//! What a recorded waveform says to fault finding: the report's own lines and limits, as symptoms [TG-12].

use super::{
    JITTER, LEAST_LEVEL_V, Line, MOST_LEVEL_V, NOISE, TWO_TALKERS, TalkerSignal, Verdict, Who, lines,
};
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

fn millivolts(v: f64) -> String {
    format!("{:.0} mV", 1e3 * v)
}

/// The symptoms of a recording's talkers. Amplitudes are volts where `volts` says so; without them no level is told.
pub fn findings(talkers: &[TalkerSignal], volts: bool) -> Told {
    let mut out = Told::default();
    let mut add = |symptom: &str, value: &str, words: String| {
        let (symptom, value) = (symptom.to_owned(), value.to_owned());
        out.findings.push(Finding { symptom, value, from: Origin::Bus, words });
    };
    if talkers.is_empty() {
        if volts {
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
    let known: Vec<&TalkerSignal> = talkers.iter().filter(|t| t.who != Who::Unknown).collect();
    let judged = if known.is_empty() { talkers.iter().collect() } else { known.clone() };
    let levels = judged.iter().filter_map(|t| Some((t.level_pp()?, t.name.as_str())));
    let least = levels.clone().min_by(|a, b| a.0.0.total_cmp(&b.0.0));
    let most = levels.max_by(|a, b| a.0.1.total_cmp(&b.0.1));
    match (volts, least.zip(most)) {
        (false, _) => out.remarks.push(format!("{NO_VOLTS}.")),
        (true, Some((((pp, _), name), _))) if pp < LEAST_LEVEL_V => {
            let words = format!(
                "{name} has {} peak to peak in the waveform, {} are the least",
                millivolts(pp),
                millivolts(LEAST_LEVEL_V)
            );
            add("signal_level", "low", words);
        }
        (true, Some((_, ((_, pp), name)))) if pp > MOST_LEVEL_V => {
            let words =
                format!("{name} has {pp:.2} V peak to peak in the waveform, {MOST_LEVEL_V} V are the most");
            add("signal_level", "high", words);
        }
        (true, Some((((pp, _), name), _))) => {
            let words =
                format!("in the waveform {name} is the weakest, with {} peak to peak", millivolts(pp));
            add("signal_level", "enough", words);
        }
        (true, None) => {}
    }
    let all: Vec<(&str, Line)> =
        judged.iter().flat_map(|t| lines(t, volts).into_iter().map(|l| (t.name.as_str(), l))).collect();
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
        .flat_map(|t| lines(t, volts))
        .find(|l| l.quantity == TWO_TALKERS && l.verdict == Verdict::Bad);
    match collided {
        Some(l) => add(
            "two_at_once",
            "present",
            format!("in the waveform two talk at the same time, in {}", l.value),
        ),
        None => add("two_at_once", "none", "in the waveform nobody talks while another does".to_owned()),
    }
    let is_there = |who| talkers.iter().any(|t| t.who == who);
    match (is_there(Who::Master), is_there(Who::Device), is_there(Who::Unknown)) {
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

    fn talker(who: Who, mark: f64, space: f64, eb_n0_db: f64, collided: bool) -> TalkerSignal {
        let mut t = TalkerSignal::of(who, if who == Who::Master { "primary master" } else { "device 0" });
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

    /// Amplitudes of 0.2 V are 400 mV peak to peak; 0.059 are 118, below 120 [TIER4]; 0.76 are 1.52 V, above 1.5 [ELC].
    #[test]
    fn the_weakest_and_the_loudest_count() {
        let of = |device: f64, volts| {
            let all =
                [talker(Who::Master, 0.2, 0.2, 30.0, false), talker(Who::Device, 0.2, device, 30.0, false)];
            findings(&all, volts)
        };
        let level = |device, volts| value(&of(device, volts), "signal_level");
        assert_eq!([level(0.2, true), level(0.059, true), level(0.76, true)], ["enough", "low", "high"]);
        assert!(of(0.059, true).findings[0].words.contains("device 0 has 118 mV"), "{:?}", of(0.059, true));
        // Without volts it is said that it cannot be told.
        let unknown = of(0.059, false);
        assert_eq!(value(&unknown, "signal_level"), "-");
        assert!(unknown.remarks[0].contains("cannot be told") && unknown.remarks[0].contains("--full-scale"));
        // Whoever is known goes before noise that was taken for talk.
        let noise = TalkerSignal { who: Who::Unknown, ..talker(Who::Device, 0.02, 0.02, 30.0, false) };
        assert_eq!(
            value(&findings(&[talker(Who::Master, 0.2, 0.2, 30.0, false), noise], true), "signal_level"),
            "enough"
        );
    }

    #[test]
    fn nothing_heard() {
        assert_eq!(value(&findings(&[], true), "signal_level"), "none");
        let unknown = findings(&[], false);
        assert!(unknown.findings.is_empty() && unknown.remarks[0].contains("no transmission"), "{unknown:?}");
    }

    /// 1 in 100 messages of 25 characters is damaged at 13.2 dB [BER].
    #[test]
    fn noise_talkers_and_answers() {
        let (master, device) =
            (talker(Who::Master, 0.2, 0.2, 30.0, false), talker(Who::Device, 0.2, 0.2, 30.0, false));
        let quiet = findings(&[master.clone(), device], true);
        for (symptom, right) in [("signal_noise", "quiet"), ("two_at_once", "none"), ("wave_talk", "both")] {
            assert_eq!(value(&quiet, symptom), right);
        }
        let noisy = findings(&[master.clone(), talker(Who::Device, 0.2, 0.2, 9.0, true)], true);
        assert_eq!(
            (value(&noisy, "signal_noise"), value(&noisy, "two_at_once")),
            ("noisy".into(), "present".into())
        );
        assert_eq!(value(&findings(core::slice::from_ref(&master), true), "wave_talk"), "no_answer");
        // Whoever else talks may be the device.
        let unknown = TalkerSignal { who: Who::Unknown, ..master.clone() };
        assert_eq!(value(&findings(&[master, unknown], true), "wave_talk"), "-");
    }
}
