//! The loop current: fix it, trim it: 40, 45, 46.

use crate::app::command::CommandSpec;
use crate::app::command::Effect::Moves;
use crate::app::command::Grade::High;
use crate::app::command::layout::Layout;
use crate::app::command::words::{every, fixed, row};

const FIXED: Layout = &[fixed("loop_current", "fixed loop current, 0 to leave the mode", "mA")];
const MEASURED: Layout = &[fixed("measured_current", "loop current as measured", "mA")];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(40, "enter or leave fixed loop current", "CM-040", Moves, High, &every(FIXED, FIXED)),
    row(45, "trim the zero of the loop current", "CM-045", Moves, High, &every(MEASURED, MEASURED)),
    row(46, "trim the gain of the loop current", "CM-046", Moves, High, &every(MEASURED, MEASURED)),
];
