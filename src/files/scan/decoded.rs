//! What the decoders of the kinds of file hand over.

use std::sync::Arc;

use crate::measure::raster::{Samples, Weights};

/// A decoded file, before its code values have a meaning.
#[derive(Debug)]
pub(super) struct Decoded {
    pub width: usize,
    pub height: usize,
    /// 1 or 3.
    pub channels: usize,
    pub samples: Samples,
    /// Bits per code value in the file.
    pub bits: u8,
    pub lossy: bool,
    /// Whether its code values are whole numbers.
    pub whole: bool,
    /// Pixels per millimetre across and down.
    pub resolution: Option<[f64; 2]>,
    pub claim: Claim,
    pub notes: Vec<String>,
}

impl Decoded {
    /// The mean of both directions; a difference that matters is noted.
    pub(super) fn pixels_per_mm(&mut self) -> Option<f64> {
        let [across, down] = self.resolution.filter(|both| {
            // Beyond this no scanner goes; it is a placeholder such as 1 pixel per inch.
            both.iter().all(|&value| (0.5..2000.0).contains(&value))
        })?;
        if (across / down).ln().abs() > 0.01 {
            self.notes.push(format!(
                "The resolutions across and down differ: {:.0} and {:.0} pixels per inch; their mean is \
                 taken",
                across * 25.4,
                down * 25.4
            ));
        }
        Some((across + down) / 2.0)
    }
}

/// What a file says about the meaning of its code values.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Claim {
    Nothing,
    /// An embedded ICC profile.
    Profile(Vec<u8>),
    /// sRGB; where that is said.
    Srgb(&'static str),
    /// Light is code^gamma; the weights, if primaries are given.
    Gamma {
        gamma: f64,
        weights: Option<Weights>,
    },
    /// Coding-independent code points (ITU-T H.273): primaries and transfer.
    CodePoints {
        primaries: u8,
        transfer: u8,
    },
    /// Linear light of each code value, a table a channel.
    Tables(Vec<Arc<[f32]>>),
}
