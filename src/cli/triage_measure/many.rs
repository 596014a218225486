//! Many scenes, on all cores; their order does not depend on who is faster.

use super::scene::{Put, SEVERITIES, Scene, healthy, look};
use super::world::World;
use crate::bench::fault_words;
use crate::cli::output::Failure;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Which valves: the first so many of those from a seed on whose calibration ends as it should.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Valves {
    /// The first seed that is tried.
    pub first: u64,
    /// How many valves.
    pub count: usize,
}

/// Does jobs by their number on all cores and gives what came of them in their order. `progress` is told how many are done.
pub fn on_all_cores<T: Send>(
    jobs: usize,
    progress: &(dyn Fn(usize) + Sync),
    work: impl Fn(usize) -> T + Sync,
) -> Vec<T> {
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let all: Mutex<BTreeMap<usize, T>> = Mutex::new(BTreeMap::new());
    let one = || loop {
        let number = next.fetch_add(1, Ordering::Relaxed);
        if number >= jobs {
            break;
        }
        let came = work(number);
        all.lock().unwrap_or_else(|e| e.into_inner()).insert(number, came);
        progress(done.fetch_add(1, Ordering::Relaxed) + 1);
    };
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|s| {
        for _ in 0..cores.min(jobs) {
            s.spawn(one);
        }
    });
    all.into_inner().unwrap_or_else(|e| e.into_inner()).into_values().collect()
}

/// The scenes of these valves: each healthy, then with each field fault that it can have at each severity. Sorted by valve, fault in the
/// order of `looprig mock --faults`, severity. `progress` is told how many valves are done.
///
/// # Errors
/// A bench makes no sense, which a test excludes.
pub fn scenes(valves: Valves, progress: &(dyn Fn(usize) + Sync)) -> Result<Vec<Scene>, Failure> {
    // A world is copied by one at a time.
    let worlds: Vec<Mutex<World>> = worlds(valves)?.into_iter().map(Mutex::new).collect();
    let copy = |i: usize| worlds[i].lock().unwrap_or_else(|e| e.into_inner()).clone();
    let healthies = on_all_cores(worlds.len(), &|_| (), |i| healthy(&copy(i)));
    let healthies = healthies.into_iter().collect::<Result<Vec<_>, _>>()?;
    let mut jobs = Vec::new();
    for (number, _) in worlds.iter().enumerate() {
        jobs.push((number, None));
        let words = fault_words().map(|(word, _)| word);
        jobs.extend(words.flat_map(|word| SEVERITIES.map(|x| (number, Some((word, x))))));
    }
    let all = on_all_cores(jobs.len(), progress, |i| {
        let (number, fault) = jobs[i];
        match fault {
            None => Ok(Some(healthies[number].scene.clone())),
            Some((word, severity)) => {
                let put = Put { fault: word.to_owned(), severity };
                look(&copy(number), &[put], Some(&healthies[number]))
            }
        }
    });
    Ok(all.into_iter().collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
}

/// The benches of these valves, calibrated.
fn worlds(valves: Valves) -> Result<Vec<World>, Failure> {
    let mut out: Vec<World> = Vec::new();
    let mut next = valves.first;
    // Hardly any valve of the generator is no good.
    while out.len() < valves.count && next < valves.first + 4 * valves.count as u64 + 10 {
        let wanted = valves.count - out.len();
        let came = on_all_cores(wanted, &|_| (), |i| World::new(next + i as u64));
        for world in came {
            out.extend(world?);
        }
        next += wanted as u64;
    }
    Ok(out)
}
