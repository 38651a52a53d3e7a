//! The readable report: the answer first, then what to know about it, then the figures.

mod calibration;
pub(crate) mod compared;
pub(crate) mod contrast;
mod findings;
pub(crate) mod headline;
mod picture;
pub mod plan;
mod preview;
pub mod profile;
mod tables;
pub(crate) mod words;

pub use calibration::{calibration_report, errors_by_density, repeat_error};
pub use compared::compared;
pub use findings::said as said_findings;
pub use picture::calibration_picture;
pub use preview::{closest_said, losses, share, shares_said};

use crate::document::Session;
use crate::measure::analysis::Analysis;

/// The report of `twinstrip solve`.
pub fn solved(session: &Session, analysis: &Analysis) -> String {
    let mut text = headline::answers(session, analysis);
    text.push_str(&findings::list(session, analysis));
    for pair in &analysis.pairs {
        text.push_str(&tables::budget(analysis, pair));
        text.push_str(&tables::by_tone(analysis, pair));
        text.push_str(&tables::curves(analysis, pair));
    }
    text.push_str(&tables::densities(session, analysis));
    text.push_str(&calibration::repeats(&analysis.repeats));
    text
}

/// The report of `twinstrip measure`.
pub fn measured(session: &Session, analysis: &Analysis) -> String {
    let mut text = headline::measured(session, analysis);
    text.push_str(&findings::list(session, analysis));
    text.push_str(&tables::densities(session, analysis));
    text.push_str(&calibration::repeats(&analysis.repeats));
    text
}

/// The name of a strip, for tables.
fn name(analysis: &Analysis, strip: usize) -> &str {
    analysis
        .strips
        .get(strip)
        .map_or("?", |strip| strip.name.as_str())
}
