//! How a mock device is set up: everything that a bench may choose.

use super::described::DescribedAnswers;
use super::faults::ProtocolFault;
use super::identity::Identity;
use super::kind::{KindConfig, KindName, PositionerConfig, TemperatureConfig};
use super::stored::Stored;
use crate::app::command::Revision;
use crate::time::BitTimes;
use core::fmt;
use core::time::Duration;

/// Characters within which an answer must begin [LL-02].
const SLAVE_TIME_OUT: u64 = 28;

/// A command that takes its time [DV-41].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slow {
    /// Its number.
    pub command: u8,
    /// From the request to the moment at which it is done, by the device's clock: one of [`Slow::TAKES`].
    pub takes: Duration,
}

impl Slow {
    /// How long a command may take.
    pub const TAKES: core::ops::RangeInclusive<Duration> =
        Duration::from_millis(1)..=Duration::from_secs(3600);
}

/// The set-up of a mock device.
#[derive(Clone, Debug, PartialEq)]
pub struct DeviceConfig {
    /// What command 0 tells. Default: revision 7, device id 003104 in hexadecimal.
    pub identity: Identity,
    /// What the memory holds when there is no image, or none that can be read [DV-04]. Default: as
    /// [`Stored::default`].
    pub factory: Stored,
    /// Commands of its type that it answers as it is told [DV-70]. Default none.
    pub described: Option<DescribedAnswers>,
    /// Time from the end of a request to the start of the answer, at wire pace: from zero on,
    /// and below the slave time-out of 256.667 ms [LL-02]. Default 10 ms.
    pub response_delay: Duration,
    /// Whether a damaged request gets the communication error octets or silence [LL-08]. Default
    /// true.
    pub answers_damaged: bool,
    /// Whether a newer device takes the short forms of older masters: command 6 without the mode
    /// [DV-15], command 38 without the counter [CM-038]. Default true.
    pub accepts_older_masters: bool,
    /// Configuration cannot be written [DV-05]. Default false.
    pub write_protected: bool,
    /// Whether command 38 passes under write protect [CM-038]. Default true.
    pub reset_passes_write_protect: bool,
    /// Whether command 42 is answered before the device starts again [DV-20]. Default true.
    pub reset_answers: bool,
    /// Commands that may be answered with "busy" are [DV-09]. Default false.
    pub busy: bool,
    /// Commands that take their time: revision 7 answers them by a delayed response, older ones are busy
    /// afterwards [DV-41]. Default none.
    pub slow: Vec<Slow>,
    /// Loop currents outside of which the loop current is saturated, mA
    /// [DV-01] [DV-61]. Default 3.8 to 20.5 (common practice).
    pub loop_current_limits_ma: (f64, f64),
    /// Its kind, and what is set up of that alone. Default a positioner.
    pub kind: KindConfig,
    /// What it does otherwise than the protocol wants, each once; where several act in one place, the first has the last
    /// word on what becomes of a request. Default none.
    pub faults: Vec<&'static ProtocolFault>,
}

impl DeviceConfig {
    /// The defaults of a positioner in a revision of the protocol.
    pub fn new(revision: Revision) -> Self {
        DeviceConfig {
            identity: Identity::new(revision, 0x00_3104),
            factory: Stored::default(),
            described: None,
            response_delay: Duration::from_millis(10),
            answers_damaged: true,
            accepts_older_masters: true,
            write_protected: false,
            reset_passes_write_protect: true,
            reset_answers: true,
            busy: false,
            slow: Vec::new(),
            loop_current_limits_ma: (3.8, 20.5),
            kind: KindConfig::Positioner(PositionerConfig::default()),
            faults: Vec::new(),
        }
    }

    /// The defaults of a temperature transmitter [DV-61], with device types of our own: 52, 62 and FD72 in hexadecimal.
    pub fn temperature(revision: Revision) -> Self {
        let mut config = DeviceConfig::new(revision);
        config.identity.device_type = match revision {
            Revision::R5 => 0x52,
            Revision::R6 => 0x62,
            Revision::R7 => 0xFD72,
        };
        config.kind = KindConfig::Temperature(TemperatureConfig::default());
        config.factory = Stored::delivered(KindName::Temperature);
        config
    }

    /// The defaults of a kind in a revision of the protocol.
    pub fn of_kind(kind: KindName, revision: Revision) -> Self {
        match kind {
            KindName::Positioner => DeviceConfig::new(revision),
            KindName::Temperature => DeviceConfig::temperature(revision),
        }
    }

    /// What is set up of a positioner alone.
    ///
    /// # Panics
    /// It is another kind of device.
    pub fn positioner(&mut self) -> &mut PositionerConfig {
        match &mut self.kind {
            KindConfig::Positioner(own) => own,
            other => panic!("a {} has no set-up of a positioner", other.name().words()),
        }
    }

