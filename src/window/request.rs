//! What panels are given and what they ask for. Panels read and ask; the app carries out.

use std::path::PathBuf;

use super::command::Command;
use super::theme::Theme;
use crate::document::{Edit, Session};
use crate::measure::analysis::Analysis;
use crate::measure::finding::Place;
use crate::measure::geometry::StripShape;

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
}

/// What is chosen on the scans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chosen {
    /// Index of the strip.
    pub strip: usize,
    /// Which part of it.
    pub part: Part,
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
    /// Find the file of a scan.
    Locate(usize),
    /// Take a scan as it is now, though it changed.
    TakeChanged(usize),
    /// Read a scan again.
    ReadAgain(usize),
    /// Open one of the recent sessions.
    OpenRecent(PathBuf),
    /// Take a session back that was left behind, by its number.
    TakeBack(usize),
    /// Throw away a session that was left behind.
    ThrowAway(usize),
}

impl Request {
    /// One edit.
    pub fn edit(edit: Edit) -> Self {
        Self::Edit(vec![edit])
    }
}
