//! What a device tells of itself in the second status octet while it is looked at [TV-110].

use serde::{Deserialize, Serialize};

/// Device malfunction [ST-02].
const MALFUNCTION: u8 = 0x80;
/// Cold start [ST-02].
const COLD_START: u8 = 0x20;
/// More status available [ST-02].
const MORE_STATUS: u8 = 0x10;
/// Loop current fixed [ST-02].
const CURRENT_FIXED: u8 = 0x08;
/// Loop current saturated [ST-02].
const CURRENT_SATURATED: u8 = 0x04;

/// A bit of the second status octet that was set in an answer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StatusBit {
    /// The bit [ST-02].
    pub mask: u8,
    /// In which answer it was set first, s.
    pub first_s: f64,
    /// When it was first set behind an answer in which it was not, s; `None`: it was set from the start, or from where nothing was heard before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub came_s: Option<f64>,
    /// In how many answers it was set.
    pub answers: u32,
}

impl StatusBit {
    /// What is to be said of it, a sentence or two, and whether it counts as a fault; `None`: nothing.
    pub fn words(&self) -> Option<(bool, String)> {
        let since = match self.came_s {
            Some(s) => format!("from {s:.0} s after the start on"),
            None => "from the first answer on".to_owned(),
        };
        Some(match self.mask {
            MALFUNCTION => (
                true,
                format!(
                    "The device says that it is broken (device malfunction), {since}: nothing that it reads or does is to be trusted. Command 48 tells more."
                ),
            ),
            COLD_START => match self.came_s {
                Some(s) => (
                    true,
                    format!(
                        "The device restarted during the test, {s:.0} s after the start: what a command had set is forgotten, and what was measured then is none. Look at its supply and its terminals."
                    ),
                ),
                None => (
                    false,
                    "The device says that it has started anew before the test (cold start).".to_owned(),
                ),
            },
            MORE_STATUS => {
                (false, format!("The device says that it has more to tell, {since}: command 48 tells what."))
            }
            CURRENT_FIXED => (
                false,
                format!(
                    "The device says that its loop current is fixed, {since}: what it reads or does may not follow the loop."
                ),
            ),
            CURRENT_SATURATED => {
                (false, format!("The device says that its loop current is saturated, {since}."))
            }
            _ => return None,
        })
    }

    /// Whether another bit says it, too: a device that is broken has more to tell, and its sentence says where.
    pub fn is_said_by(&self, all: &[StatusBit]) -> bool {
        self.mask == MORE_STATUS && all.iter().any(|b| b.mask == MALFUNCTION)
    }

    /// Adds an answer to what was told: its octet, when it came, and the octet of the answer before.
    pub(in crate::commission) fn note(all: &mut Vec<StatusBit>, octet: u8, at_s: f64, before: Option<u8>) {
        for mask in (0..8).map(|n| 1 << n).filter(|mask| octet & mask != 0) {
            let came_s = before.filter(|b| b & mask == 0).map(|_| at_s);
            match all.iter_mut().find(|b| b.mask == mask) {
                Some(bit) => {
                    bit.answers = bit.answers.saturating_add(1);
                    bit.came_s = bit.came_s.or(came_s);
                }
                None => all.push(StatusBit { mask, first_s: at_s, came_s, answers: 1 }),
            }
        }
    }
}
