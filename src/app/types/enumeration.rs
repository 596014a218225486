//! Code tables: a number for each word, and a bit for each word.

/// A table of codes and their texts.
///
/// `rows` are in order of code, no code and no text twice; `ranges` are used where no row fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Table {
    /// The requirement that cites the table, such as `TB-01`.
    pub id: &'static str,
    /// What the codes are of, such as `alarm selection`.
    pub name: &'static str,
    /// Codes with a text of their own, lowest first.
    pub rows: &'static [(u8, &'static str)],
    /// First code, last code and text of codes that share one text.
    pub ranges: &'static [(u8, u8, &'static str)],
}

impl Table {
    /// The text of a code; `None` for a code that the table does not have.
    pub fn text(&self, code: u8) -> Option<&'static str> {
        match self.rows.binary_search_by_key(&code, |row| row.0) {
            Ok(at) => Some(self.rows[at].1),
            Err(_) => self
                .ranges
                .iter()
                .find(|(first, last, _)| (*first..=*last).contains(&code))
                .map(|range| range.2),
        }
    }

    /// The code of a text, whatever its case. Texts that stand for a range of codes name none.
    pub fn code(&self, text: &str) -> Option<u8> {
        self.rows.iter().find(|row| row.1.eq_ignore_ascii_case(text)).map(|row| row.0)
    }
}

/// A table of the bits of one octet and their texts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BitTable {
    /// The requirement that cites the table, such as `ST-02`.
    pub id: &'static str,
    /// What the octet is, such as `field device status`.
    pub name: &'static str,
    /// One bit set in each mask, highest bit first.
    pub rows: &'static [(u8, &'static str)],
}

/// How a set bit without a text is called, lowest bit first.
const UNNAMED: [&str; 8] =
    ["bit 0x01", "bit 0x02", "bit 0x04", "bit 0x08", "bit 0x10", "bit 0x20", "bit 0x40", "bit 0x80"];

impl BitTable {
    /// The texts of the bits set in `byte`, highest first. A bit that the table does not have is
    /// called by its mask: `bit 0x04`.
    pub fn set_names(&self, byte: u8) -> impl Iterator<Item = &'static str> + use<> {
        let rows = self.rows;
        (0..8usize)
            .rev()
            .filter(move |bit| byte & 1 << bit != 0)
            .map(move |bit| rows.iter().find(|row| row.0 == 1 << bit).map_or(UNNAMED[bit], |row| row.1))
    }

    /// The mask of a text, whatever its case; `bit 0x04` and its like are read too.
    pub fn mask(&self, text: &str) -> Option<u8> {
        let named = self.rows.iter().find(|row| row.1.eq_ignore_ascii_case(text));
        named
            .map(|row| row.0)
            .or_else(|| UNNAMED.iter().position(|name| name.eq_ignore_ascii_case(text)).map(|bit| 1 << bit))
    }
}

#[cfg(test)]
pub(crate) mod checks {
    //! What holds for every table, whoever keeps it.

    use super::*;

    pub(crate) fn table_is_sound(table: &Table) {
        let of = table.name;
        assert!(!table.id.is_empty() && !of.is_empty());
        for pair in table.rows.windows(2) {
            assert!(pair[0].0 < pair[1].0, "{of}: {} not before {}", pair[0].0, pair[1].0);
        }
        for (code, text) in table.rows {
            assert_eq!(table.text(*code), Some(*text), "{of}");
            assert_eq!(table.code(text), Some(*code), "{of}: {text} names two codes");
            assert_eq!(table.code(&text.to_ascii_uppercase()), Some(*code), "{of}");
        }
        for (first, last, text) in table.ranges {
            assert!(first < last, "{of}: {text}");
            assert_eq!(table.code(text), None, "{of}: {text} is a row and a range");
        }
    }

    pub(crate) fn bits_are_sound(table: &BitTable) {
        let of = table.name;
        for pair in table.rows.windows(2) {
            assert!(pair[0].0 > pair[1].0, "{of}: {:02X}", pair[1].0);
        }
        for (mask, text) in table.rows {
            assert_eq!(mask.count_ones(), 1, "{of}: {text}");
            assert_eq!(table.mask(text), Some(*mask), "{of}: {text} names two bits");
        }
        for byte in 0..=255u8 {
            let again = table.set_names(byte).fold(0, |all, name| all | table.mask(name).unwrap_or(0));
            assert_eq!(again, byte, "{of}");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FRUIT: Table = Table {
        id: "TEST",
        name: "fruit",
        rows: &[(1, "apple"), (7, "Pear"), (245, "quince")],
        ranges: &[(240, 249, "manufacturer")],
    };
    const LAMPS: BitTable = BitTable { id: "TEST", name: "lamps", rows: &[(0x80, "red"), (0x02, "green")] };

    #[test]
    fn a_row_goes_before_a_range() {
        assert_eq!(FRUIT.text(7), Some("Pear"));
        assert_eq!(FRUIT.text(245), Some("quince"));
        assert_eq!(FRUIT.text(240), Some("manufacturer"));
        assert_eq!(FRUIT.text(249), Some("manufacturer"));
        assert_eq!(FRUIT.text(250), None);
        assert_eq!(FRUIT.text(2), None);
    }

    #[test]
    fn texts_are_read_in_any_case() {
        assert_eq!(FRUIT.code("PEAR"), Some(7));
        assert_eq!(FRUIT.code("manufacturer"), None);
        assert_eq!(FRUIT.code("plum"), None);
        checks::table_is_sound(&FRUIT);
    }

    #[test]
    fn bits_without_a_text_are_called_by_their_mask() {
        let names: Vec<_> = LAMPS.set_names(0x86).collect();
        assert_eq!(names, ["red", "bit 0x04", "green"]);
        assert_eq!(LAMPS.mask("bit 0x04"), Some(0x04));
        assert_eq!(LAMPS.set_names(0).count(), 0);
        checks::bits_are_sound(&LAMPS);
    }
}
