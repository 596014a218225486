//! Steps of the demo in which the device speaks by itself, or answers later than it is asked.

use super::ask::host_failure;
use super::demo::Stage;
use super::output::Failure;
use crate::exchange::Interpreter;
use crate::host::{Device, Host, HostError, Patience, ask_patiently};
use crate::line::Line;
use crate::line::io::PortLine;
use crate::report::text::plural;
use crate::transaction::Passed;
use core::time::Duration;

/// Bursts that are waited for, and for how long at most.
const BURSTS: usize = 3;
const BURSTS_WITHIN: Duration = Duration::from_secs(20);
/// Between two bursts, ms; as [CM-103] has it.
const PERIOD_MS: &str = "500";
/// How long nothing may come once burst mode is off: more than a period.
const QUIET: Duration = Duration::from_millis(800);
/// The self test [CM-041].
const SELF_TEST: u8 = 41;

fn failure(e: HostError) -> Failure {
    host_failure("talking to the mock".into(), e)
}

fn done(e: &crate::exchange::Exchange) -> bool {
    e.tone() == crate::exchange::view::Tone::Plain && !e.is_unanswered()
}

/// Shows the bursts among what was overheard; how many there were.
fn bursts(stage: &mut Stage<'_>, host: &mut Host<PortLine>, show: bool) -> Result<usize, Failure> {
    let mut interpreter = Interpreter::new(None);
    let mut n = 0;
    for passed in host.take_overheard() {
        let Passed::Transaction(t) = passed else { continue };
        let exchange = interpreter.read(*t);
        if exchange.is_burst() {
            n += 1;
            if show {
                stage.show(&exchange)?;
            }
        }
    }
    Ok(n)
}

/// Burst mode on, some bursts, and off [LL-10].
pub fn burst_mode(stage: &mut Stage<'_>, host: &mut Host<PortLine>, device: &Device) -> Result<(), Failure> {
    let set = |host: &mut Host<PortLine>, command, values: &[(&str, &str)]| {
        let values: Vec<(String, String)> =
            values.iter().map(|(n, v)| ((*n).to_owned(), (*v).to_owned())).collect();
        host.ask(device, command, &values).map_err(failure)
    };
    let message = ("burst_message", "0");
    let mut fine = true;
    for (command, values) in [
        (108, &[("burst_command", "1"), message][..]),
        (103, &[message, ("update_period", PERIOD_MS), ("maximum_update_period", "60000")]),
    ] {
        let exchange = set(host, command, values)?;
        fine &= done(&exchange);
        stage.show(&exchange)?;
    }
    host.take_overheard();
    let on = set(host, 109, &[("burst_control", "1"), message])?;
    stage.show(&on)?;
    let until = host.line_mut().now() + BURSTS_WITHIN;
    let mut heard = 0;
    while heard < BURSTS && host.line_mut().now() < until {
        host.rest(Duration::from_millis(100)).map_err(failure)?;
        heard += bursts(stage, host, true)?;
    }
    let off = set(host, 109, &[("burst_control", "0"), message])?;
    stage.show(&off)?;
    // Those that came before it took note.
    host.take_overheard();
    host.rest(QUIET).map_err(failure)?;
    let after = bursts(stage, host, true)?;
    let what = format!("{} came unasked, and none after burst mode was off", plural(heard, "burst"));
    stage.step(&what, fine && done(&on) && done(&off) && heard >= BURSTS && after == 0)
}

/// A self test that takes longer than an answer may [DV-40].
pub fn self_test(stage: &mut Stage<'_>, host: &mut Host<PortLine>, device: &Device) -> Result<(), Failure> {
    let mut first = None;
    let awaited = ask_patiently(host, device, SELF_TEST, &[], Patience::USUAL, &mut |e, _| {
        first.get_or_insert_with(|| e.clone());
    })
    .map_err(failure)?;
    if let Some(first) = &first {
        stage.show(first)?;
    }
    stage.show(&awaited.exchange)?;
    let what = format!(
        "asked {} in {:.1} s, the device said \"not yet\" until the result was there",
        plural(awaited.repeats as usize + 1, "time"),
        awaited.waited.as_secs_f64()
    );
    stage.step(&what, first.is_some() && done(&awaited.exchange))
}
