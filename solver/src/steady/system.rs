//! The system of equations at a solution, for other programs.

use super::GridSolution;
use crate::conduction::assembly::assemble;
use crate::conduction::{Network, Operator};
use crate::module::Module;

/// Operator A (W/K) and right-hand side b (W) of `A x = b` for the rises x above the coolant inlet
/// (K), linearised at the solution: with constant conductivities and stated coefficients the
/// equations themselves, otherwise their tangent there, which the solution fulfils too.
///
/// The unknowns are those of [`GridSolution::rise_K`]: the sheets of the substrate from the board
/// side up, each row by row from the lower left, then every die's island in the same way.
pub fn system_at(module: &Module, solution: &GridSolution) -> (Operator, Vec<f64>) {
    let network = Network::new(module, &solution.mesh);
    assemble(&network, solution.factors.as_deref(), &solution.wet.tangent)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::case::{read, starter};
    use crate::linear::norm;
    use crate::steady::{SteadyOptions, solve_keeping, solve_on_mesh};
    use crate::study::testing;

    /// Each outer iteration is solved no more closely than it gains: were all of them solved to the
    /// last tolerance, twice as many linear iterations would be spent.
    #[test]
    fn outer_iterations_cost_few_linear_ones() {
        let module = testing::with_nozzles();
        let solution =
            solve_on_mesh(&module, testing::mesh(&module), None, &SteadyOptions::default())
                .expect("a steady state");
        assert!(solution.residual_relative < 1e-9);
        assert!(solution.outer_iterations <= 9 && solution.iterations <= 24);
    }

    #[test]
    fn the_solution_fulfils_the_system_that_is_handed_out() {
        let text = starter().replace("accuracy_K = 0.1", "cell_mm = 2.0");
        let no_files = |name: &str| Err(format!("no {name}"));
        let module = read(&text, "case.toml", &no_files).expect("a case").module;
        let (_, solution) =
            solve_keeping(&module, &SteadyOptions::default(), &mut |_| {}).expect("a result");
        let (operator, rhs) = system_at(&module, &solution);
        let residual = operator.residual(&rhs, &solution.rise_K);
        assert!(norm(&residual) < 1e-8 * norm(&rhs));
    }
}
