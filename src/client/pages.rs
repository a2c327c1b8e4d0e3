//! The sheet as pages of a PDF: pictures and the most wanted figures first, all else behind.
//!
//! What does not fit on [`MOST_PAGES`] pages is set smaller, down to `LEAST_SCALE`; then the note is cut, for it stands whole in the HTML
//! file. Cautions and figures are never cut: a scene with many cloths can take a further page.

use super::Sheet;
use super::html::strength;
use super::sections::{
    Block as Content, ClothWords, Fact, Part, Section, Shown, Stretch, deck, eyebrow, foot, hero, hex,
    sections,
};
use super::setting::{ACCENT, BODY, Block, GLOW, INK, LABEL, LINE, QUIET, SMALL, Setting, Style, picture};
use crate::paper::{Paper, plain};
use crate::picture::chart::{escaped, plain_number as n};
use crate::words::capital;

/// Pages that are aimed at.
pub const MOST_PAGES: usize = 2;
/// All text is set no smaller than this: 5.7 points for the smallest.
const LEAST_SCALE: f64 = 0.8;
/// Steps of the scale.
const STEP: f64 = 0.04;
/// Blank along the edges: sides, top, bottom, in mm.
const SIDES: f64 = 16.0;
const TOP: f64 = 14.0;
const BOTTOM: f64 = 13.0;
/// Distance between columns.
const GUTTER: f64 = 7.0;
/// Distance between pictures side by side.
const BETWEEN: f64 = 4.5;
/// Distance between sections at scale 1.
const APART: f64 = 4.6;
/// The large picture is at most so high: as one likes, and where room is scarce.
const HERO_MM: [f64; 2] = [80.0, 68.0];
/// Lines of the note: as many as one likes, and as many as are left when it must be cut.
const NOTE_LINES: [usize; 3] = [usize::MAX, 12, 5];
/// A title longer than this many lines is cut.
const TITLE_LINES: usize = 2;

const EYEBROW: Style = Style { size: 2.7, fill: ACCENT, strong: false };
const TITLE: Style = Style { size: 9.0, fill: INK, strong: false };
const DECK: Style = Style { size: 3.3, fill: QUIET, strong: false };
const NOTE: Style = Style { size: 3.2, fill: INK, strong: false };
const HEADING: Style = Style { size: 3.5, fill: INK, strong: true };
const FIGURE: Style = Style { size: 4.6, fill: INK, strong: false };

/// Blocks that belong on the first page: head, figures, lights, near and far.
const FIRST: usize = 4;
/// Text is set no smaller than this only to bring them there.
const FIRST_SCALE: f64 = 0.88;

/// The pages, in their order.
#[must_use]
pub fn pages(sheet: &Sheet, paper: Paper) -> Vec<String> {
    let down_to = |least: f64| {
        (0..).map(|i| 1.0 - STEP * f64::from(i)).take_while(move |scale| *scale > least - 0.5 * STEP)
    };
    for hero_mm in HERO_MM {
        for scale in down_to(FIRST_SCALE) {
            let (pages, on_first) = set(sheet, paper, Setting { scale }, usize::MAX, hero_mm);
            if pages.len() <= MOST_PAGES && on_first >= FIRST {
                return finished(sheet, paper, &pages);
            }
        }
    }
    let mut last = Vec::new();
    for note_lines in NOTE_LINES {
        for scale in down_to(LEAST_SCALE) {
            last = set(sheet, paper, Setting { scale }, note_lines, HERO_MM[1]).0;
            if last.len() <= MOST_PAGES {
                return finished(sheet, paper, &last);
            }
        }
        if sheet.note.is_empty() {
            break;
        }
    }
    finished(sheet, paper, &last)
}

/// Blocks put down the pages.
struct Flow {
    room: [f64; 2],
    apart: f64,
    page: Block,
    done: Vec<Block>,
    /// Blocks on the first page.
    on_first: usize,
}

impl Flow {
    fn put(&mut self, block: &Block) {
        let gap = if self.page.height > 0.0 { self.apart } else { 0.0 };
        if self.page.height + gap + block.height > self.room[1] && self.page.height > 0.0 {
            self.done.push(std::mem::take(&mut self.page));
        }
        self.on_first += usize::from(self.done.is_empty());
        self.page.below(self.apart, block);
    }
}

