//! Colours, sizes and the typeface of the window.
//!
//! Spaces are multiples of 8 points (4 within a control). Shape and words carry every meaning;
//! colour repeats it.

use std::sync::Arc;

use egui::epaint::text::{FontData, FontDefinitions, FontFamily};
use egui::{
    Color32, Context, CornerRadius, FontId, Margin, Shadow, Stroke, TextStyle, Vec2, Visuals,
};

use crate::files::fonts::{self, SystemFace};
use crate::measure::finding::Weight;
use crate::measure::strip::Role;

/// The grid that spaces lie on, points.
pub const GRID: f32 = 8.0;
/// Width of the column with the answer.
pub const ANSWER_WIDTH: f32 = 312.0;
/// Width of it where room is short.
pub const NARROW_ANSWER_WIDTH: f32 = 280.0;
/// Width of the column beside the scan.
pub const SIDE_WIDTH: f32 = 264.0;

/// Which light the person works in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Light {
    /// A bright room.
    #[default]
    Day,
    /// A dim room.
    Evening,
    /// Beside the darkroom: dim red only.
    Safelight,
}

impl Light {
    /// All of them, in the order of the menu.
    pub const ALL: [Self; 3] = [Self::Day, Self::Evening, Self::Safelight];

    /// As said in the menu.
    pub fn label(self) -> &'static str {
        match self {
            Self::Day => "Day",
            Self::Evening => "Evening",
            Self::Safelight => "Safelight",
        }
    }

    /// The word in the settings file.
    pub fn word(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Evening => "evening",
            Self::Safelight => "safelight",
        }
    }

    /// From the word in the settings file.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|light| light.word() == word)
    }
}

/// The colours of one light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Theme {
    /// Which.
    pub light: Light,
    /// Behind everything.
    pub page: Color32,
    /// Columns and bars.
    pub panel: Color32,
    /// Controls and cards.
    pub raised: Color32,
    /// Under the pointer.
    pub hover: Color32,
    /// Borders and axes.
    pub line: Color32,
    /// Words.
    pub text: Color32,
    /// Words of less weight.
    pub weak: Color32,
    /// What is chosen.
    pub accent: Color32,
    /// Words on the accent.
    pub on_accent: Color32,
    /// The paper's strip, curve and marks.
    pub reference: Color32,
    /// The coated strip's.
    pub coupon: Color32,
    /// The wedge's.
    pub wedge: Color32,
    /// Cautions.
    pub caution: Color32,
    /// What forbids an answer.
    pub blocking: Color32,
    /// Around scans: neutral mid grey, since tones are judged there (ISO 3664 asks for a
    /// neutral surround); red in safelight.
    pub surround: Color32,
    /// Multiplies every pixel of a scan.
    pub tint: Color32,
}

const fn grey(level: u8) -> Color32 {
    Color32::from_gray(level)
}

const fn rgb(r: u8, g: u8, b: u8) -> Color32 {
    Color32::from_rgb(r, g, b)
}

impl Theme {
    /// The colours of a light.
    pub const fn of(light: Light) -> Self {
        match light {
            Light::Day => Self {
                light,
                page: rgb(226, 226, 222),
                panel: rgb(241, 241, 238),
                raised: rgb(255, 255, 253),
                hover: rgb(230, 232, 234),
                line: rgb(178, 178, 172),
                text: rgb(28, 30, 32),
                weak: rgb(88, 90, 92),
                accent: rgb(28, 84, 110),
                on_accent: rgb(255, 255, 255),
                reference: rgb(22, 88, 138),
                coupon: rgb(158, 74, 14),
                wedge: rgb(84, 84, 90),
                caution: rgb(138, 92, 0),
                blocking: rgb(164, 28, 34),
                surround: grey(119),
                tint: Color32::WHITE,
            },
            Light::Evening => Self {
                light,
                page: rgb(24, 25, 27),
                panel: rgb(34, 36, 38),
                raised: rgb(50, 52, 55),
                hover: rgb(64, 67, 71),
                line: rgb(88, 91, 95),
                text: rgb(226, 226, 222),
                weak: rgb(164, 166, 166),
                accent: rgb(112, 178, 206),
                on_accent: rgb(16, 22, 26),
                reference: rgb(124, 182, 230),
                coupon: rgb(236, 160, 92),
                wedge: rgb(176, 176, 182),
                caution: rgb(228, 184, 84),
                blocking: rgb(248, 136, 130),
                surround: grey(119),
                tint: Color32::WHITE,
            },
            Light::Safelight => Self {
                light,
                page: rgb(8, 0, 0),
                panel: rgb(20, 0, 0),
                raised: rgb(40, 0, 0),
                hover: rgb(62, 0, 0),
                line: rgb(92, 0, 0),
                text: rgb(206, 0, 0),
                weak: rgb(156, 0, 0),
                accent: rgb(186, 0, 0),
                on_accent: rgb(14, 0, 0),
                reference: rgb(196, 0, 0),
                coupon: rgb(236, 0, 0),
                wedge: rgb(150, 0, 0),
                caution: rgb(222, 0, 0),
                blocking: rgb(248, 0, 0),
                surround: rgb(56, 0, 0),
                tint: rgb(170, 0, 0),
            },
        }
    }

