//! Groups of pixels: from an entry of the list to places and levels.

use super::drawn::{self, Drawings};
use super::shape::{GROUP, MOST_EXTENT_MM};
use super::{GroupForm, Laid, Pixel};
use crate::diagnose::{Problem, Problems};
use crate::motion::pattern::Sent;
use crate::pixels::layout::{self, GridOrder, Place};
use crate::pixels::package::{Die, Package};
use crate::quantity::Millimetres;
use crate::reading::{Entry, Node};
use std::sync::Arc;

/// What is sent to a pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Dimming {
    /// Colour code.
    colour: [u8; 3],
    /// Level, 0 to 1.
    level: f64,
    /// Share of a white die, 0 to 1, before the level.
    white: f64,
}

impl Dimming {
    /// What `light` says.
    pub(super) fn of_light(light: &Entry<'_>) -> Option<Dimming> {
        Some(Dimming {
            colour: light.colour("colour")?,
            level: light.number("level")?,
            white: light.number("white")?,
        })
    }

    /// The same for a pattern.
    fn sent(&self) -> Sent {
        Sent {
            colour: self.colour.map(|value| f64::from(value) / 255.0),
            white: self.white,
            level: self.level,
        }
    }

    /// Level of each die of a package. The level dims a white die beside coloured ones like the others; a package
    /// with nothing but a white die follows the colour.
    fn duties(&self, package: &Package) -> Vec<f64> {
        let code = self.colour.map(|value| f64::from(value) / 255.0);
        let duties = package.raw_levels(code, self.level);
        package
            .dies
            .iter()
            .zip(duties)
            .map(|(facts, duty)| match facts.die {
                Die::White if package.dies.len() > 1 => self.white * self.level,
                _ => duty,
            })
            .collect()
    }
}

/// How the pixels of a group lie.
#[derive(Clone, Debug)]
enum Form {
    Strip { start: [f64; 2], direction_deg: f64, pitch: f64, count: usize },
    Ring { centre: [f64; 2], diameter: f64, start_deg: f64, count: usize },
    Grid { centre: [f64; 2], pitch: f64, size: [usize; 2], order: GridOrder, turn_deg: f64 },
    Drawn(drawn::Form),
    Point { at: [f64; 2], level: f64 },
}

/// A group whose keys are sound.
#[derive(Debug)]
pub(super) struct Group<'a> {
    form: Form,
    package: Arc<Package>,
    entry: Entry<'a>,
}

/// Reads a group; adds what the check of single keys cannot see. `None` after a problem was reported.
pub(super) fn read<'a>(
    node: &'a Node,
    drawings: &mut Drawings<'_>,
    problems: &mut Problems,
) -> Option<Group<'a>> {
    let (kind, entry) = Entry::new(&GROUP, node).only()?;
    let form = match kind {
        "strip" => Form::Strip {
            start: entry.pair("start_mm")?,
            direction_deg: entry.number("direction_deg")?,
            pitch: entry.number("pitch_mm")?,
            count: entry.count("count")?,
        },
        "ring" => Form::Ring {
            centre: entry.pair("centre_mm")?,
            diameter: entry.number("diameter_mm")?,
            start_deg: entry.number("start_deg")?,
            count: entry.count("count")?,
        },
        "grid" => Form::Grid {
            centre: entry.pair("centre_mm")?,
            pitch: entry.number("pitch_mm")?,
            size: [entry.count("columns")?, entry.count("rows")?],
            order: match entry.text("order")? {
                "same_way" => GridOrder::SameWay,
                _ => GridOrder::Zigzag,
            },
            turn_deg: entry.number("turn_deg")?,
        },
        "path" => Form::Drawn(drawn::read_path(&entry, drawings, problems)?),
        "fill" => Form::Drawn(drawn::read_fill(&entry, drawings, problems)?),
        "list" => Form::Drawn(drawn::read_list(&entry, drawings, problems)?),
        _ => Form::Point { at: entry.pair("at_mm")?, level: entry.number("level")? },
    };
    let package = match kind {
        "point" => Package::ideal(entry.number("beam_power")?),
        _ => Package::named(entry.text("package")?)?,
    };
    let group = Group { form, package: Arc::new(package), entry };
    group.check_extent(problems)?;
    group.check_room(problems);
    Some(group)
}

