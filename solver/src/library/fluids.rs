//! The built-in coolants: saturation tables with their sources and cautions.
//!
//! Rows: °C, kPa, liquid kg/m³, vapour kg/m³, kJ/kg, J/(kg·K), W/(m·K), µPa·s, mN/m.

use super::fluid::{Fluid, FluidState, VapourPressureFit};

/// 0 °C in kelvin.
const ZERO_C_K: f64 = 273.15;

type Row = [f64; 9];

/// Everything that makes a built-in coolant.
struct Entry {
    name: &'static str,
    /// Formulas, systematic and trade names by which data sheets call it.
    also: &'static [&'static str],
    rows: &'static [Row],
    source: &'static str,
    /// A, B in K, C in K and the range in °C of `ln p = A - B / (T + C)`, p in Pa.
    vapour_pressure: [f64; 5],
    cautions: &'static [&'static str],
}

const FLUORINATED: &str = "fluorinated liquid: above about 200 C on a hot surface (dry-out, arcing, film heaters) it \
     decomposes into hydrogen fluoride and other highly toxic gases; interlock power to flow, ventilate, and check the \
     law on fluorinated substances and the supply before designing it in";
const VAPOUR: &str = "its vapour is heavier than air and displaces it in closed rooms";

const PERFLUOROHEXANE: Entry = Entry {
    name: "perfluorohexane",
    also: &["C6F14", "FC-72", "tetradecafluorohexane", "n-perfluorohexane"],
    rows: &[
        [-30.0, 1.2864, 1830.2, 0.21556, 106.74, 960.7, 0.06787, 1866.9, 19.457],
        [-15.0, 3.5787, 1788.8, 0.56635, 103.06, 984.2, 0.06736, 1344.5, 17.078],
        [0.0, 8.648, 1747.1, 1.2998, 99.378, 1007.7, 0.06669, 995.4, 14.896],
        [10.0, 14.586, 1719.0, 2.1252, 96.901, 1023.4, 0.06615, 840.9, 13.546],
        [25.0, 29.411, 1675.9, 4.1127, 93.115, 1046.9, 0.06521, 668.8, 11.668],
        [40.0, 54.522, 1631.5, 7.3694, 89.195, 1070.5, 0.06409, 532.4, 9.958],
        [57.12, 101.31, 1578.4, 13.302, 84.478, 1098.0, 0.06260, 424.7, 8.197],
        [70.0, 153.62, 1536.2, 19.89, 80.696, 1119.6, 0.06133, 354.8, 6.996],
        [85.0, 238.43, 1483.6, 30.664, 75.953, 1146.6, 0.05965, 296.1, 5.719],
        [100.0, 355.09, 1426.0, 45.93, 70.726, 1177.0, 0.05774, 240.2, 4.561],
        [115.0, 510.84, 1361.2, 67.511, 64.828, 1214.0, 0.05554, 198.8, 3.507],
    ],
    source: "C6F14, CAS 355-42-0, pure normal isomer: pressure, densities, latent and specific heat from the equation of \
         state of Gao et al. as in CoolProp 8.0.0; conductivity, viscosity and surface tension from the fits in thermo \
         0.6.1. Commercial isomer mixtures differ: an encyclopaedia gives 0.057 W/mK at 25 C (14 % lower), 30.9 kPa, \
         1680 kg/m3 and 640 uPa s",
    vapour_pressure: [20.5919, 2425.39, -62.741, 5.0, 90.0],
    cautions: &[
        FLUORINATED,
        VAPOUR,
        "global warming potential over 100 years 9300 (40 CFR 98 Table A-1)",
    ],
};

const METHOXYNONAFLUOROBUTANE: Entry = Entry {
    name: "methoxynonafluorobutane",
    also: &["HFE-7100", "C4F9OCH3", "methyl nonafluorobutyl ether"],
    rows: &[
        [25.0, 26.90, 1510.0, 2.86, 121.0, 1183.0, 0.0688, 561.0, 13.6],
        [40.0, 48.30, 1469.2, 4.88, 118.0, 1213.0, 0.0659, 470.0, 12.1],
        [61.3, 101.33, 1411.3, 9.59, 112.0, 1255.6, 0.0617, 379.0, 10.1],
    ],
    source: "C4F9OCH3 isomer mixture: a data sheet's 25 C values (density 1510 kg/m3 with its expansion 0.0018 1/K, 27 kPa, \
         112 kJ/kg at boiling, 13.6 mN/m scaled with (1 - T/Tc)^1.26); specific heat and conductivity from the \
         incompressible-liquid fit in CoolProp; viscosity from density and kinematic viscosity; vapour density from \
         the gas law with compressibility 0.95; vapour pressure constants and latent heat below boiling from memory. \
         A library fit puts the density 2 % lower",
    vapour_pressure: [22.415, 3641.9, 0.0, 25.0, 61.3],
    cautions: &[
        FLUORINATED,
        VAPOUR,
        "highest use temperature below 150 C (data sheet)",
        "global warming potential over 100 years 297",
    ],
};