/// The pages at a scale, and how many blocks stand on the first.
fn set(
    sheet: &Sheet,
    paper: Paper,
    setting: Setting,
    note_lines: usize,
    hero_mm: f64,
) -> (Vec<Block>, usize) {
    let [width, height] = paper.size_mm();
    let room = [width - 2.0 * SIDES, height - TOP - BOTTOM];
    let mut flow =
        Flow { room, apart: APART * setting.scale, page: Block::default(), done: Vec::new(), on_first: 0 };
    flow.put(&head(sheet, setting, room[0], note_lines, hero_mm));
    let all = sections(sheet);
    let column = (room[0] - GUTTER) / 2.0;
    let mut columns: Vec<Block> = Vec::new();
    for section in &all {
        match section.part {
            Part::MadeOf | Part::Numbers | Part::Sure | Part::Cautions => {
                columns.push(section_of(sheet, section, setting, column));
            }
            _ => flow.put(&section_of(sheet, section, setting, room[0])),
        }
    }
    for pair in paired(&columns, flow.apart, column) {
        flow.put(&pair);
    }
    flow.done.push(flow.page);
    (flow.done, flow.on_first)
}

/// Columns side by side: the blocks in their order go where there is most room.
fn paired(blocks: &[Block], apart: f64, column: f64) -> Vec<Block> {
    let mut sides = [Block::default(), Block::default()];
    for block in blocks {
        let side = usize::from(sides[1].height < sides[0].height);
        sides[side].below(apart, block);
    }
    vec![Block::row(column + GUTTER, &sides)]
}

