//! An I/O system as a device of its own: it answers for itself, and passes on what is for the devices behind it [IP-16].

use super::Device;
use super::commands::code;
use super::identity::MANUFACTURER;
use super::values::Values;
use crate::app::command::{Decoded, Direction, Form, Revision, Value, spec};
use crate::app::types::Date;
use crate::frame::{Address, Delimiter, Frame, FrameType, PollingAddress, Target, UniqueAddress};

/// Device type of the gateway, of our own choosing.
const DEVICE_TYPE: u16 = 0xFD84;
/// Profile: gateway [TB-06].
const PROFILE: u8 = 132;
/// It is a bridge between protocols [TB-05].
const PROTOCOL_BRIDGE: u8 = 0x04;
/// Channels of a card; the last card may have fewer.
const CHANNELS_OF_A_CARD: usize = 64;
/// Polling addresses of a channel [FR-05].
const MOST_ON_A_CHANNEL: u8 = 64;
/// Retries of the masters that ask for it.
const RETRIES: u8 = 3;
/// It is a primary master, and a secondary one where it is asked as one [TB-24].
const MASTER_MODE: u8 = 1;
/// A sub-device does not answer (own [IP-16]).
const NO_ANSWER: u8 = 9;

/// How a gateway is set up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GatewayConfig {
    /// Tag, at most 8 characters of packed text.
    pub tag: String,
    /// Long tag, at most 32 characters of Latin-1.
    pub long_tag: String,
    /// Device id, 24 bits.
    pub device_id: u32,
}

/// What a gateway knows of a device behind it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SubDevice {
    /// Its unique address.
    pub unique: UniqueAddress,
    /// Its device type as it says.
    pub device_type: u16,
    /// Its device id, 24 bits.
    pub device_id: u32,
    /// Its protocol revision.
    pub revision: u8,
    /// Its long tag, or its tag where its revision has none.
    pub long_tag: String,
    /// Device revision.
    pub device_revision: u8,
    /// Device profile [TB-06].
    pub profile: u8,
    /// Private label code.
    pub private_label: u16,
    /// On which channel it is, counted over all cards from 0.
    pub channel: usize,
}

/// The devices behind a gateway, and its channels.
pub trait Behind {
    /// How many devices there are.
    fn count(&self) -> usize;
    /// The device with this index, in the order in which the gateway counts them.
    fn nth(&self, index: usize) -> Option<SubDevice>;
    /// How many channels there are, on all cards together.
    fn channels(&self) -> usize {
        1
    }
}

impl Behind for Vec<SubDevice> {
    fn count(&self) -> usize {
        self.len()
    }
    fn nth(&self, index: usize) -> Option<SubDevice> {
        self.get(index).cloned()
    }
}

impl SubDevice {
    /// What a gateway that has asked it knows of this device on a channel.
    pub fn of(device: &Device, channel: usize) -> SubDevice {
        let identity = device.config().identity;
        let long = device.revision() >= Revision::R6;
        SubDevice {
            unique: device.unique_address(),
            device_type: identity.device_type,
            device_id: identity.device_id,
            revision: identity.revision.number(),
            long_tag: if long { device.long_tag() } else { device.tag() }.to_owned(),
            device_revision: identity.device_revision,
            profile: identity.device_profile,
            private_label: identity.private_label,
            channel,
        }
    }
}

/// The card of a channel that is counted over all cards, and its number on that card.
pub fn channel_place(channel: usize) -> [u8; 2] {
    [channel / CHANNELS_OF_A_CARD, channel % CHANNELS_OF_A_CARD].map(|n| u8::try_from(n).unwrap_or(u8::MAX))
}

/// What a gateway makes of a request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Handled {
    /// It answers.
    Answer(Frame),
    /// It asks a device behind it, on this channel; [`Gateway::carried`] makes its answer of what comes back.
    Ask(usize, Frame),
    /// It is for somebody else: it is passed on as it is.
    PassOn,
    /// It is for the gateway, and no answer is due.
    Nothing,
}

/// The gateway. It stores nothing that a request could change.
#[derive(Clone, Debug)]
pub struct Gateway {
    config: GatewayConfig,
}

/// A reply's response code and data.
type Reply = (u8, Vec<u8>);

impl Gateway {
    /// A gateway that is set up so.
    pub fn new(config: GatewayConfig) -> Gateway {
        Gateway { config }
    }

    /// Its unique address.
    pub fn unique_address(&self) -> UniqueAddress {
        let [_, id @ ..] = self.config.device_id.to_be_bytes();
        UniqueAddress::new(DEVICE_TYPE.to_be_bytes(), id)
    }

