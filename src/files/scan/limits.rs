//! How large a scan may be.

use super::error::{Format, Problem};

/// Limits against headers that claim more than a scanner ever made. They are checked before
/// any memory is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Pixels in the scan. 400 million by default: A3 at 1,200 dots per inch has 280 million.
    pub max_pixels: u64,
    /// Memory of the decoded scan in bytes. 4 GiB by default.
    pub max_bytes: u64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_pixels: 400_000_000,
            max_bytes: 4 << 30,
        }
    }
}

impl Limits {
    /// Checks a size that a header claims.
    pub(super) fn check_pixels(
        &self,
        format: Format,
        width: u64,
        height: u64,
    ) -> Result<(), Problem> {
        if width == 0 || height == 0 {
            return Err(Problem::damaged(format, "a side of the picture is zero"));
        }
        let pixels = u128::from(width) * u128::from(height);
        if pixels > u128::from(self.max_pixels) {
            return Err(Problem::TooManyPixels {
                format,
                width,
                height,
                limit: self.max_pixels,
            });
        }
        Ok(())
    }

    /// Checks the memory that decoding would take, as the product of `factors`; gives it back
    /// as a length.
    pub(super) fn check_bytes(&self, format: Format, factors: &[u64]) -> Result<usize, Problem> {
        let needed = factors
            .iter()
            .try_fold(1u64, |product, &factor| product.checked_mul(factor))
            .unwrap_or(u64::MAX);
        let too_many = Problem::TooManyBytes {
            format,
            needed,
            limit: self.max_bytes,
        };
        if needed > self.max_bytes {
            return Err(too_many);
        }
        usize::try_from(needed).map_err(|_| too_many)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_million_by_a_million_pixels_are_refused_and_the_limit_can_be_raised() {
        let side = 1_000_000;
        let refused = Limits::default().check_pixels(Format::Png, side, side);
        assert!(matches!(refused, Err(Problem::TooManyPixels { .. })));
        let raised = Limits {
            max_pixels: u64::MAX,
            ..Limits::default()
        };
        assert!(raised.check_pixels(Format::Png, side, side).is_ok());
        assert!(raised.check_bytes(Format::Png, &[side, side, 3]).is_err());
    }

    #[test]
    fn a_product_beyond_all_numbers_is_refused() {
        let refused = Limits::default().check_bytes(Format::Tiff, &[u64::MAX, 2]);
        assert!(matches!(refused, Err(Problem::TooManyBytes { .. })));
    }
}
