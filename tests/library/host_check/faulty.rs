//! Faulty hosts. Each row names what the host does, the finding that must come of it with the requirement that it breaks,
//! and what follows from the fault besides; nothing else may be found.

use super::rig::{BENCH, PATIENT_MS, Rig, judge, names};
use looprig::conform::host_check::{Judged, LineFacts, RULES, Strength, Verdict};
use looprig::frame::{
    Address, Expansion, Frame, Master as Role, PollingAddress, RawFrame, RawOctet, Target, UniqueAddress,
    check_byte,
};
use looprig::time::Pace;
use std::time::Duration;

struct Faulty {
    /// The finding and the requirement, from the notes.
    breaks: (&'static str, &'static str),
    strength: Strength,
    /// What else follows from it.
    follows: &'static [&'static str],
    bench: &'static str,
    host: fn(&mut Rig),
}

const MUST: Strength = Strength::Must;
const ADVICE: Strength = Strength::Advice;

const fn row(
    breaks: (&'static str, &'static str),
    strength: Strength,
    follows: &'static [&'static str],
    host: fn(&mut Rig),
) -> Faulty {
    Faulty { breaks, strength, follows, bench: BENCH, host }
}

const fn on(bench: &'static str, faulty: Faulty) -> Faulty {
    Faulty { bench, ..faulty }
}

/// A device of revision 5, which has no command 9 [DV-16].
const REVISION_5: &str = "
[[device]]
revision = 5
tag = \"FV-3105\"
[[line]]
at = \"pty:\"
";
const BUSY: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
busy = true
[[line]]
at = \"pty:\"
";
const TELLS_DAMAGE: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
answers_damaged = true
[[line]]
at = \"pty:\"
";
const SLOW: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
[[device.slow]]
command = 41
takes_s = 100
[[device.slow]]
command = 79
takes_s = 100
[[line]]
at = \"pty:\"
";
const PROTECTED: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
write_protect = true
[[line]]
at = \"pty:\"
";
const ILL: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
[[event]]
at_s = 3
malfunction = true
[[line]]
at = \"pty:\"
";
const RESTARTED: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
[[event]]
at_s = 8
power_cycle = true
[[line]]
at = \"pty:\"
";
/// In burst mode, with long pauses.
const BURSTING: &str = "
[[device]]
tag = \"FV-3104\"
preambles_request = 7
[[device.burst]]
command = 1
update_period_s = 60
[[line]]
at = \"pty:\"
";

fn asks(rig: &mut Rig, command: u8, times: usize) {
    for _ in 0..times {
        rig.ask(command, &[]);
    }
}

/// Octets of a request with this byte count, with the check byte over all that is sent.
fn counted(frame: &Frame, count: u8) -> Vec<u8> {
    let mut octets = frame.encode().to_vec();
    octets.pop();
    octets[frame.data_offset() - 1] = count;
    octets.push(check_byte(&octets));
    [vec![0xFF; 7], octets].concat()
}

