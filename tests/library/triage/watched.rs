//! What a line tells of a valve on a bench: the healthy one as usual, each fault as the physics have it, and collecting that is
//! refused, broken off, or finds a device that tells little.

use super::rig::{Anybody, Bench, SUPPLY, text};
use looprig::app::command::Catalogue;
use looprig::commission::travel::record::Ended;
use looprig::commission::triage::watch::{Options, Watched, findings, identified, look, stroke, watch};
use looprig::commission::triage::{Knowledge, Origin, Which};
use looprig::host::{Host, To};
use looprig::link::MasterConfig;
use std::time::Duration;

/// The valve has come to 50 % by then.
const COMES: Duration = Duration::from_secs(12);
/// A fault shows.
const SHOWS: Duration = Duration::from_secs(25);

fn to(text: &str) -> To {
    To::parse(text).expect("it names a device")
}

fn options() -> Options {
    Options { plate_kpa: Some(140.0), ..Options::default() }
}

/// The reference valve of [PL-31] on a supply of 24 V behind 250 ohm [DV-111], with a fault.
fn bench(fault: Option<(&str, f64)>) -> Bench {
    let mut bench = Bench::new(&text(SUPPLY, 1.4));
    bench.pass(COMES);
    if let Some((name, severity)) = fault {
        assert!(bench.fault(name, severity, SHOWS), "{name}");
    }
    bench
}

/// What was collected, the currents that were set, how often they were left, and what the person was asked.
fn watched_by(bench: Bench, mut person: Anybody) -> (Watched, Vec<f64>, usize, Anybody) {
    let mut source = bench.source();
    let mut host = bench.host();
    let watched = watch(&mut host, &to("0"), Some(&mut source), &mut person, &options());
    (watched, source.sets, source.left, person)
}

fn watched(fault: Option<(&str, f64)>) -> Watched {
    watched_by(bench(fault), Anybody::default()).0
}

fn value(watched: &Watched, symptom: &str) -> String {
    let of = findings(watched);
    of.iter().find(|f| f.symptom == symptom).map_or_else(|| "-".to_owned(), |f| f.value.clone())
}

/// Every symptom that the bus and strokes tell, with its usual value, whatever the valve: the reference, and generated ones on a card and on a supply.
#[test]
fn a_healthy_valve_is_as_usual() {
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    let told: Vec<_> = known
        .symptoms
        .iter()
        .filter(|s| s.seen != looprig::commission::triage::Seen::Person)
        // Those of a recording, and those of a line on which nobody answers.
        .filter(|s| {
            !["signal_level", "loud_talker", "signal_noise", "wave_talk", "two_at_once"]
                .contains(&s.name.as_str())
        })
        .filter(|s| !["others_answer", "port_hears"].contains(&s.name.as_str()))
        .collect();
    for seed in [None, Some(4), Some(7)] {
        let bench = seed.map_or_else(|| bench(None), Bench::generated);
        let plate_kpa = Some(bench.plate_kpa());
        let (mut source, mut person) = (bench.source(), Anybody::default());
        let mut host = bench.host();
        let options = Options { plate_kpa, ..Options::default() };
        host.rest(Duration::from_secs(60)).expect("time passes");
        let watched = watch(&mut host, &to("0"), Some(&mut source), &mut person, &options);
        assert_eq!(watched.ended, Ended::Whole, "{seed:?}");
        let of = findings(&watched);
        for symptom in &told {
            let found = of.iter().find(|f| f.symptom == symptom.name);
            let found = found.unwrap_or_else(|| panic!("{seed:?}: nothing of {}", symptom.name));
            assert_eq!(found.value, symptom.values[0].name, "{seed:?}: {} {}", symptom.name, found.words);
            let from = if symptom.seen.key() == "stroke" { Origin::Stroke } else { Origin::Bus };
            assert_eq!(found.from, from, "{}", symptom.name);
            assert!(!found.words.is_empty() && !found.words.ends_with('.'));
        }
        assert_eq!(of.len(), told.len(), "nothing else is told");
        // mA = 4 + 0.16 x percent: 50, 60, 50, 100, 0, 100 and 50 %.
        assert_eq!(source.sets, [12.0, 13.6, 12.0, 20.0, 4.0, 20.0, 12.0]);
        assert_eq!((source.left, watched.left.is_some()), (1, true));
        assert_eq!(Watched::from_json(&watched.to_json()).as_ref(), Ok(&watched));
    }
}

