//! Keeping others out, and being found: 71 to 73, 76 [DV-17] [DV-25].

use crate::app::command::Revision;
use crate::device::commands::{Answer, Asked, code};
use crate::device::lock::{Held, Lock};
use crate::device::state::{Squawk, State};
use crate::device::universal::read_identity;
use crate::device::values::Values;

/// Codes of command 71 [ST-04].
const INVALID_LOCK_CODE: u8 = 10;
const CANNOT_LOCK: u8 = 11;

/// [CM-071]
pub(in crate::device) fn lock(state: &mut State, asked: &Asked<'_>) -> Answer {
    let Some(wanted) = asked.octet("lock_code") else { return Answer::Refused(code::TOO_FEW_DATA) };
    // The codes of [TB-13].
    let lock = match wanted {
        0 => None,
        1 => Some(Lock::Temporary(asked.master)),
        2 => Some(Lock::Permanent(asked.master)),
        3 => Some(Lock::All(asked.master)),
        _ => return Answer::Refused(INVALID_LOCK_CODE),
    };
    match state.set_lock(asked.master, lock) {
        Ok(()) => Answer::Done(Values::new().number("lock_code", wanted)),
        Err(Held::Taken) => Answer::Refused(CANNOT_LOCK),
        Err(Held::ByOther) => Answer::Refused(match state.revision() {
            Revision::R7 => code::RESTRICTED,
            Revision::R5 | Revision::R6 => code::BUSY,
        }),
    }
}

/// [CM-076]
pub(in crate::device) fn read_lock(state: &mut State, _: &Asked<'_>) -> Answer {
    Answer::Done(Values::new().number("lock_status", state.lock_status()))
}

/// [CM-072]: without data once.
pub(in crate::device) fn squawk(state: &mut State, asked: &Asked<'_>) -> Answer {
    let control = asked.octet("squawk_control").unwrap_or(2);
    // The codes of [TB-16].
    match control {
        0 => state.squawk = Squawk::Off,
        1 => state.squawk = Squawk::On,
        2 => state.squawk_once(asked.now),
        _ => return Answer::Refused(code::INVALID_SELECTION),
    }
    Answer::Done(Values::new().number("squawk_control", control))
}

/// [CM-073]: the others are silent.
pub(in crate::device) fn find(state: &mut State, asked: &Asked<'_>) -> Answer {
    if state.armed { read_identity(state, asked) } else { Answer::Silent }
}
