use super::*;
use crate::plant::air::{ANR_KG_PER_M3, GAS_CONSTANT_J_PER_KG_K};
use crate::plant::chamber::Grows;
use crate::plant::stage::StageKind;
use crate::plant::supply::RegulatorConfig;
use proptest::prelude::*;

const DT_S: f64 = 1e-3;

/// The reference actuator on a supply that does not droop, no dead band and no lag, tubing as good as none:
/// what the closed forms speak of.
fn bare(supply_gauge_pa: f64) -> AirConfig {
    let mut config = AirConfig { supply: SupplyConfig::stiff(supply_gauge_pa), ..AirConfig::default() };
    config.stage.kind = StageKind::BlockedAtRest { dead_band: 0.0 };
    config.stage.lag_s = 0.0;
    config.stage.bleed = Restriction::SHUT;
    config.first.tubing = Restriction::usual(1e-6);
    config.first.tubing_volume_m3 = 1e-6;
    config
}

fn double(config: AirConfig) -> AirConfig {
    AirConfig { second: Some(ChamberConfig { grows: Grows::Closing, ..config.first }), ..config }
}

fn started(config: AirConfig) -> AirPath {
    let mut air = AirPath::new(config).expect("a sound configuration");
    air.settle_supply();
    air
}

fn run(air: &mut AirPath, time_s: f64, drive: f64, stem_m: f64) {
    for _ in 0..(time_s / DT_S).round() as u32 {
        air.step(DT_S, drive, stem_m);
    }
}

fn within(value: f64, wanted: f64, share: f64) {
    assert!((value / wanted - 1.0).abs() < share, "{value} is not {wanted} within {share}");
}

/// Quasi-static stroke of the reference actuator without friction: 0.2 to 1.0 bar gauge over 20 mm. Returns the
/// time from the first movement to the stop, s.
fn quasi_static_stroke(mut air: AirPath, drive: f64, dt_s: f64) -> f64 {
    let chamber = air.config().first;
    let needs_pa = |stem_m: f64| absolute_pa(0.2e5 + 0.8e5 * stem_m / 0.02);
    let (start, end) = if drive > 0.0 { (0.0, 0.02) } else { (0.02, 0.0) };
    air.step(1e-9, drive, start);
    air.set_chamber_gauge_pa(0, gauge_pa(needs_pa(start)));
    let (mut stem_m, mut time_s) = (start, 0.0);
    while (stem_m - end) * drive < 0.0 && time_s < 10.0 {
        let before = stem_m;
        // Spring and air spring together say how far the stem goes for the pressure that is too much.
        let stiff = 0.8e5 / 0.02 - chamber.air_spring_pa_per_m(air.chamber_pa(0), stem_m, 0.02);
        stem_m += (air.chamber_pa(0) - needs_pa(stem_m)) / stiff;
        air.step(dt_s, drive, stem_m);
        time_s += dt_s;
        if (stem_m - end) * drive >= 0.0 {
            time_s -= dt_s * (stem_m - end) / (stem_m - before);
        }
    }
    time_s
}

// Computed from the balance of mass with numpy: 1.8596 s up from 1.4 bar gauge, 2.6239 s down; scale is 1/C [NOZZLE].
#[test]
fn quasi_static_strokes_of_the_reference_actuator() {
    for (drive, time_s) in [(1.0, 1.8596), (-1.0, 2.6239)] {
        for dt_s in [1e-3, 0.5e-3] {
            let mut air = started(bare(1.4e5));
            air.step(1e-9, drive, if drive > 0.0 { 0.0 } else { 0.02 });
            within(quasi_static_stroke(air, drive, dt_s), time_s, 2e-3);
        }
        let mut narrow = bare(1.4e5);
        narrow.stage.fill = Restriction::usual(0.25e-8);
        narrow.stage.exhaust = Restriction::usual(0.25e-8);
        within(quasi_static_stroke(started(narrow), drive, 1e-3), time_s * 2.0, 2e-3);
    }
}

