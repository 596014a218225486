//! The data of a described command: values, slots, and what must hold of them together.

use super::shape::{CommandTable, ElementTable};
use super::{NAME, Words, at, identifier, line, revisions};
use crate::app::command::described::form::unit_back;
use crate::app::command::described::{Command, Description, Element, Part, PartKind, PartUnit};
use crate::app::command::{Direction, Revision};
use crate::app::written::{Fault, whole, words};
use core::ops::Range;
use toml::Spanned;

/// Most slots.
const SLOTS: i64 = 64;
/// Most values and slots of one direction.
const ELEMENTS: usize = 64;
/// Most characters of a unit.
const UNIT: usize = 16;

const TYPES: [(&str, PartKind); 14] = [
    ("u8", PartKind::Unsigned(1)),
    ("u16", PartKind::Unsigned(2)),
    ("u24", PartKind::Unsigned(3)),
    ("u32", PartKind::Unsigned(4)),
    ("float", PartKind::Float),
    ("packed", PartKind::Packed(0)),
    ("latin1", PartKind::Latin1(0)),
    ("date", PartKind::Date),
    ("time", PartKind::Time),
    ("unit", PartKind::Unit),
    ("variable", PartKind::Variable),
    ("variable_status", PartKind::VariableStatus),
    ("octets", PartKind::Octets(0)),
    ("rest", PartKind::Rest),
];

/// Reads request and reply into `command`.
pub(super) fn fill(command: &mut Command, t: &CommandTable, d: &Description) -> Result<(), Fault> {
    let as_request = t.reply_as_request.as_ref().filter(|given| *given.get_ref());
    if let Some(given) = as_request
        && !t.reply.is_empty()
    {
        let right = "leave the [[command.reply]] headings out, or reply_as_request";
        return Err(Fault::new(&given.span(), "this reply is given in two ways", right));
    }
    command.request = elements(&t.request, command, Direction::Request, d)?;
    command.reply = elements(&t.reply, command, Direction::Reply, d)?;
    if as_request.is_some() {
        command.reply.clone_from(&command.request);
        for element in &mut command.reply {
            if let Element::Value(part) = element {
                part.selects = false;
            }
        }
        fits(command, Direction::Reply, &t.request)?;
    }
    Ok(())
}

fn elements(
    tables: &[Spanned<ElementTable>],
    command: &mut Command,
    direction: Direction,
    d: &Description,
) -> Result<Vec<Element>, Fault> {
    let of = (command.from, command.to);
    let mut out = Vec::new();
    for (i, table) in tables.iter().enumerate() {
        if i == ELEMENTS {
            let right = format!("give at most {ELEMENTS}; what repeats is written as slots");
            return Err(Fault::new(&table.span(), "these are too many values", right));
        }
        out.push(element(table, of, direction, d)?);
    }
    match direction {
        Direction::Request => command.request.clone_from(&out),
        Direction::Reply => command.reply.clone_from(&out),
    }
    fits(command, direction, tables)?;
    Ok(out)
}

