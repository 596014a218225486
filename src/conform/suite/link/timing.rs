//! Section `link/timing`: when answers come.

use crate::conform::{Case, Outcome, Probe};

pub(super) const CASES: &[Case] = &[Case::must(
    "link/timing/answers-within-limit",
    "LL-02",
    "an answer begins within 28 characters of the request's end",
    answers_within_limit,
)
.stamps()];

fn answers_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    for command in [0, 1, 2, 3] {
        let reply = p.ask(command, &[])?;
        p.expect_at_most(&format!("the time until command {command} is answered"), reply.after, limit)?;
    }
    Ok(())
}
