//! Names on a map that do not collide: inside their part where they fit, smaller where they must
//! be, beside it with a leader where they do not fit, left out where nothing is free.

use super::layout::PixelRect;
use super::text::{Weight, capital_px, width_px};

/// Font sizes from best to least legible.
const SIZES_PX: [f32; 5] = [15.0, 14.0, 13.0, 12.0, 11.0];
/// Distance between base lines, as a share of the font size.
const LINE_SHARE: f32 = 1.25;
/// A name this near to its part needs no leader.
const CLOSE_PX: f64 = 7.0;
/// Room between a text and what surrounds it.
const CLEARANCE_PX: f64 = 3.0;

/// Something to be named.
#[derive(Debug, Clone)]
pub struct Named {
    /// Name.
    pub name: String,
    /// A second line, shown only where both fit inside.
    pub detail: Option<String>,
    /// Where it is.
    pub rect: PixelRect,
}

/// A line of text at its place.
#[derive(Debug, Clone)]
pub struct PlacedLine {
    /// Text.
    pub text: String,
    /// Centre of its capitals.
    pub at: [f64; 2],
    /// Font size.
    pub size_px: f32,
}

/// All names at their places.
#[derive(Debug, Clone, Default)]
pub struct Placement {
    /// Lines of text, centred.
    pub lines: Vec<PlacedLine>,
    /// From a name that stands outside to its part.
    pub leaders: Vec<[[f64; 2]; 2]>,
    /// How many found no place.
    pub left_out: usize,
}

/// Places the names of `parts` inside `map`, clear of `marks` and of each other.
pub fn place(parts: &[Named], marks: &[PixelRect], map: &PixelRect) -> Placement {
    let mut placement = Placement::default();
    let mut taken: Vec<PixelRect> = marks.to_vec();
    let mut homeless = Vec::new();
    for part in parts {
        match inside(part, &taken, map) {
            Some(block) => block.settle(&mut placement, &mut taken),
            None => homeless.push(part),
        }
    }
    for part in homeless {
        match beside(part, parts, &taken, map) {
            Some((block, leader)) => {
                block.settle(&mut placement, &mut taken);
                placement.leaders.extend(leader);
            }
            None => placement.left_out += 1,
        }
    }
    placement
}

/// One or two lines as one rectangle.
#[derive(Debug, Clone)]
struct Block {
    lines: Vec<String>,
    size_px: f32,
    rect: PixelRect,
}

impl Block {
    /// A block of the given lines around a point.
    fn around(lines: &[&str], size_px: f32, at: [f64; 2]) -> Block {
        let width = lines
            .iter()
            .map(|line| width_px(line, size_px, Weight::Regular))
            .fold(0.0f32, f32::max);
        let height = capital_px(size_px) + (lines.len() - 1) as f32 * LINE_SHARE * size_px;
        Block {
            lines: lines.iter().map(|line| (*line).to_owned()).collect(),
            size_px,
            rect: PixelRect::around(at[0], at[1], f64::from(width), f64::from(height)),
        }
    }

    fn moved_to(&self, at: [f64; 2]) -> Block {
        let rect = PixelRect::around(at[0], at[1], self.rect.width(), self.rect.height());
        Block { rect, ..self.clone() }
    }

    /// The rectangle with its clearance.
    fn claim(&self) -> PixelRect {
        self.rect.shrunk(-CLEARANCE_PX)
    }

    fn settle(self, placement: &mut Placement, taken: &mut Vec<PixelRect>) {
        taken.push(self.claim());
        let [x, _] = self.rect.centre();
        let first = self.rect.y0 + f64::from(capital_px(self.size_px)) / 2.0;
        let step = f64::from(LINE_SHARE * self.size_px);
        for (index, text) in self.lines.into_iter().enumerate() {
            placement.lines.push(PlacedLine {
                text,
                at: [x, first + index as f64 * step],
                size_px: self.size_px,
            });
        }
    }
}

fn free(claim: &PixelRect, taken: &[PixelRect]) -> bool {
    taken.iter().all(|other| !other.meets(claim))
}

/// The best place inside the part: both lines if they fit, large before small, middle first.
fn inside(part: &Named, taken: &[PixelRect], map: &PixelRect) -> Option<Block> {
    let name = part.name.as_str();
    let both = part.detail.as_deref().map(|detail| vec![name, detail]);
    for lines in both.into_iter().chain([vec![name]]) {
        for size_px in SIZES_PX {
            let block = Block::around(&lines, size_px, part.rect.centre());
            let slack_x = (part.rect.width() - block.rect.width()) / 2.0 - CLEARANCE_PX;
            let slack_y = (part.rect.height() - block.rect.height()) / 2.0 - CLEARANCE_PX;
            if slack_x < 0.0 || slack_y < 0.0 {
                continue;
            }
            let [x, y] = part.rect.centre();
            for (share_x, share_y) in [
                (0.0, 0.0),
                (0.0, -0.5),
                (0.0, 0.5),
                (0.0, -1.0),
                (0.0, 1.0),
                (-0.5, 0.0),
                (0.5, 0.0),
                (-1.0, -1.0),
                (1.0, -1.0),
                (-1.0, 1.0),
                (1.0, 1.0),
                (-1.0, 0.0),
                (1.0, 0.0),
            ] {
                let moved = block.moved_to([x + share_x * slack_x, y + share_y * slack_y]);
                if map.holds(&moved.claim()) && free(&moved.claim(), taken) {
                    return Some(moved);
                }
            }
        }
    }
    None
}

