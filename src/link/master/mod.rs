//! A master: asks, waits, asks again, and stays away where a master with its bit is at work.

mod hearing;
mod turns;

use super::{Timers, Violation};
use crate::frame::{
    Capabilities, Frame, Good, MAX_FRAME, Master as Role, Octet, Receiver, ReceiverConfig, Reception,
    StampUnit,
};
use crate::time::{BitTimes, Instant, Pace};
use crate::transaction::{Interlude, Kind, Outcome, Pairer, PairerConfig, Passed, Transaction};
use bytes::Bytes;
use core::fmt;
use core::time::Duration;
use std::collections::VecDeque;
use turns::Turns;

/// Most repeats of a request [HO-04].
const MOST_RETRIES: u8 = 10;
/// Longest answer from its first preamble to its check byte, characters [LL-16].
const LONGEST_ANSWER: u64 = 40 + MAX_FRAME as u64;
/// How long a turn is waited for, characters [LL-16]: more than the longest transaction of another master takes.
const PATIENCE: u64 = 1000;
/// How long one request with our bit is remembered, characters [HO-03].
const SUSPICION: u64 = 30_000;
/// The longest time without a chance for another master that was never heard, characters [LL-14].
const CHANCE_EVERY: u64 = 250;
/// A port tells the end of a transmission at most so much later than the wire's own time [LL-16].
const SEND_LIMIT: Duration = Duration::from_secs(5);
/// Least and most octets of FF before a request [FR-02].
const LEAST_PREAMBLES: u8 = 5;
const MOST_PREAMBLES: u8 = 20;

/// How a master behaves. What is outside its range counts as the nearest that is inside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MasterConfig {
    /// Primary or secondary; secondary unless told [HO-01].
    pub role: Role,
    /// How often a request is repeated before it counts as unanswered, 0 to 10 [HO-04].
    pub retries: u8,
    /// Octets of FF before a request whose device has not said how many it wants, 5 to 20 [LL-11].
    pub preambles: u8,
    /// Listen one link-quiet time before the first request [HO-02].
    pub listens_first: bool,
}

impl Default for MasterConfig {
    fn default() -> Self {
        MasterConfig { role: Role::Secondary, retries: 3, preambles: 5, listens_first: true }
    }
}

/// What a master wants done or has to tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Output {
    /// Send these octets, preambles included, and tell [`Master::sent`] when the last has left.
    Transmit(Bytes),
    /// The request that was asked has ended; with its silence after the last retry.
    Done(Box<Transaction>),
    /// The device answered that the request arrived damaged: it is asked again [HO-04].
    Again(Box<Transaction>),
    /// The request that was asked was never sent: in all this time the link was not silent long enough
    /// for a turn [LL-05].
    NoTurn(Duration),
    /// Something else passed on the link.
    Overheard(Passed),
    /// A master with our bit is at work: this one has stopped for good [HO-03].
    Stopped(Violation),
}

impl Output {
    /// The burst frame that was overheard, if it is one.
    pub fn burst(&self) -> Option<&Frame> {
        match self {
            Output::Overheard(Passed::Transaction(t)) if t.kind == Kind::Burst => t.reply_frame(),
            _ => None,
        }
    }
}

/// A request that cannot be taken now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// Another one is under way.
    Busy,
    /// The master has stopped [HO-03].
    Stopped,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Refused::Busy => "another request is under way",
            Refused::Stopped => "this master has stopped, because another one with its bit is at work",
        })
    }
}

#[derive(Clone, Debug)]
struct Job {
    frame: Frame,
    preambles: usize,
    tries_left: u8,
    /// Since when it waits for its turn.
    since: Option<Instant>,
    /// Tries that another frame ended, with what came damaged during them.
    earlier: Vec<Transaction>,
}