/// Symptoms and the values that a fault must give them; "-": none.
type Shows<'a> = &'a [(&'a str, &'a str)];

fn show(faults: &[(&str, f64, Shows<'_>)]) {
    for (fault, severity, shows) in faults {
        let watched = watched(Some((fault, *severity)));
        for (symptom, expected) in *shows {
            let words: Vec<String> = findings(&watched)
                .iter()
                .map(|f| format!("{} {} ({})", f.symptom, f.value, f.words))
                .collect();
            assert_eq!(value(&watched, symptom), *expected, "{fault} {severity}: {symptom} of {words:#?}");
        }
    }
}

/// What faults of wires and settings show on the reference valve: [DV-111] says why.
#[test]
fn faults_of_wires_and_settings_show() {
    show(&[
        ("wires_reversed", 1.0, &[("answers", "silent"), ("current_mode", "-"), ("opens", "-")]),
        // Its tag is not known, so it is not moved.
        ("polling_address_changed", 1.0, &[("answers", "elsewhere"), ("opens", "-"), ("bursts", "none")]),
        ("second_master", 0.6, &[("strangers", "present"), ("opens", "-")]),
        ("burst_left_on", 0.6, &[("bursts", "present"), ("answers", "yes"), ("opens", "full")]),
        ("write_protect_on", 1.0, &[("protected", "yes")]),
        ("selector_local", 1.0, &[("set_point_from", "local"), ("opens", "-"), ("small_step", "-")]),
        // 70 % of 4 mA are 2.8 mA, too few for it.
        (
            "current_missing",
            0.3,
            &[("current", "less"), ("deviation", "none"), ("opens", "-"), ("answers", "at_times")],
        ),
        ("loop_volts_low", 0.6, &[("answers", "at_times"), ("small_step", "follows"), ("opens", "-")]),
        ("trip_not_energised", 1.0, &[("deviation", "low"), ("opens", "no_move")]),
    ]);
}

/// What faults of the valve show on the reference valve: [PL-35] says why. Travel is told by the sensor, so what deceives that shows at the stops.
#[test]
fn faults_of_the_valve_show() {
    show(&[
        ("supply_low", 0.6, &[("told_supply", "low"), ("supply_alarm", "yes"), ("opens", "short")]),
        (
            "filter_blocked",
            0.6,
            &[("told_supply", "as_plate"), ("stroke_supply", "sags"), ("opening_time", "much_longer")],
        ),
        ("stage_contaminated", 0.6, &[("opening_time", "much_longer"), ("closing_time", "much_longer")]),
        ("stage_stuck", 0.6, &[("hold", "swings"), ("small_step", "misses")]),
        (
            "stem_seized",
            1.0,
            &[("small_step", "no_move"), ("opens", "no_move"), ("shuts", "no_move"), ("direction", "-")],
        ),
        ("stem_seized", 0.3, &[("motion", "jumps")]),
        ("stop_moved", 0.6, &[("opens", "short"), ("shuts", "full"), ("direction", "right")]),
        ("handwheel_engaged", 0.6, &[("opens", "full"), ("shuts", "short")]),
        ("coupling_turned", 0.6, &[("opens", "short"), ("shuts", "beyond")]),
        ("sensor_worn", 0.6, &[("reading", "scatters")]),
    ]);
}

/// Nothing moves without leave: with none asked for, refused, or stopped.
#[test]
fn nothing_moves_without_leave() {
    let refuses = Anybody { refuses: true, ..Anybody::default() };
    let stops = Anybody { stops: true, ..Anybody::default() };
    let without = {
        let mut host = bench(None).host();
        watch(&mut host, &to("0"), None, &mut Anybody::default(), &options())
    };
    assert!(without.strokes.is_empty() && without.stimulus.is_empty());
    for person in [refuses, stops] {
        let is_refusal = person.refuses;
        let (watched, sets, left, person) = watched_by(bench(None), person);
        assert_eq!((sets.len(), left, watched.strokes.len()), (0, 0, 0));
        assert_eq!(watched.ended == Ended::Whole, is_refusal, "{:?}", watched.ended);
        assert_eq!(watched.left, None);
        let [leave] = person.questions.as_slice() else { panic!("{:?}", person.questions) };
        assert!(leave.id == "triage/move" && leave.cautions.len() >= 4);
        // What was read before stays.
        assert_eq!(
            (value(&watched, "told_supply"), value(&watched, "opens")),
            ("as_plate".into(), "-".into())
        );
    }
}

/// A device that goes dark on the way to 20 mA: what was seen before is kept, and the current is left as it was.
#[test]
fn silence_in_the_middle() {
    let (watched, sets, left, _) = watched_by(bench(Some(("loop_volts_low", 0.6))), Anybody::default());
    assert_eq!((sets.as_slice(), left), (&[12.0, 13.6, 12.0, 20.0][..], 1));
    assert!(matches!(&watched.ended, Ended::Silent { during, .. } if during == "going to 100 %"));
    assert_eq!(watched.strokes.len(), 4);
    assert!(watched.strokes[3].samples.iter().any(|s| s.percent.is_none()));
}

/// Without a description nobody knows its travel: what every device tells is read, and nothing is moved.
#[test]
fn a_device_that_tells_little() {
    let bench = bench(None);
    let mut source = bench.source();
    let mut host = Host::new(bench, MasterConfig::default()).with_catalogue(Catalogue::default());
    let watched = watch(&mut host, &to("0"), Some(&mut source), &mut Anybody::default(), &options());
    assert!(watched.travel_assumed && source.sets.is_empty());
    let symptoms: Vec<String> = findings(&watched).into_iter().map(|f| f.symptom).collect();
    assert_eq!(
        symptoms,
        ["answers", "repeats", "strangers", "bursts", "current_mode", "device_status", "protected"]
    );
    assert!(watched.remarks[0].starts_with("Nothing was moved"));
}

/// A device with another tag than the one that is looked for is not taken for it, and one that has only lost its address is found by its tag.
#[test]
fn a_tag_finds_it() {
    let bench = || bench(Some(("polling_address_changed", 1.0)));
    for (tag, found) in [("FV-3104", true), ("FV-3105", false)] {
        let options = Options { tag: Some(tag.to_owned()), ..options() };
        let (watched, device) = look(&mut bench().host(), &to("0"), &options);
        assert_eq!(device.is_some(), found, "{tag}");
        let place = watched.elsewhere.as_deref().and_then(|e| e.first()).map(|e| e.address);
        // By its tag it tells no address; else 63 is the highest one that is free [DV-110].
        assert_eq!(place, Some(if found { None } else { Some(63) }), "{tag}");
        assert_eq!(value(&watched, "answers"), if found { "elsewhere" } else { "silent" });
    }
}

/// Only the device that was named is moved: not one that answers in its place, and one that has lost its address only where its tag is known.
#[test]
fn no_other_valve_is_moved() {
    for (named, tag, fault, moves) in [
        ("tag:FV-9999", None, None, false),
        ("0000000001", None, None, false),
        ("0", None, Some(("polling_address_changed", 1.0)), false),
        ("0", Some("FV-3104"), Some(("polling_address_changed", 1.0)), true),
        ("tag:FV-3104", None, None, true),
        // At its place, with another tag than the one that is looked for beside it.
        ("0", Some("FV-3105"), None, false),
        ("0", Some("fv-3104"), None, true),
    ] {
        let bench = bench(fault);
        let mut source = bench.source();
        let options = Options { tag: tag.map(str::to_owned), ..options() };
        let watched =
            watch(&mut bench.host(), &to(named), Some(&mut source), &mut Anybody::default(), &options);
        assert_eq!(
            (!source.sets.is_empty(), !watched.strokes.is_empty()),
            (moves, moves),
            "{named} {tag:?} {fault:?}"
        );
    }
}

/// Who answers is not the one looked for: it is said who that is, nothing moves, and the person's word decides [TG-31].
#[test]
fn the_person_says_which_valve_it_is() {
    let moved = Some(("polling_address_changed", 1.0));
    // The bench's unique address is what its device tells.
    let own = look(&mut bench(None).host(), &to("0"), &options()).0.device.unique_address;
    assert_eq!(own.len(), 10);
    let known = |address: &str| Options { unique_address: Some(address.to_owned()), ..options() };
    for (fault, named, options, who) in [
        (moved, "0", options(), "Nobody answers at polling address 0, and on the same wires device "),
        (None, "0000000001", options(), "at polling address 0 answers"),
        (None, "tag:FV-9999", options(), "with tag FV-3104 at polling address 0 answers"),
        (None, "0", known("0000000001"), "and device 0000000001 was there before"),
    ] {
        let to = to(named);
        for which in [None, Some(Which::This), Some(Which::Another)] {
            let bench = bench(fault);
            let mut source = bench.source();
            let mut host = bench.host();
            let (watched, device) = look(&mut host, &to, &options);
            let who_answers = &watched.who_answers;
            assert!(watched.is_unsure && who_answers.contains(who), "{named}: {who_answers}");
            assert!(who_answers.contains(&own), "{who_answers}");
            let (watched, device) = match which {
                Some(which) => identified(&mut host, &to, &options, watched, device, which),
                None => (watched, device),
            };
            let is_silent = value(&watched, "answers") == "silent";
            let is_read = value(&watched, "told_supply") != "-";
            let person = &mut Anybody::default();
            let watched = match device {
                Some(device) => stroke(&mut host, device, &mut source, person, &options, watched),
                None => watched,
            };
            let is_this = which == Some(Which::This);
            let moved = (!source.sets.is_empty(), !watched.strokes.is_empty());
            assert_eq!(moved, (is_this, is_this), "{named} {which:?}");
            if which == Some(Which::Another) {
                let is_gone = watched.device.unique_address.is_empty();
                assert!(is_silent && !is_read && is_gone, "{named}: {watched:?}");
                assert_eq!(value(&watched, "others_answer"), "present");
            }
            assert!(!is_this || is_read, "{named}");
        }
    }
    // The same one as before is no question.
    assert!(!look(&mut bench(None).host(), &to("0"), &known(&own.to_lowercase())).0.is_unsure);
}

/// The same bench gives the same record.
#[test]
fn twice_the_same() {
    let one = || watched(Some(("sensor_worn", 0.3))).to_json();
    assert_eq!(one(), one());
}

/// Ctrl-C anywhere ends it: what there is is kept, and the current is left as it was, once, if it was ever moved.
#[test]
fn ctrl_c_anywhere() {
    let count = |interrupted_at| {
        let mut bench = bench(None);
        let before = bench.waits();
        bench.interrupted_at = interrupted_at;
        let mut source = bench.source();
        let mut host = bench.host();
        let watched = watch(&mut host, &to("0"), Some(&mut source), &mut Anybody::default(), &options());
        (watched, source.sets.len(), source.left, before, host.line_mut().waits())
    };
    let (_, _, _, before, waits) = count(None);
    let mut places = Vec::new();
    for n in 1..=10 {
        let (watched, sets, left, ..) = count(Some(before + n * (waits - before) / 11));
        let Ended::Interrupted { during } = &watched.ended else { panic!("{n}: {:?}", watched.ended) };
        assert_eq!((left, watched.left.is_some()), (usize::from(sets > 0), sets > 0), "{n}: {during}");
        assert_eq!(watched.strokes.len(), sets);
        places.push(during.clone());
    }
    assert!(
        places.iter().any(|p| p.contains("reading")) && places.iter().any(|p| p.contains("going to")),
        "{places:?}"
    );
}
