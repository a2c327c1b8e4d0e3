//! Whole scenes on their supplies: currents, caps, volts along the run, what is left of the light, battery, cautions.

use crate::scene;
use weftlight::build::Case;
use weftlight::build::battery::{self, Chemistry};
use weftlight::build::cautions::{Caution, cautions};
use weftlight::build::current::{Current, of_scene};
use weftlight::build::limits::{BOARD_PIN_MA, LimitedBy, cap, limit};
use weftlight::build::powered::{both_cases, powered};
use weftlight::build::run::run;
use weftlight::scene::Scene;

/// Sums of a hundred figures.
const EXACT: f64 = 1e-9;
/// Newton's last step, in V.
const SETTLED_V: f64 = 1e-6;

const STRIP: &str = "strip: {pitch_mm: 16.67, count: 60}";
const WHITE: &str = "{colour: \"#ffffff\", level: 1}";

/// 60 pixels of three dies of 19 mA: the often quoted 60 mA a pixel is the upper end, 20 mA a die.
#[test]
fn current_of_a_metre_of_strip() {
    let (scene, _) = scene(STRIP, WHITE, "{}");
    let total = of_scene(&scene).total();
    assert!((total.typical_ma - 60.0 * 57.6).abs() < EXACT);
    assert!((total.range_ma[1] - 60.0 * 61.0).abs() < EXACT);
}

#[test]
fn the_cap_keeps_within_the_limit_and_no_further() {
    for level in [0.05, 0.3, 1.0] {
        let light = format!("{{colour: \"#ffd9a0\", level: {level}}}");
        let (scene, supply) = scene(STRIP, &light, "{max_ma: 500}");
        let draw = of_scene(&scene);
        for case in [Case::Typical, Case::Worst] {
            let cap = cap(&draw, limit(&supply), case);
            let drawn = draw.at(cap.factor).of(case);
            assert!(drawn <= 500.0 + EXACT, "{drawn}");
            assert!(cap.factor == 1.0 || (drawn - 500.0).abs() < EXACT, "{drawn}");
            let all_on = |setting: f64| draw.idle.of(case) + draw.full.of(case) * setting / 255.0;
            let setting = f64::from(cap.brightness_all_on);
            assert!(all_on(setting) <= 500.0 && all_on(setting + 1.0) > 500.0);
        }
    }
    // 36 mA of idle current and 3420 mA of light in 1000 mA: a factor of 0.28187, a setting of 71.
    let (scene, supply) = scene(STRIP, WHITE, "{max_ma: 1000}");
    let cap = cap(&of_scene(&scene), limit(&supply), Case::Typical);
    assert!((cap.factor - 964.0 / 3420.0).abs() < EXACT);
    assert_eq!((cap.brightness, cap.brightness_all_on, cap.idle_exceeds), (71, 71, false));
}

#[test]
fn dark_pixels_can_be_too_much_already() {
    let (scene, supply) = scene("strip: {pitch_mm: 5, count: 1000}", WHITE, "{max_ma: 500}");
    let cap = cap(&of_scene(&scene), limit(&supply), Case::Typical);
    assert_eq!((cap.factor, cap.brightness, cap.idle_exceeds), (0.0, 0, true));
}

#[test]
fn the_lowest_limit_counts() {
    let of = |text: &str| limit(&scene(STRIP, WHITE, text).1).map(|limit| (limit.ma, limit.by));
    assert_eq!(of("{}"), None);
    assert_eq!(of("{max_ma: 700}"), Some((700.0, LimitedBy::Stated)));
    assert_eq!(of("{kind: board_pin}"), Some((BOARD_PIN_MA, LimitedBy::BoardPin)));
    assert_eq!(of("{kind: board_pin, max_ma: 450}"), Some((450.0, LimitedBy::Stated)));
    let weak = "{max_ma: 2000, volts: 4.5, battery: {chemistry: alkaline, cells: 3, capacity_mah: 2500}}";
    assert_eq!(of(weak), Some((500.0, LimitedBy::Battery)));
    // One cell of 2 Ah at 1 C over a converter of 85 %: 3.7 V * 2 A * 0.85 / 5 V.
    let (ma, by) = of("{battery: {capacity_mah: 2000}}").expect("limited");
    assert!((ma - 1258.0).abs() < EXACT && by == LimitedBy::Battery);
}

