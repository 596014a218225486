//! What cases of bursts have in common.

use crate::app::command::Revision;
use crate::conform::suite::common::tools::{part, takes};
use crate::conform::{Heard, Outcome, Probe, Reply, Stop, expect, fail};
use core::time::Duration;

/// Burst mode control [TB-17].
pub(super) const OFF: u8 = 0;
pub(super) const ON: u8 = 1;
/// The first burst message.
pub(super) const MESSAGE: u8 = 0;

/// What message 0 was before the case, as far as the device tells it [CM-105].
#[derive(PartialEq, Eq)]
pub(super) struct Settings {
    pub control: u8,
    pub variables: [u8; 8],
    pub command: [u8; 2],
    pub periods: [u8; 8],
    pub trigger: [u8; 7],
}

impl Settings {
    /// From the answer to command 105 in either form; `None` if it is shorter.
    fn of(data: &[u8]) -> Option<Settings> {
        // The longer form has 31 in octet 1, and the command behind the messages.
        let (command, from) = match data.get(1)? {
            31 => ([*data.get(12)?, *data.get(13)?], 14),
            &short => ([0, short], 12),
        };
        Some(Settings {
            control: *data.first()?,
            variables: data.get(2..10)?.try_into().ok()?,
            command,
            periods: data.get(from..from + 8)?.try_into().ok()?,
            trigger: data.get(from + 8..from + 15)?.try_into().ok()?,
        })
    }
}

type MakesData = fn(&Settings) -> Vec<u8>;

/// The commands that write the settings, with the data that write these: what is written last is written back first.
const PARTS: [(u8, MakesData); 4] = [
    (104, |s| [&[MESSAGE][..], &s.trigger].concat()),
    (103, |s| [&[MESSAGE][..], &s.periods].concat()),
    (107, |s| [&s.variables[..], &[MESSAGE]].concat()),
    (108, |s| [&s.command[..], &[MESSAGE]].concat()),
];

/// Reads what message 0 is, command 105.
pub(super) fn settings(p: &mut Probe<'_>) -> Result<Settings, Stop> {
    let reply = p.read(105, &[MESSAGE])?;
    match Settings::of(&reply.data) {
        Some(settings) => Ok(settings),
        None => fail("the settings of a burst message, 27 or 29 octets", reply.to_string()),
    }
}

/// The first address octet says that the device is in burst mode [FR-16].
pub(super) fn has_burst_bit(reply: &Reply) -> bool {
    reply.address.first().is_some_and(|a| a & 0x40 != 0)
}

/// Data of command 109.
pub(super) fn control(p: &Probe<'_>, control: u8) -> Vec<u8> {
    if p.revision() < Revision::R7 { vec![control] } else { vec![control, MESSAGE] }
}

/// Data of command 108.
pub(super) fn command(p: &Probe<'_>, command: u8) -> Vec<u8> {
    if p.revision() < Revision::R7 { vec![command] } else { vec![0, command, MESSAGE] }
}

/// A skip where bursts are on already, for then the device has work to do.
///
/// A message may be sent once an hour: then the burst bit of an answer tells [FR-16].
pub(super) fn quiet(p: &mut Probe<'_>) -> Outcome {
    let says = has_burst_bit(&p.ask(0, &[])?);
    let heard = p.listen(Duration::from_secs(2))?;
    match heard.bursts().is_empty() && !says {
        true => Ok(()),
        false => Err(Stop::Skip("the device is in burst mode; turn that off first".to_owned())),
    }
}

/// What has to be put back of message 0, whatever a case changes of it. Before revision 7 nothing tells the command and the
/// variables: these are asked from a burst.
pub(super) fn save(p: &mut Probe<'_>) -> Outcome {
    quiet(p)?;
    if p.revision() < Revision::R7 {
        return Ok(());
    }
    if p.has_command(105)? != Some(true) {
        return Err(Stop::Skip("the device does not tell its burst settings".to_owned()));
    }
    let reply = p.read(105, &[MESSAGE])?;
    // What cannot be read is judged by its own case.
    let Some(now) = Settings::of(&reply.data) else {
        return Err(Stop::Skip(format!("the settings of the burst message are not whole: {reply}")));
    };
    let was = Settings::of(&reply.data);
    // Done last of all.
    p.put_back_by("the settings of burst message 0 that command 105 told", move |p| {
        let now = p.read(105, &[MESSAGE])?;
        let same = Settings::of(&now.data) == was;
        expect(same, format!("what command 105 said before: {reply}"), now.to_string())
    });
    for (write, data) in PARTS {
        let back = data(&now);
        p.put_back_by(format!("a burst setting, command {write} with data {back:02X?}"), move |p| {
            // One that was never set may be one that no device takes.
            let is_back = |now: &Reply| Settings::of(&now.data).is_some_and(|now| data(&now) == back);
            match is_back(&p.read(105, &[MESSAGE])?) {
                true => Ok(()),
                false => p.write_back(write, &back),
            }
        });
    }
    Ok(())
}

