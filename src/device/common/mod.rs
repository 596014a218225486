//! What the common-practice commands do, a file a family.

pub(super) mod analog;
pub(super) mod burst;
pub(super) mod clock;
pub(super) mod device;
pub(super) mod lock;
pub(super) mod output;
pub(super) mod range;
pub(super) mod several;
pub(super) mod simulate;
pub(super) mod trim;
pub(super) mod variables;
