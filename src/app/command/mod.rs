//! Commands as data: one row a command, read by everything that speaks of commands.

mod common;
pub mod described;
pub mod layout;
pub mod setting;
pub mod universal;
pub mod value;
mod words;

pub use described::{Catalogue, Described, TypeKey};
pub use layout::{
    ClassFrom, Decoded, EncodeError, Field, Found, Item, Kind, Layout, Missing, Name, Part, UnitFrom,
    UnitSymbol,
};
pub use value::{Value, ValueError};

use super::status::{self, Code, CodeClass};
use super::types::VariableStatus;
use core::fmt;

/// A revision of the protocol that looprig knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Revision {
    /// Revision 5.
    R5 = 5,
    /// Revision 6.
    R6 = 6,
    /// Revision 7.
    R7 = 7,
}

impl Revision {
    /// All of them, newest first.
    pub const NEWEST_FIRST: [Revision; 3] = [Revision::R7, Revision::R6, Revision::R5];

    /// The revision of this number; `None` for one that looprig does not know.
    pub const fn new(n: u8) -> Option<Revision> {
        match n {
            5 => Some(Revision::R5),
            6 => Some(Revision::R6),
            7 => Some(Revision::R7),
            _ => None,
        }
    }

    /// Its number.
    pub const fn number(self) -> u8 {
        self as u8
    }
}

impl fmt::Display for Revision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.number().fmt(f)
    }
}

/// What a command does to the device that obeys it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Effect {
    /// It only reads.
    Reads,
    /// It ends what the device does by itself, such as a calibration: the valve may move, to where it belongs. Nobody needs
    /// leave to stop something [HO-05].
    Stops,
    /// It changes what the device stores.
    Writes,
    /// It may move the valve, or change what the current on the loop does to it.
    Moves,
}

/// How sure the notes are of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Grade {
    /// Two or more independent sources.
    High,
    /// One source.
    Medium,
    /// From memory.
    Recalled,
    /// Whoever wrote the description answers for it.
    Described,
}

impl Grade {
    /// The letter that the notes use.
    pub const fn letter(self) -> char {
        match self {
            Grade::High => 'H',
            Grade::Medium => 'M',
            Grade::Recalled => 'R',
            Grade::Described => '-',
        }
    }
}

/// Which way data travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Direction {
    /// Master to device.
    Request,
    /// Device to master, answers and burst.
    Reply,
}

/// The data of a command in a range of revisions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Form {
    /// First revision that has it.
    pub from: Revision,
    /// Last revision that has it.
    pub to: Revision,
    /// Data of the request.
    pub request: Layout,
    /// Data of the reply, behind its status octets.
    pub reply: Layout,
}

impl Form {
    /// The layout of one direction.
    pub const fn layout(&self, direction: Direction) -> Layout {
        match direction {
            Direction::Request => self.request,
            Direction::Reply => self.reply,
        }
    }
}

/// One row: all that looprig knows of a command.
#[derive(Clone, Copy, Debug)]
pub struct CommandSpec {
    /// Command number; above 255 it travels inside command 31.
    pub number: u16,
    /// What it does, in a few words.
    pub name: &'static str,
    /// What it does to the device.
    pub effect: Effect,
    /// The requirement that it follows, or the file that describes it.
    pub cites: &'static str,
    /// How sure the notes are.
    pub grade: Grade,
    /// Its forms, newest first; no two share a revision.
    pub forms: &'static [Form],
    /// Response codes that its description gives, lowest first; those of other rows are listed by number [ST-04].
    pub codes: &'static [Code],
}

impl CommandSpec {
    /// Whether both have the same effect and the same data in every revision, whatever they are called.
    pub fn does_the_same(&self, other: &CommandSpec) -> bool {
        (self.number, self.effect, self.forms) == (other.number, other.effect, other.forms)
    }

