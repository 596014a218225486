//! The fixed order of the trade, with the same answers and the same beliefs: the measure's rival [TG-08].

use crate::commission::person::{Answer, Person};
use crate::commission::triage::{Finding, Knowledge, Origin, Seen, Session};

/// When the rival asks no more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Until {
    /// At the first answer that is not as on a healthy valve.
    Odd,
    /// When looprig would ask no more [TG-05]: sure enough, nothing tells more, or enough was asked.
    Sure,
}

/// Asks the checks group by group, in each by effort. Gives how many it asked.
pub fn fixed_order(
    session: &mut Session<'_>,
    person: &mut dyn Person,
    knowledge: &Knowledge,
    until: Until,
) -> usize {
    let checks = knowledge.symptoms.iter().filter(|s| s.seen == Seen::Person);
    let mut all: Vec<_> = checks.filter_map(|s| Some((s, s.check.as_ref()?, s.question()?))).collect();
    // Stable: what is alike stays as it stands in the knowledge.
    all.sort_by(|a, b| (a.1.group).cmp(&b.1.group).then(a.1.effort_min.total_cmp(&b.1.effort_min)));
    for (number, (symptom, _, question)) in all.iter().enumerate() {
        if until == Until::Sure && (number >= knowledge.most_questions || session.next().is_none()) {
            return number;
        }
        if let Answer::Choice(value) = person.ask(question) {
            let is_usual = symptom.value(&value) == Some(0);
            session.add(Finding {
                symptom: symptom.name.clone(),
                value,
                from: Origin::Person,
                words: String::new(),
            });
            if !is_usual && until == Until::Odd {
                return number + 1;
            }
        }
    }
    all.len()
}
