//! The session as a person describes it, edits as values, and their history.
