//! Finding a device by each of its names, and nobody at all.

use super::rig::*;
use looprig::app::command::Revision;
use looprig::frame::{Master as Role, PollingAddress, UniqueAddress};
use looprig::host::{Host, LinkQuality, To};
use looprig::link::MasterConfig;
use looprig::time::Instant;
use looprig::transaction::Outcome;
use std::time::Duration;

/// [FR-06]: FD cut to six bits is 3D; the device type 51, 61, or the low octet of FD71; device id 003104.
fn unique(revision: Revision) -> UniqueAddress {
    UniqueAddress::from_octets(match revision {
        Revision::R5 => [0x3D, 0x51, 0x00, 0x31, 0x04],
        Revision::R6 => [0x3D, 0x61, 0x00, 0x31, 0x04],
        Revision::R7 => [0x3D, 0x71, 0x00, 0x31, 0x04],
    })
}

#[test]
fn by_each_name() {
    for revision in REVISIONS {
        let mut host = Host::new(bench(revision), MasterConfig::default());
        let mut names = vec!["4", "tag:FV-3104", "tag:fv-3104"];
        let by_unique = unique(revision).to_string();
        names.push(&by_unique);
        if revision > Revision::R5 {
            names.push("longtag:Brackenmoor FV-3104");
        }
        for name in names {
            let (exchange, device) = host.find(&To::parse(name).unwrap()).unwrap();
            let device = device.unwrap_or_else(|| panic!("nobody is {name} in revision {revision}"));
            assert_eq!((device.unique, device.revision, device.preambles), (unique(revision), revision, 5));
            assert_eq!(exchange.transaction.outcome, Outcome::Answered);
            assert_eq!(exchange.revision, Some(revision));
            assert_eq!(exchange.number("device_id"), Some(0x3104), "{name}");
            // Before the answer of [HO-01]: bit 7 of the address clear.
            assert_eq!(exchange.transaction.request().unwrap().address().master, Role::Secondary);
        }
    }
}

/// [DV-07] [CM-011] [CM-021]: who is not meant is silent; revision 5 has no long tag.
#[test]
fn by_names_that_nobody_has() {
    for revision in REVISIONS {
        let mut host = Host::new(bench(revision), MasterConfig { retries: 0, ..MasterConfig::default() });
        let mut names = vec!["0", "63", "tag:FV-3105", "longtag:Brackenmoor FV-3105", "3D7100FFFF"];
        if revision == Revision::R5 {
            names.push("longtag:Brackenmoor FV-3104");
        }
        for name in names {
            let (exchange, device) = host.find(&To::parse(name).unwrap()).unwrap();
            assert_eq!((device, exchange.transaction.outcome), (None, Outcome::Silent), "{name}");
        }
    }
}

/// One of three devices on the same wires answers, whichever is asked for.
#[test]
fn among_others() {
    let mut configs: Vec<_> = REVISIONS.into_iter().map(config).collect();
    for (i, c) in configs.iter_mut().enumerate() {
        c.factory.polling_address = i as u8;
        c.factory.tag = format!("FV-310{i}");
    }
    let mut host = Host::new(looprig::bench::in_process(&plan(configs)), MasterConfig::default());
    for (i, revision) in REVISIONS.into_iter().enumerate() {
        for name in [format!("{i}"), format!("tag:FV-310{i}"), unique(revision).to_string()] {
            let (exchange, device) = host.find(&To::parse(&name).unwrap()).unwrap();
            assert_eq!(device.map(|d| d.unique), Some(unique(revision)), "{name}");
            assert_eq!(exchange.transaction.interludes.len(), 0);
        }
    }
    assert_eq!(host.quality().answered, 9);
}

/// [LL-11]: as many octets of FF as the device wants, from the second request on.
#[test]
fn preambles_as_the_device_wants() {
    let mut c = config(Revision::R7);
    c.identity.preambles_request = 17;
    let mut host = Host::new(looprig::bench::in_process(&plan([c])), MasterConfig::default());
    let (exchange, device) = host.find(&To::parse("4").unwrap()).unwrap();
    assert_eq!(exchange.transaction.tries[0].preambles, 5);
    let exchange = ask(&mut host, &device.unwrap(), 1, &[]);
    assert_eq!(exchange.transaction.tries[0].preambles, 17);
}

/// Nobody there. First RT1 of 41 characters (33 as primary); then each try is 10 characters (5 of FF, delimiter,
/// address, command, byte count, check byte), and the repeat comes RT1 after its end; the last one is given up after
/// STO of 28 and 2 for stamps. Secondary with 3 repeats: 41 + 4·10 + 3·41 + 30 = 234 characters, 2.145 s.
#[test]
fn silence_in_its_time() {
    for (role, quiet) in [(Role::Primary, 33), (Role::Secondary, 41)] {
        for retries in [0u8, 3, 10] {
            let line = bench(Revision::R7);
            let mut host = Host::new(line.clone(), MasterConfig { role, retries, ..MasterConfig::default() });
            let (exchange, device) = host.poll(PollingAddress::new(9).unwrap(), None).unwrap();
            assert!(device.is_none());
            let t = &exchange.transaction;
            assert_eq!((t.outcome, t.retries()), (Outcome::Silent, usize::from(retries)));
            let n = u32::from(retries);
            let tries = passing(10) * (n + 1) + characters(quiet) * n;
            let first = characters(quiet) + tries + characters(28) + passing(2);
            assert_eq!(line.time(), Instant::ZERO + first, "{role}, {retries} repeats");
            if (role, retries) == (Role::Secondary, 3) {
                assert!((first.as_secs_f64() - 2.145).abs() < 1e-6);
            }
            // The next request waits for the rest of RT1 after the last try and then takes the same time. A primary with
            // 10 repeats has left a secondary no chance for 33 + 11·10 + 10·33 = 473 characters, more than 250: it
            // waits for the other's RT1 and RT2, 41 + 8 [LL-14].
            host.poll(PollingAddress::new(9).unwrap(), None).unwrap();
            let wait = if (role, retries) == (Role::Primary, 10) { 49 } else { quiet };
            let second = characters(wait) - characters(28) - passing(2);
            let both = first + second + tries + characters(28) + passing(2);
            assert_eq!(line.time(), Instant::ZERO + both);
            // What is told to be tried once is tried once.
            let (exchange, _) = host.poll(PollingAddress::new(9).unwrap(), Some(0)).unwrap();
            assert_eq!(exchange.transaction.tries.len(), 1);
        }
    }
}

/// [LinkQuality] counts requests, not tries; the mock answers after 10 ms.
#[test]
fn quality() {
    let mut host = Host::new(bench(Revision::R7), MasterConfig::default());
    assert_eq!(*host.quality(), LinkQuality::default());
    host.poll(PollingAddress::new(9).unwrap(), None).unwrap();
    let mut expected = LinkQuality { requests: 1, answered: 0, retries: 3, damaged: 0, slowest: None };
    assert_eq!(*host.quality(), expected);
    let device = find(&mut host);
    ask(&mut host, &device, 1, &[]);
    expected.requests = 3;
    expected.answered = 2;
    expected.slowest = Some(Duration::from_millis(10));
    assert_eq!(*host.quality(), expected);
    assert!(host.take_overheard().is_empty());
}
