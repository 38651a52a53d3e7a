//! The print that a session plans, as it stands in its file.

use serde::{Deserialize, Serialize};

use super::dto::ScanDto;
use super::values::{FNumber, StopCount, Time};
use crate::document::printing::Printing;
use crate::document::sheet::Process;
use crate::measure::plan::{Aim, Choices, HeadMove, Piece, Recipe};
use crate::measure::units::Seconds;

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename = "Printing", deny_unknown_fields, default)]
pub(super) struct PrintingDto {
    #[serde(skip_serializing_if = "String::is_empty")]
    picture: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    recipe: Option<String>,
    #[serde(skip_serializing_if = "usual")]
    piece: PieceDto,
    #[serde(skip_serializing_if = "Option::is_none")]
    meet: Option<AimDto>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    head_raised: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    aperture: Option<FNumber>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lens: Option<(f64, f64)>,
    #[serde(skip_serializing_if = "Option::is_none")]
    blur: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    times: Option<(Time, Time)>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pieces: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    tolerance: Option<StopCount>,
    #[serde(skip_serializing_if = "Option::is_none")]
    process: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) print: Option<ScanDto>,
}

#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename = "Piece", deny_unknown_fields, default)]
struct PieceDto {
    #[serde(skip_serializing_if = "String::is_empty")]
    name: String,
    height: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    size: Option<(f64, f64)>,
    rise: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename = "tone", rename_all = "snake_case")]
enum AimDto {
    SpeedPoint,
    Highlights,
    Shadows,
    WholeScale,
    Net(f64),
}

fn usual<T: PartialEq + Default>(value: &T) -> bool {
    *value == T::default()
}

fn unless<T: PartialEq>(value: T, usual: T) -> Option<T> {
    (value != usual).then_some(value)
}

impl PrintingDto {
    /// What stands in the file; `print` is the scan of the paper print.
    pub(super) fn of(printing: &Printing, print: Option<ScanDto>) -> Self {
        let (choices, as_usual) = (&printing.choices, Choices::default());
        let piece = &printing.piece;
        let time = |seconds: f64| Time(Seconds(seconds));
        Self {
            picture: printing.picture.clone(),
            recipe: printing.recipe.as_ref().map(Recipe::written),
            piece: PieceDto {
                name: piece.name.clone(),
                height: piece.height,
                size: piece.size,
                rise: piece.rise,
            },
            meet: unless(choices.aim, as_usual.aim).map(|aim| match aim {
                Aim::SpeedPoint => AimDto::SpeedPoint,
                Aim::Highlights => AimDto::Highlights,
                Aim::Shadows => AimDto::Shadows,
                Aim::WholeScale => AimDto::WholeScale,
                Aim::Net(net) => AimDto::Net(net),
            }),
            head_raised: choices.head == HeadMove::RaisedByHeight,
            aperture: choices.aperture.map(FNumber),
            lens: unless(choices.lens, as_usual.lens),
            blur: unless(choices.blur, as_usual.blur),
            times: unless(choices.times, as_usual.times)
                .map(|(shortest, longest)| (time(shortest), time(longest))),
            pieces: unless(choices.pieces, as_usual.pieces),
            tolerance: unless(choices.tolerance, as_usual.tolerance).map(StopCount),
            process: unless(printing.process.clone(), Process::default())
                .map(|process| process.written()),
            print,
        }
    }

    /// The print; `print` is the scan of the paper print.
    ///
    /// # Errors
    /// What can't be read, in words.
    pub(super) fn printing(self, print: Option<crate::document::Scan>) -> Result<Printing, String> {
        let usual = Choices::default();
        let recipe = self
            .recipe
            .map(|text| Recipe::read(&text).map_err(|error| error.to_string()))
            .transpose()?;
        let process = match self.process {
            Some(text) => Process::read(&text).map_err(|error| error.to_string())?,
            None => Process::default(),
        };
        Ok(Printing {
            picture: self.picture,
            recipe,
            piece: Piece {
                name: self.piece.name,
                height: self.piece.height,
                size: self.piece.size,
                rise: self.piece.rise,
            },
            choices: Choices {
                aim: self.meet.map_or(usual.aim, |aim| match aim {
                    AimDto::SpeedPoint => Aim::SpeedPoint,
                    AimDto::Highlights => Aim::Highlights,
                    AimDto::Shadows => Aim::Shadows,
                    AimDto::WholeScale => Aim::WholeScale,
                    AimDto::Net(net) => Aim::Net(net),
                }),
                head: if self.head_raised {
                    HeadMove::RaisedByHeight
                } else {
                    HeadMove::Stays
                },
                aperture: self.aperture.map(|aperture| aperture.0),
                lens: self.lens.unwrap_or(usual.lens),
                blur: self.blur.unwrap_or(usual.blur),
                times: self.times.map_or(usual.times, |(shortest, longest)| {
                    (shortest.0.0, longest.0.0)
                }),
                pieces: self.pieces.unwrap_or(usual.pieces),
                tolerance: self.tolerance.map_or(usual.tolerance, |stops| stops.0),
            },
            process,
            print,
        })
    }
}
