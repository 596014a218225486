//! The language in which a command's data are described, and the one decoder and the one encoder
//! that read it.
//!
//! A layout is a list of items in wire order. Decoding never fails: octets that are missing leave
//! the list short, octets that are too many become the surplus. Encoding is its inverse.

mod encode;

pub use encode::{EncodeError, Lookup, Missing, encode};

use super::value::Value;
use super::{Direction, carried};
use crate::app::types::{BitTable, Table};
use core::fmt;

/// How the octets of one field are to be read.
#[derive(Clone, Copy, Debug, PartialEq)]
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
    /// Time of day in 1/32 ms, or a length of time, which has a unit in which it is told [TY-07].
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

/// Where the classification of a unit stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ClassFrom {
    /// The data have none.
    None,
    /// So many fields before this one.
    Back(u8),
    /// So many octets after this field's first one.
    Ahead(u8),
}

/// One value in a command's data.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// The name by which programs know it, unique in its layout: lower case with `_`.
    pub name: &'static str,
    /// What people call it.
    pub label: &'static str,
    /// How its octets are read.
    pub kind: Kind,
    /// Its unit.
    pub unit: UnitFrom,
    /// Where its classification stands: units from 170 to 219 depend on it [UN-02].
    pub class: ClassFrom,
    /// Whether people read the number in hex: codes and ids.
    pub hex: bool,
}

impl Field {
    /// A field without unit.
    pub const fn new(name: &'static str, label: &'static str, kind: Kind) -> Field {
        Field { name, label, kind, unit: UnitFrom::None, class: ClassFrom::None, hex: false }
    }

    /// Whether it is a length of time in 1/32 ms, which people are told in seconds, and no time of day [TY-07].
    pub const fn is_period(&self) -> bool {
        matches!((self.kind, self.unit), (Kind::Time, UnitFrom::Fixed(_)))
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
        self.class = ClassFrom::Back(back);
        self
    }

    /// The same with its classification so many octets after its own first one.
    pub const fn class_ahead(mut self, octets: u8) -> Field {
        self.class = ClassFrom::Ahead(octets);
        self
    }
}

/// A few bits of an octet that is shared by several values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Name and label; the kind says how the bits are to be read.
    pub field: Field,
    /// Number of bits to the right of it.
    pub shift: u8,
    /// Number of its bits.
    pub width: u8,
}

