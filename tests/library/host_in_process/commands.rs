//! Every universal command of each revision asked and answered, writes read back, and refusals.

use super::rig::*;
use looprig::app::command::{Direction, Revision};
use looprig::app::status::Status;
use looprig::exchange::Exchange;
use looprig::frame::Master as Role;
use looprig::host::{Device, Host};
use looprig::line::Line;
use looprig::link::MasterConfig;
use looprig::transaction::Outcome;

const R5: Revision = Revision::R5;
const R7: Revision = Revision::R7;

/// Values by name.
type Given = &'static [(&'static str, &'static str)];

/// Reads: number, whether revision 5 has it, values of the request, length of the reply in revisions 5, 6, 7, after the
/// tables of the commands' headings [CM-000] to [CM-048]. The mock sends all four variables in command 3, and
/// in revision 5 six octets in command 48 [DV-04].
const READS: [(u8, Given, [Option<usize>; 3]); 15] = [
    (0, &[], [Some(12), Some(17), Some(22)]),
    (1, &[], [Some(5); 3]),
    (2, &[], [Some(8); 3]),
    (3, &[], [Some(24); 3]),
    (7, &[], [None, Some(2), Some(2)]),
    (8, &[], [None, Some(4), Some(4)]),
    // Two codes: 1 + 2·8, in revision 7 four of time more.
    (9, &[("slot0_code", "0"), ("slot1_code", "249")], [None, Some(17), Some(21)]),
    (11, &[("tag", "FV-3104")], [Some(12), Some(17), Some(22)]),
    (12, &[], [Some(24); 3]),
    (13, &[], [Some(21); 3]),
    (14, &[], [Some(16); 3]),
    (15, &[], [Some(17), Some(18), Some(18)]),
    (16, &[], [Some(3); 3]),
    (20, &[], [None, Some(32), Some(32)]),
    (21, &[("long_tag", "Brackenmoor FV-3104")], [None, Some(17), Some(22)]),
];

fn index(revision: Revision) -> usize {
    match revision {
        Revision::R5 => 0,
        Revision::R6 => 1,
        Revision::R7 => 2,
    }
}

/// It succeeded, and every octet of the reply has its name.
fn succeeded(exchange: &Exchange, revision: Revision) {
    let command = exchange.command();
    assert_eq!(status(exchange)[0], 0, "command {command} of revision {revision}");
    assert_eq!(exchange.transaction.outcome, Outcome::Answered);
    assert_eq!((exchange.revision, exchange.revision_known), (Some(revision), true), "command {command}");
    assert!(exchange.reply.complete, "command {command} of revision {revision}");
    assert!(exchange.surplus(Direction::Reply).is_empty(), "command {command} of revision {revision}");
}

/// Not implemented is 64, without data [DV-11].
fn refused(exchange: &Exchange, code: u8) {
    assert_eq!((status(exchange)[0], data(exchange).len()), (code, 0), "command {}", exchange.command());
    assert!(matches!(exchange.status(), Some(Status::Response(c)) if c == code));
    // A response code is an answer: it is not asked again [HO-04].
    assert_eq!(exchange.transaction.tries.len(), 1);
}

#[test]
fn every_read() {
    for revision in REVISIONS {
        let mut host = Host::new(bench(revision), MasterConfig::default());
        let device = find(&mut host);
        for (command, values, lengths) in READS {
            match lengths[index(revision)] {
                Some(n) => {
                    let exchange = ask(&mut host, &device, command, values);
                    succeeded(&exchange, revision);
                    assert_eq!(data(&exchange).len(), n, "command {command} of revision {revision}");
                }
                // The values have no form in this revision; without them the device is asked all the same.
                None => refused(&ask(&mut host, &device, command, &[]), 64),
            }
        }
        // 48: six octets in revision 5, nine and more in 6 and 7 with extended status and mode after the first six.
        let exchange = ask(&mut host, &device, 48, &[]);
        succeeded(&exchange, revision);
        assert_eq!(data(&exchange).len(), if revision == R5 { 6 } else { 14 });
        assert_eq!(exchange.number("operating_mode").is_some(), revision > R5);
        assert_eq!(host.quality().answered, host.quality().requests);
    }
}

