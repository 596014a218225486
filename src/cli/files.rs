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

/// Sees before the work, and not behind it, that a file can be put where it is to go.
///
/// # Errors
/// There is no such directory.
pub fn has_place(path: &Path, doing: &str) -> Result<(), Failure> {
    let parent = path.parent().filter(|p| !p.as_os_str().is_empty());
    match parent {
        Some(directory) if !directory.is_dir() => {
            let wrong = format!("there is no directory {}", directory.display());
            Err(Failure::new(doing, wrong, "make it first, or name another place"))
        }
        _ => Ok(()),
    }
}

/// Tries before the work whether a file can be written where it is to go, and leaves nothing there.
///
/// # Errors
/// It cannot: no leave, a directory, a device that takes nothing.
pub fn can_write(path: &Path, doing: &str) -> Result<(), Failure> {
    let fail = |e: io::Error| failed(doing, &e);
    if path.is_dir() {
        return Err(fail(ErrorKind::IsADirectory.into()));
    }
    if is_special(path) {
        // A pipe has somebody who reads it, and would take what is tried for all there is; a blank line in front hurts no page and no JSON.
        let kind = fs::metadata(path).map(|m| is_character_device(&m)).unwrap_or(false);
        let tried = || OpenOptions::new().write(true).open(path)?.write_all(b"\n");
        return if kind { tried().map_err(fail) } else { Ok(()) };
    }
    let (tried, file) = beside(path).map_err(fail)?;
    drop(file);
    fs::remove_file(tried).map_err(fail)
}

#[cfg(unix)]
fn is_character_device(of: &fs::Metadata) -> bool {
    std::os::unix::fs::FileTypeExt::is_char_device(&of.file_type())
}

#[cfg(not(unix))]
fn is_character_device(_: &fs::Metadata) -> bool {
    false
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

/// A file that grows piece by piece. One that exists is not touched, unless it is to be replaced: then it stays until the new
/// one is whole.
pub struct Growing {
    to: Box<dyn Write + Send>,
    file: Option<File>,
    /// Where it is written, and where it is to be in the end.
    rename: Option<(PathBuf, PathBuf)>,
    doing: String,
}

impl Growing {
    /// Opens or creates it; `-` is standard output. A pipe or a device is written to as it is.
    ///
    /// # Errors
    /// It exists and is not to be replaced, or cannot be created.
    pub fn create(path: &Path, force: bool, doing: &str) -> Result<Growing, Failure> {
        let fail = |e: io::Error| failed(doing, &e);
        let growing =
            |to: Box<dyn Write + Send>, file, rename| Growing { to, file, rename, doing: doing.to_owned() };
        if path == Path::new("-") {
            return Ok(growing(Box::new(io::stdout()), None, None));
        }
        if is_special(path) {
            let file = OpenOptions::new().write(true).open(path).map_err(fail)?;
            return Ok(growing(Box::new(file), None, None));
        }
        let (file, rename) = if force && path.exists() {
            let (beside, file) = beside(path).map_err(fail)?;
            (file, Some((beside, path.to_owned())))
        } else {
            let file = OpenOptions::new().write(true).create_new(true).open(path);
            let exists = |e: io::Error| {
                if e.kind() == ErrorKind::AlreadyExists { exists(doing) } else { failed(doing, &e) }
            };
            (file.map_err(exists)?, None)
        };
        let again = file.try_clone().map_err(fail)?;
        Ok(growing(Box::new(file), Some(again), rename))
    }

    /// Hands octets to the system, so that whoever reads the file can see them.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn write(&mut self, octets: &[u8]) -> Result<(), Failure> {
        if octets.is_empty() {
            return Ok(());
        }
        let written = self.to.write_all(octets).and_then(|()| self.to.flush());
        written.map_err(|e| failed(&self.doing, &e))
    }

    /// Waits until it has reached the disk, and puts it in its place.
    ///
    /// # Errors
    /// The disk fails.
    pub fn finish(&mut self) -> Result<(), Failure> {
        let synced = self.file.as_ref().map_or(Ok(()), File::sync_all);
        let placed = synced.and_then(|()| match self.rename.take() {
            Some((from, to)) => fs::rename(from, to),
            None => Ok(()),
        });
        placed.map_err(|e| failed(&self.doing, &e))
    }
}

impl Drop for Growing {
    /// What was not finished replaces nothing.
    fn drop(&mut self) {
        if let Some((beside, _)) = &self.rename {
            let _ = fs::remove_file(beside);
        }
    }
}

/// Whether it is a pipe, a device or the like, which holds nothing that could be lost.
pub fn is_special(path: &Path) -> bool {
    fs::metadata(path).is_ok_and(|m| !m.is_file() && !m.is_dir())
}

/// Refuses a file that is to be written where it is one of those that are read: what it holds would be gone, `--force` or not.
///
/// # Errors
/// It is.
pub fn is_no_input<'a>(
    path: &Path,
    inputs: impl IntoIterator<Item = &'a Path>,
    doing: &str,
) -> Result<(), Failure> {
    let place = |p: &Path| fs::canonicalize(p).ok();
    let Some(out) = place(path).filter(|_| !is_special(path)) else { return Ok(()) };
    match inputs.into_iter().any(|input| place(input).is_some_and(|input| input == out)) {
        true => Err(Failure::new(
            doing,
            "the same file is read, and writing it would destroy what it holds",
            "name another file to write",
        )),
        false => Ok(()),
    }
}

/// A file that cannot be written, with what to do.
pub fn failed(doing: &str, e: &io::Error) -> Failure {
    let next = match e.kind() {
        ErrorKind::NotFound => "make the directory first, or name one that exists",
        ErrorKind::PermissionDenied => "name a file in a directory where you may write",
        ErrorKind::BrokenPipe => "whoever read it has ended; start that and this again",
        ErrorKind::IsADirectory => "name a file in that directory",
        _ => "name another file or make room",
    };
    Failure::new(doing, io_words(e), next)
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
