//! What no air, an open loop and a small leak lead to, and what is looked at before a verdict.

use super::known::{first, known, session, together};
use crate::commission::triage::*;

/// What the bus tells of a valve that stands at its spring end, and what a person sees of it.
const STANDS: [(&str, &str); 6] = [
    ("answers", "yes"),
    ("set_point_from", "loop"),
    ("deviation", "low"),
    ("small_step", "no_move"),
    ("opens", "no_move"),
    ("shuts", "no_move"),
];

fn name_of(known: &Knowledge, next: Option<Next>) -> &str {
    next.map_or("", |n| known.symptoms[n.symptom].name.as_str())
}

/// Answers what is asked until nothing is: by this list, and what is not in it is not known. Gives what was asked.
fn asked<'k>(of: &mut Session<'k>, says: &[(&str, &str)]) -> Vec<&'k str> {
    let mut all = Vec::new();
    while let Some(next) = of.next() {
        let symptom = &of.knowledge().symptoms[next.symptom];
        all.push(symptom.name.as_str());
        let value = says.iter().find(|(s, _)| *s == symptom.name).map(|(_, value)| *value);
        of.answer(next, value);
        assert!(all.len() < 60, "{all:?}");
    }
    all
}

/// The supply is shut off: the positioner tells 0 kPa, and it is no trip, whether the trip is looked at or not [TG-51].
#[test]
fn no_air_is_the_supply() {
    let known = known();
    let told = [&STANDS[..], &[("told_supply", "low"), ("supply_alarm", "yes")]].concat();
    let mut of = session(&known, &told, &[]);
    assert_eq!(first(&of), "no_air");
    let seen = [("supply_gauge", "low"), ("trip", "powered"), ("stem", "stands"), ("output_gauge", "stands")];
    asked(&mut of, &seen);
    assert_eq!((first(&of).as_str(), of.verdict()), ("no_air", Verdict::Likely));
    assert!(together(&of, &["trip_not_energised", "spring_broken"]) < 0.05);
}

/// A positioner that does not measure its supply: the gauge is among the first that are asked for, and decides [TG-51].
#[test]
fn the_gauge_is_asked_for_early() {
    let known = known();
    let mut of = session(&known, &STANDS, &[]);
    let seen = [("supply_gauge", "low"), ("trip", "powered"), ("stem", "stands"), ("output_gauge", "stands")];
    let all = asked(&mut of, &seen);
    assert!(all.iter().take(3).any(|s| *s == "supply_gauge"), "{all:?}");
    assert_eq!(first(&of), "no_air", "{all:?}");
}

/// What the bus told and no told cause explains stands beside what is likely [TG-52]; what one explains does not.
#[test]
fn what_no_told_cause_explains_is_told() {
    let known = known();
    let remarks = |more: &[(&str, &str)]| {
        let told = [&STANDS[..], more].concat();
        let of = session(&known, &told, &[("trip", "no_power"), ("supply_gauge", "as_plate")]);
        assert_eq!(first(&of), "trip_not_energised");
        Triage::of(&of, Vec::new(), String::new()).remarks.join(" ")
    };
    let says = "none of the causes told explains it";
    assert!(!remarks(&[]).contains(says), "{}", remarks(&[]));
    let noisy = remarks(&[("bursts", "present")]);
    assert!(noisy.contains(says) && noisy.contains("bursts: present"), "{noisy}");
}

/// A broken wire: dark, no current, and nothing at the terminals. It is the current that is missing, and no wires that are reversed; and there
/// is a next check [TG-53] [TG-54].
#[test]
fn a_broken_wire_is_no_reversed_one() {
    let known = known();
    let silent = [("answers", "silent"), ("others_answer", "none"), ("port_hears", "nothing")];
    let seen = [("display", "dark"), ("terminal_volts", "none")];
    let of = session(&known, &silent, &seen);
    assert_eq!(first(&of), "current_missing");
    assert!(together(&of, &["wires_reversed"]) < 0.2, "{}", together(&of, &["wires_reversed"]));
    let mut of = session(&known, &silent, &seen);
    let good =
        [("loop_current", "none"), ("supply_volts", "as_rated"), ("insulation", "good"), ("stem", "stands")];
    asked(&mut of, &good);
    assert_eq!((first(&of).as_str(), of.verdict()), ("current_missing", Verdict::Likely));
    // A fuse that has blown: the feed has no volts either.
    let mut of = session(&known, &silent, &seen);
    asked(&mut of, &[("loop_current", "none"), ("supply_volts", "low"), ("insulation", "good")]);
    assert_eq!(first(&of), "loop_volts_low");
}

/// Whatever is called likely has a next check: of each cause that stands out after all that it shows at a level was told by whoever tells it
/// [TG-54].
#[test]
fn a_likely_cause_names_a_next_check() {
    let known = known();
    let mut told = 0;
    for (cause, of) in known.causes.iter().enumerate() {
        for level in 0..3 {
            let mut session = Session::new(&known, false);
            for (symptom, s) in known.symptoms.iter().enumerate() {
                let p = |v: &usize| known.likelihood(Some(cause), level, symptom, *v);
                let most = (0..s.values.len()).max_by(|a, b| p(a).total_cmp(&p(b))).unwrap_or_default();
                let from = if s.seen == Seen::Person { Origin::Person } else { Origin::Bus };
                session.add(Finding { from, ..super::finding(&s.name, &s.values[most].name) });
            }
            if let Verdict::Likely | Verdict::Workshop = session.verdict() {
                told += 1;
                let triage = Triage::of(&session, Vec::new(), String::new());
                let next = triage.next.unwrap_or_else(|| panic!("{} at {level} has no next check", of.name));
                assert!(!next.question.is_empty(), "{}", of.name);
            }
        }
    }
    assert!(told > known.causes.len(), "{told}");
}

