//! Reports of finished results made by hand: JUnit XML by the schema that build systems use, and the page.

use looprig::conform::{
    Case, CaseResult, End, Found, Known, Outcome, Probe, Results, Times, Verdict, Way, Words,
};
use looprig::frame::{Marks, Octet};
use looprig::report::conform::{About, html, junit};
use looprig::report::{Format, Options};
use looprig::time::Instant;
use roxmltree::{Document, Node};
use std::time::Duration;

fn nothing(_: &mut Probe<'_>) -> Outcome {
    Ok(())
}

/// Everything that could end a text, an attribute or an element, or that no XML file can hold.
const ODD: &str = "<b>&amp; \"two\" 'one' ]]> \u{0}\u{1b}[31m\u{7f}\u{85}\u{ffff} -->\nü</td>";
/// The same as a reader gets it: what a file cannot hold is a space.
const ODD_READ: &str = "<b>&amp; \"two\" 'one' ]]>   [31m    -->\nü</td>";

const GOOD: Case = Case::must("link/a/good", "FR-01", "it is good", nothing);
const BAD: Case = Case::must("link/a/bad", "FR-02", "it is bad", nothing);
const KNOWN: Case = Case::should("link/b/known", "LL-11", "it is known", nothing);
const ADVICE: Case = Case::advice("link/b/advice", "LL-08", "it is advised", nothing);
const SKIPPED: Case = Case::must("status/skipped", "ST-01", "it is skipped", nothing).writes();
const OPEN: Case = Case::must("status/open", "ST-02", "it is open", nothing);
const SPOILT: Case = Case::must("status/spoilt", "ST-03", "it is spoilt", nothing);
const LATER: Case = Case::must("later/not-begun", "DV-06", "it is not begun", nothing);

fn fails() -> Verdict {
    Verdict::Fail { expected: ODD.to_owned(), observed: "silence & nothing".to_owned() }
}

/// Each case lasts a second and a half.
fn result(case: Case, verdict: Verdict) -> CaseResult {
    let span = (Instant::from_nanos(2_000_000_000), Instant::from_nanos(3_500_000_000));
    CaseResult {
        case,
        verdict,
        times: Times { failed: 0, run: 1 },
        known: None,
        otherwise: None,
        span,
        words: Vec::new(),
        not_put_back: Vec::new(),
    }
}

fn results(cases: Vec<CaseResult>) -> Results {
    Results {
        line: ODD.to_owned(),
        device: Found { unique: [0x3A, 0x01, 0x02, 0x03, 0x04], claims: 7, ..Found::default() },
        cases,
        not_run: Vec::new(),
        stale: Vec::new(),
        end: End::Complete,
        requests: 3,
        damaged: 1,
        lasted: Duration::from_secs(12),
        strict: false,
    }
}

fn stale() -> Vec<Known> {
    vec![Known { id: GOOD.id.to_owned(), reason: ODD.to_owned(), observed: None }]
}

/// One of each.
fn mixed() -> Results {
    let octet = |value| Octet { at: Instant::from_nanos(2_250_000_000), value, marks: Marks::NONE };
    let sent = Words { way: Way::Sent, octets: [0xFF, 0xFF, 0x82, 0x7D].map(octet).to_vec() };
    let mut bad = result(BAD, fails());
    bad.words = vec![sent; 100];
    let mut known = result(KNOWN, fails());
    known.known = Some(ODD.to_owned());
    let mut r = results(vec![
        result(GOOD, Verdict::Pass),
        bad,
        known,
        result(ADVICE, fails()),
        result(SKIPPED, Verdict::Skip(ODD.to_owned())),
        result(OPEN, Verdict::Inconclusive("this line cannot stamp".to_owned())),
        result(SPOILT, Verdict::BenchError(ODD.to_owned())),
    ]);
    r.cases[4].not_put_back = vec![ODD.to_owned()];
    r.not_run = vec![LATER];
    r.end = End::LineLost(ODD.to_owned());
    r
}

fn about() -> About {
    About {
        made: "2026-11-30T02:40:00".to_owned(),
        log: Some(ODD.to_owned()),
        host: Some("bench-2".to_owned()),
    }
}

/// The schema, and what of it concerns one element: attributes that may and must be there, children that may.
const SCHEMA: &str = include_str!("../../support/junit-10.xsd");
const XS: &str = "http://www.w3.org/2001/XMLSchema";

