//! One band of rows of the volumetric flux: what every nozzle lays on its cells.

use super::clipping::{Clipper, Line};
use super::footprint::Footprint;
use crate::module::{Nozzle, Rect};

/// Strips into which a cell crossed by several outlines is cut to find its wetted share.
const UNION_STRIPS: usize = 64;

/// A nozzle ready for many rows.
pub(super) struct Source<'a> {
    footprint: &'a Footprint,
    clipper: Clipper<'a>,
    /// Flow over the solid angle of the cone, m³/(s·sr).
    strength: f64,
    /// One over the drop size, 1/m.
    inverse_drop: f64,
    /// First grid line along x that matters, and those from there on cut out of the footprint.
    first_line: usize,
    lines_u: Vec<Line>,
}

impl<'a> Source<'a> {
    /// `nozzle` over the grid lines `x_lines_m`; `inverse_drop` in 1/m.
    pub(super) fn new(
        nozzle: &Nozzle,
        footprint: &'a Footprint,
        inverse_drop: f64,
        x_lines_m: &[f64],
    ) -> Self {
        let clipper = Clipper::new(footprint);
        let [u0, u1] = footprint.range_u();
        let foot = footprint.foot_m[0];
        let first_line = x_lines_m.partition_point(|x| x - foot <= u0).saturating_sub(1);
        let last_line =
            x_lines_m.partition_point(|x| x - foot < u1).min(x_lines_m.len() - 1).max(first_line);
        Source {
            footprint,
            clipper,
            strength: nozzle.flow_m3_s * nozzle.flow_factor / footprint.solid_angle_sr(),
            inverse_drop,
            first_line,
            lines_u: x_lines_m[first_line..=last_line]
                .iter()
                .map(|x| clipper.line_u(x - foot))
                .collect(),
        }
    }
}

/// A cell that an outline cuts: cell of the band, source, its own wetted share.
type Partial = (usize, usize, f64);

/// Adds every source to the rows of a band that starts at `first_row`. `over_drop` is empty where
/// all drops are alike.
pub(super) fn fill_band(
    sources: &[Source],
    x_lines_m: &[f64],
    y_lines_m: &[f64],
    first_row: usize,
    flux: &mut [f64],
    wetted: &mut [f64],
    over_drop: &mut [f64],
) {
    let nx = x_lines_m.len() - 1;
    let rows = flux.len() / nx;
    let mut partials: Vec<Partial> = Vec::new();
    let mut edges: Vec<f64> = Vec::new();
    for (index, source) in sources.iter().enumerate() {
        let [v_low, v_high] = source.footprint.range_v();
        let foot = source.footprint.foot_m;
        let mut lower: Option<Line> = None;
        for row in 0..rows {
            let v =
                [y_lines_m[first_row + row] - foot[1], y_lines_m[first_row + row + 1] - foot[1]];
            if v[1] <= v_low || v[0] >= v_high {
                lower = None;
                continue;
            }
            let bottom = lower.unwrap_or_else(|| source.clipper.line_v(v[0]));
            let top = source.clipper.line_v(v[1]);
            lower = Some(top);
            let Some(span) = row_span(source.footprint, v, foot[0], x_lines_m) else { continue };
            let height = v[1] - v[0];
            let start = row * nx;

            let mut cut = |i: usize| {
                let k = i - source.first_line;
                let u = [&source.lines_u[k], &source.lines_u[k + 1]];
                let part = source.clipper.rectangle(u, [&bottom, &top]);
                let area = (x_lines_m[i + 1] - x_lines_m[i]) * height;
                let here = source.strength * part.solid_angle_sr / area;
                flux[start + i] += here;
                if let Some(sum) = over_drop.get_mut(start + i) {
                    *sum += here * source.inverse_drop;
                }
                let share = (part.area_m2 / area).min(1.0);
                if share > 0.0 && wetted[start + i] < 1.0 {
                    partials.push((start + i, index, share));
                }
            };
            for i in span.touched[0]..span.full[0] {
                cut(i);
            }
            for i in span.full[1]..span.touched[1] {
                cut(i);
            }

            if span.full[0] < span.full[1] {
                edges.clear();
                edges.extend(
                    x_lines_m[span.full[0]..=span.full[1]]
                        .iter()
                        .map(|x| edge_solid_angle(x - foot[0], v, source.footprint.standoff_m)),
                );
                let range = start + span.full[0]..start + span.full[1];
                let widths = x_lines_m[span.full[0]..=span.full[1]].windows(2);
                let factor = source.strength / height;
                for (k, (edge, x)) in edges.windows(2).zip(widths).enumerate() {
                    let here = factor * (edge[1] - edge[0]) / (x[1] - x[0]);
                    let cell = range.start + k;
                    flux[cell] += here;
                    if let Some(sum) = over_drop.get_mut(cell) {
                        *sum += here * source.inverse_drop;
                    }
                }
                wetted[range].fill(1.0);
            }
        }
    }
    settle_shares(sources, x_lines_m, y_lines_m, first_row, partials, wetted);
}

