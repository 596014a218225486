//! Where the numbers of a test are read in a device [TV-20].

use crate::app::command::described::{Element, Part, PartKind, PartUnit};
use crate::app::command::{Effect, Revision, Value};
use crate::exchange::{Exchange, FieldView};
use crate::host::{Ask, Device};
use core::fmt;

/// The command that reads device variables by their codes, from revision 6 on.
const READ_VARIABLES: u8 = 9;
/// The same in revision 5.
const READ_VARIABLES_5: u8 = 33;
/// The name of the value that tells how travel follows the set point, and what it tells where they are the same.
const CHARACTERISTIC: &str = "characteristic";
pub(super) const LINEAR: &str = "linear";
/// The least and the last number of the commands that may be named: those of one octet.
const COMMANDS: core::ops::RangeInclusive<u8> = 1..=253;

/// Where a number is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// A value in the reply of a command that needs no data, by the name that programs give it.
    Value {
        /// The command.
        command: u8,
        /// The name, such as `percent_of_range`.
        name: String,
    },
    /// A device variable by its code: command 9, in revision 5 command 33.
    Variable(u8),
}

impl Source {
    /// A value of a command.
    pub fn value(command: u8, name: &str) -> Source {
        Source::Value { command, name: name.to_owned() }
    }

    /// Reads how people write it: `COMMAND:NAME` such as `130:travel`, or `variable:CODE` such as `variable:4`.
    ///
    /// # Errors
    /// A sentence that says what would be right.
    pub fn read(text: &str) -> Result<Source, String> {
        let right = || {
            format!(
                "\"{text}\" says not where to read: give COMMAND:NAME, such as 130:travel or 3:sv, or variable:CODE, such as variable:4"
            )
        };
        let (what, which) = text.trim().split_once(':').ok_or_else(right)?;
        let which = which.trim();
        if what.trim() == "variable" {
            return which.parse().map(Source::Variable).map_err(|_| right());
        }
        let command: u8 = what.trim().parse().map_err(|_| right())?;
        let good = !which.is_empty() && which.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
        if !good || !COMMANDS.contains(&command) {
            return Err(right());
        }
        Ok(Source::value(command, which))
    }

    /// The command that is asked.
    pub fn command(&self, device: &Device) -> u8 {
        match self {
            Source::Value { command, .. } => *command,
            Source::Variable(_) if device.revision == Revision::R5 => READ_VARIABLES_5,
            Source::Variable(_) => READ_VARIABLES,
        }
    }

    /// The data of its request.
    pub fn data(&self) -> Vec<u8> {
        match self {
            Source::Value { .. } => Vec::new(),
            Source::Variable(code) => vec![*code],
        }
    }

    /// The value in a reply.
    pub fn found<'a>(&self, exchange: &'a Exchange) -> Option<FieldView<'a>> {
        match self {
            Source::Value { name, .. } => {
                exchange.fields_of_reply().find(|f| f.found.name().to_string() == *name)
            }
            Source::Variable(code) => {
                let of = |name: &str| {
                    exchange.fields_of_reply().find(|f| f.found.slot == Some(0) && f.found.field.name == name)
                };
                let told = of("code").and_then(|f| f.found.value(f.data).number());
                of("value").filter(|_| told == Some((*code).into()))
            }
        }
    }
}

impl fmt::Display for Source {
    /// As [`Source::read`] takes it.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Source::Value { command, name } => write!(f, "{command}:{name}"),
            Source::Variable(code) => write!(f, "variable:{code}"),
        }
    }
}

/// A source, and what its numbers are worth.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Where it is read.
    pub source: Source,
    /// What the source tells at 0 % and at 100 %, in its own unit, not the same; `None`: it tells percent as it is, or, for a
    /// current or an angle, mA or degrees.
    pub scale: Option<(f64, f64)>,
}

impl Reading {
    /// A reading whose numbers are taken as they are.
    pub fn plain(source: Source) -> Reading {
        Reading { source, scale: None }
    }

    /// Reads how people write it: a source ([`Source::read`]), and where it tells no percent, behind it what it tells at 0 and
    /// at 100 %: `3:sv=0..40`.
    ///
    /// # Errors
    /// A sentence that says what would be right.
    pub fn read(text: &str) -> Result<Reading, String> {
        let Some((source, scale)) = text.split_once('=') else {
            return Ok(Reading::plain(Source::read(text)?));
        };
        let ends = scale.split_once("..").and_then(|(a, b)| {
            let number = |t: &str| t.trim().parse::<f64>().ok().filter(|x| x.is_finite());
            number(a).zip(number(b)).filter(|(a, b)| a != b)
        });
        let Some(ends) = ends else {
            return Err(format!(
                "\"{scale}\" says not what is told at 0 and at 100 %: give two numbers that differ, such as 0..40"
            ));
        };
        Ok(Reading { source: Source::read(source)?, scale: Some(ends) })
    }

    /// What a number of the source is in percent, or in its own unit without a scale.
    pub fn scaled(&self, told: f64) -> f64 {
        match self.scale {
            Some((closed, open)) => (told - closed) / (open - closed) * 100.0,
            None => told,
        }
    }

