//! Which parts of a described command's data a revision has, and what must hold of them.

use super::{Command, Element, Part, PartKind, PartUnit};
use crate::app::command::{Direction, Revision};

impl Command {
    /// The revisions in which devices have it, oldest first.
    pub fn revisions(&self) -> impl Iterator<Item = Revision> + use<> {
        let (from, to) = (self.from, self.to);
        Revision::NEWEST_FIRST.into_iter().rev().filter(move |r| from <= *r && *r <= to)
    }

    /// Its data in one direction, in all revisions.
    pub fn data(&self, direction: Direction) -> &[Element] {
        match direction {
            Direction::Request => &self.request,
            Direction::Reply => &self.reply,
        }
    }

    /// Its data in one direction as devices of `revision` have them.
    pub fn data_in(&self, direction: Direction, revision: Revision) -> Vec<Element> {
        let has = |p: &&Part| p.from <= revision && revision <= p.to;
        let of = |element: &Element| match element {
            Element::Value(part) => Some(element.clone()).filter(|_| has(&part)),
            Element::Slots { least, most, parts } => {
                let parts: Vec<Part> = parts.iter().filter(has).cloned().collect();
                (!parts.is_empty()).then_some(Element::Slots { least: *least, most: *most, parts })
            }
        };
        self.data(direction).iter().filter_map(of).collect()
    }

    /// The names of the values that say which of several things it is about.
    pub fn selectors(&self) -> impl Iterator<Item = &str> {
        self.request.iter().flat_map(Element::parts).filter(|p| p.selects).map(|p| p.name.as_str())
    }
}

/// How many values before that of index `at` among `parts` the unit named stands; `None` if it is not there, or
/// is no unit.
pub(super) fn unit_back(parts: &[&Part], at: usize) -> Option<u8> {
    let PartUnit::From(name) = &parts[at].unit else { return None };
    let place = parts[..at].iter().rposition(|p| p.name == *name && p.kind == PartKind::Unit)?;
    u8::try_from(at - place).ok()
}
