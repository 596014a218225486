//! Rules of the house that a machine can check: who imports whom, citations and source tokens that
//! resolve, fixtures that somebody reads, files that stay short.
//!
//! Every check is a function from text to a list of faults, so that the tests beside it can feed it
//! bad text and see it bite.

use std::fs;
use std::path::Path;

// A file directly in tests/ would be a test program of its own.
#[path = "tidy/imports.rs"]
mod imports;
#[path = "tidy/notes.rs"]
mod notes;

use imports::import_faults;
use notes::{PREFIXES, citation_faults, headings, resolved, token_faults};

/// Longest source file, lines.
const LONGEST: usize = 600;

/// Fixtures that no text of `readers` names, by file name or by directory; comments do not count.
fn unused_fixtures(fixtures: &[String], readers: &[(String, String)]) -> Vec<String> {
    let code = |text: &str| {
        let lines = text.lines().filter(|l| !l.trim_start().starts_with("//"));
        lines.collect::<Vec<_>>().join("\n")
    };
    let readers: Vec<String> = readers.iter().map(|(_, text)| code(text)).collect();
    let unused = fixtures.iter().filter(|path| {
        let (directory, file) = path.rsplit_once('/').unwrap_or(("", path));
        let named =
            |text: &String| text.contains(file) || directory.contains('/') && text.contains(directory);
        file != "README.md" && !readers.iter().any(named)
    });
    unused.map(|path| format!("{path}: no test names this file or its directory")).collect()
}

fn length_faults(path: &str, text: &str) -> Vec<String> {
    let n = text.lines().count();
    if n <= LONGEST {
        Vec::new()
    } else {
        vec![format!("{path}: {n} lines, more than {LONGEST}: is it one concept?")]
    }
}

/// Paths of all files below `top`, relative to the project, sorted.
fn files(top: &str) -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (mut out, mut open) = (Vec::new(), vec![top.to_string()]);
    while let Some(directory) = open.pop() {
        let Ok(entries) = fs::read_dir(root.join(&directory)) else {
            continue;
        };
        for entry in entries.map(|e| e.expect("directory entry")) {
            let path = format!("{directory}/{}", entry.file_name().to_string_lossy());
            let generated = ["fuzz/target", "fuzz/corpus", "fuzz/artifacts"].contains(&path.as_str());
            match entry.file_type().expect("file type").is_dir() {
                true if generated => {}
                true => open.push(path),
                false => out.push(path),
            }
        }
    }
    out.sort();
    out
}

/// Path and text of the files below `top` that end in `end`; a file that is no text is left out.
fn texts(top: &str, end: &str) -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let paths = files(top).into_iter().filter(|p| p.ends_with(end));
    paths.filter_map(|p| fs::read_to_string(root.join(&p)).ok().map(|text| (p, text))).collect()
}

/// Lines that name what one kind of device alone has.
fn kind_faults(path: &str, text: &str) -> Vec<String> {
    const OF_ONE_KIND: [&str; 10] = [
        "positioner",
        "valve",
        "travel",
        "lever",
        "set_point",
        "set point",
        "supply",
        "pressure",
        "temperature",
        "transmitter",
    ];
    let own = |line: &str| OF_ONE_KIND.iter().any(|word| line.to_lowercase().contains(word));
    let lines = text.lines().enumerate().filter(|(_, line)| own(line));
    lines.map(|(i, line)| format!("{path}:{}: names one kind of device: {}", i + 1, line.trim())).collect()
}

/// Files of tests that the file above them does not name as a module: they would never run.
fn unnamed_modules(files: &[(String, String)]) -> Vec<String> {
    let named = |path: &str, name: &str| {
        let above = files.iter().find(|(other, _)| other == path);
        above.is_some_and(|(_, text)| {
            text.lines().any(|l| l.trim_start_matches("pub ") == format!("mod {name};"))
        })
    };
    let lost = files.iter().filter(|(path, _)| {
        let (directory, file) = path.rsplit_once('/').unwrap_or(("", path));
        let name = file.trim_end_matches(".rs");
        let above =
            [format!("{directory}.rs"), format!("{directory}/mod.rs"), format!("{directory}/main.rs")];
        directory != "tests" && !["mod", "main"].contains(&name) && !above.iter().any(|a| named(a, name))
    });
    lost.map(|(path, _)| format!("{path}: no file above it says `mod` to it, so its tests do not run"))
        .collect()
}

