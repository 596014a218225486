//! A bench that can be driven: its world, its time, and the orders that it takes, without any I/O.
//!
//! Whoever drives it hands in the wall clock: [`Driven::target`] says how far the world is to come, [`Driven::turn`]
//! brings it one thing further, [`Driven::obey`] does what somebody ordered [BA-01].

mod clock;
mod order;
mod quantity;
#[cfg(all(test, feature = "bench-file"))]
mod tests;
mod trace;

pub use clock::{BenchClock, Going, LONGEST_STEP, SPEEDS};
pub use order::{Answer, Display, Done, Order, Reason, Refusal, Reply, SnapshotState, TimeState, Window};
pub use quantity::{Reading, Value, View, all as all_quantities, device_key};
pub use trace::{
    MOST_QUANTITIES, MOST_STREAMS, Offered, PERIODS, Reader, Recording, Sample, StreamNews, TracePlan,
};

use super::in_process::make_change;
use super::{BenchPlan, Change, why_not};
use crate::device::Response;
use crate::frame::Marks;
use crate::line::{Bus, Delivery};
use crate::sim::Participant;
use crate::time::Instant;
use core::time::Duration;
use trace::Traces;

/// Most snapshots.
pub const MOST_SNAPSHOTS: usize = 16;
/// Longest name of a snapshot, characters.
pub const LONGEST_NAME: usize = 64;

struct Snapshot {
    name: String,
    at: Instant,
    bus: Bus<Participant>,
    events_done: usize,
}

/// The world of a bench with its time.
pub struct Driven {
    plan: BenchPlan,
    bus: Bus<Participant>,
    /// How far the world has come.
    at: Instant,
    clock: BenchClock,
    dropped_in: u64,
    dropped_out: u64,
    step: Option<Reply>,
    snapshots: Vec<Snapshot>,
    traces: Traces,
    events_done: usize,
    done: Vec<Done>,
}

impl Driven {
    /// A bench whose world is `bus`, in which the devices of `plan` are the first stations, in their order. Bench time and wall
    /// clock are alike at first.
    pub fn new(plan: BenchPlan, bus: Bus<Participant>) -> Driven {
        Driven {
            plan,
            bus,
            at: Instant::ZERO,
            clock: BenchClock::default(),
            dropped_in: 0,
            dropped_out: 0,
            step: None,
            snapshots: Vec::new(),
            traces: Traces::default(),
            events_done: 0,
            done: Vec::new(),
        }
    }

    /// What it was made of.
    pub fn plan(&self) -> &BenchPlan {
        &self.plan
    }

    /// The wires with everybody on them.
    pub fn bus(&self) -> &Bus<Participant> {
        &self.bus
    }

    /// The same, to change somebody, or to take what he keeps.
    pub fn bus_mut(&mut self) -> &mut Bus<Participant> {
        &mut self.bus
    }

    /// How many events of the plan were told.
    pub fn events_done(&self) -> usize {
        self.events_done
    }

    /// So many events of the plan were told.
    pub fn set_events_done(&mut self, done: usize) {
        self.events_done = done;
    }

    /// What orders have done since the last call.
    pub fn take_done(&mut self) -> Vec<Done> {
        core::mem::take(&mut self.done)
    }

    /// How time goes.
    pub fn time(&self) -> TimeState {
        TimeState {
            at: self.at,
            going: self.clock.going(),
            behind: self.clock.behind(),
            dropped_in: self.dropped_in,
            dropped_out: self.dropped_out,
        }
    }

    /// How far the world is to come when the wall clock shows `wall`.
    pub fn target(&self, wall: Instant) -> Instant {
        self.clock.bench_at(wall).max(self.at)
    }

    /// Whether it may run on only for a while at a time, so that orders are not kept waiting: bench time does not go as
    /// on the wall.
    pub fn may_run_long(&self) -> bool {
        !matches!(self.clock.going(), Going::Paused) && !self.clock.joins_lines()
    }

    /// Whether the lines are joined to the wires: time runs as on the wall [BA-03].
    pub fn joins_lines(&self) -> bool {
        self.clock.joins_lines()
    }

    /// When the wall clock shows that something is to be done; `None` while nothing is.
    pub fn wake_at(&mut self, wall: Instant) -> Option<Instant> {
        let poke = self.traces.waits().then(|| wall + Duration::from_millis(20));
        if matches!(self.clock.going(), Going::Stepping { .. }) {
            return Some(wall);
        }
        let next = self.bus.next_at().into_iter().chain(self.traces.next_at()).min();
        next.and_then(|t| self.clock.wall_at(t)).into_iter().chain(poke).min()
    }

