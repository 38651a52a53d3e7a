//! What should be told about a plan.

use super::aperture_choice::SHORTEST_CHANGE;
use super::basis::{Basis, Drift, Origin};
use super::piece::Piece;
use super::planned::{Aim, CarriedChange, Choices, OnPiece, PlannedExposure};
use super::recipe::{Recipe, Way};
use crate::measure::finding::{Finding, Kind, Place, Weight};

/// Exponent of reciprocity failure that an unknown material is given for a figure of the size
/// (an example, as in the comparison of strips; no handbook gives one for printing paper).
const EXAMPLE_EXPONENT: f64 = 0.9;
/// Reciprocity failure by that exponent, stops, from which a word becomes a caution.
const RECIPROCITY_MATTERS: f64 = 0.1;
/// Stops below which a burn or dodge on the coating isn't worth the hand's error.
const NEEDLESS: f64 = 0.05;
/// Unevenness of light over the face, stops, from which it is told.
const UNEVEN_LIGHT: f64 = 0.1;
/// Doubt of the click stops, stops, from which it is told.
const CLICKS_MATTER: f64 = 0.02;

fn finding(
    kind: Kind,
    weight: Weight,
    seen: String,
    matters: impl Into<String>,
    remedy: impl Into<String>,
) -> Finding {
    Finding {
        kind,
        weight,
        place: Place::default(),
        seen,
        matters: matters.into(),
        remedy: remedy.into(),
    }
}

pub(super) fn about_recipe(recipe: &Recipe, basis: &Basis) -> Vec<Finding> {
    let mut findings = vec![];
    if let Some(name) = recipe.grade_without_factor() {
        findings.push(finding(
            Kind::GradeUnknown,
            Weight::Caution,
            format!("The recipe names grade {name} without its factor; it is taken as 1."),
            format!(
                "The speed ratio was found for the light of the tests. If {} needs another \
                 exposure with this grade, the plan is off by as much.",
                basis.paper.name
            ),
            "Write the factor behind the grade, such as `grade 3 factor 1.6`; if the test strips \
             were exposed through the same grade, write `factor 1`.",
        ));
    }
    if recipe.base.len() > 1 {
        findings.push(finding(
            Kind::GradeUnknown,
            Weight::Note,
            format!(
                "The base exposure is split over {} bursts; the coating has one grade and gets \
                 their white light in one.",
                recipe.base.len()
            ),
            "The paper's curve under split grades is not the tested one: tones away from the \
             chosen one are less sure.",
            "Look at the tone preview, or expose the test strips with the same split.",
        ));
    }
    findings
}

pub(super) fn lag_swallows(recipe: &Recipe, lag: f64) -> Finding {
    finding(
        Kind::LampLag,
        Weight::Blocking,
        format!(
            "The recipe's {} s are no longer than the lamp's lag of {lag} s.",
            recipe.lamp_seconds()
        ),
        "By that the paper got no light at all.",
        "Correct the time or the lag.",
    )
}

pub(super) fn too_near(piece: &Piece, magnification: f64, focal_length: f64) -> Finding {
    let reduction = magnification < 1.0;
    finding(
        Kind::PieceHeight,
        Weight::Blocking,
        if reduction {
            format!(
                "The picture is a reduction ({magnification}x) and the piece is not flat on the easel."
            )
        } else {
            format!(
                "{} stands so high ({:.0} mm) that no place of a {focal_length:.0} mm lens makes \
                 the picture sharp on it.",
                named(piece),
                piece.height
            )
        },
        "No exposure can be given for a head that stays where it is.",
        "Raise the head by the height of the piece; size and light are then as on the paper.",
    )
}

pub(super) fn height_unknown(piece: &Piece, magnification: bool, focal_length: bool) -> Finding {
    let missing = match (magnification, focal_length) {
        (true, _) => "the focal length of the lens (`lens 80mm`)",
        (_, true) => "the magnification (`magnified 4x`)",
        _ => "the magnification and the focal length (`magnified 4x, lens 80mm`)",
    };
    finding(
        Kind::PieceHeight,
        Weight::Caution,
        format!(
            "{} lies {:.0} mm above the easel, and the recipe doesn't say {missing}.",
            named(piece),
            piece.height
        ),
        "The light on it is planned as if it lay on the easel; it gets more than that.",
        "Add it to the recipe, or raise the head by the height of the piece and say so.",
    )
}

fn named(piece: &Piece) -> &str {
    if piece.name.is_empty() {
        "The piece"
    } else {
        &piece.name
    }
}

