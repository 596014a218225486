//! The file: what is written is read again, and what nobody wrote is refused with its place.

use looprig::app::command::setting::{Each, Part};
use looprig::app::command::{Decoded, Direction, Kind, Revision, Value, layout, spec};
use looprig::commission::settings::parts::PARTS;
use looprig::commission::settings::{Content, Entry, Origin, Section, Settings, from_text, to_text};
use proptest::prelude::*;
use std::collections::BTreeMap;

const REVISIONS: [Revision; 3] = Revision::NEWEST_FIRST;

/// The entries that a reply of these octets has for a part.
fn entries(part: &Part, revision: Revision, octets: &[u8]) -> Vec<Entry> {
    let form = spec(part.read.into()).and_then(|s| s.form(revision)).expect("a form");
    let mut decoded = Decoded::default();
    layout::decode(form.layout(Direction::Reply), octets, &mut decoded);
    let found: BTreeMap<String, Entry> = decoded
        .fields
        .iter()
        .map(|f| {
            let name = f.name().to_string();
            (name.clone(), Entry { name, field: f.field, value: f.value(octets) })
        })
        .collect();
    part.names().filter_map(|n| found.get(n).cloned()).collect()
}

/// Any settings: of each part nothing, a refusal, or values from any octets with some left out.
fn any_settings() -> impl Strategy<Value = Settings> {
    let part = (0..6u8, any::<u8>(), prop::collection::vec(any::<u8>(), 64), any::<u64>());
    let parts = prop::collection::vec(prop::collection::btree_map(any::<u8>(), part, 1..4), PARTS.len());
    (any::<(String, String, String)>(), 0..3usize, parts).prop_map(|(origin, revision, parts)| {
        let revision = REVISIONS[revision];
        let (looprig, saved, line) = origin;
        let mut settings =
            Settings { origin: Origin { looprig, saved, line }, revision, sections: Vec::new() };
        for (part, sections) in PARTS.iter().zip(parts) {
            if spec(part.read.into()).and_then(|s| s.form(revision)).is_none() {
                continue;
            }
            for (number, (what, code, octets, keep)) in sections {
                let content = match what {
                    0 => continue,
                    1 => Content::Refused(code),
                    2 => Content::Unread(code),
                    _ => {
                        let mut values = entries(part, revision, &octets);
                        let mut at = 0;
                        values.retain(|_| {
                            at += 1;
                            keep >> at & 3 != 0
                        });
                        if what == 3 { Content::CutShort(values) } else { Content::Values(values) }
                    }
                };
                let number = (part.each != Each::Once).then_some(number);
                settings.sections.push(Section { part, number, content });
                if number.is_none() {
                    break;
                }
            }
        }
        settings
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_settings_are_read_as_they_were_written(settings in any_settings()) {
        let text = to_text(&settings);
        let read = from_text(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
        prop_assert_eq!(&read, &settings, "{}", text);
    }

    /// A character put in, left out or changed anywhere: other settings or a message, and no panic.
    #[test]
    fn spoilt_files_are_told(settings in any_settings(), at in any::<prop::sample::Index>(), c in any::<char>(), how in 0..3u8) {
        let mut text: Vec<char> = to_text(&settings).chars().collect();
        let at = at.index(text.len());
        match how {
            0 => text.insert(at, c),
            1 => text[at] = c,
            _ => drop(text.remove(at)),
        }
        let text: String = text.into_iter().collect();
        if let Err(e) = from_text(&text) {
            prop_assert!(e.place.line >= 1 && !e.wrong.is_empty() && !e.right.is_empty());
        }
    }
}

/// Every name of the table is one that its commands have in some revision, and every request that writes
/// can be made of what the reply tells.
#[test]
fn the_table_names_what_the_rows_have() {
    for part in PARTS {
        let row = spec(part.read.into()).expect("a row");
        assert_eq!(row.effect, looprig::app::command::Effect::Reads, "{}", part.heading);
        let in_some = |name: &str| {
            REVISIONS.iter().any(|r| {
                row.form(*r).is_some() && entries(part, *r, &[31; 64]).iter().any(|e| e.name == name)
                    // The older form of the burst messages' configuration is chosen by its length.
                    || name == "burst_command_8_bit"
            })
        };
        for name in part.names() {
            assert!(in_some(name), "{} has no {name}", part.heading);
        }
        for write in part.writes {
            let number = write.command;
            let row = spec(number.into()).expect("a row");
            assert_ne!(row.effect, looprig::app::command::Effect::Reads, "{number}");
            for revision in REVISIONS {
                let (Some(form), Some(_)) =
                    (row.form(revision), spec(part.read.into()).and_then(|s| s.form(revision)))
                else {
                    continue;
                };
                let has = entries(part, revision, &[31; 64]);
                let made = layout::encode(form.request, layout::Missing::Error, &mut |name, kind| {
                    let known = part.each.selector() == Some(name) || has.iter().any(|e| e.name == name);
                    Ok(known.then(|| Value::read(kind, &vec![0; kind.len()])))
                });
                // Revision 5 does not tell its reply preambles.
                if !(number == 59 && revision == Revision::R5) {
                    assert!(made.is_ok(), "command {number}, revision {revision}: {made:?}");
                }
            }
        }
    }
}

const HEAD: &str = "looprig_settings = 1\nrevision = 7\n";

/// The place and the words of what is wrong with a text behind the head.
fn refused(text: &str, line: usize, column: usize, words: &[&str]) {
    let e = from_text(&format!("{HEAD}{text}")).expect_err(text);
    assert_eq!((e.place.line, e.place.column), (line + 2, column), "{e}");
    let said = e.to_string();
    assert!(words.iter().all(|w| said.contains(w)), "{said}");
}

#[test]
fn what_is_no_settings_file_is_told_with_its_place() {
    refused("[tga]\ntag = \"A\"", 1, 2, &["`tga`", "the headings are", "tag"]);
    refused("[tag]\ntga = \"A\"", 2, 1, &["`tga`", "tag, descriptor, date"]);
    refused("[tag]\ntag = \"lower case\"", 2, 7, &["lower case", "capital letters"]);
    refused("[tag]\ntag = 7", 2, 7, &["tag: \"7\" does not fit"]);
    refused("[tag]\ntag = \"TOO-LONG-9\"", 2, 7, &["at most 8 characters"]);
    refused("[tag]\ndate = \"2026-02-30\"", 2, 8, &["2026-02-30", "a date"]);
    refused("[output]\ndamping = \"soon\"", 2, 11, &["soon", "a number"]);
    refused("[output]\ndamping = 1e39", 2, 11, &["1e39", "a number"]);
    refused("[output]\nrange_unit = \"furlong\"", 2, 14, &["furlong", "a unit"]);
    refused("[output]\nrange_unit = 256", 2, 14, &["at most 255"]);
    refused("[output]\ntransfer_function = \"cubic\"", 2, 21, &["cubic", "transfer function"]);
    refused("[identity]\nhardware_revision = 32", 2, 21, &["at most 31"]);
    refused("[loop]\npolling_address = -1", 2, 19, &["-1"]);
    refused("[loop]\nrefused = 64\npolling_address = 1", 2, 1, &["stands alone"]);
    refused("[loop]\npolling_address = 1\nunread = 32", 3, 1, &["unread stands alone"]);
    refused("[loop]\ncut_short = 1", 2, 13, &["true alone"]);
    refused("[device_variable.x]\nunit = \"%\"", 1, 18, &["`x`", "[device_variable.0]"]);
    refused("[device_variable.01]\nunit = \"%\"", 1, 18, &["`01`"]);
    refused("device_variable = 1", 1, 19, &["is a heading"]);
    refused("line = 7", 1, 8, &["a text"]);
    // What stands first is told first, although `descriptor` comes before `tag`.
    refused("[tag]\ntag = 1\ndescriptor = 2", 2, 7, &["tag"]);
    refused("[tag]\ntag = \"A\"\ntag = \"B\"", 3, 1, &["no TOML", "duplicate"]);
    for (text, words) in [
        ("", "no settings file"),
        ("looprig_settings = 2\nrevision = 7\n", "format 2"),
        ("looprig_settings = 1\nrevision = 8\n", "no revision"),
        ("looprig_settings = 1\n", "revision is missing"),
        ("looprig_settings = 1\nrevision = 5\n[long_tag]\nlong_tag = \"A\"\n", "revision 5 has no command"),
    ] {
        let e = from_text(text).expect_err(text);
        assert!(e.to_string().contains(words), "{e}");
    }
}

/// Written by hand, in other forms than looprig's own: numbers for words, a date of TOML, a whole number for
/// a float.
#[test]
fn other_forms_of_the_same_values() {
    let text = format!(
        "{HEAD}[tag]\ndate = 2026-11-25\n[output]\nrange_unit = 57\ntransfer_function = 0\nupper_range_value = 1_00\n"
    );
    let settings = from_text(&text).unwrap();
    let value = |heading: &str, name: &str| {
        settings.section(Part::of(heading).unwrap(), None).unwrap().entry(name).unwrap().value.clone()
    };
    // [UN-01]: 57 is percent.
    assert_eq!(value("output", "range_unit"), Value::from_text(Kind::Unit, "%").unwrap());
    assert_eq!(value("output", "upper_range_value"), Value::float(100.0));
    assert_eq!(value("tag", "date").to_string(), "2026-11-25");
    let said = to_text(&settings);
    assert!(said.contains("range_unit = \"%\"\nupper_range_value = 100.0 # %\n"), "{said}");
}