fn none(faults: Vec<String>) {
    assert!(faults.is_empty(), "{} faults:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn rooms_import_only_what_the_table_allows() {
    let sources = texts("src", ".rs");
    assert!(sources.iter().any(|(path, _)| path == "src/lib.rs"), "src/ was not read");
    none(sources.iter().flat_map(|(path, text)| import_faults(path, text)).collect());
}

#[test]
fn requirements_have_one_heading_and_a_grade() {
    let (ids, faults) = headings(&texts("protocol-notes", ".md"));
    none(faults);
    let missing = PREFIXES.iter().filter(|p| !ids.iter().any(|id| id.starts_with(**p)));
    none(missing.map(|p| format!("no heading in protocol-notes/ begins with [{p}-")).collect());
}

#[test]
fn citations_lead_to_headings() {
    let (ids, _) = headings(&texts("protocol-notes", ".md"));
    let mut all = texts("protocol-notes", ".md");
    for top in ["src", "tests", "examples", "benches", "fuzz"] {
        all.extend(texts(top, ".rs"));
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for page in ["README.md", "DEVELOPERS.md", "fixtures/README.md"] {
        all.extend(fs::read_to_string(root.join(page)).ok().map(|text| (page.to_string(), text)));
    }
    none(all.iter().flat_map(|(path, text)| citation_faults(path, text, &ids)).collect());
}

#[test]
fn source_tokens_resolve() {
    let notes = texts("protocol-notes", ".md");
    let sources = notes.iter().find(|(path, _)| path.ends_with("/sources.md")).expect("sources.md");
    let known = resolved(&sources.1);
    let all = notes.iter().cloned().chain(texts("fixtures", ".toml")).chain(texts("fixtures", ".md"));
    none(all.flat_map(|(path, text)| token_faults(&path, &text, &known)).collect());
}

#[test]
fn fixtures_are_read_by_tests() {
    let mut readers = texts("tests", ".rs");
    readers.retain(|(path, _)| !path.starts_with("tests/tidy"));
    readers.extend(texts("src", ".rs"));
    readers.extend(texts(".ci", ""));
    none(unused_fixtures(&files("fixtures"), &readers));
}

#[test]
fn files_of_tests_are_modules_of_a_test_program() {
    let files = texts("tests", ".rs");
    assert!(files.iter().any(|(path, _)| path == "tests/library/main.rs"), "tests/ was not read");
    none(unnamed_modules(&files));
}

#[test]
fn source_files_stay_short() {
    none(texts("src", ".rs").iter().flat_map(|(path, text)| length_faults(path, text)).collect());
}

/// [DV-60]: what commands have in common names no kind of device.
#[test]
fn common_commands_name_no_kind_of_device() {
    let mut shared = texts("src/device/common", ".rs");
    shared.extend(texts("src/device", ".rs").into_iter().filter(|(path, _)| {
        ["commands", "universal", "variables", "values", "status", "burst", "delayed", "lock", "clock"]
            .iter()
            .any(|file| *path == format!("src/device/{file}.rs"))
    }));
    assert!(shared.len() > 15, "src/device/ was not read");
    none(shared.iter().flat_map(|(path, text)| kind_faults(path, text)).collect());
}

/// Text that breaks the rule, and text that looks like it but does not.
mod bites {
    use super::*;

    #[test]
    fn fixtures_that_nobody_reads() {
        let fixtures = ["fixtures/frames/a.toml", "fixtures/b.csv", "fixtures/README.md"].map(String::from);
        let reader = |s: &str| vec![("tests/x.rs".to_string(), s.to_string())];
        assert_eq!(unused_fixtures(&fixtures, &reader("// fixtures/frames b.csv")).len(), 2);
        assert_eq!(unused_fixtures(&fixtures, &reader("open(\"fixtures/frames\")")).len(), 1);
        assert_eq!(unused_fixtures(&fixtures, &reader("open(\"a.toml\"); open(\"b.csv\")")).len(), 0);
    }

    #[test]
    fn modules_that_nobody_names() {
        let file = |path: &str, text: &str| (path.to_string(), text.to_string());
        let mut files = vec![
            file("tests/swarm.rs", ""),
            file(
                "tests/library/main.rs",
                "mod cli;\n// mod wiring;\n#[path = \"../support/mod.rs\"]\nmod support;\n",
            ),
            file("tests/library/cli.rs", "mod bench;\n"),
            file("tests/library/cli/bench.rs", ""),
            file("tests/support/mod.rs", "pub mod vectors;\n"),
            file("tests/support/vectors.rs", ""),
        ];
        assert_eq!(unnamed_modules(&files), [""; 0]);
        files.push(file("tests/library/wiring.rs", ""));
        files.push(file("tests/library/cli/bursts.rs", ""));
        files.push(file("tests/support/coverage.rs", ""));
        assert_eq!(unnamed_modules(&files).len(), 3);
    }

    #[test]
    fn kinds_of_device() {
        assert_eq!(kind_faults("a.rs", "let x = state.Travel();\n// the set point\nlet kind = 1;").len(), 2);
    }

    #[test]
    fn long_files() {
        assert!(length_faults("src/a.rs", &"x\n".repeat(LONGEST)).is_empty());
        assert_eq!(length_faults("src/a.rs", &"x\n".repeat(LONGEST + 1)).len(), 1);
    }
}
