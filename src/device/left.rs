//! What somebody who was at a device before has left of its settings and its selector [DV-110] [DV-112].

use super::burst::{BurstTrigger, nearest_period};
use super::{BurstMessage, Device};
use crate::time::Instant;

/// The burst that is left on: command 3.
const LEFT_ON: u8 = 3;

impl Device {
    /// Somebody writes the polling address at `now`, as by command 6; the loop current mode stays. One above those of its
    /// revision is not taken.
    pub fn write_polling_address(&mut self, now: Instant, address: u8) {
        self.come_to(now);
        if address <= self.state.config.identity.highest_polling() {
            let mode = self.state.stored.loop_current_mode_enabled;
            self.state.set_loop_configuration(now, address, mode);
            self.state.count_write();
            self.turns.set_place(address);
            self.state.note_status();
        }
    }

    /// Somebody turns burst message 0 on at `now`, for command 3 without a trigger, with the update period nearest to this one, in
    /// 1/32 ms, that is not shorter. Gives what the message was.
    pub fn leave_burst_on(&mut self, now: Instant, period: u32) -> Option<BurstMessage> {
        let was = *self.state.stored.burst.first()?;
        let update_period = nearest_period(period);
        let maximum_update_period = was.maximum_update_period.max(update_period);
        let trigger = BurstTrigger::CONTINUOUS;
        let left =
            BurstMessage { on: true, command: LEFT_ON, update_period, maximum_update_period, trigger, ..was };
        self.write_burst_message(now, left);
        Some(was)
    }

    /// Somebody writes burst message 0 at `now`, as by commands 103, 104 and 107 to 109; one that the device had counts as sound.
    pub fn write_burst_message(&mut self, now: Instant, message: BurstMessage) {
        self.come_to(now);
        let Some(place) = self.state.stored.burst.first_mut() else { return };
        let was_on = core::mem::replace(place, message).on;
        self.state.burst_was_set(now, 0, message.on && !was_on);
        self.state.count_write();
    }

    /// The selector at a positioner whose valve is computed is turned to local at `now`, or back; others have none [DV-112].
    pub fn set_local(&mut self, now: Instant, local: bool) {
        self.come_to(now);
        let (kind, around) = self.state.parts();
        if let Some(own) = kind.positioning_mut() {
            own.set_local(around, now, local);
        }
        self.state.note_status();
    }

    /// Whether its selector stands on local [DV-112].
    pub fn is_local(&self) -> bool {
        self.state.positioning().is_some_and(|own| own.is_local())
    }
}
