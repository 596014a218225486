//! A bench as the one who moves the set point: in this process, or a running mock by its API [TV-31].

use super::api::Api;
use super::hands::Hands;
use crate::bench::{BenchPlan, CHANGES, Gauges, Takes, Waiting};
use crate::device::KindConfig;
use crate::frame::UniqueAddress;
use crate::host::stimulus::{Act, Capabilities, Given, LeftAt, SetPoint, StimulusError};
use crate::host::{Ask, HostError, Stimulus};
use core::time::Duration;
use serde_json::{Value as Json, json};
use std::sync::Arc;

/// How often it is waited for time to go on, if somebody interrupts it.
const TRIES: usize = 3;

/// How a bench is told what to change.
pub enum Way {
    /// A bench of this process: the change happens at the next octet or wait.
    Here {
        /// What it was made of.
        plan: Arc<BenchPlan>,
        /// What waits to be changed.
        waiting: Waiting,
        /// Which device, where it is known.
        device: Option<usize>,
    },
    /// A running mock.
    Running {
        /// Its API.
        api: Api,
        /// The device's key, where it is known.
        device: Option<String>,
    },
}

impl Way {
    /// Changes what has this key in an `[[event]]` and in the API [BA-05].
    pub fn change(&mut self, key: &str, value: Json) -> Result<(), (String, String)> {
        let is_of_the_loop = key.starts_with("loop_");
        match self {
            Way::Here { plan, waiting, device } => {
                let takes = CHANGES.iter().find(|c| c.key == key).map(|c| &c.takes);
                let change = match (takes, value.as_f64(), value.as_bool()) {
                    (Some(Takes::Number { make, .. }), Some(x), _) => make(x),
                    (Some(Takes::Switch(make)), _, Some(on)) => make(on),
                    (Some(Takes::Moment(change)), _, Some(true)) => *change,
                    _ => {
                        return Err((
                            format!("there is no change {key}"),
                            "tell us: this is a fault of looprig".into(),
                        ));
                    }
                };
                waiting.order(plan, device.filter(|_| !is_of_the_loop), change)
            }
            Way::Running { api, device } => {
                let mut body = json!({ key: value });
                if let Some(device) = device.as_ref().filter(|_| !is_of_the_loop) {
                    body["device"] = json!(device);
                }
                api.ask("POST", "/changes", Some(&body)).map(|_| ())
            }
        }
    }
}

impl Way {
    /// What the gauges at the valve show; `None` where that is not known.
    pub fn gauges(&mut self) -> Option<Gauges> {
        match self {
            Way::Here { waiting, device, .. } => waiting.gauges((*device)?),
            Way::Running { api, device } => {
                let key = device.as_ref()?;
                let read = api.ask("GET", "/quantities", None).ok()?;
                let all = read["quantities"].as_array()?;
                let number = |name: &str| {
                    let name = format!("{key}.{name}");
                    all.iter().find(|q| q["name"] == *name).and_then(|q| q["value"].as_f64())
                };
                Some(Gauges {
                    travel_percent: number("travel_percent"),
                    outputs_bar: [number("output_1_bar")?, number("output_2_bar")?],
                    exhaust_g_per_s: number("exhaust_flow_g_per_s")?,
                })
            }
        }
    }
}

/// A bench that drives the current of its loop.
pub struct ByBench {
    way: Way,
    name: String,
    /// Whether the loop is computed, so that it can be opened.
    is_computed: bool,
    /// Pressure of the header of the computed valve, bar; `None`: there is none to shut.
    header_bar: Option<f64>,
    has_trip: bool,
    /// The current before the test, mA, and the one that was asked for last.
    first_ma: Option<f64>,
    now_ma: Option<f64>,
    /// What is taken away and not given back yet.
    taken: Vec<Act>,
}

impl ByBench {
    /// The bench of this process with the device that has this address; `None`: with its only one.
    pub fn here(plan: Arc<BenchPlan>, waiting: Waiting, unique: Option<UniqueAddress>) -> ByBench {
        let of = |d: &crate::bench::DevicePlan| Some(d.config.identity.unique_address()) == unique;
        let only = Some(0).filter(|_| unique.is_none() && plan.devices.len() == 1);
        let device = plan.devices.iter().position(of).or(only);
        let valve = device.and_then(|i| plan.devices[i].valve.as_ref()).filter(|v| v.is_described);
        let current = device.and_then(|i| match &plan.devices[i].config.kind {
            KindConfig::Positioner(own) => Some(own.loop_current_ma),
            KindConfig::Temperature(_) => None,
        });
        ByBench {
            name: format!("the bench {}", plan.path.display()),
            is_computed: plan.wires.is_some(),
            header_bar: valve.map(|v| v.config.supply.header_gauge_pa / 1e5),
            has_trip: valve.is_some_and(|v| v.config.fail.trip.is_some()),
            first_ma: plan.wires.as_ref().map(|w| w.current_ma).or(current),
            now_ma: None,
            taken: Vec::new(),
            way: Way::Here { plan, waiting, device },
        }
    }

