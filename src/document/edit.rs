//! Changes of a session, as values.

use super::{Encoding, Printing, Scan, Session, SessionError, Strip, UsedCalibration, Wedge};
use crate::measure::compare::eye::Match;
use crate::measure::exposure::Exposure;
use crate::measure::geometry::{Area, Field, Point, StripShape};
use crate::measure::raster::Channel;
use crate::measure::strip::Role;

/// One change of a session. Indices count from 0.
#[derive(Debug, Clone, PartialEq)]
pub enum Edit {
    /// Adds a scan after the others.
    AddScan(Scan),
    /// Takes a scan away, and every given outline on it.
    RemoveScan(usize),
    /// Says that a scan lies elsewhere or is another file by now.
    LocateScan {
        /// Index of the scan.
        scan: usize,
        /// The scan as it is.
        with: Scan,
    },
    /// Says how a scan's codes are encoded.
    SetEncoding {
        /// Index of the scan.
        scan: usize,
        /// `None`: by what the file says.
        encoding: Option<Encoding>,
    },
    /// Takes a scan of the empty glass, or does without.
    SetEmpty(Option<Scan>),
    /// Describes the wedge, or takes it away.
    SetWedge(Option<Wedge>),
    /// Says where the wedge lies, or leaves it to be found.
    SetWedgeShape(Option<StripShape>),
    /// Takes a scanner calibration for scans without a wedge, or does without.
    SetCalibration(Option<UsedCalibration>),
    /// Puts a strip in.
    AddStrip {
        /// Index it will have.
        at: usize,
        /// The strip; the strip that it is once more goes by its number before.
        strip: Strip,
    },
    /// Takes a strip away.
    RemoveStrip(usize),
    /// Moves a strip to another place in the reading order.
    MoveStrip {
        /// Index before.
        from: usize,
        /// Index after.
        to: usize,
    },
    /// Gives a strip another name.
    RenameStrip {
        /// Index of the strip.
        strip: usize,
        /// The name.
        name: String,
    },
    /// Says whether a strip is paper or coated.
    SetRole {
        /// Index of the strip.
        strip: usize,
        /// Paper or coated.
        role: Role,
    },
    /// Says that a strip is another one of the list seen once more, or tells them apart.
    SetSameAs {
        /// Index of the strip.
        strip: usize,
        /// Index of the other; `None`: a strip of its own.
        first: Option<usize>,
    },
    /// Says how a strip was exposed.
    SetExposure {
        /// Index of the strip.
        strip: usize,
        /// `None`: measured only.
        exposure: Option<Exposure>,
    },
    /// Says where a strip lies, or leaves it to be found.
    SetShape {
        /// Index of the strip.
        strip: usize,
        /// `None`: to be found.
        shape: Option<StripShape>,
    },
    /// Says where a strip's coat got no light, there and nowhere else, or leaves it to be found.
    SetUnexposed {
        /// Index of the strip.
        strip: usize,
        /// Patches on the strip's scan; empty: nowhere; `None`: to be found.
        patches: Option<Vec<[Point; 4]>>,
    },
    /// Takes one of the readings of a strip as it stands: its outline, its fields and its
    /// unexposed coat.
    ChooseReading {
        /// Index of the strip.
        strip: usize,
        /// The reading.
        shape: StripShape,
    },
    /// Says where a field of a strip is read.
    PlaceArea {
        /// Index of the strip.
        strip: usize,
        /// The area; it takes the place of another one of its field.
        area: Area,
    },
    /// Leaves it to the program again where a field is read.
    FreeArea {
        /// Index of the strip.
        strip: usize,
        /// The field.
        field: Field,
    },
    /// Says of all areas of a strip at once where they are.
    SetAreas {
        /// Index of the strip.
        strip: usize,
        /// The areas.
        areas: Vec<Area>,
    },
    /// Leaves a step out of the fit.
    ExcludeStep {
        /// Index of the strip.
        strip: usize,
        /// Index of the step in the order of the series.
        step: usize,
    },
    /// Takes a step back into the fit.
    IncludeStep {
        /// Index of the strip.
        strip: usize,
        /// Index of the step in the order of the series.
        step: usize,
    },
    /// Chooses the channel that densities are read from.
    SetChannel(Channel),
    /// Says the lamp's dead time a burst.
    SetLag {
        /// Seconds.
        lag: f64,
        /// Standard uncertainty in seconds.
        uncertainty: f64,
    },
    /// Says how exact a click stop of the lens is.
    SetApertureError {
        /// Standard error in stops.
        stops: f64,
    },
    /// Supports what the steps leave free by weak priors.
    UsePriors,
    /// Does without priors.
    DropPriors,
    /// Records that two steps look alike.
    AddMatch(Match),
    /// Takes a match back.
    RemoveMatch(usize),
    /// Says what is to be printed on what, or takes it back; the words complete "Undo …".
    SetPrinting(Option<Box<Printing>>, &'static str),
    /// Keeps a note.
    SetNotes(String),
}

/// An edit that can't be carried out.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EditError {
    /// The session has no such scan.
    #[error("there is no scan {}", .0 + 1)]
    NoScan(usize),
    /// The session has no such strip.
    #[error("there is no strip {}", .0 + 1)]
    NoStrip(usize),
    /// The session has no such match.
    #[error("there is no match {}", .0 + 1)]
    NoMatch(usize),
    /// The session has no wedge.
    #[error("the session has no wedge")]
    NoWedge,
    /// What would come out can't be.
    #[error(transparent)]
    Session(#[from] SessionError),
}

impl Edit {
    /// Completes "Undo …" in the menu.
    pub fn label(&self) -> &'static str {
        match self {
            Self::AddScan(_) => "add scan",
            Self::RemoveScan(_) => "remove scan",
            Self::LocateScan { .. } => "locate scan",
            Self::SetEncoding { .. } => "set encoding",
            Self::SetEmpty(Some(_)) => "use empty scan",
            Self::SetEmpty(None) => "drop empty scan",
            Self::SetWedge(Some(_)) => "describe wedge",
            Self::SetWedge(None) => "remove wedge",
            Self::SetWedgeShape(_) => "outline wedge",
            Self::SetCalibration(Some(_)) => "use calibration",
            Self::SetCalibration(None) => "drop calibration",
            Self::AddStrip { .. } => "add strip",
            Self::RemoveStrip(_) => "remove strip",
            Self::MoveStrip { .. } => "move strip",
            Self::RenameStrip { .. } => "rename strip",
            Self::SetRole { .. } => "set role",
            Self::SetSameAs { first: Some(_), .. } => "join strips",
            Self::SetSameAs { first: None, .. } => "tell strips apart",
            Self::SetExposure { .. } => "set exposures",
            Self::SetShape { .. } => "outline strip",
            Self::SetUnexposed {
                patches: Some(_), ..
            } => "point at unexposed coat",
            Self::SetUnexposed { patches: None, .. } => "look for unexposed coat",
            Self::ChooseReading { .. } => "choose reading",
            Self::PlaceArea { .. } => "move sampled area",
            Self::FreeArea { .. } | Self::SetAreas { .. } => "reset sampled area",
            Self::ExcludeStep { .. } => "exclude step",
            Self::IncludeStep { .. } => "include step",
            Self::SetChannel(_) => "choose channel",
            Self::SetLag { .. } => "set lamp lag",
            Self::SetApertureError { .. } => "set aperture error",
            Self::UsePriors => "use priors",
            Self::DropPriors => "drop priors",
            Self::AddMatch(_) => "match by eye",
            Self::RemoveMatch(_) => "remove match",
            Self::SetPrinting(_, what) => what,
            Self::SetNotes(_) => "write notes",
        }
    }

