//! `[[device.slow]]`.

use super::*;
use crate::device::Slow;

fn slow(device: &str, lines: &str) -> String {
    in_device(&format!("{device}\n[[device.slow]]\n{lines}"))
}

#[test]
fn slow_commands_arrive() {
    let text = in_device(
        "[[device.slow]]\ncommand = 41\ntakes_s = 3\n[[device.slow]]\ncommand = 0x16\ntakes_s = 0.25",
    );
    let plan = check(&text, Path::new("b.toml")).unwrap();
    let expected =
        [(41, 3000), (22, 250)].map(|(command, ms)| Slow { command, takes: Duration::from_millis(ms) });
    assert_eq!(plan.devices[0].config.slow, expected);
}

#[test]
fn slow_commands_that_cannot_be() {
    faulty(&slow("", "command = «3\ntakes_s = 1"), "command 3 reads", "22, 41, 71 or 79");
    faulty(&slow("", "command = «17\ntakes_s = 1"), "no delayed response", "22, 41, 71 or 79");
    faulty(&slow("", "command = «42\ntakes_s = 1"), "ends delayed responses", "22");
    faulty(&slow("", "command = «120\ntakes_s = 1"), "has no command 120 in revision 7", "22");
    faulty(&slow("", "command = «200\ntakes_s = 1"), "answers those at once", "22");
    faulty(&slow("revision = 5", "command = «22\ntakes_s = 1"), "no command 22 in revision 5", "17 or 41");
    faulty(&slow("", "command = «256\ntakes_s = 1"), "command is 256", "0 to 255");
    faulty(&slow("", "command = 41\ntakes_s = «0"), "takes_s is 0 s", "0.001 to 3600 s");
    faulty(&slow("", "command = 41\ntakes_s = «nan"), "takes_s is NaN s", "0.001");
    faulty(&slow("", "command = 41\ntakes_s = «\"3\""), "", "a number");
    faulty(&slow("", "command = 41\n«time_s = 3"), "no key `time_s`", "takes_s");
    faulty(&in_device("«[[device.slow]]\ncommand = 41"), "has no time", "takes_s = 3.0");
    faulty(&in_device("«[[device.slow]]\ntakes_s = 4"), "has no command", "command = 41");
    let twice = "command = 41\ntakes_s = 1\n[[device.slow]]\ncommand = «41\ntakes_s = 2";
    faulty(&slow("", twice), "slow already", "leave one");
    // Before revision 7 any command that changes something keeps the device busy.
    assert!(check(&slow("revision = 6", "command = 17\ntakes_s = 1"), Path::new("b.toml")).is_ok());
}

/// TOML reads a table of a list that stands before the list as a table of another kind.
#[test]
fn a_table_before_its_device() {
    let own = "command = 41\ntakes_s = 1\n";
    let (wrong, right) = ("stands before any [[device]]", "below the [[device]]");
    for heading in ["[[device.slow]]", "[device.slow]", "[[device.slow]] # first"] {
        faulty(&format!("«{heading}\n{own}"), wrong, right);
        faulty(&format!("# a bench\n«{heading}\n{own}[[device]]\npolling_address = 1\n"), wrong, right);
    }
    // One that has its device, and a device that is no list.
    faulty("«[device]\npolling_address = 1\n", "`[device]`", "[[device]]");
    let twice = "[device]\n[[device.slow]]\n«[[device]]\n";
    faulty(twice, "duplicate key", "double brackets each time");
}
