use super::*;
use crate::commission::travel::figures::{View, figures};
use crate::commission::travel::record::{
    Direction, External, Fail, FailsTo, Identity, Instrument, Left, Link, Log, Loss, Measure, Plan, Point,
    Sample, Step, Test, Watch,
};

mod asked;
mod beside;
mod verdicts;

/// A test of FV-3104, invented: travel is the set point, half of `gap` below it on the way up and above it on the way down, so that
/// hysteresis is `gap` and the errors are half of it either way. One cycle; one step of 20 % as a ramp of 4 s.
fn record(occasion: Occasion, gap: f64) -> Record {
    let levels = [0.0, 25.0, 50.0, 75.0, 100.0];
    let plan = Plan {
        levels_percent: levels.to_vec(),
        cycles: 1,
        steps_percent: vec![(40.0, 60.0)],
        step_watch_s: 12.0,
        ..Plan::default()
    };
    let mut r = Record::new(Test::Travel, plan);
    r.occasion = occasion;
    r.valve.tag = "FV-3104".into();
    r.sensor.resolution_percent = Some(0.0);
    let up = levels.iter().map(|l| (Direction::Up, *l));
    for (n, (direction, level)) in up.chain(levels.iter().rev().map(|l| (Direction::Down, *l))).enumerate() {
        let at = 10.0 * n as f64;
        let travel = level + if direction == Direction::Up { -gap / 2.0 } else { gap / 2.0 };
        r.points.push(Point {
            cycle: 1,
            direction,
            asked_percent: level,
            asked_ma: Some(4.0 + 0.16 * level),
            wanted_percent: level,
            asked_at_s: at,
            dwell_s: 5.0,
            settled: true,
            readings: vec![Sample::new(at + 4.0, travel), Sample::new(at + 5.0, travel)],
            read_ma: Some(4.0 + 0.16 * level),
            set_point_percent: Some(level),
            angle_deg: None,
            external: None,
            control_system_percent: None,
        });
    }
    let travel = |t: f64| 40.0 + 20.0 * ((t - 203.0) / 4.0).clamp(0.0, 1.0);
    let samples = (0..60).map(|n| 200.0 + 0.25 * f64::from(n)).map(|t| Sample::new(t, travel(t))).collect();
    r.steps.push(Step { from_percent: 40.0, to_percent: 60.0, watch: watch(203.0, samples) });
    r.link = Link { requests: 300, answered: 300, retries: 0, damaged: 0, slowest_s: Some(0.25) };
    r.log = Some(Log { name: "fv-3104.log".into(), hash: "crc32:5d70c3a1".into() });
    r.ended = Ended::Whole;
    r.left = Some(Left { percent: Some(0.0), words: "The set point is left at 0 %.".into() });
    r
}

fn watch(asked_at_s: f64, samples: Vec<Sample>) -> Watch {
    Watch {
        asked_at_s,
        asked_uncertain_s: 0.0,
        samples_uncertain_s: 0.0,
        view: View::Sensor,
        samples,
        by_hand_s: None,
    }
}

/// Limits that every record here has values for: 1.5 % of accuracy, 1 % of hysteresis.
fn limits() -> Limits {
    use crate::commission::travel::limits::Limited;
    Limits {
        whose: "the site's, invented".into(),
        both: vec![(Limited::Accuracy, 1.5), (Limited::Hysteresis, 1.0)],
        sensor: Vec::new(),
        external: Vec::new(),
    }
}

fn all(records: &[&Record]) -> [String; 3] {
    let (limits, beside) = (limits(), Beside::default());
    let told = json(records, &limits, &beside).to_string();
    [text(records, &limits, &beside, false), html(records, &limits, &beside), told]
}

