//! A scene: one fault of one severity on one valve, with what the bus told, and what a person would truly find.

use super::eyes::{Look, Truth};
use super::seen::{Record, Watched};
use super::strokes::{Strokes, is_whole, jog, stroke};
use super::told::Baseline;
use super::world::{CARD_V, LEAST_V, World};
use crate::app::command::{Catalogue, Described, described};
use crate::cli::output::Failure;
use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::triage::Finding;
use crate::commission::triage::watch::{Options, findings, watch};
use crate::frame::PollingAddress;
use crate::host::{Host, To};
use crate::link::MasterConfig;
use crate::plant::generated;
use core::time::Duration;
use serde::{Deserialize, Serialize};
use std::sync::OnceLock;

/// Severities of the evaluation.
pub const SEVERITIES: [f64; 3] = [0.3, 0.6, 1.0];
/// How long a fault has been there before anybody looks; water needs a minute to spread [DV-110].
const SHOWS: Duration = Duration::from_secs(25);
const SPREADS: Duration = Duration::from_secs(62);

/// Symptoms of a person that show without searching: with those of bus and strokes they decide what is below any symptom.
pub const PLAIN: [&str; 10] = [
    "display",
    "loop_current",
    "terminal_volts",
    "supply_gauge",
    "supply_gauge_stroke",
    "regulator_gauge_stroke",
    "output_gauge",
    "stem",
    "stem_scale",
    "stem_ends",
];

/// A fault with its severity.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Put {
    /// Its word, as in a bench file.
    pub fault: String,
    /// How bad, 0 to 1.
    pub severity: f64,
}

impl Put {
    /// Its word, and its severity in percent.
    pub fn key(&self) -> (String, u32) {
        (self.fault.clone(), (100.0 * self.severity).round() as u32)
    }
}

/// What is known of a scene: enough to run sessions on it without computing it again.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Scene {
    /// The seed of its valve.
    pub valve: u64,
    /// What the valve is, for people.
    pub words: String,
    /// Whether it turns a shaft.
    pub part_turn: bool,
    /// What is wrong; nothing of a healthy one.
    pub faults: Vec<Put>,
    /// What was found over the bus, as it was collected.
    pub findings: Vec<Finding>,
    /// What a person would truly find, by symptom.
    pub eyes: Truth,
    /// What bus and strokes would truly tell, by symptom.
    pub bus: Truth,
    /// Whether nothing of it shows: all is as on the healthy valve.
    pub below: bool,
}

impl Scene {
    /// What tells it from every other.
    pub fn key(&self) -> String {
        let faults: Vec<String> = self.faults.iter().map(|p| format!("{} {}", p.fault, p.severity)).collect();
        format!("{} {}", self.valve, faults.join(" and "))
    }
}

/// Two faults at once.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Pair {
    /// Both of them.
    pub both: Scene,
    /// After the first is mended, after the second is.
    pub without: [Scene; 2],
}

/// A line of a file of scenes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Seen {
    /// Two faults at once.
    Two(Box<Pair>),
    /// One fault, or none.
    One(Box<Scene>),
}

/// The healthy valve of a world, as it is seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Healthy {
    /// How it strokes.
    pub baseline: Baseline,
    /// Its scene.
    pub scene: Scene,
}

/// Looks at a world in which this is wrong; `None` where the valve cannot have it.
///
/// # Errors
/// A line of this process has none.
pub fn look(world: &World, faults: &[Put], healthy: Option<&Healthy>) -> Result<Option<Scene>, Failure> {
    let mut world = world.clone();
    for put in faults {
        if world.fault(&put.fault, put.severity).is_err() {
            return Ok(None);
        }
    }
    Ok(Some(seen(world, faults, healthy)?.0))
}

/// Two faults at once, and what each leaves when it is mended; `None` where the valve cannot have both.
///
/// # Errors
/// A line of this process has none.
pub fn look_at_two(world: &World, faults: [Put; 2], healthy: &Healthy) -> Result<Option<Pair>, Failure> {
    let mut both = world.clone();
    if faults.iter().any(|put| both.fault(&put.fault, put.severity).is_err()) {
        return Ok(None);
    }
    let both = both.after(shows(&faults));
    let mended = |which: usize| {
        let mut world = both.clone();
        // It was put in, so it can be taken out.
        let _ = world.fault(&faults[which].fault, 0.0);
        // Mended by somebody who puts the set point back where it was, and waits.
        seen(world, &faults[1 - which..2 - which], Some(healthy)).map(|s| s.0)
    };
    let without = [mended(0)?, mended(1)?];
    Ok(Some(Pair { both: seen_now(both.clone(), &faults, Some(healthy))?.0, without }))
}

