//! What a line tells of a valve that has a fault: first whatever the bus tells without moving anything, then, with leave, a few
//! strokes [TG-09].
//!
//! [`watch()`] collects, raw, into a [`Watched`]; [`findings()`] judges that and does nothing else. Nothing moves unless a
//! stimulus is handed over and the person gives leave; in the end the set point is left as before.

mod collect;
mod findings;
mod strokes;
mod watched;
mod who;

pub use findings::findings;
pub use watched::{Asked, Calibration, Elsewhere, FORMAT, Heard, Hold, Stroke, Supply, Watched};
pub use who::identified;

use crate::commission::person::Person;
use crate::commission::travel::{Reading, Readings};
use crate::host::{Device, Stimulus, Talk, To};
use collect::Collector;

/// What is known before.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// Where numbers are read; `None`: as [`Readings::usual`] has it.
    pub readings: Option<Readings>,
    /// Where the supply pressure is read; `None`: of a device whose type is described the only variable that is a pressure.
    pub supply: Option<Reading>,
    /// What the supply pressure should be, kPa above ambient, by plate or person.
    pub plate_kpa: Option<f64>,
    /// The tag of the device that is looked for, where it is known and not what names it.
    pub tag: Option<String>,
    /// Its unique address, ten hex digits, where it is known from an earlier session.
    pub unique_address: Option<String>,
}

/// Collects what the bus tells without moving anything; the device where one answered, at its place or elsewhere. Takes a minute
/// on a wire, half of it at one set point.
pub fn look(talk: &mut dyn Talk, to: &To, options: &Options) -> (Watched, Option<Device>) {
    let mut collector = Collector::new(talk, options);
    collector.out.to = to.to_string();
    let done = collector.whole(to);
    collector.end(done)
}

/// Asks for leave, strokes the valve (50, 60, 50, 100, 0, 100 and 50 % by whoever moves the set point) and adds what was seen. The
/// question is `triage/move` (yes or no); whoever moves the set point may ask more. Nothing is moved where the travel of the device is not known.
pub fn stroke(
    talk: &mut dyn Talk,
    device: Device,
    stimulus: &mut dyn Stimulus,
    person: &mut dyn Person,
    options: &Options,
    watched: Watched,
) -> Watched {
    strokes::run(talk, device, stimulus, person, options, watched)
}

/// Both, the strokes where there is a stimulus and a device that answers.
pub fn watch(
    talk: &mut dyn Talk,
    to: &To,
    stimulus: Option<&mut dyn Stimulus>,
    person: &mut dyn Person,
    options: &Options,
) -> Watched {
    let (watched, device) = look(talk, to, options);
    match (stimulus, device) {
        (Some(stimulus), Some(device)) => stroke(talk, device, stimulus, person, options, watched),
        _ => watched,
    }
}
