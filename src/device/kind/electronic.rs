//! A positioner whose valve is computed: its electronics sense, control and calibrate [DV-80].

use super::positioner::{
    LEVER_ANGLE, PRESSURE_SENSOR_BAR, PositionerConfig, SET_POINT, SUPPLY_PRESSURE, TRAITS, TRAVEL,
};
use super::{Around, Condition, Input, Inputs, Kind, LoopCurrent, Traits};
use crate::app::command::Form;
use crate::device::codes::variable_status;
use crate::device::commands::Handler;
use crate::device::config::{ConfigError, no_range};
use crate::device::lag::Lag;
use crate::device::positioner::{
    Alarm, AlarmSet, Alarms, Config, Direction, Electronics, Ending, JOG_DRIVE, JOG_PERCENT_PER_S, Keys,
    LEAST_CURRENT_A, OWN, Outputs, Seen, Senses, Source, StoredPositioner, own_form,
};
use crate::device::variables::{limited, side};
use crate::time::Instant;

/// What is set up of a positioner's electronics [DV-80]. What masters can write of it counts as delivered.
#[derive(Clone, Debug, PartialEq)]
pub struct ElectronicsConfig {
    /// Lever, outputs, mounting, limits of a calibration; the currents for 0 and 100 %, and the direction.
    pub set_up: Config,
    /// What the angle sensor can tell, degrees.
    pub sensor_range_deg: (f64, f64),
    /// Whether the process allows a calibration now [DV-91].
    pub calibration_allowed: bool,
}

impl Default for ElectronicsConfig {
    /// The default set-up, a sensor from -60 to 60 degrees, calibration allowed.
    fn default() -> Self {
        ElectronicsConfig {
            set_up: Config::default(),
            sensor_range_deg: (-60.0, 60.0),
            calibration_allowed: true,
        }
    }
}

impl ElectronicsConfig {
    pub(super) fn check(&self) -> Result<(), ConfigError> {
        self.set_up.check().map_err(|e| ConfigError { field: e.field, why: e.why })?;
        match no_range(self.sensor_range_deg) {
            Some(why) => Err(ConfigError { field: "sensor_range_deg", why }),
            None => Ok(()),
        }
    }
}

/// What a period of the electronics has come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::device) struct Period {
    /// Drive of the output stage, -1 to 1.
    pub drive: f64,
    /// Alarms that have come.
    pub come: AlarmSet,
    /// A calibration has ended.
    pub ended: Option<Ending>,
}

/// What a positioner with electronics can do besides what every kind does.
pub(in crate::device) trait Positioning {
    /// The electronics.
    fn electronics(&self) -> &Electronics;

    /// The same, to change something in them.
    fn electronics_mut(&mut self) -> &mut Electronics;

    /// How they are set up.
    fn set_up(&self) -> &ElectronicsConfig;

    /// Whether the process allows a calibration from now on.
    fn allow_calibration(&mut self, allowed: bool);

    /// The set point given by hand, percent; `None` while it follows the loop [DV-81].
    fn by_hand(&self) -> Option<f64>;

