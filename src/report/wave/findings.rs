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

impl Told {
    fn add(&mut self, symptom: &str, value: &str, words: String) {
        let (symptom, value) = (symptom.to_owned(), value.to_owned());
        self.findings.push(Finding { symptom, value, from: Origin::Recording, words });
    }
}

/// What else is known where a recording is judged.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// Unique address, ten hex digits, of the device that answered on the bus and is looked at [WV-20]; empty: none.
    pub device: String,
    /// The recorder heard nothing at all: no sample differs from another by more than two steps [WV-21].
    pub is_still: bool,
}

const NO_VOLTS: &str =
    "The level of the signal cannot be told from the waveform: no volts are known, give --full-scale";

const CUT_OFF: &str = "The level of the signal cannot be told from the waveform: the recorder was driven beyond what it takes. Turn its input down";

/// The symptoms of a recording's talkers. Without volts, and where the recorder was driven too far, no level is told.
pub fn findings(talkers: &[TalkerSignal], scale: Scale, beside: &Beside) -> Told {
    let mut out = Told::default();
    if talkers.is_empty() {
        nothing_heard(beside, &mut out);
        return out;
    }
    let Some(talkers) = of_this_loop(talkers, beside, &mut out) else { return out };
    // Somebody of whom no frame is whole may be noise.
    let known: Vec<&TalkerSignal> =
        talkers.iter().copied().filter(|t| t.kind != TalkerKind::Unknown).collect();
    let judged = if known.is_empty() { talkers.clone() } else { known };
    let all: Vec<Named<'_>> =
        judged.iter().flat_map(|t| lines(t, scale).into_iter().map(|l| (t.name.as_str(), l))).collect();
    levels(&all, scale, &mut out);
    if out.findings.iter().any(|f| f.symptom == "signal_level") {
        loud(&judged, scale, &mut out);
    }
    noise(&all, &mut out);
    // A second talker is one whoever it is.
    let collided = talkers
        .iter()
        .flat_map(|t| lines(t, scale))
        .find(|l| l.quantity == TWO_TALKERS && l.verdict == Verdict::Bad);
    match collided {
        Some(l) => out.add(
            "two_at_once",
            "present",
            format!("in the waveform two talk at the same time, in {}", l.value),
        ),
        None => {
            out.add("two_at_once", "none", "in the waveform nobody talks while another does".to_owned());
        }
    }
    let is_there = |kind| talkers.iter().any(|t| t.kind == kind);
    match (is_there(TalkerKind::Master), is_there(TalkerKind::Device), is_there(TalkerKind::Unknown)) {
        (true, true, _) => {
            out.add("wave_talk", "both", "in the waveform are requests and answers".to_owned());
        }
        (true, false, false) => {
            out.add("wave_talk", "no_answer", "in the waveform are requests, and no answer".to_owned());
        }
        _ => {}
    }
    out
}

/// A line and whose it is.
type Named<'a> = (&'a str, Line);

fn nothing_heard(beside: &Beside, out: &mut Told) {
    let what = match (beside.is_still, beside.device.as_str()) {
        (true, _) => {
            "The recorder heard nothing, not even noise, so the recording says nothing of the loop: look at its clip, its channel and its input, and record again.".to_owned()
        }
        (_, "") => {
            out.add("signal_level", "none", "in the waveform there is no transmission".to_owned());
            "In the waveform there is no transmission: was the device asked while it was recorded, and was the recorder at this loop?".to_owned()
        }
        (_, device) => format!(
            "In the waveform there is no transmission, and on the bus device {device} answered: recording and bus contradict each other, so the recording was not judged. Record while the device is asked, at its terminals."
        ),
    };
    out.remarks.push(what);
}

/// The unique address that a device is named by in a recording; `None`: by its polling address, or it is none.
fn unique(t: &TalkerSignal) -> Option<&str> {
    let address = t.name.strip_prefix("device ").filter(|_| t.kind == TalkerKind::Device)?;
    (address.len() == UNIQUE_DIGITS).then_some(address)
}