fn check_by_schema(node: Node, schema: &Document) {
    let name = node.tag_name().name();
    let is = |n: &Node, tag: &str| n.tag_name().name() == tag && n.tag_name().namespace() == Some(XS);
    let rule =
        schema.root_element().children().find(|n| is(n, "element") && n.attribute("name") == Some(name));
    let rule = rule.unwrap_or_else(|| panic!("the schema has no <{name}>"));
    let rules: Vec<Node> = rule.descendants().filter(|n| is(n, "attribute")).collect();
    for a in node.attributes() {
        assert!(rules.iter().any(|r| r.attribute("name") == Some(a.name())), "<{name}> has no {}", a.name());
    }
    for r in rules.iter().filter(|r| r.attribute("use") == Some("required")) {
        let wanted = r.attribute("name").unwrap();
        assert!(node.attribute(wanted).is_some(), "<{name}> lacks {wanted}");
    }
    let holds_text = rule.attribute("type") == Some("xs:string")
        || rule.descendants().any(|n| n.attribute("mixed") == Some("true"));
    for child in node.children() {
        if child.is_text() && !child.text().unwrap_or_default().trim().is_empty() {
            assert!(holds_text, "<{name}> holds text");
        }
        if child.is_element() {
            let tag = child.tag_name().name();
            let may = rule.descendants().any(|n| is(&n, "element") && n.attribute("ref") == Some(tag));
            assert!(may, "<{name}> holds a <{tag}>");
            check_by_schema(child, schema);
        }
    }
}

/// What the schema of Ant wants besides: the order of elements, and a number, a time and a host in every suite.
fn check_strictly(suite: Node) {
    let tags: Vec<&str> = suite.children().filter(Node::is_element).map(|n| n.tag_name().name()).collect();
    let cases = tags.len() - 3;
    assert!(tags[0] == "properties" && tags[cases + 1..] == ["system-out", "system-err"], "{tags:?}");
    assert!(tags[1..=cases].iter().all(|t| *t == "testcase"), "{tags:?}");
    let number = |name| suite.attribute(name).and_then(|v: &str| v.parse::<usize>().ok());
    let having = |tag: &str| {
        let cases = suite.children().filter(|n| n.has_tag_name("testcase"));
        Some(cases.filter(|c| c.children().any(|n| n.has_tag_name(tag))).count())
    };
    assert_eq!(number("tests"), Some(cases));
    assert_eq!(number("failures"), having("failure"));
    assert_eq!(number("errors"), having("error"));
    assert_eq!(number("skipped"), having("skipped"));
    assert_eq!(suite.attribute("timestamp"), Some("2026-11-30T02:40:00"));
    for name in ["id", "package", "hostname"] {
        assert!(suite.attribute(name).is_some_and(|v| !v.is_empty()), "{name}");
    }
    // SUREFIRE_TIME of the schema: at most three decimals, no exponent.
    let mut sum = 0.0;
    for case in suite.children().filter(|n| n.has_tag_name("testcase")) {
        let at_most = case.children().filter(Node::is_element).count();
        assert!(at_most <= 1 && case.attribute("classname").is_some());
        sum += case.attribute("time").unwrap().parse::<f64>().unwrap();
    }
    let time = suite.attribute("time").unwrap();
    let (whole, decimals) = time.split_once('.').unwrap();
    assert!(
        decimals.len() <= 3 && (whole.to_owned() + decimals).bytes().all(|b| b.is_ascii_digit()),
        "{time}"
    );
    assert!((time.parse::<f64>().unwrap() - sum).abs() < 1e-9, "{time} is not {sum}");
}

/// Sums of failures and errors in a file that keeps to the schema.
fn checked(xml: &str) -> (usize, usize) {
    let document = Document::parse(xml).expect("well-formed");
    let schema = Document::parse(SCHEMA).expect("the schema is well-formed");
    let root = document.root_element();
    assert_eq!(root.tag_name().name(), "testsuites");
    check_by_schema(root, &schema);
    let suites: Vec<Node> = root.children().filter(Node::is_element).collect();
    suites.iter().for_each(|s| check_strictly(*s));
    let sum = |name| suites.iter().map(|s| s.attribute(name).unwrap().parse::<usize>().unwrap()).sum();
    (sum("failures"), sum("errors"))
}

