//! The magnifier: single pixels, those that don't count, and how their light is spread.

use egui::{Align2, Pos2, Rect, Stroke, StrokeKind, Ui, Vec2};

use super::areas;
use crate::measure::geometry::{Field, Point};
use crate::measure::raster::Channel;
use crate::measure::reading::look::{self, Look, Spread, look};
use crate::window::request::{Scene, Thing};
use crate::window::shelf::Opened;
use crate::window::theme::small;

/// Pixels of the scan across the magnifier.
const ACROSS: usize = 31;
/// Screen points a pixel takes, at most and at least.
const PIXEL: (f32, f32) = (7.0, 3.0);
/// Width of the spread where it stands beside the pixels.
const BESIDE: f32 = 168.0;
/// Height of the spread.
const SPREAD: f32 = 56.0;
/// Height of the scan's place below which there is no room for both.
const LOW: f32 = 400.0;
/// Bars of the spread.
const BARS: usize = 48;

/// What the magnifier last looked at, so that it isn't read anew in every frame.
#[derive(Default)]
pub struct Loupe {
    at: Option<(usize, usize, usize)>,
    seen: Option<Look>,
    step: Option<(StepKey, Spread)>,
}

/// Which step's spread it is: its corners as they are read, and the channel.
type StepKey = (usize, [Point; 4], Channel);

impl Loupe {
    /// Draws it in the lower corner of the scan's place.
    pub fn ui(
        &mut self,
        ui: &Ui,
        place: Rect,
        (pointer, looked_at): (Option<Point>, Option<Pos2>),
        opened: &Opened,
        scan: usize,
        scene: &Scene<'_>,
    ) {
        let raster = &opened.raster;
        let name = self.look_at_step(opened, scan, scene);
        if let Some(at) = pointer {
            let inside = at.x >= 0.0
                && at.y >= 0.0
                && at.x < raster.width as f64
                && at.y < raster.height as f64;
            let key = (scan, at.x as usize, at.y as usize);
            if inside && self.at != Some(key) {
                self.at = Some(key);
                let channel = scene.session.settings.channel;
                self.seen = look(raster, key.1, key.2, ACROSS, channel);
            }
        }
        let theme = scene.theme;
        // In a low window the spread stands beside the pixels instead of below them.
        let low = place.height() < LOW;
        let free = place.height() - 48.0 - if low { 0.0 } else { SPREAD + 64.0 };
        let pixel = (free / ACROSS as f32).floor().clamp(PIXEL.1, PIXEL.0);
        let side = ACROSS as f32 * pixel;
        let size = if low {
            Vec2::new(side + BESIDE + 24.0, side + 16.0)
        } else {
            Vec2::new(side + 16.0, side + SPREAD + 80.0)
        };
        // On the other side than what it looks at.
        let left = match looked_at {
            Some(at) if at.x < place.center().x => place.right() - size.x - 16.0,
            _ => place.left() + 16.0,
        };
        let corner = Pos2::new(left, place.bottom() - size.y - 16.0);
        let rect = Rect::from_min_size(corner, size);
        let painter = ui.painter_at(place);
        painter.rect(
            rect,
            4.0,
            theme.panel,
            Stroke::new(1.0, theme.line),
            StrokeKind::Inside,
        );
        let Some(seen) = &self.seen else {
            painter.text(
                rect.center(),
                Align2::CENTER_CENTER,
                "Point at the scan",
                small(),
                theme.weak,
            );
            return;
        };
        let origin = rect.min + Vec2::splat(8.0);
        let picture = opened
            .pyramid
            .cut(0, seen.x, seen.y, seen.width, seen.height);
        for y in 0..seen.height {
            for x in 0..seen.width {
                let at = origin + Vec2::new(x as f32, y as f32) * pixel;
                let cell = Rect::from_min_size(at, Vec2::splat(pixel));
                let colour = picture.pixels[y * seen.width + x];
                painter.rect_filled(cell, 0.0, multiplied(colour, theme.tint));
                if seen.rejected[y * seen.width + x] {
                    // A cross, so that it shows on any tone and without colour.
                    let stroke = Stroke::new(1.0, theme.blocking);
                    painter.line_segment([cell.left_top(), cell.right_bottom()], stroke);
                    painter.line_segment([cell.left_bottom(), cell.right_top()], stroke);
                }
            }
        }
        let below = if low {
            Rect::from_min_size(
                origin + Vec2::new(side + 8.0, 0.0),
                Vec2::new(BESIDE, SPREAD),
            )
        } else {
            Rect::from_min_size(origin + Vec2::new(0.0, side + 8.0), Vec2::new(side, SPREAD))
        };
        match (&self.step, &name) {
            (Some((_, of)), Some(_)) => {
                let counts = |&light: &f32| (of.gate.0..=of.gate.1).contains(&f64::from(light));
                let rejected: Vec<bool> = of.light.iter().map(|light| !counts(light)).collect();
                spread(&painter, below, &of.light, &rejected, scene);
            }
            _ => spread(&painter, below, &seen.light, &seen.rejected, scene),
        }
        let out = seen.rejected.iter().filter(|&&rejected| rejected).count();
        let above = name.unwrap_or_else(|| "these pixels".to_owned());
        let words = format!(
            "light of {above}\n{out} of {} pixels here don't count\nscanner density {:.3} here",
            seen.rejected.len(),
            seen.density
        );
        painter.text(
            below.left_bottom() + Vec2::new(0.0, 6.0),
            Align2::LEFT_TOP,
            words,
            small(),
            theme.text,
        );
    }
}

