//! The gateway in front of a fleet: one HART-IP server, every loop a channel of it [IP-17].

use super::running::FleetError;
use crate::bench::desk::{Client, Desk, ToDo};
use crate::bench::places::{PortPlace, open_port, place};
use crate::bench::plan::BenchPlan;
use crate::bench::{Bench, Error, Notice};
use crate::device::{Behind, Gateway, GatewayConfig, SubDevice, name_asked_for};
use crate::frame::{Frame, Target, UniqueAddress};
use crate::line::io::{InterruptHandle, PortEvent, Ports};
use crate::time::Instant;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// Tells something, of a loop by its index, or of the lines in front of all.
type Told<'a> = dyn FnMut(Option<usize>, Notice) + 'a;

/// Loops behind one gateway.
pub(super) struct Front {
    ports: Ports,
    desk: Desk,
    places: Vec<PortPlace>,
    lost: Vec<bool>,
    loops: Vec<Bench>,
    /// On which loop a device is.
    by_address: BTreeMap<UniqueAddress, usize>,
    /// When each loop wants to go on, the first one first.
    waits: BTreeSet<(Instant, usize)>,
    wakes: Vec<Option<Instant>>,
    /// On which loop a request is.
    asked: BTreeMap<u64, usize>,
    /// Loops in which there is something to be done now.
    due: VecDeque<usize>,
}

/// The devices of the loops, each loop a channel.
struct Channels<'a>(&'a [Bench]);

impl Behind for Channels<'_> {
    fn count(&self) -> usize {
        self.channels() * self.devices_of_a_loop()
    }

    fn nth(&self, index: usize) -> Option<SubDevice> {
        let of_each = self.devices_of_a_loop().max(1);
        let channel = index / of_each;
        let device = self.0.get(channel)?.stations().nth(index % of_each)?;
        Some(SubDevice::of(device.device(), channel))
    }

    fn channels(&self) -> usize {
        self.0.len()
    }
}

impl Channels<'_> {
    fn devices_of_a_loop(&self) -> usize {
        self.0.first().map_or(0, |l| l.plan().devices.len())
    }
}

impl Front {
    /// Opens the gateway's lines and every loop behind it.
    pub(super) fn open(plan: &BenchPlan, gateway: GatewayConfig) -> Result<Front, FleetError> {
        let mut ports = Ports::new();
        let mut places = Vec::new();
        for line in &plan.lines {
            let port = open_port(&mut ports, &line.kind, plan.pace)
                .map_err(|e| FleetError { whose: None, error: Error::Port(e) })?;
            places.push(place(line, ports.path(port)));
        }
        let mut loops = Vec::with_capacity(plan.loops());
        let mut by_address = BTreeMap::new();
        for index in 0..plan.loops() {
            let own = plan.loop_plan(index);
            by_address.extend(own.devices.iter().map(|d| (d.config.identity.unique_address(), index)));
            let bench = Bench::open_with(own, ports.without_ports(), false);
            loops.push(bench.map_err(|error| FleetError::of(plan, index, error))?);
        }
        let gateway = Gateway::new(gateway);
        let own = gateway.unique_address();
        Ok(Front {
            desk: Desk::new(Some(gateway), own),
            lost: vec![false; places.len()],
            wakes: vec![None; loops.len()],
            due: (0..loops.len()).collect(),
            waits: BTreeSet::new(),
            asked: BTreeMap::new(),
            ports,
            places,
            loops,
            by_address,
        })
    }

    pub(super) fn places(&self) -> &[PortPlace] {
        &self.places
    }

    pub(super) fn loops(&self) -> &[Bench] {
        &self.loops
    }

    pub(super) fn interrupt_handle(&self) -> InterruptHandle {
        self.ports.interrupt_handle()
    }

    /// Runs until it is interrupted.
    pub(super) fn run(&mut self, on: &mut Told<'_>) -> Result<(), (Option<usize>, Error)> {
        for (i, bench) in self.loops.iter_mut().enumerate() {
            bench.begin(&mut |notice| on(Some(i), notice));
        }
        let mut ended = self.drive(on).map_err(|e| (None, e));
        for event in self.ports.end() {
            if let PortEvent::Peer { port, peer, news } = event {
                on(None, Notice::Peer { line: port, peer, news });
            }
        }
        for (i, bench) in self.loops.iter_mut().enumerate() {
            let saved = bench.end(Ok(()), &mut |notice| on(Some(i), notice));
            ended = ended.and(saved.map_err(|e| (Some(i), e)));
        }
        ended
    }

