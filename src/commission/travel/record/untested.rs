//! Losses that were planned and not tried [TV-117].

use super::{Ended, Loss, Record};
use serde::{Deserialize, Serialize};

/// A loss that was asked for and not tested.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NotTested {
    /// What was to be taken away.
    pub loss: Loss,
    /// Why it was not, a few words.
    pub why: String,
}

impl Record {
    /// The losses of the plan of which there is no [`Fail`](super::Fail), in the plan's order, each with its reason.
    pub fn losses_not_tested(&self) -> Vec<NotTested> {
        let mut tried: Vec<Loss> = self.fails.iter().map(|f| f.loss).collect();
        let mut said: Vec<&NotTested> = self.not_tested.iter().collect();
        let mut out = Vec::new();
        for loss in &self.plan.losses {
            if let Some(at) = tried.iter().position(|t| t == loss) {
                tried.swap_remove(at);
                continue;
            }
            let why = match said.iter().position(|n| n.loss == *loss) {
                Some(at) => said.remove(at).why.clone(),
                None if self.ended == Ended::Whole => "the record does not say why".to_owned(),
                None => "the test ended before".to_owned(),
            };
            out.push(NotTested { loss: *loss, why });
        }
        out
    }
}
