//! Which device of the file a name means.

use super::shape::DeviceName;
use super::{Fault, words};
use crate::bench::plan::DevicePlan;
use crate::device::Stored;
use toml::Spanned;

/// The index of the one device that a name fits.
pub(super) fn named(name: &Spanned<DeviceName>, devices: &[DevicePlan]) -> Result<usize, Fault> {
    fn stored(d: &DevicePlan) -> &Stored {
        &d.config.factory
    }
    match name.get_ref() {
        DeviceName::Polling(n) => {
            let found = devices.iter().position(|d| i128::from(stored(d).polling_address) == *n);
            found.ok_or_else(|| {
                let there: Vec<String> =
                    devices.iter().map(|d| stored(d).polling_address.to_string()).collect();
                let wrong = format!("no device of this bench has polling address {n}");
                Fault::new(&name.span(), wrong, format!("the polling addresses here are {}", list(&there)))
            })
        }
        DeviceName::Tag(tag) => {
            let is_it = |d: &DevicePlan| {
                !tag.is_empty() && (stored(d).tag == tag.to_uppercase() || stored(d).long_tag == *tag)
            };
            let mut found = (0..devices.len()).filter(|&i| is_it(&devices[i]));
            match (found.next(), found.next()) {
                (Some(device), None) => Ok(device),
                (Some(_), Some(_)) => {
                    let wrong = format!("several devices of this bench are called \"{tag}\"");
                    Err(Fault::new(
                        &name.span(),
                        wrong,
                        "name the device by its polling address, such as device = 0",
                    ))
                }
                (None, _) => {
                    let tags = devices.iter().flat_map(|d| [&stored(d).tag, &stored(d).long_tag]);
                    let tags: Vec<String> = tags.filter(|t| !t.is_empty()).cloned().collect();
                    let near = words::nearest(tag, &tags);
                    let near = near.map_or(String::new(), |n| format!("did you mean \"{n}\"? "));
                    let right = match tags.is_empty() {
                        true => "no device here has a tag: name it by its polling address".to_owned(),
                        false => {
                            let tags: Vec<String> = tags.iter().map(|t| format!("\"{t}\"")).collect();
                            format!("{near}the tags here are {}", list(&tags))
                        }
                    };
                    let wrong = format!("no device of this bench is called \"{tag}\"");
                    Err(Fault::new(&name.span(), wrong, right))
                }
            }
        }
    }
}

/// The first of them; a bench may have 64 devices.
fn list(names: &[String]) -> String {
    const MOST: usize = 8;
    let more = names.len().saturating_sub(MOST);
    let first = names[..names.len() - more].join(", ");
    if more == 0 { first } else { format!("{first} and {more} more") }
}
