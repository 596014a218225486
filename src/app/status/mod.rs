//! The two status octets of a slave message and the status that commands carry [ST-01] to [ST-06].

mod by_command;
mod by_command_read;
mod by_command_recalled;
mod general;

pub use by_command::{codes, list, lists, meaning};
pub use general::{Code, CodeClass, CodeList, Delay, NOT_READ, UNDEFINED, general};

use super::types::enumeration::BitTable;

/// Bit that makes the first status octet a communication error [ST-01].
const COMMUNICATION_ERROR_FLAG: u8 = 0x80;

/// Errors that the slave met in receiving the request: the first status octet with bit 7 set
/// [ST-01]. Bit 04 is reserved, bit 01 undefined; real devices have been seen to send 84.
pub static COMMUNICATION_ERROR: BitTable = BitTable {
    id: "ST-01",
    name: "communication error",
    rows: &[
        (0x80, "communication error"),
        (0x40, "vertical parity error"),
        (0x20, "overrun error"),
        (0x10, "framing error"),
        (0x08, "longitudinal parity error"),
        (0x02, "receive buffer overflow"),
    ],
};

/// The second status octet [ST-02].
pub static FIELD_DEVICE_STATUS: BitTable = BitTable {
    id: "ST-02",
    name: "field device status",
    rows: &[
        (0x80, "device malfunction"),
        (0x40, "configuration changed"),
        (0x20, "cold start"),
        (0x10, "more status available"),
        (0x08, "loop current fixed"),
        (0x04, "loop current saturated"),
        (0x02, "non-primary variable out of limits"),
        (0x01, "primary variable out of limits"),
    ],
};

/// Extended field device status, in commands 0, 9 and 48 [ST-05].
pub static EXTENDED_DEVICE_STATUS: BitTable = BitTable {
    id: "ST-05",
    name: "extended device status",
    rows: &[
        (0x20, "function check"),
        (0x10, "out of specification"),
        (0x08, "failure"),
        (0x04, "critical power failure"),
        (0x02, "device variable alert"),
        (0x01, "maintenance required"),
    ],
};

/// Standardized status 0, octet 8 of command 48 [ST-06].
pub static STANDARDIZED_STATUS_0: BitTable = BitTable {
    id: "ST-06",
    name: "standardized status 0",
    rows: &[
        (0x80, "device configuration locked"),
        (0x40, "electronic defect"),
        (0x20, "environmental conditions out of range"),
        (0x10, "power supply conditions out of range"),
        (0x08, "watchdog reset executed"),
        (0x04, "volatile memory defect"),
        (0x02, "non-volatile memory defect"),
        (0x01, "device variable simulation active"),
    ],
};

/// Standardized status 1, octet 9 of command 48; one source [ST-06].
pub static STANDARDIZED_STATUS_1: BitTable = BitTable {
    id: "ST-06",
    name: "standardized status 1",
    rows: &[
        (0x08, "battery or power supply needs maintenance"),
        (0x04, "event notification overflow"),
        (0x02, "discrete variable simulation active"),
        (0x01, "status simulation active"),
    ],
};

/// Standardized status 2, octet 11 of command 48; one source [ST-06].
pub static STANDARDIZED_STATUS_2: BitTable = BitTable {
    id: "ST-06",
    name: "standardized status 2",
    rows: &[
        (0x10, "stale data notice"),
        (0x08, "sub-device with duplicate id"),
        (0x04, "sub-device mismatch"),
        (0x02, "duplicate master detected"),
        (0x01, "sub-device list changed"),
    ],
};

/// Standardized status 3, octet 12 of command 48; one source [ST-06].
pub static STANDARDIZED_STATUS_3: BitTable = BitTable {
    id: "ST-06",
    name: "standardized status 3",
    rows: &[
        (0x10, "radio failure"),
        (0x08, "block transfer pending"),
        (0x04, "bandwidth allocation pending"),
        (0x01, "capacity denied"),
    ],
};

/// The first status octet of a slave message, told apart by bit 7 [ST-01] [ST-03].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// The slave could not receive the request: the whole octet, bit 7 set [ST-01].
    CommunicationError(u8),
    /// The slave received the request: its response code, 0 to 127 [ST-03].
    Response(u8),
}

impl Status {
    /// What the first status octet is.
    pub const fn of(first: u8) -> Self {
        if first & COMMUNICATION_ERROR_FLAG == 0 {
            Status::Response(first)
        } else {
            Status::CommunicationError(first)
        }
    }

