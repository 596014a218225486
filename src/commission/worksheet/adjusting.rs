//! First start, adjustment, exchange of parts, return to service.

use super::{Caution, Known, Part, Worksheet, blank, fill, note, step};

const MOVES: &[Caution] = &[
    Caution::Authority,
    Caution::Process,
    Caution::Moving,
    Caution::StoredEnergy,
    Caution::Air,
    Caution::Electrical,
    Caution::HazardousArea,
    Caution::Trip,
];

/// First start.
pub const FIRST_START: Worksheet = Worksheet {
    id: "first-start",
    title: "First start",
    purpose: "The positioner is told which valve it sits on, and follows its set point.",
    motion: None,
    tools: &[
        "source of current or the control system with somebody at it",
        "modem",
        "sheets `wiring` and `air`, signed",
    ],
    cautions: MOVES,
    parts: &[
        Part {
            title: "Settings as found",
            steps: &[
                note(
                    "Save the settings before any is changed (`looprig settings save`).",
                    &[
                        fill("file", "", Known::SettingsFile),
                        fill("descriptor", "", Known::Descriptor),
                        fill("message", "", Known::Message),
                        fill("date in the device", "", Known::DeviceDate),
                        fill("range of the primary variable", "", Known::Range),
                    ],
                ),
                note(
                    "Compare with the data sheet of the valve.",
                    &[
                        fill("kind of valve", "", Known::Motion),
                        fill("rated travel", "", Known::RatedTravel),
                        blank("air opens or closes", ""),
                        blank("rising current opens or closes", ""),
                        blank("characteristic", ""),
                    ],
                ),
            ],
        },
        Part {
            title: "Start",
            steps: &[
                step(
                    "Everybody clear of stem, lever and coupling; operations agree that the flow will change.",
                ),
                step("Air on, then current: 4 mA or more; the display lives, the device answers."),
                step(
                    "Move the valve a little both ways by hand operation of the device, away from the stops: it follows, and the right way.",
                ),
                step(
                    "Start the device's own calibration; stay where you can shut the air. It strokes several times without warning.",
                ),
                note("Note how it ended.", &[blank("result or code", ""), blank("took", "s")]),
            ],
        },
        Part {
            title: "Look at it",
            steps: &[
                note(
                    "Set points 0, 50, 100 %: travel by the device, and at the stem.",
                    &[
                        fill("at 0 %, device", "%", Known::TravelAt0),
                        fill("at 0 %, stem", "%", Known::StemAt0),
                        fill("at 50 %, device", "%", Known::TravelAt50),
                        fill("at 50 %, stem", "%", Known::StemAt50),
                        fill("at 100 %, device", "%", Known::TravelAt100),
                        fill("at 100 %, stem", "%", Known::StemAt100),
                    ],
                ),
                step(
                    "Stroke the valve up and down in five steps, note travel at the stem at each, and keep the sheet.",
                ),
            ],
        },
    ],
    does_not_prove: &["that the valve shuts tight", "that it moves against the full pressure of the process"],
};

/// Travel calibration.
pub const CALIBRATION: Worksheet = Worksheet {
    id: "calibration",
    title: "Travel calibration",
    purpose: "Both ends and all between agree with the stem, as found and as left.",
    motion: None,
    tools: &["dial gauge, rule or protractor with a valid calibration", "source of current"],
    cautions: MOVES,
    parts: &[
        Part {
            title: "As found",
            steps: &[
                note("Instruments used.", &[fill("instruments, calibrated on", "", Known::Instruments)]),
                note(
                    "Travel test before anything is touched.",
                    &[
                        fill("accuracy, highest", "%", Known::FoundAccuracyHigh),
                        fill("accuracy, lowest", "%", Known::FoundAccuracyLow),
                        fill("hysteresis", "%", Known::FoundHysteresis),
                        fill("dead band", "%", Known::FoundDeadBand),
                        fill("stroke opening", "s", Known::FoundStrokeOpening),
                        fill("stroke closing", "s", Known::FoundStrokeClosing),
                    ],
                ),
                note(
                    "What the device tells of its own last calibration.",
                    &[fill("as it tells", "", Known::OwnCalibration)],
                ),
                step("Within limits, and nobody asked for more: touch nothing, as left is as found."),
            ],
        },
        Part {
            title: "Adjusting",
            steps: &[
                note("Save the settings first.", &[fill("file", "", Known::SettingsFile)]),
                step(
                    "Look at the mechanics before the settings: clamp, pin, coupling, stops. A setting must not hide a slack lever.",
                ),
                step(
                    "Let the device find its ends, or adjust 0 % and 100 % in turn until neither moves the other any more.",
                ),
                step("Small corrections at the ends change the middle as well: look at 50 % each time."),
            ],
        },
        Part {
            title: "As left",
            steps: &[
                note(
                    "The same test once more.",
                    &[
                        fill("accuracy, highest", "%", Known::LeftAccuracyHigh),
                        fill("accuracy, lowest", "%", Known::LeftAccuracyLow),
                        fill("hysteresis", "%", Known::LeftHysteresis),
                        fill("dead band", "%", Known::LeftDeadBand),
                        fill("stroke opening", "s", Known::LeftStrokeOpening),
                        fill("stroke closing", "s", Known::LeftStrokeClosing),
                    ],
                ),
                step(
                    "Save the settings again and compare (`looprig settings compare`): nothing changed but what was meant.",
                ),
            ],
        },
    ],
    does_not_prove: &[
        "errors of lever and clamp, where only the device's own sensor was read",
        "the flow through the valve: that is the plug's and the seat's matter",
    ],
};

