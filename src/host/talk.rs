//! What fault finding needs of a host besides asking: one try at a time, a device that nobody has found yet, and what others say.

use super::{Ask, Device, Host, HostError, To};
use crate::exchange::Exchange;
use crate::frame::{Address, Frame, FrameType, Master as Role, PollingAddress, Target};
use crate::line::Line;
use crate::transaction::{Kind, Passed, Transaction};

/// What passed on the line that was neither our request nor its answer; counts, each of them stays at its greatest number.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Others {
    /// Requests of a master with our bit [HO-03].
    pub same_role: u32,
    /// Requests of a master with the other bit.
    pub other_role: u32,
    /// Messages of devices in burst mode.
    pub bursts: u32,
    /// Frames that came damaged, and noise.
    pub damaged: u32,
}

impl Others {
    /// Adds what was counted elsewhere.
    pub fn add(&mut self, more: Others) {
        for (sum, n) in [
            (&mut self.same_role, more.same_role),
            (&mut self.other_role, more.other_role),
            (&mut self.bursts, more.bursts),
            (&mut self.damaged, more.damaged),
        ] {
            *sum = sum.saturating_add(n);
        }
    }
}

/// Who looks for devices and listens: a [`Host`], whatever its line is.
pub trait Talk: Ask {
    /// Looks once for the device that `to` names, without a repeat: the exchange, and the device if one answered.
    ///
    /// # Errors
    /// As [`Host::find`].
    fn find_once(&mut self, to: &To) -> Result<(Exchange, Option<Device>), HostError>;

    /// Asks command 0 once at a polling address, 0 to 63, without a repeat; an address beyond has no device.
    ///
    /// # Errors
    /// As [`Host::transact`].
    fn poll_once(&mut self, address: u8) -> Result<Option<Device>, HostError>;

    /// As [`Ask::ask_octets`], without a repeat.
    ///
    /// # Errors
    /// As [`Host::transact`].
    fn ask_once(&mut self, device: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError>;

    /// What others said since the last call; what was overheard is forgotten with it.
    fn take_others(&mut self) -> Others;
}

impl<L: Line> Talk for Host<L> {
    fn find_once(&mut self, to: &To) -> Result<(Exchange, Option<Device>), HostError> {
        self.find_with(to, Some(0))
    }

    fn poll_once(&mut self, address: u8) -> Result<Option<Device>, HostError> {
        match PollingAddress::new(address) {
            Some(address) => Ok(self.poll(address, Some(0))?.1),
            None => Ok(None),
        }
    }

    fn ask_once(&mut self, device: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError> {
        let address = Address::new(self.master.role(), Target::Unique(device.unique));
        let frame = Frame::request(address, command, data).map_err(HostError::TooLong)?;
        self.transact(frame, Some(device.preambles), Some(0))
    }

    fn take_others(&mut self) -> Others {
        let ours = self.master.role();
        let mut others = Others::default();
        self.take_overheard().iter().for_each(|passed| others.add(of(passed, ours)));
        others
    }
}

/// What one item adds.
fn of(passed: &Passed, ours: Role) -> Others {
    let mut one = Others::default();
    match passed {
        Passed::Transaction(t) => {
            let tries = u32::try_from(t.tries.len()).unwrap_or(u32::MAX);
            match asked_by(t) {
                // Our own request, which a device said had come damaged, stands among them.
                Some(_) if was_refused(t) => one.damaged = 1,
                Some(role) if role == ours => one.same_role = tries,
                Some(_) => one.other_role = tries,
                None => one.bursts = u32::from(t.kind == Kind::Burst),
            }
        }
        Passed::Damaged(_) | Passed::Noise(_) => one.damaged = 1,
    }
    one
}

fn asked_by(t: &Transaction) -> Option<Role> {
    let request = t.request().filter(|f| f.frame_type() == FrameType::Stx)?;
    Some(request.address().master)
}

/// Whether the answer tells that the request arrived damaged [ST-01].
fn was_refused(t: &Transaction) -> bool {
    t.reply_frame().and_then(Frame::status).is_some_and(|s| s[0] & 0x80 != 0)
}
