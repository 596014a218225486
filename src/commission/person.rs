//! What a person at the valve is asked, and what the person answers [TV-30].
//!
//! Questions are data, so that whoever shows them (a terminal, a file of answers, a test) decides nothing about them, and
//! answers are data, so that a test needs no terminal. Nothing here prints or reads.

use crate::host::stimulus::Why;

/// A question.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Its name for programs and answers files: lower case, words joined by `_`, parts by `/`, such as `travel/set_current`. Where the
    /// same is asked again and again the last part says which time: `travel/external/3`.
    pub id: String,
    /// What is asked, whole sentences for somebody on a ladder.
    pub words: String,
    /// What answers it.
    pub kind: Kind,
    /// What to take care of first; shown before the words, a line each. Empty where nothing can be hurt.
    pub cautions: Vec<String>,
}

/// What answers a question.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// "It is done": the Enter key.
    Enter,
    /// A number.
    Number {
        /// Its unit as people write it; may be empty.
        unit: String,
        /// The least that makes sense, in the unit.
        least: f64,
        /// The most that makes sense, in the unit.
        most: f64,
    },
    /// Yes or no. Only a word answers it, never the Enter key alone: it is what lets a valve move.
    YesNo,
    /// One of several.
    Choice(Vec<Choice>),
    /// Any text in one line; may be empty.
    Text,
}

/// One of several answers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Its name for programs and answers files.
    pub name: String,
    /// What it means, for people.
    pub words: String,
}

impl Choice {
    /// A choice.
    pub fn new(name: impl Into<String>, words: impl Into<String>) -> Choice {
        Choice { name: name.into(), words: words.into() }
    }
}

/// What a person answers.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// It is done.
    Done,
    /// A number in the unit of the question, finite and within its range.
    Number(f64),
    /// Yes.
    Yes,
    /// No.
    No,
    /// The name of one of the choices.
    Choice(String),
    /// A text, without blanks at its ends.
    Text(String),
    /// The person cannot say. Whoever asked goes on without.
    DontKnow,
    /// No more questions: end in good order, keep what there is.
    Stop(Why),
}

/// Words that say that it is not known, beside "?".
const NOT_KNOWN: [&str; 6] = ["?", "don't know", "dont know", "do not know", "not known", "unknown"];

/// What somebody typed, or why nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Typed {
    /// A line, without its end.
    Line(String),
    /// There is nobody, or nobody any more.
    Gone,
    /// The person ended it otherwise than by typing, such as by Ctrl-C.
    Ended,
}

/// Words as the beginning of a sentence.
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}

/// Somebody who can be asked.
pub trait Person {
    /// Asks, and waits for the answer. An implementation asks again where a text cannot be read ([`Question::read`]), as long as there is
    /// somebody to ask: then it answers [`Answer::Stop`]. What it returns fits the question ([`Question::takes`]).
    fn ask(&mut self, question: &Question) -> Answer;

    /// Tells something that needs no answer, such as where the valve goes next; sentences.
    fn tell(&mut self, words: &str);
}

impl Question {
    /// A question without cautions.
    pub fn new(id: impl Into<String>, words: impl Into<String>, kind: Kind) -> Question {
        Question { id: id.into(), words: words.into(), kind, cautions: Vec::new() }
    }

    /// The same, with one more caution.
    pub fn with_caution(mut self, caution: impl Into<String>) -> Question {
        self.cautions.push(caution.into());
        self
    }

    /// Whether an answer fits: [`Answer::DontKnow`] and [`Answer::Stop`] always do, but a yes or no that is not known is no
    /// leave, so [`Kind::YesNo`] takes no [`Answer::DontKnow`].
    pub fn takes(&self, answer: &Answer) -> bool {
        match (&self.kind, answer) {
            (_, Answer::Stop(_)) => true,
            (Kind::YesNo, Answer::DontKnow) => false,
            (_, Answer::DontKnow) => true,
            (Kind::Enter, Answer::Done) | (Kind::YesNo, Answer::Yes | Answer::No) => true,
            (Kind::Text, Answer::Text(_)) => true,
            (Kind::Number { least, most, .. }, Answer::Number(x)) => (*least..=*most).contains(x),
            (Kind::Choice(list), Answer::Choice(name)) => list.iter().any(|c| c.name == *name),
            _ => false,
        }
    }

    /// The one way from what is typed to an answer: `next` is handed how often the question was asked before and gives what is typed,
    /// `wrong` is handed the sentence to show before it is asked again. Words end nothing: it is asked until there is nobody any more.
    pub fn asked(&self, next: &mut dyn FnMut(usize) -> Typed, wrong: &mut dyn FnMut(&str)) -> Answer {
        let mut n = 0;
        loop {
            match next(n) {
                Typed::Line(line) => match self.read(&line) {
                    Ok(answer) => return answer,
                    Err(sentence) => {
                        wrong(&sentence);
                        n += 1;
                    }
                },
                Typed::Gone if n == 0 => return Answer::Stop(Why::Gone),
                Typed::Gone => return Answer::Stop(Why::Nonsense),
                Typed::Ended => return Answer::Stop(Why::Said),
            }
        }
    }