/// Hex digits of a unique address.
const UNIQUE_DIGITS: usize = 10;

/// The talkers that count; `None`: the recording contradicts the bus [WV-20].
fn of_this_loop<'a>(
    talkers: &'a [TalkerSignal],
    beside: &Beside,
    out: &mut Told,
) -> Option<Vec<&'a TalkerSignal>> {
    let device = beside.device.as_str();
    if device.is_empty() {
        return Some(talkers.iter().collect());
    }
    let is_it = |t: &TalkerSignal| unique(t).is_some_and(|u| u.eq_ignore_ascii_case(device));
    let is_another = |t: &TalkerSignal| unique(t).is_some() && !is_it(t);
    let others: Vec<&str> = talkers.iter().filter(|t| is_another(t)).map(|t| t.name.as_str()).collect();
    // By a polling address alone it may be this one, unless only another is there.
    let may_be = |t: &&TalkerSignal| match t.kind {
        TalkerKind::Device => is_it(t) || unique(t).is_none() && others.is_empty(),
        kind => kind == TalkerKind::Unknown,
    };
    let there = talkers.iter().any(|t| may_be(&t));
    let (what, next) = match (there, others.is_empty()) {
        (true, true) => return Some(talkers.iter().collect()),
        (true, false) => {
            let others = others.join(", ");
            out.remarks.push(format!(
                "In the waveform {others} can be heard, which is not the device {device} that is looked at, and does not count."
            ));
            return Some(talkers.iter().filter(|t| !is_another(t)).collect());
        }
        (false, false) => {
            (format!("In the waveform is {}", others.join(", ")), "was it recorded at another loop?")
        }
        (false, true) => (
            "In the waveform are requests and no answer".to_owned(),
            "was it recorded at another time, or at another loop?",
        ),
    };
    out.remarks.push(format!(
        "{what}, and on the bus device {device} answered: recording and bus contradict each other, so the recording was not judged. {}",
        crate::commission::person::capital(next)
    ));
    None
}

