//! The report for programs.

use super::words::{clean, does_not_prove, headline};
use super::{Beside, CAUTIONS, Handover, One};
use crate::commission::settings::Content;
use crate::commission::travel::figures::View;
use crate::commission::travel::limits::{Judged, Limited, Limits, Verdict};
use crate::commission::travel::record::Record;
use serde_json::{Value, json};

/// Parts of a record that are long and stand in its own file.
const LONG: [&str; 6] = ["points", "creeps", "steps", "strokes", "fails", "ends"];

/// The report as one object, first key `looprig_handover`, the number of its format: verdict, every figure of every test with limit and
/// verdict, findings, what is known of valve, device and equipment. Numbers are those of
/// [`figures`](crate::commission::travel::figures::figures), with every digit. Readings stand in the records.
pub fn json(records: &[&Record], limits: &Limits, beside: &Beside) -> Value {
    let h = Handover::new(records, limits, beside);
    let (overall, words, more) = headline(&h);
    json!({
        "looprig_handover": 1, "looprig": env!("CARGO_PKG_VERSION"), "made": beside.made, "tag": h.tag(),
        "verdict": overall.id(), "words": words, "more": more,
        "limits": limits_value(limits),
        "tests": h.tests.iter().map(test).collect::<Vec<_>>(),
        "findings": h.between.iter().map(finding).collect::<Vec<_>>(),
        "wiring": beside.wiring.map(|(report, sheet)| {
            json!({ "sheet": sheet, "verdict": crate::report::wiring::json(report) })
        }),
        "settings": beside.settings.map(|(s, from)| json!({ "from": from, "parts": settings(s) })),
        "checks": beside.checks.iter().map(|c| {
            json!({ "title": c.title, "good": c.is_good, "lines": c.lines, "does_not_prove": c.does_not_prove, "ended_early": c.ended_early })
        }).collect::<Vec<_>>(),
        "cautions": CAUTIONS, "does_not_prove": does_not_prove(&h),
    })
}

fn finding(f: &super::Finding) -> Value {
    json!({ "counts": f.counts, "words": f.words })
}

fn test(one: &One) -> Value {
    let mut record = serde_json::to_value(one.record).unwrap_or(Value::Null);
    if let Some(map) = record.as_object_mut() {
        LONG.iter().for_each(|key| drop(map.remove(*key)));
    }
    json!({
        "decides": one.decides,
        "figures": one.judged.iter().map(figure).collect::<Vec<_>>(),
        "findings": one.findings.iter().map(finding).collect::<Vec<_>>(),
        "fails": super::fails::values(one),
        "record": record,
    })
}

fn figure(j: &Judged) -> Value {
    let f = &j.figure;
    let (verdict, why) = match &j.verdict {
        Verdict::Within => ("within", None),
        Verdict::Beyond => ("beyond", None),
        Verdict::NotJudged(why) => ("not_judged", Some(why)),
    };
    json!({
        "figure": f.definition.id(), "words": f.definition.words(), "note": f.definition.note(), "about": f.about,
        "view": f.view, "value": f.value, "uncertainty": f.uncertainty, "unit": super::words::unit(f),
        "at_percent": f.at_percent, "limit": j.limit, "verdict": verdict, "why": why, "cause": f.cause, "remark": f.remark,
    })
}

fn limits_value(limits: &Limits) -> Value {
    let of = |view| -> Value {
        let all =
            Limited::ALL.iter().filter_map(|l| Some((l.key().to_owned(), json!(limits.limit(*l, view)?))));
        Value::Object(all.collect())
    };
    json!({ "whose": limits.whose, "sensor": of(View::Sensor), "external": of(View::External) })
}

fn settings(s: &crate::commission::settings::Settings) -> Value {
    let sections = s.sections.iter().map(|section| {
        let entries = section.entries().iter();
        let values: serde_json::Map<String, Value> =
            entries.map(|e| (e.name.clone(), json!(clean(&section.text(e, s.revision))))).collect();
        let said = match section.content {
            Content::Values(_) => "values",
            Content::CutShort(_) => "cut_short",
            Content::Refused(_) => "refused",
            Content::Unread(_) => "unread",
        };
        (section.heading(), json!({ "said": said, "values": values }))
    });
    Value::Object(sections.collect())
}
