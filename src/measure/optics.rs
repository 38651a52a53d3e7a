//! The enlarger as a thin symmetrical lens: distances, magnification, light, depth of focus.
//!
//! Sources: R. E. Jacobson et al., The Manual of Photography, and S. F. Ray, Applied
//! Photographic Optics (both from memory; the law of magnification read in a text);
//! testdata/references/photo/photographic_arithmetic.json holds worked examples. Lengths are
//! in millimetres. The gap between the principal planes of a real lens, a few millimetres, is
//! left out: it shifts the distance from negative to easel but not the light at a
//! magnification.

/// Distance from negative to easel: T = f (2 + m + 1/m).
pub fn throw_distance(focal_length: f64, magnification: f64) -> f64 {
    focal_length * (2.0 + magnification + 1.0 / magnification)
}

/// Distance from lens to easel: v = f (1 + m).
pub fn image_distance(focal_length: f64, magnification: f64) -> f64 {
    focal_length * (1.0 + magnification)
}

/// Distance from lens to negative: u = f (1 + 1/m).
pub fn negative_distance(focal_length: f64, magnification: f64) -> f64 {
    focal_length * (1.0 + 1.0 / magnification)
}

/// Magnification at a distance from negative to easel, with the lens nearer to the negative
/// than to the easel (m of at least 1). `None` when the distance is shorter than four focal
/// lengths: then nothing is sharp anywhere.
pub fn magnification_at(focal_length: f64, throw_distance: f64) -> Option<f64> {
    // m + 1/m = T/f - 2; the larger of the two roots.
    let sum = throw_distance / focal_length - 2.0;
    (sum >= 2.0).then(|| 0.5 * (sum + ((sum - 2.0) * (sum + 2.0)).sqrt()))
}

/// Stops of light gained when the magnification changes from one to another at the same
/// f-number: light on the easel goes as 1 / (1 + m)^2.
pub fn stops_gained(from: f64, to: f64) -> f64 {
    2.0 * ((1.0 + from) / (1.0 + to)).log2()
}

/// Depth of focus on the print side, the whole of it: 2 N c (1 + m), half above and half below
/// the plane that is focused on. `blur` is the diameter allowed on the print.
pub fn depth_of_focus(f_number: f64, blur: f64, magnification: f64) -> f64 {
    2.0 * f_number * blur * (1.0 + magnification)
}

/// Where the picture lies on a piece that stands in the way of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thrown {
    /// Magnification on the easel.
    pub on_easel: f64,
    /// Magnification on the middle of the piece, refocused there.
    pub on_piece: f64,
    /// How far the lens moves from the negative towards the piece when it is refocused.
    pub lens_moves: f64,
}

impl Thrown {
    /// A piece whose face lies `height` above the easel, with the head left where it is.
    ///
    /// f (2 + m_e + 1/m_e) = T - h. `None` when the face is so near that nothing is sharp on
    /// it, or when the picture is a reduction (m below 1), for which the law is another.
    pub fn new(focal_length: f64, magnification: f64, height: f64) -> Option<Self> {
        if magnification < 1.0 {
            return None;
        }
        // At height 0 the root would give m back but for its last bits.
        let on_piece = if height == 0.0 {
            magnification
        } else {
            magnification_at(
                focal_length,
                throw_distance(focal_length, magnification) - height,
            )?
        };
        Some(Self {
            on_easel: magnification,
            on_piece,
            lens_moves: negative_distance(focal_length, on_piece)
                - negative_distance(focal_length, magnification),
        })
    }

    /// Size of the picture on the piece over its size on the easel.
    pub fn size(&self) -> f64 {
        self.on_piece / self.on_easel
    }

    /// Stops of light that the piece gets more than the easel.
    pub fn stops_gained(&self) -> f64 {
        stops_gained(self.on_easel, self.on_piece)
    }
}

/// Stops of light between the lowest and the highest part of a face that rises by `rise`,
/// under a lens focused on its middle at a magnification.
pub fn stops_across(focal_length: f64, magnification: f64, rise: f64) -> f64 {
    let middle = image_distance(focal_length, magnification);
    2.0 * ((middle + 0.5 * rise) / (middle - 0.5 * rise)).log2()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_magnification_at_a_distance_is_the_one_that_has_it() {
        for magnification in [1.0, 1.5, 4.0, 12.0] {
            let distance = throw_distance(80.0, magnification);
            let found = magnification_at(80.0, distance).unwrap();
            assert!((found - magnification).abs() < 1e-9);
            let parts =
                image_distance(80.0, magnification) + negative_distance(80.0, magnification);
            assert!((parts - distance).abs() < 1e-9);
        }
        assert_eq!(magnification_at(80.0, 319.0), None);
    }

    /// The head stays, so what the lens goes down and the face is higher add up to the change
    /// of the distance from the lens to the face.
    #[test]
    fn a_higher_face_is_lit_more_and_its_picture_is_smaller() {
        let thrown = Thrown::new(80.0, 4.0, 40.0).unwrap();
        assert!(thrown.size() < 1.0 && thrown.stops_gained() > 0.0 && thrown.lens_moves > 0.0);
        let shorter = image_distance(80.0, 4.0) - image_distance(80.0, thrown.on_piece);
        assert!((shorter - 40.0 - thrown.lens_moves).abs() < 1e-9);
        // About m - h/f.
        assert!((thrown.on_piece - 3.5).abs() < 0.05, "{}", thrown.on_piece);
        assert_eq!(Thrown::new(80.0, 4.0, 0.0).unwrap().on_piece, 4.0);
        assert_eq!(Thrown::new(80.0, 1.2, 100.0), None);
    }
}
