//! `protocol-notes/positioner.toml`: looprig's own positioner, described.

use looprig::app::command::described::NUMBERS;
use looprig::app::command::value::hex;
use looprig::app::command::{Decoded, Described, Direction, Effect, Revision, TypeKey, write_text};
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

/// Octets put together by hand. Singles (IEEE 754): 50 = 1.5625 x 2^(132 - 127) is 42480000 (exponent 84 hex = 132, fraction
/// 480000 / 800000 hex = 0.5625); 48 = 1.5 x 2^5 is 42400000; 2 = 2^(128 - 127) is 40000000; -1.25 = -1.25 x 2^0 is
/// BFA00000 (127 = 7F hex, 200000 / 800000 hex = 0.25, and the sign); 12.5 = 1.5625 x 2^3 is 41480000. 300 is 012C hex, 70 000
/// is 00011170, 86 400 is 00015180, 31 536 000 is 01E13380.
#[test]
fn octets_by_hand() {
    for (number, octets, expected) in [
        (128, "01 42480000", &[("source", "by hand"), ("set_point", "50 %")][..]),
        (
            130,
            "42480000 42400000 40000000 BFA00000 24",
            &[
                ("set_point", "50 %"),
                ("travel", "48 %"),
                ("deviation", "2 %"),
                ("lever_angle", "-1.25 deg"),
                ("travel_flags", "set point by hand, moving"),
            ],
        ),
        (
            132,
            "03 01 05 2A 012C",
            &[
                ("calibration", "end stops, stroke times and friction"),
                ("state", "running"),
                ("step", "moving to mid travel"),
                ("progress", "42 %"),
                ("elapsed", "300 s"),
            ],
        ),
        (
            145,
            "00011170 41480000 00015180 01E13380",
            &[
                ("strokes", "70000"),
                ("travel_sum", "12.5"),
                ("time_near_closed", "86400 s"),
                ("time_in_service", "31536000 s"),
            ],
        ),
    ] {
        let row = positioner().spec(number).expect("described");
        let data = hex(octets).expect("hex");
        let mut decoded = Decoded::default();
        let revision = row.decode(Some(Revision::R7), Direction::Reply, &data, &mut decoded);
        assert_eq!(revision, Some(Revision::R7));
        assert!(decoded.complete && usize::from(decoded.surplus_from) == data.len(), "{number}");
        let found: Vec<(String, String)> = decoded
            .fields
            .iter()
            .map(|f| {
                let mut text = String::new();
                write_text(f, &data, &mut text);
                (f.name().to_string(), text)
            })
            .collect();
        let expected: Vec<(String, String)> =
            expected.iter().map(|(n, t)| ((*n).to_owned(), (*t).to_owned())).collect();
        assert_eq!(found, expected, "command {number}");
    }
}
