//! The bench file as it is written: every key, none of it judged yet.
//!
//! The comments here are the descriptions in the JSON Schema that editors show.

mod current_loop;
mod device;
mod positioner;
pub mod valve;

pub use crate::app::written::{Number, Whole};
pub use current_loop::LoopTable;
pub use device::{DeviceTable, RangeTable, SlowTable};
pub use positioner::PositionerTable;

use crate::bench::changes::fault_words;
use schemars::JsonSchema;
use serde::Deserialize;
use serde::de::{Deserializer, Error, MapAccess, Visitor, value::MapAccessDeserializer};
use std::fmt;
use toml::Spanned;

/// `"wire"`, `"fast"` or a number, as text.
#[derive(Clone, Debug)]
pub struct PaceText(pub String);

/// A date, quoted or not, as text.
#[derive(Clone, Debug)]
pub struct DateText(pub String);

struct PaceVisitor;

impl Visitor<'_> for PaceVisitor {
    type Value = PaceText;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("\"wire\", \"fast\" or a number")
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<PaceText, E> {
        Ok(PaceText(text.to_owned()))
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<PaceText, E> {
        Ok(PaceText(n.to_string()))
    }
    fn visit_f64<E: Error>(self, x: f64) -> Result<PaceText, E> {
        Ok(PaceText(x.to_string()))
    }
}

impl<'de> Deserialize<'de> for PaceText {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(PaceVisitor)
    }
}

/// A tag as text, or a polling address as a number.
#[derive(Clone, Debug)]
pub enum DeviceName {
    /// A tag or a long tag.
    Tag(String),
    /// A polling address.
    Polling(i128),
}

struct DeviceNameVisitor;

impl Visitor<'_> for DeviceNameVisitor {
    type Value = DeviceName;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a tag in quotes or a polling address")
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<DeviceName, E> {
        Ok(DeviceName::Tag(text.to_owned()))
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<DeviceName, E> {
        Ok(DeviceName::Polling(n.into()))
    }
    fn visit_u64<E: Error>(self, n: u64) -> Result<DeviceName, E> {
        Ok(DeviceName::Polling(n.into()))
    }
}

impl<'de> Deserialize<'de> for DeviceName {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(DeviceNameVisitor)
    }
}

struct DateVisitor;

impl<'de> Visitor<'de> for DateVisitor {
    type Value = DateText;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a date such as 2026-03-01")
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<DateText, E> {
        Ok(DateText(text.to_owned()))
    }
    fn visit_map<M: MapAccess<'de>>(self, map: M) -> Result<DateText, M::Error> {
        // TOML's own dates come as a map with one key that only its reader knows.
        let date = toml::value::Datetime::deserialize(MapAccessDeserializer::new(map))?;
        Ok(DateText(date.to_string()))
    }
}

impl<'de> Deserialize<'de> for DateText {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(DateVisitor)
    }
}

/// `"wire"` and `"fast"`, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum PaceWord {
    /// As fast as the wire: 1200 bit/s.
    Wire,
    /// At once: nobody judges times.
    Fast,
}

/// The forms of a pace, for the schema.
#[derive(JsonSchema)]
#[schemars(untagged)]
#[allow(dead_code)]
enum PaceForms {
    Word(PaceWord),
    /// How many times faster than the wire.
    Factor(#[schemars(range(min = 0.01, max = 1000.0))] f64),
}

/// The forms of a device's name, for the schema.
#[derive(JsonSchema)]
#[schemars(untagged)]
#[allow(dead_code)]
enum DeviceNameForms {
    Tag(String),
    Polling(#[schemars(range(max = 63))] u8),
}

/// The two masters, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum RoleWord {
    /// The control system's side.
    Primary,
    /// A hand-held or a service computer.
    Secondary,
}

/// Every fault of a master, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum HostFaultWord {
    /// Three preambles.
    FewPreambles,
    /// A check byte with one bit wrong.
    WrongCheckByte,
    /// A byte count that is too large by one.
    WrongByteCount,
    /// The burst bit is set.
    BurstBit,
    /// One octet behind the check byte.
    OctetBehind,
}

