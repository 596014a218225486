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
        let right = match wanted {
            "a sequence" => {
                "write its heading in double brackets, such as [[device]]: there may be several".into()
            }
            w if w.starts_with("struct ") => "write it as a table with keys of its own".into(),
            w => format!("give {w}"),
        };
        let what = text.get(at.clone()).filter(|t| t.len() <= 40 && !t.contains('\n'));
        let wrong = match what {
            Some(what) => format!("`{what}` cannot stand here"),
            None => format!("{wrong} cannot stand here"),
        };
        return Fault::new(&at, wrong, right);
    }
    let right = "write it as TOML: `key = value` lines below [table] and [[list of tables]] headings, text in \
                 double quotes";
    Fault::new(&at, format!("this is no TOML: {}", message.trim_end().replace('\n', ", ")), right)
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
