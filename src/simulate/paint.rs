//! From the things on the glass to light: reflectance of every pixel.

use rayon::prelude::*;

use super::clutter;
use super::mask::{Mask, smooth};
use super::optics::blur;
use super::scene::{Scene, Strip, Stuff, WedgeSheet};
use crate::measure::geometry::{Field, Point, StripShape};
use crate::measure::reading::cells::usual_area;
use crate::measure::units::density_of;

/// Light that leaves the glass, and what it comes from.
#[derive(Debug, Clone)]
pub struct Painting {
    /// Width in pixels.
    pub width: usize,
    /// Reflectance of every pixel, row by row.
    pub light: Vec<f32>,
    /// Stuff of every pixel.
    pub stuff: Vec<Stuff>,
}

/// Distance of the places that make an area's density, millimetres.
const AREA_PITCH: f64 = 0.3;
/// How far shadows reach around a sheet, times the length over which they fade.
const SHADOW_ENDS: f64 = 4.0;
/// Length over which shadows around thin sheets fade, millimetres.
const THIN_SHADOW: f64 = 1.2;
/// Light that tape adds, and the share that it lets through both ways.
const TAPE_SHINE: f32 = 0.015;
const TAPE_CLEAR: f32 = 0.84;

/// Paints a scene: its sheets and what lies on them.
pub fn paint(scene: &Scene) -> Painting {
    let mut painting = paint_sheets(scene);
    paint_spots(scene, &mut painting);
    painting
}

/// Paints the sheets of a scene alone: what a densitometer would be put on.
pub fn paint_sheets(scene: &Scene) -> Painting {
    let (width, height) = (scene.width, scene.height);
    let mut light = vec![scene.lid as f32; width * height];
    let mut stuff = vec![Stuff::Lid; width * height];
    let tables: Vec<CurveTable> = scene.strips.iter().map(CurveTable::new).collect();
    light
        .par_chunks_mut(width)
        .zip(stuff.par_chunks_mut(width))
        .enumerate()
        .for_each(|(y, (light, stuff))| {
            for thing in &scene.things {
                clutter::paint_row(thing, y, light, stuff);
            }
            for (strip, table) in scene.strips.iter().zip(&tables) {
                paint_strip_row(strip, table, scene.shadow, y, light, stuff);
            }
            for wedge in &scene.wedges {
                paint_wedge_row(wedge, scene.shadow, y, light, stuff);
            }
        });
    let mut painting = Painting {
        width,
        light,
        stuff,
    };
    for strip in scene.strips.iter().filter(|strip| strip.soft > 0.0) {
        soften(strip, &mut painting);
    }
    painting
}

/// Blurs what does not lie on the glass.
fn soften(strip: &Strip, painting: &mut Painting) {
    let (frame, border) = (&strip.frame, strip.border() + 1.0);
    let height = painting.light.len() / painting.width;
    let corners = frame.corners(border);
    let range = |of: fn(&Point) -> f64, most: usize| {
        let low = corners.iter().map(of).fold(f64::INFINITY, f64::min);
        let high = corners.iter().map(of).fold(f64::NEG_INFINITY, f64::max);
        (low.max(0.0) as usize).min(most)..(high.max(0.0) as usize + 1).min(most)
    };
    let (columns, rows) = (range(|p| p.x, painting.width), range(|p| p.y, height));
    if columns.is_empty() || rows.is_empty() {
        return;
    }
    let line = |y: usize| y * painting.width + columns.start..y * painting.width + columns.end;
    let mut soft: Vec<f32> = rows
        .clone()
        .flat_map(|y| &painting.light[line(y)])
        .copied()
        .collect();
    blur(&mut soft, columns.len(), strip.soft * frame.per_mm);
    for (y, soft) in rows.zip(soft.chunks_exact(columns.len())) {
        for x in frame.columns(border, y, painting.width) {
            if columns.contains(&x) {
                painting.light[y * painting.width + x] = soft[x - columns.start];
            }
        }
    }
}

