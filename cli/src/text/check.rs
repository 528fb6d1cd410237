//! What was understood of a case, for people.

use sprayside_solver::case::{Record, SprayRecord};

use super::table::{Side, Table};
use super::{GOOD, HEADING, NOTE, WIDTH, counted, styled, wrapped};
use crate::figures::{grouped, significant};

/// Die in the table; a larger module shows those with the highest flux.
const MOST_ROWS: usize = 60;

/// Everything that was understood; `warnings` are told elsewhere and only counted here.
pub fn check(record: &Record, warnings: usize) -> String {
    let mut text = match warnings {
        0 => format!("{}  The case can be solved.", styled(GOOD, "OK")),
        n => format!(
            "{}  The case can be solved, but {} suspicious; see below.",
            styled(NOTE, "LOOK"),
            if n == 1 { "one thing is".to_owned() } else { format!("{n} things are") },
        ),
    };
    text += &format!("\n\n{}\n", styled(HEADING, &record.title));
    text += &format!(
        "{} x {} mm, {} cm²; {} W in all, {} W/cm² over the module.\n",
        significant(record.size_mm[0], 6),
        significant(record.size_mm[1], 6),
        significant(record.area_cm2, 4),
        significant(record.power_W, 5),
        significant(record.power_W / record.area_cm2, 3),
    );
    text += &format!("\n{}", super::sketch::sketch(record));
    text += &layers(record);
    text += &die(record);
    text += &heaters(record);
    text += &surroundings(record);
    text += &materials(record);
    text
}

fn heading(text: &str) -> String {
    format!("\n{}\n", styled(HEADING, text))
}

fn layers(record: &Record) -> String {
    let mut table = Table::new(vec![
        ("layer", "", Side::Left),
        ("material", "", Side::Left),
        ("thickness", "mm", Side::Right),
        ("resistance", "mm²K/W", Side::Right),
        ("sheets", "", Side::Right),
    ]);
    for layer in record.layers.iter().rev() {
        table.row(
            vec![
                layer.name.clone(),
                layer.material.clone(),
                significant(layer.thickness_mm, 4),
                significant(layer.resistance_mm2K_W, 3),
                layer.slices.map_or(String::new(), |slices| slices.to_string()),
            ],
            None,
        );
    }
    heading("Layers, from the spray side down") + &table.text()
}

fn die(record: &Record) -> String {
    if record.die.is_empty() {
        return String::new();
    }
    let mut table = Table::new(vec![
        ("die", "", Side::Left),
        ("type", "", Side::Left),
        ("centre", "mm", Side::Left),
        ("size", "mm", Side::Left),
        ("power", "W", Side::Right),
        ("spread", "", Side::Left),
        ("mean flux", "W/cm²", Side::Right),
        ("peak flux", "W/cm²", Side::Right),
        ("face", "", Side::Left),
        ("attach", "", Side::Left),
        ("limit", "°C", Side::Right),
    ]);
    let mut shown: Vec<_> = record.die.iter().collect();
    if shown.len() > MOST_ROWS {
        shown.sort_by(|a, b| b.mean_flux_W_cm2.total_cmp(&a.mean_flux_W_cm2));
        shown.truncate(MOST_ROWS);
    }
    for die in &shown {
        let [x, y, width, height] = die.rect_mm;
        let attach = die.attach.as_ref().map_or_else(
            || "none".to_owned(),
            |(material, thickness)| format!("{material} {} mm", significant(*thickness, 3)),
        );
        table.row(
            vec![
                die.name.clone(),
                die.type_name.clone(),
                format!(
                    "{}, {}",
                    significant(x + width / 2.0, 5),
                    significant(y + height / 2.0, 5)
                ),
                format!(
                    "{} x {} x {}",
                    significant(width, 5),
                    significant(height, 5),
                    significant(die.thickness_mm, 3)
                ),
                significant(die.power_W, 4),
                die.power_spread.clone(),
                significant(die.mean_flux_W_cm2, 3),
                significant(die.peak_flux_W_cm2, 3),
                die.active_face.to_owned(),
                attach,
                die.limit_C.map_or(String::new(), |limit| significant(limit, 4)),
            ],
            None,
        );
    }
    let power: f64 = record.die.iter().map(|die| die.power_W).sum();
    let mut text = heading(&format!(
        "{} die on {} cm² ({} % of the module), {} W",
        record.die.len(),
        significant(record.die_area_cm2, 4),
        significant(100.0 * record.die_area_cm2 / record.area_cm2, 3),
        significant(power, 5),
    ));
    text += &table.text();
    let hidden = record.die.len() - shown.len();
    if hidden > 0 {
        text += &format!("  The {MOST_ROWS} with the highest flux; {hidden} more are not shown.\n");
    }
    text
}

