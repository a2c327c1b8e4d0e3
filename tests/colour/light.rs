//! The observer and the dies.

use super::{numbers, package, rows};
use proptest::prelude::*;
use weftlight::light::spectrum::die::{self, luminous_flux_lm};
use weftlight::light::spectrum::illuminant::{black_body, d65, illuminant_a};
use weftlight::light::spectrum::observer::{
    EQUAL_ENERGY, K_M, dominant_wavelength, luminous_efficacy, luminous_efficiency, matching_functions,
    spectral_locus,
};
use weftlight::light::spectrum::{Spectrum, die_spectrum, xyz_of};
use weftlight::pixels::package::{Die, Package};
use weftlight::quantity::Nanometres;

#[test]
fn the_matching_functions_are_the_published_ones() {
    // CIE 015 / ISO 11664-1, as quoted in colour-science's table; confirmed.
    let published = [
        (450.0, [0.3362, 0.0380, 1.77211]),
        (460.0, [0.2908, 0.0600, 1.6692]),
        (470.0, [0.19536, 0.09098, 1.28764]),
        (520.0, [0.06327, 0.7100, 0.078_249_99]),
        (530.0, [0.1655, 0.8620, 0.04216]),
        (555.0, [0.512_050_1, 1.0, 0.005_749_999]),
        (620.0, [0.854_449_9, 0.3810, 0.00019]),
        (630.0, [0.6424, 0.2650, 0.00005]),
    ];
    // The table prints 0.00005 as 0.00004999999.
    const SEVEN_DIGITS: f64 = 1e-9;
    for (nm, bars) in published {
        for (bar, value) in matching_functions().iter().zip(bars) {
            assert!((bar.at(Nanometres(nm)) - value).abs() < SEVEN_DIGITS, "{nm} nm");
        }
    }
    assert_eq!(luminous_efficiency().at(Nanometres(555.0)), 1.0);
    // SI brochure; CIE 018.
    assert_eq!(K_M, 683.0);
}

#[test]
fn d65_has_its_white() {
    // The same sum over 380 to 780 nm with colour-science 0.4.7: .31272053, .32903069 (eight decimals printed).
    let [x, y] = xyz_of(d65()).chromaticity().expect("light");
    assert!((x - 0.312_720_53).abs() < 1e-8 && (y - 0.329_030_69).abs() < 1e-8, "{x} {y}");
    // The sum from 360 nm on is .31271, .32901 (CIE 015, computed with colour-science); the grid leaves out 360 to 380 nm.
    const LEFT_OUT: f64 = 2.5e-5;
    assert!((x - 0.31271).abs() < LEFT_OUT && (y - 0.32901).abs() < LEFT_OUT, "{x} {y}");
    // Illuminant A: .44758, .40745 in colour-science's list of chromaticities (CIE 015).
    let [x, y] = xyz_of(&illuminant_a()).chromaticity().expect("light");
    assert!((x - 0.44758).abs() < 2e-5 && (y - 0.40745).abs() < 2e-5, "{x} {y}");
}

#[test]
fn equal_energy_is_the_middle_of_the_diagram() {
    // The three functions have equal integrals by construction (CIE 015); the printed digits leave 1e-5.
    let [x, y] = xyz_of(&Spectrum::constant(1.0)).chromaticity().expect("light");
    assert!((x - EQUAL_ENERGY[0]).abs() < 2e-5 && (y - EQUAL_ENERGY[1]).abs() < 2e-5, "{x} {y}");
}

#[test]
fn dominant_wavelengths_agree_with_a_general_library() {
    // The library returns the nearest of its 0.05 nm steps by angle, not the crossing itself.
    const LIBRARY_STEP_NM: f64 = 0.05;
    for row in rows(include_str!("../reference/dominant_wavelength.csv")) {
        let v = numbers(&row[1..]);
        let found = dominant_wavelength([v[2], v[3]], [v[0], v[1]]).expect("no purple").0;
        assert!((found - v[4]).abs() < 2.0 * LIBRARY_STEP_NM, "{row:?}: {found}");
    }
}

proptest! {
    #[test]
    fn a_colour_on_the_way_to_the_locus_has_its_dominant_wavelength(nm in 402.0..698.0_f64, purity in 0.05..1.0_f64) {
        let locus = spectral_locus(Nanometres(nm));
        let colour = std::array::from_fn(|i| EQUAL_ENERGY[i] + purity * (locus[i] - EQUAL_ENERGY[i]));
        let found = dominant_wavelength(colour, EQUAL_ENERGY).expect("no purple");
        // Near the red end 0.001 nm moves the locus by less than 1e-8.
        prop_assert!((found.0 - nm).abs() < 1e-3, "{} {}", nm, found);
    }
}

