//! Recipes as printers write them: `10s at f/8, magnified 4x` and lines such as
//! `burn sky: 1/2 stop`.

use super::recipe::{Amount, Burst, Change, Grade, Recipe, Throw, Tone, Way};
use super::recipe_check::{RecipeError, Wrong};
use crate::measure::exposure::entry::{an_aperture, not, one_time, some_stops};
use crate::measure::exposure::words::{Reader, Token};
use crate::measure::exposure::{EntryError, write};
use crate::measure::nearest::{hint, nearest};

/// Most lines of a recipe: more than any print has burns.
const MOST_LINES: usize = 100;
/// Most bursts of a base exposure.
const MOST_BURSTS: usize = 20;

const BASE: &str =
    "the base exposure: write it as `10s at f/8` or `8s grade 00 + 6s grade 5 at f/8`";
const AMOUNT: &str = "an amount: write it as `1/2 stop` or `10s`";
const DETAILS: [&str; 6] = ["magnified", "head", "lens", "grade", "factor", "tones"];
const LENGTHS: [(&[&str], f64); 3] = [
    (&["mm", "millimetre", "millimetres"], 1.0),
    (&["cm", "centimetre", "centimetres"], 10.0),
    (&["in", "inch", "inches"], 25.4),
];

impl Recipe {
    /// Reads a recipe. The first line is the base exposure:
    /// `TIME [grade G [factor X]] [+ TIME ...] at APERTURE` and then, separated by commas,
    /// `magnified 4x` or `head 56cm`, `lens 80mm`, `grade G`, `factor X`,
    /// `tones 0.05 to 1.6`. Every further line is `burn NAME: AMOUNT` or `dodge NAME: AMOUNT`,
    /// perhaps with `grade G factor X` and `in the highlights`, `in the shadows` or `to 0.35`
    /// (the net density that the part has in the finished print).
    ///
    /// # Errors
    /// The first line that can't be read, and why.
    pub fn read(text: &str) -> Result<Self, RecipeError> {
        let mut lines = (1..)
            .zip(text.split(['\n', ';']))
            .map(|(number, line)| (number, line.trim()))
            .filter(|(_, line)| !line.is_empty());
        let at = |line: usize| move |what: Wrong| RecipeError { line, what };
        let (number, first) = lines.next().ok_or_else(|| RecipeError {
            line: 1,
            what: format!("nothing is written where {BASE}"),
        })?;
        let mut recipe = base(first).map_err(at(number))?;
        recipe.check_base().map_err(at(number))?;
        for (number, line) in lines {
            if recipe.changes.len() >= MOST_LINES {
                return Err(at(number)(format!(
                    "{MOST_LINES} burns and dodges are the limit"
                )));
            }
            let change = change(line).map_err(at(number))?;
            recipe.check_change(&change).map_err(at(number))?;
            recipe.changes.push(change);
        }
        Ok(recipe)
    }

    /// Reads one burn or dodge of this recipe; line 1 stands for it in the error.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn read_change(&self, line: &str) -> Result<Change, RecipeError> {
        let checked = |change: Change| self.check_change(&change).map(|()| change);
        change(line)
            .and_then(checked)
            .map_err(|what| RecipeError { line: 1, what })
    }

    /// The recipe as text that reads back as the same.
    pub fn written(&self) -> String {
        let mut text = self
            .base
            .iter()
            .map(|burst| format!("{}{}", write::time(burst.time), grade_written(&burst.grade)))
            .collect::<Vec<_>>()
            .join(" + ");
        text.push_str(&format!(" at {}", self.aperture.written()));
        match self.throw {
            Throw::Unknown => {}
            Throw::Magnified(m) => text.push_str(&format!(", magnified {m}x")),
            Throw::Head(mm) => text.push_str(&format!(", head {mm}mm")),
        }
        if let Some(mm) = self.focal_length {
            text.push_str(&format!(", lens {mm}mm"));
        }
        if let Some((light, dark)) = self.tones {
            text.push_str(&format!(", tones {light} to {dark}"));
        }
        for change in &self.changes {
            text.push('\n');
            text.push_str(&change_written(change));
        }
        text
    }
}

