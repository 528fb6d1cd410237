//! How far an input may be from what the case states, and how that changes a module.

use std::sync::Arc;

use statrs::distribution::{ContinuousCDF, Normal};

use crate::library::Material;
use crate::module::{Module, PrescribedHtc, Spray};

/// A factor never falls below this: a tail of a distribution must not make a part vanish.
const LEAST_FACTOR: f64 = 0.01;

/// What a tolerance is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the words of [[tolerance]] say it")]
pub enum Quantity {
    Power,
    DieThickness,
    DieConductivity,
    AttachThickness,
    AttachConductivity,
    Limit,
    LayerThickness,
    LayerConductivity,
    Htc,
    NozzleFlow,
    NozzleX,
    NozzleY,
    Standoff,
    Inlet,
    BoardTemperature,
    BoardHtc,
}

/// What items a quantity belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A die or heater.
    Source,
    /// A die.
    Die,
    /// A layer.
    Layer,
    /// A nozzle.
    Nozzle,
    /// The module as a whole.
    Whole,
}

impl Quantity {
    /// The words of the case file.
    pub const WORDS: [(&'static str, Quantity); 16] = [
        ("power_W", Quantity::Power),
        ("die_thickness_mm", Quantity::DieThickness),
        ("die_conductivity_W_mK", Quantity::DieConductivity),
        ("attach_thickness_mm", Quantity::AttachThickness),
        ("attach_conductivity_W_mK", Quantity::AttachConductivity),
        ("limit_C", Quantity::Limit),
        ("layer_thickness_mm", Quantity::LayerThickness),
        ("layer_conductivity_W_mK", Quantity::LayerConductivity),
        ("htc_W_m2K", Quantity::Htc),
        ("nozzle_flow_mL_s", Quantity::NozzleFlow),
        ("nozzle_x_mm", Quantity::NozzleX),
        ("nozzle_y_mm", Quantity::NozzleY),
        ("standoff_mm", Quantity::Standoff),
        ("inlet_C", Quantity::Inlet),
        ("board_temperature_C", Quantity::BoardTemperature),
        ("board_htc_W_m2K", Quantity::BoardHtc),
    ];

    /// Its word.
    pub fn word(self) -> &'static str {
        Quantity::WORDS.iter().find(|(_, q)| *q == self).map_or("", |(word, _)| word)
    }

    /// What it belongs to.
    pub fn kind(self) -> Kind {
        use Quantity::*;
        match self {
            Power => Kind::Source,
            DieThickness | DieConductivity | AttachThickness | AttachConductivity | Limit => {
                Kind::Die
            }
            LayerThickness | LayerConductivity => Kind::Layer,
            NozzleFlow | NozzleX | NozzleY | Standoff => Kind::Nozzle,
            Htc | Inlet | BoardTemperature | BoardHtc => Kind::Whole,
        }
    }

    /// SI units for one of the word's unit, where a spread in that unit makes sense: a
    /// conductivity has three parts and a coefficient many places, they only scale.
    pub fn si_per_unit(self) -> Option<f64> {
        use Quantity::*;
        match self {
            Power | Limit | Inlet | BoardTemperature | BoardHtc => Some(1.0),
            DieThickness | AttachThickness | LayerThickness | NozzleX | NozzleY | Standoff => {
                Some(1e-3)
            }
            NozzleFlow => Some(1e-6),
            DieConductivity | AttachConductivity | LayerConductivity | Htc => None,
        }
    }

    /// Whether a spread as a share of the value makes sense: not for places and temperatures.
    pub fn takes_share(self) -> bool {
        use Quantity::*;
        !matches!(self, Limit | NozzleX | NozzleY | Inlet | BoardTemperature)
    }
}

/// The shape of a distribution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Distribution {
    /// The spread is one standard deviation.
    Normal,
    /// The spread is half the width.
    Uniform,
    /// The spread is half the width at the foot; the stated value is the most likely.
    Triangular,
    /// The spread is the standard deviation of the natural logarithm; the stated value is the
    /// median.
    Lognormal,
}

impl Distribution {
    /// The words of the case file.
    pub const WORDS: [(&'static str, Distribution); 4] = [
        ("normal", Distribution::Normal),
        ("uniform", Distribution::Uniform),
        ("triangular", Distribution::Triangular),
        ("lognormal", Distribution::Lognormal),
    ];

    /// Deviation, in spreads, below which the share `u` (0 to 1, ends not included) of all lies;
    /// for the lognormal one that of the logarithm.
    pub fn deviate(self, u: f64) -> f64 {
        match self {
            Distribution::Normal | Distribution::Lognormal => Normal::standard().inverse_cdf(u),
            Distribution::Uniform => 2.0 * u - 1.0,
            Distribution::Triangular if u < 0.5 => (2.0 * u).sqrt() - 1.0,
            Distribution::Triangular => 1.0 - (2.0 * (1.0 - u)).sqrt(),
        }
    }
}

/// How wide.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Spread {
    /// In SI units of the quantity.
    Absolute(f64),
    /// As a share of the value.
    Share(f64),
}

/// One tolerance.
#[derive(Debug, Clone)]
pub struct Tolerance {
    /// For people: `power_W of correlator`.
    pub label: String,
    /// On what.
    pub quantity: Quantity,
    /// Indices of the die, heaters (after the die), layers or nozzles; one entry for the whole.
    pub items: Vec<usize>,
    /// Whether all items deviate together.
    pub common: bool,
    /// The shape.
    pub distribution: Distribution,
    /// How wide.
    pub spread: Spread,
}

