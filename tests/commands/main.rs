//! The built program, run as its user runs it: in a folder of its own, by its words, judged by what it leaves behind.
#![allow(clippy::disallowed_methods)]

mod calls;
mod cloth;
#[path = "../common/mod.rs"]
mod common;
mod compare;
mod documents;
mod estimate;
mod json;
mod make;
mod manual;
mod new;
mod next;
mod on_photo;
mod photo;
mod pick;
mod places;
mod preview;
mod sheet;
mod sheets;
mod spread;
mod standoff;
mod uneven;

use assert_cmd::Command;
use std::path::{Path, PathBuf};

/// A folder that goes away with the test; commands run inside it.
struct Folder(tempfile::TempDir);

/// What a command said.
struct Said {
    code: Option<i32>,
    out: String,
    err: String,
}

impl Folder {
    fn new() -> Folder {
        Folder(tempfile::tempdir().expect("a folder"))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: impl AsRef<[u8]>) {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        std::fs::write(path, text).expect("written");
    }

    fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Everything in it, folders with a stroke at their end, sorted.
    fn names(&self) -> Vec<String> {
        fn below(folder: &Path, before: &str, names: &mut Vec<String>) {
            for entry in std::fs::read_dir(folder).expect("listed") {
                let entry = entry.expect("readable");
                let name = format!("{before}{}", entry.file_name().to_string_lossy());
                if entry.path().is_dir() {
                    names.push(format!("{name}/"));
                    below(&entry.path(), &format!("{name}/"), names);
                } else {
                    names.push(name);
                }
            }
        }
        let mut names = Vec::new();
        below(self.0.path(), "", &mut names);
        names.sort();
        names
    }

    fn run(&self, arguments: &[&str]) -> Said {
        let output = Command::cargo_bin("weftlight")
            .expect("built")
            .current_dir(self.0.path())
            .args(arguments)
            .output()
            .expect("runs");
        Said {
            code: output.status.code(),
            out: String::from_utf8(output.stdout).expect("text"),
            err: String::from_utf8(output.stderr).expect("text"),
        }
    }

    /// Runs a command that must succeed; gives back what it wrote to standard output.
    fn fine(&self, arguments: &[&str]) -> String {
        let said = self.run(arguments);
        assert_eq!(said.code, Some(0), "{arguments:?}: {}", said.err);
        said.out
    }

    /// Runs a command that must succeed and print JSON.
    fn json(&self, arguments: &[&str]) -> serde_json::Value {
        let out = self.fine(arguments);
        serde_json::from_str(&out).unwrap_or_else(|error| panic!("{arguments:?}: {error}: {out}"))
    }

    /// Runs a command that must be refused and change nothing in the folder; gives back its message.
    fn refused(&self, arguments: &[&str]) -> String {
        let before = self.names();
        let said = self.run(arguments);
        assert_eq!(said.code, Some(2), "{arguments:?}: {} {}", said.out, said.err);
        assert_eq!(said.out, "", "{arguments:?}: nothing on standard output");
        assert!(!said.err.contains("panicked"), "{arguments:?}: {}", said.err);
        assert_eq!(self.names(), before, "{arguments:?}: nothing written");
        said.err
    }
}

/// A number of a JSON object.
fn number(json: &serde_json::Value, key: &str) -> f64 {
    json[key].as_f64().unwrap_or_else(|| panic!("{key} in {json:#}"))
}

/// A decoded picture; 8-bit values are kept as they are.
struct Picture {
    info: png::Info<'static>,
    /// Three values an image pixel.
    rgb: Vec<u16>,
}

impl Picture {
    fn of(bytes: &[u8]) -> Picture {
        let mut reader = png::Decoder::new(std::io::Cursor::new(bytes)).read_info().expect("a PNG");
        let mut values = vec![0; reader.output_buffer_size().expect("a size")];
        reader.next_frame(&mut values).expect("a whole picture");
        let info = reader.info().clone();
        assert_eq!(info.color_type, png::ColorType::Rgb);
        let rgb = match info.bit_depth {
            png::BitDepth::Sixteen => {
                values.chunks_exact(2).map(|b| u16::from_be_bytes([b[0], b[1]])).collect()
            }
            depth => {
                assert_eq!(depth, png::BitDepth::Eight);
                values.into_iter().map(u16::from).collect()
            }
        };
        Picture { info, rgb }
    }

    fn at(&self, x: u32, y: u32) -> [u16; 3] {
        let i = 3 * (y * self.info.width + x) as usize;
        [self.rgb[i], self.rgb[i + 1], self.rgb[i + 2]]
    }
}

/// A linear picture with its scale.
struct Linear {
    picture: Picture,
    cd_m2_per_count: f64,
}

impl Linear {
    fn of(bytes: &[u8]) -> Linear {
        let picture = Picture::of(bytes);
        let texts = &picture.info.uncompressed_latin1_text;
        let scale = texts.iter().find(|t| t.keyword == "Luminance of 65535 in cd/m2").expect("the scale");
        let full_scale: f64 = scale.text.parse().expect("a number");
        Linear { picture, cd_m2_per_count: full_scale / f64::from(u16::MAX) }
    }

    /// Luminance: the weights of the sRGB primaries (IEC 61966-2-1).
    fn luminance(&self, x: u32, y: u32) -> f64 {
        let [r, g, b] = self.picture.at(x, y).map(f64::from);
        self.cd_m2_per_count * (0.2126 * r + 0.7152 * g + 0.0722 * b)
    }

    fn all(&self) -> impl Iterator<Item = f64> {
        let (width, height) = (self.picture.info.width, self.picture.info.height);
        (0..height).flat_map(move |y| (0..width).map(move |x| self.luminance(x, y)))
    }

    /// The middle row.
    fn middle_row(&self) -> Vec<f64> {
        let y = self.picture.info.height / 2;
        (0..self.picture.info.width).map(|x| self.luminance(x, y)).collect()
    }
}

/// A demo scene as it comes with the program.
fn demo(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenes").join(format!("{name}.yaml"));
    std::fs::read_to_string(path).expect("a demo scene")
}

/// Says that a test checked nothing, past the catching of a test's own output.
fn skipped(why: &str) {
    use std::io::Write;
    writeln!(std::io::stderr(), "SKIPPED: {why}").expect("standard error");
}
