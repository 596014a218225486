//! The shapes of what is given: bodies and parameters.

use super::asked::{periods_s, steps_s};
use crate::bench::driven::{MOST_QUANTITIES, SPEEDS};
use crate::bench::{CHANGES, ChangeSpec, SEVERITY, Takes, fault_words};
use serde_json::{Value as Json, json};

/// Most samples in one answer.
pub const MOST_SAMPLES: f64 = 10_000.0;
/// Latest time that can be asked for, s: a century.
pub const LATEST_S: f64 = 3.2e9;

pub fn run_body() -> Json {
    json!({
        "type": "object", "additionalProperties": false,
        "properties": {"speed": {
            "type": "number", "minimum": SPEEDS.0, "maximum": SPEEDS.1, "default": 1,
            "description": "How many times as fast as the wall clock; 1 joins the lines to the wires.",
        }},
    })
}

pub fn step_body() -> Json {
    json!({
        "type": "object", "additionalProperties": false, "required": ["by_s"],
        "properties": {"by_s": {
            "type": "number", "minimum": steps_s().start(), "maximum": steps_s().end(),
            "description": "How far, s of bench time.",
        }},
    })
}

pub fn change_body() -> Json {
    let one = |spec: &ChangeSpec| {
        let mut value = match &spec.takes {
            Takes::Number { range, .. } => {
                let mut number = json!({"type": "number", "minimum": range.start()});
                if range.end().is_finite() {
                    number["maximum"] = json!(range.end());
                }
                number
            }
            Takes::Switch(_) => json!({"type": "boolean"}),
            Takes::Moment(_) => json!({"type": "boolean", "const": true}),
            Takes::Fault => json!({"type": "string", "enum": fault_words().map(|w| w.0).collect::<Vec<_>>()}),
        };
        value["description"] = json!(spec.says);
        let mut properties = json!({ spec.key: value });
        if !spec.key.starts_with("loop_") {
            properties["device"] = json!({
                "oneOf": [{"type": "string", "minLength": 1}, {"type": "integer", "minimum": 0, "maximum": 63}],
                "description": "Key, tag or long tag of the device, or its polling address. Every device if left out.",
            });
        }
        let mut required = vec![spec.key];
        if matches!(spec.takes, Takes::Fault) {
            required.push(SEVERITY);
            properties[SEVERITY] = json!({
                "type": "number", "minimum": 0, "maximum": 1, "description": "How bad; 0 is repaired.",
            });
        }
        json!({
            "type": "object", "title": spec.key, "additionalProperties": false, "required": required,
            "properties": properties,
        })
    };
    json!({"oneOf": CHANGES.iter().map(one).collect::<Vec<_>>()})
}

pub fn record_body() -> Json {
    json!({
        "type": "object", "additionalProperties": false, "required": ["quantities", "period_s"],
        "properties": {
            "quantities": {
                "type": "array", "minItems": 1, "maxItems": MOST_QUANTITIES,
                "items": {"type": "string"}, "description": "Names that GET /quantities tells.",
            },
            "period_s": period_schema(),
        },
    })
}

pub fn period_schema() -> Json {
    json!({
        "type": "number", "minimum": periods_s().start(), "maximum": periods_s().end(),
        "description": "How often, s of bench time; samples are at whole multiples of it.",
    })
}

pub fn names_schema() -> Json {
    json!({"type": "string"})
}

pub fn time_schema() -> Json {
    json!({"type": "number", "minimum": 0, "maximum": LATEST_S})
}

pub fn most_schema() -> Json {
    json!({"type": "integer", "minimum": 1, "maximum": MOST_SAMPLES as u64, "default": 1000})
}
