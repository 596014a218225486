//! What a case can do on the line.

use super::case::Case;
use super::heard::{Heard, Reply, Words, ms};
use super::identify::Found;
use super::put_back::PutBack;
use super::request::Request;
use super::verdict::{Outcome, Stop, expect, fail};
use super::wire::AFTER_ANYTHING;
use super::wires::Wires;
use crate::app::command::{Effect, Revision, spec};
use crate::frame::{Capabilities, Master, RawFrame, Receiver, ReceiverConfig, Reception, StampUnit};
use crate::line::{Line, SendsFaults};
use crate::time::{BitTimes, Instant, Pace};
use core::time::Duration;
use std::collections::BTreeMap;

/// Slave time-out, characters [LL-02].
const SLAVE_TIME_OUT: u64 = 28;
/// Numbers that stand for no command [CO-06] [CM-RANGES].
pub const RESERVED: [u8; 6] = [4, 5, 10, 127, 254, 255];
/// How often a request is repeated that nobody answered, or only with damage.
const REPEATS: usize = 3;
/// The same while something is put back: not a verdict is at stake then, but the device.
const REPEATS_OF_UNDO: usize = 19;
/// In octet 15 of command 15 [TB-03].
const WRITE_PROTECTED: u8 = 1;
/// How long a delayed response or a busy device is waited for [HO-10].
const LONGEST_DELAY: Duration = Duration::from_secs(60);

/// A case's hands on the line: sends what it is told, octet by octet, and keeps what came.
///
/// It acts as either master, one request at a time, and speaks only on a silent line.
pub struct Probe<'l> {
    pub(super) line: &'l mut dyn Line,
    pub(super) receiver: Receiver,
    /// What came and has not been handed out.
    pub(super) fresh: Vec<Reception>,
    /// Octets that came since something was sent, or listening began.
    pub(super) held: usize,
    /// End of the last octet, ours or somebody's.
    pub(super) last_at: Instant,
    /// Silence that is wanted after it.
    pub(super) quiet: u32,
    /// The last that we sent, while its echo may come.
    pub(super) echo: Option<Vec<u8>>,
    /// The last that we sent, while its answer may come.
    pub(super) asked: Option<Vec<u8>>,
    /// The other end of a line of messages has told that no answer will come [IP-12].
    pub(super) no_answer: bool,
    /// Short frames reach somebody else than the device: it is behind a gateway [IP-16].
    pub(super) behind: bool,
    pub(super) found: Found,
    /// The request by which it was found.
    pub(super) knock: Option<Request>,
    pub(super) needs_now: (bool, bool),
    pub(super) words: Vec<Words>,
    pub(super) put_back: Vec<PutBack>,
    /// Times that somebody pressed Ctrl-C while something is put back; `None`: nothing is.
    pub(super) interrupted: Option<u32>,
    /// Until when nobody need answer, for the device starts again.
    starts_until: Option<Instant>,
    pub(super) requests: u64,
    pub(super) damaged: u64,
    pub(super) wires: Wires,
    has: BTreeMap<u8, bool>,
    at_first: BTreeMap<&'static str, bool>,
}

impl<'l> Probe<'l> {
    pub(super) fn new(line: &'l mut dyn Line) -> Self {
        let config = ReceiverConfig::for_line(line.pace(), line.capabilities().stamp_error);
        let last_at = line.now();
        Probe {
            line,
            receiver: Receiver::new(config),
            fresh: Vec::new(),
            held: 0,
            last_at,
            quiet: AFTER_ANYTHING,
            echo: None,
            asked: None,
            no_answer: false,
            behind: false,
            found: Found::default(),
            knock: None,
            needs_now: (false, false),
            words: Vec::new(),
            put_back: Vec::new(),
            interrupted: None,
            starts_until: None,
            requests: 0,
            damaged: 0,
            wires: Wires::default(),
            has: BTreeMap::new(),
            at_first: BTreeMap::new(),
        }
    }

    // ---- What is known ----

    /// The device that is judged.
    pub fn device(&self) -> &Found {
        &self.found
    }