/// Replacing the converter from current to pressure, or the output stage.
pub const OUTPUT_STAGE: Worksheet = Worksheet {
    id: "output-stage",
    title: "Replacing the I/P converter or the output stage",
    purpose: "A part of the pneumatic side is exchanged; the sensor of travel stays as it is.",
    motion: None,
    tools: &[
        "the part, its seals and screws",
        "clean, dry place and cloth, no grease that the part does not call for",
        "torque driver",
    ],
    cautions: &[
        Caution::Authority,
        Caution::Isolation,
        Caution::Process,
        Caution::StoredEnergy,
        Caution::Air,
        Caution::Electrical,
        Caution::HazardousArea,
        Caution::Moving,
    ],
    parts: &[
        Part {
            title: "Before opening",
            steps: &[
                note(
                    "Is it this part? Note why.",
                    &[blank("what was seen, output follows command or not", "")],
                ),
                note(
                    "Save the settings; note the travel test as found.",
                    &[
                        fill("file", "", Known::SettingsFile),
                        fill("accuracy, highest", "%", Known::FoundAccuracyHigh),
                    ],
                ),
                step(
                    "Isolate loop and air, vent both outputs, let the stem rest; prove it. The explosion protection may forbid work in place.",
                ),
            ],
        },
        Part {
            title: "Exchange",
            steps: &[
                note(
                    "Take the part out straight; count its seals, also those that stick to the housing.",
                    &[blank("seals out", "")],
                ),
                step(
                    "Do not turn or loosen lever, coupling, shaft, or the sensor's screws; keep plugs and strands clear of them.",
                ),
                step(
                    "Seal faces and ports clean, no lint; note dirt, oil or water: it came from the supply, and will come again.",
                ),
                note(
                    "New seals, each in its place; fit the part, tighten crosswise.",
                    &[blank("seals in", ""), blank("torque", "N m")],
                ),
                note("Serial number of the new part.", &[blank("old", ""), blank("new", "")]),
            ],
        },
        Part {
            title: "After",
            steps: &[
                step("Air on slowly; spray the joints; then loop on."),
                step(
                    "Does the device ask for a new calibration? The sensor was left undisturbed, so its ends should be the same: compare them.",
                ),
                note(
                    "Travel test as left.",
                    &[
                        fill("accuracy, highest", "%", Known::LeftAccuracyHigh),
                        fill("hysteresis", "%", Known::LeftHysteresis),
                        fill("stroke opening", "s", Known::LeftStrokeOpening),
                        fill("stroke closing", "s", Known::LeftStrokeClosing),
                    ],
                ),
            ],
        },
    ],
    does_not_prove: &["that the cause is gone: dirty air ruins the next part, too"],
};

/// Return to service.
pub const RETURN: Worksheet = Worksheet {
    id: "return-to-service",
    title: "Return to service",
    purpose: "Whatever was bridged, fixed, simulated or taken off is as it was, and operations have the valve back.",
    motion: None,
    tools: &["every sheet of the job", "list of bridges and locks"],
    cautions: MOVES,
    parts: &[
        Part {
            title: "Device",
            steps: &[
                step(
                    "No fixed current, no simulation, no hand operation, no device that is locked by us: the device says so (`looprig ask LINE TO 48`).",
                ),
                step("Write protection as the site wants it."),
                note(
                    "Settings as left, saved.",
                    &[blank("file", ""), blank("compared with as found, differences", "")],
                ),
                note(
                    "It follows the control system at three places.",
                    &[
                        fill("25 %, travel", "%", Known::FollowsAt25),
                        fill("50 %, travel", "%", Known::FollowsAt50),
                        fill("75 %, travel", "%", Known::FollowsAt75),
                    ],
                ),
                note("Where the set point is left.", &[fill("set point", "", Known::Left)]),
            ],
        },
        Part {
            title: "Valve and loop",
            steps: &[
                step("Covers closed, glands tight, caps off exhausts, guards on, tools away."),
                step(
                    "Handwheel disengaged; solenoid, lock-up and trip in their normal state, and proven where that was touched.",
                ),
                note("Locks and tags off, each by who put it on.", &[blank("locks off", "")]),
                step("Modem and instruments off the loop; breaking-in points closed."),
            ],
        },
        Part {
            title: "Hand over",
            steps: &[
                note(
                    "Operations take the valve back, in automatic or as they wish.",
                    &[blank("taken over by", ""), blank("at", "")],
                ),
                note("What is left to do, and who does it.", &[blank("open points", "")]),
            ],
        },
    ],
    does_not_prove: &["that the loop of the process is tuned"],
};
