//! Pixels for the checks: a fair sample of each field, cheap enough for the largest scan.

use std::borrow::Cow;

use crate::measure::finding::Place;
use crate::measure::geometry::{Area, Edge, Field, Point, StripShape};
use crate::measure::raster::{Channel, Raster, Samples};

/// Share of a field's length left out at either end, clear of the penumbra of the card.
pub const END_INSET: f64 = 0.2;

/// Share of a field's width left out at either side, clear of the ragged edge of the coat.
pub const SIDE_INSET: f64 = 0.15;

/// Rows sampled in a field, spread over its height.
const ROWS: usize = 40;

/// Most pixels taken from one row of a field.
const ROW_PIXELS: usize = 600;

/// A strip or the wedge, and how to speak of it.
#[derive(Debug, Clone, Copy)]
pub struct Target<'a> {
    /// Index of the strip in the session; `None` is the wedge.
    pub strip: Option<usize>,
    /// Where it lies.
    pub shape: &'a StripShape,
    /// What of it a person said is read: outside these areas nothing of their fields counts.
    pub areas: &'a [Area],
}

impl<'a> Target<'a> {
    /// A strip or the wedge of which all fields are read whole.
    pub fn whole(strip: Option<usize>, shape: &'a StripShape) -> Self {
        Self {
            strip,
            shape,
            areas: &[],
        }
    }

    /// The area that a person marked in a field, if there is one.
    fn area(&self, field: usize) -> Option<&'a Area> {
        let wanted = self.shape.fields[field];
        self.areas.iter().find(|area| area.field == wanted)
    }

    /// Whether a person marked an area in a field.
    pub fn is_marked(&self, field: usize) -> bool {
        self.area(field).is_some()
    }

    /// What is read of a field as a shape of its own, and the field's place in it: the area that
    /// was marked, or the field where it lies on the strip. Beyond the last field come the patches
    /// of unexposed coat.
    pub fn part(&self, field: usize) -> (Cow<'a, StripShape>, usize) {
        let beyond = field.checked_sub(self.shape.fields.len());
        let patch = beyond.and_then(|patch| self.shape.unexposed.get(patch));
        let (corners, what) = match (patch, beyond) {
            (Some(patch), _) => (*patch, Field::Margin),
            (None, Some(_)) => return (Cow::Borrowed(self.shape), field),
            (None, None) => match self.area(field) {
                Some(area) => (
                    self.shape.area_corners(field, area),
                    self.shape.fields[field],
                ),
                None => return (Cow::Borrowed(self.shape), field),
            },
        };
        let shape = StripShape {
            scan: self.shape.scan,
            corners,
            edges: vec![Edge::square(0.0), Edge::square(1.0)],
            fields: vec![what],
            unexposed: vec![],
        };
        (Cow::Owned(shape), 0)
    }

    /// Rows well inside what is read of a field; empty when it is too small or lies off the scan.
    pub fn spans(&self, raster: &Raster, field: usize) -> Vec<Span> {
        let (shape, field) = self.part(field);
        spans(raster, &shape, field)
    }

    /// Rows over all that is read: across the whole of a strip, its step edges with it but not
    /// its ragged sides, or the areas that were marked.
    pub fn outline_spans(&self, raster: &Raster) -> Vec<Span> {
        if self.areas.is_empty() {
            return outline_spans(raster, self.shape);
        }
        self.fields()
            .flat_map(|field| self.spans(raster, field))
            .collect()
    }

    /// Its name in a sentence.
    pub fn name(&self) -> String {
        name(self.strip)
    }

    /// The whole of it as a place.
    pub fn place(&self, scan: usize) -> Place {
        Place {
            scan: Some(scan),
            strip: self.strip,
            step: None,
            area: self.shape.corners.to_vec(),
        }
    }

    /// One of its fields as a place.
    pub fn field_place(&self, scan: usize, field: usize) -> Place {
        Place {
            step: match self.shape.fields[field] {
                Field::Step(step) => Some(step + 1),
                Field::Margin | Field::Ignored => None,
            },
            area: self.shape.field_corners(field).to_vec(),
            ..self.place(scan)
        }
    }

    /// A field in words: "the margin of strip 1", "step 3 of strip 1", "field 4 of the wedge".
    pub fn field_name(&self, field: usize) -> String {
        match (self.strip, self.shape.fields[field]) {
            (None, Field::Step(step)) => format!("field {} of the wedge", step + 1),
            (Some(_), Field::Step(step)) => format!("step {} of {}", step + 1, self.name()),
            (_, Field::Margin) => format!("the margin of {}", self.name()),
            (_, Field::Ignored) => format!("an ignored part of {}", self.name()),
        }
    }

    /// Several fields in words, for the head of a sentence.
    pub fn field_names(&self, fields: &[usize]) -> String {
        let mut steps: Vec<usize> = fields
            .iter()
            .filter_map(|&field| match self.shape.fields[field] {
                Field::Step(step) => Some(step + 1),
                Field::Margin | Field::Ignored => None,
            })
            .collect();
        steps.sort_unstable();
        let margin = fields
            .iter()
            .any(|&field| self.shape.fields[field] == Field::Margin);
        let noun = if self.strip.is_some() {
            "step"
        } else {
            "field"
        };
        let fields = match (margin, steps.is_empty()) {
            (true, true) => "the margin".to_owned(),
            (true, false) => format!("the margin and {}", in_words(noun, &steps)),
            (false, _) => in_words(noun, &steps),
        };
        format!("{fields} of {}", self.name())
    }

    /// Indices of the fields that are read.
    pub fn fields(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.shape.fields.len()).filter(|&field| self.shape.fields[field] != Field::Ignored)
    }
}

