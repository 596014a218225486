//! What a capture amounts to, for the one who stands at the valve.

use super::bursts::Rates;
use super::table::Table;
use super::text::{plural, write_wrapped};
use crate::capture::{Item, between};
use crate::exchange::Exchange;
use crate::exchange::view::{DeviceName, Tone, write_device_status};
use crate::time::Instant;
use core::fmt::Write;
use core::time::Duration;
use std::borrow::Cow;
use std::collections::BTreeMap;

/// What to look for where signals lie over one another; in the words of a summary and of a signal report alike.
pub(super) const SEVERAL_TALK: &str =
    "check whether several talk at once (a second master, a burst, two devices at one address)";

/// Devices and refusals that are listed; more are only counted.
const MOST: usize = 64;

/// One device as it showed itself.
#[derive(Clone, Debug, Default)]
struct DeviceSeen {
    answers: usize,
    bursts: usize,
    rates: Rates,
    tag: Option<String>,
    long_tag: Option<String>,
    revision: Option<u32>,
    /// Its field device status in its last answer.
    status: u8,
}

/// Counts what passes; memory does not grow with the length of the capture.
#[derive(Clone, Debug, Default)]
pub struct Summary {
    good_frames: usize,
    damaged_frames: usize,
    noise_octets: usize,
    /// From when on a frame that breaks off is still coming.
    still_from: Option<Instant>,
    still_coming: usize,
    requests: usize,
    answered: usize,
    silent: usize,
    /// Silent ones that asked a polling address who is there, as a scan does.
    nobody: usize,
    garbled: usize,
    retries: usize,
    unasked: usize,
    refusals: BTreeMap<String, usize>,
    damages: BTreeMap<String, usize>,
    slowest: Option<Duration>,
    primary: usize,
    secondary: usize,
    devices: BTreeMap<DeviceName, DeviceSeen>,
    problems: usize,
    /// What was broken, by requirement: how often, and the first time in words.
    broken: BTreeMap<&'static str, (usize, String)>,
}

impl Summary {
    /// Adds an item.
    pub fn add(&mut self, item: &Item) {
        match item {
            Item::Exchange(e) => self.exchange(e),
            Item::Damaged(d)
                if d.damage.breaks_off()
                    && self.still_from.is_some_and(|from| d.octets.last().is_some_and(|o| o.at >= from)) =>
            {
                self.still_coming += 1;
            }
            Item::Damaged(d) => {
                self.damaged_frames += 1;
                count(&mut self.damages, d.damage.kind());
            }
            Item::Noise(n) => self.noise_octets += n.octets.len(),
        }
    }

    /// It is the listener that ends now: a frame that breaks off with an octet from `from` on was still coming, and is
    /// no damage.
    pub fn ends(&mut self, from: Instant) {
        self.still_from = Some(from);
    }

    /// How many frames were still coming at the end of the listening: none, or one.
    pub fn still_coming(&self) -> usize {
        self.still_coming
    }

    /// Adds a line of a file that could not be read.
    pub fn problem(&mut self) {
        self.problems += 1;
    }

    /// Adds something against a requirement, by its id; `what` says it in words.
    pub fn broken(&mut self, requirement: &'static str, what: impl FnOnce() -> String) {
        self.broken.entry(requirement).or_insert_with(|| (0, what())).0 += 1;
    }

    /// What was found against requirements: the id, how often, the first time in words.
    pub fn against(&self) -> impl Iterator<Item = (&'static str, usize, &str)> {
        self.broken.iter().map(|(id, (n, first))| (*id, *n, first.as_str()))
    }

    /// Frames so far: good ones, damaged ones.
    pub fn frames(&self) -> (usize, usize) {
        (self.good_frames, self.damaged_frames)
    }

    /// The devices so far: address, tag if it was heard, answers, and how many of those were bursts.
    pub fn devices(&self) -> impl Iterator<Item = (DeviceName, Option<&str>, usize, usize)> {
        self.devices.iter().map(|(name, d)| {
            let tag = d.tag.as_deref().filter(|t| !t.is_empty());
            (*name, tag, d.answers, d.bursts)
        })
    }

    /// What a device sends in bursts.
    pub(super) fn rates(&self, device: &DeviceName) -> Option<&Rates> {
        self.devices.get(device).map(|d| &d.rates).filter(|r| r.iter().next().is_some())
    }