/// Wetted shares of the cells that outlines cut.
fn settle_shares(
    sources: &[Source],
    x_lines_m: &[f64],
    y_lines_m: &[f64],
    first_row: usize,
    mut partials: Vec<Partial>,
    wetted: &mut [f64],
) {
    let nx = x_lines_m.len() - 1;
    // Sources came in order, so a stable sort by cell keeps them in order in each cell.
    partials.sort_by_key(|partial| partial.0);
    for group in partials.chunk_by(|a, b| a.0 == b.0) {
        let cell = group[0].0;
        if wetted[cell] >= 1.0 {
            continue;
        }
        wetted[cell] = if let [only] = group {
            only.2
        } else {
            let (i, j) = (cell % nx, first_row + cell / nx);
            let rect = Rect {
                x0_m: x_lines_m[i],
                y0_m: y_lines_m[j],
                x1_m: x_lines_m[i + 1],
                y1_m: y_lines_m[j + 1],
            };
            let footprints = group.iter().map(|partial| sources[partial.1].footprint);
            let largest = group.iter().map(|partial| partial.2).fold(0.0, f64::max);
            let sum: f64 = group.iter().map(|partial| partial.2).sum();
            union_share(footprints, &rect).clamp(largest, sum.min(1.0))
        };
    }
}

/// Share of a rectangle that lies in at least one footprint, from strips with exact ends.
fn union_share<'a>(footprints: impl Iterator<Item = &'a Footprint> + Clone, rect: &Rect) -> f64 {
    let step = rect.height_m() / UNION_STRIPS as f64;
    let mut covered = 0.0;
    let mut intervals: Vec<[f64; 2]> = Vec::new();
    for strip in 0..UNION_STRIPS {
        let y = rect.y0_m + (strip as f64 + 0.5) * step;
        intervals.clear();
        intervals.extend(footprints.clone().filter_map(|footprint| {
            let [foot_x, foot_y] = footprint.foot_m;
            let [a, b] = footprint.interval_u(y - foot_y)?;
            let (a, b) = ((a + foot_x).max(rect.x0_m), (b + foot_x).min(rect.x1_m));
            (a < b).then_some([a, b])
        }));
        intervals.sort_by(|a, b| a[0].total_cmp(&b[0]));
        let mut reached = rect.x0_m;
        for &[a, b] in &intervals {
            covered += (b - a.max(reached)).max(0.0);
            reached = reached.max(b);
        }
    }
    covered / (rect.width_m() * UNION_STRIPS as f64)
}

/// Cells of a row that a footprint touches and those that it covers, half open ranges with
/// `touched[0] <= full[0] <= full[1] <= touched[1]`.
struct RowSpan {
    touched: [usize; 2],
    full: [usize; 2],
}

fn row_span(footprint: &Footprint, v: [f64; 2], foot_x: f64, x_lines_m: &[f64]) -> Option<RowSpan> {
    let ends = [footprint.interval_u(v[0]), footprint.interval_u(v[1])];
    let range = footprint.range_u();
    let v_at = footprint.v_at_range_u();
    let inside = |v_extreme: f64| v[0] < v_extreme && v_extreme < v[1];
    let mut hull = [f64::INFINITY, f64::NEG_INFINITY];
    for end in ends.into_iter().flatten() {
        hull = [hull[0].min(end[0]), hull[1].max(end[1])];
    }
    if inside(v_at[0]) {
        hull[0] = range[0];
    }
    if inside(v_at[1]) {
        hull[1] = range[1];
    }
    if hull[0] >= hull[1] {
        // Neither line meets the ellipse and only one extreme lies between them: the ellipse
        // is a sliver within rounding.
        return None;
    }
    let nx = x_lines_m.len() - 1;
    let first = x_lines_m[1..].partition_point(|x| x - foot_x <= hull[0]);
    let end = x_lines_m[..nx].partition_point(|x| x - foot_x < hull[1]);
    if first >= end {
        return None;
    }
    let full = match ends {
        [Some(low), Some(high)] => {
            let (left, right) = (low[0].max(high[0]), low[1].min(high[1]));
            let first_full = x_lines_m[..nx].partition_point(|x| x - foot_x < left);
            let end_full = x_lines_m[1..].partition_point(|x| x - foot_x <= right);
            [first_full.clamp(first, end), end_full.clamp(first, end)]
        }
        _ => [end, end],
    };
    let full = if full[0] < full[1] { full } else { [end, end] };
    Some(RowSpan { touched: [first, end], full })
}

/// `F(u, v1) - F(u, v0)` with `F = atan(u v / (H sqrt(H² + u² + v²)))`, sr, in one arctangent.
fn edge_solid_angle(u: f64, v: [f64; 2], height: f64) -> f64 {
    let base = height * height + u * u;
    let tangent = |v: f64| u * v / (height * (base + v * v).sqrt());
    let (p, q) = (tangent(v[1]), tangent(v[0]));
    let denominator = 1.0 + p * q;
    if denominator > 0.0 {
        arctangent((p - q) / denominator)
    } else {
        // The row reaches far to both sides of the foot: the difference exceeds a right angle.
        p.atan() - q.atan()
    }
}

/// atan z: five terms of its series where rows are so fine that they give every digit, which
/// is the usual case and several times faster.
fn arctangent(z: f64) -> f64 {
    if z.abs() > 0.02 {
        return z.atan();
    }
    let s = z * z;
    z * (1.0 - s * (1.0 / 3.0 - s * (1.0 / 5.0 - s * (1.0 / 7.0 - s / 9.0))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_series_is_the_arctangent_to_rounding() {
        for k in -2000..=2000 {
            let z = 2e-5 * f64::from(k) * 0.999;
            let error = (arctangent(z) - z.atan()).abs();
            assert!(error <= 2.0 * f64::EPSILON * z.abs(), "{z}: {error}");
        }
    }
}
