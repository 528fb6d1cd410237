//! Lines that leave room for the texts on them, and areas inside lines.

use super::layout::PixelRect;

/// The parts of a line outside all `holes`.
pub fn outside(line: &[[f64; 2]], holes: &[PixelRect]) -> Vec<Vec<[f64; 2]>> {
    let around = surrounding(line);
    let near: Vec<&PixelRect> = holes.iter().filter(|hole| hole.meets(&around)).collect();
    if near.is_empty() {
        return vec![line.to_vec()];
    }
    let mut parts: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut part: Vec<[f64; 2]> = Vec::new();
    for pair in line.windows(2) {
        let at = |share: f64| match share {
            1.0 => pair[1],
            share => [0, 1].map(|k| pair[0][k] + share * (pair[1][k] - pair[0][k])),
        };
        let mut hidden: Vec<[f64; 2]> =
            near.iter().filter_map(|hole| inside(pair[0], pair[1], hole)).collect();
        hidden.sort_by(|a, b| a[0].total_cmp(&b[0]));
        // What lies between the hidden stretches is shown.
        let mut reached = 0.0;
        for [enters, leaves] in hidden.into_iter().chain([[1.0, 1.0]]) {
            if enters > reached {
                if reached > 0.0 || part.is_empty() {
                    parts.push(std::mem::take(&mut part));
                    part.push(at(reached));
                }
                part.push(at(enters));
            }
            reached = f64::max(reached, leaves);
            if leaves > enters {
                parts.push(std::mem::take(&mut part));
            }
        }
    }
    parts.push(part);
    parts.retain(|part| part.len() > 1);
    parts
}

/// The rectangle around a line, a little larger.
pub fn surrounding(line: &[[f64; 2]]) -> PixelRect {
    let far = |k: usize, pick: fn(f64, f64) -> f64, start: f64| {
        line.iter().map(|at| at[k]).fold(start, pick)
    };
    PixelRect {
        x0: far(0, f64::min, f64::INFINITY) - 1.0,
        y0: far(1, f64::min, f64::INFINITY) - 1.0,
        x1: far(0, f64::max, f64::NEG_INFINITY) + 1.0,
        y1: far(1, f64::max, f64::NEG_INFINITY) + 1.0,
    }
}

/// Whether a line runs through a rectangle.
pub fn crosses(line: &[[f64; 2]], rect: &PixelRect) -> bool {
    line.windows(2).any(|pair| inside(pair[0], pair[1], rect).is_some())
}

/// From which share to which a straight piece lies inside a rectangle.
fn inside(a: [f64; 2], b: [f64; 2], rect: &PixelRect) -> Option<[f64; 2]> {
    let (mut enters, mut leaves) = (0.0f64, 1.0f64);
    for (k, low, high) in [(0, rect.x0, rect.x1), (1, rect.y0, rect.y1)] {
        let along = b[k] - a[k];
        if along == 0.0 {
            if a[k] <= low || a[k] >= high {
                return None;
            }
            continue;
        }
        let (one, other) = ((low - a[k]) / along, (high - a[k]) / along);
        enters = enters.max(one.min(other));
        leaves = leaves.min(one.max(other));
    }
    (enters < leaves).then_some([enters, leaves])
}

