//! How what many cases change comes back, and how it is seen that it has: polling address, loop current, simulation, preambles.

use super::tools::skip_if_simulated;
use crate::app::command::Revision;
use crate::conform::{Found, Outcome, Probe, Stop, expect};

/// Status: loop current fixed [ST-02].
pub(in crate::conform::suite) const FIXED: u8 = 0x08;
/// 0 leaves the mode of a fixed current [CM-040].
const FOLLOW: [u8; 4] = [0x00, 0x00, 0x00, 0x00];

/// Whether this device answers command 0 at a polling address.
pub(in crate::conform::suite) fn answers_at(p: &mut Probe<'_>, polling: u8) -> Result<bool, Stop> {
    let own = p.device().unique;
    let request = p.short_request(polling, 0, &[]);
    for _ in 0..p.most_tries() {
        let heard = p.send(&request)?;
        if let Some(reply) = heard.reply().filter(|r| !r.is_communication_error()) {
            return Ok(Found::of(&reply.data, None).is_ok_and(|f| f.unique == own));
        }
    }
    Ok(false)
}

/// Remembers to write these data with command 6, and to look afterwards whether the device is there again, in the loop current
/// mode that command 7 told.
pub(in crate::conform::suite) fn put_back_address(p: &mut Probe<'_>, data: &[u8]) -> Outcome {
    skip_if_held(p)?;
    let told = match p.revision() {
        Revision::R5 => None,
        _ => p.ask(7, &[])?.part(0, 2).map(<[u8]>::to_vec),
    };
    let data = data.to_vec();
    p.put_back_by(
        format!("polling address and loop current mode, command 6 with data {data:02X?}"),
        move |p| {
            p.write_back(6, &data)?;
            if let Some(told) = told {
                let now = p.ask(7, &[])?;
                expect(
                    now.part(0, 2) == Some(&told),
                    format!("{told:02X?} in command 7, as before"),
                    now.to_string(),
                )?;
            }
            // Behind a server polling addresses reach others, if any: command 7 has to do.
            let there = p.has_messages() || answers_at(p, data[0])?;
            expect(there, format!("an answer at polling address {}", data[0]), "none of this device")
        },
    );
    Ok(())
}

/// Inconclusive if somebody answers at this polling address: two devices at one would disturb each other.
pub(in crate::conform::suite) fn nobody_at(p: &mut Probe<'_>, polling: u8) -> Outcome {
    let request = p.short_request(polling, 0, &[]);
    for _ in 0..2 {
        if !p.send(&request)?.is_silence() {
            return Err(Stop::Inconclusive(format!("somebody answers at polling address {polling} already")));
        }
    }
    Ok(())
}

/// A polling address at which nobody answers, above 0 and low enough for every revision.
pub(in crate::conform::suite) fn free_address(p: &mut Probe<'_>, own: u8) -> Result<u8, Stop> {
    for candidate in (1..16).rev().filter(|&a| a != own) {
        match nobody_at(p, candidate) {
            Ok(()) => return Ok(candidate),
            Err(Stop::Inconclusive(_)) => {}
            Err(stop) => return Err(stop),
        }
    }
    Err(Stop::Inconclusive("every polling address is taken on this line".to_owned()))
}

/// A skip where the loop current was fixed before: somebody may need that, such as while a trip is bridged.
pub(in crate::conform::suite) fn skip_if_fixed(p: &mut Probe<'_>) -> Outcome {
    match p.at_first("fixed", |p| Ok(Some(p.ask(0, &[])?.device_status & FIXED != 0)))? {
        true => Err(Stop::Skip("the loop current is fixed already, and stays as it is".to_owned())),
        false => Ok(()),
    }
}

/// A skip where somebody has fixed the loop current or simulates a variable: another loop current mode, or a restart, would let
/// that go. A device that is in the mode of a fixed current, or at another polling address than 0 before revision 6, is meant to be so [TB-11].
pub(in crate::conform::suite) fn skip_if_held(p: &mut Probe<'_>) -> Outcome {
    let is_held = p.at_first("held", |p| {
        let is_meant = match p.revision() {
            Revision::R5 => !answers_at(p, 0)?,
            _ => p.ask(7, &[])?.octet(1) == Some(0),
        };
        // Octet 13 of command 48 tells a fixed channel too, and where the two differ nobody has fixed it [TB-11].
        Ok(Some(!is_meant && p.ask(48, &[])?.octet(13).is_none_or(|o| o & 0x01 != 0)))
    })?;
    if is_held {
        skip_if_fixed(p)?;
    }
    skip_if_simulated(p)
}

/// Remembers to let a fixed loop current go, if it is fixed by then, and to look whether it follows.
pub(in crate::conform::suite) fn let_current_go(p: &mut Probe<'_>) {
    p.put_back_by("the loop current, let go by command 40 with 0", |p| {
        if p.ask(0, &[])?.device_status & FIXED == 0 {
            return Ok(());
        }
        p.write_back(40, &FOLLOW)?;
        let now = p.ask(0, &[])?;
        expect(now.device_status & FIXED == 0, "a loop current that is not fixed", now.to_string())
    });
}

/// Remembers to end a simulation with these data of command 79, and to look whether command 48 still tells one: mask 01 of
/// standardized status 0 [ST-06].
pub(in crate::conform::suite) fn end_simulation(p: &mut Probe<'_>, data: &[u8]) {
    let data = data.to_vec();
    let what = format!("the simulation of variable {}, ended by command 79 with data {data:02X?}", data[0]);
    p.put_back_by(what, move |p| {
        p.write_back(79, &data)?;
        let now = p.ask(48, &[])?;
        let simulates = now.is_success() && now.octet(8).is_some_and(|o| o & 0x01 != 0);
        expect(!simulates, "mask 01 clear in octet 8 of command 48", now.to_string())
    });
}

/// Remembers the number of reply preambles. It is told from revision 7 on [LL-11]; before that it can only be counted, which is
/// no good where the first may be lost [FR-02].
pub(in crate::conform::suite) fn put_back_preambles(p: &mut Probe<'_>) -> Outcome {
    let told = p.ask(0, &[])?;
    let own = match p.revision() {
        Revision::R7 => told.octet(12),
        _ if p.loses_preambles() => {
            return Err(Stop::Inconclusive(
                "the device does not tell how many preambles it sends, and this line loses some: nobody could put that back"
                    .to_owned(),
            ));
        }
        _ => u8::try_from(told.preambles).ok(),
    };
    // Others cannot be written back for sure [FR-02].
    let Some(own) = own.filter(|n| (5..=20).contains(n)) else {
        return Err(Stop::Inconclusive(format!(
            "the device sends {own:?} preambles, which may be refused when written back"
        )));
    };
    p.put_back_by(format!("command 59 with data {own:02X}"), move |p| {
        p.write_back(59, &[own])?;
        let now = p.ask(0, &[])?;
        let same = match p.revision() {
            Revision::R7 => now.octet(12) == Some(own),
            _ => now.preambles == usize::from(own),
        };
        expect(
            same,
            format!("{own} preambles before answers, as before"),
            format!("{} in {now}", now.preambles),
        )
    });
    Ok(())
}
