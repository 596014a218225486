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
    Finding, Knowledge, Origin, Seen, Session, Triage, Verdict, ask, knowledge_schema, own_text,
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
    let answers = answers(args.answers.as_deref())?;
    check_outputs(args)?;
    // Read before anything moves: what cannot be read ends it here.
    let waved = wave::told(args)?;
    let started = utc_now_words();
    let mut triage = match args.words.is_empty() {
        true => alone(args, &knowledge, answers, waved.findings, out)?,
        false => line::run(args, &knowledge, answers, waved.findings, out)?,
    };
    waved.remarks.iter().for_each(|r| tell(r));
    triage.remarks.extend(waved.remarks);
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

fn answers(path: Option<&Path>) -> Result<Option<Answers>, Failure> {
    let Some(path) = path else { return Ok(None) };
    let right = "give the path of a file of answers, or leave --answers out";
    let read = text_of(path, FileKind::Answers, right).and_then(|text| Answers::from_text(&text, path));
    read.map(Some).map_err(|e| misread(&e))
}

/// Without a line: what a file says that the bus told, and questions.
fn alone(
    args: &TriageArgs,
    knowledge: &Knowledge,
    mut answers: Option<Answers>,
    waved: Vec<Finding>,
    out: &Output,
) -> Result<Triage, Failure> {
    if args.moves {
        let next = "give LINE and TO, or leave --move out";
        return Err(Failure::new(DOING, "nothing can move without a line", next));
    }
    let told = answers.as_mut().map_or(Ok(Vec::new()), |a| told(knowledge, a))?;
    // A session on a line is replayed: what the line did not tell then is not asked of anybody now.
    let mut session = Session::new(knowledge, told.is_empty());
    for finding in told.into_iter().chain(waved) {
        session.add(finding);
    }
    let ended = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&ended);
    ctrlc::set_handler(move || flag.store(true, std::sync::atomic::Ordering::SeqCst))
        .map_err(|e| Failure::new("getting ready for Ctrl-C", e.to_string(), ""))?;
    let by_file = answers.is_some();
    let mut person = ByFile { asked: Asked::new(answers, false, out.quiet, ended), by_file };
    let triage = ask(&mut session, &mut person, &mut ());
    tell_unused(&person.asked, args);
    Ok(triage)
}

/// Somebody at a terminal, or a file of answers: what that does not have is not known, and ends nothing.
struct ByFile {
    asked: Asked,
    by_file: bool,
}

impl Person for ByFile {
    fn ask(&mut self, question: &Question) -> Answer {
        match self.asked.ask(question) {
            Answer::Stop(Why::Gone) if self.by_file && question.takes(&Answer::DontKnow) => Answer::DontKnow,
            answer => answer,
        }
    }

    fn tell(&mut self, words: &str) {
        self.asked.tell(words);
    }
}

/// What a file says that the bus told, once.
fn told(knowledge: &Knowledge, answers: &mut Answers) -> Result<Vec<Finding>, Failure> {
    let mut out = Vec::new();
    for symptom in knowledge.symptoms.iter().filter(|s| s.seen != Seen::Person) {
        let id = format!("triage/{}", symptom.name);
        let Some(written) = answers.answer(&id).cloned() else { continue };
        let names: Vec<&str> = symptom.values.iter().map(|v| v.name.as_str()).collect();
        let value = symptom.values.iter().find(|v| v.name == written.text.trim());
        match (value, written.text.trim()) {
            (Some(value), _) => out.push(Finding {
                symptom: symptom.name.clone(),
                value: value.name.clone(),
                from: if symptom.seen == Seen::Stroke { Origin::Stroke } else { Origin::Bus },
                words: format!("{}: {}", symptom.words, value.words),
            }),
            (None, "?") => {}
            (None, other) => {
                let next = format!("write one of {}, or \"?\"", names.join(", "));
                let wrong = format!("{}: \"{other}\" is no value of {}", written.place, symptom.name);
                return Err(Failure::new("reading the answers", wrong, next));
            }
        }
    }
    Ok(out)
}

fn tell_unused(person: &Asked, args: &TriageArgs) {
    let unused = person.unused();
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

/// How a session ends looprig: nothing was found, something was, nothing was seen at all.
pub fn ended_as(triage: &Triage) -> Ended {
    match triage.verdict {
        _ if triage.findings.is_empty() => Ended::CouldNot,
        Verdict::NothingFound => Ended::Fine,
        Verdict::Likely | Verdict::Workshop | Verdict::Unclear => Ended::Failed,
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