/// Every kind of fault on the wires, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum FaultWord {
    /// Each bit is wrong with a probability: rate.
    BitErrors,
    /// So many octets in a row are not heard: octets.
    LostOctets,
    /// So many octets that nobody sent stand in the middle: octets.
    InsertedOctets,
    /// The sender pauses between two octets, the carrier stays: characters.
    Gap,
    /// The carrier goes for as long as so many octets: octets.
    CarrierLost,
    /// Only so many preambles are heard, of those that were sent: preambles_left.
    ShortPreamble,
    /// The whole transmission comes a second time, after a silence: characters.
    Repeated,
    /// Octets out of nowhere, whoever speaks: every_s, octets.
    Noise,
}

/// Which transmissions a fault is for, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum OfWord {
    /// Every one.
    All,
    /// Those of masters.
    Requests,
    /// Those of devices that were asked.
    Answers,
    /// Those of devices that speak unasked.
    Bursts,
}

/// A looprig bench: mock devices and access points on one pair of wires. Paths are relative to this
/// file.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "looprig bench")]
pub struct BenchFile {
    /// How fast the wires run: "wire" (1200 bit/s), "fast" (at once, nobody judges times), or how
    /// many times faster than the wire, 0.01 to 1000. Default "wire".
    #[schemars(with = "Option<PaceForms>")]
    pub pace: Option<Spanned<PaceText>>,
    /// Fixes what is left to chance: faults on the wires, jitter, what a collision leaves of octets. 0 to
    /// 9223372036854775807. Default: the program chooses one and prints it.
    #[schemars(with = "Option<i64>", range(min = 0))]
    pub seed: Option<Spanned<Whole>>,
    /// The loop of the devices. With a current alone it drives the positioners, and every device has power whatever
    /// happens; a transmitter has a loop of its own then, whose current it makes itself.
    #[serde(rename = "loop")]
    #[schemars(with = "Option<LoopTable>")]
    pub current_loop: Option<Spanned<LoopTable>>,
    /// Lets programs drive the bench over HTTP while `looprig mock` runs it.
    pub api: Option<ApiTable>,
    /// Makes the HART-IP servers of this file a gateway: a device of its own, with all devices of this file behind it.
    #[schemars(with = "Option<GatewayTable>")]
    pub gateway: Option<Spanned<GatewayTable>>,
    /// Makes this file the template of many loops, each with devices, wires and state of its own.
    #[schemars(with = "Option<FleetTable>")]
    pub fleet: Option<Spanned<FleetTable>>,
    /// A mock device; at least one.
    #[schemars(with = "Vec<DeviceTable>", length(min = 1))]
    pub device: Option<Vec<Spanned<DeviceTable>>>,
    /// A mock master at work on the same wires; at most two, for frames know two. Two of one role are
    /// allowed: that is a fault of real plants, and whoever notices it first stops.
    #[serde(default)]
    #[schemars(with = "Vec<MasterTable>", length(max = 2))]
    pub master: Vec<Spanned<MasterTable>>,
    /// A fault on the wires. They are asked in the order of this file about each transmission as it begins;
    /// the first that does something to it is the last that is asked.
    #[serde(default)]
    #[schemars(with = "Vec<WireFaultTable>")]
    pub wire_fault: Vec<Spanned<WireFaultTable>>,
    /// Where software reaches the bench; at least one. All of them are access points to the same
    /// pair of wires.
    #[schemars(with = "Vec<LineTable>", length(min = 1))]
    pub line: Option<Vec<Spanned<LineTable>>>,
    /// Something that changes while the bench runs.
    #[serde(default)]
    #[schemars(with = "Vec<EventTable>")]
    pub event: Vec<Spanned<EventTable>>,
}

/// The gateway at HART-IP: it answers command 0 at polling address 0, 74, 75, 77 and 84.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct GatewayTable {
    /// Tag, at most 8 capital letters, digits and signs. Default "GATEWAY".
    #[schemars(with = "Option<String>")]
    pub tag: Option<Spanned<String>>,
    /// Long tag, at most 32 characters. Default "gateway".
    #[schemars(with = "Option<String>")]
    pub long_tag: Option<Spanned<String>>,
    /// Device id, 0 to 16777215. Default 1.
    #[schemars(with = "Option<u32>", range(max = 16_777_215))]
    pub device_id: Option<Spanned<Whole>>,
}

