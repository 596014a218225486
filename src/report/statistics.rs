//! How a capture stands: a line while it runs and at its end.

use super::Format;
use super::summary::Summary;
use super::text::{plural, write_wrapped};
use crate::exchange::json::write_string;
use crate::time::Pace;
use core::fmt::Write;
use core::time::Duration;

/// What has passed so far. The octets are those of the wire: preambles and rubbish count.
#[derive(Clone, Copy, Debug)]
pub struct Statistics<'a> {
    /// What was read.
    pub summary: &'a Summary,
    /// Octets received.
    pub octets: u64,
    /// How long was listened.
    pub elapsed: Duration,
    /// The line's pace: how long an octet takes [LL-01].
    pub pace: Pace,
}

impl Statistics<'_> {
    /// How much of the time the octets took, percent; `None` where they take none, or no time has
    /// passed. Above 100 only when somebody hands octets on faster than the pace allows.
    pub fn bus_load_percent(&self) -> Option<f64> {
        let (character, elapsed) = (self.pace.character().as_secs_f64(), self.elapsed.as_secs_f64());
        (character > 0.0 && elapsed > 0.0).then(|| self.octets as f64 * character / elapsed * 100.0)
    }

    /// Appends it as one object a line (JSON) or in words.
    pub fn write(&self, format: Format, out: &mut String) {
        match format {
            Format::Json => self.write_json(out),
            _ => self.write_text(out),
        }
    }

    fn write_text(&self, out: &mut String) {
        let (good, damaged) = self.summary.frames();
        let mut text = format!(
            "Statistics after {:.1} s: {} good, {damaged} damaged, {}",
            self.elapsed.as_secs_f64(),
            plural(good, "frame"),
            plural(usize::try_from(self.octets).unwrap_or(usize::MAX), "octet"),
        );
        if let Some(load) = self.bus_load_percent() {
            let _ = write!(text, ", bus load {load:.1} %");
        }
        match self.summary.still_coming() {
            0 => {}
            1 => text.push_str(", 1 frame was still coming"),
            n => {
                let _ = write!(text, ", {n} frames were still coming");
            }
        }
        for (device, tag, answers, _) in self.summary.devices() {
            let _ = write!(text, "; device {device}");
            if let Some(tag) = tag {
                let _ = write!(text, " ({tag})");
            }
            let _ = write!(text, ": {}", plural(answers, "answer"));
            if let Some(rates) = self.summary.rates(&device) {
                let _ = write!(text, " ({rates})");
            }
        }
        text.push('.');
        for (id, n, first) in self.summary.against() {
            let _ = write!(text, "\nAgainst the rules of the link [{id}], {n} x, first: {first}");
        }
        for line in text.lines() {
            write_wrapped(line, 2, out);
        }
    }

    fn write_json(&self, out: &mut String) {
        let (good, damaged) = self.summary.frames();
        let _ = write!(
            out,
            "{{\"kind\":\"statistics\",\"elapsed_s\":{:.3},\"frames\":{good},\"damaged\":{damaged},\"still_coming\":{},\"octets\":{},\"bus_load_percent\":",
            self.elapsed.as_secs_f64(),
            self.summary.still_coming(),
            self.octets
        );
        let _ = match self.bus_load_percent() {
            Some(load) => write!(out, "{load:.3}"),
            None => write!(out, "null"),
        };
        out.push_str(",\"devices\":[");
        let mut comma = "";
        for (device, tag, answers, bursts) in self.summary.devices() {
            let _ = write!(out, "{comma}{{\"device\":\"{device}\"");
            if let Some(tag) = tag {
                out.push_str(",\"tag\":");
                write_string(tag, out);
            }
            let _ = write!(out, ",\"answers\":{answers},\"bursts\":{bursts}");
            if let Some(rates) = self.summary.rates(&device) {
                out.push_str(",\"burst_commands\":");
                rates.write_json(out);
            }
            out.push('}');
            comma = ",";
        }
        out.push_str("],\"against\":[");
        comma = "";
        for (id, n, first) in self.summary.against() {
            let _ = write!(out, "{comma}{{\"requirement\":\"{id}\",\"count\":{n},\"first\":");
            write_string(first, out);
            out.push('}');
            comma = ",";
        }
        out.push_str("]}\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn load(octets: u64, seconds: u64, pace: Pace) -> Option<f64> {
        let summary = Summary::default();
        let elapsed = Duration::from_secs(seconds);
        Statistics { summary: &summary, octets, elapsed, pace }.bus_load_percent()
    }

    /// 1200 bit/s and 11 bits an octet [LL-01]: 1200 octets take 11 s.
    #[test]
    fn bus_load_is_the_time_that_octets_take() {
        let near = |a: Option<f64>, b: f64| a.is_some_and(|a| (a - b).abs() < 1e-3);
        assert!(near(load(1_200, 11, Pace::Wire), 100.0));
        assert!(near(load(1_200, 44, Pace::Wire), 25.0));
        assert!(near(load(1_200, 11, Pace::Scaled(4.0)), 25.0));
        assert_eq!(load(1_200, 11, Pace::Fast), None);
        assert_eq!(load(0, 0, Pace::Wire), None);
    }

    #[test]
    fn nothing_heard_is_told_as_well() {
        let summary = Summary::default();
        let elapsed = Duration::from_secs(2);
        let s = Statistics { summary: &summary, octets: 1, elapsed, pace: Pace::Wire };
        let mut text = String::new();
        s.write(Format::Text, &mut text);
        // 11 bits / 1200 bit/s / 2 s = 0.458 %
        assert_eq!(text, "Statistics after 2.0 s: 0 frames good, 0 damaged, 1 octet, bus load 0.5 %.\n");
        let mut text = String::new();
        s.write(Format::Json, &mut text);
        let json: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(
            (json["kind"].as_str(), json["bus_load_percent"].as_f64()),
            (Some("statistics"), Some(0.458))
        );
        assert_eq!(json["devices"], serde_json::json!([]));
    }
}
