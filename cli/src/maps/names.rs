//! Names on a map that do not collide: inside their part where they fit, smaller where they must
//! be, beside it with a leader where they do not fit, left out where nothing is free. Off the lines
//! of cones where they can.

use super::broken::{crosses, surrounding};
use super::layout::PixelRect;
use super::text::{Weight, capital_px, width_px};

/// Font sizes from best to least legible.
const SIZES_PX: [f32; 5] = [15.0, 14.0, 13.0, 12.0, 11.0];
/// Distance between base lines, as a share of the font size.
const LINE_SHARE: f32 = 1.25;
/// Least distance of a name from its part.
const CLOSE_PX: f64 = 7.0;
/// Right above or below its part and this near a name needs no leader.
const ABOVE_PX: f64 = 24.0;
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

/// What names keep off: rectangles always, lines where they can.
#[derive(Debug)]
struct Taken {
    rects: Vec<PixelRect>,
    lines: Vec<(PixelRect, Vec<[f64; 2]>)>,
}

impl Taken {
    fn leaves(&self, claim: &PixelRect) -> bool {
        self.rects.iter().all(|other| !other.meets(claim))
    }

    fn is_off_lines(&self, claim: &PixelRect) -> bool {
        !self.lines.iter().any(|(around, line)| around.meets(claim) && crosses(line, claim))
    }

    /// The first of the free places that no line crosses, else the first of them.
    fn best<T>(&self, free: Vec<T>, claim: impl Fn(&T) -> PixelRect) -> Option<T> {
        let off = free.iter().position(|place| self.is_off_lines(&claim(place)));
        free.into_iter().nth(off.unwrap_or(0))
    }
}

