//! Who may change the device: its lock [DV-17].

use super::state::State;
use super::stored::StoredLock;
use crate::app::command::Revision;
use crate::frame::Master;

/// Against whom the device is locked [TB-13].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lock {
    /// Against the other master, until reset or loss of power.
    Temporary(Master),
    /// Against the other master, for good.
    Permanent(Master),
    /// Against all, whoever locked it.
    All(Master),
}

/// Lock status [TB-14].
mod lock_status {
    pub const LOCKED: u8 = 0x01;
    pub const PERMANENT: u8 = 0x02;
    pub const BY_PRIMARY: u8 = 0x04;
    pub const AGAINST_ALL: u8 = 0x08;
}

/// Why a lock stays as it is.
pub(super) enum Held {
    /// It is not this master's to open.
    ByOther,
    /// It cannot be had while that one is.
    Taken,
}

impl State {
    fn lock(&self) -> Option<Lock> {
        if self.revision() == Revision::R5 {
            // It has no command to open a lock that an image may bring along.
            return None;
        }
        let stored = self.stored.lock.map(|StoredLock { against_all, by_primary }| {
            let by = if by_primary { Master::Primary } else { Master::Secondary };
            if against_all { Lock::All(by) } else { Lock::Permanent(by) }
        });
        stored.or(self.temporary_lock.map(Lock::Temporary))
    }

    pub fn locked_against_all(&self) -> bool {
        matches!(self.lock(), Some(Lock::All(_)))
    }

    /// Whether `master` may not change the device.
    pub fn is_locked_out(&self, master: Master) -> bool {
        match self.lock() {
            None => false,
            Some(Lock::All(_)) => true,
            Some(Lock::Temporary(by) | Lock::Permanent(by)) => by != master,
        }
    }

    /// What command 76 tells.
    pub fn lock_status(&self) -> u8 {
        let (kind, by) = match self.lock() {
            None => return 0,
            Some(Lock::Temporary(by)) => (0, by),
            Some(Lock::Permanent(by)) => (lock_status::PERMANENT, by),
            Some(Lock::All(by)) => (lock_status::PERMANENT | lock_status::AGAINST_ALL, by),
        };
        lock_status::LOCKED | kind | if by == Master::Primary { lock_status::BY_PRIMARY } else { 0 }
    }

    /// Locks, or opens with `None`, for `master`.
    pub fn set_lock(&mut self, master: Master, wanted: Option<Lock>) -> Result<(), Held> {
        match self.lock() {
            Some(Lock::All(_)) if wanted.is_some() => return Err(Held::Taken),
            Some(Lock::Temporary(by) | Lock::Permanent(by)) if by != master => {
                return Err(if wanted.is_some() { Held::Taken } else { Held::ByOther });
            }
            _ => {}
        }
        let kept = |against_all, by| StoredLock { against_all, by_primary: by == Master::Primary };
        let (temporary, stored) = match wanted {
            None => (None, None),
            Some(Lock::Temporary(by)) => (Some(by), None),
            Some(Lock::Permanent(by)) => (None, Some(kept(false, by))),
            Some(Lock::All(by)) => (None, Some(kept(true, by))),
        };
        self.unsaved |= self.stored.lock != stored;
        (self.temporary_lock, self.stored.lock) = (temporary, stored);
        Ok(())
    }
}
