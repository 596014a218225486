//! A hand that moves the valve and holds it [PL-37].

use looprig::plant::fault::FaultName;
use looprig::plant::valve::{Valve, ValveConfig};
use std::time::Duration;

fn run(valve: &mut Valve, seconds: f64) {
    valve.advance(valve.now() + Duration::from_secs_f64(seconds));
}

/// The reference actuator, spring closes, without air.
fn without_air() -> Valve {
    let mut valve = Valve::new(ValveConfig::reference(), 7).expect("accepted");
    valve.set_header_gauge_pa(0.0).expect("within range");
    run(&mut valve, 60.0);
    assert!(valve.travel_percent() < 1e-9, "{:?}", valve.readings());
    valve
}

/// 5 % of the stroke a second: 50 % after 10 s, all of it after 20 s, where it stays against the spring until the hand lets go. The
/// sensor sees it as it sees any motion.
#[test]
fn it_moves_in_twenty_seconds_and_holds() {
    let mut valve = without_air();
    valve.set_hand_percent(Some(100.0)).expect("within range");
    run(&mut valve, 10.0);
    let half = valve.readings();
    assert!((half.travel_percent - 50.0).abs() < 0.1, "{half:?}");
    assert!((half.sensed_travel_percent - 50.0).abs() < 0.5, "{half:?}");
    // 5 % of 20 mm a second.
    assert!((half.velocity_m_per_s - 1e-3).abs() < 1e-6, "{half:?}");
    assert_eq!(half.stop, None, "what a hand holds stands at no stop");
    run(&mut valve, 10.1);
    assert!((valve.travel_percent() - 100.0).abs() < 1e-6, "{:?}", valve.readings());
    run(&mut valve, 60.0);
    assert!((valve.travel_percent() - 100.0).abs() < 1e-6 && valve.readings().velocity_m_per_s == 0.0);
    valve.set_hand_percent(Some(30.0)).expect("within range");
    run(&mut valve, 15.0);
    assert!((valve.travel_percent() - 30.0).abs() < 1e-6, "{:?}", valve.readings());
    valve.set_hand_percent(None).expect("within range");
    run(&mut valve, 30.0);
    assert!(valve.travel_percent() < 1e-9, "the spring closes it: {:?}", valve.readings());
}

/// It holds against air as well, and goes no further than a stop that was moved in.
#[test]
fn it_holds_against_air_and_goes_to_the_stops() {
    let mut valve = without_air();
    valve.set_hand_percent(Some(20.0)).expect("within range");
    run(&mut valve, 10.0);
    valve.set_header_gauge_pa(ValveConfig::reference().supply.header_gauge_pa).expect("within range");
    valve.set_drive(1.0);
    run(&mut valve, 60.0);
    assert!((valve.travel_percent() - 20.0).abs() < 1e-6, "{:?}", valve.readings());
    // Severity 0.5: the open stop stands at 70 % [PL-33].
    valve.inject(FaultName::StopMoved, 0.5).expect("it has one");
    valve.set_hand_percent(Some(100.0)).expect("within range");
    run(&mut valve, 30.0);
    assert!((valve.travel_percent() - 70.0).abs() < 1e-6, "{:?}", valve.readings());
}

/// A seized stem holds with 1.5 times the thrust of the supply [PL-33], and the spring besides: that is more than a hand has.
#[test]
fn a_seized_stem_does_not_move() {
    let mut valve = without_air();
    valve.inject(FaultName::StemSeized, 1.0).expect("it has one");
    valve.set_hand_percent(Some(100.0)).expect("within range");
    run(&mut valve, 30.0);
    assert!(valve.travel_percent() < 1e-9, "{:?}", valve.readings());
    valve.clear(FaultName::StemSeized).expect("it has one");
    run(&mut valve, 30.0);
    assert!((valve.travel_percent() - 100.0).abs() < 1e-6, "{:?}", valve.readings());
}

#[test]
fn a_place_beyond_the_ends_is_refused() {
    let mut valve = without_air();
    for wrong in [-0.1, 100.1, f64::NAN] {
        assert!(valve.set_hand_percent(Some(wrong)).is_err(), "{wrong}");
    }
    assert_eq!(valve.hand_percent(), None);
}