    /// Lets the next thing happen that is due up to `target` and later than `last`, or else all that is due then. Gives
    /// what comes out at the lines, and how far the world has come; `target` is reached when that is it.
    pub fn turn(&mut self, target: Instant, last: Option<Instant>) -> (Vec<Delivery>, Instant) {
        let next = self.bus.next_at().into_iter().chain(self.traces.next_at()).min();
        let to = next.filter(|&t| t < target && Some(t) > last).unwrap_or(target);
        let mut deliveries = self.bus.poll(to);
        self.at = self.at.max(to);
        if !self.clock.joins_lines() {
            self.dropped_out += deliveries.len() as u64;
            deliveries.clear();
        }
        if self.traces.next_at().is_some_and(|t| t <= to) {
            self.bring_up();
        }
        let (plan, bus) = (&self.plan, &self.bus);
        self.traces.take(to, || all_quantities(plan, bus, to).into_iter().map(|(_, r)| r.value).collect());
        (deliveries, to)
    }

    /// The world has come as far as it will for now, at the moment `wall`: readers get what waits for them, a step that
    /// is at its end is answered, and what a speed asked too much of is given up.
    pub fn settle(&mut self, wall: Instant) {
        self.traces.hand_over();
        match self.clock.going() {
            Going::Stepping { until } if self.at >= until => self.stand(wall),
            Going::Running { .. } if !self.clock.joins_lines() && self.at < self.clock.bench_at(wall) => {
                self.clock.slip(wall, self.at);
            }
            _ => {}
        }
    }

    /// Octets came in at a line.
    pub fn arrive(&mut self, wall: Instant, port: usize, values: &[u8], marks: &[Marks]) {
        if self.clock.joins_lines() && wall >= self.clock.since() {
            self.bus.arrive(self.clock.bench_at(wall), port, values, marks);
        } else {
            self.dropped_in += values.len() as u64;
        }
    }

    /// Time stands from now on; a step under way is at its end.
    fn stand(&mut self, wall: Instant) {
        self.clock.set(wall, self.at, Going::Paused);
        let time = self.time();
        if let Some(reply) = self.step.take() {
            reply(Ok(Answer::Time(time)));
        }
        self.done.push(Done::Time(time));
    }

    /// Does what somebody ordered at the moment `wall`, up to which the world has come.
    pub fn obey(&mut self, wall: Instant, order: Order, reply: Reply) {
        match order {
            Order::Step { by } => {
                if let Err(refusal) = self.begin_step(wall, by) {
                    return reply(Err(refusal));
                }
                self.step = Some(reply);
            }
            other => reply(self.obeyed(wall, other)),
        }
    }

    fn begin_step(&mut self, wall: Instant, by: Duration) -> Result<(), Refusal> {
        if self.clock.going() != Going::Paused {
            return Err(not_paused("step"));
        }
        if by.is_zero() || by > LONGEST_STEP {
            let wrong = format!("a step of {} s cannot be", by.as_secs_f64());
            return Err(Refusal::new(Reason::CannotBe, wrong, "give more than 0 and up to 600 s"));
        }
        self.clock.set(wall, self.at, Going::Stepping { until: self.at + by });
        Ok(())
    }

    fn obeyed(&mut self, wall: Instant, order: Order) -> Result<Answer, Refusal> {
        match order {
            // Not here: its answer comes later.
            Order::Step { .. } | Order::Time => Ok(Answer::Time(self.time())),
            Order::Pause => {
                if self.clock.going() != Going::Paused {
                    self.stand(wall);
                }
                Ok(Answer::Time(self.time()))
            }
            Order::Run { speed } => self.run(wall, speed),
            Order::Read { names } => self.read(names),
            Order::Displays => Ok(self.displays()),
            Order::Change { device, change } => self.change(device, change),
            Order::Snapshots => Ok(Answer::Snapshots(self.snapshots.iter().map(state).collect())),
            Order::Take { name } => self.take(name),
            Order::Restore { name } => self.restore(wall, &name),
            Order::Forget { name } => {
                let i = self.find(&name)?;
                Ok(Answer::Snapshot(state(&self.snapshots.remove(i))))
            }
            Order::Record { quantities, period } => {
                let plan = self.trace_plan(quantities, period)?;
                self.traces.record(Some(plan.clone()), self.at);
                self.sample_now();
                Ok(Answer::Tracing(plan))
            }
            Order::StopRecording => {
                self.traces.record(None, self.at);
                Ok(Answer::Window(self.window(Instant::ZERO, Instant::ZERO, 0)))
            }
            Order::Recording { from, to, most } => Ok(Answer::Window(self.window(from, to, most))),
            Order::Stream { quantities, period, reader } => {
                let plan = self.trace_plan(quantities, period)?;
                if self.traces.streams() >= MOST_STREAMS {
                    let wrong = format!("{MOST_STREAMS} streams are open already");
                    return Err(Refusal::new(Reason::NoRoom, wrong, "close one of them, and ask again"));
                }
                self.traces.stream(plan.clone(), reader, self.at);
                self.sample_now();
                Ok(Answer::Tracing(plan))
            }
        }
    }

