//! What is true of every case: leave, needs, putting back, known deviations, a line that is lost or can tell little.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::app::types::packed;
use looprig::conform::{CannotRun, Case, End, Known, Outcome, Probe, Results, Stop, Suite, Verdict, fail};
use looprig::frame::{Capabilities, Octet, RawFrame};
use looprig::line::{Error, Event, Fault, Line, SendsFaults};
use looprig::time::{Instant, Pace};
use std::time::Duration;

const R7: Revision = Revision::R7;

/// Tag, descriptor and date of another device [CM-018].
const OTHER: [u8; 21] = [0x20; 21];

fn healthy() -> Bent {
    Bent::new(config(R7))
}

fn run(suite: &Suite, device: Bent) -> Results {
    suite.run(&mut device.line(), &to()).expect("the device answers")
}

fn passes(_: &mut Probe<'_>) -> Outcome {
    Ok(())
}

fn fails(_: &mut Probe<'_>) -> Outcome {
    fail("something", "something else")
}

/// Writes command 18 and fails before it is done with it.
fn writes_and_fails(p: &mut Probe<'_>) -> Outcome {
    p.save(13, &[], 18, |reply| Some(reply.data.clone()))?;
    p.read(18, &OTHER)?;
    fail("a case that goes on", "one that does not")
}

fn writes_and_passes(p: &mut Probe<'_>) -> Outcome {
    p.save(13, &[], 18, |reply| Some(reply.data.clone()))?;
    p.read(18, &OTHER).map(|_| ())
}

/// The tag is as the rig has it.
fn has_its_tag(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(13, &[])?;
    let tag = packed::pack("FV-3104", 6).expect("a tag");
    match reply.part(0, 6) == Some(&tag[..]) {
        true => Ok(()),
        false => fail("the tag FV-3104", reply.to_string()),
    }
}

const WRITES: Case = Case::should("a/writes", "DV-06", "a", writes_and_fails).writes();
const TAG: Case = Case::should("b/tag", "DV-06", "b", has_its_tag);
const PASSES: Case = Case::should("c/passes", "DV-06", "c", passes);
const FAILS: Case = Case::should("d/fails", "DV-06", "d", fails);
const ADVICE: Case = Case::advice("e/advice", "DV-06", "e", fails);

#[test]
fn what_a_case_changed_comes_back_although_it_failed() {
    let suite = Suite::of(vec![TAG, WRITES, TAG]).writing(true);
    let results = run(&suite, healthy());
    let names: Vec<&str> = results.cases.iter().map(|c| c.verdict.name()).collect();
    assert_eq!(names, ["pass", "fail", "pass"], "{results}");
    assert_eq!(results.not_put_back().count(), 0);
    // Without the putting back the tag would be gone: the case does write.
    let written = results.cases[1].words.iter().filter(|w| w.hex().contains("04 12 15 20 20 20"));
    assert_eq!(written.count(), 1, "command 18 with 21 octets, as sent");
}

#[test]
fn nothing_is_written_without_leave() {
    let results = run(&Suite::of(vec![WRITES, TAG]), healthy());
    assert!(matches!(&results.cases[0].verdict, Verdict::Skip(why) if why.contains("--write")), "{results}");
    assert!(matches!(results.cases[1].verdict, Verdict::Pass));
    // Also not by a case that does not say that it writes.
    let silent = Case { needs: PASSES.needs, ..WRITES };
    let results = run(&Suite::of(vec![silent, TAG]).writing(true), healthy());
    assert!(
        matches!(&results.cases[0].verdict, Verdict::BenchError(why) if why.contains("command 18")),
        "{results}"
    );
    assert!(matches!(results.cases[1].verdict, Verdict::Pass));
    assert_eq!(results.exit_code(), 2);
    // Leave to write is none to move.
    let moves = PASSES.moves();
    let verdict = |suite: Suite| run(&suite, healthy()).cases[0].verdict.clone();
    assert!(
        matches!(verdict(Suite::of(vec![moves]).writing(true)), Verdict::Skip(why) if why.contains("--move"))
    );
    assert_eq!(verdict(Suite::of(vec![moves]).moving(true)), Verdict::Pass);
    assert_eq!(verdict(Suite::of(vec![PASSES.writes()]).moving(true)), Verdict::Pass);
}

