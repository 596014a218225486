//! Who is judged: found by the name that was given.

use super::heard::{Heard, Reply, hex};
use super::probe::Probe;
use super::request::Request;
use super::verdict::Stop;
use crate::app::command::Revision;
use crate::app::types::{latin1, packed};
use crate::frame::{Master, PollingAddress, Reception};
use crate::host::To;
use core::fmt;

/// Fewest octets that identify a device: the reply to command 0 of revision 5 [CM-000].
const IDENTITY: usize = 12;
/// Preambles before the requests that look for the device [FR-02], few, then as many as there may be, and who asks: a device
/// may be deaf to one of the masters.
const TRIES: [(usize, Master); 6] = [
    (5, Master::Secondary),
    (5, Master::Secondary),
    (20, Master::Secondary),
    (20, Master::Secondary),
    (5, Master::Primary),
    (20, Master::Primary),
];
/// How long a line is listened to before anything is sent, characters: other masters have their turns meanwhile.
const LISTENING: u32 = 256;

/// The device that is judged, by its own words: its reply to command 0 [CM-000].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Found {
    /// The five octets of its unique address without the two upper bits [FR-06].
    pub unique: [u8; 5],
    /// The revision by which it is judged: the one it claims, the newest that looprig knows if it claims a newer one.
    pub revision: Revision,
    /// The revision that it claims.
    pub claims: u8,
    /// Preambles before a request to it: as many as it wants [LL-11], 5 at least and 20 at most.
    pub preambles: usize,
    /// Its polling address, if it was found by that.
    pub polling: Option<u8>,
    /// The data of its reply, without status octets.
    pub identity: Vec<u8>,
    /// Its tag by command 13 [CM-013], without the spaces at its end; empty where it tells none.
    pub tag: String,
}

impl Default for Found {
    fn default() -> Self {
        Found {
            unique: [0; 5],
            revision: Revision::R5,
            claims: 5,
            preambles: 5,
            polling: None,
            identity: Vec::new(),
            tag: String::new(),
        }
    }
}

impl Found {
    /// From the data of a reply to command 0, 11 or 21 [CM-000]: octets 1, 2 and 9 to 11 make the address [FR-06].
    ///
    /// # Errors
    /// Says why they identify nobody.
    pub fn of(data: &[u8], polling: Option<u8>) -> Result<Found, String> {
        let Some(&[_, high, low, preambles, claims, _, _, _, _, a, b, c]) = data.first_chunk::<IDENTITY>()
        else {
            return Err(format!(
                "its identity has {} octets instead of {IDENTITY} at least: {}",
                data.len(),
                hex(data)
            ));
        };
        let Some(revision) = Revision::new(claims.min(7)) else {
            return Err(format!("it claims revision {claims}; the suite is for 5 and newer"));
        };
        Ok(Found {
            unique: [high & 0x3F, low, a, b, c],
            revision,
            claims,
            preambles: usize::from(preambles.clamp(5, 20)),
            polling,
            identity: data.to_vec(),
            tag: String::new(),
        })
    }
}

impl Found {
    /// An identity amid octets that make no whole answer: FE, then twelve octets with a revision that exists [CM-000].
    fn amid(heard: &Heard, polling: Option<u8>) -> Option<Found> {
        let values: Vec<u8> =
            heard.receptions.iter().flat_map(|r| r.octets().iter().map(|o| o.value)).collect();
        let starts = values.windows(IDENTITY).filter(|w| w[0] == 0xFE && (5..=7).contains(&w[4]));
        let rest = starts.map(|w| Found::of(w, polling).ok());
        rest.flatten().next()
    }
}

impl fmt::Display for Found {
    /// Its unique address and revision.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for o in self.unique {
            write!(f, "{o:02X}")?;
        }
        write!(f, ", revision {}", self.claims)
    }
}

