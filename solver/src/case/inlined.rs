//! The text of a case with its tables of parts written out.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::part_table::{self, Column};

/// The text of a case in which every `[[die]]` and `[[nozzle]]` that names a CSV table is
/// replaced by an entry for each of its rows; everything else stays to the letter, and a case
/// without tables stays as it is. So numbers of a table can be found and changed in the text.
///
/// `load` is that of [`super::read`]. `None` where the text is not TOML or a table cannot be
/// read: [`super::read`] tells why.
pub fn inlined(text: &str, load: &dyn Fn(&str) -> Result<String, String>) -> Option<String> {
    let root = DeTable::parse(text).ok()?;
    let mut changes: Vec<(Range<usize>, String)> = Vec::new();
    for (key, columns) in [("die", part_table::DIE), ("nozzle", part_table::NOZZLE)] {
        let Some((_, value)) = root.get_ref().iter().find(|(k, _)| k.get_ref().as_ref() == key)
        else {
            continue;
        };
        let DeValue::Array(array) = value.get_ref() else { continue };
        for element in array.iter() {
            let DeValue::Table(entry) = element.get_ref() else { continue };
            let named = entry.iter().find(|(k, _)| k.get_ref().as_ref() == "table");
            let Some((_, path)) = named else { continue };
            let DeValue::String(name) = path.get_ref() else { return None };
            let rows = rows(text, name, columns, load)?;
            let is_header = text[element.span().start..].starts_with('[');
            let (range, written) = if is_header {
                let end = path.span().end.max(element.span().end);
                let tables = rows.iter().map(|row| format!("[[{key}]]\n{}\n", row.join("\n")));
                (element.span().start..end, tables.collect::<Vec<_>>().join("\n"))
            } else {
                let tables = rows.iter().map(|row| format!("{{ {} }}", row.join(", ")));
                (element.span(), tables.collect::<Vec<_>>().join(", "))
            };
            changes.push((range, written.trim_end().to_owned()));
        }
    }
    changes.sort_by_key(|(range, _)| std::cmp::Reverse(range.start));
    let mut text = text.to_owned();
    for (range, written) in changes {
        text.replace_range(range, &written);
    }
    Some(text)
}

/// The rows of a table as lines of TOML.
fn rows(
    case: &str,
    name: &str,
    columns: &'static [Column],
    load: &dyn Fn(&str) -> Result<String, String>,
) -> Option<Vec<Vec<String>>> {
    use super::context::{Context, Located};
    let context = Context::new(super::SourceText::new("case", case), load);
    let path = Located { value: name.to_owned(), span: 0..0 };
    let rows = part_table::parts(&context, &path, "", columns, |fields| fields.as_written());
    (!context.has_errors()).then_some(rows)
}

#[cfg(test)]
mod tests {
    use super::super::{place_of_number, read};
    use super::*;
    use crate::module::Module;

    const CASE: &str = r#"title = "Tables"
die = [{ table = "more.csv" }, { name = "U9", type = "logic", at_mm = [24.0, 15.0], power_W = 3.0 }]
[module]
size_mm = [30.0, 20.0]
[[module.layer]]
name = "core"
material = "alumina-96"
thickness_mm = 1.0
[die_type.logic]
size_mm = [4.0, 3.0]
thickness_mm = 0.5
material = "silicon"
active_face = "down"
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
[[nozzle]]                  # from the drawing
table = "nozzles.csv"       # of the cap
[[nozzle]]
name = "last"
type = "wide"
at_mm = [24.0, 15.0]
standoff_mm = 9.0
[board]
temperature_C = 40.0
htc_W_m2K = 120.0
"#;

    fn load(name: &str) -> Result<String, String> {
        match name {
            "more.csv" => Ok("name,type,x,y,turn,power\n,,mm,mm,deg,W\nU1,logic,6,5,,12.5\n\
                              \"U, 2\",logic,12.25,5,90,7\n"
                .to_owned()),
            "nozzles.csv" => Ok("name,type,x_mm,y_mm,standoff_mm,tilt_x_deg,tilt_y_deg,#note\n\
                                 N1,wide,6,5,10,3,-2,steep\nN2,wide,12.25,5,10.5,,,\n"
                .to_owned()),
            _ => Err("no such file".to_owned()),
        }
    }

    fn module(text: &str) -> Module {
        read(text, "case.toml", &load).expect("a good case").module
    }

    #[test]
    fn the_same_module_stands_in_one_text() {
        let text = inlined(CASE, &load).expect("a readable case");
        assert!(!text.contains("table ="), "{text}");
        assert!(text.contains("# of the cap\n"), "{text}");
        let alone = read(&text, "case.toml", &|_| Err("no files".to_owned())).expect("a good case");
        assert_eq!(format!("{:?}", alone.module), format!("{:?}", module(CASE)));
        let names: Vec<&str> = alone.module.die.iter().map(|die| die.name.as_str()).collect();
        assert_eq!(names, ["U1", "U, 2", "U9"]);
        let place = place_of_number(&text, "die.U, 2.power_W").expect("a number");
        assert_eq!(&text[place], "7.0");
        let place = place_of_number(&text, "nozzle.N1.tilt_deg.y").expect("a number");
        assert_eq!(&text[place], "-2.0");
    }

    #[test]
    fn a_case_without_tables_stays_as_it_is() {
        let plain = "a = 1 # as it is\n[[die]]\nname = \"U\"\n";
        assert_eq!(inlined(plain, &load).as_deref(), Some(plain));
        assert_eq!(inlined("[[die]]\ntable = \"nowhere.csv\"\n", &load), None);
        assert_eq!(inlined("die = [", &load), None);
    }
}
