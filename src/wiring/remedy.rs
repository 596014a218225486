//! What would make a failed check hold: one number changed at a time, just far enough.

use super::analyse;
use super::cable::CORES;
use super::checks::{self, Check, Kind, trim};
use super::circuit::{Circuit, PartKind, Source};
use super::knob::Knob;
use super::length::holds;

/// One change that makes a check hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// What to do, an order without a full stop.
    pub text: String,
    /// How large the change is: share of the number that is changed; 0 for wires that only change places.
    pub change: f64,
    /// What that must hold still fails then.
    pub still: Vec<Kind>,
}

/// The order to find noise and to bring it down to so much; in the words of a wiring sheet and of a signal report alike.
pub fn bring_noise_down(to: &str) -> String {
    let order =
        "find where the noise comes from (screens, earths, the supply, cables beside) and bring it down to";
    format!("{order} {to}").trim_end().to_owned()
}

/// How many remedies are kept for a check.
const MOST: usize = 4;
/// How many changes are put together at most.
const MOST_STEPS: usize = 8;

/// Gives every failed check its remedies.
pub(super) fn find(circuit: &Circuit, checks: &mut [Check]) {
    let mut known: Vec<(Kind, Vec<Remedy>)> = Vec::new();
    for check in checks.iter_mut().filter(|c| !c.holds()) {
        if !known.iter().any(|(k, _)| *k == check.kind) {
            known.push((check.kind, remedies(circuit, check.kind).into_iter().map(|f| f.remedy).collect()));
        }
        if let Some((_, list)) = known.iter().find(|(k, _)| *k == check.kind) {
            check.remedies.clone_from(list);
        }
    }
}

/// A change that was found: what it turns, where that is one number, what it is for people, and the circuit after it.
struct Found {
    turns: Option<Turn>,
    remedy: Remedy,
    changed: Circuit,
}

/// A number that is turned, and the order to turn it, without the value.
#[derive(Clone)]
struct Turn {
    knob: Knob,
    order: String,
    /// What stands behind the unit, such as " for C-3122".
    whose: String,
    to: f64,
}

impl Turn {
    /// The order, where the number stands at `from` now.
    fn text(&self, from: f64) -> String {
        let (order, unit, whose) = (&self.order, self.knob.unit(), &self.whose);
        format!("{order} {} {unit}{whose} (now {})", trim(self.to), trim(from))
    }
}

/// Changes one after the other until nothing that must hold fails, and whether that was reached. Each step takes the
/// change after which fewest checks fail, and of those the least.
pub(super) fn together(circuit: &Circuit, checks: &[Check]) -> (Vec<String>, bool) {
    let mut bad: Vec<Kind> = checks.iter().filter(|c| c.is_bad()).map(|c| c.kind).collect();
    let (mut now, mut steps): (Circuit, Vec<Step>) = (circuit.clone(), Vec::new());
    let mut count = 0;
    while let Some(&first) = bad.first() {
        let found = remedies(&now, first).into_iter().min_by_key(|f| f.remedy.still.len());
        let Some(found) = found.filter(|_| count < MOST_STEPS) else { break };
        count += 1;
        add_step(&mut steps, found.turns, found.remedy.text);
        (now, bad) = (found.changed, found.remedy.still);
    }
    let from = |turn: &Turn| turn.knob.get(circuit);
    let text = |(turn, text): Step| match turn.as_ref().and_then(|t| Some((t, from(t)?))) {
        // Whoever does all of it at once finds the number as it was at first, and what has come back needs no change.
        Some((turn, from)) if turn.to == from => None,
        Some((turn, from)) => Some(turn.text(from)),
        None => Some(text),
    };
    (steps.into_iter().filter_map(text).collect(), bad.is_empty())
}

/// A change of several: the number that it turns, or its words.
type Step = (Option<Turn>, String);

/// A number is changed once: the later value goes to where it was turned before.
fn add_step(steps: &mut Vec<Step>, turns: Option<Turn>, text: String) {
    if let Some(new) = &turns {
        let known = steps.iter_mut().filter_map(|(turn, _)| turn.as_mut());
        if let Some(known) = known.into_iter().find(|t| t.knob == new.knob) {
            known.to = new.to;
            return;
        }
    }
    steps.push((turns, text));
}

/// The least change of what `set` sets, from 0 (as it is) to 1 (all the way), with which a check holds.
fn least(circuit: &Circuit, kind: Kind, set: &dyn Fn(&mut Circuit, f64)) -> Option<f64> {
    let with = |t: f64| {
        let mut changed = circuit.clone();
        set(&mut changed, t);
        holds(&changed, kind)
    };
    // Not every change helps more the further it goes: a resistor feeds the signal and starves the device.
    let steps = 40;
    let first = (1..=steps).map(|n| f64::from(n) / f64::from(steps)).find(|&t| with(t))?;
    let (mut bad, mut good) = (first - 1.0 / f64::from(steps), first);
    for _ in 0..30 {
        let middle = 0.5 * (bad + good);
        *if with(middle) { &mut good } else { &mut bad } = middle;
    }
    Some(good)
}

