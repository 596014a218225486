//! What a host makes of what devices tell about themselves, and of what it has set [HC-05].

use super::book::{About, Book, Evidence};
use super::devices::Devices;
use super::requests::shown;
use super::rules::{self, Rule};
use crate::app::command::{Effect, Revision};
use crate::app::status::{CodeClass, Status};
use crate::exchange::Exchange;
use crate::frame::{Good, Master as Role};
use crate::time::Instant;
use core::time::Duration;

/// Device status bits [ST-02].
const CHANGED: u8 = 0x40;
const COLD_START: u8 = 0x20;
const MORE_STATUS: u8 = 0x10;
/// So many answers and so long a host may go on before it counts as not looking.
const PATIENCE: (u32, Duration) = (20, Duration::from_secs(60));
/// Requests to a device after which a write counts as not read back.
const READ_BACK_WITHIN: u32 = 30;
/// Writes and settings that are remembered of one device and master.
const MOST: usize = 16;

/// Commands by which a host looks what has changed.
const CONFIGURATION: [u8; 12] = [0, 7, 12, 13, 14, 15, 16, 20, 38, 48, 50, 54];

/// Which commands read what a command writes, the same values as in a settings file [HO-06].
const READ_BACK: &[(u8, &[u8])] = &[
    (6, &[0, 7]),
    (17, &[12]),
    (18, &[13]),
    (19, &[16]),
    (22, &[20]),
    (34, &[15]),
    (35, &[15]),
    (36, &[15]),
    (37, &[15]),
    (44, &[1, 3, 14, 15]),
    (47, &[15]),
    (49, &[14]),
    (51, &[50]),
    (53, &[54]),
    (55, &[54]),
    (56, &[54]),
    (58, &[57]),
    (59, &[0]),
    (64, &[63]),
    (65, &[63]),
    (69, &[63]),
    (82, &[80]),
    (87, &[74]),
    (88, &[74]),
    (103, &[105]),
    (104, &[105]),
    (107, &[105]),
    (108, &[105]),
    (109, &[105]),
];

/// A status bit that stands.
#[derive(Clone, Debug)]
struct Flag {
    since: Instant,
    answers: u32,
    /// The host has looked, or this has been told.
    done: bool,
    evidence: Vec<Evidence>,
}

#[derive(Clone, Debug)]
struct Written {
    command: u8,
    others: u32,
    evidence: Vec<Evidence>,
}

#[derive(Clone, Debug)]
struct Set {
    command: u8,
    /// Which variable, where there are several.
    which: u8,
    evidence: Vec<Evidence>,
}

/// What one master knows of one device.
#[derive(Clone, Debug, Default)]
pub(super) struct Habits {
    answers: u32,
    /// The last answer had the bit of a cold start.
    was_cold: bool,
    more: Option<Flag>,
    changed: Option<Flag>,
    cold: Option<Flag>,
    refused_counter: Option<u64>,
    written: Vec<Written>,
    set: Vec<Set>,
}

impl Habits {
    /// Looks at an exchange of this master with this device.
    pub fn look(&mut self, e: &Exchange, book: &mut Book, devices: &Devices) {
        let t = &e.transaction;
        let (Some(good), Some(reply)) = (t.tries.last(), &t.reply) else { return };
        let (Some(Status::Response(code)), Some(bits)) = (e.status(), e.device_status()) else { return };
        let address = good.frame.address();
        let about = About { device: Some(address.target), command: None };
        let who = (address.master, about);
        let command = good.frame.command();
        let looks = CONFIGURATION.contains(&command);
        if bits & COLD_START != 0 {
            // Simulation, locks that do not last and a fixed current are over [DV-20].
            self.set.clear();
        }
        let came_anew = bits & COLD_START != 0 && self.answers > 0 && !self.was_cold;
        self.was_cold = bits & COLD_START != 0;
        cold(&mut self.cold, came_anew, looks, who, e, book);
        let now = reply.octets.last().map_or(Instant::ZERO, |o| o.at);
        flag(&mut self.more, (bits & MORE_STATUS != 0, command == 48), now, e, book);
        flag(&mut self.changed, (bits & CHANGED != 0, looks), now, e, book);
        for (flag, rule) in
            [(&mut self.more, &rules::MORE_STATUS_IGNORED), (&mut self.changed, &rules::CHANGE_IGNORED)]
        {
            ignored(flag, rule, (now, reply), who, book);
        }
        self.answers = self.answers.saturating_add(1);
        self.counter(code, e, who, book);
        self.writes(e, who, book, devices);
        self.settings(e, book);
    }

    /// Whether the device says now, and did not in its last answer, that it has started anew [ST-08].
    pub fn started_anew(&self, e: &Exchange) -> bool {
        let tells = matches!(e.status(), Some(Status::Response(_)));
        tells && !self.was_cold && e.device_status().is_some_and(|bits| bits & COLD_START != 0)
    }

    fn counter(&mut self, code: u8, e: &Exchange, (role, about): (Role, About), book: &mut Book) {
        let Some(frame) = e.transaction.request().filter(|f| f.command() == 38) else { return };
        let sent = super::answers::digest(frame.data());
        if code == 9 && self.refused_counter == Some(sent) {
            let says = || "command 38 with the same counter again, and refused again (9)".to_owned();
            let about = About { command: Some(38), ..about };
            book.found(&rules::STALE_COUNTER, role, about, says, |b| shown(e, b));
        }
        self.refused_counter = (code == 9).then_some(sent);
    }

