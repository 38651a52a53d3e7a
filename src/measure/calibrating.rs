//! From scans of wedges to the calibration of a scanner.

use std::sync::Arc;

use super::finding::{Finding, Kind, Place, Weight, settle};
use super::raster::{CHANNELS, Channel, Raster};
use super::reading::cells::{self, CellOptions};
use super::scale::calibration::{
    Calibration, CalibrationFit, CalibrationGap, SeenChannel, SeenField, channel_word, see,
};
use super::strip::{self, Wanted, WantedWedge};
use super::watch::{Cancelled, Watch};

/// Densities of a wedge's fields, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct References {
    /// As the eye has them (ISO 5-3 visual).
    pub visual: Vec<f64>,
    /// Through a red, a green and a blue filter, where that is known; else a neutral wedge is
    /// taken to have its visual density in every channel.
    pub channels: Option<[Vec<f64>; 3]>,
}

impl References {
    /// The densities that a channel is held against.
    pub fn of(&self, channel: Channel) -> &[f64] {
        let place = match channel {
            Channel::Luminance | Channel::Visual => None,
            Channel::Red => Some(0),
            Channel::Green => Some(1),
            Channel::Blue => Some(2),
        };
        match (place, &self.channels) {
            (Some(place), Some(channels)) => &channels[place],
            _ => &self.visual,
        }
    }
}

/// A scan and the densities of the wedge on it.
#[derive(Debug, Clone)]
pub struct WedgeScan {
    /// The scan.
    pub raster: Arc<Raster>,
    /// The wedge's densities.
    pub references: References,
}

/// What the scans show in each channel, or what is wrong.
#[derive(Debug, Clone, PartialEq)]
pub struct Looked {
    /// One entry a channel; empty when a finding says why.
    pub channels: Vec<SeenChannel>,
    /// What a person should be told.
    pub findings: Vec<Finding>,
}

/// What each channel of a calibration gives.
pub type Fits = Vec<(Channel, Result<CalibrationFit, CalibrationGap>)>;

/// What a calibration is good for.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The curve of each channel.
    pub fits: Fits,
    /// What a person should be told, heaviest first.
    pub findings: Vec<Finding>,
}

impl Judged {
    /// Whether scans can be read by it: nothing forbids it, and a channel has a curve.
    pub fn answered(&self) -> bool {
        let blocked = self.findings.iter().any(|f| f.weight == Weight::Blocking);
        !blocked && self.fits.iter().any(|(_, fit)| fit.is_ok())
    }
}

/// Fits the curves of a calibration and says what is to be known of it; `findings` are those of
/// its scans.
pub fn judge(calibration: &Calibration, mut findings: Vec<Finding>) -> Judged {
    let fits: Fits = calibration
        .channels
        .iter()
        .map(|seen| (seen.channel, calibration.fit(seen.channel)))
        .collect();
    for (channel, fit) in &fits {
        match fit {
            Ok(fit) => findings.extend(curve_findings(*channel, fit)),
            Err(gap) => findings.push(without_channel(*channel, gap)),
        }
    }
    settle_by_weight(&mut findings);
    Judged { fits, findings }
}

/// Heaviest first; [`settle`] would keep one of those that are about no place.
fn settle_by_weight(findings: &mut Vec<Finding>) {
    let (placed, unplaced): (Vec<Finding>, Vec<Finding>) = findings
        .drain(..)
        .partition(|finding| finding.place.scan.is_some());
    *findings = placed;
    settle(findings);
    findings.extend(unplaced);
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
}

/// What all scans show in one channel.
#[derive(Debug, Clone, Default)]
struct Gathered {
    fields: Vec<SeenField>,
    strays: Vec<(f64, f64)>,
    /// Whether a scan showed the wedge in luminance and not in this channel.
    unread: bool,
}

/// Finds the wedge on each scan and reads its fields in every channel: luminance, and visual,
/// red, green and blue where all scans are in colour.
///
/// # Errors
/// [`Cancelled`] when the watch says so.
pub fn look(scans: &[WedgeScan], watch: &dyn Watch) -> Result<Looked, Cancelled> {
    let grey = scans.iter().any(|scan| scan.raster.channels == 1);
    let wanted_channels: &[Channel] = if grey {
        &[Channel::Luminance]
    } else {
        &CHANNELS
    };
    let mut looked = Looked {
        channels: Vec::new(),
        findings: Vec::new(),
    };
    let mut seen = vec![Gathered::default(); wanted_channels.len()];
    for (index, scan) in scans.iter().enumerate() {
        let wanted = Wanted {
            strips: Vec::new(),
            wedge: Some(WantedWedge {
                densities: scan.references.visual.clone(),
                given: None,
            }),
        };
        let found = strip::find(std::slice::from_ref(&scan.raster), &wanted, watch)?;
        let Some(located) = found.wedges.first() else {
            looked.findings.push(not_found(index, scan));
            continue;
        };
        // A calibration keeps one reading of its wedge, so the others are no help.
        if !located.is_sure_of_one() {
            looked.findings.push(unsure(index, located));
        }
        for (channel, gathered) in wanted_channels.iter().zip(&mut seen) {
            let options = CellOptions::default();
            let cells = cells::measure(&scan.raster, &located.shape, *channel, &options, watch)?;
            match see(index, &cells, &located.shape, scan.references.of(*channel)) {
                Ok((more, stray)) => {
                    gathered.fields.extend(more);
                    gathered.strays.push(stray);
                }
                // What one colour doesn't show is no reason to do without the others.
                Err(_) if *channel != Channel::Luminance => gathered.unread = true,
                Err(why) => {
                    let place = Place {
                        scan: Some(index),
                        ..why.place
                    };
                    looked.findings.push(Finding { place, ..*why });
                    // The other channels would say the same.
                    break;
                }
            }
        }
    }
    if looked.findings.iter().any(|f| f.weight == Weight::Blocking) {
        return Ok(looked);
    }
    for (channel, gathered) in wanted_channels.iter().zip(seen) {
        if gathered.unread {
            let gap = CalibrationGap::Unlike(*channel);
            looked.findings.push(without_channel(*channel, &gap));
            continue;
        }
        looked.channels.push(SeenChannel {
            channel: *channel,
            stray: mean(&gathered.strays),
            fields: gathered.fields,
        });
    }
    Ok(looked)
}

