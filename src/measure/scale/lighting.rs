//! How a scan is lit: by an empty scan of the glass, by the lid around the strips, or by both.
//!
//! The empty scan sees all of the glass, so where it serves the lid's few terms don't; the lid then
//! shows whether the lamp changed since. An empty scan that the lid contradicts is left alone.

use std::sync::Arc;

use super::glass::{Glass, NotEmpty};
use super::lid::{LEAST, Lid};
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::Point;
use crate::measure::raster::{Channel, Raster};
use crate::measure::reading::Cell;

/// Times the lid's scatter without the empty scan, and density more, from which the empty scan is
/// taken to be of another glass or lamp.
const WORSE: (f64, f64) = (1.1, 0.0002);

/// How an empty scan serves a scan.
#[derive(Debug, Clone, PartialEq)]
enum Served {
    /// There is none that tells anything.
    None,
    /// It shows an even glass.
    Even,
    /// It is taken off.
    Used,
    /// It shows another part of the glass.
    Misfit(String),
    /// The lid scatters so much about an even surface, and more about what the empty scan shows.
    Contradicted(f64, f64),
}

/// How a scan is lit, in one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Lighting {
    pixels: (f64, f64),
    /// The lid, once what the empty glass shows is off it.
    lid: Option<Lid>,
    glass: Option<Arc<Result<Glass, NotEmpty>>>,
    served: Served,
}

fn serves(glass: &Glass) -> Served {
    if glass.is_uneven() {
        Served::Used
    } else {
        Served::Even
    }
}

impl Lighting {
    /// What the lid shows, and the empty glass if there is a scan of it.
    pub fn of(
        raster: &Raster,
        channel: Channel,
        glass: Option<Arc<Result<Glass, NotEmpty>>>,
    ) -> Self {
        let known = glass.as_deref().and_then(|glass| glass.as_ref().ok());
        let (lid, served) = match known {
            None => (Lid::seen(raster, channel), Served::None),
            Some(glass) => match glass.misfit(raster) {
                Some(why) => (Lid::seen(raster, channel), Served::Misfit(why)),
                None => match Lid::seen_over(raster, channel, glass) {
                    (Some(lid), over) => {
                        let scatter = over.as_ref().map_or(f64::INFINITY, Lid::scatter);
                        if scatter > WORSE.0 * lid.scatter() + WORSE.1 {
                            let told = Served::Contradicted(lid.scatter(), scatter);
                            (Some(lid), told)
                        } else {
                            (over, serves(glass))
                        }
                    }
                    (None, over) => (over, serves(glass)),
                },
            },
        };
        Self {
            pixels: (raster.width as f64, raster.height as f64),
            lid,
            glass,
            served,
        }
    }

    /// The lid, once what the empty glass shows is off it.
    pub fn lid(&self) -> Option<&Lid> {
        self.lid.as_ref()
    }

    /// The lid, if it is taken off: an empty scan that serves knows better.
    fn uneven_lid(&self) -> Option<&Lid> {
        let serves = matches!(self.served, Served::Even | Served::Used);
        let lid = self.lid.as_ref().filter(|_| !serves);
        lid.filter(|lid| lid.is_uneven())
    }

    /// By how much the lid is lit differently from the empty scan that serves, and the standard
    /// error, if it is.
    fn changed(&self) -> Option<(f64, f64)> {
        let serves = matches!(self.served, Served::Even | Served::Used);
        let lid = self.lid.as_ref().filter(|lid| serves && lid.is_uneven())?;
        Some(lid.unevenness())
    }

    /// The empty glass, if it is taken off.
    fn used_glass(&self) -> Option<&Glass> {
        let used = self
            .glass
            .as_deref()
            .filter(|_| self.served == Served::Used);
        used.and_then(|glass| glass.as_ref().ok())
    }

    /// How much darker than usual a place is lit, scanner density.
    pub fn darker(&self, at: Point) -> f64 {
        let share = Point::new(at.x / self.pixels.0, at.y / self.pixels.1);
        let glass = self.used_glass().map_or(0.0, |glass| glass.darker(share));
        glass + self.uneven_lid().map_or(0.0, |lid| lid.darker(at))
    }

    /// Takes the uneven lighting off cells.
    pub fn even_out(&self, cells: &mut [Cell]) {
        if self.uneven_lid().is_none() && self.used_glass().is_none() {
            return;
        }
        for cell in cells {
            let factor = 10f64.powf(self.darker(cell.at));
            cell.light *= factor;
            cell.light_error *= factor;
        }
    }

