use super::*;
use crate::commission::travel::record::{Plan, Record, Test};
use crate::commission::worksheet::{Values, worksheets};

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
    values.add_record(&record, "a.json");
    let sheet = worksheets().next().expect("there are some");
    assert!(html(sheet, &values).contains("&lt;b&gt;*x*|y"));
    assert!(markdown(sheet, &values).contains("&lt;b&gt;\\*x\\*\\|y"));
}