    /// The number in a reply, scaled; `None` where there is none, or none that is finite.
    pub fn number(&self, exchange: &Exchange) -> Option<f64> {
        let field = self.source.found(exchange)?;
        let told = match field.found.value(field.data) {
            Value::Float(bits) => f64::from(f32::from_bits(bits)),
            Value::Number(n) => f64::from(n),
            _ => return None,
        };
        Some(self.scaled(told)).filter(|x| x.is_finite())
    }
}

/// Which variables of a device are travel, set point, loop current and lever angle.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// The travel by the device's own sensor, percent of the rated travel.
    pub travel: Reading,
    /// The set point that the device follows, percent.
    pub set_point: Option<Reading>,
    /// The loop current that the device reads, mA.
    pub current: Option<Reading>,
    /// The angle of the lever, degrees.
    pub angle: Option<Reading>,
    /// What is to be said of the choice, a sentence; may be empty.
    pub remark: String,
    /// The travel is a guess, which may be the set point: nothing is judged by it [TV-20].
    pub assumed: bool,
}

impl Readings {
    /// What is taken where nobody says: a command of the device's own that reads `travel` in percent and needs no data, if its
    /// type is described and has one, with `set_point` and `lever_angle` of the same command; else the primary variable
    /// in percent of its range. The current is that of command 2.
    pub fn usual(ask: &dyn Ask, device: &Device) -> Readings {
        let current = Some(Reading::plain(Source::value(2, "loop_current")));
        let own = ask.described(device).and_then(|d| {
            d.description().commands.iter().find_map(|c| {
                let reads = c.effect == Effect::Reads && c.request.is_empty();
                let fits = (c.from..=c.to).contains(&device.revision);
                let part = |name: &str, unit: &str| value_in(&c.reply, name, unit);
                let source = |name: &str| Reading::plain(Source::value(c.number, name));
                (reads && fits && part("travel", "%")).then(|| Readings {
                    travel: source("travel"),
                    set_point: part("set_point", "%").then(|| source("set_point")),
                    current: current.clone(),
                    angle: part("lever_angle", "deg").then(|| source("lever_angle")),
                    remark: String::new(),
                    assumed: false,
                })
            })
        });
        own.unwrap_or_else(|| Readings {
            travel: Reading::plain(Source::value(2, "percent_of_range")),
            set_point: None,
            current,
            angle: None,
            remark: "Travel was taken to be the primary variable in percent of its range; where that is the set point, nothing of \
                     this test says anything about the valve."
                .to_owned(),
            assumed: true,
        })
    }
}

/// The command of a described type that reads its characteristic, if it has one.
pub(super) fn characteristic(ask: &dyn Ask, device: &Device) -> Option<Source> {
    let commands = &ask.described(device)?.description().commands;
    let has = |reply: &[Element]| {
        let is = |p: &Part| p.name == CHARACTERISTIC && matches!(p.kind, PartKind::Enumeration(_));
        reply.iter().any(|e| matches!(e, Element::Value(p) if is(p)))
    };
    let of = commands.iter().find(|c| c.effect == Effect::Reads && c.request.is_empty() && has(&c.reply))?;
    Some(Source::value(of.number, CHARACTERISTIC))
}

fn value_in(reply: &[Element], name: &str, unit: &str) -> bool {
    let is = |p: &Part| p.name == name && p.unit == PartUnit::Fixed(unit.to_owned());
    reply.iter().any(|e| matches!(e, Element::Value(p) if is(p)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Whatever is typed is a place that reads the same again, or a sentence.
        #[test]
        fn anything_typed(text in "\\PC{0,12}|(variable|[0-9]{1,3}):[a-z0-9_]{0,6}(=[-0-9.e]{0,6}[.]{2}[-0-9.e]{0,6})?") {
            match Reading::read(&text) {
                Ok(r) => {
                    prop_assert_eq!(Source::read(&r.source.to_string()), Ok(r.source.clone()));
                    prop_assert!(r.scale.is_none_or(|(a, b)| a != b && a.is_finite() && b.is_finite()));
                }
                Err(e) => prop_assert!(e.contains("give"), "{}", e),
            }
        }
    }

    #[test]
    fn how_people_write_it() {
        assert_eq!(Source::read("130:travel"), Ok(Source::value(130, "travel")));
        assert_eq!(Source::read(" variable:4 "), Ok(Source::Variable(4)));
        for wrong in ["", "travel", "0:pv", "254:x", "300:x", "3:", "3:a b", "variable:256", "variable:x"] {
            assert!(Source::read(wrong).unwrap_err().contains("COMMAND:NAME"), "{wrong}");
        }
        let scaled = Reading::read("3:sv=-5..35").expect("it is right");
        assert_eq!(scaled.source.to_string(), "3:sv");
        // (15 - -5)/(35 - -5) x 100 = 50 %.
        assert_eq!(scaled.scaled(15.0), 50.0);
        for wrong in ["3:sv=", "3:sv=1..1", "3:sv=0..nan", "3:sv=5"] {
            assert!(Reading::read(wrong).unwrap_err().contains("0..40"), "{wrong}");
        }
    }
}