    /// What is set up of a temperature transmitter alone.
    ///
    /// # Panics
    /// It is another kind of device.
    pub fn transmitter(&mut self) -> &mut TemperatureConfig {
        match &mut self.kind {
            KindConfig::Temperature(own) => own,
            other => panic!("a {} has no set-up of a temperature transmitter", other.name().words()),
        }
    }

    /// Whether a device can be made of it.
    ///
    /// # Errors
    /// The first part that does not fit.
    pub fn check(&self) -> Result<(), ConfigError> {
        let bad = |field, why: String| Err(ConfigError { field, why });
        self.identity.check()?;
        if self.response_delay >= BitTimes::characters(SLAVE_TIME_OUT).duration() {
            let why = format!("{} ms is not below 256 ms", self.response_delay.as_millis());
            return bad("response_delay", why);
        }
        if let Err(why) = super::delayed::check(&self.slow, self.identity.revision) {
            return bad("slow", why);
        }
        if let Some(why) = no_range(self.loop_current_limits_ma) {
            return bad("loop_current_limits_ma", why);
        }
        self.kind.check()?;
        if self.factory.kind != self.kind.name() {
            return bad("factory", "it is that of another kind of device".into());
        }
        for (i, fault) in self.faults.iter().enumerate() {
            if let Some(why) = fault.why_not(self.kind.name(), self.identity.revision) {
                return bad("faults", why);
            }
            if self.faults[..i].contains(fault) {
                return bad("faults", format!("{} is there twice", fault.name()));
            }
        }
        // Last, since the limits are part of what it is judged by.
        match self.factory.check(self) {
            Ok(()) => Ok(()),
            Err(super::ImageError::Range { field, why }) => bad(field, why),
            Err(other) => bad("factory", other.to_string()),
        }
    }
}

/// Why two limits are no range.
pub(super) fn no_range((low, high): (f64, f64)) -> Option<String> {
    // Written so that a not-a-number is refused too.
    let is_range = low.is_finite() && high.is_finite() && low < high;
    (!is_range).then(|| format!("{low} to {high} is no range: two finite numbers, the lower first"))
}

impl Default for DeviceConfig {
    fn default() -> Self {
        DeviceConfig::new(Revision::R7)
    }
}

/// A part of the set-up that does not fit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConfigError {
    /// Which part.
    pub field: &'static str,
    /// What is wrong with it.
    pub why: String,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "setting up a mock device: {}: {}", self.field, self.why)
    }
}

impl core::error::Error for ConfigError {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn defaults_fit_in_every_revision() {
        for revision in Revision::NEWEST_FIRST {
            assert_eq!(DeviceConfig::new(revision).check(), Ok(()));
        }
    }

    fn slow(command: u8, s: u64) -> Slow {
        Slow { command, takes: Duration::from_secs(s) }
    }

    #[test]
    fn what_does_not_fit_is_named() {
        type Spoil = fn(&mut DeviceConfig);
        let cases: &[(&str, Spoil)] = &[
            ("polling_address", |c| c.factory.polling_address = 64),
            ("tag", |c| c.factory.tag = "too long for it".into()),
            // 28 characters of 11 bits at 1200 bit/s are 256.667 ms [LL-02].
            ("response_delay", |c| c.response_delay = Duration::from_micros(256_667)),
            ("transducer_serial_numbers", |c| c.factory.transducer_serial_numbers[0] = 1 << 24),
            // A read; not among 17's codes [CM-017]; too short.
            ("slow", |c| c.slow = vec![slow(3, 1)]),
            ("slow", |c| c.slow = vec![slow(17, 1)]),
            ("slow", |c| c.slow = vec![slow(22, 0)]),
            ("slow", |c| c.slow = vec![slow(22, 1), slow(22, 2)]),
            ("loop_current_ma", |c| c.positioner().loop_current_ma = f64::NAN),
            ("time_constant_s", |c| c.positioner().time_constant_s = -0.1),
            ("travel_percent", |c| c.positioner().travel_percent = 100.1),
            ("upper_range_value", |c| c.factory.upper_range_value = 0.0),
            ("upper_range_value", |c| c.factory.upper_range_value = 105.5),
            ("lower_range_value", |c| c.positioner().set_point_limits_percent = (0.5, 105.0)),
            ("damping_s", |c| c.factory.damping_s = 0.3),
            ("minimum_span_percent", |c| c.positioner().minimum_span_percent = f64::INFINITY),
            ("supply_pressure_limits_bar", |c| c.positioner().supply_pressure_limits_bar = (7.0, 1.4)),
        ];
        for &(field, spoil) in cases {
            let mut config = DeviceConfig::default();
            spoil(&mut config);
            let e = config.check().expect_err(field);
            assert_eq!(e.field, field);
            assert!(e.to_string().starts_with("setting up a mock device: "));
        }
        let late = DeviceConfig { response_delay: Duration::from_micros(256_666), ..DeviceConfig::default() };
        assert_eq!(late.check(), Ok(()));
    }
}
