//! Tests alone: the contrast of the page's inks against what lies behind them.

use std::collections::HashMap;

use super::STYLE;
use crate::maps::contrast_of;

/// The colours of a block of the style sheet, `--name: #rrggbb`.
fn colours(block: &str) -> HashMap<&str, [u8; 3]> {
    block
        .split(';')
        .filter_map(|rule| {
            let (name, value) = rule.trim().rsplit_once("--")?.1.split_once(':')?;
            let digits = value.trim().strip_prefix('#')?;
            let byte = |at: usize| u8::from_str_radix(digits.get(at..at + 2)?, 16).ok();
            Some((name, [byte(0)?, byte(2)?, byte(4)?]))
        })
        .collect()
}

/// What stands between the first `{` after `start` and the next `}`.
fn block<'a>(text: &'a str, start: &str) -> &'a str {
    let after = &text[text.find(start).expect("a block")..];
    let inner = after.split_once(":root {").expect("colours").1;
    inner.split_once('}').expect("an end").0
}

/// Web Content Accessibility Guidelines 2.2: success criterion 1.4.3 asks for 4.5 of texts, and
/// 1.4.11 for 3 of what one must see to use a page.
#[test]
fn every_ink_stands_out_by_day_and_by_night() {
    let day = colours(block(STYLE, ":root {"));
    let night = colours(block(STYLE, "@media screen and (prefers-color-scheme: dark)"));
    assert!(day.len() >= 11 && day.len() == night.len(), "{day:?} {night:?}");
    let mut least = f64::INFINITY;
    for (name, colours) in [("day", &day), ("night", &night)] {
        let contrast = |a: &str, b: &str| contrast_of(colours[a], colours[b]);
        for ink in ["ink", "soft", "copper", "good", "bad", "note"] {
            for behind in ["paper", "panel"] {
                let found = contrast(ink, behind);
                assert!(found >= 4.5, "{ink} on {behind} by {name}: {found:.2}");
                least = least.min(found);
            }
        }
        // Names and dimensions of the drawing; the label of a pressed button.
        for (ink, behind) in [("ink", "die"), ("ink", "substrate"), ("paper", "copper")] {
            let found = contrast(ink, behind);
            assert!(found >= 4.5, "{ink} on {behind} by {name}: {found:.2}");
        }
        // Borders of controls, the curve of a section over a die, orifices.
        for (line, behind) in
            [("soft", "panel"), ("copper", "die"), ("cone", "substrate"), ("cone", "die")]
        {
            let found = contrast(line, behind);
            assert!(found >= 3.0, "{line} on {behind} by {name}: {found:.2}");
        }
    }
    let readme = include_str!("../../../README.md");
    let told = format!("at least {:.1} : 1", (least * 10.0).floor() / 10.0);
    assert!(readme.contains(&told), "README.md lacks \"{told}\"");
}
