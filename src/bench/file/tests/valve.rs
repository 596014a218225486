//! `[device.valve]`: people's units become SI by arithmetic, and what cannot be is refused where it stands [PL-40].

use super::*;
use crate::bench::ValvePlan;
use crate::plant::actuator::{Action, Pushes};
use crate::plant::fault::FaultName;
use crate::plant::linkage::{Law, Sense};
use crate::plant::stage::StageKind;
use crate::plant::transmission::Transmission;
use crate::plant::valve::{Valve, ValveConfig};

fn plan_of(lines: &str) -> ValvePlan {
    let plan = check(&in_device(lines), Path::new("b.toml")).unwrap();
    plan.devices[0].valve.clone().unwrap()
}

#[track_caller]
fn near(a: f64, b: f64) {
    assert!((a - b).abs() <= 1e-9 * b.abs().max(1e-12), "{a} is not {b}");
}

#[test]
fn without_keys_it_is_the_reference_actuator() {
    let plan = plan_of("[device.air]\nsupply_pressure_bar = 1.4");
    assert_eq!(plan.config, ValveConfig::reference());
    assert!(!plan.is_described && plan.faults.is_empty());
    // 4 bar unless given, below a header of 6; above 5 the header is 1 bar higher.
    let at = |lines: &str| {
        let config = plan_of(lines).config;
        (config.supply.regulator.unwrap().set_gauge_pa, config.supply.header_gauge_pa)
    };
    assert_eq!(at(""), (4e5, 6e5));
    assert_eq!(at("[device.air]\nsupply_pressure_bar = 7"), (7e5, 8e5));
    assert_eq!(at("[device.valve.supply]\nheader_bar = 3"), (4e5, 3e5));
    // What the mock's lag takes says nothing of the computed valve.
    let lag = plan_of("[device.valve]\ntravel_percent = 50");
    assert_eq!(lag.config, plan_of("").config);
    assert!(!lag.is_described);
    // What is said says something, also where it is what it would be anyway.
    assert!(plan_of("[device.valve]\nstroke_mm = 20").is_described);
    let temperature = check(&in_device("kind = \"temperature\""), Path::new("b.toml")).unwrap();
    assert_eq!(temperature.devices[0].valve, None);
}

#[test]
fn an_actuator_in_people_s_units() {
    let plan = plan_of(
        "[device.valve]\nstroke_mm = 40\nacting = \"air_closes\"\narea_cm2 = 500\ndead_volume_l = 2\n\
         spring_from_bar = 0.4\nspring_to_bar = 2.0\nfriction_percent = 10\nstatic_friction_ratio = 1.5\n\
         drag_n_s_per_mm = 3\nstribeck_mm_per_s = 2\nmass_kg = 4\nseat_grip_n = 50\nprocess_force_shut_n = 300\n\
         tube_bore_mm = 8\ntube_length_m = 2",
    );
    let c = plan.config;
    assert!(plan.is_described);
    assert_eq!((c.moving.stroke_m, c.moving.mass_kg, c.moving.seat.grip_n), (0.04, 4.0, 50.0));
    assert_eq!(c.actuator.action, Action::AirCloses);
    let spring = c.actuator.spring.unwrap();
    // 0.05 m2 x 0.4 bar = 2000 N; 0.05 m2 x 1.6 bar / 0.04 m = 200 kN/m.
    assert_eq!(spring.pushes, Pushes::Open);
    near(spring.preload_n, 2000.0);
    near(spring.rate_n_per_m, 200e3);
    // 10 % of 8000 N, and half as much again at rest.
    near(c.moving.friction.coulomb_n, 800.0);
    near(c.moving.friction.static_n, 1200.0);
    near(c.moving.friction.viscous_n_s_per_m, 3000.0);
    near(c.moving.friction.stribeck_m_per_s, 2e-3);
    near(c.process.shut_n, 300.0);
    // pi/4 x 8 mm x 8 mm x 2 m = 100.53 cm3 of tube.
    assert!((c.tubing.volume_m3 - 100.53e-6).abs() < 1e-8, "{}", c.tubing.volume_m3);
    let forces = plan_of("[device.valve]\nspring_preload_n = 900\nspring_rate_n_per_mm = 100").config;
    let spring = forces.actuator.spring.unwrap();
    assert_eq!((spring.preload_n, spring.rate_n_per_m), (900.0, 100e3));
}

