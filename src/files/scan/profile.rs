//! Embedded ICC profiles (ICC.1, versions 2 and 4) and code points (ITU-T H.273).
//!
//! A profile of curves and a matrix becomes a table a channel and luminance weights (the Y
//! row of the matrix): exact, and no second copy of the picture. A profile that has look-up
//! tables converts the samples, see [`convert`]; tables go before curves (ICC.1:2010, 8.10).

use moxcms::{
    Chromaticity, CicpColorPrimaries, CicpProfile, ColorPrimaries, ColorProfile, DataColorSpace,
    MatrixCoefficients, ParsingOptions, ProfileText, ToneReprCurve, TransferCharacteristics,
};

use super::convert;
use super::curve;
use super::decoded::Decoded;
use super::error::{Format, Problem};
use super::light::table;
use super::tables::light_of_lightness;
use crate::measure::raster::{Light, Weights};
use crate::measure::visual;

/// The way to linear light by an embedded profile.
pub(super) fn from_profile(decoded: &mut Decoded, bytes: &[u8]) -> Result<Light, Problem> {
    let unusable = |what: &str| Problem::Profile { what: what.into() };
    let options = ParsingOptions {
        max_allowed_trc_size: 65_536,
        ..ParsingOptions::default()
    };
    let profile = ColorProfile::new_from_slice_with_options(bytes, options)
        .map_err(|error| unusable(&format!("it is damaged: {error}")))?;
    let source = format!("embedded profile '{}'", name(&profile));
    match (profile.color_space, decoded.channels) {
        (DataColorSpace::Rgb, _) => {
            let curves = [&profile.red_trc, &profile.green_trc, &profile.blue_trc];
            if decoded.channels == 3 && convert::has_tables(&profile) {
                convert::convert(decoded, &profile, source)
            } else if let [Some(red), Some(green), Some(blue)] = curves {
                by_matrix(decoded, &profile, [red, green, blue], source)
            } else {
                Err(unusable("it has neither curves nor tables for this scan"))
            }
        }
        (DataColorSpace::Gray, 1) => {
            let curve = profile
                .gray_trc
                .as_ref()
                .ok_or_else(|| unusable("it has no curve"))?;
            // Over CIELAB the curve gives lightness (ICC.1:2010, 9.2.30 and 6.3.4.2).
            let to_light = match profile.pcs {
                DataColorSpace::Lab => |share: f64| light_of_lightness(100.0 * share),
                _ => |share: f64| share,
            };
            Ok(Light {
                tables: vec![tabulate(decoded, curve, to_light)?],
                weights: Weights::GREY,
                source,
            })
        }
        (DataColorSpace::Gray, _) => Err(unusable("it is for grey, and the scan is in colour")),
        _ => Err(unusable("it is neither for grey nor for RGB")),
    }
}

/// The way to linear light by code points.
pub(super) fn from_code_points(
    decoded: &Decoded,
    primaries: u8,
    transfer: u8,
    format: Format,
) -> Result<Light, Problem> {
    let unknown = || {
        Problem::unsupported(
            format,
            format_args!("colour by code points {primaries} and {transfer}"),
            "state its encoding: sRGB, a gamma, or linear",
        )
    };
    let color_primaries = CicpColorPrimaries::try_from(primaries).map_err(|_| unknown())?;
    let transfer_characteristics =
        TransferCharacteristics::try_from(transfer).map_err(|_| unknown())?;
    let curve = ToneReprCurve::make_cicp_linear_evaluator(transfer_characteristics)
        .map_err(|_| unknown())?;
    let profile = ColorProfile::new_from_cicp(CicpProfile {
        color_primaries,
        transfer_characteristics,
        matrix_coefficients: MatrixCoefficients::Identity,
        full_range: true,
    });
    let table = table(&decoded.samples, |share| {
        f64::from(curve.evaluate_value(share as f32))
    });
    Ok(Light {
        tables: vec![table; decoded.channels],
        weights: if decoded.channels == 3 {
            matrix_weights(&profile)?
        } else {
            Weights::GREY
        },
        source: format!("cICP chunk: primaries {primaries}, transfer {transfer}"),
    })
}

fn by_matrix(
    decoded: &mut Decoded,
    profile: &ColorProfile,
    curves: [&ToneReprCurve; 3],
    source: String,
) -> Result<Light, Problem> {
    let alike = curves[0] == curves[1] && curves[1] == curves[2];
    if decoded.channels == 1 {
        let note = "The scan is grey and its profile is for RGB; the green curve was used";
        if !alike {
            decoded.notes.push(note.into());
        }
        return Ok(Light {
            tables: vec![tabulate(decoded, curves[1], |share| share)?],
            weights: Weights::GREY,
            source,
        });
    }
    let tables = if alike {
        vec![tabulate(decoded, curves[0], |share| share)?; 3]
    } else {
        let each = curves
            .iter()
            .map(|curve| tabulate(decoded, curve, |share| share));
        each.collect::<Result<_, _>>()?
    };
    Ok(Light {
        tables,
        weights: matrix_weights(profile)?,
        source,
    })
}

