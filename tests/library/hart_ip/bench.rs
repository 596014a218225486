//! Clients, server, desk and the wires of a bench on one virtual clock: all but sockets.

use super::{bytes, message, tcp};
use crate::support::octets;
use bytes::Bytes;
use looprig::bench::desk::{self, Desk, ToDo, relay_for};
use looprig::bench::{BenchPlan, LineKind, check, world};
use looprig::device::{Gateway, SubDevice};
use looprig::frame::{Address, Frame, Master, PollingAddress, Target, UniqueAddress};
use looprig::ip::{Content, DirectPdu, Message, Peer, Server, ServerOutput, Type};
use looprig::sim::{Participant, World};
use looprig::time::Instant;
use std::path::Path;
use std::time::Duration;

/// [IP-15]: a request that comes while the wires are behind, as after a long silence, is on them when it came, not before: its
/// answer takes the time that the wire takes.
#[test]
fn no_request_is_on_the_wires_before_it_came() {
    let mut rig = Rig::new(TWO);
    let relay = rig.plan.devices.len();
    let to = Address::new(Master::Primary, Target::Polling(PollingAddress::default()));
    let frame = Frame::request(to, 0, vec![]).unwrap();
    let at = |ms: u64| Instant::from_nanos(ms * 1_000_000);
    let ask = rig.world.bus_mut().station_mut(relay).and_then(Participant::relay_mut).unwrap();
    ask.ask(at(5000), 1, frame);
    let mut answered = |until: u64| {
        rig.world.run_until(at(until), &mut Vec::new());
        rig.world.bus_mut().station_mut(relay).and_then(Participant::relay_mut).unwrap().take_answers().len()
    };
    // Others are looked after meanwhile. 14 octets of the request and the shortest answer, 40, are more than 300 ms.
    assert_eq!((answered(1000), answered(2000), answered(5000), answered(5300)), (0, 0, 0, 0));
    assert_eq!(answered(6000), 1);
}

const TWO: &str = r#"
[[device]]
tag = "FV-3104"
long_tag = "Brackenmoor filter 4"
[[device]]
tag = "TT-3107"
kind = "temperature"
polling_address = 3
device_id = 7
[[line]]
at = "hart-ip:"
"#;

struct Rig {
    plan: BenchPlan,
    world: World,
    server: Server,
    desk: Desk,
    now: Instant,
    sent: Vec<(Peer, Message)>,
}

