//! Checks that a result must stand before anybody is told a verdict.

use super::{PlaneField, SteadyResult};
use crate::module::Module;

/// Residual and imbalance above which a solution is not believed: far above what a converged
/// solve leaves, far below what would show in a printed digit.
const LARGEST_RELATIVE: f64 = 1e-6;

/// What is wrong with a result, in words; empty for one that can be believed.
///
/// Independent of how it was found: every temperature is a number, the residual and the heat
/// balance are small, and the maximum principle holds. That is, since heat is only released (never
/// absorbed) inside, nothing is colder than the coldest surroundings, and nothing is hotter than
/// the hottest junction or the warmest surroundings (textbook property of conduction). Printed
/// junctions are extrapolated between grids and the fields are not: the junctions as the grids have
/// them count too, and the uncertainty of the printed ones.
pub fn doubts(module: &Module, result: &SteadyResult) -> Vec<String> {
    let mut doubts = Vec::new();
    for junction in &result.junctions {
        let values = [junction.max_K, junction.mean_K, junction.min_K, junction.uncertainty_K];
        if values.iter().any(|value| !value.is_finite()) {
            doubts.push(format!("the temperature of {} is not a number", junction.name));
        }
    }
    let residual = result.residual_relative;
    if residual.is_nan() || residual > LARGEST_RELATIVE {
        doubts.push(format!("the equations are left with a residual of {residual:.1e}"));
    }
    let imbalance = result.balance.imbalance_relative();
    if imbalance.is_nan() || imbalance > LARGEST_RELATIVE {
        doubts.push(format!("heat in and heat out differ by {imbalance:.1e} of the heat"));
    }
    let mut surroundings_K = vec![module.coolant.inlet_K];
    if module.board.htc_W_m2K > 0.0 {
        surroundings_K.push(module.board.temperature_K);
    }
    if module.edge.htc_W_m2K > 0.0 {
        surroundings_K.push(module.edge.temperature_K);
    }
    let coldest_K = surroundings_K.iter().copied().fold(f64::INFINITY, f64::min);
    let warmest_K = surroundings_K.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let hottest_K = result
        .junctions
        .iter()
        .map(|junction| junction.max_K + junction.uncertainty_K)
        .chain(result.levels.iter().flat_map(|level| level.junction_max_K.iter().copied()))
        .fold(warmest_K, f64::max);
    let slack_K = 1e-6 * (hottest_K - coldest_K).abs().max(1.0);
    let fields = result
        .sheets
        .iter()
        .map(|sheet| (sheet.name.as_str(), &sheet.temperature_K))
        .chain([("the exposed surface", &result.surface_K)]);
    for (name, field) in fields {
        let (low_K, high_K) = range(field);
        if low_K < coldest_K - slack_K {
            doubts.push(format!(
                "{name} is {:.1e} K colder than anything around the module",
                coldest_K - low_K
            ));
        }
        if high_K > hottest_K + slack_K {
            doubts.push(format!("{name} is {:.1e} K hotter than any junction", high_K - hottest_K));
        }
    }
    doubts
}

/// Lowest and highest value of a field; cells without a value do not count.
fn range(field: &PlaneField) -> (f64, f64) {
    field
        .values
        .iter()
        .filter(|value| !value.is_nan())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::{read, starter};
    use crate::steady::{SteadyOptions, solve};

    fn solved() -> (Module, SteadyResult) {
        let text = starter().replace("accuracy_K = 0.1", "cell_mm = 2.0");
        let no_files = |name: &str| Err(format!("no {name}"));
        let module = read(&text, "case.toml", &no_files).expect("a case").module;
        let result = solve(&module, &SteadyOptions::default(), &mut |_| {}).expect("a result");
        (module, result)
    }

    #[test]
    fn a_sound_result_raises_no_doubt_and_each_fault_raises_its_own() {
        let (module, sound) = solved();
        assert_eq!(doubts(&module, &sound), Vec::<String>::new());
        let with = |spoil: &dyn Fn(&mut SteadyResult)| {
            let mut result = sound.clone();
            spoil(&mut result);
            doubts(&module, &result).join("; ")
        };
        assert!(with(&|r| r.junctions[0].max_K = f64::NAN).contains("P0 is not a number"));
        assert!(with(&|r| r.residual_relative = 1e-3).contains("residual of 1.0e-3"));
        assert!(with(&|r| r.balance.to_spray_W += 1.0).contains("heat in and heat out"));
        assert!(with(&|r| r.surface_K.values[[0, 0]] = 290.0).contains("colder"));
        assert!(with(&|r| r.sheets[0].temperature_K.values[[0, 0]] = 400.0).contains("hotter"));
        assert!(with(&|r| r.surface_K.values[[0, 0]] = f64::INFINITY).contains("hotter"));
    }

    /// Rounding of a temperature next to a strong board is no imbalance; a milliwatt lost is.
    #[test]
    fn a_module_without_power_on_a_strong_board_is_believed() {
        let text = starter()
            .replace("accuracy_K = 0.1", "cell_mm = 2.0")
            .replace("htc_W_m2K = 120.0", "htc_W_m2K = 500000.0")
            .replace("htc_W_m2K = 9000.0", "htc_W_m2K = 0.0")
            .replace("htc_W_m2K = 12000.0", "htc_W_m2K = 0.0")
            .replace("power_W = 60.0", "power_W = 0.0")
            .replace("power_W = 55.0", "power_W = 0.0")
            .replace("power_W = 25.0", "power_W = 0.0")
            .replace("power_W = 8.0", "power_W = 0.0");
        let no_files = |name: &str| Err(format!("no {name}"));
        let module = read(&text, "case.toml", &no_files).expect("a case").module;
        let mut result = solve(&module, &SteadyOptions::default(), &mut |_| {}).expect("a result");
        assert_eq!(doubts(&module, &result), Vec::<String>::new());
        result.balance.to_board_W += 1e-3;
        assert!(doubts(&module, &result).join("; ").contains("heat in and heat out"));
    }
}
