//! TIFF (TIFF 6.0, 1992, with its supplements) and BigTIFF.
//!
//! The header is looked at first, so that nothing is taken on trust. Then strips or tiles are
//! decoded side by side straight into the picture. The `tiff` library unpacks them; it is
//! shown every file as plain channels, because its handling of extra channels (dropped before
//! the differences are undone) and of planes isn't right for all of them.

mod layout;
mod packed;
mod plain;

use std::sync::Arc;

use super::decoded::{Claim, Decoded};
use super::error::{Format, Problem};
use super::ifd::{Ifd, tag};
use super::limits::{Limits, room_for};
use super::source::{Reader, Source};
use crate::measure::raster::Samples;
use layout::{Kind, Layout};

const TIFF: Format = Format::Tiff;

/// A first page with fewer than one pixel for so many of the largest is a small picture of it.
const THUMBNAIL: u64 = 4;

/// Profiles larger than this are no profiles.
const PROFILE_MOST: u64 = 32 << 20;

/// Reads the first page, or where that is a small picture of another, the largest.
pub(super) fn read(source: &Source<'_>, limits: &Limits) -> Result<Decoded, Problem> {
    let mut stream = source.reader();
    let first = Ifd::first(&mut stream).map_err(|error| Problem::reading(TIFF, error))?;
    let (ifd, page_note) = page(first.pages(&mut stream), &mut stream)?;
    let layout = Layout::of(&ifd, &mut stream, source.length(), limits)?;
    let mut notes = layout.notes.clone();
    notes.extend(page_note);
    if let Ok(Some(orientation @ 2..=8)) = ifd.number(&mut stream, tag::ORIENTATION) {
        notes.push(turned(orientation).into());
    }
    let claim = claim(&ifd, &mut stream, &layout)?;
    let resolution = ifd.resolution(&mut stream);
    drop(stream);
    let count = layout.width * layout.height * layout.channels;
    let samples = match layout.kind {
        Kind::Eight => {
            let mut codes = room_for::<u8>(TIFF, count)?;
            fill(source, &layout, &mut codes)?;
            Samples::Eight(codes)
        }
        Kind::Sixteen => {
            let mut codes = room_for::<u16>(TIFF, count)?;
            fill(source, &layout, bytemuck::cast_slice_mut(&mut codes))?;
            Samples::Sixteen(codes)
        }
        Kind::Float | Kind::ThirtyTwo => {
            let mut values = room_for::<f32>(TIFF, count)?;
            fill(source, &layout, bytemuck::cast_slice_mut(&mut values))?;
            Samples::Float(values)
        }
    };
    Ok(Decoded {
        width: layout.width,
        height: layout.height,
        channels: layout.channels,
        samples,
        bits: layout.kind.bytes() as u8 * 8,
        lossy: false,
        whole: layout.kind != Kind::Float,
        resolution,
        claim,
        notes,
    })
}

/// The page that is read, and what is to be said of that.
fn page(mut pages: Vec<Ifd>, stream: &mut Reader<'_>) -> Result<(Ifd, Option<String>), Problem> {
    let count = pages.len();
    let sizes: Vec<(u64, u64)> = pages
        .iter()
        .map(|page| {
            let mut side = |tag| page.number(stream, tag).ok().flatten().unwrap_or(0);
            (side(tag::WIDTH), side(tag::HEIGHT))
        })
        .collect();
    let pixels = |place: usize| sizes[place].0.saturating_mul(sizes[place].1);
    // Of equals the first.
    let largest = (0..count).rev().max_by_key(|&place| pixels(place));
    let largest = largest.unwrap_or(0);
    let thumbnail = pixels(0) < pixels(largest) / THUMBNAIL;
    let read = if thumbnail { largest } else { 0 };
    let note = match (count, thumbnail) {
        (1, _) => None,
        (_, true) => Some(format!(
            "The file has {count} pages, the first of them a small one; the largest was read, page \
             {} of {} x {} pixels",
            read + 1,
            sizes[read].0,
            sizes[read].1
        )),
        (_, false) => Some(format!("The file has {count} pages; the first was read")),
    };
    Ok((pages.swap_remove(read), note))
}

fn fill(source: &Source<'_>, layout: &Layout, picture: &mut [u8]) -> Result<(), Problem> {
    match &layout.plain {
        Some(strips) => plain::fill(source, layout, strips, picture),
        None => packed::fill(source, layout, picture),
    }
}

/// What an orientation tag asks for. The picture is kept as stored: geometry in a session
/// refers to stored pixels, and strips are found whichever way they lie.
pub(super) fn turned(orientation: u64) -> &'static str {
    match orientation {
        3 => "The file asks to be shown turned by 180 degrees; it is read as stored",
        6 => "The file asks to be shown turned by 90 degrees clockwise; it is read as stored",
        8 => "The file asks to be shown turned by 90 degrees anticlockwise; it is read as stored",
        _ => "The file asks to be shown mirrored; it is read as stored",
    }
}

fn claim(ifd: &Ifd, stream: &mut Reader<'_>, layout: &Layout) -> Result<Claim, Problem> {
    let damaged = |error: std::io::Error| Problem::Profile {
        what: format!("it cannot be taken out of the file: {error}"),
    };
    let profile = ifd.bytes(stream, tag::PROFILE, PROFILE_MOST);
    if let Some(profile) = profile.map_err(damaged)? {
        return Ok(Claim::Profile(profile));
    }
    // TIFF 6.0, section 20: light of each code value, 0 to 65535, one table or three.
    let codes = match layout.kind {
        Kind::Eight => 256,
        Kind::Sixteen => 65_536,
        Kind::Float | Kind::ThirtyTwo => usize::MAX,
    };
    if let Ok(Some(light)) = ifd.numbers(stream, tag::TRANSFER_FUNCTION, 6 * 65_536)
        && (light.len() == codes || light.len() / 3 == codes && light.len() % 3 == 0)
        && light
            .chunks(codes)
            .all(|table| table.is_sorted() && table[0] < table[codes - 1])
    {
        let tables = light
            .chunks(codes)
            .map(|table| table.iter().map(|&light| light as f32 / 65_535.0).collect())
            .collect::<Vec<Arc<[f32]>>>();
        return Ok(Claim::Tables(tables));
    }
    let exif = ifd.child(stream, tag::EXIF);
    let colour_space = exif.and_then(|exif| exif.number(stream, tag::EXIF_COLOUR_SPACE).ok()?);
    Ok(match colour_space {
        Some(1) => Claim::Srgb("Exif data"),
        _ => Claim::Nothing,
    })
}
