use super::super::clog::{Manifold, with_blocked};
use super::super::testing::{held, prescribed, tight, with_nozzles};
use super::*;
use crate::steady::{solve_keeping, solve_on_mesh};

fn coarse(mut module: Module) -> Module {
    module.mesh.accuracy_K = 2.0;
    module
}

fn nominal_of(module: &Module) -> (SteadyResult, GridSolution) {
    solve_keeping(module, &SteadyOptions::default(), &mut |_| ()).expect("a steady state")
}

/// Changes of every kind that leaves the outlines alone.
fn changed(module: &Module) -> Vec<Module> {
    let mut changed = Vec::new();
    let mut change = |f: &dyn Fn(&mut Module)| {
        let mut other = module.clone();
        f(&mut other);
        changed.push(other);
    };
    change(&|m| m.die[0].power_W *= 1.2);
    change(&|m| m.coolant.inlet_K += 6.0);
    change(&|m| m.die[1].thickness_m *= 0.8);
    change(&|m| m.layers[0].thickness_m *= 1.1);
    change(&|m| m.board.htc_W_m2K *= 3.0);
    if matches!(module.spray, Spray::Correlated(_)) {
        changed.push(with_blocked(module, &[2], Manifold::KeepsEach));
        changed.push(with_blocked(module, &[0], Manifold::KeepsTotal));
    }
    changed
}

#[test]
fn the_nominal_point_is_the_answer_of_solve_to_the_last_bit() {
    for module in [coarse(prescribed()), coarse(with_nozzles()), coarse(held(prescribed()))] {
        let (result, solution) = nominal_of(&module);
        let nominal = Nominal::new(&module, &result, &solution).unwrap();
        let point = nominal.point(&module, None, &mut Lent::default()).unwrap();
        for (p, j) in point.junctions.iter().zip(&result.junctions) {
            assert_eq!((p.max_K, p.mean_K), (j.max_K, j.mean_K), "{}", j.name);
            assert_eq!((p.chf_margin, p.wetted_share), (j.chf_margin, j.wetted_share));
            assert_eq!(p.chf_margin_uncertainty, j.chf_margin_uncertainty);
            assert!(p.uncertainty_K >= j.uncertainty_K);
            assert!(p.uncertainty_K <= 1.001 * j.uncertainty_K + 2e-3);
        }
        assert_eq!(point.iterations, 0);
    }
}

/// On the nominal mesh, against solves of their own from nothing, to a residual ten thousand
/// times smaller; with stated coefficients also against full refined solves, inside both
/// uncertainties.
#[test]
fn points_are_solves_of_their_own_on_the_same_mesh_and_agree_with_refined_ones() {
    for module in [coarse(prescribed()), coarse(with_nozzles()), coarse(held(prescribed()))] {
        let (result, solution) = nominal_of(&module);
        let nominal = Nominal::new(&module, &result, &solution).unwrap();
        let mut lent = Lent::default();
        for (k, changed) in changed(&module).iter().enumerate() {
            let point = nominal.point(changed, None, &mut lent).unwrap();
            let mesh = Mesh::new(changed, solution.mesh.plane.clone(), &nominal.slicing);
            let own = solve_on_mesh(changed, mesh, None, &tight()).unwrap();
            let readings = nominal.readings(changed, &own);
            for (p, own) in point.junctions.iter().zip(&readings) {
                let apart = (p.on_mesh_K - own.max_K).abs();
                assert!(apart < 2e-5, "change {k}, {}: {apart:e} K", own.name);
            }
            if matches!(changed.spray, Spray::Correlated(_)) {
                continue;
            }
            let full = solve(changed, &SteadyOptions::default(), &mut |_| ()).unwrap();
            for (p, full) in point.junctions.iter().zip(&full.junctions) {
                let apart = (p.max_K - full.max_K).abs();
                let allowed = p.uncertainty_K + full.uncertainty_K;
                assert!(apart <= allowed, "change {k}, {}: {apart} > {allowed} K", full.name);
            }
        }
    }
}

#[test]
fn a_point_does_not_depend_on_the_points_before_it() {
    let module = coarse(with_nozzles());
    let (result, solution) = nominal_of(&module);
    let nominal = Nominal::new(&module, &result, &solution).unwrap();
    let changed = changed(&module);
    let mut lent = Lent::default();
    let in_turn: Vec<SolvedPoint> =
        changed.iter().map(|m| nominal.point(m, None, &mut lent).unwrap()).collect();
    for (m, former) in changed.iter().zip(&in_turn).rev() {
        assert_eq!(&nominal.point(m, None, &mut Lent::default()).unwrap(), former);
        assert_eq!(&nominal.point(m, None, &mut lent).unwrap(), former);
    }
}

#[test]
fn a_die_that_moved_is_solved_on_a_mesh_of_its_own() {
    let module = coarse(prescribed());
    let (result, solution) = nominal_of(&module);
    let nominal = Nominal::new(&module, &result, &solution).unwrap();
    let mut moved = module.clone();
    let rect = &mut moved.die[2].rect;
    (rect.x0_m, rect.x1_m) = (rect.x0_m + 5e-4, rect.x1_m + 5e-4);
    assert!(!nominal.has_place_for(&moved));
    let point = nominal.point(&moved, None, &mut Lent::default()).unwrap();
    let full = solve(&moved, &SteadyOptions::default(), &mut |_| ()).unwrap();
    assert_eq!(point.junctions[2].max_K, full.junctions[2].max_K);
}

#[test]
fn numbers_bring_a_point_back_to_the_bit() {
    let module = coarse(with_nozzles());
    let (result, solution) = nominal_of(&module);
    let nominal = Nominal::new(&module, &result, &solution).unwrap();
    let point = nominal.point(&module, None, &mut Lent::default()).unwrap();
    let numbers = point.to_numbers();
    assert_eq!(SolvedPoint::from_numbers(&numbers), Some(point));
    assert_eq!(SolvedPoint::from_numbers(&numbers[1..]), None);
}

/// As with a limit, what is kept only within the uncertainty is not kept.
#[test]
fn a_margin_to_burn_out_below_its_uncertainty_is_broken() {
    let module = coarse(with_nozzles());
    let (result, solution) = nominal_of(&module);
    let nominal = Nominal::new(&module, &result, &solution).unwrap();
    let mut point = nominal.point(&module, None, &mut Lent::default()).unwrap();
    for junction in &mut point.junctions {
        (junction.limit_K, junction.chf_margin) = (None, Some(1.014));
        junction.chf_margin_uncertainty = Some(0.010);
    }
    point.least_chf_margin = Some(1.014);
    assert!(!point.is_broken());
    point.junctions[0].chf_margin_uncertainty = Some(0.021);
    assert!(point.is_broken() && point.junctions[0].is_broken());
    assert!(!point.junctions[1].is_broken());
    assert!((point.sure_chf_margin().unwrap() - 0.993).abs() < 1e-12);
}
