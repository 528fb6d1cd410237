//! The module drawn in characters, so that a slip in a position is seen at once.

use sprayside_solver::case::Record;

/// Columns inside the frame.
const COLUMNS: usize = 74;
/// Rows inside the frame, at least and at most.
const ROWS: [usize; 2] = [6, 34];
/// A character is about this many times higher than wide.
const CHARACTER_ASPECT: f64 = 2.0;

/// Corners and sides of a box: top left, top right, bottom left, bottom right, level, upright.
type Pen = [char; 6];
const MODULE: Pen = ['╔', '╗', '╚', '╝', '═', '║'];
const DIE: Pen = ['┌', '┐', '└', '┘', '─', '│'];
const HEATER: Pen = ['·', '·', '·', '·', '·', '·'];

/// The module seen from the spray side, true to scale as far as characters allow.
pub fn sketch(record: &Record) -> String {
    let [width_mm, height_mm] = record.size_mm;
    // Tall modules get fewer columns rather than more rows than a screen has.
    let columns = COLUMNS
        .min((ROWS[1] as f64 * CHARACTER_ASPECT * width_mm / height_mm).round() as usize)
        .max(12);
    let rows = ((columns as f64 * height_mm / width_mm / CHARACTER_ASPECT).round() as usize)
        .clamp(ROWS[0], ROWS[1]);
    let mut page = vec![vec![' '; columns + 2]; rows + 2];
    draw(&mut page, [0, 0, columns + 1, rows + 1], MODULE);
    let place = |rect_mm: &[f64; 4]| {
        let [x, y, w, h] = *rect_mm;
        let (left, right) = span(x, w, width_mm, columns);
        let (top, bottom) = span(height_mm - y - h, h, height_mm, rows);
        [left, top, right, bottom]
    };
    for heater in &record.heaters {
        let at = place(&heater.rect_mm);
        draw(&mut page, at, HEATER);
        name(&mut page, at, &heater.name);
    }
    for die in &record.die {
        let at = place(&die.rect_mm);
        draw(&mut page, at, DIE);
        name(&mut page, at, &die.name);
    }
    let mut text = String::new();
    for line in page {
        text.push_str("  ");
        text.extend(line);
        text.push('\n');
    }
    text
}

/// First and last character of a part of an axis, counted from 1 inside the frame. The number of
/// characters depends on the length alone, so that equal die are drawn equal.
fn span(start: f64, length: f64, whole: f64, count: usize) -> (usize, usize) {
    let scale = count as f64 / whole;
    let characters = ((length * scale).round() as usize).clamp(1, count);
    let first = ((start + length / 2.0) * scale - characters as f64 / 2.0).round();
    let first = (first.max(0.0) as usize).min(count - characters);
    (first + 1, first + characters)
}

/// A box from the first corner to the last, both included; a dot where there is no room for one.
fn draw(page: &mut [Vec<char>], [left, top, right, bottom]: [usize; 4], pen: Pen) {
    if left == right || top == bottom {
        for row in &mut page[top..=bottom] {
            row[left..=right].fill('▪');
        }
        return;
    }
    for row in [top, bottom] {
        page[row][left..=right].fill(pen[4]);
    }
    for row in &mut page[top..=bottom] {
        row[left] = pen[5];
        row[right] = pen[5];
    }
    page[top][left] = pen[0];
    page[top][right] = pen[1];
    page[bottom][left] = pen[2];
    page[bottom][right] = pen[3];
    for row in &mut page[top + 1..bottom] {
        row[left + 1..right].fill(' ');
    }
}

/// The beginning of a name in the middle of a box, as far as it fits.
fn name(page: &mut [Vec<char>], [left, top, right, bottom]: [usize; 4], name: &str) {
    let room = (right - left).saturating_sub(1);
    if room == 0 || bottom - top < 2 {
        return;
    }
    let shown: Vec<char> = name.chars().take(room).collect();
    let start = left + 1 + (room - shown.len()) / 2;
    page[(top + bottom) / 2][start..start + shown.len()].copy_from_slice(&shown);
}

#[cfg(test)]
mod tests {
    use super::*;
    use sprayside_solver::case::{read, starter};

    #[test]
    fn die_stand_where_the_case_puts_them() {
        let no_files = |name: &str| Err(format!("no {name}"));
        let record = read(starter(), "case.toml", &no_files).expect("a case").record;
        let text = sketch(&record);
        let lines: Vec<Vec<char>> = text.lines().map(|line| line.chars().collect()).collect();
        let find = |name: &str| {
            let name: Vec<char> = name.chars().collect();
            lines
                .iter()
                .enumerate()
                .find_map(|(row, line)| {
                    line.windows(2).position(|pair| pair == &name[..]).map(|column| (column, row))
                })
                .unwrap_or_else(|| panic!("no {name:?} in\n{text}"))
        };
        let (p0, p1, m0) = (find("P0"), find("P1"), find("M0"));
        // P0 and P1 stand side by side, M0 above and between them.
        assert_eq!(p0.1, p1.1);
        assert!(p0.0 < m0.0 && m0.0 < p1.0 && m0.1 < p0.1, "{text}");
        // P0 is centred at 14 of 50 mm.
        let inside = (lines[0].len() - 4) as f64;
        assert!(((p0.0 as f64 - 2.0) / inside - 14.0 / 50.0).abs() < 0.03, "{text}");
    }

    #[test]
    fn any_proportions_and_tiny_parts_can_be_drawn() {
        let no_files = |name: &str| Err(format!("no {name}"));
        let mut record = read(starter(), "case.toml", &no_files).expect("a case").record;
        for size_mm in [[5.0, 300.0], [300.0, 5.0], [5.0, 5.0], [300.0, 300.0]] {
            record.size_mm = size_mm;
            for (index, die) in record.die.iter_mut().enumerate() {
                let share = index as f64 / 3.0;
                die.rect_mm = [size_mm[0] * share, size_mm[1] * share, 0.5, 0.5];
            }
            let text = sketch(&record);
            assert!(text.lines().count() <= ROWS[1] + 2, "{size_mm:?}\n{text}");
            assert!(text.lines().all(|line| line.chars().count() <= COLUMNS + 4), "{text}");
        }
        record.size_mm = [10.0, 10.0];
        record.die[0].rect_mm = [0.0, 0.0, 10.0, 10.0];
        sketch(&record);
    }
}
