//! `looprig settings restore`: what a file has goes into a device.

use super::files::read_file;
use super::{find, read_failure, spinner, to_and_file};
use crate::cli::output::{Ended, Failure, Output, say, tell};
use crate::cli::settings_args::RestoreArgs;
use crate::commission::settings::{
    Allowed, Change, Difference, LeftOut, News, Origin, Outcome, Plan, Restored, Restoring, Settings,
    compare, other_device, other_type, plan,
};
use crate::host::{Device, To};
use crate::report::Format;
use crate::report::table::Table;
use crate::report::text::plural;
use core::fmt::Write;
use std::path::Path;

pub(super) fn restore_to(args: &RestoreArgs, out: &mut Output) -> Result<Ended, Failure> {
    let doing = "restoring settings";
    let (to, path) = to_and_file(&args.words, doing)?;
    let catalogue = args.described.load()?;
    // On wires of this process there is nothing that a command could harm [HO-05].
    let harmless = args.line.is_mock();
    // A bench of this process may describe what the file is about; a port is opened for a good file alone.
    let early = (!harmless).then(|| read_file(&path, &catalogue)).transpose()?;
    if !(args.write || args.moves || harmless) {
        return Err(Failure::new(
            doing,
            "it changes what the device stores, and nobody said that this is wanted",
            "see with `looprig settings compare FILE LINE TO` what differs, then add --write",
        ));
    }
    let doing = format!("restoring the settings of {to}");
    let Some(mut bench) = find(&args.line, &to, catalogue, &args.host, &doing)? else {
        return Ok(Ended::Failed);
    };
    let wanted = early.map_or_else(|| read_file(&path, &bench.catalogue), Ok)?;
    let now = bench.read(&doing, out.quiet)?;
    same_device(&wanted, &now, args, &doing)?;
    let allowed = Allowed { moves: args.moves || harmless, polling_address: args.polling_address };
    let planned = plan(&wanted, &now, allowed);
    announce(&planned, &bench.device, &to, &path, &wanted.origin);
    let progress = spinner(out.quiet);
    let mut news = |news: News<'_>| match news {
        News::Doing(what) => {
            progress.set_message(what.to_owned());
            progress.tick();
        }
        News::Again(changes) => progress.suspend(|| {
            tell(&"what was written changed these values too; they are written again:");
            announce_changes(changes);
        }),
    };
    let mut restoring = Restoring {
        ask: &mut bench.host,
        device: bench.device,
        wanted: &wanted,
        now,
        allowed,
        stop: args.stop,
        news: &mut news,
        results: Vec::new(),
    };
    let ended = restoring.run();
    let Restoring { now, results, .. } = restoring;
    progress.finish_and_clear();
    // What was right before, or could be told, and is not now; where an error ended it, nobody knows.
    let after = if ended.is_ok() { plan(&wanted, &now, allowed).left_out } else { Vec::new() };
    let spoilt: Vec<LeftOut> =
        after.into_iter().filter(|l| planned.left_out.iter().all(|p| !p.is(l))).collect();
    show(&planned, &results, &spoilt, out);
    for LeftOut { value: v, why, .. } in &spoilt {
        tell(&format!(
            "this changed while the rest was written, and was not put right: {} {}: {}, wanted {}; {why}",
            v.section, v.name, v.as_found, v.as_left
        ));
    }
    advise(&results);
    ended.map_err(|e| read_failure(doing, e))?;
    let arrived = results.iter().all(|r| r.outcome == Outcome::Arrived) && spoilt.is_empty();
    let whole = planned.left_out.iter().all(|l| l.expected);
    Ok(if arrived && whole { Ended::Fine } else { Ended::Failed })
}

/// What advice there is about what did not arrive, once each.
fn advise(results: &[Restored]) {
    if results.iter().any(|r| r.outcome == Outcome::Undone) {
        tell(
            &"some values arrived and were changed again by a later write: a device may keep two of them as one, such as the damping of the output and that of the variable that is PV; give both the same value in the file",
        );
    }
    if results.iter().any(|r| matches!(r.outcome, Outcome::Busy(_))) {
        tell(
            &"the device stayed busy, and those values were left out: wait until it is done, then restore once more; before revision 7 a device that another master has locked says busy too",
        );
    }
}

