//! Section `status/more-status`: command 48 and the bit that points to it.

use super::prepare::{MORE_STATUS, status, unclear};
use crate::app::command::Revision;
use crate::conform::suite::common::undo::put_back_address;
use crate::conform::{Case, Outcome, Probe, Stop, expect};
use crate::frame::Master::{self, Primary, Secondary};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must("status/more-status/command-48-is-there", "CM-048", "revision 7 has command 48", is_there)
        .revisions(R7, R7),
    Case::must("status/more-status/length", "CM-048", "command 48 answers 9 to 25 octets", status_length)
        .revisions(R7, R7),
    Case::must(
        "status/more-status/operating-mode",
        "TB-12",
        "the operating mode, octet 7 of command 48, is 0",
        operating_mode,
    )
    .revisions(R7, R7),
    Case::must(
        "status/more-status/extended-status-in-command-9",
        "ST-05",
        "the extended status in octet 16 of command 0 is that in octet 0 of command 9",
        extended_in_command_9,
    )
    .revisions(R6, R7),
    Case::must(
        "status/more-status/extended-status-in-command-48",
        "ST-05",
        "the extended status in octet 6 of command 48 is that in octet 0 of command 9",
        extended_in_command_48,
    )
    .revisions(R7, R7),
    Case::should(
        "status/more-status/told-when-status-changes",
        "ST-07",
        "more status available is set for both masters when what command 48 says has changed",
        told_when_status_changes,
    )
    .revisions(R7, R7)
    .moves(),
    Case::must(
        "status/more-status/over-when-sent-back",
        "ST-07",
        "command 48 with the status octets as they stand takes more status available away",
        over_when_sent_back,
    )
    .writes()
    .revisions(R7, R7),
    Case::must(
        "status/more-status/stays-without-data",
        "ST-07",
        "command 48 without data leaves more status available set",
        stays_without_data,
    )
    .revisions(R7, R7)
    .moves(),
    Case::must(
        "status/more-status/stays-for-the-other",
        "ST-07",
        "more status available goes out for the master that has sent the status back and for no other",
        stays_for_the_other,
    )
    .revisions(R7, R7)
    .moves(),
    Case::must(
        "status/more-status/other-octets-are-told",
        "ST-07",
        "command 48 with other status octets than the present ones is answered with warning 14",
        other_octets_are_told,
    )
    .writes()
    .revisions(R7, R7),
    Case::must(
        "status/more-status/other-octets-leave-it",
        "ST-07",
        "command 48 with other status octets than the present ones leaves more status available set",
        other_octets_leave_it,
    )
    .revisions(R7, R7)
    .moves(),
];

fn is_there(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(48, &[])?;
    expect(reply.code != 64, "an answer other than 64, not implemented", reply.to_string())
}

/// The octets of command 48; that there are some is the matter of other cases.
fn octets(p: &mut Probe<'_>, master: Master) -> Result<Vec<u8>, Stop> {
    let reply = p.ask_as(master, 48, &[])?;
    match reply.is_success() {
        true => Ok(reply.data),
        false => unclear(format!("command 48 is not answered with its data: {reply}")),
    }
}

fn status_length(p: &mut Probe<'_>) -> Outcome {
    let told = octets(p, Secondary)?;
    expect(
        (9..=25).contains(&told.len()),
        "9 to 25 data octets in command 48",
        format!("{}: {told:02X?}", told.len()),
    )
}

fn operating_mode(p: &mut Probe<'_>) -> Outcome {
    let told = octets(p, Secondary)?;
    match told.get(7) {
        Some(&mode) => expect(mode == 0, "00 in octet 7 of command 48", format!("{told:02X?}")),
        None => unclear(format!("command 48 has no octet 7: {told:02X?}")),
    }
}

fn extended_in_command_9(p: &mut Probe<'_>) -> Outcome {
    let identity = p.ask(0, &[])?;
    let slots = p.ask(9, &[246])?;
    match (identity.octet(16), slots.octet(0)) {
        (Some(a), Some(b)) => expect(
            a == b,
            format!("in octet 16 of command 0 the extended status {b:02X} of command 9"),
            format!("{a:02X} in {identity}"),
        ),
        _ => unclear(format!("command 0 or 9 is too short: {identity}; {slots}")),
    }
}

