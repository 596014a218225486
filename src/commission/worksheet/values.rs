//! What a device, its settings and finished tests can fill in.

use super::Worksheet;
use super::fail_action::FailAction;
use crate::commission::person::capital;
use crate::commission::settings::Settings;
use crate::commission::travel::figures::{About, Definition, Figure, View, figures};
use crate::commission::travel::record::{
    CALIBRATION, Direction, Ended, Loss, Movement, Occasion, Point, Record, Test,
};
use crate::commission::travel::sensing::mean;
use core::fmt::Write;
use std::collections::BTreeMap;

/// Something that need not be written by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs, reason = "each is said by the label of the entry that it fills")]
pub enum Known {
    Tag,
    LongTag,
    Valve,
    Site,
    Today,
    Descriptor,
    Message,
    DeviceDate,
    Range,
    SettingsFile,
    DeviceType,
    Serial,
    Unique,
    Revision,
    Polling,
    Motion,
    RatedTravel,
    FailsTo,
    SeenWithoutAir,
    SeenWithoutCurrent,
    SeenAtTrip,
    AngleClosed,
    AngleOpen,
    Current,
    CurrentAsked,
    Supply,
    Requests,
    Retries,
    Damaged,
    Instruments,
    OwnCalibration,
    TravelAt0,
    TravelAt50,
    TravelAt100,
    StemAt0,
    StemAt50,
    StemAt100,
    FollowsAt25,
    FollowsAt50,
    FollowsAt75,
    FoundAccuracyHigh,
    FoundAccuracyLow,
    FoundHysteresis,
    FoundDeadBand,
    FoundStrokeOpening,
    FoundStrokeClosing,
    LeftAccuracyHigh,
    LeftAccuracyLow,
    LeftHysteresis,
    LeftDeadBand,
    LeftStrokeOpening,
    LeftStrokeClosing,
    Left,
}

impl Known {
    /// Whether it belongs to one occasion: as found, or as left [TV-152].
    pub fn is_of_an_occasion(self) -> bool {
        use Known::*;
        matches!(
            self,
            FoundAccuracyHigh
                | FoundAccuracyLow
                | FoundHysteresis
                | FoundDeadBand
                | FoundStrokeOpening
                | FoundStrokeClosing
                | LeftAccuracyHigh
                | LeftAccuracyLow
                | LeftHysteresis
                | LeftDeadBand
                | LeftStrokeOpening
                | LeftStrokeClosing
        )
    }
}

/// How a record came out, as the report of it alone says [TV-153].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Outcome {
    /// The verdict in a few words.
    pub verdict: String,
    /// Whether it is within limits, or in order.
    pub is_good: bool,
    /// What counts as a fault, a sentence each; may be empty.
    pub faults: Vec<String>,
}

/// Most faults of a record that stand on a sheet.
const MOST_FAULTS: usize = 3;

/// What only a device that answers now can tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Reading {
    /// Unique address, ten hex digits.
    pub unique_address: String,
    /// The polling address at which it was found; `None`: it was found otherwise.
    pub polling_address: Option<u8>,
    /// The loop current that it reads, mA; `None`: it does not tell.
    pub current_ma: Option<f64>,
    /// What it tells of its own last calibration; empty: it does not.
    pub calibration: String,
    /// Today, such as `2026-11-30`.
    pub today: String,
}

/// Values by what they are of, each with where it comes from. A later value replaces an earlier one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Values {
    all: BTreeMap<Known, (String, String)>,
    motion: Option<Movement>,
    sources: Vec<String>,
    odd: Vec<String>,
    fail_action: FailAction,
    /// Files of tests of which nobody said whether they were made as found or as left.
    without_occasion: Vec<String>,
}

impl Values {
    /// The value, and where it comes from; `None`: a person writes it.
    pub fn get(&self, known: Known) -> Option<(&str, &str)> {
        self.all.get(&known).map(|(value, from)| (value.as_str(), from.as_str()))
    }

    /// As [`Values::get`], for a sheet: travel and angles of a valve that moves otherwise are none of a sheet's [TV-80].
    pub fn get_for(&self, sheet: &Worksheet, known: Known) -> Option<(&str, &str)> {
        let of_the_motion = matches!(known, Known::RatedTravel | Known::AngleClosed | Known::AngleOpen);
        self.get(known).filter(|_| !(of_the_motion && self.other_motion(sheet).is_some()))
    }

    /// How the valve moves that the values are of, where the sheet is for another kind.
    pub fn other_motion(&self, sheet: &Worksheet) -> Option<Movement> {
        self.motion.filter(|m| sheet.motion.is_some_and(|wanted| wanted != *m))
    }

