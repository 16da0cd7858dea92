//! Pixels, and their PNG file.

use super::palette::Indexed;
use crate::error::{Error, Result};

/// Straight RGBA, eight bits, rows from the top.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::report) struct Image {
    pub width: usize,
    pub height: usize,
    pub rgba: Vec<u8>,
}

impl Image {
    /// The picture as a PNG file.
    pub(in crate::report) fn to_png(&self) -> Result<Vec<u8>> {
        let mut file = Vec::new();
        self.encode(&mut file).map_err(|e| Error::Internal(format!("picture: {e}")))?;
        Ok(file)
    }

    /// The same with no more than 256 colours, for a page.
    pub(in crate::report) fn to_small_png(&self) -> Result<Vec<u8>> {
        let mut file = Vec::new();
        self.encode_small(&mut file).map_err(|e| Error::Internal(format!("picture: {e}")))?;
        Ok(file)
    }

    fn encode_small(&self, file: &mut Vec<u8>) -> std::result::Result<(), png::EncodingError> {
        let Indexed { colours, pixels } = Indexed::of(self);
        let mut encoder = png::Encoder::new(file, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_palette(colours.iter().flat_map(|c| [c[0], c[1], c[2]]).collect::<Vec<u8>>());
        encoder.set_trns(colours.iter().map(|c| c[3]).collect::<Vec<u8>>());
        encoder.set_compression(png::Compression::High);
        // Neighbours in the palette are not neighbours in colour: differences would only be noise.
        encoder.set_filter(png::Filter::NoFilter);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&pixels)?;
        writer.finish()
    }

    fn encode(&self, file: &mut Vec<u8>) -> std::result::Result<(), png::EncodingError> {
        let mut encoder = png::Encoder::new(file, self.width as u32, self.height as u32);
        encoder.set_color(png::ColorType::Rgba);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_compression(png::Compression::Balanced);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&self.rgba)?;
        writer.finish()
    }
}
