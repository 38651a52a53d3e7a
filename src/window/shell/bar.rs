//! The bar above: what is open, where one works, undo and redo, light and help.

use std::path::Path;

use egui::{Align, Atoms, IntoAtoms as _, Layout, Stroke, Ui, Vec2};

use super::explained;
use crate::window::command::{Bench, Command};
use crate::window::icon::{self, Icon};
use crate::window::layout::Room;
use crate::window::request::Request;
use crate::window::theme::{Light, Theme, strong};

/// Least room for the session's name, points: less shows no word of it, and the window's title
/// has it too.
const NAME: f32 = 40.0;

/// What the bar tells.
pub struct Standing<'a> {
    /// Name of the session's file, or that it has none.
    pub name: &'a str,
    /// Whether all of it is in the file.
    pub saved: bool,
    /// What undo would take back.
    pub undo: Option<&'a str>,
    /// What redo would bring back.
    pub redo: Option<&'a str>,
    /// Where one works.
    pub bench: Bench,
    /// Whether there is anything to work on.
    pub open: bool,
    /// Whether there is an answer or a reading to hand on.
    pub measured: bool,
    /// Sessions opened last.
    pub recent: &'a [std::path::PathBuf],
    /// Whether a folder is watched.
    pub watching: bool,
    /// How much room there is.
    pub room: Room,
}

/// The bar.
pub fn ui(ui: &mut Ui, standing: &Standing<'_>, theme: &Theme, asks: &mut Vec<Request>) {
    egui::Panel::top("bar")
        .frame(
            egui::Frame::new()
                .fill(theme.panel)
                .inner_margin(egui::Margin::symmetric(
                    standing.room.margin(),
                    standing.room.bar(),
                )),
        )
        .show(ui, |ui| {
            ui.horizontal(|ui| {
                match standing.room {
                    Room::Narrow => {
                        ui.spacing_mut().item_spacing.x = 4.0;
                        ui.spacing_mut().button_padding.x = 6.0;
                    }
                    Room::Middle => ui.spacing_mut().item_spacing.x = 4.0,
                    Room::Wide => emblem(ui, theme),
                }
                session_menu(ui, standing, asks);
                ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                    right_ui(ui, standing, theme, asks);
                    ui.with_layout(Layout::left_to_right(Align::Center), |ui| {
                        if ui.available_width() < NAME {
                            return;
                        }
                        let marker = if standing.saved { "" } else { " (unsaved)" };
                        let name = format!("{}{marker}", standing.name);
                        let name = egui::Label::new(strong(&name)).truncate();
                        ui.add(name).on_hover_text(standing.name);
                    });
                });
            });
        });
}

/// A menu's button: its icon alone where the room is less than this.
fn worded(room: Room, least: Room, drawn: Icon, words: &'static str) -> Atoms<'static> {
    if room < least {
        icon::atom(drawn).into_atoms()
    } else {
        (icon::atom(drawn), words).into_atoms()
    }
}

fn named(response: &egui::Response, words: &str) {
    response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, true, words));
}

/// Two strips, one beside the other and a little on: what the program is about.
fn emblem(ui: &mut Ui, theme: &Theme) {
    let (rect, _) = ui.allocate_exact_size(Vec2::new(28.0, 28.0), egui::Sense::hover());
    let painter = ui.painter();
    for (column, shift, colour) in [(0, 0.0, theme.reference), (1, 5.0, theme.coupon)] {
        for step in 0..4 {
            let at =
                rect.min + Vec2::new(3.0 + 12.0 * column as f32, 2.0 + shift + 5.0 * step as f32);
            let field = egui::Rect::from_min_size(at, Vec2::new(10.0, 4.0));
            let strength = 0.25 + 0.25 * step as f32;
            painter.rect_filled(field, 0.0, colour.gamma_multiply(strength));
        }
    }
}