// From rest to 0.2 bar gauge in the dead volume: choked until 0.3 of 2.41325 bar is below the atmosphere, so on
// the ellipse; integrated here in small steps of pressure.
#[test]
fn the_dead_volume_fills() {
    let mut air = started(bare(1.4e5));
    let (mut time_s, mut pa) = (0.0, ATMOSPHERE_PA);
    while pa < absolute_pa(0.2e5) {
        let q = Restriction::usual(0.5e-8).mass_flow_kg_per_s(absolute_pa(1.4e5), pa + 5.0, TEMPERATURE_K);
        time_s += 10.0 * 0.5e-3 / (GAS_CONSTANT_J_PER_KG_K * TEMPERATURE_K * q);
        pa += 10.0;
    }
    let mut steps = 0;
    while air.chamber_gauge_pa(0) < 0.2e5 {
        air.step(DT_S, 1.0, 0.0);
        steps += 1;
    }
    assert!((f64::from(steps) * DT_S - time_s).abs() < 1.5 * DT_S, "{steps} {time_s}");
}

#[test]
fn outputs_that_are_blocked_hold_their_air_and_use_only_the_bleed() {
    let mut config = double(AirConfig::default());
    config.stage.bleed = Restriction::usual(5e-11);
    let mut air = started(config);
    run(&mut air, 1.0, 0.0, 0.01);
    air.set_chamber_gauge_pa(0, 0.7e5);
    air.set_chamber_gauge_pa(1, 0.3e5);
    run(&mut air, 20.0, 0.0, 0.01);
    within(air.chamber_gauge_pa(0), 0.7e5, 1e-6);
    within(air.chamber_gauge_pa(1), 0.3e5, 1e-6);
    let bleed = Restriction::usual(5e-11).mass_flow_kg_per_s(
        absolute_pa(air.inlet_gauge_pa()),
        ATMOSPHERE_PA,
        TEMPERATURE_K,
    );
    within(air.taken_kg_per_s(), bleed, 1e-6);
    // Dirt in the pilot: within the wider dead band nothing opens.
    air.stage.config.faults.dirt_dead_band = 0.3;
    run(&mut air, 1.0, 0.3, 0.01);
    within(air.chamber_gauge_pa(0), 0.7e5, 1e-6);
}

// Openings alike on both ways: C p_s = C p/b... The output stands where flow in and out agree; with equal
// conductances and the exhaust choked that is r with sqrt(1 - ((r - b)/(1 - b))^2) = r, b = 0.3:
// r^2 (1 + 0.49) - 0.6 r + 0.09 - 0.49 = 0 -> r = (0.6 + sqrt(0.36 + 2.384))/2.98 = 0.757219.
#[test]
fn outputs_under_pressure_stand_between_and_use_air() {
    let mut config = double(bare(4e5));
    config.stage.kind = StageKind::PressurisedAtRest { rest_opening: 0.1 };
    let mut air = started(config);
    air.step(DT_S, 0.0, 0.01);
    for i in [0, 1] {
        air.set_chamber_gauge_pa(i, 2.78e5);
    }
    run(&mut air, 60.0, 0.0, 0.01);
    let supply_pa = absolute_pa(air.inlet_gauge_pa());
    for i in [0, 1] {
        within(air.chamber_pa(i) / supply_pa, 0.757219, 1e-4);
        within(absolute_pa(air.output_gauge_pa(i)), air.chamber_pa(i), 1e-6);
    }
    // Both exhausts are choked: 2 x 0.1 C rho0 p.
    let use_kg_per_s = 2.0 * 0.1 * 0.5e-8 * ANR_KG_PER_M3 * air.chamber_pa(0);
    within(air.taken_kg_per_s(), use_kg_per_s, 1e-3);
    within(air.vented_kg_per_s(), use_kg_per_s, 1e-6);
    // A drive tips the balance.
    run(&mut air, 20.0, 0.05, 0.01);
    assert!(air.chamber_gauge_pa(0) > air.chamber_gauge_pa(1) + 1e5);
}

