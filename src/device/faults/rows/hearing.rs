//! What the device takes for a request to itself, and what it makes of damaged ones.

use crate::device::faults::Consequences::{NoAnswer, These};
use crate::device::faults::tools::as_good;
use crate::device::faults::{Act, ProtocolFault, fault};
use crate::frame::{Damage, Frame, FrameType, Good, Header, Marks, Master, Reception, Target};
use crate::link::{Call, Slave};

/// A whole request without expansion octets to somebody alone, in a long frame.
fn to_somebody(heard: &Reception) -> Option<(&Frame, [u8; 5])> {
    match heard {
        Reception::Good(Good { frame, .. })
            if frame.frame_type() == FrameType::Stx && frame.expansion().as_slice().is_empty() =>
        {
            match frame.address().target {
                Target::Unique(u) if !u.is_broadcast() => Some((frame, u.octets())),
                _ => None,
            }
        }
        _ => None,
    }
}

fn is_damaged(heard: &Reception, by: fn(&Damage) -> bool) -> bool {
    matches!(heard, Reception::Damaged(d) if by(&d.damage))
}

fn error(call: Call, change: fn(&Header, u8) -> u8) -> Call {
    match call {
        Call::Damaged(header, octet) => Call::Damaged(header, change(&header, octet)),
        other => other,
    }
}

fn polling_address(slave: &Slave, frame: &Frame) -> bool {
    matches!(frame.address().target, Target::Polling(p) if p == slave.polling)
}

