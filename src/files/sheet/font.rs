//! A typeface for the page: widths, and the part of it that goes into the file.

use std::collections::BTreeMap;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Finish as _, Name, Pdf, Rect, Ref, Str};
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::{GlyphMetrics, Metrics};
use skrifa::raw::TableProvider as _;
use skrifa::{FontRef, GlyphId, MetadataProvider as _, Tag};
use subsetter::GlyphRemapper;

use super::SheetError;

/// How glyphs are numbered: by the font itself.
const IDENTITY: SystemInfo<'_> = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};
/// What stands for a letter that the typeface lacks.
const LACKING: char = '?';

/// A typeface and the letters used of it.
pub(super) struct Face {
    data: &'static [u8],
    /// Name within the file.
    name: &'static str,
    font: FontRef<'static>,
    remapper: GlyphRemapper,
    /// The letter that each used glyph stands for, by its number in the file.
    letters: BTreeMap<u16, char>,
}

impl Face {
    /// An OpenType font with PostScript outlines.
    pub(super) fn new(data: &'static [u8], name: &'static str) -> Result<Self, SheetError> {
        let font = FontRef::new(data).map_err(|_| SheetError::Font(name))?;
        Ok(Self {
            data,
            name,
            font,
            remapper: GlyphRemapper::new(),
            letters: BTreeMap::new(),
        })
    }

    fn glyph(&self, letter: char) -> GlyphId {
        let charmap = self.font.charmap();
        charmap
            .map(letter)
            .or_else(|| charmap.map(LACKING))
            .unwrap_or(GlyphId::NOTDEF)
    }

    /// Width of a text at a size in points.
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        let metrics = GlyphMetrics::new(&self.font, Size::new(size), LocationRef::default());
        let advance = |letter| metrics.advance_width(self.glyph(letter)).unwrap_or(0.0);
        text.chars().map(advance).sum()
    }

    /// The text as glyph numbers of the file, two bytes each.
    pub(super) fn encoded(&mut self, text: &str) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(text.len() * 2);
        for letter in text.chars() {
            let glyph = self.glyph(letter).to_u32() as u16;
            let number = self.remapper.remap(glyph);
            let lacking = self.font.charmap().map(letter).is_none();
            self.letters
                .entry(number)
                .or_insert(if lacking { LACKING } else { letter });
            bytes.extend(number.to_be_bytes());
        }
        bytes
    }

    /// Puts the used part of the typeface into the file under `first` and the three numbers
    /// after the next.
    pub(super) fn embed(
        &self,
        pdf: &mut Pdf,
        first: Ref,
        next: &mut Ref,
    ) -> Result<(), SheetError> {
        let failed = |_| SheetError::Font(self.name);
        let part = subsetter::subset(self.data, 0, &self.remapper)
            .map_err(|_| SheetError::Font(self.name))?;
        let font = FontRef::new(&part).map_err(|_| SheetError::Font(self.name))?;
        let outlines = font
            .table_data(Tag::new(b"CFF "))
            .ok_or(SheetError::Font(self.name))?;
        let [cid, descriptor, file, map] = std::array::from_fn(|_| next.bump());
        let tagged = format!("TWSTRP+{}", self.name);
        let base = Name(tagged.as_bytes());
        pdf.type0_font(first)
            .base_font(base)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(map);
        let units = f32::from(self.font.head().map_err(failed)?.units_per_em());
        let per_thousand = 1000.0 / units;
        let widths = GlyphMetrics::new(&self.font, Size::unscaled(), LocationRef::default());
        let widths: Vec<f32> = self
            .remapper
            .remapped_gids()
            .map(|old| {
                widths
                    .advance_width(GlyphId::new(old.into()))
                    .unwrap_or(0.0)
                    * per_thousand
            })
            .collect();
        let mut cid_font = pdf.cid_font(cid);
        cid_font
            .subtype(CidFontType::Type0)
            .base_font(base)
            .system_info(IDENTITY)
            .font_descriptor(descriptor)
            .default_width(0.0);
        cid_font.widths().consecutive(0, widths);
        cid_font.finish();
        let metrics = Metrics::new(&self.font, Size::unscaled(), LocationRef::default());
        let bounds = metrics.bounds.unwrap_or_default();
        pdf.font_descriptor(descriptor)
            .name(base)
            .flags(FontFlags::NON_SYMBOLIC)
            .bbox(Rect::new(
                bounds.x_min * per_thousand,
                bounds.y_min * per_thousand,
                bounds.x_max * per_thousand,
                bounds.y_max * per_thousand,
            ))
            .italic_angle(0.0)
            .ascent(metrics.ascent * per_thousand)
            .descent(metrics.descent * per_thousand)
            .cap_height(metrics.cap_height.unwrap_or(metrics.ascent) * per_thousand)
            // Nothing reads it where the outlines are at hand; it must be there.
            .stem_v(90.0)
            .font_file3(file);
        pdf.stream(file, outlines.as_bytes())
            .pair(Name(b"Subtype"), Name(b"CIDFontType0C"));
        let mut cmap = UnicodeCmap::new(Name(b"Letters"), IDENTITY);
        for (&number, &letter) in &self.letters {
            cmap.pair(number, letter);
        }
        pdf.cmap(map, &cmap.finish());
        Ok(())
    }
}
