//! The loop as it is wired: a source, parts in order, devices across the wires, a master.

use super::Complex;
use super::cable::Cable;
use super::network::{Link, TwoPort};
use super::noise::Noise;

/// The least impedance of a source, ohm: one that is ideal shorts the tones as well as this.
const LEAST_OHM: f64 = 1e-6;
/// What does not let the tones through, ohm.
const BLOCKED_OHM: f64 = 1e12;
/// One step of a capacitance number, F [WI-07].
pub const CAPACITANCE_NUMBER_F: f64 = 5e-9;

/// A loop, known to be one piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// What it is called.
    pub title: String,
    /// What feeds it, at place 0.
    pub source: Source,
    /// Names of the places: pairs of terminals, the source's first. Part `n` ends at place `n + 1`.
    pub places: Vec<String>,
    /// The parts between them.
    pub parts: Vec<Part>,
    /// Resistors and capacitors across the wires.
    pub shunts: Vec<Shunt>,
    /// The devices, at least one.
    pub devices: Vec<Device>,
    /// The master, where there is one besides the devices.
    pub master: Option<Master>,
    /// Noise at every receiver that has none of its own [WI-13].
    pub noise: Option<Noise>,
    /// Currents at which volts are computed, A.
    pub currents_a: Vec<f64>,
}

/// What feeds the loop.
#[derive(Clone, Debug, PartialEq)]
pub enum Source {
    /// A voltage supply with a resistor in the loop.
    Supply {
        /// Volts without load.
        voltage_v: f64,
        /// The resistor over which the tones are read, ohm; 0 is none.
        resistor_ohm: f64,
        /// What the supply itself resists, ohm.
        impedance_ohm: f64,
    },
    /// A card that drives the current.
    Card {
        /// The most volts that it can give at its terminals.
        compliance_v: f64,
        /// Its impedance at the tones, ohm, behind its filter.
        impedance_ohm: f64,
        /// Capacitance across its output, F, behind its filter.
        capacitance_f: f64,
        /// Resistance of the filter between it and the loop, ohm; 0 is none.
        filter_ohm: f64,
        /// Inductance of the filter, H.
        filter_h: f64,
    },
}

/// A part between two places.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it is called.
    pub name: String,
    /// The place where it begins; always one before the place where it ends.
    pub from: usize,
    /// What it is.
    pub kind: PartKind,
    /// Whether its two wires change places.
    pub is_reversed: bool,
}

/// What a part is.
#[derive(Clone, Debug, PartialEq)]
pub enum PartKind {
    /// Cable.
    Cable(Cable),
    /// Something in the wires.
    Series(Series),
}

/// Resistor, barrier, isolator, surge protection, terminals, an indicator.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// The sheet's word for it.
    pub what: String,
    /// For direct current, both wires together, ohm.
    pub resistance_ohm: f64,
    /// At the tones, ohm.
    pub tones_ohm: f64,
    /// Inductance, H.
    pub inductance_h: f64,
    /// Volts that are lost whatever the current.
    pub drop_v: f64,
    /// Capacitance across the wires at its far side, F.
    pub capacitance_f: f64,
    /// Whether the tones pass at all.
    pub passes_signal: bool,
}

/// Something across the wires that is no device: a leak, a resistor, a capacitor.
#[derive(Clone, Debug, PartialEq)]
pub struct Shunt {
    /// What it is called.
    pub name: String,
    /// Its place.
    pub at: usize,
    /// Resistance, ohm; `None` is open.
    pub resistance_ohm: Option<f64>,
    /// Capacitance, F.
    pub capacitance_f: f64,
    /// Whether somebody put it there as a resistor; else it is a leak or a filter.
    pub is_resistor: bool,
}

/// How somebody transmits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Transmits {
    /// A current, A peak to peak, beside its own impedance.
    Current(f64),
    /// A voltage, V peak to peak, behind an impedance, ohm, that replaces its own meanwhile.
    Voltage(f64, f64),
    /// Not at all.
    Nothing,
}

