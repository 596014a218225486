//! What is known, printed: causes, checks, one cause.

use crate::cli::output::{Failure, Output};
use crate::commission::triage::{Cause, Group, Knowledge, Triage};
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::write_wrapped_to;
use crate::report::triage::headline;
use core::fmt::Write;

const WIDTH: usize = 80;

/// All causes, then all checks, in the order of the trade.
pub fn list(knowledge: &Knowledge, out: &mut Output) {
    let mut causes = Table::new("", &["cause", "group", "weight", "workshop", "words"]);
    let by_group = |g: Group| knowledge.causes.iter().filter(move |c| c.group == g);
    for cause in Group::ALL.into_iter().flat_map(by_group) {
        let workshop = if cause.workshop { "yes" } else { "" };
        causes.row([
            cause.name.as_str(),
            cause.group.words(),
            &cause.weight.to_string(),
            workshop,
            &cause.words,
        ]);
    }
    let format = out.options.format;
    causes.write(format, out.text());
    if format != Format::Text {
        return;
    }
    out.text().push('\n');
    let mut checks = Table::new("", &["check", "group", "minutes", "strokes", "words"]);
    for group in Group::ALL {
        for s in &knowledge.symptoms {
            let Some(check) = s.check.as_ref().filter(|c| c.group == group) else { continue };
            let strokes = if check.strokes { "yes" } else { "" };
            checks.row([s.name.as_str(), group.words(), &check.effort_min.to_string(), strokes, &s.words]);
        }
    }
    checks.write(format, out.text());
    let _ = writeln!(out.text(), "\nLikelihoods: {}.", knowledge.whose.trim_end_matches('.'));
}

/// One cause: what it is, what it shows, what is done.
///
/// # Errors
/// No cause is called so.
pub fn explain(knowledge: &Knowledge, name: &str, out: &mut Output) -> Result<(), Failure> {
    let Some(cause) = knowledge.cause(name) else {
        let near =
            knowledge.causes.iter().map(|c| c.name.as_str()).filter(|c| c.contains(name) || name.contains(c));
        let near: Vec<&str> = near.collect();
        let next = match near.is_empty() {
            true => "`looprig triage --list` prints them all".to_owned(),
            false => format!("it may be {}; `looprig triage --list` prints them all", near.join(" or ")),
        };
        return Err(Failure::new("explaining a cause", format!("no cause is called \"{name}\""), next));
    };
    if out.options.format != Format::Text {
        shown(knowledge, cause).write(out.options.format, out.text());
        return Ok(());
    }
    let mut text = String::new();
    let _ = writeln!(text, "{}: {} ({})\n", cause.name, cause.words, cause.group.words());
    let mut put = |lead: &str, words: &str| {
        if !words.is_empty() {
            write_wrapped_to(WIDTH, &format!("{lead}{words}"), lead.len(), &mut text);
        }
    };
    put("", &cause.text);
    put("To do: ", &cause.remedy);
    for caution in &cause.cautions {
        put("! ", caution);
    }
    if cause.workshop {
        put("", "It is mended in a workshop.");
    }
    let same: Vec<&str> = knowledge
        .causes
        .iter()
        .filter(|c| c.class == cause.class && c.name != cause.name)
        .map(|c| c.name.as_str())
        .collect();
    if !same.is_empty() {
        put("", &format!("From outside it cannot be told apart from {}.", same.join(", ")));
    }
    text.push_str("\nWhat it shows where that is not as on a healthy valve, slight / clear / full:\n");
    shown(knowledge, cause).write(Format::Text, &mut text);
    let needs: Vec<String> = cause.expects.iter().filter_map(|(s, _)| needs(knowledge, *s)).collect();
    if !needs.is_empty() {
        text.push_str("\nAsked for only where it makes sense, by what was seen before:\n");
    }
    for line in needs {
        write_wrapped_to(WIDTH, &format!("- {line}"), 2, &mut text);
    }
    let _ = writeln!(text, "\nLikelihoods: {}.", knowledge.whose.trim_end_matches('.'));
    out.text().push_str(&text);
    Ok(())
}

/// Where a check makes sense [TG-44]; `None`: everywhere.
fn needs(knowledge: &Knowledge, symptom: usize) -> Option<String> {
    let symptom = &knowledge.symptoms[symptom];
    let check = symptom.check.as_ref().filter(|c| !c.needs.is_empty())?;
    let one = |(s, values): &(usize, Vec<usize>)| {
        let of = &knowledge.symptoms[*s];
        let values: Vec<&str> = values.iter().map(|v| of.values[*v].name.as_str()).collect();
        format!("{} is {}", of.name, values.join(" or "))
    };
    let all: Vec<String> = check.needs.iter().map(one).collect();
    Some(format!("{}: {}", symptom.name, all.join("; ")))
}

fn shown(knowledge: &Knowledge, cause: &Cause) -> Table {
    let mut table = Table::new("", &["symptom", "value", "slight", "clear", "full", "words"]);
    for (symptom, of) in &cause.expects {
        let symptom = &knowledge.symptoms[*symptom];
        for (value, levels) in symptom.values.iter().zip(of) {
            let share = |n: usize| format!("{:.2}", levels[n]);
            table.row([symptom.name.as_str(), &value.name, &share(0), &share(1), &share(2), &value.words]);
        }
    }
    table
}

/// A session, a row each: outcome, why it is not whole, causes, the next check, remarks.
pub fn table(triage: &Triage) -> Table {
    let columns = ["what", "rank", "name", "share", "workshop", "words", "remedy", "cautions"];
    let mut table = Table::new("", &columns);
    let mut words = |what: &str, name: &str, words: &str| table.row([what, "", name, "", "", words]);
    // The name of the verdict as the record has it.
    let verdict = serde_json::to_value(triage.verdict).unwrap_or_default();
    words("outcome", verdict.as_str().unwrap_or_default(), &headline(triage));
    if !triage.stopped.is_empty() {
        words("not_whole", "", &triage.stopped);
    }
    for (n, told) in triage.causes.iter().enumerate() {
        let (rank, share) = ((n + 1).to_string(), format!("{:.3}", told.share));
        let workshop = if told.workshop { "yes" } else { "no" };
        let cautions = told.cautions.join(" ");
        table.row(["cause", &rank, &told.cause, &share, workshop, &told.words, &told.remedy, &cautions]);
    }
    if let Some(next) = &triage.next {
        let cautions = next.cautions.join(" ");
        table.row(["next_check", "", &next.symptom, "", "", &next.question, "", &cautions]);
    }
    for remark in triage.all_remarks() {
        table.row(["remark", "", "", "", "", remark]);
    }
    table
}
