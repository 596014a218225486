//! The loop behind the bus: what its circuit leaves each device, and who is without power [WI-14] [DV-51].
//!
//! All numbers come from [`crate::wiring`]. The loop is computed when something changes: an event, a device that has
//! started or makes another current. Nothing depends on how often the bus is asked.

use super::power::{Dark, Power, Supplied};
use super::{Change, DeviceStation, Participant};
use crate::line::{Around, Bus, Reach, Source as Talker};
use crate::time::Instant;
use crate::wiring::{
    Analysis, Circuit, Coupling, DcRow, Part, PartKind, Series, Shunt, Source, Station, analyse, dc,
};
use core::time::Duration;
use std::collections::VecDeque;

/// What a transmitter draws while it starts, A: our choice, the low alarm current (common practice).
const STARTING_A: f64 = 3.6e-3;
/// So much more than the least there must be before power counts as back, V and A: our choice, so that nothing
/// flickers at the limit.
const BACK_V: f64 = 0.5;
const BACK_A: f64 = 0.2e-3;
/// How often a current that a device makes itself is looked at, true time: our choice.
const LOOK: Duration = Duration::from_millis(50);
/// Nobody starts faster, so that who starves himself again and again leaves time for others.
const LEAST_STARTUP: Duration = Duration::from_millis(1);
/// A change of such a current that is none, A.
const SAME_A: f64 = 1e-6;
/// A leak that is none, ohm.
const NO_LEAK_OHM: f64 = 1e12;

/// A device of the circuit that is a station of the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OnTheLoop {
    /// Its index among the stations.
    pub station: usize,
    /// Its index among the devices of the circuit.
    pub device: usize,
    /// From power to its first answer.
    pub startup: Duration,
}

/// How the current of a device comes about.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Draws {
    /// It makes so many A itself.
    Own(f64),
    /// It holds so many A, as in multidrop.
    Held(f64),
    /// It is what somebody else makes.
    Given,
}

#[derive(Clone, Copy, Debug)]
struct Member {
    place: OnTheLoop,
    draws: Draws,
    power: Power,
    /// What it was last told of the current, mA.
    told_ma: Option<f64>,
}

/// A loop whose devices are stations of a bus.
#[derive(Clone, Debug)]
pub struct Loop {
    /// Its first part is what comes into the wires, its last shunt the leak.
    circuit: Circuit,
    analysis: Analysis,
    members: Vec<Member>,
    /// What the card is told to drive, or what flows on a supply where no device says otherwise, A.
    wanted_a: f64,
    /// What flows of it.
    carried_a: f64,
    is_open: bool,
    changes: Vec<(Instant, Change)>,
    done: usize,
    /// What somebody ordered besides, with its moment.
    ordered: VecDeque<(Instant, Change)>,
    /// When it was computed first.
    began: Option<Instant>,
    /// When currents that devices make are looked at next.
    look_at: Option<Instant>,
}

/// Makes room for what events bring: a part behind the source, and a leak at the first device.
fn with_events(mut circuit: Circuit) -> Circuit {
    for part in &mut circuit.parts {
        part.from += 1;
    }
    for shunt in &mut circuit.shunts {
        shunt.at += 1;
    }
    for device in &mut circuit.devices {
        device.at += 1;
    }
    if let Some(master) = &mut circuit.master
        && let Coupling::At(place) = &mut master.coupling
        && *place > 0
    {
        *place += 1;
    }
    let extra = Series {
        what: "terminal".to_owned(),
        resistance_ohm: 0.0,
        tones_ohm: 0.0,
        inductance_h: 0.0,
        drop_v: 0.0,
        capacitance_f: 0.0,
        passes_signal: true,
    };
    let name = "what came into the wires".to_owned();
    circuit
        .parts
        .insert(0, Part { name: name.clone(), from: 0, kind: PartKind::Series(extra), is_reversed: false });
    circuit.places.insert(1, format!("behind {name}"));
    let at = circuit.devices.first().map_or(0, |d| d.at);
    let name = "a leak".to_owned();
    circuit.shunts.push(Shunt { name, at, resistance_ohm: None, capacitance_f: 0.0, is_resistor: false });
    circuit
}