    fn exchange(&mut self, e: &Exchange) {
        let t = &e.transaction;
        // A server's word that nobody answers is no answer of a device [IP-08].
        let reply = t.reply_frame();
        let says_nobody = reply.is_some_and(|f| f.status() == Some([0x84, 0]) && f.data().is_empty());
        self.good_frames += t.tries.len() + usize::from(t.reply.is_some());
        if let Some(request) = t.request() {
            match request.address().master.index() {
                0 => self.primary += t.tries.len(),
                _ => self.secondary += t.tries.len(),
            }
        }
        for interlude in &t.interludes {
            self.add(&between(interlude));
        }
        self.retries += t.retries();
        if !t.tries.is_empty() {
            self.requests += 1;
            let [mut answered, mut silent, garbled] = e.outcome_counts();
            if says_nobody {
                (answered, silent) = (0, answered + silent);
            }
            self.answered += answered;
            if e.is_poll() {
                self.nobody += silent;
            } else {
                self.silent += silent;
            }
            self.garbled += garbled;
        } else if e.is_burst() {
            // Counted with its device.
        } else {
            self.unasked += 1;
        }
        self.slowest = self.slowest.max(t.response_time);
        if says_nobody {
            return;
        }
        let Some(name) = e.device() else { return };
        if e.tone() != Tone::Plain {
            let mut why = String::new();
            e.write_response(&mut why);
            count(&mut self.refusals, &format!("command {} ({}): {why}", e.command(), e.command_name()));
        }
        if !self.devices.contains_key(&name) && self.devices.len() >= MOST {
            return;
        }
        let d = self.devices.entry(name).or_default();
        d.answers += 1;
        if e.is_burst() {
            d.bursts += 1;
            d.rates.add(e);
        }
        // A gateway answers for those behind it: these are their names.
        let of_others = matches!(e.command(), 75 | 77 | 84);
        for field in e.fields_of_reply().filter(|_| !of_others) {
            let text = || Some(field.cell());
            match field.found.field.name {
                "tag" => d.tag = text(),
                "long_tag" => d.long_tag = text(),
                "universal_revision" => d.revision = field.found.value(field.data).number(),
                _ => {}
            }
        }
        d.status = e.device_status().unwrap_or(0);
    }

    /// The summary in words, no line longer than [`super::text::WIDTH`].
    pub fn text(&self) -> String {
        let mut out = String::new();
        for line in self.sentences().lines() {
            write_wrapped(line, 2, &mut out);
        }
        out
    }

    /// The summary as numbers: what is counted, of which device, command or damage, how many.
    pub fn table(&self) -> Table {
        let mut t = Table::new("", &["count", "of", "value"]);
        let counts = [
            ("frames_good", self.good_frames),
            ("frames_damaged", self.damaged_frames),
            ("octets_noise", self.noise_octets),
            ("requests", self.requests),
            ("requests_primary", self.primary),
            ("requests_secondary", self.secondary),
            ("retries", self.retries),
            ("answered", self.answered),
            ("unanswered", self.silent),
            ("polled_in_vain", self.nobody),
            ("answered_damaged", self.garbled),
            ("unfinished", self.open()),
            ("answers_unasked", self.unasked),
            ("lines_unread", self.problems),
        ];
        for (name, n) in counts {
            t.row([name.to_owned(), String::new(), n.to_string()]);
        }
        if let Some(d) = self.slowest {
            t.row([
                "slowest_answer_ms".to_owned(),
                String::new(),
                format!("{:.3}", d.as_nanos() as f64 / 1e6),
            ]);
        }
        for (name, d) in &self.devices {
            let of = name.to_string();
            let mut status = String::new();
            write_device_status(d.status, &mut status);
            let rows = [
                ("device_answers", Some(d.answers.to_string())),
                ("device_bursts", (d.bursts > 0).then(|| d.bursts.to_string())),
                ("device_revision", d.revision.map(|r| r.to_string())),
                ("device_tag", d.tag.clone().filter(|t| !t.is_empty())),
                ("device_long_tag", d.long_tag.clone().filter(|t| !t.is_empty())),
                ("device_reports", Some(status).filter(|s| !s.is_empty())),
            ];
            for (name, value) in rows {
                if let Some(value) = value {
                    t.row([name.to_owned(), of.clone(), value]);
                }
            }
        }
        for (name, d) in &self.devices {
            for (command, rate) in d.rates.iter() {
                let of = format!("{name} command {command}");
                t.row(["bursts".to_owned(), of.clone(), rate.count.to_string()]);
                if let Some([mean, _, _]) = rate.period() {
                    t.row(["burst_period_s".to_owned(), of, format!("{:.6}", mean.as_secs_f64())]);
                }
            }
        }
        for (id, n, _) in self.against() {
            t.row(["against".to_owned(), id.to_owned(), n.to_string()]);
        }
        for (name, map) in [("not_plainly_done", &self.refusals), ("damaged", &self.damages)] {
            for (what, n) in map {
                t.row([name.to_owned(), what.clone(), n.to_string()]);
            }
        }
        t
    }

    /// Requests after which the capture ended before anything could answer.
    fn open(&self) -> usize {
        self.requests - self.answered - self.silent - self.nobody - self.garbled
    }

