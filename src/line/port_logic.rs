//! How a serial port with a modem behind it is worked, without the port: a state machine on given
//! time over a small trait [LI-06].

use super::carrier::CarrierWatch;
use super::echo::EchoFilter;
use super::error::Fault;
use super::error_counts::{ErrorCounts, ErrorWatch};
use super::hardware::{Hardware, Lines};
use super::serial_options::{EchoUse, RtsUse, SerialOptions};
use crate::frame::Octet;
use crate::time::{BitTimes, Instant, Pace};
use core::time::Duration;
use std::collections::VecDeque;

/// What is known about a port.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PortStatus {
    /// The port keeps parity, and octets with errors are marked [LI-09].
    pub parity_kept: bool,
    /// There is a request-to-send line.
    pub rts_line: bool,
    /// There is a data-terminal-ready line.
    pub dtr_line: bool,
    /// How often another program had moved one of these two lines, so that it was put back.
    pub lines_moved: u32,
    /// The driver tells when the shift register is empty; else the end of a transmission is computed [LI-06].
    pub end_told: bool,
    /// Carrier detect as it was seen last; `None` if there is no such line.
    pub carrier: Option<bool>,
    /// How often the carrier was seen to come.
    pub carrier_rises: u32,
    /// How often the carrier was seen to go.
    pub carrier_falls: u32,
    /// The carrier stayed on for longer than any message, so that it no longer holds up sending.
    pub carrier_stuck: bool,
    /// The adapter says that it hands octets on at once, or there is none [LI-10].
    pub low_latency: bool,
    /// Largest error of a stamp [LI-10].
    pub stamp_error: Duration,
    /// Transmissions that came back whole, whatever is done about them [LI-08].
    pub echoes: u32,
    /// What is done about them.
    pub echo: EchoUse,
    /// Errors that the driver has counted since the port was opened, as of the last octets; `None` where
    /// it does not count [LI-09].
    pub errors: Option<ErrorCounts>,
}

/// What the port did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PortOutput {
    /// Octets arrived that are not our echo; at least one.
    Octets(Vec<Octet>),
    /// The last octet of a reported transmission has left.
    Sent {
        /// End of that octet.
        at: Instant,
    },
}

/// Why a port cannot be used, or no longer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortFault {
    /// What was being done, such as `writing to`.
    pub doing: &'static str,
    /// Why it failed.
    pub fault: Fault,
    /// The system's words; may be empty.
    pub said: String,
}

impl PortFault {
    fn lost(doing: &'static str) -> impl Fn(String) -> PortFault {
        move |said| PortFault { doing, fault: Fault::Lost, said }
    }

    /// The first calls on the port: what fails there need not be the settings.
    fn setting_up(fault: Fault) -> impl Fn(String) -> PortFault {
        move |said| PortFault { doing: "setting up", fault, said }
    }
}

/// Stamp error of an adapter that hands octets on at once, and of a pseudo-terminal: the scheduler
/// (own; common practice, no source).
const STAMP_ERROR_LOW: Duration = Duration::from_millis(5);
/// USB adapters collect octets for up to 16 ms before they hand them over (the usual setting of the
/// usual chips; common practice, no source), and the scheduler comes on top.
const STAMP_ERROR: Duration = Duration::from_millis(20);
/// How often it is looked whether the port has run empty, or another's carrier has gone.
const LOOK_EVERY: Duration = Duration::from_millis(1);
/// How often carrier detect is looked at while it is off.
const LOOK_IDLE: Duration = Duration::from_millis(100);
/// After this long a port that will not run empty no longer holds up anything: it counts wrong, or
/// nobody empties it.
const GIVE_UP: Duration = Duration::from_secs(2);
/// How long request-to-send stays on after the computed end where nobody knows whether the shift
/// register is empty, bit times: less than the 5 that a carrier may last (protocol-notes, [LI-06]).
const TRAIL: u64 = 3;
/// How long it stays on after a piece of a transmission whose next piece may follow, characters.
const PIECE_TRAIL: u32 = 2;
/// Longer than any message, characters: 40 preambles and the longest frame.
const LONGEST_MESSAGE: u64 = 320;

