//! What a host does after an answer that is no plain answer, and after none [HC-04].

use super::book::{About, Book, Evidence};
use super::octets::IDENTIFY;
use super::requests::shown;
use super::rules::{self, Rule};
use crate::app::status::{CodeClass, Delay, Status};
use crate::exchange::Exchange;
use crate::frame::{Frame, Good, Header, Master as Role, Octet, Target};
use crate::time::Instant;
use crate::transaction::Outcome;
use core::time::Duration;

/// Other requests to a device, and the time, after which what was put off counts as forgotten.
const FORGOTTEN: (u32, Duration) = (10, Duration::from_secs(60));
/// Requests in a row that nobody answered: three rounds of ten repeats, and more.
const WITHOUT_END: u32 = 32;
/// The same refusal so often in a row.
const AGAIN: u32 = 5;
/// The masks of a communication error that say how a request arrived damaged [ST-01].
const DAMAGE: u8 = 0x7A;
/// Things put off, or refused, that are remembered of one device and master.
const MOST: usize = 16;

/// A request that was put off, or lost.
#[derive(Clone, Debug)]
struct Open {
    command: u8,
    data: u64,
    since: Instant,
    /// Other requests since.
    others: u32,
    /// The end of the last answer that put it off.
    last: Instant,
    /// How often in a row it was asked again too soon.
    quick: u32,
    evidence: Vec<Evidence>,
}

#[derive(Clone, Debug)]
struct Refused {
    command: u8,
    code: u8,
    data: u64,
    times: u32,
}

/// What one master has to go back to at one device.
#[derive(Clone, Debug, Default)]
pub(super) struct Answers {
    busy: Vec<Open>,
    delayed: Vec<Open>,
    damaged: Vec<Open>,
    refused: Vec<Refused>,
    /// Commands that came into the way of a delayed response.
    conflicts: Vec<u8>,
}

/// What one master has asked last, of whatever device.
#[derive(Clone, Debug, Default)]
pub(super) struct Latest {
    /// The request that is asked in vain, how often, and its octets.
    run: Option<(Frame, u32, Vec<Octet>)>,
    /// It was asked once and lost.
    lost: Option<(Frame, Vec<Evidence>)>,
}

/// A number by which equal data are known again: FNV-1a.
pub(super) fn digest(data: &[u8]) -> u64 {
    data.iter().fold(0xcbf2_9ce4_8422_2325, |h, &o| (h ^ u64::from(o)).wrapping_mul(0x0100_0000_01b3))
}

impl Latest {
    /// Looks at an exchange of this master.
    pub fn look(&mut self, e: &Exchange, book: &mut Book) {
        let t = &e.transaction;
        let (Some(good), Some(first)) = (t.tries.last(), t.tries.first()) else { return };
        let frame = &good.frame;
        let (role, command) = (frame.address().master, frame.command());
        let about = About { device: Some(frame.address().target), command: Some(command) };
        if let Some((lost, evidence)) = self.lost.take()
            && lost != *frame
        {
            let about = About { device: Some(lost.address().target), command: None };
            let says = || {
                let n = lost.command();
                format!(
                    "command {n} got no whole answer, and the next request of this master was another one"
                )
            };
            let next = |b: &Book| [&evidence[..], &[b.evidence("next request", &first.octets)]].concat();
            book.found(&rules::GIVES_UP_AT_ONCE, role, about, says, next);
        }
        let failed = matches!(t.outcome, Outcome::Silent | Outcome::Garbled);
        if failed && !IDENTIFY.contains(&command) && !frame.address().is_broadcast() {
            book.seen(&rules::GIVES_UP_AT_ONCE, role, About { command: None, ..about });
            if t.tries.len() == 1 && self.run.as_ref().is_none_or(|(f, ..)| f != frame) {
                self.lost = Some((frame.clone(), shown(e, book)));
            }
        }
        if !failed {
            self.run = None;
            return;
        }
        let tries = t.tries.len() as u32;
        match &mut self.run {
            Some((f, n, octets)) if f == frame => {
                let before = *n;
                *n = n.saturating_add(tries);
                if before < WITHOUT_END && *n >= WITHOUT_END {
                    let says = || format!("command {command} was asked {n} times in a row without an answer");
                    let ends = |b: &Book| {
                        vec![b.evidence("first try", octets), b.evidence("last try so far", &good.octets)]
                    };
                    book.found(&rules::WITHOUT_END, role, about, says, ends);
                }
            }
            run => *run = Some((frame.clone(), tries, first.octets.clone())),
        }
    }
}

