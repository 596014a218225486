//! `[device.positioner]`: the electronics of a positioner whose valve is computed [DV-80].

use super::shape::PositionerTable;
use super::{Fault, number, words};
use crate::bench::plan::{BenchPlan, ValvePlan};
use crate::device::positioner::{Config, Direction, Lever, Mounting, Outputs, SetUpError, StoredPositioner};
use crate::device::{DeviceConfig, ElectronicsConfig, KindConfig};
use crate::plant::actuator::Action;
use crate::plant::linkage::{Law, Sense};
use crate::plant::valve::ValveConfig;
use core::ops::Range;
use toml::Spanned;

/// Share of the regulator's pressure below which the supply counts as too low, and most of it, bar [DV-89].
const SUPPLY_LIMITS: (f64, f64) = (0.8, 7.0);

/// The set-up that a technician enters for this valve.
fn set_up(valve: &ValveConfig) -> Config {
    Config {
        lever: match valve.linkage.law {
            Law::Tangent { .. } => Lever::PinOnStem,
            Law::Sine { .. } => Lever::PinOnLever,
            Law::PartTurn { .. } => Lever::OnShaft,
        },
        outputs: match valve.actuator.action {
            Action::AirOpens => Outputs::AirOpens,
            Action::AirCloses => Outputs::AirCloses,
            Action::Double => Outputs::Double,
        },
        mounting: match valve.linkage.sense {
            Sense::Rising => Mounting::OpeningRaises,
            Sense::Falling => Mounting::OpeningLowers,
        },
        ..Config::default()
    }
}

/// Puts another valve in the place of the computed one of a device, with electronics that a technician has set up for it; the supply
/// pressure that is told is low below 80 % of what its regulator is set to [DV-89]. What takes it to its place when something is lost
/// ([PL-32]) stays. A device that has no computed valve is left alone.
pub fn fit_valve(plan: &mut BenchPlan, device: usize, valve: ValveConfig) {
    let Some(own) = plan.devices.get_mut(device) else { return };
    let KindConfig::Positioner(positioner) = &mut own.config.kind else { return };
    let (Some(fitted), Some(electronics)) = (&mut own.valve, &mut positioner.electronics) else { return };
    let supply_bar = valve.supply.at_rest_gauge_pa() / 1e5;
    fitted.config = ValveConfig { fail: fitted.config.fail, ..valve };
    electronics.set_up = set_up(&fitted.config);
    let sensor = &fitted.config.sensor;
    electronics.sensor_range_deg = (sensor.min_rad.to_degrees(), sensor.max_rad.to_degrees());
    positioner.supply_pressure_bar = supply_bar;
    positioner.supply_pressure_limits_bar = (SUPPLY_LIMITS.0 * supply_bar, SUPPLY_LIMITS.1);
}

/// Gives the device electronics where its valve is computed; else refuses what is set up of them.
pub(super) fn electronics(
    table: Option<&Spanned<PositionerTable>>,
    valve: &mut ValvePlan,
    c: &mut DeviceConfig,
) -> Result<(), Fault> {
    if !valve.is_described {
        let Some(table) = table else { return Ok(()) };
        let wrong = "[device.positioner] sets up the electronics on a computed valve, and this valve is none";
        let right =
            "describe the valve in [device.valve], such as stroke_mm = 20, or leave [device.positioner] out";
        return Err(Fault::new(&table.span(), wrong, right));
    }
    let mut set_up = set_up(&valve.config);
    let mut allowed = true;
    if let Some(t) = table.map(Spanned::get_ref) {
        parts(t, &mut set_up)?;
        set_up.check().map_err(|e| blamed(t, table.map_or(0..0, Spanned::span), &e))?;
        allowed = t.calibration_allowed.as_ref().is_none_or(|on| *on.get_ref());
        valve.is_calibrated = t.calibrated.as_ref().is_some_and(|on| *on.get_ref());
    }
    let sensor = &valve.config.sensor;
    let own = c.positioner();
    own.supply_pressure_limits_bar = (SUPPLY_LIMITS.0 * own.supply_pressure_bar, SUPPLY_LIMITS.1);
    own.electronics = Some(Box::new(ElectronicsConfig {
        set_up,
        sensor_range_deg: (sensor.min_rad.to_degrees(), sensor.max_rad.to_degrees()),
        calibration_allowed: allowed,
    }));
    c.factory.positioner = Some(StoredPositioner::default());
    Ok(())
}

