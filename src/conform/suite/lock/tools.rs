//! What cases of locks have in common.

use crate::conform::suite::common::tools::{known, part};
use crate::conform::{Outcome, Probe, Reply, Stop, expect};
use crate::frame::Master;

/// Lock codes [TB-13].
pub(super) const OPEN: u8 = 0;
pub(super) const TEMPORARY: u8 = 1;
pub(super) const PERMANENT: u8 = 2;
pub(super) const AGAINST_ALL: u8 = 3;

/// Masks of the lock status [TB-14].
pub(super) const LOCKED: u8 = 0x01;
pub(super) const IS_PERMANENT: u8 = 0x02;
pub(super) const BY_PRIMARY: u8 = 0x04;
pub(super) const IS_AGAINST_ALL: u8 = 0x08;

/// The lock status, command 76.
pub(super) fn status(p: &mut Probe<'_>) -> Result<u8, Stop> {
    Ok(part(&p.read(76, &[])?, 0, 1)?[0])
}

/// Locks as this master; opened again afterwards. A skip where it is locked already, or nobody locks it.
pub(super) fn lock(p: &mut Probe<'_>, master: Master, code: u8) -> Outcome {
    if p.has_command(76)? == Some(true) && status(p)? != 0 {
        return Err(Stop::Skip("the device is locked already".to_owned()));
    }
    p.put_back_by(format!("the lock, opened by the {master} master with command 71"), move |p| {
        open(p, master)
    });
    let reply = ask_lock(p, master, code)?;
    if matches!(reply.code, 6 | 11 | 64) {
        // A repeat whose first answer was lost may be refused for that it is locked: then it has to be opened all the same.
        let is_told = p.has_command(76)? == Some(true);
        if !is_told || status(p)? & LOCKED == 0 {
            p.put_back.pop();
        }
        return Err(Stop::Skip(format!("nobody locks this device so: {reply}")));
    }
    expect(reply.is_success(), format!("lock code {code} taken"), reply.to_string())
}

/// Command 71, what takes its time waited for.
pub(super) fn ask_lock(p: &mut Probe<'_>, master: Master, code: u8) -> Result<Reply, Stop> {
    for _ in 0..120 {
        let reply = p.ask_as(master, 71, &[code])?;
        if !matches!(reply.code, 33 | 34) {
            return Ok(reply);
        }
        p.pause(core::time::Duration::from_millis(500))?;
    }
    p.ask_as(master, 71, &[code])
}

/// Opens the lock as this master, and as the other one should it be that one's by now.
fn open(p: &mut Probe<'_>, master: Master) -> Outcome {
    let other = if master == Master::Primary { Master::Secondary } else { Master::Primary };
    let reply = ask_lock(p, master, OPEN)?;
    if reply.is_success() {
        return Ok(());
    }
    let reply = ask_lock(p, other, OPEN)?;
    expect(reply.is_success(), "an open lock", reply.to_string())
}

/// Writes the message that is there already, as this master.
pub(super) fn write(p: &mut Probe<'_>, master: Master) -> Result<Reply, Stop> {
    let message = known(&p.read(12, &[])?, 0, 24)?;
    p.ask_as(master, 17, &message)
}

/// Whether a master is told that it may not: 16, and 32 before revision 7 [DV-17].
pub(super) fn is_locked_out(reply: &Reply) -> bool {
    matches!(reply.code, 16 | 32)
}