    /// The class of a response code and its meaning for this command, as [`status::meaning`] has it for those
    /// that no description gives.
    pub fn meaning(&self, code: u8) -> (CodeClass, Option<&'static str>) {
        match self.codes.iter().find(|c| c.code == code) {
            Some(c) => (c.class, Some(c.text)),
            None => status::meaning(self.number, code),
        }
    }

    /// The form of a revision; `None` where that revision has no such command.
    pub fn form(&self, revision: Revision) -> Option<&'static Form> {
        self.forms.iter().find(|f| f.from <= revision && revision <= f.to)
    }

    /// Reads data of a device of `revision`. When it is not known, the newest revision that explains
    /// every octet is taken, else the newest of all. Says which revision's form was used.
    pub fn decode(
        &self,
        revision: Option<Revision>,
        direction: Direction,
        data: &[u8],
        out: &mut Decoded,
    ) -> Option<Revision> {
        if let Some(revision) = revision {
            let form = self.form(revision)?;
            layout::decode(form.layout(direction), data, out);
            return Some(revision);
        }
        for form in self.forms {
            layout::decode(form.layout(direction), data, out);
            if out.complete && usize::from(out.surplus_from) == data.len() {
                return Some(form.to);
            }
        }
        let form = self.forms.first()?;
        layout::decode(form.layout(direction), data, out);
        Some(form.to)
    }
}

/// Universal commands, then the families of common practice.
static FAMILIES: [&[CommandSpec]; 12] = {
    let mut families = [universal::ROWS; 12];
    let mut at = 0;
    while at < common::FAMILIES.len() {
        families[at + 1] = common::FAMILIES[at];
        at += 1;
    }
    families
};

/// Family and place in it of each number up to 255, one up; 0 for a number without a row. Every decoded
/// message asks for a row, so the answer must not need a search.
static PLACE: [(u8, u8); 256] = {
    let mut place = [(0, 0); 256];
    let mut family = 0;
    while family < FAMILIES.len() {
        let mut at = 0;
        while at < FAMILIES[family].len() {
            let number = FAMILIES[family][at].number;
            if number < 256 {
                place[number as usize] = (family as u8, at as u8 + 1);
            }
            at += 1;
        }
        family += 1;
    }
    place
};

/// The row of a command; `None` for one that has none.
pub fn spec(number: u16) -> Option<&'static CommandSpec> {
    match PLACE.get(usize::from(number)) {
        Some(&(family, place)) => FAMILIES[usize::from(family)].get(usize::from(place).checked_sub(1)?),
        None => FAMILIES.iter().copied().flatten().find(|row| row.number == number),
    }
}

/// Every row, by number.
pub fn all() -> Vec<&'static CommandSpec> {
    let mut rows: Vec<_> = FAMILIES.iter().copied().flatten().collect();
    rows.sort_by_key(|r| r.number);
    rows
}

/// The data of a command that command 31 carries [CM-031]; `None` for a number that has no row or is none of
/// an extended command. Rows of extended commands have one form.
fn carried(number: u32, direction: Direction) -> Option<Layout> {
    let number = u16::try_from(number).ok().filter(|n| *n > 255)?;
    Some(spec(number)?.forms.first()?.layout(direction))
}

/// Which kind of command a number is by the ranges of [CM-RANGES].
pub const fn range_name(number: u16) -> &'static str {
    match number {
        31 | 127 | 254 | 255 => "reserved or extension",
        0..=30 => "universal",
        32..=126 => "common practice",
        128..=253 => "device-specific",
        _ => "extended",
    }
}

