//! The device as a whole: memory, self test, reset, its labels, its counters: 39, 41, 42, 49, 57 to 59, 95, 106.

use crate::app::command::CommandSpec;
use crate::app::command::Effect::{Moves, Reads, Writes};
use crate::app::command::Grade::{High, Medium};
use crate::app::command::layout::{Kind, Layout};
use crate::app::command::universal::DESCRIPTION;
use crate::app::command::words::{NOTHING, every, f, newer, row};
use crate::app::types::tables::EEPROM_CONTROL;

const CONTROL: Layout = &[f("eeprom_control", "EEPROM control", Kind::Enum(&EEPROM_CONTROL))];
const SERIAL: Layout = &[f("serial_number", "transducer serial number", Kind::U24)];
const PREAMBLES: Layout = &[f("preambles_reply", "preambles the device sends", Kind::U8)];
const COUNTS: Layout = &[
    f("requests", "requests to the device (STX)", Kind::U16),
    f("replies", "replies of the device (ACK)", Kind::U16),
    f("bursts", "burst frames of the device (BACK)", Kind::U16),
];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    // To bring back stored values may change range and trims at once.
    row(39, "control the EEPROM", "CM-039", Moves, High, &every(CONTROL, CONTROL)),
    // A self test may stroke the valve, and a device that starts again may let go of it.
    row(41, "perform self test", "CM-041", Moves, High, &every(NOTHING, NOTHING)),
    row(42, "reset the device", "CM-042", Moves, High, &every(NOTHING, NOTHING)),
    row(49, "write transducer serial number", "CM-049", Writes, High, &every(SERIAL, SERIAL)),
    row(57, "read unit tag, descriptor, date", "CM-057", Reads, Medium, &every(NOTHING, DESCRIPTION)),
    row(58, "write unit tag, descriptor, date", "CM-058", Writes, Medium, &every(DESCRIPTION, DESCRIPTION)),
    row(59, "write number of reply preambles", "CM-059", Writes, High, &every(PREAMBLES, PREAMBLES)),
    row(95, "read communication statistics of the device", "CM-095", Reads, High, &newer(NOTHING, COUNTS)),
    row(106, "flush delayed responses", "CM-106", Writes, Medium, &newer(NOTHING, NOTHING)),
];
