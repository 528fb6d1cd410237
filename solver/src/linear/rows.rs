//! What a cycle does to one row of the plane, each compiled as a whole for the widest
//! instructions: the rows of small die are so short that a call for each of their half rows costs
//! as much as its work.

use super::interpolation::Maps;
use super::kernels;
use super::layout::{Group, PAD, Piece, Shape};
use super::level::{Level, Links};
use super::relaxation::{self, After, Around, Lead, Pivot, Sweep, Whole};
use super::widest::widest;
use crate::pages::{Lined, lined};

/// Work rows kept: a power of two above the distance between the first and the last stage.
pub(super) const RING: usize = 8;

/// Work rows of one thread, row `j` of the plane at `j % RING`.
#[derive(Debug, Default)]
pub(super) struct Rows {
    pub x: [Lined<f32>; RING],
    pub f: [Lined<f32>; RING],
    /// A row of a block of the coarse plane, all sheets; one sheet of it.
    pub line: Vec<f32>,
    pub other: Vec<f32>,
    zeros: Lined<f32>,
}

impl Rows {
    pub fn new(level: &Level) -> Self {
        let row = || lined(level.layout.work_len);
        let maps = level.transfer.as_ref().map_or(&[][..], |transfer| &transfer.maps);
        let room = |of: fn(&Maps) -> usize| vec![0.0; maps.iter().map(of).max().unwrap_or(0)];
        let longest = level.layout.groups.iter().map(|g| g.half).max();
        Rows {
            x: std::array::from_fn(|_| row()),
            f: std::array::from_fn(|_| row()),
            line: room(|m| m.z.count * (m.x.count + 1) + 1),
            other: room(|m| m.x.count + 2),
            zeros: lined(longest.unwrap_or(0)),
        }
    }
}

/// Sets the second colour of row `j` aside.
pub(super) fn keep_second(level: &Level, j: usize, rows: &Rows, kept: &mut [f32], base: usize) {
    for piece in level.layout.pieces(j) {
        let g = &level.layout.groups[piece.group];
        for l in 0..g.nl {
            let from = &rows.x[j % RING][g.work_half(l, g.half_of(1, j))..][..g.half];
            kept[piece.split / 2 + l * g.half - base..][..g.half].copy_from_slice(from);
        }
    }
}

/// Takes the second colour of row `j` back.
pub(super) fn take_second(level: &Level, j: usize, kept: &[f32], rows: &mut Rows) {
    for piece in level.layout.pieces(j) {
        let g = &level.layout.groups[piece.group];
        for l in 0..g.nl {
            let from = &kept[piece.split / 2 + l * g.half..][..g.half];
            rows.x[j % RING][g.work_half(l, g.half_of(1, j))..][..g.half].copy_from_slice(from);
        }
    }
}

