//! What is asked of a practice session.

use serde::{Deserialize, Serialize};

use super::setting::Setting;
use super::shape::Family;

/// How difficult.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// Even coat, clean scan, steps that bracket the curve well.
    Easy,
    /// A coat and scan as usual.
    Ordinary,
    /// A rough coat, tilted and dusty, steps off centre.
    Hard,
}

impl Level {
    /// All three.
    pub const ALL: [Self; 3] = [Self::Easy, Self::Ordinary, Self::Hard];

    /// One of three values.
    pub fn pick<T>(self, easy: T, ordinary: T, hard: T) -> T {
        match self {
            Self::Easy => easy,
            Self::Ordinary => ordinary,
            Self::Hard => hard,
        }
    }
}

/// One thing that is out of the ordinary.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Twist {
    /// The coat is rough at several scales from 1 to 20 mm.
    SeveralScales,
    /// All curves are of this family.
    Curves(Family),
    /// The coupon's steps never reach the speed criterion: no answer is possible.
    NeverReached,
    /// Blacks cut off by the scanning software.
    ClippedBlacks,
    /// Whites cut off by the scanning software.
    ClippedWhites,
    /// Histogram stretched in 8 bits: combed.
    AutoLevels,
    /// Unsharp mask: fringes along edges.
    Sharpened,
    /// JPEG with this quality, 1 to 100.
    Jpeg(u8),
    /// 8 bits instead of 16.
    EightBits,
    /// Something shades a part of the wedge.
    ShadowedWedge,
    /// Two of the wedge's fields are out of order.
    WedgeNotMonotone,
    /// The coupon was exposed through a negative.
    PictureDetail,
    /// Reference and coupon at different f-numbers.
    DifferentApertures,
    /// Paper neutral, coat strongly coloured.
    ColourCast,
    /// Far too few pixels a step (20 dpi).
    LowResolution,
    /// A strip that is described is not on the scan.
    MissingStrip,
    /// A strip is on the scan that is not described.
    ExtraStrip,
    /// First steps melt into the base, last ones into Dmax.
    MeltingSteps,
    /// No wedge scanned along.
    NoWedge,
    /// Reference on one scan, coupons on another, wedge on both.
    SeveralScans,
    /// The glass is lit unevenly: this many per cent more light at one corner than in the middle.
    UnevenLamp(u8),
    /// A stripe of the glass, 20 mm wide from top to bottom, has this many per cent less light in its middle.
    LampStripe(u8),
    /// The left edge of the glass has this many per cent less light, 20 mm into it none.
    DarkEdge(u8),
    /// Two scans of which the second came with another exposure of the scanner.
    ScansDisagree,
}

/// How codes follow from light.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Encoding {
    /// sRGB (IEC 61966-2-1).
    Srgb,
    /// Pure power with this exponent.
    Gamma(f64),
    /// Codes proportional to light.
    Linear,
}

impl Encoding {
    /// Code share (0 to 1) of linear light (0 to 1).
    pub fn encode(self, light: f64) -> f64 {
        let light = light.clamp(0.0, 1.0);
        match self {
            Self::Linear => light,
            Self::Gamma(exponent) => light.powf(1.0 / exponent),
            Self::Srgb if light <= 0.003_130_8 => 12.92 * light,
            Self::Srgb => 1.055 * light.powf(1.0 / 2.4) - 0.055,
        }
    }

    /// Linear light of a code share.
    pub fn decode(self, code: f64) -> f64 {
        match self {
            Self::Linear => code,
            Self::Gamma(exponent) => code.powf(exponent),
            Self::Srgb if code <= 0.040_45 => code / 12.92,
            Self::Srgb => ((code + 0.055) / 1.055).powf(2.4),
        }
    }

    /// In words.
    pub fn name(self) -> String {
        match self {
            Self::Srgb => "sRGB".to_owned(),
            Self::Gamma(exponent) => format!("gamma {exponent}"),
            Self::Linear => "linear".to_owned(),
        }
    }
}

/// What to make. Everything that is `None` is drawn from the seed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recipe {
    /// How difficult.
    pub level: Level,
    /// Same recipe, same scans.
    pub seed: u64,
    /// One thing out of the ordinary.
    pub twist: Option<Twist>,
    /// Resolution, dots per inch; drawn from 200 to 400.
    pub dpi: Option<f64>,
    /// Count of coupons; one unless drawn otherwise.
    pub coupons: Option<usize>,
    /// Encoding of the codes.
    pub encoding: Option<Encoding>,
    /// 8 or 16 bits per code.
    pub bits: Option<u8>,
    /// Colour (three channels) or grey (one).
    pub colour: Option<bool>,
    /// Size of the scan in millimetres (A4: 210 x 297); made to fit the strips otherwise.
    pub bed: Option<(f64, f64)>,
    /// The coat lies on primed roof slate rather than paper.
    pub slate: Option<bool>,
    /// Millimetres over which a coat's unevenness in log exposure holds together, from and to;
    /// drawn from 4 to 12, short ones more often.
    #[serde(default)]
    pub waves_mm: Option<(f64, f64)>,
    /// Standard error of each burst, seconds: a hand at the switch. 0: a clock switches.
    #[serde(default)]
    pub timing_error: f64,
    /// Standard error of each listed density of a step tablet.
    #[serde(default)]
    pub tablet_error: f64,
    /// Paper and coats, where several sessions share them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub materials: Option<Materials>,
    /// How the tests are laid out; a field of unexposed coat before the first step, now and then
    /// another after the last, where nothing is said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub layout: Option<Setting>,
}

/// Paper and coats that are given rather than drawn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Materials {
    /// What shapes their curves: the same in every session.
    pub seed: u64,
    /// The paper; it is 0 stops slower than itself.
    pub paper: Material,
    /// The coats, one coupon each.
    pub coats: Vec<Material>,
}

/// One material.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Material {
    /// What its strip is called.
    pub name: String,
    /// Stops slower than the paper.
    pub stops: f64,
    /// Density without exposure.
    pub dmin: f64,
    /// Density that the curve tends to.
    pub dmax: f64,
    /// ISO range R.
    pub range: f64,
}

impl Recipe {
    /// A session with everything else drawn from the seed.
    pub fn new(level: Level, seed: u64) -> Self {
        Self {
            level,
            seed,
            twist: None,
            dpi: None,
            coupons: None,
            encoding: None,
            bits: None,
            colour: None,
            bed: None,
            slate: None,
            waves_mm: None,
            timing_error: 0.0,
            tablet_error: 0.0,
            materials: None,
            layout: None,
        }
    }

    /// The same with the coat's unevenness over these lengths, millimetres.
    pub fn with_waves(mut self, from: f64, to: f64) -> Self {
        self.waves_mm = Some((from, to));
        self
    }

    /// The same with a layout.
    pub fn laid_out(mut self, layout: Setting) -> Self {
        self.layout = Some(layout);
        self
    }

    /// The same with a twist.
    pub fn with(mut self, twist: Twist) -> Self {
        self.twist = Some(twist);
        self
    }
}
