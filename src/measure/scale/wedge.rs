//! The scale from a wedge: a smooth, strictly rising map through its fields.

use nalgebra::{DMatrix, DVector};

use super::DensityScale;
use super::checks;
use super::stray::{NearStray, StrayCorrection};
use crate::measure::finding::Finding;
use crate::measure::geometry::StripShape;
use crate::measure::reading::kernel::{matern_52, matern_52_slope};
use crate::measure::reading::{Around, Cell};

/// Fewest fields that make a scale.
const FEWEST_FIELDS: usize = 3;
/// Priors: offset (density), slope, and stray light as a share of white; middle and width.
const OFFSET: (f64, f64) = (0.0, 0.3);
const SLOPE: (f64, f64) = (1.0, 0.3);
const HAZE: (f64, f64) = (0.005, 0.005);
/// Most of the darkest field's light that stray light may be.
const MOST_HAZE: f64 = 0.9;
/// Over how much scanner density the tone curve changes its course, and the places per
/// that length at which its departure is held.
const TONE_SCALE: f64 = 0.5;
const PLACES_PER_SCALE: f64 = 2.5;
/// Departures of the tone curve (density) that are tried; the likeliest is taken.
const DEPARTURES: [f64; 4] = [0.004, 0.012, 0.03, 0.1];
/// The scale may not be flatter than this anywhere: density per scanner density.
const LEAST_SLOPE: f64 = 0.05;
/// A field this many standard errors from what the others foretell is left out.
const STRANGE_FIELD: f64 = 4.0;
/// How much farther than the outermost fields the formula is used; beyond, straight lines.
const REACH: f64 = 0.05;
/// Steepest that the scale goes on beyond its fields, density per scanner density: gamma 3 read as
/// linear light. Where the scanner's own light drowns the darkest fields the formula is steeper by
/// far, and would give tens of densities to a speck.
const STEEPEST_BEYOND: f64 = 3.0;
/// Error added per unit of extrapolation: density per scanner density.
const EXTRAPOLATION_ERROR: f64 = 0.1;

/// A scale and what was seen while making it.
#[derive(Debug, Clone)]
pub struct WedgeFit {
    /// The scale.
    pub scale: WedgeScale,
    /// What a person should be told.
    pub findings: Vec<Finding>,
}

/// Density scale fitted through a wedge's fields.
///
/// D(s) = a + b (-log10(10^-s - h)) + r(s): h is the scanner's stray light, a its gain, b
/// near 1, and r a small smooth departure (a Gaussian process, Matern 5/2) for the tone
/// curve. Beyond the wedge's fields it goes on straight, with growing error.
#[derive(Debug, Clone)]
pub struct WedgeScale {
    /// a, b, h, then the departure at each place (whitened).
    coefficients: DVector<f64>,
    places: Vec<f64>,
    /// Maps kernels at the places to the whitened departure.
    whitening: DMatrix<f64>,
    /// Coefficients to modes (modes x coefficients).
    mode_root: DMatrix<f64>,
    supported: (f64, f64),
    leave_one_out: f64,
    left_out: Vec<usize>,
    stray: NearStray,
}

/// One field of the wedge as read.
#[derive(Debug, Clone, Copy)]
pub(super) struct WedgeField {
    /// Place in the list of densities.
    pub number: usize,
    /// Scanner density.
    pub scanner: f64,
    /// Its standard error.
    pub error: f64,
    /// Listed density.
    pub listed: f64,
    /// Light of its neighbourhood.
    pub around: Around,
}

/// Fits a density scale through the cells of a wedge.
///
/// `shape` says which field holds which of the `listed` densities (its step numbers);
/// `uncertainty` is the standard uncertainty of a listed density, above 0. Fields that fit
/// neither their neighbours nor the list are left out and reported.
///
/// # Errors
/// The finding that says why there is no scale: another number of fields than densities,
/// too few fields, or a scan that doesn't get darker with the list.
pub fn fit_wedge(
    cells: &[Cell],
    shape: &StripShape,
    listed: &[f64],
    uncertainty: f64,
) -> Result<WedgeFit, Box<Finding>> {
    checks::field_count(shape, listed)?;
    let fields = checks::fields(cells, shape, listed);
    if fields.len() < FEWEST_FIELDS {
        return Err(Box::new(checks::too_few(shape, fields.len())));
    }
    checks::follows_list(&fields, shape)?;
    let Some(fitted) = Fitted::through(&fields, uncertainty) else {
        return Err(Box::new(checks::not_followed(shape)));
    };
    let stray = NearStray::of(cells, &fitted.used);
    let scale = fitted.into_scale(stray);
    let strange = checks::strange_fields(&scale, &fields, shape, uncertainty);
    let mismatch = checks::mismatch(&scale, &fields, shape, uncertainty);
    Ok(WedgeFit {
        scale,
        // What is wrong with the whole list goes before what is with a field.
        findings: mismatch.or(strange).into_iter().collect(),
    })
}

