//! The built-in solids, each with the source of its values.
//!
//! Values at 300 K unless the source says otherwise; temperature laws are `k(T) = k (T/T0)^(-n)`.
//! "From memory" marks a number that nobody has looked up again: judge results that hang on it
//! accordingly. Grades, doping and processing move most of these by 10 to 30 %.

use super::effective::{BumpArray, Ply, ViaField, laminate_W_mK};
use super::{Material, TemperatureLaw};

/// Room temperature of the tables, K.
const T300_K: f64 = 300.0;

/// One row: name, k, exponent (0: constant), density, specific heat, source.
struct Row {
    name: &'static str,
    conductivity_W_mK: f64,
    exponent: f64,
    density_kg_m3: f64,
    specific_heat_J_kgK: f64,
    source: &'static str,
}

const fn row(
    name: &'static str,
    conductivity_W_mK: f64,
    exponent: f64,
    density_kg_m3: f64,
    specific_heat_J_kgK: f64,
    source: &'static str,
) -> Row {
    Row { name, conductivity_W_mK, exponent, density_kg_m3, specific_heat_J_kgK, source }
}

const ROWS: &[Row] = &[
    row(
        "silicon",
        148.0,
        1.3,
        2330.0,
        712.0,
        "k 148 at 300 K and n = 1.3 for 300 to 700 K from memory, within 3 % of Incropera & DeWitt's table (98.9, 76.2, 61.9 at 400, 500, 600 K; from memory); density and specific heat CRC element data; heavy doping lowers k by 10 to 30 % (from memory)",
    ),
    row(
        "silicon-carbide-4h",
        370.0,
        1.3,
        3200.0,
        690.0,
        "k, n and specific heat from memory; density public packaging tables; ceramic grades have 270 (US National Academies report on electronic packaging materials, Appendix E) and less",
    ),
    row(
        "gallium-arsenide",
        46.0,
        1.25,
        5320.0,
        330.0,
        "k and density public packaging tables; another archive (Ioffe) gives 55; n from memory; specific heat Ioffe archive",
    ),
    row(
        "gallium-nitride",
        200.0,
        1.3,
        6100.0,
        490.0,
        "k, n and specific heat from memory; density public packaging tables; older tables 40 to 130",
    ),
    row(
        "germanium",
        60.2,
        1.25,
        5323.0,
        320.0,
        "k, density and specific heat CRC element data; n from memory",
    ),
    row(
        "copper",
        401.0,
        0.0814,
        8960.0,
        385.0,
        "k, density and specific heat CRC element data; n fitted to 401 and 379 at 300 and 600 K (Incropera & DeWitt, from memory)",
    ),
    row(
        "copper-plated",
        370.0,
        0.0,
        8960.0,
        385.0,
        "plated or thin foil 350 to 398 from memory, middle taken; density and specific heat CRC element data",
    ),
    row(
        "aluminium",
        237.0,
        0.0,
        2700.0,
        897.0,
        "CRC element data, pure metal; 240 and 231 at 400 and 600 K (Incropera & DeWitt, from memory), so taken constant",
    ),
    row(
        "aluminium-6061-t6",
        167.0,
        0.0,
        2700.0,
        897.0,
        "k from memory; density and specific heat of the pure metal, CRC element data; public tables 180 to 237 by alloy",
    ),
    row(
        "molybdenum",
        138.0,
        0.131,
        10200.0,
        251.0,
        "k 138 and 126 at 300 and 600 K (Incropera & DeWitt, from memory), n fitted to them; density and specific heat CRC element data",
    ),
    row(
        "tungsten",
        173.0,
        0.337,
        19300.0,
        132.0,
        "k, density and specific heat CRC element data; n fitted to 173 and 137 at 300 and 600 K (Incropera & DeWitt, from memory)",
    ),
    row(
        "fe-29ni-17co",
        17.3,
        0.0,
        8360.0,
        439.0,
        "sealing alloy ASTM F15; public packaging tables",
    ),
    row(
        "alumina-96",
        24.0,
        1.19,
        3800.0,
        800.0,
        "k 24 (tables 20 to 30) and density public packaging tables; n as for alumina-99.5; specific heat from memory",
    ),
    row(
        "alumina-99.5",
        35.0,
        1.19,
        3970.0,
        765.0,
        "k and density public packaging tables; n = 1.19 fits 36, 26.4, 15.8 at 300, 400, 600 K (Incropera & DeWitt, from memory); specific heat from memory",
    ),
    row(
        "aluminium-nitride",
        170.0,
        1.0,
        3260.0,
        820.0,
        "k, density and specific heat public packaging tables; grades 140 to 200 typical, single crystal about 320; n about 1 from memory, uncertain",
    ),
    row(
        "beryllia",
        250.0,
        1.29,
        2900.0,
        1030.0,
        "k public packaging tables (230 to 298); n = 1.29 fits 272, 196, 111 at 300, 400, 600 K (Incropera & DeWitt, from memory); density and specific heat from memory; its dust is toxic: do not machine or break it",
    ),
    row(
        "glass-ceramic",
        3.0,
        0.0,
        2900.0,
        950.0,
        "low-temperature co-fired; k public packaging tables (another report 5); density and specific heat from memory; thermal vias dominate where there are any",
    ),
    row("mullite", 5.0, 0.5, 2800.0, 760.0, "all values from memory"),
    row(
        "underfill",
        0.5,
        0.0,
        1700.0,
        1000.0,
        "filled epoxy, 0.4 to 0.7, all values from memory; unfilled about 0.2",
    ),
    row(
        "solder-sn63pb37",
        50.0,
        0.0,
        8400.0,
        167.0,
        "k and density public solder table; specific heat from memory; contains lead",
    ),
    row(
        "solder-pb95sn5",
        36.0,
        0.0,
        11000.0,
        130.0,
        "k and density public packaging tables; specific heat from memory; contains lead",
    ),
    row(
        "solder-sac305",
        58.0,
        0.0,
        7380.0,
        220.0,
        "k and density public solder table; specific heat from memory",
    ),
    row(
        "solder-au80sn20",
        57.0,
        0.0,
        14500.0,
        150.0,
        "k public packaging tables; density and specific heat from memory",
    ),
    row(
        "thermal-grease",
        2.0,
        0.0,
        2500.0,
        1000.0,
        "k 0.8 (public packaging tables) to 5 (from memory) by product, 2 taken; density and specific heat from memory; the bond line is 20 to 100 um and both faces add a contact term",
    ),
    row(
        "polyimide",
        0.16,
        0.0,
        1420.0,
        1090.0,
        "k 0.12 to 0.20 public packaging tables, middle taken; density and specific heat from memory",
    ),
];