    /// Reads what somebody typed. A number may have a comma for a point, and the question's own unit behind it; `?`, or "don't know",
    /// "unknown" and the like, says that it is not known, `stop` that no more is wanted, to every question but a text's, which takes both
    /// with a `:` in front (`:?`, `:stop`). A leave that is not known is none: no. A choice is named, by the beginning of its name
    /// where no other begins so, with blanks for its underscores, or counted from 1 (`2`, `2.`, `2)`).
    ///
    /// # Errors
    /// A sentence that says what is wrong and what would be right.
    pub fn read(&self, typed: &str) -> Result<Answer, String> {
        let text = typed.trim();
        let word = text.to_lowercase().replace('\u{2019}', "'");
        let is_text = self.kind == Kind::Text;
        if word == if is_text { ":stop" } else { "stop" } {
            return Ok(Answer::Stop(Why::Said));
        }
        let is_not_known = if is_text { word == ":?" } else { NOT_KNOWN.contains(&word.as_str()) };
        if is_not_known {
            return Ok(if self.takes(&Answer::DontKnow) { Answer::DontKnow } else { Answer::No });
        }
        match &self.kind {
            Kind::Enter if text.is_empty() => Ok(Answer::Done),
            Kind::Enter => {
                Err("press Enter alone when it is done; ? says that it cannot be done, stop ends the test"
                    .into())
            }
            Kind::Text => Ok(Answer::Text(text.to_owned())),
            Kind::YesNo => match word.as_str() {
                "y" | "yes" => Ok(Answer::Yes),
                "n" | "no" => Ok(Answer::No),
                _ => Err("type yes or no, or stop".into()),
            },
            Kind::Number { unit, least, most } => {
                let number = word.strip_suffix(&unit.to_lowercase()).unwrap_or(&word).trim_end();
                let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
                let (from, to) = (rounded(*least), rounded(*most));
                match number.replacen(',', ".", 1).parse::<f64>() {
                    Ok(x) if (*least..=*most).contains(&x) => Ok(Answer::Number(x)),
                    Ok(x) if x.is_finite() => {
                        let x = told(x);
                        Err(format!("{x}{unit} cannot be: give a number from {from} to {to}{unit}"))
                    }
                    _ => Err(format!(
                        "this is no number: give one from {from} to {to}{unit}, or ? if not known"
                    )),
                }
            }
            Kind::Choice(list) => {
                let number = word.strip_suffix(['.', ')']).unwrap_or(&word);
                let counted = number.parse::<usize>().ok().and_then(|n| list.get(n.checked_sub(1)?));
                let name =
                    word.split([' ', '_', '-']).filter(|w| !w.is_empty()).collect::<Vec<_>>().join("_");
                let named = || list.iter().find(|c| c.name.to_lowercase() == name);
                let begun = || {
                    let mut all =
                        list.iter().filter(|c| !name.is_empty() && c.name.to_lowercase().starts_with(&name));
                    all.next().filter(|_| all.next().is_none())
                };
                match counted.or_else(named).or_else(begun) {
                    Some(choice) => Ok(Answer::Choice(choice.name.clone())),
                    None => {
                        let names: Vec<&str> = list.iter().map(|c| c.name.as_str()).collect();
                        Err(format!(
                            "type one of {}, or its number, or ? if not known, or stop",
                            names.join(", ")
                        ))
                    }
                }
            }
        }
    }
}

/// A number as somebody would type it: not a hundred digits of one that is huge or next to nothing.
fn told(x: f64) -> String {
    let is_plain = x == 0.0 || (1e-6..1e9).contains(&x.abs());
    if is_plain { format!("{x}") } else { format!("{x:e}") }
}