const FK_5_1_12: Entry = Entry {
    name: "FK-5-1-12",
    also: &["C6F12O", "dodecafluoro-2-methylpentan-3-one", "perfluoro(2-methyl-3-pentanone)"],
    rows: &[
        [-30.0, 1.9994, 1758.5, 0.31366, 109.54, 1090.8, 0.06793, 1592.5, 16.002],
        [-15.0, 5.3417, 1717.4, 0.79248, 105.55, 1089.2, 0.06516, 1197.1, 14.500],
        [0.0, 12.463, 1675.3, 1.7593, 101.58, 1091.2, 0.06240, 922.3, 13.029],
        [10.0, 20.591, 1646.6, 2.8222, 98.917, 1094.5, 0.06056, 783.9, 12.067],
        [25.0, 40.404, 1602.2, 5.3298, 94.84, 1102.3, 0.05783, 621.9, 10.652],
        [40.0, 73.177, 1556.0, 9.3622, 90.607, 1113.4, 0.05514, 500.8, 9.275],
        [49.05, 101.32, 1527.0, 12.777, 87.948, 1121.7, 0.05354, 441.7, 8.463],
        [65.0, 170.77, 1473.2, 21.169, 83.005, 1139.5, 0.05078, 357.2, 7.071],
        [80.0, 265.11, 1418.9, 32.685, 77.962, 1160.8, 0.04826, 295.4, 5.811],
        [95.0, 394.84, 1359.9, 49.019, 72.389, 1187.8, 0.04581, 245.2, 4.604],
        [110.0, 567.87, 1294.3, 72.111, 66.08, 1223.8, 0.04345, 204.6, 3.459],
    ],
    source: "CAS 756-13-8: equation of state of McLinden et al. 2015 as in CoolProp 8.0.0; conductivity, viscosity and \
         surface tension from the fits in thermo 0.6.1. An independent set at 25 C (40.4 kPa, 1610 kg/m3, 0.059 W/mK, \
         640 uPa s) agrees within 3 %",
    vapour_pressure: [20.6435, 2393.31, -59.701, 5.0, 85.0],
    cautions: &[
        FLUORINATED,
        VAPOUR,
        "hydrolyses with water to organic acid: keep it dry and check the elastomers",
    ],
};

const WATER: Entry = Entry {
    name: "water",
    also: &["H2O", "R-718", "deionised water", "deionized water"],
    rows: &[
        [2.0, 0.70599, 999.9, 0.005563, 2496.2, 4213.5, 0.56059, 1673.7, 75.429],
        [10.0, 1.2282, 999.7, 0.0094071, 2477.2, 4195.5, 0.57871, 1306.0, 74.294],
        [20.0, 2.3393, 998.2, 0.017314, 2453.5, 4184.4, 0.59795, 1001.6, 72.817],
        [40.0, 7.3849, 992.2, 0.051242, 2406.0, 4179.6, 0.62844, 652.7, 69.679],
        [60.0, 19.946, 983.2, 0.13043, 2357.7, 4185.1, 0.65096, 466.0, 66.308],
        [80.0, 47.414, 971.8, 0.29367, 2308.0, 4196.9, 0.66697, 354.0, 62.716],
        [99.97, 101.31, 958.4, 0.59757, 2256.5, 4215.6, 0.67720, 281.7, 58.926],
        [120.0, 198.67, 943.1, 1.1221, 2202.1, 4243.5, 0.68224, 232.0, 54.937],
        [140.0, 361.54, 926.1, 1.9667, 2144.3, 4282.6, 0.68253, 196.6, 50.782],
        [160.0, 618.23, 907.4, 3.2596, 2082.0, 4335.4, 0.67873, 170.4, 46.475],
    ],
    source: "IAPWS-95 and the IAPWS transport equations as in CoolProp 8.0.0",
    vapour_pressure: [23.3467, 3910.83, -42.291, 15.0, 125.0],
    cautions: &[
        "water conducts electricity once it is contaminated: bare circuits need insulation or another liquid",
        "scalds: hot water and steam",
    ],
};

