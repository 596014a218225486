//! What a device keeps over a power cycle.

use super::burst::{BURST_MESSAGES, BurstMessage, UNUSED as NOT_USED};
use super::config::DeviceConfig;
use super::kind::{self, KindConfig, KindName, OutputTrim, PRIMARY};
use super::memory::ImageError;
use super::positioner::StoredPositioner;
use super::variables::single_side;
use crate::app::command::value::hex;
use crate::app::types::{Date, latin1, packed, units};
use crate::time::Instant;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Most damping that the mock offers, s [DV-18].
pub(super) const MOST_DAMPING_S: f32 = 60.0;
/// Steps of damping in a second [DV-18].
pub(super) const DAMPING_STEPS: f32 = 8.0;
/// Preambles that a device may be told to send [DV-21].
pub(super) const REPLY_PREAMBLES: core::ops::RangeInclusive<u8> = 5..=20;

/// What the device keeps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stored {
    /// Of which kind the device is [DV-60].
    pub kind: KindName,
    /// Polling address, 0 to 63; 0 to 15 in revision 5 [FR-05].
    pub polling_address: u8,
    /// Loop current mode: whether the loop current is at work [TB-09]; revision 5 goes by the polling address
    /// instead [DV-15].
    pub loop_current_mode_enabled: bool,
    /// Tag, at most 8 characters of packed ASCII [TY-04].
    pub tag: String,
    /// Descriptor, at most 16 characters of packed ASCII [TY-04].
    pub descriptor: String,
    /// Date as day, month, year less 1900: a day of the calendar [TY-06].
    pub date: [u8; 3],
    /// Message, at most 32 characters of packed ASCII [TY-04].
    pub message: String,
    /// Long tag, at most 32 characters of Latin-1 [TY-05].
    pub long_tag: String,
    /// Final assembly number, 24 bits.
    pub final_assembly_number: u32,
    /// Counts accepted writes of configuration, 65535 is followed by 0 [DV-08].
    pub configuration_change_counter: u16,
    /// Configuration changed, for the primary and for the secondary master [ST-09]. That it outlives
    /// a power cycle is our choice.
    pub configuration_changed: [bool; 2],
    /// Upper range value, PV at 20 mA, in the unit of PV; not the lower one [DV-18].
    pub upper_range_value: f32,
    /// Lower range value, PV at 4 mA, in the unit of PV [DV-18].
    pub lower_range_value: f32,
    /// Damping of PV, s, 0 to 60 [DV-18].
    pub damping_s: f32,
    /// Unit code of each device variable, 250 for one that there is not [DV-19].
    pub units: [u8; 4],
    /// Transducer serial number of each device variable, 24 bits.
    pub transducer_serial_numbers: [u32; 4],
    /// The device variables that are PV, SV, TV, QV, 250 for what there is not; PV is 0 [DV-19].
    pub assignments: [u8; 4],
    /// Preambles before answers as a master has written them, 5 to 20; the identity's where none has [DV-21].
    pub preambles_reply: Option<u8>,
    /// A lock that outlives a power cycle [DV-17].
    pub lock: Option<StoredLock>,
    /// Trim of the variable that has one, in its unit as delivered [DV-22] [DV-61].
    pub trim: TwoPointTrim,
    /// Trim of a loop current that is an output [DV-62].
    pub output_trim_ma: OutputTrim,
    /// Burst messages; before revision 7 the first alone counts [DV-30].
    pub burst: [BurstMessage; BURST_MESSAGES],
    /// Values of described commands by name, behind what selects them, such as `index=2/travel`; octets in hex. Which
    /// there are is up to the bench file [DV-70].
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub described: BTreeMap<String, String>,
    /// What the electronics of a positioner keep; none where its valve is not computed [DV-88].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub positioner: Option<StoredPositioner>,
}

/// A lock that outlives a power cycle [DV-17].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StoredLock {
    /// Against all masters, else against the other one.
    pub against_all: bool,
    /// Whether the primary master locked.
    pub by_primary: bool,
}

/// Two points through which what a sensor says becomes what is told, each as both, in the unit as delivered [DV-22].
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TwoPointTrim {
    /// The lower point.
    pub lower: [f32; 2],
    /// The upper point.
    pub upper: [f32; 2],
}