#[test]
fn verdicts_by_hand() {
    let of = |records: &[&Record]| overall(records, &limits(), &Beside::default());
    let (good, bad) = (record(Occasion::AsLeft, 0.4), record(Occasion::AsFound, 2.4));
    assert_eq!(of(&[&good]), Overall::Within);
    assert_eq!(of(&[&bad]), Overall::Beyond, "alone it decides");
    assert_eq!(of(&[&bad, &good]), Overall::Within, "as left decides");
    assert_eq!(of(&[&Record { occasion: Occasion::AsLeft, ..bad.clone() }]), Overall::Beyond);
    assert_eq!(
        overall(&[&good], &Limits { both: Vec::new(), ..limits() }, &Beside::default()),
        Overall::NotJudged
    );
    let codes =
        [Overall::Within, Overall::Beyond, Overall::Partial, Overall::NotJudged].map(Overall::exit_code);
    assert_eq!(codes, [0, 1, 1, 2]);
    // 0.4 of 1 % and 0.2 of 1.5 % twice are three judged figures.
    let [told, page, _] = all(&[&good]);
    assert!(told.starts_with("FV-3104\nWITHIN LIMITS: all 3 judged figures\n"), "{told}");
    assert!(page.contains("WITHIN LIMITS: all 3 judged figures"));
    assert!(all(&[&bad])[0].starts_with("FV-3104\nBEYOND LIMITS: 1 of 3 judged figures\n"));
    let [told, page, _] = all(&[&good, &bad]);
    assert!(
        told.contains("\nFor comparison, not part of the verdict: as found, 1 figure beyond its\nlimit.\n"),
        "{told}"
    );
    assert!(page.contains("as found, 1 figure beyond its limit."));
}

