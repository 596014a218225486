//! The few things that safekeeping asks of a disk [DV-03], so that tests can put one in their place
//! that fails, or whose power goes, at any call.

use crate::capture::sync_directory;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

/// A disk. What was written to a file, and what was renamed in a directory, has reached it for
/// certain only when that file, that directory was synchronised.
pub(super) trait Disk {
    /// A file that is open for writing.
    type File;

    /// Opens an empty file of this name; what was in it is gone.
    fn create(&mut self, path: &Path) -> io::Result<Self::File>;
    /// Writes some of `octets` at the file's end; says how many.
    fn write(&mut self, file: &mut Self::File, octets: &[u8]) -> io::Result<usize>;
    /// Waits until the file's content has reached the disk.
    fn sync_file(&mut self, file: &mut Self::File) -> io::Result<()>;
    /// Gives a file the name `to`, in the place of the one that has it.
    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()>;
    /// Waits until the names in the directory have reached the disk.
    fn sync_directory(&mut self, directory: &Path) -> io::Result<()>;
}

/// The machine's own.
pub(super) struct RealDisk;

impl Disk for RealDisk {
    type File = File;

    fn create(&mut self, path: &Path) -> io::Result<File> {
        File::create(path)
    }

    fn write(&mut self, file: &mut File, octets: &[u8]) -> io::Result<usize> {
        file.write(octets)
    }

    fn sync_file(&mut self, file: &mut File) -> io::Result<()> {
        file.sync_all()
    }

    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()> {
        fs::rename(from, to)
    }

    fn sync_directory(&mut self, directory: &Path) -> io::Result<()> {
        sync_directory(directory)
    }
}

#[cfg(test)]
pub(super) mod simulated;