/// Paints bubbles, pinholes, dust and hairs over the sheets.
pub fn paint_spots(scene: &Scene, painting: &mut Painting) {
    let Painting { width, light, .. } = painting;
    let (width, height) = (*width, light.len() / (*width).max(1));
    for tape in &scene.tapes {
        for y in 0..height {
            for x in tape.columns(0.0, y, width) {
                let (u, v) = tape.on_sheet(x as f64 + 0.5, y as f64 + 0.5);
                if (0.0..tape.length).contains(&u) && (0.0..tape.width).contains(&v) {
                    let pixel = &mut light[y * width + x];
                    *pixel = TAPE_SHINE + *pixel * TAPE_CLEAR;
                }
            }
        }
    }
    for spot in &scene.spots {
        let r = spot.radius + 1.0;
        let rows =
            (spot.at.y - r).max(0.0) as usize..((spot.at.y + r).max(0.0) as usize + 1).min(height);
        for y in rows {
            let columns = (spot.at.x - r).max(0.0) as usize
                ..((spot.at.x + r).max(0.0) as usize + 1).min(width);
            for x in columns {
                let distance = (x as f64 + 0.5 - spot.at.x).hypot(y as f64 + 0.5 - spot.at.y);
                let cover = (spot.radius - distance + 0.5).clamp(0.0, 1.0) as f32 * spot.cover;
                let pixel = &mut light[y * width + x];
                *pixel += (spot.light - *pixel) * cover;
            }
        }
    }
}

impl Painting {
    /// Density of the mean reflectance of the usual area of all fields of a kind: what a
    /// densitometer with an aperture of that size would read. `None` when there is no such
    /// field.
    pub fn area_density(&self, shape: &StripShape, kind: Field, per_mm: f64) -> Option<f64> {
        let (mut sum, mut count) = (0.0, 0usize);
        for field in (0..shape.fields.len()).filter(|&field| shape.fields[field] == kind) {
            let Some(area) = usual_area(shape, field, per_mm) else {
                continue;
            };
            let [a, b, c, d] = shape.area_corners(field, &area);
            let steps = |length: f64| (length / per_mm / AREA_PITCH).ceil().max(1.0);
            let (along, across) = (steps(a.distance(d)), steps(a.distance(b)));
            for (i, j) in (0..along as usize)
                .flat_map(|i| (0..across as usize).map(move |j| (i as f64 + 0.5, j as f64 + 0.5)))
            {
                let (left, right) = (a.toward(d, i / along), b.toward(c, i / along));
                let at = left.toward(right, j / across);
                let (x, y) = (at.x.max(0.0) as usize, at.y.max(0.0) as usize);
                if let (true, Some(&light)) = (x < self.width, self.light.get(y * self.width + x)) {
                    sum += f64::from(light);
                    count += 1;
                }
            }
        }
        (count > 0).then(|| density_of(sum / count as f64))
    }
}

/// A strip's curve as a table over log exposure.
struct CurveTable {
    from: f32,
    density: Vec<f32>,
    log_light: Vec<f32>,
    dmin: f32,
}

const TABLE_STEPS_PER_DECADE: f32 = 400.0;

impl CurveTable {
    fn new(strip: &Strip) -> Self {
        let from = strip.curve.speed_point() - 4.0;
        let count = (TABLE_STEPS_PER_DECADE * 8.0) as usize;
        Self {
            from: from as f32,
            density: (0..count)
                .map(|k| {
                    strip
                        .curve
                        .density(from + k as f64 / f64::from(TABLE_STEPS_PER_DECADE))
                        as f32
                })
                .collect(),
            log_light: strip.light.iter().map(|&e| log_light(e) as f32).collect(),
            dmin: strip.curve.dmin as f32,
        }
    }

    fn at(&self, log_exposure: f32) -> f32 {
        let last = (self.density.len() - 1) as f32;
        let place = ((log_exposure - self.from) * TABLE_STEPS_PER_DECADE).clamp(0.0, last - 0.01);
        let below = place as usize;
        let (a, b) = (self.density[below], self.density[below + 1]);
        a + (b - a) * (place - below as f32)
    }
}