    /// The revision that it claims.
    pub fn revision(&self) -> Revision {
        self.found.revision
    }

    /// What the line's stamps and octets can tell.
    pub fn capabilities(&self) -> Capabilities {
        self.line.capabilities()
    }

    /// What the line can send besides clean octets.
    pub fn sends_faults(&self) -> SendsFaults {
        self.line.sends_faults()
    }

    /// The time on the line's own clock.
    pub fn now(&mut self) -> Instant {
        self.line.now()
    }

    /// So many characters at the line's pace; zero on a line without one.
    pub fn characters(&self, n: u32) -> Duration {
        self.line.pace().character() * n
    }

    /// The same as a time to wait: at wire speed on a line without a pace.
    pub fn waiting(&self, n: u32) -> Duration {
        match self.line.pace() {
            Pace::Fast => Pace::Wire.character() * n,
            pace => pace.character() * n,
        }
    }

    /// Whether times on this line mean anything.
    pub fn has_times(&self) -> bool {
        self.line.pace() != Pace::Fast && self.line.capabilities().unit == StampUnit::Octets
    }

    /// Whether the first preambles may be lost while the line notices the carrier [FR-02]: it does not stamp exactly either.
    pub fn loses_preambles(&self) -> bool {
        !self.line.capabilities().stamp_error.is_zero()
    }

    /// Whether the line carries whole messages: who is at its other end, a HART-IP server, answers for the link [IP-15].
    pub fn has_messages(&self) -> bool {
        self.line.capabilities().unit == StampUnit::Frames
    }

    /// The slave time-out at the line's pace [LL-02].
    pub fn slave_time_out(&self) -> Duration {
        let sto = BitTimes::characters(SLAVE_TIME_OUT).duration();
        if self.line.pace() == Pace::Fast { sto } else { self.line.pace().scale(sto) }
    }

    pub(super) fn pace(&self) -> Pace {
        self.line.pace()
    }

    pub(super) fn describe_line(&self) -> String {
        self.line.describe()
    }

    // ---- Requests ----

    /// A right request to the device at its unique address, from the secondary master.
    pub fn request(&self, command: u8, data: &[u8]) -> Request {
        Request::long(self.found.preambles, Master::Secondary, self.found.unique, command, data)
    }

    /// A right request in the short form to this polling address, from the secondary master.
    pub fn short_request(&self, polling: u8, command: u8, data: &[u8]) -> Request {
        Request::short(self.found.preambles, Master::Secondary, polling, command, data)
    }

    /// A right request to all devices [FR-07], from the secondary master.
    pub fn broadcast(&self, command: u8, data: &[u8]) -> Request {
        Request::long(self.found.preambles, Master::Secondary, [0; 5], command, data)
    }

    /// Sends a request when the line is silent and hears what comes: until an answer and the silence behind it, else for
    /// twice the slave time-out.
    ///
    /// # Errors
    /// The line, another master, or a command that the case did not say it would send ([`Case::writes`],
    /// [`Case::moves`]).
    pub fn send(&mut self, request: &Request) -> Result<Heard, Stop> {
        self.may_send(request.command())?;
        if self.has_messages() && request.is_short() && !self.found.identity.is_empty() {
            // Behind a gateway this tells by a skip that no polling address reaches the device.
            self.polling_address()?;
        }
        let raw = request.raw(self.line.pace().character());
        self.send_raw(&raw)
    }

    /// Sends any octets when the line is silent and hears what comes, as [`Probe::send`]. What they do to the device
    /// the case answers for.
    ///
    /// # Errors
    /// As [`Probe::send`].
    pub fn send_raw(&mut self, raw: &RawFrame) -> Result<Heard, Stop> {
        self.settle()?;
        self.send_at_once(raw)
    }

    /// The same without waiting for silence: begins now.
    ///
    /// # Errors
    /// As [`Probe::send`].
    pub fn send_at_once(&mut self, raw: &RawFrame) -> Result<Heard, Stop> {
        let ended_at = self.transmit(raw)?;
        self.hear(ended_at, false)
    }

