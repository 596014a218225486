//! What holds for every valve that is accepted, whatever happens to it [PL-30].

use looprig::plant::actuator::{Action, ActuatorConfig, ChamberSize, ProcessForce, Pushes, Spring};
use looprig::plant::air::Restriction;
use looprig::plant::air_path::TankConfig;
use looprig::plant::fail::{FailConfig, LockUpConfig, StoredAirConfig, TripConfig};
use looprig::plant::fault::FaultName;
use looprig::plant::friction::FrictionConfig;
use looprig::plant::linkage::{Law, LinkageConfig, Sense};
use looprig::plant::motion::{MovingConfig, Seat};
use looprig::plant::stage::StageKind;
use looprig::plant::transmission::{ShaftLoad, Transmission};
use looprig::plant::valve::{Readings, Valve, ValveConfig};
use looprig::time::Instant;
use proptest::prelude::*;
use std::time::Duration;

const ATMOSPHERE_PA: f64 = 101_325.0;
/// The highest header of these runs, Pa gauge.
const HEADER_GAUGE_PA: f64 = 7e5;

/// Something that happens to a valve, and for how long it then runs, s.
#[derive(Clone, Debug)]
enum Order {
    Drive(f64),
    Powered(bool),
    Trip(bool),
    Header(f64),
    Process(f64),
    Fault(usize, f64),
    Hand(Option<f64>),
}

fn order() -> impl Strategy<Value = (Order, f64)> {
    let what = prop_oneof![
        4 => prop_oneof![Just(-1.0), Just(0.0), Just(1.0), -1.0..1.0].prop_map(Order::Drive),
        1 => any::<bool>().prop_map(Order::Powered),
        1 => any::<bool>().prop_map(Order::Trip),
        1 => prop_oneof![Just(0.0), 0.0..HEADER_GAUGE_PA].prop_map(Order::Header),
        1 => (0.0..3.0).prop_map(Order::Process),
        1 => prop::option::of(0.0..=100.0).prop_map(Order::Hand),
        3 => (0..FaultName::ALL.len(), prop_oneof![Just(0.0), 0.0..=1.0]).prop_map(|(n, x)| Order::Fault(n, x)),
    ];
    (what, 0.0..0.6)
}

/// Orders that the valve refuses, such as a spring that breaks where there is none, change nothing.
fn give(valve: &mut Valve, order: &Order) {
    match *order {
        Order::Drive(drive) => valve.set_drive(drive),
        Order::Powered(powered) => valve.set_powered(powered),
        Order::Trip(energised) => valve.set_trip_energised(energised),
        Order::Header(pa) => valve.set_header_gauge_pa(pa).expect("within range"),
        Order::Process(share) => valve.set_process_share(share).expect("within range"),
        Order::Hand(percent) => valve.set_hand_percent(percent).expect("within range"),
        Order::Fault(n, x) => {
            let _ = valve.inject(FaultName::ALL[n], x);
        }
    }
}

/// How the numbers of a valve are drawn: shape, sizes as shares of what is usual, air, rest.
type Drawn = ((u8, u8, bool), [f64; 8], (f64, f64, bool), (bool, bool, bool, u8));

fn config() -> impl Strategy<Value = ValveConfig> {
    let shape = (0u8..3, 0u8..4, any::<bool>());
    let size = 0.0..1.0f64;
    let sizes = [(); 8].map(|()| size.clone());
    let air = (1.4e5..6e5, prop_oneof![Just(1.0), 1.0..1.4], any::<bool>());
    let rest = (any::<bool>(), any::<bool>(), any::<bool>(), 0u8..4);
    (shape, sizes, air, rest)
        .prop_map(built)
        .prop_filter("an accepted valve", |config| config.check().is_ok())
}

/// From `low` to `high` in equal ratios.
fn between(share: f64, low: f64, high: f64) -> f64 {
    low * (high / low).powf(share)
}

