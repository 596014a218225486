//! Prints flows, fillings and ventings of the valve's air as JSON, one object a line, for a comparison with
//! other programs: `tests/outside/plant_air.py`. SI throughout, pressures absolute.

use looprig::plant::air::{ANR_K, KAPPA, Restriction, nozzle_critical_ratio, nozzle_kg_per_s};
use looprig::plant::network::{self, End, Link, Node};

fn main() {
    println!(
        r#"{{"kind": "constants", "kappa": {KAPPA}, "nozzle_critical_ratio": {}}}"#,
        nozzle_critical_ratio()
    );
    flows();
    lines();
    courses();
}

/// A hole of 1 mm2 and a restriction of 1 dm3/(s bar), over pressure and temperature.
fn flows() {
    let hole = Restriction::hole(1e-6, 1.0);
    let plain = Restriction::usual(1e-8);
    for from_pa in [1.5e5, 3e5, 6e5, 11e5] {
        for temperature_k in [253.15, ANR_K, 313.15] {
            for percent in [1, 20, 40, 52, 53, 55, 60, 70, 80, 90, 95, 99, 100] {
                let to_pa = from_pa * f64::from(percent) / 100.0;
                println!(
                    r#"{{"kind": "flow", "from_pa": {from_pa}, "to_pa": {to_pa}, "temperature_k": {temperature_k}, "area_m2": 1e-6, "nozzle_kg_per_s": {}, "hole_kg_per_s": {}, "conductance_m3_per_s_pa": {}, "critical_ratio": {}, "plain_kg_per_s": {}}}"#,
                    nozzle_kg_per_s(1e-6, 1.0, from_pa, to_pa, temperature_k),
                    hole.mass_flow_kg_per_s(from_pa, to_pa, temperature_k),
                    plain.conductance_m3_per_s_pa,
                    plain.critical_ratio,
                    plain.mass_flow_kg_per_s(from_pa, to_pa, temperature_k),
                );
            }
        }
    }
}

/// Long lines, where friction is all that counts.
fn lines() {
    for (bore_m, length_m) in [(4e-3, 20.0), (6e-3, 50.0), (10e-3, 100.0)] {
        for to_pa in [6.5e5, 6e5, 5e5, 4e5] {
            let flow = Restriction::line(bore_m, length_m).mass_flow_kg_per_s(7e5, to_pa, ANR_K);
            println!(
                r#"{{"kind": "line", "bore_m": {bore_m}, "length_m": {length_m}, "from_pa": 7e5, "to_pa": {to_pa}, "temperature_k": {ANR_K}, "kg_per_s": {flow}}}"#
            );
        }
    }
}

/// Vessels that fill and vent, step by step.
fn courses() {
    for (name, source_pa, start_pa) in [("fill", 7e5, 101_325.0), ("vent", 101_325.0, 7e5)] {
        for (volume_m3, exponent) in [(1e-3, 1.0), (1e-3, 1.4), (2e-4, 1.2)] {
            for (dt_s, steps) in [(1e-3, 1usize), (0.5e-3, 2)] {
                let mut vessel = [Node { pressure_pa: start_pa, volume_m3, exponent }];
                let through = [Link::plain(End::Fixed(source_pa), End::Node(0), Restriction::usual(1e-8))];
                let mut course = vec![start_pa.to_string()];
                for _ in 0..40 {
                    for _ in 0..25 * steps {
                        network::step(&mut vessel, &through, &mut [0.0], dt_s, ANR_K);
                    }
                    course.push(vessel[0].pressure_pa.to_string());
                }
                println!(
                    r#"{{"kind": "course", "name": "{name}", "source_pa": {source_pa}, "conductance_m3_per_s_pa": 1e-8, "critical_ratio": 0.3, "temperature_k": {ANR_K}, "volume_m3": {volume_m3}, "exponent": {exponent}, "dt_s": {dt_s}, "every_s": 0.025, "course_pa": [{}]}}"#,
                    course.join(", ")
                );
            }
        }
    }
}
