//! The tables of `protocol-notes/` and the rows of the code say the same: units, enumerations, bits, response
//! codes, grades. The notes are written from the sources, the code from the notes; whoever changes one of them
//! alone meets this.

use looprig::app::command::{self, Decoded, Item, Revision, layout};
use looprig::app::status::{self, CodeClass};
use looprig::app::types::device_variable::DEVICE_VARIABLE_CODE;
use looprig::app::types::{BitTable, Table, tables, units};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// Every part of a file of notes below a heading, by its id.
fn notes(file: &str) -> BTreeMap<String, String> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocol-notes").join(file);
    let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let part = |part: &str| {
        let (id, rest) = part.split_once(']').expect("a heading is [ID] and a title");
        (id.to_owned(), rest.to_owned())
    };
    text.split("\n## [").skip(1).map(part).collect()
}

/// The rows of the tables of a part, heads left out.
fn rows(part: &str) -> Vec<Vec<String>> {
    let cells = |l: &str| {
        let inner = l.trim().trim_start_matches('|').trim_end_matches('|');
        inner.split('|').map(|c| c.trim().to_owned()).collect::<Vec<_>>()
    };
    let lines: Vec<&str> = part.lines().filter(|l| l.starts_with('|')).collect();
    let is_rule = |l: &str| l.starts_with("|-");
    let heads: BTreeSet<usize> =
        (0..lines.len()).filter(|&n| is_rule(lines[n])).flat_map(|n| [n - 1, n]).collect();
    (0..lines.len()).filter(|n| !heads.contains(n)).map(|n| cells(lines[n])).collect()
}

/// `7` or `240 to 249`.
fn range(cell: &str) -> Vec<u8> {
    let number = |s: &str| s.parse::<u8>().unwrap_or_else(|e| panic!("{cell:?}: {e}"));
    match cell.split_once(" to ") {
        Some((first, last)) => (number(first)..=number(last)).collect(),
        None => vec![number(cell)],
    }
}

/// The words of a text, whatever stands between them.
fn words(text: &str) -> BTreeSet<String> {
    let text = text.to_lowercase();
    let words = text.split(|c: char| !c.is_alphanumeric() && c != '.' && c != ':');
    words.map(|w| w.trim_matches([':', '.'])).filter(|w| !w.is_empty()).map(str::to_owned).collect()
}

/// Words that say nothing about which row it is.
fn filler(word: &str) -> bool {
    ["the", "of", "a", "by", "and", "device", "plus", "or"].contains(&word)
}

/// Every word of the code's shorter text stands in the notes' longer one.
fn assert_says(what: &str, code: &str, notes: &str) {
    let (ours, theirs) = (words(code), words(notes));
    let missing: Vec<&String> = ours.iter().filter(|w| !filler(w) && !theirs.contains(*w)).collect();
    assert!(missing.is_empty(), "{what} is {code:?} in the code and {notes:?} in the notes: {missing:?}");
}

/// The notes write a unit as people do, the code in ASCII.
fn ascii(unit: &str) -> String {
    let text = unit.replace('²', "2").replace('³', "3").replace('µ', "u").replace('é', "e");
    let text = text.replace(" °C", "C").replace(" °F", "F").replace("°/", "deg/").replace("1/", "/");
    let text = match text.strip_prefix('°') {
        Some(rest) if rest.len() == 1 => format!("deg{rest}"),
        Some(rest) => format!("deg {rest}"),
        None => text.replace('°', "deg"),
    };
    match text.as_str() {
        "bbl (oil)" => "oil bbl".into(),
        "bbl (US liquid)" => "US liquid bbl".into(),
        // Grams are a unit of mass already.
        "g (96)" => "g (gravity)".into(),
        _ => text,
    }
}

/// [UN-01] [UN-03]
#[test]
fn units_are_those_of_the_notes() {
    let notes = notes("tables.md");
    let mut seen = BTreeSet::new();
    for row in rows(&notes["UN-01"]) {
        let code: u8 = row[0].parse().expect("a code");
        let unit = units::unit(code).unwrap_or_else(|| panic!("unit {code} is not in the code"));
        assert_eq!(unit.symbol, ascii(&row[1]), "unit {code}");
        assert_eq!(unit.group.replace(" and power", ", power"), row[2].replace("analysis", "analytical"));
        seen.insert(code);
    }
    for row in rows(&notes["UN-03"]) {
        for code in range(&row[0]) {
            let unit = units::unit(code).unwrap_or_else(|| panic!("unit {code} is not in the code"));
            let by_maker = row[1] == "by manufacturer" && unit.symbol == format!("manufacturer unit {code}");
            assert!(by_maker || unit.symbol == row[1], "unit {code}");
            seen.insert(code);
        }
    }
    assert_eq!(seen, units::all().iter().map(|u| u.code).collect());
}

