//! A disk in memory that forgets: it tells what may be left of it if the power goes after each call.
//!
//! It promises no more than the standard for such systems does: of content that was not synchronised
//! any beginning may be there, or none; of names that were not synchronised each change may have
//! happened or not, in any combination.

use super::Disk;
use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};

/// What a directory holds: the content of each name.
pub type Names = BTreeMap<PathBuf, Vec<u8>>;

#[derive(Clone, Default)]
struct Node {
    content: Vec<u8>,
    /// What it may be after a crash.
    possible: BTreeSet<Vec<u8>>,
}

#[derive(Clone)]
enum Change {
    Create(PathBuf, usize),
    Rename(PathBuf, PathBuf),
}

impl Change {
    fn apply(&self, names: &mut BTreeMap<PathBuf, usize>) {
        match self {
            Change::Create(path, node) => {
                names.insert(path.clone(), *node);
            }
            Change::Rename(from, to) => {
                if let Some(node) = names.remove(from) {
                    names.insert(to.clone(), node);
                }
            }
        }
    }
}

/// The disk; every call is counted.
#[derive(Clone, Default)]
pub struct SimulatedDisk {
    nodes: Vec<Node>,
    /// The names that are certain.
    names: BTreeMap<PathBuf, usize>,
    /// What happened to names since.
    pending: Vec<Change>,
    /// What may be left after a crash behind each call so far.
    pub crashes: Vec<BTreeSet<Names>>,
    /// The call that fails, counted from 0.
    pub fails_at: Option<usize>,
    /// Calls of these names do nothing, although they say so.
    pub lies: Vec<&'static str>,
    /// The names of the calls so far.
    pub calls: Vec<&'static str>,
}

impl SimulatedDisk {
    /// A disk after a crash that left `names`.
    pub fn after(names: &Names) -> Self {
        let mut disk = SimulatedDisk::default();
        for (path, content) in names {
            let possible = BTreeSet::from([content.clone()]);
            disk.names.insert(path.clone(), disk.nodes.len());
            disk.nodes.push(Node { content: content.clone(), possible });
        }
        disk
    }

    /// What running programs see.
    pub fn now(&self) -> Names {
        let of = |(path, node): (PathBuf, usize)| (path, self.nodes[node].content.clone());
        self.current().into_iter().map(of).collect()
    }

    /// Everything that may be left if the power goes now.
    pub fn after_crash(&self) -> BTreeSet<Names> {
        let mut out = BTreeSet::new();
        for happened in 0..1u32 << self.pending.len() {
            let mut names = self.names.clone();
            for (i, change) in self.pending.iter().enumerate() {
                if happened >> i & 1 == 1 {
                    change.apply(&mut names);
                }
            }
            let mut all = vec![Names::new()];
            for (path, node) in &names {
                let with = |n: &Names, content: &Vec<u8>| {
                    let mut n = n.clone();
                    n.insert(path.clone(), content.clone());
                    n
                };
                let contents = &self.nodes[*node].possible;
                all = all.iter().flat_map(|n| contents.iter().map(move |c| with(n, c))).collect();
            }
            out.extend(all);
        }
        out
    }

    fn current(&self) -> BTreeMap<PathBuf, usize> {
        let mut names = self.names.clone();
        self.pending.iter().for_each(|c| c.apply(&mut names));
        names
    }

    /// Notes a call; says whether it is to be carried out.
    fn call(&mut self, name: &'static str) -> io::Result<bool> {
        self.calls.push(name);
        if self.fails_at == Some(self.calls.len() - 1) {
            self.crashes.push(self.after_crash());
            return Err(io::Error::from(io::ErrorKind::StorageFull));
        }
        Ok(!self.lies.contains(&name))
    }

    fn done<T>(&mut self, value: T) -> io::Result<T> {
        self.crashes.push(self.after_crash());
        Ok(value)
    }
}

impl Disk for SimulatedDisk {
    type File = usize;

    fn create(&mut self, path: &Path) -> io::Result<usize> {
        self.call("create")?;
        let node = match self.current().get(path) {
            // The old content is cut off at once, and may come back in a crash.
            Some(&node) => {
                self.nodes[node].content.clear();
                self.nodes[node].possible.insert(Vec::new());
                node
            }
            None => {
                self.nodes.push(Node { content: Vec::new(), possible: BTreeSet::from([Vec::new()]) });
                self.pending.push(Change::Create(path.to_owned(), self.nodes.len() - 1));
                self.nodes.len() - 1
            }
        };
        self.done(node)
    }

    /// Takes five octets at a time, and two before it fails.
    fn write(&mut self, file: &mut usize, octets: &[u8]) -> io::Result<usize> {
        let result = self.call("write");
        let n = octets.len().min(if result.is_ok() { 5 } else { 2 });
        let node = &mut self.nodes[*file];
        for &octet in &octets[..n] {
            node.content.push(octet);
            let content = node.content.clone();
            node.possible.insert(content);
        }
        // The length may have grown before the octets came.
        node.possible.insert(vec![0; node.content.len()]);
        result?;
        self.done(n)
    }

    fn sync_file(&mut self, file: &mut usize) -> io::Result<()> {
        if self.call("sync_file")? {
            let node = &mut self.nodes[*file];
            node.possible = BTreeSet::from([node.content.clone()]);
        }
        self.done(())
    }

    fn rename(&mut self, from: &Path, to: &Path) -> io::Result<()> {
        self.call("rename")?;
        self.pending.push(Change::Rename(from.to_owned(), to.to_owned()));
        self.done(())
    }

    fn sync_directory(&mut self, _: &Path) -> io::Result<()> {
        if self.call("sync_directory")? {
            self.names = self.current();
            self.pending.clear();
        }
        self.done(())
    }
}