/// A fit and the fields it goes through.
pub(super) struct Fitted {
    fit: Fit,
    /// The fields it goes through.
    pub used: Vec<WedgeField>,
    left_out: Vec<usize>,
}

impl Fitted {
    /// The likeliest rising map through at least three fields, strange ones left out.
    pub fn through(fields: &[WedgeField], uncertainty: f64) -> Option<Self> {
        if fields.len() < FEWEST_FIELDS {
            return None;
        }
        let uncertainty = uncertainty.max(1e-3);
        let mut used = fields.to_vec();
        loop {
            let fit = likeliest(&used, uncertainty)?;
            let worst = (0..used.len()).max_by(|&i, &j| {
                let size = |k: usize| fit.standardised[k].abs();
                size(i).total_cmp(&size(j))
            });
            let out = fields.len() - used.len();
            match worst {
                Some(worst)
                    if fit.standardised[worst].abs() > STRANGE_FIELD
                        && out < fields.len() / 5
                        && used.len() > FEWEST_FIELDS + 1 =>
                {
                    used.remove(worst);
                }
                _ => {
                    let left_out = fields
                        .iter()
                        .map(|field| field.number)
                        .filter(|&number| used.iter().all(|field| field.number != number))
                        .collect();
                    return Some(Self {
                        fit,
                        used,
                        left_out,
                    });
                }
            }
        }
    }

    /// The scale, with what is known of stray light.
    pub fn into_scale(self, stray: NearStray) -> WedgeScale {
        self.fit.into_scale(&self.used, self.left_out, stray)
    }

    /// Error of foretelling each used field from the others, density: listed less foretold.
    pub fn left_one_out(&self) -> &[f64] {
        &self.fit.left_one_out
    }
}

/// A fit for one size of departure.
struct Fit {
    coefficients: DVector<f64>,
    covariance: DMatrix<f64>,
    places: Vec<f64>,
    whitening: DMatrix<f64>,
    /// Leave-one-out residuals.
    left_one_out: Vec<f64>,
    /// The same over their standard errors.
    standardised: Vec<f64>,
    log_likelihood: f64,
}

/// The likeliest strictly rising fit over the sizes of departure.
fn likeliest(fields: &[WedgeField], uncertainty: f64) -> Option<Fit> {
    DEPARTURES
        .iter()
        .filter_map(|&departure| fit(fields, uncertainty, departure))
        .filter(|fit| fit.rises(fields))
        .max_by(|a, b| a.log_likelihood.total_cmp(&b.log_likelihood))
}

fn range(fields: &[WedgeField]) -> (f64, f64) {
    fields
        .iter()
        .map(|field| field.scanner)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), s| {
            (low.min(s), high.max(s))
        })
}

/// Derivatives of the density by the coefficients at `s`, and the density.
fn model(
    s: f64,
    coefficients: &DVector<f64>,
    places: &[f64],
    whitening: &DMatrix<f64>,
) -> (f64, DVector<f64>) {
    let (slope, haze) = (coefficients[1], coefficients[2]);
    let clear = clear_light(s, haze);
    let base = -clear.log10();
    let kernels = DVector::from_iterator(
        places.len(),
        places
            .iter()
            .map(|p| matern_52((s - p).abs(), TONE_SCALE).0),
    );
    let departure = whitening * kernels;
    let mut by = DVector::zeros(3 + places.len());
    by[0] = 1.0;
    by[1] = base;
    by[2] = slope / (clear * std::f64::consts::LN_10);
    by.rows_mut(3, places.len()).copy_from(&departure);
    let density =
        coefficients[0] + slope * base + departure.dot(&coefficients.rows(3, places.len()));
    (density, by)
}

/// Light without the stray light; kept above zero.
fn clear_light(s: f64, haze: f64) -> f64 {
    let light = 10f64.powf(-s);
    (light - haze).max(light * 0.02)
}

