//! Waiting for an answer that comes later: the identical request again, with pauses and a bound [HO-10].

use super::{Ask, Device, HostError};
use crate::app::status::Status;
use crate::exchange::Exchange;
use crate::time::Instant;
use core::time::Duration;

/// Response code "busy" [ST-03].
const BUSY: u8 = 32;
/// Most repeats, whatever the line's clock says.
const MOST_REPEATS: u32 = 10_000;

/// How long and how often the same is asked until it is answered for good.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Longest time from the first request to the last; zero asks once.
    pub most: Duration,
    /// Pauses last a quarter of the time waited so far, but no less than this.
    pub shortest_pause: Duration,
    /// And no more than this.
    pub longest_pause: Duration,
    /// Whether "busy" is waited out, too [HO-04].
    pub busy_too: bool,
}

impl Patience {
    /// Takes the first answer as it is [HO-10]. Waits for nothing, so its pauses, 0.5 to 5 s, are never made.
    pub const NONE: Patience = Patience {
        most: Duration::ZERO,
        shortest_pause: Duration::from_millis(500),
        longest_pause: Duration::from_secs(5),
        busy_too: false,
    };
    /// Waits for a delayed response for up to 60 s, with pauses of 0.5 to 5 s; "busy" is taken as it is [HO-10].
    pub const USUAL: Patience = Patience { most: Duration::from_secs(60), ..Patience::NONE };

    /// Whether an answer is no last word.
    pub fn is_later(&self, exchange: &Exchange) -> bool {
        let busy = self.busy_too && exchange.status() == Some(Status::Response(BUSY));
        busy || exchange.delay().is_some_and(|d| d.is_under_way())
    }
}

/// What became of a request that may be answered later.
#[derive(Clone, Debug)]
pub struct Awaited {
    /// The last answer, or silence. [`Patience::is_later`] says whether it is still no last word.
    pub exchange: Exchange,
    /// How often the request was asked anew: each time a transaction of its own, not a retry of the link.
    pub repeats: u32,
    /// From the first request to the last answer, by the line's stamps.
    pub waited: Duration,
}

fn end(exchange: &Exchange) -> Instant {
    let t = &exchange.transaction;
    let last = t.reply.as_ref().or(t.tries.last()).and_then(|g| g.octets.last());
    last.map_or(Instant::ZERO, |o| o.at)
}

/// Asks, and asks the identical request again as long as the device says that the answer comes later [DV-40].
/// `told` hears of each such answer, with the time waited so far.
///
/// # Errors
/// As [`Ask::ask_octets`]; a request that was begun goes on in the device all the same.
pub fn ask_patiently(
    ask: &mut dyn Ask,
    device: &Device,
    command: u8,
    data: &[u8],
    patience: Patience,
    told: &mut dyn FnMut(&Exchange, Duration),
) -> Result<Awaited, HostError> {
    let (mut began, mut repeats, mut rested) = (None, 0, Duration::ZERO);
    loop {
        let exchange = ask.ask_octets(device, command, data.to_vec())?;
        let began = *began.get_or_insert(exchange.transaction.started_at());
        // A line whose stamps stand still must not hold us for ever.
        let waited = end(&exchange).since(began).max(rested);
        if !patience.is_later(&exchange) {
            return Ok(Awaited { exchange, repeats, waited });
        }
        told(&exchange, waited);
        let left = patience.most.saturating_sub(waited);
        if left.is_zero() || repeats >= MOST_REPEATS {
            return Ok(Awaited { exchange, repeats, waited });
        }
        let longest = patience.longest_pause.max(patience.shortest_pause);
        let pause = (waited / 4).clamp(patience.shortest_pause, longest).min(left);
        ask.rest(pause)?;
        rested += pause;
        repeats += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::command::Revision;
    use crate::app::command::described::DeviceType;
    use crate::exchange::Interpreter;
    use crate::frame::{Address, Frame, Good, Master, Target, UniqueAddress};
    use crate::transaction::{Kind, Oddities, Outcome, Transaction};

    /// A device that answers 34 for ever, on a line whose clock stands still.
    struct Never {
        asked: u32,
    }

    impl Ask for Never {
        fn ask_octets(&mut self, d: &Device, command: u8, data: Vec<u8>) -> Result<Exchange, HostError> {
            self.asked += 1;
            let address = Address::new(Master::Secondary, Target::Unique(d.unique));
            let good = |frame| Good { octets: Vec::new(), preambles: 0, frame };
            let request = Frame::request(address, command, data).expect("short data");
            let reply = Frame::reply(false, address, command, [34, 0], Vec::new()).expect("no data");
            Ok(Interpreter::new(None).read(Transaction {
                kind: Kind::Asked,
                outcome: Outcome::Answered,
                tries: vec![good(request)],
                interludes: Vec::new(),
                reply: Some(good(reply)),
                response_time: None,
                oddities: Oddities::NONE,
            }))
        }

        fn rest(&mut self, _: Duration) -> Result<(), HostError> {
            Ok(())
        }

        fn now(&mut self) -> Instant {
            Instant::ZERO
        }
    }

    /// The pauses count where nothing else does: a quarter of the time so far, 0.5 s at least, 5 s at most.
    #[test]
    fn it_ends_where_no_time_passes() {
        let unique = UniqueAddress::from_octets([0x3D, 0x71, 0, 0x31, 4]);
        let device_type = DeviceType::Expanded(0xFD71);
        let device = Device { unique, revision: Revision::R7, preambles: 5, device_type };
        let mut never = Never { asked: 0 };
        let mut told = Vec::new();
        let most = Duration::from_secs(4);
        let patience = Patience { most, ..Patience::USUAL };
        let awaited =
            ask_patiently(&mut never, &device, 41, &[], patience, &mut |_, w| told.push(w.as_millis()))
                .expect("it answers");
        // From 2 s on a quarter is more than half a second: 2 + 0.5, + 0.625, + 0.78125, and what is left of 4 s.
        assert_eq!(told, [0, 500, 1000, 1500, 2000, 2500, 3125, 3906, 4000]);
        assert_eq!((awaited.repeats, never.asked, awaited.waited), (8, 9, most));
    }
}
