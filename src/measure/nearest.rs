//! What may have been meant by a word that isn't known.

/// The candidate nearest to what was written, if any is near enough to be meant.
///
/// Counts letters added, left out, changed and swapped (Damerau 1964); capitals, blanks,
/// hyphens and underscores make no difference. Near enough is a third of the letters.
pub fn nearest<'a>(written: &str, candidates: &[&'a str]) -> Option<&'a str> {
    let plain = |word: &str| {
        word.chars()
            .map(|letter| match letter {
                ' ' | '-' => '_',
                other => other,
            })
            .collect::<String>()
            .to_lowercase()
    };
    if written.len() > 100 {
        return None;
    }
    let written = plain(written);
    candidates
        .iter()
        .map(|candidate| {
            let apart = strsim::damerau_levenshtein(&written, &plain(candidate));
            (apart, *candidate)
        })
        .filter(|(apart, candidate)| *apart * 3 <= candidate.len().max(3))
        .min_by_key(|(apart, _)| *apart)
        .map(|(_, candidate)| candidate)
}

/// "; did you mean `word`?", or nothing.
pub fn hint(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |word| format!("; did you mean `{word}`?"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_fingers_is_understood_and_another_word_is_not() {
        let words = ["building_up", "one_at_a_time", "in_stops"];
        assert_eq!(nearest("bulding_up", &words), Some("building_up"));
        assert_eq!(nearest("Building up", &words), Some("building_up"));
        assert_eq!(nearest("in_stosp", &words), Some("in_stops"));
        assert_eq!(nearest("reciprocity", &words), None);
    }
}