    /// A running mock with the device that has this tag or polling address.
    ///
    /// # Errors
    /// Nobody answers there, or no bench: what is wrong and what would be right.
    pub fn running(mut api: Api, tag: &str, polling: Option<u8>) -> Result<ByBench, (String, String)> {
        let bench = api.ask("GET", "/bench", None)?;
        let read = api.ask("GET", "/quantities", None)?;
        let devices = bench["devices"].as_array().map_or(&[][..], Vec::as_slice);
        let by_tag = devices.iter().find(|d| !tag.is_empty() && d["tag"] == tag);
        let by_address = || devices.iter().find(|d| d["polling_address"].as_u64() == polling.map(u64::from));
        let device = by_tag.or_else(by_address).or(devices.first().filter(|_| devices.len() == 1));
        let device = device.and_then(|d| d["key"].as_str()).map(str::to_owned);
        let quantities = read["quantities"].as_array().map_or(&[][..], Vec::as_slice);
        let number =
            |name: &str| quantities.iter().find(|q| q["name"] == name).and_then(|q| q["value"].as_f64());
        let own = |name: &str| device.as_ref().and_then(|key| number(&format!("{key}.{name}")));
        let header_bar = own("header_bar");
        Ok(ByBench {
            name: format!(
                "the running bench {} at {api}",
                bench["bench"].as_str().unwrap_or("without a name")
            ),
            is_computed: bench["loop_is_computed"] == true,
            header_bar,
            // It is not told; a bench without one refuses.
            has_trip: header_bar.is_some(),
            first_ma: number("loop.wanted_current_ma").or_else(|| own("loop_current_ma")),
            now_ma: None,
            taken: Vec::new(),
            way: Way::Running { api, device },
        })
    }

    /// What plays the hands of a person at the valve on this bench.
    pub fn hands(self) -> Hands {
        Hands { way: self.way, header_bar: self.header_bar, air_is_off: false, holds: None }
    }

    /// Makes a change, and says between which moments of the line's clock it was made.
    fn change(&mut self, ask: &mut dyn Ask, key: &str, value: Json) -> Result<Given, StimulusError> {
        let before = ask.now();
        let failed = |(what, next)| StimulusError::Failed { what, next };
        self.way.change(key, value).map_err(failed)?;
        let took = ask.now().since(before);
        Ok(Given { at: before + took / 2, uncertain: took / 2 })
    }

    fn set_ma(&mut self, ask: &mut dyn Ask, ma: f64) -> Result<Given, StimulusError> {
        let given = self.change(ask, "loop_current_ma", json!(ma))?;
        self.now_ma = Some(ma);
        Ok(given)
    }

    fn cannot<T>(what: &str) -> Result<T, StimulusError> {
        Err(StimulusError::Cannot { what: what.to_owned() })
    }
}

impl Stimulus for ByBench {
    fn describe(&self) -> String {
        self.name.clone()
    }

    fn capabilities(&self) -> Capabilities {
        let air = self.header_bar.is_some();
        Capabilities { sets_current: true, current: true, air, trip: self.has_trip, is_person: false }
    }

    fn set(&mut self, ask: &mut dyn Ask, to: SetPoint) -> Result<Given, StimulusError> {
        self.set_ma(ask, to.current_ma())
    }

    fn act(&mut self, ask: &mut dyn Ask, act: Act) -> Result<Given, StimulusError> {
        let given = match act {
            Act::LoseCurrent | Act::RestoreCurrent if self.is_computed => {
                self.change(ask, "loop_open", json!(act == Act::LoseCurrent))?
            }
            Act::LoseCurrent => self.change(ask, "loop_current_ma", json!(0.0))?,
            Act::RestoreCurrent => match self.now_ma.or(self.first_ma) {
                Some(ma) => self.set_ma(ask, ma)?,
                None => return Self::cannot("give the current back: nobody said what it was"),
            },
            Act::LoseAir | Act::RestoreAir => match self.header_bar {
                Some(bar) => {
                    let bar = if act == Act::LoseAir { 0.0 } else { bar };
                    self.change(ask, "header_pressure_bar", json!(bar))?
                }
                None => return Self::cannot("shut the air: the bench computes no valve for this device"),
            },
            Act::Trip | Act::ResetTrip => self.change(ask, "trip_energised", json!(act == Act::ResetTrip))?,
        };
        match act {
            Act::LoseCurrent | Act::LoseAir | Act::Trip => self.taken.push(act),
            Act::RestoreCurrent => self.taken.retain(|a| *a != Act::LoseCurrent),
            Act::RestoreAir => self.taken.retain(|a| *a != Act::LoseAir),
            Act::ResetTrip => self.taken.retain(|a| *a != Act::Trip),
        }
        Ok(given)
    }

