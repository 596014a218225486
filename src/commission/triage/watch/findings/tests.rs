use super::super::{Asked, Calibration, Elsewhere, Heard, Hold, Stroke, Supply, Watched};
use super::*;
use crate::commission::travel::record::{Ended, Link};
use proptest::prelude::*;

fn value<'a>(of: &'a [Finding], symptom: &str) -> &'a str {
    of.iter().find(|f| f.symptom == symptom).map_or("-", |f| f.value.as_str())
}

fn held(percent: impl Fn(usize) -> f64) -> Watched {
    // 25 s, a reading each half second.
    let samples = (0..=50).map(|n| Sample::new(n as f64 / 2.0, percent(n))).collect();
    Watched {
        hold: Some(Hold { set_point_percent: Some(50.0), samples, ..Hold::default() }),
        ..Watched::default()
    }
}

/// One set point: within 1 % is steady; 2 % there and back every 10 s swings; 2 % one way drifts.
#[test]
fn what_holds() {
    let swing = |n: usize| 50.0 + (n as f64 / 20.0 * core::f64::consts::TAU).sin();
    for (of, right) in [
        (held(|_| 50.0), "steady"),
        (held(|n| 50.0 + 0.4 * (n % 2) as f64), "steady"),
        (held(swing), "swings"),
        (held(|n| 50.0 + n as f64 / 25.0), "drifts"),
        (held(|n| 50.0 - n as f64 / 25.0), "drifts"),
    ] {
        assert_eq!(value(&findings(&of), "hold"), right);
    }
    // Travel that follows a set point on the move, as of a control loop, is no swinging.
    for (spans, right) in [(0.2, "swings"), (8.0, "-")] {
        let mut moved = held(swing);
        if let Some(hold) = &mut moved.hold {
            hold.set_point_spans_percent = spans;
        }
        assert_eq!(value(&findings(&moved), "hold"), right);
    }
    // Five seconds are too short to say.
    let mut short = held(|_| 50.0);
    short.hold.iter_mut().for_each(|h| h.samples.truncate(10));
    assert_eq!(value(&findings(&short), "hold"), "-");
}

/// Of 20 requests 11 at the first try are 55 %, below 60: at times where one of them was never answered. 9 of 29 tries without an answer are
/// 31 %, many; 1 of 21 is 4.8 %, few; 2 of 22 are 9.1 %, some.
#[test]
fn who_answers() {
    let asked = |again: usize, none: usize| -> Vec<Asked> {
        (0..20)
            .map(|n| match n {
                n if n < none => Asked { tries: 4, answered: false },
                n if n < none + again => Asked { tries: 2, answered: true },
                _ => Asked { tries: 1, answered: true },
            })
            .collect()
    };
    for (again, none, answers, repeats) in [
        (0, 0, "yes", "few"),
        (1, 0, "yes", "few"),
        (2, 0, "yes", "some"),
        (9, 0, "yes", "many"),
        (8, 1, "at_times", "many"),
    ] {
        let of = findings(&Watched { asked: asked(again, none), ..Watched::default() });
        assert_eq!((value(&of, "answers"), value(&of, "repeats")), (answers, repeats), "{again} {none}");
    }
    let silent = vec![Asked { tries: 4, answered: false }; 5];
    let at = |address| Elsewhere { address: Some(address), ..Elsewhere::default() };
    for (elsewhere, ended, right) in [
        (None, Ended::Interrupted { during: "listening".into() }, "-"),
        (Some(vec![]), Ended::Whole, "silent"),
        (Some(vec![at(9)]), Ended::Whole, "elsewhere"),
        // Which of two is it? And one with another tag is not.
        (Some(vec![at(9), at(12)]), Ended::Whole, "silent"),
        (Some(vec![Elsewhere { is_another: true, ..at(9) }]), Ended::Whole, "silent"),
    ] {
        let of = findings(&Watched { asked: silent.clone(), elsewhere, ended, ..Watched::default() });
        assert_eq!(value(&of, "answers"), right);
    }
}

/// One request that is not ours may be noise, two are somebody [HO-03]; a master of the other role is as it should be [LL-09].
#[test]
fn who_else_talks() {
    let heard = |same_role, other_role| Watched {
        asked: vec![Asked { tries: 1, answered: true }],
        others: Heard { same_role, other_role, ..Heard::default() },
        ..Watched::default()
    };
    for (watched, right) in [
        (heard(0, 0), "none"),
        (heard(1, 0), "none"),
        (heard(2, 0), "present"),
        (heard(0, 2), "none"),
        (heard(0, 200), "none"),
        (heard(2, 200), "present"),
        (Watched { stopped: Some("another".into()), ..heard(0, 0) }, "present"),
    ] {
        assert_eq!(value(&findings(&watched), "strangers"), right);
    }
}