/// A line that only we are to switch.
struct OwnLine {
    /// The port says truly how it is.
    readable: bool,
    moved: bool,
}

impl OwnLine {
    fn new(readable: bool) -> Self {
        OwnLine { readable, moved: false }
    }

    /// It was looked at: whether it is to be put back.
    fn was_moved(&mut self, wrong: bool) -> bool {
        if wrong && self.moved {
            // It did not stay where it was put a moment ago: the port does not say how it is.
            self.readable = false;
        }
        self.moved = wrong && self.readable;
        self.moved
    }
}

struct Job {
    octets: Vec<u8>,
    report: bool,
}

enum State {
    /// Nothing to send.
    Idle,
    /// Another's carrier is still on.
    Clearing { give_up: Instant },
    /// Octets are being handed to the port, which took some at `moved` last.
    Writing { begun: Instant, moved: Instant },
    /// All are written; the last ends at `end` at the line's pace.
    Leaving { end: Instant, late: bool },
    /// The last octet has left as far as can be known; request-to-send goes off then.
    Trailing { until: Instant },
}

/// The state machine. Call [`PortLogic::handle`] whenever the port has octets or room, something is to
/// be sent, or [`PortLogic::wake_at`] has come; then drain [`PortLogic::poll_output`].
pub struct PortLogic {
    options: SerialOptions,
    pace: Pace,
    status: PortStatus,
    state: State,
    jobs: VecDeque<Job>,
    /// How much of the first job is written.
    written: usize,
    /// Octets written since [`PortLogic::take_written`].
    newly_written: usize,
    last_end: Instant,
    /// Until when a piece belongs to the transmission that a piece before it began.
    pieces_until: Option<Instant>,
    rts_on: bool,
    echo: EchoFilter,
    errors: ErrorWatch,
    rts: OwnLine,
    dtr: OwnLine,
    carrier: CarrierWatch,
    looked_at: Instant,
    out: VecDeque<PortOutput>,
}

impl PortLogic {
    /// Makes a port that has just been opened ready: request-to-send off before anything else, then the
    /// settings, no hang-up on close, request-to-send and data-terminal-ready as the options say.
    ///
    /// # Errors
    /// It refuses the settings, or is lost.
    pub fn open(
        options: SerialOptions,
        pace: Pace,
        now: Instant,
        port: &mut impl Hardware,
    ) -> Result<PortLogic, PortFault> {
        let setting = PortFault::setting_up(Fault::System);
        port.set_rts(false).map_err(&setting)?;
        let parity_kept = port.configure().map_err(PortFault::setting_up(Fault::SettingsRefused))?;
        port.keep_lines_on_close().map_err(&setting)?;
        // Once more, or on: to change the settings may have moved it.
        let rts_on = options.rts == RtsUse::On;
        let rts_line = port.set_rts(rts_on).map_err(&setting)?;
        let dtr_line = port.set_dtr(options.dtr).map_err(&setting)?;
        let low_latency = port.ask_low_latency();
        let stamp_error = if low_latency { STAMP_ERROR_LOW } else { STAMP_ERROR };
        let lines = port.lines();
        let carrier = lines.map(|l| l.carrier);
        let pending = pace.character() * 2 + stamp_error * 2;
        Ok(PortLogic {
            options,
            pace,
            status: PortStatus {
                parity_kept,
                rts_line,
                dtr_line,
                lines_moved: 0,
                end_told: port.unsent().shift_register_empty.is_some(),
                carrier,
                carrier_rises: 0,
                carrier_falls: 0,
                carrier_stuck: false,
                low_latency,
                stamp_error,
                echoes: 0,
                echo: options.echo,
                errors: None,
            },
            state: State::Idle,
            jobs: VecDeque::new(),
            written: 0,
            newly_written: 0,
            last_end: Instant::ZERO,
            pieces_until: None,
            rts_on: rts_on && rts_line,
            echo: EchoFilter::new(pending),
            rts: OwnLine::new(lines.is_some_and(|l| rts_line && l.rts == rts_on)),
            dtr: OwnLine::new(lines.is_some_and(|l| dtr_line && l.dtr == options.dtr)),
            errors: ErrorWatch::new(port.error_counts(), pending),
            carrier: CarrierWatch::new(carrier, pace, stamp_error),
            looked_at: now,
            out: VecDeque::new(),
        })
    }

