//! One value of a command's data: from octets, to octets, from text, to text, from and to JSON.

use super::layout::Kind;
use crate::app::types::device_variable::DEVICE_VARIABLE_CODE;
use crate::app::types::{BitTable, Date, TimeOfDay, float, latin1, packed, units};
use core::fmt;
use serde_json::Value as Json;

/// A value of any field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// Integers and codes.
    Number(u32),
    /// The bits of an IEEE 754 single [TY-02].
    Float(u32),
    /// Text without its padding [TY-04] [TY-05].
    Text(String),
    /// A date, also one that no calendar has [TY-06].
    Date(Date),
    /// A time in 1/32 ms [TY-07].
    Time(TimeOfDay),
    /// Octets without known meaning.
    Octets(Vec<u8>),
}

/// A value that cannot stand in a field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ValueError {
    /// Above what the field can hold.
    Range {
        /// The most it can hold.
        most: u32,
    },
    /// Not of the kind that the field holds.
    Kind {
        /// What was given.
        given: String,
        /// What would be right.
        wanted: String,
    },
}

impl fmt::Display for ValueError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ValueError::Range { most } => write!(f, "the value is too large: at most {most}"),
            ValueError::Kind { given, wanted } => write!(f, "\"{given}\" does not fit: give {wanted}"),
        }
    }
}

impl std::error::Error for ValueError {}

impl Value {
    /// A float from its number.
    pub fn float(x: f32) -> Value {
        Value::Float(x.to_bits())
    }

    /// A float that stands for "no number" [TY-03].
    pub const NOT_A_NUMBER: Value = Value::Float(float::NOT_A_NUMBER);

    /// The value as a number, if it is an integer or a code.
    pub fn number(&self) -> Option<u32> {
        match self {
            Value::Number(n) => Some(*n),
            _ => None,
        }
    }

    /// Reads octets; fewer than the kind takes read as if zeros stood in front.
    pub fn read(kind: Kind, octets: &[u8]) -> Value {
        let number = || octets.iter().fold(0u32, |n, &o| n << 8 | u32::from(o));
        match kind {
            Kind::Float => Value::Float(number()),
            Kind::Time => Value::Time(TimeOfDay(number())),
            Kind::Packed(_) => Value::Text(packed::unpack(octets)),
            Kind::Latin1(_) => Value::Text(latin1::decode(octets)),
            Kind::Date => match *octets {
                [day, month, year] => Value::Date(Date { day, month, year }),
                _ => Value::Octets(octets.to_vec()),
            },
            Kind::Octets(_) => Value::Octets(octets.to_vec()),
            // Integers and codes.
            _ => Value::Number(number()),
        }
    }

    /// The octets of the value as `kind` has them.
    ///
    /// # Errors
    /// The value is too large or of another kind.
    pub fn write(&self, kind: Kind) -> Result<Vec<u8>, ValueError> {
        let wrong = || ValueError::Kind { given: format!("{self:?}"), wanted: wanted(kind) };
        match (kind, self) {
            (Kind::Packed(n), Value::Text(t)) => packed::pack(t, n.into()).map_err(|e| ValueError::Kind {
                given: t.clone(),
                wanted: format!("{} ({e})", wanted(kind)),
            }),
            (Kind::Latin1(n), Value::Text(t)) => latin1::encode(t, n.into()).map_err(|e| ValueError::Kind {
                given: t.clone(),
                wanted: format!("{} ({e})", wanted(kind)),
            }),
            (Kind::Float, Value::Float(bits)) => Ok(bits.to_be_bytes().to_vec()),
            (Kind::Time, Value::Time(t)) => Ok(t.0.to_be_bytes().to_vec()),
            (Kind::Date, Value::Date(d)) => Ok(vec![d.day, d.month, d.year]),
            (Kind::Octets(n), Value::Octets(o)) if n == 0 || o.len() == usize::from(n) => Ok(o.clone()),
            (kind, Value::Number(n)) if kind.is_integer() => {
                let most = u32::MAX >> (32 - 8 * kind.len() as u32);
                if *n > most {
                    return Err(ValueError::Range { most });
                }
                Ok(n.to_be_bytes()[4 - kind.len()..].to_vec())
            }
            _ => Err(wrong()),
        }
    }

