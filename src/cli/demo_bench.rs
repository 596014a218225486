//! The bench of the demo: a scenario of our own, the Brackenmoor water works.

use crate::time::Pace;
use core::time::Duration;

const BENCH: &str = r#"# A spare positioner that becomes the inlet valve of filter 4 at the Brackenmoor water works.
pace = PACE
seed = SEED

[loop]
current_ma = 12.0

[[device]]
revision = 7
polling_address = 0
tag = "SPARE-7"
descriptor = "FROM STORE"
message = "SHELF 7, CHECKED BEFORE STORING"
long_tag = "spare positioner, shelf 7"

# Its self test takes longer than an answer may.
[[device.slow]]
command = 41
takes_s = 1.5

# The control room, which has its own business with the valve, and asks again soon enough.
[[master]]
role = "primary"
retries = 0
asks = [{ device = "SPARE-7", command = 3, every_s = EVERY, from_s = FROM }]

# A terminal works loose late in the demo: from then on every second answer loses octets.
[[wire_fault]]
kind = "lost_octets"
octets = 3
share = 0.5
of = "answers"
from_s = LOOSE
until_s = TIGHT

# Where the host opens the loop.
[[line]]
at = "pty:"

# A second clip on the same pair of wires, for the listener.
[[line]]
at = "pty:"

# After four seconds the control system asks for three quarters.
[[event]]
at_s = 4.0
loop_current_ma = 16.0
"#;

/// How long the terminal is loose: far longer than the host needs, however slow the machine.
const LOOSE_FOR: Duration = Duration::from_secs(60);

/// The file, and what its times are.
pub struct DemoBench {
    /// The bench file.
    pub text: String,
    /// From when on the answers lose octets, on the clock of the bench.
    pub loose: Duration,
    /// Until when.
    pub tight: Duration,
}

/// The bench at a pace, with a seed.
pub fn demo_bench(pace: Pace, seed: u64) -> DemoBench {
    let (factor, name) = match pace {
        Pace::Scaled(f) => (f, format!("{f:?}")),
        named => (1.0, format!("\"{named}\"")),
    };
    // What comes before is over by then: the wire gives it most of its time, and the valve, which keeps its
    // own, the least.
    let loose = Duration::from_secs_f64((LOOSE_AT_WIRE_PACE_S / factor).max(LOOSE_AT_LEAST_S).ceil());
    let tight = loose + LOOSE_FOR;
    // At wire pace the control room's request and its answer take more than half a second.
    let every = if factor < 2.0 { "3.0" } else { "1.0" };
    // Behind the search for devices, which takes silence for an answer.
    let from = (SEARCHED_AT_WIRE_PACE_S / factor).max(1.0);
    let text = BENCH
        .replace("PACE", &name)
        .replace("SEED", &seed.to_string())
        .replace("EVERY", every)
        .replace("FROM }", &format!("{from:.1} }}"))
        .replace("LOOSE", &format!("{:.1}", loose.as_secs_f64()))
        .replace("TIGHT", &format!("{:.1}", tight.as_secs_f64()));
    DemoBench { text, loose, tight }
}

/// When everything before the loose terminal is over, at wire pace, s; measured, with a margin.
const LOOSE_AT_WIRE_PACE_S: f64 = 40.0;
/// The same where only the valve takes time, s.
const LOOSE_AT_LEAST_S: f64 = 16.0;
/// When the search for devices is over, at wire pace, s; measured, with a margin.
const SEARCHED_AT_WIRE_PACE_S: f64 = 9.0;
