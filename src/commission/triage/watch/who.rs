//! Who answers, where that is not surely the device that is looked for [TG-31].

use super::collect::Collector;
use super::watched::{Elsewhere, Watched};
use super::{Asked, Options};
use crate::commission::travel::record::{Ended, Identity};
use crate::commission::triage::Which;
use crate::host::{Device, Talk, To};

/// Characters of a short tag, which may be the beginning of a longer one.
const SHORT_TAG: usize = 8;
/// No more of those who answer are named.
const MOST_NAMED: usize = 4;

fn named(unique_address: &str, tag: &str) -> String {
    let tag = if tag.is_empty() { String::new() } else { format!(" with tag {tag}") };
    format!("device {unique_address}{tag}")
}

/// Who answers at another place than `to`.
pub fn others(others: &[Elsewhere], to: &To) -> String {
    let one = |o: &Elsewhere| {
        let at = o.address.map_or_else(String::new, |a| format!(" at polling address {a}"));
        format!("{}{at}", named(&o.unique_address, &o.tag))
    };
    let mut list: Vec<String> = others.iter().take(MOST_NAMED).map(one).collect();
    if others.len() > MOST_NAMED {
        list.push(format!("{} more", others.len() - MOST_NAMED));
    }
    let do_so = if others.len() == 1 { "answers" } else { "answer" };
    format!("Nobody answers at {to}, and on the same wires {} {do_so}", list.join(", "))
}

/// Whether a tag that is told may be the one that is wanted.
fn is_tag(wanted: &str, told: &str) -> bool {
    let (wanted, told) = (wanted.trim().to_uppercase(), told.trim().to_uppercase());
    wanted == told || (told.chars().count() == SHORT_TAG && wanted.starts_with(&told))
}

/// Of a device that answers at its place: who it is, if it has another tag or another unique address than is known of the one looked
/// for. One that tells neither is taken for it.
pub fn not_the_one(device: &Identity, to: &To, options: &Options) -> Option<String> {
    let tags: Vec<&str> =
        [&device.long_tag, &device.tag].into_iter().map(|t| t.trim()).filter(|t| !t.is_empty()).collect();
    let other_tag = options.tag.as_ref().filter(|w| !tags.is_empty() && !tags.iter().any(|t| is_tag(w, t)));
    let is_other = |known: &&String| {
        !device.unique_address.is_empty() && !known.eq_ignore_ascii_case(&device.unique_address)
    };
    let other_address = options.unique_address.as_ref().filter(is_other);
    let wanted = match (other_tag, other_address) {
        (Some(tag), _) => format!("tag {} is looked for", tag.trim().to_uppercase()),
        (None, Some(known)) => format!("device {} was there before", known.to_uppercase()),
        (None, None) => return None,
    };
    let name = named(&device.unique_address, tags.first().copied().unwrap_or_default());
    Some(format!("At {to} answers {name}, and {wanted}"))
}

/// The person has said which valve answers: if it is the one looked for a device alone that was not taken for it before is read now; if
/// it is another, nothing that was read of it stays, and there is no device. Nothing moves.
pub fn identified(
    talk: &mut dyn Talk,
    to: &To,
    options: &Options,
    mut watched: Watched,
    device: Option<Device>,
    which: Which,
) -> (Watched, Option<Device>) {
    match which {
        Which::This => {
            let who = core::mem::take(&mut watched.who_answers);
            let alone = match (device, watched.elsewhere.as_deref()) {
                (None, Some([one])) => To::parse(&one.unique_address).ok(),
                _ => None,
            };
            let Some(unique) = alone else {
                watched.is_unsure = device.is_none();
                watched.who_answers = who;
                return (watched, device);
            };
            for one in watched.elsewhere.iter_mut().flatten() {
                one.is_another = false;
            }
            let mut collector = Collector::new(talk, options);
            collector.out = watched;
            let done = collector.find(&unique, to);
            let (mut watched, device) = collector.end(done);
            watched.is_unsure = device.is_none();
            watched.who_answers = who;
            (watched, device)
        }
        Which::Another => (of_another(watched), None),
    }
}

/// Only that another one answers is left of it.
fn of_another(watched: Watched) -> Watched {
    let mut elsewhere = watched.elsewhere.unwrap_or_default();
    if elsewhere.is_empty() {
        let (unique_address, tag) = (watched.device.unique_address, watched.device.tag);
        elsewhere.push(Elsewhere { address: None, unique_address, tag, is_another: true });
    }
    elsewhere.iter_mut().for_each(|e| e.is_another = true);
    Watched {
        looprig_watched: watched.looprig_watched,
        to: watched.to,
        asked: watched.asked.into_iter().map(|a| Asked { answered: false, ..a }).collect(),
        is_unsure: true,
        who_answers: watched.who_answers,
        elsewhere: Some(elsewhere),
        stopped: watched.stopped,
        others: watched.others,
        ended: Ended::Whole,
        ..Watched::default()
    }
}
