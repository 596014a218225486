//! Good hosts, about whom nothing is found: looprig's own in many scenes, and the mock masters of benches over seeds.

use super::rig::{EXACT, judge, names};
use looprig::bench::{self, check, world};
use looprig::commission::settings::{Allowed, News, Origin, Restoring, Settings, read};
use looprig::conform::host_check::{Judged, LineFacts, Report, Verdict};
use looprig::frame::{Master as Role, Octet, PollingAddress};
use looprig::host::{Device, Host, Patience, To, ask_patiently};
use looprig::line::{InProcess, Line, Tap};
use looprig::link::MasterConfig;
use looprig::sim::Participant;
use looprig::time::{Instant, Pace};
use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;
use std::time::Duration;

type Heard = Rc<RefCell<Vec<Octet>>>;

/// Our host, as `role`, on a bench; everything that it sends and hears is kept.
fn host(bench: &str, role: Role) -> (Host<impl Line + use<>>, Heard) {
    let plan = check(bench, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    let line: InProcess<Participant> = bench::in_process(&plan);
    let heard = Heard::default();
    let kept = heard.clone();
    let tap = Tap::new(line, move |_, octets| kept.borrow_mut().extend_from_slice(octets));
    (Host::new(tap, MasterConfig { role, ..MasterConfig::default() }), heard)
}

fn report<L: Line>(host: Host<L>, heard: &Heard) -> Report {
    // What was still leaving is shown when the line goes.
    drop(host);
    let mut octets = heard.borrow().clone();
    octets.sort_by_key(|o| o.at);
    judge(&octets, LineFacts::of_line("bus, virtual time", Pace::Wire, EXACT), Judged::default())
}

/// Nothing is found, and something was there to be judged.
fn nothing(what: &str, report: &Report) {
    assert_eq!(report.verdict(), Verdict::Nothing, "{what}: {:#?}", report.findings);
}

fn device<L: Line>(host: &mut Host<L>) -> Device {
    let mut poll = || host.poll(PollingAddress::default(), None).expect("the line works").1;
    (0..9).find_map(|_| poll()).expect("it answers")
}

const ONE: &str = "
seed = 7
[[device]]
tag = \"FV-3104\"
long_tag = \"Brackenmoor inlet valve\"
preambles_request = 12
[[device.slow]]
command = 41
takes_s = 20
[[line]]
at = \"pty:\"
";

fn owned(values: &[(&str, &str)]) -> Vec<(String, String)> {
    values.iter().map(|&(n, v)| (n.to_owned(), v.to_owned())).collect()
}

#[test]
fn our_host_scans() {
    let text = include_str!("../../../fixtures/benches/multidrop-7.toml");
    for role in [Role::Primary, Role::Secondary] {
        let (mut host, heard) = host(text, role);
        for n in 0..6 {
            let at = PollingAddress::new(n).expect("at most 63");
            let (_, device) = host.poll(at, Some(0)).expect("the line works");
            if let Some(device) = device {
                for command in [3, 13, 48] {
                    host.ask(&device, command, &[]).expect("the line works");
                }
            }
        }
        nothing("scan", &report(host, &heard));
    }
}

#[test]
fn our_host_asks_writes_and_waits() {
    for role in [Role::Primary, Role::Secondary] {
        let (mut host, heard) = host(ONE, role);
        host.find(&To::Tag("FV-3104".into())).expect("the line works");
        host.find(&To::LongTag("Brackenmoor inlet valve".into())).expect("the line works");
        host.find(&To::Tag("FV-9999".into())).expect("the line works");
        let device = device(&mut host);
        for command in [0, 1, 2, 3, 7, 8, 12, 13, 14, 15, 16, 20, 48, 57] {
            host.ask(&device, command, &[]).expect("the line works");
        }
        host.ask(&device, 22, &owned(&[("long_tag", "Filter 4")])).expect("the line works");
        host.ask(&device, 20, &[]).expect("the line works");
        let mut waits = 0;
        ask_patiently(&mut host, &device, 41, &[], Patience::USUAL, &mut |_, _| waits += 1)
            .expect("it works");
        assert!(waits > 3);
        for _ in 0..40 {
            host.ask(&device, 3, &[]).expect("the line works");
        }
        nothing("asking", &report(host, &heard));
    }
}

/// Nobody is there: repeats, and an end of them.
#[test]
fn our_host_asks_in_vain() {
    let (mut host, heard) = host(ONE, Role::Secondary);
    let device = device(&mut host);
    let gone = Device { unique: looprig::frame::UniqueAddress::new([0xF9, 0xFD], [1, 2, 3]), ..device };
    for command in [3, 48, 3] {
        host.ask(&gone, command, &[]).expect("the line works");
    }
    nothing("asking in vain", &report(host, &heard));
}

fn settings<L: Line>(host: &mut Host<L>, device: &Device) -> Settings {
    let origin = Origin { looprig: String::new(), saved: String::new(), line: "bus".into() };
    read(host, device, origin, &mut |_| {}).expect("the device can be read")
}

/// Written is what differs, and each value is read back [HO-06].
#[test]
fn our_host_saves_and_restores_settings() {
    let burst = "[[device.burst]]\nupdate_period_s = 32\n";
    let bench = |tag: &str, burst: &str| {
        format!("[[device]]\ntag = \"{tag}\"\nlong_tag = \"{tag}\"\n{burst}[[line]]\nat = \"pty:\"\n")
    };
    let on = [1, 3].map(|n| format!("{burst}command = {n}\n"));
    // Where bursts are on before and after, they stay on while it is changed what they send.
    for (before, after, found) in
        [("", &*on[0], &[][..]), (&*on[0], "", &[]), (&*on[0], &*on[1], &["burst-changed-while-on"])]
    {
        let wanted = {
            let (mut host, heard) = host(&bench("FV-3105", after), Role::Secondary);
            let device = device(&mut host);
            let wanted = settings(&mut host, &device);
            nothing("saving", &report(host, &heard));
            wanted
        };
        let (mut host, heard) = host(&bench("FV-3104", before), Role::Secondary);
        let device = device(&mut host);
        let now = settings(&mut host, &device);
        let allowed = Allowed { moves: true, polling_address: false };
        let (ask, news) = (&mut host, &mut |_: News<'_>| {});
        let mut restoring =
            Restoring { ask, device, wanted: &wanted, now, allowed, stop: false, news, results: Vec::new() };
        restoring.run().expect("the line works");
        let written: Vec<u8> = restoring.results.iter().map(|r| r.change.write.command).collect();
        let bursts = if found.is_empty() { 109 } else { 108 };
        assert!([18, 22, bursts].iter().all(|c| written.contains(c)), "{written:?}");
        let report = report(host, &heard);
        assert_eq!(names(&report), found, "{:#?}", report.findings);
    }
}

/// Another master, bursts, and wires that spoil much: whatever our host does then, it breaks nothing.
#[test]
fn our_host_beside_others() {
    let others = "
seed = SEED
[[device]]
tag = \"FV-3104\"
jitter_ms = 20
[[device.burst]]
command = 3
update_period_s = 2
[[master]]
role = \"primary\"
clock_ppm = 200
asks = [{ device = \"FV-3104\", command = 3, every_s = 1.0 }]
[[wire_fault]]
kind = \"KIND
share = 0.1
[[line]]
at = \"pty:\"
";
    for (i, kind) in [
        "lost_octets\"\noctets = 1",
        "lost_octets\"\noctets = 3",
        "inserted_octets\"\noctets = 2",
        "gap\"\ncharacters = 3",
        "carrier_lost\"\noctets = 2",
        "short_preamble\"\npreambles_left = 3",
        "repeated\"\ncharacters = 5",
    ]
    .into_iter()
    .enumerate()
    {
        let bench = others.replace("KIND", kind).replace("SEED", &i.to_string());
        let (mut host, heard) = host(&bench, Role::Secondary);
        let device = device(&mut host);
        for _ in 0..30 {
            for command in [1, 3, 13, 48] {
                host.ask(&device, command, &[]).expect("the line works");
            }
        }
        let report = report(host, &heard);
        // The bench's own master asks one thing alone, and does not look at status.
        let ignores = ["more-status-ignored", "configuration-changed-ignored", "cold-start-ignored"];
        let found: Vec<_> = report
            .findings
            .iter()
            .filter(|f| f.master != Role::Primary || !ignores.contains(&f.rule.slug))
            .collect();
        assert!(found.is_empty(), "{kind}: {found:#?}");
        assert!(report.sent.iter().all(|s| s.requests > 80), "{kind}: {:?}", report.sent);
    }
}

/// The masters of our benches, over seeds: they break nothing. What they are advised of is that they ask the one thing
/// they were told to and look at no status.
#[test]
fn mock_masters_over_seeds() {
    let seeds = if cfg!(debug_assertions) { 6 } else { 60 };
    for (name, text, advice) in [
        ("noise", include_str!("../../../fixtures/benches/two-masters-noise.toml"), &[][..]),
        (
            "bursts",
            include_str!("../../../fixtures/benches/two-masters-bursts.toml"),
            &["more-status-ignored"],
        ),
    ] {
        for seed in 0..seeds {
            let mut plan = check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
            plan.seed = Some(seed);
            let (mut world, _) = world(&plan, &[], Duration::ZERO, Instant::ZERO);
            world.add_observer();
            let mut out = Vec::new();
            world.run_until(Instant::ZERO + Duration::from_secs(120), &mut out);
            let octets: Vec<Octet> = out.iter().map(|d| d.octet).collect();
            let facts = LineFacts::of_line("bus, virtual time", Pace::Wire, EXACT);
            let report = judge(&octets, facts, Judged::default());
            assert!(report.sent.iter().all(|s| s.requests > 20), "{:?}", report.sent);
            assert!(
                names(&report).iter().all(|n| advice.contains(n)),
                "{name}, seed {seed}: {:#?}",
                report.findings
            );
        }
    }
}
