//! What stands in a file of knowledge.

use core::fmt;
use schemars::JsonSchema;
use serde::Deserialize;
use serde::de::{Deserializer, Error, SeqAccess, Visitor};
use std::collections::BTreeMap;
use toml::Spanned;

use crate::app::written::Number;

/// Causes, symptoms and checks of fault finding.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct KnowledgeFile {
    /// Whose judgement the likelihoods are; stands in every report.
    #[schemars(with = "Option<String>")]
    pub whose: Option<Spanned<String>>,
    /// How it is believed.
    #[serde(default)]
    pub belief: BeliefTable,
    /// What can be seen.
    #[schemars(with = "Option<Vec<SymptomTable>>")]
    pub symptom: Option<Vec<Spanned<SymptomTable>>>,
    /// What may be wrong.
    #[schemars(with = "Option<Vec<CauseTable>>")]
    pub cause: Option<Vec<Spanned<CauseTable>>>,
}

/// How it is believed.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BeliefTable {
    /// How likely it is that nothing is wrong, before anything was seen; 0.2 if not given.
    #[schemars(with = "Option<f64>")]
    pub healthy: Option<Spanned<Number>>,
    /// Share of a person's answers that are wrong; 0.1 if not given.
    #[schemars(with = "Option<f64>")]
    pub wrong_answers: Option<Spanned<Number>>,
    /// Share of what is read over the bus that is wrong; 0.02 if not given.
    #[schemars(with = "Option<f64>")]
    pub wrong_readings: Option<Spanned<Number>>,
    /// How likely a cause must be so that no more is asked; 0.9 if not given.
    #[schemars(with = "Option<f64>")]
    pub sure: Option<Spanned<Number>>,
    /// What a check must be expected to tell so that it is asked for, bit; 0.02 if not given.
    #[schemars(with = "Option<f64>")]
    pub least_bits: Option<Spanned<Number>>,
    /// No more questions than these; 12 if not given.
    #[schemars(with = "Option<f64>")]
    pub most_questions: Option<Spanned<Number>>,
}

/// Something that can be seen.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SymptomTable {
    /// Its name for programs: small letters, digits, _.
    #[schemars(with = "Option<String>")]
    pub name: Option<Spanned<String>>,
    /// For people, a few words.
    #[schemars(with = "Option<String>")]
    pub words: Option<Spanned<String>>,
    /// How it is seen: bus, stroke (over the bus while the valve strokes) or person. looprig itself fills in those of bus and
    /// stroke that it knows by name.
    #[schemars(with = "Option<String>")]
    pub seen: Option<Spanned<String>>,
    /// What it may be, that of a healthy valve first.
    #[schemars(with = "Option<Vec<ValueTable>>")]
    pub values: Option<Spanned<Vec<Spanned<ValueTable>>>>,
    /// How somebody looks at it.
    #[schemars(with = "Option<CheckTable>")]
    pub check: Option<Spanned<CheckTable>>,
}

/// A value of a symptom.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ValueTable {
    /// Its name for programs.
    #[schemars(with = "Option<String>")]
    pub name: Option<Spanned<String>>,
    /// What it means, for people.
    #[schemars(with = "Option<String>")]
    pub words: Option<Spanned<String>>,
    /// Where the bus tells it: what is to be done before anything else is asked.
    #[schemars(with = "Option<String>")]
    pub first_of_all: Option<Spanned<String>>,
}

/// How somebody looks at a symptom.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CheckTable {
    /// What is asked, whole sentences.
    #[schemars(with = "Option<String>")]
    pub question: Option<Spanned<String>>,
    /// Where one looks: power, air, signal, mechanics, settings or output_stage.
    #[schemars(with = "Option<String>")]
    pub group: Option<Spanned<String>>,
    /// What it takes, minutes.
    #[schemars(with = "Option<f64>")]
    pub effort_min: Option<Spanned<Number>>,
    /// What to take care of, a sentence each.
    #[schemars(with = "Option<Vec<String>>")]
    pub cautions: Option<Vec<Spanned<String>>>,
    /// Whether one watches while the valve strokes.
    pub strokes: Option<bool>,
    /// Whether it moves the valve or may: by its set point, a loop that is opened, a cable or the air that is taken off. One that strokes does.
    pub moves: Option<bool>,
    /// Whether it is done in a workshop.
    pub workshop: Option<bool>,
    /// Whether "as on a healthy valve" is told by somebody who has tried it, and so is hardly ever wrong.
    pub sure_if_usual: Option<bool>,
}

/// Something that may be wrong.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CauseTable {
    /// Its name for programs.
    #[schemars(with = "Option<String>")]
    pub name: Option<Spanned<String>>,
    /// For people: "the supply pressure is too low".
    #[schemars(with = "Option<String>")]
    pub words: Option<Spanned<String>>,
    /// Causes of the same class cannot be told apart from outside; each its own if not given.
    #[schemars(with = "Option<String>")]
    pub class: Option<Spanned<String>>,
    /// Where it sits: power, air, signal, mechanics, settings or output_stage.
    #[schemars(with = "Option<String>")]
    pub group: Option<Spanned<String>>,
    /// How often it is met beside the others; 1 if not given.
    #[schemars(with = "Option<f64>")]
    pub weight: Option<Spanned<Number>>,
    /// What it does and why.
    #[schemars(with = "Option<String>")]
    pub text: Option<Spanned<String>>,
    /// What is to be done about it.
    #[schemars(with = "Option<String>")]
    pub remedy: Option<Spanned<String>>,
    /// What to take care of then.
    #[schemars(with = "Option<Vec<String>>")]
    pub cautions: Option<Vec<Spanned<String>>>,
    /// Whether it is mended in a workshop.
    pub workshop: Option<bool>,
    /// What it shows, where that is not what a healthy valve shows: symptom = { value = likelihood }, or of a slight, a clear and a
    /// full fault { value = [0.2, 0.6, 1] }.
    #[schemars(with = "Option<BTreeMap<String, BTreeMap<String, Share>>>")]
    pub expects: Option<BTreeMap<Spanned<String>, Spanned<SharesOfValues>>>,
}

/// Likelihoods by the names of values.
pub type SharesOfValues = BTreeMap<Spanned<String>, Spanned<Share>>;

/// A likelihood, at all levels or at each.
#[derive(Debug, JsonSchema)]
#[schemars(untagged)]
pub enum Share {
    /// The same of a slight, a clear and a full fault.
    All(f64),
    /// Of a slight, a clear and a full one.
    Each(Vec<f64>),
}

impl<'de> Deserialize<'de> for Share {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(ShareVisitor)
    }
}

struct ShareVisitor;

impl<'de> Visitor<'de> for ShareVisitor {
    type Value = Share;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a number from 0 to 1, or three of them in square brackets")
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<Share, E> {
        Ok(Share::All(n as f64))
    }
    fn visit_f64<E: Error>(self, x: f64) -> Result<Share, E> {
        Ok(Share::All(x))
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Share, A::Error> {
        let mut out = Vec::new();
        while let Some(Number(x)) = list.next_element()? {
            out.push(x);
        }
        Ok(Share::Each(out))
    }
}