/// Where nobody answers it counts whether others do, and whether the port hears anything at all [TG-13].
#[test]
fn what_a_silent_line_tells() {
    let silent = |others: usize, damaged, bursts| {
        let one = Elsewhere { address: Some(4), is_another: true, ..Elsewhere::default() };
        findings(&Watched {
            asked: vec![Asked { tries: 4, answered: false }; 5],
            elsewhere: Some(vec![one; others]),
            others: Heard { damaged, bursts, ..Heard::default() },
            ended: Ended::Whole,
            ..Watched::default()
        })
    };
    for (others, damaged, bursts, answer, hears) in [
        (0, 0, 0, "none", "nothing"),
        (0, 3, 0, "none", "damaged"),
        (0, 3, 1, "none", "talk"),
        (2, 0, 0, "present", "talk"),
    ] {
        let of = silent(others, damaged, bursts);
        assert_eq!((value(&of, "others_answer"), value(&of, "port_hears")), (answer, hears));
    }
    // Of a line on which it answers neither is said.
    let heard = findings(&Watched { asked: vec![Asked { tries: 1, answered: true }], ..Watched::default() });
    assert_eq!((value(&heard, "others_answer"), value(&heard, "port_hears")), ("-", "-"));
}

/// A bit is a symptom by its whole name: volts are no air, and a flow is no pressure [TG-14].
#[test]
fn bits_by_their_whole_names() {
    let says = |bit: &str| {
        findings(&Watched { told: vec![bit.to_owned()], told_has_own: true, ..Watched::default() })
    };
    for (bit, symptom, right) in [
        ("supply pressure too low", "supply_alarm", "yes"),
        ("Supply pressure too low", "supply_alarm", "yes"),
        ("supply voltage low", "supply_alarm", "no"),
        ("flow of the supply below its low limit", "supply_alarm", "no"),
        ("supply pressure too high", "supply_alarm", "no"),
        ("lever outside its angles", "lever_alarm", "yes"),
        ("on local", "set_point_from", "local"),
        ("local time lost", "set_point_from", "loop"),
        ("set point by hand", "set_point_from", "hand"),
        ("device configuration locked", "protected", "yes"),
    ] {
        assert_eq!(value(&says(bit), symptom), right, "{bit}");
    }
}

/// A stroke from 0 % with a dead time of 1 s that then takes `s` seconds.
fn stroke(to_percent: f64, from: f64, rest: f64, s: f64) -> Stroke {
    let at = |t: f64| from + (rest - from) * ((t - 1.0) / s).clamp(0.0, 1.0);
    let samples: Vec<Sample> = (0..200).map(|n| Sample::new(0.5 * n as f64, at(0.5 * n as f64))).collect();
    Stroke {
        to_percent,
        asked_ma: Some(4.0 + 0.16 * to_percent),
        read_ma: Some(4.0 + 0.16 * to_percent),
        set_point_percent: Some(to_percent),
        from_percent: Some(from),
        at_rest: samples[190..].to_vec(),
        samples,
        settled: true,
        angle_deg: Some(-30.0 + 0.6 * rest),
        ..Stroke::default()
    }
}

fn stroked(strokes: Vec<Stroke>, calibrated_s: f64) -> Watched {
    let calibration = Calibration {
        angles_deg: Some((-30.0, 30.0)),
        stroke_s: (Some(calibrated_s), Some(calibrated_s)),
        ..Calibration::default()
    };
    Watched { calibration: Some(calibration), strokes, ..Watched::default() }
}

/// 98 % of the way at 1 + 0.98 x 9 = 9.82 s, of 10 s: as ever. With 19 s 19.6 s are twice the time, with 29 s 29.4 s nearly three times; with 5 s 5.9 s
/// are 59 %.
#[test]
fn how_long_strokes_take() {
    for (s, right) in [(9.0, "as_ever"), (19.0, "longer"), (29.0, "much_longer"), (5.0, "shorter")] {
        let of = stroked(vec![stroke(0.0, 50.0, 0.0, 5.0), stroke(100.0, 0.0, 100.0, s)], 10.0);
        assert_eq!(value(&findings(&of), "opening_time"), right, "{s} s");
        let by_person = Watched { by_person: true, ..of };
        assert_eq!(value(&findings(&by_person), "opening_time"), "-");
    }
    // From a stop at 60 %: 0.96 x 5.8 s for 60 % are 9.3 s for all of it, 1.16 times 8 s; the second before it moves, which would make 1.39 of it, is no
    // matter of the way.
    let of = stroked(vec![stroke(100.0, 0.0, 60.0, 5.0), stroke(0.0, 60.0, 0.0, 5.8)], 8.0);
    assert_eq!(value(&findings(&of), "closing_time"), "as_ever");
    // Given up at 60 % after 99.5 s: 166 s for the whole way.
    let mut slow = stroke(100.0, 0.0, 60.0, 98.0);
    slow.settled = false;
    let of = stroked(vec![stroke(0.0, 50.0, 0.0, 5.0), slow], 10.0);
    assert_eq!(value(&findings(&of), "opening_time"), "much_longer");
}