impl Rig {
    fn new(text: &str) -> Rig {
        let plan = check(text, Path::new("bench.toml")).unwrap_or_else(|e| panic!("{e}"));
        let LineKind::HartIp(line) = &plan.lines[0].kind else { panic!("{:?}", plan.lines[0]) };
        let server = Server::new(line.config(5094, 0));
        let (world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
        let first = plan.devices[0].config.identity.unique_address();
        let desk = Desk::new(plan.gateway.clone().map(Gateway::new), first);
        Rig { plan, world, server, desk, now: Instant::ZERO, sent: Vec::new() }
    }

    fn says(&mut self, from: Peer, octets: &Bytes) {
        match from.stream {
            None => self.server.datagram(self.now, from, octets),
            Some(_) => self.server.stream(self.now, from, octets),
        }
        self.outputs();
    }

    fn behind(&self) -> Vec<SubDevice> {
        let devices = self.world.bus().stations().filter_map(Participant::device);
        devices.map(|s| SubDevice::of(s.device(), 0)).collect()
    }

    fn outputs(&mut self) {
        while let Some(output) = self.server.poll_output() {
            match output {
                ServerOutput::Send { to, octets } => self.sent.push((to, message(&octets))),
                ServerOutput::Ask { ticket, request } => {
                    let client = desk::Client { line: 0, ticket };
                    let behind = self.behind();
                    let todo = self.desk.asked(client, request, &behind);
                    self.do_it(todo);
                }
                ServerOutput::Forget(ticket) => {
                    self.desk.forgotten(desk::Client { line: 0, ticket });
                }
                ServerOutput::Close(_) | ServerOutput::News { .. } => {}
            }
        }
    }

    fn do_it(&mut self, todo: ToDo) {
        match todo {
            ToDo::Answer(client, answer) => self.server.answer(self.now, client.ticket, answer),
            ToDo::Ask { number, frame, .. } => {
                let n = relay_for(frame.address().master, &self.plan.relays()).expect("somebody asks");
                let at = self.plan.devices.len() + self.plan.masters.len() + n;
                let relay = self.world.bus_mut().station_mut(at).and_then(Participant::relay_mut);
                relay.expect("a relay").ask(self.now, number, frame);
            }
        }
    }

    /// Lets time pass until so many messages have been sent, at most so long.
    fn until_sent(&mut self, count: usize, at_most: Duration) -> Vec<(Peer, Message)> {
        let end = self.now + at_most;
        while self.sent.len() < count && self.now < end {
            self.now = self
                .world
                .bus_mut()
                .next_at()
                .map_or(end, |t| t.max(self.now + Duration::from_micros(1)))
                .min(end);
            self.world.run_until(self.now, &mut Vec::new());
            for n in 0..self.plan.relays().len() {
                let at = self.plan.devices.len() + self.plan.masters.len() + n;
                let relay =
                    self.world.bus_mut().station_mut(at).and_then(Participant::relay_mut).expect("a relay");
                let (answers, bursts) = (relay.take_answers(), relay.take_bursts());
                for (number, frame) in answers {
                    let behind = self.behind();
                    if let Some(todo) = self.desk.answered(number, frame, &behind) {
                        self.do_it(todo);
                    }
                }
                bursts.iter().for_each(|b| self.server.publish(b));
            }
            self.server.handle_timeout(self.now);
            self.outputs();
        }
        std::mem::take(&mut self.sent)
    }

    fn open(&mut self, peer: Peer) {
        if peer.stream.is_some() {
            assert!(self.server.stream_opened(self.now, peer));
        }
        self.says(peer, &bytes("01 00 00 00 00 01 00 0d 00 00 09 27 c0"));
        assert_eq!(std::mem::take(&mut self.sent)[0].1.status, 0);
    }

    /// The answer to one frame of a client.
    fn asks(&mut self, peer: Peer, sequence: u16, frame: &Frame) -> Message {
        let m =
            Message::new(Type::Request, looprig::ip::Id::TokenPdu, sequence, frame.encode()).expect("short");
        self.says(peer, &m.encode());
        let sent = self.until_sent(1, Duration::from_secs(20));
        assert!(!sent.is_empty(), "{:?}: nothing for {frame:?}", self.now);
        assert_eq!((sent.len(), sent[0].0, sent[0].1.sequence), (1, peer, sequence), "{sent:?}");
        sent[0].1.clone()
    }
}

fn frame_of(m: &Message) -> Frame {
    assert_eq!((m.kind.kind(), m.status), (Type::Response, 0), "{m}");
    match m.content() {
        Content::Frame { octets, .. } => Frame::parse(&octets).unwrap_or_else(|e| panic!("{m}: {e}")),
        other => panic!("{other:?}"),
    }
}

fn poll(master: Master, n: u8) -> Frame {
    let to = Target::Polling(PollingAddress::new(n).expect("an address"));
    Frame::request(Address::new(master, to), 0, vec![]).expect("a short frame")
}

fn ask(master: Master, to: UniqueAddress, command: u8, data: &[u8]) -> Frame {
    Frame::request(Address::new(master, Target::Unique(to)), command, data.to_vec()).expect("a short frame")
}

/// Two devices on the wires at wire pace: found by polling, read by their unique addresses, by UDP and TCP, by primary and
/// secondary masters; each answer has the master's bit of its request. Polling address 1 has nobody:
/// the communication error of [IP-08], or a NAK where the bench file says so.
#[test]
fn devices_answer_through_the_server() {
    for nobody in ["", "nobody = \"nak\"\n"] {
        devices_answer(&format!("{TWO}{nobody}"), nobody.is_empty());
    }
}

fn devices_answer(text: &str, as_a_frame: bool) {
    let mut rig = Rig::new(text);
    let peers = [super::udp(1), tcp(2)];
    peers.into_iter().for_each(|p| rig.open(p));
    for (n, peer) in peers.into_iter().enumerate() {
        let master = [Master::Primary, Master::Secondary][n];
        for (device, polling) in [(0, 0), (1, 3)] {
            let found = frame_of(&rig.asks(peer, 2, &poll(master, polling)));
            assert_eq!((found.address().master, found.data()[0]), (master, 254));
            let unique = rig.plan.devices[device].config.identity.unique_address();
            assert_eq!(found.data()[9..12], unique.octets()[2..]);
            let read = frame_of(&rig.asks(peer, 3, &ask(master, unique, 3, &[])));
            assert_eq!((read.command(), read.address()), (3, Address::new(master, Target::Unique(unique))));
        }
        let nobody = rig.asks(peer, 9, &poll(master, 1));
        match as_a_frame {
            true => assert_eq!(frame_of(&nobody).status(), Some([0x84, 0])),
            false => assert_eq!((nobody.kind.kind(), nobody.status), (Type::Nak, 6)),
        }
    }
}

/// Requests of many clients at once: each is answered, to the client that asked, with its sequence number.
#[test]
fn many_clients_at_once() {
    let mut rig = Rig::new(&format!("pace = \"fast\"\n{TWO}"));
    let peers: Vec<Peer> = (0..30).map(|n| if n % 2 == 0 { super::udp(n) } else { tcp(n) }).collect();
    peers.iter().for_each(|p| rig.open(*p));
    for (n, peer) in peers.iter().enumerate() {
        let master = if n % 3 == 0 { Master::Primary } else { Master::Secondary };
        for k in 0..4 {
            let m = Message::new(
                Type::Request,
                looprig::ip::Id::TokenPdu,
                100 + n as u16 * 4 + k,
                poll(master, if k % 2 == 0 { 0 } else { 3 }).encode(),
            );
            rig.says(*peer, &m.expect("short").encode());
        }
    }
    let mut sent = rig.until_sent(120, Duration::from_secs(60));
    sent.sort_by_key(|(_, m)| m.sequence);
    let got: Vec<(Peer, u16)> = sent.iter().map(|(p, m)| (*p, m.sequence)).collect();
    let due: Vec<(Peer, u16)> = (0..120).map(|n| (peers[usize::from(n) / 4], 100 + n)).collect();
    assert_eq!(got, due);
    assert!(sent.iter().all(|(_, m)| frame_of(m).data()[0] == 254));
    assert_eq!(rig.desk.waiting(), 0);
}

/// A direct PDU is for the first device: commands 20 and 0 at once [IP-09].
#[test]
fn direct_pdus_reach_the_first_device() {
    let mut rig = Rig::new(TWO);
    rig.open(super::udp(1));
    rig.says(super::udp(1), &bytes("01 00 04 00 00 04 00 10 00 00 00 14 00 00 00 00"));
    let sent = rig.until_sent(1, Duration::from_secs(20));
    let pdu = DirectPdu::decode(sent[0].1.body()).expect("a direct PDU");
    let codes: Vec<(u16, Option<u8>)> =
        pdu.commands.iter().map(|c| (c.number, c.response().map(|r| r.0))).collect();
    assert_eq!(codes, [(20, Some(0)), (0, Some(0))]);
    assert!(pdu.commands[0].data()[1..].starts_with(b"Brackenmoor filter 4"));
}

/// Bursts of a device come to a client that asks nothing.
#[test]
fn bursts_are_published() {
    let bursting = TWO.replace(
        "[[device]]\ntag = \"TT",
        "[[device.burst]]\ncommand = 3\nupdate_period_s = 1\n[[device]]\ntag = \"TT",
    );
    let mut rig = Rig::new(&bursting);
    rig.open(super::udp(1));
    let sent = rig.until_sent(3, Duration::from_secs(20));
    let kinds: Vec<(Type, u16)> = sent.iter().map(|(_, m)| (m.kind.kind(), m.sequence)).collect();
    assert_eq!(kinds, [(Type::Publish, 1), (Type::Publish, 2), (Type::Publish, 3)]);
    assert!(sent.iter().all(|(_, m)| m.body()[0] == 0x81));
}

/// The devices behind a gateway: found by 74, 84 and 75, asked by 77 and by their own addresses [IP-16].
#[test]
fn a_gateway_has_devices_behind_it() {
    let mut rig = Rig::new(&format!("{TWO}[gateway]\nlong_tag = \"Brackenmoor gateway\"\n"));
    let peer = super::udp(1);
    rig.open(peer);
    let own = frame_of(&rig.asks(peer, 1, &poll(Master::Primary, 0)));
    assert_eq!((own.data()[1..3].to_vec(), own.data()[21]), (vec![0xFD, 0x84], 132));
    let gateway = Gateway::new(rig.plan.gateway.clone().expect("a gateway")).unique_address();
    let counted = frame_of(&rig.asks(peer, 2, &ask(Master::Primary, gateway, 74, &[])));
    assert_eq!(counted.data()[3..5], [0, 3]);
    let second = frame_of(&rig.asks(peer, 3, &ask(Master::Primary, gateway, 84, &[0, 2])));
    let unique = rig.plan.devices[1].config.identity.unique_address();
    assert_eq!(second.data()[8..11], unique.octets()[2..]);
    let polled = frame_of(&rig.asks(peer, 4, &ask(Master::Primary, gateway, 75, &[0, 0, 3])));
    assert_eq!((polled.data()[0], polled.data()[9..12].to_vec()), (254, unique.octets()[2..].to_vec()));
    let address = unique.octets();
    let carry = [&[0, 0, 5, 0x82][..], &address, &[13, 0]].concat();
    let carried = frame_of(&rig.asks(peer, 5, &ask(Master::Primary, gateway, 77, &carry)));
    // Card, channel, delimiter 86, address, command 13, byte count 23, two status octets, 21 of data [CM-077] [CM-013].
    assert_eq!(
        (carried.data()[2], carried.data()[8], carried.data()[9], carried.data().len()),
        (0x86, 13, 23, 33)
    );
    // "TT-3107" in packed form: T 14, T 14, - 2D, 3 33, 1 31, 0 30, 7 37, blank 20 [TY-04].
    assert_eq!(carried.data()[12..18], octets("51 4B 73 C7 0D E0"));
    let direct = frame_of(&rig.asks(peer, 6, &ask(Master::Primary, unique, 13, &[])));
    assert_eq!(direct.data()[..6], carried.data()[12..18]);
    let nobody = frame_of(&rig.asks(peer, 7, &ask(Master::Primary, gateway, 75, &[0, 0, 9])));
    assert_eq!(nobody.status(), Some([9, 0]));
}

/// The bench file of the gateway: its tags are written here a second time, by hand.
#[test]
fn the_gateway_of_the_fixtures() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/benches/hart-ip-gateway.toml");
    let mut rig = Rig::new(&std::fs::read_to_string(path).expect("the bench file"));
    let peer = tcp(1);
    rig.open(peer);
    let gateway = Gateway::new(rig.plan.gateway.clone().expect("a gateway")).unique_address();
    let tags = ["filter gateway", "filter 4 outlet", "filter 5 outlet", "filter 4 inlet"];
    for (n, tag) in tags.into_iter().enumerate() {
        let asked = ask(Master::Secondary, gateway, 84, &[0, n as u8]);
        let known = frame_of(&rig.asks(peer, n as u16, &asked));
        let long_tag = format!("Brackenmoor {tag}");
        assert!(known.data()[12..].starts_with(long_tag.as_bytes()), "{n}");
        // What the device itself says, carried by 77; the gateway is asked directly.
        if n > 0 {
            let mut address = known.data()[6..11].to_vec();
            address[0] &= 0x3F;
            let carry = [&[0, 0, 5, 0x82][..], &address, &[20, 0]].concat();
            let asked = ask(Master::Secondary, gateway, 77, &carry);
            let carried = frame_of(&rig.asks(peer, 100 + n as u16, &asked));
            assert!(carried.data()[12..].starts_with(long_tag.as_bytes()), "{n}");
        }
    }
}

