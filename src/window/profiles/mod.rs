//! The bench with the profiles: what is on the shelf, what one of them says, and two side by side.

mod beside;
mod drift;
mod forest;
pub mod keeper;
mod list;
mod said;

use egui::{ScrollArea, Ui};

use super::request::{Request, Scene};
use super::theme::{Theme, strong};
use crate::document::profile::{Evidence, Field, Profile, ProfilePool, Put, Quantity};
use crate::document::report::profile::sentences;
use keeper::{Deed, Keeper, Looked};

/// Width of the list where it stands beside the profile, points.
const LIST: f32 = 248.0;
/// Least width at which it does.
const SIDE_BY_SIDE: f32 = 600.0;

/// Something that this bench asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum ProfileAsk {
    /// Keep a pair of the session (from 0), in the profile of this file or that of the coated
    /// strip's name.
    Keep(usize, Option<String>),
    /// Make, change or take away a profile; what it is called for undo.
    Put(Option<String>, Box<Put>, String),
    /// Take a file in, by a dialog.
    Import,
    /// Write a profile to a file, by a dialog; its file on the shelf.
    Export(String),
    /// Look at the demo shelf.
    LookAtDemo,
    /// Look at one's own shelf again.
    LookAtOwn,
    /// Read the shelf again.
    LookAgain,
}

/// What is shown of a profile.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum View {
    #[default]
    Material,
    Together,
    Drift,
    Beside,
}

impl View {
    const ALL: [Self; 4] = [Self::Material, Self::Together, Self::Drift, Self::Beside];

    fn label(self) -> &'static str {
        match self {
            Self::Material => "Material and sessions",
            Self::Together => "Sessions together",
            Self::Drift => "Drift",
            Self::Beside => "Beside another",
        }
    }
}

/// What this bench remembers between frames.
#[derive(Default)]
pub struct ProfilesBench {
    /// What is looked for.
    find: String,
    /// Only profiles whose field holds this text, if a field is chosen.
    filter: Option<(Field, String)>,
    /// Those put aside, too.
    retired: bool,
    /// The profile on show, by its file.
    pub chosen: Option<String>,
    /// The one beside it.
    beside: Option<String>,
    view: View,
    quantity: Option<Quantity>,
    drift: drift::Shown,
    /// What is being typed of the profile.
    draft: Option<said::Draft>,
    /// The name of a profile to be made.
    new_name: String,
}

impl ProfilesBench {
    /// The profiles that it needs to be opened.
    pub fn wanted(&self) -> Vec<String> {
        let beside = self.beside.iter().filter(|_| self.view == View::Beside);
        self.chosen.iter().chain(beside).cloned().collect()
    }

    /// Another shelf: nothing is chosen.
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// The whole bench.
    pub fn ui(&mut self, ui: &mut Ui, scene: &Scene<'_>, keeper: &Keeper, asks: &mut Vec<Request>) {
        let ground = egui::Frame::new()
            .fill(scene.theme.page)
            .inner_margin(scene.room.margin());
        egui::CentralPanel::no_frame().frame(ground).show(ui, |ui| {
            let Some(looked) = keeper.looked() else {
                ui.heading("Profiles");
                match keeper.folder() {
                    Some(folder) => ui.label(format!("Reading {}…", folder.display())),
                    None => ui.label(
                        "There is no folder for profiles; name one in TWINSTRIP_SHELF and begin again.",
                    ),
                };
                return;
            };
            if keeper.is_lent() {
                lent_ui(ui, scene.theme, asks);
            }
            let size = ui.available_size();
            if size.x < SIDE_BY_SIDE {
                if self.chosen.is_none() {
                    self.list_ui(ui, scene, keeper, looked, asks);
                } else {
                    if ui.button("Back to the list").clicked() {
                        self.chosen = None;
                    }
                    self.profile_ui(ui, scene, looked, asks);
                }
                return;
            }
            ui.horizontal_top(|ui| {
                ui.vertical(|ui| {
                    ui.set_width(LIST);
                    ui.set_height(size.y);
                    self.list_ui(ui, scene, keeper, looked, asks);
                });
                ui.separator();
                ui.vertical(|ui| {
                    ui.set_width((size.x - LIST - 32.0).max(200.0));
                    self.profile_ui(ui, scene, looked, asks);
                });
            });
        });
    }

    /// The profile on show.
    fn profile_ui(
        &mut self,
        ui: &mut Ui,
        scene: &Scene<'_>,
        looked: &Looked,
        asks: &mut Vec<Request>,
    ) {
        let Some(file) = self.chosen.clone() else {
            ui.heading("No profile chosen");
            ui.label("Choose one in the list, or keep the answer of a session: that makes one.");
            return;
        };
        let Some(opened) = looked.opened(&file) else {
            ui.label("Reading it…");
            return;
        };
        let (profile, pool) = match &opened.content {
            Ok(content) => (&content.0, &content.1),
            Err(why) => {
                ui.heading("This profile can't be read");
                ui.label(why);
                return;
            }
        };
        ui.heading(&profile.name);
        ui.horizontal_wrapped(|ui| {
            for view in View::ALL {
                if ui
                    .selectable_label(self.view == view, view.label())
                    .clicked()
                {
                    self.view = view;
                }
            }
        });
        ScrollArea::vertical()
            .id_salt("profile")
            .auto_shrink(false)
            .show(ui, |ui| match self.view {
                View::Material => self.material_ui(ui, scene, &file, profile, asks),
                View::Together => self.together_ui(ui, scene.theme, profile, pool),
                View::Drift => drift::ui(ui, scene.theme, profile, pool, &mut self.drift),
                View::Beside => self.beside_ui(ui, scene.theme, looked, &file, profile),
            });
    }

    fn together_ui(&mut self, ui: &mut Ui, theme: &Theme, profile: &Profile, pool: &ProfilePool) {
        let shown = self.quantity.unwrap_or(Quantity::Stops);
        ui.horizontal_wrapped(|ui| {
            for quantity in Quantity::ALL {
                let words = match quantity {
                    Quantity::Stops => "Speed",
                    Quantity::Contrast => "Contrast difference",
                    Quantity::Dmax => "Dmax",
                    Quantity::Dmin => "Dmin",
                };
                if ui.selectable_label(shown == quantity, words).clicked() {
                    self.quantity = Some(quantity);
                }
            }
        });
        let Some(one) = pool.quantity(shown) else {
            return;
        };
        forest::ui(ui, theme, profile, one);
        for (index, sentence) in sentences(profile, pool, one).into_iter().enumerate() {
            if index == 0 {
                ui.label(strong(sentence));
            } else {
                ui.label(sentence);
            }
        }
    }
}

/// Whose shelf this is, where it isn't the person's own.
fn lent_ui(ui: &mut Ui, theme: &Theme, asks: &mut Vec<Request>) {
    ui.horizontal_wrapped(|ui| {
        ui.label(strong("The demo shelf: invented data").color(theme.caution));
        if ui.button("Back to my shelf").clicked() {
            asks.push(Request::Profile(ProfileAsk::LookAtOwn));
        }
    });
}

/// The deed that an ask of this bench is, where no dialog and no session is needed.
pub fn deed(ask: ProfileAsk) -> Option<Deed> {
    match ask {
        ProfileAsk::Put(file, put, words) => Some(Deed::Put(file, put, words)),
        _ => None,
    }
}

/// The deed of keeping evidence.
pub fn keeping(file: Option<String>, evidence: Evidence) -> Deed {
    let name = evidence.pair.coupon.clone();
    Deed::Keep(file, name, Box::new(evidence))
}
