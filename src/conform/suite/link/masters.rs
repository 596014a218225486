//! Section `link/masters`: which master is answered, and how the two share a device.

use super::bare::{not_bursting, second_of};
use crate::conform::{Case, Outcome, Probe, Reply, Stop, expect};
use crate::frame::Master;

const BOTH: [Master; 2] = [Master::Secondary, Master::Primary];

pub(super) const CASES: &[Case] = &[
    Case::must(
        "link/masters/secondary-is-named",
        "FR-16",
        "an answer to the secondary master has the master bit clear",
        secondary_is_named,
    ),
    Case::must(
        "link/masters/primary-is-named",
        "FR-16",
        "an answer to the primary master has the master bit set",
        primary_is_named,
    ),
    Case::must(
        "link/masters/named-in-short-frames",
        "FR-16",
        "an answer in a short frame has the master bit of its request",
        named_in_short_frames,
    ),
    Case::must(
        "link/masters/named-in-refusals",
        "LL-09",
        "an answer that refuses has the master bit of its request",
        named_in_refusals,
    ),
    Case::should(
        "link/masters/named-in-errors",
        "LL-09",
        "a communication error has the master bit of its request",
        named_in_errors,
    ),
    Case::should(
        "link/masters/named-in-answers-to-all",
        "LL-09",
        "an answer to a request to all has the master bit of its request",
        named_in_answers_to_all,
    ),
    Case::must(
        "link/masters/both-are-answered",
        "LL-09",
        "primary and secondary master are told the same identity",
        both_are_answered,
    ),
    Case::must(
        "link/masters/in-turn",
        "LL-09",
        "requests of the two masters in turn are each answered at the first try, with the right data",
        in_turn,
    ),
    Case::should(
        "link/masters/other-one-after-hold",
        "LL-03",
        "a request of the other master that begins 3 characters after an answer is answered",
        other_one_after_hold,
    ),
    Case::should(
        "link/masters/burst-bit-clear",
        "FR-16",
        "an answer of a device that is not in burst mode has the burst bit clear",
        burst_bit_clear,
    ),
];

fn named(reply: &Reply, master: Master, what: &str) -> Outcome {
    expect(
        reply.master() == master,
        format!("the {master} master named in the answer to {what}"),
        format!("address {:02X?}, which names the {}", reply.address, reply.master()),
    )
}

fn reads_name(p: &mut Probe<'_>, master: Master) -> Outcome {
    for command in [0, 1, 2, 3, 13] {
        let reply = p.ask_as(master, command, &[])?;
        named(&reply, master, &format!("its command {command}"))?;
    }
    Ok(())
}

fn secondary_is_named(p: &mut Probe<'_>) -> Outcome {
    reads_name(p, Master::Secondary)
}

fn primary_is_named(p: &mut Probe<'_>) -> Outcome {
    reads_name(p, Master::Primary)
}

fn named_in_short_frames(p: &mut Probe<'_>) -> Outcome {
    let polling = p.polling_address()?;
    for master in BOTH {
        let request = p.short_request(polling, 0, &[]).master(master);
        named(&p.ask_request(&request)?, master, "its command 0 in a short frame")?;
    }
    Ok(())
}

fn named_in_refusals(p: &mut Probe<'_>) -> Outcome {
    for master in BOTH {
        let request = p.request(4, &[]).master(master);
        let Some(reply) = p.send(&request)?.reply() else {
            return Err(Stop::Inconclusive("the device does not answer command 4".to_owned()));
        };
        named(&reply, master, "its command 4, which does not exist")?;
    }
    Ok(())
}

fn named_in_errors(p: &mut Probe<'_>) -> Outcome {
    for master in BOTH {
        let request = p.request(1, &[]).master(master).flip_check(0x20);
        let heard = p.send(&request)?;
        let Some(reply) = heard.replies().into_iter().find(Reply::is_communication_error) else {
            return Err(Stop::Skip("the device does not answer damaged requests".to_owned()));
        };
        named(&reply, master, "its damaged request")?;
    }
    Ok(())
}

fn named_in_answers_to_all(p: &mut Probe<'_>) -> Outcome {
    let reply = p.read(13, &[])?;
    let Some(tag) = reply.part(0, 6).map(<[u8]>::to_vec) else {
        return expect(false, "six octets of tag in command 13", reply.to_string());
    };
    for master in BOTH {
        let request = p.broadcast(11, &tag).master(master);
        let Some(reply) = p.send(&request)?.reply() else {
            return Err(Stop::Inconclusive("the device does not answer command 11 to all".to_owned()));
        };
        named(&reply, master, "its command 11 to all")?;
    }
    Ok(())
}

fn both_are_answered(p: &mut Probe<'_>) -> Outcome {
    let [secondary, primary] = BOTH.map(|master| p.ask_as(master, 0, &[]));
    let (secondary, primary) = (secondary?, primary?);
    expect(
        secondary.data == primary.data,
        format!("the identity that the secondary master is told: {secondary}"),
        format!("the primary is told: {primary}"),
    )
}

fn in_turn(p: &mut Probe<'_>) -> Outcome {
    let identity = p.ask(0, &[])?.data;
    for n in 0..12 {
        let (master, command) = (BOTH[n % 2], [0, 13, 16][n % 3]);
        let request = p.request(command, &[]).master(master);
        let heard = p.first_try(|p| p.send(&request))?;
        let right = |r: &Reply| !r.is_communication_error() && (command != 0 || r.data == identity);
        expect(
            heard.reply().as_ref().is_some_and(right),
            format!("the answer to command {command} of the {master} master, request {n} of 12 in turn"),
            heard.words(),
        )?;
    }
    Ok(())
}

fn other_one_after_hold(p: &mut Probe<'_>) -> Outcome {
    not_bursting(p)?;
    for n in 0..6 {
        let first = p.request(0, &[]).master(BOTH[n % 2]);
        let second = p.request(0, &[]).master(BOTH[(n + 1) % 2]);
        let heard = p.first_try(|p| second_of(p, &first, 3, &second))?;
        expect(
            heard.is_answered(),
            "an answer to the other master's request 3 characters after an answer",
            heard.words(),
        )?;
    }
    Ok(())
}

fn burst_bit_clear(p: &mut Probe<'_>) -> Outcome {
    not_bursting(p)?;
    for master in BOTH {
        let reply = p.ask_as(master, 0, &[])?;
        let first = reply.address.first().copied().unwrap_or(0);
        expect(first & 0x40 == 0, "mask 40 of the address clear", format!("address {:02X?}", reply.address))?;
    }
    Ok(())
}
