//! Triangles to pixels, without a graphics card: the same result on every machine.

use std::collections::BTreeMap;

use egui::epaint::{ClippedPrimitive, ImageData, ImageDelta, Mesh, Primitive, Vertex};
use egui::{ColorImage, Rect, TextureId, TexturesDelta};

/// Textures as the toolkit hands them out.
#[derive(Default, Clone)]
pub struct Textures {
    images: BTreeMap<TextureId, ColorImage>,
}

impl Textures {
    /// Takes in what changed, and lets go of what is freed.
    pub fn take(&mut self, delta: &mut TexturesDelta) {
        for (id, changes) in std::mem::take(&mut delta.set) {
            for change in changes {
                self.change(id, change);
            }
        }
        for id in std::mem::take(&mut delta.free) {
            self.images.remove(&id);
        }
    }

    fn change(&mut self, id: TextureId, change: ImageDelta) {
        let ImageData::Color(image) = change.image;
        let Some([left, top]) = change.pos else {
            self.images.insert(id, ColorImage::clone(&image));
            return;
        };
        let Some(whole) = self.images.get_mut(&id) else {
            return;
        };
        let [width, height] = image.size;
        for y in 0..height {
            let to = (top + y) * whole.size[0] + left;
            whole.pixels[to..to + width].copy_from_slice(&image.pixels[y * width..(y + 1) * width]);
        }
    }
}

/// Paints primitives on black.
pub fn picture(
    [width, height]: [u32; 2],
    scale: f32,
    primitives: &[ClippedPrimitive],
    textures: &Textures,
) -> image::RgbaImage {
    let mut canvas = Canvas {
        width: width as usize,
        height: height as usize,
        pixels: vec![[0.0, 0.0, 0.0]; width as usize * height as usize],
    };
    for primitive in primitives {
        if let Primitive::Mesh(mesh) = &primitive.primitive
            && let Some(texture) = textures.images.get(&mesh.texture_id)
        {
            canvas.mesh(mesh, primitive.clip_rect, scale, texture);
        }
    }
    image::RgbaImage::from_fn(width, height, |x, y| {
        let [r, g, b] = canvas.pixels[y as usize * canvas.width + x as usize];
        let code = |value: f32| value.round().clamp(0.0, 255.0) as u8;
        image::Rgba([code(r), code(g), code(b), 255])
    })
}

struct Canvas {
    width: usize,
    height: usize,
    pixels: Vec<[f32; 3]>,
}

impl Canvas {
    fn mesh(&mut self, mesh: &Mesh, clip: Rect, scale: f32, texture: &ColorImage) {
        let clip = [
            (clip.left() * scale).round().max(0.0) as usize,
            (clip.top() * scale).round().max(0.0) as usize,
            ((clip.right() * scale).round().max(0.0) as usize).min(self.width),
            ((clip.bottom() * scale).round().max(0.0) as usize).min(self.height),
        ];
        for corners in mesh.indices.chunks_exact(3) {
            let [a, b, c] =
                [corners[0], corners[1], corners[2]].map(|index| mesh.vertices[index as usize]);
            self.triangle([a, b, c], clip, scale, texture);
        }
    }

    /// Fills the pixels whose centres lie inside; of a shared edge one side is open, so that
    /// no pixel is painted twice.
    fn triangle(
        &mut self,
        corners: [Vertex; 3],
        clip: [usize; 4],
        scale: f32,
        texture: &ColorImage,
    ) {
        let [a, mut b, mut c] = corners;
        let at = |v: &Vertex| [v.pos.x * scale, v.pos.y * scale];
        let cross = |a: [f32; 2], b: [f32; 2], p: [f32; 2]| {
            (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])
        };
        if cross(at(&a), at(&b), at(&c)) < 0.0 {
            std::mem::swap(&mut b, &mut c);
        }
        let area = cross(at(&a), at(&b), at(&c));
        if area <= 0.0 {
            return;
        }
        let (pa, pb, pc) = (at(&a), at(&b), at(&c));
        let span = |axis: usize, low: usize, high: usize| {
            let least = pa[axis].min(pb[axis]).min(pc[axis]).floor().max(0.0) as usize;
            let most = pa[axis].max(pb[axis]).max(pc[axis]).ceil().max(0.0) as usize;
            least.max(low)..most.min(high)
        };
        let closed =
            |from: [f32; 2], to: [f32; 2]| to[1] < from[1] || (to[1] == from[1] && to[0] > from[0]);
        let inside = |value: f32, closed: bool| value > 0.0 || (value == 0.0 && closed);
        let (ab, bc, ca) = (closed(pa, pb), closed(pb, pc), closed(pc, pa));
        for y in span(1, clip[1], clip[3]) {
            for x in span(0, clip[0], clip[2]) {
                let p = [x as f32 + 0.5, y as f32 + 0.5];
                let (wc, wa, wb) = (cross(pa, pb, p), cross(pb, pc, p), cross(pc, pa, p));
                if inside(wc, ab) && inside(wa, bc) && inside(wb, ca) {
                    let weights = [wa / area, wb / area, wc / area];
                    self.blend(y * self.width + x, [&a, &b, &c], weights, texture);
                }
            }
        }
    }

    /// Colours are premultiplied and mixed as they are coded, as the toolkit wants it.
    fn blend(
        &mut self,
        pixel: usize,
        corners: [&Vertex; 3],
        weights: [f32; 3],
        texture: &ColorImage,
    ) {
        let mix = |value: fn(&Vertex) -> f32| {
            corners
                .iter()
                .zip(weights)
                .map(|(corner, weight)| value(corner) * weight)
                .sum::<f32>()
        };
        let tint = [
            mix(|v| f32::from(v.color.r())),
            mix(|v| f32::from(v.color.g())),
            mix(|v| f32::from(v.color.b())),
            mix(|v| f32::from(v.color.a())),
        ];
        let texel = sample(texture, mix(|v| v.uv.x), mix(|v| v.uv.y));
        let source: [f32; 4] = std::array::from_fn(|i| tint[i] * texel[i] / 255.0);
        let through = 1.0 - source[3] / 255.0;
        for (channel, value) in self.pixels[pixel].iter_mut().zip(source) {
            *channel = value + *channel * through;
        }
    }
}

/// Bilinear between the four texels around.
fn sample(texture: &ColorImage, u: f32, v: f32) -> [f32; 4] {
    let [width, height] = texture.size;
    let place = |share: f32, size: usize| {
        let at = (share * size as f32 - 0.5).clamp(0.0, (size - 1) as f32);
        let low = at.floor() as usize;
        (low, (low + 1).min(size - 1), at - low as f32)
    };
    let ((x0, x1, fx), (y0, y1, fy)) = (place(u, width), place(v, height));
    let texel = |x: usize, y: usize| texture.pixels[y * width + x].to_array().map(f32::from);
    let (a, b, c, d) = (texel(x0, y0), texel(x1, y0), texel(x0, y1), texel(x1, y1));
    std::array::from_fn(|i| {
        let upper = a[i] + (b[i] - a[i]) * fx;
        let lower = c[i] + (d[i] - c[i]) * fx;
        upper + (lower - upper) * fy
    })
}