fn built(drawn: Drawn) -> ValveConfig {
    let ((action, shape, falling), s, (supply_pa, exponent, pressurised), (trip, locks, stored, step)) =
        drawn;
    let mut config = ValveConfig::reference();
    let stroke_m = between(s[0], 5e-3, 0.1);
    let area_m2 = between(s[1], 2e-3, 0.1);
    let thrust_n = area_m2 * supply_pa;
    config.step_s = [1e-3, 5e-4, 2e-3, 5e-3][usize::from(step)];
    config.exponent = exponent;
    if let Some(regulator) = &mut config.supply.regulator {
        regulator.set_gauge_pa = supply_pa;
    }
    config.supply.header_gauge_pa = HEADER_GAUGE_PA;
    config.stage.lag_s = 0.1 * s[2];
    if pressurised {
        config.stage.kind = StageKind::PressurisedAtRest { rest_opening: 0.01 + 0.2 * s[3] };
    }
    config.stage.fill = Restriction::usual(between(s[3], 1e-9, 1e-7));
    config.stage.exhaust = Restriction::usual(between(s[4], 1e-9, 1e-7));
    let chamber = ChamberSize { area_m2, dead_volume_m3: between(s[2], 0.1, 1.0) * area_m2 * stroke_m };
    let (action, pushes) = match action {
        0 => (Action::AirOpens, Some(Pushes::Closed)),
        1 => (Action::AirCloses, Some(Pushes::Open)),
        _ => (Action::Double, None),
    };
    let spring = pushes.map(|pushes| Spring {
        pushes,
        preload_n: (0.1 + 0.3 * s[5]) * thrust_n,
        rate_n_per_m: (0.1 + 0.4 * s[6]) * thrust_n / stroke_m,
    });
    config.actuator = ActuatorConfig { action, chambers: [chamber, chamber], spring };
    let coulomb_n = (0.02 + 0.18 * s[7]) * thrust_n / 2.0;
    config.moving = MovingConfig {
        stroke_m,
        mass_kg: between(s[5], 0.5, 50.0),
        friction: FrictionConfig {
            coulomb_n,
            static_n: coulomb_n * (1.0 + 0.6 * s[6]),
            viscous_n_s_per_m: between(s[0], 10.0, 1e5),
            ..FrictionConfig::reference()
        },
        bristle: None,
        seat: Seat { grip_n: 0.05 * thrust_n * s[1], fade_m: 0.1 * stroke_m },
        transmission: Transmission::Stem,
        shaft: ShaftLoad::default(),
    };
    config.process =
        ProcessForce { shut_n: 0.1 * thrust_n * (s[4] - 0.5), open_n: 0.1 * thrust_n * (s[3] - 0.5) };
    let turn_rad = 90f64.to_radians();
    let law = match shape {
        0 => Law::tangent_for(stroke_m, 30f64.to_radians()),
        1 => Law::sine_for(stroke_m, 25f64.to_radians()),
        _ => Law::part_turn_for(turn_rad),
    };
    config.moving.transmission = match shape {
        2 => Transmission::Rack { radius_m: stroke_m / turn_rad },
        3 => Transmission::Yoke { distance_m: stroke_m / 2.0 },
        _ => Transmission::Stem,
    };
    if shape >= 2 {
        let arm_m = stroke_m / turn_rad;
        config.moving.shaft = ShaftLoad {
            running_nm: 0.02 * thrust_n * arm_m,
            break_nm: 0.05 * thrust_n * arm_m,
            fade_rad: 0.1,
            inertia_kg_m2: 0.1 * arm_m * arm_m,
        };
    }
    config.linkage = LinkageConfig::new(law);
    config.linkage.sense = if falling { Sense::Falling } else { Sense::Rising };
    let way = Restriction::usual(5e-9);
    let lock_up =
        LockUpConfig { closes_below_gauge_pa: 1e5, difference_pa: 2e4, leak: Restriction::usual(1e-12) };
    config.fail = FailConfig {
        trip: trip.then_some(TripConfig { vent: way, feed: way, opens: falling }),
        lock_up: locks.then_some(lock_up),
        stored_air: (stored && action == Action::Double).then_some(StoredAirConfig {
            tank: TankConfig { volume_m3: 5e-3, check_valve: way },
            feed: way,
            vent: way,
            switches_below_gauge_pa: 1.2e5,
            difference_pa: 2e4,
            opens: falling,
        }),
    };
    config
}

