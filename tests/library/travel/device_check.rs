//! The device check: a sensor moved by hand, outputs by small moves.

use super::fake::{ALL, Line, Mover, Script, Shared, Technician, Valve, device, readings, world};
use super::sequence::near;
use looprig::commission::device_check::{Acting, AtRest, DeviceCheck, Found, Setup, Stage, run};
use looprig::commission::travel::Limits;
use looprig::commission::travel::record::Ended;
use looprig::report::handover::{Beside, OtherCheck, Overall, html, overall};

fn checked(world: &Shared, acting: Acting) -> DeviceCheck {
    kept(world, acting, &mut |_| {})
}

/// The same, with all that was kept on the way.
fn kept(world: &Shared, acting: Acting, keep: &mut dyn FnMut(&DeviceCheck)) -> DeviceCheck {
    let (mut line, mut mover, mut person) =
        (Line::new(world), Mover(world.clone(), ALL), Technician(world.clone()));
    let setup = Setup {
        ask: &mut line,
        device: device(),
        stimulus: &mut mover,
        person: &mut person,
        readings: readings(),
        keep,
    };
    run(setup, DeviceCheck::new(Stage { acting, at_rest: AtRest::Unsaid }))
}

fn found(check: &DeviceCheck, about: &str) -> (Found, String) {
    let one = check.findings.iter().find(|f| f.about == about);
    one.map(|f| (f.found, f.words.clone())).unwrap_or_else(|| panic!("{about}: {:?}", check.findings))
}

#[test]
fn a_healthy_device() {
    for acting in [Acting::Single, Acting::Double] {
        let world = world(
            Valve { input: 30.0, arrived: 30.0, driven: 30.0, travel: 30.0, ..Valve::new() },
            Script::default(),
        );
        let check = checked(&world, acting);
        assert_eq!(check.ended, Ended::Whole, "{:?}", check.ended);
        assert_eq!(check.verdict(), Found::AsExpected, "{:#?}", check.findings);
        assert_eq!(check.findings.len(), 8);
        assert!(check.findings.iter().all(|f| f.not_proved.starts_with("Not proved:")));
        assert_eq!(check.stage, Stage { acting, at_rest: AtRest::Bleeding });
        let hand = check.hand.as_ref().expect("it was moved by hand");
        near(hand.open.last().and_then(|s| s.percent).expect("read"), 100.0, 0.2);
        // 100 % at 8 %/s, a reading each 0.4 s: 31 readings each way and those at rest.
        assert!(hand.opening.len() >= 31 && hand.closing.len() >= 31);
        // Around 30 %, where the set point was: 5 % up, back, down, back. mA = 4 + 0.16 x percent.
        let w = world.borrow();
        let ma: Vec<f64> = w.sets.iter().map(|s| s.current_ma()).collect();
        [8.8, 9.6, 8.8, 8.0, 8.8].iter().zip(&ma).for_each(|(e, f)| near(*f, *e, 1e-9));
        assert_eq!((ma.len(), w.left), (5, 1));
        let second = w.questions.iter().filter(|q| q.id.ends_with("/second")).count();
        assert_eq!(second, if acting == Acting::Double { 4 } else { 0 });
        let leave: Vec<_> =
            w.questions.iter().filter(|q| !q.cautions.is_empty()).map(|q| q.id.as_str()).collect();
        assert_eq!(leave, ["device_check/sensor", "device_check/jog"]);
        // Whoever moves the set point says where it goes in the end.
        let jog = w.questions.iter().find(|q| q.id == "device_check/jog").expect("asked");
        assert!(jog.cautions.iter().any(|c| c.contains("In the end the set point")), "{:?}", jog.cautions);
    }
}