fn device(bus: &mut Bus<Participant>, station: usize) -> Option<&mut DeviceStation> {
    bus.station_mut(station).and_then(Participant::device_mut)
}

impl Loop {
    /// A loop whose card is told to drive `current_ma`; the changes of the loop are in order of time, others are
    /// left alone. A device of the circuit that is no station is silent, and draws what it holds or what flows in the loop.
    pub fn new(
        circuit: Circuit,
        members: Vec<OnTheLoop>,
        current_ma: f64,
        changes: Vec<(Instant, Change)>,
    ) -> Loop {
        let circuit = with_events(circuit);
        let own = |m: &OnTheLoop| circuit.devices.get(m.device).and_then(|d| d.holds_a);
        let members = members
            .into_iter()
            .filter(|m| m.device < circuit.devices.len())
            .map(|place| OnTheLoop { startup: place.startup.max(LEAST_STARTUP), ..place })
            .map(|place| Member {
                draws: own(&place).map_or(Draws::Given, Draws::Held),
                place,
                power: Power::On,
                told_ma: None,
            })
            .collect();
        Loop {
            analysis: analyse(&circuit),
            members,
            wanted_a: current_ma / 1e3,
            carried_a: dc::carried_a(&circuit, current_ma / 1e3),
            is_open: false,
            changes,
            done: 0,
            ordered: VecDeque::new(),
            began: None,
            look_at: None,
            circuit,
        }
    }

    /// Changes the loop at `now`, behind what was due until then; it shows when the bus is polled next. A change that is
    /// none of the loop is left alone.
    pub fn order(&mut self, now: Instant, change: Change) {
        if change.is_of_the_loop() {
            self.ordered.push_back((now, change));
        }
    }

    /// What the card is told to drive, or what flows on a supply where no device says otherwise, mA.
    pub fn wanted_ma(&self) -> f64 {
        self.wanted_a * 1e3
    }

    /// What flows of that on a card, mA; `None` on a supply, where each device draws its own.
    pub fn carried_ma(&self) -> Option<f64> {
        let carried_a = if self.is_open { 0.0 } else { self.carried_a };
        self.circuit.source.is_card().then_some(carried_a * 1e3)
    }

    /// The volts of the supply, or the most that the card can give.
    pub fn supply_v(&self) -> f64 {
        match self.circuit.source {
            Source::Supply { voltage_v, .. } => voltage_v,
            Source::Card { compliance_v, .. } => compliance_v,
        }
    }

    /// Whether it is open at its source.
    pub fn is_open(&self) -> bool {
        self.is_open
    }

    /// What has come into the wires behind the source, ohm.
    pub fn extra_ohm(&self) -> f64 {
        match self.circuit.parts.first() {
            Some(Part { kind: PartKind::Series(extra), .. }) => extra.resistance_ohm,
            _ => 0.0,
        }
    }

    /// The leak across the wires at the first device, ohm; `None` for none.
    pub fn leak_ohm(&self) -> Option<f64> {
        self.circuit.shunts.last().and_then(|leak| leak.resistance_ohm)
    }

    /// What flows at first through a device that does not make its current itself, mA.
    pub fn first_current_ma(&self, device: usize) -> f64 {
        let held = self.circuit.devices.get(device).and_then(|d| d.holds_a);
        if self.circuit.source.is_card() {
            let row = dc::at(&self.circuit, self.carried_a, &self.analysis.peaks_v);
            return row.devices.get(device).map_or(0.0, |d| d.current_a * 1e3);
        }
        held.unwrap_or(self.wanted_a) * 1e3
    }

    fn is_turned(&self, member: &Member) -> bool {
        let device = &self.circuit.devices[member.place.device];
        !device.takes_either_polarity && self.circuit.is_reversed(device)
    }

