//! Collecting.

use super::rig::{Anybody, Bench};
use looprig::commission::triage::watch::{Options, Watched, findings, watch};
use looprig::host::To;
use std::time::Duration;

#[allow(dead_code)]
const REFERENCE: &str = "[loop]\ncurrent_ma = 12\n[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[loop.master]\nimpedance_ohm = 5000\n[[loop.device]]\ntag = \"FV-3104\"\n\
         min_voltage_v = 9\nmin_current_ma = 3.6\ncapacitance_nf = 0\ntransmit_ma_pp = 1\n[[device]]\ntag = \"FV-3104\"\n\
         [device.air]\nsupply_pressure_bar = 1.4\n[device.valve]\nstroke_mm = 20\n[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n\
         [device.positioner]\ncalibrated = true\n[[line]]\nat = \"pty:\"\n";

#[allow(dead_code)]
fn watched(bench: Bench) -> Watched {
    let mut source = bench.source();
    let mut host = bench.host();
    let options = Options { plate_kpa: Some(140.0), ..Options::default() };
    watch(
        &mut host,
        &To::parse("0").expect("an address"),
        Some(&mut source),
        &mut Anybody::default(),
        &options,
    )
}

#[test]
fn explore() {
    let var = |n: &str| std::env::var(n).unwrap_or_default();
    let seeds: Vec<u64> = var("SEEDS").split(',').filter_map(|s| s.parse().ok()).collect();
    let dir = var("RAW");
    for seed in seeds {
        let mut bench = Bench::generated(seed);
        bench.current(12.0, Duration::from_secs(60));
        let plate = bench.plate_kpa();
        let run = |name: &str, x: f64, b: Bench| {
            let options = Options { plate_kpa: Some(plate), ..Options::default() };
            let mut source = b.source();
            let mut host = b.host();
            let w = watch(
                &mut host,
                &To::parse("0").expect("an address"),
                Some(&mut source),
                &mut Anybody::default(),
                &options,
            );
            if !dir.is_empty() {
                std::fs::write(format!("{dir}/{seed}-{name}-{x}.json"), w.to_json()).expect("written");
            }
            let unusual: Vec<String> =
                findings(&w).iter().map(|f| format!("{}={}", f.symptom, f.value)).collect();
            println!("{seed} {name} {x} {}", unusual.join(" "));
        };
        run("healthy", 0.0, bench.clone());
        if var("FAULTS").is_empty() {
            continue;
        }
        let names = looprig::plant::fault::FaultName::ALL
            .iter()
            .map(|n| n.word())
            .chain(looprig::sim::SiteFault::ALL.iter().map(|n| n.word()));
        for name in names {
            for x in [0.3, 0.6, 1.0] {
                let mut b = bench.clone();
                if b.fault(name, x, Duration::from_secs(25)) {
                    run(name, x, b);
                }
            }
        }
    }
}
