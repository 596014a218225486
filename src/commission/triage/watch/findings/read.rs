//! What follows from what the bus told without moving anything.

use super::super::collect::HOLD_S;
use super::super::strokes::{MIDDLE, STEP};
use super::super::{Hold, Watched};
use super::{Found, finite, mean, median, numbers, span};
use crate::commission::travel::record::Ended;

/// A device that answers fewer first tries than this share, and sometimes not at all, answers at times.
const AT_TIMES: f64 = 0.6;
/// Share of tries that had to be repeated: below is few, below the second some.
const FEW: f64 = 0.05;
const SOME: f64 = 0.3;
/// Fewer tries say nothing of shares.
const LEAST_TRIES: u32 = 10;
/// One request that is not ours is no proof [HO-03].
const STRANGERS: u32 = 2;
/// The bit of the second status octet that says that the loop current is fixed [ST-02].
const FIXED: u8 = 0x08;
/// The bit that says that the device has a defect that its readings suffer from [ST-02].
const MALFUNCTION: u8 = 0x80;
/// The bits of command 48 that are symptoms, by the words of our own description; other types may use the same [TG-14].
const SUPPLY_LOW: [&str; 3] = ["supply pressure too low", "supply pressure low", "air supply low"];
const LEVER_OUTSIDE: [&str; 1] = ["lever outside its angles"];
const ON_LOCAL: [&str; 2] = ["on local", "local control"];
const BY_HAND: [&str; 1] = ["set point by hand"];
const LOCKED: [&str; 2] = ["device configuration locked", "configuration locked"];
const CALIBRATION_FAILED: &str = "calibration failed";
const NEVER_CALIBRATED: &str = "never calibrated";
/// A supply pressure above this share of what it should be is high.
const HIGH_SUPPLY: f64 = 1.15;
/// A supply pressure below this share of what it should be is low.
pub const LOW_SUPPLY: f64 = 0.92;
/// Travel that moves more at one set point does not hold, percent.
const HOLDS_PERCENT: f64 = 1.0;
/// Of which at least this share lies between begin and end where it drifts.
const DRIFTS: f64 = 0.7;
/// Readings that are taken together where a set point is held.
const SMOOTH: usize = 3;
/// Fewer readings say nothing.
const LEAST_READINGS: usize = 10;
/// A set point is watched for less time only where something ended it, s.
const LEAST_HOLD_S: f64 = 10.0;

pub fn from_the_bus(w: &Watched, out: &mut Found) {
    answers(w, out);
    repeats(w, out);
    others(w, out);
    told(w, out);
    supply(w, out);
    calibration(w, out);
    hold(w, out);
}

fn is_heard(w: &Watched) -> bool {
    w.asked.iter().any(|a| a.answered)
}

fn answers(w: &Watched, out: &mut Found) {
    let all = w.asked.len();
    let first = w.asked.iter().filter(|a| a.answered && a.tries == 1).count();
    let none = w.asked.iter().filter(|a| !a.answered).count();
    let symptom = "answers";
    if let (true, Ended::Silent { during, .. }) = (is_heard(w), &w.ended) {
        let words = format!("it answered, and then, {during}, it did not any more");
        return out.bus(symptom, "at_times", words);
    }
    if is_heard(w) {
        let share = first as f64 / all as f64;
        let value = if share < AT_TIMES && none > 0 { "at_times" } else { "yes" };
        let words = match first == all {
            true => format!("all {all} requests were answered at the first try"),
            false => format!("of {all} requests {first} were answered at the first try, {none} not at all"),
        };
        return out.bus(symptom, value, words);
    }
    let it = w.elsewhere.iter().flatten().filter(|e| !e.is_another).collect::<Vec<_>>();
    match (w.elsewhere.as_deref(), it.as_slice()) {
        (Some(_), [one]) => {
            let at =
                one.address.map_or_else(|| "to its tag".to_owned(), |a| format!("at polling address {a}"));
            let tag = if one.tag.is_empty() { String::new() } else { format!(", tag {}", one.tag) };
            let words = format!("nobody answers at {}; {}{tag} answers {at}", w.to, one.unique_address);
            out.bus(symptom, "elsewhere", words);
        }
        // What was broken off says nothing.
        (Some(others), _) if w.ended == Ended::Whole => {
            let mut words = format!("{all} requests to {} without an answer", w.to);
            if others.is_empty() {
                words += ", none at any other polling address";
            } else {
                let list: Vec<String> = others
                    .iter()
                    .map(|o| format!("{} {}", o.address.map_or_else(String::new, |a| a.to_string()), o.tag))
                    .collect();
                words += &format!("; others answer at {}", list.join(", "));
            }
            out.bus(symptom, "silent", words);
            silence(w, others.len(), out);
        }
        _ => {}
    }
}

