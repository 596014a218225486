//! Section `common/variables`: device variables and what is known of them.

use super::tools::{answers, float, has_length, part, skip_if, takes, takes_or_skips, tells};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect, fail};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/variables/slots-have-six-octets",
        "CM-033",
        "each slot in the answer to command 33 has a code, a unit and a float",
        slots_have_six_octets,
    )
    .commands(&[33]),
    Case::must(
        "common/variables/slots-as-many-as-asked",
        "CM-033",
        "command 33 answers two slots with twice the octets of one",
        slots_as_many_as_asked,
    )
    .commands(&[33]),
    Case::must(
        "common/variables/assignments-have-four-octets",
        "CM-050",
        "command 50 answers with the codes of PV, SV, TV and QV",
        assignments_have_four_octets,
    )
    .commands(&[50]),
    Case::must(
        "common/variables/assignments-kept",
        "CM-051",
        "SV and TV that command 51 exchanges are told by command 50 as written",
        assignments_kept,
    )
    .commands(&[50, 51])
    .moves(),
    Case::must(
        "common/variables/information-length",
        "CM-054",
        "command 54 answers 17 octets in revision 5, 27 or more in revision 7",
        information_length,
    )
    .commands(&[54]),
    Case::must(
        "common/variables/information-names-its-variable",
        "CM-054",
        "the answer to command 54 begins with the code that was asked for",
        information_names_its_variable,
    )
    .commands(&[54]),
    Case::must(
        "common/variables/information-upper-limit-first",
        "CM-054",
        "the upper limit stands before the lower one in the answer to command 54",
        information_upper_limit_first,
    )
    .commands(&[54]),
    Case::should(
        "common/variables/information-agrees-with-14",
        "CM-054",
        "serial number, unit and limits of PV are the same in commands 14 and 54",
        information_agrees_with_14,
    )
    .commands(&[50, 54]),
    Case::advice(
        "common/variables/update-period-counts-32nds",
        "TY-07",
        "the update period in command 54, in 1/32 ms, is longer than an octet on the wire",
        update_period_counts_32nds,
    )
    .commands(&[54])
    .revisions(Revision::R6, Revision::R7),
    Case::must(
        "common/variables/serial-number-kept",
        "CM-049",
        "a transducer serial number that command 49 writes is told by command 14",
        serial_number_kept,
    )
    .commands(&[49])
    .writes(),
    Case::must(
        "common/variables/serial-number-of-one-kept",
        "CM-056",
        "a transducer serial number that command 56 writes is told by command 54",
        serial_number_of_one_kept,
    )
    .commands(&[54, 56])
    .writes(),
    Case::must(
        "common/variables/all-dynamic-variables",
        "CM-110",
        "command 110 answers unit and float of four variables, 20 octets",
        all_dynamic_variables,
    )
    .commands(&[110]),
];

fn slots_have_six_octets(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(33, &[0, 0])?;
    // Code, unit, float; code, unit, float [CM-033].
    expect(
        reply.octet(0) == Some(0) && reply.octet(6) == Some(0) && reply.data.len() >= 12,
        "two slots of six octets, each with code 0 in front",
        reply.to_string(),
    )
}

fn slots_as_many_as_asked(p: &mut Probe<'_>) -> Outcome {
    let one = p.read(33, &[0])?;
    let two = p.read(33, &[0, 0])?;
    expect(
        two.data.len() == 2 * one.data.len(),
        format!("{} octets for two slots, as one has {}", 2 * one.data.len(), one.data.len()),
        two.to_string(),
    )
}

fn assignments_have_four_octets(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(50, &[])?;
    has_length(&reply, &[4])
}

fn assignments_kept(p: &mut Probe<'_>) -> Outcome {
    let now = p.save(50, &[], 51, |r| r.part(0, 4).map(<[u8]>::to_vec))?;
    let [pv, sv, tv, qv] = [now.data[0], now.data[1], now.data[2], now.data[3]];
    if sv == tv || tv == 250 {
        return Err(Stop::Skip("the device has no two variables to exchange".to_owned()));
    }
    let wanted = [pv, tv, sv, qv];
    takes_or_skips(p, 51, &wanted)?;
    tells(p, 50, &[], 0, &wanted)
}

fn information_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(54, &[0])?;
    match p.revision() {
        Revision::R5 => has_length(&reply, &[17]),
        Revision::R6 => Err(Stop::Skip("no source tells the length in revision 6".to_owned())),
        _ => expect(reply.data.len() >= 27, "at least 27 octets of data", reply.to_string()),
    }
}

fn information_names_its_variable(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(54, &[1])?;
    skip_if(&reply, &[2], "the device has one variable alone")?;
    expect(reply.octet(0) == Some(1), "variable 1 in the first octet", reply.to_string())
}

fn information_upper_limit_first(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(54, &[0])?;
    let (upper, lower) = (float(&reply, 5)?, float(&reply, 9)?);
    if upper.is_nan() || lower.is_nan() {
        return Err(Stop::Skip("variable 0 has no limits".to_owned()));
    }
    expect(
        upper > lower,
        "the upper limit in octets 5 to 8, the lower one in 9 to 12",
        format!("{upper} and {lower}"),
    )
}

fn information_agrees_with_14(p: &mut Probe<'_>) -> Outcome {
    let pv = part(&p.read(50, &[])?, 0, 1)?[0];
    let by_14 = part(&p.read(14, &[])?, 0, 12)?;
    let by_54 = p.ask(54, &[pv])?;
    skip_if(&by_54, &[2], "command 54 does not know the variable that is PV")?;
    let by_54 = part(&by_54, 1, 12)?;
    expect(
        by_14 == by_54,
        format!("{by_14:02X?}, as command 14 says, behind the code in the answer to command 54"),
        format!("{by_54:02X?}"),
    )
}

/// One character at 1200 bit/s lasts 9.167 ms [LL-01], 293 in 1/32 ms.
const CHARACTER: u32 = 293;

fn update_period_counts_32nds(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(54, &[0])?;
    let Some(&[a, b, c, d]) = reply.part(23, 4) else {
        return Err(Stop::Skip("the answer to command 54 has no update period".to_owned()));
    };
    let period = u32::from_be_bytes([a, b, c, d]);
    match period == 0 || period > CHARACTER {
        true => Ok(()),
        false => fail(
            "an update period above 9 ms, in 1/32 ms",
            format!("{period}, which is {:.1} ms", f64::from(period) / 32.0),
        ),
    }
}

fn serial_number_kept(p: &mut Probe<'_>) -> Outcome {
    p.save(14, &[], 49, |r| r.part(0, 3).map(<[u8]>::to_vec))?;
    for number in [[0x0A, 0x0B, 0x0C], [0xFF, 0xFF, 0xFE]] {
        takes(p, 49, &number)?;
        tells(p, 14, &[], 0, &number)?;
    }
    Ok(())
}

fn serial_number_of_one_kept(p: &mut Probe<'_>) -> Outcome {
    p.save(54, &[0], 56, |r| r.part(0, 4).map(<[u8]>::to_vec))?;
    for number in [[0x0D, 0x0E, 0x0F], [0xFF, 0xFF, 0xFE]] {
        let data = [0, number[0], number[1], number[2]];
        answers(p, 56, &data, &[0])?;
        tells(p, 54, &[0], 0, &data)?;
    }
    Ok(())
}

fn all_dynamic_variables(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(110, &[])?;
    has_length(&reply, &[20])
}
