//! What surrounds every bench: the bar above, the answer beside, the line below.

pub mod answer;
pub mod bar;
pub mod overlay;
pub mod status;
pub mod welcome;

use egui::{Frame, Margin, Response, Stroke, Ui};

use super::command::Command;
use super::request::Request;
use super::theme::Theme;

/// The ground of columns and bars.
pub fn frame(theme: &Theme) -> Frame {
    Frame::new()
        .fill(theme.panel)
        .inner_margin(Margin::same(16))
}

/// A card on any ground.
pub fn card<R>(ui: &mut Ui, theme: &Theme, add: impl FnOnce(&mut Ui) -> R) -> R {
    Frame::new()
        .fill(theme.raised)
        .stroke(Stroke::new(1.0, theme.line))
        .corner_radius(4)
        .inner_margin(Margin::same(16))
        .show(ui, add)
        .inner
}

/// A button for a command, with its explanation and keys for whoever rests on it.
pub fn command_button(
    ui: &mut Ui,
    command: Command,
    enabled: bool,
    asks: &mut Vec<Request>,
) -> Response {
    let button = ui.add_enabled(enabled, egui::Button::new(command.label()));
    let button = explained(ui, button, command);
    if button.clicked() {
        asks.push(Request::Command(command));
    }
    button
}

/// Adds a command's explanation and keys.
pub fn explained(ui: &Ui, response: Response, command: Command) -> Response {
    let mut words = command.explanation().to_owned();
    if let Some(keys) = command.shortcut() {
        words.push_str(&format!("\nKeys: {}", ui.ctx().format_shortcut(&keys)));
    }
    response.on_hover_text(words)
}

/// A word of the trade with one sentence about it for whoever rests on it.
pub fn term(ui: &mut Ui, word: &str, meaning: &str) -> Response {
    ui.label(egui::RichText::new(word).underline())
        .on_hover_text(meaning)
}
