use super::contact::{cells, columns, footer, frame, heading};
use super::filter::{Filter, filtered};
use super::verdict::{Grade, Graded, Reason, Standard, verdict};
use super::words::{self, Varied};
use super::*;
use crate::cloth::catalogue::{CatalogueOnly, by_name};
use crate::picture::canvas::Canvas;
use crate::picture::exposure::ExposureValue;
use crate::scene::file::resolve;

fn scene(stack: &str) -> Scene {
    let text = format!("name: Cuff\npixels: [strip: {{pitch_mm: 10, count: 4}}]\nstack: {stack}\n");
    resolve(&text, "test", &CatalogueOnly).expect("in order").scene
}

fn cloth(name: &str) -> Arc<Cloth> {
    by_name(name).expect("listed").expect("in order")
}

fn wanted(cloths: &[&str], layers: &[usize], gaps: &[f64]) -> Wanted {
    Wanted {
        cloths: cloths.iter().map(|name| cloth(name)).collect(),
        layers: layers.to_vec(),
        gaps: gaps.iter().copied().map(Millimetres).collect(),
        replaced: Replaced::Outermost,
    }
}

/// A cloth that all but hides the dots and keeps a third of the light.
const PLAIN: Numbers = Numbers {
    spot_width_mm: Some(20.0),
    widest_spot_mm: None,
    evenness: Some(0.9),
    ripple: Some(0.05),
    dot_visibility: Some(0.8),
    dots_vanish_m: Some(1.5),
    mean_cd_m2: 300.0,
    peak_cd_m2: 330.0,
    light_kept: 0.3,
    colour_shift: Some(2.0),
    contrast_with_room: 60.0,
    thickness_mm: 9.0,
    areal_mass_g_m2: Some(200.0),
};

fn row(name: &str, value: Numbers, samples: Vec<Numbers>) -> Row {
    let candidate =
        Candidate { cloth: cloth(name), layers: 1, gap: Millimetres(6.0), replaced: Replaced::Outermost };
    Row { candidate, judged: Judged { value, samples }, straight: 0.0 }
}

fn visibility(value: f64) -> Numbers {
    Numbers { dot_visibility: Some(value), ..PLAIN }
}

fn kept(value: f64) -> Numbers {
    Numbers { light_kept: value, ..PLAIN }
}

fn names(rows: &[Row]) -> Vec<&str> {
    rows.iter().map(|row| row.candidate.cloth.name.as_str()).collect()
}

#[test]
fn candidates_are_every_cloth_in_every_way_once() {
    let base = scene("[{gap_mm: 6, cloth: muslin}]");
    let all = wanted(&["jersey", "fleece"], &[2, 1, 2], &[8.0, 4.0, 8.0]).candidates(&base).expect("some");
    let told: Vec<_> = all.iter().map(|c| (c.gap.0, c.layers, c.cloth.name.as_str())).collect();
    let gap = |gap: f64| [(gap, 1, "jersey"), (gap, 1, "fleece"), (gap, 2, "jersey"), (gap, 2, "fleece")];
    assert_eq!(told, [gap(4.0), gap(8.0)].concat());
    // The scene's own gap, one layer: nothing else is changed.
    let own = wanted(&["muslin"], &[], &[]).candidates(&base).expect("one");
    assert_eq!((own.len(), own[0].gap.0, own[0].layers), (1, 6.0, 1));
    assert_eq!(own[0].scene(&base), base);
    assert_eq!(own[0].thickness(&base), base.thickness());
}

#[test]
fn candidates_that_cannot_be() {
    let bare = scene("[]");
    assert_eq!(wanted(&["jersey"], &[], &[]).candidates(&bare).expect_err("no gap"), Unfit::NoGap);
    let at_4 = wanted(&["jersey"], &[2], &[4.0]).candidates(&bare).expect("a gap makes it a scene");
    let stack: Vec<_> =
        at_4[0].scene(&bare).stack.iter().map(|p| (p.gap_below.0, p.cloth.name.clone())).collect();
    assert_eq!(stack, [(4.0, "jersey".to_owned()), (0.0, "jersey".to_owned())]);
    let two = scene("[{gap_mm: 6, cloth: wadding}, {cloth: muslin}]");
    let seven = wanted(&["jersey"], &[7], &[]);
    assert!(seven.candidates(&two).is_ok(), "eight cloths are a scene");
    let eight = Wanted { layers: vec![1, 8], ..seven };
    assert_eq!(eight.candidates(&two).expect_err("nine are not"), Unfit::TooManyLayers { would: 9 });
    assert!(Wanted { replaced: Replaced::All, ..eight }.candidates(&two).is_ok());
    let gaps: Vec<f64> = (0..1001).map(f64::from).collect();
    let many = wanted(&["jersey"], &[1, 2], &gaps).candidates(&two).expect_err("too many");
    assert!(many.to_string().contains("make 2002 candidates; at most 2000"), "{many}");
}

