//! The case file as a JSON Schema, for editors that complete and check.
//!
//! It is made from what the reader asks for, so that it knows the keys that the reader knows.
//! What compares one key with another (blocks within their die, names that must exist) is left to
//! `check`.

use serde_json::{Map, Value, json};
use sprayside_solver::case::{self, Form, NumberRange, TableForm};
use sprayside_solver::library;

/// The schema, draft 7: what editors for TOML read most widely.
pub fn schema() -> Value {
    let mut root = table(&case::form(), "");
    if let Value::Object(root) = &mut root {
        root.insert("$schema".to_owned(), json!("http://json-schema.org/draft-07/schema#"));
        root.insert("title".to_owned(), json!("A case of sprayside"));
    }
    root
}

fn table(form: &TableForm, above: &str) -> Value {
    let mut properties = Map::new();
    let mut required: Vec<&str> = Vec::new();
    for key in &form.keys {
        let path = format!("{above}{}", key.key);
        let mut value = value(&key.form, &path);
        if let (Value::Object(value), Some(text)) = (&mut value, case::key_text(&path)) {
            value.insert("description".to_owned(), json!(text));
        }
        properties.insert(key.key.to_owned(), value);
        if key.required {
            required.push(key.key);
        }
    }
    let mut schema = json!({
        "type": "object",
        "properties": properties,
        "additionalProperties": false,
    });
    match form.instead {
        Some(alone) => {
            schema["oneOf"] = json!([
                { "required": required, "not": { "required": [alone] } },
                { "required": [alone], "maxProperties": 1 },
            ]);
        }
        None if required.is_empty() => {}
        None => schema["required"] = json!(required),
    }
    schema
}

fn value(form: &Form, path: &str) -> Value {
    match form {
        Form::Text | Form::Name if !known_names(path).is_empty() => json!({
            "anyOf": [{ "enum": known_names(path) }, { "type": "string" }],
        }),
        Form::Text => json!({ "type": "string" }),
        Form::Name => json!({
            "type": "string",
            "maxLength": 60,
            "pattern": r#"^[^\s./\\:*?"<>|]([^/\\:*?"<>|]*[^\s/\\:*?"<>|])?$"#,
        }),
        Form::Word(words) => json!({ "enum": words }),
        Form::TextList => list(json!({ "type": "string" })),
        Form::Number(_) if path == "die.turn_deg" => json!({ "enum": [0, 90, 180, 270] }),
        Form::Number(range) => number(range),
        Form::Numbers(ranges) => numbers(ranges),
        Form::OneOrThree(range) => {
            json!({ "anyOf": [number(range), numbers(&[*range; 3])] })
        }
        Form::NumberList(range) => list(number(range)),
        Form::PairList(range) => list(numbers(&[*range; 2])),
        Form::Count { low, high } => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Form::Table(inner) => table(inner, &format!("{path}.")),
        Form::Tables(inner) => list(table(inner, &format!("{path}."))),
        Form::NamedTables(inner) => json!({
            "type": "object",
            "additionalProperties": table(inner, &format!("{path}.*.")),
        }),
    }
}

fn number(range: &NumberRange) -> Value {
    json!({ "type": "number", "minimum": range.low, "maximum": range.high })
}

fn numbers(ranges: &[NumberRange]) -> Value {
    json!({
        "type": "array",
        "items": ranges.iter().map(number).collect::<Vec<_>>(),
        "minItems": ranges.len(),
        "maxItems": ranges.len(),
    })
}

fn list(items: Value) -> Value {
    json!({ "type": "array", "items": items })
}

/// Names of the library that a key may take, for completion; other names are allowed.
fn known_names(path: &str) -> Vec<String> {
    match path {
        "coolant.fluid" => library::fluids::names().into_iter().map(str::to_owned).collect(),
        "backing_plate.material" => {
            library::plates::ALL.iter().map(|metal| metal.name.to_owned()).collect()
        }
        _ if path.ends_with(".material") => library::solids::names(),
        _ => Vec::new(),
    }
}
