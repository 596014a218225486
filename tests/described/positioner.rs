//! `protocol-notes/positioner.toml`: looprig's own positioner, described.

use looprig::app::command::described::NUMBERS;
use looprig::app::command::{Described, Effect, Revision, TypeKey};
use looprig::bench::read_description;
use looprig::device::Identity;
use std::path::Path;

fn positioner() -> &'static Described {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocol-notes/positioner.toml");
    Described::load(
        read_description(&path).unwrap_or_else(|e| panic!("{e}")),
        "protocol-notes/positioner.toml",
    )
}

/// It is of the mock's types in every revision [DV-10], and of none that was forgotten.
#[test]
fn it_is_the_mocks() {
    let d = positioner().description();
    for revision in Revision::NEWEST_FIRST {
        let [high, low, ..] = Identity::new(revision, 1).unique_address().octets();
        assert!(d.has(TypeKey::of([high, low])), "revision {revision}");
    }
    assert_eq!(d.types.len(), 3);
}

/// What it is to have: set point source, travel, calibration, end stops, characteristic, limits, faults, counters.
#[test]
fn what_is_described() {
    let d = positioner();
    let rows: Vec<(u16, &str)> = d.rows().iter().map(|r| (r.number, r.name)).collect();
    assert_eq!(rows.iter().map(|(n, _)| *n).collect::<Vec<_>>(), (128..=146).collect::<Vec<u16>>());
    for (number, words) in [
        (128, "source"),
        (130, "travel"),
        (131, "start"),
        (132, "progress"),
        (133, "abort"),
        (134, "result"),
        (135, "end stops"),
        (137, "characteristic"),
        (141, "limits"),
        (143, "fault"),
        (145, "counters"),
    ] {
        let (_, name) = rows.iter().find(|(n, _)| *n == number).expect("described");
        assert!(name.contains(words), "{number} {name}");
    }
    for row in d.rows() {
        // What its name says it reads, reads; a start, a write or a clear does not.
        assert_eq!(row.name.starts_with("read "), row.effect == Effect::Reads, "{}", row.number);
        assert!(u8::try_from(row.number).is_ok_and(|n| NUMBERS.contains(&n)));
        let command = d.description().command(row.number as u8).expect("described");
        assert!(!command.text.is_empty(), "{} has no introduction", row.number);
    }
}
