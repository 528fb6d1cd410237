//! A spray made ready: drop sizes, the liquid's states and the correlations behind them.

use std::sync::Arc;

use rayon::prelude::*;

use super::curve::{FilmTable, Liquid};
use super::note::{Band, CorrelationNote, Status};
use super::{
    CellCurves, FluxField, SprayError, SurfaceCurve, boiling, critical_heat_flux, drop_size,
    flux_on_grid, single_phase,
};
use crate::library::{Fluid, FluidState};
use crate::module::{Coolant, CorrelatedSpray, Nozzle};

/// A correlated spray that can be laid on any grid.
///
/// Properties (common practice, the sources do not say): drop size with the liquid at the
/// nozzle and saturated vapour of the chamber around it; single phase with the liquid at the
/// film temperature, the mean of surface and nozzle temperature, not above saturation; boiling
/// and critical heat flux at saturation. The mass that lands is counted with the density at the
/// nozzle.
///
/// Every nozzle's surface lies at its stated stand-off: the small steps between die backs and
/// substrate are not followed.
#[derive(Debug, Clone)]
pub struct SprayModel {
    nozzles: Vec<Nozzle>,
    /// Sauter mean diameter of each nozzle's drops, m.
    pub drop_sizes_m: Vec<f64>,
    /// Liquid at the nozzle.
    pub inlet: FluidState,
    /// Liquid and vapour at the chamber's pressure.
    pub saturated: FluidState,
    /// T_sat - T_f, K.
    pub subcooling_K: f64,
    liquid: Arc<Liquid>,
    unwetted_htc_W_m2K: f64,
    /// Factor on the flux of every cell.
    coefficient_factor: f64,
    /// Whether the liquid is one of those that the correlations were made with.
    liquid_in_data: bool,
    /// Most subcooling in the data of this liquid, K.
    subcooling_limit_K: f64,
    fluid: Arc<Fluid>,
    pressure_Pa: f64,
}

/// Liquids of the correlations' data with their largest subcooling, K (from memory).
const DATA_LIQUIDS: [(&str, f64); 2] = [("perfluorohexane", 30.0), ("water", 80.0)];

/// A cell wetted by less than this share of its area counts as dry: the quotient of two such
/// slivers (an outline that only grazes the cell) is rounding, and would be a flux of any size.
const LEAST_WETTED_SHARE: f64 = 1e-6;

/// Subcooling that rounding may leave negative, K: a saturated feed.
const SATURATED_K: f64 = 1e-6;

impl SprayModel {
    /// Makes `spray` ready with the liquid of `coolant`.
    ///
    /// # Errors
    /// Without a fluid, with an inlet above saturation, or where a nozzle makes no sense; see
    /// [`SprayError`].
    pub fn new(spray: &CorrelatedSpray, coolant: &Coolant) -> Result<Self, SprayError> {
        let fluid = coolant.fluid.clone().ok_or(SprayError::NoFluid)?;
        let saturation_K = fluid.saturation_temperature_K(coolant.pressure_Pa);
        let subcooling_K = saturation_K - coolant.inlet_K;
        if subcooling_K.is_nan() || subcooling_K < -SATURATED_K {
            return Err(SprayError::InletAboveSaturation {
                inlet_K: coolant.inlet_K,
                saturation_K,
            });
        }
        let subcooling_K = subcooling_K.max(0.0);
        let (inlet, _) = fluid.at(coolant.inlet_K);
        let (saturated, _) = fluid.at(saturation_K);
        let drop_sizes_m = spray
            .nozzles
            .iter()
            .map(|nozzle| nozzle_drop_size_m(nozzle, &inlet, &saturated))
            .collect::<Result<Vec<f64>, SprayError>>()?;
        // The film reaches saturation when the rise is twice the subcooling; from there on the
        // factor is constant.
        let film = FilmTable::new((4.0 * subcooling_K).max(1.0), |rise_K| {
            let film_K = (coolant.inlet_K + 0.5 * rise_K).min(saturation_K);
            single_phase::liquid_factor(&fluid.at(film_K).0)
        });
        let data = DATA_LIQUIDS.iter().find(|(name, _)| *name == fluid.name);
        Ok(SprayModel {
            nozzles: spray.nozzles.clone(),
            drop_sizes_m,
            inlet,
            saturated,
            subcooling_K,
            liquid: Arc::new(Liquid::new(film, subcooling_K)),
            unwetted_htc_W_m2K: spray.unwetted_htc_W_m2K * spray.coefficient_factor,
            coefficient_factor: spray.coefficient_factor,
            liquid_in_data: data.is_some(),
            subcooling_limit_K: data.map_or(0.0, |(_, limit)| *limit),
            fluid,
            pressure_Pa: coolant.pressure_Pa,
        })
    }

