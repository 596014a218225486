//! What of all that came may be the doing of the wires, and what is done about it [CO-08].

use super::heard::{Heard, Reply};
use super::identify::Found;
use super::probe::Probe;
use super::request::Request;
use super::verdict::{Outcome, Stop, fail};
use crate::frame::{Good, Marks, Reception};
use core::time::Duration;
use std::collections::BTreeMap;

/// How often one thing is tried at most on which the wires may have played a trick.
const TRIES: usize = 3;

/// How long a device is waited for that has fallen silent, such as one whose supply was off: common practice, no source.
const GONE: Duration = Duration::from_secs(60);

/// Whether somebody is there after silence that made a case fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Life {
    /// It answers.
    There,
    /// Nothing came for a while, and then it answered.
    Again,
    /// Nothing has come for [`GONE`].
    Gone,
}

/// Signs of spoilt octets.
#[derive(Debug, Default)]
pub(super) struct Wires {
    /// Things that came and are no whole frame, and wrong parity, since the run began.
    rubbish: u64,
    /// Requests that nobody answered with a whole frame, answers that tell of damage, and frames with another number of
    /// preambles than most, since the case began.
    doubts: u64,
    /// Of these the requests that nobody answered with a whole frame.
    unanswered: u64,
    /// Requests of the run that nobody answered, and that were answered when they came again.
    lost: u64,
    /// Frames of the run by their number of preambles, which is 40 at most.
    preambles: BTreeMap<usize, u64>,
    /// What came out once and not when it was tried again.
    seen_once: Option<String>,
}

impl Wires {
    /// A case begins.
    pub fn begin(&mut self) {
        self.doubts = 0;
        self.unanswered = 0;
        self.seen_once = None;
    }

    /// Something came.
    pub fn heard(&mut self, reception: &Reception) {
        match reception {
            Reception::Good(good) => self.heard_whole(good),
            Reception::Damaged(_) | Reception::Noise(_) => self.heard_rubbish(),
        }
    }

    fn heard_rubbish(&mut self) {
        self.rubbish += 1;
    }

    /// A preamble can be lost, and wrong in its parity, in a frame that is whole all the same [FR-10].
    fn heard_whole(&mut self, good: &Good) {
        if good.octets.iter().any(|o| o.marks != Marks::NONE) {
            self.heard_rubbish();
        }
        let n = self.preambles.entry(good.preambles).or_default();
        *n += 1;
        let n = *n;
        let unusual = self.preambles.values().any(|&of_another| of_another > n);
        // Mask 80 of the first status octet [ST-01].
        let tells_damage = good.frame.status().is_some_and(|status| status[0] & 0x80 != 0);
        self.doubts += u64::from(unusual || tells_damage);
    }

    /// A request was not answered with a whole frame.
    pub fn unanswered(&mut self) {
        self.doubts += 1;
        self.unanswered += 1;
    }

    /// A request that nobody answered was answered when it came again.
    pub fn lost_one(&mut self) {
        self.lost += 1;
    }

    /// Whether silence may be the wires' doing: octets were spoilt, or requests lost, since the run began.
    pub fn may_lose(&self) -> bool {
        self.lost > 0 || self.spoil_octets()
    }

    /// Whether nothing speaks against the wires in this case but requests that nobody answered.
    pub fn have_only_lost(&self) -> bool {
        self.unanswered > 0 && self.unanswered == self.doubts
    }

    /// Whether a fail of the case may be the doing of the wires. On wires that spoil octets even a whole frame may be wrong: parity
    /// and check byte do not see everything.
    pub fn may_have_spoilt(&self) -> bool {
        self.doubts > 0 || self.spoil_octets()
    }

    /// What came out once and not again in this case.
    pub fn seen_once(&mut self) -> Option<String> {
        self.seen_once.take()
    }

    /// Things that came and are no whole frame, and wrong parity, since the run began.
    pub fn rubbish(&self) -> u64 {
        self.rubbish
    }

    /// What the case itself has brought about, such as two devices that answer at once, tells nothing of the wires: as many as
    /// [`Wires::rubbish`] had said before.
    pub fn forgive(&mut self, rubbish_before: u64) {
        self.rubbish = rubbish_before;
    }

    /// Whether any octet was spoilt since the run began, as far as it can be seen.
    pub fn spoil_octets(&self) -> bool {
        self.rubbish > 0
    }
}

impl Heard {
    /// Whether a whole answer came that does not tell of a damaged request.
    pub fn is_answered(&self) -> bool {
        self.reply().is_some_and(|r| !r.is_communication_error())
    }

