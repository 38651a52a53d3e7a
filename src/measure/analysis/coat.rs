//! Where each strip's coat got no light, put into its readings before it is measured.

use std::sync::Arc;

use super::Question;
use super::kept::{ByAddress, Kept};
use super::scales::Scales;
use crate::measure::check::sample::name;
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::geometry::{Field, StripShape};
use crate::measure::reading::cells::pixels_per_mm;
use crate::measure::strip::{Alternative, Found, Located};
use crate::measure::unexposed::{Quad, Search, Surroundings, search};

/// Regions whose tones differ by less than this are one reading: what follows is the same, density.
const SAME: f64 = 0.008;
/// Chance below which a region is no reading of its own.
const LEAST_CHANCE: f64 = 0.05;
/// Most regions that are readings, beside that there is none.
const MOST: usize = 3;
/// Steps this far apart when the exposures are not known, decades: half a stop.
const ASSUMED_STEP: f64 = 0.15;
/// Fewest steps around which it can be looked.
const FEWEST: usize = 3;

/// Looks for unexposed coat around every strip of which nobody said where it is, and puts what is
/// found in the place of the margin that came with the strip. Each region that has a chance is a
/// reading of its own; so is that there is none, which leaves Dmin to the curve.
pub(super) fn look_for(
    question: &Question,
    found: &mut Found,
    scales: &Scales,
    kept: &mut Kept,
    findings: &mut Vec<Finding>,
) {
    let outlines: Vec<(usize, Option<usize>, Quad)> = outlines(found);
    for strip in 0..found.strips.len() {
        if !open(question, strip) {
            continue;
        }
        let mut look = |shape: &StripShape| {
            let others = outlines
                .iter()
                .filter(|(scan, own, _)| *scan == shape.scan && own.is_none_or(|own| own != strip));
            let others: Vec<Quad> = others.map(|(.., quad)| *quad).collect();
            seen(question, strip, (shape, &others), scales, kept)
        };
        if let Some(located) = &mut found.strips[strip] {
            if let Some(search) = look(&located.shape) {
                findings.extend(told(strip, located, &search));
            }
            put(located, &mut look);
        }
        for other in &mut found.otherwise {
            if let Some(located) = other.strips.get_mut(strip).and_then(Option::as_mut) {
                put(located, &mut look);
            }
        }
    }
}

/// Whether it is to be looked for: nobody gave a margin or pointed at unexposed coat.
fn open(question: &Question, strip: usize) -> bool {
    question.strips.get(strip).is_none_or(|spec| {
        let given = spec.shape.as_ref().is_some_and(StripShape::has_margin);
        spec.unexposed.is_none() && !given
    })
}

/// What lies on the scans: scan, strip (none for a wedge or something undescribed), outline.
fn outlines(found: &Found) -> Vec<(usize, Option<usize>, Quad)> {
    let strips = found.strips.iter().enumerate();
    let strips = strips.filter_map(|(strip, located)| Some((Some(strip), located.as_ref()?)));
    let things = found.wedges.iter().chain(&found.spare);
    strips
        .chain(things.map(|thing| (None, thing)))
        .map(|(strip, located)| (located.shape.scan, strip, located.shape.corners))
        .collect()
}

