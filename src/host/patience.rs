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
    /// Takes the first answer as it is.
    pub const NONE: Patience = Patience {
        most: Duration::ZERO,
        shortest_pause: Duration::from_millis(500),
        longest_pause: Duration::from_secs(5),
        busy_too: false,
    };
    /// Waits for a delayed response for up to a minute.
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
