//! Commands of a device type that a bench file lets the mock answer [DV-70].

use super::commands::code;
use super::state::State;
use crate::app::command::described::{Command, Element, Part};
use crate::app::command::value::{hex, hex_text};
use crate::app::command::{
    Decoded, Described, Direction, Effect, Form, Kind, Missing, Revision, Value, layout,
};
use crate::frame::Master;
use crate::time::Instant;
use std::collections::{BTreeMap, BTreeSet};

/// How a described command is answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// What is written is kept by name, and what is read is what is kept under the same name.
    Stored,
    /// The data of the reply are those of the request.
    Echo,
    /// Always the same.
    Canned {
        /// Response code, 0 to 127.
        code: u8,
        /// Data of the reply, at most 253 octets.
        data: Vec<u8>,
    },
}

/// The described commands that a mock answers.
#[derive(Clone, Debug, PartialEq)]
pub struct DescribedAnswers {
    described: &'static Described,
    answers: BTreeMap<u8, Answer>,
}

impl DescribedAnswers {
    /// None of the commands of a description yet.
    pub fn new(described: &'static Described) -> Self {
        DescribedAnswers { described, answers: BTreeMap::new() }
    }

    /// Answers a command so from now on.
    pub fn answer(&mut self, number: u8, answer: Answer) {
        self.answers.insert(number, answer);
    }

    /// The description.
    pub fn described(&self) -> &'static Described {
        self.described
    }

    /// Whether a command keeps values, or tells those that are kept.
    pub fn is_stored(&self, number: u16) -> bool {
        u8::try_from(number).ok().and_then(|n| self.answers.get(&n)) == Some(&Answer::Stored)
    }

    /// The stored commands.
    fn stored(&self) -> impl Iterator<Item = &'static Command> {
        let description = self.described.description();
        let stored = self.answers.iter().filter(|(_, answer)| **answer == Answer::Stored);
        stored.filter_map(|(number, _)| description.command(*number))
    }

    /// What of the description selects: the names of values that say which of several things is meant.
    pub fn selectors(&self) -> BTreeSet<&'static str> {
        self.stored().flat_map(Command::selectors).collect()
    }

    /// The values that are kept where `selected` says which ones, by name, each with a part of the description that
    /// has it. Which command is asked for them does not matter.
    pub fn places(&self, selected: &[(&str, u32)], revision: Revision) -> BTreeMap<String, &'static Part> {
        let mut out = BTreeMap::new();
        for command in self.stored() {
            let names: BTreeSet<&str> = command.selectors().collect();
            if !names.iter().copied().eq(selected.iter().map(|(n, _)| *n).collect::<BTreeSet<_>>()) {
                continue;
            }
            for direction in [Direction::Request, Direction::Reply] {
                for element in command.data(direction) {
                    let slots = match element {
                        Element::Value(_) => vec![None],
                        Element::Slots { most, .. } => (0..*most).map(Some).collect(),
                    };
                    let parts = element.parts().iter().filter(|p| {
                        p.from <= revision && revision <= p.to && !names.contains(p.name.as_str())
                    });
                    for part in parts {
                        for slot in &slots {
                            let name = match slot {
                                Some(n) => format!("slot{n}_{}", part.name),
                                None => part.name.clone(),
                            };
                            out.entry(name).or_insert(part);
                        }
                    }
                }
            }
        }
        out
    }
}

/// Where a value is kept: its name behind what selects it.
pub fn place(selected: &[(&str, u32)], name: &str) -> String {
    let mut out = String::new();
    for (selector, n) in selected {
        out.push_str(&format!("{selector}={n}/"));
    }
    out + name
}

/// Whether something is kept in `place` where exactly `selected` says which one.
pub fn is_of(place: &str, selected: &[(&str, u32)]) -> bool {
    place.strip_prefix(&self::place(selected, "")).is_some_and(|name| !name.contains('/'))
}

