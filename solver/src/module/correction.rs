//! Factors on what a module states, as measurements ask for them.

use std::sync::Arc;

use super::{Module, PrescribedHtc, Spray};

/// What is corrected; all ones and zeros change nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correction {
    /// Factor on the spray's heat flux at any surface temperature; critical heat flux stays.
    pub spray_coefficient: f64,
    /// Factor on the conductivity of every attach.
    pub attach_conductivity: f64,
    /// Factor on the coefficient to the board.
    pub board_coefficient: f64,
    /// Added to the temperature of the liquid at the nozzles, K.
    pub inlet_offset_K: f64,
}

impl Default for Correction {
    fn default() -> Self {
        Correction {
            spray_coefficient: 1.0,
            attach_conductivity: 1.0,
            board_coefficient: 1.0,
            inlet_offset_K: 0.0,
        }
    }
}

impl Correction {
    /// This correction on top of an earlier one.
    #[must_use]
    pub fn after(&self, earlier: &Correction) -> Correction {
        Correction {
            spray_coefficient: self.spray_coefficient * earlier.spray_coefficient,
            attach_conductivity: self.attach_conductivity * earlier.attach_conductivity,
            board_coefficient: self.board_coefficient * earlier.board_coefficient,
            inlet_offset_K: self.inlet_offset_K + earlier.inlet_offset_K,
        }
    }

    /// Whether it changes nothing.
    pub fn is_none(&self) -> bool {
        *self == Correction::default()
    }

    /// The module with the correction applied. A corrected attach material has a name of its own.
    #[must_use]
    pub fn apply(&self, module: &Module) -> Module {
        let mut module = module.clone();
        match &mut module.spray {
            Spray::Prescribed(spray) => {
                let factor = self.spray_coefficient;
                match &mut spray.base {
                    PrescribedHtc::Uniform(htc) => *htc *= factor,
                    PrescribedHtc::Map(map) => map.values.iter_mut().for_each(|v| *v *= factor),
                }
                spray.patches.iter_mut().for_each(|patch| patch.htc_W_m2K *= factor);
            }
            Spray::Correlated(spray) => spray.coefficient_factor *= self.spray_coefficient,
        }
        if self.attach_conductivity != 1.0 {
            for attach in module.die.iter_mut().filter_map(|die| die.attach.as_mut()) {
                let material = Arc::make_mut(&mut attach.material);
                let factor = self.attach_conductivity;
                material.conductivity_W_mK.iter_mut().for_each(|k| *k *= factor);
                material.source = format!("{}, times {factor:.6}", material.source);
                if !material.name.ends_with(CORRECTED) {
                    material.name.push_str(CORRECTED);
                }
            }
        }
        module.board.htc_W_m2K *= self.board_coefficient;
        if let Some(contacts) = &mut module.board.contacts {
            contacts.conductance_per_contact_W_K *= self.board_coefficient;
        }
        module.coolant.inlet_K += self.inlet_offset_K;
        module
    }
}

/// Stands after the name of a corrected material.
const CORRECTED: &str = " (corrected)";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::testing::prescribed;

    #[test]
    fn one_correction_after_another_is_their_product() {
        let first =
            Correction { spray_coefficient: 1.2, inlet_offset_K: 0.5, ..Default::default() };
        let second = Correction {
            spray_coefficient: 0.5,
            attach_conductivity: 2.0,
            inlet_offset_K: -0.2,
            ..Default::default()
        };
        let both = second.after(&first);
        assert!((both.spray_coefficient - 0.6).abs() < 1e-15);
        assert!((both.inlet_offset_K - 0.3).abs() < 1e-15);
        let (at_once, in_turn) =
            (both.apply(&prescribed()), second.apply(&first.apply(&prescribed())));
        assert_eq!(at_once.coolant.inlet_K, in_turn.coolant.inlet_K);
        let k = |module: &Module| -> Vec<[f64; 3]> {
            let attach = module.die.iter().filter_map(|die| die.attach.as_ref());
            attach.map(|attach| attach.material.conductivity_W_mK).collect()
        };
        assert_eq!(k(&at_once), k(&in_turn));
    }

    #[test]
    fn no_correction_changes_nothing() {
        let module = prescribed();
        let same = Correction::default().apply(&module);
        assert_eq!(format!("{module:?}"), format!("{same:?}"));
    }
}