impl TwoPointTrim {
    /// What is told where the sensor says `sensor`.
    pub fn told(&self, sensor: f64) -> f64 {
        let ([x0, y0], [x1, y1]) = (self.lower.map(f64::from), self.upper.map(f64::from));
        if (x0, x1) == (y0, y1) {
            // Without a trim every digit stays as it is.
            return sensor;
        }
        y0 + (sensor - x0) * (y1 - y0) / (x1 - x0)
    }
}

impl Default for Stored {
    /// The default kind of device as delivered: no names, polling address 0, loop current followed.
    fn default() -> Self {
        Stored::delivered(KindName::default())
    }
}

impl Stored {
    /// A device of a kind as delivered.
    pub fn delivered(kind: KindName) -> Self {
        let traits = kind.traits();
        Stored {
            kind,
            polling_address: 0,
            loop_current_mode_enabled: true,
            tag: String::new(),
            descriptor: String::new(),
            date: [1, 1, 126],
            message: String::new(),
            long_tag: String::new(),
            final_assembly_number: 0,
            configuration_change_counter: 0,
            configuration_changed: [false; 2],
            upper_range_value: traits.range.1,
            lower_range_value: traits.range.0,
            damping_s: 0.0,
            units: traits.units(),
            transducer_serial_numbers: [3104; 4],
            assignments: traits.assignments(),
            preambles_reply: None,
            lock: None,
            trim: traits.trim.none,
            output_trim_ma: OutputTrim::default(),
            burst: [BurstMessage::delivered(traits); BURST_MESSAGES],
            described: BTreeMap::new(),
            positioner: None,
        }
    }

    /// Has what the electronics keep where the device has some: from `factory` what an image without has not.
    pub(super) fn position_as(&mut self, config: &DeviceConfig) {
        let with_electronics =
            matches!(&config.kind, KindConfig::Positioner(own) if own.electronics.is_some());
        if with_electronics && self.positioner.is_none() {
            self.positioner = Some(config.factory.positioner.clone().unwrap_or_default());
        }
    }

    /// Takes those described values that `factory` has and no others: what a bench file does not describe any more, or
    /// describes in another length, is as it says now.
    pub(super) fn describe_as(&mut self, factory: &Stored) {
        let kept = core::mem::take(&mut self.described);
        self.described.clone_from(&factory.described);
        for (name, octets) in kept {
            if let Some(place) = self.described.get_mut(&name).filter(|p| p.len() == octets.len()) {
                *place = octets;
            }
        }
    }

    /// Lower and upper range value.
    pub(super) fn range_values(&self) -> (f64, f64) {
        (self.lower_range_value.into(), self.upper_range_value.into())
    }

