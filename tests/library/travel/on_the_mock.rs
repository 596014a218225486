//! A loop check, steps and strokes on the mock in this process: its own command moves the set point, its own command tells travel.
#![cfg(feature = "bench-file")]

use super::fake::Technician;
use super::sequence::near;
use looprig::app::command::{Catalogue, Described};
use looprig::bench::{self, read_description};
use looprig::commission::travel::figures::{View, figures};
use looprig::commission::travel::record::{Ended, Plan, Record, Test};
use looprig::commission::travel::{Definition, Readings, Setup, run};
use looprig::frame::PollingAddress;
use looprig::host::stimulus::{Act, Capabilities, Given, LeftAt, SetPoint, Stimulus, StimulusError};
use looprig::host::{Ask, Device, Host, encode_by};
use looprig::line::{InProcess, Line};
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use std::path::Path;
use std::time::Duration;

/// Command 129: the set point by hand, and the loop current again at the end.
pub struct ByHand(pub Device, pub &'static Described);

impl ByHand {
    fn give(&mut self, ask: &mut dyn Ask, values: &[(&str, String)]) -> Result<Given, StimulusError> {
        let values: Vec<_> = values.iter().map(|(n, v)| ((*n).to_owned(), v.clone())).collect();
        let data = encode_by(self.1.spec(129), self.0.revision, &values)?;
        let before = ask.now();
        let exchange = ask.ask_octets(&self.0, 129, data)?;
        let code = exchange.transaction.reply_frame().and_then(|f| f.status()).map(|s| s[0]);
        let uncertain = ask.now().since(before);
        match code {
            Some(0) => Ok(Given { at: before, uncertain }),
            other => Err(StimulusError::Failed { what: format!("129 gave {other:?}"), next: "look".into() }),
        }
    }
}

impl Stimulus for ByHand {
    fn describe(&self) -> String {
        "command 129 of the device".to_owned()
    }

    fn capabilities(&self) -> Capabilities {
        Capabilities::default()
    }

    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        self.give(ask, &[("source", "1".to_owned()), ("set_point", to.percent().to_string())])
    }

    fn act(&mut self, _: &mut dyn Ask, _: Act) -> Result<Given, StimulusError> {
        Err(StimulusError::Cannot { what: "do that".into() })
    }

    fn leave(&mut self, ask: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        self.give(ask, &[("source", "0".to_owned())])?;
        Ok(LeftAt { percent: None, words: "The set point follows the loop current again.".to_owned() })
    }
}

#[test]
fn a_test_of_the_mock() {
    let description = read_description(Path::new("protocol-notes/positioner.toml")).expect("described");
    let described = Described::load(description, "positioner.toml");
    let mut catalogue = Catalogue::default();
    catalogue.add(described).expect("one description");
    let file = "[loop]\ncurrent_ma = 12\n[[device]]\ntag = \"FV-3104\"\n[device.air]\nsupply_pressure_bar = 1.4\n\
                [device.valve]\nstroke_mm = 20\n[[line]]\nat = \"pty:\"\n";
    let plan = bench::check(file, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let line: InProcess<Participant> = bench::in_process(&plan);
    let mut host = Host::new(line, MasterConfig::default()).with_catalogue(catalogue);
    let (_, device) = host.poll(PollingAddress::default(), None).expect("a line");
    let device = device.expect("it answers");
    // The quickest calibration: end stops.
    host.ask(&device, 131, &[("calibration".into(), "1".into())]).expect("asked");
    host.rest(Duration::from_secs(90)).expect("time passes");

    let readings = Readings::usual(&host, &device);
    assert_eq!(readings.travel.source.to_string(), "130:travel");
    assert_eq!(readings.remark, "");
    let world = super::fake::world(super::fake::Valve::new(), super::fake::Script::default());
    let (mut stimulus, mut person) = (ByHand(device, described), Technician(world.clone()));
    let plan = Plan { steps_percent: vec![(45.0, 55.0)], step_watch_s: 20.0, ..Plan::loop_check() };
    let setup = Setup {
        ask: &mut host,
        device,
        stimulus: &mut stimulus,
        person: &mut person,
        readings,
        gauge: None,
        control_system: false,
        keep: &mut |_| {},
    };
    let record = run(setup, Record::new(Test::Travel, plan.with_strokes(1)));
    assert_eq!(record.ended, Ended::Whole, "{:?}", record.ended);
    assert_eq!(
        record.left.as_ref().map(|l| l.words.as_str()),
        Some("The set point follows the loop current again.")
    );
    // Its characteristic is linear, which needs no remark.
    assert_eq!(record.remarks, [""; 0]);
    assert_eq!((record.device.tag.as_str(), record.points.len()), ("FV-3104", 9));
    for p in &record.points {
        // Set by hand, so the loop current stays 12 mA, and none was asked for.
        assert_eq!(p.asked_ma, None);
        near(p.read_ma.expect("read"), 12.0, 0.01);
        near(p.set_point_percent.expect("read"), p.asked_percent, 1e-3);
        p.readings.iter().for_each(|s| near(s.percent.expect("told"), p.asked_percent, 1.5));
        assert!(p.settled && p.angle_deg.is_some());
    }
    let angle = |open: bool| record.ends.iter().find(|e| e.open == open).and_then(|e| e.angle_deg);
    assert!((angle(true).expect("told") - angle(false).expect("told")).abs() > 10.0);
    let all = figures(&record);
    for (definition, most) in
        [(Definition::T63, 10.0), (Definition::StrokeTime, 20.0), (Definition::AccuracyAbove, 1.5)]
    {
        let figure = all.iter().find(|f| f.definition == definition && f.view == View::Sensor);
        let figure = figure.expect("the figure");
        assert!(figure.value.is_some_and(|v| v.abs() < most), "{figure:?}");
    }
    assert!(record.link.requests > 50 && record.link.answered == record.link.requests);
    // With another one it is said that travel is not where the set point is.
    let values = [("characteristic".into(), "1".into()), ("rangeability".into(), "50".into())];
    host.ask(&device, 138, &values).expect("asked");
    let setup = Setup {
        readings: Readings::usual(&host, &device),
        ask: &mut host,
        device,
        stimulus: &mut stimulus,
        person: &mut person,
        gauge: None,
        control_system: false,
        keep: &mut |_| {},
    };
    let record = run(setup, Record::new(Test::LoopCheck, Plan::loop_check()));
    assert_eq!(record.ended, Ended::Whole, "{:?}", record.ended);
    assert!(record.remarks[0].contains("equal percentage"), "{:?}", record.remarks);
    assert!(host.line_mut().now().as_secs_f64() > 100.0);
}