#[test]
fn what_stays_below() {
    let two = scene("[{gap_mm: 6, cloth: wadding}, {cloth: muslin}]");
    let mut wanted = wanted(&["jersey"], &[], &[]);
    assert_eq!(
        contact::below_in_words(&two, &wanted).as_deref(),
        Some("Below every cloth stays, as in the scene: Wadding, white, 15 mm.")
    );
    let thickness = |wanted: &Wanted| wanted.candidates(&two).expect("one")[0].thickness(&two).0;
    // By hand: 6 mm gap, 15 mm wadding, 0.6 mm jersey. The rounding is that of a few doubles.
    assert!((thickness(&wanted) - 21.6).abs() < 1e-12);
    wanted.replaced = Replaced::All;
    assert_eq!(contact::below_in_words(&two, &wanted), None);
    assert!((thickness(&wanted) - 6.6).abs() < 1e-12);
}

#[test]
fn rows_are_judged_as_their_scenes_are() {
    let base = scene("[{gap_mm: 6, cloth: muslin}]");
    let all = wanted(&["mesh-black", "fleece"], &[], &[3.0]).candidates(&base).expect("two");
    let count = std::sync::atomic::AtomicUsize::new(0);
    let rows = judged(&base, &all, &|| {
        count.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    });
    assert_eq!(count.into_inner(), 2);
    for row in &rows {
        let scene = row.candidate.scene(&base);
        let direct = Layout::of(&scene).judged(&scene);
        assert_eq!((direct.value, direct.samples), (row.judged.value, row.judged.samples.clone()));
    }
    // Half of the mesh is holes; fleece has none.
    assert!(rows[0].straight > 0.4 && rows[1].straight < 0.001, "{} {}", rows[0].straight, rows[1].straight);
}

#[test]
fn orders() {
    let priced = |name: &str, price: Option<f64>, layers: usize, numbers: Numbers| {
        let mut row = row(name, numbers, Vec::new());
        Arc::make_mut(&mut row.candidate.cloth).buying.price_per_m = price;
        row.candidate.layers = layers;
        row
    };
    let mut rows = vec![
        priced("jersey", None, 1, Numbers { thickness_mm: 7.0, ..visibility(5.0) }),
        priced("fleece", Some(4.0), 3, Numbers { light_kept: 0.2, ..visibility(0.5) }),
        priced("muslin", Some(9.0), 1, Numbers { light_kept: 0.6, ..visibility(5.0) }),
    ];
    for (order, expected) in [
        (Order::Dots, ["fleece", "muslin", "jersey"]),
        (Order::Light, ["muslin", "jersey", "fleece"]),
        (Order::Thickness, ["jersey", "muslin", "fleece"]),
        (Order::Price, ["muslin", "fleece", "jersey"]),
    ] {
        sort(&mut rows, order);
        assert_eq!(names(&rows), expected, "{order:?}");
    }
    // Single lights: the widest spot is the softest.
    let lonely =
        |width| Numbers { dot_visibility: None, dots_vanish_m: None, spot_width_mm: Some(width), ..PLAIN };
    let mut rows = vec![row("jersey", lonely(8.0), Vec::new()), row("fleece", lonely(12.0), Vec::new())];
    sort(&mut rows, Order::Dots);
    assert_eq!(names(&rows), ["fleece", "jersey"]);
    assert_eq!(words::dots(&rows[0]), "single lights, 12 mm wide each");
    assert_eq!(words::vanishing(&rows[0]), None);
}

