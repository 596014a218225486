//! Scratch.
use looprig::cli::triage_measure::{Valves, scenes};
fn main() {
    let args: Vec<u64> = std::env::args().skip(1).filter_map(|a| a.parse().ok()).collect();
    let valves = Valves { first: args[0], count: args[1] as usize };
    let began = std::time::Instant::now();
    let all = scenes(valves, &|n| if n % 50 == 0 { eprintln!("{n}") }).unwrap_or_else(|_| panic!());
    for s in &all { println!("{}", serde_json::to_string(s).unwrap()); }
    eprintln!("{} scenes {:?}", all.len(), began.elapsed());
}