    fn run(&mut self, wall: Instant, speed: f64) -> Result<Answer, Refusal> {
        if !(SPEEDS.0..=SPEEDS.1).contains(&speed) {
            let wrong = format!("time cannot run at speed {speed}");
            return Err(Refusal::new(
                Reason::CannotBe,
                wrong,
                "give 0.01 to 1000; 1 is as fast as the wall clock",
            ));
        }
        match self.clock.going() {
            Going::Stepping { .. } => {
                Err(Refusal::new(Reason::NotNow, "a step is under way", "wait for its end, or pause first"))
            }
            going if going == (Going::Running { speed }) => Ok(Answer::Time(self.time())),
            _ => {
                self.clock.set(wall, self.at, Going::Running { speed });
                self.done.push(Done::Time(self.time()));
                Ok(Answer::Time(self.time()))
            }
        }
    }

    /// Who is speaking is not asked by the bus meanwhile, and his valve stands still until somebody looks.
    fn bring_up(&mut self) {
        for i in 0..self.plan.devices.len() {
            let shown = self.bus.shown(i, self.at);
            if let Some(station) = self.bus.station_mut(i).and_then(Participant::device_mut) {
                station.come_to(shown);
            }
        }
    }

    fn read(&mut self, names: Option<Vec<String>>) -> Result<Answer, Refusal> {
        self.bring_up();
        let full = |(key, reading): (String, Reading)| (format!("{key}.{}", reading.name), reading);
        let mut all: Vec<(String, Reading)> =
            all_quantities(&self.plan, &self.bus, self.at).into_iter().map(full).collect();
        if let Some(names) = names {
            let find =
                |name: &String| all.iter().find(|(n, _)| n == name).cloned().ok_or_else(|| unknown(name));
            all = names.iter().map(find).collect::<Result<_, _>>()?;
        }
        Ok(Answer::Read { at: self.at, readings: all })
    }

    fn displays(&mut self) -> Answer {
        self.bring_up();
        let (plan, bus, at) = (&self.plan, &self.bus, self.at);
        let one = |i: usize| {
            let station = bus.stations().nth(i).and_then(Participant::device)?;
            let lines = station.device().display(bus.shown(i, at))?;
            let lines = if station.is_on() { lines.to_vec() } else { Vec::new() };
            Some((device_key(plan, i), Display { lines }))
        };
        Answer::Displays { at, displays: (0..plan.devices.len()).filter_map(one).collect() }
    }

    fn change(&mut self, device: Option<usize>, change: Change) -> Result<Answer, Refusal> {
        if let Some(device) = device.filter(|&d| d >= self.plan.devices.len()) {
            let wrong = format!("there is no device {device}");
            return Err(Refusal::new(Reason::NotFound, wrong, "ask for the bench: it tells its devices"));
        }
        if let Some((wrong, next)) = why_not(&self.plan, device, change) {
            return Err(Refusal::new(Reason::NotNow, wrong, next));
        }
        let at = self.at;
        let became = make_change(&self.plan, &mut self.bus, at, device, change);
        self.done.push(Done::Changed { at, device, change });
        if change == Change::Calibrate && !became.iter().any(|(_, r)| r.is_done()) {
            return Err(none_began(&became));
        }
        Ok(Answer::Changed { at, became })
    }

    fn find(&self, name: &str) -> Result<usize, Refusal> {
        self.snapshots.iter().position(|s| s.name == name).ok_or_else(|| {
            let wrong = format!("there is no snapshot \"{name}\"");
            Refusal::new(Reason::NotFound, wrong, "ask for the snapshots: they are listed by name")
        })
    }

