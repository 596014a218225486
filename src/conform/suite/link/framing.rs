//! Sections `link/framing`: the form of answers.

use crate::conform::{Case, Outcome, Probe, expect};

pub(super) const CASES: &[Case] = &[Case::must(
    "link/framing/delimiter-of-a-long-answer",
    "FR-03",
    "an answer to a long frame begins with delimiter 86",
    delimiter_of_a_long_answer,
)];

fn delimiter_of_a_long_answer(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(0, &[])?;
    expect(reply.delimiter == 0x86, "delimiter 86", format!("{:02X}", reply.delimiter))
}
