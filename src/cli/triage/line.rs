//! Fault finding on a line: what it tells, a few strokes with leave, and the person for the rest.

use super::stroking::{Stroking, time_at_end};
use super::wave::Waved;
use super::{Asked, ByFile, DOING, Named, TriageArgs, tell_unused};
use crate::cli::files::write_file;
use crate::cli::output::{Failure, Output, say, tell};
use crate::cli::travel::{OnLine, as_asked};
use crate::commission::answers::Answers;
use crate::commission::person::{Answer, Person};
use crate::commission::travel::Readings;
use crate::commission::travel::record::{Ended as HowEnded, Identity};
use crate::commission::triage::watch::{Options, Watched, findings, identified, look, stroke};
use crate::commission::triage::{Knowledge, Session, Triage, Which, WhichValve, ask, kept_address};
use crate::host::stimulus::Why;
use crate::host::{Device, Host};
use crate::line::Line;
use crate::report::text::plural;
use std::sync::Arc;
use std::sync::atomic::Ordering;

/// Runs it.
pub fn run(
    args: &TriageArgs,
    knowledge: &Knowledge,
    answers: Option<Answers>,
    waved: &mut Waved,
    out: &Output,
) -> Result<Triage, Failure> {
    let catalogue = args.described.load()?;
    let named = Named::read(&args.words, DOING, "the order is: looprig triage LINE [TO]")?;
    let is_mock = named.spec.is_mock();
    let by_file = answers.is_some();
    let known = answers.as_ref().and_then(kept_address);
    let mut line = OnLine::open(named, &args.host, catalogue)?;
    let person = Asked::new(answers, is_mock, out.quiet, Arc::clone(&line.ended));
    let mut options = Options {
        supply: args.supply.clone(),
        plate_kpa: args.supply_kpa,
        tag: args.tag.clone(),
        unique_address: known,
        ..Options::default()
    };
    if !out.quiet {
        say("Listening and reading, for a minute or so; nothing moves.");
    }
    let to = line.to.clone();
    options.readings = None;
    let (mut watched, mut device) = look_with(args, &mut line.host, &to, &mut options);
    if !out.quiet {
        say(&seen_first(&watched));
    }
    let mut person = ByFile { asked: person, by_file, which: None };
    let unsure = watched.is_unsure.then(|| WhichValve::new(watched.who_answers.clone()));
    if let (Some(unsure), HowEnded::Whole) = (&unsure, &watched.ended) {
        let answer = match of_another_device(&watched, options.unique_address.as_deref()) {
            // What was said of one device is no answer to who another is.
            true => Answer::DontKnow,
            false => person.ask(&unsure.question()),
        };
        match &answer {
            Answer::Choice(name) => {
                if let Some(which) = Which::from_key(name) {
                    let host = &mut line.host;
                    (watched, device) = identified(host, &to, &options, watched, device, which);
                }
            }
            Answer::Stop(why) => {
                let (why, during) = (*why, "asking which valve answers".to_owned());
                watched.ended = HowEnded::Stopped { why, during };
            }
            _ => {}
        }
        person.which = Some(answer);
    }
    // Somebody may move it though the device does not answer.
    let mut stimulus = match args.moves {
        true if watched.is_unsure => {
            let words = match &person.which {
                Some(Answer::Choice(_)) => "Nothing was moved: another valve answers.",
                _ => "Nothing was moved: it is not sure which valve answers.",
            };
            watched.remarks.push(words.to_owned());
            None
        }
        true => {
            let asked = as_asked(&args.words, &args.described.files);
            Some(line.stimulus(args.by.clone(), device.as_ref(), &person.asked, &asked)?)
        }
        false => None,
    };
    if let (Some(stimulus), Some(device)) = (stimulus.as_deref_mut(), device) {
        watched = stroke(&mut line.host, device, stimulus, &mut person, &options, watched);
    }
    if line.ended.load(Ordering::SeqCst)
        && let HowEnded::Stopped { during, .. } = &watched.ended
    {
        watched.ended = HowEnded::Interrupted { during: during.clone() };
    }
    if let Some(path) = &args.collected {
        // What cannot be written takes nothing else with it.
        let doing = format!("writing what was read to {}", path.display());
        if let Err(failure) = write_file(path, &watched.to_json(), args.force, &doing) {
            tell(&failure.to_string());
        }
    }
    let mut session = Session::new(knowledge, false);
    if let Some(unsure) = unsure {
        session.unsure(unsure.who);
    }
    waved.look_for(&watched.device.unique_address);
    for finding in findings(&watched).into_iter().chain(waved.told.findings.clone()) {
        session.add(finding);
    }
    let at_end = time_at_end(&watched);
    let mut between = Stroking::new(&mut line.host, stimulus.as_mut(), by_file || is_mock, at_end);
    // It strokes only what is surely the valve that is looked for [TG-31].
    if watched.is_refused || watched.is_unsure {
        between.refuse();
    }
    // Who has stopped it is asked no more; a file that lacks one answer may have others.
    let is_over = match &watched.ended {
        HowEnded::Stopped { why, .. } => *why != Why::Gone,
        ended => matches!(ended, HowEnded::Interrupted { .. }),
    };
    let mut triage = match is_over {
        true => Triage::of(&session, Vec::new(), String::new()),
        false => ask(&mut session, &mut person, &mut between),
    };
    let left = between.left();
    triage.line = line.line_name.clone();
    triage.device = Some(watched.device.clone()).filter(|d| *d != Identity::default());
    let unread = match watched.stopped {
        // The message of the line has octets, which help nobody here.
        Some(_) => Some("another master in our own role is at work".to_owned()),
        None => ended(&watched.ended),
    };
    let is_short = !matches!(watched.ended, HowEnded::Silent { .. } | HowEnded::NoMovement { .. });
    if let (Some(unread), true, true) = (&unread, is_short, triage.stopped.is_empty()) {
        // A valve that falls silent or stands is a finding; what somebody ended or a line broke off is none.
        triage.stopped.clone_from(unread);
    }
    let left = left.or_else(|| watched.left.as_ref().map(|l| l.words.clone()));
    let unread = unread.map(|why| format!("Not all was read: {why}."));
    let remarks = watched.remarks.iter().cloned().chain(unread).chain(left);
    triage.on_the_line = remarks.map(|r| on_one_line(&r)).collect();
    tell_unused(person.asked.unused().iter().map(String::as_str), args);
    Ok(triage)
}

