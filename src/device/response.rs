//! What a positioner makes of a key that is pressed, and of a calibration that is asked for at it [DV-98].

use super::positioner::{HOLD, Key, Refusal};
use core::fmt;
use core::time::Duration;

/// Why a calibration is not begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotBegun {
    /// The device is no positioner with electronics.
    NoElectronics,
    /// The device has no power, or has not started yet.
    NoPower,
    /// The configuration is protected.
    WriteProtected,
    /// The configuration is locked against all.
    Locked,
    /// The process does not allow it [DV-91].
    NotAllowed,
    /// The electronics refuse.
    Refused(Refusal),
}

impl NotBegun {
    /// Every reason.
    pub const ALL: [NotBegun; 8] = [
        NotBegun::NoElectronics,
        NotBegun::NoPower,
        NotBegun::WriteProtected,
        NotBegun::Locked,
        NotBegun::NotAllowed,
        NotBegun::Refused(Refusal::Running),
        NotBegun::Refused(Refusal::NoSupply),
        NotBegun::Refused(Refusal::NoCurrent),
    ];

    /// As the display says it, at most 24 characters [DV-99].
    pub const fn short(self) -> &'static str {
        match self {
            NotBegun::NoElectronics => "no: no computed valve",
            NotBegun::NoPower => "no: no power",
            NotBegun::WriteProtected => "no: write-protected",
            NotBegun::Locked => "no: locked against all",
            NotBegun::NotAllowed => "no: process forbids it",
            NotBegun::Refused(Refusal::Running) => "no: calibration running",
            NotBegun::Refused(Refusal::NoSupply) => "no: no supply pressure",
            NotBegun::Refused(Refusal::NoCurrent) => "no: no loop current",
        }
    }

    /// What to do next.
    pub fn next(self) -> &'static str {
        match self {
            NotBegun::NoElectronics => "describe its valve in [device.valve] of the bench file",
            NotBegun::NoPower => NO_POWER,
            NotBegun::WriteProtected => PROTECTED,
            NotBegun::Locked => LOCKED,
            NotBegun::NotAllowed => {
                "make sure that the valve may stroke, then say so: calibration_allowed = true"
            }
            NotBegun::Refused(Refusal::Running) => "wait until it is done, or end it with \"acknowledge\"",
            NotBegun::Refused(Refusal::NoSupply) => "open the air, and look at the regulator and its gauge",
            NotBegun::Refused(Refusal::NoCurrent) => "give it loop current, 4 mA or more",
        }
    }
}

const NO_POWER: &str = "give it its loop current, wait until it has started, then try again";
const PROTECTED: &str = "take write protect off";
const LOCKED: &str = "unlock it with command 71, from the master that has locked it";

impl fmt::Display for NotBegun {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NotBegun::NoElectronics => "this device has no valve that is computed",
            NotBegun::NoPower => "the device has no power or has not started yet",
            NotBegun::WriteProtected => "the device is write-protected",
            NotBegun::Locked => "the device is locked against all",
            NotBegun::NotAllowed => "the process does not allow a calibration now",
            NotBegun::Refused(Refusal::Running) => "a calibration is running",
            NotBegun::Refused(Refusal::NoSupply) => "there is no supply pressure",
            NotBegun::Refused(Refusal::NoCurrent) => "there is no loop current",
        })
    }
}

/// Why a key does nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ignored {
    /// The device has no keys.
    NoElectronics,
    /// The device has no power, or has not started yet.
    NoPower,
    /// The configuration is protected.
    WriteProtected,
    /// The configuration is locked against all.
    Locked,
    /// A calibration runs.
    Calibrating,
    /// A master simulates the set point [DV-23].
    Simulated,
    /// There is no loop current, so the valve rests where it does without power.
    NoCurrent,
    /// "open" and "close" are both pressed.
    Both,
    /// It is pressed already, or is not.
    NoChange,
    /// There is nothing to be ended or given back, and no failure to take note of.
    NothingToDo,
}

