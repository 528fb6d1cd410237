//! What must hold of every answer of the reader.

use sprayside_solver::case::{self, Case, Diagnostic, Severity};
use sprayside_solver::module::{GridMap, Module, PrescribedHtc, Rect, Spray};

/// Stands in for files: any CSV file holds a small grid, others are not there.
fn load(file: &str) -> Result<String, String> {
    if file.ends_with(".csv") { Ok("1,2,0\n3,4,0\n".to_owned()) } else { Err("no".to_owned()) }
}

/// Reads, and checks what holds of every answer.
pub fn read(text: &str, csv: Option<&str>) -> Result<Case, Vec<Diagnostic>> {
    let answer = case::read(text, "case.toml", &|file| match csv {
        Some(csv) => Ok(csv.to_owned()),
        None => load(file),
    });
    match &answer {
        Ok(case) => {
            for warning in &case.warnings {
                assert_eq!(warning.severity, Severity::Warning, "{warning}");
                check_finding(warning);
            }
            check_module(&case.module);
        }
        Err(findings) => {
            assert!(findings.iter().any(|finding| finding.severity == Severity::Error));
            findings.iter().for_each(check_finding);
        }
    }
    answer
}

fn check_finding(finding: &Diagnostic) {
    assert!(!finding.labels.is_empty(), "{finding}");
    for label in &finding.labels {
        assert!(label.source.text.get(label.span.clone()).is_some(), "{:?}", label.span);
    }
    assert!(!finding.headline.is_empty());
    let shown = finding.labels.iter().map(|label| &label.text).chain(&finding.help);
    for text in shown.chain([&finding.headline]) {
        assert!(!text.contains(char::is_control), "{text:?}");
    }
    assert!(case::codes::by_id(finding.code.id).is_some());
}

fn check_rect(rect: &Rect, outline: &Rect) {
    assert!(rect.width_m() > 0.0 && rect.height_m() > 0.0, "{rect:?}");
    assert!(outline.contains(rect, 1e-9), "{rect:?} in {outline:?}");
}

fn check_map(map: &GridMap) {
    assert_eq!(map.values.len(), map.nx * map.ny);
    assert!(map.values.iter().all(|value| value.is_finite() && *value >= 0.0));
}

/// What the rest of the solver takes for granted.
fn check_module(module: &Module) {
    let outline = module.outline();
    assert!(outline.area_m2() > 0.0 && !module.layers.is_empty());
    assert!(!module.die.is_empty() || !module.heaters.is_empty());
    for layer in &module.layers {
        assert!(layer.thickness_m > 0.0 && layer.slices != Some(0));
        assert!(layer.material.conductivity_W_mK.iter().all(|k| k.is_finite() && *k > 0.0));
    }
    for (index, die) in module.die.iter().enumerate() {
        check_rect(&die.rect, &outline);
        assert!(die.thickness_m > 0.0 && die.power_W.is_finite() && die.power_W >= 0.0);
        for other in &module.die[..index] {
            assert!(!die.rect.overlaps(&other.rect, 1e-9) && die.name != other.name);
        }
        for block in &die.blocks {
            check_rect(&block.rect, &die.rect);
        }
        let in_blocks: f64 = die.blocks.iter().map(|block| block.power_W).sum();
        assert!(in_blocks <= die.power_W * (1.0 + 1e-6));
        if let Some(map) = &die.power_map {
            assert!(die.blocks.is_empty() && map.rect == die.rect && map.total() > 0.0);
            check_map(map);
        }
    }
    for heater in &module.heaters {
        check_rect(&heater.rect, &outline);
        assert!(heater.layer < module.layers.len());
    }
    match &module.spray {
        Spray::Prescribed(spray) => {
            if let PrescribedHtc::Map(map) = &spray.base {
                check_map(map);
            }
            for patch in &spray.patches {
                check_rect(&patch.rect, &outline);
            }
        }
        Spray::Correlated(spray) => {
            assert!(!spray.nozzles.is_empty() && module.coolant.fluid.is_some());
            for nozzle in &spray.nozzles {
                let [a, b] = nozzle.tilt_rad;
                let lean = a.tan().hypot(b.tan()).atan();
                assert!(lean + 0.5 * nozzle.cone_rad < std::f64::consts::FRAC_PI_2);
                assert!(nozzle.flow_m3_s > 0.0 && nozzle.standoff_m > 0.0);
            }
        }
    }
    assert!(module.coolant.inlet_K > 0.0 && module.board.temperature_K > 0.0);
    assert!(module.board.htc_W_m2K >= 0.0 && module.edge.htc_W_m2K >= 0.0);
}
