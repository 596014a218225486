//! `looprig listen`: what passes on a line, decoded and logged; nothing is sent.

use super::args::ListenArgs;
use super::lines::{log_header, open_series, utc_now_words};
use super::listening::{Listening, Terms, file_names};
use super::open_line::OpenLine;
use super::output::{Ended, Failure, Output, say, tell};
use super::packets::PacketFile;
use super::wishes::{Wishes, hold_back_signals};
use crate::line::Line;
use crate::report::Format;
use core::fmt::Write;
use core::time::Duration;

/// Runs it until Ctrl-C, the line's end, or the time that was given.
pub fn run(args: &ListenArgs, out: &mut Output) -> Result<Ended, Failure> {
    hold_back_signals();
    let mut line = args.line.open_to_listen()?;
    let catalogue = args.described.load_with(&line)?;
    let wishes = Wishes::hear(line.interrupt_handle())?;
    // One header, so that the log and the packets have the same time 0.
    let header = log_header(&line);
    // The log first: one that is refused must leave no empty capture behind.
    let log = args.log.as_deref().map(|path| open_series(path, args.rotate, header.clone())).transpose()?;
    let packets = args.pcap.as_deref().map(|path| PacketFile::create(path, &header)).transpose()?;
    if !out.quiet {
        let start = utc_now_words();
        say(&format!("Listening on {}; time 0 is {start}; Ctrl-C ends it.", line.describe()));
    }
    let terms = Terms {
        log,
        packets,
        revision: args.revision,
        catalogue,
        length: args.line.listening_s(args.seconds).map(Duration::from_secs_f64),
        statistics: args.stats.map(Duration::from_secs_f64),
    };
    // On virtual time nothing is lost while somebody pauses, and output would be left out.
    if (terms.log.is_some() || terms.packets.is_some()) && !args.line.is_mock() {
        // Whoever stops the terminal or pages through the output does not stop the log.
        out.step_aside();
    }
    let mut listening = Listening::new(&mut line, terms, out)?;
    let listened = listening.listen(&mut line, &wishes);
    // Whatever ended it, what was heard is logged and shown; the first failure is the one to tell.
    let finished = listening.finish(line.now());
    let log = listening.log().map(file_names);
    let summary = listening.summary().text();
    let summary_is_empty = listening.summary().frames() == (0, 0);
    if let OpenLine::Sampled(recording) = &mut line {
        recording.take_notes().iter().for_each(|note| tell(note));
    }
    if let Some(log) = &log
        && matches!(&listened, Err(e) if !e.is_closed_pipe())
    {
        out.say(&format!("looprig: what was heard until then is in {log}"));
    }
    // Of a recording in which nothing was heard all is said.
    let empty = matches!(&line, OpenLine::Sampled(_)) && listened.is_err() && summary_is_empty;
    if out.options.format == Format::Text && !out.quiet && !empty {
        let _ = write!(out.text(), "\n{summary}");
        if let Some(log) = &log {
            let _ = writeln!(out.text(), "The log is in {log}; `looprig decode` reads it.");
        }
        if let Some(path) = &args.pcap {
            let path = path.display();
            let _ = writeln!(
                out.text(),
                "The packets are in {path}; network analysers and `looprig decode` read them."
            );
        }
    }
    let shown = out.step_back();
    listened.and_then(|ended| finished.and(shown).map(|()| ended))
}
