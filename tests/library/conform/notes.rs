//! What cases cite, against the notes.

use looprig::conform::{Strength, all};
use std::collections::{BTreeMap, BTreeSet};

/// A requirement of `protocol-notes/`: what stands under its heading.
#[derive(Default)]
struct Note {
    grade: String,
    lines: Vec<String>,
}

/// Every requirement.
fn all_notes() -> BTreeMap<String, Note> {
    let mut notes: BTreeMap<String, Note> = BTreeMap::new();
    let directory = concat!(env!("CARGO_MANIFEST_DIR"), "/protocol-notes");
    for entry in std::fs::read_dir(directory).expect("the notes") {
        let path = entry.expect("an entry").path();
        let text = std::fs::read_to_string(&path).unwrap_or_default();
        let mut id = String::new();
        for line in text.lines() {
            if let Some((heading, _)) = line.strip_prefix("## [").and_then(|l| l.split_once(']')) {
                id = heading.to_owned();
            } else if let Some(note) = (!id.is_empty()).then(|| notes.entry(id.clone()).or_default()) {
                match line.strip_prefix("Grade: ").and_then(|l| l.split_once(" · ")) {
                    Some((grade, _)) if note.grade.is_empty() => grade.clone_into(&mut note.grade),
                    _ => note.lines.push(line.to_owned()),
                }
            }
        }
    }
    notes
}

/// Words that say of a sentence that nothing published stands behind it, or that sources differ.
const RECALLED: [&str; 10] = [
    "from memory",
    "no source",
    "our choice",
    "our own decision",
    "**conflict",
    "octet: conflict",
    "not been read",
    "nobody prints",
    "by the pattern of",
    "grade of the list: r",
];

fn is_recalled(text: &str) -> bool {
    let text = text.to_lowercase();
    RECALLED.iter().any(|w| text.contains(w))
}

impl Note {
    fn is_mixed(&self) -> bool {
        self.lines.iter().any(|l| is_recalled(l)) || is_recalled(&self.lines.join(" "))
    }

    /// What is published of it, piece by piece: the rows of its tables, and its sentences without what is recalled. A sentence that
    /// begins with such words is recalled to its end, else only what stands between its semicolons; behind "for the rest" all is.
    fn published(&self) -> Vec<String> {
        let (rows, text): (Vec<&String>, Vec<&String>) = self.lines.iter().partition(|l| l.starts_with('|'));
        let mut pieces: Vec<String> = rows.into_iter().cloned().collect();
        let text: Vec<&str> =
            text.into_iter().map(String::as_str).filter(|l| !l.contains("Grade of the list: R")).collect();
        for sentence in text.join(" ").split(". ") {
            if sentence.contains("for the rest") {
                break;
            }
            if is_recalled(sentence.get(..20).unwrap_or(sentence)) {
                continue;
            }
            pieces.extend(sentence.split("; ").filter(|piece| !is_recalled(piece)).map(str::to_owned));
            if !is_recalled(sentence) {
                pieces.push(sentence.to_owned());
            }
        }
        pieces.retain(|piece| !is_recalled(piece));
        pieces
    }
}

/// A must cites a published requirement: H or M. What is recalled, or our own decision, is never a must.
#[test]
fn a_must_is_published() {
    let notes = all_notes();
    for case in all() {
        let grade = notes.get(case.requirement).map(|n| n.grade.as_str()).filter(|g| !g.is_empty());
        assert!(grade.is_some(), "{}: [{}] has no grade", case.id, case.requirement);
        let published = matches!(grade, Some("H" | "M"));
        assert!(published || case.strength != Strength::Must, "{}: {grade:?} is no must", case.id);
    }
}