impl Job {
    /// The whole of the job, of which `last` is only what came after the last foreign frame.
    fn whole(&mut self, mut last: Transaction) -> Transaction {
        let (mut tries, mut interludes) = (Vec::new(), Vec::new());
        for t in self.earlier.drain(..) {
            tries.extend(t.tries);
            interludes.extend(t.interludes);
        }
        tries.append(&mut last.tries);
        interludes.append(&mut last.interludes);
        if last.outcome == Outcome::Silent && interludes.iter().any(|i| matches!(i, Interlude::Damaged(_))) {
            last.outcome = Outcome::Garbled;
        }
        Transaction { tries, interludes, ..last }
    }
}

/// What was sent last, whether or not anybody still waits for its answer.
#[derive(Clone, Debug)]
struct Sent {
    frame: Frame,
    /// When its last octet left, once that has been told.
    ended_at: Option<Instant>,
    /// The line gives it back to us, and has not yet done so [LL-18].
    echo_due: bool,
}

#[derive(Clone, Debug)]
enum State {
    /// Nothing to do, or waiting for the link to be free.
    Idle,
    /// Our octets are leaving. A port that has not told their end by then will not.
    Sending { given_up: Instant },
    /// An answer may begin until then, and goes on for as long as octets come.
    Waiting { deadline: Instant },
    /// [HO-03].
    Stopped,
}

/// The state machine of a master.
#[derive(Clone, Debug)]
pub struct Master {
    config: MasterConfig,
    timers: Timers,
    /// What stamps may be wrong by: added to the time in which an answer must begin [LL-17].
    margin: Duration,
    /// How long an answer may last [LL-16].
    longest_answer: Duration,
    /// How long a turn is waited for [LL-16].
    patience: Duration,
    /// Whether the line gives us back what we send.
    echo: bool,
    /// On a line of whole messages a burst between a request and its answer tells nothing of the answer: it waits here.
    bursts: Option<VecDeque<Reception>>,
    receiver: Receiver,
    pairer: Pairer,
    state: State,
    turns: Turns,
    job: Option<Job>,
    last_sent: Option<Sent>,
    /// The last request with our bit that is not ours [HO-03].
    other_with_our_bit: Option<Good>,
    /// How long one of them is remembered.
    suspicion: Duration,
    /// What is leaving is no longer asked for: nothing is sent behind it before its end is told.
    abandoned: bool,
    /// Transmissions whose end has not been told.
    leaving: u32,
    out: VecDeque<Output>,
}

impl Master {
    /// A master that begins to listen at `now` on a line of this pace and these capabilities.
    pub fn new(config: MasterConfig, pace: Pace, line: Capabilities, now: Instant) -> Self {
        let timers = Timers::new(config.role, pace);
        // Where octets take no time there is a limit all the same.
        let limit = |n| match pace {
            Pace::Fast => BitTimes::characters(n).duration(),
            _ => pace.scale(BitTimes::characters(n).duration()),
        };
        let wait = if config.listens_first { timers.link_quiet } else { Duration::ZERO };
        let other = Timers::new(config.role.other(), pace);
        let turns = Turns::new(
            (config.role, timers),
            timers.character + line.stamp_error * 2,
            (limit(PATIENCE), limit(CHANCE_EVERY)),
            other.link_quiet + other.link_grant,
            (wait, now),
        );
        Master {
            config,
            timers,
            margin: timers.character * 2 + line.stamp_error * 4,
            longest_answer: limit(LONGEST_ANSWER),
            patience: limit(PATIENCE),
            echo: line.echo,
            bursts: (line.unit == StampUnit::Frames).then(VecDeque::new),
            receiver: Receiver::new(ReceiverConfig::for_line(pace, line.stamp_error)),
            // The master itself says when a request is unanswered.
            pairer: Pairer::new(PairerConfig::for_master(timers.character)),
            state: State::Idle,
            turns,
            job: None,
            last_sent: None,
            other_with_our_bit: None,
            suspicion: limit(SUSPICION),
            abandoned: false,
            leaving: 0,
            out: VecDeque::new(),
        }
    }

