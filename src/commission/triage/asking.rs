//! Leads a person through a session [TG-05].

use super::knowledge::Symptom;
use super::record::{Asked, Triage};
use super::session::{Finding, Next, Session};
use super::which_valve::{BESIDE_ANOTHER, Which, WhichValve};
use crate::commission::person::{Answer, Choice, Kind, Person, Question};
use crate::host::stimulus::Why;

/// What is done between two questions by whoever leads the session.
pub trait Between {
    /// A check is next during which the valve strokes: gets it to stroke, if there is leave and a way, when the person is ready.
    /// Gives whether it strokes; otherwise the person has to see to it, and the question says so [TG-43].
    ///
    /// # Errors
    /// Why no more is wanted, if the person ends it there.
    fn stroke(&mut self, person: &mut dyn Person, symptom: &Symptom) -> Result<bool, Why>;
}

/// Nobody strokes: the person sees to it.
impl Between for () {
    fn stroke(&mut self, _: &mut dyn Person, _: &Symptom) -> Result<bool, Why> {
        Ok(false)
    }
}

impl Symptom {
    /// The question for it, `triage/NAME`; `None`: nobody is asked for it.
    pub fn question(&self) -> Option<Question> {
        let check = self.check.as_ref()?;
        let choices = self.values.iter().map(|v| Choice::new(v.name.clone(), v.words.clone())).collect();
        let question =
            Question::new(format!("triage/{}", self.name), check.question.clone(), Kind::Choice(choices));
        Some(check.all_cautions().fold(question, |q, c| q.with_caution(c)))
    }

    /// The same once more, `triage/NAME/again`, behind what was seen [TG-41].
    fn question_again(&self, seen: &Finding) -> Option<Question> {
        let mut question = self.question()?;
        question.id = again_id(&self.name);
        question.words = once_more(&question.words, self, &seen.value);
        Some(question)
    }
}

/// The id of a check that is asked for once more: no number, so that one answer of a file is not both.
pub(super) fn again_id(symptom: &str) -> String {
    format!("triage/{symptom}/again")
}

/// A check that is asked for once more, in words.
pub(super) fn once_more(question: &str, symptom: &Symptom, value: &str) -> String {
    let words = symptom.value(value).map_or(value, |v| symptom.values[v].words.as_str());
    format!("Once more, for one answer is too little to go by: \"{words}\" was seen. {question}")
}

/// What stands before a check for which the valve has to move, and looprig does not move it [TG-43].
const BY_YOURSELF: &str = "Only if you may move the valve yourself, by your own set point; else answer ?.";

/// Asks, the check that tells most for its effort first, until one cause is sure enough, nothing would tell more, enough was
/// asked or the person ends it.
pub fn ask(session: &mut Session<'_>, person: &mut dyn Person, between: &mut dyn Between) -> Triage {
    let knowledge = session.knowledge();
    let mut all = Vec::new();
    let mut stopped = String::new();
    let mut was_asked_which = false;
    loop {
        let unsure = session.which_valve().filter(|w| w.answer.is_none() && !was_asked_which);
        if let (Some(which), None) = (unsure, session.first_of_all()) {
            was_asked_which = true;
            match person.ask(&which.question()) {
                Answer::Choice(name) => Which::from_key(&name).into_iter().for_each(|w| session.which(w)),
                Answer::Stop(why) => {
                    why.words().clone_into(&mut stopped);
                    break;
                }
                _ => {}
            }
        }
        let Some(next) = session.next() else { break };
        let symptom = &knowledge.symptoms[next.symptom];
        let seen = session.findings().find(|f| next.again && f.symptom == symptom.name);
        let question = seen.map_or_else(|| symptom.question(), |f| symptom.question_again(f));
        let (Some(check), Some(mut question)) = (&symptom.check, question) else {
            session.not_known(next.symptom);
            continue;
        };
        if check.moves && is_beside_another(session.which_valve()) {
            question = question.with_caution(BESIDE_ANOTHER);
        }
        if check.strokes {
            match between.stroke(person, symptom) {
                Ok(true) => {}
                Ok(false) => question.words = format!("{BY_YOURSELF} {}", question.words),
                Err(why) => {
                    why.words().clone_into(&mut stopped);
                    break;
                }
            }
        } else if check.sets {
            question.words = format!("{BY_YOURSELF} {}", question.words);
        }
        let answer = match person.ask(&question) {
            Answer::Choice(value) => Some(value),
            Answer::Stop(why) => {
                stopped = why.words().to_owned();
                break;
            }
            _ => None,
        };
        session.answer(next, answer.as_deref());
        all.push(asked(session, next, answer));
    }
    Triage::of(session, all, stopped)
}

/// Another valve answers on the same wires as the one looked for.
pub(super) fn is_beside_another(which: Option<&WhichValve>) -> bool {
    which.is_some_and(|w| w.answer == Some(Which::Another))
}

/// A question that was asked, behind its answer.
pub(super) fn asked(session: &Session<'_>, next: Next, answer: Option<String>) -> Asked {
    let knowledge = session.knowledge();
    let symptom = &knowledge.symptoms[next.symptom];
    let first = session.ranks().first().cloned();
    let name = first.as_ref().and_then(|r| r.cause).map_or("", |c| knowledge.causes[c].name.as_str());
    Asked {
        symptom: symptom.name.clone(),
        question: symptom.check.as_ref().map_or(String::new(), |c| c.question.clone()),
        answer,
        again: next.again,
        bits: next.bits,
        effort_min: next.effort_min,
        then: (name.to_owned(), first.map_or(0.0, |r| r.class_share)),
    }
}
