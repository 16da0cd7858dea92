//! Pixels, and their PNG file.

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
