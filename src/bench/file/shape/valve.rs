//! The valve of a device as it is written [PL-40].

use super::Number;
use schemars::JsonSchema;
use serde::Deserialize;
use toml::Spanned;

/// The valve that a device positions. Where more is given than the first four keys, the valve is computed from air, actuator,
/// friction and linkage, behind the mock's electronics and in `looprig valve`; what is not given is that of an invented actuator:
/// 20 mm, 350 cm2, spring range 0.2 to 1.0 bar, air opens. Else the mock's travel follows its set point by a lag.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ValveTable {
    /// Of a valve that lags: time in which 63 % of a step are done, s, 0 to 3600. Default 1.5.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 3600.0))]
    pub time_constant_s: Option<Spanned<Number>>,
    /// Of a valve that lags: travel when the bench starts, %, 0 to 100. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub travel_percent: Option<Spanned<Number>>,
    /// Of a valve that lags: angle of the feedback lever at 0 % travel, degrees, -180 to 180. Default -30.
    #[schemars(with = "Option<f64>", range(min = -180.0, max = 180.0))]
    pub lever_angle_closed_deg: Option<Spanned<Number>>,
    /// Of a valve that lags: angle of the feedback lever at 100 % travel, degrees, -180 to 180. Default 30.
    #[schemars(with = "Option<f64>", range(min = -180.0, max = 180.0))]
    pub lever_angle_open_deg: Option<Spanned<Number>>,
    /// Way of the stem, or of the piston of a part-turn actuator, from stop to stop, mm, 1 to 1000. Default 20.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 1000.0))]
    pub stroke_mm: Option<Spanned<Number>>,
    /// What air does: "air_opens" and "air_closes" have a spring against the air, "double" has air on both sides. Default "air_opens".
    #[schemars(with = "Option<ActingWord>")]
    pub acting: Option<Spanned<String>>,
    /// Area of diaphragm or piston, cm2, 1 to 20000. Default 350.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 20_000.0))]
    pub area_cm2: Option<Spanned<Number>>,
    /// Of a double-acting actuator: the area on the closing side, less the rod's, cm2, 1 to 20000. Default as area_cm2.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 20_000.0))]
    pub closing_area_cm2: Option<Spanned<Number>>,
    /// Volume of a chamber where it is smallest, litres, 0.001 to 1000. Default 0.5.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 1000.0))]
    pub dead_volume_l: Option<Spanned<Number>>,
    /// Bore of the tube from the positioner to a chamber, mm, 0.5 to 50. Without it the tube restricts nothing.
    #[schemars(with = "Option<f64>", range(min = 0.5, max = 50.0))]
    pub tube_bore_mm: Option<Spanned<Number>>,
    /// Length of that tube, m, 0.01 to 100. Default 0.5 where tube_bore_mm is given.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 100.0))]
    pub tube_length_m: Option<Spanned<Number>>,
    /// Polytropic exponent of the air in the chambers, 1 (its temperature stays) to 1.4 (its heat stays). Default 1.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 1.4))]
    pub polytropic_exponent: Option<Spanned<Number>>,
    /// Of a double-acting actuator: which way a spring pushes, or that there is none. Default "none". A single-acting one has
    /// one against its air.
    #[schemars(with = "Option<SpringWord>")]
    pub spring: Option<Spanned<String>>,
    /// Gauge pressure in the chamber at which the spring begins to give way, bar, 0 to 20. Default 0.2.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub spring_from_bar: Option<Spanned<Number>>,
    /// Gauge pressure at which the whole stroke is done, bar, 0 to 20, not below spring_from_bar. Default 1.0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub spring_to_bar: Option<Spanned<Number>>,
    /// In place of the pressures: force of the spring where it is least compressed, N, 0 to 1000000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e6))]
    pub spring_preload_n: Option<Spanned<Number>>,
    /// In place of the pressures: its rise for each millimetre, N/mm, 0 to 100000.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e5))]
    pub spring_rate_n_per_mm: Option<Spanned<Number>>,
    /// What moves with the stem, kg, 0.01 to 10000. Default 1.5.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 10_000.0))]
    pub mass_kg: Option<Spanned<Number>>,
    /// Friction of packing and guides while the stem moves slowly, N, 0 to 1000000. Default 140.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e6))]
    pub friction_n: Option<Spanned<Number>>,
    /// In place of friction_n: the same as a share of the spring's range, %, 0 to 100. Without a controller the valve then lags
    /// by twice as much between up and down.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 100.0))]
    pub friction_percent: Option<Spanned<Number>>,
    /// What it takes to break away from rest beside friction while moving, 1 to 10. Default 1.2.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 10.0))]
    pub static_friction_ratio: Option<Spanned<Number>>,
    /// Speed at which friction has fallen from that at rest, mm/s, 0.001 to 100. Default 1.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub stribeck_mm_per_s: Option<Spanned<Number>>,
    /// Drag that grows with speed, N for each mm/s, 0 to 10000. Default 2.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub drag_n_s_per_mm: Option<Spanned<Number>>,
    /// What more it takes to leave the seat, N, 0 to 1000000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e6))]
    pub seat_grip_n: Option<Spanned<Number>>,
    /// Force of the process on the plug where the valve is shut, N, -1000000 to 1000000; above 0 it opens. Default 0.
    #[schemars(with = "Option<f64>", range(min = -1e6, max = 1e6))]
    pub process_force_shut_n: Option<Spanned<Number>>,
    /// The same where it is open. Default 0.
    #[schemars(with = "Option<f64>", range(min = -1e6, max = 1e6))]
    pub process_force_open_n: Option<Spanned<Number>>,
    /// What makes of the piston's way the turn of a shaft: of part-turn valves. Without it the valve has a stem.
    #[schemars(with = "Option<PartTurnTable>")]
    pub part_turn: Option<Spanned<PartTurnTable>>,
    /// Where its air comes from.
    #[schemars(with = "Option<SupplyTable>")]
    pub supply: Option<Spanned<SupplyTable>>,
    /// I/P converter and output stage of the positioner.
    #[schemars(with = "Option<StageTable>")]
    pub stage: Option<Spanned<StageTable>>,
    /// From the stem to the positioner's sensor.
    #[schemars(with = "Option<LinkageTable>")]
    pub linkage: Option<Spanned<LinkageTable>>,
    /// The positioner's sensor.
    #[schemars(with = "Option<SensorTable>")]
    pub sensor: Option<Spanned<SensorTable>>,
    /// What takes the valve to its place when something is lost, besides its spring.
    #[schemars(with = "Option<FailTable>")]
    pub fail: Option<Spanned<FailTable>>,
    /// What holds the set point in `looprig valve`: a plain follower, no positioner.
    #[schemars(with = "Option<FollowerTable>")]
    pub follower: Option<Spanned<FollowerTable>>,
    /// Something that is wrong with it.
    #[serde(default)]
    #[schemars(with = "Vec<ValveFaultTable>")]
    pub fault: Vec<Spanned<ValveFaultTable>>,
}