/// The nearest free place around the part, off every other part, and its leader where it does not
/// stand right above or below.
fn beside(
    part: &Named,
    parts: &[Named],
    taken: &[PixelRect],
    map: &PixelRect,
) -> Option<(Block, Option<[[f64; 2]; 2]>)> {
    let [x, y] = part.rect.centre();
    let size_px = 12.0;
    let block = Block::around(&[part.name.as_str()], size_px, [x, y]);
    let reach_x = (part.rect.width() + block.rect.width()) / 2.0;
    let reach_y = (part.rect.height() + block.rect.height()) / 2.0;
    for gap in [CLOSE_PX, 14.0, 24.0, 36.0, 50.0] {
        for (side_x, side_y) in [
            (0.0, -1.0),
            (1.0, 0.0),
            (0.0, 1.0),
            (-1.0, 0.0),
            (1.0, -1.0),
            (1.0, 1.0),
            (-1.0, 1.0),
            (-1.0, -1.0),
        ] {
            let at = [x + side_x * (reach_x + gap), y + side_y * (reach_y + gap)];
            let moved = block.moved_to(at);
            let claim = moved.claim();
            let off_others = parts.iter().all(|other| !other.rect.meets(&claim));
            if off_others && map.holds(&claim) && free(&claim, taken) {
                let clamp = |rect: &PixelRect, [x, y]: [f64; 2]| {
                    [x.clamp(rect.x0, rect.x1), y.clamp(rect.y0, rect.y1)]
                };
                let leader = [clamp(&claim, [x, y]), clamp(&part.rect, at)];
                let adjacent = side_x == 0.0 && gap <= CLOSE_PX;
                return Some((moved, (!adjacent).then_some(leader)));
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAP: PixelRect = PixelRect { x0: 0.0, y0: 0.0, x1: 400.0, y1: 300.0 };

    fn named(name: &str, x: f64, y: f64, w: f64, h: f64) -> Named {
        let rect = PixelRect { x0: x, y0: y, x1: x + w, y1: y + h };
        Named { name: name.to_owned(), detail: Some("81.5 °C".to_owned()), rect }
    }

    fn line_rects(placement: &Placement) -> Vec<PixelRect> {
        let of = |l: &PlacedLine| {
            let width = f64::from(width_px(&l.text, l.size_px, Weight::Regular));
            PixelRect::around(l.at[0], l.at[1], width, f64::from(capital_px(l.size_px)))
        };
        placement.lines.iter().map(of).collect()
    }

    #[test]
    fn a_roomy_part_holds_name_and_detail() {
        let placement = place(&[named("P0", 100.0, 100.0, 120.0, 100.0)], &[], &MAP);
        assert_eq!(placement.lines.len(), 2);
        assert!(placement.leaders.is_empty());
    }

    #[test]
    fn names_stay_clear_of_marks() {
        let mark = PixelRect::around(160.0, 150.0, 20.0, 20.0);
        let placement = place(&[named("P0", 100.0, 100.0, 120.0, 100.0)], &[mark], &MAP);
        assert!(!placement.lines.is_empty());
        assert!(line_rects(&placement).iter().all(|rect| !rect.meets(&mark)));
    }

    #[test]
    fn no_two_names_collide_on_a_crowded_map() {
        let parts: Vec<Named> = (0..60)
            .map(|n| {
                named(
                    &format!("long-name-{n}"),
                    (n % 10) as f64 * 39.0 + 4.0,
                    (n / 10) as f64 * 48.0 + 4.0,
                    20.0,
                    16.0,
                )
            })
            .collect();
        let placement = place(&parts, &[], &MAP);
        let rects = line_rects(&placement);
        for (index, a) in rects.iter().enumerate() {
            assert!(MAP.holds(a));
            assert!(rects[index + 1..].iter().all(|b| !a.meets(b)));
        }
        assert_eq!(placement.lines.len() + placement.left_out, 60);
    }

    #[test]
    fn a_part_too_small_for_its_name_gets_it_above_or_with_a_leader() {
        let part = [named("sensor", 200.0, 150.0, 6.0, 6.0)];
        let placement = place(&part, &[], &MAP);
        assert_eq!((placement.lines.len(), placement.leaders.len()), (1, 0));
        assert!(placement.lines[0].at[1] < 150.0);
        let column = PixelRect { x0: 190.0, y0: 0.0, x1: 216.0, y1: 300.0 };
        let placement = place(&part, &[column], &MAP);
        assert_eq!((placement.lines.len(), placement.leaders.len()), (1, 1));
    }
}
