//! Section `codes/values`: values that universal commands have to refuse, with the code of their lists [ST-04].

use crate::app::command::Revision;
use crate::conform::suite::universal::remember;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "codes/values/polling-address-too-high",
        "CM-006",
        "a polling address above 15, or 63 from revision 6 on, is refused with 2",
        polling_address_too_high,
    )
    .moves(),
    Case::must(
        "codes/values/loop-current-mode-unknown",
        "TB-09",
        "a loop current mode that the table does not have is refused with 12",
        loop_current_mode_unknown,
    )
    .revisions(R6, R7)
    .moves(),
    Case::should(
        "codes/values/variable-code-without-meaning",
        "CM-009",
        "command 9 for a code above 250, which can be no variable, is refused with 2",
        variable_code_without_meaning,
    )
    .revisions(R6, R7),
    Case::advice(
        "codes/values/date-of-no-calendar",
        "CM-018",
        "a date of no calendar is refused with 9",
        date_of_no_calendar,
    )
    .writes(),
    Case::must("codes/values/leap-day", "TY-06", "29 February of a leap year is taken", leap_day).writes(),
];

/// The present data of command 6, put back afterwards.
fn loop_configuration(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    let polling = p.polling_address()?;
    let mut data = vec![polling];
    if p.revision() > Revision::R5 {
        let reply = p.ask(7, &[])?;
        let Some(mode) = reply.octet(1) else {
            return Err(Stop::Inconclusive(format!("command 7 does not answer two octets: {reply}")));
        };
        data.push(mode);
    }
    p.put_back(6, &data);
    Ok(data)
}

fn polling_address_too_high(p: &mut Probe<'_>) -> Outcome {
    let mut data = loop_configuration(p)?;
    data[0] = if p.revision() == Revision::R5 { 16 } else { 64 };
    let reply = p.ask(6, &data)?;
    expect(reply.code == 2, format!("response code 2 for polling address {}", data[0]), reply.to_string())
}

fn loop_current_mode_unknown(p: &mut Probe<'_>) -> Outcome {
    let was = loop_configuration(p)?;
    for mode in [2, 255] {
        let reply = p.ask(6, &[was[0], mode])?;
        expect(
            reply.code == 12,
            format!("response code 12 for loop current mode {mode}"),
            reply.to_string(),
        )?;
    }
    Ok(())
}

fn variable_code_without_meaning(p: &mut Probe<'_>) -> Outcome {
    for codes in [&[251][..], &[255], &[246, 253]] {
        let reply = p.ask(9, codes)?;
        expect(reply.code == 2, format!("response code 2 for command 9 with {codes:?}"), reply.to_string())?;
    }
    Ok(())
}

fn date_of_no_calendar(p: &mut Probe<'_>) -> Outcome {
    let was = remember(p, 13, 18, 21)?;
    // 31 February and 1 of a month 13 of 2011, 29 February 1900, which was no leap year.
    for date in [[0x1F, 0x02, 0x6F], [0x01, 0x0D, 0x6F], [0x1D, 0x02, 0x00]] {
        let reply = p.ask_until_done(18, &[&was[..18], &date].concat())?;
        expect(reply.code == 9, format!("response code 9 for the date {date:02X?}"), reply.to_string())?;
    }
    Ok(())
}

fn leap_day(p: &mut Probe<'_>) -> Outcome {
    let was = remember(p, 13, 18, 21)?;
    // 29 February 2024.
    let date = [0x1D, 0x02, 0x7C];
    let reply = p.ask_until_done(18, &[&was[..18], &date].concat())?;
    expect(reply.is_success(), "29 February 2024 accepted", reply.to_string())
}
