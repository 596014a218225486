//! Who the mock is: what command 0 tells and the unique address that follows from it.

use super::config::ConfigError;
use crate::app::command::Revision;
use crate::app::command::described::DeviceType;
use crate::frame::UniqueAddress;

/// Manufacturer code of every mock: 253, "special", so that it passes for no real device [DV-10].
pub const MANUFACTURER: u16 = 0x00FD;

/// The identity of a device [CM-000].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Identity {
    /// Revision of the protocol that it speaks.
    pub revision: Revision,
    /// Revisions 5 and 6: the device type, 0 to 255. Revision 7: the expanded device type.
    pub device_type: u16,
    /// Device id, 24 bits.
    pub device_id: u32,
    /// Device revision.
    pub device_revision: u8,
    /// Software revision.
    pub software_revision: u8,
    /// Hardware revision, 0 to 31.
    pub hardware_revision: u8,
    /// Preambles that it wants in requests, 5 to 20 [LL-11].
    pub preambles_request: u8,
    /// Preambles that it sends before its answers, 5 to 20 [FR-02] [LL-11].
    pub preambles_reply: u8,
    /// Flags [TB-05].
    pub flags: u8,
    /// Private label code; revision 5 shows its low octet, in command 15.
    pub private_label: u16,
    /// Device profile [TB-06]; revision 7 alone shows it.
    pub device_profile: u8,
}

impl Identity {
    /// The mock's identity in a revision, with device types of our own: 51, 61 and FD71 in
    /// hexadecimal. `device_id` is 24 bits.
    pub const fn new(revision: Revision, device_id: u32) -> Self {
        Identity {
            revision,
            device_type: match revision {
                Revision::R5 => 0x51,
                Revision::R6 => 0x61,
                Revision::R7 => 0xFD71,
            },
            device_id,
            device_revision: 1,
            software_revision: 1,
            hardware_revision: 1,
            preambles_request: 5,
            preambles_reply: 5,
            flags: 0,
            private_label: MANUFACTURER,
            device_profile: 1,
        }
    }

    /// The unique address: manufacturer code and device type before revision 7, expanded device type
    /// from then on, then the device id [FR-06].
    pub const fn unique_address(&self) -> UniqueAddress {
        let [high, low] = self.device_type.to_be_bytes();
        let type_octets = match self.revision {
            Revision::R5 | Revision::R6 => [MANUFACTURER as u8, low],
            Revision::R7 => [high, low],
        };
        let [_, a, b, c] = self.device_id.to_be_bytes();
        UniqueAddress::new(type_octets, [a, b, c])
    }

    /// The device type as command 0 tells it: before revision 7 manufacturer code and device type, one octet each.
    pub const fn full_type(&self) -> DeviceType {
        let [_, low] = self.device_type.to_be_bytes();
        match self.revision {
            Revision::R5 | Revision::R6 => {
                DeviceType::Short { manufacturer: MANUFACTURER as u8, device_type: low }
            }
            Revision::R7 => DeviceType::Expanded(self.device_type),
        }
    }

    /// Highest polling address of the revision [FR-05].
    pub const fn highest_polling(&self) -> u8 {
        match self.revision {
            Revision::R5 => 15,
            Revision::R6 | Revision::R7 => 63,
        }
    }

    /// Whether every part fits its field.
    ///
    /// # Errors
    /// The first that does not.
    pub fn check(&self) -> Result<(), ConfigError> {
        let bad = |field, why: String| Err(ConfigError { field, why });
        if self.revision < Revision::R7 && self.device_type > 0xFF {
            let why = format!("{} does not fit: revision {} has 0 to 255", self.device_type, self.revision);
            return bad("device_type", why);
        }
        if self.device_id > 0xFF_FFFF {
            return bad("device_id", format!("{} does not fit: 0 to 16777215", self.device_id));
        }
        if self.hardware_revision > 31 {
            return bad("hardware_revision", format!("{} does not fit: 0 to 31", self.hardware_revision));
        }
        for (field, n) in
            [("preambles_request", self.preambles_request), ("preambles_reply", self.preambles_reply)]
        {
            if !(5..=20).contains(&n) {
                return bad(field, format!("{n} is outside 5 to 20"));
            }
        }
        if self.unique_address().is_broadcast() {
            return bad("device_id", "with this device type it makes the broadcast address".into());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// [FR-06]: FD cut to six bits is 3D (FD − C0); in revision 7 so is the upper octet of FD71.
    #[test]
    fn addresses_by_revision() {
        let octets = |r| Identity::new(r, 0x12_3456).unique_address().octets();
        assert_eq!(octets(Revision::R5), [0x3D, 0x51, 0x12, 0x34, 0x56]);
        assert_eq!(octets(Revision::R6), [0x3D, 0x61, 0x12, 0x34, 0x56]);
        assert_eq!(octets(Revision::R7), [0x3D, 0x71, 0x12, 0x34, 0x56]);
    }

    #[test]
    fn what_does_not_fit_is_told() {
        let good = Identity::new(Revision::R5, 1);
        assert_eq!(good.check(), Ok(()));
        let field = |i: Identity| i.check().unwrap_err().field;
        assert_eq!(field(Identity { device_type: 256, ..good }), "device_type");
        assert_eq!(field(Identity { device_id: 0x100_0000, ..good }), "device_id");
        assert_eq!(field(Identity { hardware_revision: 32, ..good }), "hardware_revision");
        assert_eq!(field(Identity { preambles_reply: 4, ..good }), "preambles_reply");
        assert_eq!(field(Identity { preambles_request: 21, ..good }), "preambles_request");
        // C000: the two top bits are not part of the address.
        let silent = Identity { device_type: 0xC000, ..Identity::new(Revision::R7, 0) };
        assert_eq!(field(silent), "device_id");
    }
}
