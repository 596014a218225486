//! What the device says of itself in its status octets and in command 48.

use super::faults;
use super::kind::PRIMARY;
use super::state::State;
use super::values::Values;
use crate::app::command::{Revision, Value, spec};
use crate::frame::Master;

/// Field device status, second octet [ST-02].
mod field_status {
    pub const MALFUNCTION: u8 = 0x80;
    pub const CONFIGURATION_CHANGED: u8 = 0x40;
    pub const COLD_START: u8 = 0x20;
    pub const MORE_STATUS: u8 = 0x10;
    pub const LOOP_CURRENT_FIXED: u8 = 0x08;
    pub const LOOP_CURRENT_SATURATED: u8 = 0x04;
    pub const OTHER_OUT_OF_LIMITS: u8 = 0x02;
    pub const PRIMARY_OUT_OF_LIMITS: u8 = 0x01;
}

/// Extended field device status [ST-05].
const MAINTENANCE: u8 = 0x01;
const FAILURE: u8 = 0x08;
const OUT_OF_SPECIFICATION: u8 = 0x10;
const FUNCTION_CHECK: u8 = 0x20;
/// Standardized status 0 [ST-06].
const SIMULATION_ACTIVE: u8 = 0x01;
const NON_VOLATILE_MEMORY_DEFECT: u8 = 0x02;
const ELECTRONIC_DEFECT: u8 = 0x40;
const CONFIGURATION_LOCKED: u8 = 0x80;
/// The one analog channel, in the octets for saturated and fixed channels [TB-11].
const CHANNEL_1: u8 = 0x01;

fn bits(of: &[(bool, u8)]) -> u8 {
    of.iter().fold(0, |octet, &(set, bit)| if set { octet | bit } else { octet })
}

impl State {
    fn primary_out_of_limits(&self) -> bool {
        self.is_out_of_limits(PRIMARY)
    }

    fn other_out_of_limits(&self) -> bool {
        (PRIMARY + 1..self.quantities().len()).any(|index| self.is_out_of_limits(index))
    }

    fn has_failed(&self) -> bool {
        self.memory_defect || self.broken || self.kind.has_sensor_fault()
    }

    fn simulates(&self) -> bool {
        self.simulated.iter().any(Option::is_some)
    }

    /// The second status octet of an answer to `master` [ST-02].
    pub fn field_device_status(&self, master: Master) -> u8 {
        let i = master.index();
        let current = self.loop_current(self.now);
        let more = match self.revision() {
            Revision::R7 => self.more_status[i],
            Revision::R5 | Revision::R6 => self.reports_something(),
        };
        let octet = bits(&[
            (self.has_failed(), field_status::MALFUNCTION),
            (self.stored.configuration_changed[i], field_status::CONFIGURATION_CHANGED),
            (self.cold_start[i], field_status::COLD_START),
            (more, field_status::MORE_STATUS),
            (current.is_fixed, field_status::LOOP_CURRENT_FIXED),
            (current.is_saturated, field_status::LOOP_CURRENT_SATURATED),
            (self.other_out_of_limits(), field_status::OTHER_OUT_OF_LIMITS),
            (self.primary_out_of_limits(), field_status::PRIMARY_OUT_OF_LIMITS),
        ]);
        faults::status(self, master, octet)
    }

    /// [ST-05]; which of our conditions set which bit is our choice.
    pub fn extended_status(&self) -> u8 {
        let condition = self.kind.condition();
        let is_out =
            self.primary_out_of_limits() || self.other_out_of_limits() || condition.out_of_specification;
        bits(&[
            (condition.maintenance, MAINTENANCE),
            (self.has_failed(), FAILURE),
            (is_out, OUT_OF_SPECIFICATION),
            (self.simulates() || condition.function_check, FUNCTION_CHECK),
        ])
    }

    /// The values of command 48's reply.
    pub fn status_values(&self) -> Values {
        let status_0 = bits(&[
            (self.simulates(), SIMULATION_ACTIVE),
            (self.memory_defect, NON_VOLATILE_MEMORY_DEFECT),
            (self.broken, ELECTRONIC_DEFECT),
            (self.locked_against_all(), CONFIGURATION_LOCKED),
        ]);
        let condition = self.kind.condition();
        let more = if self.memory_defect { condition.if_memory_defect } else { [0, 0] };
        let (device_0, device_1) = (condition.own[0] | more[0], condition.own[1] | more[1]);
        let current = self.loop_current(self.now);
        let saturated = bits(&[(current.is_saturated, CHANNEL_1)]);
        let fixed = bits(&[(current.is_fixed, CHANNEL_1)]);
        if self.revision() == Revision::R5 {
            // Length and contents are the device's own affair in this revision [CM-048] [DV-04].
            let own = vec![status_0, saturated, fixed, self.extended_status(), device_0, device_1];
            return Values::new().and("device_status", Value::Octets(own));
        }
        Values::new()
            .and("device_status", Value::Octets(vec![device_0, device_1, 0, 0, 0, 0]))
            .number("extended_status", self.extended_status())
            .number("operating_mode", 0u8)
            .number("standardized_status_0", status_0)
            .number("standardized_status_1", 0u8)
            .number("analog_saturated", saturated)
            .number("standardized_status_2", 0u8)
            .number("standardized_status_3", 0u8)
            .number("analog_fixed", fixed)
    }

    /// The octets of command 48's reply.
    pub fn additional_status(&self) -> Vec<u8> {
        let layout = spec(48).and_then(|s| s.form(self.revision())).map_or(&[][..], |f| f.reply);
        self.status_values().encode(layout)
    }

    pub fn reports_something(&self) -> bool {
        self.reported.iter().any(|&o| o != 0)
    }

    /// To be called whenever what command 48 says may have changed [ST-07].
    pub fn note_status(&mut self) {
        let now = self.additional_status();
        if now != self.reported {
            self.reported = now;
            self.more_status = [true; 2];
        }
    }
}
