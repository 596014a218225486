//! From a request to its answer: which commands the mock has, and what every command shares.

use super::common::{analog, burst, clock, device, lock, output, range, several, simulate, trim, variables};
use super::delayed;
use super::described;
use super::state::State;
use super::universal as u;
use super::values::Values;
use crate::app::command::Revision::{self, R5, R6, R7};
use crate::app::command::described::NUMBERS;
use crate::app::command::{Decoded, Effect, Form, Found, Value, layout, spec};
use crate::app::status::{self, CodeClass};
use crate::frame::{Frame, Master};
use crate::time::Instant;

/// Response codes that mean the same for every command [ST-03].
pub(super) mod code {
    pub const SUCCESS: u8 = 0;
    pub const INVALID_SELECTION: u8 = 2;
    pub const TOO_LARGE: u8 = 3;
    pub const TOO_SMALL: u8 = 4;
    pub const TOO_FEW_DATA: u8 = 5;
    pub const DEVICE: u8 = 6;
    pub const WRITE_PROTECTED: u8 = 7;
    /// Where a command takes a value that it may change.
    pub const NEAREST: u8 = 8;
    pub const RESTRICTED: u8 = 16;
    pub const BUSY: u8 = 32;
    pub const DELAYED_INITIATED: u8 = 33;
    pub const DELAYED_RUNNING: u8 = 34;
    pub const DELAYED_DEAD: u8 = 35;
    pub const DELAYED_CONFLICT: u8 = 36;
    pub const NOT_IMPLEMENTED: u8 = 64;
}

/// A request whose data hold all that must be there.
pub(super) struct Asked<'a> {
    pub master: Master,
    pub now: Instant,
    pub data: &'a [u8],
    found: Decoded,
}

impl<'a> Asked<'a> {
    fn get(&self, name: &str) -> Option<Value> {
        self.found.find(name).map(|f| f.value(self.data))
    }

    /// A number that may be absent.
    pub fn number(&self, name: &str) -> Option<u32> {
        self.get(name)?.number()
    }

    /// A number or code of one octet that may be absent.
    pub fn octet(&self, name: &str) -> Option<u8> {
        self.number(name).and_then(|n| u8::try_from(n).ok())
    }

