//! The data of the positioner's own commands, as protocol-notes/positioner.toml describes them; a test keeps both equal.

use crate::app::command::{Effect, Field, Form, Item, Kind, Layout, Revision};

/// One command: its number, what it does, and its data.
#[derive(Debug)]
pub struct OwnCommand {
    /// 128 to 146.
    pub number: u8,
    /// What it does to the device.
    pub effect: Effect,
    /// Its data in every revision.
    pub form: Form,
}

const fn f(name: &'static str, kind: Kind) -> Item {
    Item::Field(Field::new(name, name, kind))
}

const fn u8_(name: &'static str) -> Item {
    f(name, Kind::U8)
}

const fn float(name: &'static str) -> Item {
    f(name, Kind::Float)
}

const fn row(number: u8, effect: Effect, request: Layout, reply: Layout) -> OwnCommand {
    OwnCommand { number, effect, form: Form { from: Revision::R5, to: Revision::R7, request, reply } }
}

const NOTHING: Layout = &[];
const SOURCE: Layout = &[u8_("source"), float("set_point")];
/// Back to the loop takes no set point [DV-81].
const GIVEN: Layout = &[u8_("source"), Item::MayEnd, float("set_point")];
const ENDS: Layout =
    &[u8_("lower_action"), float("lower_set_point"), u8_("upper_action"), float("upper_set_point")];
const CHARACTERISTIC: Layout = &[u8_("characteristic"), float("rangeability")];
const WHICH_POINT: Layout = &[u8_("point")];
const POINT: Layout = &[u8_("point"), float("set_point"), float("travel")];
const LIMITS: Layout = &[
    float("lower_travel_limit"),
    float("upper_travel_limit"),
    float("deviation_limit"),
    float("deviation_time"),
];
const FAULT: &[Field] = &[
    Field::new("fault", "fault", Kind::U8),
    Field::new("date", "date", Kind::Date),
    Field::new("time", "time", Kind::Time),
    Field::new("travel", "travel", Kind::Float),
];
/// Most faults in one answer.
pub(in crate::device) const FAULTS_AT_ONCE: u8 = 4;

/// Every one, by number.
pub static OWN_COMMANDS: [OwnCommand; 19] = [
    row(128, Effect::Reads, NOTHING, SOURCE),
    row(129, Effect::Moves, GIVEN, GIVEN),
    row(
        130,
        Effect::Reads,
        NOTHING,
        &[float("set_point"), float("travel"), float("deviation"), float("lever_angle"), u8_("travel_flags")],
    ),
    row(131, Effect::Moves, &[u8_("calibration")], &[u8_("calibration")]),
    row(
        132,
        Effect::Reads,
        NOTHING,
        &[u8_("calibration"), u8_("state"), u8_("step"), u8_("progress"), f("elapsed", Kind::U16)],
    ),
    row(133, Effect::Stops, NOTHING, NOTHING),
    row(
        134,
        Effect::Reads,
        NOTHING,
        &[
            u8_("calibration"),
            u8_("state"),
            u8_("fault"),
            f("date", Kind::Date),
            float("lever_angle_closed"),
            float("lever_angle_open"),
            float("stroke_time_opening"),
            float("stroke_time_closing"),
            float("friction"),
        ],
    ),
    row(135, Effect::Reads, NOTHING, ENDS),
    row(136, Effect::Moves, ENDS, ENDS),
    row(137, Effect::Reads, NOTHING, CHARACTERISTIC),
    row(138, Effect::Moves, CHARACTERISTIC, CHARACTERISTIC),
    row(139, Effect::Reads, WHICH_POINT, POINT),
    row(140, Effect::Moves, POINT, POINT),
    row(141, Effect::Reads, NOTHING, LIMITS),
    row(142, Effect::Moves, LIMITS, LIMITS),
    row(
        143,
        Effect::Reads,
        &[u8_("first_entry")],
        &[u8_("first_entry"), u8_("count"), Item::Slots { fields: FAULT, least: 1, most: FAULTS_AT_ONCE }],
    ),
    row(144, Effect::Writes, NOTHING, NOTHING),
    row(
        145,
        Effect::Reads,
        NOTHING,
        &[
            f("strokes", Kind::U32),
            float("travel_sum"),
            f("time_near_closed", Kind::U32),
            f("time_in_service", Kind::U32),
        ],
    ),
    row(146, Effect::Writes, NOTHING, NOTHING),
];

/// The form of one of them.
pub(in crate::device) fn form(number: u8) -> Option<&'static Form> {
    OWN_COMMANDS.iter().find(|c| c.number == number).map(|c| &c.form)
}
