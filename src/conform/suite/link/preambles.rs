//! Section `link/preambles`: octets of FF before requests and answers.

use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Part, Probe, Request, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "link/preambles/as-many-as-it-wants",
        "LL-11",
        "a request with as many preambles as the device wants in octet 3 of command 0 is answered",
        as_many_as_it_wants,
    ),
    Case::must(
        "link/preambles/wants-5-to-20",
        "FR-02",
        "the device wants 5 to 20 preambles before a request",
        wants_5_to_20,
    ),
    Case::must("link/preambles/twenty", "FR-02", "a request with 20 preambles is answered", twenty),
    Case::should(
        "link/preambles/five-find-it",
        "LL-11",
        "command 0 with five preambles in a short frame is answered, as hosts begin with",
        five_find_it,
    ),
    Case::should(
        "link/preambles/two-are-a-start",
        "FR-10",
        "a request of which two preambles arrive is answered",
        two_are_a_start,
    ),
    Case::advice(
        "link/preambles/one-is-no-start",
        "FR-10",
        "a request with one preamble is met with silence",
        one_is_no_start,
    ),
    Case::must(
        "link/preambles/first-ones-spoilt",
        "FR-10",
        "a request is answered although its first preambles arrive with wrong parity",
        first_ones_spoilt,
    )
    .sends_bad_parity(),
    Case::must(
        "link/preambles/last-one-spoilt",
        "FR-10",
        "a request whose last preamble arrives with wrong parity is met with silence",
        last_one_spoilt,
    )
    .sends_bad_parity(),
    Case::must(
        "link/preambles/pause-before-the-delimiter",
        "FR-10",
        "a request with a pause of three characters between preambles and delimiter is met with silence",
        pause_before_the_delimiter,
    )
    .sends_gaps(),
    Case::must(
        "link/preambles/octets-before-them",
        "FR-10",
        "a request is answered although octets without meaning stand right before its preambles",
        octets_before_them,
    ),
    Case::must("link/preambles/of-answers", "FR-02", "5 to 20 preambles stand before an answer", of_answers),
    Case::must(
        "link/preambles/of-answers-as-told",
        "LL-11",
        "as many preambles stand before an answer as octet 12 of command 0 says",
        of_answers_as_told,
    )
    .revisions(Revision::R7, Revision::R7),
];

/// The request is answered, at the first try.
fn answered(p: &mut Probe<'_>, request: &Request, what: &str) -> Outcome {
    let heard = p.first_try(|p| p.send(request))?;
    expect(heard.is_answered(), format!("an answer to {what}"), heard.words())
}

fn as_many_as_it_wants(p: &mut Probe<'_>) -> Outcome {
    let wants = usize::from(p.device().identity.get(3).copied().unwrap_or(5));
    for command in [0, 1, 3] {
        let request = p.request(command, &[]).preambles(wants);
        answered(p, &request, &format!("command {command} with the {wants} preambles that it wants"))?;
    }
    Ok(())
}

fn wants_5_to_20(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    let wants = reply.octet(3);
    expect(
        wants.is_some_and(|n| (5..=20).contains(&n)),
        "5 to 20 in octet 3 of command 0",
        format!("{wants:?}"),
    )
}

fn twenty(p: &mut Probe<'_>) -> Outcome {
    for command in [0, 1, 3] {
        let request = p.request(command, &[]).preambles(20);
        answered(p, &request, &format!("command {command} with 20 preambles"))?;
    }
    Ok(())
}

fn five_find_it(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    let request = p.short_request(polling, 0, &[]).preambles(5);
    answered(p, &request, "command 0 in a short frame with five preambles")
}

fn two_are_a_start(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(0, &[]).preambles(2);
    answered(p, &request, "command 0 with two preambles")
}

fn one_is_no_start(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(0, &[]).preambles(1);
    p.expect_silence(&request, "a request with one preamble")?;
    p.expect_alive("a request with one preamble")
}

fn first_ones_spoilt(p: &mut Probe<'_>) -> Outcome {
    let request = p
        .request(0, &[])
        .preambles(7)
        .bad_parity(Part::Preamble(0))
        .bad_parity(Part::Preamble(1))
        .bad_parity(Part::Preamble(2));
    answered(p, &request, "command 0 whose first three of seven preambles have wrong parity")
}

fn last_one_spoilt(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(0, &[]).preambles(5).bad_parity(Part::Preamble(4));
    p.expect_silence(&request, "a request whose last preamble has wrong parity")?;
    p.expect_alive("a request whose last preamble has wrong parity")
}

fn pause_before_the_delimiter(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(0, &[]).gap(Part::Delimiter, 3.0);
    p.expect_silence(&request, "a request with a pause of three characters before its delimiter")?;
    p.expect_alive("a request with a pause before its delimiter")
}

fn octets_before_them(p: &mut Probe<'_>) -> Outcome {
    for before in [&[0x00][..], &[0x12, 0x34, 0x56], &[0xFF, 0x00, 0xFF, 0x55]] {
        let mut raw = p.request(0, &[]).raw(p.characters(1));
        raw.octets.splice(0..0, before.iter().map(|&v| v.into()));
        let heard = p.first_try(|p| p.send_raw(&raw))?;
        expect(
            heard.is_answered(),
            format!("an answer to command 0 behind the octets {before:02X?}"),
            heard.words(),
        )?;
    }
    Ok(())
}

/// Judges how many preambles stand before some answers. A line with errors of its own may lose some of them before it notices
/// the carrier [FR-02]; there only too many can be judged.
fn before_answers(p: &mut Probe<'_>, right: impl Fn(&Probe<'_>, usize) -> Outcome) -> Outcome {
    for command in [0, 1, 2, 3, 13] {
        p.three_in_a_row(|p| {
            let n = p.ask(command, &[])?.preambles;
            right(p, n)
        })?;
    }
    Ok(())
}

fn of_answers(p: &mut Probe<'_>) -> Outcome {
    before_answers(p, |p, n| {
        let (least, most) = (5, 20);
        let right = n <= most && (n >= least || p.loses_preambles());
        expect(right, "5 to 20 preambles before an answer", n.to_string())?;
        match n < least {
            true => Err(Stop::Inconclusive(format!("{n} preambles were heard, and the line may lose some"))),
            false => Ok(()),
        }
    })
}

fn of_answers_as_told(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(0, &[])?;
    let Some(told) = reply.octet(12).map(usize::from) else {
        return expect(false, "an octet 12 in the reply to command 0", reply.to_string());
    };
    before_answers(p, |p, n| {
        let right = n == told || n < told && p.loses_preambles();
        expect(right, format!("the {told} preambles of octet 12 before an answer"), n.to_string())?;
        match n < told {
            true => Err(Stop::Inconclusive(format!(
                "{n} of {told} preambles were heard, and the line may lose some"
            ))),
            false => Ok(()),
        }
    })
}
