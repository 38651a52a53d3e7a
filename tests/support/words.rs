//! What a text says, whatever the width of its lines.

/// Whether a text says these words, wherever its lines are broken and however far its columns
/// lie apart: lines break elsewhere when the path of a scan is longer.
pub fn says(text: &str, words: &str) -> bool {
    flat(text).contains(&flat(words))
}

/// The text on one line.
pub fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
