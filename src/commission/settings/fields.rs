//! The values of a part by name, as the row of the command that reads it has them.

use crate::app::command::setting::Part;
use crate::app::command::{ClassFrom, Field, Item, Layout, Name, Revision, UnitFrom};

/// A field with the name under which it is found.
#[derive(Clone, Debug)]
pub struct Known {
    /// Its name.
    pub name: String,
    /// The field.
    pub field: &'static Field,
    /// Number of bits where it shares its octet.
    #[cfg_attr(not(feature = "bench-file"), expect(dead_code, reason = "who reads no file needs no limits"))]
    pub width: Option<u8>,
    /// First octet in the data.
    offset: usize,
}

/// The fields that the reply of a part's command has in a revision; none where it has no such command.
pub fn fields(part: &Part, revision: Revision) -> Vec<Known> {
    let mut out = Vec::new();
    if let Some(form) = part.spec(part.read).and_then(|s| s.form(revision)) {
        flatten(form.reply, 0, &mut out);
    }
    out
}

fn flatten(layout: Layout, mut at: usize, out: &mut Vec<Known>) {
    let known = |field: &'static Field, slot, width, offset| {
        let name = Name { base: field.name, slot }.to_string();
        Known { name, field, width, offset }
    };
    for item in layout {
        match item {
            Item::Field(field) => {
                out.push(known(field, None, None, at));
                at += field.kind.len();
            }
            Item::Parts(parts) => {
                out.extend(parts.iter().map(|p| known(&p.field, None, Some(p.width), at)));
                at += 1;
            }
            Item::Slots { fields, most, .. } => {
                for slot in 0..*most {
                    for field in *fields {
                        out.push(known(field, Some(slot), None, at));
                        at += field.kind.len();
                    }
                }
            }
            // The last item of its layout.
            Item::OneOf(forms) => forms.iter().for_each(|form| flatten(form, at, out)),
            // No setting stands in or behind one of these.
            Item::Records { .. } | Item::Carried { .. } | Item::Rest(_) => return,
            Item::MayEnd => {}
        }
    }
}

/// The name of the value that is the unit of the one at `i`.
pub fn unit_of(known: &[Known], i: usize) -> Option<&str> {
    match known.get(i)?.field.unit {
        UnitFrom::Back(n) => Some(&known.get(i.checked_sub(n.into())?)?.name),
        UnitFrom::None | UnitFrom::Fixed(_) => None,
    }
}

/// The name of the value that is the classification of the unit at `i`.
pub fn class_of(known: &[Known], i: usize) -> Option<&str> {
    match known.get(i)?.field.class {
        ClassFrom::None => None,
        ClassFrom::Back(n) => Some(&known.get(i.checked_sub(n.into())?)?.name),
        ClassFrom::Ahead(octets) => {
            let offset = known[i].offset + usize::from(octets);
            known[i..].iter().find(|k| k.offset == offset).map(|k| k.name.as_str())
        }
    }
}