/// The device takes the first write and is deaf to the one that would put its tag back.
#[test]
fn what_does_not_come_back_is_told() {
    for case in [WRITES, Case { run: writes_and_passes, ..WRITES }] {
        let mut writes = 0;
        let device = healthy().hearing(move |octets| {
            let values: Vec<u8> = octets.iter().map(|o| o.value).collect();
            writes += usize::from(values.get(11) == Some(&18));
            if values.get(11) == Some(&18) && writes > 1 { Vec::new() } else { values }
        });
        let results = run(&Suite::of(vec![case]).writing(true), device);
        let left: Vec<&String> = results.not_put_back().collect();
        assert_eq!(left.len(), 1, "{results}");
        assert!(left[0].starts_with("command 18 with data "), "{left:?}");
        assert!(!results.cases[0].verdict.is_judged() || results.exit_code() == 1);
        assert_ne!(results.exit_code(), 0);
    }
}

#[test]
fn known_deviations() {
    let known = |id: &str| vec![Known { id: id.into(), reason: "invented".into(), observed: None }];
    let suite = Suite::of(vec![PASSES, FAILS]);
    assert_eq!(run(&suite, healthy()).exit_code(), 1);
    let results = run(&suite.clone().known(known("d/fails")), healthy());
    assert_eq!((results.exit_code(), results.counts().known, results.counts().failed), (0, 1, 0));
    // One that passes is no deviation any more.
    let results = run(&suite.clone().only("c").known(known("c/passes")), healthy());
    assert_eq!((results.exit_code(), results.stale.len()), (1, 1));
    // One that is not run is not judged.
    assert_eq!(run(&suite.clone().only("c").known(known("d/fails")), healthy()).exit_code(), 0);
    // One that fails otherwise than it is known to is no known one, be it an advice alone.
    let other = |observed: &str| {
        known("d/fails")
            .into_iter()
            .map(|k| Known { observed: Some(observed.into()), ..k })
            .collect::<Vec<_>>()
    };
    assert_eq!(run(&suite.clone().known(other("something  *")), healthy()).exit_code(), 0);
    let results = run(&suite.clone().known(other("nothing")), healthy());
    assert_eq!((results.exit_code(), results.counts().known), (1, 0));
    assert!(results.to_string().contains("accepts: nothing"), "{results}");
    let advice = Suite::of(vec![PASSES, Case { id: "d/fails", ..ADVICE }]);
    assert_eq!(run(&advice.clone(), healthy()).exit_code(), 0);
    assert_eq!(run(&advice.known(other("nothing")), healthy()).exit_code(), 1);
    let error = suite.known(known("d/other")).run(&mut healthy().line(), &to());
    assert_eq!(error.map(|_| ()), Err(CannotRun::Known("d/other".into())));
}

fn undecided(_: &mut Probe<'_>) -> Outcome {
    Err(Stop::Inconclusive("nobody knows".into()))
}

#[test]
fn exit_codes() {
    let undecided = Case { run: undecided, ..PASSES };
    let exit = |cases: Vec<Case>, strict| run(&Suite::of(cases).strict(strict), healthy()).exit_code();
    assert_eq!(exit(vec![PASSES], false), 0);
    // An advice counts where strictness is asked for, and so does what is inconclusive.
    assert_eq!((exit(vec![PASSES, ADVICE], false), exit(vec![PASSES, ADVICE], true)), (0, 1));
    assert_eq!((exit(vec![PASSES, undecided], false), exit(vec![PASSES, undecided], true)), (0, 1));
    // Nothing was judged.
    assert_eq!(exit(vec![undecided], false), 2);
    assert_eq!(exit(vec![PASSES.revisions(Revision::R5, Revision::R6)], false), 2);
    // A fail counts more than what could not be judged.
    assert_eq!(exit(vec![FAILS, undecided], false), 1);
}

