//! The answer, always in view: how much more light, how much softer, how sure, what to know.

use egui::{Color32, Pos2, Rect, RichText, ScrollArea, Shape, Stroke, Ui, Vec2};

use super::{frame, term, toggle_button};
use crate::document::report::contrast::{self, TONES};
use crate::document::report::headline::source;
use crate::document::report::words::{self, SPEED};
use crate::measure::analysis::PairResult;
use crate::measure::compare::PairAnswer;
use crate::measure::compare::eye::{self, Agreement};
use crate::measure::finding::{Finding, Weight};
use crate::measure::plan::basis::next_evening;
use crate::measure::strip::Role;
use crate::window::command::Command;
use crate::window::eye_bench;
use crate::window::layout::Room;
use crate::window::profiles::ProfileAsk;
use crate::window::request::{Request, Scene};
use crate::window::theme::{ANSWER_WIDTH, NARROW_ANSWER_WIDTH, Theme, figure, strong};

/// Half-width, in stops, of bounds that settle the exposure of a piece: a sixth of a stop.
const SETTLED_STOPS: f64 = 1.0 / 6.0;

/// The answer: a column where there is room for one, else one line.
pub fn ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    if scene.out.0 {
        column_ui(ui, scene, asks);
    } else {
        line_ui(ui, scene, asks);
    }
}

fn column_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let width = match scene.room {
        Room::Wide => ANSWER_WIDTH,
        Room::Middle | Room::Narrow => NARROW_ANSWER_WIDTH,
    };
    egui::Panel::left("answer")
        .exact_size(width)
        .resizable(false)
        .frame(frame(scene.theme))
        .show(ui, |ui| {
            ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                if scene.room == Room::Narrow {
                    toggle_button(ui, Command::AnswerColumn, true, Room::Middle, asks);
                }
                if scene.stale {
                    ui.weak("Being worked out anew…");
                }
                answers_ui(ui, scene, asks);
                if let Some(analysis) = scene.analysis {
                    findings_ui(ui, scene, &analysis.findings, asks);
                }
            });
        });
}

/// The answer in one line, where the column is folded.
fn line_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    egui::Panel::top("answer in one line")
        .frame(
            egui::Frame::new()
                .fill(scene.theme.panel)
                .inner_margin(egui::Margin::symmetric(scene.room.margin(), 4)),
        )
        .show(ui, |ui| {
            ui.horizontal(|ui| {
                toggle_button(ui, Command::AnswerColumn, false, Room::Middle, asks);
                let pairs = scene.analysis.map_or(&[][..], |analysis| &analysis.pairs);
                if pairs.is_empty() {
                    ui.add(egui::Label::new(what_is_missing(scene)).truncate());
                    return;
                }
                let findings = scene
                    .analysis
                    .map_or(&[][..], |analysis| &analysis.findings);
                if let Some(heaviest) = findings.iter().map(|finding| finding.weight).max() {
                    let (rect, _) = ui.allocate_exact_size(Vec2::splat(16.0), egui::Sense::hover());
                    weight_mark(ui, rect, heaviest, scene.theme);
                    ui.label(findings.len().to_string())
                        .on_hover_text("Things to know: choose “Answer in full” for them.");
                }
                let words: Vec<String> = pairs.iter().map(|pair| short(scene, pair)).collect();
                let words = strong(words.join("   "));
                ui.add(egui::Label::new(words).truncate());
            });
        });
}

/// One pair's answer in a few words.
fn short(scene: &Scene<'_>, pair: &PairResult) -> String {
    let answer = &pair.answer;
    let half = answer.ratio.half_width();
    let name = scene.name(pair.coupon);
    let Some(factor) = answer.ratio.value else {
        return format!("{name}: no ratio");
    };
    let times = |value| words::number(value, half);
    let mut said = format!("{name}: × {}", times(factor));
    if let Some((least, most)) = answer.ratio.bounds() {
        said.push_str(&format!(" ({} to {})", times(least), times(most)));
    }
    if let Some(value) = answer.contrast_by_tones.stops.value {
        said.push_str(&format!(", {}", TONES.said(value)));
    }
    let settled = answer
        .stops
        .half_width()
        .is_some_and(|half| half <= SETTLED_STOPS);
    said.push_str(if settled {
        ", settled"
    } else {
        ", not settled"
    });
    said
}