    /// A float that may be absent, and need be no number.
    pub fn float(&self, name: &str) -> Option<f32> {
        match self.get(name)? {
            Value::Float(bits) => Some(f32::from_bits(bits)),
            _ => None,
        }
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

    fn within<'s>(&'s self, name: &'s str) -> impl Iterator<Item = &'s Found> {
        self.found.fields.iter().filter(move |f| f.slot.is_some() && f.field.name == name)
    }

    /// The octets of this name in the slots, in order.
    pub fn slots(&self, name: &str) -> Vec<u8> {
        self.within(name).map(|f| f.small(self.data)).collect()
    }

    /// A number and octets from each record, in order.
    pub fn records(&self, number: &str, octets: &str) -> Vec<(u32, &'a [u8])> {
        let numbers = self.within(number).map(|f| f.value(self.data).number().unwrap_or_default());
        numbers.zip(self.within(octets).map(|f| f.octets(self.data))).collect()
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

/// To whom a command is open.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Open {
    /// To every master at any time: it changes nothing, or judges by itself.
    ToAll,
    /// To who is not locked out: it changes something [DV-17].
    Unlocked,
    /// The request describes the device that is meant: it may come to the broadcast address, and the
    /// others are silent [DV-07].
    ByDescription,
}
use Open::{ByDescription, ToAll, Unlocked};

/// What one command does.
pub(super) struct Handler {
    pub number: u8,
    /// First revision in which the mock has it; it has it in all that follow.
    since: Revision,
    /// The heading of its facts.
    #[cfg_attr(not(test), expect(dead_code, reason = "people read it, and a test compares it with the row"))]
    cites: &'static str,
    pub open: Open,
    /// The codes that it may answer with, where neither sources nor memory have a list [DV-28].
    own: &'static [u8],
    run: fn(&mut State, &Asked<'_>) -> Answer,
}

/// Codes in the place of a list [DV-28]: a read, a read with a selection, a write, a write with a selection.
pub(super) const READ: &[u8] = &[0, 6, 16, 32];
pub(super) const SELECTING: &[u8] = &[0, 2, 5, 6, 16, 32];
const WRITE: &[u8] = &[0, 5, 6, 7, 16, 32];
const CHOOSING: &[u8] = &[0, 2, 5, 6, 7, 16, 32];
/// The codes are in the command's list [ST-04].
const LIST: &[u8] = &[];

pub(super) const fn row(
    number: u8,
    since: Revision,
    cites: &'static str,
    open: Open,
    own: &'static [u8],
    run: fn(&mut State, &Asked<'_>) -> Answer,
) -> Handler {
    Handler { number, since, cites, open, own, run }
}

/// Every command that the mock has, by number, and from which revision on [DV-16].
#[rustfmt::skip]
static HANDLERS: &[Handler] = &[
    row(0, R5, "CM-000", ToAll, LIST, u::read_identity),
    row(1, R5, "CM-001", ToAll, LIST, u::read_primary_variable),
    row(2, R5, "CM-002", ToAll, LIST, u::read_loop_current),
    row(3, R5, "CM-003", ToAll, LIST, u::read_dynamic_variables),
    row(6, R5, "CM-006", Unlocked, LIST, u::write_polling_address),
    row(7, R6, "CM-007", ToAll, LIST, u::read_loop_configuration),
    row(8, R6, "CM-008", ToAll, LIST, u::read_classifications),
    row(9, R6, "CM-009", ToAll, LIST, u::read_device_variables),
    row(11, R5, "CM-011", ByDescription, LIST, u::read_identity_by_tag),
    row(12, R5, "CM-012", ToAll, LIST, u::read_message),
    row(13, R5, "CM-013", ToAll, LIST, u::read_description),
    row(14, R5, "CM-014", ToAll, LIST, u::read_transducer),
    row(15, R5, "CM-015", ToAll, LIST, u::read_device_information),
    row(16, R5, "CM-016", ToAll, LIST, u::read_final_assembly_number),
    row(17, R5, "CM-017", Unlocked, LIST, u::write_message),
    row(18, R5, "CM-018", Unlocked, LIST, u::write_description),
    row(19, R5, "CM-019", Unlocked, LIST, u::write_final_assembly_number),
    row(20, R6, "CM-020", ToAll, LIST, u::read_long_tag),
    row(21, R6, "CM-021", ByDescription, LIST, u::read_identity_by_long_tag),
    row(22, R6, "CM-022", Unlocked, LIST, u::write_long_tag),
    row(33, R5, "CM-033", ToAll, SELECTING, variables::read_variables),
    row(34, R5, "CM-034", Unlocked, LIST, range::write_damping),
    row(35, R5, "CM-035", Unlocked, LIST, range::write_range),
    row(36, R5, "CM-036", Unlocked, LIST, range::take_upper),
    row(37, R5, "CM-037", Unlocked, LIST, range::take_lower),
    row(38, R5, "CM-038", Unlocked, LIST, u::reset_configuration_changed),
    row(39, R5, "CM-039", Unlocked, LIST, device::control_eeprom),
    row(40, R5, "CM-040", Unlocked, LIST, output::fix_current),
    row(41, R5, "CM-041", Unlocked, LIST, device::self_test),
    row(42, R5, "CM-042", Unlocked, LIST, device::reset),
    row(44, R5, "CM-044", Unlocked, LIST, range::write_unit),
    row(45, R5, "CM-045", Unlocked, LIST, output::trim_zero),
    row(46, R5, "CM-046", Unlocked, LIST, output::trim_gain),
    row(47, R5, "CM-047", Unlocked, LIST, range::write_transfer_function),
    row(48, R5, "CM-048", ToAll, LIST, u::read_additional_status),
    row(49, R5, "CM-049", Unlocked, WRITE, variables::write_serial_number),
    row(50, R5, "CM-050", ToAll, LIST, variables::read_assignments),
    row(51, R5, "CM-051", Unlocked, LIST, variables::write_assignments),
    row(52, R5, "CM-052", Unlocked, LIST, trim::set_zero_of),
    row(53, R5, "CM-053", Unlocked, LIST, variables::write_unit_of),
    row(54, R5, "CM-054", ToAll, LIST, variables::read_information),
    row(55, R5, "CM-055", Unlocked, LIST, range::write_damping_of),
    row(56, R5, "CM-056", Unlocked, LIST, variables::write_serial_number_of),
    row(59, R5, "CM-059", Unlocked, LIST, device::write_preambles),
    row(60, R5, "CM-060", ToAll, SELECTING, analog::read_channel),
    row(61, R5, "CM-061", ToAll, READ, analog::read_channel_and_variables),
    row(62, R5, "CM-062", ToAll, SELECTING, analog::read_channels),
    row(63, R5, "CM-063", ToAll, LIST, analog::read_information),
    row(64, R5, "CM-064", Unlocked, LIST, range::write_damping_of_channel),
    row(65, R5, "CM-065", Unlocked, LIST, range::write_range_of_channel),
    row(66, R5, "CM-066", Unlocked, LIST, output::fix_channel),
    row(67, R5, "CM-067", Unlocked, LIST, output::trim_zero_of_channel),
    row(68, R5, "CM-068", Unlocked, LIST, output::trim_gain_of_channel),
    row(69, R5, "CM-069", Unlocked, LIST, range::write_transfer_function_of_channel),
    row(70, R5, "CM-070", ToAll, SELECTING, analog::read_endpoints),
    // It judges by itself who may open the lock.
    row(71, R6, "CM-071", ToAll, LIST, lock::lock),
    // It changes nothing that a lock keeps.
    row(72, R6, "CM-072", ToAll, SELECTING, lock::squawk),
    row(73, R7, "CM-073", ByDescription, READ, lock::find),
    row(76, R6, "CM-076", ToAll, LIST, lock::read_lock),
    // What it carries is judged one by one.
    row(78, R7, "CM-078", ToAll, LIST, several::carry),
    row(79, R6, "CM-079", Unlocked, LIST, simulate::write_variable),
    row(80, R6, "CM-080", ToAll, SELECTING, trim::read_points),
    row(81, R6, "CM-081", ToAll, SELECTING, trim::read_limits),
    row(82, R6, "CM-082", Unlocked, LIST, trim::write_point),
    row(83, R6, "CM-083", Unlocked, CHOOSING, trim::reset),
    // To read the time of receipt is open to all, and the clock is no configuration.
    row(89, R7, "CM-089", ToAll, SELECTING, clock::set),
    row(90, R7, "CM-090", ToAll, READ, clock::read),
    row(95, R6, "CM-095", ToAll, LIST, device::read_counters),
    row(103, R7, "CM-103", Unlocked, LIST, burst::write_periods),
    row(104, R7, "CM-104", Unlocked, LIST, burst::write_trigger),
    row(105, R7, "CM-105", ToAll, SELECTING, burst::read_configuration),
    // It frees buffers of the master that asks, and changes nothing that a lock keeps.
    row(106, R6, "CM-106", ToAll, LIST, device::flush_delayed),
    row(107, R5, "CM-107", Unlocked, LIST, burst::write_variables),
    row(108, R5, "CM-108", Unlocked, LIST, burst::write_command),
    row(109, R5, "CM-109", Unlocked, LIST, burst::control),
    row(110, R5, "CM-110", ToAll, READ, variables::read_dynamic_variables),
];

/// Commands that change something and are open to all the same.
const OPEN_CHANGES: [u8; 4] = [71, 72, 89, 106];

/// What a device has of a command: its kind may have some of its own [DV-80].
fn known_to(state: &State, number: u8) -> Option<(&'static Handler, &'static Form)> {
    if NUMBERS.contains(&number) { state.kind.own_command(number) } else { known(number, state.revision()) }
}

/// What the mock has of a command that every device shares in a revision.
fn known(number: u8, revision: Revision) -> Option<(&'static Handler, &'static Form)> {
    let handler = HANDLERS.iter().find(|h| h.number == number && h.since <= revision)?;
    Some((handler, spec(number.into())?.form(revision)?))
}

/// The form of a command that changes something; `None` for one that does not, or that the mock has not.
pub(super) fn changing_form(state: &State, number: u8) -> Option<&'static Form> {
    let changes = |h: &Handler| h.open == Unlocked || OPEN_CHANGES.contains(&h.number);
    if let Some(form) = described::changing_form(state, number) {
        return Some(form);
    }
    known_to(state, number).filter(|(h, _)| changes(h)).map(|(_, form)| form)
}

impl Handler {
    /// Whether it may answer with `code` in a revision.
    fn may(&self, code: u8, revision: Revision) -> bool {
        match status::list(self.number.into()) {
            Some(list) => list.of(revision).any(|c| c.code == code),
            None => self.own.contains(&code),
        }
    }
}

/// Why a command is never put off, and keeps no older device busy [DV-41]; `None` for one that may.
pub(super) fn why_never_put_off(number: u8, revision: Revision) -> Option<String> {
    if NUMBERS.contains(&number) {
        return Some(format!(
            "command {number} is one of the device type, and the mock answers those at once"
        ));
    }
    let Some(row) = known(number, revision).and(spec(number.into())) else {
        return Some(format!("the mock has no command {number} in revision {revision}"));
    };
    if row.effect == Effect::Reads {
        return Some(format!("command {number} reads, and a read is answered at once with what is there"));
    }
    if matches!(number, 42 | 106) {
        return Some(format!("command {number} ends delayed responses and is none"));
    }
    // A list from memory is no measure.
    let read = status::list(number.into()).filter(|list| list.grade != 'R');
    let delays = |list: &status::CodeList| list.of(revision).any(|c| c.code == code::DELAYED_INITIATED);
    let never = revision >= R7 && read.is_some_and(|list| !delays(list));
    never.then(|| format!("command {number} has no delayed response among its response codes"))
}

/// Response code and data.
pub(super) type Told = (u8, Vec<u8>);

/// Response code and data of the answer to `request`; `None` for silence.
pub(super) fn answer(state: &mut State, now: Instant, request: &Frame, broadcast: bool) -> Option<Told> {
    let (number, master) = (request.command(), request.address().master);
    if broadcast && !known(number, state.revision()).is_some_and(|(h, _)| h.open == ByDescription) {
        return None;
    }
    // What was begun is answered for, whatever has changed since [DV-40].
    if let Some(told) = state.delayed.ask(master, number, request.data()) {
        return Some(told);
    }
    if let Some(told) = described::answer(state, master, now, number, request.data()) {
        return Some(told);
    }
    let fit = match judge(state, master, now, number, request.data()) {
        Ok(fit) => fit,
        Err(told) => return told,
    };
    match delayed::takes(state, number, &fit.asked) {
        Some(takes) if state.revision() >= R7 => {
            Some((delayed::begin(state, &fit.asked, number, takes), Vec::new()))
        }
        Some(takes) => {
            let told = fit.perform(state);
            // What was refused keeps nobody busy.
            if told.as_ref().is_some_and(|t| status::meaning(number.into(), t.0).0 != CodeClass::Error) {
                state.occupied_until = Some(now + takes);
            }
            told
        }
        None => fit.perform(state),
    }
}

/// Whether a request has data octets behind those that the command needs; never where the mock has no such command.
pub(super) fn has_surplus(state: &State, number: u8, data: &[u8]) -> bool {
    let Some((_, form)) = known_to(state, number) else { return false };
    let mut found = Decoded::default();
    layout::decode(form.request, data, &mut found);
    found.complete && usize::from(found.surplus_from) < data.len()
}

/// Response code and data of a command inside another; `None` for silence.
pub(super) fn carry_out(
    state: &mut State,
    master: Master,
    now: Instant,
    number: u8,
    data: &[u8],
) -> Option<Told> {
    if let Some(told) = described::answer(state, master, now, number, data) {
        return Some(told);
    }
    match judge(state, master, now, number, data) {
        Ok(fit) => fit.perform(state),
        Err(told) => told,
    }
}

/// Does what was put off and is due at `now`, each at its own time [DV-40].
pub(super) fn finish_due(state: &mut State, now: Instant) {
    while let Some(due) = state.delayed.due(now) {
        // It was found fit when it was begun.
        let told = known(due.command, state.revision()).and_then(|(handler, form)| {
            let mut asked =
                Asked { master: due.master, now: due.at, data: &due.data, found: Decoded::default() };
            layout::decode(form.request, asked.data, &mut asked.found);
            Fit { handler, form, asked }.perform(state)
        });
        let (code, reply) = told.unwrap_or((code::DEVICE, Vec::new()));
        state.delayed.done(&due, code, reply);
    }
}

/// A request that nothing stands in the way of.
struct Fit<'a> {
    handler: &'static Handler,
    form: &'static Form,
    asked: Asked<'a>,
}

impl Fit<'_> {
    fn perform(&self, state: &mut State) -> Option<Told> {
        let answer = (self.handler.run)(state, &self.asked);
        state.note_status();
        match answer {
            Answer::Done(values) => Some((code::SUCCESS, values.encode(self.form.reply))),
            Answer::Warned(code, values) => Some((code, values.encode(self.form.reply))),
            Answer::Refused(code) => Some((code, Vec::new())),
            Answer::Silent => None,
        }
    }
}

/// Whether a command may be carried out; else what is answered instead.
fn judge<'a>(
    state: &State,
    master: Master,
    now: Instant,
    number: u8,
    data: &'a [u8],
) -> Result<Fit<'a>, Option<Told>> {
    let revision = state.revision();
    let refused = |code| Err(Some((code, Vec::new())));
    let Some((handler, form)) = known_to(state, number) else { return refused(code::NOT_IMPLEMENTED) };
    let mut asked = Asked { master, now, data, found: Decoded::default() };
    layout::decode(form.request, data, &mut asked.found);
    let complete = asked.found.complete;
    if handler.open == ByDescription && !complete {
        // What is not described whole is not this device.
        return Err(None);
    }
    // Which of several reasons is named when there are several, no source says: our order [DV-05].
    if state.is_busy(now) && handler.may(code::BUSY, revision) && handler.open != ByDescription {
        return refused(code::BUSY);
    }
    if !complete {
        return refused(code::TOO_FEW_DATA);
    }
    let passes = number == 38 && state.config.reset_passes_write_protect;
    if state.config.write_protected && handler.may(code::WRITE_PROTECTED, revision) && !passes {
        return refused(code::WRITE_PROTECTED);
    }
    if handler.open == Unlocked && state.is_locked_out(master) {
        let older = revision < R7 && handler.may(code::BUSY, revision);
        return refused(if older { code::BUSY } else { code::RESTRICTED });
    }
    Ok(Fit { handler, form, asked })
}

