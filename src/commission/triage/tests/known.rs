//! looprig's own knowledge: what it says where something can hurt, and what it makes of talk that fails.

use super::{finding, share};
use crate::commission::triage::*;

fn known() -> Knowledge {
    Knowledge::own().unwrap_or_else(|e| panic!("{e}"))
}

/// Words that need a caution, and a word of that caution.
fn needed(text: &str) -> Vec<&'static str> {
    let text = text.to_lowercase();
    let rules: [(&[&str], &str); 8] = [
        // A calibration strokes the valve; so does whoever sends 20 mA or opens it.
        (&["calibrate the travel"], "from end to end"),
        (&["20 ma"], "20 ma drives"),
        (
            &["12 ma and at rest", "valve open", "set point by 5 %", "set point slowly"],
            "process in manual or on bypass",
        ),
        (&["power off"], "power off drives the valve to its fail position"),
        (&["cover", "exchange the sensor", "dry, look for"], "hazardous area"),
        (
            &["hand-wheel", "travel stop", "follow the tubes", "stem or shaft"],
            "hands off|shut, vented|air comes back",
        ),
        (&["exchange the sensor"], "without its sensor"),
        (&["full stroke"], "strokes over its whole travel|may break loose"),
    ];
    rules
        .iter()
        .filter(|(words, _)| words.iter().any(|w| text.contains(w)))
        .map(|(_, caution)| *caution)
        .collect()
}

fn lacks(name: &str, text: &str, cautions: &[String]) -> Vec<String> {
    let all = cautions.join(" ").to_lowercase();
    let mut wanted = needed(text);
    // Air that is shut comes back.
    if ["air shut", "shut the air", "air shut, vented", "shut and vent"].iter().any(|w| all.contains(w)) {
        wanted.push("air comes back");
    }
    if all.contains("power off") {
        wanted.push("power off drives the valve to its fail position");
    }
    let missing = wanted.into_iter().filter(|w| !w.split('|').any(|w| all.contains(w)));
    missing.map(|w| format!("{name}: no caution says \"{w}\"")).collect()
}

/// What strokes the valve, takes power or air away or gives it back, or opens a housing, is never told without saying so.
#[test]
fn what_can_hurt_has_its_caution() {
    let known = known();
    let of_causes = known.causes.iter().flat_map(|c| lacks(&c.name, &c.remedy, &c.cautions));
    let checks = known.symptoms.iter().filter_map(|s| Some((s, s.check.as_ref()?)));
    let of_checks = checks.clone().flat_map(|(s, c)| lacks(&s.name, &c.question, &c.cautions));
    let missing: Vec<String> = of_causes.chain(of_checks).collect();
    assert!(missing.is_empty(), "{}", missing.join("\n"));
    // The rules bite.
    assert_eq!(lacks("x", "Mend it, calibrate the travel.", &["Air shut and vented.".into()]).len(), 2);
    for (s, c) in checks.filter(|(_, c)| c.strokes) {
        assert!(c.cautions.join(" ").contains("hands off"), "{}", s.name);
    }
    // Every remedy that touches something says what to take care of.
    assert!(known.causes.iter().all(|c| !c.cautions.is_empty()));
}

fn bus(symptom: &str, value: &str) -> Finding {
    Finding { from: Origin::Bus, ..finding(symptom, value) }
}

fn session<'k>(known: &'k Knowledge, of_bus: &[(&str, &str)], of_person: &[(&str, &str)]) -> Session<'k> {
    let mut session = Session::new(known, false);
    let taken = |ok: bool, name: &str| assert!(ok, "{name} is not known");
    of_bus.iter().for_each(|(s, v)| taken(session.add(bus(s, v)), s));
    of_person.iter().for_each(|(s, v)| taken(session.add(finding(s, v)), s));
    session
}

fn first(session: &Session<'_>) -> String {
    let causes = &session.knowledge().causes;
    session.ranks()[0].cause.map_or(String::new(), |c| causes[c].name.clone())
}

