//! The look-up tables of ICC profiles, lut8Type, lut16Type and lutAToBType (ICC.1:2010, 10.8 to
//! 10.10): from device values to XYZ under D50.
//!
//! Evaluated here rather than by the colour engine, which puts the whole way to another space
//! into one coarse cube: for tables over CIELAB that cost up to 0.03 in reflectance.

use moxcms::{
    DataColorSpace, LutDataType, LutMultidimensionalType, LutStore, LutType, LutWarehouse,
    ToneReprCurve,
};

use super::curve::{self, between};

/// XYZ of the profile connection space's white, D50 (ICC.1:2010, 7.2.16).
const D50: [f32; 3] = [0.9642, 1.0, 0.8249];
/// Places at which a curve between the cube and the connection space is kept.
const PLACES: usize = 4096;

/// A function of a channel's share.
pub(super) type Curve = Box<dyn Fn(f64) -> f64>;

/// Everything after the curves of the device's channels.
pub(super) struct Way {
    cube: Option<Cube>,
    /// Curves after the cube, sampled.
    after: Option<[Vec<f64>; 3]>,
    /// Matrix, rows of three and what is added.
    matrix: Option<[[f32; 4]; 3]>,
    /// Curves at the connection space, sampled.
    last: Option<[Vec<f64>; 3]>,
    code: Code,
}

/// How the connection space is coded.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Code {
    /// XYZ, 1 stands for 1 + 32767/32768.
    Xyz,
    /// CIELAB: L* at 1, and what a* and b* are a unit and at zero.
    Lab { lightness: f32, unit: f32 },
}

/// Takes a profile's tables apart: the curves of the device's channels, and the way from there.
///
/// # Errors
/// What is wrong with the tables.
pub(super) fn take_apart(
    tables: &LutWarehouse,
    pcs: DataColorSpace,
) -> Result<([Curve; 3], Way), &'static str> {
    let lab = match pcs {
        DataColorSpace::Lab => true,
        DataColorSpace::Xyz => false,
        _ => return Err("they lead neither to XYZ nor to CIELAB"),
    };
    match tables {
        LutWarehouse::Lut(tables) => plain(tables, lab),
        LutWarehouse::Multidimensional(tables) => nested(tables, lab),
    }
}

fn shares(store: &LutStore) -> Vec<f32> {
    match store {
        LutStore::Store8(codes) => codes.iter().map(|&c| f32::from(c) / 255.0).collect(),
        LutStore::Store16(codes) => codes.iter().map(|&c| f32::from(c) / 65_535.0).collect(),
    }
}

/// lut8Type and lut16Type.
fn plain(tables: &LutDataType, lab: bool) -> Result<([Curve; 3], Way), &'static str> {
    if tables.num_input_channels != 3 || tables.num_output_channels != 3 {
        return Err("they are not for three channels");
    }
    let curves = |store: &LutStore, entries: u16| -> Result<[Vec<f64>; 3], &'static str> {
        let (values, entries) = (shares(store), usize::from(entries));
        if entries < 2 || values.len() < 3 * entries {
            return Err("their curves are incomplete");
        }
        let curve = |channel: usize| -> Vec<f64> {
            let own = &values[channel * entries..][..entries];
            own.iter().map(|&value| f64::from(value)).collect()
        };
        Ok([curve(0), curve(1), curve(2)])
    };
    let before = curves(&tables.input_table, tables.num_input_table_entries)?;
    let after = curves(&tables.output_table, tables.num_output_table_entries)?;
    let points = usize::from(tables.num_clut_grid_points);
    let code = match (lab, tables.lut_type) {
        (false, _) => Code::Xyz,
        // 8 bits: a* and b* are 1 a unit from 128.
        (true, LutType::Lut8) => Code::Lab {
            lightness: 100.0,
            unit: 255.0,
        },
        // 16 bits, in both versions: L* 100 is 0xFF00, a* and b* are 256 a unit from 0x8000.
        (true, _) => Code::Lab {
            lightness: 100.0 * 65_535.0 / 65_280.0,
            unit: 65_535.0 / 256.0,
        },
    };
    let way = Way {
        cube: Some(Cube::new([points; 3], shares(&tables.clut_table))?),
        after: Some(after),
        matrix: None,
        last: None,
        code,
    };
    let before = before.map(|curve| -> Curve { Box::new(move |share| between(&curve, share)) });
    Ok((before, way))
}

