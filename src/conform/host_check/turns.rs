//! Who speaks when it is not his turn [HC-03].

use super::book::{About, Book};
use super::rules::{self, Needs, Rule};
use crate::frame::{Good, Master as Role, Octet};
use crate::time::Instant;
use core::time::Duration;

/// What was heard last, as far as it says who may speak.
#[derive(Clone, Debug, Default)]
enum Last {
    /// Nothing, or something that may have been anything.
    #[default]
    Unclear,
    /// A request that nobody has answered yet.
    Request(Role, Vec<Octet>),
    /// The answer to this master's request.
    Answer(Role, Vec<Octet>),
}

/// Looks at frames in their order.
#[derive(Clone, Debug, Default)]
pub(super) struct Turns(Last);

impl Turns {
    /// Something was heard that may have been a request or an answer, or a new record begins.
    pub fn unclear(&mut self) {
        self.0 = Last::Unclear;
    }

    /// A device answered a request of this master.
    pub fn answer(&mut self, master: Role, good: &Good) {
        self.0 = Last::Answer(master, good.octets.clone());
    }

    /// A master asked.
    pub fn request(&mut self, good: &Good, book: &mut Book) {
        let role = good.frame.address().master;
        match core::mem::replace(&mut self.0, Last::Request(role, good.octets.clone())) {
            Last::Unclear => {}
            Last::Request(before, octets) => self::after_silence(before, &octets, good, book),
            Last::Answer(before, octets) if before == role => {
                let says = |pause| {
                    format!(
                        "it asks again {} after its own answer; the other master has its turn until {}",
                        ms(pause),
                        ms(book_time(rules::LINK_GRANT))
                    )
                };
                let judged = (rules::LINK_GRANT, &rules::OTHERS_TURN);
                judge(judged, ("its answer", &octets), good, book, says);
            }
            Last::Answer(..) => {}
        }
    }
}

fn after_silence(before: Role, octets: &[Octet], good: &Good, book: &mut Book) {
    let role = good.frame.address().master;
    let (rule, whose, twice) = if before == role {
        (&rules::SLAVE_TIME, "its own request", ", or two masters use this bit")
    } else {
        (&rules::OTHERS_TIME, "the other master's request", "")
    };
    let says = |pause| {
        format!(
            "it speaks {} after {whose}, which has no answer yet: that may begin until {}{twice}",
            ms(pause),
            ms(book_time(rules::SLAVE_TIME_OUT))
        )
    };
    let judged = (rules::SLAVE_TIME_OUT, rule);
    if judge(judged, ("request before", octets), good, book, says) {
        let values = |octets: &[Octet]| octets.iter().map(|o| o.value).collect::<Vec<u8>>();
        if values(octets) == values(&good.octets) {
            book.may_be_echo(rule, role);
        }
        return;
    }
    if before != role {
        return;
    }
    let quiet = rules::LINK_QUIET[role.index()];
    let says = |pause| {
        format!(
            "after its unanswered request it asks again {} later; a {role} master waits {}",
            ms(pause),
            ms(book_time(quiet))
        )
    };
    judge((quiet, &rules::EARLY_RETRY), ("request before", octets), good, book, says);
}

/// A time of the wire.
fn book_time(characters: u64) -> Duration {
    crate::time::BitTimes::characters(characters).duration()
}

/// Judges the pause before a request; whether it was too short. Times are told as they are on the wire.
fn judge(
    (characters, rule): (u64, &Rule),
    (part, before): (&'static str, &[Octet]),
    good: &Good,
    book: &mut Book,
    says: impl FnOnce(Duration) -> String,
) -> bool {
    let role = good.frame.address().master;
    let needs = match rule.needs {
        Needs::Stamps(n) => n,
        _ => characters,
    };
    if !book.facts.tells(needs) {
        book.untold(rule, role, "the line's stamps are not good enough for it");
        return false;
    }
    book.seen(rule, role, About::default());
    let at = |o: Option<&Octet>| o.map_or(Instant::ZERO, |o| o.at);
    let begins = at(good.octets.first()).before(book.facts.pace.character());
    let pause = begins.since(at(before.last()));
    if pause + book.facts.margin() >= book.facts.characters(characters) {
        return false;
    }
    let on_the_wire = match book.facts.pace {
        crate::time::Pace::Scaled(f) => pause.mul_f64(f),
        _ => pause,
    };
    let shown = |b: &Book| vec![b.evidence(part, before), b.evidence("request", &good.octets)];
    book.found(rule, role, About::default(), || says(on_the_wire), shown);
    true
}

fn ms(d: Duration) -> String {
    format!("{:.1} ms", d.as_secs_f64() * 1e3)
}
