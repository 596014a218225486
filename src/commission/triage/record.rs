//! What came of a session, to keep and to hand over [TG-07].

use super::asking::is_beside_another;
use super::knowledge::Symptom;
use super::session::{Finding, Session};
use super::which_valve::{BESIDE_ANOTHER, EFFORT_MIN, WHICH_VALVE, WhichValve};
use crate::commission::travel::record::Identity;
use serde::{Deserialize, Serialize};

/// What the first line of a record says that it is.
pub const FORMAT: &str = "looprig triage 2";
/// The first format, in which a finding does not say whether a recording or somebody without a line told it [TG-32].
const FIRST_FORMAT: &str = "looprig triage 1";
/// No more causes than these are told.
const MOST_CAUSES: usize = 5;
/// Causes that are less likely than this are not told, but the first.
const LEAST_SHARE: f64 = 0.02;

/// The outcome in a word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// All that was seen is as on a healthy valve.
    NothingFound,
    /// One cause, or causes that cannot be told apart, stand out, and can be mended on site.
    Likely,
    /// The same, and it is mended in a workshop.
    Workshop,
    /// Something may be wrong, and nothing stands out: the next check, or somebody who knows more, or the workshop.
    Unclear,
}

/// Something seen, and by how many bits it speaks for a cause, or, negative, against it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Weighed {
    /// What was seen.
    pub finding: Finding,
    /// How strongly it speaks.
    pub bits: f64,
}

/// A cause as it is told in the end.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Told {
    /// Its name; empty: nothing is wrong.
    pub cause: String,
    /// For people.
    pub words: String,
    /// How likely, 0 to 1, with those that cannot be told apart from it.
    pub share: f64,
    /// Names of the others that cannot be told apart from it.
    #[serde(default)]
    pub same_class: Vec<String>,
    /// What speaks for it, the strongest first.
    pub speaks_for: Vec<Weighed>,
    /// What speaks against it, the strongest first.
    pub speaks_against: Vec<Weighed>,
    /// What is to be done.
    pub remedy: String,
    /// What to take care of then.
    pub cautions: Vec<String>,
    /// Whether it is mended in a workshop.
    pub workshop: bool,
}

/// A question that was asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Asked {
    /// The symptom's name.
    pub symptom: String,
    /// The question in words.
    pub question: String,
    /// The name of the value, `None`: the person did not know.
    pub answer: Option<String>,
    /// What it was expected to tell, bit.
    pub bits: f64,
    /// Its effort, minutes.
    pub effort_min: f64,
    /// The likeliest cause after it, and how likely.
    pub then: (String, f64),
}

/// A session of fault finding as it is kept.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Triage {
    /// [`FORMAT`].
    pub format: String,
    /// When it began, by whoever ran it; may be empty.
    pub started: String,
    /// The line; empty: there was none.
    pub line: String,
    /// The device, as far as it answered.
    pub device: Option<Identity>,
    /// Whose judgement the likelihoods are.
    pub whose: String,
    /// All that was seen, in the order in which it came.
    pub findings: Vec<Finding>,
    /// What was asked.
    pub asked: Vec<Asked>,
    /// Why it ended before it was done; empty: it was not.
    pub stopped: String,
    /// The outcome.
    pub verdict: Verdict,
    /// The likeliest, five at most; nothing wrong is one of them.
    pub causes: Vec<Told>,
    /// The check that would tell most now, as far as one is left: symptom's name, question, cautions.
    pub next: Option<NextTold>,
    /// Remarks on what was seen, sentences.
    pub remarks: Vec<String>,
    /// What was done on the line, sentences: what was not read and why, where the set point was left.
    #[serde(default)]
    pub on_the_line: Vec<String>,
    /// Remarks on a recording of the signal, sentences.
    #[serde(default)]
    pub in_the_waveform: Vec<String>,
    /// Who answers where that is not surely the valve that is looked for, and what the person says of it; `None`: it is sure [TG-31].
    #[serde(default)]
    pub which_valve: Option<WhichValve>,
    /// Whether what the bus would tell was asked of the person; not known of an old record.
    #[serde(default)]
    pub without_line: Option<bool>,
}

/// The check that would tell most.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct NextTold {
    /// The symptom's name.
    pub symptom: String,
    /// The question in words.
    pub question: String,
    /// What it is expected to tell, bit.
    pub bits: f64,
    /// Its effort, minutes.
    pub effort_min: f64,
    /// What to take care of.
    pub cautions: Vec<String>,
}

/// What the knowledge has no name for, told so that somebody can mend the file [TG-21].
fn nameless(session: &Session<'_>) -> Vec<String> {
    let mut remarks: Vec<String> = session
        .nameless()
        .filter(|(_, has_symptom)| *has_symptom)
        .map(|(f, _)| {
            format!(
                "The knowledge has no value \"{}\" of \"{}\", so this counts for nothing: {}.",
                f.value,
                f.symptom,
                f.told()
            )
        })
        .collect();
    let others = session.nameless().filter(|(_, has_symptom)| !has_symptom);
    let others: Vec<String> = others.map(|(f, _)| format!("{} ({})", f.symptom, f.value)).collect();
    if !others.is_empty() {
        let all = others.join(", ");
        remarks.push(format!("The knowledge has no such symptoms, so these count for nothing: {all}."));
    }
    remarks
}

