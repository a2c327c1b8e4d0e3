//! Weftlight's side of the comparison with other ways to compute the same picture; `tests/bench/peers/run` drives it.
//!
//! Requests come one a line on standard input, answers go as one line of JSON to standard output, so that both sides can be
//! measured in turn within one run:
//!
//! | request | answer |
//! |---|---|
//! | `case POINTS WIDTH HEIGHT FOLDER` | sets the case up and writes it: points, spot by radius, sampled places and their exact values |
//! | `time ROUNDS` | seconds of the picture and of the bare transforms, measured in turn; largest error at the sampled places |
//! | `direct` | seconds of direct summation of the whole picture, scaled up from the sampled places |
//! | `photons COUNT` | photons a second, and how many a picture with the error of `time` would take |

#![allow(clippy::print_stdout, reason = "standard output is the answer")]
#![allow(clippy::disallowed_methods, reason = "the cases are handed over in files")]

#[path = "../shared.rs"]
mod shared;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use serde_json::{Value, json};
use shared::{bare_transforms, block, median, seconds};
use std::error::Error;
use std::io::BufRead;
use std::path::Path;
use weftlight::cloth::catalogue;
use weftlight::light::photons;
use weftlight::light::spots::spots;
use weftlight::light::spread::SpotSpectrum;
use weftlight::light::{Source, Stack, Window};
use weftlight::picture::fft2::Fft2;
use weftlight::picture::plane::{Accuracy, Frame, Plane, SpotChannel, SpotPoint, sum_of_spots};
use weftlight::quantity::{Millimetres, Nanometres};

/// The cloth, and its stand-off. Image pixels are 1 mm wide, so the spots need a grid as fine as the image.
const CLOTH: &str = "felt-wool-ivory";
const STAND_OFF_MM: f64 = 5.0;
const BOARD_REFLECTANCE: f64 = 0.5;
/// One wavelength stands for each of X, Y and Z.
const WAVELENGTHS_NM: [f64; 3] = [600.0, 550.0, 450.0];
const LAMBERT: f64 = 1.0;
/// Dies of a pixel.
const CHANNELS: usize = 3;
/// Lookups that direct summation is measured with: a second or so.
const LOOKUPS: usize = 60_000_000;
/// Places at which errors are measured, at least and at most.
const PLACES: [usize; 2] = [100, 20_000];
const SEED: u64 = 7;

/// The spot by radius, X, Y and Z, for linear interpolation: even steps near the middle, growing ones beyond.
struct Table {
    /// Step of the even part, in mm: linear interpolation is wrong by `step^2 / 8` of the second derivative, 1e-5 of the height.
    step: f64,
    even: usize,
    radii: Vec<f64>,
    values: [Vec<f64>; 3],
}

impl Table {
    fn new(kernels: &[SpotSpectrum], farthest: f64) -> Table {
        /// Share of the stand-off.
        const STEP: f64 = 0.004;
        /// Stand-offs that the even part reaches.
        const EVEN: f64 = 40.0;
        const GROWTH: f64 = 1.005;
        let step = STEP * STAND_OFF_MM;
        let even = (EVEN / STEP) as usize;
        let mut radii: Vec<f64> = (0..=even).map(|i| i as f64 * step).collect();
        while radii[radii.len() - 1] < farthest {
            radii.push(radii[radii.len() - 1] * GROWTH);
        }
        let values = std::array::from_fn(|i| {
            radii.par_chunks(256).flat_map_iter(|r| kernels[i].at_radii(Window::Point, r)).collect()
        });
        Table { step, even, radii, values }
    }

    /// X, Y and Z at a radius in mm.
    fn at(&self, r: f64) -> [f64; 3] {
        let even = (r / self.step) as usize;
        let i = if even < self.even { even } else { self.radii.partition_point(|&x| x <= r) - 1 };
        let i = i.min(self.radii.len() - 2);
        let share = (r - self.radii[i]) / (self.radii[i + 1] - self.radii[i]);
        self.values.each_ref().map(|v| v[i] + share * (v[i + 1] - v[i]))
    }
}

