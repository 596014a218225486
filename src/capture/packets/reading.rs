//! A capture of a network to what passed in it: messages of HART-IP, and the octets of a line where looprig wrote it.

use super::super::log::{Direction, LineError, LogLine};
use super::super::reader::{Captured, Fault, Problem};
use super::super::{LOG_VERSION, is_messages};
use super::file::{Found, Packet, PacketFile, is_known};
use super::network::{Pass, Segment, Transport, dissect};
use super::own::{Own, OwnFault};
use super::streams::{Out, Streams, TcpSegment};
use crate::ip::{Message, PORT, Side};
use crate::time::Instant;
use bytes::Bytes;
use core::time::Duration;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::io::{self, BufRead};
use std::net::{IpAddr, SocketAddr};

/// Pairs of client and server that have a number; when there are more, the numbers begin anew behind the last.
const MOST_FLOWS: usize = 4096;
/// Link types that are told once each.
const MOST_LINKS: usize = 16;

/// Octets of HART-IP on their way: a datagram, or a message of a stream.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passing {
    /// When, since [`PacketReader::zero_ns`].
    pub at: Instant,
    /// The same number for all that pass between one client and one server.
    pub flow: u64,
    /// Whence.
    pub from: SocketAddr,
    /// Whither.
    pub to: SocketAddr,
    /// By TCP; else by UDP.
    pub tcp: bool,
    /// One message or several.
    pub octets: Bytes,
}

/// Reads a capture; never holds more than one block and what of streams of TCP waits for its turn.
#[derive(Debug)]
pub struct PacketReader {
    file: PacketFile,
    streams: Streams,
    /// Interfaces of the section whose octets stand in blocks of ours: their packets say the same again.
    own: BTreeSet<u32>,
    links: BTreeSet<u32>,
    flows: BTreeMap<(SocketAddr, IpAddr, bool), u64>,
    flows_numbered: u64,
    zero_ns: Option<u64>,
    last_ns: u64,
    /// Packets that hold something else than HART-IP.
    others: u64,
    /// Packets that looprig made of a wire, without the blocks that belong to them.
    stripped: bool,
    newer: bool,
    side: (Option<Direction>, Option<Duration>),
    ready: VecDeque<Captured>,
    ended: bool,
}

impl Default for PacketReader {
    fn default() -> Self {
        PacketReader::new()
    }
}

impl PacketReader {
    /// A reader at the beginning of a file.
    pub fn new() -> Self {
        PacketReader {
            file: PacketFile::new(),
            streams: Streams::default(),
            own: BTreeSet::new(),
            links: BTreeSet::new(),
            flows: BTreeMap::new(),
            flows_numbered: 0,
            zero_ns: None,
            last_ns: 0,
            others: 0,
            stripped: false,
            newer: false,
            side: (None, None),
            ready: VecDeque::new(),
            ended: false,
        }
    }

    /// Nanoseconds from 1970 to the first packet, which is time 0 of all; `None` before it.
    pub fn zero_ns(&self) -> Option<u64> {
        self.zero_ns
    }

    /// How many packets were passed over because they hold something else than HART-IP.
    pub fn others(&self) -> u64 {
        self.others
    }

    /// Whether looprig made packets of it from a wire, and another program has dropped the blocks with the rest of that wire
    /// since [PC-04].
    pub fn is_stripped(&self) -> bool {
        self.stripped
    }

    /// The number of the block or packet that was read last, from 1.
    pub fn block(&self) -> u64 {
        self.file.place().0
    }

    /// Direction of the octets that were read last, and the idle time before them, as a log has them.
    pub fn side(&self) -> (Option<Direction>, Option<Duration>) {
        self.side
    }

    /// The next thing; `None` at the end.
    ///
    /// # Errors
    /// The input cannot be read.
    pub fn next(&mut self, input: &mut impl BufRead) -> io::Result<Option<Captured>> {
        loop {
            if let Some(ready) = self.ready.pop_front() {
                return Ok(Some(ready));
            }
            if self.ended {
                return Ok(None);
            }
            match self.file.next(input)? {
                Some(found) => self.take(found),
                None => {
                    self.ended = true;
                    let mut out = Vec::new();
                    self.streams.finish(&mut out);
                    for (from, to, what) in out {
                        self.came(from, to, true, what);
                    }
                }
            }
        }
    }

    fn problem(&mut self, fault: Fault) {
        let (line, octet) = self.file.place();
        self.ready.push_back(Captured::Problem(Problem { line, octet: Some(octet), fault }));
    }