#[test]
fn the_band_has_the_efficacies_computed_elsewhere() {
    // colour-science 0.4.7's single-LED model (Ohno 2005) with equal widths, printed with one decimal. The 5 nm sum against
    // its 1 nm sum differs by less than the last digit.
    for (peak, width, lm_per_w) in
        [(465.0, 25.0, 59.9), (520.0, 35.0, 451.8), (525.0, 35.0, 496.0), (630.0, 18.0, 188.6)]
    {
        let band = die::band(Nanometres(peak), die::Widths { short_nm: width, long_nm: width });
        let found = luminous_efficacy(&band);
        assert!((found - lm_per_w).abs() < 0.06, "{peak}/{width}: {found}");
    }
}

#[test]
fn every_die_has_its_stated_dominant_wavelength() {
    // Solved for; 0.01 nm is a hundredth of the last digit of a data sheet.
    for die in Package::names().into_iter().flat_map(|n| package(n).dies).filter(|d| d.die != Die::White) {
        let colour = xyz_of(&die_spectrum(&die)).chromaticity().expect("light");
        let found = dominant_wavelength(colour, EQUAL_ENERGY).expect("no purple");
        assert!((found.0 - die.dominant.0).abs() < 0.01, "{die:?}: {found}");
    }
}

#[test]
fn peaks_and_efficacies_are_like_those_of_a_data_sheet() {
    // One three-colour package: peak/dominant 629/622, 521/530, 464/470 nm; 210, 535, 84 lm/W (data sheet, confirmed). The
    // widths were chosen so that the peaks agree to the sheet's whole nanometres. The efficacies were not fitted: they
    // must lie within what dies of the trade's usual range reach, which is 5 nm to either side of the middle.
    const PEAK_NM: f64 = 1.0;
    const USUAL_RANGE_NM: f64 = 5.0;
    let sheet = [
        (die::RED_WIDTHS, 622.0, 629.0, 210.0),
        (die::GREEN_WIDTHS, 530.0, 521.0, 535.0),
        (die::BLUE_WIDTHS, 470.0, 464.0, 84.0),
    ];
    for (widths, dominant, peak, lm_per_w) in sheet {
        let found = die::peak_for_dominant(Nanometres(dominant), widths);
        assert!((found.0 - peak).abs() < PEAK_NM, "{found}");
        let efficacy = |dominant| {
            luminous_efficacy(&die::band(die::peak_for_dominant(Nanometres(dominant), widths), widths))
        };
        let (one, other) = (efficacy(dominant - USUAL_RANGE_NM), efficacy(dominant + USUAL_RANGE_NM));
        assert!(
            one.min(other) < lm_per_w && lm_per_w < one.max(other),
            "{dominant} nm: {one} to {other} lm/W"
        );
    }
}

#[test]
fn the_white_die_lies_on_the_black_body_line() {
    // Definition: the chromaticity of a black body of the stated temperature; solved for, so rounding only.
    let facts = package("5050-rgbw").dies.into_iter().find(|d| d.die == Die::White).expect("a white die");
    let found = xyz_of(&die_spectrum(&facts)).chromaticity().expect("light");
    let wanted = xyz_of(&black_body(die::WHITE_CCT_K)).chromaticity().expect("light");
    assert!((found[0] - wanted[0]).abs() < 1e-9 && (found[1] - wanted[1]).abs() < 1e-9);
    // colour-science's planck_law at 4000 K: .38044, .37675; its 1 nm sum against the 5 nm sum here.
    assert!((found[0] - 0.38044).abs() < 5e-5 && (found[1] - 0.37675).abs() < 5e-5, "{found:?}");
}

#[test]
fn bare_packages_have_the_colour_computed_elsewhere() {
    // The same stated parameters in another language on a 1 nm grid: the two sums differ where the band has its kink,
    // at the peak, and the locus is straight between whole nanometres there.
    const CHROMATICITY: f64 = 2e-4;
    const EFFICACY: f64 = 1e-3;
    for row in rows(include_str!("../reference/package_chromaticity.csv")) {
        let package = package(row[0]);
        let v = numbers(&row[2..]);
        let (light, flux) = if row[1] == "all" {
            let light = package.flux(&vec![1.0; package.dies.len()]);
            (light, light.luminance())
        } else {
            let name = |d: &Die| format!("{d:?}").to_lowercase();
            let facts = package.dies.iter().find(|d| name(&d.die) == row[1]).expect("the die");
            // The table must have been computed for the package as it is now.
            assert_eq!((facts.dominant.0, facts.typical_mcd), (v[0], v[1]), "{row:?}");
            let efficacy = luminous_efficacy(&die_spectrum(facts));
            assert!((efficacy / v[5] - 1.0).abs() < EFFICACY, "{row:?}: {efficacy} lm/W");
            (xyz_of(&die_spectrum(facts)), luminous_flux_lm(facts, package.beam_power))
        };
        let [x, y] = light.chromaticity().expect("light");
        assert!((x - v[2]).abs() < CHROMATICITY && (y - v[3]).abs() < CHROMATICITY, "{row:?}: {x} {y}");
        assert!((flux / v[4] - 1.0).abs() < 1e-9, "{row:?}: {flux} lm");
    }
}
