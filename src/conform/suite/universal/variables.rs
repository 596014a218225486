//! Section `universal/variables`: commands 1 to 3.

use super::{float, length, part};
use crate::app::command::Revision;
use crate::app::types::units::unit;
use crate::conform::{Case, Outcome, Probe, Stop, expect, fail};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "universal/variables/pv-length",
        "CM-001",
        "command 1 answers five octets: unit and value",
        pv_length,
    ),
    Case::must("universal/variables/pv-unit", "UN-01", "the unit in command 1 is one of the table", pv_unit),
    Case::must(
        "universal/variables/pv-as-in-command-3",
        "CM-003",
        "the primary variable of command 1 stands in octets 4 to 8 of command 3",
        pv_as_in_command_3,
    ),
    Case::must(
        "universal/variables/pv-as-in-command-9",
        "CM-001",
        "the primary variable of command 1 is that of code 246 in command 9",
        pv_as_in_command_9,
    )
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "universal/variables/current-length",
        "CM-002",
        "command 2 answers eight octets: loop current and percent of range",
        current_length,
    ),
    Case::should(
        "universal/variables/percent-follows-from-current",
        "CM-002",
        "4 to 20 mA of loop current are 0 to 100 percent of range",
        percent_follows_from_current,
    ),
    Case::must(
        "universal/variables/current-as-in-command-3",
        "CM-003",
        "the loop current of command 2 stands in octets 0 to 3 of command 3",
        current_as_in_command_3,
    ),
    Case::must(
        "universal/variables/dynamic-variables-length",
        "CM-003",
        "command 3 answers 9, 14, 19 or 24 octets: it ends behind a variable",
        dynamic_variables_length,
    ),
    Case::should(
        "universal/variables/floats-most-significant-first",
        "TY-02",
        "the floats of commands 1 to 3 make sense with the most significant octet first",
        floats_most_significant_first,
    ),
];

fn pv_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(1, &[])?;
    length(&reply, 5)
}

fn pv_unit(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(1, &[])?;
    if reply.data.len() != 5 {
        return Err(Stop::Inconclusive(format!("command 1 does not answer five octets: {reply}")));
    }
    let code = part(&reply, 0, 1)?[0];
    // 170 to 219 depend on the classification, from revision 6 on [UN-02].
    let known = unit(code).is_some() || (170..=219).contains(&code);
    expect(known, "a unit code of the table", format!("{code} in {reply}"))
}

/// Near enough for two readings of one variable a second apart: a hundredth of it, and of a unit.
fn is_near(a: f32, b: f32) -> bool {
    a.to_bits() == b.to_bits() || (a - b).abs() <= 0.05 + 0.02 * a.abs().max(b.abs())
}

/// A variable may move between two readings: two that agree among three pairs show that they are the same.
fn agree(
    p: &mut Probe<'_>,
    what: &str,
    mut pair: impl FnMut(&mut Probe<'_>) -> Result<(f32, f32), Stop>,
) -> Outcome {
    let mut last = (0.0, 0.0);
    for _ in 0..3 {
        last = pair(p)?;
        if is_near(last.0, last.1) {
            return Ok(());
        }
    }
    fail(what, format!("{} and {}", last.0, last.1))
}

fn pv_as_in_command_3(p: &mut Probe<'_>) -> Outcome {
    let (one, three) = (p.read(1, &[])?, p.read(3, &[])?);
    if one.data.len() != 5 {
        return Err(Stop::Inconclusive(format!("command 1 does not answer five octets: {one}")));
    }
    let unit = part(&three, 4, 5)?[0];
    expect(
        one.octet(0) == Some(unit),
        format!("in octet 4 of command 3 the unit of command 1: {one}"),
        three.to_string(),
    )?;
    agree(p, "the value of command 1 in octets 5 to 8 of command 3", |p| {
        let (one, three) = (p.read(1, &[])?, p.read(3, &[])?);
        Ok((float(&one, 1)?, float(&three, 5)?))
    })
}

fn pv_as_in_command_9(p: &mut Probe<'_>) -> Outcome {
    agree(p, "the value of command 1 for variable 246 of command 9", |p| {
        let (one, nine) = (p.read(1, &[])?, p.read(9, &[246])?);
        Ok((float(&one, 1)?, float(&nine, 4)?))
    })
}

fn current_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(2, &[])?;
    length(&reply, 8)
}

fn percent_follows_from_current(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(2, &[])?;
    // Malfunction, fixed or saturated: the current then says something else.
    if reply.device_status & 0x8C != 0 {
        return Err(Stop::Skip(format!("the loop current does not follow: {reply}")));
    }
    let (current, percent) = (float(&reply, 0)?, float(&reply, 4)?);
    if current.is_nan() {
        return Err(Stop::Skip(format!("the device tells no loop current: {reply}")));
    }
    let due = (current - 4.0) / 16.0 * 100.0;
    expect(
        (percent - due).abs() <= 1.0,
        format!("{due} % of range for a loop current of {current} mA"),
        format!("{percent} % in {reply}"),
    )
}

fn current_as_in_command_3(p: &mut Probe<'_>) -> Outcome {
    agree(p, "the loop current of command 2 in octets 0 to 3 of command 3", |p| {
        let (two, three) = (p.read(2, &[])?, p.read(3, &[])?);
        Ok((float(&two, 0)?, float(&three, 0)?))
    })
}

fn dynamic_variables_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(3, &[])?;
    expect(
        matches!(reply.data.len(), 9 | 14 | 19 | 24),
        "9, 14, 19 or 24 data octets in command 3",
        format!("{}: {reply}", reply.data.len()),
    )
}

/// Whether a value is of a size that something measured has.
fn is_likely(value: f32) -> bool {
    (1e-9..1e9).contains(&value.abs())
}

/// Read from the wrong end a float has digits in its exponent's place: nearly all of them are next to nothing or immense.
fn floats_most_significant_first(p: &mut Probe<'_>) -> Outcome {
    let mut seen = 0;
    for (command, places) in [(1, &[1][..]), (2, &[0, 4]), (3, &[0, 5, 10, 15, 20])] {
        let reply = p.read(command, &[])?;
        for &at in places {
            // What ends inside a variable has its floats elsewhere.
            let is_whole = matches!((command, reply.data.len()), (1, 5) | (2, 8) | (3, 9 | 14 | 19 | 24));
            let Some(octets) = reply.part(at, 4).filter(|_| is_whole) else { continue };
            let value = f32::from_be_bytes([octets[0], octets[1], octets[2], octets[3]]);
            if value.is_nan() || value == 0.0 {
                continue;
            }
            seen += 1;
            expect(
                is_likely(value)
                    || !is_likely(f32::from_le_bytes([octets[0], octets[1], octets[2], octets[3]])),
                format!("a value that makes sense at octet {at} of command {command}"),
                format!("{value:e} in {reply}"),
            )?;
        }
    }
    match seen {
        0 => Err(Stop::Inconclusive("every value is 0 or none".to_owned())),
        _ => Ok(()),
    }
}