#[test]
fn selecting() {
    let suite = Suite::of(vec![PASSES, FAILS]);
    assert_eq!(suite.clone().only("c").only("d/*").cases().map(|c| c.len()), Ok(2));
    let nothing = suite.clone().only("c").only("x/y").cases().map(|c| c.len());
    assert_eq!(nothing, Err(CannotRun::Selection(vec!["x/y".into()])));
    assert!(Suite::of(Vec::new()).cases().is_err());
}

fn asks_128(p: &mut Probe<'_>) -> Outcome {
    p.ask(128, &[]).map(|_| ())
}

/// Read loop configuration, which revision 5 does not have [CM-007].
fn asks_7(p: &mut Probe<'_>) -> Outcome {
    p.ask(7, &[]).map(|_| ())
}

/// 4 stands for no command [CO-06].
fn asks_4(p: &mut Probe<'_>) -> Outcome {
    p.ask(4, &[]).map(|_| ())
}

/// [HO-05]: what nobody knows needs leave to move; leave to write is not enough.
#[test]
fn what_is_not_known_may_move_the_valve() {
    let verdict = |case: Case, revision| {
        let suite = Suite::of(vec![case]).moving(true);
        run(&suite, Bent::new(config(revision))).cases[0].verdict.clone()
    };
    for (ask, revision, harmless) in [
        (asks_128 as fn(&mut Probe<'_>) -> Outcome, R7, false),
        (asks_7, Revision::R5, false),
        (asks_7, R7, true),
        (asks_4, R7, true),
    ] {
        let case = Case { run: ask, ..PASSES };
        let reading = verdict(case, revision);
        assert_eq!(reading == Verdict::Pass, harmless, "{reading:?}");
        assert_eq!(matches!(&reading, Verdict::BenchError(_)), !harmless, "{reading:?}");
        assert_eq!(verdict(case.writes(), revision), reading);
        assert_eq!(verdict(case.moves(), revision), Verdict::Pass);
    }
}

#[test]
fn needs_of_the_device() {
    let verdict = |case: Case| run(&Suite::of(vec![case]), healthy()).cases[0].verdict.clone();
    assert!(
        matches!(verdict(PASSES.revisions(Revision::R5, Revision::R5)), Verdict::Skip(why) if why.contains("revision 5"))
    );
    // 31 is none of the mock's commands, 33 is one [DV-16].
    assert_eq!(verdict(PASSES.commands(&[33])), Verdict::Pass);
    assert!(matches!(verdict(PASSES.commands(&[33, 91])), Verdict::Skip(why) if why.contains("command 91")));
}

/// Another master's request: command 0 to polling address 0 by the primary master [1770].
#[test]
fn another_master_is_no_fault_of_the_device() {
    let request = [0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x02, 0x80, 0x00, 0x00, 0x82];
    let device = healthy().chattering(Duration::from_millis(1500), &request);
    let error = Suite::of(vec![PASSES]).run(&mut device.line(), &to()).map(|_| ());
    assert!(matches!(&error, Err(CannotRun::Bench(why)) if why.contains("primary master")), "{error:?}");
    // One that comes later spoils the case in which it speaks.
    let device = healthy().chattering(Duration::from_millis(8000), &request);
    let listens = |p: &mut Probe<'_>| p.pause(Duration::from_secs(9));
    let results = run(&Suite::of(vec![Case { run: listens, ..PASSES }]), device);
    assert!(
        matches!(&results.cases[0].verdict, Verdict::BenchError(why) if why.contains("disconnect")),
        "{results}"
    );
    assert_eq!(results.exit_code(), 2);
}

#[test]
fn nobody_answers() {
    let deaf = healthy().hearing(|_| Vec::new());
    let error = Suite::of(vec![PASSES]).run(&mut deaf.line(), &to()).map(|_| ());
    assert!(matches!(&error, Err(CannotRun::NoDevice(why)) if why.contains("silence")), "{error:?}");
}

/// Answers that are not whole, or come as a burst or as a request: who it is can be read all the same, and the cases say
/// what is wrong [FR-03] [FR-09].
#[test]
fn one_whose_answers_are_never_whole_is_judged() {
    let bad_check = healthy().saying(|octets| raw(&octets).flip(octets.len() - 1, 0x01));
    let as_burst = healthy().saying(framed(|f| f[0] = f[0] & 0xF8 | 1));
    let as_request = healthy().saying(framed(|f| f[0] = f[0] & 0xF8 | 2));
    for (device, id) in [
        (bad_check, "link/check/of-answers"),
        (as_burst, "link/framing/delimiter-of-a-long-answer"),
        (as_request, "link/framing/delimiter-of-a-long-answer"),
    ] {
        let results = judge(device, id);
        assert_eq!(
            (results.exit_code(), results.device.unique),
            (1, [0x3D, 0x71, 0x00, 0x31, 0x04]),
            "{results}"
        );
        assert!(matches!(results.cases[0].verdict, Verdict::Fail { .. }), "{results}");
    }
    // One that is deaf to the secondary master is found by the primary.
    let deaf = healthy().hearing(|octets| {
        let values: Vec<u8> = octets.iter().map(|o| o.value).collect();
        let address = values.iter().position(|&o| o != 0xFF).map_or(0, |at| at + 1);
        if values[address] & 0x80 == 0 { Vec::new() } else { values }
    });
    let results = judge(deaf, "link/masters/both-are-answered");
    assert!(matches!(results.cases[0].verdict, Verdict::Fail { .. }), "{results}");
}

/// A line that breaks at a time of its own, or that can tell and send less than a simulated one.
pub struct Poor<L> {
    line: L,
    breaks_at: Option<Instant>,
    /// When somebody presses Ctrl-C, once.
    interrupted_at: Option<Instant>,
    pub stamp_error: Duration,
    /// From then on somebody at the other end sends without end, 256 octets a millisecond.
    flooded_at: Option<Instant>,
}

impl Poor<looprig::line::InProcess<Bent>> {
    pub fn over(device: Bent) -> Self {
        Poor {
            line: device.line(),
            breaks_at: None,
            interrupted_at: None,
            stamp_error: Duration::ZERO,
            flooded_at: None,
        }
    }
}

impl<L: Line> Line for Poor<L> {
    fn describe(&self) -> String {
        "poor".to_owned()
    }
    fn capabilities(&self) -> Capabilities {
        Capabilities { stamp_error: self.stamp_error, parity_seen: false, ..self.line.capabilities() }
    }
    fn pace(&self) -> Pace {
        self.line.pace()
    }
    fn now(&mut self) -> Instant {
        self.line.now()
    }
    fn send(&mut self, octets: &[u8]) -> Result<(), Error> {
        self.line.send(octets)
    }
    fn sends_faults(&self) -> SendsFaults {
        SendsFaults::default()
    }
    fn send_raw(&mut self, frame: &RawFrame) -> Result<(), Error> {
        self.line.send_raw(frame)
    }
    fn wait(&mut self, until: Option<Instant>) -> Result<Event, Error> {
        if self.interrupted_at.take_if(|at| *at <= self.line.now()).is_some() {
            return Ok(Event::Interrupted);
        }
        if self.flooded_at.is_some_and(|at| at <= self.line.now()) {
            let at = self.line.now() + Duration::from_millis(1);
            while self.line.now() < at {
                self.line.wait(Some(at))?;
            }
            return Ok(Event::Octets(vec![Octet::clean(at, 0x55); 256]));
        }
        match self.breaks_at {
            Some(at) if self.line.now() >= at => Err(Error::new("reading", "poor", Fault::Lost, "EIO")),
            _ => self.line.wait(until),
        }
    }
}

#[test]
fn a_lost_line_ends_with_a_report() {
    let whole = Suite::of(vec![PASSES, WRITES, TAG]).writing(true);
    let span = run(&whole, healthy()).cases[1].span;
    // It reads and writes, which its span covers, then writes back and reads: the second exchange is cut, and then the third.
    for (quarters, verdict, exit_code) in [(3, "bench error", 2), (5, "fail", 1)] {
        let middle = span.0 + span.1.since(span.0) * quarters / 4;
        let mut line = Poor { breaks_at: Some(middle), ..Poor::over(healthy()) };
        let results = whole.run(&mut line, &to()).expect("it breaks later");
        assert!(matches!(&results.end, End::LineLost(why) if why.contains("EIO")), "{results}");
        assert_eq!((results.cases.len(), results.not_run.len()), (2, 1));
        assert_eq!(results.cases[0].verdict, Verdict::Pass);
        assert_eq!(results.cases[1].verdict.name(), verdict, "{results}");
        let left: Vec<&String> = results.not_put_back().collect();
        assert!(left.len() == 1 && left[0].starts_with("command 18 with data "), "{left:?}");
        assert_eq!(results.exit_code(), exit_code);
    }
}

/// Ctrl-C in the middle of a case that writes: what it changed comes back all the same, then the run ends.
#[test]
fn an_interrupted_run_leaves_nothing_changed() {
    let whole = Suite::of(vec![WRITES, PASSES]).writing(true);
    let span = run(&whole, healthy()).cases[0].span;
    // It has read, and writes.
    let at = span.0 + span.1.since(span.0) * 3 / 8;
    let mut line = Poor { interrupted_at: Some(at), ..Poor::over(healthy()) };
    let results = whole.run(&mut line, &to()).expect("it is interrupted later");
    assert_eq!((&results.end, results.not_run.len(), results.exit_code()), (&End::Interrupted, 1, 2));
    assert!(
        matches!(&results.cases[0].verdict, Verdict::Inconclusive(why) if why == "interrupted"),
        "{results}"
    );
    assert_eq!(results.not_put_back().count(), 0);
    let after = Suite::of(vec![TAG]).run(&mut line, &to()).expect("the line is whole");
    assert!(after.passed(), "{after}");
}

/// Ctrl-C while something is put back: it comes back whole, then the run ends.
#[test]
fn an_interrupt_breaks_no_putting_back_off() {
    let whole = Suite::of(vec![WRITES, PASSES]).writing(true);
    let span = run(&whole, healthy()).cases[0].span;
    // It reads and writes, which its span covers, then writes back and reads.
    for quarters in [5, 6] {
        let at = span.0 + span.1.since(span.0) * quarters / 4;
        let mut line = Poor { interrupted_at: Some(at), ..Poor::over(healthy()) };
        let results = whole.run(&mut line, &to()).expect("it is interrupted later");
        assert_eq!(line.interrupted_at, None, "it was pressed");
        assert_eq!((&results.end, results.not_run.len()), (&End::Interrupted, 1), "{results}");
        assert_eq!(results.not_put_back().count(), 0, "{results}");
        let after = Suite::of(vec![TAG]).run(&mut line, &to()).expect("the line is whole");
        assert!(after.passed(), "{after}");
    }
}

/// What somebody has fixed, simulated or locked stays so: a case that would end it is skipped.
#[test]
fn what_somebody_holds_stays_held() {
    // 12 mA; variable 1 simulated at 20 in its own unit; a temporary lock of the primary master [TB-13].
    fn fixes(p: &mut Probe<'_>) -> Outcome {
        p.read(40, &[0x41, 0x40, 0x00, 0x00]).map(|_| ())
    }
    fn is_fixed(p: &mut Probe<'_>) -> Outcome {
        let reply = p.read(2, &[])?;
        let current = reply.float(0).unwrap_or_default();
        looprig::conform::expect((current - 12.0).abs() < 0.01, "12 mA", reply.to_string())
    }
    fn locks(p: &mut Probe<'_>) -> Outcome {
        p.ask_as(looprig::frame::Master::Primary, 71, &[1]).map(|_| ())
    }
    fn is_locked(p: &mut Probe<'_>) -> Outcome {
        let reply = p.read(76, &[])?;
        looprig::conform::expect(
            reply.octet(0) == Some(0x05),
            "05, locked by the primary master",
            reply.to_string(),
        )
    }
    let case = |id, run| Case::should(id, "DV-06", "a", run).moves();
    let restarts = ["status/cold-start/told-after-a-restart", "lock/kinds/temporary-ends-with-a-reset"];
    let modes = [
        "status/device/fixed-current-is-told",
        "status/more-status/told-when-status-changes",
        "universal/loop-configuration/mode-is-kept",
        "common/settings/no-applied-process-in-multidrop",
    ];
    let labels = ["universal/label-writes", "boundaries/labels", "burst/frames"];
    let held = [
        (fixes as looprig::conform::Run, is_fixed as looprig::conform::Run, [&restarts[..], &modes].concat()),
        (locks, is_locked, labels.to_vec()),
    ];
    for (holds, is_held, ids) in held {
        for id in ids {
            let mut line = Bent::new(transmitter(R7)).line();
            let mut all = Suite::of(vec![case("lock/holds", holds)])
                .moving(true)
                .run(&mut line, &to())
                .expect("a device");
            assert!(all.passed(), "{all}");
            all = Suite::new().only(id).moving(true).run(&mut line, &to()).expect("a device");
            assert!(all.cases.iter().any(|c| c.case.needs.writes || c.case.needs.moves), "{id}");
            for c in all.cases.iter().filter(|c| c.case.needs.writes || c.case.needs.moves) {
                assert!(matches!(c.verdict, Verdict::Skip(_)), "{}: {:?}", c.case.id, c.verdict);
            }
            let after = Suite::of(vec![case("lock/held", is_held)])
                .moving(true)
                .run(&mut line, &to())
                .expect("a device");
            assert!(after.passed(), "{id}: {after}");
        }
    }
}

/// [LI-04]: what a line cannot tell or send is inconclusive, never passed and never failed.
#[test]
fn poor_lines_leave_cases_open() {
    let verdicts = |stamp_error, delay_ms: u64| {
        let mut config = config(R7);
        config.response_delay = Duration::from_millis(delay_ms);
        let mut line = Poor { stamp_error, ..Poor::over(Bent::new(config)) };
        let results = Suite::new().only("link").run(&mut line, &to()).expect("a device");
        let fails = results.cases.iter().filter(|c| matches!(c.verdict, Verdict::Fail { .. }));
        assert_eq!(fails.count(), 0, "{results}");
        let open = results.cases.into_iter().filter(|c| matches!(c.verdict, Verdict::Inconclusive(_)));
        open.map(|c| c.case.id).collect::<Vec<_>>()
    };
    // 9.167 ms is a character: pauses are told with an error of 1 ms, not with one of 20 ms.
    let fine = verdicts(Duration::from_millis(1), 25);
    let coarse = verdicts(Duration::from_millis(20), 25);
    let slow = verdicts(Duration::from_millis(20), 230);
    for (id, open) in [
        ("link/check/wrong-parity", [true, true, true]),
        ("link/requests/pause-inside", [true, true, true]),
        ("link/framing/parity-of-answers-is-odd", [true, true, true]),
        ("link/framing/no-pause-inside-answers", [false, true, true]),
        // 230 ms with an error of twice 20 ms may be more than 256.7 ms.
        ("link/timing/answers-within-limit", [false, false, true]),
        ("link/timing/every-request-is-answered", [false, false, false]),
    ] {
        assert_eq!([&fine, &coarse, &slow].map(|v| v.contains(&id)), open, "{id}");
    }
}

/// Whoever sends without end does not fill the memory, and is no fault of the device.
#[test]
fn a_flood_ends_the_case() {
    let listens = |p: &mut Probe<'_>| {
        p.pause(Duration::from_secs(1))?;
        p.pause(Duration::from_secs(60))
    };
    let case = Case { run: listens, ..PASSES };
    let mut line = Poor { flooded_at: Some(Instant::ZERO), ..Poor::over(healthy()) };
    let error = Suite::of(vec![case]).run(&mut line, &to()).map(|_| ());
    assert!(matches!(&error, Err(CannotRun::Bench(why)) if why.contains("65536 octets")), "{error:?}");
    // In the middle of a case that listens; 65 536 octets are there after 256 ms.
    let begins = run(&Suite::of(vec![case]), healthy()).cases[0].span.0;
    let at = begins + Duration::from_secs(1);
    let within = Duration::from_millis(500);
    let mut line = Poor { flooded_at: Some(begins + within), ..Poor::over(healthy()) };
    let results = Suite::of(vec![case]).run(&mut line, &to()).expect("it is found before");
    assert!(
        matches!(&results.cases[0].verdict, Verdict::BenchError(why) if why.contains("65536")),
        "{results}"
    );
    assert!(results.cases[0].span.1.since(at) < Duration::from_millis(300), "{:?}", results.cases[0].span);
}
