//! What a session must fulfil before it is measured or saved.

use super::plain::{check_line, check_lines, spelled_line};
use super::{Encoding, Scan, Session, Strip, Wedge};
use crate::measure::compare::eye::Match;
use crate::measure::exposure::ExposureError;
use crate::measure::geometry::{Area, Field, Point, StripShape};

/// Most patches of unexposed coat on one strip: a frame looked at every millimetre has fewer.
const MOST_PATCHES: usize = 400;

/// Most scans of a session: all are held in memory at a time.
pub const MOST_SCANS: usize = 64;

/// A session that cannot be.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SessionError {
    /// A strip's exposures can't be.
    #[error("strip {number} ({name}): {error}")]
    Exposure {
        /// Strip number from 1.
        number: usize,
        /// Its name.
        name: String,
        /// What is wrong.
        error: ExposureError,
    },
    /// Something else about a strip.
    #[error("strip {number} ({name}): {what}")]
    Strip {
        /// Strip number from 1.
        number: usize,
        /// Its name.
        name: String,
        /// What is wrong.
        what: String,
    },
    /// Something about the wedge.
    #[error("the wedge: {0}")]
    Wedge(String),
    /// Something about a scan.
    #[error("scan {number} ({path}): {what}")]
    Scan {
        /// Scan number from 1.
        number: usize,
        /// Where it lies.
        path: String,
        /// What is wrong.
        what: String,
    },
    /// Something about the scan of the empty glass.
    #[error("the empty scan ({path}): {what}")]
    Empty {
        /// Where it lies.
        path: String,
        /// What is wrong.
        what: String,
    },
    /// Something about a match by eye.
    #[error("match {number}: {what}")]
    Match {
        /// Match number from 1.
        number: usize,
        /// What is wrong.
        what: String,
    },
    /// Something about the print that is planned.
    #[error("the print: {0}")]
    Print(String),
    /// Something about the notes.
    #[error("the notes: {0}")]
    Notes(String),
    /// More scans than a session holds.
    #[error(
        "{0} scans: a session holds at most {MOST_SCANS}; make several sessions, and keep them in \
         one profile"
    )]
    Scans(usize),
    /// A setting out of its range.
    #[error("settings: {0}")]
    Settings(String),
}

impl Session {
    /// Whether the session makes sense in itself, scans unseen.
    ///
    /// # Errors
    /// The first thing that doesn't.
    pub fn check(&self) -> Result<(), SessionError> {
        if self.scans.len() > MOST_SCANS {
            return Err(SessionError::Scans(self.scans.len()));
        }
        check_lines(&self.notes).map_err(SessionError::Notes)?;
        for (index, scan) in self.scans.iter().enumerate() {
            check_encoding(scan).map_err(|what| SessionError::Scan {
                number: index + 1,
                path: scan.path.display().to_string(),
                what,
            })?;
        }
        if let Some(empty) = &self.empty {
            self.check_empty(empty)
                .map_err(|what| SessionError::Empty {
                    path: empty.path.display().to_string(),
                    what,
                })?;
        }
        self.check_settings().map_err(SessionError::Settings)?;
        if let Some(wedge) = &self.wedge {
            self.check_wedge(wedge).map_err(SessionError::Wedge)?;
        }
        for (index, strip) in self.strips.iter().enumerate() {
            self.check_strip(index, strip)?;
        }
        for (index, made) in self.matches.iter().enumerate() {
            self.check_match(made).map_err(|what| SessionError::Match {
                number: index + 1,
                what,
            })?;
        }
        if let Some(printing) = &self.printing {
            printing.check().map_err(SessionError::Print)?;
        }
        Ok(())
    }

    fn check_empty(&self, empty: &Scan) -> Result<(), String> {
        if self.scans.iter().any(|scan| scan.path == empty.path) {
            return Err("it is one of the scans too; a scan with strips is not empty".into());
        }
        check_encoding(empty)
    }

    fn check_match(&self, made: &Match) -> Result<(), String> {
        for (strip, at) in [
            (made.reference, made.reference_at),
            (made.coupon, made.coupon_at),
        ] {
            self.strips
                .get(strip)
                .ok_or_else(|| format!("there is no strip {}", strip + 1))?;
            let whole_halves = (2.0 * at).fract() == 0.0 && at >= 0.0;
            if !whole_halves {
                return Err(format!("step {}: places are whole or half steps", at + 1.0));
            }
        }
        if made.reference == made.coupon {
            return Err("it takes two strips".into());
        }
        Ok(())
    }

