//! A scene: one fault of one severity on one valve, with what the bus told, and what a person would truly find.

use super::eyes::{Look, Truth};
use super::seen::Record;
use super::strokes::{Strokes, is_whole, jog, stroke};
use super::told::Baseline;
use super::world::World;
use crate::cli::output::Failure;
use core::time::Duration;
use serde::{Deserialize, Serialize};

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

/// Something that was found over the bus.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// Of which symptom.
    pub symptom: String,
    /// Which value.
    pub value: String,
}

/// What is known of a scene: enough to run sessions on it without computing it again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Scene {
    /// The seed of its valve.
    pub valve: u64,
    /// What the valve is, for people.
    pub words: String,
    /// What is wrong; nothing of a healthy one.
    pub faults: Vec<Put>,
    /// What was found over the bus, as it was collected.
    pub findings: Vec<Found>,
    /// What a person would truly find, by symptom.
    pub eyes: Truth,
    /// What bus and strokes would truly tell, by symptom.
    pub bus: Truth,
    /// Whether nothing of it shows: all is as on the healthy valve.
    pub below: bool,
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

/// The healthy valve of a world.
///
/// # Errors
/// A line of this process has none.
pub fn healthy(world: &World) -> Result<Healthy, Failure> {
    let (scene, baseline) = seen(world.clone(), &[], None)?;
    Ok(Healthy { baseline, scene: Scene { below: true, ..scene } })
}

fn seen(world: World, faults: &[Put], healthy: Option<&Healthy>) -> Result<(Scene, Baseline), Failure> {
    let failed = |what: &str| Failure::told(format!("watching a bench of the evaluation: {what}"));
    let is_wet = faults.iter().any(|p| p.fault == "water_in_housing");
    let (seed, valve) = (world.seed, world.valve);
    let feed = if world.has_card { "card" } else { "supply" };
    let world = world.after(if is_wet { SPREADS } else { SHOWS });
    let mut watched = world.watched();
    if !watched.with_record(is_whole) {
        stroke(&mut watched).map_err(|e| failed(&e.to_string()))?;
    }
    jog(&mut watched).map_err(|e| failed(&e.to_string()))?;
    let parts = watched.parts().ok_or_else(|| failed("it has no computed valve"))?;
    let record: Record = watched.record();
    let strokes = Strokes::of(&record).ok_or_else(|| failed("no strokes were seen"))?;
    let look = Look { valve: &valve, strokes, parts: &parts };
    let own = Baseline::of(&look);
    let (eyes, bus) = (look.person(), look.bus(healthy.map_or(&own, |h| &h.baseline)));
    let below = healthy.is_some_and(|h| {
        let plain = |of: &Truth| PLAIN.map(|symptom| of.get(symptom).cloned());
        bus == h.scene.bus && plain(&eyes) == plain(&h.scene.eyes)
    });
    let words = crate::plant::generated::valve(seed).words;
    let words = format!("{words}, {feed}");
    let findings = Vec::new();
    Ok((Scene { valve: seed, words, faults: faults.to_vec(), findings, eyes, bus, below }, own))
}
