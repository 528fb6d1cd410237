//! Sprays from nozzles to junctions: limits that need no correlation to be right, and facts of
//! the trade.

use std::sync::Arc;

use sprayside_solver::case;
use sprayside_solver::mesh::{Mesh, PlaneGrid, Slicing};
use sprayside_solver::module::{Module, Nozzle, PrescribedHtc, PrescribedSpray, Spray};
use sprayside_solver::results::SteadyResult;
use sprayside_solver::spray::{
    Band, CellCurves, FilmTable, Liquid, LiquidBudget, SprayModel, SurfaceCurve, die_coverage,
    dry_patches,
};
use sprayside_solver::steady::{self, GridSolution, SteadyOptions, WetLaw};

/// A module of 40 × 30 mm with two die under nozzles; `cell` is the mesh, mm.
fn module(cell_mm: f64) -> Module {
    let text = format!(
        r#"
title = "Two die"
[module]
size_mm = [40.0, 30.0]
[[module.layer]]
name = "core"
material = "alumina-96"
thickness_mm = 1.5
[die_type.big]
size_mm = [10.0, 10.0]
thickness_mm = 0.6
material = "silicon"
active_face = "down"
limit_C = 95.0
[[die]]
name = "A"
type = "big"
at_mm = [12.0, 15.0]
power_W = 35.0
[[die]]
name = "B"
type = "big"
at_mm = [28.0, 15.0]
power_W = 20.0
[coolant]
fluid = "perfluorohexane"
inlet_C = 25.0
pressure_kPa = 101.325
[spray]
model = "correlated"
[nozzle_type.wide]
cone_deg = 60.0
orifice_mm = 0.40
flow_mL_s = 1.2
pressure_drop_kPa = 200.0
[[nozzle]]
name = "NA"
type = "wide"
at_mm = [12.0, 15.0]
standoff_mm = 12.0
[[nozzle]]
name = "NB"
type = "wide"
at_mm = [28.0, 15.0]
standoff_mm = 12.0
[board]
temperature_C = 30.0
htc_W_m2K = 50.0
[mesh]
cell_mm = {cell_mm}
"#
    );
    let load = |_: &str| Err("no file".to_owned());
    match case::read(&text, "two-die.toml", &load) {
        Ok(case) => case.module,
        Err(findings) => {
            let told: Vec<String> = findings.iter().map(ToString::to_string).collect();
            panic!("{}", told.join("\n"))
        }
    }
}

fn nozzles_of(module: &mut Module) -> &mut Vec<Nozzle> {
    match &mut module.spray {
        Spray::Correlated(spray) => &mut spray.nozzles,
        Spray::Prescribed(_) => panic!("the case has nozzles"),
    }
}

fn even_mesh(module: &Module, cell_m: f64) -> Mesh {
    let lines = |length: f64| -> Arc<[f64]> {
        let n = (length / cell_m).round() as usize;
        (0..=n).map(|k| length * k as f64 / n as f64).collect()
    };
    let plane =
        PlaneGrid { x_lines_m: lines(module.size_m[0]), y_lines_m: lines(module.size_m[1]) };
    Mesh::new(module, plane, &Slicing::coarsest(module))
}

fn solve(module: &Module) -> SteadyResult {
    steady::solve(module, &SteadyOptions::default(), &mut |_| {}).expect("a steady state")
}

/// The coldest cell of the surface that lies on a die, m.
fn coldest_on_die(module: &Module, solution: &GridSolution, die: usize) -> [f64; 2] {
    let plane = &solution.mesh.plane;
    let rect = module.die[die].rect;
    let mut coldest = (f64::INFINITY, [0.0; 2]);
    for p in 0..plane.nx() * plane.ny() {
        let centre = plane.cell(p % plane.nx(), p / plane.nx()).centre_m();
        let inside = (rect.x0_m..rect.x1_m).contains(&centre[0])
            && (rect.y0_m..rect.y1_m).contains(&centre[1]);
        if inside && solution.wet.rise_K[p] < coldest.0 {
            coldest = (solution.wet.rise_K[p], centre);
        }
    }
    coldest.1
}

