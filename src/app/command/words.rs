//! The short words in which rows are written.

use super::layout::{Field, Item, Kind, Layout};
use super::{CommandSpec, Effect, Form, Grade, Revision};

pub(super) const R5: Revision = Revision::R5;
pub(super) const R6: Revision = Revision::R6;
pub(super) const R7: Revision = Revision::R7;

/// No data.
pub(super) const NOTHING: Layout = &[];

/// A field without unit.
pub(super) const fn f(name: &'static str, label: &'static str, kind: Kind) -> Item {
    Item::Field(Field::new(name, label, kind))
}

/// A code or an id: people compare it in hex.
pub(super) const fn id(name: &'static str, label: &'static str, kind: Kind) -> Item {
    Item::Field(Field::new(name, label, kind).hex())
}

/// A float whose unit code stands so many fields before it.
pub(super) const fn float(name: &'static str, label: &'static str, unit_back: u8) -> Item {
    Item::Field(Field::new(name, label, Kind::Float).unit(unit_back))
}

/// A float whose unit the command fixes.
pub(super) const fn fixed(name: &'static str, label: &'static str, unit: &'static str) -> Item {
    Item::Field(Field::new(name, label, Kind::Float).fixed(unit))
}

/// A length of time, told in seconds [TY-07].
pub(super) const fn period(name: &'static str, label: &'static str) -> Item {
    Item::Field(Field::new(name, label, Kind::Time).fixed("s"))
}

/// One form for all revisions.
pub(super) const fn every(request: Layout, reply: Layout) -> [Form; 1] {
    [Form { from: R5, to: R7, request, reply }]
}

/// One form, from revision 6 on.
pub(super) const fn newer(request: Layout, reply: Layout) -> [Form; 1] {
    [Form { from: R6, to: R7, request, reply }]
}

/// One form, of revision 7 alone.
pub(super) const fn newest(request: Layout, reply: Layout) -> [Form; 1] {
    [Form { from: R7, to: R7, request, reply }]
}

/// A row whose notes have the command's number as their id.
pub(super) const fn row(
    number: u16,
    name: &'static str,
    cites: &'static str,
    effect: Effect,
    grade: Grade,
    forms: &'static [Form],
) -> CommandSpec {
    CommandSpec { number, name, effect, cites, grade, forms, codes: &[] }
}