/// How likely these are, together.
fn together(session: &Session<'_>, names: &[&str]) -> f64 {
    let causes = &session.knowledge().causes;
    let place = |name: &&str| causes.iter().position(|c| c.name == **name);
    names.iter().map(|n| share(session, Some(place(n).unwrap_or_else(|| panic!("{n}"))))).sum()
}

const TALK: [&str; 5] = ["modem_dead", "loop_ohms_low", "signal_blocked", "wrong_address", "loop_noise"];
const SILENT: [(&str, &str); 3] =
    [("answers", "silent"), ("others_answer", "none"), ("port_hears", "nothing")];

/// Nobody answers, and display, current, volts, cable and terminals are good: it is the talk, and what is asked next is, too; each
/// of its checks then decides [TG-13].
#[test]
fn silence_of_a_device_that_works() {
    let known = known();
    let good = [
        ("display", "lit"),
        ("loop_current", "as_sent"),
        ("terminal_volts", "enough"),
        ("insulation", "good"),
        ("at_terminals", "answers"),
        ("stem", "moves"),
    ];
    let of = session(&known, &SILENT, &good);
    assert!(together(&of, &TALK) > 0.7, "{:?}", of.ranks().iter().take(4).collect::<Vec<_>>());
    let next = of.next().expect("something is asked");
    let asked = known.symptoms[next.symptom].name.as_str();
    assert!(["asked_for", "modem", "loop_ohms", "in_between"].contains(&asked), "{asked}");
    for (symptom, value, cause) in [
        ("asked_for", "wrong", "wrong_address"),
        ("modem", "dead", "modem_dead"),
        ("loop_ohms", "low", "loop_ohms_low"),
        ("in_between", "blocks", "signal_blocked"),
    ] {
        let mut told = good.to_vec();
        // A modem that is dead is silent at the terminals, too.
        told.retain(|(s, _)| !(cause == "modem_dead" && *s == "at_terminals"));
        told.push((symptom, value));
        let of = session(&known, &SILENT, &told);
        assert_eq!(first(&of), cause);
        assert!(together(&of, &[cause]) > 0.4 && together(&of, &TALK) > 0.9, "{cause}");
    }
}

/// A port that hears nothing says nothing of the valve's wires; others that answer say that the wires live [TG-13].
#[test]
fn dead_ports_and_wrong_tags_are_no_reversed_wires() {
    let known = known();
    let dead = session(&known, &SILENT, &[]);
    assert_eq!(first(&dead), "modem_dead");
    let reversed = |of: &Session<'_>| together(of, &["wires_reversed"]);
    assert!(reversed(&dead) < 0.25, "{}", reversed(&dead));
    let talks = [("answers", "silent"), ("others_answer", "present"), ("port_hears", "talk")];
    let others = session(&known, &talks, &[]);
    assert_eq!(first(&others), "wrong_address");
    assert!(together(&others, &["wires_reversed", "loop_volts_low", "current_missing"]) < 0.05);
    // The wires are looked at, and then it is they.
    let seen = [("display", "dark"), ("terminal_volts", "reversed")];
    assert_eq!(first(&session(&known, &SILENT, &seen)), "wires_reversed");
}

/// What a waveform tells leads to its cause: noise, too little signal, two at once.
#[test]
fn waveforms_lead_to_causes() {
    let known = known();
    let often = [("answers", "at_times"), ("repeats", "many")];
    let of = |more: &[(&str, &str)]| session(&known, &[&often[..], more].concat(), &[("display", "lit")]);
    let noisy = of(&[("signal_level", "enough"), ("signal_noise", "noisy")]);
    assert_eq!(first(&noisy), "loop_noise");
    let weak = of(&[("signal_level", "low"), ("signal_noise", "quiet")]);
    let low = ["loop_ohms_low", "signal_blocked", "wet_cable"];
    assert!(together(&weak, &low) > 3.0 * together(&noisy, &low), "{}", together(&weak, &low));
    assert!(together(&weak, &["loop_noise"]) < 0.1);
    let two = [("strangers", "present"), ("two_at_once", "present")];
    assert_eq!(first(&of(&two)), "second_master");
}

