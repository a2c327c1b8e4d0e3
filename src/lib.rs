//! Weftlight computes what light-up clothing will look like before the cloth is bought: pixels, cloth and the distance
//! between them in, a picture in absolute luminance out.
//!
//! # The way through
//!
//! ```text
//! file ─► Scene ─► Stack (one per wavelength) ─► SpotSpectrum ─► DieSpots (X, Y, Z) ─► LuminanceImage (cd/m2) ─► picture
//! ```
//!
//! 1. [`scene::file::resolve`] turns the text of a scene file into a [`scene::Scene`] with nothing left open. Its cloths are
//!    [`cloth::Cloth`]s, from the [catalogue](cloth::catalogue) or from [files](cloth::file); its pixels are
//!    [packages](pixels::package) in a [layout](pixels::layout).
//! 2. [`scene::Scene::stack_at`] gives the [`light::Stack`] at one wavelength: board, air gaps, cloths.
//! 3. [`light::spots::spots`] solves it. Cloth without lateral structure turns every pixel into the same round spot, the spread
//!    function, held as its Fourier transform: a [`light::spread::SpotSpectrum`]. Here is the physics; [`light`] tells its way.
//! 4. [`picture::luminance::luminance`] adds the spots of all dies of all pixels, in colour, and the light of the room: a
//!    [`picture::luminance::LuminanceImage`]; [`picture`] tells that way.
//! 5. [`picture::render::png`] exposes and develops it as a camera would and writes its caption.
//!
//! All this is pure: values in, values out. Files are touched by [`files`] and [`cli`] alone. What is wrong with a file is
//! told by [`diagnose`], all at once; [`judge`] holds the numbers by which pictures are compared.
//!
//! # From a cloth to its spot
//!
//! A fleece of 6 mm, 8 mm over the pixel, with the optics of fibres (they scatter forwards):
//!
//! ```
//! use weftlight::light::{Layer, Optics, Stack, Window, spots::spots};
//! use weftlight::quantity::{Millimetres, PerMillimetre};
//!
//! let optics = Optics { extinction: PerMillimetre(1.5), albedo: 0.995, asymmetry: 0.72, openness: 0.0 };
//! let fleece = Layer { gap_below: Millimetres(8.0), thickness: Millimetres(6.0), optics };
//! let stack = Stack { board_reflectance: 0.5, layers: vec![fleece] };
//!
//! let lambertian = 1.0; // The beam: intensity as the cosine of the angle.
//! let spot = spots(&[stack], lambertian).remove(0);
//! let radii = [0.0, 5.0, 10.0, 20.0];
//! let radiance = spot.at_radii(Window::Disc { diameter: Millimetres(3.0) }, &radii);
//! for (r, radiance) in radii.iter().zip(&radiance) {
//!     println!("{r:4} mm from the middle: {radiance:.2e} per sr, mm2 and unit of flux");
//! }
//! assert!(radiance.is_sorted_by(|near, far| near > far));
//! ```
//!
//! # From a scene to its luminance
//!
//! ```
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::picture::luminance::luminance;
//! use weftlight::scene::file::resolve;
//!
//! let text = r##"
//! pixels:
//!   - strip: {package: "5050", pitch_mm: 16.67, count: 6}
//! stack:
//!   - {gap_mm: 6, cloth: felt-wool-ivory}
//! light: {colour: "#ffd9a0", level: 0.4}
//! view: {distance_m: 2, room_lx: 20, size_px: [64, 36]}
//! "##;
//! let scene = resolve(text, "collar.yaml", &CatalogueOnly).map_err(|faults| format!("{faults:?}"))?.scene;
//! let picture = luminance(&scene);
//! println!("brightest {:.1}, on average {:.1}", picture.peak(), picture.mean());
//! assert!(picture.peak() > picture.mean());
//! # Ok::<(), String>(())
//! ```

#![forbid(unsafe_code)]

pub mod build;
pub mod choose;
pub mod cli;
pub mod client;
pub mod cloth;
pub mod diagnose;
pub mod files;
pub mod judge;
pub mod light;
pub mod motion;
pub mod page;
pub mod photo;
pub mod picture;
pub mod pixels;
pub mod quantity;
pub mod reading;
pub mod scene;
pub mod words;