/// A device across the wires.
#[derive(Clone, Debug, PartialEq)]
pub struct Device {
    /// Its tag.
    pub tag: String,
    /// Its place.
    pub at: usize,
    /// The least volts it needs, or for a card the volts that it takes: current, A, and volts, by current.
    pub needs: Vec<(f64, f64)>,
    /// Ohm that are added to that.
    pub needs_ohm: f64,
    /// Impedance at the tones, ohm; `None` is as good as open.
    pub impedance_ohm: Option<f64>,
    /// Capacitance across it, F.
    pub capacitance_f: f64,
    /// How it transmits.
    pub transmits: Transmits,
    /// Noise between its terminals; `None` is that of the whole loop.
    pub noise: Option<Noise>,
    /// The current it holds, A; `None` follows the signal.
    pub holds_a: Option<f64>,
    /// The least current at which it works, A, where somebody else makes the current.
    pub least_a: f64,
    /// Whether it works either way round.
    pub takes_either_polarity: bool,
    /// Whether its wires change places.
    pub is_reversed: bool,
}

impl Device {
    /// The volts that it needs at a current, A.
    pub fn needs_v(&self, current_a: f64) -> f64 {
        let points = &self.needs;
        let after = points.iter().position(|p| p.0 >= current_a);
        let v = match after {
            Some(0) => points[0].1,
            Some(n) => {
                let (a, b) = (points[n - 1], points[n]);
                a.1 + (b.1 - a.1) * (current_a - a.0) / (b.0 - a.0)
            }
            None => points.last().map_or(0.0, |p| p.1),
        };
        v + self.needs_ohm * current_a
    }
}

/// Where a master is connected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Coupling {
    /// Across the wires at a place.
    At(usize),
    /// Across the supply's resistor.
    AcrossResistor,
}

/// The master: a control system's modem or a hand-held one.
#[derive(Clone, Debug, PartialEq)]
pub struct Master {
    /// Where.
    pub coupling: Coupling,
    /// How it transmits.
    pub transmits: Transmits,
    /// Noise between its terminals; `None` is that of the whole loop.
    pub noise: Option<Noise>,
    /// Impedance while it listens, ohm; `None` is as good as open.
    pub impedance_ohm: Option<f64>,
    /// Capacitance across it, F.
    pub capacitance_f: f64,
    /// Capacitor in series that keeps direct current away, F; `None` is none.
    pub coupling_f: Option<f64>,
}

/// A two-terminal thing: impedance, ohm, and the voltage behind it, V.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thevenin {
    pub z: Complex,
    pub e: Complex,
}

fn capacitor(omega: f64, f: f64) -> Complex {
    Complex::new(0.0, omega * f)
}

/// Somebody as admittance and current source, silent or transmitting.
fn station(ohm: Option<f64>, f: f64, transmits: Option<Transmits>, omega: f64) -> (Complex, Complex) {
    let own = Complex::from(ohm.map_or(0.0, |r| 1.0 / r)) + capacitor(omega, f);
    match transmits {
        None | Some(Transmits::Nothing) => (own, Complex::ZERO),
        Some(Transmits::Current(a)) => (own, a.into()),
        Some(Transmits::Voltage(v, ohm)) => {
            let y = 1.0 / ohm.max(LEAST_OHM);
            (Complex::from(y) + capacitor(omega, f), (v * y).into())
        }
    }
}

impl Device {
    /// Admittance and current at the tones.
    pub(super) fn at_tone(&self, transmitting: bool, omega: f64) -> (Complex, Complex) {
        station(self.impedance_ohm, self.capacitance_f, transmitting.then_some(self.transmits), omega)
    }
}

