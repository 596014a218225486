//! Hears a line and tells who breaks the rules of turns [LL-19].

use super::violation::Words;
use super::{Evidence, Timers, Violation};
use crate::frame::{Capabilities, Frame, FrameType, Good, Master as Role, Octet, Reception, StampUnit};
use crate::time::{Instant, Pace};
use crate::transaction::answers;
use core::time::Duration;
use std::collections::VecDeque;

/// Findings that nobody has collected; then the oldest go.
const MAX_FINDINGS: usize = 256;

/// How bad a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// It breaks the requirement.
    Fault,
    /// It works, but leaves others no chance.
    Advice,
}

/// Something that an [`Observer`] noticed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// How bad it is.
    pub severity: Severity,
    /// What it is, with the frames that show it.
    pub violation: Violation,
}

/// A frame with its times.
#[derive(Clone, Debug)]
struct Heard {
    frame: Frame,
    /// The beginning of the first octet that was received.
    begins: Instant,
    /// The end of the check byte.
    ends: Instant,
}

impl Heard {
    fn evidence(&self, part: &'static str) -> Evidence {
        Evidence { part, ended_at: Some(self.ends), frame: self.frame.clone() }
    }
}

/// What was heard last, as far as it says who may speak.
#[derive(Debug)]
enum Last {
    /// Nothing, or something that may have been anything.
    Unclear,
    /// A request, which stands in its master's place of [`Observer::asked`].
    Request(Role),
    /// An answer and the master whose request it answers.
    Answer(Role, Heard),
}

/// What times are measured by; absent where they mean nothing.
#[derive(Clone, Copy, Debug)]
struct Clock {
    timers: Timers,
    /// Two stamps and a character [LL-17].
    margin: Duration,
}

/// The state machine: push receptions in order, drain [`Observer::next`]. It keeps a handful of frames,
/// however long it listens, and at most 256 findings.
#[derive(Debug)]
pub struct Observer {
    clock: Option<Clock>,
    /// The last request of each master to which no answer has come.
    asked: [Option<Heard>; 2],
    last: Last,
    /// Nothing that may have been a request was missed since the last good frame.
    sure: bool,
    out: VecDeque<Finding>,
}

impl Observer {
    /// An observer of a line with this pace and these capabilities; where octets have no times of
    /// their own, or times of this machine at a pace that is not the wire's, it judges none.
    pub fn new(pace: Pace, line: Capabilities) -> Self {
        // The link times do not differ by role here: neither RT1 is judged.
        let timers = Timers::new(Role::Primary, pace);
        // A machine that is late is so by as much at any pace.
        let scaled = pace != Pace::Wire && !line.stamp_error.is_zero();
        let timed = pace != Pace::Fast && line.unit == StampUnit::Octets && !scaled;
        let margin = timers.character + line.stamp_error * 2;
        Observer { clock: timed.then_some(Clock { timers, margin }), ..Observer::untimed() }
    }

    /// An observer of a record without times.
    pub fn untimed() -> Self {
        Observer { clock: None, asked: [None, None], last: Last::Unclear, sure: false, out: VecDeque::new() }
    }