#[test]
fn vanishing_boiling_gives_the_answer_of_the_stated_coefficient() {
    let mut stated = module(1.0);
    // Constant conductivity: the stated coefficient is then one linear solve.
    for die in &mut stated.die {
        let mut silicon = (*die.material).clone();
        silicon.law = sprayside_solver::library::TemperatureLaw::Constant;
        die.material = Arc::new(silicon);
    }
    for layer in &mut stated.layers {
        let mut ceramic = (*layer.material).clone();
        ceramic.law = sprayside_solver::library::TemperatureLaw::Constant;
        layer.material = Arc::new(ceramic);
    }
    let curves_of = stated.spray.clone();
    stated.spray = Spray::Prescribed(PrescribedSpray {
        base: PrescribedHtc::Uniform(9000.0),
        patches: Vec::new(),
    });
    let mesh = even_mesh(&stated, 1e-3);
    let cells = mesh.plane.nx() * mesh.plane.ny();
    let options = SteadyOptions { relative_tolerance: 1e-13, ..SteadyOptions::default() };
    let linear = steady::solve_on_mesh(&stated, mesh.clone(), None, &options).unwrap();

    // The same coefficient through the boiling curve: saturation far away, nothing to burn out.
    let mut nozzles = stated.clone();
    nozzles.spray = curves_of;
    let liquid = Arc::new(Liquid::new(FilmTable::new(100.0, |_| 3.0), 1e6));
    let curve = SurfaceCurve {
        wetted_share: 1.0,
        single_phase: 3000.0,
        boiling: 1.0,
        critical_W_m2: f64::INFINITY,
        dry_htc_W_m2K: 0.0,
    };
    let Spray::Correlated(spray) = &nozzles.spray else { panic!("the case has nozzles") };
    let model = SprayModel::new(spray, &nozzles.coolant).unwrap();
    let field = model.flux(&mesh.plane.x_lines_m, &mesh.plane.y_lines_m).unwrap();
    let law = WetLaw::Correlated {
        field: Box::new(field),
        curves: CellCurves { liquid, curves: vec![curve; cells] },
    };
    let boiling = steady::solve_with_law(&nozzles, mesh, law, None, &options).unwrap();
    assert_eq!(linear.rise_K.len(), boiling.rise_K.len());
    let largest = linear.rise_K.iter().copied().fold(0.0, f64::max);
    for (a, b) in linear.rise_K.iter().zip(&boiling.rise_K) {
        assert!((a - b).abs() < 1e-9 * largest, "{a} {b}");
    }
}

#[test]
fn highly_conducting_module_is_the_lumped_balance() {
    let mut lumped = module(1.0);
    let mut conductor = (*lumped.layers[0].material).clone();
    conductor.conductivity_W_mK = [1e7; 3];
    conductor.law = sprayside_solver::library::TemperatureLaw::Constant;
    let conductor = Arc::new(conductor);
    for die in &mut lumped.die {
        die.material = Arc::clone(&conductor);
    }
    lumped.layers[0].material = conductor;
    let mesh = even_mesh(&lumped, 1e-3);
    let (x, y) = (Arc::clone(&mesh.plane.x_lines_m), Arc::clone(&mesh.plane.y_lines_m));
    let options = SteadyOptions { relative_tolerance: 1e-8, ..SteadyOptions::default() };
    let solution = steady::solve_on_mesh(&lumped, mesh, None, &options).unwrap();

    // One temperature for all: the sum of the curves and of the board equals the power.
    let Spray::Correlated(spray) = &lumped.spray else { panic!("the case has nozzles") };
    let model = SprayModel::new(spray, &lumped.coolant).unwrap();
    let field = model.flux(&x, &y).unwrap();
    let curves = model.curves(&field, Band::Nominal);
    let board = lumped.board.htc_W_m2K * lumped.size_m[0] * lumped.size_m[1];
    let board_rise = lumped.board.temperature_K - lumped.coolant.inlet_K;
    let heat = |rise: f64| {
        (0..field.flux_m_s.len())
            .map(|c| field.cell_area_m2(c) * curves.flux(c, rise).0)
            .sum::<f64>()
            + board * (rise - board_rise)
    };
    let (mut low, mut high) = (0.0, 100.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if heat(middle) < lumped.total_power_W() { low = middle } else { high = middle }
    }
    for rise in &solution.rise_K {
        assert!((rise / low - 1.0).abs() < 1e-4, "{rise} is not {low}");
    }
}

