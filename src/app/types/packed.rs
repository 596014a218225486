//! Packed ASCII: four 6-bit characters in three octets [TY-04].
//!
//! The set is U+0020 to U+005F: no lower-case letters.

use super::text_error::TextError;

/// Whether `c` has a packed code: U+0020 (space) to U+005F (low line) [TY-04].
pub const fn is_packable(c: char) -> bool {
    matches!(c, ' '..='_')
}

/// Characters that fit a packed field of `bytes` octets: four in every three [TY-04].
pub const fn room(bytes: usize) -> usize {
    bytes / 3 * 4 + bytes % 3
}

/// The text in a packed field, trailing spaces removed [TY-04].
///
/// One or two octets left over after the groups of three yield one or two characters; the bits
/// after them are not shown.
pub fn unpack(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(room(bytes.len()));
    for group in bytes.chunks(3) {
        let mut bits = 0u32;
        for i in 0..3 {
            bits = bits << 8 | u32::from(group.get(i).copied().unwrap_or(0));
        }
        let characters = if group.len() == 3 { 4 } else { group.len() };
        for i in 0..characters {
            text.push(character((bits >> (18 - 6 * i) & 0x3F) as u8));
        }
    }
    text.truncate(text.trim_end_matches(' ').len());
    text
}

/// A packed field of `out_len_bytes` octets holding `text`, filled up with spaces [TY-04].
///
/// # Errors
/// A character outside the set (lower-case letters among them), or more characters than fit.
pub fn pack(text: &str, out_len_bytes: usize) -> Result<Vec<u8>, TextError> {
    let room = room(out_len_bytes);
    let mut codes = Vec::with_capacity(room);
    for (at, c) in text.chars().enumerate() {
        if !is_packable(c) {
            return Err(TextError::NotPackable { character: c, position: at + 1 });
        }
        codes.push(c as u8 & 0x3F);
    }
    if codes.len() > room {
        return Err(TextError::TooLong { characters: codes.len(), room });
    }
    codes.resize(room, b' ');
    let mut out = Vec::with_capacity(out_len_bytes);
    for four in codes.chunks(4) {
        let mut bits = 0u32;
        for i in 0..4 {
            bits = bits << 6 | u32::from(four.get(i).copied().unwrap_or(0));
        }
        // Three octets carry four characters; fewer characters stand in as many octets.
        let octets = if four.len() == 4 { 3 } else { four.len() };
        out.extend_from_slice(&bits.to_be_bytes()[1..=octets]);
    }
    Ok(out)
}

/// The character of a 6-bit code: bit 6 is the complement of bit 5.
const fn character(code: u8) -> char {
    (code | (!code & 0x20) << 1) as char
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn four_spaces_of_spec1769() {
        // [SPEC1769]: four spaces are 82 08 20.
        assert_eq!(pack("", 3).unwrap(), [0x82, 0x08, 0x20]);
        assert_eq!(pack("    ", 3).unwrap(), [0x82, 0x08, 0x20]);
        assert_eq!(unpack(&[0x82, 0x08, 0x20]), "");
    }

    #[test]
    fn texts_that_tshark_decoded() {
        // tshark 4.0.17, rows 44 (tag, descriptor) and 53 (message) of the vectors.
        let tag = [0x19, 0x4B, 0x71, 0xC3, 0x18, 0x20];
        let descriptor = [0x08, 0xF2, 0x4C, 0x15, 0x28, 0x06, 0x14, 0x51, 0x20, 0x82, 0x08, 0x20];
        let message = [0x35, 0x31, 0xE0, 0x82, 0x08, 0x20];
        let long = [
            0x20, 0x53, 0x0C, 0x3E, 0x02, 0x01, 0x49, 0x48, 0x37, 0x80, 0xD1, 0x53, 0x4C, 0x11, 0xC5, 0x82,
            0x08, 0x20,
        ];
        for (bytes, text) in [
            (&tag[..], "FT-101"),
            (&descriptor[..], "BOILER FEED"),
            (&message[..], "MSG"),
            (&long[..], "HELLO HART 7 MESSAGE"),
        ] {
            assert_eq!(unpack(bytes), text);
            assert_eq!(pack(text, bytes.len()).unwrap(), bytes);
        }
    }

    #[test]
    fn refusals_name_the_character_and_its_place() {
        assert_eq!(pack("FV-a", 6), Err(TextError::NotPackable { character: 'a', position: 4 }));
        assert_eq!(pack("FV-31041X", 6), Err(TextError::TooLong { characters: 9, room: 8 }));
        let said = pack("FV-a", 6).unwrap_err().to_string();
        assert!(said.contains("'a'") && said.contains("position 4") && said.contains("'A'"));
    }

    #[test]
    fn the_set_is_sixty_four_characters() {
        // 6 bits: 64 codes.
        let set: Vec<char> = ('\0'..='\u{FF}').filter(|c| is_packable(*c)).collect();
        assert_eq!(set.len(), 64);
        assert!(!is_packable('a') && !is_packable('`') && is_packable('_') && is_packable('@'));
    }

    #[test]
    fn left_over_octets_yield_the_characters_they_hold() {
        // 19 = 000110 01: code 6 is "F"; 19 4B = 000110 010100 1011: codes 6, 20 are "F", "T".
        assert_eq!(unpack(&[0x19]), "F");
        assert_eq!(unpack(&[0x19, 0x4B]), "FT");
        assert_eq!(pack("FT", 2).unwrap(), [0x19, 0x40]);
    }

    proptest! {
        #[test]
        fn any_whole_field_survives(groups in proptest::collection::vec(any::<[u8; 3]>(), 0..12)) {
            let bytes = groups.concat();
            prop_assert_eq!(pack(&unpack(&bytes), bytes.len()).unwrap(), bytes);
        }

        #[test]
        fn no_field_panics(bytes in proptest::collection::vec(any::<u8>(), 0..80)) {
            let text = unpack(&bytes);
            let again = pack(&text, bytes.len()).unwrap();
            prop_assert_eq!(again.len(), bytes.len());
            prop_assert_eq!(unpack(&again), text);
        }

        #[test]
        fn no_text_panics(text in any::<String>(), len in 0usize..40) {
            if let Ok(bytes) = pack(&text, len) {
                prop_assert_eq!(bytes.len(), len);
                prop_assert_eq!(unpack(&bytes), text.trim_end_matches(' '));
            }
        }
    }
}
