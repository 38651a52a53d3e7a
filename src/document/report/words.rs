//! Numbers in words: no value without its bounds or the reason why there are none.

use crate::measure::estimate::{End, Estimate};

/// A number with one digit more than its doubt leaves, and no more than four decimals.
pub(crate) fn number(value: f64, half_width: Option<f64>) -> String {
    let doubt = half_width.unwrap_or(value.abs() / 10.0);
    let decimals = if doubt > 0.0 && doubt.is_finite() {
        (-doubt.log10().floor()).clamp(0.0, 4.0) as usize
    } else {
        2
    };
    plain(value, decimals)
}

/// A number with so many decimals, and no `-0.00`.
pub(crate) fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(size) if size.chars().all(|c| matches!(c, '0' | '.')) => size.to_owned(),
        _ => text,
    }
}

/// A number with its sign and so many decimals, and no `-0.00`.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = plain(value, decimals);
    if text.starts_with('-') {
        text
    } else {
        format!("+{text}")
    }
}

/// Signed quantities that are said with a word for each direction.
#[derive(Clone, Copy)]
pub(crate) struct Directions {
    /// For values above zero.
    pub(crate) more: &'static str,
    /// For values below zero.
    pub(crate) less: &'static str,
    /// The unit, one of it and several, with a blank before.
    pub(crate) unit: [&'static str; 2],
    /// Digits after the point.
    pub(crate) decimals: usize,
}

/// Stops slower and faster.
pub(crate) const SPEED: Directions = Directions {
    more: "slower",
    less: "faster",
    unit: [" stop", " stops"],
    decimals: 2,
};

/// ISO R softer and harder.
pub(crate) const CONTRAST: Directions = Directions {
    more: "softer",
    less: "harder",
    unit: ["", ""],
    decimals: 0,
};

impl Directions {
    fn size(self, value: f64) -> String {
        plain(value.abs(), self.decimals)
    }

    fn unit(self, value: f64) -> &'static str {
        let one = plain(1.0, self.decimals);
        self.unit[usize::from(self.size(value) != one)]
    }

    fn word(self, value: f64) -> &'static str {
        if value < 0.0 { self.less } else { self.more }
    }

    /// "2.54 stops".
    pub(crate) fn amount(self, value: f64) -> String {
        format!("{}{}", self.size(value), self.unit(value))
    }

    /// "2.54 stops slower".
    pub(crate) fn said(self, value: f64) -> String {
        format!(
            "{}{} {}",
            self.size(value),
            self.unit(value),
            self.word(value)
        )
    }

    /// "2.43 to 2.63 stops slower", "0.12 stops faster to 0.31 stops slower".
    pub(crate) fn span(self, lower: f64, upper: f64) -> String {
        if lower.signum() != upper.signum() {
            return format!("{} to {}", self.said(lower), self.said(upper));
        }
        let (near, far) = if upper < 0.0 {
            (upper, lower)
        } else {
            (lower, upper)
        };
        format!(
            "{} to {}{} {}",
            self.size(near),
            self.size(far),
            self.unit(far),
            self.word(far)
        )
    }
}

/// A chance in words, never more certain than it is: "89 %", "over 99 %", "less than 1 %".
pub(crate) fn chance(chance: f64) -> String {
    if chance > 0.99 {
        "over 99 %".into()
    } else if chance < 0.01 {
        "less than 1 %".into()
    } else {
        format!("{} %", plain(100.0 * chance, 0))
    }
}

/// The interval in words: "between 5.4 and 6.2", "at least 5.4, with no upper bound because
/// ...", "without bounds, because ...".
pub(crate) fn interval(estimate: &Estimate, say: impl Fn(f64) -> String) -> String {
    match (estimate.lower, estimate.upper) {
        (End::At(lower), End::At(upper)) => {
            format!("between {} and {}", say(lower), say(upper))
        }
        (End::At(lower), End::Open(why)) => format!(
            "at least {}, with no upper bound because {}",
            say(lower),
            why.reason()
        ),
        (End::Open(why), End::At(upper)) => format!(
            "at most {}, with no lower bound because {}",
            say(upper),
            why.reason()
        ),
        (End::Open(below), End::Open(above)) if below == above => {
            format!("without bounds, because {}", below.reason())
        }
        (End::Open(below), End::Open(above)) => {
            format!("without bounds: {}, and {}", below.reason(), above.reason())
        }
    }
}

