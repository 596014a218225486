//! The description's settings are saved from the mock and restored into it, and its rows are the description's.

use super::rig::{Rig, description};
use looprig::app::command::{Effect, Field, Item, Layout, Revision};
use looprig::commission::settings::{Allowed, Origin, Outcome, Restoring, Settings, plan, read};
use looprig::device::positioner::OWN_COMMANDS;

/// Names and octets of a layout.
fn shape(layout: Layout) -> Vec<(String, usize)> {
    let one = |f: &Field| (f.name.to_owned(), f.kind.len());
    let mut out = Vec::new();
    for item in layout {
        match item {
            Item::Field(f) => out.push(one(f)),
            Item::Slots { fields, least, most } => {
                out.push((format!("slots {least} to {most}"), 0));
                out.extend(fields.iter().map(one));
            }
            Item::MayEnd => out.push(("may end".to_owned(), 0)),
            other => panic!("{other:?} is in no own command"),
        }
    }
    out
}

#[test]
fn rows_are_those_of_the_description() {
    for own in &OWN_COMMANDS {
        let row = description().spec(own.number).unwrap_or_else(|| panic!("command {}", own.number));
        assert_eq!(own.effect == Effect::Reads, row.effect == Effect::Reads, "command {}", own.number);
        assert_eq!(own.effect, row.effect, "command {}", own.number);
        for revision in Revision::NEWEST_FIRST {
            let form = row.form(revision).unwrap_or_else(|| panic!("command {}", own.number));
            assert_eq!(shape(own.form.request), shape(form.request), "request of {}", own.number);
            assert_eq!(shape(own.form.reply), shape(form.reply), "reply of {}", own.number);
        }
    }
    let described = (128..=253u8).filter(|n| description().spec(*n).is_some()).count();
    assert_eq!(described, OWN_COMMANDS.len(), "no described command is missing");
}

#[test]
fn it_answers_every_command_of_the_description() {
    let mut rig = Rig::new("", "");
    for own in OWN_COMMANDS.iter().filter(|c| c.effect == Effect::Reads) {
        let values: &[(&str, &str)] = match own.number {
            139 => &[("point", "0")],
            143 => &[("first_entry", "0")],
            _ => &[],
        };
        assert_eq!(rig.code(own.number, values), 0, "command {}", own.number);
    }
}

/// [DV-81]: back to the loop takes no set point; by hand without one says nothing.
#[test]
fn back_to_the_loop_takes_no_set_point() {
    let mut rig = Rig::new("", "");
    rig.idle(1.0);
    assert_eq!(rig.code(129, &[("source", "1"), ("set_point", "30")]), 0);
    assert_eq!(rig.number(128, "set_point"), 30.0);
    // Too few data octets.
    assert_eq!(rig.code(129, &[("source", "1")]), 5);
    assert_eq!(rig.code(129, &[("source", "loop current")]), 0);
    assert_eq!(rig.told(128, "source"), "loop current");
    // 12 mA.
    assert_eq!(rig.number(128, "set_point"), 50.0);
}

/// Settings of the description are saved from one mock and restored into a new one of the same type.
#[test]
fn settings_are_saved_and_restored() {
    let mut from = Rig::new("", "");
    let changes: [(u8, &[(&str, &str)]); 5] = [
        (140, &[("point", "2"), ("set_point", "15"), ("travel", "30")]),
        (140, &[("point", "7"), ("set_point", "72.5"), ("travel", "75")]),
        (138, &[("characteristic", "3"), ("rangeability", "40")]),
        (
            136,
            &[
                ("lower_action", "0"),
                ("lower_set_point", "1"),
                ("upper_action", "1"),
                ("upper_set_point", "97"),
            ],
        ),
        (
            142,
            &[
                ("lower_travel_limit", "3"),
                ("upper_travel_limit", "99"),
                ("deviation_limit", "4"),
                ("deviation_time", "12"),
            ],
        ),
    ];
    for (command, values) in changes {
        assert_eq!(from.code(command, values), 0, "command {command}");
    }
    let saved = settings(&mut from);
    let mut to = Rig::new("", "");
    let (now, device) = (settings(&mut to), to.device);
    let allowed = Allowed { moves: true, polling_address: true };
    let mut restoring = Restoring {
        ask: &mut to.host,
        device,
        wanted: &saved,
        now,
        allowed,
        stop: false,
        news: &mut |_| {},
        results: Vec::new(),
    };
    restoring.run().unwrap_or_else(|e| panic!("{e}"));
    let arrived = restoring.results.iter().filter(|r| r.outcome == Outcome::Arrived).count();
    assert_eq!((arrived, restoring.results.len()), (5, 5), "{:?}", restoring.results);
    assert_eq!(plan(&saved, &settings(&mut to), allowed).changes, []);
    assert_eq!(from.data(137), to.data(137));
    assert_eq!(from.data(135), to.data(135));
    assert_eq!(from.data(141), to.data(141));
}

fn settings(rig: &mut Rig) -> Settings {
    let origin = Origin { looprig: "0".into(), saved: "2026-11-29".into(), line: "mock".into() };
    read(&mut rig.host, &rig.device, origin, &mut |_| {}).unwrap_or_else(|e| panic!("{e}"))
}
