//! Files that commands write whole or not at all.

use super::output::Failure;
use crate::capture::io_words;
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

/// A file that is not to be overwritten.
pub fn exists(doing: &str) -> Failure {
    Failure::new(
        doing,
        "the file exists, and what it holds may be wanted",
        "name another file, or add --force to overwrite it",
    )
}

/// Writes a file whole or not at all: what is there stays until the new one is on the disk.
pub fn write_file(path: &Path, text: &str, force: bool, doing: &str) -> Result<(), Failure> {
    if is_special(path) {
        // A pipe or a device is written to, never put in another's place.
        let file = OpenOptions::new().write(true).open(path);
        return file.and_then(|mut f| f.write_all(text.as_bytes())).map_err(|e| failed(doing, &e));
    }
    let put = |file: &mut File| file.write_all(text.as_bytes()).and_then(|()| file.sync_all());
    let (written, remains) = if force {
        let (beside, mut file) = beside(path).map_err(|e| failed(doing, &e))?;
        (put(&mut file).and_then(|()| fs::rename(&beside, path)), beside)
    } else {
        let file = OpenOptions::new().write(true).create_new(true).open(path);
        let mut file = file.map_err(|e| {
            if e.kind() == ErrorKind::AlreadyExists { exists(doing) } else { failed(doing, &e) }
        })?;
        (put(&mut file), path.to_owned())
    };
    written.map_err(|e| {
        // It was made just now, by us.
        let _ = fs::remove_file(remains);
        failed(doing, &e)
    })
}

/// Whether it is a pipe, a device or the like, which holds nothing that could be lost.
pub fn is_special(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|m| !m.is_file() && !m.is_dir())
}

fn failed(doing: &str, e: &io::Error) -> Failure {
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