impl ValveTable {
    /// Whether it says anything of a valve that is computed; what is left over is of one whose travel lags [DV-13].
    pub fn describes(&self) -> bool {
        let ValveTable {
            time_constant_s: _,
            travel_percent: _,
            lever_angle_closed_deg: _,
            lever_angle_open_deg: _,
            stroke_mm,
            acting,
            area_cm2,
            closing_area_cm2,
            dead_volume_l,
            tube_bore_mm,
            tube_length_m,
            polytropic_exponent,
            spring,
            spring_from_bar,
            spring_to_bar,
            spring_preload_n,
            spring_rate_n_per_mm,
            mass_kg,
            friction_n,
            friction_percent,
            static_friction_ratio,
            stribeck_mm_per_s,
            drag_n_s_per_mm,
            seat_grip_n,
            process_force_shut_n,
            process_force_open_n,
            part_turn,
            supply,
            stage,
            linkage,
            sensor,
            fail,
            follower,
            fault,
        } = self;
        [
            stroke_mm.is_some(),
            acting.is_some(),
            area_cm2.is_some(),
            closing_area_cm2.is_some(),
            dead_volume_l.is_some(),
            tube_bore_mm.is_some(),
            tube_length_m.is_some(),
            polytropic_exponent.is_some(),
            spring.is_some(),
            spring_from_bar.is_some(),
            spring_to_bar.is_some(),
            spring_preload_n.is_some(),
            spring_rate_n_per_mm.is_some(),
            mass_kg.is_some(),
            friction_n.is_some(),
            friction_percent.is_some(),
            static_friction_ratio.is_some(),
            stribeck_mm_per_s.is_some(),
            drag_n_s_per_mm.is_some(),
            seat_grip_n.is_some(),
            process_force_shut_n.is_some(),
            process_force_open_n.is_some(),
            part_turn.is_some(),
            supply.is_some(),
            stage.is_some(),
            linkage.is_some(),
            sensor.is_some(),
            fail.is_some(),
            follower.is_some(),
            !fault.is_empty(),
        ]
        .contains(&true)
    }
}