/// Many loops of one file. In texts of devices (tag, descriptor, message, long_tag), in memory and in pty:LINK every row of #
/// is the loop's number: "FV-####" is FV-0001, FV-0002 ... A device_id of the file is that of number 0 and rises by the number of devices
/// in a loop; a port is the first loop's and rises by the number of ports. With [gateway] one gateway is in front of all
/// loops, each of which is a channel.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FleetTable {
    /// How many loops, 1 to 10000; without [gateway], where each has ports of its own, 1 to 1000.
    #[schemars(with = "u16", range(min = 1, max = 10_000))]
    pub count: Option<Spanned<Whole>>,
    /// The number of the first loop, 0 to 99999999. Default 1.
    #[schemars(with = "Option<u32>", range(max = 99_999_999))]
    pub first: Option<Spanned<Whole>>,
}

/// How programs drive the bench over HTTP.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ApiTable {
    /// Address and port where it listens, such as "127.0.0.1:4620"; port 0 is any that is free, and is told. Another address than
    /// loopback (127.0.0.1, ::1) needs a token, which is never written here.
    #[schemars(with = "String")]
    pub at: Spanned<String>,
}

/// A mock master. What it asks changes mock devices alone: commands that write are refused in a bench
/// with a serial: or tcp: line, behind which real devices may be.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct MasterTable {
    /// "primary" (the control system) or "secondary" (a hand-held). Default "primary".
    #[schemars(with = "Option<RoleWord>")]
    pub role: Option<Spanned<String>>,
    /// How often it repeats a request that nobody answers, 0 to 10. Default 3.
    #[schemars(with = "Option<u8>", range(max = 10))]
    pub retries: Option<Spanned<Whole>>,
    /// Whether it listens for one link-quiet time before its first request. Default true.
    #[schemars(with = "Option<bool>")]
    pub listens_first: Option<Spanned<bool>>,
    /// How far its clock runs off, parts per million, -20000 to 20000; above 0 it is fast. Default 0.
    #[schemars(with = "Option<i32>", range(min = -20_000, max = 20_000))]
    pub clock_ppm: Option<Spanned<Whole>>,
    /// It begins a request up to so much later than it means to, ms at wire pace, 0 to 1000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1000.0))]
    pub jitter_ms: Option<Spanned<Number>>,
    /// What it does wrong in every request, for those who want to see how others take it, and whether
    /// `looprig host-check` finds it. Not in a bench with a serial: or tcp: line.
    #[schemars(with = "Option<Vec<HostFaultWord>>")]
    pub faults: Option<Vec<Spanned<String>>>,
    /// What it asks again and again; at least one. Of those that are due the one that has waited longest
    /// comes first.
    #[schemars(with = "Vec<AskTable>", length(min = 1))]
    pub asks: Option<Vec<Spanned<AskTable>>>,
}

/// Something that a master asks again and again.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AskTable {
    /// The device of this file: its tag or long tag in quotes, or its polling address. It is asked by its
    /// unique address; command 0 of a polling address is asked there.
    #[schemars(with = "DeviceNameForms")]
    pub device: Option<Spanned<DeviceName>>,
    /// The command, 0 to 255.
    #[schemars(with = "u8")]
    pub command: Option<Spanned<Whole>>,
    /// Data octets of the request in hex, such as "00 01". Default none.
    #[schemars(with = "Option<String>")]
    pub data: Option<Spanned<String>>,
    /// From the moment it is due to the moment it is due again, s by the master's clock, 0 to 31536000; the
    /// pace does not scale it. 0 asks without a pause, at pace "fast" every 10 ms. Default 1.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 31_536_000.0))]
    pub every_s: Option<Spanned<Number>>,
    /// When it is due first, s by the master's clock, 0 to 31536000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 31_536_000.0))]
    pub from_s: Option<Spanned<Number>>,
}

