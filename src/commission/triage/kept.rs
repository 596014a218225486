//! A session as a file of answers keeps it, and the same session again [TG-20].

use super::asking::asked;
use super::knowledge::{Knowledge, Seen, Symptom};
use super::record::{FORMAT, Triage};
use super::session::{Finding, Origin, Session};
use super::which_valve::{WHICH_VALVE, Which, WhichValve};
use crate::commission::answers::Answers;
use crate::commission::person::{Answer, Choice, Kind, Question};
use crate::commission::travel::record::Identity;
use core::fmt::Write;

/// What stands before what is of the session and no answer to a question.
const SESSION: &str = "triage/session/";
/// What stands before the words of what was read.
const WORDS: &str = "triage/words/";
/// What stands before where something read comes from [TG-32].
const FROM: &str = "triage/from/";
/// Most characters of an answer; more is cut off.
const LONGEST: usize = 1000;
/// Most symptoms that were read, and most that were asked: no knowledge has more.
const MOST: usize = 200;

/// What answers which valve it is.
const WHICH: &str = "\"this\", \"another\" or \"?\"";

/// Whether an answer by this id is there for the session alone, and nobody is ever asked for it.
pub fn is_of_a_session(id: &str) -> bool {
    [SESSION, WORDS, FROM].iter().any(|of| id.starts_with(of))
}

/// A session as it was kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Kept {
    started: String,
    line: String,
    device: Option<Identity>,
    /// What the bus told, in its order.
    read: Vec<Finding>,
    /// Symptoms that a person was asked for, in their order, and what was answered; `None`: not known.
    asked: Vec<(String, Option<String>)>,
    stopped: String,
    on_the_line: Vec<String>,
    in_the_waveform: Vec<String>,
    which_valve: Option<WhichValve>,
    /// `None`: an old file does not say.
    without_line: Option<bool>,
}

/// The unique address of the device of a kept session; `None`: it has none.
pub fn kept_address(answers: &Answers) -> Option<String> {
    let written = answers.written(&format!("{SESSION}device/unique_address")).first()?;
    Some(written.text.trim().to_owned()).filter(|a| !a.is_empty())
}

impl Triage {
    /// The session as a file of answers that replays it without a line [TG-20]: what the bus told and in which words, what the
    /// person was asked and said ("?" where the person did not know), where it ended, and how the valve was left.
    pub fn answers(&self) -> String {
        let mut out = String::from(
            "# A session of fault finding: `looprig triage --answers THIS` gives its outcome again.\n\
             # What is changed here is judged as changed; nothing is asked that was not asked.\n",
        );
        let mut one = |id: &str, text: &str| {
            if !text.is_empty() {
                let _ = writeln!(out, "\"{id}\" = {}", quoted(text));
            }
        };
        let session = |key: &str| format!("{SESSION}{key}");
        one(&session("format"), FORMAT);
        one(&session("started"), &self.started);
        one(&session("line"), &self.line);
        let device = self.device.clone().unwrap_or_default();
        let revision = device.revision.map_or(String::new(), |r| r.to_string());
        for (key, text) in [
            ("tag", &device.tag),
            ("long_tag", &device.long_tag),
            ("unique_address", &device.unique_address),
            ("manufacturer", &device.manufacturer),
            ("device_type", &device.device_type),
            ("revision", &revision),
            ("serial", &device.serial),
        ] {
            one(&session(&format!("device/{key}")), text);
        }
        one(&session("ended"), &self.stopped);
        if let Some(is) = self.without_line {
            one(&session("without_line"), if is { "yes" } else { "no" });
        }
        if let Some(w) = &self.which_valve {
            one(&session("which_valve"), &w.who);
            one(WHICH_VALVE, w.answer.map_or("?", Which::key));
        }
        for f in &self.findings {
            let asked = self.asked.iter().find(|a| a.symptom == f.symptom);
            let value = match (f.from, asked) {
                // What follows from the answer to another question is none itself; nor is what was answered changed by it.
                (Origin::Person, None) => continue,
                (Origin::Person, Some(asked)) => asked.answer.as_ref().unwrap_or(&f.value),
                _ => &f.value,
            };
            one(&format!("triage/{}", f.symptom), value);
            if f.from != Origin::Person {
                one(&format!("{WORDS}{}/{}", f.symptom, f.value), &f.words);
                one(&format!("{FROM}{}", f.symptom), f.from.key());
            }
        }
        for a in self.asked.iter().filter(|a| a.answer.is_none()) {
            one(&format!("triage/{}", a.symptom), "?");
        }
        let read = self.findings.iter().filter(|f| f.from != Origin::Person).map(|f| f.symptom.as_str());
        let more = device.more.iter().flat_map(|(name, value)| [name.as_str(), value.as_str()]);
        for (key, list) in [
            ("device/more", more.collect::<Vec<_>>()),
            ("read", read.collect()),
            ("asked", self.asked.iter().map(|a| a.symptom.as_str()).collect()),
            ("on_the_line", self.on_the_line.iter().map(String::as_str).collect()),
            ("in_the_waveform", self.in_the_waveform.iter().map(String::as_str).collect()),
        ] {
            if !list.is_empty() {
                let list: Vec<String> = list.into_iter().map(quoted).collect();
                let _ = writeln!(out, "\"{SESSION}{key}\" = [{}]", list.join(", "));
            }
        }
        out
    }
}

