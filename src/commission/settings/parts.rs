//! What of a device is a setting: the pairs of commands that read and write it, as a table.
//!
//! No octet is described here: names are those of the commands' rows, which know where they stand.

use crate::app::command::Described;
use crate::app::command::setting::{Each, Part, Write};

impl Part {
    /// The part with this heading, of those that every device shares.
    pub fn of(heading: &str) -> Option<&'static Part> {
        PARTS.iter().find(|p| p.heading == heading)
    }
}

/// [`PARTS`], and behind them those of a device type that is described.
pub fn parts(described: Option<&'static Described>) -> impl Iterator<Item = &'static Part> {
    PARTS.iter().chain(described.map_or(&[][..], Described::settings))
}

/// A value that is only restored when that is asked for in so many words: the device would answer
/// elsewhere, and who knows it by its old address would lose sight of it.
pub const POLLING_ADDRESS: &str = "polling_address";

/// Values that are 0 for off: what a device sends unasked [TB-17], and the loop current's hold on the valve
/// [TB-09]. Off is written before everything else, on after it [HO-06].
pub const SWITCHES: &[&str] = &["burst_control", "loop_current_mode"];

/// The heading of the part by which devices are told apart.
pub const IDENTITY: &str = "identity";

const fn once(
    heading: &'static str,
    read: u8,
    writes: &'static [Write],
    facts: &'static [&'static str],
) -> Part {
    Part { heading, each: Each::Once, read, writes, facts, rows: None }
}

const fn write(command: u8, fields: &'static [&'static str]) -> Write {
    Write { command, fields }
}

/// All parts, in the order in which they are read and written.
///
/// The order of writing: what something is goes before what it is worth. First what is assigned, since
/// range and damping are those of the variable assigned to PV; then units, since a device converts what it
/// stores when its unit changes; then transfer function, range and damping, which are given in those units;
/// then what is sent. Switches depart from it: [`SWITCHES`].
pub static PARTS: &[Part] = &[
    once(
        IDENTITY,
        0,
        &[],
        // Not its counter and its status, which change by themselves.
        &[
            "manufacturer",
            "manufacturer_id",
            "device_type",
            "expanded_device_type",
            "device_id",
            "universal_revision",
            "device_revision",
            "software_revision",
            "hardware_revision",
            "physical_signalling",
            "flags",
            "preambles_request",
            "last_device_variable",
            "private_label",
            "device_profile",
        ],
    ),
    once(
        "transducer",
        14,
        &[],
        &["serial_number", "transducer_unit", "upper_limit", "lower_limit", "minimum_span"],
    ),
    once("tag", 13, &[write(18, &["tag", "descriptor", "date"])], &[]),
    once("message", 12, &[write(17, &["message"])], &[]),
    once("long_tag", 20, &[write(22, &["long_tag"])], &[]),
    once("unit_tag", 57, &[write(58, &["tag", "descriptor", "date"])], &[]),
    once("final_assembly", 16, &[write(19, &["final_assembly_number"])], &[]),
    once("assignment", 50, &[write(51, &["pv_code", "sv_code", "tv_code", "qv_code"])], &[]),
    Part {
        heading: "device_variable",
        each: Each::DeviceVariable,
        read: 54,
        writes: &[write(53, &["unit"]), write(55, &["damping"])],
        facts: &[
            "serial_number",
            "upper_limit",
            "lower_limit",
            "minimum_span",
            "class",
            "family",
            "update_period",
            "properties",
        ],
        rows: None,
    },
    once("pv", 1, &[write(44, &["pv_unit"])], &[]),
    once(
        "output",
        15,
        &[
            write(47, &["transfer_function"]),
            write(35, &["range_unit", "upper_range_value", "lower_range_value"]),
            write(34, &["damping"]),
        ],
        &["alarm_selection", "write_protect", "private_label", "analog_channel_flags"],
    ),
    Part {
        heading: "analog_channel",
        each: Each::AnalogChannel,
        read: 63,
        writes: &[
            write(69, &["transfer_function"]),
            write(65, &["range_unit", "upper_range_value", "lower_range_value"]),
            write(64, &["damping"]),
        ],
        facts: &["alarm_selection", "analog_channel_flags"],
        rows: None,
    },
    once("preambles", 0, &[write(59, &["preambles_reply"])], &[]),
    once(
        "io_system",
        74,
        &[write(87, &["master_mode"]), write(88, &["retries"])],
        &["max_cards", "max_channels", "max_sub_devices", "max_delayed_responses"],
    ),
    Part {
        heading: "burst_message",
        each: Each::BurstMessage,
        read: 105,
        writes: &[
            write(
                107,
                &[
                    "slot0_code",
                    "slot1_code",
                    "slot2_code",
                    "slot3_code",
                    "slot4_code",
                    "slot5_code",
                    "slot6_code",
                    "slot7_code",
                ],
            ),
            // A reply has one or the other, and so has the request.
            write(108, &["burst_command", "burst_command_8_bit"]),
            write(103, &["update_period", "maximum_update_period"]),
            write(104, &["trigger_mode", "trigger_class", "trigger_unit", "trigger_level"]),
            write(109, &["burst_control"]),
        ],
        facts: &["maximum_burst_messages"],
        rows: None,
    },
    once("loop", 7, &[write(6, &[POLLING_ADDRESS, "loop_current_mode"])], &[]),
];
