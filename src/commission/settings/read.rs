//! Reading what a device is set to.

#[cfg(doc)]
use super::parts::PARTS;
use super::parts::parts;
use super::{Content, Entry, Origin, Section, Settings, fields};
use crate::app::command::layout::{self, Missing};
use crate::app::command::setting::{Each, Part};
use crate::app::command::{Direction, Revision, Value};
use crate::app::status::{CodeClass, Status};
use crate::exchange::Exchange;
use crate::host::{Ask, Device, HostError, Patience, ask_patiently};
use core::fmt;
use core::time::Duration;

/// How often a device is asked that says it is busy, or that its answer comes later [HO-07].
pub(super) const PATIENCE: u32 = 10;
/// How often, once it stayed busy through all of these.
pub(super) const IMPATIENCE: u32 = 2;
/// How long it is left alone before it is asked again.
const PAUSE: Duration = Duration::from_secs(1);
/// How often an answer may be about another one before that is the end.
const ASTRAY: u32 = 3;
/// How long a delayed response is waited for, for each time that a busy device would be asked [HO-07].
const DELAYED: Duration = Duration::from_secs(6);
/// The last number that a device variable may have [TY-09].
const LAST_VARIABLE: u32 = 242;
/// The last analog channel that is looked for.
const LAST_CHANNEL: u8 = 15;
/// The value that tells how many there are.
const MAXIMUM_BURST_MESSAGES: &str = "maximum_burst_messages";
/// The last burst message that is looked for.
const LAST_BURST_MESSAGE: u8 = 15;

/// Why settings could not be read whole.
#[derive(Debug)]
pub enum ReadError {
    /// The host could not ask.
    Host(HostError),
    /// A command was not answered, or its answer was damaged each time.
    Silent {
        /// The command.
        command: u8,
    },
    /// Again and again an answer spoke of another one than was asked for: a late answer to the request before,
    /// or a device that answers wrongly [HO-07].
    Astray {
        /// The command.
        command: u8,
        /// The variable, channel or burst message that was asked for.
        asked: u8,
        /// The one that the answer is about.
        told: u32,
    },
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ReadError::Host(e) => e.fmt(f),
            ReadError::Silent { command } => {
                write!(f, "command {command} was not answered, so its values are not known")
            }
            ReadError::Astray { command, asked, told } => write!(
                f,
                "command {command} was asked about number {asked} and answered about number {told}, \
                 {ASTRAY} times: the device answers too late or wrongly"
            ),
        }
    }
}

impl std::error::Error for ReadError {}

impl From<HostError> for ReadError {
    fn from(e: HostError) -> Self {
        ReadError::Host(e)
    }
}

/// Reads all that `device` has of [`PARTS`], and of those that its description adds; `progress` hears what is read next. What the device
/// refuses is recorded as refused, and so is what it stayed busy for or cut short [HO-07].
///
/// # Errors
/// The host cannot ask, or the device does not answer a command: what is read by half is not given out.
pub fn read(
    ask: &mut dyn Ask,
    device: &Device,
    origin: Origin,
    progress: &mut dyn FnMut(&str),
) -> Result<Settings, ReadError> {
    let mut settings = Settings { origin, revision: device.revision, sections: Vec::new() };
    let mut patience = PATIENCE;
    for part in parts(ask.described(device)) {
        if part.spec(part.read).and_then(|s| s.form(device.revision)).is_none() {
            continue;
        }
        let last = last(part, &settings);
        let mut number = first(part);
        loop {
            let section = Section { part, number, content: Content::Refused(0) };
            progress(&section.name());
            let Some(section) = read_section(ask, device, part, number, patience)? else { break };
            let refused = matches!(section.content, Content::Refused(_));
            let busy = matches!(section.content, Content::Unread(_));
            patience = if busy { IMPATIENCE } else { PATIENCE };
            // A burst message tells how many there are.
            let most = section.entry(MAXIMUM_BURST_MESSAGES).filter(|_| part.rows.is_none());
            let most = most.and_then(|e| e.value.number());
            let kept = !refused || number == first(part);
            if kept && !(refused && part.each == Each::AnalogChannel) {
                settings.sections.push(section);
            }
            let Some(n) = number else { break };
            // Device variables may have gaps where the device told how many there are.
            let gap = match part.each {
                Each::DeviceVariable => last_variable(&settings).is_some(),
                each => matches!(each, Each::Described { .. }),
            };
            let no_such_command = refused && kept && settings.sections.last().is_some_and(is_missing);
            let more = most.is_none_or(|most| u32::from(n) + 1 < most);
            if n >= last || !more || (refused || busy) && (!gap || no_such_command) {
                break;
            }
            number = Some(n + 1);
        }
    }
    Ok(settings)
}

fn is_missing(section: &Section) -> bool {
    section.content == Content::Refused(64)
}

