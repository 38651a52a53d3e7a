//! A scanner calibration: what a scanner made of the fields of one or several wedges, kept so
//! that scans without a wedge can be read by it.
//!
//! It holds readings and not a curve: the curve follows from them, always the same one.

use std::collections::BTreeMap;

use super::repeats::{Repeat, Scatter, by_density};
use super::reuse::ReusedScale;
use super::stray::NearStray;
use super::wedge::{Fitted, WedgeField};
use super::{DensityScale as _, checks};
use crate::measure::finding::Finding;
use crate::measure::geometry::StripShape;
use crate::measure::raster::Channel;
use crate::measure::reading::{Cell, REACHES_MM};

/// Standard deviation of a scanner's level from scan to scan, density, and for how many scans
/// this assumption counts (common practice, no source: lamp and gain come back to about 2 % of
/// light).
const LEVEL: (f64, f64) = (0.01, 3.0);
/// Neighbouring fields are told apart when their readings differ by so many standard errors, and
/// by this share of what the list says.
const APART: (f64, f64) = (3.0, 0.2);
/// Least standard error of a field's reading, scanner density: a reading with none would count
/// for everything.
const LEAST_ERROR: f64 = 5e-4;
/// Fewest fields that make a curve.
const FEWEST_FIELDS: usize = 3;

/// A scan that a calibration was made from.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationScan {
    /// What the file was called.
    pub path: String,
    /// BLAKE3 hash of the file, in hex.
    pub hash: String,
    /// Where its linear light came from, in words (see `Light::source`).
    pub encoding: String,
    /// Bits a code value.
    pub bits: u8,
    /// Pixels per millimetre, where the file said so.
    pub pixels_per_mm: Option<f64>,
}

/// One field of a wedge as the scanner saw it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenField {
    /// Which of the calibration's scans, from 0.
    pub scan: usize,
    /// Which field of the wedge, from 0.
    pub number: usize,
    /// Density it has, by the list.
    pub listed: f64,
    /// Scanner density (-log10 of linear light).
    pub scanner: f64,
    /// Its standard error.
    pub error: f64,
    /// Linear light of its neighbourhood.
    pub surround: f64,
}

/// What was seen in one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenChannel {
    /// The channel.
    pub channel: Channel,
    /// Share of the neighbourhood's light that strays into a field, and its standard error.
    pub stray: (f64, f64),
    /// The fields, scan by scan.
    pub fields: Vec<SeenField>,
}

/// What a scanner, set one way, makes of known densities.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// What the person calls the scanner.
    pub scanner: String,
    /// How it was set, in the person's words.
    pub settings: String,
    /// The day it was made, such as 2026-11-25.
    pub made: String,
    /// Standard uncertainty of the listed densities.
    pub uncertainty: f64,
    /// The scans.
    pub scans: Vec<CalibrationScan>,
    /// The channels.
    pub channels: Vec<SeenChannel>,
}

/// One field as the curve has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldFit {
    /// Which field of the wedge, from 0.
    pub number: usize,
    /// Listed density.
    pub listed: f64,
    /// Scanner density, the mean of the scans.
    pub scanner: f64,
    /// Its standard error.
    pub error: f64,
    /// What the curve gives less what is listed.
    pub residual: f64,
    /// What the curve through the other fields gives less what is listed; `None` for a field
    /// that the curve doesn't use.
    pub left_out: Option<f64>,
}

/// The curve of a calibration in one channel.
#[derive(Debug, Clone)]
pub struct CalibrationFit {
    /// The scale with which scans are read.
    pub scale: ReusedScale,
    /// Its fields.
    pub fields: Vec<FieldFit>,
    /// Densities between which the scanner tells neighbouring fields apart.
    pub usable: (f64, f64),
    /// Whether the scanner stops telling tones apart before the wedge's darkest field, or its
    /// lightest.
    pub stops: (bool, bool),
    /// Standard deviation of the level from scan to scan, density; assumed where there is one
    /// scan only.
    pub level: f64,
    /// How differently fields read from scan to scan once the levels are brought together, by
    /// density; empty where no field was scanned twice.
    pub repeats: Vec<Repeat>,
    /// Root mean square error of foretelling each field from the others, density.
    pub leave_one_out: f64,
    /// Whether the fields fit their list so badly that it is probably another wedge's.
    pub another_list: bool,
}