#[test]
fn a_leak_beside_a_shut_stage_empties_the_chamber() {
    for at_the_tubing in [false, true] {
        let mut config = AirConfig::default();
        let leak = Restriction::usual(1e-10);
        if at_the_tubing {
            config.first.tubing_leak = leak
        } else {
            config.first.leak = leak
        }
        let mut air = started(config);
        run(&mut air, 1.0, 0.0, 0.02);
        air.set_chamber_gauge_pa(0, 3e5);
        let start_pa = air.chamber_pa(0);
        // Choked until 3.38 bar absolute: p0 exp(-t/tau) with tau = V/(R T rho0 C) of 1.2 dm3 and the tubing's 15 cm3.
        let tau_s = 1.215e-3 / (GAS_CONSTANT_J_PER_KG_K * TEMPERATURE_K * ANR_KG_PER_M3 * 1e-10);
        run(&mut air, 10.0, 0.0, 0.02);
        within(air.chamber_pa(0), start_pa * (-10.0 / tau_s).exp(), 1e-4);
    }
}

#[test]
fn supply_droops_while_the_valve_strokes_and_never_exceeds_the_header() {
    let droop = |change: fn(&mut SupplyConfig)| {
        let mut config = AirConfig::default();
        config.stage.fill = Restriction::usual(2e-8);
        change(&mut config.supply);
        let mut air = started(config);
        let mut least_pa = f64::MAX;
        for _ in 0..300 {
            air.step(DT_S, 1.0, 0.0);
            least_pa = least_pa.min(air.inlet_gauge_pa());
        }
        (least_pa, air.chamber_gauge_pa(0))
    };
    let (sound_pa, filled_pa) = droop(|_| {});
    assert!(sound_pa < 1.3e5 && sound_pa > 0.8e5, "{sound_pa}");
    let (blocked_pa, less_pa) = droop(|s| s.filter_blocked_share = 0.99);
    assert!(blocked_pa < sound_pa - 0.1e5 && less_pa < 0.8 * filled_pa, "{blocked_pa} {sound_pa} {less_pa}");
    let (thin_pa, slower_pa) = droop(|s| s.line = Restriction::line(2e-3, 20.0));
    assert!(thin_pa < 0.5 * sound_pa && slower_pa < filled_pa, "{thin_pa} {slower_pa}");
    let (low_pa, _) = droop(|s| s.header_gauge_pa = 0.9e5);
    assert!(low_pa < 0.9e5);
    // At rest the inlet comes back to what the header has, or to the set point.
    for (header_gauge_pa, wanted_pa) in [(0.9e5, 0.9e5), (6e5, 1.4e5)] {
        let mut config = AirConfig::default();
        config.supply.header_gauge_pa = header_gauge_pa;
        config.stage.bleed = Restriction::SHUT;
        let mut air = AirPath::new(config).expect("sound");
        for _ in 0..30_000 {
            air.step(DT_S, 0.0, 0.0);
            assert!(air.inlet_gauge_pa() <= header_gauge_pa.min(1.4e5) + 1e-3);
        }
        within(air.inlet_gauge_pa(), wanted_pa, 5e-3);
    }
    // All of the filter blocked: nothing comes.
    let mut config = AirConfig::default();
    config.supply.filter_blocked_share = 1.0;
    let mut air = AirPath::new(config).expect("sound");
    run(&mut air, 5.0, 1.0, 0.0);
    assert_eq!((air.taken_kg(), air.chamber_gauge_pa(0)), (0.0, 0.0));
}

// A line that is too thin for the stroke: choked nowhere, p1 = regulated, p2 = inlet, C by bore and length [PL-03].
#[test]
fn a_steady_flow_through_the_line_obeys_its_conductance() {
    let mut config = bare(2e5);
    config.supply.line = Restriction::line(3e-3, 10.0);
    config.supply.inlet_volume_m3 = 1e-5;
    config.first.leak = Restriction::usual(3e-9);
    let mut air = started(config);
    run(&mut air, 20.0, 1.0, 0.0);
    let (from_pa, to_pa) = (absolute_pa(air.regulated_gauge_pa()), absolute_pa(air.inlet_gauge_pa()));
    let flow = Restriction::line(3e-3, 10.0).mass_flow_kg_per_s(from_pa, to_pa, TEMPERATURE_K);
    within(air.taken_kg_per_s(), flow, 1e-6);
    within(air.vented_kg_per_s(), flow, 1e-6);
    assert!(to_pa < 0.97 * from_pa);
}

