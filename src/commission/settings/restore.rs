//! Writing settings back: what differs is written, in the order of the parts, and each value read back
//! [HO-06].

use super::parts::{POLLING_ADDRESS, Part, Write};
use super::read::{ReadError, patiently, read, read_section};
use super::{Content, Difference, Origin, Section, Settings, apart};
use crate::app::command::layout::{self, Missing};
use crate::app::command::{Effect, Value, spec};
use crate::app::status::CodeClass;
use crate::host::{Ask, Device};

/// What a restoring may do besides writing what cannot move the valve.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Allowed {
    /// Write what may move the valve [HO-05].
    pub moves: bool,
    /// Write the polling address.
    pub polling_address: bool,
}

/// One command that is to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// The part.
    pub part: &'static Part,
    /// Which one of several.
    pub number: Option<u8>,
    /// The command and its values.
    pub write: &'static Write,
    /// The values that it is for.
    pub values: Vec<Difference>,
}

impl Change {
    /// Whether it may move the valve, or change what the loop current does to it.
    pub fn moves(&self) -> bool {
        effect(self.write.command) == Effect::Moves
    }

    fn is(&self, other: &Change) -> bool {
        self.write == other.write && self.number == other.number && self.part == other.part
    }
}

/// What a command does; one that is not known may do anything.
fn effect(command: u8) -> Effect {
    spec(command.into()).map_or(Effect::Moves, |s| s.effect)
}

/// A value that will not be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The value, as found and as it is wanted.
    pub value: Difference,
    /// Why.
    pub why: String,
    /// Whether that was to be expected: only then everything that was asked for may still arrive.
    pub expected: bool,
}

/// What a restoring will do.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// What is written, in this order.
    pub changes: Vec<Change>,
    /// What is not.
    pub left_out: Vec<LeftOut>,
    /// How many settings are the same already.
    pub equal: usize,
}

/// Compares what is wanted with what is there and plans what to write.
pub fn plan(wanted: &Settings, now: &Settings, allowed: Allowed) -> Plan {
    let mut plan = Plan::default();
    for section in &wanted.sections {
        for write in section.part.writes {
            plan.add(section, write, wanted, now, allowed);
        }
    }
    plan
}

impl Plan {
    fn add(
        &mut self,
        section: &Section,
        write: &'static Write,
        wanted: &Settings,
        now: &Settings,
        allowed: Allowed,
    ) {
        let there = now.section(section.part, section.number);
        let mut values = Vec::new();
        for name in write.fields {
            let Some(x) = section.entry(name) else { continue };
            let mut difference = Difference {
                section: section.name(),
                name: x.name.clone(),
                setting: true,
                as_found: "-".into(),
                as_left: section.text(x, wanted.revision),
            };
            let Some((there, y)) = there.and_then(|s| s.entry(name).map(|y| (s, y))) else {
                let why = match there.map(|s| &s.content) {
                    Some(Content::Refused(64)) | None => "the device does not have it".to_owned(),
                    Some(Content::Refused(code)) => {
                        format!("the device refuses to tell it, code {code}: it could not be read back")
                    }
                    Some(Content::Values(_)) => "the device does not tell it".to_owned(),
                };
                self.left_out.push(LeftOut { value: difference, why, expected: false });
                continue;
            };
            if y.same(x) {
                self.equal += 1;
                continue;
            }
            (difference.as_found, difference.as_left) =
                apart((there, y, now.revision), (section, x, wanted.revision));
            let mut leave = |why: String, expected| {
                self.left_out.push(LeftOut { value: difference.clone(), why, expected });
            };
            if *name == POLLING_ADDRESS && !allowed.polling_address {
                leave(
                    "with it the device would answer elsewhere: --polling-address restores it too".into(),
                    true,
                );
            } else if spec(write.command.into()).and_then(|s| s.form(now.revision)).is_none() {
                leave(format!("revision {} has no command for it", now.revision), false);
            } else if effect(write.command) == Effect::Moves && !allowed.moves {
                leave(format!("command {} may move the valve: --move allows it", write.command), false);
            } else {
                values.push(difference);
            }
        }
        if !values.is_empty() {
            self.changes.push(Change { part: section.part, number: section.number, write, values });
        }
    }
}

/// What became of a change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// What was written was read back.
    Arrived,
    /// It was written, but something else was read back.
    Differs,
    /// The device refused it; what it said.
    Refused(String),
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
    /// What was read back, a text for each of the change's values.
    pub read_back: Vec<String>,
}

/// Writes what is planned and reads each value back. A write that the device refuses does not hinder
/// those after it, unless `stop` is set. `results` holds what was done even where an error ends it.
///
/// A device that takes a new unit converts other values, so in the end everything is read once more, and
/// what was changed by the way is written again, once; `again` is told of these before they are written.
///
/// # Errors
/// The host cannot ask any more, or the device does not answer what is read back.
#[allow(clippy::too_many_arguments, reason = "each is a part of its own of what is to be done")]
pub fn restore(
    ask: &mut dyn Ask,
    device: &Device,
    wanted: &Settings,
    now: &mut Settings,
    allowed: Allowed,
    stop: bool,
    again: &mut dyn FnMut(&[Change]),
    results: &mut Vec<Result>,
) -> core::result::Result<(), ReadError> {
    let ended = passes(ask, device, wanted, now, allowed, stop, again, results);
    amend(wanted, now, results);
    ended
}

