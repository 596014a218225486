//! How a calibration goes and ends [DV-90] [DV-93].

use serde::{Deserialize, Serialize};

/// What is to be learned: the codes of command 131.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Kind {
    /// The end stops.
    EndStops,
    /// End stops and stroke times.
    StrokeTimes,
    /// End stops, stroke times, friction; with leak test and verifying steps.
    Friction,
}

impl Kind {
    /// The code of command 131.
    pub const fn code(self) -> u8 {
        self as u8 + 1
    }

    /// In words, as in the table `calibration`.
    pub const fn words(self) -> &'static str {
        match self {
            Kind::EndStops => "end stops",
            Kind::StrokeTimes => "end stops and stroke times",
            Kind::Friction => "end stops, stroke times and friction",
        }
    }

    /// The kind of a code.
    pub const fn from_code(code: u8) -> Option<Kind> {
        match code {
            1 => Some(Kind::EndStops),
            2 => Some(Kind::StrokeTimes),
            3 => Some(Kind::Friction),
            _ => None,
        }
    }
}

/// A stage of a calibration, in their order [DV-91].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Stage {
    /// Looks at the supply.
    Supply,
    /// Moves to the closed stop.
    ToClosed,
    /// Moves to the open stop.
    ToOpen,
    /// Moves back to the closed stop: is it the same?
    BackToClosed,
    /// Moves to mid travel and stops there: how far does it run on?
    ToMiddle,
    /// Rests: does the pressure stay?
    Leak,
    /// Looks for the drives that just move air.
    DeadBand,
    /// Pushes both ways until it moves.
    Friction,
    /// Goes a small step each way.
    Verify,
}

impl Stage {
    /// Code of command 132; 0 is none.
    pub const fn code(self) -> u8 {
        self as u8 + 1
    }

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Stage::Supply => "looking at the supply",
            Stage::ToClosed => "moving to the closed stop",
            Stage::ToOpen => "moving to the open stop",
            Stage::BackToClosed => "moving back to the closed stop",
            Stage::ToMiddle => "moving to mid travel",
            Stage::Leak => "leak test",
            Stage::DeadBand => "dead band",
            Stage::Friction => "friction",
            Stage::Verify => "small steps to verify",
        }
    }
}

/// Why a calibration failed [DV-93].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Cause {
    /// There is no supply pressure.
    NoSupply,
    /// The supply is too low, or falls too far while the valve strokes.
    SupplyTooLow,
    /// The supply was lost on the way.
    SupplyLost,
    /// Nothing moves: no air comes to the actuator.
    NothingMovesNoAir,
    /// Nothing moves though the positioner gives air.
    NothingMovesStuck,
    /// It moves the wrong way.
    WrongWay,
    /// A stop was not found.
    StopNotFound,
    /// The lever turns too little.
    TooLittleAngle,
    /// The lever turns beyond its sensor's range, or beyond the angle that is allowed.
    AngleBeyond,
    /// The lever is not square at mid travel.
    NotSquare,
    /// The sensor's readings are impossible.
    SensorImplausible,
    /// The pressure does not stay: air leaks.
    Leaks,
    /// The output stage does not come to rest.
    StageDoesNotRest,
    /// There is too much friction.
    TooMuchFriction,
    /// The small steps to verify did not come out.
    DoesNotHold,
    /// It took too long.
    TookTooLong,
    /// The loop current was lost.
    CurrentLost,
    /// The power was lost, or the device was reset.
    PowerLost,
    /// The process no longer allows it.
    NoLongerAllowed,
}

impl Cause {
    /// Every cause, in the order of its codes.
    pub const ALL: [Cause; 19] = [
        Cause::NoSupply,
        Cause::SupplyTooLow,
        Cause::SupplyLost,
        Cause::NothingMovesNoAir,
        Cause::NothingMovesStuck,
        Cause::WrongWay,
        Cause::StopNotFound,
        Cause::TooLittleAngle,
        Cause::AngleBeyond,
        Cause::NotSquare,
        Cause::SensorImplausible,
        Cause::Leaks,
        Cause::StageDoesNotRest,
        Cause::TooMuchFriction,
        Cause::DoesNotHold,
        Cause::TookTooLong,
        Cause::CurrentLost,
        Cause::PowerLost,
        Cause::NoLongerAllowed,
    ];

    /// Code of command 134; 0 is none.
    pub const fn code(self) -> u8 {
        self as u8 + 1
    }

