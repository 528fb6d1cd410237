//! The text of a case with other nozzles.

use std::fmt::Write;
use std::ops::Range;

use toml::de::{DeTable, DeValue};

use crate::module::Nozzle;

/// The text of a case with its `[[nozzle]]` and `[[nozzle_group]]` tables replaced by one
/// `[[nozzle]]` for each of `nozzles`, in the place of the first of them; everything else stays
/// to the letter. Nozzle types are named and must be in the text.
///
/// Lengths are written to the micrometre, flow factors to a ten-thousandth, tilts to a
/// ten-thousandth of a degree, unless they are finer: then with all their digits. `None` where
/// `text` is not TOML.
pub fn renozzled(text: &str, nozzles: &[Nozzle]) -> Option<String> {
    let table = DeTable::parse(text).ok()?;
    let mut gone: Vec<(Range<usize>, bool)> = Vec::new();
    for (key, value) in table.get_ref() {
        if !matches!(key.get_ref().as_ref(), "nozzle" | "nozzle_group") {
            continue;
        }
        let DeValue::Array(array) = value.get_ref() else { continue };
        for element in array.iter() {
            let DeValue::Table(inner) = element.get_ref() else { continue };
            if text[element.span().start..].starts_with('[') {
                // A table of its own: from its header to its last value.
                let ends = inner.iter().map(|(_, value)| value.span().end);
                let end = ends.fold(element.span().end, usize::max);
                gone.push((whole_lines(text, element.span().start..end), true));
            } else {
                // Inline tables: the whole assignment.
                gone.push((whole_lines(text, key.span().start..value.span().end), false));
                break;
            }
        }
    }
    gone.sort_by_key(|(range, _)| range.start);
    let tables = tables(nozzles);
    let mut out = String::with_capacity(text.len() + tables.len());
    let mut at = 0;
    let mut placed = false;
    for (range, is_table) in gone {
        out.push_str(&text[at..range.start.max(at)]);
        if is_table && !placed {
            out.push_str(&tables);
            placed = true;
        }
        at = at.max(range.end);
        // One blank line is enough where tables stood between blank lines.
        if out.ends_with("\n\n") {
            while text[at..].starts_with('\n') {
                at += 1;
            }
        }
    }
    out.push_str(&text[at..]);
    if !placed {
        if !out.ends_with('\n') {
            out.push('\n');
        }
        write!(out, "\n{tables}").ok()?;
    }
    Some(out)
}

/// The range grown to whole lines, with their ends.
fn whole_lines(text: &str, range: Range<usize>) -> Range<usize> {
    let start = text[..range.start].rfind('\n').map_or(0, |at| at + 1);
    let end = text[range.end..].find('\n').map_or(text.len(), |at| range.end + at + 1);
    start..end
}

fn tables(nozzles: &[Nozzle]) -> String {
    let mut text = String::new();
    for nozzle in nozzles {
        let quoted = |word: &str| toml::Value::from(word).to_string();
        let mm = |m: f64| shortest(m * 1e3, 3);
        text += "[[nozzle]]\n";
        text += &format!("name = {}\n", quoted(&nozzle.name));
        text += &format!("type = {}\n", quoted(&nozzle.type_name));
        text += &format!("at_mm = [{}, {}]\n", mm(nozzle.at_m[0]), mm(nozzle.at_m[1]));
        text += &format!("standoff_mm = {}\n", mm(nozzle.standoff_m));
        if nozzle.tilt_rad != [0.0, 0.0] {
            let [x, y] = nozzle.tilt_rad.map(|rad| shortest(rad.to_degrees(), 4));
            text += &format!("tilt_deg = [{x}, {y}]\n");
        }
        if nozzle.flow_factor != 1.0 {
            text += &format!("flow_factor = {}\n", shortest(nozzle.flow_factor, 4));
        }
        text.push('\n');
    }
    text
}