impl Probe<'_> {
    /// Listens first, then asks who it is. `Err(Stop::Fail)` when nobody answers so that it can be understood.
    pub(super) fn identify(&mut self, to: &To) -> Result<(), Stop> {
        let listening = self.waiting(LISTENING);
        self.pause(listening)?;
        let (make, polling): (Box<dyn Fn(usize) -> Request>, Option<u8>) = match to {
            To::Polling(p) => {
                let p = p.get();
                (Box::new(move |n| Request::short(n, Master::Secondary, p, 0, &[])), Some(p))
            }
            To::Unique(u) => {
                let u = u.octets();
                (Box::new(move |n| Request::long(n, Master::Secondary, u, 0, &[])), None)
            }
            To::Tag(tag) => {
                let data = packed::pack(tag, 6).map_err(|e| Stop::Bench(e.to_string()))?;
                (Box::new(move |n| Request::long(n, Master::Secondary, [0; 5], 11, &data)), None)
            }
            To::LongTag(tag) => {
                let data = latin1::encode(tag, 32).map_err(|e| Stop::Bench(e.to_string()))?;
                (Box::new(move |n| Request::long(n, Master::Secondary, [0; 5], 21, &data)), None)
            }
        };
        let mut last = String::new();
        let mut spelled = None;
        for (preambles, master) in TRIES {
            let request = make(preambles).master(master);
            let heard = self.send(&request)?;
            self.knock = Some(request);
            let Some(reply) = heard.reply().filter(|r| !r.is_communication_error()) else {
                let spoilt = heard.rubbish().any(|r| matches!(r, Reception::Damaged(_)));
                let hint =
                    if spoilt { " (two devices at one address spoil each other's answers)" } else { "" };
                last = format!("{}{hint}", heard.words());
                spelled = spelled.or_else(|| Found::amid(&heard, polling));
                continue;
            };
            match Found::of(&reply.data, polling) {
                Ok(found) => {
                    self.found = found;
                    return Ok(());
                }
                Err(why) => last = why,
            }
        }
        // Its answers are not whole, and who it is can be read all the same: the cases say what is wrong with them.
        if let Some(found) = spelled {
            self.found = found;
            return Ok(());
        }
        super::verdict::fail(format!("an answer of {to} that says who it is"), last)
    }

    /// Reads its tag, for reports alone: whoever does not tell it has none.
    pub(super) fn read_tag(&mut self) -> Result<(), Stop> {
        let request = self.request(13, &[]);
        let reply = self.first_try(|p| p.send(&request))?.reply();
        let tag = reply.as_ref().filter(|r| r.is_success()).and_then(|r| r.part(0, 6)).map(packed::unpack);
        self.found.tag = tag.unwrap_or_default().trim_end().to_owned();
        Ok(())
    }

    /// The device's polling address: known, or told by command 7, or found by asking all of them.
    ///
    /// # Errors
    /// Inconclusive if it is not found, on a line of messages a skip; as [`Probe::ask`].
    pub fn polling_address(&mut self) -> Result<u8, Stop> {
        if let Some(polling) = self.found.polling {
            return Ok(polling);
        }
        let behind = "polling addresses reach the server or gateway alone, not the device behind it";
        if self.behind {
            return Err(Stop::Skip(behind.to_owned()));
        }
        let highest = if self.found.revision == Revision::R5 { 15 } else { 63 };
        let mut order: Vec<u8> = (0..=highest).collect();
        if self.found.revision >= Revision::R6
            && let Some(told) = self.ask(7, &[]).ok().and_then(|r: Reply| r.octet(0))
        {
            order.insert(0, told);
        }
        for polling in order.into_iter().filter(|&p| PollingAddress::new(p).is_some()) {
            let request = self.short_request(polling, 0, &[]).raw(self.pace().character());
            let reply = self.send_raw(&request)?.reply();
            let same = |r: &Reply| Found::of(&r.data, None).is_ok_and(|f| f.unique == self.found.unique);
            if reply.as_ref().is_some_and(same) {
                self.found.polling = Some(polling);
                return Ok(polling);
            }
        }
        if self.has_messages() {
            self.behind = true;
            return Err(Stop::Skip(behind.to_owned()));
        }
        Err(Stop::Inconclusive("the device answers at no polling address".to_owned()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The published reply to command 0 of a transmitter of revision 7 [ICS]: FE F9 FD 00 07 02 32 4E 00 95 26 6F ...
    #[test]
    fn identity_of_a_published_reply() {
        let data = [0xFE, 0xF9, 0xFD, 0x05, 0x07, 0x02, 0x32, 0x4E, 0x00, 0x95, 0x26, 0x6F, 0x00];
        let found = Found::of(&data, None).expect("twelve octets are there");
        // F9 without its two upper bits is 39.
        assert_eq!((found.unique, found.revision), ([0x39, 0xFD, 0x95, 0x26, 0x6F], Revision::R7));
        assert!(Found::of(&data[..11], None).is_err());
        let old = [0xFE, 0x26, 0x4E, 0x05, 0x04, 1, 1, 0, 0, 0, 0, 1];
        assert!(Found::of(&old, None).unwrap_err().contains("revision 4"));
    }
}
