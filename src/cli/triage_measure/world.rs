//! The bench of a generated valve: calibrated once in its healthy state, then copied for each fault [DV-94] [DV-111].

use super::seen::{Record, Watched};
use crate::bench::{BenchPlan, Waiting, check, fault_change, fit_valve, in_process};
use crate::cli::output::Failure;
use crate::device::Device;
use crate::device::positioner::Ending;
use crate::line::{InProcess, Line};
use crate::plant::generated::{self, Dice};
use crate::plant::valve::ValveConfig;
use crate::sim::{Change, Participant};
use core::time::Duration;
use std::sync::Arc;

/// The least volts of the device of these benches [DV-111].
pub const LEAST_V: f64 = 9.0;
/// The current that is set while nobody tests, mA: 50 %.
pub const HOLDS_MA: f64 = 12.0;
/// The longest that a calibration takes is four minutes [DV-91].
const CALIBRATES: Duration = Duration::from_secs(400);
/// From power to work, with room.
const STARTS: Duration = Duration::from_secs(6);
/// A calibrated valve comes to its set point.
const SETTLES: Duration = Duration::from_secs(60);

/// What its card can give, V.
pub const CARD_V: f64 = 20.0;

/// The bench of a generated valve, calibrated and at rest at 50 %.
#[derive(Clone)]
pub struct World {
    /// The seed of its valve.
    pub seed: u64,
    /// What it was made of.
    pub plan: Arc<BenchPlan>,
    /// The valve, healthy.
    pub valve: ValveConfig,
    /// Whether a card feeds the loop, else a supply behind a resistor.
    pub has_card: bool,
    line: InProcess<Participant>,
}

fn text(has_card: bool, supply_bar: f64) -> String {
    let feeds = match has_card {
        true => &format!("[loop.card]\ncompliance_v = {CARD_V}\nimpedance_ohm = 5000\n"),
        false => "[loop.supply]\nvoltage_v = 24\nresistor_ohm = 250\n",
    };
    format!(
        "[loop]\ncurrent_ma = {HOLDS_MA}\n{feeds}[loop.master]\nimpedance_ohm = 5000\n[[loop.device]]\ntag = \"FV-3104\"\n\
         min_voltage_v = {LEAST_V}\nmin_current_ma = 3.6\ncapacitance_nf = 0\ntransmit_ma_pp = 1\n[[device]]\n\
         tag = \"FV-3104\"\n[device.air]\nsupply_pressure_bar = {supply_bar:.4}\n[device.valve]\nstroke_mm = 20\n\
         [device.valve.fail]\ntrip_dm3_per_s_bar = 2\n[device.positioner]\nmounting = \"opening_raises\"\n[[line]]\nat = \"pty:\"\n"
    )
}

impl World {
    /// The bench of the valve of a seed; `None` where its calibration does not end as it should: then it is no valve to judge on.
    ///
    /// # Errors
    /// Its bench makes no sense, which a test excludes.
    pub fn new(seed: u64) -> Result<Option<World>, Failure> {
        World::of(seed, generated::valve(seed).valve, Dice::new(seed ^ 0x0C0D_0A2D).chance(0.5))
    }

    /// The bench of a valve, on a card or on a supply.
    ///
    /// # Errors
    /// As [`World::new`].
    pub fn of(seed: u64, valve: ValveConfig, has_card: bool) -> Result<Option<World>, Failure> {
        let text = text(has_card, valve.supply.at_rest_gauge_pa() / 1e5);
        let mut plan = check(&text, "triage.toml".as_ref())
            .map_err(|e| Failure::told(format!("the bench of the evaluation: {e}")))?;
        plan.seed = Some(seed);
        fit_valve(&mut plan, 0, valve);
        let Some(valve) = plan.devices.first().and_then(|d| d.valve.as_ref()).map(|v| v.config) else {
            return Ok(None);
        };
        let line = in_process(&plan);
        let mut world = World { seed, plan: Arc::new(plan), valve, has_card, line };
        world.rest(STARTS);
        if world.change(Some(0), Change::Calibrate).is_err() {
            return Ok(None);
        }
        let end = world.line.now() + CALIBRATES;
        world.rest(Duration::from_secs(2));
        while world.is_calibrating() && world.line.now() < end {
            world.rest(Duration::from_secs(2));
        }
        world.rest(SETTLES);
        Ok(world.is_done().then_some(world))
    }

    fn rest(&mut self, time: Duration) {
        let until = self.line.now() + time;
        // A line of this process fails at nothing.
        while self.line.now() < until && self.line.wait(Some(until)).is_ok() {}
    }

    fn change(&mut self, device: Option<usize>, change: Change) -> Result<(), (String, String)> {
        let waiting = Waiting::default();
        waiting.order(&self.plan, device, change)?;
        let now = self.line.now();
        waiting.make(&self.plan, self.line.bus_mut(), now);
        Ok(())
    }

    /// Puts a fault in with a severity, 0 to 1; 0 mends it.
    ///
    /// # Errors
    /// This bench cannot have it: what is wrong, and what would be right.
    pub fn fault(&mut self, word: &str, severity: f64) -> Result<(), (String, String)> {
        let unknown = || (format!("there is no fault {word}"), "`looprig mock --faults` lists them".into());
        let change = fault_change(word, severity).ok_or_else(unknown)?;
        let for_all = change.is_of_the_loop() || change.second_master().is_some();
        let at = Some(0).filter(|_| !for_all);
        if let Some(why) = crate::bench::why_not(&self.plan, at, change) {
            return Err(why);
        }
        if let (Change::ValveFault { name, severity }, Some(valve)) = (change, self.valve())
            && severity > 0.0
            && valve.is_idle(name, severity)
        {
            return Err(("this changes nothing at this valve".into(), "choose another".into()));
        }
        self.change(at, change)
    }

    /// Lets time pass; a fault shows.
    #[must_use]
    pub fn after(mut self, time: Duration) -> World {
        self.rest(time);
        self
    }

    /// Goes on under eyes: a line for a host, and what is seen at it.
    pub fn watched(self) -> Watched {
        Watched::new(self.line, self.plan, Record::default())
    }

    fn device(&self) -> Option<&Device> {
        self.line.bus().stations().find_map(Participant::device).map(|d| d.device())
    }

    fn valve(&self) -> Option<&crate::plant::valve::Valve> {
        self.line.bus().stations().find_map(Participant::device)?.valve().map(|v| v.valve())
    }

    fn is_calibrating(&self) -> bool {
        self.device().and_then(Device::electronics).is_some_and(|e| e.progress().is_some())
    }

    fn is_done(&self) -> bool {
        let ending = self.device().and_then(Device::electronics).and_then(|e| e.result()).map(|o| o.ending);
        ending == Some(Ending::Done)
    }
}
