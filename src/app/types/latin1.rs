//! Latin-1 text, one octet a character, filled up with 00 [TY-05].

use super::text_error::TextError;

/// The text in a Latin-1 field: each octet is the code point of the same number; 00s at the end
/// are left out [TY-05]. A 00 followed by anything else is kept, as U+0000.
pub fn decode(bytes: &[u8]) -> String {
    let end = bytes.iter().rposition(|b| *b != 0).map_or(0, |at| at + 1);
    bytes[..end].iter().map(|b| char::from(*b)).collect()
}

/// A Latin-1 field of `len_bytes` octets holding `text`, filled up with 00 [TY-05].
///
/// # Errors
/// A character above U+00FF, or more characters than octets.
pub fn encode(text: &str, len_bytes: usize) -> Result<Vec<u8>, TextError> {
    let mut out = Vec::with_capacity(len_bytes);
    for (at, c) in text.chars().enumerate() {
        match u8::try_from(c) {
            Ok(octet) => out.push(octet),
            Err(_) => {
                return Err(TextError::NotLatin1 { character: c, position: at + 1 });
            }
        }
    }
    if out.len() > len_bytes {
        return Err(TextError::TooLong { characters: out.len(), room: len_bytes });
    }
    out.resize(len_bytes, 0);
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn long_tag_that_tshark_decoded() {
        // tshark 4.0.17, row 64 of the vectors: command 22, long tag "LONG TAG 1".
        let mut field = vec![0x4C, 0x4F, 0x4E, 0x47, 0x20, 0x54, 0x41, 0x47, 0x20, 0x31];
        field.resize(32, 0);
        assert_eq!(decode(&field), "LONG TAG 1");
        assert_eq!(encode("LONG TAG 1", 32).unwrap(), field);
    }

    #[test]
    fn octets_are_code_points() {
        // ISO/IEC 8859-1: B0 is the degree sign, FF is y with diaeresis.
        assert_eq!(decode(&[0xB0, b'C', 0xFF]), "\u{B0}C\u{FF}");
        assert_eq!(decode(&[b'A', 0, b'B', 0, 0]), "A\0B");
    }

    #[test]
    fn refusals() {
        assert_eq!(
            encode("FV \u{20AC}", 32),
            Err(TextError::NotLatin1 { character: '\u{20AC}', position: 4 })
        );
        assert_eq!(encode("ABC", 2), Err(TextError::TooLong { characters: 3, room: 2 }));
    }

    proptest! {
        #[test]
        fn any_field_survives(bytes in proptest::collection::vec(any::<u8>(), 0..64)) {
            prop_assert_eq!(encode(&decode(&bytes), bytes.len()).unwrap(), bytes);
        }

        #[test]
        fn no_text_panics(text in any::<String>(), len in 0usize..40) {
            if let Ok(bytes) = encode(&text, len) {
                prop_assert_eq!(decode(&bytes), text.trim_end_matches('\0'));
            }
        }
    }
}