/// A fault on the wires. At pace "fast", where octets take no time, there is noise only.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WireFaultTable {
    /// What it does; the kind says which of the keys below belong to it.
    #[schemars(with = "FaultWord")]
    pub kind: Option<Spanned<String>>,
    /// Of bit_errors: the probability that a bit is wrong, 0 to 1.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1.0))]
    pub rate: Option<Spanned<Number>>,
    /// Of lost_octets, inserted_octets, carrier_lost: how many octets; of noise: the most in one burst.
    /// 1 to 255.
    #[schemars(with = "Option<u8>", range(min = 1, max = 255))]
    pub octets: Option<Spanned<Whole>>,
    /// Of gap: how long the pause is; of repeated: the silence before the second time. Characters, 0 to
    /// 1000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1000.0))]
    pub characters: Option<Spanned<Number>>,
    /// Of short_preamble: how many preambles are heard, 0 to 20.
    #[schemars(with = "Option<u8>", range(max = 20))]
    pub preambles_left: Option<Spanned<Whole>>,
    /// Of noise: the mean time between two bursts, s, 0.001 to 31536000; the pace does not scale it.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 31_536_000.0))]
    pub every_s: Option<Spanned<Number>>,
    /// Which share of the transmissions that it is for, 0 to 1; not of noise. Default 1.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1.0))]
    pub share: Option<Spanned<Number>>,
    /// Which transmissions: "all", "requests", "answers" or "bursts"; not of noise. Default "all".
    #[schemars(with = "Option<OfWord>")]
    pub of: Option<Spanned<String>>,
    /// From when on, seconds since the bench started, 0 to 31536000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 31_536_000.0))]
    pub from_s: Option<Spanned<Number>>,
    /// Until when, seconds since the bench started, after from_s. Default: as long as the bench runs.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 31_536_000.0))]
    pub until_s: Option<Spanned<Number>>,
}

/// Where software reaches the bench.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LineTable {
    /// "pty:" for a new pseudo-terminal, "pty:LINK" for one with a symbolic link to it (relative to
    /// this file), a serial port with a modem, such as "serial:/dev/ttyUSB0", or with options as on the
    /// command line, "serial:/dev/ttyUSB0?rts=on&dtr=off&echo=on", "tcp-listen:HOST:PORT" to
    /// let software connect by TCP (this machine alone if HOST is left out, any free port if PORT is 0),
    /// or "tcp:HOST:PORT" to connect to it. "hart-ip:" is a HART-IP server on UDP and TCP, "hart-ip+tcp:" on TCP alone:
    /// this machine alone at port 5094, or as in "hart-ip:HOST:PORT".
    #[schemars(
        with = "String",
        regex(pattern = "^(pty:|serial:.|tcp-listen:.|tcp:.|hart-ip:|hart-ip[+]tcp:)")
    )]
    pub at: Option<Spanned<String>>,
    /// Of a HART-IP server: most sessions at once, 1 to 1024. Default 32.
    #[schemars(with = "Option<u16>", range(min = 1, max = 1024))]
    pub sessions: Option<Spanned<Whole>>,
    /// Of a HART-IP server: which master types may have a session, "both" or "primary". Default "both".
    #[schemars(with = "Option<SessionMastersWord>")]
    pub session_masters: Option<Spanned<String>>,
    /// Of a HART-IP server: whether a second primary session is refused while one is open. Default false.
    #[schemars(with = "Option<bool>")]
    pub one_primary: Option<Spanned<bool>>,
    /// Of a HART-IP server: what it answers where nobody answers on the wires, "communication_error" (the frame with 84 00) or
    /// "nak" (status 6). Default "communication_error".
    #[schemars(with = "Option<NobodyWord>")]
    pub nobody: Option<Spanned<String>>,
}

/// Which master types may have a session.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum SessionMastersWord {
    /// Primary and secondary.
    Both,
    /// Primary alone.
    Primary,
}

/// What is answered where nobody answers.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum NobodyWord {
    /// The device's frame with a communication error.
    CommunicationError,
    /// A NAK.
    Nak,
}

