//! A profile's file: reading, writing, and the seal that makes long lists quick.
//!
//! The first line is a comment with the hash of all that follows. Where it is right, the text is
//! as this program wrote it, and a list needs only its head; where it isn't (edited by hand,
//! merged, damaged), the whole text is read and judged.

use std::path::Path;

use super::fields::{ProfileFields, ProfileFields0};
use crate::document::profile::{Card, Profile};
use crate::files::explain::explain;
use crate::files::inputs;
use crate::files::layout::{file_text, ron_options, tamed};
use crate::files::text::{TextError, read_within, text_hash};

/// Version of the profile's file that this program writes, and the newest that it reads.
pub const VERSION: u64 = 1;

/// Largest file of a profile, in bytes: read and written. A session of two strips of 40 steps takes
/// a quarter of a megabyte, so that hundreds of them fit (tests/shelf/large.rs).
pub const LARGEST: u64 = 128 << 20;

/// How the first line begins.
const SEAL: &str = "// sealed ";
/// What begins the evidence in a text that this program wrote; within a text in quotes no line
/// ends.
const HEAD_ENDS: &str = "\n    evidence: [";

/// Reads a profile.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn read_profile(path: &Path) -> Result<Profile, TextError> {
    let profile = from_text(path, &read_within(path, LARGEST)?)?;
    inputs::note(path);
    Ok(profile)
}

/// Reads a profile's text; `path` is for messages.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn from_text(path: &Path, text: &str) -> Result<Profile, TextError> {
    let text = &*tamed(text);
    fields(path, text)?
        .profile()
        .map_err(|(word, what)| wrong(path, text, &word, what))
}

/// Reads a profile in short.
///
/// # Errors
/// [`TextError`] with line and column.
pub fn read_card(path: &Path) -> Result<Card, TextError> {
    let text = read_within(path, LARGEST)?;
    match sealed_card(&text) {
        Some(card) => Ok(card),
        None => from_text(path, &text).map(|profile| Card::of(&profile)),
    }
}

/// The card in the head of a text that is as this program wrote it.
pub(super) fn sealed_card(text: &str) -> Option<Card> {
    let (seal, body) = text.strip_prefix(SEAL)?.split_once('\n')?;
    if seal != text_hash(body) {
        return None;
    }
    let head = format!("{}\n)", &body[..body.find(HEAD_ENDS)?]);
    let fields: ProfileFields = ron_options().from_str(&head).ok()?;
    (fields.version == VERSION).then(|| fields.card().ok())?
}

/// The text of a profile's file; reading it gives the same profile.
///
/// # Errors
/// When a value can't be written.
pub fn to_text(profile: &Profile) -> Result<String, String> {
    let body = file_text(&ProfileFields::of(profile), 6)?;
    Ok(format!("{SEAL}{}\n{body}", text_hash(&body)))
}

fn fields(path: &Path, text: &str) -> Result<ProfileFields, TextError> {
    #[derive(serde::Deserialize)]
    #[serde(rename = "Profile")]
    struct OnlyVersion {
        version: u64,
    }
    let read = ron_options().from_str::<ProfileFields>(text);
    // The version tells first: a newer file is refused for being newer, not for its words.
    let version = match &read {
        Ok(fields) => Some(fields.version),
        Err(_) => ron_options()
            .from_str::<OnlyVersion>(text)
            .ok()
            .map(|only| only.version),
    };
    match (version, read) {
        (Some(newer), _) if newer > VERSION => Err(TextError::too_new(path, text, newer, VERSION)),
        (Some(0), _) => ron_options()
            .from_str::<ProfileFields0>(text)
            .map(ProfileFields::from)
            .map_err(|error| explain(path, text, &error)),
        (_, Ok(fields)) => Ok(fields),
        (_, Err(error)) => Err(explain(path, text, &error)),
    }
}

fn wrong(path: &Path, text: &str, word: &str, what: String) -> TextError {
    TextError::at(path, text, text.find(word).unwrap_or(0), what)
}
