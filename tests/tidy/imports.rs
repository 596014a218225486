//! Who imports whom: the table of rooms, and what a source file reaches by `crate::`.

/// What a room may import besides itself.
#[derive(Clone, Copy)]
enum May {
    Only(&'static [&'static str]),
    AllBut(&'static [&'static str]),
}

/// The table of rooms: a new room or a new arrow is a decision, and it is made here.
#[rustfmt::skip]
const ROOMS: &[(&str, May)] = &[
    ("time", May::Only(&[])),
    ("app", May::Only(&[])),
    ("frame", May::Only(&["time"])),
    ("ip", May::Only(&["time", "frame"])),
    ("plant", May::Only(&["time"])),
    ("wiring", May::Only(&[])),
    ("transaction", May::Only(&["time", "frame"])),
    ("link", May::Only(&["time", "frame", "transaction"])),
    ("exchange", May::Only(&["time", "frame", "ip", "transaction", "app"])),
    ("wave", May::Only(&["time", "frame"])),
    ("line", May::Only(&["time", "frame", "ip", "wave"])),
    ("device", May::Only(&["time", "frame", "link", "app", "plant", "wiring"])),
    ("sim", May::Only(&["time", "frame", "link", "line", "device", "plant", "wiring"])),
    ("host", May::Only(&["time", "frame", "transaction", "link", "app", "exchange", "line"])),
    ("bench", May::AllBut(&["conform", "commission", "report", "cli"])),
    ("capture", May::Only(&["time", "frame", "ip", "transaction", "app", "exchange"])),
    ("conform", May::Only(&["time", "frame", "transaction", "app", "exchange", "line", "host", "capture"])),
    ("commission", May::Only(&["time", "app", "exchange", "host", "wiring"])),
    ("report", May::Only(&["time", "exchange", "capture", "conform", "commission", "wiring", "wave"])),
    ("cli", May::AllBut(&[])),
];

/// Rooms that test modules of every room may import too.
const FOR_TESTS: &[&str] = &["frame", "time"];

fn may_import(room: &str, other: &str, in_test: bool) -> bool {
    if room == other || in_test && FOR_TESTS.contains(&other) {
        return true;
    }
    match ROOMS.iter().find(|(name, _)| *name == room) {
        Some((_, May::Only(list))) => list.contains(&other),
        Some((_, May::AllBut(list))) => is_room(other) && !list.contains(&other),
        None => false,
    }
}

fn is_room(name: &str) -> bool {
    ROOMS.iter().any(|(room, _)| *room == name)
}

/// A word or a mark of Rust text; comments, strings, characters and lifetimes are left out.
struct Token {
    line: usize,
    text: String,
}

