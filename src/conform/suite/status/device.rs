//! Section `status/device`: the bits of the second status octet that tell how the device is.

use super::prepare::{FIXED, status, unclear};
use crate::app::command::Revision;
use crate::conform::suite::common::tools::skip_if_simulated;
use crate::conform::suite::common::undo::{end_simulation, put_back_address};
use crate::conform::{Case, Outcome, Probe, Stop, expect};
use crate::frame::Master::Secondary;

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::should(
        "status/device/fixed-current-is-told",
        "ST-02",
        "loop current fixed is set while loop current mode is disabled",
        fixed_current_is_told,
    )
    .revisions(R6, R7)
    .moves(),
    Case::should(
        "status/device/following-current-is-not-fixed",
        "ST-02",
        "loop current fixed is clear while loop current mode is enabled",
        following_current_is_not_fixed,
    )
    .revisions(R6, R7)
    .moves(),
    Case::should(
        "status/device/malfunction-goes-with-command-48",
        "ST-02",
        "device malfunction is set while command 48 tells a failure or a defect, and only then",
        malfunction_goes_with_command_48,
    )
    .revisions(R6, R7)
    .commands(&[48]),
    Case::should(
        "status/device/saturated-current-is-told",
        "ST-02",
        "loop current saturated is clear from 4 to 20 mA, and set below 3.6 and above 21.5 mA",
        saturated_current_is_told,
    ),
    Case::should(
        "status/device/other-variable-out-of-limits",
        "ST-02",
        "a simulated variable beyond its limits sets the bit for variables other than the primary one",
        other_variable_out_of_limits,
    )
    .revisions(R6, R7)
    .moves(),
    Case::should(
        "status/device/extended-status-undefined-bits",
        "ST-05",
        "the undefined masks 40 and 80 of the extended status are clear",
        extended_status_undefined_bits,
    )
    .revisions(R6, R7),
];

/// The device status in loop current mode 0 or 1.
fn in_mode(p: &mut Probe<'_>, mode: u8) -> Result<u8, Stop> {
    let reply = p.ask(7, &[])?;
    let Some(&[address, was]) = reply.data.first_chunk::<2>() else {
        return unclear(format!("command 7 does not answer two octets: {reply}"));
    };
    put_back_address(p, &[address, was])?;
    let reply = p.ask(6, &[address, mode])?;
    match reply.is_success() {
        true => status(p, Secondary),
        false => unclear(format!("command 6 is not accepted: {reply}")),
    }
}

fn fixed_current_is_told(p: &mut Probe<'_>) -> Outcome {
    let told = in_mode(p, 0)?;
    expect(
        told & FIXED != 0,
        "mask 08 with loop current mode 0, disabled",
        format!("device status {told:02X}"),
    )
}

fn following_current_is_not_fixed(p: &mut Probe<'_>) -> Outcome {
    let told = in_mode(p, 1)?;
    // Command 40 or a fault of the loop may hold it in this mode too; octet 13 of command 48 says so then [TB-11].
    let more = p.ask(48, &[])?;
    if told & FIXED != 0 && !more.octet(13).is_some_and(|o| more.is_success() && o & 0x01 == 0) {
        return Err(Stop::Skip(format!("nothing says that the loop current is not fixed otherwise: {more}")));
    }
    expect(
        told & FIXED == 0,
        "mask 08 clear with loop current mode 1, enabled",
        format!("device status {told:02X}"),
    )
}

/// Failure in the extended status [ST-05]; memory and electronic defects in standardized status 0 [ST-06].
fn malfunction_goes_with_command_48(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(48, &[])?;
    let (Some(extended), Some(status_0)) = (reply.octet(6), reply.octet(8)) else {
        return unclear(format!("command 48 is too short: {reply}"));
    };
    let failed = extended & 0x08 != 0 || status_0 & 0x46 != 0;
    let told = reply.device_status & 0x80 != 0;
    expect(
        told == failed,
        match failed {
            true => "mask 80 of the device status, for command 48 tells a failure",
            false => "mask 80 of the device status clear, for command 48 tells no failure",
        },
        reply.to_string(),
    )
}

