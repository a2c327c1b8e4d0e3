//! What an estimate means, in words for the maker.

use super::super::super::check::mm;
use super::super::{COLOURS, LEAST_SHARE, STAND_OFF_MM, percent, with_range};
use crate::cloth::Cloth;
use crate::cloth::diffuse::through_with_range;
use crate::cloth::fibres;
use crate::cloth::label::LabelInput;
use crate::cloth::label::influence::{Influence, Influences, Input, Range};
use crate::quantity::Nanometres;
use crate::words::{folded, three_digits};

/// Fibres as a label names them.
pub(super) fn fibres(fibres: &[(String, f64)]) -> String {
    match fibres {
        [(name, _)] => name.clone(),
        many => {
            let parts: Vec<String> = many.iter().map(|(name, share)| format!("{name} {share} %")).collect();
            parts.join(", ")
        }
    }
}

/// The estimate, how well each value of it is known, and what to measure.
pub(super) fn explained(
    cloth: &Cloth,
    label: &LabelInput,
    influences: &Influences,
    colour: &str,
) -> Vec<String> {
    let mut lines = vec![
        format!("{}: an estimate from the label. Nothing was measured.", title_in_one_line(cloth)),
        String::new(),
    ];
    lines.extend(numbers(cloth));
    lines.push(String::new());
    lines.extend(table(label, influences, colour));
    lines.push(String::new());
    lines.extend(what_matters(cloth, label, influences));
    lines.into_iter().flat_map(|line| folded(&line)).collect()
}

fn title_in_one_line(cloth: &Cloth) -> String {
    cloth.title.replace('\n', " ")
}

/// The numbers with the ranges that every command gives this cloth.
fn numbers(cloth: &Cloth) -> Vec<String> {
    let tau = cloth.extinction * cloth.thickness;
    let green = cloth.albedo.at(Nanometres(COLOURS[1].1));
    let u = 1.0 + cloth.uncertainty.optical_thickness;
    let thick =
        |tau: f64| format!("{} ({} to {})", three_digits(tau), three_digits(tau / u), three_digits(tau * u));
    let open = cloth.openness;
    let u = 1.0 + cloth.uncertainty.openness;
    let holes =
        if open > 0.0 { with_range([open, open / u, (open * u).min(1.0)]) } else { "none".to_owned() };
    let mut lines = vec![
        format!("Optical thickness of the covered part: {}.", thick(tau)),
        format!(
            "Reduced, as if it scattered to all sides alike: {} in green.",
            thick(tau * (1.0 - green * cloth.asymmetry))
        ),
        format!("Holes, share of the area: {holes}."),
        "Light from all sides that it lets through, with the range from optical thickness and holes:"
            .to_owned(),
    ];
    for (colour, nm) in COLOURS {
        let through = with_range(through_with_range(cloth, Nanometres(nm)));
        lines.push(format!("  {colour:<6} {nm} nm   {through}"));
    }
    lines
}

/// How well each value is known, and what it does.
fn table(label: &LabelInput, influences: &Influences, colour: &str) -> Vec<String> {
    let mut lines = vec![
        format!(
            "How well each value is known, and what that does to {colour} light ({}) and to the scattered spot of one pixel {STAND_OFF_MM} mm \
             behind ({}):",
            percent(influences.light),
            influences
                .spot_mm
                .map_or("no width".to_owned(), |spot| format!("{} mm wide", three_digits(spot)))
        ),
        row("value", "as given", "known to", "light let through", "spot width"),
    ];
    for one in &influences.each {
        lines.push(row(
            one.input.name(),
            &as_given(one.input, label),
            &one.input.known_to(),
            &light(one.light),
            &spot(one.spot_mm),
        ));
    }
    let (together, spot_together) = (light(influences.light_together), spot(influences.spot_together));
    lines.push(row("all together", "", "", &together, &spot_together));
    lines.push(
        "All ranges are one standard uncertainty: the truth lies outside in about one case of three."
            .to_owned(),
    );
    lines.push("On what these rest:".to_owned());
    lines.extend(influences.each.iter().map(|one| format!("- {}: {}", one.input.name(), one.input.basis())));
    lines
}

