//! The resistance matrix for people: what heats each junction.

use std::path::Path;

use super::table::{Side, Table};
use super::verdict::verdict;
use super::{HEADING, WIDTH, closing, counted, solve, styled, wrapped};
use crate::figures::significant;
use crate::summary::{Resistances, Solved, Summary};

/// Rows of the table; a larger module shows the hottest.
const MOST_ROWS: usize = 40;

/// Verdict, what heats each junction, how well the matrix adds up, files, cautions.
pub fn resistance(solved: &Solved, summary: &Summary, folder: &Path) -> String {
    let mut text = format!("{}\n\n", verdict(solved));
    if let Some(matrix) = &summary.resistance {
        text += &shares(solved, matrix);
        text += &format!("\n{}\n", wrapped(&how_it_adds_up(matrix), WIDTH, "  "));
    }
    text += &format!("{}\n", solve::accuracy(solved, summary));
    text += &closing::warnings(&summary.warnings[solved.case.case.warnings.len()..]);
    text += &closing::files(&summary.files, folder);
    text += &closing::cautions(&solved.case.case.record);
    text
}

/// Hottest point of each junction as reference + own watts + the others' watts.
fn shares(solved: &Solved, matrix: &Resistances) -> String {
    let mut table = Table::new(vec![
        ("junction", "", Side::Left),
        ("power", "W", Side::Right),
        ("own resistance", "K/W", Side::Right),
        ("from itself", "K", Side::Right),
        ("from others", "K", Side::Right),
        ("reference", "°C", Side::Right),
        ("most from", "", Side::Left),
        ("resistance to it", "K/W", Side::Right),
    ]);
    let junctions = &solved.result.junctions;
    let mut order: Vec<usize> = (0..matrix.names.len()).collect();
    order.sort_by(|&a, &b| junctions[b].max_K.total_cmp(&junctions[a].max_K));
    for &i in order.iter().take(MOST_ROWS) {
        let row: Vec<f64> = matrix.max_K_W[i].iter().map(|r| r.unwrap_or(0.0)).collect();
        let heat: Vec<f64> =
            row.iter().zip(&matrix.power_W).map(|(r, p)| r * p.unwrap_or(0.0)).collect();
        let others: f64 = (0..heat.len()).filter(|&j| j != i).map(|j| heat[j]).sum();
        let strongest =
            (0..row.len()).filter(|&j| j != i).max_by(|&a, &b| heat[a].total_cmp(&heat[b]));
        let optional = |value: Option<f64>, digits| {
            value.map_or(String::new(), |value| significant(value, digits))
        };
        table.row(
            vec![
                matrix.names[i].clone(),
                optional(matrix.power_W[i], 4),
                significant(row[i], 4),
                format!("{:.2}", heat[i]),
                format!("{others:.2}"),
                matrix.reference_max_C[i].map_or(String::new(), |t| format!("{t:.2}")),
                strongest.map_or(String::new(), |j| matrix.names[j].clone()),
                strongest.map_or(String::new(), |j| significant(row[j], 3)),
            ],
            None,
        );
    }
    let mut text = table.text();
    if order.len() > MOST_ROWS {
        let hidden = order.len() - MOST_ROWS;
        text += &format!("  The {MOST_ROWS} hottest; {hidden} more are in resistance_max.csv.\n");
    }
    text
}

fn how_it_adds_up(matrix: &Resistances) -> String {
    let mut text = styled(HEADING, "Superposition:");
    let error = significant(matrix.check_error_K.unwrap_or(f64::NAN), 2);
    match (matrix.check_raised_by, matrix.check_change_K) {
        (Some(raised_by), Some(change)) => {
            text += &format!(
                " a hottest point is its reference, what it gets from itself and from the others. \
                 A conductivity or the spray follows temperature, so the matrix is the slope at \
                 these powers. With {} % more power everywhere a full solve changes by up to {} K; \
                 the matrix misses that by at most {error} K.",
                significant(100.0 * raised_by, 3),
                significant(change, 3),
            );
        }
        _ => {
            text += &format!(
                " a hottest point is its reference, what it gets from itself and from the others, \
                 whatever the powers. The matrix times the powers, added to a solve without power, misses the full \
                 solve by at most {error} K."
            );
        }
    }
    if let Some(asymmetry) = matrix.asymmetry_relative {
        text += &format!(
            " Mean resistances of evenly heated sources are the same both ways within {}.",
            significant(asymmetry, 1)
        );
    }
    text += &format!(
        " {} solved in {}.",
        counted(matrix.cost.linear_systems, "linear system", "linear systems"),
        counted(matrix.cost.iterations, "iteration", "iterations")
    );
    text
}
