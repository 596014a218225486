//! Writing settings back: what differs is written, in its turn, and each value read back [HO-06].

use super::parts::POLLING_ADDRESS;
use super::plan::{Allowed, Change, Turn, plan};
use super::read::{IMPATIENCE, PATIENCE, ReadError, patiently, read, read_section, unfinished};
use super::{Content, Difference, Entry, Origin, Section, Settings};
use crate::app::command::Value;
use crate::app::command::layout::{self, EncodeError, Missing};
use crate::app::status::CodeClass;
use crate::host::{Ask, Device};

/// What became of a change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// What was written was read back.
    Arrived,
    /// It was written, but something else was read back.
    Differs,
    /// It was read back as wanted, and a later write changed it.
    Undone,
    /// It was written, but could not be read back; why.
    NotReadBack(String),
    /// The device refused it; what it said.
    Refused(String),
    /// The device went on saying that it is busy or not done; what it said [HO-07].
    Busy(String),
    /// The device did not answer.
    Unanswered,
    /// It was not tried any more.
    NotTried,
}

/// A change and what became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Result {
    /// The change; as left is what is wanted.
    pub change: Change,
    /// What became of it.
    pub outcome: Outcome,
    /// What the device said to the write.
    pub said: String,
    /// What was read last, a text for each of the change's values.
    pub read_back: Vec<String>,
}

/// What a restoring tells while it is at work.
#[derive(Clone, Copy, Debug)]
pub enum News<'a> {
    /// What is done next.
    Doing(&'a str),
    /// What the device changed by the way, told before it is written [HO-05].
    Again(&'a [Change]),
}

/// A restoring: what is wanted, and how it goes.
pub struct Restoring<'a> {
    /// Who asks the device.
    pub ask: &'a mut dyn Ask,
    /// The device.
    pub device: Device,
    /// What is wanted.
    pub wanted: &'a Settings,
    /// What the device is set to: at first as planned with, in the end as it was read last.
    pub now: Settings,
    /// What may be written.
    pub allowed: Allowed,
    /// Whether the first value that does not arrive ends it.
    pub stop: bool,
    /// Who hears how it goes.
    pub news: &'a mut dyn FnMut(News<'_>),
    /// What was done, also where an error ended it.
    pub results: Vec<Result>,
}