    /// A request came; `behind` are the devices behind it, in the order in which it counts them.
    pub fn handle(&self, request: &Frame, behind: &dyn Behind) -> Handled {
        match request.address().target {
            Target::Unique(u) if u == self.unique_address() => {}
            // By tag everybody is asked, the gateway first.
            Target::Unique(u) if u.is_broadcast() => {
                return match self.is_named(request) {
                    true => self.reply(request, (code::SUCCESS, self.identity())),
                    false => Handled::PassOn,
                };
            }
            Target::Unique(_) => return Handled::PassOn,
            Target::Polling(p) if p.get() == 0 && request.command() == 0 => {}
            Target::Polling(_) => return Handled::Nothing,
        }
        match request.command() {
            // A wrong tag is met with silence, whatever the address [DV-07].
            11 | 21 if !self.is_named(request) => Handled::Nothing,
            75 | 77 => match self.carry(request, behind.channels()) {
                Ok((channel, frame)) => Handled::Ask(channel, frame),
                Err(code) => self.reply(request, (code, Vec::new())),
            },
            _ => {
                let reply = self.own(request, behind);
                self.reply(request, reply)
            }
        }
    }

    /// The gateway's answer to a request that [`Handled::Ask`] came of, from what the device behind it answered.
    pub fn carried(&self, request: &Frame, answer: Option<&Frame>) -> Option<Frame> {
        let reply = match (answer, request.command()) {
            (None, _) => (NO_ANSWER, Vec::new()),
            (Some(frame), 75) => {
                let [code, _] = frame.status().unwrap_or_default();
                // A communication error is none of the gateway's own.
                if code & 0x80 == 0 { (code, frame.data().to_vec()) } else { (NO_ANSWER, Vec::new()) }
            }
            (Some(frame), _) => (code::SUCCESS, carried_77(request, frame)),
        };
        match self.reply(request, reply) {
            Handled::Answer(frame) => Some(frame),
            _ => None,
        }
    }

    fn reply(&self, request: &Frame, (code, data): Reply) -> Handled {
        let asked = request.address();
        let target = match asked.target {
            Target::Unique(_) => Target::Unique(self.unique_address()),
            polling @ Target::Polling(_) => polling,
        };
        let address = Address { master: asked.master, burst: false, target };
        match Frame::reply(false, address, request.command(), [code, 0], data) {
            Ok(frame) => Handled::Answer(frame),
            // What a device answers to 77 may be longer than what is left for it.
            Err(_) => match Frame::reply(false, address, request.command(), [code::DEVICE, 0], Vec::new()) {
                Ok(frame) => Handled::Answer(frame),
                Err(_) => Handled::Nothing,
            },
        }
    }

    /// Whether a request to all asks for its tag.
    fn is_named(&self, request: &Frame) -> bool {
        let own = if request.command() == 11 { &self.config.tag } else { &self.config.long_tag };
        name_asked_for(request).is_some_and(|name| name == *own)
    }

    fn identity(&self) -> Vec<u8> {
        let values = Values::new()
            .number("expansion", 254u8)
            .number("expanded_device_type", DEVICE_TYPE)
            .number("preambles_request", 5u8)
            .number("universal_revision", 7u8)
            .number("device_revision", 1u8)
            .number("software_revision", 1u8)
            .number("hardware_revision", 1u8)
            // Of no kind that the table names [TB-04].
            .number("physical_signalling", 6u8)
            .number("flags", PROTOCOL_BRIDGE)
            .number("device_id", self.config.device_id)
            .number("preambles_reply", 5u8)
            .number("last_device_variable", 0u8)
            .number("configuration_change_counter", 0u16)
            .number("extended_status", 0u8)
            .number("manufacturer_id", MANUFACTURER)
            .number("private_label", MANUFACTURER)
            .number("device_profile", PROFILE);
        encoded(0, &values)
    }

    /// What it says for itself.
    fn own(&self, request: &Frame, behind: &dyn Behind) -> Reply {
        let done = |number: u16, values: Values| (code::SUCCESS, encoded(number, &values));
        match request.command() {
            0 | 11 | 21 => (code::SUCCESS, self.identity()),
            13 => {
                let date = Value::Date(Date::from_bytes([1, 1, 126]));
                let values = Values::new().text("tag", &self.config.tag).text("descriptor", "GATEWAY");
                done(13, values.and("date", date))
            }
            20 => done(20, Values::new().text("long_tag", &self.config.long_tag)),
            74 => {
                let channels = behind.channels();
                let cards = channels.div_ceil(CHANNELS_OF_A_CARD);
                let few = |n: usize| u8::try_from(n).unwrap_or(u8::MAX);
                let values = Values::new()
                    .number("max_cards", few(cards))
                    .number("max_channels", few(channels.min(CHANNELS_OF_A_CARD)))
                    .number("max_sub_devices", MOST_ON_A_CHANNEL)
                    .number("devices_detected", behind.count() as u32 + 1)
                    .number("max_delayed_responses", 0u8)
                    .number("master_mode", MASTER_MODE)
                    .number("retries", RETRIES);
                done(74, values)
            }
            84 => match number(request, "index") {
                None => (code::TOO_FEW_DATA, Vec::new()),
                Some(index) => match self.sub_device(index, behind) {
                    None => (code::INVALID_SELECTION, Vec::new()),
                    Some(d) => {
                        let [card, channel] = channel_place(d.channel);
                        let values = Values::new()
                            .number("index", index)
                            .number("io_card", card)
                            .number("channel", channel)
                            .number("manufacturer_id", MANUFACTURER)
                            .number("expanded_device_type", d.device_type)
                            .number("device_id", d.device_id)
                            .number("universal_revision", d.revision)
                            .text("long_tag", &d.long_tag)
                            .number("device_revision", d.device_revision)
                            .number("device_profile", d.profile)
                            .number("private_label", d.private_label);
                        done(84, values)
                    }
                },
            },
            _ => (code::NOT_IMPLEMENTED, Vec::new()),
        }
    }

