//! The recipe of a print on paper, as a printer keeps it with the negative.

use serde::Serialize;

use crate::measure::exposure::Aperture;
use crate::measure::units::Seconds;

/// A grade of contrast, or the filter that stands for it, and what it costs.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Grade {
    /// As the printer calls it: `2`, `00`, `3 1/2`; `None` for white light.
    pub name: Option<String>,
    /// How many times the exposure of white light the paper needs with it; `None` when nobody
    /// says (counts as 1).
    pub factor: Option<f64>,
}

impl Grade {
    /// How many times the exposure of white light it takes.
    pub fn speed_factor(&self) -> f64 {
        self.factor.unwrap_or(1.0)
    }

    /// White light: no grade and no factor.
    pub fn is_white(&self) -> bool {
        *self == Self::default()
    }
}

/// One burst of light on the whole print.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Burst {
    /// How long.
    pub time: Seconds,
    /// Through which grade.
    pub grade: Grade,
}

/// How large the picture is thrown.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Throw {
    /// Nobody says.
    Unknown,
    /// Print size over negative size.
    Magnified(f64),
    /// From negative to easel, millimetres.
    Head(f64),
}

/// Which way a part of the picture is changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Way {
    /// More light, after the base exposure.
    Burn,
    /// Light held back during the base exposure.
    Dodge,
}

impl Way {
    /// `burn` or `dodge`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Burn => "burn",
            Self::Dodge => "dodge",
        }
    }
}

/// How much.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Amount {
    /// In stops, above 0.
    Stops(f64),
    /// In seconds, above 0.
    Time(Seconds),
}

/// The tone that a part of the finished print has.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// Light grey with detail: net density [`Tone::HIGHLIGHTS`].
    Highlights,
    /// Middle grey: the speed point, net density 0.60.
    Middle,
    /// Dark grey with detail: net density [`Tone::SHADOWS`].
    Shadows,
    /// This net density.
    Net(f64),
}

impl Tone {
    /// Net density that "highlights" stands for (common practice, no source: the lightest
    /// tone that shows detail lies at 0.04, the range of ISO 6846 begins there; a fifth of a
    /// density above white is where a printer judges highlights).
    pub const HIGHLIGHTS: f64 = 0.20;
    /// Net density that "shadows" stands for (common practice, no source).
    pub const SHADOWS: f64 = 1.20;

    /// The net density it stands for.
    pub fn net(self) -> f64 {
        match self {
            Self::Highlights => Self::HIGHLIGHTS,
            Self::Middle => crate::measure::curve::model::SPEED_NET,
            Self::Shadows => Self::SHADOWS,
            Self::Net(net) => net,
        }
    }
}

/// A part of the picture that gets more or less light than the rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// More or less.
    pub way: Way,
    /// What the printer calls the part: `sky`, `left quay`.
    pub name: String,
    /// How much.
    pub amount: Amount,
    /// Through which grade, when it is not that of the (first) base exposure.
    pub grade: Option<Grade>,
    /// Tone of the part in the finished print; middle grey when nobody says.
    pub tone: Option<Tone>,
}

/// How a print was made on paper.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Recipe {
    /// The base exposure: one burst, or one for each grade when split.
    pub base: Vec<Burst>,
    /// Aperture of the enlarger's lens.
    #[serde(serialize_with = "exact_f_number")]
    pub aperture: Aperture,
    /// How large.
    pub throw: Throw,
    /// Focal length of the enlarger's lens, millimetres.
    pub focal_length: Option<f64>,
    /// Net densities of the lightest and the darkest tone that must show detail; `None`: the
    /// whole scale of the paper.
    pub tones: Option<(f64, f64)>,
    /// Burns and dodges in their order.
    pub changes: Vec<Change>,
}

fn exact_f_number<S: serde::Serializer>(aperture: &Aperture, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(aperture.exact)
}

