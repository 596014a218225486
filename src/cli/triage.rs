//! `looprig triage`: from what can be seen to the likely cause and the next check [TG-01].

use super::files::{exists, has_place, is_no_input, is_special, write_file};
use super::lines::utc_now_words;
use super::mock::misread;
use super::output::{Ended, Failure, Output, say, tell};
use super::travel::{Asked, Named};
use super::triage_args::TriageArgs;
use super::triage_measure;
use crate::app::written::FileKind;
use crate::bench::text_of;
use crate::commission::answers::Answers;
use crate::commission::person::{Answer, Person, Question, capital};
use crate::commission::triage::{
    FORMAT, Finding, Kept, Knowledge, Session, Triage, Verdict, WHICH_VALVE, ask, is_of_a_session,
    knowledge_schema, own_text, told, wrong_answer,
};
use crate::host::stimulus::Why;
use crate::report::Format;
use crate::report::triage::{html, text};
use core::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

mod known;
mod line;
mod stroking;
mod wave;

const DOING: &str = "starting to look for the fault";

/// Runs it.
pub fn run(args: &TriageArgs, out: &mut Output) -> Result<Ended, Failure> {
    if args.schema {
        let _ = writeln!(out.text(), "{}", knowledge_schema());
        return Ok(Ended::Fine);
    }
    if let Some(path) = &args.write_knowledge {
        write_file(path, own_text(), args.force, &format!("writing knowledge to {}", path.display()))?;
        return Ok(Ended::Fine);
    }
    let knowledge = knowledge(args.knowledge.as_deref())?;
    if args.list {
        known::list(&knowledge, out);
        return Ok(Ended::Fine);
    }
    if let Some(cause) = &args.explain {
        return known::explain(&knowledge, cause, out).map(|()| Ended::Fine);
    }
    if args.measured.measure {
        return triage_measure::run(&args.measured, &knowledge, out);
    }
    let mut answers = answers(args.answers.as_deref())?;
    if let Some((place, wrong, next)) = answers.as_ref().and_then(|a| wrong_answer(&knowledge, a)) {
        return Err(Failure::new("reading the answers", format!("{place}: {wrong}"), next));
    }
    check_outputs(args)?;
    let is_alone = args.words.is_empty();
    if is_alone && args.moves {
        let next = "give LINE and TO, or leave --move out";
        return Err(Failure::new(DOING, "nothing can move without a line", next));
    }
    // A session that is kept has what its recording told.
    let is_again = is_alone && args.wave.is_none();
    let kept = answers.as_mut().filter(|_| is_again).and_then(|a| Kept::of(&knowledge, a));
    if let (Some(kept), Some(answers)) = (kept, &answers) {
        tell_unused(answers.unused(), args);
        return show(args, &kept.again(&knowledge), out);
    }
    // Read before anything moves: what cannot be read ends it here.
    let mut waved = wave::told(args)?;
    let started = utc_now_words();
    let mut triage = match is_alone {
        true => alone(args, &knowledge, answers, waved.told.findings.clone(), out)?,
        false => line::run(args, &knowledge, answers, &mut waved, out)?,
    };
    waved.told.remarks.iter().for_each(|r| tell(r));
    triage.in_the_waveform = waved.told.remarks;
    triage.started = started;
    show(args, &triage, out)
}

fn knowledge(path: Option<&Path>) -> Result<Knowledge, Failure> {
    let read = match path {
        None => Knowledge::own(),
        Some(path) => {
            let right = "give the path of a file of knowledge; `looprig triage --write-knowledge FILE` writes one to begin with";
            text_of(path, FileKind::Knowledge, right).and_then(|text| Knowledge::from_text(&text, path))
        }
    };
    read.map_err(|e| misread(&e))
}

/// Answers of a file: as somebody has written them, or of the record of a session.
fn answers(path: Option<&Path>) -> Result<Option<Answers>, Failure> {
    let Some(path) = path else { return Ok(None) };
    let right = "give the path of a file of answers, or leave --answers out";
    let mut text = text_of(path, FileKind::Answers, right).map_err(|e| misread(&e))?;
    if text.trim_start().starts_with('{') {
        let doing = format!("reading {}", path.display());
        let next = format!("give a file of answers, or a record (\"{FORMAT}\") that --record has written");
        text = Triage::from_json(&text).map_err(|e| Failure::new(doing, e, next))?.answers();
    }
    Answers::from_text(&text, path).map(Some).map_err(|e| misread(&e))
}

/// Without a line: what a file says that the bus told, and questions.
fn alone(
    args: &TriageArgs,
    knowledge: &Knowledge,
    mut answers: Option<Answers>,
    waved: Vec<Finding>,
    out: &Output,
) -> Result<Triage, Failure> {
    let told = answers.as_mut().map_or(Vec::new(), |a| told(knowledge, a));
    // Somebody has written what a line told: what it did not tell then is not asked of anybody now.
    let mut session = Session::new(knowledge, told.is_empty());
    for finding in told.into_iter().chain(waved) {
        session.add(finding);
    }
    let ended = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&ended);
    ctrlc::set_handler(move || flag.store(true, std::sync::atomic::Ordering::SeqCst))
        .map_err(|e| Failure::new("getting ready for Ctrl-C", e.to_string(), ""))?;
    let by_file = answers.is_some();
    let mut person = ByFile { asked: Asked::new(answers, false, out.quiet, ended), by_file, which: None };
    let triage = ask(&mut session, &mut person, &mut ());
    tell_unused(person.asked.unused().iter().map(String::as_str), args);
    Ok(triage)
}