/// A part-turn valve: how the piston turns the shaft, and what the shaft asks for.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PartTurnTable {
    /// "rack": rack and pinion; "yoke": scotch yoke, strongest at both ends. Default "rack".
    #[schemars(with = "Option<TransmissionWord>")]
    pub transmission: Option<Spanned<String>>,
    /// Turn of the shaft over the whole stroke, degrees, 10 to 120. Default 90.
    #[schemars(with = "Option<f64>", range(min = 10.0, max = 120.0))]
    pub turn_deg: Option<Spanned<Number>>,
    /// Torque that the shaft takes while it turns, N m, 0 to 100000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e5))]
    pub running_torque_nm: Option<Spanned<Number>>,
    /// Torque to break it away from shut, N m, 0 to 100000, not below running_torque_nm. Default as that.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e5))]
    pub break_torque_nm: Option<Spanned<Number>>,
    /// Angle over which the one becomes the other, degrees, 0 to 90. Default 5.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub break_over_deg: Option<Spanned<Number>>,
    /// Inertia of what turns, kg m2, 0 to 10000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1e4))]
    pub inertia_kg_m2: Option<Spanned<Number>>,
}

/// Air up to the positioner. What the regulator is set to is the device's [device.air] supply_pressure_bar. Conductances are
/// those of ISO 6358: dm3 of reference air a second for each bar of absolute pressure in front, when choked.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SupplyTable {
    /// Gauge pressure of the header in front of filter and regulator, bar, 0 to 20. Default 6, or 1 bar above what the regulator
    /// is set to where that is more.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 20.0))]
    pub header_bar: Option<Spanned<Number>>,
    /// By how much its pressure falls until the regulator is wide open, bar, 0.001 to 10. Default 0.02.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 10.0))]
    pub droop_bar: Option<Spanned<Number>>,
    /// What the regulator passes wide open, dm3/(s bar), 0.001 to 100. Default 20, which is more than any stage takes.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub regulator_dm3_per_s_bar: Option<Spanned<Number>>,
    /// What the clean filter passes, dm3/(s bar), 0.001 to 100. Default 20.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub filter_dm3_per_s_bar: Option<Spanned<Number>>,
    /// Bore of the line from the regulator to the positioner, mm, 0.5 to 50. Without it the line restricts nothing.
    #[schemars(with = "Option<f64>", range(min = 0.5, max = 50.0))]
    pub line_bore_mm: Option<Spanned<Number>>,
    /// Length of that line, m, 0.01 to 500. Default 5 where line_bore_mm is given.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 500.0))]
    pub line_length_m: Option<Spanned<Number>>,
}