/// Turns bursts on; they are turned off afterwards, first of all.
pub(super) fn on(p: &mut Probe<'_>) -> Outcome {
    put_back_off(p);
    let data = control(p, ON);
    let reply = p.ask_until_done(109, &data)?;
    if p.revision() == Revision::R6 && !reply.is_success() {
        // Whether it wants the message too, as in revision 7, no source tells.
        return Err(Stop::Inconclusive(format!("command 109 with one octet is refused: {reply}")));
    }
    expect(reply.is_success(), "bursts turned on", reply.to_string())
}

/// Remembers to turn bursts off.
pub(super) fn put_back_off(p: &mut Probe<'_>) {
    let off = control(p, OFF);
    p.put_back_by("bursts, turned off with command 109", move |p| {
        p.write_back(109, &off)?;
        let reply = p.ask(0, &[])?;
        expect(!has_burst_bit(&reply), "the burst bit clear", format!("{:02X?}", reply.address))
    });
}

/// Remembers the command that message 0 sends, which nothing but a burst tells before revision 7; from then on [`save`] has it.
pub(super) fn remember_command(p: &mut Probe<'_>) -> Outcome {
    if p.revision() < Revision::R7 {
        on(p)?;
        let now = some(p)?.command;
        p.put_all_back()?;
        let back = command(p, now);
        p.put_back(108, &back);
    }
    Ok(())
}

/// Period and longest period of message 0, in 1/32 ms.
pub(super) fn periods(p: &mut Probe<'_>, shortest: u32, longest: u32) -> Outcome {
    if p.revision() == Revision::R7 {
        let data = [&[MESSAGE][..], &shortest.to_be_bytes(), &longest.to_be_bytes()].concat();
        takes(p, 103, &data)?;
    }
    Ok(())
}

/// The command that message 0 sends. Before revision 7 the one that it sends now is heard first and put back.
pub(super) fn sends(p: &mut Probe<'_>, number: u8) -> Outcome {
    remember_command(p)?;
    let data = command(p, number);
    let reply = p.ask_until_done(108, &data)?;
    if p.revision() == Revision::R6 && !reply.is_success() {
        // Whether it wants the message too, as in revision 7, no source tells.
        return Err(Stop::Inconclusive(format!("command 108 with one octet is refused: {reply}")));
    }
    expect(reply.is_success(), format!("command 108 with data {data:02X?} taken"), reply.to_string())
}

/// Bursts turned on as they are, every half second from revision 7 on.
pub(super) fn begin(p: &mut Probe<'_>) -> Outcome {
    save(p)?;
    // 500 ms and a minute.
    periods(p, 16_000, 1_920_000)?;
    on(p)
}

/// What comes within three seconds.
pub(super) fn listen(p: &mut Probe<'_>) -> Result<Heard, Stop> {
    p.listen(Duration::from_secs(3))
}

/// A burst.
pub(super) fn some(p: &mut Probe<'_>) -> Result<Reply, Stop> {
    Ok(all(p)?.remove(0))
}

/// The bursts of three seconds, one at least: whether any come is the matter of another case.
pub(super) fn all(p: &mut Probe<'_>) -> Result<Vec<Reply>, Stop> {
    let heard = listen(p)?;
    let bursts = heard.bursts();
    match bursts.is_empty() {
        true => Err(Stop::Inconclusive(format!("no whole burst came: {}", heard.words()))),
        false => Ok(bursts),
    }
}

/// An octet of a burst's data.
pub(super) fn first_octet(burst: &Reply) -> Result<u8, Stop> {
    Ok(part(burst, 0, 1)?[0])
}