    /// The volumetric flux on a grid.
    ///
    /// # Errors
    /// See [`flux_on_grid`].
    pub fn flux(&self, x_lines_m: &[f64], y_lines_m: &[f64]) -> Result<FluxField, SprayError> {
        flux_on_grid(&self.nozzles, &self.drop_sizes_m, x_lines_m, y_lines_m)
    }

    /// The boiling curves of the cells of `field`.
    ///
    /// A band other than [`Band::Nominal`] shifts single phase, boiling and critical heat flux
    /// together to that end, each by the width that holds where the cell lies inside or outside
    /// the range of the data.
    pub fn curves(&self, field: &FluxField, band: Band) -> CellCurves {
        let boiling_liquid = boiling::liquid_factor(&self.saturated);
        let critical_liquid = critical_heat_flux::liquid_factor(&self.saturated, self.subcooling_K);
        let capacity = critical_heat_flux::energy_cap(
            self.inlet.density_liquid_kg_m3,
            self.saturated.latent_heat_J_kg,
            self.mean_specific_heat_J_kgK(),
            1.0,
            self.subcooling_K,
        );
        let curves = (0..field.flux_m_s.len())
            .into_par_iter()
            .with_min_len(1024)
            .map(|cell| {
                let share = field.wetted_share[cell];
                let flux = field.wetted_flux_m_s(cell);
                let wet = share >= LEAST_WETTED_SHARE && flux > 0.0;
                let Some(drop) = field.drop_size_m(cell).filter(|_| wet) else {
                    return SurfaceCurve::dry(self.unwetted_htc_W_m2K);
                };
                let inside = self.in_range(flux, drop);
                let (ln_flux, ln_drop) = (flux.ln(), drop.ln());
                let critical = critical_heat_flux::flux_factor_ln(ln_flux, ln_drop)
                    * critical_liquid
                    * band.factor(inside.critical_band());
                SurfaceCurve {
                    wetted_share: share,
                    single_phase: single_phase::flux_factor_ln(ln_flux, ln_drop)
                        * band.factor(inside.single_band())
                        * self.coefficient_factor,
                    boiling: boiling::flux_factor_ln(ln_flux, ln_drop)
                        * boiling_liquid
                        * band.factor(inside.boiling_band())
                        * self.coefficient_factor,
                    critical_W_m2: critical.min(capacity * flux),
                    dry_htc_W_m2K: self.unwetted_htc_W_m2K,
                }
            })
            .collect();
        CellCurves { liquid: Arc::clone(&self.liquid), curves }
    }

    /// Mean specific heat of the liquid between nozzle and saturation, J/(kg·K).
    pub fn mean_specific_heat_J_kgK(&self) -> f64 {
        0.5 * (self.inlet.specific_heat_J_kgK + self.saturated.specific_heat_J_kgK)
    }

    fn in_range(&self, flux_m_s: f64, drop_size_m: f64) -> InRange {
        let within = |value: f64, range: [f64; 2]| range[0] <= value && value <= range[1];
        let heat_transfer = self.liquid_in_data
            && within(flux_m_s, single_phase::FLUX_M_S)
            && within(drop_size_m, single_phase::DROP_SIZES_M);
        let critical = self.liquid_in_data
            && within(flux_m_s, critical_heat_flux::FLUX_M_S)
            && within(drop_size_m, critical_heat_flux::DROP_SIZES_M)
            && self.subcooling_K <= self.subcooling_limit_K;
        InRange { heat_transfer, critical }
    }

