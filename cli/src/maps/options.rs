//! What may be asked of the pictures.

/// A colour scale; all of them rise in lightness from end to end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, clap::ValueEnum)]
pub enum Colours {
    /// Black, violet, orange, cream
    #[default]
    Magma,
    /// Blue to yellow, made for every kind of colour vision
    Cividis,
    /// Violet, green, yellow
    Viridis,
    /// Black to white, for print without colour
    Greys,
}

impl Colours {
    /// The colour at a share of the way from the low end to the high one.
    pub fn at(self, share: f64) -> [u8; 3] {
        let (gradient, share) = match self {
            Colours::Magma => (colorous::MAGMA, share),
            Colours::Cividis => (colorous::CIVIDIS, share),
            Colours::Viridis => (colorous::VIRIDIS, share),
            // The greys of the library run from light to dark.
            Colours::Greys => (colorous::GREYS, 1.0 - share),
        };
        let colour = gradient.eval_continuous(share);
        [colour.r, colour.g, colour.b]
    }
}

/// A straight line through the module, m: where it begins and where it ends.
pub type SectionLine = [[f64; 2]; 2];

/// What was asked of the pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureOptions {
    /// Ends of the scale of every map of temperature, °C.
    pub scale_C: Option<[f64; 2]>,
    /// Colours of every map.
    pub colours: Colours,
    /// Distance of the isotherms, K.
    pub isotherms_K: Option<f64>,
    /// Width of the pictures, pixels.
    pub width_px: f64,
    /// Whether every picture is written as SVG too.
    pub svg: bool,
    /// Lines along which temperatures are plotted.
    pub sections: Vec<SectionLine>,
}

/// Width of a picture with a pixel a point.
const USUAL_WIDTH_PX: f64 = 1200.0;

impl PictureOptions {
    /// Points along x: a narrow picture has less of them, its text stays legible.
    pub fn width_points(&self) -> f64 {
        self.width_px.min(USUAL_WIDTH_PX)
    }

    /// Pixels a point: in a wide picture text and lines grow with the width.
    pub fn zoom(&self) -> f64 {
        (self.width_px / USUAL_WIDTH_PX).max(1.0)
    }
}

impl Default for PictureOptions {
    fn default() -> Self {
        PictureOptions {
            scale_C: None,
            colours: Colours::default(),
            isotherms_K: None,
            width_px: USUAL_WIDTH_PX,
            svg: false,
            sections: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::ValueEnum;

    /// Relative luminance of IEC 61966-2-1 (sRGB) to the lightness L* of CIE 15.
    fn lightness(colour: [u8; 3]) -> f64 {
        let [r, g, b] = colour.map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        });
        let y = 0.2126 * r + 0.7152 * g + 0.0722 * b;
        if y > 216.0 / 24389.0 { 116.0 * y.cbrt() - 16.0 } else { y * 24389.0 / 27.0 }
    }

    #[test]
    fn every_scale_rises_in_lightness_over_at_least_seventy_steps_of_l_star() {
        for colours in Colours::value_variants() {
            let at: Vec<f64> =
                (0..=64).map(|k| lightness(colours.at(f64::from(k) / 64.0))).collect();
            assert!(at.windows(2).all(|w| w[1] > w[0] - 0.3), "{colours:?}: {at:?}");
            assert!(at[64] - at[0] > 70.0, "{colours:?}: {}", at[64] - at[0]);
        }
    }
}
