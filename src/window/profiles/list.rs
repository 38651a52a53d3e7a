//! The list of profiles, with find and filter.

use egui::{Align2, Button, FontId, Pos2, Rect, Response, RichText, ScrollArea, TextEdit, Ui};

use super::keeper::{Keeper, Looked};
use super::{ProfileAsk, ProfilesBench};
use crate::document::profile::{Card, Field, Profile, Put};
use crate::document::report::words::SPEED;
use crate::window::request::{Request, Scene};
use crate::window::theme::{Theme, bold, small};

/// Height of an entry, points.
const ENTRY: f32 = 44.0;

impl ProfilesBench {
    pub(super) fn list_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        keeper: &Keeper,
        looked: &Looked,
        asks: &mut Vec<Request>,
    ) {
        let listing = match &looked.listing {
            Ok(listing) => listing,
            Err(why) => {
                ui.heading("The shelf can't be read");
                ui.label(why);
                return;
            }
        };
        self.find_ui(ui);
        let shown: Vec<&(String, Card)> = listing
            .cards
            .iter()
            .filter(|(_, card)| self.shows(card))
            .collect();
        let count = match (shown.len(), listing.cards.len()) {
            (_, 0) => "No profiles yet".to_owned(),
            (some, all) if some == all => format!("{all} profiles"),
            (some, all) => format!("{some} of {all} profiles"),
        };
        let busy = if keeper.is_busy() { ", reading…" } else { "" };
        ui.label(RichText::new(format!("{count}{busy}")).color(scene.theme.weak));
        for damaged in &listing.damaged {
            ui.label(RichText::new(format!("Can't be read: {damaged}")).color(scene.theme.caution));
        }
        let foot = 84.0;
        ScrollArea::vertical()
            .id_salt("profiles")
            .auto_shrink([false, false])
            .max_height((ui.available_height() - foot).max(ENTRY))
            .show_rows(ui, ENTRY, shown.len(), |ui, rows| {
                for (file, card) in rows.filter_map(|row| shown.get(row)) {
                    self.entry_ui(ui, scene, file, card);
                }
            });
        self.foot_ui(ui, keeper, listing.cards.is_empty(), asks);
    }

    fn find_ui(&mut self, ui: &mut Ui) {
        let width = ui.available_width();
        let find = TextEdit::singleline(&mut self.find)
            .hint_text("find words")
            .desired_width(width);
        ui.add(find).accessible_name("Find profiles");
        ui.horizontal(|ui| {
            let chosen = self.filter.as_ref().map(|(field, _)| *field);
            egui::ComboBox::from_id_salt("filter")
                .width(112.0)
                .height(420.0)
                .selected_text(chosen.map_or("Any field", Field::label))
                .show_ui(ui, |ui| {
                    if ui.selectable_label(chosen.is_none(), "Any field").clicked() {
                        self.filter = None;
                    }
                    for field in Field::ALL {
                        if ui
                            .selectable_label(chosen == Some(field), field.label())
                            .clicked()
                        {
                            self.filter = Some((field, String::new()));
                        }
                    }
                })
                .response
                .accessible_name("Filter by field")
                .on_hover_text("Only profiles whose field holds a text.");
            ui.checkbox(&mut self.retired, "Put aside, too")
                .on_hover_text("Lists those that were put aside, too.");
        });
        if let Some((field, text)) = &mut self.filter {
            let name = format!("{} holds", field.label());
            let edit = TextEdit::singleline(text)
                .hint_text(name.to_lowercase())
                .desired_width(width);
            ui.add(edit).accessible_name(name);
        }
    }

    fn shows(&self, card: &Card) -> bool {
        let filtered = self
            .filter
            .as_ref()
            .is_none_or(|(field, text)| card.says(*field, text));
        (self.retired || !card.retired) && filtered && card.holds(&self.find)
    }

    fn entry_ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, file: &str, card: &Card) {
        let chosen = self.chosen.as_deref() == Some(file);
        let aside = if card.retired { ", put aside" } else { "" };
        let newest = card
            .sessions
            .iter()
            .rev()
            .find_map(|session| session.stops.value)
            .map(|stops| format!(", last {}", SPEED.said(stops)));
        let sessions = match card.sessions.len() {
            1 => "1 session".to_owned(),
            count => format!("{count} sessions"),
        };
        let facts = format!("{sessions}{}{aside}", newest.unwrap_or_default());
        let size = egui::Vec2::new(ui.available_width(), ENTRY - 4.0);
        let (place, response) = ui.allocate_exact_size(size, egui::Sense::click());
        let response = response.on_hover_text(format!("{}\n{facts}", card.name));
        paint_entry(
            ui,
            scene.theme,
            place,
            &response,
            chosen,
            [&card.name, &facts],
        );
        let label = format!("Profile {}", card.name);
        response
            .widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, chosen, &label));
        if response.clicked() {
            self.chosen = Some(file.to_owned());
            self.draft = None;
        }
    }

    /// Making a profile, taking one in, and the demo shelf.
    fn foot_ui(&mut self, ui: &mut Ui, keeper: &Keeper, empty: bool, asks: &mut Vec<Request>) {
        ui.horizontal(|ui| {
            let name = TextEdit::singleline(&mut self.new_name)
                .hint_text("name of a new profile")
                .desired_width((ui.available_width() - 72.0).max(80.0));
            ui.add(name).accessible_name("Name of a new profile");
            let named = !self.new_name.trim().is_empty();
            if ui.add_enabled(named, Button::new("Make")).clicked() {
                let name = self.new_name.trim().to_owned();
                let put = Put {
                    before: None,
                    after: Some(Profile::named(&name)),
                };
                let words = format!("make {name}");
                let ask = ProfileAsk::Put(None, Box::new(put), words);
                asks.push(Request::Profile(ask));
                self.new_name.clear();
            }
        });
        ui.horizontal(|ui| {
            if ui
                .button("Take in…")
                .on_hover_text("Takes a profile's file onto the shelf.")
                .clicked()
            {
                asks.push(Request::Profile(ProfileAsk::Import));
            }
            if ui
                .button("Read again")
                .on_hover_text("Looks at the shelf again, where files were copied by hand.")
                .clicked()
            {
                asks.push(Request::Profile(ProfileAsk::LookAgain));
            }
            if empty && !keeper.is_lent() && ui.button("Demo shelf").clicked() {
                asks.push(Request::Profile(ProfileAsk::LookAtDemo));
            }
        });
    }
}

