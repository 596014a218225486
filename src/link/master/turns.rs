//! From when on the link is ours [LL-09]: what was heard last says how much silence is needed.

use crate::frame::{FrameType, Master as Role, Reception};
use crate::link::Timers;
use crate::time::Instant;
use core::time::Duration;

/// A turn that was left to us, and is ours for a short time only [LL-13].
#[derive(Clone, Copy, Debug)]
struct Granted {
    /// Who starts later than this may meet the other master.
    until: Instant,
    /// By then the other one would have begun.
    again: Instant,
}

/// When a master may start.
#[derive(Clone, Debug)]
pub(super) struct Turns {
    role: Role,
    timers: Timers,
    /// How late we may be woken without missing our turn, and how late a line may tell that a
    /// carrier is gone [LL-17].
    lateness: Duration,
    /// RT1 of the other master, and RT2 [LL-14].
    courtesy: Duration,
    /// How long another master counts as present after its last request [LL-14].
    presence: Duration,
    /// The longest time without a chance for one that was never heard [LL-14].
    chance_every: Duration,
    /// The silence that is waited for at present.
    quiet: Duration,
    /// Not before then.
    free_at: Instant,
    granted: Option<Granted>,
    /// The end of what was heard last.
    heard_at: Instant,
    /// The end of the last octet, which may belong to something that has not been made out yet.
    octet_at: Instant,
    /// The end of what passed last, our own included.
    silent_since: Instant,
    /// The end of our last request.
    left_at: Option<Instant>,
    /// The end of another master's last request.
    other_at: Option<Instant>,
    /// When another master last could have begun, had there been one.
    chance_at: Instant,
    /// Whether a carrier is heard [LL-15].
    carrier: bool,
}

impl Turns {
    /// Turns of a master that begins to listen at `now` and waits for `quiet`.
    pub(super) fn new(
        (role, timers): (Role, Timers),
        lateness: Duration,
        (presence, chance_every): (Duration, Duration),
        courtesy: Duration,
        (quiet, now): (Duration, Instant),
    ) -> Self {
        Turns {
            role,
            timers,
            lateness,
            courtesy,
            presence,
            chance_every,
            chance_at: now,
            quiet,
            free_at: now + quiet,
            granted: None,
            heard_at: now,
            octet_at: now,
            silent_since: now,
            left_at: None,
            other_at: None,
            carrier: false,
        }
    }

    /// When a start is to be tried; `None` while a carrier forbids it, however long that lasts.
    pub(super) fn free_at(&self) -> Option<Instant> {
        (!self.carrier).then_some(self.free_at)
    }

    /// Whether somebody who wants to start may do so.
    pub(super) fn may_start(&mut self, now: Instant) -> bool {
        if let Some(granted) = self.granted.take_if(|g| now > g.until) {
            self.free_at = self.free_at.max(granted.again);
        }
        let may = !self.carrier && now >= self.free_at;
        if may && now.since(self.silent_since) >= self.courtesy {
            self.chance_at = now;
        }
        may
    }

    /// A request of ours has left, whose answer is waited for: if none comes, RT1 counts from here.
    pub(super) fn left(&mut self, at: Instant) {
        self.granted = None;
        self.quiet = self.timers.link_quiet;
        self.free_at = at + self.quiet;
        self.silent_since = at;
        self.left_at = Some(at);
    }

    /// Something of ours has left whose answer nobody waits for: it will be answered all the same
    /// [LL-18].
    pub(super) fn left_for_nothing(&mut self, at: Instant) {
        if at > self.heard_at {
            self.silent_since = self.silent_since.max(at);
            self.another_answer_may_come();
        }
    }

    /// More than one try may be answered [LL-18].
    pub(super) fn another_answer_may_come(&mut self) {
        self.granted = None;
        self.quiet = self.timers.link_quiet;
        self.free_at = self.free_at.max(self.silent_since + self.quiet);
    }

    /// A request of ours has ended without an answer: another master is let speak, whose RT1 may be longer
    /// than ours. One that never had a turn was never heard, so it gets a chance now and then [LL-14].
    pub(super) fn unanswered(&mut self) {
        let present = self.other_at.is_some_and(|t| self.silent_since.since(t) <= self.presence);
        if present || self.silent_since.since(self.chance_at) >= self.chance_every {
            // Noise makes it begin anew, so that the other one is not met at its RT1.
            self.quiet = self.quiet.max(self.courtesy);
            self.free_at = self.free_at.max(self.silent_since + self.quiet);
        }
    }

    /// Octets came, the last of which ended at `end`; what they are is told later.
    pub(super) fn octets(&mut self, end: Instant) {
        self.octet_at = end;
    }

    /// Takes from a reception when the link is ours again.
    pub(super) fn heard(&mut self, reception: &Reception) {
        let end = reception.last_at();
        let t = self.timers;
        self.heard_at = end;
        self.silent_since = end;
        self.granted = None;
        match reception {
            Reception::Good(g) => {
                self.chance_at = end;
                let named = g.frame.address().master == self.role;
                self.quiet = match (g.frame.frame_type(), named) {
                    (FrameType::Stx, _) => {
                        self.other_at = Some(end);
                        t.link_quiet
                    }
                    // An answer names the master that had its turn, a burst the one that may speak next [LL-10].
                    (FrameType::Ack, false) | (FrameType::Back, true) => {
                        let until = end + t.hold + self.lateness;
                        self.granted = Some(Granted { until, again: end + t.link_grant + t.hold });
                        t.hold
                    }
                    (FrameType::Ack, true) | (FrameType::Back, false) => t.link_grant,
                };
                self.free_at = end + self.quiet;
            }
            // It may have been a request, whose answer is to come, or an answer to anybody.
            Reception::Damaged(_) => {
                self.quiet = t.link_quiet;
                self.free_at = end + self.quiet;
            }
            Reception::Noise(_) => {
                // The end of what was said while we spoke: the other one waits as long as we do, and one of
                // us must wait longer, or we begin together again [LL-22].
                if self.left_at.is_some_and(|at| reception.first_at() < at + t.character * 2) {
                    self.quiet = self.quiet.max(t.link_quiet + t.character * 4);
                }
                self.disturbed(end);
            }
        }
    }

    /// Noise until `end` tells nothing, but the silence begins anew. A turn that was ours is gone, used or not:
    /// who has had its transaction begins at RT2, and we must not begin with it [LL-13].
    fn disturbed(&mut self, end: Instant) {
        let t = self.timers;
        let was_ours = self.quiet == t.hold;
        self.quiet = self.quiet.max(if was_ours { t.link_grant + t.hold } else { t.link_grant });
        self.granted = None;
        self.free_at = self.free_at.max(end + self.quiet);
    }

    /// The line hears a carrier, or none any more.
    pub(super) fn carrier(&mut self, now: Instant, on: bool) {
        let gone = self.carrier && !on;
        self.carrier = on;
        // A carrier goes a little later than the last octet, from whose end everything counts; one
        // that lasted longer, or brought no octets at all, is noise [LL-15].
        if gone && now > self.silent_since.max(self.octet_at) + self.lateness {
            self.silent_since = now;
            self.disturbed(now);
        }
    }
}
