//! Range, damping and unit of the primary variable: 34 to 37, 43, 44, 47.
//!
//! On a device whose loop current is an input, range, damping and transfer function are the way from the
//! current to the set point: to change one of them may move the valve.

use crate::app::command::CommandSpec;
use crate::app::command::Effect::{Moves, Writes};
use crate::app::command::Grade::High;
use crate::app::command::layout::{Kind, Layout};
use crate::app::command::words::{NOTHING, every, f, fixed, float, row};
use crate::app::types::tables::TRANSFER_FUNCTION;

const DAMPING: Layout = &[fixed("damping", "damping", "s")];
const RANGE: Layout = &[
    f("range_unit", "unit of the range", Kind::Unit),
    float("upper_range_value", "upper range value", 1),
    float("lower_range_value", "lower range value", 2),
];
const UNIT: Layout = &[f("pv_unit", "PV unit", Kind::Unit)];
const FUNCTION: Layout = &[f("transfer_function", "transfer function", Kind::Enum(&TRANSFER_FUNCTION))];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(34, "write damping of the primary variable", "CM-034", Moves, High, &every(DAMPING, DAMPING)),
    row(35, "write range values of the primary variable", "CM-035", Moves, High, &every(RANGE, RANGE)),
    row(36, "take the applied process as upper range value", "CM-036", Moves, High, &every(NOTHING, NOTHING)),
    row(37, "take the applied process as lower range value", "CM-037", Moves, High, &every(NOTHING, NOTHING)),
    row(43, "set the zero of the primary variable", "CM-043", Moves, High, &every(NOTHING, NOTHING)),
    row(44, "write unit of the primary variable", "CM-044", Writes, High, &every(UNIT, UNIT)),
    row(
        47,
        "write transfer function of the primary variable",
        "CM-047",
        Moves,
        High,
        &every(FUNCTION, FUNCTION),
    ),
];
