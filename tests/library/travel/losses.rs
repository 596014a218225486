//! What is only said: losses that came, that never came, and of which nothing but words tells [TV-104]; a travel that is the set point
//! [TV-107].

use super::fake::{ALL, Script, Valve, tested, world};
use looprig::commission::travel::Limits;
use looprig::commission::travel::record::{FailsTo, Loss, Plan, Record, Shown, Test};
use looprig::host::stimulus::Capabilities;
use looprig::report::handover::{Beside, Overall, overall, text};

fn lost(fails_to: FailsTo, script: Script) -> Record {
    let plan = Plan { losses: vec![Loss::Air, Loss::Current], step_watch_s: 10.0, ..Plan::default() };
    let world = world(Valve::new(), script);
    let mut record = tested(&world, ALL, Test::Travel, plan);
    record.valve.fails_to = fails_to;
    record
}

fn told(record: &Record) -> (Overall, String) {
    let (limits, beside) = (Limits::own(), Beside::default());
    let told = text(&[record], &limits, &beside, false);
    (overall(&[record], &limits, &beside), told.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// The person says that it was taken away and that the valve closed; the device still reads 12 mA (50 %) and 1.4 bar.
#[test]
fn a_loss_that_never_came() {
    let script = Script { idle_acts: true, tells_supply: true, ..Script::default() };
    for fails_to in [FailsTo::Closed, FailsTo::Stays, FailsTo::Unsaid] {
        let record = lost(fails_to, script);
        let (overall, told) = told(&record);
        assert_eq!(overall, Overall::Beyond, "{told}");
        assert!(told.contains("not judged, the device still read 12.00 mA"), "{told}");
        assert!(
            told.contains("not judged, the device still told 1.40 bar of air (1.40 bar before)"),
            "{told}"
        );
        assert!(!told.contains("as said"), "{told}");
    }
}

/// What came is seen by the current of 0 mA or by silence, and by the supply of 0 bar; of a device that tells no pressure the loss of air is only said.
#[test]
fn a_loss_that_came() {
    let of = |tells_supply, dead_without_current| {
        lost(FailsTo::Closed, Script { tells_supply, dead_without_current, ..Script::default() })
    };
    let record = of(true, false);
    let shown: Vec<_> = record.fails.iter().map(|f| f.shown.clone()).collect();
    let air = Shown::Pressure { before: f64::from(1.4f32), after: 0.0, unit: "bar".into() };
    assert_eq!(shown, [Some(air), Some(Shown::CurrentMa(0.0))]);
    let (overall, words) = told(&record);
    assert!(overall == Overall::Within && words.contains("2 fail actions as said"), "{words}");
    assert!(!words.contains("only said"), "{words}");
    let record = of(false, true);
    let shown: Vec<_> = record.fails.iter().map(|f| f.shown.clone()).collect();
    assert_eq!(shown, [Some(Shown::Nothing), Some(Shown::Silent)]);
    let (overall, words) = told(&record);
    assert!(
        overall == Overall::Within && words.contains("loss of air: the loss was not seen, only said."),
        "{words}"
    );
}

/// A device that tells no pressure: the person who shuts the air reads the supply's gauge, 140 kPa before and 0 or still 140 kPa then. Where there is
/// none, where the device tells it, or where nobody shuts the air by hand it is as before [TV-118]. The 20 s of a person leave the loss judged [TV-84].
#[test]
fn a_loss_of_air_by_the_gauge_of_the_supply() {
    let of = |is_person: bool, script: Script| {
        let plan = Plan { losses: vec![Loss::Air], step_watch_s: 10.0, ..Plan::default() };
        let world = world(Valve::new(), script);
        let mut record = tested(&world, Capabilities { is_person, ..ALL }, Test::Travel, plan);
        record.valve.fails_to = FailsTo::Closed;
        let asked = world.borrow().questions.iter().filter(|q| q.id.contains("/supply_")).count();
        let shown = record.fails[0].shown.clone();
        assert_eq!(Record::from_json(&record.to_json()).as_ref(), Ok(&record));
        (shown, asked, told(&record))
    };
    let has_gauge = Script { has_gauge: true, ..Script::default() };
    let (shown, asked, (overall, words)) = of(true, has_gauge);
    assert_eq!((shown, asked), (Some(Shown::Gauge { before_kpa: 140.0, after_kpa: 0.0 }), 2));
    assert_eq!(overall, Overall::Within, "{words}");
    assert!(
        words.contains("with 0 kPa at the gauge of the supply (140 kPa before)")
            && !words.contains("only said"),
        "{words}"
    );
    let (shown, _, (overall, words)) = of(true, Script { idle_acts: true, ..has_gauge });
    assert_eq!(shown, Some(Shown::Gauge { before_kpa: 140.0, after_kpa: 140.0 }));
    assert_eq!(overall, Overall::Beyond, "{words}");
    assert!(
        words.contains("not judged, the gauge of the air supply still showed 140 kPa (140 kPa before)"),
        "{words}"
    );
    let (shown, asked, (_, words)) = of(true, Script::default());
    assert_eq!((shown, asked), (Some(Shown::Nothing), 1));
    assert!(words.contains("loss of air: the loss was not seen, only said."), "{words}");
    let (shown, asked, _) = of(true, Script { tells_supply: true, ..has_gauge });
    assert!(matches!(shown, Some(Shown::Pressure { .. })) && asked == 0);
    let (shown, asked, _) = of(false, has_gauge);
    assert_eq!((shown, asked), (Some(Shown::Nothing), 0));
}

/// Somebody named the set point as travel of a valve that is stuck at 47.8 %: it follows without any lag, and nothing is judged by it. A valve of
/// 20 %/s takes 1.25 s for 25 %, and is seen on its way.
#[test]
fn a_travel_that_is_the_set_point() {
    for (tells_set_point, expected) in [(true, Overall::NotJudged), (false, Overall::Within)] {
        for plan in [Plan::cycling(5, 1), Plan { strokes: 1, step_watch_s: 20.0, ..Plan::cycling(5, 1) }] {
            let valve = Valve {
                stuck: tells_set_point,
                travel: if tells_set_point { 47.8 } else { 0.0 },
                ..Valve::new()
            };
            let world = world(valve, Script { tells_set_point, ..Script::default() });
            let mut record = tested(&world, ALL, Test::Travel, plan);
            record.points.iter_mut().for_each(|p| p.external = None);
            record.external = None;
            let (overall, told) = told(&record);
            assert_eq!(overall, expected, "{told}");
            assert_eq!(told.contains("travel may be the set point"), tells_set_point, "{told}");
            assert_eq!(told.contains("was the set point at every reading"), tells_set_point, "{told}");
        }
    }
}

/// The same stuck valve where the plan has hardly a move: one step from where it stands, a creep, losses of which nobody looks where it goes. And
/// a valve with play whose travel is named set point and the other way round: what leads is no travel. Of a valve that moves each is judged [TV-132].
#[test]
fn a_set_point_named_as_travel_in_every_kind_of_test() {
    let step = Plan { steps_percent: vec![(40.0, 60.0)], step_watch_s: 20.0, ..Plan::default() };
    let creep = Plan { creep_places_percent: vec![2.0], creep_increment_percent: 0.1, ..Plan::default() };
    let lost = Plan { losses: vec![Loss::Air], step_watch_s: 10.0, ..Plan::default() };
    let cycle = Plan::cycling(5, 1);
    for plan in [step, creep, lost, cycle] {
        let seized = Valve { stuck: true, travel: 47.8, ..Valve::new() };
        let play = || Valve { play_percent: 0.6, ..Valve::new() };
        let no = Script::default();
        for (valve, script, is_told) in [
            (seized, Script { tells_set_point: true, ..no }, false),
            (play(), Script { swapped: true, ..no }, false),
            (play(), no, true),
        ] {
            let what = format!("{plan:?} {} {}", script.tells_set_point, script.swapped);
            let world = world(valve, script);
            let mut record = tested(&world, ALL, Test::Travel, plan.clone());
            record.points.iter_mut().for_each(|p| p.external = None);
            record.external = None;
            record.valve.fails_to = FailsTo::Closed;
            record.fails.iter_mut().for_each(|f| (f.seen, f.watch.by_hand_s) = (None, None));
            assert_eq!(record.variables.travel_assumed, !is_told, "{what}: {:?}", record.remarks);
            let (overall, told) = told(&record);
            assert_eq!(overall == Overall::NotJudged, !is_told, "{what}: {told}");
            assert_eq!(told.contains("nothing is judged by it"), !is_told, "{what}: {told}");
        }
    }
}

/// Whoever gives leave for a loss is told that the valve goes to the middle first, over 35 % where it has not been seen to move; one that stayed is
/// not asked for a time by a stop watch.
#[test]
fn what_is_asked_around_a_loss() {
    for (sees_it_stay, times) in [(false, 2), (true, 0)] {
        let plan = Plan { losses: vec![Loss::Air, Loss::Current], step_watch_s: 10.0, ..Plan::default() };
        let world = world(Valve::new(), Script { sees_it_stay, ..Script::default() });
        assert_eq!(tested(&world, ALL, Test::Travel, plan).fails.len(), 2);
        let questions = &world.borrow().questions;
        let words = |id: &str| questions.iter().find(|q| q.id == id).map_or("", |q| q.words.as_str());
        assert!(words("travel/loss/air").contains("first goes to 35 and then to 50 %"));
        assert!(words("travel/loss/current").contains("first goes to 50 %"));
        assert_eq!(questions.iter().filter(|q| q.id.ends_with("/time")).count(), times);
    }
}