impl Loupe {
    /// Looks at the step under the pointer, or the chosen one, as it is read; its name.
    fn look_at_step(&mut self, opened: &Opened, scan: usize, scene: &Scene<'_>) -> Option<String> {
        let chosen = scene.held().and_then(|(chosen, _)| {
            let Thing::Strip(strip) = chosen.thing else {
                return None;
            };
            Some((strip, chosen.part.field()?))
        });
        let spot = scene.spot.and_then(|(strip, number)| {
            let wanted = number.checked_sub(1).map_or(Field::Margin, Field::Step);
            let fields = &scene.shape(strip)?.fields;
            let field = fields.iter().position(|&field| field == wanted)?;
            Some((strip, field))
        });
        let (strip, field) = spot.or(chosen)?;
        let shape = scene.shape(strip).filter(|shape| shape.scan == scan)?;
        let area = areas::area_of(scene, &opened.raster, strip, shape, field)?;
        let channel = scene.session.settings.channel;
        let key = (scan, shape.area_corners(field, &area), channel);
        if self.step.as_ref().is_none_or(|(known, _)| *known != key) {
            let seen = look::spread(&opened.raster, &key.1, channel)?;
            self.step = Some((key, seen));
        }
        Some(match shape.fields[field] {
            Field::Step(step) => format!("step {} of {}", step + 1, scene.name(strip)),
            _ => format!("the margin of {}", scene.name(strip)),
        })
    }
}

fn multiplied(pixel: egui::Color32, by: egui::Color32) -> egui::Color32 {
    let part = |a: u8, b: u8| (u16::from(a) * u16::from(b) / 255) as u8;
    egui::Color32::from_rgb(
        part(pixel.r(), by.r()),
        part(pixel.g(), by.g()),
        part(pixel.b(), by.b()),
    )
}

fn spread(
    painter: &egui::Painter,
    place: Rect,
    light: &[f32],
    rejected: &[bool],
    scene: &Scene<'_>,
) {
    let theme = scene.theme;
    painter.rect_stroke(place, 0.0, Stroke::new(1.0, theme.line), StrokeKind::Inside);
    let (low, high) = light
        .iter()
        .fold((f32::MAX, f32::MIN), |(low, high), &light| {
            (low.min(light), high.max(light))
        });
    let span = (high - low).max(f32::MIN_POSITIVE);
    let mut bars = [(0usize, 0usize); BARS];
    for (&light, &rejected) in light.iter().zip(rejected) {
        let bar = (((light - low) / span * BARS as f32) as usize).min(BARS - 1);
        if rejected {
            bars[bar].1 += 1;
        } else {
            bars[bar].0 += 1;
        }
    }
    let most = bars
        .iter()
        .map(|(counts, out)| counts + out)
        .max()
        .unwrap_or(1)
        .max(1) as f32;
    let wide = place.width() / BARS as f32;
    for (index, (counts, out)) in bars.iter().enumerate() {
        let x = place.left() + index as f32 * wide;
        let bar = |from: usize, to: usize| {
            let y = |count: usize| place.bottom() - place.height() * count as f32 / most;
            Rect::from_min_max(Pos2::new(x, y(to)), Pos2::new(x + wide - 1.0, y(from)))
        };
        painter.rect_filled(bar(0, *counts), 0.0, theme.text);
        painter.rect_stroke(
            bar(*counts, counts + out),
            0.0,
            Stroke::new(1.0, theme.blocking),
            StrokeKind::Inside,
        );
    }
}
