//! The glyphs that a document uses, embedded as subsets (ISO 32000-1, 9.7.4 and 9.9).

use std::collections::BTreeMap;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, Str};
use subsetter::GlyphRemapper;
use tympan_sheet::drawing::Face;

use super::DrawError;
use super::faces::{FACES, Font, Line, font};

/// The glyphs used so far, per face.
pub(super) struct Used {
    faces: [UsedFace; FACES.len()],
}

#[derive(Default)]
struct UsedFace {
    remapper: GlyphRemapper,
    /// What each new glyph number stands for, for searching and copying.
    said: BTreeMap<u16, String>,
}

/// Where a face's object stands in the file, with its name in the pages' resources.
pub(super) struct Embedded {
    pub(super) name: &'static [u8],
    pub(super) font: Ref,
}

const NAMES: [&[u8]; FACES.len()] = [b"Text", b"Bold", b"Heading"];

/// Glyph numbers are the character codes themselves.
const IDENTITY: SystemInfo = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};

impl Used {
    pub(super) fn new() -> Self {
        Self {
            faces: Default::default(),
        }
    }

    /// Notes a line's glyphs; gives the face's name in the resources and the codes to show.
    pub(super) fn note(&mut self, face: Face, line: &Line) -> (&'static [u8], Vec<u16>) {
        let index = FACES.iter().position(|&f| f == face).unwrap_or(0);
        let used = &mut self.faces[index];
        let codes = line
            .glyphs
            .iter()
            .map(|glyph| {
                let code = used.remapper.remap(glyph.id);
                used.said.entry(code).or_insert_with(|| glyph.text.clone());
                code
            })
            .collect();
        (NAMES[index], codes)
    }

    /// Writes the faces in use.
    pub(super) fn embed(
        &self,
        pdf: &mut Pdf,
        next: &mut impl FnMut() -> Ref,
    ) -> Result<Vec<Embedded>, DrawError> {
        let mut embedded = Vec::new();
        for ((face, used), name) in FACES.into_iter().zip(&self.faces).zip(NAMES) {
            if !used.said.is_empty() {
                embedded.push(Embedded {
                    name,
                    font: used.embed(font(face), pdf, next)?,
                });
            }
        }
        Ok(embedded)
    }
}

impl UsedFace {
    fn embed(
        &self,
        font: &Font,
        pdf: &mut Pdf,
        next: &mut impl FnMut() -> Ref,
    ) -> Result<Ref, DrawError> {
        let [id, cid, descriptor, file, cmap] = [(); 5].map(|()| next());
        let name = format!("{}+{}", self.tag(), font.name);
        let name = Name(name.as_bytes());
        let data =
            subsetter::subset(font.data, 0, &self.remapper).map_err(|e| DrawError::Embedding {
                face: font.name,
                reason: e.to_string(),
            })?;

        pdf.type0_font(id)
            .base_font(name)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(cmap);

        let per_mille = 1000.0 / font.units_per_em();
        let mut writer = pdf.cid_font(cid);
        writer
            .subtype(CidFontType::Type2)
            .base_font(name)
            .system_info(IDENTITY)
            .font_descriptor(descriptor)
            .cid_to_gid_map_predefined(Name(b"Identity"))
            .default_width(0.0);
        let widths = self
            .remapper
            .remapped_gids()
            .map(|old| (f64::from(font.plain_advance(old)) * per_mille) as f32);
        writer.widths().consecutive(0, widths);
        writer.finish();

        let scaled = |units: i16| (f64::from(units) * per_mille) as f32;
        let bounds = font.face.global_bounding_box();
        pdf.font_descriptor(descriptor)
            .name(name)
            .family(Str(font.family.as_bytes()))
            .flags(FontFlags::SYMBOLIC)
            .bbox(Rect::new(
                scaled(bounds.x_min),
                scaled(bounds.y_min),
                scaled(bounds.x_max),
                scaled(bounds.y_max),
            ))
            .italic_angle(0.0)
            .ascent(scaled(font.face.ascender()))
            .descent(scaled(font.face.descender()))
            .cap_height(scaled(font.face.capital_height().unwrap_or(700)))
            .stem_v(if font.face.is_bold() { 140.0 } else { 80.0 })
            .font_file2(file);

        let packed = super::pdf::compress(&data);
        let mut stream = pdf.stream(file, &packed);
        stream
            .filter(Filter::FlateDecode)
            .pair(Name(b"Length1"), data.len() as i32);
        stream.finish();

        let mut unicode = UnicodeCmap::new(Name(b"Custom"), IDENTITY);
        for (&code, said) in self.said.iter().filter(|(_, said)| !said.is_empty()) {
            unicode.pair_with_multiple(code, said.chars());
        }
        let packed = super::pdf::compress(unicode.finish().as_slice());
        pdf.cmap(cmap, &packed).filter(Filter::FlateDecode);
        Ok(id)
    }

    /// Six letters that tell this subset from others of the same face (ISO 32000-1, 9.6.4): from
    /// an FNV-1a hash of its glyphs, so that the same document always gets the same ones.
    fn tag(&self) -> String {
        let mut hash = 0xcbf2_9ce4_8422_2325_u64;
        for byte in self.remapper.remapped_gids().flat_map(u16::to_be_bytes) {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        (0..6)
            .map(|_| {
                let letter = b'A' + (hash % 26) as u8;
                hash /= 26;
                char::from(letter)
            })
            .collect()
    }
}
