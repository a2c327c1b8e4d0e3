use super::{DecodeError, Format, MOST_MEMORY, Photo, Samples, Tone, ToneChoice, decode};
use crate::picture::colour;
use image::codecs::{jpeg::JpegEncoder, png::PngEncoder, tiff::TiffEncoder};
use image::{ExtendedColorType, ImageEncoder};
use proptest::prelude::*;
use std::io::Cursor;

/// Codes of a slanted picture without symmetry, R, G, B.
fn slanted(width: usize, height: usize) -> Vec<u8> {
    (0..width * height)
        .flat_map(|i| {
            let (x, y) = (i % width, i / width);
            [(2 * x + 3 * y) as u8, (40 + x) as u8, (200 - y) as u8]
        })
        .collect()
}

fn jpeg(width: usize, height: usize, rgb: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, 95);
    encoder.write_image(rgb, width as u32, height as u32, ExtendedColorType::Rgb8).unwrap();
    bytes
}

fn png(width: usize, height: usize, raw: &[u8], colour: ExtendedColorType) -> Vec<u8> {
    let mut bytes = Vec::new();
    PngEncoder::new(&mut bytes).write_image(raw, width as u32, height as u32, colour).unwrap();
    bytes
}

fn tiff(width: usize, height: usize, raw: &[u8], colour: ExtendedColorType) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    TiffEncoder::new(&mut bytes).write_image(raw, width as u32, height as u32, colour).unwrap();
    bytes.into_inner()
}

/// Checksum of a PNG chunk's name and data (PNG specification, annex D).
fn checksum(bytes: &[u8]) -> [u8; 4] {
    let mut crc = u32::MAX;
    for byte in bytes {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 };
        }
    }
    (!crc).to_be_bytes()
}

/// One entry of a directory: tag, type, count, value or offset.
fn entry(tag: u16, kind: u16, count: u32, value: u32) -> Vec<u8> {
    let value =
        if kind == 3 { vec![(value >> 8) as u8, value as u8, 0, 0] } else { value.to_be_bytes().to_vec() };
    [tag.to_be_bytes().to_vec(), kind.to_be_bytes().to_vec(), count.to_be_bytes().to_vec(), value].concat()
}

/// EXIF 2.3: a directory with the orientation and a second one with 1/60 s, f/1.8, ISO 320, flash, composite.
fn exif(orientation: u16) -> Vec<u8> {
    let mut tiff = b"MM\0*\0\0\0\x08".to_vec();
    tiff.extend(2_u16.to_be_bytes());
    tiff.extend(entry(0x0112, 3, 1, u32::from(orientation)));
    tiff.extend(entry(0x8769, 4, 1, 8 + 2 + 2 * 12 + 4));
    tiff.extend([0; 4]);
    let values = tiff.len() as u32 + 2 + 5 * 12 + 4;
    tiff.extend(5_u16.to_be_bytes());
    tiff.extend(entry(0x829a, 5, 1, values));
    tiff.extend(entry(0x829d, 5, 1, values + 8));
    tiff.extend(entry(0x8827, 3, 1, 320));
    tiff.extend(entry(0x9209, 3, 1, 0x19));
    tiff.extend(entry(0xa460, 3, 1, 3));
    tiff.extend([0; 4]);
    for number in [1_u32, 60, 18, 10] {
        tiff.extend(number.to_be_bytes());
    }
    tiff
}

/// The JPEG with the notes put behind its first marker.
fn with_exif(jpeg: &[u8], notes: &[u8]) -> Vec<u8> {
    let length = (notes.len() + 8) as u16;
    [&jpeg[..2], b"\xff\xe1", &length.to_be_bytes(), b"Exif\0\0", notes, &jpeg[2..]].concat()
}

