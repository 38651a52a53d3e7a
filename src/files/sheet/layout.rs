//! Where everything stands on the page.
//!
//! What is worked by is set as large as the page has room for; it shrinks before anything is
//! left out, and what has to be left out is told.

use super::Thumbnail;
use super::page::{Page, Type};
use super::text::change_said;
use crate::document::sheet::cautions::{CAUTIONS, FIRST};
use crate::document::sheet::{ExposureRow, Sheet};

/// White around the page, points: what printers can't reach.
pub(super) const MARGIN: f32 = 34.0;
/// White between columns.
const GUTTER: f32 = 18.0;
/// Size of the cautions, points.
const CAUTION: f32 = 8.4;
/// Line to line as a multiple of the size.
const LEADING: f32 = 1.28;
/// Sizes that are tried, as multiples of the usual.
const SCALES: [f32; 11] = [
    1.3, 1.24, 1.18, 1.12, 1.06, 1.0, 0.94, 0.88, 0.82, 0.76, 0.70,
];
/// Sizes that are tried with fewer lines, when all have no room at the smallest of the above.
const TIGHT: [f32; 3] = [0.82, 0.70, 0.60];
/// Most burns, notes and warnings that are set when not all have room, one count after the
/// other.
const FEWER: [usize; 4] = [12, 8, 4, 2];
/// Smallest size that a name shrinks to before it is cut.
const SMALLEST: f32 = 9.0;

enum Op {
    Text(f32, f32, String, Type, f32),
    Line((f32, f32), (f32, f32), f32),
    Square(f32, f32, f32),
    Picture(f32, f32, (f32, f32)),
}

/// Sets the whole sheet.
pub(super) fn set(page: &mut Page, sheet: &Sheet, picture: Option<&Thumbnail>) {
    let bottom = page.height - MARGIN - cautions_height(page);
    let all = SCALES.iter().map(|&scale| (scale, usize::MAX));
    let fewer = TIGHT
        .iter()
        .flat_map(|&scale| FEWER.iter().map(move |&most| (scale, most)));
    let tries = all.chain(fewer);
    let mut best = None;
    for (scale, most) in tries {
        let mut setter = Setter::new(page, scale, most);
        setter.work(sheet, picture);
        let fits = setter.y <= bottom;
        best = Some(setter.ops);
        if fits {
            break;
        }
    }
    for op in best.unwrap_or_default() {
        match op {
            Op::Text(x, y, text, kind, size) => page.text(x, y, &text, kind, size),
            Op::Line(from, to, thick) => page.line(from, to, thick),
            Op::Square(x, y, side) => page.square(x, y, side),
            Op::Picture(x, y, size) => {
                if let Some(picture) = picture {
                    page.picture(x, y, size, picture);
                }
            }
        }
    }
    cautions(page, bottom);
}

/// One try at setting the page.
struct Setter<'a> {
    page: &'a Page,
    scale: f32,
    most: usize,
    ops: Vec<Op>,
    y: f32,
}

impl<'a> Setter<'a> {
    fn new(page: &'a Page, scale: f32, most: usize) -> Self {
        Self {
            page,
            scale,
            most,
            ops: vec![],
            y: MARGIN,
        }
    }

    fn right(&self) -> f32 {
        self.page.width - MARGIN
    }

    fn text(&mut self, x: f32, y: f32, text: &str, kind: Type, size: f32) {
        self.ops.push(Op::Text(x, y, text.to_owned(), kind, size));
    }

    /// A text that shrinks to a width, and is cut at the smallest size.
    fn fitted(&mut self, x: f32, y: f32, text: &str, kind: Type, size: f32, width: f32) {
        let (text, size) = fit(self.page, text, kind, size, width);
        self.text(x, y, &text, kind, size);
    }

    /// A paragraph of at most `most` lines; what is beyond is cut. Moves down.
    fn paragraph(&mut self, x: f32, width: f32, text: &str, size: f32, most: usize) {
        for line in wrap(self.page, text, Type::Plain, size, width, most) {
            self.y += size * LEADING;
            self.text(x, self.y, &line, Type::Plain, size);
        }
    }

    fn heading(&mut self, x: f32, words: &str) {
        let size = 13.0 * self.scale;
        self.y += size * 1.5;
        self.text(x, self.y, words, Type::Bold, size);
        self.y += size * 0.25;
    }

    fn rule(&mut self) {
        self.y += 7.0 * self.scale;
        let right = self.right();
        self.ops
            .push(Op::Line((MARGIN, self.y), (right, self.y), 1.2));
    }

