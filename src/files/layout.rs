//! How our RON files look: the same indents, line ends and struct names in all of them, and no codes
//! in names and notes.

use std::borrow::Cow;

use crate::document::plain::{is_code, spelled_line};

/// RON in which an optional value stands without `Some`.
pub(super) fn ron_options() -> ron::Options {
    ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME)
}

/// Codes within names and notes are not written: in such a text they stand spelled out behind one
/// backslash, where letters that somebody typed that way stand behind two.
fn refuse_codes(text: &str) -> Result<(), String> {
    let code = codes(text).find(|&(_, code)| !matches!(code, '\n' | '\t' | '\r'));
    code.map_or(Ok(()), |(at, code)| {
        let before: String = text[..at].chars().rev().take(20).collect();
        Err(format!(
            "there is a hidden code in the text ({}) behind “{}”; type it again without it",
            spelled_line(&code.to_string()),
            spelled_line(&before.chars().rev().collect::<String>()).trim()
        ))
    })
}

/// A text that was read, with the codes in it spelled out: bare ones, and those that stand as an
/// escape within quotes, which gets a second backslash and so is shown.
pub(super) fn tamed(text: &str) -> Cow<'_, str> {
    let bare = |letter: char| is_code(letter) && !matches!(letter, '\n' | '\t' | '\r');
    let escaped: Vec<usize> = codes(text)
        .filter(|&(at, code)| bare(code) && text[at..].starts_with('\\'))
        .map(|(at, _)| at)
        .collect();
    if escaped.is_empty() && !text.chars().any(bare) {
        return Cow::Borrowed(text);
    }
    let mut plain = String::with_capacity(text.len() + 64);
    let mut next = escaped.iter().peekable();
    for (at, letter) in text.char_indices() {
        if next.next_if(|&&place| place == at).is_some() {
            plain.push('\\');
        }
        if bare(letter) {
            plain.push_str(&format!("\\\\u{{{:x}}}", u32::from(letter)));
        } else {
            plain.push(letter);
        }
    }
    Cow::Owned(plain)
}

/// Codes in a text of our form, bare or as an escape, and where they stand.
fn codes(text: &str) -> impl Iterator<Item = (usize, char)> + '_ {
    let mut letters = text.char_indices();
    std::iter::from_fn(move || {
        loop {
            let (at, letter) = letters.next()?;
            if letter != '\\' {
                if is_code(letter) {
                    return Some((at, letter));
                }
                continue;
            }
            let rest = letters.as_str();
            let (_, kind) = letters.next()?;
            let digits = match kind {
                'x' => rest.get(1..3),
                'u' => rest
                    .strip_prefix("u{")
                    .and_then(|rest| rest.split('}').next()),
                '0' => Some("0"),
                'r' => Some("d"),
                _ => None,
            };
            let code = digits.and_then(|digits| u32::from_str_radix(digits, 16).ok());
            if let Some(code) = code.and_then(char::from_u32).filter(|&code| is_code(code)) {
                return Some((at, code));
            }
        }
    })
}

/// The text of a file; what lies deeper than `depth` stands on one line.
///
/// # Errors
/// When a number can't be written.
pub(super) fn file_text(fields: &impl serde::Serialize, depth: usize) -> Result<String, String> {
    let layout = ron::ser::PrettyConfig::new()
        .depth_limit(depth)
        .indentor("    ")
        .new_line("\n")
        .struct_names(true);
    let mut text = ron_options()
        .to_string_pretty(fields, layout)
        .map_err(|error| error.to_string())?;
    text.push('\n');
    refuse_codes(&text)?;
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_refused_when_it_is_written_and_spelled_out_when_it_is_read() {
        let written = |name: &str| file_text(&vec![name.to_owned()], 3);
        for name in ["slate\u{1b}[2J", "a\u{202e}b", "bell\u{7}", "nul\0"] {
            assert!(
                written(name).unwrap_err().contains("hidden code"),
                "{name:?}"
            );
        }
        for name in [
            "\\u{1b} as somebody typed it",
            "Сланец",
            "C:\\x1b\\slates",
            "two\nlines",
        ] {
            assert!(written(name).is_ok(), "{name:?}");
        }
        for (text, read) in [
            ("\"a\u{1b}b\"", "a\\u{1b}b"),
            ("\"a\\u{1b}b\"", "a\\u{1b}b"),
            ("\"a\\x1bb\"", "a\\x1bb"),
            ("\"a\\u{202E}b\"", "a\\u{202E}b"),
            ("\"a\\\\u{1b}b\"", "a\\u{1b}b"),
            ("\"a\\nb\"", "a\nb"),
        ] {
            let name: String = ron_options().from_str(&tamed(text)).unwrap();
            assert_eq!(name, read, "{text}");
        }
    }
}