    fn drive(&mut self, on: &mut Told<'_>) -> Result<(), Error> {
        loop {
            let now = self.ports.now();
            while let Some(&(at, index)) = self.waits.first()
                && at <= now
            {
                self.waits.pop_first();
                self.wakes[index] = None;
                self.due.push_back(index);
            }
            while let Some(index) = self.due.pop_front() {
                self.go_on(index, on);
            }
            let wake = self.waits.first().map(|w| w.0);
            match self.ports.wait(wake) {
                PortEvent::Asked { port, ticket, request } => {
                    let client = Client { line: port, ticket };
                    let todo = self.desk.asked(client, request, &Channels(&self.loops));
                    self.do_it(todo, on);
                }
                PortEvent::Forgotten { port, ticket } => {
                    let number = self.desk.forgotten(Client { line: port, ticket });
                    if let Some((number, index)) = number.and_then(|n| Some((n, self.asked.remove(&n)?))) {
                        self.loops[index].forget(number);
                    }
                }
                PortEvent::Peer { port, peer, news } => on(None, Notice::Peer { line: port, peer, news }),
                PortEvent::Closed { port, error } => {
                    self.lost[port] = true;
                    on(None, Notice::PortLost { line: port, error: error.clone() });
                    if self.lost.iter().all(|&l| l) {
                        return Err(Error::NoPortLeft(error));
                    }
                }
                PortEvent::Interrupted => return Ok(()),
                // HART-IP servers, which are all that a gateway has, tell nothing else.
                _ => {}
            }
        }
    }

    /// Lets a loop come up to now, and brings what came of requests there to whoever asked.
    fn go_on(&mut self, index: usize, on: &mut Told<'_>) {
        let bench = &mut self.loops[index];
        bench.catch_up(&mut |notice| on(Some(index), notice));
        let (answers, bursts) = bench.heard_for_clients();
        let wake = bench.driven.wake_at(self.ports.now());
        if let Some(before) = std::mem::replace(&mut self.wakes[index], wake) {
            self.waits.remove(&(before, index));
        }
        self.waits.extend(wake.map(|at| (at, index)));
        for (number, frame) in answers {
            self.asked.remove(&number);
            if let Some(todo) = self.desk.answered(number, frame, &Channels(&self.loops)) {
                self.do_it(todo, on);
            }
        }
        bursts.iter().for_each(|burst| self.ports.publish(burst));
    }

    fn do_it(&mut self, todo: ToDo, on: &mut Told<'_>) {
        let mut next = Some(todo);
        while let Some(todo) = next.take() {
            match todo {
                ToDo::Answer(client, answer) => self.ports.answer(client.line, client.ticket, answer),
                ToDo::Ask { number, frame, channel } => {
                    let index = channel.or_else(|| self.whose(&frame)).filter(|i| *i < self.loops.len());
                    let asked = index.is_some_and(|index| {
                        // Its wires have been still since it was last looked at: they are asked now.
                        self.loops[index].catch_up(&mut |notice| on(Some(index), notice));
                        self.due.push_back(index);
                        self.asked.insert(number, index);
                        self.loops[index].ask(number, frame)
                    });
                    if !asked {
                        self.asked.remove(&number);
                        next = self.desk.answered(number, None, &Channels(&self.loops));
                    }
                }
            }
        }
    }

    /// The loop of the device that a frame is for: by its unique address, or by the tag that all are asked for.
    fn whose(&self, frame: &Frame) -> Option<usize> {
        match frame.address().target {
            Target::Unique(u) if !u.is_broadcast() => self.by_address.get(&u).copied(),
            Target::Unique(_) => {
                let name = name_asked_for(frame)?;
                let is_it = |bench: &Bench| {
                    bench.stations().map(|s| s.device()).any(|d| match frame.command() {
                        11 => d.tag() == name,
                        _ => d.long_tag() == name,
                    })
                };
                self.loops.iter().position(is_it)
            }
            Target::Polling(_) => None,
        }
    }
}
