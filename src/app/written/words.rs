//! What the reader of TOML says, in our words.

use super::Fault;
use core::ops::Range;
use toml::Spanned;

/// A message of the reader as a fault. What has no wording of ours is passed on.
pub fn plain(message: &str, span: Option<Range<usize>>, text: &str) -> Fault {
    let at = span.unwrap_or(0..0);
    let first = message.lines().next().unwrap_or("");
    if let Some(rest) = first.strip_prefix("unknown field ") {
        let mut names = quoted(rest);
        let given = if names.is_empty() { String::new() } else { names.remove(0) };
        let near = nearest(&given, &names).map_or(String::new(), |n| format!("did you mean `{n}`? "));
        let right = format!("{near}the keys here are {}", names.join(", "));
        return Fault::new(&at, format!("there is no key `{given}` here"), right);
    }
    if let Some((wrong, wanted)) =
        first.strip_prefix("invalid type: ").and_then(|rest| rest.rsplit_once(", expected "))
    {
        let what = text.get(at.clone()).filter(|t| t.len() <= 40 && !t.contains('\n'));
        if wanted == "a sequence"
            && let Some(fault) =
                list_of_heading(text, &at).and_then(|list| before_its_list(text, at.end, list))
        {
            return fault;
        }
        let right = match (wanted, what) {
            ("a sequence", Some(heading)) if heading.starts_with('[') => {
                format!("write its heading in double brackets, [{heading}]: there may be several")
            }
            // A list of our own tables has a heading; what is no table is written on one line.
            ("a sequence", Some(what)) if !what.starts_with('{') => {
                format!("write a list in square brackets, such as [{what}]")
            }
            ("a sequence", _) => {
                "write its heading in double brackets, such as [[device]]: there may be several".into()
            }
            ("a map", _) => "write it as a table with keys of its own".into(),
            ("a boolean", _) => "give a boolean, true or false".into(),
            ("a string", _) => "give a string, text in double quotes".into(),
            (w, _) if w.starts_with("struct ") => "write it as a table with keys of its own".into(),
            (w, _) => format!("give {w}"),
        };
        let wrong = match what {
            Some(what) => format!("`{what}` cannot stand here"),
            None => format!("{wrong} cannot stand here"),
        };
        return Fault::new(&at, wrong, right);
    }
    if first.contains("duplicate key") {
        let list = list_of_heading(text, &at);
        if let Some(fault) = list.and_then(|list| before_its_list(text, at.start, list)) {
            return fault;
        }
        let right = "write each key once; a heading of which there are several stands in double brackets each time, such as \
                     [[command]] or [[device]]";
        return Fault::new(&at, "this is no TOML: duplicate key, it is there already", right);
    }
    if message.contains("date") && given_date(text, &at) {
        return Fault::new(&at, "there is no such day or time", "give a day that exists, such as 2026-11-25");
    }
    let right = "write it as TOML: `key = value` lines below [table] and [[list of tables]] headings, text in \
                 double quotes";
    Fault::new(&at, format!("this is no TOML: {}", message.trim_end().replace('\n', ", ")), right)
}

/// What the heading in which a place is names up to there, such as `device` of `[[device.slow]]`; `None` outside of
/// headings.
fn list_of_heading<'a>(text: &'a str, at: &Range<usize>) -> Option<&'a str> {
    let from = text.get(..at.start)?.rfind('\n').map_or(0, |n| n + 1);
    let names = text.get(from..at.end)?.trim_start().strip_prefix('[')?;
    Some(names.trim_start_matches('[').trim_end_matches(']'))
}

/// The fault of a heading such as `[[device.slow]]` in front of `upto` that stands before any `[[device]]`.
fn before_its_list(text: &str, upto: usize, list: &str) -> Option<Fault> {
    let mut from = 0;
    for line in text.split_inclusive('\n') {
        let heading = line.trim_start();
        let at = from + line.len() - heading.len();
        from += line.len();
        let Some(names) = heading.strip_prefix('[').filter(|_| at < upto) else { continue };
        let Some(rest) = names.trim_start_matches('[').strip_prefix(list) else { continue };
        if rest.starts_with(']') {
            return None;
        }
        if rest.starts_with('.') {
            let heading = &heading[..heading.rfind(']').map_or(heading.len(), |end| end + 1)];
            let wrong = format!("{heading} stands before any [[{list}]]");
            let right = format!("write it below the [[{list}]] that it belongs to");
            return Some(Fault { at, wrong, right });
        }
    }
    None
}

/// Whether something that looks like a day stands on the line of a place.
fn given_date(text: &str, at: &Range<usize>) -> bool {
    let from = text.get(..at.start).and_then(|t| t.rfind('\n')).map_or(0, |n| n + 1);
    let line = text.get(from..).unwrap_or("").lines().next().unwrap_or("");
    // 0000-00-00, wherever it stands.
    line.as_bytes().windows(10).any(|w| {
        w.iter().enumerate().all(|(i, o)| if matches!(i, 4 | 7) { *o == b'-' } else { o.is_ascii_digit() })
    })
}

/// What stands between backticks.
fn quoted(text: &str) -> Vec<String> {
    text.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// What one of a few words stands for.
pub fn one_of<T: Copy>(word: &Spanned<String>, key: &str, words: &[(&str, T)]) -> Result<T, Fault> {
    let given = word.get_ref();
    words.iter().find(|(name, _)| name == given).map(|(_, what)| *what).ok_or_else(|| {
        let names: Vec<String> = words.iter().map(|(name, _)| (*name).to_owned()).collect();
        let near = nearest(given, &names).map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
        let right = format!("{near}give one of {}", names.join(", "));
        Fault::new(&word.span(), format!("{key} cannot be \"{given}\""), right)
    })
}

/// The name that takes fewest changes, if those are few.
pub fn nearest<'a>(given: &str, names: &'a [String]) -> Option<&'a str> {
    // A name whose unit was left out is nearer than one that only has the same letters.
    let lacks_unit =
        |n: &&String| !given.is_empty() && n.strip_prefix(given).is_some_and(|r| r.starts_with('_'));
    if let Some(whole) = names.iter().filter(lacks_unit).min_by_key(|n| n.len()) {
        return Some(whole);
    }
    let most = given.chars().count().min(60) / 3 + 1;
    let near = names.iter().map(|n| (distance(given, n), n.as_str()));
    near.filter(|&(d, _)| d <= most).min().map(|(_, n)| n)
}

/// How many characters have to be put in, left out or changed to make `b` of `a`; of `a` no more
/// than 60 characters are looked at.
fn distance(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().take(60).enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, &cb) in b.iter().enumerate() {
            let changed = corner + usize::from(ca != cb);
            corner = row[j + 1];
            row[j + 1] = changed.min(row[j] + 1).min(corner + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_by_hand() {
        assert_eq!(distance("tag", "tag"), 0);
        assert_eq!(distance("tga", "tag"), 2);
        assert_eq!(distance("revison", "revision"), 1);
        assert_eq!(distance("", "tag"), 3);
        assert_eq!(nearest("adress", &["tag".into(), "message".into()]), None);
    }
}
