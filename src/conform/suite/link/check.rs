//! Section `link/check`: check byte and parity, and what the device says of requests that arrive damaged.

use super::bare::{look_at_reads, look_at_refusal, obeys};
use crate::conform::{Case, Heard, Outcome, Part, Probe, Reply, Request, Stop, expect};

pub(super) const CASES: &[Case] = &[
    Case::must("link/check/of-answers", "FR-09", "the check byte of an answer fits", of_answers),
    Case::must(
        "link/check/wrong-check-byte",
        "FR-09",
        "a request with a wrong check byte is not obeyed",
        wrong_check_byte,
    ),
    Case::must(
        "link/check/every-octet-counts",
        "FR-09",
        "a bit that flips in delimiter, address, command or data keeps a request from being obeyed",
        every_octet_counts,
    ),
    Case::must(
        "link/check/preambles-do-not-count",
        "FR-09",
        "the number of preambles changes nothing in the check byte",
        preambles_do_not_count,
    ),
    Case::must(
        "link/check/wrong-parity",
        "FR-13",
        "a request with wrong parity in its data or check byte is not obeyed",
        wrong_parity,
    )
    .sends_bad_parity(),
    Case::must(
        "link/check/wrong-parity-in-the-header",
        "FR-11",
        "a request with wrong parity in delimiter, address or byte count is met with silence",
        wrong_parity_in_the_header,
    )
    .sends_bad_parity(),
    Case::advice(
        "link/check/damage-is-told",
        "LL-08",
        "a request whose check byte is wrong is answered with a communication error",
        damage_is_told,
    ),
    Case::must(
        "link/check/error-of-the-check-byte",
        "ST-01",
        "a communication error after a wrong check byte has masks 80 and 08",
        error_of_the_check_byte,
    ),
    Case::must(
        "link/check/error-of-parity",
        "ST-01",
        "a communication error after wrong parity has masks 80 and 40",
        error_of_parity,
    )
    .sends_bad_parity(),
    Case::should(
        "link/check/reserved-error-bit",
        "ST-01",
        "a communication error has the reserved mask 04 clear",
        reserved_error_bit,
    ),
    Case::should(
        "link/check/error-names-its-own-kind",
        "ST-01",
        "a communication error after a wrong check byte has no mask of parity, overrun or framing",
        error_names_its_own_kind,
    ),
    Case::must(
        "link/check/error-without-data",
        "FR-12",
        "a communication error has two status octets and nothing else",
        error_without_data,
    ),
    Case::advice(
        "link/check/second-octet-of-an-error",
        "LL-08",
        "the second octet of a communication error is 00 or the device status",
        second_octet_of_an_error,
    ),
];

fn of_answers(p: &mut Probe<'_>) -> Outcome {
    let right = |answer: &super::bare::Bare, what: String| {
        let check = answer.rest.iter().fold(0, |x, o| x ^ o);
        let last = answer.rest.last().copied().unwrap_or(0);
        expect(
            check == 0 || answer.fits_its_count(),
            format!("check byte {:02X} in the answer to {what}", last ^ check),
            format!("{last:02X}"),
        )
    };
    look_at_reads(p, |answer, command| right(answer, format!("command {command}")))?;
    look_at_refusal(p, |answer| right(answer, "command 4, which does not exist".to_owned()))
}

/// Nobody obeys: there is silence, or a communication error.
fn not_obeyed(p: &mut Probe<'_>, request: &Request, what: &str) -> Outcome {
    let heard = p.send(request)?;
    expect(!obeys(&heard), format!("silence or a communication error after {what}"), heard.words())
}

fn wrong_check_byte(p: &mut Probe<'_>) -> Outcome {
    for bits in [0x01, 0x10, 0x80, 0xFF] {
        let request = p.request(0, &[]).flip_check(bits);
        not_obeyed(p, &request, &format!("a check byte with the bits {bits:02X} flipped"))?;
    }
    p.expect_alive("wrong check bytes")
}

fn every_octet_counts(p: &mut Probe<'_>) -> Outcome {
    // Behind the preambles: delimiter, five octets of address, command, byte count, two data octets.
    let whole = p.request(0, &[0x00, 0x00]);
    let names = [
        "delimiter",
        "address",
        "address",
        "address",
        "address",
        "address",
        "command",
        "byte count",
        "data",
        "data",
    ];
    for (i, name) in names.into_iter().enumerate() {
        // Not the bits that make another kind, form or length of it: the frame shall end where it ends.
        let bits = match name {
            "delimiter" => 0x08,
            "address" if i == 1 => 0x40,
            "byte count" => continue,
            _ => 0x04,
        };
        let raw = whole.raw(p.characters(1));
        let at = raw.octets.len() - whole.octets().len() + i;
        let heard = p.send_raw(&raw.flip(at, bits))?;
        expect(
            !obeys(&heard),
            format!(
                "silence or a communication error after a flipped bit in octet {i} from the delimiter on ({name})"
            ),
            heard.words(),
        )?;
    }
    p.expect_alive("flipped bits")
}

