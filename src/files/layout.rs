//! How our RON files look: the same indents, line ends and struct names in all of them.

/// RON in which an optional value stands without `Some`.
pub(super) fn ron_options() -> ron::Options {
    ron::Options::default().with_default_extension(ron::extensions::Extensions::IMPLICIT_SOME)
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
    Ok(text)
}
