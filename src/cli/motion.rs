//! `weftlight motion`: what will it look like when it moves?

use super::charts::{Format, not_drawn};
use super::numbers::within;
use super::progress::Progress;
use super::targets::{try_target, usual_target};
use super::view::{ViewOptions, size};
use super::{Outcome, output};
use crate::build::{
    Case, current::of_scene, limits::cap, limits::limit, powered::powered_at, run::feed_pixels,
};
use crate::diagnose::Diagnostic;
use crate::files::{self, FolderStream, Stream};
use crate::judge::flash::{FlashCheck, FlashReport, FlashSetup, flash_chart};
use crate::motion::average::{at_levels, at_peak};
use crate::motion::film::{self, Film, FilmError, GIF_MOST_PER_S, Kind, Packed};
use crate::motion::frames::{self, Levels};
use crate::motion::shape::{DURATION_S, FRAMES_PER_S};
use crate::motion::timing::{MOST_FRAMES, Timing};
use crate::picture::canvas::Canvas;
use crate::picture::caption::bar;
use crate::picture::clip::developed;
use crate::picture::exposure::ExposureValue;
use crate::picture::luminance::{LuminanceImage, frame};
use crate::picture::render;
use crate::scene::Scene;
use crate::scene::file::{Resolved, read_with_warnings};
use crate::words::three_digits;
use clap::Args;
use serde_json::json;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Longer side of a film in image pixels where nothing else is asked for: a film of a picture's usual size is large and slow.
const USUAL_SIDE_PX: f64 = 800.0;
/// Image pixels of all frames together above which a GIF is warned of: with a byte for a few of them it takes some ten megabytes.
const LARGE_GIF: f64 = 1e8;

/// Make a film of the scene's pattern (GIF, animated PNG, YUV4MPEG2 or PNG pictures) and check whether it flashes too much
///
/// All frames have one exposure, that of the brightest. Whole frames are fitted into the loop, so that it closes. Without --output
/// the film goes to renders/SCENE.gif. Every film is checked for flashing that can bring on seizures, as seen on a screen and on the
/// garment itself (WCAG 2.3.1, ITU-R BT.1702): a warning and no medical clearance.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight motion scenes/lantern.yaml --seconds 5 -o ember.gif")]
pub(super) struct Arguments {
    /// The scene file; its `light` needs a `pattern`
    #[arg(value_name = "SCENE")]
    scene: PathBuf,

    /// What to write: FILE.gif, FILE.png (animated), FILE.y4m, FOLDER/ (ends in a slash), or - for YUV4MPEG2 on standard output
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,

    /// Frames a second (instead of the pattern's)
    #[arg(long, value_name = "RATE", value_parser = rate, allow_negative_numbers = true)]
    frames_per_s: Option<f64>,

    /// Length in seconds (instead of one loop of the pattern)
    #[arg(long, value_name = "SECONDS", value_parser = seconds, allow_negative_numbers = true)]
    seconds: Option<f64>,

    /// Width and height in image pixels, such as 1280,720 (otherwise the scene's proportions with 800 on the longer side)
    #[arg(long, value_name = "W,H", value_parser = size, allow_hyphen_values = true)]
    size_px: Option<[u32; 2]>,

    #[command(flatten)]
    view: ViewOptions,

    /// Show what the supply of the scene really allows: one brightness for the whole loop, and what is lost along the run
    #[arg(long)]
    as_powered: bool,

    /// Put the caption bar of a preview under every frame
    #[arg(long)]
    caption: bool,

    /// End with exit code 1 when the film, or the garment itself, flashes more than the usual limits allow
    #[arg(long)]
    strict: bool,

    /// Also draw the flash check as a chart with pictures of the worst second: FILE.svg, FILE.png or FILE.pdf
    #[arg(long, value_name = "FILE")]
    flash_report: Option<PathBuf>,