#[test]
fn what_overlaps_is_not_told_apart() {
    let spread = |name: &str, middle: f64, values: &[f64]| {
        row(name, visibility(middle), values.iter().map(|v| visibility(*v)).collect())
    };
    let apart = |a: &Row, b: &Row| told_apart(a, b, Order::Dots);
    let wide = spread("wadding", 10.0, &[5.0, 8.0, 12.0, 20.0]);
    let inside = spread("fleece", 12.0, &[9.0, 10.0, 13.0, 15.0]);
    let beyond = spread("jersey", 40.0, &[30.0, 35.0, 45.0, 50.0]);
    assert!(!apart(&wide, &inside) && !apart(&inside, &wide));
    assert!(apart(&wide, &beyond) && apart(&beyond, &wide) && apart(&inside, &beyond));
    // Narrow ranges that do not meet, yet no eye tells 5 % of dot visibility.
    let (one, close) = (spread("muslin", 10.0, &[9.99, 10.01]), spread("voile", 10.5, &[10.49, 10.51]));
    assert!(!apart(&one, &close));
    // Without samples the numbers are taken as they stand.
    let (near, far) = (row("poplin", visibility(1.0), Vec::new()), row("satin", visibility(2.0), Vec::new()));
    assert!(apart(&near, &far));
    assert!(!told_apart(&near, &far, Order::Thickness), "equally thick");
    let rows = [wide, inside, beyond];
    let verdict = verdict(&rows, Standard::of(2.0, &[]), Order::Dots, Varied::default());
    assert_eq!(verdict.level, [0, 1]);
    let said = verdict.in_words(&rows, Order::Dots).join("\n");
    let told = "In dots these cannot be told apart by their labels, so choose among them by something else: wadding; fleece.";
    assert!(said.contains(told), "{said}");
}

#[test]
fn filters_take_out_and_tell_where_it_is_open() {
    let rows = vec![
        row("jersey", kept(0.25), vec![kept(0.22), kept(0.28)]),
        row("fleece", kept(0.22), vec![kept(0.15), kept(0.3)]),
        row("muslin", kept(0.18), vec![kept(0.15), kept(0.21)]),
        row("satin", Numbers { thickness_mm: 30.0, ..kept(0.18) }, vec![kept(0.15), kept(0.21)]),
        row("canvas", Numbers { dots_vanish_m: Some(f64::INFINITY), ..kept(0.05) }, Vec::new()),
    ];
    let filters = [Filter::AtLeastLight(0.2), Filter::NoDotsAt(1.5), Filter::AtMostMm(9.0)];
    let left = filtered(rows.clone(), &filters);
    assert_eq!(names(&left.kept), ["jersey", "fleece"], "1.5 m and 9 mm are met exactly");
    assert_eq!(filters.map(|f| left.missing(f)), [3, 1, 1]);
    let [open_kept, open_removed] = left.open(filters[0]);
    let name = |row: &&Row| row.candidate.cloth.name.clone();
    assert_eq!(open_kept.iter().map(name).collect::<Vec<_>>(), ["fleece"]);
    assert_eq!(
        open_removed.iter().map(name).collect::<Vec<_>>(),
        ["muslin"],
        "satin is too thick all the same"
    );
    assert_eq!(left.nearest().map(|r| r.row.candidate.cloth.name.as_str()), Some("muslin"));
    let all = filtered(rows, &[]);
    assert!(all.removed.is_empty() && all.nearest().is_none() && all.kept.len() == 5);
    assert!(!Filter::NoDotsAt(9.0).passes(&Numbers { dots_vanish_m: None, ..PLAIN }));
}

#[test]
fn grades_and_their_reasons() {
    let standard = Standard::of(2.0, &[]);
    for (numbers, grade, reasons) in [
        (PLAIN, Grade::Good, &[][..]),
        (visibility(0.999), Grade::Good, &[]),
        (visibility(1.0), Grade::Soft, &[]),
        (visibility(3.0), Grade::Soft, &[]),
        (visibility(3.1), Grade::Avoid, &[Reason::DotsShow]),
        (kept(0.1), Grade::Good, &[]),
        (kept(0.09), Grade::Avoid, &[Reason::EatsLight]),
        (Numbers { colour_shift: Some(15.1), ..PLAIN }, Grade::Avoid, &[Reason::ChangesColour]),
        (Numbers { colour_shift: None, ..PLAIN }, Grade::Good, &[]),
        (Numbers { thickness_mm: 30.1, ..PLAIN }, Grade::Avoid, &[Reason::TooThick]),
        (Numbers { contrast_with_room: 0.9, ..PLAIN }, Grade::Avoid, &[Reason::WashedOut]),
        (
            Numbers { light_kept: 0.01, ..visibility(9.0) },
            Grade::Avoid,
            &[Reason::DotsShow, Reason::EatsLight],
        ),
        (Numbers { dot_visibility: None, dots_vanish_m: None, ..PLAIN }, Grade::Good, &[]),
    ] {
        assert_eq!(standard.grade(&numbers), (grade, reasons.to_vec()), "{numbers:?}");
    }
    // Wants take the place of the usual bounds.
    let wants =
        Standard::of(2.0, &[Filter::AtLeastLight(0.05), Filter::AtMostMm(40.0), Filter::NoDotsAt(1.0)]);
    assert_eq!(
        wants.grade(&Numbers { thickness_mm: 35.0, dots_vanish_m: Some(1.0), ..kept(0.06) }).0,
        Grade::Good
    );
    assert_eq!(wants.grade(&PLAIN).1, [Reason::DotsShow], "they vanish from 1.5 m only");
    assert!(
        wants.in_words().contains("no dots from 1 m, at least 5.0 % of the light kept"),
        "{}",
        wants.in_words()
    );
}