/// Too much signal has a cause, by who is so loud, and is not left unexplained; a look decides [TG-33].
#[test]
fn too_much_signal_has_a_cause() {
    let known = known();
    for (who, likely, other, check, value) in [
        ("master", "modem_too_loud", "loop_ohms_high", "modem_level", "loud"),
        ("device", "loop_ohms_high", "modem_too_loud", "loop_ohms", "high"),
        ("both", "loop_ohms_high", "modem_too_loud", "loop_ohms", "high"),
    ] {
        let bus = [("answers", "yes"), ("signal_level", "high"), ("loud_talker", who), ("wave_talk", "both")];
        let of = session(&known, &bus, &[]);
        assert_eq!(first(&of), likely, "{who}");
        assert!(together(&of, &[likely]) > 2.0 * together(&of, &[other]), "{who}");
        let asked = of.next().map(|n| known.symptoms[n.symptom].name.clone());
        assert!(asked.is_none_or(|a| ["modem_level", "loop_ohms"].contains(&a.as_str())), "{who}");
        let of = session(&known, &bus, &[(check, value)]);
        assert!(together(&of, &[likely]) > 0.95, "{who}: {}", together(&of, &[likely]));
        let triage = Triage::of(&of, Vec::new(), String::new());
        assert!(triage.verdict == Verdict::Likely && !triage.causes[0].remedy.is_empty());
        assert!(triage.remarks.iter().all(|r| !r.contains("no cause explains it")), "{:?}", triage.remarks);
    }
    // Without a word of who it is both are told.
    let of = session(&known, &[("answers", "yes"), ("signal_level", "high")], &[]);
    assert!(together(&of, &["modem_too_loud", "loop_ohms_high"]) > 0.5);
}

/// What is as on a healthy valve speaks against causes, and for none.
#[test]
fn the_usual_speaks_for_nothing_but_health() {
    let known = known();
    let usual = [("answers", "yes"), ("reading", "smooth"), ("opens", "short")];
    let of = session(&known, &usual, &[("travel_stop", "moved")]);
    assert_eq!(first(&of), "stop_moved");
    let names = |list: Vec<Weighed>| list.into_iter().map(|w| w.finding.symptom).collect::<Vec<_>>();
    let (speaks_for, _) = of.evidence(of.ranks()[0].cause);
    assert_eq!(names(speaks_for), ["travel_stop", "opens"]);
    let (_, against) = of.evidence(known.causes.iter().position(|c| c.name == "sensor_worn"));
    assert!(names(against).contains(&"reading".to_owned()));
    let healthy = session(&known, &[("answers", "yes"), ("opens", "full"), ("shuts", "full")], &[]);
    assert!(!healthy.evidence(None).0.is_empty());
}

/// A recording without any signal: the loop that swallows it is among those told, a modem is not first, for a recorder needs none; and a modem
/// that was tried elsewhere and works is no cause any more [TG-25].
#[test]
fn an_empty_recording_is_no_dead_modem() {
    let known = known();
    let told = [("answers", "silent"), ("signal_level", "none")];
    let of = session(&known, &told, &[]);
    assert_ne!(first(&of), "modem_dead");
    let dead = |of: &Session<'_>| together(of, &["modem_dead"]);
    assert!(together(&of, &["loop_ohms_low"]) > dead(&of), "{}", dead(&of));
    let of = session(&known, &told, &[("modem", "works"), ("display", "lit")]);
    assert_eq!(first(&of), "loop_ohms_low");
    assert!(dead(&of) < 0.01, "{}", dead(&of));
    // Even where nothing but the modem would be left.
    let of = session(&known, &SILENT, &[("modem", "works")]);
    assert!(dead(&of) < 0.03, "{}", dead(&of));
}

/// It answers in the recording while nobody answers us: it has power, and it is modem, port or address [TG-25].
#[test]
fn an_answer_in_the_recording_says_that_there_is_power() {
    let known = known();
    let told = [
        ("answers", "silent"),
        ("signal_level", "enough"),
        ("signal_noise", "quiet"),
        ("two_at_once", "none"),
        ("wave_talk", "both"),
    ];
    let of = session(&known, &told, &[]);
    let (talk, power) = (
        together(&of, &["modem_dead", "wrong_address", "signal_blocked"]),
        together(&of, &["loop_volts_low", "wires_reversed", "current_missing", "water_in_housing"]),
    );
    assert!(talk > 0.6 && power < 0.15, "{talk} {power}");
    let next = known.symptoms[of.next().expect("something is asked").symptom].name.as_str();
    assert!(["modem", "asked_for"].contains(&next), "{next}");
}