/// lutAToBType.
fn nested(tables: &LutMultidimensionalType, lab: bool) -> Result<([Curve; 3], Way), &'static str> {
    if tables.num_input_channels != 3 || tables.num_output_channels != 3 {
        return Err("they are not for three channels");
    }
    let functions = |curves: &[ToneReprCurve]| -> Result<Option<[Curve; 3]>, &'static str> {
        match curves {
            [] => Ok(None),
            [a, b, c] => {
                let function = |curve| curve::function(curve).ok_or("a curve is damaged");
                Ok(Some([function(a)?, function(b)?, function(c)?]))
            }
            _ => Err("a curve is missing"),
        }
    };
    let matrix = tables.matrix.v;
    let bias = tables.bias.v;
    let rows = [0, 1, 2].map(|row: usize| {
        let [a, b, c] = matrix[row].map(|factor| factor as f32);
        [a, b, c, bias[row] as f32]
    });
    if rows.iter().flatten().any(|factor| !factor.is_finite()) {
        return Err("their matrix is damaged");
    }
    let cube = match &tables.clut {
        Some(store) => {
            let [a, b, c, ..] = tables.grid_points.map(usize::from);
            Some(Cube::new([a, b, c], shares(store))?)
        }
        None => None,
    };
    let straight = || [(); 3].map(|()| -> Curve { Box::new(|share| share) });
    let middle = functions(&tables.m_curves)?;
    // Without a cube the middle curves are the first, and exact for every code.
    let (before, after) = if cube.is_some() {
        (functions(&tables.a_curves)?, middle)
    } else {
        (middle, None)
    };
    let way = Way {
        cube,
        after: after.map(sampled),
        matrix: (!tables.m_curves.is_empty()).then_some(rows),
        last: functions(&tables.b_curves)?.map(sampled),
        code: if lab {
            Code::Lab {
                lightness: 100.0,
                unit: 255.0,
            }
        } else {
            Code::Xyz
        },
    };
    Ok((before.unwrap_or_else(straight), way))
}

fn sampled(curves: [Curve; 3]) -> [Vec<f64>; 3] {
    curves.map(|curve| {
        let share = |place: usize| place as f64 / (PLACES - 1) as f64;
        (0..PLACES).map(|place| curve(share(place))).collect()
    })
}

impl Way {
    /// XYZ under D50 of device values after their curves, each 0 to 1; Y is 1 for white.
    pub(super) fn xyz(&self, even: [f32; 3]) -> [f32; 3] {
        let mut at = even;
        if let Some(cube) = &self.cube {
            at = cube.at(at);
        }
        at = through(&self.after, at);
        if let Some(rows) = &self.matrix {
            at = rows.map(|[a, b, c, added]| {
                (a * at[0] + b * at[1] + c * at[2] + added).clamp(0.0, 1.0)
            });
        }
        at = through(&self.last, at);
        match self.code {
            Code::Xyz => at.map(|share| share * (1.0 + 32_767.0 / 32_768.0)),
            Code::Lab { lightness, unit } => {
                // a* and b* are zero at 128 units, which is 0x8000 or 128.
                let zero = 128.0 / unit;
                let (a, b) = ((at[1] - zero) * unit, (at[2] - zero) * unit);
                xyz_of_lab([at[0] * lightness, a, b])
            }
        }
    }
}

fn through(curves: &Option<[Vec<f64>; 3]>, at: [f32; 3]) -> [f32; 3] {
    match curves {
        Some(curves) => [0, 1, 2].map(|i: usize| between(&curves[i], f64::from(at[i])) as f32),
        None => at,
    }
}

/// XYZ under D50 of CIELAB.
///
/// Source: CIE 15 / ISO 11664-4, with 216/24389 and 24389/27.
fn xyz_of_lab([lightness, a, b]: [f32; 3]) -> [f32; 3] {
    let y = (lightness + 16.0) / 116.0;
    let roots = [y + a / 500.0, y, y - b / 200.0];
    [0, 1, 2].map(|i: usize| D50[i] * light_of_root(roots[i]))
}