/// Response code and data of a burst for `master` of a command that reads, with the request's data in [DV-30].
pub(super) fn publish(
    state: &mut State,
    master: Master,
    now: Instant,
    number: u8,
    data: &[u8],
) -> Option<(u8, Vec<u8>)> {
    let (handler, form) = known(number, state.revision())?;
    let mut asked = Asked { master, now, data, found: Decoded::default() };
    layout::decode(form.request, data, &mut asked.found);
    match (handler.run)(state, &asked) {
        Answer::Done(values) => Some((code::SUCCESS, values.encode(form.reply))),
        Answer::Warned(code, values) => Some((code, values.encode(form.reply))),
        Answer::Refused(_) | Answer::Silent => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn handlers_are_in_order_and_have_rows() {
        assert!(HANDLERS.is_sorted_by(|a, b| a.number < b.number));
        for h in HANDLERS {
            let row = spec(h.number.into()).unwrap_or_else(|| panic!("command {}", h.number));
            assert_eq!(row.cites, h.cites);
            for revision in Revision::NEWEST_FIRST {
                let has = row.form(revision).is_some();
                assert_eq!(has, h.since <= revision, "command {} in revision {revision}", h.number);
            }
            // Own codes stand for a list that nobody has, and only for such.
            let has_list = status::list(h.number.into()).is_some();
            assert_eq!(h.own.is_empty(), has_list, "command {}", h.number);
        }
    }

    /// What changes something is closed to who is locked out; the exceptions stand in the table with their reasons.
    #[test]
    fn what_changes_something_is_closed_by_a_lock() {
        for h in HANDLERS {
            let changes = spec(h.number.into()).is_some_and(|row| row.effect != Effect::Reads);
            // What 78 carries is judged one by one.
            let exception = h.number == 78 || OPEN_CHANGES.contains(&h.number);
            assert_eq!(h.open == Unlocked, changes && !exception, "command {}", h.number);
        }
    }

    /// Each universal row has a handler.
    #[test]
    fn universal_commands_are_all_there() {
        for row in crate::app::command::universal::ROWS {
            assert!(HANDLERS.iter().any(|h| u16::from(h.number) == row.number), "command {}", row.number);
        }
    }
}