/// log10 with a floor far below any toe instead of minus infinity.
fn log_light(light: f64) -> f64 {
    light.max(1e-12).log10()
}

impl Strip {
    /// Log exposure at a place on the coat, before fall-off.
    fn log_light_at(&self, table: &CurveTable, u: f64, v: f64) -> f32 {
        let share = (v / self.coat.1).clamp(0.0, 1.0);
        match &self.mask {
            Mask::Open => self.log_light_in_row(table, u, share),
            Mask::Blades(blades) => {
                let passes = blades.passes(u, v);
                let full = self.log_light_in_row(table, u, share);
                full + log_light(passes) as f32
            }
            Mask::Windows(plate) => {
                log_light(plate.iter().map(|window| window.gives(u, v)).sum()) as f32
            }
        }
    }

    /// The same under the card alone: even inside the fields, mixed light in its penumbra.
    fn log_light_in_row(&self, table: &CurveTable, u: f64, share: f64) -> f32 {
        let edge = |k: usize| {
            let (left, right) = self.edges[k];
            left + (right - left) * share
        };
        let last = self.light.len() - 1;
        let mut field = 0;
        while field < last && u >= edge(field + 1) {
            field += 1;
        }
        // Within the card's penumbra or gap at a border, light of both fields adds up.
        let near = |k: usize| (u - edge(k)).abs() < self.penumbra[k] + self.gaps[k].abs() / 2.0;
        let mixed = |k: usize| {
            let past = (u - edge(k)) / (2.0 * self.penumbra[k]) + 0.5;
            let half_gap = self.gaps[k] / (4.0 * self.penumbra[k]);
            let before = self.light[k - 1] * (1.0 - smooth(past + half_gap));
            log_light(before + self.light[k] * smooth(past - half_gap)) as f32
        };
        if field > 0 && near(field) {
            mixed(field)
        } else if field < last && near(field + 1) {
            mixed(field + 1)
        } else {
            table.log_light[field]
        }
    }
}

fn paint_strip_row(
    strip: &Strip,
    table: &CurveTable,
    shadow: f64,
    y: usize,
    light: &mut [f32],
    stuff: &mut [Stuff],
) {
    let frame = &strip.frame;
    let border = strip.border();
    let shadow = strip.shadow.unwrap_or((shadow, THIN_SHADOW));
    for x in frame.columns(border + SHADOW_ENDS * shadow.1, y, light.len()) {
        let (u, v) = frame.on_sheet(x as f64 + 0.5, y as f64 + 0.5);
        let inside = u.min(frame.length - u).min(v).min(frame.width - v);
        let cover = ((inside + border) * frame.per_mm + 0.5).clamp(0.0, 1.0) as f32;
        let lid = shaded(light[x], shadow, -(inside + border));
        if cover <= 0.0 {
            light[x] = lid;
            continue;
        }
        let (fu, fv) = (u as f32, v as f32);
        let coat = coat_density(strip, table, u, v, inside);
        let sheet = match &strip.ground {
            None => {
                stuff[x] = strip.stuff;
                reflectance(coat)
            }
            Some(ground) => {
                let texture = ground
                    .texture
                    .at(fu + (border + strip.origin) as f32, fv + border as f32);
                let edge = if inside < 6.0 && !ground.cut {
                    inside as f32 + ground.ragged.at(fu + border as f32, fv + border as f32)
                } else {
                    6.0
                };
                let coated = smooth(f64::from(edge) / 0.4) as f32;
                let bare = ground.reflectance as f32 * reflectance(texture);
                stuff[x] = if coated > 0.5 {
                    strip.stuff
                } else {
                    Stuff::Ground
                };
                if coated <= 0.0 {
                    bare
                } else {
                    let covered = reflectance(coat + texture * ground.through);
                    bare + (covered - bare) * coated
                }
            }
        };
        let place = 2.0 * u / frame.length - 1.0;
        let sheet = sheet * (1.0 - strip.curl * place * place) as f32;
        light[x] = lid + (sheet - lid) * cover;
    }
}

