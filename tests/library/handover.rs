//! What stands beside the tests in a report that is handed over [TV-60].

use looprig::bench::read_sheet;
use looprig::commission::settings::from_text;
use looprig::commission::travel::record::{Ended, Plan, Test};
use looprig::commission::travel::{Limits, Record};
use looprig::report::handover::{Beside, Overall, html, json, overall, text};
use looprig::report::wiring::WiringReport;
use looprig::wiring::judge;
use std::path::Path;

fn record() -> Record {
    Record { ended: Ended::Whole, ..Record::new(Test::Travel, Plan::default()) }
}

/// The verdict of a loop's sheet and its failing checks are told, and nobody signs for a loop that is not good as computed [TV-154]; this sheet's supply is too weak.
#[test]
fn the_loop_as_computed() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/sheets/short-of-volts.toml");
    let sheet = read_sheet(&path).expect("a sheet");
    let judged = judge(&sheet.circuit);
    let report = WiringReport { circuit: &sheet.circuit, judged: &judged, corner: None, samples: None };
    let beside = Beside { wiring: Some((&report, "short-of-volts.toml")), ..Beside::default() };
    let (r, limits) = (record(), Limits::own());
    let page = html(&[&r], &limits, &beside);
    assert!(page.contains("Not good, as computed") && page.contains("<td class=\"bad\">FAIL</td>"));
    assert!(text(&[&r], &limits, &beside, false).contains("short-of-volts.toml"));
    assert_eq!(json(&[&r], &limits, &beside)["wiring"]["verdict"]["good"], false);
    assert_eq!(overall(&[&r], &limits, &beside), Overall::Beyond);
    assert_eq!(
        overall(&[&r], &limits, &Beside::default()),
        Overall::NotJudged,
        "without the sheet there is nothing to judge"
    );
}

/// Settings stand on the page with their units, and by name in JSON; what a device calls itself means nothing to a browser.
#[test]
fn settings_of_the_device() {
    let file = "looprig_settings = 1\nrevision = 7\n[tag]\ntag = \"FV-3104\"\n[long_tag]\nlong_tag = \"<b>FV-3104</b>\"\n";
    let settings = from_text(file).expect("settings");
    let beside = Beside { settings: Some((&settings, "fv-3104.toml")), ..Beside::default() };
    let (r, limits) = (record(), Limits::own());
    let page = html(&[&r], &limits, &beside);
    assert!(
        page.contains("From: fv-3104.toml.")
            && page.contains("&lt;b&gt;FV-3104&lt;/b&gt;")
            && !page.contains("<b>FV")
    );
    let told = json(&[&r], &limits, &beside);
    assert_eq!(told["settings"]["parts"]["long_tag"]["values"]["long_tag"], "<b>FV-3104</b>");
    assert!(html(&[&r], &limits, &Beside::default()).contains("No settings were given."));
}
