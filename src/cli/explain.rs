//! `looprig explain`: what an octet, a frame, a command, a code, a unit or a timer means.

use super::args::ExplainArgs;
use super::catalogue;
use super::layout_rows::{class_text, effect_text, layout_rows, revisions_of, revisions_text, word_tables};
use super::output::{Ended, Failure, Output};
use crate::app::command::{self, Catalogue, CommandSpec, Form, Grade, Layout};
use crate::app::status::{self, CodeClass, Status};
use crate::app::types::units;
use crate::capture::parse_hex_line;
use crate::exchange::view::{Line, write_value};
use crate::exchange::{FieldView, Interpreter, read_alone};
use crate::frame::{Delimiter, Frame, Good, Master, Octet, Target};
use crate::link::Timers;
use crate::report::table::Table;
use crate::report::text::plural;
use crate::time::{Instant, Pace};
use core::fmt::Write;

/// Explains what is named.
pub fn run(args: &ExplainArgs, out: &mut Output) -> Result<Ended, Failure> {
    if args.schema {
        let _ = writeln!(out.text(), "{}", command::described::schema());
        return Ok(Ended::Fine);
    }
    let described = args.described.load()?;
    if args.all {
        match described.all() {
            [] => catalogue::write(out.text()),
            all => all.iter().for_each(|d| catalogue::write_described(d, out.text())),
        }
        return Ok(Ended::Fine);
    }
    let words: Vec<&str> = args.what.iter().flat_map(|w| w.split_whitespace()).collect();
    let tables = match words.as_slice() {
        ["command", n] => explain_command(number(n, "command", 65535)?, &described),
        ["status", octet] => explain_status(number(octet, "status octet", 255)? as u8),
        ["code" | "response", c, code] => {
            let code = number(code, "response code", 127)? as u8;
            explain_code(number(c, "command", 65535)?, code, &described)
        }
        ["unit", rest @ ..] if !rest.is_empty() => explain_unit(&rest.join(" "))?,
        ["timer" | "timers"] => vec![timers(None)?],
        ["timer" | "timers", name] => vec![timers(Some(name))?],
        [n] if n.parse::<u16>().is_ok() => explain_command(number(n, "command", 65535)?, &described),
        [octet] if octet.starts_with("0x") => explain_status(number(octet, "status octet", 255)? as u8),
        [word] if timers(Some(word)).is_ok() => vec![timers(Some(word))?],
        [word] if units::code_of(word).is_some() => explain_unit(word)?,
        // A kind of thing without what is to be explained.
        [kind @ ("command" | "status" | "code" | "response" | "unit"), ..] => return Err(incomplete(kind)),
        _ => explain_frame(&words.join(" "), args, described)?,
    };
    let format = out.options.format;
    Table::write_all(&tables, format, out.text());
    Ok(Ended::Fine)
}

fn failure(wrong: impl Into<String>, next: impl Into<String>) -> Failure {
    Failure::new("explaining", wrong, next)
}

fn incomplete(kind: &str) -> Failure {
    let (wrong, next) = match kind {
        "command" => ("`command` takes one number", "give it, such as `looprig explain command 15`"),
        "status" => ("`status` takes one octet", "give it, such as `looprig explain status 0x48`"),
        "unit" => ("`unit` takes a symbol or a code", "give it, such as `looprig explain unit bar`"),
        _ => (
            "a response code has its meaning from its command, so both are needed",
            "give both numbers, the command first, such as `looprig explain code 6 2`",
        ),
    };
    failure(wrong, next)
}

fn number(text: &str, what: &str, most: u32) -> Result<u16, Failure> {
    let n = match text.strip_prefix("0x").or_else(|| text.strip_prefix("0X")) {
        Some(hex) => u32::from_str_radix(hex, 16).ok(),
        None => text.parse().ok(),
    };
    n.filter(|n| *n <= most)
        .map(|n| n as u16)
        .ok_or_else(|| failure(format!("\"{text}\" is no {what}"), format!("give a number from 0 to {most}")))
}

fn hex(octets: &[u8]) -> String {
    octets.iter().map(|o| format!("{o:02X}")).collect::<Vec<_>>().join(" ")
}

