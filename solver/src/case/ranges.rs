//! The range of every number that a case may state, with its unit.
//!
//! The ranges are wide: they catch slips of unit and of sign, not unusual design. They are
//! common practice (no source) unless a comment says otherwise.

/// Most parts of one kind, inline and in tables together: far more than any module has, few enough
/// to compare each with each.
pub(super) const MOST_PARTS: usize = 4096;

/// A quantity with its unit and what a case may state of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Quantity {
    /// Unit to print after a number; empty for a pure number.
    pub unit: &'static str,
    /// Lowest value allowed.
    pub low: f64,
    /// Highest value allowed.
    pub high: f64,
    /// Other units that a slip may have used: `(unit, what one of it is in ours, offset)`.
    pub slips: &'static [(&'static str, f64, f64)],
    /// What the limits stand for, or how to mend; may be empty.
    pub hint: &'static str,
}

const LENGTH_SLIPS: &[(&str, f64, f64)] =
    &[("micrometres", 1e-3, 0.0), ("metres", 1e3, 0.0), ("inches", 25.4, 0.0)];
const TEMPERATURE_SLIPS: &[(&str, f64, f64)] = &[("kelvin", 1.0, -273.15)];
const PRESSURE_SLIPS: &[(&str, f64, f64)] = &[("pascal", 1e-3, 0.0), ("bar", 100.0, 0.0)];

const fn length(low: f64, high: f64, hint: &'static str) -> Quantity {
    Quantity { unit: "mm", low, high, slips: LENGTH_SLIPS, hint }
}

const fn temperature(low: f64, high: f64, hint: &'static str) -> Quantity {
    Quantity { unit: "°C", low, high, slips: TEMPERATURE_SLIPS, hint }
}

const fn plain(unit: &'static str, low: f64, high: f64, hint: &'static str) -> Quantity {
    Quantity { unit, low, high, slips: &[], hint }
}

const ABSOLUTE_ZERO_HINT: &str = "temperatures are in °C; absolute zero is -273.15 °C";
const POWER_HINT: &str =
    "power is heat released, in watts; a part that takes heat away is not described by a power";

pub(super) const MODULE_SIZE: Quantity = length(1.0, 600.0, "");
pub(super) const LAYER_THICKNESS: Quantity = length(0.001, 25.0, "");
pub(super) const DIE_SIZE: Quantity = length(0.05, 200.0, "");
pub(super) const DIE_THICKNESS: Quantity = length(0.005, 10.0, "");
pub(super) const ATTACH_THICKNESS: Quantity = length(0.0005, 5.0, "");
pub(super) const POSITION: Quantity = length(-1000.0, 1000.0, "");
pub(super) const EXTENT: Quantity =
    length(0.001, 1000.0, "a rectangle is [x, y, width, height], from its lower left corner");
pub(super) const STANDOFF: Quantity = length(0.5, 300.0, "");
pub(super) const ORIFICE: Quantity = length(0.01, 10.0, "");
pub(super) const OFFSET: Quantity = length(-300.0, 300.0, "");
pub(super) const FLATNESS: Quantity = length(0.0001, 10.0, "");
pub(super) const PLATE_THICKNESS: Quantity = length(0.1, 100.0, "");
pub(super) const CELL: Quantity = length(0.000_001, 100.0, "");

/// Aerogels stand near 0.015, the best diamond near 2200 W/(m·K) (from memory).
pub(super) const CONDUCTIVITY: Quantity =
    plain("W/(m·K)", 0.005, 3000.0, "conductivity is a magnitude and greater than zero");
pub(super) const CONDUCTIVITY_EXPONENT: Quantity =
    plain("", -1.0, 3.0, "k falls as (T/T0)^(-n); silicon has n = 1.3, a constant k has n = 0");
pub(super) const DENSITY: Quantity =
    Quantity { unit: "kg/m³", low: 1.0, high: 25_000.0, slips: &[("g/cm³", 1e3, 0.0)], hint: "" };
