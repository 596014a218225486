//! `worksheet`: filled in from a device and from settings, as Markdown and as a page; what is refused.

use crate::process::{run, scratch};
use std::fs;

fn bench() -> String {
    format!("mock:{}/fixtures/benches/brackenmoor.toml", env!("CARGO_MANIFEST_DIR"))
}

/// The tag and descriptor of the bench file stand on the sheet, with where they come from; cautions stand before the steps [TV-50].
#[test]
fn a_device_fills_in_its_names() {
    let dir = scratch("worksheet-device");
    let ended = run(&dir, &["worksheet", "first-start", &bench()]);
    assert_eq!((ended.code, ended.err.as_str()), (0, ""));
    let caution = ended.out.find("**Moving parts.**").expect("a caution");
    let tag = ended.out.find("tag: **FV-3104** (read from the device)").expect("the tag");
    assert!(caution < tag && ended.out.contains("[ ] |"), "{}", ended.out);
    let saved = run(&dir, &["settings", "save", &bench(), "fv.toml"]);
    assert_eq!(saved.code, 0, "{}", saved.err);
    let page = run(&dir, &["worksheet", "first-start", "--settings", "fv.toml", "--page", "--out", "a.html"]);
    assert_eq!((page.code, page.err.as_str()), (0, ""));
    let html = fs::read_to_string(dir.join("a.html")).expect("it was written");
    assert!(html.contains("FV-3104 <span class=\"from\">fv.toml</span>"), "{html}");
    // What is there already is not overwritten.
    let again = run(&dir, &["worksheet", "air", "--out", "a.html"]);
    assert_eq!(again.code, 2, "{}", again.out);
    assert!(
        again.err.contains("--force") && fs::read_to_string(dir.join("a.html")).is_ok_and(|now| now == html)
    );
}

#[test]
fn what_there_is_not_is_named() {
    let dir = scratch("worksheet-refused");
    let unknown = run(&dir, &["worksheet", "polish"]);
    assert_eq!(unknown.code, 2);
    assert!(unknown.err.contains("\"polish\"") && unknown.err.contains("output-stage"), "{}", unknown.err);
    fs::write(dir.join("r.json"), "{}").expect("a scratch file");
    let bad = run(&dir, &["worksheet", "air", "--record", "r.json"]);
    assert_eq!((bad.code, bad.out.as_str()), (2, ""));
    assert!(bad.err.contains("reading the record r.json"), "{}", bad.err);
    assert_eq!(run(&dir, &["worksheet"]).code, 2);
    let list = run(&dir, &["worksheet", "--list"]);
    assert!(list.code == 0 && list.out.contains("mounting-part-turn"), "{}", list.out);
}
