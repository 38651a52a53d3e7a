//! What can be wrong with a scan file, and what to do about it.

use std::io;
use std::path::{Path, PathBuf};

/// Who is to blame for a scan that was not read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sort {
    /// The disk or the system refused.
    Disk,
    /// The file is not what it should be.
    File,
    /// The file may be sound, but it is too large or of a kind that isn't read.
    Unsupported,
    /// The work was called off.
    Cancelled,
}

fn in_gigabytes(bytes: u64) -> String {
    format!("{:.1} GB", bytes as f64 / 1e9)
}

/// The kinds of file a scan can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// TIFF, BigTIFF among them.
    Tiff,
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
}

impl std::fmt::Display for Format {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Tiff => "TIFF",
            Self::Png => "PNG",
            Self::Jpeg => "JPEG",
        })
    }
}

/// A scan that was not read: the file, what is wrong, and the remedy.
#[derive(Debug, thiserror::Error)]
#[error("{}: {problem}", path.display())]
pub struct ScanError {
    /// The file.
    pub path: PathBuf,
    /// What is wrong with it.
    #[source]
    pub problem: Problem,
}

impl ScanError {
    pub(super) fn new(path: &Path, problem: Problem) -> Self {
        Self {
            path: path.to_owned(),
            problem,
        }
    }

    /// Who is to blame.
    pub fn sort(&self) -> Sort {
        self.problem.sort()
    }
}

/// What is wrong with a scan file.
#[derive(Debug, thiserror::Error)]
pub enum Problem {
    /// No file of that name.
    #[error("there is no such file; check its name and folder")]
    Missing,
    /// A folder, not a file.
    #[error("this is a folder; name one scan file in it")]
    Folder,
    /// A device or a pipe.
    #[error("this is a device or a pipe, not a file; name a scan file")]
    NoFile,
    /// It was written to while it was read.
    #[error("the file was changed while it was read; try again once it is written to its end")]
    Changed,
    /// The system did not let the file be opened.
    #[error("the file cannot be opened ({0}); check that you are allowed to read it")]
    Refused(io::Error),
    /// Reading stopped halfway.
    #[error("reading stopped ({0}); check the disk, or copy the file to another one")]
    Broken(io::Error),
    /// Nothing in it.
    #[error("the file is empty; scan again or fetch a sound copy")]
    Empty,
    /// Some other kind of file.
    #[error(
        "this is not a TIFF, PNG or JPEG file{}; save the scan as TIFF with 16 bits",
        looks_like.map(|kind| format!(" (its content is {kind}, whatever its name says)")).unwrap_or_default()
    )]
    NotAScan {
        /// What its content looks like, if that was recognised.
        looks_like: Option<&'static str>,
    },
    /// The end is missing.
    #[error("the {format} file ends too early ({what}); scan again or fetch a complete copy")]
    CutShort {
        /// The kind of file.
        format: Format,
        /// Where that was noticed.
        what: String,
    },
    /// The content contradicts itself.
    #[error("the {format} file is damaged ({what}); scan again or fetch a sound copy")]
    Damaged {
        /// The kind of file.
        format: Format,
        /// Where that was noticed.
        what: String,
    },
    /// More pixels than the limit allows.
    #[error(
        "the {format} file claims {width} x {height} pixels, more than the limit of {limit} \
         pixels; if the size is right, raise the pixel limit"
    )]
    TooManyPixels {
        /// The kind of file.
        format: Format,
        /// Width it claims.
        width: u64,
        /// Height it claims.
        height: u64,
        /// The limit.
        limit: u64,
    },
    /// More memory than the limit allows.
    #[error(
        "reading the {format} file would take {needed} bytes of memory, more than the limit of \
         {limit}; if the size is right, raise the byte limit"
    )]
    TooManyBytes {
        /// The kind of file.
        format: Format,
        /// Memory needed, bytes.
        needed: u64,
        /// The limit, bytes.
        limit: u64,
    },
    /// More memory than there is.
    #[error(
        "reading the {format} file takes about {} of memory, and {}; close other programs, or scan \
         at a lower resolution", in_gigabytes(*.needed),
        left.map_or("the system doesn't give that much".into(), |left| format!(
            "{} are free", in_gigabytes(left)
        ))
    )]
    NoRoom {
        /// The kind of file.
        format: Format,
        /// Memory needed, bytes.
        needed: u64,
        /// Memory that is free, bytes, where the system tells.
        left: Option<u64>,
    },
    /// A variety that isn't read.
    #[error("{what} in a {format} file is not read; {remedy}")]
    Unsupported {
        /// The kind of file.
        format: Format,
        /// The variety.
        what: String,
        /// What to do instead.
        remedy: &'static str,
    },
    /// The embedded profile is of no use.
    #[error(
        "its colour profile cannot be used ({what}); save the scan again with a sound profile, or \
         state its encoding: sRGB, a gamma, or linear"
    )]
    Profile {
        /// Why not.
        what: String,
    },
    /// The work was called off.
    #[error("cancelled")]
    Cancelled,
}

impl Problem {
    /// Who is to blame.
    pub fn sort(&self) -> Sort {
        match self {
            Self::Missing
            | Self::Folder
            | Self::NoFile
            | Self::Changed
            | Self::Refused(_)
            | Self::Broken(_) => Sort::Disk,
            Self::Empty
            | Self::NotAScan { .. }
            | Self::CutShort { .. }
            | Self::Damaged { .. }
            | Self::Profile { .. } => Sort::File,
            Self::TooManyPixels { .. }
            | Self::TooManyBytes { .. }
            | Self::NoRoom { .. }
            | Self::Unsupported { .. } => Sort::Unsupported,
            Self::Cancelled => Sort::Cancelled,
        }
    }

    pub(super) fn damaged(format: Format, what: impl ToString) -> Self {
        Self::Damaged {
            format,
            what: what.to_string(),
        }
    }

    pub(super) fn cut_short(format: Format, what: impl ToString) -> Self {
        Self::CutShort {
            format,
            what: what.to_string(),
        }
    }

    pub(super) fn unsupported(format: Format, what: impl ToString, remedy: &'static str) -> Self {
        Self::Unsupported {
            format,
            what: what.to_string(),
            remedy,
        }
    }

    /// Sorts an error of reading: the end of the file, nonsense in it, or the disk itself.
    pub(super) fn reading(format: Format, error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::UnexpectedEof => Self::cut_short(format, "data are missing"),
            _ if error.raw_os_error().is_some() => Self::Broken(error),
            _ => Self::damaged(format, error),
        }
    }
}
