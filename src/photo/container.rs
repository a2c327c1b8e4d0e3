//! What a file tells about itself without being decoded: its kind by its first bytes, and a few facts that a decoder would
//! pass over (a JPEG that ends too early, a PNG or profile that says "linear", a TIFF that is really a raw picture).
//!
//! # Source
//! ITU-T T.81 annex B (JPEG markers), the PNG specification (chunks gAMA, sRGB, cICP), TIFF 6.0 (image file directory),
//! ICC.1 (tag table, curve types), ISO/IEC 14496-12 (`ftyp` box); all from memory.

/// What a file is, by its first bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Jpeg,
    Png,
    Tiff,
    /// Raw data of a camera's sensor.
    Raw,
    /// Something that can be named but not read, with an article: "an animation (GIF)".
    Other(&'static str),
    Unknown,
}

/// First bytes and what they mean.
const STARTS: [(&[u8], Kind); 20] = [
    (b"\xff\xd8\xff", Kind::Jpeg),
    (b"\x89PNG\r\n\x1a\n", Kind::Png),
    (b"II*\0", Kind::Tiff),
    (b"MM\0*", Kind::Tiff),
    (b"II+\0", Kind::Tiff),
    (b"MM\0+", Kind::Tiff),
    (b"IIRO", Kind::Raw),
    (b"IIRS", Kind::Raw),
    (b"MMOR", Kind::Raw),
    (b"IIU\0", Kind::Raw),
    (b"GIF8", Kind::Other("a GIF picture")),
    (b"%PDF", Kind::Other("a PDF document")),
    (b"BM", Kind::Other("a BMP picture")),
    (b"8BPS", Kind::Other("a layered picture of a paint program")),
    (b"\x76\x2f\x31\x01", Kind::Other("an OpenEXR picture")),
    (b"#?RADIANCE", Kind::Other("a Radiance HDR picture")),
    (b"\xff\x0a", Kind::Other("a JPEG XL picture")),
    (b"\0\0\0\x0cJXL ", Kind::Other("a JPEG XL picture")),
    (b"\0\0\0\x0cjP  ", Kind::Other("a JPEG 2000 picture")),
    (b"\x1a\x45\xdf\xa3", Kind::Other("a film")),
];

/// Brands of an `ftyp` box and what they mean, the more telling ones first.
const BRANDS: [(&[u8], Kind); 10] = [
    (b"avif", Kind::Other("an AVIF picture")),
    (b"avis", Kind::Other("an AVIF picture")),
    (b"crx ", Kind::Raw),
    (b"heic", Kind::Other("a HEIC picture")),
    (b"heix", Kind::Other("a HEIC picture")),
    (b"hevc", Kind::Other("a HEIC picture")),
    (b"heim", Kind::Other("a HEIC picture")),
    (b"heis", Kind::Other("a HEIC picture")),
    (b"mif1", Kind::Other("a HEIF picture")),
    (b"msf1", Kind::Other("a HEIF picture")),
];

/// The kind of a file by its first bytes.
pub(super) fn kind(bytes: &[u8]) -> Kind {
    if let Some((_, kind)) = STARTS.iter().find(|(start, _)| bytes.starts_with(start)) {
        return if *kind == Kind::Tiff && tiff_is_raw(bytes) { Kind::Raw } else { *kind };
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return ftyp_kind(bytes);
    }
    if bytes.starts_with(b"RIFF") {
        let webp = bytes.get(8..12) == Some(b"WEBP");
        return Kind::Other(if webp { "a WebP picture" } else { "a film or a sound" });
    }
    let head = &bytes[..bytes.len().min(512)];
    if holds(head, b"<svg") {
        return Kind::Other("an SVG drawing");
    }
    if head.starts_with(b"<") {
        return Kind::Other("a web page or other text");
    }
    Kind::Unknown
}

fn ftyp_kind(bytes: &[u8]) -> Kind {
    let stated = be32(bytes, 0).unwrap_or(0) as usize;
    let end = stated.clamp(8, 256).min(bytes.len());
    let brands = || bytes[8..end].chunks_exact(4);
    let known = BRANDS.iter().find(|(brand, _)| brands().any(|b| b == *brand));
    known.map_or(Kind::Other("a film"), |(_, kind)| *kind)
}

