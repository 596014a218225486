//! Section `burst/frames`: what a burst looks like.

use super::tools::{all, begin, listen, some};
use crate::conform::{Case, Outcome, Probe, Stop, expect};
use crate::frame::{Damage, Master, Reception};

/// In the first address octet: the device is in burst mode [FR-16].
const BURST: u8 = 0x40;

pub(super) const CASES: &[Case] = &[
    Case::must("burst/frames/delimiter", "FR-03", "the delimiter of a burst says so, 81 or 01", delimiter)
        .commands(&[109])
        .writes(),
    Case::must("burst/frames/own-address", "FR-06", "a burst has the device's own address", own_address)
        .commands(&[109])
        .writes(),
    Case::must("burst/frames/burst-bit", "FR-16", "the burst bit is set in bursts", burst_bit)
        .commands(&[109])
        .writes(),
    Case::must(
        "burst/frames/burst-bit-in-answers",
        "FR-16",
        "the burst bit is set in answers while the device is in burst mode",
        burst_bit_in_answers,
    )
    .commands(&[109])
    .writes(),
    Case::should(
        "burst/frames/masters-in-turn",
        "LL-10",
        "bursts name the two masters in turn",
        masters_in_turn,
    )
    .commands(&[109])
    .writes(),
    Case::must(
        "burst/frames/status-octets",
        "FR-12",
        "a burst has as many octets as the answer to its command, status included",
        status_octets,
    )
    .commands(&[109])
    .writes(),
    Case::must("burst/frames/check-byte", "FR-09", "the check byte of bursts is right", check_byte)
        .commands(&[109])
        .writes(),
    Case::must("burst/frames/preambles", "FR-02", "5 to 20 preambles stand before a burst", preambles)
        .commands(&[109])
        .writes(),
    Case::should(
        "burst/frames/response-code",
        "ST-03",
        "bursts bear the response code of the answer to their command",
        response_code,
    )
    .commands(&[109])
    .writes(),
];

fn delimiter(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let heard = listen(p)?;
    expect(
        heard.replies().is_empty(),
        "no frame with delimiter 86 or 06, nobody having asked",
        heard.words(),
    )?;
    match heard.bursts().is_empty() {
        true => Err(Stop::Inconclusive(format!("no whole burst came: {}", heard.words()))),
        false => Ok(()),
    }
}

fn own_address(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let unique = p.device().unique;
    for burst in all(p)? {
        let own = burst.unique().is_none_or(|u| u == unique);
        expect(own, format!("{unique:02X?}, its two upper bits aside"), format!("{:02X?}", burst.address))?;
    }
    Ok(())
}

fn burst_bit(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    for burst in all(p)? {
        let set = burst.address.first().is_some_and(|a| a & BURST != 0);
        expect(set, "mask 40 set in the first address octet", format!("{:02X?}", burst.address))?;
    }
    Ok(())
}

fn burst_bit_in_answers(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let reply = p.ask(0, &[])?;
    let set = reply.address.first().is_some_and(|a| a & BURST != 0);
    expect(set, "mask 40 set in the first address octet of an answer", format!("{:02X?}", reply.address))
}

fn masters_in_turn(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let heard = listen(p)?;
    if heard.has_rubbish() {
        return Err(Stop::Inconclusive(format!("not every burst was whole: {}", heard.words())));
    }
    let masters: Vec<Master> = heard.bursts().iter().map(|b| b.master()).collect();
    let in_turn = masters.windows(2).all(|two| two[0] != two[1]);
    let words: Vec<String> = masters.iter().map(|m| m.to_string()).collect();
    expect(
        in_turn && masters.len() > 1,
        "each burst names the other master than the one before",
        words.join(", "),
    )
}

fn status_octets(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let burst = some(p)?;
    // Unit and float of PV; current and percent of range: two status octets in front [CM-001] [CM-002].
    let wanted = match burst.command {
        1 => 7,
        2 => 10,
        other => return Err(Stop::Skip(format!("the device sends command {other}"))),
    };
    expect(
        burst.byte_count == wanted,
        format!("byte count {wanted} in a burst of command {}", burst.command),
        burst.byte_count.to_string(),
    )
}

fn check_byte(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let heard = listen(p)?;
    let wrong =
        |r: &Reception| matches!(r, Reception::Damaged(d) if matches!(d.damage, Damage::Check { .. }));
    let n = heard.receptions.iter().filter(|r| wrong(r)).count();
    // One of many the wires may have spoilt.
    expect(n == 0 || n < heard.bursts().len(), "check bytes that fit", heard.words())?;
    match n {
        0 => Ok(()),
        _ => Err(Stop::Inconclusive(format!("the device or the wires spoil octets: {}", heard.words()))),
    }
}

fn preambles(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    for burst in all(p)? {
        let heard = burst.preambles;
        expect(
            heard <= 20 && (heard >= 5 || p.loses_preambles()),
            "5 to 20 preambles before a burst",
            heard.to_string(),
        )?;
        if heard < 5 {
            return Err(Stop::Inconclusive(format!(
                "{heard} preambles were heard, and the line may lose some"
            )));
        }
    }
    Ok(())
}

fn response_code(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let burst = some(p)?;
    let reply = p.ask(burst.command, &[])?;
    if burst.byte_count != reply.byte_count {
        return Err(Stop::Inconclusive(format!("the burst and an answer have different lengths: {burst}")));
    }
    expect(burst.code == reply.code, format!("response code {}", reply.code), burst.to_string())
}
