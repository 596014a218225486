//! Standard output, and how a command ends.

use super::args::{Args, Colour};
use super::aside::Aside;
use crate::capture::io_words;
use crate::report::Options;
use crate::report::text::write_wrapped_to;
use core::fmt;
use std::io::{self, IsTerminal, Write};

/// How a command ended that could run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ended {
    /// Everything is as it should be.
    Fine,
    /// A check failed, or nobody answered.
    Failed,
    /// Something could not be done or judged; what could be done was.
    CouldNot,
}

impl Ended {
    /// The exit code.
    pub const fn code(self) -> u8 {
        match self {
            Ended::Fine => 0,
            Ended::Failed => 1,
            Ended::CouldNot => 2,
        }
    }
}

/// Why a command could not run: what was being done, what is wrong, what to do next.
#[derive(Debug)]
pub struct Failure {
    doing: String,
    wrong: String,
    next: String,
    closed_pipe: bool,
}

impl Failure {
    /// A failure in three sentences without full stops; `next` may be empty where `wrong` says it.
    pub fn new(doing: impl Into<String>, wrong: impl Into<String>, next: impl Into<String>) -> Self {
        Failure { doing: doing.into(), wrong: wrong.into(), next: next.into(), closed_pipe: false }
    }

    /// A failure whose text says all of it already.
    pub fn told(text: impl Into<String>) -> Self {
        Failure { doing: String::new(), wrong: text.into(), next: String::new(), closed_pipe: false }
    }

    /// Whether the reader of our output has gone away, which is no error.
    pub fn is_closed_pipe(&self) -> bool {
        self.closed_pipe
    }

    /// The exit code: 2, or 0 for a closed pipe.
    pub fn code(&self) -> u8 {
        if self.closed_pipe { 0 } else { 2 }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.doing.is_empty() {
            write!(f, "{}: ", self.doing)?;
        }
        f.write_str(&self.wrong)?;
        if !self.next.is_empty() {
            write!(f, "\n  next: {}", self.next)?;
        }
        Ok(())
    }
}

impl std::error::Error for Failure {}

impl From<crate::line::Error> for Failure {
    fn from(e: crate::line::Error) -> Self {
        Failure::told(e.to_string())
    }
}

/// Tells people something on standard error. Where nobody can read that, it is not worth dying for.
pub fn tell(what: &dyn fmt::Display) {
    say(&format!("looprig: {what}"));
}

/// Columns of a line on a terminal: a small one has no more.
const WIDTH: usize = 80;

/// Like [`tell`], without our name in front.
pub fn say(text: &str) {
    write(text, "");
}

/// A question, and below it a hint of what is to be typed; the cursor stays behind that.
pub fn prompt(question: &str, hint: &str) {
    write(question, &format!("{hint} > "));
}

fn write(text: &str, behind: &str) {
    let mut stderr = io::stderr().lock();
    let text = shown(text, behind, stderr.is_terminal());
    let _ = stderr.write_all(text.as_bytes()).and_then(|()| stderr.flush());
}

/// A terminal breaks long lines in the middle of words; programs rather have them whole.
fn shown(text: &str, behind: &str, is_terminal: bool) -> String {
    let text = if is_terminal { folded(text) } else { format!("{text}\n") };
    text + behind
}

/// The lines of `text`, those that are too long broken between words below their own beginning.
fn folded(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let indent = line.len() - line.trim_start_matches(' ').len();
        write_wrapped_to(WIDTH, line, indent + 2, &mut out);
    }
    out
}

/// Collects text and writes it out in large pieces, or where a command has to wait.
pub struct Output {
    /// How results are to be written.
    pub options: Options,
    /// Nothing but results: no progress, no summary.
    pub quiet: bool,
    text: String,
    to: To,
}

/// Who writes it.
enum To {
    Here(Box<dyn Write + Send>),
    Aside(Aside),
}

const PIECE: usize = 1 << 16;