/// The reason why there is no value.
pub(crate) fn reason(estimate: &Estimate) -> &'static str {
    match (estimate.lower, estimate.upper) {
        (End::Open(why), _) | (_, End::Open(why)) => why.reason(),
        _ => "it could not be measured",
    }
}

/// A cell of a table: "0.08 (0.07 to 0.09)", "1.9 (1.7 or more)", "at least 45", "none".
pub(crate) fn cell(estimate: &Estimate, decimals: usize) -> String {
    let say = |value: f64| plain(value, decimals);
    match (estimate.value, estimate.lower.at(), estimate.upper.at()) {
        (None, Some(lower), None) => return format!("at least {}", say(lower)),
        (None, None, Some(upper)) => return format!("at most {}", say(upper)),
        _ => {}
    }
    let span = match (estimate.lower.at(), estimate.upper.at()) {
        (Some(lower), Some(upper)) => format!("{} to {}", say(lower), say(upper)),
        (Some(lower), None) => format!("{} or more", say(lower)),
        (None, Some(upper)) => format!("{} or less", say(upper)),
        (None, None) => "no bounds".to_owned(),
    };
    match estimate.value {
        Some(value) => format!("{} ({span})", say(value)),
        None if span == "no bounds" => "none".to_owned(),
        None => format!("none ({span})"),
    }
}

/// Text in lines of at most 88 characters, the first after `first`, the others indented.
pub(crate) fn wrapped(text: &str, first: &str, indent: &str) -> String {
    const WIDTH: usize = 88;
    let mut lines = String::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > WIDTH {
            lines.push_str(&line);
            lines.push('\n');
            line = indent.to_owned();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.push_str(&line);
    lines.push('\n');
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::estimate::Gap;

    #[test]
    fn stops_are_said_as_slower_or_faster() {
        assert_eq!(SPEED.said(2.54), "2.54 stops slower");
        assert_eq!(SPEED.said(-1.0), "1.00 stop faster");
        assert_eq!(SPEED.span(2.43, 2.63), "2.43 to 2.63 stops slower");
        assert_eq!(SPEED.span(-0.5, -0.25), "0.25 to 0.50 stops faster");
        assert_eq!(
            SPEED.span(-0.12, 0.31),
            "0.12 stops faster to 0.31 stops slower"
        );
        assert_eq!(CONTRAST.span(-3.0, 9.0), "3 harder to 9 softer");
    }

    #[test]
    fn an_open_end_is_said_with_its_reason() {
        let estimate = Estimate {
            value: Some(3.0),
            standard_error: None,
            lower: End::At(2.4),
            upper: End::Open(Gap::AllStepsBelow),
        };
        assert_eq!(
            interval(&estimate, |value| plain(value, 1)),
            "at least 2.4, with no upper bound because no step is dark enough to reach the \
             criterion"
        );
        assert_eq!(cell(&estimate, 1), "3.0 (2.4 or more)");
        let least = Estimate {
            value: None,
            ..estimate
        };
        assert_eq!(cell(&least, 1), "at least 2.4");
        let absent = Estimate::absent(Gap::TooFewSteps);
        assert_eq!(
            interval(&absent, |value| plain(value, 1)),
            "without bounds, because too few steps could be measured"
        );
    }

    #[test]
    fn digits_follow_the_doubt() {
        assert_eq!(number(5.812, Some(0.4)), "5.8");
        assert_eq!(number(58.12, Some(4.0)), "58");
        assert_eq!(number(0.512, Some(0.03)), "0.51");
        assert_eq!(plain(-0.001, 2), "0.00");
    }

    #[test]
    fn long_text_is_wrapped_under_its_start() {
        let text = wrapped(&"word ".repeat(30), "- ", "  ");
        assert!(text.lines().all(|line| line.len() <= 88));
        assert!(text.lines().nth(1).unwrap().starts_with("  word"));
    }
}
