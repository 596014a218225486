//! What is known of causes, symptoms and checks [TG-02]. The likelihoods are our own judgement [TG-04].

use serde::{Deserialize, Serialize};

/// How bad a fault is: each cause is believed in at three levels, slight, clear and full [TG-03].
pub const LEVELS: usize = 3;
/// The least likelihood of anything: what is thought impossible does happen [TG-03].
pub const LEAST: f64 = 0.005;

/// Where a fault sits, and a check looks. The order is that of the trade, which breaks ties [TG-05].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// Volts and current at the device.
    Power,
    /// Supply, tubing, leaks.
    Air,
    /// The current that is the set point, and talk over the wires.
    Signal,
    /// Valve, actuator, linkage, sensor of travel.
    Mechanics,
    /// What is set at the device.
    Settings,
    /// What gives the air to the actuator.
    OutputStage,
}

impl Group {
    /// All, in the order of the trade.
    pub const ALL: [Group; 6] =
        [Group::Power, Group::Air, Group::Signal, Group::Mechanics, Group::Settings, Group::OutputStage];

    /// The name in files.
    pub const fn key(self) -> &'static str {
        match self {
            Group::Power => "power",
            Group::Air => "air",
            Group::Signal => "signal",
            Group::Mechanics => "mechanics",
            Group::Settings => "settings",
            Group::OutputStage => "output_stage",
        }
    }

    /// For people.
    pub const fn words(self) -> &'static str {
        match self {
            Group::OutputStage => "output stage",
            other => other.key(),
        }
    }
}

/// How a symptom is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// Over the bus, and nothing moves.
    Bus,
    /// Over the bus while the valve strokes, with leave.
    Stroke,
    /// By a person.
    Person,
}

impl Seen {
    /// The name in files.
    pub const fn key(self) -> &'static str {
        match self {
            Seen::Bus => "bus",
            Seen::Stroke => "stroke",
            Seen::Person => "person",
        }
    }
}

/// Something that can be seen, with one of a few values.
#[derive(Clone, Debug, PartialEq)]
pub struct Symptom {
    /// Its name for programs and answers files.
    pub name: String,
    /// For people, such as "supply gauge at rest".
    pub words: String,
    /// How it is seen.
    pub seen: Seen,
    /// What it may be, two at least; the first is what a healthy valve shows.
    pub values: Vec<Shown>,
    /// How it is asked for; every symptom that a person sees has it, others may, for who has no line.
    pub check: Option<Check>,
}

/// One of the values of a symptom.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// Its name for programs and answers files.
    pub name: String,
    /// For people.
    pub words: String,
    /// What is to be done before anything else is asked, where the bus tells this value; a sentence [TG-28].
    pub first_of_all: Option<String>,
}

impl Symptom {
    /// Which of its values has this name.
    pub fn value(&self, name: &str) -> Option<usize> {
        self.values.iter().position(|v| v.name == name)
    }
}

/// How somebody looks at a symptom.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// What is asked, whole sentences.
    pub question: String,
    /// Where one looks.
    pub group: Group,
    /// What it takes, minutes, above 0 (own judgement).
    pub effort_min: f64,
    /// What to take care of, a sentence each.
    pub cautions: Vec<String>,
    /// Whether one watches while the valve strokes.
    pub strokes: bool,
    /// Whether it moves the valve or may move it, as one that strokes does: not before it is sure which valve that is [TG-31].
    pub moves: bool,
    /// Whether it is done in a workshop.
    pub workshop: bool,
    /// Whether who says that it is as on a healthy valve has tried it, so that this is hardly ever told wrongly [TG-25].
    pub sure_if_usual: bool,
}

impl Check {
    /// What to take care of, and first of all that it is a workshop's job, where it is one [TG-26].
    pub fn all_cautions(&self) -> impl Iterator<Item = &str> {
        let job = self.workshop.then_some(FOR_THE_WORKSHOP);
        job.into_iter().chain(self.cautions.iter().map(String::as_str))
    }
}

/// What is told of a check that is a workshop's.
pub const FOR_THE_WORKSHOP: &str =
    "This is a job for the workshop, or for who may open the positioner: answer \"?\" at the valve.";

/// Something that may be wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// Its name for programs.
    pub name: String,
    /// For people, a sentence's beginning: "the supply pressure is too low".
    pub words: String,
    /// Causes with the same class cannot be told apart from outside and count as one [TG-06]; its own name where it has no other.
    pub class: String,
    /// Where it sits.
    pub group: Group,
    /// How often it is met beside the others; 1 is as often as most (own judgement).
    pub weight: f64,
    /// What it does, and why, for `--explain`.
    pub text: String,
    /// What is to be done about it.
    pub remedy: String,
    /// What to take care of then, a sentence each.
    pub cautions: Vec<String>,
    /// Whether it is mended in a workshop.
    pub workshop: bool,
    /// What it shows, where that is not what a healthy valve shows: symptom, and of each of its values the likelihood at each
    /// level; they add up to 1 over the values.
    pub expects: Vec<(usize, Vec<[f64; LEVELS]>)>,
}

/// All that is known.
#[derive(Clone, Debug, PartialEq)]
pub struct Knowledge {
    /// Whose judgement it is.
    pub whose: String,
    /// How likely it is that nothing is wrong, 0 to 1, before anything was seen.
    pub healthy: f64,
    /// Share of a person's answers that are wrong, 0 to 0.5.
    pub wrong_answers: f64,
    /// The same of what is read over the bus.
    pub wrong_readings: f64,
    /// How likely a cause must be so that no more is asked, 0.5 to 1.
    pub sure: f64,
    /// What a check must be expected to tell so that it is asked for, bit.
    pub least_bits: f64,
    /// No more questions than these.
    pub most_questions: usize,
    /// What can be seen.
    pub symptoms: Vec<Symptom>,
    /// What may be wrong.
    pub causes: Vec<Cause>,
}

impl Knowledge {
    /// Which symptom has this name.
    pub fn symptom(&self, name: &str) -> Option<usize> {
        self.symptoms.iter().position(|s| s.name == name)
    }

    /// The cause with this name.
    pub fn cause(&self, name: &str) -> Option<&Cause> {
        self.causes.iter().find(|c| c.name == name)
    }

    /// Likelihood of a symptom's value with a cause at a level, `None` for a healthy valve; 0 to 1, and over the values 1. A symptom
    /// that nothing says anything about shows its usual value.
    pub fn likelihood(&self, cause: Option<usize>, level: usize, symptom: usize, value: usize) -> f64 {
        let told = cause.and_then(|c| self.causes[c].expects.iter().find(|(s, _)| *s == symptom));
        let p = match told {
            Some((_, table)) => table[value][level],
            None if value == 0 => 1.0,
            None => 0.0,
        };
        let n = self.symptoms[symptom].values.len() as f64;
        LEAST + (1.0 - n * LEAST) * p
    }
}