    fn work(&mut self, sheet: &Sheet, picture: Option<&Thumbnail>) {
        self.top(sheet, picture);
        self.rule();
        self.heading(MARGIN, "Exposures");
        let size = 9.0 * self.scale.max(1.0);
        let (right, y) = (self.right(), self.y);
        self.text(right - 64.0, y, "came out", Type::Plain, size);
        for (row, number) in sheet.exposures.iter().zip(1..) {
            self.exposure(row, number, sheet.exposures.len());
        }
        self.y += 6.0 * self.scale;
        let width = self.right() - MARGIN;
        for line in &sheet.chance {
            self.paragraph(MARGIN, width, line, 11.0 * self.scale, 3);
        }
        self.rule();
        let top = self.y;
        let column = 0.5 * (width - GUTTER);
        self.left_column(sheet, column);
        let left_end = self.y;
        self.y = top;
        self.process(sheet, MARGIN + column + GUTTER, column);
        self.y = self.y.max(left_end) + 6.0;
    }

    fn top(&mut self, sheet: &Sheet, picture: Option<&Thumbnail>) {
        let mut width = self.right() - MARGIN;
        let mut picture_end = MARGIN;
        if let Some(picture) = picture {
            let room = (150.0 * self.scale.min(1.1), 112.0 * self.scale.min(1.1));
            let (w, h) = (picture.width as f32, picture.height as f32);
            let by = (room.0 / w).min(room.1 / h);
            let size = (w * by, h * by);
            self.ops
                .push(Op::Picture(self.right() - size.0, MARGIN, size));
            picture_end = MARGIN + size.1;
            width -= size.0 + GUTTER;
        }
        let size = 24.0 * self.scale;
        self.y += size * 0.8;
        let y = self.y;
        self.fitted(MARGIN, y, &sheet.picture, Type::Bold, size, width);
        self.y += 3.0 * self.scale;
        let size = 11.5 * self.scale;
        let label = 62.0 * self.scale;
        for (name, what) in &sheet.facts {
            let y = self.y + size * LEADING;
            self.fitted(MARGIN, y, name, Type::Bold, size, label - 4.0);
            self.paragraph(MARGIN + label, width - label, what, size, 2);
        }
        self.y = self.y.max(picture_end);
    }

    fn exposure(&mut self, row: &ExposureRow, number: usize, count: usize) {
        // A long bracket is set smaller, so that what follows still has room.
        let size = if count > 5 { 15.0 } else { 21.0 } * self.scale;
        self.y += size * 1.4;
        let y = self.y;
        let right = self.right();
        self.ops
            .push(Op::Square(MARGIN + 0.7, y - size * 0.8, size * 0.85));
        let mut x = MARGIN + size * 1.3;
        self.text(x, y, &format!("{number}."), Type::Plain, size);
        x += size * 2.1;
        self.fitted(x, y, &row.time, Type::Bold, size, size * 5.2);
        x += size * 5.4;
        self.fitted(x, y, &row.aperture, Type::Bold, size, size * 2.9);
        x += size * 3.1;
        let left = right - x - 70.0;
        self.fitted(x, y, &row.against, Type::Plain, size * 0.72, left);
        // Room for what came out.
        let from = right - 64.0;
        self.ops.push(Op::Line((from, y), (right, y), 0.7));
    }

    fn left_column(&mut self, sheet: &Sheet, width: f32) {
        let size = 12.5 * self.scale;
        if !sheet.changes.is_empty() {
            self.heading(MARGIN, "Burns and dodges");
            for change in sheet.changes.iter().take(self.most) {
                let y = self.y + size * LEADING;
                self.ops
                    .push(Op::Square(MARGIN + 0.7, y - size * 0.8, size * 0.8));
                let indent = size * 1.3;
                self.paragraph(
                    MARGIN + indent,
                    width - indent,
                    &change_said(change),
                    size,
                    3,
                );
            }
            self.left_out(sheet.changes.len(), width);
        }
        let size = 10.5 * self.scale;
        for (words, lines) in [
            ("Focus and height", &sheet.placing),
            ("Watch out", &sheet.warnings),
        ] {
            if lines.is_empty() {
                continue;
            }
            self.heading(MARGIN, words);
            for line in lines.iter().take(self.most) {
                self.paragraph(MARGIN, width, line, size, 6);
            }
            self.left_out(lines.len(), width);
        }
    }

    fn left_out(&mut self, all: usize, width: f32) {
        if all > self.most {
            let size = 9.5f32.max(10.5 * self.scale);
            let words = format!("and {} more, in the plain text", all - self.most);
            self.paragraph(MARGIN, width, &words, size, 1);
        }
    }

    fn process(&mut self, sheet: &Sheet, x: f32, width: f32) {
        let size = 13.0 * self.scale;
        self.heading(x, "Process");
        for (row, number) in sheet.process.iter().zip(1..) {
            self.y += size * 1.42;
            let y = self.y;
            self.ops
                .push(Op::Square(x + 0.7, y - size * 0.8, size * 0.8));
            let right = x + width;
            let time_width = if row.time.is_empty() {
                let from = right - 54.0 * self.scale;
                self.ops.push(Op::Line((from, y), (right, y), 0.7));
                54.0 * self.scale
            } else {
                let (time, size) = fit(self.page, &row.time, Type::Bold, size, width * 0.4);
                let taken = self.page.text_width(&time, Type::Bold, size);
                self.text(right - taken, y, &time, Type::Bold, size);
                taken
            };
            let from = x + size * 1.3;
            let room = right - from - time_width - 6.0;
            let bath = format!("{number}. {}", row.bath);
            self.fitted(from, y, &bath, Type::Plain, size, room);
        }
    }
}

