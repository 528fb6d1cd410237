//! From what is written to what is meant: names looked up, parts compared with one another,
//! units converted, die placed and turned. Every mistake is noted; a module comes out only if
//! there was none.

pub(super) mod arrange;
mod board;
mod coolant;
pub(super) mod correction;
pub(super) mod cycle;
mod die;
mod materials;
mod names;
mod nozzles;
pub(super) mod qualification;
pub(super) mod sensors;
mod spray;
mod spray_suspicions;
mod substrate;
pub(super) mod suspicions;
pub(super) mod tolerances;

use super::codes;
use super::context::{Context, Located};
use super::file::CaseFile;
use crate::module::{Edge, MeshControl, Module, Rect};

/// 0 °C in kelvin.
const ZERO_C_IN_K: f64 = 273.15;

/// Lengths that differ by less than this are the same, m.
const SAME_LENGTH_M: f64 = 1e-9;

/// Accuracy when none is asked for, K.
const DEFAULT_ACCURACY_K: f64 = 0.1;
/// Most unknowns when no bound is asked for: about 2 GB of memory.
const DEFAULT_MAX_CELLS: usize = 4_000_000;

/// Millimetres to metres.
///
/// Rounded to picometres first, so that edges that coincide in the file (7 + 11 and 18 mm)
/// coincide to the bit.
fn metres(mm: f64) -> f64 {
    (mm * 1e9).round() / 1e12
}

fn kelvin(celsius: f64) -> f64 {
    celsius + ZERO_C_IN_K
}

/// `[x, y, width, height]` in mm to a rectangle in m.
fn rect_m(rect_mm: [f64; 4]) -> Rect {
    let [x, y, width, height] = rect_mm;
    Rect { x0_m: metres(x), y0_m: metres(y), x1_m: metres(x + width), y1_m: metres(y + height) }
}

/// How far `inner` sticks out of `outer`, as words; `None` when it does not.
fn overhang(inner: &Rect, outer: &Rect, outer_name: &str) -> Option<String> {
    use super::context::number_text;
    let mm = |m: f64| number_text(m * 1e3);
    if outer.contains(inner, SAME_LENGTH_M) {
        return None;
    }
    let mut faults = Vec::new();
    for (axis, low, high, outer_low, outer_high) in [
        ("x", inner.x0_m, inner.x1_m, outer.x0_m, outer.x1_m),
        ("y", inner.y0_m, inner.y1_m, outer.y0_m, outer.y1_m),
    ] {
        if low < outer_low - SAME_LENGTH_M {
            faults.push(format!("it begins at {axis} = {} mm", mm(low)));
        }
        if high > outer_high + SAME_LENGTH_M {
            faults.push(format!(
                "it reaches {axis} = {} mm, {outer_name} ends at {axis} = {} mm",
                mm(high),
                mm(outer_high)
            ));
        }
    }
    Some(faults.join("; "))
}

/// The module that the file describes; `None` after noting why there is none.
pub(super) fn module(context: &Context<'_>, file: &CaseFile, file_name: &str) -> Option<Module> {
    let materials = materials::Materials::gather(context, &file.materials);
    let substrate = substrate::build(context, file.module.as_ref(), &materials);
    let size_m = substrate.size_m;
    let outline = size_m.map(|[x, y]| Rect { x0_m: 0.0, y0_m: 0.0, x1_m: x, y1_m: y });

    let die = die::build(context, file, &materials, outline.as_ref());
    let heaters = substrate::heaters(context, file, outline.as_ref());
    if !file.has_sources {
        let span = file.module.as_ref().map_or(0..0, |module| module.span.clone());
        context.push(
            context
                .error(codes::NO_HEAT_SOURCE, "the module has no die and no heater", &span, "")
                .help("add a [[die]] or a [[heater]]"),
        );
    }
    let fluids = coolant::Fluids::gather(context, &file.fluids);
    let coolant = coolant::build(context, file, &fluids);
    let spray = spray::build(context, file, outline.as_ref(), &die);
    let board = board::build(context, file, size_m);
    let edge = board.as_ref().zip(file.module.as_ref()).map(|(board, module)| Edge {
        htc_W_m2K: module.edge_htc_W_m2K.as_ref().map_or(0.0, |htc| htc.value),
        temperature_K: module
            .edge_temperature_C
            .as_ref()
            .map_or(board.temperature_K, |temperature| kelvin(temperature.value)),
    });
    let mesh = mesh(context, file);

    let module = Module {
        title: file.title.as_ref().map_or_else(|| file_name.to_owned(), |t| t.value.clone()),
        size_m: size_m?,
        layers: substrate.layers?,
        die: die.into_iter().map(|placed| placed.die).collect::<Option<Vec<_>>>()?,
        heaters: heaters?,
        coolant: coolant?,
        spray: spray?,
        board: board?,
        edge: edge?,
        mesh,
    };
    check_heat_sink(context, file, &module);
    Some(module)
}

fn mesh(context: &Context<'_>, file: &CaseFile) -> MeshControl {
    let asked = file.mesh.as_ref();
    let accuracy = asked.and_then(|mesh| mesh.accuracy_K.as_ref());
    let cell = asked.and_then(|mesh| mesh.cell_mm.as_ref());
    if let (Some(accuracy), Some(cell)) = (accuracy, cell) {
        exclusive(
            context,
            ("accuracy_K", accuracy),
            ("cell_mm", cell),
            "accuracy_K refines the mesh until it is good enough; cell_mm fixes it",
        );
    }
    let value = |number: Option<&Located<f64>>| number.map(|number| number.value);
    MeshControl {
        accuracy_K: value(accuracy).unwrap_or(DEFAULT_ACCURACY_K),
        cell_m: value(cell).map(metres),
        max_cells: asked
            .and_then(|mesh| mesh.max_cells.as_ref())
            .map_or(DEFAULT_MAX_CELLS, |count| count.value),
    }
}

/// Notes two keys that exclude each other; the later one is marked.
fn exclusive<A, B>(
    context: &Context<'_>,
    (first_key, first): (&str, &Located<A>),
    (second_key, second): (&str, &Located<B>),
    help: &str,
) {
    let (early, late) = if first.span.start < second.span.start {
        (&first.span, &second.span)
    } else {
        (&second.span, &first.span)
    };
    context.push(
        context
            .error(
                codes::EXCLUSIVE_KEYS,
                format!("{first_key} and {second_key} exclude each other"),
                late,
                "",
            )
            .also(context.label(early, "already said here"))
            .help(format!("{help}; keep one of them")),
    );
}

fn check_heat_sink(context: &Context<'_>, file: &CaseFile, module: &Module) {
    if module.has_heat_sink() {
        return;
    }
    let span = file.spray.as_ref().map_or(0..0, |spray| spray.span.clone());
    let mut finding = context.error(
        codes::NO_HEAT_SINK,
        "nothing takes the heat away",
        &span,
        "every spray coefficient is zero",
    );
    if let Some(board) = &file.board {
        finding = finding.also(context.label(&board.span, "the board coefficient is zero"));
    }
    context.push(finding.help("give the spray, the board or the edges a coefficient above zero"));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_that_coincide_in_the_file_coincide_to_the_bit() {
        assert_eq!(metres(7.1 + 11.3), metres(18.4));
        assert_eq!(metres(0.1 + 0.2), metres(0.3));
        assert_eq!(metres(96.0), 0.096);
    }
}
