//! An empty session: what to drop, and the demo.

use std::path::Path;

use egui::{Align2, RichText, Stroke, Ui, Vec2};

use super::{card, command_button};
use crate::window::command::Command;
use crate::window::request::Request;
use crate::window::theme::{Theme, bold, strong};

/// The page; `left_behind` names sessions of windows that were killed.
pub fn ui(
    ui: &mut Ui,
    theme: &Theme,
    left_behind: &[String],
    recent: &[std::path::PathBuf],
    asks: &mut Vec<Request>,
) {
    egui::CentralPanel::no_frame()
        .frame(egui::Frame::new().fill(theme.page))
        .show(ui, |ui| {
            egui::ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                ui.vertical_centered(|ui| {
                    ui.set_max_width(640.0);
                    ui.add_space((ui.available_height() * 0.08).max(16.0));
                    left_behind_ui(ui, theme, left_behind, asks);
                    ui.label(RichText::new("How much light does your emulsion need?").font(egui::FontId::new(22.0, bold())));
                    ui.label("Expose a test strip on paper and one on a coated piece in one session, scan both with a wedge, and drop the scan here.");
                    drop_place(ui, theme);
                    ui.horizontal(|ui| {
                        // Centred by hand: a row takes the whole width.
                        ui.add_space(151.0);
                        command_button(ui, Command::Open, true, asks);
                        command_button(ui, Command::OpenDemo, true, asks);
                        command_button(ui, Command::Tour, true, asks);
                    });
                    ui.add_space(16.0);
                    recent_ui(ui, recent, asks);
                });
            });
        });
}

fn drop_place(ui: &mut Ui, theme: &Theme) {
    let (rect, response) = ui.allocate_exact_size(Vec2::new(640.0, 208.0), egui::Sense::hover());
    response.widget_info(|| {
        egui::WidgetInfo::labeled(egui::Role::Label, true, "Drop scans or a session here")
    });
    let over = ui.input(|input| !input.raw.hovered_files.is_empty());
    let painter = ui.painter();
    painter.rect_filled(rect, 4.0, if over { theme.hover } else { theme.panel });
    let line = [
        rect.left_top(),
        rect.right_top(),
        rect.right_bottom(),
        rect.left_bottom(),
        rect.left_top(),
    ];
    painter.extend(egui::Shape::dashed_line(
        &line,
        Stroke::new(1.5, theme.weak),
        10.0,
        6.0,
    ));
    strips(painter, rect.center() - Vec2::new(0.0, 40.0), theme);
    let font = egui::FontId::new(15.0, bold());
    painter.text(
        rect.center() + Vec2::new(0.0, 40.0),
        Align2::CENTER_CENTER,
        "Drop scans or a session here",
        font,
        theme.text,
    );
    let small = "TIFF, PNG or JPEG; 16 bits and no automatic corrections are best. Folders are looked through.";
    painter.text(
        rect.center() + Vec2::new(0.0, 68.0),
        Align2::CENTER_CENTER,
        small,
        crate::window::theme::small(),
        theme.weak,
    );
}

/// A drawing of what belongs on the scanner glass: paper strip, wedge, coated piece.
fn strips(painter: &egui::Painter, middle: egui::Pos2, theme: &Theme) {
    for (row, (steps, colour)) in [(9, theme.reference), (14, theme.wedge), (7, theme.coupon)]
        .into_iter()
        .enumerate()
    {
        let width = 260.0 / steps as f32;
        for step in 0..steps {
            let at = middle + Vec2::new(-130.0 + width * step as f32, -36.0 + 26.0 * row as f32);
            let field = egui::Rect::from_min_size(at, Vec2::new(width - 1.0, 18.0));
            let strength = (step as f32 + 0.4) / steps as f32;
            painter.rect_filled(field, 0.0, colour.gamma_multiply(strength));
        }
    }
}

fn left_behind_ui(ui: &mut Ui, theme: &Theme, left_behind: &[String], asks: &mut Vec<Request>) {
    for (index, name) in left_behind.iter().enumerate() {
        card(ui, theme, |ui| {
            ui.label(strong(format!(
                "{name} was not closed in order. Its last state was kept."
            )));
            ui.horizontal(|ui| {
                if ui.button("Take it back").clicked() {
                    asks.push(Request::TakeBack(index));
                }
                if ui.button("Throw it away").clicked() {
                    asks.push(Request::ThrowAway(index));
                }
            });
        });
        ui.add_space(16.0);
    }
}

fn recent_ui(ui: &mut Ui, recent: &[std::path::PathBuf], asks: &mut Vec<Request>) {
    if recent.is_empty() {
        return;
    }
    ui.label(strong("Opened lately"));
    for path in recent.iter().take(4) {
        let word = |part: Option<&std::ffi::OsStr>| {
            part.unwrap_or_default().to_string_lossy().into_owned()
        };
        let name = word(path.file_name());
        let folder = word(path.parent().and_then(Path::file_name));
        if ui
            .link(format!("{name} in {folder}"))
            .on_hover_text(path.display().to_string())
            .clicked()
        {
            asks.push(Request::OpenRecent(path.clone()));
        }
    }
}
