//! The loop behind the bus: what its circuit leaves each device, and who is without power [WI-14] [DV-51].
//!
//! All numbers come from [`crate::wiring`]. The loop is computed when something changes: an event, a device that has
//! started or makes another current. Nothing depends on how often the bus is asked.

use super::device::NO_LEAK_OHM;
use super::loop_faults::LoopFaults;
use super::power::{BACK_A, BACK_V, CardDrives, Dark, Power, Supplied};
use super::{Change, DeviceStation, Participant, SiteFault, SiteFaults};
use crate::line::{Around, Bus, Reach, Source as Talker};
use crate::time::Instant;
use crate::wiring::{
    Analysis, Circuit, Coupling, DcRow, Part, PartKind, Series, Source, Station, analyse, dc,
};
use core::time::Duration;
use std::collections::VecDeque;

/// What a transmitter draws while it starts, A: our choice, the low alarm current (common practice).
const STARTING_A: f64 = 3.6e-3;
/// How often a current that a device makes itself is looked at, true time: our choice.
const LOOK: Duration = Duration::from_millis(50);
/// Nobody starts faster, so that who starves himself again and again leaves time for others.
const LEAST_STARTUP: Duration = Duration::from_millis(1);
/// A change of such a current that is none, A.
const SAME_A: f64 = 1e-6;

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

/// A change of the loop, or of how a device hangs on it, with its moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoopChange {
    /// When.
    pub at: Instant,
    /// Of a fault at a device the station that has it; `None` is every device.
    pub device: Option<usize>,
    /// What.
    pub change: Change,
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
    /// Its first part is what comes into the wires, its last shunts what events and faults bring.
    circuit: Circuit,
    faults: LoopFaults,
    analysis: Analysis,
    members: Vec<Member>,
    /// What the card is told to drive, or what flows on a supply where no device says otherwise, A.
    wanted_a: f64,
    /// What flows of it.
    carried_a: f64,
    is_open: bool,
    changes: Vec<LoopChange>,
    done: usize,
    /// What somebody ordered besides.
    ordered: VecDeque<LoopChange>,
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
    circuit.shunts.push(LoopFaults::open_shunt("a leak", at));
    circuit
}

fn device(bus: &mut Bus<Participant>, station: usize) -> Option<&mut DeviceStation> {
    bus.station_mut(station).and_then(Participant::device_mut)
}

