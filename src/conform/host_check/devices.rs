//! What the devices of a line have said of themselves, as far as a host has to heed it.

use crate::app::command::Revision;
use crate::exchange::{Exchange, Identity};
use crate::frame::{FrameType, Master as Role, Target};
use std::collections::BTreeMap;

/// Devices that are remembered.
const MOST: usize = 512;

#[derive(Clone, Copy, Debug, Default)]
struct Known {
    universal_revision: Option<u8>,
    reply_preambles: Option<u8>,
    /// Preambles that it has told each master that it wants.
    wants: [Option<u8>; 2],
    bursts: bool,
}

/// All of them, by every address that they have shown.
#[derive(Clone, Debug, Default)]
pub(super) struct Devices(BTreeMap<Target, Known>);

impl Devices {
    fn entry(&mut self, target: Target) -> Option<&mut Known> {
        if self.0.len() >= MOST && !self.0.contains_key(&target) {
            return None;
        }
        Some(self.0.entry(target).or_default())
    }

    /// Takes what a device's frame says.
    pub fn learn(&mut self, e: &Exchange) {
        let Some(reply) = e.transaction.reply_frame() else { return };
        let target = reply.address().target;
        if let Some(known) = self.entry(target) {
            known.bursts = reply.address().burst || reply.frame_type() == FrameType::Back;
        }
        if !matches!(reply.command(), 0 | 11 | 21) || reply.data().first() != Some(&254) {
            return;
        }
        let Some(identity) = Identity::of(reply.data()) else { return };
        let asked_by = e.transaction.request().map(|f| f.address().master);
        for target in [target, Target::Unique(identity.unique)] {
            if let Some(known) = self.entry(target) {
                known.universal_revision = Some(identity.universal_revision);
                if identity.universal_revision >= 7 {
                    known.reply_preambles = reply.data().get(12).copied();
                }
                if let Some(role) = asked_by {
                    known.wants[role.index()] = Some(identity.preambles);
                }
            }
        }
    }

    /// Its revision as it has told it.
    pub fn universal_revision(&self, target: Target) -> Option<u8> {
        self.0.get(&target)?.universal_revision
    }

    /// The same, as rows have it.
    pub fn revision(&self, target: Target) -> Option<Revision> {
        Revision::new(self.universal_revision(target)?)
    }

    /// How many preambles it has told this master that it wants.
    pub fn wants(&self, role: Role, target: Target) -> Option<u8> {
        self.0.get(&target)?.wants[role.index()]
    }

    /// How many it says that it sends before its answers.
    pub fn reply_preambles(&self, target: Target) -> Option<u8> {
        self.0.get(&target)?.reply_preambles
    }

    /// Whether its last frame says that it is in burst mode.
    pub fn bursts(&self, target: Target) -> bool {
        self.0.get(&target).is_some_and(|k| k.bursts)
    }
}