    /// The next finding, oldest first.
    #[allow(
        clippy::should_implement_trait,
        reason = "an iterator would be over at the first pause of the line"
    )]
    pub fn next(&mut self) -> Option<Finding> {
        self.out.pop_front()
    }

    /// Takes what the receiver made of the octets, in order.
    pub fn push(&mut self, reception: &Reception) {
        match reception {
            Reception::Good(good) => self.push_good(good),
            Reception::Damaged(_) | Reception::Noise(_) => self.push_unclear(),
        }
    }

    /// Something was heard that may have been a request or an answer.
    pub fn push_unclear(&mut self) {
        self.last = Last::Unclear;
        self.sure = false;
    }

    /// A frame was heard.
    pub fn push_good(&mut self, good: &Good) {
        let at = |o: Option<&Octet>| o.map_or(Instant::ZERO, |o| o.at);
        let begins =
            at(good.octets.first()).before(self.clock.map_or(Duration::ZERO, |c| c.timers.character));
        let frame = &good.frame;
        let heard = Heard { frame: frame.clone(), begins, ends: at(good.octets.last()) };
        match frame.frame_type() {
            FrameType::Stx => self.request(heard),
            FrameType::Ack => self.answer(heard),
            // Whoever it names may speak soon [LL-10].
            FrameType::Back => self.last = Last::Unclear,
        }
        self.sure = true;
    }

    fn request(&mut self, request: Heard) {
        let master = request.frame.address().master;
        let last = core::mem::replace(&mut self.last, Last::Request(master));
        if let Some(clock) = self.clock {
            match last {
                Last::Request(before) if before == master => {
                    if let Some(first) = self.asked[master.index()].take() {
                        self.too_close(clock, &first, &request);
                    }
                }
                Last::Answer(before, answer) if before == master => {
                    let pause = request.begins.since(answer.ends);
                    if pause + clock.margin < clock.timers.link_grant {
                        let what = format!(
                            "the {master} master asks again {} after its answer and leaves another master no turn, which is \
                             due after {}",
                            ms(pause),
                            ms(clock.timers.link_grant)
                        );
                        self.tell(
                            Severity::Advice,
                            "LL-04",
                            what,
                            [answer.evidence("its answer"), request.evidence("its next request")],
                        );
                    }
                }
                _ => {}
            }
        }
        self.asked[master.index()] = Some(request);
    }

    /// Two requests with one bit, the first without an answer.
    fn too_close(&mut self, clock: Clock, first: &Heard, second: &Heard) {
        let pause = second.begins.since(first.ends);
        if pause + clock.margin < clock.timers.slave_time_out {
            let master = second.frame.address().master;
            let what = format!(
                "two requests with the bit of the {master} master, {} apart, the first without an answer: one master would \
                 have waited {}, so there are two of them, or one does not wait",
                ms(pause),
                ms(clock.timers.slave_time_out)
            );
            self.tell(
                Severity::Fault,
                "LL-09",
                what,
                [first.evidence("first request"), second.evidence("second request")],
            );
        }
    }

    fn answer(&mut self, answer: Heard) {
        let newest = match self.last {
            Last::Request(master) => master,
            _ => answer.frame.address().master,
        };
        let matching = [newest, newest.other()].into_iter().find(|m| {
            self.asked[m.index()].as_ref().is_some_and(|asked| answers(&asked.frame, &answer.frame))
        });
        match matching.and_then(|m| Some((m, self.asked[m.index()].take()?))) {
            Some((master, asked)) => {
                self.late(&asked, &answer);
                self.last = Last::Answer(master, answer);
            }
            None => {
                if self.sure {
                    let what = format!("an answer that nobody asked for: {}", Words(&answer.frame));
                    let before = self.asked[newest.index()].as_ref().map(|a| a.evidence("last request"));
                    let evidence = before.into_iter().chain([answer.evidence("answer")]);
                    self.tell(Severity::Fault, "DV-12", what, evidence);
                }
                self.last = Last::Unclear;
            }
        }
    }

    fn late(&mut self, asked: &Heard, answer: &Heard) {
        let Some(clock) = self.clock else { return };
        let pause = answer.begins.since(asked.ends);
        if pause > clock.timers.slave_time_out + clock.margin {
            let what = format!(
                "the answer to {} begins {} after it: at most {} are allowed",
                Words(&asked.frame),
                ms(pause),
                ms(clock.timers.slave_time_out)
            );
            self.tell(Severity::Fault, "LL-02", what, [asked.evidence("request"), answer.evidence("answer")]);
        }
    }

    fn tell(
        &mut self,
        severity: Severity,
        requirement: &'static str,
        what: String,
        evidence: impl IntoIterator<Item = Evidence>,
    ) {
        if self.out.len() >= MAX_FINDINGS {
            self.out.pop_front();
        }
        let evidence = evidence.into_iter().collect();
        self.out.push_back(Finding { severity, violation: Violation { requirement, what, evidence } });
    }
}

