//! SVG drawings as PNG and PDF, with the embedded font and nothing from the machine.

use crate::picture::canvas::{Canvas, FONT_FILE};
use crate::picture::png_out::{self, PngError};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::tagging::{ContentTag, Tag, TagGroup, TagTree};
use krilla_svg::{SurfaceExt, SvgSettings};
use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::fontdb::{Database, Source};
use resvg::usvg::{self, roxmltree};
use std::sync::{Arc, LazyLock};

/// Length of an SVG pixel, in mm: 1/96 inch (W3C, CSS Values and Units Module Level 4, section on absolute lengths).
pub const MM_PER_PX: f64 = 25.4 / 96.0;
/// Image pixels of a PNG for each unit of the drawing: sharp on a telephone held upright, and in print.
pub const CLEAR_PNG: f32 = 1.6;
/// Points (1/72 inch) in an SVG pixel.
const POINTS_PER_PX: f32 = 72.0 / 96.0;
/// The most image pixels a side of a PNG may have; four times the longest chart at print size, and a bound on memory.
const MOST_PX: f32 = 16_384.0;
/// The most image pixels a PNG may have.
const MOST_AREA_PX: f32 = 1e8;
/// The family name of the embedded font.
const FAMILY: &str = "DejaVu Sans";

/// Why a drawing could not be turned into another format.
#[derive(Debug, thiserror::Error)]
pub enum ChartError {
    /// The text is not XML.
    #[error("the drawing is not XML: {0}")]
    Xml(#[from] roxmltree::Error),
    /// The XML is not a drawing.
    #[error("the drawing is not SVG: {0}")]
    Svg(#[from] usvg::Error),
    /// The picture would have no image pixels, or too many.
    #[error(
        "the drawing times {scale} is {width} x {height} image pixels; 1 to {MOST_PX} a side are possible"
    )]
    Size {
        /// The scale asked for.
        scale: f32,
        /// Image pixels in a row.
        width: f32,
        /// Rows.
        height: f32,
    },
    /// The PNG encoder refused.
    #[error(transparent)]
    Png(#[from] PngError),
    /// The PDF writer refused.
    #[error("the PDF could not be written: {0}")]
    Pdf(String),
}

static FONTS: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut fonts = Database::new();
    fonts.load_font_source(Source::Binary(Arc::new(FONT_FILE)));
    fonts.set_sans_serif_family(FAMILY);
    Arc::new(fonts)
});

/// Parsing with the embedded font only; pictures come from the drawing itself, never from files.
fn options() -> usvg::Options<'static> {
    usvg::Options {
        font_family: FAMILY.to_owned(),
        fontdb: Arc::clone(&FONTS),
        image_href_resolver: usvg::ImageHrefResolver {
            resolve_data: usvg::ImageHrefResolver::default_data_resolver(),
            resolve_string: Box::new(|_, _| None),
        },
        ..usvg::Options::default()
    }
}

/// The drawing as the renderer sees it: shapes, laid-out text, pictures.
pub(super) fn tree(svg: &str) -> Result<usvg::Tree, ChartError> {
    Ok(usvg::Tree::from_xmltree(&roxmltree::Document::parse(svg)?, &options())?)
}

