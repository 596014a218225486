//! Who moves the set point in a test [TV-31].

use super::Ask;
use crate::time::Instant;
use core::fmt;
use core::time::Duration;
use serde::{Deserialize, Serialize};

/// Whoever moves the set point: a bench, a positioner's own command, or a person at a calibrator. It moves a valve only when one
/// of its methods is called.
///
/// Every method is handed the host, so that one that works by a command asks over the same line; the others use it only for its
/// clock and to let time pass ([`Ask::now`], [`Ask::rest`]).
pub trait Stimulus {
    /// Who moves the set point, for people: "the person at the calibrator", "command 129 of the device".
    fn describe(&self) -> String;

    /// What else it can do.
    fn capabilities(&self) -> Capabilities;

    /// Moves the set point.
    ///
    /// # Errors
    /// It could not be moved; what it is now is then not known, unless the error says so.
    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError>;

    /// Takes something away from the valve, or gives it back.
    ///
    /// # Errors
    /// As [`Stimulus::set`]; [`StimulusError::Cannot`] for what [`Stimulus::capabilities`] does not have.
    fn act(&mut self, ask: &mut dyn Ask, act: Act) -> Result<Given, StimulusError>;

    /// Gives back whatever was taken away, and puts the set point where it is to stay; called once at the end, also after a failure
    /// or when the person stopped the test. Says where the set point is left.
    ///
    /// # Errors
    /// As [`Stimulus::set`].
    fn leave(&mut self, ask: &mut dyn Ask) -> Result<LeftAt, StimulusError>;

    /// What is taken away and was not given back, or of which nobody has said so.
    fn still_taken(&self) -> Vec<Act> {
        Vec::new()
    }

    /// Where the set point is as far as is known when it could not be left: the one that was told last, why it stays, and how to give it
    /// back; `None` where nothing is known.
    fn stays(&self) -> Option<LeftAt> {
        None
    }

    /// What is to be known of the set point if nothing more is ever heard: that it is about to be told this, that it was not given back, and how to
    /// give it back. Asked for before each [`Stimulus::set`] and kept in a record ahead of the move [TV-95]; moves nothing.
    ///
    /// # Errors
    /// As [`Stimulus::set`].
    fn ahead(&mut self, _: &mut dyn Ask, to: SetPoint) -> Result<String, StimulusError> {
        Ok(format!(
            "Told last: {:.2} % ({:.2} mA) by {}, and never given back.",
            to.percent(),
            to.current_ma(),
            self.describe()
        ))
    }

    /// Where the set point will be left, a sentence for people, said before anything moves.
    fn will_leave(&self) -> String {
        "In the end the set point is left where it belongs: the valve strokes to it.".to_owned()
    }
}

/// Where the set point is to go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SetPoint {
    /// Loop current, mA, 3.6 to 22.5.
    CurrentMa(f64),
    /// Percent of the set point's range, 0 at 4 mA and 100 at 20 mA; -2.5 to 106.25.
    Percent(f64),
}

impl SetPoint {
    /// As a current, mA: 4 + 16 x percent / 100 [WI-01].
    pub fn current_ma(self) -> f64 {
        match self {
            SetPoint::CurrentMa(ma) => ma,
            SetPoint::Percent(percent) => 4.0 + percent * 0.16,
        }
    }

    /// In percent of 4 to 20 mA [WI-01].
    pub fn percent(self) -> f64 {
        match self {
            SetPoint::CurrentMa(ma) => (ma - 4.0) / 0.16,
            SetPoint::Percent(percent) => percent,
        }
    }
}

/// What is taken away from a valve, or given back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    /// The loop is opened: no current. Not on a loop that feeds other devices.
    LoseCurrent,
    /// The loop is closed again.
    RestoreCurrent,
    /// The supply of air is shut and vented.
    LoseAir,
    /// The supply of air is opened again.
    RestoreAir,
    /// The trip is called for, such as a solenoid valve without power. Needs the site's leave.
    Trip,
    /// The trip is taken back.
    ResetTrip,
}