    fn check_settings(&self) -> Result<(), String> {
        let (lag, lag_error) = self.settings.lag;
        if !(0.0..=10.0).contains(&lag) {
            return Err(format!(
                "a lamp lag of {lag} s: it must be between 0 and 10 s"
            ));
        }
        if !(0.0..=10.0).contains(&lag_error) {
            return Err(format!(
                "a lamp lag uncertain by {lag_error} s: it must be between 0 and 10 s"
            ));
        }
        let aperture = self.settings.aperture_error_stops;
        if !(0.0..=2.0).contains(&aperture) {
            return Err(format!(
                "an aperture uncertain by {aperture} stops: it must be between 0 and 2"
            ));
        }
        let timing = self.settings.timing_error;
        if !(0.0..=10.0).contains(&timing) {
            return Err(format!(
                "times uncertain by {timing} s: it must be between 0 and 10 s"
            ));
        }
        let tablet = self.settings.tablet_error;
        if !(0.0..=0.5).contains(&tablet) {
            return Err(format!(
                "a step tablet uncertain by {tablet}: it must be between 0 and 0.5"
            ));
        }
        Ok(())
    }

    fn check_wedge(&self, wedge: &Wedge) -> Result<(), String> {
        check_densities(&wedge.densities)?;
        if !(wedge.uncertainty > 0.0 && wedge.uncertainty <= 0.5) {
            return Err(format!(
                "an uncertainty of {}: it must be above 0 and at most 0.5",
                wedge.uncertainty
            ));
        }
        match &wedge.shape {
            Some(shape) => self.check_shape(shape, Some(wedge.densities.len()), "densities"),
            None => Ok(()),
        }
    }

    fn check_strip(&self, index: usize, strip: &Strip) -> Result<(), SessionError> {
        let about = |what: String| SessionError::Strip {
            number: index + 1,
            name: strip.name.clone(),
            what,
        };
        if strip.name.trim().is_empty() {
            return Err(about("it has no name".into()));
        }
        check_line(&strip.name).map_err(|what| SessionError::Strip {
            number: index + 1,
            name: spelled_line(&strip.name),
            what,
        })?;
        if let Some(other) = self.strips[..index]
            .iter()
            .position(|other| other.name == strip.name)
        {
            return Err(about(format!("strip {} has the same name", other + 1)));
        }
        self.check_same(index, strip).map_err(about)?;
        let steps = strip.exposure.as_ref().map(|e| e.series.steps());
        if let Some(exposure) = &strip.exposure {
            exposure
                .exposures()
                .check()
                .and_then(|()| exposure.series.check_lag(self.settings.lag.0))
                .map_err(|error| SessionError::Exposure {
                    number: index + 1,
                    name: strip.name.clone(),
                    error,
                })?;
        }
        if let Some(&step) = strip
            .excluded
            .iter()
            .find(|&&step| steps.is_some_and(|steps| step >= steps))
        {
            return Err(about(format!(
                "step {} is excluded, but the series has {} steps",
                step + 1,
                steps.unwrap_or_default()
            )));
        }
        check_areas(&strip.areas, steps).map_err(about)?;
        let patches = strip.unexposed.iter().flatten();
        check_patches(patches).map_err(about)?;
        match &strip.shape {
            Some(shape) => self.check_shape(shape, steps, "steps").map_err(about),
            None => Ok(()),
        }
    }

    fn check_shape(
        &self,
        shape: &StripShape,
        steps: Option<usize>,
        of_what: &str,
    ) -> Result<(), String> {
        if shape.scan >= self.scans.len() {
            return Err(format!(
                "it lies on scan {}, but the session has {} scans",
                shape.scan + 1,
                self.scans.len()
            ));
        }
        if !shape
            .corners
            .iter()
            .all(|corner| corner.x.is_finite() && corner.y.is_finite())
        {
            return Err("a corner is not a number".into());
        }
        if shape.length() < 1.0 || shape.width() < 1.0 {
            return Err("the corners span less than a pixel".into());
        }
        if shape.edges.len() != shape.fields.len() + 1 {
            return Err(format!(
                "{} edges bound {} fields, but {} fields are named",
                shape.edges.len(),
                shape.edges.len().saturating_sub(1),
                shape.fields.len()
            ));
        }
        let within = |edge: f64| (-0.001..=1.001).contains(&edge);
        if !shape
            .edges
            .iter()
            .all(|e| within(e.left) && within(e.right))
        {
            return Err("edges are shares of the length, from 0 to 1".into());
        }
        let ascending = shape
            .edges
            .windows(2)
            .all(|pair| pair[1].left > pair[0].left && pair[1].right > pair[0].right);
        if !ascending {
            return Err("edges must ascend".into());
        }
        let mut named = std::collections::BTreeSet::new();
        for field in &shape.fields {
            if let Field::Step(step) = *field {
                if steps.is_some_and(|steps| step >= steps) {
                    return Err(format!(
                        "a field is step {}, but there are {} {of_what}",
                        step + 1,
                        steps.unwrap_or_default()
                    ));
                }
                if !named.insert(step) {
                    return Err(format!("two fields are step {}", step + 1));
                }
            }
        }
        Ok(())
    }
}

