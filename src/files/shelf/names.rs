//! The file's name from the profile's.

/// Longest name, in letters, without number and ending: every file system takes it.
const LONGEST: usize = 60;

/// Names that Windows keeps for itself.
const RESERVED: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// Name of the file for a profile, the `number`th (from 1) that the name leads to: small letters
/// and digits of any script, everything else a hyphen.
pub fn file_name(name: &str, number: usize) -> String {
    let mut plain = String::new();
    for letter in name.to_lowercase().chars() {
        if letter.is_alphanumeric() {
            plain.push(letter);
        } else if !plain.ends_with('-') && !plain.is_empty() {
            plain.push('-');
        }
    }
    let short: String = plain.chars().take(LONGEST).collect();
    let short = short.trim_matches('-');
    let stem = short.trim_end_matches(|letter: char| letter.is_ascii_digit());
    let short = match short {
        "" => "profile".to_owned(),
        _ if RESERVED.contains(&stem) => format!("profile-{short}"),
        _ => short.to_owned(),
    };
    match number {
        1 => format!("{short}.ron"),
        number => format!("{short}-{number}.ron"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_name_is_plain_on_every_system() {
        for (name, file) in [
            ("Slates, two coats", "slates-two-coats.ron"),
            ("  Ärger / mit: Schiefer? ", "ärger-mit-schiefer.ron"),
            ("../../etc", "etc.ron"),
            ("CON", "profile-con.ron"),
            ("com1", "profile-com1.ron"),
            ("***", "profile.ron"),
        ] {
            assert_eq!(file_name(name, 1), file);
        }
        assert_eq!(file_name("slates", 3), "slates-3.ron");
        assert!(file_name(&"long ".repeat(50), 1).len() <= 64);
    }
}
