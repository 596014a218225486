//! Engineering units and their codes [UN-01] [UN-02] [UN-03], and values of one in another [UN-04].
//!
//! Symbols are plain ASCII. Barrels per time are oil barrels.

mod base;
pub mod convert;
mod expansion;

pub use convert::convert;

use base::BASE;
use expansion::EXPANSION;

/// A unit whose code means the same under every classification [UN-01] [UN-03].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    /// Code in a message.
    pub code: u8,
    /// Symbol, plain ASCII, such as `bar` or `m3/h`; no two units share one.
    pub symbol: &'static str,
    /// Kind of quantity, such as `pressure`.
    pub group: &'static str,
}

/// Codes whose unit depends on the classification [UN-02].
const EXPANSION_CODES: core::ops::RangeInclusive<u8> = 170..=219;

/// Place of each code in [`BASE`], one up; 0 for codes without a unit. Every decoded message asks
/// for a unit, so the answer must not need a search.
static PLACE: [u8; 256] = {
    let mut place = [0u8; 256];
    let mut at = 0;
    while at < BASE.len() {
        place[BASE[at].code as usize] = at as u8 + 1;
        at += 1;
    }
    place
};

/// All units that do not depend on the classification, lowest code first [UN-01] [UN-03].
pub fn all() -> &'static [Unit] {
    BASE
}

/// The unit of a code that does not depend on the classification [UN-01] [UN-03].
pub fn unit(code: u8) -> Option<&'static Unit> {
    let place = usize::from(PLACE[usize::from(code)]);
    BASE.get(place.checked_sub(1)?)
}

/// The symbol of a unit code; codes 170 to 219 have one only under a classification [UN-01] [UN-02].
pub fn symbol(code: u8, class: Option<u8>) -> Option<&'static str> {
    if EXPANSION_CODES.contains(&code) {
        let key = (class?, code);
        return EXPANSION.binary_search_by_key(&key, |row| (row.0, row.1)).ok().map(|at| EXPANSION[at].2);
    }
    unit(code).map(|unit| unit.symbol)
}

/// The code of a symbol that does not depend on the classification: as written, or else in any case
/// if that leaves one unit [UN-01] [UN-03].
pub fn code_of(symbol: &str) -> Option<u8> {
    if let Some(unit) = BASE.iter().find(|unit| unit.symbol == symbol) {
        return Some(unit.code);
    }
    let mut alike = BASE.iter().filter(|unit| unit.symbol.eq_ignore_ascii_case(symbol));
    let unit = alike.next()?;
    alike.next().is_none().then_some(unit.code)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::{BTreeMap, BTreeSet};

    #[test]
    fn units_that_other_sources_confirm() {
        // [R33] 32, 33, 44, 45, 49; [BUR] 51, 57; [BEL] 19, 43, 61, 75; [SPEC1769] 32 degC.
        for (code, text) in [
            (32, "degC"),
            (33, "degF"),
            (40, "gal"),
            (41, "L"),
            (42, "impgal"),
            (43, "m3"),
            (44, "ft"),
            (45, "m"),
            (46, "oil bbl"),
            (47, "in"),
            (48, "cm"),
            (49, "mm"),
            (51, "s"),
            (57, "%"),
            (19, "m3/h"),
            (61, "kg"),
            (75, "kg/h"),
            (167, "NL"),
            (250, "not used"),
            (251, "none"),
            (252, "unknown"),
            (253, "special"),
        ] {
            assert_eq!(symbol(code, None), Some(text));
            assert_eq!(code_of(text), Some(code));
        }
    }

    #[test]
    fn rows_of_every_group() {
        // Protocol-2 C, printed alike by two editions of [ICS].
        for (code, text, group) in [
            (7, "bar", "pressure"),
            (1, "inH2O 68F", "pressure"),
            (237, "MPa", "pressure"),
            (135, "bbl/d", "volume flow"),
            (21, "m/s", "velocity"),
            (35, "K", "temperature"),
            (39, "mA", "electrical"),
            (236, "hL", "volume"),
            (54, "cSt", "viscosity"),
            (59, "pH", "ratio and analytical"),
            (86, "short ton/d", "mass flow"),
            (103, "deg Baume light", "density"),
            (127, "kW", "force, energy and power"),
            (119, "rev/min", "angle and rotation"),
            (53, "d", "time"),
            (62, "t", "mass"),
            (49, "mm", "length"),
            (245, "manufacturer unit 245", "special"),
        ] {
            let found = unit(code).unwrap();
            assert_eq!((found.code, found.symbol, found.group), (code, text, group));
        }
    }

    #[test]
    fn codes_without_a_unit() {
        // Protocol-2 C: no entry at 157-159 and 220-234; 1-156, 160-169, 235-253 are all taken.
        for code in 0..=255u8 {
            let taken = matches!(code, 1..=156 | 160..=169 | 235..=253);
            assert_eq!(unit(code).is_some(), taken, "{code}");
        }
    }

    #[test]
    fn the_index_and_the_order_agree() {
        for pair in BASE.windows(2) {
            assert!(pair[0].code < pair[1].code);
        }
        for entry in all() {
            assert_eq!(unit(entry.code), Some(entry));
            assert!(entry.symbol.is_ascii());
        }
        for pair in EXPANSION.windows(2) {
            assert!((pair[0].0, pair[0].1) < (pair[1].0, pair[1].1), "{pair:?}");
        }
    }

    #[test]
    fn no_symbol_twice_under_any_classification() {
        let mut by_class: BTreeMap<u8, BTreeSet<&str>> = BTreeMap::new();
        for (class, code, text) in EXPANSION {
            assert!(EXPANSION_CODES.contains(code) && text.is_ascii());
            let seen =
                by_class.entry(*class).or_insert_with(|| BASE.iter().map(|unit| unit.symbol).collect());
            assert!(seen.insert(text), "{class}: {text}");
            assert_eq!(symbol(*code, Some(*class)), Some(*text));
        }
        let base: BTreeSet<_> = BASE.iter().map(|unit| unit.symbol).collect();
        assert_eq!(base.len(), BASE.len());
    }

    #[test]
    fn expansion_needs_a_classification() {
        // [F91234]: 189 is the US liquid barrel in 103 to 106.
        assert_eq!(symbol(189, Some(105)), Some("US liquid bbl/h"));
        assert_eq!(symbol(189, None), None);
        assert_eq!(symbol(189, Some(64)), None);
        assert_eq!(symbol(7, Some(105)), Some("bar"));
        assert_eq!(code_of("US liquid bbl/h"), None);
    }

    #[test]
    fn case_is_forgiven_where_it_is_safe() {
        assert_eq!(code_of("BAR"), Some(7));
        assert_eq!(code_of("degc"), Some(32));
        assert_eq!(code_of("furlong"), None);
    }
}
