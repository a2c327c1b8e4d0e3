//! Pictures: photographs to be measured, and pictures of patterns, from broken and lying files.

use super::harness::{Fuzzed, Random, Reached, run, seeds};
use super::mutate::{flipped, percent};
use super::told;
use rand::RngExt;
use std::sync::Arc;
use std::time::Duration;
use weftlight::motion::picture::{Placing, mapped};
use weftlight::photo::decode::{MOST_MEMORY, Photo, ToneChoice, decode};
use weftlight::photo::find::spots;
use weftlight::photo::measure::{Expected, Scale, measure};
use weftlight::photo::warnings::warnings;
use weftlight::pixels::package::Package;
use weftlight::quantity::Millimetres;
use weftlight::scene::Pixel;

/// Photographs of more pixels are decoded and no more: what follows takes a second for each ten million.
const MOST_MEASURED: usize = 1_000_000;

/// Sides and lengths that files lie about.
const SIDES: [u32; 14] =
    [0, 1, 31, 32, 33, 255, 256, 4096, 7745, 65_535, 65_536, 0x7fff_ffff, 0x8000_0000, 0xffff_ffff];

struct Pictures {
    seeds: Vec<Vec<u8>>,
}

impl Fuzzed for Pictures {
    const NAME: &'static str = "photo";
    const INPUTS: u64 = 600;
    const LONGEST: Duration = Duration::from_secs(60);
    // What decoding is allowed, and the profile and the notes of the file on top.
    const MOST_BYTES: usize = MOST_MEMORY + (64 << 20);

    fn input(&self, random: &mut Random) -> Vec<u8> {
        let mut bytes = self.seeds[random.random_range(0..self.seeds.len())].clone();
        for _ in 0..random.random_range(1..=4) {
            match random.random_range(0..6) {
                0 => flipped(random, &mut bytes),
                1 => {
                    let other = &self.seeds[random.random_range(0..self.seeds.len())];
                    let (a, b) = (random.random_range(0..=bytes.len()), random.random_range(0..=other.len()));
                    if percent(random, 20) {
                        bytes = [&bytes[..a], &other[b..]].concat();
                    }
                }
                2 if percent(random, 30) => bytes.truncate(random.random_range(0..=bytes.len())),
                _ if bytes.starts_with(PNG) => bytes = png_changed(random, &bytes),
                _ if bytes.starts_with(&[0xff, 0xd8]) => bytes = jpeg_changed(random, &bytes),
                _ if bytes.starts_with(b"II") || bytes.starts_with(b"MM") => tiff_changed(random, &mut bytes),
                _ => flipped(random, &mut bytes),
            }
        }
        bytes
    }

    fn hold(&self, input: &[u8], random: &mut Random) -> Reached {
        let laid = laid(input);
        let tone = if percent(random, 50) { ToneChoice::Auto } else { ToneChoice::Linear };
        match decode(input, tone) {
            Ok(photo) => {
                sound(&photo, random);
                if photo.width * photo.height <= MOST_MEASURED {
                    measured(&photo, random);
                }
                Reached::Use
            }
            Err(fault) => {
                assert!(!fault.to_string().trim().is_empty());
                if laid { Reached::Meaning } else { Reached::Form }
            }
        }
    }
}

/// As the picture of a pattern, over a few pixels; whether it can be used so.
fn laid(input: &[u8]) -> bool {
    let package = Arc::new(Package::ideal(1.0));
    let pixel = |i: usize| Pixel {
        at: [Millimetres(7.0 * i as f64), Millimetres(3.0 * (i % 3) as f64)],
        turn_rad: 0.0,
        levels: vec![1.0; package.dies.len()],
        package: Arc::clone(&package),
        group: 0,
        extra_gap: Millimetres(0.0),
    };
    let pixels: Vec<Pixel> = (0..9).map(pixel).collect();
    match mapped(input, &pixels, Placing::default()) {
        Ok(mapped) => {
            assert_eq!(mapped.ends_s.len(), mapped.codes.len());
            assert!(mapped.ends_s.is_sorted_by(|a, b| a < b), "times that do not rise: {:?}", mapped.ends_s);
            told::finite("time", mapped.ends_s);
            true
        }
        Err(fault) => {
            assert!(!fault.to_string().trim().is_empty());
            false
        }
    }
}

