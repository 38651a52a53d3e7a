//! What surrounds every bench: the bar above, the answer beside, the line below.

pub mod answer;
pub mod bar;
pub mod overlay;
pub mod status;
pub mod welcome;

use egui::{Button, Context, Frame, Margin, Response, Role, Stroke, StrokeKind, Ui, WidgetInfo};

use super::command::Command;
use super::icon;
use super::layout::Room;
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

/// A button for a command, with its icon, its explanation and its keys.
pub fn command_button(
    ui: &mut Ui,
    command: Command,
    enabled: bool,
    asks: &mut Vec<Request>,
) -> Response {
    let button = match command.icon() {
        Some(drawn) => Button::new((icon::atom(drawn), command.label())),
        None => Button::new(command.label()),
    };
    let button = ui.add_enabled(enabled, button);
    pushed(ui, button, command, enabled, asks)
}

/// A button that shows a command's icon alone; its name is said on resting, and to whoever
/// can't see it.
pub fn icon_button(
    ui: &mut Ui,
    command: Command,
    enabled: bool,
    asks: &mut Vec<Request>,
) -> Response {
    let Some(drawn) = command.icon() else {
        return command_button(ui, command, enabled, asks);
    };
    let button = ui
        .scope(|ui| {
            ui.spacing_mut().button_padding.x = 6.0;
            ui.add_enabled(enabled, Button::new(icon::atom(drawn)))
        })
        .inner;
    let words = command.label();
    button.widget_info(|| WidgetInfo::labeled(Role::Button, enabled, words));
    let named = button.on_hover_text(egui::RichText::new(words).strong());
    pushed(ui, named, command, enabled, asks)
}

/// A button for something that is on or off; without its words where room is short.
pub fn toggle_button(
    ui: &mut Ui,
    command: Command,
    on: bool,
    room: Room,
    asks: &mut Vec<Request>,
) -> Response {
    let button = match (command.icon(), room) {
        (Some(drawn), Room::Narrow) => {
            ui.scope(|ui| {
                ui.spacing_mut().button_padding.x = 6.0;
                ui.selectable_label(on, icon::atom(drawn))
            })
            .inner
        }
        (Some(drawn), _) => ui.selectable_label(on, (icon::atom(drawn), command.label())),
        (None, _) => ui.selectable_label(on, command.label()),
    };
    let words = command.label();
    button.widget_info(|| WidgetInfo::selected(Role::Button, true, on, words));
    let button = if room == Room::Narrow {
        button.on_hover_text(egui::RichText::new(words).strong())
    } else {
        button
    };
    pushed(ui, button, command, true, asks)
}

fn pushed(
    ui: &Ui,
    button: Response,
    command: Command,
    enabled: bool,
    asks: &mut Vec<Request>,
) -> Response {
    let button = explained(ui, button, command);
    if enabled && button.clicked() {
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

/// Draws the edge of the field in which one types. The toolkit draws it in the colour of chosen
/// words, which can't be told from the field in any light.
pub fn mark_typing(ctx: &Context, theme: &Theme) {
    if !ctx.text_edit_focused() {
        return;
    }
    let focused = ctx.memory(egui::Memory::focused);
    if let Some(field) = focused.and_then(|id| ctx.read_response(id)) {
        let edge = Stroke::new(1.5, theme.accent);
        let painter = ctx.layer_painter(field.layer_id);
        painter.rect_stroke(field.interact_rect, 3.0, edge, StrokeKind::Inside);
    }
}

/// A word of the trade with one sentence about it for whoever rests on it.
pub fn term(ui: &mut Ui, word: &str, meaning: &str) -> Response {
    ui.label(egui::RichText::new(word).underline())
        .on_hover_text(meaning)
}
