//! Analog channels, of which the loop current is one: 60 to 70.

use crate::app::command::Effect::{Moves, Reads};
use crate::app::command::Grade::{High, Medium};
use crate::app::command::layout::{Field, Item, Kind, Layout};
use crate::app::command::words::{NOTHING, R5, R6, R7, every, f, fixed, float, row};
use crate::app::command::{CommandSpec, Form};
use crate::app::types::tables as t;

const CHANNEL: Item = f("channel", "analog channel", Kind::U8);
const ALONE: Layout = &[CHANNEL];
const UNIT: Item = f("unit", "unit", Kind::Unit);

const LEVEL: Layout =
    &[CHANNEL, UNIT, float("level", "level", 1), fixed("percent_of_range", "percent of range", "%")];
const PV_AND_ALL: Layout = &[
    UNIT,
    float("level", "level of the PV's channel", 1),
    f("pv_unit", "PV unit", Kind::Unit),
    float("pv", "PV", 1),
    f("sv_unit", "SV unit", Kind::Unit),
    float("sv", "SV", 1),
    f("tv_unit", "TV unit", Kind::Unit),
    float("tv", "TV", 1),
    f("qv_unit", "QV unit", Kind::Unit),
    float("qv", "QV", 1),
];

const SLOT_CHANNEL: &[Field] = &[Field::new("channel", "analog channel", Kind::U8)];
const SLOT: &[Field] = &[
    Field::new("channel", "analog channel", Kind::U8),
    Field::new("unit", "unit", Kind::Unit),
    Field::new("level", "level", Kind::Float).unit(1),
];

const ALARM: Item = f("alarm_selection", "alarm selection", Kind::Enum(&t::ALARM_SELECTION));
const FUNCTION: Item = f("transfer_function", "transfer function", Kind::Enum(&t::TRANSFER_FUNCTION));
const RANGE_UNIT: Item = f("range_unit", "unit of the range", Kind::Unit);
const UPPER: Item = float("upper_range_value", "upper range value", 1);
const LOWER: Item = float("lower_range_value", "lower range value", 2);
const DAMPING: Item = fixed("damping", "damping", "s");
const INFORMATION_5: Layout = &[CHANNEL, ALARM, FUNCTION, RANGE_UNIT, UPPER, LOWER, DAMPING];
const INFORMATION_7: Layout = &[
    CHANNEL,
    ALARM,
    FUNCTION,
    RANGE_UNIT,
    UPPER,
    LOWER,
    DAMPING,
    f("analog_channel_flags", "analog channel flags", Kind::Bits(&t::ANALOG_CHANNEL_FLAGS)),
];

const DAMPING_OF: Layout = &[CHANNEL, DAMPING];
const RANGE_OF: Layout = &[CHANNEL, RANGE_UNIT, UPPER, LOWER];
const FIXED: Layout = &[CHANNEL, UNIT, float("level", "fixed level, 0 to leave the mode", 1)];
const MEASURED: Layout = &[CHANNEL, UNIT, float("measured_level", "level as measured", 1)];
const FUNCTION_OF: Layout = &[CHANNEL, FUNCTION];

const UPPER_END: Item = float("upper_endpoint", "upper endpoint", 1);
const LOWER_END: Item = float("lower_endpoint", "lower endpoint", 2);
const ENDPOINTS_5: Layout = &[CHANNEL, UNIT, UPPER_END, LOWER_END];
const ENDPOINTS_7: Layout = &[
    CHANNEL,
    UNIT,
    UPPER_END,
    LOWER_END,
    float("upper_limit", "upper limit", 3),
    float("lower_limit", "lower limit", 4),
];

/// The rows, by number. What is said of range, damping and fixed current in the files beside this one holds
/// for the channel that carries the set point too.
pub(super) static ROWS: &[CommandSpec] = &[
    row(60, "read an analog channel", "CM-060", Reads, High, &every(ALONE, LEVEL)),
    row(
        61,
        "read the PV's analog channel and dynamic variables",
        "CM-061",
        Reads,
        Medium,
        &every(NOTHING, PV_AND_ALL),
    ),
    row(
        62,
        "read analog channels",
        "CM-062",
        Reads,
        Medium,
        &every(
            &[Item::Slots { fields: SLOT_CHANNEL, least: 1, most: 4 }],
            &[Item::Slots { fields: SLOT, least: 1, most: 4 }],
        ),
    ),
    row(
        63,
        "read information on an analog channel",
        "CM-063",
        Reads,
        Medium,
        &[
            Form { from: R7, to: R7, request: ALONE, reply: INFORMATION_7 },
            Form { from: R5, to: R6, request: ALONE, reply: INFORMATION_5 },
        ],
    ),
    row(64, "write damping of an analog channel", "CM-064", Moves, Medium, &every(DAMPING_OF, DAMPING_OF)),
    row(65, "write range values of an analog channel", "CM-065", Moves, Medium, &every(RANGE_OF, RANGE_OF)),
    row(66, "enter or leave fixed mode of an analog channel", "CM-066", Moves, High, &every(FIXED, FIXED)),
    row(67, "trim the zero of an analog channel", "CM-067", Moves, High, &every(MEASURED, MEASURED)),
    row(68, "trim the gain of an analog channel", "CM-068", Moves, High, &every(MEASURED, MEASURED)),
    row(
        69,
        "write transfer function of an analog channel",
        "CM-069",
        Moves,
        Medium,
        &every(FUNCTION_OF, FUNCTION_OF),
    ),
    row(
        70,
        "read endpoints of an analog channel",
        "CM-070",
        Reads,
        Medium,
        &[
            Form { from: R7, to: R7, request: ALONE, reply: ENDPOINTS_7 },
            Form { from: R5, to: R6, request: ALONE, reply: ENDPOINTS_5 },
        ],
    ),
];