const METHANOL: Entry = Entry {
    name: "methanol",
    also: &["CH3OH", "methyl alcohol"],
    rows: &[
        [-10.0, 2.1017, 819.1, 0.031098, 1218.3, 2358.8, 0.20681, 961.1, 25.146],
        [5.0, 5.5261, 805.0, 0.077756, 1198.2, 2424.5, 0.20397, 740.6, 23.837],
        [20.0, 13.032, 790.9, 0.17514, 1176.6, 2504.7, 0.20112, 585.0, 22.567],
        [40.0, 35.518, 772.1, 0.45211, 1145.0, 2634.0, 0.19732, 441.4, 20.893],
        [64.48, 101.32, 748.4, 1.2207, 1101.1, 2825.7, 0.19263, 326.1, 18.813],
        [80.0, 181.11, 732.6, 2.1229, 1069.2, 2965.8, 0.18963, 274.2, 17.445],
        [100.0, 353.73, 710.9, 4.0421, 1022.1, 3168.9, 0.18572, 222.7, 15.597],
    ],
    source: "equation of state of de Reuck and Craven 1993, viscosity of Xiang et al. 2006, conductivity of Sykioti et al. \
         2013, surface tension of Mulero et al. 2012, all as in CoolProp 8.0.0",
    vapour_pressure: [23.4918, 3637.90, -33.610, 15.0, 85.0],
    cautions: &["flammable and toxic: not for sealed electronics without a safety review"],
};

const R_134A: Entry = Entry {
    name: "R-134a",
    also: &["HFC-134a", "C2H2F4", "1,1,1,2-tetrafluoroethane"],
    rows: &[
        [-40.0, 51.209, 1417.7, 2.7695, 225.86, 1254.6, 0.11059, 467.0, 17.285],
        [-26.07, 101.34, 1376.7, 5.2589, 216.97, 1280.6, 0.10390, 378.7, 15.193],
        [-10.0, 200.6, 1327.1, 10.041, 205.97, 1315.6, 0.09649, 303.6, 12.847],
        [0.0, 292.8, 1294.8, 14.428, 198.6, 1341.0, 0.09201, 266.5, 11.427],
        [10.0, 414.61, 1261.0, 20.226, 190.74, 1370.4, 0.08762, 234.9, 10.041],
        [25.0, 665.38, 1206.7, 32.35, 177.79, 1424.6, 0.08114, 194.9, 8.031],
        [40.0, 1016.6, 1146.7, 50.085, 163.02, 1498.4, 0.07472, 161.4, 6.115],
        [50.0, 1317.9, 1102.3, 66.272, 151.81, 1566.1, 0.07043, 141.8, 4.898],
        [60.0, 1681.8, 1052.9, 87.379, 139.12, 1660.2, 0.06610, 123.6, 3.737],
        [70.0, 2116.8, 996.2, 115.57, 124.37, 1803.9, 0.06168, 106.5, 2.643],
    ],
    source: "equation of state of Tillner-Roth and Baehr 1994, viscosity of Huber et al. 2003, conductivity of McLinden et \
         al. 2000, surface tension of Mulero et al. 2012, all as in CoolProp 8.0.0",
    vapour_pressure: [21.4463, 2163.43, -28.975, -31.0, 65.0],
    cautions: &[
        FLUORINATED,
        VAPOUR,
        "under pressure: 6.7 bar at 25 C, 16.8 bar at 60 C; sealed boxes need relief and proof under the local pressure code",
        "global warming potential over 100 years 1430 (40 CFR 98 Table A-1)",
    ],
};

const ENTRIES: [&Entry; 6] =
    [&PERFLUOROHEXANE, &METHOXYNONAFLUOROBUTANE, &FK_5_1_12, &WATER, &METHANOL, &R_134A];

/// Names of the built-in coolants, as a case file may use them.
pub fn names() -> Vec<&'static str> {
    ENTRIES.iter().map(|entry| entry.name).collect()
}