/// By hand: 60 even loads of 57.6 mA, 59 pieces of 16.67 mm at 2 * 0.10 ohm per metre, 2 * 300 mm of 22 AWG. While nothing dims,
/// the end lacks `I R` of the lead and `i r n (n - 1) / 2` of the strip.
#[test]
fn volts_along_a_metre_by_hand() {
    let (scene, supply) = scene(STRIP, "{colour: \"#ffffff\", level: 0.3}", "{volts: 5}");
    let power = powered(&scene, &supply, Case::Typical).expect("solved");
    let i = 60.0 * (0.6 + 0.3 * 57.0) * 1e-3;
    let lead = 2.0 * 0.3 * weftlight::build::wire::Gauge(22).ohm_per_m(20.0);
    let piece = 2.0 * 0.10 * 0.016_67;
    let end = 5.0 - i * lead - i / 60.0 * piece * 60.0 * 59.0 / 2.0;
    assert!((power.solved.volts[59] - end).abs() < SETTLED_V, "{} {end}", power.solved.volts[59]);
    assert!(power.below().is_empty() && power.cap.factor == 1.0);
    assert_eq!(power.scene.pixels, scene.pixels, "nothing is dimmed");
    let (worst, spare) = power.tightest().expect("drivers");
    assert!(worst == 59 && (spare - (end - 3.7)).abs() < SETTLED_V);
}

#[test]
fn white_turns_red_along_a_long_strip() {
    let (sent, supply) = scene("strip: {pitch_mm: 16.67, count: 180}", WHITE, "{}");
    let power = powered(&sent, &supply, Case::Typical).expect("solved");
    assert_eq!(power.below().len(), 1, "one stretch, up to the end");
    assert_eq!(power.below()[0].end, 180);
    // The further along, the redder; a difference of some ten units is another colour.
    let drifts: Vec<f64> = (0..180).map(|i| power.drift(&sent, i).expect("lit")).collect();
    assert!(drifts[0] < EXACT && drifts[179] > 10.0, "{} {}", drifts[0], drifts[179]);
    assert!(drifts.windows(2).all(|pair| pair[0] <= pair[1] + 1e-4));
    for pixel in &power.scene.pixels {
        assert!(pixel.levels[1] <= pixel.levels[0] && pixel.levels[0] <= 1.0);
    }
    // A red strip of the same length stays red.
    let (red, supply) = scene("strip: {pitch_mm: 16.67, count: 180}", "{colour: \"#ff0000\"}", "{}");
    let power = powered(&red, &supply, Case::Typical).expect("solved");
    assert!((0..180).all(|i| power.drift(&red, i).expect("lit") < EXACT));
    // Capped by its supply, the white one keeps its colour.
    let (sent, supply) = scene("strip: {pitch_mm: 16.67, count: 180}", WHITE, "{max_ma: 2000, inject: ends}");
    let power = powered(&sent, &supply, Case::Typical).expect("solved");
    assert!(power.cap.factor < 0.2 && power.below().is_empty());
    assert!((power.scene.pixels[90].levels[2] - power.cap.factor).abs() < EXACT);
}

/// The unfavourable case never has more volts or less current.
#[test]
fn worst_is_worse_and_thinner_wire_no_better() {
    for supply in ["{}", "{inject: ends, wire_awg: 26}", "{inject_every: 30}", "{conductor_awg: 26}"] {
        let (sent, supply) = scene(STRIP, "{level: 0.5}", supply);
        let [typical, worst] = [Case::Typical, Case::Worst].map(|case| run(&sent, &supply, case, 1.0));
        let [a, b] = [&typical, &worst].map(|run| run.ladder.solve().expect("solved"));
        assert!(a.volts.iter().zip(&b.volts).all(|(a, b)| b < a));
        assert!(typical.least_volts.iter().zip(&worst.least_volts).all(|(a, b)| a < b));
        let mut before = a.volts;
        for awg in 24..=32 {
            let mut thinner = supply.clone();
            thinner.wire = weftlight::build::wire::Gauge(awg.max(supply.wire.0));
            let volts = run(&sent, &thinner, Case::Typical, 1.0).ladder.solve().expect("solved").volts;
            assert!(volts.iter().zip(&before).all(|(now, before)| *now <= before + SETTLED_V), "{awg}");
            before = volts;
        }
    }
}