    /// The correlations as used on `field`, for the printed record: `in_range` where every
    /// wetted cell lies inside, with the band that holds there.
    pub fn notes(&self, field: &FluxField) -> Vec<CorrelationNote> {
        let mut flux = [f64::INFINITY, 0.0_f64];
        let mut drop = [f64::INFINITY, 0.0_f64];
        let mut inside = InRange { heat_transfer: true, critical: true };
        for cell in 0..field.flux_m_s.len() {
            let Some(size) = field.drop_size_m(cell) else { continue };
            let here = field.wetted_flux_m_s(cell);
            if here <= 0.0 || field.wetted_share[cell] < LEAST_WETTED_SHARE {
                continue;
            }
            flux = [flux[0].min(here), flux[1].max(here)];
            drop = [drop[0].min(size), drop[1].max(size)];
            let at = self.in_range(here, size);
            inside.heat_transfer &= at.heat_transfer;
            inside.critical &= at.critical;
        }
        let used = if flux[1] > 0.0 {
            format!(
                "{} at flux {:.4} to {:.4} m/s, d32 {:.0} to {:.0} um, subcooling {:.1} K",
                self.fluid.name,
                flux[0],
                flux[1],
                drop[0] * 1e6,
                drop[1] * 1e6,
                self.subcooling_K
            )
        } else {
            "nothing lands on the module".to_owned()
        };
        let data = drop_size::DROP_SIZES_M[0]..=drop_size::DROP_SIZES_M[1];
        let sizes_inside = self.drop_sizes_m.iter().all(|size| data.contains(size));
        let shedd = if flux[1] > 0.0 {
            let middle = 0.5 * (flux[0] + flux[1]);
            let size = 0.5 * (drop[0] + drop[1]);
            let ratio = single_phase::shedd(&self.inlet, middle)
                / single_phase::rybicki_mudawar(&self.inlet, middle, size);
            format!("; the form of Shedd 2007 (from memory) gives {ratio:.2} of it")
        } else {
            String::new()
        };
        vec![
            CorrelationNote {
                name: "volumetric flux of a full cone",
                source: "point source, even over the sphere cap: Mudawar and Estes, J. Heat Transfer 118 (1996) 672-679; equations derived",
                status: Status::FromMemory,
                range: "full cones that neither collide nor hollow out; real patterns deviate by 20 % or more",
                in_range: true,
                band: [0.8, 1.2],
                remark: "not part of the model range; measure the pattern".to_owned(),
            },
            CorrelationNote {
                name: "drop size",
                source: drop_size::SOURCE,
                status: drop_size::STATUS,
                range: drop_size::RANGE,
                in_range: self.liquid_in_data && sizes_inside,
                band: if self.liquid_in_data && sizes_inside {
                    drop_size::BAND
                } else {
                    drop_size::BAND_OUTSIDE
                },
                remark: "not varied in the model range: it enters the coefficient by its power of 0.39 and critical heat flux by 0.35, inside their own bands".to_owned(),
            },
            CorrelationNote {
                name: "single-phase coefficient",
                source: single_phase::SOURCE,
                status: single_phase::STATUS,
                range: single_phase::RANGE,
                in_range: inside.heat_transfer,
                band: inside.single_band(),
                remark: format!("{used}{shedd}"),
            },
            CorrelationNote {
                name: "nucleate boiling",
                source: boiling::SOURCE,
                status: boiling::STATUS,
                range: boiling::RANGE,
                in_range: inside.heat_transfer,
                band: inside.boiling_band(),
                remark: "none below saturation; a first start may overshoot by tens of kelvin before it boils".to_owned(),
            },
            CorrelationNote {
                name: "critical heat flux",
                source: critical_heat_flux::SOURCE,
                status: critical_heat_flux::STATUS,
                range: critical_heat_flux::RANGE,
                in_range: inside.critical,
                band: inside.critical_band(),
                remark: format!(
                    "{used}; never above what evaporates all the liquid; a cliff, not a gradual limit: keep a margin of 2"
                ),
            },
        ]
    }

    /// What strains the liquid's table or the correlations, for the user.
    pub fn warnings(&self) -> Vec<String> {
        let mut warnings = Vec::new();
        let range = self.fluid.range_K();
        let mut outside = |what: &str, temperature_K: f64| {
            // The pressure that a case states is rounded, and so was the one that the table ends at.
            if !(range[0] - 0.1..=range[1] + 0.1).contains(&temperature_K) {
                warnings.push(format!(
                    "{}: {what} of {:.1} C is outside the table of {:.1} to {:.1} C; the values of its end are used",
                    self.fluid.name,
                    temperature_K - 273.15,
                    range[0] - 273.15,
                    range[1] - 273.15
                ));
            }
        };
        outside("the inlet temperature", self.inlet.temperature_K);
        outside("the saturation temperature", self.saturated.temperature_K);
        if !self.liquid_in_data {
            warnings.push(format!(
                "the spray correlations were made with perfluorinated liquids and water; for {} their bands are widened",
                self.fluid.name
            ));
        }
        warnings
    }

    /// The liquid.
    pub fn fluid(&self) -> &Fluid {
        &self.fluid
    }

    /// Pressure in the spray chamber, Pa.
    pub fn pressure_Pa(&self) -> f64 {
        self.pressure_Pa
    }

    /// The nozzles.
    pub fn nozzles(&self) -> &[Nozzle] {
        &self.nozzles
    }
}

/// Whether a use lies inside the data of the heat transfer correlations and of critical heat
/// flux.
#[derive(Debug, Clone, Copy)]
struct InRange {
    heat_transfer: bool,
    critical: bool,
}

impl InRange {
    fn single_band(self) -> [f64; 2] {
        if self.heat_transfer { single_phase::BAND } else { single_phase::BAND_OUTSIDE }
    }

    fn boiling_band(self) -> [f64; 2] {
        if self.heat_transfer { boiling::BAND } else { boiling::BAND_OUTSIDE }
    }

    fn critical_band(self) -> [f64; 2] {
        if self.critical { critical_heat_flux::BAND } else { critical_heat_flux::BAND_OUTSIDE }
    }
}