fn tokens(source: &str) -> Vec<Token> {
    let c: Vec<char> = source.chars().collect();
    let at = |i: usize| c.get(i).copied().unwrap_or('\0');
    let word = |ch: char| ch.is_alphanumeric() || ch == '_';
    let mut out = Vec::new();
    let (mut i, mut line) = (0, 1);
    while i < c.len() {
        let start = i;
        match at(i) {
            '/' if at(i + 1) == '/' => {
                while i < c.len() && at(i) != '\n' {
                    i += 1;
                }
            }
            '/' if at(i + 1) == '*' => {
                let mut depth = 0;
                while i < c.len() {
                    match (at(i), at(i + 1)) {
                        ('/', '*') => (depth, i) = (depth + 1, i + 2),
                        ('*', '/') => (depth, i) = (depth - 1, i + 2),
                        _ => i += 1,
                    }
                    if depth == 0 {
                        break;
                    }
                }
            }
            '"' => {
                i += 1;
                while i < c.len() && at(i) != '"' {
                    i += if at(i) == '\\' { 2 } else { 1 };
                }
                i += 1;
            }
            '\'' if at(i + 1) == '\\' => {
                i += 3;
                while i < c.len() && at(i) != '\'' {
                    i += 1;
                }
                i += 1;
            }
            '\'' if at(i + 2) == '\'' => i += 3,
            '\'' => {
                i += 1;
                while word(at(i)) {
                    i += 1;
                }
            }
            ':' if at(i + 1) == ':' => {
                i += 2;
                out.push(Token { line, text: "::".into() });
            }
            ch if word(ch) => {
                while word(at(i)) {
                    i += 1;
                }
                let text: String = c[start..i].iter().collect();
                let hashes = c[i..].iter().take_while(|&&h| h == '#').count();
                if !matches!(text.as_str(), "r" | "br" | "cr") {
                    out.push(Token { line, text });
                } else if at(i + hashes) == '"' {
                    i += hashes + 1;
                    let closes = |i: usize| (1..=hashes).all(|k| at(i + k) == '#');
                    while i < c.len() && !(at(i) == '"' && closes(i)) {
                        i += 1;
                    }
                    i += hashes + 1;
                } else if hashes == 1 && word(at(i + 1)) {
                    i += 1; // `r#name` is the word after the mark
                } else {
                    out.push(Token { line, text });
                }
            }
            ch => {
                i += 1;
                if !ch.is_whitespace() {
                    out.push(Token { line, text: ch.into() });
                }
            }
        }
        i = i.min(c.len());
        line += c[start..i].iter().filter(|&&ch| ch == '\n').count();
    }
    out
}

/// First names after `crate::`, one or a whole group; `*` and `self` stand for the crate root.
fn first_names(t: &[Token], i: usize, out: &mut Vec<String>) {
    let Some(first) = t.get(i) else { return };
    if first.text != "{" {
        out.push(first.text.clone());
        return;
    }
    let (mut depth, mut item) = (0, true);
    for (k, token) in t.iter().enumerate().skip(i) {
        match token.text.as_str() {
            "{" if depth == 1 && item => first_names(t, k, out),
            "}" if depth == 1 => return,
            "," if depth == 1 => item = true,
            name if depth == 1 && item && name != "{" => {
                out.push(name.to_string());
                item = false;
            }
            _ => {}
        }
        match token.text.as_str() {
            "{" => depth += 1,
            "}" => depth -= 1,
            _ => {}
        }
        item &= depth <= 1;
    }
}

