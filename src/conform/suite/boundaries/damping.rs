//! Section `boundaries/damping`.

use crate::conform::suite::common::tools::{answers, part, takes, takes_or_skips, tells};
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "boundaries/damping/kept",
        "CM-034",
        "a damping of 4 s that command 34 writes is the one that command 15 tells",
        kept,
    )
    .commands(&[34])
    .moves(),
    Case::must(
        "boundaries/damping/used-is-told",
        "CM-034",
        "the damping that command 34 answers is the one that command 15 tells, also where another was asked for",
        used_is_told,
    )
    .commands(&[34])
    .moves(),
    Case::should(
        "boundaries/damping/zero",
        "CM-034",
        "command 34 takes a damping of 0 s",
        zero,
    )
    .commands(&[34])
    .moves(),
    Case::should(
        "boundaries/damping/too-long",
        "CM-034",
        "a damping of 1 000 000 s is answered with 3, or with 8 and the longest",
        too_long,
    )
    .commands(&[34])
    .moves(),
    Case::should(
        "boundaries/damping/below-zero",
        "CM-034",
        "a damping of -1 s is answered with 4, or with 8 and the shortest, and one that is no number is refused",
        below_zero,
    )
    .commands(&[34])
    .moves(),
    Case::must(
        "boundaries/damping/of-a-variable",
        "CM-055",
        "a damping that command 55 writes is the one that command 54 tells",
        of_a_variable,
    )
    .commands(&[54, 55])
    .moves(),
    Case::must(
        "boundaries/damping/of-a-channel",
        "CM-064",
        "a damping that command 64 writes is the one that command 63 tells",
        of_a_channel,
    )
    .commands(&[63, 64])
    .moves(),
];

fn save(p: &mut Probe<'_>) -> Result<Reply, Stop> {
    p.save_floats(15, &[], 34, |r| r.part(11, 4).map(<[u8]>::to_vec), &[0])
}

fn kept(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 4.0, then 2.0. A device need not have such long ones.
    for damping in [[0x40, 0x80, 0x00, 0x00], [0x40, 0x00, 0x00, 0x00]] {
        let used = part(&takes_or_skips(p, 34, &damping)?, 0, 4)?;
        if used == damping {
            tells(p, 15, &[], 11, &damping)?;
        }
    }
    Ok(())
}

fn used_is_told(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 0.3.
    let used = part(&takes_or_skips(p, 34, &[0x3E, 0x99, 0x99, 0x9A])?, 0, 4)?;
    tells(p, 15, &[], 11, &used)
}

fn zero(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    takes(p, 34, &[0, 0, 0, 0])?;
    Ok(())
}

fn too_long(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 1e6.
    answers(p, 34, &[0x49, 0x74, 0x24, 0x00], &[3, 8])?;
    Ok(())
}

fn below_zero(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // -1.0.
    answers(p, 34, &[0xBF, 0x80, 0x00, 0x00], &[4, 8])?;
    let reply = p.ask_until_done(34, &[0x7F, 0xA0, 0x00, 0x00])?;
    expect(!reply.is_success(), "a damping that is no number refused", reply.to_string())
}

fn of_a_variable(p: &mut Probe<'_>) -> Outcome {
    let make = |r: &Reply| Some([r.part(0, 1)?, r.part(13, 4)?].concat());
    p.save_floats(54, &[0], 55, make, &[1])?;
    // 2.0.
    let used = part(&takes_or_skips(p, 55, &[0, 0x40, 0x00, 0x00, 0x00])?, 1, 4)?;
    tells(p, 54, &[0], 13, &used)
}

fn of_a_channel(p: &mut Probe<'_>) -> Outcome {
    let make = |r: &Reply| Some([r.part(0, 1)?, r.part(12, 4)?].concat());
    p.save_floats(63, &[0], 64, make, &[1])?;
    let used = part(&takes_or_skips(p, 64, &[0, 0x40, 0x00, 0x00, 0x00])?, 1, 4)?;
    tells(p, 63, &[0], 12, &used)
}
