//! Values of one unit in another one of the same quantity, for display [UN-04].
//!
//! Factors are arithmetic on definitions; no rounded figure is typed in.

use core::f64::consts::PI;

/// A quantity whose units are converted into one another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// In Pa.
    Pressure,
    /// In K.
    Temperature,
    /// In m.
    Length,
    /// In s.
    Time,
    /// In m/s.
    Velocity,
    /// In kg.
    Mass,
    /// In kg/s.
    MassFlow,
    /// In m3.
    Volume,
    /// In m3/s.
    VolumeFlow,
    /// In rad.
    Angle,
    /// In rad/s.
    AngularVelocity,
    /// In A.
    Current,
    /// In V.
    Voltage,
    /// In ohm.
    Resistance,
    /// In S/m.
    Conductivity,
}

impl Quantity {
    /// The unit of the SI, plain ASCII.
    pub const fn si_symbol(self) -> &'static str {
        match self {
            Quantity::Pressure => "Pa",
            Quantity::Temperature => "K",
            Quantity::Length => "m",
            Quantity::Time => "s",
            Quantity::Velocity => "m/s",
            Quantity::Mass => "kg",
            Quantity::MassFlow => "kg/s",
            Quantity::Volume => "m3",
            Quantity::VolumeFlow => "m3/s",
            Quantity::Angle => "rad",
            Quantity::AngularVelocity => "rad/s",
            Quantity::Current => "A",
            Quantity::Voltage => "V",
            Quantity::Resistance => "ohm",
            Quantity::Conductivity => "S/m",
        }
    }
}

/// How a unit becomes the unit of the SI: add `offset`, then multiply by `factor`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// What it measures.
    pub quantity: Quantity,
    /// In the unit itself; not 0 for degC and degF alone.
    pub offset: f64,
    /// SI units in one of it.
    pub factor: f64,
}

// Definitions, all exact.
const MINUTE: f64 = 60.0;
const HOUR: f64 = 60.0 * MINUTE;
const DAY: f64 = 24.0 * HOUR;
/// Standard acceleration of free fall, m/s2.
const GRAVITY: f64 = 9.806_65;
const INCH: f64 = 0.0254;
const FOOT: f64 = 12.0 * INCH;
const POUND: f64 = 0.453_592_37;
const OUNCE: f64 = POUND / 16.0;
const SHORT_TON: f64 = 2000.0 * POUND;
const LONG_TON: f64 = 2240.0 * POUND;
const LITRE: f64 = 0.001;
const CUBIC_INCH: f64 = INCH * INCH * INCH;
const CUBIC_FOOT: f64 = FOOT * FOOT * FOOT;
const GALLON: f64 = 231.0 * CUBIC_INCH;
const IMPERIAL_GALLON: f64 = 4.546_09 * LITRE;
const OIL_BARREL: f64 = 42.0 * GALLON;
/// Pound-force on a square inch: 0.45359237 x 9.80665 / 0.0254 / 0.0254 = 6894.757... Pa.
const PSI: f64 = POUND * GRAVITY / (INCH * INCH);
const ATMOSPHERE: f64 = 101_325.0;
/// Gram-force on a square centimetre: 0.001 x 9.80665 / 0.0001 = 98.0665 Pa.
const GRAM_PER_SQUARE_CENTIMETRE: f64 = 0.001 * GRAVITY / 0.0001;
/// Weight of a metre of mercury at 0 degC, by convention 13595.1 kg/m3: 133322.387... Pa.
const METRE_OF_MERCURY: f64 = 13_595.1 * GRAVITY;

