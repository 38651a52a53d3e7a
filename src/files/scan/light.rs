//! From code values to linear light: what the user states, what the file says, or what is
//! assumed, in this order.

use std::sync::Arc;

use super::decoded::{Claim, Decoded};
use super::error::{Format, Problem};
use super::profile;
use crate::document::Encoding;
use crate::measure::raster::{Light, Samples, Weights};

/// How the user says the code values are encoded; goes before anything the file says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum StatedEncoding {
    /// sRGB (IEC 61966-2-1).
    Srgb,
    /// Light is code^gamma, such as 2.2.
    Gamma(f64),
    /// Code values are proportional to light.
    Linear,
}

impl From<Encoding> for StatedEncoding {
    fn from(said: Encoding) -> Self {
        match said {
            Encoding::Srgb => Self::Srgb,
            Encoding::Gamma(gamma) => Self::Gamma(gamma),
            Encoding::Linear => Self::Linear,
        }
    }
}

impl std::fmt::Display for StatedEncoding {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Srgb => f.write_str("sRGB"),
            Self::Gamma(gamma) => write!(f, "gamma {gamma}"),
            Self::Linear => f.write_str("linear"),
        }
    }
}

/// Linear light of an sRGB code value given as a share of full scale (IEC 61966-2-1).
pub fn srgb_to_light(share: f64) -> f64 {
    if share <= 0.04045 {
        share / 12.92
    } else {
        ((share + 0.055) / 1.055).powf(2.4)
    }
}

/// The way to linear light for a decoded file. A profile with look-up tables converts the
/// samples as well.
pub(super) fn light(
    decoded: &mut Decoded,
    format: Format,
    stated: Option<StatedEncoding>,
) -> Result<Light, Problem> {
    if let Some(stated) = stated {
        if decoded.claim != Claim::Nothing {
            let note = "What the file says about its encoding was passed over: one was stated";
            decoded.notes.push(note.into());
        }
        return Ok(by_statement(decoded, stated, format!("stated: {stated}")));
    }
    let claim = std::mem::replace(&mut decoded.claim, Claim::Nothing);
    match claim {
        Claim::Nothing => {
            let (encoding, why) = if decoded.whole {
                (StatedEncoding::Srgb, "whole numbers")
            } else {
                (StatedEncoding::Linear, "floating point")
            };
            decoded.notes.push(format!(
                "The file doesn't say how its values are encoded; {encoding} was assumed, as is \
                 usual for {why}"
            ));
            Ok(by_statement(
                decoded,
                encoding,
                format!("assumed: {encoding}"),
            ))
        }
        Claim::Srgb(place) => Ok(by_statement(
            decoded,
            StatedEncoding::Srgb,
            format!("{place}: sRGB"),
        )),
        Claim::Gamma { gamma, weights } => {
            let mut light = by_statement(
                decoded,
                StatedEncoding::Gamma(gamma),
                format!("gAMA chunk: gamma {gamma:.3}"),
            );
            if let (Some(weights), 3) = (weights, decoded.channels) {
                light.weights = weights;
            }
            Ok(light)
        }
        Claim::CodePoints {
            primaries,
            transfer,
        } => profile::from_code_points(decoded, primaries, transfer, format),
        Claim::Tables(tables) => Ok(Light {
            tables: (0..decoded.channels)
                .map(|channel| tables[channel.min(tables.len() - 1)].clone())
                .collect(),
            weights: weights(decoded.channels),
            source: "transfer function of the file".into(),
        }),
        Claim::Profile(bytes) => profile::from_profile(decoded, &bytes),
    }
}

fn by_statement(decoded: &Decoded, encoding: StatedEncoding, source: String) -> Light {
    let table = match encoding {
        StatedEncoding::Srgb => table(&decoded.samples, srgb_to_light),
        StatedEncoding::Gamma(gamma) => table(&decoded.samples, |share| share.powf(gamma)),
        // Two points make a straight line exact.
        StatedEncoding::Linear if matches!(decoded.samples, Samples::Float(_)) => [0.0, 1.0].into(),
        StatedEncoding::Linear => table(&decoded.samples, |share| share),
    };
    Light {
        tables: vec![table; decoded.channels],
        weights: weights(decoded.channels),
        source,
    }
}

fn weights(channels: usize) -> Weights {
    if channels == 3 {
        Weights::SRGB
    } else {
        Weights::GREY
    }
}

/// Linear light of every code value that the samples can have.
pub(super) fn table(samples: &Samples, curve: impl Fn(f64) -> f64) -> Arc<[f32]> {
    let last = match samples {
        Samples::Eight(_) => 255,
        Samples::Sixteen(_) | Samples::Float(_) => 65_535,
    };
    (0..=last)
        .map(|code| curve(f64::from(code) / f64::from(last)) as f32)
        .collect()
}
