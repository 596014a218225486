//! Knowledge from a file (TOML) [TG-02]: text to a [`Knowledge`], or to a message that says where it is wrong.

mod shape;
#[cfg(test)]
mod tests;

use super::knowledge::{Cause, Check, Group, Knowledge, LEVELS, Seen, Shown, Symptom};
use crate::app::written::{Fault, FileError, FileKind, Number, for_toml, number, words};
use shape::{BeliefTable, CauseTable, CheckTable, KnowledgeFile, Share, SharesOfValues, SymptomTable};
use std::path::Path;
use toml::Spanned;

/// looprig's own knowledge.
const OWN: &str = include_str!("knowledge.toml");
/// Most causes, and most symptoms.
const MOST: usize = 200;
/// Most values of a symptom.
const MOST_VALUES: usize = 8;
/// Most characters of a text.
const LONGEST: usize = 2000;
/// Most characters of a name.
const LONGEST_NAME: usize = 40;

/// looprig's own knowledge as a file, to be copied and changed.
pub fn own_text() -> &'static str {
    OWN
}

/// The JSON Schema of such a file, for editors.
pub fn knowledge_schema() -> String {
    let mut schema = schemars::schema_for!(KnowledgeFile).to_value();
    for_toml(&mut schema);
    // A schema is made of strings and numbers alone, so it can always be written.
    serde_json::to_string_pretty(&schema).unwrap_or_default()
}

impl Knowledge {
    /// looprig's own.
    ///
    /// # Errors
    /// Its file is wrong, which a test excludes.
    pub fn own() -> Result<Knowledge, FileError> {
        Knowledge::from_text(OWN, Path::new("knowledge.toml"))
    }

    /// Reads knowledge; `path` is what messages call the file. Nothing is opened.
    ///
    /// # Errors
    /// The first thing that is wrong, with its place: a key or a name that is none, a likelihood that cannot be, a symptom or a
    /// cause without what it needs.
    pub fn from_text(text: &str, path: &Path) -> Result<Knowledge, FileError> {
        let fault = |f: Fault| f.in_file(FileKind::Knowledge, path, text);
        match toml::from_str::<KnowledgeFile>(text) {
            Ok(file) => knowledge(&file, text).map_err(fault),
            Err(e) => Err(fault(words::plain(e.message(), e.span(), text))),
        }
    }
}

fn knowledge(file: &KnowledgeFile, text: &str) -> Result<Knowledge, Fault> {
    let end = text.len()..text.len();
    let whose = line(
        file.whose.as_ref(),
        &(0..0),
        "whose",
        "say whose judgement it is: whose = \"works, instrument shop\"",
    )?;
    let b = &file.belief;
    let part =
        |n: &Option<Spanned<Number>>, name: &str, own: f64, range: core::ops::RangeInclusive<f64>| match n {
            Some(n) => number(n, name, "", range),
            None => Ok(own),
        };
    let mut known = Knowledge {
        whose,
        healthy: part(&b.healthy, "healthy", 0.2, 0.001..=0.999)?,
        wrong_answers: part(&b.wrong_answers, "wrong_answers", 0.1, 0.0..=0.5)?,
        wrong_readings: part(&b.wrong_readings, "wrong_readings", 0.02, 0.0..=0.5)?,
        sure: part(&b.sure, "sure", 0.9, 0.5..=0.999)?,
        least_bits: part(&b.least_bits, "least_bits", 0.02, 0.0..=1.0)?,
        most_questions: questions(part(&b.most_questions, "most_questions", 12.0, 1.0..=100.0)?, b)?,
        symptoms: Vec::new(),
        causes: Vec::new(),
    };
    let symptoms = file.symptom.as_deref().unwrap_or_default();
    let causes = file.cause.as_deref().unwrap_or_default();
    if symptoms.is_empty() || causes.is_empty() {
        let right = "it needs [[symptom]] and [[cause]]; `looprig triage --write-knowledge FILE` writes looprig's own to begin with";
        return Err(Fault::new(&end, "there is nothing here to find faults with", right));
    }
    for (many, what) in [(symptoms.len(), "symptoms"), (causes.len(), "causes")] {
        if many > MOST {
            return Err(Fault::new(&end, format!("there are {many} {what}"), format!("{MOST} are the most")));
        }
    }
    for table in symptoms {
        let symptom = symptom(table)?;
        if known.symptom(&symptom.name).is_some() {
            return Err(twice(
                table.get_ref().name.as_ref().map_or(table.span(), Spanned::span),
                "symptom",
                &symptom.name,
            ));
        }
        known.symptoms.push(symptom);
    }
    for table in causes {
        let cause = cause(table, &known)?;
        if known.cause(&cause.name).is_some() {
            return Err(twice(
                table.get_ref().name.as_ref().map_or(table.span(), Spanned::span),
                "cause",
                &cause.name,
            ));
        }
        known.causes.push(cause);
    }
    Ok(known)
}

