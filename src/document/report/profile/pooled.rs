//! What sessions say together, in words and figures.

use std::fmt::Write as _;

use super::super::words::{CONTRAST, Directions, SPEED, plain, wrapped};
use crate::document::profile::{Evidence, PooledQuantity, Profile, ProfilePool, Quantity};
use crate::measure::estimate::Estimate;
use crate::measure::pool::{Basis, Direction, Outlying, Pooled, Settled};

/// Densities, said without a direction.
const DENSITY_DECIMALS: usize = 2;

/// The report of `twinstrip profile pool`.
pub fn pooled(profile: &Profile, pool: &ProfilePool) -> String {
    let mut text = format!("{}\n", profile.name);
    for one in &pool.quantities {
        writeln!(text, "\n{}", one.quantity.label()).ok();
        for sentence in sentences(profile, pool, one) {
            text.push_str(&wrapped(&sentence, "  ", "  "));
        }
        text.push_str(&table(profile, one));
    }
    text.push_str("\nDrift\n");
    for sentence in super::drift_sentences(&pool.drift) {
        text.push_str(&wrapped(&sentence, "  ", "  "));
    }
    text
}

/// What a quantity's sessions say together, in sentences.
pub fn sentences(profile: &Profile, pool: &ProfilePool, one: &PooledQuantity) -> Vec<String> {
    let pooled = match &one.pooled {
        Ok(pooled) => pooled,
        Err(why) => return vec![format!("Nothing can be said: {why}.")],
    };
    let mut said = vec![together(one.quantity, pooled), next(one.quantity, pooled)];
    said.push(between(one.quantity, pooled));
    if one.shared_aperture > 0.0 {
        said.push(format!(
            "Paper and coat were exposed at different apertures. An aperture errs by the same amount \
             every time: repeats don't show that, so {} stops are counted on top. Expose both at \
             one aperture to be rid of it.",
            plain(one.shared_aperture, 2)
        ));
    }
    said.push(settled(pool, one, pooled));
    for outlying in &pooled.outlying {
        said.push(stands_out(profile, one, outlying));
    }
    if !one.without.is_empty() {
        let numbers: Vec<String> = one.without.iter().map(|n| (n + 1).to_string()).collect();
        said.push(format!(
            "Without a value, so not counted: session {}.",
            numbers.join(", ")
        ));
    }
    said
}

fn directions(quantity: Quantity) -> Option<Directions> {
    match quantity {
        Quantity::Stops => Some(SPEED),
        Quantity::Contrast => Some(CONTRAST),
        Quantity::Dmax | Quantity::Dmin => None,
    }
}

fn value(quantity: Quantity, value: f64) -> String {
    match directions(quantity) {
        Some(directions) => directions.said(value),
        None => plain(value, DENSITY_DECIMALS),
    }
}

fn span(quantity: Quantity, lower: f64, upper: f64) -> String {
    match directions(quantity) {
        Some(directions) => directions.span(lower, upper),
        None => format!(
            "{} to {}",
            plain(lower, DENSITY_DECIMALS),
            plain(upper, DENSITY_DECIMALS)
        ),
    }
}

/// A span to stand after "between".
fn between_words(quantity: Quantity, lower: f64, upper: f64) -> String {
    span(quantity, lower, upper).replacen(" to ", " and ", 1)
}

/// A size without direction, in the unit of the quantity.
pub(super) fn size(quantity: Quantity, size: f64) -> String {
    match quantity {
        Quantity::Stops => format!("{} stops", plain(size, 2)),
        Quantity::Contrast => plain(size, 0),
        Quantity::Dmax | Quantity::Dmin => format!("{} D", plain(size, 3)),
    }
}

fn together(quantity: Quantity, pooled: &Pooled) -> String {
    let lead = match pooled.sessions {
        1 => "One session says".to_owned(),
        count => format!("{count} sessions together say"),
    };
    let (Some(mean), Some((lower, upper))) = (pooled.mean.value, pooled.mean.bounds()) else {
        return format!("{lead} nothing with bounds.");
    };
    let factor = match quantity {
        Quantity::Stops => format!(
            ", {} times the exposure ({} to {})",
            plain(mean.exp2(), 2),
            plain(lower.exp2(), 2),
            plain(upper.exp2(), 2)
        ),
        _ => String::new(),
    };
    format!(
        "{lead} {}, between {} at 95 %{factor}.",
        value(quantity, mean),
        between_words(quantity, lower, upper)
    )
}

fn next(quantity: Quantity, pooled: &Pooled) -> String {
    let (lower, upper) = (pooled.next.quantile(0.025), pooled.next.quantile(0.975));
    format!(
        "The next session is foretold between {} at 95 %.",
        between_words(quantity, lower, upper)
    )
}

fn between(quantity: Quantity, pooled: &Pooled) -> String {
    let (Some(deviation), Some((lower, upper))) = (pooled.between.value, pooled.between.bounds())
    else {
        return "How much sessions differ can't be said.".into();
    };
    let prior = match pooled.basis {
        Basis::Sessions => "",
        Basis::Prior => {
            "; with fewer than four sessions that is mostly what is assumed beforehand \
             (docs/pooling.md)"
        }
    };
    let upper = if upper.is_finite() {
        size(quantity, upper)
    } else {
        "any size".into()
    };
    format!(
        "From session to session it differs by {} (standard deviation; {} to {upper}){prior}.",
        size(quantity, deviation),
        size(quantity, lower),
    )
}

