//! Collecting.

use super::rig::{Anybody, Bench};
use looprig::commission::triage::watch::{Options, Watched, findings, watch};
use looprig::host::To;
use std::time::Duration;

const REFERENCE: &str = "[loop]\ncurrent_ma = 12\n[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n[loop.master]\nimpedance_ohm = 5000\n[[loop.device]]\ntag = \"FV-3104\"\n\
         min_voltage_v = 9\nmin_current_ma = 3.6\ncapacitance_nf = 0\ntransmit_ma_pp = 1\n[[device]]\ntag = \"FV-3104\"\n\
         [device.air]\nsupply_pressure_bar = 1.4\n[device.valve]\nstroke_mm = 20\n[device.valve.fail]\ntrip_dm3_per_s_bar = 2\n\
         [device.positioner]\ncalibrated = true\n[[line]]\nat = \"pty:\"\n";

fn watched(bench: Bench) -> Watched {
    let mut source = bench.source();
    let mut host = bench.host();
    let options = Options { plate_kpa: Some(140.0), ..Options::default() };
    watch(&mut host, &To::parse("0").expect("an address"), Some(&mut source), &mut Anybody::default(), &options)
}

#[test]
fn explore() {
    let fresh = || {
        let mut bench = Bench::new(REFERENCE);
        bench.current(12.0, Duration::from_secs(12));
        bench
    };
    let show = |name: &str, x: f64, w: &Watched| {
        println!("== {name} {x} {:?}", w.ended);
        for f in findings(w) { println!("   {:16} {:10} {}", f.symptom, f.value, f.words); }
        if std::env::var("RAW").is_ok() {
        for s in &w.strokes {
            let p: Vec<String> = s.samples.iter().map(|q| format!("{:.1}:{:.1}", q.at_s - s.asked_at_s, q.percent.unwrap_or(f64::NAN))).collect();
            println!("     -> {} {:?} {}", s.to_percent, s.settled, p.join(" "));
        }}
    };
    let only = std::env::var("ONLY").unwrap_or_default();
    show("healthy", 0.0, &watched(fresh()));
    let names = looprig::plant::fault::FaultName::ALL.iter().map(|n| n.word()).chain(looprig::sim::SiteFault::ALL.iter().map(|n| n.word()));
    for name in names {
        if !only.split(',').any(|o| o == name || o == "all") { continue; }
        if name == "outputs_swapped" { continue; }
        for x in [0.3, 0.6, 1.0] {
            let mut b = fresh();
            b.fault(name, x, Duration::from_secs(25));
            show(name, x, &watched(b));
        }
    }
}
