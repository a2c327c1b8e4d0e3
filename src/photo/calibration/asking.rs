//! Faults of photographs in plain words, and how the maker is told to mend them: an option of the command line is a field of the page.

use crate::diagnose::Diagnostic;
use crate::photo::find::FindError;
use crate::photo::fit::FitError;
use crate::photo::measure::MeasureError;

/// Advice that names where to say a thing.
#[derive(Clone, Copy, Debug)]
pub struct Asking {
    /// How large things are in the picture.
    pub scale: &'static str,
    /// More or fewer spots than expected.
    pub count: &'static str,
    /// A scale without a second lit pixel.
    pub other_scale: &'static str,
    /// How photographs were exposed against one another.
    pub exposures: &'static str,
    /// Exposures of the photographs with cloth as well as of the bare pixel.
    pub both_exposures: &'static str,
    /// Another photograph of the bare pixel.
    pub bare_exposure: &'static str,
    /// Photographs proportional to light.
    pub linear: &'static str,
    /// What follows the words for a photograph of the bare pixel.
    pub bare: &'static str,
}

/// Advice in options of the command line.
pub const COMMAND_LINE: Asking = Asking {
    scale: "Say --mm-per-px, or two points and their distance (--scale-from x1,y1,x2,y2 --scale-mm 50), or, with several \
            lit pixels, --pitch-mm.",
    count: "Cover the other lights or cut them off the picture; or, if they are lit pixels of the same level, say how many: \
            --pixels, or their --pitch-mm.",
    other_scale: "Say the scale with --mm-per-px or --scale-from instead.",
    exposures: "Say --exposure 1/30,1/30 or the like, if you know them.",
    both_exposures: "Say both: --exposure 1/30 --bare-exposure 1/2000.",
    bare_exposure: "Add a bare photo with a shorter exposure, about a hundredth of that with cloth, and say --bare-exposure.",
    linear: "Use raw files developed without a tone curve and --linear, or lock exposure, focus and HDR.",
    bare: " (--bare)",
};

/// No scale was told.
#[must_use]
pub fn no_scale(asking: &Asking) -> Diagnostic {
    Diagnostic::of_file("the scale", "how large things are in the photo is not known").next(asking.scale)
}

pub(super) fn exposures_unknown(shown_as: &str, asking: &Asking) -> Diagnostic {
    Diagnostic::of_file(shown_as, "its exposure is known, but not that of the photo with cloth")
        .next(asking.both_exposures)
}

pub(super) fn not_measured(shown_as: &str, error: &MeasureError, asking: &Asking) -> Diagnostic {
    let fault = Diagnostic::of_file(shown_as, error.to_string());
    match error {
        MeasureError::Find(FindError::Washed { .. }) => {
            fault.next("Photograph again with a shorter exposure, in a dark room.")
        }
        MeasureError::Find(_) => {
            fault.next("Photograph one lit pixel behind the cloth in a dark room, with the spot in the middle of the picture.")
        }
        MeasureError::Count { places_px, .. } => {
            let places: Vec<String> =
                places_px.iter().take(6).map(|p| format!("({:.0}, {:.0})", p[0], p[1])).collect();
            let what = format!("{error}, at {} px from the upper left corner", places.join(", "));
            Diagnostic { what, ..fault }.next(asking.count)
        }
        MeasureError::OneForPitch => fault.next(asking.other_scale),
        MeasureError::Points { .. } => {
            fault.allowed("at least 20 pixels").next("Mark two places that are far apart on the ruler.")
        }
        MeasureError::Outside { .. } => {
            fault.next("Count pixels in the upright picture, as a viewer shows it, from its upper left corner.")
        }
        MeasureError::Size { .. } => fault.next("Check the scale and the stand-off."),
        MeasureError::BareNotSeen => {
            fault.next(
                "Expose so that the bare pixel is bright but not white, and the rest of the picture dark: at about a hundredth of the \
                 exposure with cloth.",
            )
        }
        MeasureError::CutOff => fault.next("Photograph again with room around the pixel."),
    }
}

/// Why there is no fit; `shown_as` names the photographs in their order.
#[must_use]
pub(super) fn not_fitted(shown_as: &[&str], error: FitError) -> Diagnostic {
    let place = match error {
        FitError::TooFewRings { shot, .. } => shown_as[shot - 1],
        FitError::NoShot => "the photos",
    };
    Diagnostic::of_file(place, error.to_string())
        .next("Photograph from nearer, with the whole spot in view and its middle not white.")
}