/// A number of questions, which is whole.
fn questions(most: f64, given: &BeliefTable) -> Result<usize, Fault> {
    match &given.most_questions {
        Some(n) if most.fract() != 0.0 => {
            let right = "give a whole number, such as most_questions = 12";
            Err(Fault::new(&n.span(), format!("most_questions is {most}"), right))
        }
        _ => Ok(most as usize),
    }
}

fn twice(at: core::ops::Range<usize>, what: &str, name: &str) -> Fault {
    Fault::new(&at, format!("there is a {what} `{name}` already"), "give each a name of its own")
}

/// A text that has to be there.
fn line(
    given: Option<&Spanned<String>>,
    at: &core::ops::Range<usize>,
    key: &str,
    right: &str,
) -> Result<String, Fault> {
    let Some(given) = given else { return Err(Fault::new(at, format!("`{key}` is missing"), right)) };
    let text = given.get_ref().trim();
    if text.is_empty() {
        return Err(Fault::new(&given.span(), format!("`{key}` is empty"), right));
    }
    let characters = text.chars().count();
    if characters > LONGEST {
        let wrong = format!("`{key}` has {characters} characters");
        return Err(Fault::new(&given.span(), wrong, format!("{LONGEST} are the most")));
    }
    // A text may go over several lines of the file; what else moves a cursor or turns writing round would do so on the screen.
    let is_space = |c: char| matches!(c, '\n' | '\r' | '\t');
    let turns_writing = |c: char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    if let Some(c) = text.chars().find(|c| turns_writing(*c) || (c.is_control() && !is_space(*c))) {
        let wrong = format!("`{key}` has a control character (U+{:04X})", c as u32);
        return Err(Fault::new(&given.span(), wrong, "write it in letters, digits and signs that print"));
    }
    let lines: Vec<&str> = text.split(is_space).map(str::trim).filter(|l| !l.is_empty()).collect();
    Ok(lines.join(" "))
}

/// A name for programs.
fn name(given: Option<&Spanned<String>>, at: &core::ops::Range<usize>, key: &str) -> Result<String, Fault> {
    let right = "give it a name of small letters, digits and _, such as supply_gauge";
    let name = line(given, at, key, right)?;
    let is_name = name.len() <= LONGEST_NAME
        && name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_');
    let span = given.map_or(at.clone(), Spanned::span);
    if is_name { Ok(name) } else { Err(Fault::new(&span, format!("`{name}` is no name"), right)) }
}

fn cautions(given: Option<&Vec<Spanned<String>>>) -> Result<Vec<String>, Fault> {
    let list = given.map(Vec::as_slice).unwrap_or_default();
    list.iter().map(|c| line(Some(c), &c.span(), "cautions", "write a sentence for each")).collect()
}

fn group(given: Option<&Spanned<String>>, at: &core::ops::Range<usize>) -> Result<Group, Fault> {
    let all: Vec<&str> = Group::ALL.iter().map(|g| g.key()).collect();
    let right = format!("it is one of {}", all.join(", "));
    let text = line(given, at, "group", &right)?;
    let span = given.map_or(at.clone(), Spanned::span);
    let found = Group::ALL.into_iter().find(|g| g.key() == text);
    found.ok_or_else(|| Fault::new(&span, format!("there is no group `{text}`"), right))
}