    /// In words, as in the table `calibration_fault`.
    pub const fn words(self) -> &'static str {
        self.texts().0
    }

    /// What to look at, and to do.
    pub const fn hint(self) -> &'static str {
        self.texts().1
    }

    const fn texts(self) -> (&'static str, &'static str) {
        match self {
            Cause::NoSupply => (
                "no supply pressure",
                "Look at the gauge at the positioner's inlet; open the shut-off valve before the filter.",
            ),
            Cause::SupplyTooLow => (
                "the supply is too low",
                "Look at the gauge at the inlet while the valve strokes: regulator set too low, filter blocked, a line \
                 that is too narrow; or packing so tight that the air does not suffice.",
            ),
            Cause::SupplyLost => (
                "the supply was lost on the way",
                "Find out who shut it, or what else draws so much air, and calibrate again.",
            ),
            Cause::NothingMovesNoAir => (
                "nothing moves: no air comes to the actuator",
                "There is supply, but the output's pressure does not follow: output stage, a tube that is off, or a torn \
                 diaphragm.",
            ),
            Cause::NothingMovesStuck => (
                "nothing moves though the positioner gives air",
                "Look whether the stem moves. If so, the lever or its clamp is loose. If not, does the actuator get the air? \
                 A trip valve that is not energised or a lock-up valve keeps it away. Else: seized stem, packing, hand-wheel, \
                 travel stop, or a supply too low for the spring.",
            ),
            Cause::WrongWay => (
                "it moves the wrong way",
                "Tubes on the wrong output, the lever mounted the other way round, or the set-up says the wrong thing \
                 about air and mounting.",
            ),
            Cause::StopNotFound => (
                "a stop was not found",
                "Without air the valve does not reach its stop, or not the same one twice: spring broken, packing too \
                 tight, something in the seat, or a loose lever.",
            ),
            Cause::TooLittleAngle => (
                "the lever turns too little",
                "Put the pin into a hole nearer to the pivot; see that neither hand-wheel nor travel stop is in the way.",
            ),
            Cause::AngleBeyond => (
                "the lever turns too far",
                "Compare the angle that is told with a protractor first: a sensor that is worn, or wet because water is in the \
                 housing, reads wrong, and moving the pin would spoil the mounting. If it reads right, put the pin into a hole \
                 further out, and turn the lever's clamp so that it is square at mid travel.",
            ),
            Cause::NotSquare => (
                "the lever is not square at mid travel",
                "Turn the lever's clamp or shift the pin's carrier so that it is square at mid travel; see that neither \
                 hand-wheel nor travel stop shortens the travel on one side.",
            ),
            Cause::SensorImplausible => (
                "the sensor's readings are impossible",
                "The angle jumps back and forth: sensor worn, plug wet or loose, or the lever is loose on its shaft.",
            ),
            Cause::Leaks => (
                "air leaks",
                "The pressure stays only while air is fed: look with soap at tube, fittings and the actuator's vent.",
            ),
            Cause::StageDoesNotRest => (
                "the output stage does not come to rest",
                "Air goes in or out though none is asked for: a pilot that sticks or has drifted, or dirt in the stage.",
            ),
            Cause::TooMuchFriction => (
                "there is too much friction",
                "Packing too tight, a bent stem, or too small an actuator; play in the linkage looks the same.",
            ),
            Cause::DoesNotHold => (
                "the small steps to verify did not come out",
                "The valve does not come to rest where it is told: friction, play in the linkage, or an output stage that \
                 sticks.",
            ),
            Cause::TookTooLong => (
                "it took too long",
                "Strokes are too slow: dirt in the output stage, a narrow tube, or an actuator that wants a booster; or \
                 allow more time.",
            ),
            Cause::CurrentLost => (
                "the loop current was lost",
                "Without current there is no drive: look at the loop, then calibrate again.",
            ),
            Cause::PowerLost => (
                "the power was lost, or the device was reset",
                "Look at the volts at its terminals, at plugs and wires, and ask who has reset it; then calibrate again.",
            ),
            Cause::NoLongerAllowed => (
                "the process no longer allows it",
                "The valve went back to its set point in the middle of a stroke: ask whoever runs the process, and calibrate \
                 when the valve may stroke.",
            ),
        }
    }
}

/// How a calibration ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Ending {
    /// All was learned and is in force.
    Done,
    /// By an order. What was in force before still is.
    Aborted,
    /// It failed. What was in force before still is.
    Failed(Cause),
}

/// What came of the last calibration that ended.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// What was to be learned.
    pub kind: Kind,
    /// How it ended.
    pub ending: Ending,
    /// In which stage.
    pub stage: Stage,
    /// After how long, s.
    pub lasted_s: f64,
}

/// How far a calibration is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Progress {
    /// What is to be learned.
    pub kind: Kind,
    /// The stage.
    pub stage: Stage,
    /// Share of the whole, 0 to 100 %; it never falls.
    pub percent: u8,
    /// Since its start, s.
    pub elapsed_s: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Codes and words are those of our description of the positioner [DV-93].
    #[test]
    fn words_are_those_of_the_description() {
        let text = include_str!("../../../../protocol-notes/positioner.toml");
        let table = |name: &str| -> Vec<String> {
            let head = format!("[enumeration.{name}]");
            let lines = text.lines().skip_while(|l| *l != head).skip(1);
            lines.take_while(|l| !l.is_empty()).map(str::to_string).collect()
        };
        let row = |code: u8, words: &str| format!("{code} = \"{words}\"");
        let causes = Cause::ALL.iter().map(|c| row(c.code(), c.words()));
        assert_eq!(table("calibration_fault")[1..], causes.collect::<Vec<_>>());
        let kinds = [Kind::EndStops, Kind::StrokeTimes, Kind::Friction].map(|k| row(k.code(), k.words()));
        assert_eq!(table("calibration")[1..], kinds);
        let stages = [
            Stage::Supply,
            Stage::ToClosed,
            Stage::ToOpen,
            Stage::BackToClosed,
            Stage::ToMiddle,
            Stage::Leak,
            Stage::DeadBand,
            Stage::Friction,
            Stage::Verify,
        ];
        let stages = stages.iter().map(|s| row(s.code(), s.words()));
        assert_eq!(table("calibration_step")[1..], stages.collect::<Vec<_>>());
    }

    #[test]
    fn codes_follow_the_order() {
        for (n, cause) in Cause::ALL.into_iter().enumerate() {
            assert_eq!(usize::from(cause.code()), n + 1);
        }
        for kind in [Kind::EndStops, Kind::StrokeTimes, Kind::Friction] {
            assert_eq!(Kind::from_code(kind.code()), Some(kind));
        }
        assert_eq!((Kind::from_code(0), Kind::from_code(4)), (None, None));
    }
}
