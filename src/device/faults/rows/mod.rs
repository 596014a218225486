//! The rows: a file a subject.

mod answers;
mod apart;
mod bursts;
mod codes;
mod common;
mod delayed;
mod hearing;
mod identity;
mod limits;
mod protect;
mod reads;
mod single;
mod status;
mod time;
mod writes;

use super::{FaultSection, ProtocolFault};

const fn about(about: &'static str, faults: &'static [ProtocolFault]) -> FaultSection {
    FaultSection { about, faults }
}

pub(super) static SECTIONS: &[FaultSection] = &[
    about("Octets of its answers", answers::ROWS),
    about("What it hears", hearing::ROWS),
    about("Time", time::ROWS),
    about("Who it is", identity::ROWS),
    about("Universal commands that read", reads::ROWS),
    about("Universal commands that write", writes::ROWS),
    about("Response codes", codes::ROWS),
    about("Device status and counters", status::ROWS),
    about("Write protect and lock", protect::ROWS),
    about("Bursts", bursts::ROWS),
    about("Delayed responses", delayed::ROWS),
    about("Limits of values", limits::ROWS),
    about("Common practice", common::ROWS),
    about("Single commands of several that are alike", single::ROWS),
    about("Made to tell checks apart", apart::ROWS),
];
