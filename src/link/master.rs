//! A master: asks, waits, asks again, and stays away where a master with its bit is at work.

use super::{Timers, Violation};
use crate::frame::{
    Capabilities, Frame, FrameType, Good, MAX_FRAME, Master as Role, Octet, Receiver, ReceiverConfig,
    Reception,
};
use crate::time::{BitTimes, Instant, Pace};
use crate::transaction::{Interlude, Kind, Outcome, Pairer, PairerConfig, Passed, Transaction};
use bytes::Bytes;
use core::fmt;
use core::time::Duration;
use std::collections::VecDeque;

/// Most repeats of a request [HO-04].
const MOST_RETRIES: u8 = 10;
/// Longest answer from its first preamble to its check byte, characters [HO-04].
const LONGEST_ANSWER: u64 = 40 + MAX_FRAME as u64;
/// How long a turn is waited for, characters [HO-04]: more than the longest transaction of another master takes.
const PATIENCE: u64 = 1000;
/// A port tells the end of a transmission at most so much later than the wire's own time.
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
    /// The request that was asked was never sent: in all this time the link was not silent long enough
    /// for a turn [LL-05].
    NoTurn(Duration),
    /// Something else passed on the link.
    Overheard(Passed),
    /// A master with our bit is at work: this one has stopped for good [HO-03].
    Stopped(Violation),
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

#[derive(Debug)]
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

