//! The tone preview in words.

use std::fmt::Write as _;

use super::words::{SPEED, plain};
use crate::measure::preview::{Closest, Shares};

/// A share of the picture in words: "none", "less than 1 %", "12 %".
pub fn share(share: f64) -> String {
    if share <= 0.0 {
        "none".into()
    } else if share < 0.01 {
        "less than 1 %".into()
    } else {
        format!("{:.0} %", 100.0 * share)
    }
}

/// What is lost, by the picture's area, one sentence each for highlights and shadows.
pub fn losses(shares: &Shares) -> [String; 2] {
    let said = |what: &str, all: f64, lost: f64, how: &str| {
        let area = share(all);
        if all <= 0.0 {
            return format!("{what} on the coating: {area} of the picture.");
        }
        let lost = share(lost);
        format!("{what} on the coating: {area} of the picture ({lost} {how} on the paper).")
    };
    [
        said(
            "Highlights blank",
            shares.blank,
            shares.blank_lost,
            "has tone",
        ),
        said(
            "Shadows blocked",
            shares.blocked,
            shares.blocked_lost,
            "is open",
        ),
    ]
}

/// What comes closest to the print.
pub fn closest_said(closest: &Closest) -> Vec<String> {
    let at = closest.exposure;
    let mut said = vec![format!(
        "Closest to the print with this negative: {} stops; lightness L* then differs by {} \
         (root mean square over the picture).",
        signed(at.stops),
        plain(at.difference, 1)
    )];
    if let Some(contrast) = &closest.contrast {
        let paper = contrast.paper_range.map_or_else(String::new, |range| {
            format!(", one that prints like this on paper of ISO range R {range:.0}")
        });
        said.push(format!(
            "With a negative of {} times the contrast{paper}: {} stops, and L* differs by {}.",
            plain(contrast.factor, 2),
            signed(contrast.at.stops),
            plain(contrast.at.difference, 1)
        ));
    }
    said
}

fn signed(stops: f64) -> String {
    format!("{}{}", if stops < 0.0 { "" } else { "+" }, plain(stops, 2))
}

/// The report of `twinstrip preview`.
pub fn shares_said(stops: f64, shares: &Shares, closest: Option<&Closest>) -> String {
    let mut text = format!(
        "Tones at {} stops against the paper print ({})\n\n",
        signed(stops),
        SPEED.said(stops)
    );
    for line in losses(shares) {
        writeln!(text, "{line}").ok();
    }
    for line in closest.map(closest_said).unwrap_or_default() {
        text.push_str(&super::words::wrapped(&line, "", "  "));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::preview::{Contrast, Match};

    #[test]
    fn shares_and_what_comes_closest_are_said_with_their_figures() {
        let shares = Shares {
            blank: 0.124,
            blank_lost: 0.004,
            ..Shares::default()
        };
        let closest = Closest {
            exposure: Match {
                stops: 2.5,
                difference: 3.21,
            },
            contrast: Some(Contrast {
                factor: 1.25,
                at: Match {
                    stops: 2.4,
                    difference: 1.0,
                },
                paper_range: Some(131.0),
            }),
        };
        let text = shares_said(2.5, &shares, Some(&closest));
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for words in [
            "12 % of the picture (less than 1 % has tone on the paper)",
            "blocked on the coating: none of the picture.",
            "+2.50 stops",
            "differs by 3.2",
            "1.25 times the contrast, one that prints like this on paper of ISO range R 131",
        ] {
            assert!(flat.contains(words), "{words}: {text}");
        }
    }
}
