//! Leads a person through a session [TG-05].

use super::knowledge::Symptom;
use super::record::{Asked, Triage};
use super::session::{Finding, Next, Origin, Session};
use super::which_valve::{BESIDE_ANOTHER, Which, WhichValve};
use crate::commission::person::{Answer, Choice, Kind, Person, Question};
use crate::host::stimulus::Why;

/// What is done between two questions by whoever leads the session.
pub trait Between {
    /// A check is next during which the valve strokes: gets it to stroke, if there is leave and a way, when the person is ready.
    /// Otherwise the person has to see to it, and the question says so.
    /// Gives why no more is wanted, if the person ends it there.
    fn stroke(&mut self, person: &mut dyn Person, symptom: &Symptom) -> Option<Why>;
}

/// Nobody strokes: the person sees to it.
impl Between for () {
    fn stroke(&mut self, _: &mut dyn Person, _: &Symptom) -> Option<Why> {
        None
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
}

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
        let (Some(check), Some(question)) = (&symptom.check, symptom.question()) else {
            session.not_known(next.symptom);
            continue;
        };
        let question = match (check.moves, is_beside_another(session.which_valve())) {
            (true, true) => question.with_caution(BESIDE_ANOTHER),
            _ => question,
        };
        if check.strokes
            && let Some(why) = between.stroke(person, symptom)
        {
            why.words().clone_into(&mut stopped);
            break;
        }
        session.count_question();
        let answer = match person.ask(&question) {
            Answer::Choice(value) => {
                let words = symptom.value(&value).map_or("", |v| symptom.values[v].words.as_str());
                session.add(Finding {
                    symptom: symptom.name.clone(),
                    value: value.clone(),
                    from: Origin::Person,
                    words: format!("{}: {words}", symptom.words),
                });
                Some(value)
            }
            Answer::Stop(why) => {
                stopped = why.words().to_owned();
                break;
            }
            _ => {
                session.not_known(next.symptom);
                None
            }
        };
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
        bits: next.bits,
        effort_min: next.effort_min,
        then: (name.to_owned(), first.map_or(0.0, |r| r.class_share)),
    }
}
