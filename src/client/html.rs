//! The sheet as one HTML file: words and pictures inside, nothing from outside, no program.
//!
//! It reads from 360 px of width on, light or dark, and prints on one or two pages. Who wants nothing to move gets the first still of the moving
//! picture, everybody can fold it away, and on paper its stills stand in its place.

use super::motion::Encoded;
use super::sections::{
    Block, ClothWords, Concerning, Fact, Part, Section, Shown, Stretch, deck, eyebrow, foot, hero, hex,
    sections,
};
use super::setting::{ACCENT, GLOW, INK, LINE, QUIET};
use super::{Picture, Sheet};
use crate::paper::{Paper, data_address, html_page, marked};
use crate::picture::chart::{escaped, plain_number as n};
use crate::words::capital;

/// The look: our own, quiet. Text stands out from its ground by at least 4.5 to 1 in both schemes (tested).
const STYLE: &str = include_str!("sheet.css");

/// The colours of the light scheme and of the dark one: name, light, dark. Those of text are told apart from the ground by a test.
pub(super) const COLOURS: [(&str, &str, &str); 7] = [
    ("ground", "#fbfaf6", "#14161b"),
    ("card", "#f2f0e9", "#1c1f26"),
    ("ink", INK, "#ebe8e0"),
    ("quiet", QUIET, "#aeaca4"),
    ("line", LINE, "#343842"),
    ("accent", ACCENT, "#e6b27a"),
    ("glow", GLOW, "#d9974e"),
];

/// The sheet as a page that prints on A4.
#[must_use]
pub fn html(sheet: &Sheet) -> String {
    html_for(sheet, Paper::A4)
}

