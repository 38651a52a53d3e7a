//! What a person says of a material, field by field: each has a word, a label, and one spelling
//! that is read and written everywhere.

use crate::document::day::Day;
use crate::document::plain::{check_line, check_lines};
use crate::measure::exposure::{entry, write};
use crate::measure::nearest::{hint, nearest};
use crate::measure::units::Seconds;

/// How much emulsion is laid on a square decimetre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wet {
    /// Millilitres per square decimetre.
    Millilitres(f64),
    /// Grams of wet coat per square decimetre.
    Grams(f64),
}

/// What the emulsion costs.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    /// So much money,
    pub amount: f64,
    /// of this currency ("EUR"),
    pub currency: String,
    /// for this: a litre where emulsion is laid by volume, a kilogram where by weight.
    pub per: PricePer,
}

/// What a price is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PricePer {
    /// A litre.
    Litre,
    /// A kilogram.
    Kilogram,
}

/// What a person says of a material and how it is used. Texts may be empty: not said.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Particulars {
    /// The emulsion.
    pub emulsion: String,
    /// Its batch.
    pub batch: String,
    /// The day its bottle was opened.
    pub opened: Option<Day>,
    /// What it is coated on.
    pub ground: String,
    /// Primer, gelatine or varnish between ground and emulsion.
    pub size_layer: String,
    /// Hardener, and how much.
    pub hardener: String,
    /// How many coats.
    pub coats: Option<u32>,
    /// How much emulsion, all coats together.
    pub wet: Option<Wet>,
    /// How the coat was dried.
    pub drying: String,
    /// The developer.
    pub developer: String,
    /// Its dilution ("1+9").
    pub dilution: String,
    /// Its temperature in degrees Celsius.
    pub temperature: Option<f64>,
    /// Time in the developer.
    pub time: Option<Seconds>,
    /// The printing paper of the reference.
    pub paper: String,
    /// The paper's grade, or the filter used with it.
    pub grade: String,
    /// The enlarger.
    pub enlarger: String,
    /// Its lens.
    pub lens: String,
    /// Its light source.
    pub light: String,
    /// The scanner's calibration, or the wedge.
    pub scanner: String,
    /// What the emulsion costs.
    pub price: Option<Price>,
    /// Whatever else.
    pub notes: String,
}

/// One of the particulars.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Field {
    /// The emulsion.
    Emulsion,
    /// Its batch.
    Batch,
    /// The day its bottle was opened.
    Opened,
    /// What it is coated on.
    Ground,
    /// What lies between ground and emulsion.
    SizeLayer,
    /// Hardener.
    Hardener,
    /// How many coats.
    Coats,
    /// How much emulsion.
    Wet,
    /// How it was dried.
    Drying,
    /// The developer.
    Developer,
    /// Its dilution.
    Dilution,
    /// Its temperature.
    Temperature,
    /// Time in it.
    Time,
    /// The printing paper.
    Paper,
    /// Its grade or filter.
    Grade,
    /// The enlarger.
    Enlarger,
    /// Its lens.
    Lens,
    /// Its light source.
    Light,
    /// The scanner's calibration.
    Scanner,
    /// What the emulsion costs.
    Price,
    /// Whatever else.
    Notes,
}

/// Longest text of a field, in letters.
const LONGEST_TEXT: usize = 10_000;

impl Field {
    /// Every field, in the order in which they are shown and written.
    pub const ALL: [Self; 21] = [
        Self::Emulsion,
        Self::Batch,
        Self::Opened,
        Self::Ground,
        Self::SizeLayer,
        Self::Hardener,
        Self::Coats,
        Self::Wet,
        Self::Drying,
        Self::Developer,
        Self::Dilution,
        Self::Temperature,
        Self::Time,
        Self::Paper,
        Self::Grade,
        Self::Enlarger,
        Self::Lens,
        Self::Light,
        Self::Scanner,
        Self::Price,
        Self::Notes,
    ];