/// Something that changes while the bench runs: a time and one change.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct EventTable {
    /// When, seconds since the bench started, 0 to 31536000 (a year). The pace does not scale it.
    #[schemars(with = "f64", range(min = 0.0, max = 31_536_000.0))]
    pub at_s: Option<Spanned<Number>>,
    /// The one device of this file to which it happens: its tag or long tag in quotes, or its polling address, as
    /// this file gives them. Not with loop_current_ma. Default: every device.
    #[schemars(with = "Option<DeviceNameForms>")]
    pub device: Option<Spanned<DeviceName>>,
    /// The current in the loop of the positioners from then on, mA, 0 to 30.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 30.0))]
    pub loop_current_ma: Option<Spanned<Number>>,
    /// The volts of the loop's supply from then on, or the most that its card can give, 0 to 100. This and the next
    /// three are for a bench whose [loop] says what feeds it.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub loop_supply_v: Option<Spanned<Number>>,
    /// Whether the loop is open at its supply or card from then on.
    #[schemars(with = "Option<bool>")]
    pub loop_open: Option<Spanned<bool>>,
    /// Resistance that is in the wires behind supply or card from then on besides the sheet's, all of it together,
    /// such as of a corroded terminal, ohm, 0 (none, as on the sheet) to 100000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100_000.0))]
    pub loop_extra_ohm: Option<Spanned<Number>>,
    /// Resistance across the wires at the first device of the sheet from then on, such as of water in a terminal box,
    /// ohm, 0.001 or more; inf (or 1e12 and more) takes the leak away.
    #[schemars(with = "Option<f64>", range(min = 0.001))]
    pub loop_leak_ohm: Option<Spanned<Number>>,
    /// The supply pressure of positioners from then on, bar, 0 to 20; where the valve is computed that of the header before
    /// its regulator.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub supply_pressure_bar: Option<Spanned<Number>>,
    /// The process temperature of temperature transmitters from then on, degC, -273.15 to 2000.
    #[schemars(with = "Option<f64>", range(min = -273.15, max = 2000.0))]
    pub process_temperature_degc: Option<Spanned<Number>>,
    /// Whether the sensor of temperature transmitters is broken from then on.
    #[schemars(with = "Option<bool>")]
    pub sensor_broken: Option<Spanned<bool>>,
    /// Whether the device is armed from then on, as by a key in the field: armed devices answer command 73.
    #[schemars(with = "Option<bool>")]
    pub armed: Option<Spanned<bool>>,
    /// Whether the device is protected from being written from then on, as by a switch in it.
    #[schemars(with = "Option<bool>")]
    pub write_protect: Option<Spanned<bool>>,
    /// Whether the device answers "busy" where it may, from then on.
    #[schemars(with = "Option<bool>")]
    pub busy: Option<Spanned<bool>>,
    /// Whether the device says from then on that it is broken: "device malfunction", and "electronic defect" in command 48. It
    /// works on all the same.
    #[schemars(with = "Option<bool>")]
    pub malfunction: Option<Spanned<bool>>,
    /// true: the device loses its power for a moment and starts again, with its memory as stored.
    #[schemars(with = "Option<bool>", extend("const" = true))]
    pub power_cycle: Option<Spanned<bool>>,
    /// What is wrong from then on, so bad as severity says: with a valve that [device.valve] describes, with the loop, a
    /// device's settings, or who else is on the wires; `looprig mock --faults` tells all of them.
    #[schemars(with = "Option<String>", extend("enum" = fault_words().map(|w| w.0).collect::<Vec<_>>()))]
    pub fault: Option<Spanned<String>>,
    /// Of a fault: how bad, 0 (mended) to 1.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1.0))]
    pub severity: Option<Spanned<Number>>,
    /// The pressure before the regulator of the computed valve from then on, bar, 0 to 20.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub header_pressure_bar: Option<Spanned<Number>>,
    /// The force of the process on the computed valve from then on, as a share of what is set up, 0 to 10.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10.0))]
    pub process_share: Option<Spanned<Number>>,
    /// Whether the trip input of the computed valve is energised from then on.
    #[schemars(with = "Option<bool>")]
    pub trip_energised: Option<Spanned<bool>>,
    /// Somebody moves the computed valve by hand to this place of its stem's way, %, 0 to 100, in 20 s from end to end, and holds it there.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub hand_percent: Option<Spanned<Number>>,
    /// true: the hand that moved the computed valve lets go.
    #[schemars(with = "Option<bool>", extend("const" = true))]
    pub hand_off: Option<Spanned<bool>>,
    /// Whether the process allows a calibration from then on, of positioners whose valve is computed.
    #[schemars(with = "Option<bool>")]
    pub calibration_allowed: Option<Spanned<bool>>,
    /// true: somebody at the positioner starts a calibration; the computed valve strokes.
    #[schemars(with = "Option<bool>", extend("const" = true))]
    pub calibrate: Option<Spanned<bool>>,
    /// Whether this key of positioners whose valve is computed is pressed from then on: it opens the valve while it is pressed.
    #[schemars(with = "Option<bool>")]
    pub key_open: Option<Spanned<bool>>,
    /// Whether this key of positioners whose valve is computed is pressed from then on: it closes the valve while it is pressed.
    #[schemars(with = "Option<bool>")]
    pub key_close: Option<Spanned<bool>>,
    /// Whether this key of positioners whose valve is computed is pressed from then on: held for 3 s it starts a calibration.
    #[schemars(with = "Option<bool>")]
    pub key_calibrate: Option<Spanned<bool>>,
    /// Whether this key of positioners whose valve is computed is pressed from then on: it takes note of a failure, ends a calibration, gives the set point back to the loop.
    #[schemars(with = "Option<bool>")]
    pub key_acknowledge: Option<Spanned<bool>>,
    /// Whether this key of positioners whose valve is computed is pressed from then on: it arms the device to be found, or disarms it.
    #[schemars(with = "Option<bool>")]
    pub key_find: Option<Spanned<bool>>,
}

