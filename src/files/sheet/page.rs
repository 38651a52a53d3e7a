//! Text, lines, boxes and a picture on one page. Places are in points from the upper left.

use pdf_writer::{Content, Finish as _, Name, Pdf, Rect, Ref, Str, TextStr};

use super::font::Face;
use super::{SheetError, Thumbnail};

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
    faces: [Face; 2],
    picture: Option<Thumbnail>,
}

impl Page {
    /// An empty page of this size.
    pub(super) fn new(width: f32, height: f32) -> Result<Self, SheetError> {
        Ok(Self {
            width,
            height,
            content: Content::new(),
            faces: [
                Face::new(
                    include_bytes!("../../fonts/B612-Regular.otf"),
                    "B612-Regular",
                )?,
                Face::new(include_bytes!("../../fonts/B612-Bold.otf"), "B612-Bold")?,
            ],
            picture: None,
        })
    }

    /// Width of a text.
    pub(super) fn text_width(&self, text: &str, kind: Type, size: f32) -> f32 {
        self.faces[kind as usize].width(text, size)
    }

    /// Sets a text with its baseline at `y`.
    pub(super) fn text(&mut self, x: f32, y: f32, text: &str, kind: Type, size: f32) {
        let bytes = self.faces[kind as usize].encoded(text);
        self.content
            .begin_text()
            .set_font(FONTS[kind as usize], size)
            .next_line(x, self.height - y)
            .show(Str(&bytes))
            .end_text();
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
        let [catalog, tree, page, content, info, plain, bold] =
            std::array::from_fn(|_| next.bump());
        let mut pdf = Pdf::new();
        pdf.catalog(catalog).pages(tree);
        pdf.pages(tree).kids([page]).count(1);
        let mut leaf = pdf.page(page);
        leaf.media_box(Rect::new(0.0, 0.0, self.width, self.height))
            .parent(tree)
            .contents(content);
        let mut resources = leaf.resources();
        resources
            .fonts()
            .pair(FONTS[0], plain)
            .pair(FONTS[1], bold)
            .finish();
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
        self.faces[0].embed(&mut pdf, plain, &mut next)?;
        self.faces[1].embed(&mut pdf, bold, &mut next)?;
        pdf.document_info(info)
            .title(TextStr(title))
            .creator(TextStr("twinstrip"));
        Ok(pdf.finish())
    }
}

const FONTS: [Name<'static>; 2] = [Name(b"Plain"), Name(b"Bold")];
const PICTURE: Name<'static> = Name(b"Picture");
