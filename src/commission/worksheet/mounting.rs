//! Putting a positioner on a valve.

use crate::commission::travel::record::Movement;

use super::{Caution, Entry, Known, Part, Step, Worksheet, blank, fill, note, step};

const CAUTIONS: &[Caution] = &[
    Caution::Authority,
    Caution::Isolation,
    Caution::Process,
    Caution::StoredEnergy,
    Caution::Moving,
    Caution::HazardousArea,
    Caution::Air,
];

const PREPARE: Part = Part {
    title: "Before anything is touched",
    steps: &[
        note("Compare the valve's plate with the order and with the head of this sheet.", PLATE),
        note(
            "Agree with operations; note the permit and where the valve goes without air.",
            &[
                blank("permit", ""),
                fill("it is said that without air or signal it", "", Known::FailsTo),
                fill("in a test without air it", "", Known::SeenWithoutAir),
                fill("in a test without current it", "", Known::SeenWithoutCurrent),
                fill("in a test of the trip it", "", Known::SeenAtTrip),
            ],
        ),
        step(
            "Isolate the process, shut and vent the air, let the stem rest on its stop or block it; prove it.",
        ),
    ],
};

const PLATE: &[Entry] = &[
    blank("tag on the plate", ""),
    blank("size and kind", ""),
    fill("rated travel", "", Known::RatedTravel),
    blank("air, least and most", "kPa"),
];

const BEFORE_LEAVING: &[Step] = &[
    step(
        "Turn the lever by hand over its whole way, air off: it must not bind, touch the yoke or lose the pin.",
    ),
    step(
        "Tighten every screw, mark it, and look at the clamp again: a clamp that slips looks like a valve that drifts.",
    ),
    step("Cover openings that are not used yet; leave cable entry and air inlet closed against water."),
];

/// On a valve whose stem goes up and down.
pub const LINEAR: Worksheet = Worksheet {
    id: "mounting-linear",
    title: "Mounting on a linear valve",
    purpose: "The positioner sits straight, its lever fits the travel, and nothing slips.",
    motion: Some(Movement::Linear),
    tools: &[
        "spanners and torque wrench",
        "spirit level or square",
        "rule or dial gauge",
        "lever and pin for the travel",
    ],
    cautions: CAUTIONS,
    parts: &[
        PREPARE,
        Part {
            title: "Bracket and lever",
            steps: &[
                step(
                    "Fasten the bracket so that the lever's shaft is square to the stem and nothing is bent when the screws are tight.",
                ),
                note(
                    "Choose lever and pin hole by the rated travel.",
                    &[blank("lever length, shaft to pin", "mm"), blank("hole or mark", "")],
                ),
                note(
                    "Bring the stem to half travel with the handwheel or a regulator of its own; set the lever square to the stem there. A lever that \
                     is a quarter of the travel off costs linearity.",
                    &[blank("travel at which the lever is square", "%")],
                ),
                step(
                    "Take the play out of pin and slot with its spring; the pin stays in the slot at both stops.",
                ),
                note(
                    "Read the angle at both stops if the device shows it: alike on both sides of the middle, and inside the sensor's range.",
                    &[
                        fill("angle closed", "deg", Known::AngleClosed),
                        fill("angle open", "deg", Known::AngleOpen),
                    ],
                ),
            ],
        },
        Part { title: "Before leaving it", steps: BEFORE_LEAVING },
    ],
    does_not_prove: &[
        "that the positioner reads the true travel: a travel test with a measurement at the stem does",
        "that the stop is at the rated travel: measure it at the stem",
    ],
};

/// On a valve whose shaft turns.
pub const PART_TURN: Worksheet = Worksheet {
    id: "mounting-part-turn",
    title: "Mounting on a part-turn valve",
    purpose: "The positioner turns with the shaft, the right way round, without play.",
    motion: Some(Movement::PartTurn),
    tools: &["spanners and torque wrench", "coupling for the shaft", "protractor", "square"],
    cautions: CAUTIONS,
    parts: &[
        PREPARE,
        Part {
            title: "Bracket and coupling",
            steps: &[
                step(
                    "Fasten the bracket so that both shafts are in one line; a coupling that wobbles over a turn is not in line.",
                ),
                note(
                    "Note which way the shaft turns to open, seen from the positioner.",
                    &[
                        blank("opens clockwise or counter-clockwise", ""),
                        blank("angle between the stops, by protractor", "deg"),
                    ],
                ),
                step(
                    "Set the coupling so that the sensor's range holds both stops with some room at each end.",
                ),
                step(
                    "Take play out of the coupling: turn the positioner's side by hand, the valve's side must move at once.",
                ),
                note(
                    "Read the angle at both stops if the device shows it.",
                    &[
                        fill("angle closed", "deg", Known::AngleClosed),
                        fill("angle open", "deg", Known::AngleOpen),
                    ],
                ),
                step("Set the indicator on the coupling to what the valve really is: closed is closed."),
            ],
        },
        Part { title: "Before leaving it", steps: BEFORE_LEAVING },
    ],
    does_not_prove: &[
        "that shaft and disc or ball agree: a twisted shaft or a sheared key is not seen from the coupling",
        "that the stops are where they belong: measure with a protractor",
    ],
};
