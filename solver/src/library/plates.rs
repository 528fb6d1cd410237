//! Stiffness and strength of metals for a backing plate.

/// Elastic constants of a plate metal at room temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlateMetal {
    /// Name used in the case file.
    pub name: &'static str,
    /// Elastic modulus, Pa.
    pub elastic_modulus_Pa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
    /// Yield strength (0.2 % offset), Pa: the lower end of common tempers.
    pub yield_Pa: f64,
    /// Where the values come from.
    pub source: &'static str,
}

const HANDBOOK: &str =
    "typical handbook values for the grade, from memory; take the mill certificate for a design";

/// The plate metals that a case may name.
pub const ALL: &[PlateMetal] = &[
    PlateMetal {
        name: "stainless-steel-304",
        elastic_modulus_Pa: 193e9,
        poisson: 0.29,
        yield_Pa: 215e6,
        source: HANDBOOK,
    },
    PlateMetal {
        name: "carbon-steel",
        elastic_modulus_Pa: 205e9,
        poisson: 0.29,
        yield_Pa: 250e6,
        source: HANDBOOK,
    },
    PlateMetal {
        name: "aluminium-6061-t6",
        elastic_modulus_Pa: 68.9e9,
        poisson: 0.33,
        yield_Pa: 276e6,
        source: HANDBOOK,
    },
    PlateMetal {
        name: "titanium-6al-4v",
        elastic_modulus_Pa: 113.8e9,
        poisson: 0.342,
        yield_Pa: 880e6,
        source: HANDBOOK,
    },
    PlateMetal {
        name: "molybdenum",
        elastic_modulus_Pa: 329e9,
        poisson: 0.31,
        yield_Pa: 400e6,
        source: HANDBOOK,
    },
];

/// The plate metal with this name.
pub fn by_name(name: &str) -> Option<&'static PlateMetal> {
    ALL.iter().find(|metal| metal.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Isotropic elasticity: G = E / (2 (1 + ν)). Shear moduli (GPa) from memory: stainless steel
    /// 77, aluminium 6061 26, titanium alloy 44.
    #[test]
    fn moduli_agree_with_remembered_shear_moduli_within_5_percent() {
        for (name, shear_GPa) in
            [("stainless-steel-304", 77.0), ("aluminium-6061-t6", 26.0), ("titanium-6al-4v", 44.0)]
        {
            let metal = by_name(name).expect(name);
            let shear = metal.elastic_modulus_Pa / (2.0 * (1.0 + metal.poisson)) * 1e-9;
            assert!((shear / shear_GPa - 1.0).abs() < 0.05, "{name}: {shear}");
        }
    }
}