#[test]
fn swapped_outputs_gates_and_a_tank() {
    let mut air = started(double(bare(4e5)));
    run(&mut air, 5.0, 1.0, 0.01);
    assert!(air.chamber_gauge_pa(0) > 3.9e5 && air.chamber_gauge_pa(1) < 1e3);
    air.swapped = true;
    run(&mut air, 10.0, 1.0, 0.01);
    assert!(air.chamber_gauge_pa(1) > 3.9e5 && air.chamber_gauge_pa(0) < 1e3);
    assert!(air.output_gauge_pa(0) > 3.9e5, "output 1 is where the stage fills");
    // A single-acting actuator on output 2 goes the other way.
    let mut single = started(bare(1.4e5));
    single.swapped = true;
    run(&mut single, 5.0, -1.0, 0.01);
    assert!(single.chamber_gauge_pa(0) > 1.3e5);
    // Locked up it keeps its air although the stage vents; a vent empties it then.
    single.gates[0].tubing_opening = 0.0;
    let kept_pa = single.chamber_gauge_pa(0);
    run(&mut single, 5.0, 1.0, 0.01);
    within(single.chamber_gauge_pa(0), kept_pa, 1e-9);
    single.gates[0].vent = Restriction::usual(2e-8);
    run(&mut single, 5.0, 1.0, 0.01);
    assert!(single.chamber_gauge_pa(0) < 1e3);

    let tank = TankConfig { volume_m3: 5e-3, check_valve: Restriction::usual(1e-8) };
    let mut stored = started(AirConfig { tank: Some(tank), ..bare(4e5) });
    let mut config = *stored.config();
    config.supply.header_gauge_pa = 0.0;
    stored.reconfigure(config).expect("sound");
    run(&mut stored, 10.0, -1.0, 0.0);
    assert!(stored.inlet_gauge_pa() < 1e3, "{}", stored.inlet_gauge_pa());
    within(stored.tank_gauge_pa().expect("a tank"), 4e5, 1e-9);
    // 5 dm3 and 0.5 dm3 come to one pressure: (5 x 5.01325 + 0.5 x 1.01325)/5.5 bar absolute.
    stored.gates[0] = Gate { tubing_opening: 0.0, tank_feed: Restriction::usual(1e-8), ..Gate::default() };
    run(&mut stored, 5.0, -1.0, 0.0);
    within(stored.chamber_pa(0), (5.0 * 5.01325e5 + 0.5 * 1.01325e5) / 5.5, 2e-3);
    assert_eq!(air.tank_gauge_pa(), None);
}

/// Through a leak of the piston 1.2 L at 4 bar and 0.5 L of free air come to one pressure: (1.2 x 5.01325 + 0.5 x 1.01325)/1.7
/// bar absolute; and a feed past the stage fills a chamber that is cut off.
#[test]
fn a_piston_leaks_and_a_chamber_is_fed_past_the_stage() {
    let mut config = double(bare(4e5));
    config.first.tubing_volume_m3 = 1e-6;
    let mut air = started(config);
    run(&mut air, 0.001, 0.0, 0.02);
    air.gates = [Gate { tubing_opening: 0.0, ..Gate::default() }; 2];
    air.set_chamber_gauge_pa(0, 4e5);
    air.set_chamber_gauge_pa(1, 0.0);
    air.across = Restriction::usual(1e-8);
    air.step(DT_S, 0.0, 0.02);
    assert!(air.casing_leak_kg_per_s() > 1e-3 && air.tubing_leak_kg_per_s() == 0.0);
    run(&mut air, 10.0, 0.0, 0.02);
    for chamber in [0, 1] {
        within(air.chamber_pa(chamber), (1.2 * 5.01325e5 + 0.5 * 1.01325e5) / 1.7, 1e-3);
    }
    air.gates[1].inlet_feed = Restriction::usual(1e-8);
    run(&mut air, 10.0, 0.0, 0.02);
    within(air.chamber_gauge_pa(1), 4e5, 1e-3);
}