fn ms(d: Duration) -> String {
    format!("{:.1} ms", d.as_secs_f64() * 1e3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{Receiver, ReceiverConfig};

    const LINE: Capabilities = Capabilities {
        unit: StampUnit::Octets,
        stamp_error: Duration::ZERO,
        parity_seen: true,
        carrier_seen: false,
        echo: false,
    };
    /// Command 0 to polling address 0, check byte 02 ^ 80 = 82 and 02; its shortest answer,
    /// 06 ^ 80 ^ 02 = 84 and 04; command 1 to the same: 02 ^ 80 ^ 01 = 83 and 03 [FR-09].
    const ASK: &[u8] = &[0x02, 0x80, 0x00, 0x00, 0x82];
    const ASK_1: &[u8] = &[0x02, 0x80, 0x01, 0x00, 0x83];
    const ANSWER: &[u8] = &[0x06, 0x80, 0x00, 0x02, 0x00, 0x00, 0x84];
    const SECONDARY_ASK: &[u8] = &[0x02, 0x00, 0x00, 0x00, 0x02];
    const SECONDARY_ASK_1: &[u8] = &[0x02, 0x00, 0x01, 0x00, 0x03];
    const SECONDARY_ANSWER: &[u8] = &[0x06, 0x00, 0x00, 0x02, 0x00, 0x00, 0x04];
    /// A burst of command 1 for the primary: 01 ^ C0 ^ 01 ^ 02 = C2.
    const BURST: &[u8] = &[0x01, 0xC0, 0x01, 0x02, 0x00, 0x00, 0xC2];

    /// Feeds frames after five preambles, each so many tenths of a character after the one before.
    fn hear(observer: &mut Observer, frames: &[(u64, &[u8])]) -> Vec<Finding> {
        let tenth = Duration::from_nanos(916_667);
        let mut receiver = Receiver::new(ReceiverConfig::for_line(Pace::Wire, Duration::ZERO));
        let mut at = Instant::ZERO;
        for (pause, values) in frames {
            at += tenth * *pause as u32;
            for value in [0xFF; 5].iter().chain(*values) {
                at += tenth * 10;
                receiver.push(&[Octet::clean(at, *value)]);
            }
            receiver.finish();
        }
        while let Some(r) = receiver.next() {
            observer.push(&r);
        }
        std::iter::from_fn(|| observer.next()).collect()
    }

    fn timed(frames: &[(u64, &[u8])]) -> Vec<Finding> {
        hear(&mut Observer::new(Pace::Wire, LINE), frames)
    }

    /// Requirement, severity and the frames of each finding.
    fn short(findings: &[Finding]) -> Vec<(&'static str, Severity, Vec<Vec<u8>>)> {
        let frames = |v: &Violation| v.evidence.iter().map(|e| e.frame.encode().to_vec()).collect();
        findings.iter().map(|f| (f.violation.requirement, f.severity, frames(&f.violation))).collect()
    }

    /// [LL-19]: STO 28 and a margin of 1: what begins before 27 characters after an unanswered request with its bit.
    #[test]
    fn two_masters_with_one_bit() {
        for second in [ASK, ASK_1] {
            for pause in [0, 100, 269] {
                let found = timed(&[(0, ASK), (pause, second)]);
                assert_eq!(short(&found), [("LL-09", Severity::Fault, vec![ASK.to_vec(), second.to_vec()])]);
            }
            assert_eq!(timed(&[(0, ASK), (271, second)]), []);
        }
        // 26.9 characters are 246.6 ms; the first ends after 10 characters, 91.7 ms.
        let said = timed(&[(0, ASK), (269, ASK_1)])[0].violation.to_string();
        for part in
            ["primary", "246.6 ms apart", "[LL-09]", "first request: 02 80 00 00 82", "ended at 0.0916"]
        {
            assert!(said.contains(part), "{said}");
        }
        // The other bit, an answer, a burst or rubbish between: nothing is proved.
        for between in [ANSWER, BURST, &[0x06, 0x80, 0x00, 0x02, 0x00, 0x00, 0x99], &[0x55]] {
            let found = timed(&[(0, ASK), (30, between), (80, ASK)]);
            assert!(found.iter().all(|f| f.violation.requirement != "LL-09"), "{found:?}");
        }
        assert_eq!(timed(&[(0, ASK), (100, SECONDARY_ASK_1)]), []);
    }

    /// [LL-19] [LL-04]: RT2 is 8, with a margin of 1: advice below 7 characters after its own answer.
    #[test]
    fn no_chance_for_the_other() {
        for pause in [0, 20, 69] {
            let found = timed(&[(0, ASK), (30, ANSWER), (pause, ASK)]);
            assert_eq!(short(&found), [("LL-04", Severity::Advice, vec![ANSWER.to_vec(), ASK.to_vec()])]);
        }
        assert_eq!(timed(&[(0, ASK), (30, ANSWER), (71, ASK)]), []);
        // The other one is in time after HOLD.
        assert_eq!(timed(&[(0, ASK), (30, ANSWER), (20, SECONDARY_ASK)]), []);
    }

    /// [LL-02]: STO 28 with a margin of 1.
    #[test]
    fn late_answers() {
        assert_eq!(timed(&[(0, ASK), (289, ANSWER)]), []);
        let found = timed(&[(0, ASK), (291, ANSWER)]);
        assert_eq!(short(&found), [("LL-02", Severity::Fault, vec![ASK.to_vec(), ANSWER.to_vec()])]);
        // Also when the other master has asked in between: 10 + 10 + 15 characters after the first.
        let found = timed(&[(0, ASK), (100, SECONDARY_ASK_1), (150, ANSWER)]);
        assert_eq!(short(&found), [("LL-02", Severity::Fault, vec![ASK.to_vec(), ANSWER.to_vec()])]);
    }

    /// [LL-19] [DV-12]: with times and without, but not where the request may have been missed.
    #[test]
    fn unasked_answers() {
        let heard: &[(u64, &[u8])] = &[(0, ASK), (30, ANSWER), (20, SECONDARY_ANSWER)];
        for mut observer in [Observer::new(Pace::Wire, LINE), Observer::untimed()] {
            let found = hear(&mut observer, heard);
            assert_eq!(short(&found), [("DV-12", Severity::Fault, vec![SECONDARY_ANSWER.to_vec()])]);
            let found = hear(&mut observer, &[(0, ASK_1), (30, ANSWER)]);
            assert_eq!(short(&found), [("DV-12", Severity::Fault, vec![ASK_1.to_vec(), ANSWER.to_vec()])]);
        }
        assert_eq!(timed(&[(0, ANSWER)]), []);
        assert_eq!(timed(&[(0, ASK), (30, ANSWER), (90, &[0x02, 0x80, 0x00, 0x00, 0x99]), (30, ANSWER)]), []);
        // The other master's request, its answer, and nothing of times in a record without them.
        let mut untimed = Observer::untimed();
        let heard: &[(u64, &[u8])] = &[
            (0, ASK),
            (0, ASK_1),
            (0, ASK),
            (900, ANSWER),
            (0, ASK),
            (0, SECONDARY_ASK),
            (0, SECONDARY_ANSWER),
        ];
        assert_eq!(hear(&mut untimed, heard), []);
    }

    /// Whatever comes: at most 256 findings wait to be collected.
    #[test]
    fn bounded() {
        let mut observer = Observer::new(Pace::Wire, LINE);
        let frames: Vec<(u64, &[u8])> = (0..400).map(|_| (10, ASK)).collect();
        assert_eq!(hear(&mut observer, &frames).len(), 256);
    }
}