/// What the texts and numbers of [`config`] read like; PV and SV at 4 mA are 0 % ([DV-01] [DV-02]).
#[test]
fn what_the_reads_say() {
    for revision in REVISIONS {
        let mut host = Host::new(bench(revision), MasterConfig::default());
        let device = find(&mut host);
        let description = ask(&mut host, &device, 13, &[]);
        for (name, value) in [("tag", "FV-3104"), ("descriptor", "FILTER 4 INLET"), ("date", "2026-11-25")] {
            assert!(text(&description, name).contains(value), "{}", text(&description, name));
        }
        assert!(text(&ask(&mut host, &device, 12, &[]), "message").contains("BRACKENMOOR"));
        assert_eq!(ask(&mut host, &device, 16, &[]).number("final_assembly_number"), Some(3104));
        let variables = ask(&mut host, &device, 3, &[]);
        // 4.0 = 1.0·2² = 40 80 00 00 [TY-02]; unit 57 is percent [UN-01].
        assert_eq!(data(&variables)[..9], [0x40, 0x80, 0, 0, 57, 0, 0, 0, 0]);
        assert!(text(&variables, "loop_current").contains("mA"));
        if revision > R5 {
            assert!(text(&ask(&mut host, &device, 20, &[]), "long_tag").contains("Brackenmoor FV-3104"));
        }
    }
}

fn writes(revision: Revision) -> Vec<(u8, Given, u8)> {
    let mut out: Vec<(u8, Given, u8)> = vec![
        (17, &[("message", "CLOSED FOR SERVICE")], 12),
        (18, &[("tag", "FV-3105"), ("descriptor", "FILTER 5"), ("date", "2024-02-29")], 13),
        (19, &[("final_assembly_number", "16777215")], 16),
    ];
    if revision == R5 {
        // No command reads it; command 6 itself echoes.
        out.push((6, &[("polling_address", "15")], 6));
    } else {
        out.push((22, &[("long_tag", "Brackenmoor FV-3105 \u{B0}")], 20));
        out.push((6, &[("polling_address", "63"), ("loop_current_mode", "0")], 7));
    }
    out
}

#[test]
fn every_write_is_read_back() {
    for revision in REVISIONS {
        let line = bench(revision);
        let mut host = Host::new(line.clone(), MasterConfig::default());
        let device = find(&mut host);
        for (command, values, read) in writes(revision) {
            let written = ask(&mut host, &device, command, values);
            succeeded(&written, revision);
            assert_eq!(
                data(&written)[..],
                written.transaction.request().unwrap().data()[..],
                "echo of {command}"
            );
            if read != command {
                let read = ask(&mut host, &device, read, &[]);
                assert_eq!(data(&read), data(&written), "command {command} of revision {revision}");
                for (name, value) in values {
                    let said = text(&read, name);
                    assert!(said.contains(value) || said.contains("disabled"), "{name}: {said}, not {value}");
                }
            }
        }
        let stored = line.with_station(|s| s.device().unwrap().device().stored().clone());
        assert_eq!((stored.tag.as_str(), stored.date), ("FV-3105", [29, 2, 124]));
        assert_eq!(stored.final_assembly_number, 0xFF_FFFF);
        assert_eq!(stored.polling_address, if revision == R5 { 15 } else { 63 });
        assert_eq!(usize::from(stored.configuration_change_counter), writes(revision).len());
    }
}

/// [DV-05]: 7 for each write; 38 passes (from memory), and so do the reads.
#[test]
fn write_protect() {
    for revision in REVISIONS {
        let line = bench(revision);
        line.with_station(|s| s.device_mut().unwrap().device_mut().set_write_protected(true));
        let mut host = Host::new(line.clone(), MasterConfig::default());
        let device = find(&mut host);
        let before = line.with_station(|s| s.device().unwrap().device().stored().clone());
        for (command, values, _) in writes(revision) {
            refused(&ask(&mut host, &device, command, values), 7);
        }
        assert_eq!(ask(&mut host, &device, 15, &[]).number("write_protect"), Some(1));
        assert_eq!(line.with_station(|s| s.device().unwrap().device().stored().clone()), before);
    }
}