fn extended_in_command_48(p: &mut Probe<'_>) -> Outcome {
    let told = octets(p, Secondary)?;
    let slots = p.ask(9, &[246])?;
    match (told.get(6), slots.octet(0)) {
        (Some(&a), Some(b)) => expect(
            a == b,
            format!("in octet 6 of command 48 the extended status {b:02X} of command 9"),
            format!("{a:02X} in {told:02X?}"),
        ),
        _ => unclear(format!("command 48 or 9 is too short: {told:02X?}; {slots}")),
    }
}

/// Sends the status back as it stands.
fn acknowledge(p: &mut Probe<'_>, master: Master) -> Result<(), Stop> {
    // What changes by itself may change in between.
    for _ in 0..3 {
        let told = octets(p, master)?;
        if p.ask_as(master, 48, &told)?.code == 0 {
            break;
        }
    }
    Ok(())
}

/// Changes what command 48 says: the loop current is fixed, or follows again [CM-006] [TB-11]. Octet 13 then differs.
fn disturb(p: &mut Probe<'_>) -> Result<(), Stop> {
    acknowledge(p, Secondary)?;
    acknowledge(p, Primary)?;
    let before = octets(p, Secondary)?;
    let reply = p.ask(7, &[])?;
    let Some(&[address, mode]) = reply.data.first_chunk::<2>() else {
        return unclear(format!("command 7 does not answer two octets: {reply}"));
    };
    put_back_address(p, &[address, mode])?;
    let reply = p.ask(6, &[address, mode ^ 0x01])?;
    if !reply.is_success() {
        return unclear(format!("command 6 is not accepted: {reply}"));
    }
    match octets(p, Secondary)? == before {
        true => unclear("command 48 says the same with a fixed loop current as without"),
        false => Ok(()),
    }
}

/// The same, with the bit set for this master.
fn raised(p: &mut Probe<'_>, master: Master) -> Result<(), Stop> {
    disturb(p)?;
    match status(p, master)? & MORE_STATUS != 0 {
        true => Ok(()),
        false => unclear(format!("more status available is not set for the {master} master")),
    }
}

fn told_when_status_changes(p: &mut Probe<'_>) -> Outcome {
    disturb(p)?;
    for master in [Secondary, Primary] {
        let told = status(p, master)?;
        expect(
            told & MORE_STATUS != 0,
            format!("mask 10 for the {master} master after octets of command 48 have changed"),
            format!("device status {told:02X}"),
        )?;
    }
    Ok(())
}

fn over_when_sent_back(p: &mut Probe<'_>) -> Outcome {
    acknowledge(p, Secondary)?;
    let told = status(p, Secondary)?;
    expect(
        told & MORE_STATUS == 0,
        "mask 10 clear after command 48 with its own octets",
        format!("device status {told:02X}"),
    )
}

fn stays(p: &mut Probe<'_>, master: Master, after: &str) -> Outcome {
    let told = status(p, master)?;
    expect(
        told & MORE_STATUS != 0,
        format!("mask 10 for the {master} master still after {after}"),
        format!("device status {told:02X}"),
    )
}

fn stays_without_data(p: &mut Probe<'_>) -> Outcome {
    disturb(p)?;
    // The secondary master has read it once already.
    if status(p, Primary)? & MORE_STATUS == 0 {
        return unclear("more status available is not set for the primary master");
    }
    octets(p, Primary)?;
    stays(p, Primary, "command 48 without data")
}

fn stays_for_the_other(p: &mut Probe<'_>) -> Outcome {
    raised(p, Primary)?;
    acknowledge(p, Secondary)?;
    stays(p, Primary, "command 48 of the secondary one with its own octets")
}

/// Octets that differ from the present ones in a device-specific bit.
fn other_octets(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let mut other = octets(p, Secondary)?;
    match other.first_mut() {
        Some(first) => *first ^= 0x80,
        None => return unclear("command 48 has no data"),
    }
    Ok(other)
}

fn other_octets_are_told(p: &mut Probe<'_>) -> Outcome {
    let other = other_octets(p)?;
    let reply = p.ask(48, &other)?;
    expect(reply.code == 14, "warning 14 for octets that differ in bit 80 of octet 0", reply.to_string())
}

fn other_octets_leave_it(p: &mut Probe<'_>) -> Outcome {
    raised(p, Secondary)?;
    let other = other_octets(p)?;
    p.ask(48, &other)?;
    stays(p, Secondary, "command 48 with other octets")
}
