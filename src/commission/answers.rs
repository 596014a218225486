//! Answers from a file (TOML), in place of somebody at a terminal [TV-32].

use crate::app::types::Place;
use crate::app::written::{Fault, FileError, FileKind, words};
use core::fmt;
use serde::Deserialize;
use serde::de::{Deserializer, Error, SeqAccess, Visitor};
use std::collections::BTreeMap;
use std::path::Path;
use toml::Spanned;

/// Most answers in a file.
const MOST: usize = 10_000;
/// Most characters of an answer.
const LONGEST: usize = 1_000;

/// What is right where an answer should be.
const RIGHT: &str = "give what would be typed, such as \"yes\", 12.5, \"?\" or \"\" for the Enter key alone, or a list of these";

/// What a file answers, by the ids of the questions [TV-32].
#[derive(Clone, Debug, PartialEq)]
pub struct Answers {
    by_id: BTreeMap<String, Entry>,
}

/// What is answered to one id.
#[derive(Clone, Debug, PartialEq)]
struct Entry {
    /// At least one; where it is no list, exactly one.
    answers: Vec<Written>,
    /// One after the other; else the same every time.
    is_list: bool,
    /// Which of a list comes next, where questions have no number of their own.
    next: usize,
    is_used: bool,
}

/// What would be typed, and where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The text, without a line end.
    pub text: String,
    /// Its place in the file, such as `answers.toml:3:21`.
    pub place: String,
}

impl Answers {
    /// Reads answers; `path` is what messages call the file. Nothing is opened.
    ///
    /// # Errors
    /// The first thing that is wrong, with its place: no TOML, a name that no question can have, something that nobody can type.
    pub fn from_text(text: &str, path: &Path) -> Result<Answers, FileError> {
        let fault = |f: Fault| f.in_file(FileKind::Answers, path, text);
        match toml::from_str::<BTreeMap<Spanned<String>, Spanned<Given>>>(text) {
            Ok(file) => read(&file, text, path).map_err(fault),
            Err(e) => {
                let mut f = words::plain(e.message(), e.span(), text);
                let line = text.get(..f.at).map_or("", |before| before.rsplit('\n').next().unwrap_or(""));
                let rest = text.get(f.at..).map_or("", |rest| rest.lines().next().unwrap_or(""));
                if format!("{line}{rest}").split(['=', '#']).next().is_some_and(|key| is_bare(key.trim())) {
                    f.right = "put the question's name into quotes: \"travel/start\" = \"yes\"".to_owned();
                }
                Err(fault(f))
            }
        }
    }

    /// What is answered to the question with this id; `None`: nothing, or nothing more. A question with numbers in its id,
    /// `travel/external/3`, is looked for as it is, and then without them, where the third of a list is its answer.
    pub fn answer(&mut self, id: &str) -> Option<&Written> {
        if self.by_id.contains_key(id) {
            let entry = self.by_id.get_mut(id)?;
            entry.is_used = true;
            let which = if entry.is_list { entry.next } else { 0 };
            entry.next = entry.next.saturating_add(1);
            return entry.answers.get(which);
        }
        let is_number = |part: &&str| part.bytes().all(|b| b.is_ascii_digit());
        let number: usize = id.split('/').rfind(is_number)?.parse().ok()?;
        let without: Vec<&str> = id.split('/').filter(|part| !is_number(part)).collect();
        let entry = self.by_id.get_mut(&without.join("/"))?;
        entry.is_used = true;
        match entry.is_list {
            true => entry.answers.get(number.checked_sub(1)?),
            false => entry.answers.first(),
        }
    }

    /// All that is written behind exactly this id, which counts as no asking; empty: nothing is.
    pub fn written(&self, id: &str) -> &[Written] {
        self.by_id.get(id).map_or(&[], |entry| &entry.answers)
    }

    /// Names that nothing has asked for so far, in the order of the alphabet.
    pub fn unused(&self) -> impl Iterator<Item = &str> {
        self.by_id.iter().filter(|(_, e)| !e.is_used).map(|(id, _)| id.as_str())
    }
}

/// Whether it could be a question's name that lacks its quotes.
fn is_bare(key: &str) -> bool {
    key.contains('/') && is_id(key)
}

fn is_id(id: &str) -> bool {
    let is_part = |part: &str| {
        !part.is_empty() && part.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_')
    };
    id.split('/').all(is_part)
}