    /// The colour of a strip's curve and marks.
    pub fn role(&self, role: Option<Role>) -> Color32 {
        match role {
            Some(Role::Reference) => self.reference,
            Some(Role::Coupon) => self.coupon,
            None => self.wedge,
        }
    }

    /// The colour of a finding's mark.
    pub fn weight(&self, weight: Weight) -> Color32 {
        match weight {
            Weight::Note => self.weak,
            Weight::Caution => self.caution,
            Weight::Blocking => self.blocking,
        }
    }

    /// Hands typeface, sizes and colours to the toolkit.
    pub fn apply(&self, ctx: &Context) {
        let theme = *self;
        ctx.set_theme(match self.light {
            Light::Day => egui::Theme::Light,
            Light::Evening | Light::Safelight => egui::Theme::Dark,
        });
        ctx.all_styles_mut(move |style| {
            style.text_styles = text_styles();
            style.visuals = theme.visuals();
            let spacing = &mut style.spacing;
            spacing.item_spacing = Vec2::new(GRID, GRID);
            spacing.button_padding = Vec2::new(12.0, 6.0);
            spacing.interact_size = Vec2::new(28.0, 28.0);
            spacing.window_margin = Margin::same(16);
            spacing.menu_margin = Margin::same(8);
            spacing.indent = 16.0;
            spacing.tooltip_width = 320.0;
            spacing.text_edit_width = 240.0;
            spacing.slider_width = 200.0;
            style.interaction.tooltip_delay = 0.4;
        });
    }

    fn visuals(&self) -> Visuals {
        let mut visuals = match self.light {
            Light::Day => Visuals::light(),
            Light::Evening | Light::Safelight => Visuals::dark(),
        };
        let corner = CornerRadius::same(3);
        let line = Stroke::new(1.0, self.line);
        for (state, fill, words, edge) in [
            (
                &mut visuals.widgets.noninteractive,
                self.panel,
                self.text,
                self.line,
            ),
            (
                &mut visuals.widgets.inactive,
                self.raised,
                self.text,
                self.line,
            ),
            (
                &mut visuals.widgets.hovered,
                self.hover,
                self.text,
                self.weak,
            ),
            (
                &mut visuals.widgets.active,
                self.hover,
                self.text,
                self.accent,
            ),
            (&mut visuals.widgets.open, self.hover, self.text, self.weak),
        ] {
            state.bg_fill = fill;
            state.weak_bg_fill = fill;
            state.fg_stroke = Stroke::new(1.0, words);
            state.bg_stroke = Stroke::new(1.0, edge);
            state.corner_radius = corner;
            state.expansion = 0.0;
        }
        visuals.selection.bg_fill = self.accent;
        visuals.selection.stroke = Stroke::new(1.0, self.on_accent);
        visuals.hyperlink_color = self.accent;
        visuals.weak_text_color = Some(self.weak);
        visuals.panel_fill = self.panel;
        visuals.window_fill = self.panel;
        visuals.window_stroke = line;
        visuals.window_corner_radius = CornerRadius::same(4);
        visuals.menu_corner_radius = CornerRadius::same(4);
        visuals.window_shadow = Shadow::NONE;
        visuals.popup_shadow = Shadow::NONE;
        visuals.extreme_bg_color = self.raised;
        visuals.faint_bg_color = self.page;
        visuals.code_bg_color = self.page;
        visuals.warn_fg_color = self.caution;
        visuals.error_fg_color = self.blocking;
        visuals.text_cursor.stroke = Stroke::new(2.0, self.accent);
        visuals
    }
}

