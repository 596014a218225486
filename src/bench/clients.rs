//! Clients of HART-IP servers, between the ports of a running bench and its wires [IP-15].

use super::desk::{Client, ToDo, relay_for};
use super::driven::Driven;
use super::running::Bench;
use crate::device::{Behind, SubDevice};
use crate::frame::Frame;
use crate::ip::{Answer, Request, Ticket};
use crate::sim::{DeviceStation, Participant, RelayStation, Relayed};

impl Bench {
    /// A client of the server at this line wants something.
    pub(super) fn asked(&mut self, line: usize, ticket: Ticket, request: Request) {
        let client = Client { line, ticket };
        if !self.driven.joins_lines() {
            // Lines are cut off [BA-03].
            return self.ports.answer(line, ticket, Answer::Unavailable);
        }
        let todo = self.desk.asked(client, request, &Wires(&self.driven));
        self.do_it(todo);
    }

    /// A client of the server at this line does not wait any more.
    pub(super) fn forgotten(&mut self, line: usize, ticket: Ticket) {
        let Some(number) = self.desk.forgotten(Client { line, ticket }) else { return };
        self.forget(number);
    }

    /// Brings clients what has come of their requests, and what devices said unasked.
    pub(super) fn serve_clients(&mut self) {
        if self.is_of_a_fleet {
            // The fleet fetches it.
            return;
        }
        let (answers, bursts) = self.heard_for_clients();
        for (number, frame) in answers {
            if let Some(todo) = self.desk.answered(number, frame, &Wires(&self.driven)) {
                self.do_it(todo);
            }
        }
        bursts.iter().for_each(|burst| self.ports.publish(burst));
    }

    fn do_it(&mut self, todo: ToDo) {
        match todo {
            ToDo::Answer(client, answer) => self.ports.answer(client.line, client.ticket, answer),
            ToDo::Ask { number, frame, .. } => {
                if !self.ask(number, frame)
                    && let Some(ToDo::Answer(client, answer)) =
                        self.desk.answered(number, None, &Wires(&self.driven))
                {
                    self.ports.answer(client.line, client.ticket, answer);
                }
            }
        }
    }

    /// Asks this on the wires; false where nobody can.
    pub(super) fn ask(&mut self, number: u64, frame: Frame) -> bool {
        let there = self.driven.plan().relays();
        // The wires may not have come up to this moment yet.
        let now = self.driven.target(self.ports.now());
        let relay = relay_for(frame.address().master, &there).and_then(|n| self.relay(n));
        relay.map(|relay| relay.ask(now, number, frame)).is_some()
    }

    /// Nobody waits for the answer to this any more.
    pub(super) fn forget(&mut self, number: u64) {
        for n in 0..self.driven.plan().relays().len() {
            if let Some(relay) = self.relay(n) {
                relay.forget(number);
            }
        }
    }

    /// What became of what was asked on the wires, and what devices said unasked, since the last call.
    pub(super) fn heard_for_clients(&mut self) -> (Vec<Relayed>, Vec<Frame>) {
        let (mut answers, mut bursts) = (Vec::new(), Vec::new());
        for n in 0..self.driven.plan().relays().len() {
            if let Some(relay) = self.relay(n) {
                answers.append(&mut relay.take_answers());
                bursts.extend(relay.take_bursts());
            }
        }
        (answers, bursts)
    }

    /// One of the masters that ask for clients: they come behind the devices and the masters of the plan.
    fn relay(&mut self, n: usize) -> Option<&mut RelayStation> {
        let plan = self.driven.plan();
        let index = plan.devices.len() + plan.masters.len() + n;
        self.driven.bus_mut().station_mut(index).and_then(Participant::relay_mut)
    }
}

/// The devices of a bench, all on one channel.
struct Wires<'a>(&'a Driven);

impl Wires<'_> {
    fn devices(&self) -> impl Iterator<Item = &DeviceStation> {
        self.0.bus().stations().filter_map(Participant::device)
    }
}

impl Behind for Wires<'_> {
    fn count(&self) -> usize {
        self.devices().count()
    }

    fn nth(&self, index: usize) -> Option<SubDevice> {
        self.devices().nth(index).map(|s| SubDevice::of(s.device(), 0))
    }
}
