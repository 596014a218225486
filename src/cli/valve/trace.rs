//! The record of a rig as quantities over time, for plot and table [PL-43].

use super::rig::{Rig, Row};
use crate::plant::actuator::Action;
use crate::report::trace::{Panel, Series, Stroke, Trace};

const TRAVEL: usize = 0;
const PRESSURE: usize = 1;
const DRIVE: usize = 2;

const PANELS: [Panel; 3] = [
    Panel { title: "Travel", unit: "%", least_span: 2.0, from_zero: false, share: 5.0 },
    Panel { title: "Pressure", unit: "bar g", least_span: 0.2, from_zero: true, share: 3.5 },
    Panel { title: "Drive of the output stage", unit: "%", least_span: 20.0, from_zero: true, share: 1.5 },
];

/// Everything that was recorded.
pub fn trace(rig: &Rig, title: &str, notes: Vec<String>) -> Trace {
    let mut series = Vec::new();
    let mut add = |column, name, panel, stroke, of: &dyn Fn(&Row) -> f64| {
        series.push(Series { column, name, panel, stroke, values: rig.rows.iter().map(of).collect() });
    };
    let is_double = rig.config.actuator.action == Action::Double;
    let bar = |pa: f64| pa / 1e5;
    let set_point = |r: &Row| r.set_point_percent.unwrap_or(f64::NAN);
    let with_set_point = rig.rows.iter().any(|r| r.set_point_percent.is_some());
    let its_panel = with_set_point.then_some(TRAVEL);
    add("set_point_percent", "set point", its_panel, Stroke::Dashed, &set_point);
    add("travel_percent", "true travel", Some(TRAVEL), Stroke::Bold, &|r| r.readings.travel_percent);
    let sensed = |r: &Row| r.readings.sensed_travel_percent;
    add("sensed_travel_percent", "the sensor says", Some(TRAVEL), Stroke::Dotted, &sensed);
    let supply = |r: &Row| bar(r.readings.supply_gauge_pa);
    add("supply_gauge_bar", "supply", Some(PRESSURE), Stroke::DashDot, &supply);
    let name = if is_double { "chamber 1 (opens)" } else { "actuator" };
    add("chamber_1_gauge_bar", name, Some(PRESSURE), Stroke::Bold, &|r| bar(r.readings.chamber_gauge_pa[0]));
    if is_double {
        let second = |r: &Row| bar(r.readings.chamber_gauge_pa[1]);
        add("chamber_2_gauge_bar", "chamber 2 (closes)", Some(PRESSURE), Stroke::Plain, &second);
    }
    if rig.config.fail.stored_air.is_some() {
        let tank = |r: &Row| r.readings.tank_gauge_pa.map_or(f64::NAN, bar);
        add("tank_gauge_bar", "tank", Some(PRESSURE), Stroke::Dashed, &tank);
    }
    add("drive_percent", "asked of it", Some(DRIVE), Stroke::Plain, &|r| r.readings.drive * 100.0);
    add("pilot_percent", "pilot", Some(DRIVE), Stroke::Dotted, &|r| r.readings.pilot * 100.0);
    let regulator = |r: &Row| bar(r.readings.regulator_gauge_pa);
    add("regulator_gauge_bar", "regulator", None, Stroke::Plain, &regulator);
    add("lever_deg", "lever", None, Stroke::Plain, &|r| r.readings.lever_rad.to_degrees());
    add("sensed_deg", "sensor", None, Stroke::Plain, &|r| r.readings.sensed_rad.to_degrees());
    add("stem_mm", "stem", None, Stroke::Plain, &|r| r.readings.stem_m * 1e3);
    add("velocity_mm_per_s", "speed", None, Stroke::Plain, &|r| r.readings.velocity_m_per_s * 1e3);
    add("actuator_n", "force of the air", None, Stroke::Plain, &|r| r.readings.actuator_n);
    add("spring_n", "spring", None, Stroke::Plain, &|r| r.readings.spring_n);
    add("process_n", "process", None, Stroke::Plain, &|r| r.readings.process_n);
    add("friction_n", "friction", None, Stroke::Plain, &|r| r.readings.friction_n);
    // 1 kg/s of reference air are 60000/1.185 l/min [PL-01].
    let flow = |r: &Row| r.readings.supply_flow_kg_per_s * 60_000.0 / 1.185;
    add("supply_flow_l_anr_per_min", "air taken", None, Stroke::Plain, &flow);
    Trace {
        title: title.to_owned(),
        notes,
        time_s: rig.rows.iter().map(|r| r.time_s).collect(),
        panels: PANELS.to_vec(),
        series,
        marks: rig.marks.clone(),
    }
}
