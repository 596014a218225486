//! Where a valve goes when something is taken away: as somebody said, and as tests saw it [TV-151].

use crate::commission::travel::figures::{Cause, Definition, Figure};
use crate::commission::travel::record::{Fail, FailsTo, Loss, Record, Shown, WENT_PERCENT};
use std::collections::BTreeMap;

/// What is known of a fail action, each with the file that it comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FailAction {
    said: Option<(FailsTo, String)>,
    seen: BTreeMap<Loss, (Vec<Went>, String)>,
}

/// Where a valve went, by one who saw it.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Went {
    /// The ways of which it may be.
    fits: Vec<FailsTo>,
    /// A few words: "closes by the eye of a person".
    words: String,
}

impl FailAction {
    /// Adds what a record says and saw; what is there of the same kind is replaced.
    pub fn add(&mut self, record: &Record, figures: &[Figure], from: &str) {
        if record.valve.fails_to != FailsTo::Unsaid {
            self.said = Some((record.valve.fails_to, from.to_owned()));
        }
        let mut of_record: BTreeMap<Loss, Vec<Went>> = BTreeMap::new();
        // Every fail has one figure of its place, in the same order.
        let mut places = figures.iter().filter(|f| f.definition == Definition::FailPlace);
        for fail in &record.fails {
            let place = places.next();
            of_record.entry(fail.loss).or_default().extend(went(fail, place));
        }
        for (loss, all) in of_record.into_iter().filter(|(_, all)| !all.is_empty()) {
            self.seen.insert(loss, (all, from.to_owned()));
        }
    }

    /// Where it ought to go, as somebody said, and the file.
    pub fn said(&self) -> Option<(&'static str, &str)> {
        self.said.as_ref().map(|(way, from)| (words(*way), from.as_str()))
    }

    /// Where it was seen to go at this loss, and the file.
    pub fn seen(&self, loss: Loss) -> Option<(String, &str)> {
        self.seen.get(&loss).map(|(all, from)| (listed(all.iter()), from.as_str()))
    }

    /// What was seen that is not what was said, a sentence each.
    pub fn odd(&self) -> Vec<String> {
        let Some((said, of)) = &self.said else { return Vec::new() };
        let other = self.seen.iter().filter_map(|(loss, (all, from))| {
            let other: Vec<&Went> = all.iter().filter(|w| !w.fits.contains(said)).collect();
            let (what, ought) = (loss.words(), words(*said));
            (!other.is_empty()).then(|| {
                format!(
                    "it is said ({of}) that the valve {ought} without air or signal; in the test ({from}), {what}: it {}. Find out which is right before you go on.",
                    listed(other.into_iter())
                )
            })
        });
        other.collect()
    }
}

fn listed<'a>(all: impl Iterator<Item = &'a Went>) -> String {
    all.map(|w| w.words.as_str()).collect::<Vec<_>>().join("; ")
}

fn words(way: FailsTo) -> &'static str {
    match way {
        FailsTo::Closed => "closes",
        FailsTo::Open => "opens",
        FailsTo::Stays => "stays where it is",
        FailsTo::Unsaid => "",
    }
}

/// What was seen of a loss; nothing where it never came, began elsewhere than in the middle, or has no end.
fn went(fail: &Fail, place: Option<&Figure>) -> Vec<Went> {
    let cause = place.and_then(|f| f.cause);
    let is_none = fail.shown.as_ref().is_some_and(|s| Shown::against(s).is_some())
        || matches!(cause, Some(Cause::NotThere | Cause::NotAtRest));
    if is_none {
        return Vec::new();
    }
    let person = fail.seen.filter(|s| *s != FailsTo::Unsaid);
    let person =
        person.map(|way| Went { fits: vec![way], words: format!("{} by the eye of a person", words(way)) });
    let told = place.filter(|f| f.doubt.is_empty()).and_then(|f| Some((f.value?, f.uncertainty)));
    let device = told.map(|(at, by)| {
        let by = by.unwrap_or(0.0);
        let ways = [FailsTo::Closed, FailsTo::Open, FailsTo::Stays];
        let away = |way: &FailsTo| way.away_percent(at, fail.from_percent);
        let fits = ways.into_iter().filter(|w| away(w).is_some_and(|a| a - by <= WENT_PERCENT)).collect();
        let sure = ways.iter().find(|w| away(w).is_some_and(|a| a + by <= WENT_PERCENT));
        let at = super::values::decimal(at, 1);
        let words = match sure {
            Some(way) => format!("{}, at {at} % in the end by the device's sensor", words(*way)),
            None => format!("goes to {at} % by the device's sensor"),
        };
        Went { fits, words }
    });
    person.into_iter().chain(device).collect()
}
