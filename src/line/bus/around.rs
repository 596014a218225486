//! What goes on around the stations, whoever speaks: the loop that feeds them [LI-26].

use super::{Bus, Station};
use crate::time::Instant;
use core::any::Any;

/// Something that changes stations, or what they hear, at times of its own [LI-26]. It is on the bus's true time.
pub trait Around<S: Station>: AsItself<S> {
    /// When it wants to be called next; what is due is done before anything else of that instant.
    fn wake_at(&self) -> Option<Instant>;

    /// Does what is due up to `now`; afterwards [`Around::wake_at`] is later than that.
    fn come_to(&mut self, now: Instant, bus: &mut Bus<S>);

    /// A station or an access point has been added to the bus.
    fn joined(&mut self, bus: &mut Bus<S>);
}

/// What the bus needs besides of whatever goes on around it: everything that can be copied has it.
pub trait AsItself<S: Station> {
    /// The same with a state of its own, for a copy of the bus.
    fn clone_box(&self) -> Box<dyn Around<S> + Send>;

    /// Itself, for whoever knows what it is.
    fn as_any(&self) -> &dyn Any;

    /// Itself, for whoever knows what it is and changes it.
    fn as_any_mut(&mut self) -> &mut dyn Any;
}

impl<S: Station, A: Around<S> + Clone + Send + 'static> AsItself<S> for A {
    fn clone_box(&self) -> Box<dyn Around<S> + Send> {
        Box::new(self.clone())
    }

    fn as_any(&self) -> &dyn Any {
        self
    }

    fn as_any_mut(&mut self) -> &mut dyn Any {
        self
    }
}

impl<S: Station> Clone for Box<dyn Around<S> + Send> {
    fn clone(&self) -> Self {
        (**self).clone_box()
    }
}

impl<S: Station> Bus<S> {
    /// From now on this goes on around the stations; it is called at once, as at `now`.
    pub fn set_around(&mut self, mut around: Box<dyn Around<S> + Send>, now: Instant) {
        around.come_to(now, self);
        self.around = Some(around);
    }

    /// What goes on around the stations, if it is an `A`.
    pub fn around<A: Around<S> + 'static>(&self) -> Option<&A> {
        self.around.as_deref().and_then(|a| a.as_any().downcast_ref())
    }

    /// The same, to change it, which shows at the next [`Bus::poll`].
    pub fn around_mut<A: Around<S> + 'static>(&mut self) -> Option<&mut A> {
        self.around.as_deref_mut().and_then(|a| a.as_any_mut().downcast_mut())
    }

    /// What a station's clock shows at the true time `at`; an unknown station has a clock that is right.
    pub fn shown(&self, index: usize, at: Instant) -> Instant {
        self.seats.get(index).map_or(at, |s| s.clock.drift.shows(at))
    }

    /// What a station is sending breaks off now, and its carrier with it: nobody hears the octet under way, nor
    /// those behind it [LI-26]. The station is not told that it has sent.
    pub fn cut(&mut self, index: usize) {
        let now = self.now;
        let Some(seat) = self.seats.get_mut(index).filter(|s| !s.sender.waiting.is_empty()) else { return };
        seat.sender.cut(now);
        seat.wish = None;
        let until = self.senders().map(|s| s.until).fold(now, Instant::max);
        self.air.cut(until);
        for i in 0..self.seats.len() {
            let Some(ear) = &self.seats[i].ear else { continue };
            let heard = self.sources().filter(|(source, _)| ear.hears(*source));
            let until = heard.map(|(_, sender)| sender.until).fold(now, Instant::max);
            if let Some(ear) = &mut self.seats[i].ear {
                ear.air.cut(until);
            }
        }
    }

    /// How many access points there are.
    pub fn port_count(&self) -> usize {
        self.ports.len()
    }

    pub(super) fn somebody_came(&mut self) {
        if let Some(mut around) = self.around.take() {
            around.joined(self);
            self.around = Some(around);
        }
    }

    pub(super) fn go_around(&mut self) {
        if let Some(mut around) = self.around.take() {
            around.come_to(self.now, self);
            self.around = Some(around);
        }
    }
}
