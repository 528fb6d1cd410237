//! Die: placed, turned, with their blocks and power maps; and what they do to each other.

use std::sync::Arc;

use super::super::codes;
use super::super::context::{Context, Located, number_text};
use super::super::file::{CaseFile, FileDie, FileDieType};
use super::super::grid_csv::{self, Grid};
use super::super::ranges::MOST_PARTS;
use super::materials::Materials;
use super::{SAME_LENGTH_M, exclusive, kelvin, metres, names, overhang, rect_m};
use crate::library::Material;
use crate::module::{Attach, Die, GridMap, PowerBlock, Rect, Turn};

/// A die as far as it was understood.
pub(super) struct PlacedDie {
    pub name: Option<String>,
    pub type_name: Option<String>,
    /// Footprint, where position, type and turn were understood.
    pub rect: Option<Rect>,
    pub turn: Turn,
    /// The whole die; `None` where anything was wrong (and noted).
    pub die: Option<Die>,
}

/// A die type with its names looked up.
struct DieType<'f> {
    file: &'f FileDieType,
    material: Option<Arc<Material>>,
    /// `Some(None)`: understood, and there is no attach.
    attach: Option<Option<Attach>>,
}

pub(super) fn build(
    context: &Context<'_>,
    file: &CaseFile,
    materials: &Materials,
    outline: Option<&Rect>,
) -> Vec<PlacedDie> {
    let types: Vec<DieType<'_>> =
        file.die_types.iter().map(|file| die_type(context, file, materials)).collect();
    if let Some(name) = file.die.get(MOST_PARTS).and_then(|die| die.name.as_ref()) {
        let given = format!("{} are given; this is the first too many", file.die.len());
        let headline = format!("more than {MOST_PARTS} die");
        context.push(
            context
                .error(codes::TOO_MANY, headline, &name.span, given)
                .help("check what wrote the case"),
        );
        return Vec::new();
    }
    let die_names = file.die.iter().filter_map(|die| die.name.as_ref());
    let heater_names = file.heaters.iter().filter_map(|heater| heater.name.as_ref());
    names::check_unique(context, "die or heater", die_names.chain(heater_names), |a, b| a == b);

    let placed: Vec<PlacedDie> =
        file.die.iter().map(|die| place(context, die, &types, outline)).collect();
    check_overlaps(context, file, &placed);
    placed
}

fn die_type<'f>(
    context: &Context<'_>,
    file: &'f FileDieType,
    materials: &Materials,
) -> DieType<'f> {
    let attach = match &file.attach {
        None => Some(None),
        Some(attach) => {
            let material = attach.material.as_ref().and_then(|name| materials.find(context, name));
            material.zip(attach.thickness_mm.as_ref()).map(|(material, thickness)| {
                Some(Attach { material, thickness_m: metres(thickness.value) })
            })
        }
    };
    DieType {
        file,
        material: file.material.as_ref().and_then(|name| materials.find(context, name)),
        attach,
    }
}