    /// The role it plays.
    pub fn role(&self) -> Role {
        self.config.role
    }

    /// Asks: `frame` is sent as soon as the link is free, after `preambles` octets of FF, 5 to 20
    /// (the configured number if `None`), and repeated up to the configured number of retries.
    ///
    /// # Errors
    /// Another request is under way, or the master has stopped.
    pub fn ask(&mut self, frame: Frame, preambles: Option<u8>) -> Result<(), Refused> {
        self.ask_with(frame, preambles, self.config.retries)
    }

    /// The same with another number of retries, 0 to 10 [HO-04]; more count as 10.
    ///
    /// # Errors
    /// Another request is under way, or the master has stopped.
    pub fn ask_with(&mut self, frame: Frame, preambles: Option<u8>, retries: u8) -> Result<(), Refused> {
        if matches!(self.state, State::Stopped) {
            return Err(Refused::Stopped);
        }
        if self.job.is_some() {
            return Err(Refused::Busy);
        }
        if self.pairer.pending_request() == Some(&frame) {
            // Somebody else asked just that; what we send now is no repeat of it.
            self.pairer.give_up();
            self.hand_out();
        }
        let preambles = preambles.unwrap_or(self.config.preambles);
        self.job = Some(Job {
            frame,
            preambles: usize::from(preambles.clamp(LEAST_PREAMBLES, MOST_PREAMBLES)),
            tries_left: retries.min(MOST_RETRIES) + 1,
            since: None,
            earlier: Vec::new(),
        });
        Ok(())
    }

    /// Gives up what was asked, without telling what became of it: whoever asked is gone. What is
    /// leaving still leaves.
    pub fn abandon(&mut self) {
        if self.job.take().is_some() && !matches!(self.state, State::Stopped) {
            self.abandoned |= matches!(self.state, State::Sending { .. });
            if matches!(self.state, State::Waiting { .. }) {
                self.turns.unanswered();
            }
            self.state = State::Idle;
            self.pairer.give_up();
            self.hand_out();
        }
    }

    /// Octets came.
    pub fn handle(&mut self, now: Instant, octets: &[Octet]) {
        if let Some(last) = octets.last() {
            self.turns.octets(last.at);
        }
        self.receiver.push(octets);
        self.drain(now);
    }

    /// The line's carrier detect, whenever it changes [LL-15]: while one is heard no transmission starts.
    /// A line that cannot tell never calls this.
    pub fn carrier(&mut self, now: Instant, on: bool) {
        self.turns.carrier(now, on);
        self.drain(now);
    }

    /// The last octet of what [`Output::Transmit`] gave out has left the line at `at`.
    pub fn sent(&mut self, at: Instant) {
        self.leaving = self.leaving.saturating_sub(1);
        if self.leaving > 0 {
            // An older one, whose answer was faster than the news of its end.
            return;
        }
        self.abandoned = false;
        match self.state {
            State::Sending { .. } => self.left(at),
            // A repeat that was already leaving when the answer came will be answered too, and what was
            // given up.
            State::Idle => {
                self.note_end(at);
                self.turns.left_for_nothing(at);
            }
            _ => {}
        }
    }

    /// Whoever carries our requests tells that the last one will have no answer, however long it is waited for and however
    /// often it is repeated [IP-12].
    pub fn no_answer(&mut self, now: Instant) {
        if let (State::Waiting { .. }, Some(job)) = (&self.state, &mut self.job) {
            job.tries_left = 0;
            self.failed();
            self.drain(now);
        }
    }

    fn note_end(&mut self, at: Instant) {
        if let Some(sent) = &mut self.last_sent {
            sent.ended_at = Some(at);
        }
    }

