//! A frame is one line of at most 100 columns: time, who to whom, command, answer, values.

use super::Options;
use crate::capture::{Item, between};
use crate::exchange::view::{FrameView, Line, Tone, write_value};
use crate::exchange::{Exchange, FieldView};
use crate::time::Instant;
use core::fmt::Write;

/// Columns of a line.
pub const WIDTH: usize = 100;
/// Where details under a line begin.
const INDENT: usize = 13;
/// Columns for who talks to whom: `3D0DFD0001 > secondary`.
const WHO: usize = 23;
/// Columns kept free for ` +12 more`.
const MORE: usize = 9;
/// Columns kept free for ` +255 octets`.
const OCTETS: usize = 12;

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

/// `1 octet`, `2 octets`, `3 retries`.
pub fn plural(n: usize, what: &str) -> String {
    match what.strip_suffix('y') {
        _ if n == 1 => format!("1 {what}"),
        Some(stem) if !stem.ends_with(['a', 'e', 'o', 'u']) => format!("{n} {stem}ies"),
        _ => format!("{n} {what}s"),
    }
}

/// Appends `text` and a line end, broken between words where a line would be longer than [`WIDTH`];
/// the lines after the first begin with `indent` spaces. A word longer than a line is cut.
pub fn write_wrapped(text: &str, indent: usize, out: &mut String) {
    write_wrapped_to(WIDTH, text, indent, out);
}

/// As [`write_wrapped`], with lines of at most `width` columns.
pub fn write_wrapped_to(width: usize, text: &str, indent: usize, out: &mut String) {
    let (mut rest, mut room) = (text.trim_end(), width);
    while let Some((end, at_end)) = rest.char_indices().nth(room) {
        let lead = rest.len() - rest.trim_start().len();
        let cut = match rest[..end].rfind(' ') {
            _ if at_end == ' ' => end,
            Some(space) if space > lead => space,
            _ => end,
        };
        out.push_str(rest[..cut].trim_end());
        let _ = write!(out, "\n{:indent$}", "");
        rest = rest[cut..].trim_start();
        room = width.saturating_sub(indent).max(1);
    }
    out.push_str(rest);
    out.push('\n');
}

/// Whether what stands behind `start` takes more than `room` columns.
fn exceeds(out: &str, start: usize, room: usize) -> bool {
    // Octets are at least as many as columns, and quicker to count.
    out.len() - start > room && out[start..].chars().count() > room
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
    let mut line = out.split_off(start);
    let _ = write!(line, "{:<WHO$} {text}", "?");
    write_wrapped(&line, INDENT, out);
    out.pop();
    finish(start, Tone::Bad, options, out);
}

/// Appends something that happened at `at` and is no frame.
pub fn write_event(at: Instant, text: &str, options: Options, out: &mut String) {
    write_apart(at, text, options, out);
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
            if options.verbosity > 0 {
                // Whom it names has the turn [LL-10].
                let _ = write!(out, "{} may speak next, ", f.master());
            }
        } else if e.transaction.tries.is_empty() {
            // No request above it tells the name.
            out.push_str(e.command_name());
            out.push_str(": ");
        }
        write_answer(f, start, out);
    }
    write_values(f, start, out);
    finish(start, tone, options, out);
    if options.verbosity > 0 {
        write_details(f, options, out);
    }
}

/// Appends the response and, in brackets, what the device reports, as far as they fit: a device that
/// reports everything at once would fill more than a line.
fn write_answer(f: &FrameView<'_>, start: usize, out: &mut String) {
    let e = f.exchange();
    let follows = !f.surplus().is_empty() || f.fields().any(|v| !v.is_minor());
    let room = if follows { WIDTH - OCTETS } else { WIDTH };
    e.write_response(out);
    // ` [+8]` must still fit.
    if exceeds(out, start, room - 5) {
        let end = out[start..].char_indices().nth(room - 8).map_or(out.len(), |(i, _)| start + i);
        out.truncate(end);
        out.push_str("...");
    }
    let from = out.len();
    e.write_device_status_short(out);
    if out.len() == from {
        return;
    }
    out.insert_str(from, " [");
    out.push(']');
    let mut left = 0;
    while exceeds(out, start, room) {
        left += 1;
        let (end, mark) = match out[from..].rfind(", ") {
            Some(comma) => (from + comma, " +"),
            None => (from, " [+"),
        };
        out.truncate(end);
        let _ = write!(out, "{mark}{left}]");
        if end == from {
            break;
        }
    }
}

