//! Commands that carry other commands: 31, 77, 78.
//!
//! What they do is what the command inside does, so all of them may move the valve.

use crate::app::command::Effect::Moves;
use crate::app::command::Grade::{High, Medium};
use crate::app::command::layout::{Field, Item, Kind, Layout};
use crate::app::command::universal::EXTENDED;
use crate::app::command::words::{R6, R7, f, newest, row};
use crate::app::command::{CommandSpec, Direction, Form};

const NUMBER: Item = f("extended_command", "extended command number", Kind::U16);
const EXTENDED_DATA: Field = Field::new("extended_data", "data of the extended command", Kind::Octets(0));
const CARRIED_REQUEST: Layout =
    &[NUMBER, Item::Carried { direction: Direction::Request, otherwise: EXTENDED_DATA }];
const CARRIED_REPLY: Layout =
    &[NUMBER, Item::Carried { direction: Direction::Reply, otherwise: EXTENDED_DATA }];

const CARD: Item = f("io_card", "I/O card", Kind::U8);
const CHANNEL: Item = f("channel", "channel", Kind::U8);
const INNER_DELIMITER: Item = f("inner_delimiter", "delimiter of the inner frame", Kind::U8);
const INNER_ADDRESS: Item = f("inner_address", "address of the inner frame", Kind::Octets(5));
const INNER_COMMAND: Item = f("inner_command", "command of the inner frame", Kind::U8);
const INNER_COUNT: Item = f("inner_byte_count", "byte count of the inner frame", Kind::U8);
const INNER_DATA: Item =
    Item::Rest(Field::new("inner_data", "status and data of the inner frame", Kind::Octets(0)));

/// Fields of one command among several; the last one counts the octets that follow.
const RECORD: &[Field] =
    &[Field::new("command", "command number", Kind::U16), Field::new("byte_count", "byte count", Kind::U8)];
const COUNT: Item = f("count", "number of commands", Kind::U8);
/// Our limit, for no source says how many there may be: what follows stays without names [CM-078].
const MOST_RECORDS: u8 = 20;
const SEVERAL_REQUEST: Layout = &[
    COUNT,
    Item::Records {
        fields: RECORD,
        octets: Field::new("data", "data of the request", Kind::Octets(0)),
        most: MOST_RECORDS,
    },
];
const SEVERAL_REPLY: Layout = &[
    EXTENDED,
    COUNT,
    Item::Records {
        fields: RECORD,
        octets: Field::new("data", "response code and data", Kind::Octets(0)),
        most: MOST_RECORDS,
    },
];

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(
        31,
        "carry an extended command",
        "CM-031",
        Moves,
        High,
        &[Form { from: R6, to: R7, request: CARRIED_REQUEST, reply: CARRIED_REPLY }],
    ),
    row(
        77,
        "send a command to a sub-device",
        "CM-077",
        Moves,
        Medium,
        &newest(
            &[
                CARD,
                CHANNEL,
                f("inner_preambles", "preambles before the inner frame", Kind::U8),
                INNER_DELIMITER,
                INNER_ADDRESS,
                INNER_COMMAND,
                INNER_COUNT,
                INNER_DATA,
            ],
            &[CARD, CHANNEL, INNER_DELIMITER, INNER_ADDRESS, INNER_COMMAND, INNER_COUNT, INNER_DATA],
        ),
    ),
    row(78, "carry several commands", "CM-078", Moves, Medium, &newest(SEVERAL_REQUEST, SEVERAL_REPLY)),
];
