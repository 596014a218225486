//! What a recording of the loop's signal tells.

use super::TriageArgs;
use crate::cli::output::{Failure, tell};
use crate::cli::wave_talkers::{Talked, talkers_in};
use crate::report::wave::{Beside, Told, findings};
use crate::wave::RecordingOptions;

/// A recording that was read.
#[derive(Default)]
pub struct Waved {
    /// What it tells.
    pub told: Told,
    talked: Option<Talked>,
}

impl Waved {
    /// The device of this unique address, ten hex digits, answered on the bus, and it is the one that is looked at [WV-20]; empty: none did.
    pub fn look_for(&mut self, unique_address: &str) {
        if let Some(t) = &self.talked {
            let beside = Beside { device: unique_address.to_owned(), is_still: t.is_still };
            self.told = findings(&t.talkers, t.scale, &beside);
        }
    }
}

/// Reads the recording that was named; nothing where none was.
///
/// # Errors
/// It cannot be read.
pub fn told(args: &TriageArgs) -> Result<Waved, Failure> {
    let Some(path) = &args.wave else { return Ok(Waved::default()) };
    let of = &args.recording;
    let options = RecordingOptions { channel: of.channel - 1, rate_hz: of.rate, full_scale_v: of.full_scale };
    let talked = talkers_in(path, options)?;
    talked.notes.iter().for_each(|note| tell(&format!("reading {}: {note}", path.display())));
    let mut waved = Waved { talked: Some(talked), ..Waved::default() };
    waved.look_for("");
    Ok(waved)
}