/// Conductivity of FR-4 in the plane and through it, W/(m·K).
const FR4_IN_PLANE: f64 = 0.81;
const FR4_THROUGH: f64 = 0.29;
/// Copper foil of boards, W/(m·K).
const FOIL: f64 = 398.0;

/// The bumps of `underfilled-bumps`.
pub const UNDERFILLED_BUMPS: BumpArray =
    BumpArray { diameter_m: 100e-6, pitch_m: 200e-6, bump_W_mK: 50.0, filler_W_mK: 0.5 };

fn from_row(row: &Row) -> Material {
    Material {
        name: row.name.to_owned(),
        conductivity_W_mK: [row.conductivity_W_mK; 3],
        law: if row.exponent == 0.0 {
            TemperatureLaw::Constant
        } else {
            TemperatureLaw::Power { exponent: row.exponent, reference_K: T300_K }
        },
        density_kg_m3: Some(row.density_kg_m3),
        specific_heat_J_kgK: Some(row.specific_heat_J_kgK),
        source: row.source.to_owned(),
    }
}

fn layered(
    name: &str,
    in_plane: f64,
    through: f64,
    density: f64,
    specific_heat: f64,
    source: &str,
) -> Material {
    Material {
        name: name.to_owned(),
        conductivity_W_mK: [in_plane, in_plane, through],
        law: TemperatureLaw::Constant,
        density_kg_m3: Some(density),
        specific_heat_J_kgK: Some(specific_heat),
        source: source.to_owned(),
    }
}

fn composites() -> Vec<Material> {
    let bumps = UNDERFILLED_BUMPS;
    let share = bumps.area_share();
    let planes = [
        Ply { thickness_m: 35e-6, in_plane_W_mK: FOIL, through_W_mK: FOIL },
        Ply { thickness_m: 1.53e-3, in_plane_W_mK: FR4_IN_PLANE, through_W_mK: FR4_THROUGH },
        Ply { thickness_m: 35e-6, in_plane_W_mK: FOIL, through_W_mK: FOIL },
    ];
    let (planes_in_plane, planes_through) = laminate_W_mK(&planes);
    let copper_share = 0.07 / 1.6;
    let vias = ViaField {
        diameter_m: 0.3e-3,
        plating_m: 25e-6,
        pitch_m: 1e-3,
        metal_W_mK: FOIL,
        dielectric_W_mK: FR4_THROUGH,
    };
    let via_share = vias.metal_share();
    vec![
        layered(
            "fr-4",
            FR4_IN_PLANE,
            FR4_THROUGH,
            1850.0,
            1200.0,
            "0.81 in plane, 0.29 through, density and specific heat from memory; Sarvar et al. 1990, J. Electron. Mater. 19, 1345-1350: 1.059 and 0.343; without copper",
        ),
        layered(
            "laminate-2-planes",
            planes_in_plane,
            planes_through,
            copper_share * 8960.0 + (1.0 - copper_share) * 1850.0,
            // Shares of mass, not of volume, weigh a specific heat.
            (copper_share * 8960.0 * 385.0 + (1.0 - copper_share) * 1850.0 * 1200.0)
                / (copper_share * 8960.0 + (1.0 - copper_share) * 1850.0),
            "computed: 1.6 mm FR-4 (0.81, 0.29 from memory) with two full copper planes of 35 um (398), parallel in plane and series through; etched planes have less",
        ),
        layered(
            "fr-4-via-field",
            FR4_IN_PLANE,
            vias.through_W_mK(),
            via_share * 8960.0 + (1.0 - via_share) * 1850.0,
            (via_share * 8960.0 * 385.0 + (1.0 - via_share) * 1850.0 * 1200.0)
                / (via_share * 8960.0 + (1.0 - via_share) * 1850.0),
            "computed: plated vias, drill 0.3 mm, plating 25 um, pitch 1 mm, in FR-4 (0.81, 0.29 from memory), parallel through; in plane FR-4 alone",
        ),
        layered(
            "underfilled-bumps",
            bumps.in_plane_W_mK(),
            bumps.through_W_mK(),
            share * 8400.0 + (1.0 - share) * 1700.0,
            (share * 8400.0 * 167.0 + (1.0 - share) * 1700.0 * 1000.0)
                / (share * 8400.0 + (1.0 - share) * 1700.0),
            "computed: solder bumps (50) of 100 um at 200 um pitch in underfill (0.5, from memory), parallel through, Rayleigh's first order in plane; without the constriction in the die (about 0.6 mm2K/W) and in the substrate",
        ),
    ]
}

