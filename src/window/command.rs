//! Everything a person can ask for by menu, key or button: one list for all three.

use egui::{Key, KeyboardShortcut, Modifiers};

use super::request::Kind;
use super::theme::Light;

/// Where in the window one works.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Bench {
    /// The scans with the strips on them.
    #[default]
    Scans,
    /// How the strips were exposed.
    Exposures,
    /// The characteristic curves.
    Curves,
    /// Matching by eye.
    Eye,
    /// What is kept of materials.
    Profiles,
    /// From the paper print to the piece.
    Print,
    /// What the scanner makes of known densities.
    Scanner,
}

impl Bench {
    /// In the order of the work.
    pub const ALL: [Self; 7] = [
        Self::Scans,
        Self::Exposures,
        Self::Curves,
        Self::Eye,
        Self::Profiles,
        Self::Print,
        Self::Scanner,
    ];

    /// Whether it is of use without a session.
    pub fn stands_alone(self) -> bool {
        matches!(self, Self::Profiles | Self::Scanner)
    }

    /// As said on its button.
    pub fn label(self) -> &'static str {
        match self {
            Self::Scans => "Scans",
            Self::Exposures => "Exposures",
            Self::Curves => "Curves",
            Self::Eye => "By eye",
            Self::Profiles => "Profiles",
            Self::Print => "Print",
            Self::Scanner => "Scanner",
        }
    }
}

/// Something that a person asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// An empty session.
    New,
    /// The demo session.
    OpenDemo,
    /// A session or scans, by a dialog.
    Open,
    /// Another scan into this session, by a dialog.
    AddScans,
    /// Into the session's file.
    Save,
    /// Into another file.
    SaveAs,
    /// The answer as text, for pasting.
    CopyAnswer,
    /// The curves as a drawing.
    ExportSvg,
    /// The curves as a picture.
    ExportPng,
    /// The readings as a table.
    ExportCsv,
    /// The scan of the paper print, by a dialog.
    ChoosePrint,
    /// The bench sheet as a page.
    SaveSheet,
    /// The bench sheet as text, for pasting.
    CopySheet,
    /// The tone preview in the size of the print's scan.
    SaveTones,
    /// One edit back.
    Undo,
    /// One edit forth.
    Redo,
    /// To another bench.
    Go(Bench),
    /// Another light.
    Light(Light),
    /// The whole scan into sight.
    Fit,
    /// One pixel of the scan on one of the screen.
    ActualPixels,
    /// Closer.
    ZoomIn,
    /// Farther.
    ZoomOut,
    /// The magnifier in or out.
    Magnifier,
    /// Draw a strip by hand.
    DrawStrip,
    /// Point at the chosen strip's unexposed coat.
    PointAtCoat,
    /// The chosen step out of the fit or back into it.
    ToggleStep,
    /// The chosen strip the other way round.
    Flip,
    /// One step more on the chosen strip.
    AddStep,
    /// One step less.
    RemoveStep,
    /// What the chosen thing on the scan is.
    Call(Kind),
    /// The chosen field is read where the program chooses again.
    FreeArea,
    /// Scans that come into a folder are read in, by a dialog.
    WatchFolder,
    /// They aren't any more.
    StopWatching,
    /// The column with the answer out or in.
    AnswerColumn,
    /// The column with the strips out or in.
    StripColumn,
    /// The list of keys.
    Shortcuts,
    /// The tour over the demo.
    Tour,
    /// Close the window.
    Quit,
}

const PLAIN: Modifiers = Modifiers::NONE;
const CTRL: Modifiers = Modifiers::COMMAND;

