//! What a running bench tells of its devices and of its plan's events.

use super::notice::Notice;
use super::running::Bench;
use crate::sim::{DeviceStation, Participant, Power};
use crate::time::Instant;

impl Bench {
    /// Tells what has become of power, and where the loop has changed what it gives every device since.
    pub(super) fn tell_power(&mut self, changed_at: Option<Instant>, on: &mut dyn FnMut(Notice)) {
        for device in 0..self.driven.plan().devices.len() {
            let changed = changed_at.map(|at| (at, self.reach(device)));
            let Some(station) = self.driven.bus_mut().station_mut(device).and_then(Participant::device_mut)
            else {
                continue;
            };
            let news = station.take_power_news();
            // News of power that is gone or back say it all.
            let is_told = news.last().is_some_and(|n| n.supplied.power != Power::On);
            let supplied = station.supplied();
            if let (Some((at, reach)), Some(supplied), false) = (changed, supplied, is_told) {
                on(Notice::Supplied { at, device, supplied, reach });
            }
            for news in news {
                on(Notice::Power { device, news });
            }
            for (at, news) in station.device_mut().take_positioner_news() {
                on(Notice::Positioner { device, at, news });
            }
        }
    }

    /// Gives when the last of the loop among them was due.
    pub(super) fn tell_events(&mut self, now: Instant, on: &mut dyn FnMut(Notice)) -> Option<Instant> {
        if self.driven.events_done() >= self.driven.plan().events.len() {
            return None;
        }
        let mut last_of_loop = None;
        let done: Vec<usize> = self.stations().map(DeviceStation::changes_done).collect();
        let mut counted = vec![0; done.len()];
        let mut told = self.driven.events_done();
        for (i, event) in self.driven.plan().events.iter().enumerate() {
            // It has happened when it has to each device that it concerns, one of the loop when it was due.
            let is_of_loop = self.driven.plan().is_for_no_device(event);
            let reaches_loop = self.driven.plan().wires.is_some() && event.change.reaches_the_loop();
            if is_of_loop && event.at > now {
                break;
            }
            let mut concerned = (0..done.len()).filter(|&d| !is_of_loop && event.concerns(d));
            concerned.clone().for_each(|d| counted[d] += 1);
            if concerned.any(|d| done[d] < counted[d]) {
                break;
            }
            if i >= told {
                on(Notice::EventDone { event: i, at: event.at, device: event.device, change: event.change });
                told = i + 1;
                last_of_loop = Some(event.at).filter(|_| reaches_loop).or(last_of_loop);
            }
        }
        self.driven.set_events_done(told);
        last_of_loop
    }
}