/// Looks, and says where numbers are read if somebody has named places.
fn look_with<'a>(
    args: &TriageArgs,
    host: &mut Host<Box<dyn Line + 'a>>,
    to: &crate::host::To,
    options: &mut Options,
) -> (Watched, Option<Device>) {
    if args.places.is_given() {
        // What is usual depends on the device, which is found first.
        let found = host.find(to).ok().and_then(|(_, device)| device);
        options.readings = found.map(|device| args.places.over(Readings::usual(&*host, &device)));
    }
    look(host, to, options)
}

fn seen_first(watched: &Watched) -> String {
    let of = findings(watched);
    let answers = of.iter().find(|f| f.symptom == "answers").map_or("nobody was heard", |f| f.words.as_str());
    let name = [&watched.device.long_tag, &watched.device.tag].into_iter().find(|t| !t.is_empty());
    let name = name.map_or(String::new(), |t| format!("{t}: "));
    let were = if of.len() == 1 { "was" } else { "were" };
    format!("{name}{answers}. {} {were} read.", plural(of.len(), "thing"))
}

/// Whether it is known which device a file of answers is of, and another one answers.
fn of_another_device(watched: &Watched, known: Option<&str>) -> bool {
    let alone = match watched.elsewhere.as_deref() {
        Some([one]) => one.unique_address.as_str(),
        _ => "",
    };
    let answers = [watched.device.unique_address.as_str(), alone].into_iter().find(|a| !a.is_empty());
    known.is_some_and(|known| answers.is_some_and(|a| !a.eq_ignore_ascii_case(known)))
}

/// A message of several lines as a part of one.
fn on_one_line(text: &str) -> String {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|l| !l.is_empty()).collect();
    lines.join("; ")
}

/// Why not everything was read; `None`: it was.
fn ended(ended: &HowEnded) -> Option<String> {
    Some(match ended {
        HowEnded::Whole | HowEnded::Running => return None,
        HowEnded::Stopped { why, during } => format!("during {during}, {}", why.words()),
        HowEnded::Interrupted { during } => format!("interrupted during {during}"),
        HowEnded::Silent { during, .. } => format!("during {during} the device did not answer any more"),
        HowEnded::NoMovement { during, .. } | HowEnded::Stands { during, .. } => {
            format!("during {during} nothing moved")
        }
        HowEnded::Failed { during, what } | HowEnded::NotDriven { during, what } => {
            format!("during {during}, {what}")
        }
    })
}