/// How a unit becomes the unit of the SI; `None` for a code whose unit is not converted: ratios, scales of
/// densities, columns of water, volumes at a reference condition, whatever depends on the classification.
pub fn scale(code: u8) -> Option<Scale> {
    use Quantity as Q;
    let (quantity, factor) = match code {
        2 => (Q::Pressure, METRE_OF_MERCURY * INCH),
        5 => (Q::Pressure, METRE_OF_MERCURY * 0.001),
        6 => (Q::Pressure, PSI),
        7 => (Q::Pressure, 100_000.0),
        8 => (Q::Pressure, 100.0),
        9 => (Q::Pressure, GRAM_PER_SQUARE_CENTIMETRE),
        10 => (Q::Pressure, 1000.0 * GRAM_PER_SQUARE_CENTIMETRE),
        11 => (Q::Pressure, 1.0),
        12 => (Q::Pressure, 1000.0),
        13 => (Q::Pressure, ATMOSPHERE / 760.0),
        14 => (Q::Pressure, ATMOSPHERE),
        237 => (Q::Pressure, 1e6),

        32 | 35 => (Q::Temperature, 1.0),
        33 | 34 => (Q::Temperature, 5.0 / 9.0),

        44 => (Q::Length, FOOT),
        45 => (Q::Length, 1.0),
        47 => (Q::Length, INCH),
        48 => (Q::Length, 0.01),
        49 => (Q::Length, 0.001),

        50 => (Q::Time, MINUTE),
        51 => (Q::Time, 1.0),
        52 => (Q::Time, HOUR),
        53 => (Q::Time, DAY),

        20 => (Q::Velocity, FOOT),
        21 => (Q::Velocity, 1.0),
        114 => (Q::Velocity, INCH),
        115 => (Q::Velocity, INCH / MINUTE),
        116 => (Q::Velocity, FOOT / MINUTE),
        120 => (Q::Velocity, 1.0 / HOUR),

        60 => (Q::Mass, 0.001),
        61 => (Q::Mass, 1.0),
        62 => (Q::Mass, 1000.0),
        63 => (Q::Mass, POUND),
        64 => (Q::Mass, SHORT_TON),
        65 => (Q::Mass, LONG_TON),
        125 => (Q::Mass, OUNCE),

        70 => (Q::MassFlow, 0.001),
        71 => (Q::MassFlow, 0.001 / MINUTE),
        72 => (Q::MassFlow, 0.001 / HOUR),
        73 => (Q::MassFlow, 1.0),
        74 => (Q::MassFlow, 1.0 / MINUTE),
        75 => (Q::MassFlow, 1.0 / HOUR),
        76 => (Q::MassFlow, 1.0 / DAY),
        77 => (Q::MassFlow, 1000.0 / MINUTE),
        78 => (Q::MassFlow, 1000.0 / HOUR),
        79 => (Q::MassFlow, 1000.0 / DAY),
        80 => (Q::MassFlow, POUND),
        81 => (Q::MassFlow, POUND / MINUTE),
        82 => (Q::MassFlow, POUND / HOUR),
        83 => (Q::MassFlow, POUND / DAY),
        84 => (Q::MassFlow, SHORT_TON / MINUTE),
        85 => (Q::MassFlow, SHORT_TON / HOUR),
        86 => (Q::MassFlow, SHORT_TON / DAY),
        87 => (Q::MassFlow, LONG_TON / HOUR),
        88 => (Q::MassFlow, LONG_TON / DAY),

        40 => (Q::Volume, GALLON),
        41 => (Q::Volume, LITRE),
        42 => (Q::Volume, IMPERIAL_GALLON),
        43 => (Q::Volume, 1.0),
        46 => (Q::Volume, OIL_BARREL),
        111 => (Q::Volume, 27.0 * CUBIC_FOOT),
        112 => (Q::Volume, CUBIC_FOOT),
        113 => (Q::Volume, CUBIC_INCH),
        236 => (Q::Volume, 100.0 * LITRE),

        15 => (Q::VolumeFlow, CUBIC_FOOT / MINUTE),
        16 => (Q::VolumeFlow, GALLON / MINUTE),
        17 => (Q::VolumeFlow, LITRE / MINUTE),
        18 => (Q::VolumeFlow, IMPERIAL_GALLON / MINUTE),
        19 => (Q::VolumeFlow, 1.0 / HOUR),
        22 => (Q::VolumeFlow, GALLON),
        23 => (Q::VolumeFlow, 1e6 * GALLON / DAY),
        24 => (Q::VolumeFlow, LITRE),
        25 => (Q::VolumeFlow, 1e6 * LITRE / DAY),
        26 => (Q::VolumeFlow, CUBIC_FOOT),
        27 => (Q::VolumeFlow, CUBIC_FOOT / DAY),
        28 => (Q::VolumeFlow, 1.0),
        29 => (Q::VolumeFlow, 1.0 / DAY),
        30 => (Q::VolumeFlow, IMPERIAL_GALLON / HOUR),
        31 => (Q::VolumeFlow, IMPERIAL_GALLON / DAY),
        130 => (Q::VolumeFlow, CUBIC_FOOT / HOUR),
        131 => (Q::VolumeFlow, 1.0 / MINUTE),
        132 => (Q::VolumeFlow, OIL_BARREL),
        133 => (Q::VolumeFlow, OIL_BARREL / MINUTE),
        134 => (Q::VolumeFlow, OIL_BARREL / HOUR),
        135 => (Q::VolumeFlow, OIL_BARREL / DAY),
        136 => (Q::VolumeFlow, GALLON / HOUR),
        137 => (Q::VolumeFlow, IMPERIAL_GALLON),
        138 => (Q::VolumeFlow, LITRE / HOUR),
        235 => (Q::VolumeFlow, GALLON / DAY),

        143 => (Q::Angle, PI / 180.0),
        144 => (Q::Angle, 1.0),
        117 => (Q::AngularVelocity, PI / 180.0),
        118 => (Q::AngularVelocity, 2.0 * PI),
        119 => (Q::AngularVelocity, 2.0 * PI / MINUTE),

        39 => (Q::Current, 0.001),
        36 => (Q::Voltage, 0.001),
        58 => (Q::Voltage, 1.0),
        37 => (Q::Resistance, 1.0),
        163 => (Q::Resistance, 1000.0),
        66 => (Q::Conductivity, 0.1),
        67 => (Q::Conductivity, 0.0001),
        _ => return None,
    };
    let offset = match code {
        32 => 273.15,
        33 => 459.67,
        _ => 0.0,
    };
    Some(Scale { quantity, offset, factor })
}

