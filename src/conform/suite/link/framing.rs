//! Section `link/framing`: the form of answers.

use super::bare::{look_at_reads, look_at_refusal};
use crate::conform::{Case, Outcome, Probe, expect, fail};
use crate::frame::Master;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "link/framing/delimiter-of-a-long-answer",
        "FR-03",
        "an answer to a long frame has delimiter 86, its bits for expansion and physical layer aside",
        delimiter_of_a_long_answer,
    ),
    Case::must(
        "link/framing/delimiter-of-a-short-answer",
        "FR-03",
        "an answer to a short frame has delimiter 06, its bits for expansion and physical layer aside",
        delimiter_of_a_short_answer,
    ),
    Case::must(
        "link/framing/physical-layer-bits-are-clear",
        "FR-03",
        "an answer on the FSK line has the bits 18 of its delimiter clear",
        physical_layer_bits_are_clear,
    ),
    Case::should(
        "link/framing/no-expansion-octets-in-answers",
        "FR-04",
        "an answer to a request without expansion octets has none",
        no_expansion_octets_in_answers,
    ),
    Case::must(
        "link/framing/byte-count-of-answers",
        "FR-08",
        "the byte count of an answer counts what stands between it and the check byte",
        byte_count_of_answers,
    ),
    Case::must(
        "link/framing/two-status-octets",
        "FR-12",
        "an answer has a byte count of 2 at least, also one that refuses",
        two_status_octets,
    ),
    Case::must(
        "link/framing/nothing-before-the-preambles",
        "FR-01",
        "an answer begins with its preambles",
        nothing_before_the_preambles,
    ),
    Case::must(
        "link/framing/nothing-behind-the-check-byte",
        "FR-01",
        "an answer ends with its check byte",
        nothing_behind_the_check_byte,
    ),
    Case::should(
        "link/framing/answers-name-the-command",
        "LL-12",
        "an answer has the command's number of its request",
        answers_name_the_command,
    ),
    Case::must(
        "link/framing/no-pause-inside-answers",
        "LL-06",
        "an answer has no pause of a character or more inside",
        no_pause_inside_answers,
    )
    .sees_gaps(),
    Case::advice(
        "link/framing/octets-follow-at-once",
        "LL-06",
        "the octets of an answer follow each other without idle time of half a character",
        octets_follow_at_once,
    )
    .sees_gaps(),
    Case::must(
        "link/framing/parity-of-answers-is-odd",
        "FR-13",
        "every octet of an answer has odd parity",
        parity_of_answers_is_odd,
    )
    .sees_parity(),
];

/// The delimiter in hex.
fn shown(delimiter: u8) -> String {
    format!("delimiter {delimiter:02X}")
}

fn delimiter_of_a_long_answer(p: &mut Probe<'_>) -> Outcome {
    let delimiter = p.ask(0, &[])?.delimiter;
    expect(delimiter & 0x87 == 0x86, "delimiter 86", shown(delimiter))
}

fn delimiter_of_a_short_answer(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    let request = p.short_request(polling, 0, &[]);
    let delimiter = p.ask_request(&request)?.delimiter;
    expect(delimiter & 0x87 == 0x06, "delimiter 06", shown(delimiter))
}

fn physical_layer_bits_are_clear(p: &mut Probe<'_>) -> Outcome {
    for master in [Master::Secondary, Master::Primary] {
        let delimiter = p.ask_as(master, 0, &[])?.delimiter;
        expect(delimiter & 0x18 == 0, "bits 18 of the delimiter clear", shown(delimiter))?;
    }
    Ok(())
}

fn no_expansion_octets_in_answers(p: &mut Probe<'_>) -> Outcome {
    for command in [0, 1, 3] {
        let delimiter = p.ask(command, &[])?.delimiter;
        expect(delimiter & 0x60 == 0, "bits 60 of the delimiter clear", shown(delimiter))?;
    }
    Ok(())
}