/// The little-endian TIFF with a second copy of its directory behind it, to which notes are added: 1/50 s, f/2, ISO 65535 with the true
/// number in ISOSpeed.
fn tiff_with_exif(tiff: &[u8]) -> Vec<u8> {
    assert_eq!(&tiff[..4], b"II*\0");
    let word = |at: usize| u32::from_le_bytes(tiff[at..at + 4].try_into().unwrap());
    let old = word(4) as usize;
    let count = usize::from(u16::from_le_bytes([tiff[old], tiff[old + 1]]));
    let entry = |tag: u16, kind: u16, value: u32| {
        [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &1_u32.to_le_bytes(), &value.to_le_bytes()].concat()
    };
    let start = tiff.len().next_multiple_of(2);
    let notes = (start + 2 + 12 * (count + 1) + 4) as u32;
    let values = notes + 2 + 4 * 12 + 4;
    let mut bytes = tiff.to_vec();
    bytes.resize(start, 0);
    bytes[4..8].copy_from_slice(&(start as u32).to_le_bytes());
    bytes.extend((count as u16 + 1).to_le_bytes());
    bytes.extend(&tiff[old + 2..old + 2 + 12 * count]);
    bytes.extend(entry(0x8769, 4, notes));
    bytes.extend([0; 4]);
    bytes.extend(4_u16.to_le_bytes());
    bytes.extend(entry(0x829a, 5, values));
    bytes.extend(entry(0x829d, 5, values + 8));
    bytes.extend(entry(0x8827, 3, 65_535));
    bytes.extend(entry(0x8833, 4, 102_400));
    bytes.extend([0; 4]);
    for number in [1_u32, 50, 2, 1] {
        bytes.extend(number.to_le_bytes());
    }
    bytes
}

fn photo(bytes: &[u8]) -> Photo {
    decode(bytes, ToneChoice::Auto).unwrap()
}

#[test]
fn codes_become_light_by_the_standard_curve() {
    let rgb = slanted(40, 33);
    for (bytes, format) in [
        (png(40, 33, &rgb, ExtendedColorType::Rgb8), Format::Png),
        (tiff(40, 33, &rgb, ExtendedColorType::Rgb8), Format::Tiff),
    ] {
        let photo = photo(&bytes);
        assert_eq!((photo.width, photo.height, photo.format, photo.tone), (40, 33, format, Tone::Srgb));
        for (x, y) in [(0, 0), (39, 0), (17, 30), (39, 32)] {
            let expected: [f64; 3] =
                std::array::from_fn(|c| colour::decode(f64::from(rgb[3 * (y * 40 + x) + c]) / 255.0));
            assert_eq!(photo.linear(x, y), expected);
        }
    }
    let linear = decode(&png(40, 33, &rgb, ExtendedColorType::Rgb8), ToneChoice::Linear).unwrap();
    assert_eq!(linear.linear(3, 0)[0], 6.0 / 255.0);
}

#[test]
fn sixteen_bits_grey_and_transparent_pictures_keep_their_codes() {
    let codes: Vec<u16> = (0..34 * 32).map(|i| 60 * i as u16).collect();
    let raw: Vec<u8> = codes.iter().flat_map(|c| c.to_ne_bytes()).collect();
    for bytes in [png(34, 32, &raw, ExtendedColorType::L16), tiff(34, 32, &raw, ExtendedColorType::L16)] {
        let photo = decode(&bytes, ToneChoice::Linear).unwrap();
        assert!(photo.is_grey());
        for (x, y) in [(0, 0), (33, 31), (5, 20)] {
            assert_eq!(photo.linear(x, y), [f64::from(codes[y * 34 + x]) / 65_535.0; 3]);
        }
    }
    let rgba: Vec<u16> = codes.iter().flat_map(|c| [*c, 65_535 - c, c / 2, 7]).collect();
    let raw: Vec<u8> = rgba.iter().flat_map(|c| c.to_ne_bytes()).collect();
    for bytes in [png(34, 32, &raw, ExtendedColorType::Rgba16), tiff(34, 32, &raw, ExtendedColorType::Rgba16)]
    {
        let photo = decode(&bytes, ToneChoice::Linear).unwrap();
        let c = codes[20 * 34 + 5];
        assert_eq!(photo.linear(5, 20), [c, 65_535 - c, c / 2].map(|c| f64::from(c) / 65_535.0));
    }
    let la: Vec<u8> = (0..32 * 32).flat_map(|i| [i as u8, 0]).collect();
    assert_eq!(
        photo(&png(32, 32, &la, ExtendedColorType::La8)).linear(9, 1),
        [colour::decode(41.0 / 255.0); 3]
    );
}

