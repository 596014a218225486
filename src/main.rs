//! The `looprig` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    looprig::cli::run()
}