/// Between 3.6 and 4, and 20 and 21.5 mA, devices differ.
/// Whether a current that follows percent of range would be more than 1 mA away.
fn is_elsewhere(ma: f32, percent: f32) -> bool {
    (4.0 + 0.16 * percent - ma).abs() > 1.0
}

fn saturated_current_is_told(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(2, &[])?;
    let told = reply.device_status & 0x04 != 0;
    match reply.float(0) {
        // Fixed or out of order it may be anything.
        _ if reply.device_status & 0x88 != 0 => {
            Err(Stop::Skip(format!("the loop current does not follow: {reply}")))
        }
        Some(ma) if (4.0..=20.0).contains(&ma) => {
            expect(!told, format!("mask 04 clear at {ma} mA"), reply.to_string())
        }
        Some(ma) if (1.0..3.6).contains(&ma) || (21.5..30.0).contains(&ma) => {
            expect(told, format!("mask 04 at {ma} mA"), reply.to_string())
        }
        // Near its ends it may follow or have stopped: by the percent of range it would have to be elsewhere.
        Some(ma) if (3.6..21.5).contains(&ma) && reply.float(4).is_some_and(|x| is_elsewhere(ma, x)) => {
            expect(
                told,
                format!("mask 04 at {ma} mA, which is not what the percent of range makes"),
                reply.to_string(),
            )
        }
        _ => unclear(format!("the loop current tells nothing: {reply}")),
    }
}

/// A device variable of its own that is a dynamic variable and not the primary one.
fn other_variable_out_of_limits(p: &mut Probe<'_>) -> Outcome {
    let assigned = p.ask(50, &[])?;
    p.skip_unless_known(&assigned)?;
    let Some((&primary, others)) = assigned.data.split_first() else {
        return unclear(format!("command 50 tells nothing: {assigned}"));
    };
    let Some(&variable) = others.iter().rev().find(|&&v| v != primary && v < 243) else {
        return Err(Stop::Skip("the device has no other dynamic variable".to_owned()));
    };
    let about = p.ask(54, &[variable])?;
    p.skip_unless_known(&about)?;
    let (Some(unit), Some(upper), Some(lower)) = (about.octet(4), about.float(5), about.float(9)) else {
        return unclear(format!("command 54 is too short: {about}"));
    };
    let span = (upper - lower).abs();
    if !span.is_finite() || span <= 0.0 {
        return unclear(format!("command 54 tells no limits: {about}"));
    }
    skip_if_simulated(p)?;
    let before = status(p, Secondary)?;
    if before & 0x03 != 0 {
        return unclear(format!("a variable is out of limits already: device status {before:02X}"));
    }
    let value = (upper.max(lower) + span).to_be_bytes();
    let slot = |what| [variable, what, unit, value[0], value[1], value[2], value[3], 0xC0];
    end_simulation(p, &slot(0x00));
    let reply = p.ask_until_done(79, &slot(0x01))?;
    p.skip_unless_known(&reply)?;
    if !reply.is_success() {
        return unclear(format!("command 79 is not accepted: {reply}"));
    }
    let simulated = p.ask(9, &[variable])?;
    if simulated.part(4, 4) != Some(&value) {
        return unclear(format!("command 79 does not simulate {value:02X?}: {simulated}"));
    }
    let told = status(p, Secondary)?;
    expect(
        told & 0x03 == 0x02,
        format!("mask 02 and not 01 while variable {variable} is simulated beyond its limits"),
        format!("device status {told:02X}"),
    )
}

fn extended_status_undefined_bits(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(0, &[])?;
    match reply.octet(16) {
        Some(extended) => {
            expect(extended & 0xC0 == 0, "masks 40 and 80 clear in octet 16 of command 0", reply.to_string())
        }
        None => unclear(format!("command 0 has no octet 16: {reply}")),
    }
}