impl Act {
    /// What is away while an act that takes something is in force, and how it comes back; sentences for people.
    pub fn away(self) -> &'static str {
        match self {
            Act::LoseCurrent | Act::RestoreCurrent => {
                "The loop current was taken away, and nobody said that it was given back: close the loop."
            }
            Act::LoseAir | Act::RestoreAir => {
                "The air supply was shut, and nobody said that it was given back: open it, slowly; the valve moves when the air comes."
            }
            Act::Trip | Act::ResetTrip => {
                "The valve was tripped, and nobody said that this was taken back: reset the trip by the site's procedure."
            }
        }
    }
}

/// What a stimulus can do besides moving the set point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Capabilities {
    /// It sets a loop current; where not, it writes the set point by itself and what is in the loop does not show.
    pub sets_current: bool,
    /// It can open the loop.
    pub current: bool,
    /// It can shut the air.
    pub air: bool,
    /// It can trip the valve.
    pub trip: bool,
    /// A person does it: slow, and the moment is known only as well as the person pressed the key.
    pub is_person: bool,
}

impl Capabilities {
    /// Whether an act is among them.
    pub fn can(&self, act: Act) -> bool {
        match act {
            Act::LoseCurrent | Act::RestoreCurrent => self.current,
            Act::LoseAir | Act::RestoreAir => self.air,
            Act::Trip | Act::ResetTrip => self.trip,
        }
    }
}

/// That something was done, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Given {
    /// The moment on the clock of the host's line: the best that is known.
    pub at: Instant,
    /// By how much the moment may be wrong, either way; zero on virtual time.
    pub uncertain: Duration,
}

/// Where a set point is left.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftAt {
    /// Percent of the set point's range; `None` where it is not known.
    pub percent: Option<f64>,
    /// A sentence for people: "The set point follows the loop current again."
    pub words: String,
}

/// Why no more questions are answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Why {
    /// The person said so.
    Said,
    /// The terminal was closed, or the file of answers has none for this question.
    Gone,
    /// What was typed or written could not be understood, and nothing came behind it.
    Nonsense,
}

impl Why {
    /// A few words for people.
    pub fn words(self) -> &'static str {
        match self {
            Why::Said => "the person stopped it",
            Why::Gone => {
                "the person's answers came to their end (end of the input or of the file of answers; not the device)"
            }
            Why::Nonsense => "what was typed or written could not be understood, and nothing came behind it",
        }
    }
}

/// Why the set point could not be moved.
#[derive(Debug)]
pub enum StimulusError {
    /// It has no way to do that.
    Cannot {
        /// What it cannot do, as the end of "... cannot".
        what: String,
    },
    /// It tried and failed, such as a device that refused or a bench that is gone.
    Failed {
        /// What happened.
        what: String,
        /// What to do next.
        next: String,
    },
    /// The person stopped the test, or there was none any more.
    Stopped(Why),
    /// The host could not ask.
    Host(super::HostError),
}

impl fmt::Display for StimulusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            StimulusError::Cannot { what } => write!(f, "whoever moves the set point cannot {what}"),
            StimulusError::Failed { what, next } => {
                write!(f, "moving the set point: {what}\n  next: {next}")
            }
            StimulusError::Stopped(why) => write!(f, "stopped: {}", why.words()),
            StimulusError::Host(e) => e.fmt(f),
        }
    }
}

impl std::error::Error for StimulusError {}

impl From<super::HostError> for StimulusError {
    fn from(e: super::HostError) -> Self {
        StimulusError::Host(e)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// percent = (I - 4)/16 x 100 [WI-01]: 12 mA are 50 %, 21.0 mA 106.25 %.
    #[test]
    fn current_and_percent() {
        assert_eq!(SetPoint::Percent(50.0).current_ma(), 12.0);
        assert!((SetPoint::CurrentMa(21.0).percent() - 106.25).abs() < 1e-12);
        assert_eq!(SetPoint::CurrentMa(7.5).current_ma(), 7.5);
        assert_eq!(SetPoint::Percent(33.0).percent(), 33.0);
    }

    #[test]
    fn acts_and_capabilities() {
        let air = Capabilities { air: true, ..Capabilities::default() };
        assert!(air.can(Act::LoseAir) && air.can(Act::RestoreAir));
        assert!(!air.can(Act::LoseCurrent) && !air.can(Act::Trip) && !air.can(Act::ResetTrip));
    }
}