/// Appends values while they fit, then how many are left.
fn write_values(f: &FrameView<'_>, start: usize, out: &mut String) {
    let mut separator = if f.is_request() { ": " } else { " " };
    let mut left = 0;
    let mut slot_name = String::new();
    let surplus = f.surplus();
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
        let room = match fields.peek() {
            Some(_) => WIDTH - MORE,
            None if surplus.is_empty() => WIDTH,
            None => WIDTH - OCTETS,
        };
        if exceeds(out, start, room) {
            out.truncate(from);
            left = 1;
        }
        separator = ", ";
    }
    if left > 0 {
        let _ = write!(out, " +{left} more");
    } else if !surplus.is_empty() {
        let from = out.len();
        let octets = plural(surplus.len(), "octet");
        let _ = write!(out, "{separator}{octets} without known meaning");
        if exceeds(out, start, WIDTH) {
            out.truncate(from);
            let _ = write!(out, " +{octets}");
        }
    }
}

fn write_details(f: &FrameView<'_>, options: Options, out: &mut String) {
    let e = f.exchange();
    write_octets(f.octets(), options, out);
    let frame = f.frame();
    if let Some([first, second]) = frame.status() {
        let mut line = format!("{:INDENT$}status {first:02X} {second:02X}: ", "");
        e.write_response(&mut line);
        line.push_str("; device: ");
        let from = line.len();
        e.write_device_status(&mut line);
        if line.len() == from {
            line.push_str("nothing to report");
        }
        write_wrapped(&line, INDENT + 14, out);
        write_oddities(e, out);
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
    if f.is_request() && f.last_try && e.is_unanswered() {
        write_oddities(e, out);
    }
    if options.verbosity > 1 {
        let inside = f.inside();
        for field in f.fields() {
            write_place(&field, INDENT, out);
            for one in inside.iter().filter(|i| i.is_in(&field)) {
                let deeper = INDENT + 2;
                write_wrapped(&format!("{:deeper$}inside: {}", "", one.title()), deeper + 8, out);
                one.fields().for_each(|field| write_place(&field, deeper, out));
                write_surplus(one.surplus(), one.surplus_from(), deeper, out);
            }
        }
        let from = frame.data_offset() + frame.data().len() - f.surplus().len();
        write_surplus(f.surplus(), from, INDENT, out);
    }
}

/// A value with its place and octets.
fn write_place(field: &FieldView<'_>, indent: usize, out: &mut String) {
    let mut line = format!("{:indent$}@{:<3} ", "", field.span().start);
    let from = line.len();
    for o in field.found.octets(field.data) {
        let _ = write!(line, "{o:02X}");
    }
    let shown = line.len() - from;
    if shown > 24 {
        // The octets of the whole frame stand above.
        line.truncate(from + 21);
        line.push_str("...");
    }
    pad(&mut line, from + 24);
    let _ = write!(line, " {:<30} ", field.found.name().to_string());
    let indent = line.len();
    write_value(field, &mut line);
    write_wrapped(&line, indent, out);
}

/// How many octets without known meaning stand at `from`.
fn write_surplus(surplus: &[u8], from: usize, indent: usize, out: &mut String) {
    if !surplus.is_empty() {
        let _ = writeln!(
            out,
            "{:indent$}@{from:<3} {} without known meaning",
            "",
            plural(surplus.len(), "octet")
        );
    }
}

fn write_oddities(e: &Exchange, out: &mut String) {
    let odd: Vec<&str> = e.transaction.oddities.names().collect();
    if !odd.is_empty() {
        write_wrapped(&format!("{:INDENT$}odd: {}", "", odd.join("; ")), INDENT + 5, out);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_have_their_plural() {
        let all = [(0, "octet"), (1, "octet"), (2, "octet"), (1, "retry"), (2, "retry"), (2, "relay")];
        let words = all.map(|(n, what)| plural(n, what));
        assert_eq!(words, ["0 octets", "1 octet", "2 octets", "1 retry", "2 retries", "2 relays"]);
    }

    #[test]
    fn long_text_is_broken_between_words() {
        let wrapped = |text: &str| {
            let mut out = String::new();
            write_wrapped(text, 4, &mut out);
            out
        };
        assert_eq!(wrapped("short"), "short\n");
        let (long, edge) = ("x".repeat(98), "y".repeat(100));
        assert_eq!(wrapped(&format!("{long} end")), format!("{long}\n    end\n"));
        assert_eq!(wrapped(&format!("{edge} end")), format!("{edge}\n    end\n"));
        // Nothing to break at: 150 = 100 + 50, behind an indent that is no place to break.
        let (a, b) = ("z".repeat(98), "z".repeat(52));
        assert_eq!(wrapped(&format!("  {}", "z".repeat(150))), format!("  {a}\n    {b}\n"));
    }
}
