//! A device of a bench file as it is written.

use super::positioner::PositionerTable;
use super::valve::ValveTable;
use super::{DateText, Number, Whole};
use crate::bench::file::bursts::BurstTable;
use crate::bench::file::described_tables::{AnswerTable, ValueForms, ValueTable};
use crate::device::ProtocolFault;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// A mock device. Its manufacturer code is 253, which belongs to nobody.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviceTable {
    /// What it is: "positioner", whose loop current is an input, or "temperature", a two-wire temperature transmitter,
    /// which makes its loop current itself. Default "positioner".
    #[schemars(with = "Option<KindWord>")]
    pub kind: Option<Spanned<String>>,
    /// Revision of the protocol that it speaks: 5, 6 or 7. Default 7.
    #[schemars(with = "Option<u8>", range(min = 5, max = 7))]
    pub revision: Option<Spanned<Whole>>,
    /// Polling address: 0 to 15 in revision 5, 0 to 63 from revision 6 on. Default 0.
    #[schemars(with = "Option<u8>", range(max = 63))]
    pub polling_address: Option<Spanned<Whole>>,
    /// Tag: up to 8 capital letters, digits and signs, no small letters. Default empty.
    #[schemars(with = "Option<String>", length(max = 8))]
    pub tag: Option<Spanned<String>>,
    /// Descriptor: up to 16 characters as in a tag. Default empty.
    #[schemars(with = "Option<String>", length(max = 16))]
    pub descriptor: Option<Spanned<String>>,
    /// Date that the device stores, such as 2026-03-01; years 1900 to 2155. Default 2026-01-01.
    #[schemars(with = "Option<String>", extend("format" = "date"))]
    pub date: Option<Spanned<DateText>>,
    /// Message: up to 32 characters as in a tag. Default empty.
    #[schemars(with = "Option<String>", length(max = 32))]
    pub message: Option<Spanned<String>>,
    /// Long tag, revisions 6 and 7: up to 32 characters of Latin-1. Default empty.
    #[schemars(with = "Option<String>", length(max = 32))]
    pub long_tag: Option<Spanned<String>>,
    /// Final assembly number, 0 to 16777215. Default 0.
    #[schemars(with = "Option<u32>", range(max = 0xFF_FFFF))]
    pub final_assembly_number: Option<Spanned<Whole>>,
    /// Device type: 0 to 255 in revisions 5 and 6; the expanded device type, 0 to 65535, in revision
    /// 7. Default 0x51, 0x61, 0xFD71 by revision; of a temperature transmitter
    /// 0x52, 0x62, 0xFD72.
    #[schemars(with = "Option<u16>")]
    pub device_type: Option<Spanned<Whole>>,
    /// Device id, the last three octets of the unique address, 0 to 16777215. Default 0x003104.
    #[schemars(with = "Option<u32>", range(max = 0xFF_FFFF))]
    pub device_id: Option<Spanned<Whole>>,
    /// Device revision, 0 to 255. Default 1.
    #[schemars(with = "Option<u8>")]
    pub device_revision: Option<Spanned<Whole>>,
    /// Software revision, 0 to 255. Default 1.
    #[schemars(with = "Option<u8>")]
    pub software_revision: Option<Spanned<Whole>>,
    /// Hardware revision, 0 to 31. Default 1.
    #[schemars(with = "Option<u8>", range(max = 31))]
    pub hardware_revision: Option<Spanned<Whole>>,
    /// Preambles that the device wants before a request, 5 to 20. Default 5.
    #[schemars(with = "Option<u8>", range(min = 5, max = 20))]
    pub preambles_request: Option<Spanned<Whole>>,
    /// Preambles that the device sends before an answer, 5 to 20. Default 5.
    #[schemars(with = "Option<u8>", range(min = 5, max = 20))]
    pub preambles_reply: Option<Spanned<Whole>>,
    /// Private label code, 0 to 65535; revision 5 shows its low octet. Default 253.
    #[schemars(with = "Option<u16>")]
    pub private_label: Option<Spanned<Whole>>,
    /// Whether the loop current is at work when the device is new, revisions 6 and 7: the set point follows it, or it
    /// follows the temperature. In revision 5 it does at polling address 0. Default true.
    #[schemars(with = "Option<bool>")]
    pub loop_current_mode_enabled: Option<Spanned<bool>>,
    /// Whether what the device stores is protected from being written. Default false.
    #[schemars(with = "Option<bool>")]
    pub write_protect: Option<Spanned<bool>>,
    /// Whether command 38 passes under write protect. Default true.
    #[schemars(with = "Option<bool>")]
    pub reset_passes_write_protect: Option<Spanned<bool>>,
    /// Time from the end of a request to the start of the answer, ms at wire pace, 0 to below 256.
    /// Default 10.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 256.0))]
    pub response_delay_ms: Option<Spanned<Number>>,
    /// From the power that comes back to the moment when it works again, s, 0.1 to 600; for a bench whose [loop] says what
    /// feeds it. Default 3.
    #[schemars(with = "Option<f64>", range(min = 0.1, max = 600.0))]
    pub startup_s: Option<Spanned<Number>>,
    /// How far its clock runs off, parts per million, -20000 to 20000; above 0 it is fast. Default 0.
    #[schemars(with = "Option<i32>", range(min = -20_000, max = 20_000))]
    pub clock_ppm: Option<Spanned<Whole>>,
    /// It begins an answer up to so much later than it means to, ms at wire pace, 0 to 1000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1000.0))]
    pub jitter_ms: Option<Spanned<Number>>,
    /// Whether a damaged request is answered with the communication error octets. Default true.
    #[schemars(with = "Option<bool>")]
    pub answers_damaged: Option<Spanned<bool>>,
    /// Whether revisions 6 and 7 take the shorter requests of older masters. Default true.
    #[schemars(with = "Option<bool>")]
    pub accepts_older_masters: Option<Spanned<bool>>,
    /// Whether command 42 is answered before the device starts again. Default true.
    #[schemars(with = "Option<bool>")]
    pub reset_answers: Option<Spanned<bool>>,
    /// Whether the device answers "busy" where it may. Default false.
    #[schemars(with = "Option<bool>")]
    pub busy: Option<Spanned<bool>>,
    /// What it does otherwise than the protocol wants, by name, such as ["check_byte_wrong"]: looprig mock --protocol-faults
    /// lists them. For those who test what talks to devices. Default none.
    #[serde(default)]
    #[schemars(with = "Vec<ProtocolFaultWord>")]
    pub protocol_faults: Vec<Spanned<String>>,
    /// A command that takes its time.
    #[serde(default)]
    #[schemars(with = "Vec<SlowTable>")]
    pub slow: Vec<Spanned<SlowTable>>,
    /// File in which the device keeps what is written to it, relative to this file. It is made at the
    /// first write. What it holds goes before the names and addresses given here. Default none: the
    /// device forgets.
    #[schemars(with = "Option<String>", length(min = 1))]
    pub memory: Option<Spanned<String>>,
    /// What it sends in bursts, without being asked; at most three, before revision 7 one.
    #[serde(default)]
    #[schemars(with = "Vec<BurstTable>", length(max = 3))]
    pub burst: Vec<Spanned<BurstTable>>,
    /// A description of the device's type (TOML; looprig explain --schema), relative to this file. It gives names to
    /// commands 128 to 253.
    #[schemars(with = "Option<String>", length(min = 1))]
    pub description: Option<Spanned<String>>,
    /// A described command that the device answers; the others are not implemented.
    #[serde(default)]
    #[schemars(with = "Vec<AnswerTable>")]
    pub command: Vec<Spanned<AnswerTable>>,
    /// What stored commands hold when the device is new: name = value. Where commands select, each table is of one of the
    /// things that can be selected, and those that no table is of do not exist. What is not given is 0 or empty.
    #[serde(default)]
    #[schemars(with = "Vec<BTreeMap<String, ValueForms>>")]
    pub stored: Vec<Spanned<ValueTable>>,
    /// The valve that it positions: of a positioner.
    #[schemars(with = "Option<ValveTable>")]
    pub valve: Option<Spanned<ValveTable>>,
    /// The electronics of a positioner whose valve is computed: one whose [device.valve] says more than how the mock's travel lags.
    #[schemars(with = "Option<PositionerTable>")]
    pub positioner: Option<Spanned<PositionerTable>>,
    /// Range and damping of PV, and of a positioner the limits of its set point.
    #[schemars(with = "Option<RangeTable>")]
    pub range: Option<Spanned<RangeTable>>,
    /// The process that it senses: of a temperature transmitter.
    #[schemars(with = "Option<ProcessTable>")]
    pub process: Option<Spanned<ProcessTable>>,
    /// Its loop current as an output: of a temperature transmitter.
    #[schemars(with = "Option<OutputTable>")]
    pub output: Option<Spanned<OutputTable>>,
    /// Its air supply: of a positioner.
    #[schemars(with = "Option<AirTable>")]
    pub air: Option<Spanned<AirTable>>,
}

