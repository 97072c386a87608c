//! The OpenAPI description (version 3.1), made from the list of routes.

use std::sync::OnceLock;

use axum::Json;
use axum::extract::RawQuery;
use schemars::generate::SchemaSettings;
use schemars::{Schema, SchemaGenerator};
use serde_json::{Map, Value, json};

use super::refusal::{ErrorBody, Refusal};
use super::routes::{Back, Route, routes};
use super::view::CAUTION;

/// Every request may be refused with these.
const ANY: [u16; 6] = [400, 401, 403, 429, 500, 503];
/// And every change with these.
const CHANGES: [u16; 3] = [408, 413, 415];

/// `GET /api/openapi.json`
pub(super) async fn get(RawQuery(_): RawQuery) -> Result<Json<&'static Value>, Refusal> {
    static DOCUMENT: OnceLock<Value> = OnceLock::new();
    Ok(Json(DOCUMENT.get_or_init(document)))
}

fn document() -> Value {
    // OpenAPI 3.1 takes JSON Schema as it is.
    let mut settings = SchemaSettings::draft2020_12();
    settings.definitions_path = "/components/schemas".into();
    settings.meta_schema = None;
    let mut generator = settings.into_generator();
    let error = generator.subschema_for::<ErrorBody>();
    let mut paths = Map::new();
    for route in routes() {
        let operation = operation(&route, &error, &mut generator);
        let path = paths
            .entry(route.path)
            .or_insert_with(|| json!({}))
            .as_object_mut();
        if let Some(path) = path {
            path.insert(route.method.to_owned(), operation);
        }
    }
    let schemas = generator.take_definitions(true);
    json!({
        "openapi": "3.1.0",
        "info": {
            "title": "Inkdwell",
            "version": env!("CARGO_PKG_VERSION"),
            "description": format!(
                "What the daemon beside the dryer says and is told. {CAUTION} Whoever changes something, or \
                 reaches an address that is not loopback, sends the token of the data folder."
            ),
        },
        "paths": paths,
        "components": {
            "schemas": schemas,
            "securitySchemes": { "token": { "type": "http", "scheme": "bearer" } },
        },
    })
}

fn operation(route: &Route, error: &Schema, generator: &mut SchemaGenerator) -> Value {
    let mut operation = json!({
        "summary": route.title,
        "parameters": parameters(route, generator),
        "responses": responses(route, error, generator),
    });
    if let Some(body) = route.body {
        operation["requestBody"] = json!({
            "required": true,
            "content": { "application/json": { "schema": body(generator) } },
        });
        operation["security"] = json!([{ "token": [] }]);
    }
    operation
}

fn parameters(route: &Route, generator: &mut SchemaGenerator) -> Vec<Value> {
    let mut parameters = Vec::new();
    let names = route.path.split('/').filter_map(|part| {
        let name = part.strip_prefix('{')?.strip_suffix('}')?;
        Some(name)
    });
    for name in names {
        let schema = match name {
            "probe" => json!({ "type": "string" }),
            _ => json!({ "type": "integer", "minimum": 1 }),
        };
        parameters.push(json!({
            "name": name, "in": "path", "required": true, "schema": schema,
        }));
    }
    let Some(query) = route.query else {
        return parameters;
    };
    let query = query(generator);
    let properties = query.get("properties").and_then(Value::as_object);
    for (name, schema) in properties.into_iter().flatten() {
        parameters.push(json!({
            "name": name, "in": "query", "required": false, "schema": schema,
        }));
    }
    parameters
}

fn responses(route: &Route, error: &Schema, generator: &mut SchemaGenerator) -> Value {
    let content = match route.back {
        Back::Json(schema) => json!({ "application/json": { "schema": schema(generator) } }),
        Back::AnyJson => json!({ "application/json": { "schema": { "type": "object" } } }),
        Back::Text(media) => json!({ media: { "schema": { "type": "string" } } }),
        Back::Events => json!({ "text/event-stream": { "schema": { "type": "string" } } }),
    };
    let mut responses = Map::new();
    let well = json!({ "description": "All is well", "content": content });
    responses.insert(route.status.to_string(), well);
    let changes: &[u16] = if route.body.is_some() { &CHANGES } else { &[] };
    for status in ANY.iter().chain(changes).chain(route.refusals) {
        let refused = json!({
            "description": meaning(*status),
            "content": { "application/json": { "schema": error } },
        });
        responses.insert(status.to_string(), refused);
    }
    Value::Object(responses)
}

fn meaning(status: u16) -> &'static str {
    match status {
        400 => "What was sent is wrong in itself",
        401 => "The token is missing or wrong",
        403 => "Asked for another host, or by another site's page",
        404 => "There is no such thing",
        408 => "The body took too long to come",
        409 => "It cannot be, as things are",
        413 => "The body is too large",
        415 => "The body is not JSON",
        429 => "Too many requests in too short a time",
        500 => "Something of the daemon's own has failed",
        _ => "Not now; ask again later",
    }
}