/// A value that an event gives.
pub enum Given<'a> {
    /// A number.
    Number(&'a Spanned<Number>),
    /// Yes or no.
    Switch(&'a Spanned<bool>),
    /// A word.
    Word(&'a Spanned<String>),
}

impl EventTable {
    /// What stands behind a key of [`super::super::changes::CHANGES`], if it is there.
    pub fn given(&self, key: &str) -> Option<Given<'_>> {
        match key {
            "loop_current_ma" => self.loop_current_ma.as_ref().map(Given::Number),
            "loop_supply_v" => self.loop_supply_v.as_ref().map(Given::Number),
            "loop_extra_ohm" => self.loop_extra_ohm.as_ref().map(Given::Number),
            "loop_leak_ohm" => self.loop_leak_ohm.as_ref().map(Given::Number),
            "loop_open" => self.loop_open.as_ref().map(Given::Switch),
            "supply_pressure_bar" => self.supply_pressure_bar.as_ref().map(Given::Number),
            "process_temperature_degc" => self.process_temperature_degc.as_ref().map(Given::Number),
            "sensor_broken" => self.sensor_broken.as_ref().map(Given::Switch),
            "armed" => self.armed.as_ref().map(Given::Switch),
            "write_protect" => self.write_protect.as_ref().map(Given::Switch),
            "busy" => self.busy.as_ref().map(Given::Switch),
            "malfunction" => self.malfunction.as_ref().map(Given::Switch),
            "power_cycle" => self.power_cycle.as_ref().map(Given::Switch),
            "fault" => self.fault.as_ref().map(Given::Word),
            "header_pressure_bar" => self.header_pressure_bar.as_ref().map(Given::Number),
            "process_share" => self.process_share.as_ref().map(Given::Number),
            "trip_energised" => self.trip_energised.as_ref().map(Given::Switch),
            "hand_percent" => self.hand_percent.as_ref().map(Given::Number),
            "hand_off" => self.hand_off.as_ref().map(Given::Switch),
            "calibration_allowed" => self.calibration_allowed.as_ref().map(Given::Switch),
            "calibrate" => self.calibrate.as_ref().map(Given::Switch),
            "key_open" => self.key_open.as_ref().map(Given::Switch),
            "key_close" => self.key_close.as_ref().map(Given::Switch),
            "key_calibrate" => self.key_calibrate.as_ref().map(Given::Switch),
            "key_acknowledge" => self.key_acknowledge.as_ref().map(Given::Switch),
            "key_find" => self.key_find.as_ref().map(Given::Switch),
            _ => None,
        }
    }
}