    /// Sends a second request so many characters after the end of the answer to a first one, without waiting for more; what
    /// came after each. Where the first one is not answered the second is sent all the same.
    ///
    /// # Errors
    /// As [`Probe::send`].
    pub fn send_twice(
        &mut self,
        first: &Request,
        characters: u32,
        second: &Request,
    ) -> Result<(Heard, Heard), Stop> {
        self.may_send(first.command())?;
        self.may_send(second.command())?;
        self.settle()?;
        let character = self.line.pace().character();
        let ended_at = self.transmit(&first.raw(character))?;
        let before = self.hear(ended_at, true)?;
        let begins = self.last_at + self.characters(characters);
        while self.line.now() < begins {
            self.wait(begins)?;
        }
        let after = self.send_at_once(&second.raw(character))?;
        Ok((before, after))
    }

    /// Sends a request and takes the answer to it; repeats it up to three times where nobody answers or the answer is
    /// damaged. Any whole answer is taken, also one with wrong bits in its address: to judge these is the matter of other
    /// cases.
    ///
    /// # Errors
    /// A fail if there is no answer; as [`Probe::send`].
    pub fn ask_request(&mut self, request: &Request) -> Result<Reply, Stop> {
        let (mut last, mut tries) = (String::new(), 0);
        while tries < self.most_tries() || self.is_starting() {
            let heard = self.send(request)?;
            tries += 1;
            match heard.reply() {
                Some(reply) if !reply.is_communication_error() => {
                    if tries > 1 && self.starts_until.take().is_none() {
                        self.wires.lost_one();
                    }
                    self.starts_until = None;
                    return Ok(reply);
                }
                _ => last = heard.words(),
            }
            if self.is_starting() {
                self.pause(Duration::from_secs(1))?;
            }
            // Who carries the request has repeated it already, and what changes something nobody may send again [IP-12].
            if self.no_answer {
                break;
            }
        }
        let times = if tries == 1 { String::new() } else { format!(", {tries} times") };
        fail(format!("an answer to command {}", request.command()), format!("{last}{times}"))
    }

    /// Asks a command at the unique address as the secondary master; see [`Probe::ask_request`].
    ///
    /// # Errors
    /// As there.
    pub fn ask(&mut self, command: u8, data: &[u8]) -> Result<Reply, Stop> {
        self.ask_request(&self.request(command, data))
    }

    /// The same as this master.
    ///
    /// # Errors
    /// As there.
    pub fn ask_as(&mut self, master: Master, command: u8, data: &[u8]) -> Result<Reply, Stop> {
        self.ask_request(&self.request(command, data).master(master))
    }

    /// The device has been told to start again: for so long [`Probe::ask`] and what stands on it wait for its first answer, and ask
    /// once a second.
    pub fn starts_again(&mut self, most: Duration) {
        self.starts_until = Some(self.line.now() + most);
    }

    /// How often something is asked at most until it is answered.
    pub(super) fn most_tries(&self) -> usize {
        1 + if self.interrupted.is_some() { REPEATS_OF_UNDO } else { REPEATS }
    }

    fn is_starting(&mut self) -> bool {
        self.starts_until.is_some_and(|until| self.line.now() < until)
    }

    /// Asks a command that has to succeed: response code 0 or a warning.
    ///
    /// # Errors
    /// A fail if it does not; as [`Probe::ask`].
    pub fn read(&mut self, command: u8, data: &[u8]) -> Result<Reply, Stop> {
        // A device that takes its time with a write is busy (32) towards everybody until then [DV-09].
        let reply = self.ask_until_done(command, data)?;
        expect(reply.is_success(), format!("command {command} answered with its data"), reply.to_string())?;
        Ok(reply)
    }

    /// Asks a command until its answer is neither busy (32) nor a delayed response (33, 34), for a minute at most.
    ///
    /// # Errors
    /// A fail after that time; as [`Probe::ask`].
    pub fn ask_until_done(&mut self, command: u8, data: &[u8]) -> Result<Reply, Stop> {
        let begun = self.line.now();
        loop {
            let reply = self.ask(command, data)?;
            if !matches!(reply.code, 32..=34) {
                return Ok(reply);
            }
            if self.line.now().since(begun) > LONGEST_DELAY {
                return fail(format!("an end of command {command} within a minute"), reply.to_string());
            }
            self.pause(Duration::from_millis(500))?;
        }
    }

