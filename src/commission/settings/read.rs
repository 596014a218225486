//! Reading what a device is set to.

use super::parts::{Each, PARTS, Part};
use super::{Content, Entry, Origin, Section, Settings};
use crate::app::command::layout::{self, Missing};
use crate::app::command::{Direction, Revision, Value, spec};
use crate::app::status::{CodeClass, Status};
use crate::exchange::Exchange;
use crate::host::{Ask, Device, HostError};
use core::fmt;

/// How often a device is asked that says it is busy, or that its answer comes later.
const PATIENCE: usize = 8;
/// The last number that a device variable may have [TY-09].
const LAST_VARIABLE: u32 = 242;
/// The last analog channel that is looked for.
const LAST_CHANNEL: u8 = 15;
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
    /// The device went on saying that it is busy.
    Busy {
        /// The command.
        command: u8,
    },
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ReadError::Host(e) => e.fmt(f),
            ReadError::Silent { command } => {
                write!(f, "command {command} was not answered, so its values are not known")
            }
            ReadError::Busy { command } => {
                write!(f, "the device is busy and did not answer command {command} in {PATIENCE} tries")
            }
        }
    }
}

impl std::error::Error for ReadError {}

impl From<HostError> for ReadError {
    fn from(e: HostError) -> Self {
        ReadError::Host(e)
    }
}

/// Reads all that `device` has of [`PARTS`]; `progress` hears what is read next. What the device
/// refuses is recorded as refused.
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
    for part in PARTS {
        if spec(part.read.into()).and_then(|s| s.form(device.revision)).is_none() {
            continue;
        }
        let last = last(part, &settings);
        let mut number = first(part);
        loop {
            let section = Section { part, number, content: Content::Refused(0) };
            progress(&section.name());
            let Some(section) = read_section(ask, device, part, number)? else { break };
            let refused = matches!(section.content, Content::Refused(_));
            // A burst message tells how many there are.
            let most = section.entry("maximum_burst_messages").and_then(|e| e.value.number());
            let kept = !refused || number == first(part);
            if kept && !(refused && part.each == Each::AnalogChannel) {
                settings.sections.push(section);
            }
            let Some(n) = number else { break };
            // Device variables may have gaps where the device told how many there are.
            let gap = part.each == Each::DeviceVariable && device.revision >= Revision::R6;
            let no_such_command = refused && kept && settings.sections.last().is_some_and(is_missing);
            let more = most.is_none_or(|most| u32::from(n) + 1 < most);
            if n >= last || !more || refused && (!gap || no_such_command) {
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
        Each::DeviceVariable | Each::BurstMessage => Some(0),
        // Channel 0 is the PV's, which command 15 reads (from memory).
        Each::AnalogChannel => Some(1),
    }
}

fn last(part: &Part, so_far: &Settings) -> u8 {
    match part.each {
        Each::Once => 0,
        Each::AnalogChannel => LAST_CHANNEL,
        Each::BurstMessage => LAST_BURST_MESSAGE,
        Each::DeviceVariable => {
            // Revision 5 does not tell: it is asked until it refuses.
            let told = so_far.identity("last_device_variable").and_then(|e| e.value.number());
            told.unwrap_or(LAST_VARIABLE).min(LAST_VARIABLE) as u8
        }
    }
}

/// Reads one section; `None` where the revision has no such command, or the reply none of its values.
pub(super) fn read_section(
    ask: &mut dyn Ask,
    device: &Device,
    part: &'static Part,
    number: Option<u8>,
) -> Result<Option<Section>, ReadError> {
    let Some(form) = spec(part.read.into()).and_then(|s| s.form(device.revision)) else { return Ok(None) };
    let data = layout::encode(form.request, Missing::Ends, &mut |name, _| {
        Ok(number.filter(|_| part.each.selector() == Some(name)).map(|n| Value::Number(n.into())))
    })
    .map_err(HostError::Values)?;
    let exchange = patiently(ask, device, part.read, &data)?;
    let Some(Status::Response(code)) = exchange.status() else {
        return Err(ReadError::Silent { command: part.read });
    };
    let content = match exchange.class() {
        Some(CodeClass::Error) | None => Content::Refused(code),
        Some(CodeClass::Success | CodeClass::Warning) => {
            let entries = entries(part, &exchange);
            if entries.is_empty() {
                return Ok(None);
            }
            Content::Values(entries)
        }
    };
    Ok(Some(Section { part, number, content }))
}

/// Asks again while the device is busy.
pub(super) fn patiently(
    ask: &mut dyn Ask,
    device: &Device,
    command: u8,
    data: &[u8],
) -> Result<Exchange, ReadError> {
    for _ in 0..PATIENCE {
        let exchange = ask.ask_octets(device, command, data.to_vec())?;
        // Busy; a delayed response was begun, or is not there yet [ST-03].
        if !matches!(exchange.status(), Some(Status::Response(32..=34))) {
            return Ok(exchange);
        }
    }
    Err(ReadError::Busy { command })
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
