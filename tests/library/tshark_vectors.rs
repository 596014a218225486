//! What another program reads in messages that were put together by hand: `fixtures/vectors/tshark.csv`,
//! decoded by [TSHARK]. Every field that it shows is compared with ours, but for a list of exceptions, each
//! with its reason; an exception that is none fails.

use crate::support::vectors::{EXCEPTIONS, Row, rows};
use crate::support::{after_preambles, receive, stamped};
use looprig::app::command::{Direction, Value};
use looprig::exchange::{Exchange, Interpreter, read_alone};
use looprig::frame::{Damage, Frame, Good, Reception, Target, check_byte};
use looprig::time::Instant;
use std::collections::BTreeSet;

/// How many fields the table shows: each begins with `pt.`, counted with grep -o.
const FIELDS: usize = 468;

/// Its names and ours. The name of a field of a slot stands without `slotN_`.
const NAMES: &[(&str, &str)] = &[
    // Commands 0, 11, 21.
    ("expansion_code", "expansion"),
    ("req_min_preambles", "preambles_request"),
    ("hart_univ_rev", "universal_revision"),
    ("device_rev", "device_revision"),
    ("software_rev", "software_revision"),
    ("flags", "flags"),
    ("device_id", "device_id"),
    ("rsp_min_preambles", "preambles_reply"),
    ("device_variables", "last_device_variable"),
    ("configure_change", "configuration_change_counter"),
    ("ext_device_status", "extended_status"),
    ("manufacturer_Id", "manufacturer_id"),
    ("private_label", "private_label"),
    ("device_profile", "device_profile"),
    // Commands 1, 2, 3.
    ("pv_loop_current", "loop_current"),
    ("pv_percent_range", "percent_of_range"),
    ("pv_units", "pv_unit"),
    ("pv", "pv"),
    ("sv_units", "sv_unit"),
    ("sv", "sv"),
    ("tv_units", "tv_unit"),
    ("tv", "tv"),
    ("qv_units", "qv_unit"),
    ("qv", "qv"),
    // Commands 6, 7.
    ("poll_address", "polling_address"),
    ("loop_current_mode", "loop_current_mode"),
    // Commands 9, 33.
    ("device_var", "code"),
    ("device_var_classification", "class"),
    ("device_var_classify", "class"),
    ("units", "unit"),
    ("device_var_value", "value"),
    ("device_var_status", "status"),
    ("data_timestamp", "time"),
    // Commands 12 to 19.
    ("message", "message"),
    ("tag", "tag"),
    ("descriptor", "descriptor"),
    ("transducer_serail_number", "serial_number"),
    ("transducer_limit_min_span_units", "transducer_unit"),
    ("upper_transducer_limit", "upper_limit"),
    ("lower_transducer_limit", "lower_limit"),
    ("minimum_span", "minimum_span"),
    ("final_assembly_number", "final_assembly_number"),
    // Command 31.
    ("command_number", "extended_command"),
    // Command 48; `#` marks a name's second use in a row.
    ("device_sp_status", "device_status"),
    ("device_op_mode", "operating_mode"),
    ("standardized_status_0", "standardized_status_0"),
    ("standardized_status_1", "standardized_status_1"),
    ("analog_channel_saturated", "analog_saturated"),
    ("standardized_status_2", "standardized_status_2"),
    ("standardized_status_3", "standardized_status_3"),
    ("analog_channel_fixed", "analog_fixed"),
    ("device_sp_status#", "device_status_more"),
    // Command 77.
    ("io_card", "io_card"),
    ("channel", "channel"),
    ("embedded_command_delimiter", "inner_delimiter"),
    ("unique_id", "inner_address"),
    ("embedded_command", "inner_command"),
    ("command_byte_count", "inner_byte_count"),
];

/// Messages that no form of their command takes, and why.
const NO_FORM: &[(u32, &str)] = &[
    (127, "one device variable; command 107 names four or eight"),
    (128, "one device variable; command 107 names four or eight"),
    (152, "45 octets, without profile and private label [CM-084]"),
];

/// A row read by looprig, and which of our fields were compared.
struct Ours {
    exchange: Exchange,
    direction: Direction,
    frame: Frame,
    used: BTreeSet<String>,
}

impl Ours {
    fn of(row: &Row) -> Ours {
        let mut values = row.octets.clone();
        let mut got = receive(&stamped(&after_preambles(&values), Instant::ZERO));
        if row.number == 161 {
            // Its check byte is wrong on purpose: that is reported, then mended to compare the rest.
            let sound = check_byte(&values[..values.len() - 1]);
            let received = std::mem::replace(values.last_mut().expect("not empty"), sound);
            match &got[..] {
                [Reception::Damaged(d)] => {
                    assert_eq!(d.damage, Damage::Check { computed: sound, received });
                }
                other => panic!("161: {other:?}"),
            }
            got = receive(&stamped(&after_preambles(&values), Instant::ZERO));
        }
        let good: Good = match (got.pop(), got.is_empty()) {
            (Some(Reception::Good(good)), true) => good,
            other => panic!("{}: {other:?}", row.number),
        };
        let frame = good.frame.clone();
        let exchange = read_alone(&mut Interpreter::new(Some(row.revision())), good);
        let direction = if frame.status().is_none() { Direction::Request } else { Direction::Reply };
        Ours { exchange, direction, frame, used: BTreeSet::new() }
    }