    /// Whether the device has a command. One that reads is asked; one that wants data is sent without any, which a device
    /// refuses (5) or does not know (64). One that acts without data is not sent, and silence tells nothing: `None`.
    ///
    /// # Errors
    /// As [`Probe::ask`].
    pub fn has_command(&mut self, command: u8) -> Result<Option<bool>, Stop> {
        if let Some(&has) = self.has.get(&command) {
            return Ok(Some(has));
        }
        let row = spec(command.into());
        let wants_data = row.and_then(|s| s.form(self.found.revision)).is_some_and(|f| !f.request.is_empty());
        let harmless = row.is_some_and(|s| s.effect == Effect::Reads) || wants_data && self.needs_now.0;
        if !harmless {
            return Ok(None);
        }
        let reply = match self.ask(command, &[]) {
            // Whether silence is right is the matter of another case.
            Err(Stop::Fail { .. }) => return Ok(None),
            other => other?,
        };
        let has = reply.code != 64;
        self.has.insert(command, has);
        Ok(Some(has))
    }

    /// Whether command 15 says that write protect is on [TB-03]; asked once, for nobody turns it on or off over the wires.
    /// `false` where it is not told.
    pub(super) fn is_protected(&mut self) -> Result<bool, Stop> {
        self.at_first("protected", |p| {
            let request = p.request(15, &[]);
            let told = p.send(&request)?.reply().filter(Reply::is_success).and_then(|r| r.octet(15));
            Ok(told.map(|code| code == WRITE_PROTECTED))
        })
    }

    /// Whether a master has locked the device, as command 76 tells, mask 01 [TB-14]; `false` where it is not told. Asked once: cases of
    /// locks open theirs.
    pub(super) fn is_locked(&mut self) -> Result<bool, Stop> {
        if spec(76).and_then(|s| s.form(self.found.revision)).is_none() {
            return Ok(false);
        }
        self.at_first("locked", |p| {
            let request = p.request(76, &[]);
            let told = p.send(&request)?.reply();
            Ok(told.map(|r| r.is_success() && r.octet(0).is_some_and(|o| o & 1 != 0)))
        })
    }

    /// How it was when it was asked for the first time in this run, before any case could have changed it; `ask` gives `None` where it
    /// cannot be told, which counts as no, and is asked again.
    ///
    /// # Errors
    /// Those of `ask`.
    pub fn at_first(
        &mut self,
        what: &'static str,
        ask: impl FnOnce(&mut Self) -> Result<Option<bool>, Stop>,
    ) -> Result<bool, Stop> {
        if let Some(&is) = self.at_first.get(what) {
            return Ok(is);
        }
        let told = ask(self)?;
        if let Some(is) = told {
            self.at_first.insert(what, is);
        }
        Ok(told == Some(true))
    }

    /// Whether there is time between two requests for whoever keeps time by such stamps as this line's to see that a frame broke
    /// off [LI-04]: where stamps are bad it is seen late, and no pace makes it earlier.
    pub fn leaves_time_to_forget(&self) -> bool {
        let stamp_error = self.line.capabilities().stamp_error;
        let give_up = ReceiverConfig::for_line(self.line.pace(), stamp_error).give_up;
        give_up <= self.slave_time_out() * 2 + stamp_error * 4
    }

    /// Requests that were sent in the run.
    pub fn requests_sent(&self) -> u64 {
        self.requests
    }

    /// Whether command 15 says that write protect is on now, and was off when it was asked before: somebody has turned a switch.
    pub(super) fn became_protected(&mut self) -> Result<bool, Stop> {
        let before = self.at_first.remove("protected");
        let now = self.is_protected()?;
        Ok(before == Some(false) && now)
    }

