//! Where a number of the case stands, by its name: `die.C0.power_W`, `coolant.inlet_C`,
//! `die_type.logic.attach.thickness_mm`, `nozzle.N1.at_mm.x`, `spray.patch.2.htc_W_m2K`.
//!
//! Tables in lists go by their `name`, or by their number from 1; numbers in lists by x, y, z or
//! by their number from 1.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::context::{nearest, quoted_list};

/// The bytes of `text` that state the number named `path`.
///
/// # Errors
/// One line that says what there is instead.
pub fn place_of_number(text: &str, path: &str) -> Result<Range<usize>, String> {
    let root = DeTable::parse(text).map_err(|error| error.message().to_owned())?;
    let parts: Vec<&str> = path.split('.').collect();
    if path.is_empty() || parts.iter().any(|part| part.is_empty()) {
        return Err(format!("\"{path}\" is no name of a number: write die.C0.power_W or the like"));
    }
    in_table(root.get_ref(), &parts, path)
}

fn in_table(table: &DeTable<'_>, parts: &[&str], path: &str) -> Result<Range<usize>, String> {
    let keys = || table.iter().map(|(key, _)| key.get_ref().as_ref());
    // Names may hold points themselves: the longest key that fits.
    for taken in (1..=parts.len()).rev() {
        let wanted = parts[..taken].join(".");
        if let Some((_, value)) = table.iter().find(|(key, _)| key.get_ref().as_ref() == wanted) {
            return in_value(value.get_ref(), value.span(), &parts[taken..], path);
        }
    }
    let missing = parts[0];
    Err(match nearest(missing, keys()) {
        Some(key) => format!("the case states no \"{missing}\" of {path}; did you mean \"{key}\"?"),
        None => {
            format!("the case states no \"{missing}\" of {path}; there is {}", quoted_list(keys()))
        }
    })
}

fn in_value(
    value: &DeValue<'_>,
    span: Range<usize>,
    parts: &[&str],
    path: &str,
) -> Result<Range<usize>, String> {
    match value {
        DeValue::Integer(_) | DeValue::Float(_) if parts.is_empty() => Ok(span),
        _ if parts.is_empty() => {
            Err(format!("{path} is not a number in this case; name one inside it"))
        }
        DeValue::Table(table) => in_table(table, parts, path),
        DeValue::Array(array) => {
            let named = |taken: usize| {
                let wanted = parts[..taken].join(".");
                array.iter().find(|element| match element.get_ref() {
                    DeValue::Table(table) => table.iter().any(|(key, value)| {
                        key.get_ref() == "name"
                            && matches!(value.get_ref(), DeValue::String(name) if *name == wanted)
                    }),
                    _ => false,
                })
            };
            for taken in (1..=parts.len()).rev() {
                if let Some(element) = named(taken) {
                    return in_value(element.get_ref(), element.span(), &parts[taken..], path);
                }
            }
            let number = match parts[0] {
                "x" => Some(1),
                "y" => Some(2),
                "z" => Some(3),
                digits => digits.parse::<usize>().ok(),
            };
            match number.and_then(|n| array.get(n.checked_sub(1)?)) {
                Some(element) => in_value(element.get_ref(), element.span(), &parts[1..], path),
                None => Err(format!(
                    "nothing is called \"{}\" in the list of {} that {path} names",
                    parts[0],
                    array.len()
                )),
            }
        }
        _ => Err(format!("\"{}\" of {path} stands inside something that holds no keys", parts[0])),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CASE: &str = "\
[coolant]\ninlet_C = 25.0\n[[die]]\nname = \"C0\"\npower_W = 92\nat_mm = [18.0, 16.5]\n\
[[die]]\nname = \"C.1\"\npower_W = 7.5\n[die_type.logic]\nattach = { thickness_mm = 0.08 }\n";

    #[test]
    fn numbers_are_found_by_name_number_and_axis() {
        for (path, written) in [
            ("coolant.inlet_C", "25.0"),
            ("die.C0.power_W", "92"),
            ("die.C0.at_mm.y", "16.5"),
            ("die.1.at_mm.1", "18.0"),
            ("die.C.1.power_W", "7.5"),
            ("die_type.logic.attach.thickness_mm", "0.08"),
        ] {
            assert_eq!(&CASE[place_of_number(CASE, path).expect(path)], written, "{path}");
        }
    }

    #[test]
    fn what_is_not_there_is_said_with_what_is() {
        for (path, words) in [
            ("coolant.inlt_C", "did you mean \"inlet_C\"?"),
            ("die.C7.power_W", "nothing is called \"C7\" in the list of 2"),
            ("die.C0.name", "not a number"),
            ("die.C0", "name one inside it"),
            ("board.htc_W_m2K", "states no \"board\""),
            ("die..power_W", "no name of a number"),
        ] {
            let error = place_of_number(CASE, path).expect_err(path);
            assert!(error.contains(words), "{path}: {error}");
        }
    }
}
