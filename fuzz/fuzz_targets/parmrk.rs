//! Any bytes as what a terminal with input error marking hands over [LI-09]: none panics, how it is cut
//! into reads changes nothing, and what is marked anew reads the same.

#![no_main]

use libfuzzer_sys::fuzz_target;
use looprig::frame::Marks;
use looprig::line::ParmrkDecoder;

fn decode(parts: &[&[u8]]) -> (Vec<(u8, Marks)>, bool) {
    let (mut decoder, mut out) = (ParmrkDecoder::new(), Vec::new());
    parts.iter().for_each(|p| decoder.push(p, &mut out));
    (out, decoder.is_within())
}

fuzz_target!(|bytes: &[u8]| {
    let Some((&cut, bytes)) = bytes.split_first() else { return };
    let (octets, within) = decode(&[bytes]);
    let (head, tail) = bytes.split_at(usize::from(cut).min(bytes.len()));
    assert_eq!(decode(&[head, tail]), (octets.clone(), within));
    let mut marked = Vec::new();
    for &(value, marks) in &octets {
        match (value, marks.is_empty()) {
            (v, false) => marked.extend([0xFF, 0x00, v]),
            (0xFF, true) => marked.extend([0xFF, 0xFF]),
            (v, true) => marked.push(v),
        }
    }
    assert_eq!(decode(&[&marked]), (octets, false));
});
