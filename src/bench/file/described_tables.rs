//! The shape of described commands in a bench file.
//!
//! The comments here are the descriptions in the JSON Schema that editors show.

use crate::app::written::{Plain, Whole};
use schemars::JsonSchema;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// Names as keys, values as a person types them.
pub type ValueTable = BTreeMap<Spanned<String>, Spanned<Plain>>;

/// The forms of a value, for the schema.
#[derive(JsonSchema)]
#[schemars(untagged)]
#[allow(dead_code)]
pub enum ValueForms {
    /// A name from a table, a text, a date, octets in hex.
    Text(String),
    /// A number.
    Number(f64),
}

/// Where the answer comes from, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum AnswerWord {
    /// What is written is kept by the names of its values, and what is read is what is kept under the same names.
    Stored,
    /// The data of the reply are those of the request.
    Echo,
}

/// A described command that a device answers: answer, or code with data or values.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AnswerTable {
    /// Its number, 128 to 253.
    #[schemars(with = "u8", range(min = 128, max = 253))]
    pub number: Option<Spanned<Whole>>,
    /// Where the answer comes from; without it the answer is always the same: code, data, values.
    #[schemars(with = "Option<AnswerWord>")]
    pub answer: Option<Spanned<String>>,
    /// Response code, 0 to 127. Default 0.
    #[schemars(with = "Option<u8>", range(max = 127))]
    pub code: Option<Spanned<Whole>>,
    /// Data of the reply in hex, such as "00 01". Default none.
    #[schemars(with = "Option<String>")]
    pub data: Option<Spanned<String>>,
    /// The same by the names of the values.
    #[schemars(with = "Option<BTreeMap<String, ValueForms>>")]
    pub values: Option<Spanned<ValueTable>>,
}
