//! Colours for values, and round numbers for axes.

use clap::ValueEnum;
use colorous::Gradient;

use super::options::Colours;

/// Red, green, blue.
pub type Rgb = [u8; 3];

/// Entries of the colour table: more than an eye can tell apart.
const ENTRIES: usize = 512;

/// Values from low to high as colours.
///
/// Magma is perceptually uniform, its lightness rises all along and it survives the common forms
/// of colour blindness (S. van der Walt, N. Smith, "A Better Default Colormap for Matplotlib",
/// SciPy 2015).
#[derive(Debug, Clone)]
pub struct ColourScale {
    low: f64,
    high: f64,
    open_above: bool,
    table: Vec<Rgb>,
    alarm: Option<(f64, Rgb)>,
    single: Option<f64>,
    diverging: bool,
}

impl ColourScale {
    /// Magma from `low` to `high`; a range without width is widened so that it can be drawn.
    pub fn magma(low: f64, high: f64) -> ColourScale {
        ColourScale::with(colorous::MAGMA, low, high)
    }

    /// Magma the other way round, dark at the high end, for values of which small ones matter. It
    /// ends before black, which would hide all that is well off.
    pub fn magma_reversed(low: f64, high: f64) -> ColourScale {
        let mut scale = ColourScale::magma(low, high);
        scale.table = reversed(Colours::Magma);
        scale
    }

    /// Blue below zero, white at zero, red above, as far on either side: told apart in the common
    /// forms of colour blindness (C. A. Brewer, "Color Use Guidelines for Mapping and Visualization",
    /// 1994; the scheme RdBu).
    pub fn diverging(largest: f64) -> ColourScale {
        let largest = if largest > 0.0 { largest } else { 1.0 };
        let mut scale = ColourScale::with(colorous::RED_BLUE, -largest, largest);
        scale.table.reverse();
        scale.diverging = true;
        scale
    }

    /// With a colour of its own for everything below a value.
    pub fn with_alarm(mut self, below: f64, colour: Rgb) -> ColourScale {
        self.alarm = Some((below, colour));
        self
    }

    /// The same values in other colours, the same way round; two-sided scales keep theirs.
    pub fn in_colours(mut self, colours: Colours) -> ColourScale {
        if self.diverging {
            return self;
        }
        let is_reversed = luma(self.table[0]) > luma(self.table[ENTRIES - 1]);
        self.table = match is_reversed {
            true => reversed(colours),
            false => shares().map(|share| colours.at(share)).collect(),
        };
        self
    }

    /// Whether values go on above the upper end.
    pub fn open_above(mut self, open: bool) -> ColourScale {
        self.open_above = open;
        self
    }

    fn with(gradient: Gradient, low: f64, high: f64) -> ColourScale {
        let least = 1e-6 * low.abs().max(high.abs()).max(1e-300);
        let single = (high - low < least).then_some(low);
        let (low, high) = if single.is_none() {
            (low, high)
        } else {
            let widen = if low == 0.0 { 0.5 } else { 0.01 * low.abs() };
            (low - widen, high + widen)
        };
        let table = (0..ENTRIES)
            .map(|entry| {
                let colour = gradient.eval_continuous(entry as f64 / (ENTRIES - 1) as f64);
                [colour.r, colour.g, colour.b]
            })
            .collect();
        ColourScale { low, high, open_above: false, table, alarm: None, single, diverging: false }
    }

    /// The one value of a range without width.
    pub fn single(&self) -> Option<f64> {
        self.single
    }

    /// Lowest value.
    pub fn low(&self) -> f64 {
        self.low
    }

    /// Highest value.
    pub fn high(&self) -> f64 {
        self.high
    }

    /// Whether values go on above the upper end.
    pub fn is_open_above(&self) -> bool {
        self.open_above
    }

    /// The colour of a value; beyond the ends that of the end.
    pub fn colour(&self, value: f64) -> Rgb {
        if let Some((below, colour)) = self.alarm
            && value < below
        {
            return colour;
        }
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        self.table[(share * (ENTRIES - 1) as f64 + 0.5) as usize]
    }
}

/// Where a reversed scale ends: the darkest fifth is left out.
const REVERSED_FROM: f64 = 0.2;

/// Shares of the entries of a table.
fn shares() -> impl DoubleEndedIterator<Item = f64> {
    (0..ENTRIES).map(|entry| entry as f64 / (ENTRIES - 1) as f64)
}

/// The table of a scale whose small values are bright.
fn reversed(colours: Colours) -> Vec<Rgb> {
    shares().rev().map(|share| colours.at(REVERSED_FROM + share * (1.0 - REVERSED_FROM))).collect()
}

