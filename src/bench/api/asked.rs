//! What stands in a request: its path, its query and its JSON.

use super::problem::Problem;
use crate::bench::driven::{LONGEST_STEP, PERIODS};
use axum::http::StatusCode;
use core::ops::RangeInclusive;
use core::time::Duration;
use serde_json::{Map, Value as Json};

/// A request that was let in.
pub struct Asked {
    /// What was being done, for problems.
    pub doing: String,
    /// What stands where the path has a name in braces.
    pub name: String,
    /// What stands behind the question mark.
    pub query: Vec<(String, String)>,
    /// The body; null where there is none.
    pub body: Json,
}

/// What stands for a part of a path or a query; `None` where the percent signs are wrong or it is no UTF-8.
fn decoded(text: &str, plus_is_space: bool) -> Option<String> {
    let mut out = Vec::with_capacity(text.len());
    let mut rest = text.bytes();
    while let Some(b) = rest.next() {
        out.push(match b {
            b'%' => {
                let digit = |b: Option<u8>| char::from(b?).to_digit(16);
                let (high, low) = (digit(rest.next())?, digit(rest.next())?);
                (high * 16 + low) as u8
            }
            b'+' if plus_is_space => b' ',
            b => b,
        });
    }
    String::from_utf8(out).ok()
}

/// The name that stands in `path` where `pattern` has one in braces; empty where it has none.
pub fn name_in(pattern: &str, path: &str) -> Option<String> {
    let mut pairs = pattern.split('/').zip(path.split('/'));
    match pairs.find(|(p, _)| p.starts_with('{')) {
        Some((_, given)) => decoded(given, false),
        None => Some(String::new()),
    }
}

/// What stands in a query.
pub fn query_of(text: &str) -> Option<Vec<(String, String)>> {
    text.split('&')
        .filter(|part| !part.is_empty())
        .map(|part| {
            let (name, value) = part.split_once('=').unwrap_or((part, ""));
            Some((decoded(name, true)?, decoded(value, true)?))
        })
        .collect()
}

impl Asked {
    /// A value that cannot be.
    pub fn cannot(&self, wrong: impl Into<Box<str>>, next: impl Into<Box<str>>) -> Problem {
        Problem::new(StatusCode::UNPROCESSABLE_ENTITY, self.doing.clone(), wrong, next)
    }

    /// Refuses what is no parameter of the query, or stands there twice.
    pub fn check_query(&self, known: &[&str]) -> Result<(), Problem> {
        for (i, (name, _)) in self.query.iter().enumerate() {
            if !known.contains(&name.as_str()) {
                let next = match known {
                    [] => "leave the query out".to_owned(),
                    _ => format!("the parameters here are {}", known.join(", ")),
                };
                return Err(self.cannot(format!("there is no parameter \"{name}\""), next));
            }
            if self.query[..i].iter().any(|(other, _)| other == name) {
                return Err(self.cannot(format!("\"{name}\" stands there twice"), "give it once"));
            }
        }
        Ok(())
    }

    fn parameter(&self, name: &str) -> Option<&str> {
        self.query.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
    }

    /// A list of names with commas between.
    pub fn names(&self, parameter: &str) -> Option<Vec<String>> {
        let list = self.parameter(parameter)?;
        Some(list.split(',').filter(|n| !n.is_empty()).map(str::to_owned).collect())
    }

    /// A number of the query.
    pub fn number(
        &self,
        parameter: &str,
        range: RangeInclusive<f64>,
        or: Option<f64>,
    ) -> Result<f64, Problem> {
        let (from, to) = (range.start(), range.end());
        let next = || format!("give {parameter}={from} up to {to}");
        let Some(text) = self.parameter(parameter) else {
            return or.ok_or_else(|| self.cannot(format!("{parameter} is missing"), next()));
        };
        // JSON has neither infinity nor a plus sign.
        match serde_json::from_str::<f64>(text).ok().filter(|n| range.contains(n)) {
            Some(n) => Ok(n),
            None => Err(self.cannot(format!("{parameter} cannot be \"{text}\""), next())),
        }
    }

