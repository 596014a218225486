//! Running the program: its output by lines, with a deadline instead of patience.

use serde_json::Value as Json;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

/// The longest that anything here may take; only a fault makes it pass.
const DEADLINE: Duration = Duration::from_secs(120);

/// A new empty directory.
pub fn scratch(name: &str) -> PathBuf {
    let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("cli-{name}"));
    let _ = fs::remove_dir_all(&dir);
    fs::create_dir_all(&dir).unwrap();
    dir
}

/// The program in a directory, without input.
pub fn looprig(dir: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_looprig"));
    command.current_dir(dir).args(arguments).stdin(Stdio::null()).env_remove("NO_COLOR");
    command
}

/// How it ended.
pub struct Ended {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Ended {
    /// It could not run: exit code 2, no results, a message of three parts with these words in it.
    pub fn refused(&self, words: &[&str]) {
        let Ended { code, out, err } = self;
        assert_eq!((*code, out.as_str()), (2, ""), "{err}");
        let last = err.rfind("looprig: ").unwrap_or_else(|| panic!("no message: {err}"));
        let (what, next) = err[last..].split_once("\n  next: ").unwrap_or_else(|| panic!("no next: {err}"));
        let (doing, wrong) = what["looprig: ".len()..].split_once(": ").unwrap_or_else(|| panic!("{err}"));
        for part in [doing, wrong, next] {
            assert!(part.trim().len() > 4, "{part:?} says nothing, in: {err}");
        }
        // No words of the parser's or the system's own.
        for alien in ["error:", "os error", "For more information", "Usage:", "::", "Some("] {
            assert!(!err.contains(alien), "{alien:?} in: {err}");
        }
        for word in words {
            assert!(err.contains(word), "{word:?} is missing in: {err}");
        }
    }

    /// Every line of the output as JSON.
    pub fn json(&self) -> Vec<Json> {
        let line = |l| serde_json::from_str(l).unwrap_or_else(|e| panic!("{l:?}: {e}"));
        self.out.lines().map(line).collect()
    }
}

/// Runs it to its end.
pub fn run(dir: &Path, arguments: &[&str]) -> Ended {
    Process::start(dir, arguments).end()
}

/// A program that runs; it is killed if a test fails before it ends.
pub struct Process {
    child: Child,
    out: Receiver<String>,
    err: Receiver<String>,
}

fn lines(from: impl Read + Send + 'static) -> Receiver<String> {
    let (give, take) = channel();
    std::thread::spawn(move || {
        let mut from = BufReader::new(from);
        let mut line = String::new();
        while from.read_line(&mut line).is_ok_and(|n| n > 0) && give.send(std::mem::take(&mut line)).is_ok() {
        }
    });
    take
}

impl Process {
    pub fn start(dir: &Path, arguments: &[&str]) -> Process {
        Process::run(looprig(dir, arguments))
    }

    /// One that reads what [`Process::feed`] gives it.
    pub fn fed(dir: &Path, arguments: &[&str]) -> Process {
        let mut command = looprig(dir, arguments);
        command.stdin(Stdio::piped());
        Process::run(command)
    }

    pub fn run(mut command: Command) -> Process {
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let out = lines(child.stdout.take().unwrap());
        let err = lines(child.stderr.take().unwrap());
        Process { child, out, err }
    }

    /// Writes to its standard input.
    pub fn feed(&mut self, octets: &[u8]) {
        self.child.stdin.as_mut().expect("it is fed").write_all(octets).unwrap();
    }

    /// The next line of its output.
    pub fn line(&mut self) -> String {
        self.out.recv_timeout(DEADLINE).expect("a line of output")
    }

    /// The next line of its messages.
    pub fn message(&mut self) -> String {
        self.err.recv_timeout(DEADLINE).expect("a line of a message")
    }

    /// What is still to come of its output.
    pub fn rest(&mut self) -> String {
        Self::drain(&self.out)
    }

    fn drain(from: &Receiver<String>) -> String {
        let mut text = String::new();
        loop {
            match from.recv_timeout(DEADLINE) {
                Ok(line) => text.push_str(&line),
                Err(std::sync::mpsc::RecvTimeoutError::Disconnected) => return text,
                Err(e) => panic!("it does not end ({e}); so far: {text}"),
            }
        }
    }

    pub fn signal(&self, signal: libc::c_int) {
        // SAFETY: a plain call; the child is ours and has not been waited for, so the id is its own.
        let sent = unsafe { libc::kill(self.child.id().cast_signed(), signal) };
        assert_eq!(sent, 0);
    }

    /// The lines of its output that come within so short a time.
    pub fn lines_within(&mut self, time: Duration) -> Vec<String> {
        #[allow(clippy::disallowed_methods)] // a moment at which something is to happen, no result
        let until = std::time::Instant::now() + time;
        let mut lines = Vec::new();
        loop {
            #[allow(clippy::disallowed_methods)]
            let left = until.saturating_duration_since(std::time::Instant::now());
            match self.out.recv_timeout(left) {
                Ok(line) => lines.push(line),
                Err(_) => return lines,
            }
        }
    }

    /// Waits until it is gone after a signal that ends every program.
    pub fn gone(&mut self) {
        self.child.wait().unwrap();
    }

    /// Ctrl-C, as at a terminal: its input stays open, so that the end of that is not what ends it.
    pub fn interrupt(mut self) -> Ended {
        let stdin = self.child.stdin.take();
        self.signal(libc::SIGINT);
        let ended = self.end();
        drop(stdin);
        ended
    }

    /// Waits for its end.
    pub fn end(mut self) -> Ended {
        drop(self.child.stdin.take());
        let out = Self::drain(&self.out);
        let err = Self::drain(&self.err);
        let status = self.child.wait().unwrap();
        Ended { code: status.code().unwrap_or_else(|| panic!("{status}: {err}")), out, err }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
