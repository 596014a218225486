//! The two tones: what of each transmission arrives where [WI-05].

use super::Complex;
use super::circuit::{Circuit, Coupling, Source};
use super::network::{Across, Link, solve};
use core::f64::consts::TAU;

/// The tones of a 1 and of a 0, Hz [WI-05].
pub const TONES_HZ: [f64; 2] = [1200.0, 2200.0];

/// Who transmits or receives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Station {
    /// The device of this number.
    Device(usize),
    /// The master.
    Master,
    /// Nobody: what could be read across the supply's resistor, or at the terminals of a card.
    SourceEnd,
}

/// One transmission at one tone. Levels are V peak to peak, with their phase against the transmitter's own.
#[derive(Clone, Debug, PartialEq)]
pub struct Transmission {
    /// Whose.
    pub by: Station,
    /// Between the terminals of each place.
    pub places: Vec<Complex>,
    /// Across the supply's resistor; of a card at its terminals.
    pub source_end: Complex,
    /// The impedance that the transmitter works into, ohm, its own left out.
    pub load_ohm: Complex,
}

/// Everything at one tone.
#[derive(Clone, Debug, PartialEq)]
pub struct Tone {
    /// Frequency, Hz.
    pub hz: f64,
    /// Each transmission, devices first.
    pub transmissions: Vec<Transmission>,
    /// Impedance of the source, ohm, resistor or filter included.
    pub source_ohm: Complex,
}

/// What the source is, seen from place 0, with a master that hangs across its resistor.
struct SourceEnd {
    /// Supply alone, ohm.
    inner: Complex,
    /// Seen from place 0, ohm.
    whole: Complex,
    /// Voltage behind it, V.
    e: Complex,
}

fn source_end(circuit: &Circuit, across_resistor: Across, omega: f64) -> SourceEnd {
    let whole = circuit.source.at_tone(omega);
    match circuit.source {
        Source::Supply { resistor_ohm, impedance_ohm, .. } if resistor_ohm > 0.0 => {
            let both = Complex::ONE / (Complex::from(1.0 / resistor_ohm) + across_resistor.y);
            let inner = Complex::from(impedance_ohm);
            SourceEnd { inner, whole: both + inner, e: across_resistor.j * both }
        }
        _ => SourceEnd { inner: Complex::ZERO, whole, e: Complex::ZERO },
    }
}

fn transmission(circuit: &Circuit, links: &[Link], by: Station, omega: f64) -> Option<Transmission> {
    let mut across = vec![Across::default(); circuit.places.len()];
    for shunt in &circuit.shunts {
        let y = Complex::new(shunt.resistance_ohm.map_or(0.0, |r| 1.0 / r), omega * shunt.capacitance_f);
        across[shunt.at].y = across[shunt.at].y + y;
    }
    // The transmitter's own admittance and current.
    let mut own = Across::default();
    for (n, device) in circuit.devices.iter().enumerate() {
        let is_it = by == Station::Device(n);
        let (y, j) = device.at_tone(is_it, omega);
        let at = &mut across[device.at];
        (at.y, at.j) = (at.y + y, at.j + j);
        if is_it {
            own = Across { y, j };
        }
    }
    let mut across_resistor = Across::default();
    if let Some(master) = &circuit.master {
        let (y, j) = master.at_tone(by == Station::Master, omega);
        match master.coupling {
            Coupling::At(place) => {
                (across[place].y, across[place].j) = (across[place].y + y, across[place].j + j)
            }
            Coupling::AcrossResistor => across_resistor = Across { y, j },
        }
        if by == Station::Master {
            own = Across { y, j };
        }
    }
    if own.j.abs() == 0.0 {
        return None;
    }
    let end = source_end(circuit, across_resistor, omega);
    across[0].y = across[0].y + Complex::ONE / end.whole;
    across[0].j = across[0].j + end.e / end.whole;
    let places = solve(links, &mut across);
    let source_end = places[0] + (end.e - places[0]) / end.whole * end.inner;
    let at = match (by, circuit.master.as_ref().map(|m| m.coupling)) {
        (Station::Device(n), _) => places[circuit.devices[n].at],
        (Station::Master, Some(Coupling::At(place))) => places[place],
        _ => source_end,
    };
    let load_ohm = at / (own.j - own.y * at);
    Some(Transmission { by, places, source_end, load_ohm })
}

/// Everything at a frequency, Hz.
pub fn tone(circuit: &Circuit, hz: f64) -> Tone {
    let omega = TAU * hz;
    let links = circuit.links(omega);
    let stations = (0..circuit.devices.len()).map(Station::Device).chain([Station::Master]);
    Tone {
        hz,
        transmissions: stations.filter_map(|by| transmission(circuit, &links, by, omega)).collect(),
        source_ohm: circuit.source.at_tone(omega),
    }
}

impl Transmission {
    /// What a station hears of it, V peak to peak.
    pub fn at(&self, circuit: &Circuit, station: Station) -> Complex {
        match (station, circuit.master.as_ref().map(|m| m.coupling)) {
            (Station::Device(n), _) => self.places[circuit.devices[n].at],
            (Station::Master, Some(Coupling::At(place))) => self.places[place],
            _ => self.source_end,
        }
    }
}

/// The largest peak of the signal at each place, V: half of the peak-to-peak level of the loudest.
pub fn peaks_v(circuit: &Circuit, tones: &[Tone]) -> Vec<f64> {
    let loudest = |place: usize| {
        let all = tones.iter().flat_map(|t| &t.transmissions);
        all.map(|t| t.places[place].abs() / 2.0).fold(0.0, f64::max)
    };
    (0..circuit.places.len()).map(loudest).collect()
}

impl Circuit {
    /// What a station is called.
    pub fn station_name(&self, station: Station) -> String {
        match station {
            Station::Device(n) => self.devices.get(n).map_or_else(String::new, |d| d.tag.clone()),
            Station::Master => "master".to_owned(),
            Station::SourceEnd => match self.source {
                Source::Card { .. } => "terminals of the card".to_owned(),
                Source::Supply { resistor_ohm, .. } if resistor_ohm > 0.0 => "across the resistor".to_owned(),
                Source::Supply { .. } => "terminals of the supply".to_owned(),
            },
        }
    }

    /// Who is to hear a station: the devices hear the master, the master hears the devices; where there
    /// is no master, what could be read at the source stands for it.
    pub fn receivers(&self, of: Station) -> Vec<Station> {
        match of {
            Station::Master => (0..self.devices.len()).map(Station::Device).collect(),
            _ if self.master.is_some() => vec![Station::Master],
            _ => vec![Station::SourceEnd],
        }
    }
}