impl Command {
    /// Every command, in the order of the list of keys.
    pub fn all() -> Vec<Self> {
        let mut all = vec![
            Self::New,
            Self::OpenDemo,
            Self::Open,
            Self::AddScans,
            Self::Save,
            Self::SaveAs,
            Self::CopyAnswer,
            Self::ExportSvg,
            Self::ExportPng,
            Self::ExportCsv,
            Self::ChoosePrint,
            Self::SaveSheet,
            Self::CopySheet,
            Self::SaveTones,
            Self::Undo,
            Self::Redo,
            Self::Fit,
            Self::ActualPixels,
            Self::ZoomIn,
            Self::ZoomOut,
            Self::Magnifier,
            Self::DrawStrip,
            Self::PointAtCoat,
            Self::ToggleStep,
            Self::Flip,
            Self::AddStep,
            Self::RemoveStep,
            Self::FreeArea,
            Self::WatchFolder,
            Self::StopWatching,
            Self::AnswerColumn,
            Self::StripColumn,
            Self::Shortcuts,
            Self::Tour,
            Self::Quit,
        ];
        all.extend(Kind::ALL.map(Self::Call));
        all.extend(Bench::ALL.map(Self::Go));
        all.extend(Light::ALL.map(Self::Light));
        all
    }

    /// As said in menus and on buttons.
    pub fn label(self) -> &'static str {
        match self {
            Self::New => "New session",
            Self::OpenDemo => "Open the demo",
            Self::Open => "Open…",
            Self::AddScans => "Add scans…",
            Self::Save => "Save",
            Self::SaveAs => "Save as…",
            Self::CopyAnswer => "Copy the answer",
            Self::ExportSvg => "Curves as a drawing (SVG)…",
            Self::ExportPng => "Curves as a picture (PNG)…",
            Self::ExportCsv => "Readings as a table (CSV)…",
            Self::ChoosePrint => "Scan of the print…",
            Self::SaveSheet => "Bench sheet (PDF)…",
            Self::CopySheet => "Copy the sheet as text",
            Self::SaveTones => "Picture at full size…",
            Self::Undo => "Undo",
            Self::Redo => "Redo",
            Self::Go(bench) => bench.label(),
            Self::Light(light) => light.label(),
            Self::Fit => "Whole scan",
            Self::ActualPixels => "Pixel for pixel",
            Self::ZoomIn => "Closer",
            Self::ZoomOut => "Farther",
            Self::Magnifier => "Magnifier",
            Self::DrawStrip => "Draw a strip",
            Self::PointAtCoat => "Point at unexposed coat",
            Self::ToggleStep => "Leave step out or take it back",
            Self::Flip => "Turn strip round",
            Self::AddStep => "One step more",
            Self::RemoveStep => "One step less",
            Self::Call(Kind::Paper) => "It is paper",
            Self::Call(Kind::Coated) => "It is coated",
            Self::Call(Kind::Wedge) => "It is the wedge",
            Self::FreeArea => "Read it where the program chooses",
            Self::WatchFolder => "Watch a folder…",
            Self::StopWatching => "Stop watching",
            Self::AnswerColumn => "Answer in full",
            Self::StripColumn => "Strips",
            Self::Shortcuts => "Keys",
            Self::Tour => "Tour of the demo",
            Self::Quit => "Close",
        }
    }

    /// One sentence for whoever rests on it.
    pub fn explanation(self) -> &'static str {
        match self {
            Self::New => "Puts this session away and begins an empty one.",
            Self::OpenDemo => {
                "Opens a session made by the program itself: invented data, known truth."
            }
            Self::Open => "Opens a session file, or scans to begin a session with.",
            Self::AddScans => "Adds scans to this session.",
            Self::Save => "Writes the session into its file; scans stay where they are.",
            Self::SaveAs => "Writes the session into another file.",
            Self::CopyAnswer => {
                "Puts the answer with its bounds and findings on the clipboard as text."
            }
            Self::ExportSvg => "Writes the plot of both curves as a drawing that scales.",
            Self::ExportPng => "Writes the plot of both curves as a picture.",
            Self::ChoosePrint => "Takes the scan of the finished paper print for the tone preview.",
            Self::SaveSheet => {
                "Writes one page for the bench, to be read under a red lamp: exposures, burns, focus, baths, cautions."
            }
            Self::CopySheet => "Puts the words of the bench sheet on the clipboard.",
            Self::SaveTones => {
                "Writes the print as it would look on the coating, every pixel of the scan, with 16 bits."
            }
            Self::ExportCsv => "Writes every step's density and exposure as a table.",
            Self::Undo => "Takes the last change back.",
            Self::Redo => "Brings back what was undone.",
            Self::Go(Bench::Scans) => "The scans, with strips and steps as they were found.",
            Self::Go(Bench::Exposures) => "How each strip was exposed.",
            Self::Go(Bench::Curves) => "Both characteristic curves, and how they part.",
            Self::Go(Bench::Eye) => "Two steps side by side, to be matched by eye.",
            Self::Go(Bench::Profiles) => {
                "What sessions taught about materials, and what they say together."
            }
            Self::Go(Bench::Print) => {
                "From the paper print's recipe to the exposure of a coated piece, its tones and the sheet for the bench."
            }
            Self::Go(Bench::Scanner) => {
                "What your scanner makes of known densities: a calibration, for scans that carry no wedge."
            }
            Self::Light(Light::Day) => "Bright, for a lit room.",
            Self::Light(Light::Evening) => "Dark, for a dim room.",
            Self::Light(Light::Safelight) => {
                "Dim red, for use near the darkroom. Any screen can fog paper: test it like a safelight."
            }
            Self::Fit => "Brings the whole scan into sight.",
            Self::ActualPixels => "Shows one pixel of the scan on one pixel of the screen.",
            Self::ZoomIn => "Shows the scan larger.",
            Self::ZoomOut => "Shows the scan smaller.",
            Self::Magnifier => {
                "Shows the pixels under the pointer, which of them don't count, and their spread."
            }
            Self::DrawStrip => {
                "Drag from one corner of a strip to the opposite one to outline it by hand."
            }
            Self::PointAtCoat => {
                "Click where the chosen strip's coat got no light: its Dmin is then read there and nowhere else; with Shift, there too."
            }
            Self::ToggleStep => "Keeps the chosen step out of the fit, or takes it back.",
            Self::Flip => "Numbers the steps of the chosen strip from its other end.",
            Self::AddStep => "Adds a step at the far end of the chosen strip.",
            Self::RemoveStep => "Takes the last step of the chosen strip away.",
            Self::Call(Kind::Paper) => {
                "Says that the chosen thing is ordinary printing paper: what the emulsion is compared with."
            }
            Self::Call(Kind::Coated) => {
                "Says that the chosen thing is the piece with the hand-coated emulsion."
            }
            Self::Call(Kind::Wedge) => {
                "Says that the chosen thing is the wedge of known densities that was scanned along."
            }
            Self::FreeArea => {
                "Forgets where you placed the sampled area of the chosen field; most of the field is read again."
            }
            Self::WatchFolder => {
                "Takes in every scan that your scanning program saves in a folder from now on."
            }
            Self::StopWatching => "New scans in the watched folder are not taken in any more.",
            Self::AnswerColumn => {
                "Shows the answer with all that should be known, or folds it away."
            }
            Self::StripColumn => {
                "Shows the strips and their steps beside the scan, or folds them away."
            }
            Self::Shortcuts => "Lists the keys.",
            Self::Tour => "Shows the way from scan to answer in five steps.",
            Self::Quit => "Closes the window; unsaved changes are asked about.",
        }
    }

    /// The keys it has.
    pub fn shortcut(self) -> Option<KeyboardShortcut> {
        let key = |modifiers, key| Some(KeyboardShortcut::new(modifiers, key));
        match self {
            Self::New => key(CTRL, Key::N),
            Self::Open => key(CTRL, Key::O),
            Self::AddScans => key(CTRL | Modifiers::SHIFT, Key::O),
            Self::Save => key(CTRL, Key::S),
            Self::SaveAs => key(CTRL | Modifiers::SHIFT, Key::S),
            // Shift-Ctrl-C never comes: the toolkit takes every Ctrl-C for copying.
            Self::CopyAnswer => key(CTRL | Modifiers::SHIFT, Key::A),
            Self::Undo => key(CTRL, Key::Z),
            Self::Redo => key(CTRL | Modifiers::SHIFT, Key::Z),
            Self::Go(Bench::Scans) => key(CTRL, Key::Num1),
            Self::Go(Bench::Exposures) => key(CTRL, Key::Num2),
            Self::Go(Bench::Curves) => key(CTRL, Key::Num3),
            Self::Go(Bench::Eye) => key(CTRL, Key::Num4),
            Self::Go(Bench::Profiles) => key(CTRL, Key::Num5),
            Self::Go(Bench::Print) => key(CTRL, Key::Num6),
            Self::Go(Bench::Scanner) => key(CTRL, Key::Num7),
            Self::Fit => key(PLAIN, Key::F),
            Self::ActualPixels => key(PLAIN, Key::P),
            Self::ZoomIn => key(PLAIN, Key::Plus),
            Self::ZoomOut => key(PLAIN, Key::Minus),
            Self::Magnifier => key(PLAIN, Key::M),
            Self::DrawStrip => key(PLAIN, Key::D),
            Self::PointAtCoat => key(PLAIN, Key::U),
            Self::ToggleStep => key(PLAIN, Key::X),
            Self::Flip => key(PLAIN, Key::R),
            Self::AddStep => key(PLAIN, Key::A),
            Self::RemoveStep => key(PLAIN, Key::B),
            Self::Call(Kind::Paper) => key(PLAIN, Key::Num1),
            Self::Call(Kind::Coated) => key(PLAIN, Key::Num2),
            Self::Call(Kind::Wedge) => key(PLAIN, Key::Num3),
            Self::FreeArea => key(PLAIN, Key::Backspace),
            Self::AnswerColumn => key(PLAIN, Key::F2),
            Self::StripColumn => key(PLAIN, Key::F3),
            Self::Shortcuts => key(PLAIN, Key::F1),
            Self::Quit => key(CTRL, Key::Q),
            Self::OpenDemo
            | Self::ExportSvg
            | Self::ExportPng
            | Self::ExportCsv
            | Self::ChoosePrint
            | Self::SaveSheet
            | Self::CopySheet
            | Self::SaveTones
            | Self::Light(_)
            | Self::WatchFolder
            | Self::StopWatching
            | Self::Tour => None,
        }
    }

    /// The command whose keys were pressed. Those with more modifiers are asked first, or
    /// Shift-Ctrl-Z would undo; plain letters only where no text is being typed.
    pub fn pressed(ctx: &egui::Context) -> Option<Self> {
        let typing = ctx.text_edit_focused();
        let mut with_keys: Vec<(Self, KeyboardShortcut)> = Self::all()
            .into_iter()
            .filter_map(|command| Some((command, command.shortcut()?)))
            .filter(|(_, keys)| !typing || keys.modifiers != PLAIN)
            .collect();
        let held =
            |m: Modifiers| usize::from(m.shift) + usize::from(m.alt) + usize::from(m.command);
        with_keys.sort_by_key(|(_, keys)| std::cmp::Reverse(held(keys.modifiers)));
        ctx.input_mut(|input| {
            with_keys
                .into_iter()
                .find(|(_, keys)| input.consume_shortcut(keys))
                .map(|(command, _)| command)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_commands_share_their_keys() {
        let all = Command::all();
        for (index, one) in all.iter().enumerate() {
            for other in &all[index + 1..] {
                if let (Some(a), Some(b)) = (one.shortcut(), other.shortcut()) {
                    assert_ne!(a, b, "{one:?} and {other:?}");
                }
            }
        }
    }

    #[test]
    fn every_command_has_a_name_and_one_sentence() {
        for command in Command::all() {
            assert!(!command.label().is_empty());
            assert!(command.explanation().ends_with('.'), "{command:?}");
        }
    }
}
