//! Masters, faults on the wires, clocks, the seed.

use super::{faulty, faulty_device, in_device};
use crate::bench::file::check;
use crate::bench::plan::BenchPlan;
use crate::frame::{Master, PollingAddress, Target, UniqueAddress};
use crate::line::{FaultKind, FaultOf, WireFault};
use crate::time::{Instant, Pace};
use core::time::Duration;
use std::path::Path;

fn plan(text: &str) -> BenchPlan {
    check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"))
}

/// Two devices and a line, with these lines before them.
fn bench(lines: &str) -> String {
    format!(
        "{lines}\n[[device]]\ntag = \"FV-3104\"\nlong_tag = \"Inlet\"\n\
         [[device]]\npolling_address = 7\ntag = \"FV-3107\"\ndevice_id = 7\npreambles_request = 9\n\
         [[line]]\nat = \"pty:\"\n"
    )
}

#[track_caller]
fn faulty_bench(lines: &str, wrong_has: &str, right_has: &str) {
    faulty(&bench(lines), wrong_has, right_has);
}

#[track_caller]
fn faulty_master(lines: &str, wrong_has: &str, right_has: &str) {
    faulty_bench(
        &format!("[[master]]\nasks = [{{ device = 0, command = 3 }}]\n{lines}"),
        wrong_has,
        right_has,
    );
}

#[track_caller]
fn faulty_ask(inside: &str, wrong_has: &str, right_has: &str) {
    faulty_bench(&format!("[[master]]\nasks = [{{ {inside} }}]"), wrong_has, right_has);
}

#[track_caller]
fn faulty_fault(lines: &str, wrong_has: &str, right_has: &str) {
    faulty_bench(&format!("[[wire_fault]]\n{lines}"), wrong_has, right_has);
}

#[test]
fn seeds() {
    assert_eq!(plan(&bench("")).seed, None);
    assert_eq!(plan(&bench("seed = 42")).seed, Some(42));
    // The largest number of TOML, 2^63 - 1.
    assert_eq!(plan(&bench("seed = 9223372036854775807")).seed, Some((1 << 63) - 1));
    faulty_bench("seed = «-1", "seed is -1", "0 to 9223372036854775807");
    faulty_bench("seed = «9223372036854775808", "seed is 9223372036854775808", "0 to 9223372036854775807");
    faulty_bench("seed = «1.5", "`1.5`", "a whole number");
}

#[test]
fn masters_that_cannot_be() {
    let ask = "asks = [{ device = 0, command = 3 }]\n";
    let three = format!("[[master]]\n{ask}[[master]]\n{ask}«[[master]]\n{ask}");
    faulty_bench(&three, "two masters", "leave it out");
    faulty_bench("«[[master]]\nrole = \"primary\"", "asks nothing", "asks = [");
    faulty_bench("«[[master]]\nasks = []", "asks nothing", "asks = [");
    faulty_master("role = «\"tertiary\"", "role cannot be \"tertiary\"", "primary, secondary");
    faulty_master("role = «\"secondry\"", "role cannot be", "did you mean \"secondary\"?");
    faulty_master("role = «1", "`1`", "a string");
    faulty_master("retries = «11", "retries is 11", "0 to 10");
    faulty_master("listens_first = «1", "`1`", "a boolean");
    faulty_master("clock_ppm = «20001", "clock_ppm is 20001", "-20000 to 20000");
    faulty_master("jitter_ms = «-1", "jitter_ms is -1 ms", "0 to 1000 ms");
    faulty_master("«ask = 3", "no key `ask`", "did you mean `asks`?");
    faulty_bench("«[master]\nasks = []", "cannot stand here", "double brackets");
    faulty_device("clock_ppm = «-20001", "clock_ppm is -20001", "-20000 to 20000");
    faulty_device("jitter_ms = «1000.5", "1000.5 ms", "0 to 1000 ms");
}

