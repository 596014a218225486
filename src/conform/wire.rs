//! The line below a probe: when it may speak, what leaves, what comes.

use super::heard::{Heard, Way, Words};
use super::probe::Probe;
use super::verdict::{Outcome, Stop};
use crate::frame::{FrameType, Marks, Octet, RawFrame, Reception};
use crate::line::{Event, SendsFaults};
use crate::time::Instant;
use core::time::Duration;

/// Silence after an answer or a burst before we speak, characters: link grant and HOLD [LL-04] [LL-13].
const AFTER_A_FRAME: u32 = 10;
/// Silence after anything else: link quiet of the secondary master [LL-05].
pub(super) const AFTER_ANYTHING: u32 = 41;
/// How long a silent enough line is waited for, characters [LL-16].
const PATIENCE: u32 = 2000;
/// Longest that one answer and what stands behind it are listened to, characters.
const MOST_HEARD: u32 = 2000;
/// Pieces of traffic that are kept for a case.
const MOST_WORDS: usize = 400;
/// Octets that are held at most of what comes while one thing is waited for: nine minutes of a wire that is never silent. Whoever sends
/// more at the other end of a network must not fill this computer's memory.
const MOST_HELD: usize = 1 << 16;
/// A port tells the end of a transmission at most so much later than the wire [LL-16].
const SEND_LIMIT: Duration = Duration::from_secs(5);

