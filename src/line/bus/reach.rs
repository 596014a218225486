//! Who hears whom on a bus, and how it changes [LI-25].

use super::ear::{Ear, Reach};
use super::sender::{Passing, Sender};
use super::{Bus, EARS, Source, Station};
use crate::line::dice::Dice;
use crate::time::Instant;

impl<S: Station> Bus<S> {
    /// From now on `listener` hears `talker` so [LI-25]; without a word about it everybody hears everybody clearly.
    ///
    /// Access points are talkers and listeners like stations, by the index that [`Bus::add_port`] gives; noise may be a talker.
    /// Of what is under way, what ends later is received by the new rule. Somebody whom the bus does not know hears nothing
    /// and says nothing, and nobody is told how he hears himself: that does nothing.
    pub fn set_reach(&mut self, talker: Source, listener: Source, reach: Reach) {
        if talker == listener || !self.knows(talker) || !self.knows(listener) {
            return;
        }
        // The detectors of this ear begin where those of all are.
        self.tell_detectors();
        let (air, holder) = (self.air.clone(), self.holder);
        let (ear, stream) = match listener {
            Source::Port(i) => (&mut self.ports[i].ear, EARS[0] + i as u64),
            Source::Station(i) => (&mut self.seats[i].ear, EARS[1] + i as u64),
            Source::Noise => return,
        };
        if ear.is_none() && reach == Reach::CLEAR {
            return;
        }
        let seed = self.seed;
        let ear = ear.get_or_insert_with(|| Box::new(Ear::new(air, holder, Dice::new(seed, stream))));
        let has_changed = ear.set(talker, reach);
        self.has_ears = true;
        if has_changed {
            self.follow_change(listener);
        }
    }

    /// How `listener` hears `talker`.
    pub fn reach(&self, talker: Source, listener: Source) -> Reach {
        self.ear(listener).map_or(Reach::CLEAR, |ear| ear.reach(talker))
    }

    fn knows(&self, source: Source) -> bool {
        match source {
            Source::Port(i) => i < self.ports.len(),
            Source::Station(i) => i < self.seats.len(),
            Source::Noise => true,
        }
    }

    fn ear(&self, of: Source) -> Option<&Ear> {
        match of {
            Source::Port(i) => self.ports.get(i)?.ear.as_deref(),
            Source::Station(i) => self.seats.get(i)?.ear.as_deref(),
            Source::Noise => None,
        }
    }

    fn ear_mut(&mut self, of: Source) -> Option<&mut Ear> {
        match of {
            Source::Port(i) => self.ports.get_mut(i)?.ear.as_deref_mut(),
            Source::Station(i) => self.seats.get_mut(i)?.ear.as_deref_mut(),
            Source::Noise => None,
        }
    }

    fn sources(&self) -> impl Iterator<Item = (Source, &Sender)> {
        let ports = (0..).map(Source::Port).zip(self.ports.iter().map(|p| &p.sender));
        let seats = (0..).map(Source::Station).zip(self.seats.iter().map(|s| &s.sender));
        ports.chain(seats).chain([(Source::Noise, &self.noise)])
    }

    /// Somebody's carrier came up for this listener, or went, in the middle of it.
    fn follow_change(&mut self, listener: Source) {
        let now = self.now;
        let Some(ear) = self.ear(listener) else { return };
        let heard = self.sources().filter(|(source, _)| ear.hears(*source));
        let until = heard.map(|(_, sender)| sender.told_until).filter(|until| *until > now).max();
        if let Some(ear) = self.ear_mut(listener) {
            ear.air.change(now, until);
        }
    }

    /// What the ears heard last is over.
    pub(super) fn clear_ears(&mut self) {
        if self.has_ears {
            let seats = self.seats.iter_mut().filter_map(|s| s.ear.as_mut());
            let ports = self.ports.iter_mut().filter_map(|p| p.ear.as_mut());
            seats.chain(ports).for_each(|ear| ear.heard.clear());
        }
    }

    /// An octet ends now: each ear hears of it what it can.
    pub(super) fn tell_ears(&mut self, source: Source, passing: &Passing) {
        if !self.has_ears {
            return;
        }
        let (begin, end) = (passing.begins, passing.octet.at);
        let on = |s: &Sender| begin < end && s.is_on_between(begin, end);
        let others: Vec<Source> =
            self.sources().filter(|(s, sender)| *s != source && on(sender)).map(|(s, _)| s).collect();
        let ports = self.ports.iter_mut().enumerate().map(|(i, p)| (Source::Port(i), p.ear.as_mut()));
        let seats = self.seats.iter_mut().enumerate().map(|(i, s)| (Source::Station(i), s.ear.as_mut()));
        for (listener, ear) in ports.chain(seats) {
            if let Some(ear) = ear {
                let listens = listener != source && !others.contains(&listener);
                ear.take(source, passing, &others, listens);
            }
        }
    }

    /// Carriers have come, each from when until when.
    pub(super) fn tell_ears_of_carriers(&mut self, come: &[(Source, Instant, Instant)]) {
        for &(source, from, until) in come {
            for ear in self.seats.iter_mut().filter_map(|s| s.ear.as_mut()).filter(|e| e.hears(source)) {
                ear.air.carry(from, until);
            }
        }
    }

    /// Whether a station that ends to send finds somebody's carrier on that it could not notice before.
    pub(super) fn notices_somebody(&self, station: usize) -> bool {
        let now = self.now;
        let goes_on = |s: &Sender| s.until > now && s.from <= now;
        match self.seats.get(station).and_then(|s| s.ear.as_ref()) {
            None => self.air.is_on && self.senders().any(goes_on),
            Some(ear) => ear.air.is_on && self.sources().any(|(s, sender)| ear.hears(s) && goes_on(sender)),
        }
    }
}
