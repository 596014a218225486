//! What a server remembers of its sessions [IP-10].

use bytes::{BufMut, Bytes, BytesMut};
use core::net::{Ipv4Addr, Ipv6Addr};

/// Octets of a record as the captures have it.
const RECORD: usize = 58;
/// Octets of a response before the records.
const HEAD: usize = 22;

/// Which records a client wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct AuditRequest {
    /// The first record, counted from 0.
    pub start: u8,
    /// How many at most.
    pub count: u8,
}

impl AuditRequest {
    /// Reads a request's body; `None` of fewer than two octets.
    pub fn decode(body: &[u8]) -> Option<AuditRequest> {
        let &[start, count] = body.first_chunk::<2>()?;
        Some(AuditRequest { start, count })
    }

    /// The octets of the body.
    pub fn encode(self) -> Bytes {
        Bytes::copy_from_slice(&[self.start, self.count])
    }
}

/// One session that has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct AuditRecord {
    /// The client's IPv4 address; 0.0.0.0 where it has none.
    pub ipv4: Ipv4Addr,
    /// Its IPv6 address; all zero where it has none.
    pub ipv6: Ipv6Addr,
    /// Its port.
    pub client_port: u16,
    /// The server's port.
    pub server_port: u16,
    /// When it connected, s since 1970, and the four octets behind that.
    pub connected: (u32, u32),
    /// When the session ended, s since 1970, and the four octets behind that.
    pub disconnected: (u32, u32),
    /// Bit 0 writes occurred, 1 bad session initialisation, 2 aborted, 3 timed out, 4 insecure.
    pub status: u16,
    /// Configuration change counter at the session's start.
    pub start_counter: u16,
    /// The same at its end.
    pub end_counter: u16,
    /// Publish PDUs sent.
    pub published: u32,
    /// Requests received.
    pub requests: u32,
    /// Responses sent.
    pub responses: u32,
}

/// The parts of an octet string, one after the other; zeroes behind its end.
struct Take<'a>(&'a [u8]);

impl Take<'_> {
    fn octets<const N: usize>(&mut self) -> [u8; N] {
        let mut out = [0; N];
        let n = N.min(self.0.len());
        out[..n].copy_from_slice(&self.0[..n]);
        self.0 = &self.0[n..];
        out
    }
    fn u16(&mut self) -> u16 {
        u16::from_be_bytes(self.octets())
    }
    fn u32(&mut self) -> u32 {
        u32::from_be_bytes(self.octets())
    }
}

impl AuditRecord {
    fn decode(octets: &[u8]) -> AuditRecord {
        let mut t = Take(octets);
        AuditRecord {
            ipv4: Ipv4Addr::from(t.octets::<4>()),
            ipv6: Ipv6Addr::from(t.octets::<16>()),
            client_port: t.u16(),
            server_port: t.u16(),
            connected: (t.u32(), t.u32()),
            disconnected: (t.u32(), t.u32()),
            status: t.u16(),
            start_counter: t.u16(),
            end_counter: t.u16(),
            published: t.u32(),
            requests: t.u32(),
            responses: t.u32(),
        }
    }

    fn encode_to(&self, out: &mut BytesMut) {
        out.put_slice(&self.ipv4.octets());
        out.put_slice(&self.ipv6.octets());
        out.put_u16(self.client_port);
        out.put_u16(self.server_port);
        for time in [self.connected, self.disconnected] {
            out.put_u32(time.0);
            out.put_u32(time.1);
        }
        for n in [self.status, self.start_counter, self.end_counter] {
            out.put_u16(n);
        }
        for n in [self.published, self.requests, self.responses] {
            out.put_u32(n);
        }
    }
}

/// The body of a response.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct AuditLog {
    /// The first record that follows.
    pub start: u8,
    /// How many the response says there are.
    pub count: u8,
    /// When the server was switched on, s since 1970, and the four octets behind that.
    pub powered_up: (u32, u32),
    /// When its security was changed last, in the same form.
    pub security_changed: (u32, u32),
    /// Bit 0 syslog server not found, 1 found but the connection failed, 2 syslog without security.
    pub server_status: u16,
    /// Octets of a record as the response says.
    pub record_size: u16,
    /// The records that are whole and have at least 58 octets each.
    pub records: Vec<AuditRecord>,
    /// Octets that are in no such record.
    pub rest: Bytes,
}

impl AuditLog {
    /// A log with these records, for [`AuditLog::encode`].
    pub fn new(start: u8, powered_up_s: u32, records: Vec<AuditRecord>) -> AuditLog {
        AuditLog {
            start,
            count: u8::try_from(records.len()).unwrap_or(u8::MAX),
            powered_up: (powered_up_s, 0),
            security_changed: (powered_up_s, 0),
            server_status: 0,
            record_size: RECORD as u16,
            records,
            rest: Bytes::new(),
        }
    }

    /// Reads a response's body; `None` of fewer than 22 octets.
    pub fn decode(body: &Bytes) -> Option<AuditLog> {
        let head = body.get(..HEAD)?;
        let mut t = Take(head);
        let [start, count] = t.octets();
        let mut log = AuditLog {
            start,
            count,
            powered_up: (t.u32(), t.u32()),
            security_changed: (t.u32(), t.u32()),
            server_status: t.u16(),
            record_size: t.u16(),
            records: Vec::new(),
            rest: body.slice(HEAD..),
        };
        let size = usize::from(log.record_size);
        while size >= RECORD && log.rest.len() >= size {
            log.records.push(AuditRecord::decode(&log.rest[..size]));
            log.rest = log.rest.slice(size..);
        }
        Some(log)
    }

    /// The octets of the body, with records of 58 octets whatever [`AuditLog::record_size`] says.
    pub fn encode(&self) -> Bytes {
        let mut out = BytesMut::with_capacity(HEAD + self.records.len() * RECORD);
        out.put_slice(&[self.start, self.count]);
        for time in [self.powered_up, self.security_changed] {
            out.put_u32(time.0);
            out.put_u32(time.1);
        }
        out.put_u16(self.server_status);
        out.put_u16(RECORD as u16);
        self.records.iter().for_each(|r| r.encode_to(&mut out));
        out.put_slice(&self.rest);
        out.freeze()
    }
}
