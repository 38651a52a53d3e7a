//! Typefaces: those of the program, and where they lack a letter, those of the system.
#![expect(
    clippy::disallowed_methods,
    reason = "typefaces of the system are files that are only read"
)]

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use skrifa::{FontRef, MetadataProvider as _};

/// The program's typeface, in two weights.
pub const REGULAR: &[u8] = include_bytes!("../fonts/B612-Regular.otf");
/// Its bold.
pub const BOLD: &[u8] = include_bytes!("../fonts/B612-Bold.otf");
/// What that lacks: Latin with all accents, Greek, Cyrillic.
pub const WIDE: &[u8] = include_bytes!("../fonts/NotoSans-part.ttf");

/// Most files of typefaces that are looked at.
const MOST_FILES: usize = 4_000;
/// Largest file of a typeface that is read, bytes.
const LARGEST: u64 = 64 << 20;

/// A typeface of the system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SystemFace {
    /// The file's bytes.
    pub data: Arc<[u8]>,
    /// Its place in a file of several.
    pub index: u32,
}

/// Letters of a text that the program's own typefaces lack.
pub fn lacking(text: &str) -> BTreeSet<char> {
    let own: Vec<_> = [REGULAR, WIDE]
        .iter()
        .filter_map(|data| FontRef::new(data).ok())
        .map(|font| font.charmap())
        .collect();
    text.chars()
        .filter(|letter| !letter.is_control() && !letter.is_whitespace())
        .filter(|&letter| own.iter().all(|map| map.map(letter).is_none()))
        .collect()
}

/// Typefaces of the system that have these letters, few rather than many, and the letters that none
/// has or that can't be set one by one.
pub fn of_system(letters: &BTreeSet<char>) -> (Vec<SystemFace>, BTreeSet<char>) {
    of_folders(letters, &folders())
}

fn of_folders(letters: &BTreeSet<char>, folders: &[PathBuf]) -> (Vec<SystemFace>, BTreeSet<char>) {
    let (mut wanted, mut lacking): (BTreeSet<char>, BTreeSet<char>) =
        letters.iter().partition(|&&letter| stands_alone(letter));
    let mut faces = Vec::new();
    if wanted.is_empty() {
        return (faces, lacking);
    }
    for path in files(folders) {
        let Some(found) = face_with(&path, &wanted) else {
            continue;
        };
        wanted.retain(|letter| !found.1.contains(letter));
        faces.push(found.0);
        if wanted.is_empty() {
            break;
        }
    }
    lacking.extend(wanted);
    (faces, lacking)
}

/// Whether a letter is shown rightly by its own shape: not those of scripts that run from right to
/// left, or whose letters join and change their order (Unicode 16, chapters 9, 12 to 14, 16).
fn stands_alone(letter: char) -> bool {
    !matches!(u32::from(letter),
        0x0590..=0x08ff | 0x0900..=0x0dff | 0x0f00..=0x109f | 0x1780..=0x17ff | 0x1800..=0x18af
        | 0x1a20..=0x1aaf | 0x1b00..=0x1bff | 0xa800..=0xa8ff | 0xa980..=0xa9df
        | 0xfb1d..=0xfdff | 0xfe70..=0xfefe | 0x10800..=0x11fff | 0x1e800..=0x1efff)
}

/// Where systems keep their typefaces.
fn folders() -> Vec<PathBuf> {
    let at_home = |below: &str| Some(PathBuf::from(std::env::var_os("HOME")?).join(below));
    let mut folders: Vec<PathBuf> = [
        "/usr/share/fonts",
        "/usr/local/share/fonts",
        "/System/Library/Fonts",
        "/Library/Fonts",
    ]
    .map(PathBuf::from)
    .into();
    let windows = std::env::var_os("WINDIR").map(|folder| PathBuf::from(folder).join("Fonts"));
    folders.extend(windows);
    let own = [".local/share/fonts", ".fonts", "Library/Fonts"];
    folders.extend(own.into_iter().filter_map(at_home));
    folders
}

/// Files of typefaces in these folders and those in them, in a fixed order.
fn files(folders: &[PathBuf]) -> Vec<PathBuf> {
    let mut open: Vec<PathBuf> = folders.to_vec();
    let mut files = Vec::new();
    while let Some(folder) = open.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else {
            continue;
        };
        for entry in entries.filter_map(Result::ok) {
            let (path, kind) = (entry.path(), entry.file_type());
            if kind.is_ok_and(|kind| kind.is_dir()) {
                open.push(path);
            } else if super::folder::ends_with(&path, &["ttf", "otf", "ttc", "otc"])
                && files.len() < MOST_FILES
            {
                files.push(path);
            }
        }
    }
    files.sort();
    files
}

/// A typeface of this file that has some of the letters, and which.
fn face_with(path: &Path, wanted: &BTreeSet<char>) -> Option<(SystemFace, BTreeSet<char>)> {
    let facts = path.metadata().ok()?;
    if !facts.is_file() || facts.len() > LARGEST {
        return None;
    }
    let data: Arc<[u8]> = std::fs::read(path).ok()?.into();
    let font = FontRef::from_index(&data, 0).ok()?;
    let map = font.charmap();
    let has = |letter: &&char| map.map(**letter).is_some();
    let has: BTreeSet<char> = wanted.iter().filter(has).copied().collect();
    // The page takes outlines of either kind; pictures for letters it does not.
    let outlines = font.outline_glyphs();
    let drawn = has.iter().all(|&letter| {
        map.map(letter)
            .is_some_and(|glyph| outlines.get(glyph).is_some())
    });
    let found = !has.is_empty() && drawn;
    found.then(|| {
        (
            SystemFace {
                data: Arc::clone(&data),
                index: 0,
            },
            has,
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn latin_with_all_accents_greek_and_cyrillic_are_our_own() {
        // Alphabets of the languages of the European Union, Iceland, Norway, Turkey, Wales,
        // Vietnam, Russia, Ukraine, Serbia, Greece with its old accents.
        let text = "ąćęłńóśźż čďěňřšťůž őű ğış þðæøå ŵŷ ḃċḋḟġṁṗṡṫ ơưạảấầẩẫậắằẳẵặẹẻẽếềểễệ \
                    ЖжЩщЪъЫыЭэЮюЯя ЇїЄєҐґ ЂђЋћЏџЉљЊњ ΑΒΓαβγςώΐΰ ᾳῳἄἒὖ ǎǐǒǔ ỹ ș ț ẞß ŀ ĳ ŋ ŧ";
        assert_eq!(lacking(text), BTreeSet::new());
    }

    #[test]
    fn what_no_typeface_has_is_told_and_what_joins_is_not_torn_apart() {
        let folder = tempfile::tempdir().unwrap();
        let letters: BTreeSet<char> = "板ش".chars().collect();
        let (faces, without) = of_folders(&letters, &[folder.path().to_owned()]);
        assert!(faces.is_empty());
        assert_eq!(without, letters);
        // A typeface that is there is found, for what it has.
        std::fs::write(folder.path().join("a.ttf"), WIDE).unwrap();
        let letters: BTreeSet<char> = "板Щ".chars().collect();
        let (faces, without) = of_folders(&letters, &[folder.path().to_owned()]);
        assert_eq!(faces.len(), 1);
        assert_eq!(without, "板".chars().collect());
    }
}
