//! The reader as a whole: good cases become the module that they describe.

use super::*;
use crate::module::{ActiveFace, PrescribedHtc, Rect, Spray, Turn};

fn no_files(name: &str) -> Result<String, String> {
    Err(format!("no such file: {name}"))
}

fn module_of(text: &str) -> Module {
    read_with(text, &no_files).module
}

fn read_with(text: &str, load: &dyn Fn(&str) -> Result<String, String>) -> Case {
    read(text, "case.toml", load).unwrap_or_else(|findings| {
        let all: Vec<String> = findings.iter().map(ToString::to_string).collect();
        panic!("{}", all.join("\n"))
    })
}

/// A small case with everything that is required.
const SMALL: &str = r#"
[module]
size_mm = [20.0, 10.0]
[[module.layer]]
name = "plate"
material = "alumina-96"
thickness_mm = 1.0
[die_type.a]
size_mm = [6.0, 4.0]
thickness_mm = 0.5
material = "silicon"
active_face = "down"
[[die]]
name = "D"
type = "a"
at_mm = [10.0, 5.0]
power_W = 20.0
[coolant]
inlet_C = 25.0
[spray]
model = "prescribed"
htc_W_m2K = 5000.0
[board]
temperature_C = 40.0
htc_W_m2K = 100.0
"#;

#[test]
fn the_starter_reads_without_a_finding() {
    let case = read_with(starter(), &no_files);
    assert_eq!(case.warnings, Vec::new());
    assert_eq!(case.module.die.len(), 3);
    assert!((case.module.total_power_W() - 123.0).abs() < 1e-12);
}

#[test]
fn a_small_case_becomes_si() {
    let module = module_of(SMALL);
    assert_eq!(module.title, "case.toml");
    assert_eq!(module.size_m, [0.02, 0.01]);
    assert_eq!(module.layers[0].thickness_m, 0.001);
    let die = &module.die[0];
    assert_eq!(die.rect, Rect { x0_m: 0.007, y0_m: 0.003, x1_m: 0.013, y1_m: 0.007 });
    assert_eq!(die.active_face, ActiveFace::Down);
    assert_eq!(die.turn, Turn::None);
    assert!(die.attach.is_none() && die.limit_K.is_none());
    assert_eq!(module.coolant.inlet_K, 298.15);
    assert_eq!(module.board.temperature_K, 313.15);
    assert_eq!(module.edge.htc_W_m2K, 0.0);
    assert_eq!(module.edge.temperature_K, 313.15);
    assert_eq!(module.mesh.accuracy_K, 0.1);
    assert_eq!(module.mesh.cell_m, None);
    assert!(matches!(
        module.spray,
        Spray::Prescribed(spray) if matches!(spray.base, PrescribedHtc::Uniform(htc) if htc == 5000.0)
    ));
}

#[test]
fn a_byte_order_mark_and_windows_line_ends_change_nothing() {
    let text = format!("\u{feff}{}", SMALL.replace('\n', "\r\n"));
    let module = module_of(&text);
    assert_eq!(module.die[0].rect, module_of(SMALL).die[0].rect);
}

#[test]
fn a_power_map_turns_with_its_die() {
    let text =
        SMALL.replace("power_W = 20.0", "power_W = 20.0\nturn_deg = 90\npower_map = \"map.csv\"");
    // Three boxes along x, two along y; the first line is the top row.
    let load = |name: &str| match name {
        "map.csv" => Ok("4, 5, 6\n1, 2, 3\n".to_owned()),
        other => no_files(other),
    };
    let die = read_with(&text, &load).module.die.remove(0);
    assert_eq!(die.rect, Rect { x0_m: 0.008, y0_m: 0.002, x1_m: 0.012, y1_m: 0.008 });
    let map = die.power_map.expect("a map");
    assert_eq!((map.nx, map.ny), (2, 3));
    // Counter-clockwise: the bottom row 1 2 3 becomes the right column, 1 at the bottom.
    assert_eq!(map.values, vec![4.0, 1.0, 5.0, 2.0, 6.0, 3.0]);
}

#[test]
fn contacts_make_the_board_coefficient() {
    let text = SMALL.replace(
        "htc_W_m2K = 100.0",
        "contacts = 500\nconductance_per_contact_W_K = 0.002\nforce_per_contact_N = 0.3",
    );
    let board = module_of(&text).board;
    // 500 contacts of 0.002 W/K on 20 mm by 10 mm: 1 W/K on 2e-4 m².
    assert!((board.htc_W_m2K - 5000.0).abs() < 1e-9);
}

#[test]
fn a_prescribed_map_lies_over_the_module_with_its_first_row_on_top() {
    let text = SMALL.replace("htc_W_m2K = 5000.0", "map = \"h.csv\"");
    let case = read_with(&text, &|_| Ok("# top\n100,200\n300,400\n".to_owned()));
    let Spray::Prescribed(spray) = &case.module.spray else { panic!("prescribed") };
    let PrescribedHtc::Map(map) = &spray.base else { panic!("map") };
    assert_eq!(map.rect, case.module.outline());
    assert_eq!(map.values, vec![300.0, 400.0, 100.0, 200.0]);
}

#[test]
fn later_patches_come_later_and_a_type_covers_all_its_die() {
    let text = format!(
        "{SMALL}\n[[spray.patch]]\nover = \"a\"\nhtc_W_m2K = 7000.0\n[[spray.patch]]\nrect_mm = [0.0, 0.0, 10.0, 10.0]\nhtc_W_m2K = 100.0\n"
    );
    let case = read_with(&text, &no_files);
    let Spray::Prescribed(spray) = &case.module.spray else { panic!("prescribed") };
    assert_eq!(spray.patches.len(), 2);
    assert_eq!(spray.patches[0].rect, case.module.die[0].rect);
    // Half the module at 100; of the other half 12 mm² of die at 7000 and 88 mm² at 5000.
    let SprayRecord::Prescribed { mean_htc_W_m2K, .. } = case.record.spray else {
        panic!("prescribed")
    };
    let mean = (100.0 * 100.0 + 12.0 * 7000.0 + 88.0 * 5000.0) / 200.0;
    assert!((mean_htc_W_m2K - mean).abs() < 1e-6 * mean);
}

#[test]
fn the_record_states_areas_fluxes_and_sources() {
    let record = read_with(starter(), &no_files).record;
    let p0 = &record.die[0];
    assert!((p0.area_cm2 - 1.44).abs() < 1e-12);
    assert!((p0.mean_flux_W_cm2 - 60.0 / 1.44).abs() < 1e-9);
    // 25 W on 0.2 cm², the rest, 35 W, on 1.24 cm².
    assert!((p0.peak_flux_W_cm2 - 125.0).abs() < 1e-9);
    let wiring = record.materials.iter().find(|m| m.name == "wiring").expect("used");
    assert_eq!(wiring.source, "stated in the case");
    let silicon = record.materials.iter().find(|m| m.name == "silicon").expect("used");
    assert_eq!(silicon.exponent, Some(1.3));
    assert_eq!(silicon.used_by.len(), 2);
}
