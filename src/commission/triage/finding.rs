//! What was seen of a symptom.

use serde::{Deserialize, Serialize};

/// Where something seen comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Read over the bus.
    Bus,
    /// Read over the bus while the valve stroked.
    Stroke,
    /// Seen by a person.
    Person,
}

/// What was seen of a symptom.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// The symptom's name.
    pub symptom: String,
    /// The name of the value.
    pub value: String,
    /// Where it comes from.
    pub from: Origin,
    /// What exactly was seen, a sentence without a point: "the device reads 8.40 mA, 12.00 mA were set". May be empty.
    #[serde(default)]
    pub words: String,
}