/// Whether the bytes hold the sequence.
fn holds(bytes: &[u8], sequence: &[u8]) -> bool {
    bytes.windows(sequence.len()).any(|w| w == sequence)
}

fn be16(bytes: &[u8], at: usize) -> Option<u16> {
    let two = bytes.get(at..at.checked_add(2)?)?;
    Some(u16::from_be_bytes([two[0], two[1]]))
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    let four = bytes.get(at..at.checked_add(4)?)?;
    Some(u32::from_be_bytes([four[0], four[1], four[2], four[3]]))
}

/// What the markers of a JPEG file tell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct JpegFacts {
    /// The marker of the picture's end was reached.
    pub(super) complete: bool,
    /// Number of components: 1 grey, 3 colour, 4 printing inks.
    pub(super) components: u8,
    /// A second picture or a note says that the light of the scene was spread over several exposures.
    pub(super) gain_map: bool,
    /// Step in which the mean of a block's colour differences is coded, in eighths of a code: the first entry of the tables
    /// but the first.
    pub(super) colour_eighths: u16,
}

/// Walks along the markers of a JPEG file, through the coded data, to the end of its first picture.
pub(super) fn jpeg_facts(bytes: &[u8]) -> JpegFacts {
    /// Words in the notes of a picture that carries a second one with the brighter light.
    const GAIN_MAP: [&[u8]; 3] = [b"hdrgm:", b"HDRGainMap", b"urn:iso:std:iso:ts:21496"];
    let mut facts = JpegFacts::default();
    let mut at = 2;
    while at + 1 < bytes.len() {
        // Coded data and fill bytes are passed over: a marker is 0xff and a code that is neither 0 nor 0xff.
        let (prefix, code) = (bytes[at], bytes[at + 1]);
        if prefix != 0xff || code == 0xff || matches!(code, 0x00 | 0x01 | 0xd0..=0xd7) {
            at += 1;
            continue;
        }
        if code == 0xd9 {
            facts.complete = true;
            return facts;
        }
        let length = usize::from(be16(bytes, at + 2).unwrap_or(0)).max(2);
        let segment = bytes.get(at + 4..at + 2 + length).unwrap_or(&[]);
        match code {
            // Starts of frames: all of 0xc0 to 0xcf but the tables 0xc4, 0xc8, 0xcc.
            0xc0..=0xcf if !matches!(code, 0xc4 | 0xc8 | 0xcc) => {
                facts.components = segment.get(5).copied().unwrap_or(0);
            }
            0xdb => facts.colour_eighths = facts.colour_eighths.max(colour_eighths(segment)),
            0xe1 | 0xe2 if GAIN_MAP.iter().any(|word| holds(segment, word)) => facts.gain_map = true,
            _ => {}
        }
        at += 2 + length;
    }
    facts
}

/// The largest first entry of the quantisation tables of a segment but table 0.
fn colour_eighths(segment: &[u8]) -> u16 {
    let mut at = 0;
    let mut largest = 0;
    while let Some(head) = segment.get(at) {
        let wide = head >> 4 == 1;
        let first = if wide { be16(segment, at + 1) } else { segment.get(at + 1).map(|v| u16::from(*v)) };
        if head & 0x0f > 0 {
            largest = largest.max(first.unwrap_or(0));
        }
        at += if wide { 129 } else { 65 };
    }
    largest
}

/// Whether a PNG says that its codes are proportional to light: cICP with transfer 8, or gAMA 1 where no sRGB chunk
/// overrules it.
pub(super) fn png_is_linear(bytes: &[u8]) -> bool {
    let mut at = 8;
    let (mut srgb, mut gamma_one) = (false, false);
    while let (Some(length), Some(name)) = (be32(bytes, at), bytes.get(at + 4..at + 8)) {
        match name {
            b"cICP" => return bytes.get(at + 9) == Some(&8),
            b"sRGB" => srgb = true,
            b"gAMA" => gamma_one = be32(bytes, at + 8) == Some(100_000),
            b"IDAT" => break,
            _ => {}
        }
        at = at.saturating_add(12).saturating_add(length as usize);
    }
    gamma_one && !srgb
}