fn place(
    context: &Context<'_>,
    file: &FileDie,
    types: &[DieType<'_>],
    outline: Option<&Rect>,
) -> PlacedDie {
    let die_type = file.type_name.as_ref().and_then(|name| {
        let found = types.iter().find(|die_type| die_type.file.name.value == name.value);
        if found.is_none() {
            let known = types.iter().map(|die_type| die_type.file.name.value.as_str());
            names::unknown(context, "die type", name, known);
        }
        found
    });
    let turn = match &file.turn_deg {
        None => Some(Turn::None),
        Some(degrees) => turn(context, degrees),
    };
    let size_mm = die_type.and_then(|t| t.file.size_mm.as_ref()).map(|size| size.value);
    let placement = match (&file.at_mm, size_mm, turn) {
        (Some(at), Some(size_mm), Some(turn)) => {
            Some(Placement { centre_mm: at.value, size_mm, turn })
        }
        _ => None,
    };
    let name = file.name.as_ref().map_or("", |name| name.value.as_str());
    if let (Some(placement), Some(outline), Some(at)) = (&placement, outline, &file.at_mm)
        && let Some(fault) = overhang(&placement.footprint(), outline, "the module")
    {
        context.push(
            context
                .error(
                    codes::DIE_OFF_MODULE,
                    format!("die \"{name}\" reaches over the edge of the module"),
                    &at.span,
                    fault,
                )
                .help("at_mm is the centre of the die; move it or enlarge the module"),
        );
    }
    let power = file.power_W.as_ref();
    let blocks = blocks(context, file, name, size_mm, placement.as_ref());
    let power_map = match &file.power_map {
        None => Some(None),
        Some(path) => {
            let grid = grid_csv::load(context, path, &grid_csv::RELATIVE_POWER);
            grid.zip(placement.as_ref()).map(|(grid, placement)| Some(placement.map(&grid)))
        }
    };
    if let (Some(path), Some(block)) = (&file.power_map, file.blocks.first()) {
        let block = Located { value: (), span: block.span.clone() };
        exclusive(
            context,
            ("power_map", path),
            ("[[die.block]]", &block),
            "a die spreads its power over blocks or by a map",
        );
    }
    let die = (|| {
        let (die_type, placement) = (die_type?, placement.as_ref()?);
        Some(Die {
            name: file.name.as_ref()?.value.clone(),
            type_name: file.type_name.as_ref()?.value.clone(),
            rect: placement.footprint(),
            turn: placement.turn,
            thickness_m: metres(die_type.file.thickness_mm.as_ref()?.value),
            material: turned_material(die_type.material.as_ref()?, placement.turn),
            active_face: die_type.file.active_face.as_ref()?.value,
            attach: die_type.attach.as_ref()?.as_ref().map(|attach| Attach {
                material: turned_material(&attach.material, placement.turn),
                thickness_m: attach.thickness_m,
            }),
            limit_K: die_type.file.limit_C.as_ref().map(|limit| kelvin(limit.value)),
            power_W: power?.value,
            blocks: blocks?,
            power_map: power_map?,
        })
    })();
    PlacedDie {
        name: file.name.as_ref().map(|name| name.value.clone()),
        type_name: file.type_name.as_ref().map(|name| name.value.clone()),
        rect: placement.as_ref().map(Placement::footprint),
        turn: turn.unwrap_or_default(),
        die,
    }
}

fn turn(context: &Context<'_>, degrees: &Located<f64>) -> Option<Turn> {
    let whole_turns = degrees.value.rem_euclid(360.0);
    if let (true, Some(turn)) = ((0.0..360.0).contains(&degrees.value), quarter(degrees.value)) {
        return Some(turn);
    }
    let finding = context.error(
        codes::BAD_TURN,
        "turn_deg must be 0, 90, 180 or 270",
        &degrees.span,
        format!("got {}", number_text(degrees.value)),
    );
    context.push(if quarter(whole_turns).is_some() {
        finding.help(format!("write {}", number_text(whole_turns)))
    } else {
        finding.help("die stand square on the module; turns are counter-clockwise")
    });
    None
}

fn quarter(degrees: f64) -> Option<Turn> {
    [(0.0, Turn::None), (90.0, Turn::Quarter), (180.0, Turn::Half), (270.0, Turn::ThreeQuarter)]
        .into_iter()
        .find(|(angle, _)| *angle == degrees)
        .map(|(_, turn)| turn)
}

/// Where a die stands and how it is turned; mm as in the file.
struct Placement {
    centre_mm: [f64; 2],
    size_mm: [f64; 2],
    turn: Turn,
}

/// A vector turned counter-clockwise.
pub(super) fn turned(turn: Turn, [x, y]: [f64; 2]) -> [f64; 2] {
    match turn {
        Turn::None => [x, y],
        Turn::Quarter => [-y, x],
        Turn::Half => [-x, -y],
        Turn::ThreeQuarter => [y, -x],
    }
}

impl Placement {
    /// A rectangle in the unturned die's own coordinates to module coordinates.
    fn to_module(&self, [x, y, width, height]: [f64; 4]) -> Rect {
        let corner = |u: f64, v: f64| {
            let [dx, dy] =
                turned(self.turn, [u - 0.5 * self.size_mm[0], v - 0.5 * self.size_mm[1]]);
            [metres(self.centre_mm[0] + dx), metres(self.centre_mm[1] + dy)]
        };
        let ([ax, ay], [bx, by]) = (corner(x, y), corner(x + width, y + height));
        Rect { x0_m: ax.min(bx), y0_m: ay.min(by), x1_m: ax.max(bx), y1_m: ay.max(by) }
    }

    fn footprint(&self) -> Rect {
        self.to_module([0.0, 0.0, self.size_mm[0], self.size_mm[1]])
    }

    /// A grid over the unturned die to a map over the footprint.
    ///
    /// Box (i, j) of the unturned die, counted from its lower left corner, goes where its centre
    /// goes: a quarter turn sends (i, j) to (ny - 1 - j, i).
    fn map(&self, grid: &Grid) -> GridMap {
        let (nx, ny) = match self.turn {
            Turn::None | Turn::Half => (grid.nx, grid.ny),
            Turn::Quarter | Turn::ThreeQuarter => (grid.ny, grid.nx),
        };
        let mut values = vec![0.0; nx * ny];
        for j in 0..grid.ny {
            for i in 0..grid.nx {
                let (column, row) = match self.turn {
                    Turn::None => (i, j),
                    Turn::Quarter => (grid.ny - 1 - j, i),
                    Turn::Half => (grid.nx - 1 - i, grid.ny - 1 - j),
                    Turn::ThreeQuarter => (j, grid.nx - 1 - i),
                };
                values[row * nx + column] = grid.values[j * grid.nx + i];
            }
        }
        GridMap { rect: self.footprint(), nx, ny, values }
    }
}

/// A material whose x and y axes follow the die.
fn turned_material(material: &Arc<Material>, turn: Turn) -> Arc<Material> {
    let [x, y, z] = material.conductivity_W_mK;
    match turn {
        Turn::Quarter | Turn::ThreeQuarter if x != y => {
            Arc::new(Material { conductivity_W_mK: [y, x, z], ..Material::clone(material) })
        }
        _ => Arc::clone(material),
    }
}

/// The blocks in module coordinates; `None` where anything about them was wrong.
fn blocks(
    context: &Context<'_>,
    file: &FileDie,
    name: &str,
    size_mm: Option<[f64; 2]>,
    placement: Option<&Placement>,
) -> Option<Vec<PowerBlock>> {
    names::check_unique(
        context,
        &format!("die \"{name}\": block"),
        file.blocks.iter().filter_map(|block| block.name.as_ref()),
        |a, b| a == b,
    );
    // The unturned die's own coordinates, for the checks.
    let local: Vec<Option<Rect>> =
        file.blocks.iter().map(|b| b.rect_mm.as_ref().map(|rect| rect_m(rect.value))).collect();
    let block_name =
        |index: usize| file.blocks[index].name.as_ref().map_or("", |name| name.value.as_str());
    let die = size_mm.map(|[x, y]| rect_m([0.0, 0.0, x, y]));
    let mut good = true;
    for (index, rect) in local.iter().enumerate() {
        let (Some(rect), Some(located)) = (rect, &file.blocks[index].rect_mm) else { continue };
        if let Some(die) = &die
            && let Some(fault) = overhang(rect, die, "the die")
        {
            good = false;
            context.push(
                context
                    .error(
                        codes::BLOCK_OUTSIDE_DIE,
                        format!("block \"{}\" reaches outside die \"{name}\"", block_name(index)),
                        &located.span,
                        fault,
                    )
                    .help("rect_mm is [x, y, width, height] from the unturned die's lower left corner"),
            );
        }
        for (earlier, other) in local[..index].iter().enumerate() {
            let (Some(other), Some(other_located)) = (other, &file.blocks[earlier].rect_mm) else {
                continue;
            };
            if rect.overlaps(other, SAME_LENGTH_M) && !context.is_full() {
                good = false;
                context.push(
                    context
                        .error(
                            codes::BLOCK_OVERLAP,
                            format!(
                                "block \"{}\" overlaps block \"{}\" of die \"{name}\"",
                                block_name(index),
                                block_name(earlier)
                            ),
                            &located.span,
                            extent_text(rect),
                        )
                        .also(context.label(&other_located.span, extent_text(other)))
                        .help("move or shrink one of them; blocks may touch"),
                );
            }
        }
    }
    let powers: Option<Vec<f64>> =
        file.blocks.iter().map(|block| block.power_W.as_ref().map(|power| power.value)).collect();
    if let (Some(powers), Some(die_power), false) = (powers, &file.power_W, file.blocks.is_empty())
    {
        let sum: f64 = powers.iter().sum();
        let slack = 1e-9 * die_power.value.max(sum);
        if sum > die_power.value + slack {
            good = false;
            let mut finding = context.error(
                codes::BLOCK_POWER,
                format!("the blocks of die \"{name}\" have more power than the die"),
                &die_power.span,
                format!("the blocks add up to {} W", number_text(sum)),
            );
            for power in file.blocks.iter().filter_map(|block| block.power_W.as_ref()) {
                finding = finding.also(context.label(&power.span, ""));
            }
            context.push(finding.help(format!(
                "power_W of the die is the whole, blocks included: write at least {}",
                number_text(sum)
            )));
        }
        let covered: Option<f64> = local.iter().map(|rect| rect.map(|r| r.area_m2())).sum();
        if let (Some(covered), Some(die)) = (covered, &die)
            && good
            && covered > die.area_m2() * (1.0 - 1e-9)
            && sum < die_power.value - slack
        {
            good = false;
            context.push(
                context
                    .error(
                        codes::BLOCK_POWER_LEFT,
                        format!("the blocks of die \"{name}\" leave power but no area"),
                        &die_power.span,
                        format!(
                            "{} W are left and the blocks cover the die",
                            number_text(die_power.value - sum)
                        ),
                    )
                    .help(format!("make the block powers add up, or write {}", number_text(sum))),
            );
        }
    }
    if !good {
        return None;
    }
    file.blocks
        .iter()
        .map(|block| {
            Some(PowerBlock {
                name: block.name.as_ref()?.value.clone(),
                rect: placement?.to_module(block.rect_mm.as_ref()?.value),
                power_W: block.power_W.as_ref()?.value,
            })
        })
        .collect()
}

/// `x 2 to 7 mm, y 2 to 8 mm`.
fn extent_text(rect: &Rect) -> String {
    let mm = |m: f64| number_text(m * 1e3);
    format!(
        "x {} to {} mm, y {} to {} mm",
        mm(rect.x0_m),
        mm(rect.x1_m),
        mm(rect.y0_m),
        mm(rect.y1_m)
    )
}

fn check_overlaps(context: &Context<'_>, file: &CaseFile, placed: &[PlacedDie]) {
    let name = |index: usize| placed[index].name.as_deref().unwrap_or("");
    for (late, die) in placed.iter().enumerate() {
        let (Some(rect), Some(at)) = (&die.rect, &file.die[late].at_mm) else { continue };
        for (early, other) in placed[..late].iter().enumerate() {
            let (Some(other_rect), Some(other_at)) = (&other.rect, &file.die[early].at_mm) else {
                continue;
            };
            if !rect.overlaps(other_rect, SAME_LENGTH_M) {
                continue;
            }
            if context.is_full() {
                return;
            }
            context.push(
                context
                    .error(
                        codes::DIE_OVERLAP,
                        format!("die \"{}\" overlaps die \"{}\"", name(late), name(early)),
                        &at.span,
                        format!("\"{}\": {}", name(late), extent_text(rect)),
                    )
                    .also(context.label(
                        &other_at.span,
                        format!("\"{}\": {}", name(early), extent_text(other_rect)),
                    ))
                    .help("move one of them; die may touch but not overlap"),
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placement(turn: Turn) -> Placement {
        Placement { centre_mm: [20.0, 10.0], size_mm: [6.0, 4.0], turn }
    }

    fn rect(x0: f64, y0: f64, x1: f64, y1: f64) -> Rect {
        Rect { x0_m: metres(x0), y0_m: metres(y0), x1_m: metres(x1), y1_m: metres(y1) }
    }

    /// A block in the lower left corner goes around the corners counter-clockwise.
    #[test]
    fn a_corner_block_goes_around_the_corners_counter_clockwise() {
        let block = [0.0, 0.0, 2.0, 1.0];
        let expected = [
            (Turn::None, rect(17.0, 8.0, 19.0, 9.0)),
            (Turn::Quarter, rect(21.0, 7.0, 22.0, 9.0)),
            (Turn::Half, rect(21.0, 11.0, 23.0, 12.0)),
            (Turn::ThreeQuarter, rect(18.0, 11.0, 19.0, 13.0)),
        ];
        for (turn, expected) in expected {
            assert_eq!(placement(turn).to_module(block), expected, "{turn:?}");
        }
    }

    #[test]
    fn a_map_turns_as_its_boxes_turn_as_blocks() {
        // Every box of a 3 by 2 grid with its own value.
        let grid = Grid { nx: 3, ny: 2, values: vec![1.0, 2.0, 3.0, 4.0, 5.0, 6.0] };
        for turn in [Turn::None, Turn::Quarter, Turn::Half, Turn::ThreeQuarter] {
            let placement = placement(turn);
            let map = placement.map(&grid);
            for j in 0..2 {
                for i in 0..3 {
                    let block = placement.to_module([2.0 * i as f64, 2.0 * j as f64, 2.0, 2.0]);
                    let mean = map.integral_over(&block) / block.area_m2();
                    assert!((mean - grid.values[j * 3 + i]).abs() < 1e-9, "{turn:?} {i} {j}");
                }
            }
        }
    }

    #[test]
    fn quarter_turns_swap_the_axes_of_an_orthotropic_material() {
        let material = Arc::new(crate::library::solids::by_name("silicon").expect("built in"));
        let wood =
            Arc::new(Material { conductivity_W_mK: [1.0, 2.0, 3.0], ..Material::clone(&material) });
        assert_eq!(turned_material(&wood, Turn::Quarter).conductivity_W_mK, [2.0, 1.0, 3.0]);
        assert_eq!(turned_material(&wood, Turn::Half).conductivity_W_mK, [1.0, 2.0, 3.0]);
        assert!(Arc::ptr_eq(&turned_material(&material, Turn::Quarter), &material));
    }
}
