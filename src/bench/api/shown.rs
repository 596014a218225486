//! What the API answers, as JSON.

use crate::bench::driven::{
    Display, Going, Reading, SnapshotState, TimeState, Value, View, Window, device_key,
};
use crate::bench::{BenchPlan, CHANGES, Takes, fault_words};
use crate::device::Response;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Serialize;
use serde_json::{Value as Json, json};

/// What the bench is.
#[derive(Serialize, JsonSchema)]
pub struct BenchShown {
    /// The bench file, as it was named.
    pub bench: String,
    /// How fast the wires run beside bench time: "wire", "fast" or a factor.
    pub pace: String,
    /// Fixes what is left to chance; null if nobody chose one.
    pub seed: Option<u64>,
    /// Whether the loop is computed, so that it can be changed.
    pub loop_is_computed: bool,
    /// The devices, in the order of the bench file.
    pub devices: Vec<DeviceShown>,
    /// The lines of the bench, as they stand in the bench file.
    pub lines: Vec<String>,
    /// Whether a line leads to wires outside of this program, such as a serial port: what is said there is heard by others.
    pub has_real_wires: bool,
}

/// A device of the bench file.
#[derive(Serialize, JsonSchema)]
pub struct DeviceShown {
    /// What it is called in names of quantities, and in changes.
    pub key: String,
    /// "positioner" or "temperature".
    pub kind: String,
    /// Its tag in the bench file.
    pub tag: String,
    /// Its long tag in the bench file.
    pub long_tag: String,
    /// Its polling address in the bench file, 0 to 63.
    pub polling_address: u8,
}

impl BenchShown {
    /// Of a plan.
    pub fn of(plan: &BenchPlan) -> BenchShown {
        let device = |i: usize| {
            let config = &plan.devices[i].config;
            DeviceShown {
                key: device_key(plan, i),
                kind: config.kind.name().word().to_owned(),
                tag: config.factory.tag.clone(),
                long_tag: config.factory.long_tag.clone(),
                polling_address: config.factory.polling_address,
            }
        };
        BenchShown {
            bench: plan.path.display().to_string(),
            pace: plan.pace.to_string(),
            seed: plan.seed,
            loop_is_computed: plan.wires.is_some(),
            devices: (0..plan.devices.len()).map(device).collect(),
            lines: plan.lines.iter().map(|l| l.at.clone()).collect(),
            has_real_wires: plan.lines.iter().any(|l| l.kind.is_real()),
        }
    }
}

/// How bench time goes.
#[derive(Serialize, JsonSchema)]
pub struct TimeShown {
    /// Bench time, s.
    pub at_s: f64,
    /// Whether it runs, stands, or does a step.
    pub state: StateShown,
    /// How many times as fast as the wall clock it runs; null unless it runs.
    pub speed: Option<f64>,
    /// Bench time that was given up because the machine could not keep up, s.
    pub behind_s: f64,
    /// Whether the lines are joined to the wires: time runs at speed 1.
    pub lines_are_joined: bool,
    /// Octets from outside that were dropped because it did not.
    pub octets_dropped_in: u64,
    /// Octets that no line heard because it did not.
    pub octets_dropped_out: u64,
}

/// Whether time runs.
#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum StateShown {
    /// It runs.
    Running,
    /// It stands.
    Paused,
    /// It does a step.
    Stepping,
}

impl From<TimeState> for TimeShown {
    fn from(time: TimeState) -> TimeShown {
        let (state, speed) = match time.going {
            Going::Running { speed } => (StateShown::Running, Some(speed)),
            Going::Paused => (StateShown::Paused, None),
            Going::Stepping { .. } => (StateShown::Stepping, None),
        };
        TimeShown {
            at_s: time.at.as_secs_f64(),
            state,
            speed,
            behind_s: time.behind.as_secs_f64(),
            lines_are_joined: speed == Some(1.0),
            octets_dropped_in: time.dropped_in,
            octets_dropped_out: time.dropped_out,
        }
    }
}

fn value_schema(_: &mut SchemaGenerator) -> Schema {
    json_schema!({"type": ["number", "boolean", "string", "null"]})
}

