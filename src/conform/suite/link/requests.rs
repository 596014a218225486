//! Section `link/requests`: requests of unusual form, right and wrong ones.

use super::bare::obeys;
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Part, Probe, Request, Stop, expect, fail};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "link/requests/surplus-data-are-ignored",
        "DV-06",
        "data octets beyond those that a command needs change nothing in its answer",
        surplus_data_are_ignored,
    ),
    Case::should(
        "link/requests/longest-request",
        "FR-08",
        "a request of 255 data octets is answered, if only with the error that it does not fit",
        longest_request,
    ),
    Case::must(
        "link/requests/expansion-octets",
        "FR-04",
        "a request with expansion octets, which no device knows, is met with silence",
        expansion_octets,
    )
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "link/requests/short-frame-is-for-command-0",
        "FR-14",
        "a short frame with another command than 0 does not get that command's data",
        short_frame_is_for_command_0,
    ),
    Case::should(
        "link/requests/silence-after-other-short-frames",
        "DV-12",
        "a short frame with another command than 0 is met with silence",
        silence_after_other_short_frames,
    ),
    Case::must(
        "link/requests/kinds-that-do-not-exist",
        "FR-03",
        "a delimiter of a kind that does not exist is met with silence",
        kinds_that_do_not_exist,
    ),
    Case::must(
        "link/requests/answers-are-not-answered",
        "DV-12",
        "a reply with the device's own address is met with silence",
        answers_are_not_answered,
    ),
    Case::must(
        "link/requests/bursts-are-not-answered",
        "DV-12",
        "a burst with the device's own address is met with silence",
        bursts_are_not_answered,
    ),
    Case::must(
        "link/requests/byte-count-beyond-the-data",
        "FR-11",
        "a request that ends before its byte count says is met with silence",
        byte_count_beyond_the_data,
    ),
    Case::must(
        "link/requests/byte-count-below-the-data",
        "FR-09",
        "a request with more data than its byte count says is not obeyed, for its check byte stands where data are",
        byte_count_below_the_data,
    ),
    Case::must(
        "link/requests/broken-off",
        "FR-11",
        "a request that breaks off anywhere is met with silence",
        broken_off,
    ),
    Case::must(
        "link/requests/right-one-behind-a-broken-one",
        "FR-11",
        "a right request is answered after one that broke off",
        right_one_behind_a_broken_one,
    ),
    Case::advice(
        "link/requests/octets-behind-the-check-byte",
        "FR-01",
        "a right request is answered although octets without meaning follow its check byte",
        octets_behind_the_check_byte,
    ),
    Case::must(
        "link/requests/pause-inside",
        "LL-06",
        "a request with a pause of three characters inside is met with silence",
        pause_inside,
    )
    .sends_gaps(),
    Case::should(
        "link/requests/short-pauses-inside",
        "LL-06",
        "a request with idle time of less than half a character between octets is answered",
        short_pauses_inside,
    )
    .sends_gaps(),
];

fn surplus_data_are_ignored(p: &mut Probe<'_>) -> Outcome {
    let right = p.ask(0, &[])?;
    for surplus in [&[0x00][..], &[0xFF, 0x00], &[0x01, 0x02, 0x03, 0x04, 0x05]] {
        let reply = p.ask(0, surplus)?;
        expect(
            (reply.code, &reply.data) == (right.code, &right.data),
            format!("the answer to command 0 as without surplus data: {right}"),
            format!("with {} of them: {reply}", surplus.len()),
        )?;
    }
    Ok(())
}

fn longest_request(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(0, &[0x00; 255]);
    let heard = p.first_try(|p| p.send(&request))?;
    let Some(reply) = heard.reply() else {
        return fail("an answer to command 0 with 255 data octets", heard.words());
    };
    // Mask 02 is a buffer that is too small [ST-01]: an answer as well. Any other damage may be the wires', which spoil long requests
    // first [CO-08].
    if reply.is_communication_error() && reply.code & 0x02 == 0 {
        return Err(Stop::Inconclusive(format!("the device says that the request came damaged: {reply}")));
    }
    p.expect_alive("a request of 255 data octets")
}

fn expansion_octets(p: &mut Probe<'_>) -> Outcome {
    for octets in [&[0x00][..], &[0x5A, 0x01], &[0x01, 0x02, 0x03]] {
        let request = p.request(0, &[]).expansion(octets);
        p.expect_silence(&request, &format!("command 0 with {} expansion octets", octets.len()))?;
    }
    p.expect_alive("requests with expansion octets")
}

fn short_frame_is_for_command_0(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    for command in [1, 2, 3, 13] {
        let request = p.short_request(polling, command, &[]);
        let heard = p.send(&request)?;
        let data = heard.replies().into_iter().find(|r| !r.data.is_empty());
        expect(data.is_none(), format!("no data of command {command} in a short frame"), heard.words())?;
    }
    Ok(())
}

fn silence_after_other_short_frames(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    for command in [1, 2, 3, 13, 4] {
        let request = p.short_request(polling, command, &[]);
        p.expect_silence(&request, &format!("command {command} in a short frame"))?;
    }
    Ok(())
}