#[test]
fn how_sure_a_grade_is() {
    let standard = Standard::of(2.0, &[]);
    let sure = |middle: f64, samples: &[f64]| {
        let row = row("jersey", visibility(middle), samples.iter().map(|v| visibility(*v)).collect());
        Graded::of(&row, &standard).sure
    };
    assert_eq!(sure(0.8, &[0.7, 0.9, 1.2, 5.0]), Some([2, 4]));
    assert_eq!(sure(2.0, &[0.7, 0.9, 1.2, 5.0]), Some([3, 4]), "smooth is soft as well");
    assert_eq!(sure(4.0, &[0.7, 0.9, 1.2, 5.0]), Some([1, 4]));
    assert_eq!(sure(4.0, &[]), None);
    let words =
        |same| Graded { grade: Grade::Good, reasons: Vec::new(), sure: Some([same, 24]) }.sure_in_words();
    assert_eq!([words(18), words(17)], ["18 of 24", "unsure: 17 of 24"]);
}

#[test]
fn a_verdict_in_words() {
    let bare = |mut row: Row| {
        row.straight = 0.3;
        row
    };
    let rows = vec![
        row("fleece", visibility(0.5), vec![visibility(0.4), visibility(1.4)]),
        row("jersey", visibility(2.0), vec![visibility(2.0); 2]),
        bare(row("organza", visibility(90.0), vec![visibility(90.0); 2])),
        bare(row("voile", visibility(90.0), vec![visibility(90.0); 2])),
        row("canvas", Numbers { light_kept: 0.02, ..visibility(90.0) }, vec![visibility(90.0); 2]),
    ];
    let standard = Standard::of(2.0, &[]);
    let said =
        |rows: &[Row]| verdict(rows, standard, Order::Dots, Varied::default()).in_words(rows, Order::Dots);
    let whole = said(&rows);
    let expected = [
        "Good:",
        "- Fleece, white (unsure: 1 of 2): no dots: 0.50 × threshold (0.40 to 1.4); keeps 30 % of the light; 9 mm thick, 300 cd/m2.",
        "Nearly: dots can be found, all else is good:",
        "- Single jersey, white (2 of 2): soft: 2.0 × threshold; keeps 30 % of the light; 9 mm thick, 300 cd/m2.",
        "Avoid, the pixels are seen through it: organza; voile (2 of 2 each).",
        "Avoid, dots still show, eats the light: canvas (2 of 2).",
    ];
    assert_eq!(whole[1..7], expected, "{whole:#?}");
    assert!(whole.last().expect("lines").ends_with("a test piece decides."), "{whole:#?}");
    let none = said(&rows[2..]);
    assert!(
        none[1].starts_with(
            "None of the 3 hides the dots from 2 m. Of those that are good in all else, Organza, white comes nearest: hard dots"
        ),
        "{none:#?}"
    );
    let soft = said(&rows[1..3]).join("\n");
    assert!(soft.contains("None of the 2 is good in every respect."), "{soft}");
}

#[test]
fn numbers_in_words() {
    for (value, text) in [
        (0.0, "0"),
        (0.004, "under 0.01"),
        (0.042, "0.04"),
        (0.996, "1.0"),
        (4.56, "4.6"),
        (9.96, "10"),
        (47.4, "47"),
        (137.2, "137"),
        (11_634.0, "11600"),
        (f64::INFINITY, "inf"),
    ] {
        assert_eq!(words::digits(value), text);
    }
    for (share, text) in [
        (0.0, "0 %"),
        (0.0004, "under 0.1 %"),
        (0.007, "0.7 %"),
        (0.0999, "10 %"),
        (0.25, "25 %"),
        (1.0, "100 %"),
    ] {
        assert_eq!(words::percent(share), text);
    }
    for (length, text) in
        [(0.125, "0.13 mm"), (6.25, "6.25 mm"), (9.0, "9 mm"), (17.28, "17.3 mm"), (21.0, "21 mm")]
    {
        assert_eq!(words::millimetres(length), text);
    }
    let vanishing = |value: f64, high: f64| {
        let at = |metres| Numbers { dots_vanish_m: Some(metres), ..PLAIN };
        words::vanishing(&row("jersey", at(value), vec![at(value), at(high), at(high)])).expect("dots")
    };
    assert_eq!(vanishing(0.0, 0.0), "no dots from any distance");
    assert_eq!(vanishing(0.0, 4.0), "no dots from any distance (or from 4.0 m on)");
    assert_eq!(vanishing(8.0, 8.0), "dots vanish beyond 8.0 m");
    assert_eq!(vanishing(f64::INFINITY, f64::INFINITY), "dots show even from 200 m");
}