    /// Queues a transmission. `report` asks for [`PortOutput::Sent`]; without it the octets count as a
    /// piece of a transmission, of which the next piece may follow at the pace of the wire.
    pub fn send(&mut self, octets: Vec<u8>, report: bool) {
        self.jobs.push_back(Job { octets, report });
    }

    /// What is known about the port now.
    pub fn status(&self) -> PortStatus {
        PortStatus {
            carrier: self.carrier.on,
            carrier_rises: self.carrier.rises,
            carrier_falls: self.carrier.falls,
            echoes: self.echo.seen,
            errors: self.errors.total(),
            ..self.status
        }
    }

    /// Whether carrier detect has been seen to change: a line that nobody drives looks like silence, so
    /// until then nothing is concluded from it.
    pub fn carrier_seen(&self) -> bool {
        self.carrier.is_alive()
    }

    /// How many octets were written since the last call.
    pub fn take_written(&mut self) -> usize {
        core::mem::take(&mut self.newly_written)
    }

    /// Whether it waits for room in the port.
    pub fn wants_room(&self) -> bool {
        matches!(self.state, State::Writing { .. })
    }

    /// When [`PortLogic::handle`] wants to be called at the latest.
    pub fn wake_at(&self) -> Option<Instant> {
        let state = match self.state {
            State::Idle => None,
            State::Writing { moved, .. } => self.keyed().then_some(moved + GIVE_UP),
            State::Clearing { .. } => Some(self.looked_at + LOOK_EVERY),
            State::Leaving { end, late: false } => Some(end),
            State::Leaving { .. } => Some(self.looked_at + LOOK_EVERY),
            State::Trailing { until } => Some(until),
        };
        let carrier = self.carrier.on.map(|on| {
            let every = if on { self.pace.character().max(LOOK_EVERY) } else { LOOK_IDLE };
            self.looked_at + every
        });
        [state, carrier, self.echo.deadline()].into_iter().flatten().min()
    }

    /// Reads, writes, and switches lines as the time has come for.
    ///
    /// # Errors
    /// The port is lost.
    pub fn handle(&mut self, now: Instant, port: &mut impl Hardware) -> Result<(), PortFault> {
        let done = self.work(now, port);
        if done.is_err() {
            // What was kept back as a possible echo never turned out to be one.
            let mut heard = Vec::new();
            self.echo.release(&mut heard);
            if self.options.echo == EchoUse::Auto {
                self.hand_on(heard);
            }
        }
        done
    }

    fn work(&mut self, now: Instant, port: &mut impl Hardware) -> Result<(), PortFault> {
        self.look(now, port);
        self.read(now, port)?;
        while self.step(now, port)? {}
        Ok(())
    }

    /// What has happened.
    pub fn poll_output(&mut self) -> Option<PortOutput> {
        self.out.pop_front()
    }

    /// The port is about to be closed: no carrier of ours stays behind, and nothing that would leave
    /// without it.
    pub fn close(&mut self, port: &mut impl Hardware) {
        if self.keyed() {
            port.discard_unsent();
            let _ = port.set_rts(false);
            self.rts_on = false;
        }
    }

    fn look(&mut self, now: Instant, port: &mut impl Hardware) {
        self.looked_at = now;
        if self.carrier.on.is_some() {
            // A line that can no longer be read is as it was.
            let lines = port.lines();
            let on = lines.map(|l| l.carrier).or(self.carrier.on);
            self.carrier.look(now, on);
            if on == Some(false) {
                self.status.carrier_stuck = false;
            }
            if let Some(lines) = lines {
                self.keep_lines(lines, port);
            }
        }
    }

