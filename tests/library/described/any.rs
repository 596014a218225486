//! Descriptions of every shape: written, read, laid out, and fed with anything.

use looprig::app::command::described::{
    Command, Description, DeviceType, Element, Pair, Part, PartKind, PartUnit, StatusOctets, Words, check,
};
use looprig::app::command::{
    Catalogue, Decoded, Described, Direction, Effect, Missing, Revision, TypeKey, Value, layout,
};
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

const REVISIONS: [Revision; 3] = [Revision::R5, Revision::R6, Revision::R7];

fn words() -> impl Strategy<Value = String> {
    "[a-zA-Z\"\\\\|%\u{e4}#=\\[][ -~\u{e4}]{0,12}[a-z\"\\\\]"
}

fn rows(
    numbers: impl Strategy<Value = BTreeSet<u8>>,
    texts: &'static str,
) -> impl Strategy<Value = Vec<(u8, String)>> {
    numbers.prop_map(move |numbers| numbers.into_iter().map(|n| (n, format!("{texts} {n}"))).collect())
}

fn kind() -> impl Strategy<Value = PartKind> {
    prop_oneof![
        (1u8..=4).prop_map(PartKind::Unsigned),
        Just(PartKind::Float),
        (1u8..=4).prop_map(|n| PartKind::Packed(3 * n)),
        (1u8..=20).prop_map(PartKind::Latin1),
        Just(PartKind::Date),
        Just(PartKind::Time),
        Just(PartKind::Unit),
        Just(PartKind::Enumeration("first".into())),
        Just(PartKind::Enumeration("second".into())),
        Just(PartKind::Bits("lamps".into())),
        Just(PartKind::Variable),
        Just(PartKind::VariableStatus),
        (1u8..=9).prop_map(PartKind::Octets),
    ]
}

/// Parts with names by their places, so that none is there twice; units refer to the unit just before.
fn parts(in_slot: bool, most: usize) -> impl Strategy<Value = Vec<Part>> {
    let one = (kind(), words(), any::<[bool; 4]>(), select(&REVISIONS[..]), select(&REVISIONS[..]), words());
    prop::collection::vec(one, 1..=most).prop_map(move |list| {
        let mut out: Vec<Part> = Vec::new();
        for (i, (kind, label, flags, a, b, symbol)) in list.into_iter().enumerate() {
            let [hex, optional, selects, unit_given] = flags;
            let number = matches!(kind, PartKind::Unsigned(_) | PartKind::Float);
            let suffix = if kind == PartKind::Unit { "_unit" } else { "" };
            let before = out
                .last()
                .filter(|p| p.kind == PartKind::Unit && (p.from, p.to) == (Revision::R5, Revision::R7));
            let unit = match (unit_given && number, before) {
                (true, Some(unit)) => PartUnit::From(unit.name.clone()),
                (true, None) => PartUnit::Fixed(symbol),
                (false, _) => PartUnit::None,
            };
            let code = matches!(kind, PartKind::Unsigned(_) | PartKind::Enumeration(_) | PartKind::Variable);
            // Half of all parts are in every revision.
            let (from, to) = if i % 2 == 0 { (Revision::R5, Revision::R7) } else { (a.min(b), a.max(b)) };
            out.push(Part {
                name: format!("v{i}{}{suffix}", if in_slot { "s" } else { "" }),
                label,
                hex: hex && matches!(kind, PartKind::Unsigned(1..=3)),
                optional: optional && !in_slot,
                selects: selects && code && !in_slot,
                kind,
                unit,
                from,
                to,
            });
        }
        out
    })
}

fn data(direction: Direction) -> impl Strategy<Value = Vec<Element>> {
    let slots = (1u8..=3, 0u8..=3, parts(true, 2));
    (prop::option::of(parts(false, 5)), prop::option::of(slots), any::<bool>()).prop_map(
        move |(values, slots, rest)| {
            let mut out: Vec<Element> = values
                .unwrap_or_default()
                .into_iter()
                .map(|mut p| {
                    p.selects &= direction == Direction::Request;
                    Element::Value(p)
                })
                .collect();
            match slots {
                Some((least, more, parts)) => out.push(Element::Slots { least, most: least + more, parts }),
                None if rest => out.push(Element::Value(Part {
                    name: "remainder".into(),
                    label: "what is left".into(),
                    kind: PartKind::Rest,
                    unit: PartUnit::None,
                    hex: false,
                    optional: false,
                    selects: false,
                    from: Revision::R5,
                    to: Revision::R7,
                })),
                None => {}
            }
            out
        },
    )
}

