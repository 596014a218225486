//! The language in which a command's data are described, and the one decoder and the one encoder
//! that read it.
//!
//! A layout is a list of items in wire order. Decoding never fails: octets that are missing leave
//! the list short, octets that are too many become the surplus. Encoding is its inverse.

use super::value::{Value, ValueError};
use crate::app::types::{BitTable, Table};
use core::fmt;

/// How the octets of one field are to be read.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    /// Unsigned, 8 bits [TY-01].
    U8,
    /// Unsigned, 16 bits [TY-01].
    U16,
    /// Unsigned, 24 bits [TY-01].
    U24,
    /// Unsigned, 32 bits [TY-01].
    U32,
    /// IEEE 754 single [TY-02].
    Float,
    /// Packed ASCII in so many octets, a multiple of three [TY-04].
    Packed(u8),
    /// Latin-1 text in so many octets [TY-05].
    Latin1(u8),
    /// Day, month, year [TY-06].
    Date,
    /// Time of day or a length of time in 1/32 ms [TY-07].
    Time,
    /// Engineering unit code [UN-01].
    Unit,
    /// A code of a table; unknown codes stay numbers.
    Enum(&'static Table),
    /// Eight bits with names.
    Bits(&'static BitTable),
    /// Device variable code [TY-09].
    VariableCode,
    /// Device variable status octet [TY-08].
    VariableStatus,
    /// So many octets without known meaning.
    Octets(u8),
}

impl Kind {
    /// How many octets it takes.
    pub const fn len(self) -> usize {
        match self {
            Kind::U8
            | Kind::Unit
            | Kind::Enum(_)
            | Kind::Bits(_)
            | Kind::VariableCode
            | Kind::VariableStatus => 1,
            Kind::U16 => 2,
            Kind::U24 | Kind::Date => 3,
            Kind::U32 | Kind::Float | Kind::Time => 4,
            Kind::Packed(n) | Kind::Latin1(n) | Kind::Octets(n) => n as usize,
        }
    }

    /// Whether its value is an unsigned integer or a code.
    pub const fn is_integer(self) -> bool {
        !matches!(
            self,
            Kind::Float | Kind::Packed(_) | Kind::Latin1(_) | Kind::Date | Kind::Time | Kind::Octets(_)
        )
    }

    /// Whether it takes no octets.
    pub const fn is_empty(self) -> bool {
        self.len() == 0
    }
}

/// Where the unit of a value stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitFrom {
    /// It has none.
    None,
    /// The command fixes it.
    Fixed(&'static str),
    /// A unit code so many fields before this one.
    Back(u8),
}

/// One value in a command's data.
#[derive(Clone, Copy, Debug)]
pub struct Field {
    /// The name by which programs know it, unique in its layout: lower case with `_`.
    pub name: &'static str,
    /// What people call it.
    pub label: &'static str,
    /// How its octets are read.
    pub kind: Kind,
    /// Its unit.
    pub unit: UnitFrom,
    /// How many fields before this one its classification stands, 0 for none: units from 170 to 219
    /// depend on it [UN-02].
    pub class_back: u8,
    /// Whether people read the number in hex: codes and ids.
    pub hex: bool,
}

impl Field {
    /// A field without unit.
    pub const fn new(name: &'static str, label: &'static str, kind: Kind) -> Field {
        Field { name, label, kind, unit: UnitFrom::None, class_back: 0, hex: false }
    }

    /// The same with a unit that the command fixes.
    pub const fn fixed(mut self, unit: &'static str) -> Field {
        self.unit = UnitFrom::Fixed(unit);
        self
    }

    /// The same, read in hex by people.
    pub const fn hex(mut self) -> Field {
        self.hex = true;
        self
    }

    /// The same with its unit code `back` fields before it.
    pub const fn unit(mut self, back: u8) -> Field {
        self.unit = UnitFrom::Back(back);
        self
    }

    /// The same with its classification `back` fields before it.
    pub const fn class(mut self, back: u8) -> Field {
        self.class_back = back;
        self
    }
}

/// A few bits of an octet that is shared by several values.
#[derive(Clone, Copy, Debug)]
pub struct Part {
    /// Name and label; the kind says how the bits are to be read.
    pub field: Field,
    /// Number of bits to the right of it.
    pub shift: u8,
    /// Number of its bits.
    pub width: u8,
}

/// One item of a layout.
#[derive(Clone, Copy, Debug)]
pub enum Item {
    /// A value.
    Field(Field),
    /// One octet whose bits are several values.
    Parts(&'static [Part]),
    /// The data may end here; whole groups that follow may be absent.
    MayEnd,
    /// The same fields again and again, numbered from 0, at most `most` times, at least once; the
    /// last `tail` octets are not theirs.
    Slots {
        /// The fields of one slot.
        fields: &'static [Field],
        /// Most slots.
        most: u8,
        /// Octets that follow the last slot.
        tail: u8,
    },
    /// All octets that are left, without known meaning; none at all is fine.
    Rest(Field),
}

/// A command's data in one direction: items in wire order.
pub type Layout = &'static [Item];

/// A field found in data: where, and what its unit is. The octets themselves stay with the data.
#[derive(Clone, Copy, Debug)]
pub struct Found {
    /// The field.
    pub field: &'static Field,
    /// Number of the slot it stands in.
    pub slot: Option<u8>,
    /// First octet in the data.
    pub start: u16,
    /// Number of octets.
    pub len: u16,
    /// Bits to the right, and width, when it shares its octet.
    pub bits: Option<(u8, u8)>,
    /// The unit's code, when the data hold one.
    pub unit_code: Option<u8>,
    /// The classification, when the data hold one.
    pub class: Option<u8>,
}

impl Found {
    /// The octets of the field in the data it was found in; of a shared octet the bits alone.
    pub fn octets<'a>(&self, data: &'a [u8]) -> &'a [u8] {
        let from = usize::from(self.start);
        data.get(from..from + usize::from(self.len)).unwrap_or(&[])
    }

    /// The value of a field of one octet, its bits shifted down.
    pub fn small(&self, data: &[u8]) -> u8 {
        let octet = self.octets(data).first().copied().unwrap_or(0);
        match self.bits {
            Some((shift, width)) => octet >> shift & mask(width),
            None => octet,
        }
    }

    /// The value.
    pub fn value(&self, data: &[u8]) -> Value {
        if self.bits.is_some() {
            return Value::Number(u32::from(self.small(data)));
        }
        Value::read(self.field.kind, self.octets(data))
    }

    /// The symbol of its unit: fixed, from the table, or `unit 220` for a code without entry.
    pub fn unit_symbol(&self) -> Option<UnitSymbol> {
        match self.field.unit {
            UnitFrom::None => None,
            UnitFrom::Fixed(symbol) => Some(UnitSymbol::Known(symbol)),
            UnitFrom::Back(_) => self.unit_code.map(|code| {
                crate::app::types::units::symbol(code, self.class)
                    .map_or(UnitSymbol::Unknown(code), UnitSymbol::Known)
            }),
        }
    }

    /// The name for programs, with the slot's number behind a slot's own name: `slot0_value`.
    pub fn name(&self) -> Name {
        Name { base: self.field.name, slot: self.slot }
    }
}

