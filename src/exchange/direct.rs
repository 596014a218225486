//! Exchanges of frames that travelled in messages: direct PDUs, which have no frame of their own, and single frames [IP-08] [IP-09].

use super::{Exchange, Interpreter};
use crate::app::command::{Effect, spec};
use crate::frame::{Address, Frame, Good, Master, Octet, PollingAddress, Target};
use crate::ip::{DirectCommand, DirectPdu, Harmless};
use crate::time::Instant;
use crate::transaction::{Kind, Oddities, Outcome, Transaction};
use bytes::Bytes;

/// Octets of FF that are put before a frame of a message, which has none [FR-10].
const PREAMBLES: usize = 5;
/// Command that carries the number of another above 255 [CM-031].
const EXTENDED: u8 = 31;

/// A frame as if it had been received at this moment, behind five octets of FF.
pub fn good_at(frame: Frame, at: Instant) -> Good {
    let octets = frame.encode_after(PREAMBLES).iter().map(|&value| Octet::clean(at, value)).collect();
    Good { frame, preambles: PREAMBLES, octets }
}

/// The commands that change nothing, whatever the device: who repeats one of them does no harm [IP-12]. One that carries
/// another is none of them, nor is any whose number says nothing.
pub fn harmless() -> Harmless {
    let carries = |command| matches!(command, 31 | 77);
    Harmless::those(|c| !carries(c) && spec(c.into()).is_some_and(|s| s.effect == Effect::Reads))
}

/// A request, its answer, or both, as an exchange; `None` where neither is given. The times are those of the messages.
pub fn read_pair(
    interpreter: &mut Interpreter,
    request: Option<(Frame, Instant)>,
    reply: Option<(Frame, Instant)>,
) -> Option<Exchange> {
    let kind = match (&request, &reply) {
        (Some(_), _) => Kind::Asked,
        (None, Some((frame, _))) if frame.frame_type() == crate::frame::FrameType::Back => Kind::Burst,
        (None, Some(_)) => Kind::Unasked,
        (None, None) => return None,
    };
    let response_time = match (&request, &reply) {
        (Some((_, asked)), Some((_, answered))) => Some(answered.since(*asked)),
        _ => None,
    };
    let outcome = if reply.is_some() { Outcome::Answered } else { Outcome::Open };
    let good = |(frame, at)| good_at(frame, at);
    Some(interpreter.read(Transaction {
        kind,
        outcome,
        tries: request.map(good).into_iter().collect(),
        interludes: Vec::new(),
        reply: reply.map(good),
        response_time,
        oddities: Oddities::NONE,
    }))
}

/// What a direct PDU and its response say.
#[derive(Clone, Debug, Default)]
pub struct DirectRead {
    /// One for each command, in order: what the response has under the request's number belongs together.
    pub exchanges: Vec<Exchange>,
    /// Commands whose data are longer than a frame can have, or that lack their response code.
    pub unread: Vec<DirectCommand>,
}

/// Reads a direct PDU, its response, or both. A direct PDU names no device, so the frames of the exchanges have polling
/// address 0; a number above 255 stands inside command 31.
pub fn read_direct(
    interpreter: &mut Interpreter,
    master: Master,
    request: Option<(&DirectPdu, Instant)>,
    reply: Option<(&DirectPdu, Instant)>,
) -> DirectRead {
    let address = Address::new(master, Target::Polling(PollingAddress::default()));
    let mut out = DirectRead::default();
    let empty = DirectPdu::default();
    let answered = reply.is_some();
    let ((asked, asked_at), (told, told_at)) =
        (request.unwrap_or((&empty, Instant::ZERO)), reply.unwrap_or((&empty, Instant::ZERO)));
    let mut answers = told.commands.iter().peekable();
    let mut read = |request: Option<&DirectCommand>, answer: Option<&DirectCommand>, out: &mut DirectRead| {
        let mut sides = [None, None];
        for (side, command) in [(0, request), (1, answer)] {
            let Some(command) = command else { continue };
            let frame = match side {
                0 => request_frame(address, command),
                _ => reply_frame(address, told.device_status, command),
            };
            match frame {
                Some(frame) => sides[side] = Some((frame, [asked_at, told_at][side])),
                None => out.unread.push(command.clone()),
            }
        }
        let [request, reply] = sides;
        let mut exchange = read_pair(interpreter, request, reply);
        if let (Some(e), true) = (&mut exchange, answered && answer.is_none()) {
            // There is a response, and nothing of this command in it.
            e.transaction.outcome = Outcome::Silent;
        }
        out.exchanges.extend(exchange);
    };
    for command in &asked.commands {
        let answer = answers.next_if(|a| a.number == command.number);
        read(Some(command), answer, &mut out);
    }
    answers.for_each(|answer| read(None, Some(answer), &mut out));
    out
}

/// Number and data as a frame has them.
fn carried(number: u16, data: Bytes) -> (u8, Bytes) {
    match u8::try_from(number) {
        Ok(number) => (number, data),
        Err(_) => (EXTENDED, [&number.to_be_bytes()[..], &data[..]].concat().into()),
    }
}

fn request_frame(address: Address, command: &DirectCommand) -> Option<Frame> {
    let (number, data) = carried(command.number, command.data().clone());
    Frame::request(address, number, data).ok()
}

fn reply_frame(address: Address, device_status: u8, command: &DirectCommand) -> Option<Frame> {
    let (code, data) = command.response()?;
    // A refusal says nothing but its code.
    let (number, data) = match data.is_empty() && command.number <= 255 {
        true => (command.number as u8, data),
        false => carried(command.number, data),
    };
    Frame::reply(false, address, number, [code, device_status], data).ok()
}