/// Somebody at a terminal, or a file of answers: what that does not have is not known, and ends nothing.
struct ByFile {
    asked: Asked,
    by_file: bool,
    /// What was said already of which valve answers.
    which: Option<Answer>,
}

impl Person for ByFile {
    fn ask(&mut self, question: &Question) -> Answer {
        if let (Some(said), WHICH_VALVE) = (&self.which, question.id.as_str()) {
            return said.clone();
        }
        match self.asked.ask(question) {
            Answer::Stop(Why::Gone) if self.by_file && question.takes(&Answer::DontKnow) => Answer::DontKnow,
            answer => answer,
        }
    }

    fn tell(&mut self, words: &str) {
        self.asked.tell(words);
    }
}

fn tell_unused<'a>(unused: impl Iterator<Item = &'a str>, args: &TriageArgs) {
    let unused: Vec<&str> = unused.filter(|id| !is_of_a_session(id)).collect();
    if let (Some(path), false) = (&args.answers, unused.is_empty()) {
        tell(&format!("{}: nothing asked for {}", path.display(), unused.join(", ")));
    }
}

fn show(args: &TriageArgs, triage: &Triage, out: &mut Output) -> Result<Ended, Failure> {
    let put = |path: Option<&PathBuf>, what: &str, text: &dyn Fn() -> String| -> Result<(), Failure> {
        let Some(path) = path else { return Ok(()) };
        write_file(path, &text(), args.force, &format!("writing {what} to {}", path.display()))?;
        if !out.quiet {
            say(&format!("{} is in {}.", capital(what), path.display()));
        }
        Ok(())
    };
    let record = put(args.record.as_ref(), "the session", &|| triage.to_json());
    let page = put(args.html.as_ref(), "the outcome", &|| html(triage));
    let replay = put(args.write_answers.as_ref(), "what was answered", &|| triage.answers());
    match out.options.format {
        Format::Text => out.text().push_str(&text(triage)),
        Format::Json => {
            let _ = writeln!(out.text(), "{}", serde_json::to_string(triage).unwrap_or_default());
        }
        Format::Csv => known::table(triage).write(Format::Csv, out.text()),
    }
    // What cannot be written takes nothing else with it.
    record.and(page).and(replay)?;
    Ok(ended_as(triage))
}

/// How a session ends looprig: nothing was found, something was or it did not come to its end, nothing was seen at all.
pub fn ended_as(triage: &Triage) -> Ended {
    match triage.verdict {
        _ if triage.findings.is_empty() => Ended::CouldNot,
        Verdict::NothingFound if triage.stopped.is_empty() => Ended::Fine,
        _ => Ended::Failed,
    }
}

/// Files to be written: none that is there already, none that is read, none twice. Told before anything moves.
fn check_outputs(args: &TriageArgs) -> Result<(), Failure> {
    let outputs = [&args.record, &args.collected, &args.write_answers, &args.html];
    let outputs: Vec<&Path> = outputs.into_iter().flatten().map(PathBuf::as_path).collect();
    let inputs: Vec<&Path> =
        [&args.answers, &args.knowledge, &args.wave].into_iter().flatten().map(PathBuf::as_path).collect();
    for (i, path) in outputs.iter().enumerate() {
        let doing = format!("writing {}", path.display());
        if outputs[..i].contains(path) {
            let next = "name another one for the record, the page or the answers";
            return Err(Failure::new(doing, "the same file is named twice", next));
        }
        has_place(path, &doing)?;
        is_no_input(path, inputs.iter().copied(), &doing)?;
        if path.exists() && !is_special(path) && !args.force {
            return Err(exists(&doing));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commission::triage::{Finding, Origin};

    /// A session that was stopped is no clean bill, whatever was seen so far; one in which nothing was seen has nothing to say.
    #[test]
    fn what_is_not_whole_is_not_fine() {
        let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
        let mut session = Session::new(&known, false);
        let ended = |session: &Session<'_>, why: &str| {
            let triage = Triage::of(session, Vec::new(), why.to_owned());
            ended_as(&triage)
        };
        assert_eq!(ended(&session, ""), Ended::CouldNot);
        for symptom in &known.symptoms {
            let (symptom, value) = (symptom.name.clone(), symptom.values[0].name.clone());
            session.add(Finding { symptom, value, from: Origin::Bus, words: String::new() });
        }
        assert_eq!(session.verdict(), Verdict::NothingFound);
        assert_eq!(ended(&session, ""), Ended::Fine);
        assert_eq!(ended(&session, "the person stopped it"), Ended::Failed);
    }
}