/// What shows around a strip that lies so, seen or kept.
fn seen(
    question: &Question,
    strip: usize,
    (shape, others): (&StripShape, &[Quad]),
    scales: &Scales,
    kept: &mut Kept,
) -> Option<Arc<Search>> {
    let spec = question.strips.get(strip);
    let exposures = spec.and_then(|spec| spec.exposures.as_ref());
    let given = exposures.map(|exposures| exposures.log_exposures(question.settings.lag.0));
    let mut steps: Vec<(usize, Quad)> = shape
        .fields
        .iter()
        .enumerate()
        .filter_map(|(field, what)| match what {
            Field::Step(step) => Some((*step, shape.field_corners(field))),
            Field::Margin | Field::Ignored => None,
        })
        .collect();
    steps.sort_by_key(|(step, _)| *step);
    if steps.len() < FEWEST {
        return None;
    }
    let excluded = spec.map_or(&[][..], |spec| &spec.excluded);
    let x: Vec<f64> = steps
        .iter()
        .map(|(step, _)| match &given {
            _ if excluded.contains(step) => f64::NAN,
            Some(given) => given.get(*step).copied().unwrap_or(f64::NAN),
            None => ASSUMED_STEP * *step as f64,
        })
        .collect();
    let quads: Vec<Quad> = steps.into_iter().map(|(_, quad)| quad).collect();
    let raster = &question.scans[shape.scan];
    let scale = scales.of(shape.scan);
    let channel = question.settings.channel;
    let bits = x.iter().map(|x| x.to_bits()).collect();
    let key = (
        ByAddress(Arc::clone(raster)),
        ByAddress(Arc::clone(scale)),
        channel,
        (quads, bits),
        others.to_vec(),
    );
    if let Some(known) = kept.coats.get(&key) {
        return known;
    }
    let around = Surroundings {
        raster,
        channel,
        scale: &**scale,
        per_mm: pixels_per_mm(raster, shape),
        others,
    };
    let search = search(&around, &key.3.0, &x).map(Arc::new);
    kept.coats.put(key, search.clone());
    search
}

/// Puts what shows into the readings of one thing, in the place of its margins.
fn put(located: &mut Located, look: &mut dyn FnMut(&StripShape) -> Option<Arc<Search>>) {
    let confidence = located.confidence;
    let mut readings = Vec::new();
    for reading in &located.readings {
        let Some(search) = look(&reading.shape) else {
            readings.push(reading.clone());
            continue;
        };
        readings.extend(
            choices(&search)
                .into_iter()
                .map(|(patches, chance)| Alternative {
                    shape: reading.shape.clone().with_unexposed(patches),
                    chance: reading.chance * chance,
                }),
        );
    }
    if let Some(of_these) = Located::one_of(readings) {
        *located = of_these;
        located.confidence = confidence;
    }
}

/// The regions that are readings, no region last, with their chances.
fn choices(search: &Search) -> Vec<(&[Quad], f64)> {
    let mut tones: Vec<(f64, &[Quad], f64)> = Vec::new();
    for region in search.alternatives.iter().filter(|a| !a.patches.is_empty()) {
        let near = |tone: &&mut (f64, &[Quad], f64)| (tone.0 - region.density).abs() < SAME;
        match tones.iter_mut().find(near) {
            Some(tone) => tone.2 += region.chance,
            None => tones.push((region.density, &region.patches, region.chance)),
        }
    }
    tones.sort_by(|a, b| b.2.total_cmp(&a.2));
    tones.retain(|tone| tone.2 >= LEAST_CHANCE);
    tones.truncate(MOST);
    let mut choices: Vec<(&[Quad], f64)> = tones
        .into_iter()
        .map(|(_, quads, chance)| (quads, chance))
        .collect();
    if search.none >= LEAST_CHANCE || choices.is_empty() {
        choices.push((&[], search.none));
    }
    let whole: f64 = choices.iter().map(|choice| choice.1).sum();
    for choice in &mut choices {
        choice.1 /= whole.max(f64::MIN_POSITIVE);
    }
    choices
}

