//! Benches drawn from the whole ranges of the keys of `[device.valve]` [PL-40]: a valve that runs, or a message with a place.

use super::*;
use crate::plant::actuator::ChamberSize;
use crate::plant::fault::FaultName;
use crate::plant::valve::Valve;
use core::time::Duration;

/// Where a key means something.
#[derive(Clone, Copy, PartialEq)]
enum For {
    All,
    Double,
    Lever,
    Coupling,
    Blocked,
    Pressurised,
}

/// Table, key and range of what a valve can be given.
const KEYS: [(&str, &str, f64, f64, For); 50] = [
    ("", "stroke_mm", 1.0, 1000.0, For::All),
    ("", "area_cm2", 1.0, 20_000.0, For::All),
    ("", "closing_area_cm2", 1.0, 20_000.0, For::Double),
    ("", "dead_volume_l", 0.001, 1000.0, For::All),
    ("", "polytropic_exponent", 1.0, 1.4, For::All),
    ("", "mass_kg", 0.01, 10_000.0, For::All),
    ("", "friction_n", 0.0, 1e6, For::All),
    ("", "static_friction_ratio", 1.0, 10.0, For::All),
    ("", "stribeck_mm_per_s", 0.001, 100.0, For::All),
    ("", "drag_n_s_per_mm", 0.0, 10_000.0, For::All),
    ("", "seat_grip_n", 0.0, 1e6, For::All),
    ("", "process_force_shut_n", -1e6, 1e6, For::All),
    ("", "process_force_open_n", -1e6, 1e6, For::All),
    ("", "tube_bore_mm", 0.5, 50.0, For::All),
    ("", "tube_length_m", 0.01, 100.0, For::All),
    ("part_turn", "turn_deg", 10.0, 120.0, For::Coupling),
    ("part_turn", "running_torque_nm", 0.0, 1e5, For::Coupling),
    ("part_turn", "break_torque_nm", 0.0, 1e5, For::Coupling),
    ("part_turn", "break_over_deg", 0.0, 90.0, For::Coupling),
    ("part_turn", "inertia_kg_m2", 0.0, 1e4, For::Coupling),
    ("supply", "header_bar", 0.0, 20.0, For::All),
    ("supply", "droop_bar", 0.001, 10.0, For::All),
    ("supply", "regulator_dm3_per_s_bar", 0.001, 100.0, For::All),
    ("supply", "filter_dm3_per_s_bar", 0.001, 100.0, For::All),
    ("supply", "line_bore_mm", 0.5, 50.0, For::All),
    ("supply", "line_length_m", 0.01, 500.0, For::All),
    ("stage", "dead_band_percent", 0.0, 90.0, For::Blocked),
    ("stage", "rest_opening_percent", 0.1, 50.0, For::Pressurised),
    ("stage", "lag_ms", 0.0, 10_000.0, For::All),
    ("stage", "fill_dm3_per_s_bar", 0.001, 100.0, For::All),
    ("stage", "exhaust_dm3_per_s_bar", 0.001, 100.0, For::All),
    ("stage", "bleed_dm3_per_s_bar", 0.0, 1.0, For::All),
    ("linkage", "lever_turn_deg", 5.0, 150.0, For::Lever),
    ("linkage", "square_at_percent", -100.0, 200.0, For::Lever),
    ("linkage", "play_mm", 0.0, 50.0, For::Lever),
    ("linkage", "misaligned_deg", 0.0, 30.0, For::Coupling),
    ("linkage", "play_deg", 0.0, 2.8, For::Coupling),
    ("sensor", "resolution_deg", 0.0, 5.0, For::All),
    ("sensor", "noise_deg", 0.0, 5.0, For::All),
    ("sensor", "interval_ms", 0.0, 1000.0, For::All),
    ("fail", "trip_dm3_per_s_bar", 0.001, 100.0, For::All),
    ("fail", "lock_up_below_bar", 0.01, 10.0, For::All),
    ("fail", "tank_l", 0.1, 10_000.0, For::Double),
    ("follower", "gain_percent_per_percent", 0.1, 1000.0, For::All),
    ("follower", "dead_band_percent", 0.0, 50.0, For::All),
    ("", "spring_from_bar", 0.0, 20.0, For::All),
    ("", "spring_to_bar", 0.0, 20.0, For::All),
    ("", "spring_preload_n", 0.0, 1e6, For::All),
    ("", "spring_rate_n_per_mm", 0.0, 1e5, For::All),
    ("", "friction_percent", 0.0, 100.0, For::All),
];

/// One in five at each end; between them in equal ratios where the range allows it.
fn value(share: f64, low: f64, high: f64) -> f64 {
    match share {
        s if s < 0.2 => low,
        s if s > 0.8 => high,
        s if low > 0.0 => low * (high / low).powf((s - 0.2) / 0.6),
        // A nought at the low end: most of the numbers are small ones.
        s if low == 0.0 => high * 1e-6_f64.powf((0.8 - s) / 0.6),
        s => low + (high - low) * (s - 0.2) / 0.6,
    }
}