/// Places the names of `parts` inside `map`, clear of `marks` and of each other, and off `lines`
/// where there is such a place.
pub fn place(
    parts: &[Named],
    marks: &[PixelRect],
    lines: Vec<Vec<[f64; 2]>>,
    map: &PixelRect,
) -> Placement {
    let mut placement = Placement::default();
    let lines = lines.into_iter().map(|line| (surrounding(&line), line)).collect();
    let mut taken = Taken { rects: marks.to_vec(), lines };
    let mut homeless = Vec::new();
    for part in parts {
        match inside(part, &taken, map) {
            Some(block) => block.settle(&mut placement, &mut taken.rects),
            None => homeless.push(part),
        }
    }
    for part in homeless {
        match beside(part, parts, &taken, map) {
            Some((block, leader)) => {
                block.settle(&mut placement, &mut taken.rects);
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

/// The best place inside the part: both lines if they fit, large before small, middle first.
fn inside(part: &Named, taken: &Taken, map: &PixelRect) -> Option<Block> {
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
            let free: Vec<Block> = PLACES_INSIDE
                .iter()
                .map(|[share_x, share_y]| {
                    block.moved_to([x + share_x * slack_x, y + share_y * slack_y])
                })
                .filter(|moved| map.holds(&moved.claim()) && taken.leaves(&moved.claim()))
                .collect();
            let best = taken.best(free, Block::claim);
            if best.is_some() {
                return best;
            }
        }
    }
    None
}

/// Where a name may stand inside its part: shares of the room beside and above it.
const PLACES_INSIDE: [[f64; 2]; 13] = [
    [0.0, 0.0],
    [0.0, -0.5],
    [0.0, 0.5],
    [0.0, -1.0],
    [0.0, 1.0],
    [-0.5, 0.0],
    [0.5, 0.0],
    [-1.0, -1.0],
    [1.0, -1.0],
    [-1.0, 1.0],
    [1.0, 1.0],
    [-1.0, 0.0],
    [1.0, 0.0],
];

/// The nearest free place around the part, off every other part, and its leader where it does not
/// stand right above or below.
fn beside(
    part: &Named,
    parts: &[Named],
    taken: &Taken,
    map: &PixelRect,
) -> Option<(Block, Option<[[f64; 2]; 2]>)> {
    let [x, y] = part.rect.centre();
    let size_px = 12.0;
    let block = Block::around(&[part.name.as_str()], size_px, [x, y]);
    let reach_x = (part.rect.width() + block.rect.width()) / 2.0;
    let reach_y = (part.rect.height() + block.rect.height()) / 2.0;
    let mut free = Vec::new();
    for gap in [CLOSE_PX, 14.0, 18.0, 21.0, 24.0, 36.0, 50.0] {
        for side in [
            [0.0, -1.0],
            [1.0, 0.0],
            [0.0, 1.0],
            [-1.0, 0.0],
            [1.0, -1.0],
            [1.0, 1.0],
            [-1.0, 1.0],
            [-1.0, -1.0],
        ] {
            let at = [x + side[0] * (reach_x + gap), y + side[1] * (reach_y + gap)];
            let moved = block.moved_to(at);
            let claim = moved.claim();
            let off_others = parts.iter().all(|other| !other.rect.meets(&claim));
            if off_others && map.holds(&claim) && taken.leaves(&claim) {
                free.push((moved, at, side[0] == 0.0 && gap <= ABOVE_PX));
            }
        }
    }
    let (moved, at, adjacent) = taken.best(free, |(moved, ..)| moved.claim())?;
    let clamp =
        |rect: &PixelRect, [x, y]: [f64; 2]| [x.clamp(rect.x0, rect.x1), y.clamp(rect.y0, rect.y1)];
    let leader = [clamp(&moved.claim(), [x, y]), clamp(&part.rect, at)];
    Some((moved, (!adjacent).then_some(leader)))
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
        let placement = place(&[named("P0", 100.0, 100.0, 120.0, 100.0)], &[], Vec::new(), &MAP);
        assert_eq!(placement.lines.len(), 2);
        assert!(placement.leaders.is_empty());
    }

    #[test]
    fn names_stay_clear_of_marks() {
        let mark = PixelRect::around(160.0, 150.0, 20.0, 20.0);
        let placement =
            place(&[named("P0", 100.0, 100.0, 120.0, 100.0)], &[mark], Vec::new(), &MAP);
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
        let placement = place(&parts, &[], Vec::new(), &MAP);
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
        let placement = place(&part, &[], Vec::new(), &MAP);
        assert_eq!((placement.lines.len(), placement.leaders.len()), (1, 0));
        assert!(placement.lines[0].at[1] < 150.0);
        let column = PixelRect { x0: 190.0, y0: 0.0, x1: 216.0, y1: 300.0 };
        let placement = place(&part, &[column], Vec::new(), &MAP);
        assert_eq!((placement.lines.len(), placement.leaders.len()), (1, 1));
    }

    #[test]
    fn names_keep_off_lines_where_they_can() {
        let part = [named("P0", 100.0, 100.0, 120.0, 100.0)];
        let across = vec![vec![[0.0, 150.0], [400.0, 150.0]]];
        let placement = place(&part, &[], across.clone(), &MAP);
        let off = |p: &Placement| line_rects(p).iter().all(|rect| !crosses(&across[0], rect));
        assert!(placement.lines.len() == 2 && off(&placement), "{placement:?}");
        // Where lines are everywhere the name stands on them.
        let everywhere: Vec<Vec<[f64; 2]>> = (0..100)
            .map(|k| vec![[0.0, 3.0 * f64::from(k)], [400.0, 3.0 * f64::from(k)]])
            .collect();
        let placement = place(&part, &[], everywhere, &MAP);
        assert_eq!(placement.lines.len(), 2);
        // A small part under a cone gets its name outside the cone.
        let small = [named("sensor", 197.0, 147.0, 6.0, 6.0)];
        let cone: Vec<[f64; 2]> = (0..=60)
            .map(|k| f64::from(6 * k).to_radians())
            .map(|angle| [200.0 + 20.0 * angle.cos(), 150.0 + 20.0 * angle.sin()])
            .collect();
        let placement = place(&small, &[], vec![cone.clone()], &MAP);
        assert!(line_rects(&placement).iter().all(|rect| !crosses(&cone, rect)));
        assert!((placement.lines[0].at[1] - 150.0).abs() > 20.0, "{placement:?}");
    }
}