impl Probe<'_> {
    /// Waits until the line has been silent long enough for us to speak.
    pub(super) fn settle(&mut self) -> Outcome {
        self.held = 0;
        let begun = self.line.now();
        loop {
            let now = self.line.now();
            let limit = self.characters(PATIENCE).max(SEND_LIMIT);
            // A device that sends something behind each of its bursts would never let us speak.
            let quiet = if now.since(begun) > limit / 4 { AFTER_A_FRAME } else { self.quiet };
            let free = self.last_at + self.characters(quiet);
            if !self.wait(free.max(now))? && free <= now {
                break;
            }
            if now.since(begun) > limit {
                return Err(Stop::Bench(format!(
                    "the line was not silent long enough in {:.1} s to speak",
                    now.since(begun).as_secs_f64()
                )));
            }
        }
        self.take_fresh().map(|_| ())
    }

    /// Sends; gives the time when it had left.
    pub(super) fn transmit(&mut self, raw: &RawFrame) -> Result<Instant, Stop> {
        let needed = SendsFaults::needed(raw);
        if !self.line.sends_faults().can(needed) {
            let what = if needed.bad_parity { "wrong parity bits" } else { "pauses inside a frame" };
            return Err(Stop::Inconclusive(format!("this line cannot send {what}")));
        }
        let character = self.line.pace().character();
        let lasts: Duration = raw.octets.iter().map(|o| character + o.gap_before).sum();
        let limit = self.line.now() + lasts + SEND_LIMIT;
        self.requests += 1;
        self.no_answer = false;
        self.held = 0;
        self.echo = Some(raw.values());
        self.asked = Some(raw.values());
        self.line.send_raw(raw).map_err(|e| Stop::Lost(e.to_string()))?;
        let ended_at = loop {
            match self.event(limit)? {
                Event::Sent { at } => break at,
                Event::TimeOut => {
                    return Err(Stop::Bench("the port did not say that the request has left".to_owned()));
                }
                _ => {}
            }
        };
        let mut at = ended_at;
        let mut octets: Vec<Octet> = Vec::with_capacity(raw.octets.len());
        for o in raw.octets.iter().rev() {
            let mut marks = if o.bad_parity { Marks::PARITY } else { Marks::NONE };
            if o.gap_before >= character && !o.gap_before.is_zero() {
                marks |= Marks::GAP;
            }
            octets.push(Octet { at, value: o.value, marks });
            at = at.before(character + o.gap_before);
        }
        octets.reverse();
        self.keep(Way::Sent, octets);
        self.last_at = self.last_at.max(ended_at);
        self.quiet = AFTER_ANYTHING;
        Ok(ended_at)
    }

    /// Hears what follows a request; `briefly` ends with the answer, else the silence behind it is heard too.
    pub(super) fn hear(&mut self, ended_at: Instant, briefly: bool) -> Result<Heard, Stop> {
        let patience = self.slave_time_out() * 2 + self.line.capabilities().stamp_error * 4;
        let character = self.line.pace().character();
        let tail = character * 4 + self.line.capabilities().stamp_error * 4 + Duration::from_millis(2);
        let deadline = ended_at + patience;
        let limit = deadline + self.characters(MOST_HEARD);
        let mut receptions: Vec<Reception> = Vec::new();
        loop {
            receptions.append(&mut self.take_fresh()?);
            let answered = receptions
                .iter()
                .any(|r| matches!(r, Reception::Good(g) if g.frame.frame_type() == FrameType::Ack));
            if answered && briefly {
                break;
            }
            // What comes is whole, and comes once: there is no silence behind it to be heard.
            let burst =
                |r: &Reception| matches!(r, Reception::Good(g) if g.frame.frame_type() == FrameType::Back);
            if self.has_messages() && (self.no_answer || !receptions.iter().all(burst)) {
                break;
            }
            let quiet_at = self.last_at + tail;
            let mut until = if answered { quiet_at } else { quiet_at.max(deadline) };
            until = self.receiver.deadline().map_or(until, |d| d.max(until)).min(limit);
            let more = self.wait(until)? || self.no_answer;
            if !more && self.receiver.deadline().is_none() && self.fresh.is_empty() {
                break;
            }
            if self.line.now() >= limit {
                break;
            }
        }
        self.echo = None;
        self.asked = None;
        let is_answer =
            |r: &Reception| matches!(r, Reception::Good(g) if g.frame.frame_type() == FrameType::Ack);
        if !receptions.iter().any(is_answer) {
            self.wires.unanswered();
        }
        Ok(Heard { request_ended_at: ended_at, receptions, character })
    }

    /// Waits until something comes or until then; whether octets came.
    pub(super) fn wait(&mut self, until: Instant) -> Result<bool, Stop> {
        Ok(matches!(self.event(until)?, Event::Octets(_)))
    }

    pub(super) fn event(&mut self, until: Instant) -> Result<Event, Stop> {
        let event = loop {
            let event = self.line.wait(Some(until)).map_err(|e| Stop::Lost(e.to_string()))?;
            match (&event, &mut self.interrupted) {
                // What was changed comes back all the same; whoever asks twice wants it left.
                (Event::Interrupted, Some(times @ 0)) => *times = 1,
                _ => break event,
            }
        };
        match &event {
            Event::Octets(octets) => {
                self.held += octets.len();
                if self.held > MOST_HELD {
                    self.fresh.clear();
                    return Err(Stop::Bench(format!(
                        "more than {MOST_HELD} octets came while the suite waited: that is no wire of 1200 bit/s; look what is \
                         at the other end of the line"
                    )));
                }
                self.last_at = octets.iter().map(|o| o.at).fold(self.last_at, Instant::max);
                self.quiet = AFTER_ANYTHING;
                self.receiver.push(octets);
                self.collect();
            }
            Event::TimeOut => {
                self.receiver.handle_timeout(until);
                self.collect();
            }
            Event::Sent { .. } => {}
            Event::NoAnswer { .. } => self.no_answer = true,
            Event::Interrupted => return Err(Stop::Interrupted),
            Event::Closed => return Err(Stop::Lost("it was closed at the other end".to_owned())),
        }
        Ok(event)
    }

    pub(super) fn collect(&mut self) {
        while let Some(reception) = self.receiver.next() {
            let is_echo = self.line.capabilities().echo
                && self.echo.as_ref().is_some_and(|sent| sent.ends_with(&reception.values()));
            if is_echo {
                self.echo = None;
                continue;
            }
            match &reception {
                Reception::Good(g) if g.frame.frame_type() != FrameType::Stx => self.quiet = AFTER_A_FRAME,
                Reception::Good(_) => {}
                Reception::Damaged(_) => self.damaged += 1,
                Reception::Noise(_) => {}
            }
            self.wires.heard(&reception);
            self.keep(Way::Received, reception.octets().to_vec());
            self.fresh.push(reception);
        }
    }

    /// What came; an error if somebody else asks on this line.
    pub(super) fn take_fresh(&mut self) -> Result<Vec<Reception>, Stop> {
        let fresh = core::mem::take(&mut self.fresh);
        for r in &fresh {
            if let Reception::Good(g) = r
                && g.frame.frame_type() == FrameType::Stx
                && !self.answers_with_a_request(&r.values(), g.frame.data().len())
            {
                return Err(Stop::Bench(format!(
                    "a {} master asks command {} on this line: the suite acts as both masters, so it has to be \
                     alone; disconnect that one",
                    g.frame.address().master,
                    g.frame.command()
                )));
            }
        }
        Ok(fresh)
    }

    /// Whether a request is the device's answer with a wrong delimiter: it comes while an answer is due, with our
    /// request's address and more data.
    fn answers_with_a_request(&self, values: &[u8], data_len: usize) -> bool {
        let frame = |values: &[u8]| values.iter().copied().skip_while(|&o| o == 0xFF).collect::<Vec<u8>>();
        let Some(asked) = self.asked.as_deref().map(frame) else { return false };
        let theirs = frame(values);
        let header = if asked.first().is_some_and(|d| d & 0x80 == 0) { 3 } else { 7 };
        // From the address to the command.
        asked.get(1..header).is_some_and(|a| theirs.get(1..header) == Some(a)) && data_len >= 2
    }

    pub(super) fn keep(&mut self, way: Way, octets: Vec<Octet>) {
        if self.words.len() >= MOST_WORDS {
            // The newest tell most.
            self.words.drain(..MOST_WORDS / 2);
        }
        self.words.push(Words { way, octets });
    }
}
