//! The universal commands as rows: revisions 5, 6 and 7, both directions.

use super::layout::{Field, Item, Kind, Layout, Part};
use super::words::{NOTHING, R5, R6, R7, every, f, fixed, float, id, newer};
use super::{CommandSpec, Effect, Form, Grade};
use crate::app::status;
use crate::app::types::tables as t;

const HARDWARE: Item = Item::Parts(&[
    Part { field: Field::new("hardware_revision", "hardware revision", Kind::U8), shift: 3, width: 5 },
    Part {
        field: Field::new("physical_signalling", "physical signalling", Kind::Enum(&t::PHYSICAL_SIGNALLING)),
        shift: 0,
        width: 3,
    },
]);

// What every revision's identity shares, in wire order.
const EXPANSION: Item = f("expansion", "expansion code, always 254", Kind::U8);
pub(super) const UNIVERSAL: Item = f("universal_revision", "protocol revision", Kind::U8);
pub(super) const DEVICE_REV: Item = f("device_revision", "device revision", Kind::U8);
const SOFTWARE: Item = f("software_revision", "software revision", Kind::U8);
const FLAGS: Item = f("flags", "flags", Kind::Bits(&t::FLAGS));
pub(super) const DEVICE_ID: Item = id("device_id", "device id", Kind::U24);
pub(super) const TYPE_16: Item = id("expanded_device_type", "expanded device type", Kind::U16);
const PREAMBLES: Item = f("preambles_request", "preambles the device wants in a request", Kind::U8);
const PREAMBLES_REPLY: Item = f("preambles_reply", "preambles the device sends", Kind::U8);
const LAST_VARIABLE: Item = f("last_device_variable", "last device variable", Kind::U8);
const COUNTER: Item = f("configuration_change_counter", "configuration change counter", Kind::U16);
pub(super) const EXTENDED: Item =
    f("extended_status", "extended device status", Kind::Bits(&status::EXTENDED_DEVICE_STATUS));

pub(super) const IDENTITY_5: Layout = &[
    EXPANSION,
    id("manufacturer", "manufacturer code", Kind::U8),
    id("device_type", "device type", Kind::U8),
    PREAMBLES,
    UNIVERSAL,
    DEVICE_REV,
    SOFTWARE,
    HARDWARE,
    FLAGS,
    DEVICE_ID,
];

pub(super) const IDENTITY_6: Layout = &[
    EXPANSION,
    id("manufacturer", "manufacturer code", Kind::U8),
    id("device_type", "device type", Kind::U8),
    PREAMBLES,
    UNIVERSAL,
    DEVICE_REV,
    SOFTWARE,
    HARDWARE,
    FLAGS,
    DEVICE_ID,
    PREAMBLES_REPLY,
    LAST_VARIABLE,
    COUNTER,
    EXTENDED,
];

pub(super) const IDENTITY_7: Layout = &[
    EXPANSION,
    TYPE_16,
    PREAMBLES,
    UNIVERSAL,
    DEVICE_REV,
    SOFTWARE,
    HARDWARE,
    FLAGS,
    DEVICE_ID,
    PREAMBLES_REPLY,
    LAST_VARIABLE,
    COUNTER,
    EXTENDED,
    id("manufacturer_id", "manufacturer code", Kind::U16),
    id("private_label", "private label code", Kind::U16),
    f("device_profile", "device profile", Kind::Enum(&t::DEVICE_PROFILE)),
];

const VARIABLES: Layout = &[
    fixed("loop_current", "loop current", "mA"),
    f("pv_unit", "PV unit", Kind::Unit),
    float("pv", "PV", 1),
    Item::MayEnd,
    f("sv_unit", "SV unit", Kind::Unit),
    float("sv", "SV", 1),
    Item::MayEnd,
    f("tv_unit", "TV unit", Kind::Unit),
    float("tv", "TV", 1),
    Item::MayEnd,
    f("qv_unit", "QV unit", Kind::Unit),
    float("qv", "QV", 1),
];

const POLLING: Item = f("polling_address", "polling address", Kind::U8);
const LOOP_MODE: Item = f("loop_current_mode", "loop current mode", Kind::Enum(&t::LOOP_CURRENT_MODE));
const POLLING_5: Layout = &[POLLING];
const POLLING_7: Layout = &[POLLING, LOOP_MODE];
/// A request may leave out the mode, as masters of revision 5 do [DV-15].
const POLLING_7_REQUEST: Layout = &[POLLING, Item::MayEnd, LOOP_MODE];

const CLASSES: Layout = &[
    f("pv_class", "PV classification", Kind::Enum(&t::CLASSIFICATION)),
    f("sv_class", "SV classification", Kind::Enum(&t::CLASSIFICATION)),
    f("tv_class", "TV classification", Kind::Enum(&t::CLASSIFICATION)),
    f("qv_class", "QV classification", Kind::Enum(&t::CLASSIFICATION)),
];