/// A value: a number, true or false, a word, or null where there is none.
#[derive(Serialize, JsonSchema)]
#[serde(transparent)]
pub struct ValueShown(#[schemars(schema_with = "value_schema")] Json);

impl From<Value> for ValueShown {
    fn from(value: Value) -> ValueShown {
        ValueShown(match value {
            Value::Number(x) => json!(x),
            Value::Switch(on) => json!(on),
            Value::Word(word) => json!(word),
            Value::None => Json::Null,
        })
    }
}

/// Quantities at one moment.
#[derive(Serialize, JsonSchema)]
pub struct QuantitiesShown {
    /// Bench time, s.
    pub at_s: f64,
    /// In the order of the bench, or as asked.
    pub quantities: Vec<QuantityShown>,
}

/// A quantity.
#[derive(Serialize, JsonSchema)]
pub struct QuantityShown {
    /// Owner's key, a point, and its own name, unit last.
    pub name: String,
    /// Its unit; empty where it has none.
    pub unit: &'static str,
    /// Whose view it is: "true" (physics, which no device knows), "device" (what the device senses or means), "set" (what
    /// somebody outside has set).
    pub view: ViewShown,
    /// Its value.
    pub value: ValueShown,
}

/// Whose view a quantity is.
#[derive(Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ViewShown {
    /// What physics says.
    True,
    /// What the device senses, means or has stored.
    Device,
    /// What somebody outside has set.
    Set,
}

impl From<(String, Reading)> for QuantityShown {
    fn from((name, reading): (String, Reading)) -> QuantityShown {
        let view = match reading.view {
            View::True => ViewShown::True,
            View::Device => ViewShown::Device,
            View::Set => ViewShown::Set,
        };
        QuantityShown { name, unit: reading.unit, view, value: reading.value.into() }
    }
}

/// What can be changed.
#[derive(Serialize, JsonSchema)]
pub struct ChangesShown {
    /// One for each key.
    pub changes: Vec<ChangeShown>,
}

/// Something that can be changed: the key of an event of the bench file.
#[derive(Serialize, JsonSchema)]
pub struct ChangeShown {
    /// The key.
    pub key: &'static str,
    /// What it is.
    pub says: &'static str,
    /// Its unit; null for a switch.
    pub unit: Option<&'static str>,
    /// Least number; null for a switch.
    pub minimum: Option<f64>,
    /// Greatest number; null for a switch, and where there is none.
    pub maximum: Option<f64>,
    /// The words that it takes; none where it takes no word.
    pub words: Vec<WordShown>,
}

/// A word that a change takes.
#[derive(Serialize, JsonSchema)]
pub struct WordShown {
    /// The word.
    pub word: &'static str,
    /// What a severity of it means, for a fault.
    pub says: &'static str,
}

impl ChangesShown {
    /// All of them.
    pub fn all() -> ChangesShown {
        let shown = CHANGES.iter().map(|c| {
            let (unit, minimum, maximum) = match &c.takes {
                Takes::Number { unit, range, .. } => {
                    (Some(*unit), Some(*range.start()), Some(*range.end()).filter(|most| most.is_finite()))
                }
                Takes::Switch(_) | Takes::Moment(_) | Takes::Fault => (None, None, None),
            };
            let words = match &c.takes {
                Takes::Fault => fault_words().map(|(word, says)| WordShown { word, says }).collect(),
                _ => Vec::new(),
            };
            ChangeShown { words, key: c.key, says: c.says, unit, minimum, maximum }
        });
        ChangesShown { changes: shown.collect() }
    }
}

/// Something has changed.
#[derive(Serialize, JsonSchema)]
pub struct ChangedShown {
    /// When, bench time, s.
    pub at_s: f64,
    /// What devices make of a key that is pressed or let go, or of a calibration that is asked for; none for other changes.
    pub became: Vec<BecameShown>,
}

/// What a device makes of a key, or of a calibration that is asked for.
#[derive(Serialize, JsonSchema)]
pub struct BecameShown {
    /// The device's key.
    pub device: String,
    /// Whether it does what was wanted, or waits for more, such as a key that has to be held.
    pub done: bool,
    /// What it does, or why it does nothing.
    pub what: String,
    /// What to do next; null where nothing is needed.
    pub next: Option<&'static str>,
}

