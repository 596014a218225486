//! Supply air: header, filter, regulator, line, and the volume at the positioner's inlet [PL-05].

use super::ConfigError;
use super::air::{Restriction, absolute_pa};
use super::network::{Duty, End, Link};

/// The highest pressure of a header that is accepted, Pa gauge.
pub const MOST_HEADER_GAUGE_PA: f64 = 2e6;

/// A pressure regulator without relief: it lets in, never out [PL-05].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RegulatorConfig {
    /// Pressure at which it is shut, Pa gauge, 0 to 2e6.
    pub set_gauge_pa: f64,
    /// How far the pressure falls until it is fully open (droop, proportional band), Pa, 100 to 1e6.
    pub band_pa: f64,
    /// What it passes when fully open.
    pub restriction: Restriction,
}

/// How a positioner is supplied with air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyConfig {
    /// Pressure of the header, Pa gauge, 0 to 2e6. It does not change with what is taken.
    pub header_gauge_pa: f64,
    /// The filter when clean.
    pub filter: Restriction,
    /// The share of the filter that is blocked, 0 to 1; 1 passes nothing.
    pub filter_blocked_share: f64,
    /// The regulator; none: the header's pressure as it is.
    pub regulator: Option<RegulatorConfig>,
    /// Volume between regulator and line, m3, 1e-6 to 1.
    pub regulated_volume_m3: f64,
    /// The line from the regulator to the positioner; [`Restriction::line`] makes one of bore and length.
    pub line: Restriction,
    /// Volume at the positioner's inlet, m3, 1e-6 to 1; half of the line's own volume belongs to it.
    pub inlet_volume_m3: f64,
}

impl Default for SupplyConfig {
    /// A header of 6 bar gauge, a regulator set to 1.4 bar gauge, 5 m of line of 6 mm bore (own choice).
    fn default() -> SupplyConfig {
        SupplyConfig {
            header_gauge_pa: 6e5,
            filter: Restriction::usual(8e-8),
            filter_blocked_share: 0.0,
            regulator: Some(RegulatorConfig {
                set_gauge_pa: 1.4e5,
                band_pa: 0.2e5,
                restriction: Restriction::usual(3e-8),
            }),
            regulated_volume_m3: 2e-4,
            line: Restriction::line(6e-3, 5.0),
            inlet_volume_m3: 1e-4,
        }
    }
}

impl SupplyConfig {
    /// A supply that holds its pressure, Pa gauge, whatever is taken: for comparisons with closed forms.
    pub fn stiff(gauge_pa: f64) -> SupplyConfig {
        SupplyConfig {
            header_gauge_pa: gauge_pa,
            filter: Restriction::usual(1e-6),
            filter_blocked_share: 0.0,
            regulator: None,
            regulated_volume_m3: 1e-2,
            line: Restriction::usual(1e-6),
            inlet_volume_m3: 1e-2,
        }
    }

    /// What is wrong with it.
    ///
    /// # Errors
    /// The first value outside its range.
    pub fn check(&self) -> Result<(), ConfigError> {
        ConfigError::unless_in("header_gauge_pa", self.header_gauge_pa, 0.0..=MOST_HEADER_GAUGE_PA)?;
        self.filter.check("filter")?;
        ConfigError::unless_in("filter_blocked_share", self.filter_blocked_share, 0.0..=1.0)?;
        if let Some(regulator) = &self.regulator {
            ConfigError::unless_in("set_gauge_pa", regulator.set_gauge_pa, 0.0..=MOST_HEADER_GAUGE_PA)?;
            ConfigError::unless_in("band_pa", regulator.band_pa, 100.0..=1e6)?;
            regulator.restriction.check("regulator")?;
        }
        ConfigError::unless_in("regulated_volume_m3", self.regulated_volume_m3, 1e-6..=1.0)?;
        self.line.check("line")?;
        ConfigError::unless_in("inlet_volume_m3", self.inlet_volume_m3, 1e-6..=1.0)?;
        Ok(())
    }

    /// The pressure that stands at the inlet while nothing is taken, Pa gauge: no more than the header has.
    pub fn at_rest_gauge_pa(&self) -> f64 {
        self.regulator.map_or(self.header_gauge_pa, |r| r.set_gauge_pa.min(self.header_gauge_pa))
    }

    /// From the header to the volume behind the regulator.
    pub fn into_regulated(&self, regulated: usize) -> Link {
        let filter = self.filter.scaled(1.0 - self.filter_blocked_share);
        let (restriction, duty) = match &self.regulator {
            None => (filter, Duty::Plain),
            Some(r) => {
                let duty = Duty::Regulates { set_pa: absolute_pa(r.set_gauge_pa), band_pa: r.band_pa };
                (filter.series(&r.restriction), duty)
            }
        };
        let from = End::Fixed(absolute_pa(self.header_gauge_pa));
        Link { from, to: End::Node(regulated), restriction, duty }
    }
}