/// As a text of TOML, on one line.
fn quoted(text: &str) -> String {
    let kept = text.chars().take(LONGEST).map(|c| if c.is_control() { ' ' } else { c });
    let kept: String = kept.collect();
    format!("\"{}\"", kept.replace('\\', "\\\\").replace('"', "\\\""))
}

impl Symptom {
    /// What was typed or written in answer to it: the name of a value or its number counted from 1, "?", "stop".
    ///
    /// # Errors
    /// What would be right.
    pub fn read(&self, typed: &str) -> Result<Answer, String> {
        let choices = self.values.iter().map(|v| Choice::new(v.name.clone(), v.words.clone())).collect();
        let question = Question::new(format!("triage/{}", self.name), "", Kind::Choice(choices));
        question.read(typed).map_err(|_| {
            let names: Vec<&str> = self.values.iter().map(|v| v.name.as_str()).collect();
            format!("write one of {}, or \"?\"", names.join(", "))
        })
    }

    /// Something of it that was read, in the words that the knowledge has for it.
    fn found(&self, value: &str, from: Origin) -> Finding {
        let words = self.value(value).map_or("", |v| self.values[v].words.as_str());
        let words = format!("{}: {words}", self.words);
        Finding { symptom: self.name.clone(), value: value.to_owned(), from, words }
    }
}

/// The first answer that is none of its question: its place, what is wrong, what would be right. What a session has kept the
/// words of was read by other knowledge than this, and may stand.
pub fn wrong_answer(knowledge: &Knowledge, answers: &Answers) -> Option<(String, String, String)> {
    let leave = |id: &str| Question::new(id, "", Kind::YesNo);
    let of_symptoms = knowledge.symptoms.iter().flat_map(|s| {
        let all = answers.written(&format!("triage/{}", s.name)).iter();
        let is_kept = |text: &str| !answers.written(&format!("{WORDS}{}/{text}", s.name)).is_empty();
        let wrong = all.filter(move |w| !is_kept(&w.text));
        wrong.filter_map(|w| Some((w, format!("no value of {}", s.name), s.read(&w.text).err()?)))
    });
    let of_leaves = ["triage/move", "triage/stroke"].into_iter().flat_map(|id| {
        let wrong = answers.written(id).iter().filter(move |w| leave(id).read(&w.text).is_err());
        wrong.map(move |w| (w, format!("no answer to {id}"), "write \"yes\" or \"no\"".to_owned()))
    });
    let question = WhichValve::new("").question();
    let which = answers.written(WHICH_VALVE).iter().filter(move |w| question.read(&w.text).is_err());
    let which = which.map(|w| (w, "no answer to which valve it is".to_owned(), format!("write {WHICH}")));
    let mut all = of_symptoms.chain(of_leaves).chain(which);
    all.next().map(|(w, what, next)| (w.place.clone(), format!("\"{}\" is {what}", w.text), next))
}