/// The mean of several measurements of one thing by their errors.
fn mean(measured: &[(f64, f64)]) -> (f64, f64) {
    let weight = |error: f64| 1.0 / error.powi(2).max(1e-12);
    let total: f64 = measured.iter().map(|(_, error)| weight(*error)).sum();
    let sum: f64 = measured
        .iter()
        .map(|(value, error)| value * weight(*error))
        .sum();
    if total > 0.0 {
        (sum / total, total.recip().sqrt())
    } else {
        (0.0, 0.0)
    }
}

fn not_found(index: usize, scan: &WedgeScan) -> Finding {
    Finding {
        kind: Kind::WedgeFieldCount,
        weight: Weight::Blocking,
        place: Place::scan(index),
        seen: format!(
            "No wedge of {} fields was found on the scan.",
            scan.references.visual.len()
        ),
        matters: "Nothing can be learned about the scanner from it.".into(),
        remedy: "Check that the list has one density a field, and scan the wedge flat and whole, \
                 with white or the open lid around it."
            .into(),
    }
}

fn unsure(index: usize, located: &strip::Located) -> Finding {
    Finding {
        kind: Kind::UncertainEdges,
        // What is made once is used for years: nothing is made of a guess.
        weight: Weight::Blocking,
        place: Place {
            area: located.shape.corners.to_vec(),
            ..Place::scan(index)
        },
        seen: format!(
            "The wedge was found with a confidence of {:.2} only.",
            located.confidence
        ),
        matters:
            "Its fields may have been given each other's densities, so no calibration is made \
                  of it."
                .into(),
        remedy: "Check that the list has one density a field; scan the wedge alone, straight and \
                 whole."
            .into(),
    }
}

/// What a person is told of a channel that has no curve. Without luminance there is no
/// calibration; without one of the others there is one for the rest.
fn without_channel(channel: Channel, gap: &CalibrationGap) -> Finding {
    let luminance = channel == Channel::Luminance;
    Finding {
        kind: Kind::CalibrationUnfit,
        weight: if luminance {
            Weight::Blocking
        } else {
            Weight::Caution
        },
        place: Place::default(),
        seen: format!("There is no curve for {}: {gap}.", channel_word(channel)),
        matters: if luminance {
            "No density scale can be made from it."
        } else {
            "Scans can't be read in this channel; the others are not touched by it."
        }
        .into(),
        remedy: "Look whether the wedge is neutral and its densities hold for this channel.".into(),
    }
}

/// What a person is told of a curve: where the scanner stops telling tones apart, and fields that
/// were left out.
fn curve_findings(channel: Channel, fit: &CalibrationFit) -> Vec<Finding> {
    let (low, high) = fit.usable;
    let mut findings = Vec::new();
    if fit.another_list {
        findings.push(Finding {
            kind: Kind::WedgeMismatch,
            weight: Weight::Blocking,
            place: Place::default(),
            seen: format!(
                "In {} the wedge does not fit its list: its fields foretell each other to {:.3} D \
                 only.",
                channel_word(channel),
                fit.leave_one_out
            ),
            matters: "The fields were probably given wrong densities.".into(),
            remedy: "Compare the list with the wedge: is it this wedge's, in its order, one \
                     density a field?"
                .into(),
        });
    }
    let ends = [(fit.stops.0, "darker", high), (fit.stops.1, "lighter", low)];
    for (stops, way, at) in ends {
        if stops {
            findings.push(Finding {
                kind: Kind::IndistinctTones,
                weight: Weight::Caution,
                place: Place::default(),
                seen: format!(
                    "In {} the scanner stops telling fields {way} than {at:.2} D apart.",
                    channel_word(channel)
                ),
                matters: "Densities beyond are not measured but continued straight, with growing \
                          error."
                    .into(),
                remedy: "Switch automatic corrections off and scan with 16 bits; for darker tones \
                         use a scanner that reaches them."
                    .into(),
            });
        }
    }
    for field in fit.fields.iter().filter(|field| field.left_out.is_none()) {
        if (low..=high).contains(&field.listed) {
            findings.push(Finding {
                kind: Kind::WedgeShadowed,
                weight: Weight::Caution,
                place: Place::default(),
                seen: format!(
                    "In {} field {} reads {:+.2} D off the curve through the others.",
                    channel_word(channel),
                    field.number + 1,
                    field.residual
                ),
                matters: "It was left out of the curve.".into(),
                remedy: "Look for a shadow, a speck or a wrong number in the list.".into(),
            });
        }
    }
    findings
}