/// Millivolts peak to peak of the weakest and of the loudest.
fn levels(all: &[Named<'_>], scale: Scale, out: &mut Told) {
    let levels = || {
        let of = all.iter().filter(|(_, l)| [ONES, ZEROS].contains(&l.quantity));
        of.filter_map(|(name, l)| Some((*name, l, l.numbers[1]?, l.numbers[2]?)))
    };
    let least = levels().min_by(|a, b| a.2.total_cmp(&b.2));
    let most = levels().max_by(|a, b| a.3.total_cmp(&b.3));
    let (weak, loud) = match (scale, least.zip(most)) {
        (Scale { volts: false, .. }, _) => return out.remarks.push(format!("{NO_VOLTS}.")),
        (Scale { cut_off: true, .. }, _) => return out.remarks.push(format!("{CUT_OFF}.")),
        (_, Some(both)) => both,
        (_, None) => return,
    };
    let (name, line, least, _) = weak;
    let (loud, line_of_most, _, most) = loud;
    let is_beyond = |l: &Line| l.verdict == Verdict::Bad;
    let (low, high) = (line.limits[0].unwrap_or_default(), line.limits[1].unwrap_or_default());
    let is_low = is_beyond(line) && least < low;
    let is_high = is_beyond(line_of_most) && most > high;
    let low_words =
        format!("{name} has {least:.0} mV peak to peak in the waveform, {low:.0} mV are the least");
    let high_words =
        format!("{loud} has {most:.0} mV peak to peak in the waveform, {high:.0} mV are the most");
    match (is_low, is_high) {
        // A symptom has one value: the words tell the other [WV-19].
        (true, true) => out.add("signal_level", "low", format!("{low_words}, and {high_words}")),
        (true, false) => out.add("signal_level", "low", low_words),
        (false, true) => out.add("signal_level", "high", high_words),
        (false, false) => {
            let words = format!("in the waveform {name} is the weakest, with {least:.0} mV peak to peak");
            out.add("signal_level", "enough", words);
        }
    }
}

/// Who is above the most that receivers take [TG-33].
fn loud(judged: &[&TalkerSignal], scale: Scale, out: &mut Told) {
    let is_loud = |t: &TalkerSignal| {
        let mut levels = lines(t, scale).into_iter().filter(|l| [ONES, ZEROS].contains(&l.quantity));
        levels.any(|l| {
            let (most, limit) = (l.numbers[2].unwrap_or_default(), l.limits[1].unwrap_or(f64::INFINITY));
            l.verdict == Verdict::Bad && most > limit
        })
    };
    let loud: Vec<&&TalkerSignal> = judged.iter().filter(|t| is_loud(t)).collect();
    let is_there = |kind| loud.iter().any(|t| t.kind == kind);
    let names: Vec<&str> = loud.iter().map(|t| t.name.as_str()).collect();
    let value = match (is_there(TalkerKind::Master), is_there(TalkerKind::Device)) {
        (true, true) => "both",
        (true, false) => "master",
        (false, true) => "device",
        // Of whom no frame is whole nobody knows what it is.
        (false, false) if !loud.is_empty() => return,
        (false, false) => {
            return out.add("loud_talker", "none", "in the waveform nobody is too loud".to_owned());
        }
    };
    out.add("loud_talker", value, format!("in the waveform {} is too loud", names.join(" and ")));
}

/// The worst talker is named [WV-19].
fn noise(all: &[Named<'_>], out: &mut Told) {
    let of = |quantity: &'static str| all.iter().filter(move |(_, l)| l.quantity == quantity);
    let is_bad = |l: &&Named<'_>| l.1.verdict == Verdict::Bad;
    let number = |l: &Named<'_>, at: usize| l.1.numbers[at].unwrap_or_default();
    let worst = of(NOISE).filter(is_bad).min_by(|a, b| number(a, 1).total_cmp(&number(b, 1)));
    let shaky = of(JITTER).filter(is_bad).max_by(|a, b| number(a, 0).total_cmp(&number(b, 0)));
    match worst.or(shaky) {
        Some((name, l)) => {
            out.add("signal_noise", "noisy", format!("in the waveform, {name}: {} {}", l.quantity, l.value));
        }
        // Where two talk all the time nobody knows.
        None if of(NOISE).any(|(_, l)| l.verdict == Verdict::Good) => out.add(
            "signal_noise",
            "quiet",
            "in the waveform noise and jitter are within their limits".to_owned(),
        ),
        None => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wave::Burst;

    fn findings(talkers: &[TalkerSignal], scale: Scale) -> Told {
        super::findings(talkers, scale, &Beside::default())
    }

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
        // Who is so loud is told [TG-33].
        let loud = |master, device| {
            let of = [
                talker(TalkerKind::Master, master, master, 30.0, false),
                talker(TalkerKind::Device, device, device, 30.0, false),
            ];
            value(&findings(&of, VOLTS), "loud_talker")
        };
        assert_eq!([loud(0.2, 0.2), loud(0.77, 0.2), loud(0.2, 0.77)], ["none", "master", "device"]);
        assert_eq!([loud(0.77, 0.77), loud(0.058, 0.77)], ["both", "device"]);
        assert_eq!(value(&of(0.77, false), "loud_talker"), "-");
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
        assert!(cut.remarks[0].contains("driven beyond what it takes"), "{cut:?}");
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
        // That nobody talks needs no volts.
        for scale in [VOLTS, Scale::default()] {
            let told = findings(&[], scale);
            assert_eq!(value(&told, "signal_level"), "none");
            assert!(told.remarks[0].contains("no transmission"), "{told:?}");
        }
        // A recorder that is not connected says nothing of the loop.
        let still = super::findings(&[], VOLTS, &Beside { is_still: true, ..Beside::default() });
        assert!(still.findings.is_empty() && still.remarks[0].contains("clip"), "{still:?}");
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
        let noisy = findings(&[master.clone(), talker(TalkerKind::Device, 0.2, 0.2, 9.0, false)], VOLTS);
        assert_eq!(value(&noisy, "signal_noise"), "noisy");
        assert_eq!(value(&findings(core::slice::from_ref(&master), VOLTS), "wave_talk"), "no_answer");
        // Whoever else talks may be the device.
        let unknown = TalkerSignal { kind: TalkerKind::Unknown, ..master.clone() };
        assert_eq!(value(&findings(&[master, unknown], VOLTS), "wave_talk"), "-");
    }

    /// [WV-19]: what a second talker sends is no noise, and who talks alone is judged all the same.
    #[test]
    fn a_second_talker_is_no_noise() {
        let device = talker(TalkerKind::Device, 0.2, 0.2, 4.7, true);
        let told = findings(core::slice::from_ref(&device), VOLTS);
        assert_eq!(
            (value(&told, "signal_noise"), value(&told, "two_at_once")),
            ("-".into(), "present".into())
        );
        let master = talker(TalkerKind::Master, 0.2, 0.2, 30.0, false);
        assert_eq!(value(&findings(&[device, master], VOLTS), "signal_noise"), "quiet");
    }

    /// [WV-19]: the device at 9.9 dB is further from the limit than the master at 12.8.
    #[test]
    fn the_worst_talker_is_named() {
        let told = findings(
            &[
                talker(TalkerKind::Master, 0.9, 0.9, 12.8, false),
                talker(TalkerKind::Device, 0.05, 0.05, 9.9, false),
            ],
            VOLTS,
        );
        let words = |symptom: &str| {
            told.findings.iter().find(|f| f.symptom == symptom).map_or("-", |f| f.words.as_str())
        };
        assert!(words("signal_noise").contains("device 0: ") && words("signal_noise").contains("9.9 dB"));
        // 0.05 are 100 mV peak to peak, 0.9 are 1800.
        let level = words("signal_level");
        assert!(
            level.contains("device 0 has 100 mV") && level.contains("primary master has 1800 mV"),
            "{level}"
        );
        assert_eq!(value(&told, "signal_level"), "low");
    }

    /// [WV-20]: another device's level is none of this one's, and a recording without this one is of another loop.
    #[test]
    fn only_the_device_that_is_looked_at_counts() {
        let beside = Beside { device: "3d71003104".into(), ..Beside::default() };
        let named = |address: &str, level: f64| TalkerSignal {
            name: format!("device {address}"),
            ..talker(TalkerKind::Device, level, level, 30.0, false)
        };
        let master = talker(TalkerKind::Master, 0.2, 0.2, 30.0, false);
        let both = [master.clone(), named("3D71003104", 0.2), named("3D71003109", 0.045)];
        let told = super::findings(&both, VOLTS, &beside);
        assert_eq!(
            (value(&told, "signal_level"), value(&told, "wave_talk")),
            ("enough".into(), "both".into())
        );
        assert!(told.remarks[0].contains("3D71003109"), "{told:?}");
        // Without a device that was looked for each one counts.
        assert_eq!(value(&findings(&both, VOLTS), "signal_level"), "low");
        // A polling address may be this one's.
        let polled = super::findings(&[master.clone(), named("0", 0.045)], VOLTS, &beside);
        assert_eq!(value(&polled, "signal_level"), "low");
        for of_another in [vec![named("3D71003109", 0.045), named("0", 0.045)], vec![master], vec![]] {
            let told = super::findings(&of_another, VOLTS, &beside);
            assert!(told.findings.is_empty() && told.remarks[0].contains("contradict"), "{told:?}");
        }
    }
}
