//! Checking a document against its schema file.
//!
//! It owns the part of the language of schemas (JSON Schema, draft 2020-12) that
//! the files here use, and refuses the rest.

use std::fs;

use serde_json::Value;

use super::root;

/// Checks a document against the schema file, as far as that file uses the
/// language of schemas.
pub(crate) fn check_schema(name: &str, text: &str) {
    let path = root().join(format!("bench/schema/{name}.json"));
    let schema: Value = serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap();
    let document: Value = serde_json::from_str(text).unwrap();
    check(&schema, &schema, &document, "document").unwrap();
}

fn check(root: &Value, schema: &Value, value: &Value, at: &str) -> Result<(), String> {
    for (key, rule) in schema.as_object().expect("a schema") {
        let holds = match key.as_str() {
            "$ref" => {
                let name =
                    rule.as_str().and_then(|path| path.strip_prefix("#/$defs/")).expect("a path");
                check(root, &root["$defs"][name], value, at)?;
                true
            }
            "anyOf" => {
                rule.as_array().unwrap().iter().any(|rule| check(root, rule, value, at).is_ok())
            }
            "const" => rule == value,
            "enum" => rule.as_array().unwrap().contains(value),
            "type" => match rule {
                Value::Array(types) => types.iter().any(|name| has_type(value, name)),
                name => has_type(value, name),
            },
            "minimum" => value.as_i64().is_none_or(|number| number >= rule.as_i64().unwrap()),
            "required" => rule
                .as_array()
                .unwrap()
                .iter()
                .all(|name| value.get(name.as_str().unwrap()).is_some()),
            "additionalProperties" => value
                .as_object()
                .unwrap()
                .keys()
                .all(|name| schema["properties"].get(name).is_some()),
            "properties" => {
                for (name, rule) in rule.as_object().unwrap() {
                    if let Some(value) = value.get(name) {
                        check(root, rule, value, &format!("{at}.{name}"))?;
                    }
                }
                true
            }
            "items" => {
                for (index, item) in value.as_array().unwrap().iter().enumerate() {
                    check(root, rule, item, &format!("{at}[{index}]"))?;
                }
                true
            }
            "$schema" | "$defs" | "title" | "description" => true,
            other => panic!("the schema uses {other}, which this test does not know"),
        };
        if !holds {
            return Err(format!("{at}: {value} does not satisfy {key} {rule}"));
        }
    }
    Ok(())
}

fn has_type(value: &Value, name: &Value) -> bool {
    match name.as_str().expect("a type") {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "integer" => value.is_u64() || value.is_i64(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        other => panic!("no type {other}"),
    }
}
