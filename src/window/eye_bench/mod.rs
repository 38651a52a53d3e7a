//! The bench for matching by eye: two steps side by side, without a gap, on neutral ground.

mod detail;
mod list;
mod patch;

use egui::{
    Color32, Key, Modifiers, Pos2, Rect, ScrollArea, Sense, Stroke, TextureHandle, TextureOptions,
    Ui, Vec2,
};

use super::layout::Room;
use super::request::{Request, Scene};
use super::shelf::Shelf;
use super::theme::{SIDE_WIDTH, Theme, strong};
use crate::document::Edit;
use crate::measure::analysis::PairResult;
use crate::measure::compare::eye::{self, Agreement, Match, MatchedStops};
use crate::measure::curve::CurveAnswer;
use crate::measure::geometry::{Field, StripShape};
use crate::measure::strip::Role;
use detail::Details;
use patch::{PatchKey, cut};

/// What this bench remembers between frames.
#[derive(Default)]
pub struct EyeBench {
    /// Place on the paper: steps from 0, halves allowed.
    reference_at: f64,
    /// Place on the coated strip.
    coupon_at: f64,
    /// Which coated strip of the session, by number among them.
    pair: usize,
    /// Without colour.
    grey: bool,
    details: Details,
    patches: Vec<(PatchKey, TextureHandle)>,
}

/// Paper and coated strip that are matched: each coated one with the paper before it.
pub fn couples(scene: &Scene<'_>) -> Vec<(usize, usize)> {
    let strips = &scene.session.strips;
    let with = |role| {
        (0..strips.len())
            .filter(move |&strip| strips[strip].role == role && strips[strip].same_as.is_none())
    };
    let papers: Vec<usize> = with(Role::Reference).collect();
    with(Role::Coupon)
        .filter_map(|coupon| {
            let before = papers.iter().rev().find(|&&paper| paper < coupon);
            Some((*before.or(papers.first())?, coupon))
        })
        .collect()
}

fn log_exposures(scene: &Scene<'_>, strip: usize) -> Option<Vec<f64>> {
    let exposure = scene.session.strips.get(strip)?.exposure.as_ref()?;
    Some(
        exposure
            .exposures()
            .log_exposures(scene.session.settings.lag.0),
    )
}

/// What one match of the session says.
fn stops_of(scene: &Scene<'_>, made: &Match) -> Option<MatchedStops> {
    eye::matched(
        &log_exposures(scene, made.reference)?,
        &log_exposures(scene, made.coupon)?,
        made,
    )
}

/// What the matches of a pair say.
pub fn matched_stops(scene: &Scene<'_>, reference: usize, coupon: usize) -> Vec<MatchedStops> {
    scene
        .session
        .matches
        .iter()
        .filter(|made| made.reference == reference && made.coupon == coupon)
        .filter_map(|made| stops_of(scene, made))
        .collect()
}

/// How the matches of a pair get on with the measurement, each at its own tone.
pub fn agreement_of(scene: &Scene<'_>, pair: &PairResult) -> Option<Agreement> {
    let reference = log_exposures(scene, pair.reference)?;
    let each: Vec<(MatchedStops, MatchedStops)> = scene
        .session
        .matches
        .iter()
        .filter(|made| (made.reference, made.coupon) == (pair.reference, pair.coupon))
        .filter_map(|made| {
            Some((
                stops_of(scene, made)?,
                eye::measured_at(&pair.answer, &reference, made)?,
            ))
        })
        .collect();
    eye::agreement(&each)
}

/// Log exposure and density at a place between measured steps.
pub fn between(curve: &CurveAnswer, at: f64) -> Option<(f64, f64)> {
    let step = |wanted: usize| {
        let point = curve
            .points
            .iter()
            .find(|point| point.step == Some(wanted))?;
        Some((point.log_exposure?, point.density))
    };
    let (below, above) = (step(at.floor() as usize)?, step(at.ceil() as usize)?);
    let share = at.fract();
    let mix = |a: f64, b: f64| a + (b - a) * share;
    Some((mix(below.0, above.0), mix(below.1, above.1)))
}

/// A place in words: "step 3", "between steps 3 and 4".
fn place_words(at: f64) -> String {
    if at.fract() == 0.0 {
        format!("step {}", at + 1.0)
    } else {
        format!("between steps {} and {}", at.floor() + 1.0, at.ceil() + 1.0)
    }
}

