//! The JSON Schema of the case file, held against cases. The keywords that it uses are few, and
//! checked here as JSON Schema (draft 7, Validation) defines them; `validation/case_schema.py` holds
//! the same cases against it with a general-purpose validator.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::harness::Room;

fn schema(room: &Room) -> Value {
    let run = room.run(&["schema"]).ends_with(0);
    serde_json::from_str(&run.stdout).expect("JSON")
}

/// What of `value` breaks `schema`; every keyword must be one that is known here. Patterns are left
/// to the general-purpose validator.
fn faults(schema: &Value, value: &Value, place: &str) -> Vec<String> {
    let mut found = Vec::new();
    let mut check = |holds: bool, keyword: &str| {
        if !holds {
            found.push(format!("{place}: {keyword}"));
        }
    };
    let valid = |schema: &Value, value: &Value| faults(schema, value, "").is_empty();
    let number = value.as_f64();
    let length = value.as_array().map(Vec::len);
    let object = value.as_object();
    let mut inner = Vec::new();
    for (keyword, asked) in schema.as_object().expect("a schema is an object") {
        let count = || asked.as_u64().expect("a count") as usize;
        let bound = || asked.as_f64().expect("a bound");
        let list = || asked.as_array().expect("a list");
        match keyword.as_str() {
            "$schema" | "title" | "description" | "pattern" => {}
            "type" => check(
                match asked.as_str().expect("a type") {
                    "object" => value.is_object(),
                    "array" => value.is_array(),
                    "string" => value.is_string(),
                    "number" => value.is_number(),
                    "integer" => number.is_some_and(|n| n.fract() == 0.0),
                    other => panic!("type {other}"),
                },
                keyword,
            ),
            "enum" => {
                let same = |a: &Value| *a == *value || a.is_number() && a.as_f64() == number;
                check(list().iter().any(same), keyword);
            }
            "minimum" => check(number.is_none_or(|n| n >= bound()), keyword),
            "maximum" => check(number.is_none_or(|n| n <= bound()), keyword),
            "maxLength" => {
                check(value.as_str().is_none_or(|t| t.chars().count() <= count()), keyword);
            }
            "minItems" => check(length.is_none_or(|n| n >= count()), keyword),
            "maxItems" => check(length.is_none_or(|n| n <= count()), keyword),
            "maxProperties" => check(object.is_none_or(|o| o.len() <= count()), keyword),
            "required" => {
                let has =
                    |key: &Value| object.is_none_or(|o| o.contains_key(key.as_str().unwrap()));
                check(list().iter().all(has), keyword);
            }
            "anyOf" => check(list().iter().any(|one| valid(one, value)), keyword),
            "oneOf" => check(list().iter().filter(|one| valid(one, value)).count() == 1, keyword),
            "not" => check(!valid(asked, value), keyword),
            "items" => {
                for (k, element) in value.as_array().into_iter().flatten().enumerate() {
                    let schema = if asked.is_array() { asked.get(k) } else { Some(asked) };
                    if let Some(schema) = schema {
                        inner.extend(faults(schema, element, &format!("{place}/{k}")));
                    }
                }
            }
            "properties" => {
                for (key, element) in object.into_iter().flatten() {
                    if let Some(schema) = asked.get(key) {
                        inner.extend(faults(schema, element, &format!("{place}/{key}")));
                    }
                }
            }
            "additionalProperties" => {
                let named = |key: &str| schema["properties"].get(key).is_some();
                for (key, element) in object.into_iter().flatten().filter(|(key, _)| !named(key)) {
                    match asked {
                        Value::Bool(allowed) => check(*allowed, &format!("unknown key {key}")),
                        schema => {
                            inner.extend(faults(schema, element, &format!("{place}/{key}")));
                        }
                    }
                }
            }
            other => panic!("a keyword that is not known here: {other}"),
        }
    }
    found.extend(inner);
    found
}

fn json(toml: &str) -> Option<Value> {
    toml.parse::<toml::Table>().ok().and_then(|table| serde_json::to_value(table).ok())
}

fn cases(folder: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("a readable folder") {
            let path = entry.expect("a readable entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == "toml") {
                found.push(path);
            }
        }
    }
    found
}

#[test]
fn every_demo_and_the_starter_keep_to_the_schema() {
    let room = Room::new();
    let schema = schema(&room);
    room.run(&["new", "starter.toml"]).ends_with(0);
    let mut cases = cases("demo-data");
    cases.extend(self::cases("tests/suspicious_cases"));
    cases.push(room.join("starter.toml"));
    assert!(cases.len() > 30, "{cases:?}");
    for path in cases {
        let case = json(&fs::read_to_string(&path).expect("a case")).expect("TOML");
        let faults = faults(&schema, &case, "");
        assert!(faults.is_empty(), "{}: {faults:#?}", path.display());
    }
}

/// Mistakes that one key shows by itself are mistakes for the schema too.
#[test]
fn what_the_reader_refuses_of_a_single_key_the_schema_refuses() {
    let room = Room::new();
    let schema = schema(&room);
    let by_themselves = ["E003", "E004", "E005", "E007", "E008", "E037"];
    let mut refused = 0;
    for path in cases("tests/bad_cases") {
        let text = fs::read_to_string(&path).expect("a case");
        let codes = text.lines().next().and_then(|line| line.strip_prefix("# expects "));
        let alone = codes.is_some_and(|codes| codes.split(' ').all(|c| by_themselves.contains(&c)));
        // Which faces a sensor may have depends on what it sits on.
        let of_sensor = text.contains("[[sensor]]") && codes == Some("E008");
        // How wide a tolerance may be depends on its distribution.
        let of_tolerance = text.contains("[[tolerance]]") && codes == Some("E007");
        let compares = of_sensor || of_tolerance;
        // Tables have their mistakes in another file.
        if compares || !alone || text.contains("\ntable = ") && !text.contains("\npower_W = ") {
            continue;
        }
        let Some(case) = json(&text) else { continue };
        assert!(!faults(&schema, &case, "").is_empty(), "{} keeps to the schema", path.display());
        refused += 1;
    }
    assert!(refused > 40, "{refused}");
}

/// A table of parts stands alone.
#[test]
fn a_table_of_parts_is_an_entry_of_its_own() {
    let room = Room::new();
    let schema = schema(&room);
    let die = &schema["properties"]["die"];
    let named = serde_json::json!([{ "table": "dies.csv" }]);
    let both = serde_json::json!([{ "table": "dies.csv", "name": "C0" }]);
    let holds = |value: &Value| faults(die, value, "").is_empty();
    assert!(holds(&named) && !holds(&both) && !holds(&serde_json::json!([{}])));
    let text =
        schema["properties"]["die"]["items"]["properties"]["power_W"]["description"].as_str();
    assert!(text.is_some_and(|text| text.contains("whole die")), "{text:?}");
}