#[test]
fn faults_are_found() {
    // Between 40 and 48 % the sensor reads as if it were at 90 %.
    let worn: fn(f64) -> f64 = |t| if (40.0..48.0).contains(&t) { 90.0 } else { t };
    // It turns over half of its range only.
    let short: fn(f64) -> f64 = |t| t / 2.0;
    for (valve, about) in [
        (Valve { sensor: worn, ..Valve::new() }, "sensor: jumps"),
        (Valve { sensor: short, ..Valve::new() }, "sensor: range"),
        (Valve { sensor: |t| 100.0 - t, ..Valve::new() }, "sensor: range"),
        (Valve { backwards: true, ..Valve::new() }, "outputs: travel follows"),
        (Valve { stuck: true, ..Valve::new() }, "outputs: travel follows"),
    ] {
        let world = world(valve, Script::default());
        let check = checked(&world, Acting::Single);
        assert_eq!(check.ended, Ended::Whole);
        let (judged, words) = found(&check, about);
        assert_eq!(judged, Found::NotAsExpected, "{about}: {words}");
        assert_eq!(check.verdict(), Found::NotAsExpected);
        assert_eq!(world.borrow().left, 1);
    }
    let script = Script { gauges_together: true, ..Script::default() };
    let check = checked(&world(Valve::new(), script), Acting::Double);
    assert_eq!(found(&check, "outputs: pattern").0, Found::NotAsExpected);
}

/// [TV-155]: a device that still tells 1.40 bar when its air is said to be off is asked about before a hand is; one that tells 0 bar is not, and one that
/// tells no pressure is said to tell none.
#[test]
fn air_that_is_still_on() {
    let of = |script: Script| {
        let world = world(Valve::new(), script);
        let check = checked(&world, Acting::Single);
        let w = world.borrow();
        let asked: Vec<String> = w.questions.iter().map(|q| q.id.clone()).collect();
        (check, asked, w.told.join("\n"), w.questions.clone())
    };
    let (check, asked, _, questions) =
        of(Script { tells_supply: true, air_stays: true, ..Script::default() });
    let at = asked.iter().position(|q| q == "device_check/air_still_on").expect("asked");
    assert_eq!(asked[at - 1], "device_check/air_off");
    assert_eq!(asked[at + 1], "device_check/air_on", "no hand is asked for");
    assert!(questions[at].words.contains("1.40 bar") && questions[at].cautions[0].contains("No hand"));
    assert!(check.hand.is_none() && check.remarks.iter().any(|r| r.contains("the air is not off")));
    assert_ne!(check.verdict(), Found::NotAsExpected, "{:?}", check.findings);
    let (check, asked, told, _) = of(Script { tells_supply: true, ..Script::default() });
    assert!(!asked.iter().any(|q| q == "device_check/air_still_on") && !told.contains("tells no pressure"));
    assert_eq!(check.verdict(), Found::AsExpected);
    let (_, asked, told, _) = of(Script::default());
    assert!(!asked.iter().any(|q| q == "device_check/air_still_on") && told.contains("tells no pressure"));
}

/// [TV-156]: a sensor that stands at 49.9 % is told at each end while somebody is there, and nothing of it is as expected but what does not ask for a move.
#[test]
fn ends_that_are_none() {
    let world = world(Valve { sensor: |_| 49.9, ..Valve::new() }, Script::default());
    let check = checked(&world, Acting::Single);
    let told = world.borrow().told.join("\n");
    assert!(told.contains("The closed end ought to read 0 %: is that the end?"), "{told}");
    assert_eq!(told.matches("It has not moved since it was held at the other end").count(), 2, "{told}");
    let (judged, words) = found(&check, "sensor: range");
    assert!(judged == Found::NotAsExpected && words.starts_with("It did not move: "), "{words}");
    for about in ["sensor: jumps", "sensor: one way", "sensor: back again"] {
        let (judged, words) = found(&check, about);
        assert!(judged == Found::NotJudged && words.starts_with("It did not move"), "{about}: {words}");
    }
    assert!(check.did_not_move() && check.verdict() == Found::NotAsExpected);
}

/// What stands in a report is what was found, the worst first, and what it does not prove once each.
#[test]
fn in_a_report() {
    let script = Script { gauges_together: true, ..Script::default() };
    let check = checked(&world(Valve::new(), script), Acting::Double);
    let told = OtherCheck::from(&check);
    assert_eq!((told.is_good, told.ended_early), (Some(false), false));
    assert!(told.lines[0].starts_with("outputs: pattern: NOT as expected. "), "{:?}", told.lines);
    assert_eq!(told.lines.len(), check.findings.len() + check.remarks.len());
    assert_eq!(told.does_not_prove.len(), 3, "{:?}", told.does_not_prove);
    let beside = Beside { checks: vec![told], ..Beside::default() };
    let (limits, none) = (Limits::own(), []);
    assert_eq!(overall(&none, &limits, &beside), Overall::Beyond);
    let page = html(&none, &limits, &beside);
    assert!(
        page.contains("Device check: <span class=\"bad\">NOT IN ORDER</span>") && page.contains("3D71003104")
    );
    let good = checked(&world(Valve::new(), Script::default()), Acting::Double);
    let beside = Beside { checks: vec![(&good).into()], ..Beside::default() };
    assert_eq!(overall(&none, &limits, &beside), Overall::Within, "by itself it decides");
    assert!(html(&none, &limits, &beside).contains("IN ORDER: Device check"));
}

