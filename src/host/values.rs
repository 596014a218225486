//! The data of a request from what a person types: values by the names that the command's row gives them.

use super::HostError;
use crate::app::command::layout::{self, EncodeError, Kind, Missing};
use crate::app::command::value::hex;
use crate::app::command::{CommandSpec, Direction, Revision, Value, ValueError, spec};
use std::collections::BTreeMap;

/// Makes the data of a request from values by name, as a person types them. `data=HEX` gives the
/// octets of a command that has no row, and octets beyond the row's.
///
/// # Errors
/// A value that is missing, cannot stand there, or has a name that the command does not know.
pub fn encode(command: u8, revision: Revision, values: &[(String, String)]) -> Result<Vec<u8>, HostError> {
    encode_by(spec(command.into()), revision, values)
}

/// The same by a row, or by none.
///
/// # Errors
/// As [`encode`].
pub fn encode_by(
    spec: Option<&CommandSpec>,
    revision: Revision,
    values: &[(String, String)],
) -> Result<Vec<u8>, HostError> {
    let given: BTreeMap<&str, &str> = values.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    let mut unused: Vec<&str> = given.keys().copied().filter(|n| *n != "data").collect();
    // The last one that was asked for and not given: behind it nothing is asked for.
    let mut lacks: Option<String> = None;
    let mut get = |name: &str, kind| -> Result<Option<Value>, ValueError> {
        unused.retain(|n| *n != name);
        if !given.contains_key(name) {
            lacks = Some(name.to_owned());
        }
        given.get(name).map(|text| Value::from_text(kind, text)).transpose()
    };
    let form = spec.and_then(|s| s.form(revision));
    let raw = given.get("data").map(|text| {
        hex(text).ok_or_else(|| {
            HostError::Values(EncodeError::Bad {
                name: "data".into(),
                why: ValueError::Kind { given: (*text).to_owned(), wanted: "octets in hex".into() },
            })
        })
    });
    let raw = raw.transpose()?;
    let mut data = match form {
        // Octets alone are the whole of the data.
        Some(_) if raw.is_some() && given.len() == 1 => Vec::new(),
        Some(form) => {
            let missing = Missing::Error;
            layout::encode(form.layout(Direction::Request), missing, &mut get).map_err(HostError::Values)?
        }
        None => Vec::new(),
    };
    if let Some(&given) = unused.first() {
        let has = spec.map(|s| names(s, revision)).unwrap_or_default();
        if let Some(lacks) = lacks.filter(|_| has.iter().any(|n| n == given)) {
            return Err(HostError::Gap { given: given.to_owned(), lacks });
        }
        return Err(HostError::Name { given: given.to_owned(), has });
    }
    data.extend(raw.unwrap_or_default());
    Ok(data)
}

/// The names of the values in a command's request, in wire order; those of every slot where it has slots.
pub fn names(spec: &CommandSpec, revision: Revision) -> Vec<String> {
    let Some(form) = spec.form(revision) else { return Vec::new() };
    let mut names = Vec::new();
    let mut get = |name: &str, kind: Kind| {
        // Where the data have several forms, the encoder asks for a name to see which one is meant.
        if names.iter().all(|n| n != name) {
            names.push(name.to_owned());
        }
        // Octets of 00 make a value of every kind, and with one the encoder goes on to the next name.
        Ok(Some(Value::read(kind, &vec![0; kind.len()])))
    };
    let _ = layout::encode(form.request, Missing::Ends, &mut get);
    names
}