fn grade_written(grade: &Grade) -> String {
    let mut text = String::new();
    if let Some(name) = &grade.name {
        text.push_str(&format!(" grade {name}"));
    }
    if let Some(factor) = grade.factor {
        text.push_str(&format!(" factor {factor}"));
    }
    text
}

fn change_written(change: &Change) -> String {
    // A name with marks of the line's own in it, which none that was read has, would read back as
    // another.
    let name = change.name.replace([':', ';', '\n', '\r'], ",");
    let amount = match change.amount {
        Amount::Stops(stops) if stops <= 1.0 => format!("{} stop", write::stops(stops)),
        Amount::Stops(stops) => format!("{} stops", write::stops(stops)),
        Amount::Time(time) => write::time(time),
    };
    let mut text = format!("{} {name}: {amount}", change.way.word());
    if let Some(grade) = &change.grade {
        text.push_str(&grade_written(grade));
    }
    match change.tone {
        None => {}
        Some(Tone::Highlights) => text.push_str(", in the highlights"),
        Some(Tone::Middle) => text.push_str(", in the middle"),
        Some(Tone::Shadows) => text.push_str(", in the shadows"),
        Some(Tone::Net(net)) => text.push_str(&format!(", to {net}")),
    }
    text
}

/// What the reader of times and apertures says, as it says it.
fn said(error: EntryError) -> Wrong {
    error.to_string()
}

fn wanted(reader: &Reader, what: &'static str) -> Wrong {
    said(not(reader, what))
}

fn base(line: &str) -> Result<Recipe, Wrong> {
    let mut reader = Reader::new(line).map_err(said)?;
    let mut bursts = Vec::new();
    loop {
        let time = one_time(&mut reader).map_err(said)?;
        bursts.push(Burst {
            time,
            grade: grade(&mut reader)?.unwrap_or_default(),
        });
        if bursts.len() > MOST_BURSTS {
            return Err(format!("{MOST_BURSTS} bursts are the limit"));
        }
        if !reader.take_mark(&['+']) && !reader.take_word(&["then", "and"]) {
            break;
        }
    }
    reader.take_mark(&[',']);
    if !reader.take_word(&["at"]) {
        return Err(wanted(
            &reader,
            "`at` and the aperture: write them as `at f/8`",
        ));
    }
    let aperture = an_aperture(&mut reader).map_err(said)?;
    let mut recipe = Recipe {
        base: bursts,
        aperture,
        throw: Throw::Unknown,
        focal_length: None,
        tones: None,
        changes: vec![],
    };
    while !reader.is_done() {
        reader.take_mark(&[',']);
        detail(&mut reader, &mut recipe)?;
    }
    Ok(recipe)
}

/// `[at] grade G [factor X]`, `factor X`, or nothing.
fn grade(reader: &mut Reader) -> Result<Option<Grade>, Wrong> {
    let mut ahead = reader.clone();
    ahead.take_mark(&[',']);
    let _ = ahead.take_word(&["at", "with", "through"]);
    let named = ahead.take_word(&["grade", "grades"]);
    if !named && !matches!(ahead.peek(), Some(piece) if is_word(&piece.token, &["factor"])) {
        return Ok(None);
    }
    *reader = ahead;
    let name = if named {
        let mut name = String::new();
        while let Some(piece) = reader.peek() {
            let ends = matches!(&piece.token, Token::Mark(',' | '+'))
                || is_word(&piece.token, &["factor", "at", "then", "and", "in", "to"])
                || is_word(&piece.token, &DETAILS);
            if ends {
                break;
            }
            if !name.is_empty() && !piece.glued {
                name.push(' ');
            }
            name.push_str(&piece.text);
            reader.skip(1);
        }
        if name.is_empty() {
            return Err(wanted(reader, "a grade: write it as `grade 2`"));
        }
        Some(name)
    } else {
        None
    };
    let factor = if reader.take_word(&["factor"]) {
        let factor = number(
            reader,
            "how many times the light the grade needs: write it as `factor 1.6`",
        )?;
        reader.take_word(&["x", "times"]);
        Some(factor)
    } else {
        None
    };
    Ok(Some(Grade { name, factor }))
}

