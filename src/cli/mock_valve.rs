//! Computed valves of a bench, in words.

use super::mock::name;
use crate::bench::{Bench, BenchPlan};
use crate::device::Device;
use crate::plant::actuator::Action;
use core::fmt::Write;

/// Which valves are computed, what is wrong with them from the start or later, and which were never calibrated.
pub fn valves_text(bench: &Bench, out: &mut String) {
    let plan: &BenchPlan = bench.plan();
    for (device, of) in bench.stations().map(|s| s.device()).zip(&plan.devices) {
        let Some(valve) = of.valve.as_ref().filter(|v| v.is_described) else { continue };
        let acting = match valve.config.actuator.action {
            Action::AirOpens => "air opens",
            Action::AirCloses => "air closes",
            Action::Double => "double-acting",
        };
        let stroke_mm = valve.config.moving.stroke_m * 1e3;
        let _ = writeln!(out, "  {}: its valve is computed, {stroke_mm} mm, {acting}", name(device));
        for fault in &valve.faults {
            let (words, severity) = (fault.name.words(), fault.severity);
            let from = fault.from.map_or(String::new(), |t| format!(", from {} s", t.as_secs_f64()));
            let until = fault.until.map_or(String::new(), |t| format!(" until {} s", t.as_secs_f64()));
            let _ = writeln!(out, "    {words} at severity {severity}{from}{until}");
        }
        if is_new(device) {
            out.push_str(
                "    never calibrated: it moves nothing until a calibration is done, such as by command 131, which strokes the valve\n",
            );
        }
    }
}

fn is_new(device: &Device) -> bool {
    device.electronics().is_some_and(|e| e.calibrated().is_none())
}
