//! What a log is written to: a file of this machine, or, in tests, something that fails or forgets.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Something that a log can be appended to.
pub trait LogStore: Write {
    /// Waits until everything that was written has reached the disk.
    ///
    /// # Errors
    /// The disk fails.
    fn sync(&mut self) -> io::Result<()>;
}

/// A file that is only appended to, locked (on Unix) as long as this lives.
#[derive(Debug)]
pub struct LogFile {
    file: File,
    /// The directory that it was created in, until that has reached the disk as well.
    new_in: Option<PathBuf>,
}

impl LogFile {
    /// Opens or creates it; `None` if somebody else has locked it.
    pub(super) fn open(path: &Path) -> io::Result<Option<LogFile>> {
        let is_new = path.symlink_metadata().is_err();
        let file = OpenOptions::new().read(true).append(true).create(true).open(path)?;
        // A file system that knows no locks forbids nobody to write, and elsewhere than on Unix a lock
        // would keep others from reading.
        if cfg!(unix) && matches!(file.try_lock(), Err(TryLockError::WouldBlock)) {
            return Ok(None);
        }
        Ok(Some(LogFile { file, new_in: is_new.then(|| directory_of(path).to_owned()) }))
    }

    /// Its length, its first octets, `most` of them at the most, and its last one.
    pub(super) fn look(&mut self, most: u64) -> io::Result<(u64, Vec<u8>, Option<u8>)> {
        let mut start = Vec::new();
        (&self.file).take(most).read_to_end(&mut start)?;
        let mut last = None;
        if !start.is_empty() {
            let mut octet = [0];
            self.file.seek(SeekFrom::End(-1))?;
            self.file.read_exact(&mut octet)?;
            last = Some(octet[0]);
        }
        Ok((self.file.metadata()?.len(), start, last))
    }
}

impl Write for LogFile {
    fn write(&mut self, octets: &[u8]) -> io::Result<usize> {
        self.file.write(octets)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl LogStore for LogFile {
    fn sync(&mut self) -> io::Result<()> {
        self.file.sync_data()?;
        let Some(directory) = self.new_in.take() else { return Ok(()) };
        match sync_directory(&directory) {
            // Not every file system does that for directories; the content is safe.
            Err(e) if !matches!(e.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) => {
                self.new_in = Some(directory);
                Err(e)
            }
            _ => Ok(()),
        }
    }
}

/// The directory that a file is in.
pub fn directory_of(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if parent != Path::new("") => parent,
        _ => Path::new("."),
    }
}

/// Waits until the names in a directory have reached the disk. Only Unix lets us.
///
/// # Errors
/// The disk fails, or the directory cannot be opened.
pub fn sync_directory(directory: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(directory)?.sync_all() } else { Ok(()) }
}