/// Somebody who has looked at the trip says that it has power: it is not called likely, and is to be looked at again [TG-57]. What may be as
/// usual with the cause denies nothing: of a trip the output gauges.
#[test]
fn what_was_looked_at_and_denied_is_unclear() {
    let known = known();
    let seen = [("supply_gauge", "as_plate"), ("stem", "stands"), ("output_gauge", "both_ends")];
    let told = [&STANDS[..], &[("told_supply", "as_plate")]].concat();
    let of = session(&known, &told, &seen);
    assert_eq!((first(&of).as_str(), of.verdict()), ("trip_not_energised", Verdict::Likely));
    let of = session(
        &known,
        &told,
        &[&seen[..], &[("trip", "powered"), ("stem_ends", "short_open"), ("handwheel", "neutral")]].concat(),
    );
    assert_eq!((first(&of).as_str(), of.verdict()), ("trip_not_energised", Verdict::Unclear));
    let next = Triage::of(&of, Vec::new(), String::new()).next.expect("a next check");
    assert!(next.symptom == "trip" && next.question.starts_with("Look at it again"), "{next:?}");
    // Of two own checks one that speaks for it is enough: the cable entry looks dry, and inside is water.
    let wet = [("housing", "wet"), ("terminal_volts", "low"), ("at_terminals", "silent")];
    let of = session(&known, &[("answers", "silent")], &[&wet[..], &[("gland", "tight")]].concat());
    assert_eq!(first(&of), "water_in_housing");
    assert_eq!(of.denied(), None);
}

/// The hand-wheel holds the stem: nothing moves, as with a stem that is seized. It takes two minutes to look at, and nothing goes to the
/// workshop before, however sure it is [TG-55].
#[test]
fn the_hand_wheel_before_the_workshop() {
    let known = known();
    let still = [
        ("answers", "yes"),
        ("set_point_from", "loop"),
        ("told_supply", "as_plate"),
        ("small_step", "no_move"),
        ("opens", "no_move"),
        ("shuts", "no_move"),
    ];
    let seen = [("stem", "stands"), ("by_hand", "stuck"), ("start_pressure", "apart"), ("trip", "powered")];
    let mut of = session(&known, &still, &seen);
    assert!(of.ranks()[0].share >= known.sure && first(&of) == "stem_seized", "{:?}", of.ranks()[0]);
    assert_eq!(of.verdict(), Verdict::Unclear);
    assert_eq!(name_of(&known, of.next()), "handwheel");
    of.not_known(known.symptom("handwheel").expect("a symptom"));
    // What the bus has told already is no look: the set point comes from the loop, the supply is as it should be.
    assert_eq!((name_of(&known, of.next()), of.verdict()), ("", Verdict::Workshop));
    // And where it is engaged, it is the hand-wheel.
    let more = [&seen[..], &[("handwheel", "engaged"), ("output_gauge", "both_ends")]].concat();
    let of = session(
        &known,
        &still,
        &more.iter().filter(|(s, _)| !["by_hand", "start_pressure"].contains(s)).copied().collect::<Vec<_>>(),
    );
    assert_eq!(first(&of), "handwheel_engaged");
}

/// A leak of a fifth of what the stage gives: the soap comes before the step at the gauge and before the stage, and a stage that was taken
/// off and is clean and free sticks no more [TG-56].
#[test]
fn the_soap_before_the_step_and_the_stage() {
    let known = known();
    let told = [
        ("answers", "yes"),
        ("told_supply", "as_plate"),
        ("hold", "swings"),
        ("deviation", "low"),
        ("small_step", "misses"),
        ("opens", "short"),
        ("shuts", "full"),
        ("closing_time", "as_ever"),
        ("opening_time", "longer"),
        ("reading", "smooth"),
        ("motion", "smooth"),
    ];
    let mut of = session(&known, &told, &[]);
    let all = asked(&mut of, &[("leak", "tubing"), ("trapped_air", "falls"), ("passages", "clean")]);
    let place = |name: &str| all.iter().position(|s| *s == name).unwrap_or(all.len());
    assert!(place("leak") < place("output_jog") && place("leak") < place("passages"), "{all:?}");
    assert_eq!(first(&of), "tubing_leak", "{all:?}");
    let of = session(&known, &told, &[("passages", "clean")]);
    assert!(together(&of, &["stage_stuck"]) < 0.05, "{}", together(&of, &["stage_stuck"]));
}

/// A stage that sticks stands where it stood: in the middle or at an end [TG-57].
#[test]
fn a_stage_sticks_anywhere() {
    let known = known();
    let still = [("answers", "yes"), ("small_step", "no_move"), ("opens", "no_move"), ("shuts", "no_move")];
    let seen = [
        ("trip", "powered"),
        ("output_gauge", "stands"),
        ("output_jog", "none"),
        ("supply_gauge", "as_plate"),
    ];
    let of = session(
        &known,
        &still,
        &[&seen[..], &[("stem_ends", "short_open"), ("selector", "remote")]].concat(),
    );
    assert_eq!(first(&of), "stage_stuck");
}