fn first(part: &Part) -> Option<u8> {
    match part.each {
        Each::Once => None,
        Each::DeviceVariable | Each::BurstMessage | Each::Described { .. } => Some(0),
        // Channel 0 is the PV's, which command 15 reads (from memory).
        Each::AnalogChannel => Some(1),
    }
}

fn last(part: &Part, so_far: &Settings) -> u8 {
    match part.each {
        Each::Once => 0,
        Each::AnalogChannel => LAST_CHANNEL,
        Each::BurstMessage => LAST_BURST_MESSAGE,
        Each::Described { last, .. } => last,
        Each::DeviceVariable => {
            // Revision 5 does not tell: it is asked until it refuses.
            last_variable(so_far).unwrap_or(LAST_VARIABLE).min(LAST_VARIABLE) as u8
        }
    }
}

fn last_variable(so_far: &Settings) -> Option<u32> {
    so_far.identity("last_device_variable").and_then(|e| e.value.number())
}

/// Reads one section; `None` where the revision has no such command, or the reply none of its values.
pub(super) fn read_section(
    ask: &mut dyn Ask,
    device: &Device,
    part: &'static Part,
    number: Option<u8>,
    patience: u32,
) -> Result<Option<Section>, ReadError> {
    let Some(form) = part.spec(part.read).and_then(|s| s.form(device.revision)) else { return Ok(None) };
    let data = layout::encode(form.request, Missing::Ends, &mut |name, _| {
        Ok(number.filter(|_| part.each.selector() == Some(name)).map(|n| Value::Number(n.into())))
    })
    .map_err(HostError::Values)?;
    let mut tries = 1;
    let exchange = loop {
        let exchange = patiently(ask, device, part.read, &data, patience)?;
        match number.zip(told_number(part, &exchange)) {
            Some((asked, told)) if u32::from(asked) != told => {
                if tries >= ASTRAY {
                    return Err(ReadError::Astray { command: part.read, asked, told });
                }
                // Time for whatever is still under way to come and go.
                ask.rest(PAUSE)?;
                tries += 1;
            }
            _ => break exchange,
        }
    };
    let Some(Status::Response(code)) = exchange.status() else {
        return Err(ReadError::Silent { command: part.read });
    };
    let content = match exchange.class() {
        _ if unfinished(&exchange) => Content::Unread(code),
        Some(CodeClass::Error) | None => Content::Refused(code),
        Some(CodeClass::Success | CodeClass::Warning) => {
            let entries = entries(part, &exchange);
            if is_cut(part, device.revision, &exchange, &entries) {
                Content::CutShort(entries)
            } else if entries.is_empty() {
                return Ok(None);
            } else {
                Content::Values(entries)
            }
        }
    };
    Ok(Some(Section { part, number, content }))
}

/// Which variable, channel or burst message an answer is about, if it says so.
fn told_number(part: &Part, exchange: &Exchange) -> Option<u32> {
    let selector = part.each.selector()?;
    let mut fields = exchange.fields(Direction::Reply);
    fields.find(|v| v.found.name().to_string() == selector).and_then(|v| v.found.value(v.data).number())
}

/// Whether a reply ended before values of this part that have to be in it: another part of the same reply
/// may be whole.
fn is_cut(part: &Part, revision: Revision, exchange: &Exchange, entries: &[Entry]) -> bool {
    let known = fields::fields(part, revision);
    let mut names = part.names().filter(|n| known.iter().any(|k| k.name == *n));
    !exchange.reply.complete && names.any(|n| entries.iter().all(|e| e.name != n))
}

/// Asks the same again, with pauses, while the device says that it is not done; what it said in the end. A
/// delayed response that goes on is waited for longer, and once [HO-10].
pub(super) fn patiently(
    ask: &mut dyn Ask,
    device: &Device,
    command: u8,
    data: &[u8],
    patience: u32,
) -> Result<Exchange, ReadError> {
    let wait = Patience { most: DELAYED * patience, ..Patience::USUAL };
    let mut tries = 1;
    loop {
        let exchange = ask_patiently(ask, device, command, data, wait, &mut |_, _| {})?.exchange;
        if !unfinished(&exchange) || wait.is_later(&exchange) || tries >= patience {
            return Ok(exchange);
        }
        tries += 1;
        ask.rest(PAUSE)?;
    }
}

/// Whether it may still be done when it is asked again: busy; a delayed response was begun, runs, was lost,
/// or waits for another one [ST-03].
pub(super) fn unfinished(exchange: &Exchange) -> bool {
    matches!(exchange.status(), Some(Status::Response(32..=36)))
}

fn entries(part: &Part, exchange: &Exchange) -> Vec<Entry> {
    let values: Vec<Entry> = exchange
        .fields(Direction::Reply)
        .map(|v| Entry {
            name: v.found.name().to_string(),
            field: v.found.field,
            value: v.found.value(v.data),
        })
        .collect();
    part.names().filter_map(|name| values.iter().find(|e| e.name == name).cloned()).collect()
}
