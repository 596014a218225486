//! From a request to its answer: which handler a command has, and what every command shares.

use super::state::State;
use super::universal as u;
use super::values::Values;
use crate::app::command::{Decoded, Form, Found, Value, layout, spec};
use crate::app::status;
use crate::frame::{Frame, Master};
use crate::time::Instant;

/// Response codes that mean the same for every command [ST-03].
pub(super) mod code {
    pub const SUCCESS: u8 = 0;
    pub const INVALID_SELECTION: u8 = 2;
    pub const TOO_FEW_DATA: u8 = 5;
    pub const WRITE_PROTECTED: u8 = 7;
    pub const BUSY: u8 = 32;
    pub const NOT_IMPLEMENTED: u8 = 64;
}

/// A request whose data hold all that must be there.
pub(super) struct Asked<'a> {
    pub master: Master,
    pub now: Instant,
    pub data: &'a [u8],
    found: Decoded,
}

impl Asked<'_> {
    fn get(&self, name: &str) -> Option<Value> {
        self.found.find(name).map(|f| f.value(self.data))
    }

    /// A number that may be absent.
    pub fn number(&self, name: &str) -> Option<u32> {
        self.get(name)?.number()
    }

    /// Text; empty when absent.
    pub fn text(&self, name: &str) -> String {
        match self.get(name) {
            Some(Value::Text(t)) => t,
            _ => String::new(),
        }
    }

    /// A value as it is.
    pub fn value(&self, name: &str) -> Option<Value> {
        self.get(name)
    }

    /// The numbers of this name in the slots, in order.
    pub fn slots(&self, name: &str) -> Vec<u32> {
        let here = |f: &&Found| f.slot.is_some() && f.field.name == name;
        self.found.fields.iter().filter(here).map(|f| u32::from(f.small(self.data))).collect()
    }
}

/// What a handler decides.
pub(super) enum Answer {
    /// Done: the reply's values.
    Done(Values),
    /// Done, with a warning: the code and the reply's values.
    Warned(u8, Values),
    /// Not done: the code, no data [ST-03].
    Refused(u8),
    /// No answer at all.
    Silent,
}

/// What one command does.
struct Handler {
    number: u8,
    /// The request describes the device that is meant: it may come to the broadcast address, and the
    /// others are silent [DV-07].
    by_description: bool,
    run: fn(&mut State, &Asked<'_>) -> Answer,
}

const fn handler(number: u8, run: fn(&mut State, &Asked<'_>) -> Answer) -> Handler {
    Handler { number, by_description: false, run }
}

const fn by_description(number: u8, run: fn(&mut State, &Asked<'_>) -> Answer) -> Handler {
    Handler { number, by_description: true, run }
}

/// Every command that the mock has, by number. In which revisions a command exists stands in its row.
static HANDLERS: &[Handler] = &[
    handler(0, u::read_identity),
    handler(1, u::read_primary_variable),
    handler(2, u::read_loop_current),
    handler(3, u::read_dynamic_variables),
    handler(6, u::write_polling_address),
    handler(7, u::read_loop_configuration),
    handler(8, u::read_classifications),
    handler(9, u::read_device_variables),
    by_description(11, u::read_identity_by_tag),
    handler(12, u::read_message),
    handler(13, u::read_description),
    handler(14, u::read_transducer),
    handler(15, u::read_device_information),
    handler(16, u::read_final_assembly_number),
    handler(17, u::write_message),
    handler(18, u::write_description),
    handler(19, u::write_final_assembly_number),
    handler(20, u::read_long_tag),
    by_description(21, u::read_identity_by_long_tag),
    handler(22, u::write_long_tag),
    handler(38, u::reset_configuration_changed),
    handler(48, u::read_additional_status),
];

/// Response code and data of the answer to `request`; `None` for silence.
pub(super) fn answer(
    state: &mut State,
    now: Instant,
    request: &Frame,
    broadcast: bool,
) -> Option<(u8, Vec<u8>)> {
    let number = request.command();
    let form: Option<&Form> = spec(number.into()).and_then(|s| s.form(state.revision()));
    let found = HANDLERS.iter().find(|h| h.number == number);
    let (Some(form), Some(handler)) = (form, found) else {
        return (!broadcast).then_some((code::NOT_IMPLEMENTED, Vec::new()));
    };
    if broadcast && !handler.by_description {
        return None;
    }
    let mut asked =
        Asked { master: request.address().master, now, data: request.data(), found: Decoded::default() };
    layout::decode(form.request, asked.data, &mut asked.found);
    let complete = asked.found.complete;
    if handler.by_description && !complete {
        // What is not described whole is not this device.
        return None;
    }
    let may = |code| status::codes(number.into()).iter().any(|c| c.code == code);
    let refused = |code| Some((code, Vec::new()));
    // Which of several reasons is named when there are several, no source says: our order.
    if state.config.busy && may(code::BUSY) {
        return refused(code::BUSY);
    }
    if !complete {
        return refused(code::TOO_FEW_DATA);
    }
    let passes = number == 38 && state.config.reset_passes_write_protect;
    if state.config.write_protected && may(code::WRITE_PROTECTED) && !passes {
        return refused(code::WRITE_PROTECTED);
    }
    let answer = (handler.run)(state, &asked);
    state.note_status();
    match answer {
        Answer::Done(values) => Some((code::SUCCESS, values.encode(form.reply))),
        Answer::Warned(code, values) => Some((code, values.encode(form.reply))),
        Answer::Refused(code) => refused(code),
        Answer::Silent => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn handlers_are_in_order_and_have_rows() {
        assert!(HANDLERS.is_sorted_by(|a, b| a.number < b.number));
        for h in HANDLERS {
            assert!(spec(h.number.into()).is_some(), "command {}", h.number);
        }
    }

    /// Each universal row has a handler, and no other row has one.
    #[test]
    fn universal_commands_are_all_there() {
        let rows: Vec<u16> = crate::app::command::universal::ROWS.iter().map(|r| r.number).collect();
        let handlers: Vec<u16> = HANDLERS.iter().map(|h| h.number.into()).collect();
        assert_eq!(handlers, rows);
    }
}