/// Whether the palette of a PNG, where it has one, is made of whole colours (its specification, section 11.2.2: a length that is not a
/// multiple of three is an error). The decoder takes that for granted and would panic.
pub(crate) fn palette_is_whole(bytes: &[u8]) -> bool {
    let mut at = 8;
    while let (Some(length), Some(name)) = (be32(bytes, at), bytes.get(at + 4..at + 8)) {
        if name == b"PLTE" && length % 3 != 0 {
            return false;
        }
        at = at.saturating_add(12).saturating_add(length as usize);
    }
    true
}

/// Whether an ICC profile says that codes are proportional to light, by its red or grey curve.
pub(super) fn profile_is_linear(profile: &[u8]) -> bool {
    let count = be32(profile, 128).unwrap_or(0).min(256) as usize;
    let curve = (0..count).map(|i| 132 + 12 * i).find_map(|at| {
        let name = profile.get(at..at + 4)?;
        (name == b"rTRC" || name == b"kTRC").then(|| be32(profile, at + 4))?
    });
    let Some(at) = curve.map(|at| at as usize) else { return false };
    match profile.get(at..at.saturating_add(4)) {
        // No entries is the straight line; one entry is an exponent in 1/256.
        Some(b"curv") => match be32(profile, at + 8) {
            Some(0) => true,
            Some(1) => be16(profile, at + 12) == Some(0x0100),
            _ => false,
        },
        // Function 0 is a power, its exponent in 1/65536.
        Some(b"para") => be16(profile, at + 8) == Some(0) && be32(profile, at + 12) == Some(0x0001_0000),
        _ => false,
    }
}