/// What that must hold fails, each kind once.
fn failing(circuit: &Circuit) -> Vec<Kind> {
    let checks = checks::values(circuit, &analyse(circuit));
    let mut kinds: Vec<Kind> = checks.iter().filter(|c| c.is_bad()).map(|c| c.kind).collect();
    kinds.sort();
    kinds.dedup();
    kinds
}

struct Search<'a> {
    circuit: &'a Circuit,
    kind: Kind,
    found: Vec<Found>,
}

impl Search<'_> {
    /// Tries a change that is made or not.
    fn try_once(&mut self, text: String, change: f64, make: impl Fn(&mut Circuit)) {
        self.attempt(None, text, change, make);
    }

    /// Tries a value of a knob that stands at `from`.
    fn try_turn(&mut self, turn: Turn, from: f64, change: f64) {
        let (knob, to) = (turn.knob.clone(), turn.to);
        let text = turn.text(from);
        self.attempt(Some(turn), text, change, |c| knob.set(c, to));
    }

    fn attempt(&mut self, turns: Option<Turn>, text: String, change: f64, make: impl Fn(&mut Circuit)) {
        let mut changed = self.circuit.clone();
        make(&mut changed);
        if holds(&changed, self.kind) {
            self.found.push(Found {
                turns,
                remedy: Remedy { text, change, still: failing(&changed) },
                changed,
            });
        }
    }

    /// Tries a knob from where it stands towards `to`; the value is rounded away from where it stands to a multiple
    /// of `step`.
    fn try_knob(&mut self, knob: &Knob, to: f64, step: f64, order: &str) {
        let Some(from) = knob.get(self.circuit) else { return };
        if (to - from).abs() < step {
            return;
        }
        let set = |c: &mut Circuit, t: f64| knob.set(c, from + (to - from) * t);
        let Some(t) = least(self.circuit, self.kind, &set) else { return };
        let exact = from + (to - from) * t;
        // Half a millionth of a step, lest a value that is a multiple already is pushed to the next.
        let value = if to > from {
            (exact / step - 1e-6).ceil() * step
        } else {
            (exact / step + 1e-6).floor() * step
        };
        let turn = Turn { knob: knob.clone(), order: order.to_owned(), whose: String::new(), to: value };
        self.try_turn(turn, from, ((value - from) / from.abs().max(step)).abs());
    }

    fn cables(&self) -> Vec<(usize, String)> {
        let all = self.circuit.parts.iter().enumerate();
        all.filter(|(_, p)| matches!(p.kind, PartKind::Cable(_))).map(|(n, p)| (n, p.name.clone())).collect()
    }

    /// The longest cable alone: whoever has to pull a new one pulls the one that matters.
    fn longest(&self) -> Option<(usize, String)> {
        let length = |n: &(usize, String)| Knob::CableLength(n.0).get(self.circuit).unwrap_or(0.0);
        self.cables().into_iter().max_by(|a, b| length(a).total_cmp(&length(b)))
    }

    fn larger_cross_section(&mut self) {
        let Some((n, name)) = self.longest() else { return };
        let knob = Knob::CableCrossSection(n);
        let Some(from) = knob.get(self.circuit) else { return };
        for row in CORES.iter().filter(|row| row.0 > from + 1e-9) {
            let before = self.found.len();
            let whose = format!(" for {name}");
            let turn = Turn { knob: knob.clone(), order: "take".to_owned(), whose, to: row.0 };
            self.try_turn(turn, from, row.0 / from - 1.0);
            if self.found.len() > before {
                break;
            }
        }
    }

    fn shorter_cable(&mut self) {
        if let Some((n, name)) = self.longest() {
            self.try_knob(&Knob::CableLength(n), 0.0, 1.0, &format!("shorten {name} to"));
        }
    }

    fn less_capacitance(&mut self) {
        if let Some((n, name)) = self.longest() {
            // Nothing on the market is far below this.
            self.try_knob(
                &Knob::CableCapacitance(n),
                40.0,
                1.0,
                &format!("take cable for {name} with at most"),
            );
        }
    }

    /// What is known of noise is how much there is, so all of it becomes less.
    fn less_noise(&mut self) {
        let mut whole = self.circuit.clone();
        whole.noise = None;
        if !whole.has_noise() {
            self.try_knob(&Knob::Noise, 0.0, 0.1, &bring_noise_down(""));
            return;
        }
        let Some(t) = least(self.circuit, self.kind, &|c, t| c.scale_noise(1.0 - t)) else { return };
        let percent = (100.0 * (1.0 - t)).floor();
        let text = bring_noise_down(&format!("{} % of what it is everywhere", trim(percent)));
        self.try_once(text, 1.0 - percent / 100.0, |c| c.scale_noise(percent / 100.0));
    }

    fn dry(&mut self) {
        for (n, name) in self.cables() {
            self.try_once(format!("dry or replace {name}, which leaks"), 1.0, |c| {
                if let PartKind::Cable(cable) = &mut c.parts[n].kind {
                    cable.insulation_ohm_m = None;
                }
            });
        }
    }

    /// A device that works with the least current that reaches it, rounded down to 0.1 mA.
    fn frugal_device(&mut self) {
        let checks = checks::values(self.circuit, &analyse(self.circuit));
        let reaches = checks.iter().filter(|c| c.kind == Kind::LeastCurrent).map(|c| c.value);
        let most_a = (reaches.fold(f64::INFINITY, f64::min) * 1e4 + 1e-6).floor() / 1e4;
        for (n, device) in self.circuit.devices.iter().enumerate() {
            if most_a > 0.0 && device.least_a > most_a {
                let (most, now) = (trim(most_a * 1e3), trim(device.least_a * 1e3));
                let text =
                    format!("take a device for {} that works from {most} mA on (now {now})", device.tag);
                self.try_once(text, 1.0 - most_a / device.least_a, |c| c.devices[n].least_a = most_a);
            }
        }
    }

    fn take_out(&mut self) {
        for (n, part) in self.circuit.parts.iter().enumerate() {
            let PartKind::Series(s) = &part.kind else { continue };
            if s.what == "resistor" {
                self.try_once(format!("take {} out", part.name), 1.0, |c| {
                    if let PartKind::Series(s) = &mut c.parts[n].kind {
                        (s.resistance_ohm, s.tones_ohm) = (0.0, 0.0);
                    }
                });
            }
        }
        for n in 0..self.circuit.shunts.len() {
            let name = &self.circuit.shunts[n].name;
            let order = if self.circuit.shunts[n].is_resistor { "take out" } else { "find and mend" };
            self.try_once(format!("{order} {name}"), 1.0, |c| drop(c.shunts.remove(n)));
        }
    }
}

