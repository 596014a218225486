//! Section `burst/timing`: when bursts come.

use super::tools::{MESSAGE, OFF, all, begin, control, on, periods, save, sends, settings};
use crate::app::command::Revision;
use crate::conform::suite::common::tools::{NO_UNIT, float, part, skip_if};
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};
use core::time::Duration;

const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    // First, for the other cases leave alone what cannot be turned off.
    Case::must(
        "burst/timing/none-when-off",
        "CM-109",
        "after command 109 with 0 no bursts come",
        none_when_off,
    )
    .commands(&[109])
    .writes(),
    Case::should(
        "burst/timing/leaves-a-turn",
        "LL-04",
        "eight characters of silence at least stand between two bursts",
        leaves_a_turn,
    )
    .commands(&[109])
    .writes()
    .stamps(),
    Case::should(
        "burst/timing/follows-answers",
        "LL-10",
        "a burst follows right behind an answer of the device",
        follows_answers,
    )
    .commands(&[109])
    .writes()
    .stamps(),
    Case::must(
        "burst/timing/not-more-often",
        "CM-103",
        "bursts of a message that is sent every second do not come more often",
        not_more_often,
    )
    .commands(&[103, 105, 109])
    .writes()
    .stamps()
    .revisions(R7, R7),
    Case::must(
        "burst/timing/as-often-as-written",
        "CM-103",
        "bursts of a message that is sent every second come as often",
        as_often_as_written,
    )
    .commands(&[103, 105, 109])
    .writes()
    .stamps()
    .revisions(R7, R7),
    Case::should(
        "burst/timing/more-than-one-a-second",
        "LL-10",
        "before revision 7 more than one burst a second comes",
        more_than_one_a_second,
    )
    .commands(&[109])
    .writes()
    .stamps()
    .revisions(Revision::R5, Revision::R6),
    Case::must(
        "burst/timing/waits-for-its-trigger",
        "TB-18",
        "a message whose trigger is a rise above the upper limit does not come at its period",
        waits_for_its_trigger,
    )
    .commands(&[54, 103, 104, 105, 109])
    .writes()
    .revisions(R7, R7),
];

fn none_when_off(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let off = control(p, OFF);
    let reply = p.ask_until_done(109, &off)?;
    expect(reply.is_success(), "bursts turned off", reply.to_string())?;
    let heard = p.listen(Duration::from_secs(3))?;
    expect(heard.bursts().is_empty(), "no bursts within 3 s", heard.words())
}

fn follows_answers(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    for command in [0, 1, 3] {
        let request = p.request(command, &[]);
        // A burst that is not whole shows nothing.
        p.three_in_a_row(|p| {
            let heard = p.first_try(|p| p.send(&request))?;
            if heard.reply().is_none() {
                return Err(Stop::Inconclusive(format!("the answer was not whole: {}", heard.words())));
            }
            expect(
                heard.has_burst_behind_answer(),
                format!("a burst right behind the answer to command {command}"),
                heard.words(),
            )
        })?;
    }
    Ok(())
}

fn leaves_a_turn(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // As often as it can, 21 octets and more each: then the next one is always due.
    periods(p, 1, 1)?;
    sends(p, 3)?;
    on(p)?;
    let bursts = all(p)?;
    let least = p.characters(8).saturating_sub(p.margin());
    for two in bursts.windows(2) {
        let silence = two[1].times.0.since(two[0].times.1);
        expect(
            silence >= least,
            "eight characters of silence, 73.3 ms, between two bursts",
            format!("{:.1} ms", silence.as_secs_f64() * 1e3),
        )?;
    }
    Ok(())
}

/// The bursts of ten seconds of a message that is sent every second.
fn every_second(p: &mut Probe<'_>) -> Result<Vec<Reply>, Stop> {
    save(p)?;
    sends(p, 1)?;
    // 1 s, 32 000 in 1/32 ms, and a minute.
    periods(p, 32_000, 1_920_000)?;
    let used = settings(p)?.periods;
    if used[..4] != [0x00, 0x00, 0x7D, 0x00] {
        return Err(Stop::Skip(format!("the device does not send every second: periods {used:02X?}")));
    }
    on(p)?;
    Ok(p.listen(Duration::from_secs(10))?.bursts())
}

fn not_more_often(p: &mut Probe<'_>) -> Outcome {
    let n = every_second(p)?.len();
    expect(n <= 12, "12 bursts within 10 s at most", n.to_string())
}

fn as_often_as_written(p: &mut Probe<'_>) -> Outcome {
    let n = every_second(p)?.len();
    expect(n >= 7, "7 bursts within 10 s at least", n.to_string())
}

fn more_than_one_a_second(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    on(p)?;
    let n = p.listen(Duration::from_secs(10))?.bursts().len();
    expect(n >= 12, "12 bursts within 10 s at least", n.to_string())
}

fn waits_for_its_trigger(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    let pv = part(&p.read(50, &[])?, 0, 1)?[0];
    let about = p.read(54, &[pv])?;
    let (unit, class) = (part(&about, 4, 1)?[0], part(&about, 21, 1)?[0]);
    let (upper, lower) = (float(&about, 5)?, float(&about, 9)?);
    if unit == NO_UNIT || !upper.is_finite() || !lower.is_finite() {
        return Err(Stop::Skip("PV has no limits".to_owned()));
    }
    sends(p, 1)?;
    // 500 ms and a minute.
    periods(p, 16_000, 1_920_000)?;
    let level = upper.max(lower);
    let data = [&[MESSAGE, 2, class, unit][..], &level.to_be_bytes()].concat();
    let reply = p.ask_until_done(104, &data)?;
    skip_if(&reply, &[2, 6, 11, 12, 13], "the device does not wait for a level")?;
    expect(reply.is_success(), "a trigger at the upper limit taken", reply.to_string())?;
    on(p)?;
    let n = p.listen(Duration::from_secs(5))?.bursts().len();
    expect(n <= 2, "2 bursts within 5 s at most", n.to_string())
}