fn kinds_that_do_not_exist(p: &mut Probe<'_>) -> Outcome {
    for delimiter in [0x80, 0x83, 0x84, 0x85, 0x87] {
        let request = p.request(0, &[]).delimiter(delimiter);
        p.expect_silence(&request, &format!("a frame with delimiter {delimiter:02X}"))?;
    }
    p.expect_alive("frames of kinds that do not exist")
}

/// A slave's message with this delimiter and the device's own address: command 0, two status octets of 0.
fn slave_message(p: &Probe<'_>, delimiter: u8) -> Request {
    p.request(0, &[0x00, 0x00]).delimiter(delimiter)
}

fn answers_are_not_answered(p: &mut Probe<'_>) -> Outcome {
    let reply = slave_message(p, 0x86);
    p.expect_silence(&reply, "a reply with the device's own address")?;
    p.expect_alive("a reply with its own address")
}

fn bursts_are_not_answered(p: &mut Probe<'_>) -> Outcome {
    let burst = slave_message(p, 0x81);
    p.expect_silence(&burst, "a burst with the device's own address")?;
    p.expect_alive("a burst with its own address")
}

/// Inconclusive where a device that keeps time by such stamps as this line's may take the next request for the rest of a broken one.
fn has_time_to_forget(p: &Probe<'_>) -> Outcome {
    match p.leaves_time_to_forget() {
        true => Ok(()),
        false => Err(Stop::Inconclusive(
            "at this pace the stamps of the line are too bad to tell soon that a frame broke off; run it at the pace of the wire"
                .to_owned(),
        )),
    }
}

fn byte_count_beyond_the_data(p: &mut Probe<'_>) -> Outcome {
    has_time_to_forget(p)?;
    for claimed in [1, 3, 40, 255] {
        let request = p.request(0, &[]).byte_count(claimed);
        p.expect_silence(&request, &format!("command 0 without data and with byte count {claimed}"))?;
    }
    p.expect_alive("byte counts beyond the data")
}

fn byte_count_below_the_data(p: &mut Probe<'_>) -> Outcome {
    has_time_to_forget(p)?;
    for (data, claimed) in [(&[0x12, 0x34][..], 1), (&[0x12, 0x34, 0x56, 0x78], 0)] {
        let request = p.request(0, data).byte_count(claimed);
        let heard = p.send(&request)?;
        expect(
            !obeys(&heard),
            format!(
                "silence or a communication error after byte count {claimed} with {} data octets",
                data.len()
            ),
            heard.words(),
        )?;
    }
    p.expect_alive("byte counts below the data")
}

fn broken_off(p: &mut Probe<'_>) -> Outcome {
    has_time_to_forget(p)?;
    // Behind the preambles: delimiter, 5 octets of address, command, byte count, 2 data, check byte.
    let whole = p.request(0, &[0x00, 0x00]);
    for cut in [1, 2, 3, 4, 5, 7, 10] {
        p.expect_silence(&whole.clone().cut(cut), &format!("a request without its last {cut} octets"))?;
    }
    let preambles = whole.preambles(20).cut(11);
    p.expect_silence(&preambles, "preambles alone")
}

fn right_one_behind_a_broken_one(p: &mut Probe<'_>) -> Outcome {
    has_time_to_forget(p)?;
    for cut in [1, 2, 5, 7] {
        let broken = p.request(0, &[]).cut(cut).raw(p.characters(1));
        let request = p.request(0, &[]);
        let heard = p.first_try(|p| {
            p.send_raw(&broken)?;
            p.send(&request)
        })?;
        expect(
            heard.is_answered(),
            format!("an answer to the request after one that lacked {cut} octets"),
            heard.words(),
        )?;
    }
    Ok(())
}

fn octets_behind_the_check_byte(p: &mut Probe<'_>) -> Outcome {
    for behind in [&[0x00][..], &[0xFF, 0xFF], &[0x55, 0xAA, 0x00]] {
        let request = p.request(0, &[]).behind(behind);
        let heard = p.send(&request)?;
        expect(
            heard.octets().len() > 10,
            format!("an answer to command 0 with {} octets behind the check byte", behind.len()),
            heard.words(),
        )?;
    }
    p.expect_alive("octets behind a check byte")
}

fn pause_inside(p: &mut Probe<'_>) -> Outcome {
    for (part, name) in [
        (Part::Address(2), "the address"),
        (Part::ByteCount, "the header"),
        (Part::Data(1), "the data"),
        (Part::Check, "data and check byte"),
    ] {
        let request = p.request(0, &[0x00, 0x00]).gap(part, 3.0);
        p.expect_silence(&request, &format!("a request with a pause of three characters in {name}"))?;
    }
    p.expect_alive("requests with pauses")
}

fn short_pauses_inside(p: &mut Probe<'_>) -> Outcome {
    let mut request = p.request(0, &[]);
    for part in [Part::Address(0), Part::Address(3), Part::Command, Part::ByteCount, Part::Check] {
        request = request.gap(part, 0.4);
    }
    let heard = p.first_try(|p| p.send(&request))?;
    expect(
        heard.is_answered(),
        "an answer to a request with idle time of 0.4 characters before some octets",
        heard.words(),
    )
}