/// A thick piece, and tests of which nobody says at what height they lay: a coupon as thick as the
/// piece has the gain of light in its ratio already, and would have it twice.
pub(super) fn tested_height(piece: &Piece, basis: &Basis) -> Option<Finding> {
    if piece.height == 0.0 || basis.coating.height.is_some() {
        return None;
    }
    Some(finding(
        Kind::PieceHeight,
        Weight::Note,
        format!(
            "Nobody says how high {} lay above the easel when it was tested; it is taken to have \
             lain in the plane of {}.",
            basis.coating.name, basis.paper.name
        ),
        "Had it been as thick as the piece, its ratio would have the gain of light in it already, \
         and the plan would count that twice.",
        "Write `height` (mm above the easel) with both test strips; `height: 0` is the easel itself.",
    ))
}

pub(super) fn about_place(on_piece: &OnPiece, piece: &Piece, choices: &Choices) -> Vec<Finding> {
    let mut findings = vec![];
    if !on_piece.fits {
        findings.push(finding(
            Kind::DepthOfFocus,
            Weight::Caution,
            format!(
                "The face rises by {:.1} mm and the depth of focus is {:.1} mm for a blur of {} mm.",
                piece.rise, on_piece.depth_of_focus, choices.blur
            ),
            "Its highest and lowest parts are less sharp than that.",
            "Level the piece, stop down, or focus on the part that matters.",
        ));
    }
    if on_piece.refocus {
        let moves = on_piece
            .lens_moves
            .map_or_else(String::new, |mm| format!(" by about {mm:.2} mm"));
        findings.push(finding(
            Kind::DepthOfFocus,
            Weight::Note,
            format!(
                "The face lies {:.0} mm off the plane that the paper was focused on, and the \
                 depth of focus is {:.1} mm.",
                piece.height, on_piece.depth_of_focus
            ),
            format!(
                "Without focusing anew the picture is blurred; focused anew it has {:.1} % of \
                 its size.",
                100.0 * on_piece.size
            ),
            format!("Focus on the face itself: the lens moves towards it{moves}."),
        ));
    }
    if let Some(stops) = on_piece.stops_across.filter(|stops| *stops > UNEVEN_LIGHT) {
        findings.push(finding(
            Kind::LightFallOff,
            Weight::Note,
            format!(
                "The highest part of the face gets {stops:.2} stops more light than the lowest."
            ),
            "The print is darker there.",
            "Level the piece, or dodge the high part by as much.",
        ));
    }
    findings
}

pub(super) fn about_changes(changes: &[CarriedChange], basis: &Basis) -> Vec<Finding> {
    let mut findings = vec![];
    for change in changes {
        let what = format!("{} `{}`", change.asked.word(), change.name);
        findings.extend(turned(change, &what, basis));
        if !change.reached {
            findings.push(finding(
                Kind::ToneOutOfReach,
                Weight::Caution,
                format!(
                    "{what}: {} does not come to net density {:.2}; its tested curve ends at \
                     {:.2}.",
                    basis.coating.name,
                    change.net_density,
                    basis.coating.curve.full()
                ),
                "The part stays lighter than on the paper however long it is exposed.",
                "Take the darkest tone the coating has, or a heavier coat.",
            ));
        }
        if change.time < SHORTEST_CHANGE && change.stops > NEEDLESS {
            findings.push(finding(
                Kind::HardToTime,
                Weight::Caution,
                format!("{what}: {:.1} s are too short for a hand.", change.time),
                "The part comes out by chance.",
                "Stop down so that all times become longer.",
            ));
        }
    }
    findings
}

/// A part that the base exposure brings so near to its tone, or so far beyond it, that what was
/// done on paper is not what the coating wants.
fn turned(change: &CarriedChange, what: &str, basis: &Basis) -> Option<Finding> {
    let coating = &basis.coating.name;
    let needless = change.stops <= NEEDLESS;
    if !needless && change.asked == change.way {
        return None;
    }
    let instead = match change.way {
        Way::Burn => "Burn it instead, for",
        Way::Dodge => "Dodge it instead, for",
    };
    Some(finding(
        Kind::ChangeTurns,
        if needless {
            Weight::Note
        } else {
            Weight::Caution
        },
        if needless {
            format!("{what}: on {coating} the base exposure alone brings the part to its tone.")
        } else {
            format!(
                "{what}: on {coating} the base exposure takes the part beyond its tone, net \
                 density {:.2}.",
                change.net_density
            )
        },
        "The coating has another contrast than the paper, so the base exposure moves this part \
         further than the tone that the plan meets.",
        if needless {
            "Leave the part as it is.".to_owned()
        } else {
            format!(
                "{instead} {:.1} s ({:.2} stops).",
                change.time, change.stops
            )
        },
    ))
}