/// Whether a file that looks like a TIFF holds raw data of a sensor: it says so (DNG version, colour filter array, linear
/// raw), or its first picture is only a small copy of another.
fn tiff_is_raw(bytes: &[u8]) -> bool {
    const SMALL_COPY: u16 = 254;
    const PHOTOMETRIC: u16 = 262;
    const COLOUR_FILTERS: u32 = 32_803;
    const LINEAR_RAW: u32 = 34_892;
    const DNG_VERSION: u16 = 50_706;
    let little = bytes.starts_with(b"II");
    let short = |at| be16(bytes, at).map(|v| if little { v.swap_bytes() } else { v });
    let long = |at| be32(bytes, at).map(|v| if little { v.swap_bytes() } else { v });
    let Some(start) = long(4).map(|v| v as usize) else { return false };
    let entries = usize::from(short(start).unwrap_or(0));
    (0..entries).map(|i| start + 2 + 12 * i).any(|at| {
        let (Some(tag), Some(kind)) = (short(at), short(at + 2)) else { return false };
        let value = if kind == 3 { short(at + 8).map(u32::from) } else { long(at + 8) };
        match tag {
            SMALL_COPY => value.is_some_and(|v| v & 1 == 1),
            PHOTOMETRIC => matches!(value, Some(COLOUR_FILTERS | LINEAR_RAW)),
            DNG_VERSION => true,
            _ => false,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::{Kind, jpeg_facts, kind, palette_is_whole, png_is_linear, profile_is_linear};

    #[test]
    fn kinds_are_told_by_the_first_bytes() {
        let heic = b"\0\0\0\x18ftypmif1\0\0\0\0mif1heic";
        assert_eq!(kind(heic), Kind::Other("a HEIC picture"));
        assert_eq!(kind(b"\0\0\0\x14ftypavif\0\0\0\0mif1"), Kind::Other("an AVIF picture"));
        assert_eq!(kind(b"\0\0\0\x14ftypisom\0\0\0\0mp41"), Kind::Other("a film"));
        assert_eq!(kind(b"\0\0\0\x14ftyp"), Kind::Other("a film"));
        assert_eq!(kind(b"RIFF\0\0\0\0WEBPVP8 "), Kind::Other("a WebP picture"));
        assert_eq!(kind(b"<?xml version=\"1.0\"?><svg width=\"3\"/>"), Kind::Other("an SVG drawing"));
        assert_eq!(kind(b"GIF89a"), Kind::Other("a GIF picture"));
        assert_eq!(kind(b"pixels: []"), Kind::Unknown);
        assert_eq!(kind(b""), Kind::Unknown);
    }

    #[test]
    fn a_tiff_that_says_dng_is_raw_in_both_byte_orders() {
        let mut little = b"II*\0\x08\0\0\0\x01\0".to_vec();
        little.extend([0x12, 0xc6, 1, 0, 4, 0, 0, 0, 1, 4, 0, 0, 0, 0, 0, 0]);
        assert_eq!(kind(&little), Kind::Raw);
        let mut big = b"MM\0*\0\0\0\x08\0\x01".to_vec();
        big.extend([0xc6, 0x12, 0, 1, 0, 0, 0, 4, 1, 4, 0, 0, 0, 0, 0, 0]);
        assert_eq!(kind(&big), Kind::Raw);
        assert_eq!(kind(b"II*\0\xff\xff\xff\xff"), Kind::Tiff);
    }

    #[test]
    fn the_end_of_a_small_picture_inside_the_notes_is_not_the_end() {
        let start = b"\xff\xd8\xff\xe1\x00\x08abcd\xff\xd9".to_vec();
        assert!(!jpeg_facts(&start).complete);
        let scan = [&start[..], b"\xff\xda\x00\x02\x12\xff\x00\x34\xff\xd0\xff\xd9"].concat();
        assert!(jpeg_facts(&scan).complete);
        let noted = [b"\xff\xd8\xff\xe1\x00\x0ahdrgm:V2", &scan[2..]].concat();
        assert!(jpeg_facts(&noted).gain_map && !jpeg_facts(&scan).gain_map);
    }

    fn png_start(chunks: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
        for (name, data) in chunks {
            bytes.extend((data.len() as u32).to_be_bytes());
            bytes.extend(*name);
            bytes.extend(*data);
            bytes.extend([0; 4]);
        }
        bytes
    }

    #[test]
    fn a_png_is_linear_where_it_says_so() {
        let one: &[u8] = &100_000_u32.to_be_bytes();
        let usual: &[u8] = &45_455_u32.to_be_bytes();
        assert!(png_is_linear(&png_start(&[(b"gAMA", one), (b"IDAT", &[])])));
        assert!(!png_is_linear(&png_start(&[(b"gAMA", usual)])));
        assert!(!png_is_linear(&png_start(&[(b"gAMA", one), (b"sRGB", &[0])])));
        assert!(png_is_linear(&png_start(&[(b"cICP", &[1, 8, 0, 1])])));
        assert!(!png_is_linear(&png_start(&[(b"cICP", &[1, 13, 0, 1]), (b"gAMA", one)])));
        assert!(!png_is_linear(b""));
    }

    #[test]
    fn a_palette_of_a_colour_and_a_bit_is_no_palette() {
        assert!(palette_is_whole(&png_start(&[(b"PLTE", &[0; 6]), (b"IDAT", &[1; 5])])));
        assert!(!palette_is_whole(&png_start(&[(b"gAMA", &[0; 4]), (b"PLTE", &[0; 7])])));
        assert!(palette_is_whole(b""));
    }

    #[test]
    fn a_profile_is_linear_where_its_curve_is() {
        let profile = |curve: &[u8]| {
            let mut p = vec![0; 128];
            p.extend(1_u32.to_be_bytes());
            p.extend(b"rTRC");
            p.extend(144_u32.to_be_bytes());
            p.extend((curve.len() as u32).to_be_bytes());
            p.extend(curve);
            p
        };
        assert!(profile_is_linear(&profile(b"curv\0\0\0\0\0\0\0\0")));
        assert!(profile_is_linear(&profile(b"curv\0\0\0\0\0\0\0\x01\x01\0")));
        assert!(!profile_is_linear(&profile(b"curv\0\0\0\0\0\0\0\x01\x02\x33")));
        assert!(profile_is_linear(&profile(b"para\0\0\0\0\0\0\0\0\0\x01\0\0")));
        assert!(!profile_is_linear(&profile(b"para\0\0\0\0\0\x03\0\0\0\x02\0\0")));
        assert!(!profile_is_linear(b"short"));
    }
}