static FAULTY: &[Faulty] = &[
    row(("preambles-too-few", "FR-02"), MUST, &[], |rig| {
        let frame = rig.polling(0, &[]);
        rig.send(&frame, 4, PATIENT_MS);
        rig.ask(3, &[]);
    }),
    row(("preambles-fewer-than-wanted", "LL-11"), MUST, &[], |rig| {
        rig.identify();
        let frame = rig.long(3, &[]);
        rig.send(&frame, 6, PATIENT_MS);
    }),
    row(("preambles-too-many", "FR-02"), MUST, &[], |rig| {
        rig.identify();
        let frame = rig.long(3, &[]);
        rig.send(&frame, 21, PATIENT_MS);
        // More than a receiver keeps with a frame.
        rig.send(&frame, 60, PATIENT_MS);
    }),
    row(("gap-in-request", "LL-06"), MUST, &[], |rig| {
        rig.identify();
        for _ in 0..2 {
            // Two characters between the byte count and the check byte, which end the frame [FR-11].
            let mut frame = RawFrame::of(&rig.long(12, &[]), 7);
            let last = frame.octets.len() - 1;
            frame.octets[last].gap_before = Duration::from_micros(2 * 9167);
            rig.say(&frame);
            rig.rest(PATIENT_MS);
        }
    }),
    row(("byte-count-wrong", "FR-08"), MUST, &[], |rig| {
        rig.identify();
        // One more than there is: the device waits for an octet that never comes.
        let octets = counted(&rig.long(9, &[0, 1, 2]), 4);
        rig.octets(&octets, PATIENT_MS);
        rig.octets(&octets, PATIENT_MS);
    }),
    row(("byte-count-wrong", "FR-08"), MUST, &[], |rig| {
        rig.identify();
        // One less.
        let octets = counted(&rig.long(9, &[0, 1, 2]), 2);
        rig.octets(&octets, PATIENT_MS);
        rig.octets(&octets, PATIENT_MS);
    }),
    row(("check-byte-wrong", "FR-09"), MUST, &["gives-up-at-once"], |rig| {
        rig.identify();
        for _ in 0..3 {
            let last = 7 + rig.long(12, &[]).len() - 1;
            let frame = RawFrame::of(&rig.long(12, &[]), 7).flip(last, 0x10);
            rig.say(&frame);
            rig.rest(PATIENT_MS);
        }
    }),
    row(("octets-after-check", "FR-01"), ADVICE, &[], |rig| {
        rig.identify();
        for _ in 0..2 {
            let octets = [&rig.long(12, &[]).encode_after(7)[..], &[0x00]].concat();
            rig.octets(&octets, PATIENT_MS);
        }
    }),
    row(("short-frame", "FR-14"), MUST, &[], |rig| {
        rig.identify();
        let frame = rig.polling(3, &[]);
        rig.send(&frame, 7, PATIENT_MS);
    }),
    row(("burst-bit-set", "FR-16"), ADVICE, &[], |rig| {
        rig.identify();
        let address = Address { master: rig.role, burst: true, target: Target::Unique(rig.device) };
        let frame = Frame::request(address, 3, vec![]).expect("it fits");
        rig.send(&frame, 7, PATIENT_MS);
    }),
    row(("expansion-octets", "FR-04"), ADVICE, &[], |rig| {
        rig.identify();
        let frame = rig.long(3, &[]).with_expansion(Expansion::new(&[1]).expect("one"));
        rig.send(&frame, 7, PATIENT_MS);
    }),
    row(("physical-layer-bits", "FR-03"), ADVICE, &[], |rig| {
        rig.identify();
        let frame = rig.long(3, &[]).with_physical(1);
        rig.send(&frame, 7, PATIENT_MS);
    }),
    row(("broadcast-misused", "DV-07"), ADVICE, &[], |rig| {
        rig.identify();
        let all = rig.request(Target::Unique(UniqueAddress::BROADCAST), 6, &[3, 1]);
        rig.send(&all, 7, PATIENT_MS);
    }),
    row(("data-too-short", "DV-14"), MUST, &[], |rig| {
        rig.identify();
        // A final assembly number has three octets [CM-019].
        rig.ask(19, &[0, 1]);
    }),
    row(("data-too-long", "DV-06"), ADVICE, &[], |rig| {
        rig.identify();
        rig.ask(3, &[0]);
    }),
    on(
        REVISION_5,
        row(("wrong-revision", "DV-11"), ADVICE, &[], |rig| {
            rig.identify();
            // Command 20 is from revision 6 on [CM-020].
            asks(rig, 20, 2);
        }),
    ),
    row(("talks-in-slave-time", "LL-02"), MUST, &[], |rig| {
        // Nobody is at 5 to 8; after 15 characters the next one is asked, the slave time-out is 28.
        for n in 5..9 {
            let frame = rig.request(Target::Polling(PollingAddress::new(n).expect("at most 63")), 0, &[]);
            rig.send(&frame, 5, 137);
        }
        rig.rest(PATIENT_MS);
    }),
    row(("asks-again-too-early", "LL-05"), ADVICE, &[], |rig| {
        // 32 characters, 293 ms: after STO, 28, and before RT1 of a secondary master, 41.
        for n in 5..9 {
            let frame = rig.request(Target::Polling(PollingAddress::new(n).expect("at most 63")), 0, &[]);
            rig.send(&frame, 5, 293);
        }
        rig.rest(PATIENT_MS);
    }),
    row(("takes-the-others-turn", "LL-04"), ADVICE, &[], |rig| {
        rig.identify();
        let frame = rig.long(1, &[]);
        for _ in 0..3 {
            // Its answer, 21 characters with 5 preambles, begins after 10 ms and lasts 192: 217 ms end less than
            // three characters behind it.
            rig.send(&frame, 7, 217);
        }
        rig.rest(PATIENT_MS);
    }),
    row(("repeats-without-end", "LL-07"), ADVICE, &[], |rig| {
        rig.identify();
        let gone = UniqueAddress::new([0xF9, 0xFD], [1, 2, 3]);
        let frame = rig.request(Target::Unique(gone), 3, &[]);
        for _ in 0..40 {
            rig.send(&frame, 7, 400);
        }
    }),
    row(("gives-up-at-once", "LL-07"), ADVICE, &[], |rig| {
        rig.identify();
        let gone = UniqueAddress::new([0xF9, 0xFD], [1, 2, 3]);
        for _ in 0..3 {
            for command in [3, 48] {
                let frame = rig.request(Target::Unique(gone), command, &[]);
                rig.send(&frame, 7, PATIENT_MS);
            }
        }
    }),
    on(
        TELLS_DAMAGE,
        row(("damaged-request-ignored", "ST-01"), ADVICE, &[], |rig| {
            rig.identify();
            // The wires spoil one octet behind the byte count: the device answers that [LL-08].
            let mut frame = RawFrame::of(&rig.long(9, &[0, 1, 2]), 7);
            let last = frame.octets.len() - 1;
            frame.octets[last - 1] = RawOctet { bad_parity: true, ..frame.octets[last - 1] };
            rig.say(&frame);
            rig.rest(PATIENT_MS);
            asks(rig, 3, 4);
        }),
    ),
    on(
        BUSY,
        row(("busy-ignored", "DV-09"), ADVICE, &[], |rig| {
            rig.identify();
            rig.ask(35, &[57, 0x42, 0xC8, 0, 0, 0, 0, 0, 0]);
            for _ in 0..12 {
                rig.rest(5_000);
                rig.ask(3, &[]);
            }
        }),
    ),
    on(
        BUSY,
        row(("busy-hammered", "DV-09"), ADVICE, &[], |rig| {
            rig.identify();
            // The answer of 2 octets ends 10 + 156 ms after the request; RT2 is 73 ms.
            for _ in 0..6 {
                let frame = rig.long(44, &[57]);
                rig.send(&frame, 7, 300);
            }
        }),
    ),
    on(
        SLOW,
        row(("delayed-ignored", "DV-40"), ADVICE, &[], |rig| {
            rig.identify();
            rig.ask(41, &[]);
            for _ in 0..12 {
                rig.rest(5_000);
                rig.ask(3, &[]);
            }
        }),
    ),
    on(
        SLOW,
        row(("delayed-hammered", "DV-40"), ADVICE, &[], |rig| {
            rig.identify();
            for _ in 0..10 {
                let frame = rig.long(41, &[]);
                rig.send(&frame, 7, 300);
            }
        }),
    ),
    on(
        SLOW,
        row(("delayed-conflict", "DV-40"), ADVICE, &[], |rig| {
            rig.identify();
            for n in 1..4 {
                // Variable 1 is simulated with n / 2^126, whatever that is [CM-079].
                rig.ask(79, &[1, 1, 57, n, 0, 0, 0, 0xC0]);
                rig.rest(1_000);
            }
        }),
    ),
    row(("unknown-command-again", "DV-11"), ADVICE, &[], |rig| {
        rig.identify();
        asks(rig, 140, 5);
    }),
    on(
        PROTECTED,
        row(("refused-again", "ST-03"), ADVICE, &[], |rig| {
            rig.identify();
            for _ in 0..5 {
                rig.ask(19, &[0, 1, 2]);
            }
        }),
    ),
    on(
        ILL,
        row(("more-status-ignored", "ST-07"), ADVICE, &[], |rig| {
            rig.identify();
            for _ in 0..24 {
                rig.rest(3_000);
                rig.ask(3, &[]);
            }
        }),
    ),
    row(("configuration-changed-ignored", "ST-09"), ADVICE, &["write-not-read-back"], |rig| {
        rig.identify();
        rig.ask(17, &[0; 24]);
        for _ in 0..31 {
            rig.rest(3_000);
            rig.ask(3, &[]);
        }
    }),
    row(("stale-counter", "ST-09"), ADVICE, &[], |rig| {
        rig.identify();
        rig.ask(38, &[0xAB, 0xCD]);
        rig.ask(38, &[0xAB, 0xCD]);
    }),
    on(
        RESTARTED,
        row(("cold-start-ignored", "ST-08"), ADVICE, &[], |rig| {
            rig.identify();
            asks(rig, 3, 30);
        }),
    ),
    row(("write-not-read-back", "HO-06"), ADVICE, &[], |rig| {
        rig.identify();
        rig.ask(22, &[b' '; 32]);
        asks(rig, 3, 31);
    }),
    on(
        BURSTING,
        row(("burst-changed-while-on", "HC-05"), ADVICE, &[], |rig| {
            rig.identify();
            rig.ask(108, &[0, 3, 0]);
        }),
    ),
    row(("left-set", "HC-05"), ADVICE, &[], |rig| {
        rig.identify();
        // A temporary lock [TB-13].
        rig.ask(71, &[1]);
        rig.ask(3, &[]);
    }),
    row(("left-set", "HC-05"), ADVICE, &[], |rig| {
        rig.identify();
        // Variable 1 is simulated: 50 %, status good [CM-079].
        rig.ask(79, &[1, 1, 57, 0x42, 0x48, 0, 0, 0xC0]);
        rig.ask(3, &[]);
    }),
];

