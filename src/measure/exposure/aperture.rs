//! f-numbers: as engraved on a lens, and the exact ones they stand for.

use super::check::{ExposureError, check_f_number};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// The aperture of an exposure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aperture {
    /// The exact f-number.
    pub exact: f64,
    /// The number engraved on the lens, when it stands for an exact one of the usual series.
    pub engraved: Option<f64>,
}

/// Engraved numbers of the full, half and third stop series, with the stops from f/1 that
/// each stands for, in twelfths of a stop.
///
/// Two numbers are in both the half and the third series with different meanings, 1.2 and
/// 13. Each is read as the one that the engraved number is nearer to: 1.2 as a half stop
/// (1.189), 13 as a third (12.70).
///
/// Source: the usual series (ISO 517); testdata/references/f_numbers.csv. The third stops
/// above 22 and the half stops 27 and 38 are computed and rounded the same way.
const ENGRAVED: [(f64, u32); 52] = [
    // Full stops.
    (1.0, 0),
    (1.4, 12),
    (2.0, 24),
    (2.8, 36),
    (4.0, 48),
    (5.6, 60),
    (8.0, 72),
    (11.0, 84),
    (16.0, 96),
    (22.0, 108),
    (32.0, 120),
    (45.0, 132),
    (64.0, 144),
    (90.0, 156),
    (128.0, 168),
    // Half stops.
    (1.2, 6),
    (1.7, 18),
    (2.4, 30),
    (3.3, 42),
    (4.8, 54),
    (6.7, 66),
    (9.5, 78),
    (19.0, 102),
    (27.0, 114),
    (38.0, 126),
    // Third stops.
    (1.1, 4),
    (1.6, 16),
    (1.8, 20),
    (2.2, 28),
    (2.5, 32),
    (3.2, 40),
    (3.5, 44),
    (4.5, 52),
    (5.0, 56),
    (6.3, 64),
    (7.1, 68),
    (9.0, 76),
    (10.0, 80),
    (13.0, 88),
    (14.0, 92),
    (18.0, 100),
    (20.0, 104),
    (25.0, 112),
    (29.0, 116),
    (36.0, 124),
    (40.0, 128),
    (51.0, 136),
    (57.0, 140),
    (72.0, 148),
    (81.0, 152),
    (102.0, 160),
    (114.0, 164),
];

impl Aperture {
    /// Reads an f-number as engraved: one of the usual series stands for its exact value
    /// (f/11 for 2^3.5 = 11.314); any other number is taken as it is.
    ///
    /// # Errors
    /// [`ExposureError::BadFNumber`] for zero, negative, absurd or not a number.
    pub fn engraved(number: f64) -> Result<Self, ExposureError> {
        check_f_number(number)?;
        let twelfths = ENGRAVED
            .iter()
            .find(|&&(engraved, _)| engraved == number)
            .map(|&(_, twelfths)| twelfths);
        Ok(match twelfths {
            // f ~ sqrt(exposure): one stop is a factor of the square root of two.
            Some(twelfths) => Self {
                exact: (f64::from(twelfths) / 24.0).exp2(),
                engraved: Some(number),
            },
            None => Self {
                exact: number,
                engraved: None,
            },
        })
    }

    /// An f-number known exactly, whatever the lens says.
    ///
    /// # Errors
    /// [`ExposureError::BadFNumber`] for zero, negative, absurd or not a number.
    pub fn exactly(number: f64) -> Result<Self, ExposureError> {
        check_f_number(number)?;
        Ok(Self {
            exact: number,
            engraved: None,
        })
    }

    /// As a person writes it: `f/11`, or `exactly f/11` where that isn't f/11.314.
    pub fn written(&self) -> String {
        let stands_for_another =
            Self::engraved(self.exact).is_ok_and(|read| read.engraved.is_some());
        match self.engraved {
            Some(engraved) => format!("f/{engraved}"),
            None if stands_for_another => format!("exactly f/{}", self.exact),
            None => format!("f/{}", self.exact),
        }
    }
}

/// The note that an engraved f-number was read as the exact one it stands for; `None` when
/// the two are the same.
pub fn exact_aperture_note(strip: usize, name: &str, engraved: f64, exact: f64) -> Option<Finding> {
    let stops = 2.0 * (exact / engraved).log2();
    if stops.abs() < 1e-6 {
        return None;
    }
    Some(Finding {
        kind: Kind::ExactAperture,
        weight: Weight::Note,
        place: Place::strip(strip),
        seen: format!(
            "{name}: f/{engraved} as engraved was read as f/{exact:.2}, the exact number of its \
             series"
        ),
        matters: format!("The two differ by {:.2} stops of exposure.", stops.abs()),
        remedy: format!("If the lens was measured, give the number as `exactly f/{engraved}`."),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The usual series (ISO 517), see testdata/references/README.md.
    const SERIES: &str = include_str!("../../../testdata/references/f_numbers.csv");

    #[test]
    fn engraved_numbers_stand_for_the_exact_series() {
        let mut checked = 0;
        for line in SERIES.lines().skip(1) {
            let columns: Vec<&str> = line.split(',').collect();
            let number = |column: usize| columns[column].parse::<f64>().unwrap();
            let (series, nominal, exact) = (columns[0], number(2), number(3));
            let read = Aperture::engraved(nominal).unwrap();
            assert_eq!(read.engraved, Some(nominal));
            // In both series with two meanings: the nearer one counts.
            let other_meaning =
                (series == "third" && nominal == 1.2) || (series == "half" && nominal == 13.0);
            if !other_meaning {
                assert!((read.exact - exact).abs() < 1e-9, "{series} {nominal}");
                checked += 1;
            }
        }
        assert_eq!(checked, 60);
    }

    #[test]
    fn f_11_is_three_and_a_half_powers_of_two_and_the_note_says_so() {
        let read = Aperture::engraved(11.0).unwrap();
        assert!((read.exact - 2f64.powf(3.5)).abs() < 1e-12);
        let note = exact_aperture_note(1, "slate", 11.0, read.exact).unwrap();
        assert!(note.seen.contains("f/11 as engraved was read as f/11.31"));
        assert!(note.matters.contains("0.08 stops"));
        assert_eq!(exact_aperture_note(1, "slate", 16.0, 16.0), None);
    }

    #[test]
    fn a_measured_number_is_taken_as_it_is() {
        let read = Aperture::engraved(11.3).unwrap();
        assert_eq!((read.exact, read.engraved), (11.3, None));
        let exact = Aperture::exactly(11.0).unwrap();
        assert_eq!(exact.exact, 11.0);
        assert_eq!(exact.written(), "exactly f/11");
    }

    #[test]
    fn f_0_and_nan_are_refused() {
        for number in [0.0, -8.0, f64::NAN, f64::INFINITY] {
            assert!(matches!(
                Aperture::engraved(number),
                Err(ExposureError::BadFNumber(_))
            ));
        }
    }
}