fn sound(photo: &Photo, random: &mut Random) {
    for _ in 0..50 {
        let (x, y) = (random.random_range(0..photo.width), random.random_range(0..photo.height));
        told::shares("light", photo.linear(x, y));
        told::finite("step", [photo.step_at(photo.linear(x, y)[1])]);
    }
    told::shares("black", photo.black_share());
    told::finite("clipping", photo.clip_level());
    if let Some(taken) = &photo.taken {
        let exposure = taken.exposure();
        assert!(exposure.is_finite() && exposure > 0.0, "exposure {exposure} of {taken:?}");
    }
}

fn measured(photo: &Photo, random: &mut Random) {
    match spots(photo) {
        Ok(found) => {
            for spot in found.spots.iter().chain(&found.others) {
                told::finite("spot", spot.centre_px.into_iter().chain([spot.half_width_px]).chain(spot.peak));
            }
            for warning in warnings(photo, &found) {
                assert!(!warning.words().is_empty());
            }
        }
        Err(fault) => assert!(!fault.to_string().is_empty()),
    }
    let side = photo.width.max(photo.height) as f64;
    let scale = match random.random_range(0..3) {
        0 => Scale::MmPerPx(random.random_range(0.02..2.0)),
        1 => Scale::Pitch(random.random_range(1.0..40.0)),
        _ => Scale::Points {
            from: [0.0, 1.0],
            to: [random.random_range(0.0..side), 2.0],
            mm: random.random_range(1.0..100.0),
        },
    };
    let pixels = percent(random, 50).then(|| random.random_range(1..5));
    match measure(
        photo,
        scale,
        Expected { pixels, height_mm: random.random_range(0.1..20.0), window_mm: 1.6 },
    ) {
        Ok(measured) => {
            told::finite("scale", [measured.mm_per_px, measured.half_diagonal_mm]);
            told::finite("middles", measured.centres_mm().into_iter().flatten());
            // A ring of which nothing is seen has no mean.
            for ring in measured.rings.channels.iter().flatten().filter(|ring| ring.pixels > 0) {
                told::finite("ring", [ring.mean, ring.standard_error]);
            }
        }
        Err(fault) => assert!(!fault.to_string().is_empty()),
    }
}

const PNG: &[u8] = b"\x89PNG\r\n\x1a\n";

/// The check sum of PNG chunks (PNG specification, annex D).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |crc, byte| {
        (0..8).fold(
            crc ^ u32::from(*byte),
            |crc, _| if crc & 1 == 1 { 0xedb8_8320 ^ (crc >> 1) } else { crc >> 1 },
        )
    })
}

/// A chunk with its length and check sum.
fn chunk(kind: &[u8], data: &[u8]) -> Vec<u8> {
    let named = [kind, data].concat();
    [&(data.len() as u32).to_be_bytes()[..], &named, &crc(&named).to_be_bytes()].concat()
}

