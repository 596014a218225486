//! What a recording of the loop's signal tells.

use super::TriageArgs;
use crate::cli::output::{Failure, tell};
use crate::cli::wave_talkers::talkers_in;
use crate::report::wave::{Told, findings};
use crate::wave::RecordingOptions;

/// Reads the recording that was named; nothing where none was.
///
/// # Errors
/// It cannot be read.
pub fn told(args: &TriageArgs) -> Result<Told, Failure> {
    let Some(path) = &args.wave else { return Ok(Told::default()) };
    let of = &args.recording;
    let options = RecordingOptions { channel: of.channel - 1, rate_hz: of.rate, full_scale_v: of.full_scale };
    let talked = talkers_in(path, options)?;
    talked.notes.iter().for_each(|note| tell(&format!("reading {}: {note}", path.display())));
    Ok(findings(&talked.talkers, talked.scale))
}