/// What was taken for unexposed coat, or that none is sure.
fn told(strip: usize, located: &Located, search: &Search) -> Option<Finding> {
    let whose = name(Some(strip));
    let region = search.alternatives.first();
    let first = region.and_then(|region| region.patches.first());
    let area = first.map_or(located.shape.corners.to_vec(), |patch| patch.to_vec());
    let place = Place {
        area,
        ..Place::strip(strip)
    };
    let together = &search.together;
    if let Some(region) = region.filter(|region| together.sure && region.chance > search.none) {
        return Some(Finding {
            kind: Kind::UnexposedCoat,
            weight: Weight::Note,
            place,
            seen: format!(
                "{:.0} mm of the steps' borders of {whose} are met by one even tone of {:.3} D, \
                 which is taken for coat that got no light (chance {:.0} %).",
                region.border,
                region.density,
                100.0 * together.chance.min(0.99)
            ),
            matters: format!(
                "Dmin is read there; it changes by {:.3} D over the region.",
                region.scatter
            ),
            remedy: "Look at the region on the scan; point at another place if it is not the coat."
                .to_owned(),
        });
    }
    let (by_steps, error) = search.toe.mean_and_error();
    let seen = match region.filter(|region| region.chance >= LEAST_CHANCE) {
        Some(region) => format!(
            "No region around {whose} is surely coat that got no light: the likeliest has {:.3} D \
             (chance {:.0} %), and none of them has a chance of {:.0} %.",
            region.density,
            100.0 * region.chance,
            100.0 * search.none
        ),
        None => format!("No coat that got no light was found around {whose}."),
    };
    Some(Finding {
        kind: Kind::NoMargin,
        weight: Weight::Caution,
        place,
        seen,
        matters: format!(
            "Dmin is left to the curve as well, which by the steps alone leads to {by_steps:.3} D, \
             give or take {:.3} D; the bounds are wider for it.",
            2.0 * error
        ),
        remedy: "Point at coat that got no light, on the strip or on another piece of the same \
                 coat; leave an unexposed border on the next strip."
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::geometry::Point;
    use crate::measure::unexposed::{self, KINDS, Toe, Together, Way};

    fn search(regions: &[(f64, f64)], none: f64, sure: bool) -> Search {
        let region = |&(density, chance): &(f64, f64)| unexposed::Alternative {
            patches: vec![[Point::new(density, 0.0); 4]],
            density,
            standard_error: 0.004,
            scatter: 0.002,
            border: 80.0,
            chance,
            evidence: [0.0; KINDS],
        };
        let way = Way {
            chance: 1.0,
            mean: 0.11,
            sd: 0.02,
        };
        Search {
            alternatives: regions.iter().map(region).collect(),
            none,
            toe: Toe {
                ways: vec![way],
                lightest: 0.2,
            },
            together: Together {
                dmin: 0.1,
                error: 0.004,
                chance: if sure { 0.96 } else { 0.5 },
                sure,
            },
        }
    }

    fn located() -> Located {
        let corners = [(0.0, 0.0), (0.0, 10.0), (50.0, 10.0), (50.0, 0.0)];
        let shape = StripShape {
            scan: 0,
            corners: corners.map(|(x, y)| Point::new(x, y)),
            edges: vec![],
            fields: vec![],
            unexposed: vec![],
        };
        Located::only(shape, 0.9)
    }

    #[test]
    fn regions_of_one_tone_are_one_reading_and_none_comes_last() {
        let search = search(&[(0.10, 0.4), (0.30, 0.2), (0.105, 0.2)], 0.2, false);
        let choices = choices(&search);
        let chances: Vec<f64> = choices.iter().map(|choice| choice.1).collect();
        assert_eq!(choices.len(), 3);
        assert!(
            (chances[0] - 0.6).abs() < 1e-12 && (chances.iter().sum::<f64>() - 1.0).abs() < 1e-12
        );
        assert!(choices[2].0.is_empty());
    }

    #[test]
    fn without_any_region_dmin_is_left_to_the_curve_and_that_is_told() {
        let search = search(&[], 1.0, false);
        assert_eq!(choices(&search), [(&[][..], 1.0)]);
        let told = told(0, &located(), &search).expect("it is told");
        assert_eq!((told.kind, told.weight), (Kind::NoMargin, Weight::Caution));
        assert!(told.matters.contains("0.110 D"), "{}", told.matters);
    }

    #[test]
    fn what_is_taken_for_unexposed_coat_is_told_with_its_density() {
        let search = search(&[(0.10, 0.96)], 0.04, true);
        let told = told(0, &located(), &search).expect("it is told");
        assert_eq!(
            (told.kind, told.weight),
            (Kind::UnexposedCoat, Weight::Note)
        );
        assert!(
            told.seen.contains("0.100 D") && told.seen.contains("96 %"),
            "{}",
            told.seen
        );
    }
}
