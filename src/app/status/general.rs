//! Response codes that mean the same for every command, and what a response code is [ST-03].

use crate::app::command::Revision;

/// How a request ended, by its response code [ST-03].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CodeClass {
    /// Done as asked.
    Success,
    /// Done, with something to know.
    Warning,
    /// Not done.
    Error,
}

impl CodeClass {
    /// The class of a response code: 0 is success; 8, 14, 30 and 112 to 127 are warnings; the rest
    /// are errors [ST-03].
    pub const fn of(code: u8) -> Self {
        match code {
            0 => CodeClass::Success,
            8 | 14 | 30 | 112..=127 => CodeClass::Warning,
            _ => CodeClass::Error,
        }
    }
}

/// How it stands with an answer that comes later, by response code [DV-40]. These are states of the request: 33 and 34
/// refuse nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Delay {
    /// 33: taken on.
    Initiated,
    /// 34: not done yet.
    Running,
    /// 35: lost, and nobody knows how far it came.
    Dead,
    /// 36: not taken on, for another one is in the way.
    Conflict,
}

impl Delay {
    /// The state that a response code tells; `None` for every other code.
    pub const fn of(code: u8) -> Option<Self> {
        match code {
            33 => Some(Delay::Initiated),
            34 => Some(Delay::Running),
            35 => Some(Delay::Dead),
            36 => Some(Delay::Conflict),
            _ => None,
        }
    }

    /// Whether the identical request will be answered with more.
    pub const fn is_under_way(self) -> bool {
        matches!(self, Delay::Initiated | Delay::Running)
    }

    /// In a word: `not yet`, `lost`, `refused`.
    pub const fn word(self) -> &'static str {
        match self {
            Delay::Initiated | Delay::Running => "not yet",
            Delay::Dead => "lost",
            Delay::Conflict => "refused",
        }
    }
}

/// One response code of a command [ST-04].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Code {
    /// The code, 0 to 127.
    pub code: u8,
    /// How the request ended.
    pub class: CodeClass,
    /// Its meaning in our words; [`NOT_READ`] where we know the code but not what it means.
    pub text: &'static str,
    /// First revision that has it.
    pub from: Revision,
    /// Last revision that has it.
    pub to: Revision,
}

impl Code {
    /// A code with its meaning; the class follows from the number.
    pub(super) const fn new(code: u8, text: &'static str) -> Self {
        Code { code, class: CodeClass::of(code), text, from: Revision::R5, to: Revision::R7 }
    }

    /// The same, from a revision on.
    pub(super) const fn since(mut self, from: Revision) -> Self {
        self.from = from;
        self
    }

    /// The same, up to a revision.
    pub(super) const fn until(mut self, to: Revision) -> Self {
        self.to = to;
        self
    }
}

/// The response codes a command may give [ST-04].
#[derive(Clone, Copy, Debug)]
pub struct CodeList {
    /// Command number.
    pub command: u16,
    /// Its codes, lowest first.
    pub codes: &'static [Code],
    /// How sure the list is: `H` two or more sources, `M` one source, or one for a part of it,
    /// `R` from memory. An `R` list is no measure of a device.
    pub grade: char,
}

impl CodeList {
    /// The codes of one revision, lowest first.
    pub fn of(&self, revision: Revision) -> impl Iterator<Item = &'static Code> + use<> {
        self.codes.iter().filter(move |c| c.from <= revision && revision <= c.to)
    }

    /// How sure the list is for one revision. What has been read is about revision 7; that the others have
    /// the same codes is from memory.
    pub fn grade_of(&self, revision: Revision) -> char {
        if revision == Revision::R7 { self.grade } else { 'R' }
    }
}

/// What a response code without a meaning is called.
pub const UNDEFINED: &str = "undefined";

/// Text of a code that is in a command's list while its meaning there is not known to us.
pub const NOT_READ: &str = "meaning not known here; see the device's manual";

