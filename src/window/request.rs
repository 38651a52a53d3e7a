//! What panels are given and what they ask for. Panels read and ask; the app carries out.

use std::path::PathBuf;

use super::command::Command;
use super::layout::Room;
use super::profiles::ProfileAsk;
use super::scanner::ScannerAsk;
use super::theme::Theme;
use crate::document::{Edit, Session};
use crate::files::sheet::PaperSize;
use crate::measure::analysis::Analysis;
use crate::measure::finding::Place;
use crate::measure::geometry::{Area, Field, StripShape};

/// A part of a strip's outline that can be moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// All of it.
    Whole,
    /// A corner, in the order of the shape.
    Corner(usize),
    /// The side from this corner to the next.
    Side(usize),
    /// A border between fields, by its index among the edges.
    Border(usize),
    /// A field, by its index.
    Field(usize),
    /// The part of a field that is read.
    Area(usize),
    /// A corner of it, in the order of the shape's.
    AreaCorner(usize, usize),
}

impl Part {
    /// The field that it is, or lies in.
    pub fn field(self) -> Option<usize> {
        match self {
            Self::Field(field) | Self::Area(field) | Self::AreaCorner(field, _) => Some(field),
            _ => None,
        }
    }
}

/// Something that lies on a scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    /// A strip, by its number in the session, or among those found when none is described.
    Strip(usize),
    /// The wedge on the scan of this number.
    Wedge(usize),
    /// Something like a strip that the session doesn't describe, by its number.
    Spare(usize),
}

/// What a person can say that a thing is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Ordinary printing paper.
    Paper,
    /// The coated piece.
    Coated,
    /// The wedge of known densities.
    Wedge,
}

impl Kind {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Paper, Self::Coated, Self::Wedge];
}

/// What is chosen on the scans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chosen {
    /// The thing.
    pub thing: Thing,
    /// Which part of it.
    pub part: Part,
}

impl Chosen {
    /// The whole of a strip.
    pub fn strip(strip: usize) -> Self {
        Self {
            thing: Thing::Strip(strip),
            part: Part::Whole,
        }
    }
}

/// A step that the pointer is on: index of the strip, step number from 1 (0: the margin).
pub type Spot = (usize, usize);

/// Everything that a panel may read.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// The session as it stands.
    pub session: &'a Session,
    /// The newest analysis there is.
    pub analysis: Option<&'a Analysis>,
    /// Whether the analysis is that of an earlier state.
    pub stale: bool,
    /// Colours.
    pub theme: &'a Theme,
    /// What is chosen.
    pub chosen: Option<Chosen>,
    /// The step under the pointer, wherever the pointer is.
    pub spot: Option<Spot>,
    /// How much room the window has.
    pub room: Room,
    /// Whether the answer's column is out, and the strips'.
    pub out: (bool, bool),
}

impl Scene<'_> {
    /// Where a strip lies: as the session says, or as it was found.
    pub fn shape(&self, strip: usize) -> Option<&StripShape> {
        let said = self
            .session
            .strips
            .get(strip)
            .and_then(|strip| strip.shape.as_ref());
        let found = || {
            let strip = self.analysis?.strips.get(strip)?;
            Some(&strip.located.as_ref()?.shape)
        };
        said.or_else(found)
    }

    /// Where a thing lies: as the session says, or as it was found.
    pub fn outline(&self, thing: Thing) -> Option<&StripShape> {
        match thing {
            Thing::Strip(strip) => self.shape(strip),
            Thing::Wedge(scan) => {
                let said = self.session.wedge.as_ref()?.shape.as_ref();
                let found = self.analysis.iter().flat_map(|analysis| &analysis.wedges);
                said.into_iter()
                    .chain(found.map(|wedge| &wedge.shape))
                    .find(|shape| shape.scan == scan)
            }
            Thing::Spare(spare) => Some(&self.analysis?.spare.get(spare)?.shape),
        }
    }

    /// Everything that lies on a scan.
    pub fn things(&self, scan: usize) -> Vec<Thing> {
        let spare = self.analysis.map_or(0, |analysis| analysis.spare.len());
        (0..self.strips())
            .map(Thing::Strip)
            .chain([Thing::Wedge(scan)])
            .chain((0..spare).map(Thing::Spare))
            .filter(|&thing| self.outline(thing).is_some_and(|shape| shape.scan == scan))
            .collect()
    }

    /// What is chosen, if it is still there.
    pub fn held(&self) -> Option<(Chosen, &StripShape)> {
        let chosen = self.chosen?;
        Some((chosen, self.outline(chosen.thing)?))
    }

    /// The strip that is chosen.
    pub fn chosen_strip(&self) -> Option<usize> {
        match self.chosen?.thing {
            Thing::Strip(strip) => Some(strip),
            Thing::Wedge(_) | Thing::Spare(_) => None,
        }
    }

    /// A thing's name.
    pub fn thing_name(&self, thing: Thing) -> String {
        match thing {
            Thing::Strip(strip) => self.name(strip),
            Thing::Wedge(_) => "wedge".to_owned(),
            Thing::Spare(_) => "not described".to_owned(),
        }
    }

    /// The area that a person placed in a field of a strip.
    pub fn placed(&self, strip: usize, field: Field) -> Option<&Area> {
        let areas = &self.session.strips.get(strip)?.areas;
        areas.iter().find(|area| area.field == field)
    }

    /// How many strips there are: those described, or those found when none is.
    pub fn strips(&self) -> usize {
        match self.session.strips.len() {
            0 => self.analysis.map_or(0, |analysis| analysis.strips.len()),
            count => count,
        }
    }

    /// A strip's name.
    pub fn name(&self, strip: usize) -> String {
        let described = self
            .session
            .strips
            .get(strip)
            .map(|strip| strip.name.clone());
        described.unwrap_or_else(|| format!("strip {}", strip + 1))
    }

    /// Whether a step (from 1) is left out of the fit.
    pub fn is_out(&self, (strip, step): Spot) -> bool {
        let strip = self.session.strips.get(strip);
        step > 0 && strip.is_some_and(|strip| strip.excluded.contains(&(step - 1)))
    }
}

/// Something a panel asks for.
#[derive(Debug, Clone, PartialEq)]
pub enum Request {
    /// Changes that are undone together.
    Edit(Vec<Edit>),
    /// A command.
    Command(Command),
    /// Choose a part of a strip, or nothing.
    Choose(Option<Chosen>),
    /// The pointer is on a step.
    Spot(Spot),
    /// Show where a finding belongs.
    Show(Place),
    /// Make strips of the session out of the strips that were found.
    Describe,
    /// Call off what is being read.
    CancelReading,
    /// Find the scan of the empty glass.
    ChooseEmpty,
    /// Find the file of a scan.
    Locate(usize),
    /// Take a scan as it is now, though it changed.
    TakeChanged(usize),
    /// Read a scan again.
    ReadAgain(usize),
    /// Open one of the recent sessions.
    OpenRecent(PathBuf),
    /// Something of the shelf of profiles.
    Profile(ProfileAsk),
    /// Something of scanner calibrations.
    Scanner(ScannerAsk),
    /// Take a session back that was left behind, by its number.
    TakeBack(usize),
    /// Throw away a session that was left behind.
    ThrowAway(usize),
    /// Write bench sheets on this paper.
    SheetPaper(PaperSize),
    /// Call off the picture that is being written.
    StopPicture,
}

impl Request {
    /// One edit.
    pub fn edit(edit: Edit) -> Self {
        Self::Edit(vec![edit])
    }
}