/// Why a calibration has no curve.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CalibrationGap {
    /// It was made without this channel.
    #[error("it has no {} channel", channel_word(*.0))]
    NoChannel(Channel),
    /// Too few fields that the scanner tells apart.
    #[error("the scanner tells only {0} of the fields apart, and a curve needs 3")]
    TooFew(usize),
    /// The readings don't rise with the list.
    #[error("its fields do not get darker as their densities rise")]
    NotFollowed,
    /// The readings of a colour don't fit the list, though those of luminance may.
    #[error("in {} its fields do not fit their list", channel_word(*.0))]
    Unlike(Channel),
}

/// A channel in a word.
pub fn channel_word(channel: Channel) -> &'static str {
    match channel {
        Channel::Luminance => "luminance",
        Channel::Visual => "visual",
        Channel::Red => "red",
        Channel::Green => "green",
        Channel::Blue => "blue",
    }
}

/// What a scan shows of a wedge in one channel: its fields, and the share of the neighbourhood's
/// light that strays into them, with its standard error.
pub type Seen = (Vec<SeenField>, (f64, f64));

/// What a scan shows of a wedge in one channel.
///
/// # Errors
/// The finding that says why the wedge can't be read.
pub fn see(
    scan: usize,
    cells: &[Cell],
    shape: &StripShape,
    listed: &[f64],
) -> Result<Seen, Box<Finding>> {
    checks::field_count(shape, listed)?;
    let fields = checks::fields(cells, shape, listed);
    if fields.len() < FEWEST_FIELDS {
        return Err(Box::new(checks::too_few(shape, fields.len())));
    }
    checks::follows_list(&fields, shape)?;
    let stray = NearStray::of(cells, &fields).share();
    let seen = fields
        .iter()
        .map(|field| SeenField {
            scan,
            number: field.number,
            listed: field.listed,
            scanner: field.scanner,
            error: field.error,
            surround: field.around.iter().sum::<f64>() / field.around.len() as f64,
        })
        .collect();
    Ok((seen, stray))
}

impl Calibration {
    /// The channel's readings.
    pub fn channel(&self, channel: Channel) -> Option<&SeenChannel> {
        self.channels.iter().find(|seen| seen.channel == channel)
    }

    /// The curve of a channel.
    ///
    /// # Errors
    /// [`CalibrationGap`] when there is none.
    pub fn fit(&self, channel: Channel) -> Result<CalibrationFit, CalibrationGap> {
        // One channel is luminance and visual at once: nothing is weighed.
        let one = self.channels.len() == 1 && channel == Channel::Visual;
        let seen = self
            .channel(if one { Channel::Luminance } else { channel })
            .ok_or(CalibrationGap::NoChannel(channel))?;
        let Pooled {
            fields: pooled,
            numbers,
            scatter,
            level,
        } = pool(&seen.fields);
        let (from, to) = told_apart(&pooled);
        let used = &pooled[from..to];
        if used.len() < FEWEST_FIELDS {
            return Err(CalibrationGap::TooFew(used.len()));
        }
        let usable = (used[0].listed, used[used.len() - 1].listed);
        let stops = (to < pooled.len(), from > 0);
        let fitted = Fitted::through(used, self.uncertainty).ok_or(CalibrationGap::NotFollowed)?;
        let left_out: BTreeMap<usize, f64> = fitted
            .used
            .iter()
            .zip(fitted.left_one_out())
            .map(|(field, error)| (field.number, -error))
            .collect();
        let stray = NearStray::known(seen.stray.0, seen.stray.1, &fitted.used);
        let scale = fitted.into_scale(stray);
        let leave_one_out = scale.leave_one_out();
        let out = scale.left_out().len();
        let another_list = checks::another_list((out, used.len()), leave_one_out, self.uncertainty);
        // A wedge that is neutral to the eye may be none in one colour; a list that isn't the
        // wedge's shows in luminance, too.
        if another_list && channel != Channel::Luminance && self.channels.len() > 1 {
            return Err(CalibrationGap::Unlike(channel));
        }
        let fields = pooled
            .iter()
            .map(|field| FieldFit {
                number: numbers[field.number],
                listed: field.listed,
                scanner: field.scanner,
                error: field.error,
                residual: scale.density(field.scanner) - field.listed,
                left_out: left_out.get(&field.number).copied(),
            })
            .collect();
        let scattered: Vec<(WedgeField, Scatter)> = pooled.into_iter().zip(scatter).collect();
        let repeats = by_density(&scattered[from..to], |s| scale.slope(s));
        Ok(CalibrationFit {
            scale: ReusedScale::new(scale, level, repeats.clone()),
            repeats,
            fields,
            usable,
            stops,
            level,
            leave_one_out,
            another_list,
        })
    }
}