widest! {
    /// Takes the right-hand side of row `j` into its work row: from halves on the finest level, else
    /// from natural order. `fresh`: nothing of this pass has been in the work row before.
    fn load_row(level: &Level, j: usize, f: &[f32], fresh: bool, rows: &mut Rows) {
        let layout = &level.layout;
        let to = &mut rows.f[j % RING];
        for piece in layout.pieces(j) {
            let g = &layout.groups[piece.group];
            if piece.group > 0 && (fresh || piece.row < RING) {
                // The place may have been another group's: its padding must be zero.
                rows.x[j % RING][g.work_place()].fill(0.0);
            }
            for l in 0..g.nl {
                let halves = &mut to[g.work_half(l, 0)..];
                if level.is_finest() {
                    let from = &f[piece.split + 2 * l * g.half..][..2 * g.half];
                    let (even, odd) = halves.split_at_mut(g.work_stride());
                    even[..g.half].copy_from_slice(&from[..g.half]);
                    odd[..g.half].copy_from_slice(&from[g.half..]);
                    continue;
                }
                for (_, s) in layout.blocks_of(piece.group) {
                    let (even, odd) = s.split(halves, g.work_stride());
                    let from = &f[piece.natural_of(s) + l * s.nx..][..s.nx];
                    kernels::split(from, 1.0, even, odd);
                }
            }
        }
    }

    /// Relaxes the columns of one colour in row `j`: `x = T⁻¹ f`.
    fn start(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
        relax_as::<relaxation::Start>(level, j, colour, rows)
    }

    /// The same: `x = T⁻¹ (f + G x)`; of the second colour, from zero, `x = M⁻¹ (f + G x)`.
    fn relax(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
        relax_as::<relaxation::Plain>(level, j, colour, rows)
    }

    /// The second colour from zero: `x = M⁻¹ (f + G x)`, and f becomes `-G x`, which is
    /// `f - T x + EASE D x`.
    fn relax_from_zero(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
        relax_as::<relaxation::FromZero>(level, j, colour, rows)
    }

    /// The second colour from its old value: `x += M⁻¹ (f + G x - T x)`, which is
    /// `M⁻¹ (f + G x - EASE D x)`.
    fn relax_over_old(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
        relax_as::<relaxation::OverOld>(level, j, colour, rows)
    }

    /// The same, before the residual: f becomes `EASE D x - G x` of the x and the G x at hand.
    fn relax_over_old_last(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
        relax_as::<relaxation::OverOldLast>(level, j, colour, rows)
    }

    /// Writes row `j` where its right-hand side came from, with `base` the first entry of `z`; on the
    /// finest level adds its product with f to eight partial sums.
    fn store_row(
        level: &Level,
        j: usize,
        f: &[f32],
        rows: &Rows,
        z: &mut [f32],
        base: usize,
        lanes: &mut [f64; 8],
    ) {
        let layout = &level.layout;
        let x = &rows.x[j % RING];
        for piece in layout.pieces(j) {
            let g = &layout.groups[piece.group];
            for l in 0..g.nl {
                let from = &x[g.work_half(l, 0)..];
                if level.is_finest() {
                    let to = &mut z[piece.split + 2 * l * g.half - base..][..2 * g.half];
                    to[..g.half].copy_from_slice(&from[..g.half]);
                    to[g.half..].copy_from_slice(&from[g.work_stride()..][..g.half]);
                    continue;
                }
                for (_, s) in layout.blocks_of(piece.group) {
                    let (even, odd) = s.in_halves(g.work_stride());
                    let to = &mut z[piece.natural_of(s) + l * s.nx - base..][..s.nx];
                    kernels::merge(&from[even..], &from[odd..], to);
                }
            }
        }
        if level.is_finest() {
            let (start, end) = (layout.split_start[j], layout.split_start[j + 1]);
            kernels::dot_into(lanes, (&f[start..end], &z[start - base..end - base]));
        }
    }
}

/// Reciprocal pivots of half `h` of sheet `l` of a piece.
#[inline(always)]
fn pivots<'a>(level: &'a Level, piece: &Piece, g: &Group, l: usize, h: usize) -> &'a [f32] {
    &level.inverse_pivot[piece.split + (2 * l + h) * g.half..][..g.half]
}

/// Relaxes the columns of one colour in row `j` as `S` says.
#[inline(always)]
fn relax_as<S: Sweep>(level: &Level, j: usize, colour: usize, rows: &mut Rows) {
    let mut row = std::mem::take(&mut rows.x[j % RING]);
    let mut f_row = std::mem::take(&mut rows.f[j % RING]);
    let pieces = level.layout.pieces(j);
    let g = &level.layout.groups[0];
    let h = g.half_of(colour, j);
    if level.single_sheet() {
        let lead = Pivot(pivots(level, &pieces[0], g, 0, h));
        sweep_half::<S, _>(level, j, &pieces[0], (0, h), rows, (&mut row, &mut f_row), lead);
    } else {
        relax_columns::<S>(level, j, colour, rows, (&mut row, &mut f_row));
    }
    rows.x[j % RING] = row;
    rows.f[j % RING] = f_row;
}

