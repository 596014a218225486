use super::*;
use crate::commission::travel::record::{Plan, Record, Test};
use crate::commission::worksheet::{Outcome, Values, worksheets};

fn good() -> Outcome {
    Outcome { verdict: "WITHIN LIMITS: all 6 judged figures".into(), is_good: true, faults: Vec::new() }
}

/// Every sheet says its cautions before its steps, has a box a step, lines to sign on, and fetches nothing.
#[test]
fn sheets_are_whole() {
    for sheet in worksheets() {
        let steps: usize = sheet.parts.iter().map(|p| p.steps.len()).sum();
        let page = html(sheet, &Values::default());
        assert_eq!(page.matches("&#9744;").count(), steps, "{}", sheet.id);
        assert!(
            !page.contains("http") && !page.contains("<script") && !page.contains("src="),
            "{}",
            sheet.id
        );
        let paper = markdown(sheet, &Values::default());
        assert_eq!(paper.matches("| [ ] |").count(), steps, "{}", sheet.id);
        for text in [&page, &paper] {
            let first_step = text.find(sheet.parts[0].title).expect("the first part");
            for caution in sheet.cautions {
                let at = text.find(&format!("{}.", caution.title())).expect("every caution");
                assert!(at < first_step, "{}: {} stands before the work", sheet.id, caution.title());
            }
            assert!(SIGNED.iter().all(|who| text.contains(who)), "{}", sheet.id);
            assert!(text.contains("local codes"), "{}", sheet.id);
        }
    }
}

/// What a device calls itself means nothing to a browser or a reader of Markdown.
#[test]
fn names_of_devices_are_text() {
    let mut record = Record::new(Test::Travel, Plan::default());
    record.device.long_tag = "<b>*x*|y".into();
    let mut values = Values::default();
    values.add_record(&record, "a.json", &good());
    let sheet = worksheets().next().expect("there are some");
    assert!(html(sheet, &values).contains("&lt;b&gt;*x*|y"));
    assert!(markdown(sheet, &values).contains("&lt;b&gt;\\*x\\*\\|y"));
}

/// [TV-80]: every sheet names its valve before anything else, with the device, the site and the files that it was filled in from.
#[test]
fn every_sheet_names_its_valve() {
    let mut record = Record::new(Test::Travel, Plan::default());
    record.device.tag = "FV-3104".into();
    record.device.long_tag = "Brackenmoor inlet valve".into();
    record.device.unique_address = "3D71003104".into();
    record.device.serial = "0x003104".into();
    record.site = "Brackenmoor".into();
    record.started = "2026-11-30 08:15:00 UTC".into();
    let mut values = Values::default();
    values.add_record(&record, "left.json", &good());
    for sheet in worksheets() {
        for text in [html(sheet, &values), markdown(sheet, &values)] {
            let caution = text.find("Before the work").expect("cautions");
            let head = &text[..caution];
            for word in [
                "FV-3104",
                "Brackenmoor inlet valve",
                "3D71003104",
                "0x003104",
                "site",
                "date of the work",
                "08:15:00",
            ] {
                assert!(head.contains(word), "{}: {word}", sheet.id);
            }
        }
        assert!(html(sheet, &values).contains("<title>FV-3104: "), "{}", sheet.id);
    }
}

/// [TV-152] [TV-153]: behind a record stands its verdict, a bad one is a warning under the head of every sheet, and one without occasion is named
/// where a sheet asks for as found and as left.
#[test]
fn a_bad_record_is_no_silent_source() {
    let record = Record::new(Test::Travel, Plan::default());
    let mut values = Values::default();
    let faults = vec!["The device says that it is broken.".to_owned()];
    values.add_record(
        &record,
        "mal.json",
        &Outcome { verdict: "NOT IN ORDER: 1 fault".into(), is_good: false, faults },
    );
    for sheet in worksheets() {
        for text in [html(sheet, &values), markdown(sheet, &values)] {
            let head = &text[..text.find("Before the work").expect("cautions")];
            assert!(head.contains("): NOT IN ORDER: 1 fault"), "{}: {head}", sheet.id);
            let warned = "came out as NOT IN ORDER: 1 fault. The device says that it is broken";
            assert!(head.contains(warned) && head.contains("Look:"), "{}: {head}", sheet.id);
            let asks = ["calibration", "output-stage"].contains(&sheet.id);
            assert_eq!(head.contains("fills neither"), asks, "{}: {head}", sheet.id);
        }
    }
}