pub(super) const SPECIFIC_HEAT: Quantity = Quantity {
    unit: "J/(kg·K)",
    low: 20.0,
    high: 15_000.0,
    slips: &[("kJ/(kg·K)", 1e3, 0.0)],
    hint: "",
};

pub(super) const REFERENCE_TEMPERATURE: Quantity = temperature(-200.0, 1000.0, ABSOLUTE_ZERO_HINT);
pub(super) const LIMIT: Quantity = temperature(-50.0, 500.0, ABSOLUTE_ZERO_HINT);
pub(super) const INLET: Quantity = temperature(-100.0, 200.0, ABSOLUTE_ZERO_HINT);
pub(super) const SURROUNDINGS_TEMPERATURE: Quantity =
    temperature(-100.0, 300.0, ABSOLUTE_ZERO_HINT);
pub(super) const FLUID_TEMPERATURE: Quantity = temperature(-150.0, 400.0, ABSOLUTE_ZERO_HINT);

/// Only four values make sense; the check of meaning names them.
pub(super) const TURN: Quantity = plain("degrees", -1e6, 1e6, "");

pub(super) const POWER: Quantity = plain("W", 0.0, 20_000.0, POWER_HINT);
pub(super) const PRESSURE: Quantity = Quantity {
    unit: "kPa",
    low: 0.5,
    high: 10_000.0,
    slips: PRESSURE_SLIPS,
    hint: "absolute pressure",
};
pub(super) const PRESSURE_DROP: Quantity =
    Quantity { unit: "kPa", low: 1.0, high: 10_000.0, slips: PRESSURE_SLIPS, hint: "" };
pub(super) const FLUID_PRESSURE: Quantity =
    Quantity { unit: "kPa", low: 1e-4, high: 25_000.0, slips: PRESSURE_SLIPS, hint: "" };

/// Boiling and condensing water reach some 1e5 W/(m²·K); above that a coefficient is an
/// idealised fixed temperature, still accepted.
pub(super) const HTC: Quantity = plain(
    "W/(m²·K)",
    0.0,
    1e7,
    "0 is an adiabatic face; sprays give some 1000 to 100000, still air about 10",
);
pub(super) const UNWETTED_HTC: Quantity =
    plain("W/(m²·K)", 0.0, 10_000.0, "where no drop lands only vapour takes heat: some 5 to 100");

pub(super) const CONE: Quantity = plain(
    "degrees",
    1.0,
    170.0,
    "cone_deg is the full angle of the cone; full-cone nozzles have some 30 to 120",
);
pub(super) const TILT: Quantity = plain("degrees", -85.0, 85.0, "0 points straight down");
pub(super) const FLOW: Quantity = Quantity {
    unit: "mL/s",
    low: 1e-4,
    high: 2000.0,
    slips: &[("m³/s", 1e6, 0.0)],
    hint: "1 L/min is 16.7 mL/s",
};
pub(super) const FLOW_FACTOR: Quantity =
    plain("", 0.0, 2.0, "1 is a clean nozzle, 0 a blocked one");
pub(super) const EXIT_QUALITY: Quantity =
    plain("", 0.01, 1.0, "the share of the liquid that may leave as vapour; 0.2 to 0.4 is usual");
pub(super) const RISE: Quantity = plain("K", 0.1, 80.0, "");
pub(super) const CONTACT_CONDUCTANCE: Quantity = plain(
    "W/K",
    1e-6,
    1.0,
    "spring contacts have a resistance of some 200 to 1500 K/W, so 0.0007 to 0.005 W/K",
);
pub(super) const CONTACT_FORCE: Quantity = plain("N", 0.001, 50.0, "40 gram-force is 0.392 N");
pub(super) const ELASTIC_MODULUS: Quantity = plain("GPa", 0.5, 1200.0, "steel has about 200");
/// An isotropic solid lies between -1 and 0.5; engineering materials above 0.
pub(super) const POISSON: Quantity = plain("", 0.0, 0.5, "metals have 0.25 to 0.35");
pub(super) const YIELD: Quantity = plain("MPa", 1.0, 5000.0, "");
/// Laboratory thermometers reach some 0.001 K; beyond 20 K nothing is measured.
pub(super) const LIMIT_OF_ERROR: Quantity =
    plain("K", 0.001, 20.0, "the largest error of the reading, not a standard deviation");
