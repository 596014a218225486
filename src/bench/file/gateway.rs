//! `[gateway]`: what the HART-IP servers of the bench are [IP-16].

use super::shape::GatewayTable;
use super::{Fault, whole};
use crate::app::types::{latin1, packed};
use crate::bench::plan::{DevicePlan, LineKind, LinePlan};
use crate::device::{Gateway, GatewayConfig};
use toml::Spanned;

/// Octets of a tag in packed form, and of a long tag.
const TAG_BYTES: usize = 6;
const LONG_TAG_BYTES: usize = 32;

/// The gateway of the file, if it has one.
pub(super) fn gateway(
    table: Option<&Spanned<GatewayTable>>,
    devices: &[DevicePlan],
    lines: &[LinePlan],
) -> Result<Option<GatewayConfig>, Fault> {
    let Some(table) = table else { return Ok(None) };
    let t = table.get_ref();
    if !lines.iter().any(|l| matches!(l.kind, LineKind::HartIp(_))) {
        let wrong = "a gateway is reached by HART-IP, and no line of this bench is";
        return Err(Fault::new(&table.span(), wrong, "add a [[line]] with at = \"hart-ip:\""));
    }
    let mut config =
        GatewayConfig { tag: "GATEWAY".to_owned(), long_tag: "gateway".to_owned(), device_id: 1 };
    if let Some(tag) = &t.tag {
        config.tag = tag.get_ref().clone();
        packed::pack(&config.tag, TAG_BYTES).map_err(|e| {
            Fault::new(
                &tag.span(),
                format!("this tag cannot be: {e}"),
                "give at most 8 capital letters, digits and signs",
            )
        })?;
    }
    if let Some(tag) = &t.long_tag {
        config.long_tag = tag.get_ref().clone();
        latin1::encode(&config.long_tag, LONG_TAG_BYTES).map_err(|e| {
            Fault::new(
                &tag.span(),
                format!("this long tag cannot be: {e}"),
                "give at most 32 characters of Latin-1",
            )
        })?;
    }
    if let Some(n) = &t.device_id {
        config.device_id = whole(n, "device_id", 0..=0xFF_FFFF)?;
    }
    let own = Gateway::new(config.clone()).unique_address();
    if devices.iter().any(|d| d.config.identity.unique_address() == own) {
        let wrong = format!("the gateway and a device have the same unique address, {own}");
        return Err(Fault::new(&table.span(), wrong, "give the gateway a device_id of its own"));
    }
    Ok(Some(config))
}
