//! Names and notes are text: no codes that move a terminal's cursor, no marks that turn the direction
//! of reading, so that what is shown is what is there.

/// Whether a letter is a code rather than text: control characters (Unicode category Cc) and the
/// marks that turn the direction of reading or break lines (Unicode Standard Annex 9, 2.1 to 2.4).
/// Those that join letters of a script stay text.
pub fn is_code(letter: char) -> bool {
    letter.is_control()
        || matches!(
            letter,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
        )
}

/// A text on several lines with every code in it spelled out, as `\u{1b}`; ends of lines and tabs
/// stay.
pub fn spelled(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    for letter in text.chars() {
        if is_code(letter) && !matches!(letter, '\n' | '\t') {
            plain.push_str(&format!("\\u{{{:x}}}", u32::from(letter)));
        } else {
            plain.push(letter);
        }
    }
    plain
}

/// A text on one line with every code in it spelled out.
pub fn spelled_line(text: &str) -> String {
    spelled(text).replace('\n', "\\n").replace('\t', " ")
}

/// Whether a name can be written down.
///
/// # Errors
/// Which code is in it.
pub fn check_line(text: &str) -> Result<(), String> {
    refuse(text.chars().find(|&letter| is_code(letter)))
}

/// Whether notes, on several lines, can be written down.
///
/// # Errors
/// Which code is in them.
pub fn check_lines(text: &str) -> Result<(), String> {
    let code = |letter: &char| is_code(*letter) && !matches!(letter, '\n' | '\t' | '\r');
    refuse(text.chars().find(code))
}

fn refuse(found: Option<char>) -> Result<(), String> {
    found.map_or(Ok(()), |code| {
        Err(format!(
            "there is a hidden code in the text ({}); type it again without it",
            spelled_line(&code.to_string())
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_spelled_out_and_letters_of_any_script_are_not() {
        assert_eq!(spelled("slate\u{1b}[31m\none"), "slate\\u{1b}[31m\none");
        assert_eq!(spelled_line("a\nb\u{202e}c"), "a\\nb\\u{202e}c");
        for text in ["Ærøskøbing", "Πλάκα", "Сланец", "می\u{200c}خواهم", "板岩"]
        {
            assert_eq!(spelled(text), text);
            assert_eq!(check_line(text), Ok(()));
        }
        assert!(check_line("a\u{9b}b").unwrap_err().contains("\\u{9b}"));
        assert_eq!(check_lines("two\nlines\tand a tab"), Ok(()));
    }
}
