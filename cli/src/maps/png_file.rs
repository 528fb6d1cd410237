//! A canvas as PNG bytes, with a few words inside.

use png::{BitDepth, ColorType, Compression, Encoder, Filter};

use super::MapError;
use super::canvas::Canvas;

/// Encodes quickly; `words` are keywords and texts stored in the file.
pub fn encode(canvas: &Canvas, words: &[(&str, &str)]) -> Result<Vec<u8>, MapError> {
    let failed = |error: png::EncodingError| MapError(error.to_string());
    let mut bytes = Vec::with_capacity(canvas.pixels.len() / 4);
    let mut encoder = Encoder::new(&mut bytes, canvas.size()[0] as u32, canvas.size()[1] as u32);
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    // Maps change little from row to row: differences to the row above compress well and fast.
    encoder.set_compression(Compression::Fast);
    encoder.set_filter(Filter::Up);
    for (keyword, text) in words {
        encoder.add_itxt_chunk((*keyword).to_owned(), (*text).to_owned()).map_err(failed)?;
    }
    let mut writer = encoder.write_header().map_err(failed)?;
    writer.write_image_data(&canvas.pixels).map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(bytes)
}