/// The positioner's I/P converter and output stage.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StageTable {
    /// What it does while nothing is asked of it: "blocked" keeps the air in, "pressurised" leaves every output a little open both
    /// ways and uses air all the time. Default "blocked".
    #[schemars(with = "Option<RestWord>")]
    pub at_rest: Option<Spanned<String>>,
    /// Of a stage that is blocked at rest: share of the drive in which nothing opens, %, 0 to 90. Default 2.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 90.0))]
    pub dead_band_percent: Option<Spanned<Number>>,
    /// Of a stage that is pressurised at rest: how far its ways are open then, %, 0.1 to 50. Default 5.
    #[schemars(with = "Option<f64>", range(min = 0.1, max = 50.0))]
    pub rest_opening_percent: Option<Spanned<Number>>,
    /// Time constant of the I/P converter, ms, 0 to 10000. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 10_000.0))]
    pub lag_ms: Option<Spanned<Number>>,
    /// What it fills an output with when fully open, dm3/(s bar), 0.001 to 100. Default 0.5.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub fill_dm3_per_s_bar: Option<Spanned<Number>>,
    /// What it vents an output with when fully open, dm3/(s bar), 0.001 to 100. Default 0.5.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub exhaust_dm3_per_s_bar: Option<Spanned<Number>>,
    /// What the I/P converter bleeds all the time, dm3/(s bar), 0 to 1. Default 0.005.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1.0))]
    pub bleed_dm3_per_s_bar: Option<Spanned<Number>>,
}

/// From the stem, or the shaft, to the shaft of the positioner's sensor.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct LinkageTable {
    /// "tangent": pin on the stem, slot in the lever; "sine": pin on the lever, slot on the stem; "coupling": on the shaft of a
    /// part-turn valve. Default "tangent", of a part-turn valve "coupling".
    #[schemars(with = "Option<LawWord>")]
    pub law: Option<Spanned<String>>,
    /// From the lever's pivot to the pin's path (tangent) or to the pin (sine), mm, 1 to 1000.
    #[schemars(with = "Option<f64>", range(min = 1.0, max = 1000.0))]
    pub lever_mm: Option<Spanned<Number>>,
    /// In place of lever_mm: how far the lever turns over the whole stroke when it is square at mid travel, degrees, 5 to 150. Default 60.
    #[schemars(with = "Option<f64>", range(min = 5.0, max = 150.0))]
    pub lever_turn_deg: Option<Spanned<Number>>,
    /// Travel at which the lever is square to the stem, %, -100 to 200. Default 50.
    #[schemars(with = "Option<f64>", range(min = -100.0, max = 200.0))]
    pub square_at_percent: Option<Spanned<Number>>,
    /// Whether opening makes the lever's angle fall. Default false.
    #[schemars(with = "Option<bool>")]
    pub falling: Option<Spanned<bool>>,
    /// Play of the pin in its slot, along the stem, mm, 0 to 50. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 50.0))]
    pub play_mm: Option<Spanned<Number>>,
    /// Of a coupling: its play, degrees, 0 to 2.8. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 2.8))]
    pub play_deg: Option<Spanned<Number>>,
    /// Of a coupling: angle between its two shafts, degrees, 0 to 30. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 30.0))]
    pub misaligned_deg: Option<Spanned<Number>>,
}

/// The sensor on the lever's shaft.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SensorTable {
    /// The smallest angle that it can tell, degrees, -180 to 180. Default -60.
    #[schemars(with = "Option<f64>", range(min = -180.0, max = 180.0))]
    pub from_deg: Option<Spanned<Number>>,
    /// The largest, degrees, -180 to 180, above from_deg. Default 60.
    #[schemars(with = "Option<f64>", range(min = -180.0, max = 180.0))]
    pub to_deg: Option<Spanned<Number>>,
    /// One step of its converter, degrees, 0 (none) to 5. Default a 16384th of its range.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 5.0))]
    pub resolution_deg: Option<Spanned<Number>>,
    /// Noise of a reading, degrees rms, 0 to 5. Default 0.00573.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 5.0))]
    pub noise_deg: Option<Spanned<Number>>,
    /// Time from reading to reading, ms, 0 to 1000. Default 5.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1000.0))]
    pub interval_ms: Option<Spanned<Number>>,
}

