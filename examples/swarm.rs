//! The swarm: seeds of a bus with two masters, 1 to 15 devices and faults, each for ten simulated
//! minutes. `cargo run --release --example swarm -- [bursts|reaches] SEEDS [FIRST]`, with `bursts` some of the
//! devices in burst mode, with `reaches` not everybody hears everybody well; ends with 1 if a seed shows what must not be.

#[path = "../tests/swarm/run.rs"]
mod run;

fn main() -> std::process::ExitCode {
    let mut arguments = std::env::args().skip(1).peekable();
    let run = match arguments.next_if(|a| ["bursts", "reaches"].contains(&a.as_str())).as_deref() {
        Some("bursts") => run::run_with_bursts,
        Some(_) => run::run_with_reaches,
        None => run::run,
    };
    let mut numbers = arguments.map(|a| a.parse::<u64>());
    let (seeds, first) = match (numbers.next(), numbers.next()) {
        (Some(Ok(n)), None) => (n, 0),
        (Some(Ok(n)), Some(Ok(first))) => (n, first),
        _ => {
            eprintln!("give how many seeds, and the first one if it is not 0: swarm 100");
            return std::process::ExitCode::from(2);
        }
    };
    println!("seeds {first} to {}", first + seeds.saturating_sub(1));
    let workers = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let (tell, outcomes) = std::sync::mpsc::channel();
    for worker in 0..workers {
        let tell = tell.clone();
        std::thread::spawn(move || {
            for seed in (first..first + seeds).skip(worker as usize).step_by(workers as usize) {
                tell.send((seed, run(seed))).expect("somebody waits for the outcomes");
            }
        });
    }
    drop(tell);
    let mut sum = run::Sum::default();
    for (seed, out) in outcomes {
        for problem in &out.problems {
            println!("seed {seed}: {problem}");
        }
        sum.add(&out);
        if sum.seeds.is_multiple_of(1000) {
            eprintln!("{} seeds", sum.seeds);
        }
    }
    // A seed that panicked would be missing; its thread has told why.
    if sum.seeds != seeds {
        eprintln!("{} of {seeds} seeds came to an end", sum.seeds);
        return std::process::ExitCode::FAILURE;
    }
    println!("{sum}");
    std::process::ExitCode::from(u8::from(sum.failed > 0))
}