    fn take(&mut self, name: String) -> Result<Answer, Refusal> {
        if self.clock.going() != Going::Paused {
            return Err(not_paused("take a snapshot"));
        }
        let is_plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
        // A point at the front would mean something else in a path.
        let is_hidden = name.starts_with('.');
        if name.is_empty() || is_hidden || name.len() > LONGEST_NAME || !name.chars().all(is_plain) {
            let next =
                "give 1 to 64 letters, digits, hyphens, underscores and points, a point not at the front";
            return Err(Refusal::new(
                Reason::CannotBe,
                format!("\"{name}\" is no name for a snapshot"),
                next,
            ));
        }
        let made = Snapshot { name, at: self.at, bus: self.bus.clone(), events_done: self.events_done };
        let told = state(&made);
        match self.find(&made.name) {
            Ok(i) => self.snapshots[i] = made,
            Err(_) if self.snapshots.len() >= MOST_SNAPSHOTS => {
                let wrong = format!("there are {MOST_SNAPSHOTS} snapshots already");
                return Err(Refusal::new(
                    Reason::NoRoom,
                    wrong,
                    "drop one, or take it under a name that is there",
                ));
            }
            Err(_) => self.snapshots.push(made),
        }
        Ok(Answer::Snapshot(told))
    }

    fn restore(&mut self, wall: Instant, name: &str) -> Result<Answer, Refusal> {
        if self.clock.going() != Going::Paused {
            return Err(not_paused("restore a snapshot"));
        }
        let snapshot = &self.snapshots[self.find(name)?];
        let told = state(snapshot);
        self.bus = snapshot.bus.clone();
        self.events_done = snapshot.events_done;
        self.at = snapshot.at;
        self.clock.set(wall, self.at, Going::Paused);
        for i in 0..self.plan.devices.len() {
            if let Some(station) = self.bus.station_mut(i).and_then(Participant::device_mut) {
                // The file has what came later.
                station.device_mut().not_saved();
            }
        }
        self.traces.restored(self.at);
        self.done.push(Done::Restored(told.clone()));
        Ok(Answer::Snapshot(told))
    }

    fn trace_plan(&self, quantities: Vec<String>, period: Duration) -> Result<TracePlan, Refusal> {
        let cannot = |wrong: String, next: &str| Err(Refusal::new(Reason::CannotBe, wrong, next));
        if !(PERIODS.0..=PERIODS.1).contains(&period) {
            let wrong = format!("a period of {} s cannot be", period.as_secs_f64());
            return cannot(wrong, "give 0.001 to 3600 s");
        }
        let all: Vec<String> = all_quantities(&self.plan, &self.bus, self.at)
            .into_iter()
            .map(|(key, r)| format!("{key}.{}", r.name))
            .collect();
        if quantities.is_empty() || quantities.len() > MOST_QUANTITIES {
            let wrong = format!("{} quantities cannot be in one trace", quantities.len());
            return cannot(wrong, "name 1 to 64 of those that GET /quantities tells");
        }
        let place = |name: &String| all.iter().position(|n| n == name).ok_or_else(|| unknown(name));
        let places = quantities.iter().map(place).collect::<Result<_, _>>()?;
        Ok(TracePlan { quantities, places, period })
    }

    /// A trace that begins on its grid has a sample of that moment: the world has come to it already.
    fn sample_now(&mut self) {
        self.bring_up();
        let (plan, bus, at) = (&self.plan, &self.bus, self.at);
        self.traces.take(at, || all_quantities(plan, bus, at).into_iter().map(|(_, r)| r.value).collect());
    }

    fn window(&self, from: Instant, to: Instant, most: usize) -> Window {
        let Some(recording) = self.traces.recording() else {
            return Window { plan: None, samples: Vec::new(), more: 0, dropped: 0 };
        };
        let first = recording.samples.partition_point(|s| s.at < from);
        let behind = recording.samples.partition_point(|s| s.at <= to).max(first);
        let told = (behind - first).min(most);
        Window {
            plan: Some(recording.plan.clone()),
            samples: recording.samples.range(first..first + told).cloned().collect(),
            more: behind - first - told,
            dropped: recording.dropped,
        }
    }
}

fn state(of: &Snapshot) -> SnapshotState {
    SnapshotState { name: of.name.clone(), at: of.at }
}

/// No device has begun the calibration that was asked for.
fn none_began(became: &[(String, Response)]) -> Refusal {
    let wrong: Vec<String> = became.iter().map(|(key, r)| format!("{key}: {r}")).collect();
    let mut next: Vec<&str> = became.iter().filter_map(|(_, r)| r.next()).collect();
    next.dedup();
    Refusal::new(Reason::NotNow, wrong.join("; "), next.join("; "))
}

fn not_paused(what: &str) -> Refusal {
    Refusal::new(Reason::NotNow, format!("to {what} the bench must be paused"), "pause it first")
}

fn unknown(name: &str) -> Refusal {
    let wrong = format!("there is no quantity \"{name}\"");
    Refusal::new(Reason::NotFound, wrong, "name one of those that GET /quantities tells")
}
