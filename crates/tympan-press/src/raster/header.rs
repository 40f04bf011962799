//! The header of a page (PWG 5102.4, table 1).

use tympan_sheet::{Length, Paper, Size};

use super::ColourSpace;
use crate::ipp::Sides;

/// How long a page's header is.
pub const HEADER_BYTES: usize = 1796;

/// What a header says.
pub(super) struct Header<'a> {
    pub(super) size: Size,
    pub(super) dpi: u32,
    pub(super) space: ColourSpace,
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) pages: u32,
    pub(super) sides: Sides,
    /// Mirrored across the feed, along the feed.
    pub(super) mirrors: (bool, bool),
    /// `print-quality`; 0 for the printer's own.
    pub(super) quality: u32,
    pub(super) kind: Option<&'a str>,
}

impl Header<'_> {
    pub(super) fn bytes_per_line(&self) -> usize {
        let width = self.width as usize;
        match self.space {
            ColourSpace::Black => width.div_ceil(8),
            ColourSpace::Grey => width,
            ColourSpace::Colour => 3 * width,
        }
    }

    pub(super) fn bytes(&self) -> Vec<u8> {
        let mut bytes = vec![0_u8; HEADER_BYTES];
        let mut text = |at: usize, text: &str| {
            // 64 bytes with a zero at the end.
            let text = &text.as_bytes()[..text.len().min(63)];
            bytes[at..at + text.len()].copy_from_slice(text);
        };
        text(0, "PwgRaster");
        text(128, self.kind.unwrap_or_default());
        if let Ok(paper) = Paper::of_size(self.size) {
            text(1732, paper.name());
        }
        let mut number = |at: usize, number: u32| {
            bytes[at..at + 4].copy_from_slice(&number.to_be_bytes());
        };
        let is_two_sided = self.sides != Sides::OneSided;
        let transform = |mirrored: bool| if mirrored { u32::MAX } else { 1 };
        let points = |mm: f64| Length::mm(mm).to_pt().round() as u32;
        let (bits, colours, space) = match self.space {
            ColourSpace::Black => (1, 1, 3),
            ColourSpace::Grey => (8, 1, 18),
            ColourSpace::Colour => (8, 3, 19),
        };
        number(272, u32::from(is_two_sided));
        number(276, self.dpi);
        number(280, self.dpi);
        number(340, 1);
        number(352, points(self.size.w));
        number(356, points(self.size.h));
        number(368, u32::from(self.sides == Sides::TwoSidedShortEdge));
        number(372, self.width);
        number(376, self.height);
        number(384, bits);
        number(388, bits * colours);
        number(392, self.bytes_per_line() as u32);
        number(400, space);
        number(420, colours);
        number(452, self.pages);
        number(456, transform(self.mirrors.0));
        number(460, transform(self.mirrors.1));
        // The box of the image: all of it (0 for each edge says the same).
        number(472, self.width);
        number(476, self.height);
        // No alternate ink.
        number(480, 0x00ff_ffff);
        number(484, self.quality);
        bytes
    }
}
