//! The bar under a picture: how long a millimetre is, what is shown, and how it is exposed and seen.

use super::canvas::{Canvas, Line, Rgb8, shortened, text_width, wrapped};

/// Near black with a touch of blue, so that the bar sets itself off from a black picture.
pub const BAR: Rgb8 = [24, 26, 32];
/// Off-white.
pub const INK: Rgb8 = [236, 233, 224];
/// Quieter, for the facts below the title.
pub const QUIET: Rgb8 = [176, 174, 166];
/// The hair line between picture and bar.
const EDGE: Rgb8 = [60, 63, 72];

/// Text height over picture width. On a telephone's screen, 65 mm wide, a fortieth is 1.6 mm: small print, but print.
const TEXT_SHARE: f32 = 1.0 / 46.0;
/// Text is never lower than this, in image pixels.
const LEAST_TEXT_PX: f32 = 14.0;
/// Text is never higher than this, in image pixels: beyond, the bar would rival the picture.
const LARGEST_TEXT_PX: f32 = 56.0;
/// The scale bar aims at this share of the width and is the next shorter round length.
const SCALE_SHARE: f64 = 0.25;

/// A title longer than this many lines is cut off.
const TITLE_LINES: usize = 2;

/// What the bar says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Caption {
    /// Title of the picture.
    pub title: String,
    /// Exposure, in words, e.g. from [`exposure_words`].
    pub exposure: String,
    /// Viewing distance in metres.
    pub distance_m: Option<f64>,
    /// Room light on the cloth in lux.
    pub room_lx: Option<f64>,
    /// Further lines, e.g. how uncertain the estimate is.
    pub notes: Vec<String>,
}

/// A scale bar: a round length and how long it is in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleBar {
    /// Its length, in mm: 1, 2 or 5 times a power of ten.
    pub length_mm: f64,
    /// Its length in image pixels, rounded to whole ones.
    pub length_px: u32,
}

impl ScaleBar {
    /// The longest round length that takes no more than a quarter of the width; `None` where that is below one image pixel
    /// or the scale is not positive and finite.
    #[must_use]
    pub fn fitting(width_px: u32, mm_per_px: f64) -> Option<ScaleBar> {
        let available_mm = SCALE_SHARE * f64::from(width_px) * mm_per_px;
        if !(available_mm > 0.0 && available_mm.is_finite()) {
            return None;
        }
        let decade = 10.0_f64.powf(available_mm.log10().floor());
        let digit = [5.0, 2.0, 1.0].into_iter().find(|d| d * decade <= available_mm * (1.0 + 1e-12))?;
        let length_mm = digit * decade;
        let exact_px = length_mm / mm_per_px;
        (exact_px >= 1.0).then_some(ScaleBar { length_mm, length_px: exact_px.round() as u32 })
    }

    /// The length in words: `50 mm`, `0.2 mm`, `2 m`.
    #[must_use]
    pub fn words(&self) -> String {
        if self.length_mm >= 1000.0 {
            format!("{} m", rounded(self.length_mm / 1000.0))
        } else {
            format!("{} mm", rounded(self.length_mm))
        }
    }
}

