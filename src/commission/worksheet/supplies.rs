//! Loop and air: what a positioner lives on.

use super::{Caution, Known, Part, Worksheet, blank, fill, note, step};

/// Wiring and power.
pub const WIRING: Worksheet = Worksheet {
    id: "wiring",
    title: "Wiring and power",
    purpose: "The loop carries current and signal, and the device answers.",
    motion: None,
    tools: &[
        "multimeter",
        "loop calibrator or source",
        "insulation tester, for cables that are not connected",
        "modem",
    ],
    cautions: &[
        Caution::Authority,
        Caution::Electrical,
        Caution::HazardousArea,
        Caution::Moving,
        Caution::Trip,
    ],
    parts: &[
        Part {
            title: "Before power",
            steps: &[
                note("Compare the drawing with what is there.", &[blank("loop drawing, revision", "")]),
                step("Cable gland tight, strain taken off, no moisture in the housing, cover seal whole."),
                note(
                    "Polarity right; screen earthed at one end only, unless the site's practice differs.",
                    &[blank("screen earthed at", "")],
                ),
                note(
                    "With the cable free at both ends: resistance of the pair, and insulation between cores and screen.",
                    &[blank("pair, out and back", "ohm"), blank("insulation", "Mohm")],
                ),
                note(
                    "Compute the loop first (`looprig wiring SHEET.toml`); note what it says.",
                    &[blank("volts expected at the device, 20 mA", "V"), blank("verdict", "")],
                ),
            ],
        },
        Part {
            title: "With power",
            steps: &[
                note(
                    "Measure the volts at the device's terminals at a low and a high current; compare with the least that its plate asks for. Moving the \
                     current moves the valve.",
                    &[
                        blank("volts at 4 mA", "V"),
                        blank("volts at 20 mA", "V"),
                        blank("least volts, by the plate", "V"),
                    ],
                ),
                note(
                    "Measure the current in series, not on a screen; compare with what the device reads.",
                    &[
                        fill("asked", "mA", Known::CurrentAsked),
                        blank("measured", "mA"),
                        fill("read by the device", "mA", Known::Current),
                    ],
                ),
                step(
                    "Connect the modem where the signal is: across the device or the resistor, not across a supply that swallows it.",
                ),
                note(
                    "Ask the device who it is (`looprig scan LINE`).",
                    &[
                        fill("polling address", "", Known::Polling),
                        fill("protocol revision", "", Known::Revision),
                        fill("its tag", "", Known::Tag),
                    ],
                ),
                note(
                    "Note how well the link works over some minutes.",
                    &[
                        fill("requests", "", Known::Requests),
                        fill("repeats", "", Known::Retries),
                        fill("damaged", "", Known::Damaged),
                    ],
                ),
            ],
        },
    ],
    does_not_prove: &[
        "entity parameters of an intrinsically safe loop: a licensed person judges them",
        "the loop at other temperatures, or with the supply at its lowest",
    ],
};

/// Air connection.
pub const AIR: Worksheet = Worksheet {
    id: "air",
    title: "Air connection",
    purpose: "Clean, dry air at the right pressure reaches the actuator, and nothing leaks.",
    motion: None,
    tools: &[
        "pressure gauge with a valid calibration",
        "leak spray",
        "spanners",
        "clean cap for each open port",
    ],
    cautions: &[
        Caution::Authority,
        Caution::Isolation,
        Caution::StoredEnergy,
        Caution::Moving,
        Caution::Air,
        Caution::Trip,
        Caution::HazardousArea,
    ],
    parts: &[
        Part {
            title: "Before the tube is connected",
            steps: &[
                step("Blow the tube through before it is connected, into the free and away from people."),
                step("Filter drained, element clean; no sealing tape that can get into the positioner."),
                note(
                    "Pressure that the actuator and the valve need, and the most that they bear.",
                    &[blank("needed", "kPa"), blank("most", "kPa"), blank("spring range", "kPa")],
                ),
                step(
                    "Single acting: output to the side that works against the spring. Double acting: both outputs, the right way round.",
                ),
                step(
                    "Solenoid, lock-up relay, booster, quick exhaust: note what is in the path and that each is in its normal state.",
                ),
            ],
        },
        Part {
            title: "With air",
            steps: &[
                note(
                    "Set the regulator slowly from zero. Read the gauge at the positioner's inlet at rest and while the valve strokes: a fall shows a \
                     small tube, a blocked filter or a weak regulator.",
                    &[fill("supply at rest", "kPa", Known::Supply), blank("supply while stroking", "kPa")],
                ),
                step("Spray every joint from the regulator to the actuator."),
                note(
                    "Shut the supply with the valve in mid-travel and watch the output for a minute (valve, actuator and stage together).",
                    &[blank("output at first", "kPa"), blank("after one minute", "kPa")],
                ),
                note(
                    "Vent the air and look where the valve goes: compare it with what is said, and with what a test saw.",
                    &[
                        blank("now, without air, it", ""),
                        fill("it is said that without air or signal it", "", Known::FailsTo),
                        fill("in a test without air it", "", Known::SeenWithoutAir),
                    ],
                ),
            ],
        },
    ],
    does_not_prove: &[
        "the quality of the air by its standard: a laboratory or a meter for dew point, oil and particles does",
        "that the pressure is enough against the process: only a stroke under pressure does",
    ],
};
