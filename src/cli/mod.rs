//! The command line: arguments become a plan, a file a subcommand.

mod args;
mod ask;
mod decode;
#[cfg(unix)]
mod demo;
mod explain;
mod lines;
mod listen;
mod mock;
mod output;
mod scan;

pub use args::Args;
pub use output::{Ended, Failure};

use clap::Parser;
use output::Output;
use std::process::ExitCode;

/// Parses the arguments, runs the command, prints what went wrong. Exit code 0: fine; 1: a check
/// failed or nobody answered; 2: it could not run or nothing could be judged.
pub fn run() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(e) => {
            // Help and version go to standard output and are no failure.
            let code = if e.use_stderr() { 2 } else { 0 };
            let _ = e.print();
            return ExitCode::from(code);
        }
    };
    let mut output = Output::new(&args);
    let ended = match &args.command {
        #[cfg(unix)]
        args::Command::Demo(a) => demo::run(a, &mut output),
        #[cfg(not(unix))]
        args::Command::Demo(_) => Err(Failure::new(
            "starting the demo",
            "it needs pseudo-terminals, which only Unix systems have",
            "run it on Linux or another Unix",
        )),
        args::Command::Listen(a) => listen::run(a, &mut output),
        args::Command::Ask(a) => ask::run(a, &mut output),
        args::Command::Scan(a) => scan::run(a, &mut output),
        args::Command::Decode(a) => decode::run(a, &mut output),
        args::Command::Mock(a) => mock::run(a, &mut output),
        args::Command::Explain(a) => explain::run(a, &mut output),
    };
    let flushed = output.flush();
    match ended.and_then(|e| flushed.map(|()| e)) {
        Ok(ended) => ExitCode::from(ended.code()),
        Err(failure) => {
            if !failure.is_closed_pipe() {
                eprintln!("looprig: {failure}");
            }
            ExitCode::from(failure.code())
        }
    }
}
