use super::*;
use proptest::prelude::*;

/// looprig's own file can be read; every symptom is named by a cause, every cause shows something that is no workshop's to see.
#[test]
fn own_knowledge_is_whole() {
    let known = Knowledge::own().unwrap_or_else(|e| panic!("{e}"));
    for (i, symptom) in known.symptoms.iter().enumerate() {
        let named = known.causes.iter().any(|c| c.expects.iter().any(|(s, _)| *s == i));
        assert!(named, "{}: no cause shows it", symptom.name);
    }
    for cause in &known.causes {
        let seen = |(s, table): &(usize, Vec<[f64; LEVELS]>)| {
            let shows = table[0].iter().any(|p| *p < 0.5);
            shows && known.symptoms[*s].check.as_ref().is_none_or(|c| !c.workshop)
        };
        assert!(cause.expects.iter().any(seen), "{}: only a workshop would see it", cause.name);
    }
}

/// The likelihoods of a value, as [TG-02] has them: what is left is the usual value's, or shared by those that are not named.
#[test]
fn likelihoods_are_filled_up() {
    let text = |row: &str| {
        format!(
            "whose = \"x\"\n[[symptom]]\nname = \"a\"\nwords = \"a\"\nseen = \"bus\"\nvalues = [{{ name = \"u\", words = \"u\" }}, \
             {{ name = \"v\", words = \"v\" }}, {{ name = \"w\", words = \"w\" }}]\n[[cause]]\nname = \"c\"\nwords = \"c\"\ngroup = \"air\"\n\
             text = \"t\"\nremedy = \"r\"\n[cause.expects]\n{row}\n"
        )
    };
    let table = |row: &str| {
        let known = Knowledge::from_text(&text(row), Path::new("k.toml")).unwrap_or_else(|e| panic!("{e}"));
        known.causes[0].expects[0].1.clone()
    };
    assert_eq!(table("a = { v = [0.2, 0.5, 1] }"), [[0.8, 0.5, 0.0], [0.2, 0.5, 1.0], [0.0; 3]]);
    assert_eq!(table("a = { u = 0.5 }"), [[0.5; 3], [0.25; 3], [0.25; 3]]);
    assert_eq!(table("a = { v = 0.25, w = 0.25 }"), [[0.5; 3], [0.25; 3], [0.25; 3]]);
    let wrong = |row: &str| {
        let e = Knowledge::from_text(&text(row), Path::new("k.toml")).expect_err("it is wrong");
        (e.location(), e.wrong, e.right)
    };
    // The 14th line is that of the row; columns by counting.
    for (row, at, what) in [
        ("a = { v = 1.5 }", "k.toml:14:11", "1.5 is no likelihood"),
        ("a = { v = 0.7, w = 0.7 }", "k.toml:14:5", "add up to 1.40"),
        ("a = { x = 0.7 }", "k.toml:14:7", "`a` has no value `x`"),
        ("b = { v = 0.7 }", "k.toml:14:1", "there is no symptom `b`"),
        ("a = { v = [0.1, 0.2] }", "k.toml:14:11", "there are 2 likelihoods"),
        ("a = { u = 0.1, v = 0.1, w = 0.1 }", "k.toml:14:5", "do not add up to 1"),
        ("a = { v = \"often\" }", "k.toml:14:11", "cannot stand here"),
    ] {
        let (place, wrong, right) = wrong(row);
        assert!(place == at && wrong.contains(what) && !right.is_empty(), "{row}: {place} {wrong} / {right}");
    }
}

