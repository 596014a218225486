//! What is stored outlives a restart from the image [DV-88] [DV-03].

use super::rig::{Rig, plan};
use looprig::bench;
use looprig::device::decode_image;
use looprig::time::Instant;

/// A bench that starts with this memory.
fn restarted(image: Option<Vec<u8>>) -> Rig {
    let (world, _) = bench::world(&plan("", ""), &[image], core::time::Duration::ZERO, Instant::ZERO);
    Rig::of(world.into_line("mock"))
}

#[test]
fn everything_stored_is_there_again() {
    let mut rig = Rig::calibrated("");
    assert_eq!(rig.code(138, &[("characteristic", "1"), ("rangeability", "25")]), 0);
    assert_eq!(rig.code(140, &[("point", "3"), ("set_point", "30"), ("travel", "12.5")]), 0);
    let ends =
        [("lower_action", "1"), ("lower_set_point", "2"), ("upper_action", "1"), ("upper_set_point", "98")];
    assert_eq!(rig.code(136, &ends), 0);
    let limits = [
        ("lower_travel_limit", "5"),
        ("upper_travel_limit", "95"),
        ("deviation_limit", "3"),
        ("deviation_time", "7"),
    ];
    let in_service_s = rig.number(145, "time_in_service");
    assert!(in_service_s > 10.0);
    assert_eq!(rig.code(142, &limits), 0);
    let before = rig.in_force().expect("calibrated");
    let told: Vec<_> = [134, 135, 137, 141].map(|c| rig.data(c)).into();
    let point = rig.ask(139, &[("point", "3")]);
    assert_eq!(point.value("travel").expect("a travel").text(), "12.5 %");
    let image = rig.station().device_mut().take_image().expect("something was stored");
    let stored = decode_image(&image).expect("an image");
    assert!(stored.positioner.is_some());

    // Half a calibration is nothing that is stored.
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(4.0);
    let image = rig.station().device_mut().take_image().unwrap_or(image);

    let mut again = restarted(Some(image));
    let after = again.in_force().expect("calibrated");
    // A double through JSON may be off in its last digit.
    assert!((after.closed_rad - before.closed_rad).abs() < 1e-12);
    assert!((after.learned.span_pa - before.learned.span_pa).abs() < 1e-6);
    assert_eq!([134, 135, 137, 141].map(|c| again.data(c)).to_vec(), told);
    assert_eq!(again.ask(139, &[("point", "3")]).value("travel").expect("a travel").text(), "12.5 %");
    assert!(again.number(145, "time_in_service") >= in_service_s, "it goes on counting");
    again.set_current_ma(12.0);
    again.idle(20.0);
    // (sqrt(25) - 1)/(25 - 1) = 1/6 of the travel at half of the set point [DV-82].
    let travel = again.truth().travel_percent;
    assert!((travel - 100.0 / 6.0).abs() < 0.4, "{travel}");
}

/// [DV-90]: the same through the whole device and its image: whatever ends a calibration, at whatever moment, the image has what was
/// learned before, and a device that starts with it too.
#[test]
fn no_end_of_a_calibration_loses_what_the_image_has() {
    use looprig::device::positioner::Key;
    use looprig::sim::Change;
    let moments = if cfg!(debug_assertions) { 6 } else { 100 };
    let mut dice = looprig::plant::generated::Dice::new(4712);
    let mut first = Rig::calibrated("");
    first.idle(10.0);
    let before = first.in_force().expect("calibrated");
    let image = first.station().device_mut().take_image().expect("it is stored");
    let mut lasts_s = [0.0; 3];
    for (kind, lasts_s) in ["1", "2", "3"].into_iter().zip(&mut lasts_s) {
        let mut whole = restarted(Some(image.clone()));
        whole.idle(5.0);
        let begun = whole.now();
        assert_eq!(whole.code(131, &[("calibration", kind)]), 0);
        while whole.electronics().progress().is_some() {
            whole.idle(0.1);
        }
        // The answer took a moment of it.
        *lasts_s = whole.now().since(begun).as_secs_f64() - 1.0;
    }
    for n in 0..moments {
        let mut rig = restarted(Some(image.clone()));
        rig.idle(5.0);
        let at = n % 3;
        assert_eq!(rig.code(131, &[("calibration", ["1", "2", "3"][at])]), 0);
        rig.idle(dice.between(0.0, lasts_s[at]));
        assert!(rig.electronics().progress().is_some(), "moment {n}");
        match n / 3 % 4 {
            0 => assert_eq!(rig.code(133, &[]), 0),
            1 => rig.change(Change::PowerCycle),
            2 => rig.change(Change::KeyPressed(Key::Acknowledge, true)),
            _ => rig.set_current_ma(0.0),
        }
        rig.idle(1.0);
        assert!(rig.electronics().progress().is_none(), "moment {n}");
        assert_eq!(
            rig.in_force().map(|c| (c.closed_rad, c.open_rad)),
            Some((before.closed_rad, before.open_rad))
        );
        let kept = rig.station().device_mut().take_image().unwrap_or_else(|| image.clone());
        let stored = decode_image(&kept).expect("an image").positioner.and_then(|p| p.calibrated);
        let stored = stored.expect("what was learned is stored");
        // A double through JSON may be off in its last digit.
        let off = (stored.closed_rad - before.closed_rad).abs() + (stored.open_rad - before.open_rad).abs();
        assert!(off < 1e-12, "moment {n}: {off}");
        let after = restarted(Some(kept)).in_force().expect("calibrated");
        assert!((after.closed_rad - before.closed_rad).abs() < 1e-12, "moment {n}");
    }
}

