//! Wires that spoil octets are charged to no device [CO-08].
#![cfg(feature = "bench-file")]

use super::rig::*;
use looprig::app::command::Revision;
use looprig::conform::{Results, Strength, Suite, Verdict};
use looprig::host::To;
use std::time::Duration;

/// A healthy positioner on wires with these faults, on virtual time.
fn on_bad_wires(seed: u64, faults: &str) -> Results {
    judged(seed, "", faults, Suite::new())
}

/// A positioner with such keys besides, on wires with these faults.
fn judged(seed: u64, keys: &str, faults: &str, suite: Suite) -> Results {
    let text = format!(
        "seed = {seed}\n[loop]\ncurrent_ma = 12.0\n[[device]]\ntag = \"FV-3104\"\n{keys}[[line]]\nat = \"pty:\"\n{faults}"
    );
    let plan = looprig::bench::check(&text, "noise.toml".as_ref()).unwrap_or_else(|e| panic!("{e}"));
    let mut line = looprig::bench::in_process(&plan);
    let to = To::parse("0").expect("a polling address");
    suite.writing(true).moving(true).run(&mut line, &to).unwrap_or_else(|e| panic!("seed {seed}: {e}"))
}

/// One octet each ten seconds or so, two answers of a hundred that lose an octet, and requests that do, of which nothing is heard.
const BAD_WIRES: [&str; 5] = [
    "[[wire_fault]]\nkind = \"noise\"\noctets = 1\nevery_s = 10.0\n",
    "[[wire_fault]]\nkind = \"lost_octets\"\noctets = 1\nshare = 0.02\nof = \"answers\"\n",
    "[[wire_fault]]\nkind = \"noise\"\noctets = 1\nevery_s = 10.0\n\
     [[wire_fault]]\nkind = \"lost_octets\"\noctets = 1\nshare = 0.02\nof = \"answers\"\n",
    "[[wire_fault]]\nkind = \"lost_octets\"\noctets = 1\nshare = 0.05\nof = \"requests\"\n",
    "[[wire_fault]]\nkind = \"lost_octets\"\noctets = 1\nshare = 0.15\nof = \"requests\"\n",
];

#[test]
fn bad_wires_fail_no_healthy_device() {
    let seeds = std::env::var("LOOPRIG_SEEDS").ok().and_then(|n| n.parse().ok()).unwrap_or(3);
    let mut wrong = Vec::new();
    let (mut passed, mut open) = (0, 0);
    for (i, faults) in BAD_WIRES.iter().enumerate() {
        for seed in 0..seeds {
            let results = on_bad_wires(seed, faults);
            // Of noise a run may hear none, and of spoilt requests nothing is heard.
            assert!(results.damaged > 0 || ![1, 2].contains(&i), "nothing was spoilt");
            let fails = results.cases.iter().filter(|c| matches!(c.verdict, Verdict::Fail { .. }));
            let counted = fails.filter(|c| c.case.strength != Strength::Advice);
            wrong.extend(counted.map(|c| format!("{i} {seed} {}: {:?}", c.case.id, c.verdict)));
            wrong.extend(results.not_put_back().map(|what| format!("{i} {seed}: {what}")));
            passed += results.counts().passed;
            open += results.counts().inconclusive;
            for c in &results.cases {
                if matches!(c.verdict, Verdict::Inconclusive(_) | Verdict::BenchError(_)) {
                    println!("{i} {seed} {}: {:?}", c.case.id, c.verdict);
                }
            }
        }
    }
    println!("{passed} passed, {open} inconclusive");
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong.join("\n"));
    // It is judged all the same.
    assert!(open * 10 < passed, "{passed} passed, {open} are open");
}

/// Noise hides no fault whose words have other numbers each time.
#[test]
fn bad_wires_hide_no_fault() {
    for fault in ["counter_advances_by_two", "counter_advances_by_reading"] {
        let keys = format!("protocol_faults = [\"{fault}\"]\n");
        // The second section is where the counter is judged; the first gives the noise time to be heard.
        let suite = Suite::new().only("link").only("status/counter");
        let results = judged(1, &keys, BAD_WIRES[0], suite);
        let counted = results
            .cases
            .iter()
            .filter(|c| c.case.id.starts_with("status/counter") && matches!(c.verdict, Verdict::Fail { .. }));
        assert!(counted.count() > 0, "{fault}: {results}");
    }
}

/// A device that does it itself fails, however it is spoken to: octets behind its answers each time, which no wires do.
#[test]
fn a_device_that_makes_stray_octets_fails() {
    let stray = |octets: Vec<u8>| raw(&[&octets, &[0x5A][..]].concat());
    let result =
        one(Bent::new(config(Revision::R7)).saying(stray), "link/framing/nothing-behind-the-check-byte");
    assert!(
        matches!(&result.verdict, Verdict::Fail { observed, .. } if observed.contains("5A")),
        "{result:?}"
    );
    assert!(result.times.failed >= 2, "{result:?}");
}

/// Octets that come unasked and make no frame may be anybody's: nobody is charged with them.
#[test]
fn stray_octets_in_silence_are_nobodys() {
    let device = Bent::new(config(Revision::R7)).chattering(Duration::from_millis(3100), &[0x55; 3]);
    let result = one(device, "link/timing/silent-unasked");
    assert!(matches!(&result.verdict, Verdict::Inconclusive(why) if why.contains("55 55 55")), "{result:?}");
}

/// What comes of a device whose octets are lost for a while is told as what it is; what fails again and again fails.
#[test]
fn a_fail_is_tried_again_where_octets_are_spoilt() {
    // Deaf to a part of the requests of command 3, the others being answered.
    let deaf_to = |which: fn(usize) -> bool| {
        let mut n = 0;
        Bent::new(config(Revision::R7)).hearing(move |octets| {
            let values: Vec<u8> = octets.iter().map(|o| o.value).collect();
            n += usize::from(values.get(11) == Some(&3));
            if values.get(11) == Some(&3) && which(n) { Vec::new() } else { values }
        })
    };
    let case = "link/preambles/as-many-as-it-wants";
    let once = one(deaf_to(|n| n == 1), case);
    assert!(
        matches!(&once.verdict, Verdict::Inconclusive(why) if why.contains("failed 1 of 3 times")),
        "{once:?}"
    );
    assert_eq!((once.times.failed, once.times.run), (1, 3));
    let twice = one(deaf_to(|n| n != 2), case);
    // Wires that lose requests, and nothing else that could be heard, do that as well.
    assert!(
        matches!(&twice.verdict, Verdict::Inconclusive(why) if why.contains("failed 2 of 3 times")),
        "{twice:?}"
    );
    assert_eq!((twice.times.failed, twice.times.run), (2, 3));
    let always = one(deaf_to(|_| true), case);
    assert!(matches!(&always.verdict, Verdict::Fail { .. }), "{always:?}");
    assert_eq!((always.times.failed, always.times.run), (3, 3));
}