fn heaters(record: &Record) -> String {
    if record.heaters.is_empty() {
        return String::new();
    }
    let mut table = Table::new(vec![
        ("heater", "", Side::Left),
        ("on", "", Side::Left),
        ("face", "", Side::Left),
        ("corner", "mm", Side::Left),
        ("size", "mm", Side::Left),
        ("power", "W", Side::Right),
        ("flux", "W/cm²", Side::Right),
    ]);
    for heater in &record.heaters {
        let [x, y, width, height] = heater.rect_mm.map(|v| significant(v, 5));
        table.row(
            vec![
                heater.name.clone(),
                heater.on.clone(),
                heater.face.to_owned(),
                format!("{x}, {y}"),
                format!("{width} x {height}"),
                significant(heater.power_W, 4),
                significant(heater.mean_flux_W_cm2, 3),
            ],
            None,
        );
    }
    heading(&counted(record.heaters.len(), "heater", "heaters")) + &table.text()
}

fn surroundings(record: &Record) -> String {
    let mut lines = Vec::new();
    lines.push(match (&record.fluid, record.saturation_C) {
        (Some(fluid), Some(saturation_C)) => format!(
            "Coolant: {fluid} at {} °C and {} kPa; boils at {} °C, so it arrives {} K below.",
            significant(record.inlet_C, 4),
            significant(record.pressure_kPa, 4),
            significant(saturation_C, 4),
            significant(saturation_C - record.inlet_C, 3),
        ),
        _ => format!("Coolant at {} °C.", significant(record.inlet_C, 4)),
    });
    lines.push(match &record.spray {
        SprayRecord::Prescribed { base_htc_W_m2K: [low, high], patches, mean_htc_W_m2K } => {
            let base = if low == high {
                significant(*low, 5)
            } else {
                format!("{} to {} (map)", significant(*low, 4), significant(*high, 4))
            };
            let patches = match patches {
                0 => String::new(),
                n => format!(
                    " under {}; {} W/(m²K) on average over the module",
                    counted(*n, "patch", "patches"),
                    significant(*mean_htc_W_m2K, 4)
                ),
            };
            format!("Spray, prescribed: {base} W/(m²K){patches}.")
        }
        SprayRecord::Correlated { nozzles, types, total_flow_mL_s, unwetted_htc_W_m2K } => {
            let types: Vec<String> = types
                .iter()
                .map(|(name, count, flow)| {
                    format!("{count} {name} with {} mL/s", significant(*flow, 4))
                })
                .collect();
            format!(
                "Spray, correlated: {}, {} mL/s in all ({}); {} W/(m²K) where no drop lands.",
                counted(*nozzles, "nozzle", "nozzles"),
                significant(*total_flow_mL_s, 4),
                types.join(", "),
                significant(*unwetted_htc_W_m2K, 4),
            )
        }
    });
    let contacts = record.contacts.map_or(String::new(), |(count, conductance_W_K)| {
        format!(
            " from {} contacts with {} W/K together",
            grouped(count),
            significant(conductance_W_K, 4)
        )
    });
    lines.push(format!(
        "Board at {} °C, {} W/(m²K){contacts}.",
        significant(record.board_C, 4),
        significant(record.board_htc_W_m2K, 4),
    ));
    lines.push(if record.edge_htc_W_m2K == 0.0 {
        "Edges let no heat through.".to_owned()
    } else {
        format!(
            "Edges at {} °C, {} W/(m²K).",
            significant(record.edge_C, 4),
            significant(record.edge_htc_W_m2K, 4)
        )
    });
    lines.push(match (record.accuracy_K, record.cell_mm) {
        (_, Some(cell_mm)) => {
            format!("Mesh: cells of {} mm at most, no refinement.", significant(cell_mm, 4))
        }
        (Some(accuracy_K), None) => format!(
            "Mesh: refined until every junction is known to {} K, at most {} unknowns.",
            significant(accuracy_K, 3),
            grouped(record.max_cells)
        ),
        (None, None) => String::new(),
    });
    let mut text = heading("Surroundings");
    for line in lines.iter().filter(|line| !line.is_empty()) {
        text += &format!("  {}\n", wrapped(line, WIDTH, "    "));
    }
    if let (Some(fluid), Some(source)) = (&record.fluid, &record.fluid_source) {
        text += &format!("  {}\n", wrapped(&format!("{fluid}: {source}"), WIDTH, "    "));
    }
    for caution in &record.fluid_cautions {
        text += &format!("  {}\n", wrapped(&format!("Caution: {caution}"), WIDTH, "    "));
    }
    text
}

fn materials(record: &Record) -> String {
    let mut text = heading("Materials");
    for material in &record.materials {
        let [x, y, z] = material.conductivity_W_mK;
        let conductivity = if x == y && y == z {
            significant(x, 4)
        } else {
            format!("{} / {} / {}", significant(x, 4), significant(y, 4), significant(z, 4))
        };
        let law = match (material.exponent, material.reference_C) {
            (Some(exponent), Some(reference_C)) => format!(
                " at {} °C, falling as T^-{}",
                significant(reference_C, 4),
                significant(exponent, 3)
            ),
            _ => String::new(),
        };
        let line = format!(
            "{}: {conductivity} W/(mK){law}; {}. In {}.",
            material.name,
            material.source,
            material.used_by.join(", ")
        );
        text += &format!("  {}\n", wrapped(&line, WIDTH, "    "));
    }
    text
}
