//! Enumerations and bit fields of message contents [TB-01] to [TB-25].
//!
//! The numbers are those of the protocol notes, the words are ours.

mod control;

pub use control::*;

use super::enumeration::{BitTable, Table};

/// What an analog output does when the device has failed [TB-01].
pub static ALARM_SELECTION: Table = Table {
    id: "TB-01",
    name: "alarm selection",
    rows: &[
        (0, "high"),
        (1, "low"),
        (239, "hold last output"),
        (250, "not used"),
        (251, "none"),
        (252, "unknown"),
        (253, "special"),
    ],
    ranges: &[(240, 249, "manufacturer")],
};

/// Relation between a value and its percent of range [TB-02].
///
/// The ratios of equal percentage and quick opening are a reading of the source's labels.
pub static TRANSFER_FUNCTION: Table = Table {
    id: "TB-02",
    name: "transfer function",
    rows: &[
        (0, "linear"),
        (1, "square root"),
        (2, "square root of third power"),
        (3, "square root of fifth power"),
        (4, "special curve"),
        (5, "square"),
        (6, "square root with cut-off"),
        (10, "equal percentage 1:25"),
        (11, "equal percentage 1:33"),
        (12, "equal percentage 1:50"),
        (15, "quick opening 1:25"),
        (16, "quick opening 1:33"),
        (17, "quick opening 1:50"),
        (30, "hyperbolic 0.10"),
        (31, "hyperbolic 0.20"),
        (32, "hyperbolic 0.30"),
        (34, "hyperbolic 0.50"),
        (37, "hyperbolic 0.70"),
        (40, "hyperbolic 1.00"),
        (41, "hyperbolic 1.50"),
        (42, "hyperbolic 2.00"),
        (43, "hyperbolic 3.00"),
        (44, "hyperbolic 4.00"),
        (45, "hyperbolic 5.00"),
        (100, "flat bottom tank"),
        (101, "conical or pyramidal bottom tank"),
        (102, "parabolic bottom tank"),
        (103, "spherical bottom tank"),
        (104, "angled bottom tank"),
        (105, "flat end cylinder tank"),
        (106, "parabolic end cylinder tank"),
        (107, "spherical tank"),
        (230, "discrete"),
        (231, "square root plus special curve"),
        (232, "square root of third power plus special curve"),
        (233, "square root of fifth power plus special curve"),
        (250, "not used"),
        (251, "none"),
        (252, "unknown"),
        (253, "special"),
    ],
    ranges: &[(210, 229, "manufacturer"), (234, 249, "manufacturer")],
};

/// Whether configuration may be written [TB-03].
pub static WRITE_PROTECT: Table = Table {
    id: "TB-03",
    name: "write protect",
    rows: &[
        (0, "not write protected"),
        (1, "write protected"),
        (250, "not used"),
        (251, "none"),
        (252, "unknown"),
        (253, "special"),
    ],
    ranges: &[],
};

/// How the device signals: the low three bits of the octet after the software revision in the
/// identity [TB-04].
pub static PHYSICAL_SIGNALLING: Table = Table {
    id: "TB-04",
    name: "physical signalling",
    rows: &[
        (0, "Bell 202 current"),
        (1, "Bell 202 voltage"),
        (2, "RS-485"),
        (3, "RS-232"),
        (4, "wireless"),
        (6, "special"),
    ],
    ranges: &[],
};

/// Flags of the identity [TB-05].
pub static FLAGS: BitTable = BitTable {
    id: "TB-05",
    name: "flags",
    rows: &[
        (0x80, "C8PSK in multidrop only"),
        (0x40, "C8PSK capable"),
        (0x10, "safety protocol capable"),
        (0x08, "IEEE 802.15.4"),
        (0x04, "protocol bridge"),
        (0x02, "EEPROM control"),
        (0x01, "multi-sensor"),
    ],
};

/// Device profile of the identity [TB-06].
pub static DEVICE_PROFILE: Table = Table {
    id: "TB-06",
    name: "device profile",
    rows: &[
        (1, "process automation"),
        (2, "discrete"),
        (3, "hybrid"),
        (4, "I/O system"),
        (65, "HART-IP process automation"),
        (66, "HART-IP discrete"),
        (67, "HART-IP hybrid"),
        (68, "HART-IP I/O system"),
        (129, "wireless process automation"),
        (130, "wireless discrete"),
        (131, "wireless hybrid"),
        (132, "gateway"),
        (140, "access point"),
        (141, "wireless process adapter"),
        (142, "wireless discrete adapter"),
        (144, "handheld"),
    ],
    ranges: &[],
};