/// What a file that is no kept session says that the bus told, each symptom once.
pub fn told(knowledge: &Knowledge, answers: &mut Answers) -> Vec<Finding> {
    let of_the_bus = knowledge.symptoms.iter().filter(|s| s.seen != Seen::Person);
    let all = of_the_bus.filter_map(|s| {
        let written = answers.answer(&format!("triage/{}", s.name))?;
        let Ok(Answer::Choice(value)) = s.read(&written.text) else { return None };
        Some(s.found(&value, Origin::Told))
    });
    all.collect()
}

impl Kept {
    /// The session of a file of answers; `None`: the file is none, but answers alone.
    pub fn of(knowledge: &Knowledge, answers: &mut Answers) -> Option<Kept> {
        let mut all = |id: &str| -> Vec<String> {
            let list = answers.written(id).iter().map(|w| w.text.clone()).collect();
            // It is used.
            answers.answer(id);
            list
        };
        all(&format!("{SESSION}format")).first()?;
        let mut kept = Kept::default();
        let mut one = |key: &str| all(&format!("{SESSION}{key}")).into_iter().next().unwrap_or_default();
        (kept.started, kept.line, kept.stopped) = (one("started"), one("line"), one("ended"));
        kept.without_line = match one("without_line").as_str() {
            "yes" => Some(true),
            "no" => Some(false),
            _ => None,
        };
        let who = one("which_valve");
        let mut device = Identity {
            tag: one("device/tag"),
            long_tag: one("device/long_tag"),
            unique_address: one("device/unique_address"),
            manufacturer: one("device/manufacturer"),
            device_type: one("device/device_type"),
            revision: one("device/revision").parse().ok(),
            serial: one("device/serial"),
            more: Vec::new(),
        };
        let more = all(&format!("{SESSION}device/more"));
        device.more = more.chunks_exact(2).map(|pair| (pair[0].clone(), pair[1].clone())).collect();
        kept.device = Some(device).filter(|d| *d != Identity::default());
        kept.on_the_line = all(&format!("{SESSION}on_the_line"));
        kept.in_the_waveform = all(&format!("{SESSION}in_the_waveform"));
        let said = all(WHICH_VALVE).into_iter().next();
        let answer = match said.map(|text| WhichValve::new("").question().read(&text)) {
            Some(Ok(Answer::Choice(name))) => Which::from_key(&name),
            _ => None,
        };
        kept.which_valve = Some(who).filter(|who| !who.is_empty()).map(|who| WhichValve { who, answer });
        let value_of = |all: &mut dyn FnMut(&str) -> Vec<String>, name: &str| {
            let text = all(&format!("triage/{name}")).into_iter().next()?;
            match knowledge.symptom(name).map(|s| knowledge.symptoms[s].read(&text)) {
                Some(Ok(Answer::Choice(value))) => Some(value),
                Some(Ok(_)) => None,
                // What this knowledge has no name for.
                Some(Err(_)) | None => Some(text).filter(|t| t != "?"),
            }
        };
        for name in all(&format!("{SESSION}read")).into_iter().take(MOST) {
            let Some(value) = value_of(&mut all, &name) else { continue };
            let symptom = knowledge.symptom(&name).map(|s| &knowledge.symptoms[s]);
            let is_stroke = symptom.is_some_and(|s| s.seen == Seen::Stroke);
            let usual = if is_stroke { Origin::Stroke } else { Origin::Bus };
            let written = all(&format!("{FROM}{name}")).into_iter().next();
            let from = written.and_then(|text| Origin::from_key(&text));
            let from = from.unwrap_or_else(|| usual.of_the_first_format(&name, !kept.line.is_empty()));
            let nameless =
                Finding { symptom: name.clone(), value: value.clone(), from, words: String::new() };
            let mut finding = symptom.map_or(nameless, |s| s.found(&value, from));
            // What was changed since is not told in the words of what was read.
            if let Some(words) = all(&format!("{WORDS}{name}/{value}")).into_iter().next() {
                finding.words = words;
            }
            kept.read.push(finding);
        }
        for name in all(&format!("{SESSION}asked")).into_iter().take(MOST) {
            let value = value_of(&mut all, &name);
            kept.asked.push((name, value));
        }
        Some(kept)
    }

