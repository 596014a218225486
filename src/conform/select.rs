//! Which cases are run.

use super::case::Case;

/// Patterns over case ids: a section (`link`, `link/timing/`), a whole id, or either with `*` for any letters.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Selection {
    patterns: Vec<String>,
}

impl Selection {
    /// From patterns; none selects every case.
    pub fn new(patterns: impl IntoIterator<Item = impl Into<String>>) -> Selection {
        Selection { patterns: patterns.into_iter().map(Into::into).collect() }
    }

    /// Adds a pattern.
    pub fn add(&mut self, pattern: impl Into<String>) {
        self.patterns.push(pattern.into());
    }

    /// Whether a case is selected.
    pub fn takes(&self, case: &Case) -> bool {
        self.patterns.is_empty() || self.patterns.iter().any(|p| matches(p, case.id))
    }

    /// Patterns that select none of these cases.
    pub fn idle<'a>(&'a self, cases: &[Case]) -> Vec<&'a str> {
        let idle = |p: &&String| !cases.iter().any(|c| matches(p, c.id));
        self.patterns.iter().filter(idle).map(String::as_str).collect()
    }
}

fn matches(pattern: &str, id: &str) -> bool {
    let section = pattern.trim_end_matches('/');
    let below = id.strip_prefix(section).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'));
    below || pattern.contains('*') && glob(pattern.as_bytes(), id.as_bytes())
}

/// `*` stands for any letters, also none and also `/`.
pub(super) fn glob(pattern: &[u8], text: &[u8]) -> bool {
    // The last star and where its letters end so far: greedy matching needs no more memory than that.
    let (mut p, mut t, mut star) = (0, 0, None);
    while t < text.len() {
        match pattern.get(p) {
            Some(b'*') => {
                star = Some((p, t));
                p += 1;
            }
            Some(c) if *c == text[t] => (p, t) = (p + 1, t + 1),
            _ => match star {
                Some((at, taken)) => {
                    star = Some((at, taken + 1));
                    (p, t) = (at + 1, taken + 1);
                }
                None => return false,
            },
        }
    }
    pattern[p..].iter().all(|c| *c == b'*')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn patterns() {
        let id = "link/timing/answers-within-limit";
        for yes in [
            "link",
            "link/",
            "link/timing",
            id,
            "link/*",
            "*timing*",
            "*/answers-*-limit",
            "*",
            "l*k/t*g/*n-limit",
        ] {
            assert!(matches(yes, id), "{yes}");
        }
        for no in ["lin", "link/tim", "timing", "link/timing/answers", "*x*", "link/*/other", "answers*", ""]
        {
            assert!(!matches(no, id), "{no}");
        }
    }
}