/// Numbers that cannot be, a newer format, another record: said, with the part's name.
#[test]
fn records_that_are_none() {
    let check = checked(&world(Valve::new(), Script::default()), Acting::Single);
    let text = check.to_json();
    let with = |from: &str, to: &str| {
        assert!(text.contains(from), "{from}");
        DeviceCheck::from_json(&text.replacen(from, to, 1)).expect_err(to).to_string()
    };
    assert!(with("\"looprig_device_check\": 1", "\"looprig_device_check\": 2").contains("format 2"));
    assert!(with("\"looprig_device_check\"", "\"looprig_travel\"").contains("no record of a device check"));
    // From where it is, 0 %, it goes around 10 %.
    assert!(with("\"to_percent\": 15.0", "\"to_percent\": 1e9").contains("jogs[0].to_percent"));
    assert!(with("\"most_s\": ", "\"most_s\": -1").contains("rest.most_s"));
    assert!(with("\"who\": ", "\"whom\": ").contains("whom"));
    assert!(DeviceCheck::from_json("no").expect_err("no JSON").to_string().contains("no JSON"));
}

proptest::proptest! {
    /// Whatever is done to the text of a record: the same record when it is written and read again, with something to show of it, or a message
    /// that says what to do next.
    #[test]
    fn any_text(at in 0usize..2100, cut in 0usize..40, put in "\\PC{0,6}|[-0-9.e]{1,9}|null|true|\\{\\}|\\[\\]") {
        let text = include_str!("../../../fuzz/seeds/device_check_record/whole.json");
        let from = (0..=at.min(text.len())).rev().find(|n| text.is_char_boundary(*n)).unwrap_or(0);
        let to = (from..=text.len()).find(|n| *n >= from + cut && text.is_char_boundary(*n)).unwrap_or(text.len());
        let changed = format!("{}{put}{}", &text[..from], &text[to..]);
        match DeviceCheck::from_json(&changed) {
            Ok(check) => {
                proptest::prop_assert_eq!(DeviceCheck::from_json(&check.to_json()), Ok(check.clone()));
                let told = OtherCheck::from(&check);
                proptest::prop_assert!(told.is_good != Some(true) || !told.ended_early);
            }
            Err(e) => proptest::prop_assert!(e.to_string().contains("next: ") && !e.wrong.is_empty(), "{}", e),
        }
    }
}

#[test]
fn whatever_ends_it() {
    let whole = world(Valve::new(), Script::default());
    checked(&whole, Acting::Double);
    let (calls, requests, questions) = {
        let w = whole.borrow();
        (w.calls, w.requests, w.questions.len())
    };
    let mut scripts: Vec<(Script, &str)> = Vec::new();
    scripts.extend(
        (0..calls)
            .step_by(5)
            .map(|n| (Script { interrupted_at: Some(n), ..Script::default() }, "Interrupted")),
    );
    scripts.extend(
        (0..requests).step_by(9).map(|n| (Script { silent_from: Some(n), ..Script::default() }, "Silent")),
    );
    scripts.extend((0..questions).map(|n| (Script { stops_at: Some(n), ..Script::default() }, "Stopped")));
    scripts
        .extend((0..questions).map(|n| (Script { nonsense_at: Some(n), ..Script::default() }, "Nonsense")));
    let mut shut = 0;
    for (script, how) in scripts {
        let world = world(Valve::new(), script);
        let check = checked(&world, Acting::Double);
        let w = world.borrow();
        assert!(format!("{:?}", check.ended).contains(how), "{how}: {:?}", check.ended);
        assert_ne!(check.verdict(), Found::AsExpected, "{how}: a part is no whole");
        let moved = usize::from(!w.sets.is_empty());
        assert_eq!((w.left, check.left.is_some()), (moved, moved == 1), "{how}");
        shut += check.remarks.iter().filter(|r| r.contains("nobody said that it was opened again")).count();
        let text = check.to_json();
        assert_eq!(DeviceCheck::from_json(&text).as_ref(), Ok(&check), "{how}");
        let told = OtherCheck::from(&check);
        assert!(
            told.ended_early && told.is_good != Some(true) && told.lines[0].starts_with("NOT WHOLE: "),
            "{told:?}"
        );
    }
    assert!(shut > 20, "it is said that the air is still shut: {shut}");
}

