//! A record of a device check out of JSON [TV-73].

use super::record::{DeviceCheck, FORMAT};
use crate::commission::travel::record::{RecordError, check as numbers};

impl DeviceCheck {
    /// The record as JSON, indented, with a line end.
    pub fn to_json(&self) -> String {
        // Only maps with keys that are no text and failing writers can fail, and there are none.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Reads a record.
    ///
    /// # Errors
    /// It is no JSON, no record, of a newer format, or has numbers that cannot be.
    pub fn from_json(text: &str) -> Result<DeviceCheck, RecordError> {
        let whole = "name a record of a device check, as it was written";
        RecordError::format_of(text, "looprig_device_check", FORMAT, "a device check", whole)?;
        let check: DeviceCheck = serde_json::from_str(text)
            .map_err(|e| RecordError { wrong: e.to_string(), right: whole.to_owned() })?;
        match check.first_wrong() {
            Some((part, what)) => Err(RecordError {
                wrong: format!("{part} {what}"),
                right: "put the number right, or take that part of the record out".to_owned(),
            }),
            None => Ok(check),
        }
    }

    /// The first number that cannot be: the part's name and what is wrong with it.
    fn first_wrong(&self) -> Option<(String, String)> {
        let hand = || {
            let h = self.hand.as_ref()?;
            let parts = [
                ("closed", &h.closed),
                ("opening", &h.opening),
                ("open", &h.open),
                ("closing", &h.closing),
                ("back", &h.back),
            ];
            let angles = [h.angles_deg.0, h.angles_deg.1];
            parts
                .into_iter()
                .find_map(|(name, list)| numbers::samples(&format!("hand.{name}"), list))
                .or_else(|| {
                    angles
                        .into_iter()
                        .find_map(|a| numbers::maybe("hand.angles_deg".into(), a, -360.0, 360.0))
                })
        };
        let jogs = || {
            self.jogs.iter().enumerate().find_map(|(n, j)| {
                let at = format!("jogs[{n}]");
                numbers::percent(format!("{at}.from_percent"), j.from_percent)
                    .or_else(|| numbers::percent(format!("{at}.to_percent"), j.to_percent))
                    .or_else(|| numbers::seconds(format!("{at}.asked_at_s"), j.asked_at_s))
                    .or_else(|| numbers::samples(&format!("{at}.samples"), &j.samples))
            })
        };
        let left = || numbers::percent("left.percent".into(), self.left.as_ref()?.percent?);
        let status = || numbers::status(&self.status);
        numbers::rest("rest", &self.rest).or_else(status).or_else(hand).or_else(jogs).or_else(left)
    }
}