/// A command that takes its time. A device of revision 7 answers it by a delayed response: initiated (33), running
/// (34) while the request is repeated, then the result, which is when it takes effect. Revisions 5 and 6 do it at once
/// and are busy (32) afterwards.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SlowTable {
    /// The command: one that changes something. In revision 7 such as 22, 41, 71 or 79, whose response codes allow it.
    /// A described command is always answered at once.
    #[schemars(with = "u8")]
    pub command: Option<Spanned<Whole>>,
    /// How long it takes, s by the device's clock, 0.001 to 3600; the pace does not scale it.
    #[schemars(with = "f64", range(min = 0.001, max = 3600.0))]
    pub takes_s: Option<Spanned<Number>>,
}

/// Range and damping of PV, and limits of a positioner's set point. Range and damping are those of a new device: what its memory
/// holds goes before them.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RangeTable {
    /// Of a positioner: the set point at 4 mA, %, within the limits below. Default 0.
    #[schemars(with = "Option<f64>", range(min = -100.0, max = 200.0))]
    pub lower_range_value_percent: Option<Spanned<Number>>,
    /// Of a positioner: the set point at 20 mA, %, within the limits below and not that at 4 mA; below it the range falls. Default 100.
    #[schemars(with = "Option<f64>", range(min = -100.0, max = 200.0))]
    pub upper_range_value_percent: Option<Spanned<Number>>,
    /// Of a temperature transmitter: the temperature at 4 mA, degC, -200 to 850. Default 0.
    #[schemars(with = "Option<f64>", range(min = -200.0, max = 850.0))]
    pub lower_range_value_degc: Option<Spanned<Number>>,
    /// Of a temperature transmitter: the temperature at 20 mA, degC, -200 to 850, and not that at 4 mA. Default 100.
    #[schemars(with = "Option<f64>", range(min = -200.0, max = 850.0))]
    pub upper_range_value_degc: Option<Spanned<Number>>,
    /// Damping of PV, s, 0 to 60 in steps of 0.125. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 60.0), extend("multipleOf" = 0.125))]
    pub damping_s: Option<Spanned<Number>>,
    /// Lowest set point that is within limits, %: below it the device says so, and takes no range value. -100 to 200.
    /// Default -5.
    #[schemars(with = "Option<f64>", range(min = -100.0, max = 200.0))]
    pub set_point_lower_limit_percent: Option<Spanned<Number>>,
    /// Highest set point that is within limits, %, above the lowest. -100 to 200. Default 105.
    #[schemars(with = "Option<f64>", range(min = -100.0, max = 200.0))]
    pub set_point_upper_limit_percent: Option<Spanned<Number>>,
    /// Least span of the range, %, below which the device warns, 0 to 100. Default 10.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub minimum_span_percent: Option<Spanned<Number>>,
}