fn explain_frame(text: &str, args: &ExplainArgs, described: Catalogue) -> Result<Vec<Table>, Failure> {
    let usage = "give a frame in hex, or see `looprig explain --help` for what else can be explained";
    let octets = parse_hex_line(text).map_err(|e| failure(format!("\"{text}\": {e}"), usage))?;
    let preambles = octets.iter().take_while(|&&o| o == 0xFF).count();
    let body: bytes::Bytes = octets[preambles..].to_vec().into();
    if body.len() < 5 {
        return Err(failure(
            format!(
                "{} without the preamble make no frame: the shortest has five",
                plural(body.len(), "octet")
            ),
            usage,
        ));
    }
    let frame = Frame::parse(&body).map_err(|e| {
        let mark = format!("{e}{}", if preambles > 0 { " (counted from the delimiter as 0)" } else { "" });
        failure(mark, "compare the octets with their source; `looprig decode` reads damaged frames too")
    })?;
    let mut t = Table::new("", &["octet", "hex", "field", "meaning"]);
    t.title = format!("{} of command {}", frame.frame_type().name(), frame.command());
    if preambles > 0 {
        t.row([
            "".into(),
            "FF".to_owned(),
            "preamble".into(),
            format!("{} [FR-02]", plural(preambles, "octet")),
        ]);
    }
    let d = frame.delimiter();
    t.row(["0".into(), hex(&body[..1]), "delimiter".into(), delimiter_text(d)]);
    let a = frame.address();
    let device = match a.target {
        Target::Polling(p) => format!("polling address {} [FR-05]", p.get()),
        Target::Unique(u) if u.is_broadcast() => "all devices [FR-07]".into(),
        Target::Unique(u) => format!("unique address {u} [FR-06]"),
    };
    let burst = if a.burst { ", device in burst mode" } else { "" };
    t.row([
        "1".into(),
        hex(&body[1..1 + a.len()]),
        "address".into(),
        format!("{device}, {} master{burst} [FR-16]", a.master),
    ]);
    let mut at = 1 + a.len();
    let expansion = frame.expansion();
    if !expansion.as_slice().is_empty() {
        t.row([
            at.to_string(),
            hex(expansion.as_slice()),
            "expansion".into(),
            "meaning unknown [FR-04]".into(),
        ]);
        at += expansion.as_slice().len();
    }
    let good = Good {
        frame: frame.clone(),
        preambles,
        octets: octets.iter().map(|&o| Octet::clean(Instant::ZERO, o)).collect(),
    };
    let mut interpreter = Interpreter::new(args.revision).with_catalogue(described);
    let exchange = read_alone(&mut interpreter, good);
    t.row([at.to_string(), hex(&[frame.command()]), "command".into(), exchange.command_name().to_owned()]);
    t.row([
        (at + 1).to_string(),
        hex(&[frame.byte_count()]),
        "byte count".into(),
        format!("{} up to the check byte [FR-08]", plural(frame.byte_count().into(), "octet")),
    ]);
    at += 2;
    if let Some([first, second]) = frame.status() {
        let mut response = String::new();
        exchange.write_response(&mut response);
        t.row([at.to_string(), hex(&[first]), "first status octet".into(), response]);
        let mut bits = String::new();
        match second {
            0 => bits.push_str("nothing to report"),
            _ => command::write_bits(&status::FIELD_DEVICE_STATUS, second, &mut bits),
        }
        t.row([(at + 1).to_string(), hex(&[second]), "device status".into(), bits]);
    }
    for line in exchange.lines() {
        let Line::Frame(f) = line else { continue };
        let place = |field: &FieldView<'_>, before: &str| {
            let mut value = String::new();
            write_value(field, &mut value);
            let slot = field.found.slot.map_or(String::new(), |s| format!("slot {s}: "));
            let label = format!("{before}{slot}{}", field.found.field.label);
            [field.span().start.to_string(), hex(field.found.octets(field.data)), label, value]
        };
        let inside = f.inside();
        for field in f.fields() {
            let carried: Vec<_> = inside.iter().filter(|i| i.is_in(&field)).collect();
            let mut row = place(&field, "");
            if let [one] = carried[..]
                && field.found.field.name.ends_with("data")
            {
                row[3] = one.title();
            }
            t.row(row);
            for one in carried {
                for inner in one.fields() {
                    t.row(place(&inner, "inside: "));
                }
                let surplus = one.surplus();
                if !surplus.is_empty() {
                    let what = "without known meaning".into();
                    t.row([one.surplus_from().to_string(), hex(surplus), "inside: data".into(), what]);
                }
            }
        }
        let surplus = f.surplus();
        if !surplus.is_empty() {
            let from = frame.data_offset() + frame.data().len() - surplus.len();
            t.row([from.to_string(), hex(surplus), "data".into(), "without known meaning".into()]);
        }
    }
    let end = body.len() - 1;
    t.row([
        end.to_string(),
        hex(&body[end..]),
        "check byte".into(),
        "right: exclusive-or of all before it [FR-09]".into(),
    ]);
    if let Some(r) = exchange.revision
        && frame.status().is_some()
        && args.revision.is_none()
        && !exchange.reply.fields.is_empty()
    {
        let _ = write!(t.title, ", data read as revision {r} has them (--revision to change)");
    }
    Ok(vec![t])
}