fn head(sheet: &Sheet, setting: Setting, width: f64, note_lines: usize, hero_mm: f64) -> Block {
    let mut head = setting.cut(&eyebrow(sheet), EYEBROW, width, 2);
    head.below(0.6, &setting.cut(&sheet.title, TITLE, width, TITLE_LINES));
    head.below(1.2, &setting.words(&deck(sheet), DECK, width));
    let shown = hero(sheet);
    let across = width.min(hero_mm / shown.picture.shape());
    let large = picture(shown.picture, across);
    let mut middle = Block { svg: String::new(), height: large.height };
    middle.put(0.5 * (width - across), 0.0, &large);
    head.below(3.0, &middle);
    head.below(1.2, &setting.words(&shown.caption, SMALL, width));
    let mut left = note_lines;
    let mut note = Block::default();
    for (i, paragraph) in sheet.note.iter().enumerate() {
        if left == 0 {
            break;
        }
        let block = setting.cut(paragraph, NOTE, width - 4.0, left);
        let lines = (block.height / (NOTE.size * setting.scale)).round() as usize;
        left = left.saturating_sub(lines.max(1));
        note.below(1.2, &block);
        if left == 0 && i + 1 < sheet.note.len() {
            note.below(
                0.8,
                &setting.words("The whole note stands on the page for screens.", SMALL, width - 4.0),
            );
        }
    }
    if note.height > 0.0 {
        let mut ruled = Block {
            svg: format!(r#"<rect x="0" y="0" width="0.7" height="{}" fill="{GLOW}"/>"#, n(note.height)),
            height: note.height,
        };
        ruled.put(4.0, 0.0, &note);
        head.below(4.0, &ruled);
    }
    head
}

fn section_of(sheet: &Sheet, section: &Section<'_>, setting: Setting, width: f64) -> Block {
    let mut block = Block {
        svg: format!(r#"<rect x="0" y="0" width="{}" height="0.2" fill="{LINE}"/>"#, n(width)),
        height: 0.6,
    };
    block.below(1.2 * setting.scale, &setting.words(section.title, HEADING, width));
    if section.part == Part::Distances {
        block.below(1.4 * setting.scale, &distances(section, setting, width));
        return block;
    }
    let mut inner = Block::default();
    for content in &section.blocks {
        let gap = if matches!(content, Content::Words(_)) { 1.2 } else { 2.2 };
        inner.below(gap * setting.scale, &content_of(sheet, content, setting, width));
    }
    block.below(1.4 * setting.scale, &inner);
    block
}

/// Near and far as large as the lights, so that their angle of view is that of a page held 0.4 m away; the words beside them.
fn distances(section: &Section<'_>, setting: Setting, width: f64) -> Block {
    const COLUMNS: usize = 3;
    let step = (width + BETWEEN) / COLUMNS as f64;
    let room = step - BETWEEN;
    let (mut row, mut beside) = (Block::default(), Block::default());
    for content in &section.blocks {
        match content {
            Content::Pictures(all) => row = pictures(all, COLUMNS, setting, width),
            Content::Distances(stretches) => {
                beside.below(0.0, &strip(stretches, room));
                beside.below(1.4, &looks(stretches, setting, room));
            }
            Content::Words(words) => {
                beside.below(2.0 * setting.scale, &setting.words(&plain(words), SMALL, room))
            }
            _ => {}
        }
    }
    row.put(2.0 * step, 0.0, &beside);
    row.height = row.height.max(beside.height);
    row
}

fn content_of(sheet: &Sheet, content: &Content<'_>, setting: Setting, width: f64) -> Block {
    match content {
        Content::Words(words) => setting.words(&plain(words), SMALL, width),
        Content::Glance(facts) => glance(facts, setting, width),
        Content::Facts(facts) => rows(facts, setting, width),
        Content::Pictures(all) => pictures(all, all.len(), setting, width),
        Content::Distances(stretches) => looks(stretches, setting, width),
        Content::Motion => motion(sheet, setting, width),
        Content::Cloths(all) => cloths(all, setting, width),
        Content::Points(points) => setting.points(points, Style { size: SMALL.size, ..BODY }, width),
        Content::Cautions(all) => {
            let mut block = Block::default();
            for concerning in all {
                block.below(1.6 * setting.scale, &setting.words(concerning.whom, LABEL, width));
                block.below(
                    0.6,
                    &setting.points(&concerning.points, Style { size: SMALL.size, ..BODY }, width),
                );
            }
            block
        }
    }
}

fn glance(facts: &[Fact], setting: Setting, width: f64) -> Block {
    const COLUMNS: usize = 4;
    let step = (width + BETWEEN) / COLUMNS as f64;
    let mut block = Block::default();
    for row in facts.chunks(COLUMNS) {
        let cells: Vec<Block> = row
            .iter()
            .map(|fact| {
                let room = step - BETWEEN;
                let mut cell = setting.words(&fact.label, SMALL, room);
                cell.below(0.2, &setting.words(&plain(&fact.value), FIGURE, room));
                cell.below(0.2, &setting.words(&plain(&fact.more), SMALL, room));
                cell
            })
            .collect();
        block.below(2.4 * setting.scale, &Block::row(step, &cells));
    }
    block
}

fn rows(facts: &[Fact], setting: Setting, width: f64) -> Block {
    let label = 0.34 * width;
    let room = width - label - 2.0;
    let mut block = Block::default();
    for (i, fact) in facts.iter().enumerate() {
        let mut right = setting.words(&plain(&fact.value), LABEL, room);
        right.below(0.1, &setting.words(&plain(&fact.more), SMALL, room));
        let left = setting.words(&fact.label, SMALL, label);
        let mut row = Block { svg: String::new(), height: left.height.max(right.height) };
        row.put(0.0, 0.05, &left);
        row.put(label + 2.0, 0.0, &right);
        if i > 0 {
            row.svg += &format!(
                r#"<rect x="0" y="{}" width="{}" height="0.12" fill="{LINE}"/>"#,
                n(-0.55 * setting.scale),
                n(width)
            );
        }
        block.below(1.1 * setting.scale, &row);
    }
    block
}

fn pictures(all: &[Shown<'_>], columns: usize, setting: Setting, width: f64) -> Block {
    let step = (width + BETWEEN) / columns.max(1) as f64;
    let cells: Vec<Block> = all
        .iter()
        .map(|shown| {
            let mut cell = picture(shown.picture, step - BETWEEN);
            cell.below(1.0, &setting.words(&shown.title, LABEL, step - BETWEEN));
            cell.below(0.2, &setting.words(&shown.caption, SMALL, step - BETWEEN));
            cell
        })
        .collect();
    Block::row(step, &cells)
}

/// The bar of distances.
fn strip(stretches: &[Stretch], width: f64) -> Block {
    const HIGH: f64 = 2.4;
    let mut block = Block { svg: String::new(), height: HIGH };
    let mut x = 0.0;
    for stretch in stretches {
        let wide = width * stretch.share;
        block.svg += &format!(
            r#"<rect x="{}" y="0" width="{}" height="{HIGH}" fill="{GLOW}" fill-opacity="{}"/>"#,
            n(x),
            n((wide - 0.3).max(0.3)),
            strength(stretch.look)
        );
        x += wide;
    }
    block
}

/// What the stretches of the bar mean.
fn looks(stretches: &[Stretch], setting: Setting, width: f64) -> Block {
    /// From the left edge to the words.
    const INDENT: f64 = 3.4;
    let mut block = Block::default();
    for stretch in stretches {
        let words = setting.words(&stretch.words, Style { fill: INK, ..SMALL }, width - INDENT);
        let mut row = Block {
            svg: format!(
                r#"<circle cx="1.1" cy="{}" r="1.1" fill="{GLOW}" fill-opacity="{}"/>"#,
                n(0.66 * SMALL.size * setting.scale),
                strength(stretch.look)
            ),
            height: words.height,
        };
        row.put(INDENT, 0.0, &words);
        block.below(0.6 * setting.scale, &row);
    }
    block
}

fn motion(sheet: &Sheet, setting: Setting, width: f64) -> Block {
    let Some(motion) = &sheet.motion else { return Block::default() };
    let columns = motion.stills.len().max(2);
    let step = (width + BETWEEN) / columns as f64;
    let cells: Vec<Block> = motion.stills.iter().map(|still| picture(still, step - BETWEEN)).collect();
    let mut block = Block::row(step, &cells);
    let words = format!("Stills, one after another. {} {}", motion.alt, motion.caption);
    block.below(1.0, &setting.words(words.trim(), SMALL, width));
    block
}

fn cloths(all: &[ClothWords<'_>], setting: Setting, width: f64) -> Block {
    const COLUMNS: usize = 2;
    /// Width and height of a swatch.
    const SWATCH: [f64; 2] = [9.0, 13.0];
    let step = (width + GUTTER) / COLUMNS as f64;
    let mut block = Block::default();
    for row in all.chunks(COLUMNS) {
        let cells: Vec<Block> = row
            .iter()
            .map(|cloth| {
                let [w, h] = SWATCH;
                let mut svg = format!(r#"<rect x="0" y="0" width="{w}" height="{h}" fill="{}"/>"#, hex(cloth.card.unlit));
                let lit: &[[u8; 3]] = if cloth.card.lit.is_empty() { &[[0; 3]] } else { &cloth.card.lit };
                let part = h / lit.len() as f64;
                for (i, colour) in lit.iter().enumerate() {
                    svg += &format!(
                        r#"<rect x="{w}" y="{}" width="{w}" height="{}" fill="{}"/>"#,
                        n(part * i as f64),
                        n(part),
                        hex(*colour)
                    );
                }
                svg += &format!(r#"<rect x="0" y="0" width="{}" height="{h}" fill="none" stroke="{LINE}" stroke-width="0.2"/>"#, 2.0 * w);
                let room = step - GUTTER - 2.0 * w - 3.0;
                let mut words = setting.words(&cloth.title, LABEL, room);
                words.below(0.2, &setting.words(&capital(&cloth.facts), SMALL, room));
                words.below(0.2, &setting.words(&capital(&cloth.lies), SMALL, room));
                let mut cell = Block { svg, height: h };
                cell.put(2.0 * w + 3.0, 0.0, &words);
                cell.height = h.max(words.height);
                cell
            })
            .collect();
        block.below(2.4 * setting.scale, &Block::row(step, &cells));
    }
    block
}

/// What the pictures of the sheet show, for those who do not see them.
fn alt(sheet: &Sheet) -> String {
    let mut words = vec![hero(sheet).alt];
    for section in sections(sheet) {
        for block in section.blocks {
            match block {
                Content::Pictures(all) => words.extend(all.into_iter().map(|shown| shown.alt)),
                Content::Cloths(all) => words.extend(all.into_iter().map(|cloth| cloth.alt)),
                Content::Motion => words.extend(sheet.motion.iter().map(|motion| motion.alt.clone())),
                _ => {}
            }
        }
    }
    words.join(" ")
}

/// The pages with foot and number.
fn finished(sheet: &Sheet, paper: Paper, pages: &[Block]) -> Vec<String> {
    let [width, height] = paper.size_mm();
    let setting = Setting { scale: 0.88 };
    let alt = alt(sheet);
    pages
        .iter()
        .enumerate()
        .map(|(i, block)| {
            let mut whole = Block::default();
            whole.put(SIDES, TOP, block);
            if i + 1 == pages.len() {
                whole.put(SIDES, height - BOTTOM + 3.0, &setting.words(foot(), SMALL, width - 2.0 * SIDES - 16.0));
            }
            format!(
                r##"<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" font-family="DejaVu Sans, sans-serif" role="img"><title>{}</title><desc>{}</desc><rect width="{w}" height="{h}" fill="#ffffff"/>{}<text x="{}" y="{}" font-size="2.4" fill="{QUIET}" text-anchor="end">{} of {}</text></svg>"##,
                escaped(&sheet.title),
                escaped(if i == 0 { &alt } else { "Further pictures, figures and cautions of the sheet." }),
                whole.svg,
                n(width - SIDES),
                n(height - BOTTOM + 5.2),
                i + 1,
                pages.len(),
                w = n(width),
                h = n(height),
            )
        })
        .collect()
}
