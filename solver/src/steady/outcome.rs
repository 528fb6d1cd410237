//! What the last round of a refinement tells: junctions, fields, model range, spray side.

use super::refine::{Round, Statistics, statistics_of};
use super::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve_with_law};
use crate::conduction::Network;
use crate::conduction::faces::heat_balance;
use crate::module::{Module, Spray};
use crate::results::{
    RefinementLevel, SprayResult, SteadyResult, correlated, hot_spots, junctions, plane_field,
    sheet_fields, spray_result,
};
use crate::spray::{Band, SprayModel};

/// Junction maxima with the spray at the two ends of its band: the change is taken on the half
/// grid and added to the reported temperature.
pub(super) fn model_ranges(
    module: &Module,
    options: &SteadyOptions,
    round: &Round,
    warnings: &mut Vec<String>,
) -> Vec<Option<[f64; 2]>> {
    let n = round.statistics.len();
    if matches!(round.half.law, WetLaw::Prescribed(_)) {
        return vec![None; n];
    }
    let end = |band: Band| -> Result<Statistics, SteadyError> {
        let law = round.half.law.in_band(module, band)?;
        let start = Some(round.half.rise_K.clone());
        let solution = solve_with_law(module, round.half.mesh.clone(), law, start, options)?;
        Ok(statistics_of(module, &solution))
    };
    let inlet_K = module.coolant.inlet_K;
    match (end(Band::Favourable), end(Band::Unfavourable)) {
        (Ok(low), Ok(high)) => (0..n)
            .map(|k| {
                let shift = inlet_K + round.statistics[k].max_K - round.half_statistics[k].max_K;
                Some([low[k].max_K + shift, high[k].max_K + shift])
            })
            .collect(),
        (_, Err(error)) | (Err(error), _) => {
            warnings.push(format!(
                "no steady state at one end of the correlations' band, so no model range is given: {error}"
            ));
            vec![None; n]
        }
    }
}

/// The spray side of `solution`, and what strains it as warnings; `None` with stated
/// coefficients.
pub(super) fn spray_of(
    module: &Module,
    solution: &GridSolution,
    warnings: &mut Vec<String>,
) -> Result<Option<SprayResult>, SteadyError> {
    let (Spray::Correlated(spray), Some((field, _))) = (&module.spray, correlated(solution)) else {
        return Ok(None);
    };
    let model = SprayModel::new(spray, &module.coolant)?;
    warnings.extend(model.warnings());
    let network = Network::new(module, &solution.mesh);
    let result = spray_result(&network, solution, model.notes(field));
    for burnt in result.iter().flat_map(|r| &r.burnt_out) {
        warnings.push(format!(
            "burn-out on {}: {:.2} mm² beyond critical heat flux, margin {:.2} at x = {:.2} mm, y = {:.2} mm",
            burnt.name,
            burnt.area_m2 * 1e6,
            burnt.margin,
            burnt.at_m[0] * 1e3,
            burnt.at_m[1] * 1e3
        ));
    }
    Ok(result)
}

/// Everything that the last round tells, but for the spray side.
pub(super) fn result(
    module: &Module,
    round: &Round,
    levels: Vec<RefinementLevel>,
    warnings: Vec<String>,
) -> SteadyResult {
    let solution = &round.fine;
    let network = Network::new(module, &solution.mesh);
    let inlet_K = module.coolant.inlet_K;
    let wet = &solution.wet;
    SteadyResult {
        junctions: junctions(
            module,
            &network,
            solution,
            &round.statistics,
            &round.uncertainty_K.iter().map(|d| [d.hot_K, d.cold_K]).collect::<Vec<_>>(),
        ),
        hot_spots: hot_spots(module, &network, solution, &round.statistics),
        balance: heat_balance(&network, solution.factors.as_deref(), &solution.rise_K, wet),
        surface_K: plane_field(&network, wet.rise_K.iter().map(|r| inlet_K + r)),
        spray_flux_W_m2: plane_field(&network, wet.flux_W_m2.iter().copied()),
        htc_W_m2K: plane_field(
            &network,
            wet.flux_W_m2.iter().zip(&wet.rise_K).zip(&wet.tangent).map(|((q, r), t)| {
                // Where the surface sits at the inlet's temperature the ratio has no meaning;
                // the slope is its limit.
                if r.abs() > 1e-9 { q / r } else { t.slope_W_m2K }
            }),
        ),
        sheets: sheet_fields(module, &network, solution),
        spray: None,
        unknowns: solution.mesh.unknowns(),
        iterations: solution.iterations,
        outer_iterations: solution.outer_iterations,
        residual_relative: solution.residual_relative,
        warnings,
        levels,
    }
}
