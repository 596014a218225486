//! Captures of networks [PC-01] to [PC-05]: what a line carried there and back, and files that others wrote.

mod foreign;
mod round_trip;

use looprig::capture::{Captured, Fault, Passing, Reader};

/// Everything that a file holds.
fn read(file: &[u8]) -> Vec<Captured> {
    let mut reader = Reader::new(file).expect("memory can be read");
    std::iter::from_fn(|| reader.next().expect("memory can be read")).collect()
}

/// The messages of it, and the words of what could not be read.
fn messages(file: &[u8]) -> (Vec<Passing>, Vec<String>) {
    let (mut passed, mut problems) = (Vec::new(), Vec::new());
    for captured in read(file) {
        match captured {
            Captured::Messages(p) => passed.push(p),
            Captured::Problem(p) => problems.push(p.to_string()),
            other => panic!("{other:?}"),
        }
    }
    (passed, problems)
}

fn is_cut(captured: &Captured) -> bool {
    matches!(captured, Captured::Problem(p) if p.fault == Fault::CaptureCut)
}

/// The blocks of a little-endian pcapng file, by this function's own reading of [PC-01]: type and all octets.
fn blocks(mut file: &[u8]) -> Vec<(u32, Vec<u8>)> {
    let word = |o: &[u8], at: usize| u32::from_le_bytes(o[at..at + 4].try_into().unwrap());
    let mut out = Vec::new();
    while !file.is_empty() {
        let n = word(file, 4) as usize;
        assert_eq!(word(file, n - 4) as usize, n, "two lengths of one block");
        out.push((word(file, 0), file[..n].to_vec()));
        file = &file[n..];
    }
    out
}
