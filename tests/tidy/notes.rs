//! Requirement ids, citations of them, and source tokens.

use std::collections::BTreeSet;

/// Prefixes of requirement ids.
pub const PREFIXES: &[&str] = &[
    "FR", "LL", "TY", "ST", "CM", "TB", "UN", "DV", "HO", "LI", "LG", "WI", "PL", "BA", "CO", "HC", "IP",
    "WV", "PC", "TV", "TG",
];

fn is_id(s: &str) -> bool {
    let tail = s.get(3..).unwrap_or("");
    s.is_char_boundary(2)
        && PREFIXES.contains(&s.get(..2).unwrap_or(""))
        && s.get(2..3) == Some("-")
        && !tail.is_empty()
        && tail.chars().all(|c| c.is_ascii_digit() || c.is_ascii_uppercase())
}

/// What stands between `[` and the next `]` of a line, link targets left out.
fn brackets(line: &str) -> Vec<&str> {
    let inner = line.split('[').skip(1).filter_map(|s| s.split_once(']'));
    inner.filter(|(_, after)| !after.starts_with('(')).map(|(s, _)| s.trim_end_matches('\\')).collect()
}

/// Requirement ids that a text cites, with their lines: in brackets, or alone between quotes.
fn citations(text: &str) -> Vec<(usize, String)> {
    let mut out = Vec::new();
    for (n, line) in text.lines().enumerate() {
        let in_brackets = brackets(line).into_iter().flat_map(|s| s.split([',', ' ', ';']));
        // Between quotes a loop tag such as LI-101 may stand too: only the exact shape of an id counts.
        let shaped = |s: &&str| {
            if s.starts_with("CM-") { s.len() >= 6 } else { s.len() == 5 }
        };
        let quoted = line.split('"').skip(1).step_by(2).filter(shaped);
        let ids = in_brackets.chain(quoted).filter(|s| is_id(s));
        out.extend(ids.map(|s| (n + 1, s.to_string())));
    }
    out
}

/// Ids that stand as headings, and what is wrong with headings.
pub fn headings(notes: &[(String, String)]) -> (BTreeSet<String>, Vec<String>) {
    let (mut ids, mut out) = (BTreeSet::new(), Vec::new());
    for (path, text) in notes {
        let lines: Vec<&str> = text.lines().collect();
        for (n, line) in lines.iter().enumerate() {
            let Some((id, title)) = line.strip_prefix("## [").and_then(|s| s.split_once("] ")) else {
                continue;
            };
            let mut fault = |what: &str| out.push(format!("{path}:{}: [{id}] {what}", n + 1));
            if !is_id(id) || title.trim().is_empty() {
                fault("is no requirement id with a title");
            }
            if !ids.insert(id.to_string()) {
                fault("is the heading of another requirement already");
            }
            let grade = lines.get(n + 1).and_then(|s| s.strip_prefix("Grade: "));
            let count = |s: &str| brackets(s).into_iter().filter(|b| is_token(b)).count();
            match grade.and_then(|s| s.split_once(" · Sources: ")) {
                Some(("H", sources)) if count(sources) >= 2 => {}
                Some(("M", sources)) if count(sources) >= 1 => {}
                Some(("R" | "own", sources)) if sources == "-" || count(sources) >= 1 => {}
                _ => {
                    fault("lacks its line `Grade: ... · Sources: ...`, or has too few sources for its grade")
                }
            }
        }
    }
    (ids, out)
}

pub fn citation_faults(path: &str, text: &str, ids: &BTreeSet<String>) -> Vec<String> {
    let unknown = citations(text).into_iter().filter(|(_, id)| !ids.contains(id));
    unknown.map(|(n, id)| format!("{path}:{n}: [{id}] has no heading in protocol-notes/")).collect()
}

/// Whether a word has the shape of a source token: capitals and digits, a small letter at most at the end.
fn is_token(s: &str) -> bool {
    let upper = |c: char| c.is_ascii_uppercase() || c.is_ascii_digit();
    let stem = s.strip_suffix(|c: char| c.is_ascii_lowercase()).unwrap_or(s);
    let year_like = s.len() == 4 && s.chars().all(|c| c.is_ascii_digit());
    stem.len() >= 2 && stem.chars().all(upper) && (year_like || s.contains(|c: char| c.is_ascii_alphabetic()))
}