    /// Reads what a person typed for a field of this kind: numbers also as `0x1F`, units and codes
    /// of a table also by name, dates as `2026-11-25`, times in ms, octets in hex.
    ///
    /// # Errors
    /// Says what was given and what would be right.
    pub fn from_text(kind: Kind, text: &str) -> Result<Value, ValueError> {
        let wrong = || ValueError::Kind { given: text.to_owned(), wanted: wanted(kind) };
        let number = || match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
            Some(hex) => u32::from_str_radix(hex, 16).ok(),
            None => text.parse().ok(),
        };
        Ok(match kind {
            Kind::U8 | Kind::U16 | Kind::U24 | Kind::U32 | Kind::VariableStatus => {
                Value::Number(number().ok_or_else(wrong)?)
            }
            Kind::Unit => Value::Number(match number() {
                Some(n) => n,
                None => units::code_of(text).map(u32::from).ok_or_else(wrong)?,
            }),
            Kind::Enum(table) => Value::Number(match number() {
                Some(n) => n,
                None => table.code(text).map(u32::from).ok_or_else(wrong)?,
            }),
            Kind::VariableCode => Value::Number(match number() {
                Some(n) => n,
                None => variable_code(text).ok_or_else(wrong)?,
            }),
            Kind::Bits(table) => Value::Number(match number() {
                Some(n) => n,
                None => bits(table, text).map(u32::from).ok_or_else(wrong)?,
            }),
            Kind::Float => Value::Float(float::parse_float(text).map_err(|_| wrong())?),
            Kind::Packed(_) | Kind::Latin1(_) => Value::Text(text.to_owned()),
            Kind::Date => Value::Date(text.parse().map_err(|_| wrong())?),
            Kind::Time => Value::Time(time(text).ok_or_else(wrong)?),
            Kind::Octets(_) => Value::Octets(hex(text).ok_or_else(wrong)?),
        })
    }

    /// Reads what [`Value::to_json`] wrote.
    ///
    /// # Errors
    /// Says what was given and what would be right.
    pub fn from_json(kind: Kind, json: &Json) -> Result<Value, ValueError> {
        match json {
            Json::String(text) => Value::from_text(kind, text),
            // The digits as written: a single is read from them without a detour over a double.
            Json::Number(n) => Value::from_text(kind, &n.to_string()),
            other => Err(ValueError::Kind { given: other.to_string(), wanted: wanted(kind) }),
        }
    }

    /// The value without loss: numbers as numbers, what is no finite number as text, octets in hex.
    pub fn to_json(&self) -> Json {
        match self {
            Value::Number(n) => (*n).into(),
            Value::Float(bits) => {
                let text = float::format_float(*bits);
                // The shortest digits of the single, read as a double, print the same digits again.
                match text.parse::<f64>() {
                    Ok(x) if x.is_finite() => x.into(),
                    _ => text.into(),
                }
            }
            Value::Text(t) => t.as_str().into(),
            Value::Date(d) => d.to_string().into(),
            Value::Time(t) => t.as_ms().into(),
            Value::Octets(o) => hex_text(o).into(),
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Value::Number(n) => n.fmt(f),
            Value::Float(bits) => f.write_str(&float::format_float(*bits)),
            Value::Text(t) => f.write_str(t),
            Value::Date(d) => d.fmt(f),
            Value::Time(t) => t.fmt(f),
            Value::Octets(o) => f.write_str(&hex_text(o)),
        }
    }
}

/// A time in ms, or in the unit behind it, as a length of time is shown in s.
fn time(text: &str) -> Option<TimeOfDay> {
    let (number, ms) = match (text.strip_suffix("ms"), text.strip_suffix('s')) {
        (Some(number), _) => (number, 1.0),
        (None, Some(number)) => (number, 1e3),
        (None, None) => (text, 1.0),
    };
    TimeOfDay::from_ms(number.trim_end().parse::<f64>().ok()? * ms)
}