#[test]
fn doubling_every_flow_never_raises_a_junction_temperature() {
    let mut flows = module(1.0);
    let mut before: Option<SteadyResult> = None;
    for _ in 0..5 {
        let result = solve(&flows);
        if let Some(before) = before {
            for (old, new) in before.junctions.iter().zip(&result.junctions) {
                assert!(
                    new.max_K < old.max_K && new.mean_K < old.mean_K,
                    "{}: {} after {}",
                    new.name,
                    new.max_K,
                    old.max_K
                );
                assert!(new.chf_margin > old.chf_margin);
            }
        }
        before = Some(result);
        for nozzle in nozzles_of(&mut flows) {
            nozzle.flow_m3_s *= 2.0;
        }
    }
}

#[test]
fn cold_spot_moves_with_its_nozzle() {
    // A narrow cone, so that the cold spot is sharp, over a die of even power.
    let mut base = module(0.5);
    for nozzle in nozzles_of(&mut base) {
        nozzle.cone_rad = 22f64.to_radians();
    }
    let options = SteadyOptions::default();
    for shift in [[0.0, 0.0], [2.0, 0.0], [-1.5, 1.0], [0.0, -2.0]] {
        let mut moved = base.clone();
        let target = [0.012 + shift[0] * 1e-3, 0.015 + shift[1] * 1e-3];
        nozzles_of(&mut moved)[0].at_m = target;
        let solution =
            steady::solve_on_mesh(&moved, even_mesh(&moved, 0.5e-3), None, &options).unwrap();
        let coldest = coldest_on_die(&moved, &solution, 0);
        for axis in 0..2 {
            assert!((coldest[axis] - target[axis]).abs() < 0.8e-3, "{coldest:?} for {target:?}");
        }
    }
}

#[test]
fn mirrored_pattern_gives_mirrored_temperatures() {
    let mut left = module(1.0);
    left.die[1].power_W = left.die[0].power_W;
    nozzles_of(&mut left)[0].at_m = [0.0105, 0.0165];
    nozzles_of(&mut left)[0].tilt_rad = [0.10, -0.15];
    let mut right = left.clone();
    for nozzle in nozzles_of(&mut right) {
        nozzle.at_m[0] = 0.040 - nozzle.at_m[0];
        nozzle.tilt_rad[1] = -nozzle.tilt_rad[1];
    }
    let (a, b) = (solve(&left), solve(&right));
    for (j, k) in [(0, 1), (1, 0)] {
        assert!((a.junctions[j].max_K - b.junctions[k].max_K).abs() < 1e-6);
        assert!((a.junctions[j].mean_K - b.junctions[k].mean_K).abs() < 1e-6);
    }
    let (rows, columns) = a.surface_K.values.dim();
    for j in 0..rows {
        for i in 0..columns {
            let mirrored = b.surface_K.values[[j, columns - 1 - i]];
            assert!((a.surface_K.values[[j, i]] - mirrored).abs() < 1e-6);
        }
    }
}

#[test]
fn overloaded_die_is_told_burnt_out_with_its_place() {
    let mut hot = module(1.0);
    hot.die[0].power_W = 150.0;
    let result = solve(&hot);
    let die = &result.junctions[0];
    assert!(die.chf_margin.is_some_and(|margin| margin < 1.0), "{die:?}");
    assert!(die.max_K.is_finite());
    let spray = result.spray.expect("a spray of nozzles");
    assert_eq!(spray.burnt_out[0].name, "A");
    // The other die keeps its margin.
    assert!(result.junctions[1].chf_margin.is_some_and(|margin| margin > 1.0));
}

#[test]
fn grossly_overloaded_die_has_no_steady_state_and_is_named() {
    for power_W in [300.0, 500.0, 2000.0, 1e5] {
        let mut hot = module(1.0);
        hot.die[0].power_W = power_W;
        let error = steady::solve(&hot, &SteadyOptions::default(), &mut |_| {}).unwrap_err();
        assert!(matches!(error, steady::SteadyError::BurnOut { .. }), "{error}");
        assert!(error.to_string().contains("die A"), "{error}");
    }
}

