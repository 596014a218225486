//! `looprig wave`: the tones made and read.

use super::output::{Ended, Failure, Output};
use super::wave_args::{WaveAction, WaveArgs};
use super::{wave_make, wave_read};

/// Does what is asked.
pub fn run(args: &WaveArgs, out: &mut Output) -> Result<Ended, Failure> {
    match &args.action {
        WaveAction::Make(a) => wave_make::run(a, out),
        WaveAction::Read(a) => wave_read::run(a, out),
    }
}