    /// Standard error of what is taken off at a place, scanner density: that of the surface, the
    /// lid's own unevenness, which it can't tell from the light's, and what changed since the empty
    /// scan. Nothing where nothing is taken off and nothing changed.
    pub fn error(&self) -> f64 {
        let changed = self.changed().map_or(0.0, |(found, _)| found);
        let glass = self.used_glass().map(|glass| glass.unevenness().1);
        let lid = self.uneven_lid().map(|lid| lid.unevenness().1);
        match (glass, lid) {
            (None, None) => changed,
            (glass, lid) => glass
                .unwrap_or(0.0)
                .hypot(lid.unwrap_or(0.0))
                .hypot(LEAST)
                .hypot(changed),
        }
    }

    /// What a person is told of a scan.
    pub fn findings(&self, scan: usize) -> Vec<Finding> {
        let number = scan + 1;
        let told = |kind, weight, seen, matters: &str, remedy: &str| Finding {
            kind,
            weight,
            place: Place::scan(scan),
            seen,
            matters: matters.into(),
            remedy: remedy.into(),
        };
        let mut findings = Vec::new();
        match (&self.served, self.used_glass()) {
            (Served::Misfit(why), _) => findings.push(told(
                Kind::EmptyScan,
                Weight::Caution,
                format!("The empty scan can't be laid over scan {number}: {why}."),
                "It isn't used; how the glass is lit is seen on the lid around the strips only.",
                "Scan the empty glass with the same area chosen; another resolution does no harm.",
            )),
            (Served::Contradicted(without, with), _) => findings.push(told(
                Kind::EmptyScan,
                Weight::Caution,
                format!(
                    "The lid of scan {number} isn't lit as the empty scan shows: it scatters by \
                     {without:.4} D, and by {with:.4} D once that is taken off."
                ),
                "The empty scan isn't used; it may be of another scanner, another part of the \
                 glass, or turned.",
                "Scan the empty glass anew, with the settings and the area of this scan.",
            )),
            (Served::Even, _) => findings.push(told(
                Kind::EmptyScan,
                Weight::Note,
                "The empty scan shows no unevenness above its own noise.".into(),
                "Nothing is taken off for it.",
                "Nothing to do.",
            )),
            (Served::Used, Some(glass)) => {
                let (found, error) = glass.unevenness();
                findings.push(told(
                    Kind::EmptyScan,
                    Weight::Note,
                    format!(
                        "The empty scan shows that the glass is lit unevenly, by {found:.3} D root \
                         mean square (uncertain by {error:.4})."
                    ),
                    "It is taken off scan by scan; what is left is counted in the errors.",
                    "Nothing to do. Take the empty scan anew when the lamp or the area changes.",
                ));
            }
            _ => {}
        }
        if let Some((found, error)) = self.changed() {
            findings.push(told(
                Kind::UnevenLight,
                Weight::Caution,
                format!(
                    "The lid of scan {number} is lit differently from the empty scan, by \
                     {found:.3} D root mean square (uncertain by {error:.3})."
                ),
                "The lamp has changed between the two, or something shades the lid; so much more \
                 is counted in the errors.",
                "Let the lamp warm up, and take the empty scan next to the others.",
            ));
        }
        findings.extend(self.uneven_lid().map(|lid| lid.finding(scan)));
        findings
    }
}

/// What a person is told of an empty scan that tells nothing.
pub fn not_empty(why: NotEmpty) -> Finding {
    let percent = |share: f64| 100.0 * share;
    let (seen, remedy) = match why {
        NotEmpty::Small => (
            "The empty scan has too few pixels to show how the glass is lit.".to_owned(),
            "Scan the empty glass with the settings of the others.",
        ),
        NotEmpty::Clipped(share) => (
            format!(
                "{:.0} % of the empty scan is at the top of its code values, where unevenness \
                 can't be seen.",
                percent(share)
            ),
            "Scan with less brightness, or without automatic levels, so that the lid isn't cut off.",
        ),
        NotEmpty::Covered(share) => (
            format!(
                "The empty scan isn't empty: something lies on {:.1} % of it.",
                percent(share)
            ),
            "Scan the glass with the lid closed and nothing on it, or take the scan in as a scan.",
        ),
        NotEmpty::Dirty(share) => (
            format!(
                "{:.0} % of the empty scan are specks or texture.",
                percent(share)
            ),
            "Clean the glass and scan it anew with the lid closed.",
        ),
        NotEmpty::Uneven(found) => (
            format!(
                "The empty scan is uneven by {found:.2} D root mean square, which no lamp makes."
            ),
            "Close the lid and scan the glass with nothing on it.",
        ),
    };
    Finding {
        kind: Kind::EmptyScan,
        weight: Weight::Caution,
        place: Place::default(),
        seen,
        matters: "It isn't used; how the glass is lit is seen on the lid around the strips only."
            .into(),
        remedy: remedy.into(),
    }
}
