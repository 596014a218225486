//! What several faults have in common.

use crate::device::state::State;
use crate::frame::{Address, Frame, Good, Master, Octet, Reception, Target, check_byte};
use crate::link::{Call, Slave};

/// Commands that answer with the identity [CM-000].
pub(super) const IDENTITY: &[u8] = &[0, 11, 21, 73];
/// Commands that write and answer with data.
pub(super) const WRITES: &[u8] =
    &[6, 17, 18, 19, 22, 34, 35, 44, 47, 49, 51, 53, 55, 56, 59, 64, 65, 69, 82, 83, 103, 104, 107, 108, 109];
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

/// The preambles, spoilt ones among them, and the request in a long frame to this device that stands behind them, of
/// whatever kind its delimiter says and though octets in front of its data have wrong parity; for that its length and
/// its check byte have to be right.
pub(super) fn request_behind<'a>(slave: &Slave, heard: &'a Reception) -> Option<(&'a [Octet], Frame)> {
    let octets = heard.octets();
    let n = octets.iter().take_while(|o| o.value == 0xFF).count();
    let (preambles, rest) = octets.split_at_checked(n)?;
    let values: Vec<u8> = rest.iter().map(|o| o.value).collect();
    let (&[delimiter, first, a, b, c, d, command, count], data) = values.split_first_chunk::<8>()?;
    let own = slave.unique.octets();
    let is_own = delimiter & 0xE0 == 0x80 && [first & 0x3F, a, b, c, d] == own;
    if !is_own || data.len() != usize::from(count) + 1 || check_byte(&values) != 0 {
        return None;
    }
    let master = if first & 0x80 == 0 { Master::Secondary } else { Master::Primary };
    let address = Address::new(master, Target::Unique(slave.unique));
    Some((preambles, Frame::request(address, command, data[..usize::from(count)].to_vec()).ok()?))
}
