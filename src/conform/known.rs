//! Known deviations: cases that fail on a device, with the reason why that is accepted.

use super::select::glob;

/// A case that is known to fail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// The case's id.
    pub id: String,
    /// Why it is accepted; not empty.
    pub reason: String,
    /// What the device does: the observation of the fail that is accepted, `*` for any letters. Another one is no known
    /// deviation. `None` accepts whatever the case finds.
    pub observed: Option<String>,
}

impl Known {
    /// Whether this observation is the one that is accepted. Line ends and spaces make no difference.
    ///
    /// ```
    /// use looprig::conform::Known;
    ///
    /// let (id, reason) = ("link/timing/answers-within-limit".to_owned(), "slow".to_owned());
    /// let known = Known { id, reason, observed: Some("26* ms".to_owned()) };
    /// assert!(known.accepts("267.0 ms") && !known.accepts("412.5 ms"));
    /// ```
    pub fn accepts(&self, observed: &str) -> bool {
        let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
        let accepted = self.observed.as_deref().map(one_line);
        accepted.is_none_or(|a| glob(a.as_bytes(), one_line(observed).as_bytes()))
    }
}

#[cfg(feature = "bench-file")]
mod file {
    use super::Known;
    use crate::app::written::{Fault, FileError, FileKind, words};
    use serde::Deserialize;
    use std::path::Path;
    use toml::Spanned;

    /// The whole file.
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct KnownFile {
        #[serde(default)]
        known: Vec<Spanned<KnownTable>>,
    }

    /// One deviation.
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct KnownTable {
        case: Option<Spanned<String>>,
        reason: Option<Spanned<String>>,
        observed: Option<Spanned<String>>,
    }

    impl Known {
        /// Reads a list of known deviations (TOML), each `[[known]]` with `case`, an id among `ids`, `reason`, and `observed` if it is
        /// accepted with that alone; `path` is what messages call the file. Nothing is opened.
        ///
        /// # Errors
        /// The first thing that is wrong, with its place: an id that no case has or that is there twice, a reason that is
        /// missing or empty, an observation that is empty, what is no such file.
        pub fn from_text(text: &str, path: &Path, ids: &[&str]) -> Result<Vec<Known>, FileError> {
            let fault = |f: Fault| f.in_file(FileKind::KnownDeviations, path, text);
            match toml::from_str::<KnownFile>(text) {
                Ok(file) => read(&file, ids).map_err(fault),
                Err(e) => Err(fault(words::plain(e.message(), e.span(), text))),
            }
        }
    }

    fn read(file: &KnownFile, ids: &[&str]) -> Result<Vec<Known>, Fault> {
        let mut out: Vec<Known> = Vec::new();
        for table in &file.known {
            let span = table.span();
            let table = table.get_ref();
            let Some(case) = &table.case else {
                let right = "name the case, such as case = \"link/timing/answers-within-limit\"";
                return Err(Fault::new(&span, "this deviation names no case", right));
            };
            let id = case.get_ref();
            if !ids.contains(&id.as_str()) {
                let all: Vec<String> = ids.iter().map(|i| (*i).to_owned()).collect();
                let near =
                    words::nearest(id, &all).map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
                let right = format!("{near}`looprig conform --list` prints all ids");
                return Err(Fault::new(&case.span(), format!("there is no case \"{id}\""), right));
            }
            if out.iter().any(|k| k.id == *id) {
                return Err(Fault::new(
                    &case.span(),
                    format!("\"{id}\" is there twice"),
                    "name every case once",
                ));
            }
            let reason = table.reason.as_ref().map(|r| r.get_ref().trim()).unwrap_or_default();
            if reason.is_empty() {
                let at = table.reason.as_ref().map_or(span, Spanned::span);
                let right =
                    "say why it is accepted, such as reason = \"mended in firmware 2.1, not yet on site\"";
                return Err(Fault::new(&at, "this deviation has no reason", right));
            }
            let observed = table.observed.as_ref().map(|o| o.get_ref().trim());
            if let Some(empty) = table.observed.as_ref().filter(|_| observed == Some("")) {
                let right = "copy what a report calls observed, `*` for any letters, or leave it out";
                return Err(Fault::new(&empty.span(), "this deviation observes nothing", right));
            }
            let observed = observed.map(str::to_owned);
            out.push(Known { id: id.clone(), reason: reason.to_owned(), observed });
        }
        if out.is_empty() {
            let right = "add one, such as:\n    [[known]]\n    case = \"link/timing/answers-within-limit\"\n    reason = \"...\"";
            return Err(Fault::new(&(0..0), "the file names no known deviation", right));
        }
        Ok(out)
    }

    #[cfg(test)]
    mod tests {
        use super::*;
        use proptest::prelude::*;

        const IDS: [&str; 2] = ["link/timing/answers-within-limit", "link/check/wrong-check-byte"];

        fn from(text: &str) -> Result<Vec<Known>, String> {
            Known::from_text(text, Path::new("known.toml"), &IDS).map_err(|e| e.to_string())
        }

        #[test]
        fn a_list() {
            let text = "[[known]]\ncase = \"link/timing/answers-within-limit\"\nreason = \" slow \"\n";
            let known = Known { id: IDS[0].into(), reason: "slow".into(), observed: None };
            assert_eq!(from(text), Ok(vec![known.clone()]));
            let text = format!("{text}observed = \" 26* ms \"\n");
            assert_eq!(from(&text), Ok(vec![Known { observed: Some("26* ms".into()), ..known }]));
        }

        #[test]
        fn what_is_wrong_is_told_with_its_place() {
            for (text, place, wrong) in [
                ("", "1:1", "names no known deviation"),
                ("[[known]]\nreason = \"x\"\n", "1:1", "names no case"),
                (
                    "[[known]]\ncase = \"link/timing/answer-within-limit\"\n",
                    "2:8",
                    "did you mean \"link/timing/answers",
                ),
                ("[[known]]\ncase = \"link/check/wrong-check-byte\"\n", "1:1", "has no reason"),
                (
                    "[[known]]\ncase = \"link/check/wrong-check-byte\"\nreason = \" \"\n",
                    "3:10",
                    "has no reason",
                ),
                (
                    "[[known]]\ncase = \"link/check/wrong-check-byte\"\nreason = \"x\"\nobserved = \"\"\n",
                    "4:12",
                    "observes nothing",
                ),
                ("[[known]]\nid = \"x\"\n", "2:1", "no key `id`"),
                ("[known]\n", "1:1", "double brackets"),
                ("known = 3\n", "1:9", "`3` cannot stand here"),
            ] {
                let said = from(text).unwrap_err();
                assert!(said.contains(place) && said.contains(wrong), "{text}: {said}");
            }
            let one = "[[known]]\ncase = \"link/check/wrong-check-byte\"\nreason = \"x\"\n";
            assert!(from(&one.repeat(2)).unwrap_err().contains("there twice"));
        }

        proptest! {
            /// Whatever is in the file, it is read or refused with a place, and what is read is among the ids.
            #[test]
            fn anything(text in "(\\[\\[known\\]\\]\n|case = \"link/check/wrong-check-byte\"\n|reason = \"[a-z \\\\]{0,4}\"\n|.{0,6}\n){0,6}") {
                match Known::from_text(&text, Path::new("known.toml"), &IDS) {
                    Ok(known) => prop_assert!(known.iter().all(|k| IDS.contains(&k.id.as_str()) && !k.reason.is_empty())),
                    Err(e) => prop_assert!(e.place.is_some(), "{}", e),
                }
            }
        }
    }
}