/// With a primary master of the bench the secondary one asks for all, and the answer has the bit of the request.
#[test]
fn a_master_of_the_bench_goes_on() {
    let text = format!("{TWO}[[master]]\nasks = [{{ device = 0, command = 3, every_s = 2 }}]\n");
    let mut rig = Rig::new(&text);
    assert_eq!(rig.plan.relays(), [Master::Secondary]);
    rig.open(super::udp(1));
    for n in 0..5 {
        let found = frame_of(&rig.asks(super::udp(1), n, &poll(Master::Primary, 3)));
        assert_eq!(found.address().master, Master::Primary);
    }
    let tally = rig.world.bus().stations().find_map(Participant::master).expect("a master").tally();
    assert!(tally.answered > 0 && tally.unanswered == 0, "{tally:?}");
}

/// What a bench file cannot say.
#[test]
fn benches_that_cannot_be() {
    let masters = "[[master]]\nasks = [{ device = 0, command = 3 }]\n[[master]]\nrole = \"secondary\"\nasks = [{ device = 0, command = 3 }]\n";
    for (text, said) in [
        (format!("{TWO}{masters}"), "none is left to ask"),
        (format!("{TWO}sessions = 1025\n"), "1 to 1024"),
        (format!("{TWO}nobody = \"silence\"\n"), "communication_error"),
        (format!("{TWO}session_masters = \"all\"\n"), "give one of both, primary"),
        (format!("{TWO}[gateway]\ntag = \"much too long\"\n"), "this tag cannot be"),
        (TWO.replace("hart-ip:", "pty:") + "sessions = 3\n", "HART-IP servers"),
        (TWO.replace("hart-ip:", "pty:") + "[gateway]\n", "add a [[line]]"),
        (TWO.replace("hart-ip:", "hart-ip:x:y"), "is no port"),
        (format!("{TWO}[[line]]\nat = \"hart-ip:127.0.0.1\"\n"), "two lines are at"),
    ] {
        let e = check(&text, Path::new("bench.toml")).expect_err(said).to_string();
        assert!(e.contains(said), "{e}");
    }
}
