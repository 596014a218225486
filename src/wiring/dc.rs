//! Direct current: what is left of the volts at each device [WI-02].

use super::circuit::{Circuit, Source};
use super::network::{Across, solve};

/// The ohm with which a device on a card is held at its volts: small beside anything, and large enough to
/// read its current.
const HELD_OHM: f64 = 0.1;
/// So fine is a current read there, parts of an A: the digits of 100 V over [`HELD_OHM`] end there.
const PARTS_OF_A: f64 = 1e12;
/// Beyond this no loop runs, A: where looking for the failing current ends.
pub const MOST_A: f64 = 0.1;
/// Below this a device counts as failed anyway, A [WI-01]; the least current at which one works where no sheet says more.
pub const LEAST_A: f64 = 0.0036;

/// The loop at one current.
#[derive(Clone, Debug, PartialEq)]
pub struct DcRow {
    /// The current, A: of the device that follows the signal, or of the card.
    pub current_a: f64,
    /// The current that leaves the source, A; leaks make it larger than that of the devices.
    pub source_current_a: f64,
    /// Volts at each place.
    pub places_v: Vec<f64>,
    /// Each device.
    pub devices: Vec<DcDevice>,
    /// Of a card: the volts that it has to give, filter included.
    pub card_needs_v: Option<f64>,
    /// What is left before the signal's peak is taken off, V: of the device with the least, or of the card.
    pub margin_v: f64,
    /// What is left after it, V.
    pub margin_after_peak_v: f64,
}

/// A device at one current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DcDevice {
    /// Its current, A.
    pub current_a: f64,
    /// Volts between its terminals.
    pub volts_v: f64,
    /// Volts that it needs at that current.
    pub needs_v: f64,
    /// What the signal's peak takes off, V.
    pub peak_v: f64,
    /// Power that it takes, W.
    pub power_w: f64,
}

impl DcDevice {
    /// What is left after the signal's peak, V.
    pub fn margin_v(&self) -> f64 {
        self.volts_v - self.peak_v - self.needs_v
    }
}

impl DcRow {
    /// By how much more current flows than each device needs whose current somebody else makes, A, with its number.
    pub fn least_current_margins_a(&self, circuit: &Circuit) -> impl Iterator<Item = (usize, f64)> {
        // Rounding must not decide where a current is exactly the least.
        let more =
            |n: usize, d: &super::Device| self.devices.get(n).map(|of| of.current_a - d.least_a + 1e-9);
        circuit.followers().filter_map(move |(n, d)| Some((n, more(n, d)?)))
    }
}

/// The loop at a current, A; `peaks_v` is the signal's peak at each place, V.
pub fn at(circuit: &Circuit, current_a: f64, peaks_v: &[f64]) -> DcRow {
    let links = circuit.links(0.0);
    let peak = |place: usize| peaks_v.get(place).copied().unwrap_or(0.0);
    let mut bare = vec![Across::default(); circuit.places.len()];
    for shunt in &circuit.shunts {
        let y = shunt.resistance_ohm.map_or(0.0, |r| 1.0 / r);
        bare[shunt.at].y = bare[shunt.at].y + y.into();
    }
    let source = circuit.source.direct();
    let is_card = circuit.source.is_card();
    let mut currents: Vec<f64> = circuit.devices.iter().map(|d| d.holds_a.unwrap_or(current_a)).collect();
    let mut volts = Vec::new();
    // On a card the device's volts follow from its current, and that from leaks: a few rounds settle it.
    for _ in 0..if is_card { 12 } else { 1 } {
        let mut across = bare.clone();
        if is_card {
            across[0].j = across[0].j + current_a.into();
        } else {
            let z = source.z.re;
            across[0].y = across[0].y + (1.0 / z).into();
            across[0].j = across[0].j + (source.e.re / z).into();
        }
        for (device, current) in circuit.devices.iter().zip(&currents) {
            let at = &mut across[device.at];
            if is_card {
                at.y = at.y + (1.0 / HELD_OHM).into();
                // The volts over the small resistance are taken out again.
                at.j = at.j + ((device.needs_v(*current) - HELD_OHM * current) / HELD_OHM).into();
            } else {
                at.j = at.j - (*current).into();
            }
        }
        volts = solve(&links, &mut across).iter().map(|v| v.re).collect();
        if !is_card {
            break;
        }
        let mut moved = 0f64;
        for (device, current) in circuit.devices.iter().zip(&mut currents) {
            let held = device.needs_v(*current) - HELD_OHM * *current;
            let new = ((volts[device.at] - held) / HELD_OHM * PARTS_OF_A).round() / PARTS_OF_A;
            moved = moved.max((new - *current).abs());
            *current = new;
        }
        if moved < 1e-12 {
            break;
        }
    }
    if is_card {
        // They take exactly what they need at their current.
        for (device, current) in circuit.devices.iter().zip(&currents) {
            volts[device.at] = device.needs_v(*current);
        }
    }
    let devices: Vec<DcDevice> = circuit
        .devices
        .iter()
        .zip(&currents)
        .map(|(d, &current_a)| DcDevice {
            current_a,
            volts_v: volts[d.at],
            needs_v: d.needs_v(current_a),
            peak_v: peak(d.at),
            power_w: volts[d.at] * current_a,
        })
        .collect();
    let source_current_a = if is_card { current_a } else { (source.e.re - volts[0]) / source.z.re };
    let card_needs_v = is_card.then(|| volts[0] + source.z.re * current_a);
    let least = |left: fn(&DcDevice) -> f64| devices.iter().map(left).fold(f64::INFINITY, f64::min);
    let (margin_v, margin_after_peak_v) = match card_needs_v {
        Some(v) => (source.e.re - v, source.e.re - v - peak(0)),
        None => (least(|d| d.volts_v - d.needs_v), least(DcDevice::margin_v)),
    };
    DcRow {
        current_a,
        source_current_a,
        places_v: volts,
        devices,
        card_needs_v,
        margin_v,
        margin_after_peak_v,
    }
}