/// Everything wrong with the imports of one file; `path` is relative to the project, `src/...`.
pub fn import_faults(path: &str, source: &str) -> Vec<String> {
    let parts: Vec<&str> = path.trim_start_matches("src/").split('/').collect();
    if parts == ["main.rs"] || parts[0] == "bin" {
        return Vec::new(); // the binary is another crate and may use all of the library
    }
    let is_root = parts == ["lib.rs"];
    let room = parts[0].trim_end_matches(".rs");
    let last = parts[parts.len() - 1];
    let depth = if is_root { 0 } else { parts.len() - usize::from(last == "mod.rs") };
    let mut out = Vec::new();
    if !is_root && !is_room(room) {
        out.push(format!("{path}: `{room}` is not in the table of rooms"));
    }
    let t = tokens(source);
    let text = |i: usize| t.get(i).map_or("", |x| x.text.as_str());
    // Open braces: whether each is a module, and whether it is a test module.
    let mut scopes: Vec<(bool, bool)> = Vec::new();
    let (mut test_next, mut public_use) = (false, false);
    for i in 0..t.len() {
        let in_test = last == "tests.rs" || scopes.iter().any(|s| s.1);
        let before = |k: usize| if i >= k { text(i - k) } else { "" };
        let mut fault = |what: String| out.push(format!("{path}:{}: {what}", t[i].line));
        match text(i) {
            "#" if text(i + 1) == "[" || text(i + 2) == "[" => {
                let end = (i..t.len()).find(|&k| text(k) == "]").unwrap_or(t.len());
                let inside: Vec<&str> = (i + 1..end).map(text).filter(|x| *x != "[").collect();
                let joined = inside.concat();
                test_next |= joined == "cfg(test)" || joined.starts_with("cfg(all(test,");
                if inside.windows(2).any(|w| w == ["path", "="]) {
                    fault("#[path] hides in which room a module is".into());
                }
                if inside.contains(&"macro_use") {
                    fault("#[macro_use] hides what is imported".into());
                }
            }
            "{" => {
                let module = before(2) == "mod";
                scopes.push((module, module && test_next));
                test_next = false;
            }
            "}" => {
                scopes.pop();
                test_next = false;
            }
            ";" => (test_next, public_use) = (false, false),
            "use" => public_use = matches!(before(1), "pub" | ")"),
            "*" if is_root && public_use => fault("a glob re-export at the crate root hides its room".into()),
            "include" if text(i + 1) == "!" => fault("include! hides in which room code is".into()),
            "looprig" if matches!(text(i + 1), "::" | "as") || matches!(before(1), "use" | "crate") => {
                fault("`looprig` inside the library hides the room: write `crate::ROOM::...`".into());
            }
            "super" if before(1) != "::" || before(2) == "self" => {
                let mut n = 1;
                while text(i + 2 * n - 1) == "::" && text(i + 2 * n) == "super" {
                    n += 1;
                }
                let here = depth + scopes.iter().filter(|s| s.0).count();
                if matches!(text(i + 2 * n - 1), "::" | "as") && n >= here {
                    fault("`super` up to the crate root hides the room: write `crate::ROOM::...`".into());
                }
            }
            "crate" if text(i + 1) == "as" => fault("a new name for the crate hides rooms".into()),
            "crate" if before(1) == "extern" && text(i + 1) == "self" => {
                fault("`extern crate self` hides rooms".into());
            }
            "crate" if text(i + 1) == "::" && !is_root => {
                let mut names = Vec::new();
                first_names(&t, i + 2, &mut names);
                for name in names {
                    if name == "*" || name == "self" {
                        fault("an import of the whole crate hides rooms".into());
                    } else if !is_room(&name) {
                        fault(format!("`crate::{name}` is no room of the table"));
                    } else if !may_import(room, &name, in_test) {
                        fault(format!("`{room}` may not import `{name}`"));
                    } else if public_use {
                        let blind = |c: &&(&str, May)| {
                            c.0 != name && may_import(c.0, room, false) && !may_import(c.0, &name, false)
                        };
                        for (other, _) in ROOMS.iter().filter(blind) {
                            fault(format!(
                                "re-export of `{name}` reaches `{other}`, which may not import it"
                            ));
                        }
                    }
                }
            }
            _ => {}
        }
    }
    out
}

/// Text that breaks the rule, and text that looks like it but does not.
mod bites {
    use super::*;

    fn caught(path: &str, source: &str, part: &str) {
        let faults = import_faults(path, source);
        assert!(faults.iter().any(|f| f.contains(part)), "{source:?} gave {faults:?}");
    }

    fn clean(path: &str, source: &str) {
        assert_eq!(import_faults(path, source), Vec::<String>::new(), "{source:?}");
    }

    #[test]
    fn upward_imports() {
        caught("src/frame/mod.rs", "use crate::link::Master;", "`frame` may not import `link`");
        caught("src/frame/octet.rs", "fn f() { crate::app::print() }", "may not import `app`");
        caught("src/link/mod.rs", "use crate::{time::Instant, line::{a, b}};", "import `line`");
        caught("src/conform/mod.rs", "pub use crate::{{device::X}, time};", "import `device`");
        caught("src/plant/air.rs", "use crate::r#frame::Octet;", "may not import `frame`");
        caught("src/bench/api.rs", "use ::looprig as l;", "hides the room");
        caught("src/bench/api.rs", "use crate::report::text;", "may not import `report`");
        caught("src/attic/mod.rs", "", "not in the table");
        caught("src/link/mod.rs", "use crate::Frame;", "no room");
        let faults = import_faults("src/frame/mod.rs", "\n\nuse crate::link::X;");
        assert!(faults[0].starts_with("src/frame/mod.rs:3:"), "{faults:?}");
    }

