//! Which valve answers: nothing that moves one is proposed before that is sure [TG-31].

use super::finding;
use crate::commission::answers::Answers;
use crate::commission::person::{Answer, Person, Question};
use crate::commission::triage::*;
use crate::host::stimulus::Why;
use std::path::Path;

fn known() -> Knowledge {
    Knowledge::own().unwrap_or_else(|e| panic!("{e}"))
}

/// Says where it answers and which valve it is, and of nothing else anything; keeps what it was asked.
struct Says(Option<Answer>, Vec<Question>);

impl Person for Says {
    fn ask(&mut self, question: &Question) -> Answer {
        self.1.push(question.clone());
        match question.id.as_str() {
            "triage/answers" => Answer::Choice("elsewhere".into()),
            WHICH_VALVE => self.0.clone().unwrap_or(Answer::DontKnow),
            _ => Answer::DontKnow,
        }
    }
    fn tell(&mut self, _: &str) {}
}

fn again(triage: &Triage, known: &Knowledge) -> Triage {
    let text = triage.answers();
    let mut answers =
        Answers::from_text(&text, Path::new("a.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"));
    assert_eq!(wrong_answer(known, &answers), None, "{text}");
    let kept = Kept::of(known, &mut answers).unwrap_or_else(|| panic!("no session: {text}"));
    assert_eq!(answers.unused().filter(|id| !is_of_a_session(id)).count(), 0, "{text}");
    kept.again(known)
}

fn choice(which: Which) -> Option<Answer> {
    Some(Answer::Choice(which.key().into()))
}

/// With a line (the bus has told of a valve that is not surely the one looked for) and without one (somebody says where it answers): which valve
/// it is is asked before anything else that can be; not known, nothing that moves one is, and the question stays the next check; known, the rest is.
#[test]
fn nothing_moves_before_it_is_sure() {
    let known = known();
    let moves = |id: &str| {
        let symptom = known.symptoms.iter().find(|s| format!("triage/{}", s.name) == id);
        symptom.and_then(|s| s.check.as_ref()).is_some_and(|c| c.moves)
    };
    for has_line in [true, false] {
        for said in [None, choice(Which::This), choice(Which::Another), Some(Answer::Stop(Why::Said))] {
            let mut session = Session::new(&known, !has_line);
            if has_line {
                let words = "at set point 100 % it stands at 64.0 %".to_owned();
                session.add(Finding { from: Origin::Stroke, words, ..finding("opens", "short") });
                session.unsure("At polling address 0 answers device 3D71003105");
            }
            let mut person = Says(said.clone(), Vec::new());
            let triage = ask(&mut session, &mut person, &mut ());
            let ids: Vec<&str> = person.1.iter().map(|q| q.id.as_str()).collect();
            let at: Vec<usize> = (0..ids.len()).filter(|i| ids[*i] == WHICH_VALVE).collect();
            let before = ids.iter().position(|id| *id == "triage/answers").map_or(0, |at| at + 1);
            assert!(at == [before] && has_line == (before == 0), "{ids:?}");
            let is_sure = matches!(said, Some(Answer::Choice(_)));
            assert_eq!(ids[before..].iter().any(|id| moves(id)), is_sure, "{said:?}: {ids:?}");
            let next = triage.next.as_ref().map(|n| n.symptom.as_str());
            assert_eq!(next == Some("which_valve"), !is_sure, "{said:?}: {next:?}");
            if !is_sure {
                let next = triage.next.as_ref().expect("it is the next");
                assert!(next.cautions.iter().any(|c| c.contains("another valve")), "{next:?}");
                assert_eq!(triage.verdict, Verdict::Unclear);
            }
            let is_another = said == choice(Which::Another);
            let beside = |q: &Question| q.cautions.iter().any(|c| c.contains("Another valve answers"));
            assert!(person.1[before..].iter().filter(|q| moves(&q.id)).all(|q| beside(q) == is_another));
            // What somebody has said of where it answers is said of the one looked for: it is silent.
            let silent = triage.findings.iter().any(|f| f.symptom == "answers" && f.value == "silent");
            assert_eq!(silent, is_another && !has_line, "{:?}", triage.findings);
            assert_eq!(again(&triage, &known), triage, "{}", triage.answers());
            assert_eq!(Triage::from_json(&triage.to_json()), Ok(triage));
        }
    }
}

/// A healthy valve that may be another one is not in order.
#[test]
fn what_may_be_another_valve_is_not_in_order() {
    let known = known();
    let mut session = Session::new(&known, false);
    for symptom in &known.symptoms {
        session.add(finding(&symptom.name, &symptom.values[0].name));
    }
    assert_eq!(session.verdict(), Verdict::NothingFound);
    session.unsure("At polling address 0 answers device 3D71003105");
    assert_eq!(session.verdict(), Verdict::Unclear);
    session.which(Which::This);
    assert_eq!(session.verdict(), Verdict::NothingFound);
}

/// Whatever a check says of a valve that moves, in its question or its cautions, it says of itself for programs, too.
#[test]
fn a_check_that_moves_the_valve_says_so() {
    let words = [
        "full stroke",
        "valve strokes",
        "valve moves and",
        "moves it:",
        "ma drives",
        "fail position",
        "power off drives",
        "when something lets go",
        "without the stage nothing holds it",
        "makes a live positioner stroke",
    ];
    let known = known();
    for s in &known.symptoms {
        let Some(check) = &s.check else { continue };
        let all = format!("{} {}", check.question, check.cautions.join(" ")).to_lowercase();
        // That is what must not be done.
        let all = all.replace("turned, the valve strokes to another set point", "");
        assert_eq!(check.moves, words.iter().any(|w| all.contains(w)), "{}: {all}", s.name);
    }
    // One that strokes moves it, whether or not a file says so.
    let text = own_text().replace("moves = true\n", "");
    let old = Knowledge::from_text(&text, Path::new("old.toml")).unwrap_or_else(|e| panic!("{e}"));
    let moving = old.symptoms.iter().filter_map(|s| s.check.as_ref()).filter(|c| c.moves);
    assert!(moving.clone().count() >= 5 && moving.clone().all(|c| c.strokes));
}
