//! Cable: what a pair of cores is for direct current and for the tones.

use super::network::TwoPort;
use crate::wiring::Complex;

/// Resistance of annealed copper, ohm mm2/m at 20 degC (100 % IACS) [WI-03].
const COPPER_OHM_MM2_PER_M: f64 = 0.017_241;

/// IEC 60228, plain copper at 20 degC: mm2, ohm/km of one core solid or stranded (class 1 and 2), of one
/// flexible core (class 5) [WI-03].
pub const CORES: &[(f64, f64, f64)] = &[
    (0.5, 36.0, 39.0),
    (0.75, 24.5, 26.0),
    (1.0, 18.1, 19.5),
    (1.5, 12.1, 13.3),
    (2.5, 7.41, 7.98),
    (4.0, 4.61, 4.95),
    (6.0, 3.08, 3.30),
];

/// A kind of insulation: our word, capacitance between the cores F/m, where that is from [WI-04].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Insulation {
    /// The word in a sheet.
    pub name: &'static str,
    /// Capacitance between the two cores, F/m.
    pub capacitance_f_per_m: f64,
    /// Where the figure is from.
    pub source: &'static str,
}

/// The kinds of insulation that a sheet may name [WI-04].
pub const INSULATIONS: &[Insulation] = &[
    Insulation {
        name: "pvc",
        capacitance_f_per_m: 250e-12,
        source: "tables of the BS 5308 / EN 50288-7 family: the most that PVC pairs may have [WI-04]",
    },
    Insulation {
        name: "pe",
        capacitance_f_per_m: 85e-12,
        source: "tables of the BS 5308 / EN 50288-7 family: polyethylene, 1.5 mm2, no screens of pairs [WI-04]",
    },
    Insulation {
        name: "pe_screened",
        capacitance_f_per_m: 120e-12,
        source: "tables of the BS 5308 / EN 50288-7 family: polyethylene, screened pairs or one or two pairs [WI-04]",
    },
    Insulation {
        name: "unknown",
        capacitance_f_per_m: 200e-12,
        source: "from memory: what IEC 60079-14 assumes where nothing is known [WI-04]",
    },
];

/// Inductance of a pair where a sheet gives none, H/m: the middle of 0.53 to 0.77 mH/km [WI-04].
pub const USUAL_INDUCTANCE_H_PER_M: f64 = 0.65e-6;

/// A length of cable, one pair of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Cable {
    /// Length, m.
    pub length_m: f64,
    /// Cross-section of a core, mm2.
    pub cross_section_mm2: f64,
    /// Resistance of one core at 20 degC, ohm/m.
    pub core_ohm_per_m: f64,
    /// Where that figure is from.
    pub core_source: &'static str,
    /// Temperature of the cores, degC.
    pub temperature_c: f64,
    /// Capacitance between the cores, F/m.
    pub capacitance_f_per_m: f64,
    /// Where that figure is from.
    pub capacitance_source: &'static str,
    /// Inductance of both cores together, H/m.
    pub inductance_h_per_m: f64,
    /// Insulation resistance of a wet cable, ohm times m; `None` is dry.
    pub insulation_ohm_m: Option<f64>,
}

impl Cable {
    /// Resistance of both cores at their temperature, ohm/m [WI-03].
    pub fn loop_ohm_per_m(&self) -> f64 {
        2.0 * self.core_ohm_per_m * copper_factor(self.temperature_c)
    }

    /// Resistance of both cores over the whole length, ohm.
    pub fn resistance_ohm(&self) -> f64 {
        self.loop_ohm_per_m() * self.length_m
    }

    /// Capacitance of the whole length, F.
    pub fn capacitance_f(&self) -> f64 {
        self.capacitance_f_per_m * self.length_m
    }

    /// The exact line at an angular frequency, rad/s; 0 is direct current [WI-05].
    pub(super) fn two_port(&self, omega: f64) -> TwoPort {
        let leak = self.insulation_ohm_m.map_or(0.0, |r| 1.0 / r);
        let z = Complex::new(self.loop_ohm_per_m(), omega * self.inductance_h_per_m) * self.length_m;
        let y = Complex::new(leak, omega * self.capacitance_f_per_m) * self.length_m;
        let whole = (z * y).sqrt();
        // Nothing comes through where e^100 is lost; beyond that numbers would overflow.
        let x = Complex::new(whole.re.min(100.0), whole.im);
        let cosh = x.cosh();
        let sinhc = if x == whole { x.sinhc() } else { x.sinhc() * x / whole };
        TwoPort { a: cosh, b: z * sinhc, c: y * sinhc, d: cosh, drop: Complex::ZERO }
    }
}

/// How much more a copper core resists at a temperature than at 20 degC [WI-03].
pub fn copper_factor(temperature_c: f64) -> f64 {
    (234.5 + temperature_c) / 254.5
}

/// Resistance of one copper core at 20 degC, ohm/m, and where it is from: the table of IEC 60228 where it
/// has the cross-section, else that of solid copper [WI-03].
pub fn core_ohm_per_m(cross_section_mm2: f64, is_flexible: bool) -> (f64, &'static str) {
    match CORES.iter().find(|row| (row.0 - cross_section_mm2).abs() < 1e-9) {
        Some(row) if is_flexible => (row.2 / 1e3, "IEC 60228 class 5, the most at 20 \u{b0}C [WI-03]"),
        Some(row) => (row.1 / 1e3, "IEC 60228 class 1 and 2, the most at 20 \u{b0}C [WI-03]"),
        None => (
            COPPER_OHM_MM2_PER_M / cross_section_mm2,
            "solid annealed copper at 20 \u{b0}C; standards allow a few % more [WI-03]",
        ),
    }
}

/// Cross-section of a solid wire of American Wire Gauge, mm2 [WI-03].
pub fn awg_mm2(gauge: f64) -> f64 {
    let diameter_mm = 0.127 * 92f64.powf((36.0 - gauge) / 39.0);
    core::f64::consts::FRAC_PI_4 * diameter_mm * diameter_mm
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cores_of_the_published_tables() {
        // [WI-03]: 1.5 mm2, both cores of a km, at 20, 50, 70, -20 degC; arithmetic on the table of IEC 60228.
        let (core, _) = core_ohm_per_m(1.5, false);
        for (t, ohm) in [(20.0, 24.200), (50.0, 27.053), (70.0, 28.954), (-20.0, 20.396)] {
            assert!((2e3 * core * copper_factor(t) - ohm).abs() < 6e-4, "{t} degC");
        }
        // IEC's factor to 20 degC is the reciprocal.
        for (t, k) in
            [(0.0, 1.0853), (10.0, 1.0409), (25.0, 0.9807), (40.0, 0.9271), (50.0, 0.8946), (70.0, 0.8358)]
        {
            assert!((1.0 / copper_factor(t) - k).abs() < 6e-5, "{t} degC");
        }
        // Solid wire by gauge, ohm/km; made of 1.7241 microhm cm.
        for (gauge, ohm) in
            [(14, 8.285), (16, 13.174), (18, 20.948), (20, 33.308), (22, 52.962), (24, 84.213), (26, 133.904)]
        {
            let (core, _) = core_ohm_per_m(awg_mm2(f64::from(gauge)), false);
            assert!((core * 1e3 / ohm - 1.0).abs() < 1e-4, "AWG {gauge}: {}", core * 1e3);
        }
        assert_eq!(core_ohm_per_m(0.75, true).0, 26.0 / 1e3);
    }
}