fn session_menu(ui: &mut Ui, standing: &Standing<'_>, asks: &mut Vec<Request>) {
    let inner = ui.menu_button(
        worded(standing.room, Room::Middle, Icon::Folder, "Session"),
        |ui| {
            for command in [Command::New, Command::Open, Command::OpenDemo] {
                item(ui, command, true, asks);
            }
            if !standing.recent.is_empty() {
                ui.menu_button("Opened lately", |ui| {
                    for path in standing.recent {
                        if ui
                            .button(short(path))
                            .on_hover_text(path.display().to_string())
                            .clicked()
                        {
                            asks.push(Request::OpenRecent(path.clone()));
                            ui.close();
                        }
                    }
                });
            }
            ui.separator();
            for command in [Command::Save, Command::SaveAs] {
                item(ui, command, standing.open, asks);
            }
            item(ui, Command::AddScans, true, asks);
            let watching = if standing.watching {
                Command::StopWatching
            } else {
                Command::WatchFolder
            };
            item(ui, watching, true, asks);
            ui.separator();
            for command in [
                Command::CopyAnswer,
                Command::ExportCsv,
                Command::ExportSvg,
                Command::ExportPng,
            ] {
                item(ui, command, standing.measured, asks);
            }
            ui.separator();
            item(ui, Command::Quit, true, asks);
        },
    );
    named(&inner.response, "Session");
}

/// A file by its name and its folder's.
fn short(path: &Path) -> String {
    let word =
        |part: Option<&std::ffi::OsStr>| part.unwrap_or_default().to_string_lossy().into_owned();
    let folder = word(path.parent().and_then(Path::file_name));
    format!("{} in {folder}", word(path.file_name()))
}

fn item(ui: &mut Ui, command: Command, enabled: bool, asks: &mut Vec<Request>) {
    // Words stand in one line below each other, with an icon or without.
    let drawn = command.icon().map_or_else(
        || egui::Atom::paint(Vec2::splat(icon::SIDE), |_, _| {}),
        icon::atom,
    );
    let mut button = egui::Button::new((drawn, command.label()));
    if let Some(keys) = command.shortcut() {
        button = button.shortcut_text(ui.ctx().format_shortcut(&keys));
    }
    let response = ui.add_enabled(enabled, button);
    if response.on_hover_text(command.explanation()).clicked() {
        asks.push(Request::Command(command));
        ui.close();
    }
}

/// From the right: help, light, redo, undo, benches.
fn right_ui(ui: &mut Ui, standing: &Standing<'_>, theme: &Theme, asks: &mut Vec<Request>) {
    let help = ui.menu_button(
        worded(standing.room, Room::Wide, Icon::Question, "Help"),
        |ui| {
            item(ui, Command::Shortcuts, true, asks);
            item(ui, Command::Tour, true, asks);
        },
    );
    named(&help.response, "Help");
    let light = ui.menu_button(
        worded(standing.room, Room::Wide, Icon::Lamp, "Light"),
        |ui| {
            for light in Light::ALL {
                let command = Command::Light(light);
                let chosen = theme.light == light;
                if ui
                    .radio(chosen, light.label())
                    .on_hover_text(command.explanation())
                    .clicked()
                {
                    asks.push(Request::Command(command));
                    ui.close();
                }
            }
        },
    );
    named(&light.response, "Light");
    for (command, what) in [
        (Command::Redo, standing.redo),
        (Command::Undo, standing.undo),
    ] {
        let label = match what {
            Some(what) => format!("{} {what}", command.label()),
            None => command.label().to_owned(),
        };
        let button = match command.icon() {
            Some(drawn) => egui::Button::new(icon::atom(drawn)),
            None => egui::Button::new(command.label()),
        };
        let response = ui
            .scope(|ui| {
                ui.spacing_mut().button_padding.x = 6.0;
                ui.add_enabled(what.is_some(), button)
            })
            .inner;
        response
            .widget_info(|| egui::WidgetInfo::labeled(egui::Role::Button, what.is_some(), &label));
        let response = response.on_hover_text(label);
        if explained(ui, response, command).clicked() {
            asks.push(Request::Command(command));
        }
    }
    ui.separator();
    if standing.room == Room::Narrow {
        ui.spacing_mut().button_padding.x = 6.0;
    }
    for bench in Bench::ALL.into_iter().rev() {
        let command = Command::Go(bench);
        let chosen = standing.bench == bench;
        let mut text = strong(bench.label());
        if chosen {
            text = text.color(theme.on_accent);
        }
        let response = ui
            .add_enabled_ui(
                standing.open || bench.stands_alone() || standing.bench.stands_alone(),
                |ui| ui.selectable_label(chosen, text),
            )
            .inner;
        if chosen {
            // A bar under the chosen bench: not by colour alone.
            let rect = response.rect;
            let stroke = Stroke::new(3.0, theme.accent);
            ui.painter()
                .hline(rect.x_range(), rect.bottom() + 3.0, stroke);
        }
        if explained(ui, response, command).clicked() {
            asks.push(Request::Command(command));
        }
    }
}