    /// Whether octets came that make no whole frame.
    pub fn has_rubbish(&self) -> bool {
        self.rubbish().next().is_some()
    }
}

impl Probe<'_> {
    /// Whether an answer is one of the device that is judged, and not of a neighbour on the wires: it has the device's unique
    /// address or tells its identity, or has a short frame's address and tells nobody else's.
    pub fn is_own(&self, reply: &Reply) -> bool {
        let own = self.device().unique;
        let says = Found::of(&reply.data, None).map(|f| f.unique);
        match reply.unique() {
            Some(unique) => unique == own || says == Ok(own),
            None => says.map_or(true, |unique| unique == own),
        }
    }

    /// Sends a request that the device may not answer: a fail if a whole answer of it comes ([`Probe::is_own`]), or three times
    /// in a row octets that make no frame or a communication error [CO-08]. `why` says what is wrong with it, such as "a request to another device".
    ///
    /// # Errors
    /// The fail; as [`Probe::send`].
    pub fn expect_silence(&mut self, request: &Request, why: &str) -> Outcome {
        let mut words = String::new();
        for _ in 0..TRIES {
            let heard = self.send(request)?;
            words = heard.words();
            let own: Vec<Reply> = heard.replies().into_iter().filter(|r| self.is_own(r)).collect();
            // That it arrived damaged tells that the wires have spoilt it, or that it is what was wrong with it.
            if own.iter().any(|r| !r.is_communication_error()) {
                break;
            }
            if own.is_empty() && !heard.has_rubbish() {
                return Ok(());
            }
        }
        fail(format!("silence of the device after {why}"), words)
    }

    /// Sends something that has to be answered at the first try, in the way of `once`. Where the wires may have spoilt it, it is
    /// done up to three times: where an answer came that is not whole, or one that tells of a damaged request, and after silence
    /// on wires that spoil octets or lose requests at other times too. The last of the tries counts.
    ///
    /// # Errors
    /// Those of `once`.
    pub fn first_try(
        &mut self,
        mut once: impl FnMut(&mut Self) -> Result<Heard, Stop>,
    ) -> Result<Heard, Stop> {
        let mut heard = once(self)?;
        for _ in 1..TRIES {
            let tells_damage = heard.reply().is_some_and(|r| r.is_communication_error());
            let spoilt = heard.has_rubbish() || tells_damage || self.wires.may_lose();
            if heard.is_answered() || !spoilt {
                break;
            }
            heard = once(self)?;
        }
        Ok(heard)
    }

    /// Looks whether anybody is there, and waits for it for a while.
    ///
    /// # Errors
    /// As [`Probe::send`].
    pub(super) fn wait_for_life(&mut self) -> Result<Life, Stop> {
        // A faulty device may answer nothing else than that by which it was found.
        let requests = [self.request(0, &[])].into_iter().chain(self.knock.clone());
        let requests: Vec<Request> = requests.collect();
        let begun = self.now();
        let mut asked = 0;
        while asked <= TRIES || self.now().since(begun) < GONE {
            for request in &requests {
                // An answer that comes late is a sign of life too, and so is a burst.
                let all = [self.send(request)?, self.listen(Duration::from_secs(1))?];
                if all.iter().any(|heard| !heard.is_silence() || !heard.bursts().is_empty()) {
                    return Ok(if asked <= TRIES { Life::There } else { Life::Again });
                }
            }
            asked += 1;
        }
        Ok(Life::Gone)
    }

    /// Judges octets that make no whole frame, which wires can make as well: what `once` finds wrong has to come out three times in
    /// a row. What comes out less often leaves the case inconclusive, if the rest of it passes.
    ///
    /// # Errors
    /// The fail; other errors of `once`.
    pub fn three_in_a_row(&mut self, mut once: impl FnMut(&mut Self) -> Outcome) -> Outcome {
        let (expected, observed) = match once(self) {
            Err(Stop::Fail { expected, observed }) => (expected, observed),
            other => return other,
        };
        let mut last = fail(expected.clone(), observed.clone());
        for n in 1..TRIES {
            last = once(self);
            match last {
                Err(Stop::Fail { .. }) => {}
                Err(stop) => return Err(stop),
                Ok(()) => {
                    self.wires.seen_once =
                        Some(format!("{observed} instead of {expected}, in {n} of {} tries", n + 1));
                    return Ok(());
                }
            }
        }
        last
    }
}