    /// The request has left the line at `at`: from then on an answer may come.
    fn left(&mut self, at: Instant) {
        self.note_end(at);
        if let Some(job) = &self.job {
            let octets = job.frame.encode_after(job.preambles);
            let start = at.before(self.timers.character * octets.len() as u32);
            let stamped = octets
                .iter()
                .enumerate()
                .map(|(i, &v)| Octet::clean(start + self.timers.character * (i as u32 + 1), v))
                .collect();
            self.pairer.push(Reception::Good(Good {
                frame: job.frame.clone(),
                preambles: job.preambles,
                octets: stamped,
            }));
        }
        self.state = State::Waiting { deadline: at + self.timers.slave_time_out + self.margin };
        self.turns.left(at);
    }

    /// Time passed.
    pub fn handle_timeout(&mut self, now: Instant) {
        self.receiver.handle_timeout(now);
        if let State::Sending { given_up } = self.state
            && given_up <= now
        {
            // The news of the end was lost: without this nothing would ever go on.
            self.leaving = 0;
            self.left(now);
        }
        self.drain(now);
        if matches!(self.state, State::Idle)
            && let Some(job) = &mut self.job
            && *job.since.get_or_insert(now) + self.patience <= now
        {
            self.no_turn();
        }
    }

    /// What to do or tell next.
    pub fn poll_output(&mut self) -> Option<Output> {
        self.out.pop_front()
    }

    /// When [`Master::handle_timeout`] wants to be called; `None` while nothing is to be done.
    pub fn wake_at(&self) -> Option<Instant> {
        // While a frame arrives, its end decides what is next; but it may not take for ever.
        let arriving = self.receiver.deadline().is_some();
        let mine = match (&self.state, &self.job) {
            (State::Idle, Some(job)) => {
                // Since when it waits is noted at the first chance: until then, at once.
                let over = job.since.map_or(Instant::ZERO, |t| t + self.patience);
                let waits = arriving || self.abandoned;
                Some(self.turns.free_at().filter(|_| !waits).unwrap_or(over))
            }
            (State::Sending { given_up }, _) => Some(*given_up),
            (State::Waiting { deadline }, _) if !arriving => Some(*deadline),
            (State::Waiting { deadline }, _) => Some(*deadline + self.longest_answer),
            _ => None,
        };
        [mine, self.receiver.deadline()].into_iter().flatten().min()
    }

    fn start(&mut self, now: Instant) {
        let Some(job) = &mut self.job else { return };
        let waits =
            !matches!(self.state, State::Idle) || self.abandoned || self.receiver.deadline().is_some();
        if waits || !self.turns.may_start(now) {
            return;
        }
        job.tries_left = job.tries_left.saturating_sub(1);
        let lasts = self.timers.character * (job.preambles + job.frame.len()) as u32;
        self.state = State::Sending { given_up: now + lasts + SEND_LIMIT };
        job.since = None;
        self.leaving += 1;
        self.last_sent = Some(Sent { frame: job.frame.clone(), ended_at: None, echo_due: self.echo });
        self.out.push_back(Output::Transmit(job.frame.encode_after(job.preambles)));
    }

    /// The link was never ours: the end, with the tries there were.
    fn no_turn(&mut self) {
        // A port that has not told the end of a transmission by now will not.
        self.abandoned = false;
        let Some(job) = &mut self.job else { return };
        job.tries_left = 0;
        self.pairer.give_up();
        self.hand_out();
        if let Some(mut job) = self.job.take() {
            self.out.push_back(match job.earlier.pop() {
                Some(last) => Output::Done(Box::new(job.whole(last))),
                None => Output::NoTurn(self.patience),
            });
        }
    }

    fn fail_if_over(&mut self, now: Instant) {
        if let State::Waiting { deadline } = self.state
            && deadline <= now
            && (self.receiver.deadline().is_none() || deadline + self.longest_answer <= now)
        {
            self.failed();
        }
    }

    /// No answer, or a damaged one: once more, or the end.
    fn failed(&mut self) {
        self.state = State::Idle;
        if self.job.as_ref().is_none_or(|j| j.tries_left == 0) {
            self.pairer.give_up();
            self.hand_out();
        }
    }
}