fn symptom(table: &Spanned<SymptomTable>) -> Result<Symptom, Fault> {
    let (at, t) = (table.span(), table.get_ref());
    let name = name(t.name.as_ref(), &at, "name")?;
    let words = line(
        t.words.as_ref(),
        &at,
        "words",
        "say in a few words what is looked at: words = \"supply gauge at rest\"",
    )?;
    let right = "it is one of bus, stroke, person";
    let seen_text = line(t.seen.as_ref(), &at, "seen", right)?;
    let seen = [Seen::Bus, Seen::Stroke, Seen::Person].into_iter().find(|s| s.key() == seen_text);
    let Some(seen) = seen else {
        let span = t.seen.as_ref().map_or(at, Spanned::span);
        return Err(Fault::new(&span, format!("`{seen_text}` is no way to see it"), right));
    };
    let given = t.values.as_ref();
    let list = given.map(|v| v.get_ref().as_slice()).unwrap_or_default();
    if !(2..=MOST_VALUES).contains(&list.len()) {
        let span = given.map_or(at.clone(), Spanned::span);
        let right = format!(
            "give 2 to {MOST_VALUES}, that of a healthy valve first: values = [{{ name = \"steady\", words = \"it stays\" }}, {{ name = \"sags\", words = \"it falls\" }}]"
        );
        return Err(Fault::new(&span, format!("the symptom `{name}` has {} values", list.len()), right));
    }
    let mut values: Vec<Shown> = Vec::new();
    for v in list {
        let span = v.span();
        let shown = Shown {
            name: self::name(v.get_ref().name.as_ref(), &span, "name")?,
            words: line(v.get_ref().words.as_ref(), &span, "words", "say what it means, for people")?,
            first_of_all: match &v.get_ref().first_of_all {
                Some(given) => {
                    Some(line(Some(given), &span, "first_of_all", "say what is to be done, in a sentence")?)
                }
                None => None,
            },
        };
        if values.iter().any(|o| o.name == shown.name) {
            return Err(twice(span, "value", &shown.name));
        }
        values.push(shown);
    }
    let check = t.check.as_ref().map(check).transpose()?;
    if seen == Seen::Person && check.is_none() {
        let right = "add [symptom.check] below it with question, group and effort_min";
        return Err(Fault::new(&at, format!("nobody can be asked for `{name}`: it has no check"), right));
    }
    Ok(Symptom { name, words, seen, values, check })
}

fn check(table: &Spanned<CheckTable>) -> Result<Check, Fault> {
    let (at, t) = (table.span(), table.get_ref());
    let effort = match &t.effort_min {
        Some(n) => number(n, "effort_min", "min", 0.1..=1000.0)?,
        None => {
            let right = "say what it takes, in minutes: effort_min = 3";
            return Err(Fault::new(&at, "`effort_min` is missing", right));
        }
    };
    Ok(Check {
        question: line(t.question.as_ref(), &at, "question", "write what is asked, in whole sentences")?,
        group: group(t.group.as_ref(), &at)?,
        effort_min: effort,
        cautions: cautions(t.cautions.as_ref())?,
        strokes: t.strokes.unwrap_or_default(),
        moves: t.moves.unwrap_or_default() || t.strokes.unwrap_or_default(),
        workshop: t.workshop.unwrap_or_default(),
        sure_if_usual: t.sure_if_usual.unwrap_or_default(),
    })
}

