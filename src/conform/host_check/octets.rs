//! Preambles, pauses, byte counts and check bytes of requests [HC-02].

use super::book::{About, Book};
use super::devices::Devices;
use super::rules::{self, Rule};
use crate::frame::{
    Damage, Damaged, FrameType, Good, Header, Marks, Master as Role, Noise, Octet, check_byte,
};
use crate::time::Instant;

/// Least and most preambles [FR-02].
const PREAMBLES: core::ops::RangeInclusive<usize> = 5..=20;
/// Commands by which a device is got to know: whoever asks them need not know what it wants [LL-11].
pub(super) const IDENTIFY: [u8; 4] = [0, 11, 21, 73];

/// A request whose check byte is wrong: what follows says why.
#[derive(Clone, Debug)]
struct Suspect {
    header: Header,
    octets: Vec<Octet>,
    preambles: usize,
}

/// Octets that belonged to no frame and may belong to the next one.
#[derive(Clone, Copy, Debug)]
struct Loose {
    ends: Instant,
    /// How many, if all of them are FF.
    preambles: Option<usize>,
}

/// Looks at octets in their order.
#[derive(Clone, Debug, Default)]
pub(super) struct Octets {
    suspect: Option<Suspect>,
    /// A request that stopped so many octets before its end: they may come after a pause.
    cut: Option<(Suspect, usize)>,
    loose: Option<Loose>,
    /// How many octets were behind a request of each master the first time.
    tail: [Option<usize>; 2],
    /// The last good request, until something else passes: its master, its command and its octets.
    request: Option<(Role, u8, Vec<Octet>)>,
}

impl Octets {
    /// A request arrived whole.
    pub fn request(&mut self, good: &Good, book: &mut Book, devices: &Devices) {
        self.settle(book);
        let (role, command) = (good.frame.address().master, good.frame.command());
        let of_command = About { device: None, command: Some(command) };
        if book.facts.tells_pauses() {
            book.seen(&rules::GAP_IN_REQUEST, role, About::default());
        } else {
            book.untold(&rules::GAP_IN_REQUEST, role, "pauses between octets are not seen here");
        }
        book.seen(&rules::BYTE_COUNT_WRONG, role, of_command);
        book.seen(&rules::CHECK_BYTE_WRONG, role, About::default());
        book.seen(&rules::OCTETS_AFTER_CHECK, role, About::default());
        self.preambles(good, book, devices);
        self.loose = None;
        self.request = Some((role, command, good.octets.clone()));
    }

    fn preambles(&self, good: &Good, book: &mut Book, devices: &Devices) {
        let Some(first) = good.octets.first() else { return };
        let (role, target) = (good.frame.address().master, good.frame.address().target);
        if book.facts.capabilities.is_none() {
            book.untold(&rules::PREAMBLES_TOO_FEW, role, "preambles are not recorded here");
            return;
        }
        let mut n = good.preambles;
        if let Some(loose) = self.loose.filter(|l| follows(book, l.ends, first.at)) {
            match loose.preambles {
                Some(more) => n += more,
                // Whatever was spoilt there may have been preambles.
                None => return,
            }
        }
        if lacks_octets(book, &good.octets) {
            return;
        }
        book.seen(&rules::PREAMBLES_TOO_FEW, role, About::default());
        book.seen(&rules::PREAMBLES_TOO_MANY, role, About::default());
        let identifies = IDENTIFY.contains(&good.frame.command());
        let wants = devices.wants(role, target).filter(|_| !identifies).map(|w| usize::from(w).min(20));
        let about = About { device: Some(target), command: None };
        if wants.is_some() {
            book.seen(&rules::PREAMBLES_FEWER_THAN_WANTED, role, about);
        }
        let shown = |b: &Book| vec![b.evidence("request", &good.octets)];
        if n < *PREAMBLES.start() {
            let says = || format!("{n} preambles before command {}", good.frame.command());
            book.found(&rules::PREAMBLES_TOO_FEW, role, About::default(), says, shown);
        } else if n > *PREAMBLES.end() {
            let says = || format!("{n} preambles before command {}", good.frame.command());
            book.found(&rules::PREAMBLES_TOO_MANY, role, About::default(), says, shown);
        } else if let Some(wants) = wants.filter(|w| n < *w) {
            let says = || {
                let command = good.frame.command();
                format!(
                    "{n} preambles before command {command}, though {target} has told that it wants {wants}"
                )
            };
            book.found(&rules::PREAMBLES_FEWER_THAN_WANTED, role, about, says, shown);
        }
    }

