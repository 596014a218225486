//! Settings and records beside tests [TV-153] [TV-154].

use super::*;
use crate::commission::settings::Settings;

fn tested() -> Record {
    let mut r = record(Occasion::AsLeft, 0.4);
    (r.valve.tag, r.device.tag) = (String::new(), "FV-3104".into());
    r.device.unique_address = "3D71003104".into();
    r
}

/// Settings of a device of expanded type 0xFD71, of which an address has 14 bits: 0x3D71.
fn settings(tag: &str, device_id: u32) -> Settings {
    let text = format!(
        "looprig_settings = 1\nlooprig = \"0.1.0\"\nsaved = \"2026-11-30 19:22:17 UTC\"\nline = \"a line\"\nrevision = 7\n\
         [identity]\nexpanded_device_type = 0xFD71\ndevice_id = {device_id}\n\
         [tag]\ntag = \"{tag}\"\ndescriptor = \"\"\ndate = \"2026-01-01\"\n"
    );
    crate::commission::settings::from_text(&text).expect("these are settings")
}

/// [TV-154]: 0x3104 is the tested device, whatever its tag was then; another number is another device, with the same tag, too.
#[test]
fn settings_of_another_device() {
    let r = tested();
    let of = |tag: &str, id| {
        let settings = settings(tag, id);
        let beside = Beside { settings: Some((&settings, "set.toml")), ..Beside::default() };
        let told = text(&[&r], &limits(), &beside, false).split_whitespace().collect::<Vec<_>>().join(" ");
        (overall(&[&r], &limits(), &beside), told)
    };
    let (verdict, told) = of("FV-3104", 0x3104);
    assert!(verdict == Overall::Within && !told.contains("Settings of"), "{told}");
    for tag in ["FV-9999", "FV-3104"] {
        let (verdict, told) = of(tag, 0xAAAA);
        assert!(
            verdict == Overall::Beyond
                && told.contains("!! Settings of another device: the settings in set.toml are of")
                && told.contains("3D7100AAAA"),
            "{told}"
        );
    }
    let (verdict, told) = of("FV-0001", 0x3104);
    assert!(verdict == Overall::Within && told.contains("only if it was named anew"), "{told}");
}

/// [TV-153]: a worksheet has the verdict of the report, with what counts, and whose limits they are.
#[test]
fn the_outcome_of_a_record() {
    let good = outcome(&tested(), &limits());
    assert!(good.is_good && good.faults.is_empty(), "{good:?}");
    assert_eq!(good.verdict, "WITHIN LIMITS: all 3 judged figures (the site's, invented)");
    let mut bad = tested();
    bad.status.push(crate::commission::travel::record::StatusBit {
        mask: 0x80,
        first_s: 1.0,
        came_s: None,
        answers: 3,
    });
    // [TV-110]: that command 48 tells more is said once.
    bad.status.push(crate::commission::travel::record::StatusBit { mask: 0x10, ..bad.status[0] });
    let told = text(&[&bad], &limits(), &Beside::default(), false);
    assert_eq!(told.to_lowercase().matches("command 48").count(), 1, "{told}");
    let bad = outcome(&bad, &limits());
    assert!(!bad.is_good && bad.verdict.starts_with("NOT IN ORDER: 1 fault"), "{bad:?}");
    assert!(bad.faults[0].contains("device malfunction"), "{bad:?}");
}

/// What to do next is a sentence of its own, and no part of a headline.
#[test]
fn what_to_do_is_no_headline() {
    let what =
        "the device says that it is busy, to command 130\n  next: wait until it has done what it is at"
            .to_owned();
    let mut r = tested();
    r.ended = Ended::Failed { during: "a step".into(), what: what.clone() };
    let told = text(&[&r], &limits(), &Beside::default(), false);
    let words = told.split_whitespace().collect::<Vec<_>>().join(" ");
    let whole = "NOT WHOLE: it failed, during a step: the device says that it is busy, to command 130. Next: wait until it has done what it is at.";
    assert!(words.contains(whole) && !words.contains("next:"), "{words}");
    r.ended = Ended::NotDriven { during: "a step".into(), what };
    let told = text(&[&r], &limits(), &Beside::default(), false);
    let headline = told.lines().nth(1);
    assert_eq!(headline, Some("NOT DRIVEN AS ASKED: the device says that it is busy, to command 130"));
}