/// The name here of a built-in coolant that goes by another one elsewhere, letter case and
/// punctuation apart.
pub fn name_here(elsewhere: &str) -> Option<&'static str> {
    let plain = |name: &str| {
        let letters = name.chars().filter(|c| c.is_alphanumeric());
        letters.flat_map(char::to_lowercase).collect::<String>()
    };
    let asked = plain(elsewhere);
    let is_called_so =
        |entry: &&&Entry| entry.also.iter().chain([&entry.name]).any(|name| plain(name) == asked);
    ENTRIES.iter().find(is_called_so).map(|entry| entry.name)
}

/// A built-in coolant; `None` where the name is not one of [`names`].
pub fn by_name(name: &str) -> Option<Fluid> {
    ENTRIES.iter().find(|entry| entry.name == name).map(|entry| fluid(entry))
}

fn fluid(entry: &Entry) -> Fluid {
    let [a, b_K, c_K, low_C, high_C] = entry.vapour_pressure;
    Fluid {
        name: entry.name.to_owned(),
        table: entry.rows.iter().map(state).collect(),
        source: entry.source.to_owned(),
        vapour_pressure: Some(VapourPressureFit {
            a,
            b_K,
            c_K,
            range_K: [low_C + ZERO_C_K, high_C + ZERO_C_K],
        }),
        cautions: entry.cautions.iter().map(|&text| text.to_owned()).collect(),
    }
}

