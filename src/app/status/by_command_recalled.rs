//! Response codes by command, from memory where no source has been read [ST-04].
//!
//! These serve to print a meaning. They are no measure of a device.

use super::general::*;
use crate::app::command::Revision;

/// Codes of command 41 and those like it.
const CODES_41: &[Code] = &[SUCCESS, TOO_FEW, DEVICE, RESTRICTED, BUSY];

/// Codes of command 45 and those like it.
const CODES_45: &[Code] = &[
    SUCCESS,
    TOO_LARGE,
    TOO_SMALL,
    TOO_FEW,
    DEVICE,
    PROTECTED,
    Code::new(9, "not in fixed loop current mode"),
    Code::new(10, NOT_READ),
    Code::new(11, "loop current not active"),
    RESTRICTED,
    BUSY,
];

/// Codes by the pattern of a write with a float.
const FLOAT: &[Code] = &[
    SUCCESS,
    TOO_LARGE,
    TOO_SMALL,
    TOO_FEW,
    DEVICE,
    PROTECTED,
    Code::new(8, "set to nearest possible value"),
    RESTRICTED,
    BUSY,
];

/// Codes by the pattern of a write with an enumeration.
const SELECTED: &[Code] = &[SUCCESS, SELECTION, TOO_FEW, DEVICE, PROTECTED, RESTRICTED, BUSY];

/// The recalled lists, lowest command first.
pub(super) const RECALLED: &[CodeList] = &[
    CodeList { command: 34, grade: 'R', codes: FLOAT },
    // 28 is not part of the recalled list: older devices have been seen to answer it for 18.
    CodeList {
        command: 35,
        grade: 'R',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value"),
            Code::new(9, "lower range value too high"),
            Code::new(10, "lower range value too low"),
            Code::new(11, "upper range value too high"),
            Code::new(12, "upper range value too low"),
            Code::new(13, "both range values out of limits"),
            Code::new(14, "span too small"),
            RESTRICTED,
            Code::new(18, "invalid units code").since(Revision::R7),
            Code::new(28, "invalid range units code").until(Revision::R6),
            Code::new(29, "invalid span"),
            BUSY,
        ],
    },
    CodeList {
        command: 36,
        grade: 'R',
        codes: &[
            SUCCESS,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value"),
            Code::new(9, "applied process too high"),
            Code::new(10, "applied process too low"),
            Code::new(11, "in multidrop mode"),
            Code::new(14, "span too small"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList {
        command: 37,
        grade: 'R',
        codes: &[
            SUCCESS,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value"),
            Code::new(9, "applied process too high"),
            Code::new(10, "applied process too low"),
            Code::new(11, "in multidrop mode"),
            Code::new(14, "upper range value pushed over its limit"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 39, grade: 'R', codes: SELECTED },
    CodeList {
        command: 40,
        grade: 'R',
        codes: &[
            SUCCESS,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(11, "loop current not active"),
            Code::new(12, NOT_READ),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 41, grade: 'R', codes: CODES_41 },
    CodeList { command: 42, grade: 'R', codes: CODES_41 },
    CodeList { command: 44, grade: 'R', codes: SELECTED },
    CodeList { command: 45, grade: 'R', codes: CODES_45 },
    CodeList { command: 46, grade: 'R', codes: CODES_45 },
    CodeList {
        command: 47,
        grade: 'R',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(13, "invalid transfer function code"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList {
        command: 52,
        grade: 'R',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value"),
            Code::new(9, "applied process too high"),
            Code::new(10, "applied process too low"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList {
        command: 55,
        grade: 'R',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 64, grade: 'R', codes: FLOAT },
    // By the pattern of command 67.
    CodeList {
        command: 68,
        grade: 'R',
        codes: &[
            SUCCESS,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(9, NOT_READ),
            Code::new(10, NOT_READ),
            Code::new(11, NOT_READ),
            Code::new(12, NOT_READ),
            Code::new(15, "invalid analog channel code number"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 69, grade: 'R', codes: SELECTED },
    CodeList { command: 82, grade: 'R', codes: FLOAT },
    CodeList { command: 87, grade: 'R', codes: SELECTED },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::status::{list, meaning};

    #[test]
    fn a_recalled_list_is_found_and_says_so() {
        // Whether the numbers are right no source here can say; that they are marked, this can.
        for recalled in RECALLED {
            let found = list(recalled.command).unwrap();
            assert_eq!((found.grade, found.codes), ('R', recalled.codes));
        }
    }

    #[test]
    fn codes_that_sources_saw_on_devices_are_in_the_lists() {
        // Protocol-1 F.2: 35 gives 9 to 13, 18, 29 [FCI] and 28 [KRO]; 36, 37 give 9, 10, 11, 14
        // [PLX]; 40 gives 3, 4, 11 [FCI]; 45 and 46 give 9, not in fixed current mode [PLX].
        for (command, codes) in [
            (35, &[9, 10, 11, 12, 13, 18, 28, 29][..]),
            (36, &[9, 10, 11, 14]),
            (37, &[9, 10, 11, 14]),
            (40, &[3, 4, 11]),
        ] {
            for code in codes {
                assert!(meaning(command, *code).1.is_some(), "{command}: {code}");
            }
        }
        assert_eq!(meaning(45, 9).1, Some("not in fixed loop current mode"));
        assert_eq!(meaning(46, 9).1, Some("not in fixed loop current mode"));
        assert_eq!(meaning(35, 18).1, Some("invalid units code"));
        // Older devices answer 28 to a wrong unit [KRO], a revision 7 device 18 [FCI].
        let numbers = |r| list(35).unwrap().of(r).map(|c| c.code).collect::<Vec<_>>();
        let (old, new) = (numbers(Revision::R5), numbers(Revision::R7));
        assert!(old.contains(&28) && !old.contains(&18) && new.contains(&18) && !new.contains(&28));
    }
}
