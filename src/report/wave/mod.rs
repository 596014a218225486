//! The signal report: what the wave of each talker is like, beside what it should be, and what to do.

mod eye;
mod findings;
mod lines;
mod signal;
mod spectrum;

pub use eye::{Eye, eyes_svg};
pub use findings::{Beside, Told, findings};
pub use lines::{Line, Scale, Verdict, lines};
pub use signal::{Came, Range, TalkerKind, TalkerSignal, is_clear};
pub use spectrum::Spectrum;

use super::table::Table;
use super::{Format, Options};
use crate::wave::{Noticed, Remark};
use core::fmt::Write;
use serde_json::json;

/// Whether something in it wants to be looked at, the recording itself too; advice does not count.
pub fn is_bad(talkers: &[TalkerSignal], scale: Scale) -> bool {
    scale.cut_off || talkers.iter().flat_map(|t| lines(t, scale)).any(|l| l.verdict == Verdict::Bad)
}

/// Writes a remark on a transmission.
pub fn write_remark(remark: &Remark, options: Options, out: &mut String) {
    match options.format {
        Format::Text => super::text::write_event(remark.at, &remark.to_string(), options, out),
        Format::Csv => super::csv::write_remark(remark, out),
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

/// What is told of a recording that is cut off [WV-22].
const CUT_OFF: [&str; 3] = [
    "the recording",
    "samples at one level",
    "it is cut off: turn the recorder's input down and record again",
];

/// Writes the report of all talkers.
pub fn write(talkers: &[TalkerSignal], scale: Scale, format: Format, out: &mut String) {
    let [about, quantity, remedy] = CUT_OFF;
    let bad = Verdict::Bad.word();
    match format {
        Format::Text => {
            if scale.cut_off {
                let told = format!("{bad} {about}: {remedy}. No level is judged.");
                super::text::write_wrapped(&told, 2, out);
                out.push('\n');
            }
            write_text(talkers, scale, out);
        }
        Format::Json => {
            if scale.cut_off {
                let object = json!({"about": about, "quantity": quantity, "verdict": bad, "remedy": remedy});
                let _ = writeln!(out, "{object}");
            }
            for (t, l) in each(talkers, scale) {
                let object = json!({
                    "about": t.name, "transmissions": t.bursts(), "characters": t.characters(),
                    "quantity": l.quantity, "value": l.value, "unit": l.unit,
                    "mean": l.numbers[0], "least": l.numbers[1], "most": l.numbers[2],
                    "verdict": l.verdict.word(), "at_least": l.limits[0], "at_most": l.limits[1],
                    "source": l.source, "remedy": l.remedy,
                });
                let _ = writeln!(out, "{object}");
            }
        }
        Format::Csv => {
            let names = [
                "about", "quantity", "mean", "least", "most", "unit", "verdict", "at_least", "at_most",
                "source", "remedy",
            ];
            let mut table = Table::new("", &names);
            if scale.cut_off {
                let cells = [about, quantity, "", "", "", "", bad, "", "", "(own)", remedy];
                table.row(cells.map(String::from));
            }
            let number = |n: Option<f64>| n.map_or(String::new(), |n| ((n * 1e4).round() / 1e4).to_string());
            for (t, l) in each(talkers, scale) {
                let [mean, least, most] = l.numbers.map(number);
                let [from, to] = l.limits.map(number);
                let (verdict, source) = (l.verdict.word().to_owned(), l.source.to_owned());
                let (unit, quantity) = (l.unit.to_owned(), l.quantity.to_owned());
                table.row([
                    t.name.clone(),
                    quantity,
                    mean,
                    least,
                    most,
                    unit,
                    verdict,
                    from,
                    to,
                    source,
                    l.remedy,
                ]);
            }
            table.write(format, out);
        }
    }
}

fn each(talkers: &[TalkerSignal], scale: Scale) -> impl Iterator<Item = (&TalkerSignal, Line)> {
    talkers.iter().flat_map(move |t| lines(t, scale).into_iter().map(move |l| (t, l)))
}

fn write_text(talkers: &[TalkerSignal], scale: Scale, out: &mut String) {
    let count = |n, of| super::text::plural(n as usize, of);
    let tables: Vec<Table> = talkers
        .iter()
        .map(|t| {
            let (bursts, characters) =
                (count(u64::from(t.bursts()), "transmission"), count(t.characters(), "character"));
            let title = format!("{}: {bursts}, {characters}", t.name);
            let mut table = Table::new(title, &["quantity", "value", "verdict", "limit"]);
            for l in lines(t, scale) {
                table.row([l.quantity, &l.value, l.verdict.word(), &l.limit].map(String::from));
            }
            table
        })
        .collect();
    Table::write_all(&tables, Format::Text, out);
    for (t, l) in each(talkers, scale).filter(|(_, l)| !l.remedy.is_empty()) {
        out.push('\n');
        super::text::write_wrapped(&format!("{}, {}: {}.", t.name, l.quantity, l.remedy), 2, out);
    }
    out.push('\n');
    super::text::write_wrapped(&legend(talkers, scale), 2, out);
}

/// Whose the limits are, each source once, and what a verdict allows for.
fn legend(talkers: &[TalkerSignal], scale: Scale) -> String {
    let mut sources: Vec<(&str, Vec<&str>)> = Vec::new();
    for l in talkers.first().map(|t| lines(t, scale)).unwrap_or_default() {
        match sources.iter_mut().find(|(source, _)| *source == l.source) {
            _ if l.source.is_empty() => {}
            Some((_, quantities)) => quantities.push(l.quantity),
            None => sources.push((l.source, vec![l.quantity])),
        }
    }
    let whose: Vec<String> =
        sources.iter().map(|(s, quantities)| format!("{} {s}", quantities.join(", "))).collect();
    format!(
        "Limits: {}. A name in brackets is that of a document in looprig's protocol-notes/sources.md, (own) is looprig's own. {}",
        whose.join("; "),
        lines::ERRORS
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::Instant;
    use crate::wave::Burst;

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

    const VOLTS: Scale = Scale { volts: true, cut_off: false };

    fn of(kind: TalkerKind, bursts: &[Burst]) -> TalkerSignal {
        let mut t = TalkerSignal::new("FV-3104", kind);
        bursts.iter().for_each(|b| t.add(b));
        t
    }

    /// [WV-24]: one of 20 that breaks off is too many; of 100 one may be damaged otherwise [WI-13], two may not.
    #[test]
    fn messages_that_break_off() {
        let came = |b: Burst, count: u32, came: Came| {
            let mut t = of(TalkerKind::Device, &[b]);
            (0..100 - count).for_each(|_| t.message(Came::Whole, &burst()));
            (0..count).for_each(|_| t.message(came, &b));
            t
        };
        let bad = |t: &TalkerSignal| {
            let all = lines(t, VOLTS).into_iter().filter(|l| l.verdict == Verdict::Bad);
            all.map(|l| (l.quantity, l.value)).collect::<Vec<_>>()
        };
        let broken = came(burst(), 1, Came::BrokenOff);
        assert_eq!(bad(&broken), [("messages that break off", "1 of 100 messages".to_owned())]);
        assert!(is_bad(core::slice::from_ref(&broken), VOLTS));
        let out = text(&broken);
        assert!(["terminal", "clip", "cable"].iter().all(|word| out.contains(word)), "{out}");
        assert_eq!(bad(&came(burst(), 1, Came::Damaged)), []);
        assert_eq!(
            bad(&came(burst(), 2, Came::Damaged)),
            [("damaged messages", "2 of 100 messages".to_owned())]
        );
        // Noise and second talkers are looked at first.
        let noisy = Burst { eb_n0_db: Some(10.0), ..burst() };
        let collided = Burst { collided: true, ..burst() };
        for b in [noisy, collided] {
            for how in [Came::BrokenOff, Came::Damaged] {
                let t = came(b, 5, how);
                let of_messages = lines(&t, VOLTS).into_iter().filter(|l| l.value == "5 of 100 messages");
                assert_eq!(of_messages.map(|l| l.verdict).collect::<Vec<_>>(), [Verdict::NoiseFirst]);
            }
        }
    }

    fn verdicts(b: Burst, scale: Scale) -> Vec<(&'static str, Verdict)> {
        lines(&of(TalkerKind::Master, &[b]), scale).into_iter().map(|l| (l.quantity, l.verdict)).collect()
    }

    fn bad(b: Burst) -> Vec<&'static str> {
        verdicts(b, VOLTS).into_iter().filter(|v| v.1 == Verdict::Bad).map(|v| v.0).collect()
    }

    fn text(t: &TalkerSignal) -> String {
        let mut out = String::new();
        write(core::slice::from_ref(t), VOLTS, Format::Text, &mut out);
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn every_limit_bites() {
        assert_eq!(bad(burst()), Vec::<&str>::new());
        // 120 mV peak to peak are 60 of amplitude [TIER4], 1.5 V are 0.75 [ELC]; 2 % beyond either may be the measuring.
        assert_eq!(bad(Burst { space: 0.0585, mark: 0.07, ..burst() }), ["level of zeros"]);
        assert!(bad(Burst { space: 0.059, mark: 0.07, ..burst() }).is_empty());
        // 2 % below 120 are 117.6: 117.5 and 117.8 have two verdicts, and are both 118 rounded; 118.4 has one digit too few to hide anything.
        for (amplitude, told) in
            [(0.05875, "117.5 mV pp LOOK"), (0.0589, "level of zeros 118 mV pp ok"), (0.0592, "118 mV pp ok")]
        {
            let out = text(&of(TalkerKind::Master, &[Burst { space: amplitude, mark: 0.07, ..burst() }]));
            assert!(out.contains(told), "{told}: {out}");
        }
        assert_eq!(bad(Burst { mark: 0.77, space: 0.7, ..burst() }), ["level of ones"]);
        // 20 log(0.1/0.048) = 6.38 dB, 20 log(0.1/0.0495) = 6.11 dB.
        assert_eq!(bad(Burst { mark: 0.3, space: 0.144, ..burst() }), ["twist, ones over zeros"]);
        assert!(bad(Burst { mark: 0.3, space: 0.1485, ..burst() }).is_empty());
        assert_eq!(bad(Burst { mark_hz: Some(1219.0), ..burst() }), ["tone of ones"]);
        assert_eq!(bad(Burst { bit_rate: Some(1181.0), ..burst() }), ["bit rate"]);
        // [WI-13]: 1 in 100 at 3.65e-5, which lies between 13 dB (5.6e-5) and 14 dB (6.2e-6).
        assert_eq!(bad(Burst { eb_n0_db: Some(13.0), ..burst() }), ["signal to noise, Eb/N0"]);
        assert!(bad(Burst { eb_n0_db: Some(14.0), ..burst() }).is_empty());
        assert_eq!(bad(Burst { jitter_bits: 0.13, ..burst() }), ["jitter of edges, rms"]);
        // 5 bits are 4.17 ms; one source alone says so, which is advice and no fault. A first character that came before the carrier was noticed is
        // carrier that came too late, not carrier that was there for long.
        let late = Burst { lost_start: Some(Instant::from_nanos(101_000_000)), ..burst() };
        for (b, name, word) in [
            (
                Burst { on: Instant::from_nanos(98_000_000), ..burst() },
                "carrier before the first character",
                "too early",
            ),
            (late, "carrier before the first character", "too late: the first character is lost in 1 of 1"),
            (
                Burst { off: Instant::from_nanos(210_000_000), ..burst() },
                "carrier after the last",
                "off too late",
            ),
        ] {
            assert!(bad(b).is_empty());
            let advice: Vec<_> = verdicts(b, VOLTS).into_iter().filter(|v| v.1 == Verdict::Advice).collect();
            assert_eq!(advice, [(name, Verdict::Advice)]);
            for kind in [TalkerKind::Master, TalkerKind::Device] {
                let t = of(kind, &[b]);
                let out = text(&t);
                assert!(!is_bad(&[t], VOLTS) && out.contains("advice") && out.contains(word), "{out}");
                // A device has neither.
                assert_eq!(
                    out.contains("request-to-send"),
                    kind == TalkerKind::Master && !word.contains("off"),
                    "{out}"
                );
            }
        }
        assert_eq!(bad(Burst { longest_gap_bits: 12.5, ..burst() }), ["longest pause between characters"]);
        assert_eq!(bad(Burst { parity_errors: 1, ..burst() }), ["wrong parity"]);
        assert_eq!(bad(Burst { framing_errors: 1, ..burst() }), ["missing stop bits"]);
        assert_eq!(bad(Burst { collided: true, ..burst() }), ["second talker at the same time"]);
        // Without volts, or where the recorder was overdriven, a level has no limit.
        let weak = Burst { mark: 0.001, ..burst() };
        let level = ("level of ones", Verdict::None);
        let cut_off = Scale { volts: true, cut_off: true };
        // The recording itself is what is to be looked at then [WV-22].
        let whole = [of(TalkerKind::Master, &[burst()])];
        assert!(is_bad(&whole, cut_off) && !is_bad(&whole, VOLTS));
        for format in [Format::Text, Format::Csv, Format::Json] {
            let told = |scale| {
                let mut out = String::new();
                write(&whole, scale, format, &mut out);
                out
            };
            assert!(told(cut_off).contains("input down") && !told(VOLTS).contains("input down"));
        }
        assert!(verdicts(weak, Scale::default()).contains(&level));
        assert!(verdicts(weak, Scale { volts: true, cut_off: true }).contains(&level));
    }

    /// One bad reply among twelve: what is printed is what is judged.
    #[test]
    fn the_value_of_noise_is_the_one_that_is_judged() {
        let mut all = vec![Burst { eb_n0_db: Some(30.0), ..burst() }; 11];
        assert!(text(&of(TalkerKind::Device, &all)).contains("above 20 dB ok 13.2 dB or more"));
        all.push(Burst { eb_n0_db: Some(12.3), ..burst() });
        let out = text(&of(TalkerKind::Device, &all));
        assert!(out.contains("worst 12.3 dB; 1 of 12 below LOOK 13.2 dB or more"), "{out}");
        // 0.9 dB less noise are 90 % of it; the order is that of the wiring sheet.
        let order = crate::wiring::bring_noise_down("90 % of what it is");
        assert!(order.contains("screens") && out.contains(&order), "{out}");
    }

    /// [WV-17]: what noise or a second talker does to clock, carrier, pauses and parity is not laid at the talker's door.
    #[test]
    fn noise_and_collisions_come_first() {
        let off = Burst {
            mark_hz: Some(1250.0),
            bit_rate: Some(1150.0),
            on: Instant::from_nanos(95_000_000),
            longest_gap_bits: 15.0,
            parity_errors: 3,
            framing_errors: 1,
            jitter_bits: 0.2,
            ..burst()
        };
        for b in [Burst { eb_n0_db: Some(12.0), ..off }, Burst { collided: true, ..off }] {
            let found = verdicts(b, VOLTS);
            let bad: Vec<_> = found.iter().filter(|v| v.1 == Verdict::Bad).map(|v| v.0).collect();
            let cause = if b.collided { "second talker at the same time" } else { "signal to noise, Eb/N0" };
            assert_eq!(bad, [cause]);
            assert_eq!(found.iter().filter(|v| v.1 == Verdict::NoiseFirst).count(), 7, "{found:?}");
            // [WV-19]: what a second talker sends is no noise, and no remedy is given against any.
            let ratio = found.iter().find(|v| v.0 == "signal to noise, Eb/N0").unwrap().1;
            assert_eq!(ratio, if b.collided { Verdict::None } else { Verdict::Bad });
            let out = text(&of(TalkerKind::Master, &[b]));
            assert_eq!(out.contains("find where the noise"), !b.collided, "{out}");
            // Beside a good one that says what the talker is like.
            let lines = lines(&of(TalkerKind::Device, &[b, burst()]), VOLTS);
            let tone = lines.iter().find(|l| l.quantity == "tone of ones").unwrap();
            assert_eq!((tone.value.as_str(), tone.verdict), ("1201 Hz", Verdict::Good));
        }
        // Where most are collided, one more may be, though it was not seen: neither noise nor its carrier is judged [WV-19].
        let unseen = Burst { eb_n0_db: Some(4.7), ..off };
        let collided = Burst { collided: true, ..off };
        let early = Burst { on: Instant::from_nanos(95_000_000), ..burst() };
        let out = text(&of(TalkerKind::Unknown, &[collided, collided, collided, unseen, early]));
        for remedy in ["find where the noise", "keyed too early", "LOOK 13.2 dB"] {
            assert!(!out.contains(remedy), "{remedy}: {out}");
        }
        assert!(out.contains("a second talker not judged 13.2 dB or more"), "{out}");
        // One that is collided says nothing of the noise in the others.
        let out =
            text(&of(TalkerKind::Device, &[burst(), burst(), Burst { eb_n0_db: Some(4.7), ..collided }]));
        assert!(out.contains("worst 18.0 dB ok"), "{out}");
        // Pauses of whole characters, give or take a third of a bit, are characters that are missing.
        for (bits, missing) in [(11.0, true), (22.2, true), (10.9, true), (13.0, false), (16.5, false)] {
            let out = text(&of(TalkerKind::Device, &[Burst { longest_gap_bits: bits, ..burst() }]));
            assert_eq!(out.contains("whole characters are missing"), missing, "{bits}: {out}");
            assert!(!out.contains("faster computer"), "{out}");
        }
        assert!(
            text(&of(TalkerKind::Master, &[Burst { longest_gap_bits: 13.0, ..burst() }]))
                .contains("faster computer")
        );
    }

    /// As many cells as the header of the table has.
    #[test]
    fn remarks_in_a_table() {
        let (at, until) = (Instant::from_nanos(168_000_000), Instant::from_nanos(300_000_000));
        for (what, row) in [
            (
                Noticed::TwoTalkers,
                "0.168000,signal,,,,two talk at once until 0.300000 s: do not trust it,,,until,0.300000,s",
            ),
            (
                Noticed::Weak { peak_to_peak_v: 0.098 },
                "0.168000,signal,,,,\"weak, 98 mV peak to peak: a receiver may need 120\",,,level,98.0,mV pp",
            ),
        ] {
            let options = Options { format: Format::Csv, verbosity: 0, times: true, colour: false };
            let mut out = String::new();
            write_remark(&Remark { at, until, what }, options, &mut out);
            assert_eq!(out.trim_end(), row);
            let cells = row.replace("weak, ", "weak ").split(',').count();
            assert_eq!(cells, super::super::csv::HEADER.split(',').count());
        }
    }

    /// [WV-25]: a second talker's level is none of this one's.
    #[test]
    fn levels_beside_a_second_talker() {
        let weak = Burst { mark: 0.05, space: 0.01, collided: true, ..burst() };
        let of = |bursts: &[Burst]| lines(&of(TalkerKind::Master, bursts), VOLTS);
        for l in &of(&[burst(), weak, burst()])[..3] {
            assert_eq!(l.verdict, Verdict::Good, "{l:?}");
        }
        // 100 and 80 mV of amplitude are 200 and 160 mV peak to peak.
        let values: Vec<String> =
            of(&[burst(), weak, burst()]).into_iter().map(|l| l.value).take(2).collect();
        assert_eq!(values, ["200 mV pp", "160 mV pp"]);
        for l in &of(&[burst(), weak, weak])[..3] {
            assert_eq!(
                (l.verdict, l.value.as_str(), l.numbers),
                (Verdict::None, "a second talker", [None; 3])
            );
        }
    }

    /// [WV-26]: one of six is noise's doing, two of seven are a habit. Carrier began 10 bits before, and lasted 10 bits.
    #[test]
    fn carrier_is_a_habit() {
        let ms = |n: f64| Instant::from_nanos((n * 1e6) as u64);
        let off = Burst { on: ms(104.0 - 10.0 / 1.2), off: ms(204.0 + 10.0 / 1.2), ..burst() };
        let late = Burst { lost_start: Some(ms(101.0)), ..burst() };
        for (b, rows) in [(off, 2), (late, 1)] {
            let mut all = vec![burst(); 5];
            all.push(b);
            let of = |all: &[Burst]| lines(&of(TalkerKind::Master, all), VOLTS);
            let seldom = of(&all);
            assert!(seldom.iter().all(|l| l.verdict == Verdict::Good), "{seldom:?}");
            assert_eq!(seldom.iter().filter(|l| l.value.ends_with("; 1 of 6 off")).count(), rows);
            all.push(b);
            let often = of(&all);
            assert_eq!(often.iter().filter(|l| l.verdict == Verdict::Advice).count(), rows, "{often:?}");
            assert!(often.iter().all(|l| !l.value.ends_with("off")));
        }
    }

    /// [WV-27]: 20 V of amplitude are 40 V peak to peak.
    #[test]
    fn a_scale_that_cannot_be() {
        let out = text(&of(TalkerKind::Master, &[Burst { mark: 20.0, space: 20.0, ..burst() }]));
        assert!(out.contains("the scale is wrong") && !out.contains("so loudly"), "{out}");
        let out = text(&of(TalkerKind::Master, &[Burst { mark: 10.0, space: 10.0, ..burst() }]));
        assert!(!out.contains("the scale is wrong") && out.contains("so loudly"), "{out}");
    }

    #[test]
    fn in_every_format() {
        let t = of(TalkerKind::Device, &[Burst { parity_errors: 2, ..burst() }]);
        let written = |format| {
            let mut out = String::new();
            write(core::slice::from_ref(&t), VOLTS, format, &mut out);
            out
        };
        let plain = text(&t);
        // 1188 to 1212 are 1 % either way of 1200.
        for part in [
            "LOOK",
            "200 mV pp",
            "120 to 1500 mV pp",
            "1188 to 1212 Hz",
            "4 to 5 bits",
            "[TIER4] [ELC]",
            "sources.md",
        ] {
            assert!(plain.contains(part), "{part}: {plain}");
        }
        assert!(written(Format::Text).lines().all(|l| l.chars().count() <= 100), "{}", written(Format::Text));
        let csv = written(Format::Csv);
        assert!(csv.contains("wrong parity,2,,,,LOOK,,0,(own),") && !csv.contains("'-"), "{csv}");
        assert!(csv.contains("level of ones,200,200,200,mV pp,ok,120,1500,[TIER4] [ELC],"), "{csv}");
        let json: Vec<serde_json::Value> =
            written(Format::Json).lines().map(|l| serde_json::from_str(l).unwrap()).collect();
        let tone = json.iter().find(|v| v["quantity"] == "tone of ones").unwrap();
        assert_eq!(
            (
                tone["mean"].as_f64(),
                tone["at_least"].as_f64(),
                tone["at_most"].as_f64(),
                tone["unit"].as_str()
            ),
            (Some(1201.0), Some(1188.0), Some(1212.0), Some("Hz"))
        );
    }
}