fn element(
    table: &Spanned<ElementTable>,
    of: (Revision, Revision),
    direction: Direction,
    d: &Description,
) -> Result<Element, Fault> {
    let t = table.get_ref();
    if t.slot.is_empty() {
        for (given, key) in [(&t.least, "least"), (&t.most, "most")] {
            if let Some(n) = given {
                let right = format!(
                    "give {key} to slots, whose values stand below [[command.request.slot]] or \
                                     [[command.reply.slot]] headings"
                );
                return Err(Fault::new(&n.span(), format!("{key} is given to what is no slots"), right));
            }
        }
        return Ok(Element::Value(part(table, of, direction, d, false)?));
    }
    let stray = [
        (t.name.is_some(), "name"),
        (t.label.is_some(), "label"),
        (t.kind.is_some(), "type"),
        (t.octets.is_some(), "octets"),
        (t.enumeration.is_some(), "enumeration"),
        (t.bits.is_some(), "bits"),
        (t.unit.is_some(), "unit"),
        (t.unit_from.is_some(), "unit_from"),
        (t.hex.is_some(), "hex"),
        (t.optional.is_some(), "optional"),
        (t.selects.is_some(), "selects"),
        (t.from_revision.is_some(), "from_revision"),
        (t.to_revision.is_some(), "to_revision"),
    ];
    if let Some((_, key)) = stray.iter().find(|(given, _)| *given) {
        let right = format!("give {key} to a value in the slot, or leave the slot out");
        return Err(Fault::new(&table.span(), format!("slots have no {key}"), right));
    }
    let number = |n: &Option<Spanned<_>>, key: &str| match n {
        Some(n) => whole::<u8>(n, key, 1..=SLOTS),
        None => {
            let right = format!("say how often the slot may be there, 1 to {SLOTS}: least and most");
            Err(Fault::new(&table.span(), format!("these slots have no {key}"), right))
        }
    };
    let (least, most) = (number(&t.least, "least")?, number(&t.most, "most")?);
    if least > most {
        let wrong = format!("least is {least}, and most is {most}");
        return Err(Fault::new(&at(&t.most, table), wrong, "give most at least as much as least"));
    }
    let parts = t.slot.iter().map(|t| part(t, of, direction, d, true)).collect::<Result<_, _>>()?;
    Ok(Element::Slots { least, most, parts })
}

fn part(
    table: &Spanned<ElementTable>,
    of: (Revision, Revision),
    direction: Direction,
    d: &Description,
    in_slot: bool,
) -> Result<Part, Fault> {
    let t = table.get_ref();
    if in_slot && (!t.slot.is_empty() || t.least.is_some() || t.most.is_some()) {
        let right = "describe what repeats within a slot as octets";
        return Err(Fault::new(&table.span(), "slots cannot stand in a slot", right));
    }
    let Some(given) = &t.name else {
        let right = "add name = \"travel\", or what it is; slots have values below [[command.reply.slot]] headings instead";
        return Err(Fault::new(&table.span(), "this value has no name", right));
    };
    let name = value_name(given)?;
    let kind = kind(table, d)?;
    if (kind == PartKind::Unit) != name.ends_with("unit") {
        let (wrong, right) = match kind {
            PartKind::Unit => (
                format!("the unit code \"{name}\" does not look like one"),
                "end its name in unit: a unit is shown behind its value",
            ),
            _ => (
                format!("\"{name}\" looks like a unit code"),
                "give it type = \"unit\", or a name that does not end in unit: a unit is shown behind its value",
            ),
        };
        return Err(Fault::new(&given.span(), wrong, right));
    }
    let label = t.label.as_ref().map_or(Ok(name.replace('_', " ")), |l| line(l, "label", NAME))?;
    let (from, to) = revisions(&t.from_revision, &t.to_revision, of)?;
    let number = matches!(kind, PartKind::Unsigned(_) | PartKind::Float);
    let unit = match (&t.unit, &t.unit_from) {
        (None, None) => PartUnit::None,
        (Some(u), Some(_)) => {
            let right = "give unit where the command fixes it, unit_from where the data say it";
            return Err(Fault::new(&u.span(), "the unit is given twice", right));
        }
        (Some(u), _) | (_, Some(u)) if !number => {
            let right = "leave it out, or give the value one of the types u8, u16, u24, u32, float";
            return Err(Fault::new(&u.span(), "only numbers have a unit", right));
        }
        (Some(u), None) => PartUnit::Fixed(line(u, "unit", UNIT)?),
        (None, Some(u)) => PartUnit::From(u.get_ref().clone()),
    };
    let on = |flag: &Option<Spanned<bool>>| flag.as_ref().filter(|f| *f.get_ref()).map(Spanned::span);
    let refuse = |flag: &Option<Spanned<bool>>, when: bool, wrong: &str, right: &str| match on(flag) {
        Some(span) if when => Err(Fault::new(&span, wrong, right)),
        other => Ok(other.is_some()),
    };
    let code = matches!(kind, PartKind::Unsigned(_) | PartKind::Enumeration(_) | PartKind::Variable);
    let hex = refuse(
        &t.hex,
        !matches!(kind, PartKind::Unsigned(1..=3)),
        "hex is for u8, u16 and u24",
        "leave hex out",
    )?;
    let ends = in_slot || kind == PartKind::Rest;
    let optional = refuse(
        &t.optional,
        ends,
        "optional cannot stand here",
        if in_slot {
            "leave it out: least and most say how many slots there are"
        } else {
            "leave it out: what is left may be nothing"
        },
    )?;
    let wrong = "selects is for a whole number or code in a request, outside slots";
    let selects = refuse(
        &t.selects,
        in_slot || direction == Direction::Reply || !code,
        wrong,
        "leave selects out here",
    )?;
    Ok(Part { name, label, kind, unit, hex, optional, selects, from, to })
}