#[test]
fn without_air_the_pilot_falls() {
    let mut air = started(AirConfig::default());
    run(&mut air, 1.0, 1.0, 0.0);
    assert!(air.stage.pilot() > 0.99);
    // A fault of the stage outlasts a change of the supply.
    air.stage.config.faults.dirt_dead_band = 0.1;
    let mut config = *air.config();
    config.supply.header_gauge_pa = 0.0;
    air.reconfigure(config).expect("sound");
    assert_eq!(air.stage.config.faults.dirt_dead_band, 0.1);
    run(&mut air, 30.0, 1.0, 0.0);
    assert!(air.stage.pilot() < -0.9, "{}", air.stage.pilot());
    assert!(air.chamber_gauge_pa(0) < 2e3, "{}", air.chamber_gauge_pa(0));
}

#[test]
fn a_configuration_that_makes_no_sense_is_refused() {
    let refused = |change: fn(&mut AirConfig)| {
        let mut config = AirConfig::default();
        change(&mut config);
        AirPath::new(config).err().map(|e| e.field)
    };
    assert_eq!(refused(|_| {}), None);
    assert_eq!(refused(|c| c.temperature_k = 20.0), Some("temperature_k"));
    assert_eq!(refused(|c| c.stroke_m = f64::NAN), Some("stroke_m"));
    assert_eq!(refused(|c| c.first.exponent = 0.9), Some("exponent"));
    assert_eq!(refused(|c| c.first.dead_volume_m3 = 0.0), Some("dead_volume_m3"));
    assert_eq!(refused(|c| c.supply.header_gauge_pa = -1.0), Some("header_gauge_pa"));
    assert_eq!(refused(|c| c.stage.lag_s = -1.0), Some("lag_s"));
    let tank = |volume_m3| Some(TankConfig { volume_m3, check_valve: Restriction::SHUT });
    assert_eq!(
        AirConfig { tank: tank(0.0), ..AirConfig::default() }.check().unwrap_err().field,
        "tank_volume_m3"
    );
    let mut air = started(AirConfig::default());
    assert!(air.reconfigure(AirConfig { tank: tank(1e-3), ..AirConfig::default() }).is_err());
    assert_eq!(air.config().tank, None);
    // Numbers that are none change nothing for the worse.
    air.set_chamber_gauge_pa(0, f64::NAN);
    air.step(DT_S, f64::NAN, f64::NAN);
    air.step(f64::NAN, 0.5, 0.01);
    assert!(air.chamber_gauge_pa(0).is_finite() && air.stored_kg().is_finite() && air.taken_kg().is_finite());
    assert_eq!(
        (air.output_gauge_pa(7), air.chamber_gauge_pa(7), air.chamber_flow_kg_per_s(7)),
        (0.0, 0.0, 0.0)
    );
}

fn some_restriction() -> impl Strategy<Value = Restriction> {
    (-11.0..-6.0f64, 0.0..=0.95f64).prop_map(|(e, critical_ratio)| Restriction {
        conductance_m3_per_s_pa: 10f64.powf(e),
        critical_ratio,
    })
}

fn some_volume() -> impl Strategy<Value = f64> {
    (-6.0..-2.0f64).prop_map(|e| 10f64.powf(e))
}

prop_compose! {
    fn some_supply()(
        header_gauge_pa in 0.0..2e6f64, filter in some_restriction(), filter_blocked_share in 0.0..=1.0f64,
        regulator in proptest::option::of((0.0..1e6f64, 100.0..1e6f64, some_restriction())),
        regulated_volume_m3 in some_volume(), line in some_restriction(), inlet_volume_m3 in some_volume(),
    ) -> SupplyConfig {
        let regulator = regulator.map(|(set_gauge_pa, band_pa, restriction)| RegulatorConfig { set_gauge_pa, band_pa, restriction });
        SupplyConfig { header_gauge_pa, filter, filter_blocked_share, regulator, regulated_volume_m3, line, inlet_volume_m3 }
    }
}