    /// The current that a member draws of a supply, A.
    fn drawn_a(&self, member: &Member) -> f64 {
        match (member.power, member.draws) {
            (Power::Off(_), _) => 0.0,
            (Power::Starting { .. }, Draws::Own(_)) => STARTING_A,
            (_, Draws::Own(a) | Draws::Held(a)) => a,
            (_, Draws::Given) => self.wanted_a,
        }
    }

    /// The loop as it is now.
    fn row(&self) -> DcRow {
        if self.circuit.source.is_card() {
            return dc::at(&self.circuit, self.carried_a, &self.analysis.peaks_v);
        }
        let mut circuit = self.circuit.clone();
        for device in &mut circuit.devices {
            device.holds_a = Some(device.holds_a.unwrap_or(self.wanted_a));
        }
        for member in &self.members {
            circuit.devices[member.place.device].holds_a = Some(self.drawn_a(member));
        }
        dc::at(&circuit, self.wanted_a, &self.analysis.peaks_v)
    }

    /// What a member has in `row`.
    fn supplied(&self, member: &Member, row: &DcRow) -> Supplied {
        let of = &row.devices[member.place.device];
        let is_card = self.circuit.source.is_card();
        let flows = !(self.is_open || is_card && self.is_turned(member));
        let (volts_v, current_a) = match (flows, self.is_turned(member)) {
            (false, _) => (0.0, 0.0),
            (true, true) => (-of.volts_v, 0.0),
            // Where a leak takes all of a card's current nothing is left for the device.
            (true, false) => (of.volts_v, of.current_a.max(0.0)),
        };
        let margin_v = match (flows, is_card) {
            (false, _) => -of.needs_v,
            // As much as the card could give at the current that it is told to drive.
            (true, true) => dc::at(&self.circuit, self.wanted_a, &self.analysis.peaks_v).margin_after_peak_v,
            (true, false) => of.margin_v(),
        };
        Supplied { power: member.power, volts_v, current_a, margin_v }
    }

    /// Why a member is without power in `row`, where it is; so much more than the least must be there.
    fn lacks(&self, member: &Member, row: &DcRow, (more_v, more_a): (f64, f64)) -> Option<Dark> {
        if self.is_turned(member) {
            return Some(Dark::Reversed);
        }
        if self.is_open {
            return Some(Dark::Open);
        }
        let (of, is_card) = (&row.devices[member.place.device], self.circuit.source.is_card());
        let needs_a = self.circuit.devices[member.place.device].least_a;
        // Rounding must not decide where a current is exactly the least.
        if (is_card || member.draws == Draws::Given) && of.current_a < needs_a + more_a - 1e-9 {
            let current_a = of.current_a.max(0.0);
            return Some(Dark::Current { current_a, needs_a, wanted_a: self.wanted_a });
        }
        // A card gives what its device takes, or less current.
        (!is_card && of.margin_v() < more_v).then_some(Dark::Volts {
            volts_v: of.volts_v,
            peak_v: of.peak_v,
            current_a: of.current_a,
            needs_v: of.needs_v,
        })
    }

    /// Takes the power from whoever lacks it: from the one with the least left first, of equals from the last of
    /// the sheet, for then there is more for the others. Gives whether there was anybody.
    fn shed(&mut self) -> bool {
        let mut any = false;
        for _ in 0..self.members.len() {
            let row = self.row();
            let left = |m: &Member| row.devices[m.place.device].margin_v();
            let lacks = |m: &Member| {
                if matches!(m.power, Power::Off(_)) { None } else { self.lacks(m, &row, (0.0, 0.0)) }
            };
            let all = self.members.iter().enumerate().filter_map(|(i, m)| Some((i, left(m), lacks(m)?)));
            let worst = all.min_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
            let Some((i, _, why)) = worst else { break };
            self.members[i].power = Power::Off(why);
            any = true;
        }
        any
    }