/// A combination that no single key is to blame for, told at the key that is the likeliest.
fn blamed(t: &PositionerTable, table: Range<usize>, e: &SetUpError) -> Fault {
    let (key, name, right) = match e.field {
        "to_a" | "from_a" => (
            t.current_to_ma.as_ref().or(t.current_from_ma.as_ref()),
            "current_to_ma",
            "give a current_to_ma at least 1 mA above current_from_ma",
        ),
        "most_lever_deg" => (
            t.most_lever_deg.as_ref().or(t.least_angle_deg.as_ref()),
            "most_lever_deg",
            "give a most_lever_deg of at least half of least_angle_deg",
        ),
        "most_turn_deg" => (
            t.most_turn_deg.as_ref().or(t.least_turn_deg.as_ref()),
            "most_turn_deg",
            "give a most_turn_deg not below least_turn_deg",
        ),
        field => (None, field, "change that key"),
    };
    let wrong = format!("these electronics cannot be: {name}: {}", e.why);
    Fault::new(&key.map_or(table, Spanned::span), wrong, right)
}

fn parts(t: &PositionerTable, c: &mut Config) -> Result<(), Fault> {
    if let Some(word) = &t.direction {
        let directions = [("rising", Direction::Rising), ("falling", Direction::Falling)];
        c.demand.direction = words::one_of(word, "direction", &directions)?;
    }
    if let Some(word) = &t.mounting {
        let mountings = [
            ("opening_raises", Mounting::OpeningRaises),
            ("opening_lowers", Mounting::OpeningLowers),
            ("either", Mounting::Either),
        ];
        c.mounting = words::one_of(word, "mounting", &mountings)?;
    }
    let limits = &mut c.limits;
    for (to, given, key, unit, range, per) in [
        (&mut c.demand.from_a, &t.current_from_ma, "current_from_ma", "mA", 3.8..=19.5, 1e3),
        (&mut c.demand.to_a, &t.current_to_ma, "current_to_ma", "mA", 4.8..=20.5, 1e3),
        (&mut limits.least_angle_deg, &t.least_angle_deg, "least_angle_deg", "degrees", 5.0..=120.0, 1.0),
        (&mut limits.most_lever_deg, &t.most_lever_deg, "most_lever_deg", "degrees", 2.5..=75.0, 1.0),
        (&mut limits.least_turn_deg, &t.least_turn_deg, "least_turn_deg", "degrees", 5.0..=350.0, 1.0),
        (&mut limits.most_turn_deg, &t.most_turn_deg, "most_turn_deg", "degrees", 5.0..=350.0, 1.0),
        (
            &mut limits.most_off_square_deg,
            &t.most_off_square_deg,
            "most_off_square_deg",
            "degrees",
            0.5..=45.0,
            1.0,
        ),
        (&mut limits.least_supply_gauge_pa, &t.least_supply_bar, "least_supply_bar", "bar", 0.1..=10.0, 1e-5),
        (&mut limits.most_stroke_s, &t.most_stroke_s, "most_stroke_s", "s", 1.0..=600.0, 1.0),
        (&mut limits.most_time_s, &t.most_time_s, "most_time_s", "s", 10.0..=3600.0, 1.0),
        (
            &mut limits.most_supply_sag,
            &t.most_supply_sag_percent,
            "most_supply_sag_percent",
            "%",
            1.0..=95.0,
            100.0,
        ),
        (
            &mut limits.most_friction_share,
            &t.most_friction_percent,
            "most_friction_percent",
            "%",
            1.0..=100.0,
            100.0,
        ),
        (
            &mut limits.most_holding_drive,
            &t.most_holding_drive_percent,
            "most_holding_drive_percent",
            "%",
            1.0..=40.0,
            100.0,
        ),
    ] {
        if let Some(n) = given {
            *to = number(n, key, unit, range)? / per;
        }
    }
    Ok(())
}
