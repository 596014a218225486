//! How often a device sends a command in bursts.

use super::text::plural;
use crate::exchange::Exchange;
use crate::time::Instant;
use core::fmt::{self, Write};
use core::time::Duration;
use std::collections::BTreeMap;

/// The bursts of one command of one device.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rate {
    pub count: usize,
    first: Instant,
    last: Instant,
    shortest: Duration,
    longest: Duration,
}

impl Rate {
    /// Mean, shortest and longest time from the beginning of one to the beginning of the next; `None` for a single one,
    /// and in a record without times.
    pub fn period(&self) -> Option<[Duration; 3]> {
        let all = self.last.since(self.first);
        let gaps = u32::try_from(self.count).unwrap_or(u32::MAX).saturating_sub(1);
        (gaps > 0 && !all.is_zero()).then(|| [all / gaps, self.shortest, self.longest])
    }
}

/// The bursts of one device by command: at most 256, however long it is heard.
#[derive(Clone, Debug, Default)]
pub(super) struct Rates(BTreeMap<u8, Rate>);

impl Rates {
    /// Adds a burst.
    pub fn add(&mut self, e: &Exchange) {
        let Some(good) = &e.transaction.reply else { return };
        let at = good.octets.first().map_or(Instant::ZERO, |o| o.at);
        let new = Rate { count: 0, first: at, last: at, shortest: Duration::MAX, longest: Duration::ZERO };
        let rate = self.0.entry(good.frame.command()).or_insert(new);
        if rate.count > 0 {
            let gap = at.since(rate.last);
            (rate.shortest, rate.longest) = (rate.shortest.min(gap), rate.longest.max(gap));
        }
        (rate.count, rate.last) = (rate.count + 1, at);
    }

    /// Command and rate, lowest command first.
    pub fn iter(&self) -> impl Iterator<Item = (u8, &Rate)> {
        self.0.iter().map(|(command, rate)| (*command, rate))
    }

    /// Appends them as a list of objects.
    pub fn write_json(&self, out: &mut String) {
        out.push('[');
        for (i, (command, rate)) in self.iter().enumerate() {
            let comma = if i > 0 { "," } else { "" };
            let _ = write!(out, "{comma}{{\"command\":{command},\"count\":{}", rate.count);
            if let Some(period) = rate.period() {
                let [mean, shortest, longest] = period.map(|d| d.as_secs_f64());
                let _ = write!(
                    out,
                    ",\"period_s\":{mean:.6},\"shortest_s\":{shortest:.6},\"longest_s\":{longest:.6}"
                );
            }
            out.push('}');
        }
        out.push(']');
    }
}

impl fmt::Display for Rates {
    /// `8 bursts of command 1 every 1.000 s (0.812 to 1.204 s), 1 burst of command 9`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, (command, rate)) in self.iter().enumerate() {
            let comma = if i > 0 { ", " } else { "" };
            write!(f, "{comma}{} of command {command}", plural(rate.count, "burst"))?;
            if let Some(period) = rate.period() {
                let [mean, shortest, longest] = period.map(|d| d.as_secs_f64());
                write!(f, " every {mean:.3} s ({shortest:.3} to {longest:.3} s)")?;
            }
        }
        Ok(())
    }
}