/// With so many decimals where that is the number to rounding, else with all its digits; always
/// with a point.
fn shortest(value: f64, decimals: usize) -> String {
    let rounded = format!("{value:.decimals$}");
    let same =
        rounded.parse::<f64>().is_ok_and(|r| (r - value).abs() <= 1e-9 * (1.0 + value.abs()));
    if !same {
        return format!("{value:?}");
    }
    let short = rounded.trim_end_matches('0');
    if short.ends_with('.') { format!("{short}0") } else { short.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::super::read;
    use super::*;
    use crate::module::{Module, Spray};

    const CASE: &str = r#"# a case
title = "Two die"
[module]
size_mm = [30.0, 20.0]
[[module.layer]]
name = "core"
material = "alumina-96"
thickness_mm = 1.0
[die_type.logic]
size_mm = [8.0, 6.0]
thickness_mm = 0.5
material = "silicon"
active_face = "down"
[[die]]
name = "U1"
type = "logic"
at_mm = [8.0, 10.0]
power_W = 30.0
[coolant]
fluid = "perfluorohexane"
inlet_C = 25.0
pressure_kPa = 101.325
[spray]
model = "correlated"
[nozzle_type.wide]
cone_deg = 55.0
orifice_mm = 0.4
flow_mL_s = 0.85
pressure_drop_kPa = 200.0

# over the die
[[nozzle_group]]   # four
type = "wide"
over = "logic"
offsets_mm = [
  [-2.0, 0.0],     # left
  [2.0, 0.0],
]
standoff_mm = 10.0 # high

# beside it
[[nozzle]]
name = "N"
type = "wide"
at_mm = [20.0, 10.0]
standoff_mm = 9.0
tilt_deg = [3.0, -4.5]

# the dry side
[board]
temperature_C = 40.0
htc_W_m2K = 120.0
"#;

    fn module(text: &str) -> Module {
        read(text, "case.toml", &|_| Err("no files".to_owned())).expect("a good case").module
    }

    fn nozzles(module: &Module) -> Vec<Nozzle> {
        match &module.spray {
            Spray::Correlated(spray) => spray.nozzles.clone(),
            Spray::Prescribed(_) => Vec::new(),
        }
    }

    #[test]
    fn the_same_nozzles_come_back_and_the_rest_stays_to_the_letter() {
        let before = nozzles(&module(CASE));
        let text = renozzled(CASE, &before).expect("TOML");
        let after = nozzles(&module(&text));
        assert_eq!(before.len(), 3);
        for (a, b) in before.iter().zip(&after) {
            assert_eq!((&a.name, a.at_m, a.standoff_m), (&b.name, b.at_m, b.standoff_m));
            assert!((0..2).all(|k| (a.tilt_rad[k] - b.tilt_rad[k]).abs() < 1e-12));
        }
        for kept in ["# a case\n", "# over the die\n", "# beside it\n", "# the dry side\n[board]"] {
            assert!(text.contains(kept), "{kept} is gone from\n{text}");
        }
        for gone in ["nozzle_group", "# four", "# left", "# high"] {
            assert!(!text.contains(gone), "{gone} stands in\n{text}");
        }
    }

    #[test]
    fn moved_nozzles_are_read_back_to_the_bit() {
        let mut moved = nozzles(&module(CASE));
        moved[0].at_m = [0.012_345, 0.001];
        moved[0].flow_factor = 0.873;
        moved[2].standoff_m = 0.011_007;
        let back = nozzles(&module(&renozzled(CASE, &moved).expect("TOML")));
        assert_eq!(back[0].at_m, moved[0].at_m);
        assert_eq!(back[0].flow_factor, 0.873);
        assert_eq!(back[2].standoff_m, moved[2].standoff_m);
    }

    #[test]
    fn nozzles_written_inline_are_replaced_too() {
        let (head, tail) = CASE.split_once("# over the die").expect("a comment");
        let (_, tail) = tail.split_once("# the dry side").expect("a comment");
        let inline =
            "nozzle = [{ name = \"A\", type = \"wide\", at_mm = [9.0, 9.0], standoff_mm = 8.0 }]\n";
        let case = format!("{inline}{head}{tail}");
        let before = nozzles(&module(&case));
        let text = renozzled(&case, &before).expect("TOML");
        let after = nozzles(&module(&text));
        assert_eq!(after.len(), 1);
        assert_eq!((&after[0].name, after[0].at_m), (&before[0].name, before[0].at_m));
        assert!(!text.contains("nozzle = ["), "{text}");
    }

    #[test]
    fn what_is_not_toml_is_refused() {
        assert!(renozzled("nozzle = [", &[]).is_none());
    }
}