    /// Print what was made as JSON, on standard error where the film goes to standard output (its shape: `weftlight check --schema motion`)
    #[arg(long)]
    json: bool,
}

fn rate(text: &str) -> Result<f64, String> {
    within(text, &FRAMES_PER_S)
}

pub(super) fn seconds(text: &str) -> Result<f64, String> {
    within(text, &DURATION_S)
}

/// What kind of film a name asks for.
fn kind(target: &Path) -> Result<Kind, Vec<Diagnostic>> {
    let shown = target.display().to_string();
    if shown == STANDARD_OUTPUT {
        return Ok(Kind::Y4m);
    }
    if shown.ends_with('/') || shown.ends_with(std::path::MAIN_SEPARATOR) || target.is_dir() {
        return Ok(Kind::Folder);
    }
    match target.extension().map(|e| e.to_string_lossy().to_ascii_lowercase()).as_deref() {
        Some("gif") => Ok(Kind::Gif),
        Some("png" | "apng") => Ok(Kind::Apng),
        Some("y4m") => Ok(Kind::Y4m),
        _ => Err(vec![
            Diagnostic::of_file(&shown, "the name does not tell what kind of film is wanted")
                .allowed("a name that ends in .gif, .png, .y4m or, for a folder of pictures, in a slash; - for standard output"),
        ]),
    }
}

const STANDARD_OUTPUT: &str = "-";

/// A film to be made.
struct Job {
    scene: Scene,
    target: PathBuf,
    kind: Kind,
    timing: Timing,
    /// The brightness that the supply allows, 0 to 1, and the pixels that it feeds.
    powered: Option<(crate::build::limits::Cap, Vec<usize>)>,
    caption: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let file = &arguments.scene;
    let Resolved { scene, warnings, files: read, .. } = read_with_warnings(file)?;
    let job = Job::new(arguments, scene)?;
    let read: Vec<PathBuf> =
        std::iter::once(file.clone()).chain(read.into_iter().map(PathBuf::from)).collect();
    let report = match &arguments.flash_report {
        Some(target) => {
            if files::same_file(target, &job.target) {
                let fault =
                    Diagnostic::of_file(&target.display().to_string(), "this file would be written twice");
                return Err(vec![fault.next("Give film and report their own names.")]);
            }
            let format = Format::of(target)?;
            try_target(target, &read)?;
            Some((target, format))
        }
        None => None,
    };
    let place = Place::open(&job, &read)?;
    output::diagnostics(&warnings);
    job.warn_of_size();
    let made = job.make(place)?;
    if let Some((target, format)) = report {
        job.draw_report(target, format, &made)?;
    }
    let text = if arguments.json {
        format!("{:#}", job.as_json(&made, arguments.flash_report.as_deref()))
    } else {
        job.in_words(&made)
    };
    let told = if job.to_standard_output() {
        output::message(&text);
        Outcome::Fine
    } else {
        output::data(&text)
    };
    if !arguments.json && made.flash.passed() {
        output::next("see how to build it", [Path::new("make"), file]);
    }
    Ok(if told == Outcome::Fine && arguments.strict && !made.flash.passed() {
        Outcome::CheckFailed
    } else {
        told
    })
}

/// A frame on its way into the film.
struct Seen {
    picture: LuminanceImage,
    /// Developed, without the caption bar.
    canvas: Canvas,
    packed: Packed,
}

/// What came of it.
struct Made {
    exposure: ExposureValue,
    peak_cd_m2: f64,
    size_px: [u32; 2],
    mm_per_px: f64,
    bytes: Option<u64>,
    flash: FlashReport,
}

