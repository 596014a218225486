//! Prints the table of [FR-21] in Markdown: flipped bits in the published frames that no check finds.
//!
//! With the argument `each` every pattern of one to three flips is sent to the receiver by itself, which takes
//! minutes; the table must be the same but for the column that counts what was sent.

#[path = "../tests/undetected/measure.rs"]
mod measure;
#[path = "../tests/support/mod.rs"]
mod support;
#[path = "../tests/undetected/table.rs"]
mod table;
#[path = "../tests/undetected/theory.rs"]
mod theory;

fn main() {
    let few = match std::env::args().nth(1).as_deref() {
        None => measure::Bench::all,
        Some("each") => measure::Bench::each,
        Some(other) => {
            eprintln!(
                "reading the arguments: {other:?} is not known; give none, or `each` to send every pattern"
            );
            std::process::exit(2);
        }
    };
    let frames: Vec<Vec<u8>> =
        support::fixtures().into_iter().filter(|f| f.is_frame()).map(|f| f.octets).collect();
    print!("{}", table::markdown(&table::rows(&frames, few)));
}