impl Group<'_> {
    /// The same group with its pixels this far apart: as long, as large, with more or fewer pixels. A point stays as it is.
    pub(super) fn at_pitch(self, pitch: f64, problems: &mut Problems) -> Option<Self> {
        let steps = |length: f64| (length / pitch).round().max(1.0) as usize;
        let more = |former: f64, count: usize| {
            if count > 1 { steps(former * (count as f64 - 1.0)) + 1 } else { count }
        };
        let form = match self.form {
            Form::Strip { start, direction_deg, pitch: former, count } => {
                Form::Strip { start, direction_deg, pitch, count: more(former, count) }
            }
            Form::Ring { centre, diameter, start_deg, count } if count > 1 => Form::Ring {
                centre,
                diameter,
                start_deg,
                count: steps(std::f64::consts::PI * diameter).max(2),
            },
            Form::Grid { centre, pitch: former, size, order, turn_deg } => {
                Form::Grid { centre, pitch, size: size.map(|count| more(former, count)), order, turn_deg }
            }
            Form::Drawn(drawn) => Form::Drawn(drawn.at_pitch(pitch, &self.entry, problems)?),
            as_it_is => as_it_is,
        };
        let group = Group { form, ..self };
        group.check_extent(problems)?;
        group.check_room(problems);
        Some(group)
    }

    /// Number of pixels. A float, since a grid may ask for more than a machine word holds.
    pub(super) fn pixels(&self) -> f64 {
        match self.form {
            Form::Strip { count, .. } | Form::Ring { count, .. } => count as f64,
            Form::Grid { size: [columns, rows], .. } => columns as f64 * rows as f64,
            Form::Drawn(ref drawn) => drawn.pixels(),
            Form::Point { .. } => 1.0,
        }
    }

    fn check_extent(&self, problems: &mut Problems) -> Option<()> {
        let (extent, key) = match self.form {
            Form::Strip { pitch, count, .. } => (pitch * (count as f64 - 1.0), "count"),
            Form::Grid { pitch, size: [columns, rows], .. } => {
                (pitch * (columns.max(rows) as f64 - 1.0), if columns >= rows { "columns" } else { "rows" })
            }
            // The range of its diameter bounds a ring, the reach of its shapes a drawing.
            Form::Ring { .. } | Form::Drawn(_) | Form::Point { .. } => return Some(()),
        };
        if extent <= MOST_EXTENT_MM {
            return Some(());
        }
        problems.push(
            Problem::error(
                self.entry.place_of(key),
                format!("{} would be too long", self.entry.shape().what),
            )
            .found(format!("{:.0} mm from the first pixel to the last", extent))
            .allowed(format!("at most {MOST_EXTENT_MM} mm"))
            .next(format!("Check `pitch_mm` and `{key}`.")),
        );
        None
    }

    /// Warns when the packages do not fit side by side.
    fn check_room(&self, problems: &mut Problems) {
        let (pitch, key) = match self.form {
            Form::Strip { pitch, count, .. } if count > 1 => (pitch, "pitch_mm"),
            Form::Grid { pitch, size: [columns, rows], .. } if columns.max(rows) > 1 => (pitch, "pitch_mm"),
            Form::Ring { diameter, count, .. } => {
                (layout::ring_pitch(Millimetres(diameter), count).0, "diameter_mm")
            }
            Form::Drawn(ref drawn) => match drawn.pitch_mm() {
                Some(pitch) => (pitch, "pitch_mm"),
                None => return,
            },
            _ => return,
        };
        if pitch < self.package.body.0 {
            problems.push(
                Problem::warning(self.entry.place_of(key), "the pixels do not fit side by side")
                    .found(format!("{pitch:.2} mm from centre to centre"))
                    .allowed(format!(
                        "at least {}, the side of package {}",
                        self.package.body, self.package.name
                    ))
                    .next("Give them more room, or name a smaller package."),
            );
        }
    }

    fn places(&self) -> Vec<Place> {
        let mm = |[x, y]: [f64; 2]| [Millimetres(x), Millimetres(y)];
        match self.form {
            Form::Strip { start, direction_deg, pitch, count } => {
                layout::strip(mm(start), direction_deg.to_radians(), Millimetres(pitch), count).collect()
            }
            Form::Ring { centre, diameter, start_deg, count } => {
                layout::ring(mm(centre), Millimetres(diameter), start_deg.to_radians(), count).collect()
            }
            Form::Grid { centre, pitch, size, order, turn_deg } => layout::turned(
                layout::grid(mm(centre), Millimetres(pitch), size, order),
                mm(centre),
                turn_deg,
            )
            .collect(),
            Form::Drawn(ref drawn) => drawn.places(),
            Form::Point { at, .. } => vec![Place { at: mm(at), turn_rad: 0.0 }],
        }
    }

    /// The group's own gap to the first cloth in mm.
    pub(super) fn own_gap_mm(&self) -> Option<f64> {
        self.entry.has("gap_mm").then(|| self.entry.number("gap_mm"))?
    }

    /// What it is.
    pub(super) fn form(&self) -> GroupForm {
        match self.form {
            Form::Strip { pitch, .. } => GroupForm::Strip { pitch_mm: pitch },
            Form::Ring { diameter, .. } => GroupForm::Ring { diameter_mm: diameter },
            Form::Grid { pitch, size, .. } => GroupForm::Grid { size, pitch_mm: pitch },
            Form::Drawn(_) => GroupForm::Drawn,
            Form::Point { .. } => GroupForm::Point,
        }
    }

    /// What is to be told about a group that follows a drawing or a list.
    pub(super) fn laid(&self, index: usize) -> Option<Laid> {
        match &self.form {
            Form::Drawn(drawn) => Some(drawn.laid(index)),
            _ => None,
        }
    }

    /// The pixels with what is sent to them. `None` when one of the group's own colours or levels is faulty.
    pub(super) fn lit_pixels(&self, light: &Dimming, index: usize) -> Option<(Vec<Pixel>, Vec<Sent>)> {
        let dimming = self.dimming(light)?;
        let ideal = matches!(self.form, Form::Point { .. });
        let duties = |i: usize| {
            let dimming: Dimming = dimming(i);
            if ideal {
                // An ideal source has no colours: its level is that of all it has.
                vec![dimming.level; self.package.dies.len()]
            } else {
                dimming.duties(&self.package)
            }
        };
        let lit = self.places().into_iter().enumerate().map(|(i, place)| Pixel {
            at: place.at,
            turn_rad: place.turn_rad,
            package: Arc::clone(&self.package),
            levels: duties(i),
            group: index,
            // Known only when the stack is: see `stand_off::settle`.
            extra_gap: Millimetres(0.0),
        });
        let pixels: Vec<Pixel> = lit.collect();
        let sent = (0..pixels.len()).map(|i| dimming(i).sent()).collect();
        Some((pixels, sent))
    }

    /// What pixel i of the group is sent: the group's own word first, then what `light` says.
    fn dimming(&self, light: &Dimming) -> Option<Box<dyn Fn(usize) -> Dimming>> {
        if let Form::Point { level, .. } = self.form {
            return Some(Box::new(move |_| Dimming { colour: [u8::MAX; 3], level, white: 1.0 }));
        }
        let entry = &self.entry;
        let colours = if entry.has("colours") {
            entry.colours("colours")?
        } else if entry.has("colour") {
            vec![entry.colour("colour")?]
        } else {
            vec![light.colour]
        };
        let levels = if entry.has("levels") {
            entry.numbers("levels")?
        } else if entry.has("level") {
            vec![entry.number("level")?]
        } else {
            vec![light.level]
        };
        let white = if entry.has("white") { entry.number("white")? } else { light.white };
        Some(Box::new(move |i| {
            let colour = colours[i % colours.len()];
            let level = levels[i % levels.len()];
            Dimming { colour, level, white }
        }))
    }
}
