//! Section `common/channels`: the loop current as analog channel 0.

use super::tools::{float, has_length, part};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, Stop, expect};

/// mA [UN-01].
const MILLIAMPERE: u8 = 39;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/channels/level-and-percent",
        "CM-060",
        "command 60 answers channel, unit, level and percent of range, ten octets",
        level_and_percent,
    )
    .commands(&[60]),
    Case::must(
        "common/channels/channel-and-variables",
        "CM-061",
        "command 61 answers the level of the channel and four variables, 25 octets",
        channel_and_variables,
    )
    .commands(&[61]),
    Case::must(
        "common/channels/levels-in-their-unit",
        "CM-062",
        "command 62 tells the same level of channel 0 in mA as command 60",
        levels_in_their_unit,
    )
    .commands(&[60, 62]),
    Case::must(
        "common/channels/information-length",
        "CM-063",
        "command 63 answers 16 octets in revision 5, 17 in revision 7",
        information_length,
    )
    .commands(&[63]),
    Case::should(
        "common/channels/information-agrees-with-15",
        "CM-063",
        "alarm selection, transfer function, range and damping are the same in commands 15 and 63",
        information_agrees_with_15,
    )
    .commands(&[63]),
    Case::must(
        "common/channels/upper-endpoint-first",
        "CM-070",
        "the upper endpoint stands before the lower one in the answer to command 70",
        upper_endpoint_first,
    )
    .commands(&[70]),
    Case::should(
        "common/channels/unknown-channel",
        "CM-060",
        "commands 60, 63 and 70 refuse an analog channel that the device does not have",
        unknown_channel,
    )
    .commands(&[60]),
];

fn level_and_percent(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(60, &[0])?;
    has_length(&reply, &[10])
}

fn channel_and_variables(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(61, &[])?;
    has_length(&reply, &[25])
}

fn levels_in_their_unit(p: &mut Probe<'_>) -> Outcome {
    let by_60 = p.read(60, &[0])?;
    let by_62 = p.read(62, &[0])?;
    let (one, other) = (part(&by_60, 0, 2)?, part(&by_62, 0, 2)?);
    if one != [0, MILLIAMPERE] {
        return Err(Stop::Skip("channel 0 is not told in mA".to_owned()));
    }
    // The current may have changed between the two answers, but hardly by more than this.
    let (a, b) = (float(&by_60, 2)?, float(&by_62, 2)?);
    let near = (a - b).abs() <= 0.5 || a.is_nan() && b.is_nan();
    expect(other == one && near, format!("channel 0, unit 39, {a} mA"), by_62.to_string())
}

fn information_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(63, &[0])?;
    match p.revision() {
        Revision::R5 => has_length(&reply, &[16]),
        Revision::R6 => Err(Stop::Skip("no source tells the length in revision 6".to_owned())),
        Revision::R7 => has_length(&reply, &[17]),
    }
}

fn information_agrees_with_15(p: &mut Probe<'_>) -> Outcome {
    let by_15 = part(&p.read(15, &[])?, 0, 15)?;
    let by_63 = p.read(63, &[0])?;
    expect(
        by_63.octet(0) == Some(0) && by_63.part(1, 15) == Some(&by_15),
        format!("channel 0, then {by_15:02X?} as command 15 says"),
        by_63.to_string(),
    )
}

fn upper_endpoint_first(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(70, &[0])?;
    let (upper, lower) = (float(&reply, 2)?, float(&reply, 6)?);
    expect(
        upper > lower,
        "the upper endpoint in octets 2 to 5, the lower one in 6 to 9",
        format!("{upper} and {lower}"),
    )
}

fn unknown_channel(p: &mut Probe<'_>) -> Outcome {
    for command in [60, 63, 70] {
        if p.has_command(command)? != Some(true) {
            continue;
        }
        let reply = p.ask(command, &[250])?;
        expect(!reply.is_success(), format!("command {command} for channel 250 refused"), reply.to_string())?;
    }
    Ok(())
}