fn is_word(token: &Token, words: &[&str]) -> bool {
    matches!(token, Token::Word(word) if words.contains(&word.as_str()))
}

fn number(reader: &mut Reader, what: &'static str) -> Result<f64, Wrong> {
    reader.take_number().ok_or_else(|| wanted(reader, what))
}

/// A length in millimetres.
fn length(reader: &mut Reader, what: &'static str) -> Result<f64, Wrong> {
    let before = reader.clone();
    let value = number(reader, what)?;
    for (words, millimetres) in LENGTHS {
        if reader.take_word(words) {
            return Ok(value * millimetres);
        }
    }
    Err(wanted(&before, what))
}

fn detail(reader: &mut Reader, recipe: &mut Recipe) -> Result<(), Wrong> {
    if let Some(said) = grade(reader)? {
        for burst in &mut recipe.base {
            if burst.grade.is_white() {
                burst.grade = said.clone();
            }
        }
    } else if reader.take_word(&["magnified", "magnification", "enlarged"]) {
        let m = number(reader, "a magnification: write it as `magnified 4x`")?;
        reader.take_word(&["x", "times"]);
        recipe.throw = Throw::Magnified(m);
    } else if reader.take_word(&["head"]) {
        let what = "the distance from negative to easel: write it as `head 56cm`";
        recipe.throw = Throw::Head(length(reader, what)?);
    } else if reader.take_word(&["lens"]) {
        recipe.focal_length = Some(length(reader, "a focal length: write it as `lens 80mm`")?);
    } else if reader.take_word(&["tones", "tone"]) {
        const WANTED: &str = "two net densities: write them as `tones 0.05 to 1.6`";
        let light = number(reader, WANTED)?;
        if !reader.take_word(&["to"]) {
            return Err(wanted(reader, WANTED));
        }
        recipe.tones = Some((light, number(reader, WANTED)?));
    } else {
        return Err(unknown(reader, &DETAILS));
    }
    Ok(())
}

fn unknown(reader: &Reader, known: &[&str]) -> Wrong {
    let rest = reader.rest();
    let first = rest.split_whitespace().next().unwrap_or_default();
    match nearest(first, known) {
        Some(word) => format!("`{first}` is not known here{}", hint(Some(word))),
        None if rest.is_empty() => "something is missing after the last comma".into(),
        None => format!("`{rest}` is not known here; known are {}", known.join(", ")),
    }
}

fn change(line: &str) -> Result<Change, Wrong> {
    let mut reader = Reader::new(line).map_err(said)?;
    let way = if reader.take_word(&["burn", "burned", "burnt"]) {
        Way::Burn
    } else if reader.take_words(&["hold", "back"]) || reader.take_word(&["dodge", "dodged"]) {
        Way::Dodge
    } else {
        return Err(unknown(&reader, &["burn", "dodge"]));
    };
    let name = part_name(&mut reader);
    if name.is_empty() {
        return Err(format!(
            "what is to be {}? write `{} sky: 1/2 stop`",
            if way == Way::Burn { "burned" } else { "dodged" },
            way.word()
        ));
    }
    // `3:4` reads as a time, so that it would not end the name; a semicolon ends the line.
    if name.contains([':', ';']) {
        return Err(format!("`{name}`: a name holds no colon and no semicolon"));
    }
    let amount = amount(&mut reader)?;
    let mut change = Change {
        way,
        name,
        amount,
        grade: grade(&mut reader)?,
        tone: None,
    };
    while !reader.is_done() {
        reader.take_mark(&[',']);
        change.tone = Some(tone(&mut reader)?);
    }
    Ok(change)
}

