//! What a recording of the loop's signal tells.

use super::TriageArgs;
use crate::cli::output::{Failure, tell};
use crate::cli::wave_talkers::{Talked, talkers_in};
use crate::report::wave::{Beside, Told, findings};
use crate::wave::{MOST_ON_A_LOOP_V, RecordingOptions};

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
/// It cannot be read, or its scale cannot be.
pub fn told(args: &TriageArgs) -> Result<Waved, Failure> {
    let Some(path) = &args.wave else { return Ok(Waved::default()) };
    let of = &args.recording;
    let options = RecordingOptions { channel: of.channel - 1, rate_hz: of.rate, full_scale_v: of.full_scale };
    let talked = talkers_in(path, options)?;
    // The strongest tone of all, peak to peak [TG-34].
    let loudest = talked.talkers.iter().map(|t| t.most_peak_to_peak()).fold(0.0, f64::max);
    if talked.scale.volts && loudest > MOST_ON_A_LOOP_V {
        return Err(Failure::new(
            format!("reading {}", path.display()),
            format!(
                "its signal has {loudest:.0} V peak to peak, and no loop carries more than {MOST_ON_A_LOOP_V:.0}"
            ),
            "give the volts that full scale really stands for with --full-scale, by the recorder's sheet (a probe that divides by ten makes ten times as many), or look at the unit of the table; left out, all but the level is told",
        ));
    }
    talked.notes.iter().for_each(|note| tell(&format!("reading {}: {note}", path.display())));
    let mut waved = Waved { talked: Some(talked), ..Waved::default() };
    waved.look_for("");
    Ok(waved)
}
