//! A frame is one line of at most 100 columns: time, who to whom, command, answer, values.

use super::Options;
use crate::capture::{Item, between};
use crate::exchange::Exchange;
use crate::exchange::view::{FrameView, Line, Tone, write_value};
use crate::time::Instant;
use core::fmt::Write;

/// Columns of a line.
pub const WIDTH: usize = 100;
/// Where details under a line begin.
const INDENT: usize = 13;
/// Columns for who talks to whom: `3D0DFD0001 > secondary`.
const WHO: usize = 23;

/// Appends an item: its lines, and under each what the verbosity adds.
pub fn write_item(item: &Item, options: Options, out: &mut String) {
    match item {
        Item::Exchange(e) => write_exchange(e, options, out),
        Item::Damaged(d) => {
            let text = format!("damaged: {}", d.damage);
            write_apart(d.octets.first().map_or(Instant::ZERO, |o| o.at), &text, options, out);
            write_octets(d.octets.iter().map(|o| o.value), options, out);
        }
        Item::Noise(n) => {
            let text = format!("noise: {}", plural(n.octets.len(), "octet"));
            write_apart(n.octets.first().map_or(Instant::ZERO, |o| o.at), &text, options, out);
            write_octets(n.octets.iter().map(|o| o.value), options, out);
        }
    }
}

