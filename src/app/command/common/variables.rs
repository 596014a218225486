//! Device variables: read, assign, simulate, trim: 33, 50 to 56, 79 to 83, 110.

use crate::app::command::Effect::{Moves, Reads, Writes};
use crate::app::command::Grade::{High, Medium};
use crate::app::command::layout::{Field, Item, Kind, Layout};
use crate::app::command::words::{NOTHING, R5, R6, R7, every, f, fixed, float, newer, period, row};
use crate::app::command::{CommandSpec, Form};
use crate::app::types::tables as t;

const CODE: Item = f("code", "device variable", Kind::VariableCode);
const UNIT: Item = f("unit", "unit", Kind::Unit);
const ALONE: Layout = &[CODE];

const SLOT_CODE: &[Field] = &[Field::new("code", "device variable", Kind::VariableCode)];
const SLOT: &[Field] = &[
    Field::new("code", "device variable", Kind::VariableCode),
    Field::new("unit", "unit", Kind::Unit),
    Field::new("value", "value", Kind::Float).unit(1),
];

const PV: Item = f("pv_code", "device variable that is PV", Kind::VariableCode);
const SV: Item = f("sv_code", "device variable that is SV", Kind::VariableCode);
const TV: Item = f("tv_code", "device variable that is TV", Kind::VariableCode);
const QV: Item = f("qv_code", "device variable that is QV", Kind::VariableCode);
const ASSIGNED: Layout = &[PV, SV, TV, QV];
const ASSIGN: Layout = &[PV, Item::MayEnd, SV, Item::MayEnd, TV, Item::MayEnd, QV];

const SERIAL: Item = f("serial_number", "transducer serial number", Kind::U24);
const DAMPING: Item = fixed("damping", "damping", "s");
const INFORMATION_5: Layout = &[
    CODE,
    SERIAL,
    UNIT,
    float("upper_limit", "upper transducer limit", 1),
    float("lower_limit", "lower transducer limit", 2),
    DAMPING,
];
// The classification at octet 21 says which unit the one at octet 4 is.
const INFORMATION_7: Layout = &[
    CODE,
    SERIAL,
    Item::Field(Field::new("unit", "unit", Kind::Unit).class_ahead(17)),
    Item::Field(Field::new("upper_limit", "upper transducer limit", Kind::Float).unit(1).class_ahead(16)),
    Item::Field(Field::new("lower_limit", "lower transducer limit", Kind::Float).unit(2).class_ahead(12)),
    DAMPING,
    Item::Field(Field::new("minimum_span", "minimum span", Kind::Float).unit(4).class_ahead(4)),
    f("class", "classification", Kind::Enum(&t::CLASSIFICATION)),
    f("family", "device family", Kind::Enum(&t::FAMILY)),
    period("update_period", "update period"),
    Item::MayEnd,
    f("properties", "properties", Kind::Bits(&t::VARIABLE_PROPERTIES)),
];

const SIMULATION: Layout = &[
    CODE,
    f("write_command", "what to do", Kind::Enum(&t::WRITE_DEVICE_VARIABLE)),
    UNIT,
    float("value", "value", 1),
    f("status", "status", Kind::VariableStatus),
];

const TRIM_POINTS: Layout = &[
    CODE,
    UNIT,
    float("lower_trim_point", "lower or single trim point", 1),
    float("upper_trim_point", "upper trim point", 2),
];
const TRIM_LIMITS: Layout = &[
    CODE,
    f("points", "trim points supported", Kind::Enum(&t::TRIM_POINTS)),
    UNIT,
    float("minimum_lower", "least lower trim point", 1),
    float("maximum_lower", "greatest lower trim point", 2),
    float("minimum_upper", "least upper trim point", 3),
    float("maximum_upper", "greatest upper trim point", 4),
    float("minimum_difference", "least difference of the two", 5),
];
const TRIM: Layout = &[
    CODE,
    f("point", "trim point", Kind::Enum(&t::TRIM_POINTS)),
    UNIT,
    float("value", "value that is applied", 1),
];

const DYNAMIC: Layout = &[
    f("pv_unit", "PV unit", Kind::Unit),
    float("pv", "PV", 1),
    f("sv_unit", "SV unit", Kind::Unit),
    float("sv", "SV", 1),
    f("tv_unit", "TV unit", Kind::Unit),
    float("tv", "TV", 1),
    f("qv_unit", "QV unit", Kind::Unit),
    float("qv", "QV", 1),
];

const UNIT_OF: Layout = &[CODE, UNIT];
const DAMPING_OF: Layout = &[CODE, DAMPING];
const SERIAL_OF: Layout = &[CODE, SERIAL];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(
        33,
        "read device variables",
        "CM-033",
        Reads,
        High,
        &every(
            &[Item::Slots { fields: SLOT_CODE, least: 1, most: 4 }],
            &[Item::Slots { fields: SLOT, least: 1, most: 4 }],
        ),
    ),
    row(50, "read dynamic variable assignments", "CM-050", Reads, High, &every(NOTHING, ASSIGNED)),
    // Where the loop current is an input it drives what is assigned to PV.
    row(51, "write dynamic variable assignments", "CM-051", Moves, Medium, &every(ASSIGN, ASSIGNED)),
    // The variable may be the set point or the measured position.
    row(52, "set the zero of a device variable", "CM-052", Moves, Medium, &every(ALONE, ALONE)),
    row(53, "write unit of a device variable", "CM-053", Writes, High, &every(UNIT_OF, UNIT_OF)),
    row(
        54,
        "read device variable information",
        "CM-054",
        Reads,
        Medium,
        &[
            Form { from: R6, to: R7, request: ALONE, reply: INFORMATION_7 },
            Form { from: R5, to: R5, request: ALONE, reply: INFORMATION_5 },
        ],
    ),
    row(55, "write damping of a device variable", "CM-055", Moves, Medium, &every(DAMPING_OF, DAMPING_OF)),
    row(
        56,
        "write transducer serial number of a device variable",
        "CM-056",
        Writes,
        Medium,
        &every(SERIAL_OF, SERIAL_OF),
    ),
    // A set point that is given by hand moves the valve; a position that is makes the controller move it.
    row(79, "write a device variable", "CM-079", Moves, High, &newer(SIMULATION, SIMULATION)),
    row(80, "read trim points of a device variable", "CM-080", Reads, Medium, &newer(ALONE, TRIM_POINTS)),
    row(81, "read trim limits of a device variable", "CM-081", Reads, Medium, &newer(ALONE, TRIM_LIMITS)),
    row(82, "write a trim point of a device variable", "CM-082", Moves, Medium, &newer(TRIM, TRIM)),
    row(83, "reset the trim of a device variable", "CM-083", Moves, Medium, &newer(ALONE, ALONE)),
    row(110, "read all dynamic variables", "CM-110", Reads, Medium, &every(NOTHING, DYNAMIC)),
];
