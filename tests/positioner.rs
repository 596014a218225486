//! The positioner's electronics on computed valves: control and automatic calibration [DV-80] to [DV-97].
//!
//! `LOOPRIG_VALVES` says how many valves are generated and `LOOPRIG_VALVE_SEED` with which seed the first one; CI uses other
//! seeds than those with which the controller was tuned or something in it was mended [DV-94].

#[path = "positioner/abort.rs"]
mod abort;
#[path = "positioner/faults.rs"]
mod faults;
#[path = "positioner/generated.rs"]
mod generated;
#[path = "positioner/identify.rs"]
mod identify;
#[path = "positioner/mock/mod.rs"]
mod mock;
#[path = "positioner/reference.rs"]
mod reference;
#[path = "positioner/rig.rs"]
mod rig;
#[path = "positioner/site/mod.rs"]
mod site;
