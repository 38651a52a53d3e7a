//! Strips that are another strip of the list, seen once more.

use super::edit::number_of;
use super::{Session, Strip};

impl Session {
    /// The strip that this one is, if it is another one seen once more; else itself.
    pub fn first_of(&self, strip: usize) -> usize {
        let first = self.strips.get(strip).and_then(|strip| strip.same_as);
        first.unwrap_or(strip)
    }

    /// Whether other strips are this one, seen once more.
    pub fn is_repeated(&self, strip: usize) -> bool {
        self.strips.iter().any(|other| other.same_as == Some(strip))
    }

    /// Gives every repeat what is said of the strip that it is.
    pub(super) fn follow_first(&mut self) {
        for index in 0..self.strips.len() {
            let first = self.first_of(index);
            let Some(first) = self.strips.get(first).filter(|_| first != index).cloned() else {
                continue;
            };
            let strip = &mut self.strips[index];
            if let Some(exposure) = &first.exposure {
                let steps = exposure.series.steps();
                strip.areas.retain(|area| number_of(area.field) <= steps);
            }
            strip.role = first.role;
            strip.exposure = first.exposure;
            strip.excluded = first.excluded;
        }
    }

    /// Before a strip goes: its first repeat takes its place.
    pub(super) fn leave_to_heir(&mut self, strip: usize) {
        let repeats = |other: &Strip| other.same_as == Some(strip);
        let Some(heir) = self.strips.iter().position(repeats) else {
            return;
        };
        for other in self.strips.iter_mut().filter(|other| repeats(other)) {
            other.same_as = Some(heir);
        }
        self.strips[heir].same_as = None;
    }

    /// Whether a repeat can be what it is said to be.
    pub(super) fn check_same(&self, index: usize, strip: &Strip) -> Result<(), String> {
        let Some(number) = strip.same_as else {
            return Ok(());
        };
        let first = self.strips.get(number);
        let first = first.ok_or_else(|| format!("there is no strip {}", number + 1))?;
        if number == index {
            return Err("it can't be itself seen once more".into());
        }
        if first.same_as.is_some() {
            return Err(format!(
                "{} is itself another strip seen once more; name that one",
                first.name
            ));
        }
        let of = |strip: &Strip| (strip.role, strip.exposure.clone(), strip.excluded.clone());
        if of(strip) != of(first) {
            return Err(format!(
                "it is {} seen once more, but not described alike",
                first.name
            ));
        }
        Ok(())
    }
}
