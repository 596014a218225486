//! A simulated line: one pair of wires with stations and access points on it, on given time.
//!
//! Every octet takes the time of a character by its sender's clock, and everybody but its sender hears
//! it at its end [LI-05]. Who sends hears nothing. Two that send at once collide [LI-20], carriers are
//! detected late [LI-21], rules spoil what passes [LI-22], every station has a clock of its own [LI-23],
//! and a listener may hear some talkers with errors or not at all [LI-25]. Whatever is left to chance is fixed by one seed, and what happens at equal times has an order.

mod air;
mod around;
mod ear;
mod reach;
mod sender;
mod station;
#[cfg(test)]
mod tests;

use super::dice::Dice;
use super::wire_fault::{FaultKind, Faults, Planned, WireFault};
use crate::frame::{Marks, Octet, RawFrame};
use crate::time::{Drift, Instant, Pace};
use air::Air;
pub use around::Around;
use ear::Ear;
pub use ear::Reach;
use sender::{Passing, Sender};
pub use station::{Begun, Clock, Delivery, Source, Station, Traffic};

/// Most octets that wait to pass from one sender; what comes on top is lost and counted.
pub const CAPACITY: usize = 4096;

/// Most steps at one instant in one [`Bus::poll`]: at [`Pace::Fast`] stations that answer each other
/// for ever would otherwise never let go.
const MAX_STEPS: usize = 1024;

/// Streams of the seed.
const COLLISIONS: u64 = 1;
const FAULTS: u64 = 2;
/// The first station's.
const STATIONS: u64 = 16;
/// The first ear's at a port, and of a station.
const EARS: [u64; 2] = [1 << 32, 2 << 32];

#[derive(Clone)]
struct Port {
    sender: Sender,
    /// Whether somebody takes what comes out there.
    is_taken: bool,
    /// Where it does not hear everybody.
    ear: Option<Box<Ear>>,
}

#[derive(Clone)]
struct Seat<S> {
    station: S,
    sender: Sender,
    /// Where it does not hear everybody.
    ear: Option<Box<Ear>>,
    clock: Clock,
    dice: Dice,
    /// When the station was last asked to transmit: a wish to wake up to then is served.
    asked: Option<Instant>,
    /// Whether it knows of a carrier.
    told: bool,
    /// What it last wished, by its own clock and by the true one.
    wish: Option<(Instant, Instant)>,
}

/// One pair of wires [LI-05] with stations and access points, on time that somebody hands in. A clone, chances and
/// what is under way included, goes on in exactly the same way as the bus itself.
#[derive(Clone)]
pub struct Bus<S: Station = Box<dyn Station + Send>> {
    pace: Pace,
    seed: u64,
    now: Instant,
    ports: Vec<Port>,
    /// Whether anybody does not hear everybody.
    has_ears: bool,
    seats: Vec<Seat<S>>,
    noise: Sender,
    /// The next burst of each rule that makes noise.
    bursts: Vec<(Instant, Vec<Planned>)>,
    faults: Faults,
    air: Air,
    /// Whose octets are heard while others send too.
    holder: Option<Source>,
    dice: Dice,
    traffic: Traffic,
    record: Option<Vec<Begun>>,
    around: Option<Box<dyn Around<S> + Send>>,
}

/// What is next.
enum Next {
    Around,
    Octet(Source),
    Wake,
    /// A carrier that comes or goes, as it is, or as it is detected.
    Carrier,
    Burst(usize),
}

impl<S: Station> Bus<S> {
    /// An empty bus at time zero, with seed 0.
    pub fn new(pace: Pace) -> Self {
        Bus::with_seed(pace, 0)
    }

    /// An empty bus at time zero whose chances are those of `seed`.
    pub fn with_seed(pace: Pace, seed: u64) -> Self {
        Bus {
            pace,
            seed,
            now: Instant::ZERO,
            ports: Vec::new(),
            has_ears: false,
            seats: Vec::new(),
            noise: Sender::new(pace.character()),
            bursts: Vec::new(),
            faults: Faults::new(Vec::new(), Dice::new(seed, FAULTS)),
            air: Air::new(pace),
            holder: None,
            dice: Dice::new(seed, COLLISIONS),
            traffic: Traffic::default(),
            record: None,
            around: None,
        }
    }

