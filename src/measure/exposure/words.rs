//! Cuts a written exposure into numbers, words and marks.

use super::entry::EntryError;

/// A number, a word (in small letters) or a mark.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::measure) enum Token {
    Number(f64),
    Word(String),
    Mark(char),
}

/// A token and how it was written.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::measure) struct Piece {
    pub(in crate::measure) token: Token,
    /// Stands directly after the piece before it.
    pub(in crate::measure) glued: bool,
    /// As written.
    pub(in crate::measure) text: String,
}

/// Reads pieces one after the other.
#[derive(Debug, Clone)]
pub(in crate::measure) struct Reader {
    pieces: Vec<Piece>,
    at: usize,
}

/// Longest text worth looking at: a strip's exposures fit many times over.
const LONGEST: usize = 10_000;

impl Reader {
    /// Cuts a text.
    pub(in crate::measure) fn new(text: &str) -> Result<Self, EntryError> {
        if text.len() > LONGEST {
            return Err(EntryError::TooLong(text.len()));
        }
        Ok(Self {
            pieces: cut(&spell_out_fractions(text))?,
            at: 0,
        })
    }

    pub(in crate::measure) fn peek(&self) -> Option<&Piece> {
        self.pieces.get(self.at)
    }

    pub(in crate::measure) fn peek_after(&self, ahead: usize) -> Option<&Piece> {
        self.pieces.get(self.at + ahead)
    }

    pub(in crate::measure) fn skip(&mut self, count: usize) {
        self.at += count;
    }

    pub(in crate::measure) fn is_done(&self) -> bool {
        self.at >= self.pieces.len()
    }

    /// Takes the next piece if it is one of these words.
    pub(in crate::measure) fn take_word(&mut self, words: &[&str]) -> bool {
        let found = matches!(self.peek(), Some(Piece { token: Token::Word(word), .. })
            if words.contains(&word.as_str()));
        self.at += usize::from(found);
        found
    }

    /// Takes the next pieces if they are exactly these words.
    pub(in crate::measure) fn take_words(&mut self, words: &[&str]) -> bool {
        let found = words.iter().enumerate().all(|(ahead, wanted)| {
            matches!(self.peek_after(ahead), Some(Piece { token: Token::Word(word), .. })
                if word == wanted)
        });
        self.at += if found { words.len() } else { 0 };
        found
    }

    /// Takes the next piece if it is one of these marks.
    pub(in crate::measure) fn take_mark(&mut self, marks: &[char]) -> bool {
        let found = matches!(self.peek(), Some(Piece { token: Token::Mark(mark), .. })
            if marks.contains(mark));
        self.at += usize::from(found);
        found
    }

    /// Takes the next piece if it is a number.
    pub(in crate::measure) fn take_number(&mut self) -> Option<f64> {
        let number = self.number_at(0)?;
        self.at += 1;
        Some(number)
    }

    /// The number that many pieces ahead.
    pub(in crate::measure) fn number_at(&self, ahead: usize) -> Option<f64> {
        match self.peek_after(ahead)?.token {
            Token::Number(number) => Some(number),
            _ => None,
        }
    }

    /// The pieces before the first of these words, and those after it, if it is there.
    pub(in crate::measure) fn split_at_word(&self, words: &[&str]) -> (Self, Option<Self>) {
        let rest = &self.pieces[self.at..];
        let place = rest.iter().position(
            |piece| matches!(&piece.token, Token::Word(word) if words.contains(&word.as_str())),
        );
        let reader = |pieces: &[Piece]| Self {
            pieces: pieces.to_vec(),
            at: 0,
        };
        match place {
            Some(place) => (reader(&rest[..place]), Some(reader(&rest[place + 1..]))),
            None => (reader(rest), None),
        }
    }

    /// What is left, as written, for messages.
    pub(in crate::measure) fn rest(&self) -> String {
        let mut rest = String::new();
        for piece in self.pieces.iter().skip(self.at) {
            if !rest.is_empty() && !piece.glued {
                rest.push(' ');
            }
            rest.push_str(&piece.text);
        }
        rest
    }
}

fn spell_out_fractions(text: &str) -> String {
    let mut spelled = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '½' => spelled.push_str(" 1/2"),
            '⅓' => spelled.push_str(" 1/3"),
            '⅔' => spelled.push_str(" 2/3"),
            '¼' => spelled.push_str(" 1/4"),
            '¾' => spelled.push_str(" 3/4"),
            '⅙' => spelled.push_str(" 1/6"),
            '×' => spelled.push('x'),
            '−' => spelled.push('-'),
            '″' => spelled.push('"'),
            '′' => spelled.push('\''),
            other => spelled.push(other),
        }
    }
    spelled
}

fn cut(text: &str) -> Result<Vec<Piece>, EntryError> {
    let letters: Vec<char> = text.chars().collect();
    let mut pieces = Vec::new();
    let mut at = 0;
    let mut glued = false;
    while at < letters.len() {
        let letter = letters[at];
        if letter.is_whitespace() {
            glued = false;
            at += 1;
            continue;
        }
        let from = at;
        let starts_number = letter.is_ascii_digit()
            || (letter == '.' && letters.get(at + 1).is_some_and(char::is_ascii_digit));
        let token = if starts_number {
            at += count(&letters[at..], |l| l.is_ascii_digit() || l == '.');
            refuse_decimal_comma(&letters, from, at)?;
            let written: String = letters[from..at].iter().collect();
            match written.parse::<f64>() {
                Ok(number) if number.is_finite() => Token::Number(number),
                _ => return Err(EntryError::NotANumber(written)),
            }
        } else if letter.is_alphabetic() {
            at += count(&letters[at..], |l| l.is_alphabetic() || l == '_');
            let word: String = letters[from..at].iter().collect();
            Token::Word(word.to_lowercase())
        } else {
            at += 1;
            Token::Mark(letter)
        };
        pieces.push(Piece {
            token,
            glued: glued && !pieces.is_empty(),
            text: letters[from..at].iter().collect(),
        });
        glued = true;
    }
    Ok(pieces)
}

fn count(letters: &[char], belongs: impl Fn(char) -> bool) -> usize {
    letters
        .iter()
        .take_while(|&&letter| belongs(letter))
        .count()
}

/// `2,5` may be two and a half or two times; `2,4,6` and `2.5,3` can only be lists.
fn refuse_decimal_comma(letters: &[char], from: usize, to: usize) -> Result<(), EntryError> {
    let comma_after =
        letters.get(to) == Some(&',') && letters.get(to + 1).is_some_and(char::is_ascii_digit);
    if !comma_after {
        return Ok(());
    }
    let belongs = |letter: &char| letter.is_ascii_digit() || matches!(letter, '.' | ',');
    let before = letters[..from]
        .iter()
        .rev()
        .take_while(|l| belongs(l))
        .count();
    let run: String = letters[from - before..]
        .iter()
        .take_while(|l| belongs(l))
        .collect();
    let commas = run.matches(',').count();
    if commas == 1 && !run.contains('.') {
        return Err(EntryError::DecimalComma(run));
    }
    Ok(())
}