fn answers_ui(ui: &mut Ui, scene: &Scene<'_>, asks: &mut Vec<Request>) {
    let pairs = scene.analysis.map_or(&[][..], |analysis| &analysis.pairs);
    if pairs.is_empty() {
        ui.heading("No answer yet");
        ui.label(what_is_missing(scene));
        return;
    }
    for (index, pair) in pairs.iter().enumerate() {
        pair_ui(ui, scene, pair);
        if pair.answer.stops.value.is_some() {
            keep_ui(ui, scene, index, pair, asks);
        }
        ui.separator();
    }
}

/// Keeps the pair in the profile of the coated strip's name.
fn keep_ui(
    ui: &mut Ui,
    scene: &Scene<'_>,
    index: usize,
    pair: &PairResult,
    asks: &mut Vec<Request>,
) {
    let name = scene.name(pair.coupon);
    let response = ui
        .add_enabled(!scene.stale, egui::Button::new("Keep in a profile"))
        .on_hover_text(format!(
            "Keeps these readings and this answer in the profile called {name}; makes it if it isn't there."
        ));
    let label = format!("Keep {name} in a profile");
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, !scene.stale, &label));
    if response.clicked() {
        asks.push(Request::Profile(ProfileAsk::Keep(index, None)));
    }
}

/// What has to be done next for an answer, in one sentence.
pub fn what_is_missing(scene: &Scene<'_>) -> String {
    let strips = &scene.session.strips;
    let has = |role| strips.iter().any(|strip| strip.role == role);
    let unexposed = strips.iter().find(|strip| strip.exposure.is_none());
    if scene.analysis.is_none() {
        return "The scans are being read and measured.".into();
    }
    match (has(Role::Reference), has(Role::Coupon), unexposed) {
        (false, false, _) => "Take the strips into the session: at Scans, on the right.".into(),
        (false, true, _) => {
            "No strip is said to be paper: at Scans, choose a strip and say so.".into()
        }
        (true, false, _) => {
            "No strip is said to be coated: at Scans, choose a strip and say so.".into()
        }
        (true, true, Some(strip)) => format!("Say at Exposures how {} was exposed.", strip.name),
        (true, true, None) => {
            "Not enough of both strips could be measured; the findings below say why.".into()
        }
    }
}

fn pair_ui(ui: &mut Ui, scene: &Scene<'_>, pair: &PairResult) {
    let answer = &pair.answer;
    let (coupon, paper) = (scene.name(pair.coupon), scene.name(pair.reference));
    ui.heading(&coupon);
    let half = answer.ratio.half_width();
    match (answer.ratio.value, answer.stops.value) {
        (Some(factor), Some(stops)) => {
            let factor = format!("× {}", words::number(factor, half));
            ui.label(RichText::new(factor).font(figure()))
                .on_hover_text("How many times the exposure of the paper the emulsion needs, for the same net density of 0.60.");
            ui.label(format!("the exposure of {paper}: {}", SPEED.said(stops)));
            if let (Some((low, high)), Some((least, most))) =
                (answer.stops.bounds(), answer.ratio.bounds())
            {
                let times = |value| words::number(value, half);
                ui.label(format!("between × {} and × {}", times(least), times(most)))
                    .on_hover_text("Bounds that hold 19 times out of 20 (95 %).");
                ui.label(SPEED.span(low, high)).on_hover_text(
                    "A stop is twice the light: one stop slower asks for twice the exposure.",
                );
                another_evening_ui(ui, answer, half);
            } else {
                ui.label(words::interval(&answer.stops, |value| SPEED.said(value)));
            }
        }
        _ => {
            ui.label(RichText::new("No ratio").font(figure()));
            ui.label(words::interval(&answer.stops, |value| SPEED.said(value)));
        }
    }
    ui.add_space(4.0);
    contrast_ui(ui, answer);
    settled_ui(ui, scene, pair);
    if let Some(part) = answer.budget.first() {
        ui.add_space(4.0);
        term(
            ui,
            "Biggest doubt",
            "The source that adds most to the width of the bounds.",
        );
        ui.label(format!(
            "{}: {:.0} % of it. {}",
            source(part.source),
            100.0 * part.share,
            part.remedy
        ));
    }
    by_eye_ui(ui, scene, pair);
}

