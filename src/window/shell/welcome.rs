//! An empty session: what to drop, and the demo.

use std::path::Path;

use egui::{Align2, RichText, Stroke, Ui, Vec2};

use super::{card, command_button};
use crate::window::command::Command;
use crate::window::request::Request;
use crate::window::theme::{Theme, bold, strong};

/// What is kept between runs.
pub struct Kept<'a> {
    /// Names of sessions of windows that were killed.
    pub left_behind: &'a [String],
    /// Sessions opened last.
    pub recent: &'a [std::path::PathBuf],
    /// The folder whose new scans are taken in.
    pub watched: Option<&'a Path>,
}

/// Width of the page's column, points.
const COLUMN: f32 = 640.0;

/// The page.
pub fn ui(ui: &mut Ui, theme: &Theme, kept: &Kept<'_>, asks: &mut Vec<Request>) {
    egui::CentralPanel::no_frame()
        .frame(egui::Frame::new().fill(theme.page))
        .show(ui, |ui| {
            egui::ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
                let height = ui.available_height();
                ui.vertical_centered(|ui| {
                    ui.set_max_width((ui.available_width() - 32.0).min(COLUMN));
                    ui.add_space((height * 0.08).floor().max(8.0));
                    left_behind_ui(ui, theme, kept.left_behind, asks);
                    ui.label(RichText::new("How much light does your emulsion need?").font(egui::FontId::new(22.0, bold())));
                    ui.label("Expose a test strip on paper and one on a coated piece in one session, scan both with a wedge, and drop the scan here.");
                    drop_place(ui, theme, if height < 400.0 { 120.0 } else { 208.0 });
                    centred(ui, "begin", |ui| {
                        for command in [Command::Open, Command::OpenDemo, Command::Tour] {
                            command_button(ui, command, true, asks);
                        }
                    });
                    centred(ui, "watch", |ui| match kept.watched {
                        None => {
                            command_button(ui, Command::WatchFolder, true, asks);
                        }
                        Some(folder) => {
                            let name = folder.file_name().unwrap_or(folder.as_os_str());
                            ui.label(format!("Watching {}", name.to_string_lossy()))
                                .on_hover_text(folder.display().to_string());
                            command_button(ui, Command::StopWatching, true, asks);
                        }
                    });
                    ui.add_space(16.0);
                    recent_ui(ui, kept.recent, asks);
                });
            });
        });
}

/// A row in the middle. A row takes the whole width, so its own is remembered from the frame
/// before.
fn centred(ui: &mut Ui, name: &str, add: impl FnOnce(&mut Ui)) {
    let id = egui::Id::unique(name);
    let width: f32 = ui.data(|data| data.get_temp(id)).unwrap_or(0.0);
    let free = ((ui.available_width() - width) / 2.0).max(0.0).floor();
    ui.horizontal(|ui| {
        ui.add_space(free);
        let inner = ui.horizontal(add).response.rect.width();
        if inner != width {
            ui.data_mut(|data| data.insert_temp(id, inner));
            ui.request_repaint();
        }
    });
}

fn drop_place(ui: &mut Ui, theme: &Theme, height: f32) {
    let size = Vec2::new(ui.available_width(), height);
    let (rect, response) = ui.allocate_exact_size(size, egui::Sense::hover());
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
    // Without room for the drawing the words stand in the middle.
    let drawn = height >= 200.0;
    if drawn {
        strips(painter, rect.center() - Vec2::new(0.0, 40.0), theme);
    }
    let down = if drawn { 40.0 } else { -12.0 };
    let font = egui::FontId::new(15.0, bold());
    painter.text(
        rect.center() + Vec2::new(0.0, down),
        Align2::CENTER_CENTER,
        "Drop scans or a session here",
        font,
        theme.text,
    );
    let small = "TIFF, PNG or JPEG; 16 bits and no automatic corrections are best. Folders are looked through.";
    painter.text(
        rect.center() + Vec2::new(0.0, down + 28.0),
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
