//! A device made of `fixtures/described` alone answers as put together by hand there.

use looprig::bench::{self, BenchPlan};
use looprig::exchange::Exchange;
use looprig::exchange::json::{frame_from_json_by, write_exchange};
use looprig::frame::PollingAddress;
use looprig::host::Host;
use looprig::link::MasterConfig;
use serde::Deserialize;
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    exchange: Vec<Golden>,
}

/// One exchange by hand: the words of `ask`, and what passes on the wire.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Golden {
    command: u8,
    #[serde(default)]
    ask: Vec<String>,
    #[serde(default)]
    request: String,
    #[serde(default)]
    code: u8,
    reply: String,
    response: Option<String>,
    #[serde(default)]
    values: BTreeMap<String, Json>,
    #[serde(default)]
    texts: BTreeMap<String, String>,
}

pub fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/described").join(name)
}

pub fn plan() -> BenchPlan {
    bench::read(&fixture("bench.toml")).unwrap_or_else(|e| panic!("{e}"))
}

pub fn hex(text: &str) -> Vec<u8> {
    looprig::app::command::value::hex(text).unwrap_or_else(|| panic!("{text:?} is no hex"))
}

/// What differs from what was put together by hand.
fn faults(g: &Golden, e: &Exchange) -> Vec<String> {
    let mut out = Vec::new();
    let mut want = |what: &str, got: String, wanted: String| {
        if got != wanted {
            out.push(format!("command {}: {what} is {got}, wanted {wanted}", g.command));
        }
    };
    let data = |f: Option<&looprig::frame::Frame>| f.map(|f| f.data().to_vec()).unwrap_or_default();
    want("request", format!("{:02X?}", data(e.transaction.request())), format!("{:02X?}", hex(&g.request)));
    let reply = e.transaction.reply_frame();
    want("reply", format!("{:02X?}", data(reply)), format!("{:02X?}", hex(&g.reply)));
    want(
        "code",
        format!("{:?}", reply.and_then(|f| f.status()).map(|s| s[0])),
        format!("{:?}", Some(g.code)),
    );
    let number = |v: &Json| v.as_f64().map_or_else(|| v.to_string(), |x| x.to_string());
    let values: BTreeMap<String, String> = e
        .fields_of_reply()
        .map(|f| (f.found.name().to_string(), number(&f.found.value(f.data).to_json())))
        .collect();
    let wanted: BTreeMap<String, String> = g.values.iter().map(|(n, v)| (n.clone(), number(v))).collect();
    want("values", format!("{values:?}"), format!("{wanted:?}"));
    for (name, wanted) in &g.texts {
        let text = e.fields_of_reply().find(|f| f.found.name().to_string() == *name).map(|f| f.text());
        want(name, format!("{text:?}"), format!("{:?}", Some(wanted)));
    }
    if let Some(wanted) = &g.response {
        want("response", e.response_texts().join(", "), wanted.clone());
    }
    out
}

#[test]
fn a_device_made_of_files() {
    let plan = plan();
    let catalogue = plan.catalogue.clone();
    let mut host =
        Host::new(bench::in_process(&plan), MasterConfig::default()).with_catalogue(catalogue.clone());
    let (_, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    let device = device.expect("it answers");
    let text = std::fs::read_to_string(fixture("exchanges.toml")).expect("the fixture");
    let file: File = toml::from_str(&text).unwrap_or_else(|e| panic!("{e}"));
    let mut wrong = Vec::new();
    for g in &file.exchange {
        let values: Vec<(String, String)> = g
            .ask
            .iter()
            .filter_map(|w| w.split_once('='))
            .map(|(n, v)| (n.to_owned(), v.to_owned()))
            .collect();
        let e =
            host.ask(&device, g.command, &values).unwrap_or_else(|e| panic!("command {}: {e}", g.command));
        wrong.extend(faults(g, &e));
        // What is written as JSON makes the same frames again.
        let mut json = String::new();
        write_exchange(&e, &mut json);
        let json: Json = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}: {json}"));
        for (side, frame) in [("request", e.transaction.request()), ("reply", e.transaction.reply_frame())] {
            let again = frame_from_json_by(&json[side], device.revision, &catalogue);
            assert_eq!(again.as_ref().ok(), frame, "{side} of {}", g.command);
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    assert!(file.exchange.len() > 15, "the exchanges were not read");
}

/// The check sees a wrong octet, a wrong value, a wrong word.
#[test]
fn the_check_bites() {
    let plan = plan();
    let mut host =
        Host::new(bench::in_process(&plan), MasterConfig::default()).with_catalogue(plan.catalogue.clone());
    let (_, device) = host.poll(PollingAddress::default(), None).expect("the line works");
    let e = host.ask(&device.expect("it answers"), 130, &[("duration".into(), "8".into())]).expect("asked");
    let golden = |request: &str, reply: &str, value: u8, text: &str| Golden {
        command: 130,
        ask: Vec::new(),
        request: request.into(),
        code: 0,
        reply: reply.into(),
        response: None,
        values: [("duration".to_owned(), value.into())].into(),
        texts: [("duration".to_owned(), text.to_owned())].into(),
    };
    assert_eq!(faults(&golden("08", "08", 8, "8 s"), &e), Vec::<String>::new());
    for wrong in [
        golden("09", "08", 8, "8 s"),
        golden("08", "", 8, "8 s"),
        golden("08", "08", 9, "8 s"),
        golden("08", "08", 8, "8 min"),
    ] {
        assert_eq!(faults(&wrong, &e).len(), 1);
    }
}
