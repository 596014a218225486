//! Wrong octets in whatever the device says.

use crate::device::faults::Consequences::{Everything, NoAnswer, These};
use crate::device::faults::{Act, In, ProtocolFault, fault};
use crate::frame::{Master, PollingAddress, RawOctet, Target};

pub(super) static ROWS: &[ProtocolFault] = &[
    fault(
        "delimiter_of_a_burst",
        "Its answers have the delimiter of a burst, 01 or 81.",
        "FR-03",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| o.set(0, |d| d & 0xF8 | 1)),
    ),
    fault(
        "delimiter_of_a_request",
        "Its answers have the delimiter of a request, 02 or 82.",
        "FR-03",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| {
            if !o.is_burst {
                o.set(0, |d| d & 0xF8 | 2);
            }
        }),
    ),
    fault(
        "physical_layer_bits_set",
        "The delimiters of what it sends name the synchronous physical layer, mask 18, on the FSK line.",
        "FR-03",
        These(&[]),
        Act::Octets(|o| o.set(0, |d| d | 0x18)),
    ),
    fault(
        "expansion_count_in_answer",
        "The delimiters of its answers count one expansion octet, and there is none.",
        "FR-04",
        NoAnswer(&["FR-08", "FR-12", "LL-08"]),
        Act::Octets(|o| {
            if !o.is_burst {
                o.set(0, |d| d | 0x20);
            }
        }),
    ),
    fault(
        "answers_short_to_long",
        "It answers requests to its unique address in short frames with its polling address.",
        "FR-14",
        These(&["DV-07", "FR-03", "FR-06"]),
        Act::Reply(|state, reply| {
            if !reply.is_burst {
                let polling = PollingAddress::new(state.stored.polling_address).unwrap_or_default();
                reply.address.target = Target::Polling(polling);
            }
        }),
    ),
    fault(
        "answers_long_to_short",
        "It answers command 0 in a short frame with its unique address.",
        "FR-05",
        These(&["FR-14", "FR-03", "CM-000", "LL-12"]),
        Act::Reply(|state, reply| {
            if matches!(reply.address.target, Target::Polling(_)) {
                reply.address.target = Target::Unique(state.config.identity.unique_address());
            }
        }),
    ),
    fault(
        "polling_address_off_by_one",
        "Its answers in short frames bear the next polling address.",
        "FR-05",
        These(&["CM-000", "FR-14", "LL-12"]),
        Act::Octets(|o| {
            if o.octets[o.preambles].value & 0x80 == 0 {
                o.set(1, |a| a & 0xC0 | a.wrapping_add(1) & 0x3F);
            }
        }),
    ),
    fault(
        "unique_address_top_cleared",
        "The low six bits of the first address octet are zero in whatever it sends in long frames.",
        "FR-06",
        These(&["DV-07"]),
        Act::Octets(|o| {
            if o.octets[o.preambles].value & 0x80 != 0 {
                o.set(1, |a| a & 0xC0);
            }
        }),
    ),
    fault(
        "master_bit_never_set",
        "Its answers name the secondary master, whoever has asked.",
        "FR-16",
        These(&["LL-09"]),
        Act::Reply(|_, reply| {
            if !reply.is_burst {
                reply.address.master = Master::Secondary;
            }
        }),
    ),
    fault(
        "master_bit_always_set",
        "Its answers name the primary master, whoever has asked.",
        "FR-16",
        These(&["LL-09"]),
        Act::Reply(|_, reply| {
            if !reply.is_burst {
                reply.address.master = Master::Primary;
            }
        }),
    ),
    fault(
        "burst_bit_always_set",
        "The burst bit is set in its answers though it is not in burst mode.",
        "FR-16",
        These(&["LL-10"]),
        Act::Reply(|_, reply| reply.address.burst = true),
    ),
    fault(
        "command_not_echoed",
        "Its answers bear command 0, whatever was asked.",
        "FR-01",
        These(&["CM-042", "LL-12"]),
        Act::Reply(|_, reply| {
            if !reply.is_burst {
                reply.command = 0;
            }
        }),
    ),
    fault(
        "check_byte_wrong",
        "The check byte of whatever it sends is wrong in one bit.",
        "FR-09",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| {
            if let Some(last) = o.octets.last_mut() {
                last.value ^= 0x01;
            }
        }),
    ),
    fault(
        "check_byte_without_delimiter",
        "It leaves the delimiter out of the check byte of whatever it sends.",
        "FR-09",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| {
            let delimiter = o.octets[o.preambles].value;
            if let Some(last) = o.octets.last_mut() {
                last.value ^= delimiter;
            }
        }),
    ),
    fault(
        "byte_count_one_more",
        "The byte count of its answers is one more than the octets that follow; the check byte is right.",
        "FR-08",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| o.set(o.command_at() + 1, |n| n.wrapping_add(1))),
    ),
    fault(
        "byte_count_one_less",
        "The byte count of its answers is one less than the octets that follow; the check byte is right.",
        "FR-08",
        NoAnswer(&["CM-009", "FR-12", "LL-08"]),
        Act::Octets(|o| o.set(o.command_at() + 1, |n| n.wrapping_sub(1))),
    ),
    fault(
        "byte_count_without_status",
        "The byte count of its answers leaves the two status octets out.",
        "FR-12",
        NoAnswer(&["FR-08", "LL-08", "CM-009"]),
        Act::Octets(|o| o.set(o.command_at() + 1, |n| n.wrapping_sub(2))),
    ),
    fault(
        "no_status_octets",
        "Its answers have data and no status octets.",
        "FR-12",
        Everything,
        Act::Octets(|o| {
            o.drop_status();
        }),
    ),
    fault(
        "octet_after_check_byte",
        "It sends one octet 00 behind the check byte.",
        "FR-01",
        These(&["FR-09", "FR-11", "LL-10"]),
        Act::Octets(|o| o.octets.push(0x00.into())),
    ),
    fault(
        "answer_sent_twice",
        "It sends every answer twice, the second right behind the first.",
        "FR-01",
        These(&["LL-12", "LL-10", "LL-07", "LL-04", "LL-03"]),
        Act::Octets(|o| {
            if !o.is_burst {
                let again: Vec<RawOctet> = o.octets.clone();
                o.octets.extend(again);
            }
        }),
    ),
    fault(
        "two_preambles",
        "It sends two preambles.",
        "FR-02",
        These(&["LL-11", "CM-059"]),
        Act::Reply(|_, reply| reply.preambles = 2),
    ),
    fault(
        "too_many_preambles",
        "It sends 24 preambles.",
        "FR-02",
        These(&["LL-11", "CM-059"]),
        Act::Reply(|_, reply| reply.preambles = 24),
    ),
    fault(
        "preambles_not_as_told",
        "It sends one preamble more than command 0 tells and command 59 has written.",
        "LL-11",
        These(&["CM-059", "CM-000"]),
        Act::Reply(|_, reply| reply.preambles += 1),
    )
    .only(In::R7),
    fault(
        "preamble_spoilt",
        "The third of its preambles is FE.",
        "FR-02",
        These(&["FR-10", "LL-11", "CM-059", "FR-01"]),
        Act::Octets(|o| {
            if o.preambles > 4 {
                o.octets[2].value = 0xFE;
            }
        }),
    ),
    fault(
        "parity_wrong",
        "The second status octet of its answers has the wrong parity, on simulated wires, for a port sends none.",
        "FR-13",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| {
            if !o.is_burst {
                let at = o.command_at() + 3;
                if let Some(octet) = o.frame().get_mut(at) {
                    octet.bad_parity = true;
                }
            }
        }),
    ),
    fault(
        "pause_inside",
        "It pauses for three characters behind the byte count of its answers.",
        "LL-06",
        NoAnswer(&["LL-08"]),
        Act::Octets(|o| {
            if !o.is_burst {
                let (at, pause) = (o.command_at() + 2, o.character * 3);
                if let Some(octet) = o.frame().get_mut(at) {
                    octet.gap_before = pause;
                }
            }
        }),
    ),
    fault(
        "pause_before_delimiter",
        "It pauses for three characters between the preambles and the delimiter of its answers.",
        "FR-10",
        NoAnswer(&["LL-06", "LL-08"]),
        Act::Octets(|o| {
            if !o.is_burst {
                let pause = o.character * 3;
                o.frame()[0].gap_before = pause;
            }
        }),
    ),
];
