//! Drawings off the screen: what panels paint, as a picture (PNG) or a drawing that scales (SVG).

pub mod raster;
mod svg;

use std::io::Cursor;

use egui::{Context, Painter, Pos2, RawInput, Rect, Vec2};

use super::theme;
use raster::Textures;

/// Something drawn on paper.
pub struct Sheet {
    ctx: Context,
    size: Vec2,
    scale: f32,
    textures: Textures,
    shapes: Vec<egui::epaint::ClippedShape>,
}

impl Sheet {
    /// Draws on a sheet of this size in points; a picture of it has `scale` pixels a point.
    pub fn draw(size: [f32; 2], scale: f32, mut paint: impl FnMut(&Painter, Rect)) -> Self {
        let ctx = Context::default();
        theme::install_fonts(&ctx);
        ctx.set_pixels_per_point(scale);
        let size = Vec2::from(size);
        let place = Rect::from_min_size(Pos2::ZERO, size);
        let input = || RawInput {
            screen_rect: Some(place),
            ..RawInput::default()
        };
        let mut textures = Textures::default();
        let mut shapes = Vec::new();
        // The typeface is there from the second pass on.
        for _ in 0..2 {
            let mut output = ctx.run_ui(input(), |ui| {
                paint(&ui.ctx().layer_painter(ui.layer_id()), place);
            });
            textures.take(&mut output.textures_delta);
            shapes = output.shapes;
        }
        Self {
            ctx,
            size,
            scale,
            textures,
            shapes,
        }
    }

    /// As a drawing.
    pub fn svg(&self) -> String {
        svg::text(self.size, &self.shapes)
    }

    /// As a picture.
    ///
    /// # Errors
    /// When it can't be encoded, in words.
    pub fn png(&self) -> Result<Vec<u8>, String> {
        let primitives = self.ctx.tessellate(self.shapes.clone(), self.scale);
        let pixels = [self.size.x, self.size.y].map(|side| (side * self.scale).round() as u32);
        let picture = raster::picture(pixels, self.scale, &primitives, &self.textures);
        let mut bytes = Cursor::new(Vec::new());
        picture
            .write_to(&mut bytes, image::ImageFormat::Png)
            .map_err(|error| error.to_string())?;
        Ok(bytes.into_inner())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::{Align2, Color32, FontId};

    fn sheet() -> Sheet {
        Sheet::draw([100.0, 60.0], 1.0, |painter, place| {
            painter.rect_filled(place, 0.0, Color32::WHITE);
            painter.rect_filled(
                Rect::from_min_size(Pos2::new(10.0, 10.0), Vec2::new(20.0, 20.0)),
                0.0,
                Color32::RED,
            );
            painter.text(
                Pos2::new(50.0, 40.0),
                Align2::LEFT_CENTER,
                "D < 2",
                FontId::proportional(12.0),
                Color32::BLACK,
            );
        })
    }

    #[test]
    fn a_picture_has_the_colours_that_were_painted_and_words() {
        let picture = image::load_from_memory(&sheet().png().unwrap())
            .unwrap()
            .to_rgb8();
        assert_eq!(picture.dimensions(), (100, 60));
        assert_eq!(picture.get_pixel(20, 20).0, [255, 0, 0]);
        assert_eq!(picture.get_pixel(40, 20).0, [255, 255, 255]);
        let dark = picture
            .enumerate_pixels()
            .filter(|(x, y, p)| *x >= 50 && *y > 30 && p.0[0] < 100)
            .count();
        assert!(dark > 20, "{dark} dark pixels where the words are");
    }

    #[test]
    fn a_drawing_holds_shapes_and_escaped_words() {
        let text = sheet().svg();
        assert!(text.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""));
        assert!(text.contains("fill=\"#ff0000\""));
        assert!(text.contains("D &lt; 2</text>"));
    }
}
