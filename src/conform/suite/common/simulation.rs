//! Section `common/simulation`: a device variable that a master says, command 79.

use super::tools::{
    NO_UNIT, NO_VARIABLE, float, part, refuses, refuses_with, skip_if, skip_if_simulated, takes,
};
use super::undo::end_simulation;
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

/// Fixed value, and back to normal [TB-15].
const FIXED: u8 = 1;
const NORMAL: u8 = 0;
/// Good and not limited [TY-08].
const GOOD: u8 = 0xC0;
/// Standardized status 0: device variable simulation active [ST-06].
const SIMULATED: u8 = 0x01;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/simulation/normal-ends-it",
        "TB-15",
        "command 79 with 0, normal, ends the simulation",
        normal_ends_it,
    )
    .commands(&[33, 54, 79])
    .moves()
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/simulation/value-is-told",
        "CM-079",
        "a value that command 79 fixes is the one that command 33 tells",
        value_is_told,
    )
    .commands(&[33, 54, 79])
    .moves()
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/simulation/is-in-the-status",
        "ST-06",
        "while a device variable is simulated command 48 says so in octet 8, mask 01",
        is_in_the_status,
    )
    .commands(&[33, 48, 54, 79])
    .moves()
    .revisions(Revision::R7, Revision::R7),
    Case::must(
        "common/simulation/unknown-variable",
        "CM-079",
        "command 79 refuses a device variable that the device does not have",
        unknown_variable,
    )
    .commands(&[79])
    .moves()
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/simulation/unit-that-is-none",
        "CM-079",
        "command 79 refuses a unit that is none",
        unit_that_is_none,
    )
    .commands(&[33, 79])
    .moves()
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/simulation/unknown-code",
        "CM-079",
        "command 79 refuses a code that neither fixes nor ends, in revision 7 with 10",
        unknown_code,
    )
    .commands(&[33, 79])
    .moves()
    .revisions(Revision::R6, Revision::R7),
];

/// The last device variable of the first eight: what follows the process stands first, so this one is the least likely to move
/// anything.
fn variable(p: &mut Probe<'_>) -> Result<(u8, u8), Stop> {
    skip_if_simulated(p)?;
    let mut last = None;
    for code in 0..8 {
        let reply = p.ask(33, &[code])?;
        match reply.octet(1).filter(|&unit| reply.is_success() && unit != NO_UNIT) {
            Some(unit) => last = Some((code, unit)),
            None => break,
        }
    }
    last.map_or_else(|| Err(Stop::Skip("the device has no numbered variables".to_owned())), Ok)
}

fn request(code: u8, what: u8, unit: u8, value: [u8; 4], status: u8) -> Vec<u8> {
    [&[code, what, unit][..], &value, &[status]].concat()
}

/// Fixes the variable at a value within its limits that it does not have; code and value.
fn simulate(p: &mut Probe<'_>) -> Result<(u8, [u8; 4]), Stop> {
    let (code, unit) = variable(p)?;
    let about = p.read(54, &[code])?;
    let (upper, lower) = (float(&about, 5)?, float(&about, 9)?);
    let now = float(&p.read(33, &[code])?, 2)?;
    let wanted = match upper.is_finite() && lower.is_finite() {
        true if now > (upper + lower) / 2.0 => lower + (upper - lower) * 0.25,
        true => lower + (upper - lower) * 0.75,
        false => now + 1.0,
    };
    let value = wanted.to_be_bytes();
    end_simulation(p, &request(code, NORMAL, unit, value, GOOD));
    let reply = p.ask_until_done(79, &request(code, FIXED, unit, value, GOOD))?;
    skip_if(&reply, &[2, 6, 7, 16], "the device does not simulate this variable")?;
    expect(reply.is_success(), "a value within the limits taken", reply.to_string())?;
    Ok((code, value))
}

fn value_is_told(p: &mut Probe<'_>) -> Outcome {
    let (code, value) = simulate(p)?;
    let reply = p.read(33, &[code])?;
    let told = part(&reply, 2, 4)?;
    expect(told == value, format!("{value:02X?}, the value that was fixed"), reply.to_string())
}

fn is_in_the_status(p: &mut Probe<'_>) -> Outcome {
    simulate(p)?;
    let reply = p.read(48, &[])?;
    expect(
        reply.octet(8).is_some_and(|o| o & SIMULATED != 0),
        "mask 01 set in octet 8 of command 48",
        reply.to_string(),
    )
}

fn normal_ends_it(p: &mut Probe<'_>) -> Outcome {
    let (code, value) = simulate(p)?;
    let unit = part(&p.read(33, &[code])?, 1, 1)?[0];
    takes(p, 79, &request(code, NORMAL, unit, value, GOOD))?;
    let reply = p.read(33, &[code])?;
    let told = part(&reply, 2, 4)?;
    expect(told != value, format!("not {value:02X?}, the value that was fixed"), reply.to_string())
}

fn unknown_variable(p: &mut Probe<'_>) -> Outcome {
    skip_if_simulated(p)?;
    // 57 is percent.
    let reply = p.ask_until_done(79, &request(NO_VARIABLE, FIXED, 57, [0; 4], GOOD))?;
    if reply.is_success() {
        end_simulation(p, &request(NO_VARIABLE, NORMAL, 57, [0; 4], GOOD));
    }
    expect(!reply.is_success(), "a simulation of variable 242 refused", reply.to_string())
}

fn unit_that_is_none(p: &mut Probe<'_>) -> Outcome {
    let (code, unit) = variable(p)?;
    end_simulation(p, &request(code, NORMAL, unit, [0; 4], GOOD));
    refuses(p, 79, &request(code, FIXED, NO_UNIT, [0; 4], GOOD))?;
    Ok(())
}

fn unknown_code(p: &mut Probe<'_>) -> Outcome {
    let (code, unit) = variable(p)?;
    end_simulation(p, &request(code, NORMAL, unit, [0; 4], GOOD));
    refuses_with(p, 79, &request(code, 200, unit, [0; 4], GOOD), &[10])?;
    Ok(())
}
