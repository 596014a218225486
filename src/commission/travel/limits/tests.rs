use super::*;
use crate::commission::travel::figures::About;
use crate::commission::travel::record::Direction;

fn figure(definition: Definition, value: Option<f64>, uncertainty: Option<f64>) -> Figure {
    Figure {
        definition,
        about: About::Whole,
        view: View::Sensor,
        value,
        uncertainty,
        at_percent: None,
        remark: String::new(),
        doubt: String::new(),
        cause: None,
    }
}

fn limits(both: f64, sensor: Option<f64>) -> Limits {
    let sensor = sensor.map(|most| (Limited::Hysteresis, most)).into_iter().collect();
    Limits { whose: "test".into(), both: vec![(Limited::Hysteresis, both)], sensor, external: Vec::new() }
}

#[test]
fn verdicts_by_hand() {
    let verdict = |value, by| limits(1.0, None).judge(figure(Definition::Hysteresis, value, by)).verdict;
    let open = |words: &str| Verdict::NotJudged(words.to_owned());
    assert_eq!(verdict(Some(0.8), Some(0.2)), Verdict::Within);
    assert_eq!(verdict(Some(-0.8), None), Verdict::Within);
    assert_eq!(verdict(Some(1.25), Some(0.2)), Verdict::Beyond);
    assert_eq!(verdict(Some(-1.25), Some(0.2)), Verdict::Beyond);
    for value in [0.9, 1.1] {
        assert_eq!(verdict(Some(value), Some(0.2)), open("the limit lies within the uncertainty"));
    }
    assert_eq!(verdict(None, None), open("no value"));
    let none = limits(1.0, None).judge(figure(Definition::T63, Some(1.0), None));
    assert_eq!((none.limit, none.verdict), (None, open("no limit")));
}

#[test]
fn a_view_has_limits_of_its_own() {
    let limits = limits(1.0, Some(0.5));
    assert_eq!(limits.limit(Limited::Hysteresis, View::Sensor), Some(0.5));
    assert_eq!(limits.limit(Limited::Hysteresis, View::External), Some(1.0));
    assert_eq!(limits.limit(Limited::T63, View::External), None);
}

#[test]
fn what_limits_what() {
    let of = |d, about| Limited::of(&Figure { about, ..figure(d, Some(1.0), None) });
    assert_eq!(of(Definition::StrokeTime, About::Stroke(Direction::Up)), Some(Limited::StrokeTimeOpening));
    assert_eq!(of(Definition::StrokeTime, About::Stroke(Direction::Down)), Some(Limited::StrokeTimeClosing));
    assert_eq!(of(Definition::AccuracyBelow, About::Whole), Some(Limited::Accuracy));
    assert_eq!(of(Definition::NonLinearity(Line::Terminal, Runs::Up), About::Whole), None);
    // Units agree: a limit in seconds is one of a time.
    for definition in Definition::all() {
        if let Some(limited) = of(definition, About::Whole) {
            assert_eq!(limited.unit(), definition.unit().symbol(), "{definition:?}");
        }
    }
    assert!(Limits::own().whose.contains("looprig's own") && Limits::own().whose.contains("no standard"));
}

#[cfg(feature = "bench-file")]
mod file {
    use super::*;
    use proptest::prelude::*;
    use std::path::Path;

    fn from(text: &str) -> Result<Limits, String> {
        Limits::from_text(text, Path::new("limits.toml")).map_err(|e| e.to_string())
    }

    #[test]
    fn a_file_of_limits() {
        let text = "whose = \"Brackenmoor, throttling valves\"\n[limits]\nhysteresis_percent = 1\nt86_s = 2.5\n[external]\nhysteresis_percent = 2.0\n";
        let limits = from(text).unwrap();
        assert_eq!(limits.whose, "Brackenmoor, throttling valves");
        assert_eq!(limits.both, [(Limited::Hysteresis, 1.0), (Limited::T86, 2.5)]);
        assert_eq!(limits.external, [(Limited::Hysteresis, 2.0)]);
        assert_eq!(from(&limits.to_text()), Ok(limits));
        assert_eq!(from(&Limits::own().to_text()), Ok(Limits::own()));
    }