    /// Gives it by hand from now on, or back to the loop.
    fn set_by_hand(&mut self, around: Around<'_>, now: Instant, percent: Option<f64>);

    /// Whether its selector stands on local [DV-112].
    fn is_local(&self) -> bool;

    /// The selector is turned.
    fn set_local(&mut self, around: Around<'_>, now: Instant, local: bool);

    /// One period: the readings of its sensors, but for the loop current, which it has.
    fn sense(&mut self, around: Around<'_>, now: Instant, senses: &Senses) -> Period;

    /// The alarms.
    fn alarms(&mut self) -> &mut Alarms;

    /// The alarms as they are.
    fn alarms_now(&self) -> AlarmSet;

    /// Whether the last start has ended a calibration: told once.
    fn take_ended_by_start(&mut self) -> bool;

    /// Takes note of a calibration that failed.
    fn acknowledge(&mut self);

    /// The keys.
    fn keys(&self) -> &Keys;

    /// The same, to press one.
    fn keys_mut(&mut self) -> &mut Keys;

    /// A key moves the set point, or the drive of a valve that was never calibrated.
    fn jog(&mut self, around: Around<'_>, now: Instant, towards: f64, dt_s: f64);
}

#[derive(Clone, Debug)]
pub(super) struct ElectronicPositioner {
    config: PositionerConfig,
    own: ElectronicsConfig,
    /// Begun by the first [`Kind::start`], with what is stored.
    electronics: Electronics,
    has_started: bool,
    /// The last start has ended a calibration, and nobody has heard of it yet.
    ended_by_start: bool,
    damped_percent: Lag,
    loop_current_ma: f64,
    /// The set point while the loop current is fixed: it stays where it was [DV-15].
    held_percent: Option<f64>,
    by_hand_percent: Option<f64>,
    /// The selector stands on local [DV-112].
    is_local: bool,
    alarms: Alarms,
    failure_is_noted: bool,
    keys: Keys,
    /// A key drives the valve for this period, because nothing is calibrated: 1 opens, -1 closes.
    jogs: Option<f64>,
}

impl ElectronicPositioner {
    /// The set-up was checked.
    pub fn new(config: &PositionerConfig, own: &ElectronicsConfig, now: Instant) -> Self {
        let stored = StoredPositioner::default();
        ElectronicPositioner {
            electronics: begun(&stored, &own.set_up),
            has_started: false,
            ended_by_start: false,
            damped_percent: Lag::new(0.0, 0.0, now),
            loop_current_ma: config.loop_current_ma,
            held_percent: None,
            by_hand_percent: None,
            is_local: false,
            alarms: Alarms::default(),
            failure_is_noted: false,
            keys: Keys::default(),
            jogs: None,
            own: own.clone(),
            config: config.clone(),
        }
    }

    /// Of the current: 0 % at 4 mA, 100 % at 20 mA [CM-002].
    fn percent_of_range(&self) -> f64 {
        (self.loop_current_ma - 4.0) / 16.0 * 100.0
    }

    /// The share that the current asks for, by its split range and direction [DV-81]; it goes on beyond 0 and 1.
    fn share(&self) -> f64 {
        let demand = &self.own.set_up.demand;
        let share = (self.loop_current_ma / 1e3 - demand.from_a) / (demand.to_a - demand.from_a);
        if demand.direction == Direction::Falling { 1.0 - share } else { share }
    }

    /// What the current demands, or demanded when it was fixed [DV-15].
    fn demanded_percent(&self, around: Around<'_>) -> f64 {
        let (lower, upper) = around.stored.range_values();
        self.held_percent.unwrap_or(lower + (upper - lower) * self.share())
    }

    /// What is aimed at, before damping: simulated [DV-23], by hand [DV-81], or demanded. On local by hand alone [DV-112].
    fn set_point_percent(&self, around: Around<'_>) -> f64 {
        match (around.simulated[SET_POINT], self.by_hand_percent) {
            (_, Some(percent)) if self.is_local => percent,
            (Some(given), _) => given.value.into(),
            (None, Some(percent)) => percent,
            (None, None) => self.demanded_percent(around),
        }
    }

    /// What the sensor of the supply pressure says, bar.
    fn sensor_pressure_bar(&self) -> f64 {
        let sensed = self.electronics.senses().map(|s| s.supply_gauge_pa / 1e5);
        sensed.unwrap_or(self.config.supply_pressure_bar)
    }

    /// The supply pressure behind its trim, bar.
    fn supply_pressure_bar(&self, around: Around<'_>) -> f64 {
        around.stored.trim.told(self.sensor_pressure_bar())
    }

    /// −1 below its limits, 1 above, 0 between.
    fn saturation(&self, around: Around<'_>) -> i8 {
        side(self.loop_current_ma, around.config.loop_current_limits_ma)
    }

    fn lever_is_in_range(&self) -> bool {
        self.electronics.senses().is_none_or(|s| s.lever_in_range)
    }

    /// The set point that asks for the travel that is sensed, percent.
    fn stands_at(&self) -> Option<f64> {
        self.electronics.holding_set_point_percent(self.electronics.senses()?)
    }

    /// By hand from now on, without a move: what damping has on its way to elsewhere is given up.
    fn hold(&mut self, around: Around<'_>, now: Instant, set_point_percent: f64) {
        self.by_hand_percent = Some(set_point_percent);
        self.damped_percent = Lag::new(around.stored.damping_s.into(), set_point_percent, now);
    }

    fn failed(&self) -> bool {
        let failed = |e: Ending| matches!(e, Ending::Failed(_));
        !self.failure_is_noted && self.electronics.result().is_some_and(|o| failed(o.ending))
    }
}

/// What is stored was checked against this set-up, and the set-up as well.
fn begun(stored: &StoredPositioner, set_up: &Config) -> Electronics {
    Electronics::new(stored.kept(set_up))
        .or_else(|_| Electronics::new(StoredPositioner::default().kept(set_up)))
        .unwrap_or_else(|e| panic!("setting up a positioner that was checked: {e}"))
}

impl Kind for ElectronicPositioner {
    fn clone_box(&self) -> Box<dyn Kind> {
        Box::new(self.clone())
    }

    fn traits(&self) -> &'static Traits {
        &TRAITS
    }

    fn limits(&self, variable: usize) -> (f64, f64) {
        match variable {
            SET_POINT => self.config.set_point_limits_percent,
            TRAVEL => (0.0, 100.0),
            LEVER_ANGLE => self.own.sensor_range_deg,
            _ => PRESSURE_SENSOR_BAR,
        }
    }

    fn tolerated(&self, variable: usize) -> (f64, f64) {
        match variable {
            SUPPLY_PRESSURE => self.config.supply_pressure_limits_bar,
            _ => self.limits(variable),
        }
    }

    fn minimum_span(&self) -> f64 {
        self.config.minimum_span_percent
    }

    fn start(&mut self, around: Around<'_>, now: Instant) {
        let delivered = StoredPositioner::default();
        let stored = around.stored.positioner.as_ref().unwrap_or(&delivered);
        if self.has_started {
            self.ended_by_start = self.electronics.restart();
        } else {
            self.electronics = begun(stored, &self.own.set_up);
        }
        self.has_started = true;
        // Note was taken of that one, not of one that this start has ended.
        self.failure_is_noted = !self.ended_by_start && stored.ended.is_some_and(|e| e.is_noted);
        self.by_hand_percent = None;
        self.alarms = Alarms::default();
        self.keys.forget();
        let at_4_ma = f64::from(around.stored.lower_range_value);
        self.held_percent = around.in_multidrop().then_some(at_4_ma);
        let target = self.set_point_percent(around);
        self.damped_percent = Lag::new(around.stored.damping_s.into(), target, now);
    }

    fn follow(&mut self, around: Around<'_>, now: Instant) {
        self.damped_percent.set_time_constant_s(now, around.stored.damping_s.into());
        let target = self.set_point_percent(around);
        self.damped_percent.set_target(now, target);
    }

    fn loop_mode_written(&mut self, around: Around<'_>, now: Instant) {
        let demanded = self.demanded_percent(around);
        self.held_percent = around.in_multidrop().then_some(demanded);
        self.follow(around, now);
    }

    fn take(&mut self, around: Around<'_>, now: Instant, input: Input) {
        if let Input::LoopCurrentMa(ma) = input {
            self.loop_current_ma = ma;
            self.follow(around, now);
        }
    }

    /// What is set is the header's pressure, which the valve has and not the device.
    fn inputs(&self) -> Inputs {
        Inputs::default()
    }

    fn loop_current(&self, around: Around<'_>, _: Instant) -> LoopCurrent {
        let status = limited(self.saturation(around));
        LoopCurrent {
            ma: self.loop_current_ma,
            status,
            percent_of_range: self.percent_of_range(),
            percent_status: status,
            is_saturated: self.saturation(around) != 0,
            is_fixed: around.in_multidrop(),
        }
    }

    fn value(&self, around: Around<'_>, variable: usize, now: Instant) -> (f64, u8) {
        let known = |value: Option<f64>, is_good: bool| match value {
            Some(x) if is_good => (x, variable_status::GOOD),
            Some(x) => (x, variable_status::BAD),
            None => (f64::NAN, variable_status::BAD),
        };
        match variable {
            SET_POINT => {
                let is_given = self.held_percent.is_some() || self.by_hand_percent.is_some();
                let status = match is_given {
                    true => variable_status::MANUAL_CONSTANT,
                    false => limited(self.saturation(around)),
                };
                (self.damped_percent.value(now), status)
            }
            TRAVEL => known(self.electronics.travel_percent(), self.lever_is_in_range()),
            LEVER_ANGLE => known(self.electronics.lever_rad().map(f64::to_degrees), self.lever_is_in_range()),
            _ => {
                let bar = self.supply_pressure_bar(around);
                (bar, limited(side(bar, self.config.supply_pressure_limits_bar)))
            }
        }
    }

    /// The travel ends at the stops, and is told beyond them where the sensor has a little noise.
    fn judged(&self, around: Around<'_>, variable: usize) -> Option<f64> {
        match variable {
            SET_POINT => Some(self.demanded_percent(around)),
            SUPPLY_PRESSURE => Some(self.supply_pressure_bar(around)),
            LEVER_ANGLE if !self.lever_is_in_range() => Some(f64::INFINITY),
            _ => None,
        }
    }

    fn applied_process(&self, _: Around<'_>, _: Instant) -> Option<f64> {
        self.electronics.travel_percent()
    }

    fn untrimmed(&self) -> Option<f64> {
        Some(self.sensor_pressure_bar())
    }

    fn own_command(&self, number: u8) -> Option<(&'static Handler, &'static Form)> {
        Some((OWN.iter().find(|h| h.number == number)?, own_form(number)?))
    }

    fn condition(&self) -> Condition {
        let alarms = self.alarms.now();
        let calibrates = self.electronics.progress().is_some();
        let never_calibrated = self.electronics.calibrated().is_none();
        let out = [Alarm::TravelDeviation, Alarm::DoesNotMove, Alarm::LeverOutside];
        let more = [
            (never_calibrated, 0x01),
            (calibrates, 0x02),
            (self.by_hand_percent.is_some(), 0x04),
            (!self.own.calibration_allowed, 0x08),
            (self.is_local, 0x10),
        ];
        Condition {
            own: [alarms.0, more.iter().filter(|m| m.0).fold(0, |octet, m| octet | m.1)],
            if_memory_defect: [Alarm::MemoryDefect.mask(), 0],
            out_of_specification: out.iter().any(|a| alarms.has(*a)),
            function_check: calibrates || self.is_local || self.by_hand_percent.is_some(),
            maintenance: never_calibrated
                || alarms.has(Alarm::CalibrationFailed)
                || alarms.has(Alarm::DoesNotMove),
        }
    }

    fn valve_percent(&self, around: Around<'_>, _: Instant) -> Option<(f64, f64)> {
        Some((self.set_point_percent(around), self.electronics.travel_percent().unwrap_or(f64::NAN)))
    }

    fn positioning(&self) -> Option<&dyn Positioning> {
        Some(self)
    }

    fn positioning_mut(&mut self) -> Option<&mut dyn Positioning> {
        Some(self)
    }
}

impl Positioning for ElectronicPositioner {
    fn electronics(&self) -> &Electronics {
        &self.electronics
    }

    fn electronics_mut(&mut self) -> &mut Electronics {
        &mut self.electronics
    }

    fn set_up(&self) -> &ElectronicsConfig {
        &self.own
    }

    fn allow_calibration(&mut self, allowed: bool) {
        self.own.calibration_allowed = allowed;
    }

    fn by_hand(&self) -> Option<f64> {
        self.by_hand_percent
    }

    fn set_by_hand(&mut self, around: Around<'_>, now: Instant, percent: Option<f64>) {
        // On local it is not given back.
        if percent.is_some() || !self.is_local {
            self.by_hand_percent = percent;
            self.follow(around, now);
        }
    }

    fn is_local(&self) -> bool {
        self.is_local
    }

    fn set_local(&mut self, around: Around<'_>, now: Instant, local: bool) {
        if local == self.is_local {
            return;
        }
        // In the middle of a calibration it stands where nobody wants it: then the set point stays.
        let stands = self.stands_at().filter(|_| self.electronics.progress().is_none());
        let set_point = stands.unwrap_or_else(|| self.set_point_percent(around).clamp(0.0, 100.0));
        self.is_local = local;
        if local {
            self.hold(around, now, set_point);
        } else {
            self.set_by_hand(around, now, None);
        }
    }

    fn sense(&mut self, around: Around<'_>, now: Instant, senses: &Senses) -> Period {
        let senses = Senses { loop_current_a: self.loop_current_ma / 1e3, ..*senses };
        // Power has come on local, or the first calibration is done: the valve is held where it is found.
        if self.is_local
            && self.by_hand_percent.is_none()
            && let Some(set_point) = self.electronics.holding_set_point_percent(&senses)
        {
            self.hold(around, now, set_point);
        }
        // Whoever has made the set point, to the controller it is given.
        self.electronics.set_source(Source::ByHand(self.damped_percent.value(now)));
        let calibrated = self.electronics.progress().is_some();
        let mut drive = self.electronics.step(now, &senses);
        if let Some(towards) = self.jogs.take()
            && senses.loop_current_a >= LEAST_CURRENT_A
        {
            let opens = if self.own.set_up.outputs == Outputs::AirCloses { -1.0 } else { 1.0 };
            drive = opens * towards * JOG_DRIVE;
        }
        let ended = match (calibrated, self.electronics.progress()) {
            (true, None) => self.electronics.result().map(|o| o.ending),
            _ => None,
        };
        if ended.is_some() {
            self.failure_is_noted = false;
        }
        let seen = Seen {
            deviates: self.electronics.deviates(),
            deviation_percent: self.electronics.deviation_percent(),
            travel_percent: self.electronics.travel_percent(),
            deviation_limit_percent: self.electronics.config().deviation.limit_percent,
            supply_bar: self.supply_pressure_bar(around),
            supply_limits_bar: self.config.supply_pressure_limits_bar,
            current_ma: self.loop_current_ma,
            current_limits_ma: around.config.loop_current_limits_ma,
            lever_in_range: senses.lever_in_range,
            calibration_failed: self.failed(),
        };
        Period { drive, come: self.alarms.step(&seen), ended }
    }

    fn alarms(&mut self) -> &mut Alarms {
        &mut self.alarms
    }

    fn alarms_now(&self) -> AlarmSet {
        self.alarms.now()
    }

    fn take_ended_by_start(&mut self) -> bool {
        core::mem::take(&mut self.ended_by_start)
    }

    fn acknowledge(&mut self) {
        self.failure_is_noted = true;
    }

    fn keys(&self) -> &Keys {
        &self.keys
    }

    fn keys_mut(&mut self) -> &mut Keys {
        &mut self.keys
    }

    fn jog(&mut self, around: Around<'_>, now: Instant, towards: f64, dt_s: f64) {
        match self.stands_at() {
            Some(stands) => {
                let from = self.by_hand_percent.unwrap_or(stands);
                let to = (from + towards * JOG_PERCENT_PER_S * dt_s).clamp(0.0, 100.0);
                self.set_by_hand(around, now, Some(to));
            }
            None => self.jogs = Some(towards),
        }
    }
}