pub(super) fn about_exposure(
    planned: &PlannedExposure,
    basis: &Basis,
    choices: &Choices,
) -> Vec<Finding> {
    let mut findings = vec![];
    let Some(time) = planned.time.value else {
        return findings;
    };
    let (shortest, longest) = choices.times;
    if !(shortest..=longest).contains(&time) {
        let short = time < shortest;
        findings.push(finding(
            Kind::HardToTime,
            if short { Weight::Caution } else { Weight::Note },
            format!(
                "{time:.1} s at {} lie outside the {shortest} to {longest} s that a hand can keep.",
                planned.f_number
            ),
            if short {
                "The lamp's lag and the hand add an error that the bounds leave out."
            } else {
                "Heat, vibration and stray light have longer to act."
            },
            if short {
                "Stop down, or put a neutral filter in the light."
            } else {
                "Open up."
            },
        ));
    }
    findings.extend(reciprocity(time, basis));
    findings.extend(basis.drift.map(|drift| drifting(drift, basis)));
    let clicks = planned
        .doubts
        .iter()
        .find(|doubt| doubt.what == CLICK_STOPS && doubt.stops > CLICKS_MATTER);
    if let Some(doubt) = clicks {
        findings.push(finding(
            Kind::DifferentApertures,
            Weight::Note,
            "The apertures of tests, paper and piece don't match in pairs.".into(),
            format!(
                "Click stops are not exact: an error of {:.2} stops is in the bounds.",
                doubt.stops
            ),
            "Print paper and piece at one aperture, or at the two that the strips were tested at.",
        ));
    }
    let assumed = match basis.origin {
        Origin::OneSession(session) if session > 0.0 => format!(
            "{session:.2} stops from session to session (one session can't tell) and {:.2} from \
             piece to piece are taken from common practice",
            basis.piece_scatter
        ),
        _ if basis.piece_scatter > 0.0 => format!(
            "{:.2} stops from piece to piece are taken from common practice",
            basis.piece_scatter
        ),
        _ => return findings,
    };
    findings.push(finding(
        Kind::AssumedScatter,
        Weight::Note,
        format!("Of the doubt, {assumed}."),
        "The bounds and chances are as good as these figures.",
        "Test again on another day and pool the sessions in a profile; give your own scatter \
         from piece to piece if you know it.",
    ));
    findings
}

/// The caution that the material changes, and what the plan makes of it.
fn drifting(drift: Drift, basis: &Basis) -> Finding {
    let (seen, matters) = match drift.next_change {
        Some(change) => (
            format!(
                "{} gets {} from session to session, by {:.2} stops.",
                basis.coating.name,
                if change > 0.0 { "slower" } else { "faster" },
                change.abs()
            ),
            "The plan follows this trend to the next session, as far after the newest as the \
             sessions lie apart; the mean of all would be off."
                .to_owned(),
        ),
        None => (
            format!(
                "The speed of {} changed in one step; {} of {} sessions are like the newest.",
                basis.coating.name, drift.trusted, drift.of
            ),
            "The plan goes by these sessions alone, with the wider bounds of so few.".to_owned(),
        ),
    };
    finding(
        Kind::Drifting,
        Weight::Caution,
        seen,
        matters,
        "Make another pair of strips on the day of printing; see the profile for what to look for.",
    )
}

/// What the doubt by the click stops is called.
pub(super) const CLICK_STOPS: &str = "click stops";

fn reciprocity(time: f64, basis: &Basis) -> Option<Finding> {
    let coating = &basis.coating;
    let (first, last) = coating.times;
    let beyond = (first / time).max(time / last);
    if beyond <= 1.0 {
        return None;
    }
    let against_tested = (time / coating.speed_time).log2().abs();
    let known = coating.reciprocity;
    let stops = (1.0 - known.unwrap_or(EXAMPLE_EXPONENT)) * against_tested;
    Some(finding(
        Kind::Reciprocity,
        if known.is_none() && stops > RECIPROCITY_MATTERS {
            Weight::Caution
        } else {
            Weight::Note
        },
        format!(
            "{time:.1} s lie outside the {first:.1} to {last:.1} s that the coating was tested with."
        ),
        match known {
            Some(p) => format!(
                "The law with the exponent {p} that you gave is allowed for: {stops:.2} stops."
            ),
            None => format!(
                "The same light spread over another time acts differently; with an exponent of \
                 {EXAMPLE_EXPONENT} it would be {stops:.2} stops, which the bounds leave out."
            ),
        },
        "Test the coating with times like this one, or choose an aperture that comes nearer to \
         the tested times.",
    ))
}

pub(super) fn aim_not_compared(aim: Aim, basis: &Basis) -> Finding {
    let what = match aim {
        Aim::Highlights => "the highlights".to_owned(),
        Aim::Shadows => "the shadows".to_owned(),
        Aim::WholeScale => "the whole scale".to_owned(),
        Aim::SpeedPoint => "the speed point".to_owned(),
        Aim::Net(net) => format!("net density {net}"),
    };
    finding(
        Kind::ToneOutOfReach,
        Weight::Caution,
        format!(
            "The curves of {} and {} don't both come to {what}.",
            basis.paper.name, basis.coating.name
        ),
        "The plan meets the middle grey (net density 0.60) instead.",
        "Aim at a tone that both reach, or test with a longer series.",
    )
}
