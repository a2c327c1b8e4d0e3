//! Weftlight computes what light-up clothing will look like before the cloth is bought: pixels, cloth and the distance
//! between them in, a picture in absolute luminance out.
//!
//! A pixel behind cloth becomes a soft spot. How wide it is, how much light is left of it and whether single dots still show
//! depends on the cloth, on the air below it and on who looks from where. This library answers such questions from physics, and says
//! how sure the answers are. The program `weftlight` is a thin shell around it ([`cli`]); whatever the program does, a program of your own
//! can do.
//!
//! # A first picture
//!
//! A scene is text, the same as in a scene file. [`scene::file::resolve`] reads it, [`picture::luminance::luminance`] computes how much
//! light reaches the eye from every place, in cd/m2, and [`picture::render`] exposes that as a camera would and makes a PNG of it:
//!
//! ```
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::picture::{luminance::luminance, render};
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
//!
//! let picture = luminance(&scene);
//! println!("brightest {:.1}, on average {:.1}", picture.peak(), picture.mean());
//! assert!(picture.peak() > picture.mean());
//!
//! let exposure = render::exposure(&scene, &picture);
//! let png: Vec<u8> = render::png(&scene, &picture, exposure)?;
//! assert!(png.starts_with(b"\x89PNG"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! What is wrong with a text comes back as [`diagnose::Diagnostic`]s, all at once, each with its line, what is allowed and what to do.
//! [`scene::file::read`] takes a path instead, and cloth files beside it.
//!
//! # Numbers, and how sure they are
//!
//! [`judge`] holds the numbers by which pictures are compared. A cloth that is known by its label alone is known roughly, so each number
//! has a range: four times in five the truth lies inside it.
//!
//! ```
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::judge::numbers::{Layout, Range};
//! use weftlight::scene::file::resolve;
//!
//! let text = "pixels: [strip: {pitch_mm: 10, count: 4}]\nstack: [{gap_mm: 6, cloth: muslin}]\n";
//! let scene = resolve(text, "cuff.yaml", &CatalogueOnly).map_err(|faults| format!("{faults:?}"))?.scene;
//!
//! let judged = Layout::of(&scene).judged(&scene);
//! let Range { value, low, high } = judged.range(|numbers| numbers.light_kept);
//! println!("light kept: {:.0} % ({:.0} to {:.0} %)", 100.0 * value, 100.0 * low, 100.0 * high);
//! assert!(0.0 < low && low < value && value < high && high < 1.0);
//!
//! // Dots show where their contrast is above the eye's threshold; a single pixel has no dots, so there need not be a number.
//! let dots = judged.range_of(|numbers| numbers.dot_visibility).ok_or("no two pixels are neighbours")?;
//! println!("dots: {:.1} times the eye's threshold at {} m", dots.value, scene.view.distance_m);
//! # Ok::<(), String>(())
//! ```
//!
//! # How far off must the cloth stand?
//!
//! [`choose`] turns it round: from what is wanted to what to build. Here the smallest gap from which no dots show:
//!
//! ```
//! use weftlight::choose::standoff::{Subject, find, gaps};
//! use weftlight::cloth::catalogue::CatalogueOnly;
//! use weftlight::judge::softness::Softness;
//! use weftlight::scene::file::resolve;
//!
//! let text = "pixels: [strip: {pitch_mm: 8, count: 4}]\nstack: [{gap_mm: 2, cloth: felt-wool-ivory}]\n";
//! let scene = resolve(text, "cuff.yaml", &CatalogueOnly).map_err(|faults| format!("{faults:?}"))?.scene;
//!
//! let subject = Subject::new(scene).map_err(|why| format!("{why:?}"))?;
//! let found = find(&subject, &gaps(0.0, 30.0, 7), Softness::Smooth, &|| ());
//! let answer = found.answer.ok_or("no gap up to 30 mm hides the dots")?;
//! println!("no dots from {:.1} mm on; buy a spacer of {} mm", answer.gap.value, answer.step.gap_mm);
//! assert!(answer.step.visibility() < 1.0 && answer.step.gap_mm >= answer.gap.value);
//! # Ok::<(), String>(())
//! ```
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
//! All this is pure: values in, values out, and the same values again from the same scene. Files are touched by [`files`] and [`cli`]
//! alone.
//!
//! # From a cloth to its spot
//!
//! The steps can be taken alone. The spread function of a stack, without scene or picture: a fleece of 6 mm, 8 mm over the pixel, with the
//! optics of fibres (they scatter forwards):
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
//! # What is where
//!
//! | for | module |
//! |---|---|
//! | reading what people write, and telling what is wrong with it | [`reading`], [`diagnose`] |
//! | scenes, pixels, cloths | [`scene`], [`pixels`], [`cloth`] |
//! | a cloth from photographs of it | [`photo`] |
//! | the physics | [`light`] |
//! | pictures, and pictures that move | [`picture`], [`motion`] |
//! | the numbers that matter, and choosing by them | [`judge`], [`choose`] |
//! | building it: power, wires, pieces, drawings to size | [`build`] |
//! | a sheet for a client | [`client`] |
//! | the program: commands, the page in the browser, files | [`cli`], [`page`], [`files`] |
//! | quantities with their units; words and numbers as texts have them | [`quantity`], [`words`] |
//!
//! Lengths are millimetres, wavelengths nanometres, luminance is cd/m2; units stand in the type or in the name.

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
pub mod paper;
pub mod photo;
pub mod picture;
pub mod pixels;
pub mod quantity;
pub mod reading;
pub mod scene;
pub mod words;
