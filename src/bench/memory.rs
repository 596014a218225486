//! The memory image of a device as a file [DV-03] [DV-04].

use crate::capture::io_words;
use core::fmt;
use std::fs::{self, File};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// Longest image that is read, octets; ours have a few hundred. What is longer is corrupt anyway, by
/// its own length field.
const LONGEST: u64 = 1 << 20;

/// How many bad images of one device are kept aside.
const MOST_BAD: u32 = 1000;

/// A memory file that the system does not let us read, write or move.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MemoryError {
    /// What was being done, such as `writing`.
    pub doing: &'static str,
    /// The file.
    pub path: PathBuf,
    /// What the system says, in words.
    pub said: String,
}

impl fmt::Display for MemoryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} the memory file {}: {}", self.doing, self.path.display(), self.said)
    }
}

impl std::error::Error for MemoryError {}

fn error(doing: &'static str, path: &Path) -> impl Fn(io::Error) -> MemoryError {
    move |e| MemoryError { doing, path: path.to_path_buf(), said: io_words(&e) }
}

/// The image in `path`; `None` when there is no such file.
pub(super) fn load(path: &Path) -> Result<Option<Vec<u8>>, MemoryError> {
    let failed = error("reading", path);
    let file = match File::open(path) {
        Ok(file) => file,
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(failed(e)),
    };
    let mut image = Vec::new();
    file.take(LONGEST).read_to_end(&mut image).map_err(failed)?;
    Ok(Some(image))
}

/// Puts `image` in the place of `path` so that at every moment either the old or the new one is
/// there, whole, and the new one has reached the disk when this returns.
pub(super) fn save(path: &Path, image: &[u8]) -> Result<(), MemoryError> {
    let failed = error("writing", path);
    let new = with_suffix(path, ".new");
    let write = || -> io::Result<()> {
        let mut file = File::create(&new)?;
        file.write_all(image)?;
        file.sync_all()?;
        fs::rename(&new, path)?;
        // The new name is on the disk only when the directory is.
        #[cfg(unix)]
        File::open(directory(path))?.sync_all()?;
        Ok(())
    };
    write().map_err(failed)
}

/// Moves a bad image to the first free name of `FILE.bad-1`, `FILE.bad-2` and so on; gives that name.
pub(super) fn keep_aside(path: &Path) -> Result<PathBuf, MemoryError> {
    let failed = error("keeping aside", path);
    for n in 1..=MOST_BAD {
        let aside = with_suffix(path, &format!(".bad-{n}"));
        // A link, unlike a rename, never replaces what is there.
        match fs::hard_link(path, &aside) {
            Ok(()) => fs::remove_file(path).map_err(&failed)?,
            Err(e) if e.kind() == ErrorKind::AlreadyExists => continue,
            // A file system without links.
            Err(_) if aside.symlink_metadata().is_err() => fs::rename(path, &aside).map_err(&failed)?,
            Err(_) => continue,
        }
        return Ok(aside);
    }
    Err(failed(io::Error::other(format!("there are {MOST_BAD} bad images already: delete some"))))
}

fn with_suffix(path: &Path, suffix: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(suffix);
    PathBuf::from(name)
}

/// The directory that a file is in.
#[cfg(unix)]
fn directory(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if parent != Path::new("") => parent,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scratch(name: &str) -> PathBuf {
        let dir = std::env::temp_dir().join(format!("looprig-memory-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&dir);
        fs::create_dir_all(&dir).unwrap();
        dir
    }

    #[test]
    fn an_image_is_replaced_whole() {
        let dir = scratch("replace");
        let path = dir.join("m.image");
        assert_eq!(load(&path), Ok(None));
        save(&path, b"first, the longer one").unwrap();
        save(&path, b"second").unwrap();
        assert_eq!(load(&path), Ok(Some(b"second".to_vec())));
        assert_eq!(fs::read_dir(&dir).unwrap().count(), 1, "nothing else is left behind");
        fs::remove_dir_all(dir).unwrap();
    }

    #[test]
    fn bad_images_never_replace_each_other() {
        let dir = scratch("aside");
        let path = dir.join("m.image");
        for n in 1..=3u8 {
            fs::write(&path, [n]).unwrap();
            assert_eq!(keep_aside(&path).unwrap(), dir.join(format!("m.image.bad-{n}")));
            assert_eq!(load(&path), Ok(None));
        }
        for n in 1..=3u8 {
            assert_eq!(fs::read(dir.join(format!("m.image.bad-{n}"))).unwrap(), [n]);
        }
        fs::remove_dir_all(dir).unwrap();
    }

    #[test]
    fn what_cannot_be_is_told() {
        let dir = scratch("refused");
        let text = load(&dir).unwrap_err().to_string();
        assert!(text.starts_with("reading the memory file "), "{text}");
        let text = save(&dir.join("none/m.image"), b"x").unwrap_err().to_string();
        assert!(text.starts_with("writing the memory file ") && text.contains("m.image"), "{text}");
        assert!(keep_aside(&dir.join("none")).is_err());
        fs::remove_dir_all(dir).unwrap();
    }
}
