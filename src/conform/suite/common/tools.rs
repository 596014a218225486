//! What cases of several sections have in common.

use crate::app::command::Revision;
use crate::conform::{Outcome, Probe, Reply, Stop, expect, fail};

/// A device variable that no device is known to have: the highest code that could be one [TY-09].
pub(in crate::conform::suite) const NO_VARIABLE: u8 = 242;
/// In the place of a unit: none [TY-03].
pub(in crate::conform::suite) const NO_UNIT: u8 = 250;

/// Octets that have to be there.
pub(in crate::conform::suite) fn part(reply: &Reply, from: usize, len: usize) -> Result<Vec<u8>, Stop> {
    match reply.part(from, len) {
        Some(octets) => Ok(octets.to_vec()),
        None => fail(
            format!("{} octets of data in the answer to command {}", from + len, reply.command),
            reply.to_string(),
        ),
    }
}

/// Octets that a case needs and is not about: without them nothing can be said.
pub(in crate::conform::suite) fn known(reply: &Reply, from: usize, len: usize) -> Result<Vec<u8>, Stop> {
    let octets = reply.part(from, len).map(<[u8]>::to_vec);
    octets.ok_or_else(|| {
        Stop::Inconclusive(format!("the answer to command {} has too few octets: {reply}", reply.command))
    })
}

/// A float that has to be there.
pub(in crate::conform::suite) fn float(reply: &Reply, at: usize) -> Result<f32, Stop> {
    let octets = part(reply, at, 4)?;
    Ok(f32::from_be_bytes([octets[0], octets[1], octets[2], octets[3]]))
}

/// Fails unless the answer has so many data octets.
pub(in crate::conform::suite) fn has_length(reply: &Reply, lengths: &[usize]) -> Outcome {
    let words: Vec<String> = lengths.iter().map(usize::to_string).collect();
    expect(
        lengths.contains(&reply.data.len()),
        format!("{} octets of data in the answer to command {}", words.join(" or "), reply.command),
        format!("{} octets: {reply}", reply.data.len()),
    )
}

/// A write that has to be taken, warnings included; what takes its time is waited for.
pub(in crate::conform::suite) fn takes(p: &mut Probe<'_>, command: u8, data: &[u8]) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(command, data)?;
    expect(reply.is_success(), format!("command {command} with data {data:02X?} taken"), reply.to_string())?;
    Ok(reply)
}

/// A write of something that a device need not have: a skip if it is refused.
pub(in crate::conform::suite) fn takes_or_skips(
    p: &mut Probe<'_>,
    command: u8,
    data: &[u8],
) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(command, data)?;
    match reply.is_success() {
        true => Ok(reply),
        false => Err(Stop::Skip(format!("the device does not take command {command} here: {reply}"))),
    }
}

/// A request that has to be answered with one of these response codes.
pub(in crate::conform::suite) fn answers(
    p: &mut Probe<'_>,
    command: u8,
    data: &[u8],
    codes: &[u8],
) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(command, data)?;
    let words: Vec<String> = codes.iter().map(u8::to_string).collect();
    expect(
        codes.contains(&reply.code),
        format!("response code {} to command {command} with data {data:02X?}", words.join(" or ")),
        reply.to_string(),
    )?;
    Ok(reply)
}

/// A request that has to be refused, whatever the code.
pub(in crate::conform::suite) fn refuses(p: &mut Probe<'_>, command: u8, data: &[u8]) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(command, data)?;
    expect(
        !reply.is_success(),
        format!("command {command} with data {data:02X?} refused"),
        reply.to_string(),
    )?;
    Ok(reply)
}

/// A request that has to be refused, in revision 7 with one of these codes: the lists of codes are of that revision [ST-04]. Skips
/// where the device has a reason of its own, 6 or 16, for then it says nothing of these data.
pub(in crate::conform::suite) fn refuses_with(
    p: &mut Probe<'_>,
    command: u8,
    data: &[u8],
    codes: &[u8],
) -> Result<Reply, Stop> {
    let reply = p.ask_until_done(command, data)?;
    refused_with(p, &reply, &format!("data {data:02X?}"), codes)?;
    Ok(reply)
}

/// The same of an answer that is there already; `what` tells the data.
pub(in crate::conform::suite) fn refused_with(
    p: &Probe<'_>,
    reply: &Reply,
    what: &str,
    codes: &[u8],
) -> Outcome {
    let asked = format!("command {} with {what}", reply.command);
    expect(!reply.is_success(), format!("{asked} refused"), reply.to_string())?;
    if p.revision() < Revision::R7 || codes.contains(&reply.code) {
        return Ok(());
    }
    skip_if(reply, &[6, 16], "refused for a reason of the device's own")?;
    let words: Vec<String> = codes.iter().map(u8::to_string).collect();
    fail(format!("response code {} to {asked}", words.join(" or ")), reply.to_string())
}

/// The data that a command answers, read again, are these.
pub(in crate::conform::suite) fn tells(
    p: &mut Probe<'_>,
    command: u8,
    ask: &[u8],
    from: usize,
    octets: &[u8],
) -> Outcome {
    let reply = p.read(command, ask)?;
    expect(
        reply.part(from, octets.len()) == Some(octets),
        format!("{octets:02X?} from octet {from} on in the answer to command {command}"),
        reply.to_string(),
    )
}

/// Skips if the code says that the device has no such thing, which is not what the case is about.
pub(in crate::conform::suite) fn skip_if(reply: &Reply, codes: &[u8], why: &str) -> Outcome {
    match codes.contains(&reply.code) {
        true => Err(Stop::Skip(format!("{why}: {reply}"))),
        false => Ok(()),
    }
}

/// A skip where a variable was simulated before, mask 01 of standardized status 0 [ST-06]: somebody may need that.
pub fn skip_if_simulated(p: &mut Probe<'_>) -> Outcome {
    let is = p.at_first("simulated", |p| {
        let status = p.ask(48, &[])?;
        Ok(Some(status.is_success() && status.octet(8).is_some_and(|o| o & 0x01 != 0)))
    })?;
    match is {
        true => Err(Stop::Skip("a device variable is simulated already, and stays so".to_owned())),
        false => Ok(()),
    }
}
