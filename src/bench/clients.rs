//! Clients of HART-IP servers, between the ports of a running bench and its wires [IP-15].

use super::desk::{Client, ToDo, relay_for};
use super::running::Bench;
use crate::device::SubDevice;
use crate::ip::{Answer, Request, Ticket};
use crate::sim::{Participant, RelayStation};
use crate::time::Instant;

impl Bench {
    /// A client of the server at this line wants something.
    pub(super) fn asked(&mut self, line: usize, ticket: Ticket, request: Request) {
        let client = Client { line, ticket };
        if !self.driven.joins_lines() {
            // Lines are cut off [BA-03].
            return self.ports.answer(line, ticket, Answer::Unavailable);
        }
        let behind = self.behind();
        let todo = self.desk.asked(client, request, &behind);
        // The wires have not come up to this moment yet.
        let now = self.driven.target(self.ports.now());
        self.do_it(todo, now);
    }

    /// A client of the server at this line does not wait any more.
    pub(super) fn forgotten(&mut self, line: usize, ticket: Ticket) {
        let Some(number) = self.desk.forgotten(Client { line, ticket }) else { return };
        for n in 0..self.driven.plan().relays().len() {
            if let Some(relay) = self.relay(n) {
                relay.forget(number);
            }
        }
    }

    /// Brings clients what has come of their requests, and what devices said unasked.
    pub(super) fn serve_clients(&mut self) {
        let relays = self.driven.plan().relays().len();
        for n in 0..relays {
            let Some(relay) = self.relay(n) else { continue };
            let (answers, bursts) = (relay.take_answers(), relay.take_bursts());
            for (number, frame) in answers {
                let behind = self.behind();
                if let Some(todo) = self.desk.answered(number, frame, &behind) {
                    let now = self.driven.time().at;
                    self.do_it(todo, now);
                }
            }
            bursts.iter().for_each(|burst| self.ports.publish(burst));
        }
    }

    /// What is asked is on the wires from the bench time `now` on.
    fn do_it(&mut self, todo: ToDo, now: Instant) {
        match todo {
            ToDo::Answer(client, answer) => self.ports.answer(client.line, client.ticket, answer),
            ToDo::Ask { number, frame } => {
                let there = self.driven.plan().relays();
                let relay = relay_for(frame.address().master, &there).and_then(|n| self.relay(n));
                match relay {
                    Some(relay) => relay.ask(now, number, frame),
                    None => {
                        if let Some(ToDo::Answer(client, answer)) = self.desk.answered(number, None, &[]) {
                            self.ports.answer(client.line, client.ticket, answer);
                        }
                    }
                }
            }
        }
    }

    /// What the gateway knows of the devices; nothing where there is none.
    fn behind(&self) -> Vec<SubDevice> {
        match self.driven.plan().gateway {
            Some(_) => self.stations().map(|s| SubDevice::of(s.device())).collect(),
            None => Vec::new(),
        }
    }

    /// One of the masters that ask for clients: they come behind the devices and the masters of the plan.
    fn relay(&mut self, n: usize) -> Option<&mut RelayStation> {
        let plan = self.driven.plan();
        let index = plan.devices.len() + plan.masters.len() + n;
        self.driven.bus_mut().station_mut(index).and_then(Participant::relay_mut)
    }
}
