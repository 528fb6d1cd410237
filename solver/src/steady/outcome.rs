//! What the last round of a refinement tells: junctions, fields, model range, spray side.

use super::rounds::{Round, Statistics, statistics_of};
use super::{GridSolution, SteadyError, SteadyOptions, WetLaw, solve_with_law};
use crate::conduction::Network;
use crate::conduction::faces::heat_balance;
use crate::module::{Module, Spray};
use crate::results::{
    FaceDoubt, FaceStatistics, RefinementLevel, SprayResult, SteadyResult, correlated, hot_spots,
    junctions, plane_field, sheet_fields, spray_result,
};
use crate::spray::{Band, SprayModel};

/// Beyond this no solder is solid, and the tables end that the laws of conductivity were fitted to
/// (silicon: 300 to 700 K, see the library's sources), K.
const HOTTEST_K: f64 = 700.0;

/// Junction maxima with the spray at the two ends of its band: the change is taken on the half
/// grid and added to the reported temperature. Where a source is burnt out, as solved or at the
/// unfavourable end, its upper end is infinite: the curve of the spray does not follow film
/// boiling, so that the temperature it gives is no bound.
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
    let low = match end(Band::Favourable) {
        Ok(low) => low,
        Err(error) => {
            warnings.push(format!(
                "no steady state at the favourable end of the correlations' band, so no model range is given: {error}"
            ));
            return vec![None; n];
        }
    };
    let high = match end(Band::Unfavourable) {
        Ok(high) => Some(high),
        Err(error) => {
            warnings.push(format!(
                "no steady state at the unfavourable end of the correlations' band, so the model range has no upper end: {error}"
            ));
            None
        }
    };
    let burnt_out = |s: &FaceStatistics| s.chf.is_some_and(|chf| chf.least < 1.0);
    let mut unbounded = Vec::new();
    let names = module.die.iter().map(|d| &d.name).chain(module.heaters.iter().map(|h| &h.name));
    let ranges = names
        .enumerate()
        .map(|(k, name)| {
            let shift = inlet_K + round.statistics[k].max_K - round.half_statistics[k].max_K;
            let upper = match &high {
                None => f64::INFINITY,
                Some(high) if burnt_out(&round.statistics[k]) || burnt_out(&high[k]) => {
                    unbounded.push(name.as_str());
                    f64::INFINITY
                }
                Some(high) => high[k].max_K + shift,
            };
            // A burnt-out surface swings between grids: nothing to carry over to the lower end.
            let lower = if burnt_out(&round.statistics[k]) { inlet_K } else { shift };
            Some([low[k].max_K + lower, upper])
        })
        .collect();
    if !unbounded.is_empty() {
        warnings.push(format!(
            "the model range has no upper end on {}: at the unfavourable end of the correlations' band, if not before, the spray there is beyond critical heat flux, and what follows burn-out is not modelled",
            named(&unbounded)
        ));
    }
    ranges
}

/// The first few names, and how many more.
fn named(names: &[&str]) -> String {
    const MOST: usize = 8;
    let first = names[..names.len().min(MOST)].join(", ");
    match names.len().saturating_sub(MOST) {
        0 => first,
        more => format!("{first} and {more} more"),
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
    mut warnings: Vec<String>,
) -> SteadyResult {
    let solution = &round.fine;
    let network = Network::new(module, &solution.mesh);
    let inlet_K = module.coolant.inlet_K;
    let wet = &solution.wet;
    let doubts = round.uncertainty_K.iter().map(|d| FaceDoubt {
        max_K: d.hot_K,
        mean_K: d.mean_K,
        min_K: d.cold_K,
        chf_margin: d.chf.map(|chf| chf.doubt),
    });
    let junctions =
        junctions(module, &network, solution, &round.statistics, &doubts.collect::<Vec<_>>());
    let beyond = junctions.iter().filter(|junction| junction.max_K > HOTTEST_K);
    let beyond: Vec<&str> = beyond.map(|junction| junction.name.as_str()).collect();
    if !beyond.is_empty() {
        warnings.push(format!(
            "hotter than {:.0} C on {}: solder has melted and the laws of conductivity have ended long before; the temperatures say no more than that it cannot run so",
            HOTTEST_K - 273.15,
            named(&beyond)
        ));
    }
    SteadyResult {
        junctions,
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