impl Answers {
    /// Looks at an exchange of this master with this device.
    pub fn look(&mut self, e: &Exchange, book: &mut Book) {
        let t = &e.transaction;
        let (Some(good), Some(first)) = (t.tries.last(), t.tries.first()) else { return };
        let frame = &good.frame;
        let address = frame.address();
        let asked = Asked {
            role: address.master,
            about: About { device: Some(address.target), command: Some(frame.command()) },
            command: frame.command(),
            data: digest(frame.data()),
            at: first.octets.first().map_or(Instant::ZERO, |o| o.at),
        };
        self.forgotten(&asked, first, book);
        let Some(status) = e.status() else { return };
        let ends = t.reply.as_ref().and_then(|g| g.octets.last()).map_or(Instant::ZERO, |o| o.at);
        let code = match status {
            Status::CommunicationError(octet) if octet & DAMAGE == 0 => {
                let why = "an answer tells of a communication error of no kind that is known";
                book.untold(&rules::DAMAGE_IGNORED, asked.role, why);
                return;
            }
            Status::CommunicationError(_) => {
                put_off(&mut self.damaged, &asked, ends, || shown(e, book));
                return;
            }
            Status::Response(code) => code,
        };
        // Whatever is answered now is no longer open.
        self.damaged.retain(|o| o.command != asked.command);
        match (code, Delay::of(code)) {
            (32, _) => {
                let least = book.facts.pace.scale(Duration::from_millis(400));
                hurried(&mut self.busy, &asked, (least, 4), &rules::BUSY_HAMMERED, e, book);
                put_off(&mut self.busy, &asked, ends, || shown(e, book));
            }
            (_, Some(delay)) if delay.is_under_way() => {
                let least = book.facts.pace.scale(Duration::from_millis(200));
                hurried(&mut self.delayed, &asked, (least, 8), &rules::DELAYED_HAMMERED, e, book);
                put_off(&mut self.delayed, &asked, ends, || shown(e, book));
            }
            (_, Some(Delay::Conflict)) => self.conflict(&asked, e, book),
            _ => {
                self.busy.retain(|o| o.command != asked.command);
                self.delayed.retain(|o| (o.command, o.data) != (asked.command, asked.data));
                self.refusals(&asked, code, e, book);
            }
        }
    }

    /// What was put off and is not come back to.
    fn forgotten(&mut self, asked: &Asked, next: &Good, book: &mut Book) {
        let same = |o: &Open| o.command == asked.command;
        self.damaged.retain(|o| !same(o));
        for (list, rule, (most, least)) in [
            (&mut self.damaged, &rules::DAMAGE_IGNORED, (3, Duration::ZERO)),
            (&mut self.busy, &rules::BUSY_IGNORED, FORGOTTEN),
            (&mut self.delayed, &rules::DELAYED_IGNORED, FORGOTTEN),
        ] {
            let delayed = rule.slug == rules::DELAYED_IGNORED.slug;
            list.retain_mut(|o| {
                if o.command == asked.command && (!delayed || o.data == asked.data) {
                    o.others = 0;
                    return true;
                }
                o.others += 1;
                let waited = asked.at.since(o.since);
                let long = !book.facts.is_timed() || waited >= book.facts.pace.scale(least);
                if o.others < most || !long {
                    return true;
                }
                let says = || {
                    let (n, s) = (o.others, waited.as_secs_f64());
                    match book.facts.is_timed() {
                        true => format!(
                            "command {} is not asked again in {n} other requests and {s:.0} s",
                            o.command
                        ),
                        false => format!("command {} is not asked again in {n} other requests", o.command),
                    }
                };
                let says = says();
                // What wires spoil is spoilt whatever the command.
                let command = (rule.slug != rules::DAMAGE_IGNORED.slug).then_some(o.command);
                let about = About { command, ..asked.about };
                let shown =
                    |b: &Book| [&o.evidence[..], &[b.evidence("goes on with", &next.octets)]].concat();
                book.found(rule, asked.role, about, || says, shown);
                false
            });
        }
    }

    fn conflict(&mut self, asked: &Asked, e: &Exchange, book: &mut Book) {
        if self.conflicts.contains(&asked.command) {
            let says = || format!("command {} is refused once more with 36", asked.command);
            book.found(&rules::DELAYED_CONFLICT, asked.role, asked.about, says, |b| shown(e, b));
        } else if self.conflicts.len() < MOST {
            self.conflicts.push(asked.command);
        }
    }