fn byte_count_of_answers(p: &mut Probe<'_>) -> Outcome {
    look_at_reads(p, |answer, command| {
        let count = answer.byte_count().map(usize::from);
        expect(
            answer.fits_its_count() || count == Some(answer.counted()),
            format!(
                "a byte count of {} for the {0} octets in front of the last one of the answer to command {command}",
                answer.counted()
            ),
            count.map_or("no byte count".to_owned(), |n| n.to_string()),
        )
    })
}

fn two_status_octets(p: &mut Probe<'_>) -> Outcome {
    look_at_reads(p, |answer, command| {
        let count = answer.byte_count().unwrap_or(0);
        expect(
            count >= 2,
            format!("a byte count of 2 at least in the answer to command {command}"),
            count.to_string(),
        )
    })?;
    look_at_refusal(p, |answer| {
        let count = answer.byte_count().unwrap_or(0);
        expect(count >= 2, "a byte count of 2 at least where command 4 is refused", count.to_string())
    })
}

fn nothing_before_the_preambles(p: &mut Probe<'_>) -> Outcome {
    look_at_reads(p, |answer, command| {
        let before = &answer.before;
        expect(
            before.is_empty(),
            format!("FF as the first octets of the answer to command {command}"),
            format!("{before:02X?} before them"),
        )
    })
}

fn nothing_behind_the_check_byte(p: &mut Probe<'_>) -> Outcome {
    look_at_reads(p, |answer, command| {
        let surplus = answer.counted().saturating_sub(answer.byte_count().unwrap_or(0).into());
        let from = answer.rest.len().saturating_sub(surplus);
        // A byte count that is wrong is another case's matter.
        expect(
            surplus == 0 || !answer.fits_its_count(),
            format!("silence behind the check byte of the answer to command {command}"),
            format!("{:02X?} behind it", &answer.rest[from..]),
        )
    })
}

fn answers_name_the_command(p: &mut Probe<'_>) -> Outcome {
    for command in [0, 1, 2, 3, 13, 15] {
        let reply = p.ask(command, &[])?;
        expect(
            reply.command == command,
            format!("command {command} in its answer"),
            reply.command.to_string(),
        )?;
    }
    Ok(())
}

/// The time between the ends of any two octets of an answer is less than so many characters and the error of the stamps.
fn steps_are_below(p: &mut Probe<'_>, limit: f64, expected: &str) -> Outcome {
    let character = p.characters(1).as_secs_f64();
    let error = 2.0 * p.capabilities().stamp_error.as_secs_f64() / character;
    for command in [0, 1, 2, 3, 12, 13] {
        let request = p.request(command, &[]);
        p.three_in_a_row(|p| {
            let octets = p.send(&request)?.octets();
            let steps = octets.windows(2).map(|w| w[1].at.since(w[0].at).as_secs_f64());
            let longest = steps.fold(0.0, f64::max) / character;
            // From the end of one octet to the end of the next is one character and the pause.
            expect(longest < limit + error, expected, format!("{:.2} characters", longest - 1.0))
        })?;
    }
    Ok(())
}

fn no_pause_inside_answers(p: &mut Probe<'_>) -> Outcome {
    steps_are_below(p, 2.0, "less than one character of idle time between two octets")
}

fn octets_follow_at_once(p: &mut Probe<'_>) -> Outcome {
    steps_are_below(p, 1.5, "less than half a character of idle time between two octets")
}

fn parity_of_answers_is_odd(p: &mut Probe<'_>) -> Outcome {
    for command in [0, 1, 3, 12, 13] {
        let request = p.request(command, &[]);
        p.three_in_a_row(|p| {
            let octets = p.send(&request)?.octets();
            match octets.iter().position(|o| o.marks.contains(crate::frame::Marks::PARITY)) {
                None => Ok(()),
                Some(at) => fail(
                    format!("odd parity in the answer to command {command}"),
                    format!("wrong parity in octet {at}, {:02X}, preambles counted", octets[at].value),
                ),
            }
        })?;
    }
    Ok(())
}