/// What else was on the wires where nobody answered [TG-13].
fn silence(w: &Watched, others: usize, out: &mut Found) {
    let (value, words) = match others {
        0 => ("none", "no other device answers on these wires".to_owned()),
        1 => ("present", "another device answers on the same wires".to_owned()),
        n => ("present", format!("{n} other devices answer on the same wires")),
    };
    out.bus("others_answer", value, words);
    let heard = &w.others;
    let whole = heard.same_role.saturating_add(heard.other_role).saturating_add(heard.bursts);
    let (value, words) = match (others > 0 || whole > 0, heard.damaged) {
        (true, _) => ("talk", "the port hears whole messages"),
        (false, 0) => ("nothing", "the port hears nothing at all, not even noise"),
        (false, _) => ("damaged", "the port hears something, and no whole message"),
    };
    out.bus("port_hears", value, words.to_owned());
}

fn repeats(w: &Watched, out: &mut Found) {
    let (mut tries, mut answered) = (w.link.requests.saturating_add(w.link.retries), w.link.answered);
    if is_heard(w) {
        for a in &w.asked {
            tries = tries.saturating_add(a.tries);
            answered = answered.saturating_add(u32::from(a.answered));
        }
    }
    if answered == 0 || tries < LEAST_TRIES {
        return;
    }
    let again = tries.saturating_sub(answered);
    let share = f64::from(again) / f64::from(tries);
    let value = match share {
        s if s < FEW => "few",
        s if s < SOME => "some",
        _ => "many",
    };
    out.bus("repeats", value, format!("{again} of {tries} tries had no good answer"));
}

fn others(w: &Watched, out: &mut Found) {
    let heard = &w.others;
    // The other role is there for another master, such as the control system's [LL-09].
    let beside = match heard.other_role {
        0 => String::new(),
        1 => "; one of the other role was, as a control system has it".to_owned(),
        n => format!("; {n} of the other role were, as a control system has it"),
    };
    if w.stopped.is_some() {
        let words = "another master at work in our own role was heard, so looprig stopped asking";
        out.bus("strangers", "present", words.to_owned());
    } else if heard.same_role >= STRANGERS {
        let words = format!("{} requests of our own role were heard that we did not send", heard.same_role);
        out.bus("strangers", "present", words);
    } else if !w.asked.is_empty() {
        out.bus("strangers", "none", format!("no other master of our own role was heard{beside}"));
    }
    match (heard.bursts, w.burst_mode) {
        (1.., _) => out.bus("bursts", "present", format!("{} burst messages were heard", heard.bursts)),
        (_, Some(true)) => {
            out.bus("bursts", "present", "the device says that it is in burst mode".to_owned())
        }
        (0, Some(false)) => out.bus("bursts", "none", "no burst message was heard".to_owned()),
        (0, None) => {}
    }
}

/// What command 48 says, behind a colon; empty where that is nothing.
fn said(told: &[String]) -> String {
    if told.is_empty() { String::new() } else { format!(": {}", told.join(", ")) }
}

fn told(w: &Watched, out: &mut Found) {
    if let Some(status) = w.status {
        let (value, is) = if status & FIXED != 0 { ("fixed", "is") } else { ("follows", "is not") };
        let words = format!("its status 0x{status:02X} says that the loop current {is} fixed");
        out.bus("current_mode", value, words);
        let (value, words) = match status & MALFUNCTION != 0 {
            true => {
                ("failure", format!("its status 0x{status:02X} says that it has a defect{}", said(&w.told)))
            }
            false => ("good", format!("its status 0x{status:02X} tells no defect")),
        };
        out.bus("device_status", value, words);
    }
    // The words of a bit as a description gives them, whole: "supply voltage low" is no pressure.
    let has = |names: &[&str]| w.told.iter().find(|t| names.iter().any(|n| t.trim().eq_ignore_ascii_case(n)));
    let says = |bit: &String| format!("it says: {bit}");
    let mut bit = |symptom: &str, names: &[&str], yes: &str, no: (&str, &str)| match has(names) {
        Some(bit) => out.bus(symptom, yes, says(bit)),
        None if w.told_has_own => out.bus(symptom, no.0, no.1.to_owned()),
        None => {}
    };
    let by_loop = ("loop", "it says neither that it is on local nor that its set point is by hand");
    if has(&ON_LOCAL).is_some() {
        bit("set_point_from", &ON_LOCAL, "local", by_loop);
    } else {
        bit("set_point_from", &BY_HAND, "hand", by_loop);
    }
    bit("supply_alarm", &SUPPLY_LOW, "yes", ("no", "it does not say that its supply is too low"));
    bit("lever_alarm", &LEVER_OUTSIDE, "yes", ("no", "it does not say that its lever is outside its angles"));
    let locked = has(&LOCKED);
    match (w.write_protect, locked) {
        (Some(true), _) => {
            out.bus("protected", "yes", "command 15 says that it is write-protected".to_owned())
        }
        (_, Some(bit)) => out.bus("protected", "yes", says(bit)),
        (Some(false), None) => {
            out.bus("protected", "no", "command 15 says that it is not write-protected".to_owned());
        }
        (None, None) => {}
    }
}