    fn will_leave(&self) -> String {
        "In the end the loop current is what it was before: the valve strokes to it.".to_owned()
    }

    fn still_taken(&self) -> Vec<Act> {
        self.taken.clone()
    }

    fn stays(&self) -> Option<LeftAt> {
        let ma = self.now_ma?;
        let mut words = format!("The loop current was told last to be {ma:.2} mA, by {}", self.name);
        // Whatever it was told to be, there is none while the loop is open.
        let is_open = self.taken.contains(&Act::LoseCurrent);
        words += if is_open { "; the loop was opened after that." } else { ": set it back there." };
        for act in &self.taken {
            words += &format!(" {}", act.away());
        }
        Some(LeftAt { percent: Some(SetPoint::CurrentMa(ma).percent()).filter(|_| !is_open), words })
    }

    fn ahead(&mut self, _: &mut dyn Ask, to: SetPoint) -> Result<String, StimulusError> {
        let back = self.first_ma.map_or(String::new(), |ma| format!(" Before the test it was {ma:.2} mA."));
        Ok(format!(
            "Told last: a loop current of {:.2} mA ({:.2} %) by {}, and never given back.{back}",
            to.current_ma(),
            to.percent(),
            self.name
        ))
    }

    fn leave(&mut self, ask: &mut dyn Ask) -> Result<LeftAt, StimulusError> {
        // What cannot be given back keeps nothing else from it.
        let mut failed = None;
        for act in self.taken.clone() {
            let back = match act {
                Act::LoseCurrent => Act::RestoreCurrent,
                Act::LoseAir => Act::RestoreAir,
                _ => Act::ResetTrip,
            };
            failed = self.act(ask, back).err().or(failed);
        }
        let Some(ma) = self.first_ma.or(self.now_ma) else {
            return Ok(LeftAt { percent: None, words: format!("{} keeps its loop current.", self.name) });
        };
        self.set_ma(ask, ma)?;
        // The change is made when time goes on. What ended the test may have been meant for this wait, too.
        for _ in 0..TRIES {
            match ask.rest(Duration::from_millis(1)) {
                Err(HostError::Interrupted) => {}
                rested => {
                    rested?;
                    break;
                }
            }
        }
        if let Some(e) = failed {
            return Err(e);
        }
        let words = format!("The loop current of the bench is {ma:.2} mA again, as before the test.");
        Ok(LeftAt { percent: Some(SetPoint::CurrentMa(ma).percent()), words })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{check, in_process};
    use crate::host::Host;
    use crate::link::MasterConfig;
    use std::path::Path;

    /// [TV-96]: a loop that was opened after its current was told has none, whatever was told; closed again it has what was told.
    #[test]
    fn a_loop_that_was_opened_after_it() {
        let bench = include_str!("../../../fixtures/benches/valve-calibrated.toml");
        let plan = Arc::new(check(bench, Path::new("valve-calibrated.toml")).expect("a bench"));
        let mut host = Host::new(in_process(&plan), MasterConfig::default());
        let mut by = ByBench::here(Arc::clone(&plan), Waiting::default(), None);
        assert_eq!(by.stays(), None);
        by.set(&mut host, SetPoint::CurrentMa(16.0)).expect("a computed loop");
        let at = by.stays().expect("it was told");
        assert!(
            at.percent == Some(75.0) && at.words.contains("16.00 mA") && at.words.contains("set it back"),
            "{at:?}"
        );
        by.act(&mut host, Act::LoseCurrent).expect("a computed loop");
        let at = by.stays().expect("it was told");
        assert_eq!(at.percent, None, "{at:?}");
        assert!(
            at.words.contains("the loop was opened after that") && at.words.contains("close the loop"),
            "{at:?}"
        );
        by.act(&mut host, Act::RestoreCurrent).expect("a computed loop");
        assert_eq!(by.stays().and_then(|at| at.percent), Some(75.0));
        // Said ahead: what is told, and what it was before the test, 12 mA.
        let words = by.ahead(&mut host, SetPoint::Percent(25.0)).expect("it moves nothing");
        assert!(
            words.contains("8.00 mA (25.00 %)") && words.contains("Before the test it was 12.00 mA"),
            "{words}"
        );
    }
}