impl Job {
    fn new(arguments: &Arguments, scene: Scene) -> Result<Job, Vec<Diagnostic>> {
        let shown = arguments.scene.display().to_string();
        let Some(pattern) = scene.pattern.clone() else {
            let next = "Give `light` a `pattern`, such as `pattern: {pulse: {period_s: 4}}`, or draw the scene with `preview`.";
            return Err(vec![
                Diagnostic::of_file(&shown, "the scene has no pattern, so nothing moves").next(next),
            ]);
        };
        let stem = || arguments.scene.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let target = arguments.output.clone().unwrap_or_else(|| usual_target(&stem()).with_extension("gif"));
        let kind = kind(&target)?;
        let mut scene = arguments.view.applied(scene);
        scene.view.size_px = arguments.size_px.unwrap_or_else(|| usual_size(scene.view.size_px));
        let [per_s, seconds] = [
            arguments.frames_per_s.unwrap_or(pattern.frames_per_s),
            arguments.seconds.unwrap_or(pattern.duration_s),
        ];
        let Some(timing) = Timing::new(seconds, per_s) else {
            let fault = Diagnostic::of_file(
                &shown,
                format!("{seconds} s at {per_s} frames a second are too many frames"),
            );
            let next = "Ask for fewer --seconds or --frames-per-s.";
            return Err(vec![fault.allowed(format!("at most {MOST_FRAMES} frames")).next(next)]);
        };
        if kind == Kind::Gif && timing.frames_per_s() > GIF_MOST_PER_S {
            let fault = Diagnostic::of_file(
                &target.display().to_string(),
                "a GIF does not show so many frames a second",
            );
            let next = "Ask for fewer --frames-per-s, or write an animated PNG.";
            return Err(vec![fault.allowed(format!("at most {GIF_MOST_PER_S} in a second")).next(next)]);
        }
        let powered = if arguments.as_powered { Some(allowed(&shown, &scene)?) } else { None };
        Ok(Job { scene, target, kind, timing, powered, caption: arguments.caption })
    }

    fn warn_of_size(&self) {
        let [width, height] = self.scene.view.size_px.map(f64::from);
        if self.kind == Kind::Gif && width * height * self.timing.count as f64 > LARGE_GIF {
            output::message(
                "note: a GIF of so many frames of this size becomes large; a smaller --size-px or fewer --frames-per-s help",
            );
        }
    }

    /// The levels of every die at a time.
    fn levels(&self, time_s: f64, fault: &Mutex<Option<String>>) -> Levels {
        let levels = frames::levels_at(&self.scene, time_s);
        let (Some((cap, fed_at)), Some(supply)) = (&self.powered, &self.scene.supply) else { return levels };
        match powered_at(&at_levels(&self.scene, levels), supply, fed_at, Case::Typical, *cap) {
            Ok(run) => run.scene.pixels.into_iter().map(|pixel| pixel.levels).collect(),
            Err(error) => {
                if let Ok(mut fault) = fault.lock() {
                    *fault = Some(error.to_string());
                }
                Vec::new()
            }
        }
    }

