//! The demo's hidden fault: the seed draws it, and it is found by what the line tells and what somebody at the valve sees. On virtual
//! time; nothing real moves.

use super::demo::Stage;
use super::files::write_file;
use super::output::Failure;
use super::triage_measure::{Put, SEVERITIES, Scene, World, all_faults, class, healthy, look};
use crate::commission::person::{Answer, Kind, Person, Question};
use crate::commission::triage::{Knowledge, Session, Triage, ask};
use crate::plant::generated::{self, Dice};
use crate::report::triage::{headline, html, text};
use std::path::Path;

/// The seed of the demo's valve, on a card; invented.
const VALVE: u64 = 5;
/// Faults are drawn so often until the valve can have one and shows it.
const DRAWS: usize = 100;

/// Somebody who looks where asked, and says what is there.
struct Looks<'a> {
    scene: &'a Scene,
    said: Vec<String>,
}

impl Person for Looks<'_> {
    fn ask(&mut self, question: &Question) -> Answer {
        let Kind::Choice(choices) = &question.kind else { return Answer::DontKnow };
        let name = question.id.strip_prefix("triage/").unwrap_or(&question.id);
        let seen = self.scene.eyes.get(name).and_then(|v| choices.iter().find(|c| c.name == *v));
        let answer = seen.map_or("not known", |c| c.words.as_str());
        self.said.push(format!("  {}\n    - {answer}", question.words));
        seen.map_or(Answer::DontKnow, |c| Answer::Choice(c.name.clone()))
    }

    fn tell(&mut self, _: &str) {}
}

/// The demo's valve, calibrated.
fn world() -> Result<World, Failure> {
    let world = World::of(VALVE, generated::valve(VALVE).valve, true)?;
    world.ok_or_else(|| Failure::told("the demo's valve cannot be calibrated"))
}

/// Looks for the fault of a scene: the session, and what was asked and said.
fn found(known: &Knowledge, scene: &Scene) -> (Triage, Vec<String>) {
    let mut session = Session::new(known, false);
    for finding in &scene.findings {
        session.add(finding.clone());
    }
    let mut person = Looks { scene, said: Vec::new() };
    let triage = ask(&mut session, &mut person, &mut ());
    (triage, person.said)
}

/// Every fault, as bad as it gets, so that it shows.
fn worst() -> Vec<Put> {
    let worst = SEVERITIES.iter().copied().fold(0.0, f64::max);
    all_faults().into_iter().filter(|p| p.severity == worst).collect()
}

/// Whether a cause is the fault, or one that cannot be told apart from it.
fn is_it(scene: &Scene, cause: &str) -> bool {
    scene.faults.iter().any(|p| class(&p.fault, scene.part_turn) == class(cause, scene.part_turn))
}

/// A fault that the valve can have and that shows, drawn by the seed.
fn hidden(world: &World, seed: u64) -> Result<Scene, Failure> {
    let healthy = healthy(world)?;
    let faults = worst();
    let mut dice = Dice::new(seed);
    for _ in 0..DRAWS {
        let which = dice.between(0.0, faults.len() as f64) as usize;
        let Some(fault) = faults.get(which) else { continue };
        let drawn = look(world, core::slice::from_ref(fault), Some(&healthy))?;
        if let Some(scene) = drawn.filter(|s| !s.below) {
            return Ok(scene);
        }
    }
    Err(Failure::told("no fault of the demo's valve shows"))
}

/// Hides a fault, finds it, and writes what came of it to `dir`.
pub fn faults(stage: &mut Stage<'_>, dir: &Path, seed: u64) -> Result<(), Failure> {
    stage.say(
        "\n17. A fault is hidden in a valve, its positioner or its loop: the seed draws it. Read over the bus, stroked, and asked of somebody\n\
         who stands in front of it. Virtual time; nothing real moves.",
    )?;
    let known = Knowledge::own().map_err(|e| Failure::told(e.to_string()))?;
    let scene = hidden(&world()?, seed)?;
    let (mut triage, said) = found(&known, &scene);
    triage.line = "the demo's bench".to_owned();
    stage.say(&format!("  {} things were read; asked of the person:", scene.findings.len()))?;
    for words in &said {
        stage.say(words)?;
    }
    let outcome = text(&triage);
    let first: Vec<&str> = outcome.lines().take_while(|l| !l.starts_with("2. ")).collect();
    stage.say(&format!("  {}", first.join("\n  ").trim_end()))?;
    let page = dir.join("fault.html");
    write_file(&page, &html(&triage), false, "writing what the demo found")?;
    write_file(&dir.join("fault.json"), &triage.to_json(), false, "writing what the demo found")?;
    let truth = scene.faults.first().map_or("", |p| p.fault.as_str());
    let named = triage.causes.first().map_or("", |c| c.cause.as_str());
    let words = format!("the hidden fault was \"{}\"; told: {}", truth.replace('_', " "), headline(&triage));
    stage.step(&words, is_it(&scene, named))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the seed draws is found by who looks where asked.
    #[test]
    fn every_hidden_fault_is_found() {
        let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
        let world = world().expect("a valve");
        let healthy = healthy(&world).expect("it is looked at");
        let mut wrong = Vec::new();
        let mut shown = 0;
        for put in worst() {
            let scene = look(&world, core::slice::from_ref(&put), Some(&healthy)).expect("it is looked at");
            let Some(scene) = scene else { continue };
            if scene.below {
                continue;
            }
            shown += 1;
            let (triage, said) = found(&known, &scene);
            let named = triage.causes.first().map_or("", |c| c.cause.as_str());
            if !is_it(&scene, named) {
                wrong.push(format!("{}: {named}\n{}", put.fault, said.join("\n")));
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
        // Nearly all that there are: a fault that no valve of this kind can have is left out.
        assert!(shown >= 28, "{shown}");
        // The same seed hides the same.
        let drawn = |seed| hidden(&world, seed).expect("one shows").faults;
        assert_eq!(drawn(3), drawn(3));
    }
}
