//! The OpenAPI document, made of the table of routes [BA-10].

use super::problem::Problem;
use super::routes::{Kind, Method, ROUTES, Route};
use axum::http::StatusCode;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::{Map, Value as Json, json};

/// Names of snapshots.
const NAME_PATTERN: &str = "^[A-Za-z0-9_-][A-Za-z0-9_.-]{0,63}$";

/// What every request may be refused with.
const ALWAYS: &[u16] = &[400, 401, 403, 422, 503];
/// What one with a body may be refused with too.
const WITH_BODY: &[u16] = &[408, 413, 415];

/// The word of a method in the document.
pub fn word(method: Method) -> &'static str {
    match method {
        Method::Get => "get",
        Method::Post => "post",
        Method::Put => "put",
        Method::Delete => "delete",
    }
}

/// The document.
pub fn document() -> Json {
    let settings = SchemaSettings::draft2020_12().with(|s| s.definitions_path = "/components/schemas".into());
    let mut generator = settings.into_generator();
    let problem = Problem::json_schema(&mut generator).to_value();
    let mut paths = Map::new();
    for route in ROUTES {
        let of_path = paths.entry(route.path).or_insert_with(|| json!({}));
        of_path[word(route.method)] = operation(route, &mut generator);
    }
    let mut schemas: Map<String, Json> = generator.take_definitions(true);
    schemas.insert("Problem".to_owned(), problem);
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "looprig bench",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "Drives a running bench: time, quantities, changes, snapshots, traces. What it changes are mock devices and \
                            their valves; but a bench with a serial: or tcp: line talks on real wires, where others hear it.",
        },
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": {"token": {
                "type": "http", "scheme": "bearer",
                "description": "The token of the bench, where it has one.",
            }},
        },
        "security": [{}, {"token": []}],
    })
}

fn operation(route: &Route, generator: &mut SchemaGenerator) -> Json {
    let mut parameters: Vec<Json> = Vec::new();
    if route.path.contains('{') {
        parameters.push(json!({
            "name": "name", "in": "path", "required": true, "description": "What the snapshot is called.",
            "schema": {"type": "string", "pattern": NAME_PATTERN},
        }));
    }
    for p in route.query {
        parameters.push(json!({
            "name": p.name, "in": "query", "required": p.is_required, "description": p.says, "schema": (p.schema)(),
        }));
    }
    let content = match &route.answer {
        Kind::Json(shape) => json!({"application/json": {"schema": shape(generator).to_value()}}),
        Kind::Document => json!({"application/json": {"schema": {"type": "object"}}}),
        Kind::Csv => json!({"text/csv": {"schema": {"type": "string"}}}),
        Kind::Events => json!({"text/event-stream": {"schema": {"type": "string"}}}),
    };
    let mut responses = json!({"200": {"description": route.summary, "content": content}});
    let with_body: &[u16] = if route.body.is_some() { WITH_BODY } else { &[] };
    for code in ALWAYS.iter().chain(with_body).chain(route.refuses) {
        let status = StatusCode::from_u16(*code).ok().and_then(|s| s.canonical_reason());
        responses[code.to_string()] = json!({
            "description": status.unwrap_or("Refused"),
            "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
        });
    }
    let mut out = json!({
        "operationId": route.id, "summary": route.summary, "description": route.says, "parameters": parameters,
        "responses": responses,
    });
    if let Some(body) = route.body {
        out["requestBody"] = json!({"required": true, "content": {"application/json": {"schema": body()}}});
    }
    out
}
