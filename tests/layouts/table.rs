//! Outcomes added up and printed as a row of a table.

use super::session::Outcome;

/// What is published of a family.
#[derive(Debug, Default)]
pub struct Row {
    /// Pairs whose steps bracket the criterion.
    pub bracketed: usize,
    /// Of these answered.
    pub answered: usize,
    /// Of these with every step read inside itself.
    pub placed: usize,
    /// Root mean square error, stops.
    pub stops_rmse: f64,
    /// Median half-width, stops.
    pub stops_half_width: f64,
    /// Share of bounds that hold.
    pub stops_held: f64,
    /// Contrast over common tones: how many of the answers have it, error, half-width, hold.
    pub tones: (usize, f64, f64, f64),
    /// How many of the answers have a difference of ISO ranges.
    pub ranges: usize,
    /// Its error.
    pub range_rmse: f64,
    /// The same.
    pub range_half_width: f64,
    /// The same.
    pub range_held: f64,
    /// Answers whose bounds miss by more than bad luck, and of these those that nothing warns of.
    pub wrong: (usize, usize),
    /// Read right and bracketed, but not answered.
    pub withheld: usize,
}

impl Row {
    /// Adds up.
    pub fn of(outcomes: &[Outcome]) -> Self {
        let able: Vec<&Outcome> = outcomes.iter().filter(|o| o.bracketed).collect();
        let answers: Vec<_> = outcomes.iter().filter_map(|o| o.answer).collect();
        let share = |count: usize, of: usize| 100.0 * count as f64 / of as f64;
        let rmse = |errors: Vec<f64>| {
            (errors.iter().map(|error| error * error).sum::<f64>() / errors.len() as f64).sqrt()
        };
        let ranges: Vec<_> = answers.iter().filter(|a| a.range_error.is_some()).collect();
        let tones: Vec<_> = answers.iter().filter(|a| a.tones_error.is_some()).collect();
        let wrong = || {
            outcomes
                .iter()
                .filter(|o| o.answer.is_some_and(|a| a.wrong))
        };
        Self {
            bracketed: able.len(),
            answered: able.iter().filter(|o| o.answer.is_some()).count(),
            placed: able.iter().filter(|o| o.placed).count(),
            stops_rmse: rmse(answers.iter().map(|a| a.stops_error).collect()),
            stops_half_width: median(answers.iter().filter_map(|a| a.stops_half_width).collect()),
            stops_held: share(
                answers.iter().filter(|a| a.stops_held).count(),
                answers.len(),
            ),
            tones: (
                tones.len(),
                rmse(tones.iter().filter_map(|a| a.tones_error).collect()),
                median(tones.iter().filter_map(|a| a.tones_half_width).collect()),
                share(tones.iter().filter(|a| a.tones_held).count(), tones.len()),
            ),
            ranges: ranges.len(),
            range_rmse: rmse(ranges.iter().filter_map(|a| a.range_error).collect()),
            range_half_width: median(ranges.iter().filter_map(|a| a.range_half_width).collect()),
            range_held: share(ranges.iter().filter(|a| a.range_held).count(), ranges.len()),
            wrong: (wrong().count(), wrong().filter(|o| !o.doubted).count()),
            withheld: able
                .iter()
                .filter(|o| o.placed && o.answer.is_none())
                .count(),
        }
    }

    fn cells(&self) -> String {
        let (tones, tones_rmse, tones_half_width, tones_held) = self.tones;
        format!(
            "{} | {} | {} | {:.3} | {:.3} | {:.0} | {tones} | {tones_rmse:.2} | {tones_half_width:.2} | {tones_held:.0} | {} | {:.1} | {:.1} | {:.0} | {} / {} | {}",
            self.bracketed,
            self.placed,
            self.answered,
            self.stops_rmse,
            self.stops_half_width,
            self.stops_held,
            self.ranges,
            self.range_rmse,
            self.range_half_width,
            self.range_held,
            self.wrong.0,
            self.wrong.1,
            self.withheld,
        )
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Head of the table.
pub fn print_header() {
    println!(
        "| layout | places | pairs that bracket | read inside their steps | answered | RMSE stops | half-width | hold % | contrast by tones | RMSE stops | half-width | hold % | ISO dR | RMSE | half-width | hold % | wrong / unsaid | right but withheld |"
    );
    println!("|{}", " --- |".repeat(18));
}

/// Two rows: places found, and given.
pub fn print(name: &str, raw: &Row, given: &Row) {
    println!("| {name} | found | {} |", raw.cells());
    println!("| | given | {} |", given.cells());
}