    /// A device's frame arrived whole.
    pub fn device(&mut self, good: &Good, book: &mut Book, devices: &Devices) {
        self.settle(book);
        self.request = None;
        let says = devices.reply_preambles(good.frame.address().target).map(usize::from);
        let spoilt = good
            .octets
            .first()
            .is_some_and(|first| self.loose.is_some_and(|l| follows(book, l.ends, first.at)));
        self.loose = None;
        if !spoilt {
            book.device_frames[0] += 1;
            book.device_frames[1] += u64::from(good.preambles < says.unwrap_or(*PREAMBLES.start()).min(20));
            book.device_frames[2] += u64::from(says.is_some());
        }
    }

    /// A frame arrived damaged.
    pub fn damaged(&mut self, d: &Damaged, book: &mut Book) {
        self.settle(book);
        self.request = None;
        let ends = d.octets.last().map_or(Instant::ZERO, |o| o.at);
        self.loose = Some(Loose { ends, preambles: None });
        let header = d.header().filter(|h| h.delimiter.frame_type == FrameType::Stx);
        let clean = d.octets.iter().all(|o| o.marks.is_empty());
        let Some(header) = header else {
            book.disturbed += 1;
            return;
        };
        let body: Vec<u8> = d.octets.iter().skip(d.preambles).map(|o| o.value).collect();
        match d.damage {
            Damage::Gap { marks, .. } if book.facts.tells_pauses() && marks == Marks::GAP => {
                pauses(&header, &d.octets, book);
            }
            Damage::Check { .. } if clean && sums_up_early(&body, &header) => {
                count_wrong(&header, &d.octets, book);
            }
            Damage::Check { .. } if clean => {
                self.suspect = Some(Suspect { header, octets: d.octets.clone(), preambles: d.preambles });
            }
            Damage::Truncated { missing: 1.. }
                if clean && body.len() > header.delimiter.header_len() && check_byte(&body) == 0 =>
            {
                count_wrong(&header, &d.octets, book);
            }
            Damage::Truncated { missing: missing @ 1.. } if clean => {
                let suspect = Suspect { header, octets: d.octets.clone(), preambles: d.preambles };
                self.cut = Some((suspect, missing));
            }
            _ => book.disturbed += 1,
        }
    }

    /// Octets that belong to no frame.
    pub fn noise(&mut self, noise: &Noise, book: &mut Book) {
        let n = noise;
        let at = |o: Option<&Octet>| o.map_or(Instant::ZERO, |o| o.at);
        let (first, ends) = (at(n.octets.first()), at(n.octets.last()));
        let all_ones = n.octets.iter().all(|o| o.value == 0xFF && o.marks.is_empty());
        let clean = n.octets.iter().all(|o| o.marks.is_empty());
        let before = self.loose.filter(|l| follows(book, l.ends, first));
        self.loose = Some(Loose {
            ends,
            preambles: match before {
                None if all_ones => Some(n.octets.len()),
                Some(l) if all_ones => l.preambles.map(|m| m + n.octets.len()),
                _ => None,
            },
        });
        if let Some((s, missing)) = self.cut.take() {
            let rest = s.octets.iter().skip(s.preambles).chain(&n.octets).map(|o| o.value);
            let rest: Vec<u8> = rest.collect();
            let soon = s
                .octets
                .last()
                .is_some_and(|o| first.since(o.at) < book.facts.characters(rules::SLAVE_TIME_OUT));
            let whole = n.octets.len() == missing && check_byte(&rest) == 0;
            if soon && clean && whole && book.facts.tells_pauses() {
                pauses(&s.header, &s.octets, book);
            } else {
                book.disturbed += 2;
            }
            return;
        }
        if let Some(s) = self.suspect.take() {
            let behind = s.octets.last().is_some_and(|o| follows(book, o.at, first));
            let body = s.octets.iter().skip(s.preambles).chain(&n.octets).map(|o| o.value);
            let body: Vec<u8> = body.collect();
            if behind && clean && check_byte(&body) == 0 {
                let all: Vec<Octet> = s.octets.iter().chain(&n.octets).copied().collect();
                count_wrong(&s.header, &all, book);
                return;
            }
            if !behind {
                check_wrong(&s, book);
            }
            book.disturbed += 1;
            return;
        }
        if let Some((role, command, octets)) = self.request.take() {
            let behind = octets.last().is_some_and(|o| follows(book, o.at, first));
            // What a host sends too much is as much each time; of somebody who talks over it something else is left.
            let n = n.octets.len();
            if behind
                && clean
                && book.facts.capabilities.is_some()
                && *self.tail[role.index()].get_or_insert(n) == n
            {
                let says = || format!("octets behind the check byte of command {command}: {n}");
                let shown = |b: &Book| {
                    vec![b.evidence("request", &octets), b.evidence("octets behind it", &noise.octets)]
                };
                book.found(&rules::OCTETS_AFTER_CHECK, role, About::default(), says, shown);
                return;
            }
        }
        // Preambles that a host sends beyond those that a frame is kept with disturb nobody.
        if !all_ones {
            book.disturbed += 1;
        }
    }