/// The inverse of CIELAB's root: a cube, or a line below 6/29.
fn light_of_root(root: f32) -> f32 {
    if root > 6.0 / 29.0 {
        root * root * root
    } else {
        (116.0 * root - 16.0) * 27.0 / 24_389.0
    }
}

/// Light (Y) of a CIE lightness, 0 to 100.
pub(super) fn light_of_lightness(lightness: f64) -> f64 {
    f64::from(light_of_root(((lightness + 16.0) / 116.0) as f32))
}

/// Values over the device's three channels, the first varying slowest.
struct Cube {
    points: [usize; 3],
    values: Vec<f32>,
}

impl Cube {
    fn new(points: [usize; 3], values: Vec<f32>) -> Result<Self, &'static str> {
        let count: usize = points.iter().product::<usize>() * 3;
        if points.iter().any(|&n| n < 2) || values.len() < count {
            return Err("their cube is incomplete");
        }
        Ok(Self { points, values })
    }

    /// Tetrahedral interpolation (J. M. Kasson et al., J. Electronic Imaging 4 (1995) 226; from
    /// memory): from the near corner to the far one along the edges, the longest way first.
    fn at(&self, share: [f32; 3]) -> [f32; 3] {
        let strides = [self.points[1] * self.points[2] * 3, self.points[2] * 3, 3];
        let mut start = 0;
        let mut ways = [(0f32, 0usize); 3];
        for channel in 0..3 {
            let last = self.points[channel] - 1;
            let place = share[channel].clamp(0.0, 1.0) * last as f32;
            // The cast makes nothing of what is no number.
            let below = (place as usize).min(last - 1);
            start += below * strides[channel];
            ways[channel] = (place - below as f32, strides[channel]);
        }
        ways.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        let corner = |at: usize| [self.values[at], self.values[at + 1], self.values[at + 2]];
        let mut from = corner(start);
        let mut found = from;
        for (way, stride) in ways {
            start += stride;
            let to = corner(start);
            for i in 0..3 {
                found[i] += way * (to[i] - from[i]);
            }
            from = to;
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cube_of_a_plane_gives_the_plane_everywhere() {
        let (a, b, c) = (2usize, 3usize, 4usize);
        let mut values = Vec::new();
        let share = |i: usize, n: usize| i as f32 / (n - 1) as f32;
        for r in 0..a {
            for g in 0..b {
                for blue in 0..c {
                    let (x, y, z) = (share(r, a), share(g, b), share(blue, c));
                    values.extend([x, 0.5 * y + 0.25, 0.2 * x + 0.3 * y + 0.4 * z]);
                }
            }
        }
        let cube = Cube::new([a, b, c], values).unwrap();
        for at in [
            [0.0, 0.0, 0.0],
            [1.0, 1.0, 1.0],
            [0.3, 0.9, 0.1],
            [0.7, 0.2, 0.55],
        ] {
            let [x, y, z] = at;
            let right = [x, 0.5 * y + 0.25, 0.2 * x + 0.3 * y + 0.4 * z];
            for (found, right) in cube.at(at).iter().zip(right) {
                assert!((found - right).abs() < 1e-6, "{at:?}: {found} is {right}");
            }
        }
        assert!(Cube::new([2, 2, 1], vec![0.0; 12]).is_err());
        assert!(Cube::new([2, 2, 2], vec![0.0; 23]).is_err());
    }

    #[test]
    fn light_follows_from_lightness_as_the_cie_has_it() {
        // Y/Yn 0.18 and L* 50: testdata/references, CIE 15.
        assert!((light_of_lightness(49.496_107_610_119_594) - 0.18).abs() < 1e-6);
        assert!((light_of_lightness(50.0) - 0.184_186_518_512_444_16).abs() < 1e-6);
        assert!((light_of_lightness(8.0) - 216.0 / 24_389.0).abs() < 1e-6);
        let white = xyz_of_lab([100.0, 0.0, 0.0]);
        assert!(
            white
                .iter()
                .zip(D50)
                .all(|(found, right)| (found - right).abs() < 1e-6)
        );
    }
}