/// A unit as it is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitSymbol {
    /// From the table or fixed by the command.
    Known(&'static str),
    /// A code without entry.
    Unknown(u8),
}

impl fmt::Display for UnitSymbol {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            UnitSymbol::Known(s) => f.write_str(s),
            UnitSymbol::Unknown(code) => write!(f, "(unit {code})"),
        }
    }
}

/// The name of a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Name {
    /// The field's name.
    pub base: &'static str,
    /// The slot's number.
    pub slot: Option<u8>,
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.slot {
            Some(n) => write!(f, "slot{n}_{}", self.base),
            None => f.write_str(self.base),
        }
    }
}

/// What data turned out to hold.
#[derive(Clone, Debug, Default)]
pub struct Decoded {
    /// The fields in wire order.
    pub fields: Vec<Found>,
    /// Where the octets begin that no field covers; the length of the data when there are none.
    pub surplus_from: u16,
    /// Whether every field that must be there was there.
    pub complete: bool,
}

impl Decoded {
    /// Empties it, so that it can be filled again without a new allocation.
    pub fn clear(&mut self) {
        self.fields.clear();
        self.surplus_from = 0;
        self.complete = false;
    }

    /// The field of this name, outside slots.
    pub fn find(&self, name: &str) -> Option<&Found> {
        self.fields.iter().find(|f| f.slot.is_none() && f.field.name == name)
    }
}