    fn writes(&mut self, e: &Exchange, (role, about): (Role, About), book: &mut Book, devices: &Devices) {
        let (Some(frame), Some(target)) = (e.transaction.request(), about.device) else { return };
        let command = frame.command();
        let reads = |w: &Written| READ_BACK.iter().any(|(c, by)| *c == w.command && by.contains(&command));
        self.written.retain_mut(|w| {
            w.others += 1;
            if reads(w) {
                return false;
            }
            if w.others < READ_BACK_WITHIN {
                return true;
            }
            let says = || {
                let n = w.others;
                format!("what command {} wrote was not read in {n} requests that followed", w.command)
            };
            let about = About { command: Some(w.command), ..about };
            book.found(&rules::NOT_READ_BACK, role, about, says, |_| w.evidence.clone());
            false
        });
        let done = matches!(e.class(), Some(CodeClass::Success | CodeClass::Warning));
        let writes = e.spec.is_some_and(|s| s.effect > Effect::Stops) && done;
        let bursts = (103..=109).contains(&command);
        if matches!(command, 103 | 104 | 107 | 108) && done && devices.bursts(target) {
            let says = || format!("command {command} while the device is in burst mode");
            let about = About { command: Some(command), ..about };
            book.found(&rules::BURST_CHANGED, role, about, says, |b| shown(e, b));
        }
        // Before revision 7 nothing reads the settings of bursts.
        let readable = !bursts || devices.revision(target) == Some(Revision::R7);
        if writes && readable && READ_BACK.iter().any(|(c, _)| *c == command) {
            self.written.retain(|w| w.command != command);
            if self.written.len() >= MOST {
                self.written.remove(0);
            }
            self.written.push(Written { command, others: 0, evidence: shown(e, book) });
        }
    }

    fn settings(&mut self, e: &Exchange, book: &Book) {
        let Some(frame) = e.transaction.request() else { return };
        if !matches!(e.class(), Some(CodeClass::Success | CodeClass::Warning)) {
            return;
        }
        let data = frame.data();
        let (which, on) = match (frame.command(), data.first()) {
            (40, Some(_)) => (0, data.iter().take(4).any(|&o| o != 0)),
            (71, Some(code)) => (0, *code != 0),
            (79, Some(which)) => (*which, data.get(1).is_some_and(|&o| o != 0)),
            (42, _) => {
                self.set.clear();
                return;
            }
            _ => return,
        };
        self.set.retain(|s| (s.command, s.which) != (frame.command(), which));
        if on && self.set.len() < MOST {
            self.set.push(Set { command: frame.command(), which, evidence: shown(e, book) });
        }
    }

    /// The record ends: tells what is still set, and how much was waited for.
    pub fn end(&self, role: Role, about: About, book: &mut Book) {
        for s in &self.set {
            let what = match s.command {
                40 => "the loop current is fixed".to_owned(),
                71 => "the device is locked".to_owned(),
                _ => format!("variable {} is simulated", s.which),
            };
            let says = || format!("{what} by command {} when the record ends", s.command);
            let about = About { command: Some(s.command), ..about };
            book.found(&rules::LEFT_SET, role, about, says, |_| s.evidence.clone());
        }
    }

    /// Writes that were not read back when the record ended.
    pub fn waiting(&self) -> u64 {
        self.written.len() as u64
    }
}

/// Keeps when a bit came, and whether somebody looked since.
fn flag(kept: &mut Option<Flag>, (is_set, looks): (bool, bool), now: Instant, e: &Exchange, book: &Book) {
    if !is_set {
        *kept = None;
        return;
    }
    match kept {
        None => *kept = Some(Flag { since: now, answers: 1, done: looks, evidence: shown(e, book) }),
        Some(f) => {
            f.answers = f.answers.saturating_add(1);
            f.done |= looks;
        }
    }
}

fn ignored(
    kept: &mut Option<Flag>,
    rule: &Rule,
    (now, reply): (Instant, &Good),
    (role, about): (Role, About),
    book: &mut Book,
) {
    let Some(f) = kept.as_mut().filter(|f| !f.done && f.answers >= PATIENCE.0) else { return };
    let stood = now.since(f.since);
    if book.facts.is_timed() && stood < book.facts.pace.scale(PATIENCE.1) {
        return;
    }
    f.done = true;
    let (n, s) = (f.answers, stood.as_secs_f64());
    let says = || format!("{n} answers in a row have said so, for {s:.0} s");
    let shown = |b: &Book| [&f.evidence[..], &[b.evidence("last answer so far", &reply.octets)]].concat();
    book.found(rule, role, about, says, shown);
}

/// A device that started anew while a host talks with it.
fn cold(
    kept: &mut Option<Flag>,
    came: bool,
    looks: bool,
    (role, about): (Role, About),
    e: &Exchange,
    book: &mut Book,
) {
    if came && kept.is_none() {
        *kept = Some(Flag { since: Instant::ZERO, answers: 0, done: false, evidence: shown(e, book) });
        return;
    }
    let Some(f) = kept else { return };
    f.answers += 1;
    if looks {
        *kept = None;
    } else if f.answers >= PATIENCE.0 {
        let says = || format!("nothing was read anew in {} answers after its cold start", f.answers);
        book.found(&rules::COLD_START_IGNORED, role, about, says, |_| f.evidence.clone());
        *kept = None;
    }
}