    fn take(&mut self, found: Found) {
        match found {
            Found::Section => {
                self.own.clear();
                self.newer = false;
            }
            Found::Packet(packet) => self.packet(&packet),
            Found::Own(Ok((interface, own))) => self.own(interface, own),
            Found::Own(Err(OwnFault::Line(LineError::Version(version)))) => {
                self.newer = true;
                self.problem(Fault::Newer { version });
            }
            Found::Own(Err(fault)) => self.problem(Fault::Line(match fault {
                OwnFault::Layout(n) => format!("it is a block of layout {n} of a newer looprig"),
                OwnFault::Cut => "it is a block of looprig that is cut short".into(),
                OwnFault::Line(e) => e.to_string(),
            })),
            Found::Skipped(why) => self.problem(Fault::Line(why)),
            Found::Cut => self.problem(Fault::CaptureCut),
            Found::Lost(why) => self.problem(Fault::Lost(why)),
        }
    }

    fn own(&mut self, interface: u32, own: Own) {
        // Its section describes that interface, so there are no more of them than a section has interfaces.
        self.own.insert(interface);
        match own {
            Own::Line(LogLine::Header(header)) if header.looprig_log > LOG_VERSION => {
                self.newer = true;
                self.problem(Fault::Newer { version: header.looprig_log });
            }
            Own::Line(LogLine::Header(header)) => {
                self.newer = false;
                self.ready.push_back(Captured::Start(header));
            }
            _ if self.newer => {}
            Own::Line(LogLine::Record(record)) => {
                self.side = (record.direction, record.gap_before);
                self.ready.push_back(Captured::Octets(record.octets));
            }
            Own::Line(LogLine::Remark(remark)) => self.ready.push_back(Captured::Remark(remark)),
            Own::Break => self.ready.push_back(Captured::Break),
        }
    }

    fn packet(&mut self, packet: &Packet) {
        if self.own.contains(&packet.interface) {
            return;
        }
        // A block of ours stands before the first packet of its interface.
        if packet.of_wire && !std::mem::replace(&mut self.stripped, true) {
            self.problem(Fault::Stripped);
        }
        let at_ns = packet.at_ns.unwrap_or(self.last_ns);
        self.last_ns = at_ns;
        let segment = match dissect(packet.link, &packet.octets) {
            Ok(segment) => segment,
            Err(Pass::Other) => {
                self.others += 1;
                return;
            }
            Err(Pass::Unread(why)) => return self.problem(Fault::Line(why)),
            Err(Pass::Link(link)) => {
                self.others += 1;
                if is_known(link) && self.links.len() < MOST_LINKS && self.links.insert(link) {
                    let why = format!(
                        "it is of link type {link}, and this version reads Ethernet, raw IP, loopback and Linux cooked packets; others of that type are not told"
                    );
                    self.problem(Fault::Line(why));
                }
                return;
            }
        };
        let Segment { from, to, transport, payload, missing } = segment;
        if let Transport::Tcp { sequence, begins, ends } = transport {
            let mut out = Vec::new();
            let segment = TcpSegment { from, to, sequence, begins, ends, payload, missing };
            self.streams.push(segment, &mut out);
            for (from, to, what) in out {
                self.came(from, to, true, what);
            }
            return;
        }
        // A server may answer from another port than it was asked at [IP-01].
        let is_ours = from.port() == PORT || to.port() == PORT;
        if payload.is_empty() && missing == 0 || !is_ours && !is_messages(payload) {
            self.others += 1;
            return;
        }
        if missing > 0 {
            self.problem(Fault::Line(format!(
                "the capture has only a part of it, {missing} octets are missing: capture whole packets"
            )));
        }
        if !payload.is_empty() {
            self.came(from, to, false, Out::Octets(Bytes::copy_from_slice(payload)));
        }
    }

    fn came(&mut self, from: SocketAddr, to: SocketAddr, tcp: bool, what: Out) {
        match what {
            Out::Gap(why) => self.problem(Fault::Stream(format!("from {from} to {to}: {why}"))),
            Out::Octets(octets) => {
                let zero = *self.zero_ns.get_or_insert(self.last_ns);
                let at = Instant::from_nanos(self.last_ns.saturating_sub(zero));
                let flow = self.flow(from, to, tcp, &octets);
                self.ready.push_back(Captured::Messages(Passing { at, flow, from, to, tcp, octets }));
            }
        }
    }

    fn flow(&mut self, from: SocketAddr, to: SocketAddr, tcp: bool, octets: &[u8]) -> u64 {
        let asks = match Message::header(octets) {
            Some((message, _)) => message.side() == Side::Client,
            None => to.port() == PORT,
        };
        // The server's port may change, not its address.
        let key = if asks { (from, to.ip(), tcp) } else { (to, from.ip(), tcp) };
        if let Some(flow) = self.flows.get(&key) {
            return *flow;
        }
        if self.flows.len() >= MOST_FLOWS {
            self.flows.clear();
        }
        self.flows_numbered += 1;
        self.flows.insert(key, self.flows_numbered);
        self.flows_numbered
    }
}
