//! A device check as it stands in a report [TV-73].

use super::OtherCheck;
use super::words::broken_off;
use crate::commission::device_check::{DeviceCheck, Found};
use crate::commission::travel::record::Ended;

impl From<&DeviceCheck> for OtherCheck {
    fn from(check: &DeviceCheck) -> OtherCheck {
        let mut sorted: Vec<_> = check.findings.iter().collect();
        // What hinders comes first: it stands beside the verdict.
        sorted.sort_by_key(|f| match f.found {
            Found::NotAsExpected => 0,
            Found::NotJudged => 1,
            Found::AsExpected => 2,
        });
        let word = |found| match found {
            Found::AsExpected => "as expected",
            Found::NotAsExpected => "NOT as expected",
            Found::NotJudged => "not judged",
        };
        let mut lines: Vec<String> =
            sorted.iter().map(|f| format!("{}: {}. {}", f.about, word(f.found), f.words)).collect();
        if let Some(why) = broken_off(&check.ended) {
            lines.insert(0, format!("NOT WHOLE: {why}."));
        }
        lines.extend(check.remarks.iter().cloned());
        let mut does_not_prove = Vec::new();
        for f in &check.findings {
            let what = f.not_proved.strip_prefix("Not proved:").unwrap_or(&f.not_proved).trim();
            let mut letters = what.chars();
            let what: String =
                letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect());
            if !what.is_empty() && !does_not_prove.contains(&what) {
                does_not_prove.push(what);
            }
        }
        let cut_off = "not known, for the check was cut off.";
        let left = match (&check.left, check.ended == Ended::Running) {
            (Some(left), false) => left.words.clone(),
            (Some(left), true) => format!("{cut_off} {}", left.words),
            (None, true) => cut_off.to_owned(),
            (None, false) => "the set point was never moved".to_owned(),
        };
        let bad = sorted.iter().filter(|f| f.found == Found::NotAsExpected);
        let bad = bad.map(|f| format!("{}: NOT as expected. {}", f.about, f.words)).collect();
        let d = &check.device;
        let tags = [&d.tag, &d.long_tag].map(|t| t.trim());
        let fact = |name: &str, words: &str| (name.to_owned(), words.to_owned());
        let device = [&d.manufacturer, &d.device_type].map(|t| t.trim()).map(|t| t.to_owned());
        let about = vec![
            fact("started", &check.started),
            fact("by", &check.who),
            fact("device's tag", tags[0]),
            fact("device's long tag", tags[1]),
            fact("device", &device.iter().filter(|t| !t.is_empty()).cloned().collect::<Vec<_>>().join(", ")),
            fact("unique address", &d.unique_address),
            fact("line", &check.line),
            fact("who moved the set point", &check.stimulus),
            fact("set point left", &left),
        ];
        OtherCheck {
            title: "Device check".to_owned(),
            is_good: match check.verdict() {
                Found::AsExpected => Some(true),
                Found::NotAsExpected => Some(false),
                Found::NotJudged => None,
            },
            ended_early: check.ended != Ended::Whole,
            lines,
            bad,
            does_not_prove,
            about: about.into_iter().filter(|(_, words)| !words.trim().is_empty()).collect(),
            tag: tags.into_iter().find(|t| !t.is_empty()).unwrap_or_default().to_owned(),
        }
    }
}
