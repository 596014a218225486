//! `[[device.slow]]`: commands that take their time [DV-41].

use super::shape::SlowTable;
use super::{Fault, number, whole};
use crate::app::command::Revision;
use crate::device::{Slow, why_not_slow};
use core::time::Duration;
use toml::Spanned;

/// The slow commands of a device of this revision.
pub(super) fn slow(tables: &[Spanned<SlowTable>], revision: Revision) -> Result<Vec<Slow>, Fault> {
    let mut out: Vec<Slow> = Vec::new();
    for table in tables {
        let t = table.get_ref();
        let (Some(n), Some(s)) = (&t.command, &t.takes_s) else {
            let missing = if t.command.is_none() { "command" } else { "time" };
            let right = "give both, such as command = 41 and takes_s = 3.0";
            return Err(Fault::new(&table.span(), format!("this slow command has no {missing}"), right));
        };
        let command = whole(n, "command", 0..=255)?;
        if let Some(why) = why_not_slow(command, revision) {
            let right = match revision {
                Revision::R7 => "give a command that may answer later, such as 22, 41, 71 or 79",
                _ => "give a command that changes something, such as 17 or 41",
            };
            return Err(Fault::new(&n.span(), why, right));
        }
        if out.iter().any(|other| other.command == command) {
            let wrong = format!("command {command} is slow already");
            return Err(Fault::new(&n.span(), wrong, "leave one of the two out"));
        }
        let (least, most) = (Slow::TAKES.start().as_secs_f64(), Slow::TAKES.end().as_secs_f64());
        let takes = Duration::from_secs_f64(number(s, "takes_s", "s", least..=most)?);
        out.push(Slow { command, takes });
    }
    Ok(out)
}
