//! How large a scan may be.

use super::error::{Format, Problem};
use crate::files::memory;

/// Bytes that measuring a scan takes beside its pixels (docs/performance.md), and the threads.
const BESIDE: u64 = 128 << 20;

/// Most that deflate packs into a byte: 258 bytes in two bits (RFC 1951), a little rounded up.
pub(super) const DEFLATE: u64 = 1_100;
/// Most that LZW of up to 12 bits packs: a string of each length up to 3,836 between two clears.
pub(super) const LZW: u64 = 1_400;
/// Most that PackBits packs: 128 bytes in two.
pub(super) const PACKBITS: u64 = 64;
/// Nothing packs the strips of a plain file; one that is cut short says at which row, unless next to
/// nothing of it is there.
pub(super) const PLAIN: u64 = 64;
/// Most that a JPEG packs: 64 values and three quarters of them left out, in a bit.
pub(super) const JPEG: u64 = 2_048;

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

    /// Whether a file of this length can hold so many bytes of code values: no packing makes them
    /// smaller than by `ratio`. A file that claims more is cut short or a trap.
    pub(super) fn check_length(
        format: Format,
        codes: u128,
        length: u64,
        ratio: u64,
    ) -> Result<(), Problem> {
        if codes > u128::from(length) * u128::from(ratio) {
            let what = format_args!("{length} bytes can't hold the picture that it claims");
            return Err(Problem::cut_short(format, what));
        }
        Ok(())
    }
}

/// Asks for the memory that a scan will need, before any of it is taken: `bytes` for reading it,
/// and as much again as measuring takes beside.
pub(super) fn check_room(format: Format, bytes: u64) -> Result<(), Problem> {
    let needed = bytes.saturating_add(BESIDE);
    let none = |left| Problem::NoRoom {
        format,
        needed,
        left,
    };
    let left = memory::available();
    if left.is_some_and(|left| needed > left) || !memory::would_be_given(needed) {
        return Err(none(left));
    }
    Ok(())
}

/// Room for code values.
pub(super) fn room_for<T: bytemuck::Zeroable>(
    format: Format,
    count: usize,
) -> Result<Vec<T>, Problem> {
    memory::zeroes(count).ok_or(Problem::NoRoom {
        format,
        needed: (count as u64).saturating_mul(size_of::<T>() as u64),
        left: memory::available(),
    })
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