/// Bits by their names with commas between them, as they are shown; `none` for none. A name may have commas itself.
fn bits(table: &BitTable, text: &str) -> Option<u8> {
    let mut rest = text.trim();
    if rest.eq_ignore_ascii_case("none") {
        return Some(0);
    }
    let mut all = 0;
    loop {
        let ends = rest.match_indices(',').map(|(at, _)| at).chain([rest.len()]);
        // The longest name that fits.
        let (end, mask) = ends.filter_map(|end| Some((end, table.mask(rest[..end].trim())?))).next_back()?;
        all |= mask;
        if end == rest.len() {
            return Some(all);
        }
        rest = rest[end + 1..].trim_start();
    }
}

/// A device variable by name; the four dynamic ones also as everybody shortens them [TY-09].
fn variable_code(text: &str) -> Option<u32> {
    match text.to_ascii_lowercase().as_str() {
        "pv" => Some(246),
        "sv" => Some(247),
        "tv" => Some(248),
        "qv" => Some(249),
        _ => DEVICE_VARIABLE_CODE.code(text).map(u32::from),
    }
}

/// What a field of this kind takes, for messages.
pub fn wanted(kind: Kind) -> String {
    match kind {
        Kind::U8 | Kind::U16 | Kind::U24 | Kind::U32 => {
            format!("a whole number from 0 to {}", u32::MAX >> (32 - 8 * kind.len() as u32))
        }
        Kind::Float => "a number such as 4.0 or 1.5e3, or not-a-number".into(),
        Kind::Packed(n) => format!(
            "at most {} characters of capital letters, digits and punctuation (space to underscore)",
            usize::from(n) / 3 * 4
        ),
        Kind::Latin1(n) => format!("at most {n} characters of Latin-1"),
        Kind::Date => "a date such as 2026-11-25".into(),
        Kind::Time => "a time in ms such as 500, or with its unit, 0.5s".into(),
        Kind::Unit => {
            "a unit such as bar, % or degC, or its code (`looprig explain unit N` tells what a code stands for)".into()
        }
        Kind::Enum(t) => {
            let names: Vec<&str> = t.rows.iter().map(|row| row.1).collect();
            let names = names.join(", ");
            match names.len() <= 120 {
                true => format!("a code 0 to 255 or a name from the table \"{}\": {names}", t.name),
                false => format!("a code 0 to 255 or a name from the table \"{}\"", t.name),
            }
        }
        Kind::Bits(table) => {
            let names: Vec<&str> = table.rows.iter().map(|row| row.1).collect();
            format!("eight bits as a number such as 0x40, none, or names with commas between: {}", names.join(", "))
        }
        Kind::VariableStatus => "eight bits as a number such as 0x40".into(),
        Kind::VariableCode => "a device variable code 0 to 249, or PV, SV, TV, QV".into(),
        Kind::Octets(0) => "octets in hex".into(),
        Kind::Octets(n) => format!("{n} octets in hex"),
    }
}

/// Reads pairs of hex digits; spaces between pairs are passed over.
pub fn hex(text: &str) -> Option<Vec<u8>> {
    let digits: Vec<u8> = text
        .chars()
        .filter(|c| !c.is_whitespace())
        .map(|c| c.to_digit(16).map(|d| d as u8))
        .collect::<Option<_>>()?;
    if !digits.len().is_multiple_of(2) {
        return None;
    }
    Some(digits.chunks(2).map(|p| p[0] << 4 | p[1]).collect())
}

/// Octets as pairs of hex digits without spaces.
pub fn hex_text(octets: &[u8]) -> String {
    use core::fmt::Write;
    let mut out = String::with_capacity(octets.len() * 2);
    for o in octets {
        let _ = write!(out, "{o:02X}");
    }
    out
}
