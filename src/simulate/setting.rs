//! How a test is laid out: families of layouts, each with its own parameters.
//!
//! A [`Layout`] is a family by name. It gives a [`Setting`], the parts of which can be put
//! together otherwise; what is a range or a choice there is drawn from the session's seed.

use serde::{Deserialize, Serialize};

/// Where the steps lie on their coat, and where the coat got no light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Arrangement {
    /// Steps end to end across the whole strip, and a field of unexposed coat before the first.
    Margin,
    /// The same with such a field at both ends.
    BothEnds,
    /// Masking blades on all four sides leave a frame of unexposed coat.
    Frame {
        /// Narrowest and widest side, millimetres.
        sides: (f64, f64),
    },
    /// A mask along one long side.
    Side {
        /// Narrowest and widest margin, millimetres.
        margin: (f64, f64),
        /// Whether one end is masked as well.
        and_end: bool,
    },
    /// No unexposed coat at all.
    Nowhere,
    /// Every step through a window of its own, unexposed coat between them.
    Windows {
        /// Discs rather than rectangles.
        round: bool,
        /// Narrowest and widest bridge between two windows, millimetres.
        gap: (f64, f64),
    },
    /// Exposed in one, then cut apart and laid in a row.
    CutApart,
    /// Two rows of steps on one piece.
    TwoRows {
        /// The second row runs against the first.
        back_and_forth: bool,
    },
    /// One of margin, both ends, frame and side margin.
    Any,
}

/// What coats lie on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Support {
    /// Paper or primed slate, by chance.
    #[default]
    Usual,
    /// Bare slate, darker than the middle tones.
    BlackSlate,
    /// White plaster.
    Plaster,
    /// Wood whose grain shows through.
    Wood,
}

/// What lies behind the sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Surround {
    /// A white lid.
    #[default]
    Usual,
    /// The lid is open: black.
    Open,
    /// A grey card or lid.
    Grey,
    /// As white as plaster.
    White,
}

/// How the sheets lie on the glass.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Relief {
    /// Flat.
    #[default]
    Flat,
    /// Strips curl away from the glass at their ends.
    Curled,
    /// Slates of 6 mm, not quite even: shadows around them, and soft.
    Thick,
}

/// What becomes of the scan on its way into a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kept {
    /// 200 to 400 dpi, nothing lost.
    #[default]
    Usual,
    /// 100 dpi in a JPEG file.
    SmallJpeg,
    /// 600 dpi.
    Fine,
    /// The file does not say its resolution.
    Unsized,
}

/// A layout: parts that can be put together at will.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Setting {
    /// Where the steps lie.
    pub arrangement: Arrangement,
    /// What coats lie on.
    #[serde(default)]
    pub support: Support,
    /// What lies behind the sheets.
    #[serde(default)]
    pub surround: Surround,
    /// Fewest and most steps; 7 to 11 unless said.
    #[serde(default)]
    pub steps: Option<(usize, usize)>,
    /// Least and most length, least and most width of a coat, millimetres.
    #[serde(default)]
    pub size: Option<[(f64, f64); 2]>,
    /// Widths up to 1 : 3, borders up to 8 degrees off square.
    #[serde(default)]
    pub uneven: bool,
    /// Some neighbouring steps got the same light, or nearly.
    #[serde(default)]
    pub alike: bool,
    /// A warm stain, more of it towards one end.
    #[serde(default)]
    pub stained: bool,
    /// Pencil figures in the steps, a punched hole, tape over a corner.
    #[serde(default)]
    pub marked: bool,
    /// How the sheets lie on the glass.
    #[serde(default)]
    pub relief: Relief,
    /// Sheets touch or overlap by up to 1 mm.
    #[serde(default)]
    pub touching: bool,
    /// Several coupons side by side in rows.
    #[serde(default)]
    pub grid: bool,
    /// A ruler, a coin, a note or a print lies beside the strips.
    #[serde(default)]
    pub clutter: bool,
    /// Most that all is turned on the glass, degrees.
    #[serde(default)]
    pub turned: Option<f64>,
    /// What becomes of the scan.
    #[serde(default)]
    pub kept: Kept,
    /// Strips on two scans, a wedge on one of them.
    #[serde(default)]
    pub one_wedge: bool,
}

impl Setting {
    /// An arrangement with all else as usual.
    pub fn of(arrangement: Arrangement) -> Self {
        Self {
            arrangement,
            support: Support::Usual,
            surround: Surround::Usual,
            steps: None,
            size: None,
            uneven: false,
            alike: false,
            stained: false,
            marked: false,
            relief: Relief::Flat,
            touching: false,
            grid: false,
            clutter: false,
            turned: None,
            kept: Kept::Usual,
            one_wedge: false,
        }
    }
}