    /// Gives it back to whoever would have enough, if nobody loses his by that; the first of the sheet first.
    fn give_back(&mut self, now: Instant) {
        for i in 0..self.members.len() {
            let before = self.members[i];
            let Power::Off(was) = before.power else { continue };
            self.members[i].power = Power::Starting { until: now + before.place.startup };
            let row = self.row();
            let lacks = self.lacks(&self.members[i], &row, (BACK_V, BACK_A));
            let costs_others = self
                .members
                .iter()
                .any(|m| !matches!(m.power, Power::Off(_)) && self.lacks(m, &row, (0.0, 0.0)).is_some());
            match lacks {
                // Why it lost its power is told as it was then, unless something else is in the way now.
                Some(why) => {
                    let is_new = core::mem::discriminant(&why) != core::mem::discriminant(&was);
                    self.members[i].power = Power::Off(if is_new { why } else { was });
                }
                None if costs_others => self.members[i].power = before.power,
                None => {}
            }
        }
    }

    /// Takes over the currents that devices make at `now`; whether one has changed.
    fn look(&mut self, now: Instant, bus: &mut Bus<Participant>) -> bool {
        let mut changed = false;
        for member in &mut self.members {
            let shown = bus.shown(member.place.station, now);
            let Some(station) = device(bus, member.place.station) else { continue };
            if member.power != Power::On {
                // It makes none, but it is known that it will.
                if station.device().sent_current_ma(shown).is_some() && !matches!(member.draws, Draws::Own(_))
                {
                    member.draws = Draws::Own(0.0);
                }
                continue;
            }
            station.catch_up(shown);
            station.device_mut().come_to(shown);
            let Some(ma) = station.device().sent_current_ma(shown) else { continue };
            let a = (ma / 1e3).max(0.0);
            if !matches!(member.draws, Draws::Own(was) if (was - a).abs() <= SAME_A) {
                member.draws = Draws::Own(a);
                changed = true;
            }
        }
        changed
    }

    /// Computes the loop and tells the devices.
    fn settle(&mut self, now: Instant, bus: &mut Bus<Participant>) {
        if self.shed() {
            // Who has enough again because he draws nothing is told both.
            self.tell_all(now, bus);
        }
        self.give_back(now);
        self.tell_all(now, bus);
    }

    fn tell_all(&mut self, now: Instant, bus: &mut Bus<Participant>) {
        let row = self.row();
        for i in 0..self.members.len() {
            self.tell(i, &row, now, bus);
        }
    }

    /// Tells a member what it has in `row`: the current that it measures first, so that it starts with that. Without
    /// power it measures nothing, and a valve goes where it goes without current.
    fn tell(&mut self, i: usize, row: &DcRow, now: Instant, bus: &mut Bus<Participant>) {
        let supplied = self.supplied(&self.members[i], row);
        let member = &mut self.members[i];
        let shown = bus.shown(member.place.station, now);
        let is_own = matches!(member.draws, Draws::Own(_));
        let Some(station) = device(bus, member.place.station) else { return };
        let ma = if member.power == Power::On { supplied.current_a * 1e3 } else { 0.0 };
        if !is_own && member.told_ma != Some(ma) {
            member.told_ma = Some(ma);
            station.catch_up(shown);
            station.device_mut().set_loop_current_ma(shown, ma);
        }
        let was_on = station.is_on();
        station.set_supplied(now, shown, supplied);
        if was_on && !station.is_on() {
            bus.cut(member.place.station);
        }
    }