    /// How fast octets pass [LI-01].
    pub fn pace(&self) -> Pace {
        self.pace
    }

    /// The seed of its chances.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// What has passed so far.
    pub fn traffic(&self) -> Traffic {
        self.traffic
    }

    /// From now on these rules spoil what passes [LI-22], in place of those before. Times of rules are
    /// on the bus's clock.
    pub fn set_faults(&mut self, rules: Vec<WireFault>) {
        self.faults = Faults::new(rules, Dice::new(self.seed, FAULTS));
        self.bursts = vec![(Instant::ZERO, Vec::new()); self.faults.rules().len()];
        for i in 0..self.bursts.len() {
            self.plan_burst(i, self.now);
        }
    }

    /// From now on keeps what is begun to be sent, for [`Bus::take_begun`]: take it from time to time.
    pub fn keep_begun(&mut self) {
        self.record.get_or_insert_default();
    }

    /// What began since the last call, in order; nothing unless it is kept.
    pub fn take_begun(&mut self) -> Vec<Begun> {
        self.record.as_mut().map(core::mem::take).unwrap_or_default()
    }

    /// Adds an access point for something outside; gives its index.
    pub fn add_port(&mut self) -> usize {
        self.ports.push(Port { sender: Sender::new(self.pace.character()), is_taken: true, ear: None });
        self.somebody_came();
        self.ports.len() - 1
    }

    /// From now on nothing comes out at this access point: nobody takes it there.
    pub fn leave_port(&mut self, port: usize) {
        self.ports.get_mut(port).into_iter().for_each(|p| p.is_taken = false);
    }

    /// Adds a station with a clock that is right; gives its index.
    pub fn add_station(&mut self, station: S) -> usize {
        self.add_station_with(station, Clock::default())
    }

    /// Adds a station; gives its index.
    pub fn add_station_with(&mut self, station: S, clock: Clock) -> usize {
        let index = self.seats.len();
        self.seats.push(Seat {
            station,
            sender: Sender::new(clock.drift.lasts(self.pace.character())),
            ear: None,
            clock,
            dice: Dice::new(self.seed, STATIONS + index as u64),
            asked: None,
            told: false,
            wish: None,
        });
        self.somebody_came();
        index
    }

    /// The stations by index.
    pub fn stations(&self) -> impl Iterator<Item = &S> {
        self.seats.iter().map(|s| &s.station)
    }

    /// One station. What is done to it shows at the next [`Bus::poll`].
    pub fn station_mut(&mut self, index: usize) -> Option<&mut S> {
        self.seats.get_mut(index).map(|s| {
            s.wish = None;
            &mut s.station
        })
    }

    /// How many octets from outside were lost at `port` because it sent faster than the pace for
    /// too long; 0 for an unknown port.
    pub fn lost(&self, port: usize) -> u64 {
        self.ports.get(port).map_or(0, |p| p.sender.lost)
    }

    /// Octets came in from outside at `port`: the first is taken to have ended at `at`, the others
    /// follow no faster than the pace. `marks` goes with `values` by index; where it is shorter there
    /// are none. Beyond [`CAPACITY`] the newest are lost, and the next one accepted is marked
    /// [`Marks::OVERRUN`].
    ///
    /// A time before the last [`Bus::poll`] counts as the time of that poll. Gives the end of the
    /// last octet; an unknown port hears nothing and loses nothing.
    pub fn arrive(&mut self, at: Instant, port: usize, values: &[u8], marks: &[Marks]) -> Instant {
        let marks = marks.iter().copied().chain(core::iter::repeat(Marks::NONE));
        let planned =
            values.iter().zip(marks).map(|(&v, marks)| Planned { marks, ..Planned::plain(v) }).collect();
        self.push_port(at.max(self.now), port, planned)
    }

    /// Somebody outside starts to send at `port`, who leaves the pace to the bus: the first octet
    /// ends a character after `at`. Else like [`Bus::arrive`].
    pub fn transmit(&mut self, at: Instant, port: usize, values: &[u8]) -> Instant {
        let planned = values.iter().map(|&v| Planned::plain(v)).collect();
        self.push_port(at.max(self.now) + self.pace.character(), port, planned)
    }