impl Recipe {
    /// A straight print in white light.
    pub fn straight(time: Seconds, aperture: Aperture) -> Self {
        Self {
            base: vec![Burst {
                time,
                grade: Grade::default(),
            }],
            aperture,
            throw: Throw::Unknown,
            focal_length: None,
            tones: None,
            changes: vec![],
        }
    }

    /// Seconds of white light that the base exposure is worth, for a lamp that needs `lag`
    /// seconds a burst before it gives light. Not above 0 when the lag swallows every burst.
    pub fn white_seconds(&self, lag: f64) -> f64 {
        self.base
            .iter()
            .map(|burst| (burst.time.0 - lag).max(0.0) / burst.grade.speed_factor())
            .sum()
    }

    /// Seconds that the lamp was on for the base exposure.
    pub fn lamp_seconds(&self) -> f64 {
        self.base.iter().map(|burst| burst.time.0).sum()
    }

    /// Stops (positive for a burn) by which the light on a part differs from the base
    /// exposure; minus infinity when nothing is left.
    pub fn stops_of(&self, change: &Change, lag: f64) -> f64 {
        let seconds = match (change.way, change.amount) {
            (Way::Burn, Amount::Stops(stops)) => return stops,
            (Way::Dodge, Amount::Stops(stops)) => return -stops,
            (Way::Burn, Amount::Time(time)) => time.0 - lag,
            (Way::Dodge, Amount::Time(time)) => -time.0,
        };
        let first = self.base.first().map(|burst| &burst.grade);
        let factor = change
            .grade
            .as_ref()
            .or(first)
            .map_or(1.0, Grade::speed_factor);
        let share = seconds / factor / self.white_seconds(lag);
        (1.0 + share).max(0.0).log2()
    }

    /// Whether any light of the print went through a grade with no factor said.
    pub fn grade_without_factor(&self) -> Option<&str> {
        let bursts = self.base.iter().map(|burst| &burst.grade);
        let changes = self
            .changes
            .iter()
            .filter_map(|change| change.grade.as_ref());
        bursts
            .chain(changes)
            .find(|grade| grade.factor.is_none() && grade.name.is_some())
            .and_then(|grade| grade.name.as_deref())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recipe(time: f64) -> Recipe {
        Recipe::straight(Seconds(time), Aperture::engraved(8.0).unwrap())
    }

    fn burn(seconds: f64, factor: f64) -> Change {
        Change {
            way: Way::Burn,
            name: "sky".into(),
            amount: Amount::Time(Seconds(seconds)),
            grade: Some(Grade {
                name: Some("00".into()),
                factor: Some(factor),
            }),
            tone: None,
        }
    }

    #[test]
    fn burning_for_as_long_again_is_one_stop_and_through_a_filter_of_factor_2_half_of_that() {
        let recipe = recipe(10.0);
        assert!((recipe.stops_of(&burn(10.0, 1.0), 0.0) - 1.0).abs() < 1e-12);
        let filtered = recipe.stops_of(&burn(10.0, 2.0), 0.0);
        assert!((filtered - 1.5f64.log2()).abs() < 1e-12);
        let dodge = Change {
            way: Way::Dodge,
            amount: Amount::Time(Seconds(5.0)),
            grade: None,
            ..burn(0.0, 1.0)
        };
        assert!((recipe.stops_of(&dodge, 0.0) + 1.0).abs() < 1e-12);
    }

    #[test]
    fn every_burst_of_a_split_exposure_loses_the_lag_and_is_weighed_by_its_factor() {
        let mut split = recipe(10.0);
        split.base.push(Burst {
            time: Seconds(8.0),
            grade: Grade {
                name: Some("5".into()),
                factor: Some(2.0),
            },
        });
        assert!((split.white_seconds(0.5) - (9.5 + 3.75)).abs() < 1e-12);
        assert_eq!(split.lamp_seconds(), 18.0);
        assert_eq!(split.grade_without_factor(), None);
        split.base[1].grade.factor = None;
        assert_eq!(split.grade_without_factor(), Some("5"));
    }
}