    /// Skips the case if the device says that it does not know the command, code 64.
    ///
    /// # Errors
    /// The skip.
    pub fn skip_unless_known(&self, reply: &Reply) -> Outcome {
        match reply.code {
            64 => Err(Stop::Skip(format!("the device does not have command {}", reply.command))),
            _ => Ok(()),
        }
    }

    /// After something odd: the device answers a right request all the same.
    ///
    /// # Errors
    /// A fail if it does not; as [`Probe::send`].
    pub fn expect_alive(&mut self, after: &str) -> Outcome {
        match self.ask(0, &[]) {
            Err(Stop::Fail { observed, .. }) => {
                fail(format!("an answer to command 0 after {after}"), observed)
            }
            other => other.map(|_| ()),
        }
    }

    /// Hears what comes for so long, and sends nothing.
    ///
    /// # Errors
    /// The line, or another master.
    pub fn listen(&mut self, time: Duration) -> Result<Heard, Stop> {
        let begun = self.line.now();
        let until = begun + time;
        self.held = 0;
        loop {
            self.wait(until)?;
            if self.line.now() >= until {
                return Ok(Heard {
                    request_ended_at: begun,
                    receptions: self.take_fresh()?,
                    character: self.line.pace().character(),
                });
            }
        }
    }

    /// Lets time pass.
    ///
    /// # Errors
    /// As [`Probe::listen`].
    pub fn pause(&mut self, time: Duration) -> Outcome {
        self.listen(time).map(|_| ())
    }

    // ---- Judging ----

    /// A time that may be `most` at most, judged with the line's stamp error: a fail above it, inconclusive where
    /// the error leaves both possible [LI-04] [LL-17].
    ///
    /// # Errors
    /// The fail, or the inconclusive.
    pub fn expect_at_most(&self, what: &str, observed: Duration, most: Duration) -> Outcome {
        let margin = self.margin();
        if observed <= most {
            // Both ends of a time may be stamped late or early.
            return match observed + self.line.capabilities().stamp_error * 2 <= most {
                true => Ok(()),
                false => self.too_coarse(what, observed, most),
            };
        }
        match observed > most + margin {
            true => fail(format!("{what} at most {}", ms(most)), ms(observed)),
            false if self.line.capabilities().stamp_error.is_zero() => {
                fail(format!("{what} at most {}", ms(most)), ms(observed))
            }
            false => self.too_coarse(what, observed, most),
        }
    }

    fn too_coarse(&self, what: &str, observed: Duration, most: Duration) -> Outcome {
        Err(Stop::Inconclusive(format!(
            "{what} was {}, too near the limit of {} for stamps that may be off by {}",
            ms(observed),
            ms(most),
            ms(self.line.capabilities().stamp_error)
        )))
    }

    /// What is allowed for the error of stamps, always to the device's favour: a character and two stamp errors [LL-17].
    pub fn margin(&self) -> Duration {
        self.line.pace().character() + self.line.capabilities().stamp_error * 2
    }

    /// What nobody knows may move the valve, and so may what the device's revision does not have [HO-05]; a number that is
    /// reserved stands for no command [CO-06].
    fn may_send(&self, command: u8) -> Outcome {
        let row = spec(command.into()).filter(|row| row.form(self.found.revision).is_some());
        let effect = match row {
            Some(row) => row.effect,
            None if RESERVED.contains(&command) => Effect::Reads,
            // Whoever looks for a device knows no revision yet.
            None if self.found.identity.is_empty() => Effect::Reads,
            None => Effect::Moves,
        };
        let (writes, moves) = self.needs_now;
        let allowed = match effect {
            Effect::Reads | Effect::Stops => true,
            Effect::Writes => writes || moves,
            Effect::Moves => moves,
        };
        match allowed {
            true => Ok(()),
            false => Err(Stop::Bench(format!(
                "the case wants to send command {command} and does not say that it writes or moves: mend the case"
            ))),
        }
    }

    // ---- For the run ----

    /// Gets ready for a case.
    pub(super) fn begin(&mut self, case: &Case) {
        self.words.clear();
        self.wires.begin();
        self.needs_now = (case.needs.writes || case.needs.moves, case.needs.moves);
    }
}
