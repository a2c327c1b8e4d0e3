//! Means of the light over rings around the middles of spots, with standard errors.
//!
//! # Model
//! The picture is the sum of the spots, each round about its middle, an even background, and an additive slope (light from one
//! side of the room). The slope is taken from pairs of places that are symmetric about the centroid of the middles: in their
//! differences whatever is round or even cancels, so that
//!
//! ```text
//! (L(c + d) - L(c - d)) / 2 = b . d - e . g(d)
//! ```
//!
//! | symbol | meaning | unit |
//! |---|---|---|
//! | L | linear light | 1 (full scale) |
//! | c, d | centroid of the middles; place from it | px |
//! | b | slope of the background, fitted | 1/px |
//! | e | error of the middle, fitted along with b so that it does no harm to it | px |
//! | g | gradient of the light, its odd part | 1/px |
//!
//! The fit gives less weight to what does not follow (a second bright thing at one side). The even background is left in.
//!
//! Noise is correlated from pixel to pixel (demosaicing, JPEG), so the standard error of a ring's mean comes from how the means
//! of its sectors differ. To it come, as squares, the rounding to codes (which averages out where light varies over more than
//! a code), the lift of the mean where noise is cut off at code 0, and what the coding of a JPEG does to all pixels of a level
//! alike.
//!
//! # Validity
//! Errors of neighbouring rings are not wholly independent where rings are thinner than some 8 pixels. What is not round and not
//! a slope widens the error.
//!
//! # Source
//! Variance of a mean from the means of clusters: elementary sampling theory. Rounding error of a quantised normal variable: its
//! first harmonic, Bennett (1948), from memory. Places by the additive recurrence with the plastic number (Roberts), from memory.

mod places;
mod slope;

pub use super::core_light::{CoreLight, core_light};
use super::decode::{Format, Photo, Tone};
use places::{Place, places_and_cover};
use rayon::prelude::*;

/// Sectors around each middle.
const SECTORS: usize = 16;
/// Sectors shorter than this in pixels are joined: blocks of JPEG and the reach of demosaicing tie neighbours together.
const SECTOR_ARC_PX: f64 = 8.0;
/// Pixels around a clipped one that are not trusted (light that spills over on the sensor; ringing of JPEG).
const SPILL_PX: i64 = 2;
/// Rings of at most so many pixels have their places taken from the pixels themselves.
const FEW_PIXELS: usize = 1024;
/// Every how many pixels noise is looked at.
const COMPARED: usize = 5;
/// Rows of a band; bands are worked on in parallel and added in order, so that the result is always the same.
const BAND_ROWS: usize = 64;

/// Mean over one ring in one channel.
#[derive(Clone, Debug, PartialEq)]
pub struct RingMean {
    /// Linear light, 0 to 1, background included (its slope is taken out); NaN where the ring holds no pixels.
    pub mean: f64,
    /// Standard error of `mean`; infinite where the ring holds no pixels.
    pub standard_error: f64,
    /// Unmasked pixels.
    pub pixels: usize,
    /// Share of the full ring that is in the picture and unmasked, 0 to 1. With several middles the full ring is what is
    /// nearest to its own middle.
    pub covered: f64,
    /// Up to 64 unmasked places in mm, spread evenly over the ring, from the first centre; x to the right, y upwards.
    pub places_mm: Vec<[f64; 2]>,
}

/// Rings around the centres: each pixel counts for the ring of its distance to the nearest centre.
#[derive(Clone, Debug, PartialEq)]
pub struct Rings {
    /// Rising edges in mm, one more than there are rings.
    pub edges_mm: Vec<f64>,
    /// R, G, B: one mean a ring.
    pub channels: [Vec<RingMean>; 3],
    /// Slope per mm to the right and upwards that was taken out, R, G, B, linear.
    pub slope_per_mm: [[f64; 2]; 3],
}

/// Where rings lie in the picture.
struct Layout<'a> {
    centres_px: &'a [[f64; 2]],
    mm_per_px: f64,
    /// Squares of the edges in px2.
    edges_squared: Vec<f64>,
}