/// 100,000 pixels fully on, fed at one end: solved, and almost all of them are dark.
#[test]
fn a_hundred_thousand_pixels() {
    let (sent, supply) = scene("grid: {columns: 400, rows: 250, pitch_mm: 10}", WHITE, "{max_ma: 200000}");
    let power = powered(&sent, &supply, Case::Worst).expect("solved");
    assert_eq!(power.solved.volts.len(), 100_000);
    assert!(power.solved.steps < 60, "{} steps", power.solved.steps);
    assert!(power.solved.residual_a < 1e-6 * power.solved.total_a());
    assert!(power.pixels_below() > 99_000);
    // Fed everywhere and dimmed, all of them work.
    let text = "{inject_every: 50, wire_awg: 8}";
    let (sent, supply) = scene("grid: {columns: 400, rows: 250, pitch_mm: 10}", "{level: 0.02}", text);
    let power = powered(&sent, &supply, Case::Typical).expect("solved");
    assert!(power.below().is_empty(), "{:?}", power.tightest());
}

#[test]
fn wires_between_groups_are_counted() {
    // Two single pixels one metre apart, the second fed through a metre of the supply's wire.
    let pixels = "strip: {pitch_mm: 10, count: 1}, strip: {pitch_mm: 10, count: 1, start_mm: [1000, 0]}";
    let (sent, supply) = scene(pixels, WHITE, "{wire_awg: 30, wire_mm: 0}");
    let run = run(&sent, &supply, Case::Typical, 1.0);
    assert!((run.ladder.between_ohm[0] / (2.0 * 0.3386) - 1.0).abs() < 1e-3, "the published table's digits");
    let (sent, supply) = scene(pixels, WHITE, "{wire_awg: 30, wire_mm: 500, inject: groups}");
    let run = weftlight::build::run::run(&sent, &supply, Case::Typical, 1.0);
    let leads: Vec<f64> = run.ladder.feeds.iter().map(|feed| feed.ohm).collect();
    assert_eq!(run.ladder.feeds.iter().map(|feed| feed.at).collect::<Vec<_>>(), [0, 1]);
    assert!((leads[1] / leads[0] - 3.0).abs() < EXACT, "500 mm and 1500 mm");
}

fn steady(ma: f64) -> Current {
    Current { typical_ma: ma, range_ma: [ma; 2] }
}

/// 2000 mAh down to 3.0 V, 90 % of it there: directly at 200 mA nine hours. Over a converter at 5 V: 3.7 V * 1800 mAh * 0.85 / (5 V * 200 mA).
#[test]
fn battery_time_by_hand() {
    let time =
        |supply: &str, ma| battery::hours(&scene(STRIP, WHITE, supply).1, steady(ma)).expect("a battery");
    let direct = time("{volts: 3.7, battery: {capacity_mah: 2000}}", 200.0);
    assert!((direct.nominal - 9.0).abs() < EXACT);
    assert!(direct.range[0] < 7.0 + EXACT && (direct.range[1] - 10.0).abs() < EXACT);
    let converted = time("{battery: {capacity_mah: 2000}}", 200.0);
    assert!((converted.nominal - 3.7 * 1800.0 * 0.85 / (5.0 * 200.0)).abs() < EXACT);
    assert_eq!(time("{battery: {chemistry: power-bank, capacity_mah: 2000}}", 200.0), converted);
    assert!((time("{battery: {capacity_mah: 2000}}", 100.0).nominal - 2.0 * converted.nominal).abs() < EXACT);
    // Two cells side by side (their capacities added) or one after another hold the same energy.
    let twice = time("{battery: {capacity_mah: 4000}}", 200.0);
    let after = time("{battery: {capacity_mah: 2000, cells: 2}}", 200.0);
    assert!((twice.nominal - after.nominal).abs() < EXACT);
    // An earlier cut-off leaves less; half of the charge lies above some 3.75 V.
    let early = time("{volts: 3.9, battery: {capacity_mah: 2000, cut_off_v: 3.75}}", 200.0);
    assert!(early.nominal < 0.6 * direct.nominal && early.nominal > 0.4 * direct.nominal);
    assert!(time("{battery: {capacity_mah: 2000}}", 0.0).nominal.is_infinite());
    assert_eq!(battery::hours(&scene(STRIP, WHITE, "{}").1, steady(1.0)), None);
}

