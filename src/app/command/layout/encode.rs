//! Data made from named values: the inverse of [`decode`](super::decode).

use super::{Field, Item, Kind, Layout, Name, mask};
use crate::app::command::value::{Value, ValueError};
use crate::app::command::{Direction, carried};
use core::fmt;

/// How strict an encoder is about values that are not given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Missing {
    /// An error: a request is to be made.
    Error,
    /// The data end there: octets that were decoded are to be made again as they were.
    Ends,
}

/// Values that do not make data.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EncodeError {
    /// A value that must be there is not given.
    Missing {
        /// Its name.
        name: String,
        /// What people call it.
        label: &'static str,
    },
    /// A value is given that cannot stand there.
    Bad {
        /// Its name.
        name: String,
        /// What is wrong with it.
        why: ValueError,
    },
}

impl fmt::Display for EncodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            EncodeError::Missing { name, label } => {
                write!(f, "{name} ({label}) is not given: add {name}=VALUE")
            }
            EncodeError::Bad { name, why } => write!(f, "{name}: {why}"),
        }
    }
}

impl std::error::Error for EncodeError {}

/// Answers a name and the kind in which its value is wanted: with the value, with nothing, or with what is
/// wrong with it.
pub type Lookup<'a> = dyn FnMut(&str, Kind) -> Result<Option<Value>, ValueError> + 'a;

/// Makes data by `layout` from named values. `get` is asked for each name and the kind in which the
/// value is wanted, and answers with the value, with nothing, or with what is wrong with it.
///
/// # Errors
/// A value that cannot stand in its place, or one that is missing when that is an error.
pub fn encode(layout: Layout, missing: Missing, get: &mut Lookup<'_>) -> Result<Vec<u8>, EncodeError> {
    let mut out = Vec::new();
    write(layout, missing, get, &mut out)?;
    Ok(out)
}

/// Whether the data go on behind an item.
enum Then {
    /// They do.
    GoesOn,
    /// They ended within it.
    Ended,
}

fn write(
    layout: Layout,
    missing: Missing,
    get: &mut Lookup<'_>,
    out: &mut Vec<u8>,
) -> Result<Then, EncodeError> {
    let mut may_end = false;
    // The value of the field before: what it says decides how the next item is read.
    let mut before = None;
    for item in layout {
        let absent = if may_end { Missing::Ends } else { missing };
        may_end = false;
        let then = match item {
            Item::Field(field) => {
                let value = fetch(field, None, get)?;
                before = value.as_ref().map(|octets| octets.iter().fold(0u32, |n, &o| n << 8 | u32::from(o)));
                match value {
                    Some(octets) => {
                        out.extend(octets);
                        Then::GoesOn
                    }
                    None => ends(absent, field, None)?,
                }
            }
            Item::Parts(parts) => write_parts(parts, absent, get, out)?,
            Item::MayEnd => {
                may_end = true;
                Then::GoesOn
            }
            Item::Slots { fields, least, most } => write_slots(fields, *least, *most, missing, get, out)?,
            Item::Records { fields, octets, most } => {
                let records = write_records(fields, octets, *most, get, out)?;
                let said = before.unwrap_or_default();
                if missing == Missing::Error && said != u32::from(records) {
                    return Err(EncodeError::Bad {
                        name: count_name(layout).to_owned(),
                        why: ValueError::Kind {
                            given: said.to_string(),
                            wanted: format!("{records}, as many as are given"),
                        },
                    });
                }
                Then::GoesOn
            }
            Item::Rest(field) => {
                out.extend(fetch(field, None, get)?.unwrap_or_default());
                Then::GoesOn
            }
            Item::Carried { direction, otherwise } => {
                write_carried(before, *direction, otherwise, missing, get, out)?
            }
            Item::OneOf(forms) => {
                let mut meant = forms.first();
                for form in *forms {
                    if let Some(Item::Field(first)) = form.first()
                        && fetch(first, None, get)?.is_some()
                    {
                        meant = Some(form);
                        break;
                    }
                }
                match meant {
                    Some(form) => write(form, absent, get, out)?,
                    None => Then::GoesOn,
                }
            }
        };
        if let Then::Ended = then {
            return Ok(Then::Ended);
        }
    }
    Ok(Then::GoesOn)
}