/// How long faults have been there before anybody looks.
fn shows(faults: &[Put]) -> Duration {
    if faults.iter().any(|p| p.fault == "water_in_housing") { SPREADS } else { SHOWS }
}

/// The healthy valve of a world.
///
/// # Errors
/// A line of this process has none.
pub fn healthy(world: &World) -> Result<Healthy, Failure> {
    let (scene, baseline) = seen(world.clone(), &[], None)?;
    Ok(Healthy { baseline, scene: Scene { below: true, ..scene } })
}

/// The commands of looprig's positioner.
const DESCRIPTION: &str = include_str!("../../../protocol-notes/positioner.toml");

/// Somebody who lets the valve move and says nothing else.
struct Lets;

impl Person for Lets {
    fn ask(&mut self, question: &Question) -> Answer {
        if question.kind == Kind::YesNo { Answer::Yes } else { Answer::DontKnow }
    }

    fn tell(&mut self, _: &str) {}
}

/// Loaded once: what is described stays in memory.
fn catalogue() -> Result<&'static Catalogue, Failure> {
    static LOADED: OnceLock<Result<Catalogue, String>> = OnceLock::new();
    let loaded = LOADED.get_or_init(|| {
        let path = "protocol-notes/positioner.toml";
        let description = described::check(DESCRIPTION, path.as_ref()).map_err(|e| e.to_string())?;
        let mut catalogue = Catalogue::default();
        catalogue.add(Described::load(description, path)).map_err(|e| e.to_string())?;
        Ok(catalogue)
    });
    loaded.as_ref().map_err(|e| Failure::told(format!("the positioner's own description: {e}")))
}

/// Collects over the bus as from any device; the bench moves the set point.
fn collect(watched: Watched, plate_kpa: f64) -> Result<(Vec<Finding>, Watched), Failure> {
    let mut drive = watched.drive();
    let mut host = Host::new(watched, MasterConfig::default()).with_catalogue(catalogue()?.clone());
    let options =
        Options { plate_kpa: Some(plate_kpa), tag: Some("FV-3104".to_owned()), ..Options::default() };
    let collected =
        watch(&mut host, &To::Polling(PollingAddress::default()), Some(&mut drive), &mut Lets, &options);
    Ok((findings(&collected), host.into_line()))
}

fn seen(world: World, faults: &[Put], healthy: Option<&Healthy>) -> Result<(Scene, Baseline), Failure> {
    seen_now(world.after(shows(faults)), faults, healthy)
}

fn seen_now(world: World, faults: &[Put], healthy: Option<&Healthy>) -> Result<(Scene, Baseline), Failure> {
    let failed = |what: &str| Failure::told(format!("watching a bench of the evaluation: {what}"));
    let (seed, valve, world_has_card) = (world.seed, world.valve, world.has_card);
    let feed = if world.has_card { "card" } else { "supply" };
    let (findings, mut watched) = collect(world.watched(), valve.supply.at_rest_gauge_pa() / 1e3)?;
    if !watched.with_record(is_whole) {
        stroke(&mut watched).map_err(|e| failed(&e.to_string()))?;
    }
    jog(&mut watched).map_err(|e| failed(&e.to_string()))?;
    let parts = watched.parts().ok_or_else(|| failed("it has no computed valve"))?;
    let record: Record = watched.record();
    let strokes = Strokes::of(&record).ok_or_else(|| failed("no strokes were seen"))?;
    let look = Look { valve: &valve, strokes, parts: &parts };
    let own = Baseline::of(&look);
    let (mut eyes, bus) = (look.person(), look.bus(healthy.map_or(&own, |h| &h.baseline)));
    // No terminal has more volts than its card can give, which a dark device does not say [DV-110].
    let low = parts.site_severity(crate::sim::SiteFault::LoopVoltsLow);
    let card_v = CARD_V * (1.0 - 0.7 * low);
    if world_has_card && card_v < LEAST_V && eyes.get("terminal_volts").is_none_or(|v| v != "none") {
        eyes.insert("terminal_volts".to_owned(), "low".to_owned());
    }
    let below = healthy.is_some_and(|h| {
        let plain = |of: &Truth| PLAIN.map(|symptom| of.get(symptom).cloned());
        bus == h.scene.bus && plain(&eyes) == plain(&h.scene.eyes)
    });
    let part_turn = valve.linkage.law.is_part_turn();
    let words = generated::valve(seed).words;
    let words = format!("{words}, {feed}");
    Ok((Scene { valve: seed, words, part_turn, faults: faults.to_vec(), findings, eyes, bus, below }, own))
}
