//! One session.

use super::{Limits, Peer, Ticket};
use crate::frame::Master;
use crate::ip::audit::AuditRecord;
use crate::ip::body::Initiate;
use crate::ip::message::Message;
use crate::time::Instant;
use bytes::Bytes;
use core::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use core::time::Duration;
use std::collections::VecDeque;

/// How long the answer to a request that changes something is remembered for a repeat of it: longer than our own client
/// repeats, and than it waits [IP-12].
const CHANGE: Duration = Duration::from_secs(12);
/// The same of one that changes nothing: longer, and a client that never counts would get old values.
const READING: Duration = Duration::from_secs(3);

/// How a session ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// Its client closed it.
    Closed,
    /// Somebody else ended it.
    Aborted,
    /// Its inactivity timer ran out.
    TimedOut,
}

/// A request that was asked before.
pub(super) enum Open {
    /// It was answered with this.
    Answered(Bytes),
    /// Its answer is not there yet.
    UnderWay,
}

/// A request that was answered.
#[derive(Clone, Debug)]
struct Answered {
    request: Message,
    reply: Bytes,
    at: Instant,
    changes: bool,
}

impl Answered {
    fn until(&self) -> Instant {
        self.at + if self.changes { CHANGE } else { READING }
    }

    fn octets(&self) -> usize {
        self.request.body().len() + self.reply.len()
    }
}

#[derive(Clone, Debug)]
pub(super) struct Session {
    /// No two sessions of a server have the same.
    pub number: u64,
    initiate: Initiate,
    began: Instant,
    heard: Instant,
    /// Requests without an answer yet.
    under_way: Vec<(Ticket, Message)>,
    /// What was answered lately, oldest first.
    answered: VecDeque<Answered>,
    requests: u32,
    responses: u32,
    published: u32,
    publications: u16,
}

impl Session {
    pub fn new(number: u64, initiate: Initiate, now: Instant) -> Session {
        Session {
            number,
            initiate,
            began: now,
            heard: now,
            under_way: Vec::new(),
            answered: VecDeque::new(),
            requests: 0,
            responses: 0,
            published: 0,
            publications: 0,
        }
    }

    pub fn is_primary(&self) -> bool {
        self.initiate.master_type == 1
    }

    pub fn master(&self) -> Master {
        if self.is_primary() { Master::Primary } else { Master::Secondary }
    }

    /// Something came in it.
    pub fn heard(&mut self, now: Instant) {
        self.heard = now;
    }

    /// When its inactivity timer runs out.
    pub fn ends_at(&self) -> Instant {
        self.heard + Duration::from_millis(self.initiate.inactivity_ms.into())
    }

    /// How many requests wait.
    pub fn waiting(&self) -> usize {
        self.under_way.len()
    }

    /// Whether this very message was asked before, as far as that is remembered.
    pub fn before(&self, now: Instant, m: &Message) -> Option<Open> {
        if self.under_way.iter().any(|(_, other)| other == m) {
            return Some(Open::UnderWay);
        }
        let before = self.answered.iter().rev().find(|a| a.request == *m && now < a.until())?;
        Some(Open::Answered(before.reply.clone()))
    }

    /// A request of it waits from now on.
    pub fn asks(&mut self, ticket: Ticket, m: &Message) {
        self.requests = self.requests.saturating_add(1);
        // Its number is in use again: no repeat of what had it before will come.
        self.answered.retain(|a| a.request.sequence != m.sequence);
        self.under_way.push((ticket, m.clone()));
    }

    /// It was answered.
    pub fn answered(&mut self, ticket: Ticket) {
        self.responses = self.responses.saturating_add(1);
        self.under_way.retain(|(t, _)| *t != ticket);
    }

    /// Keeps an answer that may be lost on the way; `changes` says whether its request may have changed something.
    pub fn remember(&mut self, now: Instant, limits: &Limits, request: Message, reply: Bytes, changes: bool) {
        self.answered.retain(|a| now < a.until());
        self.answered.push_back(Answered { request, reply, at: now, changes });
        for (of, most) in [(true, limits.changes_kept), (false, limits.reads_kept)] {
            let kept = self.answered.iter().filter(|a| a.changes == of).count();
            let mut over = kept.saturating_sub(most);
            self.answered.retain(|a| {
                let goes = a.changes == of && over > 0;
                over -= usize::from(goes);
                !goes
            });
        }
        let mut octets: usize = self.answered.iter().map(Answered::octets).sum();
        while octets > limits.octets_kept
            && let Some(oldest) = self.answered.pop_front()
        {
            octets -= oldest.octets();
        }
    }

    /// The sequence number of what is published next.
    pub fn next_publication(&mut self) -> u16 {
        self.published = self.published.saturating_add(1);
        self.publications = self.publications.wrapping_add(1);
        self.publications
    }

    /// What the audit log keeps of it. Who writes what is not known here, so that bit stays clear, and the
    /// counters are 0.
    pub fn record(&self, peer: Peer, server_port: u16, now: Instant, zero_s: u32, how: End) -> AuditRecord {
        let seconds = |at: Instant| {
            let passed = at.since(Instant::ZERO).as_secs();
            zero_s.saturating_add(u32::try_from(passed).unwrap_or(u32::MAX))
        };
        let (ipv4, ipv6) = match peer.address.ip() {
            IpAddr::V4(a) => (a, Ipv6Addr::UNSPECIFIED),
            IpAddr::V6(a) => (Ipv4Addr::UNSPECIFIED, a),
        };
        // Bit 4: every session of version 1 is insecure.
        let how = match how {
            End::Closed => 0,
            End::Aborted => 4,
            End::TimedOut => 8,
        };
        AuditRecord {
            ipv4,
            ipv6,
            client_port: peer.address.port(),
            server_port,
            connected: (seconds(self.began), 0),
            disconnected: (seconds(now), 0),
            status: 16 | how,
            start_counter: 0,
            end_counter: 0,
            published: self.published,
            requests: self.requests,
            responses: self.responses,
        }
    }
}