    /// The session after the edit; the one given stays as it is.
    ///
    /// # Errors
    /// When there is no such scan, strip or wedge, or what would come out can't be.
    pub fn apply(&self, session: &Session) -> Result<Session, EditError> {
        let mut after = session.clone();
        self.change(&mut after)?;
        after.follow_first();
        after.check()?;
        Ok(after)
    }

    fn change(&self, session: &mut Session) -> Result<(), EditError> {
        match self {
            Self::AddScan(scan) => session.scans.push(scan.clone()),
            Self::RemoveScan(scan) => remove_scan(session, *scan)?,
            Self::LocateScan { scan, with } => {
                let place = session.scans.get_mut(*scan);
                place.ok_or(EditError::NoScan(*scan))?.clone_from(with);
            }
            Self::SetEncoding { scan, encoding } => {
                let scans = session.scans.get_mut(*scan);
                scans.ok_or(EditError::NoScan(*scan))?.encoding = *encoding;
            }
            Self::SetEmpty(empty) => session.empty.clone_from(empty),
            Self::SetWedge(wedge) => session.wedge.clone_from(wedge),
            Self::SetWedgeShape(shape) => {
                let wedge = session.wedge.as_mut().ok_or(EditError::NoWedge)?;
                wedge.shape.clone_from(shape);
            }
            Self::SetCalibration(used) => session.calibration.clone_from(used),
            Self::AddStrip { at, strip } => {
                if *at > session.strips.len() {
                    return Err(EditError::NoStrip(*at));
                }
                session.strips.insert(*at, strip.clone());
                renumber(session, |strip| Some(strip + usize::from(strip >= *at)));
            }
            Self::RemoveStrip(index) => {
                strip_of(session, *index)?;
                session.leave_to_heir(*index);
                session.strips.remove(*index);
                renumber(session, |strip| {
                    (strip != *index).then(|| strip - usize::from(strip > *index))
                });
            }
            Self::MoveStrip { from, to } => {
                strip_of(session, *from)?;
                strip_of(session, *to)?;
                let strip = session.strips.remove(*from);
                session.strips.insert(*to, strip);
                renumber(session, |strip| Some(moved(strip, *from, *to)));
            }
            Self::RenameStrip { strip, name } => {
                strip_of(session, *strip)?.name.clone_from(name);
            }
            Self::SetRole { strip, role } => {
                let first = session.first_of(*strip);
                strip_of(session, first)?.role = *role;
            }
            Self::SetSameAs { strip, first } => strip_of(session, *strip)?.same_as = *first,
            Self::SetExposure { strip, exposure } => {
                let first = session.first_of(*strip);
                set_exposure(strip_of(session, first)?, exposure.as_ref());
            }
            Self::SetShape { strip, shape } => {
                strip_of(session, *strip)?.shape = shape.clone().map(|shape| StripShape {
                    unexposed: vec![],
                    ..shape
                });
            }
            Self::SetUnexposed { strip, patches } => {
                let strip = strip_of(session, *strip)?;
                if patches.is_some() {
                    let shape = strip.shape.take();
                    strip.shape = shape.map(|shape| shape.with_unexposed(&[]));
                }
                strip.unexposed.clone_from(patches);
            }
            Self::ChooseReading { strip, shape } => {
                let strip = strip_of(session, *strip)?;
                strip.unexposed = Some(shape.unexposed.clone());
                strip.shape = Some(StripShape {
                    unexposed: vec![],
                    ..shape.clone()
                });
            }
            Self::PlaceArea { strip, area } => {
                let areas = &mut strip_of(session, *strip)?.areas;
                areas.retain(|other| other.field != area.field);
                areas.push(*area);
                areas.sort_by_key(|area| number_of(area.field));
            }
            Self::FreeArea { strip, field } => {
                let areas = &mut strip_of(session, *strip)?.areas;
                areas.retain(|area| area.field != *field);
            }
            Self::SetAreas { strip, areas } => {
                strip_of(session, *strip)?.areas.clone_from(areas);
            }
            Self::ExcludeStep { strip, step } => {
                let first = session.first_of(*strip);
                let excluded = &mut strip_of(session, first)?.excluded;
                if let Err(place) = excluded.binary_search(step) {
                    excluded.insert(place, *step);
                }
            }
            Self::IncludeStep { strip, step } => {
                let first = session.first_of(*strip);
                strip_of(session, first)?
                    .excluded
                    .retain(|excluded| excluded != step);
            }
            Self::SetChannel(channel) => session.settings.channel = *channel,
            Self::SetLag { lag, uncertainty } => session.settings.lag = (*lag, *uncertainty),
            Self::SetApertureError { stops } => session.settings.aperture_error_stops = *stops,
            Self::UsePriors => session.settings.priors = true,
            Self::DropPriors => session.settings.priors = false,
            Self::AddMatch(made) => session.matches.push(*made),
            Self::RemoveMatch(index) => {
                if *index >= session.matches.len() {
                    return Err(EditError::NoMatch(*index));
                }
                session.matches.remove(*index);
            }
            Self::SetPrinting(printing, _) => session.printing.clone_from(printing),
            Self::SetNotes(notes) => session.notes.clone_from(notes),
        }
        Ok(())
    }
}

