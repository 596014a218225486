//! Faults that were made to tell checks apart which all others broke together, or to break one that none broke. What each
//! violates was written before a check was run on it.

use crate::device::faults::Consequences::{NoAnswer, These};
use crate::device::faults::rows::reads::SLOT;
use crate::device::faults::tools::{IDENTITY, change, change_float, request_behind};
use crate::device::faults::{Act, In, ProtocolFault, fault};
use crate::frame::{Damage, FrameType, Good, Marks, Master, Reception, Target};
use crate::link::{Call, Slave};

/// Not for it where this is so of a whole request.
fn deaf_if(heard: &Reception, call: Call, is_unheard: fn(&Good) -> bool) -> Call {
    match heard {
        Reception::Good(g) if is_unheard(g) => Call::NotForUs,
        _ => call,
    }
}

/// Its own short address in a whole request.
fn is_short(slave: &Slave, good: &Good) -> bool {
    good.frame.frame_type() == FrameType::Stx
        && good.frame.expansion().as_slice().is_empty()
        && matches!(good.frame.address().target, Target::Polling(p) if p == slave.polling)
}

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "deaf_behind_many_preambles",
        "It hears no request behind more than 15 preambles.",
        "FR-02",
        These(&[]),
        Act::Call(|_, heard, call| deaf_if(heard, call, |g| g.preambles > 15)),
    ),
    fault(
        "deaf_behind_two_preambles",
        "It hears no request behind two preambles, of which it has to hear no more.",
        "FR-10",
        These(&[]),
        Act::Call(|_, heard, call| deaf_if(heard, call, |g| g.preambles < 3)),
    ),
    fault(
        "deaf_behind_four_preambles",
        "It hears no request behind fewer than five preambles, though masters send five of which some may be lost.",
        "FR-10",
        These(&[]),
        Act::Call(|_, heard, call| deaf_if(heard, call, |g| g.preambles < 5)),
    ),
    fault(
        "preambles_in_the_check",
        "It takes the preambles into the check, so that an even number of them makes a right check byte wrong.",
        "FR-09",
        // Such requests are not answered, whatever they are for.
        These(&["FR-02", "FR-10", "LL-11"]),
        Act::Call(|_, heard, call| deaf_if(heard, call, |g| g.preambles % 2 == 0)),
    ),
    fault(
        "one_preamble_is_enough",
        "It answers a request behind a single preamble.",
        "FR-10",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match request_behind(slave, heard) {
            Some((preambles, frame)) if preambles.len() == 1 => Call::Request(frame),
            _ => call,
        }),
    ),
    fault(
        "spoilt_preamble_unseen",
        "It answers a request whose last preamble has wrong parity.",
        "FR-10",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match request_behind(slave, heard) {
            Some((preambles, frame)) if preambles.last().is_some_and(|o| !o.marks.is_empty()) => {
                Call::Request(frame)
            }
            _ => call,
        }),
    ),
    fault(
        "kinds_that_do_not_exist_answered",
        "It answers frames whose delimiter says a kind that does not exist.",
        "FR-03",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match request_behind(slave, heard) {
            Some((preambles, frame)) if preambles.len() > 1 && !matches!(heard, Reception::Good(_)) => {
                let kind = heard.octets().get(preambles.len()).map_or(0, |o| o.value & 7);
                if matches!(kind, 1 | 2 | 6) { call } else { Call::Request(frame) }
            }
            _ => call,
        }),
    ),
    fault(
        "bursts_answered",
        "It answers a burst with its own address as if that were a request.",
        "DV-12",
        These(&["FR-03"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Good(g)
                if g.frame.frame_type() == FrameType::Back
                    && g.frame.address().target == Target::Unique(slave.unique) =>
            {
                match request_behind(slave, heard) {
                    Some((_, frame)) => Call::Request(frame),
                    None => call,
                }
            }
            _ => call,
        }),
    ),
    fault(
        "long_requests_unheard",
        "It hears no request of more than 64 data octets, though the byte count may be 255.",
        "FR-08",
        These(&[]),
        Act::Call(|_, heard, call| deaf_if(heard, call, |g| g.frame.data().len() > 64)),
    ),
    fault(
        "short_pauses_unheard",
        "It gives up a request in which an octet comes a fifth of a character late.",
        "LL-06",
        These(&["FR-11"]),
        // From two characters, one of them a pause, to 1.2.
        Act::Ear(|ear| ear.longest_step = ear.longest_step.map(|step| step.mul_f64(0.6))),
    ),
    fault(
        "short_pause_inside",
        "It pauses for three quarters of a character behind the byte count of its answers.",
        "LL-06",
        These(&[]),
        Act::Octets(|o| {
            if !o.is_burst {
                let (at, pause) = (o.command_at() + 2, o.character * 3 / 4);
                if let Some(octet) = o.frame().get_mut(at) {
                    octet.gap_before = pause;
                }
            }
        }),
    ),
    fault(
        "header_damage_answered",
        "It answers a communication error to a request whose delimiter has wrong parity, though nothing behind it can be trusted.",
        "FR-11",
        These(&["LL-08", "DV-12"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Damaged(d) if matches!(d.damage, Damage::Header { .. }) => header_error(slave, heard).unwrap_or(call),
            Reception::Noise(_) => header_error(slave, heard).unwrap_or(call),
            _ => call,
        }),
    ),
    fault(
        "short_byte_count_obeyed",
        "It obeys a request with fewer data octets than its byte count says.",
        "FR-11",
        These(&["FR-08", "DV-12"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Damaged(d) if matches!(d.damage, Damage::Truncated { .. }) => {
                let values: Vec<u8> = d.octets.iter().skip(d.preambles).map(|o| o.value).collect();
                match d.header() {
                    Some(h) if values.len() == 9 && crate::frame::check_byte(&values) == 0 && h.address.target == Target::Unique(slave.unique) => {
                        crate::frame::Frame::request(h.address, h.command, Vec::new()).map_or(call, Call::Request)
                    }
                    _ => call,
                }
            }
            _ => call,
        }),
    ),
    fault(
        "check_byte_by_seven_bits",
        "It does not look at mask 80 of the check byte of a request.",
        "FR-09",
        These(&["ST-01", "LL-08"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Damaged(d) if matches!(d.damage, Damage::Check { .. }) => {
                let values: Vec<u8> = d.octets.iter().skip(d.preambles).map(|o| o.value).collect();
                if crate::frame::check_byte(&values) == 0x80 {
                    crate::device::faults::tools::as_good(slave, heard)
                } else {
                    call
                }
            }
            _ => call,
        }),
    ),
    fault(
        "polling_address_by_four_bits",
        "It compares the lower four bits of a polling address alone.",
        "FR-05",
        These(&["DV-12"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Good(g)
                if g.frame.frame_type() == FrameType::Stx
                    && g.frame.command() == 0
                    && matches!(g.frame.address().target, Target::Polling(p) if p.get() & 0x0F == slave.polling.get() & 0x0F) =>
            {
                Call::Request(g.frame.clone())
            }
            _ => call,
        }),
    ),
    fault(
        "short_frames_refused",
        "It answers 64 in short frames to commands that do not exist, where it has to be silent.",
        "DV-12",
        These(&["FR-14"]),
        Act::Call(|slave, heard, call| match heard {
            Reception::Good(g) if is_short(slave, g) && g.frame.command() == 4 => Call::Request(g.frame.clone()),
            _ => call,
        }),
    ),
    fault(
        "tag_compared_in_part",
        "Sent to all, command 11 is answered if all characters of the tag but the last two are right.",
        "DV-12",
        These(&["CM-011", "DV-07"]),
        Act::Request(|state, request, next| {
            let own = crate::app::types::packed::pack(&state.stored.tag, 6).unwrap_or_default();
            match request.command() {
                11 if request.broadcast && request.data().get(..4) == own.get(..4) => next.run_with(state, request, own),
                _ => next.run(state, request),
            }
        }),
    ),
    fault(
        "surplus_of_the_identity_refused",
        "Command 0 with surplus data octets is refused with 5.",
        "DV-06",
        These(&["FR-08", "FR-09", "FR-11", "CM-000"]),
        Act::Request(|state, request, next| match (request.command(), request.data()) {
            (0, [_, ..]) => Some((5, Vec::new())),
            _ => next.run(state, request),
        }),
    ),
    fault(
        "short_frames_answered_late",
        "It begins its answers in short frames 31 characters after the request, three behind the slave time-out.",
        "LL-02",
        These(&[]),
        Act::Reply(|_, reply| {
            if matches!(reply.address.target, Target::Polling(_)) {
                super::time::waits(reply, 31);
            }
        }),
    ),
    fault(
        "each_fourth_request_unanswered",
        "It does not answer command 13 where that is the fourth request, the eighth, and so on.",
        "LL-02",
        NoAnswer(&["LL-09"]),
        Act::Request(|state, request, next| {
            let told = next.run(state, request);
            if state.counters.requests % 4 == 0 && request.command() == 13 { None } else { told }
        }),
    ),
    fault(
        "each_second_identity_differs",
        "Each second answer to command 0 has another hardware revision: a repeat does not get what was asked before.",
        "LL-07",
        // The identity is asked and compared in all of these.
        These(&["CM-000", "CM-011", "CM-021", "CM-042", "DV-06", "DV-07", "FR-14", "LL-09"]),
        Act::Data {
            of: &[0],
            edit: |state, d| change(d, 7, |o| o ^ (u8::from(state.counters.requests % 2 == 1) << 3)),
        },
    ),
    fault(
        "master_bit_clear_in_short_frames",
        "Its answers in short frames name the secondary master, whoever has asked.",
        "FR-16",
        These(&["LL-09"]),
        Act::Reply(|_, reply| {
            if !reply.is_burst && matches!(reply.address.target, Target::Polling(_)) {
                reply.address.master = Master::Secondary;
            }
        }),
    ),
    fault(
        "master_bit_clear_in_refusals",
        "Its refusals name the secondary master, whoever has asked.",
        "FR-16",
        These(&["LL-09"]),
        Act::Reply(|_, reply| {
            if !reply.is_burst && !reply.is_error && reply.status[0] != 0 && reply.data.is_empty() {
                reply.address.master = Master::Secondary;
            }
        }),
    ),
    fault(
        "primary_told_the_identity_alone",
        "It answers the primary master nothing but commands 0 and 48.",
        "LL-09",
        NoAnswer(&[]),
        Act::Call(|_, heard, call| {
            deaf_if(heard, call, |g| {
                g.frame.address().master == Master::Primary && !matches!(g.frame.command(), 0 | 48)
            })
        }),
    ),
    fault(
        "primary_told_another_identity",
        "It tells the primary master another hardware revision than the secondary one.",
        "CM-000",
        These(&["LL-09"]),
        Act::Request(|state, request, next| {
            let (code, mut data) = next.run(state, request)?;
            if IDENTITY.contains(&request.command()) && request.master() == Master::Primary {
                change(&mut data, 7, |o| o ^ 0x08);
            }
            Some((code, data))
        }),
    ),
    fault(
        "short_frame_told_another_identity",
        "It tells another hardware revision in short frames than in long ones.",
        "CM-000",
        These(&["FR-14", "LL-07"]),
        Act::Request(|state, request, next| {
            let (code, mut data) = next.run(state, request)?;
            if request.command() == 0 && matches!(request.frame.address().target, Target::Polling(_)) {
                change(&mut data, 7, |o| o ^ 0x08);
            }
            Some((code, data))
        }),
    ),
    fault(
        "value_in_9_doubled",
        "Command 9 answers twice the value of each variable.",
        "CM-009",
        These(&["CM-001", "CM-003", "CM-033", "TY-02"]),
        Act::Data {
            of: &[9],
            edit: |_, d| (4..d.len()).step_by(SLOT).for_each(|at| change_float(d, at, |x| if x.is_nan() { x } else { x * 2.0 })),
        },
    )
    .only(In::From6),
    fault(
        "mandatory_variables_missing",
        "Command 9 answers the variables 243 to 246, which it has to have, as ones that are not there.",
        "TY-09",
        These(&["CM-008", "CM-009", "TY-08", "TY-03", "CM-001", "CM-003"]),
        Act::Data {
            of: &[9],
            edit: |_, d| {
                for at in (1..d.len()).step_by(SLOT) {
                    if d.get(at).is_some_and(|code| (243..=246).contains(code)) && d.len() >= at + SLOT {
                        d[at + 1..at + SLOT].copy_from_slice(&[0, 250, 0x7F, 0xA0, 0, 0, 0x30]);
                    }
                }
            },
        },
    )
    .only(In::R7),
    fault(
        "missing_variable_with_a_unit",
        "Command 9 answers a variable that the device does not have with the unit percent.",
        "CM-009",
        These(&["TY-08"]),
        Act::Data {
            of: &[9],
            edit: |_, d| {
                for at in (1..d.len()).step_by(SLOT) {
                    if d.get(at + 7) == Some(&0x30) {
                        d[at + 2] = 57;
                    }
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "write_protect_code_unknown",
        "Octet 15 of command 15 has a write protect code that is not in the table.",
        "TB-03",
        These(&["CM-015"]),
        Act::Data { of: &[15], edit: |_, d| change(d, 15, |_| 7) },
    ),
    fault(
        "reserved_octet_zero",
        "Octet 16 of command 15 is 0 and not 250.",
        "CM-015",
        These(&[]),
        Act::Data { of: &[15], edit: |_, d| change(d, 16, |_| 0) },
    )
    .only(In::From6),
    fault(
        "message_changes_the_descriptor",
        "A write of the message changes the descriptor.",
        "CM-017",
        These(&["CM-013", "CM-018"]),
        Act::Undoes {
            of: &[17],
            undo: |state, was| {
                if state.stored.configuration_change_counter != was.stored.configuration_change_counter {
                    let is_a = state.stored.descriptor.starts_with('A');
                    state.stored.descriptor = if is_a { "B" } else { "A" }.into();
                }
            },
        },
    ),
    fault(
        "extended_status_undefined_bit",
        "The extended status in its identity has mask 40, which is undefined.",
        "ST-05",
        These(&["CM-000", "CM-009", "CM-048"]),
        Act::Data { of: IDENTITY, edit: |_, d| change(d, 16, |o| o | 0x40) },
    )
    .only(In::R7),
    fault(
        "extended_status_of_48_differs",
        "Octet 6 of command 48 says that maintenance is required, which command 9 does not.",
        "ST-05",
        These(&["CM-048", "ST-07"]),
        Act::Data { of: &[48], edit: |_, d| change(d, 6, |o| o ^ 0x01) },
    )
    .only(In::R7),
    fault(
        "reading_warned",
        "Command 16 answers with the warning 30, which reading it does not have.",
        "ST-04",
        These(&["CM-016"]),
        Act::Code { of: &[16], from: 0, to: 30 },
    ),
    fault(
        "delayed_stops_all_else",
        "While it has a request put off it answers 32, busy, to all others.",
        "DV-40",
        These(&["DV-09"]),
        Act::Request(|state, request, next| {
            let is_known = state.delayed.knows(request.master(), request.command(), request.data());
            let stops = state.delayed.next_at().is_some() && !is_known && request.command() != 22;
            if stops { Some((32, Vec::new())) } else { next.run(state, request) }
        }),
    )
    .only(In::R7),
    fault(
        "delayed_conflict_of_both_masters",
        "While a request of one master is put off it answers 36, conflict, to the same one of the other master.",
        "DV-40",
        These(&["CM-106", "LL-09"]),
        Act::Request(|state, request, next| {
            let other = request.master().other();
            let of_other = state.delayed.next_at().is_some() && state.delayed.knows(other, request.command(), request.data());
            if of_other { Some((36, Vec::new())) } else { next.run(state, request) }
        }),
    )
    .only(In::R7),
    fault(
        "burst_every_two_seconds",
        "Before revision 7 it sends a burst every two seconds, and not as often as it can.",
        "LL-10",
        These(&[]),
        Act::Timing(|(_, _, trigger)| {
            let period = core::time::Duration::from_secs(2);
            (period, period, trigger)
        }),
    )
    .only(In::UpTo6),
    fault(
        "highest_polling_address_not_taken",
        "Command 6 with the highest polling address answers success and keeps the old one.",
        "FR-05",
        These(&["CM-006", "CM-007"]),
        Act::Undoes {
            of: &[6],
            undo: |state, was| {
                if state.stored.polling_address == state.config.identity.highest_polling() {
                    let (address, mode) = (was.stored.polling_address, state.stored.loop_current_mode_enabled);
                    state.set_loop_configuration(state.now, address, mode);
                }
            },
        },
    )
    .only(In::From6),
    fault(
        "error_with_the_reserved_mask",
        "Its answer to a damaged request has mask 04, which is reserved.",
        "ST-01",
        These(&["LL-08"]),
        Act::Call(|_, _, call| error(call, |octet| octet | 0x04)),
    ),
    fault(
        "error_of_every_kind",
        "Its answer to a damaged request says that it had every kind of damage.",
        "ST-01",
        These(&["LL-08"]),
        Act::Call(|_, _, call| error(call, |octet| octet | 0x78)),
    ),
    fault(
        "error_with_all_status_bits",
        "The second octet of its answer to a damaged request is FF, neither 0 nor its device status.",
        "LL-08",
        These(&["ST-01", "ST-02"]),
        Act::Reply(|_, reply| {
            if reply.is_error {
                reply.status[1] = 0xFF;
            }
        }),
    ),
];

fn error(call: Call, change: fn(u8) -> u8) -> Call {
    match call {
        Call::Damaged(header, octet) => Call::Damaged(header, change(octet)),
        other => other,
    }
}

/// The communication error after a request to this device that has a wrong parity in its header.
fn header_error(slave: &Slave, heard: &Reception) -> Option<Call> {
    let (preambles, frame) = request_behind(slave, heard)?;
    let mut header = heard.octets().iter().skip(preambles.len()).take(8);
    let is_spoilt = preambles.len() > 1
        && preambles.iter().all(|o| o.marks.is_empty())
        && header.any(|o| o.marks.contains(Marks::PARITY));
    let good = crate::frame::Header::parse(&frame.encode())?;
    is_spoilt.then_some(Call::Damaged(good, 0xC0))
}