/// The supply pressure at rest, kPa.
pub fn supply_at_rest(w: &Watched) -> Option<f64> {
    median(w.supply.at_rest.iter().filter_map(|s| s.1).collect())
}

fn supply(w: &Watched, out: &mut Found) {
    let Some((told, plate)) = supply_at_rest(w).zip(finite(w.supply.plate_kpa).filter(|p| *p > 0.0)) else {
        return;
    };
    let value = match told / plate {
        s if s < LOW_SUPPLY => "low",
        s if s > HIGH_SUPPLY => "high",
        _ => "as_plate",
    };
    out.bus(
        "told_supply",
        value,
        format!("it tells {told:.0} kPa of supply at rest, {plate:.0} kPa should be there"),
    );
}

fn calibration(w: &Watched, out: &mut Found) {
    let has = |name: &str| w.told.iter().any(|t| t.trim().eq_ignore_ascii_case(name));
    let Some(c) = &w.calibration else { return };
    let failed = c.state.to_lowercase().contains("failed");
    let (value, words) = if failed || has(CALIBRATION_FAILED) {
        ("failed", format!("the last calibration failed: {}", c.fault))
    } else if c.angles_deg.is_none() || has(NEVER_CALIBRATED) {
        ("never", "it has not learned its end stops".to_owned())
    } else {
        let (closed, open) = c.angles_deg.unwrap_or_default();
        ("done", format!("it has learned its end stops, {closed:.1} and {open:.1} degrees"))
    };
    out.bus("calibration", value, words);
}

/// A set point that moves by more is not one: travel that follows it is no swinging, percent.
const SET_POINT_PERCENT: f64 = 0.5;

/// Travel at one set point: what was held, and what did not come to rest in the small steps and before.
fn hold(w: &Watched, out: &mut Found) {
    let restless =
        w.strokes.iter().filter(|s| !s.settled && (s.to_percent == MIDDLE || s.to_percent == STEP));
    let tails = restless.map(|s| {
        let of = numbers(&s.samples);
        let from_s = of.last().map_or(0.0, |l| l.0 - HOLD_S);
        of.into_iter().filter(|(t, _)| *t >= from_s).collect::<Vec<_>>()
    });
    let stood = |h: &&Hold| h.set_point_spans_percent <= SET_POINT_PERCENT;
    let held = w.hold.iter().filter(stood).map(|h| numbers(&h.samples));
    let judged: Vec<(&str, String)> = held.chain(tails).filter_map(|of| steady(&of)).collect();
    let worst = judged.iter().find(|(value, _)| *value != "steady").or(judged.first());
    if let Some((value, words)) = worst {
        out.bus("hold", value, words.clone());
    }
}

fn steady(of: &[(f64, f64)]) -> Option<(&'static str, String)> {
    let lasted_s = of.last()?.0 - of.first()?.0;
    if lasted_s < LEAST_HOLD_S || of.len() < LEAST_READINGS {
        return None;
    }
    // What jumps from reading to reading is no movement: a few are taken together.
    let smooth: Vec<(f64, f64)> = of
        .windows(SMOOTH)
        .map(|part| (part[SMOOTH / 2].0, part.iter().map(|s| s.1).sum::<f64>() / SMOOTH as f64))
        .collect();
    let spans = span(&smooth);
    let fifth = (smooth.len() / 5).max(1);
    let part = |of: &[(f64, f64)]| mean(&of.iter().map(|s| s.1).collect::<Vec<_>>());
    let went = part(&smooth[smooth.len() - fifth..])? - part(&smooth[..fifth])?;
    let value = match spans > HOLDS_PERCENT {
        false => "steady",
        true if went.abs() >= DRIFTS * spans => "drifts",
        true => "swings",
    };
    // No minus before nothing.
    let went = if went.abs() < 0.05 { 0.0 } else { went };
    let words = format!(
        "in {lasted_s:.0} s at one set point travel moved within {spans:.1} %, from begin to end by {went:+.1} %"
    );
    Some((value, words))
}