/// Changes a chunk and mends its check sum, so that the decoder is reached; or changes their order, or puts another in.
fn png_changed(random: &mut Random, bytes: &[u8]) -> Vec<u8> {
    let mut chunks: Vec<(Vec<u8>, Vec<u8>)> = Vec::new();
    let mut at = PNG.len();
    while let Some(head) = bytes.get(at..at + 8) {
        let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        let Some(data) = bytes.get(at + 8..(at + 8).saturating_add(length)) else { break };
        chunks.push((head[4..8].to_vec(), data.to_vec()));
        at += 12 + length;
    }
    if chunks.is_empty() {
        return bytes.to_vec();
    }
    let at = random.random_range(0..chunks.len());
    let extra: [(&[u8; 4], &[u8]); 9] = [
        (b"gAMA", &100_000_u32.to_be_bytes()),
        (b"cICP", &[1, 8, 0, 1]),
        (b"iCCP", b"x\0\0\x78\x9c\x03\0\0\0\0\x01"),
        (b"eXIf", b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0"),
        (b"tRNS", &[0, 1, 2, 3, 4, 5]),
        (b"PLTE", &[255; 30]),
        (b"acTL", &[0, 0, 0, 2, 0, 0, 0, 0]),
        (b"IEND", &[]),
        (b"IDAT", &[0x78, 0x9c, 0x01]),
    ];
    match random.random_range(0..8) {
        0 => {
            // Width, height, depth, kind of colour, interlacing.
            let header = &mut chunks[0].1;
            if header.len() >= 13 {
                match random.random_range(0..4) {
                    0 => {
                        header[..4].copy_from_slice(&SIDES[random.random_range(0..SIDES.len())].to_be_bytes())
                    }
                    1 => header[4..8]
                        .copy_from_slice(&SIDES[random.random_range(0..SIDES.len())].to_be_bytes()),
                    2 => header[8] = [1, 2, 4, 8, 16, 3][random.random_range(0..6)],
                    _ => header[random.random_range(9..13)] = random.random_range(0..8),
                }
            }
        }
        1 => {
            chunks.remove(at);
        }
        2 => {
            let again = chunks[at].clone();
            chunks.insert(random.random_range(0..=chunks.len()), again);
        }
        3 | 4 => {
            let (kind, data) = extra[random.random_range(0..extra.len())];
            chunks.insert(1.min(at), (kind.to_vec(), data.to_vec()));
        }
        5 => {
            let length = chunks[at].1.len();
            chunks[at].1.truncate(random.random_range(0..=length));
        }
        _ => flipped(random, &mut chunks[at].1),
    }
    chunks.into_iter().fold(PNG.to_vec(), |all, (kind, data)| [all, chunk(&kind, &data)].concat())
}

/// Changes a segment of a JPEG: its length, its place, its values.
fn jpeg_changed(random: &mut Random, bytes: &[u8]) -> Vec<u8> {
    // Places of the segments up to the coded data.
    let mut places = Vec::new();
    let mut at = 2;
    while let Some(&[0xff, code, high, low]) = bytes.get(at..at + 4) {
        let end = at + 2 + usize::from(u16::from_be_bytes([high, low])).max(2);
        if end > bytes.len() {
            break;
        }
        places.push(at..end);
        at = end;
        if code == 0xda {
            break;
        }
    }
    if places.is_empty() {
        return bytes.to_vec();
    }
    let own = places[random.random_range(0..places.len())].clone();
    let mut new = bytes.to_vec();
    match random.random_range(0..7) {
        0 => {
            new.drain(own);
        }
        1 => {
            let again = bytes[own.clone()].to_vec();
            new.splice(own.start..own.start, again);
        }
        2 => new[own.start + 2 + random.random_range(0..2)] = random.random(),
        3 => {
            // Start of the frame: depth, height, width, components and their sampling.
            if let Some(frame) = places.iter().find(|p| matches!(bytes[p.start + 1], 0xc0..=0xc2)) {
                let at = frame.start + 4 + random.random_range(0..frame.len().saturating_sub(4).max(1));
                new[at] = [0, 1, 2, 3, 4, 8, 0x11, 0x22, 0x41, 0x80, 0xff][random.random_range(0..11)];
            }
        }
        4 => {
            let exif = b"\xff\xe1\x00\x26Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x07\0\0\0\0\0\0\0\0";
            let mut exif = exif.to_vec();
            if percent(random, 50) {
                flipped(random, &mut exif[10..]);
            }
            new.splice(2..2, exif);
        }
        _ => flipped(random, &mut new[own]),
    }
    new
}

/// Changes a value of the directory of a TIFF, or any.
fn tiff_changed(random: &mut Random, bytes: &mut [u8]) {
    let little = bytes.starts_with(b"II");
    let number = |bytes: &[u8], at: usize, size: usize| -> Option<usize> {
        let all = bytes.get(at..at + size)?.iter();
        let digits: Vec<u8> = if little { all.rev().copied().collect() } else { all.copied().collect() };
        Some(digits.iter().fold(0, |sum, digit| sum << 8 | usize::from(*digit)))
    };
    let Some(start) = number(bytes, 4, 4) else { return };
    let entries = number(bytes, start, 2).unwrap_or(0);
    if entries == 0 || percent(random, 20) {
        flipped(random, bytes);
        return;
    }
    let at = start + 2 + 12 * random.random_range(0..entries.min(40));
    let (at, size) = [(at, 2), (at + 2, 2), (at + 4, 4), (at + 8, 4), (at + 8, 2)][random.random_range(0..5)];
    let value = if percent(random, 50) {
        SIDES[random.random_range(0..SIDES.len())]
    } else {
        random.random_range(0..70)
    };
    let digits = value.to_be_bytes();
    for i in 0..size {
        let digit = if little { digits[3 - i] } else { digits[4 - size + i] };
        if let Some(byte) = bytes.get_mut(at + i) {
            *byte = digit;
        }
    }
}

#[test]
fn pictures_are_refused_with_a_reason_or_measured_in_finite_numbers() {
    run(&Pictures { seeds: seeds("photo").into_iter().map(|(_, bytes)| bytes).collect() });
}