/// Right-hand sides and elimination in one: up the substrate and down the islands, which meet at
/// the substrate's top sheet; then back.
#[inline(always)]
fn relax_columns<S: Sweep>(
    level: &Level,
    j: usize,
    colour: usize,
    rows: &Rows,
    (row, f_row): (&mut [f32], &mut [f32]),
) {
    let layout = &level.layout;
    let pieces = layout.pieces(j);
    let substrate = &layout.groups[0];
    let top = substrate.nl - 1;
    let h_substrate = substrate.half_of(colour, j);
    sweep_half::<S, _>(level, j, &pieces[0], (top, h_substrate), rows, (row, f_row), Whole);
    for piece in &pieces[1..] {
        let g = &layout.groups[piece.group];
        let h = g.half_of(colour, j);
        let link = |l: usize| &level.link[piece.split + (2 * l + h) * g.half..][..g.half];
        for l in (0..g.nl).rev() {
            let pivot = pivots(level, piece, g, l, h);
            if l + 1 == g.nl {
                let lead = Pivot(pivot);
                sweep_half::<S, _>(level, j, piece, (l, h), rows, (row, f_row), lead);
            } else {
                let lead = (pivot, link(l + 1), l + 1);
                sweep_after::<S>(level, j, piece, (l, h), rows, (row, f_row), lead);
            }
        }
        for (_, s) in layout.blocks_of(piece.group) {
            let (seat, from) = (seat_at(substrate, g, s, h), g.work_half(0, h) + s.first);
            let (x, above) = two_pieces(row, seat, from, s.half);
            relaxation::add_through(x, &link(0)[s.first..][..s.half], above);
        }
    }
    let (g, h, piece) = (substrate, h_substrate, &pieces[0]);
    let link = |l: usize| &level.link[piece.split + (2 * l + h) * g.half..][..g.half];
    for l in 0..g.nl {
        let pivot = pivots(level, piece, g, l, h);
        let at = g.work_half(l, h);
        if l == top {
            if l == 0 {
                relaxation::scale_by(&mut row[at..at + g.half], pivot);
            } else {
                let (x, below) = two_pieces(row, at, g.work_half(l - 1, h), g.half);
                relaxation::eliminate(x, link(l - 1), below, pivot);
            }
        } else if l == 0 {
            let lead = Pivot(pivot);
            sweep_half::<S, _>(level, j, piece, (l, h), rows, (row, f_row), lead);
        } else {
            let lead = (pivot, link(l - 1), l - 1);
            sweep_after::<S>(level, j, piece, (l, h), rows, (row, f_row), lead);
        }
    }
    for l in (0..top).rev() {
        let pivot = pivots(level, piece, g, l, h);
        let (x, above) = two_pieces(row, g.work_half(l, h), g.work_half(l + 1, h), g.half);
        relaxation::substitute(x, pivot, link(l), above);
    }
    for piece in &pieces[1..] {
        let g = &layout.groups[piece.group];
        let h = g.half_of(colour, j);
        for l in 0..g.nl {
            let pivot = pivots(level, piece, g, l, h);
            let link = &level.link[piece.split + (2 * l + h) * g.half..][..g.half];
            if l > 0 {
                let (x, below) = two_pieces(row, g.work_half(l, h), g.work_half(l - 1, h), g.half);
                relaxation::substitute(x, pivot, link, below);
                continue;
            }
            for (_, s) in layout.blocks_of(piece.group) {
                let (seat, to) = (seat_at(substrate, g, s, h), g.work_half(0, h) + s.first);
                let (x, below) = two_pieces(row, to, seat, s.half);
                let range = s.first..s.first + s.half;
                relaxation::substitute(x, &pivot[range.clone()], &link[range], below);
            }
        }
    }
}

/// Where the entries of the substrate's top sheet under half `h` of an island begin in a work row.
#[inline(always)]
fn seat_at(substrate: &Group, g: &Group, s: &Shape, h: usize) -> usize {
    let (half, first) = g.seat(s, h);
    substrate.work_half(substrate.nl - 1, half) + first
}