#[test]
fn requests_that_cannot_be() {
    faulty_bench("[[master]]\nasks = [«{ command = 3 }]", "no device", "device = \"FV-3104\"");
    faulty_bench("[[master]]\nasks = [«{ device = 0 }]", "no command", "command = 3");
    faulty_ask(
        "device = «\"FV-3105\", command = 3",
        "called \"FV-3105\"",
        "did you mean \"FV-3104\"? the tags",
    );
    faulty_ask(
        "device = «\"PUMP\", command = 3",
        "\"PUMP\"",
        "the tags here are \"FV-3104\", \"Inlet\", \"FV-3107\"",
    );
    faulty_ask("device = «\"\", command = 3", "called \"\"", "the tags here");
    faulty_ask("device = «5, command = 0", "no device of this bench has polling address 5", "are 0, 7");
    faulty_ask("device = «1.5, command = 0", "`1.5`", "a tag in quotes or a polling address");
    faulty_ask("device = 0, command = «256", "command is 256", "0 to 255");
    faulty_ask("device = 0, command = 9, data = «\"0G\"", "\"0G\"", "two hex digits");
    let long = "00".repeat(256);
    faulty_ask(&format!("device = 0, command = 9, data = «\"{long}\""), "256", "at most 255");
    faulty_ask("device = 0, command = 3, every_s = «-1", "every_s is -1 s", "0 to 31536000 s");
    faulty_ask("device = 0, command = 3, from_s = «1e9", "from_s is 1000000000 s", "0 to 31536000 s");
    faulty_ask("device = 0, command = 3, «every = 1", "no key `every`", "did you mean `every_s`?");
    let same = "[[device]]\ntag = \"A\"\n[[device]]\ntag = \"A\"\npolling_address = 1\ndevice_id = 1\n\
                [[master]]\nasks = [{ device = «\"A\", command = 3 }]\n[[line]]\nat = \"pty:\"\n";
    faulty(same, "several devices", "polling address");
    let none = format!("[[master]]\nasks = [{{ device = «\"A\", command = 3 }}]\n{}", in_device(""));
    faulty(&none, "called \"A\"", "no device here has a tag");
}

/// [HO-05]: behind a serial port or the other end of a connection there may be real devices.
#[test]
fn a_master_does_not_write_to_what_may_be_real() {
    let with = |command: &str, line: &str| {
        format!(
            "[[device]]\n[[master]]\nasks = [{{ device = 0, command = {command} }}]\n[[line]]\nat = \"{line}\"\n"
        )
    };
    for line in ["serial:/dev/ttyUSB0", "tcp:127.0.0.1:5500"] {
        // 18 writes the tag, 6 the polling address, 200 is not known.
        for command in ["«18", "«6", "«200"] {
            faulty(&with(command, line), &format!("behind {line}"), "only reads");
        }
        plan(&with("3", line));
        // 7 reads, but not in revision 5.
        plan(&with("7", line));
        let five = with("«7", line).replace("[[device]]", "[[device]]\nrevision = 5");
        faulty(&five, &format!("behind {line}"), "only reads");
    }
    for line in ["pty:", "tcp-listen:0"] {
        plan(&with("18, data = \"\"", line));
    }
}

