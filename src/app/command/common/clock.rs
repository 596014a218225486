//! The clock of a device: 89, 90.

use crate::app::command::CommandSpec;
use crate::app::command::Effect::{Reads, Writes};
use crate::app::command::Grade::Medium;
use crate::app::command::layout::{Item, Kind, Layout};
use crate::app::command::words::{NOTHING, f, newest, row};
use crate::app::types::tables as t;

const SET: Item = f("time_set", "what to do", Kind::Enum(&t::TIME_SET));
const DATE: Item = f("date", "date", Kind::Date);
const TIME: Item = f("time", "time of day", Kind::Time);
const CLOCK: Layout = &[
    DATE,
    TIME,
    f("date_set", "date when it was set last", Kind::Date),
    f("time_of_setting", "time of day when it was set last", Kind::Time),
    f("clock_flags", "clock flags", Kind::Bits(&t::CLOCK_FLAGS)),
];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(
        89,
        "set the clock",
        "CM-089",
        Writes,
        Medium,
        &newest(&[SET, DATE, TIME, f("reserved", "reserved, always 0", Kind::U16)], &[SET, DATE, TIME]),
    ),
    row(90, "read the clock", "CM-090", Reads, Medium, &newest(NOTHING, CLOCK)),
];