/// What takes the valve to its place when air, current or the trip input is lost. Without any of it the spring alone does.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FailTable {
    /// A trip valve between the positioner and the actuator: what it vents with while it is not energised, dm3/(s bar), 0.001 to 100.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub trip_dm3_per_s_bar: Option<Spanned<Number>>,
    /// Of a double-acting actuator: whether a trip opens the valve. Default false.
    #[schemars(with = "Option<bool>")]
    pub trip_opens: Option<Spanned<bool>>,
    /// A lock-up valve: gauge pressure of the supply below which it keeps the air in, bar, 0.01 to 10.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 10.0))]
    pub lock_up_below_bar: Option<Spanned<Number>>,
    /// What the closed lock-up valve leaks, dm3/(s bar), 0 to 1. Default 0.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 1.0))]
    pub lock_up_leak_dm3_per_s_bar: Option<Spanned<Number>>,
    /// Of a double-acting actuator: a tank of stored air, litres, 0.1 to 10000.
    #[schemars(with = "Option<f64>", range(min = 0.1, max = 10_000.0))]
    pub tank_l: Option<Spanned<Number>>,
    /// What fills the tank, and what it and the vent of the other chamber pass, dm3/(s bar), 0.001 to 100. Default 1.
    #[schemars(with = "Option<f64>", range(min = 0.001, max = 100.0))]
    pub tank_dm3_per_s_bar: Option<Spanned<Number>>,
    /// Gauge pressure of the supply below which the tank takes over, bar, 0.01 to 10. Default 2.
    #[schemars(with = "Option<f64>", range(min = 0.01, max = 10.0))]
    pub tank_below_bar: Option<Spanned<Number>>,
    /// Whether the tank opens the valve. Default false.
    #[schemars(with = "Option<bool>")]
    pub tank_opens: Option<Spanned<bool>>,
}

/// A plain follower of the set point: proportional with a dead band.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct FollowerTable {
    /// Share of full drive for each percent that the travel is off, %, 0.1 to 1000. Default 10.
    #[schemars(with = "Option<f64>", range(min = 0.1, max = 1000.0))]
    pub gain_percent_per_percent: Option<Spanned<Number>>,
    /// Error within which it does nothing, % of the stroke, 0 to 50. Default 0.3.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 50.0))]
    pub dead_band_percent: Option<Spanned<Number>>,
}

/// Something that is wrong with a valve for a time. `looprig valve --faults` says what each is and what its severity means.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ValveFaultTable {
    /// Which, such as "filter_blocked".
    #[schemars(with = "String")]
    pub name: Option<Spanned<String>>,
    /// How bad, above 0 to 1.
    #[schemars(with = "f64", range(min = 0.0, max = 1.0))]
    pub severity: Option<Spanned<Number>>,
    /// From when on, s of the recorded run, 0 to 3600. Without it the fault is there before the valve is brought to its first place.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 3600.0))]
    pub from_s: Option<Spanned<Number>>,
    /// Until when, s of the recorded run, after from_s. Default to the end.
    #[schemars(with = "Option<f64>", range(min = 0.0, max = 3600.0))]
    pub until_s: Option<Spanned<Number>>,
}

/// What air does, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum ActingWord {
    /// Single-acting: air opens, the spring closes.
    AirOpens,
    /// Single-acting: air closes, the spring opens.
    AirCloses,
    /// Air on both sides.
    Double,
}

/// Springs of double-acting actuators, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum SpringWord {
    /// None.
    None,
    /// It pushes towards closed.
    Closes,
    /// It pushes towards open.
    Opens,
}

/// Transmissions, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum TransmissionWord {
    /// Rack and pinion.
    Rack,
    /// Scotch yoke.
    Yoke,
}

/// Output stages at rest, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum RestWord {
    /// Both outputs are blocked.
    Blocked,
    /// Both outputs are under pressure.
    Pressurised,
}

/// Laws of the lever, for the schema.
#[derive(JsonSchema)]
#[schemars(rename_all = "snake_case")]
#[allow(dead_code)]
enum LawWord {
    /// Pin on the stem, slot in the lever.
    Tangent,
    /// Pin on the lever, slot on the stem.
    Sine,
    /// A coupling on a shaft.
    Coupling,
}
