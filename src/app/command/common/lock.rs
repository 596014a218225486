//! Keeping others out of a device, and finding it in the field: 71 to 73, 76.

use crate::app::command::CommandSpec;
use crate::app::command::Effect::{Reads, Writes};
use crate::app::command::Grade::{High, Medium};
use crate::app::command::layout::{Item, Kind, Layout};
use crate::app::command::universal::IDENTITY_7;
use crate::app::command::words::{NOTHING, f, newer, newest, row};
use crate::app::types::tables as t;

const LOCK: Layout = &[f("lock_code", "lock code", Kind::Enum(&t::LOCK_DEVICE))];
const STATUS: Layout = &[f("lock_status", "lock status", Kind::Bits(&t::LOCK_STATUS))];
const SQUAWK: Item = f("squawk_control", "squawk control", Kind::Enum(&t::SQUAWK_CONTROL));

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(71, "lock the device", "CM-071", Writes, Medium, &newer(LOCK, LOCK)),
    // It stores nothing, but somebody in the field sees it.
    row(72, "squawk", "CM-072", Writes, Medium, &newer(&[Item::MayEnd, SQUAWK], &[SQUAWK])),
    row(73, "find the device", "CM-073", Reads, Medium, &newest(NOTHING, IDENTITY_7)),
    row(76, "read lock status", "CM-076", Reads, High, &newer(NOTHING, STATUS)),
];