/// Readings of one field on several scans as one.
struct Pooled {
    /// Ascending in listed density; `number` is the place in `numbers`.
    fields: Vec<WedgeField>,
    /// Which field of its wedge each is.
    numbers: Vec<usize>,
    /// How its readings scatter.
    scatter: Vec<Scatter>,
    /// Standard deviation of the level of one more scan, scanner density.
    level: f64,
}

/// Brings each scan's level to the mean level, and takes the means.
fn pool(seen: &[SeenField]) -> Pooled {
    // Wedges with other lists have other fields: density and number tell a field.
    let mut groups: Vec<Vec<&SeenField>> = Vec::new();
    for field in seen {
        let same = |group: &&mut Vec<&SeenField>| {
            group[0].number == field.number && group[0].listed == field.listed
        };
        match groups.iter_mut().find(same) {
            Some(group) => group.push(field),
            None => groups.push(vec![field]),
        }
    }
    groups.sort_by(|a, b| a[0].listed.total_cmp(&b[0].listed));
    let weight = |field: &SeenField| 1.0 / (field.error.powi(2) + LEAST_ERROR.powi(2));
    let mean = |group: &[&SeenField], of: &dyn Fn(&SeenField) -> f64| {
        let total: f64 = group.iter().map(|field| weight(field)).sum();
        group.iter().map(|f| weight(f) * of(f)).sum::<f64>() / total
    };
    let mut away: BTreeMap<usize, (f64, f64)> = BTreeMap::new();
    for group in groups.iter().filter(|group| group.len() > 1) {
        let middle = mean(group, &|field| field.scanner);
        for field in group {
            let (sum, total) = away.entry(field.scan).or_default();
            *sum += weight(field) * (field.scanner - middle);
            *total += weight(field);
        }
    }
    let levels: BTreeMap<usize, f64> = away
        .iter()
        .map(|(scan, (sum, total))| (*scan, sum / total))
        .collect();
    let squares: f64 = levels.values().map(|level| level * level).sum();
    let count = levels.len().max(1) as f64;
    // The assumption counts like so many scans more (a scaled inverse chi-squared prior).
    let variance = (LEVEL.1 * LEVEL.0.powi(2) + squares) / (LEVEL.1 + count - 1.0);
    let fields = groups
        .iter()
        .enumerate()
        .map(|(place, group)| {
            let brought = |field: &SeenField| {
                field.scanner - levels.get(&field.scan).copied().unwrap_or_default()
            };
            let scanner = mean(group, &brought);
            let total: f64 = group.iter().map(|field| weight(field)).sum();
            let scatter = mean(group, &|field| (brought(field) - scanner).powi(2));
            // With one reading its own error is all there is.
            let between = scatter / (group.len() as f64 - 1.0).max(1.0);
            WedgeField {
                number: place,
                scanner,
                error: total.recip().max(between).sqrt(),
                listed: group[0].listed,
                around: [mean(group, &|field| field.surround); REACHES_MM.len()],
            }
        })
        .collect();
    let scatter = groups
        .iter()
        .map(|group| {
            let brought =
                |f: &SeenField| f.scanner - levels.get(&f.scan).copied().unwrap_or_default();
            let count = group.len();
            let middle = group.iter().map(|f| brought(f)).sum::<f64>() / count as f64;
            let squares = group.iter().map(|f| (brought(f) - middle).powi(2)).sum();
            Scatter { squares, count }
        })
        .collect();
    Pooled {
        fields,
        scatter,
        numbers: groups.iter().map(|group| group[0].number).collect(),
        level: (variance * (1.0 + 1.0 / count)).sqrt(),
    }
}

/// The run of fields (ascending in density) in which neighbours are told apart: what is cut off
/// at the ends reads like its neighbour, whatever the list says.
fn told_apart(fields: &[WedgeField]) -> (usize, usize) {
    let apart = |lighter: &WedgeField, darker: &WedgeField| {
        let rise = darker.scanner - lighter.scanner;
        let told = darker.listed - lighter.listed;
        rise > APART.0 * lighter.error.hypot(darker.error) && rise > APART.1 * told
    };
    let (mut from, mut to) = (0, fields.len());
    while to >= 2 && !apart(&fields[to - 2], &fields[to - 1]) {
        to -= 1;
    }
    while from + 1 < to && !apart(&fields[from], &fields[from + 1]) {
        from += 1;
    }
    (from, to)
}
