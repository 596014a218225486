//! Octets written as hex text, as people paste them from manuals and other tools.

use core::fmt;

/// Text that is no hex.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HexError {
    /// The column of the character, from 1.
    pub column: usize,
    /// What is wrong there.
    pub what: HexFault,
}

/// What is wrong with hex text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HexFault {
    /// A character that is no hex digit and no separator.
    Character(char),
    /// A digit without its partner.
    Half,
}

impl fmt::Display for HexError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.what {
            HexFault::Character(c) => {
                write!(f, "'{}' at column {} is no hex digit", c.escape_debug(), self.column)
            }
            HexFault::Half => write!(f, "the octet at column {} has only one digit", self.column),
        }
    }
}

impl std::error::Error for HexError {}

/// Reads the octets of one line: pairs of digits, with or without spaces, commas, colons, dashes or
/// `0x` between them; `#` and `;` begin a remark.
///
/// # Errors
/// The column of what is no hex.
pub fn parse_hex_line(line: &str) -> Result<Vec<u8>, HexError> {
    let mut out = Vec::new();
    let mut chars = line.chars().enumerate().peekable();
    while let Some((i, c)) = chars.next() {
        match c {
            '#' | ';' => break,
            ' ' | '\t' | '\r' | ',' | ':' | '-' => {}
            _ => {
                let high = digit(i, c)?;
                let Some(&(j, d)) = chars.peek() else {
                    return Err(HexError { column: i + 1, what: HexFault::Half });
                };
                if c == '0' && (d == 'x' || d == 'X') {
                    chars.next();
                    continue;
                }
                if matches!(d, ' ' | '\t' | '\r' | ',' | ':' | '-' | '#' | ';') {
                    return Err(HexError { column: i + 1, what: HexFault::Half });
                }
                chars.next();
                out.push(high << 4 | digit(j, d)?);
            }
        }
    }
    Ok(out)
}

fn digit(i: usize, c: char) -> Result<u8, HexError> {
    c.to_digit(16).map(|d| d as u8).ok_or(HexError { column: i + 1, what: HexFault::Character(c) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn separators_and_remarks() {
        for text in ["02 80 00 00 82", "0280000082", "0x02,0x80,0x00,0x00,0x82 # command 0", "02:80-00 00 82"]
        {
            assert_eq!(parse_hex_line(text), Ok(vec![0x02, 0x80, 0x00, 0x00, 0x82]), "{text}");
        }
        assert_eq!(parse_hex_line("# nothing"), Ok(vec![]));
    }

    #[test]
    fn faults_have_their_column() {
        assert_eq!(parse_hex_line("02 8G"), Err(HexError { column: 5, what: HexFault::Character('G') }));
        assert_eq!(parse_hex_line("02 8"), Err(HexError { column: 4, what: HexFault::Half }));
        assert_eq!(parse_hex_line("02 8 00"), Err(HexError { column: 4, what: HexFault::Half }));
    }

    proptest! {
        #[test]
        fn any_octets_come_back(octets in prop::collection::vec(any::<u8>(), 0..50)) {
            let text: Vec<String> = octets.iter().map(|o| format!("{o:02x}")).collect();
            prop_assert_eq!(parse_hex_line(&text.join(" ")), Ok(octets));
        }

        #[test]
        fn any_text_is_survived(text in ".*") {
            let _ = parse_hex_line(&text);
        }
    }
}