/// Every number of the readings.
fn numbers(r: &Readings) -> Vec<f64> {
    let mut all = vec![
        r.drive,
        r.pilot,
        r.stem_m,
        r.travel_percent,
        r.velocity_m_per_s,
        r.lever_rad,
        r.sensed_rad,
        r.sensed_travel_percent,
        r.header_gauge_pa,
        r.regulator_gauge_pa,
        r.supply_gauge_pa,
        r.actuator_n,
        r.spring_n,
        r.process_n,
        r.friction_n,
        r.stop_n,
        r.air_used_kg,
        r.supply_flow_kg_per_s,
        r.exhaust_flow_kg_per_s,
        r.casing_leak_kg_per_s,
        r.tube_leak_kg_per_s,
    ];
    all.extend(r.output_gauge_pa.into_iter().chain(r.chamber_gauge_pa));
    all.extend(r.shaft_rad.into_iter().chain(r.tank_gauge_pa));
    all
}

fn within_bounds(valve: &Valve) {
    let (r, config) = (valve.readings(), valve.config());
    assert!(numbers(&r).iter().all(|x| x.is_finite()), "{r:?}");
    assert!((0.0..=config.moving.stroke_m).contains(&r.stem_m), "{r:?}");
    assert!((-1e-9..=100.0 + 1e-9).contains(&r.travel_percent), "{r:?}");
    // A chamber's enclosed air may be squeezed or widened by the stem, at most as its volume allows. Supply and tank lie
    // between the atmosphere and the highest header, but for what a squeezed chamber gives back through the stage, and
    // what one that is pulled wide draws through it when the header is empty.
    let between =
        |pa: f64, low: f64, high: f64| assert!((low - 1.0..=high + 1.0).contains(&pa), "{pa}: {r:?}");
    let chamber = config.actuator.chambers[0];
    let full = chamber.dead_volume_m3 + chamber.area_m2 * config.moving.stroke_m;
    let squeezed = (full / chamber.dead_volume_m3).powf(config.exponent);
    let widest_pa = ATMOSPHERE_PA / squeezed - ATMOSPHERE_PA;
    let atmosphere_to_header = [r.regulator_gauge_pa, r.supply_gauge_pa];
    for pa in atmosphere_to_header.into_iter().chain(r.tank_gauge_pa) {
        between(pa, widest_pa, HEADER_GAUGE_PA * 1.3);
    }
    for pa in r.chamber_gauge_pa.into_iter().chain(r.output_gauge_pa) {
        between(pa, widest_pa, (ATMOSPHERE_PA + HEADER_GAUGE_PA) * squeezed - ATMOSPHERE_PA);
    }
}