prop_compose! {
    fn command(number: u8)(
        name in words(),
        text in prop_oneof![Just(String::new()), "[a-z][ -~]{0,20}\n?[ -~]{0,20}[a-z.]"],
        effect in select(&[Effect::Reads, Effect::Stops, Effect::Writes, Effect::Moves][..]),
        request in data(Direction::Request),
        reply in data(Direction::Reply),
        codes in rows(prop::collection::btree_set(1u8..=127, 0..3), "code"),
    ) -> Command {
        Command { number, name, text, effect, from: Revision::R5, to: Revision::R7, request, reply, codes }
    }
}

fn description() -> impl Strategy<Value = Description> {
    let numbers = prop::collection::btree_set(128u8..=253, 1..5);
    let commands = numbers.prop_flat_map(|n| n.into_iter().map(command).collect::<Vec<_>>());
    let codes = || rows(prop::collection::btree_set(any::<u8>(), 1..6), "code");
    let masks = prop::collection::btree_set(0u32..8, 1..8)
        .prop_map(|bits| bits.into_iter().map(|b| 1 << b).collect());
    (words(), any::<u16>(), any::<[u8; 2]>(), codes(), codes(), rows(masks, "lamp"), commands).prop_map(
        |(name, expanded, [manufacturer, device_type], first, second, mut lamps, commands)| {
            lamps.reverse();
            let mut types = vec![DeviceType::Expanded(expanded)];
            let short = DeviceType::Short { manufacturer, device_type };
            types.extend(Some(short).filter(|t| t.key() != types[0].key()));
            let table = |name: &str, rows| Words { name: name.into(), rows };
            Description {
                name,
                text: String::new(),
                types,
                enumerations: vec![table("first", first), table("second", second)],
                bits: vec![table("lamps", lamps)],
                status: vec![StatusOctets {
                    from: Revision::R6,
                    to: Revision::R7,
                    tables: vec![String::new(), "lamps".into()],
                }],
                settings: pairs(&commands),
                commands,
            }
        },
    )
}

/// A pair of the first command that reads and the first that writes, where they have a value alike.
fn pairs(commands: &[Command]) -> Vec<Pair> {
    // What has to be said before it reads makes it no reader of a setting; what may be said, and all that is left, does not.
    let is_rest = |e: &Element| matches!(e, Element::Value(p) if p.kind == PartKind::Rest);
    let asks_nothing = |c: &Command| {
        let first = c.request.iter().find(|e| !is_rest(e));
        first.is_none_or(|e| matches!(e, Element::Value(p) if p.optional))
    };
    let reads = |c: &&Command| c.effect == Effect::Reads && c.selectors().next().is_none() && asks_nothing(c);
    let read = commands.iter().find(reads);
    let write = commands.iter().find(|c| c.effect >= Effect::Writes);
    let (Some(read), Some(write)) = (read, write) else { return Vec::new() };
    let plain = |e: &Element| match e {
        Element::Value(p) if !p.optional && p.kind != PartKind::Rest => Some(p.clone()),
        _ => None,
    };
    let wanted: Vec<Part> = write.request.iter().map_while(plain).collect();
    let has = |w: &Part| {
        read.reply.iter().any(|e| matches!(e, Element::Value(p) if p.name == w.name && p.kind == w.kind))
    };
    if wanted.is_empty() || wanted.len() != write.request.len() || !wanted.iter().all(has) {
        return Vec::new();
    }
    let values = wanted.into_iter().map(|p| p.name).collect();
    vec![Pair { heading: "both".into(), read: read.number, write: write.number, values, each: None }]
}