fn state(row: &Row) -> FluidState {
    FluidState {
        temperature_K: row[0] + ZERO_C_K,
        pressure_Pa: row[1] * 1e3,
        density_liquid_kg_m3: row[2],
        density_vapour_kg_m3: row[3],
        latent_heat_J_kg: row[4] * 1e3,
        specific_heat_J_kgK: row[5],
        conductivity_W_mK: row[6],
        viscosity_Pa_s: row[7] * 1e-6,
        surface_tension_N_m: row[8] * 1e-3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn perfluorohexane() -> Fluid {
        by_name("perfluorohexane").unwrap()
    }

    #[test]
    fn coolants_are_known_by_the_names_of_data_sheets() {
        assert_eq!(name_here("hfe 7100"), Some("methoxynonafluorobutane"));
        assert_eq!(name_here("FC72"), Some("perfluorohexane"));
        assert_eq!(name_here("r134A"), Some("R-134a"));
        assert_eq!(name_here("brine"), None);
        for name in names() {
            assert_eq!(name_here(name), Some(name));
        }
        let mut all: Vec<&str> = ENTRIES.iter().flat_map(|entry| entry.also).copied().collect();
        let count = all.len();
        all.sort_unstable();
        all.dedup();
        assert_eq!(all.len(), count, "one name for two coolants");
    }

    #[test]
    fn every_built_in_table_is_a_sound_table() {
        for name in names() {
            let fluid = by_name(name).unwrap();
            assert_eq!(fluid.name, name);
            assert!(!fluid.cautions.is_empty() && !fluid.source.is_empty());
            Fluid::from_table(name, fluid.table.clone(), "").unwrap();
        }
        assert!(by_name("perfluorohexan").is_none());
    }

    /// Source: least-squares fit to the equation of state in CoolProp, worked by hand.
    #[test]
    fn perfluorohexane_boils_where_its_vapour_pressure_equation_says() {
        let fluid = perfluorohexane();
        for (pressure_kPa, expected_C) in [(80.0, 50.326), (101.325, 57.122), (120.0, 62.209)] {
            let boiling_C = fluid.saturation_temperature_K(pressure_kPa * 1e3) - ZERO_C_K;
            assert!((boiling_C - expected_C).abs() < 6e-4, "{pressure_kPa} kPa: {boiling_C}");
        }
        let pressure = fluid.saturation_pressure_Pa(25.0 + ZERO_C_K);
        assert!((pressure - 29_408.0).abs() < 0.6, "{pressure}");
    }

    /// Normal boiling points: IAPWS 99.974 °C; ASHRAE designation tables -26.07 °C for R-134a;
    /// data sheets 61 and 49 °C; encyclopaedias 64.5 and 56-57 °C.
    #[test]
    fn normal_boiling_points_are_the_published_ones() {
        for (name, expected_C, within_K) in [
            ("water", 99.974, 0.05),
            ("methanol", 64.5, 0.1),
            ("R-134a", -26.07, 0.1),
            ("perfluorohexane", 57.1, 0.1),
            ("FK-5-1-12", 49.0, 0.1),
            ("methoxynonafluorobutane", 61.0, 0.5),
        ] {
            let boiling_C = by_name(name).unwrap().saturation_temperature_K(101_325.0) - ZERO_C_K;
            assert!((boiling_C - expected_C).abs() < within_K, "{name}: {boiling_C}");
        }
    }

    #[test]
    fn saturation_temperature_and_pressure_are_inverse_inside_and_outside_the_table() {
        for name in names() {
            for with_fit in [true, false] {
                let mut fluid = by_name(name).unwrap();
                if !with_fit {
                    fluid.vapour_pressure = None;
                }
                let range = fluid.range_K();
                for k in 0..=60 {
                    let t = range[0] - 30.0 + (range[1] - range[0] + 60.0) * f64::from(k) / 60.0;
                    let back = fluid.saturation_temperature_K(fluid.saturation_pressure_Pa(t));
                    assert!((back - t).abs() < 1e-8, "{name}, {t} K came back as {back} K");
                }
            }
        }
    }

    #[test]
    fn saturation_pressure_has_no_step_where_the_fitted_equation_ends() {
        for name in names() {
            let fluid = by_name(name).unwrap();
            for edge in fluid.vapour_pressure.unwrap().range_K {
                let below = fluid.saturation_pressure_Pa(edge - 1e-7);
                let above = fluid.saturation_pressure_Pa(edge + 1e-7);
                assert!((above / below - 1.0).abs() < 1e-7, "{name} at {edge} K");
            }
        }
    }

    #[test]
    fn rows_are_returned_unchanged_and_the_ends_are_held_and_flagged() {
        let fluid = perfluorohexane();
        for row in &fluid.table {
            let (state, in_range) = fluid.at(row.temperature_K);
            assert!(in_range);
            assert!((state.viscosity_Pa_s / row.viscosity_Pa_s - 1.0).abs() < 1e-12);
            assert!((state.density_liquid_kg_m3 - row.density_liquid_kg_m3).abs() < 1e-9);
            // The fitted equation is within 0.06 % of the table in its range.
            assert!((state.pressure_Pa / row.pressure_Pa - 1.0).abs() < 1e-3);
        }
        let (beyond, in_range) = fluid.at(500.0);
        assert!(!in_range);
        assert_eq!(beyond.density_liquid_kg_m3, 1361.2);
        assert!(beyond.pressure_Pa > 2e6, "the pressure goes on rising");
        assert!(!fluid.at(200.0).1);
    }

    #[test]
    fn a_faulty_table_is_refused_with_its_row() {
        let good = perfluorohexane().table;
        let mut bad = good.clone();
        bad[2].viscosity_Pa_s = 0.0;
        let message = Fluid::from_table("x", bad, "").unwrap_err().to_string();
        assert_eq!(message, "row 3: viscosity must be greater than zero; it is 0");
        let mut bad = good.clone();
        bad[4].temperature_K = bad[3].temperature_K;
        let message = Fluid::from_table("x", bad, "").unwrap_err().to_string();
        assert_eq!(
            message,
            "row 5: temperature must be greater than in the row before; it is 283.15"
        );
        let message = Fluid::from_table("x", good[..1].to_vec(), "").unwrap_err().to_string();
        assert_eq!(message, "a fluid table needs at least two rows; it has 1");
    }

    /// Source: data sheets and an encyclopaedia at 25 °C; the differences are the sources' own.
    #[test]
    fn properties_at_25_C_agree_with_independent_sheets() {
        let check = |name: &str, density: f64, viscosity_uPa_s: f64, within: f64| {
            let (state, _) = by_name(name).unwrap().at(298.15);
            assert!((state.density_liquid_kg_m3 / density - 1.0).abs() < within, "{name}");
            assert!((state.viscosity_Pa_s * 1e6 / viscosity_uPa_s - 1.0).abs() < within, "{name}");
        };
        check("perfluorohexane", 1680.0, 640.0, 0.05);
        check("FK-5-1-12", 1610.0, 640.0, 0.03);
        check("methoxynonafluorobutane", 1510.0, 580.0, 0.04);
        // Handbook water at 25 °C: 997.05 kg/m³, 890 µPa·s.
        check("water", 997.05, 890.0, 0.002);
    }
}
