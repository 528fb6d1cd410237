//! Between two planes, a row at a time: the residual shared out over the coarse rows, the correction
//! from them.

use std::ops::Range;

use super::interpolation::Maps;
use super::kernels;
use super::layout::{Group, Shape};
use super::level::Level;
use super::relaxation;
use super::rows::{RING, Rows, around_sheet, neighbours};
use super::widest::widest;

widest! {
    /// Residual of the second colour in row `j` (that of the first is zero), shared out over the
    /// coarse rows of this strip.
    fn restrict_row(
        level: &Level,
        coarse: &Level,
        j: usize,
        strip: Range<usize>,
        base: usize,
        rows: &mut Rows,
        out: &mut [f32],
    ) {
        let Some(transfer) = &level.transfer else { return };
        let layout = &level.layout;
        let mut row = std::mem::take(&mut rows.x[j % RING]);
        let mut f_row = std::mem::take(&mut rows.f[j % RING]);
        let mut line = std::mem::take(&mut rows.line);
        for piece in layout.pieces(j) {
            let g = &layout.groups[piece.group];
            let h = g.half_of(1, j);
            for l in 0..g.nl {
                let at = g.work_half(l, h);
                // The second colour's x is not needed any more: its place takes the residual.
                let (_, sheet, _) = around_sheet(&mut row, g, l);
                let (residual, around) = neighbours(level, j, piece, (l, h), rows, sheet);
                relaxation::residual(residual, &mut f_row[at..at + g.half], around);
            }
            for (block, s) in layout.blocks_of(piece.group) {
                let maps = &transfer.maps[block];
                let reaches = maps.y.shares(piece.row).map(|(coarse_row, share)| {
                    let coarse_row = maps.y.first + coarse_row;
                    let at = || coarse.layout.natural(coarse_row, block) - base;
                    (share > 0.0 && strip.contains(&coarse_row)).then(|| (at(), share))
                });
                let all = maps.z.count * maps.x.count;
                let from = SecondColour { group: g, shape: s, maps, j };
                if let ([Some((to, share)), Some((next, rest))], false) = (reaches, from.is_even())
                {
                    // Shared out once for both rows.
                    let line = &mut line[..all];
                    line.fill(0.0);
                    from.restrict(&row, 1.0, line);
                    kernels::add_times(&mut out[to..to + all], share, line);
                    kernels::add_times(&mut out[next..next + all], rest, line);
                    continue;
                }
                for (to, share) in reaches.into_iter().flatten() {
                    from.restrict(&row, share, &mut out[to..to + all]);
                }
            }
        }
        rows.line = line;
        rows.x[j % RING] = row;
        rows.f[j % RING] = f_row;
    }

    /// Adds the interpolated coarse correction to the second colour of row `j`.
    fn add_correction(level: &Level, coarse: &Level, j: usize, coarse_x: &[f32], rows: &mut Rows) {
        let Some(transfer) = &level.transfer else { return };
        let layout = &level.layout;
        let Rows { x, line, other, .. } = rows;
        for (piece, block, s) in layout.blocks_in(j) {
            let maps = &transfer.maps[block];
            let (lower, share_y) = maps.y.at(piece.row);
            let lower = maps.y.first + lower;
            let count = maps.x.count;
            let from = coarse.layout.natural(lower, block);
            let next = (share_y > 0.0).then(|| coarse.layout.natural(lower + 1, block));
            // Every sheet stands between zeros, so that a share of nothing can be read.
            line[0] = 0.0;
            for sheet in 0..maps.z.count {
                let from = &coarse_x[from + sheet * count..][..count];
                let line = &mut line[sheet * (count + 1) + 1..][..count + 1];
                line[count] = 0.0;
                match next {
                    Some(next) => {
                        let next = &coarse_x[next + sheet * count..][..count];
                        kernels::between(&mut line[..count], from, next, share_y);
                    }
                    None => line[..count].copy_from_slice(from),
                }
            }
            let to = SecondColour { group: &layout.groups[piece.group], shape: s, maps, j };
            to.interpolate(line, other, &mut x[j % RING]);
        }
    }
}

/// What one block has of the second colour in a work row.
struct SecondColour<'a> {
    group: &'a Group,
    shape: &'a Shape,
    maps: &'a Maps,
    j: usize,
}

impl SecondColour<'_> {
    /// Where its columns of sheet `l` stand, and which columns of the block they are: from 0 or from 1.
    #[inline(always)]
    fn place(&self, l: usize) -> (Range<usize>, usize) {
        let parity = self.shape.parity_of(1, self.j);
        let half = self.group.work_half(l, self.group.half_of(1, self.j));
        let first = half + self.shape.first_of(parity);
        (first..first + self.shape.columns(parity), parity)
    }

    /// Whether its columns of the coarse plane follow each other as their own do: sharing out is then
    /// no more work than adding.
    #[inline(always)]
    fn is_even(&self) -> bool {
        self.maps.x.halves[self.shape.parity_of(1, self.j)].is_even()
    }

    /// Adds `weight` times its part of the row to the block's columns and sheets of the coarse plane.
    #[inline(always)]
    fn restrict(&self, row: &[f32], weight: f32, coarse: &mut [f32]) {
        let count = self.maps.x.count;
        for l in 0..self.shape.nl {
            let (place, parity) = self.place(l);
            for (sheet, share) in self.maps.z.shares(l) {
                if share > 0.0 {
                    let coarse = &mut coarse[sheet * count..][..count];
                    self.maps.x.halves[parity].restrict(
                        &row[place.clone()],
                        weight * share,
                        coarse,
                    );
                }
            }
        }
    }

    /// Adds what lies between the coarse columns and sheets, which `lines` holds with a zero before
    /// and after each sheet; `between` is room for one such sheet.
    #[inline(always)]
    fn interpolate(&self, lines: &[f32], between: &mut [f32], row: &mut [f32]) {
        let with_zeros = self.maps.x.count + 2;
        for l in 0..self.shape.nl {
            let (place, parity) = self.place(l);
            let (sheet, share) = self.maps.z.at(l);
            let mut line = &lines[sheet * (with_zeros - 1)..][..with_zeros];
            if share > 0.0 {
                let next = &lines[(sheet + 1) * (with_zeros - 1)..][..with_zeros];
                let between = &mut between[..with_zeros];
                kernels::between(between, line, next, share);
                line = between;
            }
            self.maps.x.halves[parity].interpolate(line, &mut row[place]);
        }
    }
}
