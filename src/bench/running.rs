//! The bench on the wall clock, with ports of this machine.

use super::desk::Desk;
use super::driven::{Done, Driven, Order, Reply};
use super::memory::{self, Claim, MemoryError};
use super::notice::Notice;
use super::places::{PortPlace, open_port, place};
use super::plan::{BenchPlan, LineKind};
use super::station;
use crate::device::{Gateway, Restored};
use crate::line::io::{InterruptHandle, PortEvent, Ports, WakeHandle};
use crate::line::{self, Reach, Source, Traffic};
use crate::sim::{DeviceStation, MasterStation, Participant};
use crate::time::{Instant, Pace};
use core::fmt;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::time::Duration;

/// Why a bench cannot run, or no longer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Error {
    /// A port cannot be opened.
    Port(line::Error),
    /// The last port is lost.
    NoPortLeft(line::Error),
    /// A memory file cannot be read or kept aside, or what was stored could not be saved at the end.
    Memory(MemoryError),
    /// Another mock, or another device of this one, has this memory file.
    MemoryInUse(PathBuf),
    /// A fleet would have more files open than the system allows this process.
    TooManyFiles {
        /// How many it would have open, clients' connections among them: reckoned, not counted.
        wanted: u64,
        /// How many it may have open.
        allowed: u64,
    },
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::Port(e) => e.fmt(f),
            Error::NoPortLeft(e) => write!(f, "no line of the bench is left: {e}"),
            Error::Memory(e) => e.fmt(f),
            Error::MemoryInUse(path) => {
                write!(f, "the memory file {} is in use by another mock", path.display())
            }
            Error::TooManyFiles { wanted, allowed } => {
                write!(
                    f,
                    "its ports and memory files take about {wanted} open files, and the system allows {allowed}"
                )
            }
        }
    }
}

impl std::error::Error for Error {}

/// The memory file of a device.
struct Keeper {
    path: Option<PathBuf>,
    /// Nobody else has it.
    _claim: Option<Claim>,
    /// What is still to be written.
    unsaved: Option<Vec<u8>>,
}

/// Most orders that wait for a bench.
pub const MOST_ORDERS: usize = 64;

/// The longest that a bench computes before it looks for orders, where its time does not go as on the wall.
const SLICE: Duration = Duration::from_millis(20);

/// Gives orders to a running bench from other threads [BA-01].
#[derive(Clone)]
pub struct Orders {
    queue: SyncSender<(Order, Reply)>,
    wake: WakeHandle,
}

/// Why an order was not put into the queue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotOrdered {
    /// [`MOST_ORDERS`] wait already.
    Full,
    /// The bench has ended.
    Ended,
}

impl Orders {
    /// Orders that a test takes out of the queue itself; what wakes hangs on the ports.
    #[cfg(test)]
    pub(super) fn by_hand() -> (Orders, Receiver<(Order, Reply)>, Ports) {
        let (queue, orders) = sync_channel(MOST_ORDERS);
        let ports = Ports::new();
        (Orders { queue, wake: ports.wake_handle() }, orders, ports)
    }

    /// Puts an order into the queue without waiting. A bench that ends before it is done drops `reply`.
    ///
    /// # Errors
    /// The queue is full, or the bench has ended; `reply` is dropped.
    pub fn order(&self, order: Order, reply: Reply) -> Result<(), NotOrdered> {
        self.queue.try_send((order, reply)).map_err(|e| match e {
            TrySendError::Full(_) => NotOrdered::Full,
            TrySendError::Disconnected(_) => NotOrdered::Ended,
        })?;
        self.wake.wake();
        Ok(())
    }
}

/// A bench with open ports. Making one opens them; [`Bench::run`] lets it answer.
pub struct Bench {
    pub(super) driven: Driven,
    pub(super) ports: Ports,
    /// Where orders come in, if anybody may give some.
    orders: Option<Receiver<(Order, Reply)>>,
    places: Vec<PortPlace>,
    lost: Vec<bool>,
    /// Pseudo-terminals that the program there has set wrong.
    set_wrong: Vec<bool>,
    keepers: Vec<Keeper>,
    /// What clients of HART-IP servers asked.
    pub(super) desk: Desk,
    /// By an order, and what that gave the devices is still to be told.
    loop_changed_at: Option<Instant>,
    /// What was found before anybody could listen.
    early: Vec<Notice>,
    /// The access point at which everything that passes is heard, if anybody wants it.
    ear: Option<usize>,
    /// The largest error of a stamp at its ports.
    stamp_error: Duration,
    /// It is a loop behind the gateway of a fleet, which fetches answers and bursts.
    pub(super) is_of_a_fleet: bool,
}

