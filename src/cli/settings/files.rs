//! The files that `looprig settings` reads and writes.

use crate::app::command::Catalogue;
use crate::capture::io_words;
use crate::cli::output::Failure;
use crate::commission::settings::{Settings, from_text_by};
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// Longest settings file, octets: far more than a device has settings.
const LONGEST: u64 = 1 << 20;

pub(super) fn read_file(path: &Path, catalogue: &Catalogue) -> Result<Settings, Failure> {
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
    from_text_by(&text, catalogue).map_err(|e| {
        let place = format!("{}:{}:{}", path.display(), e.place.line, e.place.column);
        Failure::new(format!("reading settings: {place}"), e.place.below(&e.wrong), e.right)
    })
}

pub(super) fn exists(path: &Path) -> Failure {
    Failure::new(
        format!("saving settings to {}", path.display()),
        "the file exists, and what it holds may be wanted",
        "name another file, or add --force to overwrite it",
    )
}

/// Writes a file whole or not at all: what is there stays until the new one is on the disk.
pub(super) fn write_file(path: &Path, text: &str, force: bool) -> Result<(), Failure> {
    let put = |file: &mut File| file.write_all(text.as_bytes()).and_then(|()| file.sync_all());
    let (written, remains) =
        if force {
            let (beside, mut file) = beside(path).map_err(|e| failed(path, &e))?;
            (put(&mut file).and_then(|()| fs::rename(&beside, path)), beside)
        } else {
            let file = OpenOptions::new().write(true).create_new(true).open(path);
            let mut file = file.map_err(|e| {
                if e.kind() == ErrorKind::AlreadyExists { exists(path) } else { failed(path, &e) }
            })?;
            (put(&mut file), path.to_owned())
        };
    written.map_err(|e| {
        // It was made just now, by us.
        let _ = fs::remove_file(remains);
        failed(path, &e)
    })
}

fn failed(path: &Path, e: &io::Error) -> Failure {
    let doing = format!("saving settings to {}", path.display());
    Failure::new(doing, io_words(e), "name another file or make room")
}

/// A new file in the same directory, under a name that nobody has: what is there is not ours to overwrite.
fn beside(path: &Path) -> io::Result<(PathBuf, File)> {
    let mut last = io::Error::from(ErrorKind::AlreadyExists);
    for n in 0..100 {
        let mut name = path.as_os_str().to_owned();
        name.push(if n == 0 { ".new".to_owned() } else { format!(".new{n}") });
        let name = PathBuf::from(name);
        match OpenOptions::new().write(true).create_new(true).open(&name) {
            Ok(file) => return Ok((name, file)),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => last = e,
            Err(e) => return Err(e),
        }
    }
    Err(last)
}
