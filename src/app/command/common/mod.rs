//! The common-practice commands as rows, a file a family, and the extended commands that are known.

mod analog;
mod burst;
mod carriers;
mod clock;
mod current;
mod device;
mod lock;
mod named;
mod range;
mod subdevices;
mod variables;

use super::CommandSpec;

/// The rows of each family, by number within it.
pub(super) static FAMILIES: [&[CommandSpec]; 11] = [
    carriers::ROWS,
    range::ROWS,
    current::ROWS,
    device::ROWS,
    variables::ROWS,
    analog::ROWS,
    lock::ROWS,
    subdevices::ROWS,
    clock::ROWS,
    burst::ROWS,
    named::ROWS,
];