/// A valve that does not come to its ends, which a leak shows, too: soap before the stage is taken off, and no word of a workshop before
/// that [TG-26].
#[test]
fn soap_before_the_stage() {
    let known = known();
    let unknown = ["output_jog", "start_pressure", "by_hand", "output_gauge", "trapped_air"];
    let seen =
        [("answers", "yes"), ("opens", "short"), ("opening_time", "much_longer"), ("deviation", "low")];
    let mut of = session(&known, &seen, &[]);
    unknown.iter().for_each(|s| of.not_known(known.symptom(s).expect("a symptom")));
    let mut asked = Vec::new();
    while let Some(next) = of.best() {
        let symptom = &known.symptoms[next.symptom];
        if symptom.check.as_ref().is_some_and(|c| c.workshop) {
            break;
        }
        assert_ne!(of.verdict(), Verdict::Workshop, "{asked:?}");
        asked.push(symptom.name.clone());
        of.not_known(next.symptom);
    }
    for name in ["leak", "supply_gauge"] {
        assert!(asked.iter().any(|a| a == name), "{asked:?}");
    }
    // And a check of the workshop says so where it is asked.
    let stage = &known.symptoms[known.symptom("passages").expect("passages")];
    let question = stage.question().expect("it is asked for");
    assert!(question.cautions[0].contains("job for the workshop"), "{:?}", question.cautions);
}

/// Another master in our role: nothing is asked, and the next step is to take it away [TG-28]. A person who says so is asked on.
#[test]
fn another_master_comes_first() {
    let known = known();
    let of = session(&known, &[("strangers", "present"), ("answers", "yes")], &[]);
    assert_eq!(of.next(), None);
    let next = Triage::of(&of, Vec::new(), String::new()).next.expect("a next step");
    assert!(next.symptom == "strangers" && next.question.contains("Disconnect the other master"), "{next:?}");
    let mut of = Session::new(&known, false);
    of.add(finding("strangers", "present"));
    assert_eq!(of.first_of_all(), None);
}

/// What a cause that is told has for it is not called unexplained [TG-27].
#[test]
fn what_a_told_cause_explains_is_not_unexplained() {
    let known = known();
    let usual: Vec<(&str, &str)> = known
        .symptoms
        .iter()
        .filter(|s| s.seen != Seen::Person && s.name != "signal_level" && s.name != "wave_talk")
        .map(|s| (s.name.as_str(), s.values[0].name.as_str()))
        .collect();
    let of = session(&known, &[&usual[..], &[("signal_level", "low")]].concat(), &[("stem", "moves")]);
    let triage = Triage::of(&of, Vec::new(), String::new());
    assert!(triage.causes.iter().any(|c| c.speaks_for.iter().any(|w| w.finding.symptom == "signal_level")));
    assert!(!triage.remarks.iter().any(|r| r.contains("no cause explains it")), "{:?}", triage.remarks);
}

/// Most of what a person was asked for is not known: no clean bill, and it is listed [TG-29].
#[test]
fn what_was_not_looked_at_is_listed() {
    let known = known();
    let usual: Vec<(&str, &str)> = known
        .symptoms
        .iter()
        .filter(|s| s.seen != Seen::Person)
        .map(|s| (s.name.as_str(), s.values[0].name.as_str()))
        .collect();
    let mut of = session(&known, &usual, &[]);
    assert_eq!(of.verdict(), Verdict::NothingFound);
    of.not_known(known.symptom("stem").expect("a symptom"));
    assert_eq!(of.verdict(), Verdict::Unclear);
    let triage = Triage::of(&of, Vec::new(), String::new());
    assert!(triage.remarks.iter().any(|r| r.starts_with("Not looked at (1): ")), "{:?}", triage.remarks);
}
