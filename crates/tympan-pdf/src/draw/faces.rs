//! The embedded faces, and lines of text set in them.

use std::sync::LazyLock;

use rustybuzz::{Direction, UnicodeBuffer};
use tympan_sheet::drawing::{Anchor, Face, Text};

use super::DrawError;

/// One of the embedded faces.
pub(super) struct Font {
    /// Its PostScript name.
    pub(super) name: &'static str,
    /// Its family, for people.
    pub(super) family: &'static str,
    /// The TrueType file.
    pub(super) data: &'static [u8],
    /// The same, parsed.
    pub(super) face: LazyLock<rustybuzz::Face<'static>>,
}

macro_rules! font {
    ($name:literal, $family:literal) => {{
        const DATA: &[u8] = include_bytes!(concat!("../../fonts/", $name, ".ttf"));
        Font {
            name: $name,
            family: $family,
            data: DATA,
            face: LazyLock::new(|| {
                rustybuzz::Face::from_slice(DATA, 0).expect("the embedded face is sound")
            }),
        }
    }};
}

static TEXT: Font = font!(
    "AtkinsonHyperlegibleNext-Regular",
    "Atkinson Hyperlegible Next"
);
static BOLD: Font = font!(
    "AtkinsonHyperlegibleNext-Bold",
    "Atkinson Hyperlegible Next"
);
static HEADING: Font = font!("Bitter-Bold", "Bitter");

/// All faces, in the order in which they are embedded.
pub(super) const FACES: [Face; 3] = [Face::Text, Face::Bold, Face::Heading];

/// The font that a face is set in.
pub(super) fn font(face: Face) -> &'static Font {
    match face {
        Face::Text => &TEXT,
        Face::Bold => &BOLD,
        Face::Heading => &HEADING,
    }
}

impl Font {
    /// Font units in one em.
    pub(super) fn units_per_em(&self) -> f64 {
        f64::from(self.face.units_per_em())
    }

    /// How far a glyph moves the pen when nothing is kerned, font units.
    pub(super) fn plain_advance(&self, glyph: u16) -> u16 {
        self.face
            .glyph_hor_advance(rustybuzz::ttf_parser::GlyphId(glyph))
            .unwrap_or(0)
    }
}

/// One glyph of a set line.
pub(super) struct Glyph {
    pub(super) id: u16,
    /// How far it moves the pen, kerning included, font units.
    pub(super) advance: i32,
    /// What it stands for in the text.
    pub(super) text: String,
}

/// A line of text as glyphs, one after the other on the baseline.
pub(super) struct Line {
    pub(super) font: &'static Font,
    pub(super) glyphs: Vec<Glyph>,
}

impl Line {
    /// Sets a line of text, with kerning. Characters without a picture become glyph 0.
    pub(super) fn set(text: &str, face: Face) -> Self {
        let font = font(face);
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(text);
        buffer.set_direction(Direction::LeftToRight);
        let shaped = rustybuzz::shape(&font.face, &[], buffer);
        let infos = shaped.glyph_infos();
        let glyphs = infos
            .iter()
            .zip(shaped.glyph_positions())
            .enumerate()
            .map(|(i, (info, position))| {
                let start = info.cluster as usize;
                let next = infos[i + 1..]
                    .iter()
                    .map(|n| n.cluster as usize)
                    .find(|&c| c > start);
                let first = i == 0 || infos[i - 1].cluster != info.cluster;
                let said = if first {
                    &text[start..next.unwrap_or(text.len())]
                } else {
                    ""
                };
                Glyph {
                    id: info.glyph_id as u16,
                    advance: position.x_advance,
                    text: said.to_owned(),
                }
            })
            .collect();
        Self { font, glyphs }
    }

    /// Its width for a face of this size, mm.
    pub(super) fn width(&self, size: f64) -> f64 {
        let units: i32 = self.glyphs.iter().map(|g| g.advance).sum();
        f64::from(units) * size / self.font.units_per_em()
    }

    /// Where it begins along the baseline, mm from the text's own point.
    pub(super) fn start(&self, text: &Text) -> f64 {
        match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => -self.width(text.size) / 2.0,
            Anchor::End => -self.width(text.size),
        }
    }

    /// Refuses text for which the face has no picture.
    pub(super) fn check(&self, text: &str, page: usize) -> Result<(), DrawError> {
        match self.missing().first() {
            None => Ok(()),
            Some(&character) => Err(DrawError::MissingCharacter {
                page,
                character,
                text: text.to_owned(),
            }),
        }
    }

    fn missing(&self) -> Vec<char> {
        self.glyphs
            .iter()
            .filter(|g| g.id == 0)
            .flat_map(|g| g.text.chars())
            .collect()
    }
}

/// The width of a line of text set at this size (em), mm, kerning included.
pub fn text_width(text: &str, size: f64, face: Face) -> f64 {
    Line::set(text, face).width(size)
}

/// The height of the face's capitals (and, nearly, its figures) at this size (em), mm. Text whose
/// baseline is half of it below a point stands centred on that point.
pub fn cap_height(size: f64, face: Face) -> f64 {
    let font = font(face);
    let units = font.face.capital_height().unwrap_or(700);
    f64::from(units) * size / font.units_per_em()
}

/// The characters that the face cannot show. Text with any of them is refused by
/// [`write`](super::write).
pub fn missing_characters(text: &str, face: Face) -> Vec<char> {
    Line::set(text, face).missing()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn kerning_draws_letters_together() {
        let apart = text_width("A", 10.0, Face::Text) + text_width("V", 10.0, Face::Text);
        assert!(text_width("AV", 10.0, Face::Text) < apart - 0.1);
    }

    #[test]
    fn width_grows_with_size() {
        let one = text_width("2.1 mm low", 1.0, Face::Bold);
        assert!((text_width("2.1 mm low", 7.0, Face::Bold) - 7.0 * one).abs() < 1e-9);
    }

    #[test]
    fn every_face_has_what_the_program_says() {
        let said = "AZaz09 × ° ± µ ² – — ’ “ ” … · • ½ − ← ↑ → ↓ Žižek Łódź Ærø naïve §";
        for face in FACES {
            assert_eq!(
                missing_characters(said, face),
                Vec::<char>::new(),
                "{face:?}"
            );
        }
    }

    #[test]
    fn a_character_without_a_picture_is_named() {
        assert_eq!(
            missing_characters("ferry ⛴ 渡", Face::Text),
            vec!['⛴', '渡']
        );
    }

    #[test]
    fn a_letter_and_its_accent_apart_are_set_as_one() {
        assert!(missing_characters("cafe\u{301}", Face::Heading).is_empty());
    }
}
