//! The memory image of a device as a file [DV-03] [DV-04].

use super::disk::{Disk, RealDisk};
use crate::capture::{directory_of, io_words};
use core::fmt;
use std::fs::{self, File, TryLockError};
use std::io::{self, ErrorKind, Read};
use std::path::{Path, PathBuf};

/// Longest image that is read, octets; ours have a few hundred. What is longer is corrupt anyway, by
/// its own length field.
const LONGEST: u64 = 1 << 20;

/// How many bad images of one device are kept aside.
const MOST_BAD: u32 = 1000;

/// How often a claim is tried anew that somebody has given up at that very moment.
const MOST_CLAIMS: u32 = 100;

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

/// A memory file that is ours alone as long as this lives: two mocks in turn would undo each other's
/// writes. The mark is a locked file beside it, for the memory file itself is replaced by every write.
#[derive(Debug)]
pub(super) struct Claim {
    path: PathBuf,
    file: File,
}

/// Claims a memory file; `None` while somebody else has it. What a mock that was killed has left is no
/// claim.
pub(super) fn claim(path: &Path) -> Result<Option<Claim>, MemoryError> {
    let failed = error("claiming", path);
    let path = with_suffix(path, ".lock");
    for _ in 0..MOST_CLAIMS {
        let file = File::options().write(true).create(true).truncate(false).open(&path).map_err(&failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Ok(None),
            // A file system that knows no locks: nobody can be told from anybody.
            Err(TryLockError::Error(e)) if e.kind() == ErrorKind::Unsupported => {}
            Err(TryLockError::Error(e)) => return Err(failed(e)),
        }
        if is_at(&file, &path) {
            return Ok(Some(Claim { path, file }));
        }
        // Whoever had it has removed it between our opening and our locking.
    }
    Ok(None)
}