/// That the bounds are those of these two strips, and those of a piece on another evening.
fn another_evening_ui(ui: &mut Ui, answer: &PairAnswer, half: Option<f64>) {
    let Some((low, high)) = next_evening(answer).and_then(|next| next.estimate().bounds()) else {
        return;
    };
    let times = |stops: f64| words::number(stops.exp2(), half.map(|half| 4.0 * half));
    ui.label(format!(
        "for these two strips; one piece on another evening × {} to × {}",
        times(low),
        times(high)
    ))
    .on_hover_text(
        "With the usual scatter from evening to evening and from piece to piece: what a plan goes by until more sessions are in a profile.",
    );
}

fn contrast_ui(ui: &mut Ui, answer: &PairAnswer) {
    let tones = &answer.contrast_by_tones;
    if let Some(value) = tones.stops.value {
        let direction = if value < 0.0 { "Harder" } else { "Softer" };
        ui.label(strong(format!("{direction} by {}", TONES.amount(value))))
            .on_hover_text(
                "How much more exposure (softer) or less (harder) the emulsion takes from the light \
                 tone to the dark one than the paper, over the tones that both strips show.",
            );
        ui.label(contrast::between(tones));
        if let Some((low, high)) = tones.stops.bounds() {
            ui.label(format!("95 %: {}", TONES.span(low, high)));
        }
    } else {
        ui.label("Contrast: no figure can be given");
        ui.weak(words::interval(&tones.stops, |value| TONES.said(value)));
    }
    let difference = &answer.contrast_difference;
    let signed = |value: f64| words::signed(value, 0);
    let said = match (difference.value, difference.bounds()) {
        (Some(value), Some((low, high))) => format!(
            "ISO R {} (95 %: {} to {})",
            signed(value),
            signed(low),
            signed(high)
        ),
        _ => format!("ISO R: none, because {}", words::reason(difference)),
    };
    ui.label(said).on_hover_text(format!(
        "The exposure range of the emulsion less that of the paper: above zero is softer. {}",
        contrast::WHAT_RANGE_IS
    ));
}

fn settled_ui(ui: &mut Ui, scene: &Scene<'_>, pair: &PairResult) {
    let Some(half) = pair.answer.stops.half_width() else {
        return;
    };
    let settled = half <= SETTLED_STOPS;
    let theme = scene.theme;
    ui.add_space(4.0);
    ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(Vec2::splat(14.0), egui::Sense::hover());
        // A full disc when settled, a ring when not.
        if settled {
            ui.painter().circle_filled(rect.center(), 6.0, theme.text);
        } else {
            ui.painter()
                .circle_stroke(rect.center(), 5.0, Stroke::new(2.0, theme.text));
        }
        let words = if settled {
            "Settled for this session"
        } else {
            "Not settled"
        };
        ui.label(strong(words)).on_hover_text(
            "Settled: the bounds are no further than a sixth of a stop from the value.",
        );
    });
    if settled {
        ui.label(format!(
            "The bounds lie within {half:.2} stops of the value."
        ));
    } else {
        ui.label(format!(
            "The bounds lie {half:.2} stops from the value; {SETTLED_STOPS:.2} would settle it. Mend the biggest doubt first."
        ));
    }
}