fn value_name(given: &Spanned<String>) -> Result<String, Fault> {
    let name = identifier(given, "name")?;
    let slot = name.strip_prefix("slot").is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()));
    if slot || name == "data" {
        let wrong = format!("name cannot be \"{name}\"");
        let right = "take another one: slot0_... are the names in slots, and data= gives octets as they are";
        return Err(Fault::new(&given.span(), wrong, right));
    }
    Ok(name)
}

/// The name of one of these tables.
pub(super) fn named(name: &Spanned<String>, tables: &[Words], heading: &str) -> Result<String, Fault> {
    if tables.iter().any(|w| w.name == *name.get_ref()) {
        return Ok(name.get_ref().clone());
    }
    let names: Vec<String> = tables.iter().map(|w| w.name.clone()).collect();
    let near =
        words::nearest(name.get_ref(), &names).map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
    let right = format!("{near}write a table [{heading}.{}], or name one that is there", name.get_ref());
    Err(Fault::new(&name.span(), format!("there is no table [{heading}.{}]", name.get_ref()), right))
}

fn kind(table: &Spanned<ElementTable>, d: &Description) -> Result<PartKind, Fault> {
    let t = table.get_ref();
    let kind = match (&t.kind, &t.enumeration, &t.bits) {
        (Some(word), None, None) => {
            let types: Vec<(&str, &PartKind)> = TYPES.iter().map(|(name, kind)| (*name, kind)).collect();
            words::one_of(word, "type", &types)?.clone()
        }
        (None, Some(name), None) => PartKind::Enumeration(named(name, &d.enumerations, "enumeration")?),
        (None, None, Some(name)) => PartKind::Bits(named(name, &d.bits, "bits")?),
        (None, None, None) => {
            let names: Vec<&str> = TYPES.iter().map(|(name, _)| *name).collect();
            let right = format!(
                "add type = one of {}; or enumeration or bits with the name of a table",
                names.join(", ")
            );
            return Err(Fault::new(&table.span(), "this value has no type", right));
        }
        _ => {
            let right = "give one of type, enumeration and bits";
            return Err(Fault::new(&table.span(), "this value has two types", right));
        }
    };
    match (kind, &t.octets) {
        (PartKind::Packed(_), Some(n)) => {
            let octets: u8 = whole(n, "octets", 3..=252)?;
            if !octets.is_multiple_of(3) {
                let right = "give a multiple of 3: three octets hold four characters";
                return Err(Fault::new(&n.span(), format!("octets is {octets}"), right));
            }
            Ok(PartKind::Packed(octets))
        }
        (PartKind::Latin1(_), Some(n)) => Ok(PartKind::Latin1(whole(n, "octets", 1..=253)?)),
        (PartKind::Octets(_), Some(n)) => Ok(PartKind::Octets(whole(n, "octets", 1..=253)?)),
        (PartKind::Packed(_) | PartKind::Latin1(_) | PartKind::Octets(_), None) => {
            let right = "add octets = N; for all that is left there is type = \"rest\"";
            Err(Fault::new(&at(&t.kind, table), "how many octets it has is not said", right))
        }
        (kind, None) => Ok(kind),
        (_, Some(n)) => {
            let right = "leave octets out: only packed, latin1 and octets need it";
            Err(Fault::new(&n.span(), "the type says already how many octets it has", right))
        }
    }
}

