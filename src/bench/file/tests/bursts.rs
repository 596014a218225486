//! Tables of what devices send in bursts.

use super::{faulty_device, in_device, wrong};
use crate::bench::check;
use crate::device::{BurstMessage, BurstTrigger};
use std::path::Path;

fn messages(lines: &str) -> [BurstMessage; 3] {
    let plan = check(&in_device(lines), Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"));
    plan.devices[0].config.factory.burst
}

#[test]
fn every_key_arrives() {
    let [first, second, third] = messages(
        r#"
        [[device.burst]]
        message = 2
        on = false
        command = 9
        variables = [3, 0, 245]
        update_period_s = 0.25
        maximum_update_period_s = 90.5
        trigger = "rising"
        level = 2.5
        [[device.burst]]
        command = 48
        update_period_s = 120
        trigger = "on change"
        "#,
    );
    // In 1/32 ms [TY-07]; 0.25 s are 8000 of them. Pressure is class 65 and bar unit 7 [TB-08] [UN-01].
    let rising = BurstTrigger { mode: 2, class: 65, unit: 7, level: Some(2.5) };
    assert_eq!(
        third,
        BurstMessage {
            on: false,
            command: 9,
            variables: [3, 0, 245, 250, 250, 250, 250, 250],
            update_period: 8000,
            maximum_update_period: 90_500 * 32,
            trigger: rising,
        }
    );
    // The first one that is free; a longest period is not below the shortest.
    assert_eq!((first.on, first.command, first.trigger), (true, 48, BurstTrigger::ON_CHANGE));
    assert_eq!((first.update_period, first.maximum_update_period), (120_000 * 32, 120_000 * 32));
    assert_eq!(second, BurstMessage::default());
    // An empty table: command 1 each second. Before revision 7 that is all there is.
    let [old, ..] = messages("revision = 5\n[[device.burst]]\ncommand = 33\nvariables = [1, 2, 3, 246]");
    assert_eq!((old.on, old.command, old.variables[..5].to_vec()), (true, 33, vec![1, 2, 3, 246, 250]));
    assert_eq!(messages("[[device.burst]]")[0], BurstMessage { on: true, ..BurstMessage::default() });
}

#[test]
fn what_cannot_be() {
    let burst = |lines: &str| format!("[[device.burst]]\n{lines}");
    let old = |lines: &str| format!("revision = 6\n[[device.burst]]\n{lines}");
    for (lines, wrong_has, right_has) in [
        (burst("«comand = 1"), "no key `comand`", "did you mean `command`?"),
        (burst("message = «3"), "message is 3", "0 to 2"),
        (old("message = «1"), "message is 1", "revision 6 has no more"),
        (burst("message = 1\n[[device.burst]]\nmessage = «1"), "message 1 already", "of its own"),
        (old("\n«[[device.burst]]"), "no burst message more than 1", "leave this table out"),
        (burst("command = «7"), "does not send command 7", "1, 2, 3, 9, 33, 48"),
        (old("command = «9"), "revision 6 does not send command 9", "1, 2, 3, 33, 48"),
        (burst("variables = «[1]"), "command 1 has no variables", "command = 9 or 33"),
        (burst("command = 9\nvariables = «[]"), "0 variables", "1 to 8"),
        (burst("command = 33\nvariables = «[0, 1, 2, 3, 0]"), "5 variables", "1 to 4"),
        (burst("command = 9\nvariables = [0, «4]"), "no variable 4", "244 percent of range"),
        (burst("update_period_s = «0.3"), "offers 0.3 s", "give 0.5 s"),
        (burst("update_period_s = «0.1"), "0.1 s", "0.25 to 3600 s"),
        (burst("update_period_s = 8\nmaximum_update_period_s = «4"), "below the update period", "longer"),
        (old("update_period_s = «1"), "revision 6 has no update_period_s", "revision = 7"),
        (old("trigger = «\"window\""), "revision 6 has no trigger", "revision = 7"),
        (burst("trigger = «\"changed\""), "trigger cannot be \"changed\"", "on change"),
        (burst("trigger = «\"window\""), "needs a level", "level = 5"),
        (burst("level = «5"), "has no level", "\"rising\""),
        (burst("trigger = \"window\"\nlevel = «-1"), "level is -1", "give 0"),
        (burst("trigger = \"falling\"\nlevel = «nan"), "level is NaN", "give"),
        (burst("command = 48\ntrigger = \"falling\"\nlevel = «1"), "no first variable", "on change"),
    ] {
        faulty_device(&lines, wrong_has, right_has);
    }
    let table = wrong(&in_device("[device.burst]\ncommand = 1"));
    assert!(table.right.contains("double brackets"), "{table}");
}
