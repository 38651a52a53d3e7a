//! What is to be printed on what: the recipe of the paper print, the piece, and the printer's
//! choices.

use super::planning::{NoBasis, basis_of_session};
use super::sheet::{Process, process::MOST_BATHS};
use super::{Scan, Session};
use crate::measure::analysis::Analysis;
use crate::measure::plan::bracket::MOST_PIECES;
use crate::measure::plan::{Aim, Basis, Choices, Piece, Plan, Recipe, basis, carry};

/// Most letters of a name: more than fit on a line anywhere.
pub const LONGEST_NAME: usize = 200;
/// Heights and rises that are believed, mm.
const HIGHEST: f64 = 500.0;
/// Sizes that are believed, mm.
const LARGEST: f64 = 10_000.0;

/// One print on one kind of piece.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Printing {
    /// What the picture is called.
    pub picture: String,
    /// How the paper print was made; `None` before anybody says.
    pub recipe: Option<Recipe>,
    /// The piece.
    pub piece: Piece,
    /// Tone, head, aperture, pieces left, tolerance.
    pub choices: Choices,
    /// The baths.
    pub process: Process,
    /// The scan of the finished paper print, for the tone preview.
    pub print: Option<Scan>,
}

impl Printing {
    /// Whether it makes sense in itself.
    ///
    /// # Errors
    /// The first thing that doesn't, in words.
    pub fn check(&self) -> Result<(), String> {
        for name in [&self.picture, &self.piece.name] {
            if name.chars().count() > LONGEST_NAME {
                return Err(format!("names have at most {LONGEST_NAME} letters"));
            }
            super::plain::check_line(name)?;
        }
        if let Some(recipe) = &self.recipe {
            recipe.check().map_err(|error| error.to_string())?;
        }
        let Piece {
            height, size, rise, ..
        } = self.piece;
        if !(-HIGHEST..=HIGHEST).contains(&height) {
            return Err(format!(
                "a piece {height} mm above the easel: at most {HIGHEST} mm are believed"
            ));
        }
        if !(0.0..=HIGHEST).contains(&rise) {
            return Err(format!(
                "a face that rises by {rise} mm: it must be between 0 and {HIGHEST} mm"
            ));
        }
        let believed = |side: f64| side > 0.0 && side <= LARGEST;
        if let Some((width, length)) = size
            && !(believed(width) && believed(length))
        {
            return Err(format!(
                "a piece of {width} x {length} mm: sides are above 0 and at most {LARGEST} mm"
            ));
        }
        check_choices(&self.choices)?;
        if self.process.stages.is_empty() || self.process.stages.len() > MOST_BATHS {
            return Err(format!("a process has 1 to {MOST_BATHS} baths"));
        }
        Ok(())
    }
}

fn check_choices(choices: &Choices) -> Result<(), String> {
    if let Aim::Net(net) = choices.aim
        && !(0.0..=4.0).contains(&net)
    {
        return Err(format!(
            "net density {net} as the tone to meet: it must be between 0 and 4"
        ));
    }
    let (widest, smallest) = choices.lens;
    if !(0.5..=128.0).contains(&widest) || !(widest..=128.0).contains(&smallest) {
        return Err(format!(
            "a lens from f/{widest} to f/{smallest}: write the wider opening first"
        ));
    }
    if !(choices.blur > 0.0 && choices.blur <= 5.0) {
        return Err(format!(
            "a blur of {} mm: it must be above 0 and at most 5 mm",
            choices.blur
        ));
    }
    let (shortest, longest) = choices.times;
    if !(shortest > 0.0 && shortest < longest && longest <= 36_000.0) {
        return Err(format!(
            "times from {shortest} to {longest} s: the shorter comes first, both above 0"
        ));
    }
    if !(1..=MOST_PIECES).contains(&choices.pieces) {
        return Err(format!(
            "{} pieces: a bracket is worked out for 1 to {MOST_PIECES}",
            choices.pieces
        ));
    }
    if !(choices.tolerance > 0.0 && choices.tolerance <= 2.0) {
        return Err(format!(
            "a tolerance of {} stops: it must be above 0 and at most 2",
            choices.tolerance
        ));
    }
    Ok(())
}

/// A plan with what it was made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Planned {
    /// What is known of the emulsion.
    pub basis: Basis,
    /// The plan.
    pub plan: Plan,
}

impl Printing {
    /// The plan by what is known; `None` before there is a recipe.
    pub fn planned(&self, basis: Basis) -> Option<Planned> {
        let plan = carry(self.recipe.as_ref()?, &self.piece, &basis, &self.choices);
        Some(Planned { basis, plan })
    }
}

impl Session {
    /// The plan for the session's print with one of its pairs; `None` before there is a recipe.
    ///
    /// # Errors
    /// Why the pair says too little for a plan.
    pub fn planned(&self, analysis: &Analysis, pair: usize) -> Option<Result<Planned, NoBasis>> {
        let printing = self.printing.as_ref()?;
        printing.recipe.as_ref()?;
        match basis_of_session(self, analysis, pair, basis::SESSION_ERROR) {
            Ok(basis) => printing.planned(basis).map(Ok),
            Err(none) => Some(Err(none)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_print_is_refused_for_what_cannot_be() {
        assert_eq!(Printing::default().check(), Ok(()));
        let refused = |change: fn(&mut Printing)| {
            let mut printing = Printing::default();
            change(&mut printing);
            printing.check().expect_err("refused")
        };
        assert!(refused(|p| p.piece.height = 900.0).contains("900"));
        assert!(refused(|p| p.piece.rise = -1.0).contains("rises"));
        assert!(refused(|p| p.piece.size = Some((0.0, 10.0))).contains("0 x 10"));
        assert!(refused(|p| p.choices.pieces = 0).contains("0 pieces"));
        assert!(refused(|p| p.choices.tolerance = f64::NAN).contains("tolerance"));
        assert!(refused(|p| p.choices.times = (9.0, 3.0)).contains("shorter"));
        assert!(refused(|p| p.choices.lens = (22.0, 4.0)).contains("wider"));
        assert!(refused(|p| p.choices.aim = Aim::Net(-1.0)).contains("net density"));
        assert!(refused(|p| p.choices.blur = 0.0).contains("blur"));
        assert!(refused(|p| p.process.stages.clear()).contains("baths"));
        assert!(refused(|p| p.picture = "x".repeat(201)).contains("200"));
    }
}