fn read(file: &BTreeMap<Spanned<String>, Spanned<Given>>, text: &str, path: &Path) -> Result<Answers, Fault> {
    let mut by_id = BTreeMap::new();
    let mut all = 0;
    // The first fault in the order of the file, whatever the names are.
    let mut rows: Vec<_> = file.iter().collect();
    rows.sort_by_key(|(id, _)| id.span().start);
    for (id, given) in rows {
        let name = id.get_ref();
        if !is_id(name) {
            let right = "give the id that looprig shows with the question, such as \"travel/start\"";
            return Err(Fault::new(&id.span(), format!("no question is called {name:?}"), right));
        }
        let answers = match given.get_ref() {
            Given::One(text) => vec![(given.span(), text)],
            Given::List(list) => list.iter().map(|t| (t.span(), &t.get_ref().0)).collect(),
        };
        if answers.is_empty() {
            return Err(Fault::new(&given.span(), format!("{name} has no answer"), RIGHT));
        }
        all += answers.len();
        if all > MOST {
            let right = format!("give {MOST} at most");
            return Err(Fault::new(&given.span(), "there are too many answers", right));
        }
        let mut typed = Vec::with_capacity(answers.len());
        for (at, answer) in answers {
            if answer.chars().count() > LONGEST || answer.chars().any(char::is_control) {
                let wrong = format!("nobody types this in answer to {name}");
                let right = format!("give one line of {LONGEST} characters at most");
                return Err(Fault::new(&at, wrong, right));
            }
            let place = Place::of(text, at.start);
            let place = format!("{}:{}:{}", path.display(), place.line, place.column);
            typed.push(Written { text: answer.clone(), place });
        }
        let is_list = matches!(given.get_ref(), Given::List(_));
        by_id.insert(name.clone(), Entry { answers: typed, is_list, next: 0, is_used: false });
    }
    if by_id.is_empty() {
        let right = "add one, such as:\n    \"travel/start\" = \"yes\"";
        return Err(Fault::new(&(0..0), "the file has no answer", right));
    }
    Ok(Answers { by_id })
}

/// What stands behind a name.
#[derive(Debug)]
enum Given {
    One(String),
    List(Vec<Spanned<One>>),
}

/// One answer.
#[derive(Debug)]
struct One(String);

struct OneVisitor;

impl Visitor<'_> for OneVisitor {
    type Value = One;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a text in quotes, a number, true or false")
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<One, E> {
        Ok(One(text.to_owned()))
    }
    fn visit_bool<E: Error>(self, yes: bool) -> Result<One, E> {
        Ok(One(if yes { "yes" } else { "no" }.to_owned()))
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<One, E> {
        Ok(One(n.to_string()))
    }
    fn visit_u64<E: Error>(self, n: u64) -> Result<One, E> {
        Ok(One(n.to_string()))
    }
    fn visit_f64<E: Error>(self, x: f64) -> Result<One, E> {
        Ok(One(x.to_string()))
    }
}

impl<'de> Deserialize<'de> for One {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(OneVisitor)
    }
}

struct GivenVisitor;

impl<'de> Visitor<'de> for GivenVisitor {
    type Value = Given;
    fn expecting(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str("a text in quotes, a number, true or false, or a list of these")
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<Given, E> {
        OneVisitor.visit_str(text).map(|o| Given::One(o.0))
    }
    fn visit_bool<E: Error>(self, yes: bool) -> Result<Given, E> {
        OneVisitor.visit_bool(yes).map(|o| Given::One(o.0))
    }
    fn visit_i64<E: Error>(self, n: i64) -> Result<Given, E> {
        OneVisitor.visit_i64(n).map(|o| Given::One(o.0))
    }
    fn visit_u64<E: Error>(self, n: u64) -> Result<Given, E> {
        OneVisitor.visit_u64(n).map(|o| Given::One(o.0))
    }
    fn visit_f64<E: Error>(self, x: f64) -> Result<Given, E> {
        OneVisitor.visit_f64(x).map(|o| Given::One(o.0))
    }
    fn visit_seq<S: SeqAccess<'de>>(self, mut seq: S) -> Result<Given, S::Error> {
        let mut list = Vec::new();
        while let Some(one) = seq.next_element()? {
            list.push(one);
        }
        Ok(Given::List(list))
    }
}

impl<'de> Deserialize<'de> for Given {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        d.deserialize_any(GivenVisitor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str) -> Result<Answers, FileError> {
        Answers::from_text(text, Path::new("answers.toml"))
    }