fn by_eye_ui(ui: &mut Ui, scene: &Scene<'_>, pair: &PairResult) {
    let matched = eye_bench::matched_stops(scene, pair.reference, pair.coupon);
    let Some(pooled) = eye::pooled(&matched) else {
        return;
    };
    ui.add_space(4.0);
    term(
        ui,
        "By eye",
        "What the steps that you found to look alike say.",
    );
    if let Some(value) = pooled.stops.value {
        ui.label(format!(
            "{} from {}",
            SPEED.said(value),
            count(pooled.count)
        ));
    }
    if let Some(agreement) = eye_bench::agreement_of(scene, pair) {
        ui.label(agreement_words(agreement));
    }
}

fn count(matches: usize) -> String {
    if matches == 1 {
        "1 match".into()
    } else {
        format!("{matches} matches")
    }
}

/// How the eye and the measurement get on, in words.
pub fn agreement_words(agreement: Agreement) -> &'static str {
    match agreement {
        Agreement::Agree => {
            "Eye and measurement agree within their errors at the tones that you matched."
        }
        Agreement::EyeWantsMore => {
            "The eye wants more exposure than was measured, beyond both errors. Look for a colour cast, a gloss, or steps that were mistaken."
        }
        Agreement::EyeWantsLess => {
            "The eye wants less exposure than was measured, beyond both errors. Look for a colour cast, a gloss, or steps that were mistaken."
        }
    }
}

fn findings_ui(ui: &mut Ui, scene: &Scene<'_>, findings: &[Finding], asks: &mut Vec<Request>) {
    if findings.is_empty() {
        ui.label("Nothing on the scans calls for attention.");
        return;
    }
    ui.heading("What to know");
    for (index, finding) in findings.iter().enumerate() {
        ui.push_id(index, |ui| finding_ui(ui, scene, finding, asks));
    }
}

pub fn finding_ui(ui: &mut Ui, scene: &Scene<'_>, finding: &Finding, asks: &mut Vec<Request>) {
    ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(Vec2::splat(16.0), egui::Sense::hover());
        weight_mark(ui, rect, finding.weight, scene.theme);
        let word = match finding.weight {
            Weight::Blocking => "Forbids an answer",
            Weight::Caution => "Caution",
            Weight::Note => "Note",
        };
        let meaning = match finding.weight {
            Weight::Blocking => "No answer can be trusted while this lasts.",
            Weight::Caution => "The bounds may be too narrow, or the answer shifted.",
            Weight::Note => "Worth knowing; the figures and their bounds stand.",
        };
        ui.label(strong(word).color(scene.theme.weight(finding.weight)))
            .on_hover_text(meaning);
        let place = &finding.place;
        if place.scan.or(place.strip).is_some() {
            let words = match (place.strip, place.step) {
                (Some(strip), Some(0)) => format!("Show margin of {}", scene.name(strip)),
                (Some(strip), Some(step)) => format!("Show step {step} of {}", scene.name(strip)),
                (Some(strip), None) => format!("Show {}", scene.name(strip)),
                _ => "Show on the scan".to_owned(),
            };
            if ui
                .add(egui::Link::new(RichText::new(words).underline()))
                .clicked()
            {
                asks.push(Request::Show(place.clone()));
            }
        }
    });
    ui.label(&finding.seen);
    ui.label(
        RichText::new(format!("{} {}", finding.matters, finding.remedy)).color(scene.theme.weak),
    );
    ui.add_space(4.0);
}

/// A note is a ring, a caution a triangle, what forbids an answer a full square.
fn weight_mark(ui: &Ui, rect: Rect, weight: Weight, theme: &Theme) {
    let painter = ui.painter();
    let colour = theme.weight(weight);
    let stroke = Stroke::new(1.5, colour);
    match weight {
        Weight::Note => {
            painter.circle_stroke(rect.center(), 5.0, stroke);
        }
        Weight::Caution => {
            let points: Vec<Pos2> = [(0.0, -6.5), (6.5, 5.0), (-6.5, 5.0)]
                .map(|(x, y)| rect.center() + Vec2::new(x, y))
                .to_vec();
            painter.add(Shape::convex_polygon(points, Color32::TRANSPARENT, stroke));
        }
        Weight::Blocking => {
            painter.rect_filled(rect.shrink(3.0), 1.0, colour);
        }
    }
}
