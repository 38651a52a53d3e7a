//! A typeface for the page: widths, and the part of it that goes into the file.

use std::collections::BTreeMap;
use std::ops::Deref;
use std::sync::Arc;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Finish as _, Name, Pdf, Rect, Ref, Str};
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::{GlyphMetrics, Metrics};
use skrifa::raw::TableProvider as _;
use skrifa::{FontRef, GlyphId, MetadataProvider as _, Tag};
use subsetter::GlyphRemapper;

use super::SheetError;
use crate::files::fonts::SystemFace;

/// How glyphs are numbered: by the font itself.
const IDENTITY: SystemInfo<'_> = SystemInfo {
    registry: Str(b"Adobe"),
    ordering: Str(b"Identity"),
    supplement: 0,
};
/// What stands for a letter that no typeface has; the page says which those are.
const LACKING: char = '?';

/// Where the bytes of a typeface are.
enum Data {
    Own(&'static [u8]),
    System(Arc<[u8]>),
}

impl Deref for Data {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        match self {
            Self::Own(data) => data,
            Self::System(data) => data,
        }
    }
}

/// A typeface and the letters used of it.
pub(super) struct Face {
    data: Data,
    /// Its place in a file of several.
    index: u32,
    /// Name within the file.
    name: &'static str,
    remapper: GlyphRemapper,
    /// The letter that each used glyph stands for, by its number in the file.
    letters: BTreeMap<u16, char>,
}

impl Face {
    /// An OpenType font, with outlines of either kind.
    pub(super) fn new(data: &'static [u8], name: &'static str) -> Result<Self, SheetError> {
        Self::of(Data::Own(data), 0, name)
    }

    /// A typeface of the system.
    pub(super) fn of_system(face: &SystemFace) -> Result<Self, SheetError> {
        Self::of(Data::System(Arc::clone(&face.data)), face.index, "System")
    }

    fn of(data: Data, index: u32, name: &'static str) -> Result<Self, SheetError> {
        FontRef::from_index(&data, index).map_err(|_| SheetError::Font(name))?;
        Ok(Self {
            data,
            index,
            name,
            remapper: GlyphRemapper::new(),
            letters: BTreeMap::new(),
        })
    }

    /// It was read once when it was taken.
    fn font(&self) -> Option<FontRef<'_>> {
        FontRef::from_index(&self.data, self.index).ok()
    }

    /// Whether it has a letter.
    pub(super) fn has(&self, letter: char) -> bool {
        let font = self.font();
        font.is_some_and(|font| font.charmap().map(letter).is_some())
    }

    fn glyph(font: &FontRef<'_>, letter: char) -> GlyphId {
        let charmap = font.charmap();
        charmap
            .map(letter)
            .or_else(|| charmap.map(LACKING))
            .unwrap_or(GlyphId::NOTDEF)
    }

    /// Width of a text at a size in points.
    pub(super) fn width(&self, text: &str, size: f32) -> f32 {
        let Some(font) = self.font() else {
            return 0.0;
        };
        let metrics = GlyphMetrics::new(&font, Size::new(size), LocationRef::default());
        let advance = |letter| {
            let glyph = Self::glyph(&font, letter);
            metrics.advance_width(glyph).unwrap_or(0.0)
        };
        text.chars().map(advance).sum()
    }

    /// Whether anything was set in it.
    pub(super) fn is_used(&self) -> bool {
        !self.letters.is_empty()
    }

    /// The text as glyph numbers of the file, two bytes each.
    pub(super) fn encoded(&mut self, text: &str) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(text.len() * 2);
        let Ok(font) = FontRef::from_index(&self.data, self.index) else {
            return bytes;
        };
        for letter in text.chars() {
            let glyph = Self::glyph(&font, letter).to_u32() as u16;
            let number = self.remapper.remap(glyph);
            let lacking = font.charmap().map(letter).is_none();
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
        let whole = self.font().ok_or(SheetError::Font(self.name))?;
        let part = subsetter::subset(&self.data, self.index, &self.remapper)
            .map_err(|_| SheetError::Font(self.name))?;
        let font = FontRef::new(&part).map_err(|_| SheetError::Font(self.name))?;
        // PostScript outlines go into the page alone, the other kind with its file.
        let outlines = font.table_data(Tag::new(b"CFF "));
        let [cid, descriptor, file, map] = std::array::from_fn(|_| next.bump());
        let tagged = format!("TWSTRP+{}", self.name);
        let base = Name(tagged.as_bytes());
        pdf.type0_font(first)
            .base_font(base)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(map);
        let units = f32::from(whole.head().map_err(failed)?.units_per_em());
        let per_thousand = 1000.0 / units;
        let widths = GlyphMetrics::new(&whole, Size::unscaled(), LocationRef::default());
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
            .subtype(if outlines.is_some() {
                CidFontType::Type0
            } else {
                CidFontType::Type2
            })
            .base_font(base)
            .system_info(IDENTITY)
            .font_descriptor(descriptor)
            .default_width(0.0);
        if outlines.is_none() {
            cid_font.cid_to_gid_map_predefined(Name(b"Identity"));
        }
        cid_font.widths().consecutive(0, widths);
        cid_font.finish();
        let metrics = Metrics::new(&whole, Size::unscaled(), LocationRef::default());
        let bounds = metrics.bounds.unwrap_or_default();
        let mut described = pdf.font_descriptor(descriptor);
        described
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
            .stem_v(90.0);
        if outlines.is_some() {
            described.font_file3(file);
        } else {
            described.font_file2(file);
        }
        described.finish();
        if let Some(outlines) = outlines {
            pdf.stream(file, outlines.as_bytes())
                .pair(Name(b"Subtype"), Name(b"CIDFontType0C"));
        } else {
            let length = i32::try_from(part.len()).unwrap_or(i32::MAX);
            pdf.stream(file, &part).pair(Name(b"Length1"), length);
        }
        let mut cmap = UnicodeCmap::new(Name(b"Letters"), IDENTITY);
        for (&number, &letter) in &self.letters {
            cmap.pair(number, letter);
        }
        pdf.cmap(map, &cmap.finish());
        Ok(())
    }
}