fn delimiter_text(d: Delimiter) -> String {
    let who = match d.frame_type.name() {
        "STX" => "STX, master to device",
        "ACK" => "ACK, device to master",
        _ => "BACK, burst of a device",
    };
    let mut text = format!("{who}; {} address", if d.long { "unique" } else { "polling" });
    if d.expansion > 0 {
        let _ = write!(text, "; {}", plural(d.expansion.into(), "expansion octet"));
    }
    if d.physical > 0 {
        let _ = write!(text, "; physical layer {}", d.physical);
    }
    text + " [FR-03]"
}

fn explain_command(n: u16, described: &Catalogue) -> Vec<Table> {
    let rows = described.rows(n);
    if rows.is_empty() {
        let why = match (command::range_name(n), described.all()) {
            ("device-specific", []) => {
                "it belongs to a device type: --description FILE names one that describes it"
            }
            ("device-specific", _) => "it is not described in what --description names",
            _ => "no row in this version",
        };
        let mut t = Table::new(
            format!(
                "Command {n}: {} range, {why}; its data are shown as hex [CM-UNKNOWN]",
                command::range_name(n)
            ),
            &["direction", "data"],
        );
        t.row(["both", "hex"]);
        return [vec![t], code_table(n)].concat();
    }
    let mut tables = Vec::new();
    for spec in rows {
        for form in spec.forms {
            tables.push(layout_table(spec, form, "request", form.request));
            tables.push(layout_table(spec, form, "reply", form.reply));
        }
        if spec.grade == Grade::Described {
            tables.extend(described_tables(spec));
        }
    }
    tables.extend(code_table(n));
    tables
}

/// What the codes and bits of a described command mean, and its response codes: no other page has them.
fn described_tables(spec: &CommandSpec) -> Vec<Table> {
    let mut out = Vec::new();
    for (heading, rows) in word_tables(spec) {
        let mut t = Table::new(format!("{heading} [{}]", spec.cites), &["code", "meaning"]);
        rows.into_iter().for_each(|row| t.row(row));
        out.push(t);
    }
    if !spec.codes.is_empty() {
        let title = format!("Response codes of command {} [{}]", spec.number, spec.cites);
        let mut t = Table::new(title, &["code", "class", "meaning"]);
        for c in spec.codes {
            t.row([c.code.to_string(), class_text(c.code, c.class).into(), c.text.into()]);
        }
        out.push(t);
    }
    out
}

fn layout_table(spec: &CommandSpec, form: &Form, direction: &str, layout: Layout) -> Table {
    let mut t = Table::new("", &["octet", "name", "type", "what"]);
    t.title = format!(
        "Command {}, {} ({}), {}, {direction} [{}{}]{}",
        spec.number,
        spec.name,
        effect_text(spec.effect),
        revisions_text(form.from, form.to),
        spec.cites,
        match spec.grade {
            Grade::Described => String::new(),
            grade => format!(", grade {}", grade.letter()),
        },
        if layout.is_empty() {
            ": no data"
        } else if direction == "reply" {
            ", behind the two status octets"
        } else {
            ""
        }
    );
    for cells in layout_rows(layout) {
        t.row(cells);
    }
    if layout.is_empty() {
        t.columns.clear();
        t.columns.push("data");
        t.row(["none"]);
    }
    t
}

fn code_table(n: u16) -> Vec<Table> {
    let Some(list) = status::list(n) else { return Vec::new() };
    let mut t = Table::new(
        format!("Response codes of command {n} [ST-04, grade {}]", list.grade),
        &["code", "class", "meaning", "revisions"],
    );
    for c in list.codes {
        let revisions = command::spec(n).map(|row| revisions_of(row, c)).unwrap_or_default();
        t.row([c.code.to_string(), class_text(c.code, c.class).into(), c.text.into(), revisions]);
    }
    // Where all revisions have all codes nothing is to be said.
    if t.rows.iter().all(|row| row[3] == t.rows[0][3]) {
        t.columns.pop();
        t.rows.iter_mut().for_each(|row| row.truncate(3));
    }
    vec![t]
}

fn explain_code(n: u16, code: u8, described: &Catalogue) -> Vec<Table> {
    let one = |name: String, cites: &str, (class, text): (CodeClass, Option<&str>)| {
        let title = format!("Response code {code} of command {n}{name} {cites}");
        let mut t = Table::new(title, &["code", "class", "meaning"]);
        t.row([
            code.to_string(),
            class_text(code, class).into(),
            text.unwrap_or(status::UNDEFINED).to_owned(),
        ]);
        t
    };
    let rows = described.rows(n);
    if rows.is_empty() {
        return vec![one(String::new(), "[ST-03] [ST-04]", status::meaning(n, code))];
    }
    let each = rows.iter().map(|row| {
        let own = row.codes.iter().any(|c| c.code == code);
        let cites = if own { format!("[{}]", row.cites) } else { "[ST-03] [ST-04]".to_owned() };
        one(format!(" ({})", row.name), &cites, row.meaning(code))
    });
    each.collect()
}

