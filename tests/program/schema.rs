//! The JSON Schema of the case file, held against cases by the general-purpose validator of the
//! crate `jsonschema`.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::harness::Room;

fn schema(room: &Room) -> Value {
    let run = room.run(&["schema"]).ends_with(0);
    serde_json::from_str(&run.stdout).expect("JSON")
}

fn validator(schema: &Value) -> jsonschema::Validator {
    jsonschema::meta::validate(schema).expect("a schema of its draft");
    jsonschema::validator_for(schema).expect("a schema")
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
    let validator = validator(&schema(&room));
    room.run(&["new", "starter.toml"]).ends_with(0);
    let mut cases = cases("demo-data");
    cases.extend(self::cases("tests/suspicious_cases"));
    cases.push(room.join("starter.toml"));
    assert!(cases.len() > 30, "{cases:?}");
    for path in cases {
        let case = json(&fs::read_to_string(&path).expect("a case")).expect("TOML");
        let faults: Vec<String> = validator
            .iter_errors(&case)
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect();
        assert!(faults.is_empty(), "{}: {faults:#?}", path.display());
    }
}

/// Mistakes that one key shows by itself are mistakes for the schema too.
#[test]
fn what_the_reader_refuses_of_a_single_key_the_schema_refuses() {
    let room = Room::new();
    let validator = validator(&schema(&room));
    let by_themselves = ["E003", "E004", "E005", "E007", "E008", "E009", "E037"];
    let mut refused = 0;
    for path in cases("tests/bad_cases") {
        let text = fs::read_to_string(&path).expect("a case");
        let codes = text.lines().next().and_then(|line| line.strip_prefix("# expects "));
        let alone = codes.is_some_and(|codes| codes.split(' ').all(|c| by_themselves.contains(&c)));
        // Which faces a sensor may have depends on what it sits on.
        let compares = text.contains("[[sensor]]") && codes == Some("E008");
        // Tables have their mistakes in another file.
        if compares || !alone || text.contains("\ntable = ") && !text.contains("\npower_W = ") {
            continue;
        }
        let Some(case) = json(&text) else { continue };
        assert!(!validator.is_valid(&case), "{} keeps to the schema", path.display());
        refused += 1;
    }
    assert!(refused > 40, "{refused}");
}

/// A table of parts stands alone.
#[test]
fn a_table_of_parts_is_an_entry_of_its_own() {
    let room = Room::new();
    let schema = schema(&room);
    let die = validator(&schema["properties"]["die"]);
    let named = serde_json::json!([{ "table": "dies.csv" }]);
    let both = serde_json::json!([{ "table": "dies.csv", "name": "C0" }]);
    assert!(
        die.is_valid(&named) && !die.is_valid(&both) && !die.is_valid(&serde_json::json!([{}]))
    );
    let text =
        schema["properties"]["die"]["items"]["properties"]["power_W"]["description"].as_str();
    assert!(text.is_some_and(|text| text.contains("whole die")), "{text:?}");
}
