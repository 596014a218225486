//! One value a line, with who, when and what repeated: made for spreadsheets.

use super::text::plural;
use crate::capture::{Item, between};
use crate::exchange::Exchange;
use crate::exchange::view::Line;
use crate::wave::{Noticed, Remark};
use core::fmt::Write;

/// The names of the columns, as the first line.
pub const HEADER: &str = "time_s,kind,who,command,name,result,response_time_ms,slot,field,value,unit\n";

/// Appends the lines of an item: one for each value, at least one. Data without known meaning are one
/// value called `data`, in hex.
pub fn write_item(item: &Item, out: &mut String) {
    match item {
        Item::Exchange(e) => write_exchange(e, out),
        Item::Damaged(d) => {
            let at = d.octets.first().map_or(0.0, |o| o.at.as_secs_f64());
            let _ = write!(out, "{at:.6},damaged,,,,");
            write_text(&d.damage.to_string(), out);
            out.push_str(",,,,,\n");
        }
        Item::Noise(n) => {
            let at = n.octets.first().map_or(0.0, |o| o.at.as_secs_f64());
            let _ = writeln!(out, "{at:.6},noise,,,,{},,,,,", plural(n.octets.len(), "octet"));
        }
    }
}

/// Appends the line of what was noticed of the signal: its kind is `signal`, its value the end of it, or its level.
pub fn write_remark(remark: &Remark, out: &mut String) {
    let _ = write!(out, "{:.6},signal,,,,", remark.at.as_secs_f64());
    write_text(&remark.to_string(), out);
    let _ = match remark.what {
        Noticed::TwoTalkers => writeln!(out, ",,,until,{:.6},s", remark.until.as_secs_f64()),
        Noticed::Weak { peak_to_peak_v } => writeln!(out, ",,,level,{:.1},mV pp", peak_to_peak_v * 1e3),
    };
}

fn write_exchange(e: &Exchange, out: &mut String) {
    for line in e.lines() {
        let f = match line {
            Line::Frame(f) => f,
            Line::Between(i) => {
                write_item(&between(i), out);
                continue;
            }
        };
        let mut front =
            format!("{:.6},{},", f.at().as_secs_f64(), if f.is_request() { "request" } else { "reply" });
        let mut who = String::new();
        f.write_who(&mut who);
        write_text(&who, &mut front);
        let _ = write!(front, ",{},", e.command());
        write_text(e.command_name(), &mut front);
        front.push(',');
        let mut result = String::new();
        if f.is_request() {
            if f.last_try {
                result = e.transaction.outcome.to_string();
            }
        } else {
            e.write_response(&mut result);
        }
        write_text(&result, &mut front);
        front.push(',');
        if let Some(t) = e.transaction.response_time
            && !f.is_request()
        {
            let _ = write!(front, "{:.3}", t.as_nanos() as f64 / 1e6);
        }
        let mut any = false;
        for field in f.fields() {
            any = true;
            let value = field.cell();
            let unit = field.found.unit_symbol().map(|u| u.to_string()).unwrap_or_default();
            let value =
                if unit.is_empty() { &value } else { value.strip_suffix(&unit).unwrap_or(&value).trim_end() };
            let slot = field.found.slot.map(|s| s.to_string()).unwrap_or_default();
            let _ = write!(out, "{front},{slot},{},", field.found.field.name);
            write_text(value, out);
            out.push(',');
            write_text(&unit, out);
            out.push('\n');
        }
        let surplus = f.surplus();
        if !surplus.is_empty() {
            any = true;
            let _ = write!(out, "{front},,data,");
            surplus.iter().for_each(|o| {
                let _ = write!(out, "{o:02X}");
            });
            out.push_str(",\n");
        }
        if !any {
            let _ = writeln!(out, "{front},,,,");
        }
    }
}

/// Appends text as one cell. A cell that a spreadsheet would take for a formula is made plain text
/// by a leading apostrophe; numbers stay numbers.
pub(super) fn write_text(text: &str, out: &mut String) {
    let formula = text.starts_with(['=', '+', '-', '@', '\t']) && text.parse::<f64>().is_err();
    let guard = if formula { "'" } else { "" };
    if text.contains([',', '"', '\n', '\r']) {
        let _ = write!(out, "\"{guard}{}\"", text.replace('"', "\"\""));
    } else {
        out.push_str(guard);
        out.push_str(text);
    }
}