    /// The same for octets with wrong parity and pauses.
    pub fn transmit_raw(&mut self, at: Instant, port: usize, frame: &RawFrame) -> Instant {
        self.push_port(at.max(self.now) + self.pace.character(), port, Planned::raw(frame))
    }

    fn push_port(&mut self, end: Instant, port: usize, planned: Vec<Planned>) -> Instant {
        match self.ports.get(port) {
            Some(p) if !planned.is_empty() => {
                let anew = p.sender.begins_anew(end);
                self.begin(Source::Port(port), self.now, end, anew, planned)
            }
            _ => end,
        }
    }

    /// When there is something to do next: the end of an octet, a change of the carrier or a station's
    /// wish to wake.
    pub fn next_at(&mut self) -> Option<Instant> {
        self.next().map(|(at, _)| at)
    }

    /// Does everything that is due up to `now` in order of time, asks every station that is not
    /// sending, and gives what comes out at the access points. Time never runs backwards here.
    pub fn poll(&mut self, now: Instant) -> Vec<Delivery> {
        let mut out = Vec::new();
        self.poll_into(now, &mut out);
        out
    }

    /// The same; what comes out is added to `out`.
    pub fn poll_into(&mut self, now: Instant, out: &mut Vec<Delivery>) {
        let now = now.max(self.now);
        let mut asked = false;
        let mut steps = 0;
        while steps < MAX_STEPS {
            match self.next() {
                Some((t, what)) if t <= now => {
                    steps = if t > self.now { 0 } else { steps + 1 };
                    self.now = self.now.max(t);
                    match what {
                        Next::Around => self.go_around(),
                        Next::Octet(source) => self.pass(source, out),
                        Next::Wake => {}
                        Next::Carrier => self.carry(),
                        Next::Burst(rule) => self.burst(rule),
                    }
                    self.ask();
                }
                _ if asked => break,
                // Somebody may have changed a station from outside since the last poll.
                _ => {
                    self.now = now;
                    self.ask();
                    asked = true;
                }
            }
        }
        self.now = now;
    }

    /// At equal times what goes on around the stations comes first, then octets, then what a carrier does, then the
    /// wishes of stations.
    fn next(&mut self) -> Option<(Instant, Next)> {
        let mut best: Option<(Instant, Next)> = None;
        let mut offer = |at: Option<Instant>, what: Next| {
            if let Some(at) = at
                && best.as_ref().is_none_or(|(t, _)| at < *t)
            {
                best = Some((at, what));
            }
        };
        offer(self.around.as_ref().and_then(|a| a.wake_at()), Next::Around);
        let front = |s: &Sender| s.waiting.front().map(|p| p.octet.at);
        for (i, port) in self.ports.iter().enumerate() {
            offer(front(&port.sender), Next::Octet(Source::Port(i)));
        }
        for (i, seat) in self.seats.iter().enumerate() {
            offer(front(&seat.sender), Next::Octet(Source::Station(i)));
        }
        offer(front(&self.noise), Next::Octet(Source::Noise));
        offer(self.air.next_at(), Next::Carrier);
        if self.has_ears {
            for ear in self.seats.iter().filter_map(|s| s.ear.as_ref()) {
                offer(ear.air.next_at(), Next::Carrier);
            }
        }
        for sender in self.senders() {
            offer(sender.pieces.front().map(|p| p.0), Next::Carrier);
        }
        for (i, (at, octets)) in self.bursts.iter().enumerate() {
            offer((!octets.is_empty()).then_some(*at), Next::Burst(i));
        }
        for seat in self.seats.iter_mut().filter(|s| s.sender.waiting.is_empty()) {
            let Some(wish) = seat.station.wake_at() else { continue };
            let at = match seat.wish {
                Some((shown, at)) if shown == wish => at,
                _ => {
                    let at = seat.clock.drift.reaches(wish);
                    seat.wish = Some((wish, at));
                    at
                }
            };
            offer(Some(at).filter(|&at| seat.asked.is_none_or(|asked| at > asked)), Next::Wake);
        }
        best
    }

    fn senders(&self) -> impl Iterator<Item = &Sender> {
        let ports = self.ports.iter().map(|p| &p.sender);
        ports.chain(self.seats.iter().map(|s| &s.sender)).chain(core::iter::once(&self.noise))
    }