fn read(text: &str) -> Description {
    check(text, Path::new("any.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

/// Makes data again from what was decoded, by name.
fn again(layout: layout_type::Layout, data: &[u8]) -> Vec<u8> {
    let mut found = Decoded::default();
    layout::decode(layout, data, &mut found);
    let values: BTreeMap<String, serde_json::Value> =
        found.fields.iter().map(|f| (f.name().to_string(), f.value(data).to_json())).collect();
    let made = layout::encode(layout, Missing::Ends, &mut |name, kind| {
        values.get(name).map(|json| Value::from_json(kind, json)).transpose()
    });
    let mut out = made.unwrap_or_else(|e| panic!("{e} in {values:?}"));
    out.extend(&data[usize::from(found.surplus_from)..]);
    out
}

mod layout_type {
    pub use looprig::app::command::Layout;
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    /// What is written is read again the same; its rows read any data, and make them again.
    #[test]
    fn written_read_laid_out(d in description(), noise in prop::collection::vec(any::<u8>(), 0..64)) {
        let text = d.to_toml();
        let back = read(&text);
        prop_assert_eq!(&back, &d, "{}", text);
        prop_assert_eq!(back.to_toml(), text);
        let key = d.types[0].key();
        let described = Described::load(d, "any.toml");
        let mut catalogue = Catalogue::default();
        catalogue.add(described).expect("the first one");
        for row in described.rows() {
            prop_assert_eq!(catalogue.spec(row.number, Some(key)).map(|r| r.name), Some(row.name));
            prop_assert!(catalogue.spec(row.number, None).is_none());
            for revision in REVISIONS {
                let form = row.form(revision).expect("every revision");
                for direction in [Direction::Request, Direction::Reply] {
                    let layout = form.layout(direction);
                    // Texts may be padded in more than one way, so twice made is what counts.
                    let once = again(layout, &noise);
                    prop_assert_eq!(once.len(), noise.len());
                    prop_assert_eq!(&again(layout, &once), &once);
                }
            }
        }
    }

    /// Any text: a description, or a fault with its place and what would be right.
    #[test]
    fn any_text(d in description(), from in 0usize..2000, cut in 0usize..40, put in "[ -~\n]{0,6}") {
        let text: Vec<char> = d.to_toml().chars().collect();
        let at = from % text.len();
        let spoilt: String = text[..at].iter().copied().chain(put.chars()).chain(text.iter().copied().skip(at + cut)).collect();
        if let Err(e) = check(&spoilt, Path::new("any.toml")) {
            let place = e.place.as_ref().expect("a place");
            prop_assert!(place.line <= spoilt.split('\n').count(), "{}", e);
            prop_assert!(e.to_string().contains("next: ") && !e.right.is_empty());
        }
    }
}

/// The two top bits do not count [FR-06]: FDB1 and 3DB1 are one, and so are manufacturer FD, type B1.
#[test]
fn types_by_fourteen_bits() {
    let key = DeviceType::Expanded(0xFDB1).key();
    assert_eq!(key, TypeKey::of([0x3D, 0xB1]));
    assert_eq!(key, DeviceType::Short { manufacturer: 0xFD, device_type: 0xB1 }.key());
    assert_ne!(key, DeviceType::Expanded(0xFCB1).key());
    assert_eq!(key.to_string(), "3D B1");
}

/// Two files of one type are refused; one file twice is one.
#[test]
fn descriptions_that_clash() {
    let text = |t: &str, name: &str| {
        format!(
            "name = \"{name}\"\n[[type]]\n{t}\n[[command]]\nnumber = 130\nname = \"x\"\neffect = \"reads\"\n"
        )
    };
    let load = |t: &str, name: &str, file: &str| Described::load(read(&text(t, name)), file);
    let mut catalogue = Catalogue::default();
    let first = load("expanded_device_type = 0xFDB1", "one", "one.toml");
    catalogue.add(first).expect("nothing else is there");
    catalogue.add(load("expanded_device_type = 0xFDB1", "one", "copy.toml")).expect("the same");
    assert_eq!(catalogue.all().len(), 1);
    catalogue.add(load("expanded_device_type = 0xFDB2", "other", "other.toml")).expect("another type");
    let same_bits = load("manufacturer = 0x3D\ndevice_type = 0xB1", "two", "two.toml");
    let clash = catalogue.add(same_bits).expect_err("the same 14 bits");
    assert_eq!((clash.first.as_str(), clash.second.as_str()), ("one.toml", "two.toml"));
    assert!(clash.to_string().contains("3D B1"), "{clash}");
    assert_eq!(catalogue.rows(130).len(), 2);
}
