//! Fault finding measured on mocks: every field fault, at three severities, on generated valves.
//!
//! What the bus tells is collected from a mock as from any device; what a person answers comes from the physics behind it.

mod command;
mod eyes;
mod file;
mod many;
mod measure;
mod page;
mod persona;
mod rival;
mod scene;
mod seen;
mod strokes;
mod told;
mod world;

pub use command::{MEASURING, MeasureArgs, TUNING, made, run};
pub use eyes::{Look, Truth};
pub use file::{read, written};
pub use many::{Valves, all_faults, scenes};
pub use measure::{Measured, Score, Share, class, first_person, measure};
pub use page::page;
pub use persona::{Persona, UNKNOWN, WRONG};
pub use scene::{Healthy, PLAIN, Pair, Put, SEVERITIES, Scene, Seen, healthy, look, look_at_two};
pub use seen::{Drive, Parts, Record, Sample, Watched};
pub use strokes::{Phase, Strokes};
pub use told::Baseline;
pub use world::{HOLDS_MA, LEAST_V, World};