/// [UN-02]
#[test]
fn expansion_units_are_those_of_the_notes() {
    let notes = notes("tables.md");
    let mut seen = BTreeSet::new();
    for row in rows(&notes["UN-02"]) {
        let (class, name) = row[0].split_once(' ').expect("a classification and its name");
        let (class, code): (u8, u8) = (class.parse().expect("a number"), row[1].parse().expect("a number"));
        assert_eq!(tables::CLASSIFICATION.text(class), Some(name));
        let unit = if class == 96 && code == 170 { "g (96)".into() } else { row[2].clone() };
        assert_eq!(units::symbol(code, Some(class)), Some(ascii(&unit).as_str()), "{class}, {code}");
        seen.insert((class, code));
    }
    for class in 0..=255 {
        for code in 170..=219 {
            let ours = units::symbol(code, Some(class)).is_some();
            assert_eq!(ours, seen.contains(&(class, code)), "{class}, {code}");
        }
    }
}

/// [TB-01] to [TB-25]
#[test]
fn enumerations_are_those_of_the_notes() {
    let notes = notes("tables.md");
    for table in tables::ENUMERATIONS {
        let mut seen = BTreeSet::new();
        for row in rows(&notes[table.id]) {
            for code in range(&row[0]) {
                let text =
                    table.text(code).unwrap_or_else(|| panic!("{}: {code} is not in the code", table.name));
                assert_says(&format!("{} {code}", table.name), text, &row[1]);
                seen.insert(code);
            }
        }
        if table.id == "TB-12" {
            // A sentence, not a table: only 0.
            seen.insert(0);
        }
        let ours: BTreeSet<u8> = (0..=255).filter(|&c| table.text(c).is_some()).collect();
        assert_eq!(ours, seen, "{}", table.name);
    }
}

/// The masks of a table of notes in hexadecimal, with the text of one column.
fn masks(part: &str, column: usize) -> BTreeMap<u8, String> {
    let mask = |s: &str| u8::from_str_radix(s, 16).unwrap_or_else(|e| panic!("{s:?}: {e}"));
    let named = |text: &str| !["-", "reserved", "undefined"].contains(&text);
    let rows = rows(part).into_iter().map(|r| (mask(&r[0]), r[column].clone()));
    rows.filter(|(_, text)| named(text)).collect()
}

fn assert_bits(table: &BitTable, notes: &BTreeMap<u8, String>) {
    let ours: BTreeSet<u8> = table.rows.iter().map(|r| r.0).collect();
    assert_eq!(ours, notes.keys().copied().collect(), "{}", table.name);
    for (mask, text) in table.rows {
        assert_says(&format!("{} {mask:02X}", table.name), text, &notes[mask]);
    }
}