/// What a positioner has made of something that somebody at it does [DV-98].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Response {
    /// A calibration has begun.
    Begun,
    /// A calibration was asked for and has not begun.
    NotBegun(NotBegun),
    /// The key moves the set point, or the drive of a valve that was never calibrated, while it is pressed.
    Moves(Key),
    /// The key was let go, and what it moved stays, or the drive ends.
    LetGo(Key),
    /// The key that calibrates is pressed and has to be held; and why it would do nothing as things are.
    ToBeHeld(Option<NotBegun>),
    /// The key that calibrates was let go before it did anything; for how long it was held.
    TooShort(Duration),
    /// The calibration was ended.
    Ended,
    /// The set point was given back to the loop.
    GivenBack,
    /// Note was taken of a failed calibration, and nothing else was to be done.
    Noted,
    /// The device is armed to be found, or no longer.
    Armed(bool),
    /// The key does nothing.
    Ignored(Key, Ignored),
}

impl Response {
    /// Whether it does what was wanted, or waits for more.
    pub fn is_done(self) -> bool {
        !matches!(
            self,
            Response::NotBegun(_)
                | Response::ToBeHeld(Some(_))
                | Response::TooShort(_)
                | Response::Ignored(..)
        )
    }

    /// What to do next; `None` where nothing is needed.
    pub fn next(self) -> Option<&'static str> {
        Some(match self {
            Response::NotBegun(why) | Response::ToBeHeld(Some(why)) => why.next(),
            Response::TooShort(_) => "press it again and hold it for 3 s",
            Response::Ignored(_, Ignored::NoElectronics) => NotBegun::NoElectronics.next(),
            Response::Ignored(_, Ignored::NoPower) => NO_POWER,
            Response::Ignored(_, Ignored::WriteProtected) => PROTECTED,
            Response::Ignored(_, Ignored::Locked) => LOCKED,
            Response::Ignored(_, Ignored::Calibrating) => NotBegun::Refused(Refusal::Running).next(),
            Response::Ignored(_, Ignored::Simulated) => {
                "end the simulation with command 79, or reset the device"
            }
            Response::Ignored(_, Ignored::NoCurrent) => NotBegun::Refused(Refusal::NoCurrent).next(),
            Response::Ignored(_, Ignored::Both) => "let one of them go",
            Response::ToBeHeld(None) => "hold it for 3 s of bench time",
            Response::Begun
            | Response::Moves(_)
            | Response::LetGo(_)
            | Response::Ended
            | Response::GivenBack
            | Response::Noted
            | Response::Armed(_)
            | Response::Ignored(_, Ignored::NoChange | Ignored::NothingToDo) => return None,
        })
    }
}

impl fmt::Display for Response {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let hold_s = HOLD.as_secs();
        match self {
            Response::Begun => f.write_str("a calibration has begun"),
            Response::NotBegun(why) => write!(f, "no calibration is begun: {why}"),
            Response::Moves(key) => write!(f, "\"{}\" moves the valve while it is pressed", key.words()),
            Response::LetGo(key) => write!(f, "\"{}\" was let go", key.words()),
            Response::ToBeHeld(None) => {
                write!(f, "\"calibrate\" starts a calibration when it is held for {hold_s} s")
            }
            Response::ToBeHeld(Some(why)) => write!(
                f,
                "\"calibrate\" is to be held for {hold_s} s, and as things are starts no calibration: {why}"
            ),
            Response::TooShort(held) => write!(
                f,
                "\"calibrate\" was let go after {:.1} s and has started nothing: it wants {hold_s} s",
                held.as_secs_f64()
            ),
            Response::Ended => f.write_str("the calibration was ended; what was learned before holds"),
            Response::GivenBack => f.write_str("the set point follows the loop current again"),
            Response::Noted => f.write_str("note was taken of the calibration that failed"),
            Response::Armed(true) => f.write_str("the device is armed to be found"),
            Response::Armed(false) => f.write_str("the device is no longer armed to be found"),
            Response::Ignored(key, why) => {
                let why = match why {
                    Ignored::NoElectronics => "this device has no valve that is computed",
                    Ignored::NoPower => "the device has no power or has not started yet",
                    Ignored::WriteProtected => "the device is write-protected",
                    Ignored::Locked => "the device is locked against all",
                    Ignored::Calibrating => "a calibration is running",
                    Ignored::Simulated => "a master simulates the set point",
                    Ignored::NoCurrent => "there is no loop current",
                    Ignored::Both => "\"open\" and \"close\" are both pressed",
                    Ignored::NoChange => "it was like that before",
                    Ignored::NothingToDo => "there is nothing to take note of, to end or to give back",
                };
                write!(f, "\"{}\" does nothing: {why}", key.words())
            }
        }
    }
}