/// Device family of a device variable [TB-07].
pub static FAMILY: Table = Table {
    id: "TB-07",
    name: "device family",
    rows: &[
        (4, "temperature"),
        (5, "pressure"),
        (6, "valve or actuator"),
        (7, "simple PID control"),
        (8, "pH"),
        (9, "conductivity"),
        (10, "totaliser"),
        (11, "level"),
        (12, "vortex flow"),
        (13, "magnetic flow"),
        (14, "Coriolis flow"),
        (15, "modulating final control"),
        (250, "not used"),
    ],
    ranges: &[(0, 3, "reserved")],
};

/// Classification of a device variable, which also chooses its expansion units [TB-08].
///
/// One source gives 91 to valves and actuators; two call it reserved, and so does this table.
pub static CLASSIFICATION: Table = Table {
    id: "TB-08",
    name: "classification",
    rows: &[
        (0, "not classified"),
        (64, "temperature"),
        (65, "pressure"),
        (66, "volumetric flow"),
        (67, "velocity"),
        (68, "volume"),
        (69, "length"),
        (70, "time"),
        (71, "mass"),
        (72, "mass flow"),
        (73, "mass per volume"),
        (74, "viscosity"),
        (75, "angular velocity"),
        (76, "area"),
        (77, "energy"),
        (78, "force"),
        (79, "power"),
        (80, "frequency"),
        (81, "analytical"),
        (82, "capacitance"),
        (83, "voltage"),
        (84, "current"),
        (85, "resistance"),
        (86, "angle"),
        (87, "conductance"),
        (88, "volume per volume"),
        (89, "volume per mass"),
        (90, "concentration"),
        (96, "acceleration"),
        (97, "turbidity"),
        (98, "temperature difference"),
        (99, "gas volume flow per second"),
        (100, "gas volume flow per minute"),
        (101, "gas volume flow per hour"),
        (102, "gas volume flow per day"),
        (103, "liquid volume flow per second"),
        (104, "liquid volume flow per minute"),
        (105, "liquid volume flow per hour"),
        (106, "liquid volume flow per day"),
        (107, "thermal expansion"),
        (108, "volumetric energy density"),
        (109, "mass energy density"),
        (110, "torque"),
        (111, "miscellaneous"),
        (112, "torsional stiffness"),
        (113, "linear stiffness"),
    ],
    ranges: &[(1, 63, "reserved"), (91, 95, "reserved")],
};

/// Whether the loop current follows the process [TB-09].
pub static LOOP_CURRENT_MODE: Table =
    Table { id: "TB-09", name: "loop current mode", rows: &[(0, "disabled"), (1, "enabled")], ranges: &[] };

/// Flags of an analog channel; 01 clear is an output [TB-10].
pub static ANALOG_CHANNEL_FLAGS: BitTable =
    BitTable { id: "TB-10", name: "analog channel flags", rows: &[(0x80, "simulated"), (0x01, "input")] };

/// The four channel bits of command 48's two octets on analog channels. Sources number them from
/// the first channel or from the second one (secondary to quinary); ours are numbered from 1.
static ANALOG_CHANNELS: &[(u8, &str)] = &[
    (0x08, "analog channel 4"),
    (0x04, "analog channel 3"),
    (0x02, "analog channel 2"),
    (0x01, "analog channel 1"),
];

/// Analog channels that have met the end of their range, octet 10 of command 48 [TB-11].
pub static ANALOG_CHANNELS_SATURATED: BitTable =
    BitTable { id: "TB-11", name: "analog channels saturated", rows: ANALOG_CHANNELS };

/// Analog channels held at a value, octet 13 of command 48 [TB-11].
pub static ANALOG_CHANNELS_FIXED: BitTable =
    BitTable { id: "TB-11", name: "analog channels fixed", rows: ANALOG_CHANNELS };

/// Operating mode of the device, octet 7 of command 48: no value but 0 has been given out [TB-12].
pub static OPERATING_MODE: Table =
    Table { id: "TB-12", name: "device operating mode", rows: &[(0, "reserved")], ranges: &[] };

