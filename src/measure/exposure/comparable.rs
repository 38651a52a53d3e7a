//! Whether the light of two strips can be held against each other.
//!
//! Magnification, filter and height enter as factors of the light. Where they are said of one strip
//! alone, the other's would have to be guessed, and a guess is off by stops.

use super::Exposures;
use crate::measure::optics::Thrown;

/// Heights nearer than this are one plane, mm.
const ONE_PLANE: f64 = 1e-6;

/// Why two strips' exposures can't be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Incomparable {
    /// The magnification is said of one strip only.
    Magnification,
    /// The filter is said of one strip only.
    Filter,
    /// The height is said of one strip only.
    Height,
    /// The heights differ, and magnification or focal length are not said of both strips.
    Enlarger,
    /// A strip lay so high that nothing would be sharp on it.
    TooHigh,
}

impl Incomparable {
    /// The word of the session file that is missing, or wrong, for one of the strips.
    pub fn word(self) -> &'static str {
        match self {
            Self::Magnification => "magnification",
            Self::Filter => "filter",
            Self::Height | Self::TooHigh => "height",
            Self::Enlarger => "lens",
        }
    }
}

/// Whether two strips' exposures can be compared.
///
/// # Errors
/// The first thing that is said of one alone, or that their heights need and nobody says.
pub fn comparable(one: &Exposures, other: &Exposures) -> Result<(), Incomparable> {
    if one.magnification.is_some() != other.magnification.is_some() {
        return Err(Incomparable::Magnification);
    }
    if one.filter_density.is_some() != other.filter_density.is_some() {
        return Err(Incomparable::Filter);
    }
    let (Some(first), Some(second)) = (one.height, other.height) else {
        return match one.height.is_some() == other.height.is_some() {
            true => Ok(()),
            false => Err(Incomparable::Height),
        };
    };
    let alike = one.magnification == other.magnification;
    if (first - second).abs() <= ONE_PLANE && (alike || first.abs() <= ONE_PLANE) {
        return Ok(());
    }
    for strip in [one, other] {
        let (Some(m), Some(focal_length)) = (strip.magnification, strip.focal_length) else {
            return Err(Incomparable::Enlarger);
        };
        Thrown::new(focal_length, m, strip.height.unwrap_or(0.0)).ok_or(Incomparable::TooHigh)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::exposure::Series;
    use crate::measure::units::{DECADES_PER_STOP, Seconds};

    fn exposures() -> Exposures {
        Exposures {
            series: Series::List {
                times: [2.0, 4.0, 8.0].map(Seconds).to_vec(),
            },
            f_number: 8.0,
            magnification: None,
            filter_density: None,
            height: None,
            focal_length: None,
        }
    }

    /// Before, a `magnification: 4` on one strip shifted the answer by 2 log2(1 + 4) = 4.64 stops
    /// without a word.
    #[test]
    fn what_is_said_of_one_strip_alone_is_refused() {
        let bare = exposures();
        let cases = [
            (
                Incomparable::Magnification,
                Exposures {
                    magnification: Some(4.0),
                    ..exposures()
                },
            ),
            (
                Incomparable::Filter,
                Exposures {
                    filter_density: Some(0.3),
                    ..exposures()
                },
            ),
            (
                Incomparable::Height,
                Exposures {
                    height: Some(12.0),
                    ..exposures()
                },
            ),
        ];
        for (why, said) in cases {
            assert_eq!(comparable(&bare, &said), Err(why));
            assert_eq!(comparable(&said, &bare), Err(why));
            assert_eq!(comparable(&said, &said), Ok(()));
        }
        assert_eq!(comparable(&bare, &bare), Ok(()));
        let none = Exposures {
            filter_density: Some(0.0),
            ..exposures()
        };
        let filtered = Exposures {
            filter_density: Some(0.3),
            ..exposures()
        };
        assert_eq!(comparable(&none, &filtered), Ok(()));
    }

    #[test]
    fn different_heights_need_the_enlarger_and_then_count_in_the_light() {
        let at = |height: f64, m: f64| Exposures {
            height: Some(height),
            magnification: Some(m),
            focal_length: Some(80.0),
            ..exposures()
        };
        let bare = Exposures {
            height: Some(12.0),
            ..exposures()
        };
        let easel = Exposures {
            height: Some(0.0),
            ..exposures()
        };
        assert_eq!(comparable(&easel, &bare), Err(Incomparable::Enlarger));
        assert_eq!(comparable(&at(0.0, 4.0), &at(12.0, 4.0)), Ok(()));
        assert_eq!(
            comparable(&at(0.0, 1.2), &at(100.0, 1.2)),
            Err(Incomparable::TooHigh)
        );
        // testdata/recipes works both by hand.
        for (height, m, stops) in [(12.0, 4.0, 0.0941), (40.0, 2.5, 0.5793)] {
            let [low, high] = [0.0, height].map(|h| at(h, m).log_exposures(0.0)[0]);
            let gained = (high - low) / DECADES_PER_STOP;
            assert!((gained - stops).abs() < 1e-4, "{gained}");
        }
    }
}
