//! `looprig conform`: a device judged by the protocol.

use super::conform_args::ConformArgs;
use super::lines::{end_on_signal, with_log};
use super::output::{Ended, Failure, Output};
use crate::conform::{CannotRun, Case, Suite};
use crate::frame::PollingAddress;
use crate::host::To;
use crate::report::conform as report;

/// Runs it.
pub fn run(args: &ConformArgs, out: &mut Output) -> Result<Ended, Failure> {
    let mut suite = Suite::new().strict(args.strict);
    for pattern in &args.only {
        suite = suite.only(pattern);
    }
    let cases: Vec<Case> = suite.cases().map_err(cannot)?;
    let Some(spec) = args.line.as_ref().filter(|_| !args.list) else {
        report::write_list(&cases, out.options, out.text());
        return Ok(Ended::Fine);
    };
    // On wires of this process there is nothing that a case could harm [HO-05].
    let harmless = spec.is_mock();
    suite = suite.writing(args.write || harmless).moving(args.moves || harmless);
    let line = spec.open()?;
    end_on_signal(line.interrupt_handle())?;
    let mut line = with_log(line, args.log.as_deref())?;
    let to = args.to.clone().unwrap_or(To::Polling(PollingAddress::default()));
    let results = suite.run(&mut line, &to).map_err(cannot)?;
    report::write(&results, out.options, out.text());
    Ok(match results.exit_code() {
        0 => Ended::Fine,
        1 => Ended::Failed,
        _ => Ended::CouldNot,
    })
}

fn cannot(e: CannotRun) -> Failure {
    Failure::new("judging a device", e.to_string(), e.next())
}