/// `1 octet`, `2 octets`.
pub fn plural(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

fn write_exchange(e: &Exchange, options: Options, out: &mut String) {
    for line in e.lines() {
        match line {
            Line::Frame(f) => write_frame(&f, options, out),
            Line::Between(i) => write_item(&between(i), options, out),
        }
    }
}

fn write_apart(at: Instant, text: &str, options: Options, out: &mut String) {
    let start = out.len();
    write_time(at, options, out);
    let _ = write!(out, "{:<WHO$} {text}", "?");
    finish(start, Tone::Bad, options, out);
}

fn write_time(at: Instant, options: Options, out: &mut String) {
    if !options.times {
        return;
    }
    // Right-aligned digits by hand: this is the hottest line of `decode`.
    let us = at.as_nanos() / 1_000;
    let mut digits = [b' '; 12];
    let mut n = us;
    for (i, d) in digits.iter_mut().enumerate().rev() {
        if i == 5 {
            *d = b'.';
            continue;
        }
        if n == 0 && i < 4 {
            break;
        }
        *d = b'0' + (n % 10) as u8;
        n /= 10;
    }
    if n > 0 {
        let _ = write!(out, "{}.{:06}", us / 1_000_000, us % 1_000_000);
    } else {
        out.push_str(core::str::from_utf8(&digits).unwrap_or(""));
    }
    out.push(' ');
}

fn write_frame(f: &FrameView<'_>, options: Options, out: &mut String) {
    let e = f.exchange();
    let start = out.len();
    write_time(f.at(), options, out);
    let who = out.len();
    f.write_who(out);
    pad(out, who + WHO);
    let command = e.command();
    let _ = write!(out, " {command:>3} ");
    let mut tone = Tone::Plain;
    if f.is_request() {
        out.push_str(e.command_name());
        if f.try_number > 1 {
            let _ = write!(out, " (try {})", f.try_number);
        }
        if f.last_try && e.is_unanswered() {
            let _ = write!(out, " - {}", e.transaction.outcome);
            tone = Tone::Bad;
        }
    } else {
        tone = e.tone();
        if e.is_burst() {
            // The same burst comes again and again: its values matter more than the command's name.
            out.push_str("burst, ");
        } else if e.transaction.tries.is_empty() {
            // No request above it tells the name.
            out.push_str(e.command_name());
            out.push_str(": ");
        }
        e.write_response(out);
        let from = out.len();
        e.write_device_status_short(out);
        if out.len() > from {
            out.insert_str(from, " [");
            out.push(']');
        }
    }
    write_values(f, start, out);
    finish(start, tone, options, out);
    if options.verbosity > 0 {
        write_details(f, options, out);
    }
}

/// Appends values while they fit, then how many are left.
fn write_values(f: &FrameView<'_>, start: usize, out: &mut String) {
    let mut separator = if f.is_request() { ": " } else { " " };
    let mut left = 0;
    let mut slot_name = String::new();
    let mut fields = f.fields().filter(|v| !v.is_minor()).peekable();
    while let Some(field) = fields.next() {
        // In a reply the code of a slot is the name of its value.
        if field.found.slot.is_some() && field.found.field.name == "code" && !f.is_request() {
            slot_name.clear();
            write_value(&field, &mut slot_name);
            continue;
        }
        if left > 0 {
            left += 1;
            continue;
        }
        let from = out.len();
        out.push_str(separator);
        if field.found.slot.is_none() {
            out.push_str(field.found.field.name);
            out.push(' ');
        } else if !f.is_request() {
            out.push_str(&slot_name);
            out.push(' ');
        }
        write_value(&field, out);
        // Room for " +12 more" is kept, except for the last value.
        let room = if fields.peek().is_some() { WIDTH - 9 } else { WIDTH };
        if out.len() - start > room && out[start..].chars().count() > room {
            out.truncate(from);
            left = 1;
        }
        separator = ", ";
    }
    let surplus = f.surplus();
    if left > 0 {
        let _ = write!(out, " +{left} more");
    } else if !surplus.is_empty() {
        let _ = write!(out, "{separator}{} without known meaning", plural(surplus.len(), "octet"));
    }
}

fn write_details(f: &FrameView<'_>, options: Options, out: &mut String) {
    let e = f.exchange();
    write_octets(f.octets(), options, out);
    let frame = f.frame();
    if let Some([first, second]) = frame.status() {
        let _ = write!(out, "{:INDENT$}status {first:02X} {second:02X}: ", "");
        e.write_response(out);
        out.push_str("; device: ");
        let from = out.len();
        e.write_device_status(out);
        if out.len() == from {
            out.push_str("nothing to report");
        }
        out.push('\n');
        let odd: Vec<&str> = e.transaction.oddities.names().collect();
        if !odd.is_empty() {
            let _ = writeln!(out, "{:INDENT$}odd: {}", "", odd.join("; "));
        }
        if let Some(t) = e.transaction.response_time {
            let _ = writeln!(
                out,
                "{:INDENT$}{} of preamble; answer began after {:.1} ms",
                "",
                plural(f.preambles(), "octet"),
                t.as_nanos() as f64 / 1e6
            );
        }
    }
    if options.verbosity > 1 {
        for field in f.fields() {
            let span = field.span();
            let _ = write!(out, "{:INDENT$}@{:<3} ", "", span.start);
            let from = out.len();
            for o in field.found.octets(field.data) {
                let _ = write!(out, "{o:02X}");
            }
            let shown = out.len() - from;
            if shown > 24 {
                out.truncate(from + 21);
                out.push_str("...");
            }
            pad(out, from + 24);
            let _ = write!(out, " {:<30} ", field.found.name().to_string());
            write_value(&field, out);
            out.push('\n');
        }
        let surplus = f.surplus();
        if !surplus.is_empty() {
            let from = frame.data_offset() + frame.data().len() - surplus.len();
            let _ = writeln!(
                out,
                "{:INDENT$}@{from:<3} {} without known meaning",
                "",
                plural(surplus.len(), "octet")
            );
        }
    }
}

/// Octets in hex, 24 a line, at verbosity 1 and above.
fn write_octets(octets: impl Iterator<Item = u8>, options: Options, out: &mut String) {
    if options.verbosity == 0 {
        return;
    }
    for (i, o) in octets.enumerate() {
        if i % 24 == 0 {
            if i > 0 {
                out.push('\n');
            }
            let _ = write!(out, "{:INDENT$}", "");
        } else {
            out.push(' ');
        }
        let _ = write!(out, "{o:02X}");
    }
    out.push('\n');
}

fn pad(out: &mut String, to: usize) {
    while out.len() < to {
        out.push(' ');
    }
}

fn finish(start: usize, tone: Tone, options: Options, out: &mut String) {
    if options.colour && tone != Tone::Plain {
        out.insert_str(start, if tone == Tone::Bad { "\x1b[31m" } else { "\x1b[33m" });
        out.push_str("\x1b[0m");
    }
    out.push('\n');
}