/// One half row of sheet `l` of a piece.
#[inline(always)]
fn sweep_half<'a, S: Sweep, L: Lead<'a>>(
    level: &Level,
    j: usize,
    piece: &Piece,
    (l, h): (usize, usize),
    rows: &Rows,
    (row, f_row): (&mut [f32], &mut [f32]),
    lead: L,
) {
    let g = &level.layout.groups[piece.group];
    let at = g.work_half(l, h);
    let f = &mut f_row[at..at + g.half];
    if S::FROM_F_ALONE {
        relaxation::start(&mut row[at..at + g.half], f, lead);
    } else {
        let (_, sheet, _) = around_sheet(row, g, l);
        let (out, around) = neighbours(level, j, piece, (l, h), rows, sheet);
        relaxation::sweep::<S, L>(out, f, around, lead);
    }
}

/// The same where the elimination comes from the sheet `lead.2`: reciprocal pivots, links to that
/// sheet.
#[inline(always)]
fn sweep_after<S: Sweep>(
    level: &Level,
    j: usize,
    piece: &Piece,
    (l, h): (usize, usize),
    rows: &Rows,
    (row, f_row): (&mut [f32], &mut [f32]),
    (pivot, link, before): (&[f32], &[f32], usize),
) {
    let g = &level.layout.groups[piece.group];
    let at = g.work_half(l, h);
    let f = &mut f_row[at..at + g.half];
    let (lower, sheet, upper) = around_sheet(row, g, l);
    let from = g.work_half(before, h);
    let y = if before < l {
        &lower[from..from + g.half]
    } else {
        &upper[from - lower.len() - sheet.len()..][..g.half]
    };
    let lead = After { pivot, link, y };
    if S::FROM_F_ALONE {
        relaxation::start(&mut sheet[at - lower.len()..][..g.half], f, lead);
    } else {
        let (out, around) = neighbours(level, j, piece, (l, h), rows, sheet);
        relaxation::sweep::<S, After>(out, f, around, lead);
    }
}

/// Sheet `l` of a group in a work row (both halves, each between its zeros), what stands before
/// it, and what behind.
#[inline(always)]
pub(super) fn around_sheet<'a>(
    row: &'a mut [f32],
    g: &Group,
    l: usize,
) -> (&'a [f32], &'a mut [f32], &'a [f32]) {
    let (before, rest) = row.split_at_mut(g.work_half(l, 0) - PAD);
    let (sheet, behind) = rest.split_at_mut(2 * g.work_stride());
    (before, sheet, behind)
}

/// Half `h` of sheet `l` in row `j`, to be written, and what surrounds it; `sheet` holds both
/// halves.
#[inline(always)]
pub(super) fn neighbours<'a>(
    level: &'a Level,
    j: usize,
    piece: &Piece,
    (l, h): (usize, usize),
    rows: &'a Rows,
    sheet: &'a mut [f32],
) -> (&'a mut [f32], Around<'a>) {
    let g = &level.layout.groups[piece.group];
    let n = g.half;
    let at = g.work_half(l, h);
    let zeros = &rows.zeros[..n];
    let row = |j: usize| &rows.x[j % RING][at..at + n];
    let Links { north, south, link_a, link_b } = level.links(piece, (l, h));
    let above = if piece.row + 1 < g.ny { row(j + 1) } else { zeros };
    let (south, below) = match south {
        Some(south) => (south, row(j + RING - 1)),
        None => (zeros, zeros),
    };
    let (even, odd) = sheet.split_at_mut(g.work_stride());
    let (out, side_a, side_b) = if h == 0 {
        (&mut even[PAD..PAD + n], &odd[PAD..PAD + n], &odd[PAD - 1..PAD - 1 + n])
    } else {
        (&mut odd[PAD..PAD + n], &even[PAD..PAD + n], &even[PAD + 1..PAD + 1 + n])
    };
    (out, Around { above, north, below, south, side_a, link_a, side_b, link_b, open_b: h == 0 })
}

/// Two pieces of a row, `n` entries from `to` (to be written) and from `from`.
#[inline(always)]
pub(super) fn two_pieces<T>(row: &mut [T], to: usize, from: usize, n: usize) -> (&mut [T], &[T]) {
    if to < from {
        let (head, tail) = row.split_at_mut(from);
        (&mut head[to..to + n], &tail[..n])
    } else {
        let (head, tail) = row.split_at_mut(to);
        (&mut tail[..n], &head[from..from + n])
    }
}