    fn make(&self, mut place: Place) -> Result<Made, Vec<Diagnostic>> {
        let frame = frame(&self.scene);
        let projector = frames::projector(&self.scene, frame, self.timing);
        frames::allowed(&projector).map_err(|fault| vec![fault.about(&self.target.display().to_string())])?;
        let fault = Mutex::new(None);
        let levels = |time_s: f64| self.levels(time_s, &fault);
        let exposure = frames::exposure(self.scene.view.exposure, &projector, self.timing, &levels);
        let bar = self
            .caption
            .then(|| bar(frame.width_px, frame.mm_per_px, &render::caption(&self.scene, exposure)));
        let size_px = [frame.width_px, frame.height_px + bar.as_ref().map_or(0, |bar| bar.height_px)];
        let failed = |error: FilmError| self.not_written(&error);
        let out: Option<&mut (dyn Write + Send)> = match (&mut place.file, &mut place.standard) {
            (Some(file), _) => Some(file),
            (_, Some(standard)) => Some(standard),
            _ => None,
        };
        let mut film = match out {
            Some(out) => Film::begin(self.kind, out, size_px, self.timing).map_err(failed)?,
            None => None,
        };
        let folder = &place.folder;
        let progress = Progress::new(self.timing.count, "Making frames");
        let mut peak_cd_m2 = 0.0_f64;
        let setup = FlashSetup { frame, distance_m: self.scene.view.distance_m, exposure, looped: true };
        let mut check = FlashCheck::new(setup);
        let work = |_: usize, _: f64, picture: LuminanceImage| -> Result<Seen, Vec<Diagnostic>> {
            let canvas = developed(&picture, exposure);
            let whole = with_bar(canvas.clone(), bar.as_ref());
            let packed = film::packed(self.kind, whole, frame.mm_per_px).map_err(|e| self.not_written(&e))?;
            Ok(Seen { picture, canvas, packed })
        };
        // Every frame goes past here, in order, with its time and its luminances: what looks at the film as a whole belongs here.
        let mut each = |index: usize, time_s: f64, Seen { picture, canvas, packed }: Seen| {
            // Size and order are right by construction, the only errors there are.
            let _ = check.push_developed(time_s, &picture.image, &canvas);
            peak_cd_m2 = peak_cd_m2.max(picture.peak().0);
            match (&mut film, folder, packed) {
                (Some(film), _, packed) => film.push(packed).map_err(failed)?,
                (None, Some(folder), Packed::Bytes(bytes)) => {
                    folder.write(&film::file_name(index), &bytes)?
                }
                _ => {}
            }
            progress.step();
            Ok(())
        };
        frames::each(&projector, self.timing, &levels, &work, &mut each)?;
        drop(progress);
        if let Some(error) = fault.into_inner().ok().flatten() {
            let shown = self.target.display().to_string();
            let what =
                format!("the voltages along the run cannot be found at some moment of the pattern: {error}");
            return Err(vec![Diagnostic::of_file(&shown, what)]);
        }
        film.map_or(Ok(()), Film::finish).map_err(failed)?;
        place.commit()?;
        let bytes = if self.kind == Kind::Folder { None } else { files::size_of(&self.target) };
        let flash = check.finish();
        Ok(Made { exposure, peak_cd_m2, size_px, mm_per_px: frame.mm_per_px, bytes, flash })
    }

    /// Draws the flash check with pictures of the worst second.
    fn draw_report(&self, target: &Path, format: Format, made: &Made) -> Result<(), Vec<Diagnostic>> {
        let fault = Mutex::new(None);
        let projector = frames::projector(&self.scene, frame(&self.scene), self.timing);
        let pictures: Vec<(f64, Canvas)> = made
            .flash
            .worst_frames()
            .into_iter()
            .map(|index| {
                let time_s = self.timing.time_s(index);
                (time_s, developed(&projector.picture(&self.levels(time_s, &fault)), made.exposure))
            })
            .collect();
        let (chart, alt) = flash_chart(&made.flash, &self.scene.name, &pictures);
        let bytes = format.bytes(&chart.svg(&alt)).map_err(|error| not_drawn(target, &error))?;
        files::write_atomically(target, &bytes)
    }

    fn not_written(&self, error: &FilmError) -> Vec<Diagnostic> {
        match error {
            FilmError::Io(error)
            | FilmError::Gif(gif::EncodingError::Io(error))
            | FilmError::Png(png::EncodingError::IoError(error)) => Stream::fault(&self.target, error),
            other => vec![Diagnostic::of_file(&self.target.display().to_string(), other.to_string())],
        }
    }