    fn sender_mut(&mut self, source: Source) -> &mut Sender {
        match source {
            Source::Port(i) => &mut self.ports[i].sender,
            Source::Station(i) => &mut self.seats[i].sender,
            Source::Noise => &mut self.noise,
        }
    }

    /// The first waiting octet of `source` ends: everybody who does not send hears it. Octets behind it
    /// with the same time, which only [`Pace::Fast`] has, go along: a burst without time has no pause in
    /// which a station could be asked.
    fn pass(&mut self, source: Source, out: &mut Vec<Delivery>) {
        let mut run = Vec::new();
        let mut one = [Octet::default()];
        let waiting = &mut self.sender_mut(source).waiting;
        let Some(first) = waiting.pop_front() else { return };
        let alone = waiting.front().is_none_or(|p| p.octet.at > first.octet.at);
        self.clear_ears();
        let heard: &[Octet] = if alone {
            self.tell_ears(source, &first);
            match self.on_the_wires(source, first) {
                Some(octet) => {
                    one[0] = octet;
                    &one
                }
                None => &[],
            }
        } else {
            let mut next = Some(first);
            while let Some(passing) = next {
                self.tell_ears(source, &passing);
                run.extend(self.on_the_wires(source, passing));
                let waiting = &mut self.sender_mut(source).waiting;
                next = waiting.pop_front_if(|p| p.octet.at == first.octet.at);
            }
            &run
        };
        let (now, begins) = (self.now, first.begins);
        let mut spoke = None;
        for (i, seat) in self.seats.iter_mut().enumerate() {
            let drift = seat.clock.drift;
            if source == Source::Station(i) {
                if seat.sender.waiting.is_empty() {
                    spoke = Some(i);
                    seat.station.sent(drift.shows(now));
                }
                continue;
            }
            let heard = seat.ear.as_ref().map_or(heard, |ear| &ear.heard);
            if !heard.is_empty() && !seat.sender.is_on_between(begins, now) {
                if drift == Drift::NONE {
                    seat.station.handle(now, heard);
                } else {
                    for octet in heard {
                        let octet = Octet { at: drift.shows(octet.at), ..*octet };
                        seat.station.handle(drift.shows(now), &[octet]);
                    }
                }
            }
        }
        let listens = |(i, port): &(usize, &Port)| {
            port.is_taken && source != Source::Port(*i) && !port.sender.is_on_between(begins, now)
        };
        for &octet in heard.iter().filter(|_| self.ports.iter().any(|p| p.is_taken)) {
            let all = self.ports.iter().enumerate().filter(|(_, p)| p.ear.is_none());
            out.extend(all.filter(listens).map(|(port, _)| Delivery { port, octet }));
        }
        if self.has_ears {
            for (port, p) in self.ports.iter().enumerate().filter(listens) {
                out.extend(p.ear.iter().flat_map(|e| &e.heard).map(|&octet| Delivery { port, octet }));
            }
        }
        if let Some(i) = spoke
            && self.notices_somebody(i)
        {
            // It could not notice who began while it spoke.
            let seat = &mut self.seats[i];
            seat.told = true;
            seat.station.carrier(seat.clock.drift.shows(now), true);
        }
    }

    /// What is heard of an octet that ends now [LI-20].
    fn on_the_wires(&mut self, source: Source, passing: Passing) -> Option<Octet> {
        let (begin, end) = (passing.begins, passing.octet.at);
        *(if passing.made { &mut self.traffic.made } else { &mut self.traffic.sent }) += 1;
        let together = begin < end && {
            let own = usize::from(self.sender_mut(source).is_on_between(begin, end));
            self.senders().filter(|s| s.is_on_between(begin, end)).count() > own
        };
        if together
            && let Some(holder) = self.holder.filter(|h| *h != source)
            && self.sender_mut(holder).is_on_between(begin, end)
        {
            self.traffic.covered += 1;
            return None;
        }
        self.holder = Some(source);
        if passing.silent {
            self.traffic.silenced += 1;
            return None;
        }
        self.traffic.heard += 1;
        let mut octet = passing.octet;
        if together {
            self.traffic.spoilt += 1;
            octet = spoilt(octet, &mut self.dice);
        }
        Some(octet)
    }

