//! Section `common/trim`: trim points of device variables.

use super::tools::{float, has_length, part};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/trim/points-have-ten-octets",
        "CM-080",
        "command 80 answers variable, unit and two trim points, ten octets",
        points_have_ten_octets,
    )
    .commands(&[80, 81])
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/trim/limits-have-23-octets",
        "CM-081",
        "command 81 answers points, unit, four limits and the least difference, 23 octets",
        limits_have_23_octets,
    )
    .commands(&[81])
    .revisions(Revision::R6, Revision::R7),
    Case::should(
        "common/trim/point-beyond-its-limits",
        "CM-082",
        "command 82 refuses a trim point above the greatest with 3 or below the least with 4",
        point_beyond_its_limits,
    )
    .commands(&[81, 82])
    .moves()
    .revisions(Revision::R6, Revision::R7),
];

/// The first device variable that can be trimmed, with what command 81 answers.
fn trimmed(p: &mut Probe<'_>) -> Result<(u8, crate::conform::Reply), Stop> {
    for code in 0..8 {
        let reply = p.ask(81, &[code])?;
        // Which points there are [TB-23].
        if reply.is_success() && reply.octet(1).is_some_and(|points| points != 0) {
            return Ok((code, reply));
        }
    }
    Err(Stop::Skip("no device variable can be trimmed".to_owned()))
}

fn points_have_ten_octets(p: &mut Probe<'_>) -> Outcome {
    let (code, _) = trimmed(p)?;
    let reply = p.read(80, &[code])?;
    has_length(&reply, &[10])
}

fn limits_have_23_octets(p: &mut Probe<'_>) -> Outcome {
    let (_, reply) = trimmed(p)?;
    has_length(&reply, &[23])
}

fn point_beyond_its_limits(p: &mut Probe<'_>) -> Outcome {
    let (code, limits) = trimmed(p)?;
    let unit = part(&limits, 2, 1)?[0];
    // The lower point, or the upper one where that is all there is [TB-23].
    let (point, at) = if limits.octet(1) == Some(2) { (2, 11) } else { (1, 3) };
    let (least, greatest) = (float(&limits, at)?, float(&limits, at + 4)?);
    if !(least.is_finite() && greatest.is_finite()) {
        return Err(Stop::Skip(format!("command 81 tells no limits of this trim point: {limits}")));
    }
    let step = (greatest - least).abs().max(1.0);
    for (value, code_wanted) in [(greatest + step, 3), (least - step, 4)] {
        let data = [&[code, point, unit][..], &value.to_be_bytes()].concat();
        let reply = p.ask_until_done(82, &data)?;
        if reply.is_success() {
            p.cannot_put_back(format!(
                "the trim of variable {code}, which command 82 has changed: trim it anew"
            ));
        }
        // 6 says that it cannot be trimmed now, and refuses too.
        expect(
            reply.code == code_wanted || reply.code == 6,
            format!("response code {code_wanted} to a trim point of {value}"),
            reply.to_string(),
        )?;
    }
    Ok(())
}