fn text(shape: (u8, u8, bool, bool, bool), supply: f64, given: &[(usize, f64)]) -> String {
    let (acting, moves, pressurised, falling, spring) = shape;
    let double = acting == 2;
    let part_turn = moves > 1;
    let mut tables = std::collections::BTreeMap::<&str, Vec<String>>::new();
    let mut put = |table, line: String| tables.entry(table).or_default().push(line);
    put("", format!("acting = \"{}\"", ["air_opens", "air_closes", "double"][usize::from(acting)]));
    if double && spring {
        put("", "spring = \"closes\"".to_owned());
    }
    if part_turn {
        put("part_turn", format!("transmission = \"{}\"", ["rack", "yoke"][usize::from(moves - 2)]));
    } else {
        put("linkage", format!("law = \"{}\"", ["tangent", "sine"][usize::from(moves)]));
    }
    if falling {
        put("linkage", "falling = true".to_owned());
    }
    if pressurised {
        put("stage", "at_rest = \"pressurised\"".to_owned());
    }
    put("sensor", "from_deg = -180\nto_deg = 180".to_owned());
    let mut seen = Vec::new();
    for &(n, share) in given {
        let (table, key, low, high, is_for) = KEYS[n];
        let means = match is_for {
            For::All => double <= (spring || !key.starts_with("spring")),
            For::Double => double,
            For::Lever => !part_turn,
            For::Coupling => part_turn,
            For::Blocked => !pressurised,
            For::Pressurised => pressurised,
        };
        if means && !seen.contains(&n) {
            seen.push(n);
            put(table, format!("{key} = {}", value(share, low, high)));
        }
    }
    let mut text = format!("[device.air]\nsupply_pressure_bar = {supply}\n");
    for (table, lines) in tables {
        let dot = if table.is_empty() { "" } else { "." };
        text += &format!("[device.valve{dot}{table}]\n{}\n", lines.join("\n"));
    }
    in_device(&text)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bench_is_a_valve_that_runs_or_a_message(
        shape in (0u8..3, 0u8..4, any::<bool>(), any::<bool>(), any::<bool>()),
        supply in prop_oneof![Just(0.5), Just(7.0), 0.5..7.0f64],
        given in prop::collection::vec((0..KEYS.len(), 0.0..1.0f64), 0..14),
        orders in prop::collection::vec((0u8..6, -1.0..1.0f64, 0..FaultName::ALL.len()), 1..5),
    ) {
        let text = text(shape, supply, &given);
        let plan = match check(&text, Path::new("b.toml")) {
            Ok(plan) => plan,
            Err(e) => {
                prop_assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}\n{text}");
                // What stands here is right by itself: what is wrong together is told in the bench's own words.
                let own = ["_pa", "_m ", "_m:", "_m2", "_m3", "_rad", "break_nm"];
                prop_assert!(!own.iter().any(|unit| e.wrong.contains(unit)), "{e}\n{text}");
                return Ok(());
            }
        };
        let config = plan.devices[0].valve.as_ref().unwrap().config;
        // What fills a whole chamber at the header's pressure is at most squeezed into its dead volume.
        let squeezed = |c: &ChamberSize| {
            ((c.dead_volume_m3 + c.area_m2 * config.moving.stroke_m) / c.dead_volume_m3).powf(config.exponent)
        };
        let header_pa = config.supply.header_gauge_pa.max(6e5) + 1.1e5;
        let most_pa = header_pa * config.actuator.chambers.iter().map(squeezed).fold(1.0, f64::max);
        let mut valve = Valve::new(config, 1).unwrap();
        for (what, x, fault) in orders {
            match what {
                0 => valve.set_powered(x > 0.0),
                1 => valve.set_trip_energised(x > 0.0),
                2 => valve.set_header_gauge_pa(if x > 0.0 { 0.0 } else { 6e5 }).unwrap(),
                // Some it cannot have.
                3 => drop(valve.inject(FaultName::ALL[fault], x.abs())),
                _ => valve.set_drive(x * 1.5),
            }
            valve.advance(valve.now() + Duration::from_millis(100));
            let r = valve.readings();
            prop_assert!((-0.001..=100.001).contains(&r.travel_percent), "{r:?}\n{text}");
            let pressures =
                [r.supply_gauge_pa, r.regulator_gauge_pa, r.chamber_gauge_pa[0], r.chamber_gauge_pa[1]];
            prop_assert!(pressures.iter().all(|pa| (-1.014e5..most_pa).contains(pa)), "{r:?}\n{text}");
            let forces = [r.actuator_n, r.spring_n, r.friction_n, r.stop_n, r.velocity_m_per_s, r.sensed_rad];
            prop_assert!(forces.iter().all(|x| x.is_finite()), "{r:?}\n{text}");
            let _ = valve.outlook();
        }
    }
}
