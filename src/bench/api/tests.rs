//! Whatever JSON and whatever query come: every route takes them, or refuses them in the 400s.

use super::asked::{Asked, query_of};
use super::routes::ROUTES;
use crate::bench::{BenchPlan, CHANGES, check};
use proptest::prelude::*;
use serde_json::{Map, Value as Json, json};
use std::path::Path;

pub fn plan() -> BenchPlan {
    let text = "[[device]]\ntag = \"FV-3104\"\n[device.valve]\nstroke_mm = 20\n[[line]]\nat = \"pty:\"\n";
    check(text, Path::new("b.toml")).unwrap_or_else(|e| panic!("{e}"))
}

fn any_json() -> impl Strategy<Value = Json> {
    let leaf = prop_oneof![
        Just(Json::Null),
        any::<bool>().prop_map(Json::from),
        any::<f64>().prop_map(|x| json!(x)),
        (-2.0..40f64).prop_map(|x| json!(x)),
        any::<u64>().prop_map(Json::from),
        ".{0,8}".prop_map(Json::from),
        Just(json!("FV-3104.power")),
        Just(json!("stem_seized")),
    ];
    leaf.prop_recursive(3, 24, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Json::from),
            prop::collection::vec((any_key(), inner), 0..4)
                .prop_map(|all| Json::Object(all.into_iter().collect::<Map<_, _>>())),
        ]
    })
}

/// A key that means something somewhere, or any other.
fn any_key() -> impl Strategy<Value = String> {
    let known: Vec<String> = CHANGES
        .iter()
        .map(|c| c.key)
        .chain(["device", "severity", "speed", "by_s", "quantities", "period_s"])
        .map(str::to_owned)
        .collect();
    prop_oneof![4 => prop::sample::select(known), 1 => ".{0,6}"]
}

proptest! {
    #[test]
    fn anything_is_taken_or_refused(body in any_json(), query in "[a-z_=&.,0-9%+-]{0,30}", name in ".{0,10}") {
        let plan = plan();
        for route in ROUTES {
            let query = query_of(&query).unwrap_or_default();
            let asked = Asked { doing: route.id.to_owned(), name: name.clone(), query, body: body.clone() };
            if let Err(problem) = (route.act)(&plan, &asked) {
                prop_assert!((400..500).contains(&problem.status), "{}: {}", route.id, problem.status);
            }
        }
    }
}
