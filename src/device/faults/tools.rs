//! What several faults have in common.

use crate::device::state::State;
use crate::frame::{Frame, Good, Reception};
use crate::link::{Call, Slave};

/// Commands that answer with the identity [CM-000].
pub(super) const IDENTITY: &[u8] = &[0, 11, 21, 73];
/// Commands that write and answer with data.
pub(super) const WRITES: &[u8] =
    &[6, 17, 18, 19, 22, 34, 35, 44, 47, 49, 51, 53, 55, 56, 59, 64, 65, 69, 82, 83, 103, 104, 107, 108, 109];
/// What checks of writes are about.
pub(super) const OF_WRITES: &[&str] = &[
    "CM-006", "CM-007", "CM-012", "CM-013", "CM-015", "CM-016", "CM-017", "CM-018", "CM-019", "CM-020",
    "CM-021", "CM-022", "CM-034", "CM-035", "CM-036", "CM-037", "CM-038", "CM-044", "CM-047", "CM-049",
    "CM-050", "CM-051", "CM-053", "CM-055", "CM-056", "CM-059", "CM-064", "CM-065", "CM-069", "CM-071",
    "CM-079", "CM-082", "CM-083", "CM-103", "CM-104", "CM-105", "CM-107", "CM-108", "CM-109", "DV-05",
    "DV-08", "DV-14", "DV-15", "DV-17", "ST-02", "ST-03", "ST-09", "FR-05", "TB-09", "TB-13", "TB-14",
    "TY-04", "TY-05", "TY-06",
];

/// A float in the data.
pub(super) fn float(data: &[u8], at: usize) -> Option<f32> {
    let octets: [u8; 4] = data.get(at..at + 4)?.try_into().ok()?;
    Some(f32::from_be_bytes(octets))
}

/// Changes a float in the data, if it is there.
pub(super) fn change_float(data: &mut [u8], at: usize, change: impl FnOnce(f32) -> f32) {
    if let Some(x) = float(data, at) {
        data[at..at + 4].copy_from_slice(&change(x).to_be_bytes());
    }
}

/// Changes an octet of the data, if it is there.
pub(super) fn change(data: &mut [u8], at: usize, change: impl FnOnce(u8) -> u8) {
    if let Some(octet) = data.get_mut(at) {
        *octet = change(*octet);
    }
}

/// Swaps two stretches of equal length, if both are there.
pub(super) fn swap(data: &mut [u8], a: usize, b: usize, len: usize) {
    if data.len() >= a.max(b) + len {
        (0..len).for_each(|i| data.swap(a + i, b + i));
    }
}

/// Turns a stretch round, if it is there.
pub(super) fn reverse(data: &mut [u8], at: usize, len: usize) {
    if let Some(part) = data.get_mut(at..at + len) {
        part.reverse();
    }
}

/// The request in a damaged reception as if it had arrived as it should: header and data as far as they came.
pub(super) fn as_good(slave: &Slave, heard: &Reception) -> Call {
    let Reception::Damaged(damaged) = heard else { return Call::NotForUs };
    let Some(header) = damaged.header() else { return Call::NotForUs };
    let values: Vec<u8> = damaged.octets.iter().skip(damaged.preambles).map(|o| o.value).collect();
    let from = header.delimiter.header_len();
    let Some(&count) = values.get(from - 1) else { return Call::NotForUs };
    let end = values.len().min(from + usize::from(count));
    let is_request = header.delimiter.expansion == 0 && header.delimiter.frame_type.bits() == 2;
    match Frame::request(header.address, header.command, values[from..end].to_vec()) {
        Ok(frame) if is_request => slave.judge(&Reception::Good(Good {
            frame,
            preambles: damaged.preambles,
            octets: damaged.octets.clone(),
        })),
        _ => Call::NotForUs,
    }
}

/// Whether configuration was written since.
pub(super) fn was_written(state: &State, before: &State) -> bool {
    state.stored.configuration_change_counter != before.stored.configuration_change_counter
}