impl Layout<'_> {
    fn rings(&self) -> usize {
        self.edges_squared.len() - 1
    }

    /// The nearest centre and the place from it, in px.
    #[inline]
    fn nearest(&self, place: [f64; 2]) -> (usize, [f64; 2], f64) {
        let mut best = (0, [0.0; 2], f64::INFINITY);
        for (i, centre) in self.centres_px.iter().enumerate() {
            let d = [place[0] - centre[0], place[1] - centre[1]];
            let squared = d[0] * d[0] + d[1] * d[1];
            if squared < best.2 {
                best = (i, d, squared);
            }
        }
        best
    }

    #[inline]
    fn ring(&self, squared: f64) -> Option<usize> {
        let after = self.edges_squared.partition_point(|edge| *edge <= squared);
        (after > 0 && after < self.edges_squared.len()).then(|| after - 1)
    }

    /// Half-open span of rows and of columns that hold all rings.
    fn span(&self, axis: usize, length: usize) -> std::ops::Range<usize> {
        let reach = self.edges_squared[self.rings()].sqrt();
        let low = self.centres_px.iter().map(|c| c[axis]).fold(f64::INFINITY, f64::min) - reach;
        let high = self.centres_px.iter().map(|c| c[axis]).fold(f64::NEG_INFINITY, f64::max) + reach;
        let inside = |v: f64| v.clamp(0.0, length as f64) as usize;
        inside(low.ceil())..inside(high.floor() + 1.0)
    }

    fn centroid(&self) -> [f64; 2] {
        let count = self.centres_px.len() as f64;
        [0, 1].map(|axis| self.centres_px.iter().map(|c| c[axis]).sum::<f64>() / count)
    }
}

/// Which pixels are not to be trusted, a bit a channel.
struct Mask {
    bits: Vec<u8>,
    width: usize,
}

impl Mask {
    fn new(photo: &Photo) -> Mask {
        let clipped: Vec<(usize, usize, u8)> = (0..photo.height)
            .into_par_iter()
            .flat_map_iter(|y| {
                (0..photo.width).filter_map(move |x| {
                    let bits = photo.clipped(x, y).iter().rev().fold(0, |bits, c| 2 * bits + u8::from(*c));
                    (bits > 0).then_some((x, y, bits))
                })
            })
            .collect();
        if clipped.is_empty() {
            return Mask { bits: Vec::new(), width: photo.width };
        }
        let mut bits = vec![0; photo.width * photo.height];
        let near = |v: usize, end: usize| {
            let v = v as i64;
            (v - SPILL_PX).max(0) as usize..(v + SPILL_PX + 1).min(end as i64) as usize
        };
        for (x, y, b) in clipped {
            for row in near(y, photo.height) {
                bits[row * photo.width..][near(x, photo.width)].iter_mut().for_each(|m| *m |= b);
            }
        }
        Mask { bits, width: photo.width }
    }

    #[inline]
    fn get(&self, x: usize, y: usize) -> u8 {
        if self.bits.is_empty() { 0 } else { self.bits[y * self.width + x] }
    }
}

/// Sums over the pixels of a ring in one sector.
#[derive(Clone, Copy, Default)]
struct Sums {
    pixels: u32,
    light: f64,
    squares: f64,
    black: u32,
    /// Pixels whose neighbours were looked at, and squares of `left - 2 here + right`.
    compared: u32,
    bends: f64,
}

impl Sums {
    fn add(&mut self, more: &Sums) {
        self.pixels += more.pixels;
        self.light += more.light;
        self.squares += more.squares;
        self.black += more.black;
        self.compared += more.compared;
        self.bends += more.bends;
    }
}

/// What one band of rows adds: sums by ring, centre, sector and channel, and the pixels of small rings.
struct Band {
    sums: Vec<[Sums; 3]>,
    few: Vec<Vec<Place>>,
}

