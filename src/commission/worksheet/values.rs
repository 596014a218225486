//! What a device, its settings and finished tests can fill in.

use crate::commission::settings::Settings;
use crate::commission::travel::figures::{About, Definition, Figure, View, figures};
use crate::commission::travel::record::{Direction, FailsTo, Movement, Occasion, Record};
use std::collections::BTreeMap;

/// Something that need not be written by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs, reason = "each is said by the label of the entry that it fills")]
pub enum Known {
    Tag,
    LongTag,
    Descriptor,
    DeviceType,
    Serial,
    Unique,
    Revision,
    Polling,
    Motion,
    RatedTravel,
    FailsTo,
    AngleClosed,
    AngleOpen,
    Current,
    Supply,
    Requests,
    Retries,
    Damaged,
    Instruments,
    TravelAt0,
    TravelAt50,
    TravelAt100,
    FoundAccuracyHigh,
    FoundAccuracyLow,
    FoundHysteresis,
    FoundDeadBand,
    LeftAccuracyHigh,
    LeftAccuracyLow,
    LeftHysteresis,
    LeftDeadBand,
    StrokeOpening,
    StrokeClosing,
    Left,
}

/// Values by what they are of, each with where it comes from. A later value replaces an earlier one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Values {
    all: BTreeMap<Known, (String, String)>,
}

impl Values {
    /// The value, and where it comes from; `None`: a person writes it.
    pub fn get(&self, known: Known) -> Option<(&str, &str)> {
        self.all.get(&known).map(|(value, from)| (value.as_str(), from.as_str()))
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    fn put(&mut self, known: Known, value: impl Into<String>, from: &str) {
        let value = value.into();
        if !value.trim().is_empty() {
            self.all.insert(known, (value, from.to_owned()));
        }
    }

    fn number(&mut self, known: Known, value: Option<f64>, digits: usize, from: &str) {
        if let Some(value) = value.filter(|v| v.is_finite()) {
            self.put(known, format!("{value:.digits$}"), from);
        }
    }

    /// Adds what settings tell of the device; `from` names the file or the line.
    pub fn add_settings(&mut self, settings: &Settings, from: &str) {
        for (known, name) in [
            (Known::Tag, "tag"),
            (Known::LongTag, "long_tag"),
            (Known::Descriptor, "descriptor"),
            (Known::DeviceType, "expanded_device_type"),
            (Known::Serial, "device_id"),
        ] {
            let found =
                settings.sections.iter().find_map(|s| s.entry(name).map(|e| s.text(e, settings.revision)));
            self.put(known, found.unwrap_or_default(), from);
        }
        self.put(Known::Revision, settings.revision.number().to_string(), from);
    }

    /// Adds what a test tells; `from` names its file. Figures count as found or as left by the record's occasion; without one they count as both.
    pub fn add_record(&mut self, record: &Record, from: &str) {
        self.add_device(record, from);
        let (found, left) = match record.occasion {
            Occasion::AsFound => (true, false),
            Occasion::AsLeft => (false, true),
            Occasion::Unsaid => (true, true),
        };
        let all = figures(record);
        for (definition, as_found, as_left) in [
            (Definition::AccuracyAbove, Known::FoundAccuracyHigh, Known::LeftAccuracyHigh),
            (Definition::AccuracyBelow, Known::FoundAccuracyLow, Known::LeftAccuracyLow),
            (Definition::Hysteresis, Known::FoundHysteresis, Known::LeftHysteresis),
            (Definition::DeadBand, Known::FoundDeadBand, Known::LeftDeadBand),
        ] {
            let Some(text) = worst(&all, definition) else { continue };
            for (known, wanted) in [(as_found, found), (as_left, left)] {
                if wanted {
                    self.put(known, text.as_str(), from);
                }
            }
        }
        for (known, direction) in
            [(Known::StrokeOpening, Direction::Up), (Known::StrokeClosing, Direction::Down)]
        {
            let of =
                |f: &&Figure| f.definition == Definition::StrokeTime && f.about == About::Stroke(direction);
            self.number(known, all.iter().filter(of).find_map(|f| f.value), 1, from);
        }
        for (known, place) in
            [(Known::TravelAt0, 0.0), (Known::TravelAt50, 50.0), (Known::TravelAt100, 100.0)]
        {
            let at = |p: &&crate::commission::travel::record::Point| (p.asked_percent - place).abs() < 0.01;
            let read =
                record.points.iter().filter(at).find_map(|p| p.readings.iter().rev().find_map(|s| s.percent));
            self.number(known, read, 1, from);
        }
    }

    fn add_device(&mut self, record: &Record, from: &str) {
        let d = &record.device;
        for (known, value) in [
            (Known::Tag, &d.tag),
            (Known::LongTag, &d.long_tag),
            (Known::DeviceType, &d.device_type),
            (Known::Serial, &d.serial),
            (Known::Unique, &d.unique_address),
        ] {
            self.put(known, value.as_str(), from);
        }
        if let Some(revision) = d.revision {
            self.put(Known::Revision, revision.to_string(), from);
        }
        let motion = match record.valve.motion {
            Some(Movement::Linear) => "linear",
            Some(Movement::PartTurn) => "part-turn",
            None => "",
        };
        self.put(Known::Motion, motion, from);
        if let Some(travel) = record.valve.rated_travel.filter(|t| t.is_finite()) {
            let unit = if record.valve.motion == Some(Movement::PartTurn) { "deg" } else { "mm" };
            self.put(Known::RatedTravel, format!("{travel} {unit}"), from);
        }
        let fails_to = match record.valve.fails_to {
            FailsTo::Closed => "closes",
            FailsTo::Open => "opens",
            FailsTo::Stays => "stays where it is",
            FailsTo::Unsaid => "",
        };
        self.put(Known::FailsTo, fails_to, from);
        for end in &record.ends {
            let known = if end.open { Known::AngleOpen } else { Known::AngleClosed };
            self.number(known, end.angle_deg, 1, from);
        }
        self.number(Known::Supply, record.supply_kpa, 0, from);
        self.number(Known::Current, record.points.iter().rev().find_map(|p| p.read_ma), 2, from);
        self.put(Known::Requests, record.link.requests.to_string(), from);
        self.put(Known::Retries, record.link.retries.to_string(), from);
        self.put(Known::Damaged, record.link.damaged.to_string(), from);
        let equipment = record.instruments.iter().map(|i| {
            let calibrated = if i.calibrated.is_empty() { "calibration not noted" } else { &i.calibrated };
            format!("{} {} ({calibrated})", i.name, i.serial)
        });
        self.put(Known::Instruments, equipment.collect::<Vec<_>>().join("; "), from);
        if let Some(left) = &record.left {
            self.put(Known::Left, left.words.as_str(), from);
        }
    }
}

/// The largest of a figure, by the measurement at the stem where there is one, with whose view it is.
fn worst(all: &[Figure], definition: Definition) -> Option<String> {
    [View::External, View::Sensor].into_iter().find_map(|view| {
        let of = |f: &&Figure| f.definition == definition && f.view == view;
        let values = all.iter().filter(of).filter_map(|f| f.value);
        let value = values.max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        let by = if view == View::External { "at the stem" } else { "device's sensor" };
        Some(format!("{value:+.2} ({by})"))
    })
}