#[test]
fn all_eight_orientations_put_the_picture_upright() {
    // Blocks of 16 px, so that the coding hardly blurs them: one bright block, one half as bright beside it.
    let (width, height) = (64, 48);
    let mut rgb = vec![10; 3 * width * height];
    let mut fill = |x0: usize, y0: usize, code: u8| {
        for y in y0..y0 + 16 {
            for x in x0..x0 + 16 {
                rgb[3 * (y * width + x)..][..3].fill(code);
            }
        }
    };
    fill(0, 0, 200);
    fill(16, 0, 120);
    let plain = jpeg(width, height, &rgb);
    // EXIF: where row 0 and column 0 of the stored picture are seen. Then the places of the two blocks.
    let expected = [
        (1, (64, 48), (8, 8), (24, 8)),
        (2, (64, 48), (55, 8), (39, 8)),
        (3, (64, 48), (55, 39), (39, 39)),
        (4, (64, 48), (8, 39), (24, 39)),
        (5, (48, 64), (8, 8), (8, 24)),
        (6, (48, 64), (39, 8), (39, 24)),
        (7, (48, 64), (39, 55), (39, 39)),
        (8, (48, 64), (8, 55), (8, 39)),
    ];
    for (orientation, size, first, second) in expected {
        let photo = photo(&with_exif(&plain, &exif(orientation)));
        assert_eq!((photo.width, photo.height), size, "orientation {orientation}");
        /// Codes that a JPEG of quality 95 may be off inside even blocks.
        const OFF: f64 = 3.0;
        for (place, code) in [(first, 200.0), (second, 120.0)] {
            let found = 255.0 * colour::encode(photo.linear(place.0, place.1)[1]);
            assert!(
                (found - code).abs() < OFF,
                "orientation {orientation}: {found} at {place:?}, not {code}"
            );
        }
    }
}

#[test]
fn notes_are_read_from_all_containers() {
    let rgb = slanted(40, 32);
    let jpeg = with_exif(&jpeg(40, 32, &rgb), &exif(1));
    let mut bytes = Vec::new();
    let mut encoder = PngEncoder::new(&mut bytes);
    encoder.set_exif_metadata(exif(1)).unwrap();
    encoder.write_image(&rgb, 40, 32, ExtendedColorType::Rgb8).unwrap();
    for file in [jpeg, bytes] {
        let photo = photo(&file);
        let taken = photo.taken.unwrap();
        assert_eq!((taken.exposure_s, taken.f_number, taken.iso), (1.0 / 60.0, 1.8, 320.0));
        assert_eq!(taken.exposure(), (1.0 / 60.0) * 320.0 / (1.8 * 1.8));
        assert!(photo.composite && photo.flash);
    }
    let noted = photo(&tiff_with_exif(&tiff(40, 32, &rgb, ExtendedColorType::Rgb8))).taken.unwrap();
    assert_eq!((noted.exposure_s, noted.f_number, noted.iso), (0.02, 2.0, 102_400.0));
    let plain = photo(&png(40, 32, &rgb, ExtendedColorType::Rgb8));
    assert!(plain.taken.is_none() && !plain.composite && !plain.flash);
}

#[test]
fn a_png_that_says_linear_is_linear() {
    let rgb = slanted(40, 32);
    let plain = png(40, 32, &rgb, ExtendedColorType::Rgb8);
    let named = [b"gAMA".as_slice(), &100_000_u32.to_be_bytes()].concat();
    let chunk = [b"\0\0\0\x04".as_slice(), &named, &checksum(&named)].concat();
    let file = [&plain[..33], &chunk, &plain[33..]].concat();
    assert_eq!(photo(&file).tone, Tone::Linear);
    assert_eq!(photo(&plain).tone, Tone::Srgb);
}

