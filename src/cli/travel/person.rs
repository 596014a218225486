//! Whoever answers: somebody at the terminal, or a file of answers [TV-30] [TV-32].

use crate::cli::output::{prompt, say};
use crate::commission::answers::Answers;
use crate::commission::person::{Answer, Kind, Person, Question, Typed};
use crate::commission::travel::run::MAY_STAY_OPEN;
use crate::host::stimulus::Why;
use core::time::Duration;
use std::cell::RefCell;
use std::io::{BufRead, IsTerminal, Read, Write};
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};

/// How often a wait for a line looks whether it is to end.
const LOOK: Duration = Duration::from_millis(50);
/// Longest line that is read, octets.
const LONGEST: u64 = 4096;

/// Somebody who answers; clones are the same one, who is asked by the test and by whoever moves the set point.
#[derive(Clone)]
pub struct Asked(Rc<RefCell<Who>>);

struct Who {
    from: From,
    /// Nothing but results is to be shown.
    is_quiet: bool,
    /// Nothing real moves, so leave is given by looprig itself.
    is_mock: bool,
    /// Whether Ctrl-C was pressed.
    ended: Arc<AtomicBool>,
}

enum From {
    /// Lines of standard input; the thread that reads them is started with the first question.
    Terminal(Option<Receiver<String>>),
    File(Answers),
}

impl Asked {
    /// A file of answers, or else the terminal.
    pub fn new(file: Option<Answers>, is_mock: bool, is_quiet: bool, ended: Arc<AtomicBool>) -> Asked {
        let from = file.map_or(From::Terminal(None), From::File);
        Asked(Rc::new(RefCell::new(Who { from, is_quiet, is_mock, ended })))
    }

    /// Answers of a file that nothing asked for.
    pub fn unused(&self) -> Vec<String> {
        match &self.0.borrow().from {
            From::File(answers) => answers.unused().map(str::to_owned).collect(),
            From::Terminal(_) => Vec::new(),
        }
    }
}

impl Person for Asked {
    fn ask(&mut self, question: &Question) -> Answer {
        self.0.borrow_mut().ask(question)
    }

    fn tell(&mut self, words: &str) {
        if !self.0.borrow().is_quiet {
            say(words);
        }
    }
}

impl Who {
    fn ask(&mut self, question: &Question) -> Answer {
        if self.ended.load(Ordering::SeqCst) {
            return Answer::Stop(Why::Said);
        }
        if let From::File(answers) = &mut self.from {
            let written = answers.answer(&question.id).cloned();
            if let Some(written) = written {
                if !self.is_quiet {
                    for caution in &question.cautions {
                        say(&format!("! {caution}"));
                    }
                    say(&format!("{} {} ({})", question.words, written.text, written.place));
                }
                let line = written.text;
                let mut next = |n: usize| if n == 0 { Typed::Line(line.clone()) } else { Typed::Gone };
                return question.asked(&mut next, &mut |wrong| {
                    say(&format!("{}: {}: {wrong}", written.place, question.id));
                });
            }
        }
        if let Some(answer) = self.of_a_mock(question) {
            return answer;
        }
        match &mut self.from {
            // A file need not know it.
            From::File(_) if MAY_STAY_OPEN.contains(&question.id.as_str()) => Answer::DontKnow,
            From::File(_) => {
                say(&format!("{}\n  the file of answers has none for {}", question.words, question.id));
                question.asked(&mut |_| Typed::Gone, &mut |_| {})
            }
            From::Terminal(lines) => {
                for caution in &question.cautions {
                    say(&format!("! {caution}"));
                }
                let lines = lines.get_or_insert_with(read_lines);
                if std::io::stdin().is_terminal() {
                    // What was typed before the question was shown is no answer to it.
                    while lines.try_recv().is_ok() {}
                }
                let ended = &self.ended;
                question.asked(&mut |_| next_line(question, lines, ended), &mut |wrong| {
                    say(&format!("  {wrong}"))
                })
            }
        }
    }

    /// What looprig answers by itself where nothing is real.
    fn of_a_mock(&self, question: &Question) -> Option<Answer> {
        let nobody_looks = ["/seen", "/time", "/supply_before", "/supply_during"]
            .into_iter()
            .any(|end| question.id.ends_with(end));
        match question.kind {
            Kind::YesNo if self.is_mock => Some(Answer::Yes),
            _ if self.is_mock && nobody_looks => Some(Answer::DontKnow),
            _ => None,
        }
    }
}

/// What is typed behind a question, on standard error, where results do not go.
fn next_line(question: &Question, lines: &Receiver<String>, ended: &AtomicBool) -> Typed {
    let hint = match &question.kind {
        Kind::Enter => "[Enter]".to_owned(),
        Kind::Number { unit, .. } if unit.is_empty() => "[number]".to_owned(),
        Kind::Number { unit, .. } => format!("[{unit}]"),
        Kind::YesNo => "[yes/no]".to_owned(),
        Kind::Choice(list) => {
            for (i, choice) in list.iter().enumerate() {
                say(&format!("  {} {}: {}", i + 1, choice.name, choice.words));
            }
            format!("[1-{}]", list.len())
        }
        Kind::Text => "[text]".to_owned(),
    };
    prompt(&question.words, &hint);
    loop {
        if ended.load(Ordering::SeqCst) {
            // What is told next begins a line of its own.
            let _ = writeln!(std::io::stderr());
            return Typed::Ended;
        }
        match lines.recv_timeout(LOOK) {
            Ok(line) => return Typed::Line(line),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Typed::Gone,
        }
    }
}

/// Lines of standard input. Nobody can be woken out of reading them, so a thread does it, and dies with the program.
fn read_lines() -> Receiver<String> {
    let (give, take) = channel();
    std::thread::spawn(move || {
        let mut stdin = std::io::stdin().lock();
        loop {
            let mut line = Vec::new();
            match (&mut stdin).take(LONGEST).read_until(b'\n', &mut line) {
                Ok(n) if n > 0 => {}
                _ => return,
            }
            let text = String::from_utf8_lossy(&line).trim_end_matches(['\n', '\r']).to_owned();
            if give.send(text).is_err() {
                return;
            }
        }
    });
    take
}