const SLOT_CODE: &[Field] = &[Field::new("code", "device variable", Kind::VariableCode)];
const SLOT: &[Field] = &[
    Field::new("code", "device variable", Kind::VariableCode),
    Field::new("class", "classification", Kind::Enum(&t::CLASSIFICATION)),
    Field::new("unit", "unit", Kind::Unit).class(1),
    Field::new("value", "value", Kind::Float).unit(1).class(2),
    Field::new("status", "status", Kind::VariableStatus),
];
const SLOTS_6: Layout = &[EXTENDED, Item::Slots { fields: SLOT, least: 1, most: 4 }];
const SLOTS_7: Layout = &[
    EXTENDED,
    Item::Slots { fields: SLOT, least: 1, most: 8 },
    f("time", "time of the first value", Kind::Time),
];

const TAG: Item = f("tag", "tag", Kind::Packed(6));
const MESSAGE: Layout = &[f("message", "message", Kind::Packed(24))];
const TAG_ALONE: Layout = &[TAG];
pub(super) const DESCRIPTION: Layout =
    &[TAG, f("descriptor", "descriptor", Kind::Packed(12)), f("date", "date", Kind::Date)];
pub(super) const LONG_TAG: Layout = &[f("long_tag", "long tag", Kind::Latin1(32))];
const ASSEMBLY: Layout = &[f("final_assembly_number", "final assembly number", Kind::U24)];

const TRANSDUCER: Layout = &[
    f("serial_number", "transducer serial number", Kind::U24),
    f("transducer_unit", "unit of limits and span", Kind::Unit),
    float("upper_limit", "upper transducer limit", 1),
    float("lower_limit", "lower transducer limit", 2),
    float("minimum_span", "minimum span", 3),
];

const OUTPUT_5: Layout = &[
    f("alarm_selection", "alarm selection", Kind::Enum(&t::ALARM_SELECTION)),
    f("transfer_function", "transfer function", Kind::Enum(&t::TRANSFER_FUNCTION)),
    f("range_unit", "unit of the range", Kind::Unit),
    float("upper_range_value", "upper range value", 1),
    float("lower_range_value", "lower range value", 2),
    fixed("damping", "damping", "s"),
    f("write_protect", "write protect", Kind::Enum(&t::WRITE_PROTECT)),
    id("private_label", "private label code", Kind::U8),
];
const OUTPUT_7: Layout = &[
    f("alarm_selection", "alarm selection", Kind::Enum(&t::ALARM_SELECTION)),
    f("transfer_function", "transfer function", Kind::Enum(&t::TRANSFER_FUNCTION)),
    f("range_unit", "unit of the range", Kind::Unit),
    float("upper_range_value", "upper range value", 1),
    float("lower_range_value", "lower range value", 2),
    fixed("damping", "damping", "s"),
    f("write_protect", "write protect", Kind::Enum(&t::WRITE_PROTECT)),
    f("reserved", "reserved, always 250", Kind::U8),
    f("analog_channel_flags", "analog channel flags", Kind::Bits(&t::ANALOG_CHANNEL_FLAGS)),
];

const COUNTER_ALONE: Layout = &[COUNTER];
/// Masters of earlier revisions send no counter [CM-038].
const COUNTER_REQUEST: Layout = &[Item::MayEnd, COUNTER];

const STATUS_5: Layout =
    &[Item::Rest(Field::new("device_status", "device-specific status", Kind::Octets(0)))];
const OF_DEVICE: Item = f("device_status", "device-specific status", Kind::Octets(6));
const MODE: Item = f("operating_mode", "operating mode", Kind::Enum(&t::OPERATING_MODE));
const STANDARD_0: Item =
    f("standardized_status_0", "standardized status 0", Kind::Bits(&status::STANDARDIZED_STATUS_0));
const STANDARD_1: Item =
    f("standardized_status_1", "standardized status 1", Kind::Bits(&status::STANDARDIZED_STATUS_1));
const STANDARD_2: Item =
    f("standardized_status_2", "standardized status 2", Kind::Bits(&status::STANDARDIZED_STATUS_2));
const STANDARD_3: Item =
    f("standardized_status_3", "standardized status 3", Kind::Bits(&status::STANDARDIZED_STATUS_3));
const SATURATED: Item =
    f("analog_saturated", "analog channels saturated", Kind::Bits(&t::ANALOG_CHANNELS_SATURATED));
const HELD: Item = f("analog_fixed", "analog channels fixed", Kind::Bits(&t::ANALOG_CHANNELS_FIXED));
const MORE_OF_DEVICE: Item =
    Item::Rest(Field::new("device_status_more", "more device-specific status", Kind::Octets(0)));
const STATUS_7: Layout = &[
    OF_DEVICE,
    Item::MayEnd,
    EXTENDED,
    MODE,
    STANDARD_0,
    Item::MayEnd,
    STANDARD_1,
    SATURATED,
    STANDARD_2,
    STANDARD_3,
    Item::MayEnd,
    HELD,
    MORE_OF_DEVICE,
];
/// Without data, or with the status as last read, to clear "more status available" [ST-07].
const STATUS_REQUEST: Layout = &[
    Item::MayEnd,
    OF_DEVICE,
    Item::MayEnd,
    EXTENDED,
    MODE,
    STANDARD_0,
    Item::MayEnd,
    STANDARD_1,
    SATURATED,
    STANDARD_2,
    STANDARD_3,
    Item::MayEnd,
    HELD,
    MORE_OF_DEVICE,
];