fn unless_by(master: Master, call: Call) -> Call {
    match &call {
        Call::Request(f) if f.address().master == master => Call::NotForUs,
        Call::Broadcast(f) if f.address().master == master => Call::NotForUs,
        Call::Damaged(h, _) if h.address.master == master => Call::NotForUs,
        _ => call,
    }
}

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "short_frames_answered",
        "It answers every command in a short frame to its polling address, and not command 0 alone.",
        "FR-14",
        These(&["DV-12", "FR-05"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Good(Good { frame, .. })
                if frame.frame_type() == FrameType::Stx
                    && frame.expansion().as_slice().is_empty()
                    && polling_address(slave, frame) =>
            {
                Call::Request(frame.clone())
            }
            _ => call,
        }),
    ),
    fault(
        "every_polling_address_answered",
        "It answers command 0 in short frames to whatever polling address.",
        "FR-05",
        These(&["DV-12", "FR-14"]),
        Act::Call(|_, heard, call| match heard {
            Reception::Good(Good { frame, .. })
                if frame.frame_type() == FrameType::Stx
                    && frame.expansion().as_slice().is_empty()
                    && frame.command() == 0
                    && matches!(frame.address().target, Target::Polling(_)) =>
            {
                Call::Request(frame.clone())
            }
            _ => call,
        }),
    ),
    fault(
        "polling_address_unanswered",
        "It does not answer command 0 in a short frame to its polling address.",
        "FR-14",
        NoAnswer(&[]),
        Act::Call(|slave, _, call| match &call {
            Call::Request(frame) if polling_address(slave, frame) => Call::NotForUs,
            _ => call,
        }),
    ),
    fault(
        "other_device_id_answered",
        "It answers requests to other devices of its type, for it compares the first two address octets alone.",
        "FR-06",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match to_somebody(heard) {
            Some((frame, address)) if address[..2] == slave.unique.octets()[..2] => {
                Call::Request(frame.clone())
            }
            _ => call,
        }),
    ),
    fault(
        "other_type_answered",
        "It answers requests to devices of other types with its device id, for it compares the last three octets alone.",
        "FR-06",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match to_somebody(heard) {
            Some((frame, address)) if address[2..] == slave.unique.octets()[2..] => {
                Call::Request(frame.clone())
            }
            _ => call,
        }),
    ),
    fault(
        "broadcast_answered",
        "It answers every command sent to the broadcast address.",
        "FR-07",
        These(&["DV-07", "DV-12"]),
        Act::Call(|_, _, call| match call {
            Call::Broadcast(frame) if ![11, 21, 73].contains(&frame.command()) => Call::Request(frame),
            other => other,
        }),
    ),
    fault(
        "broadcast_unanswered",
        "It is silent to a broadcast that describes it.",
        "DV-07",
        These(&["FR-07", "CM-011", "CM-021", "CM-073"]),
        Act::Call(|_, _, call| match call {
            Call::Broadcast(_) => Call::NotForUs,
            other => other,
        }),
    ),
    fault(
        "expansion_octets_ignored",
        "It answers requests with an expansion octet that it does not know as if they had none.",
        "FR-04",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Good(g) if !g.frame.expansion().as_slice().is_empty() => {
                let plain = Frame::request(g.frame.address(), g.frame.command(), g.frame.data().clone());
                match plain {
                    Ok(frame) if g.frame.frame_type() == FrameType::Stx => {
                        slave.judge(&Reception::Good(Good { frame, ..g.clone() }))
                    }
                    _ => call,
                }
            }
            _ => call,
        }),
    ),
    fault(
        "answers_answers",
        "It takes an answer that bears its own address for a request and answers it.",
        "DV-12",
        These(&["FR-03"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Good(g) if g.frame.frame_type() == FrameType::Ack => {
                match Frame::request(g.frame.address(), g.frame.command(), g.frame.data().clone()) {
                    Ok(frame) => slave.judge(&Reception::Good(Good { frame, ..g.clone() })),
                    Err(_) => call,
                }
            }
            _ => call,
        }),
    ),
    fault(
        "wrong_check_byte_obeyed",
        "It carries out and answers requests whose check byte is wrong.",
        "FR-09",
        These(&["LL-08", "FR-11", "ST-01"]),
        Act::Call(|slave, heard, call| match is_damaged(heard, |d| matches!(d, Damage::Check { .. })) {
            true => as_good(slave, heard),
            false => call,
        }),
    ),
    fault(
        "wrong_parity_obeyed",
        "It carries out and answers requests of which a data octet has the wrong parity.",
        "FR-13",
        These(&["LL-08", "FR-11", "ST-01"]),
        Act::Call(|slave, heard, call| match is_damaged(heard, |d| matches!(d, Damage::Character { .. })) {
            true => as_good(slave, heard),
            false => call,
        }),
    ),
    fault(
        "cut_request_obeyed",
        "It carries out and answers requests that break off before their byte count is reached.",
        "FR-08",
        These(&["LL-08", "FR-11", "LL-06"]),
        Act::Call(|slave, heard, call| match is_damaged(heard, |d| matches!(d, Damage::Truncated { .. })) {
            true => as_good(slave, heard),
            false => call,
        }),
    ),
    fault(
        "pause_in_request_ignored",
        "It carries out and answers requests with a pause of several characters inside.",
        "LL-06",
        These(&["FR-11", "FR-10", "LL-08", "DV-12"]),
        Act::Ear(|ear| {
            ear.longest_step = None;
            ear.give_up *= 8;
        }),
    ),
    fault(
        "needs_more_preambles",
        "It hears requests behind eight preambles and more, though command 0 says that five will do.",
        "LL-11",
        NoAnswer(&["FR-02", "FR-10"]),
        Act::Call(|_, heard, call| match heard {
            Reception::Good(g) if g.preambles < 8 => Call::NotForUs,
            _ => call,
        }),
    ),
    fault(
        "deaf_to_the_primary",
        "It does not answer the primary master.",
        "LL-09",
        NoAnswer(&[]),
        Act::Call(|_, _, call| unless_by(Master::Primary, call)),
    ),
    fault(
        "deaf_to_the_secondary",
        "It does not answer the secondary master.",
        "LL-09",
        NoAnswer(&["LL-08"]),
        Act::Call(|_, _, call| unless_by(Master::Secondary, call)),
    ),
    fault(
        "error_flag_missing",
        "Its answer to a damaged request lacks mask 80, so that the error looks like a response code.",
        "ST-01",
        These(&["LL-08", "FR-09", "FR-12", "FR-13"]),
        Act::Call(|_, _, call| error(call, |_, octet| octet & 0x7F)),
    ),
    fault(
        "error_without_cause",
        "Its answer to a damaged request has mask 80 alone and does not say what was wrong.",
        "ST-01",
        These(&["LL-08"]),
        Act::Call(|_, _, call| error(call, |_, _| 0x80)),
    ),
    fault(
        "parity_told_as_framing",
        "It reports wrong parity of a request as a framing error.",
        "ST-01",
        These(&["LL-08"]),
        Act::Call(|_, heard, call| match heard {
            Reception::Damaged(d) if matches!(d.damage, Damage::Character { marks, .. } if marks.contains(Marks::PARITY)) => {
                error(call, |_, octet| octet & !0x40 | 0x10)
            }
            _ => call,
        }),
    ),
    fault(
        "error_with_data",
        "Its answer to a damaged request has two octets of data behind the status.",
        "FR-12",
        These(&["LL-08", "ST-01"]),
        Act::Reply(|_, reply| {
            if reply.is_error {
                reply.data = vec![0, 0];
            }
        }),
    ),
    fault(
        "error_names_the_primary",
        "Its answers to damaged requests name the primary master, whoever has asked.",
        "FR-16",
        These(&["LL-08", "LL-09"]),
        Act::Reply(|_, reply| {
            if reply.is_error {
                reply.address.master = Master::Primary;
            }
        }),
    ),
    fault(
        "damaged_answered_as_good",
        "It answers a damaged request with response code 0 and does nothing.",
        "ST-01",
        These(&["LL-08", "FR-09", "FR-12", "FR-13"]),
        Act::Call(|_, _, call| error(call, |_, _| 0)),
    ),
];