/// [ST-01] [ST-02] [ST-05] [ST-06] [TB-05] [TB-10] [TB-11] [TB-14] [TB-20] [TB-25]
#[test]
fn bits_are_those_of_the_notes() {
    let of_status = notes("status.md");
    // The notes name the check byte, and the bit that makes it an error.
    let mut error = masks(&of_status["ST-01"], 1);
    error.insert(0x80, "communication error".into());
    for (mask, text) in error.iter_mut() {
        *text = match (*mask, text.as_str()) {
            (0x40, "parity of a character") => "vertical parity error".into(),
            (0x08, "check byte") => "longitudinal parity error".into(),
            (_, text) => format!("{text} error"),
        };
    }
    assert_bits(&status::COMMUNICATION_ERROR, &error);
    let mut field = masks(&of_status["ST-02"], 1);
    let other = field.get_mut(&0x02).expect("a row");
    assert_eq!(other, "a variable other than the primary out of limits");
    *other = "non-primary variable out of limits".into();
    assert_bits(&status::FIELD_DEVICE_STATUS, &field);
    assert_bits(&status::EXTENDED_DEVICE_STATUS, &masks(&of_status["ST-05"], 1));
    for (n, table) in [
        &status::STANDARDIZED_STATUS_0,
        &status::STANDARDIZED_STATUS_1,
        &status::STANDARDIZED_STATUS_2,
        &status::STANDARDIZED_STATUS_3,
    ]
    .into_iter()
    .enumerate()
    {
        assert_bits(table, &masks(&of_status["ST-06"], n + 1));
    }
    let of_tables = notes("tables.md");
    let mut flags = masks(&of_tables["TB-05"], 1);
    assert_eq!(flags[&0x10], "SafeHART capable ([BIF], older: undefined)");
    flags.insert(0x10, "safety protocol capable".into());
    assert_bits(&tables::FLAGS, &flags);
    assert_bits(&tables::ANALOG_CHANNEL_FLAGS, &masks(&of_tables["TB-10"], 1));
    assert_bits(&tables::ANALOG_CHANNELS_SATURATED, &masks(&of_tables["TB-11"], 1));
    assert_bits(&tables::ANALOG_CHANNELS_FIXED, &masks(&of_tables["TB-11"], 2));
    for table in [&tables::LOCK_STATUS, &tables::CLOCK_FLAGS, &tables::VARIABLE_PROPERTIES] {
        assert_bits(table, &masks(&of_tables[table.id], 1));
    }
}

/// The codes in a list such as `0, 2 invalid polling address, 5, 8 update failure (warning), 33 to 36`, with
/// what is said of each.
fn listed(text: &str) -> BTreeMap<u8, String> {
    let mut out = BTreeMap::new();
    for item in text.split(", ") {
        let digits = item.find(|c: char| !c.is_ascii_digit()).unwrap_or(item.len());
        let (number, said) = item.split_at(digits);
        match (number.is_empty(), said.strip_prefix(" to ")) {
            (true, _) => panic!("{item:?} in {text:?}"),
            (false, Some(_)) => out.extend(range(item).into_iter().map(|c| (c, String::new()))),
            (false, None) => drop(out.insert(number.parse().expect("a code"), said.trim().to_owned())),
        }
    }
    out
}

/// [ST-04], and the grade of each row.
#[test]
fn commands_have_the_grades_and_codes_of_the_notes() {
    let notes = notes("command-facts.md");
    for row in command::all() {
        let part = notes.get(row.cites).unwrap_or_else(|| panic!("no notes for {}", row.cites));
        assert_eq!(row.cites, format!("CM-{:03}", row.number));
        let grade = part.lines().find_map(|l| l.strip_prefix("Grade: ")).expect("a grade");
        assert_eq!(grade.chars().next(), Some(row.grade.letter()), "{}: grade of the row", row.cites);
        let revisions: BTreeSet<u8> = rows(part)
            .iter()
            .flat_map(|r| r[0].split(", ").map(|n| n.parse().expect("a revision")).collect::<Vec<u8>>())
            .collect();
        let ours: BTreeSet<u8> = row.forms.iter().flat_map(|f| f.from.number()..=f.to.number()).collect();
        assert_eq!(ours, revisions, "{}: revisions", row.cites);
        let line = part.lines().find_map(|l| l.strip_prefix("Codes, revision 7: "));
        let list = status::list(row.number);
        let (Some(line), Some(list)) = (line, list) else {
            assert!(line.is_none() && list.is_none(), "{}: {line:?} and {list:?}", row.cites);
            continue;
        };
        let (codes, grade) = line.split_once(". Grade of the list: ").expect("the list's grade");
        assert_eq!(grade.chars().next(), Some(list.grade), "{}: grade of the list", row.cites);
        let codes = listed(codes);
        let ours: Vec<u8> = list.of(Revision::R7).map(|c| c.code).collect();
        assert_eq!(ours, codes.keys().copied().collect::<Vec<_>>(), "{}", row.cites);
        for code in list.codes.iter().filter(|c| c.to < Revision::R7) {
            let says = format!("Revisions 5 and 6 have {}", code.code);
            let part = part.to_lowercase();
            assert!(part.contains(&says.to_lowercase()), "{}: {}", row.cites, code.code);
        }
        for code in list.of(Revision::R7) {
            let said = &codes[&code.code];
            let warns = said.ends_with("(warning)");
            assert_eq!(code.class == CodeClass::Warning, warns, "{}: {}", row.cites, code.code);
            let said = said.trim_end_matches("(warning)").trim();
            if !said.is_empty() {
                assert_says(&format!("{}: {}", row.cites, code.code), said, code.text);
            }
        }
    }
    let of_commands = |id: &&String| id[3..].parse::<u16>().is_ok();
    for id in notes.keys().filter(of_commands) {
        assert!(command::all().iter().any(|r| r.cites == id), "{id} has no row");
    }
}

