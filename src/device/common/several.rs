//! Several commands in one: 78 [DV-27].

use crate::app::command::{Decoded, Form, Value, layout};
use crate::device::commands::{self, Answer, Asked, code};
use crate::device::state::State;
use crate::device::values::Values;

const INVALID_REQUEST: u8 = 9;
const TRUNCATED: u8 = 30;
/// What a frame has room for: 255 octets less two of status; extended status and count take two more.
const ROOM: usize = 255 - 2 - 2;
/// Command number, byte count, response code of each.
const HEAD: usize = 2 + 1 + 1;

/// Commands that may not be carried: this one, what is answered by description alone, and the reset.
fn is_carried(number: u32) -> bool {
    !matches!(number, 11 | 21 | 42 | 73 | 78)
}

/// The most octets that a reply has.
fn longest(form: &Form) -> usize {
    let mut found = Decoded::default();
    layout::decode(form.reply, &[0; 255], &mut found);
    usize::from(found.surplus_from)
}

/// [CM-078]: one after the other, as if each had come alone.
pub(in crate::device) fn carry(state: &mut State, asked: &Asked<'_>) -> Answer {
    // Of more than our rows name, the rest is not among them.
    let requests = asked.records("command", "data");
    let wanted = asked.number("count").unwrap_or_default();
    if requests.is_empty() {
        return Answer::Refused(code::INVALID_SELECTION);
    }
    if requests.iter().any(|&(number, _)| !is_carried(number)) {
        return Answer::Refused(INVALID_REQUEST);
    }
    let mut values = Values::new();
    let (mut done, mut taken) = (0u8, 0);
    for &(number, data) in &requests {
        let of_one = u8::try_from(number).ok();
        // A command that changes something is not begun where its answer may have no room.
        if let Some(form) = of_one.and_then(|n| commands::changing_form(state, n))
            && taken + HEAD + longest(form) > ROOM
        {
            break;
        }
        let answer = of_one.and_then(|n| commands::carry_out(state, asked.master, asked.now, n, data));
        let (code, reply) = answer.unwrap_or((code::NOT_IMPLEMENTED, Vec::new()));
        if taken + HEAD + reply.len() > ROOM {
            break;
        }
        taken += HEAD + reply.len();
        let octets = [&[code], &reply[..]].concat();
        values = values
            .number(format!("slot{done}_command"), number)
            .number(format!("slot{done}_byte_count"), octets.len() as u32)
            .and(format!("slot{done}_data"), Value::Octets(octets));
        done += 1;
    }
    let values = values.number("extended_status", state.extended_status()).number("count", done);
    if u32::from(done) < wanted { Answer::Warned(TRUNCATED, values) } else { Answer::Done(values) }
}
