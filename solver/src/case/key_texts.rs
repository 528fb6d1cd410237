//! One line on every key of a case, for editors that show it while one types.

/// What the key at `path` means: `board.htc_W_m2K`; names of the user's choice are `*`, lists are
/// like tables: `die_type.*.size_mm`, `die.block.rect_mm`. `None` for what is no key.
pub fn key_text(path: &str) -> Option<&'static str> {
    TEXTS.iter().find(|(known, _)| *known == path).map(|(_, text)| *text)
}

const RECT: &str = "Rectangle [x, y, width, height], mm, from its lower left corner.";

/// In the order in which the keys are read.
const TEXTS: &[(&str, &str)] = &[
    ("title", "What reports call the module."),
    ("module", "The module: its size and its layers."),
    (
        "module.size_mm",
        "Length along x and y, mm. The origin is the lower left corner, seen from the spray side.",
    ),
    (
        "module.edge_htc_W_m2K",
        "Coefficient of the side edges, W/(m²·K); 0, adiabatic, unless stated.",
    ),
    (
        "module.edge_temperature_C",
        "What the side edges face, °C; the board temperature unless stated.",
    ),
    ("module.layer", "A layer of the substrate, from the board side up."),
    ("module.layer.name", "Name of the layer; heaters and sensors refer to it."),
    ("module.layer.material", "A solid of the library, or of [material.NAME]."),
    ("module.layer.thickness_mm", "Thickness, mm."),
    (
        "module.layer.slices",
        "Numerical sheets in the layer; chosen by the refinement unless stated.",
    ),
    ("material", "A solid of one's own."),
    ("material.*.conductivity_W_mK", "Conductivity, W/(m·K): one number, or three for x, y, z."),
    (
        "material.*.conductivity_exponent",
        "n of k = k0 (T/T0)^(-n), T in kelvin; constant unless stated.",
    ),
    ("material.*.conductivity_reference_C", "Temperature at which the conductivity is stated, °C."),
    ("material.*.density_kg_m3", "Density, kg/m³; needed over time."),
    ("material.*.specific_heat_J_kgK", "Specific heat, J/(kg·K); needed over time."),
    ("material.*.source", "Where the values come from; printed with the results."),
    ("die_type", "A type of die: what all die of the type share."),
    ("die_type.*.size_mm", "Length along x and y of the unturned die, mm."),
    ("die_type.*.thickness_mm", "Thickness, mm."),
    ("die_type.*.material", "A solid of the library, or of [material.NAME]."),
    (
        "die_type.*.active_face",
        "Where the heat is released: \"down\" toward the substrate (flip chip), \"up\" toward the spray.",
    ),
    (
        "die_type.*.attach",
        "What joins the die to the substrate; without it the die sits on the substrate.",
    ),
    ("die_type.*.attach.material", "A solid of the library, or of [material.NAME]."),
    ("die_type.*.attach.thickness_mm", "Thickness, mm."),
    ("die_type.*.limit_C", "Highest junction temperature allowed, °C; no verdict without it."),
    ("die", "A die, or a CSV table of them."),
    ("die.name", "Name of the die; results are listed by it."),
    ("die.type", "Its [die_type.NAME]."),
    ("die.at_mm", "Centre [x, y], mm."),
    ("die.turn_deg", "0, 90, 180 or 270, counter-clockwise seen from the spray side."),
    ("die.power_W", "Power of the whole die, blocks included, W."),
    ("die.block", "Part of the power on part of the die; the rest spreads over what remains."),
    ("die.block.name", "Name of the block."),
    (
        "die.block.rect_mm",
        "[x, y, width, height], mm, from the lower left corner of the unturned die.",
    ),
    ("die.block.power_W", "Power of the block, W; part of that of the die."),
    ("die.power_map", "CSV file of relative powers over the unturned die, first row at the top."),
    (
        "die.table",
        "CSV file with a die a row: name,type,x_mm,y_mm,turn_deg,power_W,power_map. Stands alone.",
    ),
    ("heater", "A heat source on a face of a layer."),
    ("heater.name", "Name of the heater; results are listed by it."),
    ("heater.on", "Its layer."),
    ("heater.face", "\"top\" toward the spray, \"bottom\" toward the board."),
    ("heater.rect_mm", RECT),
    ("heater.power_W", "Power, W."),
    ("heater.limit_C", "Highest temperature allowed, °C."),
    ("coolant", "The liquid and how it arrives."),
    ("coolant.fluid", "A fluid of the library, or of [fluid.NAME]."),
    ("coolant.inlet_C", "Temperature of the liquid at the nozzles, °C."),
    (
        "coolant.pressure_kPa",
        "Absolute pressure in the spray chamber, kPa: it sets the saturation temperature.",
    ),
    ("fluid", "A liquid of one's own: lists of equal length along its saturation line."),
    ("fluid.*.temperature_C", "Saturation temperatures, °C, rising."),
    ("fluid.*.pressure_kPa", "Saturation pressures, kPa, rising."),
    ("fluid.*.density_liquid_kg_m3", "Density of the liquid, kg/m³."),
    ("fluid.*.density_vapour_kg_m3", "Density of the vapour, kg/m³."),
    ("fluid.*.latent_heat_kJ_kg", "Latent heat, kJ/kg."),
    ("fluid.*.specific_heat_J_kgK", "Specific heat of the liquid, J/(kg·K)."),
    ("fluid.*.conductivity_W_mK", "Conductivity of the liquid, W/(m·K)."),
    ("fluid.*.viscosity_uPa_s", "Viscosity of the liquid, µPa·s."),
    ("fluid.*.surface_tension_mN_m", "Surface tension, mN/m."),
    ("fluid.*.source", "Where the values come from; printed with the results."),
    ("spray", "How the spray side is cooled."),
    (
        "spray.model",
        "\"prescribed\": stated coefficients; \"correlated\": computed from the nozzles.",
    ),
    ("spray.htc_W_m2K", "Coefficient everywhere on the spray side, W/(m²·K); prescribed model."),
    (
        "spray.map",
        "CSV file of coefficients over the module, W/(m²·K), first row at the top; prescribed model.",
    ),
    ("spray.patch", "Another coefficient over a part; later patches win. Prescribed model."),
    ("spray.patch.rect_mm", RECT),
    ("spray.patch.over", "A die or a die type that the patch covers."),
    ("spray.patch.htc_W_m2K", "Coefficient, W/(m²·K)."),
    ("spray.unwetted_htc_W_m2K", "Coefficient where no drop lands, W/(m²·K)."),
    ("spray.exit_quality_max", "Largest share of vapour that may leave, by mass."),
    ("spray.modules_in_system", "Modules on the loop, for the budget of coolant."),
    ("spray.facility_water_rise_K", "Rise of the facility's water, K, for the budget."),
    ("spray.room_air_rise_K", "Rise of the room's air, K, for the budget."),
    ("nozzle_type", "A type of nozzle."),
    ("nozzle_type.*.cone_deg", "Full cone angle, degrees."),
    ("nozzle_type.*.orifice_mm", "Diameter of the orifice, mm."),
    ("nozzle_type.*.flow_mL_s", "Flow of one nozzle, mL/s."),
    ("nozzle_type.*.pressure_drop_kPa", "Pressure drop over the nozzle, kPa."),
    ("nozzle", "A nozzle, or a CSV table of them."),
    ("nozzle.name", "Name of the nozzle."),
    ("nozzle.type", "Its [nozzle_type.NAME]."),
    ("nozzle.at_mm", "Orifice [x, y], mm, seen from above the module."),
    ("nozzle.standoff_mm", "Height of the orifice above the spray side, mm."),
    ("nozzle.tilt_deg", "[about x, about y], degrees; upright unless stated."),
    ("nozzle.flow_factor", "Times the flow of its type; 0 is a blocked nozzle."),
    (
        "nozzle.table",
        "CSV file with a nozzle a row: name,type,x_mm,y_mm,standoff_mm,tilt_x_deg,tilt_y_deg,flow_factor. Stands alone.",
    ),
    ("nozzle_group", "The same nozzles over a die, or over every die of a type."),
    ("nozzle_group.type", "Their [nozzle_type.NAME]."),
    ("nozzle_group.over", "A die or a die type."),
    (
        "nozzle_group.offsets_mm",
        "[[x, y], ...] from the centre of the die, mm; they turn with the die.",
    ),
    ("nozzle_group.standoff_mm", "Height of the orifices above the spray side, mm."),
    ("nozzle_group.flow_factor", "Times the flow of the type."),
    ("board", "The board side: a coefficient, or the field of contacts."),
    ("board.temperature_C", "Temperature of the board, °C."),
    ("board.htc_W_m2K", "Coefficient, W/(m²·K), instead of contacts."),
    ("board.contacts", "Number of spring contacts."),
    ("board.conductance_per_contact_W_K", "Thermal conductance of one contact, W/K."),
    ("board.force_per_contact_N", "Force of one contact, N."),
    ("board.flatness_mm", "Flatness that the contacts tolerate, mm."),
    ("backing_plate", "The plate that carries the force of the contacts."),
    (
        "backing_plate.material",
        "A metal of the library, or a name with elastic_modulus_GPa and poisson.",
    ),
    ("backing_plate.thickness_mm", "Thickness, mm."),
    ("backing_plate.span_mm", "Span along x and y between its supports, mm."),
    ("backing_plate.support", "How its edges are held."),
    ("backing_plate.elastic_modulus_GPa", "Young's modulus, GPa."),
    ("backing_plate.poisson", "Poisson's ratio."),
    ("backing_plate.yield_MPa", "Yield strength, MPa."),
    ("mesh", "Bounds for the mesh, which is chosen otherwise."),
    (
        "mesh.accuracy_K",
        "Refine until every junction is known better than this, K; 0.1 unless stated.",
    ),
    ("mesh.cell_mm", "A fixed size of cells, mm, without refinement."),
    ("mesh.max_cells", "Most unknowns: a bound on memory and time."),
    ("arrange", "Bounds for a better nozzle pattern."),
    (
        "arrange.region_mm",
        "Orifices stand within [x, y, width, height], mm; the module unless stated.",
    ),
    ("arrange.keep_out", "Where no orifice may stand."),
    ("arrange.keep_out.rect_mm", RECT),
    ("arrange.least_spacing_mm", "Least distance between orifices, mm."),
    ("arrange.standoff_mm", "[lowest, highest], mm; each nozzle as it is unless stated."),
    ("arrange.flow_factor", "[lowest, highest], times the flow of the type."),
    ("arrange.total_flow_mL_s", "Most flow of all nozzles together, mL/s."),
    ("arrange.least_chf_margin", "Least CHF margin of every die."),
    ("arrange.least_limit_margin_K", "Every junction stays below its limit by this, K."),
    ("sensor", "A thermometer on a die or a layer."),
    ("sensor.name", "Name of the sensor; readings are listed by it."),
    ("sensor.die", "The die that it sits on."),
    ("sensor.offset_mm", "[x, y] from the centre of the unturned die, mm."),
    ("sensor.on", "The layer that it sits on."),
    ("sensor.at_mm", "[x, y] on the module, mm, for a sensor on a layer."),
    ("sensor.face", "Where it sits: junction or back of a die, top or bottom of a layer."),
    ("sensor.type", "Its published limit of error."),
    ("sensor.limit_of_error_K", "Its limit of error, K, where no type is stated."),
    ("sensor.placement_mm", "How far it may sit from where it should, mm."),
    ("correction", "Factors on what the case states, as `fit` writes them."),
    ("correction.spray_coefficient", "Factor on all spray coefficients."),
    ("correction.attach_conductivity", "Factor on the conductivities of all attaches."),
    ("correction.board_coefficient", "Factor on the board's coefficient."),
    ("correction.inlet_offset_K", "Added to the inlet temperature, K."),
    ("qualification", "What a cycling test is to prove."),
    ("qualification.model", "Fatigue model of the joints."),
    ("qualification.field_life_years", "Life in the field, years."),
    ("qualification.margin", "Factor on the cycles of that life."),
    ("qualification.reliability", "Share of parts that survive the life, 0 to 1."),
    ("qualification.confidence", "Confidence of the proof, 0 to 1."),
    ("qualification.failures_allowed", "Failures with which the test still passes."),
    ("qualification.weibull_slope", "Slope of the Weibull distribution of lives."),
    ("qualification.samples", "Parts on test, where they are given."),
    ("qualification.field", "A use in the field."),
    ("qualification.field.name", "Name of the use."),
    ("qualification.field.per_year", "Cycles a year."),
    ("qualification.field.low_C", "Cold end of the cycle, °C."),
    ("qualification.field.high_C", "Hot end of the cycle, °C."),
    ("qualification.field.dwell_min", "Dwell at the hot end, minutes."),
    (
        "qualification.field.history",
        "CSV file of junction temperatures over one period, instead of the ends.",
    ),
    ("qualification.test", "The cycle of the test."),
    ("qualification.test.cycle_min", "Length of a cycle, minutes."),
    ("qualification.test.low_C", "Cold end of the cycle, °C."),
    ("qualification.test.high_C", "Hot end of the cycle, °C."),
    ("qualification.test.dwell_min", "Dwell at the hot end, minutes."),
    (
        "qualification.test.history",
        "CSV file of junction temperatures over one period, instead of the ends.",
    ),
    ("qualification.known_life", "A life known from an earlier test."),
    ("qualification.known_life.cycles", "Cycles to failure."),
    ("qualification.known_life.low_C", "Cold end of the cycle, °C."),
    ("qualification.known_life.high_C", "Hot end of the cycle, °C."),
    ("qualification.known_life.cycles_per_day", "Cycles a day."),
    ("qualification.known_life.dwell_min", "Dwell at the hot end, minutes."),
    ("cycle", "What changes over time."),
    ("cycle.period_s", "Length of the profile, s."),
    ("cycle.repeats", "How often it runs."),
    (
        "cycle.start",
        "\"periodic\": the state that comes back; \"steady\"; or \"uniform\" with start_C.",
    ),
    ("cycle.start_C", "Temperature of a uniform start, °C."),
    ("cycle.time_accuracy_K", "Error allowed to the steps in time, K; 0.1 unless stated."),
    ("cycle.snapshots_s", "Times at which the surface is drawn, s."),
    (
        "cycle.dwell_above_C",
        "Temperature above which time is counted, °C; the limit unless stated.",
    ),
    (
        "cycle.ramp_window_s",
        "Window of the fastest rise and fall, s; a hundredth of the period unless stated.",
    ),
    ("cycle.coarsening", "How far the mesh of the steady solution is thinned."),
    ("cycle.step_response", "Die or types whose answer to a step of power is computed."),
    ("cycle.trace", "CSV file of what changes over time, instead of the tables below."),
    ("cycle.trace_shape", "What holds between the rows of the trace."),
    ("cycle.power", "A power over time."),
    ("cycle.power.of", "A die, die type, heater or \"module\"; the closest name counts."),
    (
        "cycle.power.shape",
        "\"steps\": each value holds until the next time; \"ramps\": straight lines.",
    ),
    ("cycle.power.time_s", "Times, s, from 0."),
    ("cycle.power.factor", "Factors on the stated power, one a time."),
    ("cycle.power.power_W", "Powers, W, one a time, instead of factors."),
    ("cycle.coolant", "The coolant over time."),
    (
        "cycle.coolant.shape",
        "\"steps\": each value holds until the next time; \"ramps\": straight lines.",
    ),
    ("cycle.coolant.time_s", "Times, s, from 0."),
    ("cycle.coolant.flow_factor", "Factors on the flow of every nozzle."),
    ("cycle.coolant.htc_factor", "Factors on stated coefficients."),
    ("cycle.coolant.inlet_C", "Inlet temperatures, °C."),
    ("tolerance", "How far an input may be from what is stated, for `scatter`."),
    ("tolerance.quantity", "Which input."),
    ("tolerance.of", "A die, die type, heater, layer, nozzle or nozzle type; all unless stated."),
    ("tolerance.distribution", "How it is distributed."),
    ("tolerance.spread", "Spread in the quantity's unit: standard deviation or half width."),
    ("tolerance.spread_pct", "Spread in percent of what is stated."),
    ("tolerance.items", "\"each\" varies by itself, or all \"together\"."),
];

