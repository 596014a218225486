//! Section `boundaries/range`: range values of PV.

use crate::app::command::Revision;
use crate::conform::suite::common::tools::{
    NO_UNIT, answers, float, part, refused_with, takes_or_skips, tells,
};
use crate::conform::{Case, Outcome, Probe, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "boundaries/range/kept",
        "CM-035",
        "range values that command 35 writes are those that command 15 tells",
        kept,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "boundaries/range/outside-the-limits",
        "CM-035",
        "range values outside the limits of command 14 are refused",
        outside_the_limits,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "boundaries/range/which-is-too-high",
        "CM-035",
        "an upper range value above the limits is answered with 11, a lower one below them with 10",
        which_is_too_high,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "boundaries/range/no-span",
        "CM-035",
        "two range values that are equal are answered with 29",
        no_span,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "boundaries/range/small-span",
        "CM-035",
        "a span below the least one is taken with the warning 14, or refused",
        small_span,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "boundaries/range/falling",
        "CM-035",
        "an upper range value below the lower one is no reason for 29",
        falling,
    )
    .commands(&[35])
    .moves(),
    Case::should(
        "boundaries/range/unit-that-is-none",
        "CM-035",
        "a unit that is none is answered with 18, before revision 7 with 28",
        unit_that_is_none,
    )
    .commands(&[35])
    .moves(),
    Case::must(
        "boundaries/range/of-a-channel",
        "CM-065",
        "range values that command 65 writes are those that command 63 tells",
        of_a_channel,
    )
    .commands(&[35, 63, 65])
    .moves(),
    Case::must(
        "boundaries/range/of-an-unknown-channel",
        "CM-065",
        "command 65 refuses an analog channel that the device does not have, in revision 7 with 15",
        of_an_unknown_channel,
    )
    .commands(&[65])
    .moves(),
];

/// The range of PV: unit, the lower value and the upper one.
struct Range {
    unit: u8,
    lower: f32,
    upper: f32,
}

impl Range {
    /// Reads it, and remembers to write it back.
    fn save(p: &mut Probe<'_>) -> Result<Range, Stop> {
        let now = p.save_floats(15, &[], 35, |r| r.part(2, 9).map(<[u8]>::to_vec), &[1, 5])?;
        let (a, b) = (float(&now, 3)?, float(&now, 7)?);
        // Which is which is not what these cases are about.
        Ok(Range { unit: now.data[2], lower: a.min(b), upper: a.max(b) })
    }

    fn data(&self, upper: f32, lower: f32) -> Vec<u8> {
        [&[self.unit][..], &upper.to_be_bytes(), &lower.to_be_bytes()].concat()
    }
}

/// Least and greatest value of PV, whichever stands first, in the unit of the range.
fn limits(p: &mut Probe<'_>, range: &Range) -> Result<(f32, f32), Stop> {
    let reply = p.read(14, &[])?;
    let (a, b) = (float(&reply, 4)?, float(&reply, 8)?);
    match reply.octet(3) == Some(range.unit) && a.is_finite() && b.is_finite() {
        true => Ok((a.min(b), a.max(b))),
        false => Err(Stop::Skip("command 14 tells no limits in the unit of the range".to_owned())),
    }
}

fn kept(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    let half = range.lower + (range.upper - range.lower) / 2.0;
    let data = range.data(half, range.lower);
    let used = part(&takes_or_skips(p, 35, &data)?, 0, 9)?;
    tells(p, 15, &[], 2, &used)
}

/// The same at both ends: data of a request, and the code for it.
fn outside(p: &mut Probe<'_>) -> Result<[(Vec<u8>, u8); 2], Stop> {
    let range = Range::save(p)?;
    let (least, greatest) = limits(p, &range)?;
    let far = greatest - least;
    Ok([(range.data(greatest + far, range.lower), 11), (range.data(range.upper, least - far), 10)])
}

fn outside_the_limits(p: &mut Probe<'_>) -> Outcome {
    for (data, _) in outside(p)? {
        let reply = p.ask_until_done(35, &data)?;
        expect(!reply.is_success(), format!("command 35 with data {data:02X?} refused"), reply.to_string())?;
    }
    Ok(())
}

fn which_is_too_high(p: &mut Probe<'_>) -> Outcome {
    for (data, code) in outside(p)? {
        answers(p, 35, &data, &[code])?;
    }
    Ok(())
}

fn no_span(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    answers(p, 35, &range.data(range.lower, range.lower), &[29])?;
    Ok(())
}

fn small_span(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    let least = p.read(14, &[])?.float(12).filter(|s| s.is_finite() && *s > 0.0);
    let Some(least) = least else { return Err(Stop::Skip("command 14 tells no least span".to_owned())) };
    let reply = p.ask_until_done(35, &range.data(range.lower + least / 4.0, range.lower))?;
    expect(
        reply.code == 14 || !reply.is_success(),
        format!("response code 14 to a quarter of the least span, {least}"),
        reply.to_string(),
    )
}

fn falling(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    let reply = p.ask_until_done(35, &range.data(range.lower, range.upper))?;
    expect(reply.code != 29, "any code but 29, invalid span", reply.to_string())
}

fn unit_that_is_none(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    let none = Range { unit: NO_UNIT, ..range };
    let code = if p.revision() < Revision::R7 { 28 } else { 18 };
    answers(p, 35, &none.data(none.upper, none.lower), &[code])?;
    Ok(())
}

fn of_a_channel(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    let half = range.lower + (range.upper - range.lower) / 2.0;
    let data = [&[0][..], &range.data(half, range.lower)].concat();
    let used = part(&takes_or_skips(p, 65, &data)?, 1, 9)?;
    tells(p, 63, &[0], 3, &used)
}

fn of_an_unknown_channel(p: &mut Probe<'_>) -> Outcome {
    let range = Range::save(p)?;
    let data = [&[250][..], &range.data(range.upper, range.lower)].concat();
    let reply = p.ask_until_done(65, &data)?;
    if reply.is_success() {
        // The range of PV is compared; what else it may be that was set nobody knows.
        p.cannot_put_back("the range of analog channel 250, which command 65 has set");
    }
    refused_with(p, &reply, "channel 250", &[15])
}