fn fit(fields: &[WedgeField], uncertainty: f64, departure: f64) -> Option<Fit> {
    let (low, high) = range(fields);
    let count = (((high - low) / TONE_SCALE * PLACES_PER_SCALE).ceil() as usize).clamp(2, 24) + 1;
    let places: Vec<f64> = (0..count)
        .map(|i| low + (high - low) * i as f64 / (count - 1) as f64)
        .collect();
    let between = DMatrix::from_fn(count, count, |i, j| {
        matern_52((places[i] - places[j]).abs(), TONE_SCALE).0 + f64::from(u8::from(i == j)) * 1e-6
    });
    let whitening = between.cholesky()?.l().try_inverse()? * departure;
    // Light of white: the lightest field's over its reflectance.
    let lightest = fields
        .iter()
        .min_by(|a, b| a.scanner.total_cmp(&b.scanner))?;
    let white = 10f64.powf(lightest.listed - lightest.scanner);
    let most_haze = MOST_HAZE * 10f64.powf(-high);
    let size = 3 + count;
    let mut middle = DVector::zeros(size);
    // White reads as density 0: the gain follows from the white level.
    middle[0] = OFFSET.0 + white.log10();
    middle[1] = SLOPE.0;
    middle[2] = (HAZE.0 * white).min(most_haze / 2.0);
    let mut precision = DVector::from_element(size, 1.0);
    precision[0] = OFFSET.1.powi(-2);
    precision[1] = SLOPE.1.powi(-2);
    precision[2] = (HAZE.1 * white).powi(-2);
    let weights = DVector::from_iterator(
        fields.len(),
        fields
            .iter()
            .map(|field| 1.0 / (uncertainty.powi(2) + field.error.powi(2))),
    );
    let mut coefficients = middle.clone();
    let mut rows = DMatrix::zeros(fields.len(), size);
    let mut residual = DVector::zeros(fields.len());
    let mut covariance = DMatrix::zeros(size, size);
    for _ in 0..25 {
        for (i, field) in fields.iter().enumerate() {
            let (density, by) = model(field.scanner, &coefficients, &places, &whitening);
            residual[i] = field.listed - density;
            rows.set_row(i, &by.transpose());
        }
        let weighted = DMatrix::from_diagonal(&weights) * &rows;
        let normal = rows.transpose() * &weighted + DMatrix::from_diagonal(&precision);
        let cholesky = normal.cholesky()?;
        let pull =
            weighted.transpose() * &residual + precision.component_mul(&(&middle - &coefficients));
        let mut step = cholesky.solve(&pull);
        covariance = cholesky.inverse();
        step[2] = (coefficients[2] + step[2]).min(most_haze) - coefficients[2];
        coefficients += &step;
        if step.amax() < 1e-10 {
            break;
        }
    }
    let leverage: Vec<f64> = (0..fields.len())
        .map(|i| (rows.row(i) * &covariance * rows.row(i).transpose())[0] * weights[i])
        .collect();
    // More scatter than the list admits widens everything (Birge 1932, Phys. Rev. 40:207).
    let squares: f64 = (0..fields.len())
        .map(|i| residual[i].powi(2) * weights[i])
        .sum();
    let freedom = (fields.len() as f64 - leverage.iter().sum::<f64>()).max(1.0);
    let excess = (squares / freedom).max(1.0);
    let left_one_out: Vec<f64> = (0..fields.len())
        .map(|i| residual[i] / (1.0 - leverage[i]).max(0.02))
        .collect();
    let standardised = (0..fields.len())
        .map(|i| left_one_out[i] * ((1.0 - leverage[i]).max(0.02) * weights[i]).sqrt())
        .collect();
    let away = &coefficients - &middle;
    let log_det: f64 = covariance
        .clone()
        .cholesky()?
        .l_dirty()
        .diagonal()
        .map(f64::ln)
        .sum();
    let log_likelihood = -squares / 2.0 - away.dot(&precision.component_mul(&away)) / 2.0 + log_det;
    Some(Fit {
        coefficients,
        covariance: covariance * excess,
        places,
        whitening,
        left_one_out,
        standardised,
        log_likelihood,
    })
}

impl Fit {
    fn rises(&self, fields: &[WedgeField]) -> bool {
        let (low, high) = range(fields);
        let reached = |i: i32| {
            let s = low - REACH + (high - low + 2.0 * REACH) * f64::from(i) / 200.0;
            model(s, &self.coefficients, &self.places, &self.whitening).0
        };
        let least = LEAST_SLOPE * (high - low + 2.0 * REACH) / 200.0;
        (0..200).all(|i| reached(i + 1) - reached(i) >= least)
    }