    /// The session again: what was read is read, what was asked is asked in its order, and no more [TG-20]. The same knowledge
    /// gives the same record; other knowledge judges the same findings.
    pub fn again(&self, knowledge: &Knowledge) -> Triage {
        let without_line = self.without_line.unwrap_or(self.line.is_empty() && self.read.is_empty());
        let mut session = Session::new(knowledge, without_line);
        for finding in &self.read {
            session.add(finding.clone());
        }
        let said = self.which_valve.as_ref().and_then(|w| w.answer);
        let settle = |session: &mut Session<'_>| {
            if let (true, Some(which)) = (session.is_unsure(), said) {
                session.which(which);
            }
        };
        // Where a person said so, that answer brings it up again.
        let is_said = self.asked.iter().any(|(s, v)| s == "answers" && v.as_deref() == Some("elsewhere"));
        if let Some(which) = self.which_valve.as_ref().filter(|_| !is_said) {
            session.unsure(which.who.clone());
        }
        settle(&mut session);
        let mut all = Vec::new();
        for (name, value) in &self.asked {
            let Some(symptom) = knowledge.symptom(name) else {
                if let Some(value) = value {
                    let (symptom, value, words) = (name.clone(), value.clone(), String::new());
                    session.add(Finding { symptom, value, from: Origin::Person, words });
                }
                continue;
            };
            let would_tell = session.would_tell(symptom);
            match value {
                Some(value) => {
                    session.add(knowledge.symptoms[symptom].found(value, Origin::Person));
                }
                None => session.not_known(symptom),
            }
            all.push(asked(&session, would_tell, value.clone()));
            settle(&mut session);
        }
        Triage {
            started: self.started.clone(),
            line: self.line.clone(),
            device: self.device.clone(),
            on_the_line: self.on_the_line.clone(),
            in_the_waveform: self.in_the_waveform.clone(),
            ..Triage::of(&session, all, self.stopped.clone())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::asking::ask;
    use super::*;
    use crate::commission::person::Person;
    use crate::host::stimulus::Why;
    use proptest::prelude::*;
    use std::path::Path;
    use std::sync::OnceLock;

    fn again(text: &str, known: &Knowledge) -> Triage {
        let mut answers =
            Answers::from_text(text, Path::new("a.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"));
        assert_eq!(wrong_answer(known, &answers), None, "{text}");
        let kept = Kept::of(known, &mut answers).unwrap_or_else(|| panic!("no session: {text}"));
        assert_eq!(answers.unused().filter(|id| !is_of_a_session(id)).count(), 0, "{text}");
        kept.again(known)
    }

    /// Answers by the number of the question, and stops at one of them.
    struct Says(Vec<usize>, usize, usize);

    impl Person for Says {
        fn ask(&mut self, question: &Question) -> Answer {
            let Kind::Choice(choices) = &question.kind else { return Answer::DontKnow };
            self.2 += 1;
            if self.2 > self.1 {
                return Answer::Stop(Why::Said);
            }
            let said = self.0[self.2 % self.0.len()] % (choices.len() + 1);
            choices.get(said).map_or(Answer::DontKnow, |c| Answer::Choice(c.name.clone()))
        }
        fn tell(&mut self, _: &str) {}
    }

    fn known() -> &'static Knowledge {
        static KNOWN: OnceLock<Knowledge> = OnceLock::new();
        KNOWN.get_or_init(|| Knowledge::own().unwrap_or_else(|e| panic!("{e}")))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(debug_assertions) { 64 } else { 256 }))]

        /// Whatever was told, asked and answered, and wherever it was stopped: the file of answers gives the same record.
        #[test]
        fn the_same_again(
            told in proptest::collection::vec((0usize..60, 0usize..4, "[ -~]{1,20}", any::<bool>()), 0..12),
            says in proptest::collection::vec(0usize..9, 1..5),
            stop in 0usize..15,
            words in proptest::collection::vec("[^\\p{Cc}]{0,30}", 4),
            (has_line, is_alone) in any::<(bool, bool)>(),
        ) {
            let known = known();
            let mut session = Session::new(known, is_alone && !has_line);
            for (symptom, value, words, is_another) in &told {
                let symptom = &known.symptoms[symptom % known.symptoms.len()];
                if is_alone || symptom.seen == Seen::Person {
                    continue;
                }
                let from = match (symptom.seen, is_another) {
                    (_, true) if has_line => Origin::Recording,
                    (_, true) => Origin::Told,
                    (Seen::Stroke, _) => Origin::Stroke,
                    _ => Origin::Bus,
                };
                let value = symptom.values[value % symptom.values.len()].name.clone();
                session.add(Finding { symptom: symptom.name.clone(), value, from, words: words.clone() });
            }
            let mut triage = ask(&mut session, &mut Says(says, stop, 0), &mut ());
            triage.started = "2026-11-30 12:00:00 UTC".to_owned();
            if has_line {
                triage.line = "serial:/dev/ttyUSB0".to_owned();
                let (tag, long_tag) = (words[0].clone(), words[1].clone());
                let more = vec![(words[2].clone(), words[3].clone())];
                triage.device = Some(Identity { tag, long_tag, revision: Some(7), more, ..Identity::default() });
                triage.on_the_line = vec!["\"C:\\x\" was left at 12.00 mA.".to_owned()];
            }
            // Without a line and with nothing read what the bus would tell was asked, or nothing was asked at all.
            prop_assume!(has_line || is_alone || triage.findings.iter().any(|f| f.from != Origin::Person));
            prop_assert_eq!(again(&triage.answers(), known), triage);
        }

        /// Whatever stands in a file of answers, it is a session or none.
        #[test]
        fn any_file_of_answers(rows in proptest::collection::vec(
            ("triage/(session/(format|read|asked|device/more|device/revision|ended)|stem|opens|words/opens/short)", "\\[\"[a-z?]{0,6}\", \"(opens|stem|short)\"\\]|\"[a-z0-9?]{0,6}\""),
            0..8,
        )) {
            let known = known();
            let text: String = rows.iter().map(|(id, given)| format!("\"{id}\" = {given}\n")).collect();
            let Ok(mut answers) = Answers::from_text(&text, Path::new("a.toml")) else { return Ok(()) };
            let is_session = rows.iter().any(|(id, _)| id == "triage/session/format");
            let kept = Kept::of(known, &mut answers);
            prop_assert_eq!(kept.is_some(), is_session);
            if let Some(kept) = kept {
                let triage = kept.again(known);
                prop_assert!(triage.causes.iter().all(|c| (0.0..=1.0 + 1e-9).contains(&c.share)));
            }
        }
    }

    /// What is changed in the file is judged as changed, and not told in the words of what was read.
    #[test]
    fn a_changed_answer() {
        let known = known();
        let mut session = Session::new(known, false);
        let words = "at set point 100 % it stands at 64.0 %".to_owned();
        let (symptom, value) = ("opens".to_owned(), "short".to_owned());
        session.add(Finding { symptom, value, from: Origin::Stroke, words: words.clone() });
        let text = Triage::of(&session, Vec::new(), String::new()).answers();
        assert_eq!(again(&text, known).findings[0].words, words);
        let changed =
            again(&text.replace("\"triage/opens\" = \"short\"", "\"triage/opens\" = \"full\""), known);
        assert_eq!(changed.findings[0].value, "full");
        assert!(!changed.findings[0].words.contains("64.0"), "{}", changed.findings[0].words);
    }
}
