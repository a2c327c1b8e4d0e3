//! The sheet's words and pictures, once for all forms in which it is written.

pub use super::cautions::Concerning;
pub use super::facts::Fact;

use super::facts::{glance, made_of, numbers, sure};
use super::pictures::Picture;
use super::{ClothCard, Sheet, cautions};
use crate::build::make::{counted, mm};
use crate::choose::compare::words::{digits, one_line};
use crate::picture::caption::exposure_words;
use crate::picture::chart::plain_number as n;
use crate::words::capital;

/// Which part of the sheet a section is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The figures that answer most questions.
    Glance,
    /// In the dark, on the street, in a room.
    Lights,
    /// From nearby and from far.
    Distances,
    /// The moving picture.
    Motion,
    /// Cloth and colours.
    Cloths,
    /// Parts, sizes, power.
    MadeOf,
    /// The numbers that matter.
    Numbers,
    /// What is estimated.
    Sure,
    /// What can hurt.
    Cautions,
}

/// A part of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Section<'a> {
    /// Which.
    pub part: Part,
    /// Its heading.
    pub title: &'static str,
    /// What stands in it.
    pub blocks: Vec<Block<'a>>,
}

/// One block of a section.
#[derive(Clone, Debug, PartialEq)]
pub enum Block<'a> {
    /// A paragraph.
    Words(String),
    /// Large figures side by side.
    Glance(Vec<Fact>),
    /// Figures below each other, each with what it means.
    Facts(Vec<Fact>),
    /// Pictures side by side.
    Pictures(Vec<Shown<'a>>),
    /// How the dots look from where: words, and each stretch with its share of the bar.
    Distances(Vec<Stretch>),
    /// The moving picture stands here.
    Motion,
    /// The cloths with their colours.
    Cloths(Vec<ClothWords<'a>>),
    /// A list without order.
    Points(Vec<String>),
    /// What can hurt.
    Cautions(Vec<Concerning>),
}

/// A picture with its words.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown<'a> {
    /// The picture.
    pub picture: &'a Picture,
    /// Its heading.
    pub title: String,
    /// What stands below.
    pub caption: String,
    /// What it shows, for those who do not see it.
    pub alt: String,
}

/// A stretch of distances.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// In words.
    pub words: String,
    /// What the dots look like there.
    pub look: &'static str,
    /// Its share of the bar.
    pub share: f64,
}

/// A cloth in words.
#[derive(Clone, Debug, PartialEq)]
pub struct ClothWords<'a> {
    /// The cloth.
    pub card: &'a ClothCard,
    /// Its name.
    pub title: String,
    /// What it is: thickness, mass, how it is known.
    pub facts: String,
    /// Where it lies.
    pub lies: String,
    /// What the swatches show, for those who do not see them.
    pub alt: String,
}

/// What is shown, in one sentence.
#[must_use]
pub fn deck(sheet: &Sheet) -> String {
    let view = &sheet.scene.view;
    let cloths: Vec<String> = sheet.cloths.iter().map(|cloth| one_line(&cloth.title)).collect();
    let behind = if cloths.is_empty() {
        "without cloth over them".to_owned()
    } else {
        format!("behind {}", cloths.join(", then "))
    };
    let room = if view.room_lx > 0.0 {
        format!("with {}\u{a0}lx of room light", n(view.room_lx))
    } else {
        "in the dark".to_owned()
    };
    format!(
        "{} {behind}. Seen from {}\u{a0}m {room}.",
        counted(sheet.scene.pixels.len(), "pixel"),
        n(view.distance_m)
    )
}

/// The line above the heading.
#[must_use]
pub fn eyebrow(sheet: &Sheet) -> String {
    let mut parts = vec!["What it will look like, before anything is bought".to_owned()];
    parts.extend(sheet.client.as_ref().map(|client| format!("for {client}")));
    parts.extend(sheet.date.clone());
    parts.join(" · ")
}

/// The large picture with its words.
#[must_use]
pub fn hero(sheet: &Sheet) -> Shown<'_> {
    let look = crate::choose::compare::words::look_of(&sheet.judged.value);
    Shown {
        picture: &sheet.views.hero,
        title: String::new(),
        caption: format!(
            "The whole garment. Computed, not photographed; {}.",
            exposure_words(sheet.views.exposure.0)
        ),
        alt: format!(
            "The whole garment, computed: {} {}, {} cd/m2 on average.",
            deck(sheet),
            capital(look),
            digits(sheet.judged.value.mean_cd_m2)
        ),
    }
}

/// The words at the foot.
#[must_use]
pub fn foot() -> &'static str {
    "Computed by Weftlight from the physics of light in cloth. Figures are estimates and no promise; a test piece decides. No claim of safety: local codes \
     and licensed practice do."
}

