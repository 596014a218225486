//! What cases of locks have in common.

use crate::app::command::Revision;
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

/// Locks as this master; opened again afterwards, and the message written back that [`write`] may have changed. A skip where it is locked already, or nobody locks it.
pub(super) fn lock(p: &mut Probe<'_>, master: Master, code: u8) -> Outcome {
    if p.has_command(76)? == Some(true) && status(p)? != 0 {
        return Err(Stop::Skip("the device is locked already".to_owned()));
    }
    p.save(12, &[], 17, |r| r.part(0, 24).map(<[u8]>::to_vec))?;
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
pub(super) fn open(p: &mut Probe<'_>, master: Master) -> Outcome {
    let other = if master == Master::Primary { Master::Secondary } else { Master::Primary };
    let is_told = p.has_command(76)? == Some(true);
    // Also where command 76 says that it is open: what tells that wrongly would stay locked, some of it for good.
    let mut reply = ask_lock(p, master, OPEN)?;
    if !reply.is_success() {
        reply = ask_lock(p, other, OPEN)?;
    }
    if is_told {
        let now = status(p)?;
        return expect(now & LOCKED == 0, "mask 01 clear in the lock status", format!("{now:02X}; {reply}"));
    }
    expect(reply.is_success(), "an open lock", reply.to_string())
}

/// What became of a write.
pub(super) struct Written {
    pub reply: Reply,
    /// Whether the message is another one now.
    pub changed: bool,
}

impl Written {
    /// Refused, and nothing has changed.
    pub fn is_refused(&self) -> bool {
        !self.reply.is_success() && !self.changed
    }
}

impl core::fmt::Display for Written {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let message = if self.changed { "another message in command 12" } else { "the message as before" };
        write!(f, "{}; {message}", self.reply)
    }
}

/// Writes another message as this master, which [`lock`] remembers to put back, and looks whether it is there. A device that is
/// busy for a while is waited for.
pub(super) fn write(p: &mut Probe<'_>, master: Master) -> Result<Written, Stop> {
    let before = known(&p.read(12, &[])?, 0, 24)?;
    let mut other = before.clone();
    other[23] ^= 0x01;
    let mut reply = p.ask_as(master, 17, &other)?;
    // Before revision 7 code 32 may be what a lock answers [DV-17]; 33 and 34 refuse nothing.
    for _ in 0..120 {
        let goes_on = matches!(reply.code, 33 | 34) || reply.code == 32 && p.revision() == Revision::R7;
        if !goes_on {
            break;
        }
        p.pause(core::time::Duration::from_millis(500))?;
        reply = p.ask_as(master, 17, &other)?;
    }
    let changed = p.read(12, &[])?.part(0, 24) != Some(&before);
    Ok(Written { reply, changed })
}

/// Whether a master is told that it is locked out: 16, and 32 before revision 7 [DV-17].
pub(super) fn is_locked_out(p: &Probe<'_>, reply: &Reply) -> bool {
    reply.code == 16 || reply.code == 32 && p.revision() < Revision::R7
}
