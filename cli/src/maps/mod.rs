//! Maps of the module as pictures, drawn in memory; no font or display is needed.
//!
//! - [`scale`]: colours and round numbers; [`text`]: the embedded font; [`canvas`]: pixels, lines;
//! - [`raster`]: a field on its graded grid becomes pixels; [`layout`]: where everything goes;
//! - [`names`]: names that do not collide; [`broken`]: lines that leave room for them; [`map`]: one picture; [`nozzles`]: what stands over it; [`png_file`]: its bytes;
//! - [`contours`]: isotherms; [`vectors`]: the same picture as SVG; [`options`]: what may be asked;
//!   [`outlines`]: what is outlined and named;
//! - [`matrix`], [`chart`], [`mod@lines`], [`plot`], [`section`], [`module_map`], [`residuals`]: pictures
//!   that show no field;
//! - [`solve_maps`], [`spray_maps`], [`study_maps`], [`arrange_maps`], [`cycle_charts`],
//!   [`difference_maps`]: which pictures there are.

mod arrange_maps;
mod broken;
mod canvas;
mod chart;
#[cfg(test)]
mod colour_vision;
mod contours;
mod cycle_charts;
mod difference_maps;
mod layout;
mod lines;
mod map;
mod matrix;
mod module_map;
mod names;
mod nozzles;
mod options;
mod outlines;
mod plot;
mod png_file;
mod raster;
mod residuals;
mod scale;
mod section;
mod solve_maps;
mod spray_maps;
mod study_maps;
mod text;
mod vectors;

pub use arrange_maps::{of_before_and_after, of_trade_off};
pub use cycle_charts::of_cycle;
pub use difference_maps::of_difference;
pub use module_map::of_module;
pub use options::{Colours, PictureOptions, SectionLine};
pub use outlines::{Outlined, Outlines};
pub use plot::{Words, contour, histogram, lines, tornado};
pub use raster::on_grid;
pub use residuals::of_fit;
pub use scale::colour_tables;
pub use solve_maps::{of_sections, of_solve};
pub use spray_maps::{HIGHEST_MARGIN, of_survey};
pub use study_maps::{of_clog, of_convergence, of_resistance, of_sensitivity};

/// Contrast of two colours after the Web Content Accessibility Guidelines 2.2.
#[cfg(test)]
pub fn contrast_of(a: [u8; 3], b: [u8; 3]) -> f64 {
    canvas::contrast(canvas::relative_luminance(a), canvas::relative_luminance(b))
}

/// A file: its name and its bytes.
pub type File = (String, Vec<u8>);

/// A finished picture.
#[derive(Debug)]
pub struct Picture {
    /// File name.
    pub file: String,
    /// PNG bytes.
    pub png: Vec<u8>,
}

/// A picture that could not be drawn; only a fault of ours or too large a picture can cause it.
#[derive(Debug)]
pub struct MapError(String);

impl std::fmt::Display for MapError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for MapError {}
