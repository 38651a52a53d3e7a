//! The answer in sentences.

use std::fmt::Write as _;

use super::contrast;
use super::name;
use super::words::{self, SPEED, wrapped};
use crate::document::Session;
use crate::measure::analysis::{Analysis, PairResult};
use crate::measure::compare::{PairAnswer, Source};
use crate::measure::estimate::Estimate;
use crate::measure::plan::basis::next_evening;
use crate::measure::strip::Role;

/// Time of the example that the ratio is turned into, seconds.
const EXAMPLE_SECONDS: f64 = 10.0;

/// What the bounds can't hold; docs/method.md has each with its size and how to test it.
const UNSEEN: &str = "No scan shows, and no bound holds: strips developed or dried unlike, a safelight's \
    fog, light that falls off between their places on the easel, gloss that the scanner sees, times far \
    from those tested, a face higher than the other. The method's page says how to test each.";

/// One paragraph a pair; when there is none, why.
pub(crate) fn answers(session: &Session, analysis: &Analysis) -> String {
    if analysis.pairs.is_empty() {
        return wrapped(&no_pair(session), "", "");
    }
    let mut text = String::new();
    for pair in &analysis.pairs {
        text.push_str(&answer(analysis, pair));
    }
    text.push_str(&wrapped(UNSEEN, "", ""));
    text.push('\n');
    text
}

fn no_pair(session: &Session) -> String {
    let has = |role| session.strips.iter().any(|strip| strip.role == role);
    let exposed = session.strips.iter().all(|strip| strip.exposure.is_some());
    let why = match (has(Role::Reference), has(Role::Coupon)) {
        (false, false) => "the session describes no strips",
        (false, true) => "the session describes no reference strip of paper",
        (true, false) => "the session describes no coated strip",
        (true, true) if !exposed => "the session doesn't say how every strip was exposed",
        (true, true) => "no reference and coupon could both be measured",
    };
    format!("No speed ratio can be given, because {why}.")
}

fn answer(analysis: &Analysis, pair: &PairResult) -> String {
    let answer = &pair.answer;
    let paper = name(analysis, pair.reference);
    let mut text = format!("{}\n", name(analysis, pair.coupon));
    let mut say = |sentence: &str| text.push_str(&wrapped(sentence, "  ", "  "));
    say(&speed(paper, &answer.ratio, &answer.stops));
    if let Some(example) = example(paper, &answer.ratio) {
        say(&example);
    }
    if let Some(evening) = another_evening(answer) {
        say(&evening);
    }
    if let Some(exact) = with_exact_apertures(pair) {
        say(&exact);
    }
    say(&contrast::by_tones(paper, &answer.contrast_by_tones));
    say(&contrast::by_range(paper, &answer.contrast_difference));
    if answer.stops.value.is_some()
        && let Some(part) = answer.budget.first()
    {
        say(&format!(
            "The biggest part of the uncertainty is {} ({:.0} %, {} stops). {}",
            source(part.source),
            100.0 * part.share,
            words::plain(part.stops, 3),
            part.remedy
        ));
    }
    text.push('\n');
    text
}

fn speed(paper: &str, ratio: &Estimate, stops: &Estimate) -> String {
    let half = ratio.half_width();
    let times = |value: f64| words::number(value, half);
    let (Some(factor), Some(value)) = (ratio.value, stops.value) else {
        let why = words::reason(stops);
        return match (stops.lower.at(), stops.upper.at()) {
            (Some(lower), None) => format!(
                "No speed ratio against {paper} can be given, because {why}; at 95 % the emulsion \
                 is at least {}.",
                SPEED.said(lower)
            ),
            (None, Some(upper)) => format!(
                "No speed ratio against {paper} can be given, because {why}; at 95 % the emulsion \
                 is at most {}.",
                SPEED.said(upper)
            ),
            _ => format!("No speed ratio against {paper} can be given, because {why}."),
        };
    };
    let bounds = match (ratio.bounds(), stops.bounds()) {
        (Some((least, most)), Some((lower, upper))) => format!(
            "between {} and {} times ({}) at 95 %",
            times(least),
            times(most),
            SPEED.span(lower, upper)
        ),
        _ => words::interval(stops, |value| SPEED.said(value)),
    };
    format!(
        "The emulsion needs {} times the exposure of {paper} ({}), {bounds}.",
        times(factor),
        SPEED.said(value)
    )
}