/// No command-specific error.
pub(super) const SUCCESS: Code = Code::new(0, "success");
/// Selection not offered.
pub(super) const SELECTION: Code = Code::new(2, "invalid selection");
/// Value above the range.
pub(super) const TOO_LARGE: Code = Code::new(3, "parameter too large");
/// Value below the range.
pub(super) const TOO_SMALL: Code = Code::new(4, "parameter too small");
/// Request shorter than the command needs.
pub(super) const TOO_FEW: Code = Code::new(5, "too few data bytes");
/// The device's own error.
pub(super) const DEVICE: Code = Code::new(6, "device-specific error");
/// Writing forbidden.
pub(super) const PROTECTED: Code = Code::new(7, "in write protect mode");
/// Not for this master now.
pub(super) const RESTRICTED: Code = Code::new(16, "access restricted");
/// Try again.
pub(super) const BUSY: Code = Code::new(32, "busy");
/// Delayed response begun.
pub(super) const DELAYED_INITIATED: Code = Code::new(33, "delayed response initiated").since(Revision::R7);
/// Delayed response not ready.
pub(super) const DELAYED_RUNNING: Code = Code::new(34, "delayed response running").since(Revision::R7);
/// Delayed response lost.
pub(super) const DELAYED_DEAD: Code = Code::new(35, "delayed response dead").since(Revision::R7);
/// Delayed response in the way of another.
pub(super) const DELAYED_CONFLICT: Code = Code::new(36, "delayed response conflict").since(Revision::R7);

/// Codes with one meaning, lowest first. 20 comes from commands wrapped in command 31 alone.
const GENERAL: &[Code] = &[
    SUCCESS,
    SELECTION,
    TOO_LARGE,
    TOO_SMALL,
    TOO_FEW,
    DEVICE,
    PROTECTED,
    RESTRICTED,
    Code::new(20, "invalid extended command number"),
    BUSY,
    DELAYED_INITIATED,
    DELAYED_RUNNING,
    DELAYED_DEAD,
    DELAYED_CONFLICT,
    Code::new(64, "command not implemented"),
];

/// The class of a response code and its meaning where that is the same for every command [ST-03].
/// 112 to 127 are warnings that each device uses in its own way.
pub fn general(code: u8) -> (CodeClass, Option<&'static str>) {
    let text = match code {
        112..=127 => Some("device-specific warning"),
        _ => GENERAL.binary_search_by_key(&code, |row| row.code).ok().map(|at| GENERAL[at].text),
    };
    (CodeClass::of(code), text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_with_one_meaning() {
        // [ICP3] [MSA] [FCI] [KRO] 0 to 6; [PLX] [MSA] 7, 16, 32; [MXQ] [BIF] 33 to 36; [PLX] 64.
        for (code, text) in [
            (0, "success"),
            (2, "invalid selection"),
            (3, "parameter too large"),
            (4, "parameter too small"),
            (5, "too few data bytes"),
            (6, "device-specific error"),
            (7, "in write protect mode"),
            (16, "access restricted"),
            (32, "busy"),
            (33, "delayed response initiated"),
            (34, "delayed response running"),
            (35, "delayed response dead"),
            (36, "delayed response conflict"),
            (64, "command not implemented"),
        ] {
            assert_eq!(general(code).1, Some(text), "{code}");
        }
    }

    #[test]
    fn codes_that_depend_on_the_command_have_no_general_meaning() {
        // Protocol-1 E.3: 1 is undefined; 8 to 14, 28, 29 go by command; protocol-2 A.8: 15, 30.
        for code in [1, 8, 9, 10, 11, 12, 13, 14, 15, 28, 29, 30, 65, 111, 128, 255] {
            assert_eq!(general(code).1, None, "{code}");
        }
    }

    #[test]
    fn classes() {
        // [PLX] [F90586] 8 and 14; [MXQ] 30; [KRO] 112 to 127 are warnings.
        let warnings: Vec<u8> = (0..128).filter(|code| general(*code).0 == CodeClass::Warning).collect();
        let mut expected = vec![8, 14, 30];
        expected.extend(112..=127);
        assert_eq!(warnings, expected);
        assert_eq!(general(0).0, CodeClass::Success);
        assert_eq!(general(64).0, CodeClass::Error);
    }
}