fn settled(pool: &ProfilePool, one: &PooledQuantity, pooled: &Pooled) -> String {
    let within = match one.quantity {
        Quantity::Stops => format!("{} stops", plain(pool.tolerance, 2)),
        Quantity::Contrast => "10 of ISO R".into(),
        Quantity::Dmax | Quantity::Dmin => "0.05 D".into(),
    };
    match pooled.settled {
        Settled::Yes => format!("Settled: the next session is foretold to within {within}."),
        Settled::After { pairs, chance } => {
            let more = match pairs {
                1 => "one more session is".to_owned(),
                count => format!("{count} more sessions are"),
            };
            format!(
                "Not settled to within {within}: {more} expected to settle it, if sessions differ \
                 little enough for that (chance {} %).",
                plain(100.0 * chance, 0)
            )
        }
        Settled::Never { least_half_width } => format!(
            "Not settled to within {within}, and more sessions alone won't do: they differ too much \
             ({} to either side would remain). Look for what differs between them.",
            size(one.quantity, least_half_width)
        ),
    }
}

fn stands_out(profile: &Profile, one: &PooledQuantity, outlying: &Outlying) -> String {
    let row = one.rows.get(outlying.session).map_or(0, |row| row.session);
    let way = match outlying.direction {
        Direction::Above => "above",
        Direction::Below => "below",
    };
    let name = profile.evidence.get(row).map(Evidence::title);
    format!(
        "Session {} ({}) stands out: {} {way} what the others foretell (chance {} %). It is still \
         counted. Look for a reason: {}",
        row + 1,
        name.unwrap_or_default(),
        size(one.quantity, outlying.away.abs()),
        plain(100.0 * outlying.p, 1),
        reason(&profile.evidence, row)
    )
}

/// What sets a session apart from the others on paper, or else where to look.
fn reason(sessions: &[Evidence], row: usize) -> String {
    let Some(odd) = sessions.get(row) else {
        return String::new();
    };
    let others: Vec<&Evidence> = sessions
        .iter()
        .enumerate()
        .filter(|(index, _)| *index != row)
        .map(|(_, one)| one)
        .collect();
    let differs = |what: &dyn Fn(&Evidence) -> String| {
        let own = what(odd);
        others.iter().all(|other| what(other) != own)
    };
    let numbers = |one: &Evidence| {
        let [paper, coat] = one.strips.each_ref().map(|strip| strip.exposures.f_number);
        format!("{paper:.2} {coat:.2}")
    };
    let most = others.iter().filter_map(|one| one.origin.remelts).max();
    let mut seen = Vec::new();
    if differs(&numbers) {
        seen.push("it was exposed at other apertures".to_owned());
    }
    if odd.origin.remelts > most && most.is_some() {
        seen.push("its emulsion had been melted again most often".to_owned());
    }
    if differs(&|one| format!("{:?}", one.origin.opened)) {
        seen.push("it had a bottle of its own".to_owned());
    }
    if differs(&|one| one.pair.reference.clone()) {
        seen.push(format!("its paper strip is called {}", odd.pair.reference));
    }
    if differs(&|one| format!("{:?}", one.settings.channel)) {
        seen.push("it was read in another channel".to_owned());
    }
    if differs(&|one| one.origin.program.clone()) {
        seen.push(format!("it was measured by {}", odd.origin.program));
    }
    if seen.is_empty() {
        "developer's temperature and age, safelight, lamp, thickness of the coat, or the scan (common \
         practice, no source)."
            .into()
    } else {
        format!("{}.", seen.join("; "))
    }
}

/// A session in a table or picture: its number and name.
pub fn row_label(profile: &Profile, session: usize) -> String {
    let title = profile.evidence.get(session).map(Evidence::title);
    format!("{}: {}", session + 1, title.unwrap_or_default())
}

fn table(profile: &Profile, one: &PooledQuantity) -> String {
    let Ok(pooled) = &one.pooled else {
        return String::new();
    };
    let mut rows: Vec<(String, Estimate)> = one
        .rows
        .iter()
        .map(|row| (row_label(profile, row.session), row.estimate))
        .collect();
    rows.push(("together".into(), pooled.mean));
    rows.push(("the next session".into(), pooled.next.estimate()));
    let width = rows.iter().map(|(label, _)| label.chars().count()).max();
    let width = width.unwrap_or(0).clamp(16, 48);
    let mut text = String::new();
    for (label, estimate) in rows {
        let said = match (estimate.value, estimate.bounds()) {
            (Some(middle), Some((lower, upper))) => {
                let decimals = match one.quantity {
                    Quantity::Contrast => 0,
                    _ => DENSITY_DECIMALS,
                };
                // The word for the direction stands once where it is one for all.
                let middle = if lower.signum() == upper.signum() {
                    plain(middle.abs(), decimals)
                } else {
                    value(one.quantity, middle)
                };
                format!("{middle} ({})", span(one.quantity, lower, upper))
            }
            (Some(middle), None) => value(one.quantity, middle),
            (None, _) => "none".into(),
        };
        writeln!(text, "    {:<width$}  {said}", super::short(&label, width)).ok();
    }
    text
}