#[test]
fn junit_keeps_to_the_schema_with_one_of_each() {
    let xml = junit(&mixed(), &about());
    // Errors: the spoilt case, a run that ended early, something not put back.
    assert_eq!(checked(&xml), (1, 3), "{xml}");
    let document = Document::parse(&xml).unwrap();
    let suites: Vec<&str> = document
        .descendants()
        .filter(|n| n.has_tag_name("testsuite"))
        .filter_map(|n| n.attribute("name"))
        .collect();
    assert_eq!(suites, ["link/a", "link/b", "status", "later", "run"]);
    let case = |name: &str| {
        let found =
            document.descendants().find(|n| n.attribute("name") == Some(name) && n.has_tag_name("testcase"));
        let found = found.unwrap_or_else(|| panic!("no case {name}"));
        (found, found.children().find(Node::is_element))
    };
    let (bad, failure) = case("bad");
    assert_eq!((bad.attribute("classname"), bad.attribute("time")), (Some("link.a.FR-02"), Some("1.500")));
    let failure = failure.unwrap();
    assert_eq!((failure.tag_name().name(), failure.attribute("type")), ("failure", Some("must")));
    let said = format!("expected {ODD_READ}; observed silence & nothing");
    assert_eq!(failure.attribute("message"), Some(said.as_str()));
    let text = failure.text().unwrap();
    for part in [ODD_READ, "log: 2.000000 s to 3.500000 s", "(40 more before)", "2.250000 sent 2 x FF 82 7D"]
    {
        assert!(text.contains(part), "{part}: {text}");
    }
    for (name, reason) in [
        ("known", format!("known deviation ({ODD_READ})")),
        ("advice", "fails, but is an advice alone".into()),
        ("skipped", ODD_READ.into()),
        ("open", "inconclusive: this line cannot stamp".into()),
        ("not-begun", "not run: the line was lost before".into()),
    ] {
        let told = case(name).1.unwrap();
        assert_eq!(told.tag_name().name(), "skipped", "{name}");
        assert!(told.attribute("message").is_some_and(|m| m.starts_with(&reason)), "{name}: {told:?}");
    }
    let spoilt = case("spoilt").1.unwrap();
    assert_eq!((spoilt.tag_name().name(), spoilt.attribute("message")), ("error", Some(ODD_READ)));
    assert!(case("good").1.is_none());
}

#[test]
fn the_check_by_the_schema_sees_what_is_wrong() {
    let xml = junit(&mixed(), &about());
    for (good, bad) in [
        (" tests=\"", " test=\""),
        (" hostname=", " disabled=\"1\" hostname="),
        ("<skipped ", "<skipped why=\"x\" "),
        ("<skipped message=\"inc", "text<skipped message=\"inc"),
        ("failures=\"1\"", "failures=\"2\""),
        ("time=\"3.000\"", "time=\"3.0000\""),
        ("time=\"3.000\"", "time=\"3.500\""),
        ("<system-out></system-out>", ""),
        ("&lt;b", "<b"),
    ] {
        let spoilt = xml.replacen(good, bad, 1);
        assert_ne!(spoilt, xml, "{good} is nowhere");
        assert!(std::panic::catch_unwind(|| checked(&spoilt)).is_err(), "{bad} is taken");
    }
}

/// Whoever reads the file alone judges as who reads the exit code: failures mean 1, errors without failures 2.
#[test]
fn junit_says_what_the_exit_code_says() {
    let good = || results(vec![result(GOOD, Verdict::Pass)]);
    let one = |verdict| results(vec![result(GOOD, Verdict::Pass), result(BAD, verdict)]);
    let mut all = vec![good(), results(Vec::new()), mixed(), one(fails())];
    all.push(one(Verdict::Inconclusive("x".into())));
    all.push(one(Verdict::BenchError("x".into())));
    all.push(results(vec![result(BAD, Verdict::Skip("x".into()))]));
    all.push(results(vec![result(ADVICE, fails())]));
    all.push(Results { stale: stale(), ..good() });
    all.push(Results { end: End::Interrupted, not_run: vec![LATER], ..good() });
    all.push(Results { end: End::LineLost("gone".into()), ..good() });
    let mut left = good();
    left.cases[0].not_put_back.push("the tag".into());
    all.push(left);
    let mut seen = [0; 3];
    for r in all.into_iter().flat_map(|r| [Results { strict: true, ..r.clone() }, r]) {
        let code = r.exit_code();
        seen[usize::from(code)] += 1;
        let by_file = match checked(&junit(&r, &about())) {
            (0, 0) => 0,
            (0, _) => 2,
            _ => 1,
        };
        assert_eq!(by_file, code, "strict {}: {r}", r.strict);
    }
    assert!(seen.iter().all(|n| *n > 1), "{seen:?}");
}