fn remedies(circuit: &Circuit, kind: Kind) -> Vec<Found> {
    let mut s = Search { circuit, kind, found: Vec::new() };
    let resistor = Knob::SupplyResistor.get(circuit);
    match kind {
        Kind::Polarity => {
            for (n, device) in circuit.devices.iter().enumerate() {
                if circuit.is_reversed(device) && !device.takes_either_polarity {
                    let mut changed = circuit.clone();
                    changed.devices[n].is_reversed ^= true;
                    let text = format!("let plus and minus of {} change places", device.tag);
                    let remedy = Remedy { text, change: 0.0, still: failing(&changed) };
                    s.found.push(Found { turns: None, remedy, changed });
                }
            }
        }
        Kind::Volts | Kind::VoltsBeyond => {
            s.try_knob(&Knob::SupplyVoltage, 42.0, 0.1, "raise the supply to");
            s.try_knob(&Knob::CardCompliance, 42.0, 0.1, "take a card that can give at least");
            if resistor.is_some_and(|ohm| ohm > 230.0) {
                s.try_knob(&Knob::SupplyResistor, 230.0, 1.0, "take a resistor of");
            }
            s.larger_cross_section();
            s.shorter_cable();
            s.take_out();
        }
        Kind::LeastCurrent => {
            s.take_out();
            s.dry();
            s.frugal_device();
        }
        Kind::SourceShort | Kind::Level | Kind::Noise => {
            if kind == Kind::Noise {
                s.less_noise();
            }
            if resistor.is_some_and(|ohm| ohm < 600.0) {
                s.try_knob(&Knob::SupplyResistor, 600.0, 5.0, "take a resistor of");
            }
            if let Source::Card { filter_ohm, .. } = circuit.source {
                let order =
                    if filter_ohm > 0.0 { "make the filter" } else { "put a filter before the card of" };
                s.try_knob(&Knob::CardFilter, 600.0, 5.0, order);
            }
            s.take_out();
            if kind != Kind::SourceShort {
                s.less_capacitance();
                s.shorter_cable();
            }
        }
        Kind::Rc => {
            s.less_capacitance();
            s.shorter_cable();
            s.larger_cross_section();
            if resistor.is_some_and(|ohm| ohm > 230.0) {
                s.try_knob(&Knob::SupplyResistor, 230.0, 1.0, "take a resistor of");
            }
        }
        Kind::SecondResistor => s.take_out(),
        Kind::Leak => {
            s.take_out();
            s.dry();
        }
        Kind::Twist | Kind::Delay => {
            s.less_capacitance();
            s.shorter_cable();
        }
        Kind::LoadLow => s.try_knob(&Knob::SupplyResistor, 600.0, 5.0, "take a resistor of"),
        Kind::LoadHigh => {
            s.try_knob(&Knob::SupplyResistor, 230.0, 1.0, "take a resistor of");
            s.take_out();
        }
        Kind::LevelHigh => {}
    }
    // Least change first; of equals the one that leaves nothing else to do.
    let order =
        |a: &Remedy, b: &Remedy| a.change.total_cmp(&b.change).then(a.still.len().cmp(&b.still.len()));
    s.found.sort_by(|a, b| order(&a.remedy, &b.remedy));
    s.found.truncate(MOST);
    s.found
}
