//! What a restoring will write, in which order, and what it will not [HO-06].

use super::parts::{POLLING_ADDRESS, SWITCHES};
use super::{Content, Difference, Section, Settings, apart, busy_words, fields};
use crate::app::command::setting::{Part, Write};
use crate::app::command::{Effect, Revision};

/// What a restoring may do besides writing what cannot move the valve.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Allowed {
    /// Write what may move the valve [HO-05].
    pub moves: bool,
    /// Write the polling address.
    pub polling_address: bool,
}

/// When a command is written [HO-06].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Turn {
    /// Before all others: it makes the device quiet, or takes the valve from the loop current.
    First,
    /// Between them, in the order of the parts.
    Middle,
    /// After all others: it switches on what was better off until then.
    Last,
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
    /// When it is written.
    pub turn: Turn,
}

impl Change {
    /// Whether it may move the valve, or change what the loop current does to it.
    pub fn moves(&self) -> bool {
        self.part.effect(self.write.command) == Effect::Moves
    }

    /// Whether both write the same of the same part, whatever the values.
    pub(super) fn is(&self, other: &Change) -> bool {
        self.write == other.write && self.number == other.number && self.part == other.part
    }
}

/// A value that will not be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeftOut {
    /// The value, as found and as it is wanted; a name in brackets stands for several.
    pub value: Difference,
    /// Why.
    pub why: String,
    /// Whether that was to be expected: only then everything that was asked for may still arrive.
    pub expected: bool,
}

impl LeftOut {
    /// Whether both are about the same value.
    pub fn is(&self, other: &LeftOut) -> bool {
        (&self.value.section, &self.value.name) == (&other.value.section, &other.value.name)
    }
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
    for section in wanted.sections.iter().filter(|s| !s.part.writes.is_empty()) {
        plan.note_unread(section, wanted.revision);
        for write in section.part.writes {
            plan.add(section, write, wanted, now, allowed);
        }
    }
    // Stable: else the order of the parts.
    plan.changes.sort_by_key(|c| c.turn);
    plan
}

impl Plan {
    /// What the file itself does not know.
    fn note_unread(&mut self, section: &Section, revision: Revision) {
        let (name, why) = match section.content {
            Content::Unread(code) => {
                ("(all)", format!("the device was {} when the file was saved", busy_words(code)))
            }
            Content::CutShort(_) if lacks_settings(section, revision) => {
                ("(rest)", "the device's answer was cut short when the file was saved".to_owned())
            }
            _ => return,
        };
        let value = Difference {
            section: section.name(),
            name: name.into(),
            setting: true,
            as_found: "-".into(),
            as_left: "-".into(),
        };
        let next = format!("{why}: save it again, or take [{}] out of the file", section.heading());
        self.left_out.push(LeftOut { value, why: next, expected: false });
    }

    fn add(
        &mut self,
        section: &Section,
        write: &'static Write,
        wanted: &Settings,
        now: &Settings,
        allowed: Allowed,
    ) {
        let there = now.section(section.part, section.number);
        // What the device has is written as its own description says, not as that of the file's device does [HO-05].
        let own = now.part(section.part.heading).unwrap_or(section.part);
        if own != section.part {
            self.leave_out_described(section, write, wanted, now);
            return;
        }
        let is_address = |name: &str| own.is_shared(name, POLLING_ADDRESS);
        // What the command writes along with the rest, and the file does not say.
        let unsaid: Vec<&str> = write
            .fields
            .iter()
            .copied()
            .filter(|n| !is_address(n) && section.entry(n).is_none())
            .filter(|n| there.is_some_and(|s| s.entry(n).is_some()))
            .collect();
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
                let why = not_there(there.map(|s| &s.content));
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
            if is_address(name) && !allowed.polling_address {
                leave(
                    "with it the device would answer elsewhere: --polling-address restores it too".into(),
                    true,
                );
            } else if own.spec(write.command).and_then(|s| s.form(now.revision)).is_none() {
                leave(format!("revision {} has no command for it", now.revision), false);
            } else if !unsaid.is_empty() {
                leave(
                    format!(
                        "command {} writes {} together, and the file has no {}: put in what is missing, or take out all of them",
                        write.command,
                        write.fields.join(", "),
                        unsaid.join(", ")
                    ),
                    false,
                );
            } else if own.effect(write.command) == Effect::Moves && !allowed.moves {
                leave(format!("command {} may move the valve: --move allows it", write.command), false);
            } else {
                values.push(difference);
            }
        }
        if !values.is_empty() {
            let turn = turn(section, write, &values);
            self.changes.push(Change { part: own, number: section.number, write, values, turn });
        }
    }
}

impl Plan {
    /// A described section whose commands are others in this device: nobody knows what they would do.
    fn leave_out_described(&mut self, section: &Section, write: &Write, wanted: &Settings, now: &Settings) {
        for x in write.fields.iter().filter_map(|name| section.entry(name)) {
            let there = now.section(section.part, section.number);
            let found = there.and_then(|s| s.entry(&x.name).map(|y| s.text(y, now.revision)));
            let value = Difference {
                section: section.name(),
                name: x.name.clone(),
                setting: true,
                as_found: found.unwrap_or_else(|| "-".into()),
                as_left: section.text(x, wanted.revision),
            };
            let why = "the description of this device has other commands for it than that of the file's device: set it \
                       by hand with `looprig ask`"
                .to_owned();
            self.left_out.push(LeftOut { value, why, expected: false });
        }
    }
}

fn lacks_settings(section: &Section, revision: Revision) -> bool {
    let known = fields::fields(section.part, revision);
    let mut settings = known.iter().filter(|k| section.part.is_setting(&k.name));
    settings.any(|k| section.entry(&k.name).is_none())
}

fn not_there(content: Option<&Content>) -> String {
    match content {
        Some(Content::Refused(64)) | None => "the device does not have it".to_owned(),
        Some(Content::Refused(code)) => {
            format!("the device refuses to tell it, code {code}: it could not be read back")
        }
        Some(Content::Unread(code)) => {
            format!("the device stayed {} and did not tell it: try again later", busy_words(*code))
        }
        Some(Content::CutShort(_)) => "the device's answer was cut short before it".to_owned(),
        Some(Content::Values(_)) => "the device does not tell it".to_owned(),
    }
}

/// A switch is thrown before everything else when it goes off, and after everything else when it goes on.
fn turn(section: &Section, write: &Write, values: &[Difference]) -> Turn {
    let shared = section.part.rows.is_none();
    let Some(switch) = write.fields.iter().find(|n| shared && SWITCHES.contains(n)) else {
        return Turn::Middle;
    };
    // 0 is off for each of them [TB-09] [TB-17].
    let off = section.entry(switch).and_then(|e| e.value.number()) == Some(0);
    if off && values.iter().any(|v| v.name == *switch) { Turn::First } else { Turn::Last }
}
