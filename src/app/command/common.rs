//! The common-practice commands that have rows so far.

use super::layout::{Field, Item, Kind};
use super::{CommandSpec, Effect, Form, Grade, Revision};

const CODE: &[Field] = &[Field::new("code", "device variable", Kind::VariableCode)];
const SLOT: &[Field] = &[
    Field::new("code", "device variable", Kind::VariableCode),
    Field::new("unit", "unit", Kind::Unit),
    Field::new("value", "value", Kind::Float).unit(1),
];
const EXTENDED: &[Item] = &[
    Item::Field(Field::new("extended_command", "extended command number", Kind::U16)),
    Item::Rest(Field::new("extended_data", "data of the extended command", Kind::Octets(0))),
];

const CARD: Item = Item::Field(Field::new("io_card", "I/O card", Kind::U8));
const CHANNEL: Item = Item::Field(Field::new("channel", "channel", Kind::U8));
const INNER: [Item; 5] = [
    Item::Field(Field::new("inner_delimiter", "delimiter of the inner frame", Kind::U8)),
    Item::Field(Field::new("inner_address", "address of the inner frame", Kind::Octets(5))),
    Item::Field(Field::new("inner_command", "command of the inner frame", Kind::U8)),
    Item::Field(Field::new("inner_byte_count", "byte count of the inner frame", Kind::U8)),
    Item::Rest(Field::new("inner_data", "status and data of the inner frame", Kind::Octets(0))),
];

/// The rows, by number.
pub static ROWS: &[CommandSpec] = &[
    // What an extended command does is not known from its number: it may move the valve.
    CommandSpec {
        number: 31,
        name: "carry an extended command",
        effect: Effect::Moves,
        cites: "CM-031",
        grade: Grade::High,
        forms: &[Form { from: Revision::R6, to: Revision::R7, request: EXTENDED, reply: EXTENDED }],
    },
    CommandSpec {
        number: 33,
        name: "read device variables",
        effect: Effect::Reads,
        cites: "CM-033",
        grade: Grade::High,
        forms: &[Form {
            from: Revision::R5,
            to: Revision::R7,
            request: &[Item::Slots { fields: CODE, most: 4 }],
            reply: &[Item::Slots { fields: SLOT, most: 4 }],
        }],
    },
    // It hands a command to another device, whatever that command does.
    CommandSpec {
        number: 77,
        name: "send a command to a sub-device",
        effect: Effect::Moves,
        cites: "CM-077",
        grade: Grade::Medium,
        forms: &[Form {
            from: Revision::R7,
            to: Revision::R7,
            request: &[
                CARD,
                CHANNEL,
                Item::Field(Field::new("inner_preambles", "preambles before the inner frame", Kind::U8)),
                INNER[0],
                INNER[1],
                INNER[2],
                INNER[3],
                INNER[4],
            ],
            reply: &[CARD, CHANNEL, INNER[0], INNER[1], INNER[2], INNER[3], INNER[4]],
        }],
    },
];