/// All enumerations, in order of requirement.
pub static ENUMERATIONS: [&Table; 19] = [
    &ALARM_SELECTION,
    &TRANSFER_FUNCTION,
    &WRITE_PROTECT,
    &PHYSICAL_SIGNALLING,
    &DEVICE_PROFILE,
    &FAMILY,
    &CLASSIFICATION,
    &LOOP_CURRENT_MODE,
    &OPERATING_MODE,
    &LOCK_DEVICE,
    &WRITE_DEVICE_VARIABLE,
    &SQUAWK_CONTROL,
    &BURST_CONTROL,
    &BURST_TRIGGER,
    &EEPROM_CONTROL,
    &TIME_SET,
    &TREND_CONTROL,
    &TRIM_POINTS,
    &MASTER_MODE,
];

/// All bit fields, in order of requirement.
pub static BIT_FIELDS: [&BitTable; 7] = [
    &FLAGS,
    &ANALOG_CHANNEL_FLAGS,
    &ANALOG_CHANNELS_SATURATED,
    &ANALOG_CHANNELS_FIXED,
    &LOCK_STATUS,
    &CLOCK_FLAGS,
    &VARIABLE_PROPERTIES,
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::types::enumeration::checks;

    #[test]
    fn all_tables_are_sound() {
        ENUMERATIONS.iter().for_each(|t| checks::table_is_sound(t));
        BIT_FIELDS.iter().for_each(|t| checks::bits_are_sound(t));
    }

    #[test]
    fn codes_that_two_sources_give() {
        // [SFUS] [ICS] alarm 1 low; [MXQ] 250 not used; [MXQ] [SFUS] transfer function 0 linear.
        assert_eq!(ALARM_SELECTION.text(1), Some("low"));
        assert_eq!(ALARM_SELECTION.text(250), Some("not used"));
        assert_eq!(TRANSFER_FUNCTION.text(0), Some("linear"));
        // [BIF] [MXQ] [ICS] write protect; 251 also [SFUS].
        assert_eq!(WRITE_PROTECT.code("write protected"), Some(1));
        assert_eq!(WRITE_PROTECT.text(251), Some("none"));
        // [BECK] [BIF] [ICS] signalling; [BIF] [ICS] profiles 129, 144; [MXQ] family 6.
        assert_eq!(PHYSICAL_SIGNALLING.text(0), Some("Bell 202 current"));
        assert_eq!(PHYSICAL_SIGNALLING.text(5), None);
        assert_eq!(DEVICE_PROFILE.text(129), Some("wireless process automation"));
        assert_eq!(DEVICE_PROFILE.text(144), Some("handheld"));
        assert_eq!(FAMILY.text(6), Some("valve or actuator"));
        // [BIF] [ICS] classification 64, 70, 80, 83; [BIF] [SFUS] [ICS] loop current mode.
        assert_eq!(CLASSIFICATION.text(64), Some("temperature"));
        assert_eq!(CLASSIFICATION.text(83), Some("voltage"));
        assert_eq!(LOOP_CURRENT_MODE.text(1), Some("enabled"));
    }

    #[test]
    fn ranges_of_codes() {
        // [ICS]: 240-249 manufacturer; 210-229 and 234-249 for transfer functions; 230 discrete.
        assert_eq!(ALARM_SELECTION.text(240), Some("manufacturer"));
        assert_eq!(TRANSFER_FUNCTION.text(229), Some("manufacturer"));
        assert_eq!(TRANSFER_FUNCTION.text(230), Some("discrete"));
        assert_eq!(TRANSFER_FUNCTION.text(234), Some("manufacturer"));
        assert_eq!(TRANSFER_FUNCTION.text(209), None);
        assert_eq!(CLASSIFICATION.text(63), Some("reserved"));
        assert_eq!(CLASSIFICATION.text(114), None);
    }

    #[test]
    fn input_channel_of_an_actuator() {
        // [MXQ] [BIF] [ICS]: bit 01 set is an input of the device.
        let names: Vec<_> = ANALOG_CHANNEL_FLAGS.set_names(0x01).collect();
        assert_eq!(names, ["input"]);
        // [BIF] [ICS]: 01 multi-sensor, 04 protocol bridge; 20 has no meaning.
        let names: Vec<_> = FLAGS.set_names(0x25).collect();
        assert_eq!(names, ["bit 0x20", "protocol bridge", "multi-sensor"]);
    }
}