/// Means over rings.
///
/// `centres_px` are places `[x, y]` with the middle of the upper left pixel at `[0, 0]`; `edges_mm` rise.
///
/// # Panics
/// If `mm_per_px` is not positive, `centres_px` is empty or not finite, or `edges_mm` has fewer than two edges, a negative one, or does not
/// rise.
#[must_use]
pub fn rings(photo: &Photo, mm_per_px: f64, centres_px: &[[f64; 2]], edges_mm: &[f64]) -> Rings {
    assert!(mm_per_px > 0.0 && mm_per_px.is_finite(), "the scale must be positive");
    let finite = centres_px.iter().flatten().all(|v| v.is_finite());
    assert!(!centres_px.is_empty() && finite, "rings need a centre");
    assert!(edges_mm.len() > 1 && edges_mm[0] >= 0.0, "rings need edges from 0 or above");
    assert!(edges_mm.is_sorted_by(|a, b| a < b), "ring edges must rise");
    let edges_squared = edges_mm.iter().map(|edge| (edge / mm_per_px).powi(2)).collect();
    let layout = Layout { centres_px, mm_per_px, edges_squared };
    let slope = slope::slope(photo, layout.centroid(), layout.edges_squared[layout.rings()].sqrt());
    let mask = Mask::new(photo);
    let (sums, few) = added(photo, &layout, &mask, slope);
    let channels = std::array::from_fn(|c| {
        let ring = |ring: usize| ring_mean(photo, &layout, &mask, c, ring, &sums, few[ring].as_deref());
        (0..layout.rings()).into_par_iter().map(ring).collect()
    });
    let slope_per_mm = slope.map(|[x, y]| [x / mm_per_px, -y / mm_per_px]);
    Rings { edges_mm: edges_mm.to_vec(), channels, slope_per_mm }
}

/// Index of a cluster among the sums.
fn cluster(layout: &Layout, ring: usize, centre: usize, sector: usize) -> usize {
    (ring * layout.centres_px.len() + centre) * SECTORS + sector
}

/// The sums of all clusters, and the pixels of rings that have few.
fn added(
    photo: &Photo,
    layout: &Layout,
    mask: &Mask,
    slope: [[f64; 2]; 3],
) -> (Vec<[Sums; 3]>, Vec<Option<Vec<Place>>>) {
    let rows = layout.span(1, photo.height);
    let bands: Vec<usize> = rows.clone().step_by(BAND_ROWS).collect();
    let band = |start: &usize| band(photo, layout, mask, slope, *start..(start + BAND_ROWS).min(rows.end));
    let mut sums = vec![[Sums::default(); 3]; layout.rings() * layout.centres_px.len() * SECTORS];
    let mut few = vec![Some(Vec::new()); layout.rings()];
    for group in bands.chunks(16) {
        let parts: Vec<Band> = group.par_iter().map(band).collect();
        for part in parts {
            for (to, from) in sums.iter_mut().flatten().zip(part.sums.iter().flatten()) {
                to.add(from);
            }
            for (to, from) in few.iter_mut().zip(part.few) {
                let fits = to.as_ref().is_some_and(|list| list.len() + from.len() <= FEW_PIXELS);
                if let (true, Some(list)) = (fits, to.as_mut()) {
                    list.extend(from);
                } else {
                    *to = None;
                }
            }
        }
    }
    (sums, few)
}