/// For each pixel of a picture of so many columns and rows whether its middle lies inside any of
/// the closed lines.
pub fn covered(
    lines: impl IntoIterator<Item = Vec<[f64; 2]>>,
    [columns, rows]: [usize; 2],
) -> Vec<bool> {
    let mut inside = vec![false; columns * rows];
    for line in lines {
        let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); rows];
        for pair in line.windows(2) {
            let [a, b] =
                if pair[0][1] < pair[1][1] { [pair[0], pair[1]] } else { [pair[1], pair[0]] };
            // Rows whose middle lies in [a, b): a corner counts once.
            let first = (a[1] - 0.5).ceil().max(0.0) as usize;
            let behind = ((b[1] - 0.5).ceil().max(0.0) as usize).min(rows);
            for (row, found) in crossings.iter_mut().enumerate().take(behind).skip(first) {
                let share = (row as f64 + 0.5 - a[1]) / (b[1] - a[1]);
                found.push(a[0] + share * (b[0] - a[0]));
            }
        }
        for (row, mut found) in crossings.into_iter().enumerate() {
            found.sort_by(f64::total_cmp);
            for pair in found.chunks_exact(2) {
                let column = |x: f64| ((x - 0.5).ceil().max(0.0) as usize).min(columns);
                let (start, end) = (column(pair[0]), column(pair[1]));
                inside[row * columns..][start..end].fill(true);
            }
        }
    }
    inside
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLE: PixelRect = PixelRect { x0: 4.0, y0: 4.0, x1: 6.0, y1: 6.0 };

    #[test]
    fn a_line_through_a_text_is_broken_at_its_edges() {
        let parts = outside(&[[0.0, 5.0], [10.0, 5.0]], &[HOLE]);
        assert_eq!(parts, [vec![[0.0, 5.0], [4.0, 5.0]], vec![[6.0, 5.0], [10.0, 5.0]]]);
        // The same in many pieces, some of them hidden whole.
        let line: Vec<[f64; 2]> = (0..=20).map(|k| [0.5 * f64::from(k), 5.0]).collect();
        let parts = outside(&line, &[HOLE]);
        assert_eq!(parts.len(), 2);
        assert_eq!((parts[0][8], parts[1][0]), ([4.0, 5.0], [6.0, 5.0]));
        assert_eq!(parts[0].len() + parts[1].len(), 18);
    }

    #[test]
    fn a_line_beside_a_text_stays_whole() {
        let line = vec![[0.0, 0.0], [3.0, 4.0], [4.0, 9.0]];
        assert_eq!(outside(&line, &[HOLE]), std::slice::from_ref(&line));
        // Its box meets the text, it does not.
        let around = vec![[0.0, 5.0], [5.0, 0.0], [10.0, 5.0], [5.0, 10.0], [0.0, 5.0]];
        assert_eq!(outside(&around, &[HOLE]), std::slice::from_ref(&around));
    }

    #[test]
    fn texts_that_overlap_make_one_gap() {
        let other = PixelRect { x0: 5.0, x1: 8.0, ..HOLE };
        let parts = outside(&[[0.0, 5.0], [10.0, 5.0]], &[other, HOLE]);
        assert_eq!(parts, [vec![[0.0, 5.0], [4.0, 5.0]], vec![[8.0, 5.0], [10.0, 5.0]]]);
        assert!(outside(&[[5.0, 5.0], [5.5, 5.0]], &[HOLE]).is_empty());
    }

    #[test]
    fn a_disc_covers_its_area_and_two_cover_their_union() {
        let disc = |x: f64| -> Vec<[f64; 2]> {
            (0..=360)
                .map(|k| f64::from(k).to_radians())
                .map(|angle| [x + 40.0 * angle.cos(), 50.0 + 40.0 * angle.sin()])
                .collect()
        };
        let count = |lines: Vec<Vec<[f64; 2]>>| {
            covered(lines, [200, 100]).into_iter().filter(|inside| *inside).count() as f64
        };
        let whole = std::f64::consts::PI * 1600.0;
        assert!((count(vec![disc(50.0)]) / whole - 1.0).abs() < 0.01);
        // Two circles of radius r at a distance d share 2 r² acos(d/2r) − d/2 √(4r² − d²).
        let (r, d) = (40.0f64, 50.0f64);
        let shared = 2.0 * r * r * (d / (2.0 * r)).acos() - 0.5 * d * (4.0 * r * r - d * d).sqrt();
        let both = count(vec![disc(50.0), disc(100.0)]);
        assert!((both / (2.0 * whole - shared) - 1.0).abs() < 0.01, "{both}");
        // Half of one lies off the picture.
        assert!((count(vec![disc(0.0)]) / (whole / 2.0) - 1.0).abs() < 0.01);
    }
}
