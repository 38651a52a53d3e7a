//! Every state of a session, to go back and forth between.

use std::sync::Arc;

use super::{Edit, EditError, Session};

/// Names one state of the session; never used for another, not even after undo.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Revision(u64);

/// Names one movement of the hand, from the press up to and including the frame of release:
/// its edits are undone together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Gesture(pub u64);

#[derive(Debug, Clone)]
struct Entry {
    /// The edit that led here; empty for the first state.
    label: &'static str,
    revision: Revision,
    session: Arc<Session>,
}

/// The states of a session, whole (a few kilobytes each; scans aren't in it).
#[derive(Debug, Clone)]
pub struct History {
    /// Never empty.
    entries: Vec<Entry>,
    at: usize,
    next_revision: u64,
    /// The gesture whose further edits go into the current entry.
    open: Option<Gesture>,
    saved: Option<Revision>,
}

impl History {
    /// Starts with a session that was just read from its file.
    pub fn opened(session: Session) -> Self {
        let mut history = Self::fresh(session);
        history.saved = Some(history.revision());
        history
    }

    /// Starts with a session that is in no file yet.
    pub fn fresh(session: Session) -> Self {
        Self {
            entries: vec![Entry {
                label: "",
                revision: Revision(0),
                session: Arc::new(session),
            }],
            at: 0,
            next_revision: 1,
            open: None,
            saved: None,
        }
    }

    /// The session as it stands.
    pub fn session(&self) -> &Arc<Session> {
        &self.entries[self.at].session
    }

    /// Names the session as it stands.
    pub fn revision(&self) -> Revision {
        self.entries[self.at].revision
    }

    /// Carries out an edit; those of one gesture make one entry.
    ///
    /// An edit that changes nothing leaves no entry, and neither does a gesture that ends
    /// where it began. Anything else drops what was undone.
    ///
    /// # Errors
    /// As [`Edit::apply`]; the history is then as it was.
    pub fn perform(&mut self, edit: &Edit, gesture: Option<Gesture>) -> Result<(), EditError> {
        let after = edit.apply(self.session())?;
        if after == **self.session() {
            return Ok(());
        }
        self.entries.truncate(self.at + 1);
        if gesture.is_some() && gesture == self.open {
            self.entries.pop();
            self.at = self.entries.len() - 1;
            if after == **self.session() {
                // There and back; the rest of the gesture begins a new entry.
                self.open = None;
                return Ok(());
            }
        }
        self.entries.push(Entry {
            label: edit.label(),
            revision: Revision(self.next_revision),
            session: Arc::new(after),
        });
        self.next_revision += 1;
        self.at += 1;
        self.open = gesture;
        Ok(())
    }

    /// Goes one entry back, if there is one.
    pub fn undo(&mut self) -> bool {
        self.open = None;
        let can = self.at > 0;
        self.at -= usize::from(can);
        can
    }

    /// Goes one entry forth, if there is one.
    pub fn redo(&mut self) -> bool {
        self.open = None;
        let can = self.at + 1 < self.entries.len();
        self.at += usize::from(can);
        can
    }

    /// What undo would take back; completes "Undo …".
    pub fn undo_label(&self) -> Option<&'static str> {
        (self.at > 0).then(|| self.entries[self.at].label)
    }

    /// What redo would bring back; completes "Redo …".
    pub fn redo_label(&self) -> Option<&'static str> {
        self.entries.get(self.at + 1).map(|entry| entry.label)
    }

    /// Says that this state is the one in the file; edits made meanwhile stay unsaved.
    pub fn mark_saved(&mut self, revision: Revision) {
        self.saved = Some(revision);
    }

    /// Whether the session as it stands is the one in the file.
    pub fn is_saved(&self) -> bool {
        self.saved == Some(self.revision())
    }
}
