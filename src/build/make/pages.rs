//! The pages of the PDF, as SVG: words and tables, the chart, the overview, the pages to size.

use super::Plan;
use super::figures::Figures;
use super::sections::{Block, SHORT_TABLE, sections};
use super::tiles::{Drawings, MARGIN_MM, page};
use crate::paper::{plain, wrapped};
use crate::picture::chart::{escaped, plain_number as n, text_width_at};

/// Sizes of text, in mm: 10, 13 and 20 points, and 8 in tables.
const TEXT: f64 = 3.4;
const TABLE: f64 = 2.8;
const HEADING: f64 = 4.6;
const TITLE: f64 = 7.0;
/// Distance from line to line over the size of text.
const LEADING: f64 = 1.4;
/// Blank inside a cell of a table, left and right, in mm.
const PAD: f64 = 1.2;
/// Blank around pages of words, in mm.
const AROUND: f64 = MARGIN_MM + 6.0;
/// Greatest height of the preview, in mm.
const PICTURE_HIGH: f64 = 95.0;
/// Rows that a longer table begins with on a page.
const BEGINNING: usize = 3;
/// Pages of words; a sheet of that many tables is not read on paper. The lists hold the rest.
const MOST_PAGES: usize = 40;

/// Writes lines of text down the page and begins new pages.
struct Flow {
    size: [f64; 2],
    y: f64,
    body: String,
    done: Vec<String>,
}

impl Flow {
    fn room(&self) -> f64 {
        self.size[0] - 2.0 * AROUND
    }

    /// Begins a new page unless so much height is left; whether it did.
    fn need(&mut self, height: f64) -> bool {
        let begins = self.y + height > self.size[1] - AROUND && self.y > AROUND;
        if begins {
            self.finish();
        }
        begins
    }

    fn finish(&mut self) {
        self.done.push(std::mem::take(&mut self.body));
        self.y = AROUND;
    }

    fn text(&mut self, x: f64, y: f64, size: f64, style: &str, words: &str) {
        self.body += &format!(
            r##"<text x="{}" y="{}" font-size="{size}" fill="#1b1e25"{style}>{}</text>"##,
            n(x),
            n(y),
            escaped(words)
        );
    }

    fn paragraph(&mut self, indent: f64, size: f64, sign: &str, words: &str) {
        for (i, line) in wrapped(words, size, self.room() - indent).iter().enumerate() {
            self.need(size * LEADING);
            if i == 0 && !sign.is_empty() {
                self.text(AROUND, self.y + size, size, "", sign);
            }
            self.text(AROUND + indent, self.y + size, size, "", line);
            self.y += size * LEADING;
        }
        self.y += 0.4 * size;
    }

    /// The height that the beginning of a block takes: what must not part from its heading.
    fn least(&self, block: &Block) -> f64 {
        match block {
            Block::Table { head, rows, .. } => {
                self.beginning(head, rows).min(self.size[1] - 2.0 * AROUND - 20.0)
            }
            _ => 3.0 * TEXT * LEADING,
        }
    }

