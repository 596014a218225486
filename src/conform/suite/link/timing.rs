//! Section `link/timing`: when answers come.

use super::bare::{not_bursting, second_of};
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect, fail};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "link/timing/answers-within-limit",
        "LL-02",
        "an answer begins within 28 characters of the request's end",
        answers_within_limit,
    )
    .stamps(),
    Case::must(
        "link/timing/status-within-limit",
        "LL-02",
        "the answer to command 48 begins within the slave time-out",
        status_within_limit,
    ),
    Case::must(
        "link/timing/writes-within-limit",
        "LL-02",
        "answers to writes of message, tag and assembly number begin within the slave time-out",
        writes_within_limit,
    )
    .writes(),
    Case::must(
        "link/timing/short-frame-answered-within-limit",
        "LL-02",
        "an answer to a short frame begins within 28 characters of the request's end",
        short_frame_answered_within_limit,
    )
    .stamps(),
    Case::must(
        "link/timing/refusals-within-limit",
        "LL-02",
        "an answer that refuses begins within 28 characters of the request's end",
        refusals_within_limit,
    )
    .stamps(),
    Case::should(
        "link/timing/errors-within-limit",
        "LL-02",
        "a communication error begins within 28 characters of the request's end",
        errors_within_limit,
    )
    .stamps(),
    Case::must(
        "link/timing/every-request-is-answered",
        "LL-02",
        "each of 30 requests is answered at the first try",
        every_request_is_answered,
    ),
    Case::must(
        "link/timing/one-answer-to-a-request",
        "LL-07",
        "a request is answered once, and nothing is repeated afterwards",
        one_answer_to_a_request,
    ),
    Case::must(
        "link/timing/silent-unasked",
        "DV-12",
        "a device that nobody asks, and that is not in burst mode, is silent",
        silent_unasked,
    ),
    Case::should(
        "link/timing/request-after-link-grant",
        "LL-04",
        "a request that begins 8 characters after an answer is answered",
        request_after_link_grant,
    ),
    Case::must(
        "link/timing/repeat-gets-the-same",
        "LL-07",
        "a request that is repeated octet for octet is answered again, with the same identity",
        repeat_gets_the_same,
    ),
    Case::must(
        "link/timing/alive-after-silence",
        "LL-02",
        "a device that has heard nothing for a while answers the first request",
        alive_after_silence,
    ),
];

fn answers_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    for command in [0, 1, 2, 3, 12, 13, 14, 15, 16] {
        let reply = p.ask(command, &[])?;
        p.expect_at_most(&format!("the time until command {command} is answered"), reply.after, limit)?;
    }
    Ok(())
}

fn status_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    let reply = p.ask(48, &[])?;
    p.expect_at_most("the time until command 48 is answered", reply.after, limit)
}

fn writes_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    for (reads, writes, n) in [(12, 17, 24), (13, 18, 21), (16, 19, 3)] {
        // What is there already, so that nothing has to come back.
        let now = p.read(reads, &[])?;
        let Some(data) = now.part(0, n).map(<[u8]>::to_vec) else {
            return Err(Stop::Inconclusive(format!("command {reads} does not answer {n} octets: {now}")));
        };
        let reply = p.ask(writes, &data)?;
        p.expect_at_most(&format!("the time until command {writes} is answered"), reply.after, limit)?;
    }
    Ok(())
}

fn short_frame_answered_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    let polling = p.polling_address()?;
    let request = p.short_request(polling, 0, &[]);
    let reply = p.ask_request(&request)?;
    p.expect_at_most("the time until command 0 in a short frame is answered", reply.after, limit)
}

fn refusals_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    // 4 and 5 stand for no command [CO-06].
    for command in [4, 5] {
        let request = p.request(command, &[]);
        let Some(reply) = p.send(&request)?.reply() else {
            return Err(Stop::Inconclusive(format!("the device does not answer command {command}")));
        };
        p.expect_at_most(&format!("the time until command {command} is refused"), reply.after, limit)?;
    }
    Ok(())
}

fn errors_within_limit(p: &mut Probe<'_>) -> Outcome {
    let limit = p.slave_time_out();
    let request = p.request(1, &[]).flip_check(0x20);
    let heard = p.send(&request)?;
    let Some(reply) = heard.replies().into_iter().find(Reply::is_communication_error) else {
        return Err(Stop::Skip("the device does not answer damaged requests".to_owned()));
    };
    p.expect_at_most("the time until a damaged request is answered", reply.after, limit)
}

