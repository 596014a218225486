//! Who breaks the rules of turns on a line that is listened to, for the summary [LL-19].

use crate::capture::Item;
use crate::frame::Capabilities;
use crate::link::Observer;
use crate::report::summary::Summary;
use crate::time::Pace;

/// Watches the items of a capture.
pub struct Rules(Option<Observer>);

impl Rules {
    /// For a capture whose octets have times.
    pub fn timed(pace: Pace, line: Capabilities) -> Rules {
        Rules(Some(Observer::new(pace, line)))
    }

    /// For octets of which it is not known that they follow each other.
    pub const fn none() -> Rules {
        Rules(None)
    }

    /// Looks at an item, and tells the summary what it shows.
    pub fn look(&mut self, item: &Item, summary: &mut Summary) {
        let Some(observer) = &mut self.0 else { return };
        match item {
            Item::Exchange(e) => {
                let t = &e.transaction;
                // In the order of time: what came damaged stands somewhere between the first try and the
                // answer, and after it nothing is sure.
                t.tries.iter().for_each(|g| observer.push_good(g));
                if !t.interludes.is_empty() {
                    observer.push_unclear();
                }
                t.reply.iter().for_each(|g| observer.push_good(g));
            }
            Item::Damaged(_) | Item::Noise(_) => observer.push_unclear(),
        }
        while let Some(finding) = observer.next() {
            let v = finding.violation;
            // Answers that nobody asked for are counted already.
            if v.requirement != "DV-12" {
                summary.broken(v.requirement, || {
                    let shown = v.evidence.iter().map(|e| format!("; {e}"));
                    format!("{}{}", v.what, shown.collect::<String>())
                });
            }
        }
    }
}