/// [TV-95]: a check that is cut off leaves a record that says what was told last and never given back, ahead of each of its five moves, and
/// that the air may still be shut.
#[test]
fn what_is_kept_while_it_runs() {
    let world = world(Valve::new(), Script::default());
    let mut all = Vec::new();
    let watched = world.clone();
    let check = kept(&world, Acting::Single, &mut |c| all.push((c.clone(), watched.borrow().sets.len())));
    let (running, last) = all.split_at(all.len() - 1);
    assert_eq!(last[0].0, check);
    assert!(running.iter().all(|(c, _)| c.ended == Ended::Running));
    // Around 10 %, the least place: up to 15, back, down to 5, back.
    let ahead: Vec<(&str, usize)> =
        running.iter().filter_map(|(c, sets)| Some((c.left.as_ref()?.words.as_str(), *sets))).collect();
    let told = ["10.00 %", "15.00 %", "10.00 %", "5.00 %", "10.00 %"];
    assert_eq!(ahead.len(), told.len(), "{ahead:?}");
    for (n, ((words, sets), percent)) in ahead.iter().zip(told).enumerate() {
        assert!(
            words.contains(&format!("Told last: {percent}")) && words.contains("never given back"),
            "{words}"
        );
        assert_eq!(*sets, n, "ahead of the move, not behind it");
    }
    let shut = |c: &DeviceCheck| c.remarks.iter().any(|r| r.contains("nobody said that it was opened again"));
    assert!(shut(&running[0].0) && running.iter().any(|(c, _)| !shut(c)));
    // Shown again, nothing says that it was never moved.
    for (c, _) in running {
        let told = OtherCheck::from(c);
        let left = &told.about.iter().find(|(name, _)| name == "set point left").expect("a fact").1;
        assert!(left.starts_with("not known, for the check was cut off."), "{left}");
        assert!(told.ended_early);
    }
}

/// [TV-97]: a valve that does not stand at its set point accuses no stage, and one that a hand does not move comes back nowhere.
#[test]
fn a_valve_that_is_stuck_accuses_no_stage() {
    let stuck = Valve {
        input: 50.0,
        arrived: 50.0,
        driven: 50.0,
        travel: 0.0,
        stuck: true,
        sensor: |_| 0.0,
        ..Valve::new()
    };
    let check = checked(&world(stuck, Script::default()), Acting::Single);
    let about: Vec<&str> =
        check.findings.iter().map(|f| f.about.as_str()).filter(|a| a.starts_with("outputs")).collect();
    assert_eq!(about[0], "outputs: where it stands", "said first: {about:?}");
    let (judged, words) = found(&check, "outputs: where it stands");
    assert!(judged == Found::NotAsExpected && words.contains("0.00 % where 50 %"), "{words}");
    let (judged, words) = found(&check, "outputs: pattern");
    assert_eq!(judged, Found::NotJudged, "{words}");
    let (judged, words) = found(&check, "sensor: back again");
    assert_eq!(judged, Found::NotJudged, "{words}");
}

/// [TV-99]: screen, page and `--from` count the same faults.
#[test]
fn two_faults_count_as_two() {
    let script = Script { gauges_together: true, ..Script::default() };
    let short = Valve { sensor: |t| t / 2.0, ..Valve::new() };
    let check = checked(&world(short, script), Acting::Double);
    let bad = check.findings.iter().filter(|f| f.found == Found::NotAsExpected).count();
    assert!(bad >= 2, "{:?}", check.findings);
    let beside = Beside { checks: vec![OtherCheck::from(&check)], ..Beside::default() };
    let page = html(&[], &Limits::own(), &beside);
    assert!(page.contains(&format!("NOT IN ORDER: {bad} faults")), "{page}");
}