struct Case {
    frame: Frame,
    points: Vec<SpotPoint>,
    table: Table,
    /// Indices of image pixels, and X, Y and Z there by direct summation.
    places: Vec<usize>,
    exact: Vec<[f64; 3]>,
    direct_s: f64,
    /// The brightest values, and the largest error over them, as found by `time`.
    peaks: [f64; 3],
    error: f64,
}

struct Bench {
    stack: Stack,
    kernels: Vec<SpotSpectrum>,
    case: Option<Case>,
}

impl Bench {
    fn new() -> Bench {
        let cloth = catalogue::by_name(CLOTH).expect("in the catalogue").expect("a sound cloth");
        let stack = |nm: f64| Stack {
            board_reflectance: BOARD_REFLECTANCE,
            layers: vec![cloth.layer_at(Millimetres(STAND_OFF_MM), Nanometres(nm))],
        };
        let kernels = WAVELENGTHS_NM.iter().map(|&nm| spots(&[stack(nm)], LAMBERT).remove(0)).collect();
        Bench { stack: stack(WAVELENGTHS_NM[1]), kernels, case: None }
    }

    fn answer(&mut self, line: &str) -> Result<Value, Box<dyn Error>> {
        let words: Vec<&str> = line.split_whitespace().collect();
        match words.as_slice() {
            ["case", points, width, height, folder] => {
                self.set_up(points.parse()?, [width.parse()?, height.parse()?], Path::new(folder))
            }
            ["time", rounds] => self.time(rounds.parse()?),
            ["direct"] => {
                let case = self.case.as_ref().ok_or("no case yet")?;
                let share = case.places.len() as f64 / case.frame.len() as f64;
                Ok(json!({ "seconds": case.direct_s / share, "measured_share": share }))
            }
            ["photons", count] => self.photons(count.parse()?),
            _ => Err(format!("not a request: {line}").into()),
        }
    }

    fn set_up(&mut self, count: u32, size: [u32; 2], folder: &Path) -> Result<Value, Box<dyn Error>> {
        let frame = Frame::centred(0.0, 0.0, 1.0, size[0], size[1]);
        let points = block(size, count);
        let table = Table::new(&self.kernels, f64::from(size[0]).hypot(f64::from(size[1])) + 1.0);
        let many = (LOOKUPS / (CHANNELS * points.len())).clamp(PLACES[0], PLACES[1]).min(frame.len());
        let mut random = Pcg64Mcg::seed_from_u64(SEED);
        let places: Vec<usize> = (0..many).map(|_| random.random_range(0..frame.len())).collect();
        let mut exact = Vec::new();
        let direct_s = seconds(|| exact = directly(&frame, &points, &table, &places));
        write(folder, "points", points.iter().flat_map(|p| [p.x_mm, p.y_mm]))?;
        write(folder, "radii", table.radii.iter().copied())?;
        write(folder, "spot", table.values.iter().flatten().copied())?;
        write(folder, "places", places.iter().map(|&i| i as f64))?;
        write(folder, "exact", exact.iter().flatten().copied())?;
        self.case = Some(Case {
            frame,
            points,
            table,
            places,
            exact,
            direct_s,
            peaks: [f64::NAN; 3],
            error: f64::NAN,
        });
        Ok(json!({ "places": many }))
    }

    fn time(&mut self, rounds: usize) -> Result<Value, Box<dyn Error>> {
        let kernels = [&self.kernels[0], &self.kernels[1], &self.kernels[2]];
        let case = self.case.as_mut().ok_or("no case yet")?;
        let channels: Vec<SpotChannel<'_>> = (0..CHANNELS)
            .map(|_| SpotChannel {
                points: case.points.clone(),
                window: Window::Point,
                window_turn_rad: 0.0,
                kernels: kernels.map(Some),
            })
            .collect();
        let picture = || sum_of_spots(&case.frame, &channels, Accuracy::Picture);
        let plane = picture();
        case.peaks = peaks(&plane);
        case.error = error(&plane, case.peaks, case);
        let [nx, ny] = plane.report.nodes;
        let [own_x, own_y] = [case.frame.width_px, case.frame.height_px]
            .map(|n| weftlight::picture::fft2::smooth_size(n as usize, true));
        let grid = (Fft2::new(nx, ny), vec![0.5_f32; nx * ny]);
        let own = (Fft2::new(own_x, own_y), vec![0.5_f32; own_x * own_y]);
        let (mut of_picture, mut of_grid, mut of_own) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..rounds {
            of_grid.push(seconds(|| bare_transforms(&grid.0, &grid.1)));
            of_picture.push(seconds(picture));
            of_own.push(seconds(|| bare_transforms(&own.0, &own.1)));
        }
        let ratios = of_picture.iter().zip(&of_grid).map(|(p, b)| p / b).collect();
        Ok(json!({
            "picture_s": median(of_picture),
            "transforms_of_grid_s": median(of_grid),
            "transforms_of_picture_size_s": median(of_own),
            "ratio": median(ratios),
            "grid": [nx, ny],
            "grids": plane.report.grids,
            "error": case.error,
            "peaks": case.peaks,
        }))
    }

