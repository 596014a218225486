//! Section `codes/refusals`: commands that there are not, too few octets, more than enough.

use crate::app::command::Revision;
use crate::conform::suite::universal::{prepared, remember};
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};

const R6: Revision = Revision::R6;
const R7: Revision = Revision::R7;

/// A number that no revision gives to a command: 10 does not exist, 127 is reserved [CM-RANGES].
const UNKNOWN: [u8; 2] = [10, 127];

pub(super) const CASES: &[Case] = &[
    Case::must(
        "codes/refusals/unknown-command",
        "DV-11",
        "a command that there is not is answered with 64",
        unknown_command,
    ),
    Case::should(
        "codes/refusals/unknown-command-without-data",
        "ST-03",
        "an answer with code 64 has no data, whatever the request had",
        unknown_command_without_data,
    ),
    Case::must(
        "codes/refusals/too-few-octets-to-read",
        "DV-14",
        "command 9 without a variable is answered with 5",
        too_few_octets_to_read,
    )
    .revisions(R6, R7),
    Case::must(
        "codes/refusals/too-few-status-octets",
        "DV-14",
        "command 48 with some of its status octets and not all is answered with 5",
        too_few_status_octets,
    )
    .revisions(R7, R7),
    Case::must(
        "codes/refusals/too-few-octets-to-write",
        "DV-14",
        "a write that lacks an octet, or has none at all, is answered with 5",
        too_few_octets_to_write,
    )
    .writes(),
    Case::must(
        "codes/refusals/too-few-octets-change-nothing",
        "DV-14",
        "a write that lacks an octet changes nothing",
        too_few_octets_change_nothing,
    )
    .writes(),
    Case::must(
        "codes/refusals/surplus-octets-of-a-write",
        "DV-06",
        "a write with more octets than it needs is carried out, and the surplus is ignored",
        surplus_octets_of_a_write,
    )
    .writes(),
    Case::should(
        "codes/refusals/no-data-with-an-error",
        "ST-03",
        "an answer that refuses a write that is too short has no data",
        no_data_with_an_error,
    )
    .writes(),
    Case::must(
        "codes/refusals/no-undefined-code",
        "ST-03",
        "an unknown command and a write that is too short are not refused with code 1, which is undefined",
        no_undefined_code,
    )
    .writes(),
    Case::should(
        "codes/refusals/reads-succeed",
        "ST-04",
        "universal commands that read are answered with code 0",
        reads_succeed,
    ),
];

fn unknown_command(p: &mut Probe<'_>) -> Outcome {
    for command in UNKNOWN {
        let reply = p.ask(command, &[])?;
        expect(reply.code == 64, format!("response code 64 for command {command}"), reply.to_string())?;
    }
    Ok(())
}

fn unknown_command_without_data(p: &mut Probe<'_>) -> Outcome {
    for data in [&[][..], &[0x00], &[0x12, 0x34, 0x56, 0x78]] {
        let reply = p.ask(10, data)?;
        expect(
            reply.data.is_empty(),
            format!("no data in the answer to command 10 with {} octets", data.len()),
            reply.to_string(),
        )?;
    }
    Ok(())
}

fn too_few_octets_to_read(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask(9, &[])?;
    expect(reply.code == 5, "response code 5 for command 9 without data", reply.to_string())
}

fn too_few_status_octets(p: &mut Probe<'_>) -> Outcome {
    let told = p.ask(48, &[])?;
    // There are nine at least.
    let Some(cut) = told.part(0, 8).filter(|_| told.is_success()).map(<[u8]>::to_vec) else {
        return Err(Stop::Inconclusive(format!("command 48 does not tell its octets: {told}")));
    };
    let reply = p.ask(48, &cut)?;
    expect(
        reply.code == 5,
        format!("response code 5 for command 48 with {} of {} octets", cut.len(), told.data.len()),
        reply.to_string(),
    )
}

/// Labels by the commands that read and write them, with how many octets they have: 12 and 17 message, 13 and 18 tag,
/// descriptor and date, 16 and 19 final assembly number.
const LABELS: [(u8, u8, usize); 3] = [(12, 17, 24), (13, 18, 21), (16, 19, 3)];

fn too_few_octets_to_write(p: &mut Probe<'_>) -> Outcome {
    for (read, write, len) in LABELS {
        let was = remember(p, read, write, len)?;
        for cut in [len - 1, 0] {
            let reply = p.ask(write, &was[..cut])?;
            expect(
                reply.code == 5,
                format!("response code 5 for command {write} with {cut} of {len} octets"),
                reply.to_string(),
            )?;
        }
    }
    Ok(())
}

fn too_few_octets_change_nothing(p: &mut Probe<'_>) -> Outcome {
    let was = remember(p, 16, 19, 3)?;
    // Every octet that is sent differs.
    let other: Vec<u8> = was[..2].iter().map(|o| o ^ 0xFF).collect();
    let request = p.request(19, &other);
    let heard = p.send(&request)?;
    let now = p.ask(16, &[])?;
    expect(
        now.part(0, 3) == Some(&was),
        format!("in command 16 {was:02X?} still, after command 19 with two octets"),
        format!("{now}; command 19: {}", heard.words()),
    )
}

fn surplus_octets_of_a_write(p: &mut Probe<'_>) -> Outcome {
    remember(p, 16, 19, 3)?;
    let plain = prepared(p, 19, &[0x04, 0x05, 0x06])?;
    let reply = p.ask_until_done(19, &[0x01, 0x02, 0x03, 0xAA, 0x55])?;
    expect(reply.is_success(), "command 19 accepted with five octets", reply.to_string())?;
    expect(
        reply.data.len() == plain.data.len(),
        format!("as many octets in the answer as without surplus: {plain}"),
        reply.to_string(),
    )?;
    let now = p.ask(16, &[])?;
    expect(now.part(0, 3) == Some(&[0x01, 0x02, 0x03]), "01 02 03 in command 16, as written", now.to_string())
}

/// Command 19 with two octets, which is refused.
fn refused_write(p: &mut Probe<'_>) -> Result<Reply, Stop> {
    remember(p, 16, 19, 3)?;
    let request = p.request(19, &[0x01, 0x02]);
    let heard = p.send(&request)?;
    match heard.reply() {
        Some(reply) if !reply.is_success() => Ok(reply),
        _ => Err(Stop::Inconclusive(format!("command 19 with two octets is not refused: {}", heard.words()))),
    }
}

fn no_data_with_an_error(p: &mut Probe<'_>) -> Outcome {
    let reply = refused_write(p)?;
    expect(reply.data.is_empty(), "no data in the answer that refuses command 19", reply.to_string())
}

fn no_undefined_code(p: &mut Probe<'_>) -> Outcome {
    for reply in [p.ask(10, &[])?, refused_write(p)?] {
        expect(
            reply.code != 1,
            format!("another code than 1 in the answer to command {}", reply.command),
            reply.to_string(),
        )?;
    }
    Ok(())
}

fn reads_succeed(p: &mut Probe<'_>) -> Outcome {
    let commands: &[u8] = match p.revision() {
        Revision::R5 => &[0, 1, 2, 3, 12, 13, 14, 15, 16],
        _ => &[0, 1, 2, 3, 7, 8, 12, 13, 14, 15, 16, 20],
    };
    for &command in commands {
        let reply = p.ask(command, &[])?;
        // 8 is the warning of an update failure.
        expect(
            matches!(reply.code, 0 | 8),
            format!("response code 0 or 8 for command {command}"),
            reply.to_string(),
        )?;
    }
    Ok(())
}
