//! Section `lock/temporary`: one master keeps the other out for a while.

use super::tools::{BY_PRIMARY, LOCKED, OPEN, TEMPORARY, ask_lock, is_locked_out, lock, status, write};
use crate::app::command::Revision;
use crate::conform::suite::common::tools::known;
use crate::conform::{Case, Outcome, Probe, Stop, expect};
use crate::frame::Master::{self, Primary, Secondary};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;
/// Both sides: who locks, and who is kept out.
const SIDES: [(Master, Master); 2] = [(Secondary, Primary), (Primary, Secondary)];

pub(super) const CASES: &[Case] = &[
    Case::must(
        "lock/temporary/status-has-one-octet",
        "CM-076",
        "a device that can be locked answers command 76 with one octet",
        status_has_one_octet,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/temporary/is-told",
        "CM-076",
        "command 76 says that it is locked after command 71, and not before",
        is_told,
    )
    .commands(&[71, 76])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/temporary/owner-is-told",
        "TB-14",
        "command 76 says which of the two masters has locked",
        owner_is_told,
    )
    .commands(&[71, 76])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/temporary/keeps-the-other-out",
        "TB-13",
        "a write of the other master is refused, and changes nothing",
        keeps_the_other_out,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::should(
        "lock/temporary/refused-with-16",
        "DV-17",
        "who is locked out is answered 16 to a write, before revision 7 16 or 32",
        refused_with_16,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::should(
        "lock/temporary/owner-may-write",
        "DV-17",
        "a write of the master that has locked is not refused",
        owner_may_write,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::should(
        "lock/temporary/other-may-read",
        "DV-17",
        "the other master is told values and message",
        other_may_read,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/temporary/other-cannot-open",
        "TB-13",
        "the other master cannot open the lock",
        other_cannot_open,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/temporary/other-cannot-lock",
        "CM-071",
        "the other master cannot lock what is locked",
        other_cannot_lock,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
    Case::must(
        "lock/temporary/open-again",
        "CM-071",
        "after the master that has locked opens, the other one may write",
        open_again,
    )
    .commands(&[71])
    .writes()
    .revisions(R6, R7),
];

fn status_has_one_octet(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(76, &[])?;
    expect(reply.is_success() && reply.data.len() == 1, "an octet of lock status", reply.to_string())
}

fn is_told(p: &mut Probe<'_>) -> Outcome {
    lock(p, Secondary, TEMPORARY)?;
    let now = status(p)?;
    expect(now & LOCKED != 0, "mask 01 set in the lock status", format!("{now:02X}"))
}

fn owner_is_told(p: &mut Probe<'_>) -> Outcome {
    for (owner, _) in SIDES {
        lock(p, owner, TEMPORARY)?;
        let now = status(p)?;
        p.put_all_back()?;
        let wanted = if owner == Primary { BY_PRIMARY } else { 0 };
        expect(
            now & (LOCKED | BY_PRIMARY) == LOCKED | wanted,
            format!(
                "mask 04 {} after the {owner} master has locked",
                if wanted == 0 { "clear" } else { "set" }
            ),
            format!("{now:02X}"),
        )?;
    }
    Ok(())
}

fn keeps_the_other_out(p: &mut Probe<'_>) -> Outcome {
    for (owner, other) in SIDES {
        lock(p, owner, TEMPORARY)?;
        let written = write(p, other)?;
        p.put_all_back()?;
        expect(
            written.is_refused(),
            format!("a write of the {other} master refused, and the message as before"),
            written.to_string(),
        )?;
    }
    Ok(())
}

fn refused_with_16(p: &mut Probe<'_>) -> Outcome {
    lock(p, Secondary, TEMPORARY)?;
    let written = write(p, Primary)?;
    if written.reply.is_success() {
        return Err(Stop::Inconclusive(format!("a lock keeps nobody out: {written}")));
    }
    expect(is_locked_out(p, &written.reply), "response code 16 to the primary master", written.to_string())
}

fn owner_may_write(p: &mut Probe<'_>) -> Outcome {
    for (owner, _) in SIDES {
        lock(p, owner, TEMPORARY)?;
        let written = write(p, owner)?;
        p.put_all_back()?;
        expect(
            written.reply.code != 16,
            format!("any code but 16 to the {owner} master"),
            written.to_string(),
        )?;
    }
    Ok(())
}

fn other_may_read(p: &mut Probe<'_>) -> Outcome {
    lock(p, Secondary, TEMPORARY)?;
    for command in [0, 1, 3, 12, 15] {
        let reply = p.ask_as(Primary, command, &[])?;
        expect(reply.is_success(), format!("command {command} answered with its data"), reply.to_string())?;
    }
    Ok(())
}

fn other_cannot_open(p: &mut Probe<'_>) -> Outcome {
    for (owner, other) in SIDES {
        lock(p, owner, TEMPORARY)?;
        ask_lock(p, other, OPEN)?;
        let written = write(p, other)?;
        p.put_all_back()?;
        expect(
            written.is_refused(),
            format!(
                "a write of the {other} master that has tried to open refused, and the message as before"
            ),
            written.to_string(),
        )?;
    }
    Ok(())
}

fn other_cannot_lock(p: &mut Probe<'_>) -> Outcome {
    for (owner, other) in SIDES {
        lock(p, owner, TEMPORARY)?;
        let reply = ask_lock(p, other, TEMPORARY)?;
        p.put_all_back()?;
        expect(!reply.is_success(), format!("lock code 1 of the {other} master refused"), reply.to_string())?;
    }
    Ok(())
}

fn open_again(p: &mut Probe<'_>) -> Outcome {
    let message = known(&p.read(12, &[])?, 0, 24)?;
    lock(p, Primary, TEMPORARY)?;
    let reply = ask_lock(p, Primary, OPEN)?;
    expect(reply.is_success(), "lock code 0 of the primary master taken", reply.to_string())?;
    let reply = p.ask_as(Secondary, 17, &message)?;
    expect(!is_locked_out(p, &reply), "a write of the secondary master not refused", reply.to_string())
}
