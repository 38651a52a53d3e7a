//! The bench sheet as a page (PDF) and as plain text.
//!
//! The page is black on white, in type that can be read under a red lamp: what is worked by
//! is set large, the cautions, which are read before the light goes out, smaller.

mod font;
mod layout;
mod page;
mod text;

#[cfg(test)]
mod tests;

pub use text::plain_text;

use std::collections::BTreeSet;

use crate::document::sheet::Sheet;
use crate::files::fonts;

/// Size of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PaperSize {
    /// 210 x 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 x 11 inches.
    Letter,
}

impl PaperSize {
    /// Both, in the order of a list.
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];

    /// Its name, as it is also kept between runs.
    pub fn word(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "Letter",
        }
    }

    /// From its name.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|paper| paper.word() == word)
    }

    /// Width and height in points (1/72 inch).
    fn points(self) -> (f32, f32) {
        match self {
            Self::A4 => (595.28, 841.89),
            Self::Letter => (612.0, 792.0),
        }
    }
}

/// A small grey picture for the head of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Thumbnail {
    /// Width in pixels.
    pub width: usize,
    /// Height in pixels.
    pub height: usize,
    /// Grey screen values, row by row.
    pub grey: Vec<u8>,
}

impl Thumbnail {
    /// Longest side of a thumbnail, pixels: 300 dots an inch at the size it is printed.
    pub const LONGEST: usize = 480;

    /// From screen values (red, green, blue), made smaller where it is large.
    ///
    /// `None` for an empty picture or one whose values aren't as many as its size says.
    pub fn of(screen: &[[u8; 3]], width: usize, height: usize) -> Option<Self> {
        if width == 0 || height == 0 || screen.len() != width * height {
            return None;
        }
        let step = width.max(height).div_ceil(Self::LONGEST);
        let (small, low) = (width.div_ceil(step), height.div_ceil(step));
        let mut grey = Vec::with_capacity(small * low);
        for y in 0..low {
            for x in 0..small {
                let (mut sum, mut count) = (0usize, 0usize);
                for row in (y * step)..((y + 1) * step).min(height) {
                    let from = row * width + x * step;
                    let to = row * width + ((x + 1) * step).min(width);
                    for rgb in &screen[from..to] {
                        // Weights of sRGB's luminance in thousandths (IEC 61966-2-1).
                        let [r, g, b] = rgb.map(usize::from);
                        sum += 213 * r + 715 * g + 72 * b;
                        count += 1000;
                    }
                }
                grey.push((sum / count.max(1)).min(255) as u8);
            }
        }
        Some(Self {
            width: small,
            height: low,
            grey,
        })
    }
}

/// The page could not be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SheetError {
    /// A typeface of the program itself can't be read.
    #[error("the typeface {0} can't be put into the page; this is a fault of the program")]
    Font(&'static str),
}

/// The sheet as a PDF file of one page, with its typefaces in it.
///
/// # Errors
/// When a typeface can't be put into the file.
pub fn pdf(
    sheet: &Sheet,
    picture: Option<&Thumbnail>,
    paper: PaperSize,
) -> Result<Vec<u8>, SheetError> {
    let (width, height) = paper.points();
    let (system, lacking) = faces_for(sheet);
    let mut page = page::Page::new(width, height, &system)?;
    layout::set(&mut page, sheet, picture);
    if let Some(said) = lacking_said(&lacking) {
        page.text(28.0, height - 14.0, &said, page::Type::Plain, 7.0);
    }
    page.finish(&sheet.picture)
}

/// Letters of the sheet that its page can't show, because no typeface here has them or their script
/// is written in a way that the page can't set; `?` stands for each there.
pub fn unshown(sheet: &Sheet) -> BTreeSet<char> {
    faces_for(sheet).1
}

fn faces_for(sheet: &Sheet) -> (Vec<fonts::SystemFace>, BTreeSet<char>) {
    let text = plain_text(sheet);
    fonts::of_system(&fonts::lacking(&text))
}

/// What is to be said of letters that can't be shown, if there are any.
pub fn lacking_said(lacking: &BTreeSet<char>) -> Option<String> {
    if lacking.is_empty() {
        return None;
    }
    let numbers: Vec<String> = lacking
        .iter()
        .map(|letter| format!("U+{:04X}", u32::from(*letter)))
        .collect();
    Some(format!(
        "These letters can't be shown here, and a sign stands for each: {}.",
        numbers.join(", ")
    ))
}