impl EyeBench {
    /// Another session: begin anew.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The whole bench.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, shelf: &Shelf, asks: &mut Vec<Request>) {
        let couples = couples(scene);
        let Some(&(paper, coated)) = couples.get(self.pair).or(couples.first()) else {
            egui::CentralPanel::no_frame()
                .frame(egui::Frame::new().fill(scene.theme.page).inner_margin(16))
                .show(ui, |ui| {
                    ui.heading("Nothing to match yet");
                    ui.label(super::shell::answer::what_is_missing(scene));
                });
            return;
        };
        egui::Panel::right("matches")
            .exact_size(SIDE_WIDTH)
            .resizable(false)
            .frame(super::shell::frame(scene.theme).inner_margin(scene.room.margin()))
            .show(ui, |ui| {
                ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                    self.side_ui(ui, scene, shelf, &couples, (paper, coated), asks);
                });
            });
        egui::CentralPanel::no_frame().show(ui, |ui| {
            self.patches_ui(ui, scene, shelf, (paper, coated), asks);
        });
    }

    fn walk(
        &mut self,
        scene: &Scene<'_>,
        on_paper: bool,
        by: f64,
        (paper, coated): (usize, usize),
    ) {
        let (strip, at) = if on_paper {
            (paper, &mut self.reference_at)
        } else {
            (coated, &mut self.coupon_at)
        };
        let last = scene
            .shape(strip)
            .map_or(0, StripShape::steps)
            .saturating_sub(1) as f64;
        *at = (*at + by).clamp(0.0, last);
    }

    fn at(&self, on_paper: bool) -> f64 {
        if on_paper {
            self.reference_at
        } else {
            self.coupon_at
        }
    }

    fn record(&self, (reference, coupon): (usize, usize)) -> Request {
        Request::edit(Edit::AddMatch(Match {
            reference,
            reference_at: self.reference_at,
            coupon,
            coupon_at: self.coupon_at,
        }))
    }

    fn side_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        shelf: &Shelf,
        couples: &[(usize, usize)],
        pair: (usize, usize),
        asks: &mut Vec<Request>,
    ) {
        ui.heading("Match by eye");
        if couples.len() > 1 {
            for (index, (_, coated)) in couples.iter().enumerate() {
                if ui
                    .selectable_label(self.pair == index, scene.name(*coated))
                    .clicked()
                {
                    self.pair = index;
                }
            }
        }
        if scene.room > Room::Narrow {
            ui.label("Walk along both strips until the two fields look alike.");
        }
        for (on_paper, strip) in [(true, pair.0), (false, pair.1)] {
            let at = self.at(on_paper);
            let name = scene.name(strip);
            ui.horizontal_wrapped(|ui| {
                ui.spacing_mut().item_spacing.y = 2.0;
                ui.label(strong(&name));
                ui.label(place_words(at));
            });
            ui.horizontal(|ui| {
                for (word, by) in [("Lighter", -0.5), ("Darker", 0.5)] {
                    let button = ui.button(word);
                    let label = format!("{word} on {name}");
                    button.widget_info(|| {
                        egui::WidgetInfo::labeled(egui::Role::Button, true, &label)
                    });
                    if button
                        .on_hover_text("Half a step along the strip.")
                        .clicked()
                    {
                        self.walk(scene, on_paper, by, pair);
                    }
                }
            });
        }
        ui.horizontal_wrapped(|ui| {
            if ui
                .button("Same tone")
                .on_hover_text("Records that these two look alike.\nKey: Enter")
                .clicked()
            {
                asks.push(self.record(pair));
            }
            ui.checkbox(&mut self.grey, "Without colour");
        });
        ui.separator();
        super::shell::term(
            ui,
            "Sampled areas",
            "The part of each step that is shown and measured: put both on the same detail where the strips carry a picture.",
        );
        for (on_paper, strip) in [(true, pair.0), (false, pair.1)] {
            let at = self.at(on_paper);
            if let Some(opened) = opened_of(scene, shelf, strip) {
                for step in steps_at(at) {
                    ui.push_id((strip, step), |ui| {
                        self.details.ui(ui, scene, opened, (strip, step), asks);
                    });
                }
            }
        }
        self.details.sweep();
        ui.separator();
        list::matches_ui(ui, scene, pair, asks);
    }

    fn patches_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        shelf: &Shelf,
        pair: (usize, usize),
        asks: &mut Vec<Request>,
    ) {
        let (place, response) = ui.allocate_exact_size(ui.available_size(), Sense::click());
        let label = format!(
            "{} {} beside {} {}",
            scene.name(pair.0),
            place_words(self.reference_at),
            scene.name(pair.1),
            place_words(self.coupon_at)
        );
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Canvas, true, &label));
        if response.clicked() {
            response.request_focus();
        }
        if !ui.ctx().text_edit_focused() {
            self.keys(ui, &response, scene, pair, asks);
        }
        let painter = ui.painter_at(place);
        painter.rect_filled(place, 0.0, scene.theme.surround);
        let side = (place.width().min(place.height()) * 0.36).max(80.0);
        let middle = place.center();
        // Side by side without a gap: the eye compares edges best.
        let left = Rect::from_min_max(
            middle - Vec2::new(side, side / 2.0),
            middle + Vec2::new(0.0, side / 2.0),
        );
        let right = Rect::from_min_max(
            middle - Vec2::new(0.0, side / 2.0),
            middle + Vec2::new(side, side / 2.0),
        );
        let mut fresh = Vec::new();
        for (rect, strip, at) in [
            (left, pair.0, self.reference_at),
            (right, pair.1, self.coupon_at),
        ] {
            self.patch(ui, rect, (strip, at), scene, shelf, &mut fresh);
            let words = format!("{}, {}", scene.name(strip), place_words(at));
            super::scan_label(&painter, rect, &words, scene.theme);
        }
        self.patches = fresh;
        if response.has_focus() {
            painter.rect_stroke(
                place,
                0.0,
                Stroke::new(2.0, scene.theme.accent),
                egui::StrokeKind::Inside,
            );
        }
        let hint =
            "Arrows walk along the coated strip, with Shift along the paper. Enter: same tone.";
        let hint = painter.layout(
            hint.to_owned(),
            super::theme::small(),
            words_on(scene.theme),
            place.width() - 16.0,
        );
        let corner = Pos2::new(
            place.center().x - hint.size().x / 2.0,
            place.bottom() - 8.0 - hint.size().y,
        );
        painter.galley(corner, hint, words_on(scene.theme));
    }

    fn keys(
        &mut self,
        ui: &Ui,
        response: &egui::Response,
        scene: &Scene<'_>,
        pair: (usize, usize),
        asks: &mut Vec<Request>,
    ) {
        ui.memory_mut(|memory| {
            let filter = egui::EventFilter {
                horizontal_arrows: true,
                vertical_arrows: true,
                ..egui::EventFilter::default()
            };
            memory.set_focus_lock_filter(response.id, filter);
        });
        let nobody = ui.memory(|memory| memory.focused().is_none());
        if !response.has_focus() && !nobody {
            return;
        }
        let pressed = |modifiers: Modifiers, key: Key| {
            ui.input_mut(|input| input.consume_key(modifiers, key))
        };
        for (key, by) in [
            (Key::ArrowLeft, -0.5),
            (Key::ArrowUp, -0.5),
            (Key::ArrowRight, 0.5),
            (Key::ArrowDown, 0.5),
        ] {
            if pressed(Modifiers::SHIFT, key) {
                self.walk(scene, true, by, pair);
            } else if pressed(Modifiers::NONE, key) {
                self.walk(scene, false, by, pair);
            }
        }
        if pressed(Modifiers::NONE, Key::Enter) {
            asks.push(self.record(pair));
        }
    }

    /// One field; half way between two steps it shows both, one above the other.
    fn patch(
        &mut self,
        ui: &Ui,
        rect: Rect,
        (strip, at): (usize, f64),
        scene: &Scene<'_>,
        shelf: &Shelf,
        fresh: &mut Vec<(PatchKey, TextureHandle)>,
    ) {
        let middle = rect.center().y;
        let halves = match steps_at(at)[..] {
            [below, above] => vec![
                (
                    below,
                    Rect::from_min_max(rect.min, Pos2::new(rect.right(), middle)),
                ),
                (
                    above,
                    Rect::from_min_max(Pos2::new(rect.left(), middle), rect.max),
                ),
            ],
            _ => vec![(at as usize, rect)],
        };
        for (step, rect) in halves {
            let Some(shape) = scene.shape(strip) else {
                return;
            };
            let Some(opened) = opened_of(scene, shelf, strip) else {
                return;
            };
            let key = PatchKey {
                strip,
                shape: shape.clone(),
                step,
                area: scene.placed(strip, Field::Step(step)).copied(),
                grey: self.grey,
                hash: opened.hash.clone(),
            };
            let known = self.patches.iter().find(|(known, _)| *known == key);
            let texture = match known {
                Some((_, texture)) => texture.clone(),
                None => {
                    let Some(picture) = cut(opened, &key) else {
                        return;
                    };
                    ui.ctx().load_texture(
                        format!("patch of strip {strip}"),
                        picture,
                        TextureOptions::LINEAR,
                    )
                }
            };
            let whole = Rect::from_min_max(Pos2::ZERO, Pos2::new(1.0, 1.0));
            ui.painter()
                .image(texture.id(), rect, whole, scene.theme.tint);
            fresh.push((key, texture));
        }
    }
}

/// The steps at a place along a strip: one, or two half way between.
fn steps_at(at: f64) -> Vec<usize> {
    let (below, above) = (at.floor() as usize, at.ceil() as usize);
    if below == above {
        vec![below]
    } else {
        vec![below, above]
    }
}

/// The scan that a strip lies on.
fn opened_of<'a>(
    scene: &Scene<'_>,
    shelf: &'a Shelf,
    strip: usize,
) -> Option<&'a super::shelf::Opened> {
    let scan = scene.session.scans.get(scene.shape(strip)?.scan)?;
    shelf.opened(scan)
}

fn words_on(theme: &Theme) -> Color32 {
    if theme.light == super::theme::Light::Safelight {
        theme.text
    } else {
        Color32::WHITE
    }
}
