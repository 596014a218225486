//! What a master makes of what it hears: its own echo, an answer, another master.

use super::{Master, Output, State};
use crate::frame::{FrameType, Good, Reception};
use crate::link::violation::Words;
use crate::link::{Evidence, Violation};
use crate::time::Instant;
use crate::transaction::{Interlude, Kind, Outcome, Passed, Transaction};
use std::collections::VecDeque;

/// Most bursts that wait for the end of a request; the oldest is dropped for another.
const MOST_BURSTS: usize = 256;

impl Master {
    pub(super) fn drain(&mut self, now: Instant) {
        self.take_up_bursts();
        while let Some(reception) = self.receiver.next() {
            if self.is_echo(&reception) {
                continue;
            }
            let waits = matches!(self.state, State::Sending { .. } | State::Waiting { .. });
            if let (Some(bursts), Reception::Good(g), true) = (&mut self.bursts, &reception, waits)
                && g.frame.frame_type() == FrameType::Back
            {
                if bursts.len() >= MOST_BURSTS {
                    bursts.pop_front();
                }
                bursts.push_back(reception);
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
        self.take_up_bursts();
        self.start(now);
    }

    /// Hands on the bursts of a line of messages that came while an answer was awaited, once none is.
    fn take_up_bursts(&mut self) {
        while matches!(self.state, State::Idle)
            && let Some(burst) = self.bursts.as_mut().and_then(VecDeque::pop_front)
        {
            self.turns.heard(&burst);
            self.pairer.push(burst);
            self.hand_out();
        }
    }

    /// Whether it is our own transmission that the line gives back [LL-18], which may come after the end
    /// of the transmission has been told already.
    fn is_echo(&mut self, reception: &Reception) -> bool {
        let spoilt = matches!(self.state, State::Sending { .. }) && !self.proves_sent(reception);
        let (begins, margin) = (reception.first_at().before(self.timers.character), self.margin);
        let Some(sent) = self.last_sent.as_mut().filter(|s| s.echo_due) else { return false };
        match reception {
            // The same octets much later are those of another master.
            Reception::Good(g) => {
                let in_time = sent.ended_at.is_none_or(|end| begins <= end + margin);
                g.frame == sent.frame && in_time && core::mem::take(&mut sent.echo_due)
            }
            // A spoilt echo, and what is left of it.
            _ => spoilt,
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
        match reception {
            Reception::Good(g)
                if g.frame.frame_type() == FrameType::Stx && g.frame.address().master == self.config.role =>
            {
                let before = self.other_with_our_bit.replace(g.clone());
                let before = before.filter(|b| end(g).since(end(b)) <= self.suspicion);
                // Chance may make any frame, but not the very one that is ours.
                let sent = self.last_sent.as_ref().map(|s| &s.frame);
                let ours = [sent, self.job.as_ref().map(|j| &j.frame)];
                if before.is_some() || ours.contains(&Some(&g.frame)) {
                    self.stop(before.as_ref(), g);
                } else {
                    self.turns.heard(reception);
                }
            }
            other => self.turns.heard(other),
        }
    }

    /// Another master with our bit is at work: tells it with its requests and ours [HO-03].
    fn stop(&mut self, before: Option<&Good>, heard: &Good) {
        let job = self.job.take();
        if matches!(self.state, State::Stopped) {
            return;
        }
        let doing = match (&self.state, &job) {
            (State::Sending { .. }, Some(job)) => format!("while sending {}", Words(&job.frame)),
            (State::Waiting { .. }, Some(job)) => {
                format!("while waiting for the answer to {}", Words(&job.frame))
            }
            (_, Some(job)) => format!("while waiting for a turn to send {}", Words(&job.frame)),
            (_, None) => "while listening".to_owned(),
        };
        let role = self.config.role;
        let what = format!(
            "{doing}: another {role} master is at work on this line: it sent {}, which this one did not",
            Words(&heard.frame)
        );
        let ours = self.last_sent.as_ref().map(|sent| Evidence {
            part: "our last request",
            ended_at: sent.ended_at,
            frame: sent.frame.clone(),
        });
        let theirs = before.into_iter().chain([heard]).map(|g| Evidence {
            part: "heard from the other",
            ended_at: Some(end(g)),
            frame: g.frame.clone(),
        });
        self.state = State::Stopped;
        self.out.push_back(Output::Stopped(Violation {
            requirement: "HO-03",
            what,
            evidence: ours.into_iter().chain(theirs).collect(),
        }));
    }

    pub(super) fn hand_out(&mut self) {
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
                        Some(job) if arrived_damaged(&t) && (leaving || job.tries_left > 0) => {
                            self.job = Some(job);
                            self.out.push_back(Output::Again(t));
                        }
                        Some(mut job) => {
                            let whole = job.whole(*t);
                            if unanswered {
                                self.turns.unanswered();
                            } else if a_try_was_silent(&whole) {
                                self.turns.another_answer_may_come();
                            }
                            self.out.push_back(Output::Done(Box::new(whole)));
                        }
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

fn end(good: &Good) -> Instant {
    good.octets.last().map_or(Instant::ZERO, |o| o.at)
}

/// Whether the device says that the request arrived damaged, so that it was not obeyed [ST-01].
fn arrived_damaged(t: &Transaction) -> bool {
    t.reply_frame().and_then(|f| f.status()).is_some_and(|[first, _]| first & 0x80 != 0)
}

/// Whether a try was answered by nothing at all, so that its answer may only be late [LL-18].
fn a_try_was_silent(t: &Transaction) -> bool {
    let damaged = t.interludes.iter().filter(|i| matches!(i, Interlude::Damaged(_))).count();
    t.tries.len() > 1 + damaged
}