    /// The gateway as number 0, then those behind it.
    fn sub_device(&self, index: u32, behind: &dyn Behind) -> Option<SubDevice> {
        let Some(i) = index.checked_sub(1) else {
            return Some(SubDevice {
                unique: self.unique_address(),
                device_type: DEVICE_TYPE,
                device_id: self.config.device_id,
                revision: 7,
                long_tag: self.config.long_tag.clone(),
                device_revision: 1,
                profile: PROFILE,
                private_label: MANUFACTURER,
                channel: 0,
            });
        };
        behind.nth(i as usize)
    }

    /// The request to a device behind it that 75 or 77 means; else the response code.
    fn carry(&self, request: &Frame, channels: usize) -> Result<(usize, Frame), u8> {
        let few = code::TOO_FEW_DATA;
        let card = number(request, "io_card").ok_or(few)? as usize;
        let on_card = number(request, "channel").ok_or(few)? as usize;
        let channel = card * CHANNELS_OF_A_CARD + on_card;
        let here = on_card < CHANNELS_OF_A_CARD && channel < channels;
        let master = request.address().master;
        let (target, command, data) = if request.command() == 75 {
            let polling = number(request, "polling_address").ok_or(few)?;
            let polling = u8::try_from(polling).ok().and_then(PollingAddress::new);
            (Target::Polling(polling.ok_or(code::INVALID_SELECTION)?), 0, Vec::new())
        } else {
            let delimiter = number(request, "inner_delimiter").ok_or(few)? as u8;
            let stx = Delimiter::parse(delimiter)
                .is_some_and(|d| d.long && d.expansion == 0 && d.frame_type == FrameType::Stx);
            if !stx {
                return Err(code::INVALID_SELECTION);
            }
            let address = octets(request, "inner_address").and_then(|o| o.try_into().ok()).ok_or(few)?;
            let command = number(request, "inner_command").ok_or(few)? as u8;
            let count = number(request, "inner_byte_count").ok_or(few)? as usize;
            let data = octets(request, "inner_data").unwrap_or_default();
            let data = data.get(..count).ok_or(few)?.to_vec();
            (Target::Unique(UniqueAddress::from_octets(address)), command, data)
        };
        if !here {
            return Err(code::INVALID_SELECTION);
        }
        let frame = Frame::request(Address::new(master, target), command, data).map_err(|_| few)?;
        Ok((channel, frame))
    }
}

/// The data of the reply to the request of 77, of the frame that a device behind answered.
fn carried_77(request: &Frame, frame: &Frame) -> Vec<u8> {
    let octets = frame.encode();
    // A frame to a unique address has five octets of it behind the delimiter.
    let address = octets.get(1..6).unwrap_or_default().to_vec();
    let [first, second] = frame.status().unwrap_or_default();
    let asked = |name| number(request, name).unwrap_or_default() as u8;
    let values = Values::new()
        .number("io_card", asked("io_card"))
        .number("channel", asked("channel"))
        .number("inner_delimiter", frame.delimiter().octet())
        .and("inner_address", Value::Octets(address))
        .number("inner_command", frame.command())
        .number("inner_byte_count", frame.byte_count())
        .and("inner_data", Value::Octets([&[first, second], &frame.data()[..]].concat()));
    encoded(77, &values)
}

fn form(number: u16) -> Option<&'static Form> {
    spec(number)?.form(Revision::R7)
}

fn encoded(number: u16, values: &Values) -> Vec<u8> {
    form(number).map_or(Vec::new(), |form| values.encode(form.reply))
}

/// A value of a request by its name; `None` where the data end before it.
fn value(request: &Frame, name: &str) -> Option<Value> {
    let row = spec(request.command().into())?;
    let mut decoded = Decoded::default();
    row.decode(Some(Revision::R7), Direction::Request, request.data(), &mut decoded);
    let found = decoded.fields.iter().find(|f| f.field.name == name)?;
    Some(found.value(request.data()))
}

fn number(request: &Frame, name: &str) -> Option<u32> {
    value(request, name)?.number()
}

fn octets(request: &Frame, name: &str) -> Option<Vec<u8>> {
    match value(request, name)? {
        Value::Octets(octets) => Some(octets),
        _ => None,
    }
}

fn text(request: &Frame, name: &str) -> Option<String> {
    match value(request, name)? {
        Value::Text(text) => Some(text),
        _ => None,
    }
}

/// The tag that command 11 asks for, or the long tag that command 21 does; `None` of other commands.
pub(crate) fn name_asked_for(request: &Frame) -> Option<String> {
    match request.command() {
        11 => text(request, "tag"),
        21 => text(request, "long_tag"),
        _ => None,
    }
}