impl Output {
    /// For these arguments.
    pub fn new(args: &Args) -> Self {
        let colour = match args.colour {
            Colour::Always => true,
            Colour::Never => false,
            Colour::Auto => io::stdout().is_terminal() && std::env::var_os("NO_COLOR").is_none(),
        };
        let options = Options { format: args.format.into(), verbosity: args.verbose, times: true, colour };
        Output::to(Box::new(io::stdout()), options, args.quiet)
    }

    /// One that goes elsewhere than to standard output.
    pub fn to(to: Box<dyn Write + Send>, options: Options, quiet: bool) -> Self {
        Output { options, quiet, text: String::new(), to: To::Here(to) }
    }

    /// From now on nobody waits for a reader: what is not taken in time is left out, and that is told.
    pub fn step_aside(&mut self) {
        if let To::Here(to) = &mut self.to {
            let to = std::mem::replace(to, Box::new(io::sink()));
            self.to = To::Aside(Aside::start(to));
        }
    }

    /// Ends that: waits until all has been taken.
    ///
    /// # Errors
    /// Standard output cannot be written.
    pub fn step_back(&mut self) -> Result<(), Failure> {
        match std::mem::replace(&mut self.to, To::Here(Box::new(io::sink()))) {
            here @ To::Here(_) => {
                self.to = here;
                self.flush()
            }
            To::Aside(aside) => {
                let (to, written) = aside.join(std::mem::take(&mut self.text));
                self.to = To::Here(to);
                written.map_err(|e| unwritten(&e))
            }
        }
    }

    /// Tells people something, without our name in front.
    pub fn say(&mut self, text: &str) {
        match &mut self.to {
            To::Here(_) => say(text),
            To::Aside(aside) => aside.say(text),
        }
    }

    /// The text that is being collected: append to it, then call [`Output::pass_on`].
    pub fn text(&mut self) -> &mut String {
        &mut self.text
    }

    /// Writes out what has been collected once it is a large piece.
    ///
    /// # Errors
    /// Standard output cannot be written.
    pub fn pass_on(&mut self) -> Result<(), Failure> {
        if self.text.len() >= PIECE { self.flush() } else { Ok(()) }
    }

    /// Writes out what has been collected.
    ///
    /// # Errors
    /// Standard output cannot be written.
    pub fn flush(&mut self) -> Result<(), Failure> {
        let result = match &mut self.to {
            To::Here(to) => to.write_all(self.text.as_bytes()).and_then(|()| to.flush()),
            To::Aside(aside) => aside.write(&self.text),
        };
        self.text.clear();
        result.map_err(|e| unwritten(&e))
    }
}

fn unwritten(e: &io::Error) -> Failure {
    Failure {
        doing: "writing to standard output".into(),
        wrong: io_words(e),
        next: "make room, or send the output elsewhere".into(),
        closed_pipe: e.kind() == io::ErrorKind::BrokenPipe,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_messages_are_broken_between_words() {
        let word = "octets ".repeat(20);
        let text = folded(&format!("looprig: reading: {word}\n  next: {word}\n"));
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 4);
        assert!(lines.iter().all(|l| l.len() <= 80 && l.ends_with("octets")), "{text}");
        assert!(lines[1].starts_with("  octets") && lines[3].starts_with("    octets"), "{text}");
        assert_eq!(folded("short\n  next: short"), "short\n  next: short\n");
        // A question too; what is to be typed stays on a line of its own, without an end.
        let question = "Now watch for this: output while the set point goes from end to end. The valve goes to 0 %, to 100 % and \
                        to 50 %, for 45 s. May it move now?";
        let asked = shown(question, "[yes/no] > ", true);
        let lines: Vec<&str> = asked.lines().collect();
        assert!(lines.iter().all(|l| l.chars().count() <= 80) && lines.len() == 3, "{asked}");
        assert!(lines[1].ends_with("May it move now?") && asked.ends_with("\n[yes/no] > "), "{asked}");
        assert_eq!(shown(question, "[1-2] > ", false), format!("{question}\n[1-2] > "));
    }
}