    /// The value of the field that programs know by this name.
    fn value(&mut self, name: &str) -> Option<Value> {
        let view = self.exchange.fields(self.direction).find(|v| v.found.name().to_string() == name)?;
        self.used.insert(name.to_owned());
        Some(view.found.value(view.data))
    }

    fn number(&mut self, name: &str) -> Option<u32> {
        self.value(name)?.number()
    }

    /// Whether our reading of the field `name` is what `shown` says. An error says what ours is.
    fn agrees(&mut self, name: &str, shown: &str) -> Result<(), String> {
        let ours = match name {
            "short_addr" => match self.frame.address().target {
                Target::Polling(p) => Value::Number(p.get().into()),
                Target::Unique(u) => return Err(u.to_string()),
            },
            "response_code" | "device_status" => {
                let Some([first, second]) = self.frame.status() else { return Err("no status".into()) };
                Value::Number(u32::from(if name == "response_code" { first } else { second }))
            }
            "checksum" => Value::Number(self.frame.encode().last().copied().unwrap_or(0).into()),
            // Of octets that it does not split it shows nine at most.
            "payload" => Value::Octets(self.frame.data().iter().copied().take(9).collect()),
            "rsp.device_sp_status#" => match self.named("device_sp_status#") {
                Some(Value::Octets(o)) => Value::Octets(o.into_iter().take(9).collect()),
                other => return Err(format!("{other:?}")),
            },
            // The inner frame of command 77: its status, then its data, cut to nine octets.
            "response_code#" | "device_status#" | "rsp.data" => match self.value("inner_data") {
                Some(Value::Octets(o)) => match (name, &o[..]) {
                    ("response_code#", [first, ..]) => Value::Number((*first).into()),
                    ("device_status#", [_, second, ..]) => Value::Number((*second).into()),
                    (_, [_, _, data @ ..]) => Value::Octets(data.iter().copied().take(9).collect()),
                    _ => return Err(format!("{o:02X?}")),
                },
                other => return Err(format!("{other:?}")),
            },
            _ => {
                let name = name.strip_prefix("rsp.").unwrap_or_else(|| panic!("{name} is not known"));
                match self.named(name) {
                    Some(value) => value,
                    None => return Err(format!("no field of ours for {name}")),
                }
            }
        };
        if same(&ours, shown) { Ok(()) } else { Err(format!("{ours:?}")) }
    }

    /// The value that a `pt.rsp.` field is to be compared with.
    fn named(&mut self, name: &str) -> Option<Value> {
        match name {
            // Manufacturer and type in one, which only revision 7 has so.
            "expanded_device_type" => match self.value(name) {
                Some(value) => return Some(value),
                None => {
                    let (high, low) = (self.number("manufacturer")?, self.number("device_type")?);
                    return Some(Value::Number(high << 8 | low));
                }
            },
            "hardrev_and_physical_signal" => {
                let (high, low) = (self.number("hardware_revision")?, self.number("physical_signalling")?);
                return Some(Value::Number(high << 3 | low));
            }
            // The year is shown as it is sent, without the 1900 [TY-06].
            "day" | "month" | "year" => {
                let Value::Date(date) = self.value("date")? else { return None };
                let year = u32::from(date.full_year()) - 1900;
                let parts = [("day", date.day.into()), ("month", date.month.into()), ("year", year)];
                return parts.iter().find(|p| p.0 == name).map(|p| Value::Number(p.1));
            }
            // Commands 20 and 22 call their long tag a tag as well [CM-020].
            "tag" if self.frame.command() >= 20 => return self.value("long_tag"),
            _ => {}
        }
        let (slot, base) = match name.strip_prefix("slot").and_then(|s| s.split_once('_')) {
            Some((slot, base)) => (Some(slot), base),
            None => (None, name),
        };
        let ours = NAMES.iter().find(|n| n.0 == base)?.1;
        match slot {
            // One time stamp for all slots, which it counts to the first.
            Some(_) if ours == "time" => self.value(ours),
            Some(slot) => self.value(&format!("slot{slot}_{ours}")),
            None => self.value(ours),
        }
    }
}

/// Octets with colons between them.
fn colons(shown: &str) -> Option<Vec<u8>> {
    shown.split(':').map(|h| u8::from_str_radix(h, 16).ok().filter(|_| h.len() == 2)).collect()
}

