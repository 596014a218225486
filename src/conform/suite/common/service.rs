//! Section `common/service`: self test, EEPROM, being found.

use super::tools::{answers, has_length, skip_if, tells};
use crate::app::command::Revision;
use crate::conform::{Case, Outcome, Probe, expect};

pub(super) const CASES: &[Case] = &[
    Case::must(
        "common/service/self-test-has-no-data",
        "CM-041",
        "command 41 answers without data",
        self_test_has_no_data,
    )
    .moves(),
    Case::must(
        "common/service/burn-keeps-what-was-written",
        "CM-039",
        "command 39 with 0, burn, is echoed and leaves the range as it is",
        burn_keeps_what_was_written,
    )
    .commands(&[39])
    .moves(),
    Case::should(
        "common/service/unknown-eeprom-control",
        "TB-19",
        "command 39 refuses a code that neither burns nor restores",
        unknown_eeprom_control,
    )
    .commands(&[39])
    .moves(),
    Case::should(
        "common/service/unknown-squawk-control",
        "TB-16",
        "command 72 refuses a code that the table does not have",
        unknown_squawk_control,
    )
    .commands(&[72])
    .writes()
    .revisions(Revision::R6, Revision::R7),
    Case::should(
        "common/service/squawk-off-is-echoed",
        "CM-072",
        "command 72 echoes what it was asked for",
        squawk_off_is_echoed,
    )
    .writes()
    .revisions(Revision::R6, Revision::R7),
    Case::should(
        "common/service/not-found-unless-armed",
        "CM-073",
        "a device that nobody has armed is silent to command 73",
        not_found_unless_armed,
    )
    .revisions(Revision::R7, Revision::R7),
];

fn self_test_has_no_data(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask_until_done(41, &[])?;
    p.skip_unless_known(&reply)?;
    skip_if(&reply, &[6, 16], "the device does no self test now")?;
    has_length(&reply, &[0])
}

fn burn_keeps_what_was_written(p: &mut Probe<'_>) -> Outcome {
    let range = p.read(15, &[])?;
    let reply = p.ask_until_done(39, &[0])?;
    skip_if(&reply, &[2, 6, 7, 16], "the device does not burn")?;
    expect(reply.is_success() && reply.data == [0], "an echo of 0", reply.to_string())?;
    tells(p, 15, &[], 0, range.part(0, 15).unwrap_or_default())
}

fn unknown_eeprom_control(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask_until_done(39, &[200])?;
    if reply.is_success() {
        p.cannot_put_back(
            "what command 39 with 200 has burnt or restored: compare the settings with those wanted",
        );
    }
    expect(!reply.is_success(), "command 39 with 200 refused", reply.to_string())
}

fn unknown_squawk_control(p: &mut Probe<'_>) -> Outcome {
    p.put_back(72, &[0]);
    let reply = p.ask_until_done(72, &[200])?;
    expect(!reply.is_success(), "command 72 with 200 refused", reply.to_string())
}

fn squawk_off_is_echoed(p: &mut Probe<'_>) -> Outcome {
    let reply = p.ask_until_done(72, &[0])?;
    p.skip_unless_known(&reply)?;
    let reply = answers(p, 72, &[0], &[0])?;
    expect(reply.data == [0], "an echo of 0", reply.to_string())
}

fn not_found_unless_armed(p: &mut Probe<'_>) -> Outcome {
    let request = p.broadcast(73, &[]);
    let own = p.device().unique;
    let heard = p.send(&request)?;
    expect(
        heard.replies().iter().all(|r| r.unique() != Some(own)),
        "silence of the device after command 73 to all",
        heard.words(),
    )
}