fn coat_density(strip: &Strip, table: &CurveTable, u: f64, v: f64, inside: f64) -> f32 {
    // From the piece to the coat that it was cut from.
    let u = u + strip.origin;
    let (length, width) = strip.coat;
    let (fu, fv) = (u as f32, v as f32);
    let share = (v / width).clamp(0.0, 1.0);
    let [linear, square, across] = strip.fall_off;
    let place = 2.0 * u / length - 1.0;
    let fall = linear * place + square * (place * place - 1.0 / 3.0) + across * (2.0 * share - 1.0);
    let bead = match &strip.ground {
        Some(ground) if inside < 4.0 => ground.bead * (-inside.max(0.0) / 0.8).exp(),
        _ => 0.0,
    };
    let log_exposure =
        strip.log_light_at(table, u, v) + (fall + bead) as f32 + strip.thickness.at(fu, fv);
    let net = (table.at(log_exposure) - table.dmin) * (1.0 + strip.mottle.at(fu, fv));
    let [middle, along, across] = strip.stain;
    let stain = middle + along * place / 2.0 + across * (share - 0.5);
    table.dmin + net + stain as f32
}

fn paint_wedge_row(
    wedge: &WedgeSheet,
    shadow: f64,
    y: usize,
    light: &mut [f32],
    stuff: &mut [Stuff],
) {
    let frame = &wedge.frame;
    let shadow = (shadow, THIN_SHADOW);
    for x in frame.columns(wedge.border + SHADOW_ENDS * THIN_SHADOW, y, light.len()) {
        let (u, v) = frame.on_sheet(x as f64 + 0.5, y as f64 + 0.5);
        let inside = u.min(frame.length - u).min(v).min(frame.width - v);
        let cover = ((inside + wedge.border) * frame.per_mm + 0.5).clamp(0.0, 1.0) as f32;
        let lid = shaded(light[x], shadow, -(inside + wedge.border));
        if cover <= 0.0 {
            light[x] = lid;
            continue;
        }
        stuff[x] = Stuff::Wedge;
        let base = reflectance(wedge.base as f32);
        let within = (inside * frame.per_mm + 0.5).clamp(0.0, 1.0) as f32;
        let mut sheet = base;
        if within > 0.0 {
            let last = wedge.densities.len() - 1;
            let field = wedge.edges[1..=last].partition_point(|edge| edge.0 <= u);
            let mut patch = reflectance(wedge.densities[field] as f32);
            // Crisp, but not jagged, edges.
            let next = (u - wedge.edges[field].0) * frame.per_mm;
            if field > 0 && next < 0.5 {
                let before = reflectance(wedge.densities[field - 1] as f32);
                patch = before + (patch - before) * (next as f32 + 0.5);
            }
            let left = (wedge.edges[field + 1].0 - u) * frame.per_mm;
            if field < last && left < 0.5 {
                let after = reflectance(wedge.densities[field + 1] as f32);
                patch = after + (patch - after) * (left as f32 + 0.5);
            }
            sheet = base + (patch - base) * within;
        }
        if let Some((place, breadth, depth)) = wedge.shadow {
            let t = (u - place) / breadth;
            sheet *= (1.0 - depth * (-0.5 * t * t).exp()) as f32;
        }
        light[x] = lid + (sheet - lid) * cover;
    }
}

fn shaded(light: f32, (depth, reach): (f64, f64), outside: f64) -> f32 {
    if outside <= 0.0 || depth == 0.0 {
        return light;
    }
    light * (1.0 - depth * (-outside / reach).exp()) as f32
}

fn reflectance(density: f32) -> f32 {
    (density * -std::f32::consts::LOG2_10).exp2()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::units::reflectance_of;

    #[test]
    fn a_density_of_one_reflects_a_tenth() {
        assert!((f64::from(reflectance(1.0)) - reflectance_of(1.0)).abs() < 1e-6);
    }
}