/// The air supply of a device.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AirTable {
    /// Supply pressure when the bench starts, bar, 0 to 20. Default 4.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub supply_pressure_bar: Option<Spanned<Number>>,
    /// Supply pressure below which the device says that a variable is out of limits, bar, 0 to 20. Default 1.4.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub supply_pressure_lower_limit_bar: Option<Spanned<Number>>,
    /// Supply pressure above which it says so, bar, 0 to 20, above the lower limit. Default 7.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub supply_pressure_upper_limit_bar: Option<Spanned<Number>>,
}

/// The process that a temperature transmitter senses.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ProcessTable {
    /// Temperature of the process when the bench starts, degC, -273.15 to 2000. Default 20.
    #[schemars(with = "Option<f64>", range(min = -273.15, max = 2000.0))]
    pub temperature_degc: Option<Spanned<Number>>,
    /// Temperature around the electronics, degC, -273.15 to 2000. Default 20.
    #[schemars(with = "Option<f64>", range(min = -273.15, max = 2000.0))]
    pub ambient_degc: Option<Spanned<Number>>,
    /// "ok" or "broken" when the bench starts. Default "ok".
    #[schemars(with = "Option<SensorWord>")]
    pub sensor: Option<Spanned<String>>,
}

/// The loop current that a temperature transmitter makes.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OutputTable {
    /// Where the current goes when the sensor is broken: "high", 21.75 mA, or "low", 3.6 mA. Default "high".
    #[schemars(with = "Option<AlarmWord>")]
    pub alarm: Option<Spanned<String>>,
    /// By how much more current flows than the device means to send, mA, -1 to 1, until it is trimmed. Default 0.
    #[schemars(with = "Option<f64>", range(min = -1.0, max = 1.0))]
    pub error_ma: Option<Spanned<Number>>,
}

/// Kinds of device, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum KindWord {
    /// A positioner.
    Positioner,
    /// A two-wire temperature transmitter.
    Temperature,
}

/// Names of protocol faults, for the schema.
struct ProtocolFaultWord;

impl JsonSchema for ProtocolFaultWord {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "ProtocolFaultWord".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let names: Vec<&str> = ProtocolFault::all().map(ProtocolFault::name).collect();
        schemars::json_schema!({ "type": "string", "description": "A protocol fault.", "enum": names })
    }
}

/// How a sensor is, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum SensorWord {
    /// It works.
    Ok,
    /// It does not.
    Broken,
}

/// Alarm currents, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum AlarmWord {
    /// Above the range.
    High,
    /// Below the range.
    Low,
}