    fn sentences(&self) -> String {
        let mut out = String::new();
        let _ = writeln!(
            out,
            "Summary: {} good, {} damaged, {} of noise.",
            plural(self.good_frames, "frame"),
            self.damaged_frames,
            plural(self.noise_octets, "octet")
        );
        let _ = write!(
            out,
            "Requests: {} and {} ({} by the primary, {} by the secondary master); {} answered, {} without answer, {} with a damaged answer",
            self.requests,
            plural(self.retries, "retry"),
            self.primary,
            self.secondary,
            self.answered,
            self.silent,
            self.garbled
        );
        let _ = match self.open() {
            0 => writeln!(out, "."),
            n => writeln!(out, ", {n} at the capture's end."),
        };
        if self.nobody > 0 {
            let _ = writeln!(
                out,
                "Nobody was there {} that a polling address was asked.",
                match self.nobody {
                    1 => "the one time".to_owned(),
                    n => format!("{n} times"),
                }
            );
        }
        if self.unasked > 0 {
            let _ = writeln!(out, "Answers to which no request was heard: {}.", self.unasked);
        }
        if let Some(t) = self.slowest {
            let _ =
                writeln!(out, "Slowest answer began {:.1} ms after its request.", t.as_nanos() as f64 / 1e6);
        }
        for (name, d) in &self.devices {
            let _ = write!(out, "Device {name}: {}", plural(d.answers, "answer"));
            if d.bursts > 0 {
                let _ = write!(out, " ({} in burst mode: {})", d.bursts, d.rates);
            }
            if let Some(r) = d.revision {
                let _ = write!(out, ", revision {r}");
            }
            if let Some(tag) = d.tag.as_deref().filter(|t| !t.is_empty()) {
                let _ = write!(out, ", tag {tag}");
            }
            if let Some(tag) = d.long_tag.as_deref().filter(|t| !t.is_empty()) {
                let _ = write!(out, ", long tag {tag}");
            }
            let mut status = String::new();
            write_device_status(d.status, &mut status);
            let _ = match status.as_str() {
                "" => writeln!(out, "; its last answer reports nothing."),
                s => writeln!(out, "; its last answer reports: {s}."),
            };
        }
        for (id, n, first) in self.against() {
            let _ = writeln!(out, "Against the rules of the link [{id}], {n} x, first: {first}");
        }
        for (what, n) in &self.refusals {
            let _ = writeln!(out, "Not plainly done, {n} x: {what}.");
        }
        for (what, n) in &self.damages {
            let _ = writeln!(out, "Damaged, {n} x: {what}.");
        }
        if self.problems > 0 {
            let _ = writeln!(out, "Lines that could not be read: {}.", self.problems);
        }
        for advice in self.advice() {
            let _ = writeln!(out, "Look at: {advice}");
        }
        out
    }

    /// What to look at next. Common practice, no source.
    fn advice(&self) -> Vec<Cow<'static, str>> {
        let mut advice: Vec<Cow<'static, str>> = Vec::new();
        if self.good_frames + self.damaged_frames == 0 && self.noise_octets + self.still_coming > 0 {
            advice.push("octets were heard, but no whole frame: several speak at once, or the line settings are wrong (1200 bit/s, 8 data bits, odd parity, 1 stop bit).".into());
        } else if self.good_frames + self.damaged_frames == 0 {
            advice.push("no frame was heard: on a wire, is the modem across the device or the loop resistor, and is there a resistor of 250 ohm or so in the loop? A HART-IP server publishes bursts alone: does a device behind it send any?".into());
        }
        let unanswered = self.silent + self.nobody;
        if unanswered > 0 && self.answered == 0 && self.noise_octets > ANSWER_OCTETS.max(unanswered) {
            advice.push("no answer was understood, but octets were heard that make no frame: the answers may be there with wrong settings (8 data bits, odd parity, 1 stop bit), too weak, or in noise.".into());
        } else if unanswered > 0 && self.answered == 0 {
            advice.push("nobody answered at all: check loop power, polarity, loop resistance and the polling address.".into());
        }
        if self.damaged_frames * 20 > self.good_frames && self.damaged_frames > 0 {
            advice.push(format!("more than one frame in twenty is damaged: {SEVERAL_TALK}, then joints, screen (earthed at one end only), noise sources, cable length.").into());
        }
        if self.primary > 0 && self.secondary > 0 {
            advice.push(
                "two masters are at work on this loop: that is allowed, but make sure you know both.".into(),
            );
        }
        advice
    }
}

/// So many octets that make no frame may be answers; fewer are noise beside silence.
const ANSWER_OCTETS: usize = 10;

fn count(map: &mut BTreeMap<String, usize>, key: &str) {
    if let Some(n) = map.get_mut(key) {
        *n += 1;
    } else if map.len() < MOST {
        map.insert(key.to_owned(), 1);
    }
}