    /// Every limit has its key: what is written under it is read as it.
    #[test]
    fn every_key() {
        for (n, limited) in Limited::ALL.into_iter().enumerate() {
            let text = format!("whose = \"x\"\n[sensor]\n{} = {n}.5\n", limited.key());
            assert_eq!(from(&text).unwrap().sensor, [(limited, n as f64 + 0.5)]);
        }
    }

    /// The example that people copy has every key once or more, and the schema describes each with its unit [TV-71].
    #[test]
    fn the_example_and_the_schema_have_every_key() {
        let example = include_str!("../../../../fixtures/limits/works.toml");
        let limits = from(example).unwrap();
        assert_eq!(limits.limit(Limited::Accuracy, View::Sensor), Some(1.0));
        assert_eq!(limits.limit(Limited::Accuracy, View::External), Some(1.5));
        let schema: serde_json::Value = serde_json::from_str(&Limits::schema()).unwrap();
        assert_eq!(
            (&schema["title"], &schema["additionalProperties"]),
            (&"looprig limits".into(), &false.into())
        );
        assert_eq!(schema["required"], serde_json::json!(["whose"]));
        let keys = schema["$defs"]["Table"]["properties"].as_object().unwrap();
        assert_eq!(keys.len(), Limited::ALL.len());
        for limited in Limited::ALL {
            let given = limits.both.iter().chain(&limits.sensor).chain(&limits.external);
            assert!(given.clone().any(|(l, _)| *l == limited), "{} is not in the example", limited.key());
            let about = keys[limited.key()]["description"].as_str().unwrap_or("");
            let unit = if limited.unit() == "s" { ", s." } else { ", %" };
            assert!(about.contains(unit), "{}: {about}", limited.key());
        }
    }

    #[test]
    fn what_is_wrong_is_told_with_its_place() {
        for (text, place, wrong) in [
            ("", "1:1", "nobody's"),
            ("whose = \" \"\n[limits]\nt63_s = 1\n", "1:9", "nobody's"),
            ("whose = \"x\"\n", "1:1", "no limit"),
            ("whose = \"x\"\n[limits]\nhysteresis = 1\n", "3:1", "did you mean `hysteresis_percent`"),
            ("whose = \"x\"\n[limits]\nhysteresis_percent = -1\n", "3:22", "give 0 to 10000 %"),
            ("whose = \"x\"\n[limits]\nt63_s = nan\n", "3:9", "t63_s is NaN s"),
            ("whose = \"x\"\n[limits]\nt63_s = \"1 s\"\n", "3:9", "give a number"),
            ("whose = \"x\"\n[limit]\nt63_s = 1\n", "2:1", "did you mean `limits`"),
            ("whose = \"x\"\nlimits = 3\n", "2:10", "table"),
            ("whose = 3\n", "1:9", "string"),
            ("[limits\n", "1:8", "no TOML"),
        ] {
            let said = from(text).unwrap_err();
            let at = format!("limits.toml:{place}: ");
            assert!(
                said.starts_with(&at) && said.contains(wrong) && said.contains("next: "),
                "{text}: {said}"
            );
        }
    }

    proptest! {
        /// Whatever is in the file, limits that are written and read as the same, or a message with a place.
        #[test]
        fn anything(text in "(whose = \"[a-z \\\\]{0,4}\"\n)?(\\[limits\\]\n|\\[sensor\\]\n|t63_s = [-0-9.e]{1,6}\n|hysteresis_percent = [0-9]{1,3}\n|\\PC{0,6}\n){0,5}") {
            match Limits::from_text(&text, Path::new("limits.toml")) {
                Ok(limits) => prop_assert_eq!(from(&limits.to_text()), Ok(limits)),
                Err(e) => prop_assert!(e.place.is_some(), "{}", e),
            }
        }
    }
}
