//! Section `link/addressing`: who is called and who is not.

use crate::conform::{Case, Outcome, Probe};

pub(super) const CASES: &[Case] = &[Case::must(
    "link/addressing/other-unique-address",
    "DV-12",
    "a request to another unique address is met with silence",
    other_unique_address,
)];

fn other_unique_address(p: &mut Probe<'_>) -> Outcome {
    // Each of the last three octets of the address with one bit changed: another device of the same type.
    for at in 2..5 {
        let request = p.request(0, &[]).flip_address(at, 0x01);
        p.expect_silence(&request, &format!("a request to an address that differs in octet {at}"))?;
    }
    p.expect_alive("requests to others")
}
