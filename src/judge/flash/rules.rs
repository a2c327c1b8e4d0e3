//! The thresholds, and what counts as a change.

/// More flashes than this in any second are too many (WCAG 2.x, success criterion 2.3.1; BT.1702).
pub const MOST_FLASHES: usize = 3;
/// So many changes in less than a second are more than three flashes: a flash is two opposing changes.
pub(super) const TOO_MANY_CHANGES: usize = 2 * MOST_FLASHES + 1;
/// Least change of relative luminance, over the greatest (1) (WCAG, general flash).
pub const GENERAL_CHANGE: f64 = 0.10;
/// A change counts only if its darker state is below this relative luminance (WCAG, general flash).
pub const GENERAL_DARKER_BELOW: f64 = 0.80;
/// Area that may flash concurrently within any 10 degree field, in sr (WCAG): a quarter of that field.
pub const AREA_SR: f64 = 0.006;
/// Width of that field, in degrees.
pub const FIELD_DEG: f64 = 10.0;
/// Least `R / (R + G + B)` in linear light of a saturated red (WCAG, red flash).
pub const RED_SHARE: f64 = 0.8;
/// Least distance in the CIE 1976 u'v' diagram of a red change (WCAG 2.2).
pub const RED_DIFFERENCE: f64 = 0.2;
/// Patterns whose squares are smaller than this, in degrees, do not count (WCAG).
pub const FINE_PATTERN_DEG: f64 = 0.1;
/// Least change in cd/m2 (ITU-R BT.1702).
pub const ABSOLUTE_CHANGE: f64 = 20.0;
/// Darker state below which [`ABSOLUTE_CHANGE`] holds, in cd/m2 (ITU-R BT.1702).
pub const ABSOLUTE_DARKER_BELOW: f64 = 160.0;
/// Least `(bright - dark) / (bright + dark)` where the darker state is brighter (ITU-R BT.1702).
pub const ABSOLUTE_MICHELSON: f64 = 1.0 / 17.0;
/// The block of pixels by which W3C estimates the 10 degree field, on a screen of [`SCREEN_PX`] (from memory).
pub const BLOCK_PX: [f64; 2] = [341.0, 256.0];
/// W3C's screen.
pub const SCREEN_PX: [f64; 2] = [1024.0, 768.0];

/// Sum of the linear R, G and B below which a state on a screen counts as black, whose colour is that of white: the
/// screen's own reflections then hide what colour is left.
const SCREEN_BLACK: f64 = 0.01;
/// Luminance below which a state of the garment counts as black, in cd/m2: the eye then hardly sees colour (as
/// [`crate::picture::exposure::EV_MIN`]).
const GARMENT_BLACK_CD_M2: f64 = 0.3;
/// Rounding of single precision, of the threshold: a change of exactly the threshold counts.
const ROUNDING: f64 = 1e-5;

/// When two luminances are far enough apart for a change. With a depth below 1 the question is whether they still were if
/// all contrast was that share of what it is; the limit of the darker state is then left out, for it is not known where
/// that state would come to lie, and leaving it out only adds changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Contrast {
    /// WCAG's general flash; relative luminance.
    Relative {
        /// The depth.
        depth: f64,
    },
    /// BT.1702; cd/m2.
    Absolute {
        /// The depth.
        depth: f64,
    },
}

impl Contrast {
    /// The same at another depth.
    pub(super) fn at_depth(self, depth: f64) -> Contrast {
        match self {
            Contrast::Relative { .. } => Contrast::Relative { depth },
            Contrast::Absolute { .. } => Contrast::Absolute { depth },
        }
    }

    /// Whether a change between the two counts.
    pub(super) fn counts(self, dark: f32, bright: f32) -> bool {
        let (dark, bright) = (f64::from(dark), f64::from(bright));
        let reaches = |value: f64, limit: f64| value >= limit * (1.0 - ROUNDING);
        match self {
            Contrast::Relative { depth } => {
                reaches((bright - dark) * depth, GENERAL_CHANGE)
                    && (depth < 1.0 || dark < GENERAL_DARKER_BELOW)
            }
            Contrast::Absolute { depth } if depth < 1.0 || dark < ABSOLUTE_DARKER_BELOW => {
                reaches((bright - dark) * depth, ABSOLUTE_CHANGE)
            }
            Contrast::Absolute { .. } => reaches(bright - dark, ABSOLUTE_MICHELSON * (bright + dark)),
        }
    }
}

/// The colour of a place at a time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Colour {
    /// CIE 1976 u' and v'.
    pub(super) uv: [f32; 2],
    /// Whether it is a saturated red.
    pub(super) red: bool,
}

/// Of the screen's white (CIE D65).
const WHITE_XYZ: [f64; 3] = [0.950_456, 1.0, 1.089_058];

fn uv(xyz: [f64; 3]) -> [f32; 2] {
    let [x, y, z] = xyz;
    let sum = x + 15.0 * y + 3.0 * z;
    [(4.0 * x / sum) as f32, (9.0 * y / sum) as f32]
}

fn colour(xyz: [f64; 3], rgb: [f64; 3], black: bool) -> Colour {
    if black {
        return Colour { uv: uv(WHITE_XYZ), red: false };
    }
    // A red outside sRGB has negative parts; they are none of the other two colours.
    let [red, green, blue] = rgb.map(|v| v.max(0.0));
    Colour { uv: uv(xyz), red: red >= RED_SHARE * (1.0 - ROUNDING) * (red + green + blue) }
}