    /// Puts lines back that another program has moved: to open the port is enough for that.
    fn keep_lines(&mut self, lines: Lines, port: &mut impl Hardware) {
        // A port that is lost says so when it is read.
        if self.rts.was_moved(lines.rts != self.rts_on) {
            let _ = port.set_rts(self.rts_on);
            self.status.lines_moved = self.status.lines_moved.saturating_add(1);
        }
        if self.dtr.was_moved(lines.dtr != self.options.dtr) {
            let _ = port.set_dtr(self.options.dtr);
            self.status.lines_moved = self.status.lines_moved.saturating_add(1);
        }
    }

    fn read(&mut self, now: Instant, port: &mut impl Hardware) -> Result<(), PortFault> {
        let mut arrived = Vec::new();
        let read = port.read(&mut arrived).map_err(PortFault::lost("reading from"));
        if !arrived.is_empty() {
            self.errors.judge(now, port.error_counts(), &mut arrived);
        }
        let mut heard = Vec::new();
        for (value, marks) in arrived {
            self.heard(Octet { at: now, value, marks }, &mut heard);
        }
        // Last, so that what came just now can still turn out to be the rest of an echo.
        match self.options.echo {
            EchoUse::Auto => self.echo.expire(now, &mut heard),
            _ => self.echo.expire(now, &mut Vec::new()),
        }
        self.hand_on(heard);
        read
    }

    fn heard(&mut self, octet: Octet, out: &mut Vec<Octet>) {
        match self.options.echo {
            EchoUse::Auto => self.echo.push(octet, out),
            // Only counted.
            EchoUse::On | EchoUse::Off => {
                self.echo.push(octet, &mut Vec::new());
                out.push(octet);
            }
        }
    }

    fn hand_on(&mut self, mut octets: Vec<Octet>) {
        octets.iter_mut().for_each(|o| self.carrier.mark(o));
        if !octets.is_empty() {
            self.out.push_back(PortOutput::Octets(octets));
        }
    }

    /// Whether request-to-send has to be switched around transmissions.
    fn keys(&self) -> bool {
        self.options.rts == RtsUse::Transmit && self.status.rts_line
    }

    /// Whether a carrier of ours is on that has to go.
    fn keyed(&self) -> bool {
        self.keys() && self.rts_on
    }

    fn switch_rts(&mut self, on: bool, port: &mut impl Hardware) -> Result<(), PortFault> {
        if self.keys() && self.rts_on != on {
            port.set_rts(on).map_err(PortFault::lost("switching request-to-send of"))?;
            self.rts_on = on;
        }
        Ok(())
    }

    /// Goes on as far as it can; false when it has to wait.
    fn step(&mut self, now: Instant, port: &mut impl Hardware) -> Result<bool, PortFault> {
        match self.state {
            State::Idle => {
                if self.jobs.is_empty() {
                    return Ok(false);
                }
                if self.keys() && self.carrier.on == Some(true) && !self.status.carrier_stuck {
                    let longest = match self.pace {
                        Pace::Fast => BitTimes::characters(LONGEST_MESSAGE).duration(),
                        pace => pace.scale(BitTimes::characters(LONGEST_MESSAGE).duration()),
                    };
                    self.state = State::Clearing { give_up: now + longest };
                } else {
                    self.begin(now, port)?;
                }
            }
            State::Clearing { give_up } => {
                if self.carrier.on == Some(true) && now < give_up {
                    return Ok(false);
                }
                // No message is that long: it is the port that is wrong, and it is not asked again.
                self.status.carrier_stuck = self.carrier.on == Some(true);
                self.begin(now, port)?;
            }
            State::Writing { begun, moved } => return self.write(begun, moved, now, port),
            State::Leaving { end, late } => return self.leave(end, late, now, port),
            State::Trailing { until } => {
                let piece_follows = self.jobs.front().is_some_and(|j| !j.report);
                if piece_follows && self.rts_on {
                    self.go_on(now);
                } else if now < until {
                    return Ok(false);
                } else {
                    self.switch_rts(false, port)?;
                    self.state = State::Idle;
                }
            }
        }
        Ok(true)
    }