/// Appends a found value as people read it: number with unit, code with its name, bits spelled out.
pub fn write_text(found: &Found, data: &[u8], out: &mut String) {
    use core::fmt::Write;
    let octets = found.octets(data);
    match found.field.kind {
        Kind::Float => {
            let bits = octets.iter().fold(0u32, |n, &o| n << 8 | u32::from(o));
            let from = out.len();
            super::types::write_float(out, bits);
            // A single holds about seven digits; people want six at most. JSON has them all.
            if out.len() - from > 7 {
                round(f32::from_bits(bits), from, out);
            }
        }
        Kind::Packed(_) | Kind::Latin1(_) => {
            let _ = write!(out, "\"{}\"", found.value(data).to_string().escape_debug());
        }
        Kind::Enum(table) => {
            let code = found.small(data);
            match table.text(code) {
                Some(text) => out.push_str(text),
                None => {
                    let _ = write!(out, "code {code} (0x{code:02X})");
                }
            }
        }
        Kind::Bits(table) => {
            let octet = found.small(data);
            write_bits(table, octet, out);
        }
        Kind::Unit => {
            let code = found.small(data);
            match super::types::units::symbol(code, found.class) {
                Some(text) => out.push_str(text),
                None => {
                    let _ = write!(out, "unit {code} (0x{code:02X})");
                }
            }
        }
        Kind::VariableCode => {
            let code = found.small(data);
            match super::types::device_variable::DEVICE_VARIABLE_CODE.text(code) {
                Some(text) if code >= 243 => out.push_str(text),
                _ => {
                    let _ = write!(out, "variable {code}");
                }
            }
        }
        Kind::VariableStatus => {
            let _ = write!(out, "{}", VariableStatus(found.small(data)));
        }
        Kind::U8 | Kind::U16 | Kind::U24 if found.field.hex => {
            out.push_str("0x");
            for o in octets {
                let _ = write!(out, "{o:02X}");
            }
        }
        // Its unit follows.
        Kind::Time if found.field.is_period() => {
            let units = octets.iter().fold(0u32, |n, &o| n << 8 | u32::from(o));
            // Exact: a double holds every multiple of 1/32000 that is asked for to all its digits.
            let _ = write!(out, "{}", f64::from(units) / 32_000.0);
        }
        _ => {
            let _ = write!(out, "{}", found.value(data));
        }
    }
    // 250 is "not used" [UN-01]: a value without a unit.
    if let Some(unit) = found.unit_symbol()
        && found.unit_code != Some(250)
    {
        let _ = write!(out, " {unit}");
    }
}

/// Replaces the text from `from` on by six significant digits of `x`, where it is an ordinary number.
fn round(x: f32, from: usize, out: &mut String) {
    use core::fmt::Write;
    let size = x.abs();
    if !(1e-4..1e6).contains(&size) {
        return;
    }
    // Digits before the point: 1 below 10; a number below 1 has zeros behind the point instead.
    let before = size.log10().floor() as i32 + 1;
    let decimals = (6 - before).max(0) as usize;
    out.truncate(from);
    let _ = write!(out, "{x:.decimals$}");
    if decimals > 0 {
        let kept = out.trim_end_matches('0').trim_end_matches('.').len();
        out.truncate(kept);
    }
}

