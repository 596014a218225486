//! What becomes of a calibration with each electrical and settings fault [DV-113], and on local [DV-112].

use super::rig::{Rig, SUPPLY, event, fault, near, text};
use looprig::device::positioner::{Cause, Ending};
use looprig::device::{NotBegun, PositionerNews, Response};

/// When the fault comes, s.
const COMES_S: f64 = 5.0;

/// A cell of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Cell {
    Done,
    Ends(Cause),
    Refused(NotBegun),
}

/// What the first calibration after the fault came to, begun at the device `after_s` later.
fn becomes(name: &str, severity: f64, after_s: f64) -> Cell {
    let begins_s = COMES_S + after_s;
    let events = fault(COMES_S, name, severity) + &event(begins_s, "calibrate = true");
    let mut rig = Rig::new(&text(SUPPLY, "", &events));
    rig.to(begins_s - 0.5);
    rig.station().device_mut().take_positioner_news();
    for n in 1..=240 {
        rig.to(begins_s + f64::from(n));
        for (_, news) in rig.station().device_mut().take_positioner_news() {
            match news {
                PositionerNews::CalibrationEnded(outcome) => match outcome.ending {
                    Ending::Done => return Cell::Done,
                    Ending::Failed(cause) => return Cell::Ends(cause),
                    Ending::Aborted => panic!("{name} {severity}: nobody has ended it"),
                },
                PositionerNews::NotDone(Response::NotBegun(why)) => return Cell::Refused(why),
                _ => {}
            }
        }
    }
    panic!("{name} {severity}: nothing came of it")
}

#[test]
fn each_fault_and_a_calibration() {
    use Cell::{Done, Ends, Refused};
    let dark = Refused(NotBegun::NoPower);
    let rows = [
        ("loop_volts_low", 3.0, Done, dark),
        ("current_missing", 3.0, Done, dark),
        ("wires_reversed", 3.0, dark, dark),
        ("wet_cable", 3.0, Done, Done),
        ("trip_not_energised", 3.0, Ends(Cause::NothingMovesStuck), Ends(Cause::NothingMovesStuck)),
        ("selector_local", 3.0, Done, Done),
        ("write_protect_on", 3.0, Refused(NotBegun::WriteProtected), Refused(NotBegun::WriteProtected)),
        ("polling_address_changed", 3.0, Done, Done),
        ("burst_left_on", 3.0, Done, Done),
        ("second_master", 3.0, Done, Done),
        ("water_in_housing", 62.0, Ends(Cause::AngleBeyond), dark),
    ];
    for (name, after_s, medium, severe) in rows {
        for (severity, right) in [(0.6, medium), (1.0, severe)] {
            assert_eq!(becomes(name, severity, after_s), right, "{name} {severity}");
        }
    }
}

/// [DV-112]: turned to local in the middle of a calibration, the set point stays as it was.
#[test]
fn turned_to_local_in_the_middle() {
    let events = event(10.0, "calibrate = true") + &fault(14.0, "selector_local", 1.0);
    let mut rig = Rig::new(&text(SUPPLY, "", &events));
    rig.to(14.5);
    assert!((rig.travel() - 50.0).abs() > 5.0, "it strokes: {}", rig.travel());
    assert!(rig.station().device().is_local());
    rig.to(120.0);
    assert!(rig.station().device().electronics().is_some_and(|e| e.progress().is_none()));
    near("travel", rig.travel(), 50.0, 0.5);
}

/// [DV-90]: a dark device calibrates nothing, and says why from the moment at which its power went.
#[test]
fn dark_it_calibrates_nothing() {
    let events = event(10.0, "calibrate = true") + &event(14.0, "loop_open = true");
    let mut rig = Rig::new(&text(SUPPLY, "", &events));
    rig.to(13.9);
    assert!(rig.station().device().electronics().is_some_and(|e| e.progress().is_some()));
    rig.station().device_mut().take_positioner_news();
    rig.to(14.1);
    assert!(rig.dark().is_some());
    let electronics = rig.station().device().electronics().expect("electronics");
    assert!(electronics.progress().is_none());
    assert_eq!(electronics.result().map(|o| o.ending), Some(Ending::Failed(Cause::PowerLost)));
    let news = rig.station().device_mut().take_positioner_news();
    let ended = news.iter().filter(|n| matches!(n.1, PositionerNews::CalibrationEnded(_)));
    assert_eq!(ended.count(), 1, "{news:?}");
}
