//! The swarm on a few seeds; more by `cargo run --release --example swarm -- SEEDS`, or with the
//! environment variable `LOOPRIG_SEEDS`.

#[path = "swarm/run.rs"]
mod run;

/// How many seeds: three in a debug build, which is slow, else so many as half a minute holds.
fn seeds() -> u64 {
    match std::env::var("LOOPRIG_SEEDS") {
        Ok(n) => n.parse().expect("LOOPRIG_SEEDS is a number"),
        Err(_) if cfg!(debug_assertions) => 3,
        Err(_) => 200,
    }
}

/// With faults: nothing is accepted that was not sent, but by count; every transaction ends; no octet is unaccounted for.
/// Without: traffic resumes, and no busy master is starved [LL-09].
#[test]
fn many_seeds() {
    let mut sum = run::Sum::default();
    let mut problems = Vec::new();
    for seed in 0..seeds() {
        let out = run::run(seed);
        problems.extend(out.problems.iter().map(|p| format!("seed {seed}: {p}")));
        sum.add(&out);
    }
    println!("{sum}");
    assert!(problems.is_empty(), "{problems:#?}\n{sum}");
    // The faults did something, and most requests are answered all the same.
    assert!(sum.retries > sum.seeds && sum.answered > sum.unanswered, "{sum}");
}

/// The same with devices in burst mode among the others [LL-23].
#[test]
fn many_seeds_with_bursts() {
    let mut sum = run::Sum::default();
    let mut problems = Vec::new();
    for seed in 0..seeds() {
        let out = run::run_with_bursts(seed);
        problems.extend(out.problems.iter().map(|p| format!("seed {seed}: {p}")));
        sum.add(&out);
    }
    println!("{sum}");
    assert!(problems.is_empty(), "{problems:#?}\n{sum}");
    assert!(sum.answered > sum.unanswered && sum.fewest_bursts.is_some(), "{sum}");
}

/// The same where not everybody hears everybody well [LI-25]. One reception in many goes wrong in a way that checks do not see: so
/// few that most seeds have none.
#[test]
fn many_seeds_with_reaches() {
    let mut sum = run::Sum::default();
    let mut problems = Vec::new();
    for seed in 0..seeds() {
        let out = run::run_with_reaches(seed);
        problems.extend(out.problems.iter().map(|p| format!("seed {seed}: {p}")));
        sum.add(&out);
    }
    println!("{sum}");
    assert!(problems.is_empty(), "{problems:#?}\n{sum}");
    assert!(sum.retries > sum.seeds && sum.answered > 0 && sum.unanswered > 0, "{sum}");
}

/// The same seed gives the same run, to the octet and the nanosecond; another one does not.
#[test]
fn a_seed_can_be_replayed() {
    let first = run::run(1);
    assert_eq!(first, run::run(1));
    assert_ne!(first.digest, run::run(2).digest);
    let deaf = run::run_with_reaches(1);
    assert_eq!(deaf, run::run_with_reaches(1));
    assert_ne!(first.digest, deaf.digest);
}
