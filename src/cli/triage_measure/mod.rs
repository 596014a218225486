//! Fault finding measured on mocks: every field fault, at three severities, on generated valves.
//!
//! What the bus tells is collected from a mock as from any device; what a person answers comes from the physics behind it.

mod eyes;
mod many;
mod scene;
mod seen;
mod strokes;
mod told;
mod world;

pub use eyes::{Look, Truth};
pub use many::{Valves, scenes};
pub use scene::{Found, Healthy, PLAIN, Put, SEVERITIES, Scene, healthy, look};
pub use seen::{Drive, Parts, Record, Sample, Watched};
pub use strokes::{Phase, Strokes};
pub use told::Baseline;
pub use world::{HOLDS_MA, LEAST_V, World};
