//! Section `write-protect/state`: a device whose write protect is on. Nobody can turn it on over the wires, so most cases need
//! one on which it was turned on by hand.

use crate::app::command::Revision;
use crate::conform::suite::common::tools::{answers, known, tells};
use crate::conform::{Case, Outcome, Probe, Stop, expect};

/// Write protected [TB-03].
const PROTECTED: u8 = 1;

pub(super) const CASES: &[Case] = &[
    Case::must(
        "write-protect/state/told-as-it-acts",
        "TB-03",
        "command 15 says whether it is write protected, and command 17 is refused with 7 if it is",
        told_as_it_acts,
    )
    .writes()
    .also_protected(),
    Case::must(
        "write-protect/state/writes-are-refused",
        "DV-05",
        "while write protect is on, commands that write are answered with 7",
        writes_are_refused,
    )
    .writes()
    .also_protected(),
    Case::must(
        "write-protect/state/tag-is-refused",
        "DV-05",
        "while write protect is on, command 18 is answered with 7",
        tag_is_refused,
    )
    .writes()
    .also_protected(),
    Case::must(
        "write-protect/state/nothing-changes",
        "DV-05",
        "while write protect is on, a message stays as it is",
        nothing_changes,
    )
    .writes()
    .also_protected(),
    Case::must(
        "write-protect/state/nothing-is-counted",
        "DV-05",
        "while write protect is on, the configuration change counter stays as it is",
        nothing_is_counted,
    )
    .writes()
    .also_protected()
    .revisions(Revision::R7, Revision::R7),
    Case::should(
        "write-protect/state/reads-are-answered",
        "DV-05",
        "while write protect is on, message and tag are told",
        reads_are_answered,
    ),
];

/// Skips where write protect is not on.
fn protected(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(15, &[])?;
    match reply.octet(15) {
        Some(PROTECTED) => Ok(()),
        _ => Err(Stop::Skip("write protect is not on; turn it on at the device to run this".to_owned())),
    }
}

fn told_as_it_acts(p: &mut Probe<'_>) -> Outcome {
    let message = known(&p.read(12, &[])?, 0, 24)?;
    let told = known(&p.read(15, &[])?, 15, 1)?[0];
    let reply = p.ask(17, &message)?;
    match reply.code {
        7 => expect(told == PROTECTED, "1, write protected, in octet 15 of command 15", told.to_string()),
        0 | 8 => {
            let says = format!("{reply}, while octet 15 of command 15 is {told}");
            expect(told != PROTECTED, "response code 7 to command 17, for it is write protected", says)
        }
        // Refused for another reason, which tells nothing.
        _ => Err(Stop::Inconclusive(format!("command 17 is refused for another reason: {reply}"))),
    }
}

/// Requests that write what is there already, so that a device that takes them is not changed.
fn harmless(p: &mut Probe<'_>) -> Result<Vec<(u8, Vec<u8>)>, Stop> {
    let mut all = vec![(17, known(&p.read(12, &[])?, 0, 24)?), (19, known(&p.read(16, &[])?, 0, 3)?)];
    if p.revision() >= Revision::R6 {
        all.push((22, known(&p.read(20, &[])?, 0, 32)?));
    }
    let unit = known(&p.read(14, &[])?, 3, 1)?[0];
    let serial = known(&p.read(14, &[])?, 0, 3)?;
    all.extend([(44, vec![unit]), (49, serial), (53, vec![0, unit])]);
    Ok(all)
}

fn writes_are_refused(p: &mut Probe<'_>) -> Outcome {
    protected(p)?;
    for (command, data) in harmless(p)? {
        let reply = p.ask_until_done(command, &data)?;
        let is_missing = command > 22 && reply.code == 64;
        expect(
            reply.code == 7 || is_missing,
            format!("response code 7 to command {command}"),
            reply.to_string(),
        )?;
    }
    Ok(())
}

fn tag_is_refused(p: &mut Probe<'_>) -> Outcome {
    protected(p)?;
    let own = known(&p.read(13, &[])?, 0, 21)?;
    answers(p, 18, &own, &[7])?;
    Ok(())
}

/// Writes another message, and puts the old one back should it have been taken.
fn write_message(p: &mut Probe<'_>, own: &[u8]) -> Outcome {
    let mut other = own.to_vec();
    other[0] ^= 0x04;
    let back = own.to_vec();
    p.put_back_by("the message with command 17", move |p| {
        if p.read(12, &[])?.part(0, 24) == Some(&back) {
            return Ok(());
        }
        p.ask_until_done(17, &back)?;
        tells(p, 12, &[], 0, &back)
    });
    p.ask_until_done(17, &other).map(|_| ())
}

fn message(p: &mut Probe<'_>) -> Result<Vec<u8>, Stop> {
    known(&p.read(12, &[])?, 0, 24)
}

fn nothing_changes(p: &mut Probe<'_>) -> Outcome {
    protected(p)?;
    let own = message(p)?;
    write_message(p, &own)?;
    tells(p, 12, &[], 0, &own)
}

fn nothing_is_counted(p: &mut Probe<'_>) -> Outcome {
    protected(p)?;
    let own = message(p)?;
    // Octets 14 and 15 of the identity [CM-000].
    let before = known(&p.read(0, &[])?, 14, 2)?;
    write_message(p, &own)?;
    tells(p, 0, &[], 14, &before)
}

fn reads_are_answered(p: &mut Probe<'_>) -> Outcome {
    protected(p)?;
    for command in [12, 13] {
        p.read(command, &[])?;
    }
    Ok(())
}