#[test]
fn cells_hold_less_the_higher_one_stops() {
    for chemistry in [Chemistry::LiIon, Chemistry::Alkaline, Chemistry::Nimh] {
        let facts = chemistry.facts();
        let shares: Vec<f64> = (0..60).map(|i| facts.usable(facts.deepest_v + 0.05 * f64::from(i))).collect();
        assert!(shares.is_sorted_by(|a, b| a >= b) && shares[0] == 1.0, "{}", facts.name);
        assert!(facts.usable(facts.full_v) < EXACT && facts.usable(facts.cut_off_v) > 0.9, "{}", facts.name);
        assert!(
            facts.there.is_sorted()
                && facts.deepest_v <= facts.cut_off_v
                && facts.cut_off_v < facts.nominal_v
        );
    }
}

fn told(scene: &Scene) -> Vec<Caution> {
    let power = scene.supply.as_ref().map(|supply| both_cases(scene, supply).expect("solved"));
    cautions(scene, scene.supply.as_ref(), power.as_ref())
}

#[test]
fn cautions_come_where_they_apply() {
    let of = |supply: &str| told(&scene(STRIP, WHITE, supply).0);
    let has = |all: &[Caution], which: fn(&Caution) -> bool| all.iter().any(which);
    // A battery of small alkaline cells cannot give 3.5 A.
    let battery = of("{battery: {chemistry: alkaline, cells: 3, capacity_mah: 1200}}");
    assert!(has(&battery, |c| matches!(c, Caution::OverLimit { by: LimitedBy::Battery, .. })));
    assert!(has(&battery, |c| *c == Caution::Fuse) && has(&battery, |c| *c == Caution::NotChargedWhileWorn));
    assert!(!has(&battery, |c| *c == Caution::LithiumInClothing));
    assert!(has(&of("{battery: {capacity_mah: 9000}}"), |c| *c == Caution::LithiumInClothing));
    assert!(has(&of("{kind: board_pin}"), |c| matches!(c, Caution::BoardPin { .. })));
    assert!(has(&of("{volts: 12}"), |c| matches!(c, Caution::TooManyVolts { .. })));
    assert!(has(&of("{wire_awg: 30, wire_mm: 1000}"), |c| matches!(c, Caution::TooFewVolts { .. })));
    assert!(has(&of("{wire_awg: 22}"), |c| matches!(c, Caution::ThinWire { .. })));
    let perhaps = of("{max_ma: 1000, wire_awg: 28, wire_mm: 800}");
    assert!(has(&perhaps, |c| matches!(c, Caution::PerhapsTooFewVolts { .. })));
    let strong = of("{max_ma: 5000, wire_awg: 14, inject: ends}");
    assert!(!has(&strong, |c| matches!(
        c,
        Caution::OverLimit { .. }
            | Caution::ThinWire { .. }
            | Caution::TooFewVolts { .. }
            | Caution::BoardPin { .. }
    )));
    let dim = told(&scene(STRIP, "{level: 0.1}", "{max_ma: 1000}").0);
    assert!(has(&dim, |c| matches!(c, Caution::AllOnOverLimit { .. })));
    for all in [battery, strong, dim] {
        assert_eq!(all.last(), Some(&Caution::LocalCodes), "who decides comes last");
        assert!(all.iter().all(|caution| caution.to_string().ends_with('.')));
    }
    let mut unsaid = scene(STRIP, WHITE, "{}").0;
    unsaid.supply = None;
    assert_eq!(told(&unsaid), [Caution::GroundFirst, Caution::LocalCodes]);
}