fn band(
    photo: &Photo,
    layout: &Layout,
    mask: &Mask,
    slope: [[f64; 2]; 3],
    rows: std::ops::Range<usize>,
) -> Band {
    let middle = layout.centroid();
    let mut band = Band {
        sums: vec![[Sums::default(); 3]; layout.rings() * layout.centres_px.len() * SECTORS],
        few: vec![Vec::new(); layout.rings()],
    };
    for y in rows {
        for x in layout.span(0, photo.width) {
            let place = [x as f64, y as f64];
            let (centre, d, squared) = layout.nearest(place);
            let Some(ring) = layout.ring(squared) else { continue };
            let masked = mask.get(x, y);
            if masked == 0b111 {
                continue;
            }
            let light = photo.linear(x, y);
            let sums = &mut band.sums[cluster(layout, ring, centre, sector(d))];
            for c in 0..3 {
                if masked >> c & 1 == 0 {
                    let level = light[c]
                        - slope[c][0] * (place[0] - middle[0])
                        - slope[c][1] * (place[1] - middle[1]);
                    sums[c].pixels += 1;
                    sums[c].light += level;
                    sums[c].squares += level * level;
                    sums[c].black += u32::from(light[c] == 0.0);
                }
            }
            // Noise of single pixels from a part of them: what neighbours two pixels off do not tell.
            if (x + 2 * y) % COMPARED == 0 && x >= 2 && x + 2 < photo.width {
                let (left, right) = (photo.linear(x - 2, y), photo.linear(x + 2, y));
                for c in 0..3 {
                    sums[c].compared += 1;
                    sums[c].bends += (left[c] - 2.0 * light[c] + right[c]).powi(2);
                }
            }
            if band.few[ring].len() <= FEW_PIXELS {
                band.few[ring].push(Place { at: place, masked });
            }
        }
    }
    band
}

/// The sector of a place, 0 to 15, going round.
#[inline]
fn sector([x, y]: [f64; 2]) -> usize {
    /// Tangent of 22.5 degrees.
    const TAN_SIXTEENTH: f64 = std::f64::consts::SQRT_2 - 1.0;
    let (u, v) = (x.abs(), y.abs());
    let (low, high) = if v <= u { (v, u) } else { (u, v) };
    let within_octant = usize::from(low > TAN_SIXTEENTH * high);
    let within_quadrant = if v <= u { within_octant } else { 3 - within_octant };
    match (x >= 0.0, y >= 0.0) {
        (true, true) => within_quadrant,
        (false, true) => 7 - within_quadrant,
        (false, false) => 8 + within_quadrant,
        (true, false) => 15 - within_quadrant,
    }
}

fn ring_mean(
    photo: &Photo,
    layout: &Layout,
    mask: &Mask,
    channel: usize,
    ring: usize,
    sums: &[[Sums; 3]],
    few: Option<&[Place]>,
) -> RingMean {
    let clusters = clusters(layout, ring, channel, sums);
    let pixels: f64 = clusters.iter().map(|s| f64::from(s.pixels)).sum();
    let (places_mm, covered) = places_and_cover(photo, layout, mask, channel, ring, few);
    if pixels == 0.0 {
        return RingMean {
            mean: f64::NAN,
            standard_error: f64::INFINITY,
            pixels: 0,
            covered: 0.0,
            places_mm,
        };
    }
    let mean = clusters.iter().map(|s| s.light).sum::<f64>() / pixels;
    let squares = clusters.iter().map(|s| s.squares).sum::<f64>() / pixels;
    let deviation = (squares - mean * mean).max(0.0).sqrt();
    let black = clusters.iter().map(|s| f64::from(s.black)).sum::<f64>() / pixels;
    let compared: f64 = clusters.iter().map(|s| f64::from(s.compared)).sum();
    let bends = clusters.iter().map(|s| s.bends).sum::<f64>();
    let step = photo.step_at(mean);
    // Of three independent values the bend has six times the variance; rounding has its share in it.
    let noise = (bends / 6.0 / compared.max(1.0) - step * step / 12.0).max(0.0).sqrt();
    let errors = [
        scatter(&clusters, mean, pixels, deviation),
        rounding_error(step, noise, deviation),
        cut_error(black, noise),
        coding_error(photo, channel, step, mean, noise),
    ];
    // Where too few clusters show a scatter, rounding remains: a step's own error in each of the pixels.
    let least = step / 12.0_f64.sqrt() / pixels.sqrt();
    let standard_error = errors.iter().map(|e| e * e).sum::<f64>().sqrt().max(least);
    RingMean { mean, standard_error, pixels: pixels as usize, covered, places_mm }
}