    /// How the request ended for `command`; a communication error is an error.
    pub fn class(self, command: u16) -> CodeClass {
        match self {
            Status::CommunicationError(_) => CodeClass::Error,
            Status::Response(code) => meaning(command, code).0,
        }
    }

    /// The texts to print: what went wrong in communication, or the one meaning of the response
    /// code to `command`, [`UNDEFINED`] if it has none. A communication error that names no fault
    /// is called `communication error`.
    pub fn texts(self, command: u16) -> Vec<&'static str> {
        match self {
            Status::CommunicationError(byte) => {
                let faults = byte & !COMMUNICATION_ERROR_FLAG;
                if faults == 0 {
                    COMMUNICATION_ERROR.set_names(COMMUNICATION_ERROR_FLAG).collect()
                } else {
                    COMMUNICATION_ERROR.set_names(faults).collect()
                }
            }
            Status::Response(code) => vec![meaning(command, code).1.unwrap_or(UNDEFINED)],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::types::enumeration::checks;

    #[test]
    fn all_tables_are_sound() {
        for table in [
            &COMMUNICATION_ERROR,
            &FIELD_DEVICE_STATUS,
            &EXTENDED_DEVICE_STATUS,
            &STANDARDIZED_STATUS_0,
            &STANDARDIZED_STATUS_1,
            &STANDARDIZED_STATUS_2,
            &STANDARDIZED_STATUS_3,
        ] {
            checks::bits_are_sound(table);
        }
    }

    #[test]
    fn communication_error_bits() {
        // [1770] [SCADA] [ICP3] [FCI]: 40 vertical parity, 08 longitudinal parity, 02 overflow.
        assert_eq!(Status::of(0xC8), Status::CommunicationError(0xC8));
        assert_eq!(
            Status::of(0xCA).texts(0),
            ["vertical parity error", "longitudinal parity error", "receive buffer overflow"]
        );
        // The 34 captured error replies of [ICS] carry 84; bit 04 is reserved.
        assert_eq!(Status::of(0x84).texts(0), ["bit 0x04"]);
        assert_eq!(Status::of(0x80).texts(0), ["communication error"]);
        assert_eq!(Status::of(0x88).class(0), CodeClass::Error);
    }

    #[test]
    fn field_device_status_bits() {
        // [BECK] [PFWHA] [EHSWG] [SCADA] [AADV] [VEGAG].
        let names: Vec<_> = FIELD_DEVICE_STATUS.set_names(0x30).collect();
        assert_eq!(names, ["cold start", "more status available"]);
        assert_eq!(FIELD_DEVICE_STATUS.mask("device malfunction"), Some(0x80));
        assert_eq!(FIELD_DEVICE_STATUS.mask("configuration changed"), Some(0x40));
        assert_eq!(FIELD_DEVICE_STATUS.mask("loop current fixed"), Some(0x08));
        assert_eq!(FIELD_DEVICE_STATUS.mask("loop current saturated"), Some(0x04));
        assert_eq!(FIELD_DEVICE_STATUS.mask("primary variable out of limits"), Some(0x01));
    }

    #[test]
    fn status_of_command_48() {
        // [PFWHA] [EHSWG] extended status; [MXQ] [ICS] standardized status 0.
        assert_eq!(EXTENDED_DEVICE_STATUS.mask("maintenance required"), Some(0x01));
        assert_eq!(EXTENDED_DEVICE_STATUS.mask("function check"), Some(0x20));
        assert!(EXTENDED_DEVICE_STATUS.set_names(0xFF).any(|name| name == "bit 0x80"));
        assert_eq!(STANDARDIZED_STATUS_0.mask("non-volatile memory defect"), Some(0x02));
        assert_eq!(STANDARDIZED_STATUS_0.mask("electronic defect"), Some(0x40));
    }

    #[test]
    fn response_codes_depend_on_the_command() {
        // Captured reply to command 54 with response code 5 [ICS].
        assert_eq!(Status::of(5).texts(54), ["too few data bytes"]);
        assert_eq!(Status::of(1).texts(0), ["undefined"]);
        assert_eq!(Status::of(0).class(3), CodeClass::Success);
        assert_eq!(Status::of(8).class(3), CodeClass::Warning);
        assert_eq!(Status::of(9).class(38), CodeClass::Error);
    }

    #[test]
    fn every_octet_has_a_text() {
        for byte in 0..=255u8 {
            let status = Status::of(byte);
            for command in [0, 3, 48, 79, 600, u16::MAX] {
                assert!(!status.texts(command).is_empty());
            }
        }
    }
}