/// What a profile's primaries weigh.
fn matrix_weights(profile: &ColorProfile) -> Result<Weights, Problem> {
    let primaries = [
        profile.red_colorant,
        profile.green_colorant,
        profile.blue_colorant,
    ];
    weights_of(primaries.map(|primary| [primary.x, primary.y, primary.z])).ok_or_else(|| {
        Problem::Profile {
            what: "its primaries make no white".into(),
        }
    })
}

/// Weights of primaries given as X, Y, Z for D50: the Y row of the matrix that they are, scaled so
/// that white is 1, and what a visual densitometer would weigh. `None` when they make no white.
fn weights_of(primaries: [[f64; 3]; 3]) -> Option<Weights> {
    let row = primaries.map(|[_, y, _]| y);
    let white = [0, 1, 2].map(|axis| primaries.iter().map(|primary| primary[axis]).sum::<f64>());
    // Blue may lie a little below zero in very wide spaces; a sum far from 1 is nonsense.
    let sound = white.iter().all(|sum| (0.5..2.0).contains(sum))
        && row.iter().all(|y| (-0.1..1.5).contains(y));
    sound.then(|| Weights {
        luminance: row.map(|y| (y / white[1]) as f32),
        visual: visual::of_primaries(primaries),
    })
}

/// Weights of primaries and white given as CIE 1931 x, y: the Y row of the matrix that takes RGB
/// to XYZ (ITU-R BT.709 gives the derivation). `None` when they make no white.
pub(super) fn weights_of_primaries(primaries: [[f64; 2]; 3], white: [f64; 2]) -> Option<Weights> {
    let point = |[x, y]: [f64; 2]| Chromaticity::new(x as f32, y as f32);
    let [red, green, blue] = primaries.map(point);
    let matrix =
        ColorProfile::colorants_matrix(point(white).to_xyyb(), ColorPrimaries { red, green, blue });
    let adapted = [0, 1, 2].map(|primary| [0, 1, 2].map(|axis| matrix.v[axis][primary]));
    let visual = weights_of(adapted)?.visual;
    let xyz = |[x, y]: [f64; 2]| [x / y, 1.0, (1.0 - x - y) / y];
    let columns = primaries.map(xyz);
    let matrix = nalgebra::Matrix3::from_fn(|row, column| columns[column][row]);
    let share = matrix.try_inverse()? * nalgebra::Vector3::from(xyz(white));
    // Y of each primary is its share, since its Y was set to 1.
    let luminance = [share[0], share[1], share[2]].map(|weight| weight as f32);
    let sound = luminance.iter().all(|weight| (-0.1..1.1).contains(weight))
        && (luminance.iter().sum::<f32>() - 1.0).abs() < 1e-3;
    sound.then_some(Weights { luminance, visual })
}

/// The linear light of every code value by a curve of a profile and what its values mean.
fn tabulate(
    decoded: &Decoded,
    curve: &ToneReprCurve,
    to_light: fn(f64) -> f64,
) -> Result<std::sync::Arc<[f32]>, Problem> {
    let unusable = |what: &str| Problem::Profile { what: what.into() };
    let function = curve::function(curve).ok_or_else(|| unusable("its curve is damaged"))?;
    let table = table(&decoded.samples, |share| to_light(function(share)));
    // The pieces of a parametric curve may miss each other by a rounding.
    let rising = table.windows(2).all(|pair| pair[1] - pair[0] > -1e-4);
    let (black, white) = (table[0], table[table.len() - 1]);
    if !rising || !white.is_finite() || black < -0.1 || white - black < 0.1 {
        return Err(unusable("its curve doesn't rise from black to white"));
    }
    // Light is relative to the scan's white, and none is less than none.
    Ok(table.iter().map(|light| (light / white).max(0.0)).collect())
}

fn name(profile: &ColorProfile) -> String {
    let text = match &profile.description {
        Some(ProfileText::PlainString(text)) => text.as_str(),
        Some(ProfileText::Localizable(texts)) => texts
            .iter()
            .find(|text| text.language.starts_with("en"))
            .or(texts.first())
            .map_or("", |text| text.value.as_str()),
        Some(ProfileText::Description(text)) if text.ascii_string.is_empty() => {
            text.unicode_string.as_str()
        }
        Some(ProfileText::Description(text)) => text.ascii_string.as_str(),
        None => "",
    };
    let text: String = text
        .chars()
        .filter(|letter| !letter.is_control())
        .take(80)
        .collect();
    match text.trim() {
        "" => "without a name".into(),
        text => text.into(),
    }
}
