//! From a print's scan and an analysed session to everything that the slider needs.

use std::sync::Arc;

use super::{
    Closest, CoatColour, Histogram, PrintPicture, TestedCurve, Tones, closest, level_of_density,
};
use crate::measure::analysis::{Analysis, Question, scale_of_wedge};
use crate::measure::estimate::Gap;
use crate::measure::finding::{Finding, Kind, Place, Weight};
use crate::measure::raster::{Channel, Raster};
use crate::measure::scale::{DensityScale, assumed_white};
use crate::measure::watch::{Cancelled, Watch};

/// Share of the print's pixels that are lighter than what is taken for bare paper.
const LIGHTEST: f64 = 0.005;
/// One pixel in so many, each way, is looked at for that.
const SPARSE: usize = 8;

/// A print's scan ready for any exposure.
pub struct Prepared {
    /// The way from print to coating.
    pub tones: Tones,
    /// The scan at screen size.
    pub picture: PrintPicture,
    /// How the scan's light becomes density.
    pub scale: Arc<dyn DensityScale>,
    /// Channel that densities are read from.
    pub channel: Channel,
    /// What comes closest to the print; `None` for an empty picture.
    pub closest: Option<Closest>,
    /// How the print's densities were found, and what is doubtful about it.
    pub findings: Vec<Finding>,
}

/// Prepares the preview of a print with one pair of the analysis.
///
/// Densities are read by the session's wedge, else by its calibration, and else relative to
/// the print's own white, which is taken for the paper's bare base. `longest` is the longer
/// side of the screen-size copy in pixels.
///
/// # Errors
/// When it is called off; inside, why there is no preview: the pair has no curves.
pub fn prepare(
    print: &Raster,
    question: &Question,
    analysis: &Analysis,
    pair: usize,
    longest: usize,
    watch: &dyn Watch,
) -> Result<Result<Prepared, Gap>, Cancelled> {
    let Some(pair) = analysis.pairs.get(pair) else {
        return Ok(Err(Gap::NotMeasured));
    };
    let curves = (
        TestedCurve::of(&pair.answer.reference),
        TestedCurve::of(&pair.answer.coupon),
    );
    let (Some(paper), Some(coat)) = curves else {
        return Ok(Err(Gap::NotMeasured));
    };
    let coupon = analysis.strips.get(pair.coupon);
    let scan = coupon
        .and_then(|strip| Some(strip.located.as_ref()?.shape.scan))
        .and_then(|scan| question.scans.get(scan));
    let colour = match (coupon, scan) {
        (Some(strip), Some(scan)) => CoatColour::measured(scan, strip),
        _ => CoatColour::neutral(),
    };
    let channel = question.settings.channel;
    let (scale, finding) = scale(print, question, analysis, paper.dmin(), watch)?;
    let picture = PrintPicture::new(print, &*scale, channel, longest, watch)?;
    let tones = Tones::new(paper, coat, colour);
    let closest = closest(
        &tones,
        &picture.histogram,
        pair.answer.reference.range.value,
    );
    Ok(Ok(Prepared {
        tones,
        picture,
        scale,
        channel,
        closest,
        findings: vec![finding],
    }))
}

/// The scale of a print's scan, and what is told of it.
fn scale(
    print: &Raster,
    question: &Question,
    analysis: &Analysis,
    bare: f64,
    watch: &dyn Watch,
) -> Result<(Arc<dyn DensityScale>, Finding), Cancelled> {
    let told = |kind, weight, seen: &str, matters: &str, remedy: &str| Finding {
        kind,
        weight,
        place: Place::default(),
        seen: seen.into(),
        matters: matters.into(),
        remedy: remedy.into(),
    };
    if let Some(scale) = scale_of_wedge(question, &analysis.wedges, watch)? {
        let finding = told(
            Kind::NoWedge,
            Weight::Note,
            "The print's densities are read by the wedge of the session's scans.",
            "That holds when the print was scanned by the same scanner with the same settings.",
            "If it wasn't, scan it again so, or give a calibration of the scanner it was made with.",
        );
        return Ok((scale, finding));
    }
    let calibrated = question
        .calibration
        .as_ref()
        .and_then(|calibration| calibration.fit(question.settings.channel).ok());
    if let Some(fit) = calibrated {
        let finding = told(
            Kind::CalibrationUsed,
            Weight::Note,
            "The print's densities are read by the session's calibration of the scanner.",
            "That holds when the print was scanned by that scanner with the same settings.",
            "If it wasn't, scan it again so.",
        );
        return Ok((Arc::new(fit.scale), finding));
    }
    let finding = told(
        Kind::PrintWhiteAssumed,
        Weight::Caution,
        &format!(
            "Nothing says what the print's scan means in density: its lightest tones are taken \
             for bare paper of {bare:.2} D."
        ),
        "Without a white border in the picture all tones are carried over too light; the darkest \
         are the least sure.",
        "Scan the print with a wedge of known densities, or calibrate the scanner.",
    );
    let white = lightest(print, question.settings.channel);
    let scale = OnPaper {
        scale: assumed_white(white),
        bare,
    };
    Ok((Arc::new(scale), finding))
}

/// Light of the lightest tones of a print.
fn lightest(print: &Raster, channel: Channel) -> f64 {
    // By levels of density to linear light: fine enough, and of a fixed size.
    let mut histogram = Histogram::empty();
    let mut row = Vec::new();
    for y in (0..print.height).step_by(SPARSE) {
        print.linear_row(y, 0, print.width, channel, &mut row);
        for &light in row.iter().step_by(SPARSE) {
            let density = -f64::from(light.max(1e-6)).log10();
            histogram.counts[usize::from(level_of_density(density))] += 1;
        }
    }
    let beyond = (histogram.total() as f64 * LIGHTEST) as u64;
    let mut seen = 0;
    let level = histogram.counts.iter().position(|count| {
        seen += count;
        seen > beyond
    });
    10f64.powf(-super::density_of_level(level.unwrap_or(0)))
}

/// An assumed white that isn't 0 but bare paper.
struct OnPaper<S> {
    scale: S,
    bare: f64,
}

impl<S: DensityScale> DensityScale for OnPaper<S> {
    fn density(&self, s: f64) -> f64 {
        self.scale.density(s) + self.bare
    }

    fn slope(&self, s: f64) -> f64 {
        self.scale.slope(s)
    }

    fn modes(&self, s: f64) -> Vec<f64> {
        self.scale.modes(s)
    }

    fn supported(&self) -> (f64, f64) {
        self.scale.supported()
    }

    fn by_wedge(&self) -> bool {
        false
    }
}