    /// Tells the detectors of carriers that have come.
    fn tell_detectors(&mut self) {
        let now = self.now;
        let mut come = Vec::new();
        let ports = (0..).map(Source::Port).zip(self.ports.iter_mut().map(|p| &mut p.sender));
        let seats = (0..).map(Source::Station).zip(self.seats.iter_mut().map(|s| &mut s.sender));
        for (source, sender) in ports.chain(seats).chain([(Source::Noise, &mut self.noise)]) {
            while let Some((from, until)) = sender.pieces.pop_front_if(|p| p.0 <= now) {
                self.air.carry(from, until);
                sender.told_until = sender.told_until.max(until);
                if self.has_ears {
                    come.push((source, from, until));
                }
            }
        }
        self.tell_ears_of_carriers(&come);
    }

    /// A carrier comes, or the detectors turn: the stations are told what they say.
    fn carry(&mut self) {
        self.tell_detectors();
        let now = self.now;
        let of_all = self.air.turn(now);
        if of_all.is_none() && !self.has_ears {
            return;
        }
        for seat in &mut self.seats {
            let turned = seat.ear.as_mut().map_or(of_all, |ear| ear.air.turn(now));
            let Some(on) = turned else { continue };
            let speaks = seat.sender.from <= now && seat.sender.until > now;
            if if on { !speaks } else { seat.told } {
                seat.told = on;
                seat.station.carrier(seat.clock.drift.shows(now), on);
            }
        }
    }

    fn burst(&mut self, rule: usize) {
        let octets = core::mem::take(&mut self.bursts[rule].1);
        let now = self.now;
        let end = now + self.pace.character();
        self.noise.push(now, end, &octets);
        self.tell_detectors();
        self.plan_burst(rule, end + self.pace.character() * octets.len() as u32);
    }

    /// Plans the burst of a rule that makes noise, if it makes any.
    fn plan_burst(&mut self, rule: usize, after: Instant) {
        let WireFault { kind: FaultKind::Noise { every, octets }, from, .. } = self.faults.rules()[rule]
        else {
            return;
        };
        let (wait, made) = self.faults.noise(every, octets);
        let at = after.max(from) + wait;
        self.bursts[rule] = if self.faults.rules()[rule].is_on(at) { (at, made) } else { (at, Vec::new()) };
    }

    fn ask(&mut self) {
        for i in 0..self.seats.len() {
            let seat = &mut self.seats[i];
            if !seat.sender.waiting.is_empty() {
                continue;
            }
            seat.asked = Some(self.now);
            let shown = seat.clock.drift.shows(self.now);
            let planned: Vec<Planned> = match seat.station.poll_transmit(shown) {
                Some(values) => values.into_iter().map(Planned::plain).collect(),
                None => match seat.station.poll_raw(shown) {
                    Some(raw) => Planned::raw(&raw),
                    None => continue,
                },
            };
            if planned.is_empty() {
                seat.station.sent(shown);
            } else {
                let begin = self.now + seat.dice.up_to(seat.clock.jitter);
                let end = begin + seat.sender.character;
                self.begin(Source::Station(i), begin, end, true, planned);
            }
        }
    }

    /// Puts octets on their way, the first of which ends at `end`; `anew` if a transmission begins by it.
    fn begin(
        &mut self,
        source: Source,
        not_before: Instant,
        end: Instant,
        anew: bool,
        mut planned: Vec<Planned>,
    ) -> Instant {
        let character = self.sender_mut(source).character;
        if let Some(record) = &mut self.record {
            let values = planned.iter().map(|p| p.value).collect();
            record.push(Begun { source, at: end.before(character), values });
        }
        if !self.faults.is_empty() && !character.is_zero() {
            self.faults.apply(not_before, anew, character, &mut planned);
        }
        let last_end = self.sender_mut(source).push(not_before, end, &planned);
        self.tell_detectors();
        last_end
    }
}

/// What is heard of an octet while somebody else sends too [LI-20].
fn spoilt(mut octet: Octet, dice: &mut Dice) -> Octet {
    octet.value = dice.octet();
    // What the bits of two make may look like anything.
    for mark in [Marks::PARITY, Marks::FRAMING] {
        if dice.chance(0.5) {
            octet.marks |= mark;
        }
    }
    octet
}
