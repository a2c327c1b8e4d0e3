//! Films against decoders that are not ours: those of the `image` crate, and Pillow and ffmpeg where they are installed.

use image::AnimationDecoder;
use image::codecs::gif::GifDecoder;
use image::codecs::png::PngDecoder;
use std::io::{self, Cursor, Write};
use std::path::Path;
use std::process::Command;
use weftlight::motion::film::{Film, FilmError, Kind, packed};
use weftlight::motion::timing::Timing;
use weftlight::motion::y4m;
use weftlight::picture::canvas::Canvas;

/// A GIF's 256 colours for a smooth picture of a few hundred: the largest error of a code and the mean one. Bands 10 codes wide are seen
/// in a glow; on pictures of 15 000 colours the largest is 10 and the mean 0.7.
const GIF_WORST: u8 = 10;
const GIF_MEAN: f64 = 1.0;
/// Rounding of luma (1/219 of a code's range) and colour differences (1/224, times up to 1.86) to whole numbers: half a step each.
const Y4M_WORST: f64 = 0.5 * 255.0 / 219.0 + 0.5 * 1.8556 * 255.0 / 224.0 + 0.5;

const SIZE: [u32; 2] = [40, 30];

/// A soft glow that moves and changes its colour, frame by frame.
fn canvas(frame: usize) -> Canvas {
    let mut rgb = Vec::new();
    for y in 0..SIZE[1] {
        for x in 0..SIZE[0] {
            let away = (f64::from(x) - 10.0 - 4.0 * frame as f64).hypot(f64::from(y) - 15.0);
            let glow = (-away * away / 120.0).exp();
            rgb.extend(
                [250.0 * glow, 160.0 * glow + 10.0, 20.0 * frame as f64 * glow + 5.0].map(|v| v as u8),
            );
        }
    }
    Canvas::from_rgb(SIZE[0], SIZE[1], rgb).expect("fits")
}

fn film(kind: Kind, timing: Timing, out: &mut dyn Write) -> Result<(), FilmError> {
    let mut film = Film::begin(kind, out, SIZE, timing)?.expect("one file");
    (0..timing.count).try_for_each(|i| film.push(packed(kind, canvas(i), 1.0)?))?;
    film.finish()
}

fn timing() -> Timing {
    Timing::new(0.2, 30.0).expect("in order")
}

#[test]
fn a_gif_comes_back_in_time_and_colour() {
    let mut bytes = Vec::new();
    film(Kind::Gif, timing(), &mut bytes).expect("written");
    let frames =
        GifDecoder::new(Cursor::new(&bytes)).expect("a GIF").into_frames().collect_frames().expect("whole");
    assert_eq!(frames.len(), 6);
    let delays: Vec<u32> =
        frames.iter().map(|f| f.delay().numer_denom_ms()).map(|(over, under)| over / under).collect();
    assert_eq!(delays.iter().sum::<u32>(), 200, "{delays:?}");
    assert!(bytes.windows(11).any(|w| w == b"NETSCAPE2.0"), "it runs for ever");
    for (i, frame) in frames.iter().enumerate() {
        let drawn = canvas(i);
        let pairs = || frame.buffer().pixels().zip(drawn.rgb.chunks_exact(3));
        let errors: Vec<u8> = pairs().flat_map(|(a, b)| [0, 1, 2].map(|c| a.0[c].abs_diff(b[c]))).collect();
        let mean = errors.iter().map(|e| f64::from(*e)).sum::<f64>() / errors.len() as f64;
        let worst = errors.iter().max().copied().unwrap_or(0);
        assert!(worst <= GIF_WORST && mean <= GIF_MEAN, "frame {i}: {worst}, {mean}");
    }
}