/// Settings of one type of device say nothing certain to another; and those of another device of the type go
/// into the wrong valve, unless that device takes the other one's place [HO-08].
fn same_device(wanted: &Settings, now: &Settings, args: &RestoreArgs, doing: &str) -> Result<(), Failure> {
    let words = |d: &Difference| format!("{} {} in the file, {} here", d.name, d.as_found, d.as_left);
    let (mut wrong, mut refused, mut next) = (Vec::new(), false, Vec::new());
    let types: Vec<String> = other_type(wanted, now).iter().map(words).collect();
    if !types.is_empty() {
        wrong.push(format!("the file is of another kind of device: {}", types.join("; ")));
        if !args.other_type {
            refused = true;
            next.push("--other-type restores what both kinds have, and what it means is then yours to judge");
        }
    }
    if let Some(d) = other_device(wanted, now) {
        // People know valves by their tags.
        let all = compare(wanted, now).differences;
        let tags = all.iter().filter(|d| matches!(&*d.name, "tag" | "long_tag") && d.section == d.name);
        let list: Vec<String> = core::iter::once(&d).chain(tags).map(words).collect();
        wrong.push(format!("the file is of another device: {}", list.join("; ")));
        if !args.other_device {
            refused = true;
            next.push("--other-device gives this device the settings, labels too, where it takes the place of that one");
        }
    }
    let wrong = wrong.join("; and ");
    if refused {
        next.insert(0, "check which device this is");
        return Err(Failure::new(doing, wrong, next.join("; ")));
    }
    if !wrong.is_empty() {
        tell(&wrong);
    }
    Ok(())
}

/// What a file says, without what a terminal would obey.
fn one_line(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// What will be changed and what will not, before anything is.
fn announce(plan: &Plan, device: &Device, to: &To, path: &Path, origin: &Origin) {
    if plan.changes.is_empty() {
        let all = if plan.left_out.is_empty() { ": all is as in the file already" } else { "" };
        tell(&format!("nothing is to be written to device {} ({to}){all}", device.unique));
    } else {
        let saved = if origin.saved.is_empty() {
            String::new()
        } else {
            format!(", saved {}", one_line(&origin.saved))
        };
        tell(&format!("this is written to device {} ({to}) from {}{saved}:", device.unique, path.display()));
    }
    for LeftOut { value: v, why, .. } in &plan.left_out {
        // Of what the file does not know there is nothing to show.
        let values = match (&*v.as_found, &*v.as_left) {
            ("-", "-") => String::new(),
            (found, wanted) => format!("{found} -> {wanted}; "),
        };
        say(&format!("  left out: {} {}: {values}{why}", v.section, v.name));
    }
    announce_changes(&plan.changes);
}

fn announce_changes(changes: &[Change]) {
    for Change { values, .. } in changes {
        for v in values {
            say(&format!("  {} {}: {} -> {}", v.section, v.name, v.as_found, v.as_left));
        }
    }
    if changes.iter().any(Change::moves) {
        say(
            "  caution: the valve may move: loop in manual, process and people clear; stay clear of stem, lever and linkage",
        );
    }
}

fn show(plan: &Plan, results: &[Restored], spoilt: &[LeftOut], out: &mut Output) {
    let columns = ["section", "value", "as_found", "wanted", "as_left", "outcome"];
    let mut table = Table::new("", &columns);
    for r in results {
        let outcome = match &r.outcome {
            Outcome::Arrived if r.said == "ok" => "arrived".to_owned(),
            Outcome::Arrived => format!("arrived, {}", r.said),
            // Nothing was said where nothing was written.
            Outcome::Differs if r.said.is_empty() => "changed by another write".to_owned(),
            Outcome::Differs if r.said == "ok" => "not as wanted, although the device said ok".to_owned(),
            Outcome::Differs => format!("not as wanted, {}", r.said),
            Outcome::Undone => "arrived, then changed by another write".to_owned(),
            Outcome::NotReadBack(why) => format!("written, not read back: {why}"),
            Outcome::Refused(said) => said.clone(),
            Outcome::Busy(said) => format!("left out, {said}"),
            Outcome::Unanswered => "no answer".to_owned(),
            Outcome::NotTried => "not tried".to_owned(),
        };
        for (v, read_back) in r.change.values.iter().zip(&r.read_back) {
            table.row([&v.section, &v.name, &v.as_found, &v.as_left, read_back, &outcome]);
        }
    }
    let format = out.options.format;
    for LeftOut { value: v, why, .. } in plan.left_out.iter().chain(spoilt) {
        // People read why elsewhere.
        let outcome = if format == Format::Text { "left out".to_owned() } else { format!("left out: {why}") };
        table.row([&v.section, &v.name, &v.as_found, &v.as_left, &v.as_found, &outcome]);
    }
    if !table.rows.is_empty() || format == Format::Csv {
        table.write(format, out.text());
    }
    if format == Format::Text && !out.quiet {
        let arrived = results.iter().filter(|r| r.outcome == Outcome::Arrived);
        let arrived: usize = arrived.map(|r| r.change.values.len()).sum();
        let all: usize = results.iter().map(|r| r.change.values.len()).sum();
        let (left_out, equal) = (plan.left_out.len() + spoilt.len(), plan.equal);
        let done = match all {
            0 => "Nothing was written".to_owned(),
            all => format!("{arrived} of {} arrived", plural(all, "value")),
        };
        let _ = writeln!(out.text(), "{done}, {left_out} left out, {equal} equal before.");
    }
}