pub(super) const LIFE: Quantity = plain("years", 0.01, 100.0, "");
pub(super) const TEST_MARGIN: Quantity =
    plain("", 1.0, 100.0, "damage of the test over damage of the field; 1 is no margin");
pub(super) const SHARE_PROVED: Quantity =
    plain("", 0.01, 0.999999, "a share of one: 0.9 is 90 %; certainty cannot be tested");
pub(super) const WEIBULL_SLOPE: Quantity =
    plain("", 0.2, 20.0, "below 1 parts fail early, near 1 by chance, above 1 by wear");
pub(super) const CYCLES: Quantity = plain("cycles", 1.0, 1e12, "");
pub(super) const PER_DAY: Quantity = plain("per day", 1e-4, 1e6, "");
pub(super) const PER_YEAR: Quantity = plain("per year", 0.01, 1e9, "once a day is 365.25");
pub(super) const MINUTES: Quantity = plain("min", 0.001, 1e6, "an hour is 60, a day 1440");
pub(super) const CORRECTION: Quantity =
    plain("", 0.01, 100.0, "a factor on what the case states; 1 changes nothing");
pub(super) const INLET_OFFSET: Quantity = plain("K", -100.0, 100.0, "0 changes nothing");
pub(super) const PLACEMENT: Quantity = length(0.0, 20.0, "");
pub(super) const SPREAD: Quantity = plain("", 1e-9, 1e6, "in the unit of the quantity");
pub(super) const SPREAD_PCT: Quantity = plain("%", 1e-6, 100.0, "");
pub(super) const ACCURACY: Quantity = plain("K", 1e-6, 50.0, "");

pub(super) const PERIOD: Quantity =
    plain("s", 1e-5, 1e8, "from microseconds to years; a day is 86400 s");
pub(super) const TIME: Quantity = plain("s", 0.0, 1e9, "times count from the start");
pub(super) const POWER_FACTOR: Quantity =
    plain("", 0.0, 1000.0, "1 is the power that the case states");
pub(super) const HTC_FACTOR: Quantity =
    plain("", 0.0, 100.0, "1 is the coefficient that the case states");

pub(super) const LIQUID_DENSITY: Quantity = Quantity { low: 50.0, high: 5000.0, ..DENSITY };
pub(super) const VAPOUR_DENSITY: Quantity = Quantity { low: 1e-5, high: 1000.0, ..DENSITY };
pub(super) const LATENT_HEAT: Quantity =
    Quantity { unit: "kJ/kg", low: 5.0, high: 4000.0, slips: &[("J/kg", 1e-3, 0.0)], hint: "" };
pub(super) const LIQUID_CONDUCTIVITY: Quantity = plain("W/(m·K)", 0.01, 100.0, "");
pub(super) const VISCOSITY: Quantity = Quantity {
    unit: "µPa·s",
    low: 10.0,
    high: 1e7,
    slips: &[("mPa·s", 1e3, 0.0), ("Pa·s", 1e6, 0.0)],
    hint: "",
};
pub(super) const SURFACE_TENSION: Quantity =
    Quantity { unit: "mN/m", low: 0.01, high: 1000.0, slips: &[("N/m", 1e3, 0.0)], hint: "" };

pub(super) const SPACING: Quantity = length(0.0, 300.0, "");
pub(super) const ARRANGED_FLOW_FACTOR: Quantity =
    plain("", 0.05, 2.0, "1 is the flow of the nozzle's type; no nozzle is shut off");
pub(super) const TOTAL_FLOW: Quantity = Quantity { high: 100_000.0, ..FLOW };
pub(super) const CHF_MARGIN: Quantity =
    plain("", 1.0, 20.0, "critical over local heat flux; about 2 is usual, 1 is burn-out");
pub(super) const LIMIT_MARGIN: Quantity = plain("K", 0.0, 200.0, "");