fn check_encoding(scan: &Scan) -> Result<(), String> {
    match scan.encoding {
        Some(Encoding::Gamma(gamma)) if !(0.2..=5.0).contains(&gamma) => {
            Err(format!("gamma {gamma}: it must be between 0.2 and 5"))
        }
        _ => Ok(()),
    }
}

/// Whether areas lie within their fields, one a field, of steps that there are.
fn check_areas(areas: &[Area], steps: Option<usize>) -> Result<(), String> {
    for (index, area) in areas.iter().enumerate() {
        let of = match area.field {
            Field::Margin => "of the margin".to_owned(),
            Field::Step(step) => format!("of step {}", step + 1),
            Field::Ignored => return Err("an area is of an ignored field, which isn't read".into()),
        };
        if let Field::Step(step) = area.field
            && let Some(steps) = steps.filter(|&steps| step >= steps)
        {
            return Err(format!("an area is {of}, but the series has {steps} steps"));
        }
        if areas[..index].iter().any(|other| other.field == area.field) {
            return Err(format!("there are two areas {of}"));
        }
        for (start, end) in [area.along, area.across] {
            let within = 0.0 <= start && end <= 1.0;
            if !(within && end - start >= Area::LEAST - 1e-9) {
                return Err(format!(
                    "the area {of} goes from {start} to {end}: shares from 0 to 1, at least {} apart",
                    Area::LEAST
                ));
            }
        }
    }
    Ok(())
}

/// Whether patches of unexposed coat are quadrilaterals with some extent.
fn check_patches<'a>(patches: impl Iterator<Item = &'a [Point; 4]>) -> Result<(), String> {
    for (index, patch) in patches.enumerate() {
        let of = format!("patch {} of its unexposed coat", index + 1);
        if !patch.iter().all(|p| p.x.is_finite() && p.y.is_finite()) {
            return Err(format!("{of} has a corner that is no number"));
        }
        // Walking round, every turn goes the same way.
        let turns: Vec<f64> = (0..4)
            .map(|at| {
                let [a, b, c] = [0, 1, 2].map(|on| patch[(at + on) % 4]);
                (b.x - a.x) * (c.y - b.y) - (b.y - a.y) * (c.x - b.x)
            })
            .collect();
        let one_way = turns.iter().all(|turn| *turn > 0.5) || turns.iter().all(|turn| *turn < -0.5);
        if !one_way {
            return Err(format!(
                "{of} must have its four corners in turn around some pixels, without a dent"
            ));
        }
        if index >= MOST_PATCHES {
            return Err(format!(
                "{MOST_PATCHES} patches of unexposed coat are the limit"
            ));
        }
    }
    Ok(())
}

/// Whether these can be the densities of a wedge: at least three, believable, one way.
///
/// # Errors
/// What is wrong with them.
pub fn check_densities(densities: &[f64]) -> Result<(), String> {
    if densities.len() < 3 {
        return Err(format!(
            "{} densities: a wedge needs at least 3 fields",
            densities.len()
        ));
    }
    if densities.len() > 200 {
        return Err(format!("{} densities: 200 is the limit", densities.len()));
    }
    if let Some((index, density)) = densities
        .iter()
        .enumerate()
        .find(|(_, density)| !(-0.1..=5.0).contains(*density))
    {
        return Err(format!(
            "density {density} of field {}: it must be between -0.1 and 5",
            index + 1
        ));
    }
    let rising = densities[1] > densities[0];
    match densities
        .windows(2)
        .position(|pair| pair[0] == pair[1] || (pair[1] > pair[0]) != rising)
    {
        Some(index) => Err(format!(
            "its densities must go one way: field {} ({}) after field {} ({}) breaks the order",
            index + 2,
            densities[index + 1],
            index + 1,
            densities[index]
        )),
        None => Ok(()),
    }
}
