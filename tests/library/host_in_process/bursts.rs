//! A host that did not expect a device in burst mode: finding, asking, writing while it bursts [LL-10] [LL-12].

use super::rig::*;
use looprig::app::command::Revision;
use looprig::bench;
use looprig::device::{BurstMessage, DeviceConfig};
use looprig::frame::{Master as Role, PollingAddress};
use looprig::host::Host;
use looprig::link::MasterConfig;

/// The device at 4 bursts as often as the wires allow, another one at 5 does not.
fn configs(revision: Revision, bursts: usize) -> Vec<DeviceConfig> {
    let mut first = config(revision);
    for message in &mut first.factory.burst[..bursts] {
        *message = BurstMessage { on: true, command: 3, update_period: 250 * 32, ..BurstMessage::default() };
    }
    let mut second = config(revision);
    second.factory.polling_address = 5;
    second.identity.device_id = 0x00_3105;
    vec![first, second]
}

/// Each is found, asked and written to, by either master, at the first try, and nothing of it is taken from a burst; nobody is
/// where nobody is.
#[test]
fn everything_works_while_one_bursts() {
    for revision in REVISIONS {
        for role in [Role::Primary, Role::Secondary] {
            for bursts in 1..=3 {
                let line = bench::in_process(&plan(configs(revision, bursts)));
                let mut host = Host::new(Shared::new(line), MasterConfig { role, ..MasterConfig::default() });
                let mut overheard = 0;
                for (address, there) in [(3, false), (4, true), (5, true), (6, false)] {
                    let (_, device) = host.poll(PollingAddress::new(address).unwrap(), None).unwrap();
                    assert_eq!(device.is_some(), there, "{address}");
                    let Some(device) = device else { continue };
                    for command in [1, 2, 3, 12, 13, 15, 48] {
                        let exchange = ask(&mut host, &device, command, &[]);
                        assert_eq!((exchange.command(), status(&exchange)[0]), (command, 0));
                        assert_eq!((exchange.is_burst(), exchange.transaction.tries.len()), (false, 1));
                        overheard += 1;
                    }
                    ask(&mut host, &device, 19, &[("final_assembly_number", "77")]);
                    assert_eq!(text(&ask(&mut host, &device, 16, &[]), "final_assembly_number"), "77");
                }
                assert_eq!(overheard, 14);
            }
        }
    }
}

/// Turned on and off by the host itself, with everything that is set for it; the answers between have the burst bit.
#[test]
fn burst_mode_as_a_host_sets_it() {
    let mut host = Host::new(bench(Revision::R7), MasterConfig::default());
    let device = find(&mut host);
    let set = |host: &mut _, command, values: &[(&str, &str)]| {
        let exchange = ask(host, &device, command, values);
        assert_eq!(status(&exchange)[0], 0, "command {command}");
        exchange
    };
    set(&mut host, 108, &[("burst_command", "9"), ("burst_message", "1")]);
    let slots: Vec<(String, String)> =
        (0..8).map(|n| (format!("slot{n}_code"), if n < 2 { n.to_string() } else { "250".into() })).collect();
    let mut values: Vec<(&str, &str)> = slots.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    values.push(("burst_message", "1"));
    set(&mut host, 107, &values);
    let periods = [("burst_message", "1"), ("update_period", "500"), ("maximum_update_period", "8000")];
    set(&mut host, 103, &periods);
    let trigger =
        [("trigger_mode", "1"), ("trigger_class", "0"), ("trigger_unit", "57"), ("trigger_level", "5")];
    set(&mut host, 104, &[&[("burst_message", "1")][..], &trigger].concat());
    let on = set(&mut host, 109, &[("burst_control", "1"), ("burst_message", "1")]);
    assert!(on.transaction.reply_frame().unwrap().address().burst);
    let told = set(&mut host, 105, &[("burst_message", "1")]);
    for (name, value) in [
        ("burst_command", "9"),
        ("update_period", "0.5 s"),
        ("maximum_update_period", "8 s"),
        ("trigger_level", "5 %"),
    ] {
        assert_eq!(text(&told, name), value, "{name}");
    }
    assert_eq!(data(&told)[2..10], [0, 1, 250, 250, 250, 250, 250, 250]);
    let off = set(&mut host, 109, &[("burst_control", "0"), ("burst_message", "1")]);
    assert!(!off.transaction.reply_frame().unwrap().address().burst);
}
