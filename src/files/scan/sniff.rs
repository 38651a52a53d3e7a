//! The kind of a file by its content; its name is not asked.

use super::error::{Format, Problem};

/// Bytes from the start of the file that are enough to tell.
pub(super) const ENOUGH: usize = 512;

/// Tells the kind of file from its first bytes.
pub(super) fn format(start: &[u8]) -> Result<Format, Problem> {
    match start {
        [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => Ok(Format::Tiff),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Ok(Format::Png),
        [0xff, 0xd8, 0xff, ..] => Ok(Format::Jpeg),
        _ => Err(Problem::NotAScan {
            looks_like: other(start),
        }),
    }
}

fn other(start: &[u8]) -> Option<&'static str> {
    let text = |bytes: &[u8]| {
        std::str::from_utf8(bytes).is_ok_and(|text| {
            let plain = |letter: char| !letter.is_control() || "\n\r\t\u{c}".contains(letter);
            text.chars().all(plain)
        })
    };
    match start {
        [b'%', b'P', b'D', b'F', ..] => Some("a PDF document"),
        [b'B', b'M', ..] if !text(start) => Some("a BMP picture"),
        [b'G', b'I', b'F', b'8', ..] => Some("a GIF picture"),
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'E',
            b'B',
            b'P',
            ..,
        ] => Some("a WebP picture"),
        [_, _, _, _, b'f', b't', b'y', b'p', ..] => Some("a HEIF or AVIF picture or a film"),
        [b'8', b'B', b'P', b'S', ..] => Some("a layered picture document"),
        [b'P', b'K', 3, 4, ..] => Some("a packed archive or an office document"),
        _ if start
            .windows(4)
            .any(|part| part[..3] == [0xff, 0xd8, 0xff] && part[3] >= 0xc0) =>
        {
            Some("a JPEG picture behind other bytes")
        }
        [0xff, 0x0a, ..] | [0, 0, 0, 0x0c, b'J', b'X', b'L', b' ', ..] => Some("JPEG XL"),
        [0, 0, 0, 0x0c, b'j', b'P', b' ', b' ', ..] => Some("JPEG 2000"),
        // A letter of more than one byte may be cut in two at the end.
        _ if text(start)
            || (1..4).any(|cut| start.len() > 64 && text(&start[..start.len() - cut])) =>
        {
            Some("text")
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kind_is_told_by_content() {
        assert_eq!(format(b"II*\0rest").unwrap(), Format::Tiff);
        assert_eq!(format(b"MM\0+rest").unwrap(), Format::Tiff);
        assert_eq!(format(b"\x89PNG\r\n\x1a\n").unwrap(), Format::Png);
        assert_eq!(format(b"\xff\xd8\xff\xe0").unwrap(), Format::Jpeg);
    }

    #[test]
    fn another_kind_of_file_is_named() {
        let said = |start: &[u8]| format(start).unwrap_err().to_string();
        assert!(said(b"%PDF-1.7").contains("a PDF document"));
        assert!(said(b"Bath notes: 2 min at 20 C").contains("text"));
        let behind = [&[0, 13, 10][..], &[0xff, 0xd8, 0xff, 0xe0], &[0; 20]].concat();
        assert!(said(&behind).contains("a JPEG picture behind other bytes"));
        assert!(said(&[1, 2, 3, 4]).starts_with("this is not a TIFF, PNG or JPEG file; "));
    }
}
