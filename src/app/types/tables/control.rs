//! Codes with which commands control a device: locks, bursts, trims, clock [TB-13] to [TB-25].

use crate::app::types::enumeration::{BitTable, Table};

const fn table(id: &'static str, name: &'static str, rows: &'static [(u8, &'static str)]) -> Table {
    Table { id, name, rows, ranges: &[] }
}

/// How a device is locked, command 71 [TB-13].
pub static LOCK_DEVICE: Table = table(
    "TB-13",
    "lock device",
    &[(0, "unlocked"), (1, "temporary lock"), (2, "permanent lock"), (3, "lock against all")],
);

/// Whether and by whom a device is locked, command 76 [TB-14]; 04 clear is the secondary master.
pub static LOCK_STATUS: BitTable = BitTable {
    id: "TB-14",
    name: "lock status",
    rows: &[
        (0x10, "by gateway"),
        (0x08, "configuration locked against all"),
        (0x04, "by primary master"),
        (0x02, "permanent"),
        (0x01, "locked"),
    ],
};

/// What command 79 does with a device variable [TB-15].
pub static WRITE_DEVICE_VARIABLE: Table =
    table("TB-15", "write device variable", &[(0, "normal"), (1, "fixed value")]);

/// Whether a device shows itself, command 72 [TB-16]; one source.
pub static SQUAWK_CONTROL: Table = table("TB-16", "squawk control", &[(0, "off"), (1, "on"), (2, "once")]);

/// On which links burst messages are sent, commands 105 and 109 [TB-17]. A device has been seen to accept 4.
pub static BURST_CONTROL: Table = Table {
    id: "TB-17",
    name: "burst mode control",
    rows: &[(0, "off"), (1, "on token-passing link"), (2, "on TDMA link"), (3, "on both links")],
    ranges: &[(250, 253, "reserved")],
};

/// What makes a burst message be sent, commands 104 and 105 [TB-18].
pub static BURST_TRIGGER: Table = table(
    "TB-18",
    "burst trigger mode",
    &[(0, "continuous"), (1, "window"), (2, "rising"), (3, "falling"), (4, "on change")],
);

/// What command 39 does with the memory [TB-19].
pub static EEPROM_CONTROL: Table = table("TB-19", "EEPROM control", &[(0, "burn"), (1, "restore")]);

/// State of the clock, octet 14 of command 90 [TB-20]; one source.
pub static CLOCK_FLAGS: BitTable = BitTable {
    id: "TB-20",
    name: "clock flags",
    rows: &[(0x02, "clock never set"), (0x01, "non-volatile clock")],
};

/// What command 89 does with date and time [TB-21]; one source.
pub static TIME_SET: Table =
    table("TB-21", "time set", &[(0, "read time of receipt"), (1, "write date and time")]);

/// What a trend holds, commands 91 and 92 [TB-22]; one source.
pub static TREND_CONTROL: Table =
    table("TB-22", "trend control", &[(0, "off"), (1, "single point"), (2, "filtered"), (3, "average")]);

/// Trim points, commands 81 and 82 [TB-23]; one source.
pub static TRIM_POINTS: Table =
    table("TB-23", "trim points", &[(0, "none"), (1, "lower"), (2, "upper"), (3, "both")]);

/// Which master an I/O system is, commands 74 and 87 [TB-24]; one source.
pub static MASTER_MODE: Table =
    table("TB-24", "master mode", &[(0, "secondary master"), (1, "primary master")]);

/// Properties of a device variable, octet 27 of command 54 [TB-25]; one source.
pub static VARIABLE_PROPERTIES: BitTable = BitTable {
    id: "TB-25",
    name: "device variable properties",
    rows: &[(0x80, "simulated"), (0x01, "input")],
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_that_two_sources_give() {
        // [MXQ] p58-59 and [ICS]: lock codes 0 to 3, write device variable 0 and 1.
        assert_eq!(LOCK_DEVICE.text(1), Some("temporary lock"));
        assert_eq!(LOCK_DEVICE.text(4), None);
        assert_eq!(WRITE_DEVICE_VARIABLE.text(1), Some("fixed value"));
        // [MXQ] p59 and [ICS]: 01 locked, 02 permanent, 04 by the primary master.
        let names: Vec<_> = LOCK_STATUS.set_names(0x07).collect();
        assert_eq!(names, ["by primary master", "permanent", "locked"]);
        // [BIF] p50 and [MXQ] p59: 0 continuous, 1 window. [ICS] and [1794A]: 0 burn, 1 restore.
        assert_eq!(BURST_TRIGGER.text(1), Some("window"));
        assert_eq!(EEPROM_CONTROL.text(0), Some("burn"));
        // [BIF] p48: 250 to 253 reserved. A captured device [ICS] takes 4, which nobody explains.
        assert_eq!(BURST_CONTROL.text(250), Some("reserved"));
        assert_eq!(BURST_CONTROL.text(4), None);
    }
}
