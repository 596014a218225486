//! Response codes by command, from the sources [ST-04].

use super::general::*;

/// Codes of command 0 and those like it.
const CODES_0: &[Code] = &[SUCCESS];

/// Codes of command 1 and those like it.
const CODES_1: &[Code] = &[SUCCESS, DEVICE, Code::new(8, "update failure"), RESTRICTED];

/// Codes of command 7 and those like it.
const CODES_7: &[Code] = &[SUCCESS, RESTRICTED];

/// Codes of command 12 and those like it.
const CODES_12: &[Code] = &[SUCCESS, RESTRICTED, BUSY];

/// Codes of command 17 and those like it.
const CODES_17: &[Code] = &[SUCCESS, TOO_FEW, DEVICE, PROTECTED, RESTRICTED, BUSY];

/// Codes of command 51 and those like it.
const CODES_51: &[Code] = &[SUCCESS, SELECTION, TOO_FEW, DEVICE, PROTECTED, RESTRICTED, BUSY];

/// Codes of command 107 and those like it.
const CODES_107: &[Code] = &[
    SUCCESS,
    SELECTION,
    TOO_FEW,
    DEVICE,
    PROTECTED,
    Code::new(8, "burst condition conflict"),
    Code::new(9, "invalid burst message"),
    RESTRICTED,
];

