//! Where each finding comes from, told by the finding itself [TG-32].

use super::small;
use crate::commission::answers::Answers;
use crate::commission::triage::*;
use std::path::Path;

fn from_of(triage: &Triage) -> Vec<(&str, Origin)> {
    triage.findings.iter().map(|f| (f.symptom.as_str(), f.from)).collect()
}

/// A record of the first format, as it was written: with a line and without.
fn first_format(line: &str) -> String {
    let finding = |symptom: &str, value: &str, from: &str| {
        format!(
            "{{\"symptom\": \"{symptom}\", \"value\": \"{value}\", \"from\": \"{from}\", \"words\": \"\"}}"
        )
    };
    let all = [
        finding("gauge", "low", "bus"),
        finding("opens", "short", "stroke"),
        finding("signal_level", "high", "bus"),
        finding("stem", "stands", "person"),
    ];
    let of_cause = format!("{{\"finding\": {}, \"bits\": 3.5}}", all[0]);
    format!(
        "{{\"format\": \"looprig triage 1\", \"started\": \"\", \"line\": \"{line}\", \"device\": null, \"whose\": \"x\", \"findings\": [{}],
        \"asked\": [], \"stopped\": \"\", \"verdict\": \"likely\", \"causes\": [{{\"cause\": \"supply\", \"words\": \"no air\", \"share\": 0.9,
        \"speaks_for\": [{of_cause}], \"speaks_against\": [], \"remedy\": \"x\", \"cautions\": [], \"workshop\": false}}],
        \"next\": null, \"remarks\": []}}",
        all.join(", ")
    )
}

/// A record of the first format is read, and each finding has what it meant; written again it is one of this format.
#[test]
fn a_record_of_the_first_format_is_read() {
    for (line, bus, stroke) in
        [("serial:/dev/ttyUSB0", Origin::Bus, Origin::Stroke), ("", Origin::Told, Origin::Told)]
    {
        let old = Triage::from_json(&first_format(line)).unwrap_or_else(|e| panic!("{e}"));
        let right = [
            ("gauge", bus),
            ("opens", stroke),
            ("signal_level", Origin::Recording),
            ("stem", Origin::Person),
        ];
        assert_eq!(from_of(&old), right);
        assert_eq!(old.causes[0].speaks_for[0].finding.from, bus);
        assert_eq!((old.format.as_str(), Triage::from_json(&old.to_json())), (FORMAT, Ok(old.clone())));
        // So is a file of answers that does not say where anything comes from.
        let text = old.answers();
        let text: String =
            text.lines().filter(|l| !l.contains("triage/from/")).map(|l| format!("{l}\n")).collect();
        let mut answers = Answers::from_text(&text, Path::new("a.toml")).unwrap_or_else(|e| panic!("{e}"));
        let kept = Kept::of(&small(), &mut answers).expect("a session").again(&small());
        assert_eq!(from_of(&kept)[..1], [("gauge", bus)]);
        assert!(from_of(&kept).contains(&("signal_level", Origin::Recording)), "{kept:?}");
    }
    let other = first_format("").replace("triage 1", "triage 9");
    assert!(Triage::from_json(&other).is_err_and(|e| e.contains("looprig triage 9")));
}

/// Each origin has a name of its own and words of its own, and comes back by it.
#[test]
fn origins_have_names_and_words() {
    for of in Origin::ALL {
        assert_eq!(Origin::from_key(of.key()), Some(of));
        assert_eq!(serde_json::to_string(&of).ok(), Some(format!("\"{}\"", of.key())));
        assert_eq!(Origin::ALL.iter().filter(|o| o.words() == of.words()).count(), 1);
    }
}
