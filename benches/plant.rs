//! How many seconds of a valve's life one core computes in a second, for one valve and for 63, beside the least that any
//! such computing must do: as many steps of the bare flow law of ISO 6358 and one update of one chamber.
//!
//! Run with `cargo bench --bench plant`; the last lines tell the figures. The aims are [`AIM_ONE`] and [`AIM_MANY`].

use criterion::{Criterion, Throughput};
use looprig::plant::follower::Follower;
use looprig::plant::valve::{Valve, ValveConfig};
use looprig::time::Instant;
use std::hint::black_box;
use std::time::Duration;

/// Simulated seconds in a second that one valve is to reach, and 63 of them together.
const AIM_ONE: f64 = 2000.0;
const AIM_MANY: f64 = 30.0;
/// Valves on one core: as many as polling addresses without the first.
const MANY: usize = 63;
/// Simulated time of a measurement of one valve, s: all its set points once.
const SPAN_S: u64 = 12;
/// Simulated time of a measurement of many, of which each is elsewhere in its round.
const SPAN_MANY: Duration = Duration::from_millis(200);
/// From order to order of the follower.
const PERIOD: Duration = Duration::from_millis(10);
/// Times that each is measured for the last lines; the quickest counts. Each is short, so that a busy machine leaves
/// some of them in peace.
const ROUNDS: usize = 200;

/// Lets the valves follow set points that change every three seconds, so that they are moving much of the time.
fn run(valves: &mut [Valve], span: Duration) {
    let follower = Follower::default();
    let Some(begin) = valves.first().map(Valve::now) else { return };
    let (mut now, end) = (begin, begin + span);
    while now < end {
        now += PERIOD;
        for (i, valve) in valves.iter_mut().enumerate() {
            let turn = now.as_nanos() / 3_000_000_000 + i as u64;
            let set_point = [20.0, 80.0, 45.0, 55.0][(turn % 4) as usize];
            valve.set_drive(follower.drive(set_point, valve.sensed_travel_percent()));
            valve.advance(now);
        }
    }
    black_box(valves);
}

/// The bare limit: the flow law and one chamber, as often as the valve steps.
fn bare(steps: u64) -> f64 {
    let (mut pressure_pa, mut volume_m3) = (black_box(101_325.0), black_box(0.85e-3));
    let (supply_pa, conductance, ratio) = black_box((241_325.0, 0.5e-8, 0.3));
    let dt_s = 1e-3;
    for i in 0..steps {
        let r: f64 = pressure_pa / supply_pa;
        let u = (r - ratio) / (1.0 - ratio);
        let opening = if i % 64 < 32 { 1.0 } else { -0.5 };
        let falls = if r <= ratio { 1.0 } else { (1.0 - u * u).max(0.0).sqrt() };
        let flow = conductance * 1.185 * supply_pa * falls * opening;
        volume_m3 = 0.5e-3 + 3.5e-9 * (pressure_pa - 101_325.0);
        pressure_pa += dt_s * 287.05 * 293.15 * flow / volume_m3;
        pressure_pa = pressure_pa.clamp(101_325.0, 241_000.0);
    }
    pressure_pa + volume_m3
}

#[allow(clippy::disallowed_methods, reason = "a benchmark reads the clock")]
fn time(run: impl FnOnce()) -> f64 {
    let from = std::time::Instant::now();
    run();
    from.elapsed().as_secs_f64()
}

fn main() {
    let config = ValveConfig::reference();
    let make = |seed| Valve::new(config, seed).expect("the reference is accepted");
    let steps_per_s = (1.0 / config.step_s).round() as u64;
    let mut one = vec![make(1)];
    let mut many: Vec<Valve> = (0..MANY as u64).map(make).collect();

    let mut criterion = Criterion::default().configure_from_args();
    let mut group = criterion.benchmark_group("valve");
    group.throughput(Throughput::Elements(steps_per_s));
    group.bench_function("second of one valve", |b| b.iter(|| run(&mut one, Duration::from_secs(1))));
    group.bench_function("bare steps of a second", |b| b.iter(|| bare(black_box(steps_per_s))));
    group.finish();
    criterion.final_summary();

    // In turns, so that all meet the same machine; the shortest is the least disturbed.
    let (mut single, mut whole, mut floor) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    for _ in 0..ROUNDS {
        let span = Duration::from_secs(SPAN_S);
        single = single.min(time(|| run(&mut one, span)) / SPAN_S as f64);
        whole = whole.min(time(|| run(&mut many, SPAN_MANY)) / SPAN_MANY.as_secs_f64());
        floor = floor.min(
            time(|| {
                black_box(bare(black_box(SPAN_S * steps_per_s)));
            }) / SPAN_S as f64,
        );
    }
    assert!(one[0].now() > Instant::ZERO && (0.0..=100.0).contains(&one[0].travel_percent()));
    println!("one valve: {:.0} simulated seconds in a second (aim: over {AIM_ONE})", 1.0 / single);
    println!(
        "{MANY} valves on one core: {:.1} simulated seconds in a second (aim: over {AIM_MANY})",
        1.0 / whole
    );
    println!(
        "one step of a valve: {:.0} ns, {:.0} times the bare flow law and one chamber ({:.1} ns)",
        single / steps_per_s as f64 * 1e9,
        single / floor,
        floor / steps_per_s as f64 * 1e9
    );
}