fn accounts_close(valve: &Valve, spring_whole: bool, began_m: f64) {
    let (account, config, r) = (valve.account(), valve.config(), valve.readings());
    if config.exponent == 1.0 {
        let all = account.taken_kg.abs() + account.vented_kg.abs() + account.stored_kg;
        assert!(account.air_residue_kg().abs() <= 1e-9 * all, "{account:?}");
    }
    let e = account.energy;
    let all =
        e.pressure_j.abs() + e.spring_j.abs() + e.process_j.abs() + e.friction_j.abs() + e.stop_j + e.step_j;
    assert!(e.residue_j().abs() <= 1e-9 * (all + 1.0), "{e:?}");
    assert!(
        e.friction_j >= -1e-9 * (all + 1.0) && e.stop_j >= 0.0 && e.step_j >= -1e-9 * (all + 1.0),
        "{e:?}"
    );
    // The spring's work is what its store lost, the kinetic energy that of the mass: by their own formulas.
    if let (Some(spring), true) = (config.actuator.spring, spring_whole) {
        let store = |stem_m: f64| {
            let x = if spring.pushes == Pushes::Open { config.moving.stroke_m - stem_m } else { stem_m };
            spring.preload_n * x + spring.rate_n_per_m * x * x / 2.0
        };
        let lost = store(began_m) - store(r.stem_m);
        assert!((e.spring_j - lost).abs() <= 1e-9 * (all + 1.0), "{} for {lost}", e.spring_j);
    }
    if config.moving.transmission == Transmission::Stem && valve.hand_percent().is_none() {
        let kinetic = config.moving.mass_kg * r.velocity_m_per_s.powi(2) / 2.0;
        assert!((e.kinetic_j - kinetic).abs() <= 1e-9 * (all + 1.0), "{} for {kinetic}", e.kinetic_j);
    }
}

/// Random valves: fewer in a debug build, which is slow.
const CASES: u32 = if cfg!(debug_assertions) { 48 } else { 600 };

/// The drawn valves are of all kinds: of each the one in the middle of all ranges is accepted.
#[test]
fn every_kind_is_drawn() {
    for action in 0..3 {
        for shape in 0..4 {
            for pressurised in [false, true] {
                let config =
                    built(((action, shape, true), [0.5; 8], (5e5, 1.2, pressurised), (true, true, true, 0)));
                assert!(config.check().is_ok(), "{action} {shape}: {:?}", config.check());
                assert!(config.fail.stored_air.is_some() == (action == 2));
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: CASES, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn bounds_and_accounts(config in config(), orders in prop::collection::vec(order(), 1..12)) {
        let mut valve = Valve::new(config, 11).expect("accepted");
        let began_m = valve.readings().stem_m;
        let mut spring_whole = true;
        for (order, seconds) in &orders {
            give(&mut valve, order);
            spring_whole &= !matches!(order, Order::Fault(n, _) if FaultName::ALL[*n] == FaultName::SpringBroken);
            // What a hand carries the spring along with is in no account [PL-37].
            spring_whole &= !matches!(order, Order::Hand(Some(_)));
            let end = valve.now() + Duration::from_secs_f64(*seconds);
            while valve.now() < end {
                valve.advance((valve.now() + Duration::from_millis(13)).min(end));
                within_bounds(&valve);
            }
            accounts_close(&valve, spring_whole, began_m);
        }
    }

    #[test]
    fn slices_make_no_difference_and_a_copy_goes_on_alike(
        config in config(),
        orders in prop::collection::vec(order(), 1..8),
        slices in prop::collection::vec(1u64..50_000_000, 1..40),
    ) {
        let mut whole = Valve::new(config, 11).expect("accepted");
        let mut sliced = whole.clone();
        let mut slices = slices.iter().cycle();
        for (order, seconds) in &orders {
            give(&mut whole, order);
            give(&mut sliced, order);
            let end = whole.now() + Duration::from_secs_f64(*seconds);
            whole.advance(end);
            // A copy in the middle of a step, which then goes on instead of the original.
            sliced = sliced.clone();
            while sliced.now() < end {
                let to = sliced.now() + Duration::from_nanos(*slices.next().expect("a cycle"));
                sliced.advance(to.min(end));
            }
            prop_assert_eq!(whole.readings(), sliced.readings());
            prop_assert_eq!(whole.account(), sliced.account());
        }
        // Time that is past does nothing.
        sliced.advance(Instant::ZERO);
        prop_assert_eq!(whole.readings(), sliced.readings());
    }
}