#[test]
fn few_colours_stay_exact_and_many_become_all_that_a_gif_has() {
    use weftlight::motion::palette::palette;
    let few: Vec<u8> = (0..600_u32).flat_map(|i| [(i % 16 * 17) as u8, (i / 16 % 16 * 3) as u8, 7]).collect();
    let (colours, indices) = palette(&few);
    assert_eq!(colours.len(), 256);
    assert!(few.chunks_exact(3).zip(&indices).all(|(rgb, i)| colours[usize::from(*i)] == *rgb));
    let many: Vec<u8> = (0..20_000_u32).flat_map(|i| [(i % 200) as u8, (i / 200) as u8, 40]).collect();
    let (colours, indices) = palette(&many);
    assert_eq!((colours.len(), indices.len()), (256, 20_000));
    assert_eq!(palette(&[]), (Vec::new(), Vec::new()));
}

#[test]
fn an_animated_png_comes_back_exactly() {
    for (timing, ms) in [(timing(), 200.0), (Timing::new(1.7, 3.0).expect("in order"), 1700.0)] {
        let mut bytes = Vec::new();
        film(Kind::Apng, timing, &mut bytes).expect("written");
        let decoder = PngDecoder::new(Cursor::new(&bytes)).expect("a PNG");
        let frames = decoder.apng().expect("animated").into_frames().collect_frames().expect("whole");
        assert_eq!(frames.len(), timing.count);
        let all_ms: f64 = frames
            .iter()
            .map(|f| f.delay().numer_denom_ms())
            .map(|(over, under)| f64::from(over) / f64::from(under))
            .sum();
        assert!((all_ms - ms).abs() < 0.51, "{all_ms}");
        for (i, frame) in frames.iter().enumerate() {
            let rgb: Vec<u8> = frame.buffer().pixels().flat_map(|p| [p.0[0], p.0[1], p.0[2]]).collect();
            assert!(rgb == canvas(i).rgb, "frame {i}");
        }
    }
}

#[test]
fn luma_and_colour_differences_are_those_of_bt_709() {
    // 8-bit values of the full-scale colour bars in ITU-R BT.709 as commonly tabulated (from memory), and grey by hand.
    for (rgb, expected) in [
        ([255, 255, 255], [235, 128, 128]),
        ([0, 0, 0], [16, 128, 128]),
        ([255, 0, 0], [63, 102, 240]),
        ([0, 255, 0], [173, 42, 26]),
        ([0, 0, 255], [32, 240, 118]),
        ([255, 255, 0], [219, 16, 138]),
        ([0, 255, 255], [188, 154, 16]),
        ([255, 0, 255], [78, 214, 230]),
        ([128, 128, 128], [126, 128, 128]),
    ] {
        assert_eq!(y4m::ycbcr(rgb), expected, "{rgb:?}");
    }
}

#[test]
fn a_y4m_comes_back_within_rounding() {
    let mut bytes = Vec::new();
    film(Kind::Y4m, timing(), &mut bytes).expect("written");
    let end = bytes.iter().position(|b| *b == b'\n').expect("a header");
    let header = String::from_utf8_lossy(&bytes[..end]).into_owned();
    let words: Vec<&str> = header.split(' ').collect();
    assert_eq!(words[..7], ["YUV4MPEG2", "W40", "H30", "F30:1", "Ip", "A1:1", "C444"]);
    let n = (SIZE[0] * SIZE[1]) as usize;
    let frames: Vec<&[u8]> = bytes[end + 1..].chunks(6 + 3 * n).collect();
    assert_eq!(frames.len(), 6);
    for (i, frame) in frames.iter().enumerate() {
        assert_eq!((&frame[..6], frame.len()), (&b"FRAME\n"[..], 6 + 3 * n));
        let planes = &frame[6..];
        for (p, rgb) in canvas(i).rgb.chunks_exact(3).enumerate() {
            let y = (f64::from(planes[p]) - 16.0) / 219.0;
            let [b, r] = [planes[n + p], planes[2 * n + p]].map(|v| (f64::from(v) - 128.0) / 224.0);
            let (red, blue) = (y + 1.5748 * r, y + 1.8556 * b);
            let green = (y - 0.2126 * red - 0.0722 * blue) / 0.7152;
            for (found, sent) in [red, green, blue].iter().zip(rgb) {
                assert!((255.0 * found - f64::from(*sent)).abs() <= Y4M_WORST, "frame {i}: {rgb:?}");
            }
        }
    }
}

