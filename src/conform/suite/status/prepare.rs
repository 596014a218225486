//! What the cases of the status do before they look: changes, restarts. That these work is the matter of other cases, so
//! where they do not nothing is said.

use crate::app::command::Revision;
use crate::conform::suite::common::undo::skip_if_held;
use crate::conform::suite::universal::{prepared, remember};
use crate::conform::{Probe, Reply, Stop};
use crate::frame::Master;
use core::time::Duration;

/// Bits of the device status [ST-02].
pub(super) const CHANGED: u8 = 0x40;
pub(super) const COLD_START: u8 = 0x20;
pub(super) const MORE_STATUS: u8 = 0x10;
pub(super) const FIXED: u8 = 0x08;

/// How long a device may take to start again after command 42: common practice, no source.
pub(in crate::conform::suite) const START: Duration = Duration::from_secs(30);
/// How long it may answer on before it does.
const STILL_THERE: Duration = Duration::from_secs(5);

pub(super) fn unclear<T>(why: impl Into<String>) -> Result<T, Stop> {
    Err(Stop::Inconclusive(why.into()))
}

/// Changes the configuration as the secondary master: a bit of the message.
pub(super) fn change(p: &mut Probe<'_>) -> Result<Reply, Stop> {
    let mut message = remember(p, 12, 17, 24)?;
    message[23] ^= 0x01;
    prepared(p, 17, &message)
}

/// The configuration change counter in command 0.
pub(super) fn counter(p: &mut Probe<'_>) -> Result<u16, Stop> {
    let reply = p.ask(0, &[])?;
    match reply.part(14, 2) {
        Some(octets) => Ok(u16::from_be_bytes([octets[0], octets[1]])),
        None => unclear(format!("command 0 tells no configuration change counter: {reply}")),
    }
}

/// The answer to command 38 with what it needs in the device's revision. A device without it is skipped before revision 7.
pub(super) fn reset_changed(p: &mut Probe<'_>, master: Master) -> Result<Reply, Stop> {
    let data = match p.revision() {
        Revision::R7 => counter(p)?.to_be_bytes().to_vec(),
        _ => Vec::new(),
    };
    let reply = p.ask_as(master, 38, &data)?;
    if p.revision() < Revision::R7 {
        p.skip_unless_known(&reply)?;
    }
    Ok(reply)
}

/// The same, where it is a preparation only.
pub(super) fn cleared(p: &mut Probe<'_>, master: Master) -> Result<Reply, Stop> {
    let reply = reset_changed(p, master)?;
    match reply.is_success() {
        true => Ok(reply),
        false => unclear(format!("command 38 is not accepted: {reply}")),
    }
}

/// The device status in the next answer to this master.
pub(super) fn status(p: &mut Probe<'_>, master: Master) -> Result<u8, Stop> {
    Ok(p.ask_as(master, 1, &[])?.device_status)
}

/// Starts the device again with command 42. Its answer may be lost, and some give none.
pub(in crate::conform::suite) fn restart(p: &mut Probe<'_>) -> Result<(), Stop> {
    skip_if_held(p)?;
    let request = p.request(42, &[]);
    if let Some(reply) = p.send(&request)?.reply() {
        p.skip_unless_known(&reply)?;
        if !reply.is_success() {
            return unclear(format!("command 42 is not accepted: {reply}"));
        }
    }
    p.pause(STILL_THERE)?;
    p.starts_again(START);
    Ok(())
}