/// What must hold of all values of one direction together, in every revision.
fn fits(command: &Command, direction: Direction, tables: &[Spanned<ElementTable>]) -> Result<(), Fault> {
    let span = |name: &str| -> Range<usize> {
        let all = tables.iter().flat_map(|t| core::iter::once(t).chain(&t.get_ref().slot));
        // The last of that name is the one that was too many.
        all.filter_map(|t| t.get_ref().name.as_ref())
            .rfind(|n| n.get_ref() == name)
            .map_or(0..0, Spanned::span)
    };
    let last_table = tables.last().map_or(0..0, Spanned::span);
    for revision in command.revisions() {
        let data = command.data_in(direction, revision);
        let mut names: Vec<&str> = Vec::new();
        let mut values: Vec<&Part> = Vec::new();
        for (i, element) in data.iter().enumerate() {
            let last = i + 1 == data.len();
            for part in element.parts() {
                if names.contains(&part.name.as_str()) {
                    let wrong = format!("there are two values called \"{}\" here", part.name);
                    let right = format!("give each a name of its own (both are in revision {revision})");
                    return Err(Fault::new(&span(&part.name), wrong, right));
                }
                names.push(&part.name);
            }
            let unit_of = |parts: &[&Part], at: usize| {
                let PartUnit::From(name) = &parts[at].unit else { return Ok(()) };
                if unit_back(parts, at).is_some() {
                    return Ok(());
                }
                let wrong = format!(
                    "before \"{}\" stands no unit called \"{name}\" in revision {revision}",
                    parts[at].name
                );
                let right =
                    "name a value of type = \"unit\" before it in the same data, in a slot of the same slot";
                Err(Fault::new(&span(&parts[at].name), wrong, right))
            };
            match element {
                Element::Value(part) => {
                    values.push(part);
                    unit_of(&values, values.len() - 1)?;
                    if part.kind == PartKind::Rest && !last {
                        let wrong = format!("\"{}\" takes all that is left, and more follows", part.name);
                        return Err(Fault::new(
                            &span(&part.name),
                            wrong,
                            "put it last, or give it type = \"octets\"",
                        ));
                    }
                }
                Element::Slots { parts, .. } => {
                    let parts: Vec<&Part> = parts.iter().collect();
                    (0..parts.len()).try_for_each(|at| unit_of(&parts, at))?;
                    if parts.iter().any(|p| p.kind == PartKind::Rest) {
                        let right = "give it type = \"octets\" and their number";
                        return Err(Fault::new(&last_table, "a slot cannot hold all that is left", right));
                    }
                    if !last {
                        let at =
                            tables.iter().find(|t| !t.get_ref().slot.is_empty()).map_or(0..0, Spanned::span);
                        let right = "put the slots last: where they end only the end of the data tells";
                        return Err(Fault::new(&at, "something follows the slots", right));
                    }
                }
            }
        }
        let (long, most) = (longest(&data), room(direction));
        if long > most {
            let wrong = format!("these data take up to {long} octets in revision {revision}");
            let right = format!("a frame has room for {most} here: give fewer values or slots");
            return Err(Fault::new(&last_table, wrong, right));
        }
    }
    Ok(())
}

/// Most octets of data in one direction: a frame has 255, and a reply two of them for its status [FR-08].
const fn room(direction: Direction) -> usize {
    match direction {
        Direction::Request => 255,
        Direction::Reply => 253,
    }
}

/// The most octets that data can have.
fn longest(data: &[Element]) -> usize {
    let of = |element: &Element| {
        let one: usize = element.parts().iter().map(|p| p.kind.octets()).sum();
        match element {
            Element::Value(_) => one,
            Element::Slots { most, .. } => one * usize::from(*most),
        }
    };
    data.iter().map(of).sum()
}