/// Every built-in solid.
pub fn all() -> Vec<Material> {
    ROWS.iter().map(from_row).chain(composites()).collect()
}

/// The built-in solid with this name.
pub fn by_name(name: &str) -> Option<Material> {
    all().into_iter().find(|material| material.name == name)
}

/// Names of the built-in solids.
pub fn names() -> Vec<String> {
    all().into_iter().map(|material| material.name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn k(name: &str, temperature_K: f64) -> f64 {
        let material = by_name(name).expect(name);
        material.conductivity_W_mK[2] * material.conductivity_factor(temperature_K)
    }

    /// Incropera & DeWitt, table of solids (from memory): 98.9, 76.2, 61.9 W/(m·K).
    #[test]
    fn silicon_follows_the_handbook_within_3_percent() {
        for (temperature, handbook) in [(300.0, 148.0), (400.0, 98.9), (500.0, 76.2), (600.0, 61.9)]
        {
            let difference = k("silicon", temperature) / handbook - 1.0;
            assert!(difference.abs() < 0.031, "{temperature} K: {difference}");
        }
    }

    /// Morris & Hust 1961, Phys. Rev. 124, 1426 (abstract): 125 ± 19 at 303 K, 46 ± 7 at 698 K.
    #[test]
    fn silicon_lies_near_the_band_measured_by_morris_and_hust() {
        assert!((k("silicon", 303.0) - 125.0).abs() < 1.2 * 19.0);
        assert!((k("silicon", 698.0) - 46.0).abs() < 7.0);
    }

    /// Incropera & DeWitt (from memory), W/(m·K) at 400 and 600 K.
    #[test]
    fn metals_and_ceramics_follow_the_handbook_within_5_percent() {
        for (name, at_400, at_600, allowed) in [
            ("copper", 393.0, 379.0, 0.01),
            ("aluminium", 240.0, 231.0, 0.03),
            ("molybdenum", 134.0, 126.0, 0.02),
            ("tungsten", 159.0, 137.0, 0.02),
            // 36 at 300 K there, 35 here.
            ("alumina-99.5", 26.4, 15.8, 0.06),
            // 272 at 300 K there, 250 here: compared as ratios below.
        ] {
            assert!((k(name, 400.0) / at_400 - 1.0).abs() < allowed, "{name} at 400 K");
            assert!((k(name, 600.0) / at_600 - 1.0).abs() < allowed, "{name} at 600 K");
        }
        assert!((k("beryllia", 600.0) / k("beryllia", 300.0) / (111.0 / 272.0) - 1.0).abs() < 0.02);
    }

    #[test]
    fn silicon_has_its_worked_values() {
        for (temperature, worked) in
            [(358.15, 117.55), (400.0, 101.82), (500.0, 76.18), (600.0, 60.11)]
        {
            assert!((k("silicon", temperature) - worked).abs() < 0.006, "{temperature} K");
        }
    }

    #[test]
    fn names_are_unique_and_every_value_is_physical_and_sourced() {
        let all = all();
        for (index, material) in all.iter().enumerate() {
            assert!(all[..index].iter().all(|other| other.name != material.name));
            assert!(material.conductivity_W_mK.iter().all(|k| (0.1..450.0).contains(k)));
            assert!(material.density_kg_m3.is_some_and(|rho| (1000.0..20_000.0).contains(&rho)));
            assert!(material.specific_heat_J_kgK.is_some_and(|c| (100.0..1300.0).contains(&c)));
            assert!(material.source.len() > 15);
        }
    }

    #[test]
    fn composites_carry_their_worked_values() {
        let close = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-4;
        let bumps = by_name("underfilled-bumps").expect("built in").conductivity_W_mK;
        assert!(close(bumps[0], 0.73833) && close(bumps[1], 0.73833) && close(bumps[2], 10.2193));
        let laminate = by_name("laminate-2-planes").expect("built in").conductivity_W_mK;
        assert!(close(laminate[0], 18.187) && close(laminate[2], 0.30326));
        let vias = by_name("fr-4-via-field").expect("built in").conductivity_W_mK;
        assert!(close(vias[2], 8.8799));
    }
}