/// One item of a layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Item {
    /// A value.
    Field(Field),
    /// One octet whose bits are several values.
    Parts(&'static [Part]),
    /// The data may end here; whole groups that follow may be absent.
    MayEnd,
    /// The same fields again and again, numbered from 0, from `least` to `most` times. What follows the
    /// last slot is shorter than a slot, unless there are `most` of them.
    Slots {
        /// The fields of one slot.
        fields: &'static [Field],
        /// Fewest slots, at least 1.
        least: u8,
        /// Most slots.
        most: u8,
    },
    /// The same fields, numbered from 0, as often as the field before says, each time followed by as many
    /// octets as the last of them says.
    Records {
        /// The fields of one record; the last one is the number of octets.
        fields: &'static [Field],
        /// The octets.
        octets: Field,
        /// Most records that are read; what follows is surplus.
        most: u8,
    },
    /// The data of the command whose number the field before holds: by its row where it has one, else all
    /// octets that are left. Only numbers above 255 are carried so.
    Carried {
        /// Which data of that command.
        direction: Direction,
        /// The octets of a command without a row.
        otherwise: Field,
    },
    /// All that is left has one of several forms: the first one that takes it whole, else the first. Their
    /// first fields have different names, by which an encoder knows which one is meant. Last in its layout.
    OneOf(&'static [Layout]),
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
    /// A whole field without unit.
    fn plain(field: &'static Field, slot: Option<u8>, start: usize, len: usize) -> Found {
        Found { field, slot, start: start as u16, len: len as u16, bits: None, unit_code: None, class: None }
    }

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
    out.complete = read(layout, data, &mut at, out);
    out.surplus_from = at as u16;
}

/// Adds the fields of `layout` from `at` on; whether all that must be there is.
fn read(layout: Layout, data: &[u8], at: &mut usize, out: &mut Decoded) -> bool {
    for item in layout {
        let whole = match item {
            Item::Field(field) => put(field, None, data, at, out),
            Item::Parts(parts) => read_parts(parts, data, at, out),
            Item::MayEnd if *at == data.len() => return true,
            Item::MayEnd => true,
            Item::Slots { fields, least, most } => read_slots(fields, *least, *most, data, at, out),
            Item::Records { fields, octets, most } => read_records(fields, octets, *most, data, at, out),
            Item::Rest(field) => {
                put_rest(field, data, at, out);
                true
            }
            Item::Carried { direction, otherwise } => {
                let number = out.fields.last().and_then(|f| f.value(data).number());
                match number.and_then(|n| carried(n, *direction)) {
                    Some(inner) => read(inner, data, at, out),
                    None => {
                        put_rest(otherwise, data, at, out);
                        true
                    }
                }
            }
            Item::OneOf(forms) => read_one_of(forms, data, at, out),
        };
        if !whole {
            return false;
        }
    }
    true
}

fn read_parts(parts: &'static [Part], data: &[u8], at: &mut usize, out: &mut Decoded) -> bool {
    if *at >= data.len() {
        return false;
    }
    for p in parts {
        let mut found = Found::plain(&p.field, None, *at, 1);
        found.bits = Some((p.shift, p.width));
        out.fields.push(found);
    }
    *at += 1;
    true
}

fn read_slots(
    fields: &'static [Field],
    least: u8,
    most: u8,
    data: &[u8],
    at: &mut usize,
    out: &mut Decoded,
) -> bool {
    let size: usize = fields.iter().map(|f| f.kind.len()).sum();
    let mut slot = 0;
    while slot < most && data.len() - *at >= size {
        if !fields.iter().all(|field| put(field, Some(slot), data, at, out)) {
            return false;
        }
        slot += 1;
    }
    slot >= least
}

fn read_records(
    fields: &'static [Field],
    octets: &'static Field,
    most: u8,
    data: &[u8],
    at: &mut usize,
    out: &mut Decoded,
) -> bool {
    let count = out.fields.last().map_or(0, |f| f.small(data));
    for slot in 0..count.min(most) {
        let (from, before) = (*at, out.fields.len());
        let head = fields.iter().all(|field| put(field, Some(slot), data, at, out));
        let len = out.fields.last().map_or(0, |f| usize::from(f.small(data)));
        if !head || data.len() - *at < len {
            // A record that is cut is left whole among the surplus.
            out.fields.truncate(before);
            *at = from;
            return false;
        }
        out.fields.push(Found::plain(octets, Some(slot), *at, len));
        *at += len;
    }
    // More than these stay unread: they are surplus, and lack nothing.
    true
}

fn read_one_of(forms: &'static [Layout], data: &[u8], at: &mut usize, out: &mut Decoded) -> bool {
    let (from, before) = (*at, out.fields.len());
    for form in forms {
        if read(form, data, at, out) && *at == data.len() {
            return true;
        }
        out.fields.truncate(before);
        *at = from;
    }
    forms.first().is_none_or(|form| read(form, data, at, out))
}

/// Adds what is left, if anything is.
fn put_rest(field: &'static Field, data: &[u8], at: &mut usize, out: &mut Decoded) {
    if *at < data.len() {
        out.fields.push(Found::plain(field, None, *at, data.len() - *at));
        *at = data.len();
    }
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
    let mut found = Found::plain(field, slot, *at, len);
    found.unit_code = match field.unit {
        UnitFrom::Back(n) => code(n),
        _ => None,
    };
    found.class = match field.class {
        ClassFrom::None => None,
        ClassFrom::Back(n) => code(n),
        ClassFrom::Ahead(n) => data.get(*at + usize::from(n)).copied(),
    };
    out.fields.push(found);
    *at += len;
    true
}