/// Gives the strips their new numbers wherever one is named; a match of a strip that is gone goes
/// too.
fn renumber(session: &mut Session, number: impl Fn(usize) -> Option<usize>) {
    for strip in &mut session.strips {
        strip.same_as = strip.same_as.and_then(&number);
    }
    session.matches = session
        .matches
        .iter()
        .filter_map(|made| {
            Some(Match {
                reference: number(made.reference)?,
                coupon: number(made.coupon)?,
                ..*made
            })
        })
        .collect();
}

/// The number of a strip after another was moved.
fn moved(strip: usize, from: usize, to: usize) -> usize {
    if strip == from {
        to
    } else if from < strip && strip <= to {
        strip - 1
    } else if to <= strip && strip < from {
        strip + 1
    } else {
        strip
    }
}

fn strip_of(session: &mut Session, index: usize) -> Result<&mut Strip, EditError> {
    session
        .strips
        .get_mut(index)
        .ok_or(EditError::NoStrip(index))
}

/// The margin first, then the steps.
pub(super) fn number_of(field: Field) -> usize {
    match field {
        Field::Step(step) => step + 1,
        Field::Margin | Field::Ignored => 0,
    }
}

/// New exposures with fewer steps take the exclusions and areas of steps that are gone along.
fn set_exposure(strip: &mut Strip, exposure: Option<&Exposure>) {
    strip.exposure = exposure.cloned();
    if let Some(exposure) = exposure {
        let steps = exposure.series.steps();
        strip.excluded.retain(|&step| step < steps);
        strip.areas.retain(|area| number_of(area.field) <= steps);
    }
}

fn remove_scan(session: &mut Session, scan: usize) -> Result<(), EditError> {
    if scan >= session.scans.len() {
        return Err(EditError::NoScan(scan));
    }
    session.scans.remove(scan);
    for strip in &mut session.strips {
        // Which scan a strip was found on isn't known here: what was pointed at may be gone.
        if strip.shape.as_ref().is_none_or(|shape| shape.scan == scan) {
            strip.unexposed = None;
        }
    }
    let strips = session.strips.iter_mut().map(|strip| &mut strip.shape);
    let wedge = session.wedge.iter_mut().map(|wedge| &mut wedge.shape);
    for place in strips.chain(wedge) {
        match place {
            Some(shape) if shape.scan == scan => *place = None,
            Some(shape) if shape.scan > scan => shape.scan -= 1,
            _ => {}
        }
    }
    Ok(())
}