/// The type scale: figures of the answer, headings, words, small words.
fn text_styles() -> std::collections::BTreeMap<TextStyle, FontId> {
    [
        (TextStyle::Heading, FontId::new(15.0, bold())),
        (TextStyle::Body, FontId::new(13.0, FontFamily::Proportional)),
        (
            TextStyle::Button,
            FontId::new(13.0, FontFamily::Proportional),
        ),
        (
            TextStyle::Monospace,
            FontId::new(13.0, FontFamily::Monospace),
        ),
        (
            TextStyle::Small,
            FontId::new(11.0, FontFamily::Proportional),
        ),
    ]
    .into()
}

/// Figures that are read from across the room.
pub fn figure() -> FontId {
    FontId::new(26.0, bold())
}

/// Words on plots and scans.
pub fn small() -> FontId {
    FontId::new(11.0, FontFamily::Proportional)
}

/// The bold cut.
pub fn bold() -> FontFamily {
    FontFamily::Name("bold".into())
}

/// Words with weight.
pub fn strong(words: impl Into<String>) -> egui::RichText {
    egui::RichText::new(words).font(FontId::new(13.0, bold()))
}

/// Installs the program's typefaces: B612, whose figures are all one width, and for letters that it
/// lacks Noto Sans (both SIL Open Font License 1.1).
pub fn install_fonts(ctx: &Context) {
    install_fonts_with(ctx, &[]);
}

/// As [`install_fonts`], and for letters that both lack these of the system.
pub fn install_fonts_with(ctx: &Context, system: &[SystemFace]) {
    let mut all = FontDefinitions::empty();
    for (name, bytes) in [
        ("B612", fonts::REGULAR),
        ("B612 Bold", fonts::BOLD),
        ("Noto Sans", fonts::WIDE),
    ] {
        let data = Arc::new(FontData::from_static(bytes));
        all.font_data.insert(name.into(), data);
    }
    let mut others = vec!["Noto Sans".to_owned()];
    for (number, face) in system.iter().enumerate() {
        let mut data = FontData::from_owned(face.data.to_vec());
        data.index = face.index;
        let name = format!("system {number}");
        all.font_data.insert(name.clone(), Arc::new(data));
        others.push(name);
    }
    let family = |first: &str| [&[first.to_owned()][..], &others].concat();
    for proportional in [FontFamily::Proportional, FontFamily::Monospace] {
        all.families.insert(proportional, family("B612"));
    }
    all.families.insert(bold(), family("B612 Bold"));
    ctx.set_fonts(all);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Contrast by WCAG 2.1 (relative luminance of sRGB, IEC 61966-2-1).
    fn contrast(a: Color32, b: Color32) -> f64 {
        let luminance = |c: Color32| {
            let linear = |v: u8| {
                let share = f64::from(v) / 255.0;
                if share <= 0.04045 {
                    share / 12.92
                } else {
                    ((share + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * linear(c.r()) + 0.7152 * linear(c.g()) + 0.0722 * linear(c.b())
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// WCAG 2.1 AA asks for 4.5; a dim red screen can't give it and asks for large marks.
    #[test]
    fn words_stand_out_from_their_ground() {
        for (light, least) in [
            (Light::Day, 4.5),
            (Light::Evening, 4.5),
            (Light::Safelight, 2.0),
        ] {
            let theme = Theme::of(light);
            for words in [theme.text, theme.weak, theme.caution, theme.blocking] {
                for ground in [theme.panel, theme.raised] {
                    let found = contrast(words, ground);
                    assert!(
                        found >= least,
                        "{light:?}: {words:?} on {ground:?}: {found:.2}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_safelight_lets_no_green_or_blue_out() {
        let theme = Theme::of(Light::Safelight);
        for colour in [
            theme.page,
            theme.panel,
            theme.raised,
            theme.hover,
            theme.line,
            theme.text,
            theme.weak,
            theme.accent,
            theme.on_accent,
            theme.reference,
            theme.coupon,
            theme.wedge,
            theme.caution,
            theme.blocking,
            theme.surround,
            theme.tint,
        ] {
            assert_eq!((colour.g(), colour.b()), (0, 0));
        }
    }

    #[test]
    fn the_surround_of_scans_is_neutral() {
        for light in [Light::Day, Light::Evening] {
            let Theme { surround, .. } = Theme::of(light);
            assert!(surround.r() == surround.g() && surround.g() == surround.b());
        }
    }
}