#[test]
fn air_stage_linkage_and_sensor() {
    let c = plan_of(
        "[device.valve.supply]\ndroop_bar = 0.3\nfilter_dm3_per_s_bar = 4\nregulator_dm3_per_s_bar = 2\n\
         [device.valve.stage]\nat_rest = \"pressurised\"\nrest_opening_percent = 4\nlag_ms = 30\n\
         fill_dm3_per_s_bar = 0.8\n\
         [device.valve.linkage]\nlaw = \"sine\"\nlever_mm = 25\nsquare_at_percent = 60\nfalling = true\nplay_mm = 0.2\n\
         [device.valve.sensor]\nfrom_deg = -45\nto_deg = 75\ninterval_ms = 10\n\
         [device.valve.follower]\ngain_percent_per_percent = 5\ndead_band_percent = 1",
    );
    let (follower, c) = (c.follower, c.config);
    near(c.supply.regulator.unwrap().band_pa, 0.3e5);
    near(c.supply.filter.conductance_m3_per_s_pa, 4e-8);
    near(c.supply.regulator.unwrap().restriction.conductance_m3_per_s_pa, 2e-8);
    assert_eq!(c.stage.kind, StageKind::PressurisedAtRest { rest_opening: 0.04 });
    near(c.stage.lag_s, 0.03);
    near(c.stage.fill.conductance_m3_per_s_pa, 0.8e-8);
    assert_eq!(c.linkage.law, Law::Sine { radius_m: 0.025, square_at_m: 0.012 });
    assert_eq!(c.linkage.sense, Sense::Falling);
    near(c.linkage.play_m_or_rad, 0.2e-3);
    near(c.sensor.min_rad, -core::f64::consts::FRAC_PI_4);
    near(c.sensor.max_rad, 75.0 / 180.0 * core::f64::consts::PI);
    near(c.sensor.resolution_rad, 120f64.to_radians() / 16_384.0);
    near(follower.gain_per_percent, 0.05);
    assert_eq!(follower.dead_band_percent, 1.0);
    // 20 mm over 80 degrees: 10 mm / tan 40 degrees = 11.9175 mm.
    let turned = plan_of("[device.valve.linkage]\nlever_turn_deg = 80").config.linkage.law;
    assert!(matches!(turned, Law::Tangent { distance_m, .. } if (distance_m - 11.9175e-3).abs() < 1e-7));
}

#[test]
fn a_part_turn_valve_and_what_takes_it_to_its_place() {
    let plan = plan_of(
        "[device.valve]\nacting = \"double\"\nstroke_mm = 60\narea_cm2 = 100\nclosing_area_cm2 = 95\n\
         [device.valve.part_turn]\ntransmission = \"yoke\"\nbreak_torque_nm = 20\nrunning_torque_nm = 8\n\
         [device.valve.fail]\ntank_l = 20\ntank_below_bar = 2.5\ntank_opens = true\nlock_up_below_bar = 1\n\
         trip_dm3_per_s_bar = 3\ntrip_opens = true\n\
         [[device.valve.fault]]\nname = \"linkage_slack\"\nseverity = 0.5\nfrom_s = 3\nuntil_s = 4.5",
    );
    let c = plan.config;
    assert_eq!(c.actuator.spring, None);
    assert_eq!(c.actuator.chambers.map(|c| c.area_m2), [0.01, 0.0095]);
    // tan 45 degrees = 1: half the stroke.
    let Transmission::Yoke { distance_m } = c.moving.transmission else { panic!("{:?}", c.moving) };
    near(distance_m, 0.03);
    near(c.open_m_or_rad(), 90f64.to_radians());
    assert!(c.linkage.law.is_part_turn());
    assert_eq!((c.moving.shaft.running_nm, c.moving.shaft.break_nm), (8.0, 20.0));
    let tank = c.fail.stored_air.unwrap();
    assert!(tank.opens);
    near(tank.tank.volume_m3, 0.02);
    near(tank.switches_below_gauge_pa, 2.5e5);
    near(c.fail.lock_up.unwrap().closes_below_gauge_pa, 1e5);
    near(c.fail.trip.unwrap().vent.conductance_m3_per_s_pa, 3e-8);
    let fault = plan.faults[0];
    assert_eq!((fault.name, fault.severity), (FaultName::LinkageSlack, 0.5));
    assert_eq!(fault.from.map(Instant::as_secs_f64), Some(3.0));
    assert_eq!(fault.until.map(Instant::as_secs_f64), Some(4.5));
}