/// All sections in the order of the sheet.
#[must_use]
pub fn sections(sheet: &Sheet) -> Vec<Section<'_>> {
    let section = |part, title, blocks| Section { part, title, blocks };
    let mut all = vec![
        section(Part::Glance, "At a glance", vec![Block::Glance(glance(sheet))]),
        section(Part::Lights, "In three lights", lights(sheet)),
        section(Part::Distances, "Near and far", distances(sheet)),
    ];
    if sheet.motion.is_some() {
        all.push(section(Part::Motion, "In motion", vec![Block::Motion]));
    }
    all.extend([
        section(Part::Cloths, "Cloth and colours", cloths(sheet)),
        section(Part::MadeOf, "What it is made of", vec![Block::Facts(made_of(sheet))]),
        section(Part::Numbers, "The numbers that matter", vec![Block::Facts(numbers(sheet))]),
        section(Part::Sure, "How sure is this", vec![Block::Points(sure(sheet))]),
        section(Part::Cautions, "Please mind", vec![Block::Cautions(cautions::by_reader(sheet))]),
    ]);
    all
}

fn lights(sheet: &Sheet) -> Vec<Block<'_>> {
    let shown = sheet.lights.iter().map(|light| {
        let lux = n(light.room_lx);
        let look = capital(light.look);
        Shown {
            picture: &light.picture,
            title: format!("{}, {lux}\u{a0}lx", light.name),
            caption: format!("{look}; {}.", light.in_words()),
            alt: format!("{}, with {lux} lx on the cloth: {}; {}.", light.name, light.look, light.in_words()),
        }
    });
    vec![
        Block::Pictures(shown.collect()),
        Block::Words(format!(
            "All three at one exposure (EV\u{a0}{:.1} at ISO\u{a0}100), as a camera that does not change sees them, so that they can be compared. Eyes do change: \
             used to the dark they find the glow much brighter than the first picture shows; coming from daylight, paler.",
            sheet.lights_exposure.0
        )),
    ]
}

fn distances(sheet: &Sheet) -> Vec<Block<'_>> {
    let views = &sheet.views;
    let shown = [("Near", &views.near), ("Far", &views.far)].map(|(name, seen)| {
        let metres = n(seen.distance_m);
        Shown {
            picture: &seen.picture,
            title: format!("{name}, from {metres}\u{a0}m"),
            caption: format!("{}.", capital(seen.look)),
            alt: format!("Seen from {metres} m: {}.", seen.look),
        }
    });
    let mut blocks = vec![Block::Pictures(shown.into())];
    let last = sheet.zones.len().saturating_sub(1);
    if !sheet.zones.is_empty() {
        let stretches = sheet.zones.iter().enumerate().map(|(i, zone)| Stretch {
            words: capital(&zone.in_words(i == 0, i == last)),
            look: zone.look,
            share: zone.share(&sheet.zones),
        });
        blocks.push(Block::Distances(stretches.collect()));
    }
    blocks.push(Block::Words(format!(
        "Both pictures cover the same angle of view, {:.1} degrees across, so that things get smaller with distance as in life; both at the exposure of the large \
         picture, EV\u{a0}{:.1} at ISO\u{a0}100.",
        views.angle_deg, views.exposure.0
    )));
    blocks
}

fn cloths(sheet: &Sheet) -> Vec<Block<'_>> {
    if sheet.cloths.is_empty() {
        return vec![Block::Words("No cloth lies over the pixels: they are bare.".to_owned())];
    }
    let mut below = "the board with the pixels".to_owned();
    let words = sheet.cloths.iter().map(|card| {
        let title = one_line(&card.title);
        let on = std::mem::replace(&mut below, title.clone());
        let [low, high] = card.gap_mm;
        let lies = if high <= 0.0 {
            format!("lies on {on}")
        } else if high - low < 0.005 {
            format!("{} above {on}", mm(low))
        } else {
            format!("{} to {} above {on}", n(low), mm(high))
        };
        let areal =
            card.areal_mass_g_m2.map_or("mass not known".to_owned(), |mass| format!("{}\u{a0}g/m2", n(mass)));
        let whole =
            card.mass_g.map_or(String::new(), |grams| format!(", {}\u{a0}g in this piece", digits(grams)));
        let sleeve = if card.sleeve { "sleeve of the strip; " } else { "" };
        ClothWords {
            facts: format!(
                "{sleeve}{} thick, {areal}{whole}; {}",
                mm(card.thickness_mm),
                card.basis.in_words()
            ),
            alt: format!("{title}: unlit {}; lit {}.", hex(card.unlit), lit_words(card)),
            lies,
            title,
            card,
        }
    });
    vec![
        Block::Cloths(words.collect()),
        Block::Words(
            "Left, the cloth unlit in daylight over what the pixels sit on; right, the colour of the pixels' light through this cloth alone, as bright as a screen \
             can show it."
                .to_owned(),
        ),
    ]
}

fn lit_words(card: &ClothCard) -> String {
    match card.lit.as_slice() {
        [] => "dark, for no pixel is lit".to_owned(),
        lit => lit.iter().map(|colour| hex(*colour)).collect::<Vec<_>>().join(", "),
    }
}

/// A colour as a screen's code.
#[must_use]
pub fn hex([r, g, b]: [u8; 3]) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}