    /// Where the values come from, with the time of each.
    pub fn sources(&self) -> &[String] {
        &self.sources
    }

    /// What does not fit together or is not in order, a sentence each: values of two devices on one sheet, a fail action that is not as said,
    /// a record that is not within its limits.
    pub fn odd(&self) -> Vec<String> {
        self.fail_action.odd().into_iter().chain(self.odd.iter().cloned()).collect()
    }

    /// Files of tests that fill neither as found nor as left, for nobody said which they are; none where a sheet has no such line [TV-152].
    pub fn without_occasion(&self, sheet: &Worksheet) -> &[String] {
        let mut entries = sheet.parts.iter().flat_map(|p| p.steps).flat_map(|s| s.entries);
        let asks = entries.any(|e| e.known.is_some_and(Known::is_of_an_occasion));
        if asks { &self.without_occasion } else { &[] }
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    /// The site, as it was given.
    pub fn add_site(&mut self, site: &str) {
        self.put(Known::Site, site, "given");
    }

    fn source(&mut self, from: &str, what: &[&str], verdict: &str) {
        let what: Vec<&str> = what.iter().map(|w| w.trim()).filter(|w| !w.is_empty()).collect();
        let mut words = from.to_owned();
        if !what.is_empty() {
            let _ = write!(words, " ({})", what.join(", "));
        }
        if !verdict.is_empty() {
            let _ = write!(words, ": {verdict}");
        }
        self.sources.push(words);
    }

    /// Looks whether what comes is of the device that the rest is of.
    fn same_device(&mut self, unique: &str, from: &str) {
        if let Some((before, file)) =
            self.get(Known::Unique).filter(|(b, _)| !unique.is_empty() && *b != unique)
        {
            let odd = format!(
                "{from} is of device {unique}, {file} of device {before}: which one is this sheet for?"
            );
            self.odd.push(odd);
        }
    }

    fn put(&mut self, known: Known, value: impl Into<String>, from: &str) {
        let value = value.into();
        if !value.trim().is_empty() {
            self.all.insert(known, (value, from.to_owned()));
        }
    }

    fn number(&mut self, known: Known, value: Option<f64>, digits: usize, from: &str) {
        if let Some(value) = value.filter(|v| v.is_finite()) {
            self.put(known, decimal(value, digits), from);
        }
    }

    /// Adds what settings tell of the device; `from` names the file or the line.
    pub fn add_settings(&mut self, settings: &Settings, from: &str) {
        self.same_device(&settings.unique_address(), from);
        self.source(from, &[&settings.origin.saved, &settings.origin.line], "");
        for (known, heading, name) in [
            (Known::Tag, "tag", "tag"),
            (Known::LongTag, "long_tag", "long_tag"),
            (Known::Descriptor, "tag", "descriptor"),
            (Known::DeviceDate, "tag", "date"),
            (Known::Message, "message", "message"),
            (Known::DeviceType, "identity", "device_type"),
            (Known::DeviceType, "identity", "expanded_device_type"),
            (Known::Serial, "identity", "device_id"),
            (Known::Polling, "loop", "polling_address"),
        ] {
            self.put(known, settings.told(heading, name), from);
        }
        // Told, and empty, is something else than not told.
        for (known, heading, name) in
            [(Known::Descriptor, "tag", "descriptor"), (Known::Message, "message", "message")]
        {
            let section = settings.sections.iter().find(|s| s.part.heading == heading);
            let is_told = section.is_some_and(|s| s.entry(name).is_some());
            if is_told && settings.told(heading, name).trim().is_empty() {
                self.put(known, "none", from);
            }
        }
        let (low, high) =
            (settings.told("output", "lower_range_value"), settings.told("output", "upper_range_value"));
        if !low.is_empty() && !high.is_empty() {
            self.put(Known::Range, format!("{low} to {high}"), from);
        }
        self.put(Known::Unique, settings.unique_address(), from);
        self.put(Known::Revision, settings.revision.number().to_string(), from);
    }

    /// Adds the name of the file in which the settings are.
    pub fn add_settings_file(&mut self, name: &str) {
        self.put(Known::SettingsFile, name, "given");
    }

    /// Adds what a device that answers tells beside its settings.
    pub fn add_reading(&mut self, reading: &Reading, from: &str) {
        self.put(Known::Unique, reading.unique_address.as_str(), from);
        if self.get(Known::Polling).is_none_or(|(_, f)| f != from)
            && let Some(polling) = reading.polling_address
        {
            self.put(Known::Polling, polling.to_string(), from);
        }
        self.put(Known::OwnCalibration, reading.calibration.as_str(), from);
        self.put(Known::Today, reading.today.as_str(), "by this computer");
        if reading.current_ma.is_some() {
            // What was asked for belongs to another moment.
            self.all.remove(&Known::CurrentAsked);
        }
        self.number(Known::Current, reading.current_ma, 2, from);
    }

    /// Adds what a test tells, and how it came out; `from` names its file. Figures count as found or as left by the record's occasion; without
    /// one they count as neither [TV-152].
    pub fn add_record(&mut self, record: &Record, from: &str, outcome: &Outcome) {
        self.same_device(&record.device.unique_address, from);
        let test = match record.test {
            Test::Travel => "travel test",
            Test::LoopCheck => "loop check",
        };
        let occasion = match record.occasion {
            Occasion::AsFound => "as found",
            Occasion::AsLeft => "as left",
            Occasion::Unsaid => "not said whether as found or as left",
        };
        let cut = if record.ended == Ended::Whole { "" } else { "it did not come to its end" };
        self.source(from, &[test, occasion, cut, &record.started, &record.line], &outcome.verdict);
        if !outcome.is_good {
            let mut words = format!("{from} ({test}, {occasion}) came out as {}", outcome.verdict);
            for fault in outcome.faults.iter().take(MOST_FAULTS) {
                let _ = write!(words, ". {}", capital(fault.trim_end_matches('.')));
            }
            let more = outcome.faults.len().saturating_sub(MOST_FAULTS);
            if more > 0 {
                let _ = write!(words, ". {more} more in its report");
            }
            self.odd.push(words + ".");
        }
        if record.occasion == Occasion::Unsaid {
            self.without_occasion.push(from.to_owned());
        }
        // What is looked at after the work is not what was found before it.
        let is_after = record.occasion != Occasion::AsFound;
        self.add_device(record, from, is_after);
        let (found, left) = match record.occasion {
            Occasion::AsFound => (true, false),
            Occasion::AsLeft => (false, true),
            Occasion::Unsaid => (false, false),
        };
        let all = figures(record);
        self.add_fails(record, &all, from);
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
        for (direction, as_found, as_left) in [
            (Direction::Up, Known::FoundStrokeOpening, Known::LeftStrokeOpening),
            (Direction::Down, Known::FoundStrokeClosing, Known::LeftStrokeClosing),
        ] {
            let of =
                |f: &&Figure| f.definition == Definition::StrokeTime && f.about == About::Stroke(direction);
            let value = all.iter().filter(of).find_map(|f| f.value);
            for (known, wanted) in [(as_found, found), (as_left, left)] {
                self.number(known, value.filter(|_| wanted), 1, from);
            }
        }
        if is_after {
            self.add_places(record, from);
        }
    }

    /// Adds where the valve ought to go, as somebody said, and where it was seen to go.
    fn add_fails(&mut self, record: &Record, figures: &[Figure], from: &str) {
        self.fail_action.add(record, figures, from);
        let said = self.fail_action.said().map(|(words, from)| (words.to_owned(), from.to_owned()));
        if let Some((words, from)) = said {
            self.put(Known::FailsTo, words, &from);
        }
        for (known, loss) in [
            (Known::SeenWithoutAir, Loss::Air),
            (Known::SeenWithoutCurrent, Loss::Current),
            (Known::SeenAtTrip, Loss::Trip),
        ] {
            let seen = self.fail_action.seen(loss).map(|(words, from)| (words, from.to_owned()));
            if let Some((words, from)) = seen {
                self.put(known, words, &from);
            }
        }
    }

    /// Adds travel beside the stem, and what the control system showed.
    fn add_places(&mut self, record: &Record, from: &str) {
        for (device, stem, place) in [
            (Known::TravelAt0, Known::StemAt0, 0.0),
            (Known::TravelAt50, Known::StemAt50, 50.0),
            (Known::TravelAt100, Known::StemAt100, 100.0),
        ] {
            let at = |p: &&Point| (p.asked_percent - place).abs() < 0.01 && mean(&p.readings).is_some();
            let all = || record.points.iter().filter(at);
            // Both of one moment, so that they can be compared.
            let Some(point) = all().find(|p| p.external.is_some()).or(all().next()) else { continue };
            self.number(device, mean(&point.readings), 1, from);
            self.all.remove(&stem);
            if let Some(e) = &point.external {
                let typed = if e.unit == "%" { String::new() } else { format!(" = {} {}", e.value, e.unit) };
                self.put(stem, format!("{}{typed}", decimal(e.percent, 1)), from);
            }
        }
        for (known, place) in
            [(Known::FollowsAt25, 25.0), (Known::FollowsAt50, 50.0), (Known::FollowsAt75, 75.0)]
        {
            let at = |p: &&Point| (p.asked_percent - place).abs() < 0.01;
            let both = |p: &Point| mean(&p.readings).zip(p.control_system_percent);
            if let Some((travel, shown)) = record.points.iter().filter(at).find_map(both) {
                self.put(known, format!("{} (control system {shown})", decimal(travel, 1)), from);
            }
        }
    }

    fn add_device(&mut self, record: &Record, from: &str, is_after: bool) {
        let d = &record.device;
        for (known, value) in [
            (Known::Tag, &d.tag),
            (Known::LongTag, &d.long_tag),
            (Known::DeviceType, &d.device_type),
            (Known::Serial, &d.serial),
            (Known::Unique, &d.unique_address),
            (Known::Site, &record.site),
        ] {
            self.put(known, value.as_str(), from);
        }
        if let Some(revision) = d.revision {
            self.put(Known::Revision, revision.to_string(), from);
        }
        let calibration = d.more.iter().filter(|(name, _)| name == CALIBRATION);
        let calibration: Vec<&str> = calibration.map(|(_, words)| words.as_str()).collect();
        self.put(Known::OwnCalibration, calibration.join("; "), from);
        let motion = match record.valve.motion {
            Some(Movement::Linear) => "linear",
            Some(Movement::PartTurn) => "part-turn",
            None => "",
        };
        self.put(Known::Motion, motion, from);
        self.motion = record.valve.motion.or(self.motion);
        let valve = [record.valve.tag.as_str(), &record.valve.words].map(str::trim);
        let valve: Vec<&str> = valve.into_iter().filter(|w| !w.is_empty()).collect();
        self.put(Known::Valve, valve.join(", "), from);
        if let Some(travel) = record.valve.rated_travel.filter(|t| t.is_finite()) {
            let unit = if record.valve.motion == Some(Movement::PartTurn) { "deg" } else { "mm" };
            self.put(Known::RatedTravel, format!("{travel} {unit}"), from);
        }
        // Without a stroke the ends of the set point are as near as it comes to the stops.
        for (known, place) in [(Known::AngleClosed, 0.0), (Known::AngleOpen, 100.0)] {
            let at = |p: &&Point| is_after && (p.asked_percent - place).abs() < 0.01;
            self.number(known, record.points.iter().filter(at).find_map(|p| p.angle_deg), 1, from);
        }
        for end in record.ends.iter().filter(|_| is_after) {
            let known = if end.open { Known::AngleOpen } else { Known::AngleClosed };
            self.number(known, end.angle_deg, 1, from);
        }
        self.number(Known::Supply, record.supply_kpa, 0, from);
        if let Some(point) = record.points.iter().rev().find(|p| p.read_ma.is_some()) {
            self.number(Known::Current, point.read_ma, 2, from);
            self.all.remove(&Known::CurrentAsked);
            self.number(Known::CurrentAsked, point.asked_ma, 2, from);
        }
        self.put(Known::Requests, record.link.requests.to_string(), from);
        self.put(Known::Retries, record.link.retries.to_string(), from);
        self.put(Known::Damaged, record.link.damaged.to_string(), from);
        let equipment = record.instruments.iter().map(|i| {
            let calibrated = if i.calibrated.is_empty() { "calibration not noted" } else { &i.calibrated };
            format!("{} {} ({calibrated})", i.name, i.serial)
        });
        self.put(Known::Instruments, equipment.collect::<Vec<_>>().join("; "), from);
        if let Some(left) = record.left.as_ref().filter(|_| is_after) {
            self.put(Known::Left, left.words.as_str(), from);
        }
    }
}

/// A number as people write it: nothing has a sign at 0.
pub(super) fn decimal(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    let is_zero = text.starts_with('-') && text.chars().all(|c| "-0.".contains(c));
    if is_zero { text[1..].to_owned() } else { text }
}

/// The largest of a figure, by the measurement at the stem where there is one, with whose view it is.
fn worst(all: &[Figure], definition: Definition) -> Option<String> {
    // Both views, so that what was found and what was left can be compared in the same one.
    let told = [View::External, View::Sensor].into_iter().filter_map(|view| {
        let of = |f: &&Figure| f.definition == definition && f.view == view;
        let values = all.iter().filter(of).filter_map(|f| f.value);
        let value = values.max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
        let by = if view == View::External { "at the stem" } else { "device's sensor" };
        Some(format!("{value:+.2} ({by})"))
    });
    let told: Vec<String> = told.collect();
    (!told.is_empty()).then(|| told.join("; "))
}