    /// Photons that a whole picture takes at the error of [`Bench::time`]: the share of scatter at the brightest place falls with
    /// the square root of the photons that all pixels send there.
    fn photons(&self, count: u64) -> Result<Value, Box<dyn Error>> {
        let case = self.case.as_ref().ok_or("no case yet")?;
        // One image pixel's area as a disc in the middle of the spot.
        let edges = [0.0, (1.0 / std::f64::consts::PI).sqrt()];
        let source = Source { beam_power: LAMBERT, window: Window::Point };
        let mut seen = None;
        let took = seconds(|| seen = Some(photons::spread(&self.stack, &source, &edges, count, SEED)));
        let seen = seen.ok_or("no photons")?;
        let middle = seen.rings[0].radiance;
        let spots_at_brightest = case.peaks[1] / (CHANNELS as f64 * case.table.at(0.0)[1]);
        let scatter = middle.standard_error / middle.value;
        let needed = seen.photons as f64 * (scatter / case.error).powi(2) * case.points.len() as f64
            / spots_at_brightest;
        let a_second = seen.photons as f64 / took;
        Ok(json!({ "photons_per_s": a_second, "photons": needed, "seconds": needed / a_second }))
    }
}

/// X, Y and Z at these image pixels, one pixel of the scene after the other.
fn directly(frame: &Frame, points: &[SpotPoint], table: &Table, places: &[usize]) -> Vec<[f64; 3]> {
    places
        .par_iter()
        .map(|&i| {
            let width = frame.width_px as usize;
            let [x, y] = frame.centre_of((i % width) as u32, (i / width) as u32);
            let mut sum = [0.0; 3];
            for _ in 0..CHANNELS {
                for p in std::hint::black_box(points) {
                    let spot = table.at((p.x_mm - x).hypot(p.y_mm - y));
                    for (s, v) in sum.iter_mut().zip(spot) {
                        *s += p.amount * v;
                    }
                }
            }
            sum
        })
        .collect()
}

/// The brightest value of each component.
fn peaks(plane: &Plane) -> [f64; 3] {
    plane.image.planes.each_ref().map(|values| f64::from(values.iter().copied().fold(0.0, f32::max)))
}

/// The largest difference at the sampled places, over the peak, of all components.
fn error(plane: &Plane, peaks: [f64; 3], case: &Case) -> f64 {
    let of_component = |c: usize| {
        let difference = |(&i, v): (&usize, &[f64; 3])| (f64::from(plane.image.planes[c][i]) - v[c]).abs();
        case.places.iter().zip(&case.exact).map(difference).fold(0.0, f64::max) / peaks[c]
    };
    (0..3).map(of_component).fold(0.0, f64::max)
}

/// Writes numbers as 64-bit floats, least significant byte first.
fn write(folder: &Path, name: &str, values: impl Iterator<Item = f64>) -> std::io::Result<()> {
    let bytes: Vec<u8> = values.flat_map(f64::to_le_bytes).collect();
    std::fs::write(folder.join(name), bytes)
}

fn main() -> Result<(), Box<dyn Error>> {
    if !std::env::args().any(|argument| argument == "--driven") {
        println!("tests/bench/peers/run compares with other ways to compute the same picture.");
        return Ok(());
    }
    let mut bench = Bench::new();
    for line in std::io::stdin().lock().lines() {
        println!("{}", bench.answer(&line?)?);
    }
    Ok(())
}
