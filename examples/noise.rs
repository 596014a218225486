//! Prints the table of [LL-20] in Markdown: what wrong bits on the wires do to requests.

#[path = "../tests/noise/measure.rs"]
mod measure;

fn main() {
    print!("{}", measure::markdown(&measure::RATES.map(measure::row)));
}
