//! How a person names a device.

use crate::app::types::packed;
use crate::frame::{PollingAddress, UniqueAddress};
use core::fmt;

/// A device as it is named on the command line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum To {
    /// `0` to `63`.
    Polling(PollingAddress),
    /// `tag:FV-3104`, eight characters at most.
    Tag(String),
    /// `longtag:...`, 32 characters at most.
    LongTag(String),
    /// Ten hex digits.
    Unique(UniqueAddress),
}

impl To {
    /// Reads one of the four forms.
    ///
    /// # Errors
    /// Says what is wrong and what would be right.
    pub fn parse(text: &str) -> Result<To, String> {
        if let Some(tag) = text.strip_prefix("tag:") {
            // Tags hold no small letters; who types them means the capital ones.
            let tag = tag.to_ascii_uppercase();
            return match packed::pack(&tag, 6) {
                Ok(_) if !tag.trim().is_empty() => Ok(To::Tag(tag)),
                Ok(_) => Err("the tag is empty: give one such as tag:FV-3104".into()),
                Err(e) => Err(format!("\"{tag}\" is no tag: {e}")),
            };
        }
        if let Some(tag) = text.strip_prefix("longtag:") {
            return match crate::app::types::latin1::encode(tag, 32) {
                Ok(_) if !tag.is_empty() => Ok(To::LongTag(tag.to_owned())),
                Ok(_) => Err("the long tag is empty".into()),
                Err(e) => Err(format!("\"{tag}\" is no long tag: {e}")),
            };
        }
        if let Ok(n) = text.parse::<u32>()
            && text.len() < 10
        {
            return u8::try_from(n)
                .ok()
                .and_then(PollingAddress::new)
                .map(To::Polling)
                .ok_or_else(|| format!("{n} is no polling address: they go from 0 to 63"));
        }
        UniqueAddress::parse(text).map(To::Unique).map_err(|e| {
            format!(
                "\"{text}\" names no device ({e}): give a polling address 0 to 63, tag:FV-3104, longtag:\"...\" or ten hex digits"
            )
        })
    }
}

impl fmt::Display for To {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            To::Polling(p) => write!(f, "polling address {}", p.get()),
            To::Tag(t) => write!(f, "tag {t}"),
            To::LongTag(t) => write!(f, "long tag {t}"),
            To::Unique(u) => write!(f, "unique address {u}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_four_forms() {
        assert_eq!(To::parse("63"), Ok(To::Polling(PollingAddress::new(63).expect("in range"))));
        assert_eq!(To::parse("tag:fv-3104"), Ok(To::Tag("FV-3104".into())));
        assert_eq!(To::parse("longtag:Brackenmoor FV-3104"), Ok(To::LongTag("Brackenmoor FV-3104".into())));
        let unique = UniqueAddress::from_octets([0x26, 0x4E, 0, 0, 0xD2]);
        assert_eq!(To::parse("264E0000D2"), Ok(To::Unique(unique)));
        assert_eq!(To::parse("26 4e 00 00 d2"), Ok(To::Unique(unique)));
        // Ten digits are a unique address even where they could be a number.
        assert!(matches!(To::parse("2600000001"), Ok(To::Unique(_))));
    }

    #[test]
    fn what_names_no_device() {
        for bad in ["64", "-1", "", "tag:", "tag:TOO-LONG-9", "tag:Ä", "longtag:", "26 4E", "FV-3104"] {
            assert!(To::parse(bad).is_err(), "{bad}");
        }
    }
}
