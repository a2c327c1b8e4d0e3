//! The eye's contrast sensitivity against figures from outside this project, beside those in `src/judge/eye.rs`.

use weftlight::judge::eye::contrast_sensitivity;

/// Side of the field in degrees.
const FIELD_DEG: f64 = 10.0;

#[test]
fn full_and_simplified_model_agree() {
    /// Barten's short formula stays this near to the full one for common fields and luminances (measured 1 to 17 %); single
    /// observers differ by a factor of two.
    const SIMPLIFIED: f64 = 0.2;
    // Barten, Formula for the contrast sensitivity of the human eye (2003), the formula quoted second-hand; its values were
    // computed from it for this project and are not printed in the paper.
    for (luminance, cycles, simplified) in [
        (100.0, 1.0, 410.67),
        (100.0, 2.0, 609.01),
        (100.0, 4.0, 633.74),
        (100.0, 8.0, 426.12),
        (100.0, 16.0, 169.38),
        (10.0, 1.0, 382.35),
        (10.0, 4.0, 393.10),
        (10.0, 16.0, 76.41),
        (1.0, 1.0, 277.47),
        (1.0, 4.0, 172.37),
    ] {
        let full = contrast_sensitivity(cycles, luminance, FIELD_DEG);
        assert!(
            (full / simplified - 1.0).abs() < SIMPLIFIED,
            "{luminance} cd/m2, {cycles} cycles per degree: {full} against {simplified}"
        );
    }
}

/// The finest grating of full contrast that is seen, in cycles per degree.
fn finest(luminance: f64) -> f64 {
    let (mut seen, mut unseen) = (4.0, 200.0);
    for _ in 0..40 {
        let middle = 0.5 * (seen + unseen);
        if contrast_sensitivity(middle, luminance, FIELD_DEG) > 1.0 { seen = middle } else { unseen = middle }
    }
    seen
}

#[test]
fn visual_acuity_is_that_of_good_eyes_and_falls_in_the_dark() {
    // Acuity 1.0 resolves one minute of arc, 30 cycles per degree (ISO 8596, quoted second-hand); good young eyes reach 2.0,
    // 60 cycles per degree (from memory). Test charts are lit to 80 to 320 cd/m2 (ISO 8596, from memory).
    for luminance in [80.0, 160.0, 320.0] {
        let acuity = finest(luminance) / 30.0;
        assert!((1.0..2.0).contains(&acuity), "acuity {acuity} at {luminance} cd/m2");
    }
    let by_luminance: Vec<f64> = [0.01, 0.1, 1.0, 10.0, 100.0].map(finest).to_vec();
    assert!(by_luminance.is_sorted_by(|dark, light| dark < light), "{by_luminance:?}");
}