/// How many octets a cell of the notes begins with; `None` where the number depends on something.
fn length(cell: &str) -> Option<usize> {
    if cell == "none" {
        return Some(0);
    }
    let (number, rest) = cell.split_once(' ')?;
    rest.starts_with("octet").then(|| number.parse().ok()).flatten()
}

/// Data of the length that the notes give are laid out whole, and of no length below it, unless the notes say
/// that they may be shorter.
#[test]
fn layouts_have_the_lengths_of_the_notes() {
    let notes = notes("command-facts.md");
    let whole = |layout, length: usize| {
        let mut d = Decoded::default();
        layout::decode(layout, &vec![0; length], &mut d);
        d.complete && usize::from(d.surplus_from) == length
    };
    let mut compared = 0;
    for row in command::all() {
        for cells in rows(&notes[row.cites]) {
            let reply = if cells[2] == "echo" { &cells[1] } else { &cells[2] };
            for revision in cells[0].split(", ") {
                let form = row.form(Revision::new(revision.parse().expect("a number")).expect("known"));
                let form = form.expect("revisions are compared elsewhere");
                for (cell, layout, asks) in [(&cells[1], form.request, true), (reply, form.reply, false)] {
                    let Some(length) = length(cell).filter(|_| !cell.contains("a slot")) else { continue };
                    let what = format!("{}, revision {revision}, {cell}", row.cites);
                    assert!(whole(layout, length), "{what}");
                    let may_be_short =
                        ["or none", "may end", "newer", "Older"].iter().any(|w| cell.contains(w));
                    let raw = matches!(layout.first(), Some(Item::Rest(_)));
                    for other in (0..=80).filter(|&n| n != length && !may_be_short && !raw) {
                        let optional = asks && revision != "5" && SHORTER.contains(&(row.number, other));
                        assert_eq!(whole(layout, other), optional, "{what}: {other}");
                    }
                    compared += 1;
                }
            }
        }
    }
    assert!(compared > 300, "only {compared} lengths were compared");
}

/// Lengths of requests beside those of the tables, which the text below them gives; from revision 6 on.
const SHORTER: &[(u16, usize)] = &[(6, 1), (38, 0)];

/// [ST-03]
#[test]
fn general_codes_are_those_of_the_notes() {
    let notes = notes("status.md");
    let mut seen = BTreeSet::new();
    for row in rows(&notes["ST-03"]) {
        for code in range(&row[0]) {
            let (class, text) = status::general(code);
            match row[2].as_str() {
                "success" => assert_eq!(class, CodeClass::Success, "{code}"),
                "warning" => assert_eq!(class, CodeClass::Warning, "{code}"),
                "error" => assert_eq!(class, CodeClass::Error, "{code}"),
                _ => assert_eq!(row[2], "-", "{code}"),
            }
            if let Some(text) = text.filter(|_| !matches!(code, 0 | 112..)) {
                assert_says(&format!("code {code}"), text, &row[1]);
            }
            seen.insert(code);
        }
    }
    let without: Vec<u8> =
        (0..128).filter(|c| status::general(*c).1.is_some() && !seen.contains(c)).collect();
    assert_eq!(without, [0u8; 0]);
}

/// [TY-09]: the sentence names them; here it is only seen that nothing else does.
#[test]
fn device_variable_codes_are_named() {
    let table: &Table = &DEVICE_VARIABLE_CODE;
    let note = &notes("types.md")["TY-09"];
    for (code, name) in [(243, "battery life"), (244, "percent of range"), (245, "loop current")] {
        assert!(note.contains(&format!("{code} {name}")));
        assert_eq!(table.text(code), Some(name));
    }
    assert!(note.contains("246 to 249 PV, SV, TV, QV"));
    let four = (246..=249).map(|c| table.text(c).unwrap_or_default());
    let first: String = four.map(|t| t.chars().next().unwrap_or('?')).collect();
    assert_eq!(first, "pstq");
}