/// [CM-006]: 2 above 15 or 63; [DV-14]: 5 with too few octets.
#[test]
fn what_is_refused() {
    for revision in REVISIONS {
        let mut host = Host::new(bench(revision), MasterConfig::default());
        let device = find(&mut host);
        let address = if revision == R5 { ("polling_address", "16") } else { ("polling_address", "64") };
        refused(&ask(&mut host, &device, 6, &[address]), 2);
        for (command, whole) in [(6u8, 1), (17, 24), (18, 21), (19, 3)] {
            for n in [0, whole - 1] {
                let exchange = host.ask_octets(&device, command, vec![0x20; n]).unwrap();
                refused(&exchange, 5);
            }
        }
        // A command of nobody.
        refused(&host.ask_octets(&device, 200, vec![1, 2, 3]).unwrap(), 64);
    }
}

fn field_status<L: Line>(host: &mut Host<L>, device: &Device) -> u8 {
    let exchange = ask(host, device, 1, &[]);
    exchange.device_status().expect("a field device status")
}

/// [ST-08]: mask 20, cleared for each master by its own first command.
#[test]
fn cold_start_for_each_master() {
    for revision in REVISIONS {
        for first in [Role::Primary, Role::Secondary] {
            let line = bench(revision);
            let host = |role| Host::new(line.clone(), MasterConfig { role, ..MasterConfig::default() });
            let (mut one, mut two) = (host(first), host(first.other()));
            let identify = |host: &mut Host<Bench>| {
                let (exchange, device) =
                    host.poll(looprig::frame::PollingAddress::new(4).unwrap(), None).unwrap();
                (exchange.device_status().unwrap() & 0x20, device.unwrap())
            };
            let (cold, device) = identify(&mut one);
            assert_eq!(cold, 0x20);
            assert_eq!(field_status(&mut one, &device) & 0x20, 0);
            assert_eq!(identify(&mut two).0, 0x20, "{first} was not the only one to hear it");
            assert_eq!(field_status(&mut two, &device) & 0x20, 0);
            assert_eq!(field_status(&mut one, &device) & 0x20, 0);
        }
    }
}

/// [ST-09], from memory: mask 40, set for both by a write, cleared for the one that sends command 38.
#[test]
fn configuration_changed_for_each_master() {
    for revision in REVISIONS {
        let line = bench(revision);
        let host = |role| Host::new(line.clone(), MasterConfig { role, ..MasterConfig::default() });
        let (mut primary, mut secondary) = (host(Role::Primary), host(Role::Secondary));
        let device = find(&mut primary);
        find(&mut secondary);
        assert_eq!(field_status(&mut primary, &device) & 0x40, 0);
        ask(&mut secondary, &device, 19, &[("final_assembly_number", "7")]);
        assert_eq!(field_status(&mut primary, &device) & 0x40, 0x40);
        assert_eq!(field_status(&mut secondary, &device) & 0x40, 0x40);
        let counter: Given = if revision == R7 { &[("configuration_change_counter", "1")] } else { &[] };
        succeeded(&ask(&mut secondary, &device, 38, counter), revision);
        assert_eq!(field_status(&mut primary, &device) & 0x40, 0x40);
        assert_eq!(field_status(&mut secondary, &device) & 0x40, 0);
        succeeded(&ask(&mut primary, &device, 38, counter), revision);
        assert_eq!(field_status(&mut primary, &device) & 0x40, 0);
    }
    // With another counter than the present one it is 9 in revision 7.
    let mut host = Host::new(bench(R7), MasterConfig::default());
    let device = find(&mut host);
    refused(&ask(&mut host, &device, 38, &[("configuration_change_counter", "5")]), 9);
}