    /// Its word in files and on the command line, and its label on screen.
    fn names(self) -> (&'static str, &'static str) {
        match self {
            Self::Emulsion => ("emulsion", "Emulsion"),
            Self::Batch => ("batch", "Batch"),
            Self::Opened => ("opened", "Bottle opened on"),
            Self::Ground => ("ground", "Ground"),
            Self::SizeLayer => ("size_layer", "Size layer"),
            Self::Hardener => ("hardener", "Hardener"),
            Self::Coats => ("coats", "Coats"),
            Self::Wet => ("wet", "Emulsion per dm²"),
            Self::Drying => ("drying", "Drying"),
            Self::Developer => ("developer", "Developer"),
            Self::Dilution => ("dilution", "Dilution"),
            Self::Temperature => ("temperature", "Temperature, °C"),
            Self::Time => ("time", "Developing time"),
            Self::Paper => ("paper", "Printing paper"),
            Self::Grade => ("grade", "Grade or filter"),
            Self::Enlarger => ("enlarger", "Enlarger"),
            Self::Lens => ("lens", "Lens"),
            Self::Light => ("light", "Light source"),
            Self::Scanner => ("scanner", "Scanner calibration"),
            Self::Price => ("price", "Price of the emulsion"),
            Self::Notes => ("notes", "Notes"),
        }
    }

    /// Its word in files and on the command line.
    pub fn word(self) -> &'static str {
        self.names().0
    }

    /// Its label on screen.
    pub fn label(self) -> &'static str {
        self.names().1
    }

    /// The field of a word, blanks and hyphens taken for underscores.
    ///
    /// # Errors
    /// In words, with the one that may have been meant.
    pub fn of_word(word: &str) -> Result<Self, String> {
        let plain = word.trim().to_lowercase().replace([' ', '-'], "_");
        let known = Self::ALL.map(Self::word);
        Self::ALL
            .into_iter()
            .find(|field| field.word() == plain)
            .ok_or_else(|| match nearest(&plain, &known) {
                Some(near) => format!("`{word}` is not known here{}", hint(Some(near))),
                None => format!("`{word}` is not known here; known are {}", known.join(", ")),
            })
    }
}

impl Particulars {
    /// A field as it is written; empty when nothing is said.
    pub fn get(&self, field: Field) -> String {
        let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        match field {
            Field::Opened => self.opened.map(|day| day.to_string()).unwrap_or_default(),
            Field::Coats => number(self.coats.map(f64::from)),
            Field::Temperature => number(self.temperature),
            Field::Time => self.time.map(write::time).unwrap_or_default(),
            Field::Wet => match self.wet {
                Some(Wet::Millilitres(amount)) => format!("{amount} ml"),
                Some(Wet::Grams(amount)) => format!("{amount} g"),
                None => String::new(),
            },
            Field::Price => self.price.as_ref().map(written).unwrap_or_default(),
            text => self.text(text).cloned().unwrap_or_default(),
        }
    }

    /// Says a field, as [`Particulars::get`] gives it; an empty text unsays it.
    ///
    /// # Errors
    /// What would be right, in words.
    pub fn set(&mut self, field: Field, said: &str) -> Result<(), String> {
        let said = said.trim();
        if said.chars().count() > LONGEST_TEXT {
            return Err(format!("at most {LONGEST_TEXT} letters"));
        }
        if field == Field::Notes {
            check_lines(said)?;
        } else {
            check_line(said)?;
        }
        let given = (!said.is_empty()).then_some(said);
        match field {
            Field::Opened => {
                let day = given.map(str::parse::<Day>).transpose();
                self.opened = day.map_err(|error| error.to_string())?;
            }
            Field::Coats => self.coats = given.map(coats).transpose()?,
            Field::Temperature => self.temperature = given.map(temperature).transpose()?,
            Field::Time => {
                let time = given.map(entry::time).transpose();
                self.time = time.map_err(|error| error.to_string())?;
            }
            Field::Wet => self.wet = given.map(wet).transpose()?,
            Field::Price => self.price = given.map(price).transpose()?,
            text => {
                if let Some(place) = self.text_mut(text) {
                    said.clone_into(place);
                }
            }
        }
        Ok(())
    }