/// Facts of the trade: common practice, no source. Four die of 100 W at 45 W/cm² under four
/// nozzles each and four of 40 W under one nozzle each on one module, 64 such modules on about
/// sixteen US gallons a minute of perfluorohexane: every die stays below burn-out, and the
/// liquid leaves with a quality well below one.
#[test]
fn usual_module_keeps_below_burn_out_with_a_low_exit_quality() {
    let flow_mL_s = 16.0 * 3785.411784 / 60.0 / 64.0 / 20.0;
    let mut text = format!(
        r#"
title = "Four and four"
[module]
size_mm = [100.0, 60.0]
[[module.layer]]
name = "core"
material = "alumina-96"
thickness_mm = 2.0
[die_type.large]
size_mm = [15.0, 15.0]
thickness_mm = 0.75
material = "silicon"
active_face = "down"
[die_type.small]
size_mm = [9.5, 9.5]
thickness_mm = 0.75
material = "silicon"
active_face = "down"
[coolant]
fluid = "perfluorohexane"
inlet_C = 25.0
pressure_kPa = 101.325
[spray]
model = "correlated"
modules_in_system = 64
[nozzle_type.n]
cone_deg = 55.0
orifice_mm = 0.40
flow_mL_s = {flow_mL_s}
pressure_drop_kPa = 200.0
[[nozzle_group]]
type = "n"
over = "large"
offsets_mm = [[-3.6, -3.6], [3.6, -3.6], [-3.6, 3.6], [3.6, 3.6]]
standoff_mm = 9.0
[[nozzle_group]]
type = "n"
over = "small"
offsets_mm = [[0.0, 0.0]]
standoff_mm = 11.0
[board]
temperature_C = 40.0
htc_W_m2K = 50.0
[mesh]
cell_mm = 1.0
"#
    );
    for (name, kind, x, y, power) in [
        ("L0", "large", 20.0, 18.0, 100.0),
        ("L1", "large", 40.0, 18.0, 100.0),
        ("L2", "large", 60.0, 18.0, 100.0),
        ("L3", "large", 80.0, 18.0, 100.0),
        ("S0", "small", 20.0, 42.0, 40.0),
        ("S1", "small", 40.0, 42.0, 40.0),
        ("S2", "small", 60.0, 42.0, 40.0),
        ("S3", "small", 80.0, 42.0, 40.0),
    ] {
        text += &format!(
            "[[die]]\nname = \"{name}\"\ntype = \"{kind}\"\nat_mm = [{x:?}, {y:?}]\npower_W = {power:?}\n"
        );
    }
    let module = match case::read(&text, "usual.toml", &|_| Err(String::new())) {
        Ok(case) => case.module,
        Err(findings) => {
            panic!("{:?}", findings.iter().map(ToString::to_string).collect::<Vec<_>>())
        }
    };
    let result = solve(&module);
    for die in &result.junctions {
        let margin = die.chf_margin.expect("nozzles wet every die");
        assert!(margin > 1.5, "{}: margin {margin}", die.name);
    }
    let spray_result = result.spray.as_ref().expect("a spray of nozzles");
    assert!(spray_result.burnt_out.is_empty());
    for die in &module.die {
        let coverage = die_coverage(&spray_result.field, die);
        assert!(coverage.wetted_share > 0.9, "{coverage:?}");
        for patch in dry_patches(&spray_result.field, die) {
            assert!(patch.area_m2 < 0.05 * coverage.area_m2, "{patch:?}");
        }
    }
    let Spray::Correlated(spray) = &module.spray else { panic!("the case has nozzles") };
    let model = SprayModel::new(spray, &module.coolant).unwrap();
    let budget = LiquidBudget::new(
        &model,
        spray,
        result.balance.to_spray_W,
        spray_result.field.landed_m3_s() / spray_result.field.flow_m3_s(),
        1.0,
    );
    assert!((budget.system_flow_m3_s / (16.0 * 3.785_411_784e-3 / 60.0) - 1.0).abs() < 1e-9);
    assert!(budget.exit_quality < 0.3, "{budget:?}");
    assert_eq!(budget.excess_W, 0.0);
}