/// The lists that sources print, lowest command first.
pub(super) const READ: &[CodeList] = &[
    CodeList { command: 0, grade: 'H', codes: CODES_0 },
    CodeList { command: 1, grade: 'H', codes: CODES_1 },
    CodeList { command: 2, grade: 'M', codes: CODES_1 },
    CodeList { command: 3, grade: 'M', codes: CODES_1 },
    CodeList {
        command: 6,
        grade: 'M',
        codes: &[
            SUCCESS,
            Code::new(2, "invalid polling address"),
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(12, "invalid loop current mode"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 7, grade: 'M', codes: CODES_7 },
    CodeList { command: 8, grade: 'M', codes: CODES_7 },
    CodeList {
        command: 9,
        grade: 'H',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_FEW,
            DEVICE,
            Code::new(8, "update failure"),
            Code::new(14, "dynamic variables returned for device variables"),
            RESTRICTED,
            Code::new(30, "response truncated"),
        ],
    },
    CodeList { command: 11, grade: 'M', codes: CODES_0 },
    CodeList { command: 12, grade: 'H', codes: CODES_12 },
    CodeList { command: 13, grade: 'H', codes: CODES_12 },
    CodeList { command: 14, grade: 'H', codes: CODES_12 },
    CodeList { command: 15, grade: 'H', codes: CODES_12 },
    CodeList { command: 16, grade: 'H', codes: CODES_12 },
    CodeList { command: 17, grade: 'H', codes: CODES_17 },
    CodeList {
        command: 18,
        grade: 'H',
        codes: &[SUCCESS, TOO_FEW, DEVICE, PROTECTED, Code::new(9, "invalid date code"), RESTRICTED, BUSY],
    },
    CodeList { command: 19, grade: 'H', codes: CODES_17 },
    CodeList { command: 20, grade: 'H', codes: CODES_12 },
    CodeList { command: 21, grade: 'H', codes: CODES_0 },
    CodeList {
        command: 22,
        grade: 'M',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            RESTRICTED,
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    // One of the two sources lacks 5.
    CodeList {
        command: 38,
        grade: 'H',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(9, "configuration change counter mismatch"),
            RESTRICTED,
        ],
    },
    // 5 and 14 stand on one source, the rest on two.
    CodeList {
        command: 48,
        grade: 'M',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            Code::new(8, "update in progress"),
            Code::new(14, "status bytes mismatch"),
            RESTRICTED,
        ],
    },
    CodeList { command: 50, grade: 'M', codes: &[SUCCESS, DEVICE, RESTRICTED] },
    CodeList { command: 51, grade: 'M', codes: CODES_51 },
    CodeList {
        command: 53,
        grade: 'H',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(11, "invalid device variable code"),
            Code::new(12, "invalid units code"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 54, grade: 'H', codes: &[SUCCESS, SELECTION, TOO_FEW, DEVICE, RESTRICTED, BUSY] },
    CodeList { command: 56, grade: 'M', codes: CODES_51 },
    CodeList {
        command: 59,
        grade: 'H',
        codes: &[
            SUCCESS,
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
    CodeList { command: 63, grade: 'M', codes: &[SUCCESS, SELECTION, TOO_FEW, DEVICE, RESTRICTED] },
    CodeList {
        command: 65,
        grade: 'M',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value, other range value pushed"),
            Code::new(9, "lower range value too high"),
            Code::new(10, "lower range value too low"),
            Code::new(11, "upper range value too high"),
            Code::new(12, "upper range value too low"),
            Code::new(13, "both range values out of limits"),
            Code::new(14, "span too small"),
            Code::new(15, "invalid analog channel code number"),
            RESTRICTED,
            Code::new(28, "invalid range units code"),
            Code::new(29, "invalid span"),
            BUSY,
        ],
    },
    CodeList {
        command: 66,
        grade: 'M',
        codes: &[
            SUCCESS,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(11, "in multidrop mode"),
            Code::new(12, "invalid units code"),
            Code::new(15, "invalid analog channel code number"),
            RESTRICTED,
            BUSY,
        ],
    },
    // The texts of 9 to 12 have not been read.
    CodeList {
        command: 67,
        grade: 'M',
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
    CodeList {
        command: 71,
        grade: 'M',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            Code::new(10, "invalid lock code"),
            Code::new(11, "cannot lock"),
            RESTRICTED,
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    CodeList { command: 76, grade: 'M', codes: &[SUCCESS, DEVICE, RESTRICTED, BUSY] },
    CodeList {
        command: 78,
        grade: 'M',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_FEW,
            DEVICE,
            Code::new(8, "update failure"),
            Code::new(9, "invalid command request"),
            Code::new(30, "response truncated, commands dropped"),
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    // The texts of 14 and 19 have not been read; those of 17 and 18 are the ones of other commands.
    CodeList {
        command: 79,
        grade: 'M',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "family status bits not set"),
            Code::new(10, "invalid command code for writing the device variable"),
            Code::new(14, NOT_READ),
            RESTRICTED,
            Code::new(17, "invalid device variable index"),
            Code::new(18, "invalid units code"),
            Code::new(19, NOT_READ),
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    CodeList {
        command: 91,
        grade: 'M',
        codes: &[SUCCESS, TOO_FEW, DEVICE, Code::new(11, "invalid trend number")],
    },
    CodeList {
        command: 92,
        grade: 'M',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "set to nearest possible value"),
            Code::new(11, "invalid trend number"),
            RESTRICTED,
            Code::new(17, "invalid device variable index"),
        ],
    },
    CodeList {
        command: 93,
        grade: 'M',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            Code::new(8, "trend not active"),
            Code::new(11, "invalid trend number"),
        ],
    },
    CodeList { command: 95, grade: 'H', codes: &[SUCCESS, DEVICE] },
    CodeList {
        command: 103,
        grade: 'H',
        codes: &[
            SUCCESS,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "update times adjusted"),
            Code::new(9, "invalid burst message"),
            RESTRICTED,
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    // 2 is in one of the two sources only; 8 has been seen on a device. Texts of 8, 11, 12: not read.
    CodeList {
        command: 104,
        grade: 'M',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_LARGE,
            TOO_SMALL,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, NOT_READ),
            Code::new(9, "invalid burst message"),
            Code::new(11, NOT_READ),
            Code::new(12, NOT_READ),
            Code::new(13, "invalid trigger mode"),
            RESTRICTED,
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    CodeList {
        command: 106,
        grade: 'M',
        codes: &[
            SUCCESS,
            DEVICE,
            Code::new(8, "all delayed responses flushed but those running"),
            RESTRICTED,
            BUSY,
        ],
    },
    CodeList { command: 107, grade: 'H', codes: CODES_107 },
    CodeList { command: 108, grade: 'H', codes: CODES_107 },
    CodeList {
        command: 109,
        grade: 'H',
        codes: &[
            SUCCESS,
            SELECTION,
            TOO_FEW,
            DEVICE,
            PROTECTED,
            Code::new(8, "update period increased"),
            Code::new(9, "insufficient bandwidth"),
            RESTRICTED,
            BUSY,
            DELAYED_INITIATED,
            DELAYED_RUNNING,
            DELAYED_DEAD,
            DELAYED_CONFLICT,
        ],
    },
    CodeList { command: 115, grade: 'M', codes: &[SUCCESS, SELECTION, TOO_FEW, DEVICE] },
    CodeList {
        command: 116,
        grade: 'M',
        codes: &[SUCCESS, SELECTION, TOO_FEW, DEVICE, PROTECTED, RESTRICTED],
    },
];

/// The lists that sources print, lowest command first [ST-04].
pub fn read_lists() -> &'static [CodeList] {
    READ
}