/// Whether a value of ours is what the other program shows: hexadecimal, decimal or octets for whole
/// numbers, six digits for floats, texts with their blanks.
fn same(ours: &Value, shown: &str) -> bool {
    let big_endian = |octets: Vec<u8>| octets.iter().fold(0u32, |n, &o| n << 8 | u32::from(o));
    match ours {
        Value::Number(n) => {
            let number = match shown.strip_prefix("0x") {
                Some(hex) => u32::from_str_radix(hex, 16).ok(),
                None if shown.contains(':') => colons(shown).map(big_endian),
                None => shown.parse().ok(),
            };
            number == Some(*n)
        }
        Value::Float(bits) => {
            let six: Result<f64, _> = format!("{:.5e}", f32::from_bits(*bits)).parse();
            six.is_ok() && six == shown.parse()
        }
        Value::Time(t) => colons(shown).map(big_endian) == Some(t.0),
        Value::Octets(o) => colons(shown).as_ref() == Some(o),
        Value::Text(t) => t == shown.trim_end_matches(' '),
        Value::Date(_) => false,
    }
}

/// [TSHARK]
#[test]
fn every_field_is_the_same() {
    let (mut agreed, mut excepted, mut failures) = (0, BTreeSet::new(), Vec::new());
    for row in rows() {
        let (no, label) = (row.number, &row.label);
        let mut ours = Ours::of(&row);
        let mut split = false;
        for (name, shown) in &row.fields {
            let exception = EXCEPTIONS.iter().position(|e| e.0 == no && e.1 == name);
            match (ours.agrees(name, shown), exception) {
                (Ok(()), None) => {
                    agreed += 1;
                    split |= name.starts_with("rsp.");
                }
                (Err(_), Some(n)) => {
                    excepted.insert(n);
                }
                (Ok(()), Some(n)) => {
                    failures.push(format!(
                        "{no} ({label}): {name}={shown} agrees, yet is excepted: {}",
                        EXCEPTIONS[n].2
                    ));
                }
                (Err(ours), None) => failures.push(format!("{no} ({label}): {name}={shown}, ours is {ours}")),
            }
        }
        // Where it splits the data at all, we have no field that it does not have.
        let names = ours.exchange.fields(ours.direction).map(|v| v.found.name().to_string());
        let left: Vec<String> = names.filter(|n| !ours.used.contains(n)).collect();
        if split && !left.is_empty() {
            failures.push(format!("{no} ({label}): {left:?} are not shown there"));
        }
    }
    for (n, (no, name, why)) in EXCEPTIONS.iter().enumerate() {
        if !excepted.contains(&n) {
            failures.push(format!("the exception {no} {name} applies to nothing: {why}"));
        }
    }
    assert!(failures.is_empty(), "{} differences:\n{}", failures.len(), failures.join("\n"));
    assert_eq!(agreed + excepted.len(), FIELDS);
    assert_eq!(agreed, FIELDS - EXCEPTIONS.len());
}

/// Where a command has a row, the hand-made messages hold its data whole and nothing else, in the revision for
/// which they were made. That is also so for the short forms that [TSHARK] cannot split.
#[test]
fn rows_lay_the_messages_out() {
    let mut laid_out = 0;
    for row in rows() {
        let ours = Ours::of(&row);
        let refused = ours.frame.status().is_some_and(|[first, _]| first != 0);
        if ours.exchange.spec.is_none() || refused {
            continue;
        }
        let decoded = match ours.direction {
            Direction::Request => &ours.exchange.request,
            Direction::Reply => &ours.exchange.reply,
        };
        let surplus = ours.exchange.surplus(ours.direction);
        assert!(ours.exchange.revision.is_some(), "{} ({})", row.number, row.label);
        let whole = decoded.complete && surplus.is_empty();
        let excepted = NO_FORM.iter().find(|e| e.0 == row.number);
        assert_eq!(whole, excepted.is_none(), "{} ({}): {surplus:02X?}", row.number, row.label);
        laid_out += usize::from(whole);
    }
    // The table has 105 messages. Commands 130, 178 and 203 have no row, and three messages fit no form.
    assert_eq!(laid_out, 105 - 3 - NO_FORM.len());
}

/// The comparison itself tells values apart.
#[test]
fn comparisons_bite() {
    for (ours, right, wrong) in [
        (Value::Number(0x1511), "00:15:11", "00:15:12"),
        (Value::Number(254), "254", "255"),
        (Value::Number(8), "0x08", "0x80"),
        (Value::float(101.3), "101.3", "101.301"),
        (Value::float(-200.0), "-200", "200"),
        (Value::Text("FT-101".into()), "FT-101  ", "FT-10"),
        (Value::Octets(vec![6, 0xFB]), "06:fb", "06:fb:00"),
    ] {
        assert!(same(&ours, right) && !same(&ours, wrong), "{ours:?}");
    }
}
