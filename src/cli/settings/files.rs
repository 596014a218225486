//! The files that `looprig settings` reads.

use crate::app::command::Catalogue;
use crate::capture::io_words;
use crate::cli::output::Failure;
use crate::commission::settings::{FileError, Settings, from_text_by, shared_from_text};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Longest settings file, octets: far more than a device has settings.
const LONGEST: u64 = 1 << 20;

/// Reads a file of settings; devices' own commands by the catalogue.
pub fn read_file(path: &Path, catalogue: &Catalogue) -> Result<Settings, Failure> {
    read_by(path, |text| from_text_by(text, catalogue))
}

/// As [`read_file`], where sections of devices' own commands are of no use: those that nothing describes are passed over.
pub fn read_shared(path: &Path, catalogue: &Catalogue) -> Result<Settings, Failure> {
    read_by(path, |text| shared_from_text(text, catalogue))
}

fn read_by(path: &Path, read: impl Fn(&str) -> Result<Settings, FileError>) -> Result<Settings, Failure> {
    let doing = || format!("reading the settings in {}", path.display());
    let named = "name a file that `looprig settings save` wrote";
    let failed = |e: io::Error| Failure::new(doing(), io_words(&e), named);
    let file = File::open(path).map_err(failed)?;
    let mut octets = Vec::new();
    file.take(LONGEST + 1).read_to_end(&mut octets).map_err(failed)?;
    if octets.len() as u64 > LONGEST {
        return Err(Failure::new(doing(), "it is larger than 1 MiB", named));
    }
    let text =
        String::from_utf8(octets).map_err(|_| Failure::new(doing(), "it is no text in UTF-8", named))?;
    read(&text).map_err(|e| {
        let place = format!("{}:{}:{}", path.display(), e.place.line, e.place.column);
        Failure::new(format!("reading settings: {place}"), e.place.below(&e.wrong), e.right)
    })
}