#[test]
fn faults_that_cannot_be() {
    faulty_bench("«[[wire_fault]]\nshare = 0.5", "no kind", "bit_errors, lost_octets");
    faulty_fault("kind = «\"bit_error\"", "kind cannot be \"bit_error\"", "did you mean \"bit_errors\"?");
    faulty_fault("kind = «7", "`7`", "a string");
    for (kind, key) in [
        ("bit_errors", "rate"),
        ("lost_octets", "octets"),
        ("inserted_octets", "octets"),
        ("gap", "characters"),
        ("carrier_lost", "octets"),
        ("short_preamble", "preambles_left"),
        ("repeated", "characters"),
        ("noise", "every_s"),
    ] {
        faulty_bench(
            &format!("«[[wire_fault]]\nkind = \"{kind}\""),
            &format!("{kind} needs {key}"),
            "--schema",
        );
    }
    faulty_fault(
        "kind = \"bit_errors\"\nrate = 0.1\noctets = «3",
        "bit_errors has no octets",
        "its keys are rate, share, of, from_s, until_s",
    );
    faulty_fault("kind = \"gap\"\ncharacters = 2\nrate = «0.1", "gap has no rate", "characters");
    faulty_fault(
        "kind = \"repeated\"\ncharacters = 2\nevery_s = «1",
        "repeated has no every_s",
        "characters",
    );
    faulty_fault(
        "kind = \"lost_octets\"\noctets = 2\npreambles_left = «1",
        "has no preambles_left",
        "octets",
    );
    faulty_fault(
        "kind = \"short_preamble\"\npreambles_left = 2\ncharacters = «1",
        "has no characters",
        "preambles_left",
    );
    let noise = "kind = \"noise\"\nevery_s = 1\noctets = 3\n";
    faulty_fault(&format!("{noise}share = «0.5"), "noise has no share", "every_s, octets, from_s, until_s");
    faulty_fault(&format!("{noise}of = «\"answers\""), "noise has no of", "every_s");
    let lost = "kind = \"lost_octets\"\noctets = 3\n";
    faulty_fault("kind = \"lost_octets\"\noctets = «0", "octets is 0", "1 to 255");
    faulty_fault("kind = \"bit_errors\"\nrate = «1.5", "rate is 1.5", "0 to 1");
    faulty_fault("kind = \"bit_errors\"\nrate = «nan", "rate is NaN", "0 to 1");
    faulty_fault("kind = \"gap\"\ncharacters = «1001", "1001 characters", "0 to 1000");
    faulty_fault("kind = \"short_preamble\"\npreambles_left = «21", "preambles_left is 21", "0 to 20");
    faulty_fault("kind = \"noise\"\noctets = 3\nevery_s = «0", "every_s is 0 s", "0.001 to");
    faulty_fault(&format!("{lost}share = «1.1"), "share is 1.1", "0 to 1");
    faulty_fault(
        &format!("{lost}of = «\"replies\""),
        "of cannot be \"replies\"",
        "all, requests, answers, bursts",
    );
    faulty_fault(&format!("{lost}from_s = «-1"), "from_s is -1 s", "0 to 31536000 s");
    faulty_fault(&format!("{lost}from_s = 5\nuntil_s = «5"), "ends before it begins", "later");
}

/// Every key of a master arrives, and its requests have the addresses that they should.
#[test]
fn masters_as_they_stand_in_the_file() {
    let plan = plan(&bench(
        "[[master]]\nasks = [{ device = \"FV-3107\", command = 9, data = \"00 01\", every_s = 0, from_s = 2.5 }]\n\
         retries = 5\nlistens_first = false\nclock_ppm = -300\njitter_ms = 4\n\
         [[master]]\nrole = \"secondary\"\nasks = [{ device = \"Inlet\", command = 0 }, { device = 7, command = 0 },\n\
         { device = 7, command = 3 }, { device = \"fv-3104\", command = 1 }]",
    ));
    let [first, second] = &plan.masters[..] else { panic!("{:?}", plan.masters) };
    assert_eq!(
        (first.config.role, first.config.retries, first.config.listens_first),
        (Master::Primary, 5, false)
    );
    assert_eq!((first.clock.drift.ppm(), first.clock.jitter), (-300, Duration::from_millis(4)));
    let e = &first.errands[0];
    assert_eq!((e.frame.command(), &e.frame.data()[..], e.preambles), (9, &[0, 1][..], Some(9)));
    assert_eq!((e.first_at, e.every), (Instant::from_nanos(2_500_000_000), Some(Duration::ZERO)));
    let second_config = second.config;
    assert_eq!(
        (second_config.role, second_config.retries, second_config.listens_first),
        (Master::Secondary, 3, true)
    );
    assert_eq!((second.clock.drift.ppm(), second.clock.jitter), (0, Duration::ZERO));
    // FD71 without its two top bits is 3D 71 [FR-06]; the device ids are 003104 and 000007.
    let unique =
        |id| Target::Unique(UniqueAddress::from_octets([0x3D, 0x71, 0, id, if id == 0x31 { 4 } else { 7 }]));
    let at_seven = Target::Polling(PollingAddress::new(7).unwrap());
    let targets: Vec<Target> = second.errands.iter().map(|e| e.frame.address().target).collect();
    assert_eq!(targets, [unique(0x31), at_seven, unique(0), unique(0x31)]);
    for e in &second.errands {
        assert_eq!((e.first_at, e.every), (Instant::ZERO, Some(Duration::from_secs(1))));
        assert_eq!(e.frame.address().master, Master::Secondary);
    }
    assert!(plan.leaves_to_chance());
}