#[test]
fn what_cannot_be_used_is_told_in_words() {
    let rgb = slanted(64, 64);
    let whole = jpeg(64, 64, &rgb);
    for cut in [whole.len() / 2, whole.len() - 3, whole.len() - 1] {
        assert_eq!(decode(&whole[..cut], ToneChoice::Auto).unwrap_err(), DecodeError::CutShort(Format::Jpeg));
    }
    for whole in [png(64, 64, &rgb, ExtendedColorType::Rgb8), tiff(64, 64, &rgb, ExtendedColorType::Rgb8)] {
        for cut in [whole.len() / 2, 20] {
            assert!(decode(&whole[..cut], ToneChoice::Auto).is_err());
        }
    }
    let small = DecodeError::TooSmall { width: 1, height: 1 };
    assert_eq!(decode(&jpeg(1, 1, &[9; 3]), ToneChoice::Auto).unwrap_err(), small);
    assert_eq!(decode(b"", ToneChoice::Auto).unwrap_err(), DecodeError::Empty);
    let heic = decode(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", ToneChoice::Auto).unwrap_err();
    assert!(heic.to_string().contains("HEIC") && heic.to_string().contains("convert it to JPEG or PNG"));
}

#[test]
fn a_picture_that_is_too_large_is_refused_before_it_is_decoded() {
    // The header of a PNG of 20000 x 20000 with no data behind it.
    let mut bytes = png(40, 32, &slanted(40, 32), ExtendedColorType::Rgb8);
    bytes[16..20].copy_from_slice(&20_000_u32.to_be_bytes());
    bytes[20..24].copy_from_slice(&20_000_u32.to_be_bytes());
    let sum = checksum(&bytes[12..29]);
    bytes[29..33].copy_from_slice(&sum);
    let error = decode(&bytes, ToneChoice::Auto).unwrap_err();
    assert_eq!(error, DecodeError::TooLarge { width: 20_000, height: 20_000 });
    assert!(error.to_string().contains("60 million"));
}

#[test]
fn a_photo_holds_its_codes_and_little_else() {
    /// The table of linear values of 16-bit codes, in bytes.
    const TABLE: usize = 65_536 * 8;
    let (width, height) = (300, 200);
    let samples = Samples::Sixteen((0..3 * width * height).map(|i| i as u16).collect());
    let photo = Photo::new(width, height, samples, Tone::Linear, Format::Tiff).unwrap();
    assert_eq!(photo.bytes(), 6 * width * height);
    // So 40 megapixels of 16 bits: the file, the decoded codes and their turned copy, each 240 MB.
    const { assert!(3 * 6 * 40_000_000 + TABLE < MOST_MEMORY) };
}

#[test]
fn clipping_is_seen_at_the_top_and_where_a_camera_puts_it_lower() {
    let cone = |top: f64| {
        let codes = (0..200 * 200).map(|i| {
            let (x, y) = (f64::from(i % 200) - 100.0, f64::from(i / 200) - 100.0);
            (300.0 * (-(x * x + y * y) / 1800.0).exp()).min(top) as u8
        });
        Photo::new(200, 200, Samples::Eight(codes.collect()), Tone::Srgb, Format::Png).unwrap()
    };
    for top in [255.0, 240.0] {
        let photo = cone(top);
        assert!(photo.clipped(100, 100)[0] && photo.clipped(105, 100)[1]);
        assert!(!photo.clipped(130, 100)[2]);
    }
    // Not clipped: the peak ends below the top.
    let codes = (0..200 * 200).map(|i| {
        let (x, y) = (f64::from(i % 200) - 100.0, f64::from(i / 200) - 100.0);
        (240.0 * (-(x * x + y * y) / 1800.0).exp()) as u8
    });
    let photo = Photo::new(200, 200, Samples::Eight(codes.collect()), Tone::Srgb, Format::Png).unwrap();
    assert!(!photo.clipped(100, 100)[0]);
}

/// A small file of each container, with notes in the JPEG.
fn samples_of_all() -> [Vec<u8>; 4] {
    let rgb = slanted(36, 33);
    let raw: Vec<u8> = (0..36 * 33_u16).flat_map(u16::to_ne_bytes).collect();
    [
        with_exif(&jpeg(36, 33, &rgb), &exif(6)),
        png(36, 33, &rgb, ExtendedColorType::Rgb8),
        tiff(36, 33, &rgb, ExtendedColorType::Rgb8),
        tiff(36, 33, &raw, ExtendedColorType::L16),
    ]
}

proptest! {
    #[test]
    fn damaged_files_give_a_picture_or_an_error(
        which in 0..4_usize,
        cut in prop::option::of(0.0..1.0_f64),
        changes in prop::collection::vec((0.0..1.0_f64, any::<u8>(), prop::bool::ANY), 0..12),
    ) {
        let mut bytes = samples_of_all()[which].clone();
        for (place, value, early) in changes {
            // Half of the changes hit the head, where the structure is.
            let reach = if early { bytes.len().min(400) } else { bytes.len() };
            let at = (place * reach as f64) as usize;
            bytes[at] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate((cut * bytes.len() as f64) as usize);
        }
        if let Ok(photo) = decode(&bytes, ToneChoice::Auto) {
            let sum: f64 = photo.linear(photo.width - 1, photo.height - 1).iter().sum();
            prop_assert!((0.0..=3.0).contains(&sum));
        } else {
            // An error is right as well; that nothing panics is what is asked.
        }
    }
}