    fn texts<'a>(answers: &mut Answers, ids: impl IntoIterator<Item = &'a str>) -> Vec<Option<String>> {
        ids.into_iter().map(|id| answers.answer(id).map(|t| t.text.clone())).collect()
    }

    #[test]
    fn answers_by_id_number_and_turn() {
        let text = "\"travel/start\" = true\n\"travel/external\" = [0, 5.25, \"?\"]\n\"travel/external/4\" = \"20 mm\"\n\
                    \"travel/set\" = \"\"\nturn = [\"a\", \"b\"]\nnever = 1\n\"device_check/jog/second\" = [\"rises\", \"falls\"]\n";
        let mut answers = read(text).unwrap_or_else(|e| panic!("{e}"));
        let some = |list: &[&str]| list.iter().map(|t| Some((*t).to_owned())).collect::<Vec<_>>();
        let external: Vec<String> = (1..=4).map(|n| format!("travel/external/{n}")).collect();
        let got = texts(&mut answers, external.iter().map(String::as_str));
        assert_eq!(got, some(&["0", "5.25", "?", "20 mm"]));
        // One answer serves every time, a list in turn, and then there is none.
        let got = texts(&mut answers, ["travel/set/1", "travel/set/2", "travel/start", "travel/start"]);
        assert_eq!(got, some(&["", "", "yes", "yes"]));
        assert_eq!(texts(&mut answers, ["turn", "turn"]), some(&["a", "b"]));
        assert_eq!(texts(&mut answers, ["device_check/jog/2/second"]), some(&["falls"]));
        for id in ["turn", "travel/external/5", "travel/external/0", "travel/other", ""] {
            assert_eq!(answers.answer(id), None, "{id}");
        }
        assert_eq!(answers.unused().collect::<Vec<_>>(), ["never"]);
        let place = answers.answer("travel/external/2").map(|t| t.place.clone());
        assert_eq!(place.as_deref(), Some("answers.toml:2:25"));
    }

    #[test]
    fn what_is_wrong_has_a_place_and_a_remedy() {
        for (text, place, says) in [
            ("", "answers.toml:1:1", "has no answer"),
            ("a = 1\ntravel/start = \"yes\"\n", "answers.toml:2:7", "into quotes"),
            ("\"Travel/start\" = 1", "answers.toml:1:1", "no question is called \"Travel/start\""),
            ("\"travel/\" = 1", "answers.toml:1:1", "no question is called"),
            ("b = []", "answers.toml:1:5", "b has no answer"),
            ("b = [1, [2]]", "answers.toml:1:9", "a number, true or false"),
            ("b = 2026-11-30", "answers.toml:1:5", "a list of these"),
            ("[b]\nc = 1", "answers.toml:1:1", "a list of these"),
            ("b = \"one\\ntwo\"", "answers.toml:1:5", "give one line"),
            ("b = 1\nb = 2", "answers.toml:2:1", "duplicate key"),
        ] {
            let e = read(text).expect_err(text);
            assert_eq!(e.location(), place, "{text}: {e}");
            assert!(e.to_string().contains(says) && e.to_string().contains("\n  next: "), "{text}: {e}");
        }
        let long = format!("b = \"{}\"", "x".repeat(LONGEST + 1));
        assert!(read(&long).expect_err("too long").right.contains("1000 characters"));
        let many = format!("b = [{}]", "1,".repeat(MOST + 1));
        assert!(read(&many).expect_err("too many").wrong.contains("too many"));
    }

    proptest! {
        /// Any text is answers, or a message with a place and what to do next.
        #[test]
        fn any_text(text in "(\"?[a-z/_0-9]{0,8}\"? ?= ?(\\[?\"?[-0-9.a-z?,\" ]{0,8}\"?\\]?)\n?){0,4}|\\PC{0,60}") {
            match read(&text) {
                Ok(answers) => prop_assert!(answers.unused().next().is_some()),
                Err(e) => prop_assert!(e.place.is_some() && e.to_string().contains("next: "), "{}", e),
            }
        }

        /// What is written is answered, as it was typed.
        #[test]
        fn written_and_answered(list in proptest::collection::vec("[ -~]{0,20}", 1..6)) {
            let quoted: Vec<String> = list.iter().map(|t| toml::Value::String(t.clone()).to_string()).collect();
            let mut answers = read(&format!("\"q/a\" = [{}]", quoted.join(", "))).expect("it is right");
            for (i, text) in list.iter().enumerate() {
                let id = format!("q/a/{}", i + 1);
                prop_assert_eq!(answers.answer(&id).map(|t| &t.text), Some(text));
            }
        }
    }
}
