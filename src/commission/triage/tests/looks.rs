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
        match says.iter().find(|(s, _)| *s == symptom.name) {
            Some((_, value)) => {
                of.add(super::finding(&symptom.name, value));
            }
            None => of.not_known(next.symptom),
        }
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