    fn begin(&mut self, now: Instant, port: &mut impl Hardware) -> Result<(), PortFault> {
        self.switch_rts(true, port)?;
        let Some(job) = self.jobs.front() else { return Ok(()) };
        // Where nothing is switched, pieces come here one by one.
        if !job.report && self.pieces_until.is_some_and(|t| now <= t) {
            self.go_on(now);
            return Ok(());
        }
        let mut heard = Vec::new();
        self.echo.begin(&job.octets, &mut heard);
        if self.options.echo == EchoUse::Auto {
            self.hand_on(heard);
        }
        self.state = State::Writing { begun: now, moved: now };
        Ok(())
    }

    /// Another piece of the transmission that runs.
    fn go_on(&mut self, now: Instant) {
        if let Some(job) = self.jobs.front() {
            self.echo.go_on(&job.octets);
        }
        self.state = State::Writing { begun: now, moved: now };
    }

    fn write(
        &mut self,
        begun: Instant,
        moved: Instant,
        now: Instant,
        port: &mut impl Hardware,
    ) -> Result<bool, PortFault> {
        let Some(job) = self.jobs.front() else {
            self.state = State::Idle;
            return Ok(true);
        };
        let rest = job.octets.get(self.written..).unwrap_or(&[]);
        if !rest.is_empty() {
            let n = port.write(rest).map_err(PortFault::lost("writing to"))?;
            self.newly_written += n;
            self.written += n;
            if n > 0 {
                self.state = State::Writing { begun, moved: now };
            } else if self.keyed() && now >= moved + GIVE_UP {
                // A carrier without octets would keep everybody else from the wire.
                return Err(PortFault { doing: "writing to", fault: Fault::Stuck, said: String::new() });
            }
            return Ok(n > 0);
        }
        let count = u32::try_from(job.octets.len()).unwrap_or(u32::MAX);
        let end = begun.max(self.last_end) + self.pace.character().saturating_mul(count);
        self.last_end = end;
        self.written = 0;
        self.pieces_until = (!job.report).then(|| end.max(now) + self.pace.character() * PIECE_TRAIL);
        if job.report || self.keyed() {
            self.state = State::Leaving { end, late: false };
        } else {
            self.jobs.pop_front();
            self.echo.end(end.max(now));
            self.state = State::Idle;
        }
        Ok(true)
    }

    fn leave(
        &mut self,
        end: Instant,
        late: bool,
        now: Instant,
        port: &mut impl Hardware,
    ) -> Result<bool, PortFault> {
        let report = self.jobs.front().is_none_or(|j| j.report);
        if !report && self.jobs.get(1).is_some_and(|j| !j.report) {
            self.jobs.pop_front();
            self.go_on(now);
            return Ok(true);
        }
        if now < end {
            return Ok(false);
        }
        let unsent = port.unsent();
        let busy = unsent.queued.is_some_and(|n| n > 0) || unsent.shift_register_empty == Some(false);
        if busy && now < end + GIVE_UP {
            self.state = State::Leaving { end, late: true };
            return Ok(false);
        }
        let at = if late { now } else { end };
        self.last_end = at;
        self.jobs.pop_front();
        self.echo.end(at);
        if report {
            self.out.push_back(PortOutput::Sent { at });
        }
        if !self.keyed() {
            self.state = State::Idle;
            return Ok(true);
        }
        let mut until = at;
        if unsent.shift_register_empty.is_none() {
            // The driver's buffer is empty; the last character may have begun just now.
            until += self.pace.scale(BitTimes(TRAIL).duration());
            if late {
                until += self.pace.character();
            }
        }
        if !report {
            until += self.pace.character() * PIECE_TRAIL;
        }
        self.state = State::Trailing { until };
        Ok(true)
    }
}