#[test]
fn what_a_valve_cannot_be() {
    let v = |keys: &str, wrong: &str, right: &str| {
        faulty_device(&format!("[device.valve]\n{keys}"), wrong, right)
    };
    v("«stroke_m = 20", "no key `stroke_m`", "`stroke_mm`");
    v("stroke_mm = «0.5", "stroke_mm is 0.5 mm", "1 to 1000 mm");
    v("stroke_mm = «nan", "NaN mm", "1 to 1000 mm");
    v("acting = «\"air_open\"", "acting cannot be", "did you mean \"air_opens\"?");
    v("spring = «\"closes\"", "against the air", "acting = \"double\"");
    v("closing_area_cm2 = «90", "air on one side", "acting = \"double\"");
    v("acting = \"double\"\nspring_to_bar = «2", "no spring", "spring = \"closes\"");
    v("spring_from_bar = «2", "below its begin", "1.0 and 0.2 bar");
    v(
        "spring_to_bar = «2\nspring_preload_n = 5\nspring_rate_n_per_mm = 5",
        "by its pressures and by",
        "or spring_preload_n",
    );
    v("spring_preload_n = «5", "where it begins and how it rises", "both");
    v("friction_n = 1\nfriction_percent = «1", "friction is given twice", "friction_n or friction_percent");
    v("acting = \"double\"\nfriction_percent = «1", "this valve has none", "friction_n");
    v("tube_length_m = «1", "no bore", "tube_bore_mm");
    v("part_turn = { turn_deg = «5 }", "turn_deg is 5", "10 to 120");
    v(
        "part_turn = { running_torque_nm = 9, break_torque_nm = «8 }",
        "cannot be",
        "not below running_torque_nm",
    );
    v("part_turn = {}\nlinkage = { law = «\"sine\" }", "a coupling and no lever", "law = \"coupling\"");
    v("part_turn = {}\nlinkage = { lever_mm = «20 }", "no lever", "play_deg");
    v("linkage = { law = «\"coupling\" }", "a shaft that turns", "part_turn");
    v("linkage = { misaligned_deg = «2 }", "belongs to a coupling", "play_mm");
    v("linkage = { lever_mm = 20, lever_turn_deg = «50 }", "given twice", "lever_mm or lever_turn_deg");
    // A sine law of 8 mm cannot follow 10 mm to each side.
    v("linkage = { law = \"sine\", lever_mm = «8 }", "cannot be", "");
    // Square at the closed stop: atan(20/17.32) = 49.1 degrees at the open one.
    v("linkage = { square_at_percent = 0 }\nsensor = { to_deg = «45 }", "49.1 degrees", "more range");
    v("sensor = { from_deg = 10, to_deg = «5 }", "cannot be", "from_deg below the to_deg");
    v("stage = { rest_opening_percent = «5 }", "nothing open", "at_rest = \"pressurised\"");
    v("stage = { at_rest = \"pressurised\", dead_band_percent = «5 }", "no dead band", "\"blocked\"");
    v("stage = { at_rest = «\"closed\" }", "at_rest cannot be", "blocked, pressurised");
    v("supply = { line_length_m = «5 }", "no bore", "line_bore_mm");
    v("supply = { header_bar = «21 }", "21 bar", "0 to 20 bar");
    v("fail = { tank_l = «5 }", "a single-acting one has a spring", "acting = \"double\"");
    v("acting = \"double\"\nfail = { tank_opens = «true }", "no tank", "tank_l");
    v("fail = { trip_opens = «true }", "no trip valve", "trip_dm3_per_s_bar");
    v("fail = { lock_up_leak_dm3_per_s_bar = «0 }", "no lock-up valve", "lock_up_below_bar");
    v("follower = { gain_percent_per_percent = «0 }", "is 0 %", "0.1 to 1000");
    let fault = |keys: &str, wrong: &str, right: &str| {
        faulty_device(&format!("[[device.valve.fault]]\n{keys}"), wrong, right);
    };
    fault("name = «\"filter_block\"\nseverity = 1", "name cannot be", "did you mean \"filter_blocked\"?");
    fault("name = \"filter_blocked\"\nseverity = «1.5", "severity is 1.5", "0 to 1");
    fault("name = \"filter_blocked\"\nseverity = «0", "no fault", "above 0");
    fault(
        "name = \"filter_blocked\"\nseverity = 1\nfrom_s = 3\nuntil_s = «2",
        "ends before it begins",
        "later",
    );
    faulty_device("«[[device.valve.fault]]\nname = \"filter_blocked\"", "no severity", "--faults");
    faulty_device(
        "kind = \"temperature\"\n[device.«valve.stage]\nlag_ms = 1",
        "has no [device.valve]",
        "positioner",
    );
}

proptest! {
    /// Any numbers: a valve that can be run, or a message.
    #[test]
    fn any_numbers_make_a_valve_or_a_message(
        stroke in -1.0f64..1200.0, area in -1.0f64..30_000.0, from in -0.1f64..3.0, to in -0.1f64..3.0,
        turn in 0.0f64..160.0, square in -50.0f64..150.0, double in any::<bool>(), part_turn in any::<bool>(),
    ) {
        let acting = if double { "double" } else { "air_opens" };
        let spring = if double { "spring = \"opens\"\n" } else { "" };
        let shaft = if part_turn { format!("part_turn = {{ turn_deg = {turn} }}\n") } else { String::new() };
        let lever = if part_turn { String::new() } else {
            format!("linkage = {{ lever_turn_deg = {turn}, square_at_percent = {square} }}\n")
        };
        let text = in_device(&format!(
            "[device.valve]\nstroke_mm = {stroke}\nacting = \"{acting}\"\narea_cm2 = {area}\n{spring}\
             spring_from_bar = {from}\nspring_to_bar = {to}\n{shaft}{lever}"
        ));
        match check(&text, Path::new("b.toml")) {
            Ok(plan) => {
                let mut valve = Valve::new(plan.devices[0].valve.as_ref().unwrap().config, 1).unwrap();
                valve.set_drive(1.0);
                valve.advance(Instant::from_nanos(300_000_000));
                let r = valve.readings();
                prop_assert!((-1.0..101.0).contains(&r.travel_percent), "{r:?}");
                prop_assert!(r.chamber_gauge_pa.iter().all(|pa| (-1e5..2e6).contains(pa)), "{r:?}");
            }
            Err(e) => prop_assert!(e.place.is_some() && e.to_string().contains("next: "), "{e}"),
        }
    }
}