/// A strip's name in a sentence; without an index it is the wedge.
pub fn name(strip: Option<usize>) -> String {
    strip.map_or_else(
        || "the wedge".to_owned(),
        |strip| format!("strip {}", strip + 1),
    )
}

/// A run of pixels in one row: from `from` to before `to`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Row.
    pub y: usize,
    /// First pixel.
    pub from: usize,
    /// Pixel after the last.
    pub to: usize,
}

/// Rows well inside a field, clear of its ends and sides; empty when the field is too small
/// or lies off the scan.
fn spans(raster: &Raster, shape: &StripShape, field: usize) -> Vec<Span> {
    rows_inside(raster, &inner_corners(shape, field), ROWS, ROW_PIXELS)
}

/// Rows across the whole of a strip, its step edges with it but not its ragged sides.
fn outline_spans(raster: &Raster, shape: &StripShape) -> Vec<Span> {
    let (from, to) = (0.02, 0.98);
    let corners = [
        shape.on_scan(from, SIDE_INSET),
        shape.on_scan(from, 1.0 - SIDE_INSET),
        shape.on_scan(to, 1.0 - SIDE_INSET),
        shape.on_scan(to, SIDE_INSET),
    ];
    rows_inside(raster, &corners, 5 * ROWS, 5 * ROW_PIXELS)
}

fn rows_inside(raster: &Raster, corners: &[Point; 4], most: usize, pixels: usize) -> Vec<Span> {
    let top = corners.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    let bottom = corners
        .iter()
        .map(|p| p.y)
        .fold(f64::NEG_INFINITY, f64::max);
    if !(top.is_finite() && bottom.is_finite()) {
        return vec![];
    }
    let first = top.ceil().max(0.0) as usize;
    let last = (bottom.floor().max(0.0) as usize).min(raster.height);
    if first >= last {
        return vec![];
    }
    let rows = (last - first).min(most);
    (0..rows)
        .filter_map(|row| {
            let y = first + (2 * row + 1) * (last - first) / (2 * rows);
            let (from, to) = crossing(corners, y as f64 + 0.5)?;
            let from = from.ceil().max(0.0) as usize;
            let to = (to.floor().max(0.0) as usize).min(raster.width);
            if to <= from {
                return None;
            }
            // Long rows are thinned to pieces that wander with the row, so that every part of
            // a wide field has its say.
            let spare = (to - from).saturating_sub(pixels);
            let from = from + spare * (row * 7 % 10) / 9;
            let to = to.min(from + pixels);
            Some(Span { y, from, to })
        })
        .collect()
}

fn inner_corners(shape: &StripShape, field: usize) -> [Point; 4] {
    let (start, end) = (shape.edges[field], shape.edges[field + 1]);
    let place = |share: f64, across: f64| {
        let (from, to) = (start.at(across), end.at(across));
        shape.on_scan(from + (to - from) * share, across)
    };
    [
        place(END_INSET, SIDE_INSET),
        place(END_INSET, 1.0 - SIDE_INSET),
        place(1.0 - END_INSET, 1.0 - SIDE_INSET),
        place(1.0 - END_INSET, SIDE_INSET),
    ]
}