/// A value in another unit of the same quantity, both by their codes; `None` where they are not of one quantity
/// or one of them is not converted. The same code gives the same value, whatever the unit.
pub fn convert(value: f64, from: u8, to: u8) -> Option<f64> {
    if from == to {
        return super::unit(from).map(|_| value);
    }
    let (from, to) = (scale(from)?, scale(to)?);
    (from.quantity == to.quantity).then(|| (value + from.offset) * from.factor / to.factor - to.offset)
}

/// Codes of the units into which a unit can be converted, itself among them, lowest first.
pub fn alike(code: u8) -> impl Iterator<Item = u8> {
    let wanted = scale(code).map(|s| s.quantity);
    let same = move |c: &u8| wanted.is_some() && scale(*c).map(|s| s.quantity) == wanted;
    super::all().iter().map(|u| u.code).filter(same)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::types::units;
    use uom::si::f64::*;
    use uom::si::{
        angle, angular_velocity, electric_potential, electrical_resistance, length, mass, mass_rate,
        pressure, thermodynamic_temperature as temperature, time, velocity, volume, volume_rate,
    };

    /// One of each unit in the SI, by another program's table, whose figures have seven digits.
    fn others() -> Vec<(u8, f64)> {
        macro_rules! one {
            ($quantity:ident, $module:ident, $si:ident: $($code:literal $unit:ident),+) => {
                [$(($code, $quantity::new::<$module::$unit>(1.0).get::<$module::$si>())),+]
            };
        }
        let mut all = one!(Pressure, pressure, pascal: 2 inch_of_mercury, 5 millimeter_of_mercury,
            6 psi, 7 bar, 8 millibar, 9 gram_force_per_square_centimeter,
            10 kilogram_force_per_square_centimeter, 11 pascal, 12 kilopascal, 13 torr, 14 atmosphere,
            237 megapascal)
        .to_vec();
        all.extend(one!(ThermodynamicTemperature, temperature, kelvin: 32 degree_celsius,
            33 degree_fahrenheit, 34 degree_rankine, 35 kelvin));
        all.extend(one!(Length, length, meter: 44 foot, 45 meter, 47 inch, 48 centimeter, 49 millimeter));
        all.extend(one!(Time, time, second: 50 minute, 51 second, 52 hour, 53 day));
        all.extend(one!(Velocity, velocity, meter_per_second: 20 foot_per_second, 21 meter_per_second,
            114 inch_per_second, 115 inch_per_minute, 116 foot_per_minute));
        all.extend(one!(Mass, mass, kilogram: 60 gram, 61 kilogram, 62 ton, 63 pound, 64 ton_short,
            65 ton_long, 125 ounce));
        all.extend(one!(MassRate, mass_rate, kilogram_per_second: 70 gram_per_second, 71 gram_per_minute,
            72 gram_per_hour, 73 kilogram_per_second, 74 kilogram_per_minute, 75 kilogram_per_hour,
            76 kilogram_per_day, 77 ton_per_minute, 78 ton_per_hour, 79 ton_per_day, 80 pound_per_second,
            81 pound_per_minute, 82 pound_per_hour, 83 pound_per_day, 85 ton_short_per_hour));
        all.extend(
            one!(Volume, volume, cubic_meter: 40 gallon, 41 liter, 42 gallon_imperial, 43 cubic_meter,
            46 barrel, 111 cubic_yard, 112 cubic_foot, 113 cubic_inch, 236 hectoliter),
        );
        all.extend(one!(VolumeRate, volume_rate, cubic_meter_per_second: 15 cubic_foot_per_minute,
            16 gallon_per_minute, 17 liter_per_minute, 19 cubic_meter_per_hour, 22 gallon_per_second,
            24 liter_per_second, 26 cubic_foot_per_second, 28 cubic_meter_per_second,
            131 cubic_meter_per_minute, 132 barrel_per_second, 137 gallon_imperial_per_second,
            235 gallon_per_day));
        all.extend(one!(Angle, angle, radian: 143 degree, 144 radian));
        all.extend(one!(AngularVelocity, angular_velocity, radian_per_second: 117 degree_per_second,
            118 revolution_per_second, 119 revolution_per_minute));
        all.extend(one!(ElectricPotential, electric_potential, volt: 36 millivolt, 58 volt));
        all.extend(one!(ElectricalResistance, electrical_resistance, ohm: 37 ohm, 163 kiloohm));
        all
    }

    fn near(ours: f64, theirs: f64, within: f64) -> bool {
        (ours - theirs).abs() <= within * theirs.abs().max(f64::MIN_POSITIVE)
    }

    #[test]
    fn another_table_has_the_same_factors() {
        let others = others();
        for (code, si) in &others {
            let s = scale(*code).unwrap_or_else(|| panic!("{code} is not converted"));
            let ours = (1.0 + s.offset) * s.factor;
            assert!(near(ours, *si, 1e-6), "{}: {ours}, not {si}", units::symbol(*code, None).unwrap());
        }
        // What that table has not: other times of the same volumes and masses, mA, m/h, mS/cm and uS/cm.
        let without: Vec<u8> =
            (0..=255).filter(|c| scale(*c).is_some() && !others.iter().any(|o| o.0 == *c)).collect();
        assert_eq!(
            without,
            [18, 23, 25, 27, 29, 30, 31, 39, 66, 67, 84, 86, 87, 88, 120, 130, 133, 134, 135, 136, 138]
        );
    }

    /// The rest by arithmetic: per minute, hour, day by 60, 3600, 86400; one from the one before.
    #[test]
    fn units_that_the_other_table_has_not() {
        for (code, base, factor) in [
            (18, 137, 1.0 / 60.0),
            (30, 137, 1.0 / 3600.0),
            (31, 137, 1.0 / 86400.0),
            (23, 22, 1e6 / 86400.0),
            (136, 22, 1.0 / 3600.0),
            (25, 24, 1e6 / 86400.0),
            (138, 24, 1.0 / 3600.0),
            (27, 26, 1.0 / 86400.0),
            (130, 26, 1.0 / 3600.0),
            (29, 28, 1.0 / 86400.0),
            (133, 132, 1.0 / 60.0),
            (134, 132, 1.0 / 3600.0),
            (135, 132, 1.0 / 86400.0),
            (84, 85, 60.0),
            (86, 85, 1.0 / 24.0),
            (120, 21, 1.0 / 3600.0),
            // 2240 pounds to 2000.
            (87, 85, 1.12),
            (88, 85, 1.12 / 24.0),
            (66, 67, 1000.0),
        ] {
            assert!(near(convert(1.0, code, base).unwrap(), factor, 1e-12), "{code}");
        }
        // 1 mA is 0.001 A; 1 uS/cm is 1e-6 S / 0.01 m.
        assert_eq!(scale(39).map(|s| (s.quantity, s.factor)), Some((Quantity::Current, 0.001)));
        assert!(near(scale(67).unwrap().factor, 1e-6 / 0.01, 1e-12));
    }

    /// By definition: 1 in = 25.4 mm; 1 kg-force on 1 cm2 = 0.980665 bar; 760 torr = 1 atm = 101.325 kPa;
    /// 0 degC = 273.15 K = 32 degF, 100 degC = 212 degF, -40 is the same in both.
    #[test]
    fn values_by_definition() {
        for (value, from, to, want) in [
            (1.0, 47, 49, 25.4),
            (1.0, 10, 7, 0.980665),
            (760.0, 13, 12, 101.325),
            (1.0, 14, 8, 1013.25),
            (0.0, 32, 35, 273.15),
            (0.0, 32, 33, 32.0),
            (100.0, 32, 33, 212.0),
            (-40.0, 33, 32, -40.0),
            (491.67, 34, 32, 0.0),
            // 0.45359237 x 9.80665 = 4.4482216152605 N on 0.00064516 m2.
            (1.0, 6, 11, 4.448_221_615_260_5 / 0.000_645_16),
            // 20 psi, the usual end of a pneumatic signal, in bar: 20 x 0.0689475729.
            (20.0, 6, 7, 1.378_951_459),
            (90.0, 143, 144, core::f64::consts::FRAC_PI_2),
            (1.0, 16, 138, 3.785_411_784 * 60.0),
        ] {
            let got = convert(value, from, to).unwrap();
            assert!((got - want).abs() <= 1e-9 * want.abs().max(1.0), "{value} of {from} in {to}: {got}");
        }
    }

    #[test]
    fn only_within_one_quantity() {
        assert_eq!(convert(1.0, 7, 32), None);
        // Hz and rev/min, ratios, columns of water at some temperature, expansion codes.
        for code in [38, 57, 1, 145, 170, 189, 250] {
            assert_eq!(convert(1.0, code, 7), None, "{code}");
        }
        // Percent stays percent; a code without unit stays nothing.
        assert_eq!(convert(42.0, 57, 57), Some(42.0));
        assert_eq!(convert(42.0, 225, 225), None);
        assert_eq!(convert(42.0, 189, 189), None);
    }

    #[test]
    fn there_and_back() {
        for from in 0..=255u8 {
            for to in alike(from) {
                let back = convert(convert(123.456, from, to).unwrap(), to, from).unwrap();
                assert!((back - 123.456).abs() < 1e-9, "{from}, {to}: {back}");
            }
            assert_eq!(alike(from).any(|c| c == from), scale(from).is_some(), "{from}");
        }
        assert_eq!(alike(32).collect::<Vec<_>>(), [32, 33, 34, 35]);
    }
}
