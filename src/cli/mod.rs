//! The command line: arguments become a plan, a file a subcommand.

mod args;
mod aside;
mod ask;
mod catalogue;
mod conform;
mod conform_args;
mod decode;
#[cfg(unix)]
mod demo;
#[cfg(unix)]
mod demo_bench;
#[cfg(unix)]
mod demo_faults;
mod demo_ip;
mod demo_later;
mod demo_travel;
mod demo_valve;
#[cfg(unix)]
mod demo_wave;
mod describing;
mod explain;
pub mod fault_matrix;
mod files;
mod host_check;
mod layout_rows;
mod line;
mod lines;
mod listen;
mod listening;
mod mock;
mod mock_api;
mod mock_args;
mod mock_fleet;
mod mock_line;
mod mock_loop;
mod mock_power;
mod mock_valve;
mod mock_words;
mod noticed;
mod open_line;
mod output;
mod packets;
mod protocol_faults;
mod recording;
mod rules;
mod scan;
mod settings;
mod settings_args;
mod sha256;
mod silence;
mod travel;
mod travel_args;
mod triage;
mod triage_args;
pub mod triage_measure;
mod valve;
mod valve_args;
mod waiting;
mod wave;
mod wave_args;
mod wave_loop;
mod wave_make;
mod wave_read;
mod wave_said;
mod wave_talkers;
mod wiring;
mod wishes;
mod worksheet;

pub use args::Args;
pub use listening::{Listening, Terms};
pub use output::{Ended, Failure, Output};
pub use wishes::Wishes;

use args::FormatArg;
use clap::error::{ContextKind, ContextValue, ErrorKind};
use clap::{CommandFactory, Parser};
use output::tell;
use std::error::Error;
use std::process::ExitCode;

/// Parses the arguments, runs the command, prints what went wrong. Exit code 0: fine; 1: a check
/// failed or nobody answered; 2: it could not run or nothing could be judged.
pub fn run() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(e) => {
            // Help and version go to standard output and are no failure; help that nobody asked for
            // is what an empty command line gets.
            if !e.use_stderr() || e.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
                let code = if e.use_stderr() { 2 } else { 0 };
                let _ = e.print();
                return ExitCode::from(code);
            }
            tell(&misused(&e));
            return ExitCode::from(2);
        }
    };
    let mut output = Output::new(&args);
    let ended = match &args.command {
        command
            if matches!(args.format, FormatArg::Pcapng | FormatArg::Log)
                && !matches!(command, args::Command::Decode(_)) =>
        {
            Err(packets::not_here(args.format))
        }
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
        args::Command::Decode(a) if matches!(args.format, FormatArg::Pcapng | FormatArg::Log) => {
            packets::run(a, args.format, &mut output)
        }
        args::Command::Decode(a) => decode::run(a, &mut output),
        args::Command::HostCheck(a) => host_check::run(a, &mut output),
        args::Command::Mock(a) => mock::run(a, &mut output),
        args::Command::Line(a) => line::run(a, &mut output),
        args::Command::Conform(a) => conform::run(a, &mut output),
        args::Command::Settings(a) => settings::run(a, &mut output),
        args::Command::Wiring(a) => wiring::run(a, &mut output),
        args::Command::Valve(a) => valve::run(a, &mut output),
        args::Command::Travel(a) => travel::run(a, &mut output),
        args::Command::Triage(a) => triage::run(a, &mut output),
        args::Command::Worksheet(a) => worksheet::run(a, &mut output),
        args::Command::Wave(a) => wave::run(a, &mut output),
        args::Command::Explain(a) => explain::run(a, &mut output),
    };
    let flushed = output.step_back();
    match ended.and_then(|e| flushed.map(|()| e)) {
        Ok(ended) => ExitCode::from(ended.code()),
        Err(failure) => {
            if !failure.is_closed_pipe() {
                tell(&failure);
            }
            ExitCode::from(failure.code())
        }
    }
}

/// Arguments that make no command, told like every other failure.
fn misused(e: &clap::Error) -> Failure {
    let command = Args::command();
    let named = std::env::args().skip(1).find(|a| command.get_subcommands().any(|c| c.get_name() == a));
    let help = match &named {
        Some(name) => format!("`looprig {name} --help`"),
        None => "`looprig --help`".to_owned(),
    };
    let next = format!("{help} shows what can be given");
    if e.kind() == ErrorKind::ValueValidation
        && let Some(ContextValue::String(argument)) = e.get(ContextKind::InvalidArg)
        && let Some(source) = e.source()
    {
        // `--range <FIRST-LAST>`, `<LINE>`.
        let name = argument.split(' ').next().unwrap_or(argument).trim_matches(['<', '>', '[', ']']);
        return Failure::new(format!("reading {name}"), source.to_string(), next);
    }
    let text = e.to_string();
    let text = text.strip_prefix("error: ").unwrap_or(&text);
    // The rest is the usage and where the help is.
    let wrong = text.split("\n\nUsage:").next().unwrap_or(text);
    let wrong = wrong.split("\n\nFor more information").next().unwrap_or(wrong);
    // Nobody who mistypes an option means it as a file's name.
    let parts = wrong.split("\n\n").filter(|part| !part.contains("as a value, use"));
    let words: Vec<String> = parts.map(|p| p.split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    Failure::new("reading the arguments", words.join("; "), next)
}