/// Brightness enough to tell which end is the lighter one (Rec. 709 weights).
fn luma([r, g, b]: Rgb) -> f64 {
    0.2126 * f64::from(r) + 0.7152 * f64::from(g) + 0.0722 * f64::from(b)
}

/// The colour scales that the report offers: name, and 256 colours, three bytes each.
pub fn colour_tables() -> Vec<(String, Vec<u8>)> {
    Colours::value_variants()
        .iter()
        .map(|colours| {
            let name = colours.to_possible_value().map_or(String::new(), |v| v.get_name().into());
            let table = (0..256).flat_map(|entry| colours.at(f64::from(entry) / 255.0));
            (name, table.collect())
        })
        .collect()
}

/// Round numbers inside a range, and how many decimals they need.
#[derive(Debug, Clone, PartialEq)]
pub struct Ticks {
    /// Ascending.
    pub values: Vec<f64>,
    /// Digits after the point.
    pub decimals: usize,
}

impl Ticks {
    /// Multiples of 1, 2 or 5 times a power of ten from `low` to `high`, at most `most` of them.
    pub fn inside(low: f64, high: f64, most: usize) -> Ticks {
        let span = high - low;
        if !(span.is_finite() && span > 0.0 && low.is_finite()) || most == 0 {
            return Ticks { values: Vec::new(), decimals: 0 };
        }
        let power = (span / most as f64).log10().floor() as i32;
        for exponent in power..power + 3 {
            for factor in [1.0, 2.0, 5.0] {
                let step = factor * 10f64.powi(exponent);
                let slack = 1e-9 * span;
                let first = ((low - slack) / step).ceil();
                let last = ((high + slack) / step).floor();
                if last - first + 1.0 <= most as f64 {
                    let values =
                        (0..=(last - first) as i64).map(|n| (first + n as f64) * step).collect();
                    return Ticks { values, decimals: (-exponent).max(0) as usize };
                }
            }
        }
        Ticks { values: Vec::new(), decimals: 0 }
    }

    /// The text of a tick.
    pub fn label(&self, value: f64) -> String {
        // Adding zero turns minus zero into zero.
        let text = format!("{:.*}", self.decimals, value + 0.0);
        if text.trim_start_matches('-').chars().all(|c| c == '0' || c == '.') {
            return text.trim_start_matches('-').to_owned();
        }
        text.replace('-', "\u{2212}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(Ticks::inside(0.0, 96.0, 9).values, [0., 20., 40., 60., 80.]);
        assert_eq!(Ticks::inside(0.0, 50.0, 11).values.len(), 11);
        let ticks = Ticks::inside(41.37, 41.52, 8);
        assert_eq!(ticks.decimals, 2);
        assert_eq!(ticks.label(ticks.values[0]), "41.38");
        assert_eq!(Ticks::inside(-0.3, 0.3, 7).label(-1e-17), "0.0");
        assert_eq!(Ticks::inside(-20.0, 0.0, 3).label(-20.0), "\u{2212}20");
        assert!(Ticks::inside(1.0, 1.0, 5).values.is_empty());
        assert!(Ticks::inside(f64::NAN, 1.0, 5).values.is_empty());
    }

    #[test]
    fn lightness_rises_along_the_scale() {
        let scale = ColourScale::magma(0.0, 1.0);
        // Rec. 709 luma, enough to see an order.
        let luma = |v: f64| {
            let [r, g, b] = scale.colour(v).map(f64::from);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        for step in 1..=50 {
            assert!(luma(step as f64 / 50.0) > luma((step - 1) as f64 / 50.0));
        }
        assert_eq!(scale.colour(-5.0), scale.colour(0.0));
        assert_eq!(scale.colour(7.0), scale.colour(1.0));
    }

    #[test]
    fn an_alarm_has_its_own_colour_and_small_values_are_bright_on_the_reversed_scale() {
        let scale = ColourScale::magma_reversed(0.0, 6.0).with_alarm(1.0, [0, 255, 255]);
        assert_eq!(scale.colour(0.99), [0, 255, 255]);
        let [r, g, b] = scale.colour(6.0);
        assert!(r > 40 && b > 80 && g < 60, "deep violet, not black");
        assert!(scale.colour(1.0)[0] > 200);
    }

    #[test]
    fn a_flat_field_still_has_a_scale() {
        assert_eq!(ColourScale::magma(40.0, 40.0).single(), Some(40.0));
        assert_eq!(ColourScale::magma(40.0, 40.1).single(), None);
        let scale = ColourScale::magma(300.0, 300.0);
        assert!(scale.low() < 300.0 && scale.high() > 300.0);
        let scale = ColourScale::magma(0.0, 0.0);
        assert!(scale.high() > scale.low());
    }
}