/// Relative luminance (WCAG) and colour of linear sRGB.
pub(super) fn of_screen(rgb: [f32; 3]) -> (f32, Colour) {
    let rgb = rgb.map(f64::from);
    let xyz = crate::picture::colour::xyz_of_linear_srgb(rgb).0;
    let [red, green, blue] = rgb;
    let luminance = 0.2126 * red + 0.7152 * green + 0.0722 * blue;
    (luminance as f32, colour(xyz, rgb, rgb.iter().sum::<f64>() < SCREEN_BLACK))
}

/// Luminance in cd/m2 and colour of tristimulus values in cd/m2.
pub(super) fn of_garment(xyz: [f32; 3]) -> (f32, Colour) {
    let wide = xyz.map(f64::from);
    let rgb = crate::picture::colour::linear_srgb(crate::light::spectrum::Xyz(wide));
    (xyz[1], colour(wide, rgb, wide[1] < GARMENT_BLACK_CD_M2))
}

/// Distance in the u'v' diagram.
pub(super) fn uv_distance(a: [f32; 2], b: [f32; 2]) -> f64 {
    f64::from(a[0] - b[0]).hypot(f64::from(a[1] - b[1]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thresholds_are_those_of_the_table() {
        let table = include_str!("../../../tests/reference/flash_thresholds.csv");
        let stated = |name: &str| -> f64 {
            let row = table.lines().find(|l| l.split(',').next() == Some(name)).expect(name);
            row.split(',').nth(1).and_then(|v| v.parse().ok()).expect(name)
        };
        let pairs = [
            ("flashes_in_a_second", MOST_FLASHES as f64),
            ("general_change", GENERAL_CHANGE),
            ("general_darker_below", GENERAL_DARKER_BELOW),
            ("area", AREA_SR),
            ("field", FIELD_DEG),
            ("red_share", RED_SHARE),
            ("red_difference", RED_DIFFERENCE),
            ("fine_pattern_below", FINE_PATTERN_DEG),
            ("block_width", BLOCK_PX[0]),
            ("block_height", BLOCK_PX[1]),
            ("absolute_change", ABSOLUTE_CHANGE),
            ("absolute_darker_below", ABSOLUTE_DARKER_BELOW),
            ("absolute_michelson", ABSOLUTE_MICHELSON),
        ];
        for (name, value) in pairs {
            // Ten decimals are printed.
            assert!((stated(name) - value).abs() < 1e-10, "{name}");
        }
        // .006 sr are a quarter of a disc of 10 degrees, rounded to one digit: closed form of the cap.
        let disc = std::f64::consts::TAU * (1.0 - (0.5 * FIELD_DEG).to_radians().cos());
        assert!((stated("area_share") * disc / AREA_SR - 1.0).abs() < 0.01, "{disc}");
    }

    #[test]
    fn changes_on_both_sides_of_every_threshold() {
        let relative = Contrast::Relative { depth: 1.0 };
        assert!(relative.counts(0.2, 0.31) && relative.counts(0.2, 0.3) && !relative.counts(0.2, 0.29));
        assert!(relative.counts(0.79, 0.9) && !relative.counts(0.81, 1.0) && !relative.counts(0.8, 1.0));
        let absolute = Contrast::Absolute { depth: 1.0 };
        assert!(absolute.counts(0.0, 21.0) && absolute.counts(5.0, 25.0) && !absolute.counts(0.0, 19.0));
        assert!(absolute.counts(159.0, 179.1) && !absolute.counts(159.0, 178.0));
        // 1/17 is a ratio of 18 to 16: from 161 on 181.1 are enough and 181.0 are not.
        assert!(absolute.counts(161.0, 161.0 * 1.1251) && !absolute.counts(161.0, 161.0 * 1.1249));
        assert!(absolute.counts(1600.0, 1801.0) && !absolute.counts(1600.0, 1799.0));
        // At half the depth twice the change is needed.
        assert!(!relative.at_depth(0.5).counts(0.2, 0.39) && relative.at_depth(0.5).counts(0.2, 0.41));
        assert!(!absolute.at_depth(0.5).counts(0.0, 39.0) && absolute.at_depth(0.5).counts(0.0, 41.0));
    }

    #[test]
    fn a_saturated_red_is_told_on_both_sides() {
        let share = |other: f32| of_screen([1.0, 0.5 * other, 0.5 * other]).1.red;
        // R / (R + G + B) = 0.8 is 0.25 of others.
        assert!(share(0.249) && share(0.25) && !share(0.251));
        assert!(!of_screen([0.0; 3]).1.red && !of_screen([0.009, 0.0, 0.0]).1.red);
        // Chromaticity of the sRGB primary and of its white, CIE 1976 (from their x, y: u' = 4x/(3 - 2x + 12y)).
        let red = of_screen([1.0, 0.0, 0.0]).1.uv;
        let white = of_screen([1.0; 3]).1.uv;
        for (found, want) in [(red, [0.4507, 0.5229]), (white, [0.1978, 0.4683])] {
            assert!(uv_distance(found, want) < 1e-4, "{found:?}");
        }
        assert_eq!(of_screen([0.0; 3]).1.uv.map(|v| (1e4 * v).round()), white.map(|v| (1e4 * v).round()));
        // A 620 nm die lies outside sRGB and is a saturated red all the same.
        let package = crate::pixels::package::Package::named("5050").expect("in the table");
        let bare = package.flux(&[1.0, 0.0, 0.0]);
        assert!(of_garment(bare.0.map(|v| v as f32)).1.red);
        assert!(!of_garment(package.flux(&[0.0, 1.0, 0.0]).0.map(|v| v as f32)).1.red);
    }
}