/// A drawing as an 8-bit sRGB PNG on white, `scale` image pixels for each SVG pixel. The file's print size is the drawing's
/// own, [`MM_PER_PX`] for each SVG pixel.
///
/// # Errors
/// When the text is not an SVG drawing, when the size is nothing or more than 16 384 image pixels a side or 100 million in
/// all, and when the encoder refuses.
pub fn svg_to_png(svg: &str, scale: f32) -> Result<Vec<u8>, ChartError> {
    let tree = tree(svg)?;
    let size = tree.size();
    let (width, height) = ((size.width() * scale).round(), (size.height() * scale).round());
    let fault = ChartError::Size { scale, width, height };
    let possible = |v: f32| (1.0..=MOST_PX).contains(&v);
    if !possible(width) || !possible(height) || width * height > MOST_AREA_PX {
        return Err(fault);
    }
    let mut pixmap = Pixmap::new(width as u32, height as u32).ok_or(fault)?;
    pixmap.fill(resvg::tiny_skia::Color::WHITE);
    let stretch = Transform::from_scale(width / size.width(), height / size.height());
    resvg::render(&tree, stretch, &mut pixmap.as_mut());
    // On an opaque ground the colours are not weighted.
    let rgb = pixmap.pixels().iter().flat_map(|p| [p.red(), p.green(), p.blue()]).collect();
    let canvas = Canvas { width_px: pixmap.width(), height_px: pixmap.height(), rgb };
    Ok(png_out::srgb_8(&canvas, MM_PER_PX / f64::from(scale), &[])?)
}

/// A drawing as a PDF of one page of the drawing's own size, 3/4 point for each SVG pixel. Text stays text, in the embedded
/// font. The drawing's `<title>` becomes the document's title; its `<desc>` is the description of the figure.
///
/// # Errors
/// When the text is not an SVG drawing, and when the PDF cannot be written.
pub fn svg_to_pdf(svg: &str) -> Result<Vec<u8>, ChartError> {
    svgs_to_pdf(&[svg])
}

/// Drawings as a PDF of as many pages, each of its drawing's own size; a drawing in mm gets a page of these mm. The first drawing's
/// `<title>` becomes the document's title; the `<desc>` of each is the description of its page.
///
/// # Errors
/// When a text is not an SVG drawing, and when the PDF cannot be written.
pub fn svgs_to_pdf(pages: &[impl AsRef<str>]) -> Result<Vec<u8>, ChartError> {
    let mut pdf = krilla::Document::new();
    let mut tags = TagTree::new();
    let mut title = None;
    for svg in pages {
        let document = roxmltree::Document::parse(svg.as_ref())?;
        let figure = add_page(&mut pdf, &document)?;
        let mut group = TagGroup::new(Tag::Figure(said(&document, "desc")));
        group.push(figure);
        tags.push(group);
        title = title.or_else(|| said(&document, "title"));
    }
    pdf.set_tag_tree(tags);
    let mut metadata = Metadata::new().language("en".to_owned());
    if let Some(title) = title {
        metadata = metadata.title(title);
    }
    pdf.set_metadata(metadata);
    pdf.finish().map_err(|error| ChartError::Pdf(format!("{error:?}")))
}

/// The text of the drawing's own `<title>` or `<desc>`.
fn said(document: &roxmltree::Document<'_>, name: &str) -> Option<String> {
    document
        .root_element()
        .children()
        .find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", name)))
        .and_then(|node| node.text())
        .map(str::to_owned)
        .filter(|text| !text.is_empty())
}

fn add_page(
    pdf: &mut krilla::Document,
    document: &roxmltree::Document<'_>,
) -> Result<krilla::tagging::Identifier, ChartError> {
    let tree = usvg::Tree::from_xmltree(document, &options())?;
    let (width, height) = (tree.size().width() * POINTS_PER_PX, tree.size().height() * POINTS_PER_PX);
    let refused = |what: &str| ChartError::Pdf(what.to_owned());
    let settings = PageSettings::from_wh(width, height).ok_or_else(|| refused("the page has no size"))?;
    let size = krilla::geom::Size::from_wh(width, height).ok_or_else(|| refused("the page has no size"))?;
    let mut page = pdf.start_page_with(settings);
    let mut surface = page.surface();
    let figure = surface.start_tagged(ContentTag::Other);
    let drawn = surface.draw_svg(&tree, size, SvgSettings::default());
    surface.end_tagged();
    surface.finish();
    page.finish();
    drawn.ok_or_else(|| refused("the drawing cannot be drawn"))?;
    Ok(figure)
}