/// A number with at most three decimals and no trailing zeros.
fn rounded(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// `exposure EV 4.3 at ISO 100`, with non-breaking spaces between signs and numbers.
#[must_use]
pub fn exposure_words(ev_at_iso_100: f64) -> String {
    format!("exposure EV\u{a0}{ev_at_iso_100:.1} at ISO\u{a0}100")
}

/// Height of the text for a picture of a width, in image pixels.
#[must_use]
pub fn text_height(width_px: u32) -> f32 {
    (width_px as f32 * TEXT_SHARE).clamp(LEAST_TEXT_PX, LARGEST_TEXT_PX).round()
}

/// The picture with the bar under it. The width stays; the bar is as high as its text needs.
#[must_use]
pub fn captioned(picture: &Canvas, mm_per_px: f64, caption: &Caption) -> Canvas {
    let bar = bar(picture.width_px, mm_per_px, caption);
    let mut whole = Canvas::filled(picture.width_px, picture.height_px + bar.height_px, BAR);
    whole.paste(0, 0, picture);
    whole.paste(0, i64::from(picture.height_px), &bar);
    whole
}

/// The bar alone.
#[must_use]
pub fn bar(width_px: u32, mm_per_px: f64, caption: &Caption) -> Canvas {
    let text = text_height(width_px);
    let pad = (0.7 * text).round().min(0.1 * width_px as f32);
    let room = (width_px as f32 - 2.0 * pad).max(1.0);
    let scale = ScaleBar::fitting(width_px, mm_per_px);
    let facts = facts(caption);

    // The scale stands to the right of title and facts where there is room, else on a row of its own.
    let scale_width = scale.map_or(0.0, |s| (s.length_px as f32).max(text_width(&s.words(), text)));
    let beside = scale.is_some() && room - scale_width - 2.0 * pad >= 18.0 * text;
    let text_room = if beside { room - scale_width - 2.0 * pad } else { room };

    let mut lines = Vec::new();
    let mut top = pad;
    let mut add = |content: String, height: f32, colour: Rgb8, top: &mut f32| {
        lines.push(Line { left: pad, top: *top, height, colour, text: content });
        *top += (1.25 * height).ceil();
    };
    if !caption.title.trim().is_empty() {
        let height = (1.2 * text).round();
        let mut title = wrapped(caption.title.trim(), height, text_room);
        if title.len() > TITLE_LINES {
            let rest = title.split_off(TITLE_LINES - 1).join(" ");
            title.push(shortened(&rest, height, text_room));
        }
        for line in title {
            add(line, height, INK, &mut top);
        }
    }
    for line in wrapped(&facts, text, text_room) {
        add(line, text, QUIET, &mut top);
    }
    let scale_top = if beside { pad } else { top };
    if let Some(scale) = scale {
        let height = 1.25 * text + 0.9 * text;
        top = if beside { top.max(pad + height) } else { top + height };
        let left = if beside { width_px as f32 - pad - scale_width } else { pad };
        lines.push(Line {
            left,
            top: scale_top,
            height: text,
            colour: INK,
            text: shortened(&scale.words(), text, room),
        });
    }
    let mut below = top;
    for note in &caption.notes {
        for line in wrapped(note, text, room) {
            lines.push(Line { left: pad, top: below, height: text, colour: QUIET, text: line });
            below += (1.25 * text).ceil();
        }
    }
    let mut canvas = Canvas::filled(width_px, (below + 0.6 * pad).ceil() as u32, BAR);
    canvas.fill(0, 0, width_px, 1, EDGE);
    if let Some(scale) = scale {
        let left = if beside { width_px as f32 - pad - scale_width } else { pad };
        draw_scale(&mut canvas, left as i64, (scale_top + 1.3 * text) as i64, scale.length_px, text);
    }
    canvas.lines(&lines);
    canvas
}

/// Exposure, distance and room light as one run of words.
fn facts(caption: &Caption) -> String {
    let mut facts = Vec::new();
    if !caption.exposure.trim().is_empty() {
        facts.push(caption.exposure.trim().to_owned());
    }
    if let Some(distance) = caption.distance_m {
        facts.push(format!("seen from {}\u{a0}m", rounded(distance)));
    }
    match caption.room_lx {
        Some(0.0) => facts.push("no room light".to_owned()),
        Some(lux) => facts.push(format!("room light {}\u{a0}lx", rounded(lux))),
        None => {}
    }
    facts.join(" · ")
}

/// A bar with two upright ends, exactly `length_px` wide.
fn draw_scale(canvas: &mut Canvas, left: i64, top: i64, length_px: u32, text: f32) {
    let thick = (text / 9.0).round().max(1.0) as u32;
    let high = (0.5 * text).round() as u32;
    let middle = top + i64::from(high / 2) - i64::from(thick / 2);
    canvas.fill(left, middle, length_px, thick, INK);
    let end = thick.min(length_px);
    canvas.fill(left, top, end, high, INK);
    canvas.fill(left + i64::from(length_px) - i64::from(end), top, end, high, INK);
}

/// Writes a label into the top left corner of a picture, on a patch of the bar's colour; shortened to fit.
pub fn label(canvas: &mut Canvas, text: &str) {
    let height = text_height(canvas.width_px);
    let pad = (0.35 * height).round();
    let room = canvas.width_px as f32 - 4.0 * pad;
    let text = shortened(text, height, room);
    if text.is_empty() {
        return;
    }
    let width = text_width(&text, height);
    canvas.fill(pad as i64, pad as i64, (width + 2.0 * pad).ceil() as u32, (height + pad).ceil() as u32, BAR);
    canvas.text(2.0 * pad, 1.5 * pad, height, INK, &text);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn caption() -> Caption {
        Caption {
            title: "Lantern walk: collar under ivory wool felt".to_owned(),
            exposure: exposure_words(4.3),
            distance_m: Some(2.0),
            room_lx: Some(20.0),
            notes: vec![
                "estimate: ±30 % in luminance, ±20 % in spot width (from the cloth's label)".to_owned(),
            ],
        }
    }

    #[test]
    fn scale_lengths_are_round_and_exact() {
        for (width, mm_per_px, length, px) in
            [(1920, 0.25, 100.0, 400), (1000, 0.1, 20.0, 200), (640, 1.0, 100.0, 100), (800, 0.25, 50.0, 200)]
        {
            let scale = ScaleBar::fitting(width, mm_per_px).expect("a scale");
            assert!((scale.length_mm - length).abs() < 1e-9, "{scale:?}");
            assert_eq!(scale.length_px, px);
        }
        assert_eq!(ScaleBar::fitting(1920, 0.25).map(|s| s.words()).as_deref(), Some("100 mm"));
        assert_eq!(ScaleBar::fitting(1920, 10.0).map(|s| s.words()).as_deref(), Some("2 m"));
        assert_eq!(ScaleBar::fitting(64, 0.01).map(|s| s.words()).as_deref(), Some("0.1 mm"));
        assert_eq!(ScaleBar::fitting(2, 1.0), None);
        assert_eq!(ScaleBar::fitting(640, f64::NAN), None);
    }

    #[test]
    fn the_drawn_scale_is_as_long_as_it_says() {
        for (width, mm_per_px) in [(1920, 0.25), (333, 0.37), (64, 1.3), (4000, 0.11)] {
            let scale = ScaleBar::fitting(width, mm_per_px).expect("a scale");
            let drawn = bar(width, mm_per_px, &Caption::default());
            // The longest run of ink in a row is the bar: letters have no strokes as long.
            let longest = (0..drawn.height_px)
                .map(|y| {
                    let mut best = 0;
                    let mut run = 0;
                    for x in 0..width {
                        run = if drawn.at(x, y) == Some(INK) { run + 1 } else { 0 };
                        best = best.max(run);
                    }
                    best
                })
                .max();
            assert_eq!(longest, Some(scale.length_px), "{width} {mm_per_px}");
        }
    }

    #[test]
    fn a_bar_at_every_width() {
        for width in (64..400).chain((400..=4000).step_by(75)) {
            let drawn = bar(width, 0.3, &caption());
            assert_eq!(drawn.width_px, width);
            assert!(drawn.height_px as f32 >= 3.0 * text_height(width));
            assert!(drawn.rgb.chunks_exact(3).any(|p| p == INK.as_slice()));
        }
        for width in [0, 1, 2, 7, 30] {
            assert_eq!(bar(width, 0.3, &caption()).width_px, width);
        }
    }

    #[test]
    fn the_picture_above_the_bar_is_untouched() {
        let picture = Canvas::filled(300, 100, [200, 30, 90]);
        let whole = captioned(&picture, 0.5, &caption());
        assert_eq!(whole.rgb[..picture.rgb.len()], picture.rgb);
        assert!(whole.height_px > 140);
        let mut labelled = picture.clone();
        label(&mut labelled, "fleece, 6 mm");
        assert_ne!(labelled, picture);
        label(&mut Canvas::filled(3, 3, BAR), "no room");
    }
}