    /// Whether every value is one that a device of this set-up can hold: what it would refuse to have written it
    /// cannot have [DV-04].
    ///
    /// # Errors
    /// The first that is not.
    pub fn check(&self, config: &DeviceConfig) -> Result<(), ImageError> {
        let kind = kind::of(config, Instant::ZERO);
        let traits = kind.traits();
        if self.kind != config.kind.name() {
            let why = format!("it is the memory of a {}", self.kind.words());
            return Err(ImageError::Range { field: "kind", why });
        }
        let highest_polling = config.identity.highest_polling();
        let bad = |field, why: String| Err(ImageError::Range { field, why });
        if self.polling_address > highest_polling {
            let why = format!("{} is above {highest_polling}", self.polling_address);
            return bad("polling_address", why);
        }
        for (field, text, octets) in
            [("tag", &self.tag, 6), ("descriptor", &self.descriptor, 12), ("message", &self.message, 24)]
        {
            if let Err(e) = packed::pack(text, octets) {
                return bad(field, e.to_string());
            }
        }
        if let Err(e) = latin1::encode(&self.long_tag, 32) {
            return bad("long_tag", e.to_string());
        }
        if !Date::from_bytes(self.date).is_calendar() {
            return bad("date", format!("{} is no day of the calendar", Date::from_bytes(self.date)));
        }
        if self.final_assembly_number > 0xFF_FFFF {
            return bad("final_assembly_number", format!("{} is above 16777215", self.final_assembly_number));
        }
        for (variable, &unit) in self.units.iter().enumerate() {
            let is_right = match traits.variables.get(variable) {
                Some(v) => v.offers_unit(unit),
                None => unit == NOT_USED,
            };
            if !is_right {
                return bad("units", format!("variable {variable} is never told in unit {unit}"));
            }
        }
        for (field, value) in
            [("upper_range_value", self.upper_range_value), ("lower_range_value", self.lower_range_value)]
        {
            let limit = |x: f64| units::convert(x, traits.variables[PRIMARY].unit, self.units[PRIMARY]);
            let (low, high) = kind.limits(PRIMARY);
            let (low, high) = (limit(low).unwrap_or(low), limit(high).unwrap_or(high));
            if !value.is_finite() || single_side(value, (low, high)) != 0 {
                let what = traits.variables[PRIMARY].name;
                return bad(field, format!("{value} is outside the limits of the {what}, {low} to {high}"));
            }
        }
        if self.upper_range_value == self.lower_range_value {
            return bad("upper_range_value", "it equals the lower range value".into());
        }
        if !(0.0..=MOST_DAMPING_S).contains(&self.damping_s) {
            return bad("damping_s", format!("{} is outside 0 to {MOST_DAMPING_S}", self.damping_s));
        }
        if (self.damping_s * DAMPING_STEPS).fract() != 0.0 {
            return bad("damping_s", format!("{} is no multiple of {}", self.damping_s, 1.0 / DAMPING_STEPS));
        }
        if let Some(number) = self.transducer_serial_numbers.iter().find(|n| **n > 0xFF_FFFF) {
            return bad("transducer_serial_numbers", format!("{number} is above 16777215"));
        }
        if !traits.can_be_assigned(&self.assignments) {
            let why = format!("{:?} can be no PV, SV, TV and QV", self.assignments);
            return bad("assignments", why);
        }
        if let Some(n) = self.preambles_reply.filter(|n| !REPLY_PREAMBLES.contains(n)) {
            return bad("preambles_reply", format!("{n} is outside 5 to 20"));
        }
        if !traits.trim.can_be_written(&self.trim) {
            return bad("trim", format!("{:?} can be no trim", self.trim));
        }
        let trims_output = traits.output.is_some() || self.output_trim_ma == OutputTrim::default();
        if !trims_output || !self.output_trim_ma.can_be_written() {
            return bad("output_trim_ma", format!("{:?} can be no trim", self.output_trim_ma));
        }
        if let Some(why) = self.burst.iter().find_map(|m| m.fault(traits.variables)) {
            return bad("burst", why);
        }
        if let (Some(own), Some(positioner)) = (&self.positioner, kind.positioning())
            && let Err(e) = own.check(&positioner.set_up().set_up)
        {
            return bad(e.field, e.why);
        }
        if let Some((name, octets)) = self.described.iter().find(|(_, o)| hex(o).is_none()) {
            return bad("described", format!("{name} is \"{octets}\", and no octets in hex"));
        }
        Ok(())
    }
}

/// What a device kept before the commands of common practice: format 1 of the image [DV-03].
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StoredBefore {
    polling_address: u8,
    loop_current_mode_enabled: bool,
    tag: String,
    descriptor: String,
    date: [u8; 3],
    message: String,
    long_tag: String,
    final_assembly_number: u32,
    configuration_change_counter: u16,
    configuration_changed: [bool; 2],
}

impl StoredBefore {
    /// The same with what it lacks from `factory`.
    pub fn over(self, factory: &Stored) -> Stored {
        Stored {
            kind: KindName::Positioner,
            polling_address: self.polling_address,
            loop_current_mode_enabled: self.loop_current_mode_enabled,
            tag: self.tag,
            descriptor: self.descriptor,
            date: self.date,
            message: self.message,
            long_tag: self.long_tag,
            final_assembly_number: self.final_assembly_number,
            configuration_change_counter: self.configuration_change_counter,
            configuration_changed: self.configuration_changed,
            ..factory.clone()
        }
    }
}