/// What stands in the way of all that is asked, as the next check.
fn first_of_all(symptom: &Symptom, todo: &str) -> NextTold {
    NextTold {
        symptom: symptom.name.clone(),
        question: todo.to_owned(),
        bits: 0.0,
        effort_min: symptom.check.as_ref().map_or(5.0, |c| c.effort_min),
        cautions: Vec::new(),
    }
}

/// What is to be sure before anything moves, as the next check [TG-31].
fn which_valve(of: &WhichValve) -> NextTold {
    let question = of.question();
    NextTold {
        symptom: WHICH_VALVE.trim_start_matches("triage/").to_owned(),
        question: question.words,
        bits: 0.0,
        effort_min: EFFORT_MIN,
        cautions: question.cautions,
    }
}

impl Triage {
    /// All remarks, in the order in which they are told.
    pub fn all_remarks(&self) -> impl Iterator<Item = &str> {
        self.remarks.iter().chain(&self.on_the_line).chain(&self.in_the_waveform).map(String::as_str)
    }

    /// What a session has come to.
    pub fn of(session: &Session<'_>, asked: Vec<Asked>, stopped: String) -> Triage {
        let knowledge = session.knowledge();
        let ranks = session.ranks();
        let mut causes: Vec<Told> = Vec::new();
        let mut classes: Vec<&str> = Vec::new();
        for rank in &ranks {
            let class = session.class(rank);
            if classes.contains(&class) {
                continue;
            }
            if causes.len() >= MOST_CAUSES || (rank.class_share < LEAST_SHARE && !causes.is_empty()) {
                break;
            }
            classes.push(class);
            let (speaks_for, speaks_against) = session.evidence(rank.cause);
            let of = rank.cause.map(|c| &knowledge.causes[c]);
            let others = knowledge
                .causes
                .iter()
                .filter(|c| of.is_some_and(|o| o.class == c.class && o.name != c.name));
            causes.push(Told {
                cause: of.map_or(String::new(), |c| c.name.clone()),
                words: of.map_or("nothing is wrong that shows".to_owned(), |c| c.words.clone()),
                share: rank.class_share,
                same_class: others.map(|c| c.name.clone()).collect(),
                speaks_for,
                speaks_against,
                remedy: of.map_or(String::new(), |c| c.remedy.clone()),
                cautions: of.map_or(Vec::new(), |c| c.cautions.clone()),
                workshop: of.is_some_and(|c| c.workshop),
            });
        }
        let next = session.best().and_then(|n| {
            let check = knowledge.symptoms[n.symptom].check.as_ref()?;
            let beside = check.moves && is_beside_another(session.which_valve());
            let more = beside.then_some(BESIDE_ANOTHER);
            Some(NextTold {
                symptom: knowledge.symptoms[n.symptom].name.clone(),
                question: check.question.clone(),
                bits: n.bits,
                effort_min: n.effort_min,
                cautions: check.all_cautions().chain(more).map(str::to_owned).collect(),
            })
        });
        let unsure = session.which_valve().filter(|w| w.answer.is_none());
        let next = unsure.map(which_valve).or(next);
        let next =
            session.first_of_all().map(|(s, todo)| first_of_all(&knowledge.symptoms[s], todo)).or(next);
        let healthy_first = ranks.first().is_some_and(|r| r.cause.is_none());
        let is_told = |f: &Finding| causes.iter().any(|c| c.speaks_for.iter().any(|w| w.finding == *f));
        let unexplained = session.unexplained().filter(|f| healthy_first && !is_told(f));
        let mut remarks: Vec<String> = session.which_valve().map(WhichValve::told).into_iter().collect();
        remarks.extend(
            unexplained
                .map(|f| format!("Not as on a healthy valve, and no cause explains it: {}.", f.told())),
        );
        if healthy_first && !session.not_looked_at().is_empty() {
            let all: Vec<&str> =
                session.not_looked_at().iter().map(|s| knowledge.symptoms[*s].words.as_str()).collect();
            remarks.push(format!("Not looked at ({}): {}.", all.len(), all.join("; ")));
        }
        remarks.extend(nameless(session));
        Triage {
            format: FORMAT.to_owned(),
            started: String::new(),
            line: String::new(),
            device: None,
            whose: knowledge.whose.clone(),
            findings: session.findings().cloned().collect(),
            asked,
            stopped,
            verdict: session.verdict(),
            causes,
            next,
            remarks,
            on_the_line: Vec::new(),
            in_the_waveform: Vec::new(),
            which_valve: session.which_valve().cloned(),
            without_line: Some(session.is_without_line()),
        }
    }

    /// Makes one of the first format one of this.
    fn name_origins(&mut self) {
        FORMAT.clone_into(&mut self.format);
        let has_line = !self.line.is_empty();
        let of_causes =
            self.causes.iter_mut().flat_map(|c| c.speaks_for.iter_mut().chain(&mut c.speaks_against));
        for f in self.findings.iter_mut().chain(of_causes.map(|w| &mut w.finding)) {
            f.from = f.from.of_the_first_format(&f.symptom, has_line);
        }
    }

    /// As JSON, pretty, with a line end.
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Reads a record again.
    ///
    /// # Errors
    /// What is wrong: no JSON, or no record of this format.
    pub fn from_json(text: &str) -> Result<Triage, String> {
        let mut triage: Triage =
            serde_json::from_str(text).map_err(|e| format!("this is no record of fault finding: {e}"))?;
        if triage.format == FIRST_FORMAT {
            triage.name_origins();
        } else if triage.format != FORMAT {
            return Err(format!("this is \"{}\", not \"{FORMAT}\"", triage.format));
        }
        Ok(triage)
    }
}
