//! Text, lines, boxes and a picture on one page. Places are in points from the upper left.

use pdf_writer::{Content, Finish as _, Name, Pdf, Rect, Ref, Str, TextStr};

use super::font::Face;
use super::{SheetError, Thumbnail};
use crate::document::plain::spelled_line;
use crate::files::fonts::{self, SystemFace};

/// Weight of the type.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Type {
    /// Regular.
    Plain,
    /// Bold.
    Bold,
}

/// A page that is being set.
pub(super) struct Page {
    pub(super) width: f32,
    pub(super) height: f32,
    content: Content,
    /// Regular and bold, then what is asked for the letters that they lack, in this order.
    faces: Vec<Face>,
    picture: Option<Thumbnail>,
}

impl Page {
    /// An empty page of this size.
    pub(super) fn new(width: f32, height: f32, system: &[SystemFace]) -> Result<Self, SheetError> {
        let mut faces = vec![
            Face::new(fonts::REGULAR, "B612-Regular")?,
            Face::new(fonts::BOLD, "B612-Bold")?,
            Face::new(fonts::WIDE, "NotoSans-part")?,
        ];
        for face in system {
            faces.push(Face::of_system(face)?);
        }
        Ok(Self {
            width,
            height,
            content: Content::new(),
            faces,
            picture: None,
        })
    }

    /// The face that sets a letter of this weight; the first where none has it.
    fn face_for(&self, letter: char, kind: Type) -> usize {
        let own = kind as usize;
        if letter.is_whitespace() || self.faces[own].has(letter) {
            return own;
        }
        (OTHERS..self.faces.len())
            .find(|&face| self.faces[face].has(letter))
            .unwrap_or(own)
    }

    /// The text in parts that are set in one face each.
    fn parts(&self, text: &str, kind: Type) -> Vec<(usize, String)> {
        let mut parts: Vec<(usize, String)> = Vec::new();
        for letter in spelled_line(text).chars() {
            let face = self.face_for(letter, kind);
            match parts.last_mut() {
                Some((last, part)) if *last == face => part.push(letter),
                _ => parts.push((face, letter.to_string())),
            }
        }
        parts
    }

    /// Width of a text.
    pub(super) fn text_width(&self, text: &str, kind: Type, size: f32) -> f32 {
        let parts = self.parts(text, kind);
        parts
            .iter()
            .map(|(face, part)| self.faces[*face].width(part, size))
            .sum()
    }

    /// Sets a text with its baseline at `y`.
    pub(super) fn text(&mut self, x: f32, y: f32, text: &str, kind: Type, size: f32) {
        self.content.begin_text().next_line(x, self.height - y);
        for (face, part) in self.parts(text, kind) {
            let bytes = self.faces[face].encoded(&part);
            let name = font_name(face);
            self.content
                .set_font(Name(name.as_bytes()), size)
                .show(Str(&bytes));
        }
        self.content.end_text();
    }

    /// A straight line.
    pub(super) fn line(&mut self, from: (f32, f32), to: (f32, f32), thick: f32) {
        self.content
            .set_line_width(thick)
            .move_to(from.0, self.height - from.1)
            .line_to(to.0, self.height - to.1)
            .stroke();
    }

    /// An empty box whose upper left corner is at (x, y).
    pub(super) fn square(&mut self, x: f32, y: f32, side: f32) {
        self.content
            .set_line_width(1.4)
            .rect(x, self.height - y - side, side, side)
            .stroke();
    }

    /// The picture, its upper left corner at (x, y). One a page.
    pub(super) fn picture(&mut self, x: f32, y: f32, size: (f32, f32), picture: &Thumbnail) {
        let low = self.height - y - size.1;
        self.content
            .save_state()
            .transform([size.0, 0.0, 0.0, size.1, x, low])
            .x_object(PICTURE)
            .restore_state();
        self.picture = Some(picture.clone());
    }

    /// The file.
    pub(super) fn finish(self, title: &str) -> Result<Vec<u8>, SheetError> {
        let mut next = Ref::new(1);
        let [catalog, tree, page, content, info] = std::array::from_fn(|_| next.bump());
        let used: Vec<(usize, Ref)> = (0..self.faces.len())
            .filter(|&face| face < OTHERS || self.faces[face].is_used())
            .map(|face| (face, next.bump()))
            .collect();
        let mut pdf = Pdf::new();
        pdf.catalog(catalog).pages(tree);
        pdf.pages(tree).kids([page]).count(1);
        let mut leaf = pdf.page(page);
        leaf.media_box(Rect::new(0.0, 0.0, self.width, self.height))
            .parent(tree)
            .contents(content);
        let mut resources = leaf.resources();
        let mut named = resources.fonts();
        for &(face, at) in &used {
            named.pair(Name(font_name(face).as_bytes()), at);
        }
        named.finish();
        let picture = self.picture.as_ref().map(|picture| (picture, next.bump()));
        if let Some((_, at)) = picture {
            resources.x_objects().pair(PICTURE, at).finish();
        }
        resources.finish();
        leaf.finish();
        pdf.stream(content, &self.content.finish());
        if let Some((picture, at)) = picture {
            let mut image = pdf.image_xobject(at, &picture.grey);
            image
                .width(picture.width as i32)
                .height(picture.height as i32)
                .bits_per_component(8)
                .color_space()
                .device_gray();
        }
        for (face, at) in used {
            self.faces[face].embed(&mut pdf, at, &mut next)?;
        }
        pdf.document_info(info)
            .title(TextStr(&spelled_line(title)))
            .creator(TextStr("twinstrip"));
        Ok(pdf.finish())
    }
}

/// The first face that is asked for letters that regular and bold lack.
const OTHERS: usize = 2;

fn font_name(face: usize) -> String {
    format!("F{face}")
}

const PICTURE: Name<'static> = Name(b"Picture");
