//! Many scenes, on all cores; their order does not depend on who is faster.

use super::measure::class;
use super::scene::{Put, SEVERITIES, Scene, Seen, healthy, look, look_at_two};
use super::world::World;
use crate::bench::fault_words;
use crate::cli::output::Failure;
use crate::plant::generated::Dice;
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

/// Each field fault at each severity, in the order of `looprig mock --faults`.
pub fn all_faults() -> Vec<Put> {
    let each = |word: &str| SEVERITIES.map(|severity| Put { fault: word.to_owned(), severity });
    fault_words().flat_map(|(word, _)| each(word)).collect()
}

/// The scenes of these valves: each healthy, then with each of these faults that it can have, then so many pairs of those that show. In that order,
/// valve by valve. `progress` is told how many are done of how many.
///
/// # Errors
/// A bench makes no sense, which a test excludes.
pub fn scenes(
    valves: Valves,
    puts: &[Put],
    pairs: usize,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Vec<Seen>, Failure> {
    // A world is copied by one at a time.
    let worlds: Vec<Mutex<World>> = worlds(valves)?.into_iter().map(Mutex::new).collect();
    let copy = |i: usize| worlds[i].lock().unwrap_or_else(|e| e.into_inner()).clone();
    let healthies = on_all_cores(worlds.len(), &|_| (), |i| healthy(&copy(i)));
    let healthies = healthies.into_iter().collect::<Result<Vec<_>, _>>()?;
    let all = worlds.len() * (puts.len() + pairs);
    let singles = worlds.len() * puts.len();
    let one = |i: usize| {
        let (valve, put) = (i / puts.len(), &puts[i % puts.len()]);
        look(&copy(valve), core::slice::from_ref(put), Some(&healthies[valve]))
    };
    let came = on_all_cores(singles, &|done| progress(done, all), one);
    let came = came.into_iter().collect::<Result<Vec<_>, _>>()?;
    let of_valve: Vec<Vec<Scene>> =
        came.chunks(puts.len().max(1)).map(|c| c.iter().flatten().cloned().collect()).collect();
    let two = |i: usize| {
        let (valve, number) = (i / pairs, i % pairs);
        match drawn(&of_valve[valve], healthies[valve].scene.valve, number as u64) {
            Some(both) => look_at_two(&copy(valve), both, &healthies[valve]),
            None => Ok(None),
        }
    };
    let twos = on_all_cores(worlds.len() * pairs, &|done| progress(singles + done, all), two);
    let mut twos = twos.into_iter();
    let mut out = Vec::new();
    for (healthy, scenes) in healthies.into_iter().zip(of_valve) {
        out.push(Seen::One(Box::new(healthy.scene)));
        out.extend(scenes.into_iter().map(|s| Seen::One(Box::new(s))));
        for pair in twos.by_ref().take(pairs) {
            out.extend(pair?.map(|p| Seen::Two(Box::new(p))));
        }
    }
    Ok(out)
}

/// Two of the faults of a valve that show, of different classes, by a draw.
fn drawn(scenes: &[Scene], valve: u64, number: u64) -> Option<[Put; 2]> {
    let shows: Vec<&Put> = scenes.iter().filter(|s| !s.below).filter_map(|s| s.faults.first()).collect();
    let part_turn = scenes.first()?.part_turn;
    let mut dice = Dice::new(valve.wrapping_mul(1000).wrapping_add(number) ^ 0x0007_3011);
    let mut draw = || shows.get(dice.between(0.0, shows.len() as f64) as usize).copied();
    // Faults have three severities, so a few draws find two of different classes.
    (0..100).find_map(|_| {
        let (one, two) = (draw()?, draw()?);
        let differ = class(&one.fault, part_turn) != class(&two.fault, part_turn);
        differ.then(|| [one.clone(), two.clone()])
    })
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