/// The same with six digits at most [TV-158].
fn rounded(x: f64) -> String {
    told(format!("{x:.5e}").parse().unwrap_or(x))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn number() -> Question {
        Question::new("gauge", "?", Kind::Number { unit: "mm".into(), least: -1.0, most: 40.0 })
    }

    #[test]
    fn what_people_type() {
        let q = number();
        for (typed, answer) in [
            ("12.5", Answer::Number(12.5)),
            (" 12,5 mm ", Answer::Number(12.5)),
            ("12.5MM", Answer::Number(12.5)),
            ("-1", Answer::Number(-1.0)),
            ("?", Answer::DontKnow),
            ("STOP", Answer::Stop(Why::Said)),
        ] {
            assert_eq!(q.read(typed).as_ref(), Ok(&answer), "{typed}");
        }
        for typed in ["", "twelve", "41", "nan", "inf", "1,2,3", "12 kg"] {
            assert!(q.read(typed).unwrap_err().contains("from -1 to 40 mm"), "{typed}");
        }
        // [TV-158]: a division of 20 mm by a million has no more digits than that.
        let least = 20.0 * 1e-6 * 0.999_999_999_999_999_9;
        let division = Question::new("d", "?", Kind::Number { unit: "mm".into(), least, most: 20.0 });
        assert!(division.read("x").unwrap_err().contains("from 0.00002 to 20 mm"));
        // As it was typed, not in a hundred digits.
        assert!(q.read("1e99").unwrap_err().starts_with("1e99 mm cannot be"));
        assert!(q.read("-1e-300").is_ok() && q.read("-1e300").unwrap_err().starts_with("-1e300 mm"));
        let leave = Question::new("move", "?", Kind::YesNo);
        assert_eq!(leave.read("Yes"), Ok(Answer::Yes));
        // Enter alone, or not to know, is no leave to move a valve.
        assert!(leave.read("").is_err() && !leave.takes(&Answer::DontKnow));
        for typed in ["?", "don't know"] {
            assert_eq!(leave.read(typed), Ok(Answer::No), "{typed}");
        }
        let kinds =
            Kind::Choice(vec![Choice::new("blocked", "air stays"), Choice::new("bleeding", "air blows off")]);
        let stage = Question::new("stage", "?", kinds);
        assert_eq!(stage.read("2"), stage.read("Bleeding"));
        assert_eq!(stage.read("1"), Ok(Answer::Choice("blocked".into())));
        assert!(stage.read("0").is_err() && stage.read("3").is_err() && stage.read("").is_err());
        for typed in
            ["?", "don't know", "Don\u{2019}t know", "dont know", "do not know", "unknown", "not known"]
        {
            assert_eq!(stage.read(typed), Ok(Answer::DontKnow), "{typed}");
            assert_eq!(number().read(typed), Ok(Answer::DontKnow), "{typed}");
        }
        // The beginning of one name alone, blanks for underscores, and a number with its point.
        let ends = ["both", "short_open", "short_shut", "neither"].map(|n| Choice::new(n, n));
        let ends = Question::new("ends", "?", Kind::Choice(ends.to_vec()));
        for (typed, name) in [
            ("short open", "short_open"),
            ("Short-Shut", "short_shut"),
            ("b", "both"),
            ("2.", "short_open"),
            ("4)", "neither"),
        ] {
            assert_eq!(ends.read(typed), Ok(Answer::Choice(name.into())), "{typed}");
        }
        for typed in ["short", "s", "shorter", ".", "5."] {
            assert!(ends.read(typed).unwrap_err().contains("short_open"), "{typed}");
        }
        let text = Question::new("who", "?", Kind::Text);
        assert_eq!(text.read(" stop "), Ok(Answer::Text("stop".into())));
        assert_eq!(text.read(":stop"), Ok(Answer::Stop(Why::Said)));
        let enter = Question::new("set", "?", Kind::Enter);
        assert_eq!(enter.read(""), Ok(Answer::Done));
        assert!(enter.read("ok").is_err());
    }

    /// Nonsense is asked again as long as somebody types, and ends nothing; who is gone is not asked again.
    #[test]
    fn nonsense_is_asked_again() {
        let ask = |typed: &[Typed]| {
            let (mut wrong, mut asked) = (0, 0);
            let mut next = |n: usize| {
                asked += 1;
                typed.get(n).cloned().unwrap_or(Typed::Gone)
            };
            let answer = number().asked(&mut next, &mut |_| wrong += 1);
            (answer, asked, wrong)
        };
        let line = |t: &str| Typed::Line(t.to_owned());
        assert_eq!(ask(&[line("a lot"), line("99"), line("9")]), (Answer::Number(9.0), 3, 2));
        let long = [vec![line("a lot"); 40], vec![line("9")]].concat();
        assert_eq!(ask(&long), (Answer::Number(9.0), 41, 40));
        assert_eq!(ask(&[]), (Answer::Stop(Why::Gone), 1, 0));
        assert_eq!(ask(&[line("x"), Typed::Gone]), (Answer::Stop(Why::Nonsense), 2, 1));
        assert_eq!(ask(&[line("x"), Typed::Ended]), (Answer::Stop(Why::Said), 2, 1));
    }

    proptest! {
        /// Whatever is typed is an answer that fits the question, or a sentence.
        #[test]
        fn anything_typed(typed in "\\PC{0,12}|[-0-9.,e]{0,8} ?(mm)?", which in 0usize..5) {
            let choices = vec![Choice::new("a", "first"), Choice::new("b", "second")];
            let kinds = [number().kind, Kind::Enter, Kind::YesNo, Kind::Text, Kind::Choice(choices)];
            let q = Question::new("q", "?", kinds[which].clone());
            match q.read(&typed) {
                Ok(answer) => prop_assert!(q.takes(&answer), "{:?}", answer),
                Err(e) => prop_assert!(!e.is_empty()),
            }
        }
    }
}