pub(super) const fn mask(width: u8) -> u8 {
    if width >= 8 { 0xFF } else { (1 << width) - 1 }
}

/// Reads `data` by `layout` into `out`, which is cleared first. No frame holds more than 255 octets;
/// places are told in 16 bits, so of longer data only the first 65535 octets are looked at.
pub fn decode(layout: Layout, data: &[u8], out: &mut Decoded) {
    let data = &data[..data.len().min(usize::from(u16::MAX))];
    out.clear();
    let mut at = 0;
    out.complete = true;
    'items: for item in layout {
        match item {
            Item::Field(field) => {
                if !put(field, None, data, &mut at, out) {
                    out.complete = false;
                    break;
                }
            }
            Item::Parts(parts) => {
                if at >= data.len() {
                    out.complete = false;
                    break;
                }
                for p in *parts {
                    out.fields.push(Found {
                        field: &p.field,
                        slot: None,
                        start: at as u16,
                        len: 1,
                        bits: Some((p.shift, p.width)),
                        unit_code: None,
                        class: None,
                    });
                }
                at += 1;
            }
            Item::MayEnd => {
                if at == data.len() {
                    break;
                }
            }
            Item::Slots { fields, most, tail } => {
                let size: usize = fields.iter().map(|f| f.kind.len()).sum();
                let mut slot = 0;
                while slot < *most && data.len() - at >= size + usize::from(*tail) {
                    for field in *fields {
                        if !put(field, Some(slot), data, &mut at, out) {
                            out.complete = false;
                            break 'items;
                        }
                    }
                    slot += 1;
                }
                if slot == 0 {
                    out.complete = false;
                    break;
                }
            }
            Item::Rest(field) => {
                if at < data.len() {
                    out.fields.push(Found {
                        field,
                        slot: None,
                        start: at as u16,
                        len: (data.len() - at) as u16,
                        bits: None,
                        unit_code: None,
                        class: None,
                    });
                    at = data.len();
                }
            }
        }
    }
    out.surplus_from = at as u16;
}

/// Adds `field` at `at`; `false` when the octets do not suffice.
fn put(field: &'static Field, slot: Option<u8>, data: &[u8], at: &mut usize, out: &mut Decoded) -> bool {
    let len = field.kind.len();
    if data.len() - *at < len {
        return false;
    }
    let code = |back: u8| {
        let i = out.fields.len().checked_sub(usize::from(back))?;
        out.fields.get(i).map(|f| f.small(data))
    };
    let unit_code = match field.unit {
        UnitFrom::Back(n) => code(n),
        _ => None,
    };
    let class = if field.class_back > 0 { code(field.class_back) } else { None };
    out.fields.push(Found { field, slot, start: *at as u16, len: len as u16, bits: None, unit_code, class });
    *at += len;
    true
}

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
    let mut may_end = false;
    for item in layout {
        match item {
            Item::Field(field) => match fetch(field, None, get)? {
                Some(octets) => out.extend(octets),
                None if may_end || missing == Missing::Ends => return Ok(out),
                None => return Err(absent(field, None)),
            },
            Item::Parts(parts) => {
                let mut octet = 0u8;
                for p in *parts {
                    let Some(v) = fetch(&p.field, None, get)? else {
                        if may_end || missing == Missing::Ends {
                            return Ok(out);
                        }
                        return Err(absent(&p.field, None));
                    };
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
            }
            Item::MayEnd => {
                may_end = true;
                continue;
            }
            Item::Slots { fields, most, .. } => {
                for slot in 0..*most {
                    let mut one = Vec::new();
                    for (i, field) in fields.iter().enumerate() {
                        match fetch(field, Some(slot), get)? {
                            Some(octets) => one.extend(octets),
                            None if i == 0 && slot > 0 => break,
                            None if missing == Missing::Ends => break,
                            None => return Err(absent(field, Some(slot))),
                        }
                    }
                    if one.is_empty() {
                        break;
                    }
                    out.extend(one);
                }
            }
            Item::Rest(field) => {
                if let Some(octets) = fetch(field, None, get)? {
                    out.extend(octets);
                }
            }
        }
        may_end = false;
    }
    Ok(out)
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
