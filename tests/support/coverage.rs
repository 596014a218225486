//! Which layout of which command is shown by whose data: the table in `protocol-notes/coverage.md`.
//!
//! A layout is shown by a source if the source's data fill it whole, with nothing left over.

use crate::support::exchanges::ByHand;
use crate::support::vectors::{EXCEPTIONS, Row};
use crate::support::{Fixture, meaning};
use looprig::app::command::{self, CommandSpec, Decoded, Direction, Grade, Item, Layout, Revision, layout};
use looprig::app::status::CodeClass;
use looprig::exchange::Interpreter;
use std::fmt::Write;

/// What a layout has to say.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Content {
    /// Named values.
    Values,
    /// Nothing: the direction carries no data.
    Nothing,
    /// Octets whose meaning no source explains.
    Unknown,
}

/// One layout of one direction of a command, in the revisions that share it.
pub struct Line {
    pub row: &'static CommandSpec,
    pub direction: Direction,
    /// Oldest first.
    pub revisions: Vec<Revision>,
    pub content: Content,
    layout: Layout,
    /// Files of `fixtures/frames` that are frames or replies without a frame.
    pub frames: Vec<String>,
    /// Files of `fixtures/frames` that are direct PDUs.
    pub direct: Vec<String>,
    /// Numbers in `fixtures/vectors/tshark.csv` of messages that the other program splits as looprig does.
    pub vectors: Vec<u32>,
    /// Files of `fixtures/exchanges`, one entry an exchange.
    pub by_hand: Vec<String>,
}

impl Line {
    /// Whether no source shows it.
    pub fn is_open(&self) -> bool {
        self.frames.is_empty() && self.direct.is_empty() && self.vectors.is_empty() && self.by_hand.is_empty()
    }

    fn revisions_text(&self) -> String {
        match self.revisions[..] {
            [one] => one.to_string(),
            _ => format!("{}-{}", self.revisions[0], self.revisions[self.revisions.len() - 1]),
        }
    }
}

/// Every layout of every row; revisions whose layouts are equal share a line.
fn lines() -> Vec<Line> {
    let mut out: Vec<Line> = Vec::new();
    for row in command::all() {
        for direction in [Direction::Request, Direction::Reply] {
            let first = out.len();
            for revision in Revision::NEWEST_FIRST.into_iter().rev() {
                let Some(form) = row.form(revision) else { continue };
                let layout = form.layout(direction);
                let same = |l: &&mut Line| format!("{:?}", l.layout) == format!("{layout:?}");
                if let Some(line) = out[first..].iter_mut().find(same) {
                    line.revisions.push(revision);
                    continue;
                }
                let content = match layout {
                    [] => Content::Nothing,
                    [Item::Rest(field)] if field.name == "raw_data" => Content::Unknown,
                    _ => Content::Values,
                };
                out.push(Line {
                    row,
                    direction,
                    revisions: vec![revision],
                    content,
                    layout,
                    frames: Vec::new(),
                    direct: Vec::new(),
                    vectors: Vec::new(),
                    by_hand: Vec::new(),
                });
            }
        }
    }
    out
}

/// Whether data fill a layout with nothing left over.
pub fn fills(layout: Layout, data: &[u8]) -> bool {
    let mut found = Decoded::default();
    layout::decode(layout, data, &mut found);
    found.complete && usize::from(found.surplus_from) == data.len()
}

/// The line that these data show, if any. Without a revision it is the newest one that the data fill.
fn shown<'a>(
    lines: &'a mut [Line],
    number: u16,
    direction: Direction,
    revision: Option<Revision>,
    data: &[u8],
) -> Option<&'a mut Line> {
    let of_command = |l: &&mut Line| l.row.number == number && l.direction == direction;
    let mut candidates: Vec<&mut Line> = lines.iter_mut().filter(of_command).collect();
    candidates.sort_by_key(|l| std::cmp::Reverse(l.revisions.last().copied()));
    candidates
        .into_iter()
        .filter(|l| revision.is_none_or(|r| l.revisions.contains(&r)))
        .find(|l| l.content != Content::Unknown && fills(l.layout, data))
}

/// The table, with the data that each line is shown by.
pub fn coverage(fixtures: &[Fixture], vectors: &[Row], by_hand: &[ByHand]) -> Vec<Line> {
    let mut lines = lines();
    for f in fixtures {
        show_fixture(&mut lines, f);
    }
    for row in vectors.iter().filter(|r| r.is_split() && EXCEPTIONS.iter().all(|e| e.0 != r.number)) {
        let exchange = meaning(&row.label, &row.octets, &mut Interpreter::new(Some(row.revision())));
        let Some(frame) = exchange.transaction.any_frame() else { continue };
        let direction = if frame.status().is_some() { Direction::Reply } else { Direction::Request };
        let number = u16::from(frame.command());
        if let Some(line) = shown(&mut lines, number, direction, Some(row.revision()), frame.data()) {
            line.vectors.push(row.number);
        }
    }
    for e in by_hand {
        for &revision in &e.revisions {
            if let Some(line) = shown(&mut lines, e.command, e.direction, Some(revision), &e.data)
                && !(revision != e.revisions[0] && line.revisions.contains(&e.revisions[0]))
            {
                line.by_hand.push(e.file.clone());
            }
        }
    }
    lines
}