impl Bench {
    /// Opens every port of the plan and powers the devices up with their memory.
    ///
    /// # Errors
    /// A port cannot be opened, or a memory file is in use, or is there and cannot be read.
    pub fn open(plan: BenchPlan) -> Result<Bench, Error> {
        Bench::open_with(plan, Ports::new(), true)
    }

    /// The same with these ports, which has none yet. A loop behind the gateway of a fleet opens none: whoever asks comes by
    /// [`Bench::ask`].
    pub(super) fn open_with(plan: BenchPlan, mut ports: Ports, opens_lines: bool) -> Result<Bench, Error> {
        // Before anything that others could notice, such as a link that now leads here.
        let mut keepers = Vec::new();
        for device in &plan.devices {
            let path = device.memory.clone();
            let claim = path.as_deref().map(claimed).transpose()?;
            keepers.push(Keeper { path, _claim: claim, unsaved: None });
        }
        let mut places = Vec::new();
        for line in plan.lines.iter().filter(|_| opens_lines) {
            let port = open_port(&mut ports, &line.kind, plan.pace).map_err(Error::Port)?;
            // The numbers of ports, access points and lines of the plan are all the same.
            debug_assert_eq!(port, places.len());
            places.push(place(line, ports.path(port)));
        }
        let stamp_error =
            (0..ports.count()).map(|p| ports.capabilities(p).stamp_error).max().unwrap_or_default();
        let mut images = Vec::new();
        for device in &plan.devices {
            images.push(match &device.memory {
                Some(path) => memory::load(path).map_err(Error::Memory)?,
                None => None,
            });
        }
        let (world, restored) = station::world(&plan, &images, stamp_error, ports.now());
        let mut bus = world.into_bus();
        for line in &plan.lines {
            let port = bus.add_port();
            if matches!(line.kind, LineKind::HartIp(_)) {
                // What passes goes to the clients of a server as answers and bursts.
                bus.leave_port(port);
            }
        }
        let mut early = Vec::new();
        for (i, (device, restored)) in plan.devices.iter().zip(restored).enumerate() {
            if let (Restored::Corrupt(error), Some(path)) = (restored, &device.memory) {
                let kept = memory::keep_aside(path).map_err(Error::Memory)?;
                early.push(Notice::MemoryCorrupt { device: i, error, kept });
            }
        }
        let lost = vec![false; places.len()];
        let set_wrong = lost.clone();
        let desk = Desk::new(
            plan.gateway.clone().map(Gateway::new),
            plan.devices[0].config.identity.unique_address(),
        );
        let driven = Driven::new(plan, bus);
        Ok(Bench {
            driven,
            ports,
            orders: None,
            places,
            lost,
            set_wrong,
            keepers,
            desk,
            loop_changed_at: None,
            early,
            ear: None,
            stamp_error,
            is_of_a_fleet: !opens_lines,
        })
    }

    /// From now on everything that passes on the wires is told as [`Notice::Heard`], while time runs as on the wall.
    pub fn listen_in(&mut self) {
        if self.ear.is_none() {
            self.ear = Some(self.driven.bus_mut().add_port());
        }
    }

    /// The largest error of a stamp of what comes in at its ports.
    pub fn stamp_error(&self) -> Duration {
        self.stamp_error
    }

    /// What the bench was made of.
    pub fn plan(&self) -> &BenchPlan {
        self.driven.plan()
    }

    /// From now on others may give orders, by a way that is given back.
    pub fn take_orders(&mut self) -> Orders {
        let (queue, orders) = sync_channel(MOST_ORDERS);
        self.orders = Some(orders);
        Orders { queue, wake: self.ports.wake_handle() }
    }

    /// Where the lines are, in the order of the plan.
    pub fn places(&self) -> &[PortPlace] {
        &self.places
    }

    /// The devices with what they have stored now, in the order of the plan.
    pub fn stations(&self) -> impl Iterator<Item = &DeviceStation> {
        self.driven.bus().stations().filter_map(Participant::device)
    }

