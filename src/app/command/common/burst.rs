//! Burst messages: 103 to 105, 107 to 109.

use crate::app::command::Effect::{Reads, Writes};
use crate::app::command::Grade::{High, Medium};
use crate::app::command::layout::{Field, Item, Kind, Layout};
use crate::app::command::words::{R5, R6, R7, f, newest, period, row};
use crate::app::command::{CommandSpec, Form};
use crate::app::types::tables as t;

const MESSAGE: Item = f("burst_message", "burst message", Kind::U8);
const UPDATE: Item = period("update_period", "update period");
const LONGEST: Item = period("maximum_update_period", "maximum update period");
const TRIGGER: Item = f("trigger_mode", "trigger mode", Kind::Enum(&t::BURST_TRIGGER));
const CLASS: Item = f("trigger_class", "classification of the trigger level", Kind::Enum(&t::CLASSIFICATION));
const UNIT: Item = Item::Field(Field::new("trigger_unit", "unit of the trigger level", Kind::Unit).class(1));
const LEVEL: Item = Item::Field(Field::new("trigger_level", "trigger level", Kind::Float).unit(1).class(2));
const CONTROL: Item = f("burst_control", "burst mode control", Kind::Enum(&t::BURST_CONTROL));
const COMMAND: Item = f("burst_command", "command that the burst message sends", Kind::U16);
const COMMAND_8: Item = f("burst_command_8_bit", "command that the burst message sends", Kind::U8);
const SLOT: &[Field] = &[Field::new("code", "device variable, 250 for none", Kind::VariableCode)];
const CODES: Item = Item::Slots { fields: SLOT, least: 8, most: 8 };

const PERIODS: Layout = &[MESSAGE, UPDATE, LONGEST];
const TRIGGERS: Layout = &[MESSAGE, TRIGGER, CLASS, UNIT, LEVEL];
const MOST: Item = f("maximum_burst_messages", "most burst messages of the device", Kind::U8);
/// The newer form says 31 where the older one has the command's number.
const CONFIGURATION: Layout = &[
    CONTROL,
    Item::OneOf(&[
        &[
            f("extension", "extension flag, always 31", Kind::U8),
            CODES,
            MESSAGE,
            MOST,
            COMMAND,
            UPDATE,
            LONGEST,
            TRIGGER,
            CLASS,
            UNIT,
            LEVEL,
        ],
        &[COMMAND_8, CODES, MESSAGE, MOST, UPDATE, LONGEST, TRIGGER, CLASS, UNIT, LEVEL],
    ]),
];
const VARIABLES_7: Layout = &[CODES, MESSAGE];
const VARIABLES_5: Layout = &[Item::Slots { fields: SLOT, least: 4, most: 4 }];
const NUMBER_7: Layout = &[Item::OneOf(&[&[COMMAND, MESSAGE], &[COMMAND_8, MESSAGE]])];
const NUMBER_5: Layout = &[COMMAND_8];
const CONTROL_7: Layout = &[CONTROL, MESSAGE];
const CONTROL_5: Layout = &[CONTROL];

const fn both(newest: Layout, before: Layout) -> [Form; 2] {
    [
        Form { from: R7, to: R7, request: newest, reply: newest },
        Form { from: R5, to: R6, request: before, reply: before },
    ]
}

/// The rows, by number.
pub(super) static ROWS: &[CommandSpec] = &[
    row(103, "write burst periods", "CM-103", Writes, High, &newest(PERIODS, PERIODS)),
    row(104, "write burst trigger", "CM-104", Writes, High, &newest(TRIGGERS, TRIGGERS)),
    row(105, "read burst configuration", "CM-105", Reads, Medium, &newest(&[MESSAGE], CONFIGURATION)),
    row(107, "write burst device variables", "CM-107", Writes, Medium, &both(VARIABLES_7, VARIABLES_5)),
    row(108, "write burst command number", "CM-108", Writes, Medium, &both(NUMBER_7, NUMBER_5)),
    row(109, "control burst mode", "CM-109", Writes, High, &both(CONTROL_7, CONTROL_5)),
];