/// Appends the names of the bits that are set, or `none`.
pub fn write_bits(table: &super::types::BitTable, octet: u8, out: &mut String) {
    if octet == 0 {
        out.push_str("none");
        return;
    }
    let mut first = true;
    for name in table.set_names(octet) {
        if !first {
            out.push_str(", ");
        }
        first = false;
        out.push_str(name);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::{BTreeMap, BTreeSet};

    /// Makes data again from what was decoded, by name.
    fn again(layout: Layout, data: &[u8]) -> Vec<u8> {
        let mut decoded = Decoded::default();
        layout::decode(layout, data, &mut decoded);
        let values: BTreeMap<String, serde_json::Value> =
            decoded.fields.iter().map(|f| (f.name().to_string(), f.value(data).to_json())).collect();
        let mut out = layout::encode(layout, Missing::Ends, &mut |name, kind| {
            values.get(name).map(|json| Value::from_json(kind, json)).transpose()
        })
        .unwrap_or_else(|e| panic!("{e} in {values:?}"));
        out.extend(&data[usize::from(decoded.surplus_from)..]);
        out
    }

    #[test]
    fn rows_are_in_order_and_their_names_unique() {
        for rows in FAMILIES {
            assert!(rows.is_sorted_by(|a, b| a.number < b.number));
        }
        assert!(all().is_sorted_by(|a, b| a.number < b.number), "a number stands in two families");
        for row in all() {
            assert_eq!(spec(row.number).map(|r| r.name), Some(row.name));
            for form in row.forms {
                for layout in [form.request, form.reply] {
                    let mut decoded = Decoded::default();
                    layout::decode(layout, &[0; 255], &mut decoded);
                    let names: BTreeSet<String> =
                        decoded.fields.iter().map(|f| f.name().to_string()).collect();
                    assert_eq!(names.len(), decoded.fields.len(), "command {}", row.number);
                }
            }
        }
    }

    /// [CM-000] and its neighbours: lengths as the notes give them.
    #[test]
    fn lengths_as_in_the_notes() {
        for (number, revision, direction, lengths) in [
            (0, Revision::R5, Direction::Reply, &[12][..]),
            (0, Revision::R6, Direction::Reply, &[17]),
            (0, Revision::R7, Direction::Reply, &[22]),
            (1, Revision::R5, Direction::Reply, &[5]),
            (2, Revision::R7, Direction::Reply, &[8]),
            (3, Revision::R7, Direction::Reply, &[9, 14, 19, 24]),
            (6, Revision::R5, Direction::Request, &[1]),
            (6, Revision::R7, Direction::Reply, &[2]),
            (9, Revision::R7, Direction::Reply, &[13, 21, 29, 37, 45, 53, 61, 69]),
            (9, Revision::R6, Direction::Reply, &[9, 17, 25, 33]),
            (13, Revision::R5, Direction::Reply, &[21]),
            (14, Revision::R5, Direction::Reply, &[16]),
            (15, Revision::R5, Direction::Reply, &[17]),
            (15, Revision::R7, Direction::Reply, &[18]),
            (18, Revision::R7, Direction::Request, &[21]),
            (22, Revision::R7, Direction::Request, &[32]),
            (38, Revision::R7, Direction::Request, &[0, 2]),
            (38, Revision::R5, Direction::Request, &[0]),
        ] {
            let form = spec(number).and_then(|s| s.form(revision)).expect("the row exists");
            let whole: Vec<usize> = (0..=80)
                .filter(|&n| {
                    let mut d = Decoded::default();
                    layout::decode(form.layout(direction), &vec![0; n], &mut d);
                    d.complete && usize::from(d.surplus_from) == n
                })
                .collect();
            assert_eq!(whole, lengths, "command {number}, revision {revision}, {direction:?}");
        }
    }

    /// Every layout, with the row's number.
    fn layouts() -> impl Iterator<Item = (u16, Layout)> {
        all().into_iter().flat_map(|row| {
            row.forms.iter().flat_map(move |form| [(row.number, form.request), (row.number, form.reply)])
        })
    }

    /// What a layout says of its own places is so: units and classifications stand where values look for
    /// them, counts and numbers where the items behind them do.
    #[test]
    fn layouts_are_sound() {
        let is_class = |f: &Found| matches!(f.field.kind, Kind::Enum(t) if t.id == "TB-08");
        let (mut back, mut ahead) = (0, 0);
        for (number, layout) in layouts() {
            assert_items_fit(number, layout);
            let mut decoded = Decoded::default();
            layout::decode(layout, &[0; 100], &mut decoded);
            for (i, f) in decoded.fields.iter().enumerate() {
                let what = format!("command {number}, {}", f.name());
                if let UnitFrom::Back(n) = f.field.unit {
                    let unit = &decoded.fields[i - usize::from(n)];
                    assert!(matches!(unit.field.kind, Kind::Unit) && unit.slot == f.slot, "{what}");
                    back += 1;
                }
                match f.field.class {
                    ClassFrom::None => {}
                    ClassFrom::Back(n) => assert!(is_class(&decoded.fields[i - usize::from(n)]), "{what}"),
                    ClassFrom::Ahead(n) => {
                        let there = decoded.fields.iter().find(|c| c.start == f.start + u16::from(n));
                        assert!(there.is_some_and(is_class), "{what}");
                        ahead += 1;
                    }
                }
            }
        }
        assert!(back > 50 && ahead == 4, "{back}, {ahead}");
    }

    fn assert_items_fit(number: u16, layout: Layout) {
        for (i, item) in layout.iter().enumerate() {
            let before = i.checked_sub(1).and_then(|i| layout.get(i));
            let last = i + 1 == layout.len();
            match item {
                Item::Slots { least, most, .. } => assert!(1 <= *least && least <= most, "{number}"),
                Item::Records { fields, .. } => {
                    assert!(matches!(before, Some(Item::Field(f)) if matches!(f.kind, Kind::U8)), "{number}");
                    assert!(fields.last().is_some_and(|f| matches!(f.kind, Kind::U8)) && last, "{number}");
                }
                Item::Carried { .. } => {
                    assert!(
                        matches!(before, Some(Item::Field(f)) if matches!(f.kind, Kind::U16)),
                        "{number}"
                    );
                    assert!(last, "{number}");
                }
                Item::OneOf(forms) => {
                    let firsts: BTreeSet<&str> = forms
                        .iter()
                        .filter_map(|form| match form.first() {
                            Some(Item::Field(f)) => Some(f.name),
                            _ => None,
                        })
                        .collect();
                    assert!(firsts.len() == forms.len() && last, "{number}");
                    forms.iter().for_each(|form| assert_items_fit(number, form));
                }
                Item::Rest(_) => assert!(last, "{number}"),
                Item::Field(_) | Item::Parts(_) | Item::MayEnd => {}
            }
        }
    }

    /// Octets that lead into every branch more often than chance does: small counts, the numbers of extended
    /// commands, floats that are none.
    fn telling() -> impl Strategy<Value = Vec<u8>> {
        let part = prop_oneof![
            4 => prop::collection::vec(any::<u8>(), 0..8),
            3 => prop::collection::vec(0..4u8, 0..12),
            1 => Just(vec![2, 0]),
            1 => Just(vec![2, 1]),
            1 => Just(vec![0, 31, 2, 1]),
            1 => Just(vec![0x7F, 0xA0, 0, 0]),
        ];
        prop::collection::vec(part, 0..20).prop_map(|parts| parts.concat())
    }

    /// Every length that a frame has room for, through every layout.
    #[test]
    fn data_of_every_length_survive_by_name() {
        let mut random = 0x1234_5678_u32;
        for length in 0..=255usize {
            let data: Vec<u8> = std::iter::repeat_with(|| {
                random = random.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (random >> 24) as u8
            })
            .take(length)
            .collect();
            for (number, layout) in layouts() {
                assert_eq!(again(layout, &data), data, "command {number}");
            }
        }
    }

    proptest! {
        #[test]
        fn any_data_survive_by_name(
            data in prop_oneof![prop::collection::vec(any::<u8>(), 0..100), telling()],
        ) {
            for (number, layout) in layouts() {
                prop_assert_eq!(&again(layout, &data), &data, "command {}", number);
            }
        }

        /// Fields stand one behind the other and never beyond the data; what is complete has no gap.
        #[test]
        fn fields_cover_data_once(data in telling()) {
            let mut decoded = Decoded::default();
            for (number, layout) in layouts() {
                layout::decode(layout, &data, &mut decoded);
                let mut at = 0;
                for f in &decoded.fields {
                    let start = usize::from(f.start);
                    // The parts of one octet share it.
                    prop_assert!(start == at || f.bits.is_some() && start + 1 == at, "command {}", number);
                    at = start + usize::from(f.len);
                    let mut text = String::new();
                    write_text(f, &data, &mut text);
                    prop_assert!(!text.is_empty() || f.len == 0, "command {}: {}", number, f.name());
                }
                prop_assert_eq!(usize::from(decoded.surplus_from), at, "command {}", number);
                prop_assert!(at <= data.len());
            }
        }
    }
}
