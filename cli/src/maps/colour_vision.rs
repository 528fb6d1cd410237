//! Tests alone: how far apart the colours of a scale lie, for every kind of colour vision.

use clap::ValueEnum;

use super::options::Colours;
use super::scale::Rgb;

type Linear = [f64; 3];

/// Kinds of colour vision. The matrices act on linear sRGB and are those of severity 1 in table 1
/// of G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for
/// Simulation of Color Vision Deficiency", IEEE Transactions on Visualization and Computer
/// Graphics 15 (2009) 1291.
const VISIONS: [(&str, [[f64; 3]; 3]); 4] = [
    ("usual", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    (
        "protanopia",
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ],
    ),
    (
        "deuteranopia",
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ],
    ),
    (
        "tritanopia",
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ],
    ),
];

/// sRGB to linear light (IEC 61966-2-1).
fn linear(colour: Rgb) -> Linear {
    colour.map(|c| {
        let c = f64::from(c) / 255.0;
        if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    })
}

/// Linear sRGB to CIELAB under D65 (IEC 61966-2-1 and CIE 15).
fn lab([r, g, b]: Linear) -> [f64; 3] {
    let x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505;
    let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
    let z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.0890;
    let f = |t: f64| {
        if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 }
    };
    [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
}

fn seen(matrix: &[[f64; 3]; 3], colour: Rgb) -> [f64; 3] {
    let light = linear(colour);
    lab(matrix.map(|row| (0..3).map(|k| row[k] * light[k]).sum::<f64>().clamp(0.0, 1.0)))
}

/// Lightness at both ends, and for each vision the least colour difference of neighbours among
/// seventeen colours (CIE 1976, ΔE*ab).
fn figures(colours: Colours) -> ([f64; 2], [f64; 4]) {
    let at = |matrix: &[[f64; 3]; 3], share: f64| seen(matrix, colours.at(share));
    let ends = [0.0, 1.0].map(|share| at(&VISIONS[0].1, share)[0]);
    let steps = VISIONS.map(|(_, matrix)| {
        (0..16)
            .map(|k| {
                let [a, b] = [k, k + 1].map(|k| at(&matrix, f64::from(k) / 16.0));
                (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
            })
            .fold(f64::INFINITY, f64::min)
    });
    (ends, steps)
}

/// Published: pure red as a protanope sees it, from the first column of the matrix; and CIELAB of
/// white and of mid grey, from their definitions.
#[test]
fn colours_become_what_the_standards_say() {
    let red = linear([255, 0, 0]);
    let matrix = VISIONS[1].1;
    let light = matrix.map(|row| (0..3).map(|k| row[k] * red[k]).sum::<f64>());
    assert_eq!(light, [0.152286, 0.114503, -0.003882]);
    for (_, matrix) in VISIONS {
        // Whites and greys stay what they are.
        assert!(matrix.iter().all(|row| (row.iter().sum::<f64>() - 1.0).abs() < 2e-6));
    }
    let white = lab(linear([255; 3]));
    assert!((white[0] - 100.0).abs() < 1e-9 && white[1].abs() < 0.02 && white[2].abs() < 0.02);
    assert!((lab([0.184_187; 3])[0] - 50.0).abs() < 0.01);
}

/// A just noticeable difference is some 2.3 (M. Mahy and others, "Evaluation of uniform color
/// spaces developed after the adoption of CIELAB and CIELUV", Color Research and Application 19
/// (1994) 105). Seventeen levels of every scale are apart by more than that for every vision, and
/// lightness rises for all, so that order is never lost.
#[test]
fn seventeen_levels_of_every_scale_are_told_apart_by_every_colour_vision() {
    for colours in Colours::value_variants() {
        let (_, steps) = figures(*colours);
        for ((vision, matrix), step) in VISIONS.iter().zip(steps) {
            assert!(step > 2.3, "{colours:?}, {vision}: {step}");
            let lightness: Vec<f64> =
                (0..=16).map(|k| seen(matrix, colours.at(f64::from(k) / 16.0))[0]).collect();
            assert!(lightness.windows(2).all(|w| w[1] > w[0]), "{colours:?}, {vision}");
        }
    }
}

/// The table of the README is this one.
#[test]
fn the_readme_states_these_figures() {
    let readme = include_str!("../../../README.md");
    let mut missing = String::new();
    for colours in Colours::value_variants() {
        let name = colours.to_possible_value().expect("a name").get_name().to_owned();
        let ([low, high], steps) = figures(*colours);
        let steps = steps.map(|step| format!("{step:.1}")).join(" | ");
        let row = format!("| `{name}` | {low:.0} to {high:.0} | {steps} |");
        if !readme.contains(&row) {
            missing += &format!("{row}\n");
        }
    }
    assert!(missing.is_empty(), "README.md lacks\n{missing}");
}
