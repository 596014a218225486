//! `protocol_faults`: what a device does otherwise than the protocol wants.

use super::Fault;
use crate::app::command::Revision;
use crate::app::written::words::nearest;
use crate::device::{KindName, ProtocolFault};
use toml::Spanned;

/// Puts the fault `name` among those of a device of this kind and revision.
///
/// # Errors
/// What is wrong with it, and what would be right.
pub fn add(
    faults: &mut Vec<&'static ProtocolFault>,
    name: &str,
    kind: KindName,
    revision: Revision,
) -> Result<(), (String, String)> {
    let Some(fault) = ProtocolFault::named(name) else {
        let names: Vec<String> = ProtocolFault::all().map(|f| f.name().to_owned()).collect();
        let near = nearest(name, &names).map_or(String::new(), |n| format!("did you mean {n}? "));
        let right = format!("{near}`looprig mock --protocol-faults` lists them");
        return Err((format!("there is no protocol fault \"{name}\""), right));
    };
    if let Some(why) = fault.why_not(kind, revision) {
        let right = "name another one: `looprig mock --protocol-faults` tells which device can have which";
        return Err((why, right.to_owned()));
    }
    if faults.contains(&fault) {
        return Err((format!("{name} is there already"), "leave one of the two out".to_owned()));
    }
    faults.push(fault);
    Ok(())
}

/// The faults of a device of this kind and revision.
pub(super) fn protocol_faults(
    names: &[Spanned<String>],
    kind: KindName,
    revision: Revision,
) -> Result<Vec<&'static ProtocolFault>, Fault> {
    let mut out = Vec::new();
    for name in names {
        add(&mut out, name.get_ref(), kind, revision)
            .map_err(|(wrong, right)| Fault::new(&name.span(), wrong, right))?;
    }
    Ok(out)
}