/// What is missing or cannot be is told where it is missing.
#[test]
fn bad_files_are_told() {
    for (from, to, line, what) in [
        ("whose = ", "# whose = ", 1, "`whose` is missing"),
        (
            "group = \"signal\"\neffort_min = 3",
            "group = \"wires\"\neffort_min = 3",
            0,
            "there is no group `wires`",
        ),
        ("effort_min = 3", "effort_min = 0", 0, "effort_min is 0"),
        ("seen = \"bus\"", "seen = \"nose\"", 0, "`nose` is no way to see it"),
        ("healthy = 0.12", "healthy = 2", 0, "healthy is 2"),
        ("name = \"repeats\"", "name = \"answers\"", 0, "there is a symptom `answers` already"),
        ("name = \"repeats\"", "name = \"Re peats\"", 0, "is no name"),
        ("remedy = ", "remedie = ", 0, "there is no key `remedie` here"),
        ("words = \"", "words = \"\\u001b[31m", 0, "control character (U+001B)"),
        ("text = \"", "text = \"\\u202e", 0, "control character (U+202E)"),
        ("most_questions = ", "most_questions = 0.5 #", 0, "most_questions is 0.5"),
        ("most_questions = ", "most_questions = 12.7 #", 0, "most_questions is 12.7"),
        ("needs = { answers", "needs = { answer", 0, "there is no symptom `answer`"),
        (
            "needs = { answers = [\"yes\"",
            "needs = { answers = [\"often\"",
            0,
            "`answers` has no value `often`",
        ),
        ("display = [\"lit\"]", "display = []", 0, "`needs` names no value of `display`"),
        ("[[cause]]", "[cause]", 0, ""),
    ] {
        let text = own_text().replacen(from, to, 1);
        assert_ne!(text, own_text(), "{from}");
        let e = Knowledge::from_text(&text, Path::new("k.toml")).expect_err(to);
        let place = e.place.as_ref().unwrap_or_else(|| panic!("{to}: no place"));
        assert!(e.wrong.contains(what) && (line == 0 || place.line == line), "{to}: {e}");
        assert!(!e.right.is_empty());
    }
}

/// Where the valve moves there is a caution; a wrong name of what a check needs is told at its own place.
#[test]
fn checks_that_move_say_what_to_take_care_of() {
    let text = |check: &str| {
        let values = "values = [{ name = \"u\", words = \"u\" }, { name = \"v\", words = \"v\" }]";
        format!(
            "whose = \"x\"\n[[symptom]]\nname = \"a\"\nwords = \"a\"\nseen = \"person\"\n{values}\n[symptom.check]\nquestion = \"q\"\n\
             group = \"air\"\neffort_min = 1\n{check}\n[[cause]]\nname = \"c\"\nwords = \"c\"\ngroup = \"air\"\ntext = \"t\"\nremedy = \"r\"\n\
             [cause.expects]\na = {{ v = 1 }}\n"
        )
    };
    let read = |check: &str| Knowledge::from_text(&text(check), Path::new("k.toml"));
    for moves in ["strokes", "moves"] {
        let e = read(&format!("{moves} = true")).expect_err("no caution");
        assert!(
            e.location() == "k.toml:7:1"
                && e.wrong.contains("no `cautions`")
                && e.right.contains("cautions = ["),
            "{e}"
        );
        assert!(read(&format!("{moves} = true\ncautions = [\"hands off\"]")).is_ok());
    }
    // The eleventh line; columns by counting.
    for (needs, at) in
        [("b = [\"v\"]", "k.toml:11:11"), ("a = [\"w\"]", "k.toml:11:16"), ("a = []", "k.toml:11:15")]
    {
        let e = read(&format!("needs = {{ {needs} }}")).expect_err(needs);
        assert!(e.location() == at && !e.right.is_empty(), "{needs}: {e}");
    }
    assert_eq!(
        read("needs = { a = [\"v\"] }").map(|k| k.symptoms[0].check.as_ref().map(|c| c.needs.clone())),
        Ok(Some(vec![(0, vec![1])]))
    );
}

proptest! {
    /// Any change of an octet gives knowledge, or a message with a place.
    #[test]
    fn a_changed_file_is_read_or_told(at in 0usize..20_000, octet in 0u8..128, cut in any::<bool>()) {
        let mut bytes = own_text().as_bytes().to_vec();
        let at = at % bytes.len();
        if cut { bytes.truncate(at) } else { bytes[at] = octet }
        let Ok(text) = String::from_utf8(bytes) else { return Ok(()) };
        match Knowledge::from_text(&text, Path::new("k.toml")) {
            Ok(known) => prop_assert!(!known.causes.is_empty()),
            Err(e) => prop_assert!(e.place.is_some() && !e.right.is_empty()),
        }
    }
}