/// Every kind with its keys, in the order of the file [LI-22].
#[test]
fn faults_as_they_stand_in_the_file() {
    let plan = plan(&bench(
        "[[wire_fault]]\nkind = \"bit_errors\"\nrate = 0.01\nshare = 0.5\nof = \"answers\"\nfrom_s = 1\nuntil_s = 2\n\
         [[wire_fault]]\nkind = \"lost_octets\"\noctets = 2\nof = \"requests\"\n\
         [[wire_fault]]\nkind = \"inserted_octets\"\noctets = 3\nof = \"bursts\"\n\
         [[wire_fault]]\nkind = \"gap\"\ncharacters = 1.5\nof = \"all\"\n\
         [[wire_fault]]\nkind = \"carrier_lost\"\noctets = 255\n\
         [[wire_fault]]\nkind = \"short_preamble\"\npreambles_left = 1\n\
         [[wire_fault]]\nkind = \"repeated\"\ncharacters = 0\n\
         [[wire_fault]]\nkind = \"noise\"\nevery_s = 0.25\noctets = 4",
    ));
    let rest = [
        WireFault { of: FaultOf::Requests, ..WireFault::always(FaultKind::LostOctets { count: 2 }) },
        WireFault { of: FaultOf::Bursts, ..WireFault::always(FaultKind::InsertedOctets { count: 3 }) },
        WireFault::always(FaultKind::Gap { characters: 1.5 }),
        WireFault::always(FaultKind::CarrierLost { octets: 255 }),
        WireFault::always(FaultKind::ShortPreamble { left: 1 }),
        WireFault::always(FaultKind::Repeated { after_characters: 0.0 }),
        WireFault::always(FaultKind::Noise { every: Duration::from_millis(250), octets: 4 }),
    ];
    let first = WireFault {
        kind: FaultKind::BitErrors { rate: 0.01 },
        share: 0.5,
        of: FaultOf::Answers,
        from: Instant::from_nanos(1_000_000_000),
        until: Some(Instant::from_nanos(2_000_000_000)),
    };
    assert_eq!(plan.wire_faults, [&[first][..], &rest].concat());
    assert!(plan.leaves_to_chance());
}

#[test]
fn clocks_of_devices() {
    let plan = plan(&in_device("clock_ppm = 20000\njitter_ms = 12.5"));
    let clock = plan.devices[0].clock;
    assert_eq!((clock.drift.ppm(), clock.jitter), (20_000, Duration::from_micros(12_500)));
    assert!(plan.leaves_to_chance());
    assert!(!self::plan(&in_device("clock_ppm = 5")).leaves_to_chance());
}

/// A master that asks without a pause does not hold a bench at pace "fast" up: 10 ms between requests
/// are at most 101 in a second.
#[test]
fn asking_without_a_pause_and_without_time_ends() {
    use crate::line::Line;
    let mut fast =
        plan(&bench("pace = \"fast\"\n[[master]]\nasks = [{ device = 0, command = 3, every_s = 0 }]"));
    assert_eq!(fast.pace, Pace::Fast);
    for (pace, least, most) in [(Pace::Fast, 90, 101), (Pace::Wire, 1, 5)] {
        fast.pace = pace;
        let mut line = crate::bench::in_process(&fast);
        let until = Instant::from_nanos(1_000_000_000);
        while !matches!(line.wait(Some(until)), Ok(crate::line::Event::TimeOut)) {}
        let tally = line.bus().stations().find_map(|s| s.master()).unwrap().tally();
        assert!((least..=most).contains(&tally.asked), "{pace}: {tally:?}");
    }
}