impl Circuit {
    /// Whether a current can be chosen at all: not where every device holds its own.
    pub fn follows(&self) -> bool {
        self.source.is_card() || self.devices.iter().any(|d| d.holds_a.is_none())
    }

    /// The devices whose current somebody else makes, with their numbers: all on a card, on a supply those that hold none.
    pub fn followers(&self) -> impl Iterator<Item = (usize, &super::Device)> {
        let is_card = self.source.is_card();
        self.devices.iter().enumerate().filter(move |(_, d)| is_card || d.holds_a.is_none())
    }

    /// The currents to compute volts at, A; one that stands for all where every device holds its own.
    pub fn test_currents_a(&self) -> Vec<f64> {
        if self.follows() {
            self.currents_a.clone()
        } else {
            vec![self.devices.iter().filter_map(|d| d.holds_a).sum()]
        }
    }

    /// Whether a device has its wires the wrong way round and does not work so.
    pub fn is_turned(&self, device: &super::Device) -> bool {
        !device.takes_either_polarity && self.is_reversed(device)
    }

    /// Whether every device has its wires the wrong way round: a diode in series at its input lets no current through
    /// (common practice, no source) [DV-111].
    pub fn is_blocked(&self) -> bool {
        !self.devices.is_empty() && self.devices.iter().all(|d| self.is_turned(d))
    }

    /// What a card that is told to drive `wanted_a` drives through leaks alone, where no device takes current, A, and the
    /// volts at each place then: all that it has where there is no leak.
    pub fn blocked(&self, wanted_a: f64) -> (f64, Vec<f64>) {
        if self.shunts.iter().all(|s| s.resistance_ohm.is_none()) {
            return (0.0, vec![self.source_v(); self.places.len()]);
        }
        let bare = Circuit { devices: Vec::new(), ..self.clone() };
        let carried_a = carried_a(&bare, wanted_a);
        (carried_a, at(&bare, carried_a, &[]).places_v)
    }

    /// The most volts that the source has.
    pub fn source_v(&self) -> f64 {
        match self.source {
            Source::Supply { voltage_v, .. } => voltage_v,
            Source::Card { compliance_v, .. } => compliance_v,
        }
    }
}

/// The current that flows where a card is told to drive `wanted_a`, A [WI-14]: all of it where its volts suffice, else the
/// largest below it for which they do, 0 where they suffice for none. On a supply the devices make the current, and
/// it is `wanted_a`.
///
/// The signal's peak is not taken off: a card drives its current on average.
pub fn carried_a(circuit: &Circuit, wanted_a: f64) -> f64 {
    /// So fine a current is looked at; what a device takes may rise and fall between.
    const STEPS: u32 = 200;
    let left = |a: f64| at(circuit, a, &[]).margin_v;
    // A source without a limit in numbers, or a current that is none, is not looked into.
    if !circuit.source.is_card() || !wanted_a.is_finite() || wanted_a <= 0.0 || left(wanted_a) >= 0.0 {
        return wanted_a.max(0.0);
    }
    let step = |n: u32| wanted_a * f64::from(n) / f64::from(STEPS);
    let Some(n) = (0..STEPS).rev().find(|&n| left(step(n)) >= 0.0) else { return 0.0 };
    let (mut good, mut bad) = (step(n), step(n + 1));
    for _ in 0..60 {
        let middle = 0.5 * (good + bad);
        *if left(middle) < 0.0 { &mut bad } else { &mut good } = middle;
    }
    good
}

/// Between which currents the loop works, A, up to [`MOST_A`]: every device has its volts, and those whose current somebody
/// else makes have the least current that they need. `None` where it works nowhere.
pub fn works(circuit: &Circuit, peaks_v: &[f64]) -> Option<(f64, f64)> {
    let row = |a: f64| at(circuit, a, peaks_v);
    let left = |a: f64| row(a).margin_after_peak_v;
    let starves = |a: f64| row(a).least_current_margins_a(circuit).any(|(_, a)| a < 0.0);
    let least = circuit.followers().map(|(_, d)| d.least_a).fold(0.0, f64::max);
    // On a card a leak takes its share first, so there may have to be more.
    let first = match (starves(least), starves(MOST_A)) {
        (false, _) => least,
        (true, true) => return None,
        (true, false) => edge(MOST_A, least, starves),
    };
    // What is left is straight between the points of the devices' curves.
    let mut knots = vec![first, MOST_A];
    knots.extend(circuit.devices.iter().flat_map(|d| d.needs.iter().map(|p| p.0)));
    knots.extend(&circuit.currents_a);
    knots.retain(|a| (first..=MOST_A).contains(a));
    knots.sort_by(f64::total_cmp);
    knots.dedup();
    let best = (0..knots.len()).max_by(|&a, &b| left(knots[a]).total_cmp(&left(knots[b])))?;
    if left(knots[best]) < 0.0 {
        return None;
    }
    let lacks = |a: f64| left(a) < 0.0;
    let up = knots[best..].windows(2).find(|w| lacks(w[1])).map_or(MOST_A, |w| edge(w[0], w[1], lacks));
    let down =
        knots[..=best].windows(2).rev().find(|w| lacks(w[0])).map_or(first, |w| edge(w[1], w[0], lacks));
    Some((down, up))
}

/// The last current at which it is not bad, on the way from one where it is not to one where it is.
fn edge(mut good: f64, mut bad: f64, is_bad: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (good + bad);
        *if is_bad(middle) { &mut bad } else { &mut good } = middle;
    }
    good
}
