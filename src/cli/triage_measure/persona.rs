//! Somebody who answers from the physics, and now and then wrongly or not at all [TG-08].

use super::scene::Scene;
use crate::commission::person::{Answer, Kind, Person, Question};
use crate::plant::generated::Dice;

/// Of a person's answers so many are "don't know", and so many are wrong.
pub const UNKNOWN: f64 = 0.2;
/// The share of wrong ones.
pub const WRONG: f64 = 0.1;

/// A person in front of a scene. Asked the same again it answers the same.
pub struct Persona<'a> {
    scene: &'a Scene,
    seed: u64,
}

impl<'a> Persona<'a> {
    /// The person of a seed.
    pub fn new(scene: &'a Scene, seed: u64) -> Persona<'a> {
        Persona { scene, seed }
    }

    /// What it says of a symptom that may have these values; `None`: it does not know.
    pub fn says(&self, symptom: &str, values: &[&str]) -> Option<String> {
        let mut dice = Dice::new(self.seed ^ mixed(&format!("{} {symptom}", self.scene.key())));
        // Who looks once more looks anew [TG-41].
        let symptom = symptom.strip_suffix("/again").unwrap_or(symptom);
        let draw = dice.between(0.0, 1.0);
        let truth = self.scene.eyes.get(symptom).map(String::as_str)?;
        let others: Vec<&str> = values.iter().copied().filter(|v| *v != truth).collect();
        match draw {
            d if d < UNKNOWN || others.len() == values.len() => None,
            d if d < UNKNOWN + WRONG => {
                let which = dice.between(0.0, others.len() as f64) as usize;
                others.get(which.min(others.len().saturating_sub(1))).map(|v| (*v).to_owned())
            }
            _ => Some(truth.to_owned()),
        }
    }
}

/// A number of a text that is the same everywhere (FNV-1a of 64 bits).
fn mixed(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |h, b| (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3))
}

impl Person for Persona<'_> {
    fn ask(&mut self, question: &Question) -> Answer {
        let symptom = question.id.strip_prefix("triage/").unwrap_or(&question.id);
        let Kind::Choice(choices) = &question.kind else { return Answer::DontKnow };
        let values: Vec<&str> = choices.iter().map(|c| c.name.as_str()).collect();
        self.says(symptom, &values).map_or(Answer::DontKnow, Answer::Choice)
    }

    fn tell(&mut self, _: &str) {}
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of 10,000 answers 2,000 are "don't know" and 1,000 wrong, within four standard deviations (40 and 30); and they are fixed.
    #[test]
    fn shares_of_wrong_and_unknown() {
        let mut scene = Scene::default();
        let values = ["a", "b", "c"];
        let names: Vec<String> = (0..10_000).map(|i| format!("s{i}")).collect();
        scene.eyes = names.iter().map(|n| (n.clone(), "b".to_owned())).collect();
        let of = |seed| {
            let person = Persona::new(&scene, seed);
            names.iter().map(|n| person.says(n, &values)).collect::<Vec<_>>()
        };
        let said = of(7);
        let count = |v: Option<&str>| said.iter().filter(|s| s.as_deref() == v).count() as f64;
        assert!((count(None) - 2000.0).abs() < 160.0, "{}", count(None));
        for wrong in ["a", "c"] {
            assert!((count(Some(wrong)) - 500.0).abs() < 90.0, "{wrong} {}", count(Some(wrong)));
        }
        assert_eq!(said, of(7));
        assert!(said != of(8));
        // What cannot be observed is not known.
        assert_eq!(Persona::new(&scene, 7).says("none", &values), None);
    }
}
