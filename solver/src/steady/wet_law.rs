//! The flux law of a module's spray on the cells of a mesh.

use super::SteadyError;
use crate::conduction::{PrescribedLaw, SurfaceLaw};
use crate::mesh::PlaneGrid;
use crate::module::{Module, Spray};
use crate::spray::{Band, CellCurves, FluxField, SprayModel, prescribed_law};

/// What wets the module, cell by cell.
#[derive(Debug, Clone)]
pub enum WetLaw {
    /// Stated coefficients.
    Prescribed(PrescribedLaw),
    /// Computed from the nozzles: where the liquid lands, and the boiling curve of each cell.
    Correlated {
        /// Volumetric flux and wetted share.
        field: Box<FluxField>,
        /// Boiling curves.
        curves: CellCurves,
    },
}

impl WetLaw {
    /// Lays the spray of `module` on the cells of `plane`.
    ///
    /// # Errors
    /// [`SteadyError::Spray`] where the nozzles or the liquid make no sense together.
    pub fn on(module: &Module, plane: &PlaneGrid, band: Band) -> Result<WetLaw, SteadyError> {
        match &module.spray {
            Spray::Prescribed(spray) => Ok(WetLaw::Prescribed(prescribed_law(spray, plane))),
            Spray::Correlated(spray) => {
                let model = SprayModel::new(spray, &module.coolant)?;
                let field = model.flux(&plane.x_lines_m, &plane.y_lines_m)?;
                let curves = model.curves(&field, band);
                Ok(WetLaw::Correlated { field: Box::new(field), curves })
            }
        }
    }

    /// The same wet side at another end of the correlations' bands, without laying the flux
    /// again. Stated coefficients have no band.
    ///
    /// # Errors
    /// As for [`WetLaw::on`].
    pub fn in_band(&self, module: &Module, band: Band) -> Result<WetLaw, SteadyError> {
        match (self, &module.spray) {
            (WetLaw::Correlated { field, .. }, Spray::Correlated(spray)) => {
                let model = SprayModel::new(spray, &module.coolant)?;
                let curves = model.curves(field, band);
                Ok(WetLaw::Correlated { field: field.clone(), curves })
            }
            _ => Ok(self.clone()),
        }
    }

    /// The same nozzles with every flow multiplied and another inlet (that of `module`), without
    /// laying the flux again. Stated coefficients follow neither.
    ///
    /// # Errors
    /// As for [`WetLaw::on`].
    pub fn with_coolant(&self, module: &Module, flow_factor: f64) -> Result<WetLaw, SteadyError> {
        match (self, &module.spray) {
            (WetLaw::Correlated { field, .. }, Spray::Correlated(spray)) => {
                let model = SprayModel::new(spray, &module.coolant)?;
                let field = Box::new(field.scaled(flow_factor));
                let curves = model.curves(&field, Band::Nominal);
                Ok(WetLaw::Correlated { field, curves })
            }
            _ => Ok(self.clone()),
        }
    }
}

impl SurfaceLaw for WetLaw {
    fn is_linear(&self) -> bool {
        matches!(self, WetLaw::Prescribed(_))
    }

    fn flux(&self, c: usize, rise_K: f64) -> (f64, f64) {
        match self {
            WetLaw::Prescribed(law) => law.flux(c, rise_K),
            WetLaw::Correlated { curves, .. } => curves.flux(c, rise_K),
        }
    }
}