    /// The height of a table's caption, headings and first rows; of a short table, which is not broken, all of it.
    fn beginning(&self, head: &[&'static str], rows: &[Vec<String>]) -> f64 {
        let widths = columns(head, rows, self.room());
        let kept = if rows.len() <= SHORT_TABLE { rows.len() } else { BEGINNING };
        let first: f64 = rows.iter().take(kept).map(|row| row_height(row, &widths)).sum();
        2.0 * TEXT * LEADING + row_height(&owned(head), &widths) + first
    }

    fn table(&mut self, caption: &str, head: &[&'static str], rows: &[Vec<String>]) {
        let widths = columns(head, rows, self.room());
        let beginning = self.beginning(head, rows);
        let head = owned(head);
        self.need(beginning);
        self.paragraph(0.0, TEXT, "", caption);
        self.row(&head, &widths, true);
        for row in rows {
            // A table that goes on says its headings again.
            if self.need(row_height(row, &widths)) {
                self.row(&head, &widths, true);
            }
            self.row(row, &widths, false);
        }
        self.y += TEXT;
    }

    fn row(&mut self, cells: &[String], widths: &[f64], heading: bool) {
        let lines = in_cells(cells, widths);
        let high = row_height(cells, widths);
        self.need(high);
        let mut x = AROUND;
        let fill = if heading { "#eef0f3" } else { "none" };
        for (cell, width) in lines.iter().zip(widths) {
            self.body += &format!(
                r##"<rect x="{}" y="{}" width="{}" height="{}" fill="{fill}" stroke="#9aa1ad" stroke-width="0.15"/>"##,
                n(x),
                n(self.y),
                n(*width),
                n(high)
            );
            for (i, line) in cell.iter().enumerate() {
                self.text(x + PAD, self.y + 0.4 + TABLE * (1.1 + LEADING * i as f64), TABLE, "", line);
            }
            x += width;
        }
        self.y += high;
    }
}

fn owned(head: &[&'static str]) -> Vec<String> {
    head.iter().map(|name| (*name).to_owned()).collect()
}

/// The cells of a row in lines.
fn in_cells(cells: &[String], widths: &[f64]) -> Vec<Vec<String>> {
    cells.iter().zip(widths).map(|(cell, width)| wrapped(cell, TABLE, width - 2.0 * PAD)).collect()
}

fn row_height(cells: &[String], widths: &[f64]) -> f64 {
    in_cells(cells, widths).iter().map(Vec::len).max().unwrap_or(1).max(1) as f64 * TABLE * LEADING + 1.2
}

/// Widths of columns: each at least as wide as its longest word, the rest shared by how much text they hold.
fn columns(head: &[&'static str], rows: &[Vec<String>], room: f64) -> Vec<f64> {
    let cells = |i: usize| {
        std::iter::once(head[i]).chain(rows.iter().filter_map(move |row| row.get(i).map(String::as_str)))
    };
    let wide = |text: &str| text_width_at(text, 10.0 * TABLE) / 10.0 + 2.0 * PAD + 0.3;
    let least: Vec<f64> = (0..head.len())
        .map(|i| cells(i).flat_map(|cell| cell.split(' ')).map(wide).fold(0.0, f64::max).min(0.3 * room))
        .collect();
    let most: Vec<f64> = (0..head.len()).map(|i| cells(i).map(wide).fold(0.0, f64::max)).collect();
    let (taken, wanted): (f64, f64) = (least.iter().sum(), most.iter().sum());
    if wanted <= room {
        return most;
    }
    if taken >= room {
        return least.iter().map(|width| width * room / taken).collect();
    }
    let share = (room - taken) / (wanted - taken);
    least.iter().zip(&most).map(|(least, most)| least + share * (most - least)).collect()
}

/// All pages of the PDF, in their order.
#[must_use]
pub fn pages(plan: &Plan, drawings: &Drawings, figures: &Figures) -> Vec<String> {
    let size = drawings.paper.size_mm();
    let mut flow = Flow { size, y: AROUND, body: String::new(), done: Vec::new() };
    flow.paragraph(0.0, TITLE, "", &format!("{}: make sheet", plan.name));
    flow.paragraph(
        0.0,
        TEXT,
        "",
        "How to build it: what to cut, solder and sew. Figures are estimates from typical parts; local codes and licensed practice decide.",
    );
    for section in sections(plan) {
        let first = section.blocks.first().map_or(0.0, |block| flow.least(block));
        flow.need(HEADING * (0.6 + LEADING + 0.4) + first);
        flow.y += HEADING * 0.6;
        flow.paragraph(0.0, HEADING, "", &section.title);
        for block in &section.blocks {
            words_of(block, &mut flow, figures);
        }
    }
    flow.finish();
    let left_out = flow.done.len().saturating_sub(MOST_PAGES);
    let mut words = flow.done;
    words.truncate(MOST_PAGES);
    if let (Some(last), true) = (words.last_mut(), left_out > 0) {
        *last += &format!(
            r##"<text x="{}" y="{}" font-size="{TEXT}" fill="#1b1e25">{left_out} more pages of words are left out here: see sheet.html and the lists.</text>"##,
            n(AROUND),
            n(size[1] - AROUND + 5.0)
        );
    }
    let count = words.len() + 1 + drawings.tiles.len();
    let numbered = words.iter().enumerate().map(|(i, body)| {
        let foot = format!(
            r##"<text x="{}" y="{}" font-size="2.8" fill="#4d535e" text-anchor="end">{} of {count}</text>"##,
            n(size[0] - AROUND),
            n(size[1] - MARGIN_MM),
            i + 1
        );
        page(
            &format!("{body}{foot}"),
            size,
            &format!("{}: make sheet", plan.name),
            "Words and tables of the make sheet.",
        )
    });
    let mut all: Vec<String> = numbered.collect();
    all.push(drawings.overview.clone());
    all.extend(drawings.tiles.iter().map(|tile| tile.svg.clone()));
    all
}

fn words_of(block: &Block, flow: &mut Flow, figures: &Figures) {
    match block {
        Block::Words(words) => flow.paragraph(0.0, TEXT, "", &plain(words)),
        Block::Points(points) => {
            points.iter().for_each(|point| flow.paragraph(4.0, TEXT, "\u{2022}", &plain(point)))
        }
        Block::Cautions(points) => {
            points.iter().for_each(|point| flow.paragraph(6.0, TEXT, "!", &plain(point)))
        }
        Block::Steps(points) => {
            for (i, point) in points.iter().enumerate() {
                flow.paragraph(12.0, TEXT, &format!("\u{2610} {}.", i + 1), &plain(point));
            }
        }
        Block::Table { caption, head, rows } => flow.table(caption, head, rows),
        Block::Picture => {
            let Some(preview) = &figures.preview else { return };
            let [width, height] = preview.size_px.map(f64::from);
            let scale = (flow.room() / width).min(PICTURE_HIGH / height);
            let (wide, high) = (scale * width, scale * height);
            flow.need(high + 3.0 * TEXT);
            flow.body += &format!(
                r#"<image x="{}" y="{}" width="{}" height="{}" href="{}"/>"#,
                n(AROUND),
                n(flow.y),
                n(wide),
                n(high),
                preview.address()
            );
            flow.y += high + 0.6 * TEXT;
            flow.paragraph(0.0, TABLE, "", &preview.caption);
        }
        Block::Chart => {
            let chart = figures.chart.as_deref();
            let Some((svg, [width, height])) = chart.and_then(|svg| Some((svg, size_of(svg)?))) else {
                return;
            };
            let room = flow.room();
            let high = room * height / width;
            flow.need(high);
            let inner = svg.find('>').map_or("", |end| &svg[end + 1..]);
            flow.body += &format!(
                r#"<svg x="{}" y="{}" width="{}" height="{}" viewBox="0 0 {width} {height}">{inner}"#,
                n(AROUND),
                n(flow.y),
                n(room),
                n(high)
            );
            flow.y += high + TEXT;
        }
    }
}

/// Width and height of a drawing by its `viewBox`.
fn size_of(svg: &str) -> Option<[f64; 2]> {
    let from = svg.find("viewBox=\"")? + "viewBox=\"".len();
    let numbers: Vec<f64> =
        svg[from..].split('"').next()?.split(' ').filter_map(|v| v.parse().ok()).collect();
    match numbers[..] {
        [_, _, width, height] if width > 0.0 => Some([width, height]),
        _ => None,
    }
}
