//! How much memory there is, asked before it is taken.
#![expect(
    clippy::disallowed_methods,
    reason = "the system tells of its memory in files"
)]

use bytemuck::Zeroable;

/// Memory that the machine can still give, in bytes, where the system tells.
pub(super) fn available() -> Option<u64> {
    // Linux: an estimate of what new programs can have without swapping (proc_meminfo(5)).
    let text = std::fs::read_to_string("/proc/meminfo").ok()?;
    let line = text
        .lines()
        .find_map(|line| line.strip_prefix("MemAvailable:"))?;
    let kilobytes: u64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    kilobytes.checked_mul(1024)
}

/// Whether the system would give this process so many bytes more; they are given back at once.
pub(super) fn would_be_given(bytes: u64) -> bool {
    let mut room: Vec<u8> = Vec::new();
    usize::try_from(bytes).is_ok_and(|bytes| room.try_reserve_exact(bytes).is_ok())
}

/// So many zeroes, or `None` where the system has no room for them.
pub(super) fn zeroes<T: Zeroable>(count: usize) -> Option<Vec<T>> {
    let mut room = Vec::new();
    room.try_reserve_exact(count).ok()?;
    room.resize_with(count, T::zeroed);
    Some(room)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn more_than_any_machine_has_is_not_given() {
        assert!(!would_be_given(u64::MAX / 4));
        assert!(zeroes::<u16>(usize::MAX / 16).is_none());
        assert_eq!(zeroes::<u16>(3), Some(vec![0, 0, 0]));
        if let Some(bytes) = available() {
            assert!(bytes > 1 << 20, "{bytes}");
        }
    }
}
