//! A positioner's electronics as they are written [DV-80].

use super::Number;
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

/// The electronics of a positioner whose valve is computed, as somebody sets them up before a calibration.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PositionerTable {
    /// Whether it is calibrated when it is new, on its valve as the file describes it without its faults. If not it is as out
    /// of its box, and moves nothing until a calibration is done. Default false.
    #[schemars(with = "Option<bool>")]
    pub calibrated: Option<Spanned<bool>>,
    /// Whether the process allows a calibration at first. Default true.
    #[schemars(with = "Option<bool>")]
    pub calibration_allowed: Option<Spanned<bool>>,
    /// Loop current for 0 %, mA, 3.8 to 19.5: another than 4 for split range. Default 4.
    #[schemars(with = "Option<f64>", range(min = 3.8, max = 19.5))]
    pub current_from_ma: Option<Spanned<Number>>,
    /// Loop current for 100 %, mA, 4.8 to 20.5, at least 1 more than current_from_ma. Default 20.
    #[schemars(with = "Option<f64>", range(min = 4.8, max = 20.5))]
    pub current_to_ma: Option<Spanned<Number>>,
    /// Whether more current opens ("rising") or closes ("falling"). Default "rising".
    #[schemars(with = "Option<DirectionWord>")]
    pub direction: Option<Spanned<String>>,
    /// Which way opening turns the lever, as far as is known before a calibration. Default: as the linkage of the valve does.
    #[schemars(with = "Option<MountingWord>")]
    pub mounting: Option<Spanned<String>>,
    /// Least angle of a lever from stop to stop that a calibration accepts, degrees, 5 to 120. Default 25.
    #[schemars(with = "Option<f64>", range(min = 5.0, max = 120.0))]
    pub least_angle_deg: Option<Spanned<Number>>,
    /// Largest angle of a lever to either side of square, degrees, 2.5 to 75. Default 33.
    #[schemars(with = "Option<f64>", range(min = 2.5, max = 75.0))]
    pub most_lever_deg: Option<Spanned<Number>>,
    /// Least angle of a part-turn valve from stop to stop, degrees, 5 to 350. Default 75.
    #[schemars(with = "Option<f64>", range(min = 5.0, max = 350.0))]
    pub least_turn_deg: Option<Spanned<Number>>,
    /// Largest angle of a part-turn valve, degrees, 5 to 350. Default 105.
    #[schemars(with = "Option<f64>", range(min = 5.0, max = 350.0))]
    pub most_turn_deg: Option<Spanned<Number>>,
    /// How far from square a lever may be at mid travel, degrees, 0.5 to 45. Default 6.
    #[schemars(with = "Option<f64>", range(min = 0.5, max = 45.0))]
    pub most_off_square_deg: Option<Spanned<Number>>,
    /// Least supply pressure of a calibration, bar, 0.1 to 10. Default 1.
    #[schemars(with = "Option<f64>", range(min = 0.1, max = 10.0))]
    pub least_supply_bar: Option<Spanned<Number>>,
    /// Longest stroke of a calibration, s, 1 to 600. Default 60.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 600.0))]
    pub most_stroke_s: Option<Spanned<Number>>,
    /// Longest calibration, s, 10 to 3600. Default 240.
    #[schemars(with = "Option<f64>", range(min = 10.0, max = 3600.0))]
    pub most_time_s: Option<Spanned<Number>>,
    /// Share of the supply pressure that may be lost while the valve strokes in a calibration, %, 1 to 95. Default 30.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 95.0))]
    pub most_supply_sag_percent: Option<Spanned<Number>>,
    /// Largest friction that a calibration accepts, its whole band, % of the pressure from stop to stop (two outputs: of the
    /// supply), 1 to 100. Default 35.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 100.0))]
    pub most_friction_percent: Option<Spanned<Number>>,
    /// Largest drive that may be needed to keep the pressure at mid travel, %, 1 to 40. Default 6.5.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 40.0))]
    pub most_holding_drive_percent: Option<Spanned<Number>>,
}

/// Directions, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum DirectionWord {
    /// More current opens.
    Rising,
    /// More current closes.
    Falling,
}

/// Ways of mounting, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum MountingWord {
    /// Opening raises the angle.
    OpeningRaises,
    /// Opening lowers the angle.
    OpeningLowers,
    /// A calibration takes what it finds.
    Either,
}
