//! Colour differences, and what a pixel is sent.

use super::{FOUR_DECIMALS, numbers, package, rows};
use weftlight::judge::colour_difference::{Lab, ciede2000, colour_shift};
use weftlight::light::spectrum::Xyz;
use weftlight::picture::colour::decode;

#[test]
fn all_published_pairs_are_reproduced() {
    // Sharma, Wu and Dalal (2005), Table 1, four decimals printed. Pair 14 lies on a branch of the arc tangent, where the last
    // bit decides between 4.8045 and 4.7461: either is accepted.
    let pairs = rows(include_str!("../reference/ciede2000_pairs.csv"));
    assert_eq!(pairs.len(), 34);
    for row in pairs {
        let v = numbers(&row);
        let colour = |i: usize| Lab { l: v[i], a: v[i + 1], b: v[i + 2] };
        let found = ciede2000(colour(1), colour(4));
        let branch = row[0] == "14" && (found - 4.7461).abs() < FOUR_DECIMALS;
        assert!((found - v[7]).abs() < FOUR_DECIMALS || branch, "{row:?}: {found}");
        // The formula is symmetric, but for the pair on the branch.
        if row[0] != "14" {
            assert!((ciede2000(colour(4), colour(1)) - found).abs() < 1e-9, "{row:?}");
        }
    }
}

#[test]
fn a_grey_cloth_does_not_shift_colour_and_a_dyed_one_does() {
    let bare = package("5050").flux(&[1.0; 3]);
    assert!(colour_shift(bare, bare.scaled(0.03)).expect("light") < 1e-9);
    let warmer = Xyz([bare.0[0], bare.0[1], 0.6 * bare.0[2]]);
    assert!(colour_shift(bare, warmer).expect("light") > 5.0);
    assert_eq!(colour_shift(bare, Xyz::default()), None);
}

#[test]
fn a_screen_colour_sent_raw_is_paler_than_decoded() {
    // Duty is linear and the screen's code is not, so the weak channels of a raw colour come out stronger: its purity, seen as the
    // distance from the pixel's own white (all dies full), is lower.
    let pixel = package("5050");
    let code = [1.0, 0.5, 0.1];
    let distance = |levels: &[f64]| {
        let own = pixel.flux(&[1.0; 3]).chromaticity().expect("lit");
        let c = pixel.flux(levels).chromaticity().expect("lit");
        (c[0] - own[0]).hypot(c[1] - own[1])
    };
    let decoded = pixel.raw_levels(code.map(decode), 1.0);
    assert!(distance(&pixel.raw_levels(code, 1.0)) < distance(&decoded));
}