    /// The members of a body that is an object with no other members than these.
    pub fn members(&self, known: &[&str]) -> Result<&Map<String, Json>, Problem> {
        let Json::Object(members) = &self.body else {
            return Err(self.cannot("the body is no JSON object", "send an object in braces"));
        };
        match members.keys().find(|k| !known.contains(&k.as_str())) {
            Some(other) => {
                let next = format!("the members here are {}", known.join(", "));
                Err(self.cannot(format!("there is no member \"{other}\""), next))
            }
            None => Ok(members),
        }
    }

    /// A number of the body.
    pub fn member(
        &self,
        name: &str,
        value: Option<&Json>,
        range: RangeInclusive<f64>,
    ) -> Result<f64, Problem> {
        let next = || format!("give \"{name}\": {} up to {}", range.start(), range.end());
        match value {
            None => Err(self.cannot(format!("{name} is missing"), next())),
            Some(given) => match given.as_f64().filter(|n| range.contains(n)) {
                Some(n) => Ok(n),
                None => Err(self.cannot(format!("{name} cannot be {}", short(given)), next())),
            },
        }
    }

    /// A period of bench time.
    pub fn period(&self, s: f64) -> Duration {
        Duration::from_secs_f64(s).clamp(PERIODS.0, PERIODS.1)
    }
}

/// The range of periods, s.
pub fn periods_s() -> RangeInclusive<f64> {
    PERIODS.0.as_secs_f64()..=PERIODS.1.as_secs_f64()
}

/// The range of steps, s.
pub fn steps_s() -> RangeInclusive<f64> {
    1e-9..=LONGEST_STEP.as_secs_f64()
}

/// A value that somebody sent, for a message.
pub fn short(value: &Json) -> String {
    let text = value.to_string();
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percent_signs() {
        assert_eq!(decoded("a%20b+c%2f", true).as_deref(), Some("a b c/"));
        assert_eq!(decoded("a+b", false).as_deref(), Some("a+b"));
        for bad in ["%", "%2", "%zz", "%ff", "%2\u{e4}"] {
            assert_eq!(decoded(bad, true), None, "{bad}");
        }
    }

    #[test]
    fn names_in_paths() {
        assert_eq!(name_in("/snapshots/{name}/restore", "/snapshots/a%2Db/restore").as_deref(), Some("a-b"));
        assert_eq!(name_in("/time", "/time").as_deref(), Some(""));
        assert_eq!(name_in("/snapshots/{name}", "/snapshots/%ff"), None);
    }

    #[test]
    fn queries() {
        let pair = |n: &str, v: &str| (n.to_owned(), v.to_owned());
        assert_eq!(query_of("a=1&b=x%26y&&c"), Some(vec![pair("a", "1"), pair("b", "x&y"), pair("c", "")]));
        assert_eq!(query_of("a=%f"), None);
    }

    fn encoded(text: &str) -> String {
        text.bytes().map(|b| format!("%{b:02x}")).collect()
    }

    proptest::proptest! {
        #[test]
        fn whatever_is_encoded_comes_back(name in ".*", value in ".*") {
            let query = format!("{}={}", encoded(&name), encoded(&value));
            let wanted = vec![(name.clone(), value)];
            proptest::prop_assert_eq!(query_of(&query), Some(wanted));
            let path = format!("/snapshots/{}/restore", encoded(&name));
            proptest::prop_assert_eq!(name_in("/snapshots/{name}/restore", &path), Some(name));
        }

        #[test]
        fn any_address_is_read_or_refused(text in ".*") {
            let _ = (query_of(&text), name_in("/snapshots/{name}", &text));
        }
    }

    /// A long value of a body is cut between two characters.
    #[test]
    fn messages_stay_short() {
        let long = Json::from("\u{e4}".repeat(100));
        assert_eq!(short(&long).chars().count(), 43);
        assert_eq!(short(&Json::from(1.5)), "1.5");
    }
}