impl Restoring<'_> {
    /// Writes what is planned and reads each value back. A write that the device refuses, or for which it
    /// stays busy [HO-07], does not hinder those after it, unless [`Restoring::stop`] is set.
    ///
    /// A device that takes a new unit converts other values, so everything is read once more, and what was
    /// changed by the way is written again, once, before what comes last is switched on.
    ///
    /// # Errors
    /// The host cannot ask any more, or the device does not answer what is read back.
    pub fn run(&mut self) -> core::result::Result<(), ReadError> {
        let ended = self.rounds();
        self.amend();
        ended
    }

    fn rounds(&mut self) -> core::result::Result<(), ReadError> {
        let planned = plan(self.wanted, &self.now, self.allowed).changes;
        let mut patience = PATIENCE;
        for round in 0..3 {
            let mut changes = plan(self.wanted, &self.now, self.allowed).changes;
            changes.retain(|c| (c.turn == Turn::Last) == (round == 2));
            // What failed once is not tried again.
            changes.retain(|c| self.results.iter().all(|r| !r.change.is(c) || r.outcome == Outcome::Arrived));
            if changes.is_empty() {
                continue;
            }
            let told = |c: &&Change| planned.iter().any(|p| p.is(c)) && round != 1;
            let untold: Vec<Change> = changes.iter().filter(|c| !told(c)).cloned().collect();
            if !untold.is_empty() {
                (self.news)(News::Again(&untold));
            }
            for (i, change) in changes.iter().enumerate() {
                let name =
                    self.wanted.section(change.part, change.number).map_or(String::new(), Section::name);
                (self.news)(News::Doing(&format!("writing {name}")));
                let (result, ended) = match self.carry_out(change, patience) {
                    Ok(result) => (result, None),
                    Err(e) => {
                        // Nobody knows what it is now.
                        let is_it = |s: &Section| s.part == change.part && s.number == change.number;
                        self.now.sections.retain(|s| !is_it(s));
                        (not_tried(change, Outcome::Unanswered), Some(e))
                    }
                };
                let stayed = matches!(result.outcome, Outcome::Busy(_) | Outcome::NotReadBack(_));
                patience = if stayed { IMPATIENCE } else { PATIENCE };
                let ends = ended.is_some() || self.stop && result.outcome != Outcome::Arrived;
                self.results.push(result);
                if ends {
                    // Those of the last turn too, if they are not among these.
                    let rest = changes[i + 1..].iter().chain(planned.iter().filter(|c| c.turn == Turn::Last));
                    for c in rest {
                        if self.results.iter().all(|r| !r.change.is(c)) {
                            self.results.push(not_tried(c, Outcome::NotTried));
                        }
                    }
                    return ended.map_or(Ok(()), Err);
                }
            }
            let news = &mut self.news;
            let mut progress = |what: &str| news(News::Doing(&format!("reading {what} once more")));
            self.now = read(self.ask, &self.device, Origin::default(), &mut progress)?;
        }
        // What a later write changed and nothing here wrote.
        let changed = plan(self.wanted, &self.now, self.allowed).changes;
        for c in &changed {
            if self.results.iter().all(|r| !r.change.is(c)) {
                self.results.push(not_tried(c, Outcome::Differs));
            }
        }
        Ok(())
    }

    /// What was written twice counts once, and what a later write changed has not arrived.
    fn amend(&mut self) {
        let mut kept: Vec<Result> = Vec::new();
        for result in self.results.drain(..) {
            match kept.iter_mut().find(|k| k.change.is(&result.change)) {
                Some(first) => {
                    // As found stays what was found first.
                    for value in result.change.values {
                        if first.change.values.iter().all(|v| v.name != value.name) {
                            first.change.values.push(value);
                        }
                    }
                    first.outcome = result.outcome;
                    first.said = result.said;
                }
                None => kept.push(result),
            }
        }
        for result in &mut kept {
            result.read_back = read_back(&result.change, &self.now);
            let arrived = self.arrived(&result.change);
            match result.outcome {
                Outcome::Arrived if arrived.is_none() => result.outcome = self.not_read_back(&result.change),
                Outcome::Arrived if arrived == Some(false) => result.outcome = Outcome::Undone,
                // It was done after all.
                Outcome::NotReadBack(_) | Outcome::Busy(_) if arrived == Some(true) => {
                    result.outcome = Outcome::Arrived;
                }
                Outcome::NotReadBack(_) if arrived == Some(false) => result.outcome = Outcome::Differs,
                _ => {}
            }
        }
        self.results = kept;
    }

    /// Whether what is there now is what is wanted; `None` where one of the values is not known.
    fn arrived(&self, change: &Change) -> Option<bool> {
        let entry = |settings: &Settings, name: &str| -> Option<Entry> {
            settings.section(change.part, change.number)?.entry(name).cloned()
        };
        let mut all = true;
        for v in &change.values {
            all &= entry(self.wanted, &v.name)?.same(&entry(&self.now, &v.name)?);
        }
        Some(all)
    }

    fn not_read_back(&self, change: &Change) -> Outcome {
        Outcome::NotReadBack(match self.now.section(change.part, change.number).map(|s| &s.content) {
            Some(Content::Unread(code)) => format!("the device stayed {}", super::busy_words(*code)),
            Some(Content::Refused(code)) => format!("the device refused to tell it, code {code}"),
            Some(Content::CutShort(_)) => "the device's answer was cut short".to_owned(),
            Some(Content::Values(_)) | None => "the device did not tell it".to_owned(),
        })
    }

    /// Reads a section again into what is there now.
    fn refresh(&mut self, change: &Change, patience: u32) -> core::result::Result<(), ReadError> {
        let (part, number) = (change.part, change.number);
        let section = read_section(self.ask, &self.device, part, number, patience)?;
        let at = self.now.sections.iter().position(|s| s.part == part && s.number == number);
        match (at, section) {
            (Some(at), Some(section)) => self.now.sections[at] = section,
            // It was there, and is not told any more.
            (Some(at), None) => drop(self.now.sections.remove(at)),
            (None, _) => {}
        }
        Ok(())
    }

    /// The data of a change's command, and whether some of it is what the device has already.
    fn data(&self, change: &Change) -> core::result::Result<(Vec<u8>, bool), EncodeError> {
        let Change { part, number, write, .. } = change;
        let form = part.spec(write.command).and_then(|s| s.form(self.device.revision));
        let (new, old) = (self.wanted.section(part, *number), self.now.section(part, *number));
        let mut borrowed = false;
        let request = form.map_or(&[][..], |f| f.request);
        let data = layout::encode(request, Missing::Error, &mut |name, _| {
            if part.each.selector() == Some(name) {
                return Ok(number.map(|n| Value::Number(n.into())));
            }
            // The device has to have it. What the file says goes out even where it is the same already, since
            // a write before this one may have changed it; only the address goes back as it is, unless told.
            let Some(there) = old.and_then(|s| s.entry(name)) else { return Ok(None) };
            let keep = part.is_shared(name, POLLING_ADDRESS) && change.values.iter().all(|v| v.name != name);
            let wanted = new.and_then(|s| s.entry(name)).filter(|_| !keep && write.fields.contains(&name));
            borrowed |= wanted.is_none();
            Ok(Some(wanted.unwrap_or(there).value.clone()))
        })?;
        Ok((data, borrowed))
    }

    fn carry_out(&mut self, change: &Change, patience: u32) -> core::result::Result<Result, ReadError> {
        let mut data = self.data(change);
        // What the device has is taken from it now, not from what was read when this was planned.
        if matches!(data, Ok((_, true))) {
            self.refresh(change, patience)?;
            data = self.data(change);
        }
        let data = match data {
            Ok((data, _)) => data,
            Err(e) => {
                let mut result = not_tried(change, Outcome::Refused(format!("not sent: {e}")));
                result.said = "not sent".into();
                return Ok(result);
            }
        };
        let exchange = patiently(self.ask, &self.device, change.write.command, &data, patience)?;
        let mut said = String::new();
        exchange.write_response(&mut said);
        if exchange.is_unanswered() {
            said.push_str("no answer");
        }
        // Whatever it said: what it has now is what counts.
        self.refresh(change, patience)?;
        let arrived = self.arrived(change);
        let outcome = match exchange.class() {
            // Its answer was lost or never came, but it was obeyed.
            _ if arrived == Some(true) && (exchange.class().is_none() || unfinished(&exchange)) => {
                Outcome::Arrived
            }
            None => Outcome::Unanswered,
            Some(CodeClass::Error) if unfinished(&exchange) => Outcome::Busy(said.clone()),
            Some(CodeClass::Error) => Outcome::Refused(said.clone()),
            Some(_) => match arrived {
                Some(true) => Outcome::Arrived,
                Some(false) => Outcome::Differs,
                None => self.not_read_back(change),
            },
        };
        Ok(Result { read_back: read_back(change, &self.now), change: change.clone(), outcome, said })
    }
}

fn not_tried(change: &Change, outcome: Outcome) -> Result {
    let read_back = change.values.iter().map(|_| NOT_READ.to_owned()).collect();
    Result { change: change.clone(), outcome, said: String::new(), read_back }
}

/// What stands for a value that could not be read back.
const NOT_READ: &str = "not read";

fn read_back(change: &Change, now: &Settings) -> Vec<String> {
    let there = now.section(change.part, change.number);
    let text = |v: &Difference| {
        let found = there.and_then(|s| s.entry(&v.name).map(|e| s.text(e, now.revision)));
        found.unwrap_or_else(|| NOT_READ.into())
    };
    change.values.iter().map(text).collect()
}