    #[test]
    fn allowed_imports() {
        clean("src/frame/mod.rs", "use crate::time::Instant; use crate::frame::octet::Octet;");
        clean("src/link/mod.rs", "use crate::{time::{Instant, Pace}, frame::{self, Frame}};");
        clean("src/bench/mod.rs", "use crate::{device, sim, plant};");
        clean("src/cli/run.rs", "use crate::report::html;");
        clean("src/main.rs", "use looprig::cli;");
        clean(
            "src/app/mod.rs",
            "/* crate::link:: /* nested */ */ // crate::sim::\nconst A: &str = \"crate::link::\";",
        );
        clean(
            "src/app/mod.rs",
            "const A: &str = r#\"\" crate::link::\"#; const C: char = '\"'; fn f<'a>(x: &'a u8) {}",
        );
        clean("src/app/mod.rs", "pub(crate) fn a() {} pub(in crate::app) fn b() {} pub(super) fn c() {}");
    }

    #[test]
    fn test_modules_may_use_frame_and_time() {
        clean("src/app/mod.rs", "#[cfg(test)]\nmod tests { use super::*; use crate::frame::Octet; }");
        clean("src/app/status/tests.rs", "use crate::time::Instant;");
        caught("src/app/mod.rs", "#[cfg(test)] mod tests { use crate::link::X; }", "import `link`");
        caught("src/app/mod.rs", "#[cfg(test)] mod tests { } use crate::frame::Octet;", "import `frame`");
        caught("src/app/mod.rs", "mod inner { use crate::frame::Octet; }", "import `frame`");
    }

    #[test]
    fn hidden_imports() {
        caught("src/frame/octet.rs", "use super::super::link::X;", "crate root");
        caught("src/frame/mod.rs", "use super::link::X;", "crate root");
        caught("src/frame/mod.rs", "mod a { use super::super::link; }", "crate root");
        caught("src/frame/mod.rs", "use self::super::link;", "crate root");
        clean("src/app/types/date.rs", "use super::super::status; mod a { use super::super::time; }");
        caught("src/frame/mod.rs", "use crate as c;", "new name");
        caught("src/frame/mod.rs", "use crate::{self as c};", "whole crate");
        caught("src/frame/mod.rs", "use crate::*;", "whole crate");
        caught("src/frame/mod.rs", "extern crate self as c;", "extern crate self");
        caught("src/lib.rs", "extern crate self as c;", "extern crate self");
        caught("src/lib.rs", "pub use link::*;", "glob");
        clean("src/lib.rs", "pub mod frame; pub use frame::Frame; const A: u8 = 2 * 3;");
        caught("src/frame/mod.rs", "fn f() { looprig::link::x() }", "inside the library");
        caught("src/frame/mod.rs", "#[path = \"../link/x.rs\"] mod x;", "#[path]");
        caught("src/frame/mod.rs", "#[cfg_attr(unix, path = \"x.rs\")] mod x;", "#[path]");
        caught("src/frame/mod.rs", "include!(\"../link/x.rs\");", "include!");
        caught("src/frame/mod.rs", "#[macro_use] mod x;", "macro_use");
        // `exchange` may use `ip`; whoever may use `exchange` but not `ip` must not get it that way.
        caught("src/exchange/mod.rs", "pub use crate::ip::Message;", "reaches `commission`");
        clean("src/link/mod.rs", "pub use crate::time::Instant;");
    }

    #[test]
    fn the_table_itself() {
        for (room, may) in ROOMS {
            let (May::Only(list) | May::AllBut(list)) = may;
            assert!(list.iter().all(|other| is_room(other) && other != room), "{room}");
        }
        for judge in ["conform", "commission"] {
            assert!(["device", "sim", "plant", "bench"].iter().all(|x| !may_import(judge, x, false)));
        }
        let names: std::collections::BTreeSet<_> = ROOMS.iter().map(|(n, _)| n).collect();
        assert_eq!(names.len(), ROOMS.len());
    }
}
