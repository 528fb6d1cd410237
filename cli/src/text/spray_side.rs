//! Liquid, loop, correlations and contacts in sentences.

use sprayside_solver::seating::Seating;
use sprayside_solver::spray::CorrelationNote;

use super::table::{Side, Table};
use super::{HEADING, NOTE, WIDTH, counted, styled, wrapped};
use crate::figures::{celsius, grouped, significant};
use crate::summary::PLATE_NOTE;
use crate::survey::Survey;

fn paragraph(heading: &str, text: &str) -> String {
    let text = format!("{} {text}", styled(HEADING, heading));
    format!("{}\n", wrapped(&text, WIDTH, "  "))
}

/// The liquid through the module, and through the whole system.
pub fn liquid(survey: &Survey) -> String {
    let budget = &survey.budget;
    let millilitres = |m3_s: f64| format!("{} mL/s", significant(m3_s * 1e6, 3));
    let percent = |share: f64| format!("{} %", significant(share * 100.0, 3));
    let mut text = paragraph(
        "Liquid:",
        &format!(
            "{} from {}; {} of it lands on the module, {} on die.",
            millilitres(budget.flow_m3_s),
            counted(survey.footprints.len(), "nozzle", "nozzles"),
            percent(budget.landed_share),
            percent(budget.on_die_share),
        ),
    );
    let heat = match survey.heat {
        Some(_) => format!("{} W into the spray", significant(budget.heat_W, 4)),
        None => format!("If all {} W go into the spray", significant(budget.heat_W, 4)),
    };
    let leaving = if budget.exit_quality > 0.0 {
        format!(
            "{heat}: {} W warm it, {} W evaporate; it leaves at {} °C with an exit quality of {} \
             ({} allowed): {} of vapour and {} of liquid, {} times the volume that enters, so the \
             return line is the wider one.",
            significant(budget.sensible_W, 3),
            significant(budget.latent_W, 3),
            significant(celsius(budget.outlet_K), 3),
            significant(budget.exit_quality, 2),
            significant(budget.exit_quality_max, 2),
            millilitres(budget.vapour_flow_m3_s),
            millilitres(budget.liquid_return_m3_s),
            significant(budget.volume_ratio, 2),
        )
    } else {
        format!("{heat}: it leaves as liquid at {} °C.", significant(celsius(budget.outlet_K), 3))
    };
    let single_phase = match budget.single_phase_flow_m3_s {
        Some(flow) => format!(" Without boiling it would take {}.", millilitres(flow)),
        None => String::new(),
    };
    text += &paragraph(
        "Loop:",
        &format!(
            "{leaving} The least flow for the quality allowed is {}.{single_phase} The nozzles take \
             {} W of pumping.",
            millilitres(budget.least_flow_m3_s),
            significant(budget.pumping_W, 2),
        ),
    );
    text += &paragraph(
        "System:",
        &format!(
            "{}: {} L/min of coolant, {} kW to reject, which takes {} L/min of facility water or \
             {} m³/s of room air at the rises stated.",
            counted(budget.modules_in_system, "module", "modules"),
            significant(budget.system_flow_m3_s * 60e3, 3),
            significant(budget.system_heat_W * 1e-3, 3),
            significant(budget.facility_water_m3_s * 60e3, 3),
            significant(budget.room_air_m3_s, 3),
        ),
    );
    text
}

/// The correlations that are used outside their published range, if any.
pub fn strained_correlations(notes: &[CorrelationNote]) -> String {
    let outside: Vec<&str> =
        notes.iter().filter(|note| !note.in_range).map(|note| note.name).collect();
    if outside.is_empty() {
        return String::new();
    }
    let text = format!(
        "{} outside the published range somewhere on the module: {}; their bands are widened \
         there. summary.json has range, source and status of each.",
        styled(NOTE, "Correlations:"),
        outside.join(", ")
    );
    format!("{}\n", wrapped(&text, WIDTH, "  "))
}

/// Every correlation with its band, range and status, a line each.
pub fn correlations(notes: &[CorrelationNote]) -> String {
    let mut table = Table::new(vec![
        ("correlation", "", Side::Left),
        ("true value", "", Side::Left),
        ("use", "", Side::Left),
        ("status", "", Side::Left),
    ]);
    for note in notes {
        let [low, high] = note.band.map(|factor| significant(factor, 2));
        let inside = if note.in_range { "inside its range" } else { "outside its range" };
        table.row(
            vec![
                note.name.to_owned(),
                format!("{low} to {high} times"),
                inside.to_owned(),
                note.status.words().to_owned(),
            ],
            None,
        );
    }
    format!("{}  Sources, ranges and remarks are in summary.json.\n", table.text())
}

/// The contact field and the plate behind it.
pub fn contacts(seating: &Seating) -> String {
    let mut text =
        format!("{} give {} W/(m²K)", grouped(seating.contacts), significant(seating.htc_W_m2K, 3));
    if let (Some(force_N), Some(pressure_Pa)) = (seating.force_N, seating.mean_pressure_Pa) {
        text += &format!(
            " and press with {} N, {} kPa on average",
            significant(force_N, 3),
            significant(pressure_Pa * 1e-3, 3)
        );
    }
    text.push('.');
    if let Some(plate) = &seating.plate {
        let flatness = match plate.flatness_margin {
            Some(margin) => {
                format!(", {} times less than the contacts allow", significant(margin, 2))
            }
            None => String::new(),
        };
        let strength = match plate.yield_margin {
            Some(margin) => format!(", {} times below yield", significant(margin, 2)),
            None => String::new(),
        };
        text += &format!(
            " The backing plate bends by {} µm at the centre{flatness}; its stress is {} \
             MPa{strength} ({PLATE_NOTE}).",
            significant(plate.deflection_m * 1e6, 3),
            significant(plate.stress_Pa * 1e-6, 3),
        );
    }
    paragraph("Contacts:", &text)
}