#[allow(clippy::too_many_arguments, reason = "those of `restore`")]
fn passes(
    ask: &mut dyn Ask,
    device: &Device,
    wanted: &Settings,
    now: &mut Settings,
    allowed: Allowed,
    stop: bool,
    again: &mut dyn FnMut(&[Change]),
    results: &mut Vec<Result>,
) -> core::result::Result<(), ReadError> {
    for pass in 0..2 {
        let mut changes = plan(wanted, now, allowed).changes;
        // What failed once is not tried again.
        changes.retain(|c| results.iter().all(|r| !r.change.is(c) || r.outcome == Outcome::Arrived));
        if changes.is_empty() {
            break;
        }
        if pass > 0 {
            again(&changes);
        }
        for (i, change) in changes.iter().enumerate() {
            let result = carry_out(ask, device, wanted, now, change);
            let (result, ended) = match result {
                Ok(result) => (result, None),
                Err(e) => (not_tried(change, Outcome::Unanswered), Some(e)),
            };
            let ends = ended.is_some() || stop && result.outcome != Outcome::Arrived;
            results.push(result);
            if ends {
                results.extend(changes[i + 1..].iter().map(|c| not_tried(c, Outcome::NotTried)));
                return ended.map_or(Ok(()), Err);
            }
        }
        *now = read(ask, device, Origin::default(), &mut |_| {})?;
    }
    // What a later write changed and nothing here wrote.
    let changed = plan(wanted, now, allowed).changes.into_iter();
    let changed: Vec<Change> = changed.filter(|c| results.iter().all(|r| !r.change.is(c))).collect();
    results.extend(changed.iter().map(|c| not_tried(c, Outcome::Differs)));
    Ok(())
}

fn not_tried(change: &Change, outcome: Outcome) -> Result {
    let read_back = change.values.iter().map(|_| "-".to_owned()).collect();
    Result { change: change.clone(), outcome, said: String::new(), read_back }
}

/// What was written twice counts once, and what a later write changed has not arrived.
fn amend(wanted: &Settings, now: &Settings, results: &mut Vec<Result>) {
    let mut kept: Vec<Result> = Vec::new();
    for result in results.drain(..) {
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
        let (part, number) = (result.change.part, result.change.number);
        let there = now.section(part, number);
        result.read_back = read_back(&result.change, now);
        let same = result.change.values.iter().all(|v| {
            let x = wanted.section(part, number).and_then(|s| s.entry(&v.name));
            x.zip(there.and_then(|s| s.entry(&v.name))).is_some_and(|(x, y)| x.same(y))
        });
        if result.outcome == Outcome::Arrived && !same {
            result.outcome = Outcome::Differs;
        }
    }
    *results = kept;
}

fn read_back(change: &Change, now: &Settings) -> Vec<String> {
    let there = now.section(change.part, change.number);
    let text = |v: &Difference| {
        let found = there.and_then(|s| s.entry(&v.name).map(|e| s.text(e, now.revision)));
        found.unwrap_or_else(|| "-".into())
    };
    change.values.iter().map(text).collect()
}

fn carry_out(
    ask: &mut dyn Ask,
    device: &Device,
    wanted: &Settings,
    now: &mut Settings,
    change: &Change,
) -> core::result::Result<Result, ReadError> {
    let Change { part, number, write, .. } = change;
    let Some(form) = spec(write.command.into()).and_then(|s| s.form(device.revision)) else {
        return Ok(not_tried(change, Outcome::NotTried));
    };
    let (new, old) = (wanted.section(part, *number), now.section(part, *number));
    let data = layout::encode(form.request, Missing::Error, &mut |name, _| {
        if part.each.selector() == Some(name) {
            return Ok(number.map(|n| Value::Number(n.into())));
        }
        // What is not to be changed goes back as it is.
        let changed = change.values.iter().any(|v| v.name == name);
        let old = old.and_then(|s| s.entry(name));
        let entry = if changed { new.and_then(|s| s.entry(name)) } else { old };
        Ok(entry.map(|e| e.value.clone()))
    });
    let data = match data {
        Ok(data) => data,
        Err(e) => {
            let mut result = not_tried(change, Outcome::Refused(e.to_string()));
            result.said = "not sent".into();
            return Ok(result);
        }
    };
    let exchange = patiently(ask, device, write.command, &data)?;
    let mut said = String::new();
    exchange.write_response(&mut said);
    if exchange.is_unanswered() {
        said.push_str("no answer");
    }
    // Whatever it said: what it has now is what counts.
    if let Some(section) = read_section(ask, device, part, *number)?
        && let Some(place) = now.sections.iter_mut().find(|s| s.part == *part && s.number == *number)
    {
        *place = section;
    }
    let arrived = change.values.iter().all(|v| {
        let entry = |s: Option<&Section>| s.and_then(|s| s.entry(&v.name)).cloned();
        let (x, y) = (entry(new), entry(now.section(part, *number)));
        x.zip(y).is_some_and(|(x, y)| x.same(&y))
    });
    let outcome = match exchange.class() {
        // Its answer was lost, but it was obeyed.
        None if arrived => Outcome::Arrived,
        None => Outcome::Unanswered,
        Some(CodeClass::Error) => Outcome::Refused(said.clone()),
        Some(_) if arrived => Outcome::Arrived,
        Some(_) => Outcome::Differs,
    };
    Ok(Result { read_back: read_back(change, now), change: change.clone(), outcome, said })
}