/// Where a horizontal line crosses a convex outline.
fn crossing(corners: &[Point; 4], y: f64) -> Option<(f64, f64)> {
    let mut left = f64::INFINITY;
    let mut right = f64::NEG_INFINITY;
    for (index, &a) in corners.iter().enumerate() {
        let b = corners[(index + 1) % 4];
        if (a.y <= y) != (b.y <= y) {
            let x = a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y);
            left = left.min(x);
            right = right.max(x);
        }
    }
    (left < right).then_some((left, right))
}

/// The largest code value of the scan; floating point counts as 65,535 steps.
pub fn top_code(raster: &Raster) -> u16 {
    match raster.samples {
        Samples::Eight(_) => 255,
        Samples::Sixteen(_) | Samples::Float(_) => u16::MAX,
    }
}

/// Code values of a run of pixels in one channel, put into `out`.
pub fn codes(raster: &Raster, span: Span, channel: usize, out: &mut Vec<u16>) {
    out.clear();
    let channels = raster.channels;
    let start = (span.y * raster.width + span.from) * channels + channel;
    let count = span.to - span.from;
    match &raster.samples {
        Samples::Eight(all) => out.extend(
            all[start..]
                .iter()
                .step_by(channels)
                .take(count)
                .map(|&code| u16::from(code)),
        ),
        Samples::Sixteen(all) => {
            out.extend(all[start..].iter().step_by(channels).take(count));
        }
        Samples::Float(all) => out.extend(
            all[start..]
                .iter()
                .step_by(channels)
                .take(count)
                .map(|&code| (code.clamp(0.0, 1.0) * 65535.0).round() as u16),
        ),
    }
}

/// Linear light of a code value in one channel.
pub fn light_of(raster: &Raster, channel: usize, code: u16) -> f64 {
    let table = &raster.light.tables[channel.min(raster.light.tables.len() - 1)];
    let place = f64::from(code) / f64::from(top_code(raster)) * (table.len() - 1) as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(table.len() - 1);
    let share = place - below as f64;
    f64::from(table[below]) * (1.0 - share) + f64::from(table[above]) * share
}

/// How much scanner density falls from one code value to the next around `code`: the mean
/// over a few codes, since tables of profiles are stepped.
pub fn density_per_code(raster: &Raster, channel: usize, code: f64) -> f64 {
    let top = f64::from(top_code(raster));
    let reach = (top / 128.0).max(1.0);
    let low = (code - reach).max(0.0).round();
    let high = (code + reach).min(top).round();
    let light = |code: f64| light_of(raster, channel, code as u16);
    let middle = light(code.clamp(0.0, top).round()).max(1e-6);
    let slope = (light(high) - light(low)) / (high - low).max(1.0);
    slope / (middle * std::f64::consts::LN_10)
}

/// The channels that densities are read from, each with its share.
pub fn weighted_channels(raster: &Raster, channel: Channel) -> Vec<(usize, f64)> {
    if raster.channels == 1 {
        return vec![(0, 1.0)];
    }
    let weights = &raster.light.weights;
    let weighted = |weights: [f32; 3]| weights.map(f64::from).into_iter().enumerate().collect();
    match channel {
        Channel::Luminance => weighted(weights.luminance),
        Channel::Visual => weighted(weights.visual),
        Channel::Red => vec![(0, 1.0)],
        Channel::Green => vec![(1, 1.0)],
        Channel::Blue => vec![(2, 1.0)],
    }
}

/// The channel with the largest share: where one channel is enough to see a fault.
pub fn main_channel(raster: &Raster, channel: Channel) -> usize {
    weighted_channels(raster, channel)
        .into_iter()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(0, |(index, _)| index)
}

/// Quantile of sorted values, `share` from 0 to 1; `None` without values.
pub fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = share.clamp(0.0, 1.0) * last as f64;
    let below = place.floor() as usize;
    let above = (below + 1).min(last);
    Some(sorted[below] + (sorted[above] - sorted[below]) * (place - below as f64))
}

/// Steps in words: "step 3", "steps 3 to 5", "steps 1, 4, 7".
pub fn in_words(noun: &str, numbers: &[usize]) -> String {
    match numbers {
        [] => format!("no {noun}"),
        [only] => format!("{noun} {only}"),
        [first, .., last] if last - first + 1 == numbers.len() => {
            format!("{noun}s {first} to {last}")
        }
        all => {
            let all: Vec<String> = all.iter().map(usize::to_string).collect();
            format!("{noun}s {}", all.join(", "))
        }
    }
}