impl From<(String, Response)> for BecameShown {
    fn from((device, response): (String, Response)) -> BecameShown {
        let (done, next) = (response.is_done(), response.next());
        BecameShown { device, done, what: response.to_string(), next }
    }
}

/// What displays show.
#[derive(Serialize, JsonSchema)]
pub struct DisplaysShown {
    /// Bench time, s.
    pub at_s: f64,
    /// One for each device that has a display.
    pub displays: Vec<DisplayShown>,
}

/// What the display of a device shows.
#[derive(Serialize, JsonSchema)]
pub struct DisplayShown {
    /// The device's key.
    pub device: String,
    /// Its lines from the top, each at most 24 characters; none while it has no power.
    pub lines: Vec<String>,
}

impl From<(String, Display)> for DisplayShown {
    fn from((device, display): (String, Display)) -> DisplayShown {
        DisplayShown { device, lines: display.lines }
    }
}

/// The snapshots.
#[derive(Serialize, JsonSchema)]
pub struct SnapshotsShown {
    /// In the order in which they were taken.
    pub snapshots: Vec<SnapshotShown>,
}

/// A snapshot.
#[derive(Serialize, JsonSchema)]
pub struct SnapshotShown {
    /// What it is called.
    pub name: String,
    /// Its bench time, s.
    pub at_s: f64,
}

impl From<SnapshotState> for SnapshotShown {
    fn from(of: SnapshotState) -> SnapshotShown {
        SnapshotShown { name: of.name, at_s: of.at.as_secs_f64() }
    }
}

/// What is traced.
#[derive(Serialize, JsonSchema)]
pub struct TraceShown {
    /// The quantities, in the order of the values.
    pub quantities: Vec<String>,
    /// The period, s of bench time.
    pub period_s: f64,
}

/// A window of the recording.
#[derive(Serialize, JsonSchema)]
pub struct WindowShown {
    /// What is recorded; null where nothing is.
    pub trace: Option<TraceShown>,
    /// The samples of the window, the oldest first.
    pub samples: Vec<SampleShown>,
    /// How many samples more are in the window: ask for them from the time behind the last of these.
    pub more: usize,
    /// How many samples were dropped from the recording because there was no room, the oldest first.
    pub dropped: u64,
}

/// The values at one moment.
#[derive(Serialize, JsonSchema)]
pub struct SampleShown {
    /// Bench time, s.
    pub at_s: f64,
    /// One for each quantity.
    pub values: Vec<ValueShown>,
}

impl From<crate::bench::driven::Sample> for SampleShown {
    fn from(sample: crate::bench::driven::Sample) -> SampleShown {
        let values = sample.values.into_iter().map(ValueShown::from).collect();
        SampleShown { at_s: sample.at.as_secs_f64(), values }
    }
}

impl From<crate::bench::driven::TracePlan> for TraceShown {
    fn from(plan: crate::bench::driven::TracePlan) -> TraceShown {
        TraceShown { quantities: plan.quantities, period_s: plan.period.as_secs_f64() }
    }
}

impl From<Window> for WindowShown {
    fn from(window: Window) -> WindowShown {
        WindowShown {
            trace: window.plan.map(TraceShown::from),
            samples: window.samples.into_iter().map(SampleShown::from).collect(),
            more: window.more,
            dropped: window.dropped,
        }
    }
}

/// A window as a table: a row of names, then a row for each sample; what has no value is an empty field.
pub fn csv(window: &Window) -> String {
    let names = window.plan.iter().flat_map(|p| p.quantities.iter().map(String::as_str));
    let mut out: String = core::iter::once("at_s").chain(names).collect::<Vec<_>>().join(",");
    out.push_str("\r\n");
    for sample in &window.samples {
        out.push_str(&json!(sample.at.as_secs_f64()).to_string());
        for value in &sample.values {
            out.push(',');
            match value {
                Value::Number(x) => out.push_str(&json!(x).to_string()),
                Value::Switch(on) => out.push_str(if *on { "true" } else { "false" }),
                Value::Word(word) => out.push_str(word),
                Value::None => {}
            }
        }
        out.push_str("\r\n");
    }
    out
}