/// However it ended before its plan: that stands before every figure, and it is never within.
#[test]
fn a_test_that_is_not_whole_says_so_first() {
    let during = || "step 40 to 60 %".to_owned();
    for ended in [
        // Who stops it is told in another room, which this one does not import.
        serde_json::from_value(serde_json::json!({"how": "stopped", "why": "said", "during": during()}))
            .expect("it is an end"),
        Ended::Interrupted { during: during() },
        Ended::Silent { during: during(), last_heard_s: Some(31.0) },
        Ended::Failed { during: during(), what: "the port is gone".into() },
        Ended::Running,
    ] {
        let r = Record { ended, ..record(Occasion::AsLeft, 0.4) };
        assert_eq!(overall(&[&r], &limits(), &Beside::default()), Overall::Partial);
        let [told, page, data] = all(&[&r]);
        for (told, first_figure) in [(&told, "hysteresis"), (&page, "<table")] {
            let at = told.find("NOT WHOLE").expect("said");
            assert!(at < told.find(first_figure).expect("a figure"), "{told}");
            assert!(!told.contains("WITHIN LIMITS"), "{told}");
        }
        assert!(data.contains(r#""verdict":"partial","words":"NOT COMPLETE"#), "{data}");
    }
    // What is beyond its limit weighs more, and it is not whole all the same.
    let r = Record { ended: Ended::Running, ..record(Occasion::AsLeft, 2.4) };
    assert_eq!(overall(&[&r], &limits(), &Beside::default()), Overall::Beyond);
    assert!(all(&[&r])[0].contains("NOT WHOLE"));
}

/// Text on the screen: 72 columns at most, whatever names are like.
#[test]
fn lines_are_short() {
    let mut r = record(Occasion::AsFound, 2.4);
    r.valve.tag = "FV-3104 ".repeat(20);
    r.remarks = vec![
        "The packing was tightened, and the lever was found loose on its shaft. ".repeat(4),
        "x".repeat(200),
    ];
    r.log = Some(Log { name: "n".repeat(90), hash: "crc32:00000000".into() });
    let left = record(Occasion::AsLeft, 0.4);
    for records in [vec![&r], vec![&r, &left], vec![&r, &left, &r, &left]] {
        let told = text(&records, &Limits::own(), &Beside::default(), false);
        for line in told.lines() {
            assert!(line.chars().count() <= 72, "{line}");
        }
        let coloured = text(&records, &Limits::own(), &Beside::default(), true);
        let bare: String = coloured
            .split('\x1b')
            .map(|p| p.split_once('m').filter(|_| p.starts_with('[')).map_or(p, |s| s.1))
            .collect();
        assert_eq!(bare, told);
    }
}

/// Numbers are those of `figures`: in JSON every digit, on the page what they round to.
#[test]
fn numbers_are_those_of_the_figures() {
    let r = record(Occasion::AsLeft, 0.5);
    let value = json(&[&r], &limits(), &Beside::default());
    let told = value["tests"][0]["figures"].as_array().expect("a list");
    let expected = figures(&r);
    assert_eq!(told.len(), expected.len());
    for (t, f) in told.iter().zip(&expected) {
        assert_eq!((t["figure"].as_str(), t["value"].as_f64()), (Some(f.definition.id()), f.value));
        assert_eq!(t["uncertainty"].as_f64(), f.uncertainty);
    }
    // Hysteresis is the gap, errors half of it; the ramp of 20 % in 4 s passes 63.2 % after 2.528 and 86.5 % after 3.46 s.
    let page = html(&[&r], &limits(), &Beside::default());
    for part in [
        "<td class=\"n\">0.50 \u{b1} 0.00 <span class=\"ok\">ok</span></td>",
        "+0.25 \u{b1} 0.00",
        "-0.25 \u{b1} 0.00",
        "T63 2.53 s",
        "T86 3.46 s",
    ] {
        assert!(page.contains(part), "{part}");
    }
}

/// Names from a device, a person or a file mean nothing to a browser, and nothing is fetched.
#[test]
fn names_are_text_and_nothing_is_fetched() {
    let evil = "<img src=//x onerror=alert(1)>\"'&\u{202e}`<b>`\u{1b}[2J";
    let own = || evil.to_owned();
    let mut r = record(Occasion::AsLeft, 0.4);
    r.valve.tag = own();
    r.valve.words = own();
    (r.started, r.line, r.who, r.site, r.stimulus) = (own(), own(), own(), own(), own());
    r.device = Identity {
        tag: own(),
        long_tag: own(),
        unique_address: own(),
        manufacturer: own(),
        device_type: own(),
        revision: Some(7),
        serial: own(),
        more: vec![(own(), own())],
    };
    r.sensor.name = own();
    r.external = Some(Measure { name: own(), instrument: Some(0), ..Measure::default() });
    r.instruments = vec![Instrument { name: own(), serial: own(), calibrated: String::new(), limit: own() }];
    r.points[0].external = Some(External { value: 0.0, unit: own(), percent: 0.0 });
    r.log = Some(Log { name: own(), hash: own() });
    r.ended = Ended::Failed { during: own(), what: own() };
    r.left = Some(Left { percent: None, words: own() });
    r.remarks = vec![own()];
    let mut other = r.clone();
    other.valve.tag = format!("{evil}2");
    let check = OtherCheck {
        title: own(),
        is_good: Some(false),
        lines: vec![own()],
        does_not_prove: vec![own()],
        about: vec![(own(), own())],
        tag: own(),
        ..OtherCheck::default()
    };
    let beside = Beside { checks: vec![check], made: evil, ..Beside::default() };
    let limits = Limits { whose: own(), ..limits() };
    let page = html(&[&r, &other], &limits, &beside);
    assert!(page.contains("&lt;img src=//x"));
    for part in
        ["<img", "<b>\"", "<script", "src=\"", "href", "http", "url(", "@import", "\u{202e}", "\u{1b}"]
    {
        assert!(!page.contains(part), "{part}");
    }
    // Every tag that is opened outside of names is one of ours.
    let tags: std::collections::BTreeSet<&str> = page
        .split('<')
        .skip(1)
        .map(|t| {
            t.trim_start_matches('/')
                .split(|c: char| !c.is_ascii_alphanumeric() && c != '!')
                .next()
                .unwrap_or("")
        })
        .collect();
    let ours = [
        "!doctype",
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "h1",
        "h2",
        "h3",
        "p",
        "b",
        "ul",
        "li",
        "table",
        "thead",
        "tbody",
        "tr",
        "th",
        "td",
        "br",
        "span",
        "div",
        "code",
        "figure",
        "figcaption",
        "svg",
        "line",
        "text",
        "rect",
        "polyline",
        "path",
        "circle",
    ];
    assert!(tags.iter().all(|t| ours.contains(t)), "{tags:?}");
    let told = text(&[&r, &other], &limits, &beside, false);
    assert!(!told.contains(['\u{1b}', '\u{202e}']), "{told}");
}

/// A loss of current at 303 s, one second after which the valve is where the device tells that it went.
fn fail(to: f64, restored: bool) -> Fail {
    let travel = |t: f64| if t < 304.0 { 50.0 } else { to };
    let samples = (0..60).map(|n| 300.0 + 0.25 * f64::from(n)).map(|t| Sample::new(t, travel(t))).collect();
    let watch = watch(303.0, samples);
    Fail { loss: Loss::Current, from_percent: 50.0, watch, seen: None, restored, shown: None }
}

/// A fail action that is as it is said gets its verdict, is drawn, and is a pass by itself; one of which nothing is known is none.
#[test]
fn fail_actions_are_judged_and_drawn() {
    let mut r = record(Occasion::AsLeft, 0.4);
    r.valve.fails_to = FailsTo::Closed;
    r.fails = vec![fail(0.0, true)];
    let [told, page, data] = all(&[&r]);
    assert!(
        told.contains("\nok loss of current, 0.00 % in the end by the device, after ")
            && told.contains(": as said."),
        "{told}"
    );
    assert!(told.contains("\n1 fail action as said; no limit"), "{told}");
    assert!(
        page.contains("<span class=\"ok\">as said</span>")
            && page.contains("Loss of current, as left</figcaption>")
    );
    assert!(page.contains("where it is said to go"), "the line it is held against");
    let data: serde_json::Value = serde_json::from_str(&data).expect("JSON");
    assert_eq!(data["tests"][0]["fails"][0]["verdict"], "as_said");
    let verdict = |r: &Record| {
        let data = json(&[r], &limits(), &Beside::default());
        data["tests"][0]["fails"][0]["verdict"].as_str().unwrap_or("").to_owned()
    };
    assert_eq!(verdict(&Record { fails: vec![fail(100.0, true)], ..r.clone() }), "not_as_said");
    assert_eq!(
        verdict(&Record { fails: vec![Fail { seen: Some(FailsTo::Open), ..fail(0.0, true) }], ..r.clone() }),
        "not_as_said"
    );
    let mut silent = fail(0.0, true);
    silent.watch.samples.retain(|s| s.at_s <= 303.0);
    assert_eq!(verdict(&Record { fails: vec![silent.clone()], ..r.clone() }), "not_judged");
    silent.seen = Some(FailsTo::Closed);
    assert_eq!(verdict(&Record { fails: vec![silent], ..r.clone() }), "as_said");
    let mut unsaid = r.clone();
    unsaid.valve.fails_to = FailsTo::Unsaid;
    assert_eq!(verdict(&unsaid), "not_judged");
    // A travel that may be the set point says nothing of the valve, neither well nor ill.
    for to in [0.0, 100.0] {
        let mut assumed = Record { fails: vec![fail(to, true)], ..r.clone() };
        assumed.variables.travel_assumed = true;
        assert_eq!(verdict(&assumed), "not_judged");
        assert_eq!(overall(&[&assumed], &limits(), &Beside::default()), Overall::NotJudged);
    }
    // Alone it is a pass, since there is nothing else to judge.
    let alone = Record { points: Vec::new(), steps: Vec::new(), plan: Plan::default(), ..r.clone() };
    assert_eq!(overall(&[&alone], &limits(), &Beside::default()), Overall::Within);
    assert!(all(&[&alone])[0].starts_with("FV-3104\nIN ORDER: 1 fail action as said\n"));
    // A time by a stop watch stands beside the device's and does not take its place for the next loss.
    let mut two = r.clone();
    two.fails = vec![fail(0.0, true), fail(0.0, true)];
    two.fails[0].watch.by_hand_s = Some(44.0);
    let data = json(&[&two], &limits(), &Beside::default());
    let times: Vec<f64> = (0..2).filter_map(|n| data["tests"][0]["fails"][n]["time_s"].as_f64()).collect();
    assert!(times.len() == 2 && times[0] == times[1] && times[0] < 2.0, "{times:?}");
}

/// Of several tests the columns never run together, and a head that has no room stands as a number that a line explains.
#[test]
fn columns_stand_apart() {
    let mut found = record(Occasion::AsFound, 2.4);
    found.test = Test::LoopCheck;
    // More digits where an uncertainty is small.
    found.points.iter_mut().flat_map(|p| &mut p.readings).enumerate().for_each(|(n, s)| {
        s.percent = s.percent.map(|p| p - 1.0 + 0.004 * (n % 2) as f64);
    });
    let left = record(Occasion::AsLeft, 0.4);
    let told = text(&[&found, &left], &limits(), &Beside::default(), false);
    assert!(told.contains("(1) loop check, as found") && !told.contains("test 1"), "{told}");
    let of = |name: &str, told: &str| {
        let line = told.lines().find(|l| l.contains(name)).unwrap_or_default().to_owned();
        line.split("+/-").count() - 1
    };
    assert_eq!(of("deviation at the", &told), 2, "{told}");
    let row = told.lines().find(|l| l.contains("deviation at the")).unwrap_or_default();
    let values: Vec<&str> = row.split("  ").map(str::trim).filter(|p| p.contains("+/-")).collect();
    assert_eq!(values.len(), 2, "{row:?}");
    // Alone it has room, and needs no line that explains.
    let alone = text(&[&found], &limits(), &Beside::default(), false);
    assert!(alone.contains("  loop check, as found   limit\n") && !alone.contains("(1)"), "{alone}");
    // Four have no room for what they are uncertain by, and still stand apart.
    let four = text(&[&found, &left, &found, &left], &limits(), &Beside::default(), false);
    assert_eq!(of("deviation at the", &four), 0);
    assert!(
        four.contains("(1) loop check, as found (1)") && four.lines().all(|l| l.chars().count() <= 72),
        "{four}"
    );
}

/// The short tag stands first, the long one beside it; of times the screen says how fine they are; words are those of the trade.
#[test]
fn tags_and_the_fineness_of_times() {
    let mut r = record(Occasion::AsLeft, 0.4);
    r.valve.tag.clear();
    (r.device.tag, r.device.long_tag) = ("FV-3104".into(), "Brackenmoor inlet valve".into());
    r.points[0].external = Some(External { value: 0.0, unit: "mm".into(), percent: 0.0 });
    r.external = Some(Measure::default());
    let [told, page, data] = all(&[&r]);
    assert!(told.starts_with("FV-3104, Brackenmoor inlet valve\n"), "{told}");
    assert!(page.contains("<title>FV-3104, Brackenmoor inlet valve: "));
    for row in [
        "<th>device's tag</th><td colspan=\"1\">FV-3104</td>",
        "<th>device's long tag</th><td colspan=\"1\">Brackenmoor inlet valve</td>",
    ] {
        assert!(page.contains(row), "{row}");
    }
    assert!(data.contains("\"tag\":\"FV-3104\""));
    // One reading every 0.25 s, as `record` makes them.
    assert!(told.contains("Time resolution: steps, a reading every 0.25 s."), "{told}");
    assert!(told.contains("sensor minus measurement"), "{told}");
    // One cycle cannot repeat: neither on the screen nor for programs.
    r.test = Test::LoopCheck;
    assert!(judged(&r, &limits()).iter().all(|j| j.figure.definition != Definition::Repeatability));
}

/// The sheet to sign has who it is about, verdict, figures with a limit, cautions and lines to sign on, whatever its test was like; how much of the
/// paper it takes Chromium says (tests/outside/pages.py).
#[test]
fn a_sheet_to_sign() {
    let mut r = record(Occasion::AsLeft, 2.4);
    r.who = "R. Ames".into();
    r.valve.words = "w".repeat(5000);
    r.fails = (0..20).map(|_| fail(0.0, false)).collect();
    let page = sheet(&[&r], &limits(), &Beside::default());
    for part in [
        "FV-3104",
        "BEYOND LIMITS",
        "R. Ames",
        "hysteresis, dead band included, %",
        "work done by",
        "taken over by operations",
        "Not proved by this:",
    ] {
        assert!(page.contains(part), "{part}");
    }
    for caution in CAUTIONS {
        assert!(page.contains(&crate::report::plot::plain(caution)), "{caution}");
    }
    // 20 losses that were not given back: three are told, the others counted.
    assert_eq!(page.matches("was not given back").count(), 3);
    assert!(
        page.contains("in the whole report: read it before you sign.") && page.len() < 12_000,
        "{}",
        page.len()
    );
    assert!(!page.contains("<svg") && !page.contains("<script"));
    // A test that is not whole says so before everything else here, too.
    let broken = Record { ended: Ended::Running, ..record(Occasion::AsLeft, 0.4) };
    let page = sheet(&[&broken], &limits(), &Beside::default());
    assert!(page.find("NOT WHOLE").is_some_and(|at| Some(at) < page.find("NOT COMPLETE")), "{page}");
    sheet(&[], &limits(), &Beside::default());
}

/// What counts as a fault without being a figure: a valve that went the wrong way, what was not given back, a check that is not in order.
#[test]
fn faults_beside_figures() {
    let at = |r: &Record| overall(&[r], &limits(), &Beside::default());
    let mut r = record(Occasion::AsLeft, 0.4);
    r.valve.fails_to = FailsTo::Closed;
    r.fails = vec![fail(0.0, true)];
    assert_eq!(at(&r), Overall::Within);
    r.fails = vec![fail(100.0, true)];
    assert_eq!(at(&r), Overall::Beyond);
    assert!(all(&[&r])[1].contains("the device tells 100 % in the end, and it is said that the valve"));
    r.fails = vec![fail(0.0, false)];
    assert_eq!(at(&r), Overall::Beyond);
    r.fails.clear();
    let check = |is_good| OtherCheck {
        title: "Outputs".into(),
        is_good,
        lines: vec!["It bleeds.".into()],
        ..OtherCheck::default()
    };
    for (is_good, expected) in
        [(Some(true), Overall::Within), (None, Overall::Within), (Some(false), Overall::Beyond)]
    {
        let beside = Beside { checks: vec![check(is_good)], ..Beside::default() };
        assert_eq!(overall(&[&r], &limits(), &beside), expected);
        assert!(html(&[&r], &limits(), &beside).contains("It bleeds."));
    }
}

/// Broken numbers and empty records are told, never a panic.
#[test]
fn records_with_little_in_them() {
    let empty = Record::new(Test::LoopCheck, Plan::default());
    assert_eq!(overall(&[&empty], &limits(), &Beside::default()), Overall::Partial);
    let [told, page, _] = all(&[&empty]);
    assert!(
        told.contains("valve without a tag")
            && told.contains("NOT WHOLE")
            && page.contains("None was noted.")
    );
    let mut r = record(Occasion::Unsaid, 0.4);
    r.steps[0].watch.samples = vec![Sample { at_s: 203.0, percent: None }];
    r.points[2].readings.clear();
    all(&[&r]);
    r.steps[0].watch.samples = vec![Sample::new(204.0, 1e4), Sample::new(204.0, -1e4)];
    all(&[&r]);
    all(&[]);
}

/// [TV-99]: a check without a verdict is told beside the verdict of the tests, as many faults count as a check has, and what is long stands behind the figures.
#[test]
fn checks_beside_tests() {
    let r = record(Occasion::AsLeft, 0.4);
    let of = |check: OtherCheck| {
        let beside = Beside { checks: vec![check], ..Beside::default() };
        (
            text(&[&r], &limits(), &beside, false),
            html(&[&r], &limits(), &beside),
            sheet(&[&r], &limits(), &beside),
        )
    };
    let open = OtherCheck {
        title: "Device check".into(),
        lines: vec!["outputs: pattern: not judged. Not every gauge was looked at.".into()],
        ..OtherCheck::default()
    };
    let (told, page, signed) = of(open);
    let told: String = told.split_whitespace().collect::<Vec<_>>().join(" ");
    for shown in [&told, &page, &signed] {
        assert!(
            shown.contains("WITHIN LIMITS")
                && shown.contains("Device check without a verdict: outputs: pattern: not judged"),
            "{shown}"
        );
    }
    let bad = OtherCheck {
        title: "Device check".into(),
        is_good: Some(false),
        bad: vec!["outputs: pattern: NOT as expected.".into(), "outputs: at rest: NOT as expected.".into()],
        lines: vec!["a very long line".into()],
        ..OtherCheck::default()
    };
    let (told, page, _) = of(bad);
    assert!(told.contains("NOT IN ORDER: 2 faults") && page.contains("NOT IN ORDER: 2 faults"), "{told}");
    assert!(told.find("Seen by").is_some_and(|at| Some(at) < told.find("a very long line")), "{told}");
}

/// [TV-101]: the same tag with another device is told, another tag is a fault, and a tag that the very device had before is none.
#[test]
fn two_valves() {
    let of = |tag: &str, address: &str, occasion| {
        let mut r = record(occasion, 0.4);
        (r.valve.tag, r.device.tag, r.device.unique_address) = (String::new(), tag.into(), address.into());
        r
    };
    let told = |a: &Record, b: &Record| {
        let all: String = text(&[a, b], &limits(), &Beside::default(), false)
            .split_whitespace()
            .collect::<Vec<_>>()
            .join(" ");
        (overall(&[a, b], &limits(), &Beside::default()), all)
    };
    let one = of("FV-3104", "3D71003104", Occasion::AsFound);
    let (verdict, words) = told(&one, &of("FV-3120", "3D71003120", Occasion::AsLeft));
    assert!(
        verdict == Overall::Beyond
            && words
                .contains("!! This report is of two valves: FV-3104 (unique address 3D71003104) and FV-3120"),
        "{words}"
    );
    let (verdict, words) = told(&one, &of("FV-3104", "3D71009999", Occasion::AsLeft));
    assert!(verdict == Overall::Within && words.contains("only if the positioner was exchanged"), "{words}");
    let (verdict, words) = told(&one, &of("FV-3104A", "3D71003104", Occasion::AsLeft));
    assert!(verdict == Overall::Within && words.contains("only if it was named anew"), "{words}");
    assert!(!told(&one, &of("FV-3104", "3D71003104", Occasion::AsLeft)).1.contains("two valves"));
    // A check of another valve is no part of it either.
    let check = OtherCheck {
        is_good: Some(true),
        tag: "FV-3120".into(),
        about: vec![("unique address".into(), "3D71003120".into())],
        ..OtherCheck::default()
    };
    let beside = Beside { checks: vec![check], ..Beside::default() };
    assert_eq!(overall(&[&one], &limits(), &beside), Overall::Beyond);
}