    /// How requests from the lines of the bench reach the device with this index, and how its answers reach them,
    /// as the loop is now.
    pub fn reach(&self, device: usize) -> (Reach, Reach) {
        let (line, device) = (Source::Port(0), Source::Station(device));
        (self.driven.bus().reach(line, device), self.driven.bus().reach(device, line))
    }

    /// The masters, in the order of the plan.
    pub fn masters(&self) -> impl Iterator<Item = &MasterStation> {
        self.driven.bus().stations().filter_map(Participant::master)
    }

    /// What has passed on the wires so far.
    pub fn traffic(&self) -> Traffic {
        self.driven.bus().traffic()
    }

    /// A handle that ends [`Bench::run`] from another thread.
    pub fn interrupt_handle(&self) -> InterruptHandle {
        self.ports.interrupt_handle()
    }

    /// Runs until it is interrupted, and tells `on` what happens, [`Notice::Ready`] first. What a
    /// device stores is on the disk before its answer leaves.
    ///
    /// # Errors
    /// The last port is lost, or at the end something stored could not be saved.
    pub fn run(&mut self, on: &mut dyn FnMut(Notice)) -> Result<(), Error> {
        on(Notice::Ready { ports: self.places.clone() });
        self.begin(on);
        let ended = self.drive(on);
        self.end(ended, on)
    }

    /// Tells what was found before anybody could listen.
    pub(super) fn begin(&mut self, on: &mut dyn FnMut(Notice)) {
        self.early.drain(..).for_each(on);
    }

    /// Saves what is still to be saved; `ended` is why it ends.
    pub(super) fn end(&mut self, ended: Result<(), Error>, on: &mut dyn FnMut(Notice)) -> Result<(), Error> {
        self.save(on);
        for event in self.ports.end() {
            if let PortEvent::Peer { port, peer, news } = event {
                on(Notice::Peer { line: port, peer, news });
            }
        }
        // Nobody will try again.
        let unsaved = self.keepers.iter().find_map(|k| Some((k.path.clone()?, k.unsaved.as_ref()?)));
        match (ended, unsaved) {
            (Ok(()), Some((path, image))) => memory::save(&path, image).map_err(Error::Memory),
            (ended, _) => ended,
        }
    }

    fn drive(&mut self, on: &mut dyn FnMut(Notice)) -> Result<(), Error> {
        loop {
            self.catch_up(on);
            let wake = self.driven.wake_at(self.ports.now());
            let mut event = self.ports.wait(wake);
            loop {
                if !self.take(event, on)? {
                    return Ok(());
                }
                // What else servers have brought goes to the wires at the same time.
                match self.ports.ready() {
                    Some(next) => event = next,
                    None => break,
                }
            }
        }
    }

    /// Takes up what came from a port; false at the end.
    fn take(&mut self, event: PortEvent, on: &mut dyn FnMut(Notice)) -> Result<bool, Error> {
        match event {
            PortEvent::Octets { port, values, marks, at } => {
                self.driven.arrive(at, port, &values, &marks);
            }
            PortEvent::PeerCame { port } => on(Notice::PeerCame { line: port }),
            PortEvent::Peer { port, peer, news } => on(Notice::Peer { line: port, peer, news }),
            #[cfg(unix)]
            PortEvent::PeerSettings { port, settings } => {
                // Right from the start is nothing to be told.
                let was_wrong = std::mem::replace(&mut self.set_wrong[port], !settings.fits());
                if was_wrong || !settings.fits() {
                    on(Notice::PeerSettings { line: port, settings });
                }
            }
            PortEvent::PeerGone { port, locked } => {
                self.set_wrong[port] = false;
                on(Notice::PeerGone { line: port, locked });
            }
            PortEvent::Closed { port, error } => {
                self.lost[port] = true;
                on(Notice::PortLost { line: port, error: error.clone() });
                if self.lost.iter().all(|&l| l) {
                    return Err(Error::NoPortLeft(error));
                }
            }
            PortEvent::Asked { port, ticket, request } => self.asked(port, ticket, request),
            PortEvent::Forgotten { port, ticket } => self.forgotten(port, ticket),
            // `write` reports no ends, and no line of a bench is a client that asks.
            PortEvent::Sent { .. } | PortEvent::NoAnswer { .. } | PortEvent::TimeOut => {}
            PortEvent::Woken => self.take_up_orders(on),
            PortEvent::Interrupted => return Ok(false),
        }
        Ok(true)
    }