/// Each one is found, by the requirement that was named, and nothing but it and its consequences.
#[test]
fn each_fault_is_found_and_nothing_else() {
    let mut wrong = Vec::new();
    for faulty in FAULTY {
        let mut rig = Rig::new(faulty.bench);
        (faulty.host)(&mut rig);
        let report = rig.report();
        let (slug, requirement) = faulty.breaks;
        let rule = RULES.iter().find(|r| r.slug == slug).expect("a rule of this name");
        assert_eq!((rule.requirement, rule.strength), (requirement, faulty.strength), "{slug}");
        let found = names(&report);
        let others: Vec<_> = found.iter().filter(|n| **n != slug && !faulty.follows.contains(n)).collect();
        if !found.contains(&slug) || !others.is_empty() {
            wrong.push(format!("{slug}: found {found:?}, not judged {:?}", report.unjudged));
            continue;
        }
        let finding = report.findings.iter().find(|f| f.rule.slug == slug).expect("it was found");
        assert_eq!(finding.master, Role::Secondary, "{slug}");
        assert!(!finding.evidence.is_empty() && finding.evidence.iter().all(|e| e.place.is_some()), "{slug}");
        let verdict = if faulty.strength == MUST { Verdict::Broken } else { Verdict::Advice };
        assert_eq!(report.verdict(), verdict, "{slug}");
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Every rule has a host that breaks it; the two that take two masters, or a word from the user, have tests of their own.
#[test]
fn every_rule_has_a_faulty_host() {
    for rule in RULES.iter().filter(|r| !["both-master-bits", "talks-in-the-others-time"].contains(&r.slug)) {
        assert!(FAULTY.iter().any(|f| f.breaks.0 == rule.slug), "nobody breaks {}", rule.slug);
    }
}

/// A host that is alone and speaks with both bits; where it is not said to be alone, these are two.
#[test]
fn both_bits() {
    let mut rig = Rig::new(BENCH);
    rig.identify();
    rig.ask(3, &[]);
    rig.role = Role::Primary;
    rig.identify();
    rig.ask(3, &[]);
    let facts = LineFacts::of_line("bus, virtual time", Pace::Wire, super::rig::EXACT);
    let alone = |master| judge(rig.heard(), facts, Judged { master, alone: true });
    assert_eq!(names(&rig.report()), [""; 0]);
    for (master, other) in [(None, Role::Primary), (Some(Role::Primary), Role::Secondary)] {
        let report = alone(master);
        assert_eq!(names(&report), ["both-master-bits"]);
        assert_eq!((report.findings[0].master, report.findings[0].times), (other, 2));
    }
}

/// Somebody who talks while the other master's request may still be answered.
#[test]
fn in_the_others_slave_time() {
    let mut rig = Rig::new(BENCH);
    for n in 5..8 {
        let target = Target::Polling(PollingAddress::new(n).expect("at most 63"));
        for (role, rest) in [(Role::Primary, 60), (Role::Secondary, PATIENT_MS)] {
            rig.role = role;
            let frame = rig.request(target, 0, &[]);
            rig.send(&frame, 5, rest);
        }
    }
    let report = rig.report();
    assert_eq!(names(&report), ["talks-in-the-others-time"]);
    assert_eq!((report.findings.len(), report.findings[0].master), (1, Role::Secondary));
    assert_eq!((report.findings[0].times, report.findings[0].of), (3, Some(3)));
}

/// What is shown is where it happened: the third record, its octets, its times.
#[test]
fn evidence_points_at_the_octets() {
    let mut rig = Rig::new(BENCH);
    rig.identify();
    let frame = rig.polling(3, &[]);
    rig.send(&frame, 7, PATIENT_MS);
    let report = rig.report();
    let e = &report.findings[0].evidence[0];
    // 02 ^ 00 ^ 03 ^ 00 = 01 [FR-09]; the log has its header, a request, an answer, and then this.
    assert_eq!(e.octets, [&[0xFF; 7][..], &[0x02, 0x00, 0x03, 0x00, 0x01]].concat());
    assert_eq!(e.place.map(|p| p.line), Some(4));
    // 12 octets, so 11 characters of 9.1667 ms lie between the ends of the first and the last [LL-01].
    assert_eq!(e.to.since(e.from).as_micros(), 100_833);
}

/// The faults that a bench file can give its master: each is found by the requirement that its name's doc cites, also
/// beside a good master.
#[test]
fn faults_of_a_benchs_master() {
    use looprig::sim::HostFault;
    let expected = [
        ("few_preambles", "preambles-too-few"),
        ("wrong_check_byte", "check-byte-wrong"),
        ("wrong_byte_count", "byte-count-wrong"),
        ("burst_bit", "burst-bit-set"),
        ("octet_behind", "octets-after-check"),
    ];
    assert_eq!(HostFault::ALL.map(|(_, name)| name), expected.map(|(name, _)| name));
    for (fault, slug) in expected {
        let bench = format!(
            "[[device]]\ntag = \"FV-3104\"\n[[master]]\nfaults = [\"{fault}\"]\nasks = [{{ device = \"FV-3104\", command = 3 }}]\n\
             [[master]]\nrole = \"secondary\"\nasks = [{{ device = \"FV-3104\", command = 48 }}]\n[[line]]\nat = \"pty:\"\n"
        );
        let mut rig = Rig::new(&bench);
        rig.rest(20_000);
        let report = rig.report();
        assert_eq!(names(&report), [slug], "{fault}: {:#?}", report.unjudged);
        assert!(report.findings.iter().all(|f| f.master == Role::Primary), "{fault}");
    }
}