fn show_fixture(lines: &mut [Line], f: &Fixture) {
    match f.key("kind") {
        "direct-pdu" => {
            let number = u16::from_be_bytes([f.octets[2], f.octets[3]]);
            let is_reply = f.name.contains("-reply-");
            // Behind the byte count a reply has its response code; a refusal has nothing else.
            let (direction, data) = match is_reply {
                true if f.octets[5] != 0 && f.octets.len() == 6 => return,
                true => (Direction::Reply, &f.octets[6..]),
                false => (Direction::Request, &f.octets[5..]),
            };
            if let Some(line) = shown(lines, number, direction, None, data) {
                line.direct.push(f.name.clone());
            }
        }
        "reply-payload" => {
            let number = f.name.split('-').find_map(|part| part.strip_prefix("cmd")?.parse().ok());
            let number = number.unwrap_or_else(|| panic!("{}: no command in the name", f.name));
            if let Some(line) = shown(lines, number, Direction::Reply, None, &f.octets[2..]) {
                line.frames.push(f.name.clone());
            }
        }
        _ => {
            let exchange = meaning(&f.name, &f.octets, &mut Interpreter::new(None));
            let Some(frame) = exchange.transaction.any_frame() else { return };
            let refused =
                exchange.class().is_some_and(|c| c != CodeClass::Success) && frame.data().is_empty();
            let direction = if frame.status().is_some() { Direction::Reply } else { Direction::Request };
            if refused {
                return;
            }
            if let Some(line) = shown(lines, frame.command().into(), direction, None, frame.data()) {
                line.frames.push(f.name.clone());
            }
        }
    }
}

/// How many of something, or nothing.
fn count(n: usize) -> String {
    if n == 0 { String::new() } else { n.to_string() }
}

fn table(out: &mut String, lines: &[&Line]) {
    out.push_str(
        "| command | what | grade | direction | revisions | frames | tshark | direct | by hand |\n\
         |---|---|---|---|---|---|---|---|---|\n",
    );
    for l in lines {
        let direction = if l.direction == Direction::Request { "request" } else { "reply" };
        let by_hand = match (l.is_open(), l.content) {
            (true, _) => "**open**".to_owned(),
            (false, Content::Nothing) if !l.by_hand.is_empty() => "none".to_owned(),
            _ => count(l.by_hand.len()),
        };
        let _ = writeln!(
            out,
            "| {} | {} | {} | {direction} | {} | {} | {} | {} | {by_hand} |",
            l.row.number,
            l.row.name,
            l.row.grade.letter(),
            l.revisions_text(),
            count(l.frames.len()),
            count(l.vectors.len()),
            count(l.direct.len()),
        );
    }
}

/// The page.
pub fn page(lines: &[Line]) -> String {
    let known = |l: &&Line| l.content != Content::Unknown;
    let sure: Vec<&Line> = lines.iter().filter(|l| l.row.grade != Grade::Recalled).filter(known).collect();
    let recalled: Vec<&Line> =
        lines.iter().filter(|l| l.row.grade == Grade::Recalled).filter(known).collect();
    let unknown: Vec<&Line> = lines.iter().filter(|l| l.content == Content::Unknown).collect();
    let mut out = String::from(
        "# Coverage\n\n\
         Which layout of which command is shown by whose data. Made by `cargo run --example coverage`; a test keeps it equal.\n\n\
         One line a layout: revisions with equal layouts share it. A source shows a layout if its data fill it whole and \
         nothing is left over.\n\n\
         | column | counts | checked by |\n|---|---|---|\n\
         | frames | published frames and payloads of `fixtures/frames`; whose revision is not printed, the newest layout that they fill | tests/library/published_frames.rs: values of many, there and back of all |\n\
         | tshark | messages of `fixtures/vectors/tshark.csv` that another program splits into the same fields | tests/library/tshark_vectors.rs: every field |\n\
         | direct | published direct PDUs | tests/library/published_frames.rs, tests/library/common_practice.rs |\n\
         | by hand | exchanges of `fixtures/exchanges`, put together from command-facts.md; `none` where the notes say that there are no data | tests/library/exchanges.rs: every value, there and back |\n\n\
         More messages than the table counts are compared with tshark at each run of `tests/outside/tshark_exchanges.py`.\n\n",
    );
    let numbers = |lines: &[&Line]| {
        let rows: std::collections::BTreeSet<u16> = lines.iter().map(|l| l.row.number).collect();
        let open = lines.iter().filter(|l| l.is_open()).count();
        let with = |f: fn(&Line) -> bool| lines.iter().filter(|l| f(l)).count();
        format!(
            "{} commands, {} layouts: {} by frames, {} by tshark, {} by direct PDUs, {} by hand, {open} open.\n\n",
            rows.len(),
            lines.len(),
            with(|l| !l.frames.is_empty()),
            with(|l| !l.vectors.is_empty()),
            with(|l| !l.direct.is_empty()),
            with(|l| !l.by_hand.is_empty()),
        )
    };
    out.push_str("## Grades H and M\n\n");
    out.push_str(&numbers(&sure));
    table(&mut out, &sure);
    out.push_str("\n## Grade R\n\nLayouts from memory; nothing of them is published.\n\n");
    if recalled.is_empty() {
        out.push_str("None: no command of grade R has a layout.\n");
    } else {
        table(&mut out, &recalled);
    }
    out.push_str("\n## No layout known\n\nNo source says what the data are; they are shown as hex.\n\n");
    out.push_str("| command | what | grade | direction | revisions |\n|---|---|---|---|---|\n");
    for l in unknown {
        let direction = if l.direction == Direction::Request { "request" } else { "reply" };
        let grade = l.row.grade.letter();
        let _ = writeln!(
            out,
            "| {} | {} | {grade} | {direction} | {} |",
            l.row.number,
            l.row.name,
            l.revisions_text()
        );
    }
    out
}