#[derive(Debug)]
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
#[derive(Debug)]
pub struct Master {
    config: MasterConfig,
    timers: Timers,
    /// What stamps may be wrong by: added to the time in which an answer must begin.
    margin: Duration,
    /// How long an answer may last.
    longest_answer: Duration,
    /// How long a turn is waited for.
    patience: Duration,
    /// Whether the line gives us back what we send.
    echo: bool,
    receiver: Receiver,
    pairer: Pairer,
    state: State,
    job: Option<Job>,
    /// On a line that gives back what we send: that of the last transmission is still to come.
    echo_due: bool,
    /// What is leaving is no longer asked for: nothing is sent behind it before its end is told.
    abandoned: bool,
    /// Transmissions whose end has not been told.
    leaving: u32,
    /// The silence that is waited for at present.
    quiet: Duration,
    /// Not before then.
    free_at: Instant,
    /// The end of what was heard last.
    heard_at: Instant,
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
        Master {
            config,
            timers,
            margin: timers.character * 2 + line.stamp_error * 4,
            longest_answer: limit(LONGEST_ANSWER),
            patience: limit(PATIENCE),
            echo: line.echo,
            receiver: Receiver::new(ReceiverConfig::for_line(pace, line.stamp_error)),
            // The master itself says when a request is unanswered.
            pairer: Pairer::new(PairerConfig::for_master(timers.character)),
            state: State::Idle,
            job: None,
            echo_due: false,
            abandoned: false,
            leaving: 0,
            quiet: wait,
            free_at: now + wait,
            heard_at: now,
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
            self.state = State::Idle;
            self.pairer.give_up();
            self.hand_out();
        }
    }

    /// Octets came.
    pub fn handle(&mut self, now: Instant, octets: &[Octet]) {
        self.receiver.push(octets);
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
            State::Idle if at > self.heard_at => {
                self.quiet = self.timers.link_quiet;
                self.free_at = self.free_at.max(at + self.quiet);
            }
            _ => {}
        }
    }

    /// The request has left the line at `at`: from then on an answer may come.
    fn left(&mut self, at: Instant) {
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
        self.quiet = self.timers.link_quiet;
        self.free_at = at + self.quiet;
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
            (State::Idle, Some(_)) if !arriving && !self.abandoned => Some(self.free_at),
            (State::Idle, Some(job)) => job.since.map(|t| t + self.patience),
            (State::Sending { given_up }, _) => Some(*given_up),
            (State::Waiting { deadline }, _) if !arriving => Some(*deadline),
            (State::Waiting { deadline }, _) => Some(*deadline + self.longest_answer),
            _ => None,
        };
        [mine, self.receiver.deadline()].into_iter().flatten().min()
    }

    fn start(&mut self, now: Instant) {
        let free = now >= self.free_at && self.receiver.deadline().is_none() && !self.abandoned;
        if !free || !matches!(self.state, State::Idle) {
            return;
        }
        let Some(job) = &mut self.job else { return };
        job.tries_left = job.tries_left.saturating_sub(1);
        let lasts = self.timers.character * (job.preambles + job.frame.len()) as u32;
        self.state = State::Sending { given_up: now + lasts + SEND_LIMIT };
        job.since = None;
        self.leaving += 1;
        self.echo_due = self.echo;
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

    fn drain(&mut self, now: Instant) {
        while let Some(reception) = self.receiver.next() {
            if self.is_echo(&reception) {
                continue;
            }
            if self.proves_sent(&reception) {
                self.left(reception.first_at().before(self.timers.character));
            }
            self.note(&reception);
            if let State::Waiting { deadline } = &mut self.state
                && matches!(reception, Reception::Damaged(_))
            {
                // Nothing more is waited for, but the answer may stand behind a false start.
                *deadline = (*deadline).min(reception.last_at());
            }
            self.pairer.push(reception);
            self.hand_out();
        }
        self.fail_if_over(now);
        self.start(now);
    }

    /// Whether it is our own frame, given back by the modem once for each transmission, and not
    /// another master's. The octets may come when the end of the transmission has been told already.
    fn is_echo(&mut self, reception: &Reception) -> bool {
        match reception {
            Reception::Good(g) => {
                let own = self.job.as_ref().is_some_and(|j| j.frame == g.frame);
                own && core::mem::take(&mut self.echo_due)
            }
            // A spoilt echo, and what is left of it.
            _ => self.echo_due && matches!(self.state, State::Sending { .. }) && !self.proves_sent(reception),
        }
    }

    /// Whether it can only be the answer to what is leaving, which then has left, whatever the port
    /// still thinks.
    fn proves_sent(&self, reception: &Reception) -> bool {
        let header = match reception {
            Reception::Good(g) => Some((g.frame.frame_type(), g.frame.address(), g.frame.command())),
            Reception::Damaged(d) => d.header().map(|h| (h.delimiter.frame_type, h.address, h.command)),
            Reception::Noise(_) => None,
        };
        let (State::Sending { .. }, Some(job), Some((kind, from, command))) =
            (&self.state, &self.job, header)
        else {
            return false;
        };
        let to = job.frame.address();
        // To a request to all a device answers with its own address [DV-07].
        kind == FrameType::Ack
            && command == job.frame.command()
            && (from.target == to.target || to.is_broadcast())
    }

    /// Takes from a reception when the link is ours again, and whether we must stop.
    fn note(&mut self, reception: &Reception) {
        let end = reception.last_at();
        self.heard_at = end;
        self.quiet = match reception {
            Reception::Good(g) => match g.frame.frame_type() {
                FrameType::Stx if g.frame.address().master == self.config.role => {
                    self.stop(&g.frame);
                    return;
                }
                FrameType::Stx => self.timers.link_quiet,
                // An answer names the master that had its turn, a burst the one that may speak next [LL-10].
                kind if (kind == FrameType::Back) == (g.frame.address().master == self.config.role) => {
                    self.timers.hold
                }
                _ => self.timers.link_grant,
            },
            // It may have been a request, whose answer is to come, or an answer to anybody.
            Reception::Damaged(_) => self.timers.link_quiet,
            // Noise tells nothing, but the silence begins anew.
            Reception::Noise(_) => self.quiet.max(self.timers.link_grant),
        };
        self.free_at = end + self.quiet;
    }

    fn stop(&mut self, frame: &Frame) {
        let what = format!(
            "another {} master is at work on this line: it sent command {} to {}",
            self.config.role,
            frame.command(),
            frame.address().target
        );
        self.job = None;
        if matches!(self.state, State::Stopped) {
            return;
        }
        self.state = State::Stopped;
        self.out.push_back(Output::Stopped(Violation {
            requirement: "HO-03",
            what,
            evidence: Some(frame.clone()),
        }));
    }

    fn hand_out(&mut self) {
        while let Some(passed) = self.pairer.next() {
            match passed {
                Passed::Transaction(t) if self.is_ours(&t) => {
                    // A repeat is leaving: its own answer is still to come.
                    let leaving = matches!(self.state, State::Sending { .. });
                    if !leaving {
                        self.state = State::Idle;
                    }
                    let unanswered = matches!(t.outcome, Outcome::Silent | Outcome::Garbled);
                    match self.job.take() {
                        // Another frame came between: the pairer closed the try, the job goes on.
                        Some(mut job) if unanswered && (leaving || job.tries_left > 0) => {
                            job.earlier.push(*t);
                            self.job = Some(job);
                        }
                        Some(mut job) => self.out.push_back(Output::Done(Box::new(job.whole(*t)))),
                        None => {}
                    }
                }
                other => self.out.push_back(Output::Overheard(other)),
            }
        }
    }

    fn is_ours(&self, t: &Transaction) -> bool {
        t.kind == Kind::Asked
            && self.job.as_ref().is_some_and(|j| t.request() == Some(&j.frame))
            && !matches!(self.state, State::Stopped)
    }
}