/// A place that is full after so many bytes.
struct Full(usize);

impl Write for Full {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.0 == 0 {
            return Err(io::ErrorKind::StorageFull.into());
        }
        let taken = bytes.len().min(self.0);
        self.0 -= taken;
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[test]
fn a_full_disk_is_told_and_the_old_file_stays() {
    for kind in [Kind::Gif, Kind::Apng, Kind::Y4m] {
        film(kind, timing(), &mut Full(3000)).expect_err("refused");
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("film.gif");
    std::fs::write(&path, b"the old film").expect("written");
    let mut stream = weftlight::files::Stream::create(&path).expect("begun");
    stream.write_all(&[7; 100_000]).expect("on the way");
    drop(stream);
    assert_eq!(std::fs::read(&path).expect("there"), b"the old film");
    let mut stream = weftlight::files::Stream::create(&path).expect("begun");
    film(Kind::Gif, timing(), &mut stream).expect("written");
    stream.commit().expect("in place");
    assert!(std::fs::read(&path).expect("there").starts_with(b"GIF89a"));
    assert_eq!(std::fs::read_dir(folder.path()).expect("listed").count(), 1, "nothing else stays behind");
}

/// Runs another program; `None`, loudly, where it is not installed.
fn other(program: &str, probe: &[&str], arguments: &[&str], folder: &Path) -> Option<String> {
    if !Command::new(program).args(probe).output().is_ok_and(|done| done.status.success()) {
        eprintln!("SKIPPED: {program} {probe:?} does not run here, so it decodes no film");
        return None;
    }
    let done = Command::new(program).args(arguments).current_dir(folder).output().expect("run");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    Some(String::from_utf8_lossy(&done.stdout).into_owned())
}

#[test]
fn pillow_sees_the_same_films() {
    let folder = tempfile::tempdir().expect("a folder");
    for (kind, name) in [(Kind::Gif, "film.gif"), (Kind::Apng, "film.png")] {
        let mut bytes = Vec::new();
        film(kind, timing(), &mut bytes).expect("written");
        std::fs::write(folder.path().join(name), bytes).expect("written");
        let script = "import sys\nfrom PIL import Image, ImageSequence\nim = Image.open(sys.argv[1])\nn, ms, sums = 0, 0, []\n\
                      for f in ImageSequence.Iterator(im):\n    n += 1\n    ms += f.info['duration']\n    sums.append(sum(f.convert('RGB').tobytes()))\n\
                      print(n, round(ms), im.info.get('loop'), *sums)\n";
        let Some(said) = other("python3", &["-c", "import PIL"], &["-c", script, name], folder.path()) else {
            return;
        };
        let numbers: Vec<f64> = said.split_whitespace().map(|w| w.parse().expect("a number")).collect();
        assert_eq!(numbers[..3], [6.0, 200.0, 0.0], "{name}: {said}");
        for (i, sum) in numbers[3..].iter().enumerate() {
            let own: f64 = canvas(i).rgb.iter().map(|v| f64::from(*v)).sum();
            let within = if kind == Kind::Apng { 0.0 } else { GIF_MEAN * canvas(i).rgb.len() as f64 };
            assert!((sum - own).abs() <= within, "{name} frame {i}: {sum} {own}");
        }
    }
}

#[test]
fn ffmpeg_sees_the_same_film() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut bytes = Vec::new();
    film(Kind::Y4m, timing(), &mut bytes).expect("written");
    std::fs::write(folder.path().join("film.y4m"), bytes).expect("written");
    let arguments = [
        "-v",
        "error",
        "-count_frames",
        "-show_entries",
        "stream=width,height,r_frame_rate,pix_fmt,nb_read_frames",
        "-of",
        "csv=p=0",
        "film.y4m",
    ];
    if let Some(said) = other("ffprobe", &["-version"], &arguments, folder.path()) {
        assert_eq!(said.trim(), "40,30,yuv444p,30/1,6");
    }
}