/// [DV-89]: a failed calibration of which somebody took note is no alarm again behind a restart; one that the loss of power ends
/// then is, whatever was noted before.
#[test]
fn a_failure_that_was_noted() {
    use looprig::device::positioner::Key;
    use looprig::sim::Change;
    let failed = |rig: &mut Rig| rig.data(48)[0] & 0x80 != 0;
    let mut rig = Rig::new("", "");
    rig.idle(1.0);
    assert_eq!(rig.code(131, &[("calibration", "3")]), 0);
    rig.idle(3.0);
    rig.change(Change::SupplyPressureBar(0.0));
    rig.idle(60.0);
    assert!(failed(&mut rig));
    let image = rig.station().device_mut().take_image();
    let mut again = restarted(image);
    again.idle(1.0);
    assert!(failed(&mut again), "nobody has taken note");
    again.change(Change::KeyPressed(Key::Acknowledge, true));
    again.idle(1.0);
    assert!(!failed(&mut again));
    let image = again.station().device_mut().take_image();
    assert!(image.is_some(), "it is stored");
    let mut noted = restarted(image);
    noted.idle(1.0);
    assert!(!failed(&mut noted), "known");
    assert_eq!(noted.data(134)[..2], [3, 4], "what came of it is told all the same");
    noted.change(Change::PowerCycle);
    noted.idle(1.0);
    assert!(!failed(&mut noted));
    assert_eq!(noted.code(131, &[("calibration", "1")]), 0);
    noted.idle(2.0);
    noted.change(Change::PowerCycle);
    noted.idle(1.0);
    assert!(failed(&mut noted), "that one is new");
}

#[test]
fn what_cannot_be_written() {
    let mut rig = Rig::new("", "");
    assert_eq!(rig.code(138, &[("characteristic", "4"), ("rangeability", "25")]), 2);
    assert_eq!(rig.code(138, &[("characteristic", "1"), ("rangeability", "1")]), 4);
    assert_eq!(rig.code(138, &[("characteristic", "1"), ("rangeability", "201")]), 3);
    assert_eq!(rig.code(140, &[("point", "11"), ("set_point", "1"), ("travel", "1")]), 2);
    assert_eq!(rig.code(140, &[("point", "5"), ("set_point", "50"), ("travel", "30")]), 0);
    assert_eq!(
        rig.code(138, &[("characteristic", "3"), ("rangeability", "50")]),
        9,
        "points fall from 40 to 30 %"
    );
    let meet =
        [("lower_action", "1"), ("lower_set_point", "50"), ("upper_action", "1"), ("upper_set_point", "50")];
    assert_eq!(rig.code(136, &meet), 9);
    let crossed = [
        ("lower_travel_limit", "60"),
        ("upper_travel_limit", "40"),
        ("deviation_limit", "3"),
        ("deviation_time", "7"),
    ];
    assert_eq!(rig.code(142, &crossed), 9);
    assert_eq!(
        rig.ask(143, &[("first_entry", "9")])
            .transaction
            .reply_frame()
            .and_then(|f| f.status())
            .map(|s| s[0]),
        Some(2)
    );
}

/// [DV-82]: while points in force do not rise, those that did last stay; then the new ones count.
#[test]
fn points_one_after_the_other() {
    let mut rig = Rig::calibrated("");
    for n in 1..10u8 {
        let (point, at) = (n.to_string(), (10 * n).to_string());
        assert_eq!(rig.code(140, &[("point", &point), ("set_point", &at), ("travel", "50")]), 0);
    }
    assert_eq!(rig.code(138, &[("characteristic", "3"), ("rangeability", "50")]), 0);
    rig.set_current_ma(16.0);
    rig.idle(20.0);
    assert!((rig.truth().travel_percent - 50.0).abs() < 0.4);
    // 75 % lie between 70 and 80 %; the travel at 70 % is below that at 60 % now.
    assert_eq!(rig.code(140, &[("point", "7"), ("set_point", "70"), ("travel", "40")]), 0);
    rig.idle(20.0);
    assert!((rig.truth().travel_percent - 50.0).abs() < 0.4);
    assert_eq!(rig.code(140, &[("point", "7"), ("set_point", "70"), ("travel", "60")]), 0);
    for n in ["8", "9"] {
        let at = format!("{n}0");
        assert_eq!(rig.code(140, &[("point", n), ("set_point", &at), ("travel", "80")]), 0);
    }
    rig.idle(20.0);
    // Half way from 60 to 80 %.
    assert!((rig.truth().travel_percent - 70.0).abs() < 0.4);
}
