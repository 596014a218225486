//! A place in a text that a person wrote, for messages.

/// A place in a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// The whole line.
    pub text: String,
}

impl Place {
    /// Where octet `at` of `text` is; the end of the text if it is not so long.
    pub fn of(text: &str, at: usize) -> Place {
        let mut at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        let begin = text[..at].rfind('\n').map_or(0, |i| i + 1);
        let line = text[begin..].lines().next().unwrap_or("");
        Place {
            line: text[..begin].matches('\n').count() + 1,
            column: text[begin..at].chars().count() + 1,
            text: line.to_owned(),
        }
    }

    /// What is wrong, and below it the line with a mark below the place; lines of more than 200
    /// characters are left out.
    pub fn below(&self, wrong: &str) -> String {
        if self.text.chars().count() > 200 {
            return wrong.to_owned();
        }
        let number = self.line.to_string();
        let gap = " ".repeat(number.len());
        // Tabs stay tabs, so that the mark stands where the eye expects it.
        let before: String =
            self.text.chars().take(self.column - 1).map(|c| if c == '\t' { c } else { ' ' }).collect();
        format!("{wrong}\n  {number} | {}\n  {gap} | {before}^", self.text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_below_the_place() {
        let place = Place::of("a = 1\n\tb\u{e4} = x", 13);
        assert_eq!((place.line, place.column), (2, 7));
        assert_eq!(place.below("wrong"), "wrong\n  2 | \tb\u{e4} = x\n    | \t     ^");
        // Within a character, and beyond the end.
        assert_eq!(Place::of("\u{e4}", 1).column, 1);
        assert_eq!(Place::of("ab", 9).column, 3);
    }
}
