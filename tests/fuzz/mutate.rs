//! Changes to texts and bytes.

use super::harness::Random;
use rand::RngExt;
use std::ops::Range;

/// Texts are not grown beyond this, so that a run tries many; the limits on sizes have tests of their own.
const MOST_TEXT: usize = 200_000;
/// One in so many line changes repeats a line many times.
const SELDOM: u32 = 40;

/// Numbers at the ends of what can be written, and beyond.
const EXTREMES: [&str; 48] = [
    "0",
    "-0",
    "-0.0",
    "1",
    "-1",
    "2",
    "0.5",
    "255",
    "256",
    "1000",
    "1001",
    "4096",
    "8192",
    "8193",
    "65535",
    "65536",
    "100000",
    "100001",
    "1e5",
    "1e6",
    "1e9",
    "2147483647",
    "2147483648",
    "4294967295",
    "4294967296",
    "-2147483649",
    "9007199254740993",
    "18446744073709551615",
    "18446744073709551616",
    "1e19",
    "1e38",
    "1e39",
    "1e154",
    "1e300",
    "1e308",
    "1.7976931348623157e308",
    "1e309",
    "-1e308",
    "5e-324",
    "1e-320",
    "1e-308",
    "1e-12",
    "0.1",
    "nan",
    "NaN",
    "inf",
    "-inf",
    "99999999999999999999999999999999999999999999999999999999999999",
];

/// Letters that break what counts bytes, columns or cases.
const ODD: [&str; 26] = [
    "\u{feff}",
    "\u{0}",
    "\u{7f}",
    "é",
    "ß",
    "İ",
    "ﬁ",
    "\u{301}",
    "\u{200b}",
    "\u{202e}",
    "👩‍🔧",
    "\u{10ffff}",
    "\u{85}",
    "\u{2028}",
    "\r",
    "\r\n",
    "\n",
    "\t",
    "\u{c}",
    "\"",
    "'",
    "\\",
    "`",
    "%",
    "#",
    "\u{1b}[31m",
];

/// What a kind of text knows.
pub(crate) struct Tongue {
    /// Words that mean something: a word is swapped for another of them.
    pub(crate) words: &'static [&'static str],
    /// Pieces that are put in whole.
    pub(crate) pieces: &'static [&'static str],
    /// What opens and closes, for deep nesting.
    pub(crate) nests: &'static [(&'static str, &'static str)],
}

/// Whether so many in a hundred.
pub(crate) fn percent(random: &mut Random, chance: u32) -> bool {
    random.random_range(0..100) < chance
}

