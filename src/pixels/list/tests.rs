//! Lists: there and back, and every fault with its line.

use super::*;
use proptest::prelude::*;

fn told(text: &str) -> Vec<String> {
    let mut problems = Problems::default();
    assert!(read(text, &mut problems).is_none(), "{text}");
    let all = problems.into_diagnostics("f", text);
    all.iter().map(|d| format!("{}:{} {}", d.line.unwrap_or(0), d.column.unwrap_or(0), d.what)).collect()
}

fn places(text: &str) -> Vec<[f64; 3]> {
    let mut problems = Problems::default();
    let found =
        read(text, &mut problems).unwrap_or_else(|| panic!("{:?}", problems.into_diagnostics("f", text)));
    found.iter().map(|p| [p.at[0].0, p.at[1].0, p.turn_rad]).collect()
}

#[test]
fn what_can_be_read() {
    assert_eq!(places("index,x_mm,y_mm\n0,1,2\n1,-3.5,4e1\n"), [[1.0, 2.0, 0.0], [-3.5, 40.0, 0.0]]);
    // From 1, in another order, quoted, with blanks, empty lines and carriage returns.
    let text = "\"y_mm\", X_MM ,turn_deg,\"index\"\r\n\r\n2, 1,180,\"1\"\r\n4,3,0,2\r\n\r\n";
    assert_eq!(places(text), [[1.0, 2.0, std::f64::consts::PI], [3.0, 4.0, 0.0]]);
}

#[test]
fn every_fault_has_its_line() {
    assert_eq!(told(""), ["1:1 the list is empty"]);
    assert_eq!(told("index,x_mm,y_mm\n"), ["1:1 the list names no pixels"]);
    assert_eq!(told("index,x_mm\n0,1\n"), ["1:1 the column `y_mm` is missing"]);
    assert_eq!(told("index,x,y_mm\n0,1,2\n"), ["1:7 the column `x` is not known"]);
    assert_eq!(told("index,x_mm,y_mm,x_mm\n0,1,2,3\n"), ["1:17 the column `x_mm` stands twice"]);
    assert_eq!(told("index;x_mm;y_mm\n0;1;2\n"), ["1:1 the column `index;x_mm;y_mm` is not known"]);
    assert_eq!(
        told("index,x_mm,y_mm\n0,1,2\n1,a,nan\n2,1\n3,1,20000\n4.5,1,2\n"),
        [
            "3:3 `x_mm` must be a number",
            "3:5 `y_mm` must be a number",
            "4:1 this line does not have as many columns as the first",
            "5:5 `y_mm` is out of range",
            "6:1 `index` must be a whole number",
        ]
    );
    assert_eq!(told("index,x_mm,y_mm\n0,1,2\n2,1,2\n"), ["3:1 the index on this line should be 1"]);
    assert_eq!(told("index,x_mm,y_mm\n7,1,2\n"), ["2:1 the index on this line should be 0"]);
    let long: String = (0..=MOST_PIXELS).map(|i| format!("{i},0,0\n")).collect();
    assert_eq!(
        told(&format!("index,x_mm,y_mm\n{long}")),
        [format!("{}:1 the list has too many lines", MOST_PIXELS + 2)]
    );
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 300,
        rng_seed: proptest::test_runner::RngSeed::Fixed(9),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Places come back to the last digit, turns but for whole turns and rounding.
    #[test]
    fn what_is_written_reads_back(
        given in prop::collection::vec((-1e4..1e4f64, -1e4..1e4f64, -10.0..10.0f64, 0usize..5), 1..40)
    ) {
        let of = |(x, y, turn_rad, _): &(f64, f64, f64, usize)| Place { at: [Millimetres(*x), Millimetres(*y)], turn_rad: *turn_rad };
        let text = csv(given.iter().map(|g| (of(g), g.3)));
        let back = places(&text);
        prop_assert_eq!(back.len(), given.len());
        for (back, given) in back.iter().zip(&given) {
            prop_assert_eq!([back[0], back[1]], [given.0, given.1]);
            let turn = (back[2] - given.2) / std::f64::consts::TAU;
            prop_assert!((turn - turn.round()).abs() < 1e-12);
        }
    }

    #[test]
    fn damage_never_panics(text in "[0-9,;.\\-\"a-z_\n ]{0,200}") {
        let mut problems = Problems::default();
        let whole = format!("index,x_mm,y_mm\n{text}");
        for text in [&text, &whole] {
            if read(text, &mut problems).is_none() {
                prop_assert!(problems.errors() > 0);
            }
        }
    }
}
