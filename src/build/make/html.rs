//! The sheet as one HTML file: words, tables, drawings inside, nothing from outside, no program.
//!
//! On a screen it reads at the width of a telephone, light or dark. Printed, words and tables go on pages with margins and every drawing on a
//! page of its own, to size: the drawings are as large as the paper and their pages have no margin.

use super::Plan;
use super::figures::Figures;
use super::sections::{Block, SHORT_TABLE, Section, sections};
use super::tiles::Drawings;
use crate::paper::{html_page, marked};
use crate::picture::chart::escaped;

/// The look: our own, plain.
const STYLE: &str = "
:root { color-scheme: light dark; --ink: #1b1e25; --quiet: #4d535e; --ground: #ffffff; --line: #c9cdd5; --head: #eef0f3; --warn: #8a2f00; --warnground: #fff4ea; }
@media (prefers-color-scheme: dark) { :root { --ink: #ece9e0; --quiet: #b5b3ab; --ground: #181a20; --line: #3c3f48; --head: #23262e; --warn: #ffb48a; --warnground: #2c211b; } }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; }
body { margin: 0 auto; padding: 1rem; max-width: 62rem; background: var(--ground); color: var(--ink); font: 1rem/1.5 system-ui, 'DejaVu Sans', Verdana, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 0.5rem 0; }
h2 { font-size: 1.25rem; margin: 1.8rem 0 0.5rem; border-bottom: 2px solid var(--line); padding-bottom: 0.2rem; }
p, ul, ol { margin: 0.5rem 0; }
li { margin: 0.25rem 0; }
.quiet { color: var(--quiet); }
.cautions { border-left: 0.4rem solid var(--warn); background: var(--warnground); padding: 0.4rem 0.8rem 0.4rem 0.4rem; }
.cautions ul { padding-left: 1.4rem; }
.wide { overflow-x: auto; margin: 0.6rem 0; }
table { border-collapse: collapse; width: 100%; font-size: 0.92rem; }
caption { text-align: left; font-weight: 600; padding: 0.2rem 0; }
th, td { border: 1px solid var(--line); padding: 0.3rem 0.5rem; text-align: left; vertical-align: top; }
thead th { background: var(--head); }
ol.steps { list-style: none; padding-left: 0; counter-reset: step; }
ol.steps li { counter-increment: step; padding-left: 3.4rem; position: relative; margin: 0.5rem 0; }
ol.steps li::before { content: '\\2610\\00a0' counter(step) '.'; position: absolute; left: 0; }
figure { margin: 0.8rem 0; }
figure > svg, figure > img { display: block; max-width: 100%; height: auto; background: #ffffff; border: 1px solid var(--line); }
figcaption { color: var(--quiet); font-size: 0.9rem; }
@media (max-width: 40rem) {
  table, caption, tbody, tr, td, th[scope=row] { display: block; width: auto; }
  thead { position: absolute; left: -200rem; }
  tr { border: 1px solid var(--line); margin: 0 0 0.6rem; }
  th[scope=row] { background: var(--head); border: 0; }
  td { border: 0; border-top: 1px solid var(--line); display: grid; grid-template-columns: 38% 1fr; gap: 0.5rem; min-height: 2rem; }
  td::before { content: attr(data-head); color: var(--quiet); }
}
@media print {
  :root { color-scheme: light; --ink: #000000; --quiet: #333333; --ground: #ffffff; --line: #999999; --head: #eeeeee; --warn: #000000; --warnground: #ffffff; }
  body { max-width: none; padding: 0; font-size: 10pt; }
  h2, caption { break-after: avoid; } .short, tr, li, figure { break-inside: avoid; }
  .wide { overflow: visible; }
  figure.page { page: drawing; break-before: page; break-after: page; margin: 0; }
  figure.across { page: drawing-across; }
  figure.page > svg { border: 0; max-width: none; }
  figure.page > figcaption, .screen { display: none; }
}
";

/// The sheet of a plan, with its drawings and its figures.
#[must_use]
pub fn html(plan: &Plan, drawings: &Drawings, figures: &Figures) -> String {
    let title = format!("{}: make sheet", plan.name);
    let mut body = format!(
        "<header><h1>{}</h1>\n<p class=\"quiet\">How to build it: what to cut, solder and sew. Figures are estimates from typical parts; \
         local codes and licensed practice decide.</p></header>\n<main>\n",
        escaped(&title)
    );
    for section in sections(plan) {
        body += &section_in_html(&section, figures);
    }
    body += &format!(
        "<section><h2>Drawings</h2>\n<p>{}</p>\n<p class=\"screen\">Printed at 100 % on {}, every drawing fills one page and is true to size. Measure the check \
         square first.</p>\n",
        escaped(&drawings.in_words()),
        drawings.paper.name()
    );
    body += &figure(&drawings.overview, "Overview with the check square", false);
    for tile in &drawings.tiles {
        body += &figure(&tile.svg, &format!("Page {}, to size", tile.name), drawings.across);
    }
    body += "</section>\n</main>\n";
    let [size, across] = [false, true].map(|across| drawings.paper.in_style(across));
    let [width, height] = drawings.paper.size_mm();
    let [side_width, side_height] = drawings.paper.lying_mm(true);
    let style = format!(
        "{STYLE}@page {{ size: {size}; margin: 15mm; }}\n@page drawing {{ size: {size}; margin: 0; }}\n@page drawing-across {{ size: {across}; margin: 0; }}\n\
         @media print {{ figure.page > svg {{ width: {width}mm; height: {height}mm; }} \
         figure.across > svg {{ width: {side_width}mm; height: {side_height}mm; }} }}\n"
    );
    html_page(&title, &style, &body)
}

fn figure(svg: &str, caption: &str, across: bool) -> String {
    let class = if across { "page across" } else { "page" };
    format!("<figure class=\"{class}\">{svg}<figcaption>{}</figcaption></figure>\n", escaped(caption))
}

fn section_in_html(section: &Section, figures: &Figures) -> String {
    let mut out = format!("<section><h2>{}</h2>\n", escaped(&section.title));
    for block in &section.blocks {
        out += &match block {
            Block::Words(words) => format!("<p>{}</p>\n", marked(words)),
            Block::Points(points) => format!("<ul>{}</ul>\n", items(points)),
            Block::Cautions(points) => {
                format!("<div class=\"cautions\" role=\"note\"><ul>{}</ul></div>\n", items(points))
            }
            Block::Steps(points) => format!("<ol class=\"steps\">{}</ol>\n", items(points)),
            Block::Table { caption, head, rows } => table(caption, head, rows),
            Block::Picture => figures.preview.as_ref().map_or(String::new(), |preview| {
                format!(
                    "<figure><img src=\"{}\" width=\"{}\" height=\"{}\" alt=\"{}\"/><figcaption>{}</figcaption></figure>\n",
                    preview.address(),
                    preview.size_px[0],
                    preview.size_px[1],
                    escaped(&preview.alt),
                    escaped(&preview.caption)
                )
            }),
            Block::Chart => figures.chart.as_ref().map_or(String::new(), |svg| {
                format!(
                    "<figure>{svg}<figcaption>Voltage at every pixel along the run.</figcaption></figure>\n"
                )
            }),
        };
    }
    out + "</section>\n"
}

fn items(points: &[String]) -> String {
    points.iter().map(|point| format!("<li>{}</li>", marked(point))).collect()
}

/// A table; each cell carries its heading for narrow screens.
fn table(caption: &str, head: &[&'static str], rows: &[Vec<String>]) -> String {
    let headings: String =
        head.iter().map(|name| format!("<th scope=\"col\">{}</th>", escaped(name))).collect();
    let row = |row: &Vec<String>| {
        let cells: String = row
            .iter()
            .zip(head)
            .enumerate()
            .map(|(i, (cell, name))| match i {
                0 => format!("<th scope=\"row\">{}</th>", escaped(cell)),
                _ => format!("<td data-head=\"{}\">{}</td>", escaped(name), escaped(cell)),
            })
            .collect();
        format!("<tr>{cells}</tr>\n")
    };
    let short = if rows.len() <= SHORT_TABLE { " short" } else { "" };
    format!(
        "<div class=\"wide{short}\"><table><caption>{}</caption><thead><tr>{headings}</tr></thead><tbody>\n{}</tbody></table></div>\n",
        escaped(caption),
        rows.iter().map(row).collect::<String>()
    )
}