    fn in_words(&self, made: &Made) -> String {
        let Timing { count, seconds } = self.timing;
        let [width, height] = made.size_px;
        let size = made.bytes.map_or(String::new(), |bytes| format!(", {:.1} MB", bytes as f64 / 1e6));
        let place = if self.to_standard_output() {
            "standard output".to_owned()
        } else {
            self.target.display().to_string()
        };
        let mut lines = vec![
            format!(
                "Wrote {place}: {count} frames in {seconds} s ({} a second), {width} by {height} image pixels{size}.",
                three_digits(self.timing.frames_per_s())
            ),
            format!(
                "All frames are exposed at {} (ISO 100); brightest place of all {} cd/m2.",
                made.exposure,
                three_digits(made.peak_cd_m2)
            ),
        ];
        if let Some((cap, _)) = &self.powered {
            lines.push(format!(
                "As powered, typical parts: {:.0} % of the levels, the same over the whole loop, set by the moment that draws most.",
                (100.0 * cap.factor).floor()
            ));
        }
        lines.push("Flash check:".to_owned());
        lines.extend(made.flash.words().iter().map(|words| format!("  {words}")));
        lines.join("\n")
    }

    fn to_standard_output(&self) -> bool {
        self.target.as_os_str() == STANDARD_OUTPUT
    }

    fn as_json(&self, made: &Made, report: Option<&Path>) -> serde_json::Value {
        let film = (!self.to_standard_output()).then_some(self.target.as_path());
        json!({
            "files": output::files(film.into_iter().chain(report)),
            "scene": self.scene.name,
            "frames": self.timing.count,
            "seconds": self.timing.seconds,
            "frames_per_s": self.timing.frames_per_s(),
            "size_px": made.size_px,
            "mm_per_px": made.mm_per_px,
            "bytes": made.bytes,
            "exposure_ev_iso_100": made.exposure.0,
            "full_scale_cd_m2": made.exposure.full_scale().0,
            "peak_cd_m2": made.peak_cd_m2,
            "flash": made.flash.data(),
            "level_factor": self.powered.as_ref().map(|(cap, _)| cap.factor),
        })
    }
}

/// A film's usual size: the picture's proportions, whole and even, for programs that want them so.
fn usual_size(size_px: [u32; 2]) -> [u32; 2] {
    let longer = f64::from(size_px[0].max(size_px[1]));
    let factor = (USUAL_SIDE_PX / longer).min(1.0);
    size_px.map(|side| 2 * ((0.5 * factor * f64::from(side)).round() as u32).max(8))
}

/// The cap that the supply sets for the whole loop, and where it feeds.
fn allowed(shown: &str, scene: &Scene) -> Result<(crate::build::limits::Cap, Vec<usize>), Vec<Diagnostic>> {
    let Some(supply) = &scene.supply else {
        let fault = Diagnostic::of_file(shown, "the scene names no supply, so nothing says what it allows");
        let next =
            "Add `supply:`, such as {volts: 5, max_ma: 1000, wire_mm: 500}, or leave --as-powered out.";
        return Err(vec![fault.next(next)]);
    };
    let cap = cap(&of_scene(&at_peak(scene)), limit(supply), Case::Typical);
    Ok((cap, feed_pixels(scene, &supply.injection)))
}

fn with_bar(picture: Canvas, bar: Option<&Canvas>) -> Canvas {
    let Some(bar) = bar else { return picture };
    let mut whole = picture;
    whole.height_px += bar.height_px;
    whole.rgb.extend_from_slice(&bar.rgb);
    whole
}

/// Where the frames go, opened before the work.
struct Place {
    file: Option<Stream>,
    folder: Option<FolderStream>,
    standard: Option<io::Stdout>,
}

impl Place {
    fn open(job: &Job, read: &[PathBuf]) -> Result<Place, Vec<Diagnostic>> {
        let mut place = Place { file: None, folder: None, standard: None };
        if job.to_standard_output() {
            place.standard = Some(io::stdout());
        } else if job.kind == Kind::Folder {
            place.folder = Some(FolderStream::create(&job.target, &film::is_file_name)?);
        } else {
            try_target(&job.target, read)?;
            place.file = Some(Stream::create(&job.target)?);
        }
        Ok(place)
    }

    fn commit(self) -> Result<(), Vec<Diagnostic>> {
        self.file.map_or(Ok(()), Stream::commit)?;
        self.folder.map_or(Ok(()), FolderStream::commit)
    }
}