    fn refusals(&mut self, asked: &Asked, code: u8, e: &Exchange, book: &mut Book) {
        self.conflicts.retain(|c| *c != asked.command);
        let place = self.refused.iter().position(|r| r.command == asked.command);
        if e.class() != Some(CodeClass::Error) {
            if let Some(i) = place {
                self.refused.remove(i);
            }
            return;
        }
        // What a device does not have it has not for any data.
        let data = if code == 64 { 0 } else { asked.data };
        let i = match place {
            Some(i) => i,
            None => {
                if self.refused.len() >= MOST {
                    self.refused.remove(0);
                }
                self.refused.push(Refused { command: asked.command, code, data, times: 0 });
                self.refused.len() - 1
            }
        };
        let r = &mut self.refused[i];
        if (r.code, r.data) != (code, data) {
            *r = Refused { command: asked.command, code, data, times: 0 };
        }
        r.times = r.times.saturating_add(1);
        if r.times >= AGAIN {
            let rule = if code == 64 { &rules::UNKNOWN_AGAIN } else { &rules::REFUSED_AGAIN };
            let n = r.times;
            let says = || format!("command {} is answered {code} for the {n}th time in a row", asked.command);
            book.found(rule, asked.role, asked.about, says, |b| shown(e, b));
        }
    }

    /// A request arrived damaged at the device, which said so, and here as well.
    pub fn arrived_damaged(
        &mut self,
        asked: &Header,
        ends: Instant,
        evidence: impl FnOnce() -> Vec<Evidence>,
    ) {
        let about = About { device: Some(asked.address.target), command: Some(asked.command) };
        let (role, command) = (asked.address.master, asked.command);
        put_off(&mut self.damaged, &Asked { role, about, command, data: 0, at: ends }, ends, evidence);
    }

    /// The device has forgotten whatever it had put off [DV-40].
    pub fn nothing_is_open(&mut self) {
        self.busy.clear();
        self.delayed.clear();
        self.conflicts.clear();
    }

    /// How much is open when the record ends.
    pub fn waiting(&self) -> [(&'static Rule, u64); 3] {
        [
            (&rules::DAMAGE_IGNORED, self.damaged.len() as u64),
            (&rules::BUSY_IGNORED, self.busy.len() as u64),
            (&rules::DELAYED_IGNORED, self.delayed.len() as u64),
        ]
    }
}

/// A request, as far as it is compared.
struct Asked {
    role: Role,
    about: About,
    command: u8,
    data: u64,
    at: Instant,
}

fn put_off(list: &mut Vec<Open>, asked: &Asked, ends: Instant, evidence: impl FnOnce() -> Vec<Evidence>) {
    if let Some(o) = list.iter_mut().find(|o| (o.command, o.data) == (asked.command, asked.data)) {
        (o.last, o.others, o.since) = (ends, 0, asked.at);
        return;
    }
    // Other data of the same command take the place of the old: the host has gone back to it.
    list.retain(|o| o.command != asked.command);
    if list.len() >= MOST {
        list.remove(0);
    }
    let (command, data) = (asked.command, asked.data);
    list.push(Open { command, data, since: asked.at, others: 0, last: ends, quick: 0, evidence: evidence() });
}

/// Counts how often in a row something was asked again sooner than after `least`.
fn hurried(
    list: &mut [Open],
    asked: &Asked,
    (least, most): (Duration, u32),
    rule: &'static Rule,
    e: &Exchange,
    book: &mut Book,
) {
    let Some(o) = list.iter_mut().find(|o| (o.command, o.data) == (asked.command, asked.data)) else {
        return;
    };
    if !book.facts.tells(rules::LINK_GRANT) {
        book.untold(rule, asked.role, "the line's stamps are not good enough for it");
        return;
    }
    let pause = asked.at.since(o.last);
    o.quick = if pause < least { o.quick + 1 } else { 0 };
    if o.quick == most {
        let says = || {
            format!(
                "command {} is asked {most} times in a row less than {least:?} after such an answer",
                asked.command
            )
        };
        book.found(rule, asked.role, asked.about, says, |b| shown(e, b));
    }
}

/// Whether the device did what it was asked.
pub(super) fn is_done(e: &Exchange) -> bool {
    matches!(e.class(), Some(CodeClass::Success | CodeClass::Warning))
}

/// Which device and master an exchange belongs to.
pub(super) fn pair(e: &Exchange) -> Option<(Role, Target)> {
    let address = e.transaction.request()?.address();
    Some((address.master, address.target))
}
