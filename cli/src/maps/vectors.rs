//! What was drawn on a canvas as vectors, for SVG: the same picture at any resolution.

use std::fmt::Write;

use super::canvas::Align;
use super::scale::Rgb;
use super::text::Weight;

/// Fonts in the order in which they are looked for; the first one is that of the PNG.
const FONTS: &str = "DejaVu Sans, Noto Sans, Verdana, sans-serif";

/// Elements in the order in which they were drawn.
#[derive(Debug, Default)]
pub struct Vectors {
    body: String,
    clips: Vec<[i32; 4]>,
}

fn hex([r, g, b]: Rgb) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

impl Vectors {
    /// A filled rectangle, corners included.
    pub fn bar(&mut self, [x0, y0]: [i32; 2], [x1, y1]: [i32; 2], colour: Rgb) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{}\"/>",
            x0.min(x1),
            y0.min(y1),
            (x1 - x0).abs() + 1,
            (y1 - y0).abs() + 1,
            hex(colour)
        );
    }

    /// An outline one pixel wide, corners included.
    pub fn outline(&mut self, corners: [[i32; 2]; 2], colour: Rgb, share: f32, dash: Option<i32>) {
        let [[x0, y0], [x1, y1]] = corners;
        let dash = dash.map_or(String::new(), |dash| format!(" stroke-dasharray=\"{dash}\""));
        let _ = writeln!(
            self.body,
            "<rect x=\"{}.5\" y=\"{}.5\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"{}\" \
             stroke-opacity=\"{share}\"{dash}/>",
            x0,
            y0,
            (x1 - x0).max(0),
            (y1 - y0).max(0),
            hex(colour)
        );
    }

    /// A line of text; `base` is where its base line begins or, turned, rises.
    pub fn text(
        &mut self,
        text: &str,
        [x, y]: [f32; 2],
        (align, upward): (Align, bool),
        (size_px, weight): (f32, Weight),
        (colour, halo): (Rgb, Option<Rgb>),
    ) {
        let anchor = match align {
            Align::Start => "start",
            Align::Middle => "middle",
            Align::End => "end",
        };
        let weight = if weight == Weight::Bold { " font-weight=\"bold\"" } else { "" };
        let turn = match upward {
            true => format!(" transform=\"rotate(-90 {x:.1} {y:.1})\""),
            false => String::new(),
        };
        let halo = halo.map_or(String::new(), |halo| {
            format!(
                " stroke=\"{}\" stroke-width=\"3\" stroke-opacity=\"0.8\" \
                 stroke-linejoin=\"round\" paint-order=\"stroke\"",
                hex(halo)
            )
        });
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size_px}\" text-anchor=\"{anchor}\" \
             fill=\"{}\"{weight}{halo}{turn}>{}</text>",
            hex(colour),
            escaped(text)
        );
    }

    /// A ring, or a disc where the width exceeds the radius.
    pub fn ring(&mut self, [x, y]: [f64; 2], radius: f64, width: f64, colour: Rgb) {
        let _ = if width > radius {
            let radius = radius + width / 2.0;
            let fill = hex(colour);
            writeln!(
                self.body,
                "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{radius:.2}\" fill=\"{fill}\"/>"
            )
        } else {
            writeln!(
                self.body,
                "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"{radius:.2}\" fill=\"none\" stroke=\"{}\" \
                 stroke-width=\"{width}\"/>",
                hex(colour)
            )
        };
    }

    /// A line through points inside a rectangle.
    pub fn stroke(
        &mut self,
        points: &[[f64; 2]],
        width: f64,
        (colour, share): (Rgb, f32),
        clip: [i32; 4],
    ) {
        let clip = match self.clips.iter().position(|known| *known == clip) {
            Some(known) => known,
            None => {
                self.clips.push(clip);
                self.clips.len() - 1
            }
        };
        let places: Vec<String> = points.iter().map(|[x, y]| format!("{x:.2},{y:.2}")).collect();
        let _ = writeln!(
            self.body,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-opacity=\"{share}\" \
             stroke-width=\"{width}\" stroke-linejoin=\"round\" clip-path=\"url(#c{clip})\"/>",
            places.join(" "),
            hex(colour)
        );
    }

    /// Pixels, from a corner, as they are.
    pub fn image(&mut self, [x, y]: [usize; 2], [width, height]: [usize; 2], png_base64: &str) {
        let _ = writeln!(
            self.body,
            "<image x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" \
             preserveAspectRatio=\"none\" href=\"data:image/png;base64,{png_base64}\"/>"
        );
    }

    /// The document, of so many points along x and y, shown at so many pixels.
    pub fn document(
        &self,
        [width, height]: [usize; 2],
        [shown_width, shown_height]: [usize; 2],
        title: &str,
        description: &str,
    ) -> Vec<u8> {
        let mut text = format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" \
             width=\"{shown_width}\" height=\"{shown_height}\" viewBox=\"0 0 {width} {height}\" \
             font-family=\"{FONTS}\" role=\"img\">\n<title>{}</title>\n<desc>{}</desc>\n<defs>\n",
            escaped(title),
            escaped(description)
        );
        for (n, [x0, y0, x1, y1]) in self.clips.iter().enumerate() {
            let _ = writeln!(
                text,
                "<clipPath id=\"c{n}\"><rect x=\"{x0}\" y=\"{y0}\" width=\"{}\" height=\"{}\"/>\
                 </clipPath>",
                x1 - x0,
                y1 - y0
            );
        }
        let _ = write!(
            text,
            "</defs>\n<rect width=\"{width}\" height=\"{height}\" fill=\"#ffffff\"/>\n{}</svg>\n",
            self.body
        );
        text.into_bytes()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_the_document_and_clips_are_shared() {
        let mut vectors = Vectors::default();
        let at = ([1.0, 2.0], (Align::Start, false), (14.0, Weight::Regular), ([0; 3], None));
        vectors.text("a < b & \"c\"", at.0, at.1, at.2, at.3);
        for _ in 0..2 {
            vectors.stroke(&[[0.0, 0.0], [1.0, 1.0]], 1.0, ([9, 8, 7], 1.0), [0, 0, 5, 5]);
        }
        let text =
            String::from_utf8(vectors.document([10, 20], [20, 40], "<t>", "d")).expect("UTF-8");
        assert!(text.contains("a &lt; b &amp; &quot;c&quot;") && text.contains("&lt;t&gt;"));
        assert_eq!(text.matches("<clipPath").count(), 1);
        assert!(text.contains("#090807"));
    }
}
