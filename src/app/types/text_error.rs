//! Why a text does not fit a text field of a message.

use core::fmt;

/// A text that cannot be put into a text field [TY-04] [TY-05].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextError {
    /// A character has no code in packed ASCII.
    NotPackable {
        /// The character.
        character: char,
        /// Its place in the text, in characters; the first is 1.
        position: usize,
    },
    /// A character lies above U+00FF and so has no octet in Latin-1.
    NotLatin1 {
        /// The character.
        character: char,
        /// Its place in the text, in characters; the first is 1.
        position: usize,
    },
    /// The text has more characters than the field.
    TooLong {
        /// Characters in the text.
        characters: usize,
        /// Characters that fit the field.
        room: usize,
    },
}

impl fmt::Display for TextError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            TextError::NotPackable { character, position } => {
                write!(
                    f,
                    "packing text: character {character:?} at position {position} has no packed code; "
                )?;
                if character.is_ascii_lowercase() {
                    let upper = character.to_ascii_uppercase();
                    write!(f, "write {upper:?} instead")
                } else {
                    f.write_str("use capital letters, digits, space and !\"#$%&'()*+,-./:;<=>?@[\\]^_")
                }
            }
            TextError::NotLatin1 { character, position } => write!(
                f,
                "encoding Latin-1 text: character {character:?} at position {position} lies above \
                 U+00FF; replace it with a Latin-1 character"
            ),
            TextError::TooLong { characters, room } => {
                write!(f, "encoding text: {characters} characters do not fit the field; shorten it to {room}")
            }
        }
    }
}

impl core::error::Error for TextError {}