/// One of several.
pub(crate) fn one_of<'a, T: ?Sized>(random: &mut Random, all: &'a [&'a T]) -> &'a T {
    all[random.random_range(0..all.len())]
}

/// A text made of the seeds: as one of them, changed a little (most often) or a lot.
pub(crate) fn text(random: &mut Random, seeds: &[String], tongue: &Tongue) -> String {
    let mut text = seeds[random.random_range(0..seeds.len())].clone();
    // Small changes of numbers and words stay what can be used, and reach far behind the reader.
    let gentle = percent(random, 60);
    for _ in 0..random.random_range(1..=if gentle { 3 } else { 6 }) {
        text = if gentle || percent(random, 40) {
            gently(random, text, tongue)
        } else {
            wildly(random, text, seeds, tongue)
        };
        if text.len() > MOST_TEXT {
            text.truncate(boundary(&text, MOST_TEXT));
        }
    }
    text
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Class {
    Number,
    Word,
}

/// Numbers and words of a text.
fn tokens(text: &str) -> Vec<(Class, Range<usize>)> {
    let bytes = text.as_bytes();
    let part = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'_' | b'.') || b >= 0x80;
    let mut found = Vec::new();
    let mut at = 0;
    while at < bytes.len() {
        let start = at;
        let signed = matches!(bytes[at], b'-' | b'+') && bytes.get(at + 1).is_some_and(u8::is_ascii_digit);
        at += usize::from(signed);
        while at < bytes.len() && part(bytes[at]) {
            at += 1;
        }
        if at == start {
            at += 1;
            continue;
        }
        // Words may hold a hyphen, as ids and names of cloths do.
        let number = text[start..at].parse::<f64>().is_ok();
        while !number && at + 1 < bytes.len() && bytes[at] == b'-' && part(bytes[at + 1]) {
            at += 1;
            while at < bytes.len() && part(bytes[at]) {
                at += 1;
            }
        }
        found.push((if number { Class::Number } else { Class::Word }, start..at));
    }
    found
}

fn token(random: &mut Random, text: &str, class: Class) -> Option<Range<usize>> {
    let all = tokens(text);
    let of_class: Vec<&Range<usize>> =
        all.iter().filter(|(own, _)| *own == class).map(|(_, range)| range).collect();
    (!of_class.is_empty()).then(|| of_class[random.random_range(0..of_class.len())].clone())
}

fn replaced(mut text: String, range: Range<usize>, with: &str) -> String {
    text.replace_range(range, with);
    text
}

/// Numbers near the former ones, words for others that mean something.
fn gently(random: &mut Random, text: String, tongue: &Tongue) -> String {
    if percent(random, 70)
        && let Some(range) = token(random, &text, Class::Number)
    {
        let near = near(random, &text[range.clone()]);
        return replaced(text, range, &near);
    }
    if percent(random, 60)
        && let Some(range) = token(random, &text, Class::Word)
    {
        return replaced(text, range, one_of(random, tongue.words));
    }
    lines_changed(random, &text)
}

fn near(random: &mut Random, number: &str) -> String {
    let value: f64 = number.parse().unwrap_or(1.0);
    let whole = value.fract() == 0.0 && percent(random, 80);
    let new = match random.random_range(0..7) {
        0 => value + 1.0,
        1 => value - 1.0,
        2 => -value,
        3 => 0.0,
        4 => value * 2.0,
        _ => value * random.random_range(0.3..1.8),
    };
    if whole { format!("{}", new.round()) } else { format!("{}", (new * 1e4).round() / 1e4) }
}

/// Lines taken away, doubled, moved.
fn lines_changed(random: &mut Random, text: &str) -> String {
    let mut lines: Vec<&str> = text.split('\n').collect();
    let at = random.random_range(0..lines.len());
    match random.random_range(0..4) {
        0 => {
            lines.remove(at);
        }
        1 => {
            let many = random.random_range(0..SELDOM) == 0;
            let times = if many { random.random_range(2..2000) } else { 1 };
            let line = lines[at];
            lines.splice(at..at, std::iter::repeat_n(line, times));
        }
        2 => {
            let line = lines.remove(at);
            lines.insert(random.random_range(0..=lines.len()), line);
        }
        _ => {
            let other = random.random_range(0..lines.len());
            lines.swap(at, other);
        }
    }
    lines.join("\n")
}

fn boundary(text: &str, at: usize) -> usize {
    text.floor_char_boundary(at.min(text.len()))
}

fn somewhere(random: &mut Random, text: &str) -> usize {
    boundary(text, random.random_range(0..=text.len()))
}

fn span(random: &mut Random, text: &str) -> Range<usize> {
    let start = somewhere(random, text);
    let most = if percent(random, 80) { 30 } else { text.len() };
    start..boundary(text, start + random.random_range(0..=most)).max(start)
}

fn wildly(random: &mut Random, text: String, seeds: &[String], tongue: &Tongue) -> String {
    let at = somewhere(random, &text);
    match random.random_range(0..13) {
        0 | 1 => match token(random, &text, Class::Number) {
            Some(range) => replaced(text, range, one_of(random, &EXTREMES)),
            None => text,
        },
        2 => match token(random, &text, Class::Word) {
            Some(range) => replaced(text, range, one_of(random, &EXTREMES)),
            None => text,
        },
        3 => replaced(text, at..at, one_of(random, &ODD)),
        4 | 5 => replaced(text, at..at, one_of(random, tongue.pieces)),
        6 => match token(random, &text, Class::Word) {
            Some(range) => replaced(text, range, one_of(random, tongue.pieces)),
            None => text,
        },
        7 => {
            let range = span(random, &text);
            replaced(text, range, "")
        }
        8 => {
            let range = span(random, &text);
            let piece = text[range].repeat(random.random_range(1..4));
            replaced(text, at..at, &piece)
        }
        9 => {
            let other = &seeds[random.random_range(0..seeds.len())];
            spliced(random, &text, other)
        }
        10 => {
            let (open, close) = tongue.nests[random.random_range(0..tongue.nests.len())];
            let deep =
                if percent(random, 80) { random.random_range(1..40) } else { random.random_range(40..4000) };
            let range = span(random, &text);
            let inside = text[range.clone()].to_owned();
            replaced(text, range, &format!("{}{inside}{}", open.repeat(deep), close.repeat(deep)))
        }
        11 => lines_changed(random, &text),
        _ => {
            let mut bytes = text.into_bytes();
            flipped(random, &mut bytes);
            String::from_utf8_lossy(&bytes).into_owned()
        }
    }
}

/// The beginning of one text and the end of another, cut at lines.
fn spliced(random: &mut Random, a: &str, b: &str) -> String {
    let cut = |random: &mut Random, text: &str| {
        let lines = text.split_inclusive('\n').count();
        text.split_inclusive('\n').take(random.random_range(0..=lines)).map(str::len).sum::<usize>()
    };
    let (first, second) = (cut(random, a), cut(random, b));
    format!("{}{}", &a[..first], &b[second..])
}

/// Changes a few bytes.
pub(crate) fn flipped(random: &mut Random, bytes: &mut [u8]) {
    if bytes.is_empty() {
        return;
    }
    for _ in 0..random.random_range(1..4) {
        let at = random.random_range(0..bytes.len());
        bytes[at] = match random.random_range(0..4) {
            0 => bytes[at] ^ (1 << random.random_range(0..8)),
            1 => [0, 1, 0x7f, 0x80, 0xff][random.random_range(0..5)],
            2 => bytes[at].wrapping_add(1),
            _ => random.random(),
        };
    }
}