prop_compose! {
    fn some_chamber()(
        dead_volume_m3 in some_volume(), area_m2 in 0.0..0.1f64, opening in any::<bool>(), exponent in 1.0..=1.4f64,
        tubing in some_restriction(), tubing_volume_m3 in some_volume(),
        leak in proptest::option::of(some_restriction()), tubing_leak in proptest::option::of(some_restriction()),
    ) -> ChamberConfig {
        let grows = if opening { Grows::Opening } else { Grows::Closing };
        let (leak, tubing_leak) = (leak.unwrap_or(Restriction::SHUT), tubing_leak.unwrap_or(Restriction::SHUT));
        ChamberConfig { dead_volume_m3, area_m2, grows, exponent, tubing, tubing_volume_m3, tubing_leak, leak }
    }
}

prop_compose! {
    fn some_air()(
        supply in some_supply(), fill in some_restriction(), exhaust in some_restriction(), bleed in some_restriction(),
        kind in prop_oneof![
            (0.0..=0.9f64).prop_map(|dead_band| StageKind::BlockedAtRest { dead_band }),
            (0.001..=0.5f64).prop_map(|rest_opening| StageKind::PressurisedAtRest { rest_opening }),
        ],
        lag_s in 0.0..1.0f64, first in some_chamber(), second in proptest::option::of(some_chamber()),
        tank in proptest::option::of((some_volume(), some_restriction())),
    ) -> AirConfig {
        let mut config = AirConfig { supply, first, second, ..AirConfig::default() };
        config.stage = StageConfig { kind, lag_s, fill, exhaust, bleed, ..StageConfig::default() };
        config.tank = tank.map(|(volume_m3, check_valve)| TankConfig { volume_m3, check_valve });
        config
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    // Stem at rest: every pressure stays between atmosphere and header. Isothermal: the account closes.
    #[test]
    fn any_valve_keeps_its_bounds_and_its_account(
        mut config in some_air(), drives in proptest::collection::vec(-1.0..=1.0f64, 8), moving in any::<bool>(),
    ) {
        if moving {
            config.first.exponent = 1.0;
            config.second = config.second.map(|c| ChamberConfig { exponent: 1.0, ..c });
        }
        let mut air = AirPath::new(config).expect("accepted");
        let start_kg = air.stored_kg();
        let mut through_kg = start_kg;
        let mut stem_m = 0.0;
        for (n, drive) in drives.iter().enumerate() {
            for _ in 0..100 {
                if moving {
                    stem_m = (stem_m + drive * 2e-4).clamp(0.0, 0.02);
                }
                air.step(DT_S, *drive, stem_m);
                through_kg += DT_S * (air.taken_kg_per_s().abs() + air.vented_kg_per_s().abs());
                let seen = [air.chamber_gauge_pa(0), air.chamber_gauge_pa(1), air.output_gauge_pa(0), air.output_gauge_pa(1),
                    air.inlet_gauge_pa(), air.regulated_gauge_pa(), air.tank_gauge_pa().unwrap_or(0.0)];
                for pa in seen {
                    let most_pa = config.supply.header_gauge_pa;
                    prop_assert!(pa.is_finite() && pa > -ATMOSPHERE_PA, "{:?}", seen);
                    prop_assert!(moving || pa > -1e-3 && pa < most_pa + 1e-3, "{} {:?}", n, seen);
                }
            }
        }
        if moving {
            let stored_kg = air.stored_kg() - start_kg;
            let account_kg = air.taken_kg() - air.vented_kg();
            prop_assert!((stored_kg - account_kg).abs() < 1e-9 * through_kg, "{} {}", stored_kg, account_kg);
        }
    }
}