impl Tolerance {
    /// Independent numbers that it takes.
    pub fn dimensions(&self) -> usize {
        if self.common { 1 } else { self.items.len() }
    }

    /// Puts the items at the deviates, one a dimension.
    pub fn apply(&self, module: &mut Module, deviates: &[f64]) {
        for (n, &item) in self.items.iter().enumerate() {
            let Some(&z) = deviates.get(if self.common { 0 } else { n }) else { continue };
            change(module, self.quantity, item, &|value| match (self.distribution, self.spread) {
                (Distribution::Lognormal, Spread::Share(s)) => value * (s * z).exp(),
                (_, Spread::Share(s)) => value * (1.0 + s * z).max(LEAST_FACTOR),
                (_, Spread::Absolute(d)) if self.quantity.takes_share() => {
                    (value + d * z).max(LEAST_FACTOR * value)
                }
                (_, Spread::Absolute(d)) => value + d * z,
            });
        }
    }
}

/// Changes a quantity of an item; nothing where the module has none.
fn change(module: &mut Module, quantity: Quantity, item: usize, to: &dyn Fn(f64) -> f64) {
    let n_die = module.die.len();
    let set = |value: &mut f64| *value = to(*value);
    let conduct = |material: &mut Arc<Material>| {
        let material = Arc::make_mut(material);
        // One factor for all directions.
        let factor = to(1.0);
        material.conductivity_W_mK = material.conductivity_W_mK.map(|k| k * factor);
    };
    match quantity {
        Quantity::Power if item < n_die => {
            let die = &mut module.die[item];
            let before = die.power_W;
            set(&mut die.power_W);
            if before > 0.0 {
                let factor = die.power_W / before;
                die.blocks.iter_mut().for_each(|block| block.power_W *= factor);
            }
        }
        Quantity::Power => {
            if let Some(heater) = module.heaters.get_mut(item - n_die) {
                set(&mut heater.power_W);
            }
        }
        Quantity::DieThickness => set(&mut module.die[item].thickness_m),
        Quantity::DieConductivity => conduct(&mut module.die[item].material),
        Quantity::AttachThickness => {
            if let Some(attach) = &mut module.die[item].attach {
                set(&mut attach.thickness_m);
            }
        }
        Quantity::AttachConductivity => {
            if let Some(attach) = &mut module.die[item].attach {
                conduct(&mut attach.material);
            }
        }
        Quantity::Limit => {
            if let Some(limit) = &mut module.die[item].limit_K {
                set(limit);
            }
        }
        Quantity::LayerThickness => set(&mut module.layers[item].thickness_m),
        Quantity::LayerConductivity => conduct(&mut module.layers[item].material),
        Quantity::Htc => {
            if let Spray::Prescribed(spray) = &mut module.spray {
                let factor = to(1.0);
                match &mut spray.base {
                    PrescribedHtc::Uniform(htc) => *htc *= factor,
                    PrescribedHtc::Map(map) => map.values.iter_mut().for_each(|h| *h *= factor),
                }
                spray.patches.iter_mut().for_each(|patch| patch.htc_W_m2K *= factor);
            }
        }
        Quantity::NozzleFlow | Quantity::NozzleX | Quantity::NozzleY | Quantity::Standoff => {
            if let Spray::Correlated(spray) = &mut module.spray
                && let Some(nozzle) = spray.nozzles.get_mut(item)
            {
                match quantity {
                    Quantity::NozzleFlow => set(&mut nozzle.flow_m3_s),
                    Quantity::NozzleX => set(&mut nozzle.at_m[0]),
                    Quantity::NozzleY => set(&mut nozzle.at_m[1]),
                    _ => set(&mut nozzle.standoff_m),
                }
            }
        }
        Quantity::Inlet => set(&mut module.coolant.inlet_K),
        Quantity::BoardTemperature => set(&mut module.board.temperature_K),
        Quantity::BoardHtc => set(&mut module.board.htc_W_m2K),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Standard normal quantile of 0.975: 1.959964 (Abramowitz and Stegun, table 26.1).
    #[test]
    fn deviates_are_those_of_the_distributions() {
        let at = |d: Distribution, u: f64| d.deviate(u);
        assert!((at(Distribution::Normal, 0.975) - 1.959_963_985).abs() < 1e-8);
        assert!((at(Distribution::Uniform, 0.75) - 0.5).abs() < 1e-15);
        // A symmetric triangle has an eighth of its area beyond half its half-width.
        assert!((at(Distribution::Triangular, 0.125) + 0.5).abs() < 1e-15);
        assert!((at(Distribution::Triangular, 0.875) - 0.5).abs() < 1e-15);
    }

    #[test]
    fn a_common_tolerance_moves_all_items_alike_and_blocks_follow_their_die() {
        let mut module = crate::study::testing::prescribed();
        let mut tolerance = Tolerance {
            label: "power".to_owned(),
            quantity: Quantity::Power,
            items: vec![0, 1],
            common: true,
            distribution: Distribution::Normal,
            spread: Spread::Share(0.1),
        };
        assert_eq!(tolerance.dimensions(), 1);
        tolerance.apply(&mut module, &[2.0]);
        assert!((module.die[0].power_W - 36.0).abs() < 1e-12);
        assert!((module.die[0].blocks[0].power_W - 19.2).abs() < 1e-12);
        assert!((module.die[1].power_W - 26.4).abs() < 1e-12);
        tolerance.common = false;
        tolerance.apply(&mut module, &[0.0, -20.0]);
        assert!((module.die[0].power_W - 36.0).abs() < 1e-12);
        assert!((module.die[1].power_W - 0.264).abs() < 1e-12, "never below a hundredth");
    }
}