/// The clusters of a ring: sectors around each centre, joined where they are short.
fn clusters(layout: &Layout, ring: usize, channel: usize, sums: &[[Sums; 3]]) -> Vec<Sums> {
    let outer = layout.edges_squared[ring + 1].sqrt();
    let arc = std::f64::consts::TAU * outer / SECTORS as f64;
    // Powers of two divide the sectors evenly; four must remain for a scatter.
    let join = if arc >= SECTOR_ARC_PX {
        1
    } else if 2.0 * arc >= SECTOR_ARC_PX {
        2
    } else {
        4
    };
    let of_centre = |centre: usize| {
        (0..SECTORS / join).map(move |group| {
            (0..join).fold(Sums::default(), |mut sum, i| {
                sum.add(&sums[cluster(layout, ring, centre, group * join + i)][channel]);
                sum
            })
        })
    };
    (0..layout.centres_px.len()).flat_map(of_centre).filter(|s| s.pixels > 0).collect()
}

/// Standard error of the mean from the scatter of the clusters' means; with fewer than three clusters the deviation of
/// single values stands in, as if all were tied together, and with a few pixels of them nothing is known but the mean's size.
fn scatter(clusters: &[Sums], mean: f64, pixels: f64, deviation: f64) -> f64 {
    /// Pixels whose deviation tells something.
    const ENOUGH: f64 = 8.0;
    let count = clusters.len() as f64;
    if clusters.len() < 3 {
        return if pixels < ENOUGH { deviation.max(mean.abs()) } else { deviation };
    }
    let square = |s: &Sums| ((s.light - f64::from(s.pixels) * mean) / pixels).powi(2);
    (count / (count - 1.0) * clusters.iter().map(square).sum::<f64>()).sqrt()
}

/// Error of a mean by the rounding to codes `step` apart: `step / sqrt(12)` where values do not vary. It falls as one over the
/// number of codes that the values spread over by their course, and with noise as the first harmonic of the rounding does.
pub(super) fn rounding_error(step: f64, noise: f64, deviation: f64) -> f64 {
    let even = 12.0_f64.sqrt();
    let ratio = noise / step;
    let codes = 1.0 + even * deviation / step;
    step / even / codes * (-2.0 * std::f64::consts::PI.powi(2) * ratio * ratio).exp()
}

/// How far noise that is cut off at code 0 may lift a mean: for a share `black` of values at 0 the lift of a cut normal
/// variable stays below 1.4 times the share times the deviation of what is left.
fn cut_error(black: f64, noise: f64) -> f64 {
    1.4 * black * noise
}

/// Error of a mean by the coding of a JPEG, which no scatter shows. It holds the two colour differences in steps, and rounds them
/// to whole numbers; as it also smooths them this hardly averages out. R, G and B take them up by the weights of JFIF. And
/// where it smooths noise away along the sRGB curve, whose bend over its slope is `-0.58 / L`, the mean sinks by half of that
/// times the variance.
fn coding_error(photo: &Photo, channel: usize, step: f64, mean: f64, noise: f64) -> f64 {
    /// Weights of the differences to blue and to red.
    const WEIGHTS: [[f64; 2]; 3] = [[0.0, 1.402], [0.344, 0.714], [1.772, 0.0]];
    /// What the course of the light over a ring leaves of the rounding, as found on made-up pictures of many colours.
    const LEFT: f64 = 0.4;
    if photo.format != Format::Jpeg {
        return 0.0;
    }
    let [blue, red] = WEIGHTS[channel];
    let differences = if photo.is_grey() { 0.0 } else { LEFT.hypot(photo.colour_step) / 12.0_f64.sqrt() };
    let colour = step * differences * blue.hypot(red);
    let smoothed = if photo.tone == Tone::Srgb { 0.29 * noise * noise / mean.max(step) } else { 0.0 };
    colour.hypot(smoothed)
}

#[cfg(test)]
mod tests;