/// What the ratio means at the easel.
fn example(paper: &str, ratio: &Estimate) -> Option<String> {
    let factor = ratio.value?;
    let (least, most) = ratio.bounds()?;
    let half = ratio.half_width().map(|half| half * EXAMPLE_SECONDS);
    let seconds = |factor: f64| words::number(factor * EXAMPLE_SECONDS, half);
    Some(format!(
        "For these two strips: what takes {EXAMPLE_SECONDS} s on {paper} takes {} s ({} to {} s) on \
         the emulsion, at the same aperture and size.",
        seconds(factor),
        seconds(least),
        seconds(most)
    ))
}

/// What is to be expected of a piece on another evening: the bounds above are not those of a print.
fn another_evening(answer: &PairAnswer) -> Option<String> {
    let factor = answer.ratio.value?;
    let next = next_evening(answer)?;
    let (least, most) = next.estimate().bounds()?;
    let seconds = |stops: f64| {
        let half = EXAMPLE_SECONDS * factor * (next.half_width().exp2() - 1.0);
        words::number(stops.exp2() * EXAMPLE_SECONDS, Some(half))
    };
    Some(format!(
        "For one piece on another evening, expect {} to {} s: that is what a plan goes by until \
         more sessions are in a profile.",
        seconds(least),
        seconds(most)
    ))
}

/// The bounds without the aperture's error, where it makes a difference that shows.
fn with_exact_apertures(pair: &PairResult) -> Option<String> {
    let answer = &pair.answer;
    let (with, without) = (
        answer.stops.half_width()?,
        answer.stops_exact_aperture.half_width()?,
    );
    let (least, most) = answer.ratio_exact_aperture.bounds()?;
    let (lower, upper) = answer.stops_exact_aperture.bounds()?;
    let half = answer.ratio_exact_aperture.half_width();
    (with > 1.02 * without).then(|| {
        format!(
            "The strips had different f-numbers; were these exact, it would be between {} and {} \
             times ({}).",
            words::number(least, half),
            words::number(most, half),
            SPEED.span(lower, upper)
        )
    })
}

/// A source of uncertainty, in words.
pub(crate) fn source(source: Source) -> &'static str {
    match source {
        Source::Fit => "the few steps and their noise",
        Source::Unevenness => "the unevenness of the coat",
        Source::DensityScale => "the wedge and the density scale",
        Source::LampLag => "the lamp's dead time",
        Source::Timing => "the timing of the steps",
        Source::Aperture => "the click stops of the aperture",
        Source::Places => "the doubt about how the strips are to be read",
        Source::Repeats => "the difference from session to session",
        Source::ScanRepeats => "how well the scanner repeats itself",
    }
}

/// How many strips were measured.
pub(super) fn measured(session: &Session, analysis: &Analysis) -> String {
    let count = analysis
        .strips
        .iter()
        .filter(|strip| !strip.steps.is_empty())
        .count();
    let mut text = match count {
        0 => "No strip could be measured".to_owned(),
        1 => "One strip was measured".to_owned(),
        count => format!("{count} strips were measured"),
    };
    let scale = match (&session.wedge, analysis.wedges.is_empty()) {
        (Some(_), false) => ", by the wedge that was scanned along",
        (Some(_), true) => "; the wedge was not found",
        (None, _) => ", without a wedge: densities are relative to white",
    };
    writeln!(text, "{scale}.\n").ok();
    text
}