    /// Lets the wires come up to now, one thing after the other: the octet that ends a request is handed
    /// on before what it changes is saved, which takes long enough for others to see a gap, and the
    /// answer to it after that.
    /// Gives the moment on the wall clock for which that was.
    pub(super) fn catch_up(&mut self, on: &mut dyn FnMut(Notice)) -> Instant {
        let begun = self.ports.now();
        let target = self.driven.target(begun);
        let mut last = None;
        loop {
            let (mut deliveries, at) = self.driven.turn(target, last);
            if let Some(ear) = self.ear {
                let heard: Vec<_> = deliveries.extract_if(.., |d| d.port == ear).collect();
                if !heard.is_empty() {
                    on(Notice::Heard(heard));
                }
            }
            if self.plan().pace == Pace::Fast {
                // Request and answer have the same time, and nobody judges gaps.
                self.save(on);
                self.write(&deliveries);
            } else {
                self.write(&deliveries);
                self.save(on);
            }
            self.serve_clients();
            let changed_at = self.tell_events(at, on).or(self.loop_changed_at.take());
            self.tell_power(changed_at, on);
            last = Some(at);
            let is_long = self.driven.may_run_long() && self.ports.now().since(begun) > SLICE;
            if at >= target || is_long {
                break;
            }
        }
        // Who has come as far as he should is not behind.
        let wall = if self.driven.time().at >= target { begun } else { self.ports.now() };
        self.driven.settle(wall);
        self.tell_done(on);
        begun
    }

    /// Does what others have ordered, one after the other, the wires up to now before each.
    fn take_up_orders(&mut self, on: &mut dyn FnMut(Notice)) {
        for _ in 0..MOST_ORDERS {
            let Some((order, reply)) = self.orders.as_ref().and_then(|o| o.try_recv().ok()) else { return };
            let wall = self.catch_up(on);
            self.driven.obey(wall, order, reply);
            self.tell_done(on);
        }
    }

    fn tell_done(&mut self, on: &mut dyn FnMut(Notice)) {
        for done in self.driven.take_done() {
            on(match done {
                Done::Time(time) => Notice::Time(time),
                Done::Changed { at, device, change } => {
                    self.loop_changed_at =
                        Some(at).filter(|_| change.reaches_the_loop()).or(self.loop_changed_at);
                    Notice::Ordered { at, device, change }
                }
                Done::Restored(snapshot) => {
                    self.ports.hang_up();
                    // What was on the wires then is not on those of the snapshot.
                    self.desk.give_up();
                    Notice::Restored(snapshot)
                }
            });
        }
    }

    /// Hands on what came out of the wires, in one piece for each port.
    fn write(&mut self, deliveries: &[line::Delivery]) {
        if deliveries.is_empty() {
            return;
        }
        for port in (0..self.places.len()).filter(|&p| !self.lost[p]) {
            let octets: Vec<u8> =
                deliveries.iter().filter(|d| d.port == port).map(|d| d.octet.value).collect();
            if !octets.is_empty() {
                // A port that is lost says so by its own event; octets that nobody takes are gone, as
                // on a wire.
                let _ = self.ports.write(port, &octets);
            }
        }
    }

    fn save(&mut self, on: &mut dyn FnMut(Notice)) {
        for (i, keeper) in self.keepers.iter_mut().enumerate() {
            let image = self
                .driven
                .bus_mut()
                .station_mut(i)
                .and_then(Participant::device_mut)
                .and_then(|d| d.device_mut().take_image());
            let (Some(path), Some(image)) = (&keeper.path, image) else { continue };
            match memory::save(path, &image) {
                Ok(()) => {
                    keeper.unsaved = None;
                    on(Notice::MemorySaved { device: i });
                }
                Err(error) => {
                    keeper.unsaved = Some(image);
                    on(Notice::MemoryNotSaved { device: i, error });
                }
            }
        }
    }
}

fn claimed(path: &Path) -> Result<Claim, Error> {
    let claim = memory::claim(path).map_err(Error::Memory)?;
    claim.ok_or_else(|| Error::MemoryInUse(path.to_path_buf()))
}