/// By the angle, 0.6 degrees a percent: beyond and short by more than 2 %, no move under 2 %.
#[test]
fn where_strokes_end() {
    for (rest, right) in [
        (99.0, "full"),
        (101.9, "full"),
        (97.9, "short"),
        (102.1, "beyond"),
        (1.9, "no_move"),
        (50.0, "short"),
    ] {
        let of = stroked(vec![stroke(0.0, 50.0, 0.0, 5.0), stroke(100.0, 0.0, rest, 5.0)], 6.0);
        assert_eq!(value(&findings(&of), "opens"), right, "{rest} %");
    }
    // The device's own set point is elsewhere: that says nothing of the valve.
    let mut elsewhere = stroke(100.0, 0.0, 60.0, 5.0);
    elsewhere.set_point_percent = Some(60.0);
    let of = stroked(vec![stroke(0.0, 50.0, 0.0, 5.0), elsewhere], 6.0);
    assert_eq!(value(&findings(&of), "opens"), "-");
}

/// 0.15 mA is the limit.
#[test]
fn what_current_is_read() {
    for (read, right) in [(12.1, "as_sent"), (11.8, "less"), (12.2, "more"), (8.4, "less")] {
        let mut one = stroke(50.0, 50.0, 50.0, 1.0);
        one.read_ma = Some(read);
        let of = findings(&stroked(vec![one], 6.0));
        assert_eq!(value(&of, "current"), right, "{read} mA");
    }
}

/// Any number, none, and what is no number.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => -10.0f64..110.0,
        1 => prop::sample::select(vec![f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, f64::MIN, 0.0, 50.0, 100.0]),
    ]
}

fn samples() -> impl Strategy<Value = Vec<Sample>> {
    let one = (number(), prop::option::of(number())).prop_map(|(at_s, percent)| Sample { at_s, percent });
    prop::collection::vec(one, 0..40)
}

fn any_stroke() -> impl Strategy<Value = Stroke> {
    let place = prop_oneof![Just(0.0), Just(50.0), Just(60.0), Just(100.0), number()];
    let some = || prop::option::of(number());
    ((place, some(), number(), some()), samples(), samples(), any::<bool>(), (some(), some(), some(), some()))
        .prop_map(|((to_percent, asked_ma, asked_at_s, from_percent), samples, at_rest, settled, told)| {
            Stroke {
                to_percent,
                asked_ma,
                asked_at_s,
                from_percent,
                samples,
                at_rest,
                settled,
                read_ma: told.0,
                set_point_percent: told.1,
                deviation_percent: told.2,
                angle_deg: told.3,
            }
        })
}

prop_compose! {
    fn anything()(
        tries in prop::collection::vec((any::<u32>(), any::<bool>()), 0..25),
        counts in prop::collection::vec(any::<u32>(), 8),
        words in prop::collection::vec("\\PC{0,30}|.*supply.*low|on local|lever", 0..5),
        marks in (any::<Option<u8>>(), any::<Option<bool>>(), any::<Option<bool>>(), any::<bool>(), any::<bool>()),
        elsewhere in prop::option::of(prop::collection::vec((any::<Option<u8>>(), "\\PC{0,8}", any::<bool>()), 0..3)),
        supplies in prop::collection::vec((number(), prop::option::of(number())), 0..10),
        plate in prop::option::of(number()),
        hold in prop::option::of(samples()),
        strokes in prop::collection::vec(any_stroke(), 0..9),
        calibration in prop::option::of((prop::option::of((number(), number())), prop::option::of(number()), prop::option::of(number()))),
    ) -> Watched {
        let (status, write_protect, burst_mode, told_has_own, by_person) = marks;
        Watched {
            asked: tries.into_iter().map(|(tries, answered)| Asked { tries, answered }).collect(),
            elsewhere: elsewhere.map(|all| all.into_iter().map(|(address, tag, is_another)| {
                Elsewhere { address, unique_address: String::new(), tag, is_another }
            }).collect()),
            others: Heard {
                same_role: counts[0], other_role: counts[1], bursts: counts[2], damaged: counts[3],
            },
            link: Link { requests: counts[4], answered: counts[5], retries: counts[6], ..Link::default() },
            ended: if counts[7] % 2 == 0 { Ended::Whole } else { Ended::Silent { during: "x".into(), last_heard_s: None } },
            told: words, status, write_protect, burst_mode, told_has_own, by_person,
            supply: Supply { plate_kpa: plate, at_rest: supplies.clone(), in_strokes: supplies },
            hold: hold.map(|samples| Hold { samples, ..Hold::default() }),
            calibration: calibration.map(|(angles_deg, a, b)| Calibration { angles_deg, stroke_s: (a, b), ..Calibration::default() }),
            strokes,
            ..Watched::default()
        }
    }
}

proptest! {
    /// Whatever was collected gives symptoms that are known, each once, with values that they have, and always the same.
    #[test]
    #[cfg(feature = "bench-file")]
    fn whatever_was_collected(watched in anything()) {
        let known = crate::commission::triage::Knowledge::own().expect("its own file is right");
        let of = findings(&watched);
        for f in &of {
            let symptom = known.symptom(&f.symptom).map(|s| &known.symptoms[s]);
            prop_assert!(symptom.is_some_and(|s| s.value(&f.value).is_some()), "{:?}", f);
            prop_assert_eq!(of.iter().filter(|g| g.symptom == f.symptom).count(), 1);
        }
        prop_assert_eq!(of, findings(&watched));
    }
}