/// Name and facts below each other; a bar at the left marks the chosen one beside its colour.
fn paint_entry(
    ui: &Ui,
    theme: &Theme,
    place: Rect,
    response: &Response,
    chosen: bool,
    [name, facts]: [&str; 2],
) {
    let ground = match (chosen, response.hovered() || response.has_focus()) {
        (true, _) => theme.accent,
        (false, true) => theme.hover,
        (false, false) => theme.panel,
    };
    let painter = ui.painter_at(place);
    painter.rect_filled(place, 3.0, ground);
    let (strong, weak) = if chosen {
        (theme.on_accent, theme.on_accent)
    } else {
        (theme.text, theme.weak)
    };
    if chosen {
        let bar = Rect::from_min_size(place.min, egui::Vec2::new(4.0, place.height()));
        painter.rect_filled(bar, 0.0, theme.on_accent);
    }
    if response.has_focus() {
        let edge = egui::Stroke::new(2.0, theme.text);
        painter.rect_stroke(place, 3.0, edge, egui::StrokeKind::Inside);
    }
    let clip = place.shrink2(egui::Vec2::new(8.0, 0.0));
    let painter = painter.with_clip_rect(clip.intersect(painter.clip_rect()));
    let left = place.left() + 10.0;
    let font = FontId::new(13.0, bold());
    painter.text(
        Pos2::new(left, place.top() + 4.0),
        Align2::LEFT_TOP,
        name,
        font,
        strong,
    );
    painter.text(
        Pos2::new(left, place.bottom() - 4.0),
        Align2::LEFT_BOTTOM,
        facts,
        small(),
        weak,
    );
}