fn preambles_do_not_count(p: &mut Probe<'_>) -> Outcome {
    // Even and odd numbers: exclusive or of FF with FF is nothing.
    for preambles in [5, 6, 7, 8] {
        let preambles = preambles.max(p.device().preambles);
        let extra = preambles % 2;
        for n in [preambles + extra, preambles + extra + 1] {
            let request = p.request(0, &[]).preambles(n);
            let heard = p.first_try(|p| p.send(&request))?;
            expect(heard.is_answered(), format!("an answer to command 0 with {n} preambles"), heard.words())?;
        }
    }
    Ok(())
}

fn wrong_parity(p: &mut Probe<'_>) -> Outcome {
    for (part, name) in [
        (Part::Data(0), "a data octet"),
        (Part::Data(1), "the last data octet"),
        (Part::Check, "the check byte"),
    ] {
        let request = p.request(0, &[0x00, 0x00]).bad_parity(part);
        not_obeyed(p, &request, &format!("wrong parity in {name}"))?;
    }
    p.expect_alive("wrong parity")
}

fn wrong_parity_in_the_header(p: &mut Probe<'_>) -> Outcome {
    for (part, name) in [
        (Part::Delimiter, "the delimiter"),
        (Part::Address(0), "the first octet of the address"),
        (Part::Address(4), "the last octet of the address"),
        (Part::ByteCount, "the byte count"),
    ] {
        let request = p.request(0, &[]).bad_parity(part);
        p.expect_silence(&request, &format!("wrong parity in {name}"))?;
    }
    p.expect_alive("wrong parity in the header")
}

/// A request whose check byte is wrong, and what came of it.
fn damaged(p: &mut Probe<'_>) -> Result<Heard, Stop> {
    let request = p.request(1, &[]).flip_check(0x20);
    p.send(&request)
}

/// The communication error after a request; inconclusive where the device does not tell.
fn error_after(p: &mut Probe<'_>, request: &Request) -> Result<Reply, Stop> {
    let heard = p.send(request)?;
    let told = heard.replies().into_iter().find(Reply::is_communication_error);
    told.ok_or_else(|| Stop::Skip("the device does not answer damaged requests".to_owned()))
}

fn error(p: &mut Probe<'_>) -> Result<Reply, Stop> {
    let request = p.request(1, &[]).flip_check(0x20);
    error_after(p, &request)
}

fn damage_is_told(p: &mut Probe<'_>) -> Outcome {
    let heard = damaged(p)?;
    expect(
        heard.replies().iter().any(Reply::is_communication_error),
        "a communication error after a wrong check byte",
        heard.words(),
    )
}

fn error_of_the_check_byte(p: &mut Probe<'_>) -> Outcome {
    let code = error(p)?.code;
    expect(code & 0x88 == 0x88, "masks 80 and 08", format!("{code:02X}"))
}

fn error_of_parity(p: &mut Probe<'_>) -> Outcome {
    let request = p.request(1, &[0x00, 0x00]).bad_parity(Part::Data(1));
    let code = error_after(p, &request)?.code;
    expect(code & 0xC0 == 0xC0, "masks 80 and 40", format!("{code:02X}"))
}

fn reserved_error_bit(p: &mut Probe<'_>) -> Outcome {
    let code = error(p)?.code;
    expect(code & 0x04 == 0, "mask 04 clear", format!("{code:02X}"))
}

fn error_names_its_own_kind(p: &mut Probe<'_>) -> Outcome {
    let code = error(p)?.code;
    expect(code & 0x70 == 0, "masks 40, 20 and 10 clear", format!("{code:02X}"))
}

fn error_without_data(p: &mut Probe<'_>) -> Outcome {
    let reply = error(p)?;
    expect(reply.byte_count == 2, "a byte count of 2", reply.to_string())
}

fn second_octet_of_an_error(p: &mut Probe<'_>) -> Outcome {
    let status = p.ask(0, &[])?.device_status;
    let told = error(p)?.device_status;
    expect(
        told == 0 || told == status,
        format!("00, or the device status {status:02X}"),
        format!("{told:02X}"),
    )
}
