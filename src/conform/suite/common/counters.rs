//! Section `common/counters`: what the device counts of the link, command 95.

use super::tools::{has_length, part};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/counters/requests-are-counted",
        "CM-095",
        "the number of requests in command 95 changes from one reading to the next",
        requests_are_counted,
    )
    .commands(&[95])
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/counters/most-significant-octet-first",
        "TY-01",
        "the number of requests in command 95 advances by few from one reading to the next",
        most_significant_octet_first,
    )
    .commands(&[95])
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/counters/three-of-two-octets",
        "CM-095",
        "command 95 answers three counters of two octets",
        three_of_two_octets,
    )
    .commands(&[95])
    .revisions(Revision::R6, Revision::R7),
];

/// Requests so far.
fn requests(p: &mut Probe<'_>) -> Result<u16, Stop> {
    let octets = part(&p.read(95, &[])?, 0, 2)?;
    Ok(u16::from_be_bytes([octets[0], octets[1]]))
}

fn requests_are_counted(p: &mut Probe<'_>) -> Outcome {
    let (first, second) = (requests(p)?, requests(p)?);
    expect(first != second, format!("another number of requests than {first}"), second.to_string())
}

fn most_significant_octet_first(p: &mut Probe<'_>) -> Outcome {
    let (first, second) = (requests(p)?, requests(p)?);
    // One request, and a few repeats on a bad line.
    let more = second.wrapping_sub(first);
    expect((1..=9).contains(&more), format!("1 to 9 more than {first}"), second.to_string())
}

fn three_of_two_octets(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(95, &[])?;
    has_length(&reply, &[6])
}