/// What stands before the colon, or before the amount.
fn part_name(reader: &mut Reader) -> String {
    // The colon of `1:20` is part of a time.
    let is_colon = |reader: &Reader, at: usize| {
        let in_a_time = at > 0
            && reader.number_at(at - 1).is_some()
            && reader.number_at(at + 1).is_some()
            && reader.peek_after(at + 1).is_some_and(|next| next.glued);
        matches!(reader.peek_after(at), Some(piece) if piece.token == Token::Mark(':'))
            && !in_a_time
    };
    let colon = (0..)
        .take_while(|&at| reader.peek_after(at).is_some())
        .find(|&at| is_colon(reader, at));
    let end = colon.unwrap_or_else(|| {
        (0..)
            .take_while(|&at| reader.peek_after(at).is_some())
            .find(|&at| starts_amount(reader, at))
            .unwrap_or(usize::MAX)
    });
    let mut name = String::new();
    let mut taken = 0;
    while taken < end {
        let Some(piece) = reader.peek_after(taken) else {
            break;
        };
        // `burn in the sky by 1 stop`; before a colon the name stands as it is.
        let joins = colon.is_none()
            && (taken == 0 && is_word(&piece.token, &["in"])
                || taken + 1 == end && is_word(&piece.token, &["by", "for"]));
        if !joins {
            if !name.is_empty() && !piece.glued {
                name.push(' ');
            }
            name.push_str(&piece.text);
        }
        taken += 1;
    }
    reader.skip(taken + usize::from(colon.is_some()));
    name
}

const PARTS: [&str; 8] = [
    "third", "thirds", "half", "halves", "quarter", "quarters", "sixth", "sixths",
];

fn starts_amount(reader: &Reader, at: usize) -> bool {
    match reader.peek_after(at).map(|piece| &piece.token) {
        Some(Token::Number(_) | Token::Mark('+')) => true,
        Some(word) if is_word(word, &PARTS) => {
            matches!(reader.peek_after(at + 1), Some(next) if is_word(&next.token, &["a", "of", "stop", "stops"]))
        }
        _ => false,
    }
}

fn amount(reader: &mut Reader) -> Result<Amount, Wrong> {
    let _ = reader.take_word(&["by", "for"]);
    reader.take_mark(&['+']);
    let before = reader.clone();
    let ends = |token: &Token| {
        matches!(token, Token::Mark(',')) || is_word(token, &["grade", "at", "with", "in", "to"])
    };
    let pieces = (0..)
        .map_while(|at| before.peek_after(at))
        .take_while(|piece| !ends(&piece.token));
    let mut units = pieces
        .map(|piece| &piece.token)
        .filter(|token| matches!(token, Token::Word(_) | Token::Mark(':' | '"' | '\'')));
    let in_stops = |token: &Token| is_word(token, &["stop", "stops"]) || is_word(token, &PARTS);
    match units.next() {
        None => Err(wanted(&before, AMOUNT)),
        Some(unit) if in_stops(unit) || units.any(in_stops) => {
            some_stops(reader).map(Amount::Stops).map_err(said)
        }
        Some(_) => one_time(reader).map(Amount::Time).map_err(said),
    }
}

const TONES: [&str; 4] = ["highlights", "middle", "shadows", "to"];

fn tone(reader: &mut Reader) -> Result<Tone, Wrong> {
    reader.take_word(&["in", "into"]);
    reader.take_word(&["the"]);
    if reader.take_word(&["highlights", "highlight", "lights"]) {
        Ok(Tone::Highlights)
    } else if reader.take_word(&["middle", "midtones", "mid"]) {
        reader.take_word(&["tones", "grey"]);
        Ok(Tone::Middle)
    } else if reader.take_word(&["shadows", "shadow", "darks"]) {
        Ok(Tone::Shadows)
    } else if reader.take_word(&["to"]) {
        number(reader, "a net density: write it as `to 0.35`").map(Tone::Net)
    } else {
        Err(unknown(reader, &TONES))
    }
}