/// Where a note also has sentences from memory, in conflict or of our own, each must names the published words that it rests on.
#[test]
fn a_must_rests_on_published_words() {
    let notes = all_notes();
    let mut wrong = Vec::new();
    let mut rows: BTreeMap<&str, &str> = BTreeMap::new();
    for (words, cases) in RESTS_ON {
        for case in *cases {
            if rows.insert(case, words).is_some() {
                wrong.push(format!("{case} stands twice"));
            }
        }
    }
    for case in all().into_iter().filter(|c| c.strength == Strength::Must) {
        let note = &notes[case.requirement];
        match (note.is_mixed(), rows.remove(case.id)) {
            (false, None) => {}
            (false, Some(_)) => {
                wrong.push(format!("{}: [{}] is published all over", case.id, case.requirement))
            }
            (true, None) => wrong.push(format!("{}: which words of [{}]?", case.id, case.requirement)),
            (true, Some(words)) if note.published().iter().any(|piece| piece.contains(words)) => {}
            (true, Some(words)) => {
                wrong.push(format!("{}: [{}] does not say {words:?}", case.id, case.requirement))
            }
        }
    }
    wrong.extend(rows.keys().map(|id| format!("{id} is no must")));
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// What a note calls recalled is no published word.
#[test]
fn recalled_words_are_told_apart() {
    let lines = [
        "First one; second (from memory); third. From memory: fourth; fifth. Sixth [XX-1]. Our choice for the rest: seventh. Eighth.",
        "| 1 | ninth |",
        "Codes: tenth. Grade of the list: R.",
    ];
    let note = Note { grade: "H".into(), lines: lines.map(str::to_owned).into() };
    assert!(note.is_mixed());
    assert_eq!(note.published(), ["| 1 | ninth |", "First one", "third", "Sixth [XX-1]", "Sixth [XX-1]"]);
    assert!(!Note { lines: vec!["First one".into()], ..Note::default() }.is_mixed());
}

/// Words of a note, and the must cases that rest on them.
const RESTS_ON: &[(&str, &[&str])] = &[
    ("6 octets: tag, packed | as command 0", &["universal/by-tag/own-tag", "universal/by-tag/as-command-0"]),
    ("32 octets: long tag | as command 0", &["universal/by-tag/own-long-tag"]),
    (
        "6 octets a slot: code, unit, float",
        &["common/variables/slots-have-six-octets", "common/variables/slots-as-many-as-asked"],
    ),
    ("| 5, 6 | none | none |", &["status/changed/command-38-without-data"]),
    (
        "2 octets: configuration change counter | 2 octets: configuration change counter",
        &[
            "status/changed/reset-for-the-asker",
            "status/changed/echo-of-the-counter",
            "status/counter/as-command-38-wants-it",
        ],
    ),
    (
        "9 configuration change counter mismatch",
        &["status/changed/other-counter-refused", "status/changed/other-counter-resets-nothing"],
    ),
    (
        "Common practice before revision 7, universal from then on",
        &["status/changed/command-38-is-there", "status/more-status/command-48-is-there"],
    ),
    ("At least 9 octets, 14 with more than one analog channel, 25 at most", &["status/more-status/length"]),
    ("1 octet: EEPROM control [TB-19] | echo", &["common/service/burn-keeps-what-was-written"]),
    (
        "4 octets: loop current, mA; 0 leaves the mode | echo",
        &["common/current/fixed", "common/current/zero-leaves-fixed"],
    ),
    ("1 octet: unit | echo", &["common/settings/unit-of-pv-kept"]),
    ("| 5, 6, 7 | none | none |", &["common/service/self-test-has-no-data"]),
    (
        "4 octets: the damping that is used, s",
        &["boundaries/damping/kept", "boundaries/damping/used-is-told"],
    ),
    ("5 octets: 0 device variable; 1-4 damping, s | echo", &["boundaries/damping/of-a-variable"]),
    ("echo, with the values that are used", &["boundaries/range/kept"]),
    ("3 octets: serial number | echo", &["common/variables/serial-number-kept"]),
    ("27 octets: as before", &["common/variables/information-length"]),
    ("17 octets: 0 device variable", &["common/variables/information-names-its-variable"]),
    ("5-8 upper limit; 9-12 lower limit", &["common/variables/information-upper-limit-first"]),
    ("10 octets: 0 analog channel; 1 unit; 2-5 level; 6-9 percent", &["common/channels/level-and-percent"]),
    ("25 octets: 0 unit of the analog channel; 1-4 its level", &["common/channels/channel-and-variables"]),
    ("6 octets a slot: analog channel, unit, float", &["common/channels/levels-in-their-unit"]),
    ("17 octets: as before", &["common/channels/information-length"]),
    ("5 octets: 0 analog channel; 1-4 damping, s | echo", &["boundaries/damping/of-a-channel"]),
    ("15 invalid analog channel code number", &["common/current/unknown-channel"]),
    ("12 invalid units code", &["common/current/unit-that-is-none"]),
    ("2-5 upper endpoint; 6-9 lower endpoint", &["common/channels/upper-endpoint-first"]),
    ("10 invalid lock code", &["lock/kinds/unknown-code"]),
    ("11 cannot lock", &["lock/temporary/other-cannot-lock"]),
    ("1 octet: lock code [TB-13] | echo", &["lock/temporary/open-again"]),
    ("1 octet: lock status [TB-14]", &["lock/temporary/status-has-one-octet", "lock/temporary/is-told"]),
    ("1 number of commands; then for each 2 octets number", &["common/carried/as-many-as-counted"]),
    ("data, of which the first octet is its response code", &["common/carried/response-code-inside"]),
    ("1 what to do [TB-15]; 2 unit; 3-6 value", &["common/simulation/value-is-told"]),
    ("17 invalid device variable index", &["common/simulation/unknown-variable"]),
    ("18 invalid units code", &["common/simulation/unit-that-is-none"]),
    ("10 invalid command code for writing the device variable", &["common/simulation/unknown-code"]),
    ("10 octets: 0 device variable; 1 unit; 2-5 lower", &["common/trim/points-have-ten-octets"]),
    ("23 octets: 0 device variable; 1 trim points", &["common/trim/limits-have-23-octets"]),
    ("10 octets: 0 what to do [TB-21]; 1-3 date; 4-7 time of day", &["common/clock/set"]),
    ("15 octets: 0-2 date; 3-6 time of day", &["common/clock/has-15-octets"]),
    (
        "6 octets: 0-1 STX; 2-3 ACK; 4-5 BACK",
        &["common/counters/requests-are-counted", "common/counters/three-of-two-octets"],
    ),
    (
        "29 octets: 0 burst mode control [TB-17]",
        &["burst/settings/configuration-length", "burst/settings/on-is-told"],
    ),
    (
        "0-7 device variables of eight slots, 250 for none; 8 burst message",
        &["burst/settings/variables-taken"],
    ),
    (
        "Codes, revision 7: 0, 2, 5, 6, 7, 8",
        &["burst/settings/unknown-variable", "burst/settings/control-that-is-none"],
    ),
    ("3 octets: 0-1 command; 2 burst message", &["burst/settings/command-taken"]),
    ("1 octet: burst mode control [TB-17] | echo", &["burst/settings/on", "burst/timing/none-when-off"]),
    ("20 octets: unit and float of PV, SV, TV, QV", &["common/variables/all-dynamic-variables"]),
    (
        "a command that writes configuration answers 7 and changes nothing",
        &[
            "write-protect/state/writes-are-refused",
            "write-protect/state/tag-is-refused",
            "write-protect/state/nothing-changes",
            "write-protect/state/nothing-is-counted",
        ],
    ),
    (
        "No answer to: a frame for another address",
        &[
            "link/addressing/other-device-id",
            "link/addressing/other-polling-address",
            "link/timing/silent-unasked",
        ],
    ),
    (
        "a reply or a burst",
        &["link/requests/answers-are-not-answered", "link/requests/bursts-are-not-answered"],
    ),
    ("an invalid mode changes neither", &["boundaries/labels/refused-mode-takes-no-address"]),
    ("Revision 6 and 7: two octets", &["universal/loop-configuration/mode-is-kept"]),
    ("| burst | 01 | 81 |", &["burst/frames/delimiter"]),
    (
        "| reply | 06 | 86 |",
        &["link/framing/delimiter-of-a-long-answer", "link/framing/delimiter-of-a-short-answer"],
    ),
    ("| 18 | physical layer: 00 for FSK |", &["link/framing/physical-layer-bits-are-clear"]),
    ("Kinds other than 1, 2 and 6 are no valid delimiter", &["link/requests/kinds-that-do-not-exist"]),
    (
        "A gap, loss of carrier, or an error in delimiter, address or byte count: the frame is given up",
        &[
            "link/check/wrong-parity-in-the-header",
            "link/requests/byte-count-beyond-the-data",
            "link/requests/broken-off",
        ],
    ),
    ("the receiver looks for the next start", &["link/requests/right-one-behind-a-broken-one"]),
    (
        "Mask 40: set when the field device is in burst mode",
        &["burst/frames/burst-bit", "burst/frames/burst-bit-in-answers"],
    ),
    (
        "Mask 80: set primary, clear secondary master",
        &[
            "link/masters/secondary-is-named",
            "link/masters/primary-is-named",
            "link/masters/named-in-short-frames",
        ],
    ),
    ("a reply copies it from the request", &["link/masters/named-in-refusals"]),
    (
        "A primary and a secondary master may share the wires and take turns",
        &["link/masters/both-are-answered", "link/masters/in-turn"],
    ),
    ("how many preambles the device wants in requests", &["link/preambles/as-many-as-it-wants"]),
    (
        "From revision 7 octet 12 says how many it sends in its replies",
        &["link/preambles/of-answers-as-told"],
    ),
    ("| 08 | check byte |", &["link/check/error-of-the-check-byte"]),
    ("| 40 | parity of a character |", &["link/check/error-of-parity"]),
    ("| 1 | undefined |", &["codes/refusals/no-undefined-code"]),
    (
        "the bit goes out for the master that sends command 48 with the status as it stands now, and for that master only",
        &["status/more-status/over-when-sent-back", "status/more-status/stays-for-the-other"],
    ),
    (
        "Other octets or too few leave it set",
        &["status/more-status/stays-without-data", "status/more-status/other-octets-leave-it"],
    ),
    ("A mismatch is told with warning 14", &["status/more-status/other-octets-are-told"]),
    (
        "the first command of each master clears it for that master",
        &["status/cold-start/over-after-an-answer"],
    ),
];

#[test]
fn ids_are_sections_and_slugs() {
    let mut seen = BTreeSet::new();
    for case in all() {
        assert!(seen.insert(case.id), "{} twice", case.id);
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        let parts: Vec<&str> = case.id.split('/').collect();
        assert!(
            parts.len() >= 2 && parts.iter().all(|p| !p.is_empty() && p.chars().all(plain)),
            "{}",
            case.id
        );
        assert!(!case.title.ends_with('.') && !case.title.is_empty(), "{}", case.id);
    }
}
