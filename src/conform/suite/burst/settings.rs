//! Section `burst/settings`: what commands 103 to 109 set, and what they refuse.

use super::tools::{
    MESSAGE, OFF, ON, begin, command, control, first_octet, listen, on, periods, put_back_off, quiet,
    remember_command, save, sends, settings, some,
};
use crate::app::command::Revision;
use crate::conform::suite::common::tools::{
    NO_VARIABLE, has_length, refused_with, refuses_with, skip_if, takes,
};
use crate::conform::{Case, Outcome, Probe, expect};

const R7: Revision = Revision::R7;

pub(super) const CASES: &[Case] = &[
    Case::must("burst/settings/on", "CM-109", "after command 109 with 1 bursts come", turned_on)
        .commands(&[109])
        .writes(),
    Case::must(
        "burst/settings/control-that-is-none",
        "CM-109",
        "command 109 refuses a control that the table does not have, in revision 7 with 2",
        control_that_is_none,
    )
    .commands(&[109])
    .writes(),
    Case::must(
        "burst/settings/command-taken",
        "CM-108",
        "bursts bear the command that command 108 writes",
        command_taken,
    )
    .commands(&[108, 109])
    .writes(),
    Case::should(
        "burst/settings/command-that-is-never-sent",
        "CM-108",
        "command 108 refuses a command that writes, in revision 7 with 2",
        command_that_is_never_sent,
    )
    .commands(&[108])
    .writes(),
    Case::must(
        "burst/settings/variables-taken",
        "CM-107",
        "bursts of command 9 have the device variable that command 107 writes",
        variables_taken,
    )
    .commands(&[105, 107, 108, 109])
    .writes()
    .revisions(R7, R7),
    Case::must(
        "burst/settings/unknown-variable",
        "CM-107",
        "command 107 refuses a device variable that the device does not have, with 2",
        unknown_variable,
    )
    .commands(&[105, 107])
    .writes()
    .revisions(R7, R7),
    Case::must(
        "burst/settings/configuration-length",
        "CM-105",
        "command 105 answers 29 octets, or 27 in its older form",
        configuration_length,
    )
    .commands(&[105])
    .revisions(R7, R7),
    Case::must(
        "burst/settings/on-is-told",
        "CM-105",
        "command 105 says that a burst message is on while it is sent",
        on_is_told,
    )
    .commands(&[105, 109])
    .writes()
    .revisions(R7, R7),
    Case::must(
        "burst/settings/used-periods-are-told",
        "CM-103",
        "the periods that command 103 answers are those that command 105 tells, also where others were asked for",
        used_periods_are_told,
    )
    .commands(&[103, 105])
    .writes()
    .revisions(R7, R7),
    Case::must(
        "burst/settings/unknown-message",
        "CM-103",
        "command 103 refuses a burst message that the device does not have, with 9",
        unknown_message,
    )
    .commands(&[103, 105])
    .writes()
    .revisions(R7, R7),
    Case::must(
        "burst/settings/unknown-trigger",
        "CM-104",
        "command 104 refuses a trigger mode that the table does not have, with 13",
        unknown_trigger,
    )
    .commands(&[104, 105])
    .writes()
    .revisions(R7, R7),
];

fn turned_on(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let heard = listen(p)?;
    expect(!heard.bursts().is_empty(), "bursts within 3 s", heard.words())
}

fn control_that_is_none(p: &mut Probe<'_>) -> Outcome {
    quiet(p)?;
    put_back_off(p);
    let data = control(p, 200);
    refuses_with(p, 109, &data, &[2])?;
    Ok(())
}

fn command_taken(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    periods(p, 16_000, 1_920_000)?;
    for number in [2, 3] {
        sends(p, number)?;
        on(p)?;
        let burst = some(p)?;
        expect(
            burst.command == number,
            format!("bursts of command {number}"),
            format!("command {}", burst.command),
        )?;
        let off = control(p, OFF);
        takes(p, 109, &off)?;
    }
    Ok(())
}

fn command_that_is_never_sent(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    remember_command(p)?;
    // 17 writes the message.
    let data = command(p, 17);
    refuses_with(p, 108, &data, &[2])?;
    Ok(())
}

fn variables_taken(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    periods(p, 16_000, 1_920_000)?;
    let reply = p.ask_until_done(108, &[0, 9, MESSAGE])?;
    skip_if(&reply, &[2], "the device does not send command 9 in bursts")?;
    for variable in [1, 0] {
        takes(p, 107, &[variable, 250, 250, 250, 250, 250, 250, 250, MESSAGE])?;
        on(p)?;
        let burst = some(p)?;
        // Extended status, then the code of slot 0 [CM-009].
        expect(
            burst.octet(1) == Some(variable),
            format!("variable {variable} in slot 0"),
            burst.to_string(),
        )?;
        first_octet(&burst)?;
        takes(p, 109, &[OFF, MESSAGE])?;
    }
    Ok(())
}

fn unknown_variable(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    refuses_with(p, 107, &[NO_VARIABLE, 250, 250, 250, 250, 250, 250, 250, MESSAGE], &[2])?;
    Ok(())
}

fn configuration_length(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(105, &[MESSAGE])?;
    let length = if reply.octet(1) == Some(31) { 29 } else { 27 };
    has_length(&reply, &[length])
}

fn on_is_told(p: &mut Probe<'_>) -> Outcome {
    begin(p)?;
    let now = settings(p)?.control;
    expect(now & ON != 0, "1 in octet 0 of command 105", now.to_string())
}

fn used_periods_are_told(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 700 ms and 70 s.
    let reply = takes(p, 103, &[MESSAGE, 0x00, 0x00, 0x57, 0x80, 0x00, 0x22, 0x2E, 0x00])?;
    let now = settings(p)?.periods;
    expect(reply.part(1, 8) == Some(&now), format!("{now:02X?}, as command 105 tells"), reply.to_string())
}

fn unknown_message(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    let before = settings(p)?.periods;
    let reply = p.ask_until_done(103, &[200, 0x00, 0x00, 0x7D, 0x00, 0x00, 0x00, 0x7D, 0x00])?;
    if reply.is_success() && settings(p)?.periods == before {
        // It was not message 0, which is put back.
        p.cannot_put_back("the periods of another burst message, which command 103 has set to 1 s");
    }
    refused_with(p, &reply, "burst message 200", &[9])
}

fn unknown_trigger(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // Class 0, unit 250, no number, as where there is no level.
    refuses_with(p, 104, &[MESSAGE, 200, 0, 250, 0x7F, 0xA0, 0x00, 0x00], &[13])?;
    Ok(())
}