    fn text(&self, field: Field) -> Option<&String> {
        Some(match field {
            Field::Emulsion => &self.emulsion,
            Field::Batch => &self.batch,
            Field::Ground => &self.ground,
            Field::SizeLayer => &self.size_layer,
            Field::Hardener => &self.hardener,
            Field::Drying => &self.drying,
            Field::Developer => &self.developer,
            Field::Dilution => &self.dilution,
            Field::Paper => &self.paper,
            Field::Grade => &self.grade,
            Field::Enlarger => &self.enlarger,
            Field::Lens => &self.lens,
            Field::Light => &self.light,
            Field::Scanner => &self.scanner,
            Field::Notes => &self.notes,
            Field::Opened
            | Field::Coats
            | Field::Wet
            | Field::Temperature
            | Field::Time
            | Field::Price => return None,
        })
    }

    fn text_mut(&mut self, field: Field) -> Option<&mut String> {
        Some(match field {
            Field::Emulsion => &mut self.emulsion,
            Field::Batch => &mut self.batch,
            Field::Ground => &mut self.ground,
            Field::SizeLayer => &mut self.size_layer,
            Field::Hardener => &mut self.hardener,
            Field::Drying => &mut self.drying,
            Field::Developer => &mut self.developer,
            Field::Dilution => &mut self.dilution,
            Field::Paper => &mut self.paper,
            Field::Grade => &mut self.grade,
            Field::Enlarger => &mut self.enlarger,
            Field::Lens => &mut self.lens,
            Field::Light => &mut self.light,
            Field::Scanner => &mut self.scanner,
            Field::Notes => &mut self.notes,
            Field::Opened
            | Field::Coats
            | Field::Wet
            | Field::Temperature
            | Field::Time
            | Field::Price => return None,
        })
    }
}

fn written(price: &Price) -> String {
    let per = match price.per {
        PricePer::Litre => "l",
        PricePer::Kilogram => "kg",
    };
    format!("{} {}/{per}", price.amount, price.currency)
}

fn coats(said: &str) -> Result<u32, String> {
    said.parse::<f64>()
        .ok()
        .filter(|count| (1.0..=50.0).contains(count) && count.fract() == 0.0)
        .map(|count| count as u32)
        .ok_or_else(|| "coats are counted: a whole number from 1 to 50".into())
}

fn temperature(said: &str) -> Result<f64, String> {
    said.trim_end_matches(['C', '°', ' '])
        .parse::<f64>()
        .ok()
        .filter(|celsius| (0.0..=60.0).contains(celsius))
        .ok_or_else(|| "a temperature is a number of degrees Celsius from 0 to 60".into())
}

/// A number and the word after it.
fn amount(said: &str) -> Option<(f64, &str)> {
    let end = said
        .find(|letter: char| !(letter.is_ascii_digit() || letter == '.'))
        .unwrap_or(said.len());
    let number = said[..end].parse::<f64>().ok()?;
    (number > 0.0 && number <= 1e6).then(|| (number, said[end..].trim()))
}

fn wet(said: &str) -> Result<Wet, String> {
    match amount(said) {
        Some((number, "ml")) => Ok(Wet::Millilitres(number)),
        Some((number, "g")) => Ok(Wet::Grams(number)),
        _ => Err("write what is laid on a square decimetre as 2.1 ml or as 2.3 g".into()),
    }
}

fn price(said: &str) -> Result<Price, String> {
    let read = || {
        let (number, rest) = amount(said)?;
        let (currency, per) = rest.split_once('/')?;
        let currency = currency.trim();
        let plain = (1..=8).contains(&currency.chars().count())
            && !currency.chars().any(|letter| letter.is_ascii_digit());
        Some(Price {
            amount: number,
            currency: plain.then(|| currency.to_owned())?,
            per: match per.trim() {
                "l" => PricePer::Litre,
                "kg" => PricePer::Kilogram,
                _ => return None,
            },
        })
    };
    read().ok_or_else(|| "write a price as 48 EUR/l or as 48 EUR/kg".into())
}
