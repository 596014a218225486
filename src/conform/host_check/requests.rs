//! What a request asks, held against its command's row and the device's revision [HC-02].

use super::book::{About, Book};
use super::devices::Devices;
use super::rules;
use crate::app::command::{Direction, Effect, spec};
use crate::exchange::Exchange;
use crate::frame::{Good, Master as Role, Target};

/// Commands that are sent to all devices [DV-07].
const TO_ALL: [u8; 3] = [11, 21, 73];
/// Commands that carry others, or whose request has a form of each device's own.
const OPEN: [u8; 4] = [31, 48, 77, 78];

/// Looks at an exchange that a master began; `asked_before` tells how often this one was asked of this device.
pub(super) fn look(e: &Exchange, book: &mut Book, devices: &Devices, asked_before: u32) {
    let t = &e.transaction;
    let Some(good) = t.tries.last() else { return };
    let address = good.frame.address();
    let (role, target, command) = (address.master, address.target, good.frame.command());
    for good in &t.tries {
        form(good, book);
    }
    let shown = |b: &Book| shown(e, b);
    let about = About { device: Some(target), command: Some(command) };
    if let Target::Polling(p) = target
        && command != 0
    {
        match devices.universal_revision(target) {
            Some(revision @ 5..) => {
                let says = || {
                    format!(
                        "command {command} in a short frame to polling address {}, whose device is of revision \
                         {revision}",
                        p.get()
                    )
                };
                book.found(&rules::SHORT_FRAME, role, about, says, shown);
            }
            Some(_) => {}
            None if t.reply.is_some() => {}
            None => {
                let why = "another command than 0 went to a polling address where no device was heard to tell its \
                           revision; one of revision 4 would take it";
                book.untold(&rules::SHORT_FRAME, role, why);
            }
        }
    }
    if address.is_broadcast() && !TO_ALL.contains(&command) {
        let what = e.spec.map_or("", |s| match s.effect {
            Effect::Reads | Effect::Stops => "",
            Effect::Writes => ", which writes",
            Effect::Moves => ", which may move a valve",
        });
        let says = || format!("command {command}{what}, sent to all devices");
        book.found(&rules::BROADCAST_MISUSED, role, About { device: None, ..about }, says, shown);
    }
    data(e, (role, about), book, devices);
    // Commands of device types may be in any revision.
    let row = spec(command.into()).filter(|_| command < 128 && asked_before > 0);
    if let (Some(row), Some(revision)) = (row, devices.revision(target))
        && row.form(revision).is_none()
    {
        let says = || {
            format!(
                "command {command} ({}) is asked once more of a device of revision {revision}, which has no such \
                 command [{}]",
                row.name, row.cites
            )
        };
        book.found(&rules::WRONG_REVISION, role, about, says, shown);
    }
}

fn form(good: &Good, book: &mut Book) {
    let frame = &good.frame;
    let (role, command) = (frame.address().master, frame.command());
    let shown = |b: &Book| vec![b.evidence("request", &good.octets)];
    let every = About::default();
    if frame.address().burst {
        let says = || format!("the request of command {command} has the burst bit (40) set");
        book.found(&rules::BURST_BIT_SET, role, every, says, shown);
    }
    let expansion = frame.expansion();
    if !expansion.as_slice().is_empty() {
        let says = || {
            format!("the request of command {command} has {} expansion octets", expansion.as_slice().len())
        };
        book.found(&rules::EXPANSION_OCTETS, role, every, says, shown);
    }
    if frame.physical() != 0 {
        let says = || {
            let delimiter = frame.delimiter().octet();
            format!("the delimiter of command {command} is {delimiter:02X}: mask 18 is not clear")
        };
        book.found(&rules::PHYSICAL_BITS, role, every, says, shown);
    }
}

fn data(e: &Exchange, (role, about): (Role, About), book: &mut Book, devices: &Devices) {
    let (Some(frame), Some(target)) = (e.transaction.request(), about.device) else { return };
    let (command, n) = (frame.command(), frame.data().len());
    let shown = |b: &Book| shown(e, b);
    let row = e.spec.filter(|_| !OPEN.contains(&command));
    let form = devices.revision(target).and_then(|r| Some((r, row?.form(r)?)));
    let code = e.transaction.reply_frame().and_then(|f| f.status()).map(|s| s[0]);
    // Where the row says that nothing is missing, the device is wrong and not the host; so it is where it calls an
    // empty command 48 too short.
    if code == Some(5) && form.is_some() && !e.request.complete {
        let says = || format!("command {command} with {n} data octets, which the device calls too few (5)");
        book.found(&rules::DATA_TOO_SHORT, role, about, says, shown);
    } else if code == Some(5) && form.is_none() && (command, n) != (48, 0) {
        let why =
            "a device calls data too few (5), and it is not known how many the command has in its revision";
        book.untold(&rules::DATA_TOO_SHORT, role, why);
    }
    if let Some((revision, _)) = form
        && e.request.complete
        && !e.surplus(Direction::Request).is_empty()
    {
        let more = e.surplus(Direction::Request).len();
        let says = || {
            format!("command {command} with {n} data octets, {more} more than it has in revision {revision}")
        };
        book.found(&rules::DATA_TOO_LONG, role, about, says, shown);
    }
}

/// The last request of an exchange and what answered it.
pub(super) fn shown(e: &Exchange, book: &Book) -> Vec<super::Evidence> {
    let t = &e.transaction;
    let asked = t.tries.last().map(|g| book.evidence("request", &g.octets));
    let answered = t.reply.as_ref().map(|g| book.evidence("answer", &g.octets));
    asked.into_iter().chain(answered).collect()
}