#[test]
fn layers_and_gaps_are_named_where_they_differ() {
    let base = scene("[{gap_mm: 6, cloth: muslin}]");
    let varied = |layers: &[usize], gaps: &[f64]| {
        Varied::among(&wanted(&["jersey"], layers, gaps).candidates(&base).expect("some"))
    };
    let row = row("jersey", PLAIN, Vec::new());
    for (layers, gaps, name) in [
        (&[][..], &[][..], "jersey"),
        (&[1, 2], &[], "jersey, 1 layer"),
        (&[], &[4.0, 8.0], "jersey, gap 6 mm"),
        (&[1, 3], &[4.0, 8.0], "jersey, 1 layer, gap 6 mm"),
    ] {
        assert_eq!(varied(layers, gaps).name(&row), name);
    }
    assert!(varied(&[2], &[]).layers, "two layers are told even when all have two");
}

#[test]
fn cells_say_what_decides() {
    let base = scene("[{gap_mm: 6, cloth: muslin}]");
    let mut priced = row("fleece", visibility(0.5), vec![visibility(0.4), visibility(1.4)]);
    Arc::make_mut(&mut priced.candidate.cloth).buying.price_per_m = Some(12.5);
    let rows = vec![priced, row("canvas", visibility(50.0), Vec::new())];
    let verdict = verdict(&rows, Standard::of(2.0, &[]), Order::Dots, Varied::default());
    let cells = cells(&rows, &verdict, vec![Canvas::filled(8, 4, [0; 3])]);
    assert_eq!(cells.len(), 1, "as many as pictures");
    assert_eq!(
        cells[0].lines,
        [
            "1. Fleece, white",
            "Good (unsure:\u{a0}1\u{a0}of\u{a0}2)",
            "No dots: 0.50 × threshold (0.40\u{a0}to\u{a0}1.4)",
            "Dots vanish beyond 1.5 m",
            "Keeps 30 % of the light",
            "9 mm thick, 300 cd/m2",
            "Price 12.50 a metre",
        ]
    );
    let frame = frame(&base, Some(10.0));
    let heading = heading(&base, &rows, &verdict, Order::Dots, ExposureValue(9.0), &frame);
    assert_eq!(heading[0], "Cuff: behind 2 cloths, 6 mm off the pixels");
    assert!(
        heading[1].contains("EV\u{a0}9.0 at ISO\u{a0}100") && heading[1].contains("made for the middle"),
        "{heading:?}"
    );
    let footer = footer(&base, &wanted(&[], &[], &[]), &rows, 1, &verdict).join("\n");
    assert!(
        footer.contains("The first 1 of 2 are shown.") && footer.contains("test piece decides"),
        "{footer}"
    );
    assert_eq!([1, 2, 3, 4, 5, 24].map(columns), [1, 2, 3, 2, 3, 3]);
}

#[test]
fn every_cell_shows_the_same_part_large_enough() {
    let frame_of = |pixels: &str, pitch: f64| {
        let text = format!("pixels: [{pixels}]\nstack: [{{gap_mm: 6, cloth: jersey}}]\n");
        let scene = resolve(&text, "test", &CatalogueOnly).expect("in order").scene;
        (frame(&scene, Some(pitch)), scene)
    };
    let (short, scene) = frame_of("strip: {pitch_mm: 10, count: 6}", 10.0);
    let across = f64::from(short.width_px) * short.mm_per_px;
    assert!((across - (50.0 + 2.0 * scene.view.margin.0)).abs() < 1e-9, "a short strip whole");
    let (long, _) = frame_of("strip: {pitch_mm: 10, count: 400}", 10.0);
    assert!((10.0 / long.mm_per_px - 24.0).abs() < 1e-9, "of a long one as much as shows its dots");
    assert_eq!((long.width_px, long.height_px), (420, 150));
    let (square, _) = frame_of("grid: {columns: 5, rows: 5, pitch_mm: 10}", 10.0);
    assert_eq!((square.width_px, square.height_px), (420, 420));
}
