//! The spray of one module surveyed: what the nozzles lay down, how far every die is from
//! burn-out, what the loop carries. The numbers are the solver's; this puts them side by side.

use sprayside_solver::module::{CorrelatedSpray, Module, Spray};
use sprayside_solver::results::SteadyResult;
use sprayside_solver::spray::{
    Band, CorrelationNote, DieCoverage, DieHeat, DryPatch, FluxField, Footprint, LiquidBudget,
    SprayError, SprayModel, die_coverage, die_heat, dry_patches,
};

/// Cells along the longer side of the module when nothing is solved.
const CELLS_WITHOUT_SOLVE: f64 = 600.0;

/// A surveyed spray.
#[derive(Debug)]
pub struct Survey {
    /// Flux on a grid fine enough for a picture, whatever was solved.
    pub picture: FluxField,
    /// One entry a die.
    pub die: Vec<DieCoverage>,
    /// One entry a die; `None` when nothing was solved.
    pub heat: Option<Vec<DieHeat>>,
    /// Largest first.
    pub dry_patches: Vec<DryPatch>,
    /// The correlations as used.
    pub notes: Vec<CorrelationNote>,
    /// What strains the liquid's table or the correlations.
    pub warnings: Vec<String>,
    /// One entry a nozzle.
    pub footprints: Vec<Footprint>,
    /// The liquid budget; without a solve, for all the module's power.
    pub budget: LiquidBudget,
}

impl Survey {
    /// The geometric part alone. `None` for a module whose coefficients are stated.
    pub fn without_solve(module: &Module) -> Result<Option<Survey>, SprayError> {
        let Spray::Correlated(spray) = &module.spray else { return Ok(None) };
        let model = SprayModel::new(spray, &module.coolant)?;
        let field = fine_field(module, &model)?;
        let heat_W = module.total_power_W();
        let survey = Survey::of_field(module, spray, &model, &field, heat_W)?;
        Ok(Some(Survey { notes: model.notes(&field), picture: field, ..survey }))
    }

    /// All of it, from a solved module. `None` for a module whose coefficients are stated.
    pub fn of_result(module: &Module, result: &SteadyResult) -> Result<Option<Survey>, SprayError> {
        let (Spray::Correlated(spray), Some(sprayed)) = (&module.spray, &result.spray) else {
            return Ok(None);
        };
        let model = SprayModel::new(spray, &module.coolant)?;
        let field = &sprayed.field;
        let curves = model.curves(field, Band::Nominal);
        let rise_K: Vec<f64> =
            result.surface_K.values.iter().map(|t| t - module.coolant.inlet_K).collect();
        let flux_W_m2: Vec<f64> = result.spray_flux_W_m2.values.iter().copied().collect();
        let heat = module
            .die
            .iter()
            .map(|die| die_heat(field, &curves, die, &rise_K, &flux_W_m2))
            .collect();
        let survey = Survey::of_field(module, spray, &model, field, result.balance.to_spray_W)?;
        let picture = fine_field(module, &model)?;
        Ok(Some(Survey { notes: sprayed.notes.clone(), heat: Some(heat), picture, ..survey }))
    }

    /// What the flux on a grid tells, without notes and heat; the picture is that same grid.
    fn of_field(
        module: &Module,
        spray: &CorrelatedSpray,
        model: &SprayModel,
        field: &FluxField,
        heat_W: f64,
    ) -> Result<Survey, SprayError> {
        let die: Vec<DieCoverage> = module.die.iter().map(|die| die_coverage(field, die)).collect();
        let mut dry: Vec<DryPatch> =
            module.die.iter().flat_map(|die| dry_patches(field, die)).collect();
        dry.sort_by(|a, b| b.area_m2.total_cmp(&a.area_m2));
        let footprints =
            model.nozzles().iter().map(Footprint::of).collect::<Result<Vec<_>, _>>()?;
        let flow = field.flow_m3_s();
        let share = |part: f64| if flow > 0.0 { part / flow } else { 0.0 };
        let on_die = die.iter().map(|die| die.flow_m3_s).sum();
        let budget =
            LiquidBudget::new(model, spray, heat_W, share(field.landed_m3_s()), share(on_die));
        Ok(Survey {
            picture: field.clone(),
            die,
            heat: None,
            dry_patches: dry,
            notes: Vec::new(),
            warnings: model.warnings(),
            footprints,
            budget,
        })
    }

    /// What the budget alone calls for.
    pub fn budget_warnings(&self) -> Vec<String> {
        let budget = &self.budget;
        let mut warnings = Vec::new();
        if budget.excess_W > 0.0 {
            warnings.push(format!(
                "{:.0} W more than all the liquid can take, even if every drop evaporates",
                budget.excess_W
            ));
        } else if budget.exit_quality > budget.exit_quality_max {
            warnings.push(format!(
                "exit quality {:.2} is above the {:.2} allowed (exit_quality_max): the loop needs \
                 {:.3} mL/s instead of {:.3} mL/s",
                budget.exit_quality,
                budget.exit_quality_max,
                budget.least_flow_m3_s * 1e6,
                budget.flow_m3_s * 1e6
            ));
        }
        warnings
    }
}

/// Flux on a grid fine enough for a picture.
fn fine_field(module: &Module, model: &SprayModel) -> Result<FluxField, SprayError> {
    model.flux(&snapped_lines(module, 0), &snapped_lines(module, 1))
}

/// Lines along an axis on every edge of a die, with equal steps between.
fn snapped_lines(module: &Module, axis: usize) -> Vec<f64> {
    let length = module.size_m[axis];
    let step = module.size_m[0].max(module.size_m[1]) / CELLS_WITHOUT_SOLVE;
    let mut edges = vec![0.0, length];
    for die in &module.die {
        let rect = &die.rect;
        edges.extend(if axis == 0 { [rect.x0_m, rect.x1_m] } else { [rect.y0_m, rect.y1_m] });
    }
    edges.retain(|edge| (0.0..=length).contains(edge));
    edges.sort_by(f64::total_cmp);
    // Edges that are meant to be one differ by rounding at most.
    edges.dedup_by(|b, a| *b - *a < 1e-9 * length);
    let mut lines = vec![0.0];
    for pair in edges.windows(2) {
        let pieces = ((pair[1] - pair[0]) / step).ceil().max(1.0) as usize;
        for piece in 1..pieces {
            lines.push(pair[0] + (pair[1] - pair[0]) * piece as f64 / pieces as f64);
        }
        lines.push(pair[1]);
    }
    lines
}
