//! Who a device is, as it says itself.

use crate::commission::travel::record::Identity;
use crate::commission::travel::sensing::{Halt, Sensing};

/// Reads who a device is: what it says of itself, tag and long tag. What it does not have stays empty.
pub(in crate::commission) fn identify(sensing: &mut Sensing<'_>) -> Result<Identity, Halt> {
    let device = sensing.device;
    let octets = device.unique.octets();
    let mut out = Identity {
        unique_address: octets.iter().map(|o| format!("{o:02X}")).collect(),
        revision: Some(device.revision.number()),
        ..Identity::default()
    };
    let zero = sensing.read(0, &[])?.exchange;
    let cell =
        |e: &crate::exchange::Exchange, name: &str| e.value(name).map(|f| f.cell()).unwrap_or_default();
    out.manufacturer = [cell(&zero, "manufacturer"), cell(&zero, "manufacturer_id")]
        .into_iter()
        .find(|t| !t.is_empty())
        .unwrap_or_default();
    out.device_type = [cell(&zero, "device_type"), cell(&zero, "expanded_device_type")]
        .into_iter()
        .find(|t| !t.is_empty())
        .unwrap_or_default();
    // A code alone says nothing to people; a description has the name.
    if let Some(described) = sensing.ask.described(&device).map(|d| d.description()) {
        out.device_type = match out.device_type.contains(&described.name) {
            true => out.device_type,
            false => format!("{} ({})", described.name, out.device_type),
        };
    }
    out.serial = cell(&zero, "device_id");
    out.tag = cell(&sensing.read(13, &[])?.exchange, "tag");
    if device.revision >= crate::app::command::Revision::R6 {
        out.long_tag = cell(&sensing.read(20, &[])?.exchange, "long_tag");
    }
    Ok(out)
}