fn row(value: &str, given: &str, known_to: &str, light: &str, spot: &str) -> String {
    format!("  {value:<15} {given:<22} {known_to:<11} {light:<21} {spot}").trim_end().to_owned()
}

fn light(range: Range) -> String {
    let (low, high) = (percent(range.low), percent(range.high));
    if range.high < LEAST_SHARE {
        high
    } else if low == high {
        format!("stays at {low}")
    } else {
        format!("{low} to {high}")
    }
}

fn spot(range: Option<Range>) -> String {
    let Some(range) = range else { return "no width".to_owned() };
    let (low, high) = (three_digits(range.low), three_digits(range.high));
    if low == high { format!("stays at {low} mm") } else { format!("{low} to {high} mm") }
}

/// A value as the label gives it, or as the estimate took it.
fn as_given(input: Input, label: &LabelInput) -> String {
    match input {
        Input::Mass => format!("{} g/m2", label.areal_mass_g_m2),
        Input::Diameter => match label.fibre_um {
            Some(diameter) => format!("{diameter} µm"),
            None => format!("{} µm, typical", usual_diameters(label)),
        },
        Input::Holes => match label.cover {
            Some(cover) => percent(1.0 - cover),
            None => format!("{}, typical", percent(1.0 - label.structure.usual_cover())),
        },
        Input::Colour => {
            let [red, green, blue] = label.colour;
            format!("#{red:02x}{green:02x}{blue:02x}")
        }
        Input::Thickness => mm(label.thickness.0),
        Input::Model | Input::Threads => "left out".to_owned(),
    }
}

fn usual_diameters(label: &LabelInput) -> String {
    let mut all: Vec<String> = Vec::new();
    for fibre in label.fibres.iter().filter_map(|(name, _)| fibres::find(name)) {
        let diameter = fibre.diameter_um.to_string();
        if !all.contains(&diameter) {
            all.push(diameter);
        }
    }
    all.join(" and ")
}

/// What matters most, and how to find it out with what there is in a household.
fn what_matters(cloth: &Cloth, label: &LabelInput, influences: &Influences) -> Vec<String> {
    let measurable = |input: Input| !matches!(input, Input::Model | Input::Threads);
    let for_light =
        worth_measuring(influences.most_for_light(measurable), influences.most_for_light(Input::at_home));
    let for_spot =
        worth_measuring(influences.most_for_spot(measurable), influences.most_for_spot(Input::at_home));
    let home: Vec<&str> =
        influences.each.iter().map(|one| one.input).filter(|i| i.at_home()).map(Input::name).collect();
    let (now, left) = (light(influences.light_together), light(influences.light_without(Input::at_home)));
    let mut lines = if influences.light_together.high < LEAST_SHARE {
        vec!["Hardly any light gets through, whatever of this is measured.".to_owned()]
    } else {
        vec![
            format!(
                "What matters most to measure: for the light let through {for_light}; for the width of the spot {for_spot}."
            ),
            format!(
                "A ruler, a kitchen scale and a phone tell {}. If all of these were known exactly, the light let through would \
                 still range from {left} (now {now}); the rest lies in the fibres and in the model, and a test piece decides.",
                home.join(", "),
            ),
        ]
    };
    lines.push("How to measure, what moves the light most first:".to_owned());
    let mut order: Vec<&Influence> = influences.each.iter().filter(|one| measurable(one.input)).collect();
    order.sort_by(|a, b| b.light_factor().total_cmp(&a.light_factor()));
    let told = order
        .iter()
        .map(|one| format!("- {}: {}", one.input.name(), how_to_measure(one.input, cloth, label)));
    lines.extend(told);
    lines.push(format!(
        "- all of it: put one pixel {STAND_OFF_MM} mm behind a test piece in a dark room and hold it beside the picture that \
         `weftlight cloth show` makes of this file."
    ));
    lines
}