fn explain_status(octet: u8) -> Vec<Table> {
    let mut first = Table::new(
        format!("{octet:02X} as the first status octet of a reply [ST-01] [ST-03]"),
        &["bit", "meaning"],
    );
    match Status::of(octet) {
        Status::CommunicationError(_) => {
            for bit in (0..8).rev().filter(|b| octet & 1 << b != 0) {
                let mask = 1u8 << bit;
                first.row([
                    format!("{mask:02X}"),
                    status::COMMUNICATION_ERROR.set_names(mask).collect::<String>(),
                ]);
            }
        }
        Status::Response(code) => {
            let (class, text) = status::general(code);
            first.columns = vec!["code", "meaning"];
            let text = text.unwrap_or("depends on the command: `looprig explain code COMMAND CODE`");
            first.row([code.to_string(), format!("{}: {text}", class_text(code, class))]);
        }
    }
    let mut second = Table::new(
        format!("{octet:02X} as the second status octet: what the device reports [ST-02]"),
        &["bit", "meaning"],
    );
    for bit in (0..8).rev().filter(|b| octet & 1 << b != 0) {
        let mask = 1u8 << bit;
        second.row([format!("{mask:02X}"), status::FIELD_DEVICE_STATUS.set_names(mask).collect::<String>()]);
    }
    if octet == 0 {
        second.row(["none", "nothing to report"]);
    }
    vec![first, second]
}

fn explain_unit(text: &str) -> Result<Vec<Table>, Failure> {
    let mut t = Table::new(
        "Engineering unit [UN-01] [UN-02] [UN-04]",
        &["code", "symbol", "class", "quantity", "si"],
    );
    let code = text.parse::<u8>().ok();
    for u in units::all() {
        if code == Some(u.code) || code.is_none() && units::code_of(text) == Some(u.code) {
            let si = units::convert::scale(u.code).map_or(String::new(), |s| {
                // As a single: seven digits are what a value in a message has.
                format!(
                    "1 {} = {} {}",
                    u.symbol,
                    ((1.0 + s.offset) * s.factor) as f32,
                    s.quantity.si_symbol()
                )
            });
            t.row([u.code.to_string(), u.symbol.into(), "any".into(), u.group.into(), si]);
        }
    }
    for class in 0..=255u8 {
        for c in 170..=219u8 {
            if let Some(symbol) = units::symbol(c, Some(class))
                && (code == Some(c) || code.is_none() && symbol.eq_ignore_ascii_case(text))
            {
                let name = crate::app::types::tables::CLASSIFICATION.text(class).unwrap_or("");
                t.row([c.to_string(), symbol.into(), class.to_string(), name.into()]);
            }
        }
    }
    if t.rows.is_empty() {
        return Err(failure(
            format!("no unit is called \"{text}\""),
            "give a symbol such as bar, m3/h or degC, or a code from 0 to 255",
        ));
    }
    Ok(vec![t])
}

fn timers(name: Option<&str>) -> Result<Table, Failure> {
    let primary = Timers::new(Master::Primary, Pace::Wire);
    let secondary = Timers::new(Master::Secondary, Pace::Wire);
    let rows = [
        ("character", primary.character, 1, "one character of eleven bits [LL-01]"),
        ("STO", primary.slave_time_out, 28, "a device begins its answer within this [LL-02]"),
        ("HOLD", primary.hold, 2, "the master whose turn it is starts within this [LL-03]"),
        ("RT2", primary.link_grant, 8, "after this silence the other master may start [LL-04]"),
        (
            "RT1 primary",
            primary.link_quiet,
            33,
            "after this silence a primary master that lost track may start [LL-05]",
        ),
        ("RT1 secondary", secondary.link_quiet, 41, "the same for a secondary master [LL-05]"),
    ];
    let mut t = Table::new("Timers of the link at 1200 bit/s", &["timer", "characters", "ms", "what"]);
    for (timer, length, characters, what) in rows {
        let wanted = name.is_none_or(|n| timer.to_lowercase().starts_with(&n.to_lowercase()));
        if wanted {
            let ms = length.as_nanos() as f64 / 1e6;
            t.row([timer.to_owned(), characters.to_string(), format!("{ms:.1}"), what.to_owned()]);
        }
    }
    if t.rows.is_empty() {
        return Err(failure(
            format!("no timer is called \"{}\"", name.unwrap_or_default()),
            "give STO, HOLD, RT1, RT2 or character",
        ));
    }
    Ok(t)
}