fn cause(table: &Spanned<CauseTable>, known: &Knowledge) -> Result<Cause, Fault> {
    let (at, t) = (table.span(), table.get_ref());
    let name = name(t.name.as_ref(), &at, "name")?;
    let class = match &t.class {
        Some(c) => self::name(Some(c), &at, "class")?,
        None => name.clone(),
    };
    let weight = t.weight.as_ref().map_or(Ok(1.0), |n| number(n, "weight", "", 0.01..=100.0))?;
    let mut cause = Cause {
        class,
        words: line(
            t.words.as_ref(),
            &at,
            "words",
            "say what is wrong: words = \"the supply pressure is too low\"",
        )?,
        group: group(t.group.as_ref(), &at)?,
        weight,
        text: line(t.text.as_ref(), &at, "text", "say what it does and why, for `looprig triage --explain`")?,
        remedy: line(t.remedy.as_ref(), &at, "remedy", "say what is to be done about it")?,
        cautions: cautions(t.cautions.as_ref())?,
        workshop: t.workshop.unwrap_or_default(),
        expects: Vec::new(),
        name,
    };
    let expects = t.expects.as_ref().map(|e| e.iter().collect::<Vec<_>>()).unwrap_or_default();
    if expects.is_empty() {
        let right = "add [cause.expects] below it: supply_gauge = { low = 0.9 }, or of a slight, a clear and a full fault [0.5, 0.9, 1]";
        return Err(Fault::new(&at, format!("the cause `{}` shows nothing", cause.name), right));
    }
    // The first fault in the order of the file, whatever the names are.
    let mut rows = expects;
    rows.sort_by_key(|(symptom, _)| symptom.span().start);
    for (symptom, shares) in rows {
        let Some(of) = known.symptom(symptom.get_ref()) else {
            let all: Vec<&str> = known.symptoms.iter().map(|s| s.name.as_str()).collect();
            let wrong = format!("there is no symptom `{}`", symptom.get_ref());
            return Err(Fault::new(&symptom.span(), wrong, format!("the symptoms are {}", all.join(", "))));
        };
        cause.expects.push((of, table_of(&known.symptoms[of], shares)?));
    }
    Ok(cause)
}

/// The likelihood of each value at each level. What the values named leave of 1 is the usual value's; where that is named too it is
/// shared by the others that are not.
fn table_of(symptom: &Symptom, given: &Spanned<SharesOfValues>) -> Result<Vec<[f64; LEVELS]>, Fault> {
    let mut table: Vec<Option<[f64; LEVELS]>> = vec![None; symptom.values.len()];
    for (value, share) in given.get_ref() {
        let Some(v) = symptom.value(value.get_ref()) else {
            let all: Vec<&str> = symptom.values.iter().map(|v| v.name.as_str()).collect();
            let wrong = format!("`{}` has no value `{}`", symptom.name, value.get_ref());
            return Err(Fault::new(&value.span(), wrong, format!("its values are {}", all.join(", "))));
        };
        let levels = match share.get_ref() {
            Share::All(x) => [*x; LEVELS],
            Share::Each(list) => <[f64; LEVELS]>::try_from(list.as_slice()).map_err(|_| {
                let wrong = format!("there are {} likelihoods", list.len());
                Fault::new(&share.span(), wrong, "give one, or three: of a slight, a clear and a full fault")
            })?,
        };
        if let Some(x) = levels.iter().find(|x| !(0.0..=1.0).contains(*x)) {
            return Err(Fault::new(
                &share.span(),
                format!("{x} is no likelihood"),
                "give numbers from 0 to 1",
            ));
        }
        table[v] = Some(levels);
    }
    let given_sum = |level: usize| -> f64 { table.iter().flatten().map(|l| l[level]).sum() };
    let mut rest = [0.0; LEVELS];
    for (level, r) in rest.iter_mut().enumerate() {
        let sum = given_sum(level);
        if sum > 1.0 + 1e-9 {
            let wrong = format!("the likelihoods of `{}` add up to {sum:.2}", symptom.name);
            return Err(Fault::new(
                &given.span(),
                wrong,
                "together they are 1 at the most; what is left is the usual value's",
            ));
        }
        *r = (1.0 - sum).max(0.0);
    }
    let open: Vec<usize> = match table.first() {
        Some(None) => vec![0],
        _ => (0..table.len()).filter(|&v| table[v].is_none()).collect(),
    };
    if open.is_empty() && rest.iter().any(|r| *r > 1e-9) {
        let wrong = format!("the likelihoods of `{}` do not add up to 1", symptom.name);
        return Err(Fault::new(&given.span(), wrong, "every value is named, so they have to be 1 together"));
    }
    let share = |v: usize| rest.map(|r| if open.contains(&v) { r / open.len() as f64 } else { 0.0 });
    Ok((0..table.len()).map(|v| table[v].unwrap_or_else(|| share(v))).collect())
}