    fn into_scale(
        self,
        fields: &[WedgeField],
        left_out: Vec<usize>,
        stray: NearStray,
    ) -> WedgeScale {
        let supported = range(fields);
        let root = self
            .covariance
            .clone()
            .cholesky()
            .map_or_else(|| self.covariance.clone(), |cholesky| cholesky.l());
        // Few of the directions matter over the range; the rest are left out.
        let grid: Vec<DVector<f64>> = (0..=60)
            .map(|i| {
                let s = supported.0 + (supported.1 - supported.0) * f64::from(i) / 60.0;
                model(s, &self.coefficients, &self.places, &self.whitening).1
            })
            .collect();
        let rows = DMatrix::from_columns(&grid).transpose() * &root;
        let decomposed = (rows.transpose() * &rows).symmetric_eigen();
        let mut order: Vec<usize> = (0..root.ncols()).collect();
        order.sort_by(|&a, &b| decomposed.eigenvalues[b].total_cmp(&decomposed.eigenvalues[a]));
        let total: f64 = decomposed.eigenvalues.iter().map(|v| v.max(0.0)).sum();
        let mut sum = 0.0;
        order.retain(|&k| {
            let needed = sum < 0.999 * total;
            sum += decomposed.eigenvalues[k].max(0.0);
            needed
        });
        let directions: Vec<DVector<f64>> = order
            .iter()
            .map(|&k| &root * decomposed.eigenvectors.column(k))
            .collect();
        let squares: f64 = self.left_one_out.iter().map(|e| e * e).sum();
        WedgeScale {
            mode_root: DMatrix::from_columns(&directions).transpose(),
            coefficients: self.coefficients,
            places: self.places,
            whitening: self.whitening,
            supported,
            leave_one_out: (squares / self.left_one_out.len() as f64).sqrt(),
            left_out,
            stray,
        }
    }
}

impl WedgeScale {
    /// Root mean square error of foretelling each field from all others, density.
    pub fn leave_one_out(&self) -> f64 {
        self.leave_one_out
    }

    /// Fields (places in the list of densities) that were left out.
    pub fn left_out(&self) -> &[usize] {
        &self.left_out
    }

    /// The same, with what the cells of strips on its scan show of stray light.
    #[must_use]
    pub fn beside(self, strips: &[&[Cell]]) -> Self {
        Self {
            stray: self.stray.beside(strips),
            ..self
        }
    }

    /// What is known of stray light from the neighbourhood.
    pub fn near_stray(&self) -> &NearStray {
        &self.stray
    }

    /// The nearest place where the formula holds, and how far `s` lies beyond.
    fn held(&self, s: f64) -> (f64, f64) {
        let inside = s.clamp(self.supported.0 - REACH, self.supported.1 + REACH);
        (inside, s - inside)
    }

    fn model(&self, s: f64) -> (f64, DVector<f64>) {
        model(s, &self.coefficients, &self.places, &self.whitening)
    }

    fn slope_inside(&self, s: f64) -> f64 {
        let light = 10f64.powf(-s);
        let haze = self.coefficients[2];
        let straight = if light - haze > light * 0.02 {
            self.coefficients[1] * light / (light - haze)
        } else {
            self.coefficients[1]
        };
        let kernels = DVector::from_iterator(
            self.places.len(),
            self.places
                .iter()
                .map(|p| matern_52_slope(s - p, TONE_SCALE)),
        );
        let departure = self.coefficients.rows(3, self.places.len());
        straight + (&self.whitening * kernels).dot(&departure)
    }
}

impl DensityScale for WedgeScale {
    fn density(&self, s: f64) -> f64 {
        let (inside, beyond) = self.held(s);
        let density = self.model(inside).0;
        if beyond == 0.0 {
            density
        } else {
            density + beyond * self.slope(s)
        }
    }

    fn slope(&self, s: f64) -> f64 {
        let (inside, beyond) = self.held(s);
        let slope = self.slope_inside(inside);
        if beyond == 0.0 {
            slope
        } else {
            slope.min(STEEPEST_BEYOND)
        }
    }

    fn modes(&self, s: f64) -> Vec<f64> {
        let (inside, beyond) = self.held(s);
        let mut modes = &self.mode_root * self.model(inside).1;
        if beyond != 0.0 {
            let step = 1e-4;
            let toward = &self.mode_root * self.model(inside + step).1;
            let back = &self.mode_root * self.model(inside - step).1;
            modes += (toward - back) * (beyond / (2.0 * step));
        }
        let grows = |far: f64| EXTRAPOLATION_ERROR * far.max(0.0);
        modes
            .iter()
            .copied()
            .chain([grows(-beyond), grows(beyond)])
            .collect()
    }

    fn supported(&self) -> (f64, f64) {
        self.supported
    }

    fn stray(&self, s: f64, around: &Around) -> StrayCorrection {
        self.stray.correction(s, around, self.density(s))
    }

    fn by_wedge(&self) -> bool {
        true
    }
}