impl Loop {
    /// A loop whose card is told to drive `current_ma`; the changes of the loop are in order of time, others are
    /// left alone. A device of the circuit that is no station is silent, and draws what it holds or what flows in the loop.
    pub fn new(circuit: Circuit, members: Vec<OnTheLoop>, current_ma: f64, changes: Vec<LoopChange>) -> Loop {
        let mut circuit = with_events(circuit);
        let faults = LoopFaults::of(&mut circuit, current_ma / 1e3);
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
            faults,
        }
    }

    /// Changes the loop at `now`, behind what was due until then; it shows when the bus is polled next. A change that is
    /// none of the loop is left alone.
    pub fn order(&mut self, now: Instant, device: Option<usize>, change: Change) {
        if change.reaches_the_loop() {
            self.ordered.push_back(LoopChange { at: now, device, change });
        }
    }

    /// What is wrong with it as a whole [DV-110].
    pub fn faults(&self) -> &SiteFaults {
        self.faults.in_force()
    }

    /// What the card is told to drive, or what flows on a supply where no device says otherwise, mA; without what a
    /// fault takes of it.
    pub fn wanted_ma(&self) -> f64 {
        self.faults.set_a() * 1e3
    }

    /// What flows of that on a card, mA; `None` on a supply, where each device draws its own.
    pub fn carried_ma(&self) -> Option<f64> {
        let carried_a = match (self.is_open, self.circuit.is_blocked()) {
            (true, _) => 0.0,
            (false, true) => self.circuit.blocked(self.wanted_a).0,
            (false, false) => self.carried_a,
        };
        self.circuit.source.is_card().then_some(carried_a * 1e3)
    }

    /// The volts of the supply, or the most that the card can give, as set: without what a fault takes of them.
    pub fn supply_v(&self) -> f64 {
        self.faults.set_v()
    }

    /// The same as they are now, with what a fault takes of them.
    pub fn supply_left_v(&self) -> f64 {
        self.circuit.source_v()
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
        self.circuit.shunts.get(self.faults.leak()).and_then(|leak| leak.resistance_ohm)
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
        self.circuit.is_turned(&self.circuit.devices[member.place.device])
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
            // Nobody takes the card's current, so all its volts stand there, the wrong way round.
            (false, true) if !self.is_open && self.circuit.is_blocked() => {
                let at = self.circuit.devices[member.place.device].at;
                (-self.circuit.blocked(self.wanted_a).1.get(at).copied().unwrap_or(0.0), 0.0)
            }
            (false, _) => (0.0, 0.0),
            (true, true) => (-of.volts_v, 0.0),
            // Where a leak takes all of a card's current nothing is left for the device. Currents that are held
            // whatever happens may take more volts than there are.
            (true, false) => (of.volts_v.max(0.0), of.current_a.max(0.0)),
        };
        let margin_v = match (flows, is_card) {
            (false, _) => -of.needs_v,
            // As much as the card could give at the current that it is told to drive.
            (true, true) => dc::at(&self.circuit, self.wanted_a, &self.analysis.peaks_v).margin_after_peak_v,
            (true, false) => of.margin_v(),
        };
        let card = if flows { self.card_drives() } else { None };
        Supplied { power: member.power, volts_v, current_a, margin_v, card }
    }

    /// What the card does of what it is told; `None` on a supply.
    fn card_drives(&self) -> Option<CardDrives> {
        let Source::Card { compliance_v, .. } = self.circuit.source else { return None };
        let needs_v = dc::at(&self.circuit, self.wanted_a, &[]).card_needs_v?;
        Some(CardDrives { compliance_v, wanted_a: self.wanted_a, needs_v, carried_a: self.carried_a })
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
            let card = self.card_drives();
            return Some(Dark::Current { current_a, needs_a, wanted_a: self.wanted_a, card });
        }
        // A card gives what its device takes, or less current.
        (!is_card && of.margin_v() < more_v).then(|| Dark::Volts {
            volts_v: of.volts_v.max(0.0),
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
            if !matches!(before.power, Power::Off(_)) {
                continue;
            }
            self.members[i].power = Power::Starting { until: now + before.place.startup };
            let row = self.row();
            let lacks = self.lacks(&self.members[i], &row, (BACK_V, BACK_A));
            let costs_others = self
                .members
                .iter()
                .any(|m| !matches!(m.power, Power::Off(_)) && self.lacks(m, &row, (0.0, 0.0)).is_some());
            match lacks {
                // What is in the way now, with the current that it would draw as it starts.
                Some(why) => self.members[i].power = Power::Off(why),
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

    fn change(&mut self, what: LoopChange) {
        match what.change {
            Change::LoopCurrentMa(ma) => self.faults.set_current(ma / 1e3),
            Change::LoopOpen(open) => self.is_open = open,
            Change::LoopSupplyV(v) => self.faults.set_volts(v),
            Change::SiteFault { name, severity } => self.fault(what, name, severity),
            Change::LoopExtraOhm(ohm) => {
                if let Some(Part { kind: PartKind::Series(extra), .. }) = self.circuit.parts.first_mut() {
                    (extra.resistance_ohm, extra.tones_ohm) = (ohm, ohm);
                }
            }
            Change::LoopLeakOhm(ohm) => {
                if let Some(leak) = self.circuit.shunts.get_mut(self.faults.leak()) {
                    leak.resistance_ohm = (ohm < NO_LEAK_OHM).then_some(ohm);
                }
            }
            _ => {}
        }
    }

    fn fault(&mut self, what: LoopChange, name: SiteFault, severity: f64) {
        if name.is_of_the_loop() {
            return self.faults.put_in(name, severity);
        }
        let concerned = self.members.iter().filter(|m| what.device.is_none_or(|d| d == m.place.station));
        for device in concerned.map(|m| m.place.device) {
            self.faults.put_in_at(device, name, severity, what.at);
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
        let change = self.changes.get(self.done).map(|c| c.at);
        let ordered = self.ordered.front().map(|c| c.at);
        let spreads = self.faults.next_at();
        [change, ordered, self.started_at(), self.look_at, spreads].into_iter().flatten().min()
    }

    fn come_to(&mut self, now: Instant, bus: &mut Bus<Participant>) {
        let mut next = match self.began {
            None => Some(now),
            Some(_) => self.wake_at().filter(|&t| t <= now),
        };
        while let Some(t) = next {
            let mut changed = self.began.is_none();
            while let Some(&change) = self.changes.get(self.done).filter(|c| c.at <= t) {
                self.change(change);
                self.done += 1;
                changed = true;
            }
            while let Some(change) = self.ordered.pop_front_if(|c| c.at <= t) {
                self.change(change);
                changed = true;
            }
            changed |= self.faults.next_at().is_some_and(|due| due <= t);
            if changed {
                self.wanted_a = self.faults.apply(&mut self.circuit, t);
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