impl Master {
    /// What it is at the tones, with its coupling capacitor.
    pub(super) fn at_tone(&self, transmitting: bool, omega: f64) -> (Complex, Complex) {
        let (y, j) =
            station(self.impedance_ohm, self.capacitance_f, transmitting.then_some(self.transmits), omega);
        let Some(f) = self.coupling_f else { return (y, j) };
        if y.abs() == 0.0 {
            // A current source behind a capacitor still feeds its current; it only is no load.
            return (y, j);
        }
        // In series with the capacitor: Z = 1/y + 1/(jwC), E = j/y.
        let z = Complex::ONE / y + Complex::ONE / capacitor(omega, f);
        (Complex::ONE / z, j / y / z)
    }
}

impl Source {
    /// What the tones see of it, a master across its resistor left out.
    pub(super) fn at_tone(&self, omega: f64) -> Complex {
        let z = match *self {
            Source::Supply { resistor_ohm, impedance_ohm, .. } => Complex::from(resistor_ohm + impedance_ohm),
            Source::Card { impedance_ohm, capacitance_f, filter_ohm, filter_h, .. } => {
                let y = Complex::from(1.0 / impedance_ohm.max(LEAST_OHM)) + capacitor(omega, capacitance_f);
                Complex::ONE / y + Complex::new(filter_ohm, omega * filter_h)
            }
        };
        if z.abs() < LEAST_OHM { LEAST_OHM.into() } else { z }
    }

    /// For direct current: ohm, V behind them. Of a card the ohm of its filter and the most volts.
    pub(super) fn direct(&self) -> Thevenin {
        let (z, e) = match *self {
            Source::Supply { voltage_v, resistor_ohm, impedance_ohm } => {
                (resistor_ohm + impedance_ohm, voltage_v)
            }
            Source::Card { compliance_v, filter_ohm, .. } => (filter_ohm, compliance_v),
        };
        Thevenin { z: z.max(LEAST_OHM).into(), e: e.into() }
    }

    /// Whether it is a card that drives the current.
    pub fn is_card(&self) -> bool {
        matches!(self, Source::Card { .. })
    }
}

impl Part {
    fn two_port(&self, omega: f64) -> TwoPort {
        match &self.kind {
            PartKind::Cable(cable) => cable.two_port(omega),
            PartKind::Series(s) if omega == 0.0 => TwoPort::series(s.resistance_ohm.into(), s.drop_v),
            PartKind::Series(s) if !s.passes_signal => TwoPort::series(BLOCKED_OHM.into(), 0.0),
            PartKind::Series(s) => {
                let mut port = TwoPort::series(Complex::new(s.tones_ohm, omega * s.inductance_h), 0.0);
                // The capacitor at the far side: I1 = I2 + y V2.
                port.c = capacitor(omega, s.capacitance_f);
                port.a = Complex::ONE + port.b * port.c;
                port
            }
        }
    }

    /// Resistance for direct current, ohm.
    pub fn resistance_ohm(&self) -> f64 {
        match &self.kind {
            PartKind::Cable(c) => c.resistance_ohm(),
            PartKind::Series(s) => s.resistance_ohm,
        }
    }
}

impl Circuit {
    /// The links of the tree at an angular frequency, rad/s; 0 is direct current.
    pub(super) fn links(&self, omega: f64) -> Vec<Link> {
        self.parts.iter().map(|p| Link { from: p.from, port: p.two_port(omega) }).collect()
    }

    /// Numbers of the parts between the source and a place, from the place on.
    pub fn path(&self, place: usize) -> impl Iterator<Item = usize> + '_ {
        let mut at = place;
        core::iter::from_fn(move || {
            let part = at.checked_sub(1)?;
            at = self.parts.get(part)?.from;
            Some(part)
        })
    }

    /// Whether a device's wires are the wrong way round.
    pub fn is_reversed(&self, device: &Device) -> bool {
        let turns = self.path(device.at).filter(|&n| self.parts[n].is_reversed).count();
        (turns % 2 == 1) != device.is_reversed
    }

    /// All cables.
    pub fn cables(&self) -> impl Iterator<Item = &Cable> {
        self.parts.iter().filter_map(|p| match &p.kind {
            PartKind::Cable(c) => Some(c),
            PartKind::Series(_) => None,
        })
    }
}