    fn change(&mut self, change: Change) {
        match change {
            Change::LoopCurrentMa(ma) => self.wanted_a = ma / 1e3,
            Change::LoopOpen(open) => self.is_open = open,
            Change::LoopSupplyV(v) => match &mut self.circuit.source {
                Source::Supply { voltage_v, .. } => *voltage_v = v,
                Source::Card { compliance_v, .. } => *compliance_v = v,
            },
            Change::LoopExtraOhm(ohm) => {
                if let Some(Part { kind: PartKind::Series(extra), .. }) = self.circuit.parts.first_mut() {
                    (extra.resistance_ohm, extra.tones_ohm) = (ohm, ohm);
                }
            }
            Change::LoopLeakOhm(ohm) => {
                if let Some(leak) = self.circuit.shunts.last_mut() {
                    leak.resistance_ohm = (ohm < NO_LEAK_OHM).then_some(ohm);
                }
            }
            _ => {}
        }
    }

    /// How one hears the other: what of its transmission arrives, at both tones, and the noise there [WI-13].
    fn reach(&self, talker: Station, listener: Station) -> Reach {
        match self.analysis.reception(&self.circuit, talker, listener) {
            Some(r) => Reach { heard: r.is_heard(), bit_error_rate: r.bit_error_rate() },
            None => Reach::NONE,
        }
    }

    /// Tells the bus who hears whom. Whoever is no device of the loop is where its master is.
    fn set_reaches(&self, bus: &mut Bus<Participant>) {
        let place = |station: usize| {
            let member = self.members.iter().find(|m| m.place.station == station);
            member.map_or(Station::Master, |m| Station::Device(m.place.device))
        };
        let stations = (0..bus.stations().count()).map(|n| (Talker::Station(n), place(n)));
        let ports = (0..bus.port_count()).map(|n| (Talker::Port(n), Station::Master));
        let all: Vec<(Talker, Station)> = stations.chain(ports).collect();
        for &(from, talker) in &all {
            for &(to, listener) in all.iter().filter(|l| l.0 != from) {
                bus.set_reach(from, to, self.reach(talker, listener));
            }
        }
    }

    /// When a device has started.
    fn started_at(&self) -> Option<Instant> {
        let until = |m: &Member| match m.power {
            Power::Starting { until } => Some(until),
            _ => None,
        };
        self.members.iter().filter_map(until).min()
    }
}

impl Around<Participant> for Loop {
    fn wake_at(&self) -> Option<Instant> {
        let change = self.changes.get(self.done).map(|c| c.0);
        let ordered = self.ordered.front().map(|c| c.0);
        [change, ordered, self.started_at(), self.look_at].into_iter().flatten().min()
    }

    fn come_to(&mut self, now: Instant, bus: &mut Bus<Participant>) {
        let mut next = match self.began {
            None => Some(now),
            Some(_) => self.wake_at().filter(|&t| t <= now),
        };
        while let Some(t) = next {
            let mut changed = self.began.is_none();
            while let Some(&(_, change)) = self.changes.get(self.done).filter(|c| c.0 <= t) {
                self.change(change);
                self.done += 1;
                changed = true;
            }
            while let Some((_, change)) = self.ordered.pop_front_if(|c| c.0 <= t) {
                self.change(change);
                changed = true;
            }
            if changed {
                self.analysis = analyse(&self.circuit);
                self.carried_a = dc::carried_a(&self.circuit, self.wanted_a);
                self.set_reaches(bus);
            }
            for i in 0..self.members.len() {
                if matches!(self.members[i].power, Power::Starting { until } if until <= t) {
                    self.members[i].power = Power::On;
                    // What it draws from now on is known when it runs.
                    let row = self.row();
                    self.tell(i, &row, t, bus);
                    changed = true;
                }
            }
            if self.look(t, bus) || changed {
                self.settle(t, bus);
            }
            self.began.get_or_insert(t);
            let looks = self.members.iter().any(|m| m.power == Power::On && matches!(m.draws, Draws::Own(_)));
            let tick = LOOK.as_nanos() as u64;
            self.look_at = looks.then(|| Instant::from_nanos((t.as_nanos() / tick + 1) * tick));
            next = self.wake_at().filter(|&t| t <= now);
        }
    }
    fn joined(&mut self, bus: &mut Bus<Participant>) {
        self.set_reaches(bus);
    }
}