    /// Nothing follows what was heard last.
    pub fn settle(&mut self, book: &mut Book) {
        book.disturbed += u64::from(self.cut.take().is_some());
        if let Some(s) = self.suspect.take() {
            check_wrong(&s, book);
        }
    }
}

/// Whether an octet that ends at `next` comes without a pause after one that ended at `last`.
fn follows(book: &Book, last: Instant, next: Instant) -> bool {
    let character = book.facts.pace.character();
    next.since(last) <= character * 2 + character / 2 + book.facts.margin().saturating_sub(character)
}

/// Whether a frame lasted longer than its octets take: something is missing in it.
fn lacks_octets(book: &Book, octets: &[Octet]) -> bool {
    let (Some(first), Some(last)) = (octets.first(), octets.last()) else { return false };
    let steps = book.facts.pace.character() * (octets.len() as u32 - 1);
    book.facts.tells_pauses() && last.at.since(first.at) > steps + book.facts.margin() / 2
}

/// Whether the octets are those of a whole frame with another byte count, and after it the preambles of the next.
fn sums_up_early(body: &[u8], header: &Header) -> bool {
    let from = header.delimiter.header_len() + 1;
    let len = body.iter().rposition(|&v| v != 0xFF).map_or(0, |i| i + 1);
    (from..=len.min(body.len().saturating_sub(1)))
        .any(|n| check_byte(&body[..n]) == 0 && body[n..].iter().all(|&v| v == 0xFF))
}

fn pauses(header: &Header, octets: &[Octet], book: &mut Book) {
    let role = header.address.master;
    let says = || format!("a pause inside the request of command {}", header.command);
    book.seen(&rules::GAP_IN_REQUEST, role, About::default());
    book.found(&rules::GAP_IN_REQUEST, role, About::default(), says, |b| {
        vec![b.evidence("request, up to the pause", octets)]
    });
}

fn spoilt(rule: &Rule, (role, about): (Role, About), book: &mut Book, says: String, octets: &[Octet]) {
    book.seen(rule, role, about);
    book.found(rule, role, about, || says, |b| vec![b.evidence("request", octets)]);
}

fn count_wrong(header: &Header, octets: &[Octet], book: &mut Book) {
    let says = format!(
        "the request of command {} has another number of octets than its byte count says; with all of them its \
         check byte is right",
        header.command
    );
    // By command, for it may be one of many that a host counts wrong.
    let about = About { device: None, command: Some(header.command) };
    spoilt(&rules::BYTE_COUNT_WRONG, (header.address.master, about), book, says, octets);
}

fn check_wrong(s: &Suspect, book: &mut Book) {
    let (role, command) = (s.header.address.master, s.header.command);
    if !book.facts.tells_parity() {
        book.disturbed += 1;
        let why = "requests arrived with a wrong check byte, and a line without parity does not tell whether \
                   the wires or the host made it wrong";
        book.untold(&rules::CHECK_BYTE_WRONG, role, why);
        return;
    }
    let says =
        format!("the check byte of command {command} is wrong, and no octet of it was spoilt on the wires");
    spoilt(&rules::CHECK_BYTE_WRONG, (role, About::default()), book, says, &s.octets);
}
