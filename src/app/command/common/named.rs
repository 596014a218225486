//! Commands of which no source gives the whole layout: by name, the unknown data in hex.
//!
//! Each counts as able to move the valve, unless a source has both its name and its list of response codes.
//! Then the name says whether it reads (91, 93, 115) or writes (92, 116), and the list agrees: write protect
//! (7) is in those of the two that write and in no other. The list alone would prove nothing: 42 and 71 change
//! something and have no 7.

use crate::app::command::Effect::{self, Moves, Reads, Writes};
use crate::app::command::Grade::{self, Medium, Recalled};
use crate::app::command::layout::{Field, Item, Kind, Layout};
use crate::app::command::words::{f, newest};
use crate::app::command::{CommandSpec, Form};

const UNKNOWN: Item = Item::Rest(Field::new("raw_data", "data, layout not known", Kind::Octets(0)));
const RAW: Layout = &[UNKNOWN];
const TREND: Item = f("trend_number", "trend number", Kind::U8);
const FORMS: &[Form] = &newest(RAW, RAW);

const fn named(
    number: u16,
    name: &'static str,
    cites: &'static str,
    effect: Effect,
    grade: Grade,
) -> CommandSpec {
    CommandSpec { number, name, effect, cites, grade, forms: FORMS, codes: &[] }
}

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    CommandSpec {
        forms: &newest(&[TREND], &[TREND, UNKNOWN]),
        ..named(91, "read trend configuration", "CM-091", Reads, Medium)
    },
    named(92, "write trend configuration", "CM-092", Writes, Medium),
    named(93, "read a trend", "CM-093", Reads, Medium),
    named(96, "read a synchronous action", "CM-096", Moves, Recalled),
    named(97, "configure a synchronous action", "CM-097", Moves, Recalled),
    named(98, "read a command action", "CM-098", Moves, Recalled),
    named(99, "configure a command action", "CM-099", Moves, Recalled),
    named(101, "read the burst message of a sub-device", "CM-101", Moves, Recalled),
    named(102, "map a sub-device to a burst message", "CM-102", Moves, Recalled),
    named(111, "control a block transfer", "CM-111", Moves, Recalled),
    named(112, "transfer a block", "CM-112", Moves, Recalled),
    named(113, "catch a device variable", "CM-113", Moves, Recalled),
    named(114, "read a caught device variable", "CM-114", Moves, Recalled),
    named(115, "read event notification summary", "CM-115", Reads, Medium),
    named(116, "write event notification mask", "CM-116", Writes, Medium),
    named(117, "write event notification timing", "CM-117", Moves, Medium),
    named(118, "control event notification", "CM-118", Moves, Medium),
    named(119, "acknowledge event notification", "CM-119", Moves, Recalled),
    named(512, "read country code", "CM-512", Moves, Recalled),
    named(513, "write country code", "CM-513", Moves, Recalled),
];