/// The name of the field that says how many records there are.
fn count_name(layout: Layout) -> &'static str {
    let mut names = layout.windows(2).filter_map(|two| match two {
        [Item::Field(count), Item::Records { .. }] => Some(count.name),
        _ => None,
    });
    names.next_back().unwrap_or_default()
}

fn write_parts(
    parts: &'static [super::Part],
    missing: Missing,
    get: &mut Lookup<'_>,
    out: &mut Vec<u8>,
) -> Result<Then, EncodeError> {
    let mut octet = 0u8;
    for p in parts {
        let Some(v) = fetch(&p.field, None, get)? else { return ends(missing, &p.field, None) };
        let v = v.first().copied().unwrap_or(0);
        if v > mask(p.width) {
            return Err(EncodeError::Bad {
                name: p.field.name.to_owned(),
                why: ValueError::Range { most: u32::from(mask(p.width)) },
            });
        }
        octet |= v << p.shift;
    }
    out.push(octet);
    Ok(Then::GoesOn)
}

fn write_slots(
    fields: &'static [Field],
    least: u8,
    most: u8,
    missing: Missing,
    get: &mut Lookup<'_>,
    out: &mut Vec<u8>,
) -> Result<Then, EncodeError> {
    for slot in 0..most {
        let mut one = Vec::new();
        for (i, field) in fields.iter().enumerate() {
            match fetch(field, Some(slot), get)? {
                Some(octets) => one.extend(octets),
                None if i == 0 && slot >= least => return Ok(Then::GoesOn),
                None => return ends(missing, field, Some(slot)),
            }
        }
        out.extend(one);
    }
    Ok(Then::GoesOn)
}

/// Writes records until one has no first value; says how many.
fn write_records(
    fields: &'static [Field],
    octets: &'static Field,
    most: u8,
    get: &mut Lookup<'_>,
    out: &mut Vec<u8>,
) -> Result<u8, EncodeError> {
    for slot in 0..most {
        let mut said = 0;
        for (i, field) in fields.iter().enumerate() {
            match fetch(field, Some(slot), get)? {
                Some(value) => {
                    said = usize::from(value.last().copied().unwrap_or_default());
                    out.extend(value);
                }
                None if i == 0 => return Ok(slot),
                None => return Err(absent(field, Some(slot))),
            }
        }
        let data = fetch(octets, Some(slot), get)?.unwrap_or_default();
        if data.len() != said {
            return Err(EncodeError::Bad {
                name: Name { base: octets.name, slot: Some(slot) }.to_string(),
                why: ValueError::Kind {
                    given: format!("{} octets", data.len()),
                    wanted: format!("{said} octets, as the number before them says"),
                },
            });
        }
        out.extend(data);
    }
    Ok(most)
}

fn write_carried(
    number: Option<u32>,
    direction: Direction,
    otherwise: &'static Field,
    missing: Missing,
    get: &mut Lookup<'_>,
    out: &mut Vec<u8>,
) -> Result<Then, EncodeError> {
    if let Some(octets) = fetch(otherwise, None, get)? {
        out.extend(octets);
        return Ok(Then::GoesOn);
    }
    match number.and_then(|n| carried(n, direction)) {
        Some(inner) => write(inner, missing, get, out),
        None => Ok(Then::GoesOn),
    }
}

/// What follows from a value that is not given.
fn ends(missing: Missing, field: &Field, slot: Option<u8>) -> Result<Then, EncodeError> {
    match missing {
        Missing::Ends => Ok(Then::Ended),
        Missing::Error => Err(absent(field, slot)),
    }
}

fn absent(field: &Field, slot: Option<u8>) -> EncodeError {
    EncodeError::Missing { name: Name { base: field.name, slot }.to_string(), label: field.label }
}

fn fetch(field: &Field, slot: Option<u8>, get: &mut Lookup<'_>) -> Result<Option<Vec<u8>>, EncodeError> {
    // A field of a static layout has a static name; only slots need theirs built.
    let name;
    let name = if slot.is_some() {
        name = Name { base: field.name, slot }.to_string();
        name.as_str()
    } else {
        field.name
    };
    get(name, field.kind)
        .and_then(|v| v.map(|v| v.write(field.kind)).transpose())
        .map_err(|why| EncodeError::Bad { name: name.to_owned(), why })
}