#[cfg(test)]
mod tests {
    use super::super::{Form, TableForm, form};
    use super::*;

    fn paths(table: &TableForm, above: &str, found: &mut Vec<String>) {
        for key in &table.keys {
            let path = format!("{above}{}", key.key);
            match &key.form {
                Form::Table(inner) | Form::Tables(inner) => {
                    paths(inner, &format!("{path}."), found);
                }
                Form::NamedTables(inner) => paths(inner, &format!("{path}.*."), found),
                _ => {}
            }
            found.push(path);
        }
    }

    /// Whoever adds a key to the reader explains it here; no text outlives its key.
    #[test]
    fn every_key_that_is_read_has_its_text() {
        let mut read = Vec::new();
        paths(&form(), "", &mut read);
        let without: Vec<&String> = read.iter().filter(|path| key_text(path).is_none()).collect();
        assert!(without.is_empty(), "no text of {without:?}");
        let stale: Vec<&str> = TEXTS
            .iter()
            .map(|(path, _)| *path)
            .filter(|path| !read.iter().any(|known| known == path))
            .collect();
        assert!(stale.is_empty(), "texts of keys that are not read: {stale:?}");
        assert!(read.len() > 150, "{}", read.len());
        for (k, (path, text)) in TEXTS.iter().enumerate() {
            assert!(text.ends_with('.') && text.len() > 8, "{path}");
            assert!(!TEXTS[..k].iter().any(|(known, _)| known == path), "{path} twice");
        }
    }
}