/// The form of a described command that changes something; `None` for others.
pub(super) fn changing_form(state: &State, number: u8) -> Option<&'static Form> {
    let described = state.config.described.as_ref()?;
    described.answers.get(&number)?;
    let row = described.described.spec(number).filter(|row| row.effect != Effect::Reads)?;
    row.form(state.revision())
}

/// Response code and data of the answer; `None` for a command that is not described, or not to be answered.
pub(super) fn answer(
    state: &mut State,
    master: Master,
    now: Instant,
    number: u8,
    data: &[u8],
) -> Option<(u8, Vec<u8>)> {
    let answers = state.config.described.as_ref()?;
    let answer = answers.answers.get(&number)?.clone();
    let described = answers.described;
    let row = described.spec(number)?;
    let form = row.form(state.revision())?;
    let refused = |code| Some((code, Vec::new()));
    let mut found = Decoded::default();
    layout::decode(form.request, data, &mut found);
    // The order of reasons is that of the other commands [DV-05].
    if state.is_busy(now) {
        return refused(code::BUSY);
    }
    if !found.complete {
        return refused(code::TOO_FEW_DATA);
    }
    if row.effect != Effect::Reads {
        if state.config.write_protected {
            return refused(code::WRITE_PROTECTED);
        }
        if state.is_locked_out(master) {
            return refused(if state.revision() < Revision::R7 { code::BUSY } else { code::RESTRICTED });
        }
    }
    let answered = match answer {
        Answer::Canned { code, data } => (code, data),
        Answer::Echo => (code::SUCCESS, data.get(..253).unwrap_or(data).to_vec()),
        Answer::Stored => {
            let command = described.description().command(number)?;
            stored(state, command, row.effect, form, &found, data)
        }
    };
    state.note_status();
    Some(answered)
}

/// Keeps what is written and tells what is kept.
fn stored(
    state: &mut State,
    command: &Command,
    effect: Effect,
    form: &Form,
    found: &Decoded,
    data: &[u8],
) -> (u8, Vec<u8>) {
    let selectors: BTreeSet<&str> = command.selectors().collect();
    let given: BTreeMap<String, Value> =
        found.fields.iter().map(|f| (f.name().to_string(), f.value(data))).collect();
    let number = |name: &str| given.get(name).and_then(Value::number).unwrap_or_default();
    let selected: Vec<(&str, u32)> = selectors.iter().map(|name| (*name, number(name))).collect();
    let kept = &state.stored.described;
    let held = |name: &str| kept.get(&place(&selected, name)).and_then(|octets| hex(octets));
    // A code that its table does not have is no choice, and neither is something that is not there.
    let unknown = |kind: Kind, value: &Value| match (kind, value.number()) {
        (Kind::Enum(table), Some(n)) => u8::try_from(n).is_ok_and(|n| table.text(n).is_none()),
        _ => false,
    };
    let is_there = selected.is_empty() || kept.keys().any(|k| is_of(k, &selected));
    if !is_there || found.fields.iter().any(|f| unknown(f.field.kind, &f.value(data))) {
        return (code::INVALID_SELECTION, Vec::new());
    }
    let slots_given = given.keys().any(|name| name.starts_with("slot"));
    let reply = layout::encode(form.reply, Missing::Ends, &mut |name, kind| {
        Ok(given.get(name).cloned().or_else(|| {
            // Of slots that are written the reply has as many.
            let held = held(name).filter(|_| !(slots_given && name.starts_with("slot")));
            held.map(|octets| Value::read(kind, &octets))
        }))
    });
    // What is kept was written by the kinds by which it is read; an answer that cannot be made is no success.
    let Ok(reply) = reply else { return (code::DEVICE, Vec::new()) };
    let mut changes = Vec::new();
    if effect != Effect::Reads {
        for f in &found.fields {
            let name = place(&selected, &f.name().to_string());
            if kept.contains_key(&name) {
                changes.push((name, hex_text(f.octets(data))));
            }
        }
    }
    if !changes.is_empty() {
        state.stored.described.extend(changes);
        state.count_write();
    }
    (code::SUCCESS, reply)
}