/// A family of layouts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Layout {
    /// A field of unexposed coat before the first step.
    Margin,
    /// Such a field at both ends.
    BothEnds,
    /// A frame of unexposed coat, 3 to 9 mm wide.
    Frame,
    /// A frame of 1.5 to 2.5 mm.
    NarrowFrame,
    /// Unexposed coat along one long side.
    SideMargin,
    /// No unexposed coat.
    NoMargin,
    /// Rectangular windows, unexposed coat between them.
    Windows,
    /// Round windows, unexposed coat between them.
    Discs,
    /// Steps cut apart and laid in a row.
    CutApart,
    /// Two rows, both in the same order.
    TwoRows,
    /// Two rows, the second backwards.
    BackAndForth,
    /// Coats on bare slate.
    BlackSlate,
    /// Coats on white plaster, beside a lid as white.
    Plaster,
    /// Coats on wood, whose grain shows through.
    Wood,
    /// The lid is open.
    OpenLid,
    /// A grey card behind the sheets.
    GreyLid,
    /// 4 to 6 steps.
    FewSteps,
    /// 12 to 21 steps.
    ManySteps,
    /// Widths up to 1 : 3, slanted borders.
    Uneven,
    /// Neighbouring steps that came out alike.
    Alike,
    /// A warm stain that rises to one end.
    Stained,
    /// Pencil figures, a punched hole, tape over a corner.
    Marked,
    /// Strips curl away from the glass.
    Curled,
    /// Slates of 6 mm with their shadow.
    Thick,
    /// Sheets touch or overlap.
    Touching,
    /// Several coupons in rows.
    Grid,
    /// Ruler, coin, note or print beside the strips.
    Clutter,
    /// Turned by up to 15 degrees.
    Turned,
    /// 100 dpi, JPEG.
    SmallJpeg,
    /// 600 dpi.
    Fine,
    /// The file does not say its resolution.
    NoResolution,
    /// Two scans, a wedge on one of them.
    OneWedge,
    /// Strips 7 to 12 mm wide.
    Small,
}

impl Layout {
    /// All of them.
    pub const ALL: [Self; 33] = [
        Self::Margin,
        Self::BothEnds,
        Self::Frame,
        Self::NarrowFrame,
        Self::SideMargin,
        Self::NoMargin,
        Self::Windows,
        Self::Discs,
        Self::CutApart,
        Self::TwoRows,
        Self::BackAndForth,
        Self::BlackSlate,
        Self::Plaster,
        Self::Wood,
        Self::OpenLid,
        Self::GreyLid,
        Self::FewSteps,
        Self::ManySteps,
        Self::Uneven,
        Self::Alike,
        Self::Stained,
        Self::Marked,
        Self::Curled,
        Self::Thick,
        Self::Touching,
        Self::Grid,
        Self::Clutter,
        Self::Turned,
        Self::SmallJpeg,
        Self::Fine,
        Self::NoResolution,
        Self::OneWedge,
        Self::Small,
    ];

    /// What it is made of.
    pub fn setting(self) -> Setting {
        let arrangement = match self {
            Self::Margin => Arrangement::Margin,
            Self::BothEnds => Arrangement::BothEnds,
            Self::Frame => Arrangement::Frame { sides: (3.0, 9.0) },
            Self::NarrowFrame => Arrangement::Frame { sides: (1.5, 2.5) },
            Self::SideMargin => Arrangement::Side {
                margin: (3.0, 10.0),
                and_end: false,
            },
            Self::NoMargin => Arrangement::Nowhere,
            Self::Windows => Arrangement::Windows {
                round: false,
                gap: (2.5, 7.0),
            },
            Self::Discs => Arrangement::Windows {
                round: true,
                gap: (2.0, 6.0),
            },
            Self::CutApart => Arrangement::CutApart,
            Self::TwoRows => Arrangement::TwoRows {
                back_and_forth: false,
            },
            Self::BackAndForth => Arrangement::TwoRows {
                back_and_forth: true,
            },
            _ => Arrangement::Any,
        };
        let mut setting = Setting::of(arrangement);
        match self {
            Self::BlackSlate => setting.support = Support::BlackSlate,
            Self::Plaster => {
                setting.support = Support::Plaster;
                setting.surround = Surround::White;
            }
            Self::Wood => setting.support = Support::Wood,
            Self::OpenLid => setting.surround = Surround::Open,
            Self::GreyLid => setting.surround = Surround::Grey,
            Self::FewSteps => {
                setting.steps = Some((4, 6));
                setting.size = Some([(60.0, 130.0), (20.0, 40.0)]);
            }
            Self::ManySteps => {
                setting.steps = Some((12, 21));
                setting.size = Some([(170.0, 230.0), (20.0, 40.0)]);
            }
            Self::Uneven => setting.uneven = true,
            Self::Alike => setting.alike = true,
            Self::Stained => setting.stained = true,
            Self::Marked => setting.marked = true,
            Self::Curled => setting.relief = Relief::Curled,
            Self::Thick => {
                setting.support = Support::BlackSlate;
                setting.relief = Relief::Thick;
            }
            Self::Touching => setting.touching = true,
            Self::Grid => {
                setting.grid = true;
                setting.size = Some([(70.0, 95.0), (18.0, 30.0)]);
            }
            Self::Clutter => setting.clutter = true,
            Self::Turned => setting.turned = Some(15.0),
            Self::SmallJpeg => setting.kept = Kept::SmallJpeg,
            Self::Fine => setting.kept = Kept::Fine,
            Self::NoResolution => setting.kept = Kept::Unsized,
            Self::OneWedge => setting.one_wedge = true,
            Self::Small => setting.size = Some([(70.0, 120.0), (7.0, 12.0)]),
            _ => {}
        }
        setting
    }
}