/// The value that moves something most, and the one at home that does where the first cannot be measured there.
fn worth_measuring(most: Option<&Influence>, at_home: Option<&Influence>) -> String {
    let the = |one: &Influence| format!("the {}", one.input.name());
    match (most, at_home) {
        (Some(most), Some(home)) if most.input == home.input => the(most),
        (Some(most), Some(home)) => format!("{} (ask the supplier), and at home {}", the(most), the(home)),
        (Some(one), None) | (None, Some(one)) => the(one),
        (None, None) => "nothing".to_owned(),
    }
}

fn how_to_measure(input: Input, cloth: &Cloth, label: &LabelInput) -> String {
    match input {
        Input::Mass => weighing(label.areal_mass_g_m2),
        Input::Thickness => format!(
            "lay 10 layers loosely on each other and measure their height with a ruler, without pressing: {} by these figures.",
            mm(10.0 * label.thickness.0)
        ),
        Input::Colour => "fold the cloth until nothing shines through, photograph it in daylight beside white paper, and read the \
             colour where the paper is about 240 of 255 (common practice, no source)."
            .to_owned(),
        Input::Holes => format!(
            "photograph the cloth from close by against a bright window and estimate the share of the area through which the \
             window shows: {} by these figures.",
            percent(cloth.openness)
        ),
        Input::Diameter => fineness(label),
        Input::Model | Input::Threads => "only a test piece tells.".to_owned(),
    }
}

/// A piece heavy enough for a kitchen scale, which shows whole grams.
fn weighing(areal_mass_g_m2: f64) -> String {
    /// Half a gram of these is 2.5 %.
    const ENOUGH_G: f64 = 20.0;
    let grams = |side_cm: f64| areal_mass_g_m2 * (side_cm / 100.0).powi(2);
    let side = [20.0, 30.0, 50.0, 100.0].into_iter().find(|&side| grams(side) >= ENOUGH_G).unwrap_or(100.0);
    format!(
        "weigh a piece of {side} x {side} cm on a kitchen scale: {} g by these figures; every gram is {} g/m2.",
        three_digits(grams(side)),
        three_digits(1.0 / (side / 100.0).powi(2))
    )
}

/// Linear density in dtex of a round fibre: mass in grams of 10 km (geometry).
fn dtex(density_g_cm3: f64, diameter_um: f64) -> f64 {
    const PER_SQUARE_UM: f64 = 0.01 * std::f64::consts::FRAC_PI_4;
    density_g_cm3 * diameter_um * diameter_um * PER_SQUARE_UM
}

fn fineness(label: &LabelInput) -> String {
    let each: Vec<String> = label
        .fibres
        .iter()
        .filter_map(|(name, _)| fibres::find(name))
        .map(|fibre| {
            let diameter = label.fibre_um.unwrap_or(fibre.diameter_um);
            let dtex = three_digits(dtex(fibre.density_g_cm3, diameter));
            format!("{diameter} micrometres of {} are {dtex} dtex", fibre.name)
        })
        .collect();
    format!(
        "no household tool measures it; ask the supplier for micrometres or for the fineness ({}).",
        each.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fineness_of_round_fibres() {
        // 1 dtex of polyester is 9.6 um across, 20 dtex of nylon 47 um: `d = 11.28 sqrt(dtex / density)`, rounded.
        assert!((dtex(1.39, 9.57) - 1.0).abs() < 0.01);
        assert!((dtex(1.14, 47.25) - 20.0).abs() < 0.1);
    }

    #[test]
    fn pieces_that_a_kitchen_scale_can_weigh() {
        assert!(
            weighing(600.0)
                .contains("20 x 20 cm on a kitchen scale: 24.0 g by these figures; every gram is 25.0 g/m2")
        );
        assert!(weighing(100.0).contains("50 x 50 cm"));
        assert!(weighing(5.0).contains("100 x 100 cm"));
    }
}