impl Drop for Claim {
    fn drop(&mut self) {
        // Only as long as it is locked and is the one that others would lock.
        if cfg!(unix) && is_at(&self.file, &self.path) {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Whether `path` leads to this very file.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let place = |m: &fs::Metadata| (m.dev(), m.ino());
    matches!((file.metadata(), fs::metadata(path)), (Ok(a), Ok(b)) if place(&a) == place(&b))
}

/// Elsewhere a file that is open cannot be removed.
#[cfg(not(unix))]
fn is_at(_: &File, _: &Path) -> bool {
    true
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
    replace(&mut RealDisk, path, image).map_err(error("writing", path))
}

fn replace<D: Disk>(disk: &mut D, path: &Path, image: &[u8]) -> io::Result<()> {
    let new = with_suffix(path, ".new");
    let mut file = disk.create(&new)?;
    let mut rest = image;
    while !rest.is_empty() {
        match disk.write(&mut file, rest) {
            Ok(0) => return Err(ErrorKind::WriteZero.into()),
            Ok(n) => rest = &rest[n..],
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(e) => return Err(e),
        }
    }
    // The content before the name: else the name could lead to an image that is not there yet.
    disk.sync_file(&mut file)?;
    disk.rename(&new, path)?;
    // The new name is on the disk only when the directory is.
    disk.sync_directory(directory_of(path))
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

#[cfg(test)]
mod tests {
    use super::super::disk::simulated::{Names, SimulatedDisk};
    use super::*;

    const OLD: &[u8] = b"the old image";
    const NEW: &[u8] = b"the new image, longer";

    fn path() -> PathBuf {
        PathBuf::from("bench/m.image")
    }

    /// A disk that holds the old image and, if asked for, what a crash left of a new one.
    fn before(left: Option<&[u8]>) -> Names {
        let left = left.map(|l| (with_suffix(&path(), ".new"), l.to_vec()));
        [(path(), OLD.to_vec())].into_iter().chain(left).collect()
    }

    /// The image that a crash left, if it is wholly old or wholly new.
    fn whole(names: &Names) -> Option<&[u8]> {
        names.get(&path()).map(Vec::as_slice).filter(|i| [OLD, NEW].contains(i))
    }

    /// [DV-03]: wherever the power goes, the image is wholly old or wholly new; once `save` has
    /// returned it is new. What a crash leaves beside it does not disturb the next save, which may
    /// be cut off as well.
    #[test]
    fn a_crash_at_any_call_leaves_the_old_or_the_new_image() {
        let mut states = std::collections::BTreeSet::from([before(None), before(Some(b"torn"))]);
        for round in 0..2 {
            let mut left = std::collections::BTreeSet::new();
            for state in &states {
                let mut disk = SimulatedDisk::after(state);
                replace(&mut disk, &path(), NEW).unwrap();
                // Create, five writes of at most five octets for 21, two synchronisations, one rename.
                assert_eq!(disk.calls.len(), 9, "{:?}", disk.calls);
                assert_eq!(disk.crashes.len(), 9);
                for (call, crash) in disk.calls.iter().zip(&disk.crashes) {
                    assert!(crash.iter().all(|n| whole(n).is_some()), "after {call}: {crash:?}");
                }
                let last = disk.after_crash();
                assert!(last.iter().all(|n| whole(n) == Some(NEW)), "{last:?}");
                left.extend(disk.crashes.into_iter().flatten());
            }
            assert!(left.len() > states.len(), "round {round}");
            states = left;
        }
    }

    /// Every call fails in its turn: the old image stays until the new one has its name, no matter
    /// whether the power goes afterwards, and the failure is passed on.
    #[test]
    fn a_failure_at_any_call_leaves_the_old_or_the_new_image() {
        for call in 0..9 {
            let mut disk = SimulatedDisk::after(&before(None));
            disk.fails_at = Some(call);
            let e = replace(&mut disk, &path(), NEW).unwrap_err();
            assert_eq!(e.kind(), ErrorKind::StorageFull);
            assert_eq!(disk.calls.len(), call + 1, "nothing is done after a failure");
            assert!(disk.after_crash().iter().all(|n| whole(n).is_some()), "call {call}");
            let kept = if disk.calls[call] == "sync_directory" { NEW } else { OLD };
            assert_eq!(whole(&disk.now()), Some(kept), "call {call}");
            // The next attempt succeeds.
            disk.fails_at = None;
            replace(&mut disk, &path(), NEW).unwrap();
            assert!(disk.after_crash().iter().all(|n| whole(n) == Some(NEW)));
        }
    }

    /// The simulation finds out what the test above is about: without either synchronisation
    /// something is lost.
    #[test]
    fn a_synchronisation_left_out_is_found() {
        let mut disk = SimulatedDisk::after(&before(None));
        disk.lies.push("sync_file");
        replace(&mut disk, &path(), NEW).unwrap();
        assert!(disk.after_crash().iter().any(|n| whole(n).is_none()), "a torn image");
        let mut disk = SimulatedDisk::after(&before(None));
        disk.lies.push("sync_directory");
        replace(&mut disk, &path(), NEW).unwrap();
        assert!(disk.after_crash().iter().any(|n| whole(n) == Some(OLD)), "a write that was told is lost");
    }

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

    /// One has it at a time; it is free again when that one ends, however it does, and nothing is left.
    #[cfg(unix)]
    #[test]
    fn a_memory_file_is_claimed_once() {
        let dir = scratch("claim");
        let path = dir.join("m.image");
        let first = claim(&path).unwrap().expect("it is free");
        assert!(claim(&path).unwrap().is_none());
        // What is saved meanwhile has no effect on that.
        save(&path, b"image").unwrap();
        assert!(claim(&path).unwrap().is_none());
        assert!(claim(&dir.join("other.image")).unwrap().is_some());
        drop(first);
        assert_eq!(fs::read_dir(&dir).unwrap().count(), 1, "the claim is left behind");
        // A mock that was killed leaves the file, and nobody who has it locked.
        fs::write(dir.join("m.image.lock"), "").unwrap();
        let second = claim(&path).unwrap().expect("it is free");
        // Whoever removes the mark of another one does not make that one remove a third's.
        fs::remove_file(dir.join("m.image.lock")).unwrap();
        let third = claim(&path).unwrap().expect("nobody can know");
        drop(second);
        assert!(claim(&path).unwrap().is_none());
        drop(third);
        assert!(
            claim(&dir.join("none/m.image")).unwrap_err().to_string().starts_with("claiming the memory file")
        );
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