/// Wires may lose requests without spoiling an octet that is heard: those are lost here and there. A device that leaves out each
/// so-many-th does so in even steps, and wires that lose one of five are no wires to work on [CO-08].
fn every_request_is_answered(p: &mut Probe<'_>) -> Outcome {
    const SERIES: u32 = 30;
    let (mut lost, mut asked) = (Vec::new(), 0);
    for n in 1..=SERIES * 5 {
        asked = n;
        let request = p.request([0, 1, 2, 3, 13][n as usize % 5], &[]);
        let heard = p.first_try(|p| p.send(&request))?;
        if !heard.is_answered() {
            lost.push((n, heard.words()));
        }
        if n % SERIES == 0 {
            match left_out(&lost, n) {
                LeftOut::Nothing => return Ok(()),
                LeftOut::ByTheDevice => break,
                LeftOut::Unclear => {}
            }
        }
    }
    let numbers: Vec<String> = lost.iter().map(|(n, _)| n.to_string()).collect();
    let observed = format!("no answer to numbers {}: {}", numbers.join(", "), lost[0].1);
    match left_out(&lost, asked) {
        LeftOut::ByTheDevice => fail(format!("an answer to each of {asked} requests"), observed),
        _ => Err(Stop::Inconclusive(format!(
            "{} of {asked} requests were not answered, which may be the wires as well: {observed}",
            lost.len()
        ))),
    }
}

enum LeftOut {
    Nothing,
    ByTheDevice,
    Unclear,
}

fn left_out(lost: &[(u32, String)], asked: u32) -> LeftOut {
    let steps: Vec<u32> = lost.windows(2).map(|w| w[1].0 - w[0].0).collect();
    let is_even = steps.len() >= 3 && steps.iter().all(|s| *s == steps[0]);
    match lost.len() as u32 {
        0 => LeftOut::Nothing,
        n if is_even || n * 5 > asked => LeftOut::ByTheDevice,
        _ => LeftOut::Unclear,
    }
}

fn one_answer_to_a_request(p: &mut Probe<'_>) -> Outcome {
    not_bursting(p)?;
    for command in [0, 1, 3] {
        let request = p.request(command, &[]);
        let answers = p.send(&request)?.replies().len();
        // As long as a device may take to begin, and the longest silence that a master keeps.
        let later = p.listen(p.slave_time_out() * 2 + p.waiting(100))?;
        let repeated = later.replies().iter().any(|r| p.is_own(r));
        expect(
            answers <= 1 && !repeated,
            format!("one answer to command {command}, then silence"),
            format!("{answers}, then {}", later.words()),
        )?;
    }
    Ok(())
}

fn silent_unasked(p: &mut Probe<'_>) -> Outcome {
    let time = p.waiting(500);
    let heard = p.listen(time)?;
    let own = heard.replies().iter().any(|r| p.is_own(r));
    expect(!own, "nothing but bursts while nobody asks", heard.words())?;
    match heard.is_silence() {
        true => Ok(()),
        // Nothing tells who made them [CO-08].
        false => Err(Stop::Inconclusive(format!(
            "while nobody asked, the device or the wires made octets: {}",
            heard.words()
        ))),
    }
}

fn request_after_link_grant(p: &mut Probe<'_>) -> Outcome {
    not_bursting(p)?;
    for _ in 0..5 {
        let request = p.request(0, &[]);
        let heard = p.first_try(|p| second_of(p, &request, 8, &request))?;
        expect(
            heard.is_answered(),
            "an answer to a request that begins 8 characters after the answer before it",
            heard.words(),
        )?;
    }
    Ok(())
}

fn repeat_gets_the_same(p: &mut Probe<'_>) -> Outcome {
    let first = p.ask(0, &[])?;
    for _ in 0..3 {
        let request = p.request(0, &[]);
        let heard = p.first_try(|p| p.send(&request))?;
        let same = heard.reply().is_some_and(|r| r.data == first.data && r.code == first.code);
        expect(same, format!("the answer to command 0 again: {first}"), heard.words())?;
    }
    Ok(())
}

fn alive_after_silence(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(0, &[]);
    let heard = p.first_try(|p| {
        p.pause(p.waiting(1000))?;
        p.send(&request)
    })?;
    expect(
        heard.is_answered(),
        "an answer to the first request after 1000 characters of silence",
        heard.words(),
    )
}
