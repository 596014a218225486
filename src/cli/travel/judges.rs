//! Whether limits judge anything of what is planned [TV-159].

use super::DOING;
use crate::cli::output::{Failure, tell};
use crate::cli::travel_args::TravelArgs;
use crate::commission::travel::Limits;
use crate::commission::travel::figures::{Line, View};
use crate::commission::travel::limits::Limited;
use crate::commission::travel::record::Plan;

/// Repeatability wants so many cycles [TV-09].
const REPEATS: u32 = 3;

/// Refuses a test that could only end without a verdict by the limits of a file. Without one the test may be made for its record, and it is told.
pub fn has_limits(args: &TravelArgs, plan: &Plan, limits: &Limits) -> Result<(), Failure> {
    let is_judged = planned(plan, args).into_iter().any(|(what, view)| limits.limit(what, view).is_some());
    // Where somebody says where the valve goes a loss is judged without a limit.
    if is_judged || !plan.losses.is_empty() && args.fails_to.is_some() {
        return Ok(());
    }
    let Some(path) = &args.limits else {
        if !plan.losses.is_empty() {
            return Ok(());
        }
        tell(
            &"Nothing of this test has a limit among looprig's own, so it ends without a verdict: give --limits with limits of what it measures.",
        );
        return Ok(());
    };
    let all = limits.both.iter().chain(&limits.sensor).chain(&limits.external);
    let keys: Vec<&str> = all.map(|(what, _)| what.key()).collect();
    Err(Failure::new(
        DOING,
        format!(
            "the valve would move and nothing could be judged: {} has limits for {} alone, and this test measures none of that",
            path.display(),
            keys.join(", ")
        ),
        "plan what has a limit (such as --strokes 1 for stroke times), add limits of what is planned, or leave --limits out",
    ))
}

/// The limits that figures of a plan can have, each in its view.
fn planned(plan: &Plan, args: &TravelArgs) -> Vec<(Limited, View)> {
    let mut all = Vec::new();
    if plan.cycles > 0 {
        all.extend([
            Limited::Accuracy,
            Limited::EndDeviation,
            Limited::Hysteresis,
            Limited::NonLinearity(Line::Independent),
            Limited::NonLinearity(Line::ZeroBased),
            Limited::NonLinearity(Line::Terminal),
            Limited::LeverError,
        ]);
        all.extend((plan.cycles >= REPEATS).then_some(Limited::Repeatability));
        all.extend(args.control_system.then_some(Limited::ControlSystem));
    }
    if !plan.creep_places_percent.is_empty() {
        all.extend([Limited::DeadBand, Limited::Resolution]);
    }
    if !plan.steps_percent.is_empty() {
        all.extend([Limited::DeadTime, Limited::T63, Limited::T86, Limited::Overshoot, Limited::Settling]);
    }
    // A stop watch is a measurement beside the device's, whether or not there is a gauge.
    let mut timed = Vec::new();
    if plan.strokes > 0 {
        timed.extend([Limited::StrokeTimeOpening, Limited::StrokeTimeClosing]);
    }
    if !plan.losses.is_empty() {
        timed.push(Limited::FailTime);
    }
    let of = |what: &[Limited], view: View| what.iter().map(|w| (*w, view)).collect::<Vec<_>>();
    let measured = if args.external.is_some() { of(&all, View::External) } else { Vec::new() };
    [of(&all, View::Sensor), measured, of(&timed, View::Sensor), of(&timed, View::External)].concat()
}
