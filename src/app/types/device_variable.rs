//! Codes and status of device variables [TY-08] [TY-09].

use core::fmt;

use super::enumeration::Table;

/// Device variable codes [TY-09]: 0 to 242 number the device's own variables, the rest are the same
/// on every device.
pub static DEVICE_VARIABLE_CODE: Table = Table {
    id: "TY-09",
    name: "device variable code",
    rows: &[
        (243, "battery life"),
        (244, "percent of range"),
        (245, "loop current"),
        (246, "primary variable"),
        (247, "secondary variable"),
        (248, "tertiary variable"),
        (249, "quaternary variable"),
        (250, "not used"),
    ],
    ranges: &[(0, 242, "device variable")],
};

/// Quality of a value: bits 7 and 6 of the variable status [TY-08].
static PROCESS_DATA: [&str; 4] = ["bad", "poor accuracy", "manual or fixed", "good"];

/// Limits that a value has met: bits 5 and 4 of the variable status [TY-08].
static LIMIT: [&str; 4] = ["not limited", "limited low", "limited high", "constant"];

/// The status octet that comes with the value of a device variable [TY-08].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct VariableStatus(pub u8);

impl VariableStatus {
    /// Quality of the value: `bad`, `poor accuracy`, `manual or fixed`, `good` (bits 7, 6).
    pub fn process_data(self) -> &'static str {
        PROCESS_DATA[usize::from(self.0 >> 6)]
    }

    /// `not limited`, `limited low`, `limited high`, `constant` (bits 5, 4).
    pub fn limit(self) -> &'static str {
        LIMIT[usize::from(self.0 >> 4 & 3)]
    }

    /// Whether the device has more status on this variable (bit 3).
    pub const fn more(self) -> bool {
        self.0 & 0x08 != 0
    }

    /// The bits that depend on the device family, 0 to 7 (bits 2 to 0).
    pub const fn family_bits(self) -> u8 {
        self.0 & 0x07
    }
}

impl fmt::Display for VariableStatus {
    /// `good, not limited`, with `, more status` and `, family bits 5` where they apply.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}, {}", self.process_data(), self.limit())?;
        if self.more() {
            f.write_str(", more status")?;
        }
        if self.family_bits() != 0 {
            write!(f, ", family bits {}", self.family_bits())?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::types::enumeration::checks;

    #[test]
    fn published_status_octets() {
        // C0 is good, not limited [1756]; 30 is bad, constant, for unsupported variables [F57077].
        assert_eq!(VariableStatus(0xC0).to_string(), "good, not limited");
        assert_eq!(VariableStatus(0x30).to_string(), "bad, constant");
    }

    #[test]
    fn bit_layout() {
        // [1756]: 01 poor accuracy, 10 high, bit 3 more, bits 2-0 family.
        let status = VariableStatus(0b0110_1101);
        assert_eq!(status.process_data(), "poor accuracy");
        assert_eq!(status.limit(), "limited high");
        assert!(status.more());
        assert_eq!(status.family_bits(), 5);
        assert_eq!(status.to_string(), "poor accuracy, limited high, more status, family bits 5");
        assert_eq!(VariableStatus(0x90).to_string(), "manual or fixed, limited low");
    }

    #[test]
    fn every_status_octet_has_its_own_text() {
        let texts: std::collections::BTreeSet<_> = (0..=255).map(|b| VariableStatus(b).to_string()).collect();
        assert_eq!(texts.len(), 256);
    }

    #[test]
    fn codes() {
        // [F29592]: 243 battery life, 244 percent of range, 245 loop current, 246 to 249 PV to QV.
        assert_eq!(DEVICE_VARIABLE_CODE.text(245), Some("loop current"));
        assert_eq!(DEVICE_VARIABLE_CODE.text(246), Some("primary variable"));
        assert_eq!(DEVICE_VARIABLE_CODE.text(242), Some("device variable"));
        assert_eq!(DEVICE_VARIABLE_CODE.text(251), None);
        checks::table_is_sound(&DEVICE_VARIABLE_CODE);
    }
}