const fn identity(request: Layout) -> [Form; 3] {
    [
        Form { from: R7, to: R7, request, reply: IDENTITY_7 },
        Form { from: R6, to: R6, request, reply: IDENTITY_6 },
        Form { from: R5, to: R5, request, reply: IDENTITY_5 },
    ]
}

const fn read(number: u16, name: &'static str, cites: &'static str, forms: &'static [Form]) -> CommandSpec {
    CommandSpec { number, name, effect: Effect::Reads, cites, grade: Grade::High, forms, codes: &[] }
}

const fn write(number: u16, name: &'static str, cites: &'static str, forms: &'static [Form]) -> CommandSpec {
    CommandSpec { number, name, effect: Effect::Writes, cites, grade: Grade::High, forms, codes: &[] }
}

/// The rows, by number.
pub static ROWS: &[CommandSpec] = &[
    read(0, "read unique identifier", "CM-000", &identity(NOTHING)),
    read(
        1,
        "read primary variable",
        "CM-001",
        &every(NOTHING, &[f("pv_unit", "PV unit", Kind::Unit), float("pv", "PV", 1)]),
    ),
    read(
        2,
        "read loop current and percent of range",
        "CM-002",
        &every(
            NOTHING,
            &[
                fixed("loop_current", "loop current", "mA"),
                fixed("percent_of_range", "percent of range", "%"),
            ],
        ),
    ),
    read(3, "read dynamic variables and loop current", "CM-003", &every(NOTHING, VARIABLES)),
    // With the loop current mode it decides whether the current drives the valve.
    CommandSpec {
        number: 6,
        name: "write polling address",
        effect: Effect::Moves,
        cites: "CM-006",
        grade: Grade::High,
        forms: &[
            Form { from: R6, to: R7, request: POLLING_7_REQUEST, reply: POLLING_7 },
            Form { from: R5, to: R5, request: POLLING_5, reply: POLLING_5 },
        ],
        codes: &[],
    },
    read(7, "read loop configuration", "CM-007", &newer(NOTHING, POLLING_7)),
    read(8, "read dynamic variable classifications", "CM-008", &newer(NOTHING, CLASSES)),
    read(
        9,
        "read device variables with status",
        "CM-009",
        &[
            Form {
                from: R7,
                to: R7,
                request: &[Item::Slots { fields: SLOT_CODE, least: 1, most: 8 }],
                reply: SLOTS_7,
            },
            Form {
                from: R6,
                to: R6,
                request: &[Item::Slots { fields: SLOT_CODE, least: 1, most: 4 }],
                reply: SLOTS_6,
            },
        ],
    ),
    read(11, "read unique identifier of the tag", "CM-011", &identity(TAG_ALONE)),
    read(12, "read message", "CM-012", &every(NOTHING, MESSAGE)),
    read(13, "read tag, descriptor, date", "CM-013", &every(NOTHING, DESCRIPTION)),
    read(14, "read transducer information", "CM-014", &every(NOTHING, TRANSDUCER)),
    read(
        15,
        "read range and output information",
        "CM-015",
        &[
            Form { from: R6, to: R7, request: NOTHING, reply: OUTPUT_7 },
            Form { from: R5, to: R5, request: NOTHING, reply: OUTPUT_5 },
        ],
    ),
    read(16, "read final assembly number", "CM-016", &every(NOTHING, ASSEMBLY)),
    write(17, "write message", "CM-017", &every(MESSAGE, MESSAGE)),
    write(18, "write tag, descriptor, date", "CM-018", &every(DESCRIPTION, DESCRIPTION)),
    write(19, "write final assembly number", "CM-019", &every(ASSEMBLY, ASSEMBLY)),
    read(20, "read long tag", "CM-020", &newer(NOTHING, LONG_TAG)),
    read(
        21,
        "read unique identifier of the long tag",
        "CM-021",
        &[
            Form { from: R7, to: R7, request: LONG_TAG, reply: IDENTITY_7 },
            Form { from: R6, to: R6, request: LONG_TAG, reply: IDENTITY_6 },
        ],
    ),
    write(22, "write long tag", "CM-022", &newer(LONG_TAG, LONG_TAG)),
    write(
        38,
        "reset configuration changed",
        "CM-038",
        &[
            Form { from: R7, to: R7, request: COUNTER_REQUEST, reply: COUNTER_ALONE },
            Form { from: R5, to: R6, request: NOTHING, reply: NOTHING },
        ],
    ),
    read(
        48,
        "read additional device status",
        "CM-048",
        &[
            Form { from: R7, to: R7, request: STATUS_REQUEST, reply: STATUS_7 },
            Form { from: R6, to: R6, request: NOTHING, reply: STATUS_7 },
            Form { from: R5, to: R5, request: NOTHING, reply: STATUS_5 },
        ],
    ),
];