/// Tokens that sources.md resolves: first cells of its table.
pub fn resolved(sources: &str) -> BTreeSet<String> {
    let rows = sources.lines().filter_map(|l| l.strip_prefix("| ")?.split_once(" | "));
    rows.filter(|(token, document)| is_token(token) && document.len() > 4)
        .map(|(t, _)| t.to_string())
        .collect()
}

/// Tokens in a notes file or fixture that nothing resolves; a published frame must have one.
pub fn token_faults(path: &str, text: &str, known: &BTreeSet<String>) -> Vec<String> {
    let mut out = Vec::new();
    let mut named = false;
    for (n, line) in text.lines().enumerate() {
        let mut tokens: Vec<&str> = brackets(line).into_iter().filter(|s| is_token(s)).collect();
        if let Some(source) = line.strip_prefix("source = ") {
            named = true;
            tokens.push(source.trim().trim_matches('"'));
        }
        let unknown = tokens.into_iter().filter(|s| !known.contains(*s));
        out.extend(
            unknown.map(|s| format!("{path}:{}: source `{s}` is not in protocol-notes/sources.md", n + 1)),
        );
    }
    if path.starts_with("fixtures/frames/") && path.ends_with(".toml") && !named {
        out.push(format!("{path}: a published frame without `source`"));
    }
    out
}

/// Text that breaks the rule, and text that looks like it but does not.
mod bites {
    use super::*;

    #[test]
    fn citations_without_heading() {
        let known: BTreeSet<String> = [format!("{}-03", "FR")].into();
        // Assembled here, since a wrong citation in this file would be found by the real check.
        let cases = ["[@-99]", "x [@-03, @-9]", "\"@-98\"", "\\[@-97\\]", "[@-X]"];
        for case in cases.map(|s| s.replace('@', "FR")) {
            assert_eq!(citation_faults("a.rs", &case, &known).len(), 1, "{case}");
        }
        let fine = ["[@-03]", "\"@-03\"", "@-99", "[@-99](x)", "[F-99]", "[XX-01]", "\"@-3104\"", "[é]"];
        for case in fine.map(|s| s.replace('@', "FR")) {
            assert_eq!(citation_faults("a.rs", &case, &known), Vec::<String>::new(), "{case}");
        }
    }

    #[test]
    fn headings_twice_or_without_grade() {
        let notes = |s: &str| headings(&[("a.md".into(), s.replace('@', "FR"))]).1;
        let one = "## [@-01] A\nGrade: M · Sources: [TI0]\n";
        assert!(notes(one).is_empty());
        assert_eq!(notes(&one.repeat(2)).len(), 1);
        let bad = [
            "## [@-01] A\n",
            "## [@-01] A\nGrade: H · Sources: [TI0]\n",
            "## [@-01] A\nGrade: M · Sources: -\n",
            "## [@-01] A\nGrade: X · Sources: [TI0] [R176]\n",
            "## [@_01] A\nGrade: own · Sources: -\n",
        ];
        for text in bad {
            assert_eq!(notes(text).len(), 1, "{text}");
        }
    }

    #[test]
    fn tokens_that_do_not_resolve() {
        let known = resolved("| token | document |\n|---|---|\n| 1770 | a manual |\n| R2 | |\n");
        assert_eq!(known, BTreeSet::from(["1770".to_string()]));
        let path = "fixtures/frames/a.toml";
        assert!(token_faults(path, "source = \"1770\"", &known).is_empty());
        assert_eq!(token_faults(path, "source = \"1771\"", &known).len(), 1);
        assert_eq!(token_faults(path, "octets = \"\"", &known).len(), 1);
        assert_eq!(token_faults("protocol-notes/a.md", "as [TI0] and [SPEC1734b] say", &known).len(), 2);
        assert!(token_faults("protocol-notes/a.md", "[[line]] [1770] x[12] [a]", &known).is_empty());
    }
}