#[test]
fn the_page_tells_all_and_nothing_of_the_wire_is_markup() {
    let mut r = mixed();
    r.stale = stale();
    let page = html(&r, &about());
    let escaped = "&lt;b&gt;&amp;amp; &quot;two&quot; 'one' ]]&gt;";
    // Line, log, expected three times, reason of the known one, skip, bench error, not put back, stale, line lost.
    assert_eq!(page.matches(escaped).count(), 11, "{page}");
    for bad in ["<b>", "\u{0}", "\u{1b}", "<script", "http", "src=", "@import", "url("] {
        assert!(!page.contains(bad), "{bad:?}");
    }
    for tag in ["table", "tr", "td", "div", "p", "h2", "h3", "thead", "tbody"] {
        let opened = page.matches(&format!("<{tag}>")).count() + page.matches(&format!("<{tag} ")).count();
        assert_eq!(opened, page.matches(&format!("</{tag}>")).count(), "{tag}");
    }
    let verdict = page.find("FAIL: 1 of 4 judged cases. 4 cases were not judged.").expect("a verdict");
    let mut last = verdict;
    for part in [
        "The line was lost",
        "NOT PUT BACK",
        "3A01020304",
        "class=\"caution\"",
        "How many cases",
        "Fails",
        "link/a/bad [FR-02] must",
        "silence &amp; nothing",
        "2.000000 s to 3.500000 s",
        "60 more before",
        "2 x FF 82 7D",
        "Spoilt by something besides",
        "Not judged, and why",
        "this line cannot stamp",
        "later/not-begun",
        "Every case",
    ] {
        let at = page[last..].find(part);
        last += at.unwrap_or_else(|| panic!("{part} is missing, or stands before what it should follow"));
    }
    // Forty pieces of traffic are shown of a hundred.
    assert_eq!(page.matches("2 x FF 82 7D").count(), 40);
}

#[test]
fn the_page_begins_with_the_verdict_of_the_exit_code() {
    let good = || results(vec![result(GOOD, Verdict::Pass)]);
    let open = results(vec![result(GOOD, Verdict::Pass), result(OPEN, Verdict::Inconclusive("x".into()))]);
    for (r, words) in [
        (good(), "PASS: 1 case judged, none fails."),
        (
            results(vec![result(ADVICE, fails())]),
            "PASS: 1 case judged, no fail counts (0 accepted beforehand, 1 of an advice).",
        ),
        (open.clone(), "PASS: 1 case judged, none fails. 1 case was not judged."),
        (Results { strict: true, ..open }, "FAIL: 1 inconclusive case"),
        (Results { stale: stale(), ..good() }, "FAIL: the list of known deviations"),
        (results(Vec::new()), "NO VERDICT: no case was judged."),
        (Results { end: End::Interrupted, ..good() }, "NO VERDICT: 1 case judged"),
    ] {
        let page = html(&r, &about());
        let first = page.split("<p class=\"verdict ").nth(1).expect("a verdict");
        assert!(first.split_once('>').unwrap().1.starts_with(words), "{words}: {}", &first[..200]);
    }
}

const PLAIN: Options = Options { format: Format::Text, verbosity: 0, times: true, colour: false };

/// Who was judged and where, how often a case was run, and what the list of known deviations has instead.
#[test]
fn reports_tell_tag_host_and_runs() {
    let mut r = results(vec![result(BAD, fails())]);
    r.device.tag = "FV-3104".to_owned();
    r.cases[0].times = Times { failed: 2, run: 3 };
    r.cases[0].otherwise = Some("26* ms".to_owned());
    let page = html(&r, &about());
    let xml = junit(&r, &about());
    checked(&xml);
    let mut text = String::new();
    looprig::report::conform::write(&r, PLAIN, &mut text);
    for (what, parts) in [
        (&page, ["<td>FV-3104</td>", "failed 2 of 3 times", "26* ms"]),
        (&xml, ["hostname=\"bench-2\"", "failed 2 of 3 times", "26* ms"]),
        (&text, ["Device FV-3104, 3A01020304", "failed 2 of 3 times", "26* ms"]),
    ] {
        assert!(parts.iter().all(|p| what.contains(p)), "{parts:?}: {what}");
    }
    let mut text = String::new();
    let advised = results(vec![result(ADVICE, fails())]);
    looprig::report::conform::write(&advised, PLAIN, &mut text);
    assert!(text.contains("with --strict alone"), "{text}");
}