/// The sheet as a page that prints on this paper.
#[must_use]
pub fn html_for(sheet: &Sheet, paper: Paper) -> String {
    let scheme = |which: fn(&(&'static str, &'static str, &'static str)) -> &'static str| -> String {
        COLOURS.iter().map(|colour| format!("--{}: {}; ", colour.0, which(colour))).collect()
    };
    let (light, dark) = (scheme(|c| c.1), scheme(|c| c.2));
    let mut body = format!(
        "<header>\n<p class=\"eyebrow\">{}</p>\n<h1>{}</h1>\n",
        escaped(&eyebrow(sheet)),
        escaped(&sheet.title)
    );
    body += &format!("<p class=\"deck\">{}</p>\n</header>\n<main>\n", escaped(&deck(sheet)));
    body += &figure(&hero(sheet), "hero");
    if !sheet.note.is_empty() {
        let paragraphs: String = sheet.note.iter().map(|line| format!("<p>{}</p>", escaped(line))).collect();
        body +=
            &format!("<section class=\"note\" aria-label=\"Note from the maker\">{paragraphs}</section>\n");
    }
    body += &sections(sheet).iter().map(|section| section_in_html(sheet, section)).collect::<String>();
    body += &format!("</main>\n<footer><p>{}</p></footer>\n", escaped(foot()));
    let style = format!(
        "\n:root {{ color-scheme: light dark; {light}}}\n@media (prefers-color-scheme: dark) {{ :root {{ {dark}}} }}\n{STYLE}\
         @page {{ size: {}; margin: 13mm 15mm; }}\n@media print {{ :root {{ color-scheme: light; {light}--ground: #ffffff; }} }}\n",
        paper.in_style(false)
    );
    html_page(&sheet.title, &style, &body)
}

fn image(picture: &Picture, alt: &str) -> String {
    format!(
        "<img src=\"{}\" width=\"{}\" height=\"{}\" alt=\"{}\"/>",
        data_address("image/png", &picture.png),
        picture.width_px,
        picture.height_px,
        escaped(alt)
    )
}

fn figure(shown: &Shown<'_>, class: &str) -> String {
    let title = if shown.title.is_empty() {
        String::new()
    } else {
        format!("<strong>{}</strong> ", escaped(&shown.title))
    };
    format!(
        "<figure class=\"{class}\">{}<figcaption>{title}{}</figcaption></figure>\n",
        image(shown.picture, &shown.alt),
        escaped(&shown.caption)
    )
}

fn class(part: Part) -> &'static str {
    match part {
        Part::Glance => "glance",
        Part::Lights => "lights",
        Part::Distances => "distances",
        Part::Motion => "motion",
        Part::Cloths => "cloths",
        Part::MadeOf => "half made",
        Part::Numbers => "half numbers",
        Part::Sure => "half sure",
        Part::Cautions => "half cautions",
    }
}

fn section_in_html(sheet: &Sheet, section: &Section<'_>) -> String {
    let blocks: String = section.blocks.iter().map(|block| block_in_html(sheet, block)).collect();
    format!(
        "<section class=\"{}\"><h2>{}</h2>\n{blocks}</section>\n",
        class(section.part),
        escaped(section.title)
    )
}

fn block_in_html(sheet: &Sheet, block: &Block<'_>) -> String {
    match block {
        Block::Words(words) => format!("<p class=\"words\">{}</p>\n", marked(words)),
        Block::Glance(facts) => {
            format!("<dl class=\"figures\">{}</dl>\n", facts.iter().map(fact).collect::<String>())
        }
        Block::Facts(facts) => {
            format!("<dl class=\"rows\">{}</dl>\n", facts.iter().map(fact).collect::<String>())
        }
        Block::Pictures(all) => {
            format!(
                "<div class=\"pictures\">{}</div>\n",
                all.iter().map(|shown| figure(shown, "")).collect::<String>()
            )
        }
        Block::Distances(stretches) => bar(stretches),
        Block::Motion => sheet.motion.as_ref().map_or(String::new(), motion),
        Block::Cloths(all) => {
            format!("<div class=\"cards\">{}</div>\n", all.iter().map(cloth).collect::<String>())
        }
        Block::Points(points) => list(points),
        Block::Cautions(all) => all.iter().map(concerning).collect(),
    }
}

fn fact(fact: &Fact) -> String {
    let more =
        if fact.more.is_empty() { String::new() } else { format!("<span>{}</span>", marked(&fact.more)) };
    format!("<div><dt>{}</dt><dd><b>{}</b>{more}</dd></div>\n", escaped(&fact.label), marked(&fact.value))
}

fn list(points: &[String]) -> String {
    format!(
        "<ul>{}</ul>\n",
        points.iter().map(|point| format!("<li>{}</li>", marked(point))).collect::<String>()
    )
}

fn concerning(all: &Concerning) -> String {
    format!("<h3>{}</h3>\n{}", escaped(all.whom), list(&all.points))
}

/// The bar of distances: each stretch as wide as its share of the logarithm, darker the harder the dots.
fn bar(stretches: &[Stretch]) -> String {
    let strip: String = stretches
        .iter()
        .map(|stretch| {
            format!(
                "<span style=\"flex-grow: {}; opacity: {}\"></span>",
                n(1000.0 * stretch.share),
                strength(stretch.look)
            )
        })
        .collect();
    let words: String = stretches
        .iter()
        .map(|stretch| {
            format!(
                "<li><i style=\"opacity: {}\"></i>{}</li>",
                strength(stretch.look),
                escaped(&stretch.words)
            )
        })
        .collect();
    format!(
        "<div class=\"far\"><div class=\"bar\" aria-hidden=\"true\">{strip}</div><ul>{words}</ul></div>\n"
    )
}

/// How strong the bar's colour is for a look.
pub(super) fn strength(look: &str) -> f64 {
    match look {
        "hard dots" => 1.0,
        "dots show" => 0.66,
        "soft" => 0.38,
        _ => 0.14,
    }
}

fn cloth(cloth: &ClothWords<'_>) -> String {
    let lit = match cloth.card.lit.as_slice() {
        [] => "background: #000000".to_owned(),
        [one] => format!("background: {}", hex(*one)),
        many => {
            let step = 100.0 / many.len() as f64;
            let stops = many.iter().enumerate().map(|(i, colour)| {
                format!("{} {}% {}%", hex(*colour), n(step * i as f64), n(step * (i + 1) as f64))
            });
            format!("background: linear-gradient({})", stops.collect::<Vec<_>>().join(", "))
        }
    };
    format!(
        "<div class=\"card\"><div class=\"swatches\" role=\"img\" aria-label=\"{}\"><span style=\"background: {}\"></span><span style=\"{lit}\"></span></div>\
         <div><h3>{}</h3><p>{}</p><p>{}</p></div></div>\n",
        escaped(&cloth.alt),
        hex(cloth.card.unlit),
        escaped(&cloth.title),
        escaped(&capital(&cloth.facts)),
        escaped(&capital(&cloth.lies)),
    )
}

fn motion(motion: &Encoded) -> String {
    let Some(first) = motion.stills.first() else { return String::new() };
    let caption = if motion.caption.is_empty() {
        String::new()
    } else {
        format!("<figcaption>{}</figcaption>", escaped(&motion.caption))
    };
    let count = motion.stills.len();
    let stills: String = motion
        .stills
        .iter()
        .enumerate()
        .map(|(i, still)| image(still, &format!("Still {} of {count}: {}", i + 1, motion.alt)))
        .collect();
    format!(
        "<details open=\"open\"><summary>Moving picture: fold it away to stop it</summary><figure><picture>\
         <source media=\"(prefers-reduced-motion: reduce)\" srcset=\"{}\"/><img src=\"{}\" width=\"{}\" height=\"{}\" alt=\"{}\"/></picture>{caption}</figure></details>\n\
         <div class=\"stills\">{stills}<p class=\"words\">{}</p></div>\n",
        data_address("image/png", &first.png),
        data_address(motion.media_type, &motion.animation),
        first.width_px,
        first.height_px,
        escaped(&motion.alt),
        escaped(&motion.caption)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative luminance of a colour `#rrggbb` (WCAG 2.2, definition of relative luminance).
    fn luminance(hex: &str) -> f64 {
        let channel = |i: usize| {
            let v = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).expect("a code")) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5)
    }

    #[test]
    fn text_stands_out_from_its_ground() {
        /// WCAG 2.2, success criterion 1.4.3, level AA, for text of ordinary size.
        const LEAST: f64 = 4.5;
        let colour = |name: &str| COLOURS.iter().find(|c| c.0 == name).expect("a colour");
        for ground in ["ground", "card"] {
            for text in ["ink", "quiet", "accent"] {
                type Colour = (&'static str, &'static str, &'static str);
                for which in [|c: &Colour| c.1, |c: &Colour| c.2] {
                    let (a, b) = (luminance(which(colour(ground))), luminance(which(colour(text))));
                    let contrast = (a.max(b) + 0.05) / (a.min(b) + 0.05);
                    assert!(contrast >= LEAST, "{text} on {ground}: {contrast:.2}");
                }
            }
        }
    }
}