/// Sauter mean diameter of a nozzle's drops, m.
fn nozzle_drop_size_m(
    nozzle: &Nozzle,
    inlet: &FluidState,
    saturated: &FluidState,
) -> Result<f64, SprayError> {
    for (quantity, value) in [
        ("orifice diameter (m)", nozzle.orifice_m),
        ("pressure drop (Pa)", nozzle.pressure_drop_Pa),
    ] {
        if !(value.is_finite() && value > 0.0) {
            return Err(SprayError::NozzleQuantity {
                nozzle: nozzle.name.clone(),
                quantity,
                value,
            });
        }
    }
    Ok(drop_size::sauter_mean_diameter_m(
        nozzle.orifice_m,
        nozzle.pressure_drop_Pa,
        inlet.density_liquid_kg_m3,
        inlet.viscosity_Pa_s,
        inlet.surface_tension_N_m,
        saturated.density_vapour_kg_m3,
    ))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{coolant, nozzle, spray};
    use super::*;

    /// Each end of each range: inside just within it, outside just beyond.
    #[test]
    fn a_spray_is_inside_the_published_range_only_if_everything_is() {
        let nozzles = || vec![nozzle([0.01, 0.01], 0.01, 55.0, 6e-6)];
        let mut model =
            SprayModel::new(&spray(nozzles()), &coolant("perfluorohexane", 25.0)).unwrap();
        model.subcooling_limit_K = model.subcooling_K + 0.1;
        let inside = |flux: f64, drop: f64| {
            let InRange { heat_transfer, critical } = model.in_range(flux, drop);
            assert_eq!(heat_transfer, critical);
            heat_transfer
        };
        let [least_flux, most_flux] = single_phase::FLUX_M_S;
        let [least_drop, most_drop] = single_phase::DROP_SIZES_M;
        for (flux, drop, expected) in [
            (0.1, 150e-6, true),
            (1.001 * least_flux, 150e-6, true),
            (0.999 * least_flux, 150e-6, false),
            (0.999 * most_flux, 150e-6, true),
            (1.001 * most_flux, 150e-6, false),
            (0.1, 1.001 * least_drop, true),
            (0.1, 0.999 * least_drop, false),
            (0.1, 0.999 * most_drop, true),
            (0.1, 1.001 * most_drop, false),
        ] {
            assert_eq!(inside(flux, drop), expected, "{flux} {drop}");
        }
        // A liquid that the data do not know is outside, and one too cold for the critical heat flux.
        let other = coolant("methoxynonafluorobutane", 25.0);
        let range = SprayModel::new(&spray(nozzles()), &other).unwrap().in_range(0.1, 150e-6);
        assert!(!range.heat_transfer && !range.critical);
        let limit_K = model.subcooling_K - 0.1;
        let range = SprayModel { subcooling_limit_K: limit_K, ..model }.in_range(0.1, 150e-6);
        assert!(range.heat_transfer && !range.critical);
    }

    /// Outlines that graze the edges of a square, as those inscribed in a die do, and one that
    /// grazes by a hair more: no cell may have another flux on its wetted part than lies between
    /// the edge of the footprint and its centre.
    #[test]
    fn cells_that_an_outline_only_grazes_boil_like_their_neighbours_or_not_at_all() {
        let half = 0.00635;
        for hair in [0.0, 1e-17, 1e-16, 1e-15, 1e-13, 1e-11, 1e-9] {
            for cells in [7, 40, 129] {
                let standoff = (half + hair) / 27.5f64.to_radians().tan();
                let spray = spray(vec![nozzle([0.01, 0.01], standoff, 55.0, 6e-6)]);
                let model = SprayModel::new(&spray, &coolant("perfluorohexane", 25.0)).unwrap();
                let mut lines: Vec<f64> = (0..=cells)
                    .map(|k| 0.01 - half + 2.0 * half * f64::from(k) / f64::from(cells))
                    .collect();
                lines.insert(0, 0.0);
                lines.push(0.02);
                let field = model.flux(&lines, &lines).unwrap();
                let curves = model.curves(&field, Band::Nominal);
                // Worked above: 0.039639 m/s at the edge, 0.056799 m/s at the centre.
                let [low, high] = [0.0396, 0.0569].map(|flux| {
                    let drop = model.drop_sizes_m[0];
                    critical_heat_flux::estes_mudawar(
                        &model.saturated,
                        flux,
                        drop,
                        model.subcooling_K,
                    )
                });
                for (cell, curve) in curves.curves.iter().enumerate() {
                    let inside = (low..=high).contains(&curve.critical_W_m2);
                    assert!(
                        curve.wetted_share == 0.0 || inside,
                        "{hair}, {cells} cells, cell {cell}: share {}, {} outside {low} to {high}",
                        curve.wetted_share,
                        curve.critical_W_m2
                    );
                }
            }
        }
    }
}
