//! Pieces of a scan on the graphics card: made as they come into sight, let go when too many.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use egui::{Color32, Painter, Pos2, Rect, TextureHandle, TextureOptions, Vec2};

use super::pyramid::{Pyramid, TILE};
use super::view::View;
use crate::measure::geometry::Point;

/// Most tiles kept, about a megabyte each: what a 4K screen shows, twice.
const MOST: usize = 160;
/// Most tiles made in one frame, so that panning stays smooth.
const PER_FRAME: usize = 3;

/// Which scan, size, column, row.
type Key = (usize, usize, usize, usize);

struct Tile {
    texture: TextureHandle,
    /// Frame it was last drawn in.
    used: u64,
}

/// The tiles there are.
#[derive(Default)]
pub struct Tiles {
    tiles: BTreeMap<Key, Tile>,
    frame: u64,
}

impl Tiles {
    /// Draws the part of a scan that is in sight; tells whether some of it is still to come.
    pub fn draw(
        &mut self,
        painter: &Painter,
        place: Rect,
        view: &View,
        (scan, pyramid): (usize, &Pyramid),
        tint: Color32,
    ) -> bool {
        self.frame += 1;
        let wanted = level_for(view.scale * painter.pixels_per_point(), pyramid.levels());
        let coarsest = pyramid.levels() - 1;
        let mut left = PER_FRAME;
        let mut to_come = false;
        // The coarsest size is one tile: something is always there to see.
        let levels = if wanted == coarsest {
            vec![coarsest]
        } else {
            vec![coarsest, wanted]
        };
        for level in levels {
            for (column, row) in in_sight(place, view, pyramid, level) {
                let key = (scan, level, column, row);
                let tile = match self.tiles.entry(key) {
                    Entry::Occupied(tile) => tile.into_mut(),
                    Entry::Vacant(_) if left == 0 && level != coarsest => {
                        to_come = true;
                        continue;
                    }
                    Entry::Vacant(free) => {
                        left = left.saturating_sub(1);
                        let texture = load(painter, pyramid, key);
                        free.insert(Tile { texture, used: 0 })
                    }
                };
                tile.used = self.frame;
                let texture = tile.texture.id();
                paint(painter, place, view, pyramid, key, texture, tint);
            }
        }
        self.let_go();
        to_come
    }

    fn let_go(&mut self) {
        while self.tiles.len() > MOST {
            let oldest = self.tiles.iter().min_by_key(|(_, tile)| tile.used);
            match oldest.map(|(key, tile)| (*key, tile.used)) {
                Some((key, used)) if used < self.frame => self.tiles.remove(&key),
                _ => return,
            };
        }
    }
}

/// The size of the scan whose pixels are nearest the screen's, but not coarser.
fn level_for(scale: f32, levels: usize) -> usize {
    let halvings = (1.0 / scale.max(1e-6)).log2().floor().max(0.0) as usize;
    halvings.min(levels - 1)
}

/// Columns and rows of the tiles in sight.
fn in_sight(place: Rect, view: &View, pyramid: &Pyramid, level: usize) -> Vec<(usize, usize)> {
    let (width, height) = pyramid.size(level);
    let pixel = (1u64 << level) as f64;
    let (from, to) = (
        view.on_scan(place, place.min),
        view.on_scan(place, place.max),
    );
    let range = |from: f64, to: f64, size: usize| {
        let last = size.div_ceil(TILE);
        let tile = |at: f64| ((at / pixel / TILE as f64).max(0.0) as usize).min(last);
        tile(from)..(tile(to.max(0.0)) + 1).min(last)
    };
    let (columns, rows) = (range(from.x, to.x, width), range(from.y, to.y, height));
    rows.flat_map(|row| columns.clone().map(move |column| (column, row)))
        .collect()
}

/// The tile's picture with one pixel more on every side where there is one, so that smoothing
/// meets no seam.
fn load(painter: &Painter, pyramid: &Pyramid, (scan, level, column, row): Key) -> TextureHandle {
    let (x, y) = (column * TILE, row * TILE);
    let (before_x, before_y) = (x.min(1), y.min(1));
    let picture = pyramid.cut(
        level,
        x - before_x,
        y - before_y,
        TILE + before_x + 1,
        TILE + before_y + 1,
    );
    // Single pixels are shown as such.
    let options = TextureOptions {
        magnification: egui::TextureFilter::Nearest,
        ..TextureOptions::LINEAR
    };
    let name = format!("scan {scan} level {level} at {column}, {row}");
    painter.ctx().load_texture(name, picture, options)
}

fn paint(
    painter: &Painter,
    place: Rect,
    view: &View,
    pyramid: &Pyramid,
    (_, level, column, row): Key,
    texture: egui::TextureId,
    tint: Color32,
) {
    let (width, height) = pyramid.size(level);
    let pixel = (1u64 << level) as f64;
    let (x, y) = (column * TILE, row * TILE);
    let (to_x, to_y) = ((x + TILE).min(width), (y + TILE).min(height));
    let (before_x, before_y) = (x.min(1), y.min(1));
    let picture = Vec2::new(
        ((to_x + 1).min(width) - x + before_x) as f32,
        ((to_y + 1).min(height) - y + before_y) as f32,
    );
    let uv = Rect::from_min_max(
        Pos2::new(before_x as f32 / picture.x, before_y as f32 / picture.y),
        Pos2::new(
            (before_x + to_x - x) as f32 / picture.x,
            (before_y + to_y - y) as f32 / picture.y,
        ),
    );
    let corner =
        |x: usize, y: usize| view.on_screen(place, Point::new(x as f64 * pixel, y as f64 * pixel));
    let rect = Rect::from_min_max(corner(x, y), corner(to_x, to_y));
    painter.image(texture, rect, uv, tint);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_size_chosen_is_never_coarser_than_the_screen() {
        assert_eq!(level_for(1.0, 6), 0);
        assert_eq!(level_for(8.0, 6), 0);
        assert_eq!(level_for(0.5, 6), 1);
        assert_eq!(level_for(0.26, 6), 1);
        assert_eq!(level_for(0.25, 6), 2);
        assert_eq!(level_for(0.0001, 6), 5);
    }
}