/// What each caution looks like, as lines; the first begins with its heading.
fn caution_lines(page: &Page, about: &str, said: &str, width: f32) -> Vec<String> {
    // A blank as wide as the heading keeps its room; the heading is set over it.
    let head = page.text_width(&format!("{about}:"), Type::Bold, CAUTION);
    let blank = page.text_width(" ", Type::Plain, CAUTION);
    let mut lines = Vec::new();
    let mut words = said.split_whitespace().peekable();
    let mut room = width - head - blank;
    while words.peek().is_some() {
        let mut line = String::new();
        while let Some(word) = words.peek() {
            let longer = if line.is_empty() {
                (*word).to_owned()
            } else {
                format!("{line} {word}")
            };
            if page.text_width(&longer, Type::Plain, CAUTION) > room && !line.is_empty() {
                break;
            }
            line = longer;
            words.next();
        }
        lines.push(line);
        room = width;
    }
    lines
}

fn caution_columns(page: &Page) -> [Vec<(usize, Vec<String>)>; 2] {
    let width = 0.5 * (page.width - 2.0 * MARGIN - GUTTER);
    let half = CAUTIONS.len().div_ceil(2);
    let mut columns = [vec![], vec![]];
    for (index, (about, said)) in CAUTIONS.iter().enumerate() {
        columns[index / half].push((index, caution_lines(page, about, said, width)));
    }
    columns
}

fn cautions_height(page: &Page) -> f32 {
    let lines = |column: &Vec<(usize, Vec<String>)>| -> f32 {
        column
            .iter()
            .map(|(_, lines)| lines.len() as f32 * CAUTION * LEADING + 3.0)
            .sum()
    };
    let columns = caution_columns(page);
    let width = page.width - 2.0 * MARGIN;
    let first = wrap(page, FIRST, Type::Bold, CAUTION + 0.6, width, 3).len() as f32;
    22.0 + first * (CAUTION + 0.6) * LEADING + lines(&columns[0]).max(lines(&columns[1]))
}

fn cautions(page: &mut Page, top: f32) {
    let width = page.width - 2.0 * MARGIN;
    let column = 0.5 * (width - GUTTER);
    let mut y = top + 4.0;
    page.line((MARGIN, y), (page.width - MARGIN, y), 1.2);
    y += 4.0;
    for line in wrap(page, FIRST, Type::Bold, CAUTION + 0.6, width, 3) {
        y += (CAUTION + 0.6) * LEADING;
        page.text(MARGIN, y, &line, Type::Bold, CAUTION + 0.6);
    }
    let start = y + 4.0;
    for (side, cautions) in caution_columns(page).into_iter().enumerate() {
        let x = MARGIN + side as f32 * (column + GUTTER);
        y = start;
        for (index, lines) in cautions {
            let head = format!("{}: ", CAUTIONS[index].0);
            let indent = page.text_width(&head, Type::Bold, CAUTION);
            for (number, line) in lines.iter().enumerate() {
                y += CAUTION * LEADING;
                if number == 0 {
                    page.text(x, y, &head, Type::Bold, CAUTION);
                    page.text(x + indent, y, line, Type::Plain, CAUTION);
                } else {
                    page.text(x, y, line, Type::Plain, CAUTION);
                }
            }
            y += 3.0;
        }
    }
}

/// A text that shrinks until it has room, and is cut at the smallest size.
fn fit(page: &Page, text: &str, kind: Type, size: f32, width: f32) -> (String, f32) {
    let wide = page.text_width(text, kind, size);
    if wide <= width {
        return (text.to_owned(), size);
    }
    let smaller = size * width / wide;
    if smaller >= SMALLEST.min(size) {
        return (text.to_owned(), smaller);
    }
    let size = SMALLEST.min(size);
    (cut(page, text, kind, size, width), size)
}

/// As much of a text as has room, with dots where it was cut.
fn cut(page: &Page, text: &str, kind: Type, size: f32, width: f32) -> String {
    let mut kept = String::new();
    for letter in text.chars() {
        let longer = format!("{kept}{letter}...");
        if page.text_width(&longer, kind, size) > width {
            break;
        }
        kept.push(letter);
    }
    format!("{}...", kept.trim_end())
}

/// Lines of a paragraph; words that are wider than a line are broken.
fn wrap(page: &Page, text: &str, kind: Type, size: f32, width: f32, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![];
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if page.text_width(&longer, kind, size) <= width {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            line.push(letter);
            if page.text_width(&line, kind, size) > width && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::take(&mut line));
                line.push(letter);
            }
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    if lines.len() > most {
        let rest = lines.split_off(most.saturating_sub(1)).join(" ");
        lines.push(cut(page, &rest, kind, size, width));
    }
    lines
}
