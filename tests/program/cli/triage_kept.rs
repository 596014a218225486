//! What `triage` keeps: the same session again, all that was remarked in every output, knowledge that lacks names, words that are none.

use super::travel::{MOCK, bench, record};
use crate::process::{Ended, Process, run, scratch};
use std::fs;
use std::path::{Path, PathBuf};

/// A travel stop that was moved, clearly: the stem opens short of its end.
fn stop_moved(name: &str) -> PathBuf {
    let event = "[[event]]\nat_s = 1\nfault = \"stop_moved\"\nseverity = 0.6\ndevice = \"FV-3104\"\n";
    bench(name, event, "\"triage/stem\" = \"moves\"\n")
}

const LINE: [&str; 6] = ["triage", MOCK, "--description", "positioner.toml", "--supply-kpa", "140"];

/// Somebody who types this.
fn typed(dir: &Path, arguments: &[&str], lines: &str) -> Ended {
    let mut process = Process::fed(dir, arguments);
    process.feed(lines.as_bytes());
    process.end()
}

fn read(dir: &Path, name: &str) -> String {
    fs::read_to_string(dir.join(name)).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// Whoever stops at the first question or the third, at a line or without one, gets the same again from the file of answers and from the
/// record: outcome, NOT WHOLE, figures, tag, line, where the set point was left, next check, and not one question more.
#[test]
fn a_stopped_session_is_the_same_again() {
    let dir = stop_moved("triage-stopped");
    for (n, (on_line, lines)) in
        [(true, "stop\n"), (true, "?\n2\nstop\n"), (false, "stop\n"), (false, "3\n?\nstop\n")]
            .into_iter()
            .enumerate()
    {
        let [kept, answers, page] = ["r.json", "a.toml", "p.html"].map(|name| format!("{n}-{name}"));
        let files = ["--record", &kept, "--write-answers", &answers, "--html", &page];
        let start: &[&str] = if on_line { &LINE } else { &["triage"] };
        let moves: &[&str] = if on_line { &["--move"] } else { &[] };
        let first = typed(&dir, &[start, moves, &files].concat(), lines);
        // Nothing was seen at all by who stopped at once without a line.
        let is_empty = lines == "stop\n" && !on_line;
        assert_eq!(first.code, if is_empty { 2 } else { 1 }, "{n}: {}{}", first.err, first.out);
        assert!(first.out.starts_with("NOT WHOLE: the person stopped it.\n"), "{n}: {}", first.out);
        let asked = record(&dir, &kept)["asked"].as_array().map(Vec::len);
        assert_eq!(asked, Some(lines.lines().count() - 1));
        if on_line {
            let left = "The loop current of the bench is 12.00 mA again, as before the test.";
            let all = [first.out.replace('\n', " "), read(&dir, &page), read(&dir, &answers)];
            assert!(all.iter().all(|text| text.contains(left) && text.contains("stands at 6")), "{all:#?}");
        }
        for from in [&answers, &kept] {
            let again = run(
                &dir,
                &["triage", "--answers", from, "--record", "r.json", "--html", "p.html", "--force"],
            );
            assert_eq!((again.code, &again.out), (first.code, &first.out), "{n} {from}: {}", again.err);
            assert!(!again.err.contains("has none") && !again.err.contains("nothing asked"), "{}", again.err);
            assert_eq!(read(&dir, "r.json"), read(&dir, &kept), "{n} {from}");
            assert_eq!(read(&dir, "p.html"), read(&dir, &page), "{n} {from}");
        }
    }
    outputs_tell_all(&dir);
    names_that_the_knowledge_lacks(&dir);
    // The same file in front of a line answers the questions, and its other lines are no answers that nobody asked for.
    let line = run(&dir, &[&LINE[..], &["--answers", "3-a.toml"]].concat());
    assert!(!line.err.contains("triage/session") && !line.out.contains("NOT WHOLE"), "{}", line.err);
}

/// The part in the report of a valve tells where it was left; a row of the table each: outcome, why it is not whole, next check, cautions, remark.
fn outputs_tell_all(dir: &Path) {
    let report = run(dir, &["travel", "--from", "1-r.json", "--html", "report.html"]);
    assert_eq!(report.code, 1);
    let page = read(dir, "report.html");
    assert!(page.contains("12.00 mA again, as before the test."), "{page}");
    let table = run(dir, &["triage", "--answers", "1-a.toml", "--format", "csv"]);
    let rows: Vec<&str> = table.out.lines().collect();
    assert_eq!(rows[0], "what,rank,name,share,workshop,words,remedy,cautions");
    let row = |what: &str| rows.iter().find(|r| r.starts_with(what)).unwrap_or_else(|| panic!("{rows:#?}"));
    assert!(row("outcome,").starts_with("outcome,,likely,,,") || row("outcome,").contains(",unclear,"));
    assert!(row("not_whole,").contains("the person stopped it"));
    assert!(row("cause,1,stop_moved,").matches(',').count() >= 7);
    let next = record(dir, "1-r.json")["next"].clone();
    assert!(row("next_check,").contains(next["symptom"].as_str().expect("a next check")));
    assert!(row("remark,").contains("12.00 mA again"));
    let known = looprig::commission::triage::Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    let cause = known.cause("stop_moved").expect("a cause");
    for caution in &cause.cautions {
        assert!(row("cause,1,").contains(caution.split(['"', ',']).next().unwrap_or("")), "{rows:#?}");
    }
}

/// Knowledge that calls `short` another name: told on the screen, in the record and on the page, and no clean bill.
fn names_that_the_knowledge_lacks(dir: &Path) {
    assert_eq!(run(dir, &["triage", "--write-knowledge", "own.toml"]).code, 0);
    let own = read(dir, "own.toml");
    let other = own.replace("name = \"short\"", "name = \"not_open\"").replace(" short = ", " not_open = ");
    assert_ne!(own, other);
    fs::write(dir.join("kr.toml"), other).expect("written");
    let files = ["--record", "k.json", "--html", "k.html"];
    let ended =
        run(dir, &[&["triage", "--answers", "0-a.toml", "--knowledge", "kr.toml"], &files[..]].concat());
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    assert!(!ended.out.contains("Nothing found"), "{}", ended.out);
    let says = "The knowledge has no value \"short\" of \"opens\", so this counts for nothing: at set point 100 % it stands at 6";
    let record = record(dir, "k.json")["remarks"].to_string().replace("\\\"", "\"");
    let page = read(dir, "k.html").replace("&quot;", "\"");
    for text in [ended.out.replace('\n', " "), record, page] {
        assert!(text.contains(says), "{text}");
    }
}

/// Whoever stops it where leave to move is asked for has no whole session, though the valve is healthy; and that is so again from the record.
#[test]
fn a_stop_at_the_leave_is_not_whole() {
    let dir = bench("triage-leave", "", "\"triage/move\" = \"stop\"\n");
    let ended =
        run(&dir, &[&LINE[..], &["--answers", "answers.toml", "--move", "--record", "r.json"]].concat());
    assert_eq!(ended.code, 1, "{}{}", ended.err, ended.out);
    assert!(
        ended.out.starts_with("NOT WHOLE: ") && ended.out.contains("Not all was read: "),
        "{}",
        ended.out
    );
    assert_eq!(record(&dir, "r.json")["asked"].as_array().map(Vec::len), Some(0));
    let again = run(&dir, &["triage", "--answers", "r.json"]);
    assert_eq!((again.code, again.out), (1, ended.out));
}

/// A word that is no value ends it before anything is read, whoever it is asked of; a record of something else is none.
#[test]
fn words_that_are_no_answers() {
    let dir = stop_moved("triage-words");
    for (wrong, words) in [
        ("\"triage/opens\" = \"half\"", ["w.toml:1:", "\"half\" is no value of opens", "short"]),
        ("\"triage/stem\" = \"runs\"", ["w.toml:1:", "\"runs\" is no value of stem", "stands"]),
        ("\"triage/stem\" = [\"?\", \"runs\"]", ["w.toml:1:", "\"runs\" is no value of stem", "stands"]),
        ("\"triage/move\" = \"perhaps\"", ["w.toml:1:", "no answer to triage/move", "yes"]),
    ] {
        fs::write(dir.join("w.toml"), wrong).expect("written");
        for arguments in [&["triage"][..], &LINE] {
            run(&dir, &[arguments, &["--answers", "w.toml"]].concat()).refused(&words);
        }
    }
    fs::write(dir.join("w.toml"), "{\"format\": \"looprig something 1\"}").expect("written");
    run(&dir, &["triage", "--answers", "w.toml"]).refused(&["w.toml", "--record"]);
}

/// Control characters, a share of a question, octets that are no text, and no scenes.
#[test]
fn files_that_are_none() {
    let dir = scratch("triage-files");
    let own = looprig::commission::triage::own_text();
    let line_of = |text: &str, at: &str| text.lines().position(|l| l.contains(at)).map_or(0, |n| n + 1);
    for (from, to, at, says) in [
        ("words = \"", "words = \"\\u001b[2J", "\\u001b", "control character (U+001B)"),
        ("most_questions = ", "most_questions = 0.5 # ", "0.5 #", "most_questions is 0.5"),
        ("most_questions = ", "most_questions = 12.7 # ", "12.7", "most_questions is 12.7"),
    ] {
        let text = own.replacen(from, to, 1);
        assert_ne!(text, own);
        fs::write(dir.join("k.toml"), &text).expect("written");
        let place = format!("k.toml:{}:", line_of(&text, at));
        run(&dir, &["triage", "--knowledge", "k.toml", "--list"]).refused(&[&place, says]);
    }
    fs::write(dir.join("u.toml"), b"whose = \"x\"\n[belief]\n# caf\xe9\n").expect("written");
    run(&dir, &["triage", "--knowledge", "u.toml", "--list"]).refused(&["u.toml:3:6", "no text in UTF-8"]);
    fs::write(dir.join("s.jsonl"), "\n").expect("written");
    run(&dir, &["triage", "--measure", "--from-scenes", "s.jsonl"])
        .refused(&["s.jsonl", "no scene is in it"]);
}
