//! Arguments that shape the pictures.

use clap::Args;

use crate::failure::Failure;
use crate::maps::{Colours, PictureOptions, SectionLine};

/// Arguments that shape the pictures.
#[derive(Debug, Args)]
#[command(next_help_heading = "Pictures")]
pub struct PictureArguments {
    /// Ends of the scale of every temperature map, °C, so that runs can be compared
    #[arg(long, value_name = "LOW..HIGH", value_parser = scale, allow_hyphen_values = true)]
    pub scale: Option<[f64; 2]>,

    /// Colours: all rise evenly in lightness and can be told apart by colour-blind readers
    #[arg(long = "palette", value_name = "PALETTE", default_value = "magma")]
    pub colours: Colours,

    /// Draw isotherms on the temperature maps, one every so many kelvin
    #[arg(long, value_name = "K", value_parser = spacing)]
    pub isotherms: Option<f64>,

    /// Plot temperatures along a line, mm, as section.png and section.csv; may be repeated
    #[arg(long, value_name = "X0,Y0,X1,Y1", value_parser = section)]
    pub section: Vec<SectionLine>,

    /// Width of the pictures in pixels; text keeps its size
    #[arg(long, value_name = "PX", default_value_t = 1200)]
    #[arg(value_parser = clap::value_parser!(u16).range(760..=8000))]
    pub width: u16,

    /// Write every map and plot as SVG too
    #[arg(long)]
    pub svg: bool,
}

impl PictureArguments {
    /// The options of the pictures.
    pub fn options(&self) -> PictureOptions {
        PictureOptions {
            scale_C: self.scale,
            colours: self.colours,
            isotherms_K: self.isotherms,
            width_px: f64::from(self.width),
            svg: self.svg,
            sections: self.section.clone(),
        }
    }

    /// Fails where something is asked for that takes temperatures.
    pub fn refuse_temperatures(&self) -> Result<(), Failure> {
        let asked = [
            ("--scale", self.scale.is_some()),
            ("--isotherms", self.isotherms.is_some()),
            ("--section", !self.section.is_empty()),
        ];
        match asked.iter().find(|(_, asked)| *asked) {
            None => Ok(()),
            Some((name, _)) => Err(Failure::Request {
                headline: format!("{name} needs temperatures, and --no-solve gives none"),
                help: "leave one of the two out".to_owned(),
            }),
        }
    }
}

fn number(text: &str) -> Result<f64, String> {
    text.trim()
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite())
        .ok_or_else(|| format!("{text:?} is not a number"))
}

fn scale(text: &str) -> Result<[f64; 2], String> {
    let (low, high) =
        text.split_once("..").ok_or("write it with two dots between, such as 20..90")?;
    let [low, high] = [number(low)?, number(high)?];
    if low < high { Ok([low, high]) } else { Err(format!("{low} is not below {high}")) }
}

fn spacing(text: &str) -> Result<f64, String> {
    match number(text)? {
        value if value > 0.0 => Ok(value),
        value => Err(format!("{value} K: a distance above zero belongs here")),
    }
}

fn section(text: &str) -> Result<SectionLine, String> {
    let ends: Vec<f64> = text.split(',').map(number).collect::<Result<_, _>>()?;
    let [x0, y0, x1, y1] = ends[..] else {
        return Err(format!("four numbers belong here, there are {}", ends.len()));
    };
    if x0 == x1 && y0 == y1 {
        return Err("both ends are the same place".to_owned());
    }
    Ok([[x0 * 1e-3, y0 * 1e-3], [x1 * 1e-3, y1 * 1e-3]])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_and_sections_are_read_or_refused_with_a_reason() {
        assert_eq!(scale("20..90"), Ok([20.0, 90.0]));
        assert_eq!(scale("-10..5.5"), Ok([-10.0, 5.5]));
        for wrong in ["20", "90..20", "a..b", "20..inf", ""] {
            assert!(scale(wrong).is_err(), "{wrong}");
        }
        assert_eq!(section("0, 1, 2, 3").map(|line| line[1]), Ok([2e-3, 3e-3]));
        for wrong in ["0,1,2", "1,1,1,1", "0,1,2,x", "0,1,2,3,4"] {
            assert!(section(wrong).is_err(), "{wrong}");
        }
        assert!(spacing("0").is_err() && spacing("2.5").is_ok());
    }
}
