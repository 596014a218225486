//! Which valve answers, where that is not sure [TG-31].

use crate::commission::person::{Choice, Kind, Question};
use serde::{Deserialize, Serialize};

/// The name of the question.
pub const WHICH_VALVE: &str = "triage/which_valve";
/// What it takes, minutes (own judgement).
pub(super) const EFFORT_MIN: f64 = 3.0;
/// Who answers without a line, as far as somebody has said.
pub(super) const AT_ANOTHER_ADDRESS: &str = "It answers at another polling address only";

const COMPARE: &str = "Is that the valve that is looked for? Compare unique address, tag and serial number with its plate, its display and the list of the loop; one that knows command 72 (squawk) shows itself when it is told to.";
const CAUTION: &str = "Until that is sure nothing is moved: a set point, a stroke or a cable that is taken off would move another valve than the one that you watch.";
/// What to take care of before something moves where another valve answers.
pub(super) const BESIDE_ANOTHER: &str = "Another valve answers on these wires: see first, by drawing and terminals, that the set point goes to the one that you watch.";

/// Whether who answers is the valve that is looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Which {
    /// It is.
    This,
    /// It is another one.
    Another,
}

impl Which {
    /// Both.
    pub const ALL: [Which; 2] = [Which::This, Which::Another];

    /// The name in files.
    pub const fn key(self) -> &'static str {
        match self {
            Which::This => "this",
            Which::Another => "another",
        }
    }

    /// By its name.
    pub fn from_key(key: &str) -> Option<Which> {
        Which::ALL.into_iter().find(|w| w.key() == key)
    }

    const fn words(self) -> &'static str {
        match self {
            Which::This => "it is the valve that is looked for",
            Which::Another => "it is another valve",
        }
    }
}

/// Who answers where it is not sure that it is the one looked for, and what the person says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WhichValve {
    /// Who answers, a sentence without a point.
    pub who: String,
    /// What the person says; `None`: it was not asked, or is not known.
    pub answer: Option<Which>,
}

impl WhichValve {
    /// Nobody has said yet which one it is.
    pub fn new(who: impl Into<String>) -> WhichValve {
        WhichValve { who: who.into(), answer: None }
    }

    /// What is asked.
    pub fn question(&self) -> Question {
        let choices = Which::ALL.into_iter().map(|w| Choice::new(w.key(), w.words())).collect();
        let words = format!("{}. {COMPARE}", self.who);
        Question::new(WHICH_VALVE, words, Kind::Choice(choices)).with_caution(CAUTION)
    }

    /// What is told of it in the end, a sentence.
    pub(super) fn told(&self) -> String {
        let who = &self.who;
        match self.answer {
            None => format!(
                "{who}: whether that is the valve that is looked for is not known, so no check was proposed that moves a valve, and none may be moved before."
            ),
            Some(Which::This) => format!("{who}: {}, as somebody says who has looked.", Which::This.words()),
            Some(Which::Another) => {
                format!(
                    "{who}: {}, as somebody says who has looked; what was read of it counts for nothing.",
                    Which::Another.words()
                )
            }
        }
    }
}
